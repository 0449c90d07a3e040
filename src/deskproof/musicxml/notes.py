"""One <note> element -> Note."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from lxml import etree

from deskproof.pitch import STEPS, Pitch, spelled
from deskproof.score import (
    CHORD,
    CUE,
    GRACE,
    HIDDEN,
    OSSIA,
    SMALL,
    TIE_START,
    TIE_STOP,
    Mark,
    Note,
)


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
    if text is None:
        return None
    try:
        return int(text)
    except ValueError:
        pass
    try:
        value = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        return None
    return int(value) if value.denominator == 1 else value


class Scale:
    """Divisions to ticks: ``up`` ticks make ``down`` divisions (``down`` is 1 in all ordinary files)."""

    __slots__ = ("down", "up")

    def __init__(self, grid: int, divisions: int | Fraction = 1) -> None:
        exact = grid / Fraction(divisions)
        self.up, self.down = exact.numerator, exact.denominator

    def ticks(self, text: str | None) -> int:
        """A duration as ticks; a missing or negative one counts as 0.

        Raises
        ------
        FinerGrid
            If it falls between two ticks.
        """
        try:
            whole = int(text)  # type: ignore[arg-type]
        except (TypeError, ValueError):
            value = number(text)
            if value is None or value <= 0:
                return 0
        else:
            if self.down == 1:
                return whole * self.up if whole > 0 else 0
            value = max(whole, 0)
        exact = Fraction(value * self.up, self.down) if isinstance(value, int) else value * Fraction(self.up, self.down)
        if exact.denominator != 1:
            raise FinerGrid(exact.denominator)
        return int(exact)


_TIES = {"start": TIE_START, "stop": TIE_STOP}


def read(
    element: etree._Element, n: int, cursor: int, previous: int, scale: Scale, ossia: set[int]
) -> tuple[Note, int]:
    """Read a note standing at ``cursor`` ticks; ``previous`` is where the chord's first note began.

    A note of a chord lasts at most as long as the chord's first note (MusicXML 4.0, element chord), which moved
    the cursor from ``previous``. Returns the note and by how many ticks it moves the cursor.
    """
    flags = 0
    kind = "note"
    pitch = None
    staff = 1
    voice = "1"
    accidental = instrument = ""
    duration = None
    marks: list[Mark] | None = None
    for child in element:
        tag = child.tag
        if tag not in _READ:
            continue
        if tag == "pitch":
            pitch = _pitch(child)
        elif tag == "duration":
            duration = child.text
        elif tag == "voice":
            voice = child.text or "1"
        elif tag == "type":
            if child.get("size") in _SMALL_SIZES:
                flags |= SMALL
        elif tag == "staff":
            text = child.text
            staff = int(text) if text and text.strip().isdigit() else 1
        elif tag == "chord":
            flags |= CHORD
        elif tag == "rest":
            kind = "rest"
            if child.get("measure") == "yes":
                marks = marks or []
                marks.append(Mark("measure-rest"))
        elif tag == "tie":
            flags |= _TIES.get(child.get("type") or "", 0)
        elif tag == "accidental":
            accidental = (child.text or "").strip()
        elif tag == "notations":
            marks = marks or []
            _notations(child, marks)
        elif tag == "instrument":
            instrument = child.get("id") or ""
        elif tag == "cue":
            flags |= CUE
        elif tag == "grace":
            flags |= GRACE
            marks = marks or []
            marks.append(Mark("grace", child.get("steal-time-following") or "", child.get("slash") or ""))
        elif tag == "unpitched":
            kind = "unpitched"
            step, octave = child.findtext("display-step"), child.findtext("display-octave")
            if step and octave:
                marks = marks or []
                marks.append(Mark("display", step.strip(), octave.strip()))
        else:
            marks = marks or []
            marks.append(Mark("notehead", (child.text or "").strip(), child.get("parentheses") or ""))
    if element.get("print-object") == "no":
        flags |= HIDDEN
    if ossia and (staff in ossia or 0 in ossia):
        flags |= OSSIA
    length = 0 if flags & GRACE else scale.ticks(duration)
    if flags & CHORD:
        start, moves = previous, 0
        length = min(length, cursor - previous)
    else:
        start, moves = cursor, length
    if pitch is None and kind == "note":
        kind = "rest"
    row = (n, start, length, pitch, kind, staff, voice, flags, accidental, instrument, tuple(marks) if marks else ())
    return _NEW(Note, row), moves


_NEW = tuple.__new__  # a named tuple's own constructor takes twice the time

_READ = frozenset((
    "duration", "voice", "type", "pitch", "staff", "chord", "rest", "tie", "accidental", "notations", "instrument",
    "cue", "grace", "unpitched", "notehead",
))  # fmt: skip
_SMALL_SIZES = ("cue", "grace-cue")


def _pitch(element: etree._Element) -> Pitch | None:
    count = len(element)
    if count == 2 or count == 3:  # step, alter, octave: in this order in every file that keeps to the standard
        found = _spelled(element[0].text, element[1].text if count == 3 else None, element[-1].text)
        if found is not None and element[-1].tag == "octave":
            return found
    step = octave = alter = None
    for child in element:
        tag = child.tag
        if tag == "step":
            step = child.text
        elif tag == "octave":
            octave = child.text
        elif tag == "alter":
            alter = child.text
    return _spelled(step, alter, octave)


@lru_cache(maxsize=4096)
def _spelled(step: str | None, alter: str | None, octave: str | None) -> Pitch | None:
    step = (step or "").strip()
    figure = number(alter) or 0
    height = number(octave)
    if len(step) != 1 or step not in STEPS or not isinstance(height, int):
        return None
    return spelled(step, int(figure) if figure == int(figure) else float(figure), height)


def _notations(element: etree._Element, marks: list[Mark]) -> None:
    """Flatten the notations; groups (articulations, technical, ornaments) give their children."""
    for child in element:
        tag = child.tag
        if tag == "slur" or tag == "arpeggiate" or tag == "non-arpeggiate":
            value = child.get("direction") if tag == "arpeggiate" else child.get("type")
            marks.append(Mark(tag, value or "", child.get("number") or ""))
        elif tag in ("glissando", "slide", "tied", "tuplet"):
            marks.append(Mark(tag, child.get("type") or "", child.get("number") or ""))
        elif tag in ("articulations", "technical", "ornaments"):
            for one in child:
                kind = one.tag
                if kind == "harmonic":
                    marks.append(Mark("harmonic", " ".join(part.tag for part in one if isinstance(part.tag, str))))
                elif kind == "accidental-mark":
                    marks.append(Mark(kind, (one.text or "").strip()))
                elif isinstance(kind, str):
                    text = (one.text or "").strip()
                    marks.append(Mark(kind, text or one.get("type") or "", one.get("type") or one.get("number") or ""))
        elif tag == "accidental-mark" or tag == "fermata":
            marks.append(Mark(tag, (child.text or "").strip() or child.get("type") or ""))
        elif isinstance(tag, str):
            marks.append(Mark(tag, child.get("type") or (child.text or "").strip(), child.get("number") or ""))
