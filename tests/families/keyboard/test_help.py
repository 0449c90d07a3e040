"""Fingers and damper pedals are printed when asked for, valid, in keeping with the plan, and nothing else changes.

The files are in music21's corpus; the schema in the package ``musicxml`` is asked.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from lxml import etree

from corpus import corpus_files
from deskproof.check import check
from deskproof.document import Document, from_bytes, read
from deskproof.families import Help
from deskproof.families.keyboard import KEYBOARD
from deskproof.forces import Forces
from deskproof.mending import help_in_words, helped
from deskproof.state import state_of
from schema import complaints

NAMES = (
    "schumann_clara/opus17/movement3.xml",
    "schubert/Lindenbaum.xml",
    "verdi/laDonnaEMobile.mxl",
)
FILES = [f.path for f in corpus_files() if f.name in NAMES]


def test_the_files_are_there():
    assert FILES


@cache
def document(path: Path) -> Document:
    return read(path)


def plans(one: Document) -> list[dict[str, object]]:
    state = state_of(one.score, Forces())
    rows = [KEYBOARD.plan(spans, state.context()) for spans in state.spans.values()]
    assert KEYBOARD.describe is not None
    found = [KEYBOARD.describe(row, "x", state.context()) for row in rows]
    return [row for row in found if row is not None]


def printed(data: bytes) -> dict[str, str]:
    """Fingers by note, read with lxml."""
    found = {}
    for part in etree.fromstring(data).iter("part"):
        for m, measure in enumerate(part.iterfind("measure")):
            for n, note in enumerate(measure.iterfind("note")):
                figure = note.findtext("notations/technical/fingering")
                if figure:
                    found[f"{part.get('id')}/m{m}/n{n}"] = figure
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_the_fingers_are_those_of_the_plan(path: Path):
    before = document(path)
    after = helped(before, Forces(), Help(fingering=True))
    data = after.written()
    assert from_bytes(data).score == after.score
    assert len(complaints(data)) <= len(complaints(before.written()))
    there, now = printed(before.written()), printed(data)
    planned: dict[str, str] = {}
    for plan in plans(before):
        struck = set()
        for row in plan["notes"]:  # type: ignore[attr-defined]
            if row["fingers"] and (row["t_us"], row["midi"]) not in struck:  # a key that two staves want has one figure
                planned.setdefault(row["ref"], str(row["fingers"][0]))
            struck.add((row["t_us"], row["midi"]))
    assert len(planned) > 50
    assert now == {**planned, **there}
    assert help_in_words(after.edits, Help(fingering=True)).startswith(f"{len(now) - len(there)} finger")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_fingers_are_printed_once(path: Path):
    once = helped(document(path), Forces(), Help(fingering=True)).written()
    assert helped(from_bytes(once), Forces(), Help(fingering=True)).written() == once


def needing(one: Document) -> list[str]:
    return [f.says for f in check(one.score, Forces(pedals=True)).findings if f.rule.id == "keyboard-needs-damper"]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_printed_dampers_serve_what_needs_them(path: Path):
    before = document(path)
    after = helped(before, Forces(), Help(damper="lines"))
    data = after.written()
    again = from_bytes(data)
    assert again.score == after.score
    assert len(complaints(data)) <= len(complaints(before.written()))
    assert needing(again) == []
    kinds = [one.get("type") for one in etree.fromstring(data).iter("pedal")]
    assert kinds.count("start") == kinds.count("stop")
    assert bool(kinds) == bool(needing(before)) or any(True for _ in etree.fromstring(before.written()).iter("pedal"))


def test_some_file_needs_a_pedal():
    assert any(needing(document(path)) for path in FILES)


def test_words_are_printed_at_the_first_need():
    path = next(path for path in FILES if needing(document(path)))
    data = helped(document(path), Forces(), Help(damper="words")).written()
    assert data.count(b"con Ped.") == 1
    assert not complaints(data)


def test_nothing_asked_for_changes_nothing():
    before = document(FILES[0])
    assert helped(before, Forces(), Help()).written() == before.written()
