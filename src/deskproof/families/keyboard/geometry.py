"""Where the keys lie: centres and distances on the real keyboard, in whole micrometres.

Keys are MIDI numbers. The distance of two keys is that of their centres; the finger lies somewhere on the key, so a
hand reaches a little further than its own span says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from deskproof import facts

SEMITONES = 12
KEYS = 128
BLACK = (False, True, False, True, False, False, True, False, True, False, True, False)
NORMAL = 1000  # width of the keys, in thousandths of the usual one


def is_black(key: int) -> bool:
    """True if the key is one of the raised ones."""
    return BLACK[key % SEMITONES]


@dataclass(frozen=True, slots=True)
class Keyboard:
    """The keys of one instrument.

    Attributes
    ----------
    width : int
        Thousandths of the width of usual piano keys; 960 is a keyboard with narrower ones.
    centres_um : tuple of int
        The centre of each key from the left edge of key 0, in micrometres.
    """

    width: int
    centres_um: tuple[int, ...]

    def extent_um(self, keys: Sequence[int]) -> int:
        """From the lowest to the highest of some keys, centre to centre; 0 for one key and for none.

        >>> keyboard().extent_um([60, 64, 72])
        164500
        """
        if not keys:
            return 0
        return self.centres_um[max(keys)] - self.centres_um[min(keys)]

    def one_thumb(self, low: int, high: int) -> bool:
        """True if a thumb takes both keys at once: neighbouring white keys, or neighbouring black ones.

        >>> keyboard().one_thumb(60, 62), keyboard().one_thumb(61, 63), keyboard().one_thumb(60, 61)
        (True, True, False)
        """
        if is_black(low) != is_black(high) or low == high:
            return False
        return abs(self.centres_um[high] - self.centres_um[low]) <= _thumb_um(self.width)

    def widest_um(self, semitones: int) -> tuple[int, int]:
        """The narrowest and the widest place of so many semitones on the keyboard.

        >>> keyboard().widest_um(12)
        (164500, 164500)
        """
        found = [self.centres_um[key + semitones] - self.centres_um[key] for key in range(SEMITONES)]
        return min(found), max(found)


@lru_cache(maxsize=8)
def keyboard(width: int = NORMAL) -> Keyboard:
    """The keys at a width, in thousandths of the usual one.

    Raises
    ------
    ValueError
        If the width is not above nought.
    """
    if width <= 0:
        raise ValueError(f"a width above nought is expected, in thousandths of the usual one; found {width}")
    octave_um = round(facts.get("keys.octave").value * 1000)
    inside_um = tuple(round(centre * 1000) for centre in facts.get("keys.centres").value)
    return Keyboard(
        width,
        tuple((key // SEMITONES * octave_um + inside_um[key % SEMITONES]) * width // NORMAL for key in range(KEYS)),
    )


def _thumb_um(width: int) -> int:
    mm: float = facts.get("keys.thumb_two_keys").value
    return round(mm * width)
