"""Score -> Standard MIDI File, as it is played: repeats played out, ties joined, sounding pitches, tempo and loudness.

Format 1: first a track of tempo, metre and key, then a track for each part. Hairpins, articulations, pedals, pizzicato
and tremolo are not played; a note is as loud as the last dynamic of its part.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import Any, NamedTuple

from deskproof import facts, instruments
from deskproof.midi.parts import PERCUSSION
from deskproof.score import Part, Score, ScoreInstrument
from deskproof.timeline import Event, Frame, Timeline, heard, realise

_CHANNELS = 16
_LEAST_DIVISION, _MOST_DIVISION = 480, 32767  # a grace note needs fine ticks; the file has 15 bits for them
_LONGEST_QUARTER_US = 2**24 - 1
_MAJORS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_ENDS, _SETS, _BEGINS = range(3)  # what comes first at one tick


class _Row(NamedTuple):
    """A message at a tick; at one tick notes end before others begin."""

    tick: int
    order: int
    message: Any


def write(score: Score) -> bytes:
    """The score as a Standard MIDI File of format 1; see the head of this module.

    Onsets and ends of notes are exact where a quarter has at most 32767 ticks, else rounded to such a tick. Parts
    beyond the fifteenth that is no percussion go to a second port.
    """
    import mido

    timeline = realise(score)
    scale = _Scale(timeline.frame)
    made = mido.MidiFile(type=1, ticks_per_beat=scale.division)
    made.tracks.append(_track(score.title, list(_leading(timeline, scale))))
    seats = 0
    for part, events in zip(score.parts, timeline.parts, strict=True):
        drums = any(event.note.kind == "unpitched" for event in events)
        port, channel = divmod(seats, _CHANNELS - 1)
        if drums and not any(event.sounding is not None for event in events):
            port, channel = 0, PERCUSSION
        else:
            seats += 1
            channel += channel >= PERCUSSION
        rows = list(_Player(part, scale, channel).rows(heard(events)))
        if port:
            rows.append(_Row(0, _ENDS, mido.MetaMessage("midi_port", port=port)))
        made.tracks.append(_track(part.name, rows))
    out = io.BytesIO()
    made.save(file=out)
    return out.getvalue()


class _Scale:
    """Ticks of the playing order to those of the file."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        factor = -(-_LEAST_DIVISION // frame.grid)
        self.division = min(frame.grid * factor, _MOST_DIVISION)
        self.factor = Fraction(self.division, frame.grid)

    def tick(self, tick: int) -> int:
        """A tick of the playing order."""
        return round(tick * self.factor)

    def grace(self, at: int) -> int:
        """How long a grace note lasts before a tick of the playing order."""
        qpm = self.frame.clock.tempo_at(at).qpm
        return max(1, round(self.frame.grace_us * qpm * self.division / 60_000_000))

    def times(self, event: Event) -> tuple[int, int]:
        """Where a note begins and ends; one without length is as short as can be."""
        onset = self.tick(event.onset)
        if event.grace:
            length = self.grace(event.onset)
            start = max(0, onset - event.grace * length)
            return start, start + length
        return onset, max(onset + 1, self.tick(event.end))


def _leading(timeline: Timeline, scale: _Scale) -> Iterator[_Row]:
    """Tempo, metre and key, played out."""
    import mido

    frame = timeline.frame
    for tick, tempo in zip(frame.clock.ticks, frame.clock.tempos, strict=True):
        us = min(round(Fraction(60_000_000) / tempo.qpm), _LONGEST_QUARTER_US)
        yield _Row(scale.tick(tick), _SETS, mido.MetaMessage("set_tempo", tempo=us))
    before: tuple[int, int] | None = None
    signatures = _signatures(timeline)
    key: int | None = None
    for play in frame.plays:
        _, unit, _, beats = frame.metres[play.measure]
        if (beats, unit) != before and 0 < beats < 256 and unit.bit_count() == 1:
            before = (beats, unit)
            metre = mido.MetaMessage("time_signature", numerator=beats, denominator=unit)
            yield _Row(scale.tick(play.onset), _SETS, metre)
        k = bisect_right(signatures, (play.measure, len(_MAJORS))) - 1
        fifths = signatures[k][1] if k >= 0 else None
        if fifths is not None and fifths != key and abs(fifths) <= len(_MAJORS) // 2:
            key = fifths
            name = _MAJORS[fifths + len(_MAJORS) // 2]
            yield _Row(scale.tick(play.onset), _SETS, mido.MetaMessage("key_signature", key=name))


def _signatures(timeline: Timeline) -> list[tuple[int, int]]:
    """The key signatures of the first part that is written as it sounds, by measure; none where no part is."""
    for layout, part in zip(timeline.layouts, timeline.score.parts, strict=True):
        keyed = any(change.kind == "key" for measure in part.measures for change in measure.changes)
        if keyed and layout.transpose_only is not None and layout.transpose_only.semitones % 12 == 0:
            return list(layout.signatures)
    return []


def _track(name: str, rows: list[_Row]) -> Any:
    """A track with its name, the messages in order of time."""
    import mido

    plain = name.encode("latin-1", "replace").decode("latin-1")
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=plain)])
    ordered = sorted(rows, key=lambda row: (row.tick, row.order))
    ticks = [0, *(row.tick for row in ordered)]
    track += [row.message.copy(time=b - a) for row, (a, b) in zip(ordered, pairwise(ticks), strict=True)]
    return track


class _Player:
    """The notes of one part as messages on one channel."""

    def __init__(self, part: Part, scale: _Scale, channel: int) -> None:
        self.part, self.scale, self.channel = part, scale, channel
        self.velocities: dict[str, int] = facts.get("midi.velocity").value
        self.loudness = [
            ((measure.index, row.start), self.velocities[sign])
            for measure in part.measures
            for row in sorted(measure.directions, key=lambda row: row.start)
            if row.kind == "dynamics"
            for sign in row.value.split()[-1:]
            if sign in self.velocities
        ]
        self.changes = [
            ((measure.index, row.start), row)
            for measure in part.measures
            for row in sorted(measure.directions, key=lambda row: row.start)
            if row.kind == "sound:instrument-change"
        ]

    def rows(self, events: list[Event]) -> Iterator[_Row]:
        """Programs and notes."""
        import mido

        program = None
        for event in events:
            start, stop = self.scale.times(event)
            key, channel = self._key(event)
            if channel != PERCUSSION:
                wanted = self._program(event)
                if wanted != program:
                    program = wanted
                    change = mido.Message("program_change", program=program, channel=channel)
                    yield _Row(start, _SETS, change)
            velocity = self._velocity(event)
            yield _Row(start, _BEGINS, mido.Message("note_on", note=key, velocity=velocity, channel=channel))
            yield _Row(stop, _ENDS, mido.Message("note_off", note=key, velocity=0, channel=channel))

    def _key(self, event: Event) -> tuple[int, int]:
        """The key of a note and its channel; microtones go to the key below."""
        if event.sounding is not None:
            return min(max(int(event.sounding // 1), 0), 127), self.channel
        own = self._instrument(event)
        if own is not None and own.unpitched is not None:
            return own.unpitched, PERCUSSION
        known = instruments.identify(sound=own.sound if own else None, program=None, name=own.name if own else "")
        known = known or instruments.identify(sound=None, program=None, name=self.part.name)
        keys: dict[str, int] = facts.get("midi.drum_keys").value
        return keys.get(known.id if known else "", keys["other"]), PERCUSSION

    def _instrument(self, event: Event) -> ScoreInstrument | None:
        """The instrument of a note: the one it names, else the part's first."""
        named = self.part.instruments.get(event.note.instrument)
        return named or next(iter(self.part.instruments.values()), None)

    def _program(self, event: Event) -> int:
        """The program of a note: its instrument's, or of the last change before it on the page."""
        own = self._instrument(event)
        sound = own.sound if own else ""
        program = own.program if own else None
        k = bisect_right(self.changes, (event.measure, event.note.start), key=lambda row: row[0])
        for _, change in reversed(self.changes[:k]):
            if change.number in ("", own.id if own else ""):
                sound, program = change.value, None
                break
        if program is None:
            name = self.part.name if not k else ""
            known = instruments.identify(sound=sound or None, program=None, name=name)
            program = known.programs[0] if known is not None and known.programs else 0
        return program

    def _velocity(self, event: Event) -> int:
        """As loud as the last dynamic of the part says."""
        k = bisect_right(self.loudness, (event.measure, event.note.start), key=lambda row: row[0])
        return self.loudness[k - 1][1] if k else self.velocities["mf"]
