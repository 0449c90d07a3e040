"""The plan of a timpani part: drums, tunings, retunings; with a fifth drum where four are not enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from deskproof.families.base import Context, Plan
from deskproof.families.timpani.model import Settings
from deskproof.families.timpani.plan import TimpaniPlan, plan_timpani
from deskproof.families.timpani.reading import KIND, Reading, read, settings_of
from deskproof.spans import Span


@dataclass(frozen=True, slots=True)
class DrumsPlan(Plan):
    """How one timpani part is played. ``fifth``: what the usual four drums leave out, a fifth takes."""

    reading: Reading | None = None
    settings: Settings | None = None
    drums: TimpaniPlan | None = None
    fifth: bool = False
    spans: tuple[Span, ...] = ()


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the timpani spans of one part; an empty plan where nothing is a timpanist's."""
    reading = read(spans, context)
    if reading is None:
        return Plan()
    settings = settings_of(context, reading.players)
    found = plan_timpani(reading.events, settings)
    fifth = False
    player = context.forces.playing(KIND)
    if found.unplanned and not (player is not None and player.drums):
        more = settings_of(context, reading.players, fifth=True)
        other = plan_timpani(reading.events, more)
        if other["unplanned"].value < found["unplanned"].value:
            settings, found, fifth = more, other, True
    part = context.score.parts[reading.part]
    return DrumsPlan("timpani", part.name or part.id, reading, settings, found, fifth, tuple(spans))
