"""Notes that go, fall silent or become shorter: what is written reads as what was asked, and the rest stays.

The note values are those of MusicXML 4.0 (simpleType note-type-value); the schema in the package ``musicxml`` is asked.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from corpus import corpus_files, shared_scores
from deskproof import document
from deskproof.edits import AddPedal, Edit, EditError, Omit, Shorten, Silence, moved
from deskproof.score import CHORD, TIE_START, TIE_STOP, Measure, Note, NoteRef
from schema import complaints

FILES = [f.path for f in corpus_files()[3::10]] + [p for p in shared_scores() if p.suffix != ".mid"]
VALUES = {Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter", Fraction(1, 2): "eighth"}
BOUND = {"slur", "tuplet", "glissando", "slide", "wavy-line"}


def said(data: bytes) -> Counter[str]:
    """The schema's complaints without the lines they stand on."""
    return Counter(line.partition(": ")[2] for line in complaints(data))


def written_notes(data: bytes) -> dict[tuple[int, int, int], etree._Element]:
    root = etree.fromstring(data)
    return {
        (p, m, n): note
        for p, part in enumerate(root.iter("part"))
        for m, measure in enumerate(part.iterfind("measure"))
        for n, note in enumerate(measure.iterfind("note"))
    }


def plain(note: Note) -> bool:
    return note.pitch is not None and not note.flags & (TIE_START | TIE_STOP) and not any(
        mark.kind in BOUND for mark in note.marks
    )


def alone(measure: Measure, n: int) -> bool:
    behind = measure.notes[n + 1 : n + 2]
    return not measure.notes[n].flags & CHORD and not any(one.flags & CHORD for one in behind)


def random_edits(path: Path) -> tuple[document.Document, list[Edit]]:
    draw = random.Random(path.name)
    read = document.read(path)
    own = written_notes(read.written())
    edits: list[Edit] = []
    for p, part in enumerate(read.score.parts):
        for measure in part.measures:
            note = draw.choice(measure.notes) if measure.notes else None
            if note is None or not plain(note) or (p, measure.index, note.n) not in own or draw.random() < 0.5:
                continue
            ref = NoteRef(part.id, measure.index, note.n)
            quarters = Fraction(note.length, read.score.grid)
            names = {child.tag for child in own[p, measure.index, note.n]}
            if note.flags & CHORD:
                edits.append(Omit(ref))
            elif not alone(measure, note.n) or "grace" in names:
                continue
            elif draw.random() < 0.5 and quarters in VALUES and quarters / 2 in VALUES:
                if names & {"beam", "time-modification", "dot"} or note.length % 2:
                    continue
                half = (VALUES[quarters / 2], 0)
                edits.append(Shorten(ref, note.length // 2, note.length, half, half))
            else:
                edits.append(Silence(ref))
    return read, edits


def test_every_kind_is_drawn():
    kinds = Counter(type(edit) for path in FILES for edit in random_edits(path)[1])
    assert min(kinds[Omit], kinds[Silence], kinds[Shorten]) > 30, kinds


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_what_is_written_reads_as_what_was_asked(path: Path):
    read, edits = random_edits(path)
    after = read.with_edits(edits)
    data = after.written()
    again = document.from_bytes(data)
    assert again.score == after.score
    assert not said(data) - said(read.written())
    named = {edit.note for edit in edits}
    places = {part.id: p for p, part in enumerate(read.score.parts)}
    before, now = written_notes(read.written()), written_notes(data)
    for (p, m, n), element in before.items():
        ref = NoteRef(read.score.parts[p].id, m, n)
        there = moved(ref, edits)
        if there is None:
            assert any(isinstance(edit, Omit) and edit.note == ref for edit in edits)
        elif ref not in named:
            other = now[places[there.part], there.measure, there.n]
            assert etree.tostring(element, with_tail=False) == etree.tostring(other, with_tail=False)
    rests = sum(isinstance(edit, Shorten) for edit in edits)
    assert len(now) == len(before) - sum(isinstance(edit, Omit) for edit in edits) + rests


def bar(notes: str) -> bytes:
    return (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        f"{notes}</measure></part></score-partwise>"
    ).encode()


def one(step: str, more: str = "", before: str = "", duration: int = 1, kind: str = "quarter") -> str:
    return (
        f"<note>{before}<pitch><step>{step}</step><octave>4</octave></pitch><duration>{duration}</duration>"
        f"<voice>1</voice><type>{kind}</type>{more}</note>"
    )


def ref(n: int) -> NoteRef:
    return NoteRef("P1", 0, n)


CHORD_OF = one("C") + one("E", before="<chord/>")


@pytest.mark.parametrize(
    ("notes", "edit", "message"),
    [
        (CHORD_OF, Omit(ref(0)), "first note of its chord"),
        (CHORD_OF, Silence(ref(0)), "one of a chord"),
        (CHORD_OF, Silence(ref(1)), "one of a chord"),
        (one("C", '<notations><slur type="start"/></notations>'), Silence(ref(0)), "one end of a slur"),
        (one("C"), Shorten(ref(0), 2, 1, ("half", 0), None), "cannot be shortened"),
        (one("C", before="<grace/>").replace("<duration>1</duration>", ""), Silence(ref(0)), "grace"),
    ],
)
def test_what_cannot_be_done_is_refused(notes: str, edit: Edit, message: str):
    with pytest.raises(EditError, match=message):
        document.from_bytes(bar(notes)).with_edits([edit])


def test_a_beamed_note_is_not_shortened():
    data = bar(one("C", '<beam number="1">begin</beam>', kind="half", duration=2))
    grid = document.from_bytes(data).score.grid
    edits = [Shorten(ref(0), grid, 2 * grid, ("quarter", 0), ("quarter", 0))]
    with pytest.raises(EditError, match="beamed"):
        document.from_bytes(data).with_edits(edits).written()


def test_a_dotted_half_becomes_a_quarter_and_a_half_rest():
    dotted = one("C", "<dot/><stem>up</stem>", kind="half", duration=3)
    read = document.from_bytes(bar(dotted + one("D")))
    grid = read.score.grid
    edit = Shorten(ref(0), grid, 3 * grid, ("quarter", 0), ("half", 0))
    text = read.with_edits([edit]).written().decode()
    assert "<dot/>" not in text
    rest = "<note><rest/><duration>2</duration><voice>1</voice><type>half</type></note>"
    assert re.search(r"<duration>1</duration><voice>1</voice><type>quarter</type><stem>up</stem></note>" + rest, text)
    assert document.from_bytes(text.encode()).score == read.with_edits([edit]).score


def test_pedal_signs_are_printed():
    read = document.from_bytes(bar(one("C") + one("D")))
    grid = read.score.grid
    after = read.with_edits([AddPedal("P1", 0, 0, 1, "start"), AddPedal("P1", 0, grid, 1, "stop")])
    data = after.written()
    assert document.from_bytes(data).score == after.score
    assert not complaints(data)
    assert data.count(b"<pedal ") == 2
