"""Notes of a keyboard part written otherwise: in another octave, left out, shorter. What cannot be written is None."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations

from deskproof.edits import BOUND, AddPedal, Edit, Omit, Respell, Shorten, Silence
from deskproof.families.keyboard.hand_search import Limits, feasible
from deskproof.families.rewriting import note_of
from deskproof.score import CHORD, GRACE, TIE_START, TIE_STOP, UNCHECKED, Measure, Note, NoteRef, Part
from deskproof.values import value_of

OCTAVE = 12
MOST_LEFT_OUT = 3


def taken(part: Part, ref: NoteRef, up: int) -> bool:
    """Whether the key so many octaves higher is struck there anyway."""
    note = note_of(part, ref)
    chord = _chord(part.measures[ref.measure], note.start)
    return note.pitch is not None and any(
        one.pitch is not None and one.pitch.midi == note.pitch.midi + OCTAVE * up for one in chord
    )


def keys_after(part: Part, refs: Sequence[NoteRef], others: Sequence[NoteRef], up: int) -> list[int]:
    """All keys from low to high after some notes are moved by octaves; empty where that brings them no nearer."""
    mine = [int(note.pitch.midi) for ref in refs if (note := note_of(part, ref)).pitch is not None]
    there = [int(note.pitch.midi) for ref in others if (note := note_of(part, ref)).pitch is not None]
    if not mine or not there:
        return []
    moved = [key + OCTAVE * up for key in mine]
    nearer = max(moved + there) - min(moved + there) < max(mine + there) - min(mine + there)
    return sorted({*moved, *there}) if nearer else []


def left_out(part: Part, ref: NoteRef) -> list[Edit] | None:
    """A note taken out of its chord, or a rest where it stands alone; None if it is tied, slurred or in a tuplet.

    The first note of a chord carries its beam: it takes the pitch of the second, which goes.
    """
    measure = part.measures[ref.measure]
    note = measure.notes[ref.n]
    if not _free(note):
        return None
    if note.flags & CHORD:
        return [Omit(ref)]
    behind = measure.notes[ref.n + 1] if ref.n + 1 < len(measure.notes) else None
    if behind is None or not behind.flags & CHORD:
        return [Silence(ref)]
    if not _free(behind) or behind.pitch is None or behind.staff != note.staff or behind.accidental != note.accidental:
        return None
    pitch = behind.pitch
    if int(pitch.alter) != pitch.alter:
        return None
    return [Respell(ref, pitch.step, int(pitch.alter), pitch.octave), Omit(ref._replace(n=ref.n + 1))]


def _free(note: Note) -> bool:
    tied = note.flags & (TIE_START | TIE_STOP | GRACE)
    return not tied and note.pitch is not None and not any(mark.kind in BOUND for mark in note.marks)


def thinned(part: Part, refs: Sequence[NoteRef], limits: Limits) -> tuple[list[str], list[Edit]] | None:
    """A chord without as few as will do of its inner notes that another octave has too.

    The bass and the top stay, and of each note name one stays at least: so no third or seventh is lost.

    Returns
    -------
    names and edits, or None
        None where no such notes are enough.
    """
    chord = _chord(part.measures[refs[0].measure], note_of(part, refs[0]).start)
    keys = sorted({int(n.pitch.midi) for n in chord if n.pitch is not None and n.pitch.midi == int(n.pitch.midi)})
    inner = [key for key in keys[1:-1] if sum((key - other) % OCTAVE == 0 for other in keys) > 1]
    mine = {int(n.pitch.midi) for ref in refs if (n := note_of(part, ref)).pitch is not None}
    inner = [key for key in inner if key in mine] + [key for key in inner if key not in mine]
    for count in range(1, MOST_LEFT_OUT + 1):
        for chosen in combinations(inner, count):
            rest = tuple(key for key in keys if key not in chosen)
            if {key % OCTAVE for key in rest} != {key % OCTAVE for key in keys} or not feasible(rest, limits):
                continue
            made = _without(part, refs[0], chord, chosen)
            if made is not None:
                return made
    return None


def _chord(measure: Measure, start: int) -> list[Note]:
    """The notes that begin at one place of a measure, on all staves."""
    return [n for n in measure.notes if n.start == start and n.pitch is not None and not n.flags & (GRACE | UNCHECKED)]


def _without(
    part: Part, at: NoteRef, chord: Sequence[Note], keys: Sequence[int]
) -> tuple[list[str], list[Edit]] | None:
    names, edits = [], list[Edit]()
    for note in chord:
        if note.pitch is None or note.pitch.midi not in keys:
            continue
        own = left_out(part, at._replace(n=note.n))
        if own is None:
            return None
        names.append(str(note.pitch))
        edits += own
    touched = [edit.note for edit in edits]
    return (names, edits) if len(set(touched)) == len(touched) else None


def let_go(part: Part, refs: Sequence[NoteRef], kept_q: Fraction, grid: int, pedal: bool) -> list[Edit] | None:
    """Held notes shortened to so many quarters, with rests behind them, and pedal signs for what they leave.

    All notes of a chord are shortened together. None where the value cannot be printed, or a note is tied or beamed.
    """
    edits: list[Edit] = []
    for ref in refs:
        measure = part.measures[ref.measure]
        note = measure.notes[ref.n]
        length = kept_q * grid
        if length.denominator != 1 or not 0 < length < note.length or note.length < grid:
            return None
        value, rest = value_of(int(length), grid), value_of(note.length - int(length), grid)
        first = ref.n
        while measure.notes[first].flags & CHORD and first:
            first -= 1
        last = first
        while last + 1 < len(measure.notes) and measure.notes[last + 1].flags & CHORD:
            last += 1
        group = measure.notes[first : last + 1]
        if value is None or rest is None or any(n.flags & (TIE_START | TIE_STOP) for n in group):
            return None
        if any(n.length != note.length for n in group):
            return None
        for n in group:
            behind = rest if n.n == last else None
            edits.append(Shorten(ref._replace(n=n.n), int(length), note.length, value, behind))
        if pedal:
            edits.append(AddPedal(part.id, ref.measure, note.start, note.staff, "start"))
            edits.append(AddPedal(part.id, ref.measure, note.start + note.length, note.staff, "stop"))
    return list(dict.fromkeys(edits))
