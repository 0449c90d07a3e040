"""Where a session stands: the document as mended so far, the last one that was checked, and what lies between them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from deskproof.check import Report
from deskproof.document import Document
from deskproof.edits import Edit
from deskproof.musicxml import editor
from deskproof.recheck import recheck
from deskproof.web.taken import Round, edits_of, replayed

Steps = tuple[tuple[Edit, ...], ...]


@dataclass(frozen=True, slots=True)
class Known:
    """A document that was checked, its MusicXML (of a MIDI file: its bytes), and what the check found."""

    document: Document
    data: bytes
    report: Report


@dataclass(frozen=True, slots=True)
class Moment:
    """A document as mended, beside the one that was checked last.

    ``open`` is the round of mends taken on ``base``; the ``closed`` rounds came before it. ``fits`` tells whether
    ``base`` with the open round is ``document``: not so after a mend of an earlier round was taken back, until that is
    checked. ``gone`` are the ids of the findings of ``base`` that the open round solves.
    """

    base: Known
    closed: tuple[Round, ...]
    open: Round
    document: Document
    data: bytes
    fits: bool
    gone: frozenset[str]

    @property
    def rounds(self) -> tuple[Round, ...]:
        """All rounds in order."""
        return (*self.closed, self.open) if self.open else self.closed

    @property
    def settled(self) -> bool:
        """Whether the document is the one that was checked."""
        return self.fits and not self.open


def checked(known: Known, rounds: tuple[Round, ...] = ()) -> Moment:
    """The moment at which a document has been checked."""
    return Moment(known, rounds, (), known.document, known.data, True, frozenset())


def after(first: Document, rounds: tuple[Round, ...], known: Mapping[Steps, Known], now: Moment) -> Moment:
    """The moment after the rounds have become these.

    A report that is ``known`` for the new document is used again. If one is known for all rounds but the last, that one
    tells at once what the last has solved. Otherwise the findings of before stand until the next check.

    Raises
    ------
    EditError
        If a mend does not fit, or cannot be written into this file.
    """
    document = replayed(first, rounds)
    there = known.get(document.steps)
    if there is not None:
        return checked(there, rounds)
    base = known.get(document.steps[:-1])
    if base is None:
        return Moment(now.base, rounds, (), document, document.written(), False, now.gone)
    edits = edits_of(rounds[-1])
    return Moment(
        base, rounds[:-1], rounds[-1], document, editor.write(base.data, edits), True, _gone(base.report, edits)
    )


def _gone(report: Report, edits: Sequence[Edit]) -> frozenset[str]:
    """The ids of the findings of which the edits leave nothing."""
    gone = {atom.key for atom in recheck(report.state, edits).gone}
    return frozenset(one.id for one in report.findings if all(atom.key in gone for atom in one.atoms))
