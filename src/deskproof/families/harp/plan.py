"""The whole pedalling of a passage: strings, setting, changes in time, and what is proven of them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from deskproof.families.harp.model import FEET, LETTERS, Choice, Onset, Settings, String, choices, hands_take
from deskproof.families.harp.passage import CHANGE, DEVIATION, SHARP, hold_us
from deskproof.families.harp.place import Job, Placed, place
from deskproof.families.harp.repeats import Joint, Solved, Task, Terms
from deskproof.families.harp.tight import Stretch

__all__ = ["Change", "Figure", "Joint", "PedalPlan", "PlannedNote", "Unplanned", "goes_whole", "plan_pedals"]

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


class Figure(NamedTuple):
    """One component of the objective; ``at_least`` is a proven lower bound, given all before it; None: none known."""

    name: str
    value: int
    at_least: int | None


class PlannedNote(NamedTuple):
    """A note on its string. ``pedal`` is false where the string has none; ``ends`` is written, damped or early."""

    string: String
    position: int
    pedal: bool
    hold_us: int
    ends: str

    @property
    def let_go(self) -> bool:
        """Whether it is held less than it is written or damped."""
        return self.ends == "early"


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

    def standing(self, t_us: int) -> dict[str, int]:
        """Where the pedals stand, or are on the way to, after all changes that begin before a time."""
        return {**self.initial, **{change.pedal: change.after for change in self.changes if change.t_us < t_us}}


def goes_whole(onsets: Sequence[Onset], settings: Settings, damps: Iterable[tuple[int, str]] = ()) -> bool:
    """Whether all notes of a passage can be played: whether a plan leaves none out.

    Mostly found without the plan. Raises as ``plan_pedals``.
    """
    task = _task(onsets, settings, damps, ())
    found = task.goes()
    if found is None:
        found = task.solve().cost[0] == 0
    task.close()
    return found


Rings = Callable[[int, int, String], int]


def plan_pedals(
    onsets: Sequence[Onset],
    settings: Settings,
    damps: Iterable[tuple[int, str]] = (),
    joints: Sequence[Joint] = (),
    beats: Sequence[int] | None = None,
    rings: Rings | None = None,
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
    rings : callable, optional
        Until when (in microseconds) the string of a note rings if it is not plucked again, by the ordinals of onset
        and note and the string: a change waits for silence where it has the time.

    Raises
    ------
    ValueError
        If the onsets are not in order.
    """
    task = _task(onsets, settings, damps, joints)
    places = beats if beats is not None else task.times
    found = _finished(task, task.solve(), places, rings)
    if found["breaks_ten_percent_faster"].value and not found["quick_changes"].value:
        steadier = task.steadier()
        if steadier is not None:
            other = _finished(task, steadier, places, rings)
            found = min(found, other, key=lambda plan: [figure.value for figure in plan.objective])
    task.close()
    return found


def _task(
    onsets: Sequence[Onset], settings: Settings, damps: Iterable[tuple[int, str]], joints: Sequence[Joint]
) -> Task:
    """What is to be planned; ValueError if the onsets are not in order."""
    if any(a.t_us >= b.t_us for a, b in pairwise(onsets)):
        raise ValueError("the onsets must be in order of time, each time once")
    signs: dict[str, list[int]] = {}
    for t_us, letters in sorted(damps):
        for letter in letters:
            signs.setdefault(letter, []).append(t_us)
    return Task(tuple(onsets), settings, signs, tuple(joints))


def changes_as_spelled(
    onsets: Sequence[Onset], settings: Settings, damps: Iterable[tuple[int, str]], own: PedalPlan
) -> int | None:
    """The fewest changes if every note stands on the string that its name means, repeats not minded.

    None where that leaves out more notes, lets more go or hurries more changes than the plan ``own``. Notes without
    such a name are free.
    """
    keyed: list[Onset] = []
    forced: dict[Hashable, String | None] = {}
    for i, onset in enumerate(onsets):
        for n, note in enumerate(onset.notes):
            for choice in choices(note.pitch, settings.fixed):
                if (choice.string.letter, choice.position) == note.spelled:
                    forced[i, n] = choice.string
        keyed.append(onset._replace(notes=tuple(note._replace(key=(i, n)) for n, note in enumerate(onset.notes))))
    task = _task(keyed, settings, damps, ())
    out, early, quick, changes = (figure.value for figure in own.objective[:4])
    most = Solved((out * task.unit, early, quick, changes), (0, 0, 0, 0), Terms({}, frozenset(), {}), (), (), (), False)
    solved = task.plan(Terms(forced, frozenset(), {}), most)
    task.close()
    return None if solved is None else solved.cost[3] // CHANGE


# -- the finished plan ---------------------------------------------------------------------------------------------


def _finished(task: Task, solved: Solved, beats: Sequence[int], rings: Rings | None) -> PedalPlan:
    initial, changes = _placed(task, solved, beats, rings)
    while not solved.proven:  # then a note may be left out that has its place all the same
        more = _put_back(task, solved, initial, changes)
        if more is None:
            break
        solved = more
        initial, changes = _placed(task, solved, beats, rings)
    notes, unplanned = _notes(task, solved, changes)
    objective = _objective(task, solved, changes, notes)
    return PedalPlan(
        initial,
        notes,
        tuple(changes),
        unplanned,
        objective,
        solved.proven and all(figure.value == figure.at_least for figure in objective[: len(solved.cost)]),
        min((change.faster for change in changes), default=None),
        solved.stretches,
    )


def _placed(
    task: Task, solved: Solved, beats: Sequence[int], rings: Rings | None
) -> tuple[dict[str, int], list[Change]]:
    """The setting before the first onset, and the changes in time."""
    settings = task.settings
    jobs, initial = _jobs(task, solved, rings)
    changes: list[Change] = []
    for foot, name in zip(FEET, ("left", "right"), strict=True):
        mine = [job for job in jobs if job.letter in foot]
        placed = place(mine, settings.comfortable_us, settings.quickest_us, beats)
        assert placed is not None, "the search allowed what one foot cannot do"
        changes.extend(_change(row, name) for row in placed)
    changes.sort(key=lambda c: (c.t_us, LETTERS.index(c.pedal)))
    return initial, changes


def _put_back(
    task: Task, solved: Solved, initial: Mapping[str, int], changes: Sequence[Change]
) -> Solved | None:
    """The plan with one of the notes that it leaves out, where the pedals as they are give it; None if none does."""
    moves: dict[str, list[Change]] = {letter: [] for letter in LETTERS}
    for change in changes:
        moves[change.pedal].append(change)
    used = {choice.string.letter for _, way, _ in solved.rows for choice in way.picks if choice and choice.pedal}
    used.update(letter for onset, way, _ in solved.rows if not way.unset for letter, _, _ in onset.demands)
    places: dict[Hashable, list[tuple[int, int]]] = {}  # of the notes left out
    for i, (onset, way) in enumerate(zip(task.onsets, solved.ways, strict=True)):
        for n, (note, picked) in enumerate(zip(onset.notes, way.picks, strict=True)):
            if picked is None:
                places.setdefault(("tied", note.key) if note.key in task.tied else (i, n), []).append((i, n))

    def standing(letter: str, t_us: int) -> int | None:
        """Where a letter stands; None while it moves."""
        stands = initial[letter]
        for change in moves[letter]:
            if change.t_us >= t_us:
                break
            if change.t_us + change.dur_us > t_us:
                return None
            stands = change.after
        return stands

    def gives(i: int, n: int, choice: Choice) -> bool:
        onset, struck = task.onsets[i], [one.string.line for one in solved.ways[i].picks if one is not None]
        if choice.string.line in struck or len(struck) >= task.settings.together:
            return False
        note, letter = onset.notes[n], choice.string.letter
        if note.named and (letter, choice.position) != note.spelled:
            return False
        if choice.pedal and letter in used:
            moments = [onset.t_us]
            for k in task.open_joints(solved, i, letter):  # a letter used between its moments stands equal at both
                moments += [task.joints[k].from_us, task.joints[k].to_us]
            if any(standing(letter, t_us) != choice.position for t_us in moments):
                return False
        return hands_take([*struck, choice.string.line], onset.bracketed, task.settings)

    for rows in places.values():
        i, n = rows[0]
        for choice in choices(task.onsets[i].notes[n].pitch, task.settings.fixed):
            if all(gives(*row, choice) for row in rows):
                return task.with_notes(solved, rows, choice)
    return None


def _change(row: Placed, foot: str) -> Change:
    job = row.job
    return Change(row.start, row.length, job.letter, job.before, job.after, foot, row.spare, row.faster)


def _jobs(task: Task, solved: Solved, rings: Rings | None) -> tuple[list[Job], dict[str, int]]:
    """The changes that the strings ask for, and the setting before the first onset."""
    stands: dict[str, int] = {}
    held: dict[str, int] = {}
    wanted: dict[str, int] = {}  # until when notes are written that are let go
    initial: dict[str, int] = {}
    jobs: list[Job] = []
    sounds: dict[str, dict[String, int]] = {letter: {} for letter in LETTERS}
    i = -1
    for onset, way, real in solved.rows:
        i += real
        now: dict[str, tuple[int, int]] = {}
        for note, choice in zip(onset.notes, way.picks, strict=True):
            if choice is not None and choice.pedal:
                letter = choice.string.letter
                hold = hold_us(onset, note, letter, task.damps)
                if note.written_us in way.let_go:
                    wanted[letter] = max(wanted.get(letter, 0), onset.t_us + hold)
                    hold = 0
                now[letter] = (choice.position, max(hold, now.get(letter, (0, 0))[1]))
        if not way.unset:
            for letter, position, hold in onset.demands:
                now[letter] = (position, max(hold, now.get(letter, (0, 0))[1]))
        for letter, (position, hold) in now.items():
            if letter not in stands:
                initial[letter] = position
            elif stands[letter] != position:
                late = wanted.get(letter, 0)
                waits = late if late > held[letter] else None
                quiet = tuple(sorted(t for t in sounds[letter].values() if t > held[letter]))
                jobs.append(Job(letter, stands[letter], position, held[letter], onset.t_us, waits, quiet))
            stands[letter] = position
            held[letter] = max(held.get(letter, 0), onset.t_us + hold)
        if rings is not None and real:
            for n, choice in enumerate(way.picks):
                if choice is not None:
                    sounds[choice.string.letter][choice.string] = rings(i, n, choice.string)
    return jobs, {letter: initial.get(letter, 0) for letter in LETTERS}


def _notes(
    task: Task, solved: Solved, changes: Sequence[Change]
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
            full = hold_us(onset, note, choice.string.letter, task.damps)
            hold = _kept(onset, choice, full, starts)
            if hold < full:
                until[note.written_us] = min(hold, until.get(note.written_us, hold))
        row: list[PlannedNote | None] = []
        for n, (note, choice) in enumerate(zip(onset.notes, way.picks, strict=True)):
            if choice is None:
                row.append(None)
                unplanned.append(Unplanned(i, n))
                continue
            full = hold_us(onset, note, choice.string.letter, task.damps)
            hold = full
            if note.written_us in way.let_go and _kept(onset, choice, full, starts) < full:
                hold = until[note.written_us]  # what is let go of one event is let go together
            ends = "early" if hold < full else "damped" if full < note.written_us else "written"
            row.append(PlannedNote(choice.string, choice.position, choice.pedal, hold, ends))
        if way.unset:
            unplanned.append(Unplanned(i, None))
        found.append(tuple(row))
    return tuple(found), tuple(unplanned)


def _kept(onset: Onset, choice: Choice, full: int, starts: Mapping[str, Sequence[int]]) -> int:
    """How long a note can be held, at most ``full``: until the next change of its letter."""
    if not choice.pedal:
        return full
    moves = starts.get(choice.string.letter, ())
    at = bisect_left(moves, onset.t_us)
    return min(full, moves[at] - onset.t_us) if at < len(moves) else full


def _objective(
    task: Task,
    solved: Solved,
    changes: Sequence[Change],
    notes: Sequence[Sequence[PlannedNote | None]],
) -> tuple[Figure, ...]:
    cost, least = solved.cost, solved.least
    quick = sum(change.dur_us < task.settings.comfortable_us for change in changes)
    early = sum(
        len({note.written_us for note, planned in zip(onset.notes, row, strict=True) if planned and planned.let_go})
        for onset, row in zip(task.onsets, notes, strict=True)
    )
    rows = (
        (-(-cost[0] // task.unit), -(-least[0] // task.unit)),
        (early, least[1]),
        (quick, least[2]),
        (len(changes), least[3] // CHANGE),
    )
    figures, settled = [], True
    for name, (value, bound) in zip(NAMES, rows, strict=False):
        bound = min(value, bound) if settled else 0
        figures.append(Figure(name, value, bound))
        settled = settled and bound == value
    fragile = sum(change.faster < task.settings.margin for change in changes)
    short = max([0, *(task.settings.spare_us - change.spare_us for change in changes)])
    left = sum(change.foot == "left" for change in changes)
    rest = cost[3] % CHANGE
    values = (0, fragile, short, rest // DEVIATION, rest % DEVIATION // SHARP, abs(len(changes) - 2 * left))
    figures.extend(
        Figure(name, value, None if value else 0) for name, value in zip(NAMES[len(rows) :], values, strict=True)
    )
    return tuple(figures)
