"""What the pages get to see of a session: one frozen record, the same for all who look at one moment."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from deskproof.check import Report
from deskproof.decisions import Decision, silenced
from deskproof.document import Document
from deskproof.findings import Effect, Finding
from deskproof.places import where
from deskproof.state import State
from deskproof.web.moment import Moment
from deskproof.web.taken import TakenMend


@dataclass(frozen=True, slots=True)
class Asked:
    """A finding with the number of its ring, which it keeps while the session lasts, and its place in words."""

    number: int
    finding: Finding
    where: str


@dataclass(frozen=True, slots=True)
class LetStand:
    """A finding that was let stand, and why."""

    number: int
    finding: Finding
    where: str
    reason: str


@dataclass(frozen=True, slots=True)
class View:
    """A session at one moment.

    ``revision`` is the SHA-256, in hex, of the MusicXML as mended so far (of an .mxl: of the score in it). ``asked``
    are the findings still asked, ``let_stand`` those let stand, both in score order; ``taken`` is the list of mends
    taken so far. While ``checking``, what the mends taken have solved is gone already, and what they cause may be
    missing yet. ``may_take`` is false until a check has caught up with a mend that was taken back. ``error`` says why
    the last check failed, "" if it did not.

    ``document`` is the score as mended so far. ``report`` was made for ``checked``, and the notes of its findings and
    mends are those of that document; when nothing is being checked the two documents are one.
    """

    revision: str
    asked: tuple[Asked, ...]
    let_stand: tuple[LetStand, ...]
    taken: tuple[TakenMend, ...]
    checking: bool
    may_take: bool
    error: str
    document: Document = field(repr=False)
    checked: Document = field(repr=False)
    report: Report = field(repr=False)

    @property
    def keeping_sound(self) -> tuple[tuple[str, int], ...]:
        """Of each finding asked the first mend that keeps the sound, as ``take`` wants it: (finding id, number)."""
        firsts = (
            (one.finding.id, next((k for k, m in enumerate(one.finding.mends, 1) if m.effect is Effect.KEEPS_SOUND), 0))
            for one in self.asked
        )
        return tuple((id_, k) for id_, k in firsts if k)


@dataclass(frozen=True, slots=True)
class Left:
    """A mend that was wanted and not taken, and why."""

    finding: str
    number: int
    says: str
    why: str


@dataclass(frozen=True, slots=True)
class Took:
    """What ``take`` did: the view now, the mends taken, and those left."""

    view: View
    taken: tuple[TakenMend, ...]
    left: tuple[Left, ...]


@dataclass(frozen=True, slots=True)
class Struck:
    """What ``strike`` did: the view now, and the later mends that no longer fitted and went with it."""

    view: View
    dropped: tuple[TakenMend, ...]


@dataclass(frozen=True, slots=True)
class Gone:
    """A finding that only an older export has, and where it stood there."""

    finding: Finding
    where: str


@dataclass(frozen=True, slots=True)
class Compared:
    """What is new, gone and still there since an older export."""

    file: str
    new: tuple[Asked, ...]
    gone: tuple[Gone, ...]
    still: tuple[Asked, ...]


class Numbers:
    """The number that each finding keeps: by its id, or where the music around it has changed, by rule and place."""

    def __init__(self) -> None:
        self._by_id: dict[str, int] = {}
        self._by_place: dict[tuple[str, int, int, int], int] = {}
        self._last = 0

    def of(self, state: State, findings: Iterable[Finding]) -> list[Asked]:
        """The findings of one report with their numbers, no two equal; new ones count on, in the order of the bars."""
        rows = list(findings)
        mine: dict[str, int] = {}
        for one in rows:
            number = self._by_id.get(one.id)
            if number is not None and number not in mine.values():
                mine[one.id] = number
        for one in sorted(rows, key=lambda row: (row.place.measure, row.place.start, row.place.part)):
            place = (one.rule.id, one.place.part, one.place.measure, one.place.start)
            number = mine.get(one.id) or self._by_place.get(place)
            if number is None or (one.id not in mine and number in mine.values()):
                self._last = number = self._last + 1
            mine[one.id] = self._by_id[one.id] = self._by_place[place] = number
        return [Asked(mine[one.id], one, where(state, one)) for one in rows]


def looked_at(now: Moment, decided: Mapping[str, Decision], numbers: Numbers, checking: bool, error: str) -> View:
    """The view of a session at a moment, with what was let stand."""
    report = now.base.report
    rows = [one for one in numbers.of(report.state, report.findings) if one.finding.id not in now.gone]
    reasons = dict(silenced((one.finding for one in rows), decided)[1])
    return View(
        revision=hashlib.sha256(now.data).hexdigest(),
        asked=tuple(one for one in rows if one.finding.id not in reasons),
        let_stand=tuple(
            LetStand(one.number, one.finding, one.where, reasons[one.finding.id])
            for one in rows
            if one.finding.id in reasons
        ),
        taken=tuple(mend for mends in now.rounds for mend in mends),
        checking=checking,
        may_take=now.fits,
        error=error,
        document=now.document,
        checked=now.base.document,
        report=report,
    )
