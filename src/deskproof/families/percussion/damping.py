"""What rings on after it is struck, and what the page says of it: left to ring, to be damped, or nothing.

A word holds for the notes at which it stands; with "sempre" it holds until the other is said. A call to damp where no
note begins, or over a note of what does not ring, is for what rings from before: it ends there.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.base import Context
from deskproof.families.percussion.at_once import named_in
from deskproof.families.percussion.strokes import GRACE, Reading, Stroke
from deskproof.score import UNCHECKED, Direction, Part
from deskproof.words.tokens import folded

US = 1000
LEFT, DAMPED, SHORT = "left", "damped", "short"
MOST_BARS = 5  # that a line of the list names
_NOTE, _CALL = {"etouffe", "sec"}, {"damp"}
_CALLS = ("damp", "damp-all")  # signs of MusicXML; percussion has its own among the symbols
_SYMBOLS = ("pictDamp", "pictChoke")  # beginnings of the standard's names of them (SMuFL 1.4)
_SHORT = ("staccato", "staccatissimo")
_ON = frozenset({"sempre", "immer", "toujours", "always", "simile", "sim", "tutti", "tutte"})

At = tuple[int, int, int]  # measure, staff, tick


class Ring(NamedTuple):
    """A stroke on what rings: what the page says (left, damped, short or empty), and where it is to be silent.

    ``past``: nothing is said, and a rest stands where the note ends although it still rings.
    """

    stroke: Stroke
    how: str
    until_us: int
    past: bool


class InBars(NamedTuple):
    """The bars, as printed, in which one instrument is left to ring, is damped, or rings past its written end."""

    left: tuple[str, ...] = ()
    damped: tuple[str, ...] = ()
    past: tuple[str, ...] = ()
    all_left: bool = False


class _Signs(NamedTuple):
    at: dict[At, str]  # a sign for a note
    calls: frozenset[At]  # of these, the ones that may be for what rings already
    on: dict[int, list[tuple[int, int, str]]]  # staff -> where "sempre" begins or ends


@lru_cache(maxsize=64)
def rings_us(instrument: str) -> int:
    """How long an instrument rings if nobody damps it, in microseconds; 0 for one that does not."""
    fact = facts.find(f"{instrument}.rings")
    return US * int(fact.value) if fact is not None else 0


def ringing(reading: Reading, context: Context) -> list[Ring]:
    """The strokes of a part on what rings, in order, with what the page says; none of a file of played notes."""
    if context.score.source == "midi" or not any(map(rings_us, reading.instruments)):
        return []
    part = context.score.parts[reading.part]
    signs = _signs(part)
    rests = _rests(part)
    strokes = [one for row in reading.onsets for one in row if one.how != GRACE]
    calls = _calls(strokes, signs, part, context)
    found: list[Ring] = []
    after: dict[tuple[str, int], int] = {}  # the next stroke on the same instrument and staff
    for stroke in reversed(strokes):
        if not rings_us(stroke.instrument):
            continue
        where = (stroke.instrument, stroke.event.note.staff)
        called = _called(calls.get(where[1], ()), stroke.t_us, after.get(where))
        how = DAMPED if called is not None else _how(stroke, part, signs)
        until_us = stroke.until_us if called is None else called
        found.append(Ring(stroke, how, until_us, not how and _past(stroke, part, rests)))
        after[where] = stroke.t_us
    found.reverse()
    return found


def in_bars(rings: Sequence[Ring], part: Part) -> InBars:
    """The bars of the strokes of one instrument, each once."""

    def bars(rows: Sequence[Ring]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(part.measures[one.stroke.event.measure].number for one in rows))

    left = [one for one in rings if one.how == LEFT]
    return InBars(
        bars(left), bars([one for one in rings if one.how == DAMPED]), bars([one for one in rings if one.past]),
        bool(left) and len(left) == len(rings),
    )  # fmt: skip


def in_words(bars: InBars) -> list[str]:
    """What a line of the list says of the ringing.

    >>> in_words(InBars(("1",), ("3", "7"), ("4", "9")))
    ['left to ring in bar 1', 'damped in bars 3, 7', 'rings past its written end in bars 4, 9 (say l.v. or damp)']
    """
    rows = []
    if bars.left:
        rows.append("left to ring" if bars.all_left else f"left to ring in {_named(bars.left)}")
    if bars.damped:
        rows.append(f"damped in {_named(bars.damped)}")
    if bars.past:
        rows.append(f"rings past its written end in {_named(bars.past)} (say l.v. or damp)")
    return rows


def _named(bars: Sequence[str]) -> str:
    more = len(bars) - MOST_BARS
    said = ", ".join(bars[:MOST_BARS]) + (f" and {more} more" if more > 0 else "")
    return f"bar{'s' * (len(bars) > 1)} {said}"


# ------------------------------------------------------------------ what the page says


def _signs(part: Part) -> _Signs:
    at: dict[At, str] = {}
    calls = set[At]()
    on: dict[int, list[tuple[int, int, str]]] = {}
    for measure in part.measures:
        for row in measure.directions:
            how, call, goes_on = _said(row)
            if not how or row.hidden:
                continue
            place = (measure.index, row.staff, row.start)
            at[place] = how
            if call:
                calls.add(place)
            held = on.setdefault(row.staff, [])
            if goes_on or (held and held[-1][2] not in ("", how)):
                held.append((measure.index, row.start, how if goes_on else ""))
    for rows in on.values():
        rows.sort(key=lambda row: row[:2])
    return _Signs(at, frozenset(calls), on)


def _said(row: Direction) -> tuple[str, bool, bool]:
    """What a direction says of the ringing, whether it is a call to damp, and whether it holds on."""
    if row.kind in _CALLS or (row.kind == "symbol" and row.value.startswith(_SYMBOLS)):
        return DAMPED, True, False
    if row.kind != "words":
        return "", False, False
    kinds = {meaning.kind for meaning in words.meanings(row.value)}
    how = DAMPED if kinds & (_NOTE | _CALL) else LEFT if "let-ring" in kinds else ""
    goes_on = bool(how) and bool(_ON & {folded(word.strip(".,;()")) for word in row.value.split()})
    return how, bool(kinds & _CALL), goes_on


def _how(stroke: Stroke, part: Part, signs: _Signs) -> str:
    """What is said of one stroke: at its note, at one tied to it, or further before."""
    for event in stroke.events:
        notes = [(event.measure, event.note), *((m, part.measures[m].notes[n]) for m, n in event.tied)]
        if any(mark.kind == "tied" and mark.value == "let-ring" for _, note in notes for mark in note.marks):
            return LEFT
        here = [how for m, note in notes if (how := signs.at.get((m, note.staff, note.start)))]
        if here:
            return here[-1]
        if any(note.marked("stopped") for _, note in notes):
            return DAMPED
        if any(note.marked(kind) for _, note in notes for kind in _SHORT):
            return SHORT
    event = stroke.event
    held = signs.on.get(event.note.staff, [])
    i = bisect_right(held, (event.measure, event.note.start), key=lambda row: row[:2])
    return held[i - 1][2] if i else ""


def _calls(
    strokes: Sequence[Stroke], signs: _Signs, part: Part, context: Context
) -> dict[int, list[int]]:
    """Staff -> when what rings already is to be damped: calls that stand over no note of what rings."""
    own = {
        (m, note.staff, note.start)
        for stroke in strokes
        if rings_us(stroke.instrument)
        for event in stroke.events
        for m, note in ((event.measure, event.note), *((m, part.measures[m].notes[n]) for m, n in event.tied))
    }
    free = {place for place in signs.calls if place not in own}
    found: dict[int, list[int]] = {}
    frame = context.frame
    for play in frame.plays_of({m for m, _, _ in free}) if free else ():
        for m, staff, start in free:
            if m == play.measure:
                found.setdefault(staff, []).append(frame.clock.floor_us(play.onset + start))
    return {staff: sorted(times) for staff, times in found.items()}


def _called(times: Sequence[int], t_us: int, next_us: int | None) -> int | None:
    """The first call after a stroke, if the instrument is not struck again before it."""
    i = bisect_right(times, t_us)
    if i == len(times) or (next_us is not None and times[i] >= next_us):
        return None
    return times[i]


# ------------------------------------------------------------------ past the written end


def _rests(part: Part) -> frozenset[tuple[int, int, str, int]]:
    return frozenset(
        (measure.index, note.staff, note.voice, note.start)
        for measure in part.measures
        for note in measure.notes
        if note.kind == "rest" and not note.flags & UNCHECKED
    )


def _past(stroke: Stroke, part: Part, rests: frozenset[tuple[int, int, str, int]]) -> bool:
    """Whether a rest follows a stroke that still rings there."""
    if stroke.instrument in named_in("mallets.rings_with_pedal"):
        return False
    if not stroke.rolls and stroke.until_us - stroke.t_us >= rings_us(stroke.instrument):
        return False
    event = stroke.event
    m, note = event.measure, event.note
    if event.tied:
        m, n = event.tied[-1]
        note = part.measures[m].notes[n]
    end = note.start + note.length
    if end >= part.measures[m].length:
        m, end = m + 1, 0
    return (m, note.staff, note.voice, end) in rests
