"""Dense chords in quick succession: much has to be left out, and the planner must neither hang nor say too much.

What the search may take is counted in steps, not in time, and so are the tests: equal passages have equal plans, on
every machine.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

import harp_passages
from deskproof.families.harp import repeats
from deskproof.families.harp.conflict import clash
from deskproof.families.harp.model import HarpNote, Onset, Settings
from deskproof.families.harp.plan import Joint, PedalPlan, goes_whole, plan_pedals
from deskproof.families.harp.tight import Tight
from deskproof.families.harp.work import MOST_STEPS, Work
from harp_records import record_of
from oracles import harp_bruteforce, harp_checker

USED = Settings(500_000, 250_000)
PROVEN = ("impossible", "let_go_early", "quick_changes", "changes")
SIXTEENTH = 125_000
NO_WORK = Work(*[0] * len(Work._fields))
UNLIMITED = Work(*[10**12] * len(Work._fields))
A_CHORD = 300_000  # steps that each chord may take beyond the limit of the passage

Raw = list[dict[str, Any]]


def values(plan: PedalPlan) -> tuple[int, ...]:
    return tuple(plan[name].value for name in PROVEN)


def bounds(plan: PedalPlan) -> tuple[int, ...]:
    return tuple(plan[name].at_least or 0 for name in PROVEN)


def honest(plan: PedalPlan) -> bool:
    """Whether the bounds are not above the values, and nothing is called proven that has another bound."""
    return bounds(plan) <= values(plan) and (not plan.proven or bounds(plan) == values(plan))


def chords(seed: int, count: int, notes: int, step_us: int) -> Raw:
    """Random chords within a tenth or so, each as long as the step to the next."""
    random, rows = Random(seed), []
    for i in range(count):
        low = random.choice([48, 60])
        pitches = sorted(random.sample(range(low, low + 16), notes))
        names = [harp_passages.name_of(pitch, random.random() < 0.5) for pitch in pitches]
        found = [{"pitch": harp_passages.sounding(s), "written_us": step_us, "spelled": s} for s in names]
        rows.append({"t_us": i * step_us, "notes": found})
    return rows


def onsets_of(raw: Raw) -> list[Onset]:
    return [
        Onset(row["t_us"], tuple(HarpNote(n["pitch"], n["written_us"], n["spelled"][:2]) for n in row["notes"]))
        for row in raw
    ]


def clusters(times: int) -> list[Onset]:
    """Three chords of all seven letters a sixteenth apart, each against the other two, so many times."""
    rows = ["C4 D4 E4 F4 G4 A4 B4", "C4 Db4 Eb4 F4 Gb4 Ab4 Bb4", "C#4 D4 E4 F#4 G4 A4 B4"] * times
    found = []
    for i, names in enumerate(rows):
        spelled = [(n[0], n.count("#") - n[1:].count("b"), int(n[-1])) for n in names.split()]
        notes = tuple(HarpNote(harp_passages.sounding(s), SIXTEENTH, s[:2]) for s in spelled)
        found.append(Onset(i * SIXTEENTH, notes))
    return found


def complaints(
    plan: PedalPlan, raw: Raw, repeat: dict[str, int] | None = None, initial: dict[str, int] | None = None
) -> list[str]:
    """What the outside checker says; note n of onset m is P1/m{m}/n{n}."""
    events: list[dict[str, Any]] = []
    left_out: dict[str, bool] = {}
    for moment, row in zip(harp_bruteforce.unroll(raw, repeat), plan.notes, strict=True):
        m, onset = moment.printed, raw[moment.printed]
        groups: dict[tuple[int, str], list[tuple[int, Any]]] = {}
        for n, planned in enumerate(row):
            if planned is None:
                left_out[f"P1/m{m}/n{n}"] = True
            else:
                groups.setdefault((planned.hold_us, planned.ends), []).append((n, planned))
        written = onset["notes"][0]["written_us"]
        for (hold, ends), rows in groups.items():
            events.append(
                {"t_us": moment.t_us, "end_us": moment.t_us + written, "hold_us": hold, "written_us": written,
                 "pass": moment.play, "notes": [f"P1/m{m}/n{n}" for n, _ in rows],
                 "pitches": [onset["notes"][n]["pitch"] for n, _ in rows], "strings": [str(p.string) for _, p in rows],
                 "positions": [p.position for _, p in rows], "hands": None, "how": "struck", "gliss": None,
                 "ends": ends, "bar": "1", "beat": "1"}
            )  # fmt: skip
    record = record_of(plan, USED, events, left_out)
    return harp_checker.check(record, harp_bruteforce.source_of(raw, repeat), initial_given=initial is not None)


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[Tight]:
    """All searches for stretches that are made."""
    made: list[Tight] = []

    class Seen(Tight):
        def __init__(self, *args: Any) -> None:
            super().__init__(*args)
            made.append(self)

    monkeypatch.setattr(repeats, "Tight", Seen)
    return made


@pytest.mark.parametrize("count, notes", [(2, 5), (2, 6), (3, 4)])
def test_a_few_dense_chords_cost_what_brute_force_says(count: int, notes: int, searches: list[Tight]):
    for seed in range(12):
        raw = chords(seed, count, notes, (SIXTEENTH, 2 * SIXTEENTH, 400_000)[seed % 3])
        plan = plan_pedals(onsets_of(raw), USED)
        assert plan.proven, seed
        assert values(plan) == harp_bruteforce.least(raw).cost, seed
        assert complaints(plan, raw) == [], seed
    assert max(one.steps for one in searches) < MOST_STEPS.stretch


@pytest.mark.parametrize("work", [NO_WORK, Work(20_000, 5_000, 20_000, 1_000, 2_000, 1_000)])
def test_with_little_work_the_plan_is_coarse_but_true(work: Work):
    """The same chords where the search soon gives up: no better than brute force, and no bound above it."""
    coarse = 0
    for count, notes in [(2, 5), (2, 6), (3, 4)]:
        for seed in range(12):
            raw = chords(seed, count, notes, (SIXTEENTH, 2 * SIXTEENTH, 400_000)[seed % 3])
            plan = plan_pedals(onsets_of(raw), replace(USED, work=work))
            least = harp_bruteforce.least(raw).cost
            assert bounds(plan) <= least <= values(plan), seed
            assert not plan.proven or values(plan) == least, seed
            assert honest(plan) and complaints(plan, raw) == [], seed
            coarse += not plan.proven
    assert coarse > 1


def test_limits_that_are_not_reached_change_nothing():
    for seed in range(8):
        onsets = onsets_of(chords(seed, 3, 5, (SIXTEENTH, 400_000)[seed % 2]))
        assert plan_pedals(onsets, USED) == plan_pedals(onsets, replace(USED, work=UNLIMITED)), seed


@pytest.mark.parametrize("seed", range(6))
def test_many_dense_chords_pass_the_outside_checker(seed: int, searches: list[Tight]):
    """The least of some is not known; what is said of them must be true all the same, and be found by limited work."""
    random = Random(seed)
    raw = chords(seed, random.choice([5, 8, 12, 24]), random.choice([5, 6, 7]), random.choice([SIXTEENTH, 400_000]))
    plan = plan_pedals(onsets_of(raw), USED)
    assert complaints(plan, raw) == []
    assert honest(plan)
    assert searches
    for one in searches:
        assert one.steps < MOST_STEPS.passage + (MOST_STEPS.onset + A_CHORD) * len(raw)
    assert plan_pedals(onsets_of(raw), USED) == plan


def test_three_chords_with_random_accidentals(searches: list[Tight]):
    """Seven letters a sixteenth apart at 100 quarters a minute."""
    step = 150_000
    for seed in range(6):
        random, raw = Random(seed), []
        for i in range(3):
            names = [(letter, random.choice([-1, 0, 1]), 4) for letter in "CDEFGAB"]
            pitches = {harp_passages.sounding(s): s for s in names}
            notes = [{"pitch": p, "written_us": step, "spelled": pitches[p]} for p in sorted(pitches)]
            raw.append({"t_us": i * step, "notes": notes})
        plan = plan_pedals(onsets_of(raw), USED)
        assert honest(plan) and complaints(plan, raw) == [], seed
        assert plan["impossible"].value > 0
    assert max(one.steps for one in searches) < MOST_STEPS.passage + 3 * (MOST_STEPS.onset + A_CHORD)


@pytest.mark.parametrize("seed", range(12))
def test_with_no_work_there_is_a_plan_of_any_passage(seed: int):
    """Long ones, such as begin from a setting, and such as are repeated: 24 chords with their second pass."""
    random = Random(seed)
    step = random.choice([SIXTEENTH, 300_000, 600_000])
    raw = chords(seed, 12, random.choice([3, 5, 7]), step)
    initial = {letter: random.choice([-1, 0, 1]) for letter in "DCBEFGA"} if seed % 2 else None
    first = seed % 3 * 2
    repeat = {"first": first, "last": 11, "from_us": first * step, "to_us": 12 * step} if seed % 3 else None
    onsets = [
        Onset(m.t_us, tuple(HarpNote(p, w, raw[m.printed]["notes"][n]["spelled"][:2], (m.printed, n))
                            for n, (p, w) in enumerate(m.notes)))
        for m in harp_bruteforce.unroll(raw, repeat)
    ]  # fmt: skip
    joints = [Joint(repeat["from_us"], repeat["to_us"])] if repeat else []
    plan = plan_pedals(onsets, replace(USED, work=NO_WORK, initial=initial), joints=joints)
    assert honest(plan)
    assert complaints(plan, raw, repeat, initial) == []


def test_no_bound_is_above_what_a_plan_takes():
    """What the first half needs at least, the whole needs too."""
    for seed in range(4):
        raw = chords(seed, 6, 6, SIXTEENTH)
        half, whole = plan_pedals(onsets_of(raw[:3]), USED), plan_pedals(onsets_of(raw), USED)
        assert 0 < (half["impossible"].at_least or 0) <= whole["impossible"].value
        assert (whole["impossible"].at_least or 0) <= whole["impossible"].value


def test_twelve_chords_of_all_letters(searches: list[Tight]):
    """Four times the same takes no more than four times one, and not four times the work of one."""
    once = plan_pedals(clusters(1), USED)
    alone = max(one.steps for one in searches)
    often = plan_pedals(clusters(4), USED)
    assert honest(once) and honest(often)
    assert once["impossible"].value <= often["impossible"].value <= 4 * once["impossible"].value
    assert alone <= MOST_STEPS.passage + 3 * (MOST_STEPS.onset + A_CHORD)
    assert max(one.steps for one in searches) < MOST_STEPS.passage + 12 * (MOST_STEPS.onset + A_CHORD)


def test_the_clash_of_dense_chords_is_the_smallest(searches: list[Tight]):
    onsets = clusters(4)
    for at in range(1, 4):
        found = clash(onsets, at, USED)
        assert found is not None

        def alone(notes: tuple[tuple[int, int], ...]) -> list[Onset]:
            rows = sorted({o for o, _ in notes})
            return [
                onsets[o]._replace(notes=tuple(note for n, note in enumerate(onsets[o].notes) if (o, n) in notes))
                for o in rows
            ]

        assert plan_pedals(alone(found.notes), USED)["impossible"].value == 1
        for left in found.notes:
            assert plan_pedals(alone(tuple(row for row in found.notes if row != left)), USED)["impossible"].value == 0
    assert max(one.steps for one in searches) < MOST_STEPS.passage


def test_whether_all_goes_is_what_the_plan_says():
    said = []
    for seed in range(60):
        raw = chords(seed, 3, 3, SIXTEENTH if seed % 2 else 300_000)
        plan = plan_pedals(onsets_of(raw), USED)
        assert plan.proven
        said.append(goes_whole(onsets_of(raw), USED))
        assert said[-1] == (plan["impossible"].value == 0), seed
    assert 5 < sum(said) < 55
