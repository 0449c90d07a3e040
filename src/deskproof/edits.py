"""Musical edits: what a mend writes. Applied here to a Score; only musicxml/editor.py turns them into bytes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from deskproof.accidentals import SIGNS, missing
from deskproof.errors import DeskproofError
from deskproof.page import Layout
from deskproof.pitch import Pitch
from deskproof.score import Measure, Note, NoteRef, Part, Score


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


Edit = SetOctave | Respell | AddAccidental


def touched(edits: Iterable[Edit]) -> dict[str, set[int]]:
    """Part id -> ordinals of the measures that the edits change."""
    found: dict[str, set[int]] = {}
    for edit in edits:
        found.setdefault(edit.note.part, set()).add(edit.note.measure)
    return found


def apply(score: Score, edits: Sequence[Edit]) -> Score:
    """The score with the edits in it; measures without an edit are the same records.

    Raises
    ------
    EditError
        If a note does not exist, is no pitched note, or two edits change the same thing of one note.
    """
    by_part: dict[str, dict[int, dict[int, list[Edit]]]] = {}
    for edit in edits:
        ref = edit.note
        by_part.setdefault(ref.part, {}).setdefault(ref.measure, {}).setdefault(ref.n, []).append(edit)
    parts = list(score.parts)
    for i, part in enumerate(parts):
        chosen = by_part.pop(part.id, None)
        if chosen:
            parts[i] = _part(part, chosen)
    if by_part:
        raise EditError(f"no part {next(iter(by_part))} in this score; check the file that the mends were made for.")
    return replace(score, parts=tuple(parts))


def _part(part: Part, chosen: dict[int, dict[int, list[Edit]]]) -> Part:
    measures = list(part.measures)
    for index, notes in chosen.items():
        if not 0 <= index < len(measures):
            raise EditError(f"part {part.id} has no measure number {index} (counted from 0).")
        measures[index] = _measure(part.id, measures[index], notes)
    return replace(part, measures=tuple(measures))


def _measure(part_id: str, measure: Measure, chosen: dict[int, list[Edit]]) -> Measure:
    notes = list(measure.notes)
    for n, edits in chosen.items():
        ref = NoteRef(part_id, measure.index, n)
        if not 0 <= n < len(notes) or notes[n].pitch is None:
            raise EditError(f"{ref} is no pitched note of this score.")
        notes[n] = _note(ref, notes[n], edits)
    return measure._replace(notes=tuple(notes))


def _note(ref: NoteRef, note: Note, edits: list[Edit]) -> Note:
    kinds = ["accidental" if isinstance(edit, AddAccidental) else "pitch" for edit in edits]
    if len(set(kinds)) < len(kinds):
        raise EditError(f"{ref}: two edits of its {max(kinds, key=kinds.count)}; take one of them, then check again.")
    for edit in edits:
        assert note.pitch is not None
        if isinstance(edit, SetOctave):
            note = note._replace(pitch=note.pitch._replace(octave=edit.octave))
        elif isinstance(edit, Respell):
            sign = SIGNS[edit.alter] if note.accidental else ""
            note = note._replace(pitch=Pitch(edit.step, edit.alter, edit.octave), accidental=sign)
        else:
            note = note._replace(accidental=edit.sign)
    return note


def complete(score: Score, layouts: Sequence[Layout], edits: Sequence[Edit]) -> tuple[Edit, ...]:
    """The edits, and with them the accidentals that they make necessary in the rest of the bar.

    A moved or respelled note no longer lends its accidental to the notes after it, and may need one itself.
    Nothing that was missing before is added.
    """
    after = apply(score, edits)
    extra: list[Edit] = []
    for part_id, measures in touched(edits).items():
        i = next(i for i, part in enumerate(score.parts) if part.id == part_id)
        known = {(m.measure, m.note.n) for m in missing(score.parts[i], layouts[i], measures)}
        for lack in missing(after.parts[i], layouts[i], measures):
            if (lack.measure, lack.note.n) not in known:
                assert lack.note.pitch is not None
                extra.append(AddAccidental(NoteRef(part_id, lack.measure, lack.note.n), SIGNS[lack.note.pitch.alter]))
    return (*edits, *extra)
