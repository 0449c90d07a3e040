"""Checking a window again finds what checking the whole score again finds."""

from __future__ import annotations

import random
from collections.abc import Iterable
from pathlib import Path

import pytest

from corpus import corpus_files, shared_scores, smallest
from deskproof import document
from deskproof.edits import AddAccidental, Edit, Respell, SetOctave
from deskproof.findings import Finding
from deskproof.recheck import Change, recheck
from deskproof.score import GRACE, TIE_START, TIE_STOP, Note, NoteRef, Score
from deskproof.state import State, state_of

SIGNS = ("flat-flat", "flat", "natural", "sharp", "double-sharp")
SCORES = [f.path for f in smallest(20)] + [p for p in shared_scores() if p.suffix != ".mid"]
TIED = [f.path for f in corpus_files()[::12]]


def keys(findings: Iterable[Finding]) -> set[tuple[str, str, tuple[NoteRef, ...]]]:
    return {one.key for one in findings}


def assert_window_is_whole(state: State, edits: list[Edit]) -> Change:
    window, whole = recheck(state, edits), recheck(state, edits, whole=True)
    assert keys(window.gone) == keys(whole.gone)
    assert keys(window.new) == keys(whole.new)
    assert keys(window.same) <= keys(whole.same)
    return window


def notes_of(score: Score, flags: int = -1) -> list[tuple[NoteRef, Note]]:
    return [
        (NoteRef(part.id, measure.index, note.n), note)
        for part in score.parts
        for measure in part.measures
        for note in measure.notes
        if note.pitch is not None and (flags < 0 or note.flags & flags)
    ]


@pytest.mark.parametrize("path", SCORES, ids=lambda p: p.name)
def test_random_edits_of_real_scores(path: Path):
    score = document.read(path).score
    state = state_of(score)
    notes = notes_of(score)
    assert notes
    rng = random.Random(path.name)
    changed = 0
    for _ in range(8 if len(notes) < 5000 else 3):
        edits: list[Edit] = []
        for ref, note in rng.sample(notes, min(rng.choice((1, 2, 6)), len(notes))):
            assert note.pitch is not None
            kind = rng.randrange(3)
            if kind == 0:
                edits.append(SetOctave(ref, rng.randrange(10)))
            elif kind == 1:
                edits.append(Respell(ref, rng.choice("ABCDEFG"), rng.randrange(-2, 3), note.pitch.octave))
            else:
                edits.append(AddAccidental(ref, rng.choice(SIGNS)))
        change = assert_window_is_whole(state, edits)
        changed += len(change.gone) + len(change.new)
    assert changed or not any(line.first for line in state.lines)


def test_edits_of_tied_and_grace_notes():
    seen = 0
    for path in TIED:
        score = document.read(path).score
        notes = notes_of(score, TIE_START | TIE_STOP | GRACE)
        if not notes:
            continue
        state = state_of(score)
        rng = random.Random(path.name)
        for _ in range(6):
            edits: list[Edit] = [
                SetOctave(ref, rng.choice((0, 1, 2, 7, 8, 9)))
                for ref, _ in rng.sample(notes, min(rng.choice((1, 2, 3)), len(notes)))
            ]
            change = assert_window_is_whole(state, edits)
            seen += len(change.gone) + len(change.new)
    assert seen > 100


# ---------------------------------------------------------------- ties where the page and the playing part


def flute(*bars: str) -> State:
    head = "<attributes><divisions>1</divisions></attributes>"
    measures = "".join(
        f'<measure number="{i + 1}">{head if i == 0 else ""}{bar}</measure>' for i, bar in enumerate(bars)
    )
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        f'</part-list><part id="P1">{measures}</part></score-partwise>'
    )
    return state_of(document.from_bytes(text.encode()).score)


def whole_note(octave: int, *ties: str) -> str:
    signs = "".join(f'<tie type="{tie}"/>' for tie in ties)
    return (
        f"<note><pitch><step>C</step><octave>{octave}</octave></pitch><duration>4</duration>{signs}"
        "<type>whole</type></note>"
    )


def first(number: int, bar: str) -> str:
    return f'<barline location="left"><ending number="{number}" type="start"/></barline>{bar}'


BACK = '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>'
STOP = '<barline location="right"><ending number="2" type="stop"/></barline>'


def test_a_tie_into_a_second_ending():
    # Bar 1 is tied to bar 2 the first time and to bar 3 the second: an edit of bar 1 concerns all three.
    state = flute(
        whole_note(2, "start"),
        first(1, whole_note(2, "stop") + BACK),
        first(2, whole_note(2, "stop") + STOP),
        whole_note(5),
        whole_note(5),
    )
    assert [play.measure for play in state.timeline.frame.plays] == [0, 1, 0, 2, 3, 4]
    for measure in range(5):
        for octave in (1, 5):
            assert_window_is_whole(state, [SetOctave(NoteRef("P1", measure, 0), octave)])


def test_a_long_chain_of_ties_is_looked_at_whole():
    state = flute(whole_note(2, "start"), *[whole_note(2, "stop", "start")] * 8, whole_note(2, "stop"), whole_note(5))
    for measure in range(11):
        change = assert_window_is_whole(state, [SetOctave(NoteRef("P1", measure, 0), 5)])
        assert keys(change.gone) or measure == 10
    window = recheck(state, [SetOctave(NoteRef("P1", 5, 0), 5)])
    assert {tuple(ref.measure for ref in one.notes) for one in window.new} == {(0, 1, 2, 3, 4), (6, 7, 8, 9)}
    assert [tuple(ref.measure for ref in one.notes) for one in window.gone] == [tuple(range(10))]


def test_bars_without_ties_stay_out_of_the_window():
    state = flute(*[whole_note(2)] * 20)
    assert len(state.atoms["tutti", 0]) == 20
    window = recheck(state, [SetOctave(NoteRef("P1", 10, 0), 5)])
    assert [one.notes for one in window.gone] == [(NoteRef("P1", 10, 0),)]
    looked_at = {one.place.measure for one in window.same}
    assert looked_at and looked_at < set(range(6, 15))


def test_no_edit_is_no_change():
    state = flute(whole_note(2), whole_note(9))
    assert len(state.atoms["tutti", 0]) == 2
    assert recheck(state, []) == Change((), (), ())
    whole = recheck(state, [], whole=True)
    assert (whole.gone, whole.new) == ((), ())
    assert keys(whole.same) == keys(state.atoms["tutti", 0])
