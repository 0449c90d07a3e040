"""Some measures of some parts, cut out of a document as a small score to be engraved.

The copy carries in what is in force where it begins (clef, key, time, divisions, staves, open octave signs) and
ends what would run on behind it. Nothing is written back from it: it is for looking at only.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from fractions import Fraction

from lxml import etree

from deskproof.edits import NoteEdit
from deskproof.errors import DeskproofError
from deskproof.musicxml import editor
from deskproof.musicxml.notes import number
from deskproof.musicxml.reader import parser, pieces
from deskproof.score import NoteRef

# The children of <attributes> that the copy shows, in the order of MusicXML 4.0. <transpose> prints nothing.
_SHOWN = ("divisions", "key", "time", "staves", "part-symbol", "clef", "staff-details", "measure-style")
_KEPT = ("note", "backup", "forward", "direction", "attributes", "harmony", "figured-bass", "barline")
_CLOSED = ("wedge", "octave-shift", "pedal", "dashes", "bracket")
_STARTS = ("start", "crescendo", "diminuendo", "up", "down", "sostenuto", "resume")
_STOPS = ("stop", "discontinue")
_SIGNS = {-2: "𝄫", -1: "♭", 0: "♮", 1: "♯", 2: "𝄪"}


@dataclass(frozen=True, slots=True)
class Slice:
    """A small score to be engraved.

    ``ids`` tells the note that each id of the copy stands for; ``staves`` counts the staves of all its parts.
    """

    xml: bytes
    ids: dict[str, NoteRef]
    staves: int


@dataclass(frozen=True, slots=True)
class _InForce:
    """What holds where a measure begins: attributes by (element, staff); open octave signs, with staff, by number."""

    attributes: dict[tuple[str, str], etree._Element] = field(default_factory=dict)
    shifts: dict[str, tuple[etree._Element, str]] = field(default_factory=dict)

    def after(self, measure: etree._Element) -> _InForce:
        """What holds behind a measure; the same record if nothing changed."""
        now = self
        for child in measure:
            if child.tag == "attributes":
                now = replace(now, attributes=_merged(now.attributes, child))
            elif child.tag == "direction":
                for sign in child.iterfind("direction-type/octave-shift"):
                    shifts = dict(now.shifts)
                    key = sign.get("number") or "1"
                    if sign.get("type") in _STARTS:
                        shifts[key] = (child, _staff_meant(child))
                    elif sign.get("type") in _STOPS:
                        shifts.pop(key, None)
                    now = replace(now, shifts=shifts)
        return now


def _merged(held: dict[tuple[str, str], etree._Element], new: etree._Element) -> dict[tuple[str, str], etree._Element]:
    """The attributes in force with those of one element put in; without a number they hold for all staves."""
    found = dict(held)
    for tag in ("key", "time"):
        if any(one.get("number") is None for one in new.iterfind(tag)):
            found = {key: element for key, element in found.items() if key[0] != tag}
    for child in new:
        tag = child.tag
        if tag not in _SHOWN:
            continue
        staff = child.get("number") or ("1" if tag == "clef" else "")
        if tag == "measure-style":
            style = next((one for one in child if isinstance(one.tag, str)), None)
            if style is None or style.tag == "multiple-rest":
                continue
            if style.get("type") == "stop":
                found.pop((tag, staff), None)
                continue
        found[tag, staff] = child
    return found


class Source:
    """A parsed score, ready to be cut; what is in force is gathered once for each part that is asked for."""

    def __init__(self, root: etree._Element) -> None:
        self.root = root
        self.measures = pieces(root)
        self._in_force: dict[str, list[_InForce]] = {}

    @classmethod
    def of(cls, data: bytes) -> Source:
        """Parse the bytes of a MusicXML document."""
        return cls(etree.fromstring(data, parser()))

    def cut(
        self, parts: Sequence[str], first: int, last: int, edits: Iterable[NoteEdit] = (), names: bool = False
    ) -> Slice:
        """Cut out measures.

        Parameters
        ----------
        parts : sequence of str
            Ids of the parts, in the order of the score.
        first, last : int
            Ordinals of the measures, both included.
        edits : iterable of NoteEdit
            What is changed in the copy; edits of notes outside it are left out. (Edits of clef, key or
            transposition may reach in from before: they are for the whole document.)
        names : bool
            Print the names of the parts.

        Raises
        ------
        DeskproofError
            If a part or measure is not there.
        """
        root = etree.Element("score-partwise", version="4.0")
        root.append(self._part_list(parts, names))
        for part_id in parts:
            root.append(self._part(part_id, first, last))
        inside = [
            replace(edit, note=edit.note._replace(measure=edit.note.measure - first))
            for edit in edits
            if edit.note.part in parts and first <= edit.note.measure <= last
        ]
        if inside:
            data = editor.write(etree.tostring(root, encoding="UTF-8", xml_declaration=True), inside)
            root = etree.fromstring(data, parser())
        ids: dict[str, NoteRef] = {}
        staves = 0
        for part_id, part in zip(parts, root.iterfind("part"), strict=True):
            _settle(part)
            for m, measure in enumerate(part.iterfind("measure")):
                for n, note in enumerate(measure.iterfind("note")):
                    ref = NoteRef(part_id, first + m, n)
                    name = note_id(ref)
                    note.set("id", name)
                    ids[name] = ref
            staves += int(number(part.findtext("measure/attributes/staves")) or 1)
        return Slice(etree.tostring(root, encoding="UTF-8", xml_declaration=True), ids, staves)

    def _part_list(self, parts: Sequence[str], names: bool) -> etree._Element:
        """The chosen parts, and the groups that hold two or more of them."""
        made = etree.Element("part-list")
        declared = self.root.find("part-list")
        known = {}
        groups: dict[str, list[str]] = {}
        rows: list[tuple[str, str, etree._Element]] = []
        for child in declared if declared is not None else ():
            if child.tag == "score-part":
                known[child.get("id")] = child
                for members in groups.values():
                    members.append(child.get("id") or "")
                rows.append(("part", child.get("id") or "", child))
            elif child.tag == "part-group":
                key = child.get("number") or "1"
                rows.append((child.get("type") or "", key, child))
                if child.get("type") == "start":
                    groups[key] = []
                elif key in groups and sum(one in parts for one in groups.pop(key)) < 2:
                    start = next(i for i in reversed(range(len(rows))) if rows[i][:2] == ("start", key))
                    rows = [row for i, row in enumerate(rows[:-1]) if i != start]
        for kind, key, element in rows:
            if kind != "part":
                made.append(deepcopy(element))
            elif key in parts:
                made.append(_named(key, element, names))
        for part_id in parts:
            if part_id not in known:
                made.append(_named(part_id, None, names))
        return made

    def _part(self, part_id: str, first: int, last: int) -> etree._Element:
        measures = self.measures.get(part_id)
        if measures is None:
            raise DeskproofError(f"no part {part_id} in this score; its parts: {', '.join(self.measures)}.")
        if not 0 <= first <= last < len(measures):
            raise DeskproofError(f"part {part_id} has no measures {first} to {last} (of {len(measures)}, from 0).")
        made = etree.Element("part", id=part_id)
        for m in range(first, last + 1):
            content, owner = measures[m]
            measure = etree.SubElement(made, "measure", number=owner.get("number") or str(m + 1))
            if owner.get("implicit") == "yes":
                measure.set("implicit", "yes")
            measure.extend(deepcopy(child) for child in content if child.tag in _KEPT)
        self._carry_in(made[0], self._force(part_id)[first])
        return made

    def _force(self, part_id: str) -> list[_InForce]:
        rows = self._in_force.get(part_id)
        if rows is None:
            now = _InForce()
            rows = []
            for content, _ in self.measures[part_id]:
                rows.append(now)
                now = now.after(content)
            self._in_force[part_id] = rows
        return rows

    def _carry_in(self, measure: etree._Element, force: _InForce) -> None:
        """Begin a measure with all that is in force there, its own first attributes included."""
        held = force.attributes
        for child in list(measure):
            if child.tag in ("note", "backup", "forward"):
                break
            if child.tag == "attributes":
                held = _merged(held, child)
                measure.remove(child)
        attributes = etree.Element("attributes")
        for (_, _), element in sorted(held.items(), key=lambda item: (_SHOWN.index(item[0][0]), item[0][1])):
            attributes.append(deepcopy(element))
        measure.insert(0, attributes)
        for key, (direction, staff) in reversed(force.shifts.items()):
            carried = deepcopy(direction)
            if staff != (direction.findtext("staff") or "1"):
                for sign in carried.iter("octave-shift"):
                    sign.set("meant", staff)
            for kind in list(carried.iterfind("direction-type")):
                if not any(sign.tag == "octave-shift" and (sign.get("number") or "1") == key for sign in kind):
                    carried.remove(kind)
            for offset in list(carried.iterfind("offset")):
                carried.remove(offset)
            measure.insert(1, carried)


def _staff_meant(direction: etree._Element) -> str:
    """The staff of an octave sign: as it says, but where none of its notes follow there, the staff where they do.

    Some programs name the home staff of a voice whose notes have crossed to the other.
    """
    said = direction.findtext("staff") or "1"
    following = [
        note.findtext("staff") or "1"
        for note in direction.itersiblings("note")
        if note.find("pitch") is not None
    ]
    return following[0] if following and said not in following else said


def _shift_by_hand(part: etree._Element) -> None:
    """Octave signs over notes of a voice that is at home on the other staff: the engraver loses these.

    The notes are written where they stand on the page, with the sign as words and a dashed line over them.
    """
    open_: dict[str, tuple[Fraction, str, int]] = {}
    shifted: list[tuple[Fraction, Fraction | None, str, int]] = []
    rows = list(_timed(part))
    for time, direction in rows:
        for sign in list(direction.iterfind("direction-type/octave-shift")):
            key, type_ = sign.get("number") or "1", sign.get("type")
            if type_ in _STARTS:
                meant = str(sign.attrib.pop("meant", "")) or _staff_meant(direction)
                if meant == (direction.findtext("staff") or "1"):
                    continue
                octaves = {"8": 1, "15": 2, "22": 3}.get(sign.get("size") or "8", 1) * (1 if type_ == "down" else -1)
                open_[key] = (time, meant, octaves)
                words = etree.Element("words")
                words.text = {1: "8va", -1: "8vb", 2: "15ma", -2: "15mb"}.get(octaves, "22ma")
                _in_its_place(sign, words, etree.Element("dashes", type="start", number="16"))
                _put_on(direction, meant)
            elif type_ in _STOPS and key in open_:
                begin, meant, octaves = open_.pop(key)
                shifted.append((begin, time, meant, octaves))
                _in_its_place(sign, etree.Element("dashes", type="stop", number="16"))
                _put_on(direction, meant)
    shifted += [(begin, None, meant, octaves) for begin, meant, octaves in open_.values()]
    for time, note in rows:
        octave = note.find("pitch/octave")
        for begin, end, staff, octaves in shifted:
            inside = begin <= time and (end is None or time < end)
            if octave is not None and inside and (note.findtext("staff") or "1") == staff:
                octave.text = str(int(number(octave.text) or 0) - octaves)


def _in_its_place(sign: etree._Element, *signs: etree._Element) -> None:
    """Put other signs where one stands, each in a direction-type of its own."""
    kind = sign.getparent()
    assert kind is not None
    for one in reversed(signs):
        other = etree.Element("direction-type")
        other.append(one)
        kind.addnext(other)
    kind.remove(sign)


def _put_on(direction: etree._Element, staff: str) -> None:
    element = direction.find("staff")
    if element is None:
        element = etree.SubElement(direction, "staff")
    element.text = staff


def note_id(ref: NoteRef) -> str:
    """The id of a note in a render copy.

    >>> note_id(NoteRef("P27", 12, 3))
    'note-P27-12-3'
    """
    return f"note-{'_'.join(ref.part.split())}-{ref.measure}-{ref.n}"


def _named(part_id: str, declared: etree._Element | None, names: bool) -> etree._Element:
    made = etree.Element("score-part", id=part_id)
    for tag in ("part-name", "part-abbreviation"):
        text = (declared.findtext(tag) or "") if declared is not None and names else ""
        if text.strip() or tag == "part-name":
            etree.SubElement(made, tag).text = _in_lines(text)
    return made


def _in_lines(name: str) -> str:
    """A part's name in short lines, so that a long one does not take the width of the music.

    >>> _in_lines("Bass Clarinet in A (doubling Contrabass Clarinet, Saxophone and more)").splitlines()
    ['Bass Clarinet in A', '(doubling Contrabass', 'Clarinet, …']
    """
    return "\n".join(textwrap.wrap(" ".join(name.split()), 20, max_lines=3, placeholder=" …"))


def _settle(part: etree._Element) -> None:
    """Make a copied part fit for engraving: whole spans only, pedals and arpeggios in the form that is drawn right."""
    staves = int(number(part.findtext("measure/attributes/staves")) or 1)
    for element in list(part.iter("attributes")):
        _shown_only(element)
    for direction in list(part.iter("direction")):
        _direction(direction)
    if staves > 1:
        _shift_by_hand(part)
        for note in part.iter("note"):
            for sign in note.iter("arpeggiate"):
                if sign.get("number") is None:
                    sign.set("number", note.findtext("staff") or "1")
    for note in list(part.iter("note")):
        _say_glissando(note)
    _whole_spans(part)
    for name in ("notations", "direction-type", "direction"):
        for element in list(part.iter(name)):
            if not any(child.tag not in ("staff", "voice", "offset") for child in element):
                _drop(element)


def _shown_only(attributes: etree._Element) -> None:
    for child in list(attributes):
        style = child.find("multiple-rest") if child.tag == "measure-style" else None
        if child.tag not in _SHOWN or style is not None:
            attributes.remove(child)
        elif child.tag == "staff-details":
            child.attrib.pop("print-object", "")  # hidden where it is empty; here it is asked for


def _direction(direction: etree._Element) -> None:
    """Drop what is not printed, and rewrite the signs that the engraver does not know."""
    for child in list(direction):
        if child.tag != "direction-type":
            if child.tag == "sound":
                direction.remove(child)
            continue
        for sign in list(child):
            if isinstance(sign.tag, str) and sign.get("print-object") == "no":
                child.remove(sign)
            elif sign.tag == "harp-pedals":
                words = etree.Element("words")
                words.text = _harp_words(sign)
                child.replace(sign, words)
            elif sign.tag == "pedal":
                _pedal(direction, child, sign)


def _pedal(direction: etree._Element, kind: etree._Element, sign: etree._Element) -> None:
    type_ = sign.get("type")
    if type_ == "continue" or sign.get("line") == sign.get("sign") == "no":  # prints nothing
        kind.remove(sign)
    elif type_ == "discontinue":
        sign.set("type", "stop")
    elif type_ == "resume":
        sign.set("type", "start")
    elif type_ == "change":
        again = deepcopy(direction)
        for other in list(again.iterfind("direction-type")):
            if other.find("pedal") is None:
                again.remove(other)
        for new in again.iter("pedal"):
            new.set("type", "start")
        sign.set("type", "stop")
        direction.addnext(again)
    elif type_ == "sostenuto" and sign.get("line") == "yes":
        words = etree.Element("direction-type")
        etree.SubElement(words, "words").text = "Sost."
        kind.addprevious(words)


def _harp_words(sign: etree._Element) -> str:
    """The pedal setting in letters and signs, the feet apart.

    >>> _harp_words(etree.fromstring("<harp-pedals><pedal-tuning><pedal-step>B</pedal-step><pedal-alter>-1"
    ...     "</pedal-alter></pedal-tuning><pedal-tuning><pedal-step>E</pedal-step><pedal-alter>0</pedal-alter>"
    ...     "</pedal-tuning></harp-pedals>"))
    'B♭ | E♮'
    """
    words: list[str] = []
    for tuning in sign.iterfind("pedal-tuning"):
        step = (tuning.findtext("pedal-step") or "").strip()
        if step == "E" and words:
            words.append("|")
        words.append(step + _SIGNS.get(int(number(tuning.findtext("pedal-alter")) or 0), ""))
    return " ".join(words)


def _say_glissando(note: etree._Element) -> None:
    """A word printed along a glissando stands above its first note."""
    for sign in note.iter("glissando", "slide"):
        text = (sign.text or "").strip()
        if sign.get("type") != "start" or not text:
            continue
        direction = etree.Element("direction", placement="above")
        words = etree.SubElement(etree.SubElement(direction, "direction-type"), "words")
        words.set("font-style", "italic")
        words.text = text
        staff = note.findtext("staff")
        if staff:
            etree.SubElement(direction, "staff").text = staff
        first = note
        while first.find("chord") is not None and (before := first.getprevious()) is not None:
            first = before
        first.addprevious(direction)


def _whole_spans(part: etree._Element) -> None:
    """Drop ends without a beginning; end hairpins, lines and octave signs that run on; drop slurs that do.

    A tie that runs on is drawn as a short open tie. Beginnings and ends are paired in the order of the file, as the
    standard means their numbers; what is left, as between two voices, in order of time.
    """
    open_: dict[tuple[str, ...], list[tuple[Fraction, etree._Element]]] = {}
    ends: list[tuple[Fraction, tuple[str, ...], etree._Element]] = []
    for time, element in _timed(part):
        for sign in _signs(element):
            key: tuple[str, ...] = (str(sign.tag), sign.get("number") or "1")
            if sign.tag == "tied":
                key = (key[0], *_tie_key(element))
            if sign.get("type") in _STARTS:
                open_.setdefault(key, []).append((time, sign))
            elif sign.get("type") in _STOPS:
                waiting = open_.get(key)
                if waiting and waiting[-1][0] <= time:
                    waiting.pop()
                else:
                    ends.append((time, key, sign))
    for time, key, sign in sorted(ends, key=lambda end: end[0]):
        waiting = open_.get(key, [])
        start = next((one for one in reversed(waiting) if one[0] <= time), None)
        if start is not None:
            waiting.remove(start)
        elif not _star(sign):
            _drop(sign)
    last = part.findall("measure")[-1]
    for key, waiting in open_.items():
        for _, sign in waiting:
            if key[0] == "tied":
                sign.set("type", "let-ring")
            elif key[0] not in _CLOSED:
                _drop(sign)
            elif sign is waiting[-1][1] and not _star(sign):
                last.append(_ending(sign))
            elif key[0] != "pedal":
                _drop(sign)
    _endings(part)


def _star(sign: etree._Element) -> bool:
    """A pedal's release sign, which is printed by itself."""
    return sign.tag == "pedal" and sign.get("line") != "yes"


def _tie_key(note: etree._Element) -> tuple[str, ...]:
    return tuple((note.findtext(f"pitch/{tag}") or "").strip() for tag in ("step", "alter", "octave"))


def _ending(sign: etree._Element) -> etree._Element:
    """A direction that ends a span at the end of the last measure."""
    kind = sign.getparent()
    direction = kind.getparent() if kind is not None else None
    made = etree.Element("direction")
    stop = etree.SubElement(etree.SubElement(made, "direction-type"), sign.tag, type="stop")
    for name in ("number", "line", "line-end", "size"):
        value = sign.get(name)
        if value is not None:
            stop.set(name, value)
    if sign.tag == "bracket" and stop.get("line-end") is None:
        stop.set("line-end", "none")
    staff = direction.findtext("staff") if direction is not None else None
    if staff:
        etree.SubElement(made, "staff").text = staff
    return made


def _signs(element: etree._Element) -> list[etree._Element]:
    """The ends of spans of a note or direction; ends before beginnings."""
    if element.tag == "note":
        found = [*element.iter("slur", "glissando", "slide", "tied", "wavy-line")]
    else:
        found = [*element.iter(*_CLOSED)]
    return sorted(found, key=lambda sign: sign.get("type") not in _STOPS)


def _timed(part: etree._Element) -> Iterator[tuple[Fraction, etree._Element]]:
    """Notes and directions of a part in the order of the file, each with its time in quarters."""
    divisions = Fraction(1)
    begin = Fraction(0)
    for measure in part.iterfind("measure"):
        cursor = furthest = before = Fraction(0)
        for child in measure:
            length = Fraction(number(child.findtext("duration")) or 0) / divisions
            if child.tag == "attributes":
                divisions = Fraction(number(child.findtext("divisions")) or 0) or divisions
            elif child.tag == "note":
                if child.find("chord") is None:
                    before = cursor
                    if child.find("grace") is None:
                        cursor += length
                yield begin + before, child
            elif child.tag == "backup":
                cursor = max(Fraction(0), cursor - length)
            elif child.tag == "forward":
                cursor += length
            elif child.tag == "direction":
                yield begin + cursor + Fraction(number(child.findtext("offset")) or 0) / divisions, child
            furthest = max(furthest, cursor)
        begin += furthest


def _endings(part: etree._Element) -> None:
    """Drop the ends of first and second endings that began before, and beginnings that do not end here."""
    start = None
    for ending in list(part.iter("ending")):
        if ending.get("type") == "start":
            start = ending
        elif start is None:
            _drop(ending)
        else:
            start = None
    if start is not None:
        _drop(start)


def _drop(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)
