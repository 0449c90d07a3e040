"""The least a timpani part costs, found by trying everything. For short parts; knows only drums, feet and times.

Nothing here imports the package under test. The part is a list of events
``{"t_us", "hold_us", "pitches", "to"}`` in order of time; ``to`` is empty or says where each pitch slides to. The room
is ``{"drums": [(low, high)], "tone_us", "semitone_us", "quick_tone_us", "quick_semitone_us", "feet", "sticks",
"hands_free", "pedals", "initial": [pitch or None], "start_us"}``. All times are whole microseconds.

What is tried
    Every drum for every pitch and leaving it out; every order of the retunings, every foot for each and both lengths.
    A branch is cut only when what it costs already, compared left to right, is not less than the best found, or when
    the retunings it asks for so far cannot be done.

What is counted, compared left to right
    unplanned
        Pitches left out.
    quick
        Retunings in the quickest time. Every other takes the comfortable time; nothing lies between.
    retunings
        A drum that is struck at one pitch and next at another is tuned once between, straight to it.
    semitones
        The sum of the distances.

When a retuning goes
    After the end of every hold of its drum so far and by the next stroke on it; touching is allowed. At no time are
    more drums tuned or sliding than there are feet. Where the hands are not free, it does not overlap (touching is
    allowed) any event of which some drum could take some pitch, whether it is left out or not; a slide is such an
    event itself, and goes all the same.

Strokes
    A drum may be struck at its pitch while an earlier note of it is held, but not while it slides; and a slide does not
    begin while a note of its drum is held. Two pitches of one event need two drums; so many at most are struck as there
    are sticks, and slide as there are feet. A slide needs pedals and some time.

The beginning
    A drum without an initial pitch stands where it is first struck, which costs nothing. With one it can be tuned from
    ``start_us`` on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

Cost = tuple[int, int, int, int]
Job = tuple[int, int, int, int]  # from, until, comfortable length, quickest length
FIXED = -1  # instead of a quickest length: a slide, which takes all its time


def least(events: Sequence[dict[str, Any]], room: dict[str, Any]) -> Cost:
    """Unplanned pitches, quick retunings, retunings and semitones of the best plan."""
    return _Trial(events, room).best


class _Trial:
    def __init__(self, events: Sequence[dict[str, Any]], room: dict[str, Any]) -> None:
        self.events = events
        self.room = room
        self.best: Cost = (sum(len(e["pitches"]) for e in events) + 1, 0, 0, 0)
        self.known: dict[tuple[Job, ...], int | None] = {}
        self.busy = []
        if not room["hands_free"]:
            self.busy = sorted(
                (e["t_us"], e["t_us"] + e["hold_us"]) for e in events if any(self.takers(e, k) for k in _range(e))
            )
        count = len(room["drums"])
        self.on(0, list(room["initial"]), [room["start_us"]] * count, [False] * count, [], (0, 0, 0, 0))

    def takers(self, event: dict[str, Any], k: int) -> list[int]:
        start = event["pitches"][k]
        end = event["to"][k] if event["to"] else start
        if start != end and not (self.room["pedals"] and event["hold_us"] > 0):
            return []
        return [
            d for d, (low, high) in enumerate(self.room["drums"]) if low <= min(start, end) <= max(start, end) <= high
        ]

    def on(
        self, i: int, stands: list[int | None], free: list[int], slid: list[bool], jobs: list[Job], cost: Cost
    ) -> None:
        quick = self.fewest_quick(tuple(sorted(jobs)))
        if quick is None or (cost[0], quick, *cost[2:]) >= self.best:
            return  # what comes after only adds
        if i == len(self.events):
            self.best = (cost[0], quick, *cost[2:])
            return
        event = self.events[i]
        for taken in self.choices(event):
            self.take(i, event, taken, (stands[:], free[:], slid[:], jobs[:]), cost)

    def choices(self, event: dict[str, Any], taken: tuple[int | None, ...] = ()) -> Iterator[tuple[int | None, ...]]:
        k = len(taken)
        if k == len(event["pitches"]):
            slides = sum(d is not None and bool(event["to"]) and event["to"][m] != event["pitches"][m]
                         for m, d in enumerate(taken))  # fmt: skip
            if slides <= self.room["feet"] and sum(d is not None for d in taken) <= self.room["sticks"]:
                yield taken
            return
        for d in self.takers(event, k):
            if d not in taken:
                yield from self.choices(event, (*taken, d))
        yield from self.choices(event, (*taken, None))

    def take(
        self,
        i: int,
        event: dict[str, Any],
        taken: tuple[int | None, ...],
        state: tuple[list[int | None], list[int], list[bool], list[Job]],
        cost: Cost,
    ) -> None:
        stands, free, slid, jobs = state
        left, _, count, far = cost
        now = event["t_us"]
        end = now + event["hold_us"]
        for k, d in enumerate(taken):
            if d is None:
                left += 1
                continue
            pitch = event["pitches"][k]
            to = event["to"][k] if event["to"] else pitch
            at = stands[d]
            if at is not None and at != pitch:
                distance = abs(at - pitch)
                long = self.room["tone_us"] + (distance - 2) * self.room["semitone_us"]
                short = self.room["quick_tone_us"] + (distance - 2) * self.room["quick_semitone_us"]
                count, far = count + 1, far + distance
                jobs.append((free[d], now, long, short))
            elif free[d] > now and (slid[d] or to != pitch):
                return
            if to != pitch:
                jobs.append((now, end, end - now, FIXED))
            stands[d] = to
            if end >= free[d]:
                slid[d] = to != pitch
            free[d] = max(free[d], end)
        self.on(i + 1, stands, free, slid, jobs, (left, 0, count, far))

    def earliest(self, start: int, length: int) -> int:
        for begin, end in self.busy:
            if begin < start + length and start < end:
                start = end
        return start

    def fewest_quick(self, jobs: tuple[Job, ...]) -> int | None:
        """The fewest quick ones of so many retunings and slides; None if they cannot be done."""
        if jobs not in self.known:
            self.failed: set[tuple[tuple[Job, ...], tuple[int, ...], int]] = set()
            feet = (min([begin for begin, *_ in jobs], default=0),) * self.room["feet"]
            possible = self.go(jobs, feet, len(jobs))
            counts = range(len(jobs) + 1) if possible else ()
            self.known[jobs] = next((quick for quick in counts if self.go(jobs, feet, quick)), None)
        return self.known[jobs]

    def go(self, jobs: tuple[Job, ...], feet: tuple[int, ...], quick: int) -> bool:
        """Whether all jobs can be done from when the feet are free, with at most so many quick ones."""
        if not jobs:
            return True
        if (jobs, feet, quick) in self.failed:
            return False
        for begin, until, long, short in jobs:
            if max(begin, min(feet)) + (long if short == FIXED else short) > until:
                return False  # too late for it whatever is done first
        for j, (begin, until, long, short) in enumerate(jobs):
            for f, free in enumerate(feet):
                if free in feet[:f]:
                    continue
                for length in (long, short) if short != FIXED and quick else (long,):
                    at = max(begin, free)
                    if short == FIXED:
                        if at > begin:
                            continue
                    else:
                        at = self.earliest(at, length)
                    if at + length > until:
                        continue
                    rest = jobs[:j] + jobs[j + 1 :]
                    later = tuple(sorted((*feet[:f], at + length, *feet[f + 1 :])))
                    if self.go(rest, later, quick - (length != long)):
                        return True
        self.failed.add((jobs, feet, quick))
        return False


def _range(event: dict[str, Any]) -> range:
    return range(len(event["pitches"]))
