"""The short score against music21's own reading of the full ones: nothing is added, nothing is lost."""

from __future__ import annotations

import random
from bisect import bisect_right
from collections import Counter
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import music21
import pytest

from deskproof import document
from deskproof.musicxml import writer
from deskproof.pitch import Pitch, parse
from deskproof.score import (
    CHORD,
    GRACE,
    TIE_START,
    TIE_STOP,
    Change,
    Direction,
    Key,
    Mark,
    Measure,
    Note,
    Part,
    Repeat,
    Score,
    Time,
    Transpose,
)  # fmt: skip
from deskproof.scoring import short_lines, short_merging, short_page, short_score, short_staves
from deskproof.scoring.short_score import ShortScoreError, players_by_note, remembered, shortened, without_memory
from deskproof.scoring.sketch import sketch_of

CORPUS = Path(music21.__file__).parent / "corpus"
SHARED = Path(__file__).resolve().parents[3] / "shared" / "scores"
PIECES = (
    CORPUS / "mozart/k155/movement2.mxl",
    CORPUS / "haydn/opus74no1/movement3.mxl",
    CORPUS / "beethoven/opus18no1/movement3.mxl",
    CORPUS / "corelli/opus3no1/1grave.xml",
    SHARED / "beethoven-symphony-6-4.mxl",
)
UNTIDY = CORPUS / "weber/concertino_clarinet.mxl"  # its file has bars that are too long
WITHOUT_PITCH = (music21.note.Unpitched, music21.percussion.PercussionChord, music21.harmony.ChordSymbol)
BARS = 50  # of the symphony, which music21 reads slowly


class Heard(NamedTuple):
    """A sounding stretch as music21 has it: quarters, MIDI number, name of the part, whether a note begins here."""

    start: float
    end: float
    midi: float
    part: str
    begins: bool


@lru_cache(maxsize=8)
def by_music21(path: Path) -> tuple[Heard, ...]:
    """What sounds in a full score, read without any of our code."""
    if not path.exists():
        pytest.skip(f"{path.name} is not here")
    full = music21.converter.parse(path, forceSource=True)
    count = BARS if path.parent == SHARED else None
    parts = []
    for part in full.parts:
        heard = (part.measures(0, count) if count else part).toSoundingPitch()
        parts.append((part.partName, list(heard.getElementsByClass(music21.stream.Measure))[:count]))
    onsets = [0.0]  # a bar lasts as long as most parts in it
    for k in range(max(len(rows) for _, rows in parts)):
        lengths = Counter(float(rows[k].highestTime) for _, rows in parts if k < len(rows))
        onsets.append(onsets[-1] + lengths.most_common(1)[0][0])
    found = []
    for name, rows in parts:
        for onset, measure in zip(onsets, rows, strict=False):
            for one in measure.recurse().notes:
                if one.duration.isGrace or isinstance(one, WITHOUT_PITCH):
                    continue
                start = onset + float(one.getOffsetInHierarchy(measure))
                end = start + float(one.duration.quarterLength)
                for note in one.notes if isinstance(one, music21.chord.Chord) else (one,):
                    begins = note.tie is None or note.tie.type == "start"
                    found.append(Heard(start, end, note.pitch.ps, name, begins))
    return tuple(found)


@lru_cache(maxsize=8)
def short_of(path: Path) -> Score:
    """The short score of the same bars."""
    return shortened(read(path))


@lru_cache(maxsize=8)
def read(path: Path) -> Score:
    if not path.exists():
        pytest.skip(f"{path.name} is not here")
    score = document.read(path).score
    return first_bars(score, BARS) if path.parent == SHARED else score


def first_bars(score: Score, count: int) -> Score:
    return replace(score, parts=tuple(replace(part, measures=part.measures[:count]) for part in score.parts))


def stretches(short: Score) -> list[tuple[Heard, Note]]:
    """What stands in a short score, measure after measure."""
    found = []
    at = 0.0
    for measure in short.parts[0].measures:
        for note in measure.notes:
            if note.kind == "note" and not note.flags & GRACE:
                start = at + note.start / short.grid
                begins = not note.flags & TIE_STOP
                found.append((Heard(start, start + note.length / short.grid, note.pitch.midi, "", begins), note))
        at += measure.length / short.grid
    return found


def near(x: float) -> int:
    return round(x * 1000)


def sounding(rows: list[Heard], onsets: list[int]) -> dict[int, set[float]]:
    """Onset -> the pitches that sound there."""
    found: dict[int, set[float]] = {at: set() for at in onsets}
    for row in rows:
        first, last = near(row.start), near(row.end)
        i = bisect_right(onsets, first - 2)
        while i < len(onsets) and onsets[i] < last - 2:
            found[onsets[i]].add(row.midi)
            i += 1
    return found


@pytest.mark.parametrize("path", PIECES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_at_every_onset_the_same_pitch_classes_sound_between_the_same_ends(path: Path) -> None:
    full, short = list(by_music21(path)), [row for row, _ in stretches(short_of(path))]
    assert differences(full, short) == []


def differences(full: list[Heard], short: list[Heard]) -> list[tuple[int, set[float], set[float]]]:
    """Onsets of the full score where the short one sounds otherwise."""
    onsets = sorted({near(row.start) for row in full if row.begins})
    one, two = sounding(full, onsets), sounding(short, onsets)
    wrong = []
    for at in onsets:
        a, b = one[at], two[at]
        if {p % 12 for p in a} != {p % 12 for p in b} or max(a) != max(b) or min(a) != min(b) or not b <= a:
            wrong.append((at, a, b))
    return wrong


@pytest.mark.parametrize("path", PIECES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_note_is_remembered_by_a_note_that_begins_with_it(path: Path) -> None:
    full = [row for row in by_music21(path) if row.begins]
    known: dict[tuple[int, float], set[str]] = {}
    for row, note in stretches(short_of(path)):
        if row.begins:
            for player, octave in remembered(note):
                known.setdefault((near(row.start), note.pitch.midi + 12 * octave), set()).add(player)
    for row in random.Random(7).sample(full, min(1500, len(full))):
        players = {p for d in (-1, 0, 1) for p in known.get((near(row.start) + d, row.midi), ())}
        assert row.part in {player.partition(" (")[0] for player in players}, row


def test_the_check_itself_sees_a_note_that_is_lost() -> None:
    full = list(by_music21(PIECES[0]))
    short = [row for row, _ in stretches(short_of(PIECES[0]))]
    lowest = min(short, key=lambda row: row.midi)
    assert differences(full, [row for row in short if row is not lowest])


# small scores, written out by hand


def bar(*rows: tuple[str, int, int], index: int = 0, changes: tuple[Change, ...] = (), **more: object) -> Measure:
    """A bar of 16 ticks in 4/4: (pitch, start, length) rows; a name with + joins the chord before it."""
    notes = []
    for n, (name, start, length) in enumerate(rows):
        pitch = None if name == "r" else parse(name.strip("+~"))
        flags = CHORD * name.startswith("+") | TIE_START * name.endswith("~") | TIE_STOP * name.startswith("~")
        notes.append(Note(n, start, length, pitch, "rest" if pitch is None else "note", 1, "1", flags, "", "", ()))
    first = (Change(0, 0, "time", Time("4", 4, 16)),) if index == 0 else ()
    return Measure(index, str(index + 1), 16, tuple(notes), (), (*first, *changes))._replace(**more)  # type: ignore[arg-type]


def full(**parts: list[Measure]) -> Score:
    return Score("", 4, tuple(Part(f"P{i}", name, "", {}, tuple(rows)) for i, (name, rows) in enumerate(parts.items())))


def notes_of(short: Score, index: int = 0) -> list[tuple[str, int, int, list[tuple[str, int]]]]:
    rows = [note for note in short.parts[0].measures[index].notes if note.kind == "note"]
    return sorted((str(note.pitch), note.start, note.length, remembered(note)) for note in rows)


def test_a_unison_is_one_note_of_two_players() -> None:
    short = shortened(full(Oboe=[bar(("C5", 0, 16))], Viola=[bar(("C5", 0, 16))]))
    assert notes_of(short) == [("C5", 0, 16, [("Oboe", 0), ("Viola", 0)])]


def test_a_shorter_note_goes_into_the_longer_only_if_its_player_rests() -> None:
    rests = shortened(full(Oboe=[bar(("C5", 0, 16))], Viola=[bar(("C5", 0, 4), ("r", 4, 12))]))
    assert notes_of(rests) == [("C5", 0, 16, [("Oboe", 0), ("Viola", 0)])]
    moves = shortened(full(Oboe=[bar(("C5", 0, 16))], Viola=[bar(("C5", 0, 8), ("D5", 8, 8))]))
    assert [row[:3] for row in notes_of(moves)] == [("C5", 0, 8), ("C5", 0, 16), ("D5", 8, 8)]


TUNE = [("G5", 0, 4), ("A5", 4, 4), ("B5", 8, 8)]


def moved(octaves: int) -> list[tuple[str, int, int]]:
    return [(f"{name[0]}{int(name[1]) + octaves}", start, length) for name, start, length in TUNE]


def test_an_inner_octave_is_left_out_and_remembered() -> None:
    score = full(
        Flute=[bar(("C7", 0, 16))], Oboe=[bar(*TUNE)], Clarinet=[bar(*TUNE)], Bassoon=[bar(*moved(-1))],
        Bass=[bar(("C2", 0, 16))],
    )  # fmt: skip
    found = notes_of(shortened(score))
    assert ("A5", 4, 4, [("Oboe", 0), ("Clarinet", 0), ("Bassoon", -1)]) in found
    assert not [row for row in found if row[0] == "A4"]
    without = short_merging.merged(short_lines.lines_of(score), octaves=False)
    assert len(without) == len(found) + 3


def test_tune_and_bass_in_octaves_stay_octaves() -> None:
    score = full(
        Flute=[bar(*moved(1))], Oboe=[bar(*TUNE)], Bassoon=[bar(*moved(-1))], Cello=[bar(*moved(-2))],
        Bass=[bar(*moved(-3))],
    )  # fmt: skip
    kept = {row[0]: row[3] for row in notes_of(shortened(score))}
    assert set(kept) == {*["G6", "A6", "B6", "G5", "A5", "B5", "G3", "A3", "B3", "G2", "A2", "B2"]}
    assert kept["G5"] == [("Oboe", 0), ("Bassoon", -1)]


def test_the_rule_of_unisons_is_what_joins_them() -> None:
    lines = short_lines.lines_of(full(Oboe=[bar(*TUNE)], Viola=[bar(*TUNE)]))
    assert len(short_merging.merged(lines)) == 3
    assert len(short_merging.merged(lines, unisons=False)) == 6


def test_transposing_players_stand_where_they_sound() -> None:
    horn = bar(("G4", 0, 16), changes=(Change(0, 0, "transpose", Transpose(-7, -4)),))
    flat = bar(("C#5", 0, 16), changes=(Change(0, 0, "transpose", Transpose(-3, -2)),))
    assert [row[0] for row in notes_of(shortened(full(Horn=[horn], Clarinet=[flat])))] == ["A♯4", "C4"]


def test_a_held_note_is_tied_and_written_in_values() -> None:
    short = shortened(full(Oboe=[bar(("C5", 0, 6), ("D5~", 6, 10)), bar(("~D5", 0, 4), ("r", 4, 12), index=1)]))
    first, second = (
        [n for n in measure.notes if n.kind == "note" and n.pitch.step == "D"] for measure in short.parts[0].measures
    )
    assert [(n.start, n.length) for n in first] == [(6, 2), (8, 8)]
    assert all(n.flags & TIE_START for n in first) and second[0].flags & TIE_STOP
    assert all(remembered(n) == [("Oboe", 0)] for n in (*first, *second))


def test_signs_for_all_are_carried_over_once_and_the_loudest_dynamic_wins() -> None:
    said = (Direction(0, 0, 1, "metronome", "quarter = 90"), Direction(1, 0, 1, "rehearsal", "A"))
    key = (Change(0, 0, "key", Key(-3)),)
    parts = [
        bar(("C5", 0, 16), changes=key, directions=(*said, Direction(2, 0, 1, "dynamics", loud)),
            repeats=(Repeat(False, True),))
        for loud in ("p", "ff")
    ]  # fmt: skip
    short = shortened(full(Oboe=[parts[0]], Violin=[parts[1]])).parts[0].measures[0]
    assert Counter(row.kind for row in short.directions) == {"metronome": 1, "rehearsal": 1, "dynamics": 1}
    assert [row.value for row in short.directions if row.kind == "dynamics"] == ["ff"]
    assert short.repeats == (Repeat(False, True),)
    assert [change.value for change in short.changes if change.kind == "key"] == [Key(-3)]


def test_slurs_tremolos_and_trills_stay_and_slurs_are_whole() -> None:
    for path in PIECES[:3]:
        opened: Counter[tuple[int, str]] = Counter()
        seen = 0
        for measure in short_of(path).parts[0].measures:
            for note in sorted(measure.notes, key=lambda n: (n.start, not n.flags & GRACE)):
                for mark in sorted((m for m in note.marks if m.kind == "slur"), key=lambda m: m.value == "start"):
                    seen += 1
                    opened[note.staff, mark.number] += 1 if mark.value == "start" else -1
                    assert opened[note.staff, mark.number] in (0, 1), (path, measure.number)
        assert seen and not any(opened.values())
    marked = bar(("C5", 0, 16))
    signs = (Mark("tremolo", "3", "single"), Mark("trill-mark"))
    marked = marked._replace(notes=(marked.notes[0]._replace(marks=signs),))
    plain = bar(("C5", 0, 16))
    note = next(n for n in shortened(full(Flute=[plain], Violin=[marked])).parts[0].measures[0].notes if n.pitch)
    assert {mark.kind for mark in note.marks} >= {"tremolo", "trill-mark"}


# lines and staves


def changes_of_staff(kept: list[short_merging.Kept]) -> int:
    last: dict[object, int] = {}
    count = 0
    for one in kept:
        for strand in one.strands[:1]:
            count += last.get(strand, one.staff) != one.staff
            last[strand] = one.staff
    return count


def test_a_line_seldom_leaves_its_staff_and_would_often_without_the_rule() -> None:
    for path in PIECES[:3]:
        kept = short_merging.merged(short_lines.lines_of(read(path)))
        short_staves.place(kept, 2)
        steady = changes_of_staff(kept)
        short_staves.place(kept, 2, steady=False)
        assert steady * 2 < changes_of_staff(kept), path
        assert steady < len(kept) / 50, path


@pytest.mark.parametrize("path", (*PIECES, UNTIDY), ids=lambda path: f"{path.parent.name}-{path.stem}")
@pytest.mark.parametrize("staves", [2, 3, 4])
def test_every_bar_is_full_in_its_first_voice_and_is_a_sketch(path: Path, staves: int) -> None:
    short = shortened(read(path), staves=staves)
    assert [part.name for part in short.parts] == ["Short score"] and short.parts[0].staves == staves
    sketch = sketch_of(short)
    assert sketch.staves == staves and sketch.notes
    for measure in short.parts[0].measures:
        voices: dict[tuple[int, str], list[Note]] = {}
        for note in measure.notes:
            if not note.flags & (CHORD | GRACE):
                voices.setdefault((note.staff, note.voice), []).append(note)
        assert {staff for staff, _ in voices} == set(range(1, staves + 1))
        for rows in voices.values():
            ends = [note.start + note.length for note in rows]
            assert [note.start for note in rows] == [0, *ends[:-1]] and ends[-1] == measure.length, measure.number
        assert [note.n for note in measure.notes] == list(range(len(measure.notes)))


def test_most_staves_have_at_most_two_voices() -> None:
    for path in PIECES:
        count = Counter(
            len({note.voice for note in measure.notes if note.staff == staff and note.kind == "note"})
            for measure in short_of(path).parts[0].measures
            for staff in range(1, short_of(path).parts[0].staves + 1)
        )
        assert sum(n for voices, n in count.items() if voices > 2) < sum(count.values()) / 8, (path, count)


# memory


def test_memory_can_be_read_by_reference_and_taken_out() -> None:
    short = short_of(PIECES[0])
    known = players_by_note(short)
    assert len(known) == sum(n.kind == "note" for m in short.parts[0].measures for n in m.notes) and all(known.values())
    assert {player for rows in known.values() for player, _ in rows} == {p.name for p in read(PIECES[0]).parts}
    plain = without_memory(short)
    assert not any(players_by_note(plain).values())
    assert differences([r for r, _ in stretches(short)], [r for r, _ in stretches(plain)]) == []


def test_memory_and_notes_come_back_from_the_file_that_is_written() -> None:
    short = short_of(PIECES[1])
    back = document.from_bytes(writer.write(short)).score
    assert players_by_note(back) == players_by_note(short)
    assert [row for row, _ in stretches(back)] == [row for row, _ in stretches(short)]


@pytest.mark.parametrize("octave", [-3, -2, -1, 0, 1, 2, 3])
def test_what_is_remembered_reads_back(octave: int) -> None:
    word = f"Horn in F 1 {short_page.octave_word(octave)}".strip()
    note = Note(0, 0, 4, Pitch("C", 0, 4), "note", 1, "1", 0, "", "", (Mark("other-play", word, "player"),))
    assert remembered(note) == [("Horn in F 1", octave)]


def test_what_cannot_be_shortened_is_refused() -> None:
    with pytest.raises(ShortScoreError, match="2 to 4"):
        shortened(full(Oboe=[bar(*TUNE)]), staves=5)
    with pytest.raises(ShortScoreError, match="no pitched note"):
        shortened(full(Oboe=[bar(("r", 0, 16))]))
    with pytest.raises(ShortScoreError, match="piano"):
        shortened(full(Oboe=[bar(*TUNE)]), staves=3, for_piano=True)


def test_the_rules_stand_in_the_page_for_conductors() -> None:
    page = " ".join((Path(__file__).resolve().parents[2] / "docs" / "short-score.md").read_text().split())
    for rule in (*short_score.RULES, *short_score.PIANO_RULES):
        assert f"**{rule.name}**" in page and rule.says in page, rule.name
