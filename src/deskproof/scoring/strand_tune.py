"""How much a line is like a tune, and the way of the tune through the lines of a passage, bar by bar.

Where two lines change places, as two violins do, or one takes the tune over from the other, the tails of both are
exchanged at the bar line, so that the tune is one line and there are no more lines than before.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from statistics import mean

from deskproof import facts
from deskproof.scoring.records import SketchNote
from deskproof.scoring.strand_traits import Traits, traits_of

_NEVER = float("inf")


@lru_cache(maxsize=1)
def _weights() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("strand_tune")}


@lru_cache(maxsize=1)
def _way() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("strand_way")}


def tune_score(traits: Traits) -> float:
    """How much a line is like a tune: its traits, each by its weight."""
    return sum(weight * float(getattr(traits, name)) for name, weight in _weights().items())


def with_tune_in_one(
    lines: Sequence[Sequence[int]], notes: Sequence[SketchNote], grid: int, solo: frozenset[int] = frozenset()
) -> list[list[int]]:
    """The lines, tails exchanged at bar lines so that the tune goes on in one of them; lines hold ordinals of notes."""
    now = [list(line) for line in lines]
    bars = sorted({notes[k].bar for line in lines for k in line})
    if len(now) < 2 or len(bars) < 2:
        return now
    place = list(range(len(now)))  # place[k]: which list now holds the tail of the old line k
    path = _path(now, notes, bars, grid, solo)
    for before, after, bar in zip(path, path[1:], bars[1:], strict=False):
        if before != after:
            one, other = place[before], place[after]
            now[one], now[other] = _exchanged(now[one], now[other], notes, bar)
            place[before], place[after] = other, one
    return [line for line in now if line]


def _path(
    lines: Sequence[Sequence[int]], notes: Sequence[SketchNote], bars: Sequence[int], grid: int, solo: frozenset[int]
) -> list[int]:
    """Which line has the tune in each bar: the best sum of scores less the price of each change."""
    center = [mean(notes[k].midi for k in line) for line in lines]
    score: list[float] = [0.0] * len(lines)
    back: list[list[int]] = []
    for at, bar in enumerate(bars):
        own = _scores_at(lines, notes, bar, grid, solo)
        row = list(range(len(lines)))
        if at:
            for k in row:
                ways = [
                    (score[j] - _change(center[j] - center[k]), -j)
                    for j in range(len(lines))
                    if j != k and _can_change(lines[j], lines[k], notes, bar)
                ]
                better, j = max(ways, default=(-_NEVER, 0))
                row[k] = -j if better > score[k] else k
            score = [score[j] - (0.0 if j == k else _change(center[j] - center[k])) for k, j in enumerate(row)]
        score = [before + new for before, new in zip(score, own, strict=True)]
        back.append(row)
    path = [max(range(len(lines)), key=lambda k: (score[k], -k))]
    for row in reversed(back[1:]):
        path.append(row[path[-1]])
    return path[::-1]


def _change(semitones: float) -> float:
    """What it costs the tune to pass to a line that lies so far away."""
    return _way()["change"] + _way()["change_by_semitone"] * abs(semitones)


def _scores_at(
    lines: Sequence[Sequence[int]], notes: Sequence[SketchNote], bar: int, grid: int, solo: frozenset[int]
) -> list[float]:
    """How much each line is like a tune in a bar and those near it; one that rests there has nothing."""
    near = int(_way()["near"])
    inside = [[notes[k] for k in line if abs(notes[k].bar - bar) <= near] for line in lines]
    heard = [k for k, line in enumerate(lines) if any(notes[n].bar == bar for n in line)]
    scores = [0.0] * len(lines)
    for k, traits in zip(heard, traits_of([inside[k] for k in heard], grid, solo), strict=True):
        scores[k] = tune_score(traits)
    return scores


def _can_change(one: Sequence[int], other: Sequence[int], notes: Sequence[SketchNote], bar: int) -> bool:
    """Whether nothing of two lines is held over the bar line into what the other goes on with."""
    for head, tail in ((one, other), (other, one)):
        ends = max((notes[k].end for k in head if notes[k].bar < bar), default=0)
        begins = min((notes[k].onset for k in tail if notes[k].bar >= bar), default=ends)
        if begins < ends:
            return False
    return True


def _exchanged(
    one: Sequence[int], other: Sequence[int], notes: Sequence[SketchNote], bar: int
) -> tuple[list[int], list[int]]:
    def cut(line: Sequence[int]) -> tuple[list[int], list[int]]:
        return [k for k in line if notes[k].bar < bar], [k for k in line if notes[k].bar >= bar]

    (head, tail), (other_head, other_tail) = cut(one), cut(other)
    return head + other_tail, other_head + tail
