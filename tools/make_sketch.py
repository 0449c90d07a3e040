"""Write the demo sketch, "Lamps on the Quay", as MusicXML 4.0: a short score on three staves, of our own invention.

The music stands here bar by bar in the notation of `make_demo.py`, whose page this uses.

    python tools/make_sketch.py                 writes src/deskproof/demo/lamps.musicxml
    python tools/make_sketch.py OTHER.musicxml  writes there
"""

from __future__ import annotations

import sys
from pathlib import Path

import make_demo
from make_demo import Instrument, Part

TARGET = make_demo.TARGET.with_name("lamps.musicxml")
BARS = 32


def eighths(notes: str) -> str:
    """A bar of eighths under one pedal."""
    first, *others = notes.split()
    return " ".join(["!ped", f"{first}/e", *others, "!pedx"])


def sixteenths(*patterns: str) -> str:
    """A bar of sixteenths, each pattern of four played twice, or four patterns once."""
    groups = [group for group in patterns for _ in range(4 // len(patterns))]
    first, *others = " ".join(groups).split()
    return " ".join([f"{first}/s", *others])


def again(chord: str, before: str = "") -> str:
    """A bar of one chord in repeated eighths."""
    return " ".join([before, f"{chord}/e-", *[f"{chord}-"] * 7]).strip()


LINE = {
    1: "!p G4/q.( Ab4/e Bb4/q Eb5)",
    2: "D5/q.( C5/e Bb4/h)",
    3: "C5/q.( Bb4/e Ab4/q F4)",
    4: "G4/h. r/q",
    5: "G4/q.( Ab4/e Bb4/q Eb5)",
    6: "F5/q.( Eb5/e C5/h)",
    7: "!> Bb4/q( Ab4 G4 F4)",
    8: "Eb4/h. !/ r/q",
    9: again("G4+C5+Eb5", "!mp"),
    10: again("Ab4+C5+Eb5"),
    11: again("Ab4+C5+F5"),
    12: again("F4+Bb4+D5"),
    13: again("G4+Bb4+D5", "!<"),
    14: again("G4+C5+Eb5"),
    15: again("A4+C5+Eb5"),
    16: "Bb4+D5+F5/e- !/ Bb4+D5+F5- Bb4+D5+F5- Bb4+D5+F5- Bb4+D5+F5/q- r",
    17: "!f G4+G5/q.( Ab4+Ab5/e Bb4+Bb5/q Eb5+Eb6)",
    18: "D5+D6/q.( C5+C6/e Bb4+Bb5/h)",
    19: "C5+C6/q.( Bb4+Bb5/e Ab4+Ab5/q F4+F5)",
    20: "G4+G5/h. r/q",
    21: "!< Gb4+Gb5/q.( Ab4+Ab5/e Bb4+Bb5/q Eb5+Eb6)",
    22: "Eb5+Eb6/q.( Db5+Db6/e Cb5+Cb6/h)",
    23: "Bb4+Bb5/q( Cb5+Cb6 Bb4+Bb5 Ab4+Ab5)",
    24: "Bb4+Bb5/h.> !/ r/q",
    25: "!ff Eb5+Eb6/q.( D5+D6/e Eb5+Eb6/q G5+G6)",
    26: "F5+F6/q.( Eb5+Eb6/e C5+C6/h)",
    27: "Eb5+Eb6/q.( D5+D6/e C5+C6/q Bb4+Bb5)",
    28: "!> Bb4+Bb5/h.( Ab4+Ab5/q)",
    29: "!/ !p G4/q.( Ab4/e Bb4/q Eb5)",
    30: "C5/q.( Bb4/e Ab4/h)",
    31: "!pp G4/h( F4)",
    32: "Eb4/w",
}
RIGHT = {
    4: "r/h r/q Bb5+Eb6-",
    8: "r/h r/q G5+Bb5-",
    9: "!mf Eb4/q.( D4/e C4/q G3)",
    10: "Ab3/q.( Bb3/e C4/h)",
    11: "C4/q.( Db4/e C4/q F3)",
    12: "D4/h.( Bb3/q)",
    13: "!< Bb3/q.( C4/e D4/q G3)",
    14: "Eb4/q.( D4/e C4/h)",
    15: "A3/q( C4 Eb4 C4)",
    16: "D4/h. !/ r/q",
    17: "!mf " + sixteenths("Bb4 G4 Eb4 G4"),
    18: sixteenths("Bb4 F4 D4 F4"),
    19: sixteenths("Ab4 Eb4 C4 Eb4", "Ab4 F4 D4 F4"),
    20: sixteenths("Bb4 G4 Eb4 G4"),
    21: "!< " + sixteenths("Bb4 Gb4 Eb4 Gb4"),
    22: sixteenths("Cb5 Gb4 Eb4 Gb4"),
    23: sixteenths("Cb5 Ab4 F4 Ab4"),
    24: sixteenths("D5 Bb4 F4 Bb4") + " !/",
    25: "!ff Eb4+G4+Bb4/q> r Eb4+G4+Bb4> r",
    26: "F4+Ab4+C5/q> r F4+Ab4+C5> r",
    27: "Eb4+G4+C5/q> r Eb4+G4+Bb4> r",
    28: "D4+F4+Bb4/w",
    29: "!p Eb4+Bb4/w",
    30: "Eb4+Ab4/w",
    31: "!pp Eb4/h( D4)",
    32: "G3+Bb3/w",
}
LEFT = {
    1: "!p " + eighths("Eb2 Bb2 Eb3 G3 Bb3 G3 Eb3 Bb2"),
    2: eighths("Bb1 F2 Bb2 D3 F3 D3 Bb2 F2"),
    3: eighths("Ab1 Eb2 Ab2 C3 Eb3 C3 Ab2 Eb2"),
    4: eighths("Eb2 Bb2 Eb3 G3 Bb3 G3 Eb3 Bb2"),
    5: eighths("C2 G2 C3 Eb3 G3 Eb3 C3 G2"),
    6: eighths("F2 C3 F3 Ab3 C4 Ab3 F3 C3"),
    7: "!> " + eighths("Bb1 F2 Bb2 D3 F3 D3 Bb2 F2"),
    8: "!ped Eb2/e Bb2 Eb3 G3 Eb2/h !pedx !/",
    9: "!mp C2+C3/h G2",
    10: "Ab1/h Eb2",
    11: "F2/h C2",
    12: "Bb1/h F2",
    13: "!< G2/h D2",
    14: "C2/h G2",
    15: "F2/h C2",
    16: "Bb1/h. !/ r/q",
    17: "!mf " + sixteenths("Eb2 Eb3 Eb2 Eb3"),
    18: sixteenths("Bb1 Bb2 Bb1 Bb2"),
    19: sixteenths("Ab1 Ab2 Ab1 Ab2"),
    20: sixteenths("Eb2 Eb3 Eb2 Eb3"),
    21: "!< " + sixteenths("Eb2 Eb3 Eb2 Eb3"),
    22: sixteenths("Cb2 Cb3 Cb2 Cb3"),
    23: sixteenths("F2 F3 F2 F3"),
    24: sixteenths("Bb1 Bb2 Bb1 Bb2") + " !/",
    25: "!ff Eb2+Eb3/q> r Eb2+Eb3> r",
    26: "Ab1+Ab2/q> r Ab1+Ab2> r",
    27: "C2+C3/q> r G1+G2> r",
    28: "!> Bb1+Bb2/w",
    29: "!/ !p " + eighths("Eb3 Bb3 Eb4 G4 Bb4 G4 Eb4 Bb3"),
    30: eighths("Ab2 Eb3 Ab3 C4 Eb4 C4 Ab3 Eb3"),
    31: "!pp Bb2+F3/w",
    32: "Eb2+Bb2/w",
}


def score() -> bytes:
    """The sketch as bytes: what is fixed of the demo score's page is set anew."""
    piano = Instrument("Piano", "keyboard.piano.grand", 1)
    for name, value in {
        "TITLE": "Lamps on the Quay",
        "SOFTWARE": "make_sketch.py",
        "BARS": BARS,
        "TEMPO": 84,
        "KEYS": {1: -3},
        "REPEAT_FROM": 0,
        "FIRST_ENDING": 0,
        "SECOND_ENDING": 0,
        "DOUBLE_BARS": (16,),
        "REHEARSAL": {9: "A", 17: "B", 25: "C"},
        "TEMPO_WORDS": {1: "Quietly moving"},
        "GROUPS": (),
        "PARTS": (
            Part("Line", "Line", (piano,), ("treble",), (LINE,)),
            Part("Piano", "Pno.", (piano,), ("treble", "bass"), (RIGHT, LEFT)),
        ),
    }.items():
        setattr(make_demo, name, value)
    return make_demo.write_score()


def main(arguments: list[str]) -> None:
    target = Path(arguments[0]) if arguments else TARGET
    target.write_bytes(score())


if __name__ == "__main__":
    main(sys.argv[1:])
