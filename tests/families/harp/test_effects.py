"""Harmonics and special sounds: which string is meant, and what is said of it, against the trade's own figures."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

import seeds
from deskproof.document import from_bytes
from deskproof.families.harp.effects import EFFECT_RULES, effect_findings
from deskproof.families.harp.harmonic_manner import harmonic_manner
from deskproof.families.harp.harmonics import HARMONIC_RULES, harmonic_findings
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.two_strings import TWO_STRING_RULES, two_string_findings
from deskproof.families.harp.wording import UpTo
from deskproof.findings import Finding, folded
from deskproof.report import as_json
from deskproof.state import state_of

CASES = Path(__file__).parents[2] / "cases" / "harp"
STEPS = "CDEFGAB"
RULES = (*HARMONIC_RULES, *EFFECT_RULES, *TWO_STRING_RULES)


def effects(raw: bytes, manner: str = "", fixed: bool = True) -> list[Finding]:
    """The folded findings of the first part."""
    score = from_bytes(raw).score
    plan = state_of(score).plans["harp", 0]
    if not isinstance(plan, HarpPlan):
        return []
    assert plan.reading is not None and plan.hands is not None and plan.settings is not None
    tempo, part = UpTo(lambda _: fixed, lambda _, ratio: f" {ratio:.2f}"), score.parts[0]
    found = [*harmonic_findings(plan.reading, plan.hands, part, tempo, manner)]
    found += effect_findings(plan.reading, plan.hands, part, tempo)
    found += two_string_findings(plan.reading, part, plan.pairs, plan.settings)
    return folded(found)


def of(rule: str, raw: bytes, **more: Any) -> list[Finding]:
    return [one for one in effects(raw, **more) if one.rule.id == f"harp-{rule}"]


def line(notes: str, marks: Any = (), **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 60, "notes": notes, "marks": list(marks), **more})


def bells(names: str, mark: str = "harmonic") -> bytes:
    """Harmonics one after the other, a whole bar each."""
    count = len(names.split())
    return line(" ".join(f"{name}/1" for name in names.split()), [[i, mark] for i in range(count)])


def steps(name: str) -> int:
    return 7 * int(name[-1]) + STEPS.index(name[0])


def case_tables() -> list[Any]:
    ids = {rule.id for rule in RULES}
    tables = [tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(CASES.glob("*.toml"))]
    return [pytest.param(t, id=t["rule"]) for t in tables if t["rule"] in ids]


def test_every_rule_has_its_table():
    assert len(case_tables()) == len(RULES)


# ------------------------------------------------------------------ which manner


@pytest.mark.parametrize(
    ("names", "manner"),
    [
        ("C4 E4 G4", "string"),  # the rule of today: where they are played
        ("F3 C4", "string"),
        ("G5 A5", "string"),
        ("B5", "sounding"),  # no account has the B5 string
        ("C5 E5 D6", "sounding"),
        ("F3 D6", "unclear"),
        ("E7", "string"),  # out of range both ways: it tells nothing
        ("A3 D6", "sounding"),  # the A2 string has a harmonic
    ],
)
def test_the_range_tells_the_manner(names, manner):
    assert harmonic_manner(from_bytes(bells(names)).score.parts[0]) == manner


@pytest.mark.parametrize(
    ("mark", "manner"), [("base-pitch", "string"), ("sounding-pitch", "sounding"), ("touching-pitch", "string")]
)
def test_the_file_tells_the_manner(mark, manner):
    assert harmonic_manner(from_bytes(bells("C5 E5", f"harmonic {mark}")).score.parts[0]) == manner


def test_the_file_is_believed_against_the_range():
    assert harmonic_manner(from_bytes(bells("D6", "harmonic base-pitch")).score.parts[0]) == "string"


@pytest.mark.parametrize(
    ("text", "manner"),
    [
        ("Harmonics sound an octave higher", "string"),
        ("sonnent à l’octave", "string"),
        ("klingen eine Oktave höher", "string"),
        ("suonano all'ottava", "string"),
        ("(sounding pitch)", "sounding"),
        ("sons réels", "sounding"),
        ("Suono reale", "sounding"),
        ("harmonics", "sounding"),  # says nothing: D6 decides
    ],
)
def test_words_tell_the_manner(text, manner):
    raw = line("D6/1", [[0, f"words {text}"], [0, "harmonic"]])
    assert harmonic_manner(from_bytes(raw).score.parts[0]) == manner


def test_a_part_without_harmonics_is_where_it_is_played():
    assert harmonic_manner(from_bytes(line("D6/1")).score.parts[0]) == "string"


def test_what_the_user_says_is_asked_no_more():
    raw = bells("F3 D6")
    assert of("harmonic-manner", raw) and not of("harmonic-manner", raw, manner="string")
    (high,) = of("harmonic-range", raw, manner="string")
    assert (high.numbers["string"], high.numbers["sound"]) == ("D6", "D7")
    (low,) = of("harmonic-range", raw, manner="sounding")
    assert (low.numbers["string"], low.numbers["sound"]) == ("F2", "F3")


# ------------------------------------------------------------------ range


def test_every_string_has_the_level_of_the_published_ranges():
    """A2 to G5 and C3 to A5 are published; A6 ends the field of common practice."""
    seen = set()
    for octave in range(1, 8):
        for letter in STEPS:
            name = f"{letter}{octave}"
            if steps(name) > steps("G7"):
                continue
            inside = (steps("A2") <= steps(name) <= steps("G5")) + (steps("C3") <= steps(name) <= steps("A5"))
            wanted = {2: None, 1: "hard", 0: "impossible" if steps(name) > steps("A6") else "hard"}[inside]
            found = of("harmonic-range", bells(name, "harmonic base-pitch"))
            assert [one.level for one in found] == ([wanted] if wanted else []), name
            for one in found:  # a harmonic sounds an octave above its string
                assert (one.numbers["string"], one.numbers["sound"]) == (name, f"{letter}{octave + 1}")
                assert one.numbers["sounding"] == seeds.midi(name) + 12
                assert name in one.says and one.numbers["sound"] in one.says
            seen.add(wanted)
    assert seen == {None, "hard", "impossible"}


def test_the_same_string_written_as_its_sound():
    for name in ("A2", "B2", "A5"):
        (one,) = of("harmonic-range", bells(f"{name[0]}{int(name[1]) + 1}", "harmonic sounding-pitch"))
        assert one.level == "hard" and one.numbers["string"] == name


def test_a_passage_names_every_string_and_counts_from_the_furthest():
    (one,) = of("harmonic-range", bells("C6 B5 D6", "harmonic base-pitch"))
    assert [tuple(pair) for pair in one.numbers["pairs"]] == [("B5", "B6"), ("C6", "C7"), ("D6", "D7")]
    assert one.numbers["beyond"] == steps("D6") - steps("G5")
    assert len(one.notes) == 3


def test_the_right_hand_has_low_harmonics_only_if_the_left_is_busy():
    low = ["bracket", "harmonic 1"]
    (one,) = [
        f for f in of("harmonic-range", line("C2+G3/1", [[0, mark] for mark in low])) if f.level == "advice"
    ]  # fmt: skip
    assert one.numbers["string"] == "G3"
    assert not of("harmonic-range", bells("G3"))


# ------------------------------------------------------------------ hands and tempo


def test_what_the_tempo_would_have_to_be():
    raw = line("C3+G4/16 D3+A4/16 E3+B4/16 R/16 R/2.", [[0, "harmonic 1"]], tempo=150)
    (one,) = of("harmonic-fast", raw, fixed=False)
    assert one.numbers["gap_us"] == 100_000 and one.numbers["goes"] == " 0.40"  # 100 of 250 ms
    (one,) = of("harmonic-fast", raw)
    assert one.numbers["goes"] == ""


def test_two_in_the_right_hand():
    raw = line("C2+C4+G4/1", [[0, "bracket"], [0, "harmonic 1"], [0, "harmonic 2"]])
    (one,) = of("harmonic-hands", raw)
    assert (one.numbers["hand"], one.numbers["bells"]) == ("right", 2)
    assert "C4" in one.says and "G4" in one.says


# ------------------------------------------------------------------ two staves


def two_staves(upper: str, lower: str, upper_marks: Any = (), lower_marks: Any = (), **more: Any) -> bytes:
    """One harp on two staves, bar by bar from two lines of equal length."""
    first = etree.fromstring(line(upper, upper_marks, **more))
    second = etree.fromstring(line(lower, lower_marks, clef="F4"))
    bars = first.find("part").findall("measure")
    for one, two in zip(bars, second.find("part").findall("measure"), strict=True):
        for child in two.iterfind("attributes"):
            two.remove(child)
        for child in [c for c in two.iterfind("direction") if c.find(".//metronome") is not None]:
            two.remove(child)
        length = sum(int(n.findtext("duration")) for n in one.iterfind("note") if n.find("chord") is None)
        for measure, number in ((one, 1), (two, 2)):
            for note in measure.iterfind("note"):
                note.find("voice").text = str(number)
                staff = etree.Element("staff")
                staff.text = str(number)
                before = [c for c in note if c.tag in ("type", "dot", "accidental", "voice", "notehead")][-1]
                before.addnext(staff)
            for direction in measure.iterfind("direction"):
                etree.SubElement(direction, "staff").text = str(number)
        backup = etree.SubElement(one, "backup")
        etree.SubElement(backup, "duration").text = str(length)
        one.extend(list(two))
    attributes = bars[0].find("attributes")
    staves = etree.Element("staves")
    staves.text = "2"
    attributes.find("time").addnext(staves)
    return etree.tostring(first, xml_declaration=True, encoding="UTF-8")


RUN = "C4/4 D4/4 E4/4 F4/4 | G4/4 A4/4 B4/4 C5/4 | D5/1"
BASS = "C3/4 D3/4 E3/4 F3/4 | G3/4 A3/4 B3/4 C3/4 | D3/1"


def test_a_manner_of_one_staff_is_not_asked_for_again_on_the_other():
    table = "words p.d.l.t."
    assert not of("effect-open", two_staves(RUN, BASS, [[0, table]], [[8, table]]))
    assert of("effect-open", two_staves(RUN, BASS, [[0, table], [8, table]]))
    assert not of("effect-open", two_staves(RUN, BASS, [[0, table]], [[0, table]]))


def test_an_end_holds_for_both_staves():
    table = "words p.d.l.t."
    assert not of("effect-open", two_staves(RUN, BASS, [[0, table], [8, table]], [[5, "words ordinario"]]))


def test_only_the_staff_under_the_words_is_damped():
    words = [[0, "words sons étouffés"]]
    slow, fast = "C5/4 D5/4 R/2", "C3/16 D3/16 E3/16 F3/16 R/2."
    assert len(of("etouffe-fast", two_staves(slow, fast, (), words, tempo=100))) == 1
    assert not of("etouffe-fast", two_staves(slow, fast, words, (), tempo=100))


# ------------------------------------------------------------------ tremolo


@pytest.mark.parametrize("strokes", [3, 4])
def test_three_pitches_of_twelve_have_one_string(strokes):
    """D, G and A natural: every other pitch stands on two letters (common knowledge of the pedal harp)."""
    names = ("C4", "C#4", "D4", "Eb4", "E4", "F4", "F#4", "G4", "Ab4", "A4", "Bb4", "B4")
    fired = {name for name in names if of("tremolo-one-string", line(f"{name}/1", [[0, f"tremolo {strokes}"]]))}
    assert fired == {"D4", "G4", "A4"}


# ------------------------------------------------------------------ the tables of cases, straight from the function


@pytest.mark.parametrize("table", case_tables())
def test_the_function_gives_what_the_cases_say(table):
    rule = table["rule"].removeprefix("harp-")
    for case in table["fires"]:
        found = of(rule, seeds.score(case))
        assert len(found) == case.get("findings", 1), case["name"]
        assert {one.level for one in found} == {case["level"]}, case["name"]
        for name, value in case.get("numbers", {}).items():
            assert found[0].numbers[name] == value, case["name"]
    for case in table["silent"]:
        assert of(rule, seeds.score(case)) == [], case["name"]


@pytest.mark.parametrize(
    ("child", "string", "sound"), [("base-pitch", "C5", 84), ("sounding-pitch", "C4", 72), ("", "C5", 84)]
)
def test_a_harmonic_is_planned_on_its_string(child: str, string: str, sound: int):
    """C5 with a circle is the C5 string and sounds C6; marked as the sound that is heard it is the C4 string."""
    case = {"instrument": "harp", "notes": "C5/1", "marks": [[0, f"harmonic {child}".strip()]]}
    (plan,) = as_json.plans(state_of(from_bytes(seeds.score(case)).score))
    (event,) = plan["events"]
    assert (event["how"], event["strings"], event["pitches"]) == ("harmonic", [string], [sound])
