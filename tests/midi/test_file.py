"""Bytes of Standard MIDI Files: what the standard's own words and example say, and what is refused."""

from __future__ import annotations

import io
import struct
from fractions import Fraction

import mido
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corpus import SHARED
from deskproof.errors import DeskproofError
from deskproof.midi import MidiError, file, read_bytes

# The example of format 0 in "Standard MIDI Files 1.0": 96 ticks a quarter, running status, a two-byte delta time.
EXAMPLE = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060"
    "4D54726B 0000003B"
    "00 FF58 04 04021808  00 FF51 03 07A120  00 C005  00 C12E  00 C246"
    "00 923060  00 3C60  60 914340  60 904C20  8140 823040  00 3C40  00 814340  00 804C40  00 FF2F00"
)


def smf(*tracks: str, format_: int = 1, division: int = 96, count: int | None = None) -> bytes:
    """A file of these track bodies in hexadecimal."""
    bodies = [bytes.fromhex(track) for track in tracks]
    header = struct.pack(">4sLHHH", b"MThd", 6, format_, len(bodies) if count is None else count, division)
    return header + b"".join(b"MTrk" + struct.pack(">L", len(body)) + body for body in bodies)


END = "00FF2F00"
NOTE = "00903C40 60803C40"  # C4 for 96 ticks


def notes(data: bytes) -> list[tuple[int, int, int, int]]:
    return [(n.channel, n.key, n.onset, n.end) for t in file.read(data, "x.mid").tracks for n in t.notes]


def test_the_example_of_the_standard():
    read = file.read(EXAMPLE, "x.mid")
    assert (read.format, read.division, read.metres, read.tempos) == (0, 96, [(0, 4, 4)], [(0, 500_000)])
    assert notes(EXAMPLE) == [(2, 48, 0, 384), (2, 60, 0, 384), (1, 67, 96, 384), (0, 76, 192, 384)]
    assert [n.program for n in read.tracks[0].notes] == [70, 70, 46, 5]
    assert read.remarks == []


def test_a_note_on_without_velocity_is_a_note_off():
    assert notes(smf("00903C40 603C00" + END)) == [(0, 60, 0, 96)]


def test_of_two_notes_on_one_key_the_first_ends_first():
    assert notes(smf("00903C40 303C40 303C00 303C00" + END)) == [(0, 60, 0, 96), (0, 60, 48, 144)]


def test_a_note_whose_off_stands_before_it_at_its_own_tick_has_no_length():
    # The off of the first note comes first at tick 0; struck again at tick 0x30, it must have ended.
    data = smf("00803C40 00903C40 30903C40 60803C40" + END)
    assert notes(data) == [(0, 60, 0, 0), (0, 60, 48, 144)]
    assert "1 of 2 notes have no length" in file.read(data, "x.mid").remarks[0]


def test_a_stray_note_off_does_not_shorten_the_note_after_it():
    assert notes(smf("00803C40 00903C40 60803C40" + END)) == [(0, 60, 0, 96)]


def test_a_hanging_note_ends_with_its_track_and_is_told():
    data = smf("00903C40 83 60FF2F00")
    assert notes(data) == [(0, 60, 0, 480)]
    assert file.read(data, "x.mid").remarks == [
        "x.mid: track 0: 1 of 1 notes are never let go; they are read to its end. The first is n0 at tick 0."
    ]


def test_a_track_without_end_is_read_to_its_last_byte():
    data = smf(NOTE)
    assert notes(data) == [(0, 60, 0, 96)]
    assert file.read(data, "x.mid").remarks == [
        "x.mid: track 0: has no end-of-track event; it is read to its last byte."
    ]


def test_system_exclusive_and_unknown_meta_events_are_passed_over():
    assert notes(smf("00F0 03 7E09F7 00FF60 02 0102" + NOTE + END)) == [(0, 60, 0, 96)]


def test_alien_chunks_are_treated_as_if_they_were_not_there():
    # "Your programs should expect alien chunks and treat them as if they weren't there."
    body = smf(NOTE + END)
    alien = b"XFIH" + struct.pack(">L", 3) + b"abc"
    assert notes(body[:14] + alien + body[14:] + alien) == [(0, 60, 0, 96)]


def test_a_longer_header_is_read_by_its_length():
    # "More parameters may be added ... it is important to read and honor the length, even if it is longer than 6."
    body = smf(NOTE + END)
    assert notes(body[:4] + struct.pack(">L", 8) + body[8:14] + b"\0\0" + body[14:]) == [(0, 60, 0, 96)]


@pytest.mark.parametrize(
    ("division", "ticks_a_second"),
    [
        (0xE728, Fraction(25 * 40)),  # "-25 ... 40": milliseconds, as the standard says of this pair
        (0xE808, Fraction(24 * 8)),
        (0xE204, Fraction(30 * 4)),
        (0xE350, Fraction(30_000 * 80, 1001)),  # 30 drop frame
    ],
)
def test_time_code_divisions(division, ticks_a_second):
    read = file.read(smf(NOTE + END, division=division), "x.mid")
    assert read.smpte
    assert read.division * 1_000_000 / read.smpte_us == ticks_a_second


def test_a_key_or_metre_that_means_nothing_is_passed_over_and_told():
    # 15 sharps; a tempo of two bytes instead of three
    data = smf("00FF5902 0F00 00FF5102 07A1" + NOTE + END)
    read = file.read(data, "x.mid")
    assert notes(data) == [(0, 60, 0, 96)]
    assert (read.keys, read.tempos) == ([], [])
    assert [r for r in read.remarks if "byte 28 " in r] and [r for r in read.remarks if "byte 34 " in r]


@pytest.mark.parametrize("key", [*file._FIFTHS])
def test_keys_are_read_as_the_standard_counts_them(key):
    # sf: "-7 = 7 flats ... 0 = key of C ... 7 = 7 sharps"; mi: "0 = major key, 1 = minor key"
    fifths, minor = file._FIFTHS[key], key.endswith("m")
    data = smf(f"00FF5902 {fifths & 0xFF:02X}{int(minor):02X}" + NOTE + END)
    assert file.read(data, "x.mid").keys == [(0, fifths, minor)]


def test_pedals_are_down_from_64_on():
    # "0-63 = off, 64-127 = on"; a pedal that stays where it is says nothing
    data = smf("00B0403F 10B04040 10B0407F 10B0433F 10B04000" + NOTE + END)
    assert file.read(data, "x.mid").tracks[0].pedals == [
        file.Pedal(16, 0, "damper-pedal", True),
        file.Pedal(64, 0, "damper-pedal", False),
    ]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", r"x.mid: begins with b''.*not a Standard MIDI File"),
        (b"<?xml version='1.0'?>", "not a Standard MIDI File"),
        (EXAMPLE[:10], "breaks off in the header, at byte 10 of 14"),
        (EXAMPLE[:-9], r"track 0 is to be 59 bytes long, the file ends after 50 of them \(byte 72\)"),
        (EXAMPLE[:14], r"announces 1 tracks, the file ends after 0 \(byte 14\)"),
        (smf(NOTE + END, count=2), "announces 2 tracks, the file ends after 1"),
        (smf(NOTE + END, format_=3), "format 3; only formats 0, 1 and 2"),
        (smf(NOTE + END, division=0), "0 ticks a quarter"),
        (smf(NOTE + END, division=0xEF28), "17 frames a second"),
        (smf("003C40"), "track 0: cannot be read at byte 24 of the file"),
        (smf("00903C"), "track 0: cannot be read at byte 25 of the file .its last event breaks off"),
        (smf("00903CF0" + END), "cannot be read at byte 26"),
        (smf("00FF59020F00" * 17 + NOTE + END), "more than 16 damaged events"),
        (smf("FF" * 5000), "from byte 22 of the file on there are no events"),
        (smf(NOTE + END) + b"\0" * file.MAX_BYTES, "MIDI files of up to 2097152 bytes are read"),
        (smf(END), "no notes in 1 tracks"),
        (smf(NOTE + END, NOTE + END, format_=2), "format 2, 2 independent pieces"),
        (smf("00903C40 FFFFFF7F803C40" + END, division=1), "more than 50000 bars"),
    ],
)
def test_what_cannot_be_read_is_refused_with_place_and_advice(data, message):
    with pytest.raises(MidiError, match=message):
        read_bytes(data, "x.mid")


def test_format_2_with_one_piece_is_read():
    assert len(read_bytes(smf(NOTE + END, END, format_=2)).parts) == 1


def built() -> bytes:
    """A small file as mido writes it."""
    made = mido.MidiFile(ticks_per_beat=480)
    for channel in (0, 9):
        track = made.add_track("Piano RH" if channel == 0 else "Drums")
        track.append(mido.MetaMessage("time_signature", numerator=6, denominator=8))
        track.append(mido.MetaMessage("key_signature", key="Ebm"))
        track.append(mido.MetaMessage("set_tempo", tempo=461_538))
        track.append(mido.Message("program_change", channel=channel, program=46))
        track.append(mido.Message("sysex", data=(1, 2, 3)))
        for key in (60, 64, 67):
            track.append(mido.Message("note_on", channel=channel, note=key, velocity=80, time=120))
            track.append(mido.Message("note_off", channel=channel, note=key, time=240))
    out = io.BytesIO()
    made.save(file=out)
    return out.getvalue()


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from([EXAMPLE, built()]), st.data())
def test_changed_bytes_are_read_or_refused_and_nothing_else(data, draw):
    changed = bytearray(data)
    for _ in range(draw.draw(st.integers(1, 6))):
        at = draw.draw(st.integers(0, len(changed) - 1))
        kind = draw.draw(st.sampled_from(["set", "cut", "insert", "end"]))
        if kind == "set":
            changed[at] = draw.draw(st.integers(0, 255))
        elif kind == "cut":
            del changed[at : at + draw.draw(st.integers(1, 4))]
        elif kind == "insert":
            changed[at:at] = draw.draw(st.binary(max_size=4))
        else:
            del changed[at:]
        if not changed:
            break
    try:
        score = read_bytes(bytes(changed), "x.mid")
    except DeskproofError as error:
        assert str(error).startswith("x.mid: ")
    else:
        assert all(n.length >= 0 and 0 <= n.start < m.length for p in score.parts for m in p.measures for n in m.notes)


def test_the_notes_of_the_recordings_are_those_that_mido_counts():
    folder = SHARED.parent / "two-hands"
    paths = sorted(folder.glob("*.mid"))[:8]
    if not paths:
        pytest.skip("the recordings are not here")
    for path in paths:
        ours = file.read(path.read_bytes(), path.name)
        for track, theirs in zip(ours.tracks, mido.MidiFile(path).tracks, strict=True):
            tick, onsets = 0, []
            for message in theirs:
                tick += message.time
                if message.type == "note_on" and message.velocity:
                    onsets.append((tick, message.note))
            assert [(n.onset, n.key) for n in track.notes] == onsets
