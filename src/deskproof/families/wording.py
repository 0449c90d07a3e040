"""How the rules of several families say things, and what a finding with several places takes from them."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.findings import Numbers


def first(rows: Sequence[Numbers]) -> Numbers:
    """Of findings with one cause the figures of the first."""
    return rows[0]


def listed(names: Sequence[str]) -> str:
    """Names in a row, as they are said.

    >>> listed(["G", "G♯", "A"]), listed(["G"]), listed([])
    ('G, G♯ and A', 'G', '')
    """
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)
