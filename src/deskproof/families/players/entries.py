"""Stretch by stretch: lines may be divided and players may clash, all exactly.

The stretches are taken in order of time. What the past means for the future is, for every player, the instrument held
and until when, the lines and instruments already had, as far as they come again: of plans that agree in this only the
cheapest are kept (Bellman 1957). The most promising plans go on, first few of them, then more; when none was left out
that could have been better, the best is proven.

The same seats come again and again, in many plans and in every try. Each is numbered, and what a stretch makes of it is
found once: to take a plan further is then to look up numbers, and plans agree where their numbers do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import accumulate, chain
from operator import itemgetter
from typing import NamedTuple, TypeVar

from deskproof.families.players.lines import Found, Work
from deskproof.families.players.terms import AWAY, CLASH, HANDED, INSTRUMENT, PLAYER, SPLIT, Plan, Terms

LOOK_BACK = 40  # stretches that are looked at for what sounds at once; a bound holds however few they are
FIRST_WIDTH = 8  # plans that go on at first
WIDER = 6  # by how much more at every further try


class _Seat(NamedTuple):
    """A player in the middle of a plan, as far as the time to come depends on it.

    ``kind`` is a number that players who are alike share; an instrument of -1 is none yet. ``lines``, ``had`` and
    ``barred`` are masks of lines and instruments had and of instruments no longer to be had, ``last`` of the lines
    that were last here. Without named players ``barred`` follows from doublings, with them it is empty.
    """

    kind: int
    instrument: int = -1
    until: int = 0
    lines: int = 0
    had: int = 0
    last: int = 0
    barred: int = 0


_Trail = tuple[int, "_Trail"] | None
"""The players so far, the latest first."""
_Label = tuple[int, tuple[int, ...], _Trail]
"""A plan so far: its price, its seats by number, its players."""
_Way = tuple[int, int, bool]
"""What a stretch adds, the seat that comes of it (-1: not to be thought of), whether the line comes from elsewhere."""
_T = TypeVar("_T")


class _Table(dict[int, _T]):
    """What belongs to a number, made when it is first asked for."""

    def __init__(self, make: Callable[[int], _T]) -> None:
        super().__init__()
        self.make = make

    def __missing__(self, number: int) -> _T:
        value = self[number] = self.make(number)
        return value


def stretch_by_stretch(terms: Terms, most: int, work: Work, known: Sequence[tuple[int, Plan]] = ()) -> Found:
    """The best plans of all; ``known`` are plans found otherwise, which bound the search and are kept if good."""
    search = _Search(terms, most)
    pool = dict.fromkeys(sorted((value, plan) for value, plan in known))
    width = FIRST_WIDTH
    while True:
        best = sorted(pool)[:most]
        ceiling = best[-1][0] if len(best) == most else None
        before = work.left
        plans, dropped, ended = search.run(width, ceiling, work, must=not pool)
        pool.update(dict.fromkeys(plans))
        best = sorted(pool)[:most]
        if ended and (dropped is None or (len(best) == most and best[-1][0] <= dropped)):
            return Found(tuple(best), True)
        if not ended or work.left <= 0:
            return Found(tuple(best), bool(best) and ended and dropped is not None and best[0][0] <= dropped)
        width = min(width * WIDER, max(width + 1, width * work.left // (before - work.left)))


class _Search:
    def __init__(self, terms: Terms, most: int) -> None:
        self.terms, self.most = terms, most
        count = terms.count
        self.first = [False] * count  # of its line
        seen = 0
        for i, line in enumerate(terms.line):
            self.first[i] = not seen >> line & 1
            seen |= 1 << line
        later_lines, later_instruments = [0], [0]
        for i in range(count - 1, -1, -1):
            later_lines.append(later_lines[-1] | 1 << terms.line[i])
            later_instruments.append(later_instruments[-1] | 1 << terms.instrument[i])
        self.later_lines, self.later_instruments = later_lines[::-1], later_instruments[::-1]
        self.further = self._further()
        self.long_ago = min(terms.starts, default=0) - terms.horizon  # whatever comes has time enough after it
        self.seats: list[_Seat] = []
        self.numbers: dict[_Seat, int] = {}
        self.empty = [self._number(_Seat(kind)) for kind in (terms.alike if terms.players is not None else (0,))]
        self.empties = len(self.seats)
        self.ways = [_Table(partial(self._way, i)) for i in range(count)]
        self.kept = [_Table(partial(self._kept, i, -1)) for i in range(count)]
        self.passed = [_Table(partial(self._kept, i, ~(1 << terms.line[i]))) for i in range(count)]

    def _number(self, seat: _Seat) -> int:
        number = self.numbers.setdefault(seat, len(self.seats))
        if number == len(self.seats):
            self.seats.append(seat)
        return number

    def _further(self) -> list[int]:
        """From every stretch on, clashes that no plan is without: more sounds at once than there are players."""
        terms = self.terms
        further = [0] * (terms.count + 1)
        if terms.players is None:
            return further
        for last in range(terms.count - 1, -1, -1):
            at_once, value = 1, further[last + 1]
            further[last] = max(further[last], value)
            for i in range(last - 1, max(-1, last - LOOK_BACK), -1):
                at_once += terms.ends[i] > terms.starts[last]
                more = at_once - len(terms.players)
                if more > 0:
                    further[i] = max(further[i], value + more * CLASH)
        return list(accumulate(reversed(further), max))[::-1]

    def run(
        self, width: int, ceiling: int | None, work: Work, must: bool
    ) -> tuple[list[tuple[int, Plan]], int | None, bool]:
        """Plans, the least price of what was left out on the way, and whether the work sufficed.

        Above ``ceiling`` nothing is looked for.
        """
        terms = self.terms
        labels: list[_Label] = [(0, () if terms.players is None else tuple(self.empty), None)]
        dropped: int | None = None
        for i in range(terms.count):
            labels = self._go_on(i, labels, None if ceiling is None else ceiling - self.further[i + 1], work)
            if work.left < 0 and not must:
                return [], dropped, False
            if len(labels) > width:
                rest = labels[width][0] + self.further[i + 1]
                dropped = rest if dropped is None else min(dropped, rest)
                del labels[width:]
        plans = [(value, terms.canonical(_plan(trail))) for value, _, trail in labels[: self.most]]
        return plans, dropped, True

    def _go_on(self, i: int, labels: Sequence[_Label], ceiling: int | None, work: Work) -> list[_Label]:
        """The plans with one more stretch given, cheapest first; those that agree only if they are among the best."""
        most, empties, free, end = self.most, self.empties, self.terms.players is None, i + 1 == self.terms.count
        ways, kept, passed = self.ways[i], self.kept[i].__getitem__, self.passed[i].__getitem__
        groups: dict[tuple[int, ...], list[_Label]] = {}
        steps = 0
        for value, seats, trail in labels:
            opened = stay = moved = None
            for p, seat in enumerate((*seats, self.empty[0]) if free else seats):
                if seat < empties:
                    if opened is None:
                        opened = {seat}
                    elif seat in opened:
                        continue
                    else:
                        opened.add(seat)
                way = ways[seat]
                if way is None:
                    continue
                steps += 1
                adds, new, passes = way
                total = value + adds
                if new < 0 or (ceiling is not None and total > ceiling):
                    continue
                if passes:
                    if moved is None:
                        moved = list(map(passed, seats))
                    after = moved[:]
                else:
                    if stay is None:
                        stay = list(map(kept, seats))
                    after = stay[:]
                if p < len(after):
                    after[p] = new
                else:
                    after.append(new)
                key = () if end else tuple(sorted(after))
                group = groups.get(key)
                if group is None:
                    groups[key] = [(total, tuple(after), (p, trail))]
                elif len(group) < most or total < group[-1][0]:
                    group.append((total, tuple(after), (p, trail)))
                    group.sort(key=_PRICE)
                    del group[most:]
        work.left -= steps
        return sorted(chain.from_iterable(groups.values()), key=_PRICE)

    def _way(self, i: int, number: int) -> _Way | None:
        """What comes of giving a stretch to a seat; None where the player may not have it."""
        terms, seat = self.terms, self.seats[number]
        line, instrument = terms.line[i], terms.instrument[i]
        bit = 1 << line
        if seat.barred >> instrument & 1 or not (terms.players is None or terms.plays[seat.kind] >> instrument & 1):
            return None
        if seat.instrument < 0:
            adds = PLAYER
        else:
            adds = terms.step(seat.instrument, seat.until, instrument, terms.starts[i])
        if terms.players is None and adds >= CLASH:
            return 0, -1, False
        if not seat.had >> instrument & 1:
            adds += INSTRUMENT
        new = not seat.lines & bit
        if new and not self.first[i]:
            adds += SPLIT
        owners = terms.owners[line]
        passes = not owners and not self.first[i] and not seat.last & bit
        if passes:
            adds += HANDED
        elif owners and not owners >> seat.kind & 1:
            adds += HANDED + AWAY * new
        held, until = instrument, terms.ends[i]
        if seat.instrument >= 0 and until < seat.until:
            held, until = seat.instrument, seat.until
        barred = seat.barred
        if terms.players is None:
            barred |= ~terms.friends[instrument]
        after = _Seat(seat.kind, held, until, seat.lines | bit, seat.had | 1 << instrument, seat.last | bit, barred)
        return adds, self._lasting(i, after), passes

    def _kept(self, i: int, last: int, number: int) -> int:
        """A seat that a stretch was not given to; ``last`` is a mask of the lines that may still be last there."""
        seat = self.seats[number]
        return self._lasting(i, seat if seat.last == seat.last & last else seat._replace(last=seat.last & last))

    def _lasting(self, i: int, seat: _Seat) -> int:
        """What of a seat the time after a stretch depends on, by number."""
        kind, instrument, until, lines, had, last, barred = seat
        if i + 1 == self.terms.count or instrument < 0:
            return self._number(_Seat(kind))
        instruments_left, lines_left = self.later_instruments[i + 1], self.later_lines[i + 1]
        long_ago = until <= self.terms.starts[i + 1] - self.terms.horizon
        if (long_ago and until > self.long_ago) or lines & ~lines_left or (had | barred) & ~instruments_left:
            if long_ago:
                until = self.long_ago
            seat = _Seat(
                kind,
                instrument,
                until,
                lines & lines_left,
                had & instruments_left,
                last & lines_left,
                barred & instruments_left,
            )
        return self._number(seat)


_PRICE = itemgetter(0)


def _plan(trail: _Trail) -> Plan:
    found = []
    while trail is not None:
        player, trail = trail
        found.append(player)
    return tuple(reversed(found))
