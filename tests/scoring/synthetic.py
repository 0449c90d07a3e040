"""A sketch made from a seed, in the records of a scoring: bars of four quarter notes, passages of eight bars.

The music is no music: its strands have registers, lengths and dynamics as real ones do, which is what a planner sees.
"""

from __future__ import annotations

import random

from deskproof import forces, pitch
from deskproof.pitch import parse
from deskproof.score import Key, Score, Time
from deskproof.scoring import hall as hall_
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import Bar, Passage, Sketch, Strand, Tone

GRID = 4
BAR = 4 * GRID
SHAPES = {
    # kind of strand: lowest and highest note, how long its notes are (ticks), share of rests
    "tune": (62, 86, (2, 4, 4, 8), 0.12),
    "counter-tune": (55, 76, (4, 4, 8), 0.2),
    "bass": (36, 55, (4, 8, 16), 0.1),
    "inner part": (52, 72, (4, 8), 0.15),
    "figuration": (55, 79, (1, 2), 0.05),
    "held harmony": (50, 74, (16, 32), 0.1),
    "accents": (48, 76, (4,), 0.7),
}
DYNAMICS = ("p", "p", "mf", "mf", "f", "f", "ff")
HALL = """
[players]
"flute 1" = { plays = ["flute"] }
"flute 2" = { plays = ["flute"] }
"flute 3" = { plays = ["flute", "piccolo"] }
"oboe 1" = { plays = ["oboe"] }
"oboe 2" = { plays = ["oboe", "cor anglais"] }
"clarinet 1" = { plays = ["clarinet"] }
"clarinet 2" = { plays = ["clarinet"] }
"clarinet 3" = { plays = ["clarinet", "bass clarinet"] }
"bassoon 1" = { plays = ["bassoon"] }
"bassoon 2" = { plays = ["bassoon"] }
"bassoon 3" = { plays = ["bassoon", "contrabassoon"] }
"horn 1" = { plays = ["horn"] }
"horn 2" = { plays = ["horn"] }
"horn 3" = { plays = ["horn"] }
"horn 4" = { plays = ["horn"] }
"trumpet 1" = { plays = ["trumpet"] }
"trumpet 2" = { plays = ["trumpet"] }
"trumpet 3" = { plays = ["trumpet"] }
"trombone 1" = { plays = ["trombone"] }
"trombone 2" = { plays = ["trombone"] }
"bass trombone" = { plays = ["bass trombone"] }
tuba = { plays = ["tuba"] }
timpani = { plays = ["timpani"] }
harp = { plays = ["harp"] }
keyboard = { plays = ["piano", "celesta"] }

[sections]
"violin 1" = { desks = 7 }
"violin 2" = { desks = 6 }
viola = { desks = 5 }
cello = { desks = 4 }
"double bass" = { desks = 3 }
"""
"""Thirty lines of a score."""


def hall_of(text: str = HALL) -> Hall:
    """The room of a forces text."""
    return hall_.hall_of(forces.parse(text), text)


def sketch_of(bars: int, seconds: float = 2.4) -> Sketch:
    """A sketch of so many bars, its strands being what counts."""
    score = Score("made from a seed", GRID, ())
    rows = tuple(Bar(i, str(i + 1), i * BAR, BAR, Time("4", 4, BAR), Key(0), seconds) for i in range(bars))
    return Sketch(score, "made from a seed", GRID, rows, (), (), 2)


def tone(onset: int, end: int, midi: int) -> Tone:
    """One tone."""
    return Tone(onset, end, midi, parse(pitch.name(midi)), (0,))


def strand(dice: random.Random, name: str, kind: str, first: int, bars: int, shift: int = 0) -> Strand:
    """One strand over some bars: steps and small leaps inside its register, rests here and there."""
    low, high, lengths, rests = SHAPES[kind]
    low, high = low + shift, high + shift
    centre = dice.randint(low + 5, high - 5)
    at, end = first * BAR, (first + bars) * BAR
    tones: list[Tone] = []
    midi = centre
    while at < end:
        length = min(dice.choice(lengths), end - at)
        if not tones or dice.random() >= rests:
            midi = min(high, max(low, midi + dice.randint(-4, 4)))
            tones.append(tone(at, at + length, midi))
        at += length
    return Strand(name, kind, tuple(tones))


def passages_of(seed: int, count: int = 25, bars: int = 8, strands: tuple[int, int] = (4, 7)) -> tuple[Passage, ...]:
    """Passages one after the other; the loudest of the last third is the climax."""
    dice = random.Random(seed)
    found = []
    for i in range(count):
        number = dice.randint(*strands)
        kinds = ["tune", "bass", *dice.choices(list(SHAPES)[1:], k=max(0, number - 2))][:number]
        kinds = [kind for kind in SHAPES for one in kinds if one == kind]
        kinds = [kind for k, kind in enumerate(kinds) if kind != "bass" or kinds.index("bass") == k]
        made = []
        for k, kind in enumerate(kinds):
            alike = kinds[:k].count(kind)
            name = f"{kind} {alike + 1}" if kinds.count(kind) > 1 else kind
            made.append(strand(dice, name, kind, i * bars, bars, -3 * alike))
        found.append(Passage(i * bars, i * bars + bars - 1, tuple(made), dice.choice(DYNAMICS)))
    loud = [i for i, one in enumerate(found) if one.dynamic == "ff" and i >= count * 2 // 3]
    if loud:
        top = found[loud[0]]
        found[loud[0]] = Passage(top.first, top.last, top.strands, top.dynamic, climax=True)
    return tuple(found)
