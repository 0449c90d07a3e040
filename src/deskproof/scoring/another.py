"""Other scorings of a passage: the next best ones that are really different, with everything around them as it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from deskproof.scoring.board import Board, Problem, solver
from deskproof.scoring.records import TUNE
from deskproof.scoring.strength import kind_of

_STEPS = 0.3
"""Steps of the solver (about seconds) for one scoring."""


def others_of(problem: Problem, values: Sequence[int], many: int) -> list[list[tuple[int, list[int]]]]:
    """For each passage up to so many other scorings: what they cost more than the plan, and their values.

    One is different if another kind of instrument has the tune or one has it no more, or if at least half of the tasks
    are not those of the others.
    """
    return [_others_at(problem, at, values, many) for at in range(len(problem.ground.passages))]


def _others_at(problem: Problem, at: int, values: Sequence[int], many: int) -> list[tuple[int, list[int]]]:
    if not problem.here[at]:
        return []
    own = _cheapest(problem, at, values, [], list(values))
    known, found = [list(values)], list[tuple[int, list[int]]]()
    for _ in range(many):
        other = _cheapest(problem, at, values, known)
        if own is None or other is None:
            break
        found.append((other[0] - own[0], other[1]))
        known.append(other[1])
    return found


def _cheapest(
    problem: Problem, at: int, values: Sequence[int], unlike: Sequence[Sequence[int]], fixed: Sequence[int] = ()
) -> tuple[int, list[int]] | None:
    """The cheapest scoring of a passage that differs from those named, or the cost of a fixed one."""
    board = Board(problem, [at], values)
    for i in problem.here[at] if fixed else ():
        board.model.add(board.x[i] == fixed[i])
    for other in unlike:
        _differs(problem, at, board, other)
    board.model.minimize(sum(board.costs))
    run = board.run(_STEPS)
    cp = solver()
    if run.status not in (cp.OPTIMAL, cp.FEASIBLE):
        return None
    return round(run.objective_value), board.values(run)


def _differs(problem: Problem, at: int, board: Board, other: Sequence[int]) -> None:
    """Another kind of instrument has the tune, or one has it no more; or half of the tasks are new.

    A task is new for another kind of instrument; "flute 2 instead of flute 1" is none.
    """
    here = problem.here[at]
    tasks = [i for i in here if other[i]]
    kinds: dict[str, list[int]] = defaultdict(list)
    for i in here:
        if problem.ground.strand_of[i].kind == TUNE:
            kinds[kind_of(problem.ground.chair_of[i])].append(i)
    new_tune = board.model.new_bool_var("")
    news = []
    for indices in kinds.values():
        new = board.model.new_bool_var("")
        news.append(new)
        if any(other[i] for i in indices):
            for i in indices:
                board.model.add(board.x[i] <= problem.most[i] * (1 - new))
        else:
            board.model.add(new <= sum(board.x[i] for i in indices))
    board.model.add(new_tune <= sum(news))
    same: dict[tuple[str, str, int], list[int]] = defaultdict(list)
    for i in here:
        one = problem.candidates[i]
        same[one.strand, kind_of(problem.ground.chair_of[i]), one.octave].append(i)
    before = {key: sum(other[i] for i in indices) for key, indices in same.items()}
    count = sum(before.values())
    dropped = sum(before[key] - sum(board.x[i] for i in indices) for key, indices in same.items() if before[key])
    if tasks:
        most = sum(problem.most[i] for indices in same.values() for i in indices)
        board.model.add(2 * dropped + 2 * most * new_tune >= count)
    else:
        board.model.add(sum(board.x[i] for i in here) >= 1)
