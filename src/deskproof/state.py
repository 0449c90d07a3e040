"""A score in all its readings: page, time axis, events, spans, and what the families found note by note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from deskproof.accidentals import as_exported
from deskproof.families import FAMILIES, Context, Plan
from deskproof.findings import Finding, with_causes
from deskproof.forces import Forces
from deskproof.score import Score
from deskproof.spans import Line, Span, lines_of
from deskproof.timeline import Timeline, realise


@dataclass(frozen=True, slots=True)
class State:
    """A score heard and checked. ``spans`` and ``atoms`` hold only the parts that were asked for.

    ``atoms[family, part]`` are that family's findings, not folded, without mends.
    """

    timeline: Timeline
    forces: Forces
    lines: tuple[Line, ...]
    spans: dict[int, tuple[Span, ...]]
    plans: dict[tuple[str, int], Plan]
    atoms: dict[tuple[str, int], tuple[Finding, ...]]

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
    state = State(timeline, forces, lines, spans, {}, {})
    context = state.context()
    for i in chosen:
        found: list[tuple[str, Finding]] = []
        for family in FAMILIES:
            plan = family.plan(spans[i], context)
            state.plans[family.name, i] = plan
            found += [(family.name, one) for one in family.check(plan, spans[i], context)]
        atoms: dict[str, list[Finding]] = {family.name: [] for family in FAMILIES}
        for (name, _), one in zip(found, with_causes([one for _, one in found]), strict=True):
            atoms[name].append(one)
        state.atoms.update({(name, i): tuple(rows) for name, rows in atoms.items()})
    return state
