"""One printed part of the full score, bar by bar."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from deskproof import facts, instruments, pitch
from deskproof.pitch import Pitch
from deskproof.score import Change, Clef, Direction, Key, Mark, Measure, Note, Part, ScoreInstrument, Transpose
from deskproof.scoring.full_score import clefs as clefs_
from deskproof.scoring.full_score.bars import (
    FERMATA,
    Chord,
    Page,
    Piece,
    VoiceWriter,
    chords_of,
    in_voices,
    pieces_of,
)
from deskproof.scoring.full_score.played import Played
from deskproof.scoring.full_score.signs import Signs
from deskproof.scoring.full_score.slurs import numbered, slurs_of
from deskproof.scoring.full_score.staving import (
    NO_KEY,
    PrintedPart,
    manner_of,
    titled,
    transposition,
    written_key,
    written_pitch,
)
from deskproof.scoring.records import SAME, Bar, Chair, Said, Seat, Sketch

VOICES = (("1", "2"), ("5", "6"))  # of the upper and the lower staff
BOTH, UNISON, DIVIDED, TOGETHER = "both", "a2", "div.", "unis."
PIZZ, ARCO = "pizz", "arco"
ROLL = "arpeggiate"


@dataclass(frozen=True)
class WrittenPart:
    """A part of the full score, and what its notes begin: bar, ordinal of the note, tone. A note may begin two (a2)."""

    part: Part
    begun: tuple[tuple[int, int, Played], ...]


class PartLayer:
    """Lays out one part. ``casts`` gives what every chair of it plays."""

    def __init__(
        self, printed: PrintedPart, casts: Mapping[str, Sequence[Played]], sketch: Sketch, signs: Signs, top: bool
    ) -> None:
        self.printed, self.sketch = printed, sketch
        self.source = max(sketch.score.parts, key=lambda part: len(part.measures))
        self.casts = {chair.name: casts.get(chair.name, ()) for chair in printed.chairs}
        self.ids = {id_: f"{printed.id}-I{k}" for k, id_ in enumerate(printed.instruments, 1)}
        self.transposes = {id_: self._transpose(id_) for id_ in printed.instruments}
        self.chairs = {chair.name: chair for chair in printed.chairs}
        self.seated = [self._of_seat(seat) for seat in printed.seats]
        self.slots = self._slots()
        self.cut: set[Played] = set()
        self.sitting = self._sitting()
        self.said: dict[int, list[Said]] = {}
        for chair in printed.chairs:
            self._say(signs.dynamics(self.casts[chair.name]))
            self._say(signs.words(self.casts[chair.name]))
        self._hairpins(signs)
        if top:
            self._say(signs.on_top())
        self._bowing()
        self._changes_of_instrument()
        self.fermatas = self._fermatas()

    # -- who is where --------------------------------------------------------------------------------------------

    def _transpose(self, instrument: str) -> Transpose:
        semitones = int(manner_of(instrument).transpose.semitones)
        longest: dict[int, int] = {}
        for bar in self.sketch.bars:
            longest[bar.key.fifths] = longest.get(bar.key.fifths, 0) + bar.length
        fifths = max(longest, key=lambda key: longest[key]) if longest else 0
        return transposition(semitones, 0 if self.printed.family in NO_KEY else fifths)

    def _of_seat(self, seat: Seat) -> list[Played]:
        """What one seat plays on all its instruments."""
        chairs = [chair.name for chair in self.printed.chairs if chair.seat == seat.name]
        return _one_at_a_time([row for name in chairs for row in self.casts[name]], self.sketch)

    def _slots(self) -> list[dict[int, list[Piece]]]:
        """What is to be written side by side: each player of a shared staff, each strand of a divided section."""
        slots: list[dict[int, list[Piece]]] = []
        for own in self.seated:
            layers = 1 if self.printed.grand else 1 + max((row.layer for row in own), default=0)
            for layer in range(layers):
                played = [row for row in own if self.printed.grand or row.layer == layer]
                slurs = slurs_of(played, self.sketch, str(len(slots)))
                slots.append(pieces_of(played, self.sketch, slurs))
        return slots

    def _sitting(self) -> list[Chair]:
        """The chair in use in each bar: that of its first new note, else the one before; at the beginning the first."""
        begins = [
            next((p.played.chair for slot in self.slots for p in slot.get(bar.index, ()) if p.begins), "")
            for bar in self.sketch.bars
        ]
        now = next(filter(None, begins), self.printed.chairs[0].name)
        found = []
        for name in begins:
            now = name or now
            found.append(self.chairs[now])
        return found

    # -- what is said ----------------------------------------------------------------------------------------------

    def _say(self, rows: Iterable[Said]) -> None:
        for row in rows:
            here = self.said.setdefault(row.bar, [])
            if not any((one.onset, one.kind, one.value) == (row.onset, row.kind, row.value) for one in here):
                here.append(row)

    def _hairpins(self, signs: Signs) -> None:
        """The hairpins of all its chairs; of two that overlap on the staff the one that begins first, or is longer."""
        found = {pair for chair in self.printed.chairs for pair in signs.hairpins(self.casts[chair.name])}
        end = 0
        for begin, stop in sorted(found, key=lambda pair: (pair[0].onset, -pair[1].onset, pair)):
            if begin.onset >= end:
                self._say([begin._replace(number=""), stop._replace(number="")])
                end = stop.onset

    def _words(self, text: str, onset: int) -> None:
        self._say([Said(onset, self.sketch.bar_at(onset).index, 0, "words", text)])

    def _bowing(self) -> None:
        """"pizz." and "arco" where the manner changes."""
        for chair in self.printed.chairs:
            now = ARCO
            for row in self.casts[chair.name]:
                how = PIZZ if PIZZ in row.how else ARCO
                if how != now:
                    self._words(f"{PIZZ}." if how == PIZZ else ARCO, row.tone.onset)
                    now = how

    def _changes_of_instrument(self) -> None:
        """"to Celesta" where the last note before a change ends, and the name where it begins.

        Where no rest is between, it stands over the last note.
        """
        for one, two in (pair for own in self.seated for pair in pairwise(own)):
            after = self.chairs[two.chair].instrument
            if self.chairs[one.chair].instrument != after:
                name = titled(instruments.by_id(after))
                self._words(f"to {name}", one.tone.end if one.tone.end < two.tone.onset else one.tone.onset)
                self._words(name, two.tone.onset)

    def _fermatas(self) -> frozenset[int]:
        """Bars in which the sketch holds a note: who rests holds the rest."""
        return frozenset(
            self.sketch.bar_at(max(note.onset, note.end - 1)).index
            for note in self.sketch.notes
            if any(mark.kind == FERMATA for mark in note.marks)
        )

    # -- the bars ----------------------------------------------------------------------------------------------------

    def written(self) -> WrittenPart:
        """The whole part."""
        begun: list[tuple[int, int, Played]] = []
        pages: list[Page] = []
        states: list[str] = []
        for bar in self.sketch.bars:
            page = Page()
            writer = VoiceWriter(page, bar, self.sketch.grid, self._pitch, self._instrument_of, self._marks)
            if self.printed.grand:
                self._grand(writer, bar)
            else:
                states.append(self._single(writer, bar))
            pages.append(page)
            begun += [(bar.index, n, row) for n, row in page.begun]
        self._name_players(states)
        clefs = self._clefs(pages)
        slurred = numbered([page.notes for page in pages])
        measures = tuple(self._measure(bar, own, clefs) for bar, own in zip(self.sketch.bars, slurred, strict=True))
        declared = {own: _declared(own, id_) for id_, own in self.ids.items()}
        part = Part(self.printed.id, self.printed.name, self.printed.abbreviation, declared, measures)
        return WrittenPart(part, tuple(begun))

    def _single(self, writer: VoiceWriter, bar: Bar) -> str:
        """One staff: the slots in one voice where they go together, else in two. Returns who plays."""
        here = [(k, self._uncut(slot.get(bar.index, ()))) for k, slot in enumerate(self.slots)]
        here = [(k, pieces) for k, pieces in here if pieces]
        if not here:
            writer.empty(1, VOICES[0][0], bar.index in self.fermatas)
            return ""
        lines = [in_voices(chords_of(pieces), 1)[0] for _, pieces in here]
        if len(lines) == 1:
            writer.voice(lines[0], 1, VOICES[0][0])
            return str(here[0][0])
        if all(_same(lines[0], line) for line in lines[1:]):
            writer.voice(lines[0], 1, VOICES[0][0])
            for line in lines[1:]:
                writer.page.begun += _beside(writer.page.begun, line)
            return UNISON
        shapes = {tuple((chord.start, chord.end, _slurred(chord)) for chord in line) for line in lines}
        if len(shapes) == 1 and not any(chord.start == chord.end for chord in lines[0]):
            joined = [
                Chord(rows[0].start, rows[0].end, tuple(sorted((p for r in rows for p in r.pieces), key=_height)))
                for rows in zip(*lines, strict=True)
            ]
            writer.voice(joined, 1, VOICES[0][0])
        else:
            for line, voice in zip(_two(lines, self.cut), VOICES[0], strict=False):
                writer.voice(line, 1, voice)
        return BOTH

    def _grand(self, writer: VoiceWriter, bar: Bar) -> None:
        """Two staves, parted at middle C; at most two voices on each."""
        middle = pitch.midi(facts.get("full_score.middle").value)
        pieces = [piece for slot in self.slots for piece in self._uncut(slot.get(bar.index, ()))]
        staves = self._staves_of(pieces, middle)
        for staff, voices in enumerate(VOICES, 1):
            own = [piece for piece, at in zip(pieces, staves, strict=True) if at == staff]
            if not own:
                writer.empty(staff, voices[0], bar.index in self.fermatas)
            for line, voice in zip(in_voices(chords_of(own), len(voices), self.cut), voices, strict=False):
                writer.voice(line, staff, voice)

    def _staves_of(self, pieces: Sequence[Piece], middle: int) -> list[int]:
        """The staff of each piece: a figure stays on one staff, by its mean pitch, unless it is too wide for one."""
        heights: dict[str, list[float]] = {}
        for piece in pieces:
            heights.setdefault(piece.played.line, []).append(self._pitch(piece.played).midi)
        widest = facts.get("full_score.one_staff").value
        found = []
        for piece in pieces:
            own = heights[piece.played.line]
            height = sum(own) / len(own) if max(own) - min(own) <= widest else self._pitch(piece.played).midi
            found.append(1 if height >= middle else 2)
        return found

    def _uncut(self, pieces: Sequence[Piece]) -> list[Piece]:
        """Without those that go on from a bar in which their note was ended early."""
        return [piece for piece in pieces if piece.begins or piece.played not in self.cut]

    def _name_players(self, states: Sequence[str]) -> None:
        """"1.", "2.", "a2"; "div.", "unis.": where it changes, at the first note of the bar."""
        if self.printed.grand or len(self.slots) < 2:
            return
        now = ""
        for bar, state in zip(self.sketch.bars, states, strict=True):
            if not state or state == now:
                continue
            text = self._label(state, now)
            first = min(p.start for slot in self.slots for p in slot.get(bar.index, ()))
            if text:
                self._words(text, bar.onset + first)
            now = state

    def _label(self, state: str, before: str) -> str:
        if self.printed.seats[0].section:
            if state == BOTH:
                return DIVIDED
            return TOGETHER if before == BOTH else ""
        if state == UNISON:
            return UNISON
        if state == BOTH:
            return ""
        number = re.search(r"\d+", self.printed.seats[int(state)].name)
        return f"{number[0] if number else int(state) + 1}."

    # -- pitches, clefs, attributes ------------------------------------------------------------------------------------

    def _instrument_of(self, row: Played) -> str:
        return self.ids[self.chairs[row.chair].instrument] if len(self.ids) > 1 else ""

    def _pitch(self, row: Played) -> Pitch:
        return written_pitch(row.tone.pitch, self.transposes[self.chairs[row.chair].instrument])

    def _marks(self, row: Played) -> tuple[Mark, ...]:
        """The signs of the sketch's note; of one that a rule made, only a fermata still belongs to it."""
        marks = self.sketch.notes[row.tone.refs[0]].marks
        if not self.printed.grand:
            marks = tuple(mark for mark in marks if mark.kind != ROLL)
        return marks if row.tone.rule == SAME else tuple(mark for mark in marks if mark.kind == FERMATA)

    def _clefs(self, pages: Sequence[Page]) -> list[list[Clef]]:
        """For each staff the clef of every bar."""
        found = []
        for staff in range(1, 3 if self.printed.grand else 2):
            lines = [[n.pitch.line for n in page.notes if n.pitch and n.staff == staff] for page in pages]
            choices = []
            for bar in self.sketch.bars:
                own = manner_of(self.sitting[bar.index].instrument).clefs
                choices.append(own[staff - 1 :] + own[: staff - 1] if self.printed.grand else own)
            found.append(clefs_.clefs_of(lines, choices))
        return found

    def _measure(self, bar: Bar, notes: Sequence[Note], clefs: Sequence[Sequence[Clef]]) -> Measure:
        source = self.source.measures[bar.index]
        rows = sorted(self.said.get(bar.index, ()), key=_order)
        said = tuple(
            Direction(k, row.onset - bar.onset, 1, row.kind, row.value, row.number) for k, row in enumerate(rows)
        )
        return Measure(
            bar.index, bar.number, bar.length, tuple(notes), said, tuple(self._attributes(bar, clefs)),
            bar.implicit, source.repeats, source.endings,
        )  # fmt: skip

    def _attributes(self, bar: Bar, clefs: Sequence[Sequence[Clef]]) -> Iterable[Change]:
        before = self.sketch.bars[bar.index - 1] if bar.index else None
        transpose = self.transposes[self.sitting[bar.index].instrument]
        earlier = self.transposes[self.sitting[bar.index - 1].instrument] if bar.index else None
        moved = earlier is None or earlier != transpose
        if before is None and self.printed.grand:
            yield Change(0, 0, "staves", 2)
        key = self._key(bar, transpose)
        if before is None or self._key(before, earlier or transpose) != key:
            yield Change(0, 0, "key", key)
        if before is None or before.time != bar.time:
            yield Change(0, 0, "time", bar.time)
        for staff, row in enumerate(clefs, 1):
            if before is None or row[bar.index] != row[bar.index - 1]:
                yield Change(0, staff, "clef", row[bar.index])
        if moved and (transpose != Transpose() or before is not None):
            yield Change(0, 0, "transpose", transpose)

    def _key(self, bar: Bar, transpose: Transpose) -> Key:
        return Key(0) if self.printed.family in NO_KEY else written_key(bar.key, transpose)


def _order(row: Said) -> tuple[int, int, bool]:
    """At one place: rehearsal mark, words, tempo, dynamic, the end of a hairpin, the beginning of the next."""
    return row.onset, _RANK.get(row.kind, 9), row.value != "stop"


_RANK = {"rehearsal": 0, "words": 1, "metronome": 2, "dynamics": 3, "wedge": 4}


def _declared(own: str, instrument: str) -> ScoreInstrument:
    one = instruments.by_id(instrument)
    sound = one.sounds[0] if one.sounds else ""
    return ScoreInstrument(own, titled(one), sound, one.programs[0] if one.programs else None)


def _one_at_a_time(rows: Sequence[Played], sketch: Sketch) -> list[Played]:
    """What one seat plays, in order of onset; no note goes on into the bar where its player has another instrument."""
    ordered = sorted(rows, key=lambda row: row.tone.onset)
    found: list[Played] = []
    following: Played | None = None  # the next row of another chair
    for one, after in zip(reversed(ordered), [None, *reversed(ordered)], strict=False):
        if after is not None and after.chair != one.chair:
            following = after
        barline = sketch.bar_at(following.tone.onset).onset if following is not None else one.tone.end
        if one.tone.onset < barline < one.tone.end:
            one = one._replace(tone=one.tone._replace(end=barline))
        found.append(one)
    return found[::-1]


def _slurred(chord: Chord) -> tuple[str, ...]:
    return tuple(sorted(mark.value for piece in chord.pieces for mark in piece.slurs))


def _height(piece: Piece) -> int:
    return -piece.played.tone.midi


def _same(one: Sequence[Chord], two: Sequence[Chord]) -> bool:
    """Whether two lines have the same notes at the same times."""

    def notes(line: Sequence[Chord]) -> list[tuple[int, int, tuple[int, ...]]]:
        return [(chord.start, chord.end, tuple(p.played.tone.midi for p in chord.pieces)) for chord in line]

    return notes(one) == notes(two)


def _beside(begun: Sequence[tuple[int, Played]], line: Sequence[Chord]) -> list[tuple[int, Played]]:
    """What another line begins that is the same as a written one."""
    pieces = [piece.played for chord in line for piece in chord.pieces if piece.begins]
    return list(zip((n for n, _ in begun[: len(pieces)]), pieces, strict=False))


def _two(lines: Sequence[Sequence[Chord]], cut: set[Played]) -> list[list[Chord]]:
    """At most two lines: the third and later ones go into the second as chords, as far as they fit."""
    if len(lines) <= len(VOICES[0]):
        return [list(line) for line in lines]
    rest = sorted((chord for line in lines[1:] for chord in line), key=lambda chord: (chord.start, chord.end))
    pieces = [piece for chord in rest for piece in chord.pieces]
    return [list(lines[0]), in_voices(chords_of(pieces), 1, cut)[0]]
