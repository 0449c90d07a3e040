"""What harp, keyboards and timpani are given, against truths made by hand and the outside checker of harp plans."""

import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from deskproof import facts, forces
from deskproof.families.base import Context
from deskproof.families.harp import HARP
from deskproof.pitch import midi, name, parse
from deskproof.score import Key, Mark, Score
from deskproof.score import Time as Metre
from deskproof.scoring import colours, hall
from deskproof.scoring.colours_harp import beyond_the_pedals
from deskproof.scoring.records import Bar, Sketch, SketchNote, Tone
from deskproof.scoring.sketch import read
from deskproof.spans import lines_of
from deskproof.timeline import realise
from oracles import harp_checker

SHARED = Path(__file__).resolve().parents[3] / "shared"
GRID = 48
BAR = 4 * GRID
HALL = hall.standard()


def sketch_of(
    rows: list[tuple[int, int, str]], qpm: int = 120, fifths: int = 0, accents: frozenset[int] = frozenset()
) -> tuple[Sketch, tuple[Tone, ...]]:
    """A sketch in four-four of notes (onset, end, pitch), and the notes as tones."""
    notes = tuple(
        SketchNote(
            f"n{i}", (), onset // BAR, onset, end, end, midi(pitch), parse(pitch), 0, "1", 0,
            (Mark("accent"),) if i in accents else (),
        )
        for i, (onset, end, pitch) in enumerate(rows)
    )  # fmt: skip
    count = 1 + max(onset for onset, _, _ in rows) // BAR
    bars = tuple(Bar(i, str(i + 1), i * BAR, BAR, Metre("4", 4, BAR), Key(fifths), 240 / qpm) for i in range(count))
    tones = tuple(Tone(note.onset, note.end, note.midi, note.pitch, (i,)) for i, note in enumerate(notes))
    return Sketch(Score("", GRID, ()), "test", GRID, bars, notes, (), 1), tones


def even(pitches: list[str], step: int) -> list[tuple[int, int, str]]:
    """Notes of one length, one after the other."""
    return [(k * step, (k + 1) * step, pitch) for k, pitch in enumerate(pitches)]


def harp(rows: list[tuple[int, int, str]], qpm: int = 120) -> bool:
    sketch, tones = sketch_of(rows, qpm)
    return colours.harp_can(tones, sketch, HALL, "harp")


# ---------------------------------------------------------------- the harp

SEVEN = ["C3", "E3", "G3", "B3", "D4", "F4", "A4", "C5"]


def test_an_arpeggio_of_seven_letters() -> None:
    assert harp(even((SEVEN + SEVEN[::-1]) * 4, 12))


def test_a_chromatic_run_at_speed_and_slowly() -> None:
    run = [name(60 + k) for k in range(12)]
    assert not harp(even(run, 12))
    assert harp(even(run, 96), qpm=40)  # three seconds a note: every pedal has its time


def test_three_semitones_in_a_row_depend_on_the_time_between_them() -> None:
    """G, G sharp and A: one of the letters G and A has to move, and a comfortable change takes half a second."""
    comfortable = facts.get("harp.pedal_comfortable").value / 1000
    row = even(["G4", "A4", "G#4", "A4", "G4", "G#4"], 48)
    assert not harp(row, qpm=round(60 / (comfortable / 2)))
    assert harp(row, qpm=round(60 / (3 * comfortable)))


def test_ten_notes_in_one_hand() -> None:
    together = ["C3", "D3", "E3", "F3", "G3", "A3", "B3", "C4", "D4", "E4"]
    assert not harp([(0, 96, pitch) for pitch in together])
    assert harp([(0, 96, pitch) for pitch in together[:4]])


def test_two_hands_take_eight_strings_close_to_each_other_and_not_nine() -> None:
    eight = ["C3", "E3", "G3", "C4", "E4", "G4", "C5", "E5"]
    assert harp([(0, 96, pitch) for pitch in eight])
    assert not harp([(0, 96, pitch) for pitch in [*eight, "G5"]])


def test_below_and_above_the_strings() -> None:
    assert not harp([(0, 96, "B0")])
    assert not harp([(0, 96, "C8")])


def test_a_tremolo_of_strings_is_none_for_the_harp() -> None:
    sketch, tones = sketch_of([(0, 96, "C4")])
    assert not colours.harp_can([tones[0]._replace(tremolo=3)], sketch, HALL, "harp")
    assert not colours.harp_can(tones, sketch, HALL, "viola")


def test_a_slow_harpist_is_asked_as_such() -> None:
    row = even(["G4", "A4", "G#4", "A4", "G4"], 48)
    own = tuple(replace(one, pedal_comfortable_s=3.0) if one.name == "harp" else one for one in HALL.forces.players)
    slow = replace(HALL, forces=replace(HALL.forces, players=own), text="slow")
    sketch, tones = sketch_of(row, qpm=40)
    assert colours.harp_can(tones, sketch, HALL, "harp")
    assert not colours.harp_can(tones, sketch, slow, "harp")


@pytest.mark.parametrize(
    ("rows", "qpm"),
    [(even(SEVEN * 3, 12), 120), (even(["G4", "A4", "G#4", "A4", "G4"], 96), 60),
     (even([name(60 + k) for k in range(12)], 96), 40)],
)  # fmt: skip
def test_the_plan_behind_an_accepted_figure_passes_the_outside_checker(
    rows: list[tuple[int, int, str]], qpm: int
) -> None:
    assert harp(rows, qpm)
    notes = tuple((onset, end, midi(pitch), parse(pitch)) for onset, end, pitch in rows)
    bars = tuple((BAR, 240 / qpm) for _ in range(1 + rows[-1][0] // BAR))
    asked = colours._Asked("harp", GRID, bars, notes, "", "harp", HALL.forces)
    timeline = realise(colours._score(asked))
    spans = lines_of(timeline)[0].spans(timeline.parts[0])
    context = Context(timeline.score, timeline.frame, timeline.layouts, HALL.forces)
    assert HARP.describe is not None
    record = HARP.describe(HARP.plan(spans, context), "harp 1", context)
    assert record is not None
    tick_us = 60_000_000 / (qpm * GRID)
    struck = list(record["events"])
    assert [event["pitches"] for event in struck] == [[midi(pitch)] for _, _, pitch in rows]
    assert all(abs(event["t_us"] - onset * tick_us) <= 1 for event, (onset, _, _) in zip(struck, rows, strict=True))
    assert harp_checker.check(record) == []
    figures = {row["name"]: row["value"] for row in record["objective"]}
    assert (figures["impossible"], figures["quick_changes"]) == (0, 0)  # a moment of legato may go: that is advice


def test_what_is_told_from_the_notes_alone_is_never_more_than_the_planner_refuses() -> None:
    """Every three pitch classes in a row, at three speeds: refused from the notes alone only if the planner does."""
    told = 0
    for one in range(12):
        for two, three in ((1, 2), (2, 1), (4, 7), (1, 3)):
            row = [name(60 + one), name(60 + (one + two) % 12), name(60 + (one + three) % 12)]
            for step_us in (200_000, 400_000, 700_000):
                onsets = [(k * step_us, midi(pitch)) for k, pitch in enumerate(row)]
                if beyond_the_pedals(onsets, 500_000):
                    told += 1
                    assert not harp(even(row, 48), qpm=60_000_000 // step_us)
    assert told


def test_eight_bars_are_answered_quickly_and_remembered() -> None:
    chords = (["C3", "E3", "G3", "C4"], ["A2", "C3", "E3", "A3"], ["F3", "A3", "C4", "F4"], ["G2", "B2", "D3", "G3"])
    rows = even([pitch for chord in chords for pitch in (chord + chord[::-1]) * 2] * 2, 12)
    sketch, tones = sketch_of(rows, qpm=96)
    colours.harp_can(tones[:4], sketch, HALL, "harp")  # tables are read
    began = time.perf_counter()
    assert colours.harp_can(tones, sketch, HALL, "harp")
    first = time.perf_counter() - began
    later = tuple(tone._replace(refs=(0,)) for tone in tones)
    began = time.perf_counter()
    assert colours.harp_can(later, sketch, HALL, "harp")
    assert time.perf_counter() - began < first / 5
    assert first < 1  # 0.05 s on an idle machine


# ---------------------------------------------------------------- keyboards


def test_the_piano_takes_a_chord_for_two_hands_and_not_one_for_three() -> None:
    sketch, tones = sketch_of([(0, 96, pitch) for pitch in ("C3", "E3", "G3", "C5", "E5", "G5")])
    assert colours.keyboard_can(tones, sketch, HALL, "keyboard", "piano")
    sketch, tones = sketch_of([(0, 96, pitch) for pitch in ("C1", "C2", "C3", "C4", "C5", "C6", "C7")])
    assert not colours.keyboard_can(tones, sketch, HALL, "keyboard", "piano")


def test_the_celesta_by_its_sounding_compass() -> None:
    for pitch, can in (("C4", True), ("B3", False), ("C8", True), ("C#8", False)):
        sketch, tones = sketch_of([(0, 96, pitch)])
        assert colours.keyboard_can(tones, sketch, HALL, "keyboard", "celesta") == can, pitch
    sketch, tones = sketch_of([(0, 96, "C5")])
    assert not colours.keyboard_can(tones, sketch, HALL, "harp", "celesta")


# ---------------------------------------------------------------- timpani


def drums(rows: list[tuple[int, int, str]], accents: frozenset[int] = frozenset()) -> list[tuple[int, str]]:
    sketch, tones = sketch_of(rows, accents=accents)
    found = colours.drum_tones(tones, sketch, HALL, "timpani")
    assert all(tone.rule == "drum strokes on the bass" and tone.pitch.midi == tone.midi for tone in found)
    assert all((tone.midi - sketch.notes[tone.refs[0]].midi) % 12 == 0 for tone in found)
    return [(tone.onset, str(tone.pitch)) for tone in found]


def test_tonic_and_dominant_on_the_strong_beats() -> None:
    rows = even(["C2", "E2", "G1", "B1", "C2", "C2", "G1", "F2"], 48)
    found = drums(rows)
    assert [onset for onset, _ in found] == [0, 96, 192, 288]
    assert [pitch[0] for _, pitch in found] == ["C", "G", "C", "G"]
    low, high = midi(facts.get("timpani.lowest").value), midi(facts.get("timpani.highest").value)
    assert all(low <= midi(pitch) <= high for _, pitch in found)


def test_notes_foreign_to_the_row_of_fifths_are_left_out() -> None:
    found = drums(even(["C2", "C2", "C2", "C2", "C2", "C2", "F#2", "F#2"], 48))
    assert [pitch[0] for _, pitch in found] == ["C", "C", "C"]


def test_no_drums_for_one_stroke_or_off_the_beat() -> None:
    assert not drums(even(["C2", "E2"], 96)[:1])
    off = [(48 + 96 * k, 96 + 96 * k, "C2") for k in range(4)]
    assert not drums(off)
    assert [onset for onset, _ in drums(off, frozenset({0, 2}))] == [48, 240]


def test_strokes_have_their_time() -> None:
    rows = even(["C2"] * 32, 6)
    every = frozenset(range(32))
    step = facts.get("turning.drum_step").value / 1000
    found = [onset for onset, _ in drums(rows, every)]
    assert found
    assert all((two - one) * 0.5 / GRID >= step for one, two in pairwise(found))


def test_no_more_pitches_than_drums() -> None:
    text = '[players.timpani]\nplays = ["timpani"]\ndrums = [29]\n'
    one_drum = hall.hall_of(forces.parse(text), text)
    sketch, tones = sketch_of(even(["C2", "G2"] * 4, 96))
    found = colours.drum_tones(tones, sketch, one_drum, "timpani")
    assert len({tone.midi for tone in found}) == 1
    assert len(found) == 4


# ---------------------------------------------------------------- who holds a tone


def test_who_sustains() -> None:
    dying = {chair.name for chair in HALL.chairs if not colours.sustains(chair)}
    assert dying == {"timpani", "harp", "piano", "celesta"}


def test_real_figures() -> None:
    """Bach's prelude for lute, BWV 999, lies under a harpist's hands; a stretch of Liszt's is beyond any harp."""
    bach, liszt = (
        SHARED / "two-hands" / f"{one}.mid"
        for one in ("BachJS-PraeludiumCMoll_BWV999", "Liszt-Konzertetueden_Waldesrauschen")
    )
    if not bach.exists() or not liszt.exists():
        pytest.skip("the shared scores are not here")
    for where, first, can in ((bach, 0, True), (liszt, 144, False)):
        sketch = read(where)
        last = sketch.bars[first + 7]
        tones = [
            Tone(note.onset, note.end, note.midi, note.pitch, (ref,))
            for ref, note in enumerate(sketch.notes)
            if sketch.bars[first].onset <= note.onset < last.onset + last.length and note.staff == 0
        ]
        assert colours.harp_can(tones, sketch, HALL, "harp") == can
