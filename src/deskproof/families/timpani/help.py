"""What is printed for a timpanist when asked: the tuning to begin with, and each retuning where it goes.

The plan is of what is played; a page is printed once and played as often as the repeats say. A retuning is printed at
the place where the player is free for it; what holds in some of the playings only says in which.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from deskproof.edits import AddWords, Edit
from deskproof.families.base import Context, Help, Plan
from deskproof.families.timpani.plan import Retuning, TimpaniPlan
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.families.timpani.reading import KIND, Reading
from deskproof.families.wording import listed
from deskproof.pitch import name, sounding_name
from deskproof.score import UNCHECKED, Part
from deskproof.spans import Span
from deskproof.timeline import Frame

Place = tuple[int, int]  # measure ordinal, tick in it


def printed_help(plan: Plan, context: Context, asked: Help) -> Sequence[Edit]:
    """The edits that print tunings, if ``asked.tuning_marks``."""
    if not isinstance(plan, DrumsPlan) or not asked.tuning_marks:
        return ()
    if plan.reading is None or plan.drums is None:
        return ()
    part = context.score.parts[plan.reading.part]
    page = _Page(part, plan.reading, plan.drums, plan.spans, context.frame)
    return list(page.words())


class _Element(NamedTuple):
    """A note or rest of the page as it comes in one playing; ``tick`` counts in the performance."""

    tick: int
    place: Place
    pass_: int
    rest: bool


class _Mark(NamedTuple):
    """Where a retuning is told, in which playing of that place, and how."""

    place: Place
    pass_: int
    says: str


@dataclass(slots=True)
class _Page:
    """The printed page of one timpani part, and how it is played."""

    part: Part
    reading: Reading
    played: TimpaniPlan
    spans: Sequence[Span]
    frame: Frame
    elements: list[_Element] = field(init=False)
    times: Counter[int] = field(init=False)
    several: bool = field(init=False)

    def __post_init__(self) -> None:
        self.times = Counter(play.measure for play in self.frame.plays)
        self.several = len({_player(drum) for drum in self.played.initial}) > 1
        strokes = [one for rows in self.reading.strokes for row in rows for one in row]
        sounding = _Stretches([(one.onset, one.end) for one in strokes])
        self.elements = sorted(
            _Element(tick, (play.measure, note.start), play.pass_, note.kind == "rest")
            for play in self.frame.plays
            if play.measure < len(self.part.measures)
            for note in self.part.measures[play.measure].notes
            if note.start < play.length and not note.flags & UNCHECKED
            for tick in (play.onset + note.start,)
            if note.kind != "rest" or not sounding.hold(tick)
        )

    def words(self) -> Iterator[Edit]:
        """The tuning at the beginning and the retunings, each place once."""
        begin = self._beginning()
        said = {begin: [self._tuning()]}
        for place, text in self._retunings().items():
            said.setdefault(place, []).append(text)
        staff = self.reading.strokes[0][0][0].note.staff
        for (measure, start), lines in sorted(said.items()):
            yield AddWords(self.part.id, measure, start, staff, "\n".join(lines), "above")

    # -- the beginning

    def _beginning(self) -> Place:
        """The very beginning of the part; where it begins on another instrument, the first note of the timpani."""
        first = self.reading.strokes[0][0][0]
        span = next(one for one in self.spans if one.events)
        if span.instrument is None or span.instrument.kind != KIND:
            return first.measure, first.note.start
        return next(measure.index for measure in self.part.measures if measure.notes), 0

    def _tuning(self) -> str:
        """The drums from low to high; those of each of several players in a line of its own."""
        lines: dict[int, list[tuple[int, str]]] = {}
        for drum, pitch in self.played.initial.items():
            lines.setdefault(_player(drum), []).append((pitch, self._called(self._first(drum), drum, pitch)))
        return "\n".join(
            self._of(player) + ", ".join(text for _, text in sorted(row)) for player, row in sorted(lines.items())
        )

    def _first(self, drum: str) -> int | None:
        return next((i for i, row in enumerate(self.played.drums) if drum in row), None)

    # -- the retunings

    def _retunings(self) -> dict[Place, str]:
        found: dict[Place, dict[str, list[int]]] = {}
        for change in self.played.retunings:
            mark = self._mark(change, found)
            found.setdefault(mark.place, {}).setdefault(mark.says, []).append(mark.pass_)
        return {place: ", ".join(self._in_passes(place, row)) for place, row in found.items()}

    def _in_passes(self, place: Place, row: dict[str, list[int]]) -> Iterator[str]:
        """What is said at a place, with the playings in which it holds where those are not all."""
        by_passes: dict[tuple[int, ...], list[str]] = {}
        for says, held in row.items():
            by_passes.setdefault(tuple(sorted(set(held))), []).append(says)
        for passes, said in by_passes.items():
            when = f"{listed([_th(n) for n in passes])} time: " if len(passes) < self.times[place[0]] else ""
            yield when + ", ".join(said)

    def _mark(self, change: Retuning, before: dict[Place, dict[str, list[int]]]) -> _Mark:
        """A retuning at the first rest after the drum's last note that leaves the time, or else at the note after.

        A rest that comes again in a repeat is no good place if the retuning holds in a later playing only; then a
        rest that comes for the first time is looked for.
        """
        mine = [i for i, row in enumerate(self.played.drums) if change.drum in row]
        k = next(k for k, i in enumerate(mine) if self.reading.events[i].t_us >= change.t_us)
        last, then = (mine[k - 1] if k else None), mine[k]
        free = 0 if last is None else max(one.end for row in self.reading.strokes[last] for one in row)
        due = self.reading.strokes[then][0][0]
        rows = self.elements[bisect_left(self.elements, (free,)) : bisect_left(self.elements, (due.onset + 1,))]
        until_us = self.reading.events[then].t_us - change.dur_us
        rests = [one for one in rows if one.rest and self.frame.clock.ceil_us(one.tick) <= until_us]
        called = self._called(last, change.drum, change.before), self._called(then, change.drum, change.after)
        says = self._of(_player(change.drum)) + " to ".join(called)
        fitting = rests or rows
        if not fitting:
            return _Mark((due.measure, due.note.start), due.pass_, says)
        one = fitting[0]
        if one.pass_ > 1 and one.pass_ - 1 not in before.get(one.place, {}).get(says, ()):
            one = next((other for other in fitting if other.pass_ == 1), one)
        return _Mark(one.place, one.pass_, says)

    # -- in words

    def _called(self, event: int | None, drum: str, pitch: int) -> str:
        """A pitch of a drum as timpanists read it, without its octave, spelled as the note of an event is."""
        if event is not None:
            k = self.played.drums[event].index(drum)
            if self.reading.events[event].pitches[k] == pitch:
                return _letter(sounding_name(self.reading.strokes[event][k][0].note.pitch, pitch))
        return _letter(name(pitch))

    def _of(self, player: int) -> str:
        return f"{player}. " if self.several else ""


class _Stretches:
    """When something sounds, in ticks."""

    def __init__(self, rows: Sequence[tuple[int, int]]) -> None:
        self._begins: list[int] = []
        self._ends: list[int] = []
        for begin, end in sorted(rows):
            self._begins.append(begin)
            self._ends.append(max([end, *self._ends[-1:]]))

    def hold(self, tick: int) -> bool:
        """Whether something sounds at a tick or begins there."""
        i = bisect_right(self._begins, tick) - 1
        return i >= 0 and (self._ends[i] > tick or self._begins[i] == tick)


def _letter(pitch: str) -> str:
    """A pitch name without its octave.

    >>> _letter("G2"), _letter("B♭2")
    ('G', 'B♭')
    """
    return pitch.rstrip("0123456789-")


def _player(drum: str) -> int:
    """Which of several players a drum belongs to.

    >>> _player("32"), _player("32 of player 2")
    (1, 2)
    """
    _, of, player = drum.rpartition(" of player ")
    return int(player) if of else 1


def _th(n: int) -> str:
    """An ordinal number.

    >>> _th(1), _th(2), _th(3), _th(4), _th(12)
    ('1st', '2nd', '3rd', '4th', '12th')
    """
    endings = {1: "st", 2: "nd", 3: "rd"}
    return f"{n}{'th' if n // 10 % 10 == 1 else endings.get(n % 10, 'th')}"
