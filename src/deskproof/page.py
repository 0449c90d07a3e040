"""What is in force at a place of the page: key, clef, transposition, bar-repeat signs.

A ``Layout`` gathers it once for a part; edits of notes leave it as it is.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from functools import lru_cache

from deskproof.pitch import STEPS, key_alters
from deskproof.score import Clef, Key, Part, Transpose

UNPITCHED_CLEFS = ("percussion", "TAB", "none", "jianpu")
NO_TRANSPOSE = Transpose()
_NO_KEY = Key(0)
_TREBLE = Clef("G", 2)


@dataclass(frozen=True, slots=True)
class Layout:
    """The changes of one part, ready to be asked.

    ``keys[m]``: staff -> key at the beginning of measure m (0: every staff without one of its own).
    ``transposes[m]``: rows (start tick, staff or 0, transposition) in force from there on, those carried over first.
    ``clefs[staff]``: places (measure, tick) and clefs beside each other. ``repeats``: measure with a bar-repeat sign
    and no notes -> the measure it repeats. ``octave_lines[staff]``: places and the octaves by which the page shows
    the notes from there on lower than they sound. ``signatures``: the measures from which on the first staff has
    another key signature, and its fifths, from the first measure on. ``transpose_only`` is the one transposition of
    the whole part, None if it changes or differs by staff.
    """

    keys: tuple[dict[int, Key], ...]
    transposes: tuple[tuple[tuple[int, int, Transpose], ...], ...]
    clefs: dict[int, tuple[list[tuple[int, int]], list[Clef]]]
    repeats: dict[int, int]
    unread_staves: frozenset[int]
    octave_lines: dict[int, tuple[list[tuple[int, int]], list[int]]]
    signatures: tuple[tuple[int, int], ...]

    transpose_only: Transpose | None = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "transpose_only", _only(self.transposes))

    def transpose_at(self, measure: int, start: int, staff: int) -> Transpose:
        """The transposition of a staff at a tick of a measure."""
        value = NO_TRANSPOSE
        for at, of, transpose in self.transposes[measure]:
            if at <= start and (of == 0 or of == staff):
                value = transpose
        return value

    def clef_at(self, measure: int, start: int, staff: int) -> Clef:
        """The clef a note stands under; a treble clef where the file names none."""
        places, clefs = self.clefs.get(staff, ([], []))
        i = bisect_right(places, (measure, start)) - 1
        return clefs[i] if i >= 0 else _TREBLE


    def octaves_at(self, measure: int, start: int, staff: int) -> int:
        """By how many octaves an 8va or 15ma line makes the page lower than the pitch."""
        places, octaves = self.octave_lines.get(staff, ([], []))
        i = bisect_right(places, (measure, start)) - 1
        return octaves[i] if i >= 0 else 0


def _only(transposes: tuple[tuple[tuple[int, int, Transpose], ...], ...]) -> Transpose | None:
    if not any(transposes):
        return NO_TRANSPOSE
    first = transposes[0]
    if len(first) == 1 and first[0][:2] == (0, 0) and all(rows == first for rows in transposes):
        return first[0][2]
    return None


def layout_of(part: Part) -> Layout:
    """Gather the changes of a part."""
    keys: dict[int, Key] = {0: _NO_KEY}
    signatures = [(0, _NO_KEY.fifths)]
    transposes: dict[int, Transpose] = {}
    key_rows, transpose_rows = [], []
    clefs: dict[int, tuple[list[tuple[int, int]], list[Clef]]] = {}
    repeats: dict[int, int] = {}
    unread: set[int] = set()
    repeat_span = 0
    last_row: tuple[tuple[int, int, Transpose], ...] = ()
    last_keys = keys
    for i, measure in enumerate(part.measures):
        key_rows.append(last_keys)
        row = last_row
        for change in measure.changes:
            value, staff = change.value, change.staff
            if isinstance(value, Key):
                keys = {} if staff == 0 else dict(keys)
                keys[staff] = value
                last_keys = keys
                if staff < 2:
                    signatures.append((i + (change.start > 0), value.fifths))
            elif isinstance(value, Transpose):
                if staff == 0:
                    transposes.clear()
                    if change.start == 0:
                        row = ()
                transposes[staff] = value
                row = (*row, (change.start, staff, value))
                last_row = tuple((0, s, t) for s, t in sorted(transposes.items()))
            elif isinstance(value, Clef):
                places, values = clefs.setdefault(staff, ([], []))
                places.append((i, change.start))
                values.append(value)
                if value.sign in UNPITCHED_CLEFS:
                    unread.add(staff)
            elif change.kind == "measure-repeat" and isinstance(value, int):
                repeat_span = value
        transpose_rows.append(row)
        if repeat_span and i >= repeat_span and not any(n.kind != "rest" for n in measure.notes):
            repeats[i] = repeats.get(i - repeat_span, i - repeat_span)
    return Layout(
        tuple(key_rows),
        tuple(transpose_rows),
        clefs,
        repeats,
        frozenset(unread),
        _octave_lines(part),
        tuple(signatures),
    )


def _octave_lines(part: Part) -> dict[int, tuple[list[tuple[int, int]], list[int]]]:
    found: dict[int, tuple[list[tuple[int, int]], list[int]]] = {}
    for measure in part.measures:
        for sign in measure.directions:
            if sign.kind == "octave-shift":
                kind, _, size = sign.value.partition(" ")
                octaves = {"8": 1, "15": 2, "22": 3}.get(size, 1)
                places, values = found.setdefault(sign.staff, ([], []))
                places.append((measure.index, sign.start))
                values.append({"down": octaves, "up": -octaves}.get(kind, 0))
    return found


@lru_cache(maxsize=256)
def alters_of(key: Key) -> dict[str, int | float]:
    """Letter -> alteration under a key signature."""
    alters: dict[str, int | float] = dict(key_alters(key.fifths))
    for step, alter in key.alters:
        if step in STEPS:
            alters[step] = alter
    return alters
