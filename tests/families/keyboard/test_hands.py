"""Which hand takes what: against exhaustive search, against an outside checker, and against recorded hands."""

from __future__ import annotations

import importlib.util
import itertools
import random
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from deskproof.families.keyboard import hand_costs
from deskproof.families.keyboard.hand_search import Leap, feasible, search
from deskproof.families.keyboard.hands import (
    HandPlan,
    Press,
    grouped,
    plan_hands,
    settings_of,
)
from oracles import keyboard_hands as oracle
from two_hands import Recording, recordings

ORGAN = settings_of(damper=False)
BEAT = 500_000


def press(t: int, *keys: int, beats: float = 1, staves: tuple[int, ...] = (), how: str = "struck") -> Press:
    """A press at beat ``t``, half a second each."""
    until = int(t * BEAT + beats * BEAT)
    return Press(t * BEAT, keys, (until,) * len(keys), staves, (how,) * len(keys))


def kinds(plan: HandPlan) -> list[tuple[str, str]]:
    return [(hard.kind, hard.level) for hard in plan.hard]


# What is possible


def test_a_chord_has_a_split_exactly_where_exhaustive_search_finds_one() -> None:
    chance = random.Random(3)
    limits = settings_of().limits
    none = 0
    for _ in range(3000):
        low = chance.randint(21, 60)
        keys = tuple(sorted(chance.sample(range(low, min(109, low + chance.randint(14, 48))), chance.randint(1, 12))))
        ours = feasible(keys, limits)
        assert bool(ours) == oracle.playable(keys), keys
        assert all(tuple("LR"[h] for h in row) in set(oracle.splits(keys)) for row in ours), keys
        none += not ours
    assert 300 < none < 2700  # both answers were asked for


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("settings", [settings_of(), ORGAN], ids=["piano", "organ"])
def test_a_plan_is_what_it_says(seed: int, settings: Any) -> None:
    onsets = passage(seed)
    plan = plan_hands(onsets, settings)
    said = oracle.complaints([(p.t_us, p.keys, p.until_us) for p in onsets], plan.hands, plan.up_us, plan.kept_by)
    assert said == []
    for i, (row, one) in enumerate(zip(plan.hands, onsets, strict=True)):
        assert (None in row) == (not oracle.playable(one.keys))
        if None in row:
            assert any(
                h.onset == i and h.level == "impossible" and h.kind in ("stretch", "too-many") for h in plan.hard
            )
    for hard in plan.hard:
        if hard.kind == "stretch":
            assert hard.um == pytest.approx(oracle.extent(hard.keys) * 1000, abs=30)
        elif hard.kind == "leap":
            both = [
                key
                for i in (hard.since, hard.onset)
                for key, hand in zip(onsets[i].keys, plan.hands[i], strict=True)
                if hand == hard.hand
            ]
            assert hard.um == pytest.approx(oracle.extent(both) * 1000, abs=30)
            assert hard.us == onsets[hard.onset].t_us - onsets[hard.since].t_us


def passage(seed: int, length: int = 40) -> list[Press]:
    """Chords drawn by a seed, most of them playable, with overlaps."""
    chance = random.Random(seed)
    t, out = 0, []
    for _ in range(length):
        middle = chance.randint(40, 80)
        n = chance.choice((1, 1, 1, 2, 2, 3, 4, 5, 6, 8, 11))
        keys = tuple(sorted(chance.sample(range(middle - 18, middle + 19), n)))
        out.append(Press(t, keys, tuple(t + chance.choice((0, 60_000, 200_000, 900_000)) for _ in keys)))
        t += chance.choice((70_000, 125_000, 250_000, 500_000))
    return out


# The search


@cache
def fitting() -> Any:
    path = Path(__file__).resolve().parents[3] / "benchmarks" / "fit_hands.py"
    spec = importlib.util.spec_from_file_location("fit_hands", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def priced(onsets: list[Press], split: Any) -> int:
    """The price of a split, summed over the tables one by one."""
    return sum(flat_prices()[where] * times for where, times in fitting().counted(onsets, split).items())


@cache
def flat_prices() -> list[int]:
    return [price for name in fitting().SHAPES for price in flat(getattr(hand_costs, name))]


def flat(table: Any) -> list[int]:
    return [table] if isinstance(table, int) else [price for part in table for price in flat(part)]


def line(seed: int) -> list[Press]:
    """Single keys that are let go at once: then where the hands are is all that matters."""
    chance = random.Random(seed)
    t, onsets = 0, []
    for _ in range(9):
        t += chance.choice((100_000, 200_000, 700_000))
        onsets.append(Press(t, (chance.randint(45, 75),), (t,)))
    return onsets


def found_and_least(seed: int) -> tuple[int, int]:
    """The price of the split that the search finds, and the least of all 512."""
    onsets = line(seed)
    found = search(onsets, settings_of().limits, 10**9, Leap(10**9, 0), beam=1000, slack=10**9)
    every = itertools.product((0, 1), repeat=len(onsets))
    return priced(onsets, found), min(priced(onsets, [(hand,) for hand in hands]) for hands in every)


@pytest.mark.parametrize("seed", range(40))
def test_the_search_finds_the_cheapest_of_all_splits(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exact where a hand's region is where it last was, as then nothing before that matters."""
    monkeypatch.setattr(hand_costs, "DRIFT", (16,) * 10)
    found, least = found_and_least(seed)
    assert found == least


def test_the_search_nearly_always_finds_the_cheapest_with_a_region_that_follows_slowly() -> None:
    prices = [found_and_least(seed) for seed in range(40)]
    assert all(found >= least for found, least in prices)
    assert sum(found == least for found, least in prices) >= 32


def test_the_same_part_gives_the_same_plan() -> None:
    onsets = passage(7)
    assert plan_hands(onsets) == plan_hands(list(onsets))


# What the page says


def test_staves_are_followed_where_a_hand_can() -> None:
    low_melody = [press(i, 48 + i, staves=(1,)) for i in range(6)]
    assert {hand for row in plan_hands(low_melody).hands for hand in row} == {"R"}
    high = [press(i, 72 - i, staves=(2,)) for i in range(6)]
    assert {hand for row in plan_hands(high).hands for hand in row} == {"L"}


def test_crossed_staves_are_crossed_hands() -> None:
    crossed = [press(i, 50 + i, 64 - i, staves=(1, 2)) for i in range(5)]
    assert plan_hands(crossed).hands == (("R", "L"),) * 5


def test_a_staff_that_one_hand_cannot_reach_is_shared() -> None:
    plan = plan_hands([press(0, 48, 55, 64, 72, staves=(1, 1, 1, 1))])
    assert plan.hard == ()
    assert set(plan.hands[0]) == {"L", "R"}


# What is hard


def test_eleven_keys_that_no_thumb_shares_are_too_many() -> None:
    keys = (48, 49, 50, 51, 52, 53, 54, 55, 56, 57, 58, 59, 60)
    plan = plan_hands([press(0, *keys)])
    assert ("too-many", "impossible") in kinds(plan)
    assert plan.hands[0].count(None) >= 1


def test_six_keys_fit_a_hand_whose_thumb_takes_two() -> None:
    right = (60, 62, 65, 69, 72, 74)  # C D F A C D: the thumb on C and D
    left = (36, 38, 41, 45, 48, 50)
    plan = plan_hands([press(0, *left, *right)])
    assert plan.hands == (("L",) * 6 + ("R",) * 6,)
    assert not any(hard.kind == "too-many" for hard in plan.hard)


def test_three_far_groups_reach_no_split() -> None:
    plan = plan_hands([press(0, 36, 60, 84)])
    assert kinds(plan) == [("stretch", "impossible")]
    assert plan.hands == (("L", None, "R"),)
    assert plan.hard[0].um == 329_000  # two octaves of 164.5 mm


def test_a_tenth_and_a_twelfth() -> None:
    both = [press(0, 40, 56, 72, 89)]  # E-G#: 16 semitones; C-F: 17
    plan = plan_hands(both)
    assert {hard.kind for hard in plan.hard} == {"stretch"}
    assert {hard.level for hard in plan.hard} == {"hard"}


def test_a_roll_needs_no_reach_and_the_damper_keeps_its_beginning() -> None:
    plan = plan_hands([press(0, 36, 52, 60, how="roll", beats=2)])
    assert plan.hard == ()
    wide = plan_hands([Press(0, (36, 55, 64, 90), (9 * BEAT,) * 4, (2, 2, 2, 1), ("roll",) * 3 + ("struck",))])
    assert wide.hard == ()
    assert wide.hands == (("L", "L", "L", "R"),)
    assert wide.kept_by[0][0] == "damper"


def test_a_leap_is_measured_over_both_events() -> None:
    both = (Press(0, (36, 48, 60, 64), (90_000,) * 4), Press(100_000, (72, 76, 98, 102), (BEAT,) * 4))
    plan = plan_hands(both)
    leaps = [hard for hard in plan.hard if hard.kind == "leap"]
    assert [(leap.level, leap.us, leap.since, leap.hand) for leap in leaps] == [
        ("impossible", 100_000, 0, "L"),
        ("impossible", 100_000, 0, "R"),
    ]
    assert leaps[0].um == pytest.approx(oracle.extent((36, 76)) * 1000, abs=30)
    slow = plan_hands([both[0], both[1]._replace(t_us=2 * BEAT)])
    assert not any(hard.kind == "leap" for hard in slow.hard)


def test_a_held_bass_the_hand_must_leave_is_kept_by_the_damper() -> None:
    onsets = [press(0, 36, beats=4, staves=(2,))]
    onsets += [press(i, 55 + i, 79, staves=(2, 1)) for i in range(1, 4)]
    plan = plan_hands(onsets)
    assert plan.kept_by[0] == ("damper",)
    assert plan.up_us[0] == (BEAT,)
    assert plan.hard == ()
    organ = plan_hands(onsets, ORGAN)
    assert ("let-go", "hard") in kinds(organ) or "L" not in {row[0] for row in organ.hands[1:]}


def test_a_key_that_the_other_hand_holds() -> None:
    onsets = [press(0, 48, 60, beats=4, staves=(2, 2)), press(1, 60, 64, 67, staves=(1, 1, 1))]
    plan = plan_hands(onsets)
    assert [(h.kind, h.hand, h.keys, h.us, h.since) for h in plan.hard] == [("restruck", "R", (60,), 3 * BEAT, 0)]


def test_one_key_too_soon_by_one_hand() -> None:
    onsets = [Press(i * 80_000, (72,), (i * 80_000 + 40_000,), (1,)) for i in range(8)]
    plan = plan_hands(onsets)
    assert kinds(plan) == [("repeat", "impossible")] * 7
    easy = [one._replace(t_us=one.t_us * 3, until_us=(one.t_us * 3,)) for one in onsets]
    assert plan_hands(easy).hard == ()


# Odd input


def test_nothing_gives_nothing_and_zero_lengths_are_played() -> None:
    assert plan_hands([]) == HandPlan((), (), (), ())
    plan = plan_hands([Press(0, (60,), (0,)), Press(BEAT, (60, 64), (BEAT, BEAT))])
    assert all(hand in ("L", "R") for row in plan.hands for hand in row)
    assert plan_hands([press(0, 60), press(1), press(2, 60)]).hands[1] == ()


def test_the_lowest_and_the_highest_keys_are_played() -> None:
    onsets = [press(i, *keys) for i, keys in enumerate(((0, 127), (21, 108), (1,), (126,), (0, 1, 126, 127)))]
    plan = plan_hands(onsets)
    assert plan.hands[-1] == ("L", "L", "R", "R")


def test_recorded_notes_are_grouped_by_their_first() -> None:
    notes = [(0, 60, 90), (29_000, 64, 99), (31_000, 67, 99), (40_000, 67, 120)]
    assert grouped(notes) == [
        Press(0, (60, 64), (90, 99)),
        Press(31_000, (67,), (99,)),
        Press(40_000, (67,), (120,)),
    ]


# Recorded hands


@cache
def planned() -> list[tuple[Recording, HandPlan, int, int]]:
    """Each recording that was not fitted on, its plan, and how many notes are on the right hand."""
    out = []
    for recording in recordings():
        if recording.odd:
            continue
        onsets = grouped(recording.notes)
        plan = plan_hands(onsets)
        truth: dict[tuple[int, int], list[str]] = {}
        for (t_us, key, _), hand in zip(recording.notes, recording.hands, strict=True):
            truth.setdefault((t_us, key), []).append(hand)
        out.append((recording, plan, agreeing(recording, plan), len(onsets)))
    assert len(out) == 39
    return out


def agreeing(recording: Recording, plan: HandPlan) -> int:
    """Notes whose hand is the recorded one; the rows of the plan are the recording's notes, chord by chord."""
    rest = iter(zip(recording.notes, recording.hands, strict=True))
    same = 0
    for row in plan.hands:
        chord = sorted((next(rest) for _ in row), key=lambda pair: pair[0][1])
        same += sum(hand == truth for hand, (_, truth) in zip(row, chord, strict=True))
    return same


def test_recorded_hands_are_found() -> None:
    notes = sum(len(recording.notes) for recording, _, _, _ in planned())
    assert notes == 122_697
    assert sum(same for _, _, same, _ in planned()) / notes >= 0.92
    files = [same / len(recording.notes) for recording, _, same, _ in planned()]
    assert sum(files) / len(files) >= 0.92


def test_what_was_played_is_hardly_ever_called_out_of_reach() -> None:
    def beyond(plan: HandPlan) -> int:
        return len(impossible(plan, "stretch")) + len(impossible(plan, "too-many"))

    assert sum(beyond(plan) for recording, plan, _, _ in planned() if recording.classic) == 0
    others = [(beyond(plan), onsets) for recording, plan, _, onsets in planned() if not recording.classic]
    assert sum(found for found, _ in others) * 10_000 <= 3 * sum(onsets for _, onsets in others)


def test_what_was_played_is_hardly_ever_a_leap_too_far() -> None:
    onsets = sum(onsets for _, _, _, onsets in planned())
    assert sum(len(impossible(plan, "leap")) for _, plan, _, _ in planned()) * 1000 <= onsets


def impossible(plan: HandPlan, kind: str) -> list[Any]:
    return [hard for hard in plan.hard if (hard.kind, hard.level) == (kind, "impossible")]
