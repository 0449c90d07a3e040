"""What needs two strings for one pitch: a tremolo or bisbigliando on a single note."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof import words
from deskproof.families.harp.model import choices
from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.families.harp.wording import (
    NEAR,
    as_sounding,
    first,
    place_of,
)
from deskproof.findings import Finding, Rule
from deskproof.score import Part

_Spot = tuple[int, int]
"""A place of a part: measure ordinal and tick."""

ONE_STRING = Rule(
    id="harp-tremolo-one-string",
    levels=("hard",),
    title="a tremolo on a note that has one string only",
    says="{note_name} has no second string for a {what}: one string plucked again and again stops itself.",
    why=(
        "A harp tremolo goes to and fro between two strings of one pitch, as C♯ and D♭, or between the notes of a "
        "chord. D, G and A natural have one string each."
    ),
    facts=(),
    silent_when="the pitch has two strings, or two notes or more go to and fro",
    merge=first,
    worse=("count",),
)

TWO_STRING_RULES = (ONE_STRING,)

UNMEASURED = 3  # strokes of a tremolo that counts no notes


def two_string_findings(reading: Reading, part: Part) -> Iterator[Finding]:
    """Tremolos and bisbigliandi of one note whose pitch a single string has."""
    if words.how_many(part.name) > 1:
        return
    whispered = {
        (measure.index, sign.start)
        for measure in part.measures
        for sign in measure.directions
        if sign.kind == "words"
        and not sign.hidden
        and any(meaning.kind == "bisbigliando" for meaning in words.meanings(sign.value))
    }
    for row in reading.plucked:
        for one in row:
            what = _repeated(one, whispered)
            if not what or len(choices(one.pitch, {})) != 1 or one.how not in ("struck", "roll"):
                continue
            if any(other is not one and (what == "bisbigliando" or _one_chord(one, other)) for other in row):
                continue  # it goes to and fro between the two
            yield ONE_STRING.at(
                place_of(reading, one.events[0]), refs(part, one), fold=("one string", one.pitch), near=NEAR,
                note_name=str(as_sounding(one.events[0])), what=what,
            )  # fmt: skip


def _one_chord(one: Plucked, other: Plucked) -> bool:
    return any((e.note.staff, e.note.voice) == (f.note.staff, f.note.voice) for e in one.events for f in other.events)


def _repeated(one: Plucked, whispered: set[_Spot]) -> str:
    """What makes a note repeat itself fast; empty if nothing does."""
    for event in one.events:
        mark = event.note.marked("tremolo")
        if mark is None:
            if (event.measure, event.note.start) in whispered:
                return "bisbigliando"
        elif mark.number in ("", "single") and mark.value.isdecimal() and int(mark.value) >= UNMEASURED:
            return "tremolo"
    return ""
