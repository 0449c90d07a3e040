"""One <note> element -> Note."""

from __future__ import annotations

from fractions import Fraction

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


def ticks(text: str | None, scale: Fraction) -> int:
    """A duration in divisions as ticks; a missing or negative one counts as 0.

    Raises
    ------
    FinerGrid
        If it falls between two ticks.
    """
    value = number(text)
    if value is None or value <= 0:
        return 0
    exact = value * scale
    if exact.denominator != 1:
        raise FinerGrid(exact.denominator)
    return int(exact)


def read(
    element: etree._Element, n: int, cursor: int, previous: int, scale: Fraction, ossia: set[int]
) -> tuple[Note, int]:
    """Read a note standing at ``cursor`` ticks; ``previous`` is where the note before it began (for chords).

    Returns the note and by how many ticks it moves the cursor.
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
        if tag == "pitch":
            pitch = _pitch(child)
        elif tag == "duration":
            duration = child.text
        elif tag == "voice":
            voice = child.text or "1"
        elif tag == "staff":
            staff = int(child.text or 1) if (child.text or "1").strip().isdigit() else 1
        elif tag == "type":
            if child.get("size") in ("cue", "grace-cue"):
                flags |= SMALL
        elif tag == "rest":
            kind = "rest"
            if child.get("measure") == "yes":
                marks = marks or []
                marks.append(Mark("measure-rest"))
        elif tag == "chord":
            flags |= CHORD
        elif tag == "tie":
            type_ = child.get("type")
            if type_ == "start":
                flags |= TIE_START
            elif type_ == "stop":
                flags |= TIE_STOP
        elif tag == "accidental":
            accidental = (child.text or "").strip()
        elif tag == "notations":
            marks = marks or []
            _notations(child, marks)
        elif tag == "grace":
            flags |= GRACE
            if child.get("steal-time-following") or child.get("slash") == "no":
                marks = marks or []
                marks.append(Mark("grace", child.get("steal-time-following") or "", child.get("slash") or ""))
        elif tag == "cue":
            flags |= CUE
        elif tag == "unpitched":
            kind = "unpitched"
            step, octave = child.findtext("display-step"), child.findtext("display-octave")
            if step and octave:
                marks = marks or []
                marks.append(Mark("display", step.strip(), octave.strip()))
        elif tag == "instrument":
            instrument = child.get("id") or ""
        elif tag == "notehead":
            marks = marks or []
            marks.append(Mark("notehead", (child.text or "").strip(), child.get("parentheses") or ""))
    if element.get("print-object") == "no":
        flags |= HIDDEN
    if staff in ossia or 0 in ossia:
        flags |= OSSIA
    length = 0 if flags & GRACE else ticks(duration, scale)
    if flags & CHORD:
        start, moves = previous, 0
    else:
        start, moves = cursor, length
    if pitch is None and kind == "note":
        kind = "rest"
    return (
        Note(
            n, start, length, pitch, kind, staff, voice, flags, accidental, instrument,
            tuple(marks) if marks else (),
        ),
        moves,
    )


def _pitch(element: etree._Element) -> Pitch | None:
    step = octave = ""
    alter: int | float = 0
    for child in element:
        tag = child.tag
        text = (child.text or "").strip()
        if tag == "step":
            step = text
        elif tag == "octave":
            octave = text
        elif tag == "alter":
            value = number(text)
            if value is not None:
                alter = int(value) if value == int(value) else float(value)
    if step not in STEPS or not step or not octave.lstrip("-").isdigit():
        return None
    return spelled(step, alter, int(octave))


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
