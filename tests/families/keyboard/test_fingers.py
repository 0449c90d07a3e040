"""Fingers of one hand: against everything tried, an independent checker, and fingers as printed and as taught."""

from __future__ import annotations

import hashlib
import random
from dataclasses import fields, replace
from itertools import pairwise
from math import prod
from pathlib import Path

import pytest

from corpus import corpus_files
from deskproof import facts
from deskproof.document import read
from deskproof.families.keyboard import KEYBOARD
from deskproof.families.keyboard import finger_costs as costs
from deskproof.families.keyboard.fingering import fingers_of
from deskproof.families.keyboard.fingers import (
    FingerSettings,
    Hand,
    HandOnset,
    configurations,
    forget,
    plan_fingers,
    plan_keys,
    with_held,
)
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.forces import Forces
from deskproof.state import state_of
from oracles import keyboard_fingers as oracle

HANDS: tuple[Hand, Hand] = ("right", "left")
WAYS = 1500  # of the fingerings of one passage that are all tried
MAJOR = (0, 2, 4, 5, 7, 9, 11)


def passage(seed: int, length: int) -> tuple[list[HandOnset], Hand, FingerSettings]:
    """A random passage: chords of one to five keys near each other, gaps, held keys, a printed finger now and then."""
    chance = random.Random(seed)
    onsets = []
    at, middle = 0, chance.randrange(45, 76)
    for _ in range(length):
        middle = min(95, max(30, middle + chance.choice((-12, -3, -2, -1, 0, 1, 2, 3, 12))))
        size = chance.choices((1, 2, 3, 4, 5, 6), (50, 25, 12, 8, 3, 2))[0]
        keys = tuple(sorted(chance.sample(range(middle - 8, middle + 9), size)))
        step = chance.choice((90_000, 150_000, 250_000, 800_000))
        lasts = [round(step * chance.choice((0.1, 0.5, 1, 1, 1, 2.5))) for _ in keys]
        fixed = tuple((key, chance.randrange(1, 6)) for key in keys if chance.random() < 0.06)
        onsets.append(HandOnset(at, keys, tuple(at + last for last in lasts), fixed=fixed))
        at += step
    weighed = costs.weights()
    if seed % 3 == 2:
        weighed = costs.Weights(*(chance.randrange(60) for _ in fields(costs.Weights)))
    return with_held(onsets), chance.choice(HANDS), FingerSettings(chance.choice((1000, 1000, 930)), weighed)


def line(keys: list[int] | tuple[int, ...], step_us: int = 250_000) -> list[HandOnset]:
    """One key after the other without gaps."""
    return [HandOnset(i * step_us, (key,), ((i + 1) * step_us,)) for i, key in enumerate(keys)]


def shown(fingers: tuple[tuple[int, ...], ...]) -> str:
    """Fingers in a row."""
    return " ".join("".join(map(str, chord)) for chord in fingers)


# ------------------------------------------------------------------ exact


@pytest.mark.parametrize("seed", range(150))
def test_a_plan_costs_no_more_than_the_best_of_all(seed: int) -> None:
    onsets, hand, settings = passage(seed, 5)
    while prod(max(1, len(oracle.taken(onset, hand, settings.width)[2])) for onset in onsets) > WAYS:
        onsets.pop()
    plan = plan_keys(onsets, hand, settings)
    if all(plan):
        side = 1 if hand == "right" else -1
        fingers = [tuple(finger for _, finger in chord[::side]) for chord in plan]
        assert oracle.price(onsets, fingers, hand, settings) == oracle.least(onsets, hand, settings)
    assert all(
        bool(chord) == bool(oracle.taken(o, hand, settings.width)[2]) for chord, o in zip(plan, onsets, strict=True)
    )


def test_most_passages_are_tried_at_length() -> None:
    lengths = []
    for seed in range(150):
        onsets, hand, settings = passage(seed, 5)
        while prod(max(1, len(oracle.taken(onset, hand, settings.width)[2])) for onset in onsets) > WAYS:
            onsets.pop()
        lengths.append(len(onsets))
    assert sum(length >= 4 for length in lengths) > 75
    assert min(lengths) >= 2


# ------------------------------------------------------------------ nothing unplayable


@pytest.mark.parametrize("seed", range(1000, 1100))
def test_nothing_in_a_plan_is_unplayable_or_changed_without_need(seed: int) -> None:
    onsets, hand, settings = passage(seed, 40)
    assert list(oracle.faults(onsets, plan_keys(onsets, hand, settings), hand, settings.width)) == []


def test_the_checker_sees_what_is_wrong() -> None:
    onsets = with_held([HandOnset(0, (60,), (900_000,)), HandOnset(500_000, (64, 67), (900_000, 900_000))])
    assert not list(oracle.faults(onsets, [((60, 1),), ((60, 1), (64, 2), (67, 4))], "right"))
    assert list(oracle.faults(onsets, [((60, 1),), ((60, 2), (64, 3), (67, 5))], "right"))
    assert list(oracle.faults(onsets, [((60, 3),), ((60, 3), (64, 2), (67, 4))], "right"))
    assert list(oracle.faults(onsets, [((60, 1),), ((60, 1), (64, 2), (67, 2))], "right"))
    assert list(oracle.faults([HandOnset(0, (60, 70), (9, 9))], [((60, 1), (70, 2))], "right")) == []
    assert list(oracle.faults([HandOnset(0, (60, 71), (9, 9))], [((60, 1), (71, 2))], "right"))
    assert list(oracle.faults([HandOnset(0, (60, 61), (9, 9))], [((60, 1), (61, 1))], "right"))


def test_a_held_key_keeps_its_finger_and_leaves_room() -> None:
    onsets = with_held([HandOnset(0, (60,), (900_000,)), *line([64, 65, 67, 65], 200_000)[1:]])
    plan = plan_keys(onsets, "right")
    assert [chord[0] for chord in plan] == [(60, 1)] * 4


def test_a_held_key_changes_its_finger_only_when_it_must() -> None:
    onsets = [HandOnset(0, (60,), (9,), fixed=((60, 5),)), HandOnset(5, (64, 67), (9, 9), held=(60,))]
    first, second = plan_keys(onsets, "right")
    assert first == ((60, 5),)
    assert dict(second)[60] < 4
    assert oracle.fewest_changes(onsets, "right") == 1


# ------------------------------------------------------------------ chords with more keys, and with none


def test_six_keys_go_with_the_thumb_on_two() -> None:
    onset = HandOnset(0, (60, 62, 64, 65, 67, 69), (9,) * 6)
    assert plan_fingers([onset], "right") == ((1, 1, 2, 3, 4, 5),)
    assert plan_fingers([onset], "left") == ((5, 4, 3, 2, 1, 1),)
    assert configurations([60, 61, 64, 65, 67, 69]) == []


def test_too_many_keys_get_no_fingers_and_the_rest_is_planned() -> None:
    many = tuple(range(60, 71))
    onsets = [*line([60, 62]), HandOnset(500_000, many, (600_000,) * 11), HandOnset(700_000, (64,), (800_000,))]
    plan = plan_fingers(onsets, "right")
    assert plan[2] == (0,) * 11
    assert all(0 not in fingers for i, fingers in enumerate(plan) if i != 2)
    assert plan_fingers([], "right") == ()
    assert plan_fingers(onsets[2:3], "left") == ((0,) * 11,)


def test_held_keys_are_let_go_before_struck_ones_go_without() -> None:
    onsets = with_held([HandOnset(0, (48, 50), (9, 9)), HandOnset(5, (60, 62, 64, 65, 67), (9,) * 5)])
    assert plan_fingers(onsets, "right")[1] == (1, 2, 3, 4, 5)
    assert [key for key, _ in plan_keys(onsets, "right")[1]] == [60, 62, 64, 65, 67]


def test_printed_fingers_are_kept_where_they_can_be() -> None:
    onsets = [
        onset._replace(fixed=((onset.keys[0], 3),)) if i == 1 else onset for i, onset in enumerate(line([60, 62, 64]))
    ]
    assert plan_fingers(onsets, "right")[1] == (3,)
    crossed = HandOnset(0, (60, 64), (9, 9), fixed=((60, 4), (64, 2)))
    fingers = plan_fingers([crossed], "right")[0]
    assert fingers[0] < fingers[1]
    assert (fingers[0] == 4) != (fingers[1] == 2)


def test_a_wide_chord_is_taken_as_near_to_the_spans_as_can_be() -> None:
    assert plan_fingers([HandOnset(0, (48, 65), (9, 9))], "right") == ((1, 5),)
    narrow = FingerSettings(width=850)
    assert costs.beyond(1, 5, 48, 65) == 2000
    assert costs.beyond(1, 5, 48, 65, narrow.width) == 0
    assert plan_fingers([HandOnset(0, (48, 60, 65), (9,) * 3)], "left", narrow)[0][0] == 5


@pytest.mark.parametrize(
    ("onsets", "message"),
    [
        ([HandOnset(5, (60,), (9,)), HandOnset(0, (60,), (9,))], "onset 1 comes before"),
        ([HandOnset(0, (), ())], "a key and a time for each"),
        ([HandOnset(0, (60,), ())], "a key and a time for each"),
        ([HandOnset(0, (64, 60), (9, 9))], "from the lowest, each once"),
        ([HandOnset(0, (60, 60), (9, 9))], "from the lowest, each once"),
        ([HandOnset(0, (128,), (9,))], "MIDI numbers"),
        ([HandOnset(0, (60,), (9,), fixed=((60, 6),))], "fingers are 1 to 5"),
    ],
)
def test_bad_onsets_are_refused(onsets: list[HandOnset], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        plan_fingers(onsets, "right")


def test_a_bonus_and_a_third_hand_are_refused() -> None:
    with pytest.raises(ValueError, match="leap is below nought"):
        replace(costs.weights(), leap=-1)
    with pytest.raises(ValueError, match="'right' or 'left'"):
        plan_fingers(line([60]), "middle")  # type: ignore[arg-type]


# ------------------------------------------------------------------ what does not matter, and what does


@pytest.mark.parametrize("seed", range(2000, 2020))
def test_octave_and_memory_make_no_difference(seed: int) -> None:
    onsets, hand, settings = passage(seed, 30)
    higher = [
        onset._replace(
            keys=tuple(key + 12 for key in onset.keys),
            held=tuple(key + 12 for key in onset.held),
            fixed=tuple((key + 12, finger) for key, finger in onset.fixed),
        )
        for onset in onsets
    ]
    plan = plan_fingers(onsets, hand, settings)
    assert plan_fingers(higher, hand, settings) == plan
    forget()
    assert plan_fingers(onsets, hand, settings) == plan


def test_black_keys_lie_where_the_mirror_has_them() -> None:
    for key in range(128):
        assert (key % 12 in oracle.BLACKS) == (costs.mirrored(key) % 12 in oracle.BLACKS)
        assert costs.mirrored(costs.mirrored(key)) == key


def test_a_key_repeated_fast_changes_fingers_and_slowly_does_not() -> None:
    fast, slow = (plan_fingers(line([60] * 6, step_us), "right") for step_us in (90_000, 600_000))
    assert all(before != after for before, after in pairwise(fast))
    assert len(set(slow)) == 1


def test_a_rest_frees_the_hand() -> None:
    """After a rest a hand begins as if nothing had been; without one it goes on from where it was."""
    first, second = [60, 62, 64, 65, 67], [69, 71, 72, 74, 76]
    at_once = plan_fingers(line(first + second), "right")
    later = [
        onset._replace(t_us=onset.t_us + 3_000_000, until_us=(onset.until_us[0] + 3_000_000,)) for onset in line(second)
    ]
    after_rest = plan_fingers(line(first) + later, "right")
    assert shown(after_rest) == "1 2 3 4 5 1 2 3 4 5"
    assert shown(at_once) != shown(after_rest)


@pytest.mark.parametrize("tonic", [60, 55, 62, 57, 64, 59])
def test_the_sharp_major_scales_of_the_right_hand_are_as_taught(tonic: int) -> None:
    """C, G, D, A, E and B major over two octaves: 123 1234 123 12345, as every method has it."""
    keys = [tonic + octave + step for octave in (0, 12) for step in MAJOR] + [tonic + 24]
    assert shown(plan_fingers(line(keys), "right")).replace(" ", "") == "123123412312345"


# ------------------------------------------------------------------ figures


def test_every_weight_and_span_says_where_it_comes_from() -> None:
    named = {f"weight_{each.name}" for each in fields(costs.Weights)} | {f"span_{f}_{g}" for f, g in costs.PAIRS}
    others = {"joined", "free", "fast", "apart_share", "free_share"}
    assert {fact.key for fact in facts.of("fingers")} == named | others
    assert all(fact.note for fact in facts.of("fingers"))
    for limits in costs.spans().values():
        assert len(limits) == 6
        assert list(limits) == sorted(limits)


def test_our_fingers_match_printed_ones_more_often_than_untuned_ones_or_the_thumb() -> None:
    """Files whose name has an odd sum served for fitting and are left out."""
    staves = [
        staff
        for staff in oracle.printed_scores()
        if int(hashlib.sha256(staff.name.encode("utf-8")).hexdigest(), 16) % 2 == 0
    ]
    if {staff.name for staff in staves}.isdisjoint(oracle.SHARED):
        pytest.skip("the shared scores are not here")
    figures = sum(len(staff.printed) for staff in staves)
    assert figures > 100

    def hits(settings: FingerSettings) -> int:
        count = 0
        for staff in staves:
            onsets = [HandOnset(**onset) for onset in staff.onsets]
            plan = plan_fingers(onsets, staff.hand, settings)  # type: ignore[arg-type]
            assert list(oracle.faults(onsets, plan_keys(onsets, staff.hand, settings), staff.hand)) == []  # type: ignore[arg-type]
            count += sum(plan[i][onsets[i].keys.index(key)] in its for (i, key), its in staff.printed.items())
        return count

    ours, untuned = hits(FingerSettings()), hits(FingerSettings(weights=costs.equal_weights()))
    thumb = sum(1 in fingers for staff in staves for fingers in staff.printed.values())
    assert ours / figures >= 0.6
    assert ours > untuned
    assert ours > thumb


def test_the_printed_figures_are_read_where_they_stand() -> None:
    """Bar 1 of the second Polonaise has 1 2 1 on G G A; bar 5 of the fourth 4 3 2 1 2 1 2 in the left hand."""
    staves = {(staff.name, staff.staff): staff for staff in oracle.printed_scores()}
    second = staves["polonaise_op1n2.mxl", 1]
    assert list(second.printed.items())[:3] == [((0, 67), (1,)), ((1, 67), (2,)), ((2, 69), (1,))]
    fourth = staves["polonaise_op1n4.mxl", 2]
    assert [(key, *fingers) for (_, key), fingers in fourth.printed.items()] == [
        (44, 4), (45, 3), (48, 2), (52, 1), (57, 2), (60, 1), (60, 2),
    ]  # fmt: skip


PRINTED = ("schumann_clara/opus17/movement3.xml", "schubert/Lindenbaum.xml", "schumann_clara/polonaise_op1n3.mxl")


@pytest.mark.parametrize("path", [f.path for f in corpus_files() if f.name in PRINTED], ids=lambda p: p.name)
def test_octaves_of_printed_parts_are_taken_with_the_thumb(path: Path) -> None:
    """Common practice: thumb and fifth or fourth finger, whatever the hand has just let go."""
    state = state_of(read(path).score, Forces())
    seen = 0
    for spans in state.spans.values():
        plan = KEYBOARD.plan(spans, state.context())
        if not isinstance(plan, KeyboardPlan) or plan.reading is None or plan.hands is None:
            continue
        for row, hands, fingers in zip(plan.reading.onsets, plan.hands.hands, fingers_of(plan), strict=True):
            for side in "LR":
                mine = [n for n, hand in enumerate(hands) if hand == side]
                printed = any(row[n].event.note.marked("fingering") for n in mine)
                if len(mine) != 2 or row[mine[1]].key - row[mine[0]].key != 12 or printed:
                    continue
                seen += 1
                assert sorted(fingers[mine[0]] + fingers[mine[1]]) in ([1, 4], [1, 5]), row[0].event.measure
    assert seen > 5


# Two octaves of the major scales as handbooks of scales have them, from the semitone above C on which they begin.
TAUGHT: dict[Hand, dict[int, str]] = {
    "right": {
        0: "123123412312345", 7: "123123412312345", 2: "123123412312345", 9: "123123412312345", 4: "123123412312345",
        11: "123123412312345", 5: "123412312341234", 10: "412312341231234", 3: "312341231234123",
        8: "341231234123123", 1: "231234123123412", 6: "234123123412312",
    },
    "left": {
        0: "543213214321321", 7: "543213214321321", 2: "543213214321321", 9: "543213214321321", 4: "543213214321321",
        5: "543213214321321", 11: "432143213214321", 10: "321432132143213", 3: "321432132143213",
        8: "321432132143213", 1: "321432132143213", 6: "432132143213214",
    },
}  # fmt: skip


def test_scales_are_mostly_as_taught_with_the_thumb_on_white_keys() -> None:
    as_taught = on_black = notes = 0
    for hand, table in TAUGHT.items():
        for tonic, taught in table.items():
            low = (48 if hand == "right" else 36) + tonic
            keys = [low + 12 * octave + step for octave in (0, 1) for step in MAJOR] + [low + 24]
            onsets = [HandOnset(i * 200_000, (key,), (i * 200_000 + 200_000,)) for i, key in enumerate(keys)]
            fingers = [row[0] for row in plan_fingers(with_held(onsets), hand)]
            notes += len(keys)
            as_taught += sum(str(finger) == wanted for finger, wanted in zip(fingers, taught, strict=True))
            on_black += sum(f == 1 and key % 12 in (1, 3, 6, 8, 10) for f, key in zip(fingers, keys, strict=True))
    assert notes == 360
    assert as_taught >= 280 and on_black <= 2, (as_taught, on_black)
