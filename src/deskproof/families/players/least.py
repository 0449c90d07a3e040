"""The fewest players that any plan without a clash can do with: a minimum path cover.

Stretches are points, an arrow leads from one to another that the same player can take next. Every player's duty is a
path, so the least number of paths that cover all points is a lower bound: points less the pairs of a maximum matching
(Fulkerson 1956; Hopcroft and Karp 1973). With change times closed under "by way of" the relation is transitive, the
least number of paths equals the most stretches of which no two can be one player's (Dilworth 1950), and these all lie
near one moment: of a long piece, windows of time are enough.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from deskproof.families.players.terms import Terms

WHOLE = 120  # stretches that are matched as a whole, with the change times as given
MOST_WINDOWS = 200  # windows that are matched; every one gives a bound, so leaving some out is safe


def at_least(terms: Terms) -> int:
    """Fewer players than this cannot play everything without a clash."""
    return sum(_of(terms, part) for part in _apart(terms))


def _apart(terms: Terms) -> list[list[int]]:
    """The stretches by instruments that no chain of doublings joins; they never share a player."""
    count = len(terms.instrument_names)
    group = list(range(count))
    for a in range(count):
        for b in range(a):
            if _combine(terms, a, b):
                old, new = group[a], group[b]
                group = [new if g == old else g for g in group]
    found: dict[int, list[int]] = {}
    for i, a in enumerate(terms.instrument):
        found.setdefault(group[a], []).append(i)
    return list(found.values())


def _combine(terms: Terms, a: int, b: int) -> bool:
    if terms.players is None:
        return bool(terms.friends[a] >> b & 1)
    return any(mask >> a & 1 and mask >> b & 1 for mask in terms.plays)


def _of(terms: Terms, part: list[int]) -> int:
    best, windows = _windows(terms, part)
    if len(part) <= WHOLE:
        return _paths(part, _follows(terms, closed=False), best)
    follows = _follows(terms, closed=True)
    for window in sorted(windows, key=lambda w: (-len(w), w))[:MOST_WINDOWS]:
        if len(window) > best:
            best = max(best, _paths(window, follows, best))
    return best


def _follows(terms: Terms, closed: bool) -> Callable[[int, int], bool]:
    """Whether one player can take the second stretch after the first."""
    quick = terms.closed_quick if closed else terms.quick
    pairs = range(len(terms.instrument_names))
    combine = [[_combine(terms, a, b) if a != b else True for b in pairs] for a in pairs]

    def follows(i: int, j: int) -> bool:
        a, b = terms.instrument[i], terms.instrument[j]
        return combine[a][b] and terms.starts[j] - terms.ends[i] >= quick[a][b]

    return follows


def _windows(terms: Terms, part: list[int]) -> tuple[int, list[list[int]]]:
    """The most that sound at once, and the largest sets of which each stretch may bar every other."""
    most, grown = 1, False
    active: list[int] = []
    windows: list[list[int]] = []
    for j in part:
        start = terms.starts[j]
        kept = [i for i in active if terms.ends[i] > start - terms.horizon or terms.starts[i] == start]
        if len(kept) < len(active) and grown:
            windows.append(active)
        active = [*kept, j]
        grown = True
        if len(kept) >= most:
            most = max(most, 1 + sum(terms.ends[i] > start for i in kept))
    return most, [*windows, active]


def _paths(points: Sequence[int], follows: Callable[[int, int], bool], enough: int) -> int:
    """The least number of paths that cover all points; ``enough``, below which it cannot be, where it is no more.

    A plain way of making chains often shows that already; else a maximum matching tells.
    """
    if _chains(points, follows) <= enough:
        return enough
    import networkx as nx  # type: ignore[import-untyped,unused-ignore]  # not loaded before it is wanted

    graph = nx.Graph()
    before = [("before", i) for i in points]
    graph.add_nodes_from(before)
    graph.add_nodes_from(("after", i) for i in points)
    graph.add_edges_from(
        (("before", i), ("after", j)) for n, i in enumerate(points) for j in points[n + 1 :] if follows(i, j)
    )
    matching = nx.bipartite.hopcroft_karp_matching(graph, top_nodes=before)
    return max(enough, len(points) - len(matching) // 2)


def _chains(points: Sequence[int], follows: Callable[[int, int], bool]) -> int:
    """As many chains as a plain way of making them needs; never fewer than the least."""
    lasts: list[int] = []
    for j in points:
        at = next((k for k in range(len(lasts) - 1, -1, -1) if follows(lasts[k], j)), None)
        if at is not None:
            lasts.pop(at)
        lasts.append(j)
    return len(lasts)
