"""Trills whose upper note the page leaves open: an accidental stands before them in the bar, and none on the trill."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof.accidentals import SIGNS as ACCIDENTALS
from deskproof.edits import SetMark
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.wording import NEAR, SIGNS, first, place_of
from deskproof.families.trills import TRILLS
from deskproof.findings import Finding, Rule
from deskproof.pitch import STEPS, Pitch
from deskproof.score import UNCHECKED, Note, NoteRef, Part

TRILL_SIGN = Rule(
    id="harp-trill-sign",
    levels=("notation",),
    title="a trill of which the upper note is left open",
    says=(
        "the trill on {note_name} has no sign for its upper note: {before} stands before it in the bar, the key has "
        "{by_key}."
    ),
    why="A harpist sets a pedal for the upper note beforehand and cannot try which of the two is meant.",
    facts=(),
    silent_when="the trill has a sign, or nothing in the bar says otherwise than the key",
    merge=first,
    worse=("count",),
)
TRILL_RULES = (TRILL_SIGN,)


def trill_findings(reading: Reading, part: Part) -> Iterator[Finding]:
    """The trills that can be read in two ways, each once."""
    for row in reading.plucked:
        for one in row:
            for event in one.events:
                note = event.note
                if one.how != "trill" or event.pass_ > 1 or one.pitch == event.sounding or one.spelled is None:
                    continue
                if note.pitch is None or not any(note.marked(kind) for kind in TRILLS):
                    continue
                if note.marked("accidental-mark") is not None:
                    continue
                letter, alter = one.spelled
                before = _altered(part, event.measure, note, letter)
                if before is None or before.alter == alter or before.alter not in SIGNS:
                    continue
                yield TRILL_SIGN.at(
                    place_of(reading, event), (NoteRef(part.id, event.measure, note.n),), fold="trill", near=NEAR,
                    note_name=str(note.pitch), before=f"{letter}{SIGNS[int(before.alter)]}",
                    by_key=f"{letter}{SIGNS[alter]}", sign=ACCIDENTALS[alter],
                )  # fmt: skip


def _altered(part: Part, measure: int, trill: Note, letter: str) -> Pitch | None:
    """The last note before a trill in its bar, on the place of its upper note, that prints an accidental."""
    assert trill.pitch is not None
    octave = trill.pitch.octave + (letter == STEPS[0])
    rows = [
        note
        for note in part.measures[measure].notes
        if note.pitch is not None
        and note.accidental
        and (note.staff, note.pitch.step, note.pitch.octave) == (trill.staff, letter, octave)
        and note.start < trill.start
        and not note.flags & UNCHECKED
    ]
    last = max(rows, key=lambda note: (note.start, note.n), default=None)
    return last.pitch if last is not None else None


def signed(finding: Finding) -> list[SetMark]:
    """The sign of every such trill, as the key has it."""
    return [
        SetMark(ref, "accidental-mark", atom.numbers["sign"])
        for atom in finding.atoms or (finding,)
        for ref in atom.notes
    ]
