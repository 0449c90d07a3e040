"""Signs on a note, written into its ``<notations>``: where they go in the bytes (MusicXML 4.0, notations)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from deskproof.edits import TRILLS, EditError, SetMark

if TYPE_CHECKING:
    from deskproof.musicxml.editor import Element, FoundNote

GROUPS = {"fingering": "technical", "accidental-mark": "ornaments", "arpeggiate": ""}
_PITCHES = ("base-pitch", "touching-pitch", "sounding-pitch")
_BEHIND = ("lyric", "play", "listen")  # the children of <note> that stand behind its notations

Place = tuple[int, int, str]
"""Put a text where the bytes from the first to the second number stand."""


def splice(edit: SetMark, note: FoundNote, space: Callable[[Element], str], width: Callable[[str], int]) -> Place:
    """Where and how a sign is written.

    Parameters
    ----------
    edit : SetMark
    note : FoundNote
        The note in the bytes, with what stands in its notations.
    space : callable
        The white space in front of an element.
    width : callable
        How many bytes a text takes in the file.

    Raises
    ------
    EditError
        If the note has nothing that the sign belongs to.
    """
    if edit.kind == "harmonic":
        return _harmonic(edit, note, width)
    present = [e for path, e in note.inside if path[-1] == edit.kind]
    if present:
        return _fill(present[0], edit.value, width)
    if edit.kind == "accidental-mark":
        ornaments = [e for path, e in note.inside if path[-1] in TRILLS and "ornaments" in path]
        if not ornaments:
            raise EditError(f"line {note.line}: the note has no trill; no sign can be written on it.")
        trill = min(ornaments, key=lambda element: TRILLS.index(element.name))
        return trill.stop, trill.stop, f"{space(trill)}<accidental-mark>{edit.value}</accidental-mark>"
    return _new(edit, note, space, width)


def _harmonic(edit: SetMark, note: FoundNote, width: Callable[[str], int]) -> Place:
    found = next((e for path, e in note.inside if path[-1] == "harmonic"), None)
    if found is None:
        raise EditError(f"line {note.line}: the note is no harmonic; how it is written cannot be told on it.")
    inner = [e for path, e in note.inside if len(path) > 1 and path[-2] == "harmonic"]
    told = next((e for e in inner if e.name in _PITCHES), None)
    if told is not None:
        return told.start, told.stop, f"<{edit.value}/>"
    if inner:
        return inner[-1].stop, inner[-1].stop, f"<{edit.value}/>"
    if found.content == found.stop:
        return _fill(found, f"<{edit.value}/>", width)
    return found.content, found.content, f"<{edit.value}/>"


def _fill(element: Element, text: str, width: Callable[[str], int]) -> Place:
    """Another content of an element; an empty-element tag is opened for it."""
    if element.content == element.stop:
        if not text:
            return element.stop, element.stop, ""
        return element.stop - width("/>"), element.stop, f">{text}</{element.name}>"
    return element.content, element.content_stop, text


def _new(edit: SetMark, note: FoundNote, space: Callable[[Element], str], width: Callable[[str], int]) -> Place:
    group = GROUPS[edit.kind]
    sign = f"<{edit.kind}>{edit.value}</{edit.kind}>" if edit.value else f"<{edit.kind}/>"
    for name in (group, "notations") if group else ("notations",):
        home = next((e for path, e in note.inside if path[-1] == name), None)
        if home is not None:
            text = sign if name == group or not group else f"<{group}>{sign}</{group}>"
            if home.content == home.stop:
                return home.stop - width("/>"), home.stop, f">{text}</{name}>"
            inner = [e for path, e in note.inside if len(path) > 1 and path[-2] == name and e.start >= home.start]
            inner = [e for e in inner if e.stop <= home.stop]
            if inner:
                return inner[-1].stop, inner[-1].stop, f"{space(inner[-1])}{text}"
            return home.content, home.content_stop, text
    before = [e for e in note.children if e.name not in _BEHIND]
    if not before:
        raise EditError(f"line {note.line}: the note has no content; it cannot be edited.")
    last = before[-1]
    text = f"<{group}>{sign}</{group}>" if group else sign
    return last.stop, last.stop, f"{space(last)}<notations>{text}</notations>"
