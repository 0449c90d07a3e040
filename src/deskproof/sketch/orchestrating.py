"""A sketch and its plan -> a full score as a file: written, proofed and given its players' help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from deskproof import document
from deskproof.check import Report, check
from deskproof.document import Document
from deskproof.errors import DeskproofError
from deskproof.families import Help
from deskproof.findings import LEVELS
from deskproof.forces import Forces
from deskproof.mending import chosen, helped, take
from deskproof.musicxml import writer
from deskproof.musicxml.writing_accidentals import with_accidentals
from deskproof.page import layout_of
from deskproof.score import NoteRef, Score
from deskproof.scoring import planning, replanning
from deskproof.scoring.full_score import FullScore, WrittenNote, full_score
from deskproof.scoring.plan_reading import Reading
from deskproof.scoring.records import Passage, ScoringPlan, Sketch

_HELP = Help(pedal_marks="first", tuning_marks=True)


class OrchestrateError(DeskproofError):
    """The full score cannot be written; the message says what to do first."""


@dataclass(frozen=True)
class Orchestrated:
    """A full score as it is written.

    ``notes`` are its notes as they stand in ``document``, ``left_out`` references of the sketch's notes that nobody
    has, and why.
    """

    document: Document
    report: Report
    notes: tuple[WrittenNote, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def impossible(self) -> int:
        """How many findings say that nobody can play it."""
        return sum(finding.level == LEVELS[0] for finding in self.report.findings)

    def as_json(self) -> dict[str, Any]:
        """The form of ``orchestrate --json``; ``sketch_refs`` lists all notes that a named rule stands for."""
        return {
            "notes": [
                {
                    "ref": one.ref,
                    "sketch_ref": one.sketch_refs[0],
                    "line": one.line,
                    "rule": one.rule,
                    **({"sketch_refs": list(one.sketch_refs)} if len(one.sketch_refs) > 1 else {}),
                }
                for one in self.notes
            ],
            "left_out": [{"sketch_ref": ref, "why": why} for ref, why in self.left_out],
        }


def orchestrated(sketch: Sketch, reading: Reading, name: str = "plan") -> Orchestrated:
    """Write the full score of a sketch by its plan.

    Mends that keep the sound are taken (names of strings, accidentals), then the harp's settings and the tunings of
    the timpani are printed from their plans.

    Raises
    ------
    DeskproofError
        If the plan does not fit the sketch, or leaves a line to the planner still.
    """
    hall = planning.hall_for(reading.plan)
    passages, plan = ready(sketch, reading, name)
    return written(full_score(sketch, passages, plan, hall), hall.forces, sketch.score.extra.get("composer", ""))


def ready(sketch: Sketch, reading: Reading, name: str) -> tuple[tuple[Passage, ...], ScoringPlan]:
    """The passages of a sketch and the plan's own beside them.

    Raises
    ------
    OrchestrateError
        If a passage of the sketch is not planned, or the sketch is another since.
    """
    plan = reading.plan
    passages = planning.passages_of(sketch, plan)
    matched = replanning.matched(plan, passages, sketch)
    wrong = replanning.agrees(matched, passages, name)
    if wrong:
        raise OrchestrateError("\n".join(wrong))
    open_ = [line for one in matched if one is not None for line in one.lines if not line.who and not line.why]
    wrong += [f"{name}, line {line.where}: the {line.strand} is left to the planner still" for line in open_]
    for k in sorted(replanning.edited(matched, passages, sketch)):
        bars = replanning.bars_of(sketch, passages[k].first, passages[k].last)
        wrong.append(f"{name}: bars {bars} of the sketch, or their strands, are others than those that were planned")
    if wrong:
        raise OrchestrateError("\n".join(wrong) + f"\nPlan again first: deskproof plan SKETCH -o {name}")
    return passages, replace(plan, passages=tuple(one for one in matched if one is not None))


def written(full: FullScore, forces: Forces, composer: str = "") -> Orchestrated:
    """A full score as a document, with what the check and the players' plans add to it."""
    score = replace(full.score, parts=tuple(with_accidentals(part, layout_of(part)) for part in full.score.parts))
    groups = tuple(writer.Group(one.first, one.last, one.symbol) for one in full.brackets)
    first = document.from_bytes(writer.write(score, writer.Staffing(groups, composer)), "full score")
    report = check(first.score, forces)
    mends = [mend for _, _, mend in chosen(report.findings, True, ())]
    mended = take(first, report, mends).document if mends else first
    done = helped(mended, forces, _HELP)
    return Orchestrated(done, check(done.score, forces), tuple(_where_now(full.notes, done)), full.left_out)


def _where_now(notes: Sequence[WrittenNote], done: Document) -> list[WrittenNote]:
    found = []
    for one in notes:
        now = done.moved(NoteRef.parse(one.ref))
        if now is not None:
            found.append(one._replace(ref=str(now)))
    return found


def in_words(done: Orchestrated) -> list[str]:
    """What a composer is told of a full score that was written."""
    score = done.document.score
    said = [f"{len(score.parts)} parts, {len(done.notes)} notes."]
    reasons: dict[str, list[str]] = {}
    for ref, why in done.left_out:
        reasons.setdefault(why, []).append(_bar(ref, score))
    for why, bars in reasons.items():
        places = list(dict.fromkeys(bar for bar in bars if bar))
        where = f", {'bars' if len(places) > 1 else 'bar'} {', '.join(places)}" if places else ""
        said.append(f"Left out: {len(bars)} note{'s' * (len(bars) != 1)} of the sketch{where}; {why}.")
    counts: dict[str, int] = {}
    for finding in done.report.findings:
        counts[finding.level] = counts.get(finding.level, 0) + 1
    found = ", ".join(f"{count} {level}" for level, count in counts.items())
    said.append(f"Checked: {found}." if found else "Checked: nothing found.")
    return said


def _bar(ref: str, score: Score) -> str:
    """The printed number of the bar of a sketch note; empty for one of a MIDI file."""
    try:
        return score.parts[0].measures[NoteRef.parse(ref).measure].number
    except (ValueError, IndexError):
        return ""
