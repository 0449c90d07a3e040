"""The drawn keys are to scale: crosses stand where the keys of a real keyboard are, brackets from key to key.

Geometry worked out here anew: a white key is 23.5 mm wide and seven of them make an octave; a black key is struck
between its two white neighbours.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from lxml import etree

import seeds
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.draw.keys import Struck, keys_picture, keys_words, of_hand

WHITE = {0: 0, 2: 1, 4: 2, 5: 3, 7: 4, 9: 5, 11: 6}
CHORDS = [
    [Struck(48, "L", 5), Struck(64, "L", 1), Struck(72, "R", 1)],
    [Struck(60, "R", 1)],
    [Struck(42, "L"), Struck(49, "L"), Struck(61, "L"), Struck(85, "R", 2)],
    [Struck(21, "L", 5), Struck(108, "R", 5)],
]


def white_left(key: int) -> float:
    return 23.5 * (7 * (key // 12) + WHITE[key % 12])


def between(key: int) -> tuple[float, float]:
    """From where to where a key can be struck."""
    if key % 12 in WHITE:
        return white_left(key), white_left(key) + 23.5
    return white_left(key - 1) + 11, white_left(key + 1) + 12.5


def drawn(struck: list[Struck]) -> Any:
    return etree.fromstring(keys_picture(struck))


def crosses(tree: Any) -> list[float]:
    """The middle of every cross."""
    found = []
    for path in tree.xpath("//*[@class='struck']/@d"):
        numbers = [float(one) for one in re.findall(r"-?[0-9.]+", path)]
        found.append(numbers[0] + numbers[2] / 2)
    return found


@pytest.mark.parametrize("struck", CHORDS)
def test_every_cross_stands_on_its_key(struck: list[Struck]):
    tree = drawn(struck)
    found = crosses(tree)
    assert len(found) == len(struck)
    lowest = min(one.key for one in struck)
    shift = found[[one.key for one in struck].index(lowest)] - sum(between(lowest)) / 2
    for x, one in zip(found, struck, strict=True):
        low, high = between(one.key)
        assert low <= x - shift <= high, one


@pytest.mark.parametrize("struck", CHORDS)
def test_one_bracket_a_hand_and_a_figure_for_each_finger(struck: list[Struck]):
    tree = drawn(struck)
    assert len(tree.xpath("//*[@class='hand']")) == len({one.hand for one in struck})
    said = [text for text in tree.xpath("//*[local-name()='text']/text()") if text in "12345"]
    assert sorted(said) == sorted(str(one.finger) for one in struck if one.finger)


@pytest.mark.parametrize("struck", CHORDS)
def test_nothing_is_filled_or_coloured(struck: list[Struck]):
    tree = drawn(struck)
    assert set(tree.xpath("//@fill")) <= {"none"} and set(tree.xpath("//@stroke")) <= {"#000"}


def test_words_name_keys_fingers_and_width():
    assert keys_words(CHORDS[0]) == "left hand: C3 (finger 5) and E4 (finger 1), 212 mm; right hand: C5 (finger 1)"


def test_a_leap_shows_where_the_hand_leaves_and_where_it_arrives():
    above = "E6+G6+C7/16 F6+A6+D7/16 R/8 R/4 R/2"
    case = {"instrument": "piano", "tempo": 120, "notes": above, "below": "C2/16 C5/16 R/8 R/4 R/2"}
    report = check(from_bytes(seeds.score(case)).score)
    (leap,) = [one for one in report.findings if one.rule.id == "keyboard-leap"]
    plan = report.state.plans["keyboard", 0]
    struck = of_hand(plan, {(ref.measure, ref.n) for ref in leap.notes}, "L")
    assert [(one.key, one.hand) for one in struck] == [(36, "L"), (72, "L")]
