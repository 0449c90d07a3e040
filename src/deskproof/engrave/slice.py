"""Which bars to show: of a finding, of a mend, of any notes; and the way from a document to engraved bars."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from deskproof.document import Document
from deskproof.edits import ChangeEdit, ChangeRef, Edit
from deskproof.engrave.render import EngraveError, Engraving, engrave
from deskproof.musicxml.slices import Source
from deskproof.score import TIE_STOP, NoteRef, Score

MOST_BARS = 3
NO_PAGE = "A MIDI file has no page to engrave; export the score as MusicXML too, to see it and to write mends."


@dataclass(frozen=True, slots=True)
class Bars:
    """Measures ``first`` to ``last`` (ordinals, both included) of the parts with these ids, with edits in them."""

    parts: tuple[str, ...]
    first: int
    last: int
    edits: tuple[Edit, ...] = ()
    names: bool = False


class Desk:
    """A document laid out for engraving: cut and engraved bars are kept for the next time."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self._sources: dict[tuple[Edit, ...], Source] = {}
        self._kept: dict[Bars, Engraving] = {}

    def engraving(self, bars: Bars) -> Engraving:
        """The bars engraved.

        Raises
        ------
        DeskproofError
            If the bars are not there, or cannot be engraved.
        """
        found = self._kept.get(bars)
        if found is None:
            inside = [edit for edit in bars.edits if not isinstance(edit, ChangeEdit)]
            if len(inside) == len(bars.edits):
                source, edits = self._source(()), inside
            else:
                source, edits = self._source(bars.edits), []
            cut = source.cut(bars.parts, bars.first, bars.last, edits, bars.names)
            found = self._kept[bars] = engrave(cut)
        return found

    def _source(self, edits: tuple[Edit, ...]) -> Source:
        """The document, or the document with edits, parsed once."""
        if self.document.score.source != "musicxml":
            raise EngraveError(NO_PAGE)
        if edits not in self._sources:
            document = self.document.with_edits(edits) if edits else self.document
            self._sources[edits] = Source.of(document.written())
        return self._sources[edits]


def bars_of(
    score: Score, notes: Iterable[NoteRef | ChangeRef], edits: Sequence[Edit] = (), most: int = MOST_BARS
) -> Bars | None:
    """The bars where the first of these notes stand: from the first note on, at most ``most``, of all parts named.

    Notes further on are left out, and so are bars behind a bar without any of the notes. Where ties come in from
    the bar before, that bar is shown too, since it carries their accidentals. None without notes.
    """
    wanted = list(notes)
    if not wanted:
        return None
    named = {ref.part for ref in wanted}
    measures = {ref.measure for ref in wanted}
    first = last = min(measures)
    while last + 1 in measures and last + 1 - first < most:
        last += 1
    shown = [part for part in score.parts if part.id in named]
    if first > 0 and any(
        note.flags & TIE_STOP and note.start == 0 for part in shown for note in part.measures[first].notes
    ):
        first -= 1
    return Bars(tuple(part.id for part in shown), first, last, tuple(edits), names=len(shown) > 1)
