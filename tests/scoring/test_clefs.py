"""The clef of every bar, against every way of setting them."""

from __future__ import annotations

import random
from itertools import pairwise, product

import pytest

from deskproof import facts
from deskproof.score import Clef
from deskproof.scoring.full_score.clefs import clefs_of, ledgers

TREBLE, ALTO, TENOR, BASS = Clef("G", 2), Clef("C", 3), Clef("C", 4), Clef("F", 4)


@pytest.mark.parametrize(
    ("clef", "free", "below", "above"),
    [
        # as every primer has it: the lowest and highest place without a ledger line, and one with two on either side
        (TREBLE, ("D4", "G5"), "A3", "C6"), (BASS, ("F2", "B3"), "C2", "E4"), (ALTO, ("E3", "A4"), "B2", "D5"),
        (TENOR, ("C3", "F4"), "G2", "B4"), (Clef("G", 2, 1), ("D5", "G6"), "A4", "C7"),
    ],
)  # fmt: skip
def test_ledger_lines(clef: Clef, free: tuple[str, str], below: str, above: str):
    def line(name: str) -> int:
        return 7 * int(name[1]) + "CDEFGAB".index(name[0])

    assert [ledgers(line(name), clef) for name in free] == [0, 0]
    assert (ledgers(line(below), clef), ledgers(line(above), clef)) == (2, 2)


def price(bars: list[list[int]], clefs: tuple[Clef, ...], choices: list[Clef]) -> int:
    """By the words of the two facts: squares of ledger lines, changes, clefs that come later in the list."""
    own = sum(max((ledgers(line, clef) ** 2 for line in bar), default=0) for bar, clef in zip(bars, clefs, strict=True))
    seldom = sum(choices.index(clef) for bar, clef in zip(bars, clefs, strict=True) if bar)
    changes = sum(one != two for one, two in pairwise(clefs))
    return (
        own
        + int(facts.get("full_score.clef_seldom").value) * seldom
        + int(facts.get("full_score.clef_change").value) * changes
    )


@pytest.mark.parametrize("seed", range(30))
def test_no_other_way_costs_less(seed: int):
    dice = random.Random(seed)
    choices = [BASS, TENOR, TREBLE][: dice.choice((2, 3))]
    bars = [[dice.randint(14, 38) for _ in range(dice.choice((0, 1, 3)))] for _ in range(6)]
    found = clefs_of(bars, [choices] * len(bars))
    least = min(price(bars, way, choices) for way in product(choices, repeat=len(bars)))
    assert price(bars, tuple(found), choices) == least


def test_no_bars_no_clefs():
    assert clefs_of([], []) == []
