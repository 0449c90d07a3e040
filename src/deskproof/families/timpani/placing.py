"""When each retuning is made: in the middle of the longest rest that its drum has for it, as far as the feet allow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from deskproof.families.timpani.feet import Rests, Scheduled, groups

__all__ = ["placed", "spare"]


def placed(rows: Sequence[Scheduled], feet: int, allowed: Rests, quiet: Rests) -> list[Scheduled]:
    """The same jobs in the same lengths, each in the middle of the longest rest (``quiet``) between its times.

    Where no rest is long enough, in the middle of the longest stretch that is ``allowed``. Where the feet do not allow
    that for all of a group, as many as go are placed so, the last first, and where nothing goes they stay.
    """
    by_job = {row.job: row for row in rows}
    found: list[Scheduled] = []
    for group in groups(by_job):
        now = [by_job[job] for job in group]
        wished = [_first(_wishes(row, allowed, quiet), row) for row in now]
        if _go(wished, feet):
            found.extend(wished)
            continue
        for k in sorted(range(len(now)), key=lambda k: -now[k].job.deadline):
            for wish in _wishes(now[k], allowed, quiet):
                tried = [*now[:k], wish, *now[k + 1 :]]
                if _go(tried, feet):
                    now = tried
                    break
        found.extend(now)
    return found


def spare(row: Scheduled, rows: Sequence[Scheduled], feet: int, allowed: Rests) -> int:
    """How much longer a retuning could take with all others where they are."""
    job = row.job
    begin, end = job.release, job.deadline
    for free, until in allowed.within(begin, end):
        if free <= row.start and row.start + row.length <= until:
            begin, end = free, until
    others = [one for one in rows if one.job is not job and one.start < end and one.start + one.length > begin]
    for left, right in _full(others, feet):
        if right <= row.start:
            begin = max(begin, right)
        elif left >= row.start + row.length:
            end = min(end, left)
    return end - begin - row.length


def _first(wishes: Iterator[Scheduled], row: Scheduled) -> Scheduled:
    return next(wishes, row)


def _wishes(row: Scheduled, allowed: Rests, quiet: Rests) -> Iterator[Scheduled]:
    """Where it could be, best first: in rests, the longest and of equal ones the last first."""
    job = row.job
    if job.fixed:
        return
    for rests in (quiet, allowed):
        for begin, end in sorted(rests.within(job.release, job.deadline), key=lambda s: (s[0] - s[1], -s[0])):
            if end - begin >= row.length:
                yield row._replace(start=begin + (end - begin - row.length) // 2)


def _full(rows: Sequence[Scheduled], feet: int) -> list[tuple[int, int]]:
    """The stretches of time in which every foot is busy."""
    turns = sorted({t for row in rows for t in (row.start, row.start + row.length)})
    return [
        (left, right)
        for left, right in pairwise(turns)
        if sum(row.start <= left and right <= row.start + row.length for row in rows) >= feet
    ]


def _go(rows: Sequence[Scheduled], feet: int) -> bool:
    return not _full(rows, feet + 1)
