"""Tremolos between two notes or chords: what is written one after the other is played to and fro as one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from deskproof.score import CHORD, Measure, Note, Part


class Half(NamedTuple):
    """Where a note of such a tremolo stands: ticks back to its first chord, ticks on to its end, the other chord."""

    back: int
    more: int
    other: tuple[Note, ...]


def tremolos(part: Part) -> dict[tuple[int, int], Half]:
    """The notes of a part that are half of a tremolo, by measure and ordinal."""
    found: dict[tuple[int, int], Half] = {}
    for measure in part.measures:
        if any(_end_of(note) for note in measure.notes):
            found.update(_pairs(measure))
    return found


def _end_of(note: Note) -> str:
    mark = note.marked("tremolo")
    return mark.number if mark is not None and mark.number in ("start", "stop") else ""


def _pairs(measure: Measure) -> Iterator[tuple[tuple[int, int], Half]]:
    begun: dict[tuple[int, str], list[Note]] = {}
    for chord in _chords(measure):
        voice = chord[0].staff, chord[0].voice
        ends = {_end_of(note) for note in chord}
        if "stop" in ends and voice in begun:
            first = begun.pop(voice)
            for note in first:
                yield (measure.index, note.n), Half(0, chord[0].length, tuple(chord))
            for note in chord:
                yield (measure.index, note.n), Half(chord[0].start - first[0].start, 0, tuple(first))
        if "start" in ends:
            begun[voice] = chord


def _chords(measure: Measure) -> Iterator[list[Note]]:
    """The chords of a measure in the order of the file."""
    chord: list[Note] = []
    for note in measure.notes:
        if chord and note.flags & CHORD:
            chord.append(note)
            continue
        if chord:
            yield chord
        chord = [note] if note.pitch is not None else []
    if chord:
        yield chord
