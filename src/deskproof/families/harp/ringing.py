"""Strings ring on: what still sounds when a pedal of its letter moves, and whether it would be heard.

A string rings for a time that depends on its register, until it is plucked again, damped by a sign, or damped by a
free hand in a rest. Sons étouffés and staccato notes are damped where they end; let-ring signs keep the hands off.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.harp.model import String
from deskproof.families.harp.plan import Change, PedalPlan
from deskproof.families.harp.reading import Plucked, Reading
from deskproof.families.loudness import Loudness
from deskproof.pitch import parse
from deskproof.score import Part

SHORT = ("staccato", "staccatissimo", "damp", "muffle")
SOFT = frozenset(("n", "p", "pp", "ppp", "pppp", "ppppp", "pppppp"))


class Ring(NamedTuple):
    """A string that was plucked: onset and note ordinals, when, until when it is held, until when it rings."""

    onset: int
    note: int
    string: String
    t_us: int
    held_us: int
    until_us: int


class Buzz(NamedTuple):
    """A pedal that moves under a ringing string."""

    change: Change
    ring: Ring


@dataclass(frozen=True, slots=True)
class Times:
    """How long strings ring, by octave of the string from the first, and how long a rest takes to damp them."""

    ring_us: tuple[int, ...]
    damp_us: int

    @classmethod
    def from_facts(cls, factor: float = 1.0) -> Times:
        """The figures of the tables, the ringing lengthened by a factor."""
        rows = facts.get("harp.ring").value
        return cls(
            tuple(round(1000 * factor * float(ms)) for ms in rows), 1000 * int(facts.get("harp.damp_time").value)
        )

    def of(self, string: String) -> int:
        """How long a string rings, in microseconds."""
        return self.ring_us[min(max(string.octave, 1), len(self.ring_us)) - 1]


class Ringing:
    """Until when each plucked string of a reading is heard if it is not plucked again."""

    def __init__(self, reading: Reading, part: Part, times: Times) -> None:
        self.reading, self.times = reading, times
        self.signs = sorted(t_us for t_us, _ in reading.damps)
        self.rests = _rests(reading, times.damp_us)
        self.ends = [end for end, _ in self.rests]
        self.short = _short_stretches(part)

    def until_us(self, onset: int, note: int, string: String) -> int:
        """When the string of a note is silent, by the ordinals of onset and note."""
        one, t_us = self.reading.plucked[onset][note], self.reading.onsets[onset].t_us
        until = t_us + self.times.of(string)
        sign = bisect_right(self.signs, t_us)
        if sign < len(self.signs):
            until = min(until, self.signs[sign])
        end = t_us + one.written_us
        if _is_short(one, self.short):
            return min(until, end)
        if any(mark.kind == "tied" and mark.value == "let-ring" for e in one.events for mark in e.note.marks):
            return until
        rest = bisect_left(self.ends, end)
        return min(until, max(self.rests[rest][1], end)) if rest < len(self.rests) else until


def rings(ringing: Ringing, pedals: PedalPlan) -> list[Ring]:
    """Every string plucked in a plan, with the time until which it is heard; in order of onset."""
    reading = ringing.reading
    attacks: dict[String, list[int]] = {}
    for onset, planned in zip(reading.onsets, pedals.notes, strict=True):
        for taken in planned:
            if taken is not None:
                attacks.setdefault(taken.string, []).append(onset.t_us)
    found = []
    for i, (onset, planned) in enumerate(zip(reading.onsets, pedals.notes, strict=True)):
        for n, taken in enumerate(planned):
            if taken is None:
                continue
            until = ringing.until_us(i, n, taken.string)
            own = attacks[taken.string]
            again = bisect_right(own, onset.t_us)
            if again < len(own):
                until = min(until, own[again])
            found.append(Ring(i, n, taken.string, onset.t_us, onset.t_us + taken.hold_us, until))
    return found


def buzzes(found: Sequence[Ring], changes: Sequence[Change]) -> list[Buzz]:
    """The changes that move a pedal under a string that still rings, each with each such string."""
    by_letter: dict[str, list[Ring]] = {}
    for ring in found:
        by_letter.setdefault(ring.string.letter, []).append(ring)
    rows = []
    for change in changes:
        last: dict[String, Ring] = {}
        for ring in by_letter.get(change.pedal, ()):
            if ring.t_us > change.t_us:
                break
            last[ring.string] = ring
        rows += [Buzz(change, ring) for ring in last.values() if ring.until_us > change.t_us >= ring.t_us]
    return rows


def _rests(reading: Reading, damp_us: int) -> list[tuple[int, int]]:
    """Silences long enough to damp all strings: where they begin, and when the strings are silent."""
    found = []
    end = None
    for onset in reading.onsets:
        if end is not None and onset.t_us - end >= damp_us:
            found.append((end, end + damp_us))
        last = onset.t_us + max((note.written_us for note in onset.notes), default=0)
        end = last if end is None else max(end, last)
    if end is not None:
        found.append((end, end + damp_us))
    return found


def _short_stretches(part: Part) -> list[tuple[int, int, bool]]:
    """Where sons étouffés are in force: (measure, tick, whether) in page order."""
    found = []
    for measure in part.measures:
        for sign in measure.directions:
            if sign.kind == "words":
                kinds = {meaning.kind for meaning in words.meanings(sign.value)}
                if "etouffe" in kinds:
                    found.append((measure.index, sign.start, True))
                elif kinds & {"let-ring", "ordinary", "pres-de-la-table"}:
                    found.append((measure.index, sign.start, False))
    return sorted(found)


def _is_short(one: Plucked, stretches: Sequence[tuple[int, int, bool]]) -> bool:
    event = one.events[0]
    if any(e.note.marked(kind) is not None for e in one.events for kind in SHORT):
        return True
    at = bisect_right(stretches, (event.measure, event.note.start, True))
    return at > 0 and stretches[at - 1][2]


def heard(
    found: Sequence[Buzz], reading: Reading, part: Part, others: Sequence[Part], times: Times
) -> Iterator[tuple[Buzz, str]]:
    """Those that would be heard, with the reason: a low string, soon after its attack, soft or exposed."""
    lowest = parse(str(facts.get("harp.heard_below").value))
    line = String(lowest.step, lowest.octave).line
    share = float(facts.get("harp.heard_share").value)
    few = int(facts.get("harp.exposed_parts").value)
    loudness = Loudness(part)
    for one in found:
        ring, change = one.ring, one.change
        if ring.string.line >= line or change.t_us - ring.t_us > share * times.of(ring.string):
            continue
        event = reading.plucked[ring.onset][ring.note].events[0]
        sign = loudness.at(event.measure, event.note.start)
        if sign in SOFT:
            yield one, f"in {sign}"
        elif _sounding(others, event.measure) <= few:
            yield one, "with few others playing"


def _sounding(others: Sequence[Part], measure: int) -> int:
    return sum(
        any(note.pitch is not None for note in part.measures[measure].notes)
        for part in others
        if measure < len(part.measures)
    )
