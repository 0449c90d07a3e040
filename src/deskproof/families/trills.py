"""The upper note of a trill, for all families that have to find a place for it."""

from __future__ import annotations

from deskproof.families.base import Context
from deskproof.page import alters_of
from deskproof.pitch import STEPS, Pitch
from deskproof.score import Key, Note

TRILLS = ("trill-mark", "wavy-line", "shake")
_ACCIDENTAL = {"sharp": 1, "natural": 0, "flat": -1, "double-sharp": 2, "flat-flat": -2}


def neighbour(note: Note, context: Context, part: int, measure: int) -> Pitch:
    """The upper note of a trill: as the small accidental says, else as the key has it. The note must have a pitch."""
    assert note.pitch is not None
    i = STEPS.index(note.pitch.step) + 1
    step, octave = STEPS[i % len(STEPS)], note.pitch.octave + i // len(STEPS)
    sign = note.marked("accidental-mark")
    alter: int | float | None = _ACCIDENTAL.get(sign.value) if sign else None
    if alter is None:
        alter = alters_of(key_at(note, context, part, measure))[step]
    return Pitch(step, alter, octave)


def key_at(note: Note, context: Context, part: int, measure: int) -> Key:
    """The key in force where a note stands."""
    keys = dict(context.layouts[part].keys[measure])
    for change in context.score.parts[part].measures[measure].changes:
        if isinstance(change.value, Key) and change.start <= note.start:
            keys = {} if change.staff == 0 else keys
            keys[change.staff] = change.value
    return keys.get(note.staff, keys.get(0, Key(0)))
