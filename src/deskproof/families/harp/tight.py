"""Where a passage asks for more than the comfortable: the tight stretches and the least each of them costs.

A stretch is a run of onsets that does not go by itself, from any setting, with every note held and every change at
the comfortable time; its need is the least it takes to go. Needs of stretches that do not overlap add up, so their
sum is a proven lower bound of the whole; where a plan with that sum exists, it is the least. Away from the stretches
nothing is then allowed, which keeps the search small.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from deskproof.families.harp.feet import Foot
from deskproof.families.harp.model import LEFT, RIGHT
from deskproof.families.harp.passage import ALL_FREE, NoPlanError, Passage, Way

MOST_LABELS = 1_500  # of one onset; beyond, the search gives up and says so
MOST_WORK = 60_000  # labels looked at for one stretch
MOST_BACK = 80  # onsets of one stretch
SHORT_BACK = 3  # onsets before the one that does not go, where the exact search was given up
# Where the plan does not go on: how many onsets are planned again, then in how many it is looked for a stretch.
AROUND = ((4, 8), (16, MOST_BACK), (64, 0), (256, 0), (1 << 30, 0))
NARROW_BACK = 16  # onsets before a stretch that is not searched exactly, to find from where it can begin
MOST_FEET = 8  # pairs of feet that are kept for the next passage
MOST_STATES = 20_000  # of a pair that is kept
NARROW = 60  # labels of one onset kept in a stretch that is not searched exactly


class TooManyError(Exception):
    """The search has grown beyond its limit."""


class Need(NamedTuple):
    """What a stretch takes, compared left to right: notes left out, events let go early, quick changes."""

    dropped: int = 0
    early: int = 0
    quick: int = 0

    def plus(self, other: Need) -> Need:
        return Need(self.dropped + other.dropped, self.early + other.early, self.quick + other.quick)


NOTHING = Need()


@dataclass(frozen=True, slots=True)
class Stretch:
    """Onsets ``first`` to ``last`` with what they take; less than ``least`` is proven not to do.

    ``narrow``: the need was found by a search that may have missed a better one.
    """

    first: int
    last: int
    need: Need
    least: Need
    narrow: bool = False

    @property
    def close(self) -> int:
        """The onset before which the allowance ends; notes of the last onset may be left out too."""
        return self.last + 1 if self.need.dropped else self.last

    @property
    def shares(self) -> bool:
        """Whether another stretch may begin where this one ends: only quick changes can be told apart there."""
        return not self.need.dropped and not self.need.early


# A possibility after an onset: where the letters stand, the states of the feet, what the stretch spent of notes left
# out and events let go, the ordinal of the label before, the ordinal of the way.
Label = tuple[int, int, int, int, int, int, int]

# Ordinal of a label, where the letters stand, the states of the feet, what the stretch spent.
At = tuple[int, int, int, int, int, int]

LEFT_BITS = 2 * len(LEFT)
LEFT_CODE = (1 << LEFT_BITS) - 1
START_CODE = ALL_FREE[0] | ALL_FREE[1] << LEFT_BITS
_LOW = 0x1555  # the low bit of every letter


@lru_cache(maxsize=1 << 18)
def differing(a: int, b: int) -> tuple[int, int, int]:
    """Letters of the left and the right foot at which b stands otherwise than a, but for a's free ones; how many."""
    apart = a ^ b
    rows = (apart | apart >> 1) & ~(a & a >> 1) & _LOW
    left = sum(1 << i for i in range(len(LEFT)) if rows >> 2 * i & 1)
    right = sum(1 << i for i in range(len(RIGHT)) if rows >> LEFT_BITS + 2 * i & 1)
    return left, right, rows.bit_count()


class Feet(NamedTuple):
    """Both feet with the same times."""

    left: Foot
    right: Foot

    @classmethod
    def at(cls, comfortable_us: int, quickest_us: int) -> Feet:
        """Feet with these times; those that another passage has left, if there are."""
        left = _LEFT.pop((comfortable_us, quickest_us), None)
        return left or cls(
            Foot(len(LEFT), comfortable_us, quickest_us), Foot(len(RIGHT), comfortable_us, quickest_us)
        )

    def leave(self) -> None:
        """Leave them to another passage, unless they remember too much."""
        if len(self.left.states) + len(self.right.states) <= MOST_STATES:
            while len(_LEFT) >= MOST_FEET:
                _LEFT.popitem()
            (comfortable, _), (quickest, _) = self.left.times
            _LEFT[comfortable, quickest] = self

    def start(self) -> list[Label]:
        """All letters free, nothing held."""
        return [(START_CODE, self.left.idle, self.right.idle, 0, 0, -1, -1)]

    def open(self, left: int, right: int, need: Need) -> tuple[int, int]:
        """The states where a stretch begins, with its allowance of quick changes."""
        return self.left.open(left, need.quick), self.right.open(right, need.quick)

    def shared(self, left: int, right: int, need: Need) -> list[tuple[int, int]]:
        """The states after a stretch, for every way to share its quick changes between the feet."""
        if not need.quick:
            return [(left, right)]
        pairs = (
            (self.left.close(left, quick), self.right.close(right, need.quick - quick))
            for quick in range(need.quick + 1)
        )
        return [(a, b) for a, b in dict.fromkeys(pairs) if a >= 0 and b >= 0]


    def crossed(
        self, labels: Iterable[At], gap_us: int, closing: Need | None, opening: Need | None
    ) -> list[At]:
        """The labels right before an onset where a stretch ends, another begins, or both."""
        found: list[At] = []
        for k, code, left, right, dropped, early in labels:
            states = [(self.left.advance(left, gap_us), self.right.advance(right, gap_us))]
            if closing is not None:
                states, dropped, early = self.shared(*states[0], closing), 0, 0
            if opening is not None and opening.quick:
                states = [self.open(a, b, opening) for a, b in states]
            found.extend((k, code, a, b, dropped, early) for a, b in states)
        return found


_LEFT: dict[tuple[int, int], Feet] = {}  # feet that no passage uses now


def _first(stretch: Stretch) -> int:
    return stretch.first


class Tight:
    """Finds the tight stretches of a passage."""

    def __init__(
        self,
        passage: Passage,
        feet: tuple[Feet, Feet],
        limit: Need | None = None,
        known: dict[Hashable, bool] | None = None,
    ) -> None:
        """``feet`` are both feet at the usual times, and with every change at the quickest.

        Beyond ``limit`` the search gives up with NoPlanError. ``known`` remembers which runs of onsets go, for other
        searches with the same feet.
        """
        self.passage, self.limit = passage, limit
        self.known = known if known is not None else {}
        self.feet, self.fast = feet
        self.stretches: list[Stretch] = []
        self.path: list[Label] = []  # a plan as far as it goes
        self.bad = (-1, -1)  # an onset that does not go, and the last one from which it does not
        self.work = 0  # labels looked at for the stretch at hand
        self.total = 0  # and altogether

    def find(self) -> list[Stretch]:
        """The stretches from left to right; a plan exists that takes no more.

        Raises
        ------
        NoPlanError
            If the passage demands settings that do not go, whatever is left out, or takes more than the limit.
        """
        path, count = self.path, len(self.passage)
        while len(path) < count:
            i = len(path)
            new = self._step(self.feet, path[-1:] or self.feet.start(), i, i == 0, self.stretches, single=True)
            if new:
                path += new
            elif not self._around(i):
                del path[self._mend(i) :]
                if self.limit is not None and spread(self.stretches) > self.limit:
                    raise NoPlanError
        return self.stretches

    def plan(self) -> tuple[Way, ...]:
        """A plan that takes no more than the stretches; its changes are not counted."""
        ways: list[Way] = []
        for i, label in enumerate(self.path):
            need = need_at(self.stretches, i)
            ways.append(self.passage.ways(i, need.dropped, bool(need.early))[label[6]])
        return tuple(ways)

    # -- the plan goes on ------------------------------------------------------------------------------------------

    def _levels(self, labels: Sequence[Label], first: int, last: int) -> list[list[Label]]:
        """The labels after each onset of a run, from those before it; empty if it does not go."""
        found: list[list[Label]] = []
        try:
            for i in range(first, last + 1):
                labels = self._step(self.feet, labels, i, i == 0, self.stretches)
                found.append(labels)
                if not labels:
                    return []
        except TooManyError:
            return []
        return found

    def _around(self, dead: int) -> bool:
        """Whether the plan goes over this onset from some place further back; it is then changed so.

        All plans are tried only where no run of onsets is found that does not go by itself.
        """
        for back, most in AROUND:
            first = max(0, dead - back)
            levels = self._levels(self.path[first - 1 : first] or self.feet.start(), first, dead)
            if levels:
                del self.path[first:]
                at = 0
                for level in reversed(levels):
                    self.path.append(level[at])
                    at = level[at][5]
                self.path[first:] = reversed(self.path[first:])
                return True
            if not first or (most and self._proven(dead, most)):
                return False
        return False

    def _proven(self, dead: int, most: int) -> bool:
        """Whether a run of at most so many onsets that ends with this one does not go by itself."""
        try:
            self.work = 0
            self.bad = dead, self._shortest(dead, most)
        except TooManyError:
            return False
        return True

    # -- a stretch is found ----------------------------------------------------------------------------------------

    def _mend(self, dead: int) -> int:
        """Put in the stretch that ends where the passage does not go; returns from where to try again."""
        before = list(self.stretches)
        try:
            self.work = 0
            return self._exactly(dead)
        except TooManyError:
            self.stretches = before
            return self._narrowly(dead)

    def _exactly(self, dead: int) -> int:
        known, first = self.bad
        self.bad = -1, -1
        new = self._joined(Stretch(first if known == dead else self._shortest(dead), dead, NOTHING, NOTHING))
        while not new.shares and self.stretches and self.stretches[-1].last == new.first:
            old = self.stretches.pop()  # it must not share its last onset any more
            if old.narrow:
                raise TooManyError
            need = self._need(old.first, dead, max(old.need, new.need))
            new = Stretch(old.first, dead, need, need)
        self.stretches.append(new)
        return new.first

    def _joined(self, new: Stretch) -> Stretch:
        """The stretch with all that it overlaps."""
        first, inside = self._overlapped(new.first)
        if any(one.narrow for one in inside):
            raise TooManyError
        self.stretches = self.stretches[: len(self.stretches) - len(inside)]
        base = spread(inside)
        need = self._need(first, new.last, base)
        return Stretch(first, new.last, need, need)

    def _overlapped(self, first: int) -> tuple[int, list[Stretch]]:
        inside: list[Stretch] = []
        for one in reversed(self.stretches):
            if one.last < first or (one.last == first and one.shares):
                break
            inside.insert(0, one)
            first = min(first, one.first)
        return first, inside

    def _narrowly(self, dead: int) -> int:
        """A stretch whose need is found from where the passage stands, by a search that may miss a better one."""
        first, inside = self._overlapped(max(0, dead - SHORT_BACK))
        if dead - first > MOST_BACK // 2 and inside and inside[-1].close <= dead:
            first, inside = self._overlapped(max(inside[-1].close, dead - SHORT_BACK))
        self.stretches = self.stretches[: len(self.stretches) - len(inside)]
        start: Sequence[Label] = self.feet.start()
        if first:
            before = max(0, first - NARROW_BACK)
            levels = self._levels(self.path[before - 1 : before] or start, before, first - 1)
            start = levels[-1] if levels else self.path[first - 1 : first]
        need = self._need(first, dead, spread(inside), start[:NARROW])
        self.stretches.append(Stretch(first, dead, need, least_of(inside), True))
        return first

    def _shortest(self, dead: int, most: int = MOST_BACK) -> int:
        """The latest onset from which the passage, begun afresh, does not go up to the onset ``dead``."""
        interior = {k for s in self.stretches[-MOST_BACK:] for k in range(s.first + 1, s.last + (0 if s.shares else 1))}

        def goes(first: int) -> bool:
            return self._goes(first, dead, self.feet, self.stretches)

        good, back = dead + 1, 0
        while True:
            first = max(0, dead - back)
            while first in interior:
                first -= 1
            if dead - first > most:
                raise TooManyError
            if not goes(first):
                bad = first
                break
            good = first
            if first == 0:
                raise TooManyError
            back = max(back + 1, back * 2)
        while bad + 1 < good:
            middle = (bad + good) // 2
            at = middle
            while at in interior:
                at -= 1
            if at <= bad:
                at = middle
                while at in interior:
                    at += 1
                if at >= good:
                    break
            if goes(at):
                good = at
            else:
                bad = at
        return bad

    def _need(self, first: int, last: int, base: Need, start: Sequence[Label] | None = None) -> Need:
        """The least with which the stretch goes, at least ``base``; begun afresh unless labels to start from are given.

        From given labels the search is narrow, and what it finds may not be the least.
        """

        def goes(feet: Feet, need: Need, loose: bool = False) -> bool:
            stretch = Stretch(first, last, need, NOTHING, start is not None)
            if feet is not self.feet and start is not None:
                return True
            return self._goes(first, last, feet, [stretch], loose, start)

        weights = [self.passage.weights[i] for i in range(first, last + 1)]
        notes = [len(self.passage.onsets[i].notes) + 1 for i in range(first, last + 1)]
        most = sum(n * w for n, w in zip(notes, weights, strict=True))
        if self.limit is not None:
            most = min(most, self.limit.dropped - spread(self.stretches).dropped)
        if start is not None:
            return self._narrow_need(first, last, base, start, most)
        dropped, early, quick = base
        if not goes(self.fast, Need(dropped, early, 0)):
            while not goes(self.fast, Need(dropped), True):
                dropped += 1
                early = 0
                if dropped > most:
                    raise NoPlanError
            while not goes(self.fast, Need(dropped, early)):
                early += 1
        if (dropped, early) != base[:2]:
            quick = 0
        while not goes(self.feet, Need(dropped, early, quick)):
            quick += 1
        return Need(dropped, early, quick)

    def _narrow_need(self, first: int, last: int, base: Need, start: Sequence[Label], most: int) -> Need:
        """Allowances doubled until it goes, then taken back one by one."""

        def goes(dropped: int, early: int, quick: int) -> bool:
            stretch = Stretch(first, last, Need(dropped, early, quick), NOTHING, True)
            return self._goes(first, last, self.feet, [stretch], False, start)

        length = last - first + 1
        some = (0, 1, 2, 4)
        for dropped in (base.dropped + k for k in range(most + 1)):
            for early in sorted({base.early + k for k in some} if dropped == base.dropped else {0, 1, 2, length}):
                for quick in sorted({base.quick + k for k in some} if dropped == base.dropped else {0, 2, 4}):
                    if goes(dropped, early, quick):
                        while quick and goes(dropped, early, quick - 1):
                            quick -= 1
                        while early and goes(dropped, early - 1, quick):
                            early -= 1
                        return Need(dropped, early, quick)
        raise NoPlanError

    # -- steps -----------------------------------------------------------------------------------------------------

    def _goes(
        self,
        first: int,
        last: int,
        feet: Feet,
        stretches: Sequence[Stretch],
        loose: bool = False,
        start: Sequence[Label] | None = None,
    ) -> bool:
        if start is not None:
            return self._runs(first, last, feet, stretches, loose, start)
        times = self.passage.times
        key = (
            feet is self.fast,
            loose,
            tuple((times[i] - times[first], self.passage.signature(i)) for i in range(first, last + 1)),
            tuple(
                (s.first - first, s.last - first, s.need)
                for s in stretches[bisect_right(stretches, first - MOST_BACK, key=_first) :]
                if s.need != NOTHING and (s.last > first or s.first == first)
            ),
        )
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = self._runs(first, last, feet, stretches, loose, None)
        return found

    def _runs(
        self,
        first: int,
        last: int,
        feet: Feet,
        stretches: Sequence[Stretch],
        loose: bool,
        start: Sequence[Label] | None,
    ) -> bool:
        labels = list(start) if start is not None else feet.start()
        fresh = start is None or first == 0
        for i in range(first, last + 1):
            labels = self._step(feet, labels, i, fresh and i == first, stretches, loose)
            if not labels:
                return False
            if start is None:
                self.work += len(labels)
                if self.work > MOST_WORK:
                    raise TooManyError
        return True

    def _step(
        self,
        feet: Feet,
        labels: Sequence[Label],
        i: int,
        fresh: bool,
        stretches: Sequence[Stretch],
        loose: bool = False,
        single: bool = False,
    ) -> list[Label]:
        """The labels after onset ``i``; ``fresh``: nothing was before it; ``single``: the one with most room."""
        need, narrow = NOTHING, False
        closing = opening = None
        at = bisect_right(stretches, i, key=_first) if stretches else 0
        for near in stretches[max(0, at - 2) : at]:
            if near.close == i and not fresh:
                closing = near.need
            if near.first == i:
                opening = near.need
            if near.first <= i < near.close or near.first == i == near.last:
                need, narrow = near.need, near.narrow
        ways = self.passage.parted(i, need.dropped, bool(need.early), loose)
        gap = 0 if fresh else self.passage.times[i] - self.passage.times[i - 1]
        now = [(k, *label[:5]) for k, label in enumerate(labels)]
        if closing is not None or (opening is not None and opening.quick):
            now, gap = feet.crossed(now, gap, closing, opening), 0
        found: dict[tuple[int, ...], Label] = {}
        ahead_left, ahead_right = feet.left.ahead, feet.right.ahead
        quick_left, quick_right = feet.left.quick, feet.right.quick
        options, uses_left, uses_right = ways.rows, ways.left, ways.right
        most_dropped, most_early, most_quick = need
        for k, code, left, right, dropped, early in now:
            lefts = ahead_left(left, code & LEFT_CODE, gap, uses_left)
            rights = ahead_right(right, code >> LEFT_BITS, gap, uses_right)
            for w, (one, two, more_dropped, more_early, _) in enumerate(options):
                a, left_after, _ = lefts[one]
                b, right_after, _ = rights[two]
                if a < 0 or b < 0 or dropped + more_dropped > most_dropped or early + more_early > most_early:
                    continue
                if most_quick and quick_left[a] + quick_right[b] > most_quick:
                    continue
                same = (left_after | right_after << LEFT_BITS, a, b, dropped + more_dropped, early + more_early)
                if same not in found:
                    found[same] = (*same, k, w)
        self.total += len(found)
        rows = list(found.values())
        if len(rows) > 1:
            left_room, right_room = feet.left.room, feet.right.room
            rows.sort(key=lambda x: (x[3], x[4], -left_room[x[1]] - right_room[x[2]]))
        return rows[:1] if single else self._needful(feet, rows, narrow)

    def _needful(self, feet: Feet, rows: list[Label], narrow: bool) -> list[Label]:
        """The labels, those with the most room first, without those that another makes needless."""
        if len(rows) < 2:
            return rows
        kept: list[Label] = []
        good_left, good_right = feet.left.as_good, feet.right.as_good
        able_left, able_right = feet.left.able, feet.right.able
        most = NARROW if narrow else MOST_LABELS
        for row in rows:
            code, a, b, dropped, early, _, _ = row
            any_left, any_right = able_left[a], able_right[b]
            for other_code, other_a, other_b, other_dropped, other_early, _, _ in kept:
                if other_dropped > dropped or other_early > early:
                    continue
                left, right, _ = differing(other_code, code)
                if (any_left and not able_left[other_a] >> left & 1) or (
                    any_right and not able_right[other_b] >> right & 1
                ):
                    continue  # what differs cannot have been changed
                if good_left(other_a, a, left) and good_right(other_b, b, right):
                    break
            else:
                kept.append(row)
                if len(kept) >= most:
                    if narrow:
                        break
                    raise TooManyError
        return kept


def need_at(stretches: Sequence[Stretch], i: int) -> Need:
    """What the stretch around an onset takes; nothing if there is none."""
    at = bisect_right(stretches, i, key=_first)
    for one in reversed(stretches[max(0, at - 2) : at]):
        if one.first <= i < one.close or one.first == i == one.last:
            return one.need
    return NOTHING


def spread(stretches: Iterable[Stretch]) -> Need:
    """What all stretches take together."""
    total = NOTHING
    for one in stretches:
        total = total.plus(one.need)
    return total


def least_of(stretches: Iterable[Stretch]) -> Need:
    """What all stretches take at least."""
    total = NOTHING
    for one in stretches:
        total = total.plus(one.least)
    return total
