"""The plan of a keyboard part in the JSON: every note is there, no hand has too much, the pedals do as said."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

import seeds
from corpus import shared, shared_scores
from deskproof import document
from deskproof.check import check
from deskproof.document import from_bytes
from deskproof.report import as_json
from deskproof.state import State, state_of
from oracles import keyboard_hands, keyboard_pedals

PRINTED = (
    "brahms-o-komme-op58-4.mxl", "faure-en-sourdine.mxl", "jaell-petits-oiseaux.mxl", "viardot-belle-yoli.mxl",
    "abrams-crazy-jane.mxl", "boulanger-matin-bars-1-100.mxl",
)  # fmt: skip
Json = dict[str, Any]


def keyboards(state: State) -> list[Json]:
    return [plan for plan in as_json.plans(state) if plan["kind"] == "keyboard"]


def piano(notes: str, below: str = "", **more: Any) -> bytes:
    case: dict[str, Any] = {"instrument": "piano", "tempo": 60, "notes": notes, **more}
    return seeds.score({**case, "below": below} if below else case)


def seen(state: State) -> list[Json]:
    """The plans, after every note was looked for in them."""
    rows = as_json.note_rows(state)
    plans = keyboards(state)
    for plan in plans:
        parts = {span["part"] for span in plan["spans"]}
        named = {ref for row in plan["unplanned"] for ref in row["notes"]}
        planned = {(note["ref"], note["pass"]) for note in plan["notes"]}
        for row in rows:
            if row["ref"].split("/")[0] in parts and not (row["cue"] or row["hidden"] or row["ossia"]):
                assert (row["ref"], row["pass"]) in planned or row["ref"] in named, row["ref"]
        struck: dict[tuple[int, str], list[int]] = defaultdict(list)
        rolled = {ref for row in plan["rolls"] for ref in row["notes"]}
        for note in plan["notes"]:
            if note["ref"] in rolled:
                continue
            struck[note["t_us"], note["hand"]].append(note["midi"])
            assert note["down_us"] == note["t_us"] <= note["up_us"]
        for (t_us, hand), keys in struck.items():
            assert keyboard_hands.fingers(sorted(set(keys)), hand), (t_us, hand, keys)
    return plans


@pytest.mark.parametrize("name", PRINTED)
def test_every_note_of_published_music_has_a_hand(name: str):
    plans = seen(state_of(document.read(shared(name)).score))
    assert plans and not [row for plan in plans for row in plan["unplanned"]]


def test_printed_fingers_are_kept_in_the_record():
    read = document.read(shared("brahms-o-komme-op58-4.mxl"))
    (plan,) = seen(state_of(read.score))
    assert all(len(note["fingers"]) == 1 for note in plan["notes"])


@pytest.mark.parametrize(
    "raw",
    [
        piano("C5/4 E5/4 G5/4 C6/4", "C3+G3/1"),
        piano("C5/1", "C2/2 C4/2", marks=[[0, "words Ped."]]),
        piano("C5+E5+G5/2 C6+E6+G6/2", "C2/4 C4/4 C2/4 C4/4"),
        piano("C3+D3+E3+F3+G3+A3+B3+C4+D4+E4+F4+G4+A4/1"),
    ],
)
def test_pedals_and_lengths_are_what_the_outside_reader_hears(raw: bytes):
    state = state_of(from_bytes(raw).score)
    (plan,) = seen(state)
    ends: dict[tuple[str, int], int] = {}
    for row in as_json.note_rows(state):
        ends[row["ref"], row["pass"]] = row["end_us"]
    small = {kind: [in_small(row) for row in plan[kind]] for kind in ("notes", "pedals")}
    assert keyboard_pedals.record_complaints(small, {key: us // STEP for key, us in ends.items()}) == []


STEP = 250_000  # microseconds: the outside reader goes tick by tick


def in_small(row: Json) -> Json:
    return {key: value // STEP if key.endswith("_us") else value for key, value in row.items()}


def test_two_staves_that_ask_for_one_key_strike_it_once():
    (plan,) = seen(state_of(from_bytes(piano("C4+E4+G4/1", "C3+G3+C4/1")).score))
    assert sorted({note["midi"] for note in plan["notes"]}) == [48, 55, 60, 64, 67] and len(plan["notes"]) == 6
    assert not check(from_bytes(piano("C4+E4+G4/1", "C3+G3+C4/1")).score).findings


@pytest.mark.parametrize("notes", ["C4+C#4+D4+D#4+E4+F4+F#4+G4+G#4+A4+A#4/1", "C9/1", "C-1/1", "G9+C4/1"])
def test_bad_input_is_a_finding_and_no_crash(notes: str):
    raw = piano(notes)
    (plan,) = seen(state_of(from_bytes(raw).score)) or [{"notes": [], "unplanned": []}]
    assert plan is not None
    check(from_bytes(raw).score)


@pytest.mark.parametrize("octaves", [1, 2, 3])
def test_a_part_on_three_staves_or_one_is_planned(octaves: int):
    (plan,) = seen(state_of(from_bytes(piano(f"C{3 + octaves}+E{3 + octaves}/1 C{2 + octaves}/1")).score))
    assert len(plan["notes"]) == 3


def test_published_piano_parts_show_nothing_impossible():
    for path in shared_scores():
        if path.name in PRINTED:
            found = check(document.read(Path(path)).score).findings
            assert not [f for f in found if f.rule.id.startswith("keyboard-") and f.level == "impossible"], path.name
