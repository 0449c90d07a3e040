"""The mends taken so far, round after round, and how one of them is taken back.

A round is what was taken on one checked document: its edits all name the notes of that document, so they are one step.
The next round names the notes of the document that the round before has made. Taking a mend back replays document 0
with all others, and later rounds are told where their notes stand now.

A later mend stays for as long as its notes stand as they stood when it was taken: there still, and with the same pitch,
place and length; where it writes a rest, in the same chord. It is dropped, and named, where a note has gone or reads
otherwise, or where two edits would set one thing. It is not judged again by itself: the check of the whole score that
follows says what is wrong now, and a mend that was dropped is offered again if its finding has come back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from deskproof.document import Document
from deskproof.edits import AddEdit, ChangeRef, Edit, EditError, Omit, Shorten, SignEdit, Silence, apply
from deskproof.findings import Effect
from deskproof.score import CHORD, Change, Measure, Note, NoteRef, Part, Score

Origin = int | tuple[int, int]  # a note of document 0 by its ordinal, or the rest behind the note at an ordinal then


@dataclass(frozen=True, slots=True)
class TakenMend:
    """One line of the list: what was taken for which finding.

    ``number`` counts from 1 and is never given again; ``finding`` is the finding's id, ``trouble`` the finding in
    words, ``says`` the mend in words, ``where`` the place as ``Flute 2, bar 16, beat 1``.
    """

    number: int
    finding: str
    trouble: str
    says: str
    effect: Effect
    edits: tuple[Edit, ...]
    where: str


Round = tuple[TakenMend, ...]


def edits_of(mends: Iterable[TakenMend]) -> tuple[Edit, ...]:
    """The edits of the mends of one round, each once."""
    return tuple(dict.fromkeys(edit for mend in mends for edit in mend.edits))


def replayed(first: Document, rounds: Iterable[Round]) -> Document:
    """Document 0 with all rounds, one step each.

    Raises
    ------
    EditError
        If a mend does not fit.
    """
    document = first
    for mends in rounds:
        document = document.with_edits(edits_of(mends))
    return document


def without(first: Document, rounds: Sequence[Round], number: int) -> tuple[tuple[Round, ...], tuple[TakenMend, ...]]:
    """The rounds without the mend of a number, and the later mends that no longer fit. Empty rounds are left out."""
    old = new = first
    kept: list[Round] = []
    dropped: list[TakenMend] = []
    for mends in rounds:
        now: Round = ()
        for mend in mends:
            if mend.number == number:
                continue
            told = _told_again(mend, old, new)
            if told is not None and _goes(new.score, edits_of((*now, told))):
                now = (*now, told)
            else:
                dropped.append(mend)
        old = old.with_edits(edits_of(mends))
        if now:
            kept.append(now)
            new = new.with_edits(edits_of(now))
    return tuple(kept), tuple(dropped)


def _goes(score: Score, edits: Sequence[Edit]) -> bool:
    try:
        apply(score, edits)
    except EditError:
        return False
    return True


def _told_again(mend: TakenMend, old: Document, new: Document) -> TakenMend | None:
    """A mend with its edits naming the notes of another document; None if one of them is not there as it was."""
    if old.steps == new.steps:
        return mend
    edits = [_moved(edit, old, new) for edit in mend.edits]
    there = tuple(edit for edit in edits if edit is not None)
    return replace(mend, edits=there) if len(there) == len(edits) else None


def _moved(edit: Edit, old: Document, new: Document) -> Edit | None:
    if isinstance(edit, AddEdit):
        return edit  # it names a place and no note
    if isinstance(edit.note, ChangeRef):
        change = _same_change(edit.note, old.score, new.score)
        return None if change is None else replace(edit, note=change)
    ref = _same_note(edit.note, old, new)
    if ref is None:
        return None
    before, now = _note_at(old.score, edit.note), _note_at(new.score, ref)
    if isinstance(edit, SignEdit):  # it stands before the note, whatever its pitch
        same = (before.start, before.flags & CHORD) == (now.start, now.flags & CHORD)
    else:
        same = _stands(before) == _stands(now)
    if same and isinstance(edit, Silence | Shorten):  # the rest that comes is one for the whole chord
        same = _chord(edit.note, old) == _chord(ref, new)
    return replace(edit, note=ref) if same else None


def _stands(note: Note) -> Note:
    """A note without what a mend may print on it and without its ordinal."""
    return note._replace(n=0, accidental="", marks=())


def _same_note(ref: NoteRef, old: Document, new: Document) -> NoteRef | None:
    """Where the note that stands at ``ref`` in one document stands in the other; both come from one document 0."""
    origin = _origins(ref, old)[ref.n]
    now = _origins(ref, new)
    return ref._replace(n=now.index(origin)) if origin in now else None


def _origins(ref: NoteRef, document: Document) -> list[Origin]:
    """For each note of the measure as it is now, which note of document 0 it is, or which rest behind one."""
    steps = [[edit for edit in step if _counts_anew(edit, ref)] for step in document.steps]
    omitted = sum(isinstance(edit, Omit) for step in steps for edit in step)
    added = sum(len(step) for step in steps) - omitted
    rows: list[Origin] = list(range(len(_measure_of(document.score, ref).notes) + omitted - added))
    for step in steps:
        gone = {edit.note.n for edit in step if isinstance(edit, Omit)}
        shorter = {edit.note.n: edit.length for edit in step if isinstance(edit, Shorten)}
        then: list[Origin] = []
        for n, row in enumerate(rows):
            if n not in gone:
                then.append(row)
            if n in shorter:
                then.append((row if isinstance(row, int) else row[0], shorter[n]))
        rows = then
    return rows


def _chord(ref: NoteRef, document: Document) -> list[Origin]:
    """Which notes sound with one as a chord, itself with them, in order."""
    notes = _measure_of(document.score, ref).notes
    first = last = ref.n
    while first > 0 and notes[first].flags & CHORD:
        first -= 1
    while last + 1 < len(notes) and notes[last + 1].flags & CHORD:
        last += 1
    return _origins(ref, document)[first : last + 1]


def _counts_anew(edit: Edit, ref: NoteRef) -> bool:
    """Whether an edit makes other ordinals in the measure of a note: one goes, or a rest comes."""
    if isinstance(edit, Omit):
        return edit.note[:2] == ref[:2]
    return isinstance(edit, Shorten) and edit.rest is not None and edit.note[:2] == ref[:2]


def _same_change(ref: ChangeRef, old: Score, new: Score) -> ChangeRef | None:
    """Where a key, clef or transposition of one score stands in the other; of equal ones the same in order."""
    before = _changes(old, ref)
    change = before[ref.n]
    ordinal = before[: ref.n].count(change)
    now = [n for n, other in enumerate(_changes(new, ref)) if other == change]
    return ref._replace(n=now[ordinal]) if ordinal < len(now) else None


def _changes(score: Score, ref: ChangeRef) -> list[Change]:
    return [change for change in _part(score, ref.part).measures[ref.measure].changes if change.kind == ref.kind]


def _measure_of(score: Score, ref: NoteRef) -> Measure:
    return _part(score, ref.part).measures[ref.measure]


def _note_at(score: Score, ref: NoteRef) -> Note:
    return _measure_of(score, ref).notes[ref.n]


def _part(score: Score, part_id: str) -> Part:
    return next(part for part in score.parts if part.id == part_id)
