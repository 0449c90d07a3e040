"""One note or rest -> its <note> element, a list of lines in the order of the standard."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from deskproof.accidentals import SIGNS
from deskproof.musicxml.writing_lengths import Value, WriteError
from deskproof.musicxml.writing_marks import notations
from deskproof.musicxml.writing_tuplets import Printed
from deskproof.score import CHORD, CUE, GRACE, HIDDEN, SMALL, TIE_START, TIE_STOP, Note

_ACCIDENTALS = frozenset((
    "sharp", "natural", "flat", "double-sharp", "sharp-sharp", "flat-flat", "natural-sharp", "natural-flat",
    "quarter-flat", "quarter-sharp", "three-quarters-flat", "three-quarters-sharp", "sharp-down", "sharp-up",
    "natural-down", "natural-up", "flat-down", "flat-up", "double-sharp-down", "double-sharp-up",
    "flat-flat-down", "flat-flat-up", "arrow-down", "arrow-up", "triple-sharp", "triple-flat",
    "slash-quarter-sharp", "slash-sharp", "slash-flat", "double-slash-flat", "sharp-1", "sharp-2", "sharp-3",
    "sharp-5", "flat-1", "flat-2", "flat-3", "flat-4", "sori", "koron", "other",
))  # fmt: skip
_EIGHTH, _SIXTEENTH = Value("eighth", 0), Value("16th", 0)


def grace_value(in_run: int) -> Value:
    """How a grace note is printed, whose length the record does not keep: an eighth alone, sixteenths in a run."""
    return _EIGHTH if in_run == 1 else _SIXTEENTH


def note_lines(note: Note, shown: Printed, beam: tuple[str, ...], stem: str, several: bool, of: str) -> list[str]:
    """The lines of a note.

    Parameters
    ----------
    note : Note
    shown : Printed
        Its value and tuplet.
    beam : tuple of str
        Its pieces of beam.
    stem : str
        "up" or "down"; empty leaves it to whoever engraves it.
    several : bool
        Whether the part has several staves.
    of : str
        The id of its instrument, empty if none is told.
    """
    flags, marks = note.flags, note.marks
    lines = ['<note print-object="no">' if flags & HIDDEN else "<note>"]
    grace = note.marked("grace") if flags & GRACE else None
    if flags & GRACE:
        steal = f" steal-time-following={quoteattr(grace.value)}" if grace and grace.value else ""
        slash = f" slash={quoteattr(grace.number)}" if grace and grace.number else ""
        lines.append(f"<grace{steal}{slash}/>")
    if flags & CUE:
        lines.append("<cue/>")
    if flags & CHORD:
        lines.append("<chord/>")
    whole = note.marked("measure-rest") is not None
    lines.append(_sounding(note, whole))
    if not flags & GRACE:
        lines.append(f"<duration>{note.length}</duration>")
    if not flags & CUE:
        if flags & TIE_STOP:
            lines.append('<tie type="stop"/>')
        if flags & TIE_START:
            lines.append('<tie type="start"/>')
    if of:
        lines.append(f"<instrument id={quoteattr(of)}/>")
    lines.append(f"<voice>{escape(note.voice)}</voice>")
    value = shown.value
    if value is not None and not whole:
        size = ' size="cue"' if flags & SMALL else ""
        lines.append(f"<type{size}>{value.type}</type>" + "<dot/>" * value.dots)
    if note.accidental:
        lines.append(f"<accidental>{_sign(note)}</accidental>")
    if value is not None and value.actual > 1 and not whole:
        lines.append(
            f"<time-modification><actual-notes>{value.actual}</actual-notes>"
            f"<normal-notes>{value.normal}</normal-notes></time-modification>"
        )
    if stem and note.kind != "rest":
        lines.append(f"<stem>{stem}</stem>")
    head = note.marked("notehead")
    if head is not None and head.value:
        brackets = f" parentheses={quoteattr(head.number)}" if head.number else ""
        lines.append(f"<notehead{brackets}>{escape(head.value)}</notehead>")
    if several or note.staff > 1:
        lines.append(f"<staff>{note.staff}</staff>")
    lines += [f'<beam number="{i}">{piece}</beam>' for i, piece in enumerate(beam, 1)]
    if marks or flags & (TIE_START | TIE_STOP) or shown.starts or shown.stops:
        lines += notations(marks, flags, (shown.starts, shown.stops))
    plays = "".join(
        f"<other-play type={quoteattr(mark.number)}>{escape(mark.value)}</other-play>"
        for mark in marks
        if mark.kind == "other-play"
    )
    if plays:
        lines.append(f"<play>{plays}</play>")
    lines.append("</note>")
    return lines


def _sounding(note: Note, whole: bool) -> str:
    """What is played: a pitch, a stroke or silence."""
    if note.kind == "rest":
        return '<rest measure="yes"/>' if whole else "<rest/>"
    if note.kind == "unpitched":
        place = note.marked("display")
        if place is None:
            return "<unpitched/>"
        return (
            f"<unpitched><display-step>{escape(place.value)}</display-step>"
            f"<display-octave>{escape(place.number)}</display-octave></unpitched>"
        )
    if note.pitch is None:
        raise WriteError("a note without a pitch; expected one, or a rest or an unpitched note.")
    step, alter, octave = note.pitch
    altered = f"<alter>{alter:g}</alter>" if alter else ""
    return f"<pitch><step>{step}</step>{altered}<octave>{octave}</octave></pitch>"


def _sign(note: Note) -> str:
    """The printed accidental; one that the standard does not name is told by the pitch."""
    if note.accidental in _ACCIDENTALS:
        return note.accidental
    return SIGNS.get(note.pitch.alter, "natural") if note.pitch is not None else "natural"
