"""Two strings for one pitch, tremolos between chords, and what harpists are taught of both.

Common practice: every pitch is had on two strings but D, G and A natural; a tremolo goes to and fro between two
strings, C♯ being played as C♯ and D♭; a string plucked again at once is cut off, so that two strings take turns.
"""

from __future__ import annotations

from typing import Any

import pytest

import seeds
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.families.harp.model import HarpNote, Onset
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.two_strings import named_apart
from deskproof.findings import Effect, Finding
from deskproof.report import as_json
from deskproof.state import state_of
from oracles import harp_checker, harp_hands_record

Json = dict[str, Any]
ONE = {2: "D", 7: "G", 9: "A"}
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def harp(notes: str, marks: Any = (), **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 60, "notes": notes, "marks": list(marks), **more})


def planned(raw: bytes) -> tuple[Json, HarpPlan]:
    """The record, seen by both outside checkers, and the plan itself."""
    state = state_of(from_bytes(raw).score)
    (record,) = as_json.plans(state)
    assert harp_checker.check(record, as_json.note_rows(state)) == []
    assert harp_hands_record.check(record) == []
    plan = state.plans["harp", 0]
    assert isinstance(plan, HarpPlan)
    return record, plan


def rules_of(raw: bytes) -> list[str]:
    return [one.rule.id for one in check(from_bytes(raw).score).findings if one.rule.id != "harp-no-setting"]


@pytest.mark.parametrize("midi", range(60, 72))
def test_a_tremolo_stands_on_both_strings_of_its_pitch(midi: int):
    record, _ = planned(harp(f"{NAMES[midi % 12]}4/1", [[0, "tremolo 3"]]))
    (event,) = record["events"]
    strings = set(zip(event["strings"], event["positions"], strict=True))
    assert len(strings) == (1 if midi % 12 in ONE else 2)
    assert {harp_checker.OPEN[name] + at for name, at in strings} == {midi}
    assert (event["how"] == "trill") == (midi % 12 not in ONE)


def test_the_pair_holds_both_letters_until_the_tremolo_ends():
    """C sharp on C and D: neither pedal moves before, whatever follows."""
    record, _ = planned(harp("C#4/2 R/2 C4+D4+B4/1", [[0, "tremolo 3"]]))
    trill, _ = record["events"]
    moved = {change["pedal"]: change["t_us"] for change in record["changes"]}
    assert set(moved) == {"C", "D"}
    assert trill["how"] == "trill" and trill["hold_us"] == 2_000_000 <= min(moved.values())


def test_no_pair_is_taken_that_costs_a_note():
    """C sharp with D natural at once: the D string is not free to be D flat."""
    raw = harp("C#4/1", [[0, "tremolo 3"]])
    assert rules_of(raw) == []
    both = harp("C#4/4 D4+G4/4 C#4/4 D4+G4/4", [[0, "tremolo 3"], [2, "tremolo 3"]], tempo=240)
    record, plan = planned(both)
    assert record["objective"][0]["value"] == 0 and not plan.pairs
    assert "harp-tremolo-one-string" in rules_of(both)


def test_a_tremolo_of_two_chords_is_held_as_one():
    """Both chords' strings stand from the first onset to the end of the second."""
    raw = harp("C4+E4/2 G4+C5/2", [[0, "tremolo start 3"], [1, "tremolo stop 3"]])
    record, _ = planned(raw)
    one, two = record["events"]
    assert one["how"] == two["how"] == "trill"
    assert sorted(one["pitches"]) == sorted(two["pitches"]) == [60, 64, 67, 72]
    assert one["hold_us"] == two["t_us"] - one["t_us"] and len(one["notes"]) == len(two["notes"]) == 2


def test_chords_that_are_possible_in_turn_are_not_as_a_tremolo():
    """G and A, then G sharp: a foot has a whole second, but in a tremolo none."""
    chords = "G4+A4/2 G#4/2"
    assert "harp-cluster" not in rules_of(harp(chords))
    raw = harp(chords, [[0, "tremolo start 3"], [1, "tremolo stop 3"]])
    assert "harp-cluster" in rules_of(raw)
    planned(raw)


def again(raw: bytes) -> list[Finding]:
    return [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-string-again"]


def test_fast_repeats_are_written_on_two_strings_and_that_is_kept():
    """A flat in a chord of both hands, then again: there is no hand for it but the one that struck it."""
    chord = "C3+E3+F3+C4+E4+F4+Ab4+C5"
    raw = harp(f"{chord}/32 Ab4/32 Ab4/32 R/32 R/8 R/4 R/2", tempo=120)
    (finding,) = again(raw)
    keeping = [mend for mend in finding.mends if mend.effect is Effect.KEEPS_SOUND]
    assert keeping == [finding.mends[0]]
    document = from_bytes(raw)
    mended = document.with_edits(keeping[0].edits)
    assert again(mended.written()) == []
    record, _ = planned(mended.written())
    assert [e["strings"] for e in record["events"][1:]] == [["G4"], ["A4"]]


def test_a_note_with_one_string_is_offered_no_turns():
    chord = "C3+E3+G3+C4+E4+F4+G4+C5"
    (finding,) = again(harp(f"{chord}/32 G4/32 R/16 R/8 R/4 R/2", tempo=120))
    assert not [mend for mend in finding.mends if mend.effect is Effect.KEEPS_SOUND]


@pytest.mark.parametrize(("gap_us", "named"), [(100_000, True), (400_000, False)])
def test_two_names_in_quick_turn_are_two_strings(gap_us: int, named: bool):
    """Brute force over the rule: two names of one pitch bind if, and only if, they follow each other fast."""
    one, two = HarpNote(61, 0, ("C", 1)), HarpNote(61, 0, ("D", -1))
    found = named_apart([Onset(0, (one,)), Onset(gap_us, (two,)), Onset(10 * gap_us, (one,))])
    assert [onset.notes[0].named for onset in found] == [named, named, False]
    assert not any(o.notes[0].named for o in named_apart([Onset(0, (one,)), Onset(gap_us, (one,))]))
