"""What the rest of a part costs at least, whatever has gone before: stretches of it searched by themselves."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.timpani.search import Prices, Search
from deskproof.families.timpani.ways import Part

__all__ = ["by_events", "by_stretches"]


def by_events(part: Part, prices: Prices) -> list[int]:
    """For each event what it and all behind it cost at least, each taken by itself; 0 behind the last."""
    rest = [0]
    for ways in reversed(part.ways):
        least = min(way.left_out * prices.left_out + way.off_best for way in ways)
        rest.append(rest[-1] + least)
    return rest[::-1]


def by_stretches(search: Search, rest: Sequence[int], length: int, labels: int) -> list[int]:
    """A higher bound where it can be had: so many events at a time, the drums tuned freely before them.

    ``rest`` is by events, or by stretches of which each of these holds so many whole ones. A stretch that has not been
    finished with ``labels`` labels counts as it did.
    """
    count = len(rest) - 1
    found = list(rest)
    above = 0  # by how much this bound is above the one given
    for begin in range((count - 1) // length * length, -1, -length):
        end = min(begin + length, count)
        for i in range(begin + 1, end):
            found[i] = rest[i] + above
        above += _least(search, begin, end, [rest[i] - rest[end] for i in range(begin, end + 1)], labels)
        found[begin] = rest[begin] + above
    return found


def _least(search: Search, begin: int, end: int, rest: Sequence[int], labels: int) -> int:
    """By how much a stretch by itself costs more than the bound says; 0 where that has not been found."""
    if search.work.over:
        return 0
    search.cut = False
    first = search.run(search.freely(), begin, end, rest, None, 4, labels)
    if first.best is None or first.best.cost == rest[0]:
        return 0
    run = search.run(search.freely(), begin, end, rest, first.best.cost, None, labels)
    if not run.complete or search.cut:
        return 0
    return (run.best or first.best).cost - rest[0]
