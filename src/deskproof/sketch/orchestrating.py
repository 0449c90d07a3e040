"""A full score as a file: written, proofed and given its players' help."""

from __future__ import annotations

from dataclasses import dataclass, replace

from deskproof import document
from deskproof.check import Report, check
from deskproof.document import Document
from deskproof.families import Help
from deskproof.findings import Level
from deskproof.forces import Forces
from deskproof.mending import chosen, helped, take
from deskproof.musicxml import writer
from deskproof.musicxml.writing_accidentals import with_accidentals
from deskproof.page import layout_of
from deskproof.score import NoteRef
from deskproof.scoring.full_score import FullScore, WrittenNote

_HELP = Help(pedal_marks="first", tuning_marks=True)


@dataclass(frozen=True)
class Orchestrated:
    """A full score as it is written: the document, what its check finds, and its notes where they stand now."""

    document: Document
    report: Report
    notes: tuple[WrittenNote, ...]

    @property
    def impossible(self) -> int:
        """How many findings say that nobody can play it."""
        return sum(finding.rule.level is Level.IMPOSSIBLE for finding in self.report.findings)


def orchestrated(full: FullScore, forces: Forces, composer: str = "") -> Orchestrated:
    """Write a full score: signs for the ear are taken over already; here it gets what the check and the plans add.

    Mends that keep the sound are taken (accidentals, names of strings), then the harp's settings and the tunings of
    the timpani are printed from their plans.
    """
    score = replace(full.score, parts=tuple(with_accidentals(part, layout_of(part)) for part in full.score.parts))
    groups = tuple(writer.Group(one.first, one.last, one.symbol) for one in full.brackets)
    data = writer.write(score, writer.Staffing(groups, composer))
    first = document.from_bytes(data, "full score")
    report = check(first.score, forces)
    mends = [mend for _, _, mend in chosen(report.findings, True, ())]
    mended = take(first, report, mends).document if mends else first
    done = helped(mended, forces, _HELP)
    return Orchestrated(done, check(done.score, forces), tuple(_where_now(full.notes, done)))


def _where_now(notes: tuple[WrittenNote, ...], done: Document) -> list[WrittenNote]:
    found = []
    for one in notes:
        now = done.moved(NoteRef.parse(one.ref))
        if now is not None:
            found.append(one._replace(ref=str(now)))
    return found
