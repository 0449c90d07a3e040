"""When each retuning is made: in the middle of the longest rest that its drum has for it, as far as the feet allow."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable, Iterator, Sequence

from deskproof.families.timpani.feet import Rests, Scheduled, groups
from deskproof.families.timpani.work import Work

__all__ = ["placed", "spares"]


def placed(rows: Sequence[Scheduled], feet: int, allowed: Rests, quiet: Rests, work: Work) -> list[Scheduled]:
    """The same jobs in the same lengths, each in the middle of the longest rest (``quiet``) between its times.

    Where no rest is long enough, in the middle of the longest stretch that is ``allowed``. Where the feet do not allow
    that for all of a group, as many as go are placed so, the last first, and where nothing goes they stay. So do those
    that are left when the ``work`` is over; a step is a place or another move that is looked at.
    """
    by_job = {row.job: row for row in rows}
    found: list[Scheduled] = []
    for group in groups(by_job):
        now = [by_job[job] for job in group]
        wished = [_first(_wishes(row, allowed, quiet, work), row) for row in now]
        if not any(_full(wished, feet + 1)):
            found.extend(wished)
            continue
        moves = _Moves(now, feet, work)
        for k in sorted(range(len(now)), key=lambda k: -now[k].job.deadline):
            moves.remove(now[k])
            now[k] = _first((one for one in _wishes(now[k], allowed, quiet, work) if moves.leave(one)), now[k])
            moves.add(now[k])
        found.extend(now)
    return found


def spares(rows: Sequence[Scheduled], feet: int, allowed: Rests) -> list[int]:
    """How much longer each retuning could take with all others where they are."""
    full = [*_full(rows, feet)]
    lefts, rights = [left for left, _ in full], [right for _, right in full]
    found = []
    for row in rows:
        begin, end = allowed.around(row.start, row.job.release, row.job.deadline)
        before, behind = bisect_right(rights, row.start), bisect_left(lefts, row.start + row.length)
        begin = max([begin, *rights[max(0, before - 1) : before]])
        end = min([end, *lefts[behind : behind + 1]])
        found.append(end - begin - row.length)
    return found


def _first(wishes: Iterator[Scheduled], row: Scheduled) -> Scheduled:
    return next(wishes, row)


def _wishes(row: Scheduled, allowed: Rests, quiet: Rests, work: Work) -> Iterator[Scheduled]:
    """Where it could be, best first: in rests, the longest and of equal ones the last first."""
    job = row.job
    if job.fixed:
        return
    for rests in (quiet, allowed):
        if work.over:
            return
        places = sorted(rests.within(job.release, job.deadline), key=lambda s: (s[0] - s[1], -s[0]))
        work.spend(len(places))
        for begin, end in places:
            if end - begin >= row.length:
                yield row._replace(start=begin + (end - begin - row.length) // 2)


class _Moves:
    """Moves of the feet in order of time, never more at once than there are feet."""

    def __init__(self, rows: Iterable[Scheduled], feet: int, work: Work) -> None:
        self._rows = sorted((row.start, row.start + row.length) for row in rows)
        self._longest = max(end - start for start, end in self._rows)
        self._feet = feet
        self._work = work

    def remove(self, row: Scheduled) -> None:
        del self._rows[bisect_left(self._rows, (row.start, row.start + row.length))]

    def add(self, row: Scheduled) -> None:
        insort(self._rows, (row.start, row.start + row.length))

    def leave(self, row: Scheduled) -> bool:
        """Whether they leave a foot for another move."""
        start, end = row.start, row.start + row.length
        near = self._rows[bisect_left(self._rows, (start - self._longest,)) : bisect_left(self._rows, (end,))]
        if not self._work.spend(len(near)):
            return False
        over = [(max(a, start), min(b, end)) for a, b in near if b > start]
        return not any(_busy(over, self._feet))


def _full(rows: Iterable[Scheduled], feet: int) -> Iterator[tuple[int, int]]:
    """The stretches of time, in order, in which so many feet or more are busy, from turn to turn."""
    return _busy([(row.start, row.start + row.length) for row in rows], feet)


def _busy(moves: Sequence[tuple[int, int]], feet: int) -> Iterator[tuple[int, int]]:
    turns = sorted([*((start, 1) for start, _ in moves), *((end, -1) for _, end in moves)])
    count, before = 0, 0
    for at, step in turns:
        if count >= feet and before < at:
            yield before, at
        count += step
        before = at
