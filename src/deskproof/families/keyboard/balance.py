"""Where a soft keyboard lies under loud held notes of others and will hardly be heard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.keyboard import rules
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.reading import Key, refs
from deskproof.families.keyboard.wording import NEAR, place_of
from deskproof.families.loudness import Loudness
from deskproof.families.wording import listed
from deskproof.findings import Finding
from deskproof.score import UNCHECKED, Part
from deskproof.spans import Line

SOFT_KINDS = ("celesta",)
SUSTAINED = {"woodwind": "woodwind", "brass": "brass", "strings": "strings"}


class _Other(NamedTuple):
    part: Part
    group: str
    loudness: Loudness


def covered(plan: KeyboardPlan, context: Context) -> Iterator[Finding]:
    """The onsets of a soft instrument in bars where a whole group is held loud, one finding for each such onset."""
    if plan.instrument not in SOFT_KINDS or plan.reading is None:
        return
    loud = frozenset(facts.get("keyboards.loud").value)
    most = int(facts.get("keyboards.covering_parts").value)
    others = [
        _Other(part, SUSTAINED[line.first.family], Loudness(part))
        for i, part in enumerate(context.score.parts)
        if i != plan.reading.part
        and (line := Line(i, part, context.layouts[i])).first is not None
        and line.first.family in SUSTAINED
    ]
    part = context.score.parts[plan.reading.part]
    for row in plan.reading.onsets:
        groups = [group for group, count in _loud(row[0], others, loud).items() if count >= most]
        if groups:
            yield rules.COVERED.at(
                place_of(plan.reading, row[0].event), refs(part, row), fold="covered", near=NEAR,
                instrument=plan.instrument, groups=listed(groups), over=len(groups),
            )  # fmt: skip


def _loud(key: Key, others: list[_Other], loud: frozenset[str]) -> dict[str, int]:
    """How many parts of each group sound loud at the place of a key."""
    found: dict[str, int] = {}
    measure, start = key.event.measure, key.event.note.start
    for other in others:
        if measure >= len(other.part.measures) or other.loudness.at(measure, start) not in loud:
            continue
        notes = other.part.measures[measure].notes
        if any(
            n.start <= start < n.start + n.length and n.pitch is not None and not n.flags & UNCHECKED for n in notes
        ):
            found[other.group] = found.get(other.group, 0) + 1
    return found
