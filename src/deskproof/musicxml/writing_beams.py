"""Beams: which notes of a voice stand under one beam, and which pieces of it each note bears."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from deskproof.musicxml.writing_lengths import Span, spans_of
from deskproof.score import Time

FLAGS = {
    "eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6, "512th": 7, "1024th": 8,
}  # fmt: skip


class Flagged(NamedTuple):
    """A note, chord or rest of a voice: its start and length in quarters, how many flags its value has; 0: no beam."""

    start: Fraction
    length: Fraction
    flags: int


def beams(row: Sequence[Flagged], time: Time, grid: int) -> list[tuple[str, ...]]:
    """For each note of a voice its pieces of beam from the outermost on: begin, continue, end or a hook."""
    found: list[tuple[str, ...]] = [()] * len(row)
    places = list(_stretches(spans_of(time, grid)))
    for group in _groups(row, places):
        if len(group) > 1:
            flags = [row[i].flags for i in group]
            for k, i in enumerate(group):
                found[i] = tuple(_piece(flags, k, level) for level in range(1, flags[k] + 1))
    return found


def _stretches(span: Span) -> Iterator[tuple[Fraction, Fraction, bool]]:
    """The stretches of a bar under which a beam may go: begin, end, and whether for eighths alone."""
    if span.kind == "half" and span.length <= 2:
        yield span.start, span.stop, span.length > 1
        if span.length <= 1:
            return
    elif not span.inner or (span.kind == "beats" and span.inner[0].length < 1):
        yield span.start, span.stop, False
        return
    for inner in span.inner:
        yield from _stretches(inner)


def _groups(row: Sequence[Flagged], places: Sequence[tuple[Fraction, Fraction, bool]]) -> Iterator[list[int]]:
    """The ordinals of notes under one beam each: neighbours in one stretch, no rest between them."""
    eighths = [p for p in places if p[2] and all(one.flags in (0, 1) and one.length.denominator == 2
                                                 for one in row if p[0] <= one.start < p[1] and one.flags)]  # fmt: skip
    beats = [p for p in places if not p[2]]

    def stretch(i: int) -> tuple[Fraction, ...]:
        one = row[i]
        if not one.flags:
            return (Fraction(-1), Fraction(i))
        for begin, end, _ in (*eighths, *beats):
            if begin <= one.start < end:
                return (begin, end)
        return (Fraction(-2), Fraction(i))

    for _, group in groupby(range(len(row)), key=stretch):
        rows = list(group)
        if row[rows[0]].flags:
            yield rows


def _piece(flags: Sequence[int], k: int, level: int) -> str:
    """The piece of one beam that a note bears."""
    before = k > 0 and flags[k - 1] >= level
    after = k + 1 < len(flags) and flags[k + 1] >= level
    if before or after:
        return "continue" if before and after else "end" if before else "begin"
    return "backward hook" if k > 0 else "forward hook"
