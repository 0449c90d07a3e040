"""Who plays what: the best rota of a group, and the next best.

A printed line stays with one player wherever a plan without a clash can do so; such plans are searched first
(`lines`). Only if there is none are lines divided, and only if that does not help either may players clash (`entries`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set

from deskproof.families.players.entries import stretch_by_stretch
from deskproof.families.players.least import at_least
from deskproof.families.players.lines import Found, Work, whole_lines
from deskproof.families.players.record import Change, Clash, Duty, Need, Player, Rota, RotaError, Stretch
from deskproof.families.players.steps import improved
from deskproof.families.players.terms import CLASH, Plan, Terms, unpacked

WORK = 150_000  # steps, each the giving of one stretch to one player; after them the best plan so far is taken
ALTERNATIVES = 3


def rota(
    stretches: Sequence[Stretch],
    need: Need,
    *,
    players: Sequence[Player] | None = None,
    doublings: Mapping[str, Set[str]] | None = None,
    work: int = WORK,
) -> Rota:
    """The best rota of one group.

    Parameters
    ----------
    stretches : sequence of Stretch
        What is to be played, in any order; that of the lines, as they first come, decides between equal plans.
    need : callable(str, str) -> (int, int)
        Quickest and wished time (us) for a change from one instrument to another.
    players : sequence of Player, optional
        Who is there. Without it there are as many as are needed, all alike: how many at least?
    doublings : mapping of str to set of str, optional
        Without named players: which instruments one player may combine, each pair in either order; an instrument
        that is not in it stands alone. Left out, everything may be combined.
    work : int
        How much may be spent, counted in steps of the search; then the best so far is taken and ``finished`` is False.

    Returns
    -------
    Rota
        The same for the same input, always: of equal plans the one that the search meets first.

    Raises
    ------
    RotaError
        For a stretch that ends before it begins, a negative time, two players of one name, or doublings besides
        players; all at once.

    Examples
    --------
    >>> part = [Stretch("Piano", "piano", 0, 40), Stretch("Celesta", "celesta", 50, 60)]
    >>> rota(part, lambda a, b: (5, 10)).players
    1
    >>> rota(part, lambda a, b: (15, 20)).players
    2
    >>> rota(part, lambda a, b: (15, 20), players=[Player("Clara", ("piano", "celesta"))]).clashes[0].short_us
    5
    """
    return ranked(stretches, need, players=players, doublings=doublings, work=work, most=1)[0]


def ranked(
    stretches: Sequence[Stretch],
    need: Need,
    *,
    players: Sequence[Player] | None = None,
    doublings: Mapping[str, Set[str]] | None = None,
    work: int = WORK,
    most: int = ALTERNATIVES,
) -> list[Rota]:
    """The best rota and the next best ones, which differ in who plays some stretch; at least one, at most ``most``.

    Where whole lines go without a clash, the alternatives are such too. Of an alternative, ``finished`` means that
    nothing but those before it is better. Parameters and errors are those of `rota`.
    """
    _refuse(stretches, players, doublings, work, most)
    playable, unplayed = _apart(stretches, players)
    terms = Terms(playable, need, players, doublings)
    floor = at_least(terms)
    if not playable:
        return [_rota(terms, (), unplayed, 0, True, True)]
    spend = Work(work)
    found, proven = (_anybody if players is None else _named)(terms, floor, most, spend)
    return [
        _rota(terms, plan, unplayed, floor, found.finished or (proven and not i), found.finished)
        for i, (_, plan) in enumerate(found.plans)
    ]


def _refuse(
    stretches: Sequence[Stretch],
    players: Sequence[Player] | None,
    doublings: Mapping[str, Set[str]] | None,
    work: int,
    most: int,
) -> None:
    wrong = [
        f"{s.line}, {s.instrument}: ends at {s.to_us} us, before it begins at {s.from_us} us"
        for s in stretches
        if s.to_us < s.from_us
    ]
    names = [p.name for p in players or ()]
    wrong += [
        f"two players are named {name!r}; names must differ" for name in dict.fromkeys(names) if names.count(name) > 1
    ]
    if players is not None and doublings is not None:
        wrong.append("doublings stand beside named players; what a player plays says it all")
    if work < 1 or most < 1:
        wrong.append(f"work is {work} and most is {most}; both must be 1 or more")
    if wrong:
        raise RotaError("; ".join(wrong) + ".")


def _apart(stretches: Sequence[Stretch], players: Sequence[Player] | None) -> tuple[list[Stretch], tuple[Stretch, ...]]:
    """The stretches that somebody plays the instrument of, and the others."""
    if players is None:
        return list(stretches), ()
    played = {name for p in players for name in p.plays}
    return [s for s in stretches if s.instrument in played], tuple(s for s in stretches if s.instrument not in played)


# -- as many players as are needed -------------------------------------------------------------------------------------


def _anybody(terms: Terms, floor: int, most: int, work: Work) -> tuple[Found, bool]:
    units: list[tuple[int, ...]] = []
    sure = True
    for row in terms.lines:
        pieces, least = _pieces(terms, row, work)
        units += pieces
        sure = sure and least
    found = whole_lines(terms, units, floor, most, work)
    players = unpacked(found.plans[0][0]).players
    if len(units) == len(terms.lines):
        return found, found.fewest or players <= floor
    found = stretch_by_stretch(terms, most, work, found.plans)
    return found, sure and terms.metric and unpacked(found.plans[0][0]).players <= floor


def _pieces(terms: Terms, row: tuple[int, ...], work: Work) -> tuple[list[tuple[int, ...]], bool]:
    """A line, or what it must be divided into because one player cannot have all of it; and whether it is proven."""
    had = 0
    for i in row:
        had |= 1 << terms.instrument[i]
    clashes = any(
        terms.step(terms.instrument[a], terms.ends[a], terms.instrument[b], terms.starts[b]) >= CLASH
        for a, b in terms.pairs(row)
    )
    if not clashes and terms.may_all(0, had):
        return [row], True
    alone = terms.part(row)
    found = stretch_by_stretch(alone, 1, Work(work.left // len(terms.lines)))
    duties = alone.of_player(found.plans[0][1])
    return [tuple(row[i] for i in own) for own in duties.values()], found.finished


# -- players with names ------------------------------------------------------------------------------------------------


def _named(terms: Terms, floor: int, most: int, work: Work) -> tuple[Found, bool]:
    found = whole_lines(terms, terms.lines, floor, most, work)
    if found.plans:
        return found, found.fewest
    share = Work(work.left // 4)
    spent = share.left
    known = improved(terms, [_by_the_page(terms)], share)
    work.left -= spent - share.left
    found = stretch_by_stretch(terms, most, work, list(dict.fromkeys(known)))
    return found, False


def _by_the_page(terms: Terms) -> Plan:
    """Every stretch to the line's owner, or else to the first player who plays the instrument."""
    plan = []
    for line, instrument in zip(terms.line, terms.instrument, strict=True):
        able = [p for p, plays in enumerate(terms.plays) if plays >> instrument & 1]
        plan.append(next((p for p in able if terms.owners[line] >> p & 1), able[0]))
    return tuple(plan)


# -- the record --------------------------------------------------------------------------------------------------------


def _rota(terms: Terms, plan: Plan, unplayed: tuple[Stretch, ...], floor: int, proven: bool, finished: bool) -> Rota:
    duties = terms.of_player(plan)
    if terms.players is None:
        order = sorted(duties, key=lambda p: min((terms.line[i], i) for i in duties[p]))
        names = {p: str(n) for n, p in enumerate(order, 1)}
    else:
        order = sorted(duties)
        names = {p: terms.players[p].name for p in order}
    found = []
    clashes = [(s.from_us, Clash((), (s,), s.to_us - s.from_us)) for s in unplayed]
    for p in order:
        changes = []
        for i, j in terms.pairs(duties[p]):
            a, b = terms.stretches[i], terms.stretches[j]
            x, y = terms.instrument[i], terms.instrument[j]
            free_us = b.from_us - a.to_us
            if x != y:
                changes.append(Change(a, b, free_us, terms.quick[x][y], terms.wish[x][y]))
            if free_us < terms.quick[x][y]:
                clashes.append((b.from_us, Clash((names[p],), (a, b), terms.quick[x][y] - free_us)))
        found.append(Duty(names[p], tuple(terms.stretches[i] for i in duties[p]), tuple(changes)))
    clashes.sort(key=lambda one: (one[0], one[1]))
    objective = unpacked(terms.price(plan))
    objective = objective._replace(
        clashes=objective.clashes + len(unplayed),
        short_us=objective.short_us + sum(s.to_us - s.from_us for s in unplayed),
    )
    return Rota(tuple(found), tuple(clash for _, clash in clashes), objective, floor, proven, finished)
