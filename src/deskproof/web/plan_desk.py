"""The plans of a folder on the desk of the server: read beside their sketches, changed as typed, planned again.

A plan is a text that somebody may have open in an editor too. The page names the text and the sketch that it was made
from; where either is another by now, nothing is written.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from deskproof import files
from deskproof.errors import DeskproofError
from deskproof.footnotes import plural
from deskproof.planning_notes import called
from deskproof.scoring import plan_text, planning, replanning
from deskproof.scoring import sketch as sketch_
from deskproof.scoring.hall import Hall
from deskproof.scoring.plan_reading import Reading, ends_of, reading_of
from deskproof.scoring.planning import Scored
from deskproof.scoring.records import Line, Passage, PlannedPassage, ScoringPlan, Sketch
from deskproof.scoring.said import bars_words, listed, status_words, who_words
from deskproof.web import plan_pages
from deskproof.web.folder import Folder
from deskproof.web.plan_refusals import StalePlan, TypedError, Wrong
from deskproof.web.plan_typed import NOT_THERE, Field, New, fields_of, with_typed

SECONDS = 10.0
"""How long is searched for a proof, as on the command line."""
NOT_TAKEN = "not in the scoring that was taken"


@dataclass(frozen=True)
class Laid:
    """A plan and its sketch as they lie in the folder.

    ``plan`` has one passage for each of the sketch as it is today; ``new`` is what was changed in its text since it was
    planned, ``open`` the ordinals of the passages that the next planning changes.
    """

    name: str
    file: str
    text: str
    revision: str
    sketch: Sketch
    hall: Hall
    passages: tuple[Passage, ...]
    plan: ScoringPlan
    new: New
    open: frozenset[int]


class Plans:
    """The plans of a folder. Its methods may be called from several threads; one plan is made at a time.

    ``writing`` is held while a file is written.
    """

    def __init__(self, folder: Folder, writing: threading.Lock, seconds: float = SECONDS) -> None:
        self.folder, self.writing, self.seconds = folder, writing, seconds
        self._turn = threading.Lock()
        self._read: tuple[str, Sketch] | None = None  # the sketch read last, by the sum of its bytes

    def busy(self) -> bool:
        """Whether one is being planned."""
        return self._turn.locked()

    def pieces(self, name: str, said: str = "", notes: Sequence[Wrong] = ()) -> dict[str, Any]:
        """What the page of a plan shows, as HTML, and the revision it is of.

        Raises
        ------
        DeskproofError
            If the plan or its sketch cannot be read, or they do not fit.
        """
        laid = self._laid(name)
        return {
            "revision": laid.revision,
            "title": called(laid.sketch, laid.file),
            "html": plan_pages.inside(laid, notes),
            "said": said,
        }

    def again(self, name: str, given: dict[str, Any]) -> dict[str, Any]:
        """Write what was typed into the plan, and plan it again; as ``pieces``.

        Parameters
        ----------
        given : dict
            ``revision``, ``fields`` (see ``plan_typed``), and ``take`` if another scoring of a passage is to be
            taken: [passage, which].

        Raises
        ------
        StalePlan
            If the plan or the sketch is another by now.
        TypedError
            If something that was typed cannot be read or kept; it says in which passage.
        DeskproofError
            If there is no plan.
        """
        fields, take = fields_of(given.get("fields")), _take(given.get("take"))
        with self._turn:
            revision = given.get("revision")
            self._is_fresh(name, revision)
            laid = self._laid(name)
            plan, typed = with_typed(laid.plan, laid.passages, laid.hall, fields)
            if take is not None:
                plan, taken = _with_scoring(plan, *take)
                typed |= taken
            text = plan_text.write(plan, laid.text, laid.new | typed, laid.hall)
            reading = reading_of(text, name, laid.hall)
            done = self._scored(laid, _held(reading, take), sorted({one.passage for one in fields}))
            after = done.plan if take is None else _let_go(done.plan, laid.plan, reading.plan, *take)
            text = plan_text.write(after, text, hall=laid.hall)
            place = self.folder.plan(name)
            with self.writing, files.locked(place):
                self._is_fresh(name, revision)
                if text != laid.text:
                    files.write_whole(place, text.encode())
        return self.pieces(name, _said(done, after), _not_given(fields, plan, after))

    def _scored(self, laid: Laid, reading: Reading, typed: Sequence[int]) -> Scored:
        try:
            return planning.scored(laid.sketch, laid.hall, reading, seconds=self.seconds)
        except DeskproofError as error:
            raise TypedError(_beside(str(error), reading.plan, typed)) from None

    def _is_fresh(self, name: str, revision: object) -> None:
        if self._lying(name)[2] != revision:
            raise StalePlan(
                "the plan or its sketch has been changed on the disk since this page was shown; nothing was written."
            )

    def _laid(self, name: str) -> Laid:
        file, text, revision, sketch = self._lying(name)
        reading = reading_of(text, name)
        passages = planning.passages_of(sketch, reading.plan)
        matched = replanning.matched(reading.plan, passages, sketch)
        new = replanning.renamed(reading.new, reading.plan, matched)
        rows = tuple(_planned(old, one, sketch) for old, one in zip(matched, passages, strict=True))
        return Laid(
            name,
            file,
            text,
            revision,
            sketch,
            planning.hall_for(reading.plan),
            passages,
            replace(reading.plan, passages=rows),
            new,
            replanning.edited(matched, passages, sketch, new),
        )

    def _lying(self, name: str) -> tuple[str, str, str, Sketch]:
        """The sketch's name, the text of the plan, the sums of both files, and the sketch."""
        place = self.folder.plan(name)
        file = self.folder.sketch_of(name)
        try:
            data = place.read_bytes()
            text = data.decode("utf-8")
        except (OSError, UnicodeDecodeError):
            raise DeskproofError(f"{name}: cannot be read; expected the text of a plan (TOML).") from None
        sum_, sketch = self._sketch(file)
        return file, text, f"{hashlib.sha256(data).hexdigest()}-{sum_}", sketch

    def _sketch(self, file: str) -> tuple[str, Sketch]:
        path = self.folder.path(file)
        try:
            sum_ = hashlib.sha256(path.read_bytes()).hexdigest()
            if self._read is None or self._read[0] != sum_:
                self._read = sum_, sketch_.read(path)
        except (OSError, DeskproofError) as error:
            raise DeskproofError(str(error).replace(str(path), file)) from None
        return self._read


def _planned(old: PlannedPassage | None, passage: Passage, sketch: Sketch) -> PlannedPassage:
    """A passage of the plan; an empty one for bars that are not planned yet."""
    if old is not None:
        return old
    bars = replanning.bars_of(sketch, passage.first, passage.last)
    return PlannedPassage(bars, "", passage.mark, passage.weight, passage.dynamic)


# ------------------------------------------------------------------ another scoring is taken


def _take(value: Any) -> tuple[int, int] | None:
    """Which other scoring is wanted, of which passage; both count from 0."""
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 2 or not all(type(one) is int and one >= 0 for one in value):
        raise DeskproofError(NOT_THERE)
    return value[0], value[1]


def _with_scoring(plan: ScoringPlan, at: int, which: int) -> tuple[ScoringPlan, New]:
    """The plan with the players of another scoring of one passage, and the lines that are new by that."""
    if at >= len(plan.passages) or which >= len(plan.passages[at].scorings):
        raise DeskproofError(NOT_THERE)
    planned = plan.passages[at]
    who = {line.strand: line.who for line in planned.scorings[which][1]}
    lines = tuple(_as_taken(line, who.get(line.strand, ())) for line in planned.lines)
    new = {(planned.bars, now.strand) for now, old in zip(lines, planned.lines, strict=True) if now.who != old.who}
    return _put(plan, at, replace(planned, lines=lines)), frozenset(new)


def _as_taken(line: Line, who: tuple[Any, ...]) -> Line:
    return line if who == line.who else replace(line, who=who, why="" if who else NOT_TAKEN)


def _held(reading: Reading, take: tuple[int, int] | None) -> Reading:
    """The plan in which nothing of the passage whose scoring was taken may be chosen otherwise."""
    if take is None:
        return reading
    planned = reading.plan.passages[take[0]]
    fixed = replace(planned, lines=tuple(replace(line, fixed=True) for line in planned.lines))
    return replace(reading, plan=_put(reading.plan, take[0], fixed))


def _let_go(plan: ScoringPlan, before: ScoringPlan, wanted: ScoringPlan, at: int, which: int) -> ScoringPlan:
    """The plan after a scoring was taken: kept only what the composer keeps, and what stood there is now another."""
    planned, old = plan.passages[at], before.passages[at]
    kept = {line.strand: line.fixed for line in wanted.passages[at].lines}
    others = [(cost, lines) for k, (cost, lines) in enumerate(old.scorings) if k != which]
    if old.cost is not None:
        others.append((old.cost, tuple(Line(line.strand, line.who) for line in old.lines if line.who)))
    lines = tuple(replace(line, fixed=kept.get(line.strand, False)) for line in planned.lines)
    others.sort(key=lambda one: one[0])
    return _put(plan, at, replace(planned, lines=lines, scorings=tuple(others)))


def _put(plan: ScoringPlan, at: int, planned: PlannedPassage) -> ScoringPlan:
    return replace(plan, passages=(*plan.passages[:at], planned, *plan.passages[at + 1 :]))


# ------------------------------------------------------------------ what is said


def _said(done: Scored, plan: ScoringPlan) -> str:
    anew = [bars_words(one.bars) for k, one in enumerate(plan.passages) if k not in done.kept]
    if not anew:
        return f"Nothing had to be planned anew; the plan is written. {status_words(plan)}"
    left = f"; {plural(len(done.kept), 'passage')} left as before" if done.kept else ""
    return f"Planned anew: {listed(anew)}{left}. {status_words(plan)}"


def _not_given(fields: Sequence[Field], asked: ScoringPlan, plan: ScoringPlan) -> list[Wrong]:
    """The players that were typed and not given, beside their passages."""
    found = []
    for one in fields:
        if one.key != "who":
            continue
        wanted, given = (_players(row.passages[one.passage], one.row) for row in (asked, plan))
        if not wanted or {who[:2] for who in wanted} == {who[:2] for who in given}:
            continue
        want, has = (listed([who_words(who) for who in row]) or "nobody" for row in (wanted, given))
        words = (
            f"you asked for {want} in the {one.row}; the planner has {has}. To have it all the same, write it again "
            "and keep it as it is: then it is done, or you are told why not."
        )
        found.append(Wrong(one.passage, words, one.row))
    return found


def _players(planned: PlannedPassage, strand: str) -> tuple[Any, ...]:
    return next((line.who for line in planned.lines if line.strand == strand), ())


def _beside(message: str, plan: ScoringPlan, typed: Sequence[int]) -> list[Wrong]:
    """An error of the planner, each of its lines beside the passage that it names; else beside one that was changed.

    Lines of a text that is written nowhere are told by their strands.
    """
    found = []
    for row in message.splitlines():
        bars = re.search(r"\bbars? (\S+?)[:\s]", row)
        first = ends_of(bars[1])[0] if bars else None
        places = [k for k, planned in enumerate(plan.passages) if ends_of(planned.bars)[0] == first]
        found.append(Wrong(next(iter([*places, *typed]), 0), _by_strand(row, plan)))
    return found


def _by_strand(words: str, plan: ScoringPlan) -> str:
    names: dict[str, str] = {}
    for planned in plan.passages:
        names.update({str(line.where): f"the line of the {line.strand}" for line in planned.lines})
        names.update({str(one.where): "the list of who is silent" for one in planned.tacet})
    told = re.sub(r" \(line \d+\)", "", words)
    return re.sub(r"\bline (\d+)\b", lambda found: names.get(found[1], found[0]), told)
