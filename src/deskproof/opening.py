"""A score opened and checked: the one way from a file to its findings, and the words where that cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from deskproof import document
from deskproof.check import Report, check
from deskproof.document import Document
from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.score import Score


@dataclass(frozen=True, slots=True)
class Opened:
    """A score as read, the ordinals of the parts to check (None: all), and what the check found."""

    document: Document
    parts: tuple[int, ...] | None
    report: Report


def opened(path: Path, forces: Forces, names: Sequence[str], alone: bool = True) -> Opened:
    """Read a score and check the parts named, by name or id; all if none is named.

    Where it is not ``alone``, forces may name sections that only others of the scores have.

    Raises
    ------
    DeskproofError
        If it cannot be read, a part is not there, or the forces name a section that it has not.
    """
    read = document.read(path)
    parts = _ordinals(read.score, names, path)
    report = check(read.score, forces, parts)
    wrong = forces.no_such_part(part.name for part in read.score.parts) if alone else []
    if wrong:
        raise DeskproofError("\n".join(wrong))
    return Opened(read, parts, report)


def _ordinals(score: Score, names: Sequence[str], path: Path) -> tuple[int, ...] | None:
    if not names:
        return None
    found: set[int] = set()
    for name in names:
        own = {i for i, part in enumerate(score.parts) if name.casefold() in (part.id.casefold(), part.name.casefold())}
        if not own:
            known = ", ".join(dict.fromkeys(part.name or part.id for part in score.parts))
            raise DeskproofError(f"{path}: no part {name!r}. Parts: {known}.")
        found |= own
    return tuple(sorted(found))
