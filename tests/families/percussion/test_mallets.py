"""Bars, reach and leaps: against every way of sharing the bars, and against what players say of their instruments."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from music21.pitch import Pitch

from deskproof import facts
from deskproof.families.percussion.mallets import (
    APART,
    LEAP,
    STRETCH,
    Blow,
    Reach,
    bars_of,
    plan_mallets,
    splits,
    usual,
)

KEYBOARDS = ("xylophone", "xylorimba", "glockenspiel", "vibraphone", "marimba", "crotales", "tubular-bells")
SECOND = 1_000_000
NATURALS = {round(Pitch(step).ps) % 12 for step in "CDEFGAB"}


def midi(name: str) -> int:
    return round(Pitch(name.replace("b", "-")).ps)


@pytest.mark.parametrize("instrument", KEYBOARDS)
def test_naturals_stand_side_by_side_and_accidentals_between_them(instrument):
    """Along the instrument every bar lies right of the one before; accidentals midway between two naturals."""
    bars = bars_of(instrument)
    ends = [midi(facts.get(f"{instrument}.{key}").value) for key in ("bars_from", "bars_to")]
    row = [bars.place(key) for key in range(ends[0], ends[1] + 1)]
    assert [x for x, _ in row] == sorted({x for x, _ in row})
    for key in range(ends[0] + 1, ends[1]):
        (x, y), natural = bars.place(key), key % 12 in NATURALS
        assert y == (0 if natural else facts.get(f"{instrument}.rows").value)
        if not natural:
            assert abs(2 * x - bars.place(key - 1)[0] - bars.place(key + 1)[0]) <= 2
    first = bars.between_mm(*[k for k in range(ends[0], ends[0] + 3) if bars.place(k)[1] == 0][:2])
    assert abs(first - facts.get(f"{instrument}.bar_low").value) <= 2


def test_the_marimba_is_as_wide_as_players_measure_it():
    """The low octave of a marimba from A2 is about seven inches wider than the top one (A. Holmes); five octaves are
    8 1/2 feet with the frame, and a player's two arms reach about four of them (N. Zeltsman)."""
    bars = bars_of("marimba")
    assert bars.between_mm(midi("A2"), midi("A3")) - bars.between_mm(midi("C6"), midi("C7")) == pytest.approx(
        7 * 25.4, abs=25
    )
    assert bars.between_mm(midi("C2"), midi("C7")) < 8.5 * 304.8
    assert bars.between_mm(midi("C2"), midi("C6")) <= usual().apart_mm < bars.between_mm(midi("C2"), midi("C7"))


@pytest.mark.parametrize(
    ("instrument", "low", "high", "easy", "can"),
    [
        ("marimba", "C2", "C3", True, True),  # an octave in the lowest range (N. Zeltsman)
        ("marimba", "C3", "E4", False, True),  # a ninth or tenth an octave higher (the same)
        ("marimba", "C6", "F7", True, True),  # an octave and a fourth at the top (the same)
        ("marimba", "C2", "G3", False, False),
        ("vibraphone", "F3", "F4", True, True),
        ("xylophone", "C5", "C6", True, True),
        ("glockenspiel", "G5", "C7", True, True),
    ],
)
def test_what_one_hand_reaches(instrument, low, high, easy, can):
    mm = bars_of(instrument).between_mm(midi(low), midi(high))
    assert (mm <= usual().easy_mm, mm <= usual().most_mm) == (easy, can)


# ------------------------------------------------------------------ against every way


def price(blows, lefts, bars, reach: Reach):
    """What a plan costs, told anew from the words of ``Cost``; hands are rows of struck places."""
    hands = [None, None]
    cost = [0] * 7
    for blow, n in zip(blows, lefts, strict=True):
        both = blow.roll and len(blow.keys) == 1
        shares = (blow.keys, blow.keys) if both else (blow.keys[:n], blow.keys[n:])
        for side, keys in enumerate(shares):
            if not keys:
                continue
            ends = [bars.place(keys[0]), bars.place(keys[-1])]
            wide = round(math.dist(*ends))
            cost[0] += max(0, wide - reach.most_mm)
            cost[2] += max(0, wide - reach.easy_mm)
            free = blow.t_us
            if blow.roll:
                free = max(free, blow.until_us - reach.leaves_us)
            if hands[side] is not None:
                was, since = hands[side]
                if was[0] != was[1] and ends[0] != ends[1]:
                    mm = round(max(math.dist(was[0], ends[0]), math.dist(was[1], ends[1])))
                elif was[0] == was[1] and ends[0] == ends[1]:
                    mm = max(0, round(math.dist(was[0], ends[0])) - reach.other_mm)
                else:
                    mm = round(min(math.dist(a, b) for a in was for b in ends))
                have = blow.t_us - since
                cost[1] += max(0, reach.again_us[1] + reach.leap_us_a_mm[1] * mm - have)
                cost[3] += max(0, reach.again_us[0] + reach.leap_us_a_mm[0] * mm - have)
                cost[6] += mm
            hands[side] = ends, free
        if all(hands) and sum(x for x, _ in hands[0][0]) // 2 > sum(x for x, _ in hands[1][0]) // 2:
            cost[4] += 1
        if not all(shares):
            cost[5] += max(0, len(blow.keys) - 1)
    return tuple(cost)


def some_blows(draw: random.Random, a_hand: int, low: int, high: int) -> list[Blow]:
    at, found = 0, []
    for _ in range(draw.randrange(1, 7)):
        at += draw.choice((60_000, 90_000, 130_000, 200_000, 350_000))
        count = draw.choice((1, 1, 1, 2, 2, 3, 4)[: 3 + 2 * a_hand])
        keys = tuple(sorted(draw.sample(range(low, high), min(count, 2 * a_hand))))
        roll = draw.random() < 0.2
        until = at + draw.choice((50_000, 200_000))
        found.append(Blow(at, until, keys, roll))
        at = until if roll else at
    return found


@pytest.mark.parametrize("block", range(6))
def test_no_way_of_sharing_the_bars_costs_less(block):
    """Close together in time, so that no hand is ever forgotten, every way is tried."""
    late = wide = whole = 0
    for seed in range(50 * block, 50 * (block + 1)):
        draw = random.Random(f"mallets {seed}")
        instrument, low, high = draw.choice(
            [("xylophone", 65, 108), ("marimba", 36, 96), ("vibraphone", 53, 89), ("glockenspiel", 79, 108)]
        )
        a_hand = draw.choice((1, 2))
        bars, blows = bars_of(instrument), some_blows(draw, a_hand, low, high)
        reach = usual() if a_hand == 1 else Reach(**{**_fields(usual()), "other_mm": usual().easy_mm})
        made = plan_mallets(blows, bars, a_hand)
        ways = itertools.product(*(splits(blow, a_hand) for blow in blows))
        prices = {way: price(blows, way, bars, reach) for way in ways}
        least = min(prices.values())
        if _without_hands_forgotten(blows, bars):
            whole += 1
            assert tuple(made.cost) == prices[made.lefts] == least, seed
        assert prices[made.lefts][:4] == least[:4], seed
        late += least[3] > 0
        wide += least[2] > 0
    assert late and wide and whole > 5


def _fields(reach: Reach) -> dict[str, object]:
    return {name: getattr(reach, name) for name in Reach.__dataclass_fields__}


def _without_hands_forgotten(blows, bars) -> bool:
    """Whether the whole is so short that no hand has had more time than its longest way needs."""
    used = [key for blow in blows for key in blow.keys]
    longest = usual().need_us(bars.between_mm(min(used), max(used)))[0]
    return blows[-1].until_us - blows[0].t_us <= longest


def test_a_hand_takes_one_bar_where_it_has_one_mallet():
    bars = bars_of("xylophone")
    made = plan_mallets([Blow(0, 0, (60, 64)), Blow(SECOND, SECOND, (72, 96))], bars, 1)
    assert made.lefts == (1, 1) and made.troubles == ()


def test_four_mallets_take_the_chord_with_the_least_stretch():
    bars = bars_of("marimba")
    made = plan_mallets([Blow(0, 0, tuple(midi(n) for n in ("C3", "G3", "E4", "C5")))], bars)
    assert made.lefts == (2,) and made.troubles == ()
    (trouble,) = plan_mallets([Blow(0, 0, tuple(midi(n) for n in ("C2", "A3", "C4", "D4")))], bars).troubles
    assert (trouble.kind, trouble.hand, trouble.impossible) == (STRETCH, "L", True)


def test_arms_have_an_end():
    (trouble,) = plan_mallets([Blow(0, 0, (midi("C2"), midi("C7")))], bars_of("marimba")).troubles
    assert trouble.kind == APART and not trouble.impossible


@pytest.mark.parametrize("instrument", ["xylophone", "glockenspiel", "vibraphone"])
@pytest.mark.parametrize("step", [1, 2])
def test_scales_of_quick_sixteenths_go(instrument, step):
    """Scales in sixteenths at 144 quarters a minute are every student's exercise on these instruments."""
    each = 60 * SECOND // 144 // 4
    low = midi(facts.get(f"{instrument}.bars_from").value)
    keys = [low + n for n in (*range(0, 25, step), *range(24, -1, -step))]
    made = plan_mallets([Blow(n * each, n * each, (key,)) for n, key in enumerate(keys)], bars_of(instrument), 1)
    assert made.troubles == ()
    assert 1 in made.lefts and 0 in made.lefts


def test_an_octave_there_and_back_in_one_hand_does_not_go_at_any_speed():
    """Both hands leap two octaves in octaves: as eighths at 120 it goes, as sixteenths it does not."""
    bars, low, high = bars_of("xylophone"), (65, 77), (89, 101)
    for each, goes in ((500_000, True), (125_000, False)):
        blows = [Blow(n * each, n * each, (low, high)[n % 2]) for n in range(6)]
        troubles = plan_mallets(blows, bars, 1).troubles
        assert (not troubles) is goes
        assert {one.kind for one in troubles} <= {LEAP}


def test_a_long_part_takes_time_in_step_with_its_length():
    """The work for each onset does not grow: hands are forgotten. Counted in states, not in seconds."""
    draw = random.Random("long")
    at, blows = 0, []
    for _ in range(3000):
        at += draw.choice((100_000, 150_000))
        blows.append(Blow(at, at, tuple(sorted(draw.sample(range(65, 100), draw.choice((1, 2)))))))
    made = plan_mallets(blows, bars_of("xylophone"), 1)
    half = plan_mallets(blows[:1500], bars_of("xylophone"), 1)
    assert len(made.lefts) == 3000 and made.cost >= half.cost
