"""The scores and plans in the file or folder that was opened, and the places where something may be written.

A name that comes from the page is text from outside: it opens a file only if ``Folder.scores`` lists it, and what it
leads to is looked at again on the disk. Nothing that was there before is ever written over, save a plan, which is
edited.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

from deskproof.errors import DeskproofError
from deskproof.files import write_whole
from deskproof.musicxml.container import MAX_UNPACKED

SUFFIXES = (".musicxml", ".mxl", ".xml", ".mid", ".midi")
DECISIONS = ".deskproof.toml"
PLAN = ".plan.toml"
# Of the files that are made beside a score:
ENDINGS = ("-mended.musicxml", "-mended.mxl", "-proof.html", "-proof.pdf", "-proof.json")
MAX_ENTRIES = 100_000  # files and folders looked at
MAX_COPIES = 1000
LARGEST_PLAN = 4 * 2**20  # bytes


class FolderError(DeskproofError):
    """The file or folder, or a name in it, is not opened; the message says why."""


class Folder:
    """The file or folder that was opened. Links in what was opened itself are followed once, at the start.

    Parameters
    ----------
    root : Path
        A folder, all scores in and below which may be opened; or one score, and then only that.
    largest_bytes : int
        A file that is larger is not opened.

    Attributes
    ----------
    root : Path
        The real folder that everything is in.

    Raises
    ------
    FolderError
        If there is no such file or folder, or the file is none that is read as a score.
    """

    def __init__(self, root: Path, largest_bytes: int = MAX_UNPACKED) -> None:
        self.largest_bytes = largest_bytes
        self._only: str | None = None
        self._written: dict[tuple[str, Path], tuple[int, ...]] = {}  # our own files, of which score, as they were left
        try:
            real = root.resolve(strict=True)
        except (OSError, RuntimeError, ValueError) as error:
            raise FolderError(f"{root}: cannot be opened ({error}). Name a score, or a folder with scores.") from None
        if real.is_dir():
            self.root = real
            return
        self.root = real.parent
        self._only = real.name
        if not _is_score(real.name) or not real.is_file():
            raise FolderError(f"{root}: not read as a score. Name a file that ends in {', '.join(SUFFIXES)}.")

    def scores(self) -> tuple[str, ...]:
        """The names of the scores as they are on the disk now, relative to the root, with "/", sorted.

        Left out: what begins with a dot, folders that are links, links that lead out of the root or to no score, and
        names that are no Unicode text.

        Raises
        ------
        FolderError
            If the folder holds so much that it can hardly be the one that was meant.
        """
        return tuple(sorted(name for name in self._names() if self._real(name)))

    def plans(self) -> tuple[str, ...]:
        """The names of the scoring plans, as ``scores`` gives those of scores; links are left out.

        Where one score was opened, only the plan with its name.
        """
        if self._only is not None:
            names = iter([f"{Path(self._only).stem}{PLAN}"])
        else:
            names = self._files(_is_plan)
        return tuple(sorted(name for name in names if _is_ordinary(self.root / name)))

    def plan(self, name: str) -> Path:
        """The path of a plan, as ``plans`` gives its name.

        Raises
        ------
        FolderError
            If the name is not listed, or the file is too large.
        """
        if name not in self.plans():
            raise FolderError("No such plan in the folder that was opened.")
        path = self.root / name
        if path.stat().st_size > LARGEST_PLAN:
            raise FolderError(f"{name}: larger than {LARGEST_PLAN // 2**20} MB; it is not opened.")
        return path

    def sketch_of(self, plan: str) -> str:
        """The name of the score that a plan is for: the one beside it that is called as the plan is.

        Raises
        ------
        FolderError
            If there is none, or several.
        """
        stem = plan.removesuffix(PLAN)
        found = [name for name in self.scores() if Path(name).with_suffix("").as_posix() == stem]
        if len(found) == 1:
            return found[0]
        if found:
            raise FolderError(f"{plan}: it may be for {' or for '.join(found)}. Keep one of them beside it.")
        raise FolderError(
            f"{plan}: no sketch stands beside it. It needs the score it was made for, called "
            f"{' or '.join(Path(stem).name + suffix for suffix in SUFFIXES)}."
        )

    def _names(self) -> Iterator[str]:
        if self._only is not None:
            yield self._only
        else:
            yield from self._files(_is_score)

    def _files(self, wanted: Callable[[str], bool]) -> Iterator[str]:
        seen = 0
        for folder, inner, files in os.walk(self.root):  # does not enter folders that are links
            seen += len(inner) + len(files)
            if seen > MAX_ENTRIES:
                raise FolderError(f"{self.root}: more than {MAX_ENTRIES} files. Open the folder with the scores in it.")
            inner[:] = [name for name in inner if not name.startswith(".") and _is_text(name)]
            for name in files:
                if wanted(name):
                    yield Path(folder, name).relative_to(self.root).as_posix()

    def _real(self, name: str) -> Path | None:
        """The ordinary file inside the root that a listed name leads to; None if it leads anywhere else."""
        try:
            real = (self.root / name).resolve(strict=True)
            fits = real.is_relative_to(self.root) and _is_score(real.name) and stat.S_ISREG(real.lstat().st_mode)
        except (OSError, RuntimeError, ValueError):
            return None
        return real if fits else None

    def path(self, name: str) -> Path:
        """The real path of a score.

        Parameters
        ----------
        name : str
            As ``scores`` gives it; never decoded or normalised any further.

        Raises
        ------
        FolderError
            If the name is not listed, whatever it looks like, or the file is too large.
        """
        real = self._real(name) if name in self._names() else None
        if real is None:
            raise FolderError("No such score in the folder that was opened.")
        if real.stat().st_size > self.largest_bytes:
            raise FolderError(f"{name}: larger than {self.largest_bytes // 2**20} MB; it is not opened.")
        return real

    def beside(self, name: str, suffix: str) -> Path:
        """Where something that belongs to a score may be written: in the folder of the score, inside the root.

        Parameters
        ----------
        name : str
            The score, as ``scores`` gives it.
        suffix : str
            What comes after the stem of its name: one of ``ENDINGS``, or ``DECISIONS`` for its decisions. Where
            there is a file that ``write`` did not leave just so, the next number is taken: tide-mended-2.musicxml.
            The decisions are added to, so theirs is always the same place.

        Raises
        ------
        FolderError
            If the score is not listed, the suffix is another, a link stands there, or no name is free.
        """
        self.path(name)
        target = self.root / name  # beside the name that the person sees, also where that is a link inside the root
        if suffix == DECISIONS:
            place = target.with_name(target.stem + DECISIONS)
            if place.is_symlink() or (place.exists() and not place.is_file()):
                raise FolderError(f"{place}: a link or no ordinary file; nothing is written there. Move it away.")
            return place
        if suffix not in ENDINGS:
            raise FolderError(f"{suffix!r} is not written beside a score; {', '.join((*ENDINGS, DECISIONS))} are.")
        ending, dot, kind = suffix.rpartition(".")
        for k in range(1, MAX_COPIES):
            place = target.with_name(f"{target.stem}{ending}{f'-{k}' if k > 1 else ''}{dot}{kind}")
            if not os.path.lexists(place) or self._ours(name, place):
                return place
        raise FolderError(f"{target.stem}{suffix}: {MAX_COPIES} of these are there already. Move some away.")

    def _ours(self, name: str, place: Path) -> bool:
        """Whether ``write`` made this file for this score, and nobody has touched it since."""
        return self._written.get((name, place)) == _left(place)

    def write(self, name: str, suffix: str, data: bytes) -> Path:
        """Write a file beside a score, whole or not at all, where ``beside`` says; its path.

        Raises
        ------
        FolderError
            As ``beside``; and for decisions, which ``decisions.add`` writes.
        DeskproofError
            If it cannot be written.
        """
        if suffix == DECISIONS:
            raise FolderError("Decisions are added one by one, never written whole.")
        place = self.beside(name, suffix)
        write_whole(place, data)
        self._written[name, place] = _left(place)
        return place


def _left(place: Path) -> tuple[int, ...]:
    """What tells that a file is as it was left: which it is, of what kind, its size and when it was changed."""
    status = place.lstat()
    return status.st_dev, status.st_ino, status.st_mode, status.st_size, status.st_mtime_ns


def _is_text(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _is_score(name: str) -> bool:
    return Path(name).suffix.lower() in SUFFIXES and not name.startswith(".") and _is_text(name)


def _is_plan(name: str) -> bool:
    return name.endswith(PLAN) and not name.startswith(".") and _is_text(name)


def _is_ordinary(path: Path) -> bool:
    """Whether a file is there that is no link."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False
