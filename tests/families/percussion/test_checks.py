"""Findings about a percussionist's hands, sticks and staff, from cases as handbooks of orchestration have them."""

from __future__ import annotations

import io

import mido
import pytest

from corpus import corpus_files, package_files, shared_scores
from deskproof.document import from_bytes, read
from deskproof.families.base import Context
from deskproof.families.percussion.checks import check
from deskproof.families.percussion.planning import plan
from deskproof.families.percussion.rules import RULES
from deskproof.findings import LEVELS, folded
from deskproof.forces import Forces, parse
from deskproof.spans import spans_of
from deskproof.timeline import realise
from percussion_scores import planned, played

MARIMBA = {"clef": "treble", "tempo": 60}


def found(bars, name, **how):
    """The findings as (rule without its family, level, number of notes)."""
    return [
        (one.rule.id.removeprefix("percussion-"), one.level, one.numbers["count"])
        for one in played(bars, name, **how)[2]
    ]


# ------------------------------------------------------------------ mallets


@pytest.mark.parametrize(
    ("name", "bar", "wanted"),
    [
        ("Xylophone", "C5+C6/4 R/4 R/2", []),
        ("Xylophone", "C5+E5+G5/4 R/4 R/2", [("mallets", "hard", 3)]),
        ("Glockenspiel", "C4+E4+G4/4 R/4 R/2", [("mallets", "hard", 3)]),
        ("Glockenspiel", '"4 mallets" C4+E4+G4+C5/4 R/4 R/2', []),
        ("Xylophone", "C5+E5+G5/4(arp) R/4 R/2", []),
        ("Vibraphone", "C4+E4+G4+C5/4 R/4 R/2", []),
        ("Marimba", "C3+G3+E4+C5/4 R/4 R/2", []),
        ("Marimba", '"2 mallets" C3+G3+E4/4 R/4 R/2', [("mallets", "hard", 3)]),
        ("Marimba", "C3+E3+G3+C4+E4/4 R/4 R/2", [("mallets", "hard", 5)]),
        ("Marimba", "C3+D3+E3+F3+G3+A3+B3/4 R/4 R/2", [("mallets", "impossible", 7)]),
        ("Xylophone", "C5+D5+E5+F5+G5/4 R/4 R/2", [("mallets", "impossible", 5)]),
        ("Xylophone", '"2 players" C5+E5+G5/4 R/4 R/2', []),
    ],
)
def test_more_bars_than_mallets(name, bar, wanted):
    assert found([bar], name, **MARIMBA) == wanted


def test_a_hand_cannot_open_so_far():
    assert found(["C2+A3+C4+D4/4 R/4 R/2"], "Marimba", **MARIMBA) == [("reach", "impossible", 2)]
    assert found(["C2+C3+C4+C5/4 R/4 R/2"], "Marimba", **MARIMBA) == []


def test_leaps_that_are_too_quick_are_impossible_only_at_a_printed_tempo():
    bars = ["F4+F5/16 F6+F7/16 F4+F5/16 F6+F7/16 F4+F5/16 F6+F7/16 F4+F5/16 R/16 R/2"]
    for tempo, wanted in ((60, {"hard"}), (160, {"impossible"}), (None, set())):
        _, _, rows = played(bars, "Xylophone", clef="treble", tempo=tempo)
        assert {one.level for one in rows} == wanted
        assert {one.rule.id for one in rows} <= {"percussion-leap"}


def test_scales_and_broken_chords_are_not_too_quick():
    bars = ["C5/16 D5/16 E5/16 F5/16 G5/16 A5/16 B5/16 C6/16 C5/16 E5/16 G5/16 C6/16 G5/16 E5/16 C5/16 R/16"]
    for name in ("Xylophone", "Glockenspiel", "Vibraphone", "Marimba"):
        assert found(bars, name, clef="treble", tempo=132) == []


def test_grace_notes_and_rolls_leave_the_hands_free():
    assert found(["D5/16(grace) C5/4 C5/2(t3) E5/4"], "Xylophone", clef="treble", tempo=120) == []


# ------------------------------------------------------------------ rolls, names


@pytest.mark.parametrize(
    ("name", "token", "wanted"),
    [
        ("Whip", "xE4/2(t3)", [("roll", "impossible", 1)]),
        ("Frusta", "xE4/2(trill)", [("roll", "impossible", 1)]),
        ("Claves", "xE4/2(t3)", [("roll", "hard", 1)]),
        ("Whip", "xE4/2(t1)", []),
        ("Whip", "xE4/2", []),
        ("Triangle", "xE4/2(t3)", []),
        ("Tam-tam", "xE4/2(t3)", []),
        ("Castanets", "xE4/2(trill)", []),
        ("Becken", "xE4/2(t3)", []),
        ("Tambourine", "xE4/2(trill)", []),
    ],
)
def test_rolls_on_what_is_struck_once(name, token, wanted):
    assert found([f"{token} R/2"], name) == wanted


def test_a_line_without_a_name():
    rows = {"I": ("Snare Drum", "", 39), "J": ("Bass Drum", "", 37)}
    bars = ["xC5@I/4 xF4@J/4 xC5@I/4 R/4"]
    assert found(bars, "Percussion", instruments=rows) == [("unnamed", "notation", 2), ("unnamed", "notation", 1)]
    assert found(["xC5/4 R/4 R/2"], "Percussion") == [("unnamed", "notation", 1)]
    _, _, first = played(bars, "Percussion", instruments=rows)
    assert first[0].numbers["instrument"] == "snare-drum"


@pytest.mark.parametrize(
    ("name", "bar"),
    [
        ("Snare Drum", "xC5/4 xF4/4 R/2"),
        ("Drum Set", "xC5/4 xF4/4 xG5/4 R/4"),
        ("Percussion", '"Triangle" xC5/4 R/4 R/2'),
        ("Percussion", '"Brake drum" xC5/4 R/4 R/2'),
        ("Percussion", '"Temple Blocks" xC5/4 xE5/4 xA4/4 R/4'),
        ("Waterphone", "xC5/4 R/4 R/2"),
        ("Becken u. Gr. Tr.", "xC5/4 xF4/4 R/2"),
    ],
)
def test_a_line_with_a_name(name, bar):
    assert found([bar], name) == []


def test_what_rings_is_left_to_the_player():
    for name in ("Tam-tam", "Becken", "Triangle", "Suspended Cymbal"):
        assert found(["xE4/16 R/16 R/8 R/4 R/2"], name) == []


# ------------------------------------------------------------------ hands


def test_three_at_once_are_too_many_for_one_player():
    bars = ['"Snare drum" xC5/4 "Tambourine" xE5/4 "Bass drum" xF4/4 R/4', "xC5+xE5+xF4/4 R/4 R/2"]
    assert ("hands", "impossible", 3) in found(bars, "Percussion 1")
    assert found(bars, "Percussion") == []  # a staff of the section
    assert found(bars, "Percussion 1-2") == []
    one = parse('[players.perc]\nplays = ["percussion"]\n')
    assert ("hands", "impossible", 3) in found(bars, "Percussion", forces=one)


def test_two_at_once_are_a_hand_for_each():
    bars = ['"Snare drum" xC5/4 "Tambourine" xE5/4 R/2', "xC5+xE5/4 R/4 R/2"]
    assert found(bars, "Percussion 1") == []


def test_a_bass_drum_with_a_cymbal_fixed_to_it_is_one_players():
    bars = ['"Becken" xC5/4 "Gr. Tr." xF4/4 R/2', "xC5+xF4/4 R/4 xC5+xF4/4 R/4"]
    assert not [row for row in found(bars, "Schlagzeug 1") if row[0] == "hands"]


def test_a_pair_of_cymbals_leaves_no_hand_for_a_drum():
    bars = ['"Piatti" xC5/4 R/4 R/2', '"Tamburo" xE5/4 R/4 R/2', "xC5+xE5/4 R/4 R/2"]
    assert ("hands", "hard", 2) in found(bars, "Percussion 1")


def test_a_stroke_under_a_roll_of_the_other_hand():
    bars = ['"Tri." xC5/4 R/4 "S.D." xE4/4 R/4', "xE4/2(t3) R/2"]
    assert found(bars, "Percussion 1") == []


def test_a_drum_kit_has_feet():
    rows = {"S": ("Snare Drum", "", 39), "K": ("Bass Drum", "", 37), "H": ("Pedal Hi-Hat", "", 45),
            "C": ("Ride Cymbal 1", "", 52)}  # fmt: skip
    bars = ["xC5@S+xF4@K+xD4@H+xF5@C/4 R/4 R/2"]
    assert found(bars, "Drum Set", instruments=rows) == []
    assert found(["xC5+xF4+xD4+xF5+xA5/4 R/4 R/2"], "Drum Set") == [("hands", "impossible", 5)]


# ------------------------------------------------------------------ changes


def test_from_a_pair_of_cymbals_to_a_xylophone():
    for rest, wanted in (("R/8", [("change", "hard", 1)]), ("R/2", [])):
        bars = [f'"Piatti" B4/8 {rest} "Xylophone" C5/8 R/8', "R/1"]
        assert found(bars, "Percussion 1", clef="treble", tempo=60) == wanted
    bars = ['"Piatti" B4/16 "Xylophone" C5/16 R/8 R/4 R/2']
    assert found(bars, "Percussion 1", clef="treble", tempo=60) == [("change", "impossible", 1)]
    assert found(bars, "Percussion 1", clef="treble", tempo=None) == []


def test_a_rotation_between_things_that_stand_ready_takes_no_time():
    first = '"S.D." xC5/16 "Tom-tom" xA4/16 "Susp. cym." xF5/16 "Wood block" xE5/16 R/4 R/2'
    bars = [first, "xC5/16 xA4/16 R/8 R/4 R/2"]
    assert found(bars, "Percussion 1", tempo=120) == []


def test_a_triangle_after_a_roll_on_the_drum():
    bars = ['"S.D." xC5/4(t3) "Triangle" xE5/4 R/2']
    assert found(bars, "Percussion 1", tempo=60) == [("change", "hard", 1)]
    assert found(['"S.D." xC5/4(t3) R/2 "Triangle" xE5/4'], "Percussion 1", tempo=60) == []
    assert found(bars, "Percussion", tempo=60) == []


def test_the_forces_may_say_how_long_a_change_takes():
    bars = ['"Piatti" B4/8 R/8 "Xylophone" C5/8 R/8 R/2']
    quick = parse('[players.perc]\nplays = ["percussion"]\n[changes]\n"cymbals > xylophone" = [0.1, 0.2]\n')
    assert found(bars, "Percussion 1", clef="treble", forces=quick) == []


def test_a_roll_on_a_hung_cymbal_and_its_last_stroke():
    assert found(['"Becken" xC5/4(t3) xC5/4 R/2'], "Becken", tempo=120) == []


def test_other_sticks_at_once():
    bars = ['"S.D." "with brushes" xC5/8 xC5/8 xC5/8 xC5/8 "wooden sticks" xC5/8 xC5/8 R/4']
    assert found(bars, "Percussion 1", tempo=120) == [("sticks", "hard", 1)]
    slow = ['"S.D." "with brushes" xC5/8 xC5/8 R/2 "wooden sticks" xC5/8 xC5/8']
    assert found(slow, "Percussion 1", tempo=60) == []
    assert found(['"S.D." xC5/8 xC5/8 "wooden sticks" xC5/8 xC5/8 R/2'], "Percussion 1", tempo=120) == []


# ------------------------------------------------------------------ all of it


def test_rules_are_whole():
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.id.startswith("percussion-") and set(rule.levels) <= set(LEVELS)
        assert rule.title and rule.says and rule.why and rule.silent_when


def _all(path):
    score = read(path).score
    timeline = realise(score)
    context = Context(score, timeline.frame, timeline.layouts, Forces())
    for spans in spans_of(timeline):
        one = plan(spans, context)
        if one.kind:
            yield one.player, folded(check(one, spans, context))


def test_nothing_is_said_about_the_shared_scores():
    parts = [row for path in shared_scores() for row in _all(path)]
    assert not shared_scores() or len(parts) >= 4
    assert [[one.says for one in rows] for _, rows in parts if rows] == []


def test_nothing_but_a_missing_name_is_said_about_the_files_of_music21():
    """In all its files one staff is called Percussion and nothing else; no hand is ever too slow."""
    wanted = ("drum_sample", "41c", "73a", "46", "percussion")
    files = [one for one in package_files() if any(name in one.name.lower() for name in wanted)]
    assert corpus_files() and files
    rows = [(player, one.rule.id) for one in files for player, found in _all(one.path) for one in found]
    assert rows == [("Percussion", "percussion-unnamed")]


def test_a_played_chord_is_struck_together():
    """Notes of a MIDI file that begin some milliseconds apart are a chord: no mallet leaps from one to the next."""
    track = mido.MidiTrack([
        mido.MetaMessage("track_name", name="Xylophone"), mido.Message("program_change", program=13),
        mido.Message("note_on", note=72, velocity=64, time=0), mido.Message("note_on", note=84, velocity=64, time=5),
        mido.Message("note_off", note=72, time=400), mido.Message("note_off", note=84, time=0),
    ])  # fmt: skip
    box = io.BytesIO()
    mido.MidiFile(tracks=[track], ticks_per_beat=480).save(file=box)
    made, _, rows = planned(from_bytes(box.getvalue(), "played.mid").score)
    assert [[stroke.key for stroke in row] for row in made.reading.onsets] == [[72, 84]] and rows == []


def test_a_finding_outside_the_measures_asked_for_is_not_given():
    score = played(['"Whip" xE4/2(t3) R/2', "xE4/2(t3) R/2"], "Percussion 1")[1].score
    timeline = realise(score)
    (spans,) = spans_of(timeline)
    context = Context(score, timeline.frame, timeline.layouts, Forces(), frozenset({1}))
    assert [one.place.measure for one in check(plan(spans, context), spans, context)] == [1]
    assert len(planned(score)[2]) == 1
