"""Files on disk -> the bytes of the score in them, and back: plain MusicXML and compressed .mxl."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from lxml import etree

from deskproof.errors import DeskproofError
from deskproof.musicxml.reader import parser

MAX_UNPACKED = 128 * 1024 * 1024
MAX_ENTRIES = 1000
_CONTAINER = "META-INF/container.xml"


class ContainerError(DeskproofError):
    """The file cannot be opened as a score; the message says what is wrong and what to do."""


@dataclass(frozen=True, slots=True)
class Container:
    """A file as read. ``score`` is the MusicXML document; ``entry`` its name inside an .mxl, "" for a plain file."""

    raw: bytes
    score: bytes
    entry: str = ""

    def packed(self, score: bytes) -> bytes:
        """The bytes of the file with another score in it; every other entry of an .mxl stays as it is."""
        if score == self.score:
            return self.raw
        if not self.entry:
            return score
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(self.raw)) as old, zipfile.ZipFile(out, "w") as new:
            new.comment = old.comment
            for info in old.infolist():
                data = score if info.filename == self.entry else old.read(info)
                new.writestr(info, data, compress_type=info.compress_type)
        return out.getvalue()

    def compressed(self, score: bytes) -> bytes:
        """An .mxl with another score in it: this one, or a new one where the file is plain."""
        return self.packed(score) if self.entry else pack(score)


def pack(score: bytes) -> bytes:
    """A new .mxl around a MusicXML document (for a plain score that is saved compressed)."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        stamp = (1980, 1, 1, 0, 0, 0)
        for name, data in (
            (
                _CONTAINER,
                b'<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
                b'<rootfile full-path="score.musicxml"/></rootfiles></container>\n',
            ),
            ("score.musicxml", score),
        ):
            new.writestr(zipfile.ZipInfo(name, stamp), data, compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()


def read(path: Path) -> Container:
    """Open a score file.

    Raises
    ------
    ContainerError
        If it does not exist, cannot be read, or is no score container.
    """
    if path.is_dir():
        raise ContainerError(f"{path}: a folder, not a score. Name the files in it.")
    try:
        if path.exists() and not path.is_file():
            raise ContainerError(f"{path}: no ordinary file. Name a score.")
        if path.stat().st_size > MAX_UNPACKED:
            raise ContainerError(f"{path}: larger than {MAX_UNPACKED // 2**20} MB; it is not read.")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise ContainerError(f"{path}: no such file. Check the name.") from None
    except OSError as error:
        raise ContainerError(f"{path}: cannot be read ({error.strerror}). Check its permissions.") from None
    return from_bytes(raw, str(path))


def from_bytes(raw: bytes, name: str = "score") -> Container:
    """Open the bytes of a score file, compressed or plain; see :func:`read`."""
    if not raw.strip():
        raise ContainerError(f"{name}: the file is empty. Export the score again.")
    if not raw.startswith(b"PK"):
        return Container(raw, raw)
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            entry = _root_file(archive, name)
            return Container(raw, _unpacked(archive, entry, name), entry)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as error:
        raise ContainerError(f"{name}: a damaged .mxl archive ({error}). Export the score again.") from None


def _root_file(archive: zipfile.ZipFile, name: str) -> str:
    """The score's entry: as the container file says, else the first score-like entry."""
    names = archive.namelist()
    if len(names) > MAX_ENTRIES:
        raise ContainerError(f"{name}: {len(names)} entries in the archive; at most {MAX_ENTRIES} are read.")
    if _CONTAINER in names:
        try:
            root = etree.fromstring(_unpacked(archive, _CONTAINER, name), parser())
        except etree.XMLSyntaxError as error:
            raise ContainerError(f"{name}: its {_CONTAINER} is not XML ({error.msg}). Export it again.") from None
        for element in root.iter("{*}rootfile"):
            path = element.get("full-path")
            if path in names and element.get("media-type", "xml").endswith(("xml", "musicxml")):
                return str(path)
    for entry in names:
        if entry.endswith((".musicxml", ".xml")) and not entry.startswith("META-INF/"):
            return entry
    raise ContainerError(f"{name}: an archive without a MusicXML score in it. Is it the right file?")


def _unpacked(archive: zipfile.ZipFile, entry: str, name: str) -> bytes:
    with archive.open(entry) as stream:
        data = stream.read(MAX_UNPACKED + 1)
    if len(data) > MAX_UNPACKED:
        raise ContainerError(f"{name}: {entry} unpacks to more than {MAX_UNPACKED // 2**20} MB; it is not read.")
    return data
