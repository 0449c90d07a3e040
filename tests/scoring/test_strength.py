"""Strengths against the table of Rimsky-Korsakov, "Comparison of resonance in orchestral groups", typed out here."""

import pytest

from deskproof.scoring import strength
from deskproof.scoring.strength import UNIT, attack_of, level_of, strength_of
from scoring import synthetic

HALL = synthetic.hall_of()
WOODWIND = ("flute 1", "oboe 1", "clarinet 1", "bassoon 1")
BRASS = ("horn 1", "trumpet 1", "trombone 1", "tuba")
SECTIONS = ("violin 1", "violin 2", "viola", "cello", "double bass")


def at(name, dynamic, scale="rimsky", kind="tune"):
    return strength_of(HALL.chair(name), dynamic, scale, kind)


@pytest.mark.parametrize("loud", ["f", "ff", "fff", "sfz"])
def test_in_forte_a_trumpet_is_two_horns_and_a_horn_two_woodwind(loud):
    for heavy in ("trumpet 1", "trombone 1", "bass trombone", "tuba"):
        assert at(heavy, loud) == 2 * at("horn 1", loud)
        for name in WOODWIND:
            assert at(heavy, loud) == 4 * at(name, loud)
            assert at("horn 1", loud) == 2 * at(name, loud)


def test_in_forte_a_section_of_strings_is_two_woodwind():
    assert {at(name, "f") for name in SECTIONS} == {2 * at("oboe 2", "f")}


@pytest.mark.parametrize("soft", ["p", "pp", "ppp"])
def test_in_piano_all_winds_are_equal_and_a_section_is_one_of_them(soft):
    assert {at(name, soft) for name in (*WOODWIND, *BRASS, *SECTIONS)} == {UNIT}


def test_mezzo_lies_half_way_between_piano_and_forte():
    for scale in strength.SCALES[:1]:
        for name in (*WOODWIND, *BRASS, *SECTIONS):
            for mezzo in ("mp", "mf"):
                assert 2 * at(name, mezzo, scale) == at(name, "p", scale) + at(name, "f", scale)


def test_what_dies_away_counts_for_attack_only():
    for name in ("harp", "piano", "celesta"):
        assert {at(name, "f", kind=kind) for kind in ("tune", "bass", "inner part", "held harmony")} == {0}
        assert {at(name, "f", kind=kind) for kind in ("accents", "figuration")} == {UNIT}
        assert attack_of(HALL.chair(name), "f", "rimsky") == UNIT


def test_by_sound_power_a_horn_is_level_with_a_trumpet_and_nine_decibels_over_a_woodwind():
    assert abs(at("horn 1", "f", "sound-power") / at("trumpet 1", "f", "sound-power") - 10 ** (1 / 10)) < 0.05
    for name in ("oboe 1", "clarinet 1", "bassoon 1"):
        assert abs(at("horn 1", "f", "sound-power") / at(name, "f", "sound-power") - 10 ** (9 / 10)) < 2
    # a section of twelve is 10 log 12 = 10.8 dB over one player: 89 + 10.8 = 99.8 dB, 1.2 dB under a trumpet's 101
    assert 0.6 < at("violin 1", "f", "sound-power") / at("trumpet 1", "f", "sound-power") < 0.9


def test_a_scale_that_is_not_known_is_refused():
    with pytest.raises(strength.StrengthError, match=r"'loud'; write one of rimsky, sound-power"):
        at("oboe 1", "f", "loud")


def test_levels():
    assert [level_of(word) for word in ("ppp", "p dolce", "mp", "mf", "f", "sfz", "ff", "fff", "dolce", "")] == [
        "p", "p", "mf", "mf", "f", "f", "ff", "ff", "mf", "mf",
    ]  # fmt: skip
