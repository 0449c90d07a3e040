"""The plan of a keyboard part some bars of which have changed, made from the plan before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from deskproof.families.base import Context, Plan
from deskproof.families.keyboard.planning import KeyboardPlan, on_keys, planned
from deskproof.spans import Span
from deskproof.timeline import Event


def replan(plan: Plan, spans: Sequence[Span], context: Context) -> Plan | None:
    """The plan with the notes of ``context.measures`` as they are now; None where the part must be heard anew.

    That is where the player changes instruments, or a tie leads from elsewhere into these measures.
    """
    if not isinstance(plan, KeyboardPlan):
        return None if any(span.events for span in on_keys(spans)) else plan
    if len(plan.spans) != 1 or len(spans) != 1 or context.measures is None:
        return None
    before, now = plan.spans[0], spans[0]
    if (before.instrument, before.role, before.transpose) != (now.instrument, now.role, now.transpose):
        return None
    window = context.measures
    kept = [event for event in before.events if event.measure not in window]
    if any(measure in window for event in kept for measure, _ in event.tied):
        return None
    events = tuple(sorted([*kept, *now.events], key=_in_order))
    if not events:
        return None
    end = max(event.end for event in events)
    span = replace(before, from_tick=events[0].onset, to_tick=end, events=events)
    return planned((span,), context, plan)


def _in_order(event: Event) -> tuple[int, int]:
    """By onset, a grace note before it; of two at once that of the earlier bar first."""
    return 2 * event.onset - bool(event.grace), event.onset - event.note.start
