"""Standard MIDI File bytes -> tracks of notes and the maps of tempo, metre and key. Ticks as in the file.

The chunks are walked here; mido reads the events of each track. References to the standard are to "Standard MIDI
Files 1.0" (RP-001). Nothing is guessed here about bars, instruments or spelling.
"""

from __future__ import annotations

import contextlib
import io
import struct
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, NamedTuple

from deskproof.errors import DeskproofError

MAX_BYTES = 2 * 1024 * 1024
"""Larger files are refused: some 200,000 notes. In memory an event takes up to two hundred times its bytes."""

_LONGEST_NUMBER_RUN = 4096  # bytes of 0x80 and above in a row; a number may have 4 by the standard
_BAD_EVENTS = 16  # damaged key, metre and tempo events that are passed over before the file is given up
_PEDALS = {64: "damper-pedal", 66: "sostenuto-pedal", 67: "soft-pedal"}
_DROP_FRAME = 29


class MidiError(DeskproofError):
    """The bytes are no Standard MIDI File that can be read; the message says where and what to do."""


class Struck(NamedTuple):
    """One note of a track: ``n`` counts the note-ons of the track from 0; ticks count from its beginning."""

    n: int
    onset: int
    end: int
    channel: int
    key: int
    program: int | None  # the channel's last program before it in this track, from 0; None if none was sent


class Pedal(NamedTuple):
    """A pedal going down or up on a channel: ``kind`` is damper-pedal, sostenuto-pedal or soft-pedal."""

    tick: int
    channel: int
    kind: str
    down: bool


@dataclass(slots=True)
class Track:
    """One track chunk; ``index`` counts track chunks from 0."""

    index: int
    name: str = ""
    instrument: str = ""
    notes: list[Struck] = field(default_factory=list)
    pedals: list[Pedal] = field(default_factory=list)
    length: int = 0


@dataclass(slots=True)
class MidiFile:
    """What a file says.

    ``division`` is ticks a quarter note, or ticks a second (rounded up to whole frames) where ``smpte`` is set;
    ``smpte_us`` is then how many microseconds ``division`` ticks last. ``tempos`` are (tick, microseconds a
    quarter), ``metres`` (tick, beats, beat type), ``keys`` (tick, fifths, is minor), each in order of time.
    """

    format: int
    division: int
    smpte: bool
    smpte_us: Fraction
    tracks: list[Track]
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    keys: list[tuple[int, int, bool]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def read(data: bytes, name: str) -> MidiFile:
    """Read the bytes of a Standard MIDI File; ``name`` is used in messages.

    Raises
    ------
    MidiError
        If the bytes are no such file, break off, or hold an event that cannot be read.
    """
    file, chunks = _chunks(data, name)
    for index, (start, body) in enumerate(chunks):
        track = Track(index)
        _Reader(file, track, f"{name}: track {index}").read(body, start)
        file.tracks.append(track)
    file.tempos.sort(key=_tick)
    file.metres.sort(key=_tick)
    file.keys.sort(key=_tick)
    return file


def _tick(row: tuple[Any, ...]) -> int:
    return int(row[0])


def _chunks(data: bytes, name: str) -> tuple[MidiFile, list[tuple[int, bytes]]]:
    """The header, and where each track chunk begins, with its bytes."""
    if data[:4] != b"MThd":
        raise MidiError(
            f"{name}: begins with {bytes(data[:4])!r}, expected b'MThd'. "
            "This is not a Standard MIDI File; export it as MIDI (.mid), or as MusicXML."
        )
    if len(data) > MAX_BYTES:
        raise MidiError(
            f"{name}: {len(data)} bytes; MIDI files of up to {MAX_BYTES} bytes are read. Export one movement at a time."
        )
    if len(data) < 14:
        raise MidiError(f"{name}: breaks off in the header, at byte {len(data)} of 14. Export or copy it again.")
    size, format_, count, division = struct.unpack(">LHHH", data[4:14])
    if size < 6:
        raise MidiError(f"{name}: the header says it is {size} bytes long, expected 6. Export the file again.")
    if format_ > 2:
        raise MidiError(f"{name}: format {format_}; only formats 0, 1 and 2 are defined. Export the file again.")
    file = _timed(format_, division, name)
    chunks = list(_tracks(data, 8 + size, name))
    if len(chunks) < count:
        raise MidiError(
            f"{name}: the header announces {count} tracks, the file ends after {len(chunks)} (byte {len(data)}). "
            "Part of it is missing; export or copy it again."
        )
    if len(chunks) > count:
        file.remarks.append(f"{name}: the header announces {count} tracks, the file holds {len(chunks)}; all are read.")
    if not chunks:
        raise MidiError(f"{name}: no tracks. Nothing was exported; export it again.")
    return file, chunks


def _timed(format_: int, division: int, name: str) -> MidiFile:
    if not division & 0x8000:
        if division == 0:
            raise MidiError(f"{name}: the header gives 0 ticks a quarter note. Export the file again.")
        return MidiFile(format_, division, False, Fraction(0), [])
    frames, ticks = 256 - (division >> 8), division & 0xFF
    if frames not in (24, 25, _DROP_FRAME, 30) or ticks == 0:
        raise MidiError(
            f"{name}: the header gives {ticks} ticks in each of {frames} frames a second; "
            "expected 24, 25, 29 or 30 frames. Export the file again with ticks a quarter note."
        )
    # 29 stands for 30 frames in 1.001 seconds.
    us = Fraction(1_001_000 if frames == _DROP_FRAME else 1_000_000)
    return MidiFile(format_, ticks * (30 if frames == _DROP_FRAME else frames), True, us, [])


def _tracks(data: bytes, at: int, name: str) -> Iterator[tuple[int, bytes]]:
    """The track chunks. Others are skipped: "Your programs should expect alien chunks"."""
    found = 0
    while len(data) - at >= 8:
        kind, size = struct.unpack(">4sL", data[at : at + 8])
        at += 8
        if kind == b"MTrk":
            if size > len(data) - at:
                raise MidiError(
                    f"{name}: track {found} is to be {size} bytes long, the file ends after {len(data) - at} of them "
                    f"(byte {len(data)}). Part of it is missing; export or copy it again."
                )
            yield at, data[at : at + size]
            found += 1
        at += size


class _Reader:
    """Reads the events of one track into its rows and the file's maps."""

    def __init__(self, file: MidiFile, track: Track, where: str) -> None:
        self.file, self.track, self.where = file, track, where
        self.down: dict[tuple[int, int], deque[int]] = {}
        self.early: dict[tuple[int, int], int] = {}  # tick of the last note-off that found nothing down
        self.let_go_early: set[int] = set()
        self.programs: dict[int, int] = {}
        self.pedals: dict[tuple[int, str], bool] = {}
        self.bent = False

    def read(self, body: bytes, start: int) -> None:
        """Read the events of a track chunk whose bytes begin at byte ``start`` of the file."""
        tick = 0
        ended = False
        for event in self._events(body, start):
            tick += event.time
            kind = event.type
            if kind == "note_on" and event.velocity:
                self._on(tick, event.channel, event.note)
            elif kind == "note_on" or kind == "note_off":
                self._off(tick, event.channel, event.note)
            elif kind == "control_change":
                if event.control in _PEDALS:
                    self._pedal(tick, event.channel, _PEDALS[event.control], event.value >= 64)
            elif kind == "program_change":
                self.programs[event.channel] = event.program
            elif kind == "pitchwheel":
                self.bent |= event.pitch != 0
            elif kind == "end_of_track":
                ended = True
                break
            elif event.is_meta:
                self._meta(tick, event)
        self.track.length = tick
        self._close(tick, ended)

    def _events(self, body: bytes, start: int) -> Any:
        """mido's messages of a track chunk; a damaged key, metre or tempo event is passed over with a remark."""
        import mido

        self._look_for_endless_numbers(body, start)
        header = struct.pack(">4sLHHH4sL", b"MThd", 6, 0, 1, 480, b"MTrk", len(body))
        for _ in range(_BAD_EVENTS + 1):
            source = io.BytesIO(header + body)
            try:
                return mido.MidiFile(file=source).tracks[0]
            except Exception as error:  # mido raises EOFError, OSError, ValueError, IndexError and its own
                at = source.tell() - len(header)
                blanked = None if isinstance(error, EOFError) else _without_event_before(body, at)
                if blanked is None:
                    said = "its last event breaks off" if isinstance(error, EOFError) else str(error) or "unreadable"
                    raise MidiError(
                        f"{self.where}: cannot be read at byte {start + min(at, len(body))} of the file ({said}). "
                        "Export or copy it again."
                    ) from None
                self.file.remarks.append(
                    f"{self.where}: the key, metre or tempo event before byte {start + at} of the file means nothing; "
                    "it is passed over."
                )
                body = blanked
        raise MidiError(f"{self.where}: more than {_BAD_EVENTS} damaged events. Export or copy the file again.")

    def _look_for_endless_numbers(self, body: bytes, start: int) -> None:
        """Refuse a number of thousands of bytes, which would take mido the square of that time to read."""
        run = 0
        for piece in body.translate(_HIGH).split(b"\0"):
            if len(piece) > _LONGEST_NUMBER_RUN:
                raise MidiError(
                    f"{self.where}: from byte {start + run} of the file on there are no events. "
                    "Export or copy it again."
                )
            run += len(piece) + 1

    def _on(self, tick: int, channel: int, key: int) -> None:
        """A note begins. Some writers put all note-offs of a tick first, even that of a note of no length.

        So a note whose off came just before it, and which is struck again before another, has no length.
        """
        rows = self.track.notes
        waiting = self.down.setdefault((channel, key), deque())
        if waiting and waiting[0] in self.let_go_early:
            at = waiting.popleft()
            rows[at] = rows[at]._replace(end=rows[at].onset)
        if self.early.pop((channel, key), None) == tick:
            self.let_go_early.add(len(rows))
        waiting.append(len(rows))
        rows.append(Struck(len(rows), tick, -1, channel, key, self.programs.get(channel)))

    def _off(self, tick: int, channel: int, key: int) -> None:
        """Of several notes down on one key the one that began first ends."""
        waiting = self.down.get((channel, key))
        if waiting:
            at = waiting.popleft()
            self.track.notes[at] = self.track.notes[at]._replace(end=tick)
        else:
            self.early[channel, key] = tick

    def _pedal(self, tick: int, channel: int, kind: str, down: bool) -> None:
        if self.pedals.get((channel, kind), False) != down:
            self.pedals[channel, kind] = down
            self.track.pedals.append(Pedal(tick, channel, kind, down))

    def _meta(self, tick: int, event: Any) -> None:
        kind = event.type
        if kind == "set_tempo":
            if event.tempo > 0:
                self.file.tempos.append((tick, event.tempo))
            else:
                self.file.remarks.append(
                    f"{self.where}, tick {tick}: a quarter note of no length; the tempo before is kept."
                )
        elif kind == "time_signature":
            if event.numerator > 0 and event.denominator <= 64:
                self.file.metres.append((tick, event.numerator, event.denominator))
            else:
                self.file.remarks.append(
                    f"{self.where}, tick {tick}: a metre of {event.numerator}/{event.denominator}; "
                    "the one before is kept."
                )
        elif kind == "key_signature":
            minor = event.key.endswith("m")
            self.file.keys.append((tick, _FIFTHS[event.key], minor))
        elif kind == "track_name":
            self.track.name = self.track.name or _text(event.name)
        elif kind == "instrument_name":
            self.track.instrument = self.track.instrument or _text(event.name)

    def _close(self, tick: int, ended: bool) -> None:
        rows = self.track.notes
        for i in self.let_go_early:
            if rows[i].end < 0:
                rows[i] = rows[i]._replace(end=rows[i].onset)
        hanging = [i for i, row in enumerate(rows) if row.end < 0]
        for i in hanging:
            rows[i] = rows[i]._replace(end=tick)
        remarks = self.file.remarks
        if hanging:
            remarks.append(
                f"{self.where}: {len(hanging)} of {len(rows)} notes are never let go; they are read to its end. "
                f"The first is n{hanging[0]} at tick {rows[hanging[0]].onset}."
            )
        empty = [row for row in rows if row.end == row.onset]
        if empty:
            remarks.append(
                f"{self.where}: {len(empty)} of {len(rows)} notes have no length; they are read so. "
                f"The first is n{empty[0].n} at tick {empty[0].onset}."
            )
        if not ended:
            remarks.append(f"{self.where}: has no end-of-track event; it is read to its last byte.")
        if self.bent:
            remarks.append(f"{self.where}: bends of pitch are not read; each note has the pitch of its key.")


_HIGH = bytes([0] * 128 + [1] * 128)

_SIZES = {0x59: 2, 0x58: 4, 0x51: 3}


def _without_event_before(body: bytes, at: int) -> bytes | None:
    """The track with the key, metre or tempo event that ends at ``at`` turned into one for sequencers only."""
    for size in range(6):
        head = at - size - 3
        if head >= 0 and body[head] == 0xFF and body[head + 1] in _SIZES and body[head + 2] == size:
            return body[: head + 1] + b"\x7f" + body[head + 2 :]
    return None


_MAJORS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINORS = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")
_FIFTHS = {name: i - 7 for i, name in enumerate(_MAJORS)} | {f"{name}m": i - 7 for i, name in enumerate(_MINORS)}


def _text(raw: str) -> str:
    """A text event: the standard says ASCII; UTF-8 where it is that, else Latin-1 as mido reads it."""
    with contextlib.suppress(UnicodeDecodeError, UnicodeEncodeError):
        raw = raw.encode("latin-1").decode("utf-8")
    return " ".join("".join(c if c.isprintable() else " " for c in raw).split())
