"""The planner of the harp's hands against brute force, an outside checker, and what harpists are told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from itertools import combinations
from random import Random
from typing import Any

import pytest

from deskproof.families.harp.hands import HandCost, HandPlan, HandSettings, Hard, Struck, plan_hands
from deskproof.families.harp.model import String
from oracles import harp_hands_bruteforce, harp_hands_checker

USUAL = HandSettings.from_facts()
LOW, HIGH = String("C", 1).line, String("G", 7).line


def line(name: str) -> int:
    return String(name[0], int(name[1:])).line


def struck(
    t_us: int, names: str, staves: Sequence[int] = (), *, how: str = "struck", hold_us: int = 0, bracketed: bool = False
) -> Struck:
    """An onset of named strings, all alike: ``struck(0, "C4 E4", (1, 1))``."""
    lines = tuple(line(name) for name in names.split())
    n = len(lines)
    return Struck(t_us, lines, tuple(staves) or (0,) * n, (hold_us,) * n, bracketed, (how,) * n)


def rows_of(onsets: Sequence[Struck]) -> list[dict[str, Any]]:
    return [onset._asdict() for onset in onsets]


def checked(onsets: Sequence[Struck], settings: HandSettings = USUAL) -> HandPlan:
    """The plan, after the outside checker has seen it and its price has been counted anew."""
    plan = plan_hands(onsets, settings)
    terms, rows = asdict(settings), rows_of(onsets)
    assert harp_hands_checker.check(rows, plan.hands, plan.left_out, plan.hard, terms) == []
    assert harp_hands_bruteforce.price(rows, plan.hands, terms) == tuple(plan.cost)
    assert plan.proven
    return plan


def hands(plan: HandPlan) -> list[str]:
    return ["".join(hand or "-" for hand in row) for row in plan.hands]


def of_kind(plan: HandPlan, kind: str) -> list[Hard]:
    return [row for row in plan.hard if row.kind == kind]


def passage(seed: int) -> tuple[list[Struck], HandSettings]:
    """3 to 6 onsets of 1 to 6 strings, slow or fast, near or far, and the hands of some harpist."""
    random = Random(f"hands {seed}")
    settings = USUAL
    if random.random() < 0.5:
        hand = random.choice((2, 3, 4, 4))
        settings = replace(
            settings,
            hand=hand,
            together=random.choice((2 * hand, 2 * hand, 2 * hand - 1)),
            reach=random.choice((5, 7, 9)),
            leap=random.choice((7, 15, 30)),
            right_lowest=random.choice((11, 14, 21)),
            again_us=random.choice((150_000, 300_000)),
        )
    kind = random.choice(("line", "line", "repeated", "chords", "chords", "far", "mixed"))
    most = {"line": 1, "repeated": 2}.get(kind, random.choice((2, 3, 4, 6)))
    centre, spread = random.randint(LOW + 6, HIGH - 6), {"line": 6, "repeated": 2, "far": 22}.get(kind, 12)
    staves = random.choice(("none", "split", "any"))
    step = random.choice((40_000, 80_000, 120_000, 200_000, 300_000, 700_000))
    t_us, found = random.choice((0, 500_000)), []
    for _ in range(random.randint(3, 6)):
        reach = range(max(LOW, centre - spread), min(HIGH, centre + spread) + 1)
        lines = random.sample(reach, min(random.randint(1, most), len(reach)))
        rows = [{"none": 0, "split": 1 if at >= centre else 2, "any": random.choice((0, 1, 2))}[staves] for at in lines]
        how = [random.choice(("struck",) * 6 + ("roll", "trill", "gliss", *("harmonic",) * 3)) for _ in lines]
        hold = [random.choice((0, step // 2, step, 3 * step)) for _ in lines]
        found.append(Struck(t_us, tuple(lines), tuple(rows), tuple(hold), random.random() < 0.3, tuple(how)))
        t_us += step * random.choice((1, 1, 1, 2))
        if kind != "repeated":
            centre = min(max(centre + random.randint(-7, 7), LOW + 6), HIGH - 6)
    return found, settings


@pytest.mark.parametrize("block", range(10))
def test_no_plan_costs_less_and_the_checker_finds_no_fault(block: int) -> None:
    for seed in range(50 * block, 50 * block + 50):
        onsets, settings = passage(seed)
        plan = checked(onsets, settings)
        assert harp_hands_bruteforce.least(rows_of(onsets), asdict(settings)) == tuple(plan.cost), seed


def test_the_random_passages_use_every_part_of_the_price() -> None:
    costs = [plan_hands(*passage(seed)).cost for seed in range(500)]
    for name in HandCost._fields:
        some = sum(getattr(cost, name) > 0 for cost in costs)
        assert (some == 0) if name == "crossed" else (some >= 10), (name, some)


@pytest.mark.parametrize("seed", range(20))
def test_a_long_plan_is_right_and_tells_what_it_counts(seed: int) -> None:
    random = Random(f"long {seed}")
    onsets: list[Struck] = []
    for start in range(20):
        some, _ = passage(random.randrange(1000))
        begin = onsets[-1].t_us + random.choice((30_000, 100_000, 400_000)) if onsets else 0
        onsets += [onset._replace(t_us=begin + onset.t_us - some[0].t_us) for onset in some]
        assert start == 0 or onsets
    plan = checked(onsets)
    leaps = of_kind(plan, "leap")
    assert len(leaps) == plan.cost.leaps and sum(row.number for row in leaps) == plan.cost.late_us
    assert len(of_kind(plan, "again")) == plan.cost.again
    assert len(of_kind(plan, "busy")) == plan.cost.busy
    assert sum(len(row.notes) for row in plan.hard if row.kind in ("low", "high")) == plan.cost.zone
    assert len(plan.left_out) == plan.cost.left_out


def test_with_too_few_states_nothing_is_proven_and_the_price_is_no_better() -> None:
    dearer = 0
    for seed in range(200):
        onsets, settings = passage(seed)
        best, other = plan_hands(onsets, settings), plan_hands(onsets, settings, most_states=1)
        assert best.proven and best.cost <= other.cost
        if other.cost > best.cost:
            assert not other.proven
            dearer += 1
    assert dearer >= 5


# -- fingers and reach ---------------------------------------------------------------------------------------------


def test_a_chord_of_twelve_leaves_out_four() -> None:
    chord = "C2 G2 C3 E3 G3 C4 E4 G4 C5 E5 G5 C6"
    plan = checked([struck(0, chord)])
    assert len(plan.left_out) == 4
    taken = [name for name, hand in zip(chord.split(), plan.hands[0], strict=True) if hand]
    assert {name[0] for name in taken} == set("CEG") and taken[0] == "C2" and taken[-1] == "C6"


def test_eight_notes_of_a_broken_chord_go_however_far_apart_but_not_nine() -> None:
    assert checked([struck(0, "C2 C3 G3 C4 E4 C5 E5 C6")]).left_out == ()
    assert len(checked([struck(0, "C2 C3 G3 C4 D4 E4 C5 E5 C6")]).left_out) == 1


@pytest.mark.parametrize("count", range(1, 9))
def test_a_broken_chord_of_eight_or_fewer_always_has_its_hands(count: int) -> None:
    random = Random(f"broken {count}")
    for _ in range(50):
        lines = tuple(random.sample(range(LOW, HIGH + 1), count))
        onset = Struck(0, lines, (0,) * count, (0,) * count, False, ("struck",) * count)
        assert checked([onset]).left_out == ()


def test_struck_at_once_a_hand_has_a_tenth() -> None:
    assert checked([struck(0, "C3 E4 C5 E6", bracketed=True)]).left_out == ()
    # An eleventh from C3 to F4, thirteen steps from F4 to E6.
    assert checked([struck(0, "C3 F4 C5 E6", bracketed=True)]).left_out == ((0, 1),)
    assert len(checked([struck(0, "C2 F3 C5 F6", bracketed=True)]).left_out) == 2
    assert checked([struck(0, "C2 F3 C5 F6")]).left_out == ()


def test_a_fifth_finger_is_not_there() -> None:
    # The right hand has the C5, two octaves and a half from the G2: five are left for the left hand.
    plan = checked([struck(0, "C2 D2 E2 F2 G2 C5", bracketed=True)])
    assert plan.left_out == ((0, 2),)
    assert hands(plan) == ["LL-LLR"]
    assert hands(checked([struck(0, "C2 D2 E2 F2 G2 C5")])) == ["LLLLRR"]


def test_the_lowest_strings_are_the_left_hands() -> None:
    plan = checked([struck(0, "C1 D1 E1 F1 G1")])
    assert hands(plan) == ["LLLLR"] and [row.kind for row in plan.hard] == ["low"]
    assert plan.hard[0].number == line("C3") - line("G1")
    # The right hand of another harp, or harpist, begins at A1: the fifth string is too much then.
    assert len(checked([struck(0, "C1 D1 E1 F1 G1")], replace(USUAL, right_lowest=line("A1"))).left_out) == 1
    upper = checked([struck(0, "F1", (1,)), struck(1_000_000, "E1", (1,))])
    assert hands(upper) == ["L", "L"] and upper.cost.staff == 2


@pytest.mark.parametrize("bracketed", [False, True])
def test_no_more_is_left_out_than_must_be(bracketed: bool) -> None:
    random = Random(f"left out {bracketed}")
    terms = asdict(USUAL)
    seen = 0
    for _ in range(60):
        lines = tuple(random.sample(range(LOW, LOW + 30), random.randint(5, 10)))
        n = len(lines)
        onset = Struck(0, lines, (0,) * n, (0,) * n, bracketed, ("struck",) * n)
        left_out = len(checked([onset]).left_out)
        most = next(
            count
            for count in range(min(n, 8), 0, -1)
            for some in combinations(sorted(lines), count)
            if any(_goes(some[:cut], some[cut:], bracketed, terms) for cut in range(count + 1))
        )
        assert left_out == n - most
        seen += left_out > 0
    assert seen >= 10


def _goes(left: Sequence[int], right: Sequence[int], bracketed: bool, terms: dict[str, int]) -> bool:
    fits = all(
        len(row) <= terms["hand"] and not (bracketed and row and row[-1] - row[0] > terms["reach"])
        for row in (left, right)
    )
    return fits and (not right or right[0] >= terms["right_lowest"])


def test_a_cluster_of_all_strings_is_planned_in_no_time() -> None:
    lines = tuple(range(LOW, HIGH + 1))
    for bracketed in (False, True):
        onset = Struck(0, lines, (0,) * 47, (0,) * 47, bracketed, ("struck",) * 47)
        assert len(plan_hands([onset], USUAL).left_out) == 47 - 8


# -- from onset to onset -------------------------------------------------------------------------------------------


def test_hands_follow_the_staves_where_they_can() -> None:
    plan = checked([struck(500_000 * k, "C3 G3 E4 C5", (2, 2, 1, 1)) for k in range(4)])
    assert hands(plan) == ["LLRR"] * 4 and not any(plan.cost[:10])
    # Three in the lower staff, and of one staff's notes all in its hand.
    assert hands(checked([struck(0, "E4 G4 C5 E5", (2, 2, 2, 1))])) == ["LLLR"]
    assert hands(checked([struck(0, "C5", (2,))])) == ["L"]


def test_without_staves_the_hands_part_in_the_middle() -> None:
    assert hands(checked([struck(0, "C3 B3 C4 G4")])) == ["LLRR"]
    assert hands(checked([struck(400_000 * k, name) for k, name in enumerate(["C3", "B3", "C4", "G4"])])) == list(
        "LLRR"
    )


def test_the_same_string_again_at_speed_goes_from_hand_to_hand() -> None:
    plan = checked([struck(100_000 * k, "C5", (1,)) for k in range(6)])
    assert hands(plan) in (list("RLRLRL"), list("LRLRLR")) and not plan.hard
    slow = checked([struck(150_000 * k, "C5", (1,)) for k in range(6)])
    assert hands(slow) == list("RRRRRR")
    # Both hands have enough to do below their comfort: who repeats says so.
    both = checked([struck(100_000 * k, "E3 G3 C4 E4 G4 C5", (2, 2, 2, 1, 1, 1)) for k in range(2)])
    assert len(of_kind(both, "again")) == both.cost.again > 0
    assert {row.number for row in of_kind(both, "again")} == {100_000}


def test_a_hand_that_cannot_be_there_in_time_is_helped_by_the_other() -> None:
    far = [struck(0, "C4", (1,)), struck(150_000, "C7", (1,))]  # 21 steps, 12 beyond the hand: 400 ms
    plan = checked(far)
    assert hands(plan) == ["L", "R"] and plan.cost.leaps == 0
    assert hands(checked([far[0], far[1]._replace(t_us=400_008)])) == ["R", "R"]


def test_what_no_hand_reaches_in_time_is_said_in_figures() -> None:
    low = struck(0, "C2 E3 G3 B4", bracketed=True)  # both hands are full: a tenth each
    plan = checked([low, struck(200_000, "E5 G6 A6 C7", bracketed=True)])
    # Left: from C2 to a window that has E5, so from C4 on: 14 steps of 33,334 us. Right: from G3 to a window that has
    # C7, so from A5 on: 15 steps.
    assert {row.hand: row.number for row in of_kind(plan, "leap")} == {
        "L": 14 * 33_334 - 200_000,
        "R": 15 * 33_334 - 200_000,
    }
    assert {(row.onset, row.before) for row in of_kind(plan, "leap")} == {(1, 0)}
    # A chord that one hand has leaves the other free.
    near = [struck(0, "C2 E2 G2 B2", bracketed=True), struck(100_000, "C5 E5 G5 B5", bracketed=True)]
    assert hands(checked(near)) == ["LLLL", "RRRR"] and not checked(near).hard


def test_an_arpeggio_moves_the_hand_though_every_step_lies_in_it() -> None:
    names = ["C4", "G4", "E5", "C6", "A6", "F7"]
    rows = [struck(50_000 * k, name, (1,)) for k, name in enumerate(names)]
    alone = replace(USUAL, left_highest_comfortable=LOW)  # the left hand would be awkward everywhere
    assert checked(rows).cost.leaps == 0  # the hands share it
    bass = [row._replace(lines=(*row.lines, line("C1") + k), staves=(1, 2), hold_us=(0, 0), how=("struck",) * 2)
            for k, row in enumerate(rows)]  # fmt: skip
    assert checked(bass, alone).cost.leaps > 0


def test_a_trill_takes_one_hand_and_binds_it() -> None:
    trill = struck(0, "C5 D5", (1, 1), how="trill", hold_us=1_000_000)
    later = struck(500_000, "G4", (1,))
    plan = checked([trill, later, struck(1_000_000, "C5", (1,))])
    assert hands(plan) == ["RR", "L", "R"] and not plan.hard
    both = checked([trill, struck(500_000, "C3 E3 G3 C4 E4", (2, 2, 2, 2, 1))])
    assert [(row.kind, row.hand, row.number, row.before) for row in both.hard] == [("busy", "R", 500_000, 0)]


def test_the_left_hand_has_the_harmonics() -> None:
    def bells(names: str, staves: Sequence[int]) -> HandPlan:
        return checked([struck(0, names, staves, how="harmonic")])

    assert hands(bells("C4 E4 G4", (1, 1, 1))) in (["LLR"], ["LLL"])
    assert not bells("C4 E4 G4 C5", (2, 2, 2, 1)).hard
    assert [row.kind for row in bells("C4 E4 G4 B4 C5", (2, 2, 2, 1, 1)).hard] == ["harmonics"]


def test_a_run_on_one_staff_stays_in_one_hand() -> None:
    names = ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"]
    assert hands(checked([struck(80_000 * k, name, (1,)) for k, name in enumerate(names)])) == ["R"] * 8
    # Without staves too, also where it passes the middle, as long as it goes no further than an octave.
    names = ["A3", "B3", "C4", "B3", "A3", "B3", "C4", "D4"]
    assert len(set(hands(checked([struck(80_000 * k, name) for k, name in enumerate(names)])))) == 1


def test_a_wide_broken_chord_is_shared_so_that_hands_travel_least() -> None:
    plan = checked([struck(0, "C2 G2 E3 C4 G4 E5")])
    assert hands(plan) == ["LLLRRR"] and plan.cost.spread == 0


# -- what is refused -----------------------------------------------------------------------------------------------


def test_input_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="order"):
        plan_hands([struck(5, "C4"), struck(5, "D4")], USUAL)
    with pytest.raises(ValueError, match="twice"):
        plan_hands([struck(0, "C4 C4")], USUAL)
    with pytest.raises(ValueError, match="one length"):
        plan_hands([struck(0, "C4")._replace(staves=())], USUAL)


def test_nothing_has_a_plan_and_so_has_an_empty_onset() -> None:
    assert plan_hands([], USUAL) == HandPlan((), (), (), HandCost(), True)
    plan = checked([struck(0, "C4"), struck(10, ""), struck(20, "C5")])
    assert plan.hands[1] == ()


# -- the checker sees what it should -------------------------------------------------------------------------------


def test_the_checker_refuses_plans_that_are_spoilt() -> None:
    onsets = [struck(0, "C1 E1 C4 E4 G4 C5"), struck(100_000, "C5", (1,)), struck(200_000, "C5", (1,))]
    plan = plan_hands(onsets, USUAL)
    rows, terms = rows_of(onsets), asdict(USUAL)

    def said(hands: Sequence[Sequence[str | None]], left_out: Sequence[tuple[int, int]] = plan.left_out) -> str:
        return "; ".join(harp_hands_checker.check(rows, hands, left_out, plan.hard, terms))

    assert said(plan.hands) == ""
    assert "string" in said(["RLRRRR"[:1] + "LRRRR", *plan.hands[1:]])
    assert "5 notes" in said(["LLLLLR", *plan.hands[1:]])
    assert "could be taken" in said([("L", "L", None, "R", "R", "R"), *plan.hands[1:]], [(0, 2)])
    assert "without a hand" in said(plan.hands, [(0, 2)])
    assert "not said" in said([plan.hands[0], "R", "R"])
    assert "rows of hands" in said(plan.hands[:1])
