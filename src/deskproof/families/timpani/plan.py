"""The whole plan of a timpani part: tuning at the start, drum of each note, retunings in time, what is proven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof.families.timpani.bounds import by_events, by_stretches
from deskproof.families.timpani.feet import Job, Scheduled, TooManyError, improved, least_quick
from deskproof.families.timpani.first import first_plan
from deskproof.families.timpani.model import Event, Settings
from deskproof.families.timpani.placing import placed, spares
from deskproof.families.timpani.search import Label, Prices, Search
from deskproof.families.timpani.ways import Part, Way
from deskproof.families.timpani.work import Work

__all__ = ["NAMES", "NO_DRUM", "NO_TIME", "TOO_MANY", "Figure", "Retuning", "TimpaniPlan", "Unplanned", "plan_timpani"]

NAMES = ("unplanned", "quick_retunings", "retunings", "semitones", "off_best", "spare_time")

NO_DRUM, TOO_MANY, NO_TIME = "no drum", "too many at once", "no time to retune"

LABELS = 200_000
"""After so many labels the search ends, with a plan that is not proven."""

STEPS, STEPS_OF_EVENT = 32, 2000
"""So many steps of work, whatever they are spent on, are allowed for each of the labels and for each event besides."""

WIDTH = 12
"""So many labels are kept at an event to find a first plan, and twice as many where the best is not found."""
STEPS_OF_MOVE = 200
"""So many steps for each retuning are spent on the last plans when the work is over."""

STAGES = ((0, 8), (8, 3), (32, 1))
"""How many events are searched by themselves for a bound, and the share of the work left that is then spent;
each a whole number of the one before."""


LONGER = (8, 32, 128, 512)
"""The same where the feet are in each other's way; each holds a whole number of the one before."""


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
        How much work may be done; with fewer the plan may not be the best and then is not called proven. The work is
        counted and never timed, so that the plan of a part is everywhere the same.

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
    work = Work(labels * STEPS + len(part.events) * STEPS_OF_EVENT)
    known, least = _best(part, prices, labels, work)
    return _finished(part, prices, known, least if part.all_ways else 0)


class _Known(NamedTuple):
    """The best that is known: its cost, its way through the events, and the schedule of its retunings."""

    cost: int
    path: list[Way]
    rows: list[Scheduled]


def _best(part: Part, prices: Prices, labels: int, work: Work) -> tuple[_Known, int]:
    """The best that was found, and a lower bound of what any costs.

    First the feet are not minded. If the best plan then goes with the feet there are, it is the best of all; if it
    goes with some more hurry, the search that minds them seeks a better one. Where the work is over before that is
    done, the plan that is found at once may be better than what is known.
    """
    freely = Search(part, prices, False, work)
    best, least = _searched(freely, labels, None, None)
    known = _scheduled(part, prices, best.path(), best.cost, work) if best else None
    if best is not None and (known is None or known.cost > best.cost):
        floor = by_events(part, prices)
        for length in LONGER:
            floor = by_stretches(freely, floor, length, labels // 8)
        minding = Search(part, prices, True, work)
        better, bound = _searched(minding, labels, floor, known.cost if known else None)
        least = max(least, bound)
        other = _scheduled(part, prices, better.path(), better.cost, work) if better else None
        known = other or known
    if work.over or known is None:
        first = _first(part, prices, work)
        known = min(known or first, first, key=lambda one: one.cost)
    return known, min(least, known.cost)


def _first(part: Part, prices: Prices, work: Work) -> _Known:
    """The plan that is found at once, with as little hurry as the way through the events needs."""
    found = first_plan(part, prices, work)
    path, moves = found.path(), found.moves()
    rows = improved(moves, part.settings.feet, part.rests, Work(len(moves) * STEPS_OF_MOVE))
    saved = sum(row.quick for row in moves) - sum(row.quick for row in rows)
    return _Known(found.cost - saved * prices.quick, path, rows)


def _searched(search: Search, labels: int, floor: Sequence[int] | None, below: int | None) -> tuple[Label | None, int]:
    """The best label below a cost, None if there is no better one; and what at least any costs.

    ``floor`` is a bound for the rest after each event that is known already.
    """
    count = len(search.part.events)
    own = by_events(search.part, search.prices)
    rest = [max(pair) for pair in zip(own, floor or own, strict=True)]
    best = search.run(search.start(), 0, count, rest, below, WIDTH, None).best
    least = rest[0]
    search.made = 0
    for length, share in STAGES:
        if best is not None:
            below = best.cost
        if below is not None and below <= least:
            break
        if length:
            own = by_stretches(search, own, length, labels // 50)
            rest = [max(pair) for pair in zip(own, rest, strict=True)]
            least = max(least, rest[0])
        search.cut = False
        found = search.run(search.start(), 0, count, rest, below, None, (labels - search.made) // share)
        best = found.best or best
        if found.complete and not search.cut:
            least = best.cost if best is not None else below or 0
    below = best.cost if best is not None else below
    if below is not None and below > least:
        best = search.run(search.start(), 0, count, rest, below, 2 * WIDTH, None).best or best
    return best, least


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


def _scheduled(part: Part, prices: Prices, path: list[Way], cost: int, work: Work) -> _Known | None:
    """A path with its retunings in time, and what it then costs; None if they cannot be done.

    Where the work is over a little is spent on it all the same.
    """
    jobs, _, _ = _jobs(part, path)
    own = Work(STEPS_OF_MOVE * len(jobs)) if work.over else work
    try:
        rows = least_quick(jobs, part.settings.feet, part.rests, own)
    except TooManyError:
        return None
    if rows is None:
        return None
    quick = sum(row.quick for row in rows)
    return _Known(cost + (quick - prices.apart(cost)[1]) * prices.quick, path, rows)


# -- the finished plan ---------------------------------------------------------------------------------------------


def _finished(part: Part, prices: Prices, known: _Known, least: int) -> TimpaniPlan:
    path, settings = known.path, part.settings
    _, ways, initial = _jobs(part, path)
    work = Work(STEPS_OF_MOVE * (len(part.events) + len(known.rows)))
    rows = placed(known.rows, settings.feet, part.rests, part.quietest, work)
    rows.sort(key=lambda row: (row.start, row.job.drum))
    retunings = []
    for row, left in zip(rows, spares(rows, settings.feet, part.rests), strict=True):
        if not row.job.fixed:
            at, to = ways[row.job]
            retunings.append(Retuning(row.start, row.length, part.drums[row.job.drum].id, at, to, row.quick, left))
    values = prices.apart(known.cost)
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
        known.cost == least,
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
