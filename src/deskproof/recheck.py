"""What a change does: which findings go, which come, which stay.

One function for verifying mends, for the browser, and for two exports side by side. It hears and checks again only
a window of bars around the edits; a test shows that the window finds what the whole would find.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from deskproof.edits import Edit, apply, touched
from deskproof.families import FAMILIES
from deskproof.findings import Finding
from deskproof.score import TIE_START, TIE_STOP, Part
from deskproof.state import State, state_of
from deskproof.timeline import realise_part


@dataclass(frozen=True, slots=True)
class Change:
    """Findings note by note: those that go, those that come, those that stay (of the bars looked at)."""

    gone: tuple[Finding, ...]
    new: tuple[Finding, ...]
    same: tuple[Finding, ...]


def recheck(state: State, edits: Sequence[Edit], whole: bool = False) -> Change:
    """What the edits do to the findings of a checked score.

    Parameters
    ----------
    state : State
    edits : sequence of Edit
    whole : bool
        Check the whole edited score again instead of the window around the edits.
    """
    after = apply(state.score, edits)
    before: list[Finding] = []
    now: list[Finding] = []
    if whole:
        fresh = state_of(after, state.forces, tuple(state.spans))
        before = [one for atoms in state.atoms.values() for one in atoms]
        now = [one for atoms in fresh.atoms.values() for one in atoms]
        return difference(before, now)
    for part_id, measures in touched(edits).items():
        for i, part in enumerate(after.parts):
            if part.id != part_id or i not in state.spans:
                continue
            for family in FAMILIES:
                window = closed(part, {m + d for m in measures for d in range(-family.reach, family.reach + 1)})
                layout, frame = state.timeline.layouts[i], state.timeline.frame
                spans = state.lines[i].spans(realise_part(part, layout, frame, window))
                context = state.context(after, window)
                now.extend(family.check(family.plan(spans, context), spans, context))
                before.extend(one for one in state.atoms[family.name, i] if one.place.measure in window)
    return difference(before, now)


def closed(part: Part, measures: Iterable[int]) -> frozenset[int]:
    """The measures, and with them those that ties bind to them."""
    found = {m for m in measures if 0 <= m < len(part.measures)}
    for m in sorted(found):
        at = m
        while at - 1 >= 0 and any(n.flags & TIE_STOP and n.start == 0 for n in part.measures[at].notes):
            at -= 1
            found.add(at)
        at = m
        while at + 1 < len(part.measures) and any(
            n.flags & TIE_START and n.start + n.length >= part.measures[at].length for n in part.measures[at].notes
        ):
            at += 1
            found.add(at)
    return frozenset(found)


def difference(before: Iterable[Finding], now: Iterable[Finding]) -> Change:
    """Compare two lists of findings of one score by rule, level and notes."""
    old = {one.key: one for one in before}
    new = {one.key: one for one in now}
    return Change(
        tuple(one for key, one in old.items() if key not in new),
        tuple(one for key, one in new.items() if key not in old),
        tuple(one for key, one in new.items() if key in old),
    )
