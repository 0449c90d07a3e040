"""Timpani parts of scores: nothing left out of published ones, every note planned or named, printed tunings."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

import seeds
from corpus import shared_scores
from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.document import Document, from_bytes, read
from deskproof.families import Help
from deskproof.forces import Forces
from deskproof.mending import helped
from deskproof.report import as_json
from schema import complaints

PUBLISHED = [p for p in shared_scores() if p.name.startswith(("beach", "beethoven"))]


def plans(document: Document) -> list[Any]:
    report = check(document.score)
    record = json.loads(json.dumps(as_json.report(report.state, report.findings, "x", notes=True)))
    return [plan for plan in record["plans"] if plan["kind"] == "timpani"]


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda p: p.name)
def test_published_parts_leave_nothing_out(path: Path):
    document = read(path)
    (plan,) = plans(document)
    assert plan["unplanned"] == [] and plan["proven"]
    assert plan["events"]
    assert not [one for one in check(document.score).findings if one.rule.id.startswith("timpani-")]


def test_the_demo_s_notes_are_planned_or_named():
    (plan,) = plans(read(SCORE))
    assert plan["unplanned"] and plan["unplanned"][0]["rule"] == "timpani-no-time"
    played = {ref for event in plan["events"] for ref in event["notes"]}
    assert not played & set(plan["unplanned"][0]["notes"])


def slow() -> Document:
    case = {
        "instrument": "timpani", "tempo": 60,
        "notes": "E2/4 A2/4 E2/2 R/1 R/1 D2/4 A2/4 D2/2 R/1 R/1 E2/4 A2/4 E2/2",
    }  # fmt: skip
    return from_bytes(seeds.score(case))


def test_tunings_are_printed_where_the_drums_change():
    before = slow()
    (plan,) = plans(before)
    assert len(plan["retunes"]) >= 2
    after = helped(before, Forces(), Help(tuning_marks=True))
    data = after.written()
    assert from_bytes(data).score == after.score and not complaints(data)
    words = [one.text for one in etree.fromstring(data).iter("words")]
    assert words[0].replace(",", "").split()[0] in {"A", "E"}
    assert {"E to D", "D to E"} <= set(words)


def test_without_being_asked_nothing_is_printed():
    before = slow()
    assert helped(before, Forces(), Help()).written() == before.written()
