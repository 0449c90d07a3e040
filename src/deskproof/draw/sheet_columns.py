"""The columns of the planning sheet: where each passage stands, how wide it is, and in which system.

A column is as wide as its bars are many, and never narrower than its words; the systems are as few as can be.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import NamedTuple

from deskproof.scoring.records import Passage

WIDTH = 1050.0
LEFT = 112.0  # for the names of the instruments
PAD = 4.0
STRIP = 11.0  # of hatching
WORDS_FROM = STRIP + 2 * PAD
A_BAR = 8.0  # the width of a bar where the words ask for no more
FULL = 0.5  # of the sheet: a last system that is emptier is not drawn out to the margin


class Column(NamedTuple):
    """A passage on the sheet: its place among the passages, its bars, left edge and width."""

    place: int
    bars: int
    x: float
    width: float

    @property
    def for_words(self) -> float:
        return self.width - WORDS_FROM - PAD


def systems_of(least: Sequence[float], passages: Sequence[Passage]) -> list[list[Column]]:
    """The passages in as few systems of the width of the sheet as hold them, all about equally full.

    Parameters
    ----------
    least : sequence of float
        The least width of each passage's column; none is made wider than the sheet.
    passages : sequence of Passage
    """
    room = WIDTH - LEFT - 1
    bars = [passage.last - passage.first + 1 for passage in passages]
    wanted = [min(max(width, A_BAR * n), room) for width, n in zip(least, bars, strict=True)]
    fewest = len(_grouped(wanted, room))
    sums = sorted({sum(wanted[i:j]) for i in range(len(wanted)) for j in range(i + 1, len(wanted) + 1)})
    even = bisect_left(sums, True, key=lambda most: len(_grouped(wanted, most)) <= fewest)
    groups = _grouped(wanted, sums[even]) if sums else []
    return [_placed(group, wanted, bars, room, group is groups[-1]) for group in groups]


def _grouped(wanted: Sequence[float], room: float) -> list[list[int]]:
    """The passages in their order, each group as full as the room lets it be; a passage wider than it stands alone."""
    groups: list[list[int]] = []
    taken = room
    for k, width in enumerate(wanted):
        if taken + width > room:
            groups.append([])
            taken = 0.0
        groups[-1].append(k)
        taken += width
    return groups


def _placed(
    group: Sequence[int], wanted: Sequence[float], bars: Sequence[int], room: float, last: bool
) -> list[Column]:
    """The columns of one system; what room is left is shared out by the number of bars."""
    spare = room - sum(wanted[k] for k in group)
    if last and spare > (1 - FULL) * room:
        spare = 0
    count = sum(bars[k] for k in group)
    columns = []
    x = LEFT
    for k in group:
        width = wanted[k] + spare * bars[k] / count
        columns.append(Column(k, bars[k], x, width))
        x += width
    return columns
