"""The best rotas of a few stretches, found by trying every way of giving them to players.

Nothing here imports the package under test. A stretch is ``(line, instrument, from, to)``, times in whole numbers; a
player is ``(plays, lines)``, two sets of names. ``quick`` and ``wish`` map pairs of different instruments to times.

What is counted
    The entries of `COUNTED`, compared left to right. The stretches of a player are taken by start, then end, then line
    in the order of the first stretch given, then instrument; each is compared with the one before it that ends last
    (of several, the latest). Overlapping, or a gap shorter than the quickest change, is a clash, and what is missing
    is its shortfall.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

COUNTED = (
    "clashes", "short", "split", "away", "players", "changes", "hurried", "hurried by", "instruments", "handed",
)  # fmt: skip

Stretch = tuple[str, str, int, int]
Player = tuple[frozenset[str], frozenset[str]]
Times = Mapping[tuple[str, str], int]
Vector = tuple[int, ...]
Plan = tuple[int, ...]


def in_order(stretches: Sequence[Stretch]) -> list[Stretch]:
    """By start, end, line, instrument."""
    lines = list(dict.fromkeys(line for line, *_ in stretches))
    return sorted(stretches, key=lambda s: (s[2], s[3], lines.index(s[0]), s[1]))


def meetings(own: Sequence[Stretch]) -> Iterator[tuple[Stretch, Stretch]]:
    """Every stretch after the first, with the one before it that ends last."""
    for n in range(1, len(own)):
        latest = max(s[3] for s in own[:n])
        yield next(s for s in reversed(own[:n]) if s[3] == latest), own[n]


def duty(own: Sequence[Stretch], quick: Times, wish: Times) -> tuple[int, int, int, int, int]:
    """Clashes, shortfall, changes, hurried ones and what they lack, for one player."""
    clashes = short = changes = hurried = lack = 0
    for a, b in meetings(own):
        free = b[2] - a[3]
        need = 0 if a[1] == b[1] else quick[a[1], b[1]]
        if free < need:
            clashes += 1
            short += need - free
        if a[1] != b[1]:
            changes += 1
            if free < wish[a[1], b[1]]:
                hurried += 1
                lack += wish[a[1], b[1]] - free
    return clashes, short, changes, hurried, lack


def vector(
    stretches: Sequence[Stretch],
    plan: Plan,
    quick: Times,
    wish: Times,
    players: Sequence[Player] | None,
    known: dict[tuple[int, ...], tuple[int, int, int, int, int]],
) -> Vector:
    """The price of a plan; ``stretches`` in order, ``known`` the duties priced before."""
    clashes = short = split = away = changes = hurried = lack = instruments = handed = 0
    for p in set(plan):
        which = tuple(n for n, q in enumerate(plan) if q == p)
        own = [stretches[n] for n in which]
        if which not in known:
            known[which] = duty(own, quick, wish)
        its = known[which]
        clashes, short, changes = clashes + its[0], short + its[1], changes + its[2]
        hurried, lack = hurried + its[3], lack + its[4]
        instruments += len({s[1] for s in own})
    for line in {s[0] for s in stretches}:
        row = [q for s, q in zip(stretches, plan, strict=True) if s[0] == line]
        owners = {p for p, (_, lines) in enumerate(players or ()) if line in lines}
        split += len(set(row)) - 1
        if owners:
            away += len(set(row) - owners)
            handed += sum(q not in owners for q in row)
        else:
            handed += sum(row[n] != row[n - 1] for n in range(1, len(row)))
    return clashes, short, split, away, len(set(plan)), changes, hurried, lack, instruments, handed


def named_plans(stretches: Sequence[Stretch], players: Sequence[Player]) -> list[Plan]:
    """Every way of giving the stretches to players who have the instrument.

    Players who are alike, as far as these stretches go, are not told apart.
    """
    plans: list[Plan] = [()]
    for s in stretches:
        plans = [(*plan, p) for plan in plans for p, (plays, _) in enumerate(players) if s[1] in plays]
    lines, wanted = {s[0] for s in stretches}, {s[1] for s in stretches}
    found: dict[object, Plan] = {}
    for plan in plans:
        duties = []
        for p in sorted(set(plan)):
            plays, owned = players[p]
            who = p if owned & lines else -1
            duties.append((sorted(plays & wanted), who, [n for n, q in enumerate(plan) if q == p]))
        found.setdefault(repr(sorted(duties)), plan)
    return list(found.values())


def free_plans(
    stretches: Sequence[Stretch], quick: Times, friends: Mapping[str, frozenset[str]] | None
) -> Iterator[Plan]:
    """Every way of dividing the stretches among players who are all alike, without a clash.

    In order of time: a duty that clashes is not mended by what comes after it, and is given up at once.
    """

    def further(plan: Plan, duties: list[list[Stretch]]) -> Iterator[Plan]:
        if len(plan) == len(stretches):
            yield plan
            return
        new = stretches[len(plan)]
        for p in range(len(duties) + 1):
            own = [*(duties[p] if p < len(duties) else []), new]
            if friends is not None and any(
                a[1] != new[1] and new[1] not in friends.get(a[1], ()) and a[1] not in friends.get(new[1], ())
                for a in own
            ):
                continue
            if duty(own, quick, quick)[0]:
                continue
            yield from further((*plan, p), [*duties[:p], own, *duties[p + 1 :]])

    return further((), [])


def best(
    given: Sequence[Stretch],
    quick: Times,
    wish: Times,
    players: Sequence[Player] | None = None,
    friends: Mapping[str, frozenset[str]] | None = None,
) -> tuple[list[Vector], int]:
    """The prices of all plans, cheapest first, and the fewest players of any plan without a clash (0: there is none).

    If some plan leaves every line whole and clashes nowhere, only such plans are priced.
    """
    stretches = in_order(given)
    plans = free_plans(stretches, quick, friends) if players is None else named_plans(stretches, players)
    known: dict[tuple[int, ...], tuple[int, int, int, int, int]] = {}
    prices = sorted(vector(stretches, plan, quick, wish, players, known) for plan in plans)
    fewest = min((price[4] for price in prices if not price[0]), default=0)
    whole = [price for price in prices if not price[0] and not price[2]]
    return whole or prices, fewest
