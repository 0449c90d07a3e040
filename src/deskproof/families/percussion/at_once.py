"""How many hands some strokes take at once, and how long it takes to go from one instrument to the next.

Pure: strokes in, counts and milliseconds out. Of each there are two: what a player can just do, and what is easy.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts
from deskproof.families.percussion.naming import KIT
from deskproof.families.percussion.strokes import GRACE, Stroke, by_instrument, has_bars
from deskproof.forces import Forces

TWO = 2
US = 1000
HANGING = "suspended-cymbal"
STANDS, HELD, BOTH, PLACE = "stands", "held", "both", "place"
_CHANGES = {HELD: "mallets.change_held", BOTH: "mallets.change_both", PLACE: "mallets.change_place"}


class Hands(NamedTuple):
    """Hands that some strokes take: at the least, and without tricks (two sticks in a hand, a roll of one hand)."""

    least: int
    easy: int


@lru_cache(maxsize=32)
def named_in(fact: str) -> frozenset[str]:
    """The instruments of a fact that lists some."""
    return frozenset(facts.get(fact).value)


@lru_cache(maxsize=256)
def manner(instrument: str) -> str:
    """How a player has an instrument: it ``stands`` ready, is ``held``, takes ``both`` hands, or is a ``place``."""
    if instrument in named_in("mallets.keyboards"):
        return PLACE
    if instrument in named_in("mallets.both_hands"):
        return BOTH
    return HELD if instrument in named_in("mallets.held") else STANDS


def is_kit(used: Collection[str]) -> bool:
    """Whether some instruments are a drum kit, of which the feet play two."""
    return KIT in used or {"hi-hat", "bass-drum", "snare-drum"} <= set(used)


def hands(strokes: Sequence[Stroke], kit: bool = False) -> Hands:
    """How many hands it takes to strike these together.

    Parameters
    ----------
    strokes : sequence of Stroke
        Of one onset, and rolls that go on; grace notes do not count.
    kit : bool
        Whether feet play what they play at a drum kit.
    """
    least = easy = 0
    rows = by_instrument([stroke for stroke in strokes if stroke.how != GRACE])
    for instrument, row in rows.items():
        one = _hands_of(instrument, row, "bass-drum" in rows)
        if kit and instrument in named_in("mallets.by_foot"):
            continue
        if instrument == KIT:
            feet = int(facts.get("mallets.limbs").value) - TWO
            one = Hands(max(0, len(row) - feet), min(TWO, len(row)) if len(row) <= TWO + feet else len(row))
        least, easy = least + one.least, easy + one.easy
    return Hands(least, easy)


def taken(stroke: Stroke) -> str:
    """The instrument as the player has it: cymbals that are rolled, or struck with sticks, hang."""
    if stroke.instrument in named_in("mallets.may_hang") and (stroke.rolls or stroke.sticks):
        return HANGING
    return stroke.instrument


def _hands_of(instrument: str, row: Sequence[Stroke], bass_drum: bool) -> Hands:
    count = len(row)
    if instrument in named_in("mallets.both_hands") and not any(taken(one) == HANGING for one in row):
        if instrument not in named_in("mallets.may_hang"):
            return Hands(TWO, TWO)
        return Hands(1, 1 if bass_drum else TWO)
    least = -(-count // TWO)
    usual = instrument in named_in("mallets.four_usual") or any(stroke.mallets > TWO for stroke in row)
    easy = least if usual and count > TWO else count
    if any(stroke.rolls for stroke in row):
        easy = max(easy, 1 if manner(instrument) == HELD else TWO)
    return Hands(least, easy)


def busy_until_us(stroke: Stroke) -> int:
    """When the hand that struck is free: at once, or when a roll ends, or what has to be kept sounding."""
    if stroke.rolls or stroke.instrument in named_in("mallets.kept_sounding"):
        return stroke.until_us
    return stroke.t_us


class Change(NamedTuple):
    """From one instrument to another: microseconds, comfortably and at the quickest."""

    before: str
    after: str
    easy_us: int
    quick_us: int


def change(before: Iterable[str], after: Iterable[str], forces: Forces) -> Change | None:
    """The slowest of the changes from some instruments to others; None where nothing is taken up or put down.

    The forces may give the times of a pair of instruments in seconds.
    """
    before = tuple(before)
    found = [_change(one, other, forces) for one in before for other in after if other not in before]
    return max((one for one in found if one.easy_us), key=lambda one: one.easy_us, default=None)


def _change(one: str, other: str, forces: Forces) -> Change:
    said = forces.changes.get((one, other))
    if said is not None:
        quickest, comfortable = said
        return Change(one, other, round(comfortable * US * US), round(quickest * US * US))
    rows = [facts.get(_CHANGES[kind]).value for kind in (manner(one), manner(other)) if kind in _CHANGES]
    easy, quick = max(rows, default=(0, 0))
    return Change(one, other, US * int(easy), US * int(quick))


def takes_both(strokes: Sequence[Stroke]) -> bool:
    """Whether some strokes leave no hand free: then nothing can be made ready meanwhile."""
    return hands(strokes).easy >= TWO or any(has_bars(stroke.instrument) for stroke in strokes)


def other_sticks(one: str, other: str) -> bool:
    """Whether two kinds of sticks, as the words have them, cannot be the same pair.

    >>> other_sticks("soft", "hard"), other_sticks("soft", "soft felt"), other_sticks("sticks", "wood")
    (True, False, False)
    """
    first, second = set(one.split()), set(other.split())
    if not first or not second or "sticks" in first | second:
        return False
    return not (first <= second or second <= first)
