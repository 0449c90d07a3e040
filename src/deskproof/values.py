"""Note values: a length in ticks as a value that can be printed, and back."""

from __future__ import annotations

from fractions import Fraction

VALUES = {  # MusicXML's names (simpleType note-type-value), in quarters
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
}  # fmt: skip
MOST_DOTS = 2


def value_of(ticks: int, grid: int) -> tuple[str, int] | None:
    """Name and dots of a length; None where no single value lasts so long.

    >>> value_of(36, 12), value_of(12, 12), value_of(21, 12), value_of(8, 12)
    (('half', 1), ('quarter', 0), ('quarter', 2), None)
    """
    quarters = Fraction(ticks, grid)
    for name, plain in VALUES.items():
        for dots in range(MOST_DOTS + 1):
            if plain * (2 - Fraction(1, 2**dots)) == quarters:
                return name, dots
    return None
