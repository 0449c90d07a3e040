"""The set-up list: what a player puts up, with which sticks, and where each begins."""

from __future__ import annotations

from dataclasses import replace

from corpus import shared
from deskproof.document import read
from deskproof.families.percussion.setup import set_up
from percussion_scores import planned, played


def listed(bars, name, **how):
    plan, context, _ = played(bars, name, **how)
    return set_up(plan.reading, context)


def test_instruments_come_in_their_order_with_their_bars():
    made = listed(
        [
            '"Susp. cym." "soft mallets" xC5/4 xC5/4 R/2',
            "R/1",
            'R/4 "Triangle" xE5/4 "Becken" "wooden sticks" xC5/4 R/4',
        ],
        "Percussion 2",
    )
    assert [(one.instrument, one.name, one.sticks, one.strokes, one.number) for one in made.items] == [
        ("suspended-cymbal", "suspended cymbal", ("soft",), 2, "1"),
        ("triangle", "triangle", (), 1, "3"),
        ("cymbals", "cymbals", ("wood",), 1, "3"),
    ]
    assert (made.part, made.players, made.least) == ("Percussion 2", 1, 1)
    assert made.items[2].begins.start == 2 * made.items[1].begins.start


def test_sizes_and_mallets():
    made = listed(['"Temple blocks" xC5/4 xE5/4 xG5/4 R/4'], "Percussion 1")
    assert [(one.lines, one.mallets) for one in made.items] == [(3, 0)]
    made = listed(['"4 mallets" C4+E4+G4/4 R/4 R/2'], "Vibraphone", clef="treble")
    assert [(one.lines, one.mallets) for one in made.items] == [(0, 4)]
    made = listed(["C5+E5/4 R/4 R/2"], "Xylophone", clef="treble")
    assert made.items[0].mallets == 2


def test_how_many_players_a_staff_of_the_section_takes():
    bars = ['"Tamburin" xE5/4 "Kl. Tr." xC5/4 "Gr. Tr." xF4/4 R/4', "xE5+xC5+xF4/4 R/4 R/2"]
    made = listed(bars, "Schlagzeug")
    assert (made.players, made.least) == (None, 2)


def test_a_line_without_a_name_is_listed_by_its_place():
    made = listed(["xC5/4 R/4 R/2"], "Percussion")
    assert [(one.instrument, one.name) for one in made.items] == [("", "C5")]


def test_repeats_count():
    assert listed(["xE4/4 xE4/4 R/2"], "Triangle").items[0].strokes == 2
    assert listed(["|: xE4/4 xE4/4 R/2"], "Triangle").items[0].strokes == 4


def test_what_shares_a_line_is_listed_too():
    score = read(shared("boulanger-matin-bars-1-100.mxl")).score
    parts = tuple(part for part in score.parts if part.name == "Tambourine")
    plan, context, _ = planned(replace(score, parts=parts))
    made = set_up(plan.reading, context)
    assert [(one.instrument, one.strokes > 0) for one in made.items] == [("tambourine", True), ("castanets", False)]
    assert made.players is None
