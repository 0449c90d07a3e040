"""A short score's notes written down: voices, chords, rests, ties, accidentals, measure by measure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from deskproof import instruments
from deskproof.musicxml.writing_lengths import WriteError, rests, writable
from deskproof.page import alters_of
from deskproof.score import (
    CHORD,
    GRACE,
    HIDDEN,
    TIE_START,
    TIE_STOP,
    Change,
    Direction,
    Key,
    Mark,
    Measure,
    Note,
    Part,
    Score,
    ScoreInstrument,
    Time,
)
from deskproof.scoring import short_signs
from deskproof.scoring.plan_form import OCTAVE_WORDS
from deskproof.scoring.short_lines import Lines
from deskproof.scoring.short_merging import Kept
from deskproof.scoring.short_voices import Piece, Voice, voices_in

PLAYED_BY = "other-play"
PLAYER = "player"
_SIGNS: dict[int | float, str] = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_WHOLE_BAR = Mark("measure-rest")
_VOICES = 4  # numbers kept for a staff: 1 to 4 on the first, 5 to 8 on the second


class _Printed(NamedTuple):
    """A note or, without ``one``, a rest as it is printed."""

    start: int
    length: int
    one: Kept | None = None
    flags: int = 0
    marks: tuple[Mark, ...] = ()


def octave_word(octave: int) -> str:
    """How many octaves above a note a player plays it, as musicians write it.

    >>> octave_word(1), octave_word(-1), octave_word(0)
    ('8va', '8vb', '')
    """
    return OCTAVE_WORDS.get(octave, "") if octave else ""


def written(lines: Lines, kept: Sequence[Kept], staves: int, piano: bool = False) -> Score:
    """The short score, or the piano part, as a score of one part."""
    return with_origins(lines, kept, staves, piano)[0]


def with_origins(
    lines: Lines, kept: Sequence[Kept], staves: int, piano: bool
) -> tuple[Score, dict[tuple[int, int], Kept]]:
    """The same, and for each printed note (measure, n) what it stands for."""
    writer = _Page(lines, kept, staves)
    measures = tuple(writer.measure(bar) for bar in range(len(lines.onsets)))
    if piano:
        sound = instruments.by_id("piano").sounds[0]
        part = Part("P1", "Piano", "Pno.", {"P1-I1": ScoreInstrument("P1-I1", "Piano", sound)}, measures)
    else:
        part = Part("P1", "Short score", "", {}, measures)
    remarks = lines.score.remarks
    if lines.drums:
        remarks = (*remarks, f"Left out, being without pitch: {', '.join(lines.drums)}.")
    extra = {key: value for key, value in lines.score.extra.items() if key != "concert"}
    return Score(lines.score.title, lines.score.grid, (part,), remarks, True, "musicxml", extra), writer.origin


class _Page:
    """Writes the measures of one part."""

    def __init__(self, lines: Lines, kept: Sequence[Kept], staves: int) -> None:
        self.lines, self.staves = lines, staves
        self.changes = short_signs.changes(lines)
        self.repeats = short_signs.repeats(lines)
        self.clefs = short_signs.clefs(kept, staves, len(lines.onsets))
        self.slurs = short_signs.slurs(kept)
        self.said: dict[int, list[Direction]] = {}
        for bar, row in (*short_signs.for_all(lines), *short_signs.dynamics(lines, kept)):
            self.said.setdefault(bar, []).append(row)
        self.pieces = self._pieces(kept)
        self.bar = 0
        self.origin: dict[tuple[int, int], Kept] = {}
        self.time, self.key = Time("4", 4, 4 * lines.score.grid), Key(0)
        longest = max(lines.score.parts, key=lambda part: len(part.measures))
        self.printed = longest.measures

    def _pieces(self, kept: Sequence[Kept]) -> dict[tuple[int, int], list[Piece]]:
        """(bar, staff) -> what stands there."""
        found: dict[tuple[int, int], list[Piece]] = {}
        onsets, lengths = self.lines.onsets, self.lines.frame.lengths
        for one in kept:
            if one.grace:
                at = one.onset - onsets[one.bar]
                found.setdefault((one.bar, one.staff), []).append(Piece(one, at, at, False, False))
                continue
            for bar in range(one.bar, len(onsets)):
                start, end = max(one.onset, onsets[bar]), min(one.end, onsets[bar] + lengths[bar])
                if start >= end:
                    break
                piece = Piece(one, start - onsets[bar], end - onsets[bar], start > one.onset, end < one.end)
                found.setdefault((bar, one.staff), []).append(piece)
        return found

    def measure(self, bar: int) -> Measure:
        """The measure of this ordinal; called in order."""
        self.bar = bar
        own = self.changes.get(bar, [])
        for change in own:
            if isinstance(change.value, Time):
                self.time = change.value
            elif isinstance(change.value, Key):
                self.key = change.value
        length = self.lines.frame.lengths[bar]
        notes: list[Note] = []
        for staff in range(1, self.staves + 1):
            pieces = self.pieces.get((bar, staff), [])
            notes += self._staff(staff, voices_in(pieces), length, len(notes))
        notes = _with_accidentals(notes, self.key)
        signs, brackets = self.repeats.get(bar, ((), ()))
        first = [Change(0, 0, "staves", self.staves)] if bar == 0 else []
        said = sorted(self.said.get(bar, []), key=lambda row: row.start)
        old = self.printed[bar]
        return Measure(
            bar, old.number, length, tuple(notes),
            tuple(row._replace(k=k) for k, row in enumerate(said)),
            (*own, *first, *self.clefs.get(bar, ())), old.implicit, signs, brackets,
        )  # fmt: skip

    def _staff(self, staff: int, voices: list[Voice], length: int, n: int) -> list[Note]:
        found: list[Note] = []
        if not voices:
            name = str(_VOICES * (staff - 1) + 1)
            return [Note(n, 0, length, None, "rest", staff, name, 0, "", "", (_WHOLE_BAR,))]
        for k, voice in enumerate(voices):
            name = str(_VOICES * (staff - 1) + k + 1) if k < _VOICES else str(10 * _VOICES + _VOICES * staff + k)
            found += self._voice(staff, name, voice, length, n + len(found), k > 0)
        return found

    def _voice(self, staff: int, name: str, voice: Voice, length: int, n: int, inner: bool) -> list[Note]:
        """The notes of a voice in order, its silences filled; those of a second voice are not printed."""
        found: list[Note] = []
        for k, row in enumerate(self._printed(voice, length), start=n):
            if row.one is None:
                found.append(Note(k, row.start, row.length, None, "rest", staff, name, HIDDEN * inner, "", "", ()))
            else:
                self.origin[self.bar, k] = row.one
                found.append(
                    Note(k, row.start, row.length, row.one.pitch, "note", staff, name, row.flags, "", "", row.marks)
                )
        return found

    def _printed(self, voice: Voice, length: int) -> list[_Printed]:
        graces = dict(voice.graces)
        found: list[_Printed] = []
        at = 0
        for (start, end), chord in [*sorted(voice.chords.items()), ((length, length), [])]:
            if at < start:
                found += [_Printed(place, ticks) for place, ticks in self._cut(True, at, start)]
            for place in sorted(key for key in graces if key <= start):
                found += self._graces(place, graces.pop(place))
            found += self._chord(chord, start, end)
            at = max(at, end)
        return found

    def _chord(self, chord: Sequence[Piece], start: int, end: int) -> list[_Printed]:
        """A chord, in as many tied ones as its length needs, each from the lowest note up.

        Signs for the whole chord stand on its first note.
        """
        found: list[_Printed] = []
        cut = self._cut(False, start, end)
        for i, (begin, ticks) in enumerate(cut):
            said: set[Mark] = set()
            for k, piece in enumerate(sorted(chord, key=lambda piece: piece.one.midi)):
                stop, go_on = i > 0 or piece.before, i < len(cut) - 1 or piece.behind
                tied = TIE_STOP * stop | TIE_START * go_on
                marks = [mark for mark in self._marks(piece.one, not stop, tied) if mark not in said]
                said.update(mark for mark in marks if mark.kind in short_signs.OF_A_CHORD)
                found.append(_Printed(begin, ticks, piece.one, tied | CHORD * (k > 0), tuple(marks)))
        return found

    def _cut(self, silence: bool, start: int, end: int) -> list[tuple[int, int]]:
        """The written lengths of a note or a silence; one piece where no value would be exact."""
        grid = self.lines.score.grid
        try:
            return rests(start, end, self.time, grid) if silence else writable(start, end - start, self.time, grid)
        except WriteError:
            return [(start, end - start)]

    def _graces(self, at: int, pieces: Sequence[Piece]) -> list[_Printed]:
        """The grace notes that stand before a place, the farthest first; equally far ones are a chord."""
        found: list[_Printed] = []
        before = None
        for piece in sorted(pieces, key=lambda piece: (-piece.one.grace, piece.one.midi)):
            flags = GRACE | CHORD * (piece.one.grace == before)
            before = piece.one.grace
            found.append(_Printed(at, 0, piece.one, flags, self._marks(piece.one, True, 0)))
        return found

    def _marks(self, one: Kept, first: bool, tied: int) -> tuple[Mark, ...]:
        """The signs on a printed note: on the first of a tied row the player's own, on every one who plays it."""
        own: list[Mark] = []
        if tied & TIE_STOP:
            own.append(Mark("tied", "stop"))
        if tied & TIE_START:
            own.append(Mark("tied", "start"))
        if first:
            own += [mark for mark in one.marks if mark.kind in short_signs.KEPT_MARKS]
            own += self.slurs.get(id(one), ())
        elif tremolo := next((mark for mark in one.marks if mark.kind == "tremolo"), None):
            own.append(tremolo)
        for player, octave in one.by:
            word = octave_word(octave)
            own.append(Mark(PLAYED_BY, f"{self.lines.players[player]} {word}".strip(), PLAYER))
        return tuple(own)


def _with_accidentals(notes: Sequence[Note], key: Key) -> list[Note]:
    """The notes of a bar with the signs that they need: once a bar, staff and place on the staff."""
    now: dict[tuple[int, int], int | float] = {}
    usual = alters_of(key)
    found = list(notes)
    for i in sorted(range(len(notes)), key=lambda i: (notes[i].start, not notes[i].flags & GRACE, notes[i].n)):
        note = notes[i]
        if note.pitch is None:
            continue
        place = (note.staff, note.pitch.line)
        if note.flags & TIE_STOP and note.start == 0:
            continue
        if now.get(place, usual[note.pitch.step]) != note.pitch.alter:
            now[place] = note.pitch.alter
            found[i] = note._replace(accidental=_SIGNS.get(note.pitch.alter, ""))
    return found
