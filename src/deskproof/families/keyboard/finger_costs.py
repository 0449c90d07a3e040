"""What a fingering costs: pairs of fingers on pairs of keys, and each finger on its key.

Everything here is for the right hand; the left hand is the right one in a mirror (`mirrored`). A pair of fingers has a
range of distances that it plays comfortably, a wider one that is practical; beyond it the hand moves or the pair is not
to be played at once. The rules are those of Parncutt, Sloboda, Clarke, Raekallio and Desain (1997) as remembered, and a
few that chords, rests and repeated keys need; spans and weights stand in facts/fingers.toml, each with its origin.

All costs are whole, `POINT` to a point. A chord costs the sum of its struck notes and of all pairs of fingers in it.
Two chords one after the other, and two with one between them, cost the mean over all pairs of a key of the earlier, not
held on, and a key struck in the later (`step_cost`, `skip_cost`), of which rests let off a share.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

from deskproof import facts
from deskproof.families.keyboard.geometry import NORMAL, SEMITONES

POINT = 100
TENTH = POINT // 10
SUBSTITUTION = 1_000_000_000  # for each held key that changes its finger: dearer than any passage is otherwise
MIRROR = 11 * SEMITONES + 4  # a key and its mirror image add up to this: D is its own, F the image of B
FINGERS = (1, 2, 3, 4, 5)
PAIRS = tuple((f, g) for f in FINGERS for g in FINGERS if f < g)
JOINED, APART, FREE = range(3)  # how two chords follow each other


@dataclass(frozen=True, slots=True)
class Weights:
    """What is charged, in tenths of a point; facts/fingers.toml says for what and on what it rests."""

    stretch: int
    relaxed_thumb: int
    relaxed: int
    leap: int
    weak: int
    three_four: int
    four_black: int
    thumb_black: int
    little_black: int
    passing: int
    passing_black: int
    crossing: int
    same_finger: int
    repeat_fast: int
    repeat_change: int
    thumb_two: int
    change: int
    back: int

    def __post_init__(self) -> None:
        """Refuse a bonus: least costs are then the end of the search.

        Raises
        ------
        ValueError
            If a weight is below nought.
        """
        for each in fields(self):
            if getattr(self, each.name) < 0:
                raise ValueError(f"the weight {each.name} is below nought; nought or more is expected")


@lru_cache(maxsize=1)
def weights() -> Weights:
    """The weights in use."""
    return Weights(**{each.name: facts.get(f"fingers.weight_{each.name}").value for each in fields(Weights)})


def equal_weights() -> Weights:
    """Every weight one point: the search with nothing tuned."""
    return Weights(*(10 for _ in fields(Weights)))


@lru_cache(maxsize=1)
def spans() -> Mapping[tuple[int, int], tuple[int, ...]]:
    """The six limits of each pair of fingers, in semitones; the finger nearer to the thumb first."""
    return {(f, g): tuple(facts.get(f"fingers.span_{f}_{g}").value) for f, g in PAIRS}


@lru_cache(maxsize=1)
def shares() -> tuple[int, ...]:
    """How many hundredths of the costs between two chords are charged: joined, apart, free."""
    return (100, facts.get("fingers.apart_share").value, facts.get("fingers.free_share").value)


def mirrored(key: int) -> int:
    """The key that lies in the mirror image of the keyboard where this one lies on it.

    >>> mirrored(62), mirrored(60), mirrored(61)
    (74, 76, 75)
    """
    return MIRROR - key


def beyond(first: int, second: int, low: int, high: int, width: int = NORMAL) -> int:
    """How far two keys lie beyond what two fingers at once can practically do, in thousandths of a semitone.

    ``first`` takes ``low``, ``second``, a later finger, takes ``high``; 0 if it can be done.

    >>> beyond(1, 5, 60, 76), beyond(2, 3, 60, 64), beyond(1, 5, 60, 76, 900)
    (1000, 0, 0)
    """
    limits = spans()[first, second]
    apart = (high - low) * width
    return max(0, apart - limits[-1] * NORMAL, limits[0] * NORMAL - apart)


def stretch(first: int, second: int, apart: int, width: int, charged: Weights) -> int:
    """The cost of a pair of fingers so many semitones apart, the first nearer to the thumb; short of a leap."""
    least, near, close, wide, far, most = (limit * NORMAL for limit in spans()[first, second])
    distance = max(least, min(most, apart * width))
    relaxed = charged.relaxed_thumb if first == 1 else charged.relaxed
    over = max(0, distance - wide, close - distance) * relaxed
    over += max(0, distance - far, near - distance) * charged.stretch
    return over * TENTH // NORMAL


def note_cost(finger: int, black: bool, charged: Weights) -> int:
    """The cost of one note by itself."""
    cost = charged.weak * (finger > 3)
    if black:
        cost += charged.thumb_black * (finger == 1) + charged.little_black * (finger == 5)
    return cost * TENTH


def chord_cost(
    keys: Sequence[int],
    blacks: Sequence[bool],
    struck: Sequence[bool],
    chosen: Sequence[int],
    width: int,
    charged: Weights,
) -> int:
    """The cost of one chord: its struck notes, and all pairs of which one is struck; keys from the lowest."""
    cost = 0
    for i, (key, black, new, finger) in enumerate(zip(keys, blacks, struck, chosen, strict=True)):
        if new:
            cost += note_cost(finger, black, charged)
        for j in range(i):
            if not (new or struck[j]):
                continue
            if chosen[j] == finger:
                cost += charged.thumb_two * TENTH
            else:
                cost += stretch(chosen[j], finger, key - keys[j], width, charged)
    return cost


def step_cost(
    finger: int, after: int, apart: int, black: bool, black_after: bool, fast: bool, width: int, charged: Weights
) -> int:
    """The cost of one finger on a key followed by one on another, ``apart`` semitones above, nothing let off."""
    if apart == 0:
        if finger == after:
            return charged.repeat_fast * TENTH if fast else 0
        return 0 if fast else charged.repeat_change * TENTH
    if finger == after:
        return charged.same_finger * TENTH
    first, second = sorted((finger, after))
    between = apart if finger < after else -apart
    cost = stretch(first, second, between, width, charged)
    if beyond(first, second, 0, between, width):
        cost += charged.leap * TENTH
    elif between < 0 and first == 1:
        thumb_black, finger_black = (black, black_after) if finger == 1 else (black_after, black)
        cost += (charged.passing_black if thumb_black and not finger_black else charged.passing) * TENTH
    if between < 0 and first > 1:
        cost += charged.crossing * TENTH
    if (first, second) == (3, 4):
        three_black, four_black = (black, black_after) if finger == 3 else (black_after, black)
        cost += (charged.three_four + charged.four_black * (four_black and not three_black)) * TENTH
    return cost


def skip_cost(finger: int, after: int, apart: int, width: int, charged: Weights) -> int:
    """The cost of one finger on a key followed, with one chord between, by one on another ``apart`` semitones above.

    A hand that stays where it is pays nothing.
    """
    if apart == 0:
        return charged.back * TENTH * (finger != after)
    if finger == after:
        return charged.change * TENTH
    first, second = sorted((finger, after))
    between = apart if finger < after else -apart
    if beyond(first, second, 0, between, width):
        return charged.change * TENTH
    _, near, _, _, far, _ = (limit * NORMAL for limit in spans()[first, second])
    over = max(0, between * width - far, near - between * width)
    return min(charged.change, over * charged.stretch // NORMAL) * TENTH
