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
from deskproof.families import FAMILIES, Help
from deskproof.findings import Effect, Finding
from deskproof.forces import Forces, ForcesError, parse
from deskproof.mending import helped
from deskproof.report import as_json
from deskproof.state import state_of

SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
ALTER = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}


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
    lower, same = manner(raw).mends
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


@pytest.mark.parametrize(
    ("k", "rows", "played"),
    [
        (0, [("4", "base-pitch")] * 3, ["C4", "E4", "G4"]),
        (1, [("4", "sounding-pitch"), ("5", "sounding-pitch"), ("4", "sounding-pitch")], ["C3", "E4", "G3"]),
        (2, [("4", "base-pitch"), ("5", "base-pitch"), ("4", "base-pitch")], ["C4", "E5", "G4"]),
    ],
)
def test_where_the_file_says_both_any_of_the_marks_may_be_wrong(k: int, rows: list[Any], played: list[str]):
    raw = bells("C4 E5 G4", "harmonic base-pitch", "harmonic sounding-pitch", "harmonic")
    mends = manner(raw).mends
    assert [mend.effect for mend in mends] == [Effect.CHANGES_SOUND] * 3
    after = take(raw, mends[k].edits)
    assert told(after) == rows and strings(after) == played
    for string in played:  # the mend names string and sound, an octave apart
        assert f"{string} string" in mends[k].says and f"{string[0]}{int(string[1]) + 1}" in mends[k].says
    assert "harp-harmonic-manner" not in {one.rule.id for one in check(from_bytes(after).score).findings}


def test_the_tied_note_goes_with_its_harmonic():
    raw = harp("D6/2 D6/2 C6/1", [[0, "harmonic"], [0, "tie"], [2, "harmonic"]])
    after = take(raw, manner(raw).mends[0].edits)
    assert [note.findtext("pitch/octave") for note in etree.fromstring(after).iter("note")] == ["5", "5", "5"]
    assert strings(after) == ["D5", "C5"]


def test_a_manner_that_only_the_rule_of_today_tells_is_no_finding():
    """Each of these may be a string or a sound: nothing is asked, and the user may say it."""
    assert not [one for one in check(from_bytes(bells("C4 E4 G4")).score).findings if "harmonic" in one.rule.id]


@pytest.mark.parametrize("command", ["check", "mend", "report"])
def test_every_command_takes_what_the_user_says_over_the_forces(command: str, tmp_path: Path):
    """A2 and D6: with the strings told, D6 is one of them and too high; without, the manner is asked for."""
    path, room = tmp_path / "bells.musicxml", tmp_path / "forces.toml"
    path.write_bytes(bells("F3 D6"))
    room.write_text('[players.harp]\nplays = ["harp"]\nharmonics = "sounding"\n', encoding="utf-8")
    out = tmp_path / "out"
    more = {"check": ["--json"], "mend": ["--dry-run"], "report": ["-o", str(out)]}[command]
    said = [command, "--forces", str(room), "--harmonics", "string", str(path), *more]
    answer = CliRunner().invoke(main, said)
    assert answer.exit_code in (0, 1), answer.output
    if command == "check":
        findings = json.loads(answer.output)["findings"]
        (high,) = [one for one in findings if one["rule"] == "harp-harmonic-range"]
        assert high["numbers"]["string"] == "D6" and high["numbers"]["sound"] == "D7"
    if command == "report":
        text = out.read_text(encoding="utf-8") if out.is_file() else "".join(
            one.read_text(encoding="utf-8") for one in out.glob("*.html")
        )  # fmt: skip
        assert "D6 string" in text and "D7" in text


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
    document = helped(from_bytes(raw), Forces(), Help("all"))
    assert trills(document.written()) == trills(raw)


def test_the_trill_of_c_and_c_sharp_has_the_d_string_at_d_flat():
    raw = harp("C5/2 R/2", [[0, "trill 0 flat"]])
    (plan,) = as_json.plans(state_of(from_bytes(raw).score))
    (event,) = plan["events"]
    assert sorted(zip(event["strings"], event["positions"], strict=True)) == [("C5", 0), ("D5", -1)]
    assert plan["initial"]["D"] == -1 and plan["initial"]["C"] == 0


def timed(raw: bytes) -> list[tuple[int, int, int, Any]]:
    """Signs of pedals and trills of a written file as (bar, divisions from its beginning, order, element)."""
    found = []
    for bar, measure in enumerate(etree.fromstring(raw).iterfind("part/measure")):
        at = 0
        for one in measure:
            length = int(one.findtext("duration") or 0)
            if one.tag == "backup":
                at -= length
            elif one.tag == "forward":
                at += length
            elif one.tag == "direction":
                found += [(bar, at, 0, sign) for sign in one.iter("words", "harp-pedals")]
            elif one.tag == "note":
                if one.find("notations/ornaments/trill-mark") is not None:
                    found.append((bar, at, 1, one))
                at += length
    return sorted(found, key=lambda row: row[:3])


@pytest.mark.parametrize(
    ("notes", "sign", "letter"),
    [
        ("B4+C5+D5/4 R/4 C5/2", "flat", "D"),  # a trill C-C sharp: the D string at flat
        ("F4/4 R/4 E4/2", "sharp", "F"),  # not E and G flat: the F string would lie between
        ("E4+F4/4 R/2. | R/4 D5/2.", "flat", "E"),
    ],
)
def test_the_change_for_the_upper_string_is_printed_before_the_trill(notes: str, sign: str, letter: str):
    """Read in the order of time, the pedal signs leave the upper string as the trill's sign says."""
    last = len([token for token in notes.split() if token != "|"]) - 1
    raw = harp(notes, [[last, f"trill 0 {sign}"]])
    rows = timed(helped(from_bytes(raw), Forces(), Help("all")).written())
    stands: dict[str, list[int]] = {name: [] for name in "DCBEFGA"}
    for _, _, _, one in rows:
        if one.tag == "harp-pedals":
            for tuning in one:
                stands[tuning.findtext("pedal-step") or ""].append(int(tuning.findtext("pedal-alter") or 0))
        elif one.tag == "words":
            for word in (one.text or "").split():
                stands[word[0]].append("♭♮♯".index(word[1]) - 1)
        else:
            assert one.findtext("notations/ornaments/accidental-mark") == sign
            assert stands[letter] == [0, ALTER[sign]]  # natural first, for the note before; then as the trill needs it
    assert [one.tag for _, _, _, one in rows][-1] == "note"


def test_the_pedal_of_a_trill_is_moved_and_printed_before_it():
    """D natural, a rest, then a trill C-D flat: the change stands before the trill's onset."""
    raw = harp("B4+C5+D5/4 R/4 C5/2", [[2, "trill 0 flat"]])
    (plan,) = as_json.plans(state_of(from_bytes(raw).score))
    (change,) = plan["changes"]
    trill = plan["events"][-1]
    assert change["pedal"] == "D" and change["t_us"] + change["dur_us"] <= trill["t_us"]


def names_of_trills(raw: bytes) -> list[tuple[str, int, str, int]]:
    """Letter and alteration of both notes of every trill, where it has its sign."""
    return [
        (step, int(note.findtext("pitch/alter") or 0), "CDEFGAB"["CDEFGAB".index(step) - 6], ALTER[sign])
        for note in etree.fromstring(raw).iter("note")
        if (sign := note.findtext("notations/ornaments/accidental-mark") or "")
        and (step := note.findtext("pitch/step") or "")
    ]


@pytest.mark.parametrize(
    ("notes", "mark", "wanted"),
    [
        ("Db5/2 R/2", "trill 0 flat-flat", {("C", 1, "D", 0)}),  # D flat and E double flat: no such string
        ("E#4/2 R/2", "trill 0 double-sharp", {("F", 0, "G", 0)}),
        ("B#4/2 R/2", "trill 0 double-sharp", {("C", 0, "D", 0)}),
        ("F##4/2 R/2", "trill 0 sharp", {("G", 0, "A", -1), ("F", 2, "G", 1)}),
        ("D3+C5/2 R/2", "trill 1 flat", {("B", 1, "C", 1)}),  # D natural is wanted as well
        ("F3+Eb4/2 R/2", "trill 1 flat", {("D", 1, "E", 0)}),
    ],
)
def test_a_trill_of_no_two_strings_is_written_as_two_strings(notes: str, mark: str, wanted: set[Any]):
    raw = harp(notes, [[0, mark]])
    found = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-trill-strings"]
    (finding,) = found
    (mend,) = finding.mends
    assert mend.effect is Effect.KEEPS_SOUND
    after = take(raw, mend.edits)
    assert trills(after) == trills(raw)  # the same two pitches
    assert set(names_of_trills(after)) <= wanted
    left = {one.rule.id for one in check(from_bytes(after).score).findings}
    assert not left & {"harp-trill-strings", "harp-trill-sign", "harp-spelling"}
    (plan,) = as_json.plans(state_of(from_bytes(after).score))
    ((low, one, high, two),) = names_of_trills(after)
    strings_of = {
        string[0]: at
        for event in plan["events"]
        for string, at in zip(event["strings"], event["positions"], strict=True)
    }
    assert (strings_of[low], strings_of[high]) == (one, two)  # it is played on the strings that are written


@pytest.mark.parametrize(("rest", "wanted"), [("R/4", ["E4", "F4"]), ("", ["E4", "G4"])])
def test_a_trill_has_neighbouring_strings_where_there_is_time(rest: str, wanted: list[str]):
    """E-F sharp after F natural: the F pedal in a rest; without one only G flat is there, and the page is not so."""
    raw = harp(f"F4/4 {rest} E4/2{'' if rest else '.'}", [[2 if rest else 1, "trill 0 sharp"]])
    assert strings(raw)[-2:] == wanted
    told = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-trill-strings"]
    assert bool(told) == (not rest)


def test_a_trill_on_strings_that_are_no_neighbours_is_told():
    """F natural is held: E and F sharp are E and G flat, and no trill on E goes to G."""
    raw = harp("F3+E4/2 R/2", [[0, "trill 1 sharp"]])
    (finding,) = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-trill-strings"]
    assert [(mend.effect, mend.edits) for mend in finding.mends] == [(Effect.ADVICE, ())]


def test_the_whole_tied_chain_gets_the_name():
    raw = harp("Db5/1 Db5/2 R/2", [[0, "trill 0 flat-flat"], [0, "tie"]])
    (finding,) = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-trill-strings"]
    after = etree.fromstring(take(raw, finding.mends[0].edits))
    assert [(one.findtext("step"), one.findtext("alter")) for one in after.iter("pitch")] == [("C", "1"), ("C", "1")]


def test_an_open_trill_is_closed_either_way():
    raw = harp("F#4/4 G4/4 E4/2", [[2, "trill 0"]])
    (finding,) = [one for one in check(from_bytes(raw).score).findings if one.rule.id == "harp-trill-sign"]
    assert [mend.effect for mend in finding.mends] == [Effect.KEEPS_SOUND, Effect.CHANGES_SOUND]
    for mend, (one, alter) in zip(finding.mends, (("F", 0), ("F", 1)), strict=True):
        after = take(raw, mend.edits)
        assert names_of_trills(after) == [("E", 0, one, alter)]
        assert trills(after) == [(64, 65 + alter)]


def test_rules_of_the_harp_are_known():
    ids = {rule.id for family in FAMILIES for rule in family.rules}
    assert {"harp-trill-sign", "harp-trill-strings", "harp-harmonic-manner"} <= ids
