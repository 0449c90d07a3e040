"""The least a harp passage costs, found by trying everything. For short passages; knows only strings, feet and times.

Nothing here imports the package under test. The passage is a list of onsets as `harp_passages` writes them:
``{"t_us", "notes": [{"pitch", "written_us", ...}]}``, in order of time, no pitch twice in one onset. All times are
whole microseconds.

What is tried
    Every way to leave notes out, every string for each note that stays (its natural pitch, a semitone lower or
    higher), every choice of events that are let go early, every order of the changes on each foot and both lengths for
    every change. A branch is cut only when it cannot become better than the best found: what an onset and all before
    it cost, plus what the onsets behind it cost by themselves from any setting, is not less.

What is counted, compared left to right
    impossible
        Notes left out, printed notes: one that is repeated counts once, and is left out in both passes.
    let_go_early
        Events of which any note is held less than written. An event is all notes of one onset with the same written
        length that are not left out; passes count apart. A note let go early may be held for no time at all
        (its position must stand at the onset itself), so one flag for an event is enough.
    quick_changes
        Changes made in the quickest time. Every other change takes the comfortable time; nothing lies between.
    changes
        Changes of one pedal, also across two notches; a move of two pedals together is not known here.

When a change goes
    Its open interval must not meet the closed one from an onset of its letter to the end of the hold, nor the open
    interval of another change of the same foot. Touching is allowed. Between two uses of a letter that want
    different positions there is one change, between two that want the same there is none: more is never needed, as a
    change taken away leaves more room for the others. So each change is a job with a release (the latest end of a hold
    before it) and a deadline (the onset that needs it). Given an order, starting each as early as it can is best.

The beginning
    Without `initial` every pedal stands where it is first needed, which costs nothing. With it, the setting stands
    at `start_us` and no change begins before.

Strings without a pedal
    `fixed` gives their position. They neither need their letter's pedal nor hold it.

Repeats
    `repeat` says that the onsets `first` to `last` (both included) are played twice; the repeated bars begin at
    `from_us` and end at `to_us`, and all that follows is later by the difference. Both passes take the same strings.
    With `joint` "equal" all pedals that the repeated bars use stand still and equal at `from_us` and at the second
    beginning, `to_us`; where they stand is free. With "free" only the strings are the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache, lru_cache
from itertools import combinations, product
from typing import Any, NamedTuple

LEFT, RIGHT = "DCB", "EFGA"
OBJECTIVE = (
    "impossible", "let_go_early", "quick_changes", "changes", "buzzes", "breaks_ten_percent_faster", "spare_time",
    "spelling", "sharps", "imbalance",
)  # fmt: skip
FIXED = {"C1": 0, "D1": 0}
STRINGS = {
    f"{letter}{octave}": 12 * (octave + 1) + semitones
    for octave in range(1, 8)
    for letter, semitones in zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True)
    if (octave, letter) not in ((7, "A"), (7, "B"))
}  # fmt: skip

Cost = tuple[int, int, int, int]
Use = tuple[int, int, int]  # onset, position, end of the hold
Job = tuple[int, int]  # release, deadline


class Answer(NamedTuple):
    """The least cost, and one plan that has it, as in the JSON of a harp plan."""

    impossible: int
    let_go_early: int
    quick_changes: int
    changes: int
    plan: dict[str, Any]

    @property
    def cost(self) -> Cost:
        return self[:4]

    @property
    def comfortable(self) -> bool:
        """All notes played and held as written, every change at the comfortable time."""
        return self[:3] == (0, 0, 0)


class Moment(NamedTuple):
    """An onset as it is played; `tied` is the moment of the first pass whose strings it takes."""

    t_us: int
    notes: tuple[tuple[int, int], ...]  # pitch, written length
    printed: int  # which onset of the passage
    play: int  # first or second time
    tied: int | None
    weight: int  # of a note left out, in halves


class Way(NamedTuple):
    """How an onset is taken: a string and a position for each note or None, and the written lengths let go early."""

    taken: tuple[tuple[str, int] | None, ...]
    early: frozenset[int]


def candidates(pitch: int, fixed: Mapping[str, int] = FIXED) -> list[tuple[str, int]]:
    """The strings that can sound `pitch`, each with the position it needs.

    >>> candidates(60), candidates(62), candidates(25)
    ([('B3', 1), ('C4', 0)], [('D4', 0)], [])
    """
    return [
        (name, position)
        for name, natural in STRINGS.items()
        for position in ([fixed[name]] if name in fixed else (-1, 0, 1))
        if natural + position == pitch
    ]


def ways_to_take(
    pitches: Sequence[int], fixed: Mapping[str, int] = FIXED, *, leave_out: bool = True
) -> list[tuple[tuple[str, int] | None, ...]]:
    """All ways to put the pitches on strings at once: no string twice, one position for each pedal."""
    found = []
    for taken in product(*([*candidates(p, fixed), *([None] if leave_out else [])] for p in pitches)):
        strings = [s for s in taken if s is not None]
        pedals = {(name[0], position) for name, position in strings if name not in fixed}
        if len({name for name, _ in strings}) == len(strings) and len({p for p, _ in pedals}) == len(pedals):
            found.append(taken)
    return found


@lru_cache(maxsize=200_000)
def foot(jobs: tuple[Job, ...], comfortable: int, quickest: int) -> tuple[int, tuple[tuple[int, int], ...]] | None:
    """Fewest quick changes with which one foot does all jobs, and the (start, length) of each; None if it cannot.

    Tries every order and both lengths, each job as early as it can.
    """

    @cache
    def rest(todo: frozenset[int], free: int) -> tuple[int, tuple[tuple[int, int, int], ...]] | None:
        if any(max(free, jobs[j][0]) + quickest > jobs[j][1] for j in todo):
            return None
        if not todo:
            return 0, ()
        best = None
        # A job that would start only when another could be over, without haste, need not go first.
        over = min(max(free, jobs[j][0]) + comfortable for j in todo)
        for j in sorted(todo):
            start = max(free, jobs[j][0])
            if start >= over:
                continue
            for length in sorted({comfortable, quickest}, reverse=True):
                if start + length > jobs[j][1]:
                    continue
                behind = rest(todo - {j}, start + length)
                if behind is not None:
                    quick = behind[0] + (length < comfortable)
                    if quick == 0:
                        return 0, ((j, start, length), *behind[1])
                    if best is None or quick < best[0]:
                        best = quick, ((j, start, length), *behind[1])
        return best

    found = rest(frozenset(range(len(jobs))), min((release for release, _ in jobs), default=0))
    return found and (found[0], tuple((start, length) for _, start, length in sorted(found[1])))


def changes_of(uses: Sequence[Use], initial: int | None, start_us: int) -> list[tuple[int, int, int, int]]:
    """The changes one pedal needs: (release, deadline, from, to)."""
    found = []
    stands, release = initial, start_us
    for t, position, end in uses:
        if stands is not None and stands != position:
            found.append((release, t, stands, position))
        stands, release = position, max(release, end)
    return found


class _Search:
    def __init__(
        self,
        moments: Sequence[Moment],
        fixed: Mapping[str, int],
        initial: Mapping[str, int] | None,
        start_us: int,
        comfortable_us: int,
        quickest_us: int,
        joint: tuple[int, int, int, int] | None,  # the two beginnings, first moment of each
    ):
        self.moments, self.fixed, self.initial, self.start_us = moments, fixed, initial, start_us
        self.times = comfortable_us, quickest_us
        self.joint = joint
        self.behind: list[Cost] = [(0, 0, 0, 0)] * (len(moments) + 1)
        self.ways: list[list[tuple[int, int, Way]]] = [self._ways(m) for m in moments]

    def _ways(self, moment: Moment) -> list[tuple[int, int, Way]]:
        found = []
        for taken in ways_to_take([p for p, _ in moment.notes], self.fixed):
            left = sum(s is None for s in taken) * moment.weight
            lengths = sorted({w for (_, w), s in zip(moment.notes, taken, strict=True) if s is not None and w > 0})
            for count in range(len(lengths) + 1):
                for early in combinations(lengths, count):
                    found.append((left, count, Way(taken, frozenset(early))))
        return sorted(found, key=lambda way: way[:2])

    def solve(self) -> tuple[Cost, list[Way], dict[str, list[Use]]]:
        """The last onset by itself, then the last two, and so on: each answer bounds the next search."""
        found: tuple[Cost, list[Way], dict[str, list[Use]]] = (0, 0, 0, 0), [], {letter: [] for letter in LEFT + RIGHT}
        for first in reversed(range(len(self.moments))):
            self.first = first
            self.best: tuple[Cost, list[Way], dict[str, list[Use]]] | None = None
            whole = first == 0
            self.stand = self.initial if whole and self.initial is not None else {}
            self._from(first, (0, 0), {letter: [] for letter in LEFT + RIGHT}, [])
            assert self.best is not None
            self.behind[first] = self.best[0]
            found = self.best
        return found

    def _cost(self, spent: tuple[int, int], uses: Mapping[str, list[Use]]) -> Cost | None:
        quick = changes = 0
        for letters in (LEFT, RIGHT):
            jobs = sorted(
                job[:2] for letter in letters for job in changes_of(uses[letter], self.stand.get(letter), self.start_us)
            )
            done = foot(tuple(jobs), *self.times)
            if done is None:
                return None
            quick += done[0]
            changes += len(jobs)
        return *spent, quick, changes

    def _hopeless(self, cost: Cost, at: int) -> bool:
        return self.best is not None and tuple(map(sum, zip(cost, self.behind[at], strict=True))) >= self.best[0]

    def _from(self, at: int, spent: tuple[int, int], uses: dict[str, list[Use]], path: list[Way]) -> None:
        cost = self._cost(spent, uses)
        if cost is None or self._hopeless(cost, at):
            return
        if self.joint and at == self.joint[3] and self.first <= self.joint[2] and not self._joined(uses):
            for joined in self._joints(uses, at):
                self._from(at, spent, joined, path)
            return
        if at == len(self.moments):
            self.best = cost, path, uses
            return
        moment = self.moments[at]
        tied = path[moment.tied - self.first].taken if moment.tied is not None and moment.tied >= self.first else None
        children = []
        for left, early, way in self.ways[at]:
            if tied is None or way.taken == tied:
                pedals = {s[0][0]: s[1] for s in way.taken if s is not None and s[0] not in self.fixed}
                stands = {p: uses[p][-1][1] if uses[p] else self.stand.get(p) for p in pedals}
                changed = sum(stands[p] is not None and stands[p] != position for p, position in pedals.items())
                children.append((left, early, changed, way))
        children.sort(key=lambda child: child[:3])
        for left, early, changed, way in children:
            if self._hopeless((cost[0] + left, cost[1] + early, cost[2], cost[3] + changed), at + 1):
                break  # all that follow cost at least as much
            now = dict(uses)
            for (_, written), s in zip(moment.notes, way.taken, strict=True):
                if s is not None and s[0] not in self.fixed:
                    end = moment.t_us + (0 if written in way.early else written)
                    now[s[0][0]] = [*now[s[0][0]], (moment.t_us, s[1], end)]
            self._from(at + 1, (spent[0] + left, spent[1] + early), now, [*path, way])

    def _section(self, letter_uses: list[Use]) -> list[Use]:
        assert self.joint is not None
        return [use for use in letter_uses if self.joint[0] <= use[0] < self.joint[1]]

    def _joined(self, uses: Mapping[str, list[Use]]) -> bool:
        assert self.joint is not None
        at = self.joint[1]
        return all(any(use[0] == at for use in u) for u in uses.values() if self._section(u))

    def _joints(self, uses: dict[str, list[Use]], at: int) -> Iterable[dict[str, list[Use]]]:
        """Where the pedals of the repeated bars may stand at both beginnings, as uses without length."""
        assert self.joint is not None
        one, two = self.joint[:2]
        letters = [letter for letter, u in uses.items() if self._section(u)]
        choices = []
        for letter in letters:
            # Anywhere but where it is needed first, was left last, or came from, it would only move more often.
            inside = self._section(uses[letter])
            came = [use[1] for use in uses[letter] if use[0] < one] or [self.stand.get(letter, inside[0][1])]
            choices.append(dict.fromkeys((inside[0][1], inside[-1][1], came[-1])))
        for positions in product(*choices):
            joined = dict(uses)
            for letter, position in zip(letters, positions, strict=True):
                before = [use for use in uses[letter] if use[0] < one]
                after = [use for use in uses[letter] if use[0] >= one]
                joined[letter] = [*before, (one, position, one), *after, (two, position, two)]
            yield joined


def unroll(onsets: Sequence[Mapping[str, Any]], repeat: Mapping[str, int] | None = None) -> list[Moment]:
    """The onsets as they are played."""
    plain = [(o["t_us"], tuple((n["pitch"], n["written_us"]) for n in o["notes"])) for o in onsets]
    if [t for t, _ in plain] != sorted({t for t, _ in plain}):
        raise ValueError("onsets must be in order of time, each time once")
    if any(len({p for p, _ in notes}) < len(notes) for _, notes in plain):
        raise ValueError("a pitch twice in one onset")
    if repeat is None:
        return [Moment(t, notes, i, 1, None, 2) for i, (t, notes) in enumerate(plain)]
    first, last = repeat["first"], repeat["last"]
    if not (repeat["from_us"] <= plain[first][0] and plain[last][0] < repeat["to_us"]):
        raise ValueError("the repeated onsets must lie between the beginning and the end of the repeat")
    if (first and plain[first - 1][0] >= repeat["from_us"]) or (
        last + 1 < len(plain) and plain[last + 1][0] < repeat["to_us"]
    ):
        raise ValueError("an onset that is not repeated lies inside the repeat")
    later = repeat["to_us"] - repeat["from_us"]
    section = range(first, last + 1)
    return [
        *(Moment(*plain[i], i, 1, None, 1 if i in section else 2) for i in range(last + 1)),
        *(Moment(plain[i][0] + later, plain[i][1], i, 2, i, 1) for i in section),
        *(Moment(plain[i][0] + later, plain[i][1], i, 1, None, 2) for i in range(last + 1, len(plain))),
    ]


def least(
    onsets: Sequence[Mapping[str, Any]],
    *,
    initial: Mapping[str, int] | None = None,
    fixed: Mapping[str, int] = FIXED,
    comfortable_us: int = 500_000,
    quickest_us: int = 250_000,
    start_us: int = 0,
    repeat: Mapping[str, int] | None = None,
    joint: str = "equal",
) -> Answer:
    """The least cost of the passage; see the head of this file for what is counted."""
    moments = unroll(onsets, repeat)
    second = next((k for k, m in enumerate(moments) if m.tied is not None), None)
    joined = None
    if repeat is not None and joint == "equal":
        assert second is not None
        joined = repeat["from_us"], repeat["to_us"], repeat["first"], second
    search = _Search(moments, fixed, initial, start_us, comfortable_us, quickest_us, joined)
    cost, path, uses = search.solve()
    cost = (cost[0] // 2, *cost[1:])
    return Answer(*cost, _plan(search, cost, path, uses))


def _plan(search: _Search, cost: Cost, path: list[Way], uses: Mapping[str, list[Use]]) -> dict[str, Any]:
    """The plan in the form of the JSON; note k of onset i is P1/m{i}/n{k}."""
    comfortable, quickest = search.times
    given = search.initial
    changes: list[dict[str, Any]] = []
    for name, letters in (("left", LEFT), ("right", RIGHT)):
        jobs = sorted(
            (*job, letter)
            for letter in letters
            for job in changes_of(uses[letter], None if given is None else given.get(letter), search.start_us)
        )
        done = foot(tuple(job[:2] for job in jobs), comfortable, quickest)
        assert done is not None
        for (_, deadline, old, new, letter), (start, length) in zip(jobs, done[1], strict=True):
            changes.append(
                {"t_us": start, "dur_us": length, "pass": 1, "pedal": letter, "from": old, "to": new, "foot": name,
                 "spare_us": deadline - start - length, "bar": "1", "beat": "1"}
            )  # fmt: skip
    changes.sort(key=lambda change: (change["t_us"], change["pedal"]))
    events: list[dict[str, Any]] = []
    unplanned: list[dict[str, Any]] = []
    for moment, way in zip(search.moments, path, strict=True):
        for length in sorted({w for _, w in moment.notes}):
            kept = [
                (k, pitch, s)
                for k, ((pitch, written), s) in enumerate(zip(moment.notes, way.taken, strict=True))
                if written == length and s is not None
            ]
            if not kept:
                continue
            hold = length
            if length in way.early:
                moving = {s[0][0] for _, _, s in kept if s[0] not in search.fixed}
                starts = [c["t_us"] for c in changes if c["pedal"] in moving and c["t_us"] >= moment.t_us]
                hold = min([length, *(t - moment.t_us for t in starts)])
            events.append(
                {"t_us": moment.t_us, "end_us": moment.t_us + length, "hold_us": hold, "written_us": length,
                 "pass": moment.play, "notes": [f"P1/m{moment.printed}/n{k}" for k, _, _ in kept],
                 "pitches": [p for _, p, _ in kept], "strings": [s[0] for _, _, s in kept],
                 "positions": [s[1] for _, _, s in kept], "hands": None, "how": "struck", "gliss": None,
                 "ends": "early" if length in way.early else "written", "bar": "1", "beat": "1"}
            )  # fmt: skip
        if moment.play == 1:
            out = [f"P1/m{moment.printed}/n{k}" for k, s in enumerate(way.taken) if s is None]
            unplanned += [{"notes": [ref], "rule": "no-string"} for ref in out]
    end = max((m.t_us + written for m in search.moments for _, written in m.notes), default=0) + 1
    return {
        "id": "harp 1", "kind": "harp", "player": "harp", "model": {"quickest_us": quickest},
        "spans": [{"part": "P1", "instrument": "harp", "from_us": 0, "to_us": end}],
        "objective": [
            {"name": name, "value": value, "at_least": value if name in OBJECTIVE[:4] else None}
            for name, value in zip(OBJECTIVE, (*cost, 0, 0, 0, 0, 0, 0), strict=True)
        ],
        "proven": True, "unplanned": unplanned, "pedal_us": comfortable, "pair_moves": False,
        "fixed": [{"string": name, "alter": alter} for name, alter in search.fixed.items()],
        "initial": {
            letter: given[letter] if given is not None else uses[letter][0][1] if uses[letter] else 0
            for letter in LEFT + RIGHT
        },
        "changes": changes, "damps": [], "events": events,
    }  # fmt: skip


def source_of(onsets: Sequence[Mapping[str, Any]], repeat: Mapping[str, int] | None = None) -> list[dict[str, Any]]:
    """The passage as rows of ``notes``, one for each pass, with the names the plan of `least` uses."""
    return [
        {"ref": f"P1/m{m.printed}/n{k}", "pass": m.play, "onset_us": m.t_us, "end_us": m.t_us + written,
         "sounding": pitch, "grace": False, "cue": False, "hidden": False, "small": False, "ossia": False,
         "tied_to": []}
        for m in unroll(onsets, repeat)
        for k, (pitch, written) in enumerate(m.notes)
    ]  # fmt: skip
