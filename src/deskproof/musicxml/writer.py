"""Score -> a MusicXML 4.0 partwise document.

What the record does not keep is not written: lyrics, chord symbols, figured bass, layout of pages, fonts, the mode of a
key, the sign of a metre (C), where a sign stands on the page. What :func:`write` adds by itself: types, dots and
tuplets from the lengths, beams, stems where a staff has two voices, and the placement of signs above or below.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import groupby

from deskproof import instruments
from deskproof.musicxml.writing_attributes import attributes
from deskproof.musicxml.writing_beams import FLAGS, Flagged, beams
from deskproof.musicxml.writing_directions import barline, direction, is_on_barline, is_sound, sound
from deskproof.musicxml.writing_head import Group, Ids, Staffing, head
from deskproof.musicxml.writing_lengths import WriteError, rests, writable
from deskproof.musicxml.writing_notes import grace_value, note_lines
from deskproof.musicxml.writing_tuplets import Length, Printed, printed
from deskproof.score import CHORD, GRACE, HIDDEN, Change, Direction, Measure, Note, Part, Score, Time

__all__ = ["Group", "Staffing", "WriteError", "rests", "writable", "write"]

Beam = tuple[str, ...]

_START = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"
  "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0">"""


def write(score: Score, layout: Staffing | None = None) -> bytes:
    """The score as a MusicXML 4.0 document in UTF-8.

    Notes are written in the order of the record, voice after voice as the caller gives them; what is read back from
    the document is the same score, but for the list at the head of this module, marks ``tied`` and ``tuplet`` (made
    anew), and the order and ordinals of directions.

    Parameters
    ----------
    score : Score
        Each of its notes has a length that is one printed value; see :func:`writable`.
    layout : Staffing or None
        Brackets and braces around its parts.

    Raises
    ------
    WriteError
        If a length is no printed value, or a record breaks a rule; the message names part and measure.
    """
    ids = Ids(score)
    lines = [_START, *head(score, layout or Staffing(), ids)]
    for part, own, instruments_of in zip(score.parts, ids.parts, ids.instruments, strict=True):
        lines.append(f'<part id="{own}">')
        writer = _PartWriter(part, score.grid, instruments_of)
        for measure in part.measures:
            try:
                lines += writer.measure(measure)
            except WriteError as error:
                where = f"{part.name or part.id}, measure {measure.number or measure.index + 1}"
                raise WriteError(f"{where}: {error}") from None
        lines.append("</part>")
    lines.append("</score-partwise>\n")
    return "\n".join(lines).encode("utf-8")


class _PartWriter:
    """Writes the measures of one part in order; remembers the metre from one to the next."""

    def __init__(self, part: Part, grid: int, ids: dict[str, str]) -> None:
        self.grid, self.ids, self.last = grid, ids, len(part.measures) - 1
        self.several = part.staves > 1
        self.staves = part.staves
        self.sung = _is_sung(part)
        self.time = Time("4", 4, 4 * grid)

    def measure(self, measure: Measure) -> list[str]:
        """The lines of one measure."""
        for change in measure.changes:
            if isinstance(change.value, Time):
                self.time = change.value
        implicit = ' implicit="yes"' if measure.implicit else ""
        content = _Content(self, measure)
        return [f'<measure number="{_escaped(measure.number)}"{implicit}>', *content.lines(), "</measure>"]


def _is_sung(part: Part) -> bool:
    first = next(iter(part.instruments.values()), None)
    known = instruments.identify(
        sound=first.sound if first else None, program=first.program if first else None, name=part.name
    )
    return known is not None and known.family == "voice"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


class _Content:
    """The lines of one measure as they come, and the tick at which the next one stands."""

    def __init__(self, part: _PartWriter, measure: Measure) -> None:
        self.part, self.own = part, measure
        self.out: list[str] = []
        self.cursor = 0
        rows = [row for row in measure.directions if not is_on_barline(row)]
        by_place = [list(group) for _, group in groupby(rows, key=lambda row: (row.k, row.start, row.staff))]
        self.alone = [group for group in by_place if all(map(is_sound, group))]
        signs = [group for group in by_place if not all(map(is_sound, group))]
        self.said = sorted(signs, key=lambda group: group[0].start)
        self.changes = _by_tick(measure.changes)

    def lines(self) -> list[str]:
        """The measure from its left to its right barline."""
        own = self.own
        signs = [row for row in own.directions if is_on_barline(row)]
        left = [ending for ending in own.endings if ending.kind == "start"]
        begins = [repeat for repeat in own.repeats if not repeat.right]
        style = "heavy-light" if any(repeat.forward for repeat in begins) else ""
        self.out += barline("left", style, [row for row in signs if row.start == 0 and own.length], left, begins)
        divisions = self.part.grid if own.index == 0 else None
        self.out += attributes(self.changes.pop(0, ()), divisions, self.part.staves)
        notes = own.notes
        shown, beam, stems = self.layout(notes)
        crossing = _crossing(notes, beam) if self.part.several else frozenset()
        head = 0
        for i, note in enumerate(notes):
            if not note.flags & CHORD:
                head = i
                self.before(note)
            stem = "" if head in crossing else stems.get((note.staff, note.voice), "")
            of = self.part.ids.get(note.instrument, "")
            self.out += note_lines(note, shown[i], beam.get(i, ()), stem, self.part.several, of)
            if not note.flags & (CHORD | GRACE):
                self.cursor = note.start + note.length
        self.rest(signs)
        return self.out

    # ------------------------------------------------------------------ between the notes

    def before(self, note: Note) -> None:
        """Go to where a note begins, and write what stands there, or over the note on its staff."""
        self.go(note.start, note)
        changes = self.changes.get(note.start, ())
        if changes and all(c.staff in (0, note.staff) for c in changes):
            self.out += attributes(self.changes.pop(note.start), None, self.part.staves)
        for group in list(self.said):
            at = group[0].start
            if group[0].staff == note.staff and (at == note.start or note.start < at < note.start + note.length):
                self.say(group)
        for group in list(self.alone):
            if group[0].start == note.start:
                self.say(group)

    def say(self, group: list[Direction]) -> None:
        """Write one direction or sound where the cursor is, or with an offset if it belongs elsewhere."""
        offset = group[0].start - self.cursor
        if all(map(is_sound, group)):
            self.alone.remove(group)
            self.out += sound(group)
        else:
            self.said.remove(group)
            self.out += direction(group, offset, self.part.several, self.part.sung)

    def rest(self, signs: Sequence[Direction]) -> None:
        """What has found no note: gone to at the end, in the order of time; then the right barline."""
        own = self.own
        places = {group[0].start for group in (*self.said, *self.alone)} | set(self.changes)
        for tick in sorted(places):
            self.go(min(tick, own.length))  # what stands behind the bar is offset
            self.out += attributes(self.changes.pop(tick, ()), None, self.part.staves)
            for group in [g for g in (*self.said, *self.alone) if g[0].start == tick]:
                self.say(group)
        inside = sorted({row.start for row in signs if 0 < row.start < own.length})
        for tick in inside:
            self.go(tick)
            self.out += barline("middle", "", [row for row in signs if row.start == tick], (), ())
        ends = [ending for ending in own.endings if ending.kind != "start"]
        repeats = [repeat for repeat in own.repeats if repeat.right]
        closing = [row for row in signs if row.start >= own.length]
        self.go(own.length)
        style = "light-heavy" if own.index == self.part.last or any(not r.forward for r in repeats) else ""
        self.out += barline("right", style, closing, ends, repeats)

    def go(self, tick: int, note: Note | None = None) -> None:
        """Move to a tick; forward in the voice of a note, where one is given."""
        by = tick - self.cursor
        if by < 0:
            self.out += ["<backup>", f"<duration>{-by}</duration>", "</backup>"]
        elif by > 0:
            self.out += ["<forward>", f"<duration>{by}</duration>"]
            if note is not None:
                self.out.append(f"<voice>{note.voice}</voice>")
                if self.part.several:
                    self.out.append(f"<staff>{note.staff}</staff>")
            self.out.append("</forward>")
        self.cursor = tick

    # ------------------------------------------------------------------ values, beams, stems

    def layout(self, notes: Sequence[Note]) -> tuple[list[Printed], dict[int, Beam], dict[tuple[int, str], str]]:
        """The printed values of all notes, the beams by ordinal, and the stems by staff and voice."""
        shown: list[Printed] = [Printed(None)] * len(notes)
        beam: dict[int, Beam] = {}
        voices: dict[str, list[int]] = {}
        graces: dict[str, list[int]] = {}
        for i, note in enumerate(notes):
            if note.flags & GRACE:
                graces.setdefault(note.voice, []).append(i)
                continue
            self.graces(notes, graces.pop(note.voice, []), shown, beam)
            if not note.flags & CHORD and note.marked("measure-rest") is None:
                voices.setdefault(note.voice, []).append(i)
        for run in graces.values():
            self.graces(notes, run, shown, beam)
        for rows in voices.values():
            self.voice(notes, sorted(rows, key=lambda i: notes[i].start), shown, beam)
        main = 0
        for i, note in enumerate(notes):
            if not note.flags & CHORD:
                main = i
            elif not note.flags & GRACE:
                same = note.length == notes[main].length
                shown[i] = Printed(shown[main].value if same else printed([self.length(note)])[0].value)
            self.look(note, shown[i])
        return shown, beam, _stems(notes)

    def voice(
        self, notes: Sequence[Note], rows: Sequence[int], shown: list[Printed], beam: dict[int, Beam]
    ) -> None:
        """The values and beams of one voice, the first notes of its chords in order of time."""
        key = tuple([(notes[i].start, notes[i].length, notes[i].kind == "rest") for i in rows])
        for i, (value, pieces) in zip(rows, _rhythm(key, self.part.time, self.part.grid), strict=True):
            shown[i] = value
            if pieces:
                beam[i] = pieces

    def graces(self, notes: Sequence[Note], run: Sequence[int], shown: list[Printed], beam: dict[int, Beam]) -> None:
        """The values and beams of grace notes in a row."""
        heads = [i for i in run if not notes[i].flags & CHORD]
        value = grace_value(len(heads))
        for i in run:
            shown[i] = Printed(value)
        if len(heads) > 1:
            pieces = ["begin", *["continue"] * (len(heads) - 2), "end"]
            beam.update({i: (piece,) * FLAGS[value.type] for i, piece in zip(heads, pieces, strict=True)})

    def length(self, note: Note) -> Length:
        """Start and length of a note in quarters."""
        return Length(Fraction(note.start, self.part.grid), Fraction(note.length, self.part.grid))

    def look(self, note: Note, shown: Printed) -> None:
        """Refuse what has no printed value. A bar's rest needs none, nor does a rest that is not printed."""
        whole = note.length == self.own.length or note.marked("measure-rest")
        untyped = note.kind == "rest" and (whole or note.flags & HIDDEN)
        if note.flags & GRACE or (note.length > 0 and (shown.value or untyped)):
            return
        raise WriteError(
            f"a {note.kind} at quarter {Fraction(note.start, self.part.grid)}, {Fraction(note.length, self.part.grid)} "
            "quarters long; expected one note value. Cut it into tied ones."
        )


@lru_cache(maxsize=4096)
def _rhythm(row: tuple[tuple[int, int, bool], ...], time: Time, grid: int) -> list[tuple[Printed, Beam]]:
    """The values and beams of a voice, of whose notes and rests it knows start, length, and whether it is a rest."""
    lengths = [Length(Fraction(start, grid), Fraction(length, grid)) for start, length, _ in row]
    values = printed(lengths)
    flagged = [
        Flagged(one.start, one.length, 0 if is_rest or value.value is None else FLAGS.get(value.value.type, 0))
        for one, value, (_, _, is_rest) in zip(lengths, values, row, strict=True)
    ]
    return list(zip(values, beams(flagged, time, grid), strict=True))


def _by_tick(changes: Sequence[Change]) -> dict[int, list[Change]]:
    found: dict[int, list[Change]] = {}
    for change in changes:
        found.setdefault(change.start, []).append(change)
    return found


def _crossing(notes: Sequence[Note], beam: dict[int, Beam]) -> frozenset[int]:
    """The notes under beams that go from staff to staff; their stems are left to whoever engraves them."""
    groups: list[list[int]] = []
    open_: dict[str, list[int]] = {}
    for i in sorted(beam):
        if beam[i][:1] == ("begin",):
            open_[notes[i].voice] = []
            groups.append(open_[notes[i].voice])
        if beam[i] and notes[i].voice in open_:
            open_[notes[i].voice].append(i)
    return frozenset(i for group in groups if len({notes[k].staff for k in group}) > 1 for i in group)


def _stems(notes: Sequence[Note]) -> dict[tuple[int, str], str]:
    """The direction of stems by staff and voice, where a staff has two voices: the first up, the second down."""
    on_staff: dict[int, set[str]] = {}
    for note in notes:
        if note.kind != "rest" and not note.flags & HIDDEN:
            on_staff.setdefault(note.staff, set()).add(note.voice)
    return {
        (staff, name): "down" if k % 2 else "up"
        for staff, names in on_staff.items()
        if len(names) > 1
        for k, name in enumerate(sorted(names, key=lambda voice: (len(voice), voice)))
    }
