"""The conductor of a scoring: calls the others in order and decides nothing itself."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from deskproof import forces as forces_
from deskproof import pitch
from deskproof.errors import DeskproofError
from deskproof.scoring import colours, replanning
from deskproof.scoring.candidates import candidates_of
from deskproof.scoring.hall import STANDARD, Hall, hall_of, standard
from deskproof.scoring.model import Solution, Task, solve
from deskproof.scoring.phrases import phrases_of
from deskproof.scoring.plan_reading import Reading
from deskproof.scoring.records import BASS, COMPOSER, PLANNER, Line, Passage, PlannedPassage, ScoringPlan, Sketch
from deskproof.scoring.said import NOT_NEEDED
from deskproof.scoring.strands import strands_of
from deskproof.scoring.strength import RIMSKY
from deskproof.scoring.turning import turned


class PlanningError(DeskproofError):
    """No plan can be made; the message says what is missing."""


@dataclass(frozen=True)
class Scored:
    """A sketch with its plan.

    ``first_s``: when the first plan stood, in seconds; ``kept``: the ordinals of passages left as they were.
    """

    sketch: Sketch
    hall: Hall
    passages: tuple[Passage, ...]
    plan: ScoringPlan
    first_s: float = 0.0
    kept: frozenset[int] = frozenset()


def passages_of(sketch: Sketch, plan: ScoringPlan | None = None) -> tuple[Passage, ...]:
    """The passages of a sketch with their strands, piano writing turned; cut as a plan says, if there is one.

    Raises
    ------
    DeskproofError
        If the plan is for other bars or strands than the sketch has.
    """
    cuts = replanning.cuts_of(plan, sketch) if plan is not None and plan.passages else ()
    overrides = [one for passage in plan.passages for one in passage.overrides] if plan is not None else []
    return tuple(turned(sketch, passage) for passage in strands_of(sketch, phrases_of(sketch, cuts), overrides))


def scored(
    sketch: Sketch,
    hall: Hall,
    before: Reading | None = None,
    scale: str = "",
    seconds: float = 10.0,
    alternatives: int = 2,
) -> Scored:
    """Plan a sketch for the players in a hall.

    Parameters
    ----------
    before : Reading, optional
        The plan as it stands: passages in which nothing was changed keep their lines.
    scale : str
        ``rimsky`` or ``sound-power``; as the plan before has it if empty.
    seconds : float
        When the search for a proof stops.
    alternatives : int
        How many other scorings of each passage are shown.

    Raises
    ------
    DeskproofError
        If the plan does not fit the sketch, its fixed lines are at odds, or nobody has the bass.
    """
    old = before.plan if before is not None else ScoringPlan()
    passages = passages_of(sketch, old if before is not None else None)
    matched: Sequence[PlannedPassage | None] = [None] * len(passages)
    changed: frozenset[int] = frozenset(range(len(passages)))
    if before is not None and old.passages:
        matched = replanning.matched(old, passages, sketch)
        wrong = replanning.agrees(matched, passages)
        if wrong:
            raise PlanningError("\n".join(wrong))
        changed = replanning.edited(matched, passages, sketch, replanning.renamed(before.new, old, matched))
    passages = tuple(_as_composer_says(one, planned) for one, planned in zip(passages, matched, strict=True))
    wanted = replanning.frozen(matched, passages, changed)
    scale = scale or old.scale or RIMSKY
    candidates = candidates_of(
        sketch, passages, hall, scale,
        lambda strand, tones: colours.harp_can(tones, sketch, hall, _seat_of(hall, "harp")),
        lambda chair, tones: colours.keyboard_can(tones, sketch, hall, chair.seat, chair.instrument),
        lambda chair, tones: bool(colours.drum_tones(tones, sketch, hall, chair.seat)),
    )  # fmt: skip
    _has_bass(passages, {(one.passage, one.strand) for one in candidates}, hall)
    found = solve(sketch, passages, hall, candidates, wanted, scale, matched, seconds, alternatives)
    rows = [
        _planned(sketch, passage, planned, found, k, k in changed)
        for k, (passage, planned) in enumerate(zip(passages, matched, strict=True))
    ]
    plan = ScoringPlan(
        hall.text, scale, tuple(rows), old.written, found.status, found.gap, STANDARD if hall.standard else ""
    )
    return Scored(sketch, hall, passages, plan, found.first_s, frozenset(range(len(passages))) - changed)


def hall_for(plan: ScoringPlan) -> Hall:
    """The hall that a plan was made for; the usual orchestra where it names no forces."""
    if not plan.forces.strip():
        return standard()
    name = "the plan's forces"
    return hall_of(forces_.parse(plan.forces, name), plan.forces, name, bool(plan.orchestra))


def _seat_of(hall: Hall, family: str) -> str:
    return next((chair.seat for chair in hall.chairs if chair.family == family), "")


def _as_composer_says(passage: Passage, planned: PlannedPassage | None) -> Passage:
    """The passage with the weight, dynamic and mark that the plan gives it."""
    if planned is None:
        return passage
    return replace(
        passage,
        weight=planned.weight or passage.weight,
        dynamic=planned.dynamic or passage.dynamic,
        mark=planned.mark or passage.mark,
    )


def _has_bass(passages: Sequence[Passage], able: set[tuple[int, str]], hall: Hall) -> None:
    """Refuse forces that have nobody for any bass of the sketch."""
    basses = [(k, one) for k, passage in enumerate(passages) for one in passage.strands if one.kind == BASS]
    if not basses or any((k, one.id) in able for k, one in basses):
        return
    names = ", ".join(seat.name for seat in hall.seats)
    low = min(one.low for _, one in basses)
    raise PlanningError(
        f"forces with no bass: the sketch's bass goes down to {pitch.name(low)}, and nobody of {names} has it; "
        'add one, for instance [players."bassoon 1"] with plays = ["bassoon"].'
    )


def _planned(
    sketch: Sketch, passage: Passage, old: PlannedPassage | None, found: Solution, k: int, anew: bool
) -> PlannedPassage:
    """The passage as the plan has it; one that was not planned anew keeps its lines as they are."""
    if old is not None and not anew:
        return old
    reasons = dict(found.left_out[k])
    lines = tuple(_line(strand.id, passage, old, found, k, reasons) for strand in passage.strands)
    others = tuple(
        (cost, tuple(Line(name, tuple(t.who for t in tasks if t.strand == name)) for name in _names(tasks)))
        for cost, tasks in found.scorings[k]
    )
    return PlannedPassage(
        replanning.bars_of(sketch, passage.first, passage.last),
        replanning.digest_of(sketch, passage.first, passage.last),
        passage.mark,
        passage.weight,
        passage.dynamic,
        lines,
        old.tacet if old is not None else (),
        old.overrides if old is not None else (),
        found.costs[k],
        others,
        old.where if old is not None else 0,
    )


def _is_stale(line: Line) -> bool:
    """Whether the reason of a line is the planner's still, for other players than the composer has put there."""
    named = set(re.findall(r"(?:^|; )([^:;]+): ", line.why))
    return bool(named) and named != {one.chair for one in line.who}


def _names(tasks: Sequence[Task]) -> list[str]:
    return list(dict.fromkeys(task.strand for task in tasks))


def _line(
    name: str, passage: Passage, old: PlannedPassage | None, found: Solution, k: int, reasons: dict[str, str]
) -> Line:
    strand = passage.strand(name)
    tasks = [task for task in found.tasks[k] if task.strand == name]
    before = next((line for line in old.lines if line.strand == name), None) if old is not None else None
    who = tuple(task.who for task in tasks)
    rule = strand.rule if strand is not None else ""
    why = "; ".join(dict.fromkeys(f"{task.who.chair}: {task.why}" for task in tasks if task.why))
    if not who:
        why = reasons.get(name) or NOT_NEEDED
    if before is None:
        return Line(name, who, why=why, rule=rule)
    kept = before.by == COMPOSER and not before.who and before.why  # left out on purpose
    if before.by == COMPOSER and who and _is_stale(before):
        before = replace(before, why=why)
    if before.fixed or kept or (before.who and {w[:2] for w in before.who} == {w[:2] for w in who}):
        return replace(before, rule=rule)
    return replace(before, who=who, why=why, rule=rule, by=PLANNER)
