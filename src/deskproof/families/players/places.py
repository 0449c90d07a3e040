"""Where the stretches of a rota stand on the page: their notes, and the places of their first ones."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.base import Context
from deskproof.families.players.planning import Cast, PlayersPlan
from deskproof.families.players.reading import PERCUSSION
from deskproof.families.players.record import Stretch
from deskproof.findings import Place
from deskproof.score import UNCHECKED, NoteRef
from deskproof.spans import Span
from deskproof.timeline import Event


class Places:
    """The page of a planned score. ``by_part`` has the sounding spans of each part."""

    def __init__(self, plan: PlayersPlan, context: Context) -> None:
        self.context = context
        self.by_part: dict[int, list[Span]] = {}
        for span in plan.spans:
            if span.events:
                self.by_part.setdefault(span.part, []).append(span)

    def first_notes(self, span: Span) -> tuple[Place, tuple[NoteRef, ...]]:
        """Where a span begins, and the notes that begin it."""
        onset = min(event.onset for event in span.events)
        events = [event for event in span.events if event.onset == onset]
        return self.place(events[0], span.part), self.refs(events, span.part)

    def place(self, event: Event, part: int) -> Place:
        """Where an event of a part stands."""
        return Place(part, event.note.staff, event.measure, event.note.start, event.pass_)

    def refs(self, events: Sequence[Event], part: int) -> tuple[NoteRef, ...]:
        """The notes of some events of a part, each once."""
        id_ = self.context.score.parts[part].id
        return tuple(dict.fromkeys(NoteRef(id_, e.measure, e.note.n) for e in events))

    def at(self, cast: Cast, *stretches: Stretch) -> tuple[Place, tuple[NoteRef, ...]]:
        """The place where the first of some stretches begins, and the first notes of all of them."""
        notes: list[NoteRef] = []
        place = None
        for one in stretches:
            events = self.events(cast, one)
            onset = min(self.context.frame.times_us(e)[0] for e in events)
            first = [e for e in events if self.context.frame.times_us(e)[0] == onset]
            index = cast.group.parts[one.line]
            place = place or self.place(first[0], index)
            notes += self.refs(first, index)
        assert place is not None
        return place, tuple(dict.fromkeys(notes))

    def events(self, cast: Cast, stretch: Stretch) -> list[Event]:
        """The events of a stretch."""
        frame = self.context.frame
        rows = self.by_part[cast.group.parts[stretch.line]]
        found = [
            event
            for span in rows
            if cast.group.name == PERCUSSION
            or (span.instrument is not None and span.instrument.id == stretch.instrument)
            for event in span.events
            if not event.note.flags & UNCHECKED and stretch.from_us <= frame.times_us(event)[0] <= stretch.to_us
        ]
        return found or [rows[0].events[0]]
