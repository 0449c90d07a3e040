"""The piano part for rehearsal: two hands can play it, and tune and bass are there."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import music21
import pytest

from deskproof import document
from deskproof.check import check
from deskproof.score import GRACE, Score
from deskproof.scoring import short_lines, short_merging, short_page, short_piano
from deskproof.scoring.short_score import remembered, shortened
from deskproof.scoring.sketch import sketch_of

CORPUS = Path(music21.__file__).parent / "corpus"
SHARED = Path(__file__).resolve().parents[3] / "shared" / "scores"
BARS = 40
LEAST = 0.95  # share of the onsets at which the outermost pitches are those of the full score
QUARTETS = (
    CORPUS / "mozart/k458/movement1.mxl",
    CORPUS / "haydn/opus74no1/movement1.mxl",
    CORPUS / "beethoven/opus18no1/movement1.mxl",
    CORPUS / "schumann_robert/opus41no1/movement1.mxl",
)
ORCHESTRAS = (
    SHARED / "beethoven-symphony-6-4.mxl",
    SHARED / "beach-gaelic-symphony-2.mxl",
    SHARED / "boulanger-matin-bars-1-100.mxl",
)
EVERY = pytest.mark.parametrize("path", QUARTETS + ORCHESTRAS, ids=lambda path: f"{path.parent.name}-{path.stem}")


@lru_cache(maxsize=16)
def read(path: Path) -> Score:
    if not path.exists():
        pytest.skip(f"{path.name} is not here")
    score = document.read(path).score
    return replace(score, parts=tuple(replace(part, measures=part.measures[:BARS]) for part in score.parts))


@lru_cache(maxsize=16)
def piano(path: Path) -> Score:
    return shortened(read(path), for_piano=True)


def levels(score: Score) -> Counter[str]:
    """What the whole check finds about the hands."""
    return Counter(one.level for one in check(score).findings if one.rule.id.startswith("keyboard"))


@EVERY
def test_nothing_in_it_is_impossible_and_next_to_nothing_hard(path: Path) -> None:
    part = piano(path)
    assert [(one.name, one.staves) for one in part.parts] == [("Piano", 2)]
    found = levels(part)
    assert found["impossible"] == 0
    assert found["hard"] <= (3 if path in ORCHESTRAS else 1)
    assert not [remark for remark in part.remarks if "cannot play" in remark]


def test_without_thinning_two_hands_could_not() -> None:
    lines = short_lines.lines_of(read(ORCHESTRAS[1]))
    kept = short_merging.merged(lines)
    for one in kept:
        one.staff = 1 if one.midi >= 60 else 2
    assert levels(short_page.written(lines, kept, 2, piano=True))["impossible"] > 0


def test_the_steps_are_what_removes_the_impossible(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(short_piano, "_thin", lambda *_: False)
    part = shortened(read(ORCHESTRAS[1]), for_piano=True)
    assert levels(part)["impossible"] > 0
    assert any("Two hands cannot play all that is left in bars" in remark for remark in part.remarks)


def rows_of(score: Score) -> list[tuple[float, float, float]]:
    """(onset, end, MIDI number) in quarters, of all notes but graces."""
    grid = score.grid
    return [(note.onset / grid, note.end / grid, note.midi) for note in sketch_of(score).notes if not note.grace]


def ends_at(rows: list[tuple[float, float, float]], at: float) -> tuple[float, float] | None:
    """The lowest and the highest pitch that sound at a moment."""
    heights = [midi for start, end, midi in rows if start <= at < end]
    return (min(heights), max(heights)) if heights else None


@EVERY
def test_tune_and_bass_are_there_and_nothing_is_added(path: Path) -> None:
    full, part = rows_of(shortened(read(path))), rows_of(piano(path))
    begins: dict[float, set[float]] = {}
    for start, _, midi in full:
        begins.setdefault(start, set()).add(midi % 12)
    assert all(midi % 12 in begins[start] for start, _, midi in part)
    pairs = [(ends_at(full, at), ends_at(part, at)) for at in sorted(begins)]
    low, high = (sum(a[k] == b[k] for a, b in pairs if a and b) / len(pairs) for k in (0, 1))
    assert low > LEAST and high > LEAST, (low, high)


@EVERY
def test_no_hand_has_more_than_four_notes_or_an_octave_and_notes_remember(path: Path) -> None:
    for measure in piano(path).parts[0].measures:
        chords: dict[tuple[int, int], list[float]] = {}
        for note in measure.notes:
            if note.kind == "note" and not note.flags & GRACE:
                assert remembered(note)
                assert not any(mark.kind == "tremolo" for mark in note.marks)
                if not any(mark == ("tied", "stop", "") for mark in note.marks):
                    chords.setdefault((note.staff, note.start), []).append(note.pitch.midi)
        for (staff, start), rows in chords.items():
            assert len(rows) <= 4 and max(rows) - min(rows) <= 12, (measure.number, staff, start, rows)


@EVERY
def test_no_key_is_struck_while_it_is_held(path: Path) -> None:
    down: dict[int, int] = {}
    for note in sketch_of(piano(path)).notes:
        if not note.grace:
            assert down.get(note.midi, 0) <= note.onset, (note.bar, note.midi)
            down[note.midi] = note.end


def test_it_is_the_same_every_time() -> None:
    assert shortened(read(QUARTETS[0]), for_piano=True) == piano(QUARTETS[0])
