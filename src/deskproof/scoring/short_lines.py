"""What the players of a full score play, line by line, in page order and at sounding pitch."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from deskproof.page import layout_of
from deskproof.pitch import STEPS, Pitch, parse, spelled
from deskproof.pitch import name as pitch_name
from deskproof.score import UNCHECKED, Mark, Note, Part, Score, Transpose
from deskproof.timeline import Event, Frame, Play, frame_of, realise_part

Strand = tuple[int, int, str, int]
"""A line of one part: ordinal of the part, staff, voice, and which note of its chords, counted from the top."""


class Played(NamedTuple):
    """A sounding note of one player. ``onset`` and ``end`` are ticks in page order; ``free`` is when his line goes on.

    ``slurred`` are the ordinals of the slurs that begin (positive) and end (negative) here, counted from 1.
    """

    player: int
    strand: Strand
    bar: int
    onset: int
    end: int
    grace: int
    midi: int | float
    pitch: Pitch
    marks: tuple[Mark, ...]
    free: int
    slurred: tuple[int, ...] = ()


@dataclass(frozen=True)
class Lines:
    """All that is played. ``onsets`` are those of the bars, ``players`` the names of the parts.

    ``drums`` are the names of those that play without pitch.
    """

    score: Score
    frame: Frame
    onsets: tuple[int, ...]
    players: tuple[str, ...]
    notes: tuple[Played, ...]
    drums: tuple[str, ...]

    def bar_at(self, tick: int) -> int:
        """The ordinal of the bar in which a tick falls."""
        return max(0, bisect_right(self.onsets, tick) - 1)

    @property
    def end(self) -> int:
        """The tick at which the last bar ends."""
        return self.onsets[-1] + self.frame.lengths[-1]


def lines_of(score: Score) -> Lines:
    """The players' lines of a score."""
    frame = frame_of(score)
    onsets, at = [], 0
    for length in frame.lengths:
        onsets.append(at)
        at += length
    rows = zip(range(len(onsets)), onsets, frame.lengths, strict=True)
    frame = replace(frame, plays=tuple(Play(i, 1, onset, length) for i, onset, length in rows))
    notes: list[Played] = []
    drums: list[str] = []
    names = names_of(score)
    slurs = 0
    for i, part in enumerate(score.parts):
        reader = _PartLines(i, part, frame, tuple(onsets), slurs)
        notes += reader.notes()
        slurs = reader.slurs
        if reader.strokes:
            drums.append(names[i])
    notes.sort(key=lambda note: (note.onset, -note.grace, note.strand))
    return Lines(score, frame, tuple(onsets), names, tuple(notes), tuple(drums))


def names_of(score: Score) -> tuple[str, ...]:
    """The parts' names; equal ones are counted."""
    plain = [" ".join(part.name.split()) or part.id for part in score.parts]
    taken: set[str] = set()
    found = []
    for name in plain:
        own, k = name, 1
        while own in taken or (k == 1 and plain.count(name) > 1):
            own, k = f"{name} ({k})", k + 1
        taken.add(own)
        found.append(own)
    return tuple(found)


class _PartLines:
    """The notes of one part; slurs are counted on from ``slurs``."""

    def __init__(self, index: int, part: Part, frame: Frame, onsets: tuple[int, ...], slurs: int) -> None:
        self.index, self.part, self.onsets, self.slurs = index, part, onsets, slurs
        self.layout = layout_of(part)
        self.events = [e for e in realise_part(part, self.layout, frame) if not e.note.flags & UNCHECKED]
        self.strokes = sum(event.sounding is None for event in self.events)

    def notes(self) -> list[Played]:
        """Its pitched notes with their strands, marks and slurs."""
        events = [event for event in self.events if event.sounding is not None]
        ranks = _ranks(events)
        slurred = self._slurred(events)
        frees: dict[Strand, int] = {}
        found = []
        for i in reversed(range(len(events))):
            event = events[i]
            assert event.sounding is not None
            strand = (self.index, event.note.staff, event.note.voice, ranks[i])
            midi = int(event.sounding) if event.sounding == int(event.sounding) else event.sounding
            bar = max(0, bisect_right(self.onsets, event.onset) - 1)
            if event.grace and event.onset > self.onsets[bar] == event.onset:
                bar = max(0, bar - 1)
            free = frees.get(strand, 1 << 60)
            pitch, marks = self._pitch(event), self._marks(event)
            found.append(
                Played(
                    self.index, strand, bar, event.onset, event.end, event.grace, midi, pitch, marks, free,
                    tuple(slurred.get(i, ())),
                )
            )  # fmt: skip
            if not event.grace:
                frees[strand] = event.onset
        return found[::-1]

    def _chain(self, event: Event) -> Iterator[Note]:
        yield event.note
        for measure, n in event.tied:
            yield self.part.measures[measure].notes[n]

    def _marks(self, event: Event) -> tuple[Mark, ...]:
        last = [mark for note in list(self._chain(event))[1:] for mark in note.marks if mark.kind == "fermata"]
        return (*event.note.marks, *last)

    def _slurred(self, events: list[Event]) -> dict[int, list[int]]:
        """Ordinal of a note -> slurs that begin or end there."""
        found: dict[int, list[int]] = {}
        waiting: dict[tuple[str, int], tuple[int, int]] = {}
        for i, event in enumerate(events):
            for note in self._chain(event):
                for mark in sorted((m for m in note.marks if m.kind == "slur"), key=lambda m: m.value != "stop"):
                    key = (mark.number or "1", note.staff)
                    if mark.value == "start":
                        self.slurs += 1
                        waiting[key] = (self.slurs, i)
                    elif mark.value == "stop" and key in waiting:
                        slur, begun = waiting.pop(key)
                        if begun != i:
                            found.setdefault(begun, []).append(slur)
                            found.setdefault(i, []).append(-slur)
        return found

    def _pitch(self, event: Event) -> Pitch:
        assert event.note.pitch is not None
        by = self.layout.transpose_at(event.measure, event.note.start, event.note.staff)
        return sounding_pitch(event.note.pitch, by)


def _ranks(events: list[Event]) -> dict[int, int]:
    """Ordinal of a note -> which of the notes of its chord it is, from the top."""
    chords: dict[tuple[int, int, str, int], list[int]] = {}
    for i, event in enumerate(events):
        chords.setdefault((event.onset, event.note.staff, event.note.voice, event.grace), []).append(i)
    found = {}
    for chord in chords.values():
        ordered = sorted(chord, key=lambda i: -(events[i].sounding or 0))
        found.update({i: rank for rank, i in enumerate(ordered)})
    return found


def sounding_pitch(written: Pitch, by: Transpose) -> Pitch:
    """The sounding pitch of a written one, spelled as the transposition says.

    >>> str(sounding_pitch(Pitch("G", 0, 4), Transpose(-7, -4)))
    'C4'
    """
    if by == Transpose():
        return written
    octave, step = divmod(written.line + by.diatonic + 7 * by.octave, 7)
    midi = written.midi + by.semitones
    alter = midi - Pitch(STEPS[step], 0, octave).midi
    if abs(alter) > 2:
        return parse(pitch_name(midi, flats=written.alter <= 0))
    return spelled(STEPS[step], alter, octave)
