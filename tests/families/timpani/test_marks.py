"""Printed tunings of timpani parts: where they stand and what they say, worked out by hand.

At 60 quarters a minute a quarter lasts a second; a semitone is tuned in 2.2 s, a tone in 2.4 s.
"""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

import seeds
from corpus import package_files, shared
from deskproof.check import check
from deskproof.document import Document, from_bytes, read
from deskproof.edits import AddWords
from deskproof.families import Help
from deskproof.forces import Forces, parse
from deskproof.mending import helped
from schema import complaints

Row = tuple[str, str, str]  # measure as printed, the note or rest that the words stand above, what they say


def of(**case: Any) -> dict[str, Any]:
    return {"instrument": "timpani", "clef": "F4", "tempo": 60, **case}


def printed(document: Document) -> Document:
    return helped(document, Forces(), Help(tuning_marks=True))


def words(raw: bytes) -> list[Row]:
    """The words of a part with directions of its own nowhere: each stands right before its note or rest."""
    found = []
    for measure in etree.fromstring(raw).iter("measure"):
        for one in measure.iterfind("direction[@placement='above']"):
            note = one.getnext()
            while note.tag != "note":
                note = note.getnext()
            at = "R" if note.find("rest") is not None else note.findtext("pitch/step") + note.findtext("pitch/octave")
            found.append((measure.get("number"), f"{at}/{note.findtext('type')}", one.findtext("direction-type/words")))
    return found


def first_bar_aside(raw: bytes) -> tuple[list[str], list[Row]]:
    """What is printed at the beginning of the first bar, which has a metronome mark, and the words of all others."""
    root = etree.fromstring(raw)
    first = root.find("part/measure")
    begin = []
    for one in first.iterfind("direction[@placement='above']"):
        before = [e for e in one.itersiblings(preceding=True) if e.tag in ("note", "backup", "forward")]
        before = [e for e in before if e.find("chord") is None]
        ticks = sum((-1 if e.tag == "backup" else 1) * int(e.findtext("duration")) for e in before)
        begin.append(f"{ticks // seeds.DIVISIONS}: {one.findtext('direction-type/words')}")
    first.getparent().remove(first)
    return begin, words(seeds.written(root))


CASES: list[tuple[str, dict[str, Any], list[str], list[Row]]] = [
    (
        "two bars of rest: where the rest begins",
        of(notes="E2/4 A2/4 E2/2 R/1 R/1 D2/4 A2/4 D2/2 R/1 R/1 E2/4 A2/4 E2/2"),
        ["0: E, A"], [("2", "R/whole", "E to D"), ("5", "R/whole", "D to E")],
    ),
    (
        "low to high, in the order of pitch and not of entry, with the signs of the notes",
        of(notes="C#3/4 F#2/4 Bb2/2"),
        ["0: F♯, B♭, C♯"], [],
    ),
    (
        "the part begins with rests: the tuning stands before them",
        of(notes="R/1 R/1 G2/4 C3/4 R/2"),
        ["0: G, C"], [],
    ),
    (
        "a rest in the middle of a bar, the first of several",
        of(notes="E2/1 E2/4 R/4 R/2 R/1 D2/1"),
        ["0: E"], [("2", "R/quarter", "E to D")],
    ),
    (
        "the other drum plays on: the first rest after that",
        of(notes="R/1 E2/4 A2/4 A2/4 A2/4 A2/2 R/2 A2/1 D2/1"),
        ["0: E, A"], [("3", "R/half", "E to D")],
    ),
    (
        "no rest at all: the note after",
        of(notes="R/1 E2/4 A2/4 A2/4 A2/4 A2/1 A2/1 D2/1"),
        ["0: E, A"], [("2", "A2/quarter", "E to D")],
    ),
    (
        "the only rest comes too late, a second before the new note: the note after",
        of(notes="R/1 E2/4 A2/4 A2/4 A2/4 A2/1 A2/2. R/4 D2/1"),
        ["0: E, A"], [("2", "A2/quarter", "E to D")],
    ),
    (
        "two drums in one rest",
        of(notes="R/1 Eb2/4 Gb3/4 R/2 R/1 D2/4 G3/4 R/2", key=-3),
        ["0: E♭, G♭"], [("2", "R/half", "E♭ to D, G♭ to G")],
    ),
    (
        "another spelling afterwards",
        of(notes="R/1 D#2/4 R/4 R/2 R/1 E2/4 R/4 R/2 R/1 Eb2/1"),
        ["0: D♯"], [("2", "R/quarter", "D♯ to E"), ("4", "R/quarter", "E to E♭")],
    ),
    (
        "each time alike: printed once",
        of(notes="R/1 E2/4 R/2. R/1 D2/4 R/2. R/1 E2/1 R/1", marks=[[1, "repeat"], [8, "repeat-end"]]),
        ["0: E"], [("2", "R/half", "E to D"), ("4", "R/half", "D to E")],
    ),
    (
        "back to the beginning of the repeat, and on without it",
        of(notes="R/1 E2/4 R/2. R/1 D2/4 R/2. R/1 A2/1", marks=[[1, "repeat"], [6, "repeat-end"]]),
        ["0: E, A"], [("2", "R/half", "E to D"), ("4", "R/half", "1st time: D to E")],
    ),
    (
        "behind the repeat, so that nobody tunes the first time",
        of(notes="R/1 E2/4 R/2. R/1 R/1 R/1 D2/1", marks=[[1, "repeat"], [3, "repeat-end"]]),
        ["0: E"], [("4", "R/whole", "E to D")],
    ),
    (
        "two players, each with drums of their own",
        of(notes="F2+C3+F3/1 R/1", part="Timpani 1 2"),
        ["0: F, C, F"], [],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("case", "begin", "rows"), [row[1:] for row in CASES], ids=[row[0] for row in CASES])
def test_each_stands_where_the_player_is_free_for_it(case: dict[str, Any], begin: list[str], rows: list[Row]):
    raw = seeds.score(case)
    before = from_bytes(raw)
    after = printed(before)
    data = after.written()
    assert first_bar_aside(data) == (begin, rows)
    assert from_bytes(data).score == after.score
    assert complaints(data) == complaints(raw)
    assert [one.says for one in check(after.score).findings] == [one.says for one in check(before.score).findings]


def test_each_of_several_players_has_a_line():
    """Nine notes at once want more drums than one player has."""
    data = printed(from_bytes(seeds.score(of(notes="E2+A2/4 F2+Bb2/4 G2+C3/4 D3+F3/4", part="Timpani 1 2")))).written()
    (begin,), _ = first_bar_aside(data)
    lines = begin.removeprefix("0: ").split("\n")
    assert [line[:3] for line in lines] == ["1. ", "2. "]
    assert sorted(", ".join(line[3:] for line in lines).split(", ")) == ["A", "B♭", *"CDEFFG"]


def test_drums_named_from_the_smallest_are_printed_from_the_lowest():
    forces = parse('[players.timpanist]\nplays = ["timpani"]\ndrums = [23, 26, 29, 32]\n')
    before = from_bytes(seeds.score(of(notes="D2/4 G3/4 D3/4 A2/4")))
    (edit,) = helped(before, forces, Help(tuning_marks=True)).edits
    assert isinstance(edit, AddWords)
    assert edit.text == "D, A, D, G"


def test_a_rest_beside_notes_on_another_staff_is_no_rest():
    case = of(notes="R/1 E2/4 A2/4 A2/2 A2/1 R/1 D2/1", below="R/1 R/1 R/1 R/1 R/1")
    _, rows = first_bar_aside(printed(from_bytes(seeds.score(case))).written())
    assert rows == [("4", "R/whole", "E to D")]


# ---------------------------------------------------------------- published parts


@pytest.mark.parametrize(
    ("name", "tuning"),
    [("beach-gaelic-symphony-2.mxl", {"F", "G", "C"}), ("beethoven-symphony-6-4.mxl", {"F", "C"})],
)
def test_a_published_part_gets_its_tuning_and_nothing_else(name: str, tuning: set[str]):
    after = printed(read(shared(name)))
    (edit,) = after.edits
    assert isinstance(edit, AddWords)
    assert set(edit.text.split(", ")) == tuning
    assert (edit.measure, edit.start) == (0, 0)
    assert from_bytes(after.packed()).score == after.score


def timpani_files() -> list[Path]:
    return [one.path for one in package_files() if re.search(rb"timpani|pauken", content(one.path).lower())]


def content(path: Path) -> bytes:
    if not zipfile.is_zipfile(path):
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        return b"".join(archive.read(name) for name in archive.namelist() if name.endswith("xml"))


def test_there_are_files_with_timpani():
    assert len(timpani_files()) >= 15


@pytest.mark.parametrize("path", timpani_files(), ids=lambda path: path.name)
def test_a_published_file_gets_one_tuning_at_its_beginning(path: Path):
    """The chorale settings use two notes at most, so that nothing is retuned."""
    before = read(path)
    after = printed(before)
    assert from_bytes(after.packed()).score == after.score
    (edit,) = after.edits
    assert isinstance(edit, AddWords)
    assert (edit.measure, edit.start) == (0, 0)
    assert re.fullmatch(r"[A-G][♭♯]?(, [A-G][♭♯]?)?", edit.text)
