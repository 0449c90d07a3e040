"""SARIF 2.1.0 (OASIS standard), for programs that show findings of many tools in one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from deskproof import __version__
from deskproof.findings import Finding
from deskproof.places import spot_of
from deskproof.score import NoteRef
from deskproof.state import State

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVEL = {"impossible": "error", "hard": "warning", "notation": "warning", "advice": "note"}


def run(file: str, state: State, findings: Sequence[Finding], lines: Mapping[NoteRef, int]) -> dict[str, Any]:
    """The SARIF log of one score; ``lines`` gives the line of each note where it is known."""
    rules = {finding.rule.id: finding.rule for finding in findings}
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
                                "id": rule.id,
                                "shortDescription": {"text": rule.title},
                                "fullDescription": {"text": rule.why},
                            }
                            for rule in rules.values()
                        ],
                    }
                },
                "results": [_result(file, state, finding, lines) for finding in findings],
            }
        ],
    }


def joined(logs: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """One log with one run out of the logs of several scores."""
    first = run("", None, (), {}) if not logs else logs[0]  # type: ignore[arg-type]
    runs = [log["runs"][0] for log in logs]
    driver = first["runs"][0]["tool"]["driver"]
    rules = {rule["id"]: rule for one in runs for rule in one["tool"]["driver"]["rules"]}
    results = [result for one in runs for result in one["results"]]
    return {**first, "runs": [{"tool": {"driver": {**driver, "rules": list(rules.values())}}, "results": results}]}


def _result(file: str, state: State, finding: Finding, lines: Mapping[NoteRef, int]) -> dict[str, Any]:
    part = state.score.parts[finding.place.part]
    physical: dict[str, Any] = {"artifactLocation": {"uri": quote(file.replace("\\", "/"), safe="/:")}}
    line = next((lines[ref] for ref in finding.notes if ref in lines), None)
    if line is not None:
        physical["region"] = {"startLine": line}
    place = spot_of(state, finding)
    ref = part.ref(finding.notes[0].measure, finding.notes[0].n)
    return {
        "ruleId": finding.rule.id,
        "level": _LEVEL[finding.level],
        "message": {"text": f"{part.name or part.id}, {place.words}: {finding.says}"},
        "locations": [
            {
                "physicalLocation": physical,
                "logicalLocations": [{"name": part.name or part.id, "fullyQualifiedName": ref}],
            }
        ],
        "partialFingerprints": {"deskproof/v1": finding.id},
        "properties": {"level": finding.level, "bar": place.bar, "beat": str(place.beat)},
    }
