"""Old passages are found again in a changed sketch; what was not touched stays; a full score is known by its bars."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from deskproof import document
from deskproof.pitch import parse
from deskproof.score import Direction, Key, Mark, Measure, Note, Part, Score, Time
from deskproof.scoring import sketch as sketch_
from deskproof.scoring.phrases import phrases_of
from deskproof.scoring.plan_text import reading_of, write
from deskproof.scoring.records import Bar, Line, Passage, PlannedPassage, Said, ScoringPlan, Sketch, Strand, Tone, Who
from deskproof.scoring.replanning import (
    OtherBarsError,
    agrees,
    bar_digests,
    bar_names,
    bars_of,
    cuts_of,
    differing,
    digest_of,
    edited,
    frozen,
    kept,
    matched,
    renamed,
)

SHARED = Path(__file__).resolve().parents[3] / "shared"


def music(letters, numbers=None, said=()):
    """A sketch with no notes; the letter of a bar stands for its music."""
    numbers = numbers or [str(k + 1) for k in range(len(letters))]
    bars = tuple(Bar(k, numbers[k], 16 * k, 16, Time("4", 4, 16), Key(0), 2.0) for k in range(len(letters)))
    return Sketch(Score("x", 4, ()), letters, 4, bars, (), said, 1)


def letter(sketch, bar):
    return sketch.name[bar]


def planned(letters, *cuts, numbers=None):
    """A plan for such a sketch, every passage with one line."""
    sketch = music(letters, numbers)
    ends = [*cuts[1:], len(letters)]
    return ScoringPlan(
        passages=tuple(
            PlannedPassage(
                bars_of(sketch, first, end - 1), digest_of(sketch, first, end - 1, letter),
                lines=(Line("tune", (Who(f"oboe {k % 2 + 1}"),)),),
            )
            for k, (first, end) in enumerate(zip(cuts, ends, strict=True))
        )
    )  # fmt: skip


def passages(sketch, cuts):
    strand = Strand("tune", "tune", (Tone(0, 4, 60, parse("C4"), ()),))
    return [Passage(first, end - 1, (strand,)) for first, end in zip(cuts, [*cuts[1:], len(sketch.bars)], strict=True)]


def go_on(plan, sketch, new=()):
    """Cuts, what each passage goes on from, and which are planned anew."""
    cuts = cuts_of(plan, sketch, letter)
    here = passages(sketch, cuts)
    before = matched(plan, here, sketch, letter)
    return cuts, before, edited(before, here, sketch, renamed(new, plan, before), letter)


@pytest.mark.parametrize(
    ("today", "cuts", "bars", "anew"),
    [
        ("abcdefghijkl", (0, 4, 8), ["1-4", "5-8", "9-12"], set()),
        ("abcdefXhijkl", (0, 4, 8), ["1-4", "5-8", "9-12"], {1}),  # a bar changed
        ("abcdefXghijkl", (0, 4, 9), ["1-4", "5-9", "10-13"], {1}),  # a bar put in
        ("abcdfghijkl", (0, 4, 7), ["1-4", "5-7", "8-11"], {1}),  # a bar taken out
        ("XYabcdefghijkl", (0, 2, 6, 10), [None, "3-6", "7-10", "11-14"], {0}),  # bars before the first
        ("abcdXefghijkl", (0, 4, 5, 9), ["1-4", None, "6-9", "10-13"], {1}),  # between two passages
        ("abcdijkl", (0, 4), ["1-4", "5-8"], set()),  # a whole passage taken out
        ("abcdefghijklZ", (0, 4, 8, 12), ["1-4", "5-8", "9-12", None], {3}),
        ("abcXYfghijkl", (0, 4, 8), ["1-4", "5-8", "9-12"], {0, 1}),  # on both sides of a cut
    ],
)
def test_bars_put_in_and_taken_out(today, cuts, bars, anew):
    plan = planned("abcdefghijkl", 0, 4, 8)
    found, before, again = go_on(plan, music(today))
    assert found == cuts
    assert [one.bars if one else None for one in before] == bars
    assert again == anew
    for k in kept(before, again):
        assert before[k].lines in [one.lines for one in plan.passages]


@settings(deadline=None, max_examples=300)
@given(st.lists(st.integers(1, 5), min_size=1, max_size=6), st.data())
def test_passages_whose_bars_are_all_there_stay_and_no_others(lengths, data):
    """Every bar its own music: which passages stay whole is known without any search."""
    letters = "".join(chr(0x100 + k) for k in range(sum(lengths)))
    cuts = [sum(lengths[:k]) for k in range(len(lengths))]
    plan = planned(letters, *cuts)
    today = list(letters)
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, len(today)))
        if data.draw(st.booleans()) or at >= len(today) or len(today) < 2:
            today.insert(at, chr(0x4E00 + len(today)))
        else:
            del today[at]
    sketch = music("".join(today))
    if not set(letters) & set(today):
        return
    whole = [letters[a:b] for a, b in zip(cuts, [*cuts[1:], len(letters)], strict=True)]
    found, _, again = go_on(plan, sketch)
    here = passages(sketch, found)
    assert [bar for one in here for bar in range(one.first, one.last + 1)] == list(range(len(today)))
    stays = {k for k, one in enumerate(here) if sketch.name[one.first : one.last + 1] in whole}
    assert kept(here, again) == stays
    assert len(stays) == sum(part in sketch.name for part in whole)


def test_cuts_by_hand_hold():
    plan = planned("abcdefgh", 0, 4)
    by_hand = replace(
        plan, passages=tuple(replace(one, bars=bars) for one, bars in zip(plan.passages, ("1-3", "4-8"), strict=True))
    )
    cuts, before, again = go_on(by_hand, music("abcdefgh"))
    assert cuts == (0, 3)
    assert again == {0, 1}
    assert before[1].lines == plan.passages[1].lines
    cuts, _, again = go_on(by_hand, music("abcdefghX"))
    assert cuts == (0, 3, 8)


def test_a_gap_in_the_plan_is_a_passage_of_its_own():
    plan = ScoringPlan(passages=(PlannedPassage("1-2"), PlannedPassage("5-6")))
    cuts, before, again = go_on(plan, music("abcdefgh"))
    assert cuts == (0, 2, 4, 6)
    assert [one is None for one in before] == [False, True, False, True]
    assert again == {0, 1, 2, 3}


def test_a_plan_for_other_bars_names_every_line():
    text = '[[passage]]\nbars = "1-4"\n[[passage]]\nbars = "5-99"\n[[passage]]\nbars = "A-B"\n'
    with pytest.raises(OtherBarsError) as caught:
        cuts_of(reading_of(text).plan, music("abcdefgh"), letter)
    rows = str(caught.value).splitlines()
    assert rows[0] == "plan for other bars than the sketch:"
    assert [row.split(":")[0] for row in rows[1:-1]] == ["line 3", "line 5"]
    assert "bars 1-8" in rows[1]


@given(st.lists(st.sampled_from(["1", "2", "X1", "2-3", "16"]), min_size=1, max_size=12), st.data())
def test_bars_as_written_are_found_again_whatever_is_printed(numbers, data):
    sketch = music("a" * len(numbers), numbers)
    assert len(set(bar_names(numbers))) == len(numbers)
    first = data.draw(st.integers(0, len(numbers) - 1))
    last = data.draw(st.integers(first, len(numbers) - 1))
    if "2-3" in numbers:
        return  # a number with a dash of its own may be read two ways
    plan = ScoringPlan(passages=(PlannedPassage(bars_of(sketch, first, last)),))
    wanted = {0, first, last + 1} - {len(numbers)}
    assert set(cuts_of(plan, sketch, letter)) == wanted


def test_a_dynamic_changes_the_sum_of_its_bars():
    loud = Said(16, 1, 0, "dynamics", "f")
    soft = digest_of(music("aaa"), 0, 2, letter).split()
    changed = digest_of(music("aaa", said=(loud,)), 0, 2, letter).split()
    assert [a == b for a, b in zip(soft, changed, strict=True)] == [True, False, False]


# ---------------------------------------------------------------------- what is planned anew


@pytest.mark.parametrize(
    ("line", "anew"),
    [
        (Line("tune", (Who("oboe 1"),)), False),
        (Line("tune", why="nobody has it"), False),
        (Line("tune"), True),
        (Line("bass", (Who("oboe 1"),)), True),
    ],
)
def test_lines_that_ask_for_a_new_plan(line, anew):
    plan = planned("abcd", 0)
    plan = replace(plan, passages=(replace(plan.passages[0], lines=(line,)),))
    assert go_on(plan, music("abcd"))[2] == ({0} if anew else set())


def test_only_the_passage_that_the_composer_edited_is_planned_anew():
    plan = planned("abcdefgh", 0, 4)
    text = write(plan).replace('who = ["oboe 2"]', 'who = ["oboe 1"]')
    reading = reading_of(text)
    assert go_on(reading.plan, music("abcdefgh"), reading.new)[2] == {1}
    assert go_on(reading.plan, music("Xabcdefgh"), reading.new)[2] == {0, 2}
    again = reading_of(write(reading.plan, text))
    assert go_on(again.plan, music("abcdefgh"), again.new)[2] == set()


def test_what_the_planner_is_asked_for():
    own = Line("tune", (Who("oboe 1"),), by="composer")
    pinned = Line("bass", (Who("cello"),), fixed=True)
    wish = Line("inner part", (Who("viola"),), prefer=("harp",), why="as before")
    free = Line("figuration", (Who("harp"),), why="as before")
    silent = Line("accents", by="composer", why="too many already")
    old = PlannedPassage("1-4", lines=(own, pinned, wish, free, silent))
    here = [Passage(0, 3, tuple(Strand(one.strand, one.strand, ()) for one in old.lines))] * 2
    still, anew = frozen([old, old], here, {1})
    assert still.lines == tuple(replace(line, fixed=True) for line in old.lines)
    asked = (own, pinned, replace(wish, who=(), why=""), replace(silent, fixed=True))
    assert anew.lines == asked
    assert frozen([None], here[:1], {0}) == (None,)


def test_a_line_for_a_strand_that_is_not_there_is_named():
    text = '[[passage]]\nbars = "1-4"\n[[passage.line]]\nstrand = "tuna"\nwho = ["ob 1"]\n'
    plan = reading_of(text).plan
    sketch = music("abcd")
    here = passages(sketch, (0,))
    (problem,) = agrees(matched(plan, here, sketch, letter), here, "tide.plan.toml")
    assert problem == (
        "tide.plan.toml, line 3: bars 1-4 have no strand 'tuna'; did you mean 'tune'? It has tune."
    )
    planners = replace(plan, passages=(replace(plan.passages[0], lines=(Line("tuna", (Who("oboe 1"),)),)),))
    assert agrees(planners.passages, here) == []


# ---------------------------------------------------------------------- real sketches


@pytest.mark.parametrize("name", ["scores/viardot-belle-yoli.mxl", "two-hands/BachJS-FrzSuite2_Air.mid"])
def test_a_real_sketch_with_a_bar_taken_out(name):
    path = SHARED / name
    if not path.exists():
        pytest.skip("the shared scores are not here")
    score = document.read(path).score
    whole = sketch_.sketch_of(score)
    cuts = [one.first for one in phrases_of(whole)]
    assert len(cuts) > 2
    ends = [*cuts[1:], len(whole.bars)]
    plan = ScoringPlan(
        passages=tuple(
            PlannedPassage(
                bars_of(whole, first, end - 1), digest_of(whole, first, end - 1), lines=(Line("tune", (Who("harp"),)),)
            )
            for first, end in zip(cuts, ends, strict=True)
        )
    )
    assert cuts_of(plan, whole) == tuple(cuts)
    at = cuts[1] + 1

    def without(part):
        left = [m for m in part.measures if m.index != at]
        return replace(part, measures=tuple(m._replace(index=k, number=str(k)) for k, m in enumerate(left)))

    less = sketch_.sketch_of(replace(score, parts=tuple(map(without, score.parts))))
    assert len(less.bars) == len(whole.bars) - 1
    found = cuts_of(plan, less)
    assert found == (*cuts[:2], *(cut - 1 for cut in cuts[2:]))
    here = passages(less, found)
    before = matched(plan, here, less)
    again = edited(before, here, less)
    assert 1 in again
    # the bar behind the cut may ring or tie into its neighbours, nothing else may be touched
    assert again <= {0, 1, 2}


# ---------------------------------------------------------------------- the full score written last


def note(step, start=0, length=4, n=0, **more):
    fields = {"kind": "note", "staff": 1, "voice": "1", "flags": 0, "accidental": "", "instrument": "", "marks": ()}
    return Note(n, start, length, parse(step), **{**fields, **more})


def full(*bars, grid=4, numbers=None):
    measures = tuple(
        bar._replace(index=k, number=(numbers or "123456789")[k]) for k, bar in enumerate(bars)
    )
    return Score("full", grid, (Part("P1", "Oboe", "", {}, measures),))


def bar(*notes, directions=()):
    return Measure(0, "", 16, notes, directions)


def test_bars_of_a_full_score_that_were_edited():
    plain = full(bar(note("C5")), bar(note("D5")), bar(note("E5")))
    written = bar_digests(plain)
    assert list(written) == ["1", "2", "3"]
    assert differing(written, plain) == []
    said = Direction(0, 0, 1, "words", "dolce")
    for changed in (
        bar(note("D#5")),
        bar(note("D5", length=2)),
        bar(note("D5", start=4)),
        bar(note("D5", marks=(Mark("staccato"),))),
        bar(note("D5"), directions=(said,)),
        bar(),
    ):
        assert differing(written, full(bar(note("C5")), changed, bar(note("E5")))) == ["2"]
    assert differing(written, full(bar(note("C5")), bar(note("D5")))) == ["3"]
    assert differing(written, full(*plain.parts[0].measures, bar(note("E5")))) == ["4"]


def test_what_a_program_changes_when_it_saves_a_score_is_no_edit():
    plain = full(bar(note("C5"), note("D5", start=4, n=1)))
    finer = full(
        bar(note("C5", length=8, voice="2"), note("D5", start=8, length=8, n=2),
            note("C4", start=16, kind="rest", n=1)._replace(pitch=None)),
        grid=8,
    )  # fmt: skip
    assert differing(bar_digests(plain), finer) == []


def test_a_real_full_score_and_one_note_of_it():
    path = SHARED / "scores" / "schubert-quartettsatz-d703.mxl"
    if not path.exists():
        pytest.skip("the shared scores are not here")
    score = document.read(path).score
    written = bar_digests(score)
    assert len(written) == len(score.parts[0].measures)
    part = score.parts[1]
    measure = part.measures[40]
    k = next(k for k, one in enumerate(measure.notes) if one.pitch is not None)
    notes = tuple(one._replace(pitch=parse("C2")) if i == k else one for i, one in enumerate(measure.notes))
    measures = tuple(measure._replace(notes=notes) if m is measure else m for m in part.measures)
    changed = replace(score, parts=(score.parts[0], replace(part, measures=measures), *score.parts[2:]))
    assert differing(written, changed) == [bar_names([m.number for m in part.measures])[40]]
