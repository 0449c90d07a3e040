"""Intervals and clefs in words."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.score import Clef

_INTERVALS = (
    "", "a minor second", "a major second", "a minor third", "a major third", "a perfect fourth", "a tritone",
    "a perfect fifth", "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
)  # fmt: skip
_CLEFS = {
    "G2": "treble", "G1": "French violin", "F4": "bass", "F3": "baritone", "C1": "soprano", "C2": "mezzo-soprano",
    "C3": "alto", "C4": "tenor", "C5": "baritone C",
}  # fmt: skip


def interval(semitones: int) -> str:
    """An interval without its direction.

    >>> interval(-14), interval(7), interval(24)
    ('an octave and a major second', 'a perfect fifth', '2 octaves')
    """
    octaves, rest = divmod(abs(semitones), 12)
    whole = "an octave" if octaves == 1 else f"{octaves} octaves"
    if octaves and rest:
        return f"{whole} and {_INTERVALS[rest]}"
    return whole if octaves else _INTERVALS[rest]


def clef_name(clef: Clef) -> str:
    """A clef as musicians name it.

    >>> clef_name(Clef("C", 3)), clef_name(Clef("G", 2, -1))
    ('alto', 'low treble')
    """
    name = _CLEFS.get(f"{clef.sign}{clef.line}", f"{clef.sign} on line {clef.line}")
    return f"{'low ' if clef.octave < 0 else 'high ' if clef.octave > 0 else ''}{name}"


def listed(words: Sequence[str]) -> str:
    """Words with commas and "and", each once."""
    words = list(dict.fromkeys(words))
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
