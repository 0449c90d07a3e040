"""The slurs of the sketch over what a chair plays of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from deskproof.score import Mark
from deskproof.scoring.full_score.played import Played
from deskproof.scoring.records import Sketch

_NUMBERS = 6  # slurs open at a time in one part


def slurs_of(rows: Sequence[Played], sketch: Sketch, first: int = 1) -> list[tuple[Mark, ...]]:
    """For each played tone the ends of slurs that stand on it.

    A slur of the sketch goes over the notes of it that one strand gives to the chair, if it gives two or more one
    after the other; numbers are counted on from ``first``.
    """
    marks: list[list[Mark]] = [[] for _ in rows]
    by_line: dict[tuple[str, int], list[int]] = {}
    for i, row in enumerate(rows):
        by_line.setdefault((row.line, row.layer), []).append(i)
    number = 0
    for own in by_line.values():
        for slur, run in groupby(own, key=lambda i: _slur(rows[i], sketch)):
            under = list(run)
            if slur is None or rows[under[0]].tone.onset == rows[under[-1]].tone.onset:
                continue
            label = str(first + number % _NUMBERS)
            number += 1
            marks[under[0]].append(Mark("slur", "start", label))
            marks[under[-1]].append(Mark("slur", "stop", label))
    return [tuple(sorted(own, key=lambda mark: mark.value != "stop")) for own in marks]


def _slur(row: Played, sketch: Sketch) -> int | None:
    """The outermost slur over a tone; None for one that is made of several notes."""
    over = sketch.notes[row.tone.refs[0]].slurs if len(row.tone.refs) == 1 else ()
    return over[0] if over else None
