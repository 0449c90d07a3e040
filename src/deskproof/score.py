"""What stands on the page: parts, measures, notes, directions. No time in seconds, no sound.

Positions are whole ticks; ``Score.grid`` ticks make a quarter note, and the grid is chosen so that every
position of the file is exact. A place is always (part, measure ordinal, tick in the measure).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from deskproof.pitch import Pitch

# Flags of a note; a bit field keeps the record small.
CHORD = 1  # sounds with the note before it
GRACE = 2
CUE = 4
HIDDEN = 8  # print-object="no"
SMALL = 16  # printed in cue size, but played
OSSIA = 32
TIE_START = 64
TIE_STOP = 128
UNNAMED = "unnamed"  # an accidental that is printed, but whose sign the file does not tell
UNCHECKED = CUE | HIDDEN | OSSIA  # never checked, cast or counted


class Mark(NamedTuple):
    """A sign on a note: slur, fermata, tremolo, arpeggiate, harmonic, fingering ...

    ``kind`` is the MusicXML element's name; ``value`` its type or text; ``number`` its number attribute.
    """

    kind: str
    value: str = ""
    number: str = ""


class Note(NamedTuple):
    """One printed note or rest.

    ``n`` counts every note and rest of the measure from 0 in the order of the file; ``start`` and ``length``
    are ticks (a grace note has length 0); ``pitch`` is the written pitch, None for rests and unpitched notes.
    """

    n: int
    start: int
    length: int
    pitch: Pitch | None
    kind: str  # "note", "rest" or "unpitched"
    staff: int
    voice: str
    flags: int
    accidental: str  # the printed sign's MusicXML name, "" if none is printed
    instrument: str  # id of the score-instrument, "" if the note names none
    marks: tuple[Mark, ...]

    def marked(self, kind: str) -> Mark | None:
        """The first mark of a kind, or None."""
        for mark in self.marks:
            if mark.kind == kind:
                return mark
        return None


class Direction(NamedTuple):
    """Something said between the notes: words, a metronome mark, a pedal sign, a dynamic, a jump.

    ``kind`` is the MusicXML direction type (``words``, ``metronome``, ``pedal`` ...) or ``sound:NAME`` for
    an attribute of a sound element. ``start`` is in ticks; ``k`` counts direction elements of the measure.
    """

    k: int
    start: int
    staff: int
    kind: str
    value: str
    number: str = ""
    hidden: bool = False


class Change(NamedTuple):
    """A change of clef, key, time, transposition ... from ``start`` on; ``staff`` 0 means all staves."""

    start: int
    staff: int
    kind: str
    value: object


class Key(NamedTuple):
    """A key signature: fifths, or letter by letter where the file spells it out."""

    fifths: int
    alters: tuple[tuple[str, int | float], ...] = ()


class Time(NamedTuple):
    """A time signature. ``length`` is the nominal bar in ticks, 0 if there is none (senza misura)."""

    beats: str
    beat_type: int
    length: int


class Clef(NamedTuple):
    """A clef: sign, line, and octaves by which it lifts what it shows.

    >>> str(Clef("G", 2, -1))
    'G2-1'
    """

    sign: str
    line: int
    octave: int = 0

    def __str__(self) -> str:
        return f"{self.sign}{self.line or ''}{f'{self.octave:+d}' if self.octave else ''}"


class Transpose(NamedTuple):
    """What is added to the written pitch to get the sounding one."""

    chromatic: int | float = 0
    diatonic: int = 0
    octave: int = 0

    @property
    def semitones(self) -> int | float:
        """The whole distance in semitones."""
        return self.chromatic + 12 * self.octave


class Ending(NamedTuple):
    """One end of the bracket of a first, second ... ending: ``kind`` is start, stop or discontinue."""

    kind: str
    numbers: tuple[int, ...]


class Repeat(NamedTuple):
    """A repeat sign. ``right`` tells a barline at the end of the measure from one at its beginning.

    ``times`` counts how often a backward one is played; ``after_jump`` says that it counts again after D.C. or D.S.
    """

    forward: bool
    right: bool
    times: int = 2
    after_jump: bool = False


class Measure(NamedTuple):
    """One measure of one part. ``number`` is text, as printed; ``length`` the ticks its content takes."""

    index: int  # type: ignore[assignment]  # hides a method of tuple that nobody needs here
    number: str
    length: int
    notes: tuple[Note, ...] = ()
    directions: tuple[Direction, ...] = ()
    changes: tuple[Change, ...] = ()
    implicit: bool = False
    repeats: tuple[Repeat, ...] = ()
    endings: tuple[Ending, ...] = ()


@dataclass(frozen=True, slots=True)
class ScoreInstrument:
    """An instrument of a part as the file declares it; ``program`` is the MIDI program from 0, None unsaid."""

    id: str
    name: str
    sound: str = ""
    program: int | None = None
    unpitched: int | None = None


@dataclass(frozen=True)
class Part:
    """One part: a line of the score, on one or more staves."""

    id: str
    name: str
    abbreviation: str
    instruments: Mapping[str, ScoreInstrument]
    measures: tuple[Measure, ...]

    def ref(self, measure: int, n: int) -> str:
        """How a note is named outside: ``P27/m12/n3``, or what a MIDI note's own mark says, ``t2/n57``."""
        own = self.measures[measure].notes[n].marked("midi")
        return own.value if own else f"{self.id}/m{measure}/n{n}"

    @cached_property
    def staves(self) -> int:
        """How many staves the part ever has."""
        most = 1
        for measure in self.measures:
            for change in measure.changes:
                if change.kind == "staves" and isinstance(change.value, int):
                    most = max(most, change.value)
        return most


@dataclass(frozen=True, slots=True)
class Score:
    """A whole score as read. ``grid`` is ticks a quarter; ``remarks`` say what was not understood."""

    title: str
    grid: int
    parts: tuple[Part, ...]
    remarks: tuple[str, ...] = ()
    prints_accidentals: bool = True  # False where the file says that it carries none
    source: str = "musicxml"
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def at_sounding_pitch(self) -> bool:
        """Whether the file says that all its parts stand at sounding pitch (octaves apart)."""
        return self.extra.get("concert") == "yes"


class NoteRef(NamedTuple):
    """Where a note stands: part id, measure ordinal, note ordinal (contract: ``P27/m12/n3``).

    >>> str(NoteRef("P27", 12, 3)), NoteRef.parse("P27/m12/n3")
    ('P27/m12/n3', NoteRef(part='P27', measure=12, n=3))
    """

    part: str
    measure: int
    n: int

    def __str__(self) -> str:
        return f"{self.part}/m{self.measure}/n{self.n}"

    @classmethod
    def parse(cls, text: str) -> NoteRef:
        """Read a reference back from its text."""
        part, measure, note = text.rsplit("/", 2)
        return cls(part, int(measure[1:]), int(note[1:]))
