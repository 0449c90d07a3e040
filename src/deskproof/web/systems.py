"""The score cut into systems for a page: which bars, of which parts, with which findings under them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from deskproof.engrave.marks import Mark
from deskproof.state import State
from deskproof.web.view import Asked

INVOLVED, EVERYTHING = "involved", "all"
MOST_BARS, MOST_SMALL_BARS = 6, 8
COLUMNS, NARROW_COLUMNS = 34, 12  # places in time that have room beside each other, on a wide page and a narrow one
LARGE = 16  # parts; with more of them the picture gets smaller, and more bars have room


class System(NamedTuple):
    """Some bars of some parts. ``parts`` are ordinals, empty where nothing is shown; ``begins`` the findings that begin
    here, ``under`` all that have notes in these bars and parts.
    """

    first: int
    last: int
    parts: tuple[int, ...]
    begins: tuple[Asked, ...]
    under: tuple[Asked, ...]

    def marks(self) -> list[Mark]:
        """A ring where a finding begins, and a bracket under its notes wherever they are."""
        found = []
        for one in self.under:
            begins = one in self.begins
            found.append(Mark(str(one.number), one.finding.level, one.finding.notes, one.finding.id, begins))
        return found


def systems(state: State, asked: Sequence[Asked], show: str, narrow: bool) -> list[System]:
    """All bars of a score, in systems.

    Parameters
    ----------
    state : State
    asked : sequence of Asked
        The findings of it, in score order.
    show : str
        INVOLVED (in each system the parts of its findings), EVERYTHING, or the id of a part.
    narrow : bool
        Whether the page is narrow: fewer bars to a system.
    """
    parts = state.score.parts
    ids = {part.id: i for i, part in enumerate(parts)}
    found: list[System] = []
    smaller = max(1.0, len(parts) / LARGE) if show == EVERYTHING else 1.0
    columns = int((NARROW_COLUMNS if narrow else COLUMNS) * smaller)
    by_number = sorted(asked, key=lambda one: one.number)
    for first, last in _bars(state, columns, MOST_SMALL_BARS if smaller > 1 else MOST_BARS):
        begins = tuple(one for one in by_number if first <= one.finding.place.measure <= last)
        inside = [one for one in asked if any(first <= ref.measure <= last for ref in one.finding.notes)]
        under = [one for one in asked if one in begins or one in inside]
        if show == EVERYTHING:
            shown = tuple(range(len(parts)))
        elif show in ids:
            shown = (ids[show],)
        else:
            involved = {one.finding.place.part for one in begins}
            for one in inside:
                involved |= {ids[ref.part] for ref in one.finding.notes if first <= ref.measure <= last}
            shown = tuple(sorted(involved))
        names = {parts[i].id for i in shown}
        under = [
            one for one in under if one.finding.place.part in shown or any(r.part in names for r in one.finding.notes)
        ]
        row = System(first, last, shown, begins, tuple(under))
        if found and not shown and not begins and not found[-1].parts and not found[-1].begins:
            found[-1] = found[-1]._replace(last=last)  # where nothing is found one line is enough
        else:
            found.append(row)
    return found


def _bars(state: State, columns: int, most: int) -> list[tuple[int, int]]:
    """First and last measure of each system, by how much stands in them."""
    count = len(state.timeline.frame.lengths)
    rows: list[tuple[int, int]] = []
    first, room = 0, columns
    for m in range(count):
        starts = {n.start for part in state.score.parts if m < len(part.measures) for n in part.measures[m].notes}
        wide = max(1, len(starts))
        if m > first and (wide > room or m - first >= most):
            rows.append((first, m - 1))
            first, room = m, columns
        room -= wide
    if count:
        rows.append((first, count - 1))
    return rows
