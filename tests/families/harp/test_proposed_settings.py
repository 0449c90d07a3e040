"""Settings that a finding about a glissando proposes, checked with pitch arithmetic of the tests' own."""

from __future__ import annotations

from typing import Any

import pytest

import seeds
from deskproof import document
from deskproof.check import check
from deskproof.families.harp.setting_checks import proposal
from deskproof.findings import Finding

NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
ALTER = {"♭": -1, "♮": 0, "♯": 1}
FEET = "DCBEFGA"


def findings(rule: str, notes: str, marks: list[list[Any]], **more: Any) -> list[Finding]:
    raw = seeds.score({"instrument": "harp", "tempo": 60, "notes": notes, "marks": marks, **more})
    return [one for one in check(document.from_bytes(raw).score).findings if one.rule.id == rule]


def said(finding: Finding) -> list[dict[str, int]]:
    """The settings that the mends say, read off their words."""
    found = []
    for mend in finding.mends:
        if mend.says.startswith("set the pedals to "):
            words = mend.says.removeprefix("set the pedals to ").split(";")[0].replace(" |", "").split()
            found.append({word[0]: ALTER[word[1]] for word in words})
    return found


def sounding(setting: dict[str, int]) -> set[int]:
    return {(NATURAL[letter] + at) % 12 for letter, at in setting.items()}


def lines(words: str = "", start: int = 0) -> list[list[Any]]:
    marks: list[list[Any]] = [[start, "gliss"], [start + 1, "gliss-end"]]
    return [*marks, [start, f"words {words}"]] if words else marks


def unset(words: str, notes: str = "C4/2 C6/2", **more: Any) -> list[dict[str, int]]:
    found = [f for f in findings("harp-no-setting", notes, lines(words), **more) if f.level == "notation"]
    assert len(found) == 1
    rows = said(found[0])
    assert [dict(one) for one in found[0].numbers["settings"]] == rows and len(rows) <= 3
    return rows


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("gliss. in C♭ major", (-1, -1, -1, -1, -1, -1, -1)),
        ("gliss. in D flat major", (-1, 0, -1, -1, 0, -1, -1)),
        ("A harmonic minor scale", (0, 0, 0, 0, 0, 1, 0)),
        ("glissando (E major)", (1, 1, 0, 0, 1, 1, 0)),
    ],
)
def test_a_named_scale_of_seven_notes_is_set_as_it_is_named(words: str, first: tuple[int, ...]):
    rows = unset(words)
    assert rows[0] == dict(zip(FEET, first, strict=True))
    assert all(sounding(row) == sounding(rows[0]) for row in rows)


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("gliss. Bb9", {10, 2, 5, 8, 0}),
        ("whole tone gliss. on D", {0, 2, 4, 6, 8, 10}),
        ("gliss. C dim7", {0, 3, 6, 9}),
    ],
)
def test_a_named_chord_is_sounded_and_nothing_else(words: str, wanted: set[int]):
    rows = unset(words)
    assert rows and all(sounding(row) == wanted for row in rows)


def test_a_chord_that_no_setting_has_alone_says_what_sounds_besides():
    finding = next(f for f in findings("harp-no-setting", "C4/2 C6/2", lines("gliss. C major triad")) if f.mends)
    says = [mend.says for mend in finding.mends if mend.says.startswith("set")]
    assert len(says) == 3
    for text, row in zip(says, said(finding), strict=True):
        assert len(sounding(row) - {0, 4, 7}) == 2 and sounding(row) >= {0, 4, 7}
        besides = text.split("; ")[1].removesuffix(" sound too").replace(" and ", ", ").split(", ")
        assert {(NATURAL[one[0]] + ALTER[one[1]]) % 12 for one in besides} == sounding(row) - {0, 4, 7}


@pytest.mark.parametrize("words", ["", "dim.", "e dim.", "a tempo", "gliss.", "sempre gliss.", "D", "gliss. <b>x</b>"])
def test_without_a_name_the_key_is_set_with_the_ends_as_they_are_written(words: str):
    flats = dict(zip(FEET, (-1, 0, -1, -1, 0, -1, -1), strict=True))
    assert unset(words, "C4/2 F6/2", key=-5)[0] == flats
    assert unset(words, "C4/2 F#6/2", key=-5)[0] == {**flats, "F": 1}


def test_notes_that_lead_up_to_the_line_are_set_as_they_are_written():
    notes = "R/4 C#4/8 D4/8 E4/8 F#4/8 C6/4"
    (found,) = [
        one for one in findings("harp-no-setting", notes, [[4, "gliss"], [5, "gliss-end"]]) if one.level == "notation"
    ]
    assert not said(found)  # C sharp leads up, C ends it
    notes = "R/4 C#4/8 D4/8 E4/8 F#4/8 C#6/4"
    (found,) = [
        one for one in findings("harp-no-setting", notes, [[4, "gliss"], [5, "gliss-end"]]) if one.level == "notation"
    ]
    assert said(found)[0] == dict(zip(FEET, (0, 1, 0, 0, 1, 0, 0), strict=True))
    assert all(sounding(row) == sounding(said(found)[0]) for row in said(found))


def test_both_ends_that_do_not_fit_are_set_at_once():
    marks = [[0, "pedals D C B E F G A"], [0, "gliss"], [1, "gliss-end"]]
    found = findings("harp-gliss-end", "C#4/2 F#6/2", marks)
    assert found
    assert all(said(one) == [dict(zip(FEET, (0, 1, 0, 0, 1, 0, 0), strict=True))] for one in found)


def test_a_setting_that_comes_too_late_is_told_as_near_as_the_feet_get():
    """From five flats to none in half a second: each foot moves two pedals at its quickest; three are asked."""
    marks = [[1, "pedals D C B E F G A"], [1, "gliss"], [2, "gliss-end"]]
    (found,) = findings("harp-gliss-setting", "Db5+Eb5+Gb5+Ab5+Bb5/4 C4/4 C6/2", marks, tempo=120)
    asked = dict.fromkeys(FEET, 0)
    best = [{**asked, letter: -1} for letter in "EGA"]
    rows = said(found)
    assert len(rows) == 3 and all(row in best for row in rows)
    for mend, row in zip(found.mends, rows, strict=False):
        (stays,) = (letter for letter in FEET if row[letter])
        assert mend.says.endswith(f"; {stays}♭ sounds and {stays} does not")


def test_what_sounds_besides_is_named_by_its_strings():
    assert proposal(dict.fromkeys(FEET, 0), (0, 2, 4, 5, 7, 9, 11)) == "set the pedals to D♮ C♮ B♮ | E♮ F♮ G♮ A♮"
    assert proposal(dict.fromkeys(FEET, 0), ()) == "set the pedals to D♮ C♮ B♮ | E♮ F♮ G♮ A♮"
