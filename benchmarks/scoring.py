"""How long a scoring takes to plan: ``python benchmarks/scoring.py [seconds] [sketch ...]``.

A sketch of 200 bars made from a seed, 25 passages of 4 to 7 strands for 30 lines, and then the sketches named. Printed:
when the first plan stood, how long the whole took, its cost and how much another might cost less. One run each.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from deskproof.scoring import hall as hall_
from deskproof.scoring import planning
from deskproof.scoring import sketch as sketch_
from deskproof.scoring.candidates import candidates_of
from deskproof.scoring.hall import Hall
from deskproof.scoring.model import solve
from deskproof.scoring.records import Passage, Sketch

SEEDS = (1, 2)
SECONDS = 10.0


def made() -> Any:
    """The generator of the tests."""
    path = Path(__file__).parents[1] / "tests" / "scoring" / "synthetic.py"
    spec = importlib.util.spec_from_file_location("synthetic", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def timed(name: str, sketch: Sketch, passages: Sequence[Passage], hall: Hall, seconds: float) -> None:
    """Plan once and print how it went."""
    began = time.monotonic()
    candidates = candidates_of(sketch, passages, hall, "rimsky")
    found = solve(sketch, passages, hall, candidates, [None] * len(passages), seconds=seconds, alternatives=0)
    whole = time.monotonic() - began
    percent = 100 * found.gap / found.cost if found.cost else 0.0
    left = sum(len(out) for out in found.left_out)
    print(
        f"{name}: {len(sketch.bars)} bars, {len(passages)} passages, {len(candidates)} candidates; first plan "
        f"{found.first_s:.1f} s, whole {whole:.1f} s, {found.status}, cost {found.cost}, at most {percent:.1f}% "
        f"could be less, {left} strands left out",
        flush=True,
    )


def main() -> None:
    """Plan the made sketches and those named."""
    words = sys.argv[1:]
    seconds = float(words[0]) if words else SECONDS
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores, {seconds:g} s for the proof")
    maker = made()
    for seed in SEEDS:
        passages = maker.passages_of(seed)
        timed(f"made from seed {seed}", maker.sketch_of(200), passages, maker.hall_of(), seconds)
    for word in words[1:]:
        sketch = sketch_.read(Path(word))
        timed(Path(word).name, sketch, planning.passages_of(sketch), hall_.standard(), seconds)


if __name__ == "__main__":
    main()
