"""Broken chords: where a figure stays in one harmony, and the voices of a held chord that can stand beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise, product
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.records import BASS, SAME, Passage, Sketch, Strand, Tone
from deskproof.scoring.turning_pace import OCTAVE, in_octave, is_played, seconds
from deskproof.scoring.turning_rules import BROKEN_CHORD
from deskproof.tempo import beat_of

MINOR_THIRD, MAJOR_THIRD = 3, 4


class Harmony(NamedTuple):
    """One chord of a figure: the tones that break it, where it begins and ends, its pitch classes."""

    tones: tuple[Tone, ...]
    start: int
    end: int
    classes: frozenset[int]


def _stacks() -> frozenset[frozenset[int]]:
    """Every chord of four notes in thirds."""
    thirds = tuple(product((MINOR_THIRD, MAJOR_THIRD), repeat=3))
    return frozenset(
        frozenset((root, *((root + sum(steps[: k + 1])) % OCTAVE for k in range(3))))
        for root in range(OCTAVE)
        for steps in thirds
    )


_CHORDS = _stacks()


@cache
def in_thirds(classes: frozenset[int]) -> bool:
    """Whether pitch classes belong to one chord in thirds: a triad, a seventh chord, or part of one.

    >>> in_thirds(frozenset({0, 4, 7})), in_thirds(frozenset({0, 2, 4}))
    (True, False)
    """
    return any(classes <= chord for chord in _CHORDS)


# ---------------------------------------------------------------- where the harmony lasts


def harmonies(sketch: Sketch, passage: Passage, strand: Strand) -> list[Harmony]:
    """The chords that a figure breaks, in order of time; nothing where it is no broken chord."""
    tones = tuple(tone for tone in strand.tones if tone.rule == SAME and tone.end > tone.onset)
    found: list[Harmony] = []
    for stretch in _stretches(sketch, tones):
        for one in _Figure(sketch, passage, stretch).harmonies():
            before = found[-1] if found else None
            if before is not None and before.classes == one.classes and _rests(sketch, before.end, one.start):
                found[-1] = before._replace(tones=(*before.tones, *one.tones), end=one.end)
            else:
                found.append(one)
    least = facts.get("turning.harmony_least").value / 1000
    return [one for one in found if seconds(sketch, one.start, one.end) >= least]


def _rests(sketch: Sketch, end: int, start: int) -> bool:
    """Whether the figure rests between two ticks no longer than a bar."""
    return end <= start <= end + sketch.bar_at(end).length


def _stretches(sketch: Sketch, tones: Sequence[Tone]) -> Iterator[tuple[Tone, ...]]:
    """The tones parted where they stand too far apart for a figure."""
    step = facts.get("turning.figure_step").value / 1000
    run: list[Tone] = []
    for tone in tones:
        if run and seconds(sketch, run[-1].onset, tone.onset) > step:
            yield tuple(run)
            run = []
        run.append(tone)
    if run:
        yield tuple(run)


@dataclass
class _Figure:
    """An unbroken stretch of a figure, to be divided into harmonies at the least cost in all.

    Each harmony costs 1; more where one of its notes stays away for long, or where the bass moves in it; a note that
    belongs to none costs too. Harmonies begin on beats, in a played sketch anywhere.
    """

    sketch: Sketch
    passage: Passage
    tones: tuple[Tone, ...]

    def harmonies(self) -> list[Harmony]:
        """The harmonies; equal ones that follow one another are one, with what passes between them."""
        found: list[tuple[int, int, frozenset[int]]] = []
        for first, after in self._division():
            classes = self._classes(first, after)
            if found and found[-1][2] == classes and self._passing(found[-1][1], first, classes):
                found[-1] = found[-1][0], after, classes
            else:
                found.append((first, after, classes))
        return [self._harmony(*row) for row in found]

    def _harmony(self, first: int, after: int, classes: frozenset[int]) -> Harmony:
        tones = tuple(tone for tone in self.tones[first:after] if tone.midi % OCTAVE in classes)
        end = self.tones[after].onset if after < len(self.tones) else max(tone.end for tone in tones)
        return Harmony(tones, self.tones[first].onset, end, classes)

    def _passing(self, first: int, after: int, classes: frozenset[int]) -> bool:
        """Whether at least half of some tones belong to a chord, so that the others only pass in it."""
        own = [tone.midi % OCTAVE in classes for tone in self.tones[first:after]]
        return 2 * sum(own) >= len(own)

    def _classes(self, first: int, after: int) -> frozenset[int]:
        return frozenset(tone.midi % OCTAVE for tone in self.tones[first:after])

    def _division(self) -> list[tuple[int, int]]:
        """From which tone to which each harmony goes."""
        places = self._places()
        none = facts.get("turning.harmony_none").value
        cost: dict[int, float] = {0: 0.0}
        back: dict[int, tuple[int, bool]] = {}
        for at, place in enumerate(places[1:], 1):
            before = places[at - 1]
            cost[place], back[place] = cost[before] + none * (place - before), (before, False)
            for other in reversed(places[:at]):
                if place - other > self._longest or not in_thirds(self._classes(other, place)):
                    break
                own = self._cost(other, place)
                if own is not None and cost[other] + own < cost[place]:
                    cost[place], back[place] = cost[other] + own, (other, True)
        found = []
        place = places[-1]
        while place:
            before, is_chord = back[place]
            if is_chord:
                found.append((before, place))
            place = before
        return found[::-1]

    def _places(self) -> list[int]:
        """Tones before which a harmony may begin, and the end."""
        count = len(self.tones)
        return [0, *(k for k in range(1, count) if is_played(self.sketch) or self._on_beat(self.tones[k])), count]

    def _on_beat(self, tone: Tone) -> bool:
        bar = self.sketch.bar_at(tone.onset)
        return (tone.onset - bar.onset) % (beat_of(bar.time) * self.sketch.grid) == 0

    def _cost(self, first: int, after: int) -> float | None:
        """What it costs to take some tones as one harmony; None if they are no broken chord."""
        tones = self.tones[first:after]
        ways = [abs(two.midi - one.midi) for one, two in pairwise(tones)]
        leaps = sum(way >= facts.get("turning.figure_leap").value for way in ways)
        if len(tones) < self._least or leaps < facts.get("turning.figure_leaps").value * len(ways):
            return None
        classes = [tone.midi % OCTAVE for tone in tones]
        own = set(classes)
        if len(own) < 2 or len({tone.midi for tone in tones}) < 3:
            return None
        away = sum(max(0, _longest_without(one, classes) - len(own)) for one in own)
        gone, bass = facts.get("turning.harmony_gone").value, facts.get("turning.harmony_bass").value
        return float(1 + gone * away + bass * self._bass_moves(tones[0].onset, tones[-1].onset))

    def _bass_moves(self, start: int, end: int) -> int:
        """How often the bass takes another note inside a stretch."""
        return sum(start < onset <= end for onset in self._bass)

    def __post_init__(self) -> None:
        self._least = int(facts.get("turning.figure_least").value)
        self._longest = int(facts.get("turning.harmony_longest").value)
        bass = [tone for strand in self.passage.strands if strand.kind == BASS for tone in strand.tones]
        self._bass = [two.onset for one, two in pairwise(bass) if (one.midi - two.midi) % OCTAVE]


def _longest_without(class_: int, classes: Sequence[int]) -> int:
    """How many notes long a pitch class stays away at most.

    >>> _longest_without(0, [0, 4, 7, 4, 0, 4]), _longest_without(7, [0, 4, 7, 4, 0, 4])
    (3, 3)
    """
    places = [-1, *(k for k, one in enumerate(classes) if one == class_), len(classes)]
    return max(two - one - 1 for one, two in pairwise(places))


# ---------------------------------------------------------------- the held chord


def held_voices(found: Sequence[Harmony]) -> list[list[Tone]]:
    """The harmonies as held chords, voice by voice from the top; each chord lies as near to the one before as it can.

    All within the compass of the figure. A chord of fewer notes leaves the lowest voices silent.
    """
    most = int(facts.get("turning.voices").value)
    every = [tone.midi for harmony in found for tone in harmony.tones]
    voices: list[list[Tone]] = [[] for _ in range(most)]
    before = [round(sum(every) / len(every))] if every else []
    for harmony in found:
        before = _nearest(harmony, before, min(every), max(every))
        for voice, midi in zip(voices, before, strict=False):
            voice.append(_held(harmony, midi))
    return [voice for voice in voices if voice]


def _nearest(harmony: Harmony, before: Sequence[int], low: int, high: int) -> list[int]:
    """The pitches of a chord, from the top, that lie nearest to those before; then the closest together."""
    choices = [[midi for midi in range(low, high + 1) if midi % OCTAVE == class_] for class_ in sorted(harmony.classes)]
    return max(
        (sorted(chord, reverse=True) for chord in product(*choices)),
        key=lambda chord: (-sum(min(abs(a - b) for b in before) for a in chord), chord[-1] - chord[0], chord),
    )


def _held(harmony: Harmony, midi: int) -> Tone:
    own = [tone for tone in harmony.tones if (tone.midi - midi) % OCTAVE == 0]
    refs = tuple(dict.fromkeys(ref for tone in own for ref in tone.refs))
    return Tone(harmony.start, harmony.end, midi, in_octave(own[0], midi), refs, BROKEN_CHORD.name)
