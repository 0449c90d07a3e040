"""Whether a hand is free to damp what rings: how long there is, and how long it takes.

Pure: strokes and times in, microseconds out. A hand that strikes nothing waits at the instrument and damps at the end;
one that strikes elsewhere has to come before, and to be back in time.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple

from deskproof import facts
from deskproof.families.percussion.at_once import (
    BOTH,
    PLACE,
    TWO,
    Change,
    busy_until_us,
    hands,
    manner,
    taken,
)
from deskproof.families.percussion.strokes import Stroke

US = 1000
Row = Sequence[Stroke]


class Free(NamedTuple):
    """Time that a hand has at the end of a note, and time that it takes; where it has to be if not just striking."""

    have_us: int
    need_us: int
    elsewhere: str = ""


class _Bound(NamedTuple):
    """From when, or until when, a hand is free, and how long it takes from or to there."""

    t_us: int
    way_us: int
    instrument: str = ""


def busy(onsets: Sequence[Row], without: str, kit: bool) -> list[tuple[int, int]]:
    """When both hands are at work on other instruments than one: from and to in microseconds, in order.

    Strokes at one time that take two hands, rolls of both, and single strokes that come quicker than one hand goes on.
    """
    rows: dict[int, list[Stroke]] = {}
    for row in onsets:
        others = [one for one in row if one.instrument != without]
        if others:
            rows[others[0].t_us] = others
    ends = [busy_until_us(one) for row in rows.values() for one in row]
    quick_us = US * int(facts.get("mallets.again").value[0])
    points = sorted({*rows, *ends})
    going: list[Stroke] = []
    found: list[tuple[int, int]] = []
    for i, t_us in enumerate(points):
        here = rows.get(t_us, [])
        going = [one for one in going if busy_until_us(one) > t_us]
        to_us = points[i + 1] if i + 1 < len(points) else t_us
        at_work = hands([*going, *here], kit).easy >= TWO
        going += [one for one in here if busy_until_us(one) > t_us]
        goes_on = bool(going) and hands(going, kit).easy >= TWO
        quick = bool(here) and to_us in rows and 0 < to_us - t_us < quick_us
        if at_work or goes_on or quick:
            _add(found, t_us, to_us if goes_on or quick else t_us)
    return found


def _add(found: list[tuple[int, int]], from_us: int, to_us: int) -> None:
    if found and from_us <= found[-1][1]:
        found[-1] = found[-1][0], max(found[-1][1], to_us)
    else:
        found.append((from_us, to_us))


def free(
    stroke: Stroke,
    until_us: int,
    at_work: Sequence[tuple[int, int]],
    others: Sequence[Row],
    change: Callable[[str, str], Change | None],
) -> Free | None:
    """How long a hand has to damp a stroke, and how long it takes; None where nothing is in the way.

    Parameters
    ----------
    stroke : Stroke
    until_us : int
        When it is to be silent; it may be damped sooner, by the share that the facts allow.
    at_work : sequence of (int, int)
        What :func:`busy` gives for the other instruments.
    others : sequence of rows
        The strokes of every onset on other instruments that do not stand beside it.
    change : callable(before, after) -> Change or None
        How long it takes from one instrument to another.
    """
    own, way_us = taken(stroke), US * int(facts.get("mallets.damp_hand").value)
    early_us = stroke.t_us + int((until_us - stroke.t_us) * facts.get("mallets.damp_kept").value)
    i = bisect_left(at_work, until_us, key=lambda row: row[0])
    free_us = at_work[i - 1][1] if i else stroke.t_us - way_us
    if free_us > until_us + way_us:  # if they were at work when it was struck, that is the trouble, and said elsewhere
        return Free(0, TWO * way_us) if at_work[i - 1][0] > stroke.t_us else None
    from_bounds, to_bounds = [_Bound(early_us, 0)], [_Bound(one, way_us) for one, _ in at_work[i : i + 1]]
    if free_us + way_us > early_us:
        from_bounds.append(_Bound(free_us, way_us))
    for row in others[bisect_right(others, stroke.t_us, key=lambda row: row[0].t_us) :]:
        later = row[0].t_us >= until_us
        for name in dict.fromkeys(map(taken, row)):
            if not name or not {manner(name), manner(own)} & {PLACE, BOTH}:
                continue
            steps = change(own, name) if later else change(name, own)
            if steps is None:
                continue
            if later:
                to_bounds.append(_Bound(row[0].t_us, steps.quick_us, name))
            else:
                from_bounds.append(_Bound(max(map(busy_until_us, row)), steps.quick_us, name))
        if later:
            break
    if not to_bounds:
        return None
    start = max(from_bounds, key=lambda one: one.t_us + one.way_us)
    end = min(to_bounds, key=lambda one: one.t_us - one.way_us)
    return Free(max(0, end.t_us - start.t_us), start.way_us + end.way_us, end.instrument or start.instrument)
