"""Musical edits -> bytes. The only place that writes into a score.

The edits are cut into the original bytes at the offsets that expat reports, so whatever is not edited stays as
it was, to the byte. Inserted text is encoded as the document is.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.parsers import expat

from deskproof.accidentals import SIGNS
from deskproof.edits import AddAccidental, Edit, EditError, Respell
from deskproof.score import NoteRef

# The children of <note> that stand before <accidental> (MusicXML 4.0, complexType note).
_BEFORE_ACCIDENTAL = {
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote", "level",
    "voice", "type", "dot",
}  # fmt: skip


@dataclass(slots=True)
class Element:
    """An element in the bytes: ``start`` is its ``<``, ``stop`` behind its end tag, its content in between."""

    name: str
    start: int
    content: int = 0
    content_stop: int = 0
    stop: int = 0


@dataclass(slots=True)
class FoundNote:
    """A note in the bytes: its line, its own children and those of its pitch, in order."""

    line: int
    children: list[Element] = field(default_factory=list)
    in_pitch: list[Element] = field(default_factory=list)

    def child(self, name: str) -> Element | None:
        """The first child of this name, of the note or of its pitch."""
        return next((e for e in (*self.children, *self.in_pitch) if e.name == name), None)


@dataclass(frozen=True, slots=True)
class Splice:
    """Put ``text`` where the bytes from ``start`` to ``stop`` stand."""

    start: int
    stop: int
    text: str


def write(data: bytes, edits: Sequence[Edit]) -> bytes:
    """The document with the edits in it.

    Parameters
    ----------
    data : bytes
        A MusicXML document.
    edits : sequence of Edit
        Musical edits of notes that stand in it. No edits: the same bytes.

    Raises
    ------
    EditError
        If a note is not there, two edits meet at one place, or the note's text comes from an entity.
    """
    if not edits:
        return data
    codec = codec_of(data)
    found = locate(data, {edit.note for edit in edits})
    splices: list[Splice] = []
    for edit in edits:
        if edit.note not in found:
            raise EditError(f"{edit.note} is not in this score; check the file that the mends were made for.")
        splices.extend(_splices(edit, found[edit.note], data, codec))
    return spliced(data, splices, codec)


def spliced(data: bytes, splices: Sequence[Splice], codec: str) -> bytes:
    """The bytes with every splice in it; two that overlap or begin at one place are refused."""
    pieces = []
    at, last = 0, -1
    for one in sorted(splices, key=lambda s: (s.start, s.stop)):
        if one.start < at or one.start == last:
            raise EditError("two mends change the same place of the file; take one of them, then check again.")
        pieces += [data[at : one.start], one.text.encode(codec)]
        at, last = one.stop, one.start
    pieces.append(data[at:])
    return b"".join(pieces)


def lines(data: bytes, notes: set[NoteRef]) -> dict[NoteRef, int]:
    """The line of the document on which each note begins, counted from 1."""
    return {ref: found.line for ref, found in locate(data, notes).items()}


def codec_of(data: bytes) -> str:
    """The Python codec of a document's own characters, from its byte order mark or declaration.

    >>> codec_of(b'<?xml version="1.0" encoding="ISO-8859-1"?><a/>')
    'iso8859-1'
    """
    if data.startswith((codecs.BOM_UTF16_LE, b"<\x00")):
        return "utf-16-le"
    if data.startswith((codecs.BOM_UTF16_BE, b"\x00<")):
        return "utf-16-be"
    declared = re.match(rb"(?:\xef\xbb\xbf)?<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']", data)
    try:
        return codecs.lookup(declared.group(1).decode("ascii") if declared else "utf-8").name
    except LookupError:
        raise EditError("the file's encoding is not known here; save it as UTF-8 and check it again.") from None


def locate(data: bytes, wanted: set[NoteRef]) -> dict[NoteRef, FoundNote]:
    """Where the wanted notes stand in the bytes.

    Raises
    ------
    EditError
        If expat cannot read the document, or a wanted note comes from an entity.
    """
    return _Locator(data, wanted).found


class _Locator:
    """Walks the document once with expat and remembers the wanted notes."""

    def __init__(self, data: bytes, wanted: set[NoteRef]) -> None:
        self.data, self.wanted, self.codec = data, wanted, codec_of(data)
        self.found: dict[NoteRef, FoundNote] = {}
        self.path: list[str] = []
        self.part, self.measure, self.n, self.parts = "", -1, -1, 0
        self.timewise = False
        self.seen: set[str] = set()
        self.note: FoundNote | None = None
        self.open: list[Element] = []
        self.parser = expat.ParserCreate()
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        try:
            self.parser.Parse(data, True)
        except (expat.ExpatError, ValueError, LookupError) as error:
            raise EditError(
                f"this file cannot be written to ({error}); save it as UTF-8 MusicXML and check it again."
            ) from None

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        depth = len(self.path)
        self.path.append(name)
        if depth == 0:
            self.timewise = name == "score-timewise"
        elif depth in (1, 2) and name == "part":
            self._part(attributes.get("id"))
        elif depth in (1, 2) and name == "measure":
            self.measure += 1
            self.n, self.parts = -1, 0 if self.timewise else self.parts
        elif depth == 3 and name == "note":
            self.n += 1
            ref = NoteRef(self.part, self.measure, self.n)
            if ref in self.wanted and ref not in self.found:
                self.note = self.found[ref] = FoundNote(self.parser.CurrentLineNumber)
        elif self.note is not None and self._kept(depth):
            at = self.parser.CurrentByteIndex
            if not self.data.startswith(f"<{name}".encode(self.codec), at):
                raise EditError(
                    f"part {self.part}, measure {self.measure}: the note comes from an entity of the file; "
                    "it cannot be edited there."
                )
            element = Element(name, at, self._behind_tag(at))
            (self.note.children if depth == 4 else self.note.in_pitch).append(element)
            self.open.append(element)

    def _part(self, part_id: str | None) -> None:
        """Name the part as the reader does; in a timewise score its measures are counted outside it."""
        self.parts += 1
        self.part = part_id or f"P{self.parts}"
        if self.timewise:
            self.n = -1
            return
        self.measure = -1
        if self.part in self.seen:
            self.part = f"{self.part}+{len(self.seen) + 1}"
        self.seen.add(self.part)

    def _end(self, name: str) -> None:
        self.path.pop()
        depth = len(self.path)
        if self.note is None:
            return
        if depth == 3:
            self.note = None
        elif self._kept(depth):
            at = self.parser.CurrentByteIndex
            element = self.open.pop()
            element.content_stop = at
            ends_here = self.data.startswith(f"</{name}".encode(self.codec), at)
            element.stop = self._behind_tag(at) if ends_here else at

    def _kept(self, depth: int) -> bool:
        return depth == 4 or (depth == 5 and self.path[4] == "pitch")

    def _behind_tag(self, at: int) -> int:
        """Behind the ``>`` of the tag that begins at ``at``; quoted attribute values may hold one too."""
        size = 512
        while True:
            text = self.data[at : at + size].decode(self.codec, "ignore")
            tag = _TAG.match(text)
            if tag is not None:
                return at + len(tag.group().encode(self.codec))
            if at + size > len(self.data):
                raise EditError("a tag without an end; save the score again and check it.")
            size *= 8


_TAG = re.compile(r"<(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")


def _splices(edit: Edit, note: FoundNote, data: bytes, codec: str) -> list[Splice]:
    if isinstance(edit, AddAccidental):
        return [_accidental(note, edit.sign, data, codec)]
    if not isinstance(edit, Respell):
        return [_text(note, "octave", str(edit.octave))]
    splices = [_text(note, "step", edit.step), _text(note, "octave", str(edit.octave))]
    alter = note.child("alter")
    if alter is not None and edit.alter == 0:
        splices.append(Splice(alter.start - len(_space_before(alter, data, codec).encode(codec)), alter.stop, ""))
    elif alter is not None:
        splices.append(Splice(alter.content, alter.content_stop, str(edit.alter)))
    elif edit.alter != 0:
        step = note.child("step")
        assert step is not None
        splices.append(Splice(step.stop, step.stop, f"{_space_before(step, data, codec)}<alter>{edit.alter}</alter>"))
    if note.child("accidental") is not None:
        splices.append(_accidental(note, SIGNS[edit.alter], data, codec))
    return splices


def _text(note: FoundNote, name: str, text: str) -> Splice:
    element = note.child(name)
    if element is None:
        raise EditError(f"line {note.line}: the note has no <{name}>; it cannot be edited.")
    return Splice(element.content, element.content_stop, text)


def _accidental(note: FoundNote, sign: str, data: bytes, codec: str) -> Splice:
    present = note.child("accidental")
    if present is not None:
        return Splice(present.content, present.content_stop, sign)
    before = [e for e in note.children if e.name in _BEFORE_ACCIDENTAL]
    if not before:
        raise EditError(f"line {note.line}: the note has no content; it cannot be edited.")
    last = before[-1]
    return Splice(last.stop, last.stop, f"{_space_before(last, data, codec)}<accidental>{sign}</accidental>")


def _space_before(element: Element, data: bytes, codec: str) -> str:
    """The white space in front of an element, so that its new neighbour stands like it."""
    text = data[max(0, element.start - 256) : element.start].decode(codec, "ignore")
    return text[len(text.rstrip()) :]
