"""Which mallets take which bars of a mallet keyboard: reach of a hand, notes at once, leaps in time, rolls.

Pure: bars and times in, hands out. Exact dynamic programming (Bellman 1957) over the onsets; a state is where each hand
struck last and when it was free. A hand that has had more time than any leap needs may be anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts, pitch

LEFT, RIGHT = "L", "R"
STRETCH, LEAP, APART = "stretch", "leap", "apart"
US = 1000
_NATURALS = (0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6)  # the natural bar at or below each note of an octave
_ACCIDENTALS = frozenset({1, 3, 6, 8, 10})
_OCTAVE, _BARS = 12, 7


class Blow(NamedTuple):
    """What is struck together: bars as MIDI numbers from low to high, microseconds, and whether it is a roll.

    A roll of one bar takes both hands.
    """

    t_us: int
    until_us: int
    keys: tuple[int, ...]
    roll: bool = False


class Cost(NamedTuple):
    """Price of a plan, compared left to right, so that there are no weights to tune."""

    too_wide_mm: int = 0  # beyond the farthest reach
    too_late_us: int = 0  # less than the quickest time
    wide_mm: int = 0  # beyond the easy reach
    late_us: int = 0  # less than the easy time
    crossed: int = 0  # hands over one another
    doubled: int = 0  # bars that a hand takes with its second mallet while the other is idle
    moved_mm: int = 0

    def plus(self, other: Cost) -> Cost:
        """The sum, figure by figure."""
        return Cost(*(a + b for a, b in zip(self, other, strict=True)))


class Hand(NamedTuple):
    """Where a hand last struck and when it was free: its lowest and highest bar, in mm along and across.

    One bar stands twice.
    """

    free_us: int
    low: tuple[int, int]
    high: tuple[int, int]

    @property
    def x(self) -> int:
        """The middle of the hand along the bars."""
        return (self.low[0] + self.high[0]) // 2


class Trouble(NamedTuple):
    """One thing that is too much: ``have`` and ``need`` (easily, at most or at the quickest) in mm or microseconds.

    ``before`` are the bars that a leap comes from, ``mm`` how far it goes or how wide the bars lie.
    """

    kind: str
    onset: int
    hand: str
    keys: tuple[int, ...]
    before: tuple[int, ...]
    have: int
    easy: int
    most: int
    mm: int

    @property
    def impossible(self) -> bool:
        """Whether it is beyond what anybody does."""
        if self.kind == LEAP:
            return self.have < self.most
        return self.kind == STRETCH and self.have > self.most


@dataclass(frozen=True, slots=True)
class Mallets:
    """The plan: how many bars of each onset the left hand takes (from below; a roll of one bar takes both hands)."""

    lefts: tuple[int, ...]
    cost: Cost
    troubles: tuple[Trouble, ...]


@dataclass(frozen=True, slots=True)
class Bars:
    """The bars of an instrument: width of the lowest and highest natural in thousandths of a mm, and of the rows."""

    first: int  # natural bars are counted from C-1
    last: int
    low_um: int
    high_um: int
    rows_mm: int

    def place(self, key: int) -> tuple[int, int]:
        """Where a bar is struck, in mm from the lowest natural: along the instrument, and across it.

        A note beyond the ends is taken to go on with the width of the last bar.
        """
        at = key // _OCTAVE * _BARS + _NATURALS[key % _OCTAVE]
        x = self._along(at)
        if key % _OCTAVE not in _ACCIDENTALS:
            return round(x / US), 0
        return round((x + self._along(at + 1)) / 2 / US), self.rows_mm

    def _along(self, natural: int) -> float:
        """From the centre of the lowest natural to that of another, in thousandths of a mm."""
        n, count = natural - self.first, max(1, self.last - self.first)
        inside = min(max(n, 0), count)
        total = inside * self.low_um + (self.high_um - self.low_um) * inside * inside / (2 * count)
        return total + min(n, 0) * self.low_um + max(n - count, 0) * self.high_um

    def between_mm(self, one: int, other: int) -> int:
        """From the centre of one bar to that of another."""
        (x, y), (u, v) = self.place(one), self.place(other)
        return round(math.hypot(u - x, v - y))


@lru_cache(maxsize=32)
def bars_of(instrument: str) -> Bars | None:
    """The bars of a mallet keyboard by its facts; None for an instrument that has none."""
    low = facts.find(f"{instrument}.bar_low")
    if low is None:
        return None
    high = facts.get(f"{instrument}.bar_high")
    ends = [pitch.midi(facts.get(f"{instrument}.{key}").value) for key in ("bars_from", "bars_to")]
    first, last = (key // _OCTAVE * _BARS + _NATURALS[key % _OCTAVE] for key in ends)
    return Bars(first, last, US * int(low.value), US * int(high.value), int(facts.get(f"{instrument}.rows").value))


@dataclass(frozen=True, slots=True)
class Reach:
    """What hands do, easily and at most: two mallets open (mm), strike again and leap (microseconds)."""

    easy_mm: int
    most_mm: int
    apart_mm: int
    again_us: tuple[int, int]
    leap_us_a_mm: tuple[int, int]
    leaves_us: int
    other_mm: int = 0  # a second mallet of the hand may be so far on its way already

    def need_us(self, mm: int) -> tuple[int, int]:
        """How long a hand needs to strike so far away, easily and at the quickest."""
        (easy, quick), (more, least) = self.again_us, self.leap_us_a_mm
        return easy + more * mm, quick + least * mm


@lru_cache(maxsize=1)
def usual() -> Reach:
    """What the facts say."""
    easy, most = facts.get("mallets.reach").value
    again, leap = facts.get("mallets.again").value, facts.get("mallets.leap").value
    return Reach(
        int(easy), int(most), int(facts.get("mallets.apart").value),
        (US * int(again[0]), US * int(again[1])), (round(US * leap[0]), round(US * leap[1])),
        US * int(facts.get("mallets.roll_leaves").value),
    )  # fmt: skip


State = tuple[Hand | None, Hand | None]


def plan_mallets(blows: Sequence[Blow], bars: Bars, a_hand: int = 2, reach: Reach | None = None) -> Mallets:
    """Share the bars of every onset between the hands so that the whole costs least.

    Of equal plans the one whose left hand takes fewer bars first wins: the same part always gives the same plan.

    Parameters
    ----------
    blows : sequence of Blow
        In order of time, all on one instrument; of more bars than the mallets can take, each hand takes half.
    bars : Bars
    a_hand : int
        Mallets in each hand.
    reach : Reach, optional
        The facts if absent.

    Examples
    --------
    >>> xylophone = bars_of("xylophone")
    >>> plan_mallets([Blow(0, 0, (72, 84)), Blow(500_000, 0, (74,))], xylophone, 1).lefts
    (1, 1)
    """
    reach = reach or usual()
    if a_hand > 1:
        reach = replace(reach, other_mm=reach.easy_mm)
    used = [key for blow in blows for key in blow.keys]
    settled = reach.need_us(bars.between_mm(min(used), max(used)) + bars.rows_mm)[0] if used else 0
    layer: dict[State, tuple[Cost, tuple[State, int] | None]] = {(None, None): (Cost(), None)}
    steps = []
    for blow in blows:
        found: dict[State, tuple[Cost, tuple[State, int] | None]] = {}
        ways = splits(blow, a_hand)
        for state, (cost, _) in layer.items():
            for lefts in ways:
                after, more = step(state, blow, lefts, bars, reach)
                after = _forgotten(after, blow.t_us, settled)
                total = cost.plus(more)
                if after not in found or total < found[after][0]:
                    found[after] = total, (state, lefts)
        steps.append(found)
        layer = found
    state = min(layer, key=lambda one: layer[one][0])
    total = layer[state][0]
    path: list[int] = []
    for found in reversed(steps):
        back = found[state][1]
        assert back is not None
        state, lefts = back
        path.append(lefts)
    path.reverse()
    return Mallets(tuple(path), total, tuple(_troubles(blows, path, bars, reach)))


def splits(blow: Blow, a_hand: int) -> list[int]:
    """How many of the bars the left hand may take, from below."""
    count = len(blow.keys)
    if count == 1:
        return [1] if blow.roll else [0, 1]
    fits = [n for n in range(count + 1) if n <= a_hand and count - n <= a_hand]
    if blow.roll and count == 2:  # each hand one bar
        return [1]
    return fits or [count // 2]


def step(state: State, blow: Blow, lefts: int, bars: Bars, reach: Reach) -> tuple[State, Cost]:
    """The hands after an onset of which the left takes so many bars, and what it costs."""
    shares = shared(blow, lefts)
    hands = list(state)
    too_wide = too_late = wide = late = moved = 0
    for n, keys in enumerate(shares):
        if not keys:
            continue
        before, here = state[n], _hand(blow, keys, bars, reach)
        spread = bars.between_mm(keys[0], keys[-1])
        too_wide += max(0, spread - reach.most_mm)
        wide += max(0, spread - reach.easy_mm)
        if before is not None:
            mm = away_mm(before, here, reach.other_mm)
            easy, quick = reach.need_us(mm)
            have = blow.t_us - before.free_us
            too_late += max(0, quick - have)
            late += max(0, easy - have)
            moved += mm
        hands[n] = here
    left, right = hands
    crossed = int(left is not None and right is not None and left.x > right.x)
    doubled = sum(max(0, len(keys) - 1) for keys in shares) if not all(shares) else 0
    return (left, right), Cost(too_wide, too_late, wide, late, crossed, doubled, moved)


def shared(blow: Blow, lefts: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The bars of the left and of the right hand."""
    if blow.roll and len(blow.keys) == 1:
        return blow.keys, blow.keys
    return blow.keys[:lefts], blow.keys[lefts:]


def _hand(blow: Blow, keys: tuple[int, ...], bars: Bars, reach: Reach) -> Hand:
    free = max(blow.t_us, blow.until_us - reach.leaves_us) if blow.roll else blow.t_us
    return Hand(free, bars.place(keys[0]), bars.place(keys[-1]))


def away_mm(one: Hand, other: Hand, other_mm: int = 0) -> int:
    """How far a hand goes: of two mallets to two the farther, else from the nearer mallet to the nearer bar.

    ``other_mm`` is taken off between single bars: the second mallet of the hand may be over the next bar already.
    """
    ends = math.dist(one.low, other.low), math.dist(one.high, other.high)
    if one.low != one.high and other.low != other.high:
        return round(max(ends))
    if one.low == one.high and other.low == other.high:
        return max(0, round(ends[0]) - other_mm)
    return round(min(*ends, math.dist(one.low, other.high), math.dist(one.high, other.low)))


def _forgotten(state: State, t_us: int, settled_us: int) -> State:
    left, right = (None if hand is None or t_us - hand.free_us > settled_us else hand for hand in state)
    return left, right


def _troubles(blows: Sequence[Blow], path: Sequence[int], bars: Bars, reach: Reach) -> Iterator[Trouble]:
    """What the least of all plans leaves too wide, too far apart or too quick."""
    state: State = (None, None)
    struck: list[tuple[int, ...]] = [(), ()]
    for i, (blow, lefts) in enumerate(zip(blows, path, strict=True)):
        shares = shared(blow, lefts)
        after, _ = step(state, blow, lefts, bars, reach)
        for n, (keys, side) in enumerate(zip(shares, (LEFT, RIGHT), strict=True)):
            if not keys:
                continue
            spread = bars.between_mm(keys[0], keys[-1])
            if spread > reach.easy_mm:
                yield Trouble(STRETCH, i, side, keys, (), spread, reach.easy_mm, reach.most_mm, spread)
            before, here = state[n], after[n]
            if before is not None and here is not None:
                mm = away_mm(before, here, reach.other_mm)
                easy, quick = reach.need_us(mm)
                have = blow.t_us - before.free_us
                if have < easy:
                    yield Trouble(LEAP, i, side, keys, struck[n], have, easy, quick, mm)
            struck[n] = keys
        if all(shares) and len(blow.keys) > 1:
            mm = bars.between_mm(blow.keys[0], blow.keys[-1])
            if mm > reach.apart_mm:
                yield Trouble(APART, i, "", blow.keys, (), mm, reach.apart_mm, reach.apart_mm, mm)
        state = after
