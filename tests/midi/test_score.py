"""MIDI -> Score: parts, bars, tempo, instruments, and whether the file is played."""

from __future__ import annotations

import io
import os
from fractions import Fraction

import mido
import pytest

from corpus import SHARED
from deskproof.midi import file, played, read_bytes
from deskproof.midi.parts import without_hand
from deskproof.score import Clef, Key, Score, Time
from deskproof.spans import spans_of
from deskproof.tempo import Tempo, tempos
from deskproof.timeline import realise


def written(*tracks: list[mido.Message | mido.MetaMessage], division: int = 480, type_: int = 1) -> bytes:
    """The bytes of a file of these tracks, as mido writes them."""
    made = mido.MidiFile(type=type_, ticks_per_beat=division)
    for rows in tracks:
        made.tracks.append(mido.MidiTrack(rows))
    out = io.BytesIO()
    made.save(file=out)
    return out.getvalue()


def name(text: str) -> mido.MetaMessage:
    return mido.MetaMessage("track_name", name=text)


def metre(beats: int, unit: int, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("time_signature", numerator=beats, denominator=unit, time=time)


def tempo(us: int, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=us, time=time)


def program(number: int, channel: int = 0) -> mido.Message:
    return mido.Message("program_change", program=number, channel=channel)


def line(*keys: int, length: int = 480, channel: int = 0) -> list[mido.Message]:
    """One note after the other."""
    rows = []
    for key in keys:
        rows.append(mido.Message("note_on", note=key, velocity=70, channel=channel))
        rows.append(mido.Message("note_off", note=key, channel=channel, time=length))
    return rows


def refs(score: Score) -> list[str]:
    return [n.marks[0].value for p in score.parts for m in p.measures for n in m.notes]


# ------------------------------------------------------------------ bars, keys, tempo


def test_a_metre_event_begins_a_bar_and_cuts_the_one_before():
    data = written([metre(3, 4), metre(6, 8, time=1920), *line(60, 62, 64, 65)])
    score = read_bytes(data)
    measures = score.parts[0].measures
    assert [m.length for m in measures] == [1440, 480, 1440, 1440]
    assert [m.number for m in measures] == ["1", "2", "3", "4"]
    times = [(m.index, c.value) for m in measures for c in m.changes if c.kind == "time"]
    assert times == [(0, Time("3", 4, 1440)), (2, Time("6", 8, 1440))]
    assert [(m.index, n.start) for m in measures for n in m.notes] == [(2, 0), (2, 480), (2, 960), (3, 0)]


def test_a_bar_of_half_a_tick_makes_the_grid_finer():
    score = read_bytes(written([metre(3, 16), *line(60, 62, length=1)], division=2))
    assert score.grid == 4
    assert [m.length for m in score.parts[0].measures] == [3, 3]
    assert [(n.start, n.length) for m in score.parts[0].measures for n in m.notes] == [(0, 2), (2, 2)]


def test_without_a_metre_bars_are_counted_in_four_and_that_is_said():
    score = read_bytes(written(line(*range(60, 69))), "x.mid")
    assert [m.length for m in score.parts[0].measures] == [1920] * 3
    assert score.extra["bars"] == "assumed"
    assert any(r.startswith("x.mid: no metre") for r in score.remarks)


def test_a_note_over_a_barline_stays_one_note():
    score = read_bytes(written([metre(2, 4), *line(60, length=2400), *line(62)]))
    measures = score.parts[0].measures
    assert [[(n.start, n.length) for n in m.notes] for m in measures] == [[(0, 2400)], [], [(480, 480)]]
    events = realise(score).parts[0]
    assert [(e.onset, e.end) for e in events] == [(0, 2400), (2400, 2880)]


def test_keys_become_changes_of_every_part():
    keys = [mido.MetaMessage("key_signature", key=k, time=t) for k, t in (("Ab", 0), ("C#m", 1920))]
    score = read_bytes(written([metre(4, 4), *keys], line(*range(60, 68)), line(*range(40, 48), channel=1)))
    for part in score.parts:
        assert [(m.index, c.value) for m in part.measures for c in m.changes if c.kind == "key"] == [
            (0, Key(-4)),
            (1, Key(4)),
        ]


def test_tempo_is_an_exact_fraction_of_quarters_a_minute():
    score = read_bytes(written([tempo(461_538), tempo(500_000, time=480), *line(60, 62)]))
    rows = [(m.index, d.start, Fraction(d.value)) for m in score.parts[0].measures for d in m.directions]
    assert rows == [(0, 0, Fraction(60_000_000, 461_538)), (0, 480, Fraction(120))]


def test_the_clock_has_the_times_of_the_file_to_the_microsecond():
    score = read_bytes(written([tempo(461_538), tempo(652_174, time=480), *line(60, 62, 64, 65)]))
    clock = realise(score).frame.clock
    expected = [0, 461_538, 461_538 + 652_174, 461_538 + 2 * 652_174, 461_538 + 3 * 652_174]
    assert [clock.floor_us(480 * i) for i in range(5)] == expected
    assert [clock.ceil_us(480 * i) for i in range(5)] == expected


def test_a_written_file_has_a_guessed_tempo_and_a_played_one_a_fixed_one():
    still = [tempo(600_000), *line(60, 62, 64)]
    late = [tempo(600_000), *line(60, 62, 64, 65, 67, length=487)]
    assert not tempos(read_bytes(written(still)))[0].fixed
    assert tempos(read_bytes(written(late)))[0] == Tempo(0, 0, Fraction(100), "marked", False)


def test_ticks_that_are_seconds_keep_their_times_and_count_as_played():
    data = bytearray(written([tempo(250_000), metre(3, 4), *line(60, 62, length=40)]))
    data[12:14] = b"\xe7\x28"  # 25 frames of 40 ticks: milliseconds
    score = read_bytes(bytes(data), "x.mid")
    assert score.extra == {"played": "yes", "bars": "assumed"}
    timeline = realise(score)
    assert [timeline.frame.times_us(e) for e in timeline.parts[0]] == [(0, 40_000), (40_000, 80_000)]
    assert any("tempo and metre events are not read" in r for r in score.remarks)


def test_thirty_frames_drop_frame_take_a_thousandth_longer():
    data = bytearray(written(line(60, length=300)))
    data[12:14] = b"\xe3\x0a"  # 29, 10 ticks a frame: 300 ticks are 1.001 seconds
    timeline = realise(read_bytes(bytes(data)))
    assert timeline.frame.times_us(timeline.parts[0][0]) == (0, 1_001_000)


# ------------------------------------------------------------------ parts


@pytest.mark.parametrize(
    ("text", "bare", "hand"),
    [
        ("Rechts", "", "right"),
        ("Links 16", "16", "left"),
        ("Piano RH", "Piano", "right"),
        ("Piano L.H.", "Piano", "left"),
        ("Klavier (rechte Hand)", "Klavier", "right"),
        ("Piano, main gauche", "Piano", "left"),
        ("Mano destra", "", "right"),
        ("right", "", "right"),
        ("Harp, left hand", "Harp", "left"),
        ("Klavier mit der linken Hand", "Klavier", "left"),
        ("Horn 1", "Horn 1", ""),
        ("Flute", "Flute", ""),
    ],
)
def test_hands_in_names(text, bare, hand):
    assert without_hand(text) == (bare, hand)


def test_two_hands_become_one_part_on_two_staves_with_the_right_hand_above():
    data = written([name("Links"), *line(48, 50)], [name("Rechts"), *line(60, 50)])
    (part,) = read_bytes(data).parts
    assert (part.id, part.name, part.staves) == ("t1+t0", "Piano", 2)
    (measure,) = part.measures
    assert [(n.n, n.start, n.staff, n.marks[0].value) for n in measure.notes] == [
        (0, 0, 1, "t1/n0"),
        (1, 0, 2, "t0/n0"),
        (2, 480, 1, "t1/n1"),
        (3, 480, 2, "t0/n1"),
    ]
    assert [(c.staff, c.value) for c in measure.changes if c.kind == "clef"] == [(1, Clef("G", 2)), (2, Clef("F", 4))]


def test_two_hands_stay_apart_when_asked():
    data = written([name("Links"), *line(48)], [name("Rechts"), *line(60)])
    assert [(p.id, p.staves) for p in read_bytes(data, merge_hands=False).parts] == [("t0", 1), ("t1", 1)]


@pytest.mark.parametrize(
    ("tracks", "ids"),
    [
        # two tracks of a keyboard or harp with one name: the higher is the right hand
        ([("Harp", 46, 40), ("Harp", 46, 70)], ["t1+t0"]),
        ([("PIANO", 0, 70), ("PIANO", 0, 40)], ["t0+t1"]),
        # two of a wind instrument are two players
        ([("Flute", 73, 80), ("Flute", 73, 70)], ["t0", "t1"]),
        # other names, other programs, three tracks of nobody
        ([("Piano", 0, 70), ("Celesta", 8, 60)], ["t0", "t1"]),
        ([("", None, 70), ("", None, 40)], ["t0+t1"]),
        ([("Piano RH", 0, 70), ("Harp", 46, 60), ("Piano LH", 0, 40)], ["t0+t2", "t1"]),
        ([("Piano RH", 0, 70), ("Harp LH", 46, 40)], ["t0", "t1"]),
    ],
)
def test_who_belongs_together(tracks, ids):
    rows = [
        [name(text), *([] if number is None else [program(number, i)]), *line(key, channel=i)]
        for i, (text, number, key) in enumerate(tracks)
    ]
    assert [p.id for p in read_bytes(written(*rows)).parts] == ids


def test_one_track_of_several_channels_gives_a_part_for_each():
    # format 0: the name is that of the piece
    rows = [name("Waltz"), program(73, 0), program(46, 1), *line(72, 74), *line(48, channel=1)]
    score = read_bytes(written(rows, type_=0))
    assert score.title == "Waltz"
    assert [(p.id, p.name) for p in score.parts] == [("t0c0", "Flute"), ("t0c1", "Harp")]
    assert refs(score) == ["t0/n0", "t0/n1", "t0/n2"]
    assert [s[0].instrument.id for s in spans_of(realise(score)) if s[0].instrument] == ["flute", "harp"]


def test_the_track_before_the_notes_names_the_piece():
    score = read_bytes(written([name("Rêverie")], [name("Oboe"), program(68), *line(72)]))
    assert (score.title, score.parts[0].name, score.parts[0].id) == ("Rêverie", "Oboe", "t1")


def test_a_changed_program_is_another_instrument():
    score = read_bytes(written([program(73), *line(72), program(72), *line(84)]))
    part = score.parts[0]
    assert [i.program for i in part.instruments.values()] == [73, 72]
    assert [s.instrument.id for s in spans_of(realise(score))[0] if s.instrument] == ["flute", "piccolo"]


def test_channel_ten_is_percussion_and_its_keys_are_instruments():
    # General MIDI: 38 is the snare drum, 42 the closed hi-hat
    score = read_bytes(written([name("Drums"), *line(38, 42, channel=9)]))
    (part,) = score.parts
    (measure,) = part.measures
    assert [(n.kind, n.pitch, n.marks[0].number) for n in measure.notes] == [
        ("unpitched", None, "38"),
        ("unpitched", None, "42"),
    ]
    assert [part.instruments[n.instrument].unpitched for n in measure.notes] == [38, 42]
    assert [e.sounding for e in realise(score).parts[0]] == [None, None]


def test_a_file_without_programs_is_a_piano_and_that_is_said():
    score = read_bytes(written(line(60)), "x.mid")
    assert [s[0].instrument.id for s in spans_of(realise(score)) if s[0].instrument] == ["piano"]
    assert any("no program is set in track 0; a piano is assumed" in r for r in score.remarks)


def test_pedals_stand_where_the_file_has_them():
    rows = line(60, 62, 64, 65, 67)
    rows.insert(2, mido.Message("control_change", control=64, value=127))
    rows.insert(7, mido.Message("control_change", control=64, value=0, time=120))
    part = read_bytes(written(rows)).parts[0]
    found = [(m.index, d.start, d.kind, d.value) for m in part.measures for d in m.directions if "pedal" in d.kind]
    assert found == [(0, 480, "sound:damper-pedal", "yes"), (0, 1560, "sound:damper-pedal", "no")]


# ------------------------------------------------------------------ played or written


@pytest.mark.parametrize("length", [480, 240, 160, 120, 40, 30])
def test_onsets_on_the_beat_and_its_plain_parts_are_written(length):
    data = written(line(*[60 + i % 12 for i in range(64)], length=length))
    assert played.share_on_grid(file.read(data, "x.mid")) == 1
    assert read_bytes(data).extra["played"] == "no"


def test_onsets_anywhere_are_played_and_that_is_said():
    data = written(line(*[60 + i % 12 for i in range(64)], length=487))
    score = read_bytes(data, "x.mid")
    assert score.extra["played"] == "yes"
    assert any(r.startswith("x.mid: the times are played, not written") for r in score.remarks)


def test_a_grid_too_coarse_to_tell_counts_as_written():
    data = written(line(*range(60, 80), length=5), division=12)
    assert played.share_on_grid(file.read(data, "x.mid")) == 1


def test_all_recordings_are_read_as_played_with_their_hands_together_or_apart():
    paths = sorted((SHARED.parent / "two-hands").glob("*.mid"))
    if not paths:
        if os.environ.get("CI") == "true":
            pytest.fail("the recordings are missing: expected shared/two-hands beside the repository")
        pytest.skip("the recordings are not here")
    assert len(paths) == 82
    for path in paths:
        data = path.read_bytes()
        together = read_bytes(data, path.name)
        assert together.extra["played"] == "yes", path.name
        (part,) = together.parts
        assert (part.name, part.staves) == ("Piano", 2), path.name
        hands = mido.MidiFile(path).tracks
        for staff, word in ((1, "Rechts"), (2, "Links")):
            (track,) = [t for t in hands if t.name.startswith(word)]
            count = sum(m.type == "note_on" and m.velocity > 0 for m in track)
            assert sum(n.staff == staff for m in part.measures for n in m.notes) == count, path.name
        assert len(set(refs(together))) == len(refs(together))
        apart = read_bytes(data, path.name, merge_hands=False)
        assert sorted(refs(apart)) == sorted(refs(together)), path.name
