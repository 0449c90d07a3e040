"""The changes put in time: given the strings, when each foot moves which pedal.

Every change has a window, from the end of the last hold of its letter to the onset that needs it. A foot makes one
change at a time. Exact: all orders that matter are tried, with as few quick changes as can be; then the least spare
time is made as large as it can be, group by group of changes that share time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple


class Job(NamedTuple):
    """One change that has to be made: its letter, the positions, and the window in microseconds.

    ``wanted``: the written end of notes that are let go for it, None where none is; then it waits as long as it can.
    ``quiet``: behind the release, the times at which strings of its letter fall silent, in order.
    """

    letter: str
    before: int
    after: int
    release: int
    deadline: int
    wanted: int | None = None
    quiet: tuple[int, ...] = ()


class Placed(NamedTuple):
    """A change with its time; ``spare`` is how much longer it could take with the others where they are.

    ``faster`` is by what factor its group of changes could go faster with the same classes of time.
    """

    job: Job
    start: int
    length: int
    spare: int
    faster: float


def groups(jobs: Sequence[Job]) -> list[list[Job]]:
    """Jobs in order, parted where no window reaches across.

    >>> a, b, c = Job("D", 0, 1, 0, 9), Job("C", 0, 1, 5, 20), Job("D", 1, 0, 20, 30)
    >>> [[job.letter for job in group] for group in groups([a, b, c])]
    [['D', 'C'], ['D']]
    """
    found: list[list[Job]] = []
    reach = None
    for job in sorted(jobs, key=lambda j: (j.release, j.deadline)):
        if reach is None or job.release >= reach:
            found.append([])
            reach = job.deadline
        found[-1].append(job)
        reach = max(reach, job.deadline)
    return found


Done = tuple[tuple[int, ...], int]  # by letter, the jobs that are done; quick ones among them
Step = tuple[int, Done | None, int, int, int]  # the foot is free from; the state before; letter, start, length


class _Line:
    """The jobs of one group by letter: those of one letter follow each other."""

    def __init__(self, jobs: Sequence[Job]) -> None:
        self.letters = sorted({job.letter for job in jobs})
        self.rows = [
            sorted((job for job in jobs if job.letter == letter), key=lambda j: j.release) for letter in self.letters
        ]
        self.count = len(jobs)

    def schedule(self, comfortable: int, quickest: int, quick: int) -> list[tuple[Job, int, int]] | None:
        """All jobs with at most so many quick ones, as early as can be: (job, start, length); None if it cannot."""
        start = (0,) * len(self.rows)
        # by jobs done of each letter and quick ones among them: free from, the state before, letter, start, length
        levels: list[dict[Done, Step]] = [{(start, 0): (min(row[0].release for row in self.rows), None, -1, 0, 0)}]
        lengths = ((comfortable, 0), (quickest, 1)) if quick else ((comfortable, 0),)
        for _ in range(self.count):
            after: dict[Done, Step] = {}
            for key, step in levels[-1].items():
                free = step[0]
                done, spent = key
                todo = [(row[n] if n < len(row) else None) for row, n in zip(self.rows, done, strict=True)]
                latest = min(job.deadline for job in todo if job is not None)
                for k, job in enumerate(todo):
                    if job is None or job.release >= latest:
                        continue
                    begin = max(free, job.release)
                    for length, more in lengths:
                        end = begin + length
                        if spent + more > quick or end > job.deadline:
                            continue
                        others = [other for other in todo if other is not None and other is not job]
                        if any(max(end, other.release) + lengths[-1][0] > other.deadline for other in others):
                            continue
                        new = ((*done[:k], done[k] + 1, *done[k + 1 :]), spent + more)
                        old = after.get(new)
                        if old is None or end < old[0]:
                            after[new] = (end, key, k, begin, length)
            if not after:
                return None
            levels.append(after)
        state: Done | None = min(levels[-1], key=lambda k: (k[1], levels[-1][k][0]))
        found = []
        for level in reversed(levels[1:]):
            assert state is not None
            _, before, k, begin, length = level[state]
            assert before is not None
            found.append((self.rows[k][before[0][k]], begin, length))
            state = before
        return found[::-1]


def _least_quick(line: _Line, comfortable: int, quickest: int) -> int | None:
    for quick in range(line.count + 1):
        if line.schedule(comfortable, quickest, quick) is not None:
            return quick
        if quick == 0 and line.schedule(quickest, quickest, 0) is None:
            return None
    return None


def place(jobs: Sequence[Job], comfortable: int, quickest: int, beats: Sequence[int]) -> list[Placed] | None:
    """The jobs of one foot in time: fewest quick ones, then the largest least spare time, then on beats near the use.

    ``beats`` are times at which a change is easily read, in order. None if the foot cannot do them.
    """
    found: list[Placed] = []
    for group in groups(jobs):
        line = _Line(group)
        if line.count == 1:
            rows, faster = _alone(group[0], comfortable, quickest)
        else:
            rows, faster = _together(line, comfortable, quickest)
        if rows is None:
            return None
        found.extend(_settled(rows, faster, beats))
    return found


def _alone(job: Job, comfortable: int, quickest: int) -> tuple[list[tuple[Job, int, int]] | None, float]:
    room = job.deadline - job.release
    length = comfortable if room >= comfortable else quickest
    return ([(job, job.release, length)], room / length) if room >= length else (None, 0.0)


def _together(line: _Line, comfortable: int, quickest: int) -> tuple[list[tuple[Job, int, int]] | None, float]:
    quick = _least_quick(line, comfortable, quickest)
    if quick is None:
        return None, 0.0
    low, best = 0, line.schedule(comfortable, quickest, quick)
    assert best is not None
    while True:  # as far as this order of the jobs goes; then whether another goes further
        chains = _chains(best, comfortable + low)
        most = min((room - slow * comfortable - fast * quickest) // (slow + fast) for room, slow, fast in chains)
        further = line.schedule(comfortable + most + 1, quickest + most + 1, quick)
        if further is None:
            break
        low, best = most + 1, further
    if most > low:
        low, best = most, line.schedule(comfortable + most, quickest + most, quick)
        assert best is not None
    if not quick:
        faster = (comfortable + low) / comfortable
    else:
        faster = _fastest(line, comfortable, quickest, quick)
    return [(job, start, length - low) for job, start, length in best], faster


def _chains(rows: Sequence[tuple[Job, int, int]], slow_us: int) -> list[tuple[int, int, int]]:
    """For every run of jobs, one after the other: the time they have together, how many are slow and how many quick."""
    found = set()
    for i, (first, _, _) in enumerate(rows):
        slow = fast = 0
        for job, _, length in rows[i:]:
            if length == slow_us:
                slow += 1
            else:
                fast += 1
            found.add((job.deadline - first.release, slow, fast))
    return list(found)


MILLIONTH = 1_000_000


def _fastest(line: _Line, comfortable: int, quickest: int, quick: int) -> float:
    """By what factor, to a millionth, the times may grow so that the jobs still go with so many quick ones."""

    def longer(factor: int) -> tuple[int, int]:
        return -(-comfortable * factor // MILLIONTH), -(-quickest * factor // MILLIONTH)

    def longest(room: int, slow: int, fast: int) -> int:
        factor = room * MILLIONTH // (slow * comfortable + fast * quickest)
        while True:
            one, two = longer(factor)
            if slow * one + fast * two <= room:
                return factor
            factor -= 1

    factor, rows = MILLIONTH, line.schedule(comfortable, quickest, quick)
    while rows is not None:  # as in ``_together``
        factor = min(longest(*chain) for chain in _chains(rows, longer(factor)[0]))
        rows = line.schedule(*longer(factor + 1), quick)
        factor += rows is not None
    return factor / MILLIONTH


def _settled(rows: list[tuple[Job, int, int]], faster: float, beats: Sequence[int]) -> list[Placed]:
    """Within the room that each has, on the last beat that leaves the change's own time again before the use.

    A change for which a note is let go comes as late as it can, so that the note is heard the longer; one under
    ringing strings waits until as many as can be are silent.
    """
    rows = _waiting(rows)
    ends = [min(rows[k][0].deadline, rows[k + 1][1]) for k in range(len(rows) - 1)] + [rows[-1][0].deadline]
    starts = []
    for (job, begin, length), end in zip(rows, ends, strict=True):
        starts.append(begin if job.wanted is not None else _on_beat(begin, end, length, beats))
    found = []
    for k, (job, _, length) in enumerate(rows):
        release = job.release if job.wanted is None else starts[k]
        left = max(release, starts[k - 1] + rows[k - 1][2]) if k else release
        right = min(job.deadline, starts[k + 1]) if k + 1 < len(rows) else job.deadline
        found.append(Placed(job, starts[k], length, right - left - length, faster))
    return found


def _waiting(rows: list[tuple[Job, int, int]]) -> list[tuple[Job, int, int]]:
    """The rows, with those changes later that wait for a note or for silence, as far as the next one leaves room."""
    found = list(rows)
    for k in range(len(rows) - 1, -1, -1):
        job, start, length = rows[k]
        end = min(job.deadline, found[k + 1][1]) if k + 1 < len(rows) else job.deadline
        if job.wanted is not None:
            found[k] = (job, max(start, min(job.wanted, end - length)), length)
        elif job.quiet:
            found[k] = (job, max([start, *(t for t in job.quiet if t <= end - length)]), length)
    return found


def _on_beat(begin: int, end: int, length: int, beats: Sequence[int]) -> int:
    for latest in (end - 2 * length, end - length):
        if latest < begin:
            continue
        at = bisect_right(beats, latest) - 1
        if at >= 0 and beats[at] >= begin:
            return beats[at]
    return max(begin, end - 2 * length)
