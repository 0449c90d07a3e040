"""The mends of the harp's findings do what they say, and what they mend is gone."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from random import Random
from typing import Any

import pytest

import seeds
from deskproof import document, mending
from deskproof.check import check
from deskproof.edits import SetMark
from deskproof.findings import Effect, Finding
from deskproof.forces import Forces, parse
from deskproof.recheck import recheck
from deskproof.report import as_json
from deskproof.score import Score
from deskproof.state import state_of
from oracles import harp_checker
from oracles.music21_reading import compare, reading

CASES = Path(__file__).parents[2] / "cases" / "harp"
NAMES = (
    "C",
    "C#",
    "Db",
    "D",
    "D#",
    "Eb",
    "E",
    "Fb",
    "E#",
    "F",
    "F#",
    "Gb",
    "G",
    "G#",
    "Ab",
    "A",
    "A#",
    "Bb",
    "B",
    "Cb",
    "B#",
)

Sound = Counter[tuple[str, int, int, int | float | None]]


def sound(score: Score) -> Sound:
    """Every sounding note: who, from when, until when, which pitch."""
    state = state_of(score)
    return Counter(
        (line.role, event.onset, event.end, event.sounding)
        for line, events in zip(state.lines, state.timeline.parts, strict=True)
        for event in events
    )


def heard(score: Score, forces: Forces | None) -> Sound:
    """What the plans say is heard: harmonics at their sound, both notes of a trill."""
    return Counter(
        (plan["player"], event["t_us"], event["end_us"], pitch)
        for plan in as_json.plans(state_of(score, forces))
        if plan["kind"] == "harp"
        for event in plan["events"]
        for pitch in event["pitches"]
    )


def spelling(findings: tuple[Finding, ...]) -> list[Finding]:
    return [one for one in findings if one.rule.id == "harp-spelling"]


def firing() -> list[Any]:
    return [
        pytest.param(case, id=f"{table['rule']}: {case['name']}")
        for table in (tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(CASES.glob("*.toml")))
        for case in table["fires"]
    ]


@pytest.mark.parametrize("case", firing())
def test_a_mend_does_what_it_says_and_takes_its_finding_away(case: Mapping[str, Any]):
    read = document.from_bytes(seeds.score(case))
    forces = parse(case["forces"]) if "forces" in case else None
    report = check(read.score, forces)
    for finding in report.findings:
        for mend in finding.mends:
            assert bool(mend.edits) == (mend.effect is not Effect.ADVICE), mend.says
            if not mend.edits:
                continue
            after = document.from_bytes(read.with_edits(mend.edits).packed())
            same = sound(after.score) == sound(read.score)
            if all(isinstance(edit, SetMark) for edit in mend.edits):
                same = heard(after.score, forces) == heard(read.score, forces)  # a sign moves no note of the page
            assert same == (mend.effect is Effect.KEEPS_SOUND), (finding.says, mend.says)
            change = recheck(report.state, mend.edits, whole=True)
            assert {atom.key for atom in finding.atoms} & {one.key for one in change.gone}, (finding.says, mend.says)
            assert change.new == (), (finding.says, mend.says)


KEEPING = {"harp-spelling", "harp-string-again", "harp-trill-sign", "harp-trill-strings", "harp-harmonic-manner"}
"""Rules about how something is written: other names, or a sign that tells what is meant."""


def test_only_what_is_written_is_mended_without_a_change_of_sound():
    kept = Counter()
    for case in (param.values[0] for param in firing()):
        for finding in check(document.from_bytes(seeds.score(case)).score).findings:
            kept[finding.rule.id] += any(mend.effect is Effect.KEEPS_SOUND for mend in finding.mends)
    assert kept["harp-spelling"] >= 5
    assert {rule for rule, count in kept.items() if count and rule.startswith("harp-")} <= KEEPING


def line(seed: int) -> dict[str, Any]:
    """A slow line of sixteen whole notes or dyads, in names drawn at random."""
    draw = Random(f"harp spelling {seed}")
    few = draw.sample(NAMES, draw.randint(3, 8))
    words = []
    for _ in range(16):
        names = draw.sample(few, draw.randint(1, 2))
        words.append("+".join(f"{name}{4 + i}" for i, name in enumerate(names)) + "/1")
    return {"instrument": "harp", "tempo": 60, "notes": " ".join(words)}


@pytest.mark.parametrize("first", range(0, 60, 10))
def test_after_the_mends_of_the_spelling_nothing_is_left_to_spell(first: int):
    mended = 0
    for seed in range(first, first + 10):
        read = document.from_bytes(seeds.score(line(seed)))
        report = check(read.score)
        found = spelling(report.findings)
        if not found:
            continue
        mends = [mend for finding in found for mend in finding.mends]
        assert len(mends) == len(found), seed
        taken = mending.take(read, report, mends)
        assert taken.left == (), seed
        after = document.from_bytes(taken.document.packed())
        assert after.score == taken.document.score
        assert sound(after.score) == sound(read.score), seed
        again = check(after.score)
        assert spelling(again.findings) == [], seed
        assert not {one.rule.id for one in again.findings} - {one.rule.id for one in report.findings}, seed
        answer = as_json.report(again.state, again.findings, "score", notes=True)
        (plan,) = answer["plans"]
        assert harp_checker.check(plan, answer["notes"]) == []
        assert strings(plan) == written(answer["notes"]), seed  # every note is the name of its string
        mended += 1
    assert mended >= 3


def strings(plan: Mapping[str, Any]) -> dict[str, tuple[str, int]]:
    """Reference of a note -> the letter and position it is played on; chords here never share a letter's string."""
    return {
        ref: (string[0], position)
        for event in plan["events"]
        for ref, string, position in zip(event["notes"], event["strings"], event["positions"], strict=True)
    }


def written(rows: list[dict[str, Any]]) -> dict[str, tuple[str, int]]:
    return {row["ref"]: (row["written"][0], row["written"][1]) for row in rows}


def test_one_finding_after_the_other():
    """A chord that clashes and a line that only costs pedals are two findings; each mend takes its own away."""
    read = document.from_bytes(
        seeds.score({"instrument": "harp", "tempo": 60, "notes": "C4/1 C#4/1 C4/1 C#4/1 F4+F#4/1 C4/1"})
    )
    report = check(read.score)
    found = spelling(report.findings)
    assert {one.level for one in found} == {"advice", "notation"}
    for finding in found:
        (mend,) = finding.mends
        gone = recheck(report.state, mend.edits, whole=True).gone
        assert {atom.key for atom in finding.atoms} <= {one.key for one in gone}


def test_two_mends_of_one_bar_are_both_taken_in_two_goes_at_most():
    """Both want a sign at the last note, one a flat and the other a sharp."""
    read = document.from_bytes(seeds.score({"instrument": "harp", "tempo": 60, "notes": "Db3+D4/8 Db3/8"}))
    before = sound(read.score)
    for _ in range(2):
        report = check(read.score)
        mends = [mend for finding in spelling(report.findings) for mend in finding.mends]
        read = document.from_bytes(mending.take(read, report, mends).document.packed())
    assert spelling(check(read.score).findings) == []
    assert sound(read.score) == before


def test_a_tied_note_keeps_its_name_over_the_bar_line():
    ties = [[1, "tie"], [2, "tie"]]
    case = {"instrument": "harp", "tempo": 60, "notes": "C4/2 C#4/2 | C#4/1 | C#4/2 C4/2", "marks": ties}
    read = document.from_bytes(seeds.score(case))
    report = check(read.score)
    (finding,) = spelling(report.findings)
    (mend,) = finding.mends
    after = read.with_edits(mend.edits).score
    names = [str(note.pitch) for measure in after.parts[0].measures for note in measure.notes]
    assert len(set(names[1:4])) == 1 and names[1] != "C♯4"
    assert sound(after) == sound(read.score)


def test_a_repeat_is_spelled_once():
    signs = [[0, "repeat"], [3, "repeat-end"]]
    case = {"instrument": "harp", "tempo": 60, "notes": "C4/1 C#4/1 C4/1 C#4/1", "marks": signs}
    read = document.from_bytes(seeds.score(case))
    report = check(read.score)
    (finding,) = spelling(report.findings)
    (mend,) = finding.mends
    assert len(finding.notes) == 2
    after = document.from_bytes(read.with_edits(mend.edits).packed())
    assert sound(after.score) == sound(read.score)
    assert spelling(check(after.score).findings) == []


@pytest.mark.parametrize("seed", range(3))
def test_music21_hears_the_same_after_the_spelling(seed: int, tmp_path: Path):
    before, mended = tmp_path / "before.musicxml", tmp_path / "mended.musicxml"
    before.write_bytes(seeds.score({**line(seed), "notes": "C4/1 C#4/1 F4+F#4/1 " + line(seed)["notes"]}))
    read = document.read(before)
    report = check(read.score)
    taken = mending.take(read, report, [mend for finding in spelling(report.findings) for mend in finding.mends])
    mended.write_bytes(taken.document.packed())
    assert mended.read_bytes() != before.read_bytes()
    assert compare(reading(before), reading(mended)) == []
