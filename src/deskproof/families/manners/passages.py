"""Passages in the older manner of a clef: horns and bass clarinets in the bass clef, cellos in the treble clef."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from deskproof import facts, pitch
from deskproof.families.base import Context
from deskproof.families.manners.groups import Group, Spot, place_of, refs, spot
from deskproof.families.manners.rules import CLEF_MANNER
from deskproof.findings import Finding
from deskproof.page import Layout
from deskproof.timeline import Event

_MANNERS = {"F": "bass", "G": "treble"}


@dataclass(frozen=True, slots=True)
class Passages:
    """Passages under one clef that are meant ``value`` semitones higher than the file reads."""

    group: Group
    clef: str
    value: int
    outside: tuple[Event, ...]
    inside: frozenset[Spot]

    def finding(self, context: Context) -> Finding:
        """As a finding at the notes beyond the compass."""
        group, compass = self.group, self.group.compass
        part = context.score.parts[group.part]
        below = self.value > 0
        limit = compass.low if below else compass.high
        worst = max(self.outside, key=lambda e: abs((e.sounding or 0) - limit))
        assert worst.sounding is not None
        found = CLEF_MANNER.at(
            place_of(group.part, self.outside[0]),
            refs(part, (place for e in self.outside for place in (spot(e), *e.tied))),
            sounding=worst.sounding,
            worst_name=pitch.sounding_name(worst.note.pitch, worst.sounding),
            limit=limit,
            limit_name=pitch.name(limit),
            semitones=abs(worst.sounding - limit),
            side="below" if below else "above",
            other_way="higher" if below else "lower",
            clef=self.clef,
            instrument=group.instrument.name,
            notes_in_all=len(self.inside),
        )
        if context.measures is not None:
            return found
        return replace(found, explains=frozenset(refs(part, self.inside)))


def older_clefs(group: Group, context: Context) -> Iterator[Passages]:
    """Where a passage lies outside the compass, and inside in the older manner of its clef.

    All passages of the part under that clef are then taken to be so, if they lie in the compass that way.
    """
    if not group.strays:
        return
    layout = context.layouts[group.part]
    for sign, clef in _MANNERS.items():
        fact = facts.find(f"{group.instrument.id}.{clef}_clef_manner")
        if fact is None:
            continue
        value = int(fact.value)
        compass = group.compass
        strange = {
            spot(e)
            for e in group.outside
            if ((e.sounding or 0) < compass.low) == (value > 0) and not compass.lies_outside((e.sounding or 0) + value)
        }
        if not strange:
            continue
        inside: set[Spot] = set()
        outside: list[Event] = []
        for events in _under(sign, group, layout):
            if any(compass.is_nowhere((e.sounding or 0) + value) for e in events):
                continue
            inside.update(place for e in events for place in (spot(e), *e.tied))
            outside.extend(e for e in events if spot(e) in strange and e.pass_ == 1)
        if outside:
            outside.sort(key=spot)
            yield Passages(group, clef, value, tuple(outside), frozenset(inside))


def _under(sign: str, group: Group, layout: Layout) -> list[list[Event]]:
    """The group's events under a plain clef of this sign, passage by passage."""
    found: dict[tuple[int, tuple[int, int]], list[Event]] = {}
    for event in group.events():
        note = event.note
        clef = layout.clef_at(event.measure, note.start, note.staff)
        if clef.sign == sign and not clef.octave:
            places = layout.clefs.get(note.staff, ([], []))[0]
            begin = max((p for p in places if p <= (event.measure, note.start)), default=(-1, 0))
            found.setdefault((note.staff, begin), []).append(event)
    return list(found.values())
