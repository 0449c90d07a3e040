"""A score in all its readings: page, time axis, events, spans, and what the families found note by note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from deskproof.accidentals import as_exported
from deskproof.families import PART_FAMILIES, SCORE_FAMILIES, Context, Family, Plan
from deskproof.findings import Finding, with_causes
from deskproof.forces import Forces
from deskproof.score import Score
from deskproof.spans import Line, Span, lines_of
from deskproof.timeline import Timeline, realise

WHOLE = -1


@dataclass(frozen=True, slots=True)
class State:
    """A score heard and checked. ``spans`` and ``atoms`` hold only the parts that were asked for.

    ``atoms[family, part]`` are that family's findings, not folded, without mends; ``plans[family, part]`` its plans,
    with ``WHOLE`` for the part where a family looks at the whole score; such a family gets ``whole``, the spans of all
    parts.
    """

    timeline: Timeline
    forces: Forces
    lines: tuple[Line, ...]
    spans: dict[int, tuple[Span, ...]]
    plans: dict[tuple[str, int], Plan]
    atoms: dict[tuple[str, int], tuple[Finding, ...]]
    whole: tuple[Span, ...] = ()

    def looked_at(self, family: Family, part: int) -> tuple[Plan, tuple[Span, ...]]:
        """The plan that a family has of a part, and the spans that it was made from."""
        if family.scope == "player":
            return self.plans[family.name, part], self.spans[part]
        return self.plans[family.name, WHOLE], self.whole

    @property
    def score(self) -> Score:
        """The score as it stands."""
        return self.timeline.score

    def context(self, score: Score | None = None, measures: frozenset[int] | None = None) -> Context:
        """What the families may look at; another score of the same layout, or some measures only, if given."""
        timeline = self.timeline
        return Context(score or timeline.score, timeline.frame, timeline.layouts, self.forces, measures)


def state_of(score: Score, forces: Forces | None = None, parts: Sequence[int] | None = None) -> State:
    """Hear a score and let every family look at the parts asked for (all if None)."""
    timeline = realise(score)
    timeline = replace(timeline, score=as_exported(score, timeline.layouts))
    score = timeline.score
    forces = forces or Forces()
    lines = tuple(lines_of(timeline))
    chosen = range(len(score.parts)) if parts is None else parts
    spans = {i: lines[i].spans(timeline.parts[i]) for i in chosen}
    whole = tuple(span for i, line in enumerate(lines) for span in _spans_of(spans, i, line, timeline))
    state = State(timeline, forces, lines, spans, {}, {}, whole)
    context = state.context()
    for i in chosen:
        found: list[tuple[str, Finding]] = []
        for family in PART_FAMILIES:
            plan = family.plan(spans[i], context)
            state.plans[family.name, i] = plan
            found += [(family.name, one) for one in family.check(plan, spans[i], context)]
        atoms: dict[str, list[Finding]] = {family.name: [] for family in PART_FAMILIES}
        for (name, _), one in zip(found, with_causes([one for _, one in found]), strict=True):
            atoms[name].append(one)
        state.atoms.update({(name, i): tuple(rows) for name, rows in atoms.items()})
    for family in SCORE_FAMILIES:
        state.plans[family.name, WHOLE] = plan = family.plan(whole, context)
        every = with_causes(list(family.check(plan, whole, context)))
        state.atoms.update({(family.name, i): tuple(one for one in every if one.place.part == i) for i in chosen})
    return state


def _spans_of(known: dict[int, tuple[Span, ...]], index: int, line: Line, timeline: Timeline) -> tuple[Span, ...]:
    """The spans of a part, whether it was asked for or not."""
    return known[index] if index in known else line.spans(timeline.parts[index])
