"""Score -> MIDI: what our own reader and mido find in it is what the score sounds like."""

from __future__ import annotations

import io
from collections import Counter
from fractions import Fraction

import mido
import pytest

from corpus import shared_scores, smallest
from deskproof.midi import read_bytes, writing
from deskproof.musicxml import container, reader
from deskproof.pitch import parse
from deskproof.score import (
    GRACE,
    TIE_START,
    TIE_STOP,
    Change,
    Direction,
    Measure,
    Note,
    Part,
    Repeat,
    Score,
    ScoreInstrument,
    Time,
    Transpose,
)
from deskproof.timeline import heard, realise

FILES = [(f.name, f.path) for f in smallest(10)] + [(p.name, p) for p in shared_scores() if p.suffix == ".mxl"]
METRE = (Change(0, 0, "time", Time("4", 4, 16)),)


def score_of(name: str) -> Score:
    return reader.read_bytes(container.read(dict(FILES)[name]).score)


def sounding(score: Score) -> Counter[tuple[Fraction, int | float]]:
    """Onset in quarters of the performance, and MIDI number, of all notes but grace notes."""
    return Counter(
        (Fraction(event.onset, score.grid), event.sounding)
        for row in realise(score).parts
        for event in heard(row)
        if not event.grace and event.sounding is not None
    )


def messages(data: bytes) -> list[list[tuple[int, mido.Message]]]:
    """Tick and message of each track, as mido finds them."""
    rows = []
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        tick, own = 0, []
        for message in track:
            tick += message.time
            own.append((tick, message))
        rows.append(own)
    return rows


@pytest.mark.parametrize("name", [name for name, _ in FILES])
def test_what_is_read_back_is_what_sounds(name):
    score = score_of(name)
    graces = sum(bool(e.grace) for row in realise(score).parts for e in heard(row))
    data = writing.write(score)
    found = sounding(read_bytes(data, merge_hands=False))
    wanted = sounding(score)
    assert wanted - found == Counter()
    assert (found - wanted).total() == graces


@pytest.mark.parametrize("name", [name for name, _ in FILES[:10]])
def test_mido_hears_each_note_at_its_time_in_seconds(name):
    """The onsets in seconds that mido makes of ticks and tempo map are those of the clock, to a millisecond."""
    score = score_of(name)
    timeline = realise(score)
    wanted = sorted(
        (timeline.frame.times_us(event)[0] / 1e6, event.sounding)
        for row in timeline.parts
        for event in heard(row)
        if event.sounding is not None and not event.grace
    )
    at, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(writing.write(score))):
        at += message.time
        if message.type == "note_on" and message.velocity:
            found.append((at, message.note))
    assert Counter(key for _, key in found) == Counter(key for _, key in wanted)
    for (one, _), (two, _) in zip(sorted(found), wanted, strict=True):
        assert abs(one - two) < 1e-3


def note(n: int, start: int, length: int, pitch: str | None, flags: int = 0, instrument: str = "") -> Note:
    kind = "note" if pitch else "unpitched"
    return Note(n, start, length, parse(pitch) if pitch else None, kind, 1, "1", flags, "", instrument, ())


def part(name: str, *measures: Measure, program: int | None = None, unpitched: int | None = None) -> Part:
    instrument = ScoreInstrument("I1", name, "", program, unpitched)
    return Part("P1", name, "", {"I1": instrument}, measures)


def test_ties_repeats_and_transposition_are_played_out():
    changes = (*METRE, Change(0, 0, "transpose", Transpose(-2, -1)))
    first = Measure(0, "1", 16, (note(0, 0, 8, "C5"), note(1, 8, 8, "D5", TIE_START)), (), changes)
    second = Measure(1, "2", 16, (note(0, 0, 4, "D5", TIE_STOP), note(1, 4, 12, "E5")), repeats=(Repeat(False, True),))
    data = writing.write(Score("Study", 4, (part("Clarinet in Bb", first, second, program=71),)))
    head, own = messages(data)
    quarter = mido.MidiFile(file=io.BytesIO(data)).ticks_per_beat
    struck = [(tick / quarter, m.note) for tick, m in own if m.type == "note_on"]
    assert struck == [(0, 70), (2, 72), (5, 74), (8, 70), (10, 72), (13, 74)]
    ends = [(tick / quarter, m.note) for tick, m in own if m.type == "note_off"]
    assert (5.0, 72) in ends and (13.0, 72) in ends
    assert [m.program for _, m in own if m.type == "program_change"] == [71]
    assert head[0][1].name == "Study" and own[0][1].name == "Clarinet in Bb"


def test_loudness_follows_the_dynamics():
    rows = (Direction(0, 4, 1, "dynamics", "pp"), Direction(1, 8, 1, "dynamics", "ff"))
    notes = tuple(note(i, 4 * i, 4, "C4") for i in range(4))
    data = writing.write(Score("", 4, (part("Viola", Measure(0, "1", 16, notes, rows, METRE)),)))
    plain, soft, loud, still = [m.velocity for _, m in messages(data)[1] if m.type == "note_on"]
    assert soft < plain < loud == still


def test_percussion_goes_to_channel_ten_and_names_choose_programs():
    drum = part("Triangle", Measure(0, "1", 16, (note(0, 0, 16, None),), (), METRE))
    bass = part("Bass Drum", Measure(0, "1", 16, (note(0, 0, 16, None, instrument="I1"),), (), METRE), unpitched=34)
    oboe = part("Oboe", Measure(0, "1", 16, (note(0, 0, 16, "A4"),), (), METRE))
    _, one, two, three = messages(writing.write(Score("", 4, (drum, bass, oboe))))
    assert [(m.channel, m.note) for _, m in one if m.type == "note_on"] == [(9, 81)]
    assert [(m.channel, m.note) for _, m in two if m.type == "note_on"] == [(9, 34)]
    assert [m.program for _, m in three if m.type == "program_change"] == [68]
    assert [m.channel for _, m in three if m.type == "note_on"] == [0]


def test_a_change_of_instrument_changes_the_program():
    told = (Direction(0, 8, 1, "sound:instrument-change", "wind.flutes.flute.piccolo", "I1"),)
    notes = (note(0, 0, 8, "C5"), note(1, 8, 8, "C5"))
    data = writing.write(Score("", 4, (part("Flute", Measure(0, "1", 16, notes, told, METRE), program=73),)))
    assert [m.program for _, m in messages(data)[1] if m.type == "program_change"] == [73, 72]


def test_a_grace_note_sounds_before_its_note():
    notes = (note(0, 0, 8, "C5"), note(1, 8, 0, "D5", GRACE), note(2, 8, 8, "E5"))
    data = writing.write(Score("", 4, (part("Oboe", Measure(0, "1", 16, notes, (), METRE)),)))
    struck = [(tick, m.note) for tick, m in messages(data)[1] if m.type == "note_on"]
    assert [key for _, key in struck] == [72, 74, 76]
    assert 0 < struck[2][0] - struck[1][0] < 480 // 2


def test_more_parts_than_channels_go_to_a_second_port():
    parts = tuple(part("Violin", Measure(0, "1", 16, (note(0, 0, 16, "A4"),), (), METRE)) for _ in range(20))
    tracks = messages(writing.write(Score("", 4, parts)))[1:]
    ports = [next((m.port for _, m in own if m.type == "midi_port"), 0) for own in tracks]
    used = [
        (port, next(m.channel for _, m in own if m.type == "note_on")) for port, own in zip(ports, tracks, strict=True)
    ]
    assert len(set(used)) == 20
    assert not any(channel == 9 for _, channel in used)
