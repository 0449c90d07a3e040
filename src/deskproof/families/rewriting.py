"""Notes written otherwise: in another octave, left out, ended sooner. What cannot be written is None."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from deskproof.edits import BOUND, Edit, Omit, Respell, SetOctave, Shorten, Silence
from deskproof.score import CHORD, GRACE, TIE_START, TIE_STOP, Measure, Note, NoteRef, Part
from deskproof.timeline import Event as Stroke
from deskproof.values import MOST_DOTS, VALUES, value_of

TIES = TIE_START | TIE_STOP
SHORTEST = VALUES["eighth"]  # to which a held note is shortened
HELD = VALUES["quarter"]  # as long at least is a note that is said to be held; it has no beam


def note_of(part: Part, ref: NoteRef) -> Note:
    """The note that a reference names."""
    return part.measures[ref.measure].notes[ref.n]


def written(part: Part, strokes: Iterable[Stroke]) -> list[NoteRef]:
    """The printed notes of some strokes, those tied on too, each once."""
    found = [NoteRef(part.id, *place) for one in strokes for place in ((one.measure, one.note.n), *one.tied)]
    return list(dict.fromkeys(found))


def in_octave(part: Part, refs: Sequence[NoteRef], up: int) -> list[Edit]:
    """The notes so many octaves higher."""
    rows = [(ref, note_of(part, ref).pitch) for ref in refs]
    return [SetOctave(ref, pitch.octave + up) for ref, pitch in rows if pitch is not None]


def left_out(part: Part, refs: Sequence[NoteRef]) -> list[Edit] | None:
    """The notes taken out of their chords, or rests where they stand alone.

    The first note of a chord carries its beam and its ties: it takes the pitch of the first that stays, which goes.
    None where a whole chord would go, or a note is a grace note or has one end of a slur, a tuplet or a slide.
    """
    gone: dict[tuple[int, int], set[int]] = {}
    for ref in refs:
        gone.setdefault((ref.measure, _chord(part.measures[ref.measure], ref.n)[0].n), set()).add(ref.n)
    edits: list[Edit] = []
    for (m, first), some in gone.items():
        own = _without(part.id, part.measures[m], first, some)
        if own is None:
            return None
        edits += own
    return edits


def _without(part_id: str, measure: Measure, first: int, gone: set[int]) -> list[Edit] | None:
    """A chord, by the ordinal of its first note, without some of its notes."""
    chord = _chord(measure, first)
    if not all(_free(note) for note in chord if note.n in gone):
        return None
    if len(chord) == 1:
        return [Silence(NoteRef(part_id, measure.index, first))]
    stays = [note for note in chord if note.n not in gone]
    if not stays:
        return None
    edits: list[Edit] = []
    if first in gone:
        head, other = chord[0], stays[0]
        pitch = other.pitch
        alike = head.staff == other.staff and head.flags & TIES == other.flags & TIES
        if pitch is None or int(pitch.alter) != pitch.alter or not alike or not set(other.marks) <= set(head.marks):
            return None
        edits.append(Respell(NoteRef(part_id, measure.index, first), pitch.step, int(pitch.alter), pitch.octave))
        gone = (gone - {first}) | {other.n}
    edits += [Omit(NoteRef(part_id, measure.index, n)) for n in sorted(gone)]
    return edits


def _free(note: Note) -> bool:
    return note.kind != "rest" and not note.flags & GRACE and not any(mark.kind in BOUND for mark in note.marks)


def _chord(measure: Measure, n: int) -> tuple[Note, ...]:
    """The notes that a chord of the page holds, by the ordinal of one of them."""
    first = n
    while first and measure.notes[first].flags & CHORD:
        first -= 1
    last = n
    while last + 1 < len(measure.notes) and measure.notes[last + 1].flags & CHORD:
        last += 1
    return measure.notes[first : last + 1]


def ended_by(part: Part, strokes: Iterable[Stroke], tick: int, grid: int) -> list[Shorten] | None:
    """Strokes of one time shortened, with rests behind them, so that all are over by a tick of the performance.

    Of tied notes the last is shortened; the notes of a chord are shortened together. None where no note and rest of
    one printed value each do it, or too little of the note is left.
    """
    edits: dict[NoteRef, Shorten] = {}
    for one in strokes:
        if one.end <= tick:
            continue
        m, n = one.tied[-1] if one.tied else (one.measure, one.note.n)
        chord = _chord(part.measures[m], n)
        note = part.measures[m].notes[n]
        length = _printable(note.length, note.length - (one.end - tick), grid)
        if length is None or any(row.flags & (TIE_START | GRACE) or row.length != note.length for row in chord):
            return None
        value, rest = value_of(length, grid), value_of(note.length - length, grid)
        assert value is not None
        for row in chord:
            ref = NoteRef(part.id, m, row.n)
            edits[ref] = Shorten(ref, length, note.length, value, rest if row is chord[-1] else None)
    return list(edits.values())


def _printable(length: int, most: int, grid: int) -> int | None:
    """The longest value of at most so many ticks that leaves a rest of one value; at most one of all is dotted."""
    if Fraction(length, grid) < HELD:
        return None
    whole = value_of(length, grid)
    for ticks in sorted((quarters * grid for quarters in _values()), reverse=True):
        if not SHORTEST * grid <= ticks <= most or ticks.denominator != 1:
            continue
        value, rest = value_of(int(ticks), grid), value_of(length - int(ticks), grid)
        if value and rest and not (value[1] and (rest[1] or (whole and whole[1]))):
            return int(ticks)
    return None


def _values() -> list[Fraction]:
    return [plain * (2 - Fraction(1, 2**dots)) for plain in VALUES.values() for dots in range(MOST_DOTS)]
