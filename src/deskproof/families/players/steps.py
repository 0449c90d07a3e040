"""A plan for named players made better step by step: a good one to begin with, where the exact search is long.

Every line goes to the player with whom it costs least, longest lines first. Then, as long as that is cheaper: a stretch
that clashes goes to another player, and what one player has of a divided line to another who has some of it too. No
proof comes of this; the plans only bound the search and stand where it does not end.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from deskproof.families.players.lines import Work
from deskproof.families.players.terms import AWAY, HANDED, INSTRUMENT, PLAYER, Plan, Terms

WEIGHT = 8  # stretches of a duty whose pricing counts for one step of work


def improved(terms: Terms, starts: Sequence[Plan], work: Work) -> list[tuple[int, Plan]]:
    """The plans given and the one of whole lines, each made as cheap as steps can; with their prices."""
    return [_Steps(terms, plan, work).run() for plan in (_whole(terms), *starts)]


def _whole(terms: Terms) -> Plan:
    """Every line, as far as it can, to the player with whom it costs least."""
    duties: list[list[int]] = [[] for _ in terms.plays]
    prices = [0] * len(duties)
    plan = [-1] * terms.count
    for line in sorted(range(len(terms.lines)), key=lambda k: (-_sounding(terms, k), k)):
        left = terms.lines[line]
        while left:
            ways = []
            able = [[i for i in left if plays >> terms.instrument[i] & 1] for plays in terms.plays]
            most = max(map(len, able))
            for p, its in enumerate(able):
                if len(its) == most:
                    own = sorted(duties[p] + its)
                    price = terms.duty(own)
                    away = 0 if not terms.owners[line] or terms.owners[line] >> p & 1 else AWAY + HANDED * len(its)
                    ways.append((price - prices[p] + away, p, price, own, its))
            _, p, price, own, its = min(ways)
            duties[p], prices[p] = own, price
            for i in its:
                plan[i] = p
            left = tuple(i for i in left if plan[i] < 0)
    return tuple(plan)


def _sounding(terms: Terms, line: int) -> int:
    return sum(terms.ends[i] - terms.starts[i] for i in terms.lines[line])


class _Steps:
    def __init__(self, terms: Terms, plan: Plan, work: Work) -> None:
        self.terms, self.plan, self.work = terms, list(plan), work
        self.duties: list[list[int]] = [[] for _ in terms.plays]
        for i, p in enumerate(plan):
            self.duties[p].append(i)
        self.prices = [terms.duty(own) for own in self.duties]
        self.held: list[list[int]] = [[] for _ in terms.plays]  # after every stretch of a duty, the one that ends last
        self.had: list[list[int]] = [[] for _ in terms.plays]  # by instrument, the stretches on it
        for p in range(len(self.duties)):
            self._look(p)
        self.lines = [self._line(k, {}) for k in range(len(terms.lines))]

    def _look(self, player: int) -> None:
        terms, own = self.terms, self.duties[player]
        held, before = [], -1
        for i in own:
            if before < 0 or terms.ends[i] >= terms.ends[before]:
                before = i
            held.append(before)
        self.held[player] = held
        counts = Counter(terms.instrument[i] for i in own)
        self.had[player] = [counts[name] for name in range(len(terms.instrument_names))]

    def run(self) -> tuple[int, Plan]:
        """Take steps as long as there are any, and give the plan with its price."""
        taken = 1
        while taken and self.work.left > 0:
            taken = sum(self._take(*move) for move in self._moves())
        plan = self.terms.canonical(tuple(self.plan))
        return self.terms.price(plan), plan

    def _moves(self) -> Iterator[tuple[tuple[int, ...], int]]:
        """Stretches of one line and one player, and who else might take them."""
        terms = self.terms
        clashing = []
        for own in self.duties:
            for a, b in terms.pairs(own):
                quick = terms.quick[terms.instrument[a]][terms.instrument[b]]
                if terms.starts[b] - terms.ends[a] < quick:
                    clashing += [b, a]
        for i in dict.fromkeys(clashing):
            for p in range(len(self.duties)):
                yield (i,), p
        for row in terms.lines:
            players = list(dict.fromkeys(self.plan[i] for i in row))
            if len(players) > 1:
                for q in players:
                    for p in players:
                        yield tuple(i for i in row if self.plan[i] == q), p

    def _line(self, line: int, moved: Mapping[int, int]) -> int:
        """What the players of a line cost, with new ones for the stretches moved."""
        terms = self.terms
        return terms.of_line(terms.owners[line], [moved.get(i, self.plan[i]) for i in terms.lines[line]])

    def _take(self, moved: tuple[int, ...], to: int) -> bool:
        """Take a step if it makes the plan cheaper."""
        if not moved or self.work.left <= 0:
            return False
        terms, source = self.terms, self.plan[moved[0]]
        if source == to:
            return False
        for i in moved:
            if self.plan[i] != source or not terms.plays[to] >> terms.instrument[i] & 1:
                return False
        self.work.left -= (len(self.duties[source]) + len(self.duties[to])) // WEIGHT + 1
        if len(moved) == 1:
            prices = self.prices[source] - self._part(moved[0], source), self.prices[to] + self._part(moved[0], to)
        else:
            prices = terms.duty(self._less(source, moved)), terms.duty(self._more(to, moved))
        line = terms.line[moved[0]]
        gain = self.prices[source] + self.prices[to] - sum(prices) + self.lines[line]
        if gain <= 0:  # the line may not become cheaper than nothing
            return False
        lined = self._line(line, dict.fromkeys(moved, to))
        if gain <= lined:
            return False
        self.duties[source], self.duties[to] = self._less(source, moved), self._more(to, moved)
        self.prices[source], self.prices[to] = prices
        self._look(source)
        self._look(to)
        self.lines[line] = lined
        for i in moved:
            self.plan[i] = to
        return True

    def _less(self, player: int, moved: Sequence[int]) -> list[int]:
        return [i for i in self.duties[player] if i not in moved]

    def _more(self, player: int, moved: Sequence[int]) -> list[int]:
        return sorted([*self.duties[player], *moved])

    def _part(self, one: int, player: int) -> int:
        """What one stretch makes of the price of a player's duty, whether it is had already or not.

        Only what comes before another ends as late is met otherwise with it than without it.
        """
        terms, own, ends = self.terms, self.duties[player], self.terms.ends
        at = bisect_left(own, one)
        had = at < len(own) and own[at] == one
        value = 0 if len(own) > had else PLAYER
        if self.had[player][terms.instrument[one]] == had:
            value += INSTRUMENT
        before = self.held[player][at - 1] if at else -1
        if before >= 0:
            value += self._step(before, one)
            if ends[one] < ends[before]:
                return value
        for j in own[at + had :]:
            value += self._step(one, j)
            if before >= 0:
                value -= self._step(before, j)
            if ends[j] >= ends[one]:
                break
            if before < 0 or ends[j] >= ends[before]:
                before = j
        return value

    def _step(self, a: int, b: int) -> int:
        terms = self.terms
        return terms.step(terms.instrument[a], terms.ends[a], terms.instrument[b], terms.starts[b])
