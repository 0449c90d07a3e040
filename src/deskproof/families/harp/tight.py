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
        return cls(Foot(len(LEFT), comfortable_us, quickest_us), Foot(len(RIGHT), comfortable_us, quickest_us))

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
        self.after: list[list[Label]] = []
        self.work = 0  # labels looked at for the stretch at hand
        self.total = 0  # and altogether

    def find(self) -> list[Stretch]:
        """The stretches from left to right; a plan exists that takes no more.

        Raises
        ------
        NoPlanError
            If the passage demands settings that do not go, whatever is left out, or takes more than the limit.
        """
        after, count = self.after, len(self.passage)
        while len(after) < count:
            i = len(after)
            try:
                new = self._step(self.feet, after[-1] if after else self.feet.start(), i, i == 0, self.stretches)
            except TooManyError:
                new = []
            if new:
                after.append(new)
            else:
                del after[self._mend(i) :]
                if self.limit is not None and spread(self.stretches) > self.limit:
                    raise NoPlanError
        return self.stretches

    def plan(self) -> tuple[Way, ...]:
        """A plan that takes no more than the stretches; its changes are not counted."""
        ways: list[Way] = []
        k = 0
        for i in reversed(range(len(self.passage))):
            label = self.after[i][k]
            need = need_at(self.stretches, i)
            ways.append(self.passage.ways(i, need.dropped, bool(need.early))[label[6]])
            k = label[5]
        return tuple(reversed(ways))

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
        new = self._joined(Stretch(self._shortest(dead), dead, NOTHING, NOTHING))
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
        start = self.after[first - 1] if first else self.feet.start()
        need = self._need(first, dead, spread(inside), start[:NARROW])
        self.stretches.append(Stretch(first, dead, need, least_of(inside), True))
        return first

    def _shortest(self, dead: int) -> int:
        """The latest onset from which the passage, begun afresh, does not go up to the onset ``dead``."""
        interior = {k for s in self.stretches[-MOST_BACK:] for k in range(s.first + 1, s.last + (0 if s.shares else 1))}

        def goes(first: int) -> bool:
            return self._goes(first, dead, self.feet, self.stretches)

        good, back = dead + 1, 0
        while True:
            first = max(0, dead - back)
            while first in interior:
                first -= 1
            if dead - first > MOST_BACK:
                raise TooManyError
            if not goes(first):
                bad = first
                break
            good = first
            if first == 0:
                return 0
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
                if s.last > first or s.first == first
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
    ) -> list[Label]:
        """The labels after onset ``i``; ``fresh``: nothing was before it."""
        need, narrow = NOTHING, False
        closing = opening = None
        at = bisect_right(stretches, i, key=_first)
        for one in stretches[max(0, at - 2) : at]:
            if one.close == i and not fresh:
                closing = one.need
            if one.first == i:
                opening = one.need
            if one.first <= i < one.close or one.first == i == one.last:
                need, narrow = one.need, one.narrow
        ways = self.passage.ways(i, need.dropped, bool(need.early), loose)
        gap = 0 if fresh else self.passage.times[i] - self.passage.times[i - 1]
        found: dict[tuple[int, ...], Label] = {}
        advance_left, advance_right = feet.left.advance, feet.right.advance
        over_left, over_right = feet.left.over, feet.right.over
        for k, label in enumerate(labels):
            code, left, right, dropped, early = label[:5]
            if not fresh:
                left, right = advance_left(left, gap), advance_right(right, gap)
            states = [(left, right)]
            if closing is not None:
                states, dropped, early = feet.shared(left, right, closing), 0, 0
            if opening is not None and opening.quick:
                states = [feet.open(a, b, opening) for a, b in states]
            left_code, right_code = code & LEFT_CODE, code >> LEFT_BITS
            for left, right in states:
                for w, way in enumerate(ways):
                    a, left_after, _ = over_left(left, left_code, way.left)
                    if a < 0:
                        continue
                    b, right_after, _ = over_right(right, right_code, way.right)
                    if b < 0:
                        continue
                    now_dropped, now_early = dropped + way.dropped, early + way.early
                    if now_dropped > need.dropped or now_early > need.early:
                        continue
                    if need.quick and feet.left.fewest(a) + feet.right.fewest(b) > need.quick:
                        continue
                    same = (left_after | right_after << LEFT_BITS, a, b, now_dropped, now_early)
                    if same not in found:
                        found[same] = (*same, k, w)
        self.total += len(found)
        return self._needful(feet, found.values(), narrow)

    def _needful(self, feet: Feet, labels: Iterable[Label], narrow: bool) -> list[Label]:
        """The labels without those that another makes needless."""
        left_room, right_room = feet.left.room, feet.right.room
        rows = sorted(labels, key=lambda x: (x[3], x[4], -left_room(x[1]) - right_room(x[2])))
        if len(rows) == 1:
            return rows
        kept: list[Label] = []
        good_left, good_right = feet.left.as_good, feet.right.as_good
        for row in rows:
            code, a, b, dropped, early = row[:5]
            for other in kept:
                if other[3] > dropped or other[4] > early:
                    continue
                left, right, _ = differing(other[0], code)
                if good_left(other[1], a, left) and good_right(other[2], b, right):
                    break
            else:
                kept.append(row)
                if len(kept) >= (NARROW if narrow else MOST_LABELS):
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
