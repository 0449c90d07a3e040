"""A finding at the timpani beside the plan that it was found in: which pitches of which events it is about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

from deskproof import facts
from deskproof.edits import Edit, complete
from deskproof.families import rewriting
from deskproof.families.base import Context
from deskproof.families.timpani.model import Drum, Event, Settings
from deskproof.families.timpani.plan import TimpaniPlan
from deskproof.families.timpani.reading import Reading
from deskproof.findings import Effect, Finding, Mend
from deskproof.pitch import sounding_name
from deskproof.score import NoteRef, Part


class Spot(NamedTuple):
    """A pitch of an event: ordinals of the event and of the pitch among its pitches."""

    event: int
    k: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """A finding and how the part is played. ``fifth``: the drums are five where there are usually four."""

    finding: Finding
    reading: Reading
    settings: Settings
    played: TimpaniPlan
    fifth: bool
    context: Context

    @property
    def part(self) -> Part:
        """The part as printed."""
        return self.context.score.parts[self.reading.part]

    @property
    def drums(self) -> tuple[Drum, ...]:
        """The drums that there are, the fifth left aside where it is only proposed."""
        fifth = int(facts.get("timpani_drums.fifth").value) if self.fifth else None
        return tuple(one for one in self.settings.drums if one.inch != fifth)

    def event(self, spot: Spot) -> Event:
        """What is struck there."""
        return self.reading.events[spot.event]

    def pitch(self, spot: Spot) -> int:
        """The sounding pitch."""
        return self.event(spot).pitches[spot.k]

    def refs(self, spots: Sequence[Spot]) -> list[NoteRef]:
        """The printed notes, those tied on too."""
        rows = (self.reading.strokes[spot.event][spot.k] for spot in spots)
        return rewriting.written(self.part, chain.from_iterable(rows))

    def named(self, spot: Spot) -> str:
        """The sounding pitch, spelled as the note is."""
        one = self.reading.strokes[spot.event][spot.k][0]
        return sounding_name(one.note.pitch, self.pitch(spot))

    def spots(self, finding: Finding) -> list[Spot]:
        """The pitches of all events, in every playing, that the notes of a finding ask for."""
        wanted = {(ref.measure, ref.n) for ref in finding.notes}
        return [
            Spot(i, k)
            for i, rows in enumerate(self.reading.strokes)
            for k, strokes in enumerate(rows)
            if any((one.measure, one.note.n) in wanted for one in strokes)
        ]

    def homeless(self, spot: Spot) -> bool:
        """Whether a note has no drum, or only one that is not there."""
        drum = self.played.drums[spot.event][spot.k]
        return drum is None or drum not in {one.id for one in self.drums}

    def mend(self, says: str, edits: Sequence[Edit]) -> Mend:
        """A mend that changes the sound, with the accidentals that it makes necessary."""
        return Mend(says, Effect.CHANGES_SOUND, complete(self.context.score, self.context.layouts, edits))
