"""What rings on: what the page says of it, the lines of the set-up list, and faults put in by construction."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

import seeds
from corpus import shared_scores
from deskproof.check import check
from deskproof.document import from_bytes, read
from deskproof.families.percussion import damping
from deskproof.families.percussion.damping import DAMPED, LEFT, SHORT
from deskproof.families.percussion.setup import in_words, set_up
from families.percussion.seeds_damping import made
from percussion_scores import planned, played

SEEDS = range(60)
RULE = "percussion-damp"


def said(bars, name, **how):
    plan, context, _ = played(bars, name, **how)
    return [(one.how, one.past) for one in damping.ringing(plan.reading, context)]


def lines(bars, name, **how):
    plan, context, _ = played(bars, name, **how)
    return [in_words(item) for item in set_up(plan.reading, context).items]


@pytest.mark.parametrize(
    ("word", "how"),
    [
        ("l.v.", LEFT), ("laissez vibrer", LEFT), ("lasciar vibrare", LEFT), ("klingen lassen", LEFT),
        ("sec", DAMPED), ("secco", DAMPED), ("étouffez", DAMPED), ("étouffé", DAMPED), ("dämpfen", DAMPED),
        ("abdämpfen", DAMPED), ("damp", DAMPED), ("choke", DAMPED), ("non lasciar vibrare", DAMPED),
        ("dolce", ""), ("f", ""),
    ],
)  # fmt: skip
def test_words_in_four_languages(word, how):
    assert said([f'"{word}" xE4/4 xE4/4 R/2'], "Triangle") == [(how, False), ("", True)]


def test_a_word_with_sempre_holds_until_the_other_is_said():
    bars = ['xE4/4 "l.v. sempre" xE4/4 R/2', 'xE4/4 R/4 "sec" xE4/4 R/4', "xE4/4 R/4 R/2"]
    assert [how for how, _ in said(bars, "Triangle")] == ["", LEFT, LEFT, DAMPED, ""]


def test_a_call_to_damp_over_a_rest_is_for_what_rings():
    bars = ["xE4/4 R/4 R/2", 'xE4/4 R/4 "damp" R/2', "xE4/4 R/4 R/2"]
    plan, context, _ = played(bars, "Tam-tam", tempo=60)
    rows = damping.ringing(plan.reading, context)
    assert [(one.how, one.until_us - one.stroke.t_us) for one in rows] == [
        ("", 1_000_000), (DAMPED, 2_000_000), ("", 1_000_000),
    ]  # fmt: skip


def test_a_call_to_damp_over_what_does_not_ring_is_for_what_rings():
    bars = ['"Tam-tam" xE4/2 "S.D." "damp" xC5/4 R/4']
    plan, context, _ = played(bars, "Percussion 1", tempo=60)
    assert [(one.stroke.instrument, one.how) for one in damping.ringing(plan.reading, context)] == [("tam-tam", DAMPED)]


def _noted(notations: str, directions: str = "") -> bytes:
    note = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        f"<duration>1</duration><voice>1</voice><type>quarter</type><notations>{notations}</notations></note>"
    )
    rest = "<note><rest/><duration>3</duration><voice>1</voice></note>"
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Tam-tam</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>'
        f"<beat-type>4</beat-type></time></attributes>{directions}{note}{rest}</measure></part></score-partwise>"
    ).encode()


@pytest.mark.parametrize(
    ("notations", "how"),
    [
        ('<tied type="let-ring"/>', LEFT),
        ("<technical><stopped/></technical>", DAMPED),
        ("<articulations><staccato/></articulations>", SHORT),
        ("<articulations><accent/></articulations>", ""),
    ],
)
def test_signs_at_the_note(notations, how):
    plan, context, _ = planned(from_bytes(_noted(notations)).score)
    assert [one.how for one in damping.ringing(plan.reading, context)] == [how]


@pytest.mark.parametrize(
    ("sign", "how"),
    [
        ("<damp/>", DAMPED), ("<damp-all/>", DAMPED), ("<symbol>pictDamp2</symbol>", DAMPED),
        ("<symbol>pictChokeCymbal</symbol>", DAMPED), ("<symbol>pictGuiro</symbol>", ""),
        ('<words print-object="no">sec</words>', ""),
    ],
)  # fmt: skip
def test_signs_over_the_note(sign, how):
    direction = f"<direction><direction-type>{sign}</direction-type></direction>"
    plan, context, _ = planned(from_bytes(_noted("<articulations><accent/></articulations>", direction)).score)
    assert [one.how for one in damping.ringing(plan.reading, context)] == [how]


# ------------------------------------------------------------------ the list


def test_the_list_says_what_rings_past_its_end():
    bars = ["xE4/4 R/4 R/2", "R/1", '"sec" xE4/4 R/4 R/2', "xE4/1", "R/1", "xE4/4 xE4/4 R/2", "xE4/1"]
    assert lines(bars, "Tam-tam", tempo=60) == [
        "tam-tam, from bar 1, damped in bar 3, rings past its written end in bars 1, 4, 6 (say l.v. or damp)"
    ]


def test_what_is_written_as_long_as_it_rings_is_not_named():
    assert lines(["xE4/1", "R/1"], "Triangle", tempo=30) == ["triangle, from bar 1"]
    assert lines(["xE4/4 xE4/4 xE4/4 xE4/4"], "Triangle") == ["triangle, from bar 1"]


def test_at_most_five_bars_are_named():
    assert lines(["xE4/4 R/4 R/2"] * 9, "Bass drum") == [
        "bass drum, from bar 1, rings past its written end in bars 1, 2, 3, 4, 5 and 4 more (say l.v. or damp)"
    ]


def test_left_to_ring_all_through_or_here_and_there():
    assert lines(['"l.v." xE4/4 R/4 R/2'], "Gong") == ["gong, from bar 1, left to ring"]
    assert lines(['"l.v." xE4/4 R/4 "sec" xE4/4 R/4'], "Gong") == [
        "gong, from bar 1, left to ring in bar 1, damped in bar 1"
    ]


def test_what_does_not_ring_or_is_damped_by_itself_is_not_named():
    assert lines(["xE4/4 R/4 R/2"], "Snare drum") == ["snare drum, from bar 1"]
    assert lines(["C4/4 R/4 R/2"], "Vibraphone", clef="treble") == ["vibraphone, from bar 1"]
    assert lines(["C4/4 R/4 R/2"], "Xylophone", clef="treble") == ["xylophone, from bar 1"]


def test_a_repeated_bar_is_named_once():
    assert lines(["|: xE4/4 R/4 R/2"], "Triangle")[0].count("bar 1") == 2  # where it begins, where it rings on


def test_a_tied_note_ends_with_the_last_of_it():
    case = {
        "instrument": "triangle", "clef": "percussion", "tempo": 60, "marks": [[0, "tie"], [3, "tie"]],
        "notes": "xE4/1 | xE4/4 R/4 R/2 | xE4/1 | xE4/1 | xE4/1",
    }  # fmt: skip
    plan, context, _ = planned(from_bytes(seeds.score(case)).score)
    assert [in_words(item) for item in set_up(plan.reading, context).items] == [
        "triangle, from bar 1, rings past its written end in bar 1 (say l.v. or damp)"
    ]


# ------------------------------------------------------------------ faults by lot


def found(case: dict[str, Any]) -> list[tuple[str, list[str]]]:
    rows = [one for one in check(from_bytes(seeds.score(case)).score).findings if one.rule.id == RULE]
    return [(one.level, list(map(str, one.notes))) for one in rows]


@cache
def drawn(seed: int) -> Any:
    return made(seed)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_note_to_be_damped_in_a_roll_is_found(seed):
    assert found(drawn(seed).case) == [("hard", [drawn(seed).at])]


@pytest.mark.parametrize("seed", SEEDS)
def test_without_the_fault_nothing_is_said(seed):
    assert {why: rows for why, case in drawn(seed).clean.items() if (rows := found(case))} == {}


def test_nothing_is_to_be_damped_without_a_hand_in_the_shared_scores():
    paths = [path for path in shared_scores() if path.suffix == ".mxl"]
    assert paths or not shared_scores()
    assert [one.says for path in paths for one in check(read(path).score).findings if one.rule.id == RULE] == []
