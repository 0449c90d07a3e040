"""Rules of turning, on passages built by hand and on real piano music sorted into crude strands."""

from collections import Counter
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from deskproof import facts
from deskproof.pitch import Pitch, name, parse
from deskproof.score import Key, Mark, Score, Time
from deskproof.scoring.records import (
    BASS,
    FIGURE,
    HELD,
    INNER,
    SAME,
    TUNE,
    Bar,
    Passage,
    Sketch,
    SketchNote,
    Strand,
    Tone,
)
from deskproof.scoring.sketch import read
from deskproof.scoring.turning import RULES, TurningError, rule_named, turned
from deskproof.scoring.turning_chords import in_thirds

SHARED = Path(__file__).resolve().parents[3] / "shared"
GRID = 48
BAR = 4 * GRID
Written = tuple[int, int, str]  # onset, end, pitch


def sketch_of(
    strands: list[tuple[str, list[Written]]],
    bars: int = 2,
    qpm: int = 120,
    rings: dict[tuple[int, int], int] | None = None,
    marks: Mapping[tuple[int, int], tuple[Mark, ...]] | None = None,
    played: bool = False,
) -> tuple[Sketch, Passage]:
    """A sketch in four-four and its passage; ``rings`` and ``marks`` by strand and ordinal in it."""
    rows = []
    for s, (_, notes) in enumerate(strands):
        for k, (onset, end, pitch) in enumerate(notes):
            rows.append((onset, s, k, end, parse(pitch)))
    rows.sort(key=lambda row: (row[0], -row[4].midi))
    place = {(s, k): i for i, (_, s, k, _, _) in enumerate(rows)}
    own = tuple(
        SketchNote(
            f"n{i}", (), onset // BAR, onset, end, (rings or {}).get((s, k), end), int(pitch.midi), pitch, s % 2,
            str(s), 0, (marks or {}).get((s, k), ()),
        )
        for i, (onset, s, k, end, pitch) in enumerate(rows)
    )  # fmt: skip
    time = Time("4", 4, BAR)
    frame = tuple(Bar(i, str(i + 1), i * BAR, BAR, time, Key(0), 240 / qpm) for i in range(bars))
    score = Score("", GRID, (), extra={"played": "yes" if played else "no"})
    made = tuple(
        Strand(
            f"{kind} {s}",
            kind,
            tuple(Tone(on, end, int(parse(p).midi), parse(p), (place[s, k],)) for k, (on, end, p) in enumerate(notes)),
        )
        for s, (kind, notes) in enumerate(strands)
    )
    return Sketch(score, "test", GRID, frame, own, (), 2), Passage(0, bars - 1, made)


def even(pitches: str, step: int, start: int = 0) -> list[Written]:
    """Notes of one length, one after the other."""
    return [(start + k * step, start + (k + 1) * step, p) for k, p in enumerate(pitches.split())]


def held(passage: Passage, of: str) -> list[list[tuple[int, int, str]]]:
    """The made strands of one strand, as onset, end and pitch."""
    return [[(t.onset, t.end, str(t.pitch)) for t in s.tones] for s in passage.strands if s.of == of]


def sound(sketch: Sketch, before: Passage, after: Passage) -> None:
    """What must hold whatever a rule does."""
    names = [strand.id for strand in after.strands]
    assert len(names) == len(set(names))
    kept = Counter(ref for s in after.strands if not s.of for tone in s.tones for ref in tone.refs)
    assert kept == Counter(ref for s in before.strands for tone in s.tones for ref in tone.refs)
    end = sketch.bars[before.last].onset + sketch.bars[before.last].length
    longest = max((tone.end for s in before.strands for tone in s.tones), default=0)
    known = {strand.id for strand in before.strands}
    for strand in after.strands:
        assert not strand.of or (strand.of in known and rule_named(strand.rule) and strand.kind == HELD)
        assert all(one.onset < two.onset for one, two in pairwise(strand.tones))
        for tone in strand.tones:
            assert tone.refs and tone.pitch.midi == tone.midi
            assert any((sketch.notes[ref].midi - tone.midi) % 12 == 0 for ref in tone.refs)
            assert sketch.bars[before.first].onset <= tone.onset < tone.end <= max(end, longest)
            assert tone.rule == SAME or rule_named(tone.rule).name == tone.rule
            if tone.rule == SAME:
                ref = sketch.notes[tone.refs[0]]
                assert (tone.onset, tone.end, tone.midi) == (ref.onset, ref.end, ref.midi)


# ---------------------------------------------------------------- the pedal


def test_a_bass_note_rings_to_the_next_one_and_the_last_to_the_end_of_the_pedal() -> None:
    sketch, passage = sketch_of(
        [(BASS, [(0, 24, "C2"), (96, 120, "C2"), (192, 216, "C2")])],
        rings={(0, 0): 300, (0, 1): 150, (0, 2): 1000},
    )
    found = turned(sketch, passage)
    assert [(t.end, t.rule) for t in found.strands[0].tones] == [(96, "held by the pedal"), (150, "held by the pedal"),
                                                                 (384, "held by the pedal")]  # fmt: skip
    sound(sketch, passage, found)


def test_a_held_note_ends_where_the_harmony_leaves_it() -> None:
    bass = [(0, 96, "C2"), (96, 192, "G2"), (192, 288, "A2")]
    sketch, passage = sketch_of(
        [(INNER, [(0, 48, "G4")]), (INNER, [(0, 48, "E4")]), (INNER, [(96, 190, "B3")]), (BASS, bass)],
        rings={(0, 0): 384, (1, 0): 384},
    )
    found = turned(sketch, passage)
    assert found.strands[0].tones[0].end == 192  # G is in the bass of the second harmony, and not in the third
    assert found.strands[1].tones[0].end == 96
    assert found.strands[2].tones[0].rule == SAME


def test_the_pedal_leaves_tune_and_figure() -> None:
    sketch, passage = sketch_of([(TUNE, [(0, 24, "C5")]), (FIGURE, [(0, 24, "E4")])], rings={(0, 0): 300, (1, 0): 300})
    assert turned(sketch, passage) == passage


# ---------------------------------------------------------------- broken chords


def test_an_alberti_bass_gives_its_chords() -> None:
    notes = even("C4 G4 E4 G4 C4 G4 E4 G4 D4 G4 F4 G4 B3 G4 D4 G4", 24)
    sketch, passage = sketch_of([(FIGURE, notes)])
    found = turned(sketch, passage)
    assert held(found, "figuration 0")[0] == [(0, 192, "G4"), (192, 384, "G4")]
    made = [tone for row in held(found, "figuration 0") for tone in row]
    chords = [sorted(pitch[0] for at, _, pitch in made if at == onset) for onset in (0, 192)]
    assert chords == [["C", "E", "G"], ["B", "D", "F", "G"]]
    assert found.strands[0] == passage.strands[0]
    sound(sketch, passage, found)


def test_a_held_chord_stands_for_every_note_of_the_figure() -> None:
    sketch, passage = sketch_of([(FIGURE, even("C4 E4 G4 C5 G4 E4 C4 E4", 24))], bars=1)
    made = [s for s in turned(sketch, passage).strands if s.of]
    assert sorted(ref for s in made for t in s.tones for ref in t.refs) == list(range(8))


@pytest.mark.parametrize(
    ("pitches", "why"),
    [
        ("C4 D4 E4 F4 G4 A4 B4 C5", "a scale"),
        ("C4 C#4 C4 C#4 C4 C#4 C4 C#4", "a shake"),
        ("C4 D4 C4 E4 C4 D4 C4 E4", "no chord in thirds"),
        ("C4 C4 C4 C4 C4 C4 C4 C4", "one note"),
    ],
)
def test_no_broken_chord(pitches: str, why: str) -> None:
    sketch, passage = sketch_of([(FIGURE, even(pitches, 24))], bars=1)
    assert not held(turned(sketch, passage), "figuration 0"), why


def test_a_slow_figure_is_a_line() -> None:
    sketch, passage = sketch_of([(FIGURE, even("C4 E4 G4 C5", 48))], bars=1, qpm=40)
    assert turned(sketch, passage) == passage


def test_two_hands_with_one_harmony_give_it_once() -> None:
    rows = [(FIGURE, even("C5 E5 G5 E5 C5 E5 G5 E5", 24)), (FIGURE, even("C3 E3 G3 E3 C3 E3 G3 E3", 24))]
    sketch, passage = sketch_of(rows, bars=1)
    assert {s.of for s in turned(sketch, passage).strands if s.of} == {"figuration 0"}


def test_chords_in_thirds_against_music21() -> None:
    chord = pytest.importorskip("music21.chord")
    for classes in ({0, 4, 7}, {9, 0, 4}, {11, 2, 5}, {7, 11, 2, 5}, {0, 4, 8}, {11, 2, 5, 8}, {0, 2, 4}, {0, 1, 2}):
        one = chord.Chord(sorted(classes))
        assert in_thirds(frozenset(classes)) == (one.isTriad() or one.isSeventh()), classes


triads = st.tuples(st.integers(0, 11), st.sampled_from([(0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 6, 9)]))


@settings(max_examples=200, deadline=None)
@given(st.lists(triads, min_size=1, max_size=6), st.integers(36, 60))
def test_the_harmonies_of_a_figure_are_its_own(chords: list[tuple[int, tuple[int, ...]]], low: int) -> None:
    """Each chord broken upwards twice in a bar: what sounds in the held voices is exactly its pitch classes."""
    notes, truth = [], []
    for bar, (root, steps) in enumerate(chords):
        own = sorted(low + (root + step - low) % 12 for step in steps)
        line = own * (8 // len(own)) if len(own) == 4 else [*own, own[1]] * 2
        notes += [(bar * BAR + 24 * k, bar * BAR + 24 * (k + 1), name(midi)) for k, midi in enumerate(line)]
        truth.append({midi % 12 for midi in own})
    sketch, passage = sketch_of([(FIGURE, notes)], bars=len(chords))
    found = turned(sketch, passage)
    sound(sketch, passage, found)
    made = [s for s in found.strands if s.of]
    assert len(made) <= 4
    for bar, classes in enumerate(truth):
        middle = bar * BAR + BAR // 2
        sounding = {t.midi % 12 for s in made for t in s.tones if t.onset <= middle < t.end}
        assert sounding == classes


def test_voices_move_less_than_chords_in_root_position() -> None:
    notes = even("C4 E4 G4 E4 C4 E4 G4 E4 F4 A4 C5 A4 F4 A4 C5 A4 G4 B4 D5 B4 G4 B4 D5 B4", 24)
    sketch, passage = sketch_of([(FIGURE, notes)], bars=3)
    made = [s.tones for s in turned(sketch, passage).strands if s.of]
    moved = sum(abs(a.midi - b.midi) for row in made for a, b in pairwise(row))
    assert len(made) == 3
    assert moved < sum(3 * step for step in (5, 2))


# ---------------------------------------------------------------- tremolos


def test_an_octave_tremolo_becomes_two_tremolos() -> None:
    sketch, passage = sketch_of([(BASS, even(" ".join(["C2 C3"] * 8), 6))], bars=1)
    found = turned(sketch, passage)
    assert [(s.id, s.kind, s.of) for s in found.strands] == [("bass 0", BASS, ""), ("bass 1", BASS, "")]
    assert [[(t.onset, t.end, str(t.pitch), t.tremolo, len(t.refs)) for t in s.tones] for s in found.strands] == [
        [(0, 96, "C3", 3, 8)],
        [(0, 96, "C2", 3, 8)],
    ]
    sound(sketch, passage, found)


def test_a_tremolo_that_can_be_counted_is_measured() -> None:
    sketch, passage = sketch_of([(FIGURE, even(" ".join(["C3 G3"] * 4), 12))], bars=1, qpm=108)
    assert {t.tremolo for s in turned(sketch, passage).strands for t in s.tones} == {2}


def test_two_chords_that_alternate() -> None:
    upper = [(12 * k, 12 * k + 6, "E4") for k in range(6)]
    sketch, passage = sketch_of([(FIGURE, upper), (FIGURE, even(" ".join(["C4 G3"] * 6), 6))], bars=1)
    found = turned(sketch, passage)
    assert sorted(str(t.pitch) for s in found.strands for t in s.tones) == ["C4", "E4", "G3"]
    assert {(t.onset, t.end) for s in found.strands for t in s.tones} == {(0, 72)}
    sound(sketch, passage, found)


@pytest.mark.parametrize("pitches", [" ".join(["C4 D4"] * 6), "C4 G4 C4 G4 E4 C4 G4 E4", "C4 E4 G4 C4 E4 G4 C4 E4"])
def test_no_tremolo(pitches: str) -> None:
    sketch, passage = sketch_of([(FIGURE, even(pitches, 6))], bars=1)
    assert turned(sketch, passage).strands[0] == passage.strands[0]


def test_a_tremolo_sign_between_two_notes() -> None:
    sketch, passage = sketch_of(
        [(HELD, [(0, 96, "C4"), (96, 192, "A4")])],
        bars=1,
        marks={(0, 0): (Mark("tremolo", "3", "start"),), (0, 1): (Mark("tremolo", "3", "stop"),)},
    )
    found = turned(sketch, passage)
    assert [[(t.onset, t.end, str(t.pitch), t.tremolo) for t in s.tones] for s in found.strands] == [
        [(0, 192, "A4", 3)],
        [(0, 192, "C4", 3)],
    ]
    sound(sketch, passage, found)


# ---------------------------------------------------------------- repeated and rolled chords


def test_quick_repetitions_are_held_for_winds() -> None:
    limit = facts.get("turning.winds_tongue").value / 1000
    quick, slow = int(60 / (limit * 0.9) / 4), int(60 / (limit * 1.1) / 4)
    rows = [(INNER, even("E4 E4 E4 E4 F4 F4 F4 F4", 12))]
    sketch, passage = sketch_of(rows, bars=1, qpm=quick)
    found = turned(sketch, passage)
    assert held(found, "inner part 0") == [[(0, 48, "E4"), (48, 96, "F4")]]
    assert found.strands[0] == passage.strands[0]
    sound(sketch, passage, found)
    sketch, passage = sketch_of(rows, bars=1, qpm=slow)
    assert turned(sketch, passage) == passage


def test_a_rolled_chord_begins_together() -> None:
    rows = [(INNER, [(6, 96, "G4")]), (INNER, [(3, 96, "E4")]), (BASS, [(0, 96, "C3")])]
    sketch, passage = sketch_of(rows, bars=1, played=True)
    found = turned(sketch, passage)
    assert {t.onset for s in found.strands for t in s.tones} == {0}
    assert [s.tones[0].rule for s in found.strands] == ["rolled chord", "rolled chord", SAME]
    sketch, passage = sketch_of(rows, bars=1)
    assert turned(sketch, passage) == passage  # written so without a sign: it is meant so


def test_a_figure_held_by_the_fingers_is_no_rolled_chord() -> None:
    rows = [(INNER, [(6, 96, "G4")]), (INNER, [(3, 96, "E4")]), (BASS, [(0, 96, "C3")]), (TUNE, [(9, 96, "C4")])]
    sketch, passage = sketch_of(rows, bars=1, played=True)
    assert turned(sketch, passage) == passage


def test_a_plain_chord_under_the_sign_stays() -> None:
    rows = [(INNER, [(0, 96, "G4")]), (INNER, [(0, 96, "E4")]), (BASS, [(0, 96, "C3")])]
    sign = {(s, 0): (Mark("arpeggiate"),) for s in range(3)}
    sketch, passage = sketch_of(rows, bars=1, marks=sign)
    assert turned(sketch, passage) == passage


# ---------------------------------------------------------------- all rules


def test_every_rule_has_a_name_of_its_own_and_facts_that_are_there() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    used = {fact for rule in RULES for fact in rule.facts}
    assert used == {fact.id for fact in facts.all_facts() if fact.id.startswith("turning.")}
    with pytest.raises(TurningError, match="octave tremolo"):
        rule_named("tremolo in octaves")


def crude(sketch: Sketch, first: int, last: int) -> Passage:
    """A passage by staff: the highest notes of each staff are figuration, what stands below them inner parts."""
    begin, end = sketch.bars[first].onset, sketch.bars[last].onset + sketch.bars[last].length
    rows: dict[tuple[int, int], list[Tone]] = {}
    count: Counter[tuple[int, int]] = Counter()
    for ref, note in enumerate(sketch.notes):
        if begin <= note.onset < end and note.end > note.onset:
            at = note.staff, note.onset
            rows.setdefault((note.staff, count[at]), []).append(
                Tone(note.onset, note.end, note.midi, note.pitch, (ref,))
            )
            count[at] += 1
    made = (
        Strand(f"{FIGURE if not k else INNER} {staff}.{k}", INNER if k else FIGURE, tuple(tones))
        for (staff, k), tones in sorted(rows.items())
    )
    return Passage(first, last, tuple(made))


REAL = (
    "two-hands/BachJS-PraeludiumCMoll_BWV999.mid",
    "scores/faure-en-sourdine.mxl",
    "scores/viardot-belle-yoli.mxl",
    "scores/brahms-o-komme-op58-4.mxl",
    "scores/jaell-petits-oiseaux.mxl",
)


@pytest.mark.parametrize("where", REAL)
def test_real_music_keeps_every_note(where: str) -> None:
    if not (SHARED / where).exists():
        pytest.skip("the shared scores are not here")
    sketch = read(SHARED / where)
    rules: Counter[str] = Counter()
    for first in range(0, len(sketch.bars), 8):
        before = crude(sketch, first, min(first + 7, len(sketch.bars) - 1))
        after = turned(sketch, before)
        sound(sketch, before, after)
        rules.update(tone.rule for strand in after.strands for tone in strand.tones)
    assert rules["broken chord with a held harmony"]


def test_bach_prelude_stays_in_c_minor_for_its_first_bars() -> None:
    """BWV 999 begins with C minor over C, twice; the held chord is C, E flat, G in that order of voices."""
    where = SHARED / "two-hands/BachJS-PraeludiumCMoll_BWV999.mid"
    if not where.exists():
        pytest.skip("the shared scores are not here")
    sketch = read(where)
    made = [s for s in turned(sketch, crude(sketch, 0, 7)).strands if s.of]
    assert [s.tones[0].pitch for s in made[:3]] == [Pitch("G", 0, 4), Pitch("E", -1, 4), Pitch("C", 0, 4)]
