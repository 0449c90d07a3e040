"""Percussion lines drawn by lot, with a note that is to be damped while both hands roll; no rule is known here.

A page is a case of seeds.score: what rings stands on the upper staff, a roll or single strokes on the lower one. The
roll begins after the note and a beat before it ends, and goes on for a beat or more after it: no hand can be free.
"""

from __future__ import annotations

from random import Random
from typing import Any, NamedTuple

BEATS = 4
RINGING = {"tam-tam": "Tam-tam", "suspended-cymbal": "Susp. cym.", "triangle": "Triangle", "gong": "Gong"}
DRUMS = ("snare-drum", "tenor-drum", "tom-tom")
DAMP = ("words sec", "words secco", "words étouffez", "words étouffé", "words dämpfen", "words damp", "words choke",
        "words trocken", "damp", "damp-all")  # fmt: skip
LEFT = ("words l.v.", "words laissez vibrer", "words lasciar vibrare", "words klingen lassen")


class Fault(NamedTuple):
    """A page with the fault, the note that is to be named, and pages without it by what makes them possible."""

    case: dict[str, Any]
    at: str
    clean: dict[str, dict[str, Any]]


def beats(filled: dict[int, str], bars: int) -> str:
    """Tokens by the beat on which they begin (each as long as its value says), rests between, in whole bars."""
    rows, beat = [], 0
    while beat < bars * BEATS:
        token = filled.get(beat, "R/4")
        rows.append(token)
        beat += {"4": 1, "2": 2, "1": 4}[token.rpartition("/")[2]]
    return " ".join(rows)


def made(seed: int) -> Fault:
    """One page and its likenesses without the fault."""
    draw = Random(f"damping {seed}")
    ringing, drum = draw.choice(sorted(RINGING)), draw.choice(DRUMS)
    bars = draw.randrange(2, 5)
    bar = draw.randrange(bars - 1)
    start, value = draw.choice(((0, 1), (0, 2), (1, 2), (2, 2)))
    long = 4 // value
    first, end = BEATS * bar + start, BEATS * bar + start + long
    upper = {first: f"xE5@1/{value}"}
    at = beats(upper, bars).split().index(upper[first])
    rolled = dict.fromkeys(range(end - 1, end + draw.choice((1, 2))), "xA4@2/4")
    early = {first + 1: "xA4@2/4"} if first + 2 < end else {}
    struck = {beat: "xA4@2/4" for beat in range(bars * BEATS) if draw.random() < 0.6}
    fast = draw.choice((60, 72, 84, 96))
    said = draw.choice(DAMP)

    def page(word: str | None, below: dict[int, str], rolls: bool, name: str = "Percussion 1") -> dict[str, Any]:
        lower = beats(below, bars)
        sounding = [i for i, token in enumerate(lower.split()) if not token.startswith("R")]
        marks_below = [[i, "tremolo 3"] for i in sounding] if rolls else []
        marks = [[at, f"words {RINGING[ringing]}"], *([[at, word]] if word else [])]
        return {
            "instrument": "percussion", "part": name, "clef": "percussion", "kit": [ringing, drum], "tempo": fast,
            "notes": beats(upper, bars), "below": lower, "marks": marks, "marks_below": marks_below,
        }  # fmt: skip

    clean = {
        "nothing is said": page(None, rolled, True),
        "left to ring": page(draw.choice(LEFT), rolled, True),
        "single strokes": page(said, struck, False),
        "the roll ends before": page(said, early, True),
        "two players": page(said, rolled, True, "Percussion 1-2"),
        "the staff of the section": page(said, rolled, True, "Percussion"),
    }
    return Fault(page(said, rolled, True), f"P1/m{bar}/n{start}", clean)
