"""What the findings of keyboards share: where they stand, and how rows of keys are said."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.keyboard.reading import Key, Reading
from deskproof.findings import Numbers, Place
from deskproof.pitch import name
from deskproof.timeline import Event

NEAR = 2  # measures; findings of one kind that stand closer belong to one passage
SIDES = {"L": "left", "R": "right"}


def first(rows: Sequence[Numbers]) -> Numbers:
    """Of findings with one cause the figures of the first."""
    return rows[0]


def widest(rows: Sequence[Numbers]) -> Numbers:
    """Of several stretches the figures of the widest."""
    return max(rows, key=lambda row: row["um"])


def shortest(rows: Sequence[Numbers]) -> Numbers:
    """Of several findings about time the figures of the one with the least of what it needs."""
    return min(rows, key=lambda row: row["factor"])


def place_of(reading: Reading, event: Event) -> Place:
    """Where an event stands."""
    return Place(reading.part, event.note.staff, event.measure, event.note.start, event.pass_)


def name_of(key: Key) -> str:
    """The written name of a key, where the page gives one at its sounding pitch; that of its pitch otherwise."""
    written = key.event.note.pitch
    return str(written) if written is not None and written.midi == key.key else name(key.key)


def listed(names: Sequence[str]) -> str:
    """Names in a row, as they are said.

    >>> listed(["C4", "E4", "G4"]), listed(["C4"]), listed([])
    ('C4, E4 and G4', 'C4', '')
    """
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)
