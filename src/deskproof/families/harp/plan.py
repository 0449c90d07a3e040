"""The whole pedalling of a passage: strings, setting, changes in time, and what is proven of them."""

from __future__ import annotations

import heapq
from bisect import bisect_left
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count
from math import lcm
from typing import NamedTuple

from deskproof.families.harp.labels import fewest_changes
from deskproof.families.harp.model import FEET, LETTERS, POSITIONS, HarpNote, Onset, Settings, String, choices
from deskproof.families.harp.passage import CHANGE, DEVIATION, NoPlanError, Passage, Way, hold_us
from deskproof.families.harp.place import Job, Placed, place
from deskproof.families.harp.tight import Feet, Need, Stretch, Tight, least_of, spread

NAMES = (
    "impossible",
    "let_go_early",
    "quick_changes",
    "changes",
    "buzzes",
    "breaks_ten_percent_faster",
    "spare_time",
    "spelling",
    "sharps",
    "imbalance",
)
MOST_TRIES = 2_000  # plans of a passage with repeats; beyond, the best so far with an honest bound
MOST_STEPS = 25_000  # onsets planned for them altogether
PROVEN_NAMES = NAMES[:4]


class Joint(NamedTuple):
    """Two moments that are one printed place: the setting is the same at both.

    ``from_us`` is the first, ``to_us`` the second; all letters used between them stand still and equal there.
    """

    from_us: int
    to_us: int


class Figure(NamedTuple):
    """One component of the objective; ``at_least`` is a proven lower bound, given all components before it."""

    name: str
    value: int
    at_least: int


class PlannedNote(NamedTuple):
    """A note on its string. ``pedal`` is false where the string has none; ``ends`` is written, damped or early."""

    string: String
    position: int
    pedal: bool
    hold_us: int
    ends: str


class Change(NamedTuple):
    """One movement of a pedal.

    ``spare_us`` is how much longer it could take with the others where they are; ``faster`` the factor by which the
    music could go faster before it no longer fits, the other changes moving with it.
    """

    t_us: int
    dur_us: int
    pedal: str
    before: int
    after: int
    foot: str
    spare_us: int
    faster: float


class Unplanned(NamedTuple):
    """A note left out: its onset and its ordinal there; None for what the onset demands beside its notes."""

    onset: int
    note: int | None


@dataclass(frozen=True, slots=True)
class PedalPlan:
    """How the passage is pedalled. ``notes`` are by onset and note; None where the note is left out.

    ``faster`` is the factor by which the whole may go faster with the changes as they are, None without changes;
    ``stretches`` are the onsets where comfortable times or full lengths do not go. ``proven``: no plan is better up
    to the number of changes.
    """

    initial: Mapping[str, int]
    notes: tuple[tuple[PlannedNote | None, ...], ...]
    changes: tuple[Change, ...]
    unplanned: tuple[Unplanned, ...]
    objective: tuple[Figure, ...]
    proven: bool
    faster: float | None
    stretches: tuple[Stretch, ...]

    def __getitem__(self, name: str) -> Figure:
        return next(figure for figure in self.objective if figure.name == name)


def plan_pedals(
    onsets: Sequence[Onset],
    settings: Settings,
    damps: Iterable[tuple[int, str]] = (),
    joints: Sequence[Joint] = (),
    beats: Sequence[int] | None = None,
) -> PedalPlan:
    """Plan all pedals of a passage, exactly where that can be finished.

    Parameters
    ----------
    onsets : sequence of Onset
        In order of time, each time once, repeats played out.
    damps : iterable of (time in microseconds, letters)
        Damping signs that end the hold of these letters.
    joints : sequence of Joint
        Where a repeat or jump comes back to.
    beats : sequence of int, optional
        Times at which a change is best printed; the onsets unless given.

    Raises
    ------
    ValueError
        If the onsets are not in order.
    """
    times = [onset.t_us for onset in onsets]
    if any(a >= b for a, b in zip(times, times[1:], strict=False)):
        raise ValueError("the onsets must be in order of time, each time once")
    signs: dict[str, list[int]] = {}
    for t_us, letters in sorted(damps):
        for letter in letters:
            signs.setdefault(letter, []).append(t_us)
    task = _Task(tuple(onsets), settings, signs, tuple(joints))
    best = task.solve()
    return _finished(task, best, beats if beats is not None else times)


class _Terms(NamedTuple):
    """What is settled of a passage with repeats.

    ``forced`` are strings by key (None: left out at every pass), ``kept`` the keys that must not be left out,
    ``standing`` the position by joint and letter, or None where the letter is not used between the two moments.
    """

    forced: Mapping[Hashable, String | None]
    kept: frozenset[Hashable]
    standing: Mapping[tuple[int, str], int | None]


class _Solved(NamedTuple):
    """A plan under some terms: what it costs, what it costs at least, the way of every onset."""

    cost: tuple[int, int, int, int]  # left out (in shares), let go, quick, changes with deviations and sharps
    least: tuple[int, int, int, int]
    terms: _Terms
    ways: tuple[Way, ...]  # of the real onsets
    rows: tuple[tuple[Onset, Way, bool], ...]  # of all, with those that only hold the setting; whether real
    stretches: tuple[Stretch, ...]
    proven: bool


class _Task:
    def __init__(
        self, onsets: tuple[Onset, ...], settings: Settings, damps: Mapping[str, Sequence[int]], joints: tuple[Joint, ...]
    ) -> None:
        self.onsets, self.settings, self.damps, self.joints = onsets, settings, damps, joints
        passes: dict[Hashable, int] = {}
        for onset in onsets:
            for note in onset.notes:
                if note.key is not None:
                    passes[note.key] = passes.get(note.key, 0) + 1
        self.tied = {key for key, times in passes.items() if times > 1}
        shares = [max((passes.get(note.key, 1) for note in onset.notes), default=1) for onset in onsets]
        self.unit = lcm(*shares) if shares else 1
        self.weights = [self.unit // share for share in shares]
        self.times = [onset.t_us for onset in onsets]
        self.tries = self.steps = 0
        self.feet: dict[tuple[int, int], tuple[Feet, Feet]] = {}

    def _feet(self, settings: Settings) -> tuple[Feet, Feet]:
        """Both feet at the usual times, and with every change at the quickest; they remember what they have tried."""
        key = (settings.comfortable_us, settings.quickest_us)
        if key not in self.feet:
            self.feet[key] = (Feet.at(*key), Feet.at(key[1], key[1]))
        return self.feet[key]

    # -- one plan --------------------------------------------------------------------------------------------------

    def plan(self, terms: _Terms, limit: _Solved | None = None, factor: float = 1.0) -> _Solved | None:
        """The best plan under some terms; None if there is none, or if it takes more than ``limit``.

        ``factor`` makes every change take longer.
        """
        self.tries, self.steps = self.tries + 1, self.steps + len(self.onsets)
        rows, unused = self._rows(terms)
        settings = self.settings
        if factor != 1.0:
            settings = replace(
                settings,
                comfortable_us=round(settings.comfortable_us * factor),
                quickest_us=round(settings.quickest_us * factor),
            )
        passage = Passage(
            [onset for onset, _, _ in rows],
            settings,
            self.damps,
            terms.forced,
            {i: unused[k] for i, (_, k, _) in enumerate(rows) if k >= 0 and k in unused},
            [self.weights[k] if k >= 0 else 1 for _, k, _ in rows],
            frozenset(i for i, (_, k, _) in enumerate(rows) if k < 0),
            terms.kept,
        )
        try:
            gone = sum(passage.least(i) * passage.weights[i] for i in range(len(passage)))
            most = None if limit is None else Need(limit.cost[0] - gone, *limit.cost[1:3])
            tight = Tight(passage, self._feet(settings), most)
            stretches = tight.find()
        except NoPlanError:
            return None
        found = fewest_changes(passage, stretches, tight.feet, tight.plan())
        need, least = spread(stretches), least_of(stretches)
        ways = found.ways
        proven = passage.complete and need == least and found.proven
        return _Solved(
            (need.dropped + gone, need.early, need.quick, found.cost),
            (least.dropped + gone, least.early, least.quick, found.at_least * CHANGE),
            terms,
            tuple(way for way, (_, k, _) in zip(ways, rows, strict=True) if k >= 0),
            tuple((onset, way, k >= 0) for way, (onset, k, _) in zip(ways, rows, strict=True)),
            _by_onset(stretches, [k for _, k, _ in rows]),
            proven,
        )

    def _rows(self, terms: _Terms) -> tuple[list[tuple[Onset, int, bool]], dict[int, frozenset[str]]]:
        """The onsets with those that only hold the setting put in: (onset, its ordinal or -1, whether real)."""
        extra: dict[int, list[tuple[str, int, int]]] = {}
        unused: dict[int, set[str]] = {}
        for (joint, letter), position in terms.standing.items():
            one = self.joints[joint]
            if position is None:
                for k in self._between(one):
                    unused.setdefault(k, set()).add(letter)
            else:
                for t_us in (one.from_us, one.to_us):
                    extra.setdefault(t_us, []).append((letter, position, 0))
        rows = [(onset, k, True) for k, onset in enumerate(self.onsets)]
        rows.extend((Onset(t_us, (), None, False, tuple(demands)), -1, False) for t_us, demands in extra.items())
        initial = self.settings.initial
        if initial is not None:
            start = min([self.settings.start_us, *self.times[:1]])
            demands = tuple((letter, initial[letter], 0) for letter in LETTERS if letter in initial)
            rows.append((Onset(start, (), None, False, demands), -2, False))
        rows.sort(key=lambda row: (row[0].t_us, row[1]))
        return rows, {k: frozenset(letters) for k, letters in unused.items()}

    def _between(self, joint: Joint) -> range:
        return range(bisect_left(self.times, joint.from_us), bisect_left(self.times, joint.to_us))

    # -- repeats ---------------------------------------------------------------------------------------------------

    def solve(self) -> _Solved:
        """The best plan in which printed notes keep their strings and joints agree: branch and bound, best first."""
        root = self.plan(_Terms({}, frozenset(), {}))
        if root is None:
            raise ValueError("the initial setting contradicts itself")
        order = count()
        heap = [(_known(root.cost), 0, next(order), root)]
        best: _Solved | None = None
        self.tries, self.steps = 0, 0
        while heap:
            known, _, _, node = heapq.heappop(heap)
            if best is not None and known >= _known(best.cost):
                heap = []
                break
            loose = self._loose(node)
            if not loose:
                best = node
                heap = []
                break
            for found in self._dives(node, best):
                if best is None or found.cost < best.cost:
                    best = found
                if _known(best.cost) <= known:
                    break
            assert best is not None
            if _known(best.cost) <= known:
                heap = []
                break
            if self.tries > MOST_TRIES or self.steps > MOST_STEPS:
                heapq.heappush(heap, (known, 0, next(order), node))
                break
            for terms in self._children(node, loose[0]):
                child = self.plan(terms, best)
                if child is not None and _known(child.cost) < _known(best.cost):
                    lower = max(_known(child.cost), known)
                    heapq.heappush(heap, (lower, len(self._loose(child)), next(order), child))
        assert best is not None
        least = min([_known(best.cost), *(row[0] for row in heap)])
        exact = best.proven and root.proven
        if exact and least == _known(best.cost):
            return best._replace(least=(*least[:3], least[3] * CHANGE))
        return best._replace(least=(*least[:3], least[3] * CHANGE) if exact else root.least, proven=False)

    def _loose(self, node: _Solved) -> list[tuple[str, Hashable]]:
        """What is not settled yet: printed notes with different strings, letters whose joint is open."""
        soon: list[tuple[str, Hashable]] = []
        late: list[tuple[str, Hashable]] = []
        for k, joint in enumerate(self.joints):
            for letter, positions in self._used(node, joint).items():
                if (k, letter) not in node.terms.standing:
                    (soon if positions[0] != positions[-1] else late).append(("joint", (k, letter)))
        keys = [("key", key) for key, strings in self._strings(node).items() if len(strings) > 1]
        return [*soon, *keys, *late]

    def _strings(self, node: _Solved) -> dict[Hashable, set[String | None]]:
        """The strings that each repeated note has, None where it is left out."""
        found: dict[Hashable, set[String | None]] = {}
        for onset, way in zip(self.onsets, node.ways, strict=True):
            for note, choice in zip(onset.notes, way.picks, strict=True):
                if note.key in self.tied:
                    found.setdefault(note.key, set()).add(choice.string if choice is not None else None)
        return found

    def _used(self, node: _Solved, joint: Joint) -> dict[str, list[int]]:
        """The letters used between the two moments, with their positions in order."""
        found: dict[str, list[int]] = {}
        for k in self._between(joint):
            for choice in node.ways[k].picks:
                if choice is not None and choice.pedal:
                    found.setdefault(choice.string.letter, []).append(choice.position)
            for letter, position, _ in self.onsets[k].demands:
                found.setdefault(letter, []).append(position)
        return found

    def _dives(self, node: _Solved, best: _Solved | None) -> Iterable[_Solved]:
        """Plans with everything settled at once much as the plan has it, to compare with."""
        forced, kept, standing = node.terms
        for end in ("first", "last", "one") if self.joints and best is None else ("first",):
            now: _Solved | None = node
            strings: dict[Hashable, String | None] = dict(forced)
            stands = dict(standing)
            while now is not None and self._loose(now):
                for key, found in self._strings(now).items():
                    if key not in strings:
                        strings[key] = min((s for s in found if s is not None), default=None)
                    elif None in found:
                        strings[key] = None
                for k, joint in enumerate(self.joints):
                    for letter, positions in self._used(now, joint).items():
                        stands.setdefault((k, letter), self._stand(k, letter, positions, end))
                now = self.plan(_Terms(strings, kept, stands), best)
            if now is not None:
                yield now
                best = now if best is None or now.cost < best.cost else best

    def _stand(self, k: int, letter: str, positions: Sequence[int], end: str) -> int:
        """A position for a letter at a joint: of its first or last use, or one for the whole passage."""
        if end != "one":
            return positions[0 if end == "first" else -1]
        return (self.settings.initial or {}).get(letter, 0)

    def _children(self, node: _Solved, loose: tuple[str, Hashable]) -> Iterable[_Terms]:
        forced, kept, standing = node.terms
        kind, what = loose
        if kind == "key":
            pitch = next(note.pitch for onset in self.onsets for note in onset.notes if note.key == what)
            for choice in choices(pitch, self.settings.fixed):
                yield _Terms({**forced, what: choice.string}, kept | {what}, standing)
            yield _Terms({**forced, what: None}, kept, standing)
        else:
            assert isinstance(what, tuple)
            for position in (*POSITIONS, None):
                yield _Terms(forced, kept, {**standing, what: position})


def _known(cost: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    """The part of a cost that is proven: the changes without deviations and sharps."""
    return (*cost[:3], cost[3] // CHANGE)


def _by_onset(stretches: Sequence[Stretch], ordinals: Sequence[int]) -> tuple[Stretch, ...]:
    """The stretches with their ends as ordinals of the real onsets."""
    found = []
    for one in stretches:
        inside = [k for k in ordinals[one.first : one.last + 1] if k >= 0]
        if inside:
            found.append(replace(one, first=inside[0], last=inside[-1]))
    return tuple(found)


# -- the finished plan ---------------------------------------------------------------------------------------------


def _finished(task: _Task, solved: _Solved, beats: Sequence[int]) -> PedalPlan:
    settings = task.settings
    jobs, initial = _jobs(task, solved)
    changes: list[Change] = []
    for foot, name in zip(FEET, ("left", "right"), strict=True):
        mine = [job for job in jobs if job.letter in foot]
        placed = place(mine, settings.comfortable_us, settings.quickest_us, beats)
        assert placed is not None, "the search allowed what one foot cannot do"
        changes.extend(_change(row, name) for row in placed)
    changes.sort(key=lambda c: (c.t_us, LETTERS.index(c.pedal)))
    notes, unplanned = _notes(task, solved, changes)
    return PedalPlan(
        initial,
        notes,
        tuple(changes),
        unplanned,
        _objective(task, solved, changes, notes),
        solved.proven and solved.cost[:3] == solved.least[:3] and solved.cost[3] // CHANGE == solved.least[3] // CHANGE,
        min((change.faster for change in changes), default=None),
        solved.stretches,
    )


def _change(row: Placed, foot: str) -> Change:
    job = row.job
    return Change(row.start, row.length, job.letter, job.before, job.after, foot, row.spare, row.faster)


def _jobs(task: _Task, solved: _Solved) -> tuple[list[Job], dict[str, int]]:
    """The changes that the strings ask for, and the setting before the first onset."""
    stands: dict[str, int] = {}
    held: dict[str, int] = {}
    initial: dict[str, int] = {}
    jobs: list[Job] = []
    for onset, way, _ in solved.rows:
        now: dict[str, tuple[int, int]] = {}
        for note, choice in zip(onset.notes, way.picks, strict=True):
            if choice is not None and choice.pedal:
                letter = choice.string.letter
                hold = 0 if note.written_us in way.let_go else hold_us(onset, note, letter, task.damps)
                now[letter] = (choice.position, max(hold, now.get(letter, (0, 0))[1]))
        if not way.unset:
            for letter, position, hold in onset.demands:
                now[letter] = (position, max(hold, now.get(letter, (0, 0))[1]))
        for letter, (position, hold) in now.items():
            if letter not in stands:
                initial[letter] = position
            elif stands[letter] != position:
                jobs.append(Job(letter, stands[letter], position, held[letter], onset.t_us))
            stands[letter] = position
            held[letter] = max(held.get(letter, 0), onset.t_us + hold)
    return jobs, {letter: initial.get(letter, 0) for letter in LETTERS}


def _notes(
    task: _Task, solved: _Solved, changes: Sequence[Change]
) -> tuple[tuple[tuple[PlannedNote | None, ...], ...], tuple[Unplanned, ...]]:
    starts: dict[str, list[int]] = {}
    for change in changes:
        starts.setdefault(change.pedal, []).append(change.t_us)
    found, unplanned = [], []
    for i, (onset, way) in enumerate(zip(task.onsets, solved.ways, strict=True)):
        until: dict[int, int] = {}  # by written length, of the events let go
        for note, choice in zip(onset.notes, way.picks, strict=True):
            if choice is None or note.written_us not in way.let_go:
                continue
            hold = hold_us(onset, note, choice.string.letter, task.damps)
            if choice.pedal:
                moves = starts.get(choice.string.letter, [])
                at = bisect_left(moves, onset.t_us)
                if at < len(moves):
                    hold = min(hold, moves[at] - onset.t_us)
            until[note.written_us] = min(hold, until.get(note.written_us, hold))
        row: list[PlannedNote | None] = []
        for n, (note, choice) in enumerate(zip(onset.notes, way.picks, strict=True)):
            if choice is None:
                row.append(None)
                unplanned.append(Unplanned(i, n))
                continue
            full = hold_us(onset, note, choice.string.letter, task.damps)
            hold = min(full, until.get(note.written_us, full))
            ends = "early" if hold < full else "damped" if full < note.written_us else "written"
            row.append(PlannedNote(choice.string, choice.position, choice.pedal, hold, ends))
        if way.unset:
            unplanned.append(Unplanned(i, None))
        found.append(tuple(row))
    return tuple(found), tuple(unplanned)


def _objective(
    task: _Task,
    solved: _Solved,
    changes: Sequence[Change],
    notes: Sequence[Sequence[PlannedNote | None]],
) -> tuple[Figure, ...]:
    cost, least = solved.cost, solved.least
    settled = True
    figures = []
    gone = [(-(-value // task.unit)) for value in (cost[0], least[0])]
    rows = [gone, [cost[1], least[1]], [cost[2], least[2]], [cost[3] // CHANGE, least[3] // CHANGE]]
    for name, (value, bound) in zip(PROVEN_NAMES, rows, strict=True):
        bound = min(value, bound) if settled else 0
        figures.append(Figure(name, value, bound))
        settled = settled and bound == value
    fragile = sum(change.faster < task.settings.margin for change in changes)
    short = max([0, *(task.settings.spare_us - change.spare_us for change in changes)])
    left = sum(change.foot == "left" for change in changes)
    rest = cost[3] % CHANGE
    values = (0, fragile, short, rest // DEVIATION, rest % DEVIATION, abs(len(changes) - 2 * left))
    figures.extend(Figure(name, value, 0) for name, value in zip(NAMES[4:], values, strict=True))
    return tuple(figures)
