"""A sketch as it is read, against a second reading of its file."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest

import corpus
from deskproof import document
from deskproof.scoring import sketch as sketch_
from deskproof.scoring.note_values import in_values
from deskproof.scoring.records import Bar, Sketch
from deskproof.scoring.sketch import SketchError
from oracles import full_score_checker as checker
from scoring import small_sketches as small

SHARED = Path(__file__).resolve().parents[3] / "shared"
UNTIDY = ("schubert/Lindenbaum.xml", "mozart/k80/movement4.mxl", "haydn/opus74no1/movement3.mxl")
"""Bars that are too long or too short for their metre, where the timeline has its own rules."""


def test_notes_are_those_of_an_outside_reading():
    """References, ties, pitches, onsets and ends in page order, of a sample of music21's corpus that nobody chose."""
    seen = 0
    for file in corpus.smallest(48):
        try:
            read = sketch_.read(file.path)
        except SketchError:
            continue  # more than four staves
        if file.name in UNTIDY:
            continue
        ours = {
            n.ref: (Fraction(n.onset, read.grid), Fraction(n.end, read.grid), n.midi, bool(n.grace), n.tied)
            for n in read.notes
        }
        theirs = {
            one.ref: (one.onset, one.end, one.midi, one.grace, tuple(one.tied))
            for one in checker.chains_of(checker.bytes_of(file.path))
        }
        assert ours == theirs, file.name
        seen += 1
    assert seen > 30


def test_notes_stand_in_order_and_bars_one_after_the_other():
    read = small.sketch(small.xml(["C5:1 E5+G5:1 C6:1/2g B5:2", "C5:4"], ["C3:4", "C3:2 D3:2"]))
    keys = [(note.onset, -note.grace, note.staff, -note.midi) for note in read.notes]
    assert keys == sorted(keys)
    assert [bar.onset for bar in read.bars] == [0, 4 * read.grid]
    assert (read.staves, {note.staff for note in read.notes}) == (2, {0, 1})
    grace = next(note for note in read.notes if note.grace)
    assert (grace.midi, grace.onset, grace.end) == (84, 2 * read.grid, 2 * read.grid)


def test_cue_and_hidden_notes_are_none():
    data = small.xml(["C5:2 D5:2c"], ["C3:4"])
    assert [note.midi for note in small.sketch(data).notes] == [72, 48]


def test_slurs_of_two_voices_with_one_number_stay_apart():
    read = small.sketch(small.xml(["E5:1( F5:1 G5:1 A5:1) & C5:1 D5:1( E5:1) F5:1"]))
    upper = {note.slurs[0] for note in read.notes if note.voice == "1"}
    lower = [note.slurs for note in read.notes if note.voice == "2"]
    assert len(upper) == 1
    assert lower[1][0] == lower[2][0] != next(iter(upper))


def test_signs_dynamics_and_tempo():
    read = small.sketch(small.xml(['!m=60 !p C5:4', "C5:2 !f C5:2", "C5:4"], ["C3:4"] * 3))
    assert [bar.seconds for bar in read.bars] == [4.0, 4.0, 4.0]
    quarter = read.grid
    assert [read.dynamic_at(k * quarter) for k in (0, 5, 6, 11)] == ["p", "p", "f", "f"]
    assert [sign.kind for sign in read.said if sign.staff == 0][:3] == ["metronome", "sound:tempo", "dynamics"]
    assert small.sketch(small.xml(["C5:4"])).dynamic_at(0) == "mf"
    assert read.bar_at(5 * quarter).index == 1
    assert read.bar_at(500 * quarter).index == 2


def test_a_pickup_and_a_change_of_metre_and_key():
    metre = "<time><beats>7</beats><beat-type>8</beat-type></time>"
    change = f"<attributes><key><fifths>-2</fifths></key>{metre}</attributes>"
    read = small.sketch(
        small.xml(["G4:1", "C5:4", "C5:7/2"], ["r:1", "C3:4", "C3:7/2"], before={2: change}, implicit=(0,),
                  numbers=("0", "1", "2"))
    )  # fmt: skip
    assert [Fraction(bar.length, read.grid) for bar in read.bars] == [1, 4, Fraction(7, 2)]
    assert [(bar.number, bar.implicit, bar.key.fifths, bar.time.beats) for bar in read.bars] == [
        ("0", True, 0, "4"), ("1", False, 0, "4"), ("2", False, -2, "7"),
    ]  # fmt: skip


def test_a_damper_pedal_lets_notes_ring():
    pedal = '<direction><direction-type><pedal type="{}"/></direction-type></direction>'
    read = small.sketch(
        small.xml(["C5:1 D5:3", "E5:4", "F5:4"], before={0: pedal.format("start"), 2: pedal.format("stop")})
    )
    rings = [Fraction(note.rings, read.grid) for note in read.notes]
    assert rings == [8, 8, 8, 12]


def test_what_is_no_sketch():
    with pytest.raises(SketchError, match="no notes; expected at least one staff"):
        small.sketch(small.xml(["r:4"]))
    with pytest.raises(SketchError, match=r"5 staves with notes in 1 part.*one to 4.*short-score"):
        small.sketch(small.xml(*[["C5:4"]] * 5))


# ---------------------------------------------------------------- MIDI


def midi(path: Path, rows: list[tuple[int, int, int]]) -> Sketch:
    """A file of (onset, end, pitch) in ticks of 480 a quarter, 4/4, read as a sketch."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    events = sorted([(on, "note_on", p) for on, _, p in rows] + [(off, "note_off", p) for _, off, p in rows],
                    key=lambda row: (row[0], row[1] == "note_on"))  # fmt: skip
    at = 0
    for tick, kind, pitch in events:
        track.append(mido.Message(kind, note=pitch, velocity=60, time=tick - at))
        at = tick
    file.save(path)
    return sketch_.read(path)


def quarters(read: Sketch) -> list[tuple[Fraction, Fraction]]:
    return [(Fraction(note.onset, read.grid), Fraction(note.end - note.onset, read.grid)) for note in read.notes]


def test_midi_on_a_grid_keeps_its_onsets_and_ends_are_whole_values(tmp_path: Path):
    rows = [(0, 456, 60), (480, 700, 62), (720, 940, 64), (960, 1110, 65), (1120, 1270, 67), (1280, 1430, 69),
            (1440, 1900, 71), (1920, 3700, 72)]  # fmt: skip
    found = quarters(midi(tmp_path / "a.mid", rows))
    third = Fraction(1, 3)
    assert found == [(0, 1), (1, Fraction(1, 2)), (Fraction(3, 2), Fraction(1, 2)), (2, third), (2 + third, third),
                     (2 + 2 * third, third), (3, 1), (4, 4)]  # fmt: skip


def test_midi_that_is_exact_is_not_touched(tmp_path: Path):
    rows = [(0, 360, 60), (360, 480, 62), (480, 640, 64), (640, 960, 65), (960, 1920, 67)]
    found = quarters(midi(tmp_path / "a.mid", rows))
    assert found == [(Fraction(on, 480), Fraction(off - on, 480)) for on, off, _ in rows]


def test_played_midi_stands_on_beats_and_every_length_can_be_written():
    from deskproof.musicxml.writing_lengths import writable

    path = SHARED / "two-hands" / "BachJS-FrzSuite2_Sarabande.mid"
    if not path.is_file():
        pytest.skip("no shared recordings")
    raw = document.read(path).score
    read = sketch_.read(path)
    assert raw.extra["played"] == "yes"
    assert len(read.notes) == sum(len(m.notes) for part in raw.parts for m in part.measures)
    for note in read.notes:
        bar = read.bars[note.bar]
        assert bar.onset <= note.onset < bar.onset + bar.length
        assert note.onset < note.end <= note.rings
        writable(note.onset - bar.onset, min(note.end, bar.onset + bar.length) - note.onset, bar.time, read.grid)
    there = {one.ref: one for one in checker.chains_of_midi(path)}
    for note in read.notes:
        assert note.midi == there[note.ref].midi
        assert abs(Fraction(note.onset, read.grid) - there[note.ref].onset) <= Fraction(1, 8)


def test_no_note_becomes_empty_or_leaves_the_sketch():
    from deskproof.pitch import parse
    from deskproof.score import Key, Time
    from deskproof.scoring.records import SketchNote

    bars = [Bar(0, "1", 0, 1920, Time("4", 4, 1920), Key(0), 2.0)]
    notes = [
        SketchNote(f"t0/n{k}", (), 0, onset, end, end, 60, parse("C4"), 0, "1", 0, ())
        for k, (onset, end) in enumerate([(3, 5), (470, 474), (1917, 1925), (1000, 1003)])
    ]
    for note in in_values(notes, bars, 480, True):
        assert 0 <= note.onset < note.end <= 1920
