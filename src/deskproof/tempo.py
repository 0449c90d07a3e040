"""Ticks to microseconds: the tempo at each place, and how sure it is.

A printed metronome mark beats a hidden playback figure at the same place. Words alone give a guess.
Microseconds are exact to the tick and rounded once: releases up, deadlines down.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts, words
from deskproof.score import Direction, Score, Time

_UNITS = {
    "maxima": Fraction(32), "long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2),
    "quarter": Fraction(1), "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16), "128th": Fraction(1, 32), "256th": Fraction(1, 64),
}  # fmt: skip
MARKED, HIDDEN, WORDS, DEFAULT = "marked", "hidden", "words", "default"
_RANK = {MARKED: 3, HIDDEN: 2, WORDS: 1, DEFAULT: 0}
MAX_QPM = Fraction(2000)


class Tempo(NamedTuple):
    """The tempo from a place on: quarters a minute, where it comes from, and whether the time is free.

    ``free`` covers ritardando, ad libitum, cadenza, colla parte: the figure stands, but no one holds to it.
    """

    measure: int
    start: int
    qpm: Fraction
    basis: str
    free: bool
    text: str = ""

    @property
    def fixed(self) -> bool:
        """Whether the composer fixed this tempo in print."""
        return self.basis == MARKED and not self.free

    @property
    def told(self) -> bool:
        """Whether anything at all tells it: a mark, words, or playback data."""
        return self.basis != DEFAULT


@lru_cache(maxsize=256)
def beat_unit(text: str) -> Fraction | None:
    """The length in quarters of a MusicXML beat unit with its dots (``quarter.`` = 3/2).

    >>> beat_unit("quarter."), beat_unit("half")
    (Fraction(3, 2), Fraction(2, 1))
    """
    name = text.rstrip(".")
    length = _UNITS.get(name)
    if length is None:
        return None
    dots = len(text) - len(name)
    return length * (2 - Fraction(1, 2**dots))


def tempos(score: Score) -> list[Tempo]:
    """All changes of tempo in page order; the first always stands at the beginning.

    Of several at one place the printed one wins, then the hidden one, then the guess from words.
    """
    found: dict[tuple[int, int], dict[str, tuple[Fraction | None, str]]] = {}
    playback = MARKED if score.extra.get("played") == "yes" else HIDDEN  # a played file's own times count as fixed
    for part in score.parts:
        beat = Fraction(1)
        for measure in part.measures:
            for change in measure.changes:
                if isinstance(change.value, Time):
                    beat = beat_of(change.value)
            for row in measure.directions:
                if row.kind in _TEMPO_KINDS:
                    _note_tempo(row, found.setdefault((measure.index, row.start), {}), beat, playback)
    return _in_order(found)


@lru_cache(maxsize=256)
def beat_of(time: Time) -> Fraction:
    """The beat that a tempo word counts, in quarters: 6/8 goes in dotted quarters.

    2/2 is taken in quarters, the slower reading: a guess should err to the side of the player.

    >>> beat_of(Time("6", 8, 0)), beat_of(Time("2", 2, 0))
    (Fraction(3, 2), Fraction(1, 1))
    """
    unit = min(Fraction(4, time.beat_type or 4), Fraction(1))
    count = int(time.beats) if time.beats.isdecimal() else 0
    return 3 * unit if count % 3 == 0 and count > 3 and time.beat_type >= 8 else unit


_TEMPO_KINDS = {"metronome", "sound:tempo", "words"}


def _note_tempo(
    row: Direction, here: dict[str, tuple[Fraction | None, str]], beat: Fraction, playback: str
) -> None:
    if row.kind == "metronome":
        left, _, right = row.value.partition(" = ")
        unit = beat_unit(left)
        if unit is None or not right:
            return
        other = beat_unit(right)
        if other is not None:
            here.setdefault("ratio", (other / unit, row.value))
            return
        figure = _per_minute(right)
        if figure is not None:
            here.setdefault(HIDDEN if row.hidden else MARKED, (figure * unit, row.value))
    elif row.kind == "sound:tempo":
        figure = _exact(row.value) or _per_minute(row.value)
        if figure is not None:
            here.setdefault(playback, (figure, ""))
    else:
        for meaning in words.meanings(row.value):
            if meaning.kind == "tempo":
                fact = facts.find(f"tempo.{meaning.value}")
                here.setdefault(WORDS, (Fraction(fact.value) * beat if fact else None, row.value.strip()))
            elif meaning.kind in ("tempo-change", "unfixed"):
                here.setdefault("free", (None, row.value.strip()))
            elif meaning.kind == "a-tempo":
                here.setdefault("a-tempo", (None, row.value.strip()))


def _exact(text: str) -> Fraction | None:
    """Quarters a minute as the MIDI reader writes them, such as 60000000/461538; None in any other form."""
    top, slash, low = text.partition("/")
    if not (slash and top.isdecimal() and low.isdecimal() and int(top) and int(low)):
        return None
    return Fraction(int(top), int(low))


@lru_cache(maxsize=1024)
def _per_minute(text: str) -> Fraction | None:
    """The figure of "120", "ca. 96", "100-110" (its middle); None if there is none or it is not above zero."""
    figures = []
    piece = ""
    for char in text.replace(",", ".") + " ":
        if char.isdecimal() or (char == "." and piece):
            piece += char
        elif piece:
            figures.append(Fraction(".".join(piece.split(".")[:2]).rstrip(".")))
            piece = ""
    if not figures:
        return None
    figure = sum(figures[:2], Fraction(0)) / len(figures[:2])
    return min(figure, MAX_QPM) if figure > 0 else None


def _in_order(found: dict[tuple[int, int], dict[str, tuple[Fraction | None, str]]]) -> list[Tempo]:
    default = Fraction(facts.get("time.unsaid_tempo").value)
    rows = [Tempo(0, 0, default, DEFAULT, False)]
    settled = rows[0]  # the last tempo that was not a passing change
    for (measure, start), here in sorted(found.items()):
        last = rows[-1]
        qpm, basis, free, text = last.qpm, last.basis, last.free, last.text
        if "a-tempo" in here:
            qpm, basis, free, text = settled.qpm, settled.basis, False, settled.text
        for kind in (WORDS, HIDDEN, MARKED):
            figure, said = here.get(kind, (None, ""))
            if figure is None:
                continue
            if kind == HIDDEN and basis == MARKED and (free or "a-tempo" in here or "free" in here):
                qpm = figure  # playback data of a ritardando, or of the return after it
                continue
            if kind == WORDS and (HIDDEN in here or MARKED in here):
                text = said
                continue
            qpm, basis, free, text = figure, kind, False, said or text
        if "ratio" in here:
            ratio, said = here["ratio"]
            if ratio is not None and MARKED not in here:
                qpm, text = last.qpm * ratio, said
        if "free" in here:
            free = True
        row = Tempo(measure, start, qpm, basis, free, text)
        if not free and (basis != HIDDEN or "a-tempo" in here or WORDS in here or settled.basis == DEFAULT):
            settled = row
        if (measure, start) == (0, 0):
            rows = [row]
        else:
            rows.append(row)
    return rows


class Clock:
    """Ticks of the playing order to microseconds.

    Parameters
    ----------
    stretches : list of (tick, Tempo)
        Each tempo with the tick of the playing order at which it takes over; the first at tick 0.
    grid : int
        Ticks a quarter.
    """

    def __init__(self, stretches: list[tuple[int, Tempo]], grid: int) -> None:
        self.ticks: list[int] = []
        self.tempos: list[Tempo] = []
        self._line: list[tuple[int, int, int]] = []  # us = (a + b * tick) / d
        at = slope = Fraction(0)
        for tick, tempo in stretches:
            if self.ticks:
                at += (tick - self.ticks[-1]) * slope
                if tick == self.ticks[-1]:
                    for row in (self.ticks, self.tempos, self._line):
                        row.pop()
            slope = Fraction(60_000_000, 1) / (tempo.qpm * grid)
            base = at - slope * tick
            d = base.denominator * slope.denominator
            self._line.append((int(base * d), int(slope * d), d))
            self.ticks.append(tick)
            self.tempos.append(tempo)
        self._starts = [(a + b * tick) // d for (a, b, d), tick in zip(self._line, self.ticks, strict=True)]

    def floor_us(self, tick: int) -> int:
        """Microseconds at a tick, rounded down (deadlines, onsets)."""
        a, b, d = self._line[bisect_right(self.ticks, tick) - 1]
        return (a + b * tick) // d

    def ceil_us(self, tick: int) -> int:
        """Microseconds at a tick, rounded up (releases, ends)."""
        a, b, d = self._line[bisect_right(self.ticks, tick) - 1]
        return -((-a - b * tick) // d)

    def tick_at(self, us: int) -> int:
        """The last tick whose time, rounded down, is not after ``us`` microseconds."""
        a, b, d = self._line[max(0, bisect_right(self._starts, us) - 1)]
        return ((us + 1) * d - a - 1) // b

    def tempo_at(self, tick: int) -> Tempo:
        """The tempo in force at a tick."""
        return self.tempos[bisect_right(self.ticks, tick) - 1]

    def tempo_at_us(self, us: int) -> Tempo:
        """The tempo in force at a time; before the beginning, that of the beginning."""
        return self.tempo_at(self.tick_at(max(us, 0)))
