"""Players who can stand in for each other: the planner counts them, and who of them plays is settled afterwards.

Four horns are four times one horn as long as nobody asks for the third by name. A plan then says how many of them have
a strand, which is far less to search; :func:`seated` gives the tasks to persons, so that as few as may be change.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from deskproof.scoring.board import Problem, Sum, lone_worker, other_kinds, solver
from deskproof.scoring.candidates import Candidate
from deskproof.scoring.model_rules import DEEP, Ground, Row, rows_of
from deskproof.scoring.wishes import Wishes


@dataclass(frozen=True)
class Alike:
    """The problem with each group of players as one, and the way back.

    ``of`` names for the first seat of a group all its seats, in score order; ``members`` gives for each candidate that
    is counted those of the whole that it stands for.
    """

    whole: Problem
    counted: Problem
    of: Mapping[str, tuple[str, ...]]
    members: tuple[tuple[int, ...], ...]


def alike(whole: Problem) -> Alike:
    """Count players as one who have the same instrument, the same candidates and the same wishes."""
    ground = whole.ground
    of = _groups(whole)
    first = {seat: seats[0] for seats in of.values() for seat in seats}
    rank = {seat: k for seats in of.values() for k, seat in enumerate(seats)}
    together: dict[tuple[int, str, str, str, int], list[int]] = {}
    for i, one in enumerate(ground.candidates):
        chair = ground.chair_of[i]
        key = one.passage, one.strand, first[chair.seat], chair.instrument, one.octave
        together.setdefault(key, []).append(i)
    members = sorted(sorted(own, key=lambda i: rank[ground.chair_of[i].seat]) for own in together.values())
    kept = [ground.candidates[own[0]] for own in members]
    place = {i: at for at, own in enumerate(members) for i in own}
    smaller = Ground(ground.passages, ground.hall, kept, ground.clock)
    most = [len(own) for own in members]
    rows = [_times(row, [most[i] for i, _ in row.terms]) for row in rows_of(smaller)]
    counted = Problem(smaller, rows, _wishes(whole.wishes, kept, place), whole.last, most)
    return Alike(whole, counted, of, tuple(tuple(own) for own in members))


def _groups(problem: Problem) -> dict[str, tuple[str, ...]]:
    """The seats in groups, each by its first."""
    ground, wishes = problem.ground, problem.wishes
    told: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for k, rule in enumerate(wishes.rules):
        for what, indices in (("on", rule.on), ("off", rule.off)):
            for i in indices:
                told[i].append((what, k))
    for k, ask in enumerate(wishes.asks):
        for i in ask.any_of:
            told[i].append(("ask", k))
    own: dict[str, list[object]] = defaultdict(list)
    for i, one in enumerate(ground.candidates):
        own[ground.chair_of[i].seat].append(
            (one.passage, one.strand, one.octave, one.cost, one.strength, one.attack, tuple(told[i]))
        )
    found: dict[object, list[str]] = {}
    for seat in ground.hall.seats:
        alone = seat.section or len(seat.plays) > 1
        key = seat.name if alone else (seat.plays, tuple(sorted(own[seat.name], key=repr)))
        found.setdefault(key, []).append(seat.name)
    return {names[0]: tuple(names) for names in found.values()}


def _times(row: Row, most: Sequence[int]) -> Row:
    """A rule of one player for as many as there are. A deep bass asks for one other, however many it is."""
    if row.rule != DEEP:
        return row._replace(limit=row.limit * max(most))
    return row._replace(terms=tuple((i, number if number > 0 else number * max(most)) for i, number in row.terms))


def _wishes(wishes: Wishes, kept: Sequence[Candidate], place: Mapping[int, int]) -> Wishes:
    def moved(indices: Sequence[int]) -> tuple[int, ...]:
        return tuple(dict.fromkeys(place[i] for i in indices))

    return Wishes(
        tuple(kept),
        tuple(rule._replace(on=moved(rule.on), off=moved(rule.off)) for rule in wishes.rules),
        tuple(ask._replace(any_of=moved(ask.any_of)) for ask in wishes.asks),
        wishes.omitted,
    )


def seated(
    groups: Alike, values: Sequence[int], around: Sequence[int] | None = None, only: int | None = None
) -> tuple[list[int], frozenset[str]]:
    """The values of all candidates: persons on the tasks that the plan counts; and the seats for whom it cannot be.

    As few as may be begin, end or take another kind of strand; then who played it in the last plan goes on; then the
    first is asked before the second.

    Parameters
    ----------
    around : sequence of int, optional
        The values of another plan, whose persons stay where they are as far as may be.
    only : int, optional
        The one passage that is asked for; the others are left empty.
    """
    asked = [value if only in (None, groups.counted.candidates[at].passage) else 0 for at, value in enumerate(values)]
    ground = groups.whole.ground
    found = [0] * len(groups.whole.candidates)
    wrong: set[str] = set()
    for first, seats in groups.of.items():
        own = [at for at, members in enumerate(groups.members) if ground.chair_of[members[0]].seat == first]
        if len(seats) == 1:
            for at in own:
                found[groups.members[at][0]] = asked[at]
        elif not _seat_group(groups, asked, own, seats, around, found):
            wrong.update(seats)
    return found, frozenset(wrong)


def _seat_group(
    groups: Alike, values: Sequence[int], own: Sequence[int], seats: Sequence[str], around: Sequence[int] | None,
    found: list[int],
) -> bool:  # fmt: skip
    """Give the tasks of one group to its players; False if their rules do not let them."""
    whole = groups.whole
    ground = whole.ground
    played = [k for k in own if values[k]]
    cp = solver()
    model = cp.CpModel()
    x = {i: model.new_bool_var("") for k in played for i in groups.members[k]}
    for k in played:
        model.add(sum(x[i] for i in groups.members[k]) == values[k])
    for row in _rows_of(whole, frozenset(seats)):
        terms = [number * x[i] for i, number in row.terms if i in x]
        if terms:
            model.add(sum(terms) <= row.limit)
    price = len(whole.candidates) * (len(seats) + 2)
    goal = []
    for rank, seat in enumerate(seats):
        goal += [rank * x[i] for i in x if ground.chair_of[i].seat == seat]
        goal += [price * len(ground.passages) * one for one in _changes(model, whole, x, seat)]
    for i in x:
        one = whole.candidates[i]
        if whole.last and (one.passage, one.strand, one.chair, one.octave) in whole.last:
            goal.append(-len(seats) * x[i])
        if around is not None and around[i]:
            goal.append(-2 * price * len(ground.passages) * x[i])
    model.minimize(sum(goal))
    run = lone_worker(_STEPS)
    if run.solve(model) not in (cp.OPTIMAL, cp.FEASIBLE):
        return False
    for i, one in x.items():
        found[i] = int(run.value(one))
    return True


_STEPS = 2.0
"""Steps of the solver (about seconds) for one group of players."""


def _rows_of(problem: Problem, seats: frozenset[str]) -> list[Row]:
    """The rules about some players."""
    ground = problem.ground
    return [row for row in problem.rows if all(ground.chair_of[i].seat in seats for i, _ in row.terms)]


def _changes(model: Any, problem: Problem, x: Mapping[int, Sum], seat: str) -> list[Sum]:
    """For one player a truth value at each passage that begins, ends or changes what is played."""
    kinds: list[dict[str, list[Sum]]] = [defaultdict(list) for _ in problem.ground.passages]
    for i, one in x.items():
        if problem.ground.chair_of[i].seat == seat:
            kinds[problem.candidates[i].passage][problem.ground.strand_of[i].kind].append(one)
    return [
        other_kinds(model, *({kind: sum(own) for kind, own in here.items()} for here in pair))
        for pair in pairwise(kinds) if any(pair)
    ]  # fmt: skip
