"""The plan of a harp part: its pedals, its hands, and the strings that still ring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from deskproof import facts, words
from deskproof.families.base import Context, Plan
from deskproof.families.harp.either import on_harp
from deskproof.families.harp.handing import Handed, hands_of
from deskproof.families.harp.model import LETTERS, Choice, Onset, Settings
from deskproof.families.harp.plan import PedalPlan, plan_pedals
from deskproof.families.harp.reading import Reading, read
from deskproof.families.harp.record import record
from deskproof.families.harp.ringing import Buzz, Ringing, Times, buzzes, rings
from deskproof.families.harp.trill_pairs import with_neighbours
from deskproof.families.harp.two_strings import kept_apart, repeated, with_pairs
from deskproof.spans import Span


@dataclass(frozen=True, slots=True)
class HarpPlan(Plan):
    """The pedalling of one harp part, with what it was made from."""

    reading: Reading | None = None
    pedals: PedalPlan | None = None
    settings: Settings | None = None
    spans: tuple[Span, ...] = ()
    hands: Handed | None = None
    ringing: tuple[Buzz, ...] = ()
    pairs: dict[tuple[int, int], Choice] = field(default_factory=dict)  # note -> its second string
    why: dict[tuple[int, int], str] = field(default_factory=dict)  # unplanned note -> rule


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the pedals of the harp spans of one part; an empty plan where nothing is a harp's."""
    harp = on_harp(spans, context.score.parts[spans[0].part].name) if spans else ()
    if not harp or not any(span.events for span in harp):
        return Plan()
    settings = settings_of(context, harp[0].part)
    reading = read(harp, context, LETTERS, harmonics_of(context))
    if not reading.onsets and not reading.odd:
        return Plan()
    part = context.score.parts[reading.part]
    ringing = Ringing(reading, part, Times.from_facts())

    def planned(onsets: Sequence[Onset]) -> PedalPlan:
        return plan_pedals(onsets, settings, reading.damps, reading.joints, reading.beats, ringing.until_us)

    reading, pedals = kept_apart(reading, planned(reading.onsets), planned)
    reading, pedals = with_neighbours(reading, pedals, planned)
    pairs: dict[tuple[int, int], Choice] = {}
    wanted = repeated(reading, part)
    if wanted:
        pedals, pairs = with_pairs(reading, pedals, list(wanted), settings, planned)
    hands = hands_of(reading, pedals, part.staves, words.how_many(part.name))
    buzz = tuple(buzzes(rings(ringing, pedals), pedals.changes)) if pedals.changes else ()
    return HarpPlan("harp", part.name or part.id, reading, pedals, settings, harp, hands, buzz, pairs)


def harmonics_of(context: Context) -> str:
    """How the user says that harmonics are written: "string", "sounding", or nothing."""
    player = context.forces.playing("harp")
    return context.forces.harmonics or (player.harmonics if player else "")


def settings_of(context: Context, part: int) -> Settings:
    """What the forces say of the harpist, and the facts where they say nothing."""
    player = context.forces.playing("harp")
    harps = words.how_many(context.score.parts[part].name)
    comfortable = player.pedal_comfortable_s if player else None
    quickest = player.pedal_quickest_s if player else None
    fixed = dict(player.without_pedal) if player and player.without_pedal else {}
    for string in facts.get("harp.without_pedal").value:
        fixed.setdefault(string, 0)
    return Settings(
        round(1_000_000 * comfortable) if comfortable else 1000 * int(facts.get("harp.pedal_comfortable").value),
        round(1_000_000 * quickest) if quickest else 1000 * int(facts.get("harp.pedal_quickest").value),
        fixed,
        reach=int(facts.get("harp.reach").value),
        hand=int(facts.get("harp.fingers_a_hand").value),
        together=2 * int(facts.get("harp.fingers_a_hand").value) * harps,
    )


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The plan as the JSON of ``check`` has it."""
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or plan.settings is None:
        return None
    rest = plan.settings, context, plan.why, plan.hands, len(plan.ringing), plan.pairs
    return record(id_, plan.pedals, plan.reading, plan.spans, *rest)
