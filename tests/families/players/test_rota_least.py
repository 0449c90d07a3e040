"""The fewest players there can be: against a general matching (Edmonds) of all pairs, without shortcuts."""

import random

import networkx as nx
import pytest

from deskproof.families.players import least
from deskproof.families.players.record import Stretch
from deskproof.families.players.terms import Terms

INSTRUMENTS = ("alto flute", "flute", "oboe", "piccolo")


def paths(stretches, quick):
    """Stretches less the pairs of a maximum matching of each with one that the same player can take next."""
    order = sorted(stretches, key=lambda s: (s.from_us, s.to_us, s.line, s.instrument))
    graph = nx.Graph()
    before = [("before", n) for n in range(len(order))]
    graph.add_nodes_from(before)
    for n, a in enumerate(order):
        for k, b in enumerate(order[n + 1 :], n + 1):
            if b.from_us - a.to_us >= (0 if a.instrument == b.instrument else quick[a.instrument, b.instrument]):
                graph.add_edge(("before", n), ("after", k))
    return len(order) - len(nx.max_weight_matching(graph, maxcardinality=True))


def made(number):
    """Up to a hundred entries with any change times, quicker by way of a third instrument now and then."""
    dice = random.Random(f"least {number}")
    stretches = []
    for line in range(dice.randint(2, 12)):
        now = 0
        for _ in range(dice.randint(1, 8)):
            start = now + dice.choice((0, 2, 5, 12))
            now = start + dice.randint(1, 9)
            stretches.append(Stretch(f"{line:02}", dice.choice(INSTRUMENTS), start, now))
    return stretches, {(a, b): dice.choice((1, 4, 9, 20)) for a in INSTRUMENTS for b in INSTRUMENTS if a != b}


@pytest.mark.parametrize("number", range(100))
def test_a_second_library_finds_as_many(number):
    stretches, quick = made(number)
    terms = Terms(stretches, lambda a, b: (quick[a, b],) * 2, None, None)
    assert least.at_least(terms) == paths(stretches, quick)


def test_going_on_with_the_latest_is_not_always_enough():
    """Otherwise the exchange of what comes next would never be tried above."""
    more = 0
    for number in range(100):
        stretches, quick = made(number)
        lasts = []
        for one in sorted(stretches, key=lambda s: (s.from_us, s.to_us, s.line, s.instrument)):
            for last in reversed(lasts):
                need = 0 if last.instrument == one.instrument else quick[last.instrument, one.instrument]
                if one.from_us - last.to_us >= need:
                    lasts.remove(last)
                    break
            lasts.append(one)
        more += len(lasts) > paths(stretches, quick)
    assert more >= 5
