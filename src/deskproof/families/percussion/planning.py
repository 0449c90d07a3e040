"""The plan of a percussion part: its strokes, and which mallets take which bars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from deskproof import facts
from deskproof.families.base import Context, Plan
from deskproof.families.percussion.at_once import named_in
from deskproof.families.percussion.mallets import Bars, Blow, Mallets, bars_of, plan_mallets
from deskproof.families.percussion.strokes import BROKEN, GLISS, GRACE, Reading, Stroke, read
from deskproof.spans import Span

_NOT_TOGETHER = (GRACE, BROKEN, GLISS)


@dataclass(frozen=True, slots=True)
class OnBars:
    """What is played on one mallet keyboard: the strokes of each onset, and how the hands share them."""

    instrument: str
    bars: Bars
    onsets: tuple[tuple[Stroke, ...], ...]
    mallets: Mallets


@dataclass(frozen=True, slots=True)
class PercussionPlan(Plan):
    """How one percussion part is played, with what it was made from."""

    reading: Reading | None = None
    keyboards: tuple[OnBars, ...] = ()


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the spans of one part; an empty plan where nothing but timpani is percussion."""
    reading = read(spans, context)
    if reading is None:
        return Plan()
    part = context.score.parts[reading.part]
    keyboards = tuple(_keyboards(reading)) if reading.players in (None, 1) else ()
    return PercussionPlan("percussion", part.name or part.id, reading, keyboards)


def a_hand(instrument: str, strokes: Sequence[Stroke]) -> int:
    """How many mallets a hand holds for some strokes: as many as are asked for, else the usual of the instrument."""
    two = int(facts.get("mallets.a_hand").value)
    asked = max((stroke.mallets for stroke in strokes), default=0)
    if asked:
        return max(1, asked // 2)
    return two if instrument in named_in("mallets.four_usual") else 1


def _keyboards(reading: Reading) -> Iterator[OnBars]:
    for instrument in reading.instruments:
        bars = bars_of(instrument)
        if bars is None:
            continue
        onsets = [
            here
            for row in reading.onsets
            if (here := tuple(one for one in row if one.instrument == instrument and _struck(one)))
        ]
        if not onsets:
            continue
        blows = []
        for i, row in enumerate(onsets):
            next_us = onsets[i + 1][0].t_us if i + 1 < len(onsets) else None
            blows.append(_blow(row, next_us))
        most = max(len(blow.keys) for blow in blows)
        wanted = max(a_hand(instrument, [one]) for row in onsets for one in row)
        each = max(wanted, min(int(facts.get("mallets.a_hand").value), -(-most // 2)))
        yield OnBars(instrument, bars, tuple(onsets), plan_mallets(blows, bars, each))


def _struck(stroke: Stroke) -> bool:
    return stroke.key is not None and stroke.how not in _NOT_TOGETHER


def _blow(row: Sequence[Stroke], next_us: int | None) -> Blow:
    """One onset; a roll over which other bars are struck is taken to leave the hands free for them."""
    keys = tuple(sorted({stroke.key for stroke in row if stroke.key is not None}))
    until_us = max(stroke.until_us for stroke in row)
    roll = any(stroke.rolls for stroke in row) and (next_us is None or next_us >= until_us)
    return Blow(row[0].t_us, until_us, keys, roll)
