"""The score in systems: no bar is lost, no finding twice, and of the parts just those that are asked for."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from corpus import shared, smallest
from deskproof import document
from deskproof.check import Report, check
from deskproof.demo import SCORE as DEMO
from deskproof.musicxml.reader import parser
from deskproof.score import NoteRef
from deskproof.web.systems import COLUMNS, EVERYTHING, INVOLVED, MOST_BARS, NARROW_COLUMNS, System, systems
from deskproof.web.view import Asked, Numbers

SHARED = ("boulanger-matin-bars-1-100.mxl", "boulanger-matin-bars-1-100.mid", "viardot-belle-yoli.mid")
CORPUS = {one.name: one.path for one in smallest(30)}
NAMES = ["demo", *SHARED, *CORPUS]
INVENTED = 25  # findings, where a score has few of its own


def path_of(name: str) -> Path:
    return DEMO if name == "demo" else CORPUS.get(name) or shared(name)


@cache
def checked(name: str) -> Report:
    return check(document.read(path_of(name)).score)


def own(name: str) -> list[Asked]:
    report = checked(name)
    return Numbers().of(report.state, report.findings)


def invented(name: str) -> list[Asked]:
    """Findings at chance: notes of one part or two, in a few bars near each other or far away."""
    rng = random.Random(name)
    state = checked(name).state
    like = checked("demo").findings[0]
    parts = [part for part in state.score.parts if any(m.notes for m in part.measures)]
    found = []
    for k in range(INVENTED):
        refs: list[NoteRef] = []
        for part in rng.sample(parts, min(len(parts), rng.randrange(1, 3))):
            bars = [m for m in part.measures if m.notes]
            at = rng.randrange(len(bars))
            near = bars[at : at + rng.randrange(1, 5)] + ([rng.choice(bars)] if rng.random() < 0.3 else [])
            refs += [NoteRef(part.id, m.index, rng.randrange(len(m.notes))) for m in near]
        refs = list(dict.fromkeys(refs))
        index = next(i for i, part in enumerate(state.score.parts) if part.id == refs[0].part)
        place = replace(like.place, part=index, measure=refs[0].measure)
        finding = replace(like, id=f"made{k}", place=place, notes=tuple(refs), atoms=(), mends=())
        found.append(Asked(k + 1, finding, "somewhere"))
    return sorted(found, key=lambda one: one.finding.place.measure)


def both(name: str) -> Iterator[list[Asked]]:
    yield own(name)
    yield invented(name)


def measures(name: str) -> int:
    """How many bars the file has, counted without our reader; of a MIDI file what the score says."""
    path = path_of(name)
    if path.suffix == ".mid":
        return max(len(part.measures) for part in checked(name).state.score.parts)
    root = etree.fromstring(document.read(path).written(), parser())
    if root.tag == "score-timewise":
        return len(root.findall("measure"))
    return max(len(part.findall("measure")) for part in root.findall("part"))


@pytest.mark.parametrize("name", NAMES)
def test_every_bar_and_every_finding_once(name: str) -> None:
    state = checked(name).state
    count = measures(name)
    for asked in both(name):
        for show in (INVOLVED, EVERYTHING, state.score.parts[-1].id, "no such part"):
            for narrow in (False, True):
                rows = systems(state, asked, show, narrow)
                assert [m for one in rows for m in range(one.first, one.last + 1)] == list(range(count))
                begun = [finding for one in rows for finding in one.begins]
                assert sorted(begun, key=lambda one: one.number) == sorted(asked, key=lambda one: one.number)
                for one in rows:
                    assert all(one.first <= begin.finding.place.measure <= one.last for begin in one.begins)


@pytest.mark.parametrize("name", NAMES)
def test_the_parts_that_are_shown(name: str) -> None:
    state = checked(name).state
    ids = [part.id for part in state.score.parts]
    for asked in both(name):
        for narrow in (False, True):
            for one in systems(state, asked, INVOLVED, narrow):
                wanted = {
                    ref.part for row in asked for ref in row.finding.notes if one.first <= ref.measure <= one.last
                }
                assert [ids[i] for i in one.parts] == [id_ for id_ in ids if id_ in wanted]
            assert systems(state, asked, "no such part", narrow) == systems(state, asked, INVOLVED, narrow)
            for one in systems(state, asked, EVERYTHING, narrow):
                assert one.parts == tuple(range(len(ids)))
            for i in (0, len(ids) - 1):
                assert {one.parts for one in systems(state, asked, ids[i], narrow)} == {(i,)}


@pytest.mark.parametrize("name", NAMES)
def test_every_note_of_a_finding_is_marked_where_it_is_shown(name: str) -> None:
    """And its ring stands once, in the system where it begins."""
    state = checked(name).state
    ids = [part.id for part in state.score.parts]
    for asked in both(name):
        for show in (INVOLVED, EVERYTHING, ids[0]):
            rings: Counter[str] = Counter()
            for one in systems(state, asked, show, False):
                marked = {mark.id for mark in one.marks()}
                shown = {ids[i] for i in one.parts}
                for row in asked:
                    here = any(one.first <= r.measure <= one.last and r.part in shown for r in row.finding.notes)
                    assert row.finding.id in marked or not here
                rings.update(mark.id for mark in one.marks() if mark.ring)
            wanted = {row.finding.id for row in asked if show in (INVOLVED, EVERYTHING) or ids[0] in parts_of(row, ids)}
            assert rings == Counter(wanted)


def parts_of(row: Asked, ids: list[str]) -> set[str]:
    return {ids[row.finding.place.part], *(ref.part for ref in row.finding.notes)}


@pytest.mark.parametrize("name", NAMES)
def test_a_narrow_page_has_no_fewer_systems(name: str) -> None:
    state = checked(name).state
    for show in (EVERYTHING, state.score.parts[0].id):
        wide, narrow = (systems(state, own(name), show, narrow) for narrow in (False, True))
        assert len(narrow) >= len(wide)


@pytest.mark.parametrize("name", NAMES)
def test_there_is_room_for_what_stands_in_a_system(name: str) -> None:
    state = checked(name).state
    for narrow, columns in ((False, COLUMNS), (True, NARROW_COLUMNS)):
        for one in systems(state, [], state.score.parts[0].id, narrow):
            assert one.last - one.first < MOST_BARS
            assert one.first == one.last or wide(name, one) <= columns


def wide(name: str, one: System) -> int:
    """Places in time where a note or rest begins in any part, bar by bar; an empty bar takes one."""
    starts: dict[int, set[int]] = {m: set() for m in range(one.first, one.last + 1)}
    for part in checked(name).state.score.parts:
        for measure in part.measures[one.first : one.last + 1]:
            starts[measure.index] |= {note.start for note in measure.notes}
    return sum(max(1, len(row)) for row in starts.values())


def test_where_nothing_is_found_one_line_is_enough() -> None:
    state = checked("demo").state
    (one,) = systems(state, [], INVOLVED, False)
    assert (one.first, one.parts, one.begins, one.under) == (0, (), (), ())
    rows = systems(state, own("demo"), INVOLVED, False)
    assert any(not one.parts for one in rows)
    assert not any(not a.parts and not b.parts for a, b in pairwise(rows))
