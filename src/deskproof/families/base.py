"""What a family of checks is: a planner and a checker over spans, with its rules."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from deskproof.edits import Edit
from deskproof.findings import Finding, Mend, Rule
from deskproof.forces import Forces
from deskproof.page import Layout
from deskproof.score import Part, Score
from deskproof.spans import Span
from deskproof.timeline import Event, Frame


@dataclass(frozen=True, slots=True)
class Plan:
    """How a player would really play some spans; families with nothing to plan return an empty one."""

    kind: str = ""
    player: str = ""


@dataclass(frozen=True, slots=True)
class Context:
    """What a family may look at beside its spans: the page, the time axis, the forces.

    ``measures`` is None for the whole score, or the measure ordinals that are asked for: a family then gives the
    findings that begin in them, exactly those that it would give for the whole.
    """

    score: Score
    frame: Frame
    layouts: Sequence[Layout]
    forces: Forces
    measures: frozenset[int] | None = None


@dataclass(frozen=True, slots=True)
class Help:
    """What is to be printed for the players, from their plans.

    ``pedal_marks`` of a harp: all, first (settings only) or none; ``in_words``: a setting as words, not as a diagram.
    ``fingering`` of keyboards; ``damper`` of a piano: lines, words ("con Ped." where it is needed) or none.
    ``tuning_marks`` of timpani.
    """

    pedal_marks: str = "none"
    in_words: bool = False
    fingering: bool = False
    damper: str = "none"
    tuning_marks: bool = False

    def __bool__(self) -> bool:
        return self != Help(in_words=self.in_words)


@dataclass(frozen=True, slots=True)
class Seam:
    """Two movements that follow each other: what may be looked at of both.

    ``parts`` gives for the ordinal of a part its ordinal in the movement before; ``attacca``: the second begins at
    once.
    """

    before: Context
    after: Context
    parts: Mapping[int, int]
    attacca: bool

    @property
    def offset_us(self) -> int:
        """When the second movement begins, counted from the beginning of the first, if it begins at once."""
        frame = self.before.frame
        return frame.clock.ceil_us(frame.length)


@dataclass(frozen=True, slots=True)
class Carried:
    """What a player has to do between two movements, in words; and the finding where there is no time for it."""

    part: int
    says: str
    finding: Finding | None = None


@dataclass(frozen=True, slots=True)
class Family:
    """One family of checks.

    ``scope`` says what one call of ``plan`` and ``check`` sees: the spans of one part (``player``), or those of the
    whole ``score``. ``check`` gives findings note by note; ``mends`` offers ways out of a folded finding, from the
    same plan and spans; they are verified before anybody sees them. ``reach`` is by how many measures an edit can
    matter beyond its own bar; None: anywhere in the part. Then ``replan`` makes the plan of a part whose notes have
    changed in ``context.measures`` only, from the plan before and the spans of these measures; without it, or where it
    gives None, the part is planned anew; where ``scope`` is the score, it is given all spans, those of unchanged parts
    being the same records. ``looks_around``: keys and transpositions of other parts matter too.
    ``describe`` makes the record of a plan that the JSON holds (plan, id, context); None for an empty plan.
    ``help`` makes from a plan what is printed for the player when asked. ``carry`` says from the plans of a part (or of
    the whole scores) in two movements what its player has to do between them.
    """

    name: str
    scope: str
    plan: Callable[[Sequence[Span], Context], Plan]
    check: Callable[[Plan, Sequence[Span], Context], Iterable[Finding]]
    mends: Callable[[Finding, Plan, Sequence[Span], Context], Iterable[Mend]]
    rules: tuple[Rule, ...]
    reach: int | None = 1
    looks_around: bool = False
    replan: Callable[[Plan, Sequence[Span], Context], Plan | None] | None = None
    describe: Callable[[Plan, str, Context], dict[str, Any] | None] | None = None
    help: Callable[[Plan, Context, Help], Sequence[Edit]] | None = None
    carry: Callable[[Plan, Plan, Seam], Iterable[Carried]] | None = None


def sounds_as_harmonic(part: Part, event: Event) -> bool:
    """Whether the note, or another of its chord, is marked as a harmonic: then it may be the sounding result."""
    note = event.note
    return any(
        mark.kind == "harmonic" or (mark.kind == "notehead" and mark.value == "diamond")
        for other in part.measures[event.measure].notes
        if (other.start, other.staff, other.voice) == (note.start, note.staff, note.voice)
        for mark in other.marks
    )


def span_rows(spans: Sequence[Span], context: Context) -> list[dict[str, Any]]:
    """Spans as the JSON of a plan has them: part, instrument, and from when to when, in microseconds."""
    frame = context.frame
    return [
        {
            "part": context.score.parts[span.part].id,
            "instrument": span.instrument.id if span.instrument else None,
            "from_us": frame.clock.floor_us(span.from_tick),
            "to_us": max([frame.clock.ceil_us(span.to_tick), *(frame.times_us(e)[1] for e in span.events)]),
        }
        for span in spans
    ]
