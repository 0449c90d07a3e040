"""Which letter is each key? Spelling by key, by voice leading, and by what sounds around a note.

A place on the line of fifths is a whole number: F -1, C 0, G 1 ... B 5, F♯ 6; B♭ -2. A key is (signature, mode),
the signature in fifths, mode 0 major and 1 minor. First the cheapest way through the keys is found, one stretch of
a quarter note after the other, by exact dynamic programming; seven letters of each key are then plain, and for each
of the other five keys of the octave sharp is weighed against flat. All figures are facts (``midi.toml``).
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from deskproof import facts
from deskproof.pitch import Pitch, spelled

_LETTERS = "FCGDAEB"
_CLASSES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNATURES = range(-7, 8)
_KEYS = tuple((fifths, mode) for fifths in _SIGNATURES for mode in (0, 1))
_ENHARMONIC = 12  # fifths between two names of one key of the keyboard
_LAST_PLAIN = 5  # from the signature: F to B, of C major
_FLATTENED = {0: (8, 9, 10), 1: (9, 10)}  # chromatic notes taken as flats until something speaks for the sharp
_ODD_NAMES = (-8, -7, -6, 10, 11, 12)  # of the single signs, those beyond five: F♭ C♭ G♭, A♯ E♯ B♯
_PASSES = 2


class Heard(NamedTuple):
    """A sounding note: onset in ticks, MIDI number, and the line (voice, hand, staff) it belongs to."""

    onset: int
    key: int
    line: int


def spell(notes: Sequence[Heard], quarter: int, signatures: Sequence[tuple[int, int]] = ()) -> list[Pitch]:
    """The pitch of each note, which must come in order of onset.

    Parameters
    ----------
    notes : sequence of Heard
        All pitched notes of a score at once: one key holds for all lines.
    quarter : int
        Ticks a quarter.
    signatures : sequence of (tick, fifths)
        The printed keys in order of time; empty where nothing is known, and the keys are then estimated alone.
    """
    if not notes:
        return []
    keys = keys_of(notes, quarter, signatures)
    places = [_plain(note.key % 12, key) for note, key in zip(notes, keys, strict=True)]
    distances = [_above(note.key % 12, fifths) for note, (fifths, _) in zip(notes, keys, strict=True)]
    chromatic = [i for i, above in enumerate(distances) if above > _LAST_PLAIN]
    steps = _steps(notes)
    for _ in range(_PASSES):
        around = _Around(notes, places)
        places = list(places)
        for i in chromatic:
            sharp = keys[i][0] + distances[i]
            odds = _odds(keys[i], distances[i], steps[i], around.means(i, quarter))
            places[i] = sharp if odds > 0 else sharp - _ENHARMONIC
    return [_pitch(note.key, place) for note, place in zip(notes, places, strict=True)]


def _above(pitch_class: int, fifths: int) -> int:
    """The place of a pitch class, -1 to 10 fifths from the signature: its sharp name where it is no plain note."""
    return (7 * pitch_class - fifths + 1) % 12 - 1


def _plain(pitch_class: int, key: tuple[int, int]) -> int:
    fifths, mode = key
    above = _above(pitch_class, fifths)
    return fifths + above - (_ENHARMONIC if above in _FLATTENED[mode] else 0)


@lru_cache(maxsize=512)
def _pitch(key: int, place: int) -> Pitch:
    if abs((place + 1) // 7) > 2:  # never more than a double sign
        place -= _ENHARMONIC if place > 0 else -_ENHARMONIC
    step, alter = _LETTERS[(place + 1) % 7], (place + 1) // 7
    return spelled(step, alter, (key - alter - _CLASSES[step]) // 12 - 1)


# ------------------------------------------------------------------ the way through the keys


def keys_of(notes: Sequence[Heard], quarter: int, signatures: Sequence[tuple[int, int]] = ()) -> list[tuple[int, int]]:
    """The key at each note: the cheapest way through the stretches of a quarter in which something begins."""
    present: dict[int, int] = {}
    for note in notes:
        stretch = note.onset // quarter
        present[stretch] = present.get(stretch, 0) | 1 << note.key % 12
    prices: Mapping[str, float] = facts.get("midi.key_prices").value
    ticks = [tick for tick, _ in signatures]
    way: list[list[int]] = []
    costs: list[float] = []
    for stretch in sorted(present):
        here = list(_evidence(present[stretch]))
        if signatures:
            at = bisect_right(ticks, stretch * quarter + quarter // 2) - 1
            printed = signatures[max(at, 0)][1]
            here = [cost + prices["signature"] * abs(k - printed) for cost, (k, _) in zip(here, _KEYS, strict=True)]
        if costs:
            moved, origins = _moved(costs, prices)
            way.append(origins)
            here = [a + b for a, b in zip(here, moved, strict=True)]
        costs = here
    state = costs.index(min(costs))
    path = [state]
    for origins in reversed(way):
        state = origins[state]
        path.append(state)
    found = {stretch: _KEYS[state] for stretch, state in zip(sorted(present), reversed(path), strict=True)}
    return [found[note.onset // quarter] for note in notes]


@lru_cache(maxsize=4096)
def _evidence(present: int) -> tuple[float, ...]:
    """The price of each key for a stretch in which these pitch classes (bits) begin."""
    prices: Mapping[str, float] = facts.get("midi.key_prices").value
    here = [pc for pc in range(12) if present >> pc & 1]
    profiles = facts.get("midi.present_in_major").value, facts.get("midi.present_in_minor").value

    def unlikely(profile: Sequence[float], tonic: int) -> float:
        shares = [profile[(pc - tonic) % 12] for pc in range(12)]
        return -sum(math.log(share if pc in here else 1 - share) for pc, share in enumerate(shares))

    return tuple(
        prices["evidence"] * unlikely(profiles[mode], (7 * fifths + 9 * mode) % 12)
        + prices["few"] * abs(fifths)
        + prices["accidental"] * sum(_signs(_plain(pc, (fifths, mode))) for pc in here)
        for fifths, mode in _KEYS
    )


def _signs(place: int) -> float:
    """How unwelcome the sign of a note is: 1 for a sharp or flat, more for a double one or a rare name."""
    signs = abs((place + 1) // 7)
    return (0, 1, 2.5, 4)[min(signs, 3)] + (0.5 if signs == 1 and place in _ODD_NAMES else 0)


def _moved(costs: list[float], prices: Mapping[str, float]) -> tuple[list[float], list[int]]:
    """The cheapest way into each key from the costs of the stretch before, and where it comes from.

    The price of a distance on a line is passed on from neighbour to neighbour, once up and once down.
    """
    best = [(cost, i) for i, cost in enumerate(costs)]
    for i in range(0, len(best), 2):
        major, minor = best[i], best[i + 1]
        best[i] = min(major, (minor[0] + prices["mode"], minor[1]))
        best[i + 1] = min(minor, (major[0] + prices["mode"], major[1]))
    _spread(best, prices["fifth"])
    hop = 2 * _ENHARMONIC
    for i in range(len(best) - hop):
        low, high = best[i], best[i + hop]
        best[i] = min(low, (high[0] + prices["enharmonic"], high[1]))
        best[i + hop] = min(high, (low[0] + prices["enharmonic"], low[1]))
    _spread(best, prices["fifth"])
    change = prices["change"]
    moved, origins = [], []
    for i, cost in enumerate(costs):
        other, origin = best[i]
        stays = cost <= other + change
        moved.append(cost if stays else other + change)
        origins.append(i if stays else origin)
    return moved, origins


def _spread(best: list[tuple[float, int]], step: float) -> None:
    for order in (range(2, len(best)), range(len(best) - 3, -1, -1)):
        back = -2 if order.step > 0 else 2
        for i in order:
            cost, origin = best[i + back]
            if cost + step < best[i][0]:
                best[i] = (cost + step, origin)


# ------------------------------------------------------------------ sharp or flat


def _odds(key: tuple[int, int], above: int, steps: tuple[int, int], means: tuple[float, ...]) -> float:
    """For the sharp where above 0, for the flat where below; ``means`` are fifths from the line's C."""
    weights: Mapping[str, Any] = facts.get("midi.sharp_rather_than_flat").value
    fifths, mode = key
    odds: float = weights["minor" if mode else "major"][above - _LAST_PLAIN - 1]
    after, before = steps
    if after:
        odds += weights["goes_on_up" if after > 0 else "goes_on_down"]
    if before:
        odds += weights["comes_from_above" if before > 0 else "comes_from_below"]
    for name, mean in zip(("chord", "near", "around"), means, strict=True):
        if not math.isnan(mean):
            odds += weights[name] * (mean - fifths - 2)
    return odds


def _steps(notes: Sequence[Heard]) -> list[tuple[int, int]]:
    """For each note: 1 or -1 where the line goes on a semitone above or below it, and where it was so before it.

    0 where it does neither, does both, or stays.
    """
    lines: dict[int, dict[int, list[int]]] = {}
    for i, note in enumerate(notes):
        lines.setdefault(note.line, {}).setdefault(note.onset, []).append(i)
    after, before = [0] * len(notes), [0] * len(notes)
    for chords in lines.values():
        rows = list(chords.values())
        sets = [{notes[i].key for i in row} for row in rows]
        for k in range(len(rows) - 1):
            for i in rows[k]:
                after[i] = _neighbour(notes[i].key, sets[k + 1])
            for i in rows[k + 1]:
                before[i] = _neighbour(notes[i].key, sets[k])
    return list(zip(after, before, strict=True))


def _neighbour(key: int, others: set[int]) -> int:
    return 0 if key in others else (key + 1 in others) - (key - 1 in others)


class _Around:
    """The mean place of the notes around one, those of its own pitch class left out."""

    def __init__(self, notes: Sequence[Heard], places: Sequence[int]) -> None:
        self.notes = notes
        self.onsets = [note.onset for note in notes]
        self.sums = [0]
        self.own: list[tuple[list[int], list[int]]] = [([], [0]) for _ in range(12)]
        for note, place in zip(notes, places, strict=True):
            self.sums.append(self.sums[-1] + place)
            onsets, sums = self.own[note.key % 12]
            onsets.append(note.onset)
            sums.append(sums[-1] + place)

    def means(self, i: int, quarter: int) -> tuple[float, ...]:
        """Of the chord, of a quarter on either side, of four quarters on either side; NaN where nothing is there."""
        at = self.onsets[i]
        return tuple(self._mean(i, at - reach, at + max(reach, 1)) for reach in (0, quarter, 4 * quarter))

    def _mean(self, i: int, low: int, high: int) -> float:
        a, b = bisect_left(self.onsets, low), bisect_left(self.onsets, high)
        onsets, sums = self.own[self.notes[i].key % 12]
        c, d = bisect_left(onsets, low), bisect_left(onsets, high)
        count = (b - a) - (d - c)
        return (self.sums[b] - self.sums[a] - sums[d] + sums[c]) / count if count else math.nan
