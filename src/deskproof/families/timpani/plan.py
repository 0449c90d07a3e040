"""The whole plan of a timpani part: tuning at the start, drum of each note, retunings in time, what is proven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof.families.timpani.bounds import by_events, by_stretches
from deskproof.families.timpani.feet import Job, Scheduled, TooManyError, least_quick
from deskproof.families.timpani.model import Event, Settings
from deskproof.families.timpani.placing import placed, spare
from deskproof.families.timpani.search import Label, Prices, Search
from deskproof.families.timpani.ways import Part, Way

__all__ = ["NAMES", "NO_DRUM", "NO_TIME", "TOO_MANY", "Figure", "Retuning", "TimpaniPlan", "Unplanned", "plan_timpani"]

NAMES = ("unplanned", "quick_retunings", "retunings", "semitones", "off_best", "spare_time")

NO_DRUM, TOO_MANY, NO_TIME = "no drum", "too many at once", "no time to retune"

LABELS = 200_000
"""After so many labels the search ends, with a plan that is not proven."""

WIDTH = 12
"""So many labels are kept at an event to find a first plan."""

STAGES = ((0, 8), (8, 3), (30, 1))
"""How many events are searched by themselves for a bound, and the share of the work left that is then spent."""


class Figure(NamedTuple):
    """One component of the objective; ``at_least`` is a proven lower bound, given all before it; None: none known."""

    name: str
    value: int
    at_least: int | None


class Retuning(NamedTuple):
    """One retuning of a drum. ``spare_us`` is how much longer it could take with the others where they are."""

    t_us: int
    dur_us: int
    drum: str
    before: int
    after: int
    quick: bool
    spare_us: int


class Unplanned(NamedTuple):
    """What is left out of an event: ordinals of the event and of its pitches, and why.

    The reason is NO_DRUM (no drum has the pitch, or can slide so), TOO_MANY (more than there are sticks, feet or drums
    for) or NO_TIME.
    """

    event: int
    pitches: tuple[int, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class TimpaniPlan:
    """How a part is played. ``drums`` gives for each event the drum of each pitch, None where it is left out.

    ``initial`` is the tuning at the start, without the drums that are never struck and have no given tuning.
    ``proven``: no plan is better up to the notes off the best part of their drums.
    """

    initial: Mapping[str, int]
    drums: tuple[tuple[str | None, ...], ...]
    retunings: tuple[Retuning, ...]
    unplanned: tuple[Unplanned, ...]
    objective: tuple[Figure, ...]
    proven: bool

    def __getitem__(self, name: str) -> Figure:
        return next(figure for figure in self.objective if figure.name == name)


def plan_timpani(events: Sequence[Event], settings: Settings | None = None, labels: int = LABELS) -> TimpaniPlan:
    """Plan a timpani part, exactly where that can be finished.

    Compared left to right: pitches left out, retunings at the quickest time instead of the comfortable one,
    retunings, semitones moved, semitones by which notes lie off the best part of their drums, and then, of this plan,
    the greatest lack of spare time. Between two notes of a drum there is one retuning at most, straight to the next
    pitch, begun when the first has ended and done when the second begins.

    Parameters
    ----------
    events : sequence of Event
        In order of time, each time once, repeats played out.
    settings : Settings, optional
        The standard four drums with pedals unless given.
    labels : int
        How much work may be done; with fewer the plan may not be the best and then is not called proven.

    Raises
    ------
    ValueError
        If the events are not in order or one of them is not well formed; the message says which.

    Examples
    --------
    >>> plan = plan_timpani([Event(0, 500_000, (45,)), Event(8_000_000, 500_000, (38,)), Event(9_000_000, 0, (45,))])
    >>> plan["retunings"], plan.drums
    (Figure(name='retunings', value=0, at_least=0), (('29',), ('32',), ('29',)))
    """
    part = Part(events, settings if settings is not None else Settings())
    prices = Prices(part)
    label, least, rows = _best(part, prices, labels)
    return _finished(part, prices, label, least, rows)


def _best(part: Part, prices: Prices, labels: int) -> tuple[Label, int, list[Scheduled]]:
    """The best label found, a lower bound of what any costs, and the schedule of its retunings."""
    best, least, left = _searched(Search(part, prices, feet=False), labels, 0)
    rows = _scheduled(part, best.path())
    if rows is not None and sum(row.quick for row in rows) == prices.apart(best.cost)[1]:
        return best, least, rows
    other, bound, _ = _searched(Search(part, prices, feet=True), max(left, labels // 2), least)
    rows = _scheduled(part, other.path())
    assert rows is not None, "the search allowed what the feet cannot do"
    return other, max(least, bound), rows


def _searched(search: Search, labels: int, least: int) -> tuple[Label, int, int]:
    """The best label, what at least it must cost, and how many labels are left to be made."""
    count = len(search.part.events)
    rest = by_events(search)
    first = search.run(search.start(), 0, count, rest, None, WIDTH, None)
    assert first.best is not None, "everything may be left out"
    best = first.best
    least = max(least, rest[0])
    search.made = 0
    for length, share in STAGES:
        if best.cost <= least:
            break
        if length:
            rest = by_stretches(search, rest, length, labels // 50)
            least = max(least, rest[0])
        search.cut = False
        found = search.run(search.start(), 0, count, rest, best.cost, None, (labels - search.made) // share)
        if found.best is not None:
            best = found.best
        if found.complete and not search.cut:
            least = best.cost
    return best, least, labels - search.made


def _jobs(part: Part, path: Sequence[Way]) -> tuple[list[Job], dict[Job, tuple[int, int]], dict[int, int]]:
    """The retunings that a path asks for, glissandi among them; from and to what each goes; the tuning at the start."""
    settings = part.settings
    stands = {d: settings.initial[drum.id] for d, drum in enumerate(part.drums) if drum.id in settings.initial}
    free = dict.fromkeys(range(len(part.drums)), settings.start_us)
    initial = dict(stands)
    jobs: list[Job] = []
    ways: dict[Job, tuple[int, int]] = {}
    for event, way in zip(part.events, path, strict=True):
        for d, pitch, arrives in way.uses:
            at = stands.setdefault(d, pitch)
            initial.setdefault(d, pitch)
            if at != pitch:
                distance = abs(at - pitch)
                job = Job(d, free[d], event.t_us, part.comfortable[distance], part.quickest[distance])
                jobs.append(job)
                ways[job] = (at, pitch)
            if pitch != arrives:
                jobs.append(Job(d, event.t_us, event.end_us, event.hold_us, event.hold_us, True))
            stands[d] = arrives
            free[d] = max(free[d], event.end_us)
    return jobs, ways, initial


def _scheduled(part: Part, path: Sequence[Way]) -> list[Scheduled] | None:
    try:
        return least_quick(_jobs(part, path)[0], part.settings.feet, part.rests)
    except TooManyError:
        return None


# -- the finished plan ---------------------------------------------------------------------------------------------


def _finished(part: Part, prices: Prices, label: Label, least: int, rows: Sequence[Scheduled]) -> TimpaniPlan:
    path, settings = label.path(), part.settings
    _, ways, initial = _jobs(part, path)
    rows = placed(rows, settings.feet, part.rests, part.quietest)
    retunings = []
    for row in sorted(rows, key=lambda r: (r.start, r.job.drum)):
        if not row.job.fixed:
            at, to = ways[row.job]
            left = spare(row, rows, settings.feet, part.rests)
            retunings.append(Retuning(row.start, row.length, part.drums[row.job.drum].id, at, to, row.quick, left))
    values = prices.apart(label.cost)
    figures, settled = [], True
    for name, value, bound in zip(NAMES, values, prices.apart(least), strict=False):
        figures.append(Figure(name, value, min(value, bound) if settled else 0))
        settled = settled and bound == value
    short = max([0, *(settings.spare_us - retuning.spare_us for retuning in retunings)])
    figures.append(Figure(NAMES[-1], short, None if short else 0))
    return TimpaniPlan(
        {drum.id: initial[d] for d, drum in enumerate(part.drums) if d in initial},
        tuple(tuple(None if d is None else part.drums[d].id for d in way.drums) for way in path),
        tuple(retunings),
        tuple(_unplanned(part, path)),
        tuple(figures),
        label.cost == least,
    )


def _unplanned(part: Part, path: Sequence[Way]) -> list[Unplanned]:
    found: list[Unplanned] = []
    for i, way in enumerate(path):
        out = [k for k, d in enumerate(way.drums) if d is None]
        nowhere = [k for k in out if not part.takers(i, k)]
        others = [k for k in out if k not in nowhere]
        crowd = part.least_left_out[i] - sum(not part.takers(i, k) for k in range(len(way.drums)))
        for ks, reason in ((nowhere, NO_DRUM), (others[:crowd], TOO_MANY), (others[crowd:], NO_TIME)):
            if ks:
                found.append(Unplanned(i, tuple(ks), reason))
    return found
