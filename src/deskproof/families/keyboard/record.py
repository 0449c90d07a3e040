"""A keyboard plan as the JSON of ``check`` has it (docs/json.md)."""

from __future__ import annotations

from typing import Any

from deskproof import facts
from deskproof.families.base import Context, Plan, span_rows
from deskproof.families.keyboard import pedals
from deskproof.families.keyboard.feet import feet_of
from deskproof.families.keyboard.fingering import fingers_of
from deskproof.families.keyboard.pedal_checks import undamped_from
from deskproof.families.keyboard.planning import KeyboardPlan, keys_of
from deskproof.families.keyboard.reading import refs

NO_HAND, NO_FOOT = "keyboard-notes", "keyboard-feet"
OFF_THE_KEYS = "tutti-outside-compass"  # the rule that speaks of notes that no key gives


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The record of one keyboard part's plan."""
    if not isinstance(plan, KeyboardPlan) or plan.reading is None or plan.hands is None or plan.settings is None:
        return None
    part, frame = context.score.parts[plan.reading.part], context.frame
    keys, places = keys_of(plan)
    pressed = pedals.presses(plan.signs, frame.clock.ceil_us(frame.length))
    kept = pedals.simulate(keys, pressed, undamped_from(plan.instrument))
    fingers = fingers_of(plan)
    notes, unplanned = [], []
    for key, (i, n), after in zip(keys, places, kept, strict=True):
        of, hand = plan.reading.onsets[i][n], plan.hands.hands[i][n]
        for event in of.events:  # two staves may ask for one key; the upper key of a trill is no note of the page
            if event.sounding != of.key:
                continue
            ref = part.ref(event.measure, event.note.n)
            if hand is None:
                unplanned.append((ref, plan.why.get((i, n), NO_HAND)))
                continue
            notes.append(
                {
                    "ref": ref,
                    "pass": event.pass_,
                    "t_us": of.t_us,
                    "down_us": key.down_us,
                    "up_us": key.up_us,
                    "sounds_until_us": after.sounds_until_us,
                    "midi": of.key,
                    "hand": hand,
                    "fingers": fingers[i][n],
                    "kept_by": after.kept_by,
                }
            )
    feet = []
    for feet_row, on in zip(plan.reading.feet, feet_of(plan.reading.feet), strict=True):
        for of, foot in zip(feet_row, on, strict=True):
            for event in of.events:
                ref = part.ref(event.measure, event.note.n)
                if foot is None:
                    unplanned.append((ref, NO_FOOT))
                else:
                    row = {"ref": ref, "pass": event.pass_, "t_us": of.t_us, "up_us": of.until_us, "midi": of.key}
                    feet.append({**row, "foot": foot})
    unplanned += [(part.ref(event.measure, event.note.n), OFF_THE_KEYS) for event in plan.reading.odd]
    planned = {row["ref"] for row in [*notes, *feet]}
    roll_us = 1000 * int(facts.get("pianists.roll_note").value)
    missing = len(unplanned)
    stretches = [hard for hard in plan.hands.hard if hard.level == "impossible"]
    return {
        "id": id_,
        "kind": "keyboard",
        "player": plan.player,
        "spans": span_rows(plan.spans, context),
        "model": {
            "hand_mm": plan.hand_mm,
            "reach_mm": plan.settings.limits.reach_um / 1000,
            "hard_above_mm": plan.settings.hard_um / 1000,
            "octave_mm": float(facts.get("keys.octave").value) * plan.settings.limits.keys.width / 1000,
        },
        "objective": [
            {"name": "without_hand", "value": missing, "at_least": None},
            {"name": "beyond_the_hand", "value": len(stretches), "at_least": None},
        ],
        "proven": False,
        "unplanned": [
            {"notes": found, "rule": rule}
            for rule in dict.fromkeys(of for _, of in unplanned)
            if (found := list(dict.fromkeys(ref for ref, of in unplanned if of == rule and ref not in planned)))
        ],
        "span_mm": plan.hand_mm,
        "notes": notes,
        **({"feet": feet} if feet else {}),
        "pedals": [
            {"pedal": one.pedal, "down_us": one.down_us, "up_us": one.up_us, "written": one.written}
            for one in pressed
            if one.up_us > one.down_us
        ],
        "rolls": [
            {"notes": [str(ref) for ref in rolled], "spread_us": roll_us * (len(rolled) - 1)}
            for row in plan.reading.onsets
            if len(rolled := refs(part, [key for key in row if key.how == "roll"])) > 1
        ],
    }
