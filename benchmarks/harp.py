"""How long the harp's pedals take to plan, and whether the plan is proven: ``python benchmarks/harp.py``.

The passages are made by tests/harp_passages.py from a seed. Best of some rounds, onsets given, imports done; the time
is that of the whole plan: strings, least number of changes with its proof, changes in time.
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Iterable
from importlib import import_module
from pathlib import Path
from typing import Any

from deskproof.families.harp.model import HarpNote, Onset, Settings
from deskproof.families.harp.plan import PedalPlan, plan_pedals

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
passages: Any = import_module("harp_passages")

SEED = 1
USUAL, BOTH = (500_000, 250_000), (300_000, 300_000)
GOALS = {200: 0.05, 2_000: 0.4, 20_000: 5.0}  # seconds
RANDOM_GOAL = 1_000  # onsets a second


def onsets_of(raw: Iterable[dict[str, Any]]) -> list[Onset]:
    """The rows of the generator as onsets."""
    return [
        Onset(row["t_us"], tuple(HarpNote(n["pitch"], n["written_us"], n["spelled"][:2]) for n in row["notes"]))
        for row in raw
    ]


def timed(name: str, onsets: list[Onset], times: tuple[int, int], goal: float, rounds: int) -> PedalPlan:
    """Plan, print one line, and give the plan back."""
    settings = Settings(*times)
    best, plan = float("inf"), None
    for _ in range(rounds):
        gc.collect()
        start = time.perf_counter()
        plan = plan_pedals(onsets, settings)
        best = min(best, time.perf_counter() - start)
    assert plan is not None
    figures = ", ".join(f"{f.value} {f.name.replace('_', ' ')}" for f in plan.objective[:4])
    said = "proven" if plan.proven else "not proven: at least " + ", ".join(str(f.at_least) for f in plan.objective[:4])
    print(
        f"{name}, {len(onsets)} onsets, {times[0] / 1e6:g} and {times[1] / 1e6:g} s a change: {best:.3f} s "
        f"(goal {goal:g} s), {len(onsets) / best:,.0f} onsets a second; {figures}; {said}",
        flush=True,
    )
    return plan


def main(most: int) -> None:
    """Everything up to so many onsets."""
    import_module("numpy")
    for count, goal in GOALS.items():
        if count > most:
            continue
        rounds = 1 if count > 5_000 else 3
        tonal = onsets_of(passages.tonal(count, SEED))
        for times in (BOTH, USUAL):
            timed("tonal", tonal, times, goal, rounds)
        fast = onsets_of(passages.tonal(count, SEED, step_us=250_000))
        timed("tonal, step 0.25 s", fast, USUAL, goal, rounds)
        for notes in (1, 2, 3):
            rows = onsets_of(passages.random_notes(count, SEED, notes=notes))
            timed(f"random, {notes} an onset", rows, USUAL, count / RANDOM_GOAL, rounds)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else max(GOALS))
