"""Ways out where a player is wanted twice or changes without a word."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.edits import AddWords, Edit
from deskproof.families.base import Context
from deskproof.families.players import rules
from deskproof.findings import Effect, Finding, Mend
from deskproof.spans import Span

US = 1_000_000


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done; only words are written."""
    if finding.rule is rules.UNSAID:
        edits = tuple(_words(finding, spans, context))
        if edits:
            yield Mend(f"print “to {finding.numbers['after']}” and the name at its entry", Effect.KEEPS_SOUND, edits)
    elif finding.rule is rules.NOBODY:
        yield Mend("give the notes to another instrument, or ask for a player who has it", Effect.ADVICE)
    else:
        short = f"{finding.numbers['lack_us'] / US:.1f} s"
        yield Mend("let another player take the entry", Effect.ADVICE)
        yield Mend(f"end {short} sooner before it, enter {short} later, or leave out the notes between", Effect.ADVICE)


def _words(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Edit]:
    """The name at the entry, and what is to come at the last note before."""
    part = context.score.parts[finding.place.part]
    name = str(finding.numbers["after"])
    place = finding.place
    yield AddWords(part.id, place.measure, place.start, place.staff, name[:1].upper() + name[1:], "above")
    here = (place.measure, place.start)
    before = [e for span in spans for e in span.events if (e.measure, e.note.start) < here and e.pass_ == place.pass_]
    if before:
        last = max(before, key=lambda event: (event.measure, event.note.start))
        yield AddWords(part.id, last.measure, last.note.start, last.note.staff, f"to {name}", "above")
