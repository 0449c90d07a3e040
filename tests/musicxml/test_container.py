"""Compressed scores: every other entry stays as it is, and what cannot be opened says why."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from music21 import converter

from corpus import package_files, shared_scores
from deskproof import document
from deskproof.edits import SetOctave
from deskproof.musicxml import container
from deskproof.musicxml.container import ContainerError
from deskproof.score import NoteRef

SCORE = (
    b'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
    b"</part-list>"
    b'<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
    b"<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><type>whole</type></note>"
    b"</measure></part></score-partwise>"
)
HIGHER = SCORE.replace(b"<octave>5", b"<octave>6")
EDIT = [SetOctave(NoteRef("P1", 0, 0), 6)]


def index(*paths: str) -> bytes:
    files = "".join(f'<rootfile full-path="{path}"/>' for path in paths)
    return f"<container><rootfiles>{files}</rootfiles></container>".encode()


def archive(*entries: tuple[str, bytes, int], comment: bytes = b"") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as new:
        new.comment = comment
        for k, (name, data, method) in enumerate(entries):
            info = zipfile.ZipInfo(name, (2001, 2, 3, 4, 5, 6 + 2 * k))
            info.external_attr = 0o640 << 16
            new.writestr(info, data, compress_type=method)
    return out.getvalue()


STORED, DEFLATED = zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED
FULL = archive(
    ("mimetype", b"application/vnd.recordare.musicxml", STORED),
    ("META-INF/container.xml", index("music/tide.xml", "tide.pdf"), DEFLATED),
    ("music/", b"", STORED),
    ("music/other.xml", SCORE.replace(b"Flute", b"Other"), DEFLATED),
    ("music/tide.xml", SCORE, DEFLATED),
    ("tide.pdf", bytes(range(256)) * 50, STORED),
    ("Flûte.png", b"\x89PNG", DEFLATED),
    comment=b"from the composer",
)


def rows(raw: bytes) -> list[tuple[object, ...]]:
    with zipfile.ZipFile(io.BytesIO(raw)) as opened:
        assert opened.testzip() is None
        return [
            (i.filename, i.date_time, i.compress_type, i.external_attr, i.comment, i.extra, opened.read(i))
            for i in opened.infolist()
        ]


def test_other_entries_keep_bytes_order_dates_and_method():
    read = document.from_bytes(FULL)
    assert read.score.parts[0].name == "Flute"
    packed = read.with_edits(EDIT).packed()
    expected = [row if row[0] != "music/tide.xml" else (*row[:-1], HIGHER) for row in rows(FULL)]
    assert rows(packed) == expected
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        assert opened.comment == b"from the composer"
    # The media type must be readable at a fixed place: first, stored, without an extra field.
    assert packed[30:38] == b"mimetype"
    assert packed[38:72] == b"application/vnd.recordare.musicxml"


def test_an_edit_and_back_leaves_every_entry():
    higher = document.from_bytes(FULL).with_edits(EDIT)
    back = document.from_bytes(higher.packed()).with_edits([SetOctave(NoteRef("P1", 0, 0), 5)])
    assert rows(back.packed()) == rows(FULL)


def test_real_archives_keep_their_other_entries():
    paths = [f.path for f in package_files() if f.path.suffix == ".mxl"][::10] + shared_scores()
    paths = [path for path in paths if path.suffix == ".mxl"]
    assert len(paths) > 10
    for path in paths:
        box = container.read(path)
        data = box.score + b"\n<!-- changed -->"
        before, after = rows(box.raw), rows(box.packed(data))
        assert [row[0] for row in before] == [row[0] for row in after]
        for old, new in zip(before, after, strict=True):
            expected = old if old[0] != box.entry else (*old[:-1], data)
            # Python gives an entry without permissions the usual ones.
            assert new == expected or (old[3] == 0 and new == (*expected[:3], 0o600 << 16, *expected[4:]))


def test_a_score_without_an_index_is_found():
    raw = archive(("META-INF/x.xml", b"<x/>", STORED), ("a.txt", b"", STORED), ("tide.musicxml", SCORE, DEFLATED))
    assert container.from_bytes(raw).entry == "tide.musicxml"


def test_the_first_root_file_is_the_score():
    raw = archive(
        ("b.xml", SCORE, STORED), ("META-INF/container.xml", index("a.xml", "b.xml"), STORED), ("a.xml", HIGHER, STORED)
    )
    box = container.from_bytes(raw)
    assert (box.entry, box.score) == ("a.xml", HIGHER)


def test_a_root_file_of_another_media_type_is_no_score():
    listed = (
        b'<container><rootfiles><rootfile full-path="a.pdf" media-type="application/pdf"/>'
        b'<rootfile full-path="b.xml" media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>'
    )
    raw = archive(("META-INF/container.xml", listed, STORED), ("a.pdf", b"%PDF", STORED), ("b.xml", SCORE, STORED))
    assert container.from_bytes(raw).entry == "b.xml"


def test_a_packed_plain_score_opens_elsewhere(tmp_path):
    path = tmp_path / "tide.mxl"
    path.write_bytes(container.pack(SCORE))
    assert container.read(path).score == SCORE
    assert [str(n.pitch) for n in converter.parse(path).flatten().notes] == ["C5"]
    assert container.pack(SCORE) == container.pack(SCORE)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", "the file is empty"),
        (b" \r\n\t", "the file is empty"),
        (b"PK", "damaged"),
        (FULL[:200], "damaged"),
        (FULL[:-30], "damaged"),
        (archive(("a.txt", b"x", STORED)), "without a MusicXML score"),
        (archive(("META-INF/container.xml", b"<container>", STORED)), "is not XML"),
        (archive(("META-INF/container.xml", index("gone.xml"), STORED)), "without a MusicXML score"),
    ],
)
def test_what_is_no_score_says_so(raw: bytes, message: str):
    with pytest.raises(ContainerError, match=f"^tide.mxl: .*{message}"):
        container.from_bytes(raw, "tide.mxl")


@pytest.mark.parametrize("garbage", [bytes(16), b"\xff" * 16, b"\x05" * 16])
def test_damaged_data_inside_an_archive_says_so(garbage: bytes):
    with zipfile.ZipFile(io.BytesIO(FULL)) as opened:
        at = opened.getinfo("music/tide.xml").header_offset + 30 + len("music/tide.xml")
    with pytest.raises(ContainerError, match=r"^tide\.mxl: a damaged \.mxl archive"):
        container.from_bytes(FULL[:at] + garbage + FULL[at + 16 :], "tide.mxl")


def test_a_bomb_is_not_unpacked(monkeypatch):
    monkeypatch.setattr(container, "MAX_UNPACKED", 10_000)
    big = archive(("META-INF/container.xml", index("a.xml"), DEFLATED), ("a.xml", b" " * 10_001, DEFLATED))
    assert len(big) < 1000
    with pytest.raises(ContainerError, match="unpacks to more than"):
        container.from_bytes(big)
    monkeypatch.setattr(container, "MAX_ENTRIES", 3)
    with pytest.raises(ContainerError, match="7 entries"):
        container.from_bytes(FULL)


def test_paths_that_are_no_files(tmp_path):
    with pytest.raises(ContainerError, match="a folder, not a score"):
        container.read(tmp_path)
    with pytest.raises(ContainerError, match="no such file"):
        container.read(tmp_path / "gone.xml")
    with pytest.raises(ContainerError, match="cannot be read"):
        container.read(Path(__file__) / "below a file.xml")
