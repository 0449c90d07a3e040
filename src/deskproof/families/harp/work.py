"""How long the search for a plan goes on: limits of work, counted in steps, never in seconds.

Equal passages therefore have equal plans on every machine. Where a limit is reached the search goes on in a coarser
way: what it finds is a plan all the same, but nothing more is proven of it than was before.
"""

from __future__ import annotations

from typing import NamedTuple


class Work(NamedTuple):
    """Limits of one search. A step is one way of taking an onset tried from one label, or two labels compared.

    ``stretch`` is for one stretch that is searched exactly, ``later`` the part of it that may be spent on what must be
    left out of its end. ``passage`` with ``onset`` for every onset is for all stretches of a passage together; beyond,
    the rest of the passage is searched in the cheapest way. ``changes`` with ``onset`` is for the fewest changes,
    ``unproven`` the same where the stretches are not the least anyway. ``repeats`` is for all the plans that are tried
    of a passage with repeats, after the first that minds them.
    """

    stretch: int = 1_600_000
    later: int = 400_000
    passage: int = 2_000_000
    onset: int = 10_000
    changes: int = 1_500_000
    unproven: int = 200_000
    repeats: int = 16_000_000


MOST_STEPS = Work()  # what a plan may take unless its settings say otherwise
