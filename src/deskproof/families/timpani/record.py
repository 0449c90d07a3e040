"""The plan as the JSON of a report has it: drums, tuning at the start, retunings, and who sounds what on which drum."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from deskproof.families.timpani.model import Event, Settings
from deskproof.families.timpani.plan import TimpaniPlan

__all__ = ["record"]


def record(
    plan: TimpaniPlan, events: Sequence[Event], settings: Settings, notes: Sequence[Sequence[str]] | None = None
) -> dict[str, Any]:
    """The fields ``drums``, ``initial``, ``retunes`` and ``events`` of a plan of kind timpani.

    ``notes`` gives for each event the references of its pitches. Pitches that are left out are not in it, nor events
    of which nothing is left. ``to`` stands only in events in which a drum slides.
    """
    rows = []
    for i, (event, drums) in enumerate(zip(events, plan.drums, strict=True)):
        played = [k for k, drum in enumerate(drums) if drum is not None]
        if not played:
            continue
        row = {
            "t_us": event.t_us,
            "hold_us": event.hold_us,
            "notes": [notes[i][k] for k in played] if notes is not None else [],
            "drums": [drums[k] for k in played],
            "pitches": [event.pitches[k] for k in played],
        }
        to = [event.arrives(k) for k in played]
        rows.append(row if to == row["pitches"] else {**row, "to": to})
    return {
        "drums": [drum._asdict() for drum in settings.drums],
        "initial": dict(plan.initial),
        "retunes": [
            {"t_us": one.t_us, "dur_us": one.dur_us, "drum": one.drum, "from": one.before, "to": one.after}
            for one in plan.retunings
        ],
        "events": rows,
    }
