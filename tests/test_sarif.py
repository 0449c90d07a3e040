"""SARIF as the standard asks: the properties it requires, checked by hand against OASIS SARIF 2.1.0.

The numbers are the standard's sections: 3.13 sarifLog, 3.14 run, 3.18 tool, 3.19 toolComponent, 3.27 result,
3.28 location, 3.29 physicalLocation, 3.30 region, 3.4 artifactLocation, 3.11 message, 3.49 reportingDescriptor.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from click.testing import CliRunner

from corpus import shared_scores
from deskproof import __version__
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO

# RFC 3986, appendix A: the characters of a URI reference.
URI = re.compile(r"(?:[A-Za-z0-9._~:/?#\[\]@!$&'()*+,;=-]|%[0-9A-Fa-f]{2})+")


def log(*paths: Path) -> dict[str, Any]:
    result = CliRunner().invoke(main, ["check", "--sarif", *map(str, paths)])
    assert result.exit_code in (0, 1), result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def plain(path: Path) -> list[dict[str, Any]]:
    result = CliRunner().invoke(main, ["check", "--json", str(path)])
    found: list[dict[str, Any]] = json.loads(result.stdout)["findings"]
    return found


def check_structure(found: dict[str, Any]) -> list[dict[str, Any]]:
    assert set(found) == {"$schema", "version", "runs"}
    assert found["version"] == "2.1.0"  # 3.13.2
    assert found["$schema"].endswith("sarif-schema-2.1.0.json")
    (run,) = found["runs"]
    assert set(run) <= {"tool", "results", "columnKind", "artifacts", "originalUriBaseIds"}
    driver = run["tool"]["driver"]
    assert driver["name"] == "deskproof"  # 3.19.8, required
    assert driver["version"] == __version__
    rules = {}
    for rule in driver["rules"]:
        assert rule["id"] not in rules  # 3.19.23: no two rules are equal
        rules[rule["id"]] = rule
        for key in ("shortDescription", "fullDescription"):
            assert rule[key]["text"]  # 3.12.3
    assert isinstance(run["results"], list)  # 3.14.23: present, if only empty, when the run looked for results
    for result in run["results"]:
        assert result["ruleId"] in rules
        assert result["level"] in ("none", "note", "warning", "error")  # 3.27.10
        assert result["message"]["text"]  # 3.27.11, required
        (location,) = result["locations"]
        physical = location["physicalLocation"]
        assert URI.fullmatch(physical["artifactLocation"]["uri"]), physical
        if "region" in physical:
            assert physical["region"]["startLine"] >= 1  # 3.30.5
        for logical in location["logicalLocations"]:
            assert logical["name"] and logical["fullyQualifiedName"]
        for key, value in result["partialFingerprints"].items():  # 3.27.17: texts; keys may carry a version
            assert re.fullmatch(r"[^/]+/v\d+", key)
            assert isinstance(value, str)
    results: list[dict[str, Any]] = run["results"]
    return results


def test_the_demo():
    results = check_structure(log(DEMO))
    findings = plain(DEMO)
    assert findings
    assert [r["partialFingerprints"]["deskproof/v1"] for r in results] == [f["id"] for f in findings]
    level = {"impossible": "error", "hard": "warning", "notation": "warning", "advice": "note"}
    assert [r["level"] for r in results] == [level[f["level"]] for f in findings]
    assert [r["ruleId"] for r in results] == [f["rule"] for f in findings]
    assert all(f["says"] in r["message"]["text"] for r, f in zip(results, findings, strict=True))
    assert [r["locations"][0]["logicalLocations"][0]["fullyQualifiedName"] for r in results] == [
        f["notes"][0] for f in findings
    ]


def test_lines_are_those_of_the_file():
    rows = DEMO.read_text(encoding="utf-8").split("\n")
    results = check_structure(log(DEMO))
    for result in results:
        line = result["locations"][0]["physicalLocation"]["region"]["startLine"]
        assert rows[line - 1].lstrip().startswith("<note")


def test_several_files_make_one_run():
    paths = [p for p in shared_scores() if p.suffix == ".mxl"][:3]
    results = check_structure(log(DEMO, *paths))
    assert len(results) == len(plain(DEMO)) + sum(len(plain(path)) for path in paths)
    for result in results:
        physical = result["locations"][0]["physicalLocation"]
        assert ("region" in physical) == physical["artifactLocation"]["uri"].endswith(".musicxml")


@pytest.mark.parametrize("name", ["my score.musicxml", "Übung 100%.musicxml", "a#b?c.musicxml", "[1].musicxml"])
def test_a_file_name_becomes_a_uri(tmp_path: Path, name: str):
    path = tmp_path / name
    path.write_bytes(DEMO.read_bytes())
    results = check_structure(log(path))
    uris = {r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in results}
    assert {unquote(uri) for uri in uris} == {str(path)}
    assert not any(set("#?") & set(uri) for uri in uris)  # these would begin a fragment or a query


def test_nothing_found_is_an_empty_list(tmp_path: Path):
    path = tmp_path / "clean.musicxml"
    path.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></measure></part>"
        "</score-partwise>"
    )
    assert check_structure(log(path)) == []
