"""Which staff of a short score a line stands on: by its register, and where it stood before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from deskproof import facts, pitch
from deskproof.scoring.short_lines import Strand
from deskproof.scoring.short_merging import Kept

FEWEST, MOST = 2, 4
_A_STAFF = 2  # voices


@dataclass(frozen=True)
class BarLine:
    """What one line plays in a bar."""

    strand: Strand
    notes: tuple[Kept, ...]
    middle: float


def bars_of(kept: Sequence[Kept]) -> dict[int, list[BarLine]]:
    """The lines of each bar, from the top."""
    found: dict[int, dict[Strand, list[Kept]]] = {}
    for one in kept:
        found.setdefault(one.bar, {}).setdefault(one.line, []).append(one)
    return {
        bar: sorted(
            (BarLine(strand, tuple(rows), sum(one.midi for one in rows) / len(rows)) for strand, rows in lines.items()),
            key=lambda line: (-line.middle, line.strand),
        )
        for bar, lines in found.items()
    }


def voices_of(lines: Sequence[BarLine]) -> int:
    """How many voices some lines need on one staff: lines whose rhythms fit together share one."""
    voices: list[set[tuple[int, int]]] = []
    for line in lines:
        shape = {(one.onset, one.end) for one in line.notes if not one.grace}
        for voice in voices:
            if fits(shape, voice):
                voice |= shape
                break
        else:
            voices.append(set(shape))
    return len(voices)


def fits(shape: set[tuple[int, int]], voice: set[tuple[int, int]]) -> bool:
    """Whether no two of these stretches overlap unless they are the same."""
    return all(a >= d or c >= b or (a, b) == (c, d) for a, b in shape for c, d in voice)


def how_many(kept: Sequence[Kept]) -> int:
    """How many staves a short score wants: as many as hold two voices each in nearly all bars."""
    needed = sorted(voices_of(lines) for lines in bars_of(kept).values())
    if not needed:
        return FEWEST
    usual = needed[min(len(needed) - 1, int(facts.get("short_score.staves_share").value * len(needed)))]
    few: tuple[int, ...] = facts.get("short_score.staves_voices").value
    return FEWEST + sum(usual > most for most in few)


def place(kept: Sequence[Kept], staves: int, steady: bool = True) -> None:
    """Write into every note the staff (from 1 at the top) that it stands on.

    In each bar the lines are taken from the top down and divided among the staves where that costs least: far from
    the staff's home, away from the staff where the line stood, more than two voices, too many lines.
    ``steady=False`` leaves the second rule out.
    """
    homes = [pitch.midi(name) for name in facts.get(f"short_score.homes_{staves}").value]
    jump = facts.get("short_score.jump_cost").value if steady else 0
    last: dict[Strand, int] = {}
    for _, lines in sorted(bars_of(kept).items()):
        for line, staff in zip(lines, _divided(lines, homes, jump, last), strict=True):
            counts = Counter(strand for one in line.notes for strand in one.strands)
            for strand in counts:
                last[strand] = staff
            for one in line.notes:
                one.staff = staff


def _divided(lines: Sequence[BarLine], homes: Sequence[int], jump: float, last: dict[Strand, int]) -> list[int]:
    """The staff of each line: the cheapest cut of the row of lines into as many groups as there are staves."""
    crowd = facts.get("short_score.crowd_cost").value
    count = len(lines)
    own = [
        [
            abs(line.middle - home) + jump * (last.get(line.strand, staff) != staff)
            for staff, home in enumerate(homes, start=1)
        ]
        for line in lines
    ]
    thick, few = facts.get("short_score.thick_cost").value, facts.get("short_score.staff_lines").value
    crowds = {
        (i, j): crowd * max(0, voices_of(lines[i:j]) - _A_STAFF) + thick * max(0, j - i - few)
        for i in range(count)
        for j in range(i + 1, count + 1)
    }
    best: list[tuple[float, list[int]]] = [(0.0 if not i else inf, []) for i in range(count + 1)]
    for staff in range(1, len(homes) + 1):
        best = [
            min(
                (
                    (best[i][0] + sum(own[k][staff - 1] for k in range(i, j)) + crowds.get((i, j), 0),
                     best[i][1] + [staff] * (j - i))
                    for i in range(j + 1)
                ),
                key=lambda row: row[0],
            )
            for j in range(count + 1)
        ]  # fmt: skip
    return best[count][1]
