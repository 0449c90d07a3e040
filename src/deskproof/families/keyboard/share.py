"""How many players reach how far."""

from __future__ import annotations

from functools import lru_cache
from math import erf, sqrt

from deskproof import facts


@lru_cache(maxsize=1024)
def reached_by(um: int) -> int:
    """How many of a hundred pianists reach so many micrometres between two keys, from 0 to 100.

    Two equal groups, each normally distributed, as the facts give them (``pianists.spans``).

    >>> reached_by(164_500), reached_by(211_500), reached_by(259_000)
    (100, 47, 0)
    """
    over = float(facts.get("keys.hand_over").value)
    need_mm = um / 1000 + over
    groups = facts.get("pianists.spans").value
    shares = [0.5 * (1 - erf((need_mm - mean) / (deviation * sqrt(2)))) for mean, deviation in groups]
    return round(100 * sum(shares) / len(shares))


def in_words(um: int) -> str:
    """The share as it is said.

    >>> in_words(211_500)
    'about 47 in 100 pianists of one study of 473 reach it'
    """
    share = reached_by(um)
    count = "fewer than 1" if share < 1 else f"about {share}"
    return f"{count} in 100 pianists of one study of {facts.get('pianists.study').value} reach it"
