"""Notes of a percussion part left out or written an octave nearer. What cannot be written is None."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from deskproof.edits import Edit, SetMark, SetOctave
from deskproof.families import rewriting
from deskproof.families.rewriting import note_of
from deskproof.families.trills import TRILLS
from deskproof.score import GRACE, TIE_START, TIE_STOP, UNCHECKED, Note, NoteRef, Part

OCTAVE = 12
MOST_INNER = 8  # inner notes of a chord that ways of thinning are sought among
_ROLLED = ("tremolo", *TRILLS)


def left_out(part: Part, refs: Sequence[NoteRef]) -> list[Edit] | None:
    """Notes taken out of their chords, or rests where they stand alone; None if one is tied, slurred or in a tuplet."""
    if any(note_of(part, ref).flags & (TIE_START | TIE_STOP) for ref in refs):
        return None
    return rewriting.left_out(part, refs)


def keys_of(part: Part, refs: Sequence[NoteRef]) -> dict[int, list[NoteRef]]:
    """The written pitches of some notes as MIDI numbers, from low to high, each with its notes; unpitched left out."""
    found: dict[int, list[NoteRef]] = {}
    for ref in refs:
        pitch = note_of(part, ref).pitch
        if pitch is not None and pitch.midi == int(pitch.midi):
            found.setdefault(int(pitch.midi), []).append(ref)
    return dict(sorted(found.items()))


def thinned(part: Part, refs: Sequence[NoteRef], count: int, doubled: bool) -> tuple[list[str], list[Edit]] | None:
    """A chord without so many of its inner notes; if ``doubled`` only such as another octave has too.

    Returns
    -------
    names and edits, or None
        None where there are not so many, or they cannot go.
    """
    keys = keys_of(part, refs)
    inner = list(keys)[1:-1][:MOST_INNER]
    names = {key % OCTAVE for key in keys}
    for chosen in combinations(inner, count):
        stay = {key % OCTAVE for key in keys if key not in chosen}
        if doubled and stay != names:
            continue
        edits = left_out(part, [ref for key in chosen for ref in keys[key]])
        if edits is not None:
            return [str(note_of(part, keys[key][0]).pitch) for key in chosen], edits
    return None


def in_octave(part: Part, refs: Sequence[NoteRef], up: int) -> list[Edit] | None:
    """The notes so many octaves higher; None if one has no pitch, is tied, or is struck there anyway."""
    edits: list[Edit] = []
    for ref in refs:
        note = note_of(part, ref)
        if note.pitch is None or note.flags & (TIE_START | TIE_STOP):
            return None
        goal = note.pitch.midi + OCTAVE * up
        staying = [one for one in together(part, ref) if ref._replace(n=one.n) not in refs]
        if any(one.pitch is not None and one.pitch.midi == goal for one in staying):
            return None
        edits.append(SetOctave(ref, note.pitch.octave + up))
    return edits


def together(part: Part, ref: NoteRef) -> list[Note]:
    """The notes that begin with a note, on all staves of the part."""
    start = note_of(part, ref).start
    return [
        one
        for one in part.measures[ref.measure].notes
        if one.start == start and one.kind != "rest" and not one.flags & (GRACE | UNCHECKED)
    ]


def broken(part: Part, refs: Sequence[NoteRef]) -> list[Edit] | None:
    """Signs to break the chords in which some notes stand; None if one is rolled, or a note in it has no pitch."""
    edits: list[Edit] = []
    for ref in refs:
        for one in together(part, ref):
            if one.pitch is None or any(one.marked(kind) for kind in _ROLLED):
                return None
            edits.append(SetMark(ref._replace(n=one.n), "arpeggiate"))
    return list(dict.fromkeys(edits))
