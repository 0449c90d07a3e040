"""Stretch by stretch: lines may be divided and players may clash, all exactly.

The stretches are taken in order of time. What the past means for the future is, for every player, the instrument held
and until when, the lines and instruments already had, as far as they come again: of plans that agree in this only the
cheapest are kept (Bellman 1957). The most promising plans go on, first few of them, then more; when none was left out
that could have been better, the best is proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

from deskproof.families.players.lines import Found, Work
from deskproof.families.players.terms import AWAY, CLASH, HANDED, INSTRUMENT, PLAYER, SPLIT, Plan, Terms, bits

LOOK_BACK = 40  # stretches that are looked at for what sounds at once; a bound holds however few they are
FIRST_WIDTH = 8  # plans that go on at first
WIDER = 6  # by how much more at every further try


class _Seat(NamedTuple):
    """A player in the middle of a plan; lines and instruments are masks, ``last`` the lines that were last here."""

    instrument: int = -1
    until: int = 0
    lines: int = 0
    had: int = 0
    last: int = 0


class _Trail(NamedTuple):
    """The players so far, the latest first."""

    player: int
    before: _Trail | None


class _Label(NamedTuple):
    value: int
    seats: tuple[_Seat, ...]
    trail: _Trail | None


_FREE = _Seat()
_Row = tuple[int, ...]


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
        seats = () if terms.players is None else (_FREE,) * len(terms.players)
        labels = [_Label(0, seats, None)]
        dropped: int | None = None
        for i in range(terms.count):
            groups: dict[tuple[_Row, ...] | None, list[_Label]] = {}
            for label in labels:
                self._go_on(i, label, groups, work, ceiling)
            if work.left < 0 and not must:
                return [], dropped, False
            labels = sorted((label for group in groups.values() for label in group), key=lambda label: label.value)
            if len(labels) > width:
                rest = labels[width].value + self.further[i + 1]
                dropped = rest if dropped is None else min(dropped, rest)
                del labels[width:]
        plans = [(label.value, terms.canonical(_plan(label.trail))) for label in labels[: self.most]]
        return plans, dropped, True

    def _go_on(
        self,
        i: int,
        label: _Label,
        groups: dict[tuple[_Row, ...] | None, list[_Label]],
        work: Work,
        ceiling: int | None,
    ) -> None:
        terms = self.terms
        seats = label.seats
        opened: set[int] = set()
        rows: list[_Row] = []
        for p in range(len(seats) + (terms.players is None)):
            seat = seats[p] if p < len(seats) else _FREE
            if terms.players is not None and seat.instrument < 0:
                if terms.alike[p] in opened:
                    continue
                opened.add(terms.alike[p])
            if not terms.may(p, seat.had, terms.instrument[i]):
                continue
            work.left -= 1
            adds = self._adds(i, p, seat)
            if terms.players is None and adds >= CLASH:
                continue
            value = label.value + adds
            if ceiling is not None and value + self.further[i + 1] > ceiling:
                continue
            after, changed = self._seated(i, p, seat, seats)
            if not rows:
                rows = [self._row(i, q, one) for q, one in enumerate(seats)]
            group = groups.setdefault(self._key(i, after, rows, changed), [])
            new = _Label(value, after, _Trail(p, label.trail))
            group.append(new)
            if len(group) > self.most:
                group.sort(key=lambda one: one.value)
                group.pop()

    def _adds(self, i: int, player: int, seat: _Seat) -> int:
        terms = self.terms
        line, instrument = terms.line[i], terms.instrument[i]
        if seat.instrument < 0:
            value = PLAYER
        else:
            value = terms.step(seat.instrument, seat.until, instrument, terms.starts[i])
        if not seat.had >> instrument & 1:
            value += INSTRUMENT
        new = not seat.lines >> line & 1
        if new and not self.first[i]:
            value += SPLIT
        owners = terms.owners[line]
        if owners:
            if not owners >> player & 1:
                value += HANDED + AWAY * new
        elif not self.first[i] and not seat.last >> line & 1:
            value += HANDED
        return value

    def _seated(
        self, i: int, player: int, seat: _Seat, seats: tuple[_Seat, ...]
    ) -> tuple[tuple[_Seat, ...], tuple[int, ...]]:
        """The players with one more stretch given, and those of whom something has changed."""
        terms = self.terms
        line, instrument = terms.line[i], terms.instrument[i]
        until = terms.ends[i]
        held = instrument
        if seat.instrument >= 0 and until < seat.until:
            held, until = seat.instrument, seat.until
        bit = 1 << line
        after = list(seats)
        changed = [player]
        if not self.first[i] and not terms.owners[line] and not seat.last & bit:
            for q, other in enumerate(after):
                if other.last & bit:
                    after[q] = _Seat(other.instrument, other.until, other.lines, other.had, other.last & ~bit)
                    changed.append(q)
        new = _Seat(held, until, seat.lines | bit, seat.had | 1 << instrument, seat.last | bit)
        if player < len(after):
            after[player] = new
        else:
            after.append(new)
        return tuple(after), tuple(changed)

    def _row(self, i: int, player: int, seat: _Seat) -> _Row:
        """What of a player the time after a stretch depends on."""
        terms = self.terms
        if i + 1 == terms.count:
            return (0,)
        instruments, lines = self.later_instruments[i + 1], self.later_lines[i + 1]
        old = terms.starts[i + 1] - terms.horizon
        kind = barred = 0
        if terms.players is None:
            for instrument in bits(seat.had):
                barred |= ~terms.friends[instrument] & instruments
        else:
            kind = terms.alike[player]
        until = old if seat.instrument < 0 or seat.until < old else seat.until
        return kind, seat.instrument, until, seat.lines & lines, seat.had & instruments, seat.last & lines, barred

    def _key(
        self, i: int, seats: tuple[_Seat, ...], rows: Sequence[_Row], changed: Sequence[int]
    ) -> tuple[_Row, ...] | None:
        """What the time after a stretch depends on, players who are alike in any order; None after the last."""
        if i + 1 == self.terms.count:
            return None
        new = list(rows)
        for p in changed:
            if p < len(new):
                new[p] = self._row(i, p, seats[p])
            else:
                new.append(self._row(i, p, seats[p]))
        new.sort()
        return tuple(new)


def _plan(trail: _Trail | None) -> Plan:
    found = []
    while trail is not None:
        found.append(trail.player)
        trail = trail.before
    return tuple(reversed(found))
