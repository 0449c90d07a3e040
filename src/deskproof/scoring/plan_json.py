"""A plan as JSON: the form of ``plan --json``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from deskproof.scoring.records import Line, Passage, PlannedPassage, ScoringPlan, Sketch


def as_json(
    plan: ScoringPlan,
    passages: Sequence[Passage],
    sketch: Sketch,
    left_out: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """A plan and the notes that its lines stand for.

    Parameters
    ----------
    passages : sequence of Passage
        The sketch's, one for each of the plan's and in their order.
    left_out : sequence of mappings
        Notes of the sketch that nobody plays, as ``{"sketch_ref", "why"}``.

    Returns
    -------
    dict
        ``status``, ``gap``, ``scale`` and ``passages``, as the contract has them, and ``left_out``. Beside ``id``,
        ``strand``, ``sketch_notes``, ``who``, ``by`` and ``why`` a line has ``fixed``, ``dynamic`` and ``rule``;
        ``instrument`` is the name of a player or section, ``octave`` is 1 an octave above the sketch, -1 below.
    """
    rows = zip(plan.passages, passages, strict=True)
    return {
        "status": plan.status,
        "gap": plan.gap,
        "scale": plan.scale,
        "passages": [_passage(planned, passage, sketch) for planned, passage in rows],
        "left_out": [dict(row) for row in left_out],
    }


def _passage(planned: PlannedPassage, passage: Passage, sketch: Sketch) -> dict[str, Any]:
    return {
        "bars": planned.bars,
        "digest": planned.digest,
        "mark": planned.mark,
        "weight": planned.weight,
        "dynamic": planned.dynamic,
        "cost": planned.cost,
        "lines": [_line(line, planned, passage, sketch) for line in planned.lines],
    }


def _line(line: Line, planned: PlannedPassage, passage: Passage, sketch: Sketch) -> dict[str, Any]:
    return {
        "id": f"{planned.bars}/{line.strand}",
        "strand": line.strand,
        "sketch_notes": sketch_notes(passage, line.strand, sketch),
        "who": [{"instrument": one.chair, "octave": one.octave, "how": one.how} for one in line.who],
        "by": line.by,
        "why": line.why,
        "fixed": line.fixed,
        "dynamic": line.dynamic,
        "rule": line.rule,
    }


def sketch_notes(passage: Passage, strand: str, sketch: Sketch) -> list[str]:
    """References of the sketch notes that a strand stands for, in order, each once; none for an unknown strand."""
    found = passage.strand(strand)
    refs = (ref for tone in found.tones for ref in tone.refs) if found is not None else ()
    return list(dict.fromkeys(sketch.notes[ref].ref for ref in refs))
