"""Musical edits: what a mend writes. Applied here to a Score; only musicxml/editor.py turns them into bytes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from deskproof.accidentals import SIGNS, missing
from deskproof.errors import DeskproofError
from deskproof.page import Layout, layout_of
from deskproof.pitch import Pitch
from deskproof.score import (
    CHORD,
    GRACE,
    TIE_START,
    TIE_STOP,
    Change,
    Clef,
    Direction,
    Key,
    Mark,
    Measure,
    Note,
    NoteRef,
    Part,
    Score,
    Transpose,
)


class EditError(DeskproofError):
    """An edit that does not fit the score: no such note, or two edits of one thing."""


@dataclass(frozen=True, slots=True)
class SetOctave:
    """Write the note in another octave; letter and alteration stay."""

    note: NoteRef
    octave: int


@dataclass(frozen=True, slots=True)
class Respell:
    """Write the note as another letter, alteration and octave."""

    note: NoteRef
    step: str
    alter: int
    octave: int


@dataclass(frozen=True, slots=True)
class AddAccidental:
    """Print an accidental on the note; ``sign`` is MusicXML's name for it (sharp, natural, flat-flat ...)."""

    note: NoteRef
    sign: str


@dataclass(frozen=True, slots=True)
class SetMark:
    """Print a sign on the note, or give the one that is there another value.

    ``kind`` is "harmonic" (``value`` base-pitch or sounding-pitch: which of the two is written), "accidental-mark" (the
    sign of a trill's upper note, by MusicXML's name), "arpeggiate", "fingering", or "tremolo" (another number of
    strokes for one that is there).
    """

    note: NoteRef
    kind: str
    value: str = ""


@dataclass(frozen=True, slots=True)
class SetStaff:
    """Write the note on another staff of its part; its voice and its beam stay."""

    note: NoteRef
    staff: int


@dataclass(frozen=True, slots=True)
class Omit:
    """Take a note, pitched or not, out of its chord. The first of a chord cannot go: it carries beam and place."""

    note: NoteRef


@dataclass(frozen=True, slots=True)
class Silence:
    """Write a rest in place of a note, pitched or not, that stands alone; its signs go with it, its beam stays."""

    note: NoteRef


@dataclass(frozen=True, slots=True)
class Shorten:
    """Write the note shorter, in ticks, and fill up with a rest what it leaves.

    ``value`` and ``rest`` are the note values of both: MusicXML's name of the type, and dots. The notes of a chord are
    shortened one by one; only with its last one stands the rest, with the others ``rest`` is None.
    """

    note: NoteRef
    length: int
    was: int
    value: tuple[str, int]
    rest: tuple[str, int] | None


class ChangeRef(NamedTuple):
    """Where a key, clef or transposition stands: part id, measure ordinal, ordinal among those of its kind there.

    >>> str(ChangeRef("P3", 12, 0, "clef"))
    'P3/m12/clef0'
    """

    part: str
    measure: int
    n: int
    kind: str

    def __str__(self) -> str:
        return f"{self.part}/m{self.measure}/{self.kind}{self.n}"


@dataclass(frozen=True, slots=True)
class SetTranspose:
    """Let the part, or one staff of it (0: all), be transposed so: in place of a transposition, or before a note."""

    note: NoteRef | ChangeRef
    chromatic: int
    diatonic: int
    octave: int
    staff: int = 0


@dataclass(frozen=True, slots=True)
class SetClef:
    """Print this clef in place of another, or before a note; no pitch changes."""

    note: NoteRef | ChangeRef
    sign: str
    line: int
    octave: int = 0
    staff: int = 1


@dataclass(frozen=True, slots=True)
class SetKey:
    """Print this key signature in place of another, or before a note; no pitch changes."""

    note: NoteRef | ChangeRef
    fifths: int
    staff: int = 0


@dataclass(frozen=True, slots=True)
class AddHarpPedals:
    """Print a harp's pedal setting below a staff; ``start`` in ticks, ``positions`` for D C B E F G A, -1 to 1."""

    part: str
    measure: int
    start: int
    staff: int
    positions: tuple[int, ...]

    @property
    def note(self) -> NoteRef:
        """The first note of the bar, which stands for the place."""
        return NoteRef(self.part, self.measure, 0)


@dataclass(frozen=True, slots=True)
class AddWords:
    """Print words ``above`` or ``below`` a staff; ``start`` in ticks; a line break parts two lines."""

    part: str
    measure: int
    start: int
    staff: int
    text: str
    placement: str

    @property
    def note(self) -> NoteRef:
        """The first note of the bar, which stands for the place."""
        return NoteRef(self.part, self.measure, 0)


@dataclass(frozen=True, slots=True)
class AddPedal:
    """Print a sign of the damper pedal below a staff; ``kind`` is start, stop or change, ``line`` one with a line."""

    part: str
    measure: int
    start: int
    staff: int
    kind: str
    line: bool = False

    @property
    def note(self) -> NoteRef:
        """The first note of the bar, which stands for the place."""
        return NoteRef(self.part, self.measure, 0)


LengthEdit = Omit | Silence | Shorten
NoteEdit = SetOctave | Respell | AddAccidental | SetMark | SetStaff | LengthEdit
SignEdit = SetTranspose | SetClef | SetKey
AddEdit = AddHarpPedals | AddWords | AddPedal
ChangeEdit = SignEdit | AddEdit
Edit = NoteEdit | ChangeEdit

PEDALS = "DCBEFGA"  # the order of MusicXML's harp-pedals

KINDS: dict[type, str] = {SetTranspose: "transpose", SetClef: "clef", SetKey: "key"}
# Kinds of change in the order in which one place of the page holds them (MusicXML 4.0, complexType attributes).
_ORDER = ("key", "time", "staves", "clef", "staff-type", "staff-lines", "transpose", "measure-repeat")


def value_of(edit: SignEdit) -> Transpose | Clef | Key:
    """What the page says after an edit of a transposition, clef or key."""
    if isinstance(edit, SetTranspose):
        return Transpose(edit.chromatic, edit.diatonic, edit.octave)
    return Clef(edit.sign, edit.line, edit.octave) if isinstance(edit, SetClef) else Key(edit.fifths)


def reaching(edits: Iterable[Edit]) -> dict[str, int]:
    """Part id -> the measure from which on edits of transposition, clef or key may change every measure."""
    found: dict[str, int] = {}
    for edit in edits:
        if isinstance(edit, SignEdit):
            part, measure = edit.note.part, edit.note.measure
            found[part] = min(measure, found.get(part, measure))
    return found


def touched(edits: Iterable[Edit]) -> dict[str, set[int]]:
    """Part id -> ordinals of the measures that the edits change."""
    found: dict[str, set[int]] = {}
    for edit in edits:
        found.setdefault(edit.note.part, set()).add(edit.note.measure)
    return found


def counting(edits: Iterable[Edit]) -> list[Edit]:
    """Those of the edits after which notes of a measure are counted otherwise; the others move no reference."""
    return [edit for edit in edits if isinstance(edit, Omit | Shorten)]


def moved(ref: NoteRef, edits: Iterable[Edit]) -> NoteRef | None:
    """Where a note stands after the edits; None if it is no more."""
    n = ref.n
    for edit in edits:
        if not isinstance(edit, Omit | Shorten) or edit.note[:2] != ref[:2]:
            continue
        if isinstance(edit, Omit):
            if edit.note.n == ref.n:
                return None
            n -= edit.note.n < ref.n
        elif edit.rest is not None:
            n += edit.note.n < ref.n
    return ref._replace(n=n)


def apply(score: Score, edits: Sequence[Edit]) -> Score:
    """The score with the edits in it; measures without an edit are the same records.

    Raises
    ------
    EditError
        If a note or change does not exist, is no pitched note (one without a pitch can be left out), or two edits
        change the same thing of one.
    """
    by_part: dict[str, dict[int, list[Edit]]] = {}
    for edit in edits:
        by_part.setdefault(edit.note.part, {}).setdefault(edit.note.measure, []).append(edit)
    parts = list(score.parts)
    for i, part in enumerate(parts):
        chosen = by_part.pop(part.id, None)
        if chosen:
            parts[i] = _part(part, chosen)
    if by_part:
        raise EditError(f"no part {next(iter(by_part))} in this score; check the file that the mends were made for.")
    return replace(score, parts=tuple(parts))


def _part(part: Part, chosen: dict[int, list[Edit]]) -> Part:
    measures = list(part.measures)
    for index, edits in chosen.items():
        if not 0 <= index < len(measures):
            raise EditError(f"part {part.id} has no measure number {index} (counted from 0).")
        notes: dict[int, list[NoteEdit]] = {}
        changes: list[SignEdit] = []
        added: list[AddEdit] = []
        for edit in edits:
            if isinstance(edit, AddEdit):
                added.append(edit)
            elif isinstance(edit, SignEdit):
                changes.append(edit)
            else:
                notes.setdefault(edit.note.n, []).append(edit)
        before = measures[index].notes
        measures[index] = _said(_changed(_measure(part.id, measures[index], notes), changes, before), added)
    return replace(part, measures=tuple(measures))


def _measure(part_id: str, measure: Measure, chosen: dict[int, list[NoteEdit]]) -> Measure:
    if not chosen:
        return measure
    notes = list(measure.notes)
    for n, edits in chosen.items():
        ref = NoteRef(part_id, measure.index, n)
        if not 0 <= n < len(notes) or (notes[n].pitch is None and not _left_out(notes[n], edits)):
            raise EditError(f"{ref} is no pitched note of this score.")
        if any(isinstance(e, Silence) for e in edits) and n + 1 < len(notes) and notes[n + 1].flags & CHORD:
            raise EditError(f"{ref} is one of a chord; take it out instead.")
        notes[n] = _note(ref, notes[n], edits)
    if any(isinstance(edit, Omit | Shorten) for edits in chosen.values() for edit in edits):
        notes = _counted(notes, chosen)
    return measure._replace(notes=tuple(notes))


def _left_out(note: Note, edits: Sequence[NoteEdit]) -> bool:
    """Whether a note without a pitch is to go or to be a rest, and nothing else."""
    return note.kind == "unpitched" and all(isinstance(edit, Omit | Silence) for edit in edits)


def _counted(notes: Sequence[Note], chosen: dict[int, list[NoteEdit]]) -> list[Note]:
    """The notes of a measure without those that go and with the rests that come, counted anew."""
    found: list[Note] = []
    for note in notes:
        own = chosen.get(note.n, ())
        if not any(isinstance(edit, Omit) for edit in own):
            found.append(note._replace(n=len(found)))
        for edit in own:
            if isinstance(edit, Shorten) and edit.rest is not None:
                start, length = note.start + edit.length, edit.was - edit.length
                found.append(Note(len(found), start, length, None, "rest", note.staff, note.voice, 0, "", "", ()))
    return found


def _said(measure: Measure, edits: Sequence[AddEdit]) -> Measure:
    """The measure with more directions, in the order in which the file will hold them."""
    if not edits:
        return measure
    rows = list(measure.directions)
    for edit, _ in placed(measure, edits):
        kind, value = said(edit)
        rows.append(Direction(len(rows), edit.start, edit.staff, kind, value))
    return measure._replace(directions=tuple(rows))


def said(edit: AddEdit) -> tuple[str, str]:
    """Kind and value of the direction that an edit adds."""
    if isinstance(edit, AddWords):
        return "words", edit.text
    if isinstance(edit, AddPedal):
        return "pedal", edit.kind
    return "harp-pedals", " ".join(f"{letter}{alter}" for letter, alter in zip(PEDALS, edit.positions, strict=True))


def placed(measure: Measure, edits: Sequence[AddEdit]) -> list[tuple[AddEdit, int | None]]:
    """Where added directions go: each with the note that it stands before, None: behind all else of the measure.

    A score does not tell on which side of a note another direction stands in the file. So only in a measure without
    any can a direction stand before its note; in others it comes last, and the order of all of them is known.

    Raises
    ------
    EditError
        If two edits say one kind of thing at one place, or an edit is no place of the measure.
    """
    places = [(edit.start, edit.staff, type(edit)) for edit in edits]
    if len(set(places)) < len(places):
        raise EditError(f"{edits[0].note}: two edits of one thing; take one of them, then check again.")
    rows: list[tuple[AddEdit, int | None]] = []
    for edit in edits:
        if edit.start < 0 or edit.staff < 1:
            raise EditError(f"{edit.note}: tick {edit.start} on staff {edit.staff} is no place of this measure.")
        if isinstance(edit, AddHarpPedals) and len(edit.positions) != len(PEDALS):
            raise EditError(f"{edit.note}: a harp has seven pedals, not {len(edit.positions)}.")
        at = None
        if not measure.directions:
            at = next(
                (n.n for n in measure.notes if (n.start, n.staff) == (edit.start, edit.staff) and not n.flags & CHORD),
                None,
            )
        rows.append((edit, at))
    return sorted(rows, key=lambda row: (row[1] is None, row[1] or 0))


def _changed(measure: Measure, edits: list[SignEdit], before: Sequence[Note]) -> Measure:
    """The measure with its changes of transposition, clef and key set anew, then those that are added.

    ``before`` are its notes as the edits count them: none gone, no rest come.
    """
    if not edits:
        return measure
    places = [(edit.note, edit.staff, type(edit)) for edit in edits]
    if len(set(places)) < len(places):
        raise EditError(f"{edits[0].note}: two edits of one thing; take one of them, then check again.")
    rows: list[Change] = list(measure.changes)
    for edit in edits:
        kind = KINDS[type(edit)]
        if isinstance(edit.note, ChangeRef):
            of_kind = [i for i, row in enumerate(measure.changes) if row.kind == kind]
            if edit.note.kind != kind or not 0 <= edit.note.n < len(of_kind):
                raise EditError(f"{edit.note} is no {kind} of this score.")
            at = of_kind[edit.note.n]
            rows[at] = rows[at]._replace(value=value_of(edit))
    for edit in sorted((e for e in edits if isinstance(e.note, NoteRef)), key=lambda e: e.note.n):
        if not 0 <= edit.note.n < len(before) or before[edit.note.n].flags & CHORD:
            raise EditError(f"{edit.note}: nothing can be printed before it; name the first note of a chord.")
        start, kind = before[edit.note.n].start, KINDS[type(edit)]
        rows.insert(_place(rows, start, kind), Change(start, edit.staff, kind, value_of(edit)))
    return measure._replace(changes=tuple(rows))


def _place(rows: Sequence[Change], start: int, kind: str) -> int:
    """Where a change before the first note at ``start`` comes among those of the measure, in the order of the file."""
    last = 0
    for i, row in enumerate(rows):
        later = row.start == start and _ORDER.index(row.kind) > _ORDER.index(kind)
        if row.start > start or row.start < last or later:
            return i
        last = row.start
    return len(rows)


def _note(ref: NoteRef, note: Note, edits: list[NoteEdit]) -> Note:
    kinds = [_changes(edit) for edit in edits]
    if len(set(kinds)) < len(kinds):
        raise EditError(f"{ref}: two edits of its {max(kinds, key=kinds.count)}; take one of them, then check again.")
    for edit in edits:
        if isinstance(edit, LengthEdit):
            note = _lasting(ref, note, edit)
            continue
        assert note.pitch is not None
        if isinstance(edit, SetOctave):
            note = note._replace(pitch=note.pitch._replace(octave=edit.octave))
        elif isinstance(edit, Respell):
            if edit.alter not in SIGNS:
                raise EditError(f"{ref}: no accidental alters by {edit.alter} semitones.")
            sign = SIGNS[edit.alter] if note.accidental else ""
            note = note._replace(pitch=Pitch(edit.step, edit.alter, edit.octave), accidental=sign)
        elif isinstance(edit, SetMark):
            note = note._replace(marks=_marked(ref, note, edit))
        elif isinstance(edit, SetStaff):
            if edit.staff < 1:
                raise EditError(f"{ref}: staves are counted from 1, not {edit.staff}.")
            note = note._replace(staff=edit.staff)
        else:
            note = note._replace(accidental=edit.sign)
    return note


def _lasting(ref: NoteRef, note: Note, edit: LengthEdit) -> Note:
    """A note that is to go, to be a rest, or to be shorter."""
    bound = next((mark.kind for mark in note.marks if mark.kind in BOUND), None)
    if bound is not None and not isinstance(edit, Shorten):
        raise EditError(f"{ref} has one end of a {bound}; it cannot be taken out.")
    if isinstance(edit, Omit):
        if not note.flags & CHORD:
            raise EditError(f"{ref} is the first note of its chord, or stands alone; it cannot be taken out.")
        return note
    if note.flags & GRACE:
        raise EditError(f"{ref} is a grace note; it has no length.")
    if isinstance(edit, Silence):
        if note.flags & CHORD:
            raise EditError(f"{ref} is one of a chord; take it out instead.")
        return note._replace(
            pitch=None, kind="rest", accidental="", marks=(), flags=note.flags & ~(TIE_START | TIE_STOP)
        )
    if note.length != edit.was or not 0 < edit.length < edit.was:
        raise EditError(f"{ref} lasts {note.length} ticks; it cannot be shortened from {edit.was} to {edit.length}.")
    return note._replace(length=edit.length)


def _changes(edit: NoteEdit) -> str:
    """What of a note an edit sets."""
    if isinstance(edit, SetMark):
        return edit.kind
    if isinstance(edit, SetStaff):
        return "staff"
    if isinstance(edit, LengthEdit):
        return "length"
    return "accidental" if isinstance(edit, AddAccidental) else "pitch"


PITCHES = ("base-pitch", "sounding-pitch")
MARKS = {
    "harmonic": PITCHES,
    "accidental-mark": tuple(SIGNS.values()),
    "arpeggiate": ("",),
    "fingering": tuple("12345"),
    "tremolo": tuple("12345678"),
}
BOUND = ("slur", "tuplet", "glissando", "slide", "wavy-line")  # what stands on two notes
_HARMONICS = (*PITCHES, "touching-pitch")
TRILLS = ("trill-mark", "shake", "wavy-line")  # the first of them that a note has is what its sign belongs to


def _marked(ref: NoteRef, note: Note, edit: SetMark) -> tuple[Mark, ...]:
    """The marks of a note with one more, or one changed."""
    if edit.value not in MARKS.get(edit.kind, ()):
        raise EditError(f"{ref}: no sign {edit.kind} {edit.value!r} can be written on a note.")
    there = note.marked(edit.kind)
    if edit.kind == "harmonic":
        if there is None:
            raise EditError(f"{ref} is no harmonic.")
        pieces = [piece for piece in there.value.split() if piece not in _HARMONICS]
        new = there._replace(value=" ".join([*pieces, edit.value]))
    else:
        if edit.kind == "tremolo" and there is None:
            raise EditError(f"{ref} has no tremolo.")
        if edit.kind == "accidental-mark" and not any(note.marked(kind) for kind in TRILLS):
            raise EditError(f"{ref} has no trill.")
        new = Mark(edit.kind, edit.value) if there is None else there._replace(value=edit.value)
    if there is not None:
        return tuple(new if mark is there else mark for mark in note.marks)
    at = len(note.marks)
    if edit.kind == "accidental-mark":  # it follows the trill that it belongs to
        trill = min((mark for mark in note.marks if mark.kind in TRILLS), key=lambda mark: TRILLS.index(mark.kind))
        at = note.marks.index(trill) + 1
    return (*note.marks[:at], new, *note.marks[at:])


def complete(score: Score, layouts: Sequence[Layout], edits: Sequence[Edit]) -> tuple[Edit, ...]:
    """The edits, and with them the accidentals that they make necessary in the rest of the bar.

    A moved or respelled note no longer lends its accidental to the notes after it, and may need one itself; under a
    new key signature other notes need one. Nothing that was missing before is added.
    """
    after = apply(score, edits)
    done = tuple(edits)
    onwards = reaching(edits)
    for part_id, measures in touched(edits).items():
        i = next(i for i, part in enumerate(score.parts) if part.id == part_id)
        layout = layouts[i]
        if part_id in onwards:
            layout = layout_of(after.parts[i])
            measures = measures | set(range(onwards[part_id], len(after.parts[i].measures)))
        known = {NoteRef(part_id, m.measure, m.note.n) for m in missing(score.parts[i], layouts[i], measures)}
        was = _places_before(score.parts[i], measures, edits)
        extra: Sequence[Edit] = edits
        while extra:  # an accidental that is added holds to the end of the bar, so it may call for another
            lacks = [
                (was.get(NoteRef(part_id, lack.measure, lack.note.n)), lack.note.pitch)
                for lack in missing(apply(score, done).parts[i], layout, measures)
            ]
            extra = [
                AddAccidental(ref, SIGNS[pitch.alter])
                for ref, pitch in lacks
                if ref is not None and ref not in known and pitch is not None
            ]
            done = (*done, *extra)
    return done


def _places_before(part: Part, measures: Iterable[int], edits: Sequence[Edit]) -> dict[NoteRef, NoteRef]:
    """Where the notes of some measures stood before the edits, by where they stand after them."""
    found = {}
    recounted = counting(edits)
    for m in measures:
        for note in part.measures[m].notes:
            ref = NoteRef(part.id, m, note.n)
            now = moved(ref, recounted) if recounted else ref
            if now is not None:
                found[now] = ref
    return found
