"""Rules, findings and mends: what is wrong where, in figures, and what would help."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from deskproof.score import NoteRef

if TYPE_CHECKING:
    from deskproof.edits import Edit

LEVELS = ("impossible", "hard", "notation", "advice")
Numbers = Mapping[str, Any]


class Effect(StrEnum):
    """What a mend does to the sound."""

    KEEPS_SOUND = "keeps-sound"
    CHANGES_SOUND = "changes-sound"
    ADVICE = "advice"


EFFECT_WORDS = {
    Effect.KEEPS_SOUND: "keeps the sound",
    Effect.CHANGES_SOUND: "changes the sound",
    Effect.ADVICE: "nothing is written",
}


@dataclass(frozen=True, slots=True)
class Mend:
    """A way out: what it does in words, its effect, and the musical edits that write it."""

    says: str
    effect: Effect
    edits: tuple[Edit, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a finding begins: part ordinal, staff, measure ordinal, tick in the measure, pass."""

    part: int
    staff: int
    measure: int
    start: int
    pass_: int = 1


@dataclass(frozen=True, slots=True)
class Rule:
    """One kind of trouble.

    ``says`` is filled with a finding's numbers; ``facts`` names the facts it rests on (a ``*`` stands for the
    instrument's id); ``levels`` are the levels it may have; ``merge`` joins the numbers of findings that have
    one cause.
    """

    id: str
    levels: tuple[str, ...]
    title: str
    says: str
    why: str
    facts: tuple[str, ...] = ()
    silent_when: str = ""
    merge: Callable[[Sequence[Numbers]], Numbers] | None = None
    spelling: bool = False  # the spelling is what the rule is about
    reading: bool = False  # it rests on what the notes are read as: another reading of them explains it
    worse: tuple[str, ...] = ("count",)  # the figures of which more is worse

    def at(
        self,
        place: Place,
        notes: Iterable[NoteRef],
        level: str | None = None,
        fold: Hashable = None,
        near: int | None = None,
        **numbers: Any,
    ) -> Finding:
        """A finding of this rule. ``fold`` and ``near`` say what it may be folded with; see :func:`folded`."""
        return Finding(self, level or self.levels[0], place, tuple(notes), numbers, fold, near)


@dataclass(frozen=True, slots=True)
class Finding:
    """One trouble at one place, with its numbers kept as data; reports choose the words.

    A family gives findings note by note; ``folded`` joins those with one cause.
    """

    rule: Rule
    level: str
    place: Place
    notes: tuple[NoteRef, ...]
    numbers: Numbers
    fold: Hashable = None
    near: int | None = None  # in measures; None: anywhere in the part
    explains: frozenset[NoteRef] = field(default=frozenset(), compare=False)  # notes that it reads otherwise
    because: str = field(default="", compare=False)  # the rule of the finding that this one follows from
    mends: tuple[Mend, ...] = field(default=(), compare=False)
    atoms: tuple[Finding, ...] = field(default=(), compare=False)
    id: str = field(default="", compare=False)  # its fingerprint, once the whole score is checked

    @property
    def says(self) -> str:
        """The finding in words; ``numbers["on"]`` names the instrument where the part may be played on another too."""
        return str(self.numbers.get("on", "")) + self.rule.says.format(**self.numbers)

    @property
    def key(self) -> tuple[str, str, tuple[NoteRef, ...]]:
        """What makes two findings of two states of a score the same one."""
        return self.rule.id, self.level, self.notes

    def with_mends(self, mends: Iterable[Mend]) -> Finding:
        """The same finding with these mends."""
        return replace(self, mends=tuple(mends))


def folded(findings: Iterable[Finding]) -> list[Finding]:
    """Join findings that have one cause, in score order.

    Findings of one rule, level and part with equal ``fold`` are joined if each begins at most ``near`` measures
    after the one before it (None: wherever they are). The joined finding stands where the first stands and keeps
    its ``atoms``. Findings that follow from another (``because``) are left out.
    """
    ready: list[Finding] = []
    groups: dict[Hashable, list[list[Finding]]] = {}
    for one in findings:
        if one.because:
            continue
        if one.fold is None:
            ready.append(_join([one]))
            continue
        runs = groups.setdefault((one.rule.id, one.level, one.place.part, one.fold), [])
        if runs and (one.near is None or one.place.measure - runs[-1][-1].place.measure <= one.near):
            runs[-1].append(one)
        else:
            runs.append([one])
    ready.extend(_join(run) for runs in groups.values() for run in runs)
    ready.sort(key=in_score_order)
    return ready


def with_causes(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings of one part, those marked that follow from a finding which reads their notes otherwise."""
    causes = {ref: one.rule.id for one in findings for ref in one.explains}
    if not causes:
        return tuple(findings)
    return tuple(
        replace(one, because=causes[one.notes[0]])
        if one.rule.reading and one.notes and one.notes[0] in causes
        else one
        for one in findings
    )


def in_score_order(finding: Finding) -> tuple[int, int, int, int, str]:
    """Sort key: part, then place, then level."""
    place = finding.place
    return place.part, place.measure, place.start, LEVELS.index(finding.level), finding.rule.id


def _join(run: list[Finding]) -> Finding:
    first = run[0]
    merge = first.rule.merge
    numbers = dict(merge([one.numbers for one in run]) if merge else first.numbers)
    notes = tuple(dict.fromkeys(note for one in run for note in one.notes))
    numbers["count"] = len(notes)
    return replace(first, notes=notes, numbers=numbers, atoms=tuple(run))
