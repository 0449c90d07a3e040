"""<direction>, <sound> and <barline> elements -> Directions, endings and repeat marks."""

from __future__ import annotations

from lxml import etree

from deskproof.musicxml.notes import Scale, number
from deskproof.score import Direction, Ending, Repeat

_SOUND = frozenset((
    "tempo", "dacapo", "dalsegno", "fine", "tocoda", "coda", "segno", "forward-repeat", "damper-pedal", "soft-pedal",
    "sostenuto-pedal",
))  # fmt: skip


def read(element: etree._Element, k: int, cursor: int, scale: Scale) -> list[Direction]:
    """The rows of one direction or sound element at ``cursor`` ticks.

    An offset moves where a direction appears; it moves what sounds only if the file says so
    (MusicXML 4.0, element offset, attribute sound).
    """
    if element.tag == "sound":
        return _sound(element, k, cursor, 1)
    printed = sounding = cursor
    staff = 1
    types = []
    sounds = None
    for child in element:
        tag = child.tag
        if tag == "direction-type":
            types.append(child)
        elif tag == "sound":
            sounds = child
        elif tag == "staff":
            text = child.text
            staff = int(text) if text and text.strip().isdecimal() else 1
        elif tag == "offset":
            printed = max(0, cursor + int((number(child.text) or 0) * scale.up / scale.down))
            if child.get("sound") == "yes":
                sounding = printed
    rows = [
        _row(one, k, sounding if one.tag == "metronome" else printed, staff)
        for kind in types
        for one in kind
        if isinstance(one.tag, str)
    ]
    if sounds is not None:
        rows += _sound(sounds, k, sounding, staff)
    return rows


def _row(element: etree._Element, k: int, start: int, staff: int) -> Direction:
    kind = str(element.tag)
    if kind == "words" or kind == "rehearsal" or kind == "other-direction":
        value = element.text or ""
    elif kind == "dynamics":
        value = " ".join(
            (one.text or "").strip() if one.tag == "other-dynamics" else str(one.tag)
            for one in element
            if isinstance(one.tag, str)
        )
    elif kind == "metronome":
        value = _metronome(element)
    elif kind == "octave-shift":
        value = f"{element.get('type') or ''} {element.get('size') or '8'}"
    elif kind == "harp-pedals":
        value = " ".join(
            f"{(tuning.findtext('pedal-step') or '?').strip()}{(tuning.findtext('pedal-alter') or '?').strip()}"
            for tuning in element.iterfind("pedal-tuning")
        )
    else:
        value = element.get("type") or (element.text or "").strip()
    return Direction(k, start, staff, kind, value, element.get("number") or "", element.get("print-object") == "no")


def _metronome(element: etree._Element) -> str:
    """``quarter. = 120`` or ``quarter = eighth.``; empty where the form is not one of these two."""
    sides: list[str] = []
    for child in element:
        text = (child.text or "").strip()
        if child.tag == "beat-unit":
            sides.append(text)
        elif child.tag == "beat-unit-dot" and sides:
            sides[-1] += "."
        elif child.tag == "per-minute":
            sides.append(text)
    return " = ".join(sides) if len(sides) == 2 else ""


def _sound(element: etree._Element, k: int, start: int, staff: int) -> list[Direction]:
    rows = [
        Direction(k, start, staff, f"sound:{name}", str(value)) for name, value in element.items() if name in _SOUND
    ]
    for change in element:
        if change.tag == "instrument-change":
            sound = (change.findtext("instrument-sound") or "").strip()
            rows.append(Direction(k, start, staff, "sound:instrument-change", sound, change.get("id") or ""))
    return rows


def barline(
    element: etree._Element, k: int, cursor: int
) -> tuple[list[Direction], list[Ending], list[Repeat]]:
    """Read a barline standing at ``cursor`` ticks: its signs, ends of endings, and repeats."""
    signs: list[Direction] = []
    endings: list[Ending] = []
    repeats: list[Repeat] = []
    if len(element) == 1 and element[0].tag == "bar-style" and not element.get("segno") and not element.get("coda"):
        return signs, endings, repeats
    right = element.get("location", "right") != "left"
    for child in element:
        if child.tag == "repeat":
            times = number(child.get("times"))
            repeats.append(
                Repeat(
                    child.get("direction") == "forward",
                    right,
                    int(times) if times is not None and times >= 2 else 2,
                    child.get("after-jump") == "yes",
                )
            )
        elif child.tag == "ending":
            pieces = (child.get("number") or "").replace(",", " ").replace(".", " ").split()
            endings.append(Ending(child.get("type") or "start", tuple(int(p) for p in pieces if p.isdecimal())))
        elif child.tag in ("segno", "coda", "fermata"):
            signs.append(Direction(k, cursor, 1, f"barline:{child.tag}", child.text or ""))
    for name in ("segno", "coda"):
        value = element.get(name)
        if value is not None:
            signs.append(Direction(k, cursor, 1, f"sound:{name}", value))
    return signs, endings, repeats
