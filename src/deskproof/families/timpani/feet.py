"""Which retunings go together: several drums, few feet, and times at which nothing may move. No pitches here.

A retuning is a job with a release (the last note of its drum has ended) and a deadline (the next one begins). It is
done in one go, by any foot, in the comfortable or in the quickest time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from typing import NamedTuple

from deskproof.families.timpani.work import Work

__all__ = ["Job", "Rests", "Scheduled", "TooManyError", "groups", "improved", "least_quick"]

STATES = 50_000
"""So many states at most are looked at for one group of jobs."""


UNLIMITED = 1 << 60

STEPS = 5
"""So many steps of work is a state for each drum and for each pair of drums; and so many is a job."""


class TooManyError(Exception):
    """A group of jobs is too large to be settled exactly, or no work is left for it."""


class Job(NamedTuple):
    """One retuning of a drum, or a glissando on it, which is ``fixed``: it begins at its release and ends in time."""

    drum: int
    release: int
    deadline: int
    comfortable: int
    quickest: int
    fixed: bool = False


class Scheduled(NamedTuple):
    """A job with its beginning and its length."""

    job: Job
    start: int
    length: int

    @property
    def quick(self) -> bool:
        """Whether it takes the quickest time instead of the comfortable one."""
        return self.length < self.job.comfortable


class Rests:
    """When a drum may be tuned: always, or between the given stretches (beginning, end) only."""

    def __init__(self, busy: Iterable[tuple[int, int]] = ()) -> None:
        self._begins: list[int] = []
        self._ends: list[int] = []
        for begin, end in sorted(busy):
            if self._ends and begin <= self._ends[-1]:
                self._ends[-1] = max(self._ends[-1], end)
            else:
                self._begins.append(begin)
                self._ends.append(end)
        self._long: dict[int, list[int]] = {}

    def earliest(self, start: int, length: int) -> int:
        """The first time from ``start`` on at which so long a retuning can begin."""
        if not self._begins:
            return start
        at = bisect_right(self._ends, start)  # the first stretch that is not over
        if at == len(self._begins) or self._begins[at] >= start + length:
            return start
        return self._ends_before(length)[at]

    def _ends_before(self, length: int) -> list[int]:
        """For each stretch the end of the first, from it on, behind which there is so much time."""
        found = self._long.get(length)
        if found is None:
            found = self._long[length] = self._ends[-1:] * len(self._ends)
            for at in range(len(found) - 2, -1, -1):
                enough = self._begins[at + 1] - self._ends[at] >= length
                found[at] = self._ends[at] if enough else found[at + 1]
        return found

    def around(self, start: int, begin: int, end: int) -> tuple[int, int]:
        """The free stretch between two times in which ``start`` lies or which begins there."""
        at = bisect_right(self._ends, start)
        before, behind = self._ends[max(0, at - 1) : at], self._begins[at : at + 1]
        return max([begin, *before]), min([end, *behind])

    def within(self, begin: int, end: int) -> Iterator[tuple[int, int]]:
        """The free stretches between two times, in order."""
        at = bisect_right(self._ends, begin)
        while at < len(self._begins) and self._begins[at] < end:
            if self._begins[at] > begin:
                yield begin, self._begins[at]
            begin = max(begin, self._ends[at])
            at += 1
        if begin < end:
            yield begin, end


def groups(jobs: Iterable[Job]) -> list[list[Job]]:
    """The jobs in groups whose times do not touch those of another group, in order of time."""
    found: list[list[Job]] = []
    until = 0
    for job in sorted(jobs, key=lambda j: (j.release, j.deadline, j.drum)):
        if found and job.release < until:
            found[-1].append(job)
            until = max(until, job.deadline)
        else:
            found.append([job])
            until = job.deadline
    return found


def least_quick(jobs: Sequence[Job], feet: int, rests: Rests, work: Work | None = None) -> list[Scheduled] | None:
    """Schedule all jobs with as few quick ones as can be; None if they cannot be done.

    Jobs of one drum must follow each other: the release of one is not before the deadline of the one before.

    Exact. Of any schedule the jobs, taken in order of their beginnings, may each start as soon as a foot is free,
    and none is later for it; so it is enough to try orders. Jobs of one drum keep theirs, so a state is how many of
    each drum are done, how many were quick, and when each foot is free.

    Raises
    ------
    TooManyError
        If a group of jobs would need more than STATES states, or more than what is left of ``work``.
    """
    found: list[Scheduled] = []
    work = work if work is not None else Work(UNLIMITED)
    if not work.spend(STEPS * len(jobs)):
        raise TooManyError
    for group in groups(jobs):
        rows = _group(group, feet, rests, work)
        if rows is None:
            return None
        found.extend(rows)
    return found


def improved(rows: Sequence[Scheduled], feet: int, rests: Rests, work: Work) -> list[Scheduled]:
    """The same jobs with fewer quick ones, where that is found with a like share of the work for each group."""
    by_job = {row.job: row for row in rows}
    parts = groups(by_job)
    found: list[Scheduled] = []
    for group in parts:
        own = [by_job[job] for job in group]
        better: list[Scheduled] | None = None
        if any(row.quick for row in own):
            share = Work(work.allowed * len(group) // len(by_job))
            with suppress(TooManyError):
                better = _group(group, feet, rests, share)
            work.spend(share.done)
        found.extend(better or own)
    return found


def _alone(job: Job, rests: Rests) -> Scheduled | None:
    if job.fixed:
        return Scheduled(job, job.release, job.comfortable)
    for length in (job.comfortable, job.quickest):
        start = rests.earliest(job.release, length)
        if start + length <= job.deadline:
            return Scheduled(job, start, length)
    return None


def _group(group: Sequence[Job], feet: int, rests: Rests, work: Work) -> list[Scheduled] | None:
    alone = [_alone(job, rests) for job in group]
    singles = [row for row in alone if row is not None]
    if len(singles) < len(group):
        return None
    if len({job.drum for job in group}) <= feet:
        return singles  # a foot for every drum
    forced = sum(row.quick for row in singles)
    for quick in range(forced, len(group) + 1):
        rows = _ordered(group, feet, rests, quick, work)
        if rows is not None:
            return rows
        if quick == forced:
            quickest = [job._replace(comfortable=job.quickest) for job in group]
            if _ordered(quickest, feet, rests, 0, work) is None:
                return None
    return None


State = tuple[tuple[int, ...], int]
"""How many jobs of each drum are done, and how many of them were quick."""


def _ordered(group: Sequence[Job], feet: int, rests: Rests, most: int, work: Work) -> list[Scheduled] | None:
    """All jobs with at most so many quick ones; the first way found, the most urgent jobs tried first."""
    drums = sorted({job.drum for job in group})
    rows = [sorted((job for job in group if job.drum == one), key=lambda j: j.release) for one in drums]
    first = min(job.release for job in group)
    known: dict[State, list[tuple[int, ...]]] = {}
    path: list[Scheduled] = []
    start: tuple[State, tuple[int, ...]] = (((0,) * len(rows), 0), (first,) * feet)
    ahead = [iter([*_after(*start, rows, rests, most)])]
    seen, steps = 0, STEPS * len(drums) * (1 + len(drums))
    while ahead:
        step = next(ahead[-1], None)
        if step is None:
            ahead.pop()
            if path:
                path.pop()
            continue
        row, state, free = step
        if len(path) + 1 == len(group):
            return [*path, row]
        alike = known.setdefault(state, [])
        if not work.spend(len(alike)):
            raise TooManyError
        if not _new(alike, free):
            continue
        seen += 1
        if seen > STATES or not work.spend(steps):
            raise TooManyError
        path.append(row)
        ahead.append(iter([*_after(state, free, rows, rests, most)]))
    return None


def _after(
    state: State, free: tuple[int, ...], rows: Sequence[Sequence[Job]], rests: Rests, most: int
) -> Iterator[tuple[Scheduled, State, tuple[int, ...]]]:
    """What can be done next, most urgent first: the job in time, and how things are then.

    A job need not come next if before its beginning another can be done in comfort.
    """
    done, spent = state
    todo = [(row[n], k) for k, (row, n) in enumerate(zip(rows, done, strict=True)) if n < len(row)]
    comforts = []
    for job, _ in todo:
        comforts += [start + length for length, start in _starts(job, free, rests, False)]
    soonest = min(comforts, default=None)
    for job, k in sorted(todo, key=lambda pair: (pair[0].deadline, pair[0])):
        for length, start in _starts(job, free, rests, spent < most):
            if soonest is not None and start >= soonest:
                continue
            now = _taken(free, start, start + length)
            if all(_fits(other, now, rests) for other, _ in todo if other is not job):
                counted = (*done[:k], done[k] + 1, *done[k + 1 :])
                yield Scheduled(job, start, length), (counted, spent + (length < job.comfortable)), now


def _starts(job: Job, free: tuple[int, ...], rests: Rests, quick: bool) -> Iterator[tuple[int, int]]:
    """In which lengths the job can come next, and when it then begins."""
    ready = max(job.release, free[0])
    if job.fixed:
        if ready == job.release:
            yield job.comfortable, ready
        return
    for length in (job.comfortable, job.quickest) if quick and job.quickest < job.comfortable else (job.comfortable,):
        start = rests.earliest(ready, length)
        if start + length <= job.deadline:
            yield length, start


def _fits(job: Job, free: tuple[int, ...], rests: Rests) -> bool:
    ready = max(job.release, free[0])
    if job.fixed:
        return ready == job.release
    return rests.earliest(ready, job.quickest) + job.quickest <= job.deadline


def _taken(free: tuple[int, ...], start: int, end: int) -> tuple[int, ...]:
    """When the feet are free after a job: of those free at its start, the one that waited least has done it."""
    foot = max(k for k, at in enumerate(free) if at <= start)
    return tuple(sorted((*free[:foot], end, *free[foot + 1 :])))


def _new(known: list[tuple[int, ...]], free: tuple[int, ...]) -> bool:
    """Whether no known state has all its feet as early; if so it is kept."""
    if any(all(a <= b for a, b in zip(old, free, strict=True)) for old in known):
        return False
    known[:] = [old for old in known if not all(a <= b for a, b in zip(free, old, strict=True))]
    known.append(free)
    return True
