"""The conductor of a scoring: what is kept, what is planned anew, and what is refused."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from deskproof.errors import DeskproofError
from deskproof.scoring import planning
from deskproof.scoring.hall import Hall
from deskproof.scoring.plan_reading import Reading, reading_of
from deskproof.scoring.plan_text import write
from deskproof.scoring.planning import PlanningError, passages_of, scored
from deskproof.scoring.records import BASS, COMPOSER, PLANNER, TUNE, PlannedPassage, Sketch, Who
from deskproof.sketch.orchestrating import OrchestrateError, orchestrated, ready
from scoring import small_sketches as small

UPPER = ["!p C5:1( D5:1 E5:1 F5:1)", "G5:2 E5:2", "F5:1 E5:1 D5:1 C5:1", "C5:4"]
LOWER = ["C3:2 G3:2", "C3:2 E3:2", "F3:2 G3:2", "C3:4"]
OTHER = ["!f A5:1 G5:1 F5:1 E5:1", "D5:2 F5:2", "E5:1 D5:1 C5:1 B4:1", "C5:4"]


def tide() -> Sketch:
    return small.sketch(small.xml([*UPPER, *OTHER, *UPPER], LOWER * 3))


def hall() -> Hall:
    return small.room("flute 1", "oboe 1", "bassoon 1", sections={"violin 1": 4, "viola": 3, "cello": 3})


def planned(sketch: Sketch, before: Reading | None = None, alternatives: int = 0) -> planning.Scored:
    return scored(sketch, hall(), before, seconds=3, alternatives=alternatives)


def asked(done: planning.Scored, k: int, *edits: tuple[str, str]) -> Reading:
    """The plan's text with one passage changed by its composer: (what stands there, what shall stand)."""
    head, *passages = re.split(r"(?=^\[\[passage\]\]$)", write(done.plan), flags=re.MULTILINE)
    for old, new in edits:
        assert old in passages[k]
        passages[k] = passages[k].replace(old, new, 1)
    return reading_of("".join((head, *passages)))


def without_places(done: planning.Scored) -> list[PlannedPassage]:
    """The planned passages without the lines of text on which they stand, and without other scorings."""
    return [
        replace(row, where=0, scorings=(), lines=tuple(replace(line, where=0) for line in row.lines))
        for row in done.plan.passages
    ]


def who_has(done: planning.Scored, k: int, kind: str) -> list[str]:
    return [who.chair for line in done.plan.passages[k].lines if line.strand == kind for who in line.who]


def test_the_passages_are_the_whole_sketch_and_hold_each_note_once():
    sketch = tide()
    passages = passages_of(sketch)
    bars = [bar for one in passages for bar in range(one.first, one.last + 1)]
    assert bars == list(range(len(sketch.bars)))
    refs = [ref for one in passages for strand in one.strands if not strand.of for tone in strand.tones
            for ref in tone.refs]  # fmt: skip
    assert sorted(refs) == list(range(len(sketch.notes)))
    for one in passages:
        kinds = [strand.kind for strand in one.strands]
        assert TUNE in kinds and BASS in kinds


def test_passages_are_cut_as_the_plan_says():
    sketch = tide()
    text = write(planned(sketch).plan)
    cut = re.sub(r'bars = "1-4"', 'bars = "1-2"', text, count=1)
    passages = passages_of(sketch, reading_of(cut).plan)
    assert [(one.first, one.last) for one in passages][:2] == [(0, 1), (2, 3)]


def test_every_passage_is_planned_with_its_digest_and_a_line_for_every_strand():
    done = planned(tide())
    assert len(done.plan.passages) == len(done.passages) == 3
    for passage, row in zip(done.passages, done.plan.passages, strict=True):
        assert re.fullmatch(r"([0-9a-f]{6} ){3}[0-9a-f]{6}", row.digest)
        assert row.bars == f"{passage.first + 1}-{passage.last + 1}"
        assert [line.strand for line in row.lines] == [strand.id for strand in passage.strands]
        assert all(line.who or line.why for line in row.lines)
        assert all(line.by == PLANNER for line in row.lines)
        assert row.cost is not None
    assert done.plan.passages[0].digest != done.plan.passages[1].digest
    assert done.kept == frozenset()
    assert done.plan.forces == hall().text


def test_a_plan_that_is_planned_again_is_the_same_plan():
    sketch = tide()
    first = planned(sketch, alternatives=2)
    again = planned(sketch, reading_of(write(first.plan)), alternatives=2)
    assert again.kept == {0, 1, 2}
    assert without_places(again) == without_places(first)
    assert write(again.plan, write(first.plan)) == write(first.plan)


def test_only_the_edited_passage_changes_and_its_fixed_line_survives():
    first = planned(tide())
    after = planned(tide(), asked(first, 1, ('who = ["violin 1"]', 'who = ["oboe 1"]\nfixed = true')))
    assert after.kept == {0, 2}
    old, new = without_places(first), without_places(after)
    assert (new[0], new[2]) == (old[0], old[2])
    tune = next(line for line in new[1].lines if line.strand == "tune")
    assert (tune.who, tune.fixed, tune.by) == ((Who("oboe 1"),), True, COMPOSER)
    assert who_has(first, 1, "tune") == ["violin 1"]


def test_a_passage_in_which_a_bar_was_changed_is_planned_anew_alone():
    first = planned(tide())
    changed = small.sketch(small.xml([*UPPER, *OTHER[:3], "B4:4", *UPPER], LOWER * 3))
    after = planned(changed, Reading(first.plan))
    assert after.kept == {0, 2}
    assert after.plan.passages[1].digest != first.plan.passages[1].digest


def test_who_is_silent_by_the_plan_is_silent():
    first = planned(tide())
    assert who_has(first, 0, "tune") == ["violin 1"]
    silent = '\n[[passage.tacet]]\nwho = "violin 1"\nwhy = "saved for later"\n\n[[passage.line]]'
    after = planned(tide(), asked(first, 0, ("\n[[passage.line]]", silent)))
    assert who_has(after, 0, "tune") not in ([], ["violin 1"])
    assert [(row.who, row.why) for row in after.plan.passages[0].tacet] == [(("violin 1",), "saved for later")]
    assert after.kept == {1, 2}


def test_a_strand_that_is_left_out_on_purpose_stays_so():
    first = planned(tide())
    bass = who_has(first, 0, "bass")
    change = (f'who = ["{bass[0]}"]\nat = ["unis"]\nby = "planner"', 'who = "nobody"\nby = "planner"')
    reason = re.compile(r'why = "[^"]*bears the bass[^"]*"')
    text = reason.search(write(first.plan))
    assert text
    after = planned(tide(), asked(first, 0, change, (text[0], 'why = "the bass waits"')))
    line = next(line for line in after.plan.passages[0].lines if line.strand == "bass")
    assert (line.who, line.why, line.by) == ((), "the bass waits", COMPOSER)
    done = orchestrated(tide(), Reading(after.plan))
    assert {why for _, why in done.left_out} == {"the bass waits"}
    assert len(done.left_out) == 7


def test_forces_with_nobody_for_the_bass_are_refused():
    low = small.sketch(small.xml(UPPER, ["C2:4", "C2:2 E2:2", "F2:2 G2:2", "C2:4"]))
    with pytest.raises(PlanningError, match=r"forces with no bass.*C2.*flute 1.*add one"):
        scored(low, small.room("flute 1"), seconds=2)


def test_two_fixed_lines_for_one_player_are_refused():
    first = planned(tide())
    bass = who_has(first, 0, "bass")[0]
    low_tune = ('who = ["violin 1"]\nat = ["unis"]', 'who = ["bassoon 1"]\nat = ["8vb"]\nfixed = true')
    reading = asked(first, 0, low_tune, (f'who = ["{bass}"]', 'who = ["bassoon 1"]\nfixed = true'))
    tune, low = (line.where for line in reading.plan.passages[0].lines)
    with pytest.raises(DeskproofError, match=r"bars 1-4: .*bassoon 1") as caught:
        planned(tide(), reading)
    assert "bassoon 1" in str(caught.value)
    assert str(tune) in str(caught.value) and str(low) in str(caught.value)


def test_a_fixed_line_for_no_strand_of_the_passage_is_refused():
    first = planned(tide())
    more = '\n[[passage.line]]\nstrand = "tuen"\nwho = ["oboe 1"]\nfixed = true\n\n[[passage.line]]'
    with pytest.raises(PlanningError, match=r"line \d+: bars 1-4 have no strand 'tuen'; did you mean 'tune'\?"):
        planned(tide(), asked(first, 0, ("\n[[passage.line]]", more)))


def test_a_plan_that_does_not_fit_is_not_written():
    sketch = tide()
    plan = planned(sketch).plan
    open_ = replace(plan.passages[0], lines=(replace(plan.passages[0].lines[0], who=(), why=""),))
    with pytest.raises(OrchestrateError, match=r"left to the planner still[\s\S]*Plan again first"):
        ready(sketch, Reading(replace(plan, passages=(open_, *plan.passages[1:]))), "x.plan.toml")
    other = small.sketch(small.xml([*UPPER, *OTHER, *UPPER[:3], "A4:4"], LOWER * 3))
    with pytest.raises(OrchestrateError, match="bars 9-12 of the sketch"):
        ready(other, Reading(plan), "x.plan.toml")


def test_weight_dynamic_and_mark_are_the_composers():
    first = planned(tide())
    own = 'mark = "A"\nweight = "all"\ndynamic = "ff"'
    after = planned(tide(), asked(first, 0, ('weight = "ordinary"\ndynamic = "p"', own)))
    row = after.plan.passages[0]
    assert (row.weight, row.dynamic, row.mark) == ("all", "ff", "A")
    few, many = (len({who.chair for line in one.plan.passages[0].lines for who in line.who}) for one in (first, after))
    assert many > few


def test_the_hall_of_a_plan_is_the_one_it_was_made_for():
    plan = planned(tide()).plan
    found = planning.hall_for(plan)
    assert (found.seats, found.chairs, found.standard) == (hall().seats, hall().chairs, False)
