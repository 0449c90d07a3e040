"""Round trip: a full score is made a short score, who played is forgotten, and a plan is asked for the same players.

For every phrase and every strand of it, who plays it in the plan is laid beside who plays it in the score: the overlap
is the Jaccard index of the two sets of parts. A part plays a strand where it has at least half of the strand's notes,
in any octave. Three baselines answer the same question:

- strings: the top strand to the first violins, the lowest to cellos and double basses, the others to the second
  violins and violas by height;
- register: every part takes the strand whose mean pitch is nearest to the middle of its home register;
- random: every strand gets parts at random that have its notes, one strand a part.

The mean over phrases, the mean of the difference to each baseline, and its 95 % interval by a bootstrap that draws
phrases within movements (2,000 draws, fixed seed).

    python benchmarks/round_trip.py [--quick] [FILE ...]
"""

from __future__ import annotations

import json
import random
import sys
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import mean
from typing import NamedTuple

import music21
import numpy as np

from deskproof import document
from deskproof.forces import parse
from deskproof.score import Score
from deskproof.scoring import planning, short_score
from deskproof.scoring.candidates import register_of
from deskproof.scoring.hall import Hall, hall_of
from deskproof.scoring.records import Passage, Sketch, Strand
from deskproof.scoring.sketch import sketch_of
from deskproof.spans import lines_of
from deskproof.timeline import realise

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared" / "scores"
CORPUS = Path(music21.__file__).parent / "corpus"
SHARE = 0.5
DRAWS, SEED = 2000, 20261129

Sets = dict[str, frozenset[str]]


class Case(NamedTuple):
    """One phrase of a movement: strand -> who plays it, by the score, the plan and the baselines."""

    movement: str
    truth: Sets
    answers: dict[str, Sets]


def hall_for(score: Score, names: Sequence[str]) -> Hall:
    """The players of a score, each named as the short score names its part; strings are sections."""
    rows, sections = [], []
    for name, line in zip(names, lines_of(realise(score)), strict=True):
        one = line.first
        if one is None or one.family in ("voice", "percussion", "pitched-percussion"):
            continue
        rows.append(f"[players.{json.dumps(name, ensure_ascii=False)}]\nplays = [{json.dumps(one.id)}]\n")
        if one.family == "strings":
            sections.append(name)
    text = "\n".join(rows)
    hall = hall_of(parse(text), text)
    seats = tuple(replace(seat, section=seat.name in sections) for seat in hall.seats)
    chairs = tuple(replace(chair, section=chair.seat in sections) for chair in hall.chairs)
    return replace(hall, seats=seats, chairs=chairs)


def cases_of(path: Path, seconds: float) -> tuple[list[Case], str]:
    """The phrases of one movement, and a line on its plan."""
    score = document.read(path).score
    short = short_score.shortened(score)
    players = short_score.players_by_note(short)
    names = short_score.names_of(score)
    sketch = sketch_of(short_score.without_memory(short), path.stem)
    hall = hall_for(score, names)
    started = time.perf_counter()
    scored = planning.scored(sketch, hall, seconds=seconds, alternatives=0)
    took = time.perf_counter() - started
    name = f"{path.parent.name}/{path.stem}"
    said = f"{name}: {len(hall.seats)} players, {len(scored.passages)} phrases, {scored.plan.status}, {took:.1f} s"
    randomly = random.Random(SEED)
    found = []
    for passage, planned in zip(scored.passages, scored.plan.passages, strict=True):
        truth = truth_of(passage, sketch, players, hall)
        strands = [strand for strand in passage.strands if truth.get(strand.id)]
        if not strands:
            continue
        own = {line.strand: frozenset(hall.chair(w.chair).seat for w in line.who) for line in planned.lines}  # type: ignore[union-attr]
        answers = {
            "plan": own,
            "strings": by_strings(strands, hall),
            "register": by_register(strands, hall),
            "random": by_chance(strands, hall, randomly),
        }
        found.append(Case(name, truth, answers))
    return found, said


def truth_of(
    passage: Passage, sketch: Sketch, players: Mapping[str, Sequence[tuple[str, int]]], hall: Hall
) -> Sets:
    """Who plays each strand by the score; made strands are not asked for."""
    seats = {seat.name for seat in hall.seats}
    found: Sets = {}
    for strand in passage.strands:
        if strand.of:
            continue
        counts: Counter[str] = Counter()
        for tone in strand.tones:
            counts.update({name for name, _ in players.get(sketch.notes[tone.refs[0]].ref, ()) if name in seats})
        found[strand.id] = frozenset(name for name, n in counts.items() if n >= SHARE * len(strand.tones))
    return found


def by_strings(strands: Sequence[Strand], hall: Hall) -> Sets:
    """The top strand to the first violins, the lowest to cellos and basses, the others between."""
    kinds: dict[str, list[str]] = {}
    for chair in hall.chairs:
        kinds.setdefault(chair.instrument, []).append(chair.seat)
    violins = kinds.get("violin", [])
    low = frozenset(kinds.get("cello", []) + kinds.get("double-bass", []))
    ordered = sorted(strands, key=height, reverse=True)
    found: Sets = {}
    for k, strand in enumerate(ordered):
        if k == 0:
            found[strand.id] = frozenset(violins[:1])
        elif k == len(ordered) - 1:
            found[strand.id] = low
        else:
            inner = violins[1:2] if k <= (len(ordered) - 1) / 2 else kinds.get("viola", [])
            found[strand.id] = frozenset(inner)
    return found


def by_register(strands: Sequence[Strand], hall: Hall) -> Sets:
    """Every part takes the strand nearest to the middle of its home register."""
    found: dict[str, set[str]] = {strand.id: set() for strand in strands}
    for chair in hall.chairs:
        low, _, _, high = register_of(chair)
        home = (low + high) / 2
        found[min(strands, key=lambda strand: abs(height(strand) - home)).id].add(chair.seat)
    return {name: frozenset(own) for name, own in found.items()}


def by_chance(strands: Sequence[Strand], hall: Hall, chance: random.Random) -> Sets:
    """Every part that has the notes of a strand takes one of those, or rests, at random."""
    found: dict[str, set[str]] = {strand.id: set() for strand in strands}
    for chair in hall.chairs:
        able = [s.id for s in strands if chair.low <= s.low and s.high <= chair.high]
        choice = chance.choice([*able, ""])
        if choice:
            found[choice].add(chair.seat)
    return {name: frozenset(own) for name, own in found.items()}


def height(strand: Strand) -> float:
    """Mean sounding pitch."""
    return mean(tone.midi for tone in strand.tones)


def jaccard(one: frozenset[str], two: frozenset[str]) -> float:
    """The share of what either has that both have."""
    return len(one & two) / len(one | two) if one | two else 1.0


def value(case: Case, way: str) -> float:
    """The mean over the strands of a phrase."""
    own = case.answers[way]
    return mean(jaccard(own.get(name, frozenset()), truth) for name, truth in case.truth.items() if truth)


def interval(cases: Sequence[Case], other: str) -> tuple[float, float, float]:
    """The mean of plan minus baseline, movement by movement, and its 95 % interval."""
    rng = np.random.default_rng(SEED)
    movements = [
        np.array([value(c, "plan") - value(c, other) for c in cases if c.movement == name])
        for name in dict.fromkeys(c.movement for c in cases)
    ]
    draws = [
        float(np.mean([rng.choice(row, size=len(row)).mean() for row in movements])) for _ in range(DRAWS)
    ]
    low, high = np.quantile(draws, [0.025, 0.975])
    return float(np.mean([row.mean() for row in movements])), float(low), float(high)


def report(title: str, cases: Sequence[Case]) -> None:
    """Print the table of some movements."""
    ways = ("plan", "strings", "register", "random")
    print(f"\n{title}: {len(cases)} phrases, {len({c.movement for c in cases})} movements")
    for name in dict.fromkeys(c.movement for c in cases):
        rows = [case for case in cases if case.movement == name]
        print(f"  {name[:40]:40}", *(f"{way} {mean(value(c, way) for c in rows):.3f}" for way in ways))
    for way in ways[1:]:
        middle, low, high = interval(cases, way)
        print(f"  plan above {way:9} {middle:+.3f}  95 % {low:+.3f} to {high:+.3f}")


LARGE = (
    SHARED / "beethoven-symphony-6-4.mxl",
    SHARED / "beach-gaelic-symphony-2.mxl",
    SHARED / "boulanger-matin-bars-1-100.mxl",
)


def main(arguments: list[str]) -> None:
    """Run the round trip."""
    files = [Path(name) for name in arguments if not name.startswith("--")]
    paths = files or [path for path in (*LARGE, *bach(), *quartets("--quick" in arguments)) if path.exists()]
    large: list[Case] = []
    small: list[Case] = []
    for path in paths:
        cases, said = cases_of(path, seconds=10)
        players = {name for case in cases for sets in case.truth.values() for name in sets}
        print(said, flush=True)
        (large if len(players) >= EIGHT else small).extend(cases)
    for title, cases in (("eight instruments or more", large), ("fewer", small)):
        if cases:
            report(title, cases)


EIGHT = 8


def bach() -> list[Path]:
    """The movements of music21's corpus by Bach with eight parts or more."""
    return [path for path in sorted((CORPUS / "bach").glob("*.mxl")) if parts_in(path) >= EIGHT]


def quartets(quick: bool) -> list[Path]:
    """String quartets of music21's corpus."""
    found = [
        path
        for folder in ("haydn", "mozart", "beethoven")
        for path in sorted((CORPUS / folder).rglob("*.mxl"))
        if parts_in(path) == 4
    ]
    return found[: 3 if quick else 12]


def parts_in(path: Path) -> int:
    """How many parts a file has."""
    return len(document.read(path).score.parts)


if __name__ == "__main__":
    main(sys.argv[1:])
