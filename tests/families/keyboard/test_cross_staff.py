"""Forty bars in which the staff is not the hand, marked by hand before the program was run on them.

The bars and how they were marked: docs/cross-staff-bars.md.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from corpus import SHARED, corpus_files
from deskproof.document import read
from deskproof.families.keyboard import KEYBOARD
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.forces import Forces
from deskproof.state import state_of

BARS = tomllib.loads((Path(__file__).parents[2] / "data" / "cross_staff.toml").read_text(encoding="utf-8"))["bar"]
LEAST = 0.9


def test_there_are_forty():
    assert len(BARS) == 40
    assert all(bar["left"] or bar["right"] for bar in BARS)
    assert len({bar["file"] for bar in BARS}) >= 6


def path_of(name: str) -> Path | None:
    if name.startswith("shared/"):
        path = SHARED / name.removeprefix("shared/")
        return path if path.is_file() else None
    return next((f.path for f in corpus_files() if f.name == name), None)


@cache
def hands(path: Path, part: str) -> dict[tuple[int, int], str]:
    """Measure and note ordinal -> the hand that takes it first."""
    state = state_of(read(path).score, Forces())
    index = next(i for i, one in enumerate(state.score.parts) if one.id == part)
    plan = KEYBOARD.plan(state.spans[index], state.context())
    assert isinstance(plan, KeyboardPlan) and plan.reading is not None and plan.hands is not None
    found: dict[tuple[int, int], str] = {}
    for row, taken in zip(plan.reading.onsets, plan.hands.hands, strict=True):
        for key, hand in zip(row, taken, strict=True):
            for event in key.events:
                if hand is not None:
                    found.setdefault((event.measure, event.note.n), hand)
    return found


def compared() -> Iterator[tuple[dict[str, Any], int, str, str | None]]:
    for bar in BARS:
        path = path_of(bar["file"])
        if path is None:
            continue
        taken = hands(path, bar["part"])
        for side, names in (("L", bar["left"]), ("R", bar["right"])):
            for n in names:
                yield bar, n, side, taken.get((bar["measure"], n))


def test_nine_in_ten_notes_are_in_the_hand_that_was_marked():
    rows = list(compared())
    assert len(rows) > 200
    right = sum(side == got for _, _, side, got in rows)
    assert right >= LEAST * len(rows), f"{right} of {len(rows)}"


if __name__ == "__main__":
    pytest.main([__file__])
