"""Which of the composer's own lines cannot be kept together, in words that name them.

Every wish gets a literal that it holds. Of those that the solver finds at odds, one after the other is left away; what
cannot be left away is the clash. The rule that it breaks, if one is broken outright, says why.
"""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.scoring.board import Problem, lone_worker, solver
from deskproof.scoring.model_rules import BREATH, CHANGE, DEEP, DIVIDED, PLAYER, STAMINA, Row
from deskproof.scoring.records import Sketch
from deskproof.scoring.wishes import FIXED, TACET, ScoringClash, Wish, bars_of, said

_WHY = {
    BREATH: "nobody blows so long without a rest to breathe in",
    STAMINA: "no lip lasts so long",
    DIVIDED: "one section cannot play both",
    DEEP: "a bass is not played an octave below alone: give it to somebody at its own octave too",
}


_ADVICE = "Change one of the lines, or take it out."


def clash_of(sketch: Sketch, problem: Problem) -> ScoringClash:
    """The clash of a problem that has no plan."""
    wishes = problem.wishes.rules
    odds = [wishes[k] for k in _least(problem, _at_odds(problem, range(len(wishes))))]
    places = sorted({wish.passage for wish in odds})
    return ScoringClash(f"{bars_of(sketch, problem.ground.passages, places)}: {_words(problem, odds)}. {_ADVICE}")


def _at_odds(problem: Problem, kept: Sequence[int]) -> list[int]:
    """Of the wishes kept, those that the solver finds it cannot hold together; none if it can."""
    cp = solver()
    model = cp.CpModel()
    x = [model.new_bool_var("") for _ in problem.candidates]
    for row in problem.rows:
        model.add(sum(number * x[i] for i, number in row.terms) <= row.limit)
    literals = {k: model.new_bool_var("") for k in kept}
    for k, literal in literals.items():
        wish = problem.wishes.rules[k]
        for value, indices in ((1, wish.on), (0, wish.off)):
            for i in indices:
                model.add(x[i] == value).only_enforce_if(literal)
    model.add_assumptions(list(literals.values()))
    run = lone_worker()
    if run.solve(model) != cp.INFEASIBLE:
        return []
    found = set(run.sufficient_assumptions_for_infeasibility())
    return [k for k in kept if literals[k].index in found] or list(kept)


def _least(problem: Problem, odds: list[int]) -> list[int]:
    """Leave away what is not needed for the clash, the last first."""
    for k in reversed(odds):
        without = [other for other in odds if other != k]
        if len(odds) > 1 and _at_odds(problem, without):
            odds = without
    return odds


def _words(problem: Problem, odds: Sequence[Wish]) -> str:
    """What is at odds, and why."""
    against = next((wish for wish in odds if not wish.on), None)
    on = {i: wish for wish in odds for i in wish.on}
    forbidden = next((i for i in on if against is not None and i in against.off), None)
    if forbidden is not None and against is not None:
        no = "has it silent" if against.what == TACET else "forbids it" if against.what != FIXED else "leaves it out"
        return f"{_name(problem, forbidden, on[forbidden])} is asked for, and line {against.where} {no}"
    row = next((row for row in problem.rows if sum(n for i, n in row.terms if i in on) > row.limit), None)
    if row is None:
        twice = [i for i in on if any(i in wish.off for wish in odds)]
        names = ", ".join(_name(problem, i, on[i]) for i in twice or on)
        return f"{names} cannot be as these lines say"
    return _broken(problem, row, {i: on[i] for i, _ in row.terms if i in on})


def _broken(problem: Problem, row: Row, on: dict[int, Wish]) -> str:
    on = dict(sorted(on.items(), key=lambda item: (item[1].where, item[0])))
    names = [_name(problem, i, wish) for i, wish in on.items()]
    chairs = {problem.candidates[i].chair for i in on}
    both = " and ".join(names)
    if row.rule in (PLAYER, DIVIDED) and len(chairs) == 1:
        strands = " and ".join(f"the {problem.candidates[i].strand}{said(wish.where)}" for i, wish in on.items())
        return f"{next(iter(chairs))} is asked for {strands} at once"
    if row.rule == PLAYER:
        return f"{both} are one player"
    if row.rule == CHANGE:
        return f"{both} are one player, and there is no time to change"
    return f"{both}: {_WHY[row.rule]}"


def _name(problem: Problem, i: int, wish: Wish) -> str:
    return f"{problem.candidates[i].chair}{said(wish.where)}"
