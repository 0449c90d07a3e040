"""Manners: parts that are written in another manner than the file says, or than players read today.

The transposition is missing, stands twice, or is an octave off; horns and bass clarinets in the older manner of the
bass clef, cellos in that of the treble clef; clefs that no player of the instrument reads; key signatures of seven
accidentals; a crook in the part's name that is not the one in the file; the transposition or key of the instrument
before where a part goes over to another. One finding for a part and a manner; the
mend is made on the transposition, the clef or the key, not note by note, and what follows from the manner
("31 notes below the horn") is not reported by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from deskproof.families.base import Context, Family, Plan
from deskproof.families.manners.around import Around
from deskproof.families.manners.changes import Entry, entries
from deskproof.families.manners.crooks import other_crook
from deskproof.families.manners.groups import Group, groups_of, renewed
from deskproof.families.manners.passages import Passages, older_clefs
from deskproof.families.manners.rules import (
    CHANGE_KEY,
    CHANGE_TRANSPOSITION,
    CLEF_MANNER,
    CROOK,
    MISSING,
    OCTAVE,
    SIGNATURE,
    SOUNDING,
    TWICE,
    UNREAD,
)
from deskproof.families.manners.signs import other_clefs, other_key, signatures_of_seven, unread_clefs
from deskproof.families.manners.transposing import retransposed, transpose_by
from deskproof.families.manners.whole import Reading, reading_of
from deskproof.families.manners.words import interval
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import Transpose
from deskproof.spans import Span


@dataclass(frozen=True, slots=True)
class Written(Plan):
    """How a part is written: its notes by instrument and transposition, and what its signs and name alone give."""

    around: Around | None = None
    groups: tuple[Group, ...] = ()
    entries: tuple[Entry, ...] = ()
    crook: tuple[Finding, ...] = ()
    signs: tuple[Finding, ...] = ()


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Gather how a part is written; a file of played notes is not."""
    if context.score.source != "musicxml" or not spans:
        return Written()
    groups = groups_of(spans, context)
    if not groups:
        return Written()
    signs = (*unread_clefs(groups, context), *signatures_of_seven(groups, context))
    around = Around(groups[0].part, context)
    return Written(
        around=around,
        groups=groups,
        entries=entries(spans, around, context),
        crook=tuple(other_crook(groups[0], context)),
        signs=tuple(one.finding(context) for one in signs),
    )


def replan(before: Plan, spans: Sequence[Span], context: Context) -> Plan:
    """The plan when notes of ``context.measures`` have changed; ``spans`` hold these measures only."""
    assert isinstance(before, Written)
    if not before.groups or context.measures is None:
        return before
    return replace(before, groups=renewed(before.groups, groups_of(spans, context), context.measures))


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The manners of one part: one finding each."""
    assert isinstance(plan, Written)
    for one in _found(plan, context):
        if context.measures is None or one.place.measure in context.measures:
            yield one


def _found(plan: Written, context: Context) -> Iterator[Finding]:
    if plan.around is None:
        return
    untransposed = {(e.span.instrument, e.span.transpose) for e in plan.entries if e.wanted is not None}
    manners = [
        one
        for one in _manners(plan.groups, plan.around, context)
        if not isinstance(one, Reading) or (one.group.instrument, one.group.transpose) not in untransposed
    ]
    for one in manners:
        yield one.finding(context)
    for entry in plan.entries:
        yield entry.finding(context)
    if not any(isinstance(one, Reading) for one in manners) and not context.score.at_sounding_pitch:
        yield from plan.crook
    yield from plan.signs


def _manners(groups: Sequence[Group], around: Around, context: Context) -> Iterator[Passages | Reading]:
    """Passages, and then whole parts, that are to be read otherwise."""
    for group in groups:
        for passages in older_clefs(group, context):
            yield passages
            group = group.without(passages.inside)
        reading = reading_of(group, around, context)
        if reading is not None:
            yield reading


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """Ways out of a finding of this family; the caller verifies each before it is offered."""
    assert isinstance(plan, Written)
    groups = plan.groups
    if finding.rule is CROOK:
        yield _transposed(groups[0], transpose_by(int(finding.numbers["wanted"])), context)
    elif finding.rule is UNREAD:
        for strange in unread_clefs(groups, context):
            if strange.finding(context).key == finding.key:
                yield from other_clefs(strange)
    elif finding.rule is SIGNATURE:
        for strange in signatures_of_seven(groups, context):
            if strange.finding(context).key == finding.key:
                yield from other_key(strange, context)
    elif finding.rule in (CHANGE_TRANSPOSITION, CHANGE_KEY):
        for entry in plan.entries:
            if entry.finding(context).key == finding.key:
                yield from entry.mend(context)
    elif finding.rule is not SOUNDING and plan.around is not None:
        for one in _manners(groups, plan.around, context):
            if one.finding(context).key != finding.key:
                continue
            if isinstance(one, Reading):
                yield _transposed(one.group, transpose_by(one.wanted), context)
            else:
                wanted = transpose_by(one.group.semitones + one.value)
                part, layout = context.score.parts[one.group.part], context.layouts[one.group.part]
                said = f"{_said(wanted)} while the {one.clef} clef stands"
                yield Mend(said, Effect.CHANGES_SOUND, retransposed(part, layout, one.inside, wanted))


def _transposed(group: Group, wanted: Transpose, context: Context) -> Mend:
    """All of a group, transposed otherwise."""
    part, layout = context.score.parts[group.part], context.layouts[group.part]
    return Mend(_said(wanted), Effect.CHANGES_SOUND, retransposed(part, layout, group.spots(), wanted))


def _said(wanted: Transpose) -> str:
    semitones = int(wanted.semitones)
    if not semitones:
        return "do not transpose the part"
    return f"let the part sound {interval(semitones)} {'lower' if semitones < 0 else 'higher'} than written"


MANNERS = Family(
    name="manners",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=(
        MISSING, SOUNDING, TWICE, OCTAVE, CLEF_MANNER, UNREAD, SIGNATURE, CROOK, CHANGE_TRANSPOSITION, CHANGE_KEY
    ),
    reach=None,
    looks_around=True,
    replan=replan,
)
