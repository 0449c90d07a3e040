"""Signs written on a note: nothing else of the file changes, and the schema of MusicXML 4.0 has no new complaint.

Published: MusicXML 4.0, complexType note (order of its children), notations, technical, ornaments, harmonic.
"""

from __future__ import annotations

import pytest
from lxml import etree

from deskproof.document import from_bytes
from deskproof.edits import EditError, SetMark, SetStaff
from deskproof.score import NoteRef
from schema import complaints

PITCH = "<pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><voice>1</voice><type>whole</type>"
NOTE = NoteRef("P1", 0, 0)

NOTATIONS = {
    "none": "",
    "none, a lyric behind": "<lyric><text>la</text></lyric>",
    "empty": "<notations/>",
    "a slur": '<notations>\n  <slur type="start" number="1"/>\n</notations>',
    "technical, empty": "<notations><technical/></notations>",
    "a harmonic": "<notations><technical><harmonic/></technical></notations>",
    "a natural harmonic": "<notations><technical><harmonic><natural/></harmonic></technical></notations>",
    "a harmonic with spaces": "<notations><technical>\n<harmonic>\n <natural/>\n</harmonic>\n</technical></notations>",
    "a harmonic at its sound": (
        "<notations><technical><harmonic><natural/><sounding-pitch/></harmonic></technical></notations>"
    ),
    "a trill": "<notations><ornaments><trill-mark/></ornaments></notations>",
    "a trill with a line": '<notations><ornaments><trill-mark/><wavy-line type="start"/></ornaments></notations>',
    "a trill with a sign": (
        "<notations><ornaments><trill-mark/><accidental-mark>sharp</accidental-mark></ornaments></notations>"
    ),
    "a finger": '<notations><technical><fingering placement="above">2</fingering></technical></notations>',
    "two groups": "<notations><technical><up-bow/></technical></notations><notations><ornaments/></notations>",
}
EDITS = {
    "base": SetMark(NOTE, "harmonic", "base-pitch"),
    "sounding": SetMark(NOTE, "harmonic", "sounding-pitch"),
    "sign": SetMark(NOTE, "accidental-mark", "flat"),
    "roll": SetMark(NOTE, "arpeggiate"),
    "finger": SetMark(NOTE, "fingering", "3"),
}


def score(notations: str, encoding: str = "UTF-8") -> bytes:
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Harp</part-name></score-part>'
        f'</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        f"<note>{PITCH}{notations}</note><note>{PITCH}</note></measure></part></score-partwise>"
    )
    return f'<?xml version="1.0" encoding="{encoding}"?>{text}'.encode(encoding)


def can(edit: SetMark, notations: str) -> bool:
    if edit.kind == "harmonic":
        return "harmonic" in notations
    return edit.kind != "accidental-mark" or "trill" in notations


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16"])
@pytest.mark.parametrize("notations", NOTATIONS.values(), ids=NOTATIONS)
@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_a_sign_is_written_where_it_belongs(edit: SetMark, notations: str, encoding: str):
    raw = score(notations, encoding)
    document = from_bytes(raw)
    if not can(edit, notations):
        with pytest.raises(EditError):
            document.with_edits([edit])
        return
    mended = document.with_edits([edit])
    after = mended.written()
    tree, before = etree.fromstring(after), etree.fromstring(raw)
    signs = tree.findall(f".//note[1]/notations//{edit.kind}")
    assert len(signs) == 1
    if edit.kind == "harmonic":
        told = [one.tag for one in signs[0] if one.tag != "natural"]
        assert told == [edit.value]
    else:
        assert (signs[0].text or "") == edit.value
    assert set(complaints(after)) <= set(complaints(raw))
    for root in (tree, before):
        note = root.find(".//note")
        assert note is not None
        for one in list(note.iter("notations")):
            note.remove(one)
    assert etree.tostring(tree) == etree.tostring(before)
    assert from_bytes(after).score == mended.score  # what is written reads as what was meant
    assert mended.with_edits([edit]).written() == after  # once more changes nothing


@pytest.mark.parametrize(
    "edit", [SetMark(NOTE, "fingering", "6"), SetMark(NOTE, "harmonic", "natural"), SetMark(NOTE, "bow", "up")]
)
def test_a_sign_that_is_none_is_refused(edit: SetMark):
    with pytest.raises(EditError):
        from_bytes(score(NOTATIONS["a harmonic"])).with_edits([edit])


STAFF = {
    "none": "",
    "a staff": "<staff>1</staff>",
    "a beam": '<beam number="1">begin</beam>',
    "a staff and a beam": '<staff>1</staff><beam number="1">begin</beam>',
    "notations": "<notations><fermata/></notations>",
    "a stem and a lyric": "<stem>up</stem><lyric><text>la</text></lyric>",
}


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16"])
@pytest.mark.parametrize("inside", STAFF.values(), ids=STAFF)
def test_a_note_goes_to_another_staff(inside: str, encoding: str):
    raw = score(inside, encoding)
    document = from_bytes(raw)
    mended = document.with_edits([SetStaff(NOTE, 2)])
    after = mended.written()
    tree, before = etree.fromstring(after), etree.fromstring(raw)
    assert [one.text for one in tree.findall(".//note[1]/staff")] == ["2"]
    assert set(complaints(after)) <= set(complaints(raw))
    assert from_bytes(after).score == mended.score
    for root in (tree, before):
        note = root.find(".//note")
        assert note is not None
        for one in note.findall("staff"):
            note.remove(one)
    assert etree.tostring(tree) == etree.tostring(before)
