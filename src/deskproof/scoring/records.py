"""The records of the scoring of a sketch. No decisions here.

Ticks count in page order: the measures one after the other as printed, repeats not played out. Pitches are sounding
MIDI numbers; bars are ordinals of measures from 0.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from deskproof.pitch import Pitch
from deskproof.score import Key, Mark, Score, Time

TUNE, COUNTER, BASS, INNER, FIGURE, HELD, ACCENT = KINDS = (
    "tune", "counter-tune", "bass", "inner part", "figuration", "held harmony", "accents",
)  # fmt: skip
"""The kinds of strand. Where a passage has several of one kind, they are counted from the top: "inner part 2"."""

SAME, OCTAVE = "same", "octave"
"""What a written note is to its sketch note where no named rule made it (contract: rule)."""

PLANNER, COMPOSER = "planner", "composer"
"""Who chose a line."""


class SketchNote(NamedTuple):
    """One note of a sketch: a tied chain is one, cue and hidden notes are none, a grace note has ``end`` = ``onset``.

    ``ref`` names its first printed note, ``tied`` the others of its chain. ``rings`` is where it ends if a damper pedal
    holds it, else ``end``. ``staff`` counts from 0 at the top over the whole sketch; ``slurs`` are the ordinals of the
    sketch's slurs that stand over it.
    """

    ref: str
    tied: tuple[str, ...]
    bar: int
    onset: int
    end: int
    rings: int
    midi: int
    pitch: Pitch
    staff: int
    voice: str
    grace: int
    marks: tuple[Mark, ...]
    slurs: tuple[int, ...] = ()


class Bar(NamedTuple):
    """One measure of a sketch: ordinal, printed number, onset and length in ticks, what is in force, seconds."""

    index: int  # type: ignore[assignment]
    number: str
    onset: int
    length: int
    time: Time
    key: Key
    seconds: float
    implicit: bool = False


class Said(NamedTuple):
    """A sign for all who play: kind and value of a direction (dynamics, wedge, words, metronome, rehearsal ...).

    ``staff`` counts from 0 at the top over the whole sketch.
    """

    onset: int
    bar: int
    staff: int
    kind: str
    value: str
    number: str = ""


@dataclass(frozen=True)
class Sketch:
    """A sketch as read. ``notes`` stand in order of onset, then from the top down; ``staves`` is how many it has."""

    score: Score
    name: str
    grid: int
    bars: tuple[Bar, ...]
    notes: tuple[SketchNote, ...]
    said: tuple[Said, ...]
    staves: int

    def bar_at(self, tick: int) -> Bar:
        """The bar in which a tick falls; the last one for what lies behind it."""
        return self.bars[max(0, bisect_right(self.bars, tick, key=lambda bar: bar.onset) - 1)]

    def dynamic_at(self, tick: int) -> str:
        """The dynamic in force at a tick, "mf" before the first."""
        found = "mf"
        for sign in self.said:
            if sign.onset > tick:
                break
            if sign.kind == "dynamics":
                found = sign.value.split()[-1]
        return found


class Tone(NamedTuple):
    """One note of a strand as it is to sound, whoever plays it.

    ``refs`` are the ordinals in ``Sketch.notes`` that it stands for, the first of them the one whose marks it takes.
    ``rule`` is ``same`` for the sketch's own note, else the name of the rule that made it. ``tremolo``: strokes of a
    string tremolo (0: none; 3: unmeasured).
    """

    onset: int
    end: int
    midi: int
    pitch: Pitch
    refs: tuple[int, ...]
    rule: str = SAME
    tremolo: int = 0

    def higher(self, octaves: int) -> Tone:
        """The same tone so many octaves higher."""
        pitch = self.pitch._replace(octave=self.pitch.octave + octaves)
        return self._replace(midi=self.midi + 12 * octaves, pitch=pitch) if octaves else self


@dataclass(frozen=True)
class Strand:
    """One strand of a passage: a line or figure that one player, or one section, can be asked for.

    ``id`` is its name in the plan ("tune", "inner part 2"), unique in its passage. ``tones`` stand in order of onset,
    and no two of them begin together: a chord is as many strands as it has notes ("held harmony 1" is its highest).
    Where the sketch doubles a tune in octaves, the other octave is "tune 2". ``confidence`` is from 0 to 1. ``of``
    names the strand that a made one is taken from ("held harmony" out of "figuration"), with its ``rule``.
    """

    id: str
    kind: str
    tones: tuple[Tone, ...]
    confidence: float = 1.0
    of: str = ""
    rule: str = ""

    @property
    def low(self) -> int:
        """Its lowest sounding note."""
        return min(tone.midi for tone in self.tones)

    @property
    def high(self) -> int:
        """Its highest sounding note."""
        return max(tone.midi for tone in self.tones)


@dataclass(frozen=True)
class Passage:
    """A phrase of the sketch: first and last bar (ordinals, both inside), its strands from the top down.

    ``why`` says what ends the passage before it; ``dynamic`` is the loudest that is marked in it; ``mark`` its
    rehearsal letter; ``weight`` thin, ordinary, full or all; ``digest`` stands for its sketch bars.
    """

    first: int
    last: int
    strands: tuple[Strand, ...]
    dynamic: str = "mf"
    mark: str = ""
    weight: str = "ordinary"
    digest: str = ""
    why: str = ""
    climax: bool = False

    def strand(self, name: str) -> Strand | None:
        """The strand of this name."""
        return next((one for one in self.strands if one.id == name), None)


@dataclass(frozen=True)
class Seat:
    """One player, or one section of strings. ``plays`` are instrument ids, the usual one first.

    ``players`` is how many sit in the section (1 for a player); ``drums`` the timpanist's, as in the forces.
    """

    name: str
    plays: tuple[str, ...]
    section: bool = False
    players: int = 1


@dataclass(frozen=True)
class Chair:
    """One instrument in one seat: what a line of the plan names. The player of a seat sits in one chair at a time.

    ``name`` is what the plan calls it: the seat's own ("flute 2"), or the instrument's where the seat changes to it
    ("piccolo"; "piccolo of flute 2" where that is not unique). Compass is sounding MIDI.
    """

    name: str
    seat: str
    instrument: str
    family: str
    low: int
    high: int
    order: int
    section: bool = False


class Who(NamedTuple):
    """One chair in a line: ``octave`` 0 as in the sketch, 1 an octave above, -1 below; ``how``: "pizz", "arco" ..."""

    chair: str
    octave: int = 0
    how: str = ""


@dataclass(frozen=True)
class Line:
    """Who plays a strand in a passage. No ``who``: left to the planner, or left out (then ``why`` says so)."""

    strand: str
    who: tuple[Who, ...] = ()
    dynamic: str = ""
    fixed: bool = False
    prefer: tuple[str, ...] = ()
    avoid: tuple[str, ...] = ()
    by: str = PLANNER
    why: str = ""
    rule: str = ""
    where: int = 0  # the line of the plan's text, 0 where there is none


@dataclass(frozen=True)
class Tacet:
    """Chairs, seats or families that are silent in a passage, and why."""

    who: tuple[str, ...]
    why: str = ""
    where: int = 0


class Override(NamedTuple):
    """Notes that the composer counts to another strand: bars, staff (from 1), voice ("" any), and the strand."""

    bars: str
    staff: int
    voice: str
    strand: str


@dataclass(frozen=True)
class PlannedPassage:
    """A passage of a plan: printed bar numbers, digest of its sketch bars, its lines, and who is silent.

    ``cost`` is what it costs, None where no solver saw it; ``scorings`` are the next best: (cost, lines).
    """

    bars: str
    digest: str = ""
    mark: str = ""
    weight: str = ""
    dynamic: str = ""
    lines: tuple[Line, ...] = ()
    tacet: tuple[Tacet, ...] = ()
    overrides: tuple[Override, ...] = ()
    cost: int | None = None
    scorings: tuple[tuple[int, tuple[Line, ...]], ...] = ()
    where: int = 0


@dataclass(frozen=True)
class ScoringPlan:
    """A whole plan. ``forces`` is the text of the forces it is for, ``written`` the digest of each full-score bar."""

    forces: str = ""
    scale: str = "rimsky"
    passages: tuple[PlannedPassage, ...] = ()
    written: Mapping[str, str] = field(default_factory=dict)
    status: str = ""
    gap: int = 0
    orchestra: str = ""  # "" or the word for the orchestra that stands in where no forces are given
