"""Ways out of what hands and mallets do not do. All are the composer's to decide; nothing is written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.families.base import Context
from deskproof.families.percussion import rules
from deskproof.findings import Effect, Finding, Mend
from deskproof.spans import Span

WAYS = {
    rules.MALLETS.id: "leave out a note, break the chord, or ask for four mallets in words",
    rules.REACH.id: "write a note an octave nearer, or let the chord be broken",
    rules.LEAP.id: "write the note an octave nearer, or give the hands more time",
    rules.HANDS.id: "give one of the instruments to another player",
    rules.CHANGE.id: "give one of the instruments to another player, or more time",
    rules.STICKS.id: "keep the sticks, or give the change more time",
    rules.ROLL.id: "write single strokes, or another instrument",
    rules.UNNAMED.id: "print the instrument's name where the line begins",
}


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done."""
    yield Mend(WAYS[finding.rule.id], Effect.ADVICE)
