"""One score open in the browser: mends taken and taken back, findings let stand. No HTTP here.

Two pages may share a session. Every method takes the lock for a moment, and none holds it during a whole check: after
a mend is taken, what it has solved is gone from the view at once, and the whole score is checked in the background.
Only the newest check counts. Mends taken while it runs join those taken just before, because they were all offered for
the document checked last; so their edits name the notes of that document.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from deskproof import decisions, files
from deskproof.check import check
from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.mending import MendError
from deskproof.opening import opened
from deskproof.places import where
from deskproof.web import choosing, moment
from deskproof.web.moment import Known, Moment
from deskproof.web.taken import without
from deskproof.web.view import Compared, Gone, Numbers, Struck, Took, View, looked_at

Record = Callable[..., dict[str, Any]]  # (state, findings, file, silenced=...) -> what becomes JSON
KEPT = 3  # reports kept, so that taking back the mend taken last needs no new check


class StaleRevision(DeskproofError):
    """The score has changed since the page was shown; nothing was done. ``view`` is the present one."""

    def __init__(self, view: View) -> None:
        super().__init__("the score has changed since this page was shown; nothing was done. Look again, then choose.")
        self.view = view


class StillChecking(DeskproofError):
    """A mend was taken back, and what is offered is known only after the check."""


class Session:
    """A score open in the browser.

    Parameters
    ----------
    path : Path
        The score. It is never written.
    forces : Forces
        The players in the room.
    parts : sequence of str, optional
        Names or ids of the parts to check; all if absent.
    record : callable, optional
        What puts a checked score into the JSON of ``check``, for ``json``; (state, findings, file, silenced=...).

    Raises
    ------
    DeskproofError
        If the score or its decisions cannot be read, a part is not there, or the forces name a section it has not.
    """

    def __init__(
        self, path: Path, forces: Forces, parts: Sequence[str] | None = None, record: Record | None = None
    ) -> None:
        self.path, self.forces = path, forces
        self._names, self._record = tuple(parts or ()), record
        self._lock = threading.Condition()
        own = opened(path, forces, self._names)
        self._first, self._parts = own.document, own.parts
        known = Known(own.document, own.document.written(), own.report)
        self._known = {known.document.steps: known}  # the last few documents that were checked, the newest last
        self._now = moment.checked(known)
        self._decisions = decisions.read(decisions.beside(path))
        self._pool = ThreadPoolExecutor(1, "check")
        self._order = 0  # counts the checks; only the newest matters
        self._checking = False
        self._error = ""
        self._last = 0  # the number given to a mend last
        self._numbers = Numbers()
        self._view = self._looked_at()

    def view(self) -> View:
        """The session as it is at this moment."""
        with self._lock:
            return self._view

    def take(self, revision: str, wanted: Sequence[tuple[str, int]]) -> Took:
        """Take mends, several together; each is (finding id, number of the mend from 1).

        Those that clash with another, or would bring new findings with it, are left and named.

        Raises
        ------
        StaleRevision
            If ``revision`` is not the present one; nothing is taken.
        MendError
            For a mend that is not offered or is advice; nothing is taken.
        StillChecking
            If a mend was taken back and the check has not caught up.
        """
        with self._lock:
            self._fresh(revision)
            now = self._now
            if not now.fits:
                raise StillChecking(self._error or "a mend was taken back; take another once that is checked.")
            asked = [one.finding for one in self._view.asked]
            taken, left = choosing.chosen(now, asked, wanted, self._last)
            if taken:
                self._settle(moment.after(self._first, (*now.closed, (*now.open, *taken)), self._known, now))
                self._last = taken[-1].number
            return Took(self._view, taken, left)

    def strike(self, revision: str, number: int) -> Struck:
        """Take one mend back by its number in the list: document 0 is replayed with the others.

        A later mend whose notes no longer stand as they stood is dropped and named; see ``web/taken.py``.

        Raises
        ------
        StaleRevision
            If ``revision`` is not the present one; nothing is taken back.
        MendError
            If no mend in the list has the number.
        """
        with self._lock:
            self._fresh(revision)
            now, known = self._now, dict(self._known)
        if number not in {mend.number for mends in now.rounds for mend in mends}:
            raise MendError(f"no mend {number} among those taken. Look at the list again.")
        rounds, dropped = without(self._first, now.rounds, number)
        after = moment.after(self._first, rounds, known, now)  # writes every round, so not under the lock
        with self._lock:
            self._fresh(revision)
            self._settle(after)
            return Struck(self._view, dropped)

    def let_stand(self, revision: str, finding_id: str, reason: str) -> View:
        """Let a finding stand for a reason, which is kept beside the score and holds for the next export.

        Raises
        ------
        StaleRevision
            If ``revision`` is not the present one; nothing is written.
        DeskproofError
            If the reason is blank, the finding is not asked, or the decisions cannot be written.
        """
        with self._lock:
            self._fresh(revision)
            one = next((one for one in self._view.asked if one.finding.id == finding_id), None)
            if one is None:
                raise DeskproofError(f"no finding {finding_id!r} is asked in this score. Look again.")
            if not reason.strip():
                raise DeskproofError(f"{one.where}: say in a word why it may stand; the reason is blank.")
            figures = decisions.figures(one.finding)
            decision = decisions.Decision(finding_id, one.finding.rule.id, one.where, reason.strip(), figures)
            decisions.add(decisions.beside(self.path), decision)
            return self._decided()

    def ask_again(self, finding_id: str) -> View:
        """Take back that a finding was let stand.

        Raises
        ------
        DeskproofError
            If it was not let stand, or the decisions cannot be written.
        """
        with self._lock:
            beside = decisions.beside(self.path)
            if not decisions.remove(beside, finding_id):
                raise DeskproofError(f"{beside}: {finding_id!r} is not let stand. Look again.")
            return self._decided()

    def save(self, target: Path, force: bool = False) -> Path:
        """Write the score as mended so far, .mxl or plain by the name; the original is never written over.

        Raises
        ------
        DeskproofError
            If it is the original, is there already (without ``force``), or cannot be written; or for a MIDI file.
        """
        files.may_write(target, self.path, force)
        files.write_whole(target, self._bytes(target.suffix.lower() == ".mxl"))
        return target

    def mended(self) -> tuple[str, bytes]:
        """The score as mended so far, .mxl if it was: the ending of the copy's name, and its bytes.

        Raises
        ------
        DeskproofError
            For a MIDI file.
        """
        packed = self.path.suffix.lower() == ".mxl"
        return f"-mended{'.mxl' if packed else '.musicxml'}", self._bytes(packed)

    def _bytes(self, packed: bool) -> bytes:
        with self._lock:
            box, data = self._now.document.container, self._now.data
        self._first.needs_musicxml(self.path, "mends are written into MusicXML")
        return box.compressed(data) if packed else data

    def json(self) -> dict[str, Any]:
        """The same as ``check --json`` of the score as mended so far. Waits for the check.

        Raises
        ------
        DeskproofError
            If the check failed.
        """
        if self._record is None:
            raise TypeError("this session was opened without a record for its JSON")
        view = self._checked()
        silenced = [(one.finding.id, one.reason) for one in view.let_stand]
        asked = [one.finding for one in view.asked]
        return self._record(view.report.state, asked, str(self.path), silenced=silenced)

    def compare(self, other: Path) -> Compared:
        """What is new, gone and still there since an older export, by the music. Waits for the check.

        Raises
        ------
        DeskproofError
            If the other file cannot be read, or the check failed.
        """
        before = opened(other, self.forces, self._names).report
        view = self._checked()
        now, had = {one.id for one in view.report.findings}, {one.id for one in before.findings}
        return Compared(
            str(other),
            tuple(one for one in view.asked if one.finding.id not in had),
            tuple(Gone(one, where(before.state, one)) for one in before.findings if one.id not in now),
            tuple(one for one in view.asked if one.finding.id in had),
        )

    def wait(self) -> View:
        """The view once no check is running."""
        with self._lock:
            self._lock.wait_for(lambda: not self._checking)
            return self._view

    def close(self) -> None:
        """Forget the checks that wait; one that runs ends by itself and is thrown away."""
        with self._lock:
            self._order += 1
            self._checking = False
            self._lock.notify_all()
        self._pool.shutdown(wait=False, cancel_futures=True)

    # What follows is called with the lock held, but for _check and _checked.

    def _fresh(self, revision: str) -> None:
        if revision != self._view.revision:
            raise StaleRevision(self._view)

    def _decided(self) -> View:
        self._decisions = decisions.read(decisions.beside(self.path))
        self._view = self._looked_at()
        return self._view

    def _settle(self, now: Moment) -> None:
        """Go on from here; a document that is not known yet is checked in the background."""
        self._now, self._error = now, ""
        self._order += 1
        self._checking = not now.settled
        if now.fits:
            self._remember(now.base)
        if self._checking:
            self._pool.submit(self._check, self._order, now)
        self._view = self._looked_at()
        self._lock.notify_all()

    def _remember(self, base: Known) -> None:
        """Keep this report and the last few others."""
        self._known.pop(base.document.steps, None)
        self._known[base.document.steps] = base
        for steps in list(self._known)[:-KEPT]:
            del self._known[steps]

    def _check(self, order: int, now: Moment) -> None:
        """The whole check, in the background. It counts only if nothing was taken or taken back meanwhile."""
        with self._lock:
            if order != self._order:
                return
        report, error = None, ""
        try:
            report = check(now.document.score, self.forces, self._parts)
        except Exception as failed:  # whatever it is: the list of mends taken must not be lost by it
            error = f"the score as mended could not be checked ({failed or type(failed).__name__})."
        with self._lock:
            if order != self._order:
                return
            if report is not None:
                self._now = moment.checked(Known(now.document, now.data, report), now.rounds)
                self._remember(self._now.base)
            self._checking, self._error = False, error
            self._view = self._looked_at()
            self._lock.notify_all()

    def _checked(self) -> View:
        """The view of a document that was checked; waits for it."""
        with self._lock:
            self._lock.wait_for(lambda: not self._checking)
            if not self._now.settled:
                raise DeskproofError(f"{self.path}: {self._error or 'the session was closed.'}")
            return self._view

    def _looked_at(self) -> View:
        return looked_at(self._now, self._decisions, self._numbers, self._checking, self._error)
