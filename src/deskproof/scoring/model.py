"""The plan that costs least: who plays which strand in every passage, found by a solver and proven where time allows.

Nobody is rewarded for playing: a plan pays for every task, for strands that are too weak, too strong or left out, for
too many colours and for changes, so that the least cost is the thinnest scoring that is enough. Where several plans
cost the same, the one nearest to the last plan is taken, and of those one that is always the same.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from math import ceil
from typing import NamedTuple
from zlib import crc32

from deskproof.errors import DeskproofError
from deskproof.scoring.alike import Alike, alike, seated
from deskproof.scoring.another import others_of
from deskproof.scoring.board import Board, Problem, Sum, carriers_of, solver
from deskproof.scoring.breath import Clock
from deskproof.scoring.candidates import Candidate
from deskproof.scoring.clash import clash_of
from deskproof.scoring.hall import Hall
from deskproof.scoring.model_rules import Ground, rows_of
from deskproof.scoring.opening import first_plan
from deskproof.scoring.records import Passage, PlannedPassage, Sketch, Who
from deskproof.scoring.said import NOT_NEEDED, PROVEN
from deskproof.scoring.strength import RIMSKY
from deskproof.scoring.wishes import wishes_of

STOPPED = "stopped"
NOBODY_HAS, NOBODY_FREE, COMPOSERS = (
    "nobody in the room has these notes", "nobody is free for it", "left out by the composer",
)  # fmt: skip
_STEPS_A_SECOND = 0.3
"""The solver's own steps that take about a second: searches are counted in them, so that they end alike."""
_PATIENCE = 4
"""A machine that is so many times slower is not waited for."""
_SUM = 10.0  # steps to add up a plan that is given
_DRAW = 1 << 16
_HAIR = 1e-6


class Task(NamedTuple):
    """One chair on a strand of a passage, what that costs, and what speaks for it."""

    strand: str
    who: Who
    cost: int
    why: str


class Solution(NamedTuple):
    """A plan. ``status`` is proven (no plan costs less) or stopped; ``gap`` is what another might cost less at most.

    Equal input gives an equal plan, proven or not; how close ``bound`` came when stopped depends on the machine.

    ``tasks``, ``left_out`` (strand, why), ``costs`` and ``scorings`` stand passage by passage; ``scorings`` are the
    second and third scoring of a passage, with everything around it as it is: (cost, tasks). ``first_s`` is when the
    first plan stood, in seconds.
    """

    status: str
    cost: int
    bound: int
    gap: int
    first_s: float
    tasks: tuple[tuple[Task, ...], ...]
    left_out: tuple[tuple[tuple[str, str], ...], ...]
    costs: tuple[int, ...]
    scorings: tuple[tuple[tuple[int, tuple[Task, ...]], ...], ...]


def solve(
    sketch: Sketch,
    passages: Sequence[Passage],
    hall: Hall,
    candidates: Sequence[Candidate],
    wanted: Sequence[PlannedPassage | None],
    scale: str = RIMSKY,
    last: Sequence[PlannedPassage | None] | None = None,
    seconds: float = 10.0,
    alternatives: int = 2,
) -> Solution:
    """Find the plan that costs least.

    Parameters
    ----------
    wanted, last : sequence of PlannedPassage or None
        In the order of the passages: what the composer wants of each, and the plan as it was.
    seconds : float
        When the search for a proof stops. The plan that then stands is the same in every run.
    alternatives : int
        How many other scorings of each passage are wanted.

    Raises
    ------
    ScoringClash
        If the composer's rules cannot all be kept; the message names the lines.
    DeskproofError
        If the solver is not installed.
    """
    wishes = wishes_of(sketch, passages, hall, candidates, wanted, scale)
    ground = Ground(passages, hall, wishes.candidates, Clock(sketch.bars))
    whole = Problem(ground, rows_of(ground), wishes, _last_places(last))
    run = _Search(alike(whole), seconds)
    if not run.find():
        raise clash_of(sketch, whole)
    groups, values = run.groups, run.values
    scorings = others_of(groups.counted, run.counts, alternatives) if alternatives else [[] for _ in passages]
    return Solution(
        run.status, run.cost, run.bound, run.cost - run.bound, run.first_s,
        tuple(_tasks(whole, at, values, wanted) for at in range(len(passages))),
        tuple(tuple(_left_out(whole, at, values)) for at in range(len(passages))),
        tuple(run.costs),
        tuple(
            tuple(
                (run.costs[at] + more, _tasks(whole, at, seated(groups, other, values, at)[0], wanted))
                for more, other in found
            )
            for at, found in enumerate(scorings)
        ),
    )  # fmt: skip


def cost_of(problem: Problem, values: Sequence[int]) -> list[int] | None:
    """What each passage of a plan costs; None if it breaks a rule."""
    board = Board(problem)
    for x, value in zip(board.x, values, strict=True):
        board.model.add(x == value)
    board.model.minimize(sum(board.costs))
    run = board.run(_SUM)
    return [int(run.value(cost)) for cost in board.costs] if run.status == solver().OPTIMAL else None


class _Search:
    """The search itself; after ``find`` it holds who plays (``values``), how many (``counts``), and what that costs."""

    def __init__(self, groups: Alike, seconds: float) -> None:
        self.groups, self.seconds = groups, seconds
        self.status, self.cost, self.bound, self.first_s = STOPPED, 0, 0, 0.0
        self.counts: list[int] = []
        self.values: list[int] = []
        self.costs: list[int] = []

    def find(self) -> bool:
        """Search; False if no plan keeps all rules.

        Where the tasks of players who are alike cannot be given to them one by one, they alone are planned anew.
        """
        if not self._found():
            return False
        whole = self.groups.whole
        self.values, wrong = seated(self.groups, self.counts)
        if wrong:
            self.values = self._anew(wrong)
        self.costs = cost_of(whole, self.values) or []
        self.cost = sum(self.costs)
        if self.cost > self.bound:
            self.status = STOPPED
        return True

    def _anew(self, seats: frozenset[str]) -> list[int]:
        """The plan with some players planned anew, one by one, between all others as they are."""
        whole = self.groups.whole
        board = Board(whole)
        for i, x in enumerate(board.x):
            if whole.ground.chair_of[i].seat not in seats:
                board.model.add(x == self.values[i])
        board.model.minimize(sum(board.costs))
        run = board.run(_SUM)
        return board.values(run) if run.status in (solver().OPTIMAL, solver().FEASIBLE) else self.values

    def _found(self) -> bool:
        cp = solver()
        board = Board(self.groups.counted)
        board.model.minimize(sum(board.costs))
        began = time.monotonic()

        def seen() -> None:
            self.first_s = self.first_s or time.monotonic() - began

        steps = _STEPS_A_SECOND * self.seconds
        run = board.run(steps, _PATIENCE * max(1.0, self.seconds), seen)
        if run.status == cp.UNKNOWN:
            return self._by_passages(began)
        if run.status == cp.INFEASIBLE:
            return False
        self.counts = board.values(run)
        self.status, self.bound = STOPPED, max(0, ceil(run.best_objective_bound - _HAIR))
        if run.status == cp.OPTIMAL:
            self.status, self.bound = PROVEN, round(run.objective_value)
            self.counts = self._nearest(self.bound, self.counts)
        return True

    def _by_passages(self, began: float) -> bool:
        """A plan at least, passage by passage, if there is one."""
        found = first_plan(self.groups.counted)
        if found is None:
            raise DeskproofError(
                f"no plan was found in {self.seconds:g} seconds; give it more, or fix fewer lines of the plan."
            )
        self.first_s = time.monotonic() - began
        self.counts, self.status, self.bound = found, STOPPED, 0
        return True

    def _nearest(self, cost: int, found: list[int]) -> list[int]:
        """Of all plans of this cost the one nearest to the last plan, and of those the first by a fixed order.

        Without a last plan the search itself has settled it: it always ends alike. Where it takes too long, the plan
        that was found.
        """
        if self.groups.whole.last is None:
            return found
        board = Board(self.groups.counted)
        board.model.add(sum(board.costs) <= cost)
        board.model.minimize(_told_apart(self.groups, board))
        run = board.run(_STEPS_A_SECOND * self.seconds, _PATIENCE * self.seconds)
        return board.values(run) if run.status == solver().OPTIMAL else found


def _told_apart(groups: Alike, board: Board) -> Sum:
    """What tells plans of one cost apart: first how far from the last plan, then a fixed order of who plays what.

    The order is a number drawn from the names, the same wherever it is drawn, so that hardly two plans are equal.
    """
    whole, problem = groups.whole, groups.counted
    last = whole.last or frozenset()
    drawn = [
        crc32(f"{one.passage} {one.strand} {one.chair} {one.octave}".encode()) % _DRAW for one in problem.candidates
    ]
    total = sum(number * x for number, x in zip(drawn, board.x, strict=True))
    far = sum(number * most for number, most in zip(drawn, problem.most, strict=True)) + 1
    for i, members in enumerate(groups.members):
        rows = [whole.candidates[k] for k in members]
        before = sum((one.passage, one.strand, one.chair, one.octave) in last for one in rows)
        off = board.model.new_int_var(0, problem.most[i], "")
        board.model.add(off >= board.x[i] - before)
        board.model.add(off >= before - board.x[i])
        total = total + far * off
    return total


def _last_places(last: Sequence[PlannedPassage | None] | None) -> frozenset[tuple[int, str, str, int]] | None:
    """Who played what in the last plan."""
    if last is None:
        return None
    return frozenset(
        (at, line.strand, who.chair, who.octave)
        for at, passage in enumerate(last)
        if passage is not None
        for line in passage.lines
        for who in line.who
    )


def _tasks(
    problem: Problem, at: int, values: Sequence[int], wanted: Sequence[PlannedPassage | None]
) -> tuple[Task, ...]:
    """The tasks of a passage, strand by strand in score order; how a chair plays is as the composer wants it."""
    asked = wanted[at] if at < len(wanted) else None
    lines = asked.lines if asked is not None else ()
    how = {(line.strand, who.chair.casefold(), who.octave): who.how for line in lines for who in line.who}
    found = []
    for strand in problem.ground.passages[at].strands:
        chosen = [i for i in problem.strand[at, strand.id] if values[i]]
        for i in sorted(chosen, key=lambda i: (problem.ground.chair_of[i].order, problem.candidates[i].octave)):
            one = problem.candidates[i]
            key = strand.id, one.chair.casefold(), one.octave
            found.append(Task(strand.id, Who(one.chair, one.octave, how.get(key, "")), one.cost, one.why))
    return tuple(found)


def _left_out(problem: Problem, at: int, values: Sequence[int]) -> Iterator[tuple[str, str]]:
    """The strands of a passage that nobody carries, and why."""
    for strand in problem.ground.passages[at].strands:
        indices = problem.strand[at, strand.id]
        if (at, strand.id) in problem.wishes.omitted:
            yield strand.id, COMPOSERS
        elif not indices and not strand.of:
            yield strand.id, NOBODY_HAS
        elif not any(values[i] for i in carriers_of(problem.ground, indices)):
            yield strand.id, NOT_NEEDED if strand.of else NOBODY_FREE
