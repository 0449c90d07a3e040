"""Faults of harp writing beyond the pedals, each with the same music without it; nothing here knows a rule.

A seed is a case of ``seeds.score``: a clean bar, a bar's rest, the bar with the fault, a clean bar. What is wrong is
known by construction: nine strings at once, a hand that would have to be wider than a tenth, a string that rings.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, NamedTuple

LETTERS = "CDEFGAB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
FOOT_ORDER = "DCBEFGA"
REACH = 9  # string steps of a tenth
LOW, HIGH = 7 * 2, 7 * 7  # C2 to C7, in steps above C0


class Fault(NamedTuple):
    """A case with a fault at token ``at`` and one without it."""

    case: dict[str, Any]
    clean: dict[str, Any]
    at: int


def name(line: int) -> str:
    return f"{LETTERS[line % 7]}{line // 7}"


def around(draw: Random, bar: str) -> str:
    """The bar between clean ones; its first token is the sixth, number 5 from 0."""
    before = " ".join(f"{draw.choice('CEG')}{draw.choice((4, 5))}/4" for _ in range(4))
    return f"{before} | R/1 | {bar} | R/2 E4/2"


def case(draw: Random, bar: str, marks: tuple[tuple[int, str], ...] = ()) -> dict[str, Any]:
    """A harp's score with the bar in it; marks by token of the bar."""
    return {
        "instrument": "harp", "tempo": draw.choice((50, 60, 72)), "notes": around(draw, bar),
        "marks": [[5 + at, mark] for at, mark in marks],
    }  # fmt: skip


def both(draw: Random, bad: str, good: str, marks: tuple[tuple[int, str], ...] = (), clean_marks: Any = None) -> Fault:
    state = draw.getstate()
    one = case(draw, bad, marks)
    draw.setstate(state)
    return Fault(one, case(draw, good, marks if clean_marks is None else clean_marks), 5)


def chord(lines: list[int]) -> str:
    return "+".join(name(line) for line in sorted(lines)) + "/1"


def nine_notes(seed: int) -> Fault:
    draw = Random(f"nine {seed}")
    lines = draw.sample(range(LOW, HIGH), draw.choice((9, 9, 10, 12)))
    return both(draw, chord(lines), chord(lines[:8]))


def too_wide(seed: int) -> Fault:
    """Three notes struck at once, each more than a tenth from the next: two hands do not take them."""
    draw = Random(f"wide {seed}")
    low = draw.randrange(LOW, HIGH - 2 * REACH - 2 * 5)
    middle = low + REACH + draw.randrange(3, 6)  # other names move a string by one step at each end
    high = middle + REACH + draw.randrange(3, 6)
    return both(draw, chord([low, middle, high]), chord([low, high]), ((0, "bracket"),))


def five_in_one_hand(seed: int) -> Fault:
    """Five notes within a tenth, and one further off than a tenth from all of them, struck at once."""
    draw = Random(f"five {seed}")
    up = draw.random() < 0.5
    base = draw.randrange(LOW, HIGH - 2 * REACH - 6) if up else draw.randrange(LOW + REACH + 6, HIGH - REACH)
    five = sorted(draw.sample(range(base, base + REACH + 1), 5))
    far = REACH + draw.randrange(3, 6)
    other = five[-1] + far if up else five[0] - far
    return both(draw, chord([*five, other]), chord([*five[:4], other]), ((0, "bracket"),))


def no_pair(seed: int) -> Fault:
    """G trilled with A flat (three flats and more) while an A natural is held: A and A flat, and G is G's own."""
    draw = Random(f"pair {seed}")
    octave, other = draw.choice((3, 4, 5)), draw.choice((2, 3, 4, 5, 6))
    fault = both(draw, f"G{octave}+A{other}/1", f"G{octave}+Ab{other}/1", ((0, "trill 0"),))
    for one in (fault.case, fault.clean):
        one["key"] = draw.choice((-3,))
        one["notes"] = one["notes"].replace("E4", "Eb4").replace("E5", "Eb5")
    return fault


def harmonic_outside(seed: int) -> Fault:
    """A harmonic on a string of the seventh octave, above every range, against one of the fourth."""
    draw = Random(f"harmonic {seed}")
    letter, inside = draw.choice("CDEFG"), draw.choice("CDEFG")
    return both(draw, f"{letter}7/1", f"{inside}4/1", ((0, "harmonic"),))


def end_not_in_set(seed: int) -> Fault:
    """A diagram, and a line that ends on a note that none of its strings sounds."""
    draw = Random(f"sweep {seed}")
    setting = {letter: draw.choice((-1, 0, 0, 1)) for letter in FOOT_ORDER}
    sounds = {(SEMITONES[x] + a) % 12 for x, a in setting.items()}
    sign = {-1: "b", 0: "", 1: "#"}
    ends = [
        (x, a) for x in LETTERS for a in (-1, 0, 1)
        if (SEMITONES[x] + a) % 12 not in sounds and (SEMITONES[x] + a) in range(12)
    ]  # fmt: skip
    first = draw.choice(LETTERS)
    start = f"{first}{sign[setting[first]]}{draw.choice((3, 4))}"
    letter, alter = draw.choice(ends)
    octave = draw.choice((5, 6))
    diagram = "pedals " + " ".join(f"{x}{sign[setting[x]]}" for x in FOOT_ORDER)
    marks = ((0, diagram), (0, "gliss"), (1, "gliss-end"))
    bad = f"{start}/2 {letter}{sign[alter]}{octave}/2"
    good = f"{start}/2 {letter}{sign[setting[letter]]}{octave}/2"
    return both(draw, bad, good, marks)


def rings_on(seed: int) -> Fault:
    """A low string, then its letter's pedal a second or two later; its sharp has no other string there."""
    draw = Random(f"ring {seed}")
    letter, beside, later = draw.choice((
        ("C", "B4", "C#5+D5"), ("F", "E4", "F#5+G5"), ("G", "A4", "G#5+A5"), ("D", "E5", "D#5+E5+F5"),
        ("A", "B4", "A#5+B5+C6"),
    ))  # fmt: skip
    above = {"C": "D5", "F": "G5", "G": "A5", "D": "C5", "A": "G5"}[letter]
    low = f"{letter}{draw.choice((2, 3)) if letter in 'CFGDA' else 2}"
    first = "+".join(dict.fromkeys((low, beside, above)))
    filler = draw.choice(("G4", "A3"))
    filler = "E4" if letter in ("G", "A") else filler
    bad = f"{first}/4 {filler}/4 {later}/4 R/4"
    return both(draw, bad, bad, (), ((1, "damp-all"),))


KINDS: dict[str, Callable[[int], Fault]] = {
    "nine notes": nine_notes,
    "a bracketed chord too wide": too_wide,
    "five notes in one hand": five_in_one_hand,
    "a trill with no pair": no_pair,
    "a harmonic outside its strings": harmonic_outside,
    "a glissando whose end is not in its set": end_not_in_set,
    "a pedal under a ringing string": rings_on,
}
