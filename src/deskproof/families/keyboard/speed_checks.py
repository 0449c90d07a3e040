"""Passages in which a hand is quicker than hands are: many onsets, octaves in a row, tremolos that are counted out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.keyboard import rules
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.reading import Key, refs
from deskproof.families.keyboard.wording import NEAR, SIDES, name_of, place_of
from deskproof.families.wording import listed
from deskproof.findings import Finding
from deskproof.tempo import HIDDEN

US = 1000
SECOND_US = 1_000_000
OCTAVE = 12
GLISS = ("glissando", "slide")
PLAYED = ("struck", "roll")
COUNTED = 2  # strokes of a tremolo; with three it is as quick as it comes

Row = tuple[int, list[Key]]
"""An onset and the keys that one hand has there."""


def told(context: Context, t_us: int) -> bool:
    """Whether anything tells the tempo at all; where nothing does, nothing is too fast.

    Playback data with the figure that programs write when nobody has chosen one tell nothing.
    """
    tempo = context.frame.clock.tempo_at_us(t_us)
    unset = int(facts.get("time.unsaid_tempo").value)
    return tempo.told and not (tempo.basis == HIDDEN and tempo.qpm == unset)


def goes_up_to(context: Context, t_us: int, factor: float) -> str:
    """Up to which tempo it would go, in words."""
    if factor <= 0:
        return ""
    qpm = float(context.frame.clock.tempo_at_us(t_us).qpm) * factor
    return f" It goes up to ♩ = {qpm:.0f}."


def speed_findings(plan: KeyboardPlan, context: Context) -> Iterator[Finding]:
    """Findings about the speed of each hand of a planned part; none where nothing tells the tempo."""
    assert plan.reading is not None and plan.hands is not None
    for side in SIDES:
        rows: list[Row] = [
            (i, [k for k, h in zip(row, plan.hands.hands[i], strict=True) if h == side])
            for i, row in enumerate(plan.reading.onsets)
            if side in plan.hands.hands[i]
        ]
        yield from _fast(plan, context, side, [row for row in rows if row[1][0].how in PLAYED])
        yield from _octaves(plan, context, side, rows)
        yield from _tremolos(plan, context, side, rows)


def _fast(plan: KeyboardPlan, context: Context, side: str, rows: Sequence[Row]) -> Iterator[Finding]:
    """Passages in which one hand has more onsets a second than recorded hands play."""
    assert plan.reading is not None
    times = plan.reading.times_us
    count = int(facts.get("pianists.rate_events").value)
    most = float(facts.get("keys.events_hard").value[1])
    for n in range(len(rows) - count):
        i, keys = rows[n]
        rate = count * SECOND_US / (times[rows[n + count][0]] - times[i])
        if rate <= most or slides(keys) or not told(context, times[i]):
            continue
        if any(_same(a, b) for a, b in pairwise(rows[n : n + count + 1])):
            continue  # what is too fast there is the repetition
        yield rules.FAST.at(
            place_of(plan.reading, keys[0].event), refs(context.score.parts[plan.reading.part], keys),
            fold=("fast", side), near=NEAR, hand=SIDES[side], rate=f"{rate:.3g}", most=f"{most:.3g}",
            factor=most / rate, goes=goes_up_to(context, times[i], most / rate),
        )  # fmt: skip


def slides(keys: Sequence[Key]) -> bool:
    """Whether one of some keys is part of a glissando."""
    return any(mark.kind in GLISS for key in keys for event in key.events for mark in event.note.marks)


def _octaves(plan: KeyboardPlan, context: Context, side: str, rows: Sequence[Row]) -> Iterator[Finding]:
    """Octaves in a row, on other keys each time, quicker than recorded hands play them."""
    assert plan.reading is not None
    times = plan.reading.times_us
    count = int(facts.get("pianists.octaves").value)
    least_us = US * int(facts.get("keys.octaves_hard").value)
    for n in range(len(rows) - count + 1):
        window = rows[n : n + count]
        if not all(_octave(keys) for _, keys in window) or any(_same(a, b) for a, b in pairwise(window)):
            continue
        each_us = (times[window[-1][0]] - times[window[0][0]]) // (count - 1)
        start_us = times[window[0][0]]
        if each_us >= least_us or not told(context, start_us):
            continue
        keys = window[0][1]
        yield rules.OCTAVES.at(
            place_of(plan.reading, keys[0].event),
            refs(context.score.parts[plan.reading.part], [key for _, row in window for key in row]),
            fold=("octaves", side), near=NEAR, hand=SIDES[side], have_us=each_us, have_ms=each_us // US,
            need_ms=least_us // US, count_octaves=count, factor=each_us / least_us, lack_us=least_us - each_us,
            goes=goes_up_to(context, start_us, each_us / least_us),
        )  # fmt: skip


def _octave(keys: Sequence[Key]) -> bool:
    return keys[0].how == "struck" and keys[-1].key - keys[0].key == OCTAVE


def _same(one: Row, other: Row) -> bool:
    return [key.key for key in one[1]] == [key.key for key in other[1]]


def _tremolos(plan: KeyboardPlan, context: Context, side: str, rows: Sequence[Row]) -> Iterator[Finding]:
    """Tremolos whose strokes are counted out, quicker than a hand makes them while the other is busy."""
    assert plan.reading is not None and plan.settings is not None
    clock = context.frame.clock
    for i, keys in rows:
        key = keys[0]
        mark = key.event.note.marked("tremolo")
        strokes = int(mark.value) if mark is not None and mark.value.isdecimal() else 0
        if mark is None or strokes <= 0 or key.how not in ("struck", "tremolo"):
            continue
        strokes += _beams(key, context.score.grid)
        if strokes > COUNTED or not told(context, key.t_us) or _other_free(plan, side, i, key):
            continue
        pair = key.how == "tremolo"
        quarter_us = 60 * SECOND_US / float(clock.tempo_at_us(key.t_us).qpm)
        have_us = round(quarter_us / 2**strokes)
        need_us = US * int(facts.get("keys.tremolo_hard").value) if pair else plan.settings.repeat_hard_us
        if have_us >= need_us:
            continue
        yield rules.TREMOLO.at(
            place_of(plan.reading, key.event), refs(context.score.parts[plan.reading.part], keys),
            fold=("tremolo", side), near=NEAR, hand=SIDES[side], keys=listed([name_of(one) for one in keys]),
            have_us=have_us, have_ms=have_us // US, need_ms=need_us // US, lack_us=need_us - have_us,
            factor=have_us / need_us, goes=goes_up_to(context, key.t_us, have_us / need_us),
        )  # fmt: skip


def _beams(key: Key, grid: int) -> int:
    """How many beams or flags a note of this length has, which count with its strokes."""
    length, beams = key.event.note.length, 0
    while length and length < grid >> beams:
        beams += 1
    return beams


def _other_free(plan: KeyboardPlan, side: str, onset: int, key: Key) -> bool:
    """Whether the other hand strikes nothing while a tremolo goes on, and so can take turns."""
    assert plan.reading is not None and plan.hands is not None
    other = "L" if side == "R" else "R"
    for i in range(onset, len(plan.reading.onsets)):
        if min(one.t_us for one in plan.reading.onsets[i]) >= key.until_us:
            return True
        if other in plan.hands.hands[i]:
            return False
    return True
