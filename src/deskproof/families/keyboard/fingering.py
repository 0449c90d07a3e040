"""The fingers of both hands of a planned part."""

from __future__ import annotations

from deskproof import facts
from deskproof.families.keyboard.fingers import FingerSettings, HandOnset, plan_fingers, with_held
from deskproof.families.keyboard.planning import KeyboardPlan

STEP = 25  # thousandths: hands of nearly one span share what is worked out
SIDES = (("L", "left"), ("R", "right"))


def fingers_of(plan: KeyboardPlan) -> list[list[list[int]]]:
    """The fingers of each key of each onset of a plan: one, or none where no hand takes it or has a finger for it.

    Printed figures are kept where the hand has them.
    """
    assert plan.reading is not None and plan.hands is not None and plan.settings is not None
    found: list[list[list[int]]] = [[[] for _ in row] for row in plan.reading.onsets]
    settings = FingerSettings(width_for(plan.settings.limits.keys.width, plan.hand_mm))
    for side, hand in SIDES:
        onsets, places = [], []
        for i, (row, hands) in enumerate(zip(plan.reading.onsets, plan.hands.hands, strict=True)):
            mine = [n for n, its in enumerate(hands) if its == side]
            if not mine:
                continue
            keys = tuple(row[n].key for n in mine)
            figures = [(row[n].key, _printed(row[n].event.note.marked("fingering"))) for n in mine]
            fixed = tuple((key, finger) for key, finger in figures if finger)
            up_us = tuple(plan.hands.up_us[i][n] for n in mine)
            onsets.append(HandOnset(min([key.t_us for key in row]), keys, up_us, (), fixed))
            places.append((i, mine))
        for (i, mine), fingers in zip(places, plan_fingers(with_held(onsets), hand, settings), strict=True):  # type: ignore[arg-type]
            for n, finger in zip(mine, fingers, strict=True):
                found[i][n] = [finger] if finger else []
    return found


def width_for(width: int, hand_mm: float) -> int:
    """The width of keys, in thousandths, as a hand of this span in mm feels them: those under the usual hand are 1000.

    >>> width_for(1000, 216), width_for(1000, 240), width_for(1000, 190)
    (1000, 900, 1125)
    """
    usual = float(facts.get("keys.hand").value)
    return STEP * round(width * usual / hand_mm / STEP)


def _printed(mark: object) -> int:
    """The finger that a printed figure names; 0 where none does."""
    value = getattr(mark, "value", "")
    return int(value) if value in ("1", "2", "3", "4", "5") else 0
