"""Published examples of what a harp can and cannot play (tests/published/harp.toml), as scores put to the program."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

import seeds
import seeds_harp
from deskproof import forces
from deskproof.check import check
from deskproof.document import Document, from_bytes
from deskproof.findings import Effect, Finding
from deskproof.report import as_json
from oracles import harp_checker
from seeds_harp import GRID, Page, Row

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "published" / "harp.toml").read_text("utf-8"))
PEDALS = "DCBEFGA"
Rows = list[dict[str, Any]]


class Answer:
    """A score checked: the findings and the record of the harp's plan, held against the outside checker."""

    def __init__(self, document: Document, room: str = "") -> None:
        self.document = document
        report = check(document.score, forces.parse(room) if room else None)
        self.findings = report.findings
        self.json = as_json.report(report.state, report.findings, "score.musicxml", notes=True)
        (self.plan,) = self.json["plans"]
        assert harp_checker.check(self.plan, self.json["notes"]) == []

    def named(self, rule: str) -> list[Finding]:
        return [one for one in self.findings if one.rule.id == rule]

    def notes(self, rule: str) -> set[str]:
        return {ref for row in self.json["findings"] if row["rule"] == rule for ref in row["notes"]}

    def levels(self) -> set[str]:
        """How bad it is, of what the harp's family says."""
        return {one.level for one in self.findings if one.rule.id.startswith("harp-")}

    @property
    def strings(self) -> list[str]:
        return [name for event in self.plan["events"] for name in event["strings"]]


def document(onsets: Sequence[Sequence[str]], gap: int = GRID, edit: Callable[[Any], None] | None = None) -> Document:
    """Onsets of note names, a quarter long, so many ticks apart, at a quarter a second."""
    rows = [Row(gap * k, GRID, tuple(map(seeds.spelling, names))) for k, names in enumerate(onsets)]
    data = seeds_harp.written(Page(60, tuple(rows))).data
    if edit is None:
        return from_bytes(data)
    root = etree.fromstring(data)
    edit(root.find("part/measure"))
    return from_bytes(seeds.written(root))


def chord(names: Sequence[str]) -> Answer:
    return Answer(document([names]))


def all_refs(answer: Answer) -> set[str]:
    return {row["ref"] for row in answer.json["notes"]}


def example(table: str, id_: str) -> dict[str, Any]:
    return next(row for row in PUBLISHED[table] if row["id"] == id_)


def diagram(setting: dict[str, int]) -> Callable[[Any], None]:
    """Puts a printed pedal diagram before the first note."""

    def edit(measure: Any) -> None:
        seeds.pedal_diagram(measure, " ".join(f"{p}{'b#'[(setting[p] + 1) // 2] * abs(setting[p])}" for p in PEDALS))
        measure.insert(1, measure[-1])

    return edit


# Settings.


@pytest.mark.parametrize("row", PUBLISHED["setting"], ids=lambda row: row["id"])
def test_a_published_setting_is_read_off_its_seven_notes(row: dict[str, Any]):
    names = [f"{p}{'b#'[(a + 1) // 2] * abs(a)}4" for p, a in row["setting"].items()]
    answer = Answer(document([[name] for name in names]))
    assert answer.plan["initial"] == row["setting"] and answer.plan["changes"] == []
    assert answer.plan["proven"] and answer.levels() == {"advice"}
    assert len(answer.named("harp-no-setting")) == 1


@pytest.mark.parametrize("row", PUBLISHED["setting"], ids=lambda row: row["id"])
def test_a_published_setting_printed_agrees_and_one_pedal_otherwise_does_not(row: dict[str, Any]):
    names = [[f"{p}{'b#'[(a + 1) // 2] * abs(a)}4"] for p, a in row["setting"].items()]
    assert Answer(document(names[:4], edit=diagram(row["setting"]))).levels() == set()
    for pedal in "DCBE":  # the pedals of the first bar
        other = {**row["setting"], pedal: (row["setting"][pedal] + 2) % 3 - 1}
        answer = Answer(document(names[:4], edit=diagram(other)))
        assert len(answer.named("harp-printed-setting")) == 1, pedal


def test_the_other_answer_asks_one_pedal_for_two_positions():
    row = example("not_the_set", "A5, the other answer")
    answer = chord(row["names"])
    assert answer.levels() == {"notation", "advice"}
    c, c_flat = (f"P1/m0/n{row['names'].index(name)}" for name in ("C4", "Cb5"))
    assert answer.notes("harp-spelling") & {c, c_flat}


# Chords.


def chords(*ids: str) -> list[Any]:
    return [pytest.param(example("chord", id_), id=id_) for id_ in ids]


@pytest.mark.parametrize("row", chords("A2", "A4", "A8", "A10"))
def test_a_playable_chord_is_played(row: dict[str, Any]):
    assert row["playable"]
    answer = chord(row["notes"])
    assert answer.plan["unplanned"] == [] and answer.plan["proven"]
    assert not answer.levels() & {"impossible", "hard"}
    assert len(answer.strings) == len(row["notes"])


def test_c_c_sharp_d_is_played_on_the_published_strings():
    row = example("chord", "A2")
    assert chord(row["notes"]).strings == row["strings"][0]


@pytest.mark.parametrize("row", chords("A2", "A4", "A8"))
def test_the_published_names_need_no_other_strings(row: dict[str, Any]):
    for names in row["names"]:
        answer = chord(names)
        assert answer.levels() == {"advice"} and answer.notes("harp-spelling") == set()
        assert answer.strings == [name[0] + name[-1] for name in names]


@pytest.mark.parametrize(
    "row",
    chords("A2", "A4", "A8", "A10"),
)
def test_a_chord_that_is_no_chord_as_written_is_told_and_mended(row: dict[str, Any]):
    answer = chord(row["notes"])
    told = answer.named("harp-spelling")
    assert [one.level for one in told] == ["notation"]
    mends = [mend for mend in told[0].mends if mend.effect is Effect.KEEPS_SOUND]
    assert mends
    mended = Answer(from_bytes(answer.document.with_edits(mends[0].edits).written()))
    assert mended.named("harp-spelling") == []
    assert [r["sounding"] for r in mended.json["notes"]] == [r["sounding"] for r in answer.json["notes"]]
    named = [r["written"][0] for r in mended.json["notes"]]
    assert len(set(named)) == len(named)  # a letter for each


@pytest.mark.parametrize("octaves", list(product((2, 4, 6), repeat=3)), ids=lambda o: "".join(map(str, o)))
def test_g_g_sharp_a_is_refused_in_all_octaves(octaves: tuple[int, int, int]):
    row = example("chord", "A3")
    assert not row["playable"]
    answer = chord([f"{name[:-1]}{octave}" for name, octave in zip(row["notes"], octaves, strict=True)])
    (told,) = answer.named("harp-cluster")
    assert told.level == "impossible" and set(map(str, told.notes)) == all_refs(answer)
    assert len(answer.plan["unplanned"]) == 1
    assert answer.plan["unplanned"][0]["rule"] == "harp-cluster"


# Strings without pedal.


@pytest.mark.parametrize("row", PUBLISHED["fixed"], ids=lambda row: row["id"])
def test_the_lowest_strings_give_only_what_they_are_tuned_to(row: dict[str, Any]):
    words = {-1: "flat", 0: "natural", 1: "sharp"}
    tuned = ", ".join(f'{string} = "{words[alter]}"' for string, alter in row["fixed"].items())
    room = f'[players.harp]\nplays = ["harp"]\nwithout_pedal = {{ {tuned} }}\n'
    answer = Answer(document(row["onsets"], gap=GRID * row["gap_us"] // 1_000_000), room)
    assert {f["string"]: f["alter"] for f in answer.plan["fixed"]} == row["fixed"]
    assert len(answer.plan["unplanned"]) == row["left_out"]
    assert len(answer.notes("harp-string-without-pedal")) == row["left_out"]
    assert ("impossible" in answer.levels()) == (row["left_out"] > 0)
    assert answer.plan["changes"] == []


def test_as_bought_the_lowest_strings_are_natural():
    row = example("fixed", "A12")
    answer = Answer(document(row["onsets"]))
    assert {f["string"]: f["alter"] for f in answer.plan["fixed"]} == row["fixed"]
    assert len(answer.notes("harp-string-without-pedal")) == row["left_out"] == 2


def test_every_pitch_of_the_published_compass_is_had_and_no_other():
    counts = PUBLISHED["counts"]
    low, high = counts["lowest_string"], counts["highest_pitch"]
    for pitch in range(low - 2, high + 3):
        answer = chord([seeds.flat_name(pitch)])
        assert (answer.plan["unplanned"] == []) == (low <= pitch <= high and pitch != low + 1), pitch
