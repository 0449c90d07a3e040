"""Ways out where a player is wanted twice, changes without time, or without a word."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from deskproof.edits import AddWords, Edit, EditError, complete
from deskproof.families.base import Context, Plan
from deskproof.families.players import rules
from deskproof.families.players.reading import US
from deskproof.families.rewriting import ended_by, left_out, written
from deskproof.families.wording import listed
from deskproof.findings import Effect, Finding, Mend
from deskproof.spans import Span
from deskproof.timeline import Event

FEW = 3  # notes; more than these are not left out for a change of instrument
ONLY_WORDS = {
    rules.NOBODY.id: "give the notes to another instrument, or ask for a player who has it",
    rules.TOO_FEW.id: "ask for one more, or let the players follow each other on one",
    rules.DIVISI.id: "divide it into fewer parts, or give some of them to another section",
}


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done: words printed; a held note ended sooner, a few notes left out; who else could play."""
    if finding.rule is rules.UNSAID:
        own = [span for span in spans if span.part == finding.place.part]
        edits = tuple(_words(finding, own, context))
        if edits:
            yield Mend(f"print “to {finding.numbers['after']}” and the name at its entry", Effect.KEEPS_SOUND, edits)
        return
    if finding.rule is rules.UNANNOUNCED:
        own = [span for span in spans if span.part == finding.place.part]
        edits = tuple(list(_words(finding, own, context))[1:])
        if edits:
            said = f"print “to {finding.numbers['after']}” at the last note before"
            yield Mend(said, Effect.KEEPS_SOUND, edits)
        return
    if finding.rule.id in ONLY_WORDS:
        yield Mend(ONLY_WORDS[finding.rule.id], Effect.ADVICE)
        return
    yield from _timed(finding, spans, context)
    takers = finding.numbers.get("takers")
    if takers:
        yield Mend(f"let {listed(takers).replace(' and ', ' or ')} take the entry, free there", Effect.ADVICE)
    else:
        yield Mend("let another player take the entry", Effect.ADVICE)
    short = f"{finding.numbers['lack_us'] / US:.1f} s"
    yield Mend(f"end {short} sooner before it, enter {short} later, or leave out the notes between", Effect.ADVICE)


# ------------------------------------------------------------------ more time

_Row = list[tuple[int, Event]]


class _Around(NamedTuple):
    """One place where time is short: the notes before and after that are in the way, with their parts.

    ``by_us`` is when all must be over before the entry; ``late`` are the notes that are not, ``begun`` those of them
    that begin before ``tick``, so that they can end sooner; ``early`` the notes of the entry that come too soon.
    """

    tick: int
    late: _Row
    early: _Row

    @property
    def begun(self) -> _Row:
        return [row for row in self.late if row[1].onset < self.tick]

    @property
    def inside(self) -> _Row:
        return [row for row in self.late if row[1].onset >= self.tick]


def _timed(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """The notes before ended sooner, or some left out before or after, in every place that the finding joins."""
    places = [_around(one, spans, context) for one in finding.atoms or (finding,)]
    if not all(place.late and place.early for place in places):
        return
    parts = dict.fromkeys(part for place in places for part, _ in place.late)
    where = "" if finding.rule is rules.CHANGE else f" in {listed([context.score.parts[part].name for part in parts])}"
    sooner = _joined([_ended(place.begun, place.tick, context) for place in places])
    if not any(place.inside for place in places):
        lack = f"{finding.numbers['lack_us'] / US:.1f} s"
        yield from _made(f"end what is held before it{where} {lack} sooner", sooner, context)
    inside = [row for place in places for row in place.inside]
    if inside:
        gone = _joined([sooner, _gone(inside, context)])
        yield from _made(f"leave out the last {_notes(len(inside))} before it{where}", gone, context)
    early = [row for place in places for row in place.early]
    yield from _made(f"leave out the first {_notes(len(early))} of the entry", _gone(early, context), context)


def _notes(count: int) -> str:
    return "note" if count == 1 else f"{count} notes"


def _joined(rows: Sequence[list[Edit] | None]) -> list[Edit] | None:
    """All edits; None where one row cannot be written."""
    return None if any(row is None for row in rows) else [edit for row in rows for edit in row or ()]


def _made(says: str, edits: list[Edit] | None, context: Context) -> Iterator[Mend]:
    if edits:
        try:
            yield Mend(says, Effect.CHANGES_SOUND, complete(context.score, context.layouts, list(dict.fromkeys(edits))))
        except EditError:
            return


def _around(one: Finding, spans: Sequence[Span], context: Context) -> _Around:
    frame, ids = context.frame, [part.id for part in context.score.parts]
    rows: list[_Row] = []
    times = one.numbers["before_us"], one.numbers["after_us"]
    for line, instrument, (from_us, to_us) in zip(one.numbers["lines"], one.numbers["instruments"], times, strict=True):
        part = ids.index(line.partition("/")[0])
        mine = [span for span in spans if span.part == part and span.instrument and span.instrument.id == instrument]
        events = [event for span in mine for event in span.events]
        rows.append([(part, event) for event in events if from_us <= frame.times_us(event)[0] <= to_us])
    before, after = rows
    by_us = one.numbers["after_us"][0] - one.numbers["need_us"]
    tick = frame.clock.tick_at(by_us)
    tick -= frame.clock.ceil_us(tick) > by_us
    late = [row for row in before if frame.times_us(row[1])[1] > by_us]
    free_us = one.numbers["before_us"][1] + one.numbers["need_us"]
    early = [row for row in after if frame.times_us(row[1])[0] < free_us]
    return _Around(tick, late, early)


def _ended(rows: _Row, tick: int, context: Context) -> list[Edit] | None:
    found: list[Edit] = []
    for part, event in rows:
        edits = ended_by(context.score.parts[part], [event], tick, context.score.grid)
        if edits is None:
            return None
        found += edits
    return found


def _gone(rows: _Row, context: Context) -> list[Edit] | None:
    """The notes left out; None where they are too many, or cannot be."""
    if len(rows) > FEW:
        return None
    found: list[Edit] = []
    for part in dict.fromkeys(part for part, _ in rows):
        own = context.score.parts[part]
        edits = left_out(own, written(own, [event for other, event in rows if other == part]))
        if edits is None:
            return None
        found += edits
    return found


# ------------------------------------------------------------------ words


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
