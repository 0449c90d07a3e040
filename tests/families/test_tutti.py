"""Compass and accidentals: every instrument's ends, and what is known of the shared scores."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

import seeds
from corpus import corpus_files, shared
from deskproof.check import check
from deskproof.document import from_bytes, read
from deskproof.findings import Finding

WITH_COMPASS = sorted(name for name, table in seeds.facts().items() if "lowest" in table)
# A chorale melody of nine bars with an upbeat: short, plain, and found in no table of ours.
REAL = next(f.path for f in corpus_files() if f.name == "bach/bwv66.6.mxl")


def ends(table: Mapping[str, Any], which: str) -> tuple[int, int, int]:
    """MIDI numbers of one end: of the ordinary field, of the usual instrument, of the furthest one."""
    common = seeds.midi(table[which])
    ordinary, last = table.get(f"ordinary_{which}"), table.get(f"{which}_extended")
    return seeds.midi(ordinary) if ordinary else common, common, seeds.midi(last) if last else common


def expected(number: int, low: tuple[int, int, int], high: tuple[int, int, int]) -> str | None:
    """The level that a sounding note deserves by the tables alone."""
    if number < low[2] or number > high[2]:
        return "impossible"
    return "hard" if number < low[0] or number > high[0] else None


def test_the_tables_have_instruments():
    assert len(WITH_COMPASS) > 100
    assert set(WITH_COMPASS) <= set(seeds.instruments())


@pytest.mark.parametrize("instrument", WITH_COMPASS)
def test_every_end_of_the_compass(instrument: str):
    table = seeds.facts()[instrument]
    low, high = ends(table, "lowest"), ends(table, "highest")
    assert low[2] <= low[1] <= low[0] <= high[0] <= high[1] <= high[2]
    middle = (low[0] + high[0]) // 2
    numbers = {end + step for end in low for step in (0, -1)} | {end + step for end in high for step in (0, 1)}
    seen = set()
    for number in sorted(numbers):
        # A clef in which no older manner of writing is known for that end.
        seeded = seeds.real_part(REAL, instrument, "G2" if number <= middle else "F4", middle, number)
        findings = [f for f in check(from_bytes(seeds.written(seeded.root)).score).findings if is_compass(f)]
        level = expected(number, low, high)
        seen.add(level)
        if instrument == "harp" and number == low[2] < low[0]:  # the harp's own rule says of which string it would be
            assert [f.level for f in check(from_bytes(seeds.written(seeded.root)).score).findings
                    if f.rule.id == "harp-string-without-pedal"] == ["impossible"]  # fmt: skip
            continue
        assert [f.level for f in findings] == [level] * (level is not None), (number, [f.says for f in findings])
        if level is not None:
            assert [str(ref) for ref in findings[0].notes] == [seeded.note]
            limit = {"impossible": (low[2], high[2]), "hard": (low[1], high[1])}[level][number > middle]
            if low[0] == low[1] and high[0] == high[1]:
                assert findings[0].numbers["limit"] == limit
                assert findings[0].numbers["semitones"] == abs(number - limit)
    assert {None, "impossible"} <= seen


def is_compass(finding: Finding) -> bool:
    return "below" in finding.says or "above" in finding.says


def levels(path: Path, part: str, bars: range) -> dict[tuple[str, str], list[int]]:
    """(rule, level) -> furthest sounding MIDI numbers, of the compass findings of a part that begin in some bars."""
    report = check(read(path).score)
    found: dict[tuple[str, str], list[int]] = {}
    for one in report.findings:
        where = report.state.score.parts[one.place.part]
        if where.id == part and is_compass(one) and int(where.measures[one.place.measure].number) in bars:
            found.setdefault((one.rule.id, one.level), []).append(one.numbers["sounding"])
    return found


def test_boulanger_celesta():
    # Bars 76 to 78, left hand: B flat 2 is on no celesta; the six notes that sound from C3 to B3 need five octaves.
    found = levels(shared("boulanger-matin-bars-1-100.mxl"), "P26", range(76, 79))
    assert found == {
        ("tutti-outside-compass", "impossible"): [seeds.midi("Bb2")],
        ("tutti-needs-extension", "hard"): [seeds.midi("Db3")],
    }
    report = check(read(shared("boulanger-matin-bars-1-100.mxl")).score)
    (hard,) = [f for f in report.findings if f.rule.id == "tutti-needs-extension" and "celesta" in f.says]
    assert len(hard.notes) == 6
    assert {ref.measure for ref in hard.notes} <= {75, 76, 77}


def test_boulanger_flute_and_basses():
    score = shared("boulanger-matin-bars-1-100.mxl")
    assert levels(score, "P3", range(72, 73)) == {("tutti-needs-extension", "hard"): [seeds.midi("B3")]}
    assert levels(score, "P40", range(82, 83)) == {("tutti-needs-extension", "hard"): [seeds.midi("Db1")]}


def test_older_manner_of_the_bass_clef_is_never_impossible():
    horns = levels(shared("beethoven-symphony-6-4.mxl"), "P11", range(115, 119))
    assert list(horns) == [("manners-older-clef", "notation")]
    bass_clarinet = levels(shared("boulanger-matin-bars-1-100.mxl"), "P9", range(1, 101))
    assert list(bass_clarinet) == [("manners-older-clef", "notation")]


def test_beethoven_basses_need_an_extension():
    assert levels(shared("beethoven-symphony-6-4.mxl"), "P21", range(1, 200)) == {
        ("tutti-needs-extension", "hard"): [seeds.midi("C1")]
    }


MADE = [
    ("celesta", "F4", "Bb1/4 C2/4 D2/4 E2/4 | G2/4 A2/4 B2/2", {"impossible": 1, "hard": 6}),
    ("double-bass", "F4", "E2/4 Eb2/4 C2/4 B1/4", {"hard": 3}),
    ("double-bass", "F4", "Bb1/4 E2/4 E2/2", {"impossible": 1}),
    ("flute", "G2", "C4/4 B3/4 C4/2", {"hard": 1}),
    ("flute", "G2", "C4/4 Bb3/4 C4/2", {"impossible": 1}),
    ("bassoon", "F4", "Bb1/4 A1/4 Bb1/2", {"hard": 1}),
    ("bass-clarinet", "G2", "Eb3/4 C3/4 Eb3/2", {"hard": 1}),
    ("piano", "F4", "A0/4 G#0/4 F0/4 C1/4", {"hard": 2}),
    ("horn", "F4", "C2/1 G2/1", {"notation": 1}),
    ("bass-clarinet-a", "F4", "E2/1 G2/1", {"notation": 2}),
]


@pytest.mark.parametrize(("instrument", "clef", "notes", "wanted"), MADE)
def test_the_same_on_small_scores(instrument: str, clef: str, notes: str, wanted: dict[str, int]):
    raw = seeds.score({"instrument": instrument, "clef": clef, "notes": notes})
    findings = [f for f in check(from_bytes(raw).score).findings if is_compass(f)]
    assert {f.level: len(f.notes) for f in findings} == wanted, [f.says for f in findings]


def test_tenuto_is_no_tenor():
    # Viardot writes ten. over a note of the song; the part stays a voice of any kind, and its E5 ordinary.
    assert levels(shared("viardot-belle-yoli.mxl"), "P1", range(1, 200)) == {}
