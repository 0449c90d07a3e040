"""Where the bars of a MIDI file lie, and the rows of tempo, metre and key that stand in them.

A metre event cuts a bar wherever it stands: "these are the time signatures as they would be notated". A file
without one is in 4/4 (Standard MIDI Files 1.0, "if not specified").
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from fractions import Fraction
from typing import NamedTuple

from deskproof.midi.file import MidiError, MidiFile
from deskproof.score import Change, Direction, Key, Time

MAX_BARS = 50_000
"""A longer file is taken for damaged: one wrong byte in a delta time puts a note hours away."""

DEFAULT_TEMPO_US = 500_000  # "120 quarter notes a minute" where no tempo is set
_DEFAULT_METRE = (4, 4)


class Bar(NamedTuple):
    """One bar of all parts: its first tick, its length, and the changes that stand in it."""

    start: int
    length: int
    changes: tuple[Change, ...]


class Grid(NamedTuple):
    """Ticks a quarter of the Score, ``factor`` for each tick of the file, and the bars."""

    quarter: int
    factor: int
    bars: tuple[Bar, ...]
    starts: tuple[int, ...]

    def place(self, tick: int) -> tuple[int, int]:
        """Measure ordinal and tick in the measure of a tick of the Score; after the last bar, beyond its end."""
        i = bisect_right(self.starts, tick) - 1
        return i, tick - self.starts[i]


def lay(file: MidiFile, name: str) -> Grid:
    """Lay the bars, up to the one in which the last note begins or sounds.

    Raises
    ------
    MidiError
        If there would be more than ``MAX_BARS``.
    """
    metres = _metres(file)
    factor = math.lcm(*(Fraction(4 * beats * file.division, unit).denominator for _, beats, unit in metres))
    quarter = file.division * factor
    end = max((max(n.end, n.onset + 1) for track in file.tracks for n in track.notes), default=0) * factor
    rows: list[tuple[int, int, Change | None]] = []
    for i, (tick, beats, unit) in enumerate(metres):
        at = tick * factor
        stop = min(metres[i + 1][0] * factor, end) if i + 1 < len(metres) else end
        length = 4 * beats * quarter // unit
        if len(rows) + (stop - at) // length > MAX_BARS:
            raise MidiError(
                f"{name}: the last note ends at tick {end // factor}, after more than {MAX_BARS} bars. "
                "A time in the file is wrong; export it again."
            )
        change: Change | None = Change(0, 0, "time", Time(str(beats), unit, length))
        while at < stop or not rows:
            # Only a change of metre cuts a bar short, not the end of the music.
            cut = min(length, stop - at) if i + 1 < len(metres) and stop < end else length
            rows.append((at, cut, change))
            change = None
            at += cut
    starts = tuple(row[0] for row in rows)
    grid = Grid(quarter, factor, (), starts)
    keys: dict[int, list[Change]] = {}
    for tick, fifths in key_rows(file):
        if tick * factor < rows[-1][0] + rows[-1][1]:
            measure, start = grid.place(tick * factor)
            keys.setdefault(measure, []).append(Change(start, 0, "key", Key(fifths)))
    bars = tuple(
        Bar(at, length, (*keys.get(i, ()), *((time,) if time else ()))) for i, (at, length, time) in enumerate(rows)
    )
    return grid._replace(bars=bars)


def _metres(file: MidiFile) -> list[tuple[int, int, int]]:
    """The metres by tick, each that says something new; the file's own maps are as many as its tracks."""
    found = {0: _DEFAULT_METRE}
    if not file.smpte:
        for tick, beats, unit in file.metres:
            found[tick] = (beats, unit)
    rows: list[tuple[int, int, int]] = []
    for tick, (beats, unit) in sorted(found.items()):
        if not rows or rows[-1][1:] != (beats, unit):
            rows.append((tick, beats, unit))
    return rows


def key_rows(file: MidiFile) -> list[tuple[int, int]]:
    """(tick, fifths) by tick. Of several at one tick, as when each part brings its own, the most frequent."""
    at: dict[int, Counter[int]] = {}
    for tick, fifths, _ in file.keys:
        at.setdefault(tick, Counter())[fifths] += 1
    rows: list[tuple[int, int]] = []
    for tick, counts in sorted(at.items()):
        fifths = min(counts, key=lambda f: (-counts[f], abs(f)))
        if not rows or rows[-1][1] != fifths:
            rows.append((tick, fifths))
    return rows


def tempo_rows(file: MidiFile, grid: Grid) -> dict[int, list[Direction]]:
    """Measure ordinal -> rows ``sound:tempo``: quarters a minute as an exact fraction, such as 60000000/461538.

    The last event of a tick holds. A file whose ticks are seconds has the one tempo that makes them so.
    """
    found = {0: Fraction(DEFAULT_TEMPO_US)}
    if file.smpte:
        found[0] = file.smpte_us
    else:
        for tick, us in file.tempos:
            found[tick] = Fraction(us)
    end = grid.bars[-1].start + grid.bars[-1].length
    rows: dict[int, list[Direction]] = {}
    before = None
    for tick, quarter_us in sorted(found.items()):
        at = tick * grid.factor
        if quarter_us == before or at >= end:
            continue
        measure, start = grid.place(at)
        here = rows.setdefault(measure, [])
        here.append(Direction(len(here), start, 1, "sound:tempo", str(Fraction(60_000_000) / quarter_us), hidden=True))
        before = quarter_us
    return rows
