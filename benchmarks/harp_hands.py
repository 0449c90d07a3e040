"""How long the hands of a harp part take to plan: ``python benchmarks/harp_hands.py``.

The passages are made by tests/harp_passages.py from a seed; each note takes the string of its spelling. Best of some
rounds, strings given, imports done. With the pedals of the same passage for comparison.
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from deskproof.families.harp.hands import HandPlan, HandSettings, Struck, plan_hands
from deskproof.families.harp.model import STEPS, HarpNote, Onset, Settings, String
from deskproof.families.harp.plan import plan_pedals

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
passages: Any = import_module("harp_passages")

SEED = 1
GOAL_US = 150  # an onset
TIMES = 3  # hands and pedals together, of the pedals alone
USUAL = (500_000, 250_000)
LOWEST, HIGHEST = String("C", 1).line, String("G", 7).line


def struck_of(rows: Sequence[dict[str, Any]], staves: bool, step_us: int | None = None) -> list[Struck]:
    """The rows of the generator as onsets for the hands; above the middle string is the upper staff."""
    meet = HandSettings.from_facts().meet
    found = []
    for i, row in enumerate(rows):
        lines = sorted({len(STEPS) * n["spelled"][2] + STEPS.index(n["spelled"][0]) for n in row["notes"]})
        lines = [line for line in lines if LOWEST <= line <= HIGHEST]
        marks = tuple((1 if line >= meet else 2) if staves else 0 for line in lines)
        n = len(lines)
        t_us = row["t_us"] if step_us is None else i * step_us
        found.append(Struck(t_us, tuple(lines), marks, (0,) * n, False, ("struck",) * n))
    return found


def best_of(rounds: int, call: Callable[[], Any]) -> tuple[float, Any]:
    """The shortest time of some calls, in seconds, and what the last gave back."""
    best, given = float("inf"), None
    for _ in range(rounds):
        gc.collect()
        start = time.perf_counter()
        given = call()
        best = min(best, time.perf_counter() - start)
    return best, given


def timed(name: str, onsets: Sequence[Struck], rounds: int) -> float:
    """Plan, print one line, give the time in seconds."""
    settings = HandSettings.from_facts()
    plan: HandPlan
    seconds, plan = best_of(rounds, lambda: plan_hands(onsets, settings))
    figures = ", ".join(f"{value} {key.replace('_', ' ')}" for key, value in plan.cost._asdict().items() if value)
    print(
        f"{name}, {len(onsets)} onsets: {seconds:.3f} s, {1e6 * seconds / len(onsets):.0f} us an onset "
        f"(goal {GOAL_US}); {figures or 'nothing awkward'}; {'proven' if plan.proven else 'not proven'}",
        flush=True,
    )
    return seconds


def main(most: int) -> None:
    """Everything up to so many onsets."""
    import_module("numpy")
    for count in (200, 2_000, 20_000):
        if count > most:
            continue
        rounds = 1 if count > 5_000 else 3
        tonal = passages.tonal(count, SEED)
        hands = timed("tonal, two staves", struck_of(tonal, True), rounds)
        timed("tonal, staves unknown", struck_of(tonal, False), rounds)
        for step_us in (250_000, 120_000, 60_000):
            for staves in (True, False):
                known = "two staves" if staves else "staves unknown"
                timed(f"tonal, step {step_us / 1e6:g} s, {known}", struck_of(tonal, staves, step_us), rounds)
        for notes in (1, 2, 3):
            rows = passages.random_notes(count, SEED, notes=notes)
            timed(f"random, {notes} an onset, step 0.1 s", struck_of(rows, False, 100_000), rounds)
        onsets = [
            Onset(row["t_us"], tuple(HarpNote(n["pitch"], n["written_us"], n["spelled"][:2]) for n in row["notes"]))
            for row in tonal
        ]
        pedals, _ = best_of(rounds, lambda onsets=onsets: plan_pedals(onsets, Settings(*USUAL)))  # type: ignore[misc]
        print(
            f"tonal, {count} onsets: pedals {pedals:.3f} s, with hands {pedals + hands:.3f} s, "
            f"{(pedals + hands) / pedals:.1f} times the pedals alone (goal {TIMES})",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
