"""Manners of playing in a harp part: near the table, with the nail, damped; what is asked for and never ended."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from deskproof import words
from deskproof.families.harp.handing import Handed
from deskproof.families.harp.harmonic_manner import (
    unaccented,
)
from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.families.harp.wording import (
    NEAR,
    SIDES,
    UpTo,
    as_sounding,
    is_written,
    names_of,
    number_of,
    place_of,
    refs_of,
    soonest,
)
from deskproof.families.wording import first
from deskproof.findings import Finding, Place, Rule
from deskproof.score import UNCHECKED, Direction, Measure, Note, NoteRef, Part

_Spot = tuple[int, int]
"""A place of a part: measure ordinal and tick."""

OPEN = Rule(
    id="harp-effect-open",
    levels=("notation",),
    title="a manner of playing that is asked for twice and never ended",
    says=(
        "{words} is asked for again in bar {bar}, and nothing has ended it since bar {since}: {end} is missing "
        "between, or the words are said twice."
    ),
    why="The player stays with the manner until something ends it.",
    facts=("harp.effect_said_again",),
    silent_when="something ends the manner, the words are in brackets, or only a few notes lie between",
    merge=first,
    worse=("count",),
)

MUFFLED_FAST = Rule(
    id="harp-etouffe-fast",
    levels=("hard",),
    title="damped notes that follow one another fast",
    says="damped notes of the {hand} hand follow after {gap_ms} ms, here {note_name}; {need_ms} ms are wanted.{goes}",
    why="Each note is stopped by the hand before the next: a slow manner, for single notes of the left hand.",
    facts=("harp.etouffe_time",),
    silent_when="the notes are slow enough, alternate between the hands, or are no longer under the words",
    merge=soonest,
    worse=("count",),
)

XYLOPHONIC = Rule(
    id="harp-xylophonic-hands",
    levels=("hard",),
    title="xylophonic sounds that want more than one hand to pluck",
    says="{note_name} as xylophonic sounds: one hand damps the strings at the soundboard, the other has {reason}.",
    why="Both hands are bound: one lies on the strings low down, and only the other plucks.",
    facts=("harp.fingers_a_hand", "harp.reach"),
    silent_when="one hand plucks all of it",
    merge=first,
    worse=("count",),
)
EFFECT_RULES = (OPEN, MUFFLED_FAST, XYLOPHONIC)


def effect_findings(reading: Reading, handed: Handed, part: Part, tempo: UpTo) -> Iterator[Finding]:
    """The findings about manners of playing that are left open, and about damped notes."""
    if is_written(part):
        yield from _left_open(reading, part)
    yield from _muffled_fast(reading, handed, part, tempo)
    yield from _xylophonic(reading, handed, part)

_MANNERS = ("pres-de-la-table", "etouffe", "nail", "xylophonic")

_ENDS = frozenset({"ordinary", "let-ring", "tempo", "harmonic", "bisbigliando", "pizz"})

_LINES = ("dashes", "bracket")

_STILL = ("sempre", "sim", "simile", "toujours", "immer", "stets", "still")


def _said_of(sign: Direction) -> tuple[set[str], bool]:
    """The manners of playing that a direction asks for, and whether it ends one that was asked for before."""
    if sign.hidden:
        return set(), False
    if sign.kind in _LINES:
        return set(), sign.value == "stop"
    if sign.kind != "words":
        return set(), False
    kinds = {meaning.kind for meaning in words.meanings(sign.value)}
    return kinds & set(_MANNERS), bool(kinds & _ENDS)


def _lasts(kind: str, text: str) -> bool:
    """Whether the words ask for a manner from here on: "sons étouffés" does, "étouffé" is for one note."""
    if kind != "etouffe":
        return True
    plain = unaccented(text)
    return "sons" in plain or "etouffes" in plain or "etouffees" in plain or any(s in plain.split() for s in _STILL)


def _reminds(text: str) -> bool:
    """Whether words only say that a manner goes on."""
    plain = unaccented(text)
    return plain[:1] in ("(", "[") or any(word.strip(".,()") in _STILL for word in plain.split())


def _signs(measure: Measure) -> list[Direction]:
    return sorted(measure.directions, key=lambda sign: (sign.start, sign.k))


def _left_open(reading: Reading, part: Part) -> Iterator[Finding]:
    """A manner that is asked for again on the same staff while the first asking still holds."""
    wanted = number_of("effect_said_again")
    several = part.staves > 1
    opened: dict[tuple[str, int], _Spot] = {}
    for measure in part.measures:
        for sign in _signs(measure):
            kinds, ends = _said_of(sign)
            if ends:
                opened.clear()
            here, staff = (measure.index, sign.start), sign.staff if several else 0
            for kind in sorted(kinds):
                if not _lasts(kind, sign.value):
                    continue
                before = opened.get((kind, staff))
                if before is not None and (before == here or _reminds(sign.value)):
                    continue
                if before is not None and len(_struck(part, staff, before, here)) >= wanted:
                    notes = _next_notes(part, staff, here)
                    yield OPEN.at(
                        Place(reading.part, sign.staff, *here), notes, fold=("open", kind),
                        words=f"“{' '.join(sign.value.split())}”", bar=part.measures[here[0]].number,
                        since=part.measures[before[0]].number,
                        end="“laissez vibrer”" if kind == "etouffe" else "“ordinario”",
                    )  # fmt: skip
                opened = {key: spot for key, spot in opened.items() if key[0] == kind}
                opened[kind, staff] = here


def _on_staff(part: Part, measure: int, staff: int) -> Iterator[Note]:
    """The checked notes of a staff in a measure; of all staves for 0."""
    for note in part.measures[measure].notes:
        if note.pitch is not None and not note.flags & UNCHECKED and staff in (0, note.staff):
            yield note


def _struck(part: Part, staff: int, first: _Spot, end: _Spot) -> set[_Spot]:
    """The places from ``first`` to before ``end`` at which a staff has notes."""
    spots = {(m, note.start) for m in range(first[0], end[0] + 1) for note in _on_staff(part, m, staff)}
    return {spot for spot in spots if first <= spot < end}


def _next_notes(part: Part, staff: int, here: _Spot) -> tuple[NoteRef, ...]:
    """The notes of a staff that come first at a place or after it."""
    for m in range(here[0], len(part.measures)):
        rows = [note for note in _on_staff(part, m, staff) if (m, note.start) >= here]
        if rows:
            start = min(note.start for note in rows)
            return tuple(NoteRef(part.id, m, note.n) for note in rows if note.start == start)
    return ()


def _under(part: Part, wanted: str) -> set[_Spot]:
    """The notes (measure, ordinal) that are played in a manner.

    "Sons étouffés" holds on its staff until something ends it, at most to the next bar without a note there; "étouffé"
    holds for the notes at its place, and for those after it as long as they have staccato dots.
    """
    found: set[tuple[int, int]] = set()
    under: dict[int, bool] = {}  # staff -> whether every note is meant, or only those with dots
    several = part.staves > 1
    for measure in part.measures:
        m = measure.index
        if not under and not any(wanted in _said_of(sign)[0] for sign in measure.directions):
            continue
        events: list[tuple[int, int, Direction | Note]] = [(sign.start, 0, sign) for sign in _signs(measure)]
        events += [(note.start, 1, note) for note in measure.notes]
        fresh: dict[int, int] = {}  # staff -> tick at which words for one note stand
        under = {staff: every for staff, every in under.items() if any(_on_staff(part, m, staff))}
        for start, _, row in sorted(events, key=lambda event: event[:2]):
            if isinstance(row, Direction):
                kinds, ends = _said_of(row)
                staff = row.staff if several else 0
                if ends or kinds - {wanted}:
                    under.clear()
                if wanted in kinds:
                    under[staff] = _lasts(wanted, row.value)
                    fresh[staff] = start
                continue
            staff = row.staff if several else 0
            if staff not in under or row.pitch is None or row.flags & UNCHECKED:
                continue
            if under[staff] or row.marked("staccato") is not None or fresh.get(staff) == start:
                found.add((m, row.n))
            else:
                del under[staff]
    return found


def _muffled_fast(reading: Reading, handed: Handed, part: Part, tempo: UpTo) -> Iterator[Finding]:
    damped = _under(part, "etouffe")
    if not damped:
        return
    need_us = 1000 * number_of("etouffe_time")
    rows: list[tuple[int, dict[str, Plucked]]] = []
    for i, row in enumerate(reading.plucked):
        mine: dict[str, Plucked] = {}
        for n, one in enumerate(row):
            hand = handed.of(i, n)
            if hand and any((e.measure, e.note.n) in damped and not e.grace for e in one.events):
                mine.setdefault(hand, one)
        if mine:
            rows.append((i, mine))
    for (i, now), (k, then) in pairwise(rows):
        gap_us = reading.onsets[k].t_us - reading.onsets[i].t_us
        for hand in sorted(now.keys() & then.keys()):
            if gap_us >= need_us:
                continue
            one, t_us = then[hand], reading.onsets[k].t_us
            yield MUFFLED_FAST.at(
                place_of(reading, one.events[0]), refs(part, one), fold="muffled fast", near=NEAR, hand=SIDES[hand],
                note_name=str(as_sounding(one.events[0])), gap_us=gap_us, gap_ms=gap_us // 1000,
                need_ms=need_us // 1000, goes=tempo.up_to(t_us, gap_us / need_us),
            )  # fmt: skip


def _xylophonic(reading: Reading, handed: Handed, part: Part) -> Iterator[Finding]:
    under = _under(part, "xylophonic")
    if not under or words.how_many(part.name) > 1:
        return
    settings = handed.settings
    for i, row in enumerate(reading.plucked):
        lines = [
            line
            for n, line in zip(handed.rows[i], handed.lines[i], strict=True)
            if any((e.measure, e.note.n) in under for e in row[n].events)
        ]
        if len(lines) > settings.hand:
            reason = f"{len(lines)} notes for {settings.hand} fingers"
        elif lines and lines[-1] - lines[0] > settings.reach:
            reason = f"to reach over {lines[-1] - lines[0] + 1} strings"
        else:
            continue
        yield XYLOPHONIC.at(
            place_of(reading, row[0].events[0]), refs_of(part, row), fold="xylophonic", near=NEAR,
            note_name=names_of(row), reason=reason,
        )  # fmt: skip
