"""Whole lines given to players: an exact branch and bound over plans without a clash.

Adding a line to a player never makes the duty cheaper once change times are closed under "by way of": what is missing
between two stretches is then also missing somewhere when another comes between. So the price of the lines given so far
is a bound, with the least that one line still to be given must add. The line with the fewest players left comes next.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from deskproof.families.players.terms import (
    AWAY,
    CHANGE,
    HANDED,
    HURRIED,
    HURRIED_US,
    INSTRUMENT,
    PLAYER,
    Plan,
    Terms,
    bits,
    unpacked,
)

WEIGHT = 20  # work that one duty priced counts for, in stretches given to one player
PATIENCE = 500_000  # steps of one search, however little work they are; then what is found counts


@dataclass(slots=True)
class Work:
    """What may still be spent on a search; a count, so that every run is the same."""

    left: int


@dataclass(frozen=True, slots=True)
class Found:
    """The best plans, cheapest first, and whether no better ones can be.

    ``fewest`` tells whether none can be that is better in what comes before the changes of instrument.
    """

    plans: tuple[tuple[int, Plan], ...]
    finished: bool
    fewest: bool = False


class _SpentError(Exception):
    pass


def whole_lines(terms: Terms, units: Sequence[Sequence[int]], floor: int, most: int, work: Work) -> Found:
    """The best plans without a clash that leave every unit, usually a printed line, with one player.

    ``floor`` is a number of players that no such plan is below. Half of the work at most goes to the fewest players
    (and, of players with names, the fewest lines away from their owners), the rest to what else a plan is judged by.
    Where there is no limit to the players, a plan is found however little work is given.
    """
    if terms.players is None:
        return _anybody(_Search(_Units(terms, units), most), floor, work)
    if floor > len(terms.players):
        return Found((), True, True)
    lines = _Units(terms, units)
    rough = _Search(lines, 1, rough=True)
    share = Work(work.left // 2)
    spent = share.left
    fewest = rough.run(len(terms.players), floor, share)
    work.left -= spent - share.left
    if fewest and not rough.pool:
        return Found((), True, True)
    search = _Search(lines, most, known=rough.plans())
    finished = search.run(len(terms.players), floor, work)
    plans = search.plans()
    if fewest:
        best, least = unpacked(plans[0][0]), unpacked(rough.plans()[0][0])
        fewest = (best.away, best.players) == (least.away, least.players)
    return Found(plans, finished, fewest or finished)


def _anybody(search: _Search, floor: int, work: Work) -> Found:
    """The best plans of players who are all alike, with one more of them until they suffice."""
    fewest, finished = True, False
    for limit in range(max(1, floor), search.count + 1):
        last, known = limit == search.count, bool(search.pool)
        share = Work(work.left if last else work.left // 2)
        spent = share.left
        ended = search.run(limit, limit, share, must=last and not known)
        work.left -= spent - share.left
        if not search.pool:
            fewest = fewest and ended
        elif not known:
            finished = fewest and ended
        if search.pool and (len(search.pool) >= search.most or not ended):
            break
    if not search.pool:
        search.join()
    return Found(search.plans(), finished, fewest)


class _Units:
    """The lines as numbers, and which two of them cannot be one player's."""

    def __init__(self, terms: Terms, units: Sequence[Sequence[int]]) -> None:
        import numpy as np  # loaded only where a group has something to be planned

        self.terms, self.np = terms, np
        self.rows = [tuple(unit) for unit in units]
        self.count = len(self.rows)
        self.masks = []
        for row in self.rows:
            mask = 0
            for i in row:
                mask |= 1 << terms.instrument[i]
            self.masks.append(mask)
        self.starts = np.array(terms.starts, dtype=np.int64)
        self.ends = np.array(terms.ends, dtype=np.int64)
        self.instrument = np.array(terms.instrument, dtype=np.int64)
        self.times = [np.array(t, dtype=np.int64) for t in (terms.quick, terms.wish)]
        self.closed = [np.array(t, dtype=np.int64) for t in (terms.closed_quick, terms.closed_wish)]
        self.arrays = [np.array(row, dtype=np.int64) for row in self.rows]
        self.barred = [0] * self.count
        for u in range(self.count):
            for v in range(u):
                if self._clash(sorted(self.rows[u] + self.rows[v])):
                    self.barred[u] |= 1 << v
                    self.barred[v] |= 1 << u
        self.rank = sorted(range(self.count), key=lambda u: (-self.barred[u].bit_count(), -len(self.rows[u]), u))

    def _clash(self, own: Sequence[int]) -> bool:
        """Whether one player cannot have these stretches; mostly a few of them tell."""
        starts, ends, instruments, closed = (
            self.terms.starts,
            self.terms.ends,
            self.terms.instrument,
            self.terms.closed_quick,
        )
        before = own[0]
        for i in own[1:]:
            if starts[i] - ends[before] < closed[instruments[before]][instruments[i]]:
                return True
            before = i
        return False

    def price(self, mask: int, rough: bool) -> tuple[int | None, int | None]:
        """What the duty of one player costs with closed change times and with those given; None where it clashes."""
        its = bits(mask)
        own = self.np.sort(self.np.concatenate([self.arrays[u] for u in its]))
        starts, ends, instrument = self.starts[own], self.ends[own], self.instrument[own]
        free = starts[1:] - ends[:-1]
        if (free < 0).any():
            return None, None
        instruments = 0
        for u in its:
            instruments |= self.masks[u]
        base = PLAYER + INSTRUMENT * instruments.bit_count()
        at = self.np.flatnonzero(instrument[1:] != instrument[:-1])
        before, after, free = instrument[:-1][at], instrument[1:][at], free[at]
        found: list[int | None] = []
        for quick, wish in (self.closed, self.times):
            if (quick[before, after] > free).any():
                found.append(None)
            elif rough:
                found.append(PLAYER)
            else:
                hurry = wish[before, after] - free
                hurry = hurry[hurry > 0]
                found.append(base + CHANGE * len(at) + HURRIED * len(hurry) + HURRIED_US * int(hurry.sum()))
            if self.terms.metric:
                return found[0], found[0]
        return found[0], found[1]


class _Search:
    def __init__(self, lines: _Units, most: int, rough: bool = False, known: Sequence[tuple[int, Plan]] = ()) -> None:
        """``rough`` counts nothing but players and lines away from their owners; ``known`` are plans to begin with."""
        self.lines, self.terms, self.units, self.most = lines, lines.terms, lines.rows, most
        self.count, self.masks, self.barred, self.rank = lines.count, lines.masks, lines.barred, lines.rank
        self.rough = rough
        self.prices: dict[int, tuple[int | None, int | None]] = {}
        self.pool = [(value, self._alike(plan[unit[0]] for unit in self.units)) for value, plan in known][:most]
        self.work, self.must, self.patience = Work(0), False, PATIENCE

    def price(self, mask: int) -> tuple[int | None, int | None]:
        """What the duty of one player costs, priced once; up to two lines of it count for no work."""
        if mask not in self.prices:
            if mask.bit_count() > 2:
                self.work.left -= WEIGHT
            self.prices[mask] = self.lines.price(mask, self.rough)
        return self.prices[mask]

    # -- the search ------------------------------------------------------------------------------------------------

    def run(self, limit: int, floor: int, work: Work, must: bool = False) -> bool:
        """Look for plans with at most so many players; whether the search came to its end.

        With ``must`` it goes on when the work is spent, until a plan is found or its patience is at an end.
        """
        if any(self.price(1 << u)[0] is None for u in range(self.count)):
            return True
        self.work, self.must = work, must
        self.patience = PATIENCE if must else self.patience
        self.limit, self.floor = limit, floor
        self.least_away = [self._least_away(u) for u in range(self.count)]
        self.choices: dict[tuple[int, int, int], int | None] = {}
        try:
            self._give([0] * limit, [-1] * self.count, (1 << self.count) - 1, sum(self.least_away))
        except _SpentError:
            return False
        return True

    def _away(self, unit: int, player: int) -> int:
        line = self.units[unit]
        owners = self.terms.owners[self.terms.line[line[0]]]
        return 0 if not owners or owners >> player & 1 else AWAY + len(line) * HANDED

    def _least_away(self, unit: int) -> int:
        if self.terms.players is None:
            return 0
        able = [p for p in range(self.limit) if self.terms.may_all(p, self.masks[unit])]
        return min((self._away(unit, p) for p in able), default=0)

    def _adds(self, unit: int, player: int, duty: int) -> int | None:
        """What a line adds to a player's duty, beyond what it adds with any; None where it cannot be."""
        if duty & self.barred[unit]:
            return None
        instruments = self.masks[unit]
        for u in bits(duty):
            instruments |= self.masks[u]
        if not self.terms.may_all(player, instruments):
            return None
        price = self.price(duty | 1 << unit)[0]
        if price is None:
            return None
        old = self.price(duty)[0] if duty else 0
        assert old is not None
        return price - old + self._away(unit, player) - self.least_away[unit]

    def _give(self, duties: list[int], given: list[int], left: int, value: int) -> None:
        self.patience -= 1
        if self.patience < 0 or (self.work.left < 0 and not (self.must and not self.pool)):
            raise _SpentError
        if not left:
            self._keep(duties, given)
            return
        opened: set[int] = set()
        able = []
        for p, duty in enumerate(duties):
            if not duty:
                kind = self.terms.alike[p] if self.terms.players is not None else 0
                if kind in opened:
                    continue
                opened.add(kind)
            able.append(p)
        best, chosen = (self.limit + 1, 0), -1
        ways: list[tuple[int, int]] = []
        further = 0
        for rank, unit in enumerate(self.rank):
            if not left >> unit & 1:
                continue
            its = []
            for p in able:
                key = (unit, p, duties[p])
                if key not in self.choices:
                    self.choices[key] = self._adds(unit, p, duties[p])
                adds = self.choices[key]
                if adds is not None:
                    its.append((adds, p))
            if not its:
                return
            further = max(further, min(its)[0])
            if (len(its), rank) < best:
                best, ways, chosen = (len(its), rank), its, unit
        if self._hopeless(duties, value, further):
            return
        for adds, p in sorted(ways, key=lambda way: (way[0], not duties[way[1]], way[1])):
            if self._hopeless(duties, value, adds):
                return
            duties[p] |= 1 << chosen
            given[chosen] = p
            self._give(duties, given, left & ~(1 << chosen), value + adds)
            given[chosen] = -1
            duties[p] &= ~(1 << chosen)

    def _hopeless(self, duties: list[int], value: int, further: int) -> bool:
        """Whether the price so far, and what must at least be added, is no better than the worst of the plans kept."""
        if len(self.pool) < self.most:
            return False
        missing = max(0, self.floor - len(duties) + duties.count(0))
        return max(value + further, value + PLAYER * missing) >= self.pool[-1][0]

    def _keep(self, duties: list[int], given: list[int]) -> None:
        value = sum(self._away(u, p) for u, p in enumerate(given))
        for duty in duties:
            if duty:
                price = self.price(duty)[1]
                if price is None:
                    return
                value += price
        plan = self._alike(given)
        if any(old == plan for _, old in self.pool):
            return
        self.pool = sorted([*self.pool, (value, plan)], key=lambda entry: entry[0])[: self.most]

    def join(self) -> None:
        """Keep a plan, not the best, in which every line goes to the first player who can have it too."""
        duties: list[int] = []
        given = [-1] * self.count
        for unit in self.rank:
            p = next((p for p, duty in enumerate(duties) if self._fits(unit, p, duty)), len(duties))
            if p == len(duties):
                duties.append(0)
            duties[p] |= 1 << unit
            given[unit] = p
        self._keep(duties, given)

    def _fits(self, unit: int, player: int, duty: int) -> bool:
        return self._adds(unit, player, duty) is not None and self.price(duty | 1 << unit)[1] is not None

    def _alike(self, given: Iterable[int]) -> Plan:
        """The players of the lines, those who are alike in the order in which they come."""
        return self.terms.canonical(tuple(given))

    def plans(self) -> tuple[tuple[int, Plan], ...]:
        """The plans, by stretch."""
        found = []
        for _, given in self.pool:
            plan = [-1] * self.terms.count
            for u, p in enumerate(given):
                for i in self.units[u]:
                    plan[i] = p
            whole = self.terms.canonical(tuple(plan))
            found.append((self.terms.price(whole), whole))
        return tuple(sorted(found))
