"""Timpani plans against an exhaustive search, an independent checker and what is published."""

from __future__ import annotations

import random
from typing import Any

import pytest

from deskproof import facts
from deskproof.families.timpani.model import Drum, Event, Settings, hand_screws, pedal_drums, standard_drums
from deskproof.families.timpani.plan import LABELS, NO_DRUM, NO_TIME, TOO_MANY, TimpaniPlan, plan_timpani
from deskproof.families.timpani.record import record
from oracles.timpani_brute import least
from oracles.timpani_checker import check

Part = list[dict[str, Any]]
Room = dict[str, Any]
MS = 1000


# ------------------------------------------------------------------ parts


def room_of(r: random.Random) -> Room:
    """Two to five drums with overlapping compasses, one or two feet, and times of the player's own."""
    drums, low = [], 40
    for _ in range(r.choice((2, 3, 3, 4, 4, 5))):
        drums.append((low, low + r.randrange(3, 8)))
        low += r.choice((0, 1, 2, 4))
    more, less = r.choice((50, 100)), r.choice((0, 50))
    return {
        "drums": drums,
        "tone_us": r.choice((600, 1000, 1500)) * MS,
        "semitone_us": more * MS,
        "quick_tone_us": r.choice((200, 300, 400)) * MS,
        "quick_semitone_us": less * MS,
        "feet": r.choice((1, 1, 2, 2)),
        "sticks": r.choice((2, 2, 2, 3)),
        "hands_free": r.random() < 0.7,
        "pedals": r.random() < 0.9,
        "initial": [r.randrange(a, b + 1) if r.random() < 0.25 else None for a, b in drums],
        "start_us": 0,
    }


def part_of(r: random.Random, room: Room, count: int, gaps: tuple[int, ...], pool: int) -> Part:
    """Events of one pitch, sometimes two or three, some sliding; ``pool`` pitches, new ones now and then."""
    pitches = sorted({p for low, high in room["drums"] for p in range(low, high + 1)})
    if r.random() < 0.2:
        pitches.append(pitches[-1] + 1)
    t_us, found = r.randrange(0, 500) * MS, []
    chosen = r.sample(pitches, min(pool, len(pitches)))
    for _ in range(count):
        if r.random() < 0.03:
            chosen = r.sample(pitches, min(pool, len(pitches)))
        wanted = tuple(r.choice(chosen) for _ in range(r.choice((1, 1, 1, 1, 1, 1, 1, 2, 2, 3))))
        hold_us = r.choice((0, 100, 200, 400, 900)) * MS
        to: tuple[int, ...] = ()
        if hold_us and r.random() < 0.1:
            to = tuple(r.choice(chosen) if r.random() < 0.7 else p for p in wanted)
        found.append({"t_us": t_us, "hold_us": hold_us, "pitches": wanted, "to": to})
        t_us += r.choice(gaps) * MS
    return found


def events_of(part: Part) -> list[Event]:
    return [Event(e["t_us"], e["hold_us"], e["pitches"], False, e["to"]) for e in part]


def settings_of(room: Room) -> Settings:
    drums = tuple(Drum(f"d{k}", 30 - k, low, high) for k, (low, high) in enumerate(room["drums"]))
    given = {one.id: pitch for one, pitch in zip(drums, room["initial"], strict=True) if pitch is not None}
    times = {key: value for key, value in room.items() if key not in ("drums", "initial")}
    return Settings(drums=drums, initial=given, **times)


def checked(part: Part, room: Room, labels: int = LABELS) -> TimpaniPlan:
    """The plan of a part, held against the checker."""
    settings, events = settings_of(room), events_of(part)
    plan = plan_timpani(events, settings, labels)
    assert complaints(plan, part, room, settings) == []
    return plan


def complaints(plan: TimpaniPlan, part: Part, room: Room, settings: Settings) -> list[str]:
    shown = record(plan, events_of(part), settings)
    shown["objective"] = [figure._asdict() for figure in plan.objective]
    shown["proven"] = plan.proven
    shown["unplanned"] = [tuple(one) for one in plan.unplanned]
    return check(shown, part, room)


def values(plan: TimpaniPlan) -> tuple[int, ...]:
    return tuple(figure.value for figure in plan.objective)


# ------------------------------------------------------------------ against everything that can be tried


SMALL = 500
GAPS = (100, 300, 500, 800, 1200, 2500)


def small(seed: int) -> tuple[Part, Room]:
    r = random.Random(seed)
    room = room_of(r)
    if seed % 4 == 0:
        return crowded(r, room)
    count = r.randrange(4, 12 - len(room["drums"]))
    part = part_of(r, room, count, r.choice((GAPS, GAPS[2:])), r.randrange(2, 7))
    while sum(len(e["pitches"]) for e in part) > 10:
        part.pop()
    return part, room


def crowded(r: random.Random, room: Room) -> tuple[Part, Room]:
    """Three or four drums struck in turn, a rest, and all again at other pitches: the feet are in each other's way."""
    count = r.choice((3, 4))
    drums = [(40 + 4 * k, 45 + 4 * k) for k in range(count)]
    room = {**room, "drums": drums, "initial": [None] * count}
    t_us, part = 0, []
    for rest in (room["tone_us"] * r.choice((1, 2, 3)) // 2, 0):
        for k in r.sample(range(count), count):
            part.append({"t_us": t_us, "hold_us": 0, "pitches": (r.randrange(*drums[k]),), "to": ()})
            t_us += r.choice((100, 200, 400)) * MS
        t_us += rest
    return part, room


@pytest.mark.parametrize("seed", range(SMALL))
def test_no_plan_of_all_is_better(seed: int):
    part, room = small(seed)
    plan = checked(part, room)
    assert values(plan)[:4] == least(part, room)
    assert plan.proven


def test_the_small_parts_are_of_every_kind():
    """Otherwise the comparison says little: notes left out, quick retunings, retunings, feet in each other's way."""
    costs, in_the_way = [], 0
    for seed in range(0, SMALL, 3):
        part, room = small(seed)
        costs.append(least(part, room))
        in_the_way += costs[-1] != least(part, {**room, "feet": 5})
    assert sum(cost[0] == 0 for cost in costs) > 10
    assert sum(cost[0] > 0 for cost in costs) > 10
    assert sum(cost[1] > 0 for cost in costs) > 10
    assert sum(cost[2] > 1 for cost in costs) > 10
    assert in_the_way > 10


# ------------------------------------------------------------------ larger ones, through the checker


@pytest.mark.parametrize("seed", range(200))
def test_larger_plans_can_be_played(seed: int):
    r = random.Random(1000 + seed)
    room = room_of(r)
    part = part_of(r, room, r.randrange(20, 120), r.choice((GAPS, GAPS[2:], (400, 800, 6000))), r.randrange(2, 5))
    checked(part, room, labels=20_000)


@pytest.mark.parametrize("seed", range(5))
def test_the_checker_sees_what_is_wrong(seed: int):
    """A plan with a drum exchanged, a retuning moved, taken out or hurried, or a note dropped does not pass."""
    r = random.Random(seed)
    room = {**room_of(r), "initial": [], "drums": [(40, 47), (41, 48), (45, 52)], "hands_free": True, "feet": 2}
    room["initial"] = [None] * 3
    part: Part = [{"t_us": 4_000_000 * i, "hold_us": 500 * MS, "pitches": (p,), "to": ()}
                  for i, p in enumerate((40, 44, 46, 48, 50, 41, 43, 47, 52, 45))]  # fmt: skip
    settings = settings_of(room)
    plan = plan_timpani(events_of(part), settings)
    assert complaints(plan, part, room, settings) == []
    assert plan.retunings
    good = record(plan, events_of(part), settings)
    good["objective"] = [figure._asdict() for figure in plan.objective]
    good["proven"], good["unplanned"] = plan.proven, []
    k = r.randrange(len(good["retunes"]))
    one = good["retunes"][k]
    rest = good["retunes"][:k] + good["retunes"][k + 1 :]
    bad = [
        {**good, "retunes": rest},
        {**good, "retunes": [*rest, {**one, "t_us": one["t_us"] + 30_000_000}]},
        {**good, "retunes": [*rest, {**one, "dur_us": one["dur_us"] - 1}]},
        {**good, "retunes": [*rest, {**one, "to": one["to"] + 1}]},
        {**good, "retunes": [*good["retunes"], one]},
        {**good, "events": good["events"][1:]},
        {**good, "proven": not plan.proven},
        {**good, "initial": {name: pitch + 1 for name, pitch in good["initial"].items()}},
    ]
    for plan_json in bad:
        assert check(plan_json, part, room)


@pytest.mark.parametrize("seed", range(30))
def test_with_little_work_a_plan_is_still_made_and_says_what_it_is(seed: int):
    r = random.Random(seed)
    room = {**room_of(r), "hands_free": seed % 2 == 0, "feet": 1 + seed % 3}
    part = part_of(r, room, 60, GAPS[2:], 3)
    short, long = checked(part, room, labels=1000), checked(part, room)
    assert values(long) <= values(short)
    assert all(figure.at_least is None or figure.at_least <= value
               for figure, value in zip(short.objective, values(long), strict=True))  # fmt: skip


def test_two_thousand_events_are_planned_to_the_end():
    r = random.Random(7)
    drums = standard_drums(fifth=True)
    events, t_us, chosen = [], 0, (43, 48, 53)
    for _ in range(2000):
        if r.random() < 0.01:
            chosen = tuple(r.sample(range(40, 60), 3))
        t_us += r.randrange(100, 800) * MS + (r.randrange(2, 12) * 1_000_000 if r.random() < 0.05 else 0)
        events.append(Event(t_us, r.randrange(50, 400) * MS, (r.choice(chosen),)))
    plan = plan_timpani(events, pedal_drums(drums))
    assert plan.proven
    assert plan["retunings"].value > 20


# ------------------------------------------------------------------ the published cases


LOW = (39, 41, 42, 44)  # E flat, F, G flat, A flat


def low_passage(step_us: int, rounds: int = 4) -> list[Event]:
    return [Event(step_us * i, step_us // 2, (LOW[i % 4],)) for i in range(4 * rounds)]


def test_four_low_pitches_played_fast_cannot_be_done():
    """Of 32, 29, 26 and 23 inches only the two largest reach E flat, F, G flat and A flat at the bottom."""
    plan = plan_timpani(low_passage(125 * MS), pedal_drums())
    assert plan.proven
    assert plan["unplanned"].value > 0
    assert {one.reason for one in plan.unplanned} == {NO_TIME}
    assert {name for row in plan.drums for name in row if name} == {"32", "29"}


def test_at_one_time_they_cannot_stand_either():
    assert plan_timpani([Event(0, 0, LOW)], Settings(sticks=4))["unplanned"].value == 2


def test_the_same_played_slowly_goes_with_pedalling():
    plan = plan_timpani(low_passage(3_000 * MS), pedal_drums())
    assert (plan["unplanned"].value, plan["quick_retunings"].value) == (0, 0)
    assert plan["retunings"].value > 0
    assert plan.proven


def test_a_tone_takes_a_bar_of_moderate_four():
    """Four quarters at 100 a minute, and in that time the retuning is comfortable; in less it is not."""
    bar_us = 4 * 60_000_000 // 100
    drums = [Drum("29", 29, 41, 48)]
    for given, quick in ((bar_us, 0), (bar_us - 1, 1)):
        plan = plan_timpani([Event(0, 0, (43,)), Event(given, 0, (45,))], pedal_drums(drums))
        assert [row.quick for row in plan.retunings] == [bool(quick)]
        assert plan["quick_retunings"].value == quick


def test_the_drums_are_those_of_the_facts():
    assert [one.inch for one in standard_drums(True)] == [32, 29, 26, 23, 20]
    assert facts.get("timpani_drums.standard").basis == "published"
    whole = [pitch for one in standard_drums(True) for pitch in (one.low, one.high)]
    assert (min(whole), max(whole)) == (38, 60)  # D2 and C4
    assert all(one.high - one.low == 7 for one in standard_drums(True))  # about a fifth each


# ------------------------------------------------------------------ one thing at a time


ONE, TWO = Drum("a", 29, 41, 48), Drum("b", 26, 46, 53)


def test_what_no_drum_has_is_named():
    plan = plan_timpani([Event(0, 0, (30,)), Event(1, 0, (45,))], pedal_drums([ONE]))
    assert [tuple(one) for one in plan.unplanned] == [(0, (0,), NO_DRUM)]


def test_two_pitches_need_two_drums_and_three_sticks_are_not_there():
    assert plan_timpani([Event(0, 0, (47, 48))], pedal_drums([ONE, TWO]))["unplanned"].value == 0
    crowd = plan_timpani([Event(0, 0, (42, 43))], pedal_drums([ONE, TWO]))
    assert [(one.event, len(one.pitches), one.reason) for one in crowd.unplanned] == [(0, 1, TOO_MANY)]
    three = plan_timpani([Event(0, 0, (38, 45, 50))], pedal_drums())
    assert [(len(one.pitches), one.reason) for one in three.unplanned] == [(1, TOO_MANY)]


def test_a_held_drum_is_not_retuned():
    """The second note comes while the first is still held: only another drum can take it."""
    events = [Event(0, 9_000 * MS, (46,), roll=True), Event(8_000 * MS, 0, (48,))]
    assert plan_timpani(events, pedal_drums([ONE]))["unplanned"].value == 1
    assert plan_timpani(events, pedal_drums([ONE, TWO])).drums in ((("a",), ("b",)), (("b",), ("a",)))
    shorter = [events[0]._replace(hold_us=1_000 * MS), events[1]]
    assert plan_timpani(shorter, pedal_drums([ONE]))["unplanned"].value == 0


def test_three_drums_in_a_hurry_need_three_feet():
    three = [Drum("a", 32, 38, 45), Drum("b", 29, 48, 55), Drum("c", 26, 58, 65)]
    events = [Event(0, 0, (40,)), Event(10, 0, (50,)), Event(20, 0, (60,))]
    events += [Event(2_400 * MS + event.t_us, 0, (event.pitches[0] + 2,)) for event in events]
    one, two, many = (plan_timpani(events, Settings(drums=tuple(three), feet=n)) for n in (1, 2, 3))
    assert [p["quick_retunings"].value for p in (one, two, many)] == [3, 2, 0]
    assert [p["unplanned"].value for p in (one, two, many)] == [0, 0, 0]


def test_a_glissando_stays_on_one_drum_and_takes_a_foot():
    slide = Event(0, 800 * MS, (42,), to=(47,))
    after = Event(900 * MS, 0, (47,))
    plan = plan_timpani([slide, after], pedal_drums([ONE]))
    assert (plan["unplanned"].value, plan["retunings"].value) == (0, 0)
    assert plan_timpani([slide._replace(to=(53,))], pedal_drums([ONE, TWO])).unplanned[0].reason == NO_DRUM
    assert plan_timpani([slide], hand_screws([ONE])).unplanned[0].reason == NO_DRUM
    again = plan_timpani([slide, Event(400 * MS, 0, (47,))], pedal_drums([ONE]))
    assert again["unplanned"].value == 1


def test_busy_hands_wait_for_a_rest():
    """Between two notes of a, b is struck all the time: with free hands a is tuned meanwhile, otherwise not."""
    events = [
        Event(0, 0, (42,)),
        *(Event(1_000 * MS * k, 900 * MS, (53,)) for k in range(1, 9)),
        Event(9_000 * MS, 0, (44,)),
    ]
    free = plan_timpani(events, pedal_drums([ONE, TWO]))
    busy = plan_timpani(events, Settings(drums=(ONE, TWO), hands_free=False))
    assert (free["unplanned"].value, free["quick_retunings"].value) == (0, 0)
    assert (busy["unplanned"].value, busy["quick_retunings"].value) == (0, 1)
    for start in (row.t_us for row in busy.retunings):
        assert not any(e.t_us < start + busy.retunings[0].dur_us and start < e.end_us for e in events)


def test_a_retuning_lies_in_the_middle_of_the_longest_rest():
    events = [
        Event(0, 0, (42,)),
        Event(3_000 * MS, 0, (53,)),
        Event(13_000 * MS, 0, (53,)),
        Event(15_000 * MS, 0, (44,)),
    ]
    (row,) = plan_timpani(events, pedal_drums([ONE, TWO])).retunings
    assert row.t_us - 3_000 * MS == 13_000 * MS - (row.t_us + row.dur_us)
    assert row.spare_us == 15_000 * MS - row.dur_us


def test_the_given_tuning_stands_at_the_beginning():
    late = plan_timpani([Event(5_000 * MS, 0, (44,))], pedal_drums([ONE], {"a": 42}))
    assert (dict(late.initial), late["retunings"].value, late["unplanned"].value) == ({"a": 42}, 1, 0)
    early = plan_timpani([Event(100 * MS, 0, (44,))], pedal_drums([ONE], {"a": 42}))
    assert early.unplanned[0].reason == NO_TIME


def test_of_equal_plans_the_note_lies_in_the_better_part_of_its_drum():
    assert plan_timpani([Event(0, 0, (47,))], pedal_drums([ONE, TWO])).drums == (("a",),)
    assert plan_timpani([Event(0, 0, (52,))], pedal_drums([TWO, Drum("c", 23, 50, 57)])).drums == (("b",),)


def test_hand_screws_take_much_longer():
    events = [Event(0, 0, (43,)), Event(6_000 * MS, 0, (45,))]
    assert plan_timpani(events, hand_screws([ONE])).unplanned
    later = [events[0], events[1]._replace(t_us=60_000 * MS)]
    assert not plan_timpani(later, hand_screws([ONE])).unplanned


def test_an_empty_part_has_a_plan():
    plan = plan_timpani([])
    assert (plan.drums, plan.retunings, plan.proven) == ((), (), True)
    silent = plan_timpani([Event(0, 0, ())], pedal_drums([]))
    assert silent.drums == ((),)


# ------------------------------------------------------------------ bad input


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ([Event(1, 0, (45,)), Event(1, 0, (46,))], "event 1 .* in order"),
        ([Event(0, -1, (45,))], "event 0: the hold"),
        ([Event(0, 1, (45, 46), to=(47,))], "event 0: 2 pitches arrive at 1"),
    ],
)
def test_events_that_are_not_well_formed_are_refused(events: list[Event], said: str):
    with pytest.raises(ValueError, match=said):
        plan_timpani(events)


def test_nothing_lies_before_a_given_tuning():
    early = [Event(-1, 0, (45,))]
    assert not plan_timpani(early).unplanned
    with pytest.raises(ValueError, match=r"event 0 .* before the beginning"):
        plan_timpani(early, pedal_drums([ONE], {"a": 42}))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"drums": (ONE, ONE)}, "one id"),
        ({"drums": (Drum("a", 29, 48, 41),)}, "above the highest"),
        ({"feet": 0}, "at least one"),
        ({"sticks": 0}, "at least one"),
        ({"quick_tone_us": 9_000_000}, "quickest"),
        ({"tone_us": 100}, "quickest"),
        ({"semitone_us": -1}, "quickest|less time"),
        ({"initial": {"40": 45}}, "'40'"),
        ({"initial": {"32": 60}}, "outside"),
    ],
)
def test_settings_that_cannot_be_are_refused(given: dict[str, Any], said: str):
    with pytest.raises(ValueError, match=said):
        Settings(**given)
