"""Harmonics and trills are written so that nobody can misread them, and the user may say how they are written.

Common practice: a harmonic sounds an octave above its string and is written where it is played, with a small circle; a
trill C-C♯ is written with the D string set to D♭. MusicXML 4.0: base-pitch is the string, sounding-pitch the sound.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import etree

import seeds
from deskproof.check import check
from deskproof.cli import main
from deskproof.document import from_bytes
from deskproof.edits import Edit
from deskproof.families import FAMILIES
from deskproof.findings import Effect, Finding
from deskproof.forces import Forces, ForcesError, parse
from deskproof.mending import helped
from deskproof.report import as_json
from deskproof.state import state_of

SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
ALTER = {"flat": -1, "natural": 0, "sharp": 1}


def harp(notes: str, marks: Any = (), **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 60, "notes": notes, "marks": list(marks), **more})


def bells(names: str, *marks: str) -> bytes:
    rows = names.split()
    said = marks or ("harmonic",) * len(rows)
    return harp(" ".join(f"{name}/1" for name in rows), [[i, mark] for i, mark in enumerate(said)])


def manner(raw: bytes) -> Finding:
    (found,) = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-harmonic-manner"]
    return found


def strings(raw: bytes, forces: Forces | None = None) -> list[str]:
    """The strings of all events, in order."""
    (plan,) = as_json.plans(state_of(from_bytes(raw).score, forces))
    return [string for event in plan["events"] for string in event["strings"]]


def told(raw: bytes) -> list[tuple[str, ...]]:
    """Of every harmonic of the file the written octave and what its mark tells."""
    return [
        (note.findtext("pitch/octave") or "", *(one.tag for one in harmonic))
        for note in etree.fromstring(raw).iter("note")
        for harmonic in note.iterfind("notations/technical/harmonic")
    ]


def take(raw: bytes, edits: tuple[Edit, ...]) -> bytes:
    return from_bytes(raw).with_edits(edits).written()


def test_harmonics_at_their_sound_are_written_where_they_are_played_or_marked():
    """C6 and D6 are no strings that give a harmonic: they are sounds, of the C5 and D5 strings."""
    raw = bells("C6 D6")
    lower, same = manner(raw).mends[:2]
    assert strings(raw) == ["C5", "D5"]
    assert (lower.effect, same.effect) == (Effect.CHANGES_SOUND, Effect.KEEPS_SOUND)
    for mend, rows in ((lower, ("5", "base-pitch")), (same, ("6", "sounding-pitch"))):
        after = take(raw, mend.edits)
        assert told(after) == [rows, rows]
        assert strings(after) == ["C5", "D5"]
        assert not [one for one in check(from_bytes(after).score).findings if one.rule.id == "harp-harmonic-manner"]


def test_harmonics_of_two_manners_become_one():
    """B2 as a sound has no string that gives it, D6 as a string is too high: the one is played, the other heard."""
    raw = bells("B2 D6")
    (mend,) = [one for one in manner(raw).mends if one.edits]
    after = take(raw, mend.edits)
    assert told(after) == [("2", "base-pitch"), ("5", "base-pitch")]


@pytest.mark.parametrize(("said", "string"), [("string", "E5"), ("sounding", "E4")])
def test_the_user_says_how_they_are_written(said: str, string: str, tmp_path: Path):
    """E5 can be either: the E5 string, or the sound of the E4 string."""
    raw = bells("E5")
    assert strings(raw) == ["E5"]  # by the rule of today
    assert strings(raw, replace(Forces(), harmonics=said)) == [string]
    forces = f'[players.harp]\nplays = ["harp"]\nharmonics = "{said}"\n'
    assert strings(raw, parse(forces)) == [string]
    path = tmp_path / "bells.musicxml"
    path.write_bytes(raw)
    answer = CliRunner().invoke(main, ["check", "--json", "--harmonics", said, str(path)])
    (plan,) = json.loads(answer.output)["plans"]
    assert plan["events"][0]["strings"] == [string]


def test_a_manner_that_is_none_is_refused():
    with pytest.raises(ForcesError, match="did you mean 'sounding'"):
        parse('[players.harp]\nplays = ["harp"]\nharmonics = "sound"\n')


def trills(raw: bytes) -> list[tuple[int, int]]:
    """The two pitches of every trill of a file in C, by its note, its key and its sign."""
    found = []
    for note in etree.fromstring(raw).iter("note"):
        if note.find("notations/ornaments/trill-mark") is not None:
            step, octave = note.findtext("pitch/step") or "", int(note.findtext("pitch/octave") or 0)
            low = 12 * (octave + 1) + SEMITONES[step] + int(note.findtext("pitch/alter") or 0)
            k = "CDEFGAB".index(step) + 1
            sign = ALTER[note.findtext("notations/ornaments/accidental-mark") or "natural"]
            found.append((low, 12 * (octave + 1 + k // 7) + SEMITONES["CDEFGAB"[k % 7]] + sign))
    return found


@pytest.mark.parametrize(
    "notes",
    [
        "B#4/2 R/2",  # B sharp and C sharp
        "F##4/2 R/2",  # F double sharp is no string: G
        "Cb5/2 C5+G5/2",
        "C5/2 R/2",
    ],
)
@pytest.mark.parametrize("sign", ["", " flat", " sharp", " natural"])
def test_a_trill_sounds_the_same_with_the_names_of_its_strings(notes: str, sign: str):
    """The pedals are printed, and notes named by their strings with them: no trill goes to another pitch by it."""
    raw = harp(notes, [[0, f"trill 0{sign}"]])
    document = helped(from_bytes(raw), Forces(), "all")
    assert trills(document.written()) == trills(raw)


def test_the_trill_of_c_and_c_sharp_has_the_d_string_at_d_flat():
    raw = harp("C5/2 R/2", [[0, "trill 0 flat"]])
    (plan,) = as_json.plans(state_of(from_bytes(raw).score))
    (event,) = plan["events"]
    assert sorted(zip(event["strings"], event["positions"], strict=True)) == [("C5", 0), ("D5", -1)]
    assert plan["initial"]["D"] == -1 and plan["initial"]["C"] == 0


def test_the_pedal_of_a_trill_is_moved_and_printed_before_it():
    """D natural, a rest, then a trill C-D flat: the change stands before the trill's onset."""
    raw = harp("B4+C5+D5/4 R/4 C5/2", [[2, "trill 0 flat"]])
    (plan,) = as_json.plans(state_of(from_bytes(raw).score))
    (change,) = plan["changes"]
    trill = plan["events"][-1]
    assert change["pedal"] == "D" and change["t_us"] + change["dur_us"] <= trill["t_us"]
    words = etree.fromstring(helped(from_bytes(raw), Forces(), "all").written()).iter("words")
    assert any("D" in (one.text or "") for one in words)


def test_rules_of_the_harp_are_known():
    ids = {rule.id for family in FAMILIES for rule in family.rules}
    assert {"harp-trill-sign", "harp-harmonic-manner"} <= ids
