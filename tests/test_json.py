"""The JSON of ``check`` is what docs/check.schema.json says, and it hangs together."""

from __future__ import annotations

import copy
import json
import math
from collections import Counter
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from lxml import etree

from corpus import shared_scores, smallest
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO
from deskproof.musicxml import container

ROOT = Path(__file__).resolve().parents[1]
SCORES = [DEMO, *(p for p in shared_scores() if p.suffix != ".mid"), *(f.path for f in smallest(30))]
SCHEMA = json.loads((ROOT / "docs" / "check.schema.json").read_text(encoding="utf-8"))


@cache
def validator() -> Draft202012Validator:
    Draft202012Validator.check_schema(SCHEMA)
    return Draft202012Validator(SCHEMA)


def complaints(answer: object) -> list[str]:
    return [f"{error.json_path}: {error.message[:200]}" for error in validator().iter_errors(answer)]


@cache
def text(path: Path) -> str:
    result = CliRunner().invoke(main, ["check", "--json", "--notes", str(path)])
    assert result.exit_code in (0, 1), result.output
    return result.stdout


@cache
def answer(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text(path))
    return found


def notes_in(path: Path) -> dict[str, etree._Element]:
    """Every note element of a file by reference, found without the package's reader."""
    root = etree.fromstring(container.read(path).score, etree.XMLParser(resolve_entities=False, no_network=True))
    assert root.tag == "score-partwise"
    return {
        f"{part.get('id')}/m{m}/n{n}": note
        for part in root.iterfind("part")
        for m, measure in enumerate(part.iterfind("measure"))
        for n, note in enumerate(measure.iterfind("note"))
    }


@pytest.mark.parametrize("path", SCORES, ids=lambda p: p.name)
class TestAnswers:
    def test_it_is_as_the_schema_says(self, path: Path):
        rows = answer(path)["notes"]
        step = 1 + len(rows) // 400  # of many rows, every so manieth; all of them must have the same keys
        assert complaints({**answer(path), "notes": rows[::step]}) == []
        assert all(row.keys() == rows[0].keys() for row in rows)

    def test_a_second_run_says_the_same_to_the_letter(self, path: Path):
        again = CliRunner().invoke(main, ["check", "--json", "--notes", str(path)])
        assert again.stdout == text(path)

    def test_ids_are_unique(self, path: Path):
        ids = [f["id"] for f in answer(path)["findings"]]
        ids += [mend["id"] for f in answer(path)["findings"] for mend in f["mends"]]
        assert [id_ for id_, count in Counter(ids).items() if count > 1] == []
        for finding in answer(path)["findings"]:
            assert [m["id"] for m in finding["mends"]] == [
                f"{finding['id']}-{k}" for k in range(1, len(finding["mends"]) + 1)
            ]

    def test_references_lead_to_notes_of_the_file(self, path: Path):
        elements = notes_in(path)
        parts = {part["id"] for part in answer(path)["score"]["parts"]}
        for finding in answer(path)["findings"]:
            assert finding["part"] in parts
            for ref in finding["notes"]:
                assert elements[ref].find("rest") is None
                assert ref.startswith(f"{finding['part']}/")
        for row in answer(path)["notes"]:
            assert all(elements[ref].find("rest") is None for ref in (row["ref"], *row["tied_to"]))

    def test_every_note_of_the_file_sounds_in_some_row(self, path: Path):
        rows = answer(path)["notes"]
        sounding = {ref for row in rows for ref in (row["ref"], *row["tied_to"])}
        played = {ref.split("/")[1] for ref in sounding}  # a measure may be left out by a jump
        missing = {
            ref
            for ref, element in notes_in(path).items()
            if element.find("rest") is None and ref.split("/")[1] in played and ref not in sounding
            and (element.find("pitch") is not None or element.find("unpitched") is not None)
        }  # fmt: skip
        assert missing == set()

    def test_rows_say_what_the_file_says(self, path: Path):
        elements = notes_in(path)
        for row in answer(path)["notes"]:
            element = elements[row["ref"]]
            pitch = element.find("pitch")
            if pitch is None:
                assert row["written"] is None
                continue
            alter = float(pitch.findtext("alter") or 0)
            assert row["written"] == [pitch.findtext("step"), alter, int(pitch.findtext("octave") or "")]
            assert row["grace"] == (element.find("grace") is not None)
            assert row["cue"] == (element.find("cue") is not None)
            assert row["hidden"] == (element.get("print-object") == "no")
            assert row["staff"] == int(element.findtext("staff") or 1)
            assert row["voice"] == (element.findtext("voice") or "1")

    def test_times_run_forward(self, path: Path):
        rows = answer(path)["notes"]
        last = max(row["end_us"] for row in rows)
        assert last <= math.ceil(answer(path)["score"]["seconds"] * 1e6) + 1
        for row in rows:
            assert 0 <= row["onset_us"] <= row["end_us"]
        seen = Counter((row["ref"], row["pass"]) for row in rows)
        assert max(seen.values()) == 1
        passes: dict[str, list[int]] = {}
        for row in rows:
            passes.setdefault(row["ref"], []).append(row["onset_us"])
        assert all(onsets == sorted(onsets) for onsets in passes.values())

    def test_a_finding_stands_where_its_first_note_stands(self, path: Path):
        rows: dict[str, dict[str, Any]] = {}
        for row in answer(path)["notes"]:
            rows.setdefault(row["ref"], row)
        for finding in answer(path)["findings"]:
            row = rows.get(finding["notes"][0])
            if row is None:  # tied to a note before it: that one's row begins earlier
                assert any(finding["notes"][0] in r["tied_to"] for r in answer(path)["notes"])
                continue
            assert (finding["onset_us"], finding["bar"], finding["staff"]) == (
                row["onset_us"], row["bar"], row["staff"],
            )  # fmt: skip
            assert Fraction(finding["beat"]) >= 1

    def test_parts_count_the_notes_that_are_checked(self, path: Path):
        counts = Counter[str]()
        for ref, element in notes_in(path).items():
            silent = element.find("cue") is not None or element.get("print-object") == "no"
            if not silent and (element.find("pitch") is not None or element.find("unpitched") is not None):
                counts[ref.rsplit("/", 2)[0]] += 1
        for part in answer(path)["score"]["parts"]:
            assert part["notes"] <= counts[part["id"]]  # less the notes of ossia staves
            assert part["notes"] >= 0.9 * counts[part["id"]]


def test_a_finding_on_a_grace_note_stands_where_the_grace_note_is_played(tmp_path: Path):
    def note(octave: int, rest: str, grace: str = "") -> str:
        return f"<note>{grace}<pitch><step>C</step><octave>{octave}</octave></pitch>{rest}<voice>1</voice></note>"

    quarter = "<duration>1</duration>"
    path = tmp_path / "grace.musicxml"
    path.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        + note(5, quarter) + note(5, quarter) + note(2, "", "<grace/>") + note(5, quarter)
        + "</measure></part></score-partwise>"
    )  # fmt: skip
    found = json.loads(CliRunner().invoke(main, ["check", "--json", "--notes", str(path)]).stdout)
    (finding,) = found["findings"]
    (row,) = [row for row in found["notes"] if row["grace"]]
    main_note = found["notes"][-1]
    assert finding["notes"] == [row["ref"]] == ["P1/m0/n2"]
    assert finding["onset_us"] == row["onset_us"] < main_note["onset_us"]
    assert finding["beat"] == "3"


def test_the_scores_have_findings_and_mends_to_look_at():
    findings = [f for path in SCORES for f in answer(path)["findings"]]
    assert len(findings) >= 10
    assert {m["effect"] for f in findings for m in f["mends"]} >= {"keeps-sound", "changes-sound"}


def test_without_notes_there_are_no_rows_and_nothing_else_differs():
    plain = json.loads(CliRunner().invoke(main, ["check", "--json", str(DEMO)]).stdout)
    assert complaints(plain) == []
    with_notes = dict(answer(DEMO))
    del with_notes["notes"]
    assert plain == with_notes


def test_the_demo_says_what_its_page_says():
    score = answer(DEMO)["score"]
    assert (score["bars"], score["tempo"], len(score["parts"])) == (32, "marked", 17)
    rows = {(f["part"], f["bar"]): f for f in answer(DEMO)["findings"]}
    names = {part["id"]: part["name"] for part in score["parts"]}
    places = {(names[part], bar) for part, bar in rows}
    assert {("Flute 1", "8"), ("Double Bass", "19"), ("Viola", "10")} <= {
        (name.replace("Violas", "Viola").replace("Double Basses", "Double Bass"), bar) for name, bar in places
    }


# ---------------------------------------------------------------- the schema itself refuses what is wrong


def broken(path: str, value: object) -> dict[str, Any]:
    """The demo's answer with one value put in; a value of ``...`` takes the key away."""
    found = copy.deepcopy({**answer(DEMO), "notes": answer(DEMO)["notes"][:2]})
    keys = [int(key) if key.isdigit() else key for key in path.split("/")]
    at: Any = found
    for key in keys[:-1]:
        at = at[key]
    if value is ...:
        del at[keys[-1]]
    else:
        at[keys[-1]] = value
    return found


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("format", 2),
        ("tool/version", ...),
        ("extra", 1),
        ("score/tempo", "hidden"),
        ("score/parts/0/extra", 1),
        ("findings/0/level", "severe"),
        ("findings/0/because", ...),
        ("findings/0/id", "ABC"),
        ("findings/0/notes", []),
        ("findings/0/notes/0", "P1/12/3"),
        ("findings/0/onset_us", 1.5),
        ("findings/0/onset_us", -1),
        ("findings/0/beat", "0"),
        ("findings/0/beat", "2.5"),
        ("findings/0/mends", None),
        ("findings/0/numbers/deep", {"a": [1, {"b": None}]}),
        ("notes/0/written", ["H", 0, 4]),
        ("notes/0/written", ["C", 0]),
        ("notes/0/pass", 0),
        ("notes/0/extra", 1),
        ("silenced", [{"id": "aaaaaaaa"}]),
        ("plans", {}),
        ("plans", [{"kind": "harp"}]),
    ],
)
def test_the_schema_refuses(path: str, value: object):
    assert bool(complaints(broken(path, value))) == (path != "findings/0/numbers/deep")


COMMON: dict[str, Any] = {
    "id": "harp 1", "player": "harp", "model": {"comfortable_s": 0.5}, "proven": True, "unplanned": [],
    "spans": [{"part": "P1", "instrument": "harp", "from_us": 0, "to_us": 9}],
    "objective": [{"name": "impossible", "value": 0, "at_least": 0}],
}  # fmt: skip
LEVEL = dict.fromkeys("DCBEFGA", 0)
PLANS: dict[str, dict[str, Any]] = {
    "harp": {
        "pedal_us": 500000, "pair_moves": False, "fixed": [{"string": "C1", "alter": 0}], "initial": LEVEL,
        "changes": [
            {"t_us": 1, "dur_us": 2, "pass": 1, "pedal": "D", "from": 0, "to": -1, "foot": "left", "spare_us": -3,
             "bar": "12a", "beat": "5/2"}
        ],
        "damps": [{"t_us": 4, "letters": ["D", "A"]}],
        "events": [
            {"t_us": 0, "end_us": 5, "hold_us": 5, "written_us": 5, "pass": 1, "notes": ["P1/m0/n0"], "pitches": [60],
             "strings": ["C4"], "positions": [0], "hands": None, "how": "struck", "gliss": None, "ends": "written",
             "bar": "1", "beat": "1"},
            {"t_us": 5, "end_us": 9, "hold_us": 4, "written_us": 5, "pass": 1, "notes": ["P1/m0/n1"], "pitches": [60],
             "strings": ["C4"], "positions": [0], "hands": ["L"], "how": "gliss",
             "gliss": {"first": "C4", "last": "C6", "set": LEVEL}, "ends": "damped", "bar": "1", "beat": "2"},
        ],
    },
    "keyboard": {
        "span_mm": 208,
        "notes": [
            {"ref": "t2/n57", "pass": 1, "t_us": 0, "down_us": 0, "up_us": 5, "sounds_until_us": 7, "midi": 60,
             "hand": "R", "fingers": [1], "kept_by": "damper"}
        ],
        "pedals": [{"pedal": "una-corda", "down_us": 0, "up_us": 9, "written": True}],
        "rolls": [{"notes": ["t2/n57", "t2/n58"], "spread_us": 90000}],
    },
    "players": {
        "groups": [{"name": "percussion", "least": 2, "proven": True}],
        "players": [
            {"id": "flute 2", "spans": COMMON["spans"],
             "changes": [{"from": "flute", "to": "piccolo", "free_us": -1, "need_us": 5, "bar": "3", "beat": "1"}]}
        ],
        "clashes": [{"players": ["flute 2"], "notes": ["P1/m0/n0"], "short_us": 6}],
    },
    "timpani": {
        "drums": [{"id": "29", "inch": 29, "low": 41, "high": 48}], "initial": {"29": 43},
        "retunes": [{"t_us": 1, "dur_us": 2, "drum": "29", "from": 43, "to": 45}],
        "events": [{"t_us": 0, "hold_us": 1, "notes": ["P1/m0/n0"], "drums": ["29"], "pitches": [43]}],
    },
}  # fmt: skip


@pytest.mark.parametrize("kind", PLANS)
def test_plans_of_every_kind(kind: str):
    plan = {**COMMON, "kind": kind, **PLANS[kind]}

    empty = {**answer(DEMO), "notes": [], "findings": []}

    def said(one: dict[str, Any]) -> list[str]:
        return complaints({**empty, "plans": [one]})

    assert said(plan) == []
    assert said({**plan, "extra": 1})
    for key in plan:
        assert said({k: v for k, v in plan.items() if k != key}), key
    for other in PLANS.keys() - {kind}:
        assert said({**plan, "kind": other})
    for key, rows in PLANS[kind].items():
        if isinstance(rows, list):
            for i, row in enumerate(rows):
                for field in row:
                    less = {k: v for k, v in row.items() if k != field}
                    assert said({**plan, key: [*rows[:i], less, *rows[i + 1 :]]}), (key, field)
                assert said({**plan, key: [{**row, "extra": 1}]}), key
