"""Faults put into harp passages are found by the whole program, as the smallest group that clashes.

Two hundred of each kind, at a printed tempo (see tests/seeds_harp.py for how they are made and why they clash):

- one change too fast: 120 impossible, 80 hard; two changes on one foot too fast: 120 impossible, 80 hard;
- G, G sharp and A: 100 struck together, 100 in quick succession;
- a note that only a string without pedal would give: 134 of C sharp or D flat, 66 of C flat or B.

An impossible group is found if one finding names all of it. What is hard is said of the notes that the late pedal is
moved for, or that are let go for it: it is found if a finding names one of the group.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import cache, partial
from typing import Any

import pytest

import seeds_harp
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.report import as_json
from deskproof.state import state_of
from oracles import harp_bruteforce
from seeds_harp import Page, Seeded, Written

EACH = 200
SHARE = 0.95
MAKERS: dict[str, Callable[[int], Seeded]] = {
    "one change": partial(seeds_harp.changes_too_fast, changes=1),
    "two on one foot": partial(seeds_harp.changes_too_fast, changes=2),
    "G, G sharp, A": seeds_harp.g_g_sharp_a,
    "string without pedal": seeds_harp.low_note,
}
RULES = {
    "one change": {"harp-pedal-too-fast", "harp-pedal-quick", "harp-let-go-early"},
    "two on one foot": {"harp-pedal-too-fast", "harp-one-foot-twice"},
    "G, G sharp, A": {"harp-cluster", "harp-pedal-too-fast"},
    "string without pedal": {"harp-string-without-pedal"},
}
Row = dict[str, Any]


@cache
def seeded(kind: str) -> tuple[Seeded, ...]:
    return tuple(MAKERS[kind](seed) for seed in range(EACH))


def reported(page: Written) -> list[Row]:
    """The findings of the JSON that are the harp's, of the two levels that somebody has to act on."""
    report = check(from_bytes(page.data).score)
    rows = as_json.report(report.state, report.findings, "score.musicxml")["findings"]
    return [row for row in rows if row["rule"].startswith("harp-") and row["level"] in ("impossible", "hard")]


def refused(page: Page) -> list[tuple[str, set[str]]]:
    """Level and notes of what the harp's family calls impossible or hard, not folded."""
    state = state_of(from_bytes(seeds_harp.written(page).data).score)
    return [(f.level, set(map(str, f.notes))) for f in state.atoms["harp", 0] if f.level in ("impossible", "hard")]


@cache
def found(kind: str) -> tuple[tuple[Row, ...], ...]:
    """For each seed the findings that hold its group."""
    rows = []
    for one in seeded(kind):
        page = seeds_harp.written(one.page)
        group = {page.refs[note] for note in one.group}
        mine = [row for row in reported(page) if row["level"] == one.level and row["rule"] in RULES[kind]]
        if one.level == "impossible":
            mine = [row for row in mine if group <= set(row["notes"])]
        else:
            mine = [row for row in mine if group & set(row["notes"])]
        rows.append(tuple(mine))
    return tuple(rows)


def places(page: Page, refs: Sequence[str]) -> list[tuple[int, int]]:
    """Where on the page these notes stand."""
    at = {ref: note for note, ref in seeds_harp.written(page).refs.items()}
    return [at[ref] for ref in refs]


@pytest.mark.parametrize("kind", MAKERS)
def test_the_fault_is_found(kind: str):
    sorts = Counter((one.level, one.sort) for one in seeded(kind))
    hits = Counter((one.level, one.sort) for one, rows in zip(seeded(kind), found(kind), strict=True) if rows)
    assert min(sorts.values()) >= 20
    assert {sort: hits[sort] for sort in sorts if hits[sort] < SHARE * sorts[sort]} == {}, sorts
    missed = [seed for seed, rows in enumerate(found(kind)) if not rows]
    assert len(missed) <= (1 - SHARE) * EACH, missed


@pytest.mark.parametrize("kind", MAKERS)
def test_every_note_of_a_clash_is_needed(kind: str):
    """Without any one of its notes, a page has nothing impossible; and brute force says the same of the group alone."""
    tried = 0
    for seed, (one, rows) in enumerate(zip(seeded(kind), found(kind), strict=True)):
        if not rows or one.level != "impossible":
            continue
        notes = places(one.page, rows[0]["notes"])
        assert harp_bruteforce.least(one.page.onsets(notes)).impossible == 1, seed
        for note in notes:
            tried += 1
            rest = [other for other in notes if other != note]
            assert not rest or harp_bruteforce.least(one.page.onsets(rest)).impossible == 0, (seed, note)
            left = [notes for level, notes in refused(one.page.without(*note)) if level == "impossible"]
            assert left == [], (seed, note)
    assert tried >= EACH / 2


@pytest.mark.parametrize("kind", ["one change", "two on one foot"])
def test_what_is_hard_goes_with_any_note_of_the_group(kind: str):
    tried = 0
    for seed, (one, rows) in enumerate(zip(seeded(kind), found(kind), strict=True)):
        if not rows or one.level != "hard":
            continue
        for note in one.group:
            tried += 1
            page = one.page.without(*note)
            here = {ref for (row, _), ref in seeds_harp.written(page).refs.items() if row in one.rows}
            assert [notes for _, notes in refused(page) if notes & here] == [], (seed, note)
    assert tried >= EACH / 2


@pytest.mark.parametrize("kind", MAKERS)
def test_the_passages_without_a_fault_have_nothing_impossible(kind: str):
    for seed, one in enumerate(seeded(kind)):
        assert [notes for level, notes in refused(one.clean) if level == "impossible"] == [], seed


def test_low_notes_that_a_string_gives_are_left_alone():
    """C, D, E flat (also as D sharp) and E of the lowest octave; E1 is the lowest string with a pedal."""
    for seed in range(60):
        one = seeds_harp.low_note(seed, seeds_harp.A_STRING)
        page = seeds_harp.written(one.page)
        assert [row for row in reported(page) if page.refs[one.group[0]] in row["notes"]] == [], seed


def test_the_groups_clash_by_the_mechanism():
    """The witness itself: brute force refuses every group, and takes it with any one note less."""
    for kind in MAKERS:
        for seed, one in enumerate(seeded(kind)[:40]):
            whole = harp_bruteforce.least(one.page.onsets(one.group))
            fewer = [
                harp_bruteforce.least(one.page.onsets(note for note in one.group if note != left))
                for left in one.group
                if len(one.group) > 1
            ]
            if one.level == "impossible":
                assert whole.impossible == 1 and all(rest.impossible == 0 for rest in fewer), (kind, seed)
            else:
                assert whole.impossible == 0 and not whole.comfortable, (kind, seed)
                assert all(rest.comfortable for rest in fewer), (kind, seed)
