"""How many reach how far, against the table worked out from one study of 473 pianists (Boyle, Boyle and Booker 2015).

The column for two equal groups, in per cent, by interval: octave, C-D, C-E flat, C-E, E flat-G, D flat-F, a white
eleventh, C-F sharp.
"""

from __future__ import annotations

import pytest

from deskproof.families.keyboard.geometry import keyboard
from deskproof.families.keyboard.share import in_words, reached_by


@pytest.mark.parametrize(
    ("low", "high", "share"),
    [(60, 72, 99), (60, 74, 87), (60, 75, 64), (60, 76, 47), (63, 79, 29), (61, 77, 20), (60, 77, 8), (60, 78, 2)],
)
def test_the_shares_of_the_table(low: int, high: int, share: int):
    assert abs(reached_by(keyboard().extent_um([low, high])) - share) <= 1


def test_wider_is_never_reached_by_more():
    shares = [reached_by(1000 * mm) for mm in range(120, 300)]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] == 100 and shares[-1] == 0
    assert in_words(300_000).startswith("fewer than 1 in 100")
