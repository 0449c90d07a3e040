"""Signs of harmonics and trills are spliced into any writing of the note: only the sign's own bytes are new.

Published: MusicXML 4.0, complexType harmonic (natural or artificial, then base-pitch, touching-pitch or sounding-pitch)
and ornaments (an accidental-mark follows the ornament that it belongs to).
"""

from __future__ import annotations

import codecs

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from deskproof.document import from_bytes
from deskproof.edits import Edit, EditError, SetMark
from deskproof.score import NoteRef
from schema import complaints

REF = NoteRef("P1", 0, 1)
ENCODINGS = {
    "UTF-8": lambda text: text.encode("utf-8"),
    "UTF-8 with a mark": lambda text: codecs.BOM_UTF8 + text.encode("utf-8"),
    "ISO-8859-1": lambda text: text.encode("iso8859-1"),
    "UTF-16": lambda text: codecs.BOM_UTF16_LE + text.encode("utf-16-le"),
    "UTF-16, big end first": lambda text: codecs.BOM_UTF16_BE + text.encode("utf-16-be"),
}
SPACE = st.sampled_from(["", " ", "\n        ", "\r\n\t", "<!-- été -->"])
PITCHES = ("base-pitch", "touching-pitch", "sounding-pitch")
SIGNS = ("flat-flat", "flat", "natural", "sharp", "double-sharp")


@st.composite
def harmonics(draw: st.DrawFn) -> tuple[str, list[str]]:
    """An element harmonic and the names of its children."""
    attributes = draw(st.sampled_from(["", ' placement="above"', " print-object='no'", ' default-y="20"']))
    nature = draw(st.sampled_from([[], ["natural"], ["artificial"]]))
    pitch = draw(st.sampled_from([[], *([one] for one in PITCHES)]))
    space = draw(SPACE)
    if not nature and not pitch and draw(st.booleans()):
        return f"<harmonic{attributes}{draw(st.sampled_from(['', ' ']))}/>", []
    shapes = [draw(st.sampled_from([f"<{name}/>", f"<{name}></{name}>", f"<{name} />"])) for name in nature + pitch]
    return f"<harmonic{attributes}>{space}{space.join(shapes)}{space}</harmonic>", nature + pitch


@st.composite
def trills(draw: st.DrawFn) -> tuple[str, str, str]:
    """What stands before a trill in its ornaments, the trill's own sign or none, and what stands behind."""
    before = draw(st.sampled_from(["", "<turn/>", "<mordent/>", '<tremolo type="single">3</tremolo>']))
    own = draw(st.sampled_from(["", *SIGNS]))
    behind = draw(st.sampled_from(["", '<wavy-line type="start"/>', "<turn/>", "<other-ornament>x</other-ornament>"]))
    return before, own, behind


def score(technical: str, ornaments: str, encoding: str) -> bytes:
    """Three notes in a bar, the second with the signs; text in its name that every encoding writes in its own way."""
    pitch = "<pitch><step>C</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type>"
    signs = f"<notations><technical>{technical}</technical><ornaments>{ornaments}</ornaments></notations>"
    if not ornaments:
        signs = signs.replace("<ornaments></ornaments>", "")
    if not technical:
        signs = signs.replace("<technical></technical>", "")
    declared = encoding.split(",")[0].removesuffix(" with a mark")
    text = (
        f'<?xml version="1.0" encoding="{declared}"?>\n<score-partwise version="4.0"><part-list><score-part id="P1">'
        "<part-name>Harfe für café</part-name></score-part></part-list><part id=\"P1\"><measure number=\"1\">"
        "<attributes><divisions>1</divisions></attributes>"
        f"<note>{pitch}</note>\n    <note>{pitch}{signs}<lyric><text>é</text></lyric></note><note>{pitch}</note>"
        "</measure></part></score-partwise>\n"
    )
    return bytes(ENCODINGS[encoding](text))


def difference(before: bytes, after: bytes) -> tuple[int, int]:
    """How many bytes are equal from the beginning on, and from the end."""
    least = min(len(before), len(after))
    head = next((i for i in range(least) if before[i] != after[i]), least)
    tail = next((i for i in range(least - head) if before[-1 - i] != after[-1 - i]), least - head)
    return head, tail


def written(raw: bytes, edit: Edit) -> bytes:
    mended = from_bytes(raw).with_edits([edit])
    after = mended.written()
    assert sorted(complaints(after)) == sorted(complaints(raw))
    assert from_bytes(after).score == mended.score  # read again, it says what was meant
    assert mended.moved(REF) == REF and mended.with_edits([edit]).written() == after
    return after


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(harmonics(), st.sampled_from(["base-pitch", "sounding-pitch"]), st.sampled_from(list(ENCODINGS)))
def test_a_harmonic_is_told_and_nothing_else_is_written(found: tuple[str, list[str]], value: str, encoding: str):
    text, children = found
    raw = score(text, "", encoding)
    after = written(raw, SetMark(REF, "harmonic", value))
    (harmonic,) = etree.fromstring(after).iter("harmonic")
    nature = [name for name in children if name not in PITCHES]
    assert [one.tag for one in harmonic.iterchildren(tag=etree.Element)] == [*nature, value]
    assert [str(c) for c in harmonic.iterchildren(tag=etree.Comment)] == [
        str(c) for c in next(etree.fromstring(raw).iter("harmonic")).iterchildren(tag=etree.Comment)
    ]
    assert dict(harmonic.attrib) == dict(next(etree.fromstring(raw).iter("harmonic")).attrib)
    head, tail = difference(raw, after)
    width = len("x".encode("utf-16-le")) if encoding.startswith("UTF-16") else 1
    longest = len(f"><{value}/></harmonic>") * width + len("<touching-pitch></touching-pitch>") * width
    assert len(after) - head - tail <= longest  # one short place of the file
    other = "base-pitch" if value == "sounding-pitch" else "sounding-pitch"
    there_and_back = from_bytes(written(after, SetMark(REF, "harmonic", other)))
    assert there_and_back.with_edits([SetMark(REF, "harmonic", value)]).written() == after


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(trills(), st.sampled_from(SIGNS), st.sampled_from(list(ENCODINGS)), st.sampled_from(["trill-mark", "shake"]))
def test_the_sign_of_a_trill_follows_the_trill(found: tuple[str, str, str], sign: str, encoding: str, kind: str):
    before, own, behind = found
    there = f'<accidental-mark placement="above">{own}</accidental-mark>' if own else ""
    raw = score("", f"{before}<{kind}/>{there}{behind}", encoding)
    after = written(raw, SetMark(REF, "accidental-mark", sign))
    (trill,) = etree.fromstring(after).iter(kind)
    following = trill.getnext()
    assert following is not None and (following.tag, following.text) == ("accidental-mark", sign)
    assert following.get("placement") == ("above" if own else None)
    trees = [etree.fromstring(one) for one in (raw, after)]
    for tree in trees:
        for one in list(tree.iter("accidental-mark")):
            parent = one.getparent()
            assert parent is not None
            parent.remove(one)
    assert etree.tostring(trees[0]) == etree.tostring(trees[1])


def test_of_two_ornaments_the_trill_gets_the_sign():
    raw = score("", "<turn/><trill-mark/><wavy-line type=\"start\"/><turn/>", "UTF-8")
    after = written(raw, SetMark(REF, "accidental-mark", "flat"))
    assert b"<trill-mark/><accidental-mark>flat</accidental-mark><wavy-line" in after


@pytest.mark.parametrize(
    ("technical", "ornaments", "edit", "message"),
    [
        ("<up-bow/>", "", SetMark(REF, "harmonic", "base-pitch"), "no harmonic"),
        ("<harmonic/>", "", SetMark(REF, "harmonic", "touching-pitch"), "no sign"),
        ("", "<turn/>", SetMark(REF, "accidental-mark", "flat"), "no trill"),
        ("", "<trill-mark/>", SetMark(REF, "accidental-mark", "sharp-up"), "no sign"),
        ("<harmonic/>", "", SetMark(NoteRef("P1", 0, 3), "harmonic", "base-pitch"), "no pitched note"),
    ],
)
def test_what_cannot_be_written_is_refused(technical: str, ornaments: str, edit: SetMark, message: str):
    with pytest.raises(EditError, match=message):
        from_bytes(score(technical, ornaments, "UTF-8")).with_edits([edit])


def test_two_signs_for_one_note_are_refused():
    edits = [SetMark(REF, "harmonic", value) for value in ("base-pitch", "sounding-pitch")]
    with pytest.raises(EditError, match="two edits"):
        from_bytes(score("<harmonic/>", "", "UTF-8")).with_edits(edits)
