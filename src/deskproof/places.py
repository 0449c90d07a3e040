"""Bar and beat of a finding, as data and in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from deskproof.findings import Finding
from deskproof.score import GRACE
from deskproof.state import State

_HALVES = {
    Fraction(1, 2): "½", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔", Fraction(1, 4): "¼", Fraction(3, 4): "¾",
    Fraction(1, 8): "⅛", Fraction(3, 8): "⅜", Fraction(5, 8): "⅝", Fraction(7, 8): "⅞", Fraction(1, 6): "⅙",
    Fraction(5, 6): "⅚", Fraction(1, 5): "⅕", Fraction(2, 5): "⅖", Fraction(3, 5): "⅗", Fraction(4, 5): "⅘",
}  # fmt: skip
_UNITS = {2: "half", 4: "beat", 8: "eighth", 16: "sixteenth"}


@dataclass(frozen=True, slots=True)
class Spot:
    """A place as a musician says it: ``bar`` as printed, ``beat`` from 1 in units of the metre's denominator."""

    bar: str
    beat: Fraction
    unit: int
    onset_us: int
    metre: str

    @property
    def words(self) -> str:
        """``bar 12, beat 2½``; where the metre counts eighths, ``bar 12, eighth 4 of 6/8``."""
        whole, rest = divmod(self.beat, 1)
        part = _HALVES.get(rest, f" {rest}" if rest else "")
        count = f"{whole}{part}"
        if self.unit in (4, 2):
            return f"bar {self.bar}, {_UNITS[self.unit]} {count}"
        return f"bar {self.bar}, {_UNITS.get(self.unit, f'1/{self.unit}')} {count} of {self.metre}"


def bar_number(state: State, part: int, measure: int) -> str:
    """The printed number of a measure; where none is printed, its ordinal from 1."""
    return state.score.parts[part].measures[measure].number or str(measure + 1)


def where(state: State, finding: Finding) -> str:
    """The place of a finding in words: ``Flute 2, bar 16, beat 1``."""
    part = state.score.parts[finding.place.part]
    return f"{part.name or part.id}, {spot_of(state, finding).words}"


def spot(state: State, part: int, measure: int, start: int) -> Spot:
    """The place of a tick of a measure, at its first playing."""
    frame = state.timeline.frame
    _, unit, _, beats = frame.metres[measure]
    beat = 1 + Fraction(start * unit, 4 * frame.grid)
    onset = frame.first_onset.get(measure, 0) + start
    return Spot(bar_number(state, part, measure), beat, unit, frame.clock.floor_us(onset), f"{beats}/{unit}")


def spot_of(state: State, finding: Finding) -> Spot:
    """The place of a finding; a grace note's onset is the one it is played at, before the beat."""
    place = finding.place
    found = spot(state, place.part, place.measure, place.start)
    part = state.score.parts[place.part]
    ref = finding.notes[0] if finding.notes else None
    if ref is None or not part.measures[ref.measure].notes[ref.n].flags & GRACE:
        return found
    events = state.timeline.parts[place.part]
    event = next((e for e in events if (e.measure, e.note.n) == (ref.measure, ref.n)), None)
    return found if event is None else replace(found, onset_us=state.timeline.frame.times_us(event)[0])
