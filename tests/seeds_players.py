"""Faults of players, put into invented scores; nothing here knows a rule or the package.

A score is a page of seeds.score: lines of quarters and rests at a printed tempo, drawn by lot. Each fault comes with
the same music without it: the second instrument enters late enough for one player.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, NamedTuple

BEATS = 4
COMFORTABLE_S = 10
FORCES = """
[players.keyboard]
plays = ["piano", "celesta"]
"""
ONE_PERCUSSIONIST = """
[players."percussion 1"]
plays = ["snare drum", "xylophone", "triangle", "bass drum"]
"""


class Fault(NamedTuple):
    """A score with a fault and one without, as cases of seeds.score."""

    case: dict[str, Any]
    clean: dict[str, Any]


def line(draw: Random, notes: str, first: int, count: int, bars: int) -> str:
    """``count`` quarters from beat ``first``, rests before and after, in whole bars."""
    tokens = [f"{draw.choice(notes.split())}/4" if first <= k < first + count else "R/4" for k in range(bars * BEATS)]
    return " ".join(tokens)


def _enters(draw: Random, gap_s: float, tempo: int, count: int) -> int:
    """The beat on which a second instrument enters so many seconds after ``count`` beats of the first, rounded up."""
    return count + -int(-gap_s * tempo // 60)


def keyboards_together(draw: Random) -> Fault:
    """Piano and celesta overlapped for one player, in one score; in the other ten seconds lie between."""
    tempo, count = draw.choice((60, 72, 84, 96)), draw.randrange(4, 12)
    return _keyboards(draw, tempo, count, count - draw.randrange(1, 4))


def keyboards_at_once(draw: Random) -> Fault:
    """The celesta within a second of the piano's last note."""
    tempo, count = draw.choice((60, 72, 84, 96)), draw.randrange(4, 12)
    return _keyboards(draw, tempo, count, count + (1 if tempo > 60 and draw.random() < 0.5 else 0))


def _keyboards(draw: Random, tempo: int, count: int, enters: int) -> Fault:
    bars = 12
    piano = line(draw, "C3 E3 G3 C4", 0, count, bars)
    more = draw.randrange(2, 6)
    forces = {"forces": FORCES} if draw.random() < 0.5 else {}

    def score(first: int) -> dict[str, Any]:
        celesta = line(Random(first), "C5 E5 G5", first, more, bars)
        return {
            "instrument": "piano", "tempo": tempo, "notes": piano, **forces,
            "beside": [{"instrument": "celesta", "notes": celesta}],
        }  # fmt: skip

    return Fault(score(enters), score(_enters(draw, COMFORTABLE_S + 1, tempo, count)))


def piccolo_too_soon(draw: Random) -> Fault:
    """A piccolo entry two seconds or less after the second flute's note (published: under five is risky)."""
    tempo, count, bars = draw.choice((60, 72, 84, 96)), draw.randrange(4, 12), 12
    said = draw.choice(
        ("muta in Piccolo", "take picc.", "nimmt Piccolo", "prendre la petite flûte", "muta in ottavino")
    )

    def score(first: int) -> dict[str, Any]:
        dice = Random(count)
        low, high = (line(dice, "A4 B4 C5 D5", 0, count, bars).split(), line(dice, "A4 D5 E5", first, 4, bars).split())
        notes = [high[k] if k >= first else low[k] for k in range(bars * BEATS)]
        return {
            "instrument": "flute", "part": "Flute 2", "tempo": tempo, "notes": " ".join(notes),
            "marks": [[count - 1, f"words {said}"]],
        }  # fmt: skip

    soon = count + max(1, 2 * tempo // 60 - draw.randrange(0, 2))
    return Fault(score(soon), score(_enters(draw, COMFORTABLE_S, tempo, count) + 1))


def percussion_doubled(draw: Random) -> Fault:
    """One player for two percussion staves: a roll on the snare drum under the xylophone, or one after the other."""
    tempo, bars = draw.choice((72, 84, 96)), 8
    first = draw.randrange(0, 4)
    count = draw.randrange(3, 6)

    def score(other: int) -> dict[str, Any]:
        tokens = ["xC5/4" if other <= k < other + count else "R/4" for k in range(bars * BEATS)]
        return {
            "instrument": "xylophone", "tempo": tempo, "notes": line(Random(first), "C5 E5 G5", first, count, bars),
            "forces": ONE_PERCUSSIONIST,
            "beside": [
                {
                    "instrument": "snare-drum", "clef": "percussion", "notes": " ".join(tokens),
                    "marks": [[k, "tremolo 3"] for k in range(other, other + count)],
                }
            ],
        }  # fmt: skip

    return Fault(score(first + draw.randrange(0, 2)), score(first + count + -int(-COMFORTABLE_S * tempo // 60)))


KINDS: dict[str, Callable[[Random], Fault]] = {
    "piano and celesta together": keyboards_together,
    "celesta within a second of the piano": keyboards_at_once,
    "piccolo two seconds after the flute": piccolo_too_soon,
    "one player at two percussion instruments": percussion_doubled,
}


def made(kind: str, seed: int) -> Fault:
    """The fault of a kind with a number."""
    return KINDS[kind](Random(f"{kind} {seed}"))
