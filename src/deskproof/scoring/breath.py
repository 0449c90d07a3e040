"""Where a strand sounds and where its player can breathe, bar by bar, and how many seconds lie between two ticks."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import cached_property
from math import ceil

from deskproof import facts
from deskproof.scoring.records import Bar, Passage, Strand, Tone

_HAIR = 1e-9
"""So much of a breath is no breath: what floating point leaves."""


class Clock:
    """Seconds of a tick, counted in page order from the first bar; within a bar they run evenly."""

    def __init__(self, bars: Sequence[Bar]) -> None:
        self.bars = bars
        self._known: dict[int, float] = {}

    @cached_property
    def _onsets(self) -> list[int]:
        return [bar.onset for bar in self.bars]

    @cached_property
    def _starts(self) -> list[float]:
        found = [0.0]
        for bar in self.bars:
            found.append(found[-1] + bar.seconds)
        return found

    def at(self, tick: int) -> float:
        """Seconds from the first bar to a tick."""
        found = self._known.get(tick)
        if found is None:
            found = self._known[tick] = self._at(tick)
        return found

    def _at(self, tick: int) -> float:
        i = max(0, bisect_right(self._onsets, tick) - 1)
        bar = self.bars[i]
        return self._starts[i] + bar.seconds * (tick - bar.onset) / max(1, bar.length)

    def ticks(self, passage: Passage) -> int:
        """How long a passage is, in ticks."""
        return sum(bar.length for bar in self.bars[passage.first : passage.last + 1])

    def between(self, start: int, end: int) -> float:
        """Seconds from one tick to another."""
        return self.at(end) - self.at(start)


def blown_bars(passage: Passage, strand: Strand, clock: Clock) -> frozenset[int]:
    """The bars of a passage in which a strand leaves no silence long enough to breathe (``scoring.breath_rest``)."""
    return _within(passage, clock, _stretches(strand.tones, clock))


def sounding_bars(passage: Passage, strand: Strand, clock: Clock) -> frozenset[int]:
    """The bars of a passage in which a strand sounds at all."""
    bars = (bar for bar in clock.bars[passage.first : passage.last + 1])
    return frozenset(
        bar.index
        for bar in bars
        if any(tone.onset < bar.onset + bar.length and _end(tone) > bar.onset for tone in strand.tones)
    )


def longest_s(tones: Sequence[Tone], clock: Clock) -> float:
    """How long the longest note lasts, in seconds."""
    return max(clock.between(tone.onset, tone.end) for tone in tones)


def breaths(held_s: float, breath_s: float) -> int:
    """How many breaths a held note takes beyond the first.

    >>> breaths(8.0, 8.0), breaths(20.0, 8.0)
    (0, 2)
    """
    return max(0, ceil(held_s / breath_s - _HAIR) - 1)


def notes_a_second(tones: Sequence[Tone], clock: Clock) -> float:
    """How fast the fastest run of a strand goes: so many notes in a row as ``scoring.agility_run`` says; else 0."""
    run = int(facts.get("scoring.agility_run").value)
    sounding = [tone for tone in tones if tone.end > tone.onset]
    spans = (clock.between(sounding[i].onset, sounding[i + run].onset) for i in range(len(sounding) - run))
    shortest = min((span for span in spans if span > 0), default=0.0)
    return run / shortest if shortest else 0.0


def _stretches(tones: Sequence[Tone], clock: Clock) -> list[tuple[int, int]]:
    """From where to where a strand goes on without a silence to breathe in, in ticks."""
    rest = float(facts.get("scoring.breath_rest").value)
    found: list[tuple[int, int]] = []
    for tone in tones:
        if found and clock.between(found[-1][1], tone.onset) < rest:
            found[-1] = (found[-1][0], max(found[-1][1], _end(tone)))
        else:
            found.append((tone.onset, _end(tone)))
    return found


def _within(passage: Passage, clock: Clock, stretches: Sequence[tuple[int, int]]) -> frozenset[int]:
    """The bars that a stretch fills but for silences too short to breathe in."""
    rest = float(facts.get("scoring.breath_rest").value)
    return frozenset(
        bar.index
        for bar in clock.bars[passage.first : passage.last + 1]
        if any(
            clock.between(bar.onset, start) < rest and clock.between(end, bar.onset + bar.length) < rest
            for start, end in stretches
        )
    )


def _end(tone: Tone) -> int:
    """Where a tone ends; a grace note takes no time, and yet sounds."""
    return max(tone.end, tone.onset + 1)
