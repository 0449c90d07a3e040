"""The scores the tests read: music21's files and the shared scores beside the checkout."""

from __future__ import annotations

import hashlib
import os
import zipfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path, PurePosixPath

import music21
import pytest

SUFFIXES = (".xml", ".musicxml", ".mxl")
ROOTS = (b"<score-partwise", b"<score-timewise")
SHARED = Path(__file__).resolve().parents[2] / "shared" / "scores"


@dataclass(frozen=True)
class CorpusFile:
    """A MusicXML file that music21 carries."""

    name: str  # posix path inside the folder it was looked for in
    path: Path

    @property
    def sha(self) -> str:
        """SHA-256 of the name as UTF-8, in hexadecimal: an order that has nothing to do with the music."""
        return hashlib.sha256(self.name.encode("utf-8")).hexdigest()


@cache
def corpus_files() -> tuple[CorpusFile, ...]:
    """Every MusicXML file in music21's corpus folder, by name; names are relative to that folder."""
    return _musicxml_under(Path(music21.__file__).parent / "corpus")


@cache
def package_files() -> tuple[CorpusFile, ...]:
    """Every MusicXML file in the whole music21 package, by name; names are relative to the package.

    Besides the corpus these are small files that each test one element of the standard.
    """
    return _musicxml_under(Path(music21.__file__).parent)


def smallest(n: int, files: tuple[CorpusFile, ...] | None = None) -> list[CorpusFile]:
    """The ``n`` files with the smallest ``sha``: a fixed sample that nobody chose."""
    return sorted(corpus_files() if files is None else files, key=lambda f: f.sha)[:n]


def shared_scores() -> list[Path]:
    """The shared scores, by name; empty when the folder is not there.

    Raises
    ------
    pytest.fail.Exception
        If the folder is missing and the environment says ``CI=true``.
    """
    if not SHARED.is_dir():
        if os.environ.get("CI") == "true":
            pytest.fail("the shared scores are missing: expected shared/scores beside the repository")
        return []
    return sorted(p for p in SHARED.iterdir() if p.suffix in (*SUFFIXES, ".mid"))


def shared(name: str) -> Path:
    """One shared score. Skips the test when the folder is not there; under ``CI=true`` it fails instead."""
    found = next((p for p in shared_scores() if p.name == name), None)
    if found is None:
        if os.environ.get("CI") == "true" or SHARED.is_dir():
            pytest.fail(f"shared score {name} is missing")
        pytest.skip(f"shared score {name} is not here")
    return found


def _musicxml_under(folder: Path) -> tuple[CorpusFile, ...]:
    found = (
        CorpusFile(PurePosixPath(path.relative_to(folder)).as_posix(), path)
        for path in folder.rglob("*")
        if path.suffix.lower() in SUFFIXES and path.is_file() and _is_musicxml(path)
    )
    return tuple(sorted(found, key=lambda f: f.name))


def _is_musicxml(path: Path) -> bool:
    """True if the file, or a member of the archive, holds the root element of a score."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            members = [m for m in archive.namelist() if m.lower().endswith((".xml", ".musicxml"))]
            return any(_has_root(archive.read(m)) for m in members)
    return _has_root(path.read_bytes())


def _has_root(data: bytes) -> bool:
    plain = data.replace(b"\0", b"")  # UTF-16, where the element names are plain letters
    return any(root in plain for root in ROOTS)
