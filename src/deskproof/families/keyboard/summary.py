"""What some bars ask of the hands at a keyboard, in one line."""

from __future__ import annotations

from bisect import bisect_left

from deskproof.families.keyboard.planning import KeyboardPlan

SECOND_US = 1_000_000


def bars_in_words(plan: KeyboardPlan, first: int, last: int) -> str:
    """The widest chord of a hand and the most notes within a second, of measures ``first`` to ``last``.

    Empty where no note stands in them. Keys of one hand that go down together count, chords marked to be broken too.
    """
    assert plan.reading is not None and plan.hands is not None and plan.settings is not None
    board = plan.settings.limits.keys
    stretched = {hard.onset: hard.um for hard in plan.hands.hard if hard.kind == "stretch"}
    widest, times = 0, []
    for i, row in enumerate(plan.reading.onsets):
        if not any(first <= event.measure <= last for key in row for event in key.events):
            continue
        times += [key.t_us for key in row if key.how != "grace"]
        for side in ("L", "R"):
            mine = [key.key for key, hand in zip(row, plan.hands.hands[i], strict=True) if hand == side]
            widest = max(widest, board.extent_um(mine), stretched.get(i, 0))
    if not times:
        return ""
    times.sort()
    most = max(bisect_left(times, t_us + SECOND_US) - k for k, t_us in enumerate(times))
    chord = f"widest {widest / 1000:.0f} mm, " if widest else ""
    return f"{chord}{most} note{'s' * (most != 1)} in a second at the most"
