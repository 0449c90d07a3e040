"""A session: what is taken is gone at once, what stands after the check is the truth, and nothing is ever lost."""

from __future__ import annotations

import copy
import json
import random
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import mido
import pytest
from click.testing import CliRunner
from lxml import etree

from corpus import SHARED, shared
from deskproof import decisions, document, forces
from deskproof.check import Report, check
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO
from deskproof.edits import SetOctave
from deskproof.errors import DeskproofError
from deskproof.findings import Effect
from deskproof.forces import Forces
from deskproof.mending import MendError
from deskproof.musicxml.reader import parser
from deskproof.places import where
from deskproof.report import as_json
from deskproof.score import NoteRef
from deskproof.web import session as web_session
from deskproof.web.session import Session, StaleRevision, StillChecking
from deskproof.web.taken import TakenMend
from deskproof.web.view import View

BOULANGER = SHARED / "boulanger-matin-bars-1-100.mxl"
LONG_S = 120  # for what should be done in a moment; no test passes by waiting
PARTS, BARS = ("Flute 1", "Timpani", "Celesta", "Piano", "Viola"), 32


@cache
def few_parts() -> bytes:
    """Five parts of the demo, 32 bars, every note with an XML id: quick to check, with mends of many kinds."""
    root = etree.fromstring(DEMO.read_bytes(), parser())
    names = {row.get("id"): row.findtext("part-name") for row in root.iterfind("part-list/score-part")}
    for row in root.findall("part-list/*"):
        if names.get(row.get("id")) not in PARTS:
            row.getparent().remove(row)
    for part in root.findall("part"):
        if names[part.get("id")] not in PARTS:
            root.remove(part)
        for bar in part.findall("measure")[BARS:]:
            part.remove(bar)
    for k, note in enumerate(root.iter("note")):
        note.set("id", f"n{k}")
    return etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8")


@pytest.fixture
def tide(tmp_path: Path) -> Path:
    path = tmp_path / "tide.musicxml"
    path.write_bytes(few_parts())
    return path


@pytest.fixture
def opened(tide: Path) -> Iterator[Session]:
    session = Session(tide, Forces(), record=as_json.report)
    yield session
    session.close()


def cli(*words: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def offered(view: View, rule: str, says: str) -> tuple[str, int]:
    """The mend of a rule's finding whose words have ``says`` in them, as ``take`` wants it."""
    found = [
        (one.finding.id, k)
        for one in view.asked
        if one.finding.rule.id == rule
        for k, mend in enumerate(one.finding.mends, 1)
        if mend.edits and says in mend.says
    ]
    assert found, (rule, says)
    return found[0]


def ids(view: View) -> list[str]:
    return [one.finding.id for one in view.asked]


def truth(report: Report) -> list[object]:
    """All that a report says, with its mends."""
    return [
        (one.id, one.rule.id, one.level, one.place, one.notes, dict(one.numbers), one.mends) for one in report.findings
    ]


def assert_true(session: Session, target: Path) -> View:
    """After the check the view is what a fresh check of the saved file says."""
    view = session.wait()
    assert (view.checking, view.may_take, view.error) == (False, True, "")
    assert view.document.steps == view.checked.steps
    session.save(target, force=True)
    fresh = check(document.read(target).score)
    assert truth(view.report) == truth(fresh)
    assert sorted([*ids(view), *(one.finding.id for one in view.let_stand)]) == sorted(f.id for f in fresh.findings)
    return view


class Gate:
    """Holds whole checks in the background until it is opened; counts them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fails: bool = False) -> None:
        self.open, self.came, self.fails = threading.Event(), threading.Semaphore(0), fails
        self.scores: list[object] = []
        monkeypatch.setattr(web_session, "check", self)

    def __call__(self, score: Any, forces: Forces, parts: Sequence[int] | None) -> Report:
        self.scores.append(score)
        self.came.release()
        assert self.open.wait(LONG_S)
        if self.fails:
            raise RuntimeError("the strings have snapped")
        return check(score, forces, parts)


def _bar_order(place: Any) -> tuple[int, int, int]:
    return place.measure, place.start, place.part


@pytest.mark.parametrize("score", [DEMO, BOULANGER], ids=lambda path: path.stem)
def test_mends_that_keep_the_sound_in_bulk(tmp_path: Path, score: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / score.name
    path.write_bytes((score if score == DEMO else shared(score.name)).read_bytes())
    session = Session(path, Forces(), record=as_json.report)
    before = session.view()
    by_bar = sorted(before.asked, key=lambda one: _bar_order(one.finding.place))
    assert [one.number for one in by_bar] == list(range(1, len(before.asked) + 1))
    assert all(
        one.finding.mends[k - 1].effect is Effect.KEEPS_SOUND
        for id_, k in before.keeping_sound
        for one in before.asked
        if one.finding.id == id_
    )
    gate = Gate(monkeypatch)
    took = session.take(before.revision, before.keeping_sound)
    assert took.taken
    assert not took.left
    at_once = session.view()
    assert at_once == took.view
    assert at_once.checking
    assert at_once.revision != before.revision
    assert ids(at_once) == [id_ for id_ in ids(before) if id_ not in dict(before.keeping_sound)]
    assert [one.where for one in at_once.taken] == [
        where(before.report.state, one.finding) for one in before.asked if one.finding.id in dict(before.keeping_sound)
    ]
    gate.open.set()
    mended = tmp_path / f"mended{score.suffix}"
    view = assert_true(session, mended)
    assert view.taken == at_once.taken
    numbers = {one.finding.id: one.number for one in before.asked}
    assert all(one.number == numbers.get(one.finding.id, one.number) for one in view.asked)
    status, out, _ = cli("check", "--json", mended)
    said = json.loads(out)
    assert said["findings"]
    assert {**session.json(), "score": None} == {**said, "score": None}
    assert session.json()["score"] == {**said["score"], "file": str(path)}
    assert status == (1 if any(one["level"] == "impossible" for one in said["findings"]) else 0)
    session.close()


def test_a_stale_revision_changes_nothing(opened: Session, tide: Path) -> None:
    before = opened.view()
    first = offered(before, "tutti-accidental-missing", "accidental")
    opened.take(before.revision, [first])
    now = opened.wait()
    second = offered(now, "keyboard-leap", "F4")
    calls = [
        lambda: opened.take(before.revision, [second]),
        lambda: opened.strike(before.revision, 1),
        lambda: opened.let_stand(before.revision, ids(now)[0], "as it should be"),
    ]
    for call in calls:
        with pytest.raises(StaleRevision, match="nothing was done") as caught:
            call()
        assert caught.value.view == now
    assert opened.view() == now
    assert not decisions.beside(tide).exists()


def test_what_is_no_mend_is_refused_in_words(opened: Session) -> None:
    view = opened.view()
    advice = next(
        (one.finding.id, k)
        for one in view.asked
        for k, mend in enumerate(one.finding.mends, 1)
        if mend.effect is Effect.ADVICE
    )
    good = offered(view, "tutti-accidental-missing", "accidental")
    with pytest.raises(MendError, match=r"is advice: .*There is nothing to write"):
        opened.take(view.revision, [good, advice])
    with pytest.raises(MendError, match="no mend 'nothere1-1' is offered"):
        opened.take(view.revision, [("nothere1", 1)])
    with pytest.raises(MendError, match="no mend"):
        opened.take(view.revision, [(good[0], 0)])
    with pytest.raises(MendError, match="no mend 7 among those taken"):
        opened.strike(view.revision, 7)
    assert opened.view() == view


def test_of_two_mends_of_one_finding_the_second_is_left(opened: Session) -> None:
    view = opened.view()
    id_, k = offered(view, "keyboard-leap", "F4")
    took = opened.take(view.revision, [(id_, k), (id_, k + 1)])
    assert [(one.finding, one.says) for one in took.taken] == [(id_, "write F4 two octaves lower")]
    assert [(one.finding, one.number) for one in took.left] == [(id_, k + 1)]
    assert "another mend of this finding" in took.left[0].why


def test_mends_that_clash_are_left_and_named(opened: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both figures of the celesta hold one note, and each mend writes it in another octave."""
    gate = Gate(monkeypatch)  # so that the second is asked for while the first is being checked
    view = opened.view()
    wanted = [
        offered(view, "tutti-needs-extension", "bar 30: write the notes alone"),
        offered(view, "tutti-outside-compass", "slurred figure"),
    ]
    both = [
        {edit.note for edit in one.finding.mends[k - 1].edits}
        for id_, k in wanted
        for one in view.asked
        if one.finding.id == id_
    ]
    assert both[0] & both[1]
    took = opened.take(view.revision, wanted)
    assert [one.finding for one in took.taken] == [wanted[0][0]]
    assert [(one.finding, one.number, one.why) for one in took.left] == [
        (*wanted[1], "it clashes with one taken before")
    ]
    again = opened.take(took.view.revision, [wanted[1]])
    assert not again.taken
    assert [one.finding for one in again.left] == [wanted[1][0]]
    assert again.view == took.view
    gate.open.set()
    assert opened.view().revision == took.view.revision


def test_taking_all_back_restores_the_bytes(opened: Session, tide: Path, tmp_path: Path) -> None:
    before = opened.view()
    for rule, says in (("keyboard-stretch", "leave out"), ("timpani-no-time", "leave out"), ("keyboard-leap", "F4")):
        view = opened.wait()
        opened.take(view.revision, [offered(view, rule, says)])
    assert opened.wait().revision != before.revision
    for number in (1, 3, 2):
        opened.strike(opened.view().revision, number)
    view = opened.wait()
    assert view.revision == before.revision
    assert not view.taken
    assert ids(view) == ids(before)
    assert [one.number for one in view.asked] == [one.number for one in before.asked]
    assert opened.save(tmp_path / "again.musicxml").read_bytes() == tide.read_bytes()


def test_the_last_mend_taken_back_needs_no_new_check(opened: Session) -> None:
    before = opened.view()
    opened.take(before.revision, [offered(before, "keyboard-leap", "F4")])
    opened.strike(opened.wait().revision, 1)
    view = opened.view()
    assert not view.checking
    assert (view.revision, view.asked) == (before.revision, before.asked)


def test_a_mend_taken_back_in_the_middle(opened: Session, tide: Path, tmp_path: Path) -> None:
    wanted = (
        ("keyboard-stretch", "leave out"),
        ("keyboard-leap", "F4"),
        ("timpani-no-time", "leave out"),
        ("tutti-outside-compass", "slurred figure"),
    )
    for rule, says in wanted:
        view = opened.wait()
        opened.take(view.revision, [offered(view, rule, says)])
    struck = opened.strike(opened.wait().revision, 1)
    assert not struck.dropped
    assert [one.number for one in struck.view.taken] == [2, 3, 4]
    if struck.view.checking:
        with pytest.raises(StillChecking, match="taken back"):
            opened.take(struck.view.revision, [(ids(struck.view)[0], 1)])
    assert_true(opened, tmp_path / "mended.musicxml")
    other = Session(tide, Forces())
    for rule, says in wanted[1:]:
        view = other.wait()
        other.take(view.revision, [offered(view, rule, says)])
    assert other.wait().revision == opened.view().revision
    other.close()


def test_a_mend_whose_note_reads_otherwise_goes_too_and_is_named(opened: Session, tmp_path: Path) -> None:
    view = opened.view()
    opened.take(view.revision, [offered(view, "tutti-outside-compass", "note alone two octaves higher")])
    view = opened.wait()
    opened.take(view.revision, [offered(view, "tutti-needs-extension", "bar 30: write the slurred figure")])
    view = opened.wait()
    opened.take(view.revision, [offered(view, "keyboard-leap", "F4")])
    struck = opened.strike(opened.wait().revision, 1)
    assert [(one.number, one.says) for one in struck.dropped] == [
        (2, "bar 30: write the slurred figure an octave higher")
    ]
    assert struck.dropped[0].where.startswith("Celesta, bar 27")
    assert [one.number for one in struck.view.taken] == [3]
    view = assert_true(opened, tmp_path / "mended.musicxml")
    assert offered(view, "tutti-outside-compass", "note alone two octaves higher")
    took = opened.take(view.revision, [offered(view, "tutti-accidental-missing", "accidental")])
    assert [one.number for one in took.taken] == [4]


def test_what_a_mend_causes_appears_after_the_check(opened: Session) -> None:
    """Where a mend was taken back, its finding is asked again."""
    before = opened.view()
    wanted = offered(before, "keyboard-leap", "F4")
    opened.take(before.revision, [wanted])
    view = opened.wait()
    opened.take(view.revision, [offered(view, "tutti-accidental-missing", "accidental")])
    assert wanted[0] not in ids(opened.wait())
    opened.strike(opened.view().revision, 1)
    assert wanted[0] in ids(opened.wait())


def test_no_method_waits_for_a_check(opened: Session, tide: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A check hangs; all else goes on. What is taken meanwhile joins, and only the newest check counts."""
    gate = Gate(monkeypatch)
    view = opened.view()
    opened.take(view.revision, [offered(view, "keyboard-leap", "F4")])
    assert gate.came.acquire(timeout=LONG_S)
    view = opened.view()
    assert view.checking
    opened.take(view.revision, [offered(view, "timpani-no-time", "higher")])
    view = opened.view()
    opened.let_stand(view.revision, ids(view)[0], "they like it so")
    opened.take(view.revision, [offered(view, "tutti-accidental-missing", "accidental")])
    opened.strike(opened.view().revision, 2)
    opened.save(tide.with_name("meanwhile.musicxml"))
    assert [one.number for one in opened.view().taken] == [1, 3]
    assert len(gate.scores) == 1
    gate.open.set()
    view = assert_true(opened, tide.with_name("mended.musicxml"))
    assert [one.number for one in view.taken] == [1, 3]
    assert view.report.state.score == view.document.score
    assert gate.scores == [gate.scores[0], view.document.score]


def test_a_check_that_fails_loses_nothing(opened: Session, tide: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gate = Gate(monkeypatch, fails=True)
    gate.open.set()
    view = opened.view()
    wanted = offered(view, "keyboard-leap", "F4")
    opened.take(view.revision, [wanted])
    view = opened.wait()
    assert "the strings have snapped" in view.error
    assert not view.checking
    assert [one.finding for one in view.taken] == [wanted[0]]
    assert wanted[0] not in ids(view)
    with pytest.raises(DeskproofError, match="the strings have snapped"):
        opened.json()
    gate.fails = False
    opened.take(view.revision, [offered(view, "tutti-accidental-missing", "accidental")])
    view = assert_true(opened, tide.with_name("mended.musicxml"))
    assert len(view.taken) == 2


def empty_bars_before(data: bytes) -> bytes:
    """The score with two bars of rest before all others, in all parts."""
    root = etree.fromstring(data, parser())
    for part in root.iterfind("part"):
        first = part.find("measure")
        length = int(first.findtext("attributes/divisions")) * 4
        for k in (0, 1):
            rest = etree.fromstring(
                f'<measure number="X{k}"><note><rest/><duration>{length}</duration><voice>1</voice></note></measure>'
            )
            if k == 0:
                rest.insert(0, copy.deepcopy(first.find("attributes")))
            first.addprevious(rest)
    return etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8")


def test_what_was_let_stand_holds_in_the_next_export(opened: Session, tide: Path) -> None:
    view = opened.view()
    leap = next(one for one in view.asked if one.finding.rule.id == "keyboard-leap")
    low = next(one for one in view.asked if one.finding.rule.id == "tutti-outside-compass")
    for one in (leap, low):
        view = opened.let_stand(view.revision, one.finding.id, f"  I want number {one.number} ")
    assert [(one.finding.id, one.number, one.reason) for one in view.let_stand] == [
        (low.finding.id, low.number, f"I want number {low.number}"),
        (leap.finding.id, leap.number, f"I want number {leap.number}"),
    ]
    assert not {leap.finding.id, low.finding.id} & set(ids(view))
    written = decisions.read(decisions.beside(tide))[leap.finding.id]
    assert written.where == "Piano, bar 19, beat 1¼"
    assert dict(written.numbers) == decisions.figures(leap.finding)

    again = Session(tide, Forces())
    assert [one.finding.id for one in again.view().let_stand] == [low.finding.id, leap.finding.id]
    again.close()

    tide.write_bytes(empty_bars_before(few_parts()))
    later = Session(tide, Forces(), record=as_json.report)
    assert [one.finding.id for one in later.view().let_stand] == [low.finding.id, leap.finding.id]
    assert {one["id"] for one in later.json()["silenced"]} == {low.finding.id, leap.finding.id}
    _, out, _ = cli("check", "--json", tide)
    assert later.json() == json.loads(out)
    later.close()

    root = etree.fromstring(few_parts(), parser())  # the passage of the leap is written anew
    ref = leap.finding.notes[0]
    note = root.find(f"part[@id='{ref.part}']").findall("measure")[ref.measure].findall("note")[ref.n]
    assert note.findtext("pitch/step") == "F"
    note.find("pitch/step").text = "E"
    tide.write_bytes(etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8"))
    changed = Session(tide, Forces())
    assert [one.finding.id for one in changed.view().let_stand] == [low.finding.id]
    assert any(one.finding.rule.id == "keyboard-leap" and one.where == written.where for one in changed.view().asked)
    changed.close()


def test_a_finding_is_asked_again(opened: Session, tide: Path) -> None:
    before = opened.view()
    id_ = ids(before)[0]
    opened.let_stand(before.revision, id_, "so be it")
    assert opened.ask_again(id_) == before
    assert not decisions.read(decisions.beside(tide))
    with pytest.raises(DeskproofError, match="is not let stand"):
        opened.ask_again(id_)


@pytest.mark.parametrize("reason", ["", "  \n\t"])
def test_letting_stand_needs_a_reason_and_a_finding(opened: Session, tide: Path, reason: str) -> None:
    view = opened.view()
    with pytest.raises(DeskproofError, match="the reason is blank"):
        opened.let_stand(view.revision, ids(view)[0], reason)
    with pytest.raises(DeskproofError, match="no finding 'nothere1' is asked"):
        opened.let_stand(view.revision, "nothere1", "because")
    assert opened.view() == view
    assert not decisions.beside(tide).exists()


def test_two_pages_letting_findings_stand_lose_nothing(opened: Session, tide: Path) -> None:
    view = opened.view()
    rows = ids(view)
    assert len(rows) >= 8
    start = threading.Barrier(2)
    errors: list[Exception] = []

    def page(own: Sequence[str]) -> None:
        start.wait(LONG_S)
        try:
            for id_ in own:
                opened.let_stand(view.revision, id_, f"reason of {id_}")
        except Exception as error:
            errors.append(error)

    pages = [threading.Thread(target=page, args=(rows[k::2],)) for k in (0, 1)]
    for one in pages:
        one.start()
    for one in pages:
        one.join(LONG_S)
    assert not errors
    assert set(decisions.read(decisions.beside(tide))) == set(rows)
    assert {one.finding.id: one.reason for one in opened.view().let_stand} == {id_: f"reason of {id_}" for id_ in rows}
    assert not opened.view().asked


def test_two_pages_taking_at_one_moment(opened: Session, tide: Path) -> None:
    """One of them is told to look again, whoever comes second; what it wanted is not half done."""
    view = opened.view()
    wanted = [offered(view, "keyboard-leap", "F4"), offered(view, "timpani-no-time", "higher")]
    start = threading.Barrier(2)
    told: list[str] = []

    def page(one: tuple[str, int]) -> None:
        start.wait(LONG_S)
        try:
            told.append(opened.take(view.revision, [one]).taken[0].finding)
        except StaleRevision as stale:
            told.append("stale")
            assert stale.view.taken

    pages = [threading.Thread(target=page, args=(one,)) for one in wanted]
    for one in pages:
        one.start()
    for one in pages:
        one.join(LONG_S)
    assert len(told) == 2
    assert told.count("stale") == 1
    assert [one.finding for one in opened.wait().taken] == [one for one in told if one != "stale"]
    assert len(opened.view().taken) == 1


def test_the_original_is_never_written(opened: Session, tide: Path, tmp_path: Path) -> None:
    view = opened.view()
    opened.take(view.revision, [offered(view, "keyboard-leap", "F4")])
    link = tmp_path / "link.musicxml"
    link.symlink_to(tide)
    for target in (tide, tmp_path / "." / "tide.musicxml", link):
        with pytest.raises(DeskproofError, match="never overwritten"):
            opened.save(target, force=True)
    assert tide.read_bytes() == few_parts()
    there = tmp_path / "there.musicxml"
    there.write_bytes(b"kept")
    with pytest.raises(DeskproofError, match="exists already"):
        opened.save(there)
    assert there.read_bytes() == b"kept"
    opened.save(there, force=True)
    packed = opened.save(tmp_path / "there.mxl")
    assert packed.read_bytes().startswith(b"PK")
    assert document.read(packed).written() == document.read(there).written() != few_parts()
    view = opened.strike(opened.view().revision, 1).view
    cli("mend", tide, "--take", offered(view, "keyboard-leap", "F4")[0] + "-1", "-o", tmp_path / "cli.musicxml")
    assert (tmp_path / "cli.musicxml").read_bytes() == there.read_bytes()


def test_compared_with_an_older_export(opened: Session, tide: Path, tmp_path: Path) -> None:
    """The same answer as the command line's about the saved file."""
    view = opened.view()
    view = opened.let_stand(view.revision, ids(view)[0], "so be it")
    opened.take(view.revision, [offered(view, "keyboard-leap", "F4")])
    old = tmp_path / "old.musicxml"
    other = document.read(tide)
    tune = next(part for part in other.score.parts if part.name == "Flute 1")
    high = next(
        NoteRef(tune.id, m.index, n.n) for m in tune.measures[20:] for n in m.notes if n.pitch and n.pitch.octave == 5
    )
    old.write_bytes(other.with_edits([SetOctave(high, 2)]).written())
    found = opened.compare(old)
    saved = opened.save(tmp_path / "mended.musicxml")
    decisions.beside(saved).write_bytes(decisions.beside(tide).read_bytes())
    _, out, _ = cli("check", "--json", "--since", old, saved)
    since = json.loads(out)["since"]
    assert since["gone"]
    assert since["still"]
    assert {
        "file": found.file,
        "new": [one.finding.id for one in found.new],
        "gone": [one.finding.id for one in found.gone],
        "still": [one.finding.id for one in found.still],
    } == {**since, "gone": [one["id"] for one in since["gone"]]}
    assert any(one.where.startswith("Flute 1, bar ") for one in found.gone)
    back = Session(old, Forces())
    assert [one.finding.id for one in back.compare(tide).new] == [
        one.finding.id for one in found.gone if one.where.startswith("Flute 1")
    ]
    back.close()


@pytest.mark.parametrize("data", [b"", b"<score-partwise", b"PK\x03\x04 no archive", b"<html/>"])
def test_a_broken_file_is_refused_in_the_words_of_the_command_line(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "broken.musicxml"
    path.write_bytes(data)
    with pytest.raises(DeskproofError) as caught:
        Session(path, Forces())
    status, _, said = cli("check", path)
    assert status == 2
    assert said == f"deskproof: {caught.value}\n"


def test_parts_are_named_as_on_the_command_line(tide: Path, tmp_path: Path) -> None:
    with pytest.raises(DeskproofError) as caught:
        Session(tide, Forces(), ["Piano", "Ophicleide"])
    _, _, said = cli("check", "--part", "Piano", "--part", "Ophicleide", tide)
    assert said == f"deskproof: {caught.value}\n"
    session = Session(tide, Forces(), ["piano"], as_json.report)
    _, out, _ = cli("check", "--json", "--part", "Piano", tide)
    assert session.json() == json.loads(out)
    session.close()
    room = tmp_path / "forces.toml"
    room.write_text('[sections]\n"sousaphones" = { desks = 2 }\n', "utf-8")
    with pytest.raises(DeskproofError) as caught:
        Session(tide, forces.read(room))
    _, _, said = cli("check", "--forces", room, tide)
    assert said == f"deskproof: {caught.value}\n"


def test_a_midi_file_is_shown_but_not_mended(tmp_path: Path) -> None:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name="Flute"))
    track.append(mido.Message("program_change", program=73))
    for pitch in (76, 50):
        track.append(mido.Message("note_on", note=pitch, velocity=64))
        track.append(mido.Message("note_off", note=pitch, time=480))
    file.tracks.append(track)
    path = tmp_path / "tide.mid"
    file.save(path)
    session = Session(path, Forces())
    view = session.view()
    assert view.asked
    id_ = next(one.finding.id for one in view.asked if one.finding.mends)
    with pytest.raises(MendError, match="advice"):
        session.take(view.revision, [(id_, 1)])
    with pytest.raises(DeskproofError) as caught:
        session.save(tmp_path / "out.musicxml")
    _, _, said = cli("mend", path, "-o", tmp_path / "out.musicxml")
    assert said == f"deskproof: {caught.value}\n"
    assert session.let_stand(view.revision, id_, "it is played so").let_stand
    session.close()


def places(data: bytes) -> dict[str, NoteRef]:
    """Where the notes with an id stand, read with no help from the code."""
    return {
        note.get("id", ""): NoteRef(part.get("id", ""), m, n)
        for part in etree.fromstring(data).iterfind("part")
        for m, bar in enumerate(part.iterfind("measure"))
        for n, note in enumerate(bar.iterfind("note"))
        if note.get("id")
    }


def by_id(view: View, mends: Sequence[TakenMend]) -> dict[int, list[tuple[str, Any]]]:
    """The edits of mends just taken, each with the XML id of its note."""
    known = {ref: id_ for id_, ref in places(view.checked.written()).items()}
    return {one.number: [(known[edit.note], edit) for edit in one.edits] for one in mends}  # type: ignore[index]


@pytest.mark.parametrize("seed", range(4))
def test_any_order_equals_replaying_from_scratch(opened: Session, tide: Path, seed: int) -> None:
    """Take and take back at random; then take what is left, mend after mend, in a file read anew, notes found by id."""
    rng = random.Random(seed)
    told: dict[int, list[tuple[str, Any]]] = {}
    dropped: set[int] = set()
    for _ in range(9):
        view = opened.view() if rng.random() < 0.4 else opened.wait()
        choices = [
            (one.finding.id, k) for one in view.asked for k, mend in enumerate(one.finding.mends, 1) if mend.edits
        ]
        if view.taken and (not choices or not view.may_take or rng.random() < 0.4):
            number = rng.choice(view.taken).number
            struck = opened.strike(view.revision, number)
            dropped |= {number, *(one.number for one in struck.dropped)}
            continue
        while True:  # a check that ends between the two lets the mends be named anew
            try:
                took = opened.take(view.revision, rng.sample(choices, min(len(choices), rng.randrange(1, 3))))
            except MendError:
                view = opened.wait()
                choices = [(o.finding.id, k) for o in view.asked for k, m in enumerate(o.finding.mends, 1) if m.edits]
                continue
            break
        told.update(by_id(took.view, took.taken))
    view = assert_true(opened, tide.with_name("mended.musicxml"))
    numbers = [one.number for one in view.taken]
    assert numbers == [number for number in told if number not in dropped]
    scratch = document.read(tide)
    for number in numbers:
        now = places(scratch.written())
        scratch = scratch.with_edits([replace(edit, note=now[id_]) for id_, edit in told[number]])
    assert scratch.written() == tide.with_name("mended.musicxml").read_bytes()
