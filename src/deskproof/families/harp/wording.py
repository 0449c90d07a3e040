"""What the harp's findings share: where they stand, what they name, how rows of names are said."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from deskproof import facts
from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.families.wording import listed
from deskproof.findings import Numbers, Place
from deskproof.pitch import Pitch, name, parse
from deskproof.score import NoteRef, Part
from deskproof.timeline import Event

SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
SIDES = {"L": "left", "R": "right"}
NEAR = 2  # measures; findings of one kind that stand closer belong to one passage


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


def names_of(rows: Sequence[Plucked]) -> str:
    """The written names of several strings, as they are said."""
    return listed([written_name(one) for one in rows])


class UpTo(NamedTuple):
    fixed: Callable[[int], bool]
    goes: Callable[[int, float], str]

    def up_to(self, t_us: int, ratio: float) -> str:
        return "" if self.fixed(t_us) else self.goes(t_us, ratio)


def number_of(key: str) -> int:
    return int(facts.get(f"harp.{key}").value)


def as_sounding(event: Event) -> Pitch:
    """The written pitch, by the name that the part gives it where it does not transpose."""
    written = event.note.pitch
    if written is not None and written.midi == event.sounding:
        return written
    return parse(name(event.sounding or 0))


def is_written(part: Part) -> bool:
    """Whether there is a page: the notes of a MIDI file have none."""
    first = next((note for measure in part.measures for note in measure.notes if note.kind == "note"), None)
    return first is not None and first.marked("midi") is None
