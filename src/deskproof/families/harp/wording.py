"""What the harp's findings share: where they stand, what they name, how rows of names are said."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.findings import Numbers, Place
from deskproof.pitch import name
from deskproof.score import NoteRef, Part
from deskproof.timeline import Event

SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
SIDES = {"L": "left", "R": "right"}
NEAR = 2  # measures; findings of one kind that stand closer belong to one passage


def first(rows: Sequence[Numbers]) -> Numbers:
    """Of findings with one cause the figures of the first."""
    return rows[0]


def soonest(rows: Sequence[Numbers]) -> Numbers:
    """Of findings with one cause the figures of the one that leaves the least time."""
    return min(rows, key=lambda row: row["gap_us"])


def place_of(reading: Reading, event: Event) -> Place:
    """Where an event stands."""
    return Place(reading.part, event.note.staff, event.measure, event.note.start, event.pass_)


def refs_of(part: Part, rows: Sequence[Plucked]) -> tuple[NoteRef, ...]:
    """The notes of several strings, each once."""
    return tuple(dict.fromkeys(ref for one in rows for ref in refs(part, one)))


def written_name(one: Plucked) -> str:
    """The name that the page gives a note; that of its pitch where it gives none."""
    written = one.events[0].note.pitch
    return str(written) if written is not None else name(one.pitch)


def listed(names: Sequence[str]) -> str:
    """Names in a row, as they are said.

    >>> listed(["G", "G♯", "A"]), listed(["G"]), listed([])
    ('G, G♯ and A', 'G', '')
    """
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


def names_of(rows: Sequence[Plucked]) -> str:
    """The written names of several strings, as they are said."""
    return listed([written_name(one) for one in rows])
