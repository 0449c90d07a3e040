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
    """One change that has to be made: its letter, the positions, and the window in microseconds."""

    letter: str
    before: int
    after: int
    release: int
    deadline: int


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
    top = min(job.deadline - job.release for row in line.rows for job in row)
    low, high = 0, max(0, top - (quickest if quick else comfortable)) + 1
    best = line.schedule(comfortable, quickest, quick)
    probe = high - 1
    while low + 1 < high:
        found = line.schedule(comfortable + probe, quickest + probe, quick)
        if found is None:
            high = probe
        else:
            low, best = probe, found
        probe = (low + high) // 2
    assert best is not None
    if not quick:
        faster = (comfortable + low) / comfortable
    else:
        faster = _fastest(line, comfortable, quickest, quick)
    return [(job, start, length - low) for job, start, length in best], faster


MILLIONTH = 1_000_000


def _fastest(line: _Line, comfortable: int, quickest: int, quick: int) -> float:
    """By what factor, to a millionth, the times may grow so that the jobs still go with so many quick ones."""
    low, high = MILLIONTH, 2 * MILLIONTH

    def goes(factor: int) -> bool:
        return (
            line.schedule(-(-comfortable * factor // MILLIONTH), -(-quickest * factor // MILLIONTH), quick) is not None
        )

    while goes(high):
        low, high = high, 2 * high
    while low + 1 < high:
        middle = (low + high) // 2
        low, high = (middle, high) if goes(middle) else (low, middle)
    return low / MILLIONTH


def _settled(rows: list[tuple[Job, int, int]], faster: float, beats: Sequence[int]) -> list[Placed]:
    """Within the room that each has, on the last beat that leaves the change's own time again before the use."""
    ends = [min(rows[k][0].deadline, rows[k + 1][1]) for k in range(len(rows) - 1)] + [rows[-1][0].deadline]
    starts = []
    for (_, begin, length), end in zip(rows, ends, strict=True):
        starts.append(_on_beat(begin, end, length, beats))
    found = []
    for k, (job, _, length) in enumerate(rows):
        left = max(job.release, starts[k - 1] + rows[k - 1][2]) if k else job.release
        right = min(job.deadline, starts[k + 1]) if k + 1 < len(rows) else job.deadline
        found.append(Placed(job, starts[k], length, right - left - length, faster))
    return found


def _on_beat(begin: int, end: int, length: int, beats: Sequence[int]) -> int:
    for latest in (end - 2 * length, end - length):
        if latest < begin:
            continue
        at = bisect_right(beats, latest) - 1
        if at >= 0 and beats[at] >= begin:
            return beats[at]
    return max(begin, end - 2 * length)
