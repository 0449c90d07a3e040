"""Harp parts that are wrong, odd or empty: each gives a finding or a plan, never a traceback, and no plan lies."""

from __future__ import annotations

import json
from typing import Any
from xml.sax.saxutils import escape

import pytest

from deskproof.check import Report, check
from deskproof.document import from_bytes
from deskproof.families.harp import conflict, planning
from deskproof.families.harp.plan import PedalPlan
from deskproof.findings import Finding
from deskproof.report import as_json
from oracles import harp_checker

NATURAL = {"D": "0", "C": "0", "B": "0", "E": "0", "F": "0", "G": "0", "A": "0"}
TWELVE = ("C3", "Db3", "D3", "Eb3", "E3", "F3", "Gb3", "G3", "Ab3", "A3", "Bb3", "B3")
SIGNS = {"#": 1.0, "b": -1.0, "q": 0.5}  # q: a quarter tone up
BAR = 16  # divisions; a quarter has four


# MusicXML made here, so that it can be as wrong as it likes.


def note(
    name: str, length: int = BAR, *, notations: str = "", staff: int = 0, before: str = "", flags: str = ""
) -> str:
    """A note or rest ("R"); ``before`` is what stands first in it: <grace/>, <chord/>, <cue/>."""
    alter = sum(SIGNS[sign] for sign in name[1:-1])
    what = f"<pitch><step>{name[0]}</step><alter>{alter:g}</alter><octave>{name[-1]}</octave></pitch>"
    return "".join(
        (
            f"<note{flags}>{before}",
            "<rest/>" if name == "R" else what,
            "" if "<grace/>" in before else f"<duration>{length}</duration>",
            f"<voice>{1 if staff < 2 else 5}</voice>",
            f"<staff>{staff}</staff>" if staff else "",
            f"<notations>{notations}</notations>" if notations else "",
            "</note>",
        )
    )


def chord(names: tuple[str, ...], length: int = BAR, notations: str = "") -> str:
    return "".join(note(n, length, notations=notations, before="<chord/>" if i else "") for i, n in enumerate(names))


def grace(*names: str) -> str:
    return "".join(note(name, before="<grace/>") for name in names)


def direction(inner: str, staff: int = 0) -> str:
    where = f"<staff>{staff}</staff>" if staff else ""
    return f"<direction><direction-type>{inner}</direction-type>{where}</direction>"


def said(text: str) -> str:
    return direction(f"<words>{escape(text)}</words>")


def diagram(*rows: tuple[str, str], staff: int = 0) -> str:
    """A pedal diagram of (letter, alteration), both as text."""
    inner = "".join(
        f"<pedal-tuning><pedal-step>{step}</pedal-step><pedal-alter>{alter}</pedal-alter></pedal-tuning>"
        for step, alter in rows
    )
    return direction(f"<harp-pedals>{inner}</harp-pedals>", staff)


def setting(staff: int = 0, **changed: str) -> str:
    return diagram(*(NATURAL | changed).items(), staff=staff)


def back(length: int = BAR) -> str:
    return f"<backup><duration>{length}</duration></backup>"


def repeat(way: str) -> str:
    side = "left" if way == "forward" else "right"
    return f'<barline location="{side}"><repeat direction="{way}"/></barline>'


def harp(*bars: str, name: str = "Harp", tempo: int | None = 60, staves: int = 1, fifths: int = 0) -> bytes:
    """A score of one part; bars are what stands in them."""
    head = (
        f"<attributes><divisions>4</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>4</beats><beat-type>4</beat-type></time><staves>{staves}</staves>"
        "<clef><sign>G</sign><line>2</line></clef></attributes>"
    )
    if tempo:
        head += direction(f"<metronome><beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute></metronome>")
    measures = "".join(
        f'<measure number="{i}">{head if i == 1 else ""}{bar}</measure>' for i, bar in enumerate(bars, 1)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        f"<part-name>{escape(name)}</part-name></score-part></part-list>"
        f'<part id="P1">{measures}</part></score-partwise>'
    ).encode()


# What is asked of every one.


class Answer:
    """What is said of a score: the findings by rule, the plans of its harps, and what the checker says of them."""

    def __init__(self, raw: bytes) -> None:
        report: Report = check(from_bytes(raw).score)
        answer = as_json.report(report.state, report.findings, "score", notes=True)
        self.answer: dict[str, Any] = json.loads(json.dumps(answer, allow_nan=False))
        self.findings: tuple[Finding, ...] = report.findings
        self.plans = [plan for plan in self.answer["plans"] if plan["kind"] == "harp"]
        self.complaints = [line for plan in self.plans for line in harp_checker.check(plan, self.answer["notes"])]

    def of(self, rule: str) -> list[Finding]:
        return [one for one in self.findings if one.rule.id == rule]

    def levels(self, rule: str) -> list[str]:
        return [one.level for one in self.of(rule)]


def answered(raw: bytes) -> Answer:
    answer = Answer(raw)
    assert answer.complaints == []
    assert answer.findings or answer.plans
    return answer


# Printed settings.


@pytest.mark.parametrize(
    "sign",
    [
        diagram(*(row for row in NATURAL.items() if row[0] != "F")),
        diagram(*NATURAL.items(), ("F", "0")),
        diagram(*NATURAL.items(), ("F", "1")),
        setting(F="2"),
        setting(F="-2"),
        setting(F="0.5"),
        setting(F="x"),
        setting(F=""),
        diagram(*NATURAL.items(), ("H", "0")),
        diagram(("", "0")),
        diagram(),
    ],
    ids=["six", "F twice", "two Fs", "2", "-2", "0.5", "x", "nothing", "H", "no letter", "empty"],
)
def test_a_diagram_that_no_harp_has(sign: str):
    answer = answered(harp(sign + note("C4")))
    assert answer.levels("harp-printed-setting") == ["notation"]
    assert len(answer.plans) == 1


@pytest.mark.parametrize(
    ("bar", "staves"),
    [
        (setting() + setting(F="1") + note("C4"), 1),
        (setting(1) + setting(2, F="1") + note("C5", staff=1) + back() + note("C3", staff=2), 2),
        (said("F♯") + said("F♮") + note("C4"), 1),
    ],
    ids=["two diagrams", "two staves", "words"],
)
def test_two_settings_at_one_place_that_contradict_each_other(bar: str, staves: int):
    answer = answered(harp(bar, staves=staves))
    assert answer.levels("harp-printed-setting") == ["notation"]
    assert len(answer.plans) == 1


def test_the_same_setting_in_both_staves_contradicts_nothing():
    bar = setting(1, F="1") + setting(2, F="1") + note("F#5", staff=1) + back() + note("C3", staff=2)
    answer = answered(harp(bar, staves=2))
    assert answer.of("harp-printed-setting") == answer.of("harp-no-setting") == []


def test_a_letter_beside_a_diagram():
    assert len(answered(harp(setting() + said("F♯") + note("C4"))).plans) == 1


def test_one_letter_twice_in_one_text_is_no_setting():
    assert answered(harp(said("F♯ F♮") + note("C4"))).levels("harp-no-setting") == ["advice"]


# Chords.


@pytest.mark.parametrize("name", ["Harp", "Harps 1 & 2", "2 Harfen"])
def test_twelve_notes_at_once(name: str):
    answer = answered(harp(chord(TWELVE), name=name))
    assert len(answer.plans) == 1
    assert len(answer.of("harp-chord-hands")) <= 1


def test_twelve_notes_are_too_many_for_one_harp():
    answer = answered(harp(chord(TWELVE)))
    assert answer.levels("harp-chord-hands") == ["impossible"]
    assert {row["rule"] for row in answer.plans[0]["unplanned"]} == {"harp-chord-hands"}
    (planned,) = answer.plans[0]["events"]
    assert len(planned["notes"]) + len(answer.plans[0]["unplanned"]) == len(TWELVE)
    assert len(planned["strings"]) <= 8


def test_two_harps_have_sixteen_fingers():
    assert answered(harp(chord(TWELVE), name="Harps 1 & 2")).of("harp-chord-hands") == []


def test_the_same_note_twice_in_one_chord():
    answer = answered(harp(chord(("C4", "C4", "E4"))))
    assert len(answer.plans[0]["events"][0]["strings"]) == 2


# Little or nothing.


@pytest.mark.parametrize("bar", [note("R"), "", direction("<words>tacet</words>"), setting()])
def test_no_note_no_plan(bar: str):
    answer = Answer(harp(bar))
    assert answer.plans == [] and answer.findings == ()


def test_no_tempo():
    answer = answered(harp(chord(("G4", "A4"), 1) + note("G#4", 1) + note("R", 14), tempo=None))
    assert answer.answer["score"]["tempo"] == "guessed"
    assert answer.levels("harp-pedal-too-fast") == ["hard"]


@pytest.mark.parametrize("rest", ["", note("R"), note("C6")], ids=["nothing", "a rest", "a note"])
def test_grace_notes_with_nothing_before_them(rest: str):
    answer = answered(harp(grace("G4", "B4", "D5", "G#4", "A4") + rest))
    assert len(answer.plans) == 1
    assert answer.of("harp-cluster") == []  # they are one after the other


def test_only_grace_notes_of_one_chord():
    answer = answered(harp(note("G4", before="<grace/>") + note("B4", before="<grace/><chord/>") + note("R")))
    assert len(answer.plans[0]["events"]) == 1


# Pitches that no string has.


def test_notes_beyond_the_compass():
    answer = answered(harp(note("B0", 4) + note("A0", 4) + note("G#7", 4) + note("A7", 4), note("C9") + note("C0")))
    assert answer.levels("harp-string-without-pedal") == ["impossible"]
    assert "impossible" in answer.levels("tutti-outside-compass")
    (plan,) = answer.plans
    left_out = {ref for row in plan["unplanned"] for ref in row["notes"]}
    assert left_out == {"P1/m0/n0", "P1/m0/n1", "P1/m0/n3", "P1/m1/n0", "P1/m1/n1"}
    assert [event["strings"] for event in plan["events"]] == [["G7"]]


def test_only_notes_beyond_the_compass():
    answer = answered(harp(note("C0") + note("C9")))
    assert answer.of("tutti-outside-compass")


def test_quarter_tones_among_other_notes():
    answer = answered(harp(note("Cq4", 4) + note("D4", 4) + chord(("Eq4", "G4"), 8)))
    assert sorted(name for event in answer.plans[0]["events"] for name in event["strings"]) == ["D4", "G4"]


def test_only_quarter_tones():
    answered(harp(note("Cq4") + note("Eq4")))


@pytest.mark.parametrize("name", ["F##4", "Dbb4", "B##4", "Cbb5"])
def test_double_sharps_and_flats_have_their_strings(name: str):
    assert answered(harp(note(name))).plans[0]["unplanned"] == []


def test_a_harmonic_below_all_strings_and_above():
    mark = "<technical><harmonic/></technical>"
    answered(harp(note("C1", 8, notations=mark) + note("A7", 8, notations=mark)))


# Trills and tremoli.


def trill(sign: str = "") -> str:
    return f"<ornaments><trill-mark/>{f'<accidental-mark>{sign}</accidental-mark>' if sign else ''}</ornaments>"


@pytest.mark.parametrize("sign", ["", "double-sharp", "flat-flat", "quarter-sharp", "natural-up", "slash-flat"])
@pytest.mark.parametrize("name", ["E#4", "E4", "B3", "Cb4", "F##4"])
def test_trills_to_odd_neighbours(name: str, sign: str):
    answer = answered(harp(note(name, notations=trill(sign))))
    assert len(answer.plans) == 1


@pytest.mark.parametrize("name", ["G7", "B0", "A7", "C9"])
def test_trills_without_a_neighbour_on_the_harp(name: str):
    answer = answered(harp(note(name, notations=trill()) + note("C4")))
    assert [one for one in answer.findings if one.rule.id != "harp-no-setting"]


def test_a_trill_in_a_key_of_flats():
    answer = answered(harp(note("G4", notations=trill()), fifths=-3))
    assert sorted(answer.plans[0]["events"][0]["pitches"]) == [67, 68]


def test_trills_of_a_whole_chord():
    assert answered(harp(chord(("C4", "D4", "E4"), notations=trill()))).plans[0]["unplanned"] == []


@pytest.mark.parametrize("kind", ["single", "unmeasured", "start", "stop"])
def test_a_tremolo(kind: str):
    mark = f'<ornaments><tremolo type="{kind}">3</tremolo></ornaments>'
    assert len(answered(harp(chord(("C4", "G4"), notations=mark))).plans) == 1


def test_a_tremolo_between_two_chords():
    def half(kind: str, names: tuple[str, ...]) -> str:
        return chord(names, 8, f'<ornaments><tremolo type="{kind}">3</tremolo></ornaments>')

    assert len(answered(harp(half("start", ("C4", "E4")) + half("stop", ("Db4", "F4")))).plans) == 1


# Notes that nobody plays from this part.


@pytest.mark.parametrize("how", ["cue", "hidden"])
def test_cues_and_hidden_notes_are_never_checked(how: str):
    before, flags = ("<cue/>", "") if how == "cue" else ("", ' print-object="no"')
    rows = [("G4", ""), ("G#4", "<chord/>"), ("A4", "<chord/>"), ("C#1", "<chord/>")]
    unplayed = "".join(note(name, before=before + extra, flags=flags) for name, extra in rows)
    alone = Answer(harp(unplayed))
    assert alone.plans == [] and alone.findings == ()
    answer = answered(harp(unplayed, note("C4")))
    assert {one.rule.id for one in answer.findings} == {"harp-no-setting"}
    assert [event["notes"] for event in answer.plans[0]["events"]] == [["P1/m1/n0"]]


# Repeats.


def test_a_repeated_section_is_planned_in_both_passes():
    first, second = chord(("G4", "A4"), 8) + note("R", 8), note("G#4", 8) + note("R", 8)
    answer = answered(harp(repeat("forward") + first, second + repeat("backward")))
    (plan,) = answer.plans
    assert {change["pass"] for change in plan["changes"]} == {1, 2}
    assert len(plan["changes"]) == 3  # there, back, and there again
    assert answer.of("harp-let-go-early") == answer.of("harp-pedal-quick") == []


def test_a_repeat_without_time_to_go_back():
    answer = answered(
        harp(repeat("forward") + chord(("G4", "A4"), 8) + note("R", 8), note("G#4", 16) + repeat("backward"))
    )
    (finding,) = answer.of("harp-let-go-early")
    assert [str(ref) for ref in finding.notes] == ["P1/m1/n0"]


@pytest.mark.parametrize("times", ["0", "1", "3", "x"])
def test_an_odd_number_of_times(times: str):
    bar = chord(("G4", "A4"), 8) + note("G#4", 8)
    sign = f'<barline location="right"><repeat direction="backward" times="{times}"/></barline>'
    assert len(answered(harp(bar + sign)).plans) == 1


# The same trouble again and again.


def counted(monkeypatch: pytest.MonkeyPatch, raw: bytes) -> tuple[Answer, int]:
    """What is said of a score, and how many plans were tried to explain what does not go."""
    tried = 0
    real = conflict.plan_pedals

    def plan_pedals(*args: Any, **more: Any) -> PedalPlan:
        nonlocal tried
        tried += 1
        return real(*args, **more)

    with monkeypatch.context() as patch:
        patch.setattr(conflict, "plan_pedals", plan_pedals)
        return Answer(raw), tried


def test_a_thousand_times_the_same_chord_is_one_finding(monkeypatch: pytest.MonkeyPatch):
    bar = chord(("G4", "G#4", "A4"))
    (_, once), (answer, tried) = (counted(monkeypatch, harp(*[bar] * times)) for times in (1, 1000))
    (finding,) = answer.of("harp-cluster")
    assert len(finding.notes) == 3000 and finding.numbers["count"] == 3000
    assert answer.complaints == []
    assert 0 < tried <= 1000 * once


def test_a_hundred_times_the_same_run_is_one_finding(monkeypatch: pytest.MonkeyPatch):
    bar = note("G4", 1) + note("G#4", 1) + note("A4", 1) + note("R", 13)
    (_, once), (answer, tried) = (counted(monkeypatch, harp(*[bar] * times, tempo=132)) for times in (1, 100))
    (finding,) = answer.of("harp-pedal-too-fast")
    assert len(finding.notes) == 300
    assert answer.complaints == []
    assert 0 < tried <= 150 * once  # the neighbours are looked at too


def test_ten_times_twelve_notes_is_one_finding(monkeypatch: pytest.MonkeyPatch):
    answer, tried = counted(monkeypatch, harp(*[chord(TWELVE)] * 10))
    (finding,) = answer.of("harp-chord-hands")
    assert len(finding.notes) == 120
    assert answer.complaints == []
    assert tried == 0  # fingers are counted


def test_a_plan_is_made_once(monkeypatch: pytest.MonkeyPatch):
    made = []
    real = planning.plan_pedals
    monkeypatch.setattr(planning, "plan_pedals", lambda *args: made.append(1) or real(*args))
    answered(harp(note("C4"), note("G4")))
    assert len(made) == 1
