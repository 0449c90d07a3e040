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
from deskproof.families.harp.passage import CHANGE, Passage, Way, Ways
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
    ways_at,
)

STANDS_BITS = 3 * len(LEFT)  # positions of the left foot's letters, as ``Use.stands`` has them
EACH = sum(1 << 3 * i for i in range(len(LETTERS)))
MOST = 4_000  # labels of one onset; beyond, the search gives up and says so
FEW = 100  # labels of one onset that are kept when the search has given up
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
    steps: int  # as ``Work`` counts them


def fewest_changes(passage: Passage, stretches: Sequence[Stretch], feet: Feet, known: tuple[Way, ...]) -> Fewest:
    """The plan with the fewest changes, then the fewest deviations and sharps, within the needs of the stretches.

    ``known`` is a plan to fall back on where the search grows beyond its limit: it, or what a search that keeps only a
    few labels of each onset finds. The changes are then not proven.
    """
    needs = [need_at(stretches, i) for i in range(len(passage))]
    parted = [ways_at(passage, stretches, i) for i in range(len(passage))]
    parted = _possible(parted, passage.times, needs, feet)
    change_us = [feet.left.times[1 if need.quick else 0][0] for need in needs]
    bound = Bound(parted, passage.times, change_us)
    search = _Search(passage, stretches, needs, parted, feet, bound)
    try:
        return search.run()
    except TooManyError:
        few = _Search(passage, stretches, needs, parted, feet, bound).few()
        ways = min([known, few], key=cost_of) if few else known
        cost = cost_of(ways)
        return Fewest(ways, cost, cost >> CHANGE_BITS, search.limit, False, search.work, search.steps)


def cost_of(ways: Sequence[Way]) -> int:
    """What a row of ways costs in changes, deviations and sharps."""
    code, cost = START_CODE, 0
    for way in ways:
        left, one = taking(code & LEFT_CODE, way.left)
        right, two = taking(code >> LEFT_BITS, way.right)
        cost += way.cost + CHANGE * (left.bit_count() + right.bit_count())
        code = one | two << LEFT_BITS
    return cost


def _possible(
    parted: Sequence[Ways], times: Sequence[int], needs: Sequence[Need], feet: Feet
) -> list[Ways]:
    """The ways without those that stand a letter otherwise than all ways of an onset too near for a change."""
    slow, fast = feet.left.times[0][0], feet.left.times[1][0]
    count = len(parted)
    left = [one.ways for one in parted]
    asked = [[w.left.stands | w.right.stands << STANDS_BITS for w in ways] for ways in left]
    near = []  # by onset, those before it that are too near
    for i, t_us in enumerate(times):
        rows, most = [], slow
        for k in range(i - 1, -1, -1):
            if needs[k].quick:
                most = fast
            if t_us - times[k] >= most:
                break
            rows.append(k)
        near.append(rows)
    barred = [_barred(rows) for rows in asked]
    todo = set(range(count))
    while todo:
        against = [0] * count
        for i, rows in enumerate(near):
            for k in rows:
                against[i] |= barred[k]
                against[k] |= barred[i]
        todo = set()
        for i, bars in enumerate(against):
            if bars and len(left[i]) > 1 and any(row & bars for row in asked[i]):
                kept = [k for k, row in enumerate(asked[i]) if not row & bars]
                if kept:
                    left[i] = tuple([left[i][k] for k in kept])
                    asked[i] = [asked[i][k] for k in kept]
                    barred[i] = _barred(asked[i])
                    todo.add(i)
    return [one if len(one.ways) == len(ways) else Ways.of(ways) for one, ways in zip(parted, left, strict=True)]


def _barred(asked: Sequence[int]) -> int:
    """The positions, three bits a letter, in which no way has a letter that all of them use."""
    some = everywhere = 0
    for k, row in enumerate(asked):
        some |= row
        letters = (row | row >> 1 | row >> 2) & EACH
        everywhere = letters if not k else everywhere & letters
    return everywhere * 0b111 & ~some


class _Search:
    def __init__(
        self,
        passage: Passage,
        stretches: Sequence[Stretch],
        needs: Sequence[Need],
        parted: Sequence[Ways],
        feet: Feet,
        bound: Bound,
    ) -> None:
        self.times, self.needs, self.parted, self.feet, self.bound = passage.times, needs, parted, feet, bound
        self.ways = [one.ways for one in parted]
        self.opening = {s.first: s.need for s in stretches}
        self.closing = {s.close: s.need for s in stretches}
        self.work = self.pushed = self.steps = 0
        allowed = passage.settings.work
        exact = not any(s.narrow for s in stretches)
        self.most_steps = (allowed.changes if exact else allowed.unproven) + allowed.onset * len(passage)
        self.limit = bound.least  # fewer changes than this are proven not to do
        count = len(passage)
        self.rows: list[list[Row]] = [[] for _ in range(count)]  # by onset, after it; append only
        self.known: list[dict[tuple[int, ...], int]] = [{} for _ in range(count)]
        self.waiting: list[list[tuple[int, int, Row]]] = [[] for _ in range(count)]
        self.tables: list[list[tuple[bytes, int]]] = [[] for _ in range(count)]  # by onset and way, see ``Bound.rest``

    def run(self) -> Fewest:
        count = len(self.times)
        if not count:
            return Fewest((), 0, 0, 0, True, 0, 0)
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
            if self.rows[-1]:
                return self._found(limit)
            limit = self.limit = min((rows[0][0] for rows in self.waiting if rows), default=0)
            if not limit:
                raise TooManyError
            came = []

    def few(self) -> tuple[Way, ...]:
        """A plan by keeping at every onset only the labels that promise most; empty if that comes to a dead end."""
        came = self._over(0, [(self._start(), self.feet.left.idle, self.feet.right.idle, 0, 0, 0, -1, -1)], 0)
        for i in range(len(self.times)):
            rows = self._promising(i, came)
            self.rows[i] = rows
            if not rows:
                return ()
            came = self._over(i + 1, rows, 0) if i + 1 < len(self.times) else []
        return self._traced()

    def _promising(self, i: int, rows: Sequence[Row]) -> list[Row]:
        """A few rows, those with the fewest changes in the end first, then those that have spent least."""
        tables = [self.bound.rest(i + 1, w) for w in range(len(self.ways[i]))]
        left_room, right_room = self.feet.left.room, self.feet.right.room
        found = []
        for k, row in enumerate(rows):
            code, a, b, dropped, early, cost, _, w = row
            number = NUMBERS[code]
            table, base = tables[w]
            rest = table[number] if number >= 0 else self.bound.free(i + 1, w, code)
            if rest != NEVER:
                found.append((dropped, early, cost + (base + rest) * CHANGE, -left_room[a] - right_room[b], k))
        found.sort()
        cheap = sorted(found, key=_promise)[: FEW // 2]  # some that are cheap, some that have spent little
        return [rows[one[-1]] for one in dict.fromkeys([*cheap, *found[: FEW // 2]])]

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
        tables = self.tables[i]
        if not tables:
            tables = self.tables[i] = [self.bound.rest(i + 1, w) for w in range(len(self.ways[i]))]
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
                self.pushed += 1
                heappush(waiting, (f, self.pushed, row))
        return kept

    def _over(self, i: int, before: Sequence[Row], at: int) -> list[Row]:
        """Take onset ``i`` from these rows, the first of which has the ordinal ``at``."""
        feet = self.feet
        gap = self.times[i] - self.times[i - 1] if i else 0
        need, ways = self.needs[i], self.parted[i]
        closing, opening = self.closing.get(i), self.opening.get(i)
        now = [(k, *row[:5]) for k, row in enumerate(before)]
        if closing is not None or (opening is not None and opening.quick):
            now, gap = feet.crossed(now, gap, closing, opening), 0
        bounded = need != NOTHING
        best: dict[tuple[int, ...], Row] = {}
        ahead_left, ahead_right = feet.left.ahead, feet.right.ahead
        quick_left, quick_right = feet.left.quick, feet.right.quick
        uses_left, uses_right, rows = ways.left, ways.right, ways.rows
        for k, code, left, right, dropped, early in now:
            cost = before[k][5]
            lefts = ahead_left(left, code & LEFT_CODE, gap, uses_left)
            rights = ahead_right(right, code >> LEFT_BITS, gap, uses_right)
            for w, (one, two, more_dropped, more_early, more) in enumerate(rows):
                a, left_after, left_moved = lefts[one]
                b, right_after, right_moved = rights[two]
                if a < 0 or b < 0:
                    continue
                now_dropped, now_early = dropped + more_dropped, early + more_early
                if bounded:
                    if now_dropped > need.dropped or now_early > need.early:
                        continue
                    if need.quick and quick_left[a] + quick_right[b] > need.quick:
                        continue
                total = cost + more + (left_moved + right_moved) * CHANGE
                same = (left_after | right_after << LEFT_BITS, a, b, now_dropped, now_early)
                other = best.get(same)
                if other is None or total < other[5]:
                    best[same] = (*same, total, at + k, w)
        self.work += len(best)
        self.steps += len(now) * len(rows)
        return list(best.values())

    def _settle(self, i: int, rows: list[Row]) -> int:
        """Add the rows that no other makes needless; returns the ordinal of the first one added."""
        known, kept = self.known[i], self.rows[i]
        at = len(kept)
        rows.sort(key=_cost)
        good_left, good_right = self.feet.left.as_good, self.feet.right.as_good
        able_left, able_right = self.feet.left.able, self.feet.right.able
        for row in rows:
            code, a, b, dropped, early, cost, _, _ = row
            same = row[:5]
            if known.get(same, cost + 1) <= cost:
                continue
            any_left, any_right = able_left[a], able_right[b]
            for other_code, other_a, other_b, other_dropped, other_early, other_cost, _, _ in kept:
                spare = cost - other_cost
                if spare < 0 or other_dropped > dropped or other_early > early:
                    continue
                left, right, count = differing(other_code, code)
                if (
                    count * CHANGE > spare
                    or (any_left and not able_left[other_a] >> left & 1)
                    or (any_right and not able_right[other_b] >> right & 1)
                ):
                    continue
                if good_left(other_a, a, left) and good_right(other_b, b, right):
                    break
            else:
                known[same] = cost
                kept.append(row)
            self.steps += len(kept)
            if len(kept) > MOST or self.steps > self.most_steps:
                raise TooManyError
        return at

    def _found(self, limit: int) -> Fewest:
        total = min(row[5] for row in self.rows[-1])
        return Fewest(self._traced(), total, total >> CHANGE_BITS, limit, True, self.work, self.steps)

    def _traced(self) -> tuple[Way, ...]:
        """The ways of the cheapest row after the last onset."""
        ways = []
        row = min(self.rows[-1], key=_cost)
        for i in reversed(range(len(self.times))):
            ways.append(self.ways[i][row[7]])
            if i:
                row = self.rows[i - 1][row[6]]
        ways.reverse()
        return tuple(ways)


def _cost(row: Row) -> int:
    return row[5]


def _promise(row: tuple[int, int, int, int, int]) -> tuple[int, ...]:
    return row[2], row[0], row[1], *row[3:]
