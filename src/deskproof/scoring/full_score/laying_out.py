"""A sketch and its plan -> the parts of a full score in score order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof.score import Score
from deskproof.scoring.full_score.part import PartLayer, WrittenPart
from deskproof.scoring.full_score.played import Cast, cast
from deskproof.scoring.full_score.signs import Signs
from deskproof.scoring.full_score.staving import Bracket, PrintedPart, brackets, printed_parts
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import Passage, ScoringPlan, Sketch


class WrittenNote(NamedTuple):
    """A note of the full score: its reference, the sketch notes it stands for, the plan's line, and the rule.

    ``line`` is "1-8/tune"; ``rule`` is same, octave, or the name of the rule that made it (contract).
    """

    ref: str
    sketch_refs: tuple[str, ...]
    line: str
    rule: str


@dataclass(frozen=True)
class FullScore:
    """A full score. ``notes`` are in score order; ``left_out``: references of sketch notes that nobody has, and why."""

    score: Score
    parts: tuple[PrintedPart, ...]
    brackets: tuple[Bracket, ...]
    notes: tuple[WrittenNote, ...]
    left_out: tuple[tuple[str, str], ...]


def full_score(sketch: Sketch, passages: Sequence[Passage], plan: ScoringPlan, hall: Hall) -> FullScore:
    """Set a sketch for the chairs that its plan names.

    Parameters
    ----------
    sketch, passages, plan, hall
        ``passages`` are those of the sketch with their strands, one for each of the plan's.
    """
    given = cast(sketch, passages, plan, hall)
    printed = printed_parts(hall, given.by_chair)
    signs = Signs(sketch, _rehearsal(passages, plan))
    written = [
        PartLayer(part, given.by_chair, sketch, signs, top=i == 0).written() for i, part in enumerate(printed)
    ]
    score = Score(
        sketch.score.title, sketch.grid, tuple(one.part for one in written), extra=_extra(sketch)
    )
    return FullScore(score, printed, tuple(brackets(printed)), _notes(written, sketch), _left_out(given, sketch))


def _extra(sketch: Sketch) -> dict[str, str]:
    return {key: value for key, value in sketch.score.extra.items() if key not in ("concert", "played")}


def _rehearsal(passages: Sequence[Passage], plan: ScoringPlan) -> dict[int, str]:
    """Bar -> rehearsal mark, where a passage of the plan has one."""
    return {
        passage.first: planned.mark for passage, planned in zip(passages, plan.passages, strict=True) if planned.mark
    }


def _notes(written: Sequence[WrittenPart], sketch: Sketch) -> tuple[WrittenNote, ...]:
    found = []
    for one in written:
        for bar, n, row in sorted(one.begun, key=lambda begun: begun[:2]):
            refs = tuple(sketch.notes[ref].ref for ref in row.tone.refs)
            found.append(WrittenNote(f"{one.part.id}/m{bar}/n{n}", refs, row.line, row.rule))
    return tuple(found)


def _left_out(given: Cast, sketch: Sketch) -> tuple[tuple[str, str], ...]:
    return tuple((sketch.notes[i].ref, why) for i, why in given.left_out)
