"""Whether a plan is heard: the strength of its strands, and how many play against how loud; both as tables of words.

Strengths are on the scale that the plan names, by default Rimsky-Korsakov's, on which one woodwind player is 1 in words
and ``strength.UNIT`` in figures. They are compared, never turned into decibels.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from deskproof.scoring.hall import Hall
from deskproof.scoring.records import TUNE, Passage, PlannedPassage, ScoringPlan
from deskproof.scoring.said import kind_of, listed
from deskproof.scoring.strength import UNIT, strength_of

DYNAMICS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
"""The dynamics that go on, from the softest."""

_LEVEL = re.compile(r"(?<![a-z])(p{1,4}|f{1,4}|m[pf])(?![a-z])")
_PARTS = {Fraction(1, 4): "¼", Fraction(1, 2): "½", Fraction(3, 4): "¾"}


class Loudness(NamedTuple):
    """One strand of a passage: its strength in ``strength.UNIT`` of a woodwind player, who plays it, and in words."""

    bars: str
    strand: str
    units: int
    who: tuple[str, ...]
    words: str


class Sounding(NamedTuple):
    """How many play in a passage: players, a section of strings counting as one."""

    bars: str
    dynamic: str
    players: int
    of: int


def level_of(text: str, otherwise: str = "mf") -> str:
    """The dynamic that goes on after a mark; ``otherwise`` where the mark has none.

    >>> level_of("p espr."), level_of("sfz", "f"), level_of("")
    ('p', 'f', 'mf')
    """
    found = _LEVEL.findall(text)
    return str(found[-1]) if found else otherwise


def balance_of(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall, scale: str = "") -> list[Loudness]:
    """The strength of every strand that somebody plays, passage by passage in the order of the plan's lines.

    Parameters
    ----------
    plan : ScoringPlan
    passages : sequence of Passage
        Those of the sketch, one for each of the plan's.
    hall : Hall
    scale : str
        The scale of strengths; by default the one that the plan names.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    return [
        row
        for planned, passage in zip(plan.passages, passages, strict=True)
        for row in _balance(planned, passage, hall, scale or plan.scale)
    ]


def _balance(planned: PlannedPassage, passage: Passage, hall: Hall, scale: str) -> Iterator[Loudness]:
    marked = planned.dynamic or passage.dynamic
    shares = Counter(one.chair for line in planned.lines for one in line.who)
    strands: dict[str, dict[str, int]] = {}
    for line in planned.lines:
        for one in line.who:
            chair = hall.chair(one.chair)
            if chair is not None:
                units = strength_of(chair, line.dynamic or marked, scale, kind_of(line.strand, passage))
                strands.setdefault(line.strand, {})[one.chair] = units // shares[one.chair] if chair.section else units
    heard = {strand: sum(chairs.values()) for strand, chairs in strands.items()}
    tunes = [units for strand, units in heard.items() if kind_of(strand, passage) == TUNE]
    others = {strand: units for strand, units in heard.items() if kind_of(strand, passage) != TUNE}
    for strand, units in heard.items():
        if strand not in others:
            words = f"the tune has {winds(sum(tunes))}, {_strongest(others)}"
        elif tunes:
            words = f"{winds(units)}, the tune {winds(sum(tunes))}"
        else:
            words = f"{winds(units)}, no tune beside it"
        yield Loudness(planned.bars, strand, units, tuple(strands[strand]), words)


def _strongest(others: Mapping[str, int]) -> str:
    if not others:
        return "nothing else sounds"
    most = max(others.values())
    names = [strand for strand, units in others.items() if units == most]
    return f"the strongest other strand {winds(most)} ({listed(names)})"


def winds(units: int) -> str:
    """A strength in woodwind players.

    >>> winds(12), winds(6), winds(3), winds(0)
    ('3', '1½', '¾', '0')
    """
    whole, parts = divmod(units, UNIT)
    part = _PARTS.get(Fraction(parts, UNIT), f" {Fraction(parts, UNIT)}")
    return f"{whole or ''}{part}" if parts else str(whole)


def sounding_of(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall) -> list[Sounding]:
    """How many of the players in the room sound in each passage of a plan, and how loud it is."""
    rows = []
    for planned, passage in zip(plan.passages, passages, strict=True):
        chairs = [hall.chair(one.chair) for line in planned.lines for one in line.who]
        seats = {chair.seat for chair in chairs if chair is not None}
        rows.append(Sounding(planned.bars, level_of(planned.dynamic, passage.dynamic), len(seats), len(hall.seats)))
    return rows


def follows_dynamics(rows: Sequence[Sounding]) -> str:
    """Whether more play where it is louder, as a sentence with Spearman's rank correlation."""
    loud = [float(DYNAMICS.index(level_of(row.dynamic))) for row in rows]
    found = spearman(loud, [float(row.players) for row in rows])
    if found is None:
        return "The dynamic, or the number of players, is the same throughout: nothing to compare."
    return (
        f"Rank correlation of dynamics and players: {found:.2f} "
        "(1: the louder the passage the more play; 0: no connection; -1: the louder the fewer)."
    )


def spearman(one: Sequence[float], other: Sequence[float]) -> float | None:
    """Rank correlation of two rows of figures, ties at their middle rank; None where either is the same throughout.

    >>> spearman([1, 2, 3], [10, 20, 30]), spearman([1, 2, 3], [3, 2, 1]), spearman([1, 1], [1, 2])
    (1.0, -1.0, None)
    """
    first, second = _ranks(one), _ranks(other)
    a, b = ([rank - sum(ranks) / len(ranks) for rank in ranks] for ranks in (first, second))
    spread = (sum(x * x for x in a) * sum(y * y for y in b)) ** 0.5
    return sum(x * y for x, y in zip(a, b, strict=True)) / spread if spread else None


def _ranks(row: Sequence[float]) -> list[float]:
    return [sum(y < x for y in row) + (sum(y == x for y in row) + 1) / 2 for x in row]
