"""The settings of glissandi against nested loops with arithmetic of their own, published settings and music21."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from collections import defaultdict
from fractions import Fraction
from functools import cache
from itertools import combinations, product
from pathlib import Path
from random import Random
from typing import Any

import jsonschema
import pytest
from music21 import harmony, scale

from deskproof import gliss
from deskproof.errors import DeskproofError
from deskproof.families.harp import sweep
from deskproof.families.harp.sweep import Setting

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "published" / "harp.toml").read_text(encoding="utf-8"))
PEDALS = "DCBEFGA"
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
NOTE_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
ALTER = {"b": -1, "♭": -1, "#": 1, "♯": 1, "♮": 0, "-": -1}
CHORDS = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8),
    "seventh": (0, 4, 7, 10), "major seventh": (0, 4, 7, 11), "minor seventh": (0, 3, 7, 10),
    "half diminished": (0, 3, 6, 10), "diminished seventh": (0, 3, 6, 9),
    "ninth": (0, 2, 4, 7, 10), "minor ninth": (0, 2, 3, 7, 10), "major ninth": (0, 2, 4, 7, 11),
    "seven flat nine": (0, 1, 4, 7, 10),
}  # fmt: skip
TRANSPOSED = [frozenset((root + k) % 12 for k in chord) for root in range(12) for chord in CHORDS.values()]


def classes(names: list[str]) -> frozenset[int]:
    """The pitch classes of note names."""
    return frozenset((NATURAL[name[0]] + sum(ALTER[sign] for sign in name[1:])) % 12 for name in names)


@cache
def everything() -> list[tuple[tuple[int, ...], frozenset[int], bool]]:
    """Each setting in foot order, its pitch classes, and whether a run upwards over two octaves never falls back."""
    found = []
    for positions in product((-1, 0, 1), repeat=7):
        at = dict(zip(PEDALS, positions, strict=True))
        run = [12 * octave + NATURAL[letter] + at[letter] for octave in (0, 1) for letter in "CDEFGAB"]
        found.append((positions, frozenset(p % 12 for p in run), run == sorted(run)))
    return found


def brute(wanted: frozenset[int]) -> dict[int, set[tuple[int, ...]]]:
    """By count of foreign notes, the settings that have all wanted ones."""
    found = defaultdict(set)
    for positions, sounds, upward in everything():
        if upward and wanted <= sounds:
            found[len(sounds - wanted)].add(positions)
    return found


# -- the settings


def test_counts() -> None:
    counts = PUBLISHED["counts"]
    assert len(sweep.settings()) == len(set(sweep.settings())) == counts["settings"]
    assert len(sweep.plain_settings()) == counts["settings_without_crossed_neighbours"]
    assert set(sweep.plain_settings()) == {positions for positions, _, upward in everything() if upward}


def test_every_setting_sounds_as_counted_by_hand() -> None:
    for positions, sounds, upward in everything():
        setting = Setting(*positions)
        assert sweep.sounding(setting) == sounds
        assert bool(setting.crossed) == (not upward)
        for k in range(12):
            letters = [p for p, a in zip(PEDALS, positions, strict=True) if (NATURAL[p] + a) % 12 == k]
            assert sorted(sweep.sounded_by(setting, k)) == sorted(letters)


def test_nothing_is_lost_with_the_crossed_neighbours() -> None:
    plain = {sounds for _, sounds, upward in everything() if upward}
    assert {sounds for _, sounds, _ in everything()} == plain


def test_exact_for_every_set_there_is() -> None:
    by_set = defaultdict(set)
    for positions, sounds, upward in everything():
        if upward:
            by_set[sounds].add(positions)
    sets = [frozenset(s) for size in range(13) for s in combinations(range(12), size)]
    assert len(sets) == 2**12
    assert sum(bool(by_set[s]) for s in sets) > 100
    for wanted in sets:
        found = sweep.fitting(wanted)
        assert len(found) == len(set(found))
        assert set(found) == by_set[wanted], wanted


def random_sets() -> list[frozenset[int]]:
    random = Random(20)
    return [frozenset(random.sample(range(12), random.randint(1, 9))) for _ in range(400)]


@pytest.mark.parametrize("sets", [TRANSPOSED, random_sets()], ids=["chords", "random"])
def test_with_foreign_notes(sets: list[frozenset[int]]) -> None:
    assert len(sets) > 100
    none = 0
    for wanted in sets:
        expected = brute(wanted)
        for foreign in range(8):
            assert set(sweep.fitting(wanted, foreign)) == expected[foreign], (wanted, foreign)
        found = sweep.answer(wanted)
        least = min((n for n in range(1, 8) if expected[n]), default=None)
        none += least is None
        assert set(found.exact) == expected[0]
        assert {near.setting for near in found.nearest} == (expected[least] if least else set())
        for near in found.nearest:
            assert sweep.sounding(near.setting) == wanted | near.foreign
            assert not wanted & near.foreign and len(near.foreign) == least
    assert none == 0 or sets is not TRANSPOSED


def test_what_has_to_be_left_out() -> None:
    seen = 0
    for wanted in (*random_sets(), *map(frozenset, combinations(range(12), 3))):
        missing = {wanted - sounds for _, sounds, _ in everything()}
        least = min(map(len, missing))
        expected = {m for m in missing if len(m) == least} if least else set()
        assert set(sweep.answer(wanted).left_out) == expected
        seen += bool(expected)
    assert seen > 50


@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize("third", [3, 4])
def test_no_triad_is_alone(root: int, third: int) -> None:
    wanted = {root, (root + third) % 12, (root + 7) % 12}
    found = sweep.answer(wanted)
    assert found.exact == () and sweep.fitting(wanted) == ()
    assert found.nearest and not found.left_out
    named = json.loads(gliss.run(NOTE_NAMES[root] + ("m" if third == 3 else ""), True, 80))
    assert named["exact"] == [] and classes(named["wanted"]) == wanted
    assert len(named["nearest"]) == len(found.nearest)


def test_only_one_set_of_three_cannot_be_had() -> None:
    impossible = [set(s) for s in combinations(range(12), 3) if sweep.answer(s).left_out]
    assert impossible == [classes(s) for s in PUBLISHED["counts"]["triads_impossible"]]


def test_strings_without_a_wanted_note() -> None:
    for wanted in TRANSPOSED:
        expected = [p for p in PEDALS if not {(NATURAL[p] + a) % 12 for a in (-1, 0, 1)} & wanted]
        assert list(sweep.strings_without(wanted)) == expected


@pytest.mark.parametrize("before", [None, Setting(0, 0, 0, 0, 0, 0, 0), Setting(1, -1, 0, 1, 1, -1, 0)])
def test_order(before: Setting | None) -> None:
    for wanted in TRANSPOSED:
        found = sweep.answer(wanted, before)
        for row in (found.exact, tuple(near.setting for near in found.nearest)):

            def rank(s: tuple[int, ...]) -> tuple[int, int, tuple[int, ...]]:
                moved = sum(a != b for a, b in zip(before, s, strict=True)) if before else 0
                return moved, sum(p != -1 for p in s), s

            assert list(row) == sorted(row, key=rank)


# -- published settings


@pytest.mark.parametrize("row", PUBLISHED["setting"], ids=lambda row: row["id"])
def test_published_settings(row: dict[str, Any]) -> None:
    found = sweep.fitting(classes(row["pitch_classes"]))
    assert [setting.positions for setting in found] == [row["setting"]]
    assert len(found) == row["settings_with_these"]
    assert json.loads(gliss.run(" ".join(row["pitch_classes"]), True, 0))["exact"] == [row["setting"]]


def test_the_published_pentatonic_as_first_notes() -> None:
    row = next(row for row in PUBLISHED["setting"] if row["id"] == "A5")
    written = [("C", 0), ("D", 0), ("E", 0), ("F", -1), ("G", 0), ("A", 0), ("B", 1)]
    (found,) = sweep.of_first_notes(written, ("C", 0))
    assert found.setting.positions == row["setting"] and found.last_on == "C"
    (other,) = PUBLISHED["not_the_set"]
    names = [(name[0], sum(ALTER[s] for s in name[1:] if s in ALTER)) for name in other["names"]]
    assert sweep.of_first_notes(names) == ()


# -- as written


def test_first_notes_against_all_settings() -> None:
    random = Random(7)
    seen = 0
    for _ in range(300):
        start, count, way = random.randrange(7), random.randint(1, 7), random.choice((1, -1))
        notes = [("CDEFGAB"[(start + way * i) % 7], random.choice((-1, 0, 1))) for i in range(count)]
        last = (random.choice("CDEFGAB"), random.choice((-2, -1, 0, 1, 2)))
        asked = dict(notes)
        both = [pair for pair in ("EF", "BC") if asked.get(pair[0]) == 1 and asked.get(pair[1]) == -1]
        expected = {}
        for positions, _, _ in everything():
            at = dict(zip(PEDALS, positions, strict=True))
            crossed = [pair for pair in ("EF", "BC") if at[pair[0]] == 1 and at[pair[1]] == -1]
            if any(at[letter] != alter for letter, alter in notes) or any(pair not in both for pair in crossed):
                continue
            target = (NATURAL[last[0]] + last[1]) % 12
            on = {p for p in PEDALS if (NATURAL[p] + at[p]) % 12 == target}
            expected[positions] = {last[0]} if at[last[0]] == last[1] else on
        found = sweep.of_first_notes(notes, last)
        assert {begun.setting for begun in found} == set(expected)
        for begun in found:
            letters = expected[begun.setting]
            assert begun.last_on in letters if letters else begun.last_on is None
            seen += begun.last_on not in (None, last[0])
    assert seen > 10


@pytest.mark.parametrize(
    "notes",
    [
        [("C", 0), ("E", 0)],  # skips a string
        [("C", 0), ("D", 0), ("C", 0)],  # turns back
        [("C", 0), ("C", 1)],  # one string
        [("C", 0), ("D", -2)],  # a double accidental
        [("C", 0), ("D", 0), ("E", 0), ("F", 0), ("G", 0), ("A", 0), ("B", 0), ("C", 1)],  # one pedal, two positions
        [("H", 0), ("A", 0)],
    ],
)
def test_first_notes_that_no_setting_has(notes: list[tuple[str, int]]) -> None:
    assert sweep.of_first_notes(notes) == ()


def test_no_last_note_is_on_no_string() -> None:
    assert {begun.last_on for begun in sweep.of_first_notes([("C", 0), ("D", 0)])} == {None}


def test_speed() -> None:
    assert sweep.speed(0, 21, 1_500_000) == sweep.speed(21, 0, 1_500_000) == 14
    assert sweep.speed(3, 10, 333_333) == Fraction(7_000_000, 333_333)
    for bad in (0, -1):
        with pytest.raises(ValueError, match="above zero"):
            sweep.speed(0, 7, bad)


# -- names: music21 knows the same chords and scales


KINDS = {
    "": "major", "m": "minor", "dim": "diminished", "+": "augmented", "6": "major-sixth", "m6": "minor-sixth",
    "7": "dominant", "maj7": "major-seventh", "m7": "minor-seventh", "ø": "half-diminished",
    "dim7": "diminished-seventh", "+7": "augmented-seventh", "9": "dominant-ninth", "maj9": "major-ninth",
    "m9": "minor-ninth",
}  # fmt: skip
SCALES = {
    "major scale": scale.MajorScale, "minor scale": scale.MinorScale, "harmonic minor": scale.HarmonicMinorScale,
    "melodic minor": scale.MelodicMinorScale, "dorian": scale.DorianScale, "phrygian": scale.PhrygianScale,
    "lydian": scale.LydianScale, "mixolydian": scale.MixolydianScale, "locrian": scale.LocrianScale,
    "whole tone": scale.WholeToneScale,
}  # fmt: skip


@pytest.mark.parametrize("root", NOTE_NAMES)
def test_chords_are_those_of_music21(root: str) -> None:
    for sign, kind in KINDS.items():
        theirs = harmony.ChordSymbol(root=root.replace("b", "-"), kind=kind)
        ours = gliss.parse(root + sign)
        assert set(ours.classes) == set(theirs.pitchClasses), root + sign
        assert len(ours.classes) == len(theirs.pitchClasses)
        plain = {p.name: p for p in theirs.pitches if abs(p.accidental.alter if p.accidental else 0) <= 1}
        assert {name.replace("♭", "-").replace("♯", "#") for name in ours.names} >= set(plain)


@pytest.mark.parametrize("root", NOTE_NAMES)
def test_scales_are_those_of_music21(root: str) -> None:
    for said, kind in SCALES.items():
        tonic = root.replace("b", "-")
        theirs = {
            p.pitchClass for p in kind(tonic).getPitches(f"{tonic}4", f"{tonic}5", direction=scale.Direction.ASCENDING)
        }
        assert set(gliss.parse(f"{root} {said}").classes) == set(gliss.parse(f"{said} on {root}").classes) == theirs
    major = [p.pitchClass for p in scale.MajorScale(root.replace("b", "-")).getPitches()]
    assert set(gliss.parse(f"pentatonic on {root}").classes) == {major[i] for i in (0, 1, 2, 4, 5)}


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Bb D F Ab C", "B♭ D F A♭ C"),
        ("B♭, D, F, A♭, C", "B♭ D F A♭ C"),
        ("b flat d f a flat c", "B♭ D F A♭ C"),
        ("C-E-G", "C E G"),
        ("C♮ E♯", "C E♯"),
        ("C E G C B#", "C E G"),
        ("Bb9", "B♭ D F A♭ C"),
        ("G7b9", "G B D F A♭"),
        ("G7(♭9)", "G B D F A♭"),
        ("D dim7", "D F A♭ C♭"),
        ("C-7", "C E♭ G B♭"),
        ("CM7", "C E G B"),
        ("Cm7", "C E♭ G B♭"),
        ("F# half-diminished", "F♯ A C E"),
        ("A natural minor", "A B C D E F G"),
        ("C major", "C E G"),
        ("C major scale", "C D E F G A B"),
        ("D-flat pentatonic", "D♭ E♭ F A♭ B♭"),
        ("minor pentatonic on A", "A C D E G"),
        ("whole tone", "C D E F♯ G♯ B♭"),
    ],
)
def test_what_is_understood(text: str, names: str) -> None:
    assert gliss.parse(text).names == names.split()


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "expected note names"),
        (" , ", "expected note names"),
        ("Bbb D F", "double accidental; write A"),
        ("B𝄫 D F", "double accidental; write A"),
        ("Cx E", "double accidental; write D"),
        ("D double sharp F", "double accidental; write E"),
        ("C E H", "^H: no note name"),
        ("C4 E4 G4", "without octaves"),
        ("A b C", 'write "Db"'),
        ("dim7", "on which note"),
        ("pentatonic", "on which note"),
        ("Fis A Cis", "whole tone"),
        ("foo", "half diminished"),
        ("C7 G", "dominant seventh"),
    ],
)
def test_bad_input(text: str, match: str) -> None:
    with pytest.raises(DeskproofError, match=match):
        gliss.run(text, False, 80)


@pytest.mark.parametrize(
    ("before", "match"),
    [
        ("D C Bb", "no E, F, G, A"),
        ("D C B | E F G A A", "A twice"),
        ("D C C | E F G A", "C twice and no B"),
        ("D C Bbb | E F G A", "double accidental"),
        ("D C H | E F G A", "^H: no pedal"),
    ],
)
def test_bad_setting_before(before: str, match: str) -> None:
    with pytest.raises(DeskproofError, match=match):
        gliss.run("Bb9", False, 80, before)


def test_the_setting_before_is_read_as_it_is_printed() -> None:
    assert gliss.parse_setting("D♭ C♯ B♭ | E♮ F♭ G♮ A♯") == Setting(-1, 1, -1, 0, -1, 0, 1)
    assert gliss.parse_setting("C# Db E Fb G A# Bb") == Setting(-1, 1, -1, 0, -1, 0, 1)


def test_names_are_known_without_the_harp() -> None:
    code = "import sys, deskproof.gliss as g; print(g.known_names()); print('deskproof.families' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, encoding="utf-8")
    assert done.stdout.splitlines()[-1] == "False"
    for said in ("half diminished", "whole tone", "pentatonic", "dorian", "locrian"):
        assert said in done.stdout


# -- what is printed


SETTING = {
    "type": "object", "properties": {p: {"enum": [-1, 0, 1]} for p in PEDALS}, "required": list(PEDALS),
    "additionalProperties": False,
}  # fmt: skip
NAMES = {"type": "array", "items": {"type": "string", "pattern": "^[A-G][♭♯]?$"}, "uniqueItems": True}
NEAR = {
    "type": "object", "properties": {"setting": SETTING, "foreign": NAMES}, "required": ["setting", "foreign"],
    "additionalProperties": False,
}  # fmt: skip
SCHEMA = {
    "type": "object",
    "properties": {
        "wanted": NAMES,
        "exact": {"type": "array", "items": SETTING},
        "nearest": {"type": "array", "items": NEAR},
    },
    "required": ["wanted", "exact", "nearest"],
    "additionalProperties": False,
}

ASKED = ["Bb D F Ab C", "C E G", "whole tone", "Db dim7", "G G# A", "C D E F G A B Db", "C", "D dorian", "F#m7", "E"]


@pytest.mark.parametrize("before", [None, "D C Bb | E F# G A"])
@pytest.mark.parametrize("asked", ASKED)
def test_json(asked: str, before: str | None) -> None:
    found = json.loads(gliss.run(asked, True, 80, before))
    jsonschema.validate(found, SCHEMA)
    wanted = classes(found["wanted"])
    expected = brute(wanted)
    for setting in [*found["exact"], *(near["setting"] for near in found["nearest"])]:
        assert list(setting) == list(PEDALS)
    assert {tuple(s.values()) for s in found["exact"]} == expected[0]
    for near in found["nearest"]:
        sounds = {(NATURAL[p] + a) % 12 for p, a in near["setting"].items()}
        assert classes(near["foreign"]) == sounds - wanted
        for name in near["foreign"]:
            assert near["setting"][name[0]] == sum(ALTER[sign] for sign in name[1:])


def drawn(rows: list[str]) -> list[int]:
    """The positions that three drawn rows and their letters show: above the line flat, across natural, below sharp."""
    top, line, bottom, letters = rows
    found = []
    for letter in PEDALS:
        x = letters.index(letter)
        above, below = top[x : x + 1].strip(), bottom[x : x + 1].strip()
        assert line[x] in "┴┼┬" and (above or below)
        found.append(0 if above and below else -1 if above else 1)
    return found


@pytest.mark.parametrize("setting", sweep.settings()[::37], ids=str)
def test_the_strokes_show_the_setting(setting: Setting) -> None:
    rows = gliss.diagram(setting)
    assert drawn(rows) == list(setting)
    assert [c for c in rows[3] if c != " "] == list(PEDALS)
    assert rows[3].index("B") < rows[1].index("╫") < rows[3].index("E")


@pytest.mark.parametrize("before", [None, "D C Bb | E F# G A"])
@pytest.mark.parametrize("width", [0, 80, 50])
@pytest.mark.parametrize("asked", ASKED)
def test_text(asked: str, width: int, before: str | None) -> None:
    text = gliss.run(asked, False, width, before)
    found = json.loads(gliss.run(asked, True, width, before))
    assert max(map(len, text.splitlines())) <= (width or 80)
    assert all(name in text for name in found["wanted"])
    blocks = [block for block in text.split("\n\n") if "╫" in block]
    exact = [list(s.values()) for s in found["exact"]]
    nearest = [list(near["setting"].values()) for near in found["nearest"]]
    assert len(blocks) <= 12
    stands = [0, 0, -1, 0, 1, 0, 0]
    shown = []
    for block in blocks:
        rows = block.splitlines()
        positions = drawn(rows[:4])
        shown.append(positions)
        said = re.search(r"(\S+ ){3}\| \S+ \S+ \S+ \S+", block)
        assert said
        signs = said[0].replace("|", "").split()
        assert [(s[0], ALTER[s[1]]) for s in signs] == list(zip(PEDALS, positions, strict=True))
        foreign = re.search(r"(\d) foreign note", block)
        sounds = {(NATURAL[p] + a) % 12 for p, a in zip(PEDALS, positions, strict=True)}
        assert (int(foreign[1]) if foreign else 0) == len(sounds - classes(found["wanted"]))
        assert classes(re.findall(r"[A-G][♭♯]?", re.search(r"sounds ([A-G♭♯= ]+)", block)[1])) == sounds
        moved = re.search(r"(\d|no) pedal", block)
        assert (moved is not None) == (before is not None)
        if moved:
            count = sum(a != b for a, b in zip(stands, positions, strict=True))
            assert moved[1] == (str(count) if count else "no")
    whole = exact or nearest
    cheaper = [s for s in shown if s not in whole]
    assert shown == [*whole[: len(shown) - len(cheaper)], *cheaper]
    assert all(s in nearest for s in cheaper)
    if before is None:
        assert not cheaper and len(shown) == min(len(whole), 12)
    hidden = len(whole) - (len(shown) - len(cheaper))
    assert hidden == 0 or f"{hidden} more" in text


@pytest.mark.parametrize("asked", ["Bb9", "whole tone", "D dorian", "Db dim7"])
def test_fewer_pedals_with_a_foreign_note_are_shown_beside_exact_ones(asked: str) -> None:
    stands = (0, 0, -1, 0, 1, 0, 0)

    def moved(setting: dict[str, int]) -> int:
        return sum(a != b for a, b in zip(stands, setting.values(), strict=True))

    found = json.loads(gliss.run(asked, True, 80, "D C Bb | E F# G A"))
    least = min(moved(setting) for setting in found["exact"])
    fewer = [near for near in found["nearest"] if moved(near["setting"]) < least]
    text = gliss.run(asked, False, 80, "D C Bb | E F# G A")
    assert ("fewer pedals move" in text) == bool(fewer)
    assert len(re.findall(r"\d foreign notes?:", text)) == min(len(fewer), 3)
    assert len(fewer) <= 3 or f"And {len(fewer) - 3} more" in text
    assert fewer or asked != "Bb9"
