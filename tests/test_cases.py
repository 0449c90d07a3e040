"""The cases of every rule: small lines of music that fire it, and some that look like it and do not."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

import seeds
from deskproof.check import check
from deskproof.document import Document, from_bytes
from deskproof.findings import Effect, Finding
from deskproof.forces import parse
from deskproof.movements import in_order
from schema import complaints

CASES = Path(__file__).parent / "cases"


def tables() -> list[Path]:
    return sorted(CASES.glob("*/*.toml"))


def cases(kind: str) -> list[Any]:
    return [
        pytest.param(table["rule"], case, id=f"{table['rule']}: {case['name']}")
        for table in (tomllib.loads(path.read_text(encoding="utf-8")) for path in tables())
        for case in table.get(kind, ())
    ]


def found(document: Document, rule: str, case: Mapping[str, Any]) -> list[Finding]:
    forces = parse(case["forces"]) if "forces" in case else None
    report = check(document.score, forces)
    if "before" in case:
        earlier = check(from_bytes(seeds.score(case["before"])).score, forces)
        report, _ = in_order([earlier, report])[1]
    return [one for one in report.findings if one.rule.id == rule]


def notes_of(raw: bytes) -> list[list[tuple[str | None, ...]]]:
    """Every pitched note of a document as (letter, alteration, octave, printed sign), token by token."""
    rows: list[list[tuple[str | None, ...]]] = []
    for note in etree.fromstring(raw).iter("note"):
        if note.find("chord") is None:
            rows.append([])
        pitch = note.find("pitch")
        if pitch is not None:
            spelled = (pitch.findtext("step"), pitch.findtext("alter") or "0", pitch.findtext("octave"))
            rows[-1].append((*spelled, note.findtext("accidental")))
    return rows


def token_of_note(raw: bytes) -> dict[tuple[str, int, int], int]:
    """(part, measure, ordinal of the note in it) -> ordinal of its token, counted on from part to part."""
    found, token = {}, -1
    for part in etree.fromstring(raw).iter("part"):
        for m, measure in enumerate(part.iterfind("measure")):
            for n, note in enumerate(measure.iterfind("note")):
                token += note.find("chord") is None
                found[part.get("id"), m, n] = token
    return found


def test_there_are_cases():
    assert len(tables()) >= 4
    assert len(cases("fires")) >= 15 and len(cases("silent")) >= 15


@pytest.mark.parametrize(("rule", "case"), [*cases("fires"), *cases("silent")])
def test_the_case_is_a_valid_score(rule: str, case: Mapping[str, Any]):
    wrong = [line for line in complaints(seeds.score(case)) if "accidental" not in line]  # an empty sign is not valid
    assert wrong == []


@pytest.mark.parametrize(("rule", "case"), cases("fires"))
def test_fires(rule: str, case: Mapping[str, Any]):
    raw = seeds.score(case)
    findings = found(from_bytes(raw), rule, case)
    assert len(findings) == case.get("findings", 1), [one.says for one in findings]
    assert {one.level for one in findings} == {case["level"]}
    tokens = token_of_note(raw)
    assert sorted({tokens[ref] for one in findings for ref in one.notes}) == case["at"]
    for name, value in case.get("numbers", {}).items():
        assert findings[0].numbers[name] == value


@pytest.mark.parametrize(("rule", "case"), cases("silent"))
def test_silent(rule: str, case: Mapping[str, Any]):
    assert [one.says for one in found(from_bytes(seeds.score(case)), rule, case)] == []


@pytest.mark.parametrize(("rule", "case"), [c for c in cases("fires") if "mended" in c.values[1]])
def test_a_mend_leads_to_the_mended_line(rule: str, case: Mapping[str, Any]):
    document = from_bytes(seeds.score(case))
    (finding,) = found(document, rule, case)
    clean = {**case, "marks": [m for m in case.get("marks", ()) if m[1] not in ("no-sign", "sign")]}
    wanted = seeds.score(clean, case["mended"])
    assert found(from_bytes(wanted), rule, case) == []
    line = notes_of(wanted)
    fitting = [mend for mend in finding.mends if notes_of(document.with_edits(mend.edits).written()) == line]
    assert fitting, [mend.says for mend in finding.mends]
    same = seeds.sounding(case, case["notes"]) == seeds.sounding(case, case["mended"])
    assert (fitting[0].effect is Effect.KEEPS_SOUND) == same
