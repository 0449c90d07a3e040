"""The plan of a harp part of which only names have changed, made from the plan before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from deskproof.families.base import Context, Plan
from deskproof.families.harp.plan import Figure, PedalPlan, PlannedNote
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.reading import Plucked, name_on_string
from deskproof.spans import Span
from deskproof.timeline import Event


def replan(plan: Plan, spans: Sequence[Span], context: Context) -> Plan | None:
    """The plan before, with new names; None where a name is not that of the string played, or more has changed.

    A plan that plays every note as it is named is the only best one: it was the best before its names were given, and
    no other now costs as little.
    """
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None:
        return plan
    reading = plan.reading
    if reading.sweeps or reading.odd:
        return None
    changed = {(e.measure, e.note.n, e.pass_): e for span in spans for e in span.events}
    onsets, plucked = list(reading.onsets), list(reading.plucked)
    names = 0
    for i, (row, planned) in enumerate(zip(reading.plucked, plan.pedals.notes, strict=True)):
        if not any((e.measure, e.note.n, e.pass_) in changed for one in row for e in one.events):
            continue
        found = []
        for one, taken in zip(row, planned, strict=True):
            again = _again(one, taken, changed)
            if again is None:
                return None
            names += again.spelled != one.spelled
            found.append(again)
        plucked[i] = tuple(found)
        notes = tuple(
            note._replace(spelled=one.spelled) for note, one in zip(onsets[i].notes, found, strict=True)
        )
        onsets[i] = onsets[i]._replace(notes=notes)
    for row, planned in zip(plucked, plan.pedals.notes, strict=True):
        for one, taken in zip(row, planned, strict=True):
            if names and (taken is None or one.spelled != (taken.string.letter, taken.position)):
                return None
    return replace(
        plan,
        reading=replace(reading, onsets=tuple(onsets), plucked=tuple(plucked)),
        pedals=_with_names(plan.pedals, names),
        why={},
    )


def _again(
    one: Plucked, taken: PlannedNote | None, changed: dict[tuple[int, int, int], Event]
) -> Plucked | None:
    """The same string with the notes as they are now; None if it would have to be planned anew."""
    events = tuple(changed.get((e.measure, e.note.n, e.pass_), e) for e in one.events)
    for old, new in zip(one.events, events, strict=True):
        same = old.sounding == new.sounding and (old.onset, old.end, old.grace) == (new.onset, new.end, new.grace)
        if not same or old.note.marks != new.note.marks or old.tied != new.tied:
            return None
    if one.how == "trill" and any(
        old.note.pitch != new.note.pitch for old, new in zip(one.events, events, strict=True)
    ):
        return None
    spelled = one.spelled if one.how == "trill" else name_on_string(events[0].note.pitch, one.pitch)
    if spelled != one.spelled and (taken is None or spelled != (taken.string.letter, taken.position)):
        return None
    return replace(one, events=events, spelled=spelled)


def _with_names(pedals: PedalPlan, names: int) -> PedalPlan:
    """The plan with so many deviations from the composer's names fewer."""
    if not names:
        return pedals

    def figure(row: Figure) -> Figure:
        value = max(0, row.value - names) if row.name == "spelling" else row.value
        return Figure(row.name, value, row.at_least if row.name != "spelling" or value else 0)

    return replace(pedals, objective=tuple(figure(row) for row in pedals.objective))
