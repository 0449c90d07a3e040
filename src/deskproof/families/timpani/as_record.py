"""A timpani plan as the JSON of ``check`` has it (docs/json.md)."""

from __future__ import annotations

from typing import Any

from deskproof.families.base import Context, Plan, span_rows
from deskproof.families.timpani import rules
from deskproof.families.timpani.plan import NO_TIME
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.families.timpani.record import record

OFF_THE_DRUMS = "tutti-outside-compass"


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The record of one timpani part's plan."""
    if not isinstance(plan, DrumsPlan) or plan.reading is None or plan.drums is None or plan.settings is None:
        return None
    part, reading = context.score.parts[plan.reading.part], plan.reading
    notes = [
        [part.ref(row[0].measure, row[0].note.n) for row in event] for event in reading.strokes
    ]  # the first stroke stands for those that double it
    unplanned: dict[str, list[str]] = {}
    for gap in plan.drums.unplanned:
        rule = rules.NO_TIME.id if gap.reason == NO_TIME else rules.TOGETHER.id
        for k in gap.pitches:
            pitch = reading.events[gap.event].pitches[k]
            own = rule if any(one.has(pitch) for one in plan.settings.drums) else OFF_THE_DRUMS
            unplanned.setdefault(own, []).append(notes[gap.event][k])
    unplanned.setdefault(OFF_THE_DRUMS, []).extend(part.ref(one.measure, one.note.n) for one in reading.odd)
    spans = [span for span in plan.spans if span.events]
    return {
        "id": id_,
        "kind": "timpani",
        "player": plan.player,
        "spans": span_rows(spans, context),
        "model": {
            "feet": plan.settings.feet,
            "sticks": plan.settings.sticks,
            "tone_us": plan.settings.tone_us,
            "quick_tone_us": plan.settings.quick_tone_us,
        },
        "objective": [{"name": one.name, "value": one.value, "at_least": one.at_least} for one in plan.drums.objective],
        "proven": plan.drums.proven,
        "unplanned": [
            {"notes": list(dict.fromkeys(found)), "rule": rule} for rule, found in unplanned.items() if found
        ],
        **record(plan.drums, reading.events, plan.settings, notes),
    }
