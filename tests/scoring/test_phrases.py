"""Passages: they cover the sketch, follow the composer's cuts, and end where Bach's chorales have their fermatas."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from deskproof.pitch import parse
from deskproof.score import Key, Score, Time
from deskproof.scoring.phrases import bar_digest, passage_digest, phrases_of, strengths
from deskproof.scoring.records import Bar, Said, Sketch, SketchNote
from deskproof.scoring.sketch import SketchError, read

CORPUS = Path(music21.__file__).parent / "corpus"
GRID = 4
CHORALES = sorted((CORPUS / "bach").glob("bwv*.mxl"))[::12]


def sketch_of(bars: int, notes: list[tuple[int, int, str, int]], said: tuple[Said, ...] = ()) -> Sketch:
    """A sketch in 4/4: notes as (onset, end, name, staff)."""
    rows = tuple(Bar(k, str(k + 1), k * 16, 16, Time("4", 4, 16), Key(0), 2.0) for k in range(bars))
    made = tuple(
        SketchNote(f"n{k}", (), onset // 16, onset, end, end, int(parse(name).midi), parse(name), staff, "1", 0, ())
        for k, (onset, end, name, staff) in enumerate(sorted(notes))
    )
    return Sketch(Score("", GRID, ()), "test", GRID, rows, made, said, 2)


def plain(bars: int) -> Sketch:
    """Quarters without a seam."""
    return sketch_of(bars, [(4 * k, 4 * k + 4, "C5", 0) for k in range(4 * bars)])


def begins(sketch: Sketch, cuts: tuple[int, ...] = ()) -> list[int]:
    return [passage.first for passage in phrases_of(sketch, cuts)]


@given(st.integers(1, 60), st.data())
@settings(max_examples=60, deadline=None)
def test_passages_cover_all_bars_without_gap_and_one_is_the_climax(bars, data):
    onsets = data.draw(st.lists(st.integers(0, bars * 16 - 1), max_size=80))
    sketch = sketch_of(bars, [(at, at + 1 + at % 9, "CDEFGAB"[at % 7] + str(3 + at % 3), at % 2) for at in onsets])
    passages = phrases_of(sketch)
    assert [bar for p in passages for bar in range(p.first, p.last + 1)] == list(range(bars))
    assert sum(p.climax for p in passages) == 1
    assert all(p.why and p.digest and not p.strands for p in passages)
    if bars >= 2:
        assert all(p.last > p.first for p in passages)


@given(st.integers(1, 40), st.data())
@settings(max_examples=40, deadline=None)
def test_the_composers_cuts_are_all_that_count(bars, data):
    cuts = data.draw(st.lists(st.integers(0, bars - 1), min_size=1, max_size=5))
    assert begins(plain(bars), tuple(cuts)) == sorted({0, *cuts})


def test_a_cut_that_is_no_bar_is_refused():
    with pytest.raises(ValueError, match="the sketch has 4 bars"):
        phrases_of(plain(4), (4,))


def test_music_without_a_seam_falls_into_passages_of_usual_length():
    assert all(4 <= p.last - p.first + 1 <= 8 for p in phrases_of(plain(50)))


@pytest.mark.parametrize("bar", [3, 5, 7])
def test_a_rehearsal_mark_begins_a_passage(bar):
    sketch = replace(plain(16), said=(Said(bar * 16, bar, 0, "rehearsal", "A"),))
    passage = next(p for p in phrases_of(sketch) if p.first == bar)
    assert passage.mark == "A"
    assert passage.why == "rehearsal mark A"


def test_a_general_rest_a_new_key_and_a_sharp_dynamic_are_seams():
    notes = [(4 * k, 4 * k + 4, "C5", 0) for k in range(64) if not 20 <= k < 24]
    assert 6 in begins(sketch_of(16, notes))
    whole = plain(16)
    changed = replace(whole, bars=tuple(b._replace(key=Key(3)) if b.index >= 5 else b for b in whole.bars))
    assert 5 in begins(changed)
    loud = (Said(0, 0, 0, "dynamics", "pp"), Said(80, 5, 0, "dynamics", "ff"))
    passages = phrases_of(replace(whole, said=loud))
    assert [(p.first, p.dynamic) for p in passages if p.first in (0, 5)] == [(0, "pp"), (5, "ff")]
    assert [p.dynamic for p in passages if p.climax] == ["ff"]


def test_the_bass_that_falls_a_fifth_onto_a_long_note_is_a_seam():
    top = [(4 * k, 4 * k + 4, "C5", 0) for k in range(64)]
    low = [(16 * k + 4 * i, 16 * k + 4 * i + 4, "C3", 1) for k in range(16) for i in range(4) if k != 4]
    close = [(64, 72, "G3", 1), (72, 80, "C3", 1)]
    with_it = strengths(sketch_of(16, [*top, *low, *close]))[5]
    without = strengths(sketch_of(16, [*top, *low, (64, 72, "A3", 1), (72, 80, "C3", 1)]))[5]
    assert with_it.total > without.total
    assert "the bass falls a fifth onto a long note" in with_it.reasons


def test_the_sum_of_a_passage_is_of_its_notes_not_of_its_place():
    sketch = sketch_of(4, [(0, 4, "C5", 0), (8, 16, "E4", 1), (32, 36, "C5", 0), (40, 48, "E4", 1), (50, 52, "G4", 0)])
    assert bar_digest(sketch, 0) == bar_digest(sketch, 2) != bar_digest(sketch, 1)
    assert bar_digest(sketch, 3) != bar_digest(sketch, 1)
    renamed = replace(sketch, bars=tuple(b._replace(number=f"{b.index + 90}") for b in sketch.bars))
    assert passage_digest(sketch, 0, 3) == passage_digest(renamed, 0, 3)
    for field, value in (("midi", 73), ("staff", 1), ("end", 5)):
        other = replace(sketch, notes=(sketch.notes[0]._replace(**{field: value}), *sketch.notes[1:]))
        assert bar_digest(other, 0) != bar_digest(sketch, 0)


def without_fermatas(sketch: Sketch) -> Sketch:
    notes = tuple(n._replace(marks=tuple(m for m in n.marks if m.kind != "fermata")) for n in sketch.notes)
    return replace(sketch, notes=notes)


def ends_at_fermatas(sketch: Sketch) -> set[int]:
    """Bars at whose beginning a phrase has just ended: the bar line nearest to the end of a note with a fermata."""
    lines = [*(bar.onset for bar in sketch.bars), sketch.bars[-1].onset + sketch.bars[-1].length]
    held = {n.end for n in sketch.notes if n.staff == 0 and any(m.kind == "fermata" for m in n.marks)}
    nearest = {min(range(len(lines)), key=lambda k: (abs(lines[k] - end), k)) for end in held}
    return nearest - {0, len(sketch.bars)}


@lru_cache(maxsize=1)
def chorales() -> list[tuple[Sketch, set[int]]]:
    """Chorales for four parts, their fermatas taken away, and where these stood."""
    found = []
    for path in CHORALES:
        try:
            sketch = read(path)
        except SketchError:  # more than four parts
            continue
        true = ends_at_fermatas(sketch)
        if true:
            found.append((without_fermatas(sketch), true))
    return found


def test_phrases_of_chorales_end_at_their_fermatas_though_these_are_taken_away():
    right = cut = there = lines = 0
    for sketch, true in chorales():
        found = set(begins(sketch)) - {0}
        right, cut, there = right + len(found & true), cut + len(found), there + len(true)
        lines += len(sketch.bars) - 1
    precision, recall, by_chance = right / cut, right / there, there / lines
    print(f"{len(chorales())} chorales: precision {precision:.3f} recall {recall:.3f} by chance {by_chance:.3f}")
    assert len(chorales()) >= 15
    assert precision >= 0.75 > by_chance + 0.2
    assert recall >= 0.25  # a line of a chorale is two or three bars, a passage mostly two lines


def test_bar_lines_at_fermatas_are_stronger_than_others():
    pairs = wins = 0.0
    for sketch, true in chorales():
        found = strengths(sketch)
        for one in true:
            for other in set(range(1, len(sketch.bars))) - true:
                pairs += 1
                wins += (found[one].total > found[other].total) + (found[one].total == found[other].total) / 2
    print(f"a bar line at a fermata is the stronger one of two in {wins / pairs:.3f}")
    assert wins / pairs >= 0.75
