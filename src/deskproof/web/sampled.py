"""Bars heard with the instruments of a soundfont, where this machine has one and the program that plays it.

Both are looked for and never fetched. Nothing here runs unless somebody asks to hear bars in this way. The tones go
through a Standard MIDI File in a folder of their own, which is gone afterwards.
"""

from __future__ import annotations

import io
import math
import os
import shutil
import subprocess
import tempfile
import wave
from array import array
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from operator import itemgetter
from pathlib import Path
from typing import Any, NamedTuple

import mido

from deskproof.errors import DeskproofError
from deskproof.score import NoteRef
from deskproof.tones import Tone

__all__ = ["Sampled", "instruments_here", "midi_of", "says", "wav"]

PROGRAM = "fluidsynth"
VARIABLE = "SOUND_FONT"
ENDINGS = (".sf2", ".sf3")

LONGEST_S = 300.0  # of music in one go
MOST_TONES = 50_000
TIME_LIMIT_S = 60.0
RING_S = 1.5  # heard after the last tone has ended
RATE_HZ = 44_100
CHANNELS, WIDTH = 2, 2  # left and right, bytes a sample
FULL = 32_767
LOUDNESS = 1.0  # the program's own gain for one tone; it is divided by the root of the tones that sound at once
TRIES = 3  # each with half the gain of the one before, while samples are cut off

MS = 1000
BEAT_MS = 500  # a file that names no tempo has 120 beats a minute: with so many ticks a beat, a tick is a millisecond
SHORTEST_MS = 60  # a tone of no length is heard so long
VELOCITY = 80
PERCUSSION = 9  # channel 10 of General MIDI, counted from 0
MELODIC = tuple(channel for channel in range(16) if channel != PERCUSSION)
LAST = 127  # of keys and programs
PIANO = 0  # General MIDI's first program
SIDE_STICK = 37  # General MIDI's percussion key map


@dataclass(frozen=True, slots=True)
class Sampled:
    """The program that plays, and the soundfont it plays with; both are absolute."""

    program: Path
    soundfont: Path

    @property
    def name(self) -> str:
        """What the soundfont's file is called, without its ending."""
        return self.soundfont.stem


def instruments_here(environ: Mapping[str, str] = os.environ) -> Sampled | None:
    """The program and a soundfont, if this machine has both; None if it lacks either.

    The soundfont is the file that ``SOUND_FONT`` names, else the first in the usual folders: a default one before
    those with "GM" in their names, these before others. A file counts if it begins as the SoundFont 2 specification
    says (RIFF, form ``sfbk``). Links are followed. Nothing is started and nothing fetched.
    """
    program = _program(environ)
    font = next(iter(_soundfonts(environ)), None)
    return Sampled(program, font) if program and font else None


def says(here: Sampled | None) -> str:
    """With what the bars are heard, for the page.

    >>> says(None)
    'no soundfont here: heard with plain tones'
    >>> says(Sampled(Path("/usr/bin/fluidsynth"), Path("/usr/share/sounds/sf2/Hall.sf2")))
    'heard with Hall'
    """
    return f"heard with {here.name}" if here else "no soundfont here: heard with plain tones"


def _program(environ: Mapping[str, str]) -> Path | None:
    folders = (entry for entry in environ.get("PATH", "").split(os.pathsep) if Path(entry).is_absolute())
    found = shutil.which(PROGRAM, path=os.pathsep.join(folders))
    return Path(found) if found and Path(found).is_absolute() else None  # some systems look where they stand, too


def _soundfonts(environ: Mapping[str, str]) -> Iterable[Path]:
    named = environ.get(VARIABLE, "")
    if named:
        yield from _real([Path(named).expanduser()])
    for folder in _folders(environ):
        try:
            files = [file for file in folder.iterdir() if file.suffix.lower() in ENDINGS]
        except OSError:
            continue
        yield from _real(sorted(files, key=_likely))


def _likely(file: Path) -> tuple[bool, bool, str]:
    name = file.stem.casefold()
    return not name.startswith("default"), "gm" not in name, name


def _real(files: Iterable[Path]) -> Iterable[Path]:
    for file in files:
        try:
            found = file.resolve(strict=True)
            if found.is_file() and _is_soundfont(found):
                yield found
        except (OSError, RuntimeError):
            continue


def _is_soundfont(file: Path) -> bool:
    with file.open("rb") as stream:
        head = stream.read(12)
    return head[:4] == b"RIFF" and head[8:] == b"sfbk"


def _folders(environ: Mapping[str, str]) -> list[Path]:
    """Where Linux, macOS and Windows keep soundfonts; those of another system are simply not there."""
    home = environ.get("HOME") or environ.get("USERPROFILE") or ""
    shares = [Path("/usr/share"), Path("/usr/local/share"), Path("/opt/homebrew/share")]
    if home:
        shares.insert(0, Path(home, ".local", "share"))
    kept = ("soundfonts", "sounds/sf2", "sounds/sf3", "fluid-synth/sf2")
    found = [share / inner for share in shares for inner in kept]
    found += [Path(root, "Library", "Audio", "Sounds", "Banks") for root in (home, "/") if root]
    found += [Path(environ[key], "soundfonts") for key in ("PROGRAMDATA", "USERPROFILE") if environ.get(key)]
    found += [Path(environ["SYSTEMDRIVE"] + "\\", "soundfonts")] if environ.get("SYSTEMDRIVE") else []
    return [folder for folder in found if folder.is_absolute()]


class _Stroke(NamedTuple):
    """One key of one channel, from when to when; ``program`` is None in percussion."""

    from_ms: int
    until_ms: int
    channel: int
    key: int
    program: int | None


class _Turn(NamedTuple):
    """A key struck, or let go: ``struck`` false comes first among those of one moment."""

    at_ms: int
    struck: bool
    channel: int
    key: int
    program: int | None


def midi_of(
    tones: Sequence[Tone], programs: Mapping[int, int], keys: Mapping[NoteRef, int] | None = None
) -> mido.MidiFile:
    """The tones as a Standard MIDI File of one track, a tick a millisecond.

    Parameters
    ----------
    tones : sequence of Tone
        In any order. A fractional MIDI number is rounded to the nearest key: one channel has one pitch bend for all
        its tones, and tones share channels. Those beyond the keys 0 to 127 are left out.
    programs : mapping of int to int
        General MIDI program, from 0, of each part by its ordinal; a part that has none, or none of 0 to 127, is heard
        as a piano.
    keys : mapping of NoteRef to int
        General MIDI's percussion key of a tone without pitch, by its first note; a tone that has none here is heard
        as a side stick. All of them are on channel 10.

    Parts of one program share a channel. The first fifteen programs, in order of the parts, have a channel of their
    own; further ones share these in turn, and the program is changed before each tone where need be, which leaves
    tones that sound as they are. A key that is struck while it sounds on its channel is struck anew and let go with
    the later of the two ends.
    """
    track = mido.MidiTrack()
    sounding: dict[int, int] = {}  # the program of each channel
    now_ms = 0
    for turn in sorted(_turns(_strokes(tones, programs, keys or {})), key=itemgetter(0, 1)):
        wait, now_ms = turn.at_ms - now_ms, turn.at_ms
        if turn.struck and turn.program is not None and sounding.get(turn.channel) != turn.program:
            sounding[turn.channel] = turn.program
            track.append(_message("program_change", wait, channel=turn.channel, program=turn.program))
            wait = 0
        kind = "note_on" if turn.struck else "note_off"
        velocity = VELOCITY if turn.struck else 0
        track.append(_message(kind, wait, channel=turn.channel, note=turn.key, velocity=velocity))
    track.append(mido.MetaMessage("end_of_track", time=round(RING_S * MS)))
    return mido.MidiFile(type=0, ticks_per_beat=BEAT_MS, tracks=[track])


def _message(kind: str, wait: int, **data: int) -> Any:
    return mido.Message(kind, time=wait, **data)


def _turns(strokes: Iterable[_Stroke]) -> Iterable[_Turn]:
    """The strokes of each key as they can be sent: none begins while the one before it lasts."""
    by_key: dict[tuple[int, int], list[_Stroke]] = {}
    for one in sorted(strokes, key=itemgetter(0)):
        by_key.setdefault((one.channel, one.key), []).append(one)
    for own in by_key.values():
        until_ms = 0
        for one, later in zip(own, [*own[1:], None], strict=True):
            until_ms = max(until_ms, one.until_ms)
            if later is not None and later.from_ms == one.from_ms:
                continue
            end_ms = until_ms if later is None else min(until_ms, later.from_ms)
            yield _Turn(one.from_ms, True, one.channel, one.key, one.program)
            yield _Turn(end_ms, False, one.channel, one.key, None)


def _strokes(tones: Sequence[Tone], programs: Mapping[int, int], keys: Mapping[NoteRef, int]) -> Iterable[_Stroke]:
    own = {part: program for part, program in programs.items() if 0 <= program <= LAST}
    pitched = sorted({tone.part for tone in tones if tone.midi is not None})
    order = list(dict.fromkeys(own.get(part, PIANO) for part in pitched))
    channels = {program: MELODIC[i % len(MELODIC)] for i, program in enumerate(order)}
    early_ms = round(max((-tone.at_s for tone in tones), default=0.0) * MS)
    for tone in tones:
        from_ms = round(tone.at_s * MS) + max(0, early_ms)
        until_ms = from_ms + max(SHORTEST_MS, round(tone.for_s * MS))
        if tone.midi is None:
            key = keys.get(tone.notes[0], SIDE_STICK) if tone.notes else SIDE_STICK
            yield _Stroke(from_ms, until_ms, PERCUSSION, key if 0 <= key <= LAST else SIDE_STICK, None)
        elif 0 <= (key := math.floor(tone.midi + 0.5)) <= LAST:
            program = own.get(tone.part, PIANO)
            yield _Stroke(from_ms, until_ms, channels[program], key, program)


def wav(
    tones: Sequence[Tone],
    programs: Mapping[int, int],
    soundfont: Path,
    keys: Mapping[NoteRef, int] | None = None,
) -> bytes:
    """Tones played with a soundfont, as a WAV file: stereo, 16 bits, 44.1 kHz, to 1.5 s after the last tone.

    ``tones``, ``programs`` and ``keys`` as in ``midi_of``, which says what becomes of fractional pitches and of more
    than fifteen programs. Loudness goes down as more tones sound at once, and down again where samples are cut off.
    The program is started with a list of arguments and no settings of the user's, in a folder of its own that is
    removed, for at most a minute of its time.

    Raises
    ------
    DeskproofError
        If there is nothing to hear or too much of it, the program or the soundfont is missing or fails, or the time
        is up.
    """
    program = _program(os.environ)
    if program is None:
        raise DeskproofError(f"No program {PROGRAM} on this machine. Install it, or hear plain tones.")
    font = next(iter(_real([soundfont])), None)
    if font is None:
        raise DeskproofError(f"{soundfont}: no soundfont (.sf2, .sf3) that can be read. Name another in {VARIABLE}.")
    if not tones:
        raise DeskproofError("No tones in these bars: nothing to hear. Choose other bars.")
    early_s = max(0.0, -min(tone.at_s for tone in tones))
    length_s = early_s + max(tone.at_s + tone.for_s for tone in tones) + RING_S
    if not length_s <= LONGEST_S or len(tones) > MOST_TONES:
        raise DeskproofError(
            f"{len(tones)} tones in {length_s:.0f} s: at most {MOST_TONES} in {LONGEST_S:.0f} s are played in one go. "
            "Choose fewer bars."
        )
    with tempfile.TemporaryDirectory(prefix="deskproof-") as folder:
        try:
            return _played(Path(folder), midi_of(tones, programs, keys), program, font, length_s, _most(tones))
        except OSError as error:
            raise DeskproofError(f"{PROGRAM} cannot play here ({error.strerror}). Hear plain tones.") from None


def _most(tones: Sequence[Tone]) -> int:
    """How many tones sound at once where most do."""
    turns = sorted([(tone.at_s, 1) for tone in tones] + [(tone.at_s + tone.for_s, -1) for tone in tones])
    return max(1, *accumulate(step for _, step in turns))


def _played(folder: Path, midi: mido.MidiFile, program: Path, font: Path, length_s: float, most: int) -> bytes:
    """The WAV file, with as much loudness as no sample of it is cut off at."""
    midi.save(folder / "tones.mid")
    (folder / "settings").touch()
    gain = LOUDNESS / math.sqrt(most)
    for _ in range(TRIES):
        samples = _samples(folder, program, font, length_s, gain)
        if max(samples) < FULL and min(samples) > -FULL:
            break
        gain /= 2
    if not any(samples):
        raise DeskproofError(f"{font}: no sound in it for these tones. Name another soundfont in {VARIABLE}.")
    whole = io.BytesIO()
    with wave.open(whole, "wb") as stream:
        stream.setnchannels(CHANNELS)
        stream.setsampwidth(WIDTH)
        stream.setframerate(RATE_HZ)
        stream.writeframes(samples)
    return whole.getvalue()


def _samples(folder: Path, program: Path, font: Path, length_s: float, gain: float) -> array[int]:
    """One run of the program: left and right in turn, cut to length."""
    raw = folder / "tones.raw"
    command = [
        str(program), "-n", "-i", "-q", "-f", str(folder / "settings"), "-g", f"{gain:.4f}", "-r", str(RATE_HZ),
        "-T", "raw", "-O", "s16", "-E", "cpu", "-F", str(raw), str(font), str(folder / "tones.mid"),
    ]  # fmt: skip
    try:
        done = subprocess.run(command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, timeout=TIME_LIMIT_S)
    except subprocess.TimeoutExpired:
        raise DeskproofError(
            f"{PROGRAM} took more than {TIME_LIMIT_S:.0f} s and was ended. Choose fewer bars."
        ) from None
    said = done.stderr.decode("utf-8", "replace").strip().splitlines()
    failed = [line for line in said if "ailed to load" in line or "not a SoundFont" in line]
    if done.returncode or failed or not raw.is_file():
        last = (failed or said or ["it gave no reason"])[-1]
        raise DeskproofError(f"{PROGRAM} failed with {font.name}: {last}. Name another soundfont in {VARIABLE}.")
    frame = CHANNELS * WIDTH
    with raw.open("rb") as stream:
        data = stream.read(math.ceil(length_s * RATE_HZ) * frame)
    samples = array("h", data[: len(data) // frame * frame])
    if not samples:
        raise DeskproofError(f"{PROGRAM} gave no sound with {font.name}. Name another soundfont in {VARIABLE}.")
    return samples
