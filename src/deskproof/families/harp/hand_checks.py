"""What the hands of a harp part find hard, as findings; and chords that no two hands take."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from deskproof.families.harp import rules
from deskproof.families.harp.handing import KNOWN_STAVES, Handed, staff_of
from deskproof.families.harp.hands import Hard
from deskproof.families.harp.model import hands_take
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.wording import NEAR, SIDES, names_of, place_of, refs_of
from deskproof.findings import Finding
from deskproof.score import Part

if TYPE_CHECKING:
    pass



def hand_findings(
    handed: Handed, reading: Reading, part: Part, fixed: Callable[[int], bool], goes: Callable[[int, float], str]
) -> Iterator[Finding]:
    """The findings about hands. ``fixed`` tells whether the tempo at a time is; ``goes`` says up to which tempo."""
    for onset, given in _by_onset(handed):
        row = [reading.plucked[onset][n] for n in given]
        yield rules.HANDS.at(
            place_of(reading, row[0].events[0]), refs_of(part, reading.plucked[onset]),
            fold=("hands", tuple(one.pitch for one in reading.plucked[onset])),
            count_words=f"{len(reading.plucked[onset])} notes",
            reason=f"no hand is left that reaches {names_of(row)}", goes="",
            most=len(reading.plucked[onset]) - len(row),
        )  # fmt: skip
    yield from _fifth_notes(handed, reading, part)
    for one in handed.plan.hard:
        found = _one(one, handed, reading, part, fixed, goes)
        if found is not None:
            yield found


def _fifth_notes(handed: Handed, reading: Reading, part: Part) -> Iterator[Finding]:
    """Five notes or more written for one hand, of which the other cannot take one from where it is."""
    fingers = handed.settings.hand
    if part.staves < len(KNOWN_STAVES):
        return
    refused = {onset for onset, _ in handed.plan.left_out}
    for i, row in enumerate(reading.plucked):
        if len(row) <= fingers or i in refused:
            continue
        lines = handed.lines[i]
        staves = [staff_of(one) for one in row]
        staff = next((s for s in KNOWN_STAVES if staves.count(s) > fingers), None)
        if staff is None or len(lines) < len(row) or hands_take(lines, True, handed.settings):
            continue
        own = [one for one, of in zip(row, staves, strict=True) if of == staff]
        yield rules.HANDS.at(
            place_of(reading, own[0].events[0]), refs_of(part, own), level="hard",
            fold=("fifth", tuple(one.pitch for one in row)),
            count_words=f"{len(own)} notes on the {'upper' if staff == 1 else 'lower'} staff",
            reason=f"a hand has {fingers} fingers for the strings, and the other cannot take one from where it is",
            most=fingers, goes="",
        )  # fmt: skip


def _by_onset(handed: Handed) -> list[tuple[int, tuple[int, ...]]]:
    found: dict[int, list[int]] = {}
    for onset, note in handed.plan.left_out:
        found.setdefault(onset, []).append(note)
    return [(onset, handed.notes(onset, tuple(notes))) for onset, notes in sorted(found.items())]


def _one(
    hard: Hard, handed: Handed, reading: Reading, part: Part, fixed: Callable[[int], bool],
    goes: Callable[[int, float], str],
) -> Finding | None:  # fmt: skip
    row = [reading.plucked[hard.onset][n] for n in handed.notes(hard.onset, hard.notes)]
    place, notes, side = place_of(reading, row[0].events[0]), refs_of(part, row), SIDES[hard.hand]
    t_us = reading.onsets[hard.onset].t_us
    since = t_us - reading.onsets[hard.before].t_us if hard.before >= 0 else 0
    if hard.kind in ("low", "high"):
        where = "below its easy strings" if hard.kind == "low" else "above its easy strings"
        return rules.ZONE.at(
            place, notes, level="hard" if hard.kind == "low" else "advice", fold=("zone", hard.kind), near=NEAR,
            hand=side, note_name=names_of(row), where=where, beyond=hard.number,
        )  # fmt: skip
    if hard.kind == "leap":
        ratio = since / (since + hard.number) if since else 0.0
        before = [
            one
            for n, one in enumerate(reading.plucked[hard.before])
            if handed.of(hard.before, n) == hard.hand
        ]  # fmt: skip
        return rules.LEAP.at(
            place, notes, fold="leap", near=NEAR, hand=side, lack_us=hard.number, lack_ms=-(-hard.number // 1000),
            from_name=names_of(before) or "its last notes", to_name=names_of(row),
            goes="" if fixed(t_us) else goes(t_us, ratio),
        )  # fmt: skip
    if hard.kind == "again":
        return rules.AGAIN.at(
            place, notes, fold="again", near=NEAR, note_name=names_of(row), gap_us=hard.number,
            gap_ms=hard.number // 1000, at_us=t_us, goes="",
        )  # fmt: skip
    if hard.kind == "busy":
        return rules.BUSY.at(
            place, notes, fold="busy", near=NEAR, hand=side, note_name=names_of(row), left_us=hard.number,
            left_ms=-(-hard.number // 1000), what="trill or glissando",
        )  # fmt: skip
    return None
