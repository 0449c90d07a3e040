"""The fewest changes of pedal: an exact search over the ways of taking each onset.

A label stands for all plans up to an onset that leave the letters and the feet in one condition; the cheapest is
kept, and labels that another makes needless are left away. Labels that cannot end with the number of changes in hand
wait; if nothing is left that can, one change more is granted and the search goes on from those that waited.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from typing import NamedTuple

from deskproof.families.harp.bound import NEVER, Bound, setting_number
from deskproof.families.harp.feet import taking
from deskproof.families.harp.model import LEFT, LETTERS
from deskproof.families.harp.passage import CHANGE, Passage, Way
from deskproof.families.harp.tight import (
    LEFT_BITS,
    LEFT_CODE,
    NOTHING,
    START_CODE,
    Feet,
    Need,
    Stretch,
    TooManyError,
    differing,
    need_at,
)

MOST = 4_000  # labels of one onset; beyond, the search gives up and says so
CHANGE_BITS = CHANGE.bit_length() - 1
NUMBERS = tuple(setting_number(code) for code in range(1 << 2 * len(LETTERS)))

# code, left, right, dropped, early, cost, ordinal of the row before, ordinal of the way
Row = tuple[int, int, int, int, int, int, int, int]


class Fewest(NamedTuple):
    """What the search found: the way of each onset, the changes, and how many are needed at least."""

    ways: tuple[Way, ...]
    cost: int
    changes: int
    at_least: int
    proven: bool
    work: int  # labels looked at


def fewest_changes(passage: Passage, stretches: Sequence[Stretch], feet: Feet, known: tuple[Way, ...]) -> Fewest:
    """The plan with the fewest changes, then the fewest deviations and sharps, within the needs of the stretches.

    ``known`` is a plan to fall back on where the search grows beyond its limit; its changes are then not proven.
    """
    needs = [need_at(stretches, i) for i in range(len(passage))]
    ways = [passage.ways(i, need.dropped, bool(need.early)) for i, need in enumerate(needs)]
    change_us = [feet.left.times[1 if need.quick else 0][0] for need in needs]
    bound = Bound(ways, passage.times, change_us)
    search = _Search(passage, stretches, needs, ways, feet, bound)
    try:
        return search.run()
    except TooManyError:
        cost = cost_of(known)
        return Fewest(known, cost, cost >> CHANGE_BITS, search.limit, False, search.work)


def cost_of(ways: Sequence[Way]) -> int:
    """What a row of ways costs in changes, deviations and sharps."""
    code, cost = START_CODE, 0
    for way in ways:
        left, one = taking(code & LEFT_CODE, way.left, len(LEFT))
        right, two = taking(code >> LEFT_BITS, way.right, len(LETTERS) - len(LEFT))
        cost += way.cost + CHANGE * (left.bit_count() + right.bit_count())
        code = one | two << LEFT_BITS
    return cost


class _Search:
    def __init__(
        self,
        passage: Passage,
        stretches: Sequence[Stretch],
        needs: Sequence[Need],
        ways: Sequence[Sequence[Way]],
        feet: Feet,
        bound: Bound,
    ) -> None:
        self.times, self.needs, self.ways, self.feet, self.bound = passage.times, needs, ways, feet, bound
        self.opening = {s.first: s.need for s in stretches}
        self.closing = {s.close: s.need for s in stretches}
        self.work = 0
        self.limit = bound.least  # fewer changes than this are proven not to do
        count = len(passage)
        self.rows: list[list[Row]] = [[] for _ in range(count)]  # by onset, after it; append only
        self.known: list[dict[tuple[int, ...], int]] = [{} for _ in range(count)]
        self.kept: list[list[Row]] = [[] for _ in range(count)]
        self.waiting: list[list[tuple[int, int, Row]]] = [[] for _ in range(count)]

    def run(self) -> Fewest:
        count = len(self.times)
        if not count:
            return Fewest((), 0, 0, 0, True, 0)
        limit = self.limit
        start: Row = (self._start(), self.feet.left.idle, self.feet.right.idle, 0, 0, 0, -1, -1)
        came = self._over(0, [start], 0)
        while True:
            for i in range(count):
                if self.waiting[i]:
                    waiting = self.waiting[i]
                    while waiting and waiting[0][0] <= limit:
                        came.append(heappop(waiting)[2])
                if not came:
                    continue
                at = self._settle(i, self._within(i, came, limit))
                rows = self.rows[i]
                came = self._over(i + 1, rows[at:], at) if i + 1 < count and at < len(rows) else []
            if self.kept[-1]:
                return self._found(limit)
            limit = self.limit = min((rows[0][0] for rows in self.waiting if rows), default=0)
            if not limit:
                raise TooManyError
            came = []

    def _start(self) -> int:
        """All letters free but those that no way ever uses, which stay natural."""
        left = right = 0
        for options in self.ways:
            for way in options:
                left |= way.left.used
                right |= way.right.used
        code = START_CODE
        for i in range(len(LETTERS)):
            if not (left | right << len(LEFT)) >> i & 1:
                code ^= 0b10 << 2 * i
        return code

    def _within(self, i: int, rows: Sequence[Row], limit: int) -> list[Row]:
        """The rows that can end within the limit; the others wait."""
        tables = [self.bound.rest(i + 1, w) for w in range(len(self.ways[i]))]
        kept, waiting = [], self.waiting[i]
        for row in rows:
            number = NUMBERS[row[0]]
            table, base = tables[row[7]]
            rest = table[number] if number >= 0 else self.bound.free(i + 1, row[7], row[0])
            if rest == NEVER:
                continue
            f = (row[5] >> CHANGE_BITS) + base + rest
            if f <= limit:
                kept.append(row)
            else:
                heappush(waiting, (f, len(waiting), row))
        return kept

    def _over(self, i: int, before: Sequence[Row], at: int) -> list[Row]:
        """Take onset ``i`` from these rows, the first of which has the ordinal ``at``."""
        feet = self.feet
        gap = self.times[i] - self.times[i - 1] if i else 0
        need, ways = self.needs[i], self.ways[i]
        closing, opening = self.closing.get(i), self.opening.get(i)
        bounded = need != NOTHING
        best: dict[tuple[int, ...], Row] = {}
        over_left, over_right = feet.left.over, feet.right.over
        advance_left, advance_right = feet.left.advance, feet.right.advance
        for k, row in enumerate(before, at):
            left, right = (advance_left(row[1], gap), advance_right(row[2], gap)) if i else row[1:3]
            states = [(left, right, row[3], row[4])]
            if closing is not None:
                states = [(a, b, 0, 0) for a, b in feet.shared(left, right, closing)]
            if opening is not None and opening.quick:
                states = [(*feet.open(a, b, opening), d, e) for a, b, d, e in states]
            left_code, right_code, cost = row[0] & LEFT_CODE, row[0] >> LEFT_BITS, row[5]
            for left, right, dropped, early in states:
                for w, way in enumerate(ways):
                    one = over_left(left, left_code, way.left)
                    if one[0] < 0:
                        continue
                    two = over_right(right, right_code, way.right)
                    if two[0] < 0:
                        continue
                    now_dropped, now_early = dropped + way.dropped, early + way.early
                    if bounded:
                        if now_dropped > need.dropped or now_early > need.early:
                            continue
                        if need.quick and feet.left.fewest(one[0]) + feet.right.fewest(two[0]) > need.quick:
                            continue
                    code = one[1] | two[1] << LEFT_BITS
                    total = cost + way.cost + (one[2] + two[2]) * CHANGE
                    same = (code, one[0], two[0], now_dropped, now_early)
                    other = best.get(same)
                    if other is None or total < other[5]:
                        best[same] = (*same, total, k, w)
        self.work += len(best)
        return list(best.values())

    def _settle(self, i: int, rows: list[Row]) -> int:
        """Add the rows that no other makes needless; returns the ordinal of the first one added."""
        known, kept, out = self.known[i], self.kept[i], self.rows[i]
        at = len(out)
        rows.sort(key=_cost)
        good_left, good_right = self.feet.left.as_good, self.feet.right.as_good
        for row in rows:
            cost = row[5]
            same = row[:5]
            if known.get(same, cost + 1) <= cost:
                continue
            for other in kept:
                spare = cost - other[5]
                if spare < 0 or other[3] > row[3] or other[4] > row[4]:
                    continue
                left, right, count = differing(other[0], row[0])
                if (
                    count * CHANGE <= spare
                    and good_left(other[1], row[1], left)
                    and good_right(other[2], row[2], right)
                ):
                    break
            else:
                known[same] = cost
                kept.append(row)
                out.append(row)
        if len(kept) > MOST:
            raise TooManyError
        return at

    def _found(self, limit: int) -> Fewest:
        rows = self.rows[-1]
        row = min(rows, key=_cost)
        ways = []
        for i in reversed(range(len(self.times))):
            ways.append(self.ways[i][row[7]])
            if i:
                row_before = self.rows[i - 1][row[6]]
                row = row_before
        ways.reverse()
        total = min(r[5] for r in rows)
        return Fewest(tuple(ways), total, total >> CHANGE_BITS, limit, True, self.work)


def _cost(row: Row) -> int:
    return row[5]
