"""One <attributes> element -> changes of key, time, clef, transposition, staves, bar-repeat signs."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from lxml import etree

from deskproof.musicxml.notes import number
from deskproof.score import Change, Clef, Key, Time, Transpose


def read(element: etree._Element, start: int, grid: int) -> list[Change]:
    """The changes at ``start`` ticks; ``grid`` is ticks a quarter."""
    changes = []
    for child in element:
        tag = child.tag
        if tag not in _READ:
            continue
        staff = _whole(child.get("number"), 0)
        if tag == "key":
            changes.append(Change(start, staff, "key", _key(child)))
        elif tag == "time":
            changes.append(Change(start, staff, "time", _time(child, grid)))
        elif tag == "clef":
            sign = (child.findtext("sign") or "").strip()
            line = _whole(child.findtext("line"), _USUAL_LINE.get(sign, 0))
            octave = _whole(child.findtext("clef-octave-change"), 0)
            changes.append(Change(start, staff or 1, "clef", Clef(sign, line, octave)))
        elif tag == "staves":
            changes.append(Change(start, 0, "staves", _whole(child.text, 1)))
        elif tag == "transpose":
            chromatic = number(child.findtext("chromatic")) or 0
            changes.append(
                Change(
                    start,
                    staff,
                    "transpose",
                    Transpose(
                        int(chromatic) if chromatic == int(chromatic) else float(chromatic),
                        _whole(child.findtext("diatonic"), 0),
                        _whole(child.findtext("octave-change"), 0),
                    ),
                )
            )
        elif tag == "staff-details":
            type_ = (child.findtext("staff-type") or "").strip()
            if type_:
                changes.append(Change(start, staff or 1, "staff-type", type_))
            lines = child.findtext("staff-lines")
            if lines:
                changes.append(Change(start, staff or 1, "staff-lines", _whole(lines, 5)))
        elif tag == "measure-style":
            repeat = child.find("measure-repeat")
            if repeat is not None:
                bars = _whole(repeat.text, 1) if repeat.get("type") == "start" else 0
                changes.append(Change(start, staff, "measure-repeat", bars))
    return changes


LONGEST_BAR = 1000  # quarters; a longer metre is a slip
_READ = frozenset(("key", "time", "clef", "staves", "transpose", "staff-details", "measure-style"))
_USUAL_LINE = {"G": 2, "F": 4, "C": 3}


def _whole(text: str | None, default: int) -> int:
    if text is None:
        return default
    value = number(text)
    return int(value) if value is not None else default


def _key(element: etree._Element) -> Key:
    first = element[0] if len(element) else None
    if first is not None and first.tag == "fifths":
        return Key(_whole(first.text, 0))
    steps = [(s.text or "").strip() for s in element.iterfind("key-step")]
    if steps:
        alters = [number(a.text) or 0 for a in element.iterfind("key-alter")]
        return Key(0, tuple((s, int(a) if a == int(a) else float(a)) for s, a in zip(steps, alters, strict=False)))
    return Key(_whole(element.findtext("fifths"), 0))


def _time(element: etree._Element, grid: int) -> Time:
    """A metre; compound ones ("3+2" over 8, or several pairs) are added up."""
    return _metre(tuple((str(child.tag), (child.text or "").strip()) for child in element), grid)


@lru_cache(maxsize=256)
def _metre(children: tuple[tuple[str, str], ...], grid: int) -> Time:
    if any(tag == "senza-misura" for tag, _ in children):
        return Time("", 4, 0)
    beats = [text for tag, text in children if tag == "beats"]
    units = [max(_whole(text, 4), 0) or 4 for tag, text in children if tag == "beat-type"]
    quarters = Fraction(0)
    for text, unit in zip(beats, units, strict=False):
        quarters += Fraction(4 * sum(int(piece) for piece in text.split("+") if piece.strip().isdecimal()), unit)
    return Time("+".join(beats), units[-1] if units else 4, int(min(quarters, Fraction(LONGEST_BAR)) * grid))
