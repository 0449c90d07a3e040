"""Notes that go, fall silent or become shorter: where that is written in the bytes (MusicXML 4.0, complexType note)."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from deskproof.edits import EditError, LengthEdit, Omit, Silence
from deskproof.musicxml.notes import number

if TYPE_CHECKING:
    from deskproof.musicxml.editor import Element, FoundNote

# What a rest does not have of a note's children; its beam, voice, type and staff stay.
_OF_A_NOTE = ("tie", "accidental", "stem", "notehead", "notehead-text", "notations", "lyric", "play", "listen")
_FINEST = 6  # decimals of a duration

Place = tuple[int, int, str, str]
"""Put the third where the bytes from the first to the second stand, and take out the fourth just before them."""


def splices(
    edit: LengthEdit, note: FoundNote, space: Callable[[int], str], content: Callable[[Element], str]
) -> list[Place]:
    """Where and how the edit is written.

    Parameters
    ----------
    edit : LengthEdit
    note : FoundNote
        The note in the bytes.
    space : callable
        The white space in front of a place in the bytes.
    content : callable
        The text in an element.

    Raises
    ------
    EditError
        If the note is beamed or in a tuplet and is to be shorter, or its length cannot be divided so.
    """
    if isinstance(edit, Omit):
        return [(note.start, note.stop, "", space(note.start))]
    if isinstance(edit, Silence):
        pitch = next((e for e in note.children if e.name in ("pitch", "unpitched")), None)
        if pitch is None:
            raise EditError(f"line {note.line}: nothing is struck there; it cannot become a rest.")
        gone = [e for e in note.children if e.name in _OF_A_NOTE]
        return [(pitch.start, pitch.stop, "<rest/>", ""), *((e.start, e.stop, "", space(e.start)) for e in gone)]
    names = {e.name for e in note.children}
    if names & {"beam", "time-modification"}:
        raise EditError(f"line {note.line}: the note is beamed or in a tuplet; it is not shortened here.")
    duration = next((e for e in note.children if e.name == "duration"), None)
    whole = number(content(duration)) if duration is not None else None
    if duration is None or not whole:
        raise EditError(f"line {note.line}: the note has no duration; it cannot be shortened.")
    kept = Fraction(whole) * edit.length / edit.was
    rows: list[Place] = [(duration.content, duration.content_stop, _decimal(kept, note), "")]
    shown = next((e for e in note.children if e.name == "type"), None)
    if shown is not None:
        value, dots = edit.value
        rows.append((shown.content, shown.content_stop, value, ""))
        rows += [(e.start, e.stop, "", space(e.start)) for e in note.children if e.name == "dot"]
        if dots:
            rows.append((shown.stop, shown.stop, f"{space(shown.start)}<dot/>" * dots, ""))
    if edit.rest is not None:
        rest = _rest(edit.rest, whole - kept, note, space, content)
        rows.append((note.stop, note.stop, space(note.start) + rest, ""))
    return rows


def _rest(
    value: tuple[str, int],
    duration: Fraction,
    note: FoundNote,
    space: Callable[[int], str],
    content: Callable[[Element], str],
) -> str:
    """A rest in the voice and on the staff of a note."""
    between = space(note.children[0].start)
    own = {e.name: content(e) for e in note.children if e.name in ("voice", "staff")}
    kind, dots = value
    rows = [
        "<rest/>",
        f"<duration>{_decimal(duration, note)}</duration>",
        *([f"<voice>{own['voice']}</voice>"] if "voice" in own else ()),
        f"<type>{kind}</type>",
        *["<dot/>"] * dots,
        *([f"<staff>{own['staff']}</staff>"] if "staff" in own else ()),
    ]
    return f"<note>{''.join(between + row for row in rows)}{space(note.start) if between else ''}</note>"


def _decimal(value: Fraction, note: FoundNote) -> str:
    """A duration as the file writes it."""
    if value.denominator == 1:
        return str(value)
    scaled = value * 10**_FINEST
    if scaled.denominator != 1:
        raise EditError(f"line {note.line}: the note's length cannot be divided so in this file.")
    return f"{float(value):.{_FINEST}f}".rstrip("0")
