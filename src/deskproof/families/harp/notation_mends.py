"""Mends that write a harp's harmonics and trills so that they can be read in one way only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.edits import Edit, Respell, SetMark, SetOctave, complete
from deskproof.families.base import Context
from deskproof.families.harp.harmonic_manner import (
    SOUNDING,
    STRING,
    UNCLEAR,
    Manner,
    Row,
    above,
    below,
    rows_of,
    usable,
)
from deskproof.families.harp.harmonics import MANNER, named_pairs
from deskproof.families.harp.trill_signs import TRILL_SIGN, TRILL_STRINGS
from deskproof.findings import Effect, Finding, Mend
from deskproof.pitch import Pitch
from deskproof.score import NoteRef
from deskproof.spans import Span

_EXAMPLES = 3  # strings that a mend names; of more it says that there are more


def notation_mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """The mends of findings about the writing of harmonics and trills; none for other findings."""
    if finding.rule is MANNER:
        yield from _of_harmonics(finding, spans, context)
    elif finding.rule is TRILL_SIGN:
        yield from _of_open_trills(finding)
    elif finding.rule is TRILL_STRINGS:
        yield from _of_trill_names(finding, context)


# -- harmonics -------------------------------------------------------------------------------------------------------


def _of_harmonics(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What makes it plain which of string and sound a part writes: a mark on every harmonic.

    MusicXML tells the two apart (base-pitch, sounding-pitch). By the rule of today a harmonic stands where it is
    played: those that are written as they sound can be written an octave lower. Where two manners are told the marks
    may be wrong instead: then all may be marked as the one or as the other.
    """
    part = context.score.parts[finding.place.part]
    rows, manner = rows_of(part), Manner.of(part)
    sounding = [row for row in rows if (row.said or _fits(row, manner)) == SOUNDING]
    if sounding:
        tied = {
            NoteRef(part.id, event.measure, event.note.n): [NoteRef(part.id, *place) for place in event.tied]
            for span in spans
            for event in span.events
        }
        octave = {
            ref: row.pitch.octave - 1 for row in sounding for ref in (row.ref, *tied.get(row.ref, ()))
        }  # fmt: skip
        lower: list[Edit] = [SetOctave(ref, octave[ref]) for ref in octave]
        what = f"{len(sounding)} harmonics" if len(sounding) > 1 else f"the harmonic {sounding[0].pitch}"
        where = "they are" if len(sounding) > 1 else "it is"
        strings = [below(row.pitch) if row in sounding else row.pitch for row in rows]
        yield Mend(
            f"write {what} an octave lower, where {where} played, and mark all as written so: {_said(strings)}",
            Effect.CHANGES_SOUND,
            complete(context.score, context.layouts, [*lower, *_marked(rows, STRING)]),
        )
    for wanted, where in ((SOUNDING, "they sound"), (STRING, "they are played")):
        if manner.by == "range" and manner.manner != wanted:
            continue  # some of them could not be meant so
        strings = [below(row.pitch) if wanted == SOUNDING else row.pitch for row in rows]
        same = all(_read(row, manner) == wanted for row in rows)
        yield Mend(
            f"leave all harmonics as they stand and mark them as written where {where}: {_said(strings)}",
            Effect.KEEPS_SOUND if same else Effect.CHANGES_SOUND,
            tuple(_marked(rows, wanted)),
        )


def _marked(rows: Sequence[Row], wanted: str) -> list[SetMark]:
    """The mark of one manner on every harmonic that does not have it."""
    value = "sounding-pitch" if wanted == SOUNDING else "base-pitch"
    return [SetMark(row.ref, "harmonic", value) for row in rows if row.said != wanted]


def _fits(row: Row, manner: Manner) -> str:
    """How a harmonic without a mark of its own is written: as the part does, else as its string can be."""
    if manner.manner != UNCLEAR:
        return manner.manner
    return SOUNDING if usable(below(row.pitch).line) and not usable(row.pitch.line) else STRING


def _read(row: Row, manner: Manner) -> str:
    """How a harmonic is read before the mend."""
    return row.said or (SOUNDING if manner.manner == SOUNDING else STRING)


def _said(strings: Sequence[Pitch]) -> str:
    """Strings and what they sound as harmonics, in words."""
    distinct = sorted(set(strings), key=lambda pitch: (pitch.line, pitch.alter))
    pairs = [(f"{pitch.step}{pitch.octave}", str(above(pitch))) for pitch in distinct]
    more = ", and so on" if len(pairs) > _EXAMPLES else ""
    return named_pairs(pairs[:_EXAMPLES]) + more


# -- trills ----------------------------------------------------------------------------------------------------------


def _of_open_trills(finding: Finding) -> Iterator[Mend]:
    """The sign of the upper note: as the key has it, or as it stands before the trill."""
    rows = [(ref, atom.numbers) for atom in finding.atoms or (finding,) for ref in atom.notes]
    for key, which, effect in (
        ("sign", "as the key has it", Effect.KEEPS_SOUND),
        ("sign_before", "as it stands before the trill", Effect.CHANGES_SOUND),
    ):
        edits = tuple(SetMark(ref, "accidental-mark", numbers[key]) for ref, numbers in rows)
        yield Mend(f"write the sign of the upper note, {which}", effect, edits)


def _of_trill_names(finding: Finding, context: Context) -> Iterator[Mend]:
    """Another name for the main note and a sign for the upper one, so that both are strings."""
    edits: list[Edit] = []
    for atom in finding.atoms or (finding,):
        if not atom.numbers["sign"]:
            yield Mend(f"write it as a tremolo between {atom.numbers['played']}", Effect.ADVICE)
            return
        edits += [
            Respell(NoteRef.parse(ref), step, alter, octave) for ref, step, alter, octave in atom.numbers["names"]
        ]
        edits.append(SetMark(atom.notes[0], "accidental-mark", atom.numbers["sign"]))
    yield Mend(
        f"write the trill {finding.numbers['better']}, the names of two strings",
        Effect.KEEPS_SOUND,
        complete(context.score, context.layouts, list(dict.fromkeys(edits))),
    )
