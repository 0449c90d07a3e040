"""Accidentals the notes need and the page lacks.

The rule of the trade: an accidental holds for its staff place to the end of the bar; a tie carries it over the
bar line for the tied note alone. Here a note right after such a tied note is let pass in either form, since
publishers differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from deskproof.page import Layout, alters_of
from deskproof.score import GRACE, HIDDEN, TIE_STOP, UNCHECKED, Key, Note, Part

SIGNS: dict[int | float, str] = {
    -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
    -1.5: "three-quarters-flat", -0.5: "quarter-flat", 0.5: "quarter-sharp", 1.5: "three-quarters-sharp",
}  # fmt: skip


class Missing(NamedTuple):
    """A note whose accidental is not printed, and what a reader would take it for."""

    measure: int
    note: Note
    read_as: int | float


def missing(part: Part, layout: Layout, measures: Iterable[int] | None = None) -> Iterator[Missing]:
    """The notes of a part, or of some of its measures, that lack an accidental, in page order."""
    for index in range(len(part.measures)) if measures is None else sorted(set(measures)):
        if 0 <= index < len(part.measures) and any(note.pitch for note in part.measures[index].notes):
            yield from _in_measure(part, index, layout.keys[index], layout.unread_staves)


def _in_measure(part: Part, index: int, keys: dict[int, Key], unread: frozenset[int]) -> Iterator[Missing]:
    measure = part.measures[index]
    plain = [c for c in measure.changes if isinstance(c.value, Key)]
    if not plain and len(keys) == 1:
        signature = alters_of(next(iter(keys.values())))
        for note in measure.notes:
            pitch = note.pitch
            if pitch is not None and (note.accidental or pitch.alter != signature[pitch.step]):
                break
        else:
            return  # nothing but the notes of the key
    notes = [n for n in measure.notes if n.pitch is not None and not n.flags & HIDDEN and n.staff not in unread]
    for staff, group in groupby(sorted(notes, key=_reading_order), key=lambda n: n.staff):
        signature = alters_of(keys.get(staff, keys.get(0, Key(0))))
        changes = [c for c in plain if c.staff in (0, staff)]
        state: dict[int, set[int | float]] = {}
        for _, at_once in groupby(group, key=lambda n: (n.start, not n.flags & GRACE)):
            now = list(at_once)
            while changes and changes[0].start <= now[0].start:
                key = changes.pop(0).value
                assert isinstance(key, Key)
                signature = alters_of(key)
                state.clear()
            yield from _at_once(index, now, signature, state)


def _reading_order(note: Note) -> tuple[int, int, bool, int]:
    return note.staff, note.start, not note.flags & GRACE, note.n


def _at_once(
    index: int, now: list[Note], signature: dict[str, int | float], state: dict[int, set[int | float]]
) -> Iterator[Missing]:
    printed: dict[int, set[int | float]] = {}
    for note in now:
        if note.accidental and note.pitch is not None:
            printed.setdefault(note.pitch.line, set()).add(note.pitch.alter)
    for note in now:
        pitch = note.pitch
        if pitch is None or note.accidental or note.flags & UNCHECKED:
            continue
        line, alter = pitch.line, pitch.alter
        before = state.get(line)
        if alter in printed.get(line, ()) or alter in (before or (signature[pitch.step],)):
            continue
        if note.flags & TIE_STOP:
            state[line] = {alter, *(before or (signature[pitch.step],))}
        elif alter == int(alter) and note.marked("accidental-mark") is None:
            yield Missing(index, note, min(before) if before else signature[pitch.step])
            state[line] = {alter}
    state.update(printed)
