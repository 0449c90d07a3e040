"""The plan of a keyboard part: which hand takes what, what the pedals hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from deskproof import facts
from deskproof.families.base import Context, Plan
from deskproof.families.keyboard import pedals
from deskproof.families.keyboard.around import Around
from deskproof.families.keyboard.geometry import NORMAL
from deskproof.families.keyboard.hands import HandPlan, Press, Settings, plan_hands, settings_of
from deskproof.families.keyboard.pedal_signs import signs_of
from deskproof.families.keyboard.reading import Key, Reading, read
from deskproof.spans import Span

KINDS = ("piano", "electric-piano", "celesta", "harpsichord", "organ", "organ-pedal", "harmonium")
WITH_DAMPER = ("piano", "electric-piano", "celesta")
ORGAN, PEDALBOARD = "organ", "organ-pedal"


@dataclass(frozen=True, slots=True)
class KeyboardPlan(Plan):
    """How one keyboard part is played, with what it was made from. ``hands`` runs beside the onsets of ``reading``."""

    kinds: str = ""
    reading: Reading | None = None
    hands: HandPlan | None = None
    settings: Settings | None = None
    hand_mm: float = 0
    signs: tuple[pedals.Sign, ...] = ()
    spans: tuple[Span, ...] = ()
    around: Around | None = field(default=None, compare=False, repr=False)
    why: dict[tuple[int, int], str] = field(default_factory=dict)  # key without a hand -> rule

    @property
    def instrument(self) -> str:
        """The kind of instrument whose keys these are."""
        return self.kinds


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the hands of the keyboard spans of one part; an empty plan where nothing is a keyboard's."""
    return planned(on_keys(spans), context)


def on_keys(spans: Sequence[Span]) -> tuple[Span, ...]:
    """The spans on instruments with keys."""
    return tuple(span for span in spans if span.instrument is not None and span.instrument.kind in KINDS)


def planned(rows: tuple[Span, ...], context: Context, before: KeyboardPlan | None = None) -> Plan:
    """The plan of the keyboard spans of one part; ``before`` is the plan when some notes were others."""
    if not any(span.events for span in rows):
        return Plan()
    kind = next(span.instrument.kind for span in rows if span.instrument is not None and span.events)
    reading = read(rows, context, kind in (ORGAN, PEDALBOARD), kind == PEDALBOARD)
    if not reading.onsets and not reading.feet:
        return Plan()
    part = context.score.parts[reading.part]
    hand_mm = hand_of(kind, context)
    settings = settings_for(kind, context)
    hands = plan_hands([press_of(row) for row in reading.onsets], settings, before.hands if before else None)
    signs = signs_of(part, context.frame)
    around = before.around if before else None
    if around is None or not around.holds(context):
        around = Around(context, reading.part)
    return KeyboardPlan(
        "keyboard", part.name or part.id, kind, reading, hands, settings, hand_mm, signs, rows, around
    )  # fmt: skip


def hand_of(kind: str, context: Context) -> float:
    """The span in mm of the hand that plays an instrument: that of the player in the forces, or the usual one."""
    player = context.forces.playing(kind)
    return player.hand_span_mm if player and player.hand_span_mm else float(facts.get("keys.hand").value)


def settings_for(kind: str, context: Context) -> Settings:
    """What the hands are taken to do at an instrument with the forces in the room."""
    repeat = facts.find(f"keyboards.{kind}_repeat_hard")
    repeat_ms = None if repeat is None else int(repeat.value)
    return settings_of(round(hand_of(kind, context)), width_of(kind), kind in WITH_DAMPER, repeat_ms)


def press_of(row: Sequence[Key]) -> Press:
    """The keys of an onset as the planner of the hands has them."""
    return Press(
        min([key.t_us for key in row]),
        tuple(key.key for key in row),
        tuple(key.until_us for key in row),
        tuple(key.staff for key in row),
        tuple(key.how for key in row),
    )


def width_of(kind: str) -> int:
    """The width of an instrument's keys, in thousandths of that of a piano's."""
    octave = facts.find(f"keys.{kind}_octave")
    return NORMAL if octave is None else round(NORMAL * float(octave.value) / float(facts.get("keys.octave").value))


def keys_of(plan: KeyboardPlan) -> tuple[list[pedals.Key], list[tuple[int, int]]]:
    """All keys as the pedals meet them, and beside each its place: ordinals of onset and key."""
    assert plan.reading is not None and plan.hands is not None
    found, places = [], []
    for i, (row, ups) in enumerate(zip(plan.reading.onsets, plan.hands.up_us, strict=True)):
        for n, (key, up_us) in enumerate(zip(row, ups, strict=True)):
            found.append(pedals.Key(key.key, key.t_us, max(up_us, key.t_us), key.until_us))
            places.append((i, n))
    return found, places
