"""The demo score: made as committed, valid, full in every bar, with its faults where docs/demo.md says."""

from __future__ import annotations

import importlib.util
import re
import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import music21
import pytest
from lxml import etree
from music21.common.numberTools import opFrac

from schema import complaints

ROOT = Path(__file__).resolve().parents[1]
FERRY = ROOT / "src" / "deskproof" / "demo" / "ferry.musicxml"
PARTS, BARS = 17, 32

# Ordinary sounding compass: the 1st and 99th hundredth of 293,053 notes of sixteen symphony movements,
# but the flute from C4 and the double bass from E1; timpani, harp and keyboards by their usual compass.
ORDINARY = {
    "Flute": (60, 93),
    "Piccolo": (74, 105),
    "Oboe": (62, 86),
    "Clarinet in B♭": (52, 83),
    "Bassoon": (36, 67),
    "Horn in F": (43, 77),
    "Trumpet in B♭": (57, 80),
    "Timpani": (38, 57),
    "Harp": (24, 103),
    "Celesta": (60, 108),
    "Piano": (21, 108),
    "Violins 1": (55, 91),
    "Violins 2": (55, 91),
    "Violas": (48, 76),
    "Cellos": (37, 68),
    "Double Basses": (28, 54),
}
OUTSIDE = {  # planted, by (instrument, bar): sounding pitches
    ("Flute", 8): ["B3"],
    ("Horn in F", 16): ["A-6"],
    ("Celesta", 27): ["A3", "F3", "B-3"],
    ("Celesta", 30): ["A3", "E3", "A2"],
    ("Double Basses", 19): ["E-1"],
    ("Double Basses", 20): ["D-1"],
    ("Double Basses", 21): ["C1"],
}


def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "tools" / "make_demo.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def score() -> music21.stream.Score:
    parsed = music21.converter.parse(FERRY, forceSource=True)
    assert isinstance(parsed, music21.stream.Score)
    return parsed


@pytest.fixture(scope="module")
def root() -> etree._Element:
    return etree.fromstring(FERRY.read_bytes())


def test_the_committed_file_is_what_the_generator_writes() -> None:
    assert generator().write_score() == FERRY.read_bytes()


def test_the_generator_writes_the_same_bytes_twice() -> None:
    module = generator()
    assert module.write_score() == module.write_score()


def test_the_schema_has_nothing_against_it() -> None:
    assert complaints(FERRY.read_bytes()) == []


def test_the_schema_is_really_asked() -> None:
    broken = FERRY.read_bytes().replace(b"<step>A</step>", b"<step>H</step>", 1)
    assert any("'H'" in line for line in complaints(broken))


def test_every_bar_of_every_staff_is_full(score: music21.stream.Score) -> None:
    staves = list(score.parts)
    assert len(staves) == PARTS + 3  # three parts have two staves
    short = []
    for staff in staves:
        bars = list(staff.getElementsByClass(music21.stream.Measure))
        assert len(bars) == BARS
        for bar in bars:
            for voice in list(bar.voices) or [bar]:
                end = Fraction(0)
                for note in voice.notesAndRests:
                    assert opFrac(note.offset) == opFrac(end), (staff.partName, bar.number, note)
                    end += Fraction(note.duration.quarterLength).limit_denominator(48)
                if end != 4:
                    short.append((staff.partName, bar.number, end))
    assert short == []


def test_the_durations_of_the_file_add_up_without_any_reader(root: etree._Element) -> None:
    divisions = int(root.findtext(".//divisions") or 0)
    assert divisions > 1
    seen = 0
    for measure in root.iter("measure"):
        now = furthest = 0
        for element in measure:
            length = int(element.findtext("duration") or 0)
            if element.tag == "note" and element.find("chord") is None:
                now += length
            elif element.tag == "backup":
                assert now == 4 * divisions
                now -= length
            furthest = max(furthest, now)
        assert (now, furthest) == (4 * divisions, 4 * divisions), measure.get("number")
        seen += 1
    assert seen == PARTS * BARS


def test_only_the_planted_notes_leave_the_ordinary_compass(score: music21.stream.Score) -> None:
    outside: dict[tuple[str, int], list[str]] = {}
    seen = set()
    for staff in score.toSoundingPitch().parts:
        name = staff.getInstrument().instrumentName
        if name == "Triangle":
            continue
        for note in staff.recurse().notes:
            bar = note.measureNumber
            player = "Piccolo" if staff.partName == "Flute 2" and bar >= 16 else name
            seen.add(player)
            low, high = ORDINARY[player]
            for pitch in note.pitches:
                if not low <= pitch.midi <= high:
                    outside.setdefault((player, bar), []).append(pitch.nameWithOctave)
    assert seen == set(ORDINARY)
    assert outside == OUTSIDE


def page_reading_errors(root: etree._Element) -> list[tuple[str, int, str, int, int, int]]:
    """Notes that a player, going by key and printed accidentals alone, would read otherwise.

    Each as part name, bar, step, octave, alteration meant, alteration read. An accidental holds for its
    line to the end of the bar; a tied note needs none.
    """
    names = {p.get("id"): p.findtext("part-name") for p in root.iter("score-part")}
    signs = {"flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2, "flat-flat": -2}
    wrong = []
    for part in root.iter("part"):
        fifths = 0
        for measure in part.iter("measure"):
            key = measure.findtext("attributes/key/fifths")
            fifths = int(key) if key is not None else fifths
            of_key = (
                dict.fromkeys("FCGDAEB"[:fifths], 1) if fifths > 0 else dict.fromkeys("BEADGCF"[:-fifths], -1)
            )
            state: dict[tuple[str, str, str], int] = {}
            for note in measure.iter("note"):
                step, octave = note.findtext("pitch/step"), note.findtext("pitch/octave")
                if step is None or octave is None:
                    continue
                line = (note.findtext("staff") or "1", step, octave)
                meant = int(note.findtext("pitch/alter") or 0)
                sign = note.findtext("accidental")
                if sign is not None:
                    state[line] = signs[sign]
                elif any(t.get("type") == "stop" for t in note.iter("tie")):
                    continue
                read = state.get(line, of_key.get(step, 0))
                if read != meant:
                    place = (names[part.get("id")] or "", int(measure.get("number") or 0))
                    wrong.append((*place, step, int(octave), meant, read))
    return wrong


def test_only_the_two_planted_accidentals_are_missing(root: etree._Element) -> None:
    assert page_reading_errors(root) == [
        ("2 Clarinets in B♭", 9, "G", 4, 0, 1),
        ("Viola", 10, "C", 4, 1, 0),
    ]


def test_every_printed_accidental_says_what_sounds(root: etree._Element) -> None:
    for note in root.iter("note"):
        sign = note.findtext("accidental")
        if sign is not None:
            alter = {"flat": -1, "natural": 0, "sharp": 1}[sign]
            assert alter == int(note.findtext("pitch/alter") or 0)


def test_the_page_about_the_demo_names_the_bars_of_its_faults() -> None:
    text = (ROOT / "docs" / "demo.md").read_text(encoding="utf-8")
    bars = {
        int(n) for span in re.findall(r"\bbars? ([\d, and\u2013]+)", text) for n in re.findall(r"\d+", span)
    }
    assert {bar for _, bar in OUTSIDE} | {9, 10} <= bars
