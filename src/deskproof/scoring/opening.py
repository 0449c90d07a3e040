"""A plan to begin with, passage by passage, and its betterment a few passages at a time. Always the same for the same.

Each passage is planned at least cost after those before it. Then three passages at a time are planned anew between
what stands around them, as long as that makes the plan cheaper. Nothing here is proven for the whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from deskproof.scoring.board import Board, Problem, solver

_STEPS = 1.0
"""Steps of the solver (about seconds) for one small search."""
_AT_ONCE = 3


def first_plan(problem: Problem) -> list[int] | None:
    """The values of the candidates in a plan that keeps all rules; None if none was found this way."""
    values = [0] * len(problem.candidates)
    for wish in problem.wishes.rules:
        for i in wish.on:
            values[i] = problem.most[i]
    for at in range(len(problem.ground.passages)):
        found = _better(problem, values, [at], [at])
        if found is None:
            return None
        values = found
    return values


def bettered(problem: Problem, values: Sequence[int]) -> list[int]:
    """A plan that costs no more, after one walk through the passages."""
    best = list(values)
    count = len(problem.ground.passages)
    for start in range(0, max(1, count - 1), _AT_ONCE - 1):
        places = range(start, min(count, start + _AT_ONCE))
        best = _better(problem, best, places, range(count), best) or best
    return best


def cost_of(problem: Problem, values: Sequence[int]) -> list[int] | None:
    """What each passage of a plan costs; None if it breaks a rule."""
    board = Board(problem)
    for x, value in zip(board.x, values, strict=True):
        board.model.add(x == value)
    board.model.minimize(sum(board.costs))
    run = board.run()
    return [int(run.value(cost)) for cost in board.costs] if run.status == solver().OPTIMAL else None


def _better(
    problem: Problem, values: Sequence[int], places: Iterable[int], counted: Iterable[int],
    known: Sequence[int] | None = None,
) -> list[int] | None:  # fmt: skip
    """The plan with some passages planned anew, at the least cost of the passages that are counted."""
    board = Board(problem, places, values)
    board.model.minimize(sum(board.costs[at] for at in counted))
    if known is not None:
        board.hint(known)
    run = board.run(steps=_STEPS)
    cp = solver()
    return board.values(run) if run.status in (cp.OPTIMAL, cp.FEASIBLE) else None
