"""Where a soft keyboard lies under loud held notes of others and will hardly be heard."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.keyboard import rules
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.reading import refs
from deskproof.families.keyboard.wording import NEAR, place_of
from deskproof.families.wording import listed
from deskproof.findings import Finding

SOFT_KINDS = ("celesta",)


def covered(plan: KeyboardPlan, context: Context) -> Iterator[Finding]:
    """The onsets of a soft instrument in bars where a whole group is held loud, one finding for each such onset."""
    if plan.instrument not in SOFT_KINDS or plan.reading is None or plan.around is None:
        return
    most = int(facts.get("keyboards.covering_parts").value)
    part = context.score.parts[plan.reading.part]
    for row in plan.reading.onsets:
        event = row[0].event
        groups = [g for g, count in plan.around.loud(event.measure, event.note.start).items() if count >= most]
        if groups:
            yield rules.COVERED.at(
                place_of(plan.reading, event), refs(part, row), fold="covered", near=NEAR,
                instrument=plan.instrument, groups=listed(groups), over=len(groups),
            )  # fmt: skip
