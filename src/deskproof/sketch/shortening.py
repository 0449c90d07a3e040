"""A full score file -> its short score as a document."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from deskproof import document
from deskproof.check import check
from deskproof.document import Document
from deskproof.families import Help
from deskproof.findings import LEVELS, Finding
from deskproof.forces import Forces
from deskproof.mending import helped
from deskproof.musicxml import writer
from deskproof.musicxml.writing_accidentals import with_accidentals
from deskproof.page import layout_of
from deskproof.score import Score
from deskproof.scoring.short_score import shortened


@dataclass(frozen=True)
class Shortened:
    """A short score as it is written, and what its reader is told."""

    document: Document
    says: str


def short_score(full: Path, staves: int | None, for_piano: bool, fingering: bool, forces: Forces) -> Shortened:
    """Read a full score and shorten it.

    Raises
    ------
    DeskproofError
        If it cannot be read or has nothing to be shortened.
    """
    read = document.read(full).score
    short = shortened(read, staves, for_piano, forces)
    score = replace(short, parts=tuple(with_accidentals(part, layout_of(part)) for part in short.parts))
    group = writer.Staffing(composer=read.extra.get("composer", ""))
    made = document.from_bytes(writer.write(score, group), "short score")
    if fingering:
        made = helped(made, forces, Help(fingering=True))
    count = sum(part.staves for part in made.score.parts)
    notes = _notes(made.score)
    says = f"{count} staves, {notes} notes of {_notes(read)}."
    if for_piano:
        hard = [one for one in check(made.score, forces).findings if one.level != LEVELS[-1]]
        says += f" {_counted(hard)}"
    return Shortened(made, says)


def _notes(score: Score) -> int:
    return sum(note.kind == "note" for part in score.parts for measure in part.measures for note in measure.notes)


def _counted(findings: list[Finding]) -> str:
    levels = [finding.level for finding in findings]
    if not levels:
        return "Two hands can play it: nothing found."
    return "Checked: " + ", ".join(f"{levels.count(level)} {level}" for level in dict.fromkeys(levels)) + "."
