"""Bars heard with a soundfont: what is found here, the MIDI file in between, the sound, and what goes wrong."""

from __future__ import annotations

import io
import math
import os
import random
import shutil
import sys
import tempfile
import wave
from pathlib import Path

import mido
import numpy as np
import pytest

from deskproof.errors import DeskproofError
from deskproof.score import NoteRef
from deskproof.tones import Tone
from deskproof.web import sampled
from deskproof.web.sampled import instruments_here, midi_of, says, wav

HERE = instruments_here()
needs_both = pytest.mark.skipif(HERE is None, reason="the program fluidsynth or a soundfont is not installed")
posix = pytest.mark.skipif(sys.platform == "win32", reason="a program written here as a shell script")
RATE_HZ = 44_100
FLUTE, STRINGS = 73, 48
FONT = b"RIFF\x04\x00\x00\x00sfbk"


def tone(at_s: float, for_s: float, midi: float | None, part: int = 0, n: int = 0) -> Tone:
    return Tone(at_s, for_s, midi, part, (NoteRef(f"P{part}", 0, n),))


def font(place: Path, data: bytes = FONT) -> Path:
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(data)
    return place


def program(folder: Path, script: str = "exit 0") -> dict[str, str]:
    """An environment in which the program is a script."""
    folder.mkdir(exist_ok=True)
    file = folder / ("fluidsynth.bat" if sys.platform == "win32" else "fluidsynth")
    file.write_text(f"#!/bin/sh\n{script}\n")
    file.chmod(0o755)
    return {"PATH": str(folder)}


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A machine that keeps its soundfonts in one folder, which is still empty."""
    monkeypatch.setattr(sampled, "_folders", lambda environ: [tmp_path / "none", tmp_path / "fonts"])
    (tmp_path / "fonts").mkdir()
    return tmp_path


def test_it_takes_both_the_program_and_a_soundfont(bare):
    environ = program(bare / "bin")
    assert instruments_here(environ) is None
    assert says(instruments_here(environ)) == "no soundfont here: heard with plain tones"
    file = font(bare / "fonts" / "Concert Hall.sf2")
    here = instruments_here(environ)
    assert here is not None
    assert (here.program.parent, here.soundfont) == (bare / "bin", file)
    assert says(here) == "heard with Concert Hall"
    assert instruments_here({"PATH": str(bare / "fonts")}) is None
    assert instruments_here({}) is None


def test_a_program_in_a_folder_that_moves_with_the_user_is_not_taken(bare, monkeypatch):
    font(bare / "fonts" / "a.sf2")
    program(bare / "bin")
    monkeypatch.chdir(bare)
    assert instruments_here({"PATH": "bin"}) is None
    program(bare / "other")
    here = instruments_here({"PATH": os.pathsep.join(("bin", str(bare / "other")))})
    assert here is not None
    assert here.program.parent == bare / "other"


def test_the_soundfont_that_the_user_names_comes_first(bare):
    environ = program(bare / "bin")
    font(bare / "fonts" / "default.sf2")
    mine = font(bare / "mine" / "own.sf3")
    here = instruments_here({**environ, "SOUND_FONT": str(mine)})
    assert here is not None
    assert here.soundfont == mine
    for wrong in (bare / "gone.sf2", font(bare / "text.sf2", b"no soundfont"),
                  font(bare / "sound.sf2", b"RIFF\x04\x00\x00\x00WAVE"), bare):  # fmt: skip
        here = instruments_here({**environ, "SOUND_FONT": str(wrong)})
        assert here is not None
        assert here.name == "default"


def test_of_several_soundfonts_a_default_one_is_taken_then_a_general_one(bare):
    environ = program(bare / "bin")
    names = ["Accordion.sf2", "Zero-GM.sf2", "default-x.sf3", "default-a.wav"]
    taken = []
    for name in names:
        font(bare / "fonts" / name)
        here = instruments_here(environ)
        assert here is not None
        taken.append(here.soundfont.name)
    assert taken == ["Accordion.sf2", "Zero-GM.sf2", "default-x.sf3", "default-x.sf3"]


@pytest.mark.parametrize(
    ("variable", "inner"),
    [("HOME", ".local/share/soundfonts"), ("HOME", "Library/Audio/Sounds/Banks"), ("USERPROFILE", "soundfonts"),
     ("PROGRAMDATA", "soundfonts")],
)  # fmt: skip
def test_the_usual_folders_of_three_systems_are_looked_in(tmp_path, variable, inner):
    font(tmp_path / inner / "default-0.sf2")
    environ = {**program(tmp_path / "bin"), variable: str(tmp_path)}
    assert tmp_path / inner / "default-0.sf2" in list(sampled._soundfonts(environ))


def sent(file: mido.MidiFile) -> list[tuple[int, mido.Message]]:
    """The messages with their time in milliseconds, as the library plays them."""
    whole = io.BytesIO()
    file.save(file=whole)
    whole.seek(0)
    rows, now_s = [], 0.0
    for message in mido.MidiFile(file=whole):
        now_s += message.time
        rows.append((round(now_s * 1000), message))
    return rows


@pytest.mark.parametrize("seed", range(30))
def test_a_key_is_down_exactly_while_a_tone_of_it_sounds(seed):
    """Every channel and key looked at every 5 ms; parts of one program are one instrument."""
    chance = random.Random(seed)
    programs = {part: chance.choice([0, 40, 73, 127]) for part in range(6)}
    tones = [
        tone(chance.randrange(0, 400) * 5 / 1000, chance.randrange(12, 200) * 5 / 1000,
             chance.choice([60, 61, 67, None]), chance.randrange(6))
        for _ in range(25)
    ]  # fmt: skip
    rows = sent(midi_of(tones, programs))
    struck = {(one.midi, programs[one.part] if one.midi else None, round(one.at_s * 1000)) for one in tones}
    assert sum(message.type == "note_on" for _, message in rows) == len(struck)
    down: set[tuple[int, int]] = set()
    sounds: dict[int, int] = {}
    k = 0
    for now in range(0, 3100, 5):
        while k < len(rows) and rows[k][0] <= now:
            message = rows[k][1]
            k += 1
            if message.type == "program_change":
                sounds[message.channel] = message.program
            elif message.type == "note_on":
                assert (message.channel, message.note) not in down
                down.add((message.channel, message.note))
            elif message.type == "note_off":
                down.remove((message.channel, message.note))
        found = {(None if c == 9 else sounds[c], None if c == 9 else key) for c, key in down}
        wanted = {
            (None if one.midi is None else programs[one.part], one.midi)
            for one in tones
            if round(one.at_s * 1000) <= now < round(one.at_s * 1000) + round(one.for_s * 1000)
        }
        assert found == wanted, now
    assert down == set()


def played(file: mido.MidiFile) -> list[tuple[int, int, int, int]]:
    """Strokes: time in milliseconds, channel from 1, program of the channel then (-1: none), key."""
    sounds: dict[int, int] = {}
    rows = []
    for now, message in sent(file):
        if message.type == "program_change":
            sounds[message.channel] = message.program
        elif message.type == "note_on":
            rows.append((now, message.channel + 1, sounds.get(message.channel, -1), message.note))
    return rows


def test_more_programs_than_channels_share_them():
    tones = [tone(part / 10 + turn * 5, 4.0, 30 + part, part) for part in range(40) for turn in (0, 1)]
    rows = played(midi_of(tones, {part: 127 - part for part in range(40)}))
    assert [(now, program, key) for now, _, program, key in rows] == sorted(
        (part * 100 + turn * 5000, 127 - part, 30 + part) for part in range(40) for turn in (0, 1)
    )
    assert {channel for _, channel, _, _ in rows} == set(range(1, 17)) - {10}


def test_the_first_fifteen_programs_keep_their_channels():
    tones = [tone(i / 10, 1, 60, part) for i, part in enumerate([*range(15)] * 3)]
    changes = [m for _, m in sent(midi_of(tones, {part: part for part in range(15)})) if m.type == "program_change"]
    assert sorted(change.program for change in changes) == list(range(15))


def test_what_has_no_pitch_is_on_channel_10_by_its_key():
    tones = [tone(0, 1, None, 0, 0), tone(1, 1, None, 0, 1), tone(2, 1, None, 3, 0), tone(3, 1, 38, 0, 2)]
    keys = {NoteRef("P0", 0, 1): 49, NoteRef("P3", 0, 0): 999}
    rows = played(midi_of(tones, {0: 47}, keys))
    assert rows == [(0, 10, -1, 37), (1000, 10, -1, 49), (2000, 10, -1, 37), (3000, 1, 47, 38)]


def test_a_fraction_of_a_semitone_is_rounded_and_what_is_no_key_left_out():
    tones = [tone(i, 1, midi) for i, midi in enumerate([60.4, 60.5, 60.6, -0.6, 127.4, 127.5, 400.0])]
    assert [key for *_, key in played(midi_of(tones, {0: 128}))] == [60, 61, 61, 127]
    assert {program for _, _, program, _ in played(midi_of(tones, {0: 128}))} == {0}


def test_a_tone_of_no_length_and_one_before_the_bar_are_heard():
    rows = [(now, m.type, m.note) for now, m in sent(midi_of([tone(0, 0, 60), tone(-0.25, 0.25, 59)], {}))
            if m.type.startswith("note_")]  # fmt: skip
    assert rows == [(0, "note_on", 59), (250, "note_off", 59), (250, "note_on", 60), (310, "note_off", 60)]


def test_the_file_goes_on_while_the_last_tone_rings():
    assert midi_of([tone(0.5, 1, 60)], {}).length == pytest.approx(3.0)


def samples_of(data: bytes) -> np.ndarray:
    """Left and right added up, full scale 1."""
    with wave.open(io.BytesIO(data)) as stream:
        assert (stream.getnchannels(), stream.getsampwidth(), stream.getframerate()) == (2, 2, RATE_HZ)
        frames = np.frombuffer(stream.readframes(stream.getnframes()), "<i2").reshape(-1, 2)
    assert np.abs(frames.astype(int)).max() < 32_767  # nothing cut off
    return frames.mean(axis=1) / 32_768


def pitch_hz(samples: np.ndarray) -> float:
    energy = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 4 * RATE_HZ))
    return float(energy.argmax()) / 4


def between(samples: np.ndarray, from_s: float, to_s: float) -> np.ndarray:
    return samples[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)]


@needs_both
@pytest.mark.parametrize(("midi", "hz"), [(69, 440.0), (72, 523.251), (84, 1046.502)])
def test_a_flute_is_heard_at_its_pitch_and_in_its_time(midi, hz):
    samples = samples_of(wav([tone(0.5, 1, midi)], {0: FLUTE}, HERE.soundfont))
    assert len(samples) == round(3.0 * RATE_HZ)
    assert np.abs(between(samples, 0, 0.49)).max() < 0.001
    assert pitch_hz(between(samples, 0.7, 1.5)) == pytest.approx(hz, rel=0.01)
    assert np.abs(between(samples, 0.7, 1.5)).max() > 0.03
    assert np.abs(between(samples, 2.9, 3.0)).max() < 0.01


@needs_both
def test_sixty_parts_are_not_cut_off():
    tones = [tone(0, 1, 40 + i // 2, i) for i in range(60)]
    samples = samples_of(wav(tones, {i: STRINGS + i % 3 for i in range(60)}, HERE.soundfont))
    assert np.abs(samples).max() > 0.05


@needs_both
def test_what_is_cut_off_is_played_again_more_softly(monkeypatch):
    monkeypatch.setattr(sampled, "LOUDNESS", 10.0)
    monkeypatch.setattr(sampled, "TRIES", 8)
    loud = [tone(0, 1, 40 + 3 * i) for i in range(12)]
    assert np.abs(samples_of(wav(loud, {}, HERE.soundfont))).max() > 0.05


@needs_both
def test_a_held_tone_goes_on_when_its_channel_changes_to_another_program():
    """Sixteen programs: the sixteenth shares the first one's channel."""
    tones = [tone(0, 3, 69, 0), *(tone(0.1, 0.1, 40, part) for part in range(1, 15)), tone(0.5, 0.2, 40, 15)]
    file = midi_of(tones, {part: STRINGS + part for part in range(16)})
    first, *_, last = played(file)
    assert first[1] == last[1]
    samples = samples_of(wav(tones, {part: STRINGS + part for part in range(16)}, HERE.soundfont))
    assert pitch_hz(between(samples, 2.0, 2.9)) == pytest.approx(440, rel=0.01)


@needs_both
def test_a_percussion_key_tells_the_instrument():
    strokes = [tone(0, 0.5, None)]
    stick, cymbal = (wav(strokes, {}, HERE.soundfont, {strokes[0].notes[0]: key}) for key in (37, 49))
    assert wav(strokes, {}, HERE.soundfont) == stick
    tails = [np.abs(between(samples_of(data), 0.4, 1.0)).max() for data in (stick, cymbal)]
    assert tails[0] < 0.2 * tails[1]


@needs_both
def test_no_shell_reads_the_name_of_the_soundfont_and_nothing_is_left_behind(tmp_path, monkeypatch):
    odd = tmp_path / "-a 'b' $(touch c); \"d\".sf2"
    if HERE.soundfont.stat().st_size < 20_000_000:
        shutil.copy(HERE.soundfont, odd)
    else:  # too large to copy: a second name for the same file, or a smaller one
        small = next((file for file in sampled._soundfonts({}) if file.stat().st_size < 20_000_000), None)
        if small is None:
            pytest.skip("no soundfont of less than 20 MB is installed")
        shutil.copy(small, odd)
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    monkeypatch.chdir(tmp_path)
    assert np.abs(samples_of(wav([tone(0, 0.5, 69)], {}, Path(odd.name)))).max() > 0.01
    assert sorted(file.name for file in tmp_path.iterdir()) == sorted([odd.name, "temporary"])
    assert list((tmp_path / "temporary").iterdir()) == []


@needs_both
def test_a_file_that_only_begins_like_a_soundfont_is_refused(tmp_path):
    with pytest.raises(DeskproofError, match=r"fluidsynth failed with x\.sf2: .*[Ll]oad"):
        wav([tone(0, 1, 60)], {}, font(tmp_path / "x.sf2"))


@posix
@pytest.mark.parametrize(
    ("script", "says"),
    [
        ("head -c 4000 /dev/urandom > tones.raw; echo 'no such luck' >&2; exit 3", "failed with x.sf2: no such luck"),
        ("exit 0", "it gave no reason"),
        ("for last; do :; done; : > tones.raw", "gave no sound"),
        ("head -c 400000 /dev/zero > tones.raw", "no sound in it for these tones"),
        ("exec /bin/sleep 60", "took more than 0 s"),
    ],
)
def test_what_goes_wrong_with_the_program_is_said(tmp_path, monkeypatch, script, says):
    monkeypatch.setenv("PATH", program(tmp_path / "bin", f"PATH=/bin:/usr/bin; {script}")["PATH"])
    monkeypatch.setattr(sampled, "TIME_LIMIT_S", 0.3 if "sleep" in script else 30.0)
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    with pytest.raises(DeskproofError, match=says):
        wav([tone(0, 1, 60)], {}, font(tmp_path / "x.sf2"))
    assert list((tmp_path / "temporary").iterdir()) == []


@posix
def test_no_more_is_read_than_the_tones_last(tmp_path, monkeypatch):
    script = "PATH=/bin:/usr/bin; yes abcdefg | head -c 4000000 > tones.raw"
    monkeypatch.setenv("PATH", program(tmp_path / "bin", script)["PATH"])
    assert len(wav([tone(0, 1, 60)], {}, font(tmp_path / "x.sf2"))) == 44 + math.ceil(2.5 * RATE_HZ) * 4


def test_bars_without_tones_or_with_too_many_are_refused(tmp_path, monkeypatch):
    file = font(tmp_path / "x.sf2")
    monkeypatch.setenv("PATH", program(tmp_path / "bin")["PATH"])
    with pytest.raises(DeskproofError, match="nothing to hear"):
        wav([], {}, file)
    with pytest.raises(DeskproofError, match="Choose fewer bars"):
        wav([tone(0, 400, 60)], {}, file)
    with pytest.raises(DeskproofError, match="Choose fewer bars"):
        wav([tone(0, 1, 60)] * 50_001, {}, file)
    with pytest.raises(DeskproofError, match="no soundfont"):
        wav([tone(0, 1, 60)], {}, tmp_path / "gone.sf2")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(DeskproofError, match="No program fluidsynth"):
        wav([tone(0, 1, 60)], {}, file)
