"""Faults of players, put in by construction, are found, and the same music without them is silent."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

import seeds
import seeds_players as faults
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.forces import parse

SEEDS = 100
LEAST = 95
RULES = {
    "piano and celesta together": {"players-clash", "players-second-keyboard"},
    "celesta within a second of the piano": {"players-clash", "players-second-keyboard"},
    "piccolo two seconds after the flute": {"players-change"},
    "one player at two percussion instruments": {"players-clash"},
}


def found(case: dict[str, Any]) -> list[str]:
    forces = parse(case["forces"]) if "forces" in case else None
    report = check(from_bytes(seeds.score(case)).score, forces)
    return [one.rule.id for one in report.findings if one.rule.id.startswith("players-")]


@cache
def outcome(kind: str) -> tuple[int, tuple[str, ...]]:
    hits, loud = 0, []
    for seed in range(SEEDS):
        fault = faults.made(kind, seed)
        hits += bool(RULES[kind] & set(found(fault.case)))
        loud += [f"{seed}: {rule}" for rule in found(fault.clean)]
    return hits, tuple(loud)


@pytest.mark.parametrize("kind", faults.KINDS)
def test_the_fault_is_found(kind: str):
    assert outcome(kind)[0] >= LEAST, outcome(kind)


@pytest.mark.parametrize("kind", faults.KINDS)
def test_without_the_fault_nothing_is_said(kind: str):
    assert outcome(kind)[1] == ()
