"""SARIF 2.1.0 (OASIS standard), for programs that show findings of many tools in one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from deskproof import __version__
from deskproof.findings import Finding
from deskproof.report.places import spot_of
from deskproof.score import NoteRef
from deskproof.state import State

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVEL = {"impossible": "error", "hard": "warning", "notation": "warning", "advice": "note"}


def run(rows: Sequence[tuple[str, State, Sequence[Finding], Mapping[NoteRef, int]]]) -> dict[str, Any]:
    """One SARIF log over several scores: file, state, findings, and the line of each note where it is known."""
    rules: dict[str, Finding] = {}
    results = []
    for file, state, findings, lines in rows:
        for finding in findings:
            rules.setdefault(finding.rule.id, finding)
            results.append(_result(file, state, finding, lines))
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "deskproof",
                        "version": __version__,
                        "rules": [
                            {
                                "id": rule_id,
                                "shortDescription": {"text": finding.rule.title},
                                "fullDescription": {"text": finding.rule.why},
                            }
                            for rule_id, finding in rules.items()
                        ],
                    }
                },
                "results": results,
            }
        ],
    }


def _result(file: str, state: State, finding: Finding, lines: Mapping[NoteRef, int]) -> dict[str, Any]:
    part = state.score.parts[finding.place.part]
    physical: dict[str, Any] = {"artifactLocation": {"uri": file.replace("\\", "/")}}
    line = next((lines[ref] for ref in finding.notes if ref in lines), None)
    if line is not None:
        physical["region"] = {"startLine": line}
    place = spot_of(state, finding)
    return {
        "ruleId": finding.rule.id,
        "level": _LEVEL[finding.level],
        "message": {"text": f"{part.name or part.id}, {place.words}: {finding.says}"},
        "locations": [
            {
                "physicalLocation": physical,
                "logicalLocations": [{"name": part.name or part.id, "fullyQualifiedName": str(finding.notes[0])}],
            }
        ],
        "partialFingerprints": {"deskproof/v1": finding.id},
        "properties": {"level": finding.level, "bar": place.bar, "beat": str(place.beat)},
    }
