"""A plan to begin with where the search for the whole finds none in its time: passage by passage, each after the last.

Each passage is planned at least cost after those before it. Nothing here is proven for the whole. Always the same for
the same.
"""

from __future__ import annotations

from deskproof.scoring.board import Board, Problem, solver

_STEPS = 1.0
"""Steps of the solver for one passage."""


def first_plan(problem: Problem) -> list[int] | None:
    """The values of the candidates in a plan that keeps all rules; None if none was found this way."""
    cp = solver()
    values = [0] * len(problem.candidates)
    for wish in problem.wishes.rules:
        for i in wish.on:
            values[i] = problem.most[i]
    for at in range(len(problem.ground.passages)):
        board = Board(problem, [at], values)
        board.model.minimize(board.costs[at])
        run = board.run(_STEPS)
        if run.status not in (cp.OPTIMAL, cp.FEASIBLE):
            return None
        values = board.values(run)
    return values
