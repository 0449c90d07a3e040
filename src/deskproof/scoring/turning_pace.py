"""How quickly the notes of a sketch follow one another, and names for the strands that are made."""

from __future__ import annotations

from collections.abc import Collection

from deskproof.pitch import Pitch
from deskproof.scoring.records import Sketch, Tone

OCTAVE = 12


def seconds(sketch: Sketch, start: int, end: int) -> float:
    """How long it is from one tick to another, at the tempo of the bar of the first."""
    bar = sketch.bar_at(start)
    return (end - start) * bar.seconds / bar.length if bar.length else 0.0


def is_played(sketch: Sketch) -> bool:
    """Whether the times of a sketch are a player's own, so that its bars and beats mean nothing."""
    return sketch.score.extra.get("played") == "yes"


def in_octave(tone: Tone, midi: int) -> Pitch:
    """The name of a tone in another octave.

    >>> str(in_octave(Tone(0, 4, 61, Pitch("D", -1, 4), (0,)), 49))
    'D♭3'
    """
    return Pitch(tone.pitch.step, tone.pitch.alter, tone.pitch.octave + (midi - tone.midi) // OCTAVE)


def free_name(kind: str, taken: Collection[str]) -> str:
    """The next free name for a strand of a kind: counted on where there are such strands already.

    >>> free_name("held harmony", ()), free_name("bass", {"bass"}), free_name("bass", {"bass 1", "bass 2"})
    ('held harmony 1', 'bass 2', 'bass 3')
    """
    number = 2 if kind in taken else 1
    while f"{kind} {number}" in taken:
        number += 1
    return f"{kind} {number}"
