"""Pieces of a <note> element: its length, its pitch, its notations."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from lxml import etree

from deskproof.pitch import STEPS, Pitch, spelled
from deskproof.score import Mark

LONGEST_NUMBER = 40


class FinerGrid(Exception):
    """A duration does not fall on the grid; reading starts again with a grid ``factor`` times finer."""

    def __init__(self, factor: int) -> None:
        super().__init__(factor)
        self.factor = factor


def number(text: str | None) -> int | Fraction | None:
    """A decimal number of the file, exactly; None where there is none.

    >>> number(" 12 "), number("0.5"), number("x")
    (12, Fraction(1, 2), None)
    """
    if text is None or len(text) > LONGEST_NUMBER:
        return None
    try:
        return int(text)
    except ValueError:
        pass
    if "e" in text or "E" in text or "/" in text:
        return None  # XML knows no such decimals, and a large exponent would fill the memory
    try:
        value = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        return None
    return int(value) if value.denominator == 1 else value


LOWEST_OCTAVE, HIGHEST_OCTAVE, WIDEST_ALTER = -1, 10, 4  # beyond them a pitch cannot be meant


class Scale:
    """Divisions to ticks: ``up`` ticks make ``down`` divisions (``down`` is 1 in all ordinary files)."""

    __slots__ = ("_known", "down", "up")

    def __init__(self, grid: int, divisions: int | Fraction = 1) -> None:
        exact = grid / Fraction(divisions)
        self.up, self.down = exact.numerator, exact.denominator
        self._known: dict[str | None, int] = {None: 0}

    def ticks(self, text: str | None) -> int:
        """A duration as ticks; a missing or negative one counts as 0.

        Raises
        ------
        FinerGrid
            If it falls between two ticks.
        """
        known = self._known.get(text)
        if known is None:
            value = number(text)
            exact = Fraction(max(value, 0) * self.up, self.down) if value is not None else Fraction(0)
            if exact.denominator != 1:
                raise FinerGrid(exact.denominator)
            known = self._known[text] = int(exact)
        return known


@lru_cache(maxsize=4096)
def pitch_of(step: str | None, alter: str | None, octave: str | None) -> Pitch | None:
    """The pitch of these three texts; None if they name none."""
    step = (step or "").strip()
    figure = number(alter) or 0
    height = number(octave)
    if len(step) != 1 or step not in STEPS or not isinstance(height, int):
        return None
    if not (LOWEST_OCTAVE <= height <= HIGHEST_OCTAVE and -WIDEST_ALTER <= figure <= WIDEST_ALTER):
        return None
    return spelled(step, int(figure) if figure == int(figure) else float(figure), height)


def display(element: etree._Element) -> list[Mark]:
    """Where an unpitched note stands on its staff, as a mark."""
    step, octave = element.findtext("display-step"), element.findtext("display-octave")
    return [Mark("display", step.strip(), octave.strip())] if step and octave else []


mark = lru_cache(maxsize=4096)(Mark)  # the same few marks come again and again


def notations(element: etree._Element, marks: list[Mark]) -> None:
    """Flatten the notations; groups (articulations, technical, ornaments) give their children."""
    for child in element:
        tag = child.tag
        if tag == "slur" or tag == "arpeggiate" or tag == "non-arpeggiate":
            value = child.get("direction") if tag == "arpeggiate" else child.get("type")
            marks.append(mark(tag, value or "", child.get("number") or ""))
        elif tag in ("glissando", "slide", "tied", "tuplet"):
            marks.append(mark(tag, child.get("type") or "", child.get("number") or ""))
        elif tag in ("articulations", "technical", "ornaments"):
            for one in child:
                kind = one.tag
                if kind == "harmonic":
                    marks.append(mark("harmonic", " ".join(part.tag for part in one if isinstance(part.tag, str))))
                elif kind == "accidental-mark":
                    marks.append(mark(kind, (one.text or "").strip()))
                elif isinstance(kind, str):
                    text = (one.text or "").strip()
                    marks.append(mark(kind, text or one.get("type") or "", one.get("type") or one.get("number") or ""))
        elif tag == "accidental-mark" or tag == "fermata":
            marks.append(mark(tag, (child.text or "").strip() or child.get("type") or ""))
        elif isinstance(tag, str):
            marks.append(mark(tag, child.get("type") or (child.text or "").strip(), child.get("number") or ""))
