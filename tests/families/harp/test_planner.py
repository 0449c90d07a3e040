"""The planner of the harp's pedals against brute force, an outside checker, and published examples."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise
from random import Random
from typing import Any

import pytest

import harp_passages
from deskproof.families.harp.feet import Foot
from deskproof.families.harp.model import HarpNote, Onset, Settings, String, choices, hands_take, strings
from deskproof.families.harp.passage import Passage, use_of
from deskproof.families.harp.place import Job, place
from deskproof.families.harp.plan import Joint, PedalPlan, plan_pedals
from harp_records import record_of
from oracles import harp_bruteforce, harp_checker

COMFORTABLE, QUICKEST = 500_000, 250_000
PROVEN = ("impossible", "let_go_early", "quick_changes", "changes")


def settings(**more: Any) -> Settings:
    return Settings(more.pop("comfortable", COMFORTABLE), more.pop("quickest", QUICKEST), **more)


def onsets_of(raw: harp_passages.Onsets, repeat: dict[str, int] | None = None) -> list[Onset]:
    """Played out; a note's key is its place on the page."""
    return [
        Onset(
            moment.t_us,
            tuple(
                HarpNote(pitch, written, raw[moment.printed]["notes"][n]["spelled"][:2], (moment.printed, n))
                for n, (pitch, written) in enumerate(moment.notes)
            ),
        )
        for moment in harp_bruteforce.unroll(raw, repeat)
    ]


def joints_of(repeat: dict[str, int] | None) -> list[Joint]:
    return [Joint(repeat["from_us"], repeat["to_us"])] if repeat else []


def at(*rows: tuple[float, str], held: float = 0.0) -> list[Onset]:
    """Onsets from (seconds, names), each note held so many seconds: ``at((0, "C4 E4"), (1, "G#4"))``."""
    found = []
    for seconds, names in rows:
        spelled = [(n[0], n.count("#") - n[1:].count("b"), int(n[-1])) for n in names.split()]
        notes = tuple(HarpNote(harp_passages.sounding(s), round(held * 1e6), s[:2]) for s in spelled)
        found.append(Onset(round(seconds * 1e6), notes))
    return found


def values(plan: PedalPlan) -> tuple[int, ...]:
    return tuple(plan[name].value for name in PROVEN)


def as_json(
    plan: PedalPlan, raw: harp_passages.Onsets, repeat: dict[str, int] | None, used: Settings
) -> dict[str, Any]:
    """The plan in the form that the outside checker reads; note n of onset m is P1/m{m}/n{n}."""
    events, left_out = [], {}
    moments = harp_bruteforce.unroll(raw, repeat)
    for moment, row in zip(moments, plan.notes, strict=True):
        groups: dict[tuple[int, int, str], list[tuple[int, Any]]] = {}
        for n, planned in enumerate(row):
            if planned is None:
                left_out[f"P1/m{moment.printed}/n{n}"] = True
            else:
                key = moment.notes[n][1], planned.hold_us, planned.ends
                groups.setdefault(key, []).append((n, planned))
        for (written, hold, ends), rows in groups.items():
            events.append(
                {"t_us": moment.t_us, "end_us": moment.t_us + written, "hold_us": hold, "written_us": written,
                 "pass": moment.play, "notes": [f"P1/m{moment.printed}/n{n}" for n, _ in rows],
                 "pitches": [moment.notes[n][0] for n, _ in rows], "strings": [str(p.string) for _, p in rows],
                 "positions": [p.position for _, p in rows], "hands": None, "how": "struck", "gliss": None,
                 "ends": ends, "bar": "1", "beat": "1"}
            )  # fmt: skip
    return record_of(plan, used, events, left_out)


def complaints(plan: PedalPlan, passage: harp_passages.Passage, used: Settings) -> list[str]:
    return harp_checker.check(
        as_json(plan, passage.onsets, passage.repeat, used),
        harp_bruteforce.source_of(passage.onsets, passage.repeat),
        initial_given=passage.initial is not None,
    )


# Against brute force.


@pytest.mark.parametrize("first", range(0, 1000, 50))
def test_short_passages_cost_what_brute_force_says(first):
    proven = 0
    for seed in range(first, first + 50):
        passage = harp_passages.short(seed)
        used = settings(initial=passage.initial, fixed=passage.fixed)
        plan = plan_pedals(onsets_of(passage.onsets, passage.repeat), used, joints=joints_of(passage.repeat))
        least = harp_bruteforce.least(passage.onsets, **passage.terms)
        assert complaints(plan, passage, used) == [], seed
        if plan.proven:
            proven += 1
            assert values(plan) == least.cost, seed
        else:
            assert tuple(plan[name].at_least for name in PROVEN) <= least.cost <= values(plan), seed
    assert proven >= 49


@pytest.mark.parametrize("times", [(300_000, 300_000), (800_000, 150_000), (120_000, 60_000)])
def test_other_times_of_the_feet_cost_what_brute_force_says(times):
    for seed in range(2000, 2080):
        passage = harp_passages.short(seed)
        if passage.repeat:
            continue
        used = settings(comfortable=times[0], quickest=times[1], initial=passage.initial, fixed=passage.fixed)
        plan = plan_pedals(onsets_of(passage.onsets), used)
        least = harp_bruteforce.least(
            passage.onsets, **passage.terms, comfortable_us=times[0], quickest_us=times[1]
        )
        assert plan.proven and values(plan) == least.cost, seed
        assert complaints(plan, passage, used) == [], seed


@pytest.mark.parametrize("seed", [*range(20), 146, 252, 1626, 2466])
def test_restless_passages_cost_what_brute_force_says(seed):
    """The last four need more changes than a player without hurry would: a short cut of the search is seen there."""
    raw = harp_passages.tonal(8, seed, step_us=300_000, chromatic=0.4, turn=0.3)
    plan = plan_pedals(onsets_of(raw), settings(comfortable=300_000, quickest=150_000))
    assert plan.proven
    assert values(plan) == harp_bruteforce.least(raw, comfortable_us=300_000, quickest_us=150_000).cost


def test_the_passages_hold_all_kinds_of_trouble():
    costs = [harp_bruteforce.least(p.onsets, **p.terms).cost for p in map(harp_passages.short, range(300))]
    assert all(sum(cost[k] > 0 for cost in costs) > 10 for k in range(4))
    assert sum(harp_passages.short(seed).repeat is not None for seed in range(300)) > 30


# A long passage is as good as its parts allow, and is checked from outside.


@pytest.mark.parametrize(
    "raw",
    [
        harp_passages.tonal(400, 5),
        harp_passages.tonal(400, 6, step_us=250_000),
        harp_passages.random_notes(300, 7),
        harp_passages.random_notes(300, 8, notes=2),
        harp_passages.random_notes(300, 9, notes=3),
    ],
    ids=["tonal", "tonal fast", "single", "pairs", "triads"],
)
def test_long_passages_are_proven_and_pass_the_outside_checker(raw):
    plan = plan_pedals(onsets_of(raw), settings())
    passage = harp_passages.Passage(0, raw, None, {"C1": 0, "D1": 0}, None)
    assert plan.proven
    assert complaints(plan, passage, settings()) == []


def test_more_time_never_costs_more():
    raw = harp_passages.tonal(150, 11, step_us=300_000)
    costs = [values(plan_pedals(onsets_of(raw), settings(comfortable=t, quickest=t // 2))) for t in (600_000, 400_000)]
    assert costs[0] >= costs[1]


def test_the_same_passage_gives_the_same_plan():
    raw = harp_passages.tonal(200, 12)
    assert plan_pedals(onsets_of(raw), settings()) == plan_pedals(onsets_of(raw), settings())


# Published examples (see tests/published).


def test_g_g_sharp_a_is_the_only_triad_that_no_setting_gives():
    refused = [
        set(triad)
        for triad in combinations(range(12), 3)
        if values(plan_pedals([Onset(0, tuple(HarpNote(60 + p, 0) for p in triad))], settings()))[0]
    ]
    assert refused == [{7, 8, 9}]


def test_c_c_sharp_d_stands_on_b_sharp_c_sharp_d():
    plan = plan_pedals(at((0, "C4 C#4 D4")), settings())
    assert [(str(n.string), n.position) for n in plan.notes[0] if n] == [("B3", 1), ("C4", 1), ("D4", 0)]


def test_a_chord_in_double_flats_stands_on_the_strings_that_berlioz_names():
    # D double flat, F flat, A double flat, C flat: "F flat open, C, G and B raised to natural"
    named = ((60, None), (64, ("F", -1)), (67, None), (71, None))
    plan = plan_pedals([Onset(0, tuple(HarpNote(p, 0, spelled) for p, spelled in named))], settings())
    assert [(str(n.string), n.position) for n in plan.notes[0] if n] == [("C4", 0), ("F4", -1), ("G4", 0), ("B4", 0)]


def test_the_lowest_c_cannot_be_flat_and_then_sharp():
    onsets = [Onset(0, (HarpNote(23, 0),)), Onset(9_000_000, (HarpNote(25, 0),))]
    flat = plan_pedals(onsets, settings(fixed={"C1": -1, "D1": 0}))
    assert [row[0] is None for row in flat.notes] == [False, True]
    assert flat["impossible"].value == 1 and flat["impossible"].at_least == 1


def test_a_c_sharp_trill_needs_no_pedal():
    plan = plan_pedals([Onset(0, (HarpNote(60, 10**6), HarpNote(61, 10**6)))], settings())
    assert not plan.changes and values(plan) == (0, 0, 0, 0)


def test_a_glissando_sets_all_seven_pedals():
    setting = zip("DCBEFGA", (0, 0, 1, 0, -1, 0, 0), strict=True)  # the C major pentatonic scale, published
    demands = tuple((letter, position, 10**6) for letter, position in setting)
    plan = plan_pedals([*at((0, "B3 F4")), Onset(2_000_000, (HarpNote(48, 0),), demands=demands)], settings())
    assert {(c.pedal, c.after) for c in plan.changes} == {("B", 1), ("F", -1)}
    assert values(plan) == (0, 0, 0, 2)


# One rule each, with the times chosen so that a microsecond decides.


@pytest.mark.parametrize(
    ("gap_us", "expected"),
    [(500_000, (0, 0, 0, 1)), (499_999, (0, 0, 1, 1)), (250_000, (0, 0, 1, 1)), (249_999, (1, 0, 0, 0))],
)
def test_a_change_takes_exactly_its_time(gap_us, expected):
    plan = plan_pedals([Onset(0, (HarpNote(62, 0),)), Onset(gap_us, (HarpNote(61, 0), HarpNote(60, 0)))], settings())
    assert values(plan) == (0, 0, 0, 0)  # C and D flat: nothing held, nothing moved
    plan = plan_pedals([Onset(0, (HarpNote(67, 0), HarpNote(69, 0))), Onset(gap_us, (HarpNote(68, 0),))], settings())
    assert values(plan) == expected


def test_a_held_note_is_let_go_only_where_no_plan_keeps_it():
    held = plan_pedals(at((0, "G4 A4"), (1, "G#4"), held=0.5), settings())
    assert values(held) == (0, 0, 0, 1)
    assert held.changes[0].t_us == 500_000
    tight = plan_pedals(at((0, "G4 A4"), (1, "G#4"), held=0.9), settings())
    assert values(tight) == (0, 1, 0, 1)
    assert tight.notes[0][0].ends == "early" and tight.notes[0][0].hold_us <= 500_000


def test_a_damping_sign_ends_the_hold():
    onsets = at((0, "G4 A4"), (1, "G#4"), held=0.9)
    plan = plan_pedals(onsets, settings(), damps=[(400_000, "DCBEFGA")])
    assert values(plan) == (0, 0, 0, 1)
    assert {note.ends for note in plan.notes[0] if note} == {"damped"}
    assert {note.hold_us for note in plan.notes[0] if note} == {400_000}


def test_the_composer_s_names_stay_where_they_cost_nothing():
    plan = plan_pedals(at((0, "F#4"), (1, "Gb4"), (2, "F#4")), settings())
    assert plan["changes"].value == 0 and plan["spelling"].value == 0
    assert [str(row[0].string) for row in plan.notes] == ["F4", "G4", "F4"]


def test_flats_are_preferred_where_nothing_is_spelled():
    plan = plan_pedals([Onset(0, (HarpNote(61, 0), HarpNote(63, 0), HarpNote(70, 0)))], settings())
    assert {note.position for note in plan.notes[0]} == {-1}


def test_repeated_notes_keep_their_strings_and_the_joint_agrees():
    notes = [(0, 66), (1, 65), (2, 64), (3, 66)]
    onsets = [
        Onset((4 * times + s) * 1_000_000, (HarpNote(p, 0, None, s),)) for times in (0, 1) for s, p in notes
    ]
    plan = plan_pedals(onsets, settings(), joints=[Joint(0, 4_000_000)])
    assert [row[0].string for row in plan.notes[:4]] == [row[0].string for row in plan.notes[4:]]


@pytest.mark.parametrize("count", [9, 12, 20])
def test_more_notes_than_fingers_are_left_out_and_named(count):
    plan = plan_pedals([Onset(0, tuple(HarpNote(48 + 2 * k, 0) for k in range(count)))], settings())
    assert plan["impossible"].value >= count - 8
    assert len(plan.unplanned) == plan["impossible"].value


def test_a_struck_chord_must_lie_in_two_hands():
    wide = tuple(HarpNote(p, 0) for p in (36, 60, 84))
    assert plan_pedals([Onset(0, wide)], settings())["impossible"].value == 0
    assert plan_pedals([Onset(0, wide, bracketed=True)], settings())["impossible"].value == 1


@pytest.mark.parametrize("seed", range(40))
def test_two_hands_as_the_outside_checker_has_them(seed):
    random = Random(seed)
    names = random.sample([str(s) for s in strings()], random.randint(1, 8))
    lines = [String(name[0], int(name[1])).line for name in names]
    assert hands_take(lines, True, settings()) == harp_checker.two_hands(names)


@pytest.mark.parametrize("pitch", range(20, 108))
def test_the_strings_of_a_pitch_are_those_of_the_outside_list(pitch):
    fixed = {"C1": 0, "D1": 0}
    own = {(str(c.string), c.position) for c in choices(pitch, fixed)}
    assert own == set(harp_bruteforce.candidates(pitch, fixed))


# The foot by itself.


def jobs(seed: int) -> list[Job]:
    random = Random(seed)
    found = []
    for letter in "EFGA":
        t = random.randrange(0, 800_000)
        for _ in range(random.randint(0, 2)):
            room = random.randrange(250_000, 1_500_000)
            found.append(Job(letter, 0, 1, t, t + room))
            t += room
    return found


@pytest.mark.parametrize("seed", range(150))
def test_a_foot_needs_no_more_haste_than_all_orders_say(seed):
    mine = jobs(seed)
    placed = place(mine, COMFORTABLE, QUICKEST, [])
    least = harp_bruteforce.foot(
        tuple(sorted((job.release, job.deadline) for job in mine)), COMFORTABLE, QUICKEST
    )
    assert (placed is None) == (least is None)
    if placed is None:
        return
    assert sum(row.length == QUICKEST for row in placed) == least[0]
    rows = sorted(placed, key=lambda row: row.start)
    assert all(a.start + a.length <= b.start for a, b in pairwise(rows))
    assert all(r.job.release <= r.start and r.start + r.length <= r.job.deadline and r.spare >= 0 for r in rows)


@pytest.mark.parametrize("seed", range(150))
def test_the_factor_is_where_the_changes_stop_to_fit(seed):
    mine = jobs(seed)
    placed = place(mine, COMFORTABLE, QUICKEST, [])
    if not placed or any(row.length == QUICKEST for row in placed):
        return
    factor = min(row.faster for row in placed)
    for more, goes in ((0.999, True), (1.001, False)):
        length = round(COMFORTABLE * factor * more)
        found = harp_bruteforce.foot(tuple(sorted((j.release, j.deadline) for j in mine)), length, length)
        assert (found is not None) == goes


def test_changes_stand_on_beats_and_leave_their_time_before_the_use():
    plan = plan_pedals(at((0, "G4"), (8, "G#4 A4")), settings(), beats=range(0, 8_000_000, 1_000_000))
    assert [(c.t_us, c.pedal) for c in plan.changes] == [(7_000_000, "G")]
    assert plan.changes[0].spare_us == 7_500_000


def test_an_idle_foot_can_have_made_any_one_move_in_its_time():
    foot = Foot(3, COMFORTABLE, QUICKEST)
    before = foot.states[foot.advance(foot.idle, 999_999)]
    assert before.done == (0b10111,)  # nothing, or one of the three
    assert all(set_.bit_count() == 2 for set_, _, _ in before.under[0])
    held = foot.use(foot.advance(foot.idle, 0), 0, use_of(0b001, 0b01, (600_000,)))
    assert foot.states[foot.advance(held, 600_000)].done == (0b10101,)


# What it is given.


def test_onsets_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in order of time"):
        plan_pedals(at((1, "C4"), (0, "D4")), settings())


def test_nothing_at_all_is_a_plan():
    plan = plan_pedals([], settings())
    assert plan.proven and plan.notes == () and plan.changes == () and plan.faster is None


def test_a_demand_that_no_foot_can_meet_is_named_and_does_not_stop_the_rest():
    sweep = tuple((letter, 1, 0) for letter in "DCBEFGA")
    onsets = [Onset(0, (HarpNote(67, 0), HarpNote(69, 0))), Onset(300_000, (), demands=sweep)]
    plan = plan_pedals([*onsets, *at((2, "E4"))], settings())
    assert [(u.onset, u.note) for u in plan.unplanned] == [(1, None)]
    assert plan.notes[2][0] is not None


def test_stretches_say_where_comfort_ends():
    calm: Sequence[Onset] = at(*((k, "C4 E4 G4") for k in range(10)))
    hurried = at((10, "G4 A4"), (10.3, "G#4"))
    plan = plan_pedals([*calm, *hurried, *at(*((k, "C4 E4") for k in range(12, 20)))], settings())
    assert [(s.first, s.last) for s in plan.stretches] == [(10, 11)]
    assert values(plan)[:3] == (0, 0, 1)


def test_ways_that_ask_for_more_are_left_away():
    """Two notes of one pitch class on one letter ask less than on two; B and C have two ways, and no third."""
    assert len(Passage(at((0, "C4 C5")), settings(), {}, {}, {}).ways(0)) == 2
    assert len(Passage(at((0, "C4 B3")), settings(), {}, {}, {}).ways(0)) == 2


def test_plain_names_are_preferred_where_nothing_is_spelled():
    plan = plan_pedals([Onset(0, tuple(HarpNote(p, 0) for p in (60, 62, 64, 65, 67, 69, 71)))], settings())
    assert set(plan.initial.values()) == {0}
