"""Write-back touches nothing but the notes it is told to, to the byte."""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path

import pytest
from lxml import etree

from corpus import CorpusFile, corpus_files, package_files, shared_scores
from deskproof import document
from deskproof.edits import AddAccidental, Edit, EditError, Respell, SetOctave
from deskproof.musicxml import container, editor
from deskproof.score import Note, NoteRef, Score
from schema import complaints

SIGNS = ("flat-flat", "flat", "natural", "sharp", "double-sharp")
EVERY_TENTH = corpus_files()[::10]
SHARED = [p for p in shared_scores() if p.suffix != ".mid"]


# ---------------------------------------------------------------- no edits


@pytest.mark.parametrize("start", range(0, 808, 101))
def test_without_edits_the_bytes_are_the_same(start: int):
    files = package_files()[start : start + 101]
    assert files
    for file in files:
        read = document.read(file.path)
        raw = file.path.read_bytes()
        assert read.packed() == raw
        assert read.written() in (raw, container.from_bytes(raw).score)


def test_without_edits_the_shared_scores_are_the_same():
    for path in SHARED:
        read = document.read(path)
        assert read.packed() == path.read_bytes()
        assert read.written() == read.container.score


# ---------------------------------------------------------------- edits in real files


def pitched(score: Score) -> dict[NoteRef, Note]:
    return {
        NoteRef(part.id, measure.index, note.n): note
        for part in score.parts
        for measure in part.measures
        for note in measure.notes
        if note.pitch is not None
    }


def random_edits(refs: list[NoteRef], rng: random.Random, most: int) -> list[Edit]:
    edits: list[Edit] = []
    for ref in rng.sample(refs, min(most, len(refs))):
        kind = rng.randrange(4)
        if kind == 0:
            edits.append(SetOctave(ref, rng.randrange(10)))
        elif kind == 1:
            edits.append(Respell(ref, rng.choice("ABCDEFG"), rng.randrange(-2, 3), rng.randrange(10)))
        elif kind == 2:
            edits.append(AddAccidental(ref, rng.choice(SIGNS)))
        else:
            edits += [SetOctave(ref, rng.randrange(10)), AddAccidental(ref, rng.choice(SIGNS))]
    return edits


@pytest.mark.parametrize("path", [f.path for f in EVERY_TENTH] + SHARED, ids=lambda p: p.name)
def test_edits_of_a_real_file(path: Path):
    before = document.read(path)
    notes = pitched(before.score)
    assert notes
    edits = random_edits(list(notes), random.Random(path.name), 40)
    after = before.with_edits(edits)
    named = {edit.note for edit in edits}

    again = document.from_bytes(after.packed(), before.name)
    assert again.score == after.score  # the two implementations of an edit agree
    differing = {ref for ref, note in pitched(again.score).items() if note != notes[ref]}
    assert differing <= named
    assert pitched(again.score).keys() == notes.keys()

    old, new = before.written(), after.written()
    places = ordinals(before.score, named)
    assert tree_differences(old, new) <= places
    assert text_differences(old, new) <= places
    assert not Counter(said(new)) - Counter(said(old))


def said(data: bytes) -> list[str]:
    """The schema's complaints without the lines they stand on."""
    return [line.partition(": ")[2] for line in complaints(data)]


@pytest.mark.parametrize("file", EVERY_TENTH, ids=lambda f: f.name)
def test_writing_what_stands_there_changes_no_byte(file: CorpusFile):
    read = document.read(file.path)
    edits = [SetOctave(ref, note.pitch.octave) for ref, note in pitched(read.score).items() if note.pitch]
    assert edits
    assert editor.write(read.container.score, edits) == read.container.score


def ordinals(score: Score, refs: set[NoteRef]) -> set[tuple[int, int, int]]:
    """References by ordinal of the part instead of its id."""
    order = [part.id for part in score.parts]
    return {(order.index(ref.part), ref.measure, ref.n) for ref in refs}


def tree_differences(old: bytes, new: bytes) -> set[tuple[int, int, int]]:
    """Walk two documents side by side: (part, measure, note) of the notes that differ; any other difference fails.

    In a note only the text of step, alter, octave and accidental, and the presence of the second and the fourth,
    may differ.
    """
    found = set()
    roots = [etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True)) for data in (old, new)]
    assert shallow(roots[0]) == shallow(roots[1])
    counts = {"part": 0}
    for a, b in both(roots[0], roots[1]):
        if a.tag != "part":
            assert etree.tostring(a) == etree.tostring(b)
            continue
        assert shallow(a) == shallow(b)
        measures = 0
        for c, d in both(a, b):
            assert shallow(c) == shallow(d)
            notes = 0
            for e, f in both(c, d):
                if e.tag != "note":
                    assert etree.tostring(e) == etree.tostring(f)
                    continue
                if etree.tostring(e) != etree.tostring(f):
                    found.add((counts["part"], measures, notes))
                    assert bare(e) == bare(f)
                notes += 1
            measures += c.tag == "measure"
        counts["part"] += 1
    return found


def both(a: etree._Element, b: etree._Element) -> list[tuple[etree._Element, etree._Element]]:
    return list(zip(a, b, strict=True))


def shallow(element: etree._Element) -> tuple[object, ...]:
    return element.tag, dict(element.attrib), element.text, element.tail


def bare(element: etree._Element) -> list[object]:
    """A note without what an edit may change."""
    rows: list[object] = [element.tag, dict(element.attrib), element.tail]
    for child in element:
        if child.tag == "pitch":
            inside = [(one.tag, dict(one.attrib)) for one in child if one.tag != "alter"]
            rows.append(("pitch", dict(child.attrib), inside))
        elif child.tag != "accidental":
            rows.append(etree.tostring(child, with_tail=False))
    return rows


TOKEN = re.compile(
    r"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>|<!DOCTYPE[^\[>]*(?:\[.*?\]\s*)?>|<(?:[^>\"']|\"[^\"]*\"|'[^']*')*>", re.S
)
TAG_NAME = re.compile(r"<(/?)([^\s/>]+)")


def text_differences(old: bytes, new: bytes) -> set[tuple[int, int, int]]:
    """The same from the text alone, without a parser: what lies outside notes must be equal to the byte."""
    (outside_old, notes_old), (outside_new, notes_new) = pieces(decoded(old)), pieces(decoded(new))
    assert outside_old == outside_new
    assert notes_old.keys() == notes_new.keys()
    found = set()
    for place, text in notes_old.items():
        if text != notes_new[place]:
            found.add(place)
            assert stripped(text) == stripped(notes_new[place])
    return found


def decoded(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16")
    declared = re.match(rb"[^>]*encoding=[\"']([^\"']+)", data)
    return data.decode(declared.group(1).decode() if declared else "utf-8")


def pieces(text: str) -> tuple[list[str], dict[tuple[int, int, int], str]]:
    """The text outside notes, in pieces, and every note's text by (part, measure, note)."""
    outside, notes = [], {}
    part = measure = n = -1
    at = 0
    start = None
    for token in TOKEN.finditer(text):
        name = TAG_NAME.match(token.group())
        if name is None or name.group(2).startswith(("!", "?")):
            continue
        closing, tag = name.groups()
        if tag == "part" and not closing:
            part, measure = part + 1, -1
        elif tag == "measure" and not closing and part >= 0:
            measure, n = measure + 1, -1
        elif tag == "note" and not closing and part >= 0:
            start, n = token.start(), n + 1
            if token.group().endswith("/>"):
                notes[part, measure, n] = token.group()
                outside.append(text[at : token.start()])
                at = token.end()
        elif tag == "note" and closing and start is not None:
            outside.append(text[at:start])
            notes[part, measure, n] = text[start : token.end()]
            at = token.end()
    outside.append(text[at:])
    return outside, notes


def stripped(note: str) -> str:
    """A note's text without what an edit may change."""
    note = re.sub(r"\s*<alter[^>]*?(/>|>[^<]*</alter\s*>)", "", note)
    note = re.sub(r"\s*<accidental(?!-)[^>]*?(/>|>[^<]*</accidental\s*>)", "", note)
    return re.sub(r"(<(step|octave)>)[^<]*(?=</)", r"\1", note)


# ---------------------------------------------------------------- one file in many forms

FLUTE = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0">
  <!-- a <note> in a comment is no note: é -->
  <part-list>
    <score-part id="P1"><part-name print-style='a > b'>Flûte</part-name></score-part>
  </part-list>
  <part id="P1">
    <measure number="1">
      <attributes><divisions>1</divisions></attributes>
      <direction><direction-type><words><![CDATA[<note><pitch>]]></words></direction-type></direction>
      <note default-x="1" color='#000000' >
        <!-- before the pitch -->
        <pitch>
          <step>F</step>
          <alter>1</alter>
          <octave>4</octave>
        </pitch>
        <duration>1</duration>
        <voice>1</voice>
        <type>quarter</type>
        <accidental parentheses="a>b" placement='c>d'>sharp</accidental>
        <notations><technical><other-technical smufl="a>b"/></technical></notations>
      </note>
      <?proof a note may follow an instruction?>
      <note><pitch><step>G</step><octave >5</octave></pitch><duration>1</duration><dot/><stem>up</stem></note>
      <note><rest/><duration>1</duration></note>
      <note><unpitched/><duration>1</duration></note>
      <note>
        <grace slash="no"/>
        <pitch><step>B</step><alter> -1 </alter><octave>3</octave></pitch>
        <voice>1</voice>
      </note>
    </measure>
  </part>
</score-partwise>
"""
CODECS = {
    "utf-8": ("UTF-8", b"", "utf-8"),
    "utf-8 with mark": ("UTF-8", b"\xef\xbb\xbf", "utf-8"),
    "utf-16 little end": ("UTF-16", b"\xff\xfe", "utf-16-le"),
    "utf-16 big end": ("UTF-16", b"\xfe\xff", "utf-16-be"),
    "latin": ("ISO-8859-1", b"", "iso-8859-1"),
    "windows": ("windows-1252", b"", "cp1252"),
}
ENDS = {"lines": "\n", "dos lines": "\r\n", "old mac lines": "\r"}
N0, N1, N4 = (NoteRef("P1", 0, n) for n in (0, 1, 4))
CASES: dict[str, tuple[list[Edit], list[tuple[str, str]]]] = {
    "octave": ([SetOctave(N0, 5)], [("<octave>4</octave>", "<octave>5</octave>")]),
    "octave of an odd tag": ([SetOctave(N1, 6)], [("<octave >5</octave>", "<octave >6</octave>")]),
    "alteration changed, sign with attributes": (
        [Respell(N0, "G", -1, 4)],
        [
            ("<step>F</step>", "<step>G</step>"),
            ("<alter>1</alter>", "<alter>-1</alter>"),
            ("'c>d'>sharp</accidental>", "'c>d'>flat</accidental>"),
        ],
    ),
    "alteration goes with its line": (
        [Respell(N0, "E", 0, 4)],
        [
            ("<step>F</step>\n          <alter>1</alter>", "<step>E</step>"),
            ("'c>d'>sharp</accidental>", "'c>d'>natural</accidental>"),
        ],
    ),
    "alteration comes, no sign": (
        [Respell(N1, "F", 2, 5)],
        [("<step>G</step><octave >", "<step>F</step><alter>2</alter><octave >")],
    ),
    "alteration with spaces": (
        [Respell(N4, "A", 1, 3)],
        [("<step>B</step><alter> -1 </alter>", "<step>A</step><alter>1</alter>")],
    ),
    "sign changed": (
        [AddAccidental(N0, "natural")], [("'c>d'>sharp</accidental>", "'c>d'>natural</accidental>")]
    ),
    "sign behind the dot": (
        [AddAccidental(N1, "natural")], [("<dot/><stem>", "<dot/><accidental>natural</accidental><stem>")]
    ),
    "sign on its own line": (
        [AddAccidental(N4, "flat")],
        [
            (
                "<octave>3</octave></pitch>\n        <voice>1</voice>",
                "<octave>3</octave></pitch>\n        <voice>1</voice>\n        <accidental>flat</accidental>",
            )
        ],
    ),
    "several at once": (
        [AddAccidental(N4, "flat"), SetOctave(N0, 2), Respell(N1, "A", -1, 5), AddAccidental(N1, "flat")],
        [
            ("<octave>4</octave>", "<octave>2</octave>"),
            ("<step>G</step><octave >", "<step>A</step><alter>-1</alter><octave >"),
            ("<dot/><stem>", "<dot/><accidental>flat</accidental><stem>"),
            (
                "<octave>3</octave></pitch>\n        <voice>1</voice>",
                "<octave>3</octave></pitch>\n        <voice>1</voice>\n        <accidental>flat</accidental>",
            ),
        ],
    ),
    "sign and spelling of one note that has a sign": (
        [Respell(N0, "G", -1, 4), AddAccidental(N0, "natural")],
        [
            ("<step>F</step>", "<step>G</step>"),
            ("<alter>1</alter>", "<alter>-1</alter>"),
            ("'c>d'>sharp</accidental>", "'c>d'>natural</accidental>"),
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("codec", CODECS)
def test_the_bytes_are_those_expected(codec: str, ends: str, case: str):
    edits, changes = CASES[case]
    expected = FLUTE
    for old, new in changes:
        assert expected.count(old) == 1, old
        expected = expected.replace(old, new)
    read = document.from_bytes(encoded(FLUTE, codec, ends))
    after = read.with_edits(edits)
    assert after.written() == encoded(expected, codec, ends)
    assert document.from_bytes(after.written()).score == after.score


def encoded(text: str, codec: str, ends: str) -> bytes:
    name, mark, python = CODECS[codec]
    return mark + text.replace("UTF-8", name, 1).replace("\n", ENDS[ends]).encode(python)


# ---------------------------------------------------------------- empty elements, comments, the odd


def one_bar(notes: str, doctype: str = "") -> bytes:
    return (
        f'<?xml version="1.0"?>{doctype}<score-partwise version="4.0"><part-list><score-part id="P1">'
        '<part-name>Flute</part-name></score-part></part-list><part id="P1"><measure number="1">'
        f"<attributes><divisions>1</divisions></attributes>{notes}</measure></part></score-partwise>"
    ).encode()


def note(pitch: str, rest: str = "") -> str:
    return f"<note><pitch>{pitch}</pitch><duration>1</duration>{rest}</note>"


F4 = "<step>F</step><octave>4</octave>"


@pytest.mark.parametrize(
    ("before", "edit", "after"),
    [
        (note("<step>F</step><alter/><octave>4</octave>"), Respell(N0, "F", 1, 4), "<alter>1</alter>"),
        (note("<step>F</step><alter></alter><octave>4</octave>"), Respell(N0, "F", 1, 4), "<alter>1</alter>"),
        (note(F4, "<accidental/>"), AddAccidental(N0, "sharp"), "<accidental>sharp</accidental>"),
        (note(F4, '<accidental size="cue" />'), AddAccidental(N0, "flat"), '<accidental size="cue" >flat</accidental>'),
        (note(F4, "<accidental/>"), Respell(N0, "G", 1, 4), "<accidental>sharp</accidental>"),
        (note("<step>F</step><octave>4<!-- four --></octave>"), SetOctave(N0, 5), "<octave>5"),
        (note("<step>F</step><octave><![CDATA[4]]></octave>"), SetOctave(N0, 5), "<octave>5</octave>"),
    ],
)
def test_empty_elements_and_comments(before: str, edit: Edit, after: str):
    read = document.from_bytes(one_bar(before))
    edited = read.with_edits([edit])
    written = edited.written()
    assert after.encode() in written
    assert document.from_bytes(written).score == edited.score


def test_a_note_of_an_unknown_part_measure_or_place_is_refused():
    data = one_bar(note(F4))
    for ref in (NoteRef("P2", 0, 0), NoteRef("P1", 1, 0), NoteRef("P1", 0, 1)):
        with pytest.raises(EditError, match=str(ref)):
            editor.write(data, [SetOctave(ref, 5)])


@pytest.mark.parametrize(
    "edits",
    [
        [SetOctave(N0, 5), SetOctave(N0, 6)],
        [SetOctave(N0, 5), Respell(N0, "G", 0, 4)],
        [AddAccidental(N0, "flat"), AddAccidental(N0, "sharp")],
        [Respell(N0, "G", 1, 4), Respell(N0, "G", 1, 4)],
    ],
)
def test_edits_of_one_thing_are_refused(edits: list[Edit]):
    read = document.from_bytes(one_bar(note(F4)))
    with pytest.raises(EditError, match="take one of them"):
        read.with_edits(edits)
    with pytest.raises(EditError, match="take one of them"):
        editor.write(read.written(), edits)


def test_splices_that_overlap_are_refused():
    def splices(*spans: tuple[int, int]) -> list[editor.Splice]:
        return [editor.Splice(start, stop, "x") for start, stop in spans]

    assert editor.spliced(b"abcdef", splices((4, 5), (1, 2), (2, 2)), "utf-8") == b"axxcdxf"
    for spans in ([(1, 3), (2, 4)], [(1, 3), (1, 3)], [(2, 2), (2, 2)], [(2, 2), (1, 3)]):
        with pytest.raises(EditError, match="same place"):
            editor.spliced(b"abcdef", splices(*spans), "utf-8")


# ---------------------------------------------------------------- entities

WHOLE = f'<!DOCTYPE score-partwise [<!ENTITY n "{note(F4)}">]>'
PITCH = '<!DOCTYPE score-partwise [<!ENTITY p "<pitch><step>A</step><octave>3</octave></pitch>">]>'
FIGURE = '<!DOCTYPE score-partwise [<!ENTITY four "4">]>'


@pytest.mark.parametrize(
    ("doctype", "body"),
    [
        (WHOLE, "&n;"),
        (PITCH, "<note>&p;<duration>1</duration></note>"),
        (FIGURE, note("<step>F</step><octave>&four;</octave>")),
    ],
)
def test_a_note_born_of_an_entity_is_refused(doctype: str, body: str):
    read = document.from_bytes(one_bar(body, doctype))
    with pytest.raises(EditError):
        read.with_edits([SetOctave(N0, 5)])


def test_a_note_whose_elements_come_from_an_entity_is_refused_by_the_bytes_too():
    body = one_bar("<note>&p;<duration>1</duration></note>", PITCH)
    with pytest.raises(EditError, match="entity"):
        editor.write(body, [SetOctave(N0, 5)])


def test_an_entity_before_a_note_moves_no_edit_to_another_note():
    body = one_bar("&n;" + note(F4) + note("<step>G</step><octave>4</octave>"), WHOLE)
    read = document.from_bytes(body)
    assert [str(n.pitch) for n in read.score.parts[0].measures[0].notes] == ["F4", "G4"]
    edited = read.with_edits([SetOctave(N1, 5)])
    assert edited.written() == body.replace(b"<step>G</step><octave>4", b"<step>G</step><octave>5")


def test_an_outside_entity_is_never_opened(tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("<note/>")
    body = one_bar("&x;" + note(F4), f'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "{secret.as_uri()}">]>')
    edited = document.from_bytes(body).with_edits([SetOctave(N0, 5)])
    assert edited.written() == body.replace(b"<octave>4", b"<octave>5")


def test_an_encoding_that_cannot_be_spliced_is_refused_with_a_way_out():
    text = '<?xml version="1.0" encoding="Shift_JIS"?>' + one_bar(note(F4)).decode().partition("?>")[2]
    read = document.from_bytes(text.replace("Flute", "フルート").encode("shift_jis"))
    assert read.score.parts[0].name == "フルート"
    with pytest.raises(EditError, match="save it as UTF-8"):
        read.with_edits([SetOctave(N0, 5)]).written()


# ---------------------------------------------------------------- one document after the other


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([SetOctave(N0, 5), SetOctave(N0, 6)], note("<step>F</step><octave>6</octave>")),
        ([SetOctave(N0, 5), Respell(N0, "G", 1, 3)], note("<step>G</step><alter>1</alter><octave>3</octave>")),
        ([Respell(N0, "G", 1, 3), SetOctave(N0, 5)], note("<step>G</step><alter>1</alter><octave>5</octave>")),
        ([Respell(N0, "G", 1, 3), Respell(N0, "F", 0, 4)], note(F4)),
        (
            [AddAccidental(N0, "natural"), Respell(N0, "F", 1, 4)],
            note("<step>F</step><alter>1</alter><octave>4</octave>", "<accidental>sharp</accidental>"),
        ),
        (
            [Respell(N0, "F", 1, 4), AddAccidental(N0, "sharp"), SetOctave(N0, 5)],
            note("<step>F</step><alter>1</alter><octave>5</octave>", "<accidental>sharp</accidental>"),
        ),
        ([AddAccidental(N0, "natural"), AddAccidental(N0, "flat")], note(F4, "<accidental>flat</accidental>")),
    ],
)
def test_a_document_is_the_one_before_with_its_edits(steps: list[Edit], expected: str):
    edited = document.from_bytes(one_bar(note(F4)))
    for step in steps:
        edited = edited.with_edits([step])
    assert edited.written() == one_bar(expected)
    assert document.from_bytes(edited.written()).score == edited.score


def test_lines_are_counted_as_an_editor_counts_them():
    read = document.from_bytes(FLUTE.encode())
    texts = FLUTE.split("\n")
    found = editor.lines(read.written(), {N0, N1, N4})
    assert [texts[found[ref] - 1].strip()[:12] for ref in (N0, N1, N4)] == ["<note defaul", "<note><pitch", "<note>"]
