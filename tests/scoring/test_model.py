"""The planner against brute force that shares no code with it, a checker that counts anew, and clashes in words."""

import random
from itertools import combinations, product

import pytest

from deskproof.scoring.candidates import candidates_of
from deskproof.scoring.model import NOBODY_FREE, NOBODY_HAS, PROVEN, STOPPED, solve
from deskproof.scoring.records import COMPOSER, Line, Passage, PlannedPassage, Strand, Tacet, Who
from deskproof.scoring.wishes import ScoringClash
from oracles.scoring_checker import Piece
from scoring import synthetic
from scoring.synthetic import hall_of, passages_of, sketch_of, strand

SMALL = (
    '[players]\n"flute 1" = { plays = ["flute", "piccolo"] }\n"bassoon 1" = { plays = ["bassoon"] }\n'
    '[sections]\n"violin 1" = { desks = 6 }\ncello = { desks = 4 }\n"double bass" = { desks = 3 }\n',
    '[players]\n"clarinet 1" = { plays = ["clarinet"] }\nharp = { plays = ["harp"] }\n"horn 1" = { plays = ["horn"] }\n'
    '[sections]\nviola = { desks = 5 }\n',
    '[players]\n"flute 1" = { plays = ["flute"] }\n"trumpet 1" = { plays = ["trumpet"] }\n'
    '[sections]\n"violin 1" = { desks = 7 }\n"violin 2" = { desks = 7 }\n',
)  # fmt: skip
MOST = 12


def small(seed):
    """A piece small enough to try every plan: sketch, passages, room, candidates."""
    dice = random.Random(seed)
    hall = hall_of(dice.choice(SMALL))
    bars = dice.choice((4, 6, 9))
    kinds = list(synthetic.SHAPES)
    passages = []
    for k in range(dice.choice((2, 3))):
        chosen = sorted(dice.choices(kinds, k=dice.choice((2, 3))), key=kinds.index)
        names = [f"{kind} {chosen[:n].count(kind) + 1}" for n, kind in enumerate(chosen)]
        made = tuple(strand(dice, name, kind, k * bars, bars) for name, kind in zip(names, chosen, strict=True))
        weight = dice.choice(("thin", "ordinary", "full"))
        passages.append(Passage(k * bars, k * bars + bars - 1, made, dice.choice(synthetic.DYNAMICS), weight=weight))
    top = dice.randrange(len(passages))
    passages[top] = Passage(**{**vars(passages[top]), "climax": True})
    sketch = sketch_of(bars * len(passages))
    made = list(candidates_of(sketch, passages, hall, "rimsky"))
    dice.shuffle(made)
    chosen = tuple(sorted(made[:MOST], key=lambda c: (c.passage, c.strand, c.chair, c.octave)))
    return sketch, passages, hall, chosen


def cheapest(piece):
    """The least price of all plans that break no rule."""
    legal = []
    for at in range(len(piece.passages)):
        here = [i for i, c in enumerate(piece.candidates) if c.passage == at]
        plans = [set(p) for n in range(len(here) + 1) for p in combinations(here, n)]
        legal.append([p for p in plans if not piece.wrong(p)])
    whole = (set().union(*parts) for parts in product(*legal))
    return min((piece.price(plan), sorted(plan)) for plan in whole if not piece.wrong(plan))


def plan_of(solution, candidates):
    places = {(c.passage, c.strand, c.chair, c.octave): i for i, c in enumerate(candidates)}
    return {
        places[at, task.strand, task.who.chair, task.who.octave]
        for at, tasks in enumerate(solution.tasks) for task in tasks
    }  # fmt: skip


def solved(sketch, passages, hall, candidates, wanted=None, **more):
    more = {"seconds": 20.0, "alternatives": 0, **more}
    return solve(sketch, passages, hall, candidates, wanted or [None] * len(passages), **more)


@pytest.mark.parametrize("seed", range(8))
def test_no_plan_is_cheaper(seed):
    sketch, passages, hall, candidates = small(seed)
    piece = Piece(sketch, passages, hall, candidates)
    best, _ = cheapest(piece)
    found = solved(sketch, passages, hall, candidates)
    plan = plan_of(found, candidates)
    assert found.status == PROVEN and found.gap == 0
    assert not piece.wrong(plan)
    assert (found.cost, sum(found.costs), piece.price(plan)) == (best, best, best)


@pytest.mark.parametrize("seed", range(3))
def test_hard_rules_hold_and_the_price_is_right_in_a_full_room(seed):
    hall = hall_of()
    passages = passages_of(seed + 50, 5, 10)
    sketch = sketch_of(50)
    candidates = candidates_of(sketch, passages, hall, "rimsky")
    found = solved(sketch, passages, hall, candidates, seconds=1.0)
    piece = Piece(sketch, passages, hall, candidates)
    plan = plan_of(found, candidates)
    assert not piece.wrong(plan)
    assert piece.price(plan) == found.cost == sum(found.costs) >= found.bound


def test_equal_input_gives_an_equal_plan_where_it_is_proven():
    for seed in (1, 4):
        one, other = (solved(*small(seed)) for _ in range(2))
        assert one.status == other.status == PROVEN
        assert one.tasks == other.tasks


def test_equal_input_gives_an_equal_plan_where_the_search_is_stopped():
    hall, passages, sketch = hall_of(), passages_of(7, 8), sketch_of(64)
    candidates = candidates_of(sketch, passages, hall, "rimsky")
    one, other = (solved(sketch, passages, hall, candidates, seconds=0.01) for _ in range(2))
    assert one.status == other.status == STOPPED and one.gap > 0
    assert one.tasks == other.tasks


def test_an_equal_plan_as_near_as_can_be_to_the_last():
    room = hall_of('[sections]\n"violin 1" = { desks = 6 }\n"violin 2" = { desks = 6 }\n')
    dice = random.Random(1)
    passages = [Passage(0, 3, (strand(dice, "tune", "tune", 0, 4),), "p")]
    candidates = tuple(c._replace(cost=3) for c in candidates_of(sketch_of(4), passages, room, "rimsky")
                       if c.octave == 0)  # fmt: skip
    for name in ("violin 1", "violin 2"):
        last = [PlannedPassage("1-4", lines=(Line("tune", (Who(name),)),))]
        found = solved(sketch_of(4), passages, room, candidates, last=last)
        assert [task.who.chair for task in found.tasks[0]] == [name]


def test_other_scorings_differ_in_the_tune_or_in_half_of_the_tasks():
    hall, passages, sketch = hall_of(), passages_of(3, 2), sketch_of(16)
    found = solved(sketch, passages, hall, candidates_of(sketch, passages, hall, "rimsky"), alternatives=2)
    for at, scorings in enumerate(found.scorings):
        assert len(scorings) == 2
        known = [found.tasks[at]]
        for cost, tasks in scorings:
            assert cost >= found.costs[at]
            for other in known:
                tunes = [{hall.chair(t.who.chair).instrument for t in one if t.strand == "tune"}
                         for one in (tasks, other)]  # fmt: skip
                kept = {t[:2] for t in tasks} & {t[:2] for t in other}
                assert tunes[0] != tunes[1] or 2 * len(kept) <= len(other)
            known.append(tasks)


def two(kinds=("tune", "inner part", "bass"), dynamic="mf", count=2, bars=4):
    dice = random.Random(5)
    return [
        Passage(k * bars, (k + 1) * bars - 1, tuple(strand(dice, one, one, k * bars, bars) for one in kinds), dynamic)
        for k in range(count)
    ]


def clash(wanted, passages=None):
    hall = hall_of()
    passages = passages or two()
    sketch = sketch_of(passages[-1].last + 1)
    candidates = candidates_of(sketch, passages, hall, "rimsky")
    with pytest.raises(ScoringClash) as caught:
        solved(sketch, passages, hall, candidates, wanted, seconds=2.0)
    said, advice, _ = str(caught.value).partition(" Change one of the lines, or take it out.")
    assert advice or ("(line" in said and ("cannot play" in said or "nobody in the room" in said))
    return said


def fixed(where, strand_, *who):
    return Line(strand_, tuple(Who(*one) if isinstance(one, tuple) else Who(one) for one in who), fixed=True,
                by=COMPOSER, where=where)  # fmt: skip


def test_two_instruments_of_one_player():
    wanted = [PlannedPassage("1-4", lines=(fixed(41, "tune", ("piccolo", 1)), fixed(45, "inner part", "flute 3"),
                                           fixed(49, "bass", "cello")),
                             tacet=(Tacet(("brass",), where=53),)), None]  # fmt: skip
    high = [Passage(0, 3, tuple(strand(random.Random(5), name, "tune", 0, 4, 6) for name in ("tune", "inner part")) +
                    two()[0].strands[2:], "mf"), two()[1]]  # fmt: skip
    assert clash(wanted, high) == "bars 1-4: piccolo (line 41) and flute 3 (line 45) are one player."


def test_one_chair_asked_for_twice():
    wanted = [None, PlannedPassage("5-8", lines=(fixed(7, "tune", "viola"), fixed(9, "inner part", "viola")))]
    assert clash(wanted) == "bars 5-8: viola is asked for the tune (line 7) and the inner part (line 9) at once."


def test_asked_for_and_silent():
    wanted = [PlannedPassage("1-4", lines=(fixed(7, "bass", "bassoon 1"),),
                             tacet=(Tacet(("woodwind",), where=12),)), None]  # fmt: skip
    assert clash(wanted) == "bars 1-4: bassoon 1 (line 7) is asked for, and line 12 has it silent."


def test_no_time_to_change():
    wanted = [PlannedPassage("1-4", lines=(fixed(3, "bass", "bassoon 3"),)),
              PlannedPassage("5-8", lines=(fixed(9, "bass", "contrabassoon"),))]  # fmt: skip
    said = clash(wanted)
    assert said.startswith("bars 1-8: bassoon 3 (line 3) and contrabassoon (line 9) are one player")
    assert "no time to change" in said


def test_no_breath():
    passages = two(("figuration",), count=5)
    wanted = [PlannedPassage("", lines=(fixed(k, "figuration", "clarinet 1"),)) for k in range(1, 6)]
    whole = [Passage(p.first, p.last, (Strand("figuration", "figuration", tuple(
        synthetic.tone(t, t + 2, 60 + t % 8) for t in range(p.first * 16, (p.last + 1) * 16, 2))),), "mf")
        for p in passages]  # fmt: skip
    assert clash(wanted, whole) == (
        "bars 1-20: clarinet 1 (line 1) and clarinet 1 (line 2) and clarinet 1 (line 3) and clarinet 1 (line 4) and "
        "clarinet 1 (line 5): nobody blows so long without a rest to breathe in."
    )


def test_a_deep_bass_alone():
    wanted = [PlannedPassage("1-4", lines=(fixed(3, "bass", ("double bass", -1)),)), None]
    dice = random.Random(2)
    high = [Passage(0, 3, (strand(dice, "tune", "tune", 0, 4), strand(dice, "bass", "bass", 0, 4, 8)), "mf"), two()[1]]
    assert "double bass (line 3): a bass is not played an octave below alone" in clash(wanted, high)


def test_out_of_compass_and_nobody_of_that_name():
    assert "bars 1-4: tuba (line 8) cannot play the tune; it goes up to" in clash(
        [PlannedPassage("1-4", lines=(fixed(8, "tune", "tuba"),)), None]
    )
    assert "nobody in the room is called 'theremin' (line 3)" in clash(
        [PlannedPassage("1-4", lines=(Line("tune", avoid=("theremin",), where=3),)), None]
    )


def test_the_composer_is_followed():
    hall, passages, sketch = hall_of(), two(), sketch_of(8)
    candidates = candidates_of(sketch, passages, hall, "rimsky")
    wanted = [
        PlannedPassage("1-4", lines=(
            fixed(1, "tune", "oboe 1", "viola"), Line("inner part", (Who("trombone 1"),), by=COMPOSER),
            Line("bass", avoid=("strings",)),
        )),
        PlannedPassage("5-8", lines=(fixed(5, "inner part"), Line("tune", prefer=("clarinet 2",))),
                       tacet=(Tacet(("violin 1", "brass")),)),
    ]  # fmt: skip
    found = solved(sketch, passages, hall, candidates, wanted)
    first, second = ({s: {t.who.chair for t in tasks if t.strand == s} for s in ("tune", "inner part", "bass")}
                     for tasks in found.tasks)  # fmt: skip
    assert first["tune"] == {"oboe 1", "viola"}
    assert "trombone 1" in first["inner part"]
    assert first["bass"] and not first["bass"] & {"cello", "double bass", "viola"}
    assert not second["inner part"] and found.left_out[1] == (("inner part", "left out by the composer"),)
    assert "clarinet 2" in second["tune"]
    assert not {"violin 1"} & {t.who.chair for t in found.tasks[1]}


def test_what_is_left_out_and_why():
    room = hall_of('[players]\n"flute 1" = { plays = ["flute"] }\n')
    passages = two(("tune", "counter-tune", "bass"))[:1]
    candidates = tuple(c._replace(cost=4) for c in candidates_of(sketch_of(4), passages, room, "rimsky")
                       if c.strand != "bass")  # fmt: skip
    found = solved(sketch_of(4), passages, room, candidates)
    assert [task.strand for task in found.tasks[0]] == ["tune"]
    assert dict(found.left_out[0]) == {"counter-tune": NOBODY_FREE, "bass": NOBODY_HAS}
