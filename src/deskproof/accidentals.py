"""Accidentals the notes need and the page lacks.

The rule of the trade: an accidental holds for its staff place to the end of the bar; a tie carries it over the
bar line for the tied note alone. Here a note right after such a tied note is let pass in either form, since
publishers differ.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby, islice, pairwise
from typing import NamedTuple

from deskproof import facts
from deskproof.page import Layout, alters_of
from deskproof.pitch import Pitch
from deskproof.score import GRACE, HIDDEN, TIE_START, TIE_STOP, UNCHECKED, Key, Note, Part, Score

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
        if 0 <= index < len(part.measures):
            for note in part.measures[index].notes:
                if note.pitch is not None:
                    yield from _in_measure(part, index, layout.keys[index], layout.unread_staves, layout)
                    break


def _in_measure(
    part: Part, index: int, keys: dict[int, Key], unread: frozenset[int], layout: Layout
) -> Iterator[Missing]:
    measure = part.measures[index]
    plain = [c for c in measure.changes if isinstance(c.value, Key)]
    if not plain and len(keys) == 1:
        signature = alters_of(next(iter(keys.values())))
        if _plainly_right(measure.notes, signature):
            return
        if not _under_octave_line(layout, index) and _carried(measure.notes, signature):
            return
    notes = [n for n in measure.notes if n.pitch is not None and not n.flags & HIDDEN and n.staff not in unread]
    tied = _tied_into(part, index)
    for staff, group in groupby(sorted(notes, key=_reading_order), key=lambda n: n.staff):
        reader = _Staff(alters_of(keys.get(staff, keys.get(0, Key(0)))), tied)
        changes = [c for c in plain if c.staff in (0, staff)]
        for (start, _), at_once in groupby(group, key=lambda n: (n.start, not n.flags & GRACE)):
            while changes and changes[0].start <= start:
                key = changes.pop(0).value
                assert isinstance(key, Key)
                reader = _Staff(alters_of(key), tied)
            for note, read_as in reader.at_once(list(at_once), layout.octaves_at(index, start, staff)):
                yield Missing(index, note, read_as)


def _plainly_right(notes: Iterable[Note], signature: dict[str, int | float]) -> bool:
    """Whether every note bears its own sign, or is in the key on a line where no sign is printed in the bar.

    Most bars are so, and need no closer look.
    """
    signed: set[tuple[str, int]] = set()
    bare: list[tuple[str, int]] = []
    for note in notes:
        pitch = note.pitch
        if pitch is None:
            continue
        step, alter, octave = pitch
        if note.accidental:
            signed.add((step, octave))
        elif alter != signature[step]:
            return False
        else:
            bare.append((step, octave))
    return not signed or signed.isdisjoint(bare)


def _under_octave_line(layout: Layout, index: int) -> bool:
    """Whether an octave line is in force or changes in a measure, on any staff."""
    for places, octaves in layout.octave_lines.values():
        i = bisect_left(places, (index, 0))
        if (i and octaves[i - 1]) or (i < len(places) and places[i][0] == index):
            return True
    return False


def _carried(notes: Iterable[Note], signature: dict[str, int | float]) -> bool:
    """Whether every note bears its own sign or goes by the last one on its line in the bar.

    Grace notes, notes that are not checked, and two signs at once on one line are left to the closer look.
    """
    rows = [note for note in notes if note.pitch is not None]
    if any(note.flags & (GRACE | UNCHECKED) for note in rows):
        return False
    if any(two.start < one.start for one, two in pairwise(rows)):
        rows.sort(key=lambda note: note.start)
    heard: dict[tuple[int, str, int], int | float] = {}
    fresh: dict[tuple[int, str, int], int | float] = {}  # signs of the moment
    start = -1
    for note in rows:
        if note.start != start:
            heard.update(fresh)
            fresh.clear()
            start = note.start
        assert note.pitch is not None
        step, alter, octave = note.pitch
        line = note.staff, step, octave
        if note.accidental:
            if fresh.setdefault(line, alter) != alter:
                return False
        elif heard.get(line, signature[step]) != alter:
            return False
    return True


def _reading_order(note: Note) -> tuple[int, int, bool, int]:
    return note.staff, note.start, not note.flags & GRACE, note.n


def _tied_into(part: Part, index: int) -> set[tuple[Pitch | None, int]]:
    """Pitch and tick of the notes of a measure that a tie leads to, whether or not the tie is closed there."""
    found = {
        (note.pitch, note.start + note.length) for note in part.measures[index].notes if note.flags & TIE_START
    }
    if index > 0:
        before = part.measures[index - 1]
        found |= {
            (note.pitch, 0)
            for note in before.notes
            if note.flags & TIE_START and note.start + note.length >= before.length
        }
    return found


def as_exported(score: Score, layouts: Sequence[Layout]) -> Score:
    """The score, marked as carrying no accidentals if it prints none at all although many notes need one."""
    printed = (note.accidental for part in score.parts for measure in part.measures for note in measure.notes)
    if not score.prints_accidentals or any(printed):
        return score
    lacks = (lack for part, layout in zip(score.parts, layouts, strict=True) for lack in missing(part, layout))
    habit = facts.get("export.accidentals_habit").value
    if len(list(islice(lacks, habit))) < habit:
        return score
    return replace(score, prints_accidentals=False)


class _Staff:
    """Which alterations a reader takes for granted on each line of a staff, as the bar goes on.

    Under an octave line the page shows a note on another line than its pitch says, and exporters end the line now
    before, now after its last note: both readings are kept, and a sign is missing only if it is so in both.
    """

    def __init__(self, signature: dict[str, int | float], tied: set[tuple[Pitch | None, int]]) -> None:
        self.signature, self.tied = signature, tied
        self.heard: dict[int, set[int | float]] = {}  # by the pitch's own line
        self.seen: dict[int, set[int | float]] = {}  # by the printed line

    def at_once(self, notes: list[Note], octaves: int) -> Iterator[tuple[Note, int | float]]:
        """The notes of one moment that lack an accidental, and the alteration a reader would give them."""
        printed: dict[int, set[int | float]] = {}
        for note in notes:
            if note.accidental and note.pitch is not None:
                printed.setdefault(note.pitch.line, set()).add(note.pitch.alter)
        for note in notes:
            pitch = note.pitch
            if pitch is None or note.accidental or note.flags & UNCHECKED:
                continue
            line, alter = pitch.line, pitch.alter
            usual = {self.signature[pitch.step]}
            before = self.heard.get(line, usual)
            if alter in printed.get(line, ()) or alter in before or alter in self.seen.get(line - 7 * octaves, usual):
                continue
            if note.flags & TIE_STOP or (pitch, note.start) in self.tied:
                self._take(line, octaves, {alter, *before})
            elif alter == int(alter) and note.marked("accidental-mark") is None:
                yield note, min(before)
                self._take(line, octaves, {alter, *before})
        for line, alters in printed.items():
            self._take(line, octaves, alters)

    def _take(self, line: int, octaves: int, alters: set[int | float]) -> None:
        self.heard[line] = alters
        self.seen[line - 7 * octaves] = alters
