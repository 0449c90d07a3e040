"""The served pages as a whole, behind the guard: every address, what a page may send, what a score may hold."""

from __future__ import annotations

import asyncio
import html
import io
import json
import os
import re
import threading
import time
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import httpx
import lxml.html
import mido
import pytest
from click.testing import CliRunner
from lxml import etree

from corpus import shared
from deskproof import decisions, document, files
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO
from deskproof.edits import Edit, SetClef, SetOctave
from deskproof.forces import Forces
from deskproof.musicxml import container
from deskproof.report import as_json, as_text
from deskproof.report.printed import proof_pdf
from deskproof.report.proof import proof_html, style
from deskproof.score import NoteRef
from deskproof.web import app, folder
from deskproof.web import session as web_session
from deskproof.web.desk import OnDesk, Prints, Shown
from deskproof.web.folder import Folder
from deskproof.web.guard import Guard
from deskproof.web.systems import systems

PORT, TOKEN = 8123, "t" * 32
ROOT = f"http://127.0.0.1:{PORT}/{TOKEN}"
PRINTS = Prints(as_text.header, as_text.summary, as_json.report, proof_html, proof_pdf, style())
LONG_S = 120  # for what should be done in a moment; no test passes by waiting
MOST_WORDS = 400  # letters of an error


# Small scores


def note(pitch: str, accidental: str = "", more: str = "") -> str:
    """A whole note, as F#5."""
    alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(pitch[1], "")
    printed = f"<accidental>{accidental}</accidental>" if accidental else ""
    return (
        f"<note><pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch><duration>4</duration>"
        f"<voice>1</voice><type>whole</type>{printed}{more}</note>"
    )


ATTRIBUTES = (
    "<attributes><divisions>1</divisions><key><fifths>0</fifths></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>"
)
# In bars 2, 6, 10 and 14 a note that is too low, and from bar 7 on a sharp that is not printed.
TUNE = [
    bar
    for k, high in enumerate(("C5", "D5", "E5", "G5"))
    for bar in (note(high), note("C3"), note("F#5", "" if k else "sharp"), note(high))
]


def score(parts: Sequence[tuple[str, Sequence[str]]], title: str = "Tide") -> bytes:
    """A score of (name, bars); the names and the title are text."""
    names = "".join(
        f'<score-part id="P{k}"><part-name>{escape(name)}</part-name></score-part>'
        for k, (name, _) in enumerate(parts, 1)
    )
    rows = "".join(
        f'<part id="P{k}">'
        + "".join(f'<measure number="{m}">{ATTRIBUTES * (m == 1)}{bar}</measure>' for m, bar in enumerate(bars, 1))
        + "</part>"
        for k, (_, bars) in enumerate(parts, 1)
    )
    return (
        f'<score-partwise version="4.0"><work><work-title>{escape(title)}</work-title></work>'
        f"<part-list>{names}</part-list>{rows}</score-partwise>"
    ).encode()


TIDE = score([("Flute", TUNE), ("Oboe", TUNE)])


def midi(path: Path) -> None:
    """A flute with a note that is too low."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack([mido.MetaMessage("track_name", name="Flute"), mido.Message("program_change", program=73)])
    for pitch in (76, 50, 76):
        track.append(mido.Message("note_on", note=pitch, velocity=64))
        track.append(mido.Message("note_off", note=pitch, time=480))
    file.tracks.append(track)
    file.save(path)


# A page that asks


class Page:
    """What a page of the server does, through the guard."""

    def __init__(self, place: Path, fails: bool = False) -> None:
        self.app = app.application(Folder(place), Forces(), PRINTS)
        self.scores: app.Scores = self.app.state.scores
        self.guard = Guard(self.app, PORT, TOKEN)
        self.fails = fails

    def asked(self, method: str, address: str, **given: Any) -> httpx.Response:
        transport = httpx.ASGITransport(
            self.guard, raise_app_exceptions=not self.fails, client=("127.0.0.1", 50000)
        )

        async def once() -> httpx.Response:
            async with httpx.AsyncClient(transport=transport) as client:
                return await client.request(method, address, **given)

        return asyncio.run(once())

    def get(self, path: str, **query: object) -> httpx.Response:
        return self.asked("GET", f"{ROOT}/{path}", params={key: str(value) for key, value in query.items()})

    def post(self, path: str, body: object, raw: bytes | None = None) -> httpx.Response:
        data = json.dumps(body).encode() if raw is None else raw
        headers = {"origin": f"http://127.0.0.1:{PORT}", "content-type": "application/json"}
        return self.asked("POST", f"{ROOT}/{path}", content=data, headers=headers)

    def pieces(self, name: str = "tide.musicxml", **query: object) -> dict[str, Any]:
        answer = self.get("pieces", name=name, **query)
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    def settled(self, name: str = "tide.musicxml") -> dict[str, Any]:
        """The pieces once nothing is being checked."""
        until = time.monotonic() + LONG_S
        while (found := self.pieces(name))["checking"]:
            assert time.monotonic() < until
            time.sleep(0.02)
        return found

    def sent(self, path: str, **body: object) -> dict[str, Any]:
        answer = self.post(path, {"name": "tide.musicxml", **body})
        assert answer.status_code == 200, answer.text
        return dict(answer.json())


def ids(pieces: dict[str, Any]) -> list[str]:
    return [one.get("data-id", "") for one in lxml.html.fromstring(pieces["music"]).iterfind(".//article")]


def bars(pieces: dict[str, Any]) -> list[tuple[str, str]]:
    spots = lxml.html.fromstring(pieces["music"]).iterfind(".//*[@data-first]")
    return [(spot.get("data-first", ""), spot.get("data-last", "")) for spot in spots]


def refused(answer: httpx.Response, status: int = 400) -> str:
    """The words of a refusal: short, ours, and nothing of a traceback."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/json"
    body = answer.json()
    assert set(body) == ({"error", "stale"} if status == 409 else {"error"})
    said = str(body["error"])
    assert 0 < len(said) <= MOST_WORDS
    assert not re.search(r"Traceback|File \"|\.py\b|Error\(|Exception|<class|object at 0x", said)
    return said


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with one score, inside one that must not be reached."""
    inside = tmp_path / "pieces"
    inside.mkdir()
    (inside / "tide.musicxml").write_bytes(TIDE)
    (tmp_path / "private.musicxml").write_bytes(TIDE)
    return inside


@pytest.fixture
def page(place: Path) -> Iterator[Page]:
    one = Page(place)
    yield one
    one.scores.close()


def lying_in(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()}


# The right answers


def test_the_pages_that_are_opened(page: Page, place: Path) -> None:
    home = page.get("")
    assert (home.status_code, home.headers["location"]) == (307, f"/{TOKEN}/score?name=tide.musicxml")
    (place / "ebb & flow#1.xml").write_bytes(TIDE)
    home = page.get("")
    links = [link.get("href", "") for link in lxml.html.fromstring(home.text).iterfind(".//li/a")]
    assert links == [f"/{TOKEN}/score?name=ebb%20%26%20flow%231.xml", f"/{TOKEN}/score?name=tide.musicxml"]
    assert page.scores.open() == ()
    opened = page.asked("GET", f"http://127.0.0.1:{PORT}{links[0]}")
    body = lxml.html.fromstring(opened.text).find(".//body")
    assert body is not None
    assert (body.get("data-name"), body.get("data-root")) == ("ebb & flow#1.xml", f"/{TOKEN}")
    assert "All scores of the folder" in opened.text  # also of a score that came later
    for file in ("page.js", "player.js", "web.css", "proof.css"):
        answer = page.get(f"static/{file}")
        kind = "text/javascript" if file.endswith("js") else "text/css"
        assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (200, kind)
        assert answer.text.strip()


def test_a_page_goes_its_way(page: Page, place: Path) -> None:
    """From the first look to the saved copy; the command line says the same."""
    first = page.pieces()
    assert [first[key] for key in ("checking", "may_take", "others", "title")] == [False, True, [], "Proof of “Tide”"]
    said = json.loads(CliRunner().invoke(main, ["check", "--json", str(place / "tide.musicxml")]).stdout)
    assert sorted(ids(first)) == sorted(one["id"] for one in said["findings"])
    assert len(ids(first)) >= 8

    for one in bars(first):
        picture = page.get("engraved", name="tide.musicxml", first=one[0], last=one[1])
        assert etree.fromstring(picture.content).tag == "{http://www.w3.org/2000/svg}svg"
        assert 'class="ring"' in picture.text
        heard = page.get("tones", name="tide.musicxml", first=one[0], last=one[1]).json()
        assert heard["tones"] and heard["length_s"] > 0

    low = ids(first)[0]
    inside = page.get("finding", name="tide.musicxml", id=low)
    assert f'data-take="{low}"' in inside.text
    tones = [
        page.get("mend-tones", name="tide.musicxml", id=low, mend=1, after=k).json()["tones"] for k in (0, 1)
    ]
    assert [one["midi"] for one in tones[1]] == [one["midi"] + 12 for one in tones[0]] == [60.0]

    took = page.sent("take", revision=first["revision"], wanted=[[low, 1]])
    assert took["said"] == "1 mend taken."
    assert took["revision"] != first["revision"]
    assert low not in ids(took)
    assert low not in ids(page.settled())
    now = page.settled()
    (number,) = re.findall(r'data-strike="(\d+)"', now["lists"])
    struck = page.sent("strike", revision=now["revision"], number=int(number))
    assert struck["said"] == "One mend taken back."
    assert (struck["revision"], ids(page.settled())) == (first["revision"], ids(first))

    stands = page.sent("stand", revision=first["revision"], id=low, reason="  it is\n meant ")
    assert low not in ids(stands)
    assert decisions.read(place / "tide.deskproof.toml")[low].reason == "it is meant"
    assert low in ids(page.sent("again", id=low))

    kept = page.sent("take", revision=first["revision"], keeping=True)
    assert first["keeping"] and kept["said"] == f"{first['keeping']} mends taken."
    names = ["tide-mended.musicxml", "tide-proof.html", "tide-proof.pdf", "tide-proof.json"]
    for kind, name in zip(("mended", "html", "pdf", "json"), names, strict=True):
        assert page.sent("save", **{"as": kind})["said"] == f"Wrote {name}."
    assert lying_in(place)["tide.musicxml"] == TIDE
    assert (place / "tide-proof.pdf").read_bytes().startswith(b"%PDF")
    mended = json.loads(CliRunner().invoke(main, ["check", "--json", str(place / "tide-mended.musicxml")]).stdout)
    proof = json.loads((place / "tide-proof.json").read_text("utf-8"))
    assert {**mended, "score": None} == {**proof, "score": None}
    assert sorted(one["id"] for one in mended["findings"]) == sorted(ids(page.settled()))

    other = page.sent("compare", other="tide-mended.musicxml")
    assert other["said"] == f"Since tide-mended.musicxml: 0 new, 0 gone, {len(ids(kept))} still there."
    assert other["new"] == []


# What a page must not send

NOT_A_NUMBER = ("", "x", "-1", "1.5", "1e3", "٣", "9" * 5000, "0x1", " 1", "+1", "NaN", "1_0", "\0")


def test_bars_that_are_none(page: Page) -> None:
    first, last = bars(page.pieces())[0]
    for path in ("engraved", "tones", "tones-sampled"):
        for wrong in (*NOT_A_NUMBER, "99999", "999999999"):
            refused(page.get(path, name="tide.musicxml", first=wrong, last=last))
            refused(page.get(path, name="tide.musicxml", first=first, last=wrong))
        refused(page.get(path, name="tide.musicxml", first=last, last=first))
        refused(page.get(path, name="tide.musicxml"))
        refused(page.get(path, name="tide.musicxml", first=first, last=last, show="x" * 2000))


def test_findings_and_mends_that_are_none(page: Page) -> None:
    low = ids(page.pieces())[0]
    for wrong in ("", "nothere1", low.upper(), f"{low}-1", "\0", "../" * 20, "x" * 3000, "<b>"):
        assert "not asked" in refused(page.get("finding", name="tide.musicxml", id=wrong)) or len(wrong) > 1000
        refused(page.get("mend-tones", name="tide.musicxml", id=wrong, mend=1, after=1))
    for path in ("mend-tones", "mend-tones-sampled"):
        for number in (*NOT_A_NUMBER, "0", "99", "999999999"):
            refused(page.get(path, name="tide.musicxml", id=low, mend=number, after=1))
        refused(page.get(path, name="tide.musicxml", id=low, mend=1))
        refused(page.get(path, name="tide.musicxml"))
    refused(page.get("finding", name="tide.musicxml"))


OUTSIDE = [
    "", ".", "..", "../private.musicxml", "..\\private.musicxml", "/etc/passwd", "/dev/zero", "..%2fprivate.musicxml",
    "tide.musicxml\0", "\0", "out.xml", "folder-out/private.musicxml", "tide.musicxml/", "./tide.musicxml",
    "TIDE.musicxml", "x" * 900 + ".xml", "x" * 60_000, "tide.deskproof.toml", "file:///etc/passwd", "nothing.xml",
]  # fmt: skip


@pytest.mark.parametrize("name", OUTSIDE, ids=range(len(OUTSIDE)))
def test_a_name_that_leads_elsewhere(page: Page, place: Path, name: str) -> None:
    (place / "out.xml").symlink_to("../private.musicxml")
    (place / "folder-out").symlink_to("..")
    before = {**lying_in(place), **lying_in(place.parent)}
    for path in ("pieces", "engraved", "finding", "tones", "mend-tones"):
        refused(page.get(path, name=name, first=0, last=0, id="x", mend=1, after=1))
    for path in ("take", "strike", "stand", "again", "save", "compare"):
        refused(page.post(path, {"name": name, "as": "mended", "revision": "x", "id": "x", "reason": "x"}))
    refused(page.post("compare", {"name": "tide.musicxml", "other": name}))
    assert set(page.scores.open()) <= {"tide.musicxml"}
    assert {**lying_in(place), **lying_in(place.parent)} == before


def test_a_name_as_bytes_in_the_address(page: Page) -> None:
    """Decoded once and no more, and never part of the path."""
    up = ("..%2f", "%2e%2e%2f", "%252e%252e%252f", "..%5c", "%c0%ae%c0%ae/")
    for raw in (*(f"{one}private.musicxml" for one in up), "%00", "%ff%fe", "tide.musicxml%00", "tide%2emusicxml%2f"):
        refused(page.asked("GET", f"{ROOT}/pieces?name={raw}"))
    for path in (
        "static/..%2fapp.py", "static/%2e%2e/app.py", "static/app.py", "static/..", "static/page.js%00",
        "static/..%5cpage.js", "static//etc/passwd", "static/.css", "static/nothing.js", "static/" + "x" * 5000 + ".js",
    ):  # fmt: skip
        answer = page.asked("GET", f"{ROOT}/{path}")
        assert answer.status_code == 404, path
        assert len(answer.text) < MOST_WORDS
    assert "no such address" not in page.get("").text
    for method, path in (("GET", "nothing"), ("GET", "take"), ("POST", "pieces"), ("GET", "pieces/"), ("PUT", "save")):
        headers = {"origin": f"http://127.0.0.1:{PORT}", "content-type": "application/json"}
        refused(page.asked(method, f"{ROOT}/{path}", headers=headers), 404)


RAW = [
    b"", b"{", b"\xff\xfe", b"\0", b"[]", b"null", b"5", b'"x"', b"[" * 30_000, b'{"a":' * 8000, b'{"name": "\\ud800"}',
    b'{"name": 1' + b"0" * 6000 + b"}", b'{"name": NaN}', b"{'name': 'tide.musicxml'}", b'{"name": ["tide.musicxml"]}',
]  # fmt: skip


@pytest.mark.parametrize("path", ["take", "strike", "stand", "again", "save", "compare"])
def test_bodies_that_say_nothing(page: Page, path: str) -> None:
    for raw in RAW:
        refused(page.post(path, None, raw))
    refused(page.post(path, {"name": "tide.musicxml"}))
    assert page.post(path, None, b'{"name": "' + b"x" * 70_000 + b'"}').status_code == 413


WRONG = [None, True, 1, 1.5, -1, 10**30, float("nan"), float("inf"), [], {}, ["x"], {"a": 1}, "x" * 2000, "\ud800"]
KEYS = {
    "take": ("revision", "wanted"), "strike": ("revision", "number"), "stand": ("revision", "id", "reason"),
    "again": ("id",), "save": ("as",), "compare": ("other",),
}  # fmt: skip


@pytest.mark.parametrize("path", KEYS)
def test_values_of_another_kind(page: Page, place: Path, path: str) -> None:
    now = page.pieces()
    low = ids(now)[0]
    if path == "strike":  # so that there is one to be taken back
        page.sent("take", revision=now["revision"], wanted=[[low, 1]])
        now = page.settled()
    good = {
        "name": "tide.musicxml", "revision": now["revision"], "wanted": [[low, 1]], "number": 1, "id": low,
        "reason": "so be it", "as": "json", "other": "tide.musicxml",
    }  # fmt: skip
    before = lying_in(place)
    for key in KEYS[path]:
        for wrong in WRONG:
            if key != "number" or type(wrong) is not int or wrong < 0 or wrong > 1:
                refused(page.post(path, {**good, key: wrong}))
        refused(page.post(path, {k: v for k, v in good.items() if k != key}))
    assert lying_in(place) == before
    assert page.pieces() == now


def test_mends_that_cannot_be_taken(page: Page) -> None:
    now = page.pieces()
    low, other = ids(now)[:2]
    wanted: list[object] = [
        [[low, 0]], [[low, 2]], [[low, 99]], [[low, "1x"]], [[low, True]], [[low, 1.0]], [[low]], [low, 1], [],
        [[low, 1, 1]], [[1, 1]], [["nothere1", 1]], [[other, 1], ["nothere1", 1]], {"a": 1}, "x", [[low, 10**30]],
        [["x" * 5000, 1]],
    ]  # fmt: skip
    for one in wanted:
        said = refused(page.post("take", {"name": "tide.musicxml", "revision": now["revision"], "wanted": one}))
        assert said == app.NOT_THERE or "not offered any more" in said  # and not a list of all that is offered
    for keeping in ("yes", 1, "false", []):
        refused(page.post("take", {"name": "tide.musicxml", "revision": now["revision"], "keeping": keeping}))
    for number in (1, 0, 10**8):
        refused(page.post("strike", {"name": "tide.musicxml", "revision": now["revision"], "number": number}))
    assert page.pieces() == now


def test_a_mend_that_is_advice_is_not_taken(place: Path) -> None:
    midi(place / "tide.mid")
    page = Page(place)
    now = page.pieces("tide.mid")
    low = ids(now)[0]
    said = refused(page.post("take", {"name": "tide.mid", "revision": now["revision"], "wanted": [[low, 1]]}))
    assert "is advice" in said
    refused(page.get("mend-tones", name="tide.mid", id=low, mend=1, after=1))


def test_a_page_that_is_stale_changes_nothing(page: Page, place: Path) -> None:
    first = page.pieces()
    low, other = ids(first)[:2]
    page.sent("take", revision=first["revision"], wanted=[[low, 1]])
    now = page.settled()
    before = lying_in(place)
    for path, more in (
        ("take", {"wanted": [[other, 1]]}),
        ("take", {"keeping": True}),
        ("strike", {"number": 1}),
        ("stand", {"id": other, "reason": "so be it"}),
    ):
        for revision in (first["revision"], "x", ""):
            said = refused(page.post(path, {"name": "tide.musicxml", "revision": revision, **more}), 409)
            assert "nothing was done" in said
    assert page.pieces() == now
    assert lying_in(place) == before


def test_a_page_from_before_the_check_is_stale(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of passages that are all alike the check gives the id of the one that was mended to the next."""
    alike = [note(pitch) for pitch in ("C5", "C3", "C5", "C5")] * 3
    (place / "alike.xml").write_bytes(score([("Flute", alike)]))
    page = Page(place)
    go, whole = threading.Event(), web_session.check

    def held(*given: Any) -> Any:
        assert go.wait(LONG_S)
        return whole(*given)

    monkeypatch.setattr(web_session, "check", held)
    first = page.pieces("alike.xml")
    low = ids(first)[0]
    body: dict[str, object] = {"name": "alike.xml", "wanted": [[low, 1]], "id": low, "reason": "so be it"}
    early = page.post("take", {**body, "revision": first["revision"]}).json()
    assert early["checking"] and low not in ids(early)
    go.set()
    after = page.settled("alike.xml")
    assert low in ids(after)
    for path in ("take", "stand"):
        refused(page.post(path, {**body, "revision": early["revision"]}), 409)
    assert page.pieces("alike.xml") == after
    assert page.post("strike", {"name": "alike.xml", "number": 1, "revision": early["revision"]}).status_code == 200


def test_reasons(page: Page, place: Path) -> None:
    now = page.pieces()
    low = ids(now)[0]

    def stand(reason: object) -> httpx.Response:
        body = {"name": "tide.musicxml", "revision": now["revision"], "id": low, "reason": reason}
        return page.post("stand", body)

    for blank in ("", " ", "\n\t\u2003 "):
        assert "blank" in refused(stand(blank))
    assert "longer than 300" in refused(stand("x" * 301))
    refused(stand("x" * 50_000))
    assert not (place / "tide.deskproof.toml").exists()
    for good in ("x" * 300, 'q"\\\'\'\'"""', "]]\n[x]\n", "\0\x1b\x7f", "🎻 \u202e", "[[let_stand]]", "#"):
        assert stand(good).status_code == 200
        written = decisions.read(place / "tide.deskproof.toml")
        assert {key: one.reason for key, one in written.items()} == {low: " ".join(good.split())}
        page.sent("again", id=low)
    assert "not let stand" in refused(page.post("again", {"name": "tide.musicxml", "id": low}))


def test_our_own_fault_is_said_in_words(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = Page(place, fails=True)

    def broken(*_: object) -> str:
        raise ValueError("the strings have snapped")

    monkeypatch.setattr(OnDesk, "finding", broken)
    said = refused(page.get("finding", name="tide.musicxml", id="x"), 500)
    assert "snapped" not in said


def test_a_folder_with_far_too_much_in_it(page: Page, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page.pieces()
    monkeypatch.setattr(folder, "MAX_ENTRIES", 0)
    home = page.get("")
    assert home.status_code == 400
    assert "Open the folder with the scores in it." in home.text
    assert page.get("score", name="tide.musicxml").status_code == 200


# Files that are no scores


def packed(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", data)
    return out.getvalue()


BROKEN = {
    "letter.musicxml": b"Dear librarian, here is the score",
    "truncated.musicxml": TIDE[: len(TIDE) // 2],
    "empty.xml": b"",
    "page.xml": b"<html><body/></html>",
    "torn.mxl": packed(TIDE)[:80],
    "bomb.mxl": packed(b" " * (container.MAX_UNPACKED + 10)),
    "printed.mxl": b"%PDF-1.7\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n",
    "broken.mid": b"MThd\0\0\0\x06\0\x01\0\x01\x01\xe0MTrk\0\0\xff\xff\0\x90",
    "header.mid": b"MThd",
    "entities.musicxml": b'<!DOCTYPE score-partwise [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>' + TIDE[:80],
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_has_the_words_of_the_command_line(place: Path, name: str) -> None:
    (place / name).write_bytes(BROKEN[name])
    page = Page(place)
    said = refused(page.get("pieces", name=name))
    done = CliRunner().invoke(main, ["check", str(place / name)])
    assert (done.exit_code, done.stderr) == (2, f"deskproof: {said}\n")
    assert said == refused(page.post("compare", {"name": "tide.musicxml", "other": name}))
    assert refused(page.post("save", {"name": name, "as": "mended"})) == said
    assert page.scores.open() == ("tide.musicxml",)  # and the others can still be looked at
    (place / name).write_bytes(packed(TIDE) if name.endswith("mxl") else TIDE)  # a file that was mended meanwhile
    assert page.pieces(name)["title"] == "Proof of “Tide”"


# Scores that would like to be markup

HOSTILE = "</title></svg>\"'><script>boo()</script><img src=x onerror=boo()><b data-boo=1>&lt;i&gt;\u202e{{boo}}"
SPICE = (
    f"<direction><direction-type><words>{escape(HOSTILE)}</words></direction-type></direction>"
    f"<direction><direction-type><rehearsal>{escape(HOSTILE)}</rehearsal></direction-type></direction>"
)
LYRIC = f"<lyric><text>{escape(HOSTILE)}</text></lyric>"
HOSTILE_FILE = 'a"b\'<img src=x onerror=boo()>&amp;\n<body onload=boo()>.musicxml'
KNOWN = re.compile(r"[a-z0-9]+(-[a-z]+)*|xml:space", re.IGNORECASE)
TAGS = re.compile(
    "html|head|meta|title|link|body|main|header|section|article|nav|div|p|span|h[1-4]|ol|ul|li|em|a|button|form|label|"
    "input|select|option|fieldset|legend|details|summary|figure|figcaption|script|svg|g|path|defs|use|rect|line|circle|"
    "ellipse|polygon|polyline|text|tspan"
)


def no_markup_of_the_score(markup: str) -> str:
    """All text of a piece of HTML, after looking at every element and attribute of it."""
    tree = lxml.html.fragment_fromstring(markup, "div") if "<!DOCTYPE" not in markup else lxml.html.fromstring(markup)
    for element in tree.iter():
        assert isinstance(element.tag, str)
        assert TAGS.fullmatch(element.tag), element.tag
        assert element.tag != "script" or element.get("src", "").startswith(f"/{TOKEN}/static/")
        for name in element.attrib:
            assert KNOWN.fullmatch(str(name))
            assert not str(name).lower().startswith("on")
            assert name not in ("style", "data-boo", "onerror")
            if name in ("src", "href", "action", "formaction", "xlink:href"):
                assert str(element.get(name)).startswith((f"/{TOKEN}/", "#")) or element.get("href") == "data:,"
    assert "<script" not in markup.replace(f'<script type="module" src="/{TOKEN}/static/', "")
    return str(tree.text_content())


def test_nothing_in_a_score_is_markup(place: Path) -> None:
    tune = [SPICE + note("C5", more=LYRIC), note("C3", more=LYRIC), note("F#5", "sharp"), *TUNE[3:]]
    data = score([(HOSTILE, tune), (f"Flute {HOSTILE}", tune)], HOSTILE)
    root = etree.fromstring(data)
    for bar in root.iterfind("part/measure"):
        bar.set("number", f"{bar.get('number')}{HOSTILE}")
    for one in root.iterfind(".//score-part"):
        etree.SubElement(one, "part-abbreviation").text = HOSTILE
    etree.SubElement(root.find("work"), "work-number").text = HOSTILE
    data = etree.tostring(root)
    (place / HOSTILE_FILE).write_bytes(data)
    (place / "old <b data-boo=1>.xml").write_bytes(data.replace(b"<octave>3", b"<octave>4"))
    page = Page(place)
    listed = no_markup_of_the_score(page.get("").text)
    assert "a\"b'<img src=x onerror=boo()>&amp;" in listed
    shell = no_markup_of_the_score(page.get("score", name=HOSTILE_FILE).text)
    assert "<img src=x onerror=boo()>" in shell
    no_markup_of_the_score(page.get("score", name=HOSTILE).text)
    spoken = []
    for show in ("involved", "all", "P1", HOSTILE):
        pieces = page.pieces(HOSTILE_FILE, show=show)
        assert "<script>boo()</script>" in pieces["title"]  # set as text by the page
        spoken += [no_markup_of_the_score(pieces[key]) for key in ("head", "lists", "music")]
        for first, last in bars(pieces):
            picture = page.get("engraved", name=HOSTILE_FILE, first=first, last=last, show=show)
            assert picture.status_code == 200
            spoken.append(no_markup_of_the_score(picture.text))
    now = page.pieces(HOSTILE_FILE)
    rows = ids(now)
    assert rows
    for id_ in rows:
        spoken.append(no_markup_of_the_score(page.get("finding", name=HOSTILE_FILE, id=id_).text))
    own = {"name": HOSTILE_FILE}
    stands = page.post("stand", {**own, "revision": now["revision"], "id": rows[0], "reason": HOSTILE}).json()
    spoken.append(no_markup_of_the_score(stands["lists"]))
    took = page.post("take", {**own, "revision": now["revision"], "wanted": [[rows[1], 1]]}).json()
    spoken.append(no_markup_of_the_score(took["lists"]))
    found = page.post("compare", {**own, "other": "old <b data-boo=1>.xml"}).json()
    spoken.append(no_markup_of_the_score(found["html"]))
    assert sum("<script>boo()</script>" in one for one in spoken) > 10  # it was there all the time, as text
    assert any("<b data-boo=1>" in one for one in spoken)
    assert page.post("save", {**own, "as": "html"}).status_code == 200
    (saved,) = (path for path in place.iterdir() if path.suffix == ".html")
    assert b"<script>boo" not in saved.read_bytes()


# Saving


def test_nothing_is_written_over(page: Page, place: Path) -> None:
    """Neither the score nor what a person has put there, over links, and again and again."""
    theirs = {"tide-mended.musicxml": b"somebody's work", "tide-proof.json": b"{}"}
    for name, data in theirs.items():
        (place / name).write_bytes(data)
    (place / "tide-mended-2.musicxml").symlink_to("tide.musicxml")
    (place / "tide-proof-2.json").symlink_to("../private.musicxml")
    (place / "tide-proof.html").symlink_to("../new.html")
    (place / "tide-proof.pdf").mkdir()
    now = page.pieces()
    page.sent("take", revision=now["revision"], wanted=[[ids(now)[0], 1]])
    first = {kind: page.sent("save", **{"as": kind})["said"] for kind in ("mended", "json", "html", "pdf")}
    assert first == {
        "mended": "Wrote tide-mended-3.musicxml.", "json": "Wrote tide-proof-3.json.",
        "html": "Wrote tide-proof-2.html.", "pdf": "Wrote tide-proof-2.pdf.",
    }  # fmt: skip
    again = {kind: page.sent("save", **{"as": kind})["said"] for kind in first}
    assert again == first  # our own, and nobody has touched it
    (place / "tide-mended-3.musicxml").write_bytes(b"by hand")
    assert page.sent("save", **{"as": "mended"})["said"] == "Wrote tide-mended-4.musicxml."
    assert (place / "tide-mended-3.musicxml").read_bytes() == b"by hand"
    assert {name: (place / name).read_bytes() for name in theirs} == theirs
    assert (place / "tide.musicxml").read_bytes() == (place.parent / "private.musicxml").read_bytes() == TIDE
    assert not (place.parent / "new.html").exists()
    assert not [path for path in place.iterdir() if path.name.startswith(".")]


def test_decisions_are_not_written_over_a_link(page: Page, place: Path) -> None:
    theirs = place.parent / "theirs.toml"
    theirs.write_bytes(b"")
    (place / "tide.deskproof.toml").symlink_to(theirs)
    now = page.pieces()
    body = {"name": "tide.musicxml", "revision": now["revision"], "id": ids(now)[0], "reason": "so be it"}
    assert "a link" in refused(page.post("stand", body))
    assert "a link" in refused(page.post("again", body))
    assert theirs.read_bytes() == b""
    assert (place / "tide.deskproof.toml").is_symlink()


def test_a_folder_that_may_not_be_written(page: Page, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = page.pieces()
    page.sent("take", revision=now["revision"], wanted=[[ids(now)[0], 1]])
    now = page.settled()
    if os.geteuid():
        place.chmod(0o555)
    else:  # to root everything is open
        opens = os.open

        def closed(path: Any, flags: int, *more: Any, **named: Any) -> int:
            if flags & os.O_CREAT and str(place) in str(path):
                raise PermissionError(13, os.strerror(13))
            return opens(path, flags, *more, **named)

        monkeypatch.setattr(files.os, "open", closed)
        monkeypatch.setattr(files.os, "access", lambda *_: False)
    before = lying_in(place)
    for kind in ("mended", "json", "html", "pdf"):
        assert "cannot be written" in refused(page.post("save", {"name": "tide.musicxml", "as": kind}))
    body = {"name": "tide.musicxml", "revision": now["revision"], "id": ids(now)[0], "reason": "so be it"}
    assert "locked for writing" in refused(page.post("stand", body))
    assert lying_in(place) == before
    assert page.pieces() == now  # what was taken is still there
    monkeypatch.undo()
    place.chmod(0o755)
    assert page.sent("save", **{"as": "mended"})["said"] == "Wrote tide-mended.musicxml."


def test_two_scores_of_one_stem_saved_at_one_moment(page: Page, place: Path) -> None:
    (place / "tide.xml").write_bytes(TIDE.replace(b"Tide", b"Ebb!"))
    for name in ("tide.musicxml", "tide.xml"):
        page.pieces(name)
    for k in range(10):
        for made in place.glob("tide-mended*"):
            made.unlink()
        at_once([lambda n=n: page.post("save", {"name": n, "as": "mended"}) for n in ("tide.musicxml", "tide.xml")])
        assert {path.read_bytes() for path in place.glob("tide-mended*")} == {
            TIDE, TIDE.replace(b"Tide", b"Ebb!"),
        }, k  # fmt: skip


def test_a_check_that_failed_gives_no_proof(page: Page, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = page.pieces()

    def fails(*_: object) -> None:
        raise RuntimeError("the strings have snapped")

    monkeypatch.setattr(web_session, "check", fails)
    page.sent("take", revision=now["revision"], wanted=[[ids(now)[0], 1]])
    assert "snapped" in page.settled()["lists"]
    for kind in ("html", "pdf", "json"):
        assert "could not be checked" in refused(page.post("save", {"name": "tide.musicxml", "as": kind}))
    assert page.sent("save", **{"as": "mended"})["said"] == "Wrote tide-mended.musicxml."


# A MIDI file


def test_all_of_a_large_midi_file_is_answered(tmp_path: Path) -> None:
    """With keyboards and harps in it, whose findings would have charts under engraved bars."""
    (tmp_path / "morning.mid").write_bytes(shared("boulanger-matin-bars-1-100.mid").read_bytes())
    page = Page(tmp_path)
    now = page.pieces("morning.mid")
    assert ids(now) and bars(now)
    for id_ in ids(now):
        assert page.get("finding", name="morning.mid", id=id_).status_code == 200
    for first, last in bars(now):
        assert page.get("engraved", name="morning.mid", first=first, last=last).status_code == 200
        assert page.get("tones", name="morning.mid", first=first, last=last).json()["tones"]


def test_a_midi_file_is_gone_through_without_a_picture(place: Path) -> None:
    midi(place / "tide.mid")
    page = Page(place)
    now = page.pieces("tide.mid")
    (low,), ((first, last),) = ids(now), bars(now)
    answer = page.get("engraved", name="tide.mid", first=first, last=last)
    assert answer.status_code == 200
    assert "A MIDI file has no page to engrave" in answer.text
    heard = page.get("tones", name="tide.mid", first=first, last=last).json()["tones"]
    assert [one["midi"] for one in heard] == [76.0, 50.0, 76.0]
    inside = page.get("finding", name="tide.mid", id=low)
    assert inside.status_code == 200
    assert "an octave higher (nothing is written)" in inside.text
    assert "data-take" not in inside.text
    for kind, command in (("mended", "mend"), ("html", "report"), ("pdf", "report")):
        said = refused(page.post("save", {"name": "tide.mid", "as": kind}))
        done = CliRunner().invoke(main, [command, str(place / "tide.mid"), "-o", str(place / "no")])
        assert (done.exit_code, done.stderr) == (2, f"deskproof: {said}\n")
    assert page.post("save", {"name": "tide.mid", "as": "json"}).json() == {"said": "Wrote tide-proof.json."}
    body = {"name": "tide.mid", "revision": now["revision"], "id": low, "reason": "it is played so"}
    assert ids(page.post("stand", body).json()) == []


# Which pictures are drawn again


def test_the_pictures_that_a_mend_changes(page: Page) -> None:
    """Of a note those of its own bars; of a clef those of all bars behind it; of other parts none."""
    with page.scores.on_desk("tide.musicxml") as desk:
        view = desk.session.view()

        def keys(part: str, *edits: Edit) -> list[str]:
            mended = replace(view, document=view.document.with_edits(edits)) if edits else view
            shown = Shown(part, True)
            rows = systems(view.report.state, view.asked, part, True)
            assert len(rows) > 2
            return [desk._key(mended, one, shown) for one in rows]

        last = len(keys("P1")) - 1
        higher, clef = SetOctave(NoteRef("P1", 1, 0), 4), SetClef(NoteRef("P1", 1, 0), "F", 4)
        for edit, changed in ((higher, {0}), (clef, set(range(last + 1)))):
            before, after = keys("P1"), keys("P1", edit)
            assert {k for k in range(last + 1) if before[k] != after[k]} == changed
            assert keys("P2", edit) == keys("P2")


# Two pages, many threads


def at_once(works: Sequence[Callable[[], Any]]) -> list[Any]:
    """What each of the works gave, all begun at one moment; an exception fails the test."""
    start = threading.Barrier(len(works))
    found: list[Any] = [None] * len(works)
    errors: list[BaseException] = []

    def run(k: int) -> None:
        start.wait(LONG_S)
        try:
            found[k] = works[k]()
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=run, args=(k,), daemon=True) for k in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(LONG_S)
    assert not errors
    assert not any(thread.is_alive() for thread in threads), "they wait for each other"
    return found


def test_two_pages_let_findings_stand(page: Page, place: Path) -> None:
    now = page.pieces()
    rows = ids(now)

    def own(k: int) -> None:
        for id_ in rows[k::2]:
            page.sent("stand", revision=now["revision"], id=id_, reason=f"reason of {id_}")

    at_once([lambda: own(0), lambda: own(1)])
    written = decisions.read(place / "tide.deskproof.toml")
    assert {key: one.reason for key, one in written.items()} == {id_: f"reason of {id_}" for id_ in rows}
    assert ids(page.pieces()) == []


def test_two_pages_take_on_one_revision(page: Page, place: Path) -> None:
    now = page.pieces()
    rows = [id_ for id_ in ids(now) if "an octave higher" in page.get("finding", name="tide.musicxml", id=id_).text][:4]
    body = {"name": "tide.musicxml", "revision": now["revision"]}
    answers = at_once([lambda id_=id_: page.post("take", {**body, "wanted": [[id_, 1]]}) for id_ in rows])
    assert sorted(one.status_code for one in answers) == [200, 409, 409, 409]
    for one in answers:
        if one.status_code == 409:
            refused(one, 409)
    (won,) = (id_ for id_, one in zip(rows, answers, strict=True) if one.status_code == 200)
    after = page.settled()
    assert len(re.findall("data-strike", after["lists"])) == 1
    assert won not in ids(after)
    assert len(ids(after)) == len(ids(now)) - 1
    page.sent("save", **{"as": "mended"})
    assert (place / "tide-mended.musicxml").read_bytes().count(b"<octave>3<") == TIDE.count(b"<octave>3<") - 1 == 7


def test_many_ask_while_mends_are_taken(page: Page) -> None:
    """Each gets an answer, or is told in words that what it asked for is no longer there."""
    first = page.pieces()
    over = threading.Event()
    seen: set[tuple[str, int]] = set()

    def ask(path: str, given: Callable[[dict[str, Any]], dict[str, object]]) -> None:
        k = 0
        while not over.is_set() or k == 0:
            now = page.pieces(narrow="1" if k % 2 else "")
            answer = page.get(path, name="tide.musicxml", narrow="1" if k % 2 else "", **given(now))
            seen.add((path, answer.status_code))
            if answer.status_code != 200:
                refused(answer)
            k += 1

    def one_finding(now: dict[str, Any]) -> dict[str, object]:
        return {"id": (ids(now) or ["none"])[0], "mend": 1, "after": 1}

    def some_bars(now: dict[str, Any]) -> dict[str, object]:
        first, last = (bars(now) or [("0", "0")])[-1]
        return {"first": first, "last": last}

    def change(path: str, given: Callable[[dict[str, Any]], dict[str, object]]) -> None:
        """Once the page knows enough: a check that has ended meanwhile is told as 409, and nothing was done."""
        until = time.monotonic() + LONG_S
        while time.monotonic() < until:
            now = page.pieces()
            answer = page.post(path, {"name": "tide.musicxml", "revision": now["revision"], **given(now)})
            if answer.status_code == 200:
                return
            refused(answer, answer.status_code)
        raise AssertionError(answer.text)

    def take() -> None:
        try:
            for _ in range(4):
                change("take", lambda now: {"wanted": [[ids(now)[0], 1]]})
            for number in (2, 1):
                change("strike", lambda now, number=number: {"number": number})
            page.sent("save", **{"as": "mended"})
            page.sent("save", **{"as": "json"})
        finally:
            over.set()

    at_once([
        take, *(lambda: ask("engraved", some_bars) for _ in range(3)), lambda: ask("tones", some_bars),
        *(lambda: ask("finding", one_finding) for _ in range(3)), lambda: ask("mend-tones", one_finding),
    ])  # fmt: skip
    assert {path for path, status in seen if status == 200} == {"engraved", "tones", "finding", "mend-tones"}
    after = page.settled()
    assert len(re.findall("data-strike", after["lists"])) == 2
    assert len(ids(after)) == len(ids(first)) - 2


# Which scores are open


def test_a_score_is_opened_when_it_is_asked_for(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for k in range(200):
        (place / f"piece {k:03}.xml").write_bytes(TIDE)
    read: list[str] = []
    reads = document.read
    monkeypatch.setattr(document, "read", lambda path: read.append(path.name) or reads(path))
    page = Page(place)
    assert page.get("").text.count("<li>") == 201
    page.get("score", name="piece 007.xml")
    assert read == []
    assert len(page.pieces("piece 007.xml")["others"]) == 200
    page.pieces("piece 007.xml")
    assert read == ["piece 007.xml"]
    at_once([lambda: page.pieces("piece 008.xml")] * 4)
    assert read == ["piece 007.xml", "piece 008.xml"]


def test_few_scores_stay_open(place: Path) -> None:
    for k in range(12):
        (place / f"{k}.xml").write_bytes(TIDE)
    page = Page(place)
    mended = page.pieces("0.xml")
    page.post("take", {"name": "0.xml", "revision": mended["revision"], "wanted": [[ids(mended)[0], 1]]})
    mended = page.settled("0.xml")
    for k in range(1, 12):
        page.pieces(f"{k}.xml")
        page.pieces("3.xml")
        assert len(page.scores.open()) <= app.KEPT_OPEN + 1
    assert app.KEPT_OPEN == 8
    kept = page.scores.open()
    assert set(kept) == {"0.xml", "3.xml", *(f"{k}.xml" for k in range(5, 12))}
    assert page.pieces("0.xml") == mended
    now = page.pieces("1.xml")  # read again
    page.post("take", {"name": "1.xml", "revision": now["revision"], "wanted": [[ids(now)[0], 1]]})
    assert len(re.findall("data-strike", page.settled("1.xml")["lists"])) == 1


def test_a_score_in_use_stays_open(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A mend that is just being taken must not land in a score that was forgotten meanwhile."""
    monkeypatch.setattr(app, "KEPT_OPEN", 1)
    for k in range(3):
        (place / f"{k}.xml").write_bytes(TIDE)
    page = Page(place)
    now = page.pieces("0.xml")
    low = ids(now)[0]
    with page.scores.on_desk("0.xml") as desk:
        for k in (1, 2, 1):
            page.pieces(f"{k}.xml")
        assert "0.xml" in page.scores.open()
        desk.session.take(desk.session.view().revision, [(low, 1)])
    assert low not in ids(page.settled("0.xml"))
    assert set(page.scores.open()) == {"0.xml", "1.xml"}


# A file that changes on the disk

NEWER = score([("Flute", TUNE), ("Oboe", TUNE)], "A newer tide")


def test_a_score_that_has_changed_is_read_when_its_page_is_loaded(page: Page, place: Path) -> None:
    first = page.pieces()
    assert "has been changed" not in first["head"]
    (place / "tide.musicxml").write_bytes(NEWER)
    now = page.pieces()
    assert now["title"] == first["title"]
    assert "load the page again" in now["head"]
    assert now["revision"] == first["revision"]
    page.get("score", name="tide.musicxml")
    now = page.pieces()
    assert now["title"] == "Proof of “A newer tide”"
    assert "has been changed" not in now["head"]


def test_a_score_that_has_changed_under_mends(page: Page, place: Path) -> None:
    """They are not lost, and neither is the newer score."""
    now = page.pieces()
    page.sent("take", revision=now["revision"], wanted=[[ids(now)[0], 1]])
    now = page.settled()
    page.sent("save", **{"as": "mended"})
    mended = (place / "tide-mended.musicxml").read_bytes()
    (place / "tide.musicxml").write_bytes(NEWER)
    page.get("score", name="tide.musicxml")
    after = page.pieces()
    assert (after["revision"], after["title"], after["lists"]) == (now["revision"], now["title"], now["lists"])
    assert "take back what was taken" in after["head"]
    said = page.sent("save", **{"as": "mended"})["said"]
    assert said.startswith("Wrote tide-mended.musicxml. The score has been changed since it was read here")
    assert (place / "tide.musicxml").read_bytes() == NEWER
    assert (place / "tide-mended.musicxml").read_bytes() == mended

    (place / "tide.musicxml").unlink()
    assert page.pieces()["lists"] == now["lists"]
    assert "Put it back" in refused(page.post("save", {"name": "tide.musicxml", "as": "mended"}))
    (place / "tide.musicxml").write_bytes(TIDE)
    assert page.sent("save", **{"as": "mended"})["said"].startswith("Wrote tide-mended.musicxml.")


def test_the_demo_has_a_picture_for_every_system_and_words_for_every_finding(tmp_path: Path) -> None:
    (tmp_path / "demo.musicxml").write_bytes(DEMO.read_bytes())
    page = Page(tmp_path)
    for show in ("involved", "all"):
        now = page.pieces("demo.musicxml", show=show)
        assert bars(now)
        for first, last in bars(now):
            answer = page.get("engraved", name="demo.musicxml", first=first, last=last, show=show)
            assert answer.text.startswith("<svg"), (first, last, html.unescape(answer.text)[:200])
    for id_ in ids(page.pieces("demo.musicxml")):
        assert page.get("finding", name="demo.musicxml", id=id_).status_code == 200
