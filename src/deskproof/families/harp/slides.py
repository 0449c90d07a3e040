"""Glissandi as they are written: a line from one note to another, and the setting that page or notes give for it.

The trade writes a diagram before it, or the first seven notes and then the line: these are the seven strings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from deskproof.families.harp.model import LETTERS, String
from deskproof.families.harp.printed import GLISSANDI, Printed
from deskproof.score import CHORD, GRACE, Measure, Note, Part

SEVEN = len(LETTERS)


class Slide(NamedTuple):
    """One glissando of the page: measure and ordinal of its first and last note (None: it has no end).

    ``setting`` by letter, where the page gives one, and ``source``: printed, notes, or empty.
    """

    start: tuple[int, int]
    end: tuple[int, int] | None
    setting: Mapping[str, int] | None
    source: str


def slides(part: Part, signs: Sequence[Printed]) -> tuple[Slide, ...]:
    """The glissandi of a part that are drawn as lines, in page order; chords slide with their lowest note."""
    begun: dict[tuple[str, str], tuple[int, int]] = {}
    found: list[tuple[tuple[int, int], tuple[int, int] | None]] = []
    for measure in part.measures:
        for note in measure.notes:
            for mark in note.marks:
                if mark.kind not in GLISSANDI:
                    continue
                key = mark.kind, mark.number
                if mark.value == "stop" and key in begun:
                    found.append((begun.pop(key), (measure.index, note.n)))
            for mark in note.marks:
                if mark.kind in GLISSANDI and mark.value == "start":
                    key = mark.kind, mark.number
                    if key in begun:
                        found.append((begun[key], None))
                    begun[key] = (measure.index, note.n)
    found += [(start, None) for start in begun.values()]
    return tuple(_slide(part, start, end, signs) for start, end in sorted(found, key=lambda row: row[0]))


def _slide(
    part: Part, start: tuple[int, int], end: tuple[int, int] | None, signs: Sequence[Printed]
) -> Slide:
    note = part.measures[start[0]].notes[start[1]]
    printed = _printed_at(start[0], note.start, signs)
    if printed is not None:
        return Slide(start, end, printed, "printed")
    upwards = _upwards(part, start, end)
    written = _first_notes(part, start, upwards) if upwards is not None else None
    return Slide(start, end, written, "notes" if written else "")


def _printed_at(measure: int, start: int, signs: Sequence[Printed]) -> dict[str, int] | None:
    """The setting of a diagram in this bar or the one before, with the changes printed since."""
    stands: dict[str, int] | None = None
    for sign in sorted(signs, key=lambda one: (one.measure, one.start)):
        if (sign.measure, sign.start) > (measure, start) or sign.trouble:
            continue
        if sign.whole and sign.measure >= measure - 1:
            stands = dict(sign.positions)
        elif stands is not None:
            stands.update(sign.positions)
    return stands


def _upwards(part: Part, start: tuple[int, int], end: tuple[int, int] | None) -> bool | None:
    one = part.measures[start[0]].notes[start[1]].pitch
    two = part.measures[end[0]].notes[end[1]].pitch if end is not None else None
    return None if one is None or two is None or one.midi == two.midi else two.midi > one.midi


def _first_notes(part: Part, start: tuple[int, int], upwards: bool) -> dict[str, int] | None:
    """The strings of the seven notes that lead into the line, itself included; None if they are fewer."""
    row = [n for m in part.measures[max(0, start[0] - 1) : start[0] + 1] for n in _line(m, part, start)]
    found: list[Note] = []
    for note in reversed(row):
        if note.pitch is None or note.pitch.alter not in (-1, 0, 1):
            break
        if found:
            after = found[-1].pitch
            assert after is not None
            step = String(after.step, after.octave).line - String(note.pitch.step, note.pitch.octave).line
            if step != (1 if upwards else -1):
                break
        found.append(note)
        if len(found) == SEVEN:
            return {n.pitch.step: int(n.pitch.alter) for n in found if n.pitch is not None}
    return None


def _line(measure: Measure, part: Part, start: tuple[int, int]) -> list[Note]:
    """The single notes of the start's voice in a measure, up to the start."""
    of = part.measures[start[0]].notes[start[1]]
    rows = [
        n
        for n in measure.notes
        if (n.voice, n.staff) == (of.voice, of.staff)
        and not n.flags & CHORD
        and (measure.index < start[0] or n.start < of.start or (n.start == of.start and n.n <= of.n))
    ]
    return sorted(rows, key=lambda n: (n.start, not n.flags & GRACE, n.n))
