"""Faults of two hands, put into passages of real piano parts, are found; most have a mend; the mends hold.

The faults are made by tests/seeds_keyboard.py, which knows no rule. Fractions and distances are said there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import cache
from typing import NamedTuple

import pytest

import seeds_keyboard as faults
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.findings import Finding

SEEDS = 200
LEAST = 190  # found, of 200
MENDED = 180
OTHERS = 4  # notes that a finding may name beside those of the fault
RULES = {
    "an inner note up an octave": "keyboard-stretch",
    "seven notes in a hand": "keyboard-notes",
    "a leap at double tempo": "keyboard-leap",
    "14 repeats a second": "keyboard-repeat",
    "a key held and struck": "keyboard-restruck",
    "a twelfth with no time to roll": "keyboard-stretch",
}


class Outcome(NamedTuple):
    """How many faults of a kind are found, have a mend, and are gone after it; what a fair passage brings."""

    found: int
    mended: int
    held: int
    loud: tuple[str, ...]


def findings(data: bytes) -> tuple[Finding, ...]:
    return check(from_bytes(data).score).findings


def counted(rows: Iterable[Finding]) -> Counter[str]:
    return Counter(one.rule.id for one in rows)


def holds(data: bytes, one: Finding, had: Counter[str]) -> bool:
    """Whether the file with the first written mend has one finding of this rule fewer, and no more of any."""
    edits = next(mend.edits for mend in one.mends if mend.edits)
    now = counted(findings(from_bytes(data).with_edits(edits).written()))
    return now[one.rule.id] < had[one.rule.id] and all(now[rule] <= had[rule] for rule in now)


@cache
def outcome(kind: str) -> Outcome:
    found = mended = held = 0
    loud = []
    for seed in range(SEEDS):
        fault = faults.made(kind, seed)
        seeded = set(fault.refs)
        rows = findings(fault.seeded)
        named = [one for one in rows if one.rule.id == RULES[kind] and seeded & {str(ref) for ref in one.notes}]
        notes = {str(ref) for one in named for ref in one.notes}
        if seeded <= notes and all(len({str(ref) for ref in one.notes} - seeded) <= OTHERS for one in named):
            found += 1
        one = next((one for one in named if any(mend.edits for mend in one.mends)), None)
        if one is not None:
            mended += 1
            held += holds(fault.seeded, one, counted(rows))
        before, fair = counted(findings(fault.before)), findings(fault.clean)
        had = counted(fair)
        loud += [
            f"{seed}: {one.says}"
            for one in fair
            if one.rule.id.startswith("keyboard") and had[one.rule.id] > before[one.rule.id]
        ]
    return Outcome(found, mended, held, tuple(loud))


@pytest.mark.parametrize("kind", faults.KINDS)
def test_the_fault_is_found(kind: str):
    assert outcome(kind).found >= LEAST, outcome(kind)


@pytest.mark.parametrize("kind", faults.KINDS)
def test_most_faults_have_a_mend_that_holds(kind: str):
    of = outcome(kind)
    assert of.mended >= MENDED, of
    assert of.held >= 0.95 * of.mended, of


@pytest.mark.parametrize("kind", faults.KINDS)
def test_the_same_music_without_the_fault_is_silent(kind: str):
    assert outcome(kind).loud == ()


def test_half_of_the_faults_stand_in_bars_above_the_median():
    dense, rest = (
        [faults.made(kind, seed).passage.notes for kind in faults.KINDS for seed in range(n, SEEDS, 2)] for n in (0, 1)
    )
    assert min(dense) > max(rest)
