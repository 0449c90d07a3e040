"""What is shared between two harps can be played by both, and the second takes no more than it must: by brute force.

Parts for harp or piano: the harp is planned too, and is said of it what is hard, never that it is impossible.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise, product
from random import Random
from typing import Any

import pytest

import harp_passages
import seeds
from corpus import shared
from deskproof import document
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.families.harp.model import HarpNote, Onset, Settings
from deskproof.families.harp.two_harps import Passage, divided
from deskproof.findings import Effect, Finding
from deskproof.report import as_json
from deskproof.state import state_of
from oracles import harp_bruteforce

SEEDS = 80
Notes = Sequence[tuple[int, int]]


def goes(raw: harp_passages.Onsets, notes: Notes) -> bool:
    """Whether one harp plays these notes alone, by trying everything."""
    rows = [
        {**onset, "notes": [note for n, note in enumerate(onset["notes"]) if (o, n) in notes]}
        for o, onset in enumerate(raw)
    ]
    rows = [row for row in rows if row["notes"]]
    return not rows or harp_bruteforce.least(rows).impossible == 0


def all_notes(raw: harp_passages.Onsets) -> list[tuple[int, int]]:
    return [(o, n) for o, row in enumerate(raw) for n in range(len(row["notes"]))]


@cache
def passage(seed: int) -> harp_passages.Onsets:
    """Six onsets of two notes, or eight of one, close together, that one harp does not play."""
    draw = Random(f"two harps {seed}")
    while True:
        size, rows, t_us = draw.choice((1, 2)), [], 0
        for _ in range(6 if size == 2 else 8):
            pitches = sorted(draw.sample(range(60, 70 if size == 2 else 66), size))
            notes = [{"pitch": p, "written_us": 0, "spelled": harp_passages.name_of(p, False)} for p in pitches]
            rows.append({"t_us": t_us, "notes": notes})
            t_us += draw.choice((60_000, 120_000, 200_000))
        single = all(goes(rows, [one for one in all_notes(rows) if one[0] == o]) for o in range(len(rows)))
        if single and not goes(rows, all_notes(rows)):
            return rows


def onsets_of(raw: harp_passages.Onsets) -> tuple[Onset, ...]:
    return tuple(
        Onset(row["t_us"], tuple(HarpNote(n["pitch"], n["written_us"], n["spelled"][:2]) for n in row["notes"]))
        for row in raw
    )


def fewest(raw: harp_passages.Onsets) -> int | None:
    """The least number of hand-overs between two harps, by trying every sharing of whole onsets; None if none goes."""
    best = None
    for others in product((0, 1), repeat=len(raw) - 1):
        who = (0, *others)
        overs = sum(a != b for a, b in pairwise(who))
        if best is not None and overs >= best:
            continue
        if all(goes(raw, [one for one in all_notes(raw) if who[one[0]] == harp]) for harp in (0, 1)):
            best = overs
    return best


@pytest.mark.parametrize("seed", range(SEEDS))
def test_the_music_changes_hands_as_seldom_as_it_can(seed: int):
    raw = passage(seed)
    found = divided(Passage(onsets_of(raw), Settings(500_000, 250_000)))
    least = fewest(raw)
    assert (None if found is None else found.overs) == least
    if found is not None:
        shares = [[(o, n) for o, ns in share for n in ns] for share in found.shares]
        assert sorted(one for share in shares for one in share) == all_notes(raw)
        assert all(goes(raw, share) for share in shares)


def test_the_sample_has_one_hand_over_and_more():
    found = {divided(Passage(onsets_of(passage(seed)), Settings(500_000, 250_000))) for seed in range(SEEDS)}
    assert {1, 2} <= {one.overs for one in found if one is not None}


def harp(notes: str, **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 120, "notes": notes, **more})


def findings(raw: bytes) -> list[Finding]:
    return [one for one in check(from_bytes(raw).score).findings if one.rule.id != "harp-no-setting"]


FAST = "G4+A4+B4+C5/32 G#4+A#4+C#5/32 R/16 R/8 R/4 R/2"


def test_the_division_is_a_mend_and_says_who_plays_what():
    (finding, *_) = [one for one in findings(harp(FAST)) if one.level == "impossible"]
    (mend,) = [one for one in finding.mends if "between harps" in one.says]
    assert mend.effect is Effect.ADVICE and not mend.edits
    assert "harp 1" in mend.says and "harp 2 from bar 1" in mend.says and "| E" in mend.says


def test_a_part_for_two_harps_is_told_how_to_divide_it():
    (finding,) = [one for one in findings(harp(FAST, part="Harps 1 & 2")) if "pedal-too-fast" in one.rule.id]
    assert finding.level == "advice" and "harp 2" in finding.says
    assert not [one for one in findings(harp(FAST, part="Harps 1 & 2")) if one.level in ("impossible", "hard")]


def test_two_parts_on_one_pair_of_staves_are_divided_by_hands():
    """Ten notes at once: two harps have fingers enough."""
    (finding,) = findings(harp("C2+E2+G2+C3+E3+G3+C4+E4+G4+C5/1"))
    assert finding.level == "impossible" and finding.rule.id == "harp-chord-hands"
    assert any("harp 1 takes C2" in mend.says for mend in finding.mends)


def test_eighteen_notes_for_one_harp_are_a_finding():
    names = [f"{step}{octave}" for octave in (2, 3, 4) for step in "CDEFGA"]
    (finding,) = findings(harp("+".join(names) + "/1"))
    assert finding.level == "impossible"
    assert any("harp 3" in one.says for one in finding.mends)  # two harps have sixteen fingers


def test_a_wide_bracketed_chord_is_no_trouble_for_two_harps():
    raw = harp("C2+C4+C6/1", part="Harps 1 & 2", marks=[[0, "bracket"]])
    assert not [one for one in findings(raw) if one.level in ("impossible", "hard")]


@pytest.mark.parametrize("name", ["Piano (or Harp)", "Harfe oder Klavier", "Arpa o pianoforte", "Harp (Piano)"])
def test_a_part_for_either_is_planned_for_the_harp_too(name: str):
    raw = seeds.score({"instrument": "piano", "tempo": 120, "notes": FAST, "part": name})
    assert [plan["kind"] for plan in as_json.plans(state_of(from_bytes(raw).score)) if plan["kind"] == "harp"]
    found = [one for one in findings(raw) if one.rule.id.startswith("harp-")]
    assert any(one.level == "hard" for one in found) and not [one for one in found if one.level == "impossible"]
    assert all(one.says.startswith("on the harp, ") for one in found if one.level == "hard")


def test_a_piano_is_no_harp():
    raw = seeds.score({"instrument": "piano", "tempo": 120, "notes": FAST, "part": "Piano"})
    assert not [plan for plan in as_json.plans(state_of(from_bytes(raw).score)) if plan["kind"] == "harp"]
    assert not [one for one in findings(raw) if one.rule.id.startswith("harp-")]


def test_the_published_song_for_either_goes_on_the_harp():
    read = document.read(shared("abrams-crazy-jane.mxl"))
    (plan,) = [plan for plan in as_json.plans(state_of(read.score)) if plan["kind"] == "harp"]
    assert plan["player"] == "Piano (or Harp)" and not plan["unplanned"]
    assert [one["value"] for one in plan["objective"][:3]] == [0, 0, 0]
    assert not [one for one in check(read.score).findings if one.rule.id.startswith("harp-")]
