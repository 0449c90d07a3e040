"""A plan for named players made better step by step: a good one to begin with, where the exact search is long.

Every line goes to the player with whom it costs least, longest lines first. Then, as long as that is cheaper: a stretch
that clashes goes to another player, and what one player has of a divided line to another who has some of it too. No
proof comes of this; the plans only bound the search and stand where it does not end.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from deskproof.families.players.lines import Work
from deskproof.families.players.terms import AWAY, HANDED, INSTRUMENT, PLAYER, SPLIT, Plan, Terms

WEIGHT = 8  # stretches of a duty whose pricing counts for one step of work


def improved(terms: Terms, starts: Sequence[Plan], work: Work) -> list[tuple[int, Plan]]:
    """The plans given and the one of whole lines, each made as cheap as steps can; with their prices."""
    return [_Steps(terms, plan, work).run() for plan in (_whole(terms), *starts)]


def _duty(terms: Terms, own: Sequence[int]) -> int:
    """What one player's stretches cost."""
    if not own:
        return 0
    value = PLAYER + INSTRUMENT * len({terms.instrument[i] for i in own})
    for a, b in terms.pairs(own):
        value += terms.step(terms.instrument[a], terms.ends[a], terms.instrument[b], terms.starts[b])
    return value


def _whole(terms: Terms) -> Plan:
    """Every line, as far as it can, to the player with whom it costs least."""
    duties: list[list[int]] = [[] for _ in terms.plays]
    prices = [0] * len(duties)
    plan = [-1] * terms.count
    for line in sorted(range(len(terms.lines)), key=lambda k: (-_sounding(terms, k), k)):
        left = terms.lines[line]
        while left:
            ways = []
            for p, plays in enumerate(terms.plays):
                its = [i for i in left if plays >> terms.instrument[i] & 1]
                if its:
                    own = sorted(duties[p] + its)
                    price = _duty(terms, own)
                    away = 0 if not terms.owners[line] or terms.owners[line] >> p & 1 else AWAY + HANDED * len(its)
                    ways.append((len(left) - len(its), price - prices[p] + away, p, price, own, its))
            _, _, p, price, own, its = min(ways)
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
        self.prices = [_duty(terms, own) for own in self.duties]

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

    def _line(self, line: int, plan: Sequence[int]) -> int:
        players = [plan[i] for i in self.terms.lines[line]]
        owners = self.terms.owners[line]
        value = SPLIT * len(set(players))
        if owners:
            value += AWAY * sum(not owners >> p & 1 for p in set(players))
            value += HANDED * sum(not owners >> p & 1 for p in players)
        else:
            value += HANDED * sum(p != q for p, q in pairwise(players))
        return value

    def _able(self, moved: Iterable[int], player: int) -> bool:
        return all(self.terms.plays[player] >> self.terms.instrument[i] & 1 for i in moved)

    def _take(self, moved: tuple[int, ...], to: int) -> bool:
        """Take a step if it makes the plan cheaper."""
        if not moved or self.work.left <= 0:
            return False
        source = self.plan[moved[0]]
        if source == to or any(self.plan[i] != source for i in moved) or not self._able(moved, to):
            return False
        less = [i for i in self.duties[source] if i not in moved]
        more = sorted([*self.duties[to], *moved])
        self.work.left -= (len(less) + len(more)) // WEIGHT + 1
        prices = _duty(self.terms, less), _duty(self.terms, more)
        line = self.terms.line[moved[0]]
        plan = list(self.plan)
        for i in moved:
            plan[i] = to
        gain = (
            self.prices[source] + self.prices[to] - sum(prices) + self._line(line, self.plan) - self._line(line, plan)
        )
        if gain <= 0:
            return False
        self.plan = plan
        self.duties[source], self.duties[to] = less, more
        self.prices[source], self.prices[to] = prices
        return True
