"""Ways out at the timpani; all are the composer's to decide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.families.base import Context
from deskproof.families.timpani import rules
from deskproof.findings import Effect, Finding, Mend
from deskproof.spans import Span

WAYS = {
    rules.NO_TIME.id: "leave out the note, write one that a drum has, or give the player a rest before it",
    rules.TOGETHER.id: "leave out a note, or ask for a second player",
    rules.QUICK.id: "give the drum more time before the new pitch",
    rules.FIFTH.id: "ask for a fifth drum, or leave the drums more time",
}


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done."""
    yield Mend(WAYS[finding.rule.id], Effect.ADVICE)
