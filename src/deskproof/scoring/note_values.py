"""The times of a MIDI sketch as note values: what was played, or shortened when it was exported, can be written.

Onsets that stand on a grid stay as they are; a player's go to the halves, quarters, thirds ... of their beat that
lie near. Ends go to the plainest value that is about as long.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Container, Mapping, Sequence
from fractions import Fraction

from deskproof import facts
from deskproof.scoring.records import Bar, SketchNote

TWOS, THREES = (1, 2, 4, 8, 16), (1, 3, 6, 12)
"""Into how many parts a quarter is divided, the plainest first."""


def in_values(notes: Sequence[SketchNote], bars: Sequence[Bar], grid: int, is_played: bool) -> list[SketchNote]:
    """The notes with onsets and ends that note values can have, in ticks as before; no note becomes empty.

    ``is_played``: the onsets are a player's too.
    """
    places = {note.onset: (note.bar, note.onset - bars[note.bar].onset) for note in notes}
    beats: dict[tuple[int, int], list[int]] = {}
    for bar, at in places.values():
        beats.setdefault((bar, at // grid), []).append(at % grid)
    divided = {beat: _division(onsets, grid, is_played) for beat, onsets in beats.items()}
    return [_valued(note, bars, grid, divided, () if is_played else places.keys(), is_played) for note in notes]


def _valued(
    note: SketchNote, bars: Sequence[Bar], grid: int, divided: Mapping[tuple[int, int], int],
    begun: Container[int], is_played: bool,
) -> SketchNote:  # fmt: skip
    """The note with its times; ``begun``: where others begin, so that an end there is exact."""
    bar = bars[note.bar]
    at = note.onset - bar.onset
    division = divided[note.bar, at // grid]
    onset = bar.onset + (_nearest(at, grid, division) if is_played else at)
    own = _family(division)
    end = note.end + onset - note.onset
    if end not in begun and (is_played or not any(_stands(end - onset, grid, parts) for parts in own)):
        end = onset + _length(note.end - note.onset, grid, own, note.onset != note.end)
        end = _in_its_beat(end, onset, bars, grid, divided, own) if end > onset else end
    last = bars[-1].onset + bars[-1].length
    if onset >= last:
        onset, end = last - grid // own[2], last
    index = next((bar.index for bar in bars[note.bar :] if onset < bar.onset + bar.length), note.bar)
    end = min(end, max(last, onset))
    rings = max(end, _nearest(note.rings, grid, TWOS[1])) if note.rings > note.end else end
    return note._replace(bar=index, onset=onset, end=end, rings=rings)


def _in_its_beat(
    end: int, onset: int, bars: Sequence[Bar], grid: int, divided: Mapping[tuple[int, int], int], own: Sequence[int]
) -> int:
    """An end on a place that its beat has, as it is divided by what begins in it: thirds and quarters do not mix."""
    k = max(0, bisect_right([bar.onset for bar in bars], end) - 1)
    at = end - bars[k].onset
    division = divided.get((k, at // grid), own[1])
    found = bars[k].onset + _nearest(at, grid, division)
    return found if found > onset else onset + grid // max(division, own[1])


def _division(onsets: Sequence[int], grid: int, is_played: bool) -> int:
    """Into how many parts a beat is divided by what begins in it."""
    near = Fraction(str(facts.get("midi.onset_near").value)) * grid if is_played else Fraction(0)
    for parts in (1, 2, 4, 3, 8, 6, 16, 12):
        if grid % parts == 0 and all(abs(_nearest(at, grid, parts) - at) <= near for at in onsets):
            return parts
    return TWOS[3]


def _family(division: int) -> tuple[int, ...]:
    return THREES if division % 3 == 0 else TWOS


def _length(ticks: int, grid: int, divisions: Sequence[int], sounds: bool) -> int:
    """The plainest length that is near enough to one in ticks."""
    near = Fraction(str(facts.get("midi.length_near").value)) * ticks
    known = [parts for parts in divisions if grid % parts == 0]
    for parts in known:
        found = _nearest(ticks, grid, parts)
        if found and abs(found - ticks) <= near:
            return found
    return max(_nearest(ticks, grid, known[-1]), grid // known[-1] if sounds else 0)


def _stands(ticks: int, grid: int, parts: int) -> bool:
    return ticks * parts % grid == 0


def _nearest(ticks: int, grid: int, parts: int) -> int:
    """The nearest multiple of a part of a quarter; of two the earlier."""
    step = grid // parts
    return (ticks + (step - 1) // 2) // step * step
