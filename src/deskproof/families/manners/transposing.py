"""Edits that transpose some notes of a part otherwise and leave all others as they sound."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set

from deskproof.edits import ChangeRef, Edit, SetTranspose
from deskproof.families.manners.groups import Spot
from deskproof.page import Layout
from deskproof.score import CHORD, UNCHECKED, Change, NoteRef, Part, Transpose

_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)  # letters in an interval of so many semitones


def transpose_by(semitones: int) -> Transpose:
    """As files write it: whole octaves apart from the rest.

    >>> tuple(transpose_by(-14)), tuple(transpose_by(-7)), tuple(transpose_by(12))
    ((-2, -1, -1), (-7, -4, 0), (0, 0, 1))
    """
    sign = 1 if semitones > 0 else -1
    octaves, rest = divmod(abs(semitones), 12)
    return Transpose(sign * rest, sign * _STEPS[rest], sign * octaves)


def retransposed(
    part: Part, layout: Layout, inside: Set[Spot], wanted: Transpose
) -> tuple[Edit, ...]:
    """Edits that transpose the notes ``inside`` (measure, n) so, and leave all others as they are."""
    several = part.staves > 1
    staves = {note.staff for measure in part.measures for note in measure.notes if (measure.index, note.n) in inside}
    whole = all(
        (measure.index, note.n) in inside or note.flags & UNCHECKED
        for measure in part.measures
        for note in measure.notes
        if note.kind == "note"
    )
    edits: list[Edit] = []
    for staff in sorted(staves) if several and not whole else [0]:
        edits += _retransposed_staff(part, layout, inside, wanted, staff)
    return tuple(edits)


def _retransposed_staff(
    part: Part, layout: Layout, inside: Set[Spot], wanted: Transpose, staff: int
) -> Iterator[Edit]:
    notes: dict[tuple[int, int], bool] = {}
    rows: list[tuple[tuple[int, int], ChangeRef, Change]] = []
    for measure in part.measures:
        for note in measure.notes:
            if note.kind == "note" and staff in (0, note.staff) and not note.flags & UNCHECKED:
                place = (measure.index, note.start)
                notes[place] = notes.get(place, False) or (measure.index, note.n) in inside
        n = 0
        for change in measure.changes:
            if change.kind == "transpose":
                rows.append(((measure.index, change.start), ChangeRef(part.id, measure.index, n, "transpose"), change))
                n += 1
    places = sorted(notes)
    at = 0
    while at < len(places):
        end = at
        while end + 1 < len(places) and notes[places[end + 1]] == notes[places[at]]:
            end += 1
        if notes[places[at]]:
            before = places[at - 1] if at else (-1, 0)
            after = places[end + 1] if end + 1 < len(places) else None
            yield from _run(part, layout, rows, (before, places[at], places[end], after), wanted, staff)
        at = end + 1


def _run(
    part: Part,
    layout: Layout,
    rows: Sequence[tuple[tuple[int, int], ChangeRef, Change]],
    places: tuple[tuple[int, int], tuple[int, int], tuple[int, int], tuple[int, int] | None],
    wanted: Transpose,
    staff: int,
) -> Iterator[Edit]:
    """Edits for one run of notes: ``places`` are the last note before it, its first, its last, the first after it."""
    before, first, last, after = places
    own = [row for row in rows if not staff or not row[2].staff or row[2].staff == staff]
    inner = [row for row in own if before < row[0] <= last]
    for _, ref, change in inner:
        if change.value != wanted:
            yield SetTranspose(ref, int(wanted.chromatic), wanted.diatonic, wanted.octave, change.staff)
    if not any(place <= first for place, _, _ in inner):
        start = (0, 0) if before[0] < 0 and part.measures[0].notes else first
        yield _transposed_from(part, start, wanted, staff)
    if after is not None and not any(last < place <= after for place, _, _ in own):
        yield _transposed_from(part, after, layout.transpose_at(*after, staff or 1), staff)


def _transposed_from(part: Part, place: tuple[int, int], wanted: Transpose, staff: int) -> SetTranspose:
    """A transposition before the first note of the file at a place."""
    measure, start = place
    notes = part.measures[measure].notes
    n = next((note.n for note in notes if note.start == start and not note.flags & CHORD), 0)
    return SetTranspose(
        NoteRef(part.id, measure, n), int(wanted.chromatic), wanted.diatonic, wanted.octave, staff
    )
