"""A score file in hand: its bytes, what stands in it, and what it becomes with edits.

Document 0 is the bytes as read; each later one is the one before with edits. Nothing here decides what to edit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from deskproof.edits import Edit, apply, moved
from deskproof.errors import DeskproofError
from deskproof.musicxml import container, editor, reader
from deskproof.score import NoteRef, Score

MIDI_HEADER = b"MThd"


@dataclass(frozen=True, slots=True)
class Document:
    """A score file, or one with edits taken. ``score`` always agrees with what ``written`` would give."""

    name: str
    container: container.Container
    score: Score
    steps: tuple[tuple[Edit, ...], ...] = ()

    @property
    def edits(self) -> tuple[Edit, ...]:
        """All edits since the file was read, in the order they were taken."""
        return tuple(edit for step in self.steps for edit in step)

    def with_edits(self, edits: Sequence[Edit]) -> Document:
        """The next document: this one with more edits. ``moved`` tells where its notes stand."""
        return replace(self, score=apply(self.score, edits), steps=(*self.steps, tuple(edits)))

    def needs_musicxml(self, path: Path, why: str) -> None:
        """Refuse what a MIDI file cannot have, and say ``why``.

        Raises
        ------
        DeskproofError
            If the file is one; ``path`` is what it is called.
        """
        if self.score.source != "musicxml":
            raise DeskproofError(f"{path}: a MIDI file; {why}. Export the score as MusicXML too; check reads both.")

    def moved(self, ref: NoteRef) -> NoteRef | None:
        """Where a note of document 0 stands now; None if it is no more."""
        now: NoteRef | None = ref
        for step in self.steps:
            now = None if now is None else moved(now, step)
        return now

    def written(self) -> bytes:
        """The MusicXML document with all edits, step after step; without edits the bytes as read."""
        data = self.container.score
        for step in self.steps:
            data = editor.write(data, step)
        return data

    def packed(self) -> bytes:
        """The whole file with all edits, compressed if it was compressed."""
        return self.container.packed(self.written())


def read(path: Path) -> Document:
    """Open a score file.

    Raises
    ------
    ContainerError, ReadError
        If it is no score that can be read.
    """
    return _document(container.read(path), str(path))


def from_bytes(raw: bytes, name: str = "score") -> Document:
    """Open the bytes of a score file."""
    return _document(container.from_bytes(raw, name), name)


def _document(box: container.Container, name: str) -> Document:
    if not box.score.startswith(MIDI_HEADER):
        return Document(name, box, reader.read_bytes(box.score, name))
    from deskproof import midi

    return Document(name, box, midi.read_bytes(box.score, name))
