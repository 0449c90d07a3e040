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
from deskproof.families.harp.passage import ALL_FREE, NoPlanError, Passage, Way, Ways

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
# And where the passage has taken all its work:
NARROWER = 12  # labels of one onset kept
LONGEST = 6  # onsets of such a stretch, before another is begun


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

    ``narrow``: the need was found by a search that may have missed a better one. ``later`` is, by onset, how many
    notes at least are left out after it. ``bare``: all that can be left out is left out.
    """

    first: int
    last: int
    need: Need
    least: Need
    narrow: bool = False
    later: tuple[int, ...] = ()
    bare: bool = False

    @property
    def close(self) -> int:
        """The onset before which the allowance ends; notes of the last onset may be left out too."""
        return self.last + 1 if self.need.dropped else self.last

    def at(self, i: int) -> Need:
        """What may have been spent after an onset of the stretch."""
        if not self.later or not self.first <= i <= self.last:
            return self.need
        return self.need._replace(dropped=self.need.dropped - self.later[i - self.first])

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
        self.kept = NARROW  # labels of one onset where a stretch is not searched exactly
        self.allowed = passage.settings.work
        self.steps = self.most_steps = 0  # as ``Work`` counts them, and when the search at hand gives up; 0: never

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

    def goes(self) -> bool:
        """Whether the passage goes with nothing left out, all let go and all changes quickest.

        Raises
        ------
        TooManyError
            If the search grows beyond its limits.
        """
        last = len(self.passage) - 1
        self._begin()
        return last < 0 or self._goes(0, last, self.fast, [], True)

    def plan(self) -> tuple[Way, ...]:
        """A plan that takes no more than the stretches; its changes are not counted."""
        ways: list[Way] = []
        for i, label in enumerate(self.path):
            ways.append(ways_at(self.passage, self.stretches, i).ways[label[6]])
        return tuple(ways)

    # -- the plan goes on ------------------------------------------------------------------------------------------

    def _levels(self, labels: Sequence[Label], first: int, last: int) -> list[list[Label]]:
        """The labels after each onset of a run, from those before it; empty if it does not go."""
        found: list[list[Label]] = []
        self.most_steps = self.steps + (self.allowed.onset if self._tired else self.allowed.stretch)
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
        for back, most in AROUND[:1] if self._tired else AROUND:
            first = max(0, dead - back)
            levels = self._levels(self.path[first - 1 : first] or self.feet.start(), first, dead)
            if levels:
                self._take(first, levels)
                return True
            if not first or (most and self._proven(dead, most)):
                return False
        return False

    def _take(self, first: int, levels: Sequence[Sequence[Label]]) -> None:
        """Let the plan end as these levels do: by the first label of the last, from onset ``first`` on."""
        del self.path[first:]
        at = 0
        for level in reversed(levels):
            self.path.append(level[at])
            at = level[at][5]
        self.path[first:] = reversed(self.path[first:])

    def _proven(self, dead: int, most: int) -> bool:
        """Whether a run of at most so many onsets that ends with this one does not go by itself."""
        try:
            self._begin()
            self.bad = dead, self._shortest(dead, most)
        except TooManyError:
            return False
        return True

    # -- a stretch is found ----------------------------------------------------------------------------------------

    def _mend(self, dead: int) -> int:
        """Put in the stretch that ends where the passage does not go; returns from where to try again."""
        before = list(self.stretches)
        try:
            self._begin()
            return self._exactly(dead)
        except TooManyError:
            self.stretches = before
            return self._narrowly(dead)

    def _begin(self) -> None:
        """A new search, with its own limits of work."""
        self.work = 0
        self.most_steps = min(self.steps + self.allowed.stretch, self._altogether)
        if self._tired:
            raise TooManyError

    def _exactly(self, dead: int) -> int:
        known, first = self.bad
        self.bad = -1, -1
        new = self._joined(Stretch(first if known == dead else self._shortest(dead), dead, NOTHING, NOTHING))
        while not new.shares and self.stretches and self.stretches[-1].last == new.first:
            old = self.stretches.pop()  # it must not share its last onset any more
            if old.narrow:
                raise TooManyError
            new = self._stretch(old.first, dead, max(old.need, new.need))
        self.stretches.append(new)
        return new.first

    def _joined(self, new: Stretch) -> Stretch:
        """The stretch with all that it overlaps."""
        first, inside = self._overlapped(new.first)
        if any(one.narrow for one in inside):
            raise TooManyError
        self.stretches = self.stretches[: len(self.stretches) - len(inside)]
        base = spread(inside)
        return self._stretch(first, new.last, base)

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
        if self._tired:
            self.kept = NARROWER
        longest, back = LONGEST if self._tired else MOST_BACK // 2, SHORT_BACK
        before = list(self.stretches)
        while True:
            first, inside = self._overlapped(max(0, dead - back))
            if dead - first > longest and inside and inside[-1].close <= dead:
                first, inside = self._overlapped(max(inside[-1].close, dead - SHORT_BACK))
            self.stretches = self.stretches[: len(self.stretches) - len(inside)]
            begin = max(0, first - NARROW_BACK)
            levels = self._levels(self._before(begin), begin, first - 1)
            begin = begin if levels else first
            start = (levels[-1] if levels else self._before(first))[: self.kept]
            found = self._narrow(first, dead, inside, start)
            if found is None:
                if not first or self.limit is not None:
                    raise NoPlanError
                self.stretches = list(before)  # it does not go from here whatever is left out
                back, longest = 2 * (dead - first), max(longest, dead)
                continue
            self.stretches.append(found)
            self.most_steps = 0
            for i in range(first, dead + 1):
                start = self._step(self.feet, start, i, i == 0, self.stretches, single=i == dead)
                levels.append(start)
            self._take(begin, levels)
            return dead + 1

    def _narrow(self, first: int, last: int, inside: Sequence[Stretch], start: Sequence[Label]) -> Stretch | None:
        """A stretch that goes from these labels, with the least that is soon found; None if it does not go at all."""
        self.most_steps = 0
        gone = sum(self.passage.bare(i).ways[0].dropped for i in range(first, last + 1))
        bare = None
        for quick in (0, 2, 4) if gone or first < last else (0,):
            one = Stretch(first, last, Need(gone, 0, quick), least_of(inside), True, (), True)
            if self._goes(first, last, self.feet, [*self.stretches[-2:], one], False, start):
                bare = one
                break
        if bare is None and any(i in self.passage.firm for i in range(first, last + 1)):
            return None
        self.most_steps = self.steps + max(1, self.allowed.later if self._tired else self.allowed.stretch)
        try:
            need = self._narrow_need(first, last, spread(inside), start)
        except (NoPlanError, TooManyError):
            return bare
        return Stretch(first, last, need, least_of(inside), True)

    def _before(self, i: int) -> Sequence[Label]:
        """The label of the plan right before an onset."""
        return self.path[i - 1 : i] if i else self.feet.start()

    @property
    def _tired(self) -> bool:
        """Whether the passage has taken all its work, so that what is left is searched in the cheapest way."""
        return self.steps >= self._altogether

    @property
    def _altogether(self) -> int:
        return self.allowed.passage + self.allowed.onset * len(self.passage)

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

    def _most(self, first: int, last: int) -> int:
        """How many notes can be left out of a run, in shares."""
        weights = self.passage.weights
        most = sum((len(self.passage.onsets[i].notes) + 1) * weights[i] for i in range(first, last + 1))
        return most if self.limit is None else min(most, self.limit.dropped - spread(self.stretches).dropped)

    def _stretch(self, first: int, last: int, base: Need) -> Stretch:
        """A stretch with the least with which it goes, begun afresh; at least ``base``."""
        later: tuple[int, ...] = ()

        def goes(feet: Feet, need: Need, loose: bool = False) -> bool:
            return self._goes(first, last, feet, [Stretch(first, last, need, NOTHING, False, later)], loose)

        most = self._most(first, last)
        dropped, early, quick = base
        if not goes(self.fast, Need(dropped, early, 0)):
            while not goes(self.fast, Need(dropped), True):
                if not later and most > dropped:
                    later = self._later(first, last, most)
                    dropped = max(dropped, later[0] - 1)
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
        need = Need(dropped, early, quick)
        return Stretch(first, last, need, need, False, later)

    def _later(self, first: int, last: int, most: int) -> tuple[int, ...]:
        """By onset of a run, what must be left out of those after it, as far as it is found quickly."""
        found, least = [0] * (last - first + 1), 0
        work, limit = self.work, self.most_steps
        self.most_steps = min(limit, self.steps + self.allowed.later)
        try:
            for i in range(last - 1, first, -1):
                while True:
                    later = tuple(found[i - first :])
                    stretch = Stretch(i, last, Need(least), NOTHING, False, later)
                    if self._goes(i, last, self.fast, [stretch], True):
                        break
                    least += 1
                    if least > most:
                        raise NoPlanError
                found[i - 1 - first] = least
        except TooManyError:
            found[: i - first] = [least] * (i - first)
        self.work, self.most_steps = work, limit
        return tuple(found)

    def _narrow_need(self, first: int, last: int, base: Need, start: Sequence[Label]) -> Need:
        """The least that a narrow search finds: allowances doubled until it goes, then taken back one by one.

        It goes from the labels given, and what it finds may not be the least.
        """

        def goes(dropped: int, early: int, quick: int, loose: bool = False) -> bool:
            if first == last and quick and not dropped:
                return False  # it would end before it begins
            stretch = Stretch(first, last, Need(dropped, early, quick), NOTHING, True)
            return self._goes(first, last, self.feet, [*self.stretches[-2:], stretch], loose, start)

        most, length = self._most(first, last), last - first + 1
        some = (0, 1, 2, 4)
        for dropped in range(base.dropped, base.dropped + most + 1):
            if first < last and not goes(dropped, base.early, base.quick + some[-1], True):
                continue  # with nothing held it does not go either
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
            # of the last onset it is enough that there is one
            labels = self._step(feet, labels, i, fresh and i == first, stretches, loose, i == last)
            if not labels:
                return False
            if start is None:
                self.work += len(labels)
            if start is None and self.work > MOST_WORK:
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
        need, narrow, bare = NOTHING, False, False
        closing = opening = None
        at = bisect_right(stretches, i, key=_first) if stretches else 0
        for near in stretches[max(0, at - 2) : at]:
            if near.close == i and not fresh:
                closing = near.need
            if near.first == i:
                opening = near.need
            if near.first <= i < near.close or near.first == i == near.last:
                need, narrow, bare = near.at(i), near.narrow, near.bare
        if need.dropped < 0:
            return []
        ways = self.passage.bare(i) if bare else self.passage.parted(i, need.dropped, bool(need.early), loose)
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
        self.steps += len(now) * len(options)
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
        most = self.kept if narrow else MOST_LABELS
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
            self.steps += len(kept)
            if self.steps > self.most_steps > 0:
                raise TooManyError
        return kept


def around(stretches: Sequence[Stretch], i: int) -> Stretch | None:
    """The stretch whose allowance holds at an onset."""
    at = bisect_right(stretches, i, key=_first)
    for one in reversed(stretches[max(0, at - 2) : at]):
        if one.first <= i < one.close or one.first == i == one.last:
            return one
    return None


def need_at(stretches: Sequence[Stretch], i: int) -> Need:
    """What the stretch around an onset takes; nothing if there is none."""
    one = around(stretches, i)
    return NOTHING if one is None else one.at(i)


def ways_at(passage: Passage, stretches: Sequence[Stretch], i: int) -> Ways:
    """The ways of an onset that the stretch around it leaves."""
    one = around(stretches, i)
    if one is not None and one.bare:
        return passage.bare(i)
    need = need_at(stretches, i)
    return passage.parted(i, need.dropped, bool(need.early))


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
