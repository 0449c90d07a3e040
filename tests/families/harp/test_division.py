"""What is shared between two harps can be played by both, and the second takes no more than it must: by brute force.

Parts for harp or piano: the harp is planned too, and is said of it what is hard, never that it is impossible.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from random import Random
from typing import Any

import pytest

import harp_passages
import seeds
from corpus import shared
from deskproof import document
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.families.harp.division import divided
from deskproof.families.harp.model import HarpNote, Onset, Settings
from deskproof.findings import Effect, Finding
from deskproof.report import as_json
from deskproof.state import state_of
from oracles import harp_bruteforce

SEEDS = 60
Notes = Sequence[tuple[int, int]]


def goes(raw: harp_passages.Onsets, notes: Notes) -> bool:
    """Whether one harp plays these notes alone, by trying everything."""
    rows = [
        {**onset, "notes": [note for n, note in enumerate(onset["notes"]) if (o, n) in notes]}
        for o, onset in enumerate(raw)
    ]
    rows = [row for row in rows if row["notes"]]
    return not rows or harp_bruteforce.least(rows).impossible == 0


def passage(seed: int) -> harp_passages.Onsets:
    """Two or three onsets close together that one harp does not play."""
    draw = Random(f"two harps {seed}")
    while True:
        rows, t_us = [], 0
        for _ in range(draw.choice((1, 2, 2, 3))):
            pitches = sorted(draw.sample(range(60, 70), draw.choice((1, 2, 3))))
            notes = [{"pitch": p, "written_us": 0, "spelled": harp_passages.name_of(p, False)} for p in pitches]
            rows.append({"t_us": t_us, "notes": notes})
            t_us += draw.choice((100_000, 200_000))
        if not goes(rows, [(o, n) for o, row in enumerate(rows) for n in range(len(row["notes"]))]):
            return rows


def onsets_of(raw: harp_passages.Onsets) -> list[Onset]:
    return [
        Onset(row["t_us"], tuple(HarpNote(n["pitch"], n["written_us"], n["spelled"][:2]) for n in row["notes"]))
        for row in raw
    ]


def all_notes(raw: harp_passages.Onsets) -> list[tuple[int, int]]:
    return [(o, n) for o, row in enumerate(raw) for n in range(len(row["notes"]))]


@pytest.mark.parametrize("seed", range(SEEDS))
def test_the_second_harp_takes_what_it_must_and_no_more(seed: int):
    raw = passage(seed)
    found = divided(onsets_of(raw), range(len(raw)), Settings(500_000, 250_000))

    def parted(second: Notes) -> bool:
        return goes(raw, second) and goes(raw, [one for one in all_notes(raw) if one not in second])

    if len(raw) == 1:
        shares: list[Notes] = [c for k in range(1, len(raw[0]["notes"])) for c in combinations(all_notes(raw), k)]
        size = len
    else:
        runs = [range(a, b) for a in range(len(raw)) for b in range(a + 1, len(raw) + 1) if b - a < len(raw)]
        shares = [[one for one in all_notes(raw) if one[0] in run] for run in runs]

        def size(share: Notes) -> int:
            return len({o for o, _ in share})

    least = min((size(share) for share in shares if parted(share)), default=None)
    assert (found is None) == (least is None)
    if found is not None:
        assert parted(found.second) and size(found.second) == least


def test_the_sample_has_chords_and_passages_and_shares_of_several_sizes():
    rows = [passage(seed) for seed in range(SEEDS)]
    found = [divided(onsets_of(raw), range(len(raw)), Settings(500_000, 250_000)) for raw in rows]
    assert {len(raw) for raw in rows} == {1, 2, 3}
    assert len({len(one.second) for one in found if one is not None}) > 2


def harp(notes: str, **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 120, "notes": notes, **more})


def findings(raw: bytes) -> list[Finding]:
    return [one for one in check(from_bytes(raw).score).findings if one.rule.id != "harp-no-setting"]


FAST = "G4+A4+B4+C5/32 G#4+A#4+C#5/32 R/16 R/8 R/4 R/2"


def test_the_division_is_a_mend_and_says_who_plays_what():
    (finding, *_) = [one for one in findings(harp(FAST)) if one.level == "impossible"]
    (mend,) = [one for one in finding.mends if "two harps" in one.says]
    assert mend.effect is Effect.ADVICE and not mend.edits
    assert "the second takes" in mend.says and "in bar 1" in mend.says and "| E" in mend.says


def test_a_part_for_two_harps_is_told_how_to_divide_it():
    (finding,) = [one for one in findings(harp(FAST, part="Harps 1 & 2")) if "pedal-too-fast" in one.rule.id]
    assert finding.level == "advice" and "the second takes" in finding.says
    assert not [one for one in findings(harp(FAST, part="Harps 1 & 2")) if one.level in ("impossible", "hard")]


def test_two_parts_on_one_pair_of_staves_are_divided_by_hands():
    """Ten notes at once: two harps have fingers enough."""
    (finding,) = findings(harp("C2+E2+G2+C3+E3+G3+C4+E4+G4+C5/1"))
    assert finding.level == "impossible" and finding.rule.id == "harp-chord-hands"
    assert any("share it between two harps: the second takes" in mend.says for mend in finding.mends)


def test_eighteen_notes_for_one_harp_are_a_finding():
    names = [f"{step}{octave}" for octave in (2, 3, 4) for step in "CDEFGA"]
    (finding,) = findings(harp("+".join(names) + "/1"))
    assert finding.level == "impossible" and not [one for one in finding.mends if "two harps" in one.says]


@pytest.mark.parametrize("name", ["Piano (or Harp)", "Harfe oder Klavier", "Arpa o pianoforte", "Harp (Piano)"])
def test_a_part_for_either_is_planned_for_the_harp_too(name: str):
    raw = seeds.score({"instrument": "piano", "tempo": 120, "notes": FAST, "part": name})
    assert [plan["kind"] for plan in as_json.plans(state_of(from_bytes(raw).score)) if plan["kind"] == "harp"]
    found = [one for one in findings(raw) if one.rule.id.startswith("harp-")]
    assert found and all(one.level == "hard" and one.says.startswith("on the harp, ") for one in found)


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
