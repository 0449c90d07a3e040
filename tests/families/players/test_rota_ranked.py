"""The best rota and the next best: against every plan of a few stretches, none of them twice."""

import itertools
import random

import pytest

from deskproof.families.players.record import Player, Stretch
from deskproof.families.players.rota import ranked
from oracles import rota_brute

INSTRUMENTS = ("alto flute", "flute", "piccolo")
SCHEDULES = 300


class Small:
    """Three to six stretches and three players: named ones, of whom some are alike, or as many as are needed."""

    def __init__(self, number):
        dice = random.Random(f"ranked {number}")
        self.stretches, now = [], 0
        for _ in range(dice.randint(3, 6)):
            now += dice.choice((0, 1, 3, 8))
            self.stretches.append(Stretch(dice.choice("abc"), dice.choice(INSTRUMENTS), now, now + dice.randint(1, 6)))
        self.stretches = list(dict.fromkeys(self.stretches))
        self.quick = {(a, b): dice.randint(1, 5) for a in INSTRUMENTS for b in INSTRUMENTS if a != b}
        self.wish = {pair: time + dice.randint(0, 4) for pair, time in self.quick.items()}
        self.players = None
        if number % 3:
            plays = [INSTRUMENTS, *(tuple(i for i in INSTRUMENTS if dice.random() < 0.8) for _ in range(2))]
            owned = dice.random() < 0.5
            self.players = [Player(f"player {n}", its, tuple("abc"[n]) if owned else ()) for n, its in enumerate(plays)]

    def need(self, a, b):
        return self.quick[a, b], self.wish[a, b]

    def found(self, most=3):
        return ranked(self.stretches, self.need, players=self.players, most=most)

    def kind(self, player):
        """What is alike in players who are alike as far as these stretches go; those who own a line are not."""
        used, lines = {s.instrument for s in self.stretches}, {s.line for s in self.stretches}
        owns = set(player.lines) & lines
        return tuple(sorted(set(player.plays) & used)), player.name if owns else ""

    def divided(self, groups):
        """Who plays what, whatever those who are alike are called: sets of stretches, each with the kind of player."""
        return frozenset((kind, frozenset(its)) for kind, its in groups)

    def as_divided(self, rota):
        kinds = {p.name: self.kind(p) for p in self.players or ()}
        return self.divided((kinds.get(d.player, ""), d.stretches) for d in rota.duties)

    def every_plan(self):
        """The prices of all plans that differ, cheapest first: of whole lines without a clash, if there are any."""
        stretches = [Stretch(*one) for one in rota_brute.in_order([tuple(one) for one in self.stretches])]
        count = len(self.players) if self.players is not None else len(stretches)
        players = None if self.players is None else [(frozenset(p.plays), frozenset(p.lines)) for p in self.players]
        prices = {}
        for plan in itertools.product(range(count), repeat=len(stretches)):
            own = {p: tuple(s for s, q in zip(stretches, plan, strict=True) if q == p) for p in plan}
            if players is not None and any(s.instrument not in players[p][0] for p, its in own.items() for s in its):
                continue
            named = self.players or ()
            who = self.divided((self.kind(named[p]) if named else "", its) for p, its in own.items())
            if who not in prices:
                prices[who] = rota_brute.vector(stretches, plan, self.quick, self.wish, players, {})
        if players is None:
            prices = {who: price for who, price in prices.items() if not price[0]}
        whole = {who: price for who, price in prices.items() if not price[0] and not price[2]}
        return whole or prices


@pytest.fixture(scope="module")
def smalls():
    made = [Small(number) for number in range(SCHEDULES)]
    return [(one, one.found(), one.every_plan()) for one in made]


def test_the_second_and_the_third_cost_what_the_second_and_third_best_plans_cost(smalls):
    differ = 0
    for n, (_, found, prices) in enumerate(smalls):
        best = sorted(prices.values())[:3]
        assert [tuple(rota.objective) for rota in found] == best, n
        differ += len(set(best)) == 3
    assert differ > SCHEDULES // 3


def test_all_of_them_are_sorted(smalls):
    for n, (_, found, _) in enumerate(smalls):
        prices = [rota.objective for rota in found]
        assert prices == sorted(prices), n


def test_each_differs_from_each_in_who_plays_something(smalls):
    pairs = 0
    for n, (one, found, prices) in enumerate(smalls):
        who = [one.as_divided(rota) for rota in found]
        assert len(set(who)) == len(who), n
        assert [prices[its] for its in who] == [tuple(rota.objective) for rota in found], n
        pairs += len(who) > 1
    assert pairs > SCHEDULES // 2


def test_no_more_than_are_asked_for_and_all_of_few(smalls):
    for n, (one, found, prices) in enumerate(smalls[:60]):
        assert one.found(1) == found[:1] or one.found(1)[0].objective == found[0].objective, n
        assert len(one.found(5)) == min(5, len(prices)), n
