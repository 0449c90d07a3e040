"""What a line of a passage is like, in shares from 0 to 1: how it moves, where it lies, whether it repeats itself."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log2
from statistics import mean, median

from deskproof import facts
from deskproof.scoring.records import SketchNote

ARTICULATED = frozenset({"staccato", "staccatissimo", "accent", "strong-accent", "spiccato", "detached-legato"})


@dataclass(frozen=True)
class Traits:
    """One line, against the others of its passage.

    ``height`` is 1 for the highest line on the whole and 0 for the lowest; ``top`` and ``low`` the share of its notes
    over or under which nothing sounds; ``steps``, ``still`` and ``leaps`` shares of its intervals, ``scale`` of those
    no wider than a whole tone; ``variety`` of its
    rhythm and ``colours`` of its pitches; ``present`` the share of the passage in which it sounds; ``busy`` its notes
    against those of the busiest line; ``pattern`` how much it repeats its figure; ``slurred`` and ``short`` shares of
    its notes; ``own_staff`` of notes on a staff for one singer or player.
    ``length`` is its median note in quarters, ``rings`` the same under the pedal; ``chord`` the share of notes struck
    together with others of their length.
    """

    height: float
    top: float
    low: float
    steps: float
    still: float
    leaps: float
    scale: float
    variety: float
    colours: float
    present: float
    busy: float
    pattern: float
    slurred: float
    short: float
    own_staff: float
    chord: float
    length: float
    rings: float
    notes: int

    @property
    def even(self) -> float:
        """How much it is one figure in even notes, over and over."""
        return self.pattern * (1 - self.variety)


def traits_of(lines: Sequence[Sequence[SketchNote]], grid: int, solo: frozenset[int] = frozenset()) -> list[Traits]:
    """The traits of each line; ``solo`` are the staves that belong to one singer or player."""
    everything = sorted((note for line in lines for note in line), key=lambda n: n.onset)
    around = _Around(everything)
    heights = sorted(range(len(lines)), key=lambda k: mean(n.midi for n in lines[k]))
    rank = {line: at / max(1, len(lines) - 1) if len(lines) > 1 else 1.0 for at, line in enumerate(heights)}
    busiest = max((len(line) for line in lines), default=1)
    return [_traits(line, rank[k], busiest, around, grid, solo) for k, line in enumerate(lines)]


class _Around:
    """What sounds while a note begins, and how long the passage is."""

    def __init__(self, notes: Sequence[SketchNote]) -> None:
        self.notes = notes
        self.onsets = [n.onset for n in notes]
        self.edges: dict[int, tuple[int, int]] = {}
        self.chords: dict[tuple[int, int], int] = Counter((n.onset, n.end) for n in notes)
        sounding: list[SketchNote] = []
        at = 0
        for onset in sorted(set(self.onsets)):
            to = bisect_right(self.onsets, onset)
            sounding = [n for n in sounding if n.end > onset] + list(notes[at:to])
            at = to
            self.edges[onset] = min(n.midi for n in sounding), max(n.midi for n in sounding)
        self.length = max((n.end for n in notes), default=0) - (self.onsets[0] if notes else 0)


def _traits(
    line: Sequence[SketchNote], height: float, busiest: int, around: _Around, grid: int, solo: frozenset[int]
) -> Traits:
    main = [n for n in line if not n.grace] or list(line)
    count = len(main)
    moves = [other.midi - one.midi for one, other in pairwise(main)]
    sizes = [abs(move) for move in moves]
    small = int(facts.get("strand_rule.small_interval").value)
    step = int(facts.get("strand_rule.step").value)

    def share(of: float, among: int) -> float:
        return of / among if among else 0.0

    return Traits(
        height=height,
        top=share(sum(n.midi >= around.edges[n.onset][1] for n in main), count),
        low=share(sum(n.midi <= around.edges[n.onset][0] for n in main), count),
        steps=share(sum(0 < size <= small for size in sizes), len(sizes)),
        still=share(sum(size == 0 for size in sizes), len(sizes)),
        leaps=share(sum(size > small for size in sizes), len(sizes)),
        scale=share(sum(0 < size <= step for size in sizes), len(sizes)),
        variety=_variety([round(8 * log2(max(n.end - n.onset, 1) / grid)) for n in main]),
        colours=min(1.0, len({n.midi for n in main}) / facts.get("strand_rule.many_pitches").value),
        present=min(1.0, share(sum(n.end - n.onset for n in main), around.length)),
        busy=count / max(1, busiest),
        pattern=pattern_of(main),
        slurred=share(sum(bool(n.slurs) for n in main), count),
        short=share(sum(any(m.kind in ARTICULATED for m in n.marks) for n in main), count),
        own_staff=share(sum(n.staff in solo for n in main), count),
        chord=share(sum(around.chords[n.onset, n.end] > 1 for n in main), count),
        length=float(median(n.end - n.onset for n in main)) / grid,
        rings=float(median(n.rings - n.onset for n in main)) / grid,
        notes=count,
    )


def pattern_of(line: Sequence[SketchNote]) -> float:
    """How much a line repeats one figure: the share of notes whose move and length are those of a figure ago.

    Figures have two notes or more up to the longest of the facts; a move counts by its direction and kind (still, step
    or leap), so that a figure may follow the harmony.
    """
    small = int(facts.get("strand_rule.step").value)
    moves = [
        ((other.midi > one.midi) - (other.midi < one.midi), abs(other.midi - one.midi) > small, other.onset - one.onset)
        for one, other in pairwise(line)
    ]
    best = 0.0
    for period in range(2, int(facts.get("strand_rule.longest_figure").value) + 1):
        pairs = len(moves) - period
        if pairs < period:
            break
        same = sum(moves[k] == moves[k + period] for k in range(pairs))
        best = max(best, same / pairs)
    return best


def _variety(values: Sequence[int]) -> float:
    """How evenly some values are spread over their kinds, in bits over two, at most 1."""
    counts = Counter(values)
    total = len(values)
    bits = -sum(n / total * log2(n / total) for n in counts.values()) if total else 0.0
    return min(1.0, bits / 2)
