"""Keyboard parts that are wrong, odd or empty: each gives findings and a plan that names every note, no traceback."""

from __future__ import annotations

import json
from typing import Any

import pytest

from deskproof.check import Report, check
from deskproof.document import from_bytes
from deskproof.forces import parse
from deskproof.report import as_json

BAR = 16  # divisions; a quarter has four


def note(name: str, length: int = BAR, staff: int = 1, voice: int = 1, before: str = "", after: str = "") -> str:
    what = f"<pitch><step>{name[0]}</step><octave>{name[1:]}</octave></pitch>" if name != "R" else "<rest/>"
    time = "" if "<grace" in before else f"<duration>{length}</duration>"
    where = f"<staff>{staff}</staff>" if staff else ""
    return f"<note>{before}{what}{time}<voice>{voice}</voice>{where}{after}</note>"


def chord(names: str, length: int = BAR, staff: int = 1, voice: int = 1) -> str:
    rows = enumerate(names.split())
    return "".join(note(name, length, staff, voice, "<chord/>" if i else "") for i, name in rows)


def back(length: int = BAR) -> str:
    return f"<backup><duration>{length}</duration></backup>"


def score(*bars: str, staves: int = 2, name: str = "Piano", sound: str = "keyboard.piano") -> bytes:
    clefs = "".join(
        f'<clef number="{n}"><sign>{"G" if n == 1 else "F"}</sign><line>{2 if n == 1 else 4}</line></clef>'
        for n in range(1, staves + 1)
    )
    first = f"<attributes><divisions>4</divisions><staves>{staves}</staves>{clefs}</attributes>"
    first += '<direction><sound tempo="96"/></direction>'
    measures = "".join(
        f'<measure number="{n}">{first if n == 1 else ""}{bar}</measure>' for n, bar in enumerate(bars, 1)
    )
    return (
        f'<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}'
        f'</part-name><score-instrument id="I1"><instrument-name>{name}</instrument-name><instrument-sound>{sound}'
        f'</instrument-sound></score-instrument></score-part></part-list><part id="P1">{measures}</part>'
        "</score-partwise>"
    ).encode()


ELEVEN = "C2 E2 G2 B2 D3 F4 A4 C5 E5 G5 B5"
CASES = {
    "eleven notes in one chord": (score(chord(ELEVEN)), {"keyboard-notes"}),
    "eleven of the same key": (score(chord(" ".join(["C4"] * 11))), set()),
    "below and above the keys": (score(chord("C0 C4 C9")), {"tutti-outside-compass"}),
    "one staff": (score(chord("C3 G3 E4 C5"), staves=1), set()),
    "three staves": (
        score(
            chord("C5 E5") + back() + chord("G3 C4", staff=2, voice=2) + back() + note("C3", staff=3, voice=3), staves=3
        ),
        set(),
    ),
    "two voices on one key": (
        score(note("C4", 8) + note("C4", 8) + back() + note("C4", 16, voice=2) + back() + note("C4", 4, 2, 3)),
        set(),
    ),
    "notes without length": (score(note("C4", 0) + note("E4", 0) + note("G4", 16)), set()),
    "only rests": (score(note("R"), note("R")), set()),
    "no notes at all": (score("", ""), set()),
    "grace notes alone": (score(note("C4", before="<grace/>") + note("E4", before="<grace/>")), set()),
    "a staff that the part has not": (score(note("C4", staff=7)), set()),
    "a bar without end": (score(note("C4", 10**6), note("E4")), set()),
    "an organ whose feet have five keys": (
        score(
            chord("C5 E5") + back() + chord("G3 C4", staff=2, voice=2) + back()
            + chord("C2 E2 G2 B2 D3", staff=3, voice=3), staves=3, name="Organ", sound="keyboard.organ",
        ),
        {"keyboard-feet"},
    ),
}  # fmt: skip


def checked(data: bytes) -> Report:
    return check(from_bytes(data).score, parse("[players.pianist]\nplays = ['piano']\npedals = true"))


def recorded(report: Report) -> Any:
    return json.loads(json.dumps(as_json.report(report.state, report.findings, "x.musicxml", notes=True)))


@pytest.mark.parametrize("case", CASES)
def test_it_is_told_and_planned(case: str):
    data, rules = CASES[case]
    report = checked(data)
    assert rules <= {one.rule.id for one in report.findings}
    if not rules:
        assert not [one for one in report.findings if one.level in ("impossible", "hard")]
    record = recorded(report)
    plans = [plan for plan in record["plans"] if plan["kind"] == "keyboard"]
    sounding = {row["ref"] for row in record["notes"] if not (row["cue"] or row["hidden"] or row["ossia"])}
    named = {row["ref"] for plan in plans for row in [*plan["notes"], *plan.get("feet", ())]}
    left = {ref for plan in plans for row in plan["unplanned"] for ref in row["notes"]}
    assert not named & left
    assert sounding <= named | left


def test_eleven_keys_of_one_chord_leave_one_without_a_hand():
    record = recorded(checked(CASES["eleven notes in one chord"][0]))
    plan = record["plans"][0]
    hands = [row["hand"] for row in plan["notes"]]
    assert max(hands.count("L"), hands.count("R")) <= 6
    assert [row["rule"] for row in plan["unplanned"]] == ["keyboard-notes"]
