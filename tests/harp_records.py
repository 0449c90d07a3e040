"""A harp's plan as the outside checker reads it, for tests of the planner alone: one part, one bar number."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from deskproof.families.harp.model import Settings
from deskproof.families.harp.plan import PedalPlan


def record_of(plan: PedalPlan, used: Settings, events: list[dict[str, Any]], left_out: Iterable[str]) -> dict[str, Any]:
    """The record of a plan with these events; ``left_out`` are the references of notes that are in none."""
    return {
        "id": "harp 1", "kind": "harp", "player": "harp", "model": {"quickest_us": used.quickest_us},
        "spans": [{"part": "P1", "instrument": "harp", "from_us": 0, "to_us": 10**12}],
        "objective": [{"name": f.name, "value": f.value, "at_least": f.at_least} for f in plan.objective],
        "proven": plan.proven, "unplanned": [{"notes": [ref], "rule": "none"} for ref in left_out],
        "pedal_us": used.comfortable_us, "pair_moves": False,
        "fixed": [{"string": name, "alter": alter} for name, alter in used.fixed.items()],
        "initial": dict(plan.initial),
        "changes": [
            {"t_us": c.t_us, "dur_us": c.dur_us, "pass": 1, "pedal": c.pedal, "from": c.before, "to": c.after,
             "foot": c.foot, "spare_us": c.spare_us, "bar": "1", "beat": "1"}
            for c in plan.changes
        ],
        "damps": [], "events": events,
    }  # fmt: skip
