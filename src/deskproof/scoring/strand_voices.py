"""Which notes go on as one voice: the notes of a passage parted into lines, chord by chord.

At each onset the new notes go to the lines that are free, so that what all of them cost together is least: far pitch,
a rest between, another staff or printed voice, another length. Lines of one staff do not cross there. There are at most
as many lines as notes sound together, and one to spare for a bass note struck before its chord.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from heapq import heappop, heappush
from itertools import groupby
from math import log2

from deskproof import facts
from deskproof.scoring.records import SketchNote

_NEVER = float("inf")


@lru_cache(maxsize=1)
def _prices() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("strand_voice")}


def lines_of(notes: Sequence[SketchNote], grid: int) -> list[list[int]]:
    """The lines of some notes, each a list of places in ``notes`` in order of onset; every note is in one line.

    ``notes`` stand in order of onset. No two notes of a line begin together, but a grace note and its main note may.
    """
    main = [k for k, note in enumerate(notes) if not note.grace]
    if not main:
        main = list(range(len(notes)))
    separation = _Separation(notes, main, grid)
    for _, chord in groupby(main, key=lambda k: notes[k].onset):
        separation.add(sorted(chord, key=lambda k: (notes[k].staff, -notes[k].midi)))
    lines = separation.lines
    _add_graces(lines, notes, sorted(set(range(len(notes))) - set(main)))
    return [sorted(line, key=lambda k: (notes[k].onset, not notes[k].grace, k)) for line in lines]


def most_together(notes: Sequence[SketchNote]) -> int:
    """How many of the notes sound together at most, held a little over each other or not."""
    ends: list[float] = []
    most = 0
    for note in notes:
        while ends and ends[0] <= note.onset:
            heappop(ends)
        heappush(ends, _free_at(note))
        most = max(most, len(ends))
    return most


def _free_at(note: SketchNote) -> float:
    """From when its line can take another note: a little before its end, as played legato runs over."""
    return max(note.end - (note.end - note.onset) * _prices()["run_over"], note.onset + 1)


class _Separation:
    """The lines as they stand, while the chords come in one after the other."""

    def __init__(self, notes: Sequence[SketchNote], main: Sequence[int], grid: int) -> None:
        self.notes, self.grid, self.price = notes, grid, _prices()
        self.lines: list[list[int]] = []
        self.center: list[float] = []
        self.together = most_together([notes[k] for k in main])
        self.limit = self.together + int(self.price["spare"])
        voices: dict[int, set[str]] = {}
        for k in main:
            voices.setdefault(notes[k].staff, set()).add(notes[k].voice)
        self.voiced = {staff for staff, names in voices.items() if len(names) > 1}

    def add(self, chord: list[int]) -> None:
        """Give each note of a chord, staff by staff from the top down, a line of its own."""
        onset = self.notes[chord[0]].onset
        free = [k for k, line in enumerate(self.lines) if _free_at(self.notes[line[-1]]) <= onset]
        free.sort(key=lambda k: (self.notes[self.lines[k][-1]].staff, -self.center[k], k))
        choice = self._choose(chord, free)
        keep = self.price["memory"]
        for note, line in zip(chord, choice, strict=True):
            midi = self.notes[note].midi
            if line is None:
                self.lines.append([note])
                self.center.append(float(midi))
            else:
                self.lines[line].append(note)
                self.center[line] = keep * self.center[line] + (1 - keep) * midi

    def _choose(self, chord: list[int], free: list[int]) -> list[int | None]:
        """The cheapest way to give the notes of a chord to free lines in this order, or to new ones (None)."""
        rest = self.limit - len(self.lines)
        ordinary = max(0, self.together - len(self.lines))
        many, slots = len(chord), len(free)
        spare = self.price["spare_line"] if many > 1 or not free else _NEVER
        opening = [self.price["new_line"] if k < ordinary else spare for k in range(max(rest, 0))]
        cost = [[self._cost(note, line) for line in free] for note in chord]
        # best[j][u]: notes so far placed with the first j free lines and u new ones
        best = [[_NEVER] * (len(opening) + 1) for _ in range(slots + 1)]
        best[0][0] = 0.0
        steps: list[list[list[tuple[int, int, int | None]]]] = []
        for i in range(many):
            now = [[_NEVER] * (len(opening) + 1) for _ in range(slots + 1)]
            step: list[list[tuple[int, int, int | None]]] = [[(0, 0, None)] * (len(opening) + 1) for _ in now]
            for u in range(len(opening) + 1):
                low, low_at = _NEVER, 0
                for j in range(slots + 1):
                    if u and best[j][u - 1] + opening[u - 1] < now[j][u]:
                        now[j][u], step[j][u] = best[j][u - 1] + opening[u - 1], (j, u - 1, None)
                    if j and low + cost[i][j - 1] < now[j][u]:
                        now[j][u], step[j][u] = low + cost[i][j - 1], (low_at, u, free[j - 1])
                    if best[j][u] < low:
                        low, low_at = best[j][u], j
            best = now
            steps.append(step)
        _, j, u = min((best[j][u], j, u) for j in range(slots + 1) for u in range(len(opening) + 1))
        choice: list[int | None] = []
        for step in reversed(steps):
            j, u, line = step[j][u]
            choice.append(line)
        return choice[::-1]

    def _cost(self, note: int, line: int) -> float:
        """What it costs a line to go on with this note."""
        last, new, price = self.notes[self.lines[line][-1]], self.notes[note], self.price
        cost = price["step"] * abs(new.midi - last.midi)
        cost += price["rest"] * min(max(0, new.onset - last.end) / self.grid, price["longest_rest"])
        if new.staff != last.staff:
            cost += price["staff"]
        elif new.voice != last.voice and new.staff in self.voiced:
            cost += price["voice"]
        if new.slurs and not set(new.slurs).isdisjoint(last.slurs):
            cost -= price["slur"]
        return cost + price["length"] * abs(log2(max(new.end - new.onset, 1) / max(last.end - last.onset, 1)))


def _add_graces(lines: list[list[int]], notes: Sequence[SketchNote], graces: Sequence[int]) -> None:
    """Put each grace note into the line of its main note: that of its onset, staff and voice, nearest in pitch."""
    home = {k: line for line in lines for k in line}
    heads = sorted(home)
    for grace in graces:
        own = notes[grace]

        def far(k: int, own: SketchNote = own) -> tuple[bool, bool, int, int]:
            other = notes[k]
            return other.staff != own.staff, other.voice != own.voice, abs(other.midi - own.midi), k

        main = [k for k in heads if notes[k].onset == own.onset]
        if not main:
            after = min((notes[k].onset - own.onset for k in heads if notes[k].onset > own.onset), default=None)
            main = heads if after is None else [k for k in heads if notes[k].onset == own.onset + after]
        home[min(main, key=far)].append(grace)
