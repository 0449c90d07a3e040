"""Types, dots and tuplets of the notes of one voice in a measure, from their lengths alone."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from deskproof.musicxml.writing_lengths import MOST_IN_TUPLET, Value, below, in_tuplet, odd_part, plain

_WINDOWS = tuple(Fraction(n, 8) for n in (1, 2, 4, 6, 8, 12, 16, 24, 32))
"""How long a tuplet may be, in quarters: from a 32nd to a whole note, dotted ones for compound metres."""


class Length(NamedTuple):
    """Where something stands in its voice, in quarters: its start in the measure and its length."""

    start: Fraction
    length: Fraction

    @property
    def stop(self) -> Fraction:
        """Where it ends."""
        return self.start + self.length


class Printed(NamedTuple):
    """How a length is printed, None where no value fits; whether a tuplet's bracket begins or ends with it."""

    value: Value | None
    starts: bool = False
    stops: bool = False


def printed(row: Sequence[Length]) -> list[Printed]:
    """The values of the notes and rests of one voice, in order.

    A tuplet is the shortest stretch of the measure that holds whole notes only, all of which have a value in it. Where
    there is none, a note is a tuplet by itself, without a bracket.
    """
    found: list[Printed | None] = [None] * len(row)
    for i, one in enumerate(row):
        if found[i] is not None:
            continue
        value = plain(one.length)
        if value is not None and odd_part(one.start.denominator) == 1:
            found[i] = Printed(value)
            continue
        first, values = _tuplet(row, found, i)
        for k, inner in enumerate(values, first):
            found[k] = Printed(inner, k == first, k == first + len(values) - 1)
        if found[i] is None:
            found[i] = Printed(value or _alone(one.length))
    return [one or Printed(None) for one in found]


def _tuplet(row: Sequence[Length], found: Sequence[Printed | None], at: int) -> tuple[int, list[Value]]:
    """The first place of the tuplet around a note, and the values in it; no values where there is none."""
    one = row[at]
    for length in _WINDOWS:
        begin = one.start // length * length
        tuplet = _filled(row, found, at, begin, begin + length)
        if not tuplet[1]:
            continue
        if len(tuplet[1]) == 2:  # a short beat of two in three, as after a dotted note: the whole beat is meant
            begin = one.start // (2 * length) * (2 * length)
            double = _filled(row, found, at, begin, begin + 2 * length)
            if len(double[1]) == 3:
                return double
        return tuplet
    return at, []


def _filled(
    row: Sequence[Length], found: Sequence[Printed | None], at: int, begin: Fraction, end: Fraction
) -> tuple[int, list[Value]]:
    """The values of the notes from one place of the measure to another, as one tuplet that fills it."""
    first = last = at
    while first > 0 and row[first - 1].start >= begin:
        first -= 1
    while last + 1 < len(row) and row[last + 1].start < end:
        last += 1
    inside = row[first : last + 1]
    taken = any(one is not None and (one.value is None or one.value.actual > 1) for one in found[first : last + 1])
    if taken or inside[0].start != begin or inside[-1].stop != end:
        return first, []
    if any(a.stop != b.start for a, b in pairwise(inside)):
        return first, []
    actual = lcm(*(odd_part((one.length / (end - begin)).denominator) for one in inside))
    threes = odd_part((end - begin).numerator) == 3
    if not 1 < actual <= MOST_IN_TUPLET:
        return first, []
    values = [in_tuplet(one.length, actual, _normal(actual, threes)) for one in inside]
    return first, [value for value in values if value is not None] if None not in values else []


def _normal(actual: int, threes: bool) -> int:
    """In whose time a tuplet goes: twos, or in a dotted beat threes (5 in 3, 7 in 6)."""
    if not threes or actual == 3:
        return below(actual)
    normal = 3
    while 2 * normal < actual:
        normal *= 2
    return normal


def _alone(length: Fraction) -> Value | None:
    actual = odd_part(length.denominator)
    return in_tuplet(length, actual, below(actual)) if 1 < actual <= MOST_IN_TUPLET else None
