"""One score on the desk of the server: its session, and the pictures, footnotes and tones that its pages ask for."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from deskproof.check import Report
from deskproof.document import Document
from deskproof.edits import Edit, reaching, touched
from deskproof.engrave.marks import picture
from deskproof.engrave.render import EngraveError
from deskproof.engrave.slice import Bars, Desk
from deskproof.errors import DeskproofError
from deskproof.findings import Finding
from deskproof.footnotes import Footnotes, capital
from deskproof.forces import Forces
from deskproof.state import State
from deskproof.tones import Tone, length_s, tones
from deskproof.web import pages, sampled
from deskproof.web.session import Session
from deskproof.web.systems import EVERYTHING, System, systems
from deskproof.web.view import Asked, View

CHANGED = "The file has been changed since it was read: load the page again to read it anew."
CHANGED_TAKEN = (
    "The file has been changed since it was read; this page, and what is saved from it, show it as it was. "
    "To read it anew, take back what was taken and load the page again."
)
HIGHEST_PX, HIGHEST_NARROW_PX = 1800.0, 900.0  # a full score is made smaller to this


@dataclass(frozen=True, slots=True)
class Prints:
    """What the pages print that is made elsewhere: words, JSON, the proof as a page and as PDF, and its style sheet."""

    header: Callable[[State, str], str]
    summary: Callable[[Sequence[Finding]], str]
    record: Callable[..., dict[str, Any]]
    html: Callable[[Document, Report, Sequence[Finding], str], str]
    pdf: Callable[[Document, Report, Sequence[Finding], str], bytes]
    sheet: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What a page wants to see: the parts (see ``systems``), and whether it is narrow."""

    show: str
    narrow: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """Bars of some parts to be heard, with edits in them."""

    state: State
    parts: tuple[int, ...]
    first: int
    last: int
    edits: tuple[Edit, ...] = ()

    def tones(self) -> list[Tone]:
        """Their tones."""
        return tones(self.state, self.parts, self.first, self.last, self.edits)

    def record(self) -> dict[str, Any]:
        """What the page gets to play them."""
        rows = [
            {"at_s": t.at_s, "for_s": t.for_s, "midi": t.midi, "notes": [str(ref) for ref in t.notes]}
            for t in self.tones()
        ]
        return {"length_s": length_s(self.state, self.first, self.last), "tones": rows}


class OnDesk:
    """A score that is open. Its methods may be called from several threads."""

    def __init__(self, path: Path, name: str, forces: Forces, prints: Prints) -> None:
        self.name, self.prints = name, prints
        self._was = _as_it_lies(path)  # before it is read: a change in between is noticed
        self.session = Session(path, forces, record=prints.record)
        self._lock = threading.Lock()
        self._drawn: tuple[str, Desk] | None = None
        self._notes: tuple[Report, Footnotes] | None = None
        self._here = sampled.instruments_here()

    @property
    def bare(self) -> bool:
        """Whether nothing would be lost if the score were read again: no mend is taken, nothing is being checked."""
        view = self.session.view()
        return not view.taken and not view.checking

    @property
    def changed(self) -> bool:
        """Whether the file is no longer the one that was read."""
        return _as_it_lies(self.session.path) != self._was

    @property
    def gone(self) -> bool:
        """Whether there is no file any more."""
        return not _as_it_lies(self.session.path)

    def pieces(self, shown: Shown, said: str = "") -> dict[str, Any]:
        """All that a page shows, as HTML in pieces, and what it must know of the session."""
        view = self.session.view()
        state = view.report.state
        rows = systems(state, view.asked, shown.show, shown.narrow)
        title = state.score.title
        findings = [one.finding for one in view.asked]
        header = self.prints.header(state, self.name).replace(str(self.session.path), self.name)
        lines = header.split("\n")
        if self.changed:
            lines.append(CHANGED_TAKEN if view.taken else CHANGED)
        lines.append(self.prints.summary(findings))
        return {
            "revision": stamp(view),
            "checking": view.checking,
            "may_take": view.may_take,
            "keeping": len(view.keeping_sound),
            "title": f"Proof of “{title}”" if title else f"Proof of {self.name}",
            "head": pages.head(lines),
            "parts": [(part.id, part.name or part.id) for part in state.score.parts],
            "lists": pages.lists(view),
            "music": pages.music(state, rows, [self._key(view, one, shown) for one in rows]),
            "said": said,
            "soundfont": self._here.name if self._here else "",
            "sound": capital(sampled.says(self._here)) + ".",
        }

    def _key(self, view: View, one: System, shown: Shown) -> str:
        """Changes when the picture of a system would."""
        names = [view.report.state.score.parts[i].id for i in one.parts]
        bars = range(one.first, one.last + 1)
        places = {edit: touched([edit]) for edit in view.document.edits}
        edits = [edit for edit, own in places.items() if any(own.get(name, set()) & set(bars) for name in names)]
        edits += [edit for edit in places if any(m < one.first for n, m in reaching([edit]).items() if n in names)]
        marks = [(mark.number, mark.level, mark.notes) for mark in one.marks()]
        text = repr((one.first, one.last, names, edits, marks, shown))
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def engraved(self, shown: Shown, first: int, last: int) -> str:
        """The picture of one system with its marks, as SVG.

        Raises
        ------
        DeskproofError
            If there is no such system.
        """
        view = self.session.view()
        state = view.report.state
        one = self._system(view, shown, first, last)
        parts = tuple(state.score.parts[i].id for i in one.parts)
        bars = Bars(parts, first, last, names=len(parts) > 1 or first == 0)
        words = pages.bars_words(state, one)
        with self._lock:
            if self._drawn is None or self._drawn[0] != view.revision:
                self._drawn = view.revision, Desk(view.document)
            try:
                engraving = self._drawn[1].engraving(bars)
            except EngraveError as error:
                return f"<p>{pages.e(str(error))}</p>"
        highest = (HIGHEST_NARROW_PX if shown.narrow else HIGHEST_PX) if shown.show == EVERYTHING else None
        drawn = picture(engraving, one.marks(), words, f"s{first}-", highest_px=highest)
        return drawn.svg

    def _system(self, view: View, shown: Shown, first: int, last: int) -> System:
        for one in systems(view.report.state, view.asked, shown.show, shown.narrow):
            if (one.first, one.last) == (first, last) and one.parts:
                return one
        raise DeskproofError("no such bars are shown; load the page again.")

    def finding(self, id_: str) -> str:
        """What is behind a finding, as HTML.

        Raises
        ------
        DeskproofError
            If it is not asked any more.
        """
        view = self.session.view()
        one = self._asked(view, id_)
        with self._lock:
            if self._notes is None or self._notes[0] is not view.report:
                self._notes = view.report, Footnotes(view.checked, view.report.state, ids=True)
            return pages.details(self._notes[1], one, not view.may_take)

    @staticmethod
    def _asked(view: View, id_: str) -> Asked:
        for one in view.asked:
            if one.finding.id == id_:
                return one
        raise DeskproofError("this finding is not asked any more.")

    def heard(self, shown: Shown, first: int, last: int) -> Heard:
        """The bars of one system to be heard, as the score is mended so far."""
        view = self.session.view()
        one = self._system(view, shown, first, last)
        return Heard(view.report.state, one.parts, first, last)

    def mend_heard(self, id_: str, number: int, after: bool) -> Heard:
        """The bars that a mend changes to be heard, before or after it.

        Raises
        ------
        DeskproofError
            If the mend is not offered any more.
        """
        view = self.session.view()
        one = self._asked(view, id_)
        mends = one.finding.mends
        if not 1 <= number <= len(mends) or not mends[number - 1].edits:
            raise DeskproofError("this mend is not offered any more.")
        state, edits = view.report.state, mends[number - 1].edits
        places = touched(edits)
        measures = {m for ms in places.values() for m in ms}
        parts = tuple(i for i, part in enumerate(state.score.parts) if part.id in places)
        return Heard(state, parts, min(measures), max(measures), edits if after else ())

    def sampled(self, heard: Heard) -> bytes:
        """Bars played with the machine's soundfont, as a WAV file.

        Raises
        ------
        DeskproofError
            If the machine has none, or it fails.
        """
        if self._here is None:
            raise DeskproofError("no soundfont is on this machine; hear plain tones.")
        firsts = {i: heard.state.lines[i].first for i in heard.parts}
        programs = {i: one.programs[0] for i, one in firsts.items() if one is not None and one.programs}
        return sampled.wav(heard.tones(), programs, self._here.soundfont)

    def saved(self, kind: str) -> tuple[str, bytes]:
        """What is to be written: the ending of the file's name, and its bytes. Waits for the check.

        Raises
        ------
        DeskproofError
            For a kind that is none, if the check failed, or for a page of a MIDI file.
        """
        view = self.session.wait()
        if view.document.steps != view.checked.steps:
            raise DeskproofError(view.error or "the check has not ended; save again.")
        findings = [one.finding for one in view.asked]
        if kind == "json":
            import json

            text = json.dumps(self.session.json(), ensure_ascii=False, indent=1)
            return "-proof.json", text.encode()
        if kind in ("html", "pdf"):
            view.document.needs_musicxml(self.session.path, "the proof is engraved from MusicXML")
        if kind == "html":
            return "-proof.html", self.prints.html(view.checked, view.report, findings, self.name).encode()
        if kind == "pdf":
            return "-proof.pdf", self.prints.pdf(view.checked, view.report, findings, self.name)
        raise DeskproofError(f"nothing is saved as {kind!r}.")


def stamp(view: View) -> str:
    """What a page must have seen to change something: the score as mended so far, and which of it was checked.

    The check may give the id of a finding to another passage that is just like it, and count mends anew.
    """
    return f"{view.revision}-{len(view.checked.steps)}"


def _as_it_lies(path: Path) -> tuple[int, ...]:
    """What tells whether a file was written anew; empty if it is not there."""
    try:
        status = path.stat()
    except OSError:
        return ()
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns
