"""The clef of each bar: as few ledger lines and as few changes as may be."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof import facts
from deskproof.score import Clef

_ANCHORS = {"G": 32, "F": 24, "C": 28}  # the staff place of the clef's own note (G4, F3, C4), as Pitch.line
_SPAN = 8  # steps from the lowest to the highest line


def ledgers(line: int, clef: Clef) -> int:
    """How many ledger lines a staff place needs under a clef.

    >>> ledgers(28, Clef("G", 2)), ledgers(28, Clef("F", 4)), ledgers(28, Clef("C", 3))
    (1, 1, 0)
    """
    bottom = _ANCHORS[clef.sign] - 2 * (clef.line - 1) + 7 * clef.octave
    return max(0, (bottom - line) // 2, (line - bottom - _SPAN) // 2)


def clefs_of(bars: Sequence[Sequence[int]], choices: Sequence[Sequence[Clef]]) -> list[Clef]:
    """One clef for every bar.

    Dynamic programming over the bars: the most ledger lines of a bar cost their square, a change of clef what
    ``full_score.clef_change`` says, a clef that comes later among an instrument's own a little more. Of equal ways the
    one whose clefs are named first.

    Parameters
    ----------
    bars : sequence of sequence of int
        Staff places (``Pitch.line``) of the notes of every bar.
    choices : sequence of sequence of Clef
        The clefs that the instrument of the bar reads, its usual one first.
    """
    change = int(facts.get("full_score.clef_change").value)
    seldom = int(facts.get("full_score.clef_seldom").value)
    best: dict[Clef, tuple[int, list[Clef]]] = {}
    for lines, clefs in zip(bars, choices, strict=True):
        row: dict[Clef, tuple[int, list[Clef]]] = {}
        for rank, clef in enumerate(clefs):
            own = max((ledgers(line, clef) ** 2 for line in lines), default=0) + (seldom * rank if lines else 0)
            before = [
                (cost + (change if other != clef else 0), i, path)
                for i, (other, (cost, path)) in enumerate(best.items())
            ]
            cost, _, path = min(before, key=lambda one: one[:2]) if before else (0, 0, [])
            row[clef] = (cost + own, [*path, clef])
        best = row
    return min(best.values(), key=lambda one: one[0])[1] if best else []
