"""The exact search: which drum takes each note, so that least is left out, hurried, retuned and moved.

A label says of the events so far what they cost, how the drums stand, and since when each is free. A drum is tuned
when it is next struck, at some time since it was free; so a retuning is priced when its end is known. Labels that
can do nothing that another cannot do as cheaply are dropped.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import NamedTuple

from deskproof.families.timpani.feet import Job, TooManyError, least_quick
from deskproof.families.timpani.ways import LATE, Part, Way
from deskproof.families.timpani.work import Work

__all__ = ["Found", "Label", "Prices", "Search"]

FREE = -1
"""Instead of a pitch: the drum is not tuned yet and may stand as it likes."""

COMPARED = 20
"""So many comparisons of labels count as the making of one."""

MAKING, SETTLING, COMPARING = 5, 10, 2
"""So many steps of work are the making of a label (besides one for each drum), for each drum what is forgotten in it,
and a comparison."""

SETTLED = -LATE
"""Instead of a time: the drum can be tuned comfortably for whatever comes next."""


class Prices:
    """The objective as one whole number, so that sums are compared left to right."""

    def __init__(self, part: Part) -> None:
        notes = sum(len(event.pitches) for event in part.events)
        width = len(part.comfortable)
        self._sizes = (1, notes * width + 1, notes * width + 1, notes + 1, notes + 1)
        units = [1]
        for size in self._sizes[1:]:
            units.append(units[-1] * size)
        self.off_best, self.semitone, self.retuning, self.quick, self.left_out = units

    def apart(self, cost: int) -> tuple[int, int, int, int, int]:
        """Notes left out, quick retunings, retunings, semitones moved, semitones off the best part."""
        found = []
        for unit in (self.left_out, self.quick, self.retuning, self.semitone, self.off_best):
            found.append(cost // unit)
            cost %= unit
        return (found[0], found[1], found[2], found[3], found[4])


class Label(NamedTuple):
    """What has been done up to an event.

    ``stands`` is the pitch of each drum, ``since`` twice the time from which it is free, one more if it slides until
    then (it may then not be struck before, at whatever pitch); ``live`` are retunings that may be in the way of others.
    """

    cost: int
    stands: tuple[int, ...]
    since: tuple[int, ...]
    live: tuple[Job, ...]
    before: Label | None
    way: Way | None

    def path(self) -> list[Way]:
        """The ways of all events."""
        found = []
        label: Label | None = self
        while label is not None and label.way is not None:
            found.append(label.way)
            label = label.before
        return found[::-1]


class Found(NamedTuple):
    """The best label, or None where every one is as dear as the limit; whether nothing was cut short."""

    best: Label | None
    complete: bool


class Search:
    """Searches of one part; ``feet`` says whether it is minded that there are few of them.

    All of them together end when ``work`` is over.
    """

    def __init__(self, part: Part, prices: Prices, feet: bool, work: Work) -> None:
        self.part = part
        self.prices = prices
        self.feet = feet
        self.work = work
        self.made = 0
        self.cut = False
        self._violated: dict[tuple[int, int, int], int] = {}
        self._quick: dict[tuple[Job, ...], int | None] = {}

    def start(self) -> Label:
        """Before the first event."""
        part, initial = self.part, self.part.settings.initial
        stands = tuple(initial.get(drum.id, FREE) for drum in part.drums)
        return Label(0, stands, (2 * part.settings.start_us,) * len(stands), (), None, None)

    def freely(self) -> Label:
        """Before an event somewhere in the part, with every drum still to be tuned."""
        return Label(0, (FREE,) * len(self.part.drums), (SETTLED,) * len(self.part.drums), (), None, None)

    def run(
        self,
        first: Label,
        begin: int,
        end: int,
        rest: Sequence[int],
        below: int | None,
        width: int | None,
        most: int | None,
    ) -> Found:
        """The cheapest way through the events from ``begin`` up to ``end``.

        ``rest[k]`` is at least what the events from ``begin + k`` on cost; only what stays under ``below`` is sought.
        ``width`` labels are kept at an event, all if it is None; after ``most`` labels the search gives up, where many
        comparisons count for one label. It gives up, too, when the work is over.
        """
        events = self.part.events
        labels = [first]
        before, self.made = self.made, 0
        complete = True
        settling = SETTLING * len(self.part.drums)
        for i in range(begin, end):
            following = events[i + 1].t_us if i + 1 < len(events) else LATE
            cap = None if below is None else below - rest[i + 1 - begin]
            found: dict[tuple[tuple[int, ...], tuple[int, ...], tuple[Job, ...]], Label] = {}
            making = (MAKING + len(self.part.drums)) * len(self.part.ways[i])
            for label in labels:
                if self.work.over or not self.work.spend(making):
                    break
                for way in self.part.ways[i]:
                    new = self._next(label, i, way, cap)
                    if new is None:
                        continue
                    key = (new.stands, new.since, new.live)
                    old = found.get(key)
                    if old is None or new.cost < old.cost:
                        found[key] = new
            self.made += len(found)
            fresh = [self._settled(label, i, following) for label in found.values() if self.work.spend(settling)]
            fresh.sort(key=lambda label: (label.cost, label.since))
            labels = self._undominated(fresh, i, width, most)
            if len(labels) == width:
                complete = False
            if self.work.over:
                return self._given_up(before)
            if not labels or (most is not None and self.made > most):
                complete = complete and not labels
                labels = []
                break
        self.made += before
        return Found(labels[0] if labels else None, complete)

    def _given_up(self, made: int) -> Found:
        self.made += made
        return Found(None, False)

    # -- one step --------------------------------------------------------------------------------------------------

    def _next(self, label: Label, i: int, way: Way, cap: int | None) -> Label | None:
        """The label after an event taken this way; None if it cannot be done, or not under the cap."""
        part, prices = self.part, self.prices
        cost = label.cost + way.left_out * prices.left_out + way.off_best
        if cap is not None and cost >= cap:
            return None
        if not way.uses:
            return Label(cost, label.stands, label.since, label.live, label, way)
        event = part.events[i]
        t_us = event.t_us
        stands, since = list(label.stands), list(label.since)
        added: list[Job] = []
        for d, pitch, arrives in way.uses:
            at, free = stands[d], since[d]
            slides = pitch != arrives
            if at in (pitch, FREE):
                if free >> 1 > t_us and (free & 1 or slides):
                    return None
            else:
                distance = abs(at - pitch)
                long, short = part.comfortable[distance], part.quickest[distance]
                cost += prices.retuning + distance * prices.semitone
                if free != SETTLED:
                    release = free >> 1
                    if part.rests.earliest(release, long) + long > t_us:
                        if part.rests.earliest(release, short) + short > t_us:
                            return None
                        cost += 0 if self.feet else prices.quick
                    if self.feet:
                        added.append(Job(d, release, t_us, long, short))
                if cap is not None and cost >= cap:
                    return None
            stands[d] = arrives
            until = 2 * event.end_us + slides
            since[d] = until if free < until else free
            if slides and self.feet:
                added.append(Job(d, t_us, event.end_us, event.hold_us, event.hold_us, True))
        live = label.live
        if added:
            live = tuple(sorted((*live, *added)))
            try:
                before, after = self._least(label.live), self._least(live)
            except TooManyError:
                self.cut = True
                return None
            if after is None or before is None:
                return None
            cost += (after - before) * prices.quick
            if cap is not None and cost >= cap:
                return None
        return Label(cost, tuple(stands), tuple(since), live, label, way)

    def _least(self, jobs: tuple[Job, ...]) -> int | None:
        """The fewest quick ones among jobs; None if they cannot be done."""
        if not jobs:
            return 0
        if jobs not in self._quick:
            rows = least_quick(jobs, self.part.settings.feet, self.part.rests, self.work)
            self._quick[jobs] = None if rows is None else sum(row.quick for row in rows)
        return self._quick[jobs]

    # -- what need not be remembered ---------------------------------------------------------------------------------

    def _last_hurry(self, d: int, pitch: int, free: int) -> int:
        """The ordinal of the last event for which a drum free since then cannot be tuned comfortably; -1 if none."""
        key = (d, pitch, free)
        found = self._violated.get(key)
        if found is None:
            found = self._violated[key] = self._find_hurry(d, pitch, free >> 1)
        return found

    def _find_hurry(self, d: int, pitch: int, release: int) -> int:
        part = self.part
        first, found = part.first_from(release), -1
        for other, wanted in part.struck[d].items():
            if other != pitch:
                length = part.comfortable[abs(other - pitch)]
                until = part.first_from(part.rests.earliest(release, length) + length)
                at = bisect_left(wanted, until)
                if at and wanted[at - 1] >= first:
                    found = max(found, wanted[at - 1])
        return found

    def _settled(self, label: Label, i: int, following: int) -> Label:
        """The label with all times forgotten that can make no difference after event ``i``."""
        since = list(label.since)
        for d, at in enumerate(label.stands):
            if since[d] == SETTLED or at == FREE:
                continue
            if since[d] >> 1 > following:
                continue
            since[d] &= ~1  # a slide that is over is no more than a hold
            hurry = self._last_hurry(d, at, since[d])
            if hurry <= i and (not self.feet or self.part.last_other(d, at) <= i):
                since[d] = SETTLED
        if not self.feet:
            return label._replace(since=tuple(since))
        live = label.live
        waiting = sorted(
            (d for d, at in enumerate(label.stands) if since[d] != SETTLED and at != FREE), key=lambda d: since[d]
        )
        for count in range(len(waiting), -1, -1):
            cut = min(following, since[waiting[count]] >> 1) if count < len(waiting) else following
            if not count and not live:
                break
            if self._done_by(cut, live, waiting[:count], label.stands, since):
                for d in waiting[:count]:
                    since[d] = SETTLED
                live = ()
                break
        return label._replace(since=tuple(since), live=live)

    def _done_by(
        self, cut: int, live: tuple[Job, ...], drums: Sequence[int], stands: Sequence[int], since: Sequence[int]
    ) -> bool:
        """Whether up to a time the jobs can be done and a comfortable retuning of each of the drums besides."""
        if any(job.fixed and job.deadline > cut for job in live):
            return False
        jobs = [job._replace(deadline=min(job.deadline, cut)) for job in live]
        for d in drums:
            drum = self.part.drums[d]
            long = self.part.comfortable[max(stands[d] - drum.low, drum.high - stands[d])]
            if since[d] & 1 or since[d] // 2 + long > cut:
                return False
            jobs.append(Job(d, since[d] // 2, cut, long, long))
        try:
            return self._least(tuple(sorted(jobs))) == self._least(live)
        except TooManyError:
            return False

    # -- dominance ---------------------------------------------------------------------------------------------------

    def _undominated(self, labels: Sequence[Label], i: int, width: int | None, most: int | None) -> list[Label]:
        """The labels, cheapest first, that none before them can stand in for; at most ``width``."""
        kept: list[Label] = []
        shown: list[Label] = []  # as they are compared
        compared = 0
        for label in labels:
            alike = self._sorted(label) if self.part.twins else label
            if not any(self._dominates(other, alike, i) for other in shown):
                kept.append(label)
                shown.append(alike)
                if len(kept) == width:
                    break
            compared += len(kept)
            if compared >= COMPARED:
                self.made += compared // COMPARED
                self.work.spend(compared // COMPARED * COMPARED * COMPARING)
                compared %= COMPARED
                if self.work.over or (most is not None and self.made > most):
                    break
        return kept

    def _sorted(self, label: Label) -> Label:
        """The label with drums of one compass in the order of their tuning: which of them is which does not matter."""
        if label.live:
            return label
        stands, since = list(label.stands), list(label.since)
        for drums in self.part.twins:
            rows = sorted((stands[d], since[d]) for d in drums)
            for d, (at, free) in zip(drums, rows, strict=True):
                stands[d], since[d] = at, free
        return label._replace(stands=tuple(stands), since=tuple(since))

    def _dominates(self, one: Label, other: Label, i: int) -> bool:
        """Whether ``one``, which costs no more, can do from here on what the other can, and still costs no more.

        Where a drum stands elsewhere, ``one`` must have the time to tune it as the other has it, at that price.
        """
        if one.live and one.live != other.live:
            return False
        cost = one.cost
        prices = self.prices
        for d, (mine, its) in enumerate(zip(one.stands, other.stands, strict=True)):
            if mine == FREE:
                continue
            if mine != its:
                if one.since[d] != SETTLED:
                    return False
                if its == FREE:
                    cost += prices.retuning + self.part.width(d) * prices.semitone
                else:
                    cost += abs(mine - its) * prices.semitone
                    if self.part.last[d].get(its, -1) > i:
                        cost += prices.retuning
                if cost > other.cost:
                    return False
            elif one.since[d] != other.since[d]:
                if one.since[d] > other.since[d]:
                    return False
                if one.since[d] & 1:
                    return False
        return True
