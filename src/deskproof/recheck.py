"""What a change does: which findings go, which come, which stay.

One function for verifying mends, for the browser, and for two exports side by side. It hears and checks again only
a window of bars around the edits; a test shows that the window finds what the whole would find.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from deskproof.accidentals import as_exported
from deskproof.edits import AddWords, Edit, LengthEdit, SignEdit, apply, counting, moved, reaching, touched
from deskproof.families import PART_FAMILIES, SCORE_FAMILIES, Context
from deskproof.findings import Finding
from deskproof.page import Layout, layout_of
from deskproof.score import TIE_START, TIE_STOP, NoteRef, Part, Score
from deskproof.spans import Line, Span
from deskproof.state import WHOLE, State, state_of
from deskproof.timeline import Frame, realise_part

WHEN_AND_WHAT = (LengthEdit, SignEdit, AddWords)  # edits that change when something sounds, or on what


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
    before: list[Finding] = []
    now: list[Finding] = []
    if whole:
        fresh = state_of(apply(state.score, edits), state.forces, tuple(state.spans))
        before = [one for atoms in state.atoms.values() for one in atoms]
        now = [one for atoms in fresh.atoms.values() for one in atoms]
        return difference(before, now, edits)
    for less, more in _families_again(state, edits):
        before += less
        now += more
    return difference(before, now, edits)


def helps(state: State, edits: Sequence[Edit]) -> bool:
    """Whether the edits remove findings and add none; the first that they add to some notes ends the search."""
    before: list[Finding] = []
    now: list[Finding] = []
    for less, more in _families_again(state, edits):
        if any(one.notes for one in difference(less, more, edits).new):
            return False
        before += less
        now += more
    change = difference(before, now, edits)
    return bool(change.gone) and not change.new


Pair = tuple[list[Finding], list[Finding]]


def _families_again(state: State, edits: Sequence[Edit]) -> Iterator[Pair]:
    """The findings before and after of every family that the edits concern, part by part, then of the whole score."""
    after = apply(state.score, edits)
    frame = state.timeline.frame
    onwards = reaching(edits)
    layouts = state.timeline.layouts
    if onwards:
        layouts = tuple(
            layout_of(part) if part.id in onwards else layout
            for part, layout in zip(after.parts, layouts, strict=True)
        )
        after = as_exported(after, layouts)
    changed = touched(edits)
    for i, part in enumerate(after.parts):
        if i not in state.spans or not (onwards or part.id in changed):
            continue
        line = _line_of(state, after, layouts, i) if part.id in onwards else state.lines[i]
        measures = changed.get(part.id, set())
        if part.id in onwards:
            measures = measures | set(range(onwards[part.id], len(part.measures)))
        heard: dict[frozenset[int], tuple[Span, ...]] = {}
        everywhere = frozenset(range(len(part.measures)))
        if part.id not in changed:
            heard[everywhere] = state.spans[i]

        def hear(
            window: frozenset[int], part: Part = part, line: Line = line, layout: Layout = layouts[i],
            heard: dict[frozenset[int], tuple[Span, ...]] = heard,
        ) -> tuple[Span, ...]:  # fmt: skip
            if window not in heard:
                heard[window] = line.spans(realise_part(part, layout, frame, window))
            return heard[window]

        for family in PART_FAMILIES:
            if part.id not in changed and not family.looks_around:
                continue
            reach = 1 if family.reach is None else family.reach
            near = {m + d for m in measures for d in range(-reach, reach + 1)}
            plan = None
            if family.reach is not None or (family.replan is not None and not onwards):
                window = closed(part, near, frame)
                spans = hear(window)
                context = Context(after, frame, layouts, state.forces, window)
                if family.replan is None:
                    plan = family.plan(spans, context)
                else:
                    plan = family.replan(state.plans[family.name, i], spans, context)
            if plan is None:
                window = everywhere
                spans = hear(window)
                context = Context(after, frame, layouts, state.forces, window)
                plan = family.plan(spans, context)
            if family.reach is None:
                window = everywhere
                context = replace(context, measures=window)
            before = [one for one in state.atoms[family.name, i] if one.place.measure in window]
            yield before, list(family.check(plan, spans, context))
    if SCORE_FAMILIES and any(isinstance(edit, WHEN_AND_WHAT) for edit in edits):
        yield _whole_score(state, after, layouts, changed)


def _whole_score(state: State, after: Score, layouts: Sequence[Layout], changed: Iterable[str]) -> Pair:
    """The findings of the families that look at the whole score, before and after; changed parts are heard anew."""
    frame, known = state.timeline.frame, frozenset(changed)
    spans: list[Span] = []
    for i, part in enumerate(after.parts):
        if part.id in known:
            line = _line_of(state, after, layouts, i)
            spans += line.spans(realise_part(part, layouts[i], frame))
        else:
            spans += state.spans[i] if i in state.spans else state.lines[i].spans(state.timeline.parts[i])
    context = Context(after, frame, layouts, state.forces)
    before: list[Finding] = []
    now: list[Finding] = []
    for family in SCORE_FAMILIES:
        before += [one for (name, _), atoms in state.atoms.items() if name == family.name for one in atoms]
        plan = None if family.replan is None else family.replan(state.plans[family.name, WHOLE], spans, context)
        if plan is None:
            plan = family.plan(tuple(spans), context)
        found = family.check(plan, tuple(spans), context)
        now += [one for one in found if one.place.part in state.spans]
    return before, now


def _line_of(state: State, score: Score, layouts: Sequence[Layout], index: int) -> Line:
    """Which instrument a part is at each place, told again because its transpositions have changed."""
    line = Line(index, score.parts[index], layouts[index])
    line.follow_changes({other.first.kind for other in state.lines if other.index != index and other.first})
    line.judge_voice(realise_part(score.parts[index], layouts[index], state.timeline.frame))
    line.role = state.lines[index].role
    return line


def closed(part: Part, measures: Iterable[int], frame: Frame) -> frozenset[int]:
    """The measures, and with them those that ties bind to them in the order of playing."""
    found = {m for m in measures if 0 <= m < len(part.measures)}
    waiting = list(found)
    while waiting:
        m = waiting.pop()
        measure = part.measures[m]
        near: set[int] = set()
        if any(n.flags & TIE_STOP and n.start == 0 for n in measure.notes):
            near |= frame.played_before.get(m, set())
        if any(n.flags & TIE_START and n.start + n.length >= measure.length for n in measure.notes):
            near |= frame.played_after.get(m, set())
        for other in near - found:
            if other < len(part.measures):
                found.add(other)
                waiting.append(other)
    return frozenset(found)


def difference(before: Iterable[Finding], now: Iterable[Finding], edits: Sequence[Edit] = ()) -> Change:
    """Compare two lists of findings of one score by rule, level and notes; ``edits`` lie between the two."""
    recounted = counting(edits)
    old = {_key_after(one, recounted) if recounted else one.key: one for one in before}
    new = {one.key: one for one in now}
    return Change(
        tuple(one for key, one in old.items() if key not in new),
        tuple(one for key, one in new.items() if key not in old),
        tuple(one for key, one in new.items() if key in old),
    )


def _key_after(finding: Finding, edits: Sequence[Edit]) -> tuple[str, str, tuple[NoteRef, ...]]:
    """The key of a finding with its notes as they are counted after the edits."""
    rule, level, notes = finding.key
    return rule, level, tuple(now for ref in notes if (now := moved(ref, edits)) is not None)
