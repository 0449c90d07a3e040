"""Engraved bars: every note drawn, where the music says it is, nothing cut off, nothing but black shapes and text."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lxml import etree

from corpus import shared, smallest
from deskproof import document
from deskproof.demo import SCORE
from deskproof.engrave.marks import PENCIL, Mark, picture, ring
from deskproof.engrave.render import SPACE, Engraving, engrave
from deskproof.engrave.shapes import Box, affine, path_box, path_boxes
from deskproof.engrave.slice import Bars, Desk
from deskproof.musicxml.slices import Source
from deskproof.score import HIDDEN, NoteRef, Score

SVG = "{http://www.w3.org/2000/svg}"
# Staff steps above C0 of the lowest line, by clef.
LOWEST_LINE = {("G", 2): 4 * 7 + 2, ("F", 4): 2 * 7 + 4, ("C", 3): 3 * 7 + 3, ("C", 4): 3 * 7 + 1}


def desk(path: Path) -> tuple[Score, Desk]:
    read = document.read(path)
    return read.score, Desk(read)


def steps_in_file(path: Path, part_id: str) -> dict[NoteRef, tuple[int, int]]:
    """Of each pitched note of a part with constant clefs: staff from 0, and steps above the staff's lowest line.

    Read from the XML here, without the project's reader; bars with octave signs or clef changes are left out.
    """
    root = etree.fromstring(document.read(path).container.score)
    found = {}
    clefs: dict[int, int] = {}
    steady = True
    for part in root.iter("part"):
        if part.get("id") != part_id:
            continue
        for m, measure in enumerate(part.iter("measure")):
            for clef in measure.iter("clef"):
                if m > 0:
                    steady = False
                where = (clef.findtext("sign") or "", int(clef.findtext("line") or 0))
                clefs[int(clef.get("number") or 1) - 1] = LOWEST_LINE[where]
            for shift in measure.iter("octave-shift"):
                steady = shift.get("type") == "stop"
            for n, note in enumerate(measure.iter("note")):
                pitch = note.find("pitch")
                if pitch is None or not steady or measure.find(".//octave-shift") is not None:
                    continue
                staff = int(note.findtext("staff") or 1) - 1
                step = 7 * int(pitch.findtext("octave") or 0) + "CDEFGAB".index(pitch.findtext("step") or "")
                found[NoteRef(part_id, m, n)] = (staff, step - clefs[staff])
    return found


@pytest.mark.parametrize("part", ["Flute 1", "2 Horns in F", "2 Clarinets in B♭", "Harp", "Viola", "Cello"])
def test_heads_lie_on_the_line_or_space_that_the_file_says(part: str) -> None:
    score, one = desk(SCORE)
    part_id = next(p.id for p in score.parts if p.name == part)
    expected = steps_in_file(SCORE, part_id)
    assert expected
    seen = 0
    for first in range(0, len(score.parts[0].measures), 4):
        drawn = one.engraving(Bars((part_id,), first, first + 3))
        for ref, box in drawn.heads.items():
            if ref in expected:
                staff, steps = expected[ref]
                assert drawn.owner[ref] == staff
                middle = (box.top + box.bottom) / 2
                lines = drawn.staves[staff].box
                assert (lines.bottom - middle) / (SPACE / 2) == pytest.approx(steps, abs=0.3), ref
                seen += 1
    assert seen == len(expected)


@pytest.mark.parametrize(("part_id", "bar"), [("P3", 23), ("P2", 47), ("P27", 13)])
def test_under_an_octave_sign_heads_lie_an_octave_lower(part_id: str, bar: int) -> None:
    """These bars of the file lie inside an "8va"; a sign that is lost would leave the heads seven steps higher."""
    path = shared("boulanger-matin-bars-1-100.mxl")
    root = etree.fromstring(document.read(path).container.score)
    measure = root.findall(f"part[@id='{part_id}']/measure")[bar]
    drawn = desk(path)[1].engraving(Bars((part_id,), bar, bar))
    tried = 0
    for n, note in enumerate(measure.iter("note")):
        box = drawn.heads[NoteRef(part_id, bar, n)]
        if note.find("pitch") is None or (note.findtext("staff") or "1") != "1":
            continue
        steps = 7 * int(note.findtext("pitch/octave") or 0) + "CDEFGAB".index(note.findtext("pitch/step") or "")
        lines = drawn.staves[0].box
        seen = (lines.bottom - (box.top + box.bottom) / 2) / (SPACE / 2)
        assert seen == pytest.approx(steps - LOWEST_LINE["G", 2] - 7, abs=0.3)
        tried += 1
    assert tried


@pytest.mark.parametrize(("part", "sharps"), [("2 Clarinets in B♭", 1), ("2 Horns in F", 0)])
def test_a_transposing_part_shows_its_written_key(part: str, sharps: int) -> None:
    """The demo is in F major (one flat): a tone higher one sharp, a fifth higher none."""
    score, one = desk(SCORE)
    part_id = next(p.id for p in score.parts if p.name == part)
    drawn = one.engraving(Bars((part_id,), 2, 2))
    flute = one.engraving(Bars((score.parts[0].id,), 2, 2))
    # E260 is the flat, E262 the sharp of SMuFL; these bars have no accidentals but those of the key.
    fifths = etree.fromstring(SCORE.read_bytes()).findtext(f"part[@id='{part_id}']/measure/attributes/key/fifths")
    assert int(fifths or 0) == sharps
    assert drawn.body.count("E262") == sharps and drawn.body.count("E260") == 0
    assert flute.body.count("E260") == 1


@pytest.mark.parametrize("first", [0, 24, 75])
def test_forty_one_parts_are_all_there_and_inside_the_picture(first: int) -> None:
    score, one = desk(shared("boulanger-matin-bars-1-100.mxl"))
    ids = tuple(p.id for p in score.parts)
    drawn = one.engraving(Bars(ids, first, first + 2, names=True))
    assert len(drawn.staves) == sum(p.staves for p in score.parts) == 44
    notes = {
        NoteRef(p.id, m.index, n.n)
        for p in score.parts
        for m in p.measures[first : first + 3]
        for n in m.notes
        if not n.flags & HIDDEN and n.kind != "rest"
    }
    assert notes <= set(drawn.heads)
    shown = picture(drawn, [Mark("1", "hard", (min(notes),))], "x", highest_px=900)
    assert shown.height == pytest.approx(900)
    left, top, wide, high = (float(n) for n in re.findall(r'viewBox="([^"]+)"', shown.svg)[0].split())
    view = Box(left, top, left + wide, top + high).grown(1)
    for box in (*drawn.ink, *(s.box for s in drawn.staves), *shown.rings, *shown.brackets):
        assert view.left <= box.left and box.right <= view.right and view.top <= box.top and box.bottom <= view.bottom


@pytest.mark.parametrize("file", smallest(12), ids=lambda f: f.name)
def test_every_visible_note_of_corpus_files_is_drawn(file: object) -> None:
    read = document.read(file.path)  # type: ignore[attr-defined]
    one = Desk(read)
    for part in read.score.parts[:2]:
        for first in sorted({0, len(part.measures) // 2, len(part.measures) - 1}):
            drawn = one.engraving(Bars((part.id,), first, first))
            wanted = {
                NoteRef(part.id, first, n.n) for n in part.measures[first].notes if n.pitch and not n.flags & HIDDEN
            }
            assert wanted <= set(drawn.heads)


def full_svg(drawn: Engraving, *marks: Mark) -> etree._Element:
    return etree.fromstring(picture(drawn, marks, "three <bars>", "a-").svg)


def test_the_picture_is_plain_black_shapes_and_text() -> None:
    score, one = desk(SCORE)
    drawn = one.engraving(Bars(tuple(p.id for p in score.parts), 0, 2, names=True))
    root = full_svg(drawn)
    assert {etree.QName(e).localname for e in root.iter()} <= {
        "svg", "title", "defs", "g", "path", "use", "rect", "polygon", "polyline", "ellipse", "circle", "line",
        "text", "tspan",
    }  # fmt: skip
    assert {v for e in root.iter() for k, v in e.attrib.items() if k in ("fill", "stroke", "color")} <= {"none", "#000"}
    assert not any(k == "style" or k.startswith("on") for e in root.iter() for k in map(str, e.attrib))
    assert root.find(f"{SVG}title").text == "three <bars>"  # type: ignore[union-attr]


def test_a_metronome_mark_is_drawn_without_a_music_font() -> None:
    score, one = desk(SCORE)
    root = full_svg(one.engraving(Bars((score.parts[0].id,), 0, 0)))
    text = "".join("".join(e.itertext()) for e in root.iter(f"{SVG}text"))
    assert "90" in text
    assert not re.search("[\ue000-\uf8ff]", text)
    defined = {e.get("id") for e in root.iter(f"{SVG}path") if e.get("id")}
    used = {(e.get("href") or "").lstrip("#") for e in root.iter(f"{SVG}use")}
    assert used == defined and any("ECA5" in name or "E1D5" in name for name in used)


def test_two_pictures_on_one_page_share_no_id() -> None:
    score, one = desk(SCORE)
    drawn = one.engraving(Bars((score.parts[9].id,), 4, 6))
    ids = [
        e.get("id")
        for prefix in ("a-", "b-")
        for e in etree.fromstring(picture(drawn, (), "x", prefix).svg).iter()
        if e.get("id")
    ]
    assert len(ids) == len(set(ids)) > 20


def test_equal_bars_give_equal_pictures() -> None:
    score, _ = desk(SCORE)
    cut = Source.of(SCORE.read_bytes()).cut([score.parts[9].id], 4, 6)
    first = engrave(cut)
    other = engrave(Source.of(SCORE.read_bytes()).cut([score.parts[9].id], 7, 8))
    assert engrave(cut) == first != other


def test_a_red_note_of_the_file_is_engraved_in_black() -> None:
    data = SCORE.read_bytes().replace(b"<note>", b'<note color="#FF0000">')
    read = document.from_bytes(data)
    drawn = Desk(read).engraving(Bars((read.score.parts[9].id,), 0, 1))
    assert "ff0000" not in drawn.body.lower() and drawn.heads


OUTLINES = {"impossible": (2, 0, 0), "hard": (1, 0, 0), "notation": (1, 1, 0), "advice": (1, 1, 1)}


@pytest.mark.parametrize("level", OUTLINES)
def test_the_outline_of_a_ring_tells_the_level(level: str) -> None:
    circles, broken, dots = OUTLINES[level]
    root = etree.fromstring(f"<g>{ring('12', level)}</g>")
    found = root.findall("circle")
    assert len(found) == circles
    assert sum(c.get("stroke-dasharray") is not None for c in found) == broken
    assert sum(c.get("stroke-linecap") == "round" for c in found) == dots
    assert {c.get("stroke") for c in found} == {PENCIL} and {c.get("fill") for c in found} == {"none"}
    assert root.findtext("text") == "12"


@pytest.mark.parametrize("part", ["Flute 1", "Harp", "Piano", "Viola", "Violin 1"])
def test_brackets_stand_under_their_notes_and_on_no_note(part: str) -> None:
    score, one = desk(SCORE)
    part_id = next(p.id for p in score.parts if p.name == part)
    tried = 0
    for first in range(0, 30, 3):
        drawn = one.engraving(Bars((part_id,), first, first + 2))
        refs = sorted(drawn.heads)
        for chosen in (refs[:1], refs[2:5], refs[-2:]):
            if not chosen:
                continue
            shown = picture(drawn, [Mark("3", "hard", tuple(chosen))], "x")
            assert len(shown.rings) == 1 and shown.brackets
            for box in (*shown.brackets, *shown.rings):
                assert not any(box.meets(head) for head in drawn.heads.values())
            assert all(r.right < drawn.box.left for r in shown.rings)
            for ref in chosen:
                head = drawn.heads[ref]
                assert any(
                    b.left <= head.left and head.right <= b.right and b.top >= head.bottom for b in shown.brackets
                )
            tried += 1
    assert tried > 20


def test_many_marks_on_one_system_do_not_cover_each_other() -> None:
    score, one = desk(SCORE)
    part_id = next(p.id for p in score.parts if p.name == "Piano")
    drawn = one.engraving(Bars((part_id,), 0, 2))
    refs = sorted(drawn.heads)
    shown = picture(drawn, [Mark(str(k), "notation", tuple(refs[k : k + 2])) for k in range(8)], "x")
    assert len(shown.rings) == 8
    for boxes in (shown.rings, shown.brackets):
        assert not any(a.meets(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])


def test_the_box_of_a_curve_holds_its_points() -> None:
    assert path_box("M0 0C10 -5 20 -5 30 0") == Box(0, -5, 30, 0)
    pieces = path_boxes("M0 0C10 -40 20 -40 30 0", 5)
    assert min(b.top for b in pieces) == pytest.approx(-30)  # a cubic reaches three quarters of such a bow
    assert affine("translate(10, 0) rotate(90 0,0) scale(2, 2)").box(Box(0, 0, 1, 1)) == pytest.approx((8, 0, 10, 2))


def test_the_box_of_a_sign_stands_upright() -> None:
    """A treble clef reaches over four spaces above its line and under three below it (SMuFL metadata of gClef)."""
    score, one = desk(SCORE)
    drawn = one.engraving(Bars((score.parts[0].id,), 0, 0))
    clef = max(drawn.ink, key=lambda box: (box.bottom - box.top) * (box.right < drawn.staves[0].box.left + 5 * SPACE))
    line = drawn.staves[0].box.bottom - SPACE
    assert (line - clef.top) / SPACE == pytest.approx(4.4, abs=0.3)
    assert (clef.bottom - line) / SPACE == pytest.approx(2.6, abs=0.3)
