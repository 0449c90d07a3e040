"""Strings that ring under a moving pedal: what is counted, against a count by hand of times and octaves."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

import seeds
from deskproof.document import from_bytes
from deskproof.report import as_json
from deskproof.state import state_of

SEEDS = 60


def plan_of(case: dict[str, Any]) -> dict[str, Any]:
    (plan,) = as_json.plans(state_of(from_bytes(seeds.score(case)).score))
    return plan


def ring_us(string: str) -> int:
    return 1000 * seeds.facts()["harp"]["ring"][int(string[-1]) - 1]


def by_hand(plan: dict[str, Any], rests: bool) -> int:
    """Pairs of a change and a string of its letter that was plucked last before it and rings still.

    Without rests and signs only the register and a second pluck end the ringing.
    """
    assert not rests
    attacks = [(e["t_us"], s) for e in plan["events"] for s in e["strings"]]
    count = 0
    for change in plan["changes"]:
        for string in {s for _, s in attacks if s[0] == change["pedal"]}:
            before = [t for t, s in attacks if s == string and t <= change["t_us"]]
            count += bool(before) and change["t_us"] < max(before) + ring_us(string)
    return count


def line(draw: Random) -> str:
    """Eight bars of crotchets without a rest, low and high, with black and white keys in turn."""
    names = [f"{letter}{octave}" for octave in (2, 3, 4, 5, 6) for letter in "CDEFGAB"]
    bars = []
    for _ in range(8):
        bars.append(" ".join(draw.choice(names).replace("F", draw.choice(("F", "F#"))) + "/4" for _ in range(4)))
    return " | ".join(bars)


@pytest.mark.parametrize("seed", range(SEEDS))
def test_buzzes_are_counted_as_by_hand(seed: int):
    plan = plan_of({"instrument": "harp", "tempo": 80, "notes": line(Random(f"ringing {seed}"))})
    value = next(entry for entry in plan["objective"] if entry["name"] == "buzzes")
    last = max(e["t_us"] + e["written_us"] for e in plan["events"])
    assert all(change["t_us"] < last for change in plan["changes"])
    assert value["value"] == by_hand(plan, rests=False)
    assert value["at_least"] == (None if value["value"] else 0)


def test_some_lines_buzz():
    values = [
        next(e["value"] for e in plan_of({"instrument": "harp", "tempo": 80, "notes": line(Random(f"ringing {seed}"))})
             ["objective"] if e["name"] == "buzzes")
        for seed in range(20)
    ]  # fmt: skip
    assert sum(values) > 10


@pytest.mark.parametrize(
    ("notes", "marks"),
    [
        ("C2+B4+D5/4 E4/4 C#5+D5/4 E4/4", [[1, "damp-all"]]),
        ("C2+B4+D5/4 R/4 C#5+D5/4 E4/4", []),
        ("C2+B4+D5/4 E4/4 C#5+D5/4 E4/4", [[0, "words sons étouffés"]]),
    ],
    ids=["a damping sign", "a rest", "sons étouffés"],
)
def test_damped_strings_do_not_buzz(notes: str, marks: list[Any]):
    case = {"instrument": "harp", "tempo": 60, "notes": notes, "marks": marks}
    plan = plan_of(case)
    assert [change["pedal"] for change in plan["changes"]] == ["C"]
    assert next(e["value"] for e in plan["objective"] if e["name"] == "buzzes") == 0


def test_a_change_waits_for_silence_where_it_has_the_time():
    """C6 rings for 1.8 s; the C pedal has until the seventh second and waits for it."""
    case = {"instrument": "harp", "tempo": 60, "notes": "C6+B4+D5/4 E4/4 F4/4 E4/4 | F4/4 E4/4 C#5+D5/4 E4/4"}
    (change,) = plan_of(case)["changes"]
    assert change["pedal"] == "C" and change["t_us"] >= 1_800_000
