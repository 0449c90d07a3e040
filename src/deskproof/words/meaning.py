"""The record of one thing that a text says."""

from __future__ import annotations

from typing import NamedTuple


class Meaning(NamedTuple):
    """One thing a text says.

    ``kind`` is the table's word for it, ``value`` tells variants apart (``al-fine``; the tempo word; the
    instrument as written), ``figure`` is a number the text itself gives ("div. a 3", "a 2", "1.").
    """

    kind: str
    value: str = ""
    figure: float | None = None
