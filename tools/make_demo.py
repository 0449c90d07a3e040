"""Write the demo score, "First Ferry", as MusicXML 4.0.

The music stands in `PARTS` in a short notation of its own, bar by bar, **in sounding pitch**; this
module turns it into written pitch, accidentals, beams, stems and the rest. The score holds faults on
purpose, and `docs/demo.md` lists them bar by bar. Only the standard library is used, and the same
source always gives the same bytes.

    python tools/make_demo.py                 writes src/deskproof/demo/ferry.musicxml
    python tools/make_demo.py OTHER.musicxml  writes there

The notation of a bar, words parted by spaces:

    A4/q.( Bb4/e C5)   note / value, then marks; the value lasts until another is given
    C4+E4   r   R      chord, rest, rest of a whole bar (also what a missing bar means)
    w h q e s t        whole, half, quarter, eighth, 16th, 32nd; a dot as on the page
    ( ) ~ > ' -        slur from, slur to, tie, accent, staccato, tenuto
    * a g G            roll on one note, arpeggio sign, glissando from, glissando to
    c                  bracketed reminder accidental
    H                  no accidental is printed although the pitch needs one (a planted fault)
    A=4                the natural is printed although nothing before it asks for it
    3{ ... }           triplet;  ^D5 grace note with a stroke
    !p  !<  !>  !/     dynamic, hairpin opening, hairpin closing, hairpin ends
    !"to_Celesta"      words above the staff
    !pizz !arco !una !8va !8vax
    !ped !pedx !pedc   damper pedal down, up, up and down again
    @2                 the notes that follow belong to the second instrument of the part
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import escape

TITLE = "First Ferry"
COMPOSER = "Maud Quillfeather"
SOFTWARE = "make_demo.py"
BARS = 32
QUARTER = 24  # divisions: a 32nd and a triplet eighth are both whole numbers of it
BAR = 4 * QUARTER
TEMPO = 90
RITARDANDO = "rit."
TEMPO_WORDS = {1: "Gently rocking", 21: RITARDANDO, 22: "a tempo"}
KEYS = {1: -1, 14: -5, 22: -1}  # bar: fifths, sounding
REPEAT_FROM, FIRST_ENDING, SECOND_ENDING = 5, 12, 13
DOUBLE_BARS = (4, 13, 21, 27)
REHEARSAL = {5: "A", 14: "B", 22: "C", 28: "D"}
TARGET = Path(__file__).resolve().parents[1] / "src" / "deskproof" / "demo" / "ferry.musicxml"

STEPS = "CDEFGAB"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
SHARPS = "FCGDAEB"
VALUES = {
    "w": (96, "whole"),
    "h": (48, "half"),
    "q": (24, "quarter"),
    "e": (12, "eighth"),
    "s": (6, "16th"),
    "t": (3, "32nd"),
}
FLAGS = {"eighth": 1, "16th": 2, "32nd": 3}
SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
CLEFS = {
    "treble": ("G", 2, 34),
    "bass": ("F", 4, 22),
    "alto": ("C", 3, 28),
    "percussion": ("percussion", 0, 34),
}
UNPITCHED = {"tri": ("A", 5, "triangle"), "cym": ("G", 5, "x")}


@dataclass(frozen=True, slots=True)
class Transposition:
    """What must be added to the written pitch to get the sounding one."""

    diatonic: int = 0
    chromatic: int = 0
    octave: int = 0

    @property
    def fifths(self) -> int:
        """How many fifths the written key lies above the sounding key."""
        return (-self.chromatic * 7 + 5) % 12 - 5


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch: step 0 is C, octave 4 holds middle C."""

    step: int
    alter: int
    octave: int

    @property
    def line(self) -> int:
        """Place on the staff, in steps from C0."""
        return self.octave * 7 + self.step

    @property
    def midi(self) -> int:
        """MIDI note number."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    def written(self, by: Transposition) -> Pitch:
        """The pitch a player of an instrument so transposed reads for this sounding pitch."""
        line = self.line - by.diatonic - 7 * by.octave
        midi = self.midi - by.chromatic - 12 * by.octave
        octave, step = divmod(line, 7)
        return Pitch(step, midi - 12 * (octave + 1) - SEMITONES[step], octave)


@dataclass(frozen=True, slots=True)
class Instrument:
    """One `score-instrument`: its name, standard sound and General MIDI program (from 1)."""

    name: str
    sound: str
    program: int
    unpitched: int | None = None
    section: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """One part: the names, the staves with their clefs, and the bars of each staff."""

    name: str
    short: str
    instruments: tuple[Instrument, ...]
    clefs: tuple[str, ...]
    staves: tuple[dict[int, str], ...]
    transposition: Transposition = Transposition()
    later: dict[int, Transposition] = field(default_factory=dict)
    keyless: bool = False

    def transposed(self, bar: int) -> Transposition:
        """The transposition in force in a bar."""
        return [self.transposition, *(t for first, t in sorted(self.later.items()) if first <= bar)][-1]


@dataclass(slots=True)
class Tone:
    """A note, chord or rest of one bar, with what must be printed about it."""

    names: list[str]
    start: int
    length: int
    kind: str
    dots: int
    marks: str
    instrument: int
    raised: int = 0  # octaves by which an octave line lowers the note on the page
    grace: bool = False
    triplet: str = ""  # start, middle, stop
    beams: list[str] = field(default_factory=list)
    stem: str = ""
    pitches: list[Pitch] = field(default_factory=list)

    @property
    def rest(self) -> bool:
        return self.names == ["r"]


class Page:
    """Indented XML lines."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.depth = 0

    @staticmethod
    def _attributes(attributes: dict[str, object]) -> str:
        return "".join(
            f' {k.rstrip("_").replace("_", "-")}="{escape(str(v))}"' for k, v in attributes.items()
        )

    def open(self, tag: str, **attributes: object) -> None:
        self.lines.append("  " * self.depth + f"<{tag}{self._attributes(attributes)}>")
        self.depth += 1

    def close(self, tag: str) -> None:
        self.depth -= 1
        self.lines.append("  " * self.depth + f"</{tag}>")

    def leaf(self, tag: str, text: object = None, **attributes: object) -> None:
        body = f"{tag}{self._attributes(attributes)}"
        inner = f"<{body}/>" if text is None else f"<{body}>{escape(str(text))}</{tag}>"
        self.lines.append("  " * self.depth + inner)


# --------------------------------------------------------------------------------------------------
# The music. Pitches are sounding pitches throughout.

FLUTE_1 = {
    3: "r/h !p ^E6 D6/q.( C6/e",
    4: "A5/h G5/q) r",
    8: '!mp !"solo" E4/e( C4 B3 C4 D4 F4 A4 C5)',
    11: "!mp !< D6/q.( C6/e Bb5/q D6)",
    12: "C6/h( G5/q) !/ r",
    13: "!< C6/q.( Db6/e Eb6/q) !/ r",
    15: "!mf r/h 3{ F5/e( Bb5 Db6) } 3{ F6( Db6 Bb5) }",
    17: "r/h 3{ Ab5/e( C6 Eb6) } 3{ Gb6( Eb6 C6) }",
    18: "!f F5/q.( Ab5/e Bb5/q C6)",
    19: "Db6/h( Bb5/q) r",
    20: "!> Ab5/h( G5)",
    21: "G5/h !/ !p r",
    22: "!f A5/q.( Bb5/e C6/q F6)",
    23: "E6/q.( D6/e C6/q) r",
    24: "D6/q.( C6/e Bb5/q G5)",
    25: "C6/h. r/q",
    26: "Bb5/q.( A5/e G5/q E5)",
    27: "!> F5/h. !/ r/q",
    30: "r/h r/e !p D6( C6 A5",
    31: "G5/h.) r/q",
}
FLUTE_2 = {
    11: "!mp !< Bb5/q.( A5/e G5/q Bb5)",
    12: "F5/h( E5/q) !/ r",
    13: "!< Ab5/q.( Bb5/e C6/q) !/ r",
    14: "!mf Ab5/h( F5)",
    15: 'Db6/q !"to_Piccolo" r r/h',
    16: '@2 !"Piccolo" !mf Ab6/q.( Gb6/e F6/q Db6)',
    17: "Eb6/h r",
    18: "!f F6/q.( Ab6/e Bb6/q C7)",
    19: "Db7/h( Bb6/q Gb6)",
    22: "!f A6/q.( Bb6/e C7/q F7)",
    23: "E7/q.( D7/e C7/q) r",
    24: "D7/q.( C7/e Bb6/q G6)",
    25: "C7/h r",
}
OBOE = {
    6: "r/h r/e !p C5( D5 E5",
    7: "F5/h E5/q) r",
    10: "r/h r/e !mp A4( Bb4 C5",
    11: "D5/q.) r/e r/h",
    14: "!f F5/q.( Eb5/e Db5/q Ab4)",
    15: "Bb4/q.( Db5/e F5/q) r",
    16: "Ab5/q.( Gb5/e F5/q Db5)",
    17: "Eb5/h C5/q r",
    18: "!f F5/q.( Ab5/e Bb5/q C6)",
    19: "F5/h( Gb5/q) r",
    20: "!> F5/w",
    21: "E5/h !/ !p r",
    22: "!f A4/q.( Bb4/e C5/q F5)",
    23: "E5/q.( D5/e C5/q) r",
    24: "D5/q.( C5/e Bb4/q G4)",
    25: "C5/h r",
    26: "!mf !> Bb4/q.( A4/e G4/q E4)",
    27: "F4/h !/ r",
    28: '!p !"solo" A4/q.( Bb4/e C5/h)',
    29: "^E5 D5/h( F5/q E5)",
    30: "C5/h( D5/q) r",
}
CLARINETS = {
    7: "!p D4+F4/h( C4+E4)",
    8: "C4+E4/h( D4+F4/q) r",
    9: "!mp D4+G4/q( D4+F#4 C4+F4H C4+E4)",
    10: "C#4+E4/h( D4+F4/q) r",
    11: "Bb3+F4/h( Bb3+D4)",
    12: "C4+F4/h( C4+E4)",
    13: "!< C4+Eb4/h( Eb4+Gb4/q) !/ r",
    14: "!mf Db5+F5/q.( C5+Eb5/e Bb4+Db5/q F4+Ab4)",
    15: "Gb4+Bb4/h. r/q",
    16: "Db4+F4/h( F4+Ab4)",
    17: "Gb4+Bb4/h( Gb4+C5/q) r",
    18: "!f F4+Ab4/h( Gb4+Bb4/q Ab4+C5)",
    19: "F4+Db5/h( Gb4+Bb4/q) r",
    20: "!> F4+Ab4/h( G4+Bb4)",
    21: "E4+Bb4/h( E4+G4/q) !/ !p r",
    22: "!f C5+F5/h( A4+C5)",
    23: "A4+D5/h( F4+A4/q) r",
    24: "F4+D5/h( E4+C5)",
    25: "G4+C5/h( F4+A4/q) r",
    26: "!mf F4+Bb4/h( E4+G4)",
    27: "!> C4+A4/h( Db4+Bb4) !/",
    30: "!p C4+E4/h( D4+F4)",
    31: "!pp C4+F4/w~",
    32: "C4+F4/h. r/q",
}
BASSOON = {
    9: "!p G2/h( C3)",
    10: "A2/h( D3)",
    11: "Bb2/h( G2/q) r",
    12: "C3/h. r/q",
    13: "!< F2/h( Ab2/q) !/ r",
    14: "!mf Db3/h( Ab2)",
    15: "Gb2/h( Db3/q) r",
    16: "Bb2/h( F3)",
    17: "Eb3/h( Ab2/q) r",
    18: "!f F3/h( Gb3/q Ab3)",
    19: "F3/h( Eb3/q) r",
    20: "!> Db3/w",
    21: "C3/h !/ !p r",
    22: "!f F3/h( C3)",
    23: "D3/h( A2/q) r",
    24: "Bb2/h( C3)",
    25: "A2/h( D3/q) r",
    26: "!mf G2/h( C3)",
    27: "!> F2/h. !/ r/q",
    30: "!p A2/h( C3)",
    31: "!pp F2/h. r/q",
}
HORNS = {
    2: "r/h !p C4+F4/q.( D4+G4/e",
    3: "D4+A4/h.) r/q",
    11: "!p F4+Bb4/h( D4+G4)",
    12: "C4+F4/h( C4+E4/q) r",
    13: "!< C4+Eb4/h( C4+Gb4/q) !/ r",
    14: "!mf F4+Ab4/h( F4+Db5)",
    15: "Gb4+Bb4/h. r/q",
    16: "F4+Bb4/h F4+Ab6",
    17: "Gb4+Bb4/h( Gb4+C5/q) r",
    18: "!f Ab4+Db5/h( Bb4+Db5/q Ab4+C5)",
    19: "Bb4+Db5/h( Gb4+Bb4/q) r",
    20: "!> F4+Ab4/h( G4+Bb4)",
    21: "E4+Bb4/h !/ !p r",
    22: "!mf F4+C5/h( F4+A4)",
    23: "F4+A4/h. r/q",
    24: "F4+Bb4/h( E4+G4)",
    25: "E4+G4/h( F4+A4/q) r",
    26: "D4+F4/h( E4+G4)",
    27: "!> F4+A4/h( F4+Bb4) !/",
    31: "r/h !pp C4+F4/q.( D4+G4/e",
    32: "C4+A4/h.) r/q",
}
TRUMPET = {
    18: "r/h !mf Bb4/q( C5",
    19: "Db5/h) r",
    22: "!f A4/q.> Bb4/e> C5/q> F5>",
    23: "E5/q.( D5/e C5/q) r",
    24: "D5/q.( C5/e Bb4/q G4)",
    25: "C5/h r",
}
TIMPANI = {
    1: "!pp F2/w*",
    5: "!pp F2/q r C3 r",
    9: "r/h C3/q r",
    12: "C3/q r C3 r",
    14: "!mf Db3/q r Ab2 r",
    18: "!mf !< F2/e Eb2/s F2 Gb2/e F2/s Eb2 Gb2/e F2/s Gb2 Ab2/e Gb2/s Ab2 !/",
    22: "!f F2/q> r C3> r",
    24: "r/h C3/q r",
    26: "!mf !> r/h C3*",
    27: "!/ !p F2/q r r/h",
    31: "!pp F2/w*~",
    32: "F2/q r r/h",
}
PERCUSSION = {
    1: '!"Triangle" !pp tri/q r r/h',
    4: '@2 !"Susp._Cymbal" !pp !< cym/w*',
    5: '@1 !/ !"Triangle" !p tri/q r r/h',
    9: "tri/q r r/h",
    14: '@2 !mf !"Susp._Cymbal" !"l.v." cym/q r r/h',
    18: '@1 r/h !"Triangle" !mf tri/q r',
    21: '@2 !"Susp._Cymbal" !pp !< cym/w*',
    22: '!/ !f !"l.v." cym/q> r r/h',
    24: '@1 !"Triangle" !mf tri/q r tri r',
    28: "!p tri/q r r/h",
    32: "!pp tri/q r r/h",
}
HARP_RIGHT = {
    1: "!p r/h A4/e C5 F5 G5",
    2: "r/h A4/e C5 G5 A5",
    3: "r/h A4/e Bb4 D5 F5",
    4: "r/h F4/e Bb4 D5 G5",
    5: "!p r/h C5/e A4 F4 C4",
    6: "r/h C5/e A4 F4 C4",
    7: "r/h Bb4/e G4 E4 C4",
    8: "r/h C5/e A4 F4 D4",
    9: "!mp r/h Bb4/e G4 E4 C4",
    10: "r/h D5/e A4 F4 D4",
    11: "r/h Bb4/e G4 F4 D4",
    12: "r/h Bb4/e G4 E4 C4",
    13: "!< r/h C5/e Ab4 Gb4 Eb4 !/",
    14: "!f r/h F5/e Db5 Ab4 F4",
    15: "r/h F5/e Db5 Bb4 F4",
    16: "r/h F5/e Db5 Ab4 F4",
    17: "r/h Eb5/e C5 Gb4 Eb4",
    18: "!f F4+Ab4+Db5+F5+Ab5/q> r r/h",
    21: '!mf !< !"gliss." C4/hg !/ !f C6/qG r',
    22: "!f F4+A4+C5+F5/qa r F4+A4+C5+F5a r",
    23: "r/h C6/e A5 F5 C5",
    24: "r/h C6/e G5 E5 C5",
    25: "r/h A5/e F5 D5 C5",
    26: "!mf r/h Bb5/e G5 E5 C5",
    27: "!> r/h F5/e Db5 Bb4 F4 !/",
    28: "!p r/h C5/e A4 F4 C4",
    29: "r/h !< r/s B4 F5 E5 !/ D5+F#5/e B4",
    30: "r/h D5/e Bb4c G4c F4c",
    31: '!mp !"like_a_bell" G=4+G#4+A4/q> r r/h',
    32: "!pp A4+C5+F5/wa",
}
HARP_LEFT = {
    1: "F2/e C3 F3 G3 r/h",
    2: "F2/e C3 F3 G3 r/h",
    3: "F2/e Bb2 D3 F3 r/h",
    4: "C2/e G2 Bb2 D3 r/h",
    5: "F2/e C3 F3 A3 r/h",
    6: "D2/e A2 D3 F3 r/h",
    7: "Bb1/e F2 Bb2 D3 r/h",
    8: "A1/e E2 A2 C3 r/h",
    9: "G2/e D3 G3 Bb3 r/h",
    10: "A2/e E3 G3 C#4 r/h",
    11: "Bb1/e F2 Bb2 D3 r/h",
    12: "C2/e G2 C3 F3 r/h",
    13: "F2/e C3 Eb3 Ab3 r/h",
    14: "Db2/e Ab2 Db3 F3 r/h",
    15: "Gb2/e Db3 F3 Bb3 r/h",
    16: "Bb1/e F2 Bb2 Db3 r/h",
    17: "Eb2/e Bb2 Eb3 Gb3 r/h",
    18: "F1+F2/q> r r/h",
    22: "F2+C3+F3/qa r F2+C3+F3a r",
    23: "D2/e A2 D3 F3 r/h",
    24: "Bb1/e F2 Bb2 D3 r/h",
    25: "A1/e E2 A2 C3 r/h",
    26: "G2/e D3 F3 Bb3 r/h",
    27: "F2/e C3 F3 A3 r/h",
    28: "F2/e C3 F3 A3 r/h",
    29: "D2/e A2 D3 F3 G2/s D3 G3 A3 G#3/e E3",
    30: "A2/e E3 A3 C4 r/h",
    31: "F2+C3/q r r/h",
    32: "F2+C3/wa",
}
CELESTA_RIGHT = {
    1: "!p r/q C6/e( F6 G6 C7 A6 F6)",
    2: "r/q C6/e( F6 A6 G6 F6 C6)",
    24: "!mf D7/e( C7 A6 F6) E7( C7 G6 E6)",
    25: "C7/e( G6 E6 C6) A6( F6 D6 C6)",
    26: "D7/e( Bb6 G6 F6) E7( C7 Bb6 G6)",
    27: "!p A5+C6/h Bb5+Db6",
    30: "!p A5+C6/h G5+Bb5",
    31: "!pp r/q A6/e( C7 G6/h)",
    32: "!pp A6/w",
}
CELESTA_LEFT = {
    1: "F4+C5/w",
    2: "F4+C5/w",
    24: "Bb4+F5/h C5+G5",
    25: "A4+E5/h D5+A5",
    26: "G4+D5/h C5+E5",
    27: "F4/e( C4 A3 F3) Bb3( Db4 F4 Db4)",
    30: "C4/e( A3 E3 A2) r/h",
}
PIANO_RIGHT = {
    7: "!p !una r/q F4+A4+D5- r E4+G4+C5-",
    8: "r/q E4+G4+C5- r F4+A4+C5-",
    9: "r/q G4+Bb4+D5- r E4+G4+Bb4-",
    10: "r/q E4+G4+C#5- r F4+A4+D5-",
    14: "!f Ab4/s( Db5 F5 Ab5 Db6 Ab5 F5 Db5 Ab4 Db5 F5 Ab5 Db6 Ab5 F5 Db5)",
    15: "Bb4/s( Db5 F5 Bb5 Db6 Bb5 F5 Db5 Bb4 Db5 F5 Bb5 Db6 Bb5 F5 Db5)",
    16: "Ab4/s( Db5 F5 Ab5 Db6 Ab5 F5 Db5 Ab4 Db5 F5 Ab5 Db6 Ab5 F5 Db5)",
    17: "Bb4/s( Eb5 Gb5 Bb5 Eb6 Bb5 Gb5 Eb5 C5 Eb5 Gb5 C6 Eb6 C6 Gb5 Eb5)",
    18: "!< Ab5/s( Db6 F6 Db6 Ab5 Db6 F6 Db6 Bb5 Db6 Gb6 Db6 C6 Eb6 Ab6 Eb6) !/",
    19: "!f !8va F6/s( Bb6 Db7 Bb6 F6 Bb6 Db7 Bb6 !> Eb7 Bb6 Gb6 Eb6 !8vax Bb5 Gb5 Eb5 Bb4) !/",
    22: "!f F4+A4+C5+F5/q> r A4+C5+F5> r",
    23: 'F4+A4+D5/q r !"to_Celesta" r/h',
    24: "!mf r/q D5+F5- r E5+G5-",
    25: "r/q E5+G5- r F5+A5-",
}
PIANO_LEFT = {
    7: "!ped Bb2/h !pedc C3 !pedx",
    8: "!ped A2/h !pedc D3 !pedx",
    9: "!ped G2/h !pedc C3 !pedx",
    10: "!ped A2/h !pedc D3 !pedx",
    14: "!ped Db2+Db3/h Ab2 !pedx",
    15: "!ped Gb1+Gb2/h Db3 !pedx",
    16: "!ped Bb1+Bb2/h F3 !pedx",
    17: "!ped Eb2+Eb3/h !pedc Ab2 !pedx",
    18: "!ped F2/e Db3 Ab3 Db3 !pedc Gb3/s Gb2+Db3+Db4 Gb3 Db3 !pedc Ab2/e Eb3 !pedx",
    19: "!ped F1/s F4 F1 F4 F2/e Db3 !pedc Eb2+Eb3/h !pedx",
    22: "F2+F3/q> r C3> r",
    23: "D2+D3/q r r/h",
    24: "Bb2/h C3",
    25: "A2/h D3",
}
VIOLIN_1 = {
    1: "!pp A4/w~",
    2: "A4/w",
    3: "!< A4/w(",
    4: "G4/h.) !/ Bb4/q",
    5: "!p A4/q.( Bb4/e C5/q F5)",
    6: "E5/q.( D5/e C5/h)",
    7: "D5/q.( C5/e Bb4/q G4)",
    8: "C5/h.( A4/q)",
    9: "!mp Bb4/q.( C5/e D5/q G5)",
    10: "E5/q( C#5) D5( F5)",
    11: "!< D5/q.( C5/ec Bb4/q D5)",
    12: "C5/h.( G4/q) !/",
    13: "!< C5/q.( Db5/e Eb5/h) !/",
    14: "!f F5/q.( Eb5/e Db5/q Ab4)",
    15: "Bb4/q.( Db5/e F5/h)",
    16: "Ab5/q.( Gb5/e F5/q Db5)",
    17: "Eb5/h( C5/q Eb5)",
    18: "!< F5/q.( Ab5/e Bb5/q C6) !/",
    19: "!f Db6/h( Bb5/q Gb5)",
    20: "!> Ab5/h( G5)",
    21: "G5/h( E5/q G5) !/",
    22: "!f A5/q.( Bb5/e C6/q F6)",
    23: "E6/q.( D6/e C6/h)",
    24: "D6/q.( C6/e Bb5/q G5)",
    25: "C6/h.( A5/q)",
    26: "!mf Bb5/q.( A5/e G5/q E5)",
    27: "!> F5/w !/",
    28: "!p C5/w",
    29: "C5/h( B4)",
    30: "A4/h( Bb4c)",
    31: "!pp A4/w~",
    32: "A4/w",
}
VIOLIN_2 = {
    1: "!pp G4/w~",
    2: "G4/w",
    3: "F4/w~",
    4: "F4/w",
    5: "!p C4/e( F4 A4 F4) C4( F4 A4 F4)",
    6: "C4/e( F4 A4 F4) D4( F4 A4 F4)",
    7: "D4/e( F4 A4 F4) C4( E4 G4 E4)",
    8: "C4/e( E4 G4 E4) D4( F4 A4 F4)",
    9: "!mp D4/e( G4 Bb4 G4) C4( G4 Bb4 G4)",
    10: "C#4/e( E4 G4 E4) D4( F4 A4 F4)",
    11: "!< D4/e( F4 Bb4 F4) D4( F4 G4 F4)",
    12: "C4/e( F4 G4 F4) C4( E4 G4 E4) !/",
    13: "!< C4/e( Eb4 Ab4 Eb4) C4( Eb4 Gb4 Eb4) !/",
    14: "!mf F4/e( Ab4 Db5 Ab4) F4( Ab4 Db5 Ab4)",
    15: "Gb4/e( Bb4 Db5 Bb4) F4( Bb4 Db5 Bb4)",
    16: "F4/e( Bb4 Db5 Bb4) F4( Ab4 Db5 Ab4)",
    17: "Gb4/e( Bb4 Eb5 Bb4) Gb4( C5 Eb5 C5)",
    18: "!< F4/e( Ab4 Db5 Ab4) Gb4( Bb4) Ab4( C5) !/",
    19: "!f F4/e( Bb4 Db5 Bb4) Gb4( Bb4 Eb5 Bb4)",
    20: "!> F4/e( Ab4 Db5 Ab4) G4( Bb4 Db5 Bb4)",
    21: "Bb4/h( G4) !/",
    22: "!f A4/q.( Bb4/e C5/q F5)",
    23: "E5/q.( D5/e C5/h)",
    24: "D5/q.( C5/e Bb4/q G4)",
    25: "C5/h.( A4/q)",
    26: "!mf Bb4/q.( A4/e G4/q E4)",
    27: "!> F4/w !/",
    28: "!p A4/w",
    29: "F4/h.( E4/q)",
    30: "E4/h( F4)",
    31: "!pp G4/w(",
    32: "F4/w)",
}
VIOLA = {
    1: "!pp C4/w~",
    2: "C4/w",
    3: "D4/w~",
    4: "D4/w",
    5: "!p C4/h( A3)",
    6: "A3/w",
    7: "Bb3/h( G3)",
    8: "G3/h( A3)",
    9: "!mp Bb3/w",
    10: "A3/q( C#4H) D4/h",
    11: "!< Bb3/w",
    12: "G3/h( Bb3) !/",
    13: "!< Ab3/h( C4) !/",
    14: "!mf Db4/h( F4)",
    15: "Db4/h( Bb3)",
    16: "Db4/h( Ab3)",
    17: "Bb3/h( C4)",
    18: "!< Ab3/h( Db4/q Eb4) !/",
    19: "!f Db4/h( Eb4)",
    20: "!> F4/h( Db4)",
    21: "C4/w !/",
    22: "!mf C4/e( F4 A4 F4) C4( F4 A4 F4)",
    23: "D4/e( F4 A4 F4) C4( F4 A4 F4)",
    24: "D4/e( F4 A4 F4) C4( E4 G4 E4)",
    25: "C4/e( E4 G4 E4) D4( F4 A4 F4)",
    26: "D4/e( F4 Bb4 F4) C4( E4 Bb4 E4)",
    27: "!> C4/e( F4 A4 F4) Db4( F4 Bb4 F4) !/",
    28: "!p F4/w",
    29: "A3/h( G3/q G#3)",
    30: "A3/h( G3c)",
    31: "!pp C4/w~",
    32: "C4/w",
}
CELLO = {
    1: "!pp F3/w~",
    2: "F3/w",
    3: "F3/w",
    4: "C3/w",
    5: "!p F3/h( C3)",
    6: "D3/h( A2)",
    7: "Bb2/h( C3)",
    8: "A2/h( D3)",
    9: "!mp G2/h( C3)",
    10: "A2/h( D3)",
    11: "!< Bb2/h( G2)",
    12: "C3/w !/",
    13: "!< F3/h( Ab2) !/",
    14: "!mf Db3/h( Ab2)",
    15: "Gb2/h( Db3)",
    16: "Bb2/h( F3)",
    17: "Eb3/h( Ab2)",
    18: "!< F3/h( Gb3/q Ab3) !/",
    19: "!f F3/h( Eb3)",
    20: "!> Db3/w",
    21: "C3/w !/",
    22: "!f F3/h( C3)",
    23: "D3/h( A2)",
    24: "Bb2/h( C3)",
    25: "A2/h( D3)",
    26: "!mf G2/h( C3)",
    27: "!> F2/w !/",
    28: "!p F3/w",
    29: "D3/h( G2/q E2)",
    30: "A2/h( C3)",
    31: "!pp F2/w~",
    32: "F2/w",
}
DOUBLE_BASS = {
    1: "!pp F2/w~",
    2: "F2/w",
    3: "F2/w",
    4: "C2/w",
    5: "!p !pizz F2/q r C2 r",
    6: "D2/q r A1 r",
    7: "Bb1/q r C2 r",
    8: "A1/q r D2 r",
    9: "!mp G1/q r C2 r",
    10: "A1/q r D2 r",
    11: "Bb1/q r G1 r",
    12: "C2/q r C2 r",
    13: "!< F1/q r Ab1 !/ r",
    14: "!mf !arco Db2/h( Ab1)",
    15: "Gb1/h( Db2)",
    16: "Bb1/h( F1)",
    17: "Eb2/h( Ab1)",
    18: "!< F1/h( Gb1/q Ab1) !/",
    19: "!f F1/h( Eb1)",
    20: "!> Db1/w",
    21: "C1/w !/",
    22: "!f F2/h( C2)",
    23: "D2/h( A1)",
    24: "Bb1/h( C2)",
    25: "A1/h( D2)",
    26: "!mf G1/h( C2)",
    27: "!> F1/w !/",
    29: "!p D2/h( G1/q E1)",
    30: "A1/h( C2)",
    31: "!pp F1/w~",
    32: "F1/w",
}

UP_OCTAVE, DOWN_OCTAVE = Transposition(octave=1), Transposition(octave=-1)
B_FLAT, IN_F = Transposition(-1, -2), Transposition(-4, -7)
FLUTE = Instrument("Flute", "wind.flutes.flute", 74)

PARTS = (
    Part("Flute 1", "Fl. 1", (FLUTE,), ("treble",), (FLUTE_1,)),
    Part(
        "Flute 2",
        "Fl. 2",
        (FLUTE, Instrument("Piccolo", "wind.flutes.flute.piccolo", 73)),
        ("treble",),
        (FLUTE_2,),
        later={16: UP_OCTAVE},
    ),
    Part("Oboe", "Ob.", (Instrument("Oboe", "wind.reed.oboe", 69),), ("treble",), (OBOE,)),
    Part(
        "2 Clarinets in B♭",
        "2 Cl.",
        (Instrument("Clarinet in B♭", "wind.reed.clarinet.bflat", 72),),
        ("treble",),
        (CLARINETS,),
        B_FLAT,
    ),
    Part("Bassoon", "Bsn.", (Instrument("Bassoon", "wind.reed.bassoon", 71),), ("bass",), (BASSOON,)),
    Part(
        "2 Horns in F",
        "2 Hn.",
        (Instrument("Horn in F", "brass.french-horn", 61),),
        ("treble",),
        (HORNS,),
        IN_F,
    ),
    Part(
        "Trumpet in B♭",
        "Tpt.",
        (Instrument("Trumpet in B♭", "brass.trumpet.bflat", 57),),
        ("treble",),
        (TRUMPET,),
        B_FLAT,
    ),
    Part("Timpani", "Timp.", (Instrument("Timpani", "drum.timpani", 48),), ("bass",), (TIMPANI,)),
    Part(
        "Percussion",
        "Perc.",
        (
            Instrument("Triangle", "metal.triangle", 1, unpitched=82),
            Instrument("Suspended Cymbal", "metal.cymbal.suspended", 1, unpitched=50),
        ),
        ("percussion",),
        (PERCUSSION,),
        keyless=True,
    ),
    Part("Harp", "Hp.", (Instrument("Harp", "pluck.harp", 47),), ("treble", "bass"), (HARP_RIGHT, HARP_LEFT)),
    Part(
        "Celesta",
        "Cel.",
        (Instrument("Celesta", "keyboard.celesta", 9),),
        ("treble", "bass"),
        (CELESTA_RIGHT, CELESTA_LEFT),
        UP_OCTAVE,
    ),
    Part(
        "Piano",
        "Pno.",
        (Instrument("Piano", "keyboard.piano.grand", 1),),
        ("treble", "bass"),
        (PIANO_RIGHT, PIANO_LEFT),
    ),
    Part(
        "Violin 1",
        "Vln. 1",
        (Instrument("Violins 1", "strings.violin", 41, section=True),),
        ("treble",),
        (VIOLIN_1,),
    ),
    Part(
        "Violin 2",
        "Vln. 2",
        (Instrument("Violins 2", "strings.violin", 41, section=True),),
        ("treble",),
        (VIOLIN_2,),
    ),
    Part("Viola", "Vla.", (Instrument("Violas", "strings.viola", 42, section=True),), ("alto",), (VIOLA,)),
    Part("Cello", "Vc.", (Instrument("Cellos", "strings.cello", 43, section=True),), ("bass",), (CELLO,)),
    Part(
        "Double Bass",
        "D.B.",
        (Instrument("Double Basses", "strings.contrabass", 44, section=True),),
        ("bass",),
        (DOUBLE_BASS,),
        DOWN_OCTAVE,
    ),
)
GROUPS = (("Woodwind", 0, 4), ("Brass", 5, 6), ("Strings", 12, 16))  # name, first part, last part


# --------------------------------------------------------------------------------------------------
# Reading the bars above

NAME = re.compile(r"([A-G])(bb|b|##|#|=)?(\d)")
TOKEN = re.compile(r"(?P<grace>\^?)(?P<names>r|R|tri|cym|[A-G][b#=]*\d(?:\+[A-G][b#=]*\d)*)"
                   r"(?:/(?P<value>[whqest])(?P<dots>\.*))?(?P<marks>.*)")  # fmt: skip
ALTERS = {"bb": -2, "b": -1, "": 0, "=": 0, "#": 1, "##": 2}


def read_pitch(name: str) -> Pitch:
    """Read a pitch such as ``Bb4``; ``G=4`` is G4 with a natural to be printed."""
    match = NAME.fullmatch(name)
    if match is None:
        raise ValueError(f"{name!r} is not a pitch; write a letter, an accidental and an octave, as in Bb4")
    letter, sign, octave = match.groups()
    return Pitch(STEPS.index(letter), ALTERS[sign or ""], int(octave))


def read_bar(text: str, place: str, instrument: int) -> tuple[list[Tone | str], int]:
    """Read one bar of one staff into tones and directions (kept as their words), in order.

    Returns the items and the instrument in force at the end. Raises ValueError if the bar is not full.
    """
    items: list[Tone | str] = []
    now, value, dots, triplet, octave_line = 0, "q", 0, 0, 0
    for word in text.split():
        if word[0] == "!":
            octave_line = {"!8va": 1, "!8vax": 0}.get(word, octave_line)
            items.append(word)
        elif word[0] == "@":
            instrument = int(word[1:]) - 1
        elif word == "3{":
            triplet = 1
        elif word == "}":
            items[-1].triplet = "stop"  # type: ignore[union-attr]
            triplet = 0
        else:
            match = TOKEN.fullmatch(word)
            if match is None:
                raise ValueError(f"{place}: cannot read {word!r}")
            names = match["names"].split("+")
            if match["grace"]:
                items.append(Tone(names, now, 0, "eighth", 0, match["marks"], instrument, grace=True))
                continue
            if names == ["R"]:
                items.append(Tone(names, now, BAR, "", 0, "", instrument))
                now += BAR
                continue
            if match["value"]:
                value, dots = match["value"], len(match["dots"])
            length, kind = VALUES[value]
            length = length * 3 // 2 if dots else length
            if triplet:
                length = length * 2 // 3
            mark = ("", "start", "middle")[triplet]
            triplet = 2 if triplet else 0
            tone = Tone(names, now, length, kind, dots, match["marks"], instrument, octave_line, triplet=mark)
            items.append(tone)
            now += length
    if now != BAR:
        raise ValueError(f"{place}: the notes add up to {now} of {BAR}")
    return items, instrument


def beat_groups(tones: list[Tone]) -> list[list[Tone]]:
    """The runs of tones that share a beam: a half bar of plain eighths, else a quarter."""
    groups: list[list[Tone]] = []
    for half in (0, BAR // 2):
        inside = [t for t in tones if half <= t.start < half + BAR // 2]
        plain = all(t.kind == "eighth" and not t.triplet and not t.rest for t in inside)
        width = BAR // 2 if plain else QUARTER
        for first in range(half, half + BAR // 2, width):
            run: list[Tone] = []
            for tone in (t for t in inside if first <= t.start < first + width):
                if tone.rest or tone.kind not in FLAGS:
                    groups.append(run)
                    run = []
                else:
                    run.append(tone)
            groups.append(run)
    return [g for g in groups if len(g) > 1]


def set_beams(group: list[Tone]) -> None:
    """Give every tone of a beamed group its beams, the first beam first."""
    flags = [FLAGS[t.kind] for t in group]
    for i, tone in enumerate(group):
        for level in range(1, flags[i] + 1):
            before = i > 0 and flags[i - 1] >= level
            after = i + 1 < len(group) and flags[i + 1] >= level
            if before and after:
                tone.beams.append("continue")
            elif before or after:
                tone.beams.append("end" if before else "begin")
            else:
                tone.beams.append("forward hook" if i == 0 else "backward hook")


def set_stems(tones: list[Tone], groups: list[list[Tone]], middle: int) -> None:
    """Turn the stems: away from the middle line by the note farthest from it, alike within a beam."""
    beamed = {id(t) for g in groups for t in g}
    for group in [*groups, *([t] for t in tones if id(t) not in beamed)]:
        lines = [p.line - 7 * t.raised - middle for t in group for p in t.pitches]
        if lines:
            up = -min(lines) > max(lines)
            for tone in group:
                tone.stem = "up" if up else "down"


# --------------------------------------------------------------------------------------------------
# Writing MusicXML


class Staff:
    """Writes one staff of one part, bar after bar; holds what outlasts a bar."""

    def __init__(self, page: Page, part: Part, part_id: str, number: int) -> None:
        self.page, self.part, self.part_id, self.number = page, part, part_id, number
        self.grand = len(part.clefs) > 1
        self.instrument = 0
        self.tied: set[Pitch] = set()
        self.state: dict[int, int] = {}
        self.fifths = 0

    def write_bar(self, bar: int, fifths: int) -> None:
        text = self.part.staves[self.number - 1].get(bar, "R")
        place = f"{self.part.name}, bar {bar}, staff {self.number}"
        items, self.instrument = read_bar(text, place, self.instrument)
        self.state, self.fifths = {}, fifths
        tones = [i for i in items if isinstance(i, Tone) and i.names != ["R"]]
        for tone in tones:
            if not tone.rest and tone.names[0] not in UNPITCHED:
                tone.pitches = [read_pitch(n).written(self.part.transposed(bar)) for n in tone.names]
        real = [t for t in tones if not t.grace]
        groups = beat_groups(real)
        for group in groups:
            set_beams(group)
        set_stems(real, groups, CLEFS[self.part.clefs[self.number - 1]][2])
        for item in items:
            if isinstance(item, Tone):
                self._write_tone(item)
            else:
                self._write_direction(item[1:])

    def _write_direction(self, word: str) -> None:
        page = self.page
        if word == "pedc":
            self._write_direction("pedx")
            word = "ped"
        above = word.startswith('"') or word in ("pizz", "arco", "una", "8va", "8vax")
        page.open("direction", placement="above" if above else "below")
        page.open("direction-type")
        sound: dict[str, str] = {}
        if word.startswith('"'):
            page.leaf("words", word.strip('"').replace("_", " "))
        elif word in ("<", ">", "/"):
            kind = {"<": "crescendo", ">": "diminuendo", "/": "stop"}[word]
            page.leaf("wedge", type=kind, number=self.number)
        elif word in ("pizz", "arco"):
            page.leaf("words", {"pizz": "pizz.", "arco": "arco"}[word])
            sound = {"pizzicato": "yes" if word == "pizz" else "no"}
        elif word == "una":
            page.leaf("words", "una corda")
            sound = {"soft_pedal": "yes"}
        elif word in ("ped", "pedx"):
            page.leaf("pedal", type="start" if word == "ped" else "stop", line="no", sign="yes")
            sound = {"damper_pedal": "yes" if word == "ped" else "no"}
        elif word.startswith("8va"):
            page.leaf("octave-shift", type="down" if word == "8va" else "stop", size=8, number=self.number)
        else:
            page.open("dynamics")
            page.leaf(word)
            page.close("dynamics")
        page.close("direction-type")
        if word == "pedx":  # printed a little to the left, so that the next sign does not collide with it
            page.leaf("offset", -QUARTER // 2)
        if self.grand:
            page.leaf("staff", self.number)
        if sound:
            page.leaf("sound", **sound)
        page.close("direction")

    def _accidental(self, pitch: Pitch, name: str, tone: Tone, tied: bool) -> str:
        """The sign to be printed, or nothing. What is not printed leaves the state of the line as it was."""
        key = SHARPS.index(STEPS[pitch.step])
        sharpened, flattened = key < self.fifths, key >= 7 + self.fifths
        in_key = int(sharpened) - int(flattened)
        if tied or (
            self.state.get(pitch.line, in_key) == pitch.alter and "=" not in name and "c" not in tone.marks
        ):
            return ""
        if "H" in tone.marks:
            return ""
        self.state[pitch.line] = pitch.alter
        return SIGNS[pitch.alter]

    def _write_tone(self, tone: Tone) -> None:
        voice = 1 if self.number == 1 else 5
        page = self.page
        stops = set(self.tied)
        if not tone.grace:
            self.tied = set(tone.pitches) if "~" in tone.marks else set()
        for i, name in enumerate(tone.names):
            pitch = tone.pitches[i] if tone.pitches else None
            page.open("note")
            if tone.grace:
                page.leaf("grace", slash="yes")
            if i:
                page.leaf("chord")
            if pitch is not None:
                page.open("pitch")
                page.leaf("step", STEPS[pitch.step])
                if pitch.alter:
                    page.leaf("alter", pitch.alter)
                page.leaf("octave", pitch.octave)
                page.close("pitch")
            elif name in UNPITCHED:
                page.open("unpitched")
                page.leaf("display-step", UNPITCHED[name][0])
                page.leaf("display-octave", UNPITCHED[name][1])
                page.close("unpitched")
            elif name == "R":
                page.leaf("rest", measure="yes")
            else:
                page.leaf("rest")
            if not tone.grace:
                page.leaf("duration", tone.length)
            tie_stop = pitch is not None and pitch in stops and not tone.grace
            ties = [kind for kind, on in (("stop", tie_stop), ("start", "~" in tone.marks)) if on]
            for kind in ties:
                page.leaf("tie", type=kind)
            if len(self.part.instruments) > 1 and not tone.rest and name != "R":
                page.leaf("instrument", id=f"{self.part_id}-I{tone.instrument + 1}")
            page.leaf("voice", voice)
            if tone.kind:
                page.leaf("type", tone.kind)
            for _ in range(tone.dots):
                page.leaf("dot")
            if pitch is not None:
                sign = self._accidental(pitch, name, tone, tie_stop)
                if sign:
                    extra = {"cautionary": "yes", "parentheses": "yes"} if "c" in tone.marks else {}
                    page.leaf("accidental", sign, **extra)
            if tone.triplet:
                page.open("time-modification")
                page.leaf("actual-notes", 3)
                page.leaf("normal-notes", 2)
                page.close("time-modification")
            if tone.grace or (name in UNPITCHED and tone.kind != "whole"):
                page.leaf("stem", "up")
            elif pitch is not None and tone.kind != "whole":
                page.leaf("stem", tone.stem)
            if name in UNPITCHED:
                page.leaf("notehead", UNPITCHED[name][2])
            if self.grand:
                page.leaf("staff", self.number)
            if i == 0:
                for level, beam in enumerate(tone.beams, 1):
                    page.leaf("beam", beam, number=level)
            self._write_notations(tone, ties, i == 0)
            page.close("note")

    def _write_notations(self, tone: Tone, ties: list[str], first: bool) -> None:
        page, marks = self.page, tone.marks
        lines: list[tuple[str, dict[str, object]]] = [("tied", {"type": kind}) for kind in ties]
        articulations: list[str] = []
        if first:
            if ")" in marks:
                lines.append(("slur", {"type": "stop", "number": self.number}))
            if "(" in marks:
                lines.append(("slur", {"type": "start", "number": self.number}))
            if tone.triplet in ("start", "stop"):
                lines.append(("tuplet", {"type": tone.triplet, "bracket": "no"}))
            if "g" in marks or "G" in marks:
                kind = "start" if "g" in marks else "stop"
                lines.append(("glissando", {"line_type": "wavy", "number": 1, "type": kind}))
            articulations = [
                n for s, n in ((">", "accent"), ("'", "staccato"), ("-", "tenuto")) if s in marks
            ]
        roll = first and "*" in marks
        if "a" in marks:
            lines.append(("arpeggiate", {"number": 1}))
        if not (lines or articulations or roll):
            return
        page.open("notations")
        for tag, attributes in lines:
            page.leaf(tag, **attributes)
        if roll:
            page.open("ornaments")
            page.leaf("tremolo", 3, type="single")
            page.close("ornaments")
        if articulations:
            page.open("articulations")
            for name in articulations:
                page.leaf(name)
            page.close("articulations")
        page.close("notations")


def write_transpose(page: Page, by: Transposition) -> None:
    page.open("transpose")
    page.leaf("diatonic", by.diatonic)
    page.leaf("chromatic", by.chromatic)
    if by.octave:
        page.leaf("octave-change", by.octave)
    page.close("transpose")


def write_attributes(page: Page, part: Part, bar: int) -> None:
    """Divisions, key, time, staves, clefs and transposition where one of them starts or changes."""
    by = part.transposed(bar)
    new_key = bar in KEYS and (bar == 1 or not part.keyless)
    if not (new_key or bar in part.later):
        return
    page.open("attributes")
    if bar == 1:
        page.leaf("divisions", QUARTER)
    if new_key:
        page.open("key")
        page.leaf("fifths", 0 if part.keyless else KEYS[bar] + by.fifths)
        page.leaf("mode", "major")
        page.close("key")
    if bar == 1:
        page.open("time")
        page.leaf("beats", 4)
        page.leaf("beat-type", 4)
        page.close("time")
        if len(part.clefs) > 1:
            page.leaf("staves", len(part.clefs))
        for number, clef in enumerate(part.clefs, 1):
            page.open("clef", **({"number": number} if len(part.clefs) > 1 else {}))
            page.leaf("sign", CLEFS[clef][0])
            if clef != "percussion":
                page.leaf("line", CLEFS[clef][1])
            page.close("clef")
    if (bar == 1 and by != Transposition()) or bar in part.later:
        write_transpose(page, by)
    page.close("attributes")


def write_barline(page: Page, bar: int, location: str) -> None:
    """The barlines that are not a plain single line, with repeat and endings."""
    style, ending, repeat = "", None, ""
    if location == "left":
        if bar == REPEAT_FROM:
            style, repeat = "heavy-light", "forward"
        elif bar in (FIRST_ENDING, SECOND_ENDING):
            ending = (1 if bar == FIRST_ENDING else 2, "start")
    elif bar == FIRST_ENDING:
        style, ending, repeat = "light-heavy", (1, "stop"), "backward"
    elif bar == BARS:
        style = "light-heavy"
    elif bar in DOUBLE_BARS and bar + 1 != REPEAT_FROM:
        style = "light-light"
        ending = (2, "stop") if bar == SECOND_ENDING else None
    if not (style or ending or repeat):
        return
    page.open("barline", location=location)
    if style:
        page.leaf("bar-style", style)
    if ending:
        number, kind = ending
        page.leaf("ending", f"{number}." if kind == "start" else None, number=number, type=kind)
    if repeat:
        page.leaf("repeat", direction=repeat)
    page.close("barline")


def write_tempo_and_letters(page: Page, bar: int) -> None:
    """Tempo marks and rehearsal letters, which stand over the top staff only."""
    if bar in REHEARSAL:
        page.open("direction", placement="above")
        page.open("direction-type")
        page.leaf("rehearsal", REHEARSAL[bar])
        page.close("direction-type")
        page.close("direction")
    words = TEMPO_WORDS.get(bar)
    if words is None:
        return
    page.open("direction", placement="above")
    page.open("direction-type")
    page.leaf("words", words, **({"font_style": "italic"} if words == RITARDANDO else {"font_weight": "bold"}))
    page.close("direction-type")
    if bar == 1:
        page.open("direction-type")
        page.open("metronome")
        page.leaf("beat-unit", "quarter")
        page.leaf("per-minute", TEMPO)
        page.close("metronome")
        page.close("direction-type")
    if words != RITARDANDO:
        page.leaf("sound", tempo=TEMPO)
    page.close("direction")


def write_part_list(page: Page) -> None:
    """The part list, bracketed by family; MIDI channels run from 1, ten is kept for percussion."""
    page.open("part-list")
    channels = [c for c in range(1, 17) if c != 10]
    used = 0
    for index, part in enumerate(PARTS):
        part_id = f"P{index + 1}"
        for number, (_, first, _) in enumerate(GROUPS, 1):
            if index == first:
                page.open("part-group", type="start", number=number)
                page.leaf("group-symbol", "bracket")
                page.leaf("group-barline", "yes")
                page.close("part-group")
        page.open("score-part", id=part_id)
        page.leaf("part-name", part.name)
        page.leaf("part-abbreviation", part.short)
        for i, instrument in enumerate(part.instruments, 1):
            page.open("score-instrument", id=f"{part_id}-I{i}")
            page.leaf("instrument-name", instrument.name)
            page.leaf("instrument-sound", instrument.sound)
            if instrument.section:
                page.leaf("ensemble")
            elif not part.name.startswith("2 "):
                page.leaf("solo")
            page.close("score-instrument")
        for i, instrument in enumerate(part.instruments, 1):
            port, place = divmod(used, len(channels))
            if instrument.unpitched is None:
                used += 1
            page.leaf("midi-device", id=f"{part_id}-I{i}", port=port + 1)
            page.open("midi-instrument", id=f"{part_id}-I{i}")
            page.leaf("midi-channel", 10 if instrument.unpitched else channels[place])
            page.leaf("midi-program", instrument.program)
            if instrument.unpitched:
                page.leaf("midi-unpitched", instrument.unpitched)
            page.close("midi-instrument")
        page.close("score-part")
        for number, (_, _, last) in reversed(list(enumerate(GROUPS, 1))):
            if index == last:
                page.leaf("part-group", type="stop", number=number)
    page.close("part-list")


def write_head(page: Page) -> None:
    """Title, composer and page size."""
    page.open("work")
    page.leaf("work-title", TITLE)
    page.close("work")
    page.open("identification")
    page.leaf("creator", COMPOSER, type="composer")
    page.leaf("rights", "An invented piece by an invented composer, made for Deskproof")
    page.open("encoding")
    page.leaf("software", SOFTWARE)
    page.leaf("encoding-date", "2025-03-14")
    for element in ("accidental", "beam", "stem"):
        page.leaf("supports", element=element, type="yes")
    page.leaf("supports", attribute="new-system", element="print", type="no")
    page.close("encoding")
    page.close("identification")
    page.open("defaults")
    page.open("scaling")
    page.leaf("millimeters", 4.5)
    page.leaf("tenths", 40)
    page.close("scaling")
    page.open("page-layout")
    page.leaf("page-height", 3733)
    page.leaf("page-width", 2640)
    page.open("page-margins", type="both")
    for side in ("left", "right", "top", "bottom"):
        page.leaf(f"{side}-margin", 133)
    page.close("page-margins")
    page.close("page-layout")
    page.close("defaults")
    for text, kind, x, size, justify in (
        (TITLE, "title", 1320, 24, "center"),
        (COMPOSER, "composer", 2507, 12, "right"),
    ):
        page.open("credit", page=1)
        page.leaf("credit-type", kind)
        page.leaf(
            "credit-words", text, default_x=x, default_y=3600, font_size=size, justify=justify, valign="top"
        )
        page.close("credit")


def write_score() -> bytes:
    """The whole score as bytes, in UTF-8."""
    page = Page()
    page.lines += [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
        ' "http://www.musicxml.org/dtds/partwise.dtd">',
    ]
    page.open("score-partwise", version="4.0")
    write_head(page)
    write_part_list(page)
    for index, part in enumerate(PARTS):
        part_id = f"P{index + 1}"
        page.open("part", id=part_id)
        staves = [Staff(page, part, part_id, n) for n in range(1, len(part.clefs) + 1)]
        fifths = 0
        for bar in range(1, BARS + 1):
            if bar in KEYS:
                fifths = KEYS[bar] + part.transposed(bar).fifths
            page.open("measure", number=bar)
            write_barline(page, bar, "left")
            write_attributes(page, part, bar)
            if index == 0:
                write_tempo_and_letters(page, bar)
            for staff in staves:
                if staff.number > 1:
                    page.open("backup")
                    page.leaf("duration", BAR)
                    page.close("backup")
                staff.write_bar(bar, fifths)
            write_barline(page, bar, "right")
            page.close("measure")
        page.close("part")
    page.close("score-partwise")
    return ("\n".join(page.lines) + "\n").encode("utf-8")


def main(arguments: list[str]) -> None:
    target = Path(arguments[0]) if arguments else TARGET
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(write_score())


if __name__ == "__main__":
    main(sys.argv[1:])
