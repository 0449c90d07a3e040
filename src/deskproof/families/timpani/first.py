"""A plan that is always found, and soon: few ways are kept at an event, and each retuning gets its time at once.

It goes by the feet there are. Of each tuning of the drums the cheapest ways to come there are kept; a retuning is begun
as early as its drum and a foot are free, and is not moved again for another. So the work is so much an event.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from deskproof.families.timpani.feet import Job, Rests, Scheduled
from deskproof.families.timpani.search import FREE, MAKING, Prices
from deskproof.families.timpani.ways import LATE, Part, Way
from deskproof.families.timpani.work import Work

__all__ = ["Label", "first_plan"]

WIDTH, ALIKE = 24, 2
"""So many labels are kept at an event, and so many of one tuning."""

TRIED = 320
"""Where an event has more ways than these, each counted by all drums, those are tried that lie next for them."""

REMEMBERED = 8
"""So many moves for each foot are remembered; before the end of one that is forgotten nothing is tuned."""


class Label(NamedTuple):
    """What has been done up to an event.

    ``stands`` and ``since`` are as in the exact search. ``busy`` are the moves of the feet, beginning and end, that may
    still be in the way; nothing is tuned before ``from_us``. ``rows`` are the moves that this event has added.
    """

    cost: int
    stands: tuple[int, ...]
    since: tuple[int, ...]
    busy: tuple[tuple[int, int], ...]
    from_us: int
    rows: tuple[Scheduled, ...]
    before: Label | None
    way: Way | None

    def path(self) -> list[Way]:
        """The ways of all events."""
        return [label.way for label in self._labels() if label.way is not None]

    def moves(self) -> list[Scheduled]:
        """The retunings and slides of all events, in time."""
        return [row for label in self._labels() for row in label.rows]

    def _labels(self) -> list[Label]:
        found = []
        label: Label | None = self
        while label is not None:
            found.append(label)
            label = label.before
        return found[::-1]


def first_plan(part: Part, prices: Prices, work: Work) -> Label:
    """A way through all events that can be played, not always the best; ``work`` counts, and is not minded."""
    labels, making = [_start(part)], 2 * (MAKING + len(part.drums))
    for i in range(len(part.events)):
        found: dict[tuple[tuple[int, ...], tuple[int, ...], tuple[tuple[int, int], ...]], Label] = {}
        for label in labels:
            for way in _ways(part, label, i):
                work.spend(making)
                new = _next(part, prices, label, i, way)
                if new is not None:
                    key = (new.stands, new.since, new.busy)
                    if key not in found or new.cost < found[key].cost:
                        found[key] = new
        labels = _kept(part, sorted(found.values(), key=lambda label: (label.cost, sum(label.since))))
    return labels[0]


def _start(part: Part) -> Label:
    initial = part.settings.initial
    stands = tuple(initial.get(drum.id, FREE) for drum in part.drums)
    return Label(0, stands, (2 * part.settings.start_us,) * len(stands), (), -LATE, (), None, None)


def _kept(part: Part, labels: Sequence[Label]) -> list[Label]:
    """The cheapest, not too many of one tuning; drums of one compass may be exchanged."""
    counts: dict[tuple[int, ...], int] = {}
    kept: list[Label] = []
    for label in labels:
        stands = list(label.stands)
        for drums in part.twins:
            for d, at in zip(drums, sorted(stands[d] for d in drums), strict=True):
                stands[d] = at
        tuning = tuple(stands)
        counts[tuning] = counts.get(tuning, 0) + 1
        if counts[tuning] <= ALIKE:
            kept.append(label)
            if len(kept) == WIDTH:
                break
    return kept


# -- one step ------------------------------------------------------------------------------------------------------


def _next(part: Part, prices: Prices, label: Label, i: int, way: Way) -> Label | None:
    """The label after an event taken this way; None if it cannot be done as the moves before it lie."""
    cost = label.cost + way.left_out * prices.left_out + way.off_best
    if not way.uses:
        return Label(cost, label.stands, label.since, label.busy, label.from_us, (), label, way)
    event, feet = part.events[i], part.settings.feet
    t_us = event.t_us
    stands, since = list(label.stands), list(label.since)
    busy, rows = list(label.busy), []
    for d, pitch, arrives in way.uses:
        at, free = stands[d], since[d]
        slides = pitch != arrives
        if at in (pitch, FREE):
            if free >> 1 > t_us and (free & 1 or slides):
                return None
        else:
            distance = abs(at - pitch)
            cost += prices.retuning + distance * prices.semitone
            job = Job(d, free >> 1, t_us, part.comfortable[distance], part.quickest[distance])
            row = _placed(job, max(job.release, label.from_us), busy, feet, part.rests)
            if row is None:
                return None
            cost += row.quick * prices.quick
            rows.append(row)
            busy.append((row.start, row.start + row.length))
        stands[d] = arrives
        since[d] = max(2 * event.end_us + slides, free)
        if slides:
            if t_us < label.from_us or not _free(busy, feet, t_us, event.end_us):
                return None
            rows.append(Scheduled(Job(d, t_us, event.end_us, event.hold_us, event.hold_us, True), t_us, event.hold_us))
            busy.append((t_us, event.end_us))
    if rows:
        gone = min(t_us, *(free >> 1 for at, free in zip(stands, since, strict=True) if at != FREE))
        busy = sorted((one for one in busy if one[1] > gone), key=lambda one: one[1])
    from_us, many = label.from_us, len(busy) - REMEMBERED * feet
    if many > 0:
        from_us = max(from_us, busy[many - 1][1])
        del busy[:many]
    return Label(cost, tuple(stands), tuple(since), tuple(busy), from_us, tuple(rows), label, way)


def _placed(job: Job, ready: int, busy: Sequence[tuple[int, int]], feet: int, rests: Rests) -> Scheduled | None:
    """A retuning as early as it can be; in the quickest time where there is no place for the comfortable one."""
    for length in (job.comfortable, job.quickest):
        start = rests.earliest(ready, length)
        while start + length <= job.deadline:
            if _free(busy, feet, start, start + length):
                return Scheduled(job, start, length)
            ends = [end for begin, end in busy if end > start and begin < start + length]
            start = rests.earliest(min(ends), length)
    return None


def _free(busy: Sequence[tuple[int, int]], feet: int, start: int, end: int) -> bool:
    """Whether one foot is free all the time."""
    near = [one for one in busy if one[1] > start and one[0] < end]
    if len(near) < feet:
        return True
    turns = [start, *(begin for begin, _ in near if begin > start)]
    return all(sum(begin <= t < until for begin, until in near) < feet for t in turns)


# -- where there are many ways -----------------------------------------------------------------------------------------


def _ways(part: Part, label: Label, i: int) -> Sequence[Way]:
    ways = part.ways[i]
    return ways if len(ways) * len(part.drums) <= TRIED else [*_nearest(part, label, i)]


def _nearest(part: Part, label: Label, i: int) -> Iterator[Way]:
    """Each pitch on the drum that stands nearest; the same without retunings; and all left out."""
    event = part.events[i]
    count = len(event.pitches)
    takers = [part.takers(i, k) for k in range(count)]
    for furthest in (None, 0):
        drums: list[int | None] = [None] * count
        sticks, slides = part.settings.sticks, part.settings.feet
        for k in sorted(range(count), key=lambda k: len(takers[k])):
            moves = event.pitches[k] != event.arrives(k)
            if not sticks or (moves and not slides):
                continue
            away = {d: _away(part, label, d, event.pitches[k], event.t_us) for d in takers[k] if d not in drums}
            near = [(far, d) for d, far in away.items() if far is not None and (furthest is None or far <= furthest)]
            if near:
                drums[k] = min(near)[1]
                sticks -= 1
                slides -= moves
        yield part.way(event, tuple(drums))
    yield part.way(event, (None,) * count)


def _away(part: Part, label: Label, d: int, pitch: int, t_us: int) -> int | None:
    """How many semitones a drum stands from a pitch; None where there is no time to tune it."""
    at, free = label.stands[d], label.since[d]
    if at in (FREE, pitch):
        return 0 if free >> 1 <= t_us or not free & 1 else None
    short = part.quickest[abs(at - pitch)]
    return abs(at - pitch) if max(free >> 1, label.from_us) + short <= t_us else None
