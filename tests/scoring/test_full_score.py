"""The full score of a sketch, held against the sketch from outside: all of it is there, and nothing else."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import mido
import music21
import pytest

from deskproof import demo, document
from deskproof.midi import writing
from deskproof.musicxml import writer
from deskproof.scoring import plan_text, planning
from deskproof.scoring.hall import Hall, standard
from deskproof.scoring.plan_reading import Reading, reading_of
from deskproof.scoring.sketch import read, sketch_of
from deskproof.sketch import orchestrating
from oracles import full_score_checker as checker
from schema import complaints
from scoring import small_sketches as small

SHARED = Path(__file__).resolve().parents[3] / "shared"
LAMPS = Path(demo.__file__).with_name("lamps.musicxml")
STRINGS = {"violin 1": 4, "violin 2": 3, "viola": 2, "cello": 2}
WIND_QUINTET = ("flute 1: flute, piccolo", "oboe 1: oboe, cor anglais", "clarinet 1", "horn 1", "bassoon 1")
HALLS = {
    "standard": standard,
    "quartet and oboe": lambda: small.room(
        "oboe 1", "violin 1: violin", "violin 2: violin", "viola 1: viola", "cello 1: cello"
    ),
    "wind quintet": lambda: small.room(*WIND_QUINTET),
    "chamber of eight": lambda: small.room(
        "flute 1", "clarinet 1", "bassoon 1", "horn 1",
        sections={"violin 1": 1, "violin 2": 1, "viola": 1, "cello": 1},
    ),
}  # fmt: skip
SHORT_OF_NOTES = ("violin", "viola", "cello", "bassoon")
MOST_LEDGERS = 5


def orchestrated(path: Path, hall: Hall) -> orchestrating.Orchestrated:
    """Plan and full score as the two commands make them, the plan read back from its text."""
    sketch = read(path)
    plan = planning.scored(sketch, hall, seconds=2, alternatives=0).plan
    return orchestrating.orchestrated(sketch, reading_of(plan_text.write(plan)))


def wrong_with(sketch: Path, done: orchestrating.Orchestrated) -> dict[str, list[str]]:
    """All that the outside checker, the schema and the product's own check have against a full score."""
    data = done.document.written()
    full = checker.chains_of(data)
    near = checker.AS_PLAYED if sketch.suffix == ".mid" else Fraction(0)
    said = json.loads(json.dumps(done.as_json()))
    found = {
        "schema": complaints(data),
        "notes": checker.complaints(checker.sketch_of(sketch), full, said, near),
        "twice": checker.doubled(full),
        "ties": checker.untied(data),
        "slurs and hairpins": checker.unbalanced(data),
        "ledger lines": [
            f"{name} {ref}: {lines}"
            for name, ref, lines, _ in checker.ledger_lines(data)
            if lines > MOST_LEDGERS and name.split()[0].rstrip("s").casefold() in SHORT_OF_NOTES
        ],
        "impossible": [one.says for one in done.report.findings if one.level == "impossible"],
    }
    return {name: rows for name, rows in found.items() if rows}


@lru_cache
def lamps(hall: str) -> orchestrating.Orchestrated:
    return orchestrated(LAMPS, HALLS[hall]())


@pytest.mark.parametrize("hall", HALLS)
def test_the_demo_sketch_is_all_there_and_nothing_else(hall: str):
    assert wrong_with(LAMPS, lamps(hall)) == {}


def test_the_standard_orchestra_leaves_nothing_of_the_demo_out():
    assert lamps("standard").left_out == ()


@pytest.mark.parametrize("hall", ["standard", "wind quintet"])
def test_music21_hears_the_same_notes_as_the_checker(hall: str):
    """Transposed parts sound right in a second reader too."""
    data = lamps(hall).document.written()
    names = {one.get("id"): one.findtext("part-name") for one in checker.root_of(data).iter("score-part")}
    ours: dict[str, list[tuple[Fraction, int]]] = {}
    for one in checker.chains_of(data):
        if not one.grace:
            ours.setdefault(names[one.part], []).append((one.onset, one.midi))
    parts = heard_by_music21(data)
    assert len(parts) == len(ours) > 4
    for name, rows in ours.items():
        assert sorted(rows) == parts[name], name


def heard_by_music21(data: bytes) -> dict[str, list[tuple[Fraction, int]]]:
    """Onset and sounding pitch of each note that no tie continues, by part; two staves of one part together."""
    score = music21.converter.parseData(data.decode(), format="musicxml").toSoundingPitch()
    found: dict[str, list[tuple[Fraction, int]]] = {}
    for part in score.parts:
        name = str(part.partName)
        for measure in part.getElementsByClass("Measure"):
            for note in measure.recurse().notes:
                if note.duration.isGrace:
                    continue
                at = Fraction(measure.offset) + Fraction(note.getOffsetInHierarchy(measure))
                for one in note.notes if note.isChord else (note,):
                    if one.tie is None or one.tie.type == "start":
                        found.setdefault(name, []).append((at.limit_denominator(96), int(one.pitch.midi)))
    return {name: sorted(rows) for name, rows in found.items()}


def test_midi_of_the_full_score_has_its_notes(tmp_path: Path):
    done = lamps("standard")
    path = tmp_path / "lamps.mid"
    path.write_bytes(writing.write(done.document.score))
    written = sorted((one.onset, one.midi) for one in checker.chains_of(done.document.written()) if not one.grace)
    # the sketch has no repeats, so page order is the order in which it is played
    played = sorted((one.onset, one.midi) for one in checker.chains_of_midi(path))
    near = [(midi, float(onset)) for onset, midi in written]
    heard = [(midi, float(onset)) for onset, midi in played]
    assert len(near) == len(heard)
    for (midi, at), (other, when) in zip(sorted(near), sorted(heard), strict=True):
        assert midi == other
        assert abs(at - when) < 0.13


@pytest.mark.parametrize("song", ["viardot-belle-yoli", "faure-en-sourdine"])
def test_a_song_of_the_shared_scores(song: str, tmp_path: Path):
    path = SHARED / "scores" / f"{song}.mxl"
    if not path.is_file():
        pytest.skip("no shared scores")
    cut = tmp_path / f"{song}.musicxml"
    score = document.read(path).score
    parts = tuple(replace(part, measures=part.measures[:24]) for part in score.parts)
    cut.write_bytes(writer.write(replace(score, parts=parts)))
    done = orchestrated(cut, standard())
    assert wrong_with(cut, done) == {}
    assert len(done.left_out) < len(done.notes) // 10


def test_a_played_midi_file(tmp_path: Path):
    path = SHARED / "two-hands" / "Satie-Gymnopedie_No1.mid"
    if not path.is_file():
        pytest.skip("no shared recordings")
    file = mido.MidiFile(path)
    for track in file.tracks:  # the first 24 bars of three quarters
        at = 0
        for k, message in enumerate(track):
            at += message.time
            if at > 72 * file.ticks_per_beat:
                del track[k:]
                break
    short = tmp_path / "satie.mid"
    file.save(short)
    assert wrong_with(short, orchestrated(short, standard())) == {}


def test_midi_that_ends_its_notes_early_is_written_in_whole_values(tmp_path: Path):
    """As programs write it: a quarter lasts 95 hundredths of one."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    silent = 0
    for pitch, ticks in ((60, 480), (64, 240), (65, 240), (67, 960)) * 8:
        sounds = ticks * 95 // 100
        track.append(mido.Message("note_on", note=pitch, velocity=70, time=silent))
        track.append(mido.Message("note_off", note=pitch, time=sounds))
        silent = ticks - sounds
    path = tmp_path / "early.mid"
    file.save(path)
    sketch = read(path)
    lengths = [Fraction(note.end - note.onset, sketch.grid) for note in sketch.notes[:4]]
    assert lengths == [1, Fraction(1, 2), Fraction(1, 2), 2]
    assert wrong_with(path, orchestrated(path, small.room("flute 1", "bassoon 1", sections=STRINGS))) == {}


def test_a_plan_written_and_read_gives_the_score_of_the_plan_itself():
    sketch = read(LAMPS)
    plan = planning.scored(sketch, HALLS["chamber of eight"](), seconds=2, alternatives=1).plan
    again = reading_of(plan_text.write(plan))
    one = orchestrating.orchestrated(sketch, Reading(plan))
    two = orchestrating.orchestrated(sketch, again)
    assert one.document.written() == two.document.written()
    assert one.as_json() == two.as_json()


# ---------------------------------------------------------------- sketches and plans by dice

ROOM = small.room(
    "flute 1", "flute 2", "flute 3: flute, piccolo", "oboe 1", "clarinet 1", "clarinet 2", "bassoon 1", "horn 1",
    "horn 2", "trumpet 1", "timpani", "harp", "keyboard: piano, celesta",
    sections={"violin 1": 4, "violin 2": 4, "viola": 3, "cello": 3, "double bass": 2},
)  # fmt: skip
BARS = 5
STAVES = ((35, 46), (28, 38), (18, 28))
LETTERS = "CDEFGAB"


def thrown_bar(dice: random.Random, low: int, high: int, open_: dict[str, str], last: bool) -> str:
    """A bar of four quarters: ties over the barline, slurs, hairpins, dynamics, grace notes, chords, fermatas."""
    words: list[str] = []
    at = 0
    if dice.random() < 0.12 and not open_.get("tie"):
        return "r:4"
    while at < 16:
        length = min(dice.choice((1, 2, 2, 4, 4, 4, 8, 16, 6, 12)), 16 - at)
        length = max(one for one in (1, 2, 3, 4, 6, 8, 12, 16) if one <= length)
        if dice.random() < 0.1 and not open_.get("tie"):
            words.append(f"r:{Fraction(length, 4)}")
            at += length
            continue
        signs = "_" if open_.get("tie") else ""
        pitch = open_.pop("tie", "") or _thrown_pitch(dice, low, high)
        if at + length == 16 and not last and dice.random() < 0.4:
            open_["tie"], signs = pitch, f"{signs}~"
        if not signs:
            if open_.get("slur") and dice.random() < 0.4:
                signs, open_["slur"] = ")", ""
            elif not open_.get("slur") and dice.random() < 0.3 and not last:
                signs, open_["slur"] = "(", "yes"
            if dice.random() < 0.05:
                words.append(f"{pitch.split('+')[0]}:1/2g")
        if dice.random() < 0.05:
            words.append(f"!{dice.choice(('p', 'f', 'mf'))}")
        if not open_.get("hairpin") and dice.random() < 0.1:
            words.append(dice.choice(("!<", "!>")))
            open_["hairpin"] = "yes"
        elif open_.get("hairpin") and dice.random() < 0.3:
            words.append("!|")
            open_["hairpin"] = ""
        words.append(f"{pitch}:{Fraction(length, 4)}{signs}{'^' * (dice.random() < 0.04)}")
        at += length
    return " ".join(words)


def _thrown_pitch(dice: random.Random, low: int, high: int) -> str:
    line = dice.randint(low, high)
    lines = [line, line + dice.choice((2, 4))] if dice.random() < 0.15 else [line]
    sharp = "#" if len(lines) == 1 and LETTERS[line % 7] in "CDFG" and dice.random() < 0.2 else ""
    return "+".join(f"{LETTERS[one % 7]}{sharp}{one // 7}" for one in lines)


def thrown_plan(dice: random.Random, sketch: small.Sketch) -> list[tuple[int, int, dict[str, list[str]]]]:
    """Two passages, each strand to anyone who is free; sections divide, players take up their other instrument."""
    cut = dice.randint(1, BARS - 1)
    found = []
    for first, last in ((0, cut - 1), (cut, BARS - 1)):
        lines: dict[str, list[str]] = {}
        busy: dict[str, list[str]] = {}
        for strand in small.strands_of(sketch, first, last):
            for chair in dice.sample(ROOM.chairs, k=dice.choice((0, 1, 1, 2, 3))):
                own = busy.setdefault(chair.seat, [])
                most = 4 if chair.family in ("harp", "keyboard") else 1 + chair.section
                if len(own) < most and all(one == chair.name for one in own):
                    own.append(chair.name)
                    tail = dice.choice(("", "", " +1", " -1")) + " pizz" * (chair.section and dice.random() < 0.3)
                    lines.setdefault(strand.id, []).append(chair.name + tail)
        found.append((first, last, lines))
    return found


@pytest.mark.parametrize("seed", range(36))
def test_any_sketch_with_any_plan(seed: int):
    dice = random.Random(seed)
    staves = []
    for low, high in STAVES:
        open_: dict[str, str] = {}
        bars = [thrown_bar(dice, low, high, open_, k == BARS - 1) for k in range(BARS)]
        if dice.random() < 0.5:
            other: dict[str, str] = {"hairpin": "never"}
            bars = [f"{bar} & {thrown_bar(dice, low - 3, high - 4, other, True)}" for bar in bars]
        staves.append(bars)
    data = small.xml(*staves, key=dice.choice((0, -4, 5, 2)))
    sketch = small.sketch(data)
    done = small.set_for(sketch, ROOM, *thrown_plan(dice, sketch), marks=("", "B"))
    written = done.document.written()
    full = checker.chains_of(written)
    assert not complaints(written)
    assert not checker.complaints(checker.chains_of(data), full, done.as_json())
    assert not checker.doubled(full)
    assert not checker.untied(written)
    assert not checker.unbalanced(written)


def test_the_checker_finds_what_is_wrong():
    """Each kind of fault put into a good score is named."""
    data = small.xml(["C5:1 D5:1 E5:1 F5:1"] * 2, ["C3:4"] * 2)
    sketch = small.sketch(data)
    hall = small.room("flute 1", "oboe 1", "bassoon 1")
    done = small.set_for(sketch, hall, (0, 1, {"1.1": ["flute 1 +1", "oboe 1"], "2.1": ["bassoon 1"]}))
    there = checker.chains_of(data)
    full, said = checker.chains_of(done.document.written()), done.as_json()
    assert checker.complaints(there, full, said) == []
    low = [replace(one, midi=one.midi - 1) if one.ref == "P1/m0/n0" else one for one in full]
    assert "no octave" in checker.complaints(there, low, said)[0]
    late = [replace(one, onset=one.onset + 1) if one.ref == "P2/m1/n1" else one for one in full]
    assert "begins at" in checker.complaints(there, late, said)[0]
    more = [*full, replace(full[0], ref="P9/m0/n0")]
    assert "is not in the JSON" in checker.complaints(there, more, said)[0]
    less = {**said, "notes": [row for row in said["notes"] if row["sketch_ref"] != "P1/m0/n1"]}
    assert any("neither played nor left out" in one for one in checker.complaints(there, full, less))
    both = {**said, "left_out": [{"sketch_ref": "P1/m0/n1", "why": "so"}]}
    assert any("left out and played" in one for one in checker.complaints(there, full, both))


def test_a_tie_finds_its_own_voice_where_two_meet_on_one_pitch():
    data = small.xml(["C5:4~ & C5:2 C5:2~", "C5:4_ & C5:2_ E5:2"], ["C3:4"] * 2)
    sketch = sketch_of(document.from_bytes(data, "two.musicxml").score)
    ends = sorted((note.voice, note.onset, note.end - note.onset) for note in sketch.notes if note.midi == 72)
    quarter = sketch.grid
    assert ends == [("1", 0, 8 * quarter), ("2", 0, 2 * quarter), ("2", 2 * quarter, 4 * quarter)]
