"""The measures of one part: a walk over all elements of a measure in document order.

The walk is flat, because most of reading a score is this loop: the text of a leaf is kept until the note (or backup,
forward) it belongs to is over. Only directions, attributes, barlines and notations are read as trees of their own.
"""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from deskproof.musicxml import attributes, directions, notes
from deskproof.musicxml.elements import NAMES
from deskproof.score import (
    CHORD,
    CUE,
    GRACE,
    HIDDEN,
    OSSIA,
    SMALL,
    TIE_START,
    TIE_STOP,
    UNNAMED,
    Change,
    Direction,
    Ending,
    Mark,
    Measure,
    Note,
    Repeat,
)

# What the walk does at an element; 0 is passed over, and from _NOTE on a new child of the measure begins.
(
    _DURATION, _VOICE, _TYPE, _STEP, _OCTAVE, _REST, _NOTATIONS, _ALTER, _STAFF, _ACCIDENTAL, _CHORD, _TIE,
    _INSTRUMENT, _GRACE, _CUE, _UNPITCHED, _OTHER_PLAY, _NOTEHEAD,
    _NOTE, _BACKUP, _FORWARD, _DIRECTION, _ATTRIBUTES, _BARLINE, _SOUND, _OTHER,
) = range(1, 27)  # fmt: skip
_CODES: dict[object, int] = {
    **dict.fromkeys(NAMES, 0),
    "note": _NOTE, "duration": _DURATION, "voice": _VOICE, "type": _TYPE, "step": _STEP, "octave": _OCTAVE,
    "alter": _ALTER, "rest": _REST, "notations": _NOTATIONS, "staff": _STAFF, "accidental": _ACCIDENTAL,
    "chord": _CHORD, "tie": _TIE, "backup": _BACKUP, "forward": _FORWARD, "direction": _DIRECTION,
    "attributes": _ATTRIBUTES, "barline": _BARLINE, "sound": _SOUND, "instrument": _INSTRUMENT, "grace": _GRACE,
    "cue": _CUE, "unpitched": _UNPITCHED, "notehead": _NOTEHEAD, "other-play": _OTHER_PLAY, "harmony": _OTHER,
    "figured-bass": _OTHER, "print": _OTHER, "grouping": _OTHER, "link": _OTHER, "bookmark": _OTHER,
    "listening": _OTHER,
}  # fmt: skip
_TREES = frozenset((_DIRECTION, _ATTRIBUTES, _BARLINE, _SOUND))
_NOT_PLAYED = ("ossia", "editorial", "cue", "alternate")  # staff types beside the regular one
_WHOLE_BAR = Mark("measure-rest")
_END = etree.Element("listening")  # stands behind the last child, so that it too is over
_TIES = {"start": TIE_START, "stop": TIE_STOP}
_NEW = tuple.__new__  # a named tuple's own constructor takes twice the time


class PartReader:
    """Reads the measures of one part in order; remembers divisions and ossia staves from one to the next.

    ``where`` names file and part in messages; ``remarks`` collects, once each, what was not understood.
    """

    def __init__(self, grid: int, where: str, remarks: dict[str, None]) -> None:
        self.grid, self.where, self.remarks = grid, where, remarks
        self.scale = notes.Scale(grid)
        self.ossia: set[int] = set()
        self._unreadable = False
        self._rests: dict[tuple[notes.Scale, str | None, str], Note] = {}

    def measure(self, element: etree._Element, index: int, owner: etree._Element) -> Measure:
        """Read the content of one measure; ``owner`` is the element that holds its number.

        Raises
        ------
        FinerGrid
            If a length falls between two ticks of the grid.
        """
        number, implicit = owner.get("number") or "", owner.get("implicit") == "yes"
        rest = self.whole_rest(element) if len(element) == 1 and not self.ossia else None
        if rest is not None:
            return _NEW(Measure, (index, number, rest.length, (rest,), (), (), implicit, (), ()))
        own = _Content(self, index)
        own.walk(element)
        return Measure(
            index,
            number,
            own.furthest,
            tuple(own.notes),
            tuple(own.directions),
            tuple(own.changes),
            implicit,
            tuple(own.repeats),
            tuple(own.endings),
        )

    def whole_rest(self, measure: etree._Element) -> Note | None:
        """The note of a measure that holds nothing but a bar's rest; most of an orchestral score is these."""
        note = measure[0]
        if not 1 < len(note) < 5 or note.get("print-object") or note[0].tag != "rest":
            return None
        if note[0].get("measure") != "yes":
            return None
        duration, voice = None, "1"
        for child in note:
            if child.tag == "rest":
                continue
            if child.tag == "duration":
                duration = child.text
            elif child.tag == "voice":
                voice = child.text or "1"
            else:
                return None
        key = self.scale, duration, voice
        known = self._rests.get(key)
        if known is None:
            length = self.scale.ticks(duration)
            known = self._rests[key] = Note(0, 0, length, None, "rest", 1, voice, 0, "", "", (_WHOLE_BAR,))
        return known

    def attributes(self, element: etree._Element, cursor: int, index: int) -> list[Change]:
        """Read an attributes element; a change of divisions changes ``scale``."""
        first = element[0] if len(element) else None
        divisions = notes.number(first.text) if first is not None and first.tag == "divisions" else None
        if divisions is None:
            divisions = notes.number(element.findtext("divisions"))
        if divisions is not None and divisions > 0:
            if self.grid % divisions:
                raise notes.FinerGrid(Fraction(divisions / Fraction(self.grid)).numerator)
            self.scale = notes.Scale(self.grid, divisions)
        elif divisions is not None:
            self.remarks.setdefault(
                f"{self.where}, measure {index + 1}: divisions of {divisions}; the last good value is kept."
            )
        rows = attributes.read(element, cursor, self.grid)
        for change in rows:
            if change.kind == "staff-type":
                (self.ossia.add if change.value in _NOT_PLAYED else self.ossia.discard)(change.staff)
        return rows

    def unreadable(self, index: int) -> None:
        """Remark, once for the part, on a note without a pitch that can be read."""
        if not self._unreadable:
            self._unreadable = True
            self.remarks.setdefault(
                f"{self.where}, measure {index + 1}: a note whose pitch cannot be read; it and others like it count "
                "as rests."
            )

    def unknown(self, tag: object) -> None:
        """Remark once on an element that no MusicXML has."""
        if isinstance(tag, str):
            self.remarks.setdefault(f"{self.where.split(': part')[0]}: <{tag}> is no element of MusicXML; passed over.")


class _Content:
    """What one measure holds, gathered by ``walk``; ``furthest`` is the last tick reached."""

    __slots__ = ("changes", "directions", "endings", "furthest", "index", "notes", "part", "repeats")

    def __init__(self, part: PartReader, index: int) -> None:
        self.part, self.index = part, index
        self.notes: list[Note] = []
        self.directions: list[Direction] = []
        self.changes: list[Change] = []
        self.repeats: list[Repeat] = []
        self.endings: list[Ending] = []
        self.furthest = 0

    def walk(self, measure: etree._Element) -> None:
        """Go through all elements of the measure once."""
        codes, pitch_of, found, ossia = _CODES.get, notes.pitch_of, self.notes, self.part.ossia
        scale = self.part.scale
        cursor = furthest = chord_start = 0
        owner = 0  # what a leaf belongs to: note, backup, forward, or something that is read as a tree
        step = octave = alter = duration = None
        staff, voice, flags = 1, "1", 0
        kind, accidental, instrument = "note", "", ""
        marks: list[Mark] | None = None
        for element in [*measure.iter(), _END][1:]:
            code = codes(element.tag)
            if not code:
                if code is None:
                    self.part.unknown(element.tag)
            elif code >= _NOTE:  # a new child of the measure: the one before is over
                if code == _SOUND and element.getparent() is not measure:
                    continue  # part of a direction
                if owner == _NOTE:
                    length = 0 if flags & GRACE else scale.ticks(duration)
                    if flags & CHORD:
                        start = chord_start
                        length = min(length, cursor - start)
                    else:
                        start = chord_start = cursor
                        cursor += length
                        if cursor > furthest:
                            furthest = cursor
                    if ossia and (staff in ossia or 0 in ossia):
                        flags |= OSSIA
                    pitch = pitch_of(step, alter, octave) if kind == "note" else None
                    if pitch is None and kind == "note":
                        kind = "rest"
                        self.part.unreadable(self.index)
                    row = (
                        len(found), start, length, pitch, kind, staff, voice, flags, accidental, instrument,
                        tuple(marks) if marks else (),
                    )  # fmt: skip
                    found.append(_NEW(Note, row))
                elif owner:
                    ticks = scale.ticks(duration)
                    if owner == _BACKUP:
                        cursor = max(0, cursor - ticks)
                    elif owner == _FORWARD:
                        cursor += ticks
                        furthest = max(furthest, cursor)
                owner = code
                step = octave = alter = duration = None
                staff, voice, flags = 1, "1", 0
                kind, accidental, instrument = "note", "", ""
                marks = None
                if code == _NOTE:
                    if element.get("print-object") == "no":
                        flags = HIDDEN
                elif code in _TREES:
                    self.tree(code, element, cursor)
                    scale = self.part.scale
            elif code == _DURATION:
                duration = element.text
            elif code == _VOICE:
                voice = element.text or "1"
            elif code == _TYPE:
                if element.get("size") in ("cue", "grace-cue"):
                    flags |= SMALL
            elif code == _STEP:
                step = element.text
            elif code == _OCTAVE:
                octave = element.text
            elif code == _ALTER:
                alter = element.text
            elif code == _REST:
                kind = "rest"
                if element.get("measure") == "yes":
                    marks = [*(marks or ()), _WHOLE_BAR]
            elif code == _STAFF:
                text = element.text
                staff = int(text) if text and text.strip().isdecimal() else 1
            elif code == _ACCIDENTAL:
                accidental = (element.text or "").strip() or UNNAMED
            elif code == _CHORD:
                flags |= CHORD
            elif code == _TIE:
                flags |= _TIES.get(element.get("type") or "", 0)
            elif code == _NOTATIONS:
                marks = marks or []
                notes.notations(element, marks)
            else:
                marks = marks or []
                if code == _INSTRUMENT:
                    instrument = element.get("id") or ""
                elif code == _CUE:
                    flags |= CUE
                elif code == _GRACE:
                    flags |= GRACE
                    marks.append(Mark("grace", element.get("steal-time-following") or "", element.get("slash") or ""))
                elif code == _UNPITCHED:
                    kind = "unpitched"
                    marks.extend(notes.display(element))
                elif code == _OTHER_PLAY:
                    marks.append(Mark("other-play", (element.text or "").strip(), element.get("type") or ""))
                else:
                    marks.append(Mark("notehead", (element.text or "").strip(), element.get("parentheses") or ""))
        self.furthest = furthest

    def tree(self, code: int, element: etree._Element, cursor: int) -> None:
        """Read a direction, attributes, barline or sound element where the cursor stands."""
        if code == _ATTRIBUTES:
            self.changes += self.part.attributes(element, cursor, self.index)
        elif code == _BARLINE:
            signs, endings, repeats = directions.barline(element, len(self.directions), cursor)
            self.directions += signs
            self.endings += endings
            self.repeats += repeats
        else:
            self.directions += directions.read(element, len(self.directions), cursor, self.part.scale)
