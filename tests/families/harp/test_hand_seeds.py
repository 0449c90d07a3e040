"""Faults of hands, trills, harmonics, glissandi and ringing strings, put in by construction, are found."""

from __future__ import annotations

from functools import cache

import pytest

import seeds
import seeds_harp_hands as faults
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.findings import Finding

SEEDS = 200
LEAST = 190  # of 200
RULES = {
    "nine notes": {"harp-chord-hands"},
    "a bracketed chord too wide": {"harp-chord-hands"},
    "five notes in one hand": {"harp-chord-hands"},
    "a trill with no pair": {"harp-cluster", "harp-pedal-too-fast"},
    "a harmonic outside its strings": {"harp-harmonic-range"},
    "a glissando whose end is not in its set": {"harp-gliss-end"},
    "a pedal under a ringing string": {"harp-ringing"},
}


def findings(case: dict[str, object], kind: str) -> list[Finding]:
    document = from_bytes(seeds.score(case))
    return [one for one in check(document.score).findings if one.rule.id in RULES[kind]]


@cache
def found(kind: str) -> tuple[int, int, tuple[str, ...]]:
    """How many of the faults are found in their bar, how many clean scores are not silent, and what these say."""
    hits, loud = 0, []
    for seed in range(SEEDS):
        fault = faults.KINDS[kind](seed)
        hits += any(ref.measure == 2 for one in findings(fault.case, kind) for ref in one.notes)
        loud += [f"{seed}: {one.says}" for one in findings(fault.clean, kind)]
    return hits, len(loud), tuple(loud[:5])


@pytest.mark.parametrize("kind", faults.KINDS)
def test_the_fault_is_found(kind: str):
    hits, _, _ = found(kind)
    assert hits >= LEAST, hits


@pytest.mark.parametrize("kind", faults.KINDS)
def test_without_the_fault_nothing_is_said(kind: str):
    _, loud, said = found(kind)
    assert loud == 0, said
