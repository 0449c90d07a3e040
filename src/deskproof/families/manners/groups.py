"""A part by instrument and transposition: its notes measure by measure, and those beyond the compass."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import chain

from deskproof import facts, pitch
from deskproof.families.base import Context, sounds_as_harmonic
from deskproof.findings import Place
from deskproof.forces import Forces
from deskproof.instruments import Instrument
from deskproof.page import UNPITCHED_CLEFS, Layout
from deskproof.score import UNCHECKED, NoteRef, Part, Transpose
from deskproof.spans import Span
from deskproof.timeline import Event

Spot = tuple[int, int]  # measure ordinal, and ordinal of the note in it


@dataclass(frozen=True, slots=True)
class Compass:
    """Ends of the usual instrument, and of every instrument, as MIDI numbers."""

    low: int
    high: int
    lowest: int
    highest: int

    def lies_outside(self, sounding: int | float) -> bool:
        """Whether the usual instrument lacks the note."""
        return not self.low <= sounding <= self.high

    def is_nowhere(self, sounding: int | float) -> bool:
        """Whether every instrument lacks the note."""
        return not self.lowest <= sounding <= self.highest


@lru_cache(maxsize=256)
def _compass(instrument: str) -> Compass | None:
    if facts.find(f"{instrument}.lowest") is None:
        return None
    low, high = (facts.get(f"{instrument}.{end}") for end in ("lowest", "highest"))
    lowest = facts.find(f"{instrument}.lowest_extended") or low
    highest = facts.find(f"{instrument}.highest_extended") or high
    return Compass(*(pitch.midi(fact.value) for fact in (low, high, lowest, highest)))


def compass_of(instrument: Instrument, forces: Forces) -> Compass | None:
    """The compass of the instrument in the room; None where the tables have none."""
    found = _compass(instrument.id)
    low, high = forces.lowest(instrument), forces.highest(instrument)
    if found is not None and low is not None:
        found = replace(found, low=low, lowest=min(low, found.lowest))
    if found is not None and high is not None:
        found = replace(found, high=high, highest=max(high, found.highest))
    return found


@lru_cache(maxsize=256)
def usual_transpositions(instrument: str) -> tuple[int, ...]:
    """Semitones from written to sounding that the instrument's parts have, the most usual first."""
    fact = facts.find(f"{instrument}.transposition")
    if fact is None:
        return ()
    return tuple(fact.value) if isinstance(fact.value, tuple) else (fact.value,)


@dataclass(frozen=True, slots=True)
class Group:
    """All of a part that is one instrument at one transposition.

    ``notes`` are its checked, pitched events by measure; ``strays`` those of them beyond the compass; ``first`` is
    the first event.
    """

    part: int
    instrument: Instrument
    transpose: Transpose
    compass: Compass
    first: Event
    notes: Mapping[int, Sequence[Event]]
    strays: Mapping[int, Sequence[Event]]

    @property
    def semitones(self) -> int:
        """From written to sounding; quarter tones are cut off."""
        return int(self.transpose.semitones)

    @property
    def count(self) -> int:
        """How many events there are."""
        return sum(map(len, self.notes.values()))

    @property
    def outside(self) -> list[Event]:
        """The events beyond the compass, in the order of the page."""
        return sorted(chain.from_iterable(self.strays.values()), key=_page_order)

    def events(self) -> Iterator[Event]:
        """All events, measure by measure."""
        return chain.from_iterable(self.notes.values())

    def spots(self) -> set[Spot]:
        """Where its notes stand on the page, tied ones too."""
        return {place for event in self.events() for place in (spot(event), *event.tied)}

    def outside_if(self, shift: int) -> int:
        """How many events lie outside the compass when read so much higher; all if one of them is on no instrument."""
        low, high = self.compass.low - shift, self.compass.high - shift
        found = 0
        for event in self.events():
            sounding = event.sounding
            if sounding is not None and not low <= sounding <= high:
                if self.compass.is_nowhere(sounding + shift):
                    return self.count
                found += 1
        return found

    def without(self, spots: frozenset[Spot]) -> Group:
        """The same, with the strays at these places taken out of the strays."""
        kept = {m: rows for m, events in self.strays.items() if (rows := [e for e in events if spot(e) not in spots])}
        return replace(self, strays=kept)


def _page_order(event: Event) -> tuple[int, int, int, int]:
    return event.measure, event.note.start, event.note.n, event.pass_


def groups_of(spans: Sequence[Span], context: Context) -> tuple[Group, ...]:
    """The part by instrument and transposition, in order of first appearance."""
    gathered: dict[tuple[Instrument, Transpose], dict[int, list[Event]]] = {}
    for span in spans:
        if span.instrument is None:
            continue
        rows = gathered.setdefault((span.instrument, span.transpose), {})
        for event in span.events:
            if event.sounding is not None and not event.note.flags & UNCHECKED:
                measure = event.measure
                if measure in rows:
                    rows[measure].append(event)
                else:
                    rows[measure] = [event]
    found = []
    for (instrument, transpose), rows in gathered.items():
        compass = compass_of(instrument, context.forces)
        if rows and compass is not None:
            index = spans[0].part
            part, layout = context.score.parts[index], context.layouts[index]
            strays = _strays(rows, compass, part, layout)
            first = rows[next(iter(rows))][0]
            found.append(Group(index, instrument, transpose, compass, first, rows, strays))
    return tuple(found)


def _strays(
    rows: Mapping[int, Sequence[Event]], compass: Compass, part: Part, layout: Layout
) -> dict[int, list[Event]]:
    low, high = compass.low, compass.high
    found: dict[int, list[Event]] = {}
    for measure, events in rows.items():
        for event in events:
            sounding = event.sounding
            if sounding is not None and not low <= sounding <= high and _is_judged(event, part, layout, high):
                found.setdefault(measure, []).append(event)
    return found


def _is_judged(event: Event, part: Part, layout: Layout, high: int) -> bool:
    note = event.note
    if layout.clef_at(event.measure, note.start, note.staff).sign in UNPITCHED_CLEFS:
        return False
    return not (event.sounding is not None and event.sounding > high and sounds_as_harmonic(part, event))


def renewed(groups: Sequence[Group], now: Sequence[Group], measures: frozenset[int]) -> tuple[Group, ...]:
    """The groups with some measures anew, as the groups ``now`` of these measures alone have them."""
    fresh = {(group.instrument, group.transpose): group for group in now}
    found = []
    for group in groups:
        other = fresh.get((group.instrument, group.transpose))
        if other is None and not measures & group.notes.keys():
            found.append(group)
            continue
        notes, strays = dict(group.notes), dict(group.strays)
        for measure in measures:
            strays.pop(measure, None)
            if other is not None and measure in other.notes:
                notes[measure] = other.notes[measure]
            else:
                notes.pop(measure, None)
        strays.update(other.strays if other is not None else {})
        first = notes.get(group.first.measure, (group.first,))[0]
        found.append(replace(group, first=first, notes=notes, strays=strays))
    return tuple(found)


def spot(event: Event) -> Spot:
    """Where an event's first note stands."""
    return event.measure, event.note.n


def place_of(part: int, event: Event) -> Place:
    """The place of a finding that begins with an event."""
    return Place(part, event.note.staff, event.measure, event.note.start, event.pass_)


def refs(part: Part, spots: Iterable[Spot]) -> tuple[NoteRef, ...]:
    """The references of notes, each once."""
    return tuple(NoteRef(part.id, measure, n) for measure, n in dict.fromkeys(spots))
