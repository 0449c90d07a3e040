"""Which hand takes what, measured on recorded hands: ``python benchmarks/two_hands.py``; ``--files`` lists each file.

Without hints: the planner sees times and keys only. Rows: files that the prices were fitted on (odd SHA-256 of the file
name), and files that they were not (even), which is what counts.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from statistics import mean
from typing import Any

from deskproof.families.keyboard.hands import IMPOSSIBLE, LEAP, STRETCH, TOO_MANY, HandPlan, grouped, plan_hands

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
two_hands: Any = import_module("two_hands")


@dataclass
class Sum:
    """What came of some files."""

    notes: int = 0
    onsets: int = 0
    right: int = 0
    seconds: float = 0.0
    files: list[tuple[float, str]] = field(default_factory=list)
    impossible: dict[str, int] = field(default_factory=dict)
    classic_onsets: int = 0
    classic_stretches: int = 0

    def add(self, recording: Any) -> None:
        """Plan one file, and count."""
        onsets = grouped(recording.notes)
        began = time.perf_counter()
        plan = plan_hands(onsets)
        self.seconds += time.perf_counter() - began
        same = agreeing(recording, plan)
        self.notes += len(recording.notes)
        self.onsets += len(onsets)
        self.right += same
        self.files.append((same / len(recording.notes), recording.name))
        self.classic_onsets += len(onsets) if recording.classic else 0
        for hard in plan.hard:
            if hard.level == IMPOSSIBLE:
                self.impossible[hard.kind] = self.impossible.get(hard.kind, 0) + 1
                self.classic_stretches += recording.classic and hard.kind == STRETCH


def agreeing(recording: Any, plan: HandPlan) -> int:
    """Notes whose hand is the recorded one."""
    rest = iter(zip(recording.notes, recording.hands, strict=True))
    same = 0
    for row in plan.hands:
        chord = sorted((next(rest) for _ in row), key=lambda pair: pair[0][1])
        same += sum(hand == truth for hand, (_, truth) in zip(row, chord, strict=True))
    return same


def table(rows: Sequence[tuple[str, Sum]]) -> str:
    """The figures as a table in Markdown."""
    lines = [
        "| files | n | notes | onsets | notes right | mean of files | out of reach, classics | out of reach, others "
        "| too many | leaps under the least | us a note |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for name, found in rows:
        stretches = found.impossible.get(STRETCH, 0)
        lines.append(
            f"| {name} | {len(found.files)} | {found.notes} | {found.onsets} | {found.right / found.notes:.2%} "
            f"| {mean(share for share, _ in found.files):.2%} "
            f"| {found.classic_stretches} in {found.classic_onsets} "
            f"| {stretches - found.classic_stretches} in {found.onsets - found.classic_onsets} "
            f"| {found.impossible.get(TOO_MANY, 0)} | {found.impossible.get(LEAP, 0)} "
            f"| {found.seconds / found.notes * 1e6:.1f} |"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str]) -> None:
    """Print the table."""
    odd, even = Sum(), Sum()
    for recording in two_hands.recordings():
        (odd if recording.odd else even).add(recording)
    print(table([("odd, fitted on", odd), ("even, not seen", even)]))
    if "--files" in arguments:
        print("\n".join(f"{share:.3f} {name}" for share, name in sorted(even.files)))


if __name__ == "__main__":
    main(sys.argv[1:])
