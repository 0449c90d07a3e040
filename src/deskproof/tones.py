"""Bars as tones to be heard: which pitch, when, how long, from which notes of the page. Nothing is checked on them.

Broken chords are broken; trills, tremolos and glissandi are heard as held notes.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import NamedTuple

from deskproof import facts
from deskproof.edits import Edit, apply, reaching
from deskproof.page import layout_of
from deskproof.recheck import closed
from deskproof.score import CUE, HIDDEN, OSSIA, NoteRef
from deskproof.state import State
from deskproof.timeline import realise_part

US = 1_000_000
MS = 1000
SILENT = CUE | HIDDEN | OSSIA


class Tone(NamedTuple):
    """One tone: when it begins and how long it lasts, in seconds from the beginning of the first bar.

    ``midi`` is the sounding MIDI number, None for what has no pitch; ``notes`` are the notes of the page that are
    bound into it.
    """

    at_s: float
    for_s: float
    midi: float | None
    part: int
    notes: tuple[NoteRef, ...]


def tones(state: State, parts: Sequence[int], first: int, last: int, edits: Sequence[Edit] = ()) -> list[Tone]:
    """The tones of some measures of some parts, at their first playing, in order of time.

    Parameters
    ----------
    state : State
        A checked score.
    parts : sequence of int
        Ordinals of parts.
    first, last : int
        Ordinals of measures, both included.
    edits : sequence of Edit
        Taken first.
    """
    score, frame = state.score, state.timeline.frame
    if edits:
        score = apply(score, edits)
    anew = reaching(edits)
    plays = [play for play in frame.plays if play.measure == first]
    begin = plays[0].onset if plays else 0
    end = next((p.onset + p.length for p in frame.plays if p.measure == last and p.onset >= begin), begin)
    begin_us = frame.clock.floor_us(begin)
    found = []
    broken: set[NoteRef] = set()
    for index in parts:
        part = score.parts[index]
        layout = layout_of(part) if part.id in anew else state.timeline.layouts[index]
        window = closed(part, range(first, last + 1), frame)
        for event in realise_part(part, layout, frame, window):
            if event.note.flags & SILENT or not begin <= event.onset < end:
                continue
            at_us, until_us = frame.times_us(event)
            refs = (NoteRef(part.id, event.measure, event.note.n), *(NoteRef(part.id, *spot) for spot in event.tied))
            if event.note.marked("arpeggiate") is not None:
                broken.add(refs[0])
            midi = None if event.sounding is None else float(event.sounding)
            found.append(Tone((at_us - begin_us) / US, (until_us - at_us) / US, midi, index, refs))
    found.sort(key=lambda tone: (tone.at_s, tone.part, tone.midi or 0.0))
    return _broken(found, broken)


def _broken(found: Sequence[Tone], broken: Set[NoteRef]) -> list[Tone]:
    """The tones with the notes of broken chords one after the other, upwards."""
    step_s = float(facts.get("harp.roll_step").value) / MS
    steps: dict[tuple[float, int], int] = {}
    rows = []
    for tone in found:
        if tone.notes[0] in broken:
            place = tone.at_s, tone.part
            late = step_s * steps.get(place, 0)
            steps[place] = steps.get(place, 0) + 1
            tone = tone._replace(at_s=tone.at_s + late, for_s=max(tone.for_s - late, step_s))
        rows.append(tone)
    return sorted(rows, key=lambda tone: (tone.at_s, tone.part, tone.midi or 0.0))


def length_s(state: State, first: int, last: int) -> float:
    """How long some measures last at their first playing, in seconds."""
    frame = state.timeline.frame
    begin = next((play.onset for play in frame.plays if play.measure == first), 0)
    end = next((p.onset + p.length for p in frame.plays if p.measure == last and p.onset >= begin), begin)
    return (frame.clock.ceil_us(end) - frame.clock.floor_us(begin)) / US
