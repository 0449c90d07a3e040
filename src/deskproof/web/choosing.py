"""Which of the mends that were wanted are taken, and which are left and why."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof import mending
from deskproof.findings import Effect, Finding, Mend
from deskproof.places import where
from deskproof.web.moment import Moment
from deskproof.web.taken import TakenMend, edits_of
from deskproof.web.view import Left

Row = tuple[str, Finding, Mend]  # the mend's id, FINDING-NUMBER, its finding, and itself


def chosen(
    now: Moment, asked: Sequence[Finding], wanted: Sequence[tuple[str, int]], last: int
) -> tuple[tuple[TakenMend, ...], tuple[Left, ...]]:
    """The mends that can be taken beside those of the open round, and those that are left.

    Parameters
    ----------
    now : Moment
        It must fit: the mends name the notes of the document that was checked.
    asked : sequence of Finding
        Those whose mends may be taken.
    wanted : sequence of (finding id, number of the mend from 1)
    last : int
        The number given to a mend last.

    Raises
    ------
    MendError
        For a mend that is not offered, or is advice.
    """
    rows, left = _one_each(mending.chosen(asked, False, [f"{id_}-{k}" for id_, k in wanted]), now)
    there = Mend("", Effect.CHANGES_SOUND, edits_of(now.open))  # goes first, so it is never left
    result = mending.take(now.base.document, now.base.report, [there, *(mend for _, _, mend in rows)])
    left += [_left(row, "it clashes with one taken before") for row in rows if row[2] in result.left]
    state = now.base.report.state
    going = (row for row in rows if row[2] not in result.left)
    taken = tuple(
        TakenMend(number, one.id, one.says, mend.says, mend.effect, mend.edits, where(state, one))
        for number, (_, one, mend) in enumerate(going, last + 1)
    )
    return taken, tuple(left)


def _one_each(rows: Sequence[Row], now: Moment) -> tuple[list[Row], list[Left]]:
    """The mends wanted, one of a finding; the others are left."""
    had = {mend.finding for mend in now.open}
    kept, left = [], []
    for row in rows:
        if row[1].id in had:
            left.append(_left(row, "another mend of this finding is taken"))
        else:
            had.add(row[1].id)
            kept.append(row)
    return kept, left


def _left(row: Row, why: str) -> Left:
    return Left(row[1].id, int(row[0].rpartition("-")[2]), row[2].says, why)
