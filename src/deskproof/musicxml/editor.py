"""Musical edits -> bytes. The only place that writes into a score.

The edits are cut into the original bytes at the offsets that expat reports, so whatever is not edited stays as
it was, to the byte. Inserted text is encoded as the document is.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.parsers import expat
from xml.sax.saxutils import escape

from lxml import etree

from deskproof.accidentals import SIGNS
from deskproof.edits import (
    KINDS,
    PEDALS,
    AddAccidental,
    AddEdit,
    AddPedal,
    AddWords,
    ChangeRef,
    Edit,
    EditError,
    LengthEdit,
    NoteEdit,
    Respell,
    SetClef,
    SetKey,
    SetMark,
    SetStaff,
    SignEdit,
    placed,
)
from deskproof.musicxml import lengths, notations, reader
from deskproof.musicxml.notes import number
from deskproof.score import NoteRef

# The children of <note> that stand before <accidental> (MusicXML 4.0, complexType note).
_BEFORE_ACCIDENTAL = {
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote", "level",
    "voice", "type", "dot",
}  # fmt: skip

# The children of <note> that stand behind <staff>.
_BEHIND_STAFF = {"beam", "notations", "lyric", "play", "listen"}

# The children of <attributes> in their order (MusicXML 4.0, complexType attributes).
_IN_ATTRIBUTES = (
    "footnote", "level", "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details",
    "transpose", "for-part", "directive", "measure-style",
)  # fmt: skip
_KINDS = frozenset(KINDS.values())


@dataclass(slots=True)
class Element:
    """An element in the bytes: ``start`` is its ``<``, ``stop`` behind its end tag, its content in between."""

    name: str
    start: int
    content: int = 0
    content_stop: int = 0
    stop: int = 0


@dataclass(slots=True)
class FoundChange:
    """A key, clef or transposition in the bytes, with its children; or all attributes of one place, with theirs."""

    line: int
    element: Element
    children: list[Element] = field(default_factory=list)

    def child(self, name: str) -> Element | None:
        """The first child of this name."""
        return next((e for e in self.children if e.name == name), None)


@dataclass(slots=True)
class FoundNote:
    """A note in the bytes: its line, its beginning, its own children and those of its pitch, in order.

    ``attributes`` are those that stand before it and behind the note, backup or forward before it; ``inside`` is what
    stands in its notations, with the names of the elements around each, from the notations on.
    """

    line: int
    start: int = 0
    stop: int = 0
    children: list[Element] = field(default_factory=list)
    in_pitch: list[Element] = field(default_factory=list)
    attributes: FoundChange | None = None
    inside: list[tuple[tuple[str, ...], Element]] = field(default_factory=list)

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
    added = [edit for edit in edits if isinstance(edit, AddEdit)]
    edits = [edit for edit in edits if not isinstance(edit, AddEdit)]
    found = locate(data, {edit.note for edit in edits}) if edits else {}
    signed = {edit.note for edit in edits if isinstance(edit, AddAccidental)}
    splices: list[Splice] = _directions(added, data, codec) if added else []
    before: dict[NoteRef | ChangeRef, list[SignEdit]] = {}
    for edit in edits:
        at = found.get(edit.note)
        if at is None:
            raise EditError(f"{edit.note} is not in this score; check the file that the mends were made for.")
        assert not isinstance(edit, AddEdit)
        if not isinstance(edit, SignEdit):
            assert isinstance(at, FoundNote)
            splices.extend(_splices(edit, at, data, codec, edit.note in signed))
        elif isinstance(at, FoundNote):
            before.setdefault(edit.note, []).append(edit)
        else:
            splices.append(_replaced(edit, at, data, codec))
    for ref, signs in before.items():
        note = found[ref]
        assert isinstance(note, FoundNote)
        splices.extend(_inserted(signs, note, data, codec))
    return spliced(data, splices, codec)


def spliced(data: bytes, splices: Sequence[Splice], codec: str) -> bytes:
    """The bytes with every splice in it; two that overlap or begin at one place are refused."""
    pieces = []
    at, last = 0, -1
    for one in sorted(splices, key=lambda s: (s.start, s.stop)):
        if one.start < at or one.start == last:
            raise EditError("two mends change the same place of the file; take one of them, then check again.")
        pieces += [data[at : one.start], one.text.encode(codec, "xmlcharrefreplace")]
        at, last = one.stop, one.start
    pieces.append(data[at:])
    return b"".join(pieces)


def lines(data: bytes, notes: set[NoteRef]) -> dict[NoteRef, int]:
    """The line of the document on which each note begins, counted from 1."""
    return {ref: found.line for ref, found in locate(data, notes).items() if isinstance(ref, NoteRef)}


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


def locate(data: bytes, wanted: Iterable[NoteRef | ChangeRef]) -> dict[NoteRef | ChangeRef, FoundNote | FoundChange]:
    """Where the wanted notes, keys, clefs and transpositions stand in the bytes.

    Raises
    ------
    EditError
        If expat cannot read the document, or a wanted note comes from an entity.
    """
    return _Locator(data, frozenset(wanted)).found


class _Locator:
    """Walks the document once with expat and remembers what is wanted."""

    def __init__(self, data: bytes, wanted: frozenset[NoteRef | ChangeRef]) -> None:
        self.data, self.wanted, self.codec = data, wanted, codec_of(data)
        self.found: dict[NoteRef | ChangeRef, FoundNote | FoundChange] = {}
        self.measures: dict[tuple[str, int], tuple[int, int]] = {}  # where first child and end tag begin, -1 if none
        self.path: list[str] = []
        self.part, self.measure, self.n, self.parts = "", -1, -1, 0
        self.timewise = False
        self.seen: set[str] = set()
        self.note: FoundNote | None = None
        self.attributes: FoundChange | None = None  # those since the last note, backup or forward
        self.change: FoundChange | None = None
        self.counts: dict[str, int] = {}
        self.open: list[Element] = []
        self.foreign: int | None = None  # depth of an element born of an entity; the reader opens none
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
        if self.foreign is None and 0 < depth < 4 and not self._stands(name):
            self.foreign = depth
        if self.foreign is not None:
            return
        if depth == 3 and (self.part, self.measure) not in self.measures:
            self.measures[self.part, self.measure] = (self.parser.CurrentByteIndex, -1)
        if depth == 0:
            self.timewise = name == "score-timewise"
        elif depth in (1, 2) and name == "part":
            self._part(attributes.get("id"))
        elif depth in (1, 2) and name == "measure":
            self.measure += 1
            self.n, self.parts = -1, 0 if self.timewise else self.parts
            self.attributes, self.counts = None, {}
        elif depth == 3 and name == "note":
            self.n += 1
            ref = NoteRef(self.part, self.measure, self.n)
            if ref in self.wanted and ref not in self.found:
                self.note = FoundNote(self.parser.CurrentLineNumber, self.parser.CurrentByteIndex)
                self.note.attributes = self.attributes
                self.found[ref] = self.note
            self.attributes = None
        elif depth == 3 and name in ("backup", "forward"):
            self.attributes = None
        elif depth == 3 and name == "attributes":
            self.attributes = FoundChange(self.parser.CurrentLineNumber, self._element(name))
        elif self.note is not None and self._kept(depth):
            element = self._element(name)
            if self.path[4] == "notations":
                self.note.inside.append((tuple(self.path[4:]), element))
            if depth == 4:
                self.note.children.append(element)
            elif self.path[4] == "pitch":
                self.note.in_pitch.append(element)
        elif self.attributes is not None and depth in (4, 5) and self.path[3] == "attributes":
            self._in_attributes(name, depth)

    def _in_attributes(self, name: str, depth: int) -> None:
        if depth == 5:
            if self.change is not None:
                self.change.children.append(self._element(name))
            return
        assert self.attributes is not None
        element = self._element(name)
        self.attributes.children.append(element)
        if name in _KINDS:
            n = self.counts.get(name, 0)
            self.counts[name] = n + 1
            ref = ChangeRef(self.part, self.measure, n, name)
            if ref in self.wanted:
                self.change = self.found[ref] = FoundChange(self.parser.CurrentLineNumber, element)

    def _element(self, name: str) -> Element:
        """The element that begins here."""
        at = self.parser.CurrentByteIndex
        if not self._stands(name):
            what = "note" if self.note is not None else "place"
            raise EditError(
                f"part {self.part}, measure {self.measure}: the {what} comes from an entity of the file; "
                "it cannot be edited there."
            )
        element = Element(name, at, self._behind_tag(at))
        self.open.append(element)
        return element

    def _stands(self, name: str) -> bool:
        """Whether the element that begins now stands in the bytes, and is not born of an entity."""
        return self.data.startswith(f"<{name}".encode(self.codec), self.parser.CurrentByteIndex)

    def _ends(self, name: str) -> bool:
        """Whether an end tag stands here; an empty-element tag has none."""
        return self.data.startswith(f"</{name}".encode(self.codec), self.parser.CurrentByteIndex)

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
        path = self.path
        if self.foreign is not None:
            path.pop()
            if len(path) == self.foreign:
                self.foreign = None
            return
        if self.note is not None:
            kept = self._kept(len(path) - 1)
        elif self.attributes is not None and len(path) > 3 and path[3] == "attributes":
            kept = len(path) < 6 or (len(path) == 6 and self.change is not None)
        else:
            kept = False
        path.pop()
        depth = len(path)
        if kept:
            at = self.parser.CurrentByteIndex
            element = self.open.pop()
            element.content_stop = at
            element.stop = self._behind_tag(at) if self._ends(name) else at
        if depth == 2 and self._ends(name) and self.measures.get((self.part, self.measure), (0, 0))[1] == -1:
            first, _ = self.measures[self.part, self.measure]
            self.measures[self.part, self.measure] = (first, self.parser.CurrentByteIndex)
        if depth == 3:
            if self.note is not None and name == "note":
                at = self.parser.CurrentByteIndex
                self.note.stop = self._behind_tag(at) if self._ends(name) else at
            self.note = None
        elif depth == 4:
            self.change = None

    def _kept(self, depth: int) -> bool:
        return depth == 4 or (depth == 5 and self.path[4] == "pitch") or (depth > 4 and self.path[4] == "notations")

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


def _directions(edits: Sequence[AddEdit], data: bytes, codec: str) -> list[Splice]:
    """New directions: before the note at their place, or last in the measure, gone back to their place."""
    score = reader.read_bytes(data)
    parts = {part.id: part for part in score.parts}
    by_measure: dict[tuple[str, int], list[AddEdit]] = {}
    for edit in edits:
        if edit.part not in parts or not 0 <= edit.measure < len(parts[edit.part].measures):
            raise EditError(f"{edit.part}/m{edit.measure} is not in this score; check the file of the mends.")
        by_measure.setdefault((edit.part, edit.measure), []).append(edit)
    rows = {key: placed(parts[key[0]].measures[key[1]], own) for key, own in by_measure.items()}
    wanted = {NoteRef(*key, n) for key, own in rows.items() for _, n in own if n is not None}
    there = _Locator(data, frozenset(wanted))
    ends = _ends_of(data, set(by_measure), score.grid)
    splices = []
    for key, own in rows.items():
        several = parts[key[0]].staves > 1
        before: dict[int, list[AddEdit]] = {}
        for edit, n in own:
            if n is not None:
                before.setdefault(n, []).append(edit)
        for n, here in before.items():
            note = there.found[NoteRef(*key, n)]
            assert isinstance(note, FoundNote)
            if not data.startswith("<note".encode(codec), note.start):
                raise EditError(f"line {note.line}: the note comes from an entity of the file; it cannot be edited.")
            between = _space_before(Element("note", note.start), data, codec)
            text = "".join(_direction(edit, between, several) + between for edit in here)
            splices.append(Splice(note.start, note.start, text))
        last = [edit for edit, n in own if n is None]
        if last:
            first, stop = there.measures.get(key, (-1, -1))
            if stop < 0:
                raise EditError(f"{key[0]}/m{key[1]}: an empty measure; nothing can be printed in it.")
            between = _space_before(Element("", first), data, codec)
            stop -= len(_space_before(Element("", stop), data, codec).encode(codec))
            text = "".join(_at(edit, *ends[key], between, several, score.grid) for edit in last)
            splices.append(Splice(stop, stop, text))
    return splices


def _at(edit: AddEdit, end: int, divisions: Fraction, between: str, several: bool, grid: int) -> str:
    """A direction at the end of a measure, whose cursor stands at ``end`` ticks, and back to that cursor.

    Whole divisions are gone back or forward; what is left of less than one is an offset.
    """
    unit = Fraction(grid) / divisions  # ticks a division
    far = Fraction(edit.start - end) / unit
    whole = far.numerator // far.denominator
    rest = far - whole

    def move(by: int) -> str:
        if not by:
            return ""
        name, inner = "forward" if by > 0 else "backup", _deeper(between)
        return f"{between}<{name}>{inner}<duration>{abs(by)}</duration>{between if inner else ''}</{name}>"

    return move(whole) + between + _direction(edit, between, several, rest) + move(-whole)


_FINE = 10**6  # an offset is written to six decimals, rounded up: the reader takes the tick below


def _direction(edit: AddEdit, between: str, several: bool, offset: Fraction = Fraction(0)) -> str:
    """The element as text, its children in the order of the standard (MusicXML 4.0, complexType direction)."""
    one = _deeper(between)
    two, three, four = _deeper(one), _deeper(_deeper(one)), _deeper(_deeper(_deeper(one)))
    if isinstance(edit, AddWords):
        said = f"{two}<words>{escape(edit.text)}</words>"
    elif isinstance(edit, AddPedal):
        line = ' line="yes" sign="no"' if edit.line else ""
        said = f'{two}<pedal type="{edit.kind}"{line}/>'
    else:
        tunings = "".join(
            f"{three}<pedal-tuning>{four}<pedal-step>{letter}</pedal-step>{four}<pedal-alter>{alter}</pedal-alter>"
            f"{three}</pedal-tuning>"
            for letter, alter in zip(PEDALS, edit.positions, strict=True)
        )
        said = f"{two}<harp-pedals>{tunings}{two}</harp-pedals>"
    rows = f"{one}<direction-type>{said}{one}</direction-type>"
    if offset:
        up = -(-offset * _FINE // 1)
        rows += f"{one}<offset>{up // _FINE}.{up % _FINE:06d}</offset>"
    if several or edit.staff > 1:
        rows += f"{one}<staff>{edit.staff}</staff>"
    placement = edit.placement if isinstance(edit, AddWords) else "below"
    return f'<direction placement="{placement}">{rows}{between if one else ""}</direction>'


def _ends_of(data: bytes, wanted: set[tuple[str, int]], grid: int) -> dict[tuple[str, int], tuple[int, Fraction]]:
    """The cursor in ticks at the end of measures, and the divisions a quarter that hold there."""
    found = {}
    parts = {part for part, _ in wanted}
    for part, rows in reader.pieces(etree.fromstring(data, reader.parser())).items():
        if part not in parts:
            continue
        divisions = Fraction(1)
        for index, (content, _) in enumerate(rows):
            cursor = Fraction(0)
            for child in content:
                tag = child.tag
                if tag == "attributes":
                    given = number(child.findtext("divisions"))
                    if given is not None and given > 0:
                        divisions = Fraction(given)
                elif tag in ("note", "backup", "forward"):
                    if child.find("chord") is not None or child.find("grace") is not None:
                        continue
                    length = Fraction(number(child.findtext("duration")) or 0) / divisions * grid
                    cursor = max(Fraction(0), cursor + (-length if tag == "backup" else length))
            if (part, index) in wanted:
                found[part, index] = (int(cursor), divisions)
    return found


_TAG = re.compile(r"<(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")


def _replaced(edit: SignEdit, there: FoundChange, data: bytes, codec: str) -> Splice:
    """Other content for a key, clef or transposition; what the edit does not speak of stays."""
    element = there.element
    if not there.children:
        raise EditError(f"line {there.line}: the {element.name} is empty; it cannot be edited.")
    if isinstance(edit, SetKey):
        fifths = there.child("fifths")
        if fifths is None:
            raise EditError(f"line {there.line}: the key is spelled out letter by letter; it cannot be edited.")
        return Splice(fifths.content, fifths.content_stop, str(edit.fifths))
    rows = _rows(edit)
    between = _space_before(there.children[0], data, codec)
    pieces = [f"{between}<{name}>{text}</{name}>" for name, text in rows]
    own = {"diatonic", "chromatic", "octave-change", "sign", "line", "clef-octave-change"}
    pieces += [between + data[e.start : e.stop].decode(codec) for e in there.children if e.name not in own]
    tail = data[there.children[-1].stop : element.content_stop].decode(codec)
    return Splice(element.content, element.content_stop, "".join(pieces) + tail)


def _rows(edit: SignEdit) -> list[tuple[str, str]]:
    """The children of the element that an edit writes: names and texts, in the order of the standard."""
    if isinstance(edit, SetKey):
        return [("fifths", str(edit.fifths))]
    if isinstance(edit, SetClef):
        rows = [("sign", edit.sign), ("line", str(edit.line))]
        return rows + ([("clef-octave-change", str(edit.octave))] if edit.octave else [])
    rows = [("diatonic", str(edit.diatonic)), ("chromatic", str(edit.chromatic))]
    return rows + ([("octave-change", str(edit.octave))] if edit.octave else [])


def _inserted(edits: Sequence[SignEdit], note: FoundNote, data: bytes, codec: str) -> list[Splice]:
    """New keys, clefs or transpositions before a note: into the attributes that stand there, or into new ones."""
    there = note.attributes
    if not data.startswith("<note".encode(codec), note.start):
        raise EditError(f"line {note.line}: the note comes from an entity of the file; it cannot be edited there.")
    edits = sorted(edits, key=lambda edit: _IN_ATTRIBUTES.index(KINDS[type(edit)]))
    if there is not None and there.children:
        rows: dict[int, str] = {}
        for edit in edits:
            before = _before(KINDS[type(edit)], there.children)
            between = _space_before(before[-1] if before else there.children[0], data, codec)
            at = before[-1].stop if before else there.element.content
            rows[at] = rows.get(at, "") + between + _written(edit, between)
        return [Splice(at, at, text) for at, text in rows.items()]
    between = _space_before(Element("note", note.start), data, codec)
    inner = _deeper(between)
    inside = "".join(inner + _written(edit, inner) for edit in edits)
    text = f"<attributes>{inside}{between if inner else ''}</attributes>{between}"
    return [Splice(note.start, note.start, text)]


def _before(kind: str, children: Sequence[Element]) -> list[Element]:
    """The children of attributes behind which one of a kind may stand."""
    place = _IN_ATTRIBUTES.index(kind)
    last = 0
    for i, child in enumerate(children, 1):
        if child.name in _IN_ATTRIBUTES and _IN_ATTRIBUTES.index(child.name) <= place:
            last = i
    return list(children[:last])


def _written(edit: SignEdit, between: str) -> str:
    """The element as text, its children a step further in than itself."""
    kind = KINDS[type(edit)]
    inner = _deeper(between)
    staff = f' number="{edit.staff}"' if edit.staff > (kind == "clef") else ""
    rows = "".join(f"{inner}<{name}>{text}</{name}>" for name, text in _rows(edit))
    return f"<{kind}{staff}>{rows}{between if inner else ''}</{kind}>"


def _deeper(between: str) -> str:
    """The white space before an element's children, from that before the element; none where it has no line."""
    if not between.strip(" \t"):
        return ""
    return between + ("\t" if between.endswith("\t") else "  ")


def _splices(edit: NoteEdit, note: FoundNote, data: bytes, codec: str, signed: bool) -> list[Splice]:
    """The splices of one edit of a note. ``signed``: another edit writes the note's accidental."""
    if isinstance(edit, AddAccidental):
        return [_accidental(note, edit.sign, data, codec)]
    if isinstance(edit, SetStaff):
        return [_staff(note, edit.staff, data, codec)]
    if isinstance(edit, LengthEdit):
        rows = lengths.splices(edit, note, lambda at: _space_at(at, data, codec), lambda e: _content(e, data, codec))
        return [Splice(at - len(cut.encode(codec)), stop, text) for at, stop, text, cut in rows]
    if isinstance(edit, SetMark):
        start, stop, text = notations.splice(
            edit, note, lambda element: _space_before(element, data, codec), lambda text: len(text.encode(codec))
        )
        return [Splice(start, stop, text)]
    if not isinstance(edit, Respell):
        return [_text(note, "octave", str(edit.octave), codec)]
    splices = [_text(note, "step", edit.step, codec), _text(note, "octave", str(edit.octave), codec)]
    alter = note.child("alter")
    if alter is not None and edit.alter == 0:
        splices.append(Splice(alter.start - len(_space_before(alter, data, codec).encode(codec)), alter.stop, ""))
    elif alter is not None:
        splices.append(_filled(alter, str(edit.alter), codec))
    elif edit.alter != 0:
        step = note.child("step")
        assert step is not None
        splices.append(Splice(step.stop, step.stop, f"{_space_before(step, data, codec)}<alter>{edit.alter}</alter>"))
    if note.child("accidental") is not None and not signed:
        splices.append(_accidental(note, SIGNS[edit.alter], data, codec))
    return splices


def _filled(element: Element, text: str, codec: str) -> Splice:
    """Another text in an element; an empty-element tag is opened for it."""
    if element.content == element.stop:
        return Splice(element.stop - len("/>".encode(codec)), element.stop, f">{text}</{element.name}>")
    return Splice(element.content, element.content_stop, text)


def _text(note: FoundNote, name: str, text: str, codec: str) -> Splice:
    element = note.child(name)
    if element is None:
        raise EditError(f"line {note.line}: the note has no <{name}>; it cannot be edited.")
    return _filled(element, text, codec)


def _accidental(note: FoundNote, sign: str, data: bytes, codec: str) -> Splice:
    present = note.child("accidental")
    if present is not None:
        return _filled(present, sign, codec)
    before = [e for e in note.children if e.name in _BEFORE_ACCIDENTAL]
    if not before:
        raise EditError(f"line {note.line}: the note has no content; it cannot be edited.")
    last = before[-1]
    return Splice(last.stop, last.stop, f"{_space_before(last, data, codec)}<accidental>{sign}</accidental>")


def _staff(note: FoundNote, staff: int, data: bytes, codec: str) -> Splice:
    present = note.child("staff")
    if present is not None:
        return _filled(present, str(staff), codec)
    before = [e for e in note.children if e.name not in _BEHIND_STAFF]
    if not before:
        raise EditError(f"line {note.line}: the note has no content; it cannot be edited.")
    last = before[-1]
    return Splice(last.stop, last.stop, f"{_space_before(last, data, codec)}<staff>{staff}</staff>")


def _space_before(element: Element, data: bytes, codec: str) -> str:
    """The white space in front of an element, so that its new neighbour stands like it."""
    return _space_at(element.start, data, codec)


def _space_at(at: int, data: bytes, codec: str) -> str:
    text = data[max(0, at - 256) : at].decode(codec, "ignore")
    return text[len(text.rstrip()) :]


def _content(element: Element, data: bytes, codec: str) -> str:
    return data[element.content : element.content_stop].decode(codec)
