"""The part as the search sees it: which drums can take each event, and what comes later."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import islice
from typing import NamedTuple

from deskproof.families.timpani.feet import Rests
from deskproof.families.timpani.model import Event, Settings

__all__ = ["LATE", "Part", "Use", "Way"]

WAYS, FEW = 20_000, 24
"""So many ways are looked at in a part, each chord counted once; when they are spent, so many of each further chord."""

LATE = 1 << 60
"""After every time that occurs."""


class Use(NamedTuple):
    """A drum, by its ordinal, the pitch it is struck at and the one it stands at afterwards."""

    drum: int
    pitch: int
    arrives: int


class Way(NamedTuple):
    """One way to take an event: for each pitch the ordinal of its drum, None where it is left out."""

    drums: tuple[int | None, ...]
    uses: tuple[Use, ...]
    left_out: int
    off_best: int


class Part:
    """Events and settings with all that can be said of them before anything is decided.

    Raises
    ------
    ValueError
        If the events are not in order of time, each time once, or one of them is not well formed.
    """

    def __init__(self, events: Sequence[Event], settings: Settings) -> None:
        for i, event in enumerate(events):
            if i and event.t_us <= events[i - 1].t_us:
                raise ValueError(f"event {i} at {event.t_us} us: the events must be in order of time, each time once")
            if settings.initial and event.t_us < settings.start_us:
                raise ValueError(f"event {i} at {event.t_us} us lies before the beginning at {settings.start_us} us")
            if event.hold_us < 0:
                raise ValueError(f"event {i}: the hold of {event.hold_us} us is below 0")
            if event.to and len(event.to) != len(event.pitches):
                raise ValueError(f"event {i}: {len(event.pitches)} pitches arrive at {len(event.to)}")
        self.events = tuple(events)
        self._times = [event.t_us for event in events]
        self.settings = settings
        self.drums = settings.drums
        self.all_ways = True  # whether no event has more of them than are looked at
        self._left = WAYS
        known: dict[tuple[tuple[int, ...], tuple[int, ...], bool], tuple[Way, ...]] = {}
        for event in events:
            chord = (event.pitches, event.to, event.hold_us > 0)
            if chord not in known:
                known[chord] = self._ways(event)
        self.ways = tuple(known[event.pitches, event.to, event.hold_us > 0] for event in events)
        self.least_left_out = tuple(ways[0].left_out for ways in self.ways)
        playable = [event for event, out in zip(events, self.least_left_out, strict=True) if out < len(event.pitches)]
        self.rests = Rests(() if settings.hands_free else ((event.t_us, event.end_us) for event in playable))
        self.quietest = Rests((event.t_us, event.end_us) for event in playable)
        width = max([0, *(drum.high - drum.low for drum in self.drums)])
        self.comfortable = [0, *(settings.comfortable_us(n) for n in range(1, width + 1))]
        self.quickest = [0, *(settings.quickest_us(n) for n in range(1, width + 1))]

    @cached_property
    def struck(self) -> tuple[dict[int, list[int]], ...]:
        """For each drum and pitch the ordinals of the events in which the drum may be struck at it."""
        found: tuple[dict[int, list[int]], ...] = tuple({} for _ in self.drums)
        known: dict[int, set[tuple[int, int]]] = {}
        for i, ways in enumerate(self.ways):
            if id(ways) not in known:
                known[id(ways)] = {(use.drum, use.pitch) for way in ways for use in way.uses}
            for d, pitch in known[id(ways)]:
                found[d].setdefault(pitch, []).append(i)
        return found

    @cached_property
    def last(self) -> tuple[dict[int, int], ...]:
        """For each drum and pitch the ordinal of the last event in which the drum may be struck at it."""
        return tuple({pitch: events[-1] for pitch, events in rows.items()} for rows in self.struck)

    @cached_property
    def twins(self) -> tuple[tuple[int, ...], ...]:
        """The ordinals of drums that have the same compass, where there are several of a kind."""
        kinds: dict[tuple[int, int], list[int]] = {}
        for d, drum in enumerate(self.drums):
            kinds.setdefault((drum.low, drum.high), []).append(d)
        return tuple(tuple(drums) for drums in kinds.values() if len(drums) > 1)

    def first_from(self, t_us: int) -> int:
        """The ordinal of the first event at or after a time."""
        return bisect_left(self._times, t_us)

    def last_other(self, d: int, pitch: int) -> int:
        """The ordinal of the last event in which a drum may be struck at any other pitch; -1 if there is none."""
        return max((i for other, i in self.last[d].items() if other != pitch), default=-1)

    def width(self, d: int) -> int:
        """The compass of a drum in semitones."""
        return self.drums[d].high - self.drums[d].low

    def takers(self, event: int, k: int) -> list[int]:
        """The ordinals of the drums that have the ``k``-th pitch of an event, and where it slides the way of it."""
        return self._takers(self.events[event], k)

    def _takers(self, event: Event, k: int) -> list[int]:
        pitch, arrives = event.pitches[k], event.arrives(k)
        if pitch != arrives and (not self.settings.pedals or event.hold_us == 0):
            return []
        return [d for d, drum in enumerate(self.drums) if drum.has(pitch) and drum.has(arrives)]

    def _ways(self, event: Event) -> tuple[Way, ...]:
        """All ways, those that leave out least first; equal pitches take their drums in order.

        Where there are too many of them, some, and last the one that leaves out everything.
        """
        takers = [self._takers(event, k) for k in range(len(event.pitches))]
        most = max(FEW, self._left)
        choices = _choices(event, takers, self.settings.sticks, ())
        found = [self.way(event, drums) for drums in islice(choices, most)]
        self._left -= len(found)
        if next(choices, None) is not None:
            self.all_ways = False
            found.append(self.way(event, (None,) * len(takers)))
        within = [way for way in found if sum(use.pitch != use.arrives for use in way.uses) <= self.settings.feet]
        return tuple(sorted(within, key=lambda way: (way.left_out, way.off_best)))

    def way(self, event: Event, drums: tuple[int | None, ...]) -> Way:
        """A way of taking an event, given the ordinal of the drum of each of its pitches."""
        uses = tuple(Use(d, event.pitches[k], event.arrives(k)) for k, d in enumerate(drums) if d is not None)
        off = sum(self.settings.off_best(self.drums[use.drum], use.pitch) for use in uses)
        return Way(drums, uses, len(drums) - len(uses), off)


def _choices(
    event: Event, takers: Sequence[Sequence[int]], sticks: int, taken: tuple[int | None, ...]
) -> Iterator[tuple[int | None, ...]]:
    """Different drums for the pitches, each or none; equal pitches take theirs in order."""
    k = len(taken)
    if k == len(takers):
        yield taken
        return
    before = [d for m, d in enumerate(taken) if _same(event, m, k)]
    if sticks and not (before and before[-1] is None):
        for d in takers[k]:
            if d not in taken and (not before or (before[-1] is not None and d > before[-1])):
                yield from _choices(event, takers, sticks - 1, (*taken, d))
    yield from _choices(event, takers, sticks, (*taken, None))


def _same(event: Event, a: int, b: int) -> bool:
    return (event.pitches[a], event.arrives(a)) == (event.pitches[b], event.arrives(b))
