"""The slurs of the sketch over what a chair plays of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import NamedTuple

from deskproof.score import CHORD, GRACE, Mark, Note
from deskproof.scoring.full_score.played import Played
from deskproof.scoring.records import Sketch

SLUR = "slur"


class _End(NamedTuple):
    """One end of a slur: the note it stands on (ordinal of the bar, of the note), when that is, and its voice."""

    bar: int
    n: int
    start: int
    grace: bool
    voice: str


def slurs_of(rows: Sequence[Played], sketch: Sketch, name: str = "") -> list[tuple[Mark, ...]]:
    """For each played tone the ends of slurs that stand on it.

    A slur of the sketch goes over the notes of it that one strand gives to the chair, if it gives two or more one
    after the other. Each has a label of its own that begins with ``name``; :func:`numbered` makes numbers of them.
    """
    marks: list[list[Mark]] = [[] for _ in rows]
    by_line: dict[tuple[str, int], list[int]] = {}
    for i, row in enumerate(rows):
        by_line.setdefault((row.line, row.layer), []).append(i)
    count = 0
    for own in by_line.values():
        for slur, run in groupby(own, key=lambda i: _slur(rows[i], sketch)):
            under = list(run)
            if slur is None or rows[under[0]].tone.onset == rows[under[-1]].tone.onset:
                continue
            label = f"{name}.{count}"
            count += 1
            marks[under[0]].append(Mark(SLUR, "start", label))
            marks[under[-1]].append(Mark(SLUR, "stop", label))
    return [tuple(sorted(own, key=lambda mark: mark.value != "stop")) for own in marks]


def numbered(bars: Sequence[Sequence[Note]]) -> list[list[Note]]:
    """The notes of a part's bars with their slurs numbered as they are open together, from 1.

    One that lost an end is left out; so is one of two that go from one note, or chord, to the same other, and the later
    of two that cross in one voice.
    """
    ends: dict[str, dict[str, _End]] = {}
    for b, notes in enumerate(bars):
        head = 0
        for note in notes:
            head = head if note.flags & CHORD else note.n
            for mark in note.marks:
                if mark.kind == SLUR:
                    place = _End(b, head, note.start, bool(note.flags & GRACE), note.voice)
                    ends.setdefault(mark.number, {}).setdefault(mark.value, place)
    kept: dict[tuple[_End, _End], str] = {}
    for label, own in ends.items():
        if len(own) > 1 and _in_time(own["start"]) < _in_time(own["stop"]):
            kept.setdefault((own["start"], own["stop"]), label)
    numbers = _numbers(_uncrossed(kept))
    signs: dict[tuple[int, int], list[Mark]] = {}
    for (start, stop), number in numbers.items():
        signs.setdefault((start.bar, start.n), []).append(Mark(SLUR, "start", str(number)))
        signs.setdefault((stop.bar, stop.n), []).append(Mark(SLUR, "stop", str(number)))
    return [[_signed(note, signs.get((b, note.n), ())) for note in notes] for b, notes in enumerate(bars)]


def _uncrossed(slurs: Iterable[tuple[_End, _End]]) -> list[tuple[_End, _End]]:
    """Without those that begin inside another of their voice and end behind it."""
    found: list[tuple[_End, _End]] = []
    inside: dict[str, list[tuple[_End, _End]]] = {}
    for slur in sorted(slurs, key=lambda one: (_in_time(one[0]), _in_time(one[1]))):
        start, stop = slur
        same = start.voice if start.voice == stop.voice else ""
        inside[same] = [one for one in inside.get(same, ()) if _in_time(one[1]) > _in_time(start)]
        crosses = any(_in_time(one[0]) < _in_time(start) and _in_time(one[1]) < _in_time(stop) for one in inside[same])
        if not (same and crosses):
            inside[same].append(slur)
            found.append(slur)
    return found


def _numbers(slurs: Iterable[tuple[_End, _End]]) -> dict[tuple[_End, _End], int]:
    """The lowest number that is free where a slur stands, in the order of the file and in time."""
    found: dict[tuple[_End, _End], int] = {}
    last: dict[int, tuple[tuple[int, int], tuple[int, int]]] = {}  # number -> where and when its last slur ends
    for slur in sorted(slurs, key=lambda one: min(one)[:2]):
        start, stop = slur
        where, when = min(slur)[:2], (start.bar, start.start)
        number = next((n for n, ends in sorted(last.items()) if ends[0] <= where and ends[1] <= when), len(last) + 1)
        last[number] = max(slur)[:2], (stop.bar, stop.start)
        found[slur] = number
    return found


def _in_time(end: _End) -> tuple[int, int, bool, int]:
    return end.bar, end.start, not end.grace, end.n if end.grace else 0


def _signed(note: Note, slurs: Sequence[Mark]) -> Note:
    others = tuple(mark for mark in note.marks if mark.kind != SLUR)
    ordered = sorted(slurs, key=lambda mark: mark.value != "stop")
    return note._replace(marks=(*others, *ordered))


def _slur(row: Played, sketch: Sketch) -> int | None:
    """The outermost slur over a tone; None for one that is made of several notes."""
    over = sketch.notes[row.tone.refs[0]].slurs if len(row.tone.refs) == 1 else ()
    return over[0] if over else None
