"""What the rest of a part costs at least, whatever has gone before: stretches of it searched by themselves."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.timpani.search import Search

__all__ = ["by_events", "by_stretches"]


def by_events(search: Search) -> list[int]:
    """For each event what it and all behind it cost at least, each taken by itself; 0 behind the last."""
    rest = [0]
    for ways in reversed(search.part.ways):
        least = min(way.left_out * search.prices.left_out + way.off_best for way in ways)
        rest.append(rest[-1] + least)
    return rest[::-1]


def by_stretches(search: Search, rest: Sequence[int], length: int, labels: int) -> list[int]:
    """A higher bound where it can be had: so many events at a time, the drums tuned freely before them.

    A stretch that has not been finished with ``labels`` labels counts by its events only.
    """
    count = len(rest) - 1
    found = list(rest)
    above = 0  # by how much this bound is above the one by events
    for begin in range((count - 1) // length * length, -1, -length):
        end = min(begin + length, count)
        flat = [rest[i] - rest[end] for i in range(end + 1)]
        first = search.run(search.freely(), begin, end, flat, None, 4, labels)
        if first.best is not None:
            least = first.best.cost
            if least > flat[begin]:
                run = search.run(search.freely(), begin, end, flat, least, None, labels)
                least = run.best.cost if run.best is not None else least
                if not run.complete:
                    least = flat[begin]
            for i in range(begin + 1, end + 1):
                found[i] = rest[i] + above
            above += least - flat[begin]
            found[begin] = rest[begin] + above
    return found
