"""A plan as a sum of whole numbers for a solver: the rules that hold, and what each passage costs.

A board holds for each candidate how many play of those that it stands for, mostly one; where that is given, it is no
question any more, and only what touches an open passage is written down. Every cost is a fact of ``scoring.toml``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from deskproof import facts
from deskproof.errors import DeskproofError
from deskproof.scoring.candidates import Candidate
from deskproof.scoring.model_rules import Ground, Row, many
from deskproof.scoring.records import BASS, TUNE, Passage, Strand
from deskproof.scoring.strength import ATTACKS, FF, UNIT, kind_of, level_of
from deskproof.scoring.wishes import Wishes

Sum = Any
"""A whole number, or a sum of the solver's variables."""
_RELAXED = 2
"""How much of the model the solver also sees as fractions: all of it. With less, proofs take many times as long."""
_SEARCH = "reduced_costs"
"""The solver's manner of search. Alone it proves plans in less time than eight workers on two cores together."""


class Problem:
    """All that a plan is made from: what the rules look at, the rows they are, the wishes, and last time's plan.

    ``last`` holds who played: passage, strand, chair, octave. The candidates are numbered by strand, by chair and by
    passage (``strand``, ``chairs``, ``here``), the rows by passage; ``players`` is how many have a candidate in each.
    ``most`` says how many players a candidate stands for, all of them alike: as many may be chosen.
    """

    def __init__(
        self,
        ground: Ground,
        rows: Sequence[Row],
        wishes: Wishes,
        last: frozenset[tuple[int, str, str, int]] | None = None,
        most: Sequence[int] | None = None,
    ) -> None:
        self.ground, self.rows, self.wishes, self.last = ground, rows, wishes, last
        self.candidates: Sequence[Candidate] = ground.candidates
        self.most: Sequence[int] = most if most is not None else [1] * len(ground.candidates)
        count = range(len(ground.passages))
        self.strand: dict[tuple[int, str], list[int]] = {
            (at, one.id): [] for at in count for one in ground.passages[at].strands
        }
        self.chairs: list[dict[str, list[int]]] = [{} for _ in count]
        self.here: list[list[int]] = [[] for _ in count]
        seats: list[dict[str, int]] = [{} for _ in count]
        for i, one in enumerate(ground.candidates):
            self.strand[one.passage, one.strand].append(i)
            self.chairs[one.passage].setdefault(one.chair, []).append(i)
            self.here[one.passage].append(i)
            seats[one.passage][ground.chair_of[i].seat] = self.most[i]
        self.players = [sum(row.values()) for row in seats]
        self.rows_at: list[list[int]] = [[] for _ in count]
        for r, row in enumerate(rows):
            for at in {ground.candidates[i].passage for i, _ in row.terms}:
                self.rows_at[at].append(r)
        families = facts.get("scoring.fresh_families").value
        self.fresh = frozenset(chair.name for chair in ground.hall.chairs if chair.family in families)


def solver() -> Any:
    """The solver's module.

    Raises
    ------
    DeskproofError
        If it is not installed.
    """
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        raise DeskproofError(
            'planning a scoring needs a solver that is not installed; install it with: pip install "deskproof[plan]"'
        ) from None
    return cp_model


def lone_worker(steps: float | None = None) -> Any:
    """A solver with one worker, which always ends alike after so many steps; Ctrl-C stays with who started it."""
    run = solver().CpSolver()
    run.parameters.catch_sigint_signal = False
    run.parameters.num_workers = 1
    if steps is not None:
        run.parameters.max_deterministic_time = steps
    return run


def other_kinds(model: Any, before: Mapping[str, Sum], after: Mapping[str, Sum]) -> Sum:
    """Whether a chair has other kinds of strand than before, as a truth value that only costs."""
    change = model.new_bool_var("")
    for kind in {**before, **after}:
        one, other = before.get(kind, 0), after.get(kind, 0)
        model.add(change >= one - other)
        model.add(change >= other - one)
    return change


class Board:
    """The candidates as variables, the rules that hold, and the sum of what the open passages cost.

    ``given`` are the values of the candidates in passages that are not open; without ``open_`` all are open. ``costs``
    are the sums by passage; a change of task counts for the passage it leads into, so that a board of one open passage
    has those of the next one too.
    """

    def __init__(self, problem: Problem, open_: Iterable[int] | None = None, given: Sequence[int] = ()) -> None:
        self.problem, self.ground = problem, problem.ground
        self.model = solver().CpModel()
        self.open = frozenset(range(len(self.ground.passages))) if open_ is None else frozenset(open_)
        self._first: dict[int, Sum] = {}
        self.x: list[Sum] = [
            self._count_of(i) if one.passage in self.open else given[i] for i, one in enumerate(problem.candidates)
        ]
        self.costs: list[Sum] = [0] * len(self.ground.passages)
        self._kinds_of: dict[tuple[int, str], dict[str, Sum]] = {}
        self._working: dict[tuple[int, str], Sum] = {}
        self._rules()
        self._wishes()
        for at in sorted(self.open):
            self._passage(at)
        self.played = self._played()
        self._changes()
        self._climax()

    def run(self, steps: float, seconds: float | None = None, seen: Callable[[], None] | None = None) -> Any:
        """Solve and give the solver back, its outcome as ``status``; ``seen`` is called at each plan that it finds.

        One worker and so many steps always end alike; ``seconds`` stops it on a machine that is far too slow for that.
        """
        run = lone_worker(steps)
        run.parameters.subsolvers.append(_SEARCH)
        run.parameters.linearization_level = _RELAXED
        if seconds is not None:
            run.parameters.max_time_in_seconds = seconds
        watch = None
        if seen is not None:
            watch = solver().CpSolverSolutionCallback()
            watch.on_solution_callback = seen
        run.status = run.solve(self.model, watch)
        return run

    def values(self, run: Any) -> list[int]:
        """The value of every candidate in a run that found a plan."""
        return [x if isinstance(x, int) else int(run.value(x)) for x in self.x]

    def _count_of(self, i: int) -> Sum:
        """How many play of those that a candidate stands for: a truth value for each, the first before the second."""
        each = [self.model.new_bool_var("") for _ in range(self.problem.most[i])]
        for one, other in pairwise(each):
            self.model.add_implication(other, one)
        self._first[i] = each[0]
        return sum(each)

    def _rules(self) -> None:
        for r in sorted({r for at in self.open for r in self.problem.rows_at[at]}):
            row = self.problem.rows[r]
            self.model.add(sum(number * self.x[i] for i, number in row.terms) <= row.limit)

    def _wishes(self) -> None:
        for wish in self.problem.wishes.rules:
            if wish.passage in self.open:
                for i in wish.on:
                    self.model.add(self.x[i] == self.problem.most[i])
                for i in wish.off:
                    self.model.add(self.x[i] == 0)
        for ask in self.problem.wishes.asks:
            if ask.passage in self.open:
                unmet = self.model.new_bool_var("")
                self.model.add(unmet + sum(self.x[i] for i in ask.any_of) >= 1)
                self._pay(ask.passage, ask.cost * unmet)

    def _pay(self, at: int, amount: Sum) -> None:
        self.costs[at] = self.costs[at] + amount

    def _over(self, amount: Sum, most: int) -> Sum:
        """How far a sum is above zero; ``most`` is the highest that it can come to."""
        if isinstance(amount, int):
            return max(0, amount)
        over = self.model.new_int_var(0, max(0, most), "")
        self.model.add(over >= amount)
        return over

    # What a passage costs in itself.

    def _passage(self, at: int) -> None:
        passage = self.ground.passages[at]
        strengths = self._strengths(at)
        for strand in passage.strands:
            indices = self.problem.strand[at, strand.id]
            self._pay(at, sum(self.problem.candidates[i].cost * self.x[i] for i in indices))
            if (at, strand.id) in self.problem.wishes.omitted:
                continue
            self._left_out(at, strand)
            if indices:
                self._window(at, strand, strengths[strand.id])
                self._colours(at, strand)
        self._margin(at, strengths)
        self._divided(at)

    def _left_out(self, at: int, strand: Strand) -> None:
        """Somebody carries a strand, or it is left out and paid for."""
        price = left_out_cost(strand)
        carriers = carriers_of(self.ground, self.problem.strand[at, strand.id])
        if not carriers:
            self._pay(at, price)
            return
        left = self.model.new_bool_var("")
        self.model.add(left + sum(self.x[i] for i in carriers) >= 1)
        self._pay(at, price * left)

    def _strengths(self, at: int) -> dict[str, Sum]:
        """How strong each strand is; a divided section counts for half on each."""
        found: dict[str, Sum] = {strand.id: 0 for strand in self.ground.passages[at].strands}
        for name, indices in self.problem.chairs[at].items():
            extra = self._extra(at, name)
            for i in indices:
                one, full = self.problem.candidates[i], counts_for(self.ground, i)
                amount = full * self.x[i]
                if self.ground.chair_of[i].section and not isinstance(extra, int):
                    half = self.model.new_bool_var("")
                    self.model.add(half >= self.x[i] + extra - 1)
                    self.model.add(half <= self.x[i])
                    self.model.add(half <= extra)
                    amount = amount - (full - full // 2) * half
                found[one.strand] = found[one.strand] + amount
        return found

    def _window(self, at: int, strand: Strand, strength: Sum) -> None:
        low, high = window_of(self.ground.passages[at], strand)
        price = int(facts.get("scoring.strength_cost").value) // UNIT
        most = self._all(at, strand)
        short = self._over(low - strength, low)
        over = self._over(strength - high, most - high)
        self._pay(at, price * short + price * over)

    def _margin(self, at: int, strengths: Mapping[str, Sum]) -> None:
        """No strand outweighs the tune."""
        passage = self.ground.passages[at]
        tunes = [strand.id for strand in passage.strands if strand.kind == TUNE]
        if not any(self.problem.strand[at, name] for name in tunes):
            return
        tune = sum(strengths[name] for name in tunes)
        price = int(facts.get("scoring.margin_cost").value) // UNIT
        for strand in passage.strands:
            if strand.kind != TUNE and self.problem.strand[at, strand.id]:
                over = self._over(strengths[strand.id] - tune, self._all(at, strand))
                self._pay(at, price * over)

    def _all(self, at: int, strand: Strand) -> int:
        """How strong a strand is if everybody plays it who can."""
        own = self.problem.strand[at, strand.id]
        return sum(counts_for(self.ground, i) * self.problem.most[i] for i in own)

    def _colours(self, at: int, strand: Strand) -> None:
        """Kinds of instrument on a strand."""
        kinds = self._by_kind(self.problem.strand[at, strand.id])
        heard = sum(self._any(indices) for indices in kinds.values())
        most = colours_of(self.ground.passages[at], strand)
        over = self._over(heard - most, len(kinds) - most)
        self._pay(at, int(facts.get("scoring.colour_cost").value) * over)

    def _by_kind(self, indices: Iterable[int]) -> dict[str, list[int]]:
        """Candidates by their kind of instrument."""
        kinds: dict[str, list[int]] = defaultdict(list)
        for i in indices:
            kinds[kind_of(self.ground.chair_of[i])].append(i)
        return kinds

    def _any(self, indices: Sequence[int]) -> Sum:
        """Whether any of some candidates plays; where it is not, the solver may still say so, for it only costs."""
        if len(indices) == 1:
            return self._one(indices[0])
        if isinstance(self.x[indices[0]], int):
            return min(1, max(self.x[i] for i in indices))
        found = self.model.new_bool_var("")
        for i in indices:
            self.model.add(found >= self._one(i))
        return found

    def _one(self, i: int) -> Sum:
        """Whether at least one plays of those that a candidate stands for."""
        return min(1, self.x[i]) if isinstance(self.x[i], int) else self._first[i]

    def _divided(self, at: int) -> None:
        price = int(facts.get("scoring.divided_cost").value)
        self._pay(at, price * sum(self._extra(at, name) for name in self.problem.chairs[at]))

    def _extra(self, at: int, name: str) -> Sum:
        """Tasks of a chair beyond the first."""
        indices = self.problem.chairs[at][name]
        if len(indices) < 2 or not many(self.ground.chair_of[indices[0]]):
            return 0
        return sum(self.x[i] for i in indices) - self._at_work(at, name)

    # Who plays what kind of strand, and what lies between passages.

    def _at_work(self, at: int, name: str) -> Sum:
        """Whether a chair plays in a passage; how many do of those that it stands for."""
        kinds = list(self._kinds(at, name).values())
        if len(kinds) < 2 or not self._is_section(at, name):
            return sum(kinds)
        if all(isinstance(kind, int) for kind in kinds):
            return max(kinds)
        key = at, name
        if key not in self._working:
            found = self._working[key] = self.model.new_bool_var("")
            for kind in kinds:
                self.model.add(found >= kind)
            self.model.add(found <= sum(kinds))
        return self._working[key]

    def _is_section(self, at: int, name: str) -> bool:
        return any(self.ground.chair_of[i].section for i in self.problem.chairs[at].get(name, [])[:1])

    def _kinds(self, at: int, name: str) -> dict[str, Sum]:
        """For a chair in a passage and each kind of strand, whether the chair plays one of it."""
        key = at, name
        if key not in self._kinds_of:
            of_kind: dict[str, list[int]] = defaultdict(list)
            for i in self.problem.chairs[at].get(name, ()):
                of_kind[self.ground.strand_of[i].kind].append(i)
            self._kinds_of[key] = {kind: self._exactly(indices) for kind, indices in of_kind.items()}
            if not self._is_section(at, name):
                self.model.add(sum(self._kinds_of[key].values()) <= self._count(at, name))
        return self._kinds_of[key]

    def _count(self, at: int, name: str) -> int:
        """How many players a chair stands for."""
        return max((self.problem.most[i] for i in self.problem.chairs[at].get(name, ())), default=0)

    def _exactly(self, indices: Sequence[int]) -> Sum:
        """How many play of those that some candidates of one chair stand for; a chair alone counts once."""
        total = sum(self.x[i] for i in indices)
        if len(indices) == 1 or not many(self.ground.chair_of[indices[0]]):
            return total
        if isinstance(total, int):
            return min(1, total)
        found = self.model.new_bool_var("")
        for i in indices:
            self.model.add(found >= self.x[i])
        self.model.add(found <= total)
        return found

    def _played(self) -> list[Sum]:
        """How many players and sections play in each passage."""
        return [
            sum(self._at_work(at, name) for name in self.problem.chairs[at]) for at in range(len(self.ground.passages))
        ]

    def _changes(self) -> None:
        """A player who begins, ends or takes another kind of strand pays once from passage to passage."""
        price = int(facts.get("scoring.change_of_task").value)
        for at in range(1, len(self.ground.passages)):
            if not {at - 1, at} & self.open:
                continue
            for name in sorted({*self.problem.chairs[at - 1], *self.problem.chairs[at]}):
                before, after = self._kinds(at - 1, name), self._kinds(at, name)
                if self._is_section(at - 1, name) or self._is_section(at, name):
                    self._pay(at, price * other_kinds(self.model, before, after))
                    continue
                most = max(self._count(at - 1, name), self._count(at, name))
                new = [self._over(after[kind] - before.get(kind, 0), most) for kind in after]
                ended = self._over(sum(before.values()) - sum(after.values()), most)
                self._pay(at, price * (sum(new) + ended))

    def _climax(self) -> None:
        """The climax is the fullest, players are fresh for it, and a fortissimo is for everybody."""
        climax = climax_of(self.ground.passages)
        for at in range(len(self.ground.passages)):
            most = self.problem.players[at]
            if at in self.open:
                short = tutti_of(self.ground.passages[at], most) - self.played[at]
                self._pay(at, int(facts.get("scoring.tutti_cost").value) * self._over(short, most))
            if climax is not None and at != climax and {at, climax} & self.open:
                over = self._over(self.played[at] - self.played[climax], most)
                self._pay(at, int(facts.get("scoring.climax_cost").value) * over)
            if climax is not None and at == climax - 1 and at in self.open:
                kept = [name for name in self.problem.chairs[at] if name in self.problem.fresh]
                fresh = sum(self._at_work(at, name) for name in kept)
                self._pay(at, int(facts.get("scoring.fresh_cost").value) * fresh)


def carriers_of(ground: Ground, indices: Sequence[int]) -> list[int]:
    """Of the candidates of a strand, those with whom it is heard: at its own octave, by what holds; else any.

    Drums take some of its notes only: they carry nothing.
    """
    whole = [i for i in indices if ground.chair_of[i].family != "timpani"]
    holding = [i for i in whole if counts_for(ground, i)]
    here = [i for i in holding if not ground.candidates[i].octave]
    return here or holding or whole


def counts_for(ground: Ground, i: int) -> int:
    """How much a candidate counts for on its strand: its attack where that tells, else its strength."""
    one = ground.candidates[i]
    return one.attack if ground.strand_of[i].kind in ATTACKS else one.strength


def left_out_cost(strand: Strand) -> int:
    """What it costs that nobody plays a strand."""
    return int(facts.get("scoring.left_out_made" if strand.of else "scoring.left_out").value)


def window_of(passage: Passage, strand: Strand) -> tuple[int, int]:
    """How strong a strand is wanted, from and to, in quarters of a woodwind player.

    Where there are more strands than usual the least is less, for nobody can be everywhere.
    """
    low, high = facts.get("scoring.window").value[strand.kind][level_of(passage.dynamic)]
    weights = facts.get("scoring.weight").value
    times, by = weights.get(passage.weight, weights["ordinary"])
    usual = int(facts.get("scoring.usual_strands").value)
    many = max(usual, sum(not one.of for one in passage.strands))
    return UNIT * int(low) * int(times) * usual // (int(by) * many), UNIT * int(high) * int(times) // int(by)


def colours_of(passage: Passage, strand: Strand) -> int:
    """How many kinds of instrument a strand is given at most without paying for it."""
    more = int(facts.get("scoring.colours_by_weight").value.get(passage.weight, 0))
    bass = int(facts.get("scoring.bass_colours").value) if strand.kind == BASS else 0
    return max(1, int(facts.get("scoring.colours").value[level_of(passage.dynamic)]) + more) + bass


def tutti_of(passage: Passage, seats: int) -> int:
    """How many of the seats are wanted in a passage, tutti or not."""
    everybody = (level_of(passage.dynamic) == FF and passage.weight != "thin") or passage.weight == "all"
    return seats * int(facts.get("scoring.tutti").value) // 100 if everybody else 0


def climax_of(passages: Sequence[Passage]) -> int | None:
    """The passage that is the climax; None if none is."""
    return next((at for at, passage in enumerate(passages) if passage.climax), None)
