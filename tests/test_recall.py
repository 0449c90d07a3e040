"""Faults put into real parts are found, and nothing else is found because of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

import seeds
from corpus import smallest
from deskproof.document import from_bytes
from deskproof.findings import Finding
from deskproof.state import state_of

FILES = 60  # of the sample that benchmarks/figures.py uses
SEEDS = 20


@cache
def paths() -> tuple[Path, ...]:
    return tuple(f.path for f in smallest(FILES))


@cache
def pool() -> dict[str, list[tuple[Path, int]]]:
    return seeds.plain_parts(paths())


def findings(root: object) -> list[Finding]:
    state = state_of(from_bytes(seeds.written(root)).score)
    return [one for atoms in state.atoms.values() for one in atoms]


def other_than(seeded: seeds.Seeded, now: list[Finding], before: list[Finding]) -> list[str]:
    """Findings that are new in the seeded score and do not name the seeded note."""
    known = {one.key for one in before}
    return [one.says for one in now if one.key not in known and seeded.note not in map(str, one.notes)]


@pytest.mark.parametrize("seed", range(SEEDS))
@pytest.mark.parametrize("level", ["impossible", "hard"])
def test_a_note_beyond_the_compass_is_found(level: str, seed: int):
    seeded = seeds.beyond_compass(pool(), seed, level)
    now = findings(seeded.root)
    found = [one for one in now if seeded.note in map(str, one.notes)]
    assert level in [one.level for one in found], [one.says for one in found]
    assert other_than(seeded, now, findings(seeded.as_it_was())) == []


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_sign_taken_away_is_found(seed: int):
    seeded = seeds.without_accidental(paths(), seed)
    now = findings(seeded.root)
    assert [one.level for one in now if seeded.note in map(str, one.notes)] == ["notation"]
    assert other_than(seeded, now, findings(seeded.as_it_was())) == []


def test_the_pool_is_wide():
    assert len(pool()) >= 6 and sum(map(len, pool().values())) >= 100
