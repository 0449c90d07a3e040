"""What was typed on the page of a plan, as changes of the plan; whatever cannot be read is told beside its passage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from deskproof.errors import DeskproofError
from deskproof.scoring.hall import Hall
from deskproof.scoring.model import COMPOSERS
from deskproof.scoring.plan_form import NOBODY, OCTAVE_WORDS, OCTAVES, WEIGHTS
from deskproof.scoring.plan_words import all_meant, players_meant
from deskproof.scoring.records import PLANNER, Line, Passage, PlannedPassage, ScoringPlan, Tacet, Who
from deskproof.web.plan_refusals import TypedError, Wrong

WHO, DYNAMIC, FIXED, WEIGHT, SILENT = KEYS = ("who", "dynamic", "fixed", "weight", "silent")
LONGEST = 1000  # letters of one field
_MANNERS = ("arco", "pizz", "div", "unis", "solo", "soli", "con", "senza", "sul", "col", "muted", "open", "tutti")
"""How a manner of playing may begin that follows a name with no octave between; others need "unis" before them."""
NOT_THERE = "the page asked for something that is not there; load it again."

New = frozenset[tuple[str, str]]


@dataclass(frozen=True)
class Field:
    """One field that was changed: its passage (ordinal), its row (a strand, or which list of silent players), a key."""

    passage: int
    row: str
    key: str
    value: str
    yes: bool = False


def fields_of(rows: Any) -> tuple[Field, ...]:
    """The fields that a page has sent.

    Raises
    ------
    DeskproofError
        If they are none.
    """
    if not isinstance(rows, list):
        raise DeskproofError(NOT_THERE)
    return tuple(_field(row) for row in rows)


def _field(row: Any) -> Field:
    if not isinstance(row, dict) or row.get("key") not in KEYS:
        raise DeskproofError(NOT_THERE)
    at, name, value = (row.get(key) for key in ("passage", "row", "value"))
    if type(at) is not int or not isinstance(name, str) or not isinstance(value, bool if row["key"] == FIXED else str):
        raise DeskproofError(NOT_THERE)
    if isinstance(value, bool):
        return Field(at, name, FIXED, "", value)
    if len(value) > LONGEST:
        raise TypedError([Wrong(at, f"longer than {LONGEST} letters; write it shorter.", name, str(row["key"]))])
    return Field(at, name, str(row["key"]), " ".join(value.encode("utf-8", "replace").decode().split()))


def with_typed(
    plan: ScoringPlan, passages: Sequence[Passage], hall: Hall, fields: Sequence[Field]
) -> tuple[ScoringPlan, New]:
    """The plan with what was typed, and what of it is the composer's now, as ``Reading.new`` has it.

    Parameters
    ----------
    plan : ScoringPlan
        One passage for each of ``passages``.

    Raises
    ------
    TypedError
        If players are not among the forces.
    DeskproofError
        For a field that is not there.
    """
    if any(not 0 <= one.passage < len(passages) for one in fields):
        raise DeskproofError(NOT_THERE)
    wrong: list[Wrong] = []
    new: set[tuple[str, str]] = set()
    rows = []
    for k, (planned, passage) in enumerate(zip(plan.passages, passages, strict=True)):
        own = [one for one in fields if one.passage == k]
        changed, names = _Passage(planned, passage, hall, wrong).changed(own)
        rows.append(changed)
        new.update((planned.bars, name) for name in names)
    if wrong:
        raise TypedError(wrong)
    return replace(plan, passages=tuple(rows)), frozenset(new)


class _Passage:
    """One passage, as it takes what was typed in it; ``wrong`` collects what cannot be read."""

    def __init__(self, planned: PlannedPassage, passage: Passage, hall: Hall, wrong: list[Wrong]) -> None:
        self.planned, self.passage, self.hall, self.wrong = planned, passage, hall, wrong

    def changed(self, fields: Sequence[Field]) -> tuple[PlannedPassage, set[str]]:
        """The passage, and the strands whose lines are new; "" for the passage itself."""
        lines = {line.strand: line for line in self.planned.lines}
        weight, tacet = self.planned.weight, dict(enumerate(self.planned.tacet))
        for one in fields:
            if one.key == WEIGHT:
                if one.value not in WEIGHTS:
                    raise DeskproofError(NOT_THERE)
                weight = one.value
            elif one.key == SILENT:
                place = int(one.row) if one.row.isascii() and one.row.isdigit() else len(tacet)
                tacet[place] = replace(tacet.get(place, Tacet(())), who=tuple(self._silent(one)))
            else:
                line = lines.get(one.row)
                if line is None:
                    if self.passage.strand(one.row) is None:
                        raise DeskproofError(NOT_THERE)
                    line = Line(one.row)
                lines[one.row] = self._line(line, one)
        after = replace(
            self.planned,
            weight=weight,
            lines=tuple(lines.values()),
            tacet=tuple(one for _, one in sorted(tacet.items()) if one.who),
        )
        return after, set(_new(self.planned, after))

    def _line(self, line: Line, field: Field) -> Line:
        if field.key == FIXED:
            return replace(line, fixed=field.yes)
        if field.key == DYNAMIC:
            return replace(line, dynamic=field.value)
        word = field.value.casefold()
        if word in ("", PLANNER):
            return replace(line, who=(), why="")
        if word == NOBODY:
            return line if line.why and not line.who else replace(line, who=(), why=COMPOSERS)
        try:
            who = players(field.value, self.hall)
        except DeskproofError as error:
            self.wrong.append(Wrong(field.passage, f"{line.strand}: {error}", field.row, field.key))
            return line
        return line if who == line.who else replace(line, who=who, why="")

    def _silent(self, field: Field) -> Iterator[str]:
        for word in filter(None, (one.strip() for one in field.value.split(","))):
            found = all_meant(word, self.hall)
            if found.wrong:
                self.wrong.append(Wrong(field.passage, f"silent: {found.wrong}", field.row, field.key))
            elif self.hall.chair(word) is None and self.hall.named(word):
                yield word  # of several: "brass"
            else:
                yield from (chair.name for chair in found.chairs)


def _new(before: PlannedPassage, after: PlannedPassage) -> Iterator[str]:
    """What the composer has written anew; that a line is to be kept as it is changes nothing in it."""
    old = {line.strand: (line.who, line.dynamic, bool(line.why)) for line in before.lines}
    for line in after.lines:
        if old.get(line.strand) != (line.who, line.dynamic, bool(line.why)):
            yield line.strand
    if (before.weight, [one.who for one in before.tacet]) != (after.weight, [one.who for one in after.tacet]):
        yield ""


def typed_who(line: Line) -> str:
    """The players of a line as they are typed: ``players`` reads them back.

    >>> typed_who(Line("bass", (Who("cello"), Who("double bass", -1, "pizz."))))
    'cello, double bass 8vb pizz.'
    """
    if not line.who:
        return NOBODY if line.why else ""
    return ", ".join(_typed(one) for one in line.who)


def _typed(one: Who) -> str:
    plain = not one.how or one.how.split()[0].rstrip(".") in _MANNERS
    octave = "" if plain and not one.octave else OCTAVE_WORDS.get(one.octave, "")
    return " ".join(word for word in (one.chair, octave, one.how) if word)


def players(text: str, hall: Hall) -> tuple[Who, ...]:
    """Who is meant by "oboe 1, violins 8va, cello pizz."; a player's own name may have commas.

    Raises
    ------
    DeskproofError
        For a name that is nobody's, in the words of the command line; or for one that comes twice.
    """
    pieces = [one.strip() for one in text.split(",")]
    found: list[Who] = []
    at = 0
    while at < len(pieces):
        ends = range(len(pieces), at + 1, -1)
        whole = ((end, _exactly(", ".join(pieces[at:end]), hall)) for end in ends)
        end, who = next(((end, who) for end, who in whole if who), (at + 1, ()))
        for one in who or (_meant(pieces[at], hall) if pieces[at] else ()):
            if one.chair in [other.chair for other in found]:
                raise DeskproofError(f"who names {one.chair} twice; one player takes a strand once.")
            found.append(one)
        at = end
    return tuple(found)


def _exactly(text: str, hall: Hall) -> tuple[Who, ...]:
    """A chair by its whole name, with its octave and manner; nothing if it is none."""
    for name, octave, how in _cut(text):
        chair = hall.chair(name)
        if chair is not None and "," not in how:
            return (Who(chair.name, octave, how),)
    return ()


def _meant(text: str, hall: Hall) -> tuple[Who, ...]:
    """The chairs that a piece between commas means."""
    wrong = ""
    for name, octave, how in _cut(text):
        found = players_meant(name, hall)
        if not found.wrong:
            return tuple(Who(chair.name, octave, how) for chair in found.chairs)
        wrong = wrong or found.wrong
    raise DeskproofError(wrong)


def _cut(text: str) -> Iterator[tuple[str, int, str]]:
    """The ways in which a text may be a name, an octave and a manner, the likeliest first."""
    words = text.split()
    at = next((k for k, word in enumerate(words) if k and word in OCTAVES), None)
    if at is not None:
        yield " ".join(words[:at]), OCTAVES[words[at]], " ".join(words[at + 1 :])
        return
    yield text, 0, ""
    for k in range(1, len(words)):
        if words[k].rstrip(".").casefold() in _MANNERS:
            yield " ".join(words[:k]), 0, " ".join(words[k:])
