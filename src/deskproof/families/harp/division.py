"""What one harp cannot play, shared between two: the least that a second harp has to take, and its setting.

The second harp has the rest of the passage to set its pedals; the first plays what is left. Looked at are runs of whole
onsets, then notes of a single onset: first few of them, then a lower and an upper half.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

from deskproof.families.harp.model import Onset, Settings
from deskproof.families.harp.plan import PedalPlan, plan_pedals

AROUND = (3, 0)  # onsets on either side that the first harp must be able to play as well
FEW = 3  # notes of one chord that are tried in every choice
MOST = 400  # divisions tried, then nothing is said

Notes = tuple[tuple[int, int], ...]


class Division(NamedTuple):
    """The notes that the second harp takes, as (onset, note) ordinals, and the setting it begins with."""

    second: Notes
    setting: Mapping[str, int]


def divided(
    onsets: Sequence[Onset], group: Iterable[int], settings: Settings, damps: Iterable[tuple[int, str]] = ()
) -> Division | None:
    """The least that a second harp must take of some onsets so that both can play.

    Parameters
    ----------
    onsets : sequence of Onset
        The whole part.
    group : iterable of int
        The onsets that one harp cannot play.
    settings : Settings
        Of one harp.
    damps : iterable of (microseconds, letters)

    Returns
    -------
    Division or None
        None where no division that is looked at goes. Fewer onsets are better than more, within one onset fewer notes;
        among equals the earlier.
    """
    rows = sorted(set(group))
    signs = tuple(damps)
    for around in AROUND:
        window = range(max(0, rows[0] - around), min(len(onsets), rows[-1] + around + 1))
        for tried, second in enumerate(_shares(onsets, rows)):
            if tried == MOST:
                break
            own = _planned(onsets, second, settings, signs)
            if own["impossible"].value:
                continue
            rest = tuple((o, n) for o in window for n in range(len(onsets[o].notes)) if (o, n) not in set(second))
            if not rest or not _planned(onsets, rest, settings, signs)["impossible"].value:
                return Division(second, own.initial)
    return None


def _shares(onsets: Sequence[Onset], rows: Sequence[int]) -> Iterator[Notes]:
    """What the second harp might take, the least first."""
    if len(rows) == 1:
        notes = [(rows[0], n) for n in range(len(onsets[rows[0]].notes))]
        for count in range(1, min(FEW, len(notes) - 1) + 1):
            yield from combinations(notes, count)
        for count in range(FEW + 1, len(notes)):
            yield tuple(notes[:count])
            yield tuple(notes[-count:])
        return
    for count in range(1, len(rows)):
        for k in range(len(rows) - count + 1):
            yield tuple((o, n) for o in rows[k : k + count] for n in range(len(onsets[o].notes)))


def _planned(
    onsets: Sequence[Onset], notes: Notes, settings: Settings, damps: tuple[tuple[int, str], ...]
) -> PedalPlan:  # fmt: skip
    chosen: dict[int, list[int]] = {}
    for o, n in notes:
        chosen.setdefault(o, []).append(n)
    rows = [
        onsets[o]._replace(notes=tuple(onsets[o].notes[n] for n in ns), demands=()) for o, ns in sorted(chosen.items())
    ]
    return plan_pedals(rows, settings, damps)
