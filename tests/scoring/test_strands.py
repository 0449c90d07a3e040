"""Strands: no note is lost or doubled, the composer's word counts, and tune and bass are found in known parts."""

from __future__ import annotations

import sys
import time
from collections import Counter
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from statistics import mean
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from deskproof.pitch import name, parse
from deskproof.score import Key, Mark, Score, Time
from deskproof.scoring.phrases import phrases_of
from deskproof.scoring.records import KINDS, Bar, Override, Passage, Sketch, SketchNote
from deskproof.scoring.sketch import read
from deskproof.scoring.strands import StrandsError, strands_of

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(__file__).resolve().parents[3] / "shared"
SONGS = ("faure-en-sourdine.mxl", "brahms-o-komme-op58-4.mxl", "jaell-petits-oiseaux.mxl")
PIANO = ("BachCPE-SolfeggiettoCm.mid", "Chopin-NocturneEsDur_Op55No2.mid", "Clementi-Sonatine_Op36No1.mid")
GRID = 4

sys.path.insert(0, str(ROOT / "benchmarks"))
figures: Any = import_module("strands")
sys.path.pop(0)


def sketch_of(bars: int, rows: list[tuple[Any, ...]]) -> Sketch:
    """A sketch in 4/4 of (onset, end, midi, staff, voice, grace, marks), the last three as wished."""
    frame = tuple(Bar(k, str(k + 1), k * 16, 16, Time("4", 4, 16), Key(0), 2.0) for k in range(bars))
    notes = []
    for k, row in enumerate(rows):
        onset, end, midi, staff, voice, grace, marks = (*row, *("1", 0, ())[len(row) - 4 :])
        notes.append(
            SketchNote(f"n{k}", (), min(onset // 16, bars - 1), onset, end, end, midi, parse(name(midi)), staff, voice,
                       grace, marks)
        )  # fmt: skip
    notes.sort(key=lambda n: (n.onset, -n.grace, n.staff, -n.midi))
    return Sketch(Score("", GRID, ()), "test", GRID, frame, tuple(notes), (), 2)


def check(sketch: Sketch, passages: tuple[Passage, ...]) -> None:
    """What holds for every sketch: counted note by note."""
    seen: Counter[int] = Counter()
    for passage in passages:
        start = sketch.bars[passage.first].onset
        end = sketch.bars[passage.last].onset + sketch.bars[passage.last].length
        names = [strand.id for strand in passage.strands]
        assert len(set(names)) == len(names)
        for strand in passage.strands:
            assert strand.kind in KINDS
            assert strand.id.startswith(strand.kind)
            assert 0 <= strand.confidence <= 1
            begun: Counter[int] = Counter()
            for tone in strand.tones:
                (k,) = tone.refs
                note = sketch.notes[k]
                seen[k] += 1
                assert tone.rule == "same"
                assert (tone.onset, tone.end, tone.midi, tone.pitch) == (note.onset, note.end, note.midi, note.pitch)
                assert start <= tone.onset < end or passage.last == len(sketch.bars) - 1
                begun[tone.onset] += not note.grace
            assert max(begun.values(), default=0) <= 1
            assert [t.onset for t in strand.tones] == sorted(t.onset for t in strand.tones)
        for kind in KINDS:
            own = [strand.id for strand in passage.strands if strand.kind == kind]
            if len(own) == 1:
                assert own == [kind]
        rest = [strand for strand in passage.strands if strand.kind != "tune"]
        assert list(passage.strands[len(passage.strands) - len(rest) :]) == rest
        heights = [mean(t.midi for t in strand.tones) for strand in rest]
        assert heights == sorted(heights, reverse=True)
    assert seen == Counter(range(len(sketch.notes)))


NOTES = st.lists(
    st.tuples(
        st.integers(0, 8 * 16 - 1), st.integers(1, 20), st.integers(30, 95), st.integers(0, 1), st.sampled_from("12"),
        st.sampled_from((0, 0, 0, 0, 1)),
    ),
    max_size=70,
)  # fmt: skip


@given(NOTES, st.lists(st.tuples(st.integers(1, 8), st.integers(0, 3), st.integers(1, 2), st.sampled_from(KINDS))))
@settings(max_examples=150, deadline=None)
def test_no_note_is_lost_or_doubled_whatever_the_sketch_and_the_composers_word(rows, said):
    notes = [
        (on, on if grace else on + long, midi, staff, voice, grace) for on, long, midi, staff, voice, grace in rows
    ]
    sketch = sketch_of(8, notes)
    overrides = [Override(f"{bar}-{min(8, bar + more)}", staff, "", kind) for bar, more, staff, kind in said]
    passages = strands_of(sketch, phrases_of(sketch), overrides)
    check(sketch, passages)
    kinds = {t.refs[0]: s.kind for p in passages for s in p.strands for t in s.tones}
    wanted: dict[int, str] = {}
    for bar, more, staff, kind in said:
        for k, note in enumerate(sketch.notes):
            if bar - 1 <= note.onset // 16 <= min(8, bar + more) - 1 and note.staff == staff - 1:
                wanted[k] = kind
    assert wanted.items() <= kinds.items()


@pytest.mark.parametrize("file", [*(f"scores/{one}" for one in SONGS), *(f"two-hands/{one}" for one in PIANO)])
def test_no_note_of_real_music_is_lost_or_doubled(file):
    if not (SHARED / file).exists():
        pytest.skip("the shared scores are not here")
    sketch = read(SHARED / file)
    passages = strands_of(sketch, phrases_of(sketch))
    check(sketch, passages)
    one_voice = Sketch(
        sketch.score, sketch.name, sketch.grid, sketch.bars, tuple(n._replace(voice="1") for n in sketch.notes),
        sketch.said, sketch.staves,
    )  # fmt: skip
    check(one_voice, strands_of(one_voice, phrases_of(one_voice)))
    for passage in passages:
        together = max(
            (sum(o.onset <= n.onset < o.end for o in notes) for notes in [within(sketch, passage)] for n in notes),
            default=0,
        )
        assert len(passage.strands) <= together + 1


def within(sketch: Sketch, passage: Passage) -> list[SketchNote]:
    return [n for n in sketch.notes if passage.first <= n.bar <= passage.last and not n.grace]


@pytest.mark.parametrize("song", SONGS)
def test_the_singer_on_a_staff_of_his_own_has_the_tune(song):
    if not (SHARED / "scores" / song).exists():
        pytest.skip("the shared scores are not here")
    sketch = read(SHARED / "scores" / song)
    sung = {k for k, n in enumerate(sketch.notes) if n.staff == 0}
    tunes = {t.refs[0] for p in strands_of(sketch, phrases_of(sketch)) for s in p.strands if s.id == "tune"
             for t in s.tones}  # fmt: skip
    assert len(sung & tunes) >= 0.85 * len(sung)


MELODY = [(0, 6, 76), (6, 8, 74), (8, 12, 72), (12, 16, 74), (16, 20, 76), (20, 24, 79), (24, 30, 77), (30, 32, 76)]


def texture(tune: list[tuple[int, int, int]], *others: tuple[int, int, int, int]) -> dict[int, str]:
    """The strand's name of each note, by (onset, midi) packed, of a sketch of two bars."""
    sketch = sketch_of(2, [*((*row, 0) for row in tune), *others])
    (passage,) = strands_of(sketch, (Passage(0, 1, ()),))
    check(sketch, (passage,))
    return {t.onset * 128 + t.midi: s.id for s in passage.strands for t in s.tones}


def test_a_tune_over_broken_chords():
    figure = [(2 * k, 2 * k + 2, (48, 60, 55, 60)[k % 4], 1) for k in range(16)]
    found = texture(MELODY, *figure)
    assert {found[on * 128 + midi] for on, _, midi in MELODY} == {"tune"}
    assert {found[on * 128 + midi] for on, _, midi, _ in figure} == {"figuration"}


def test_a_tune_over_held_chords_and_a_moving_bass():
    chords = [(on, on + 16, midi, 1) for on in (0, 16) for midi in (60, 57)]
    bass = [(4 * k, 4 * k + 4, (45, 47, 48, 50, 52, 50, 48, 45)[k], 1) for k in range(8)]
    found = texture(MELODY, *chords, *bass)
    assert {found[on * 128 + midi] for on, _, midi in MELODY} == {"tune"}
    assert [found[on * 128 + midi] for on, _, midi, _ in chords] == ["held harmony 1", "held harmony 2"] * 2
    assert {found[on * 128 + midi] for on, _, midi, _ in bass} == {"bass"}


def test_a_tune_in_the_tenor_under_a_figure():
    tenor = [(on, end, midi - 19) for on, end, midi in MELODY]
    figure = [(2 * k, 2 * k + 2, (72, 76, 79, 76)[k % 4], 0) for k in range(16)]
    bass = [(0, 16, 36, 1), (16, 32, 31, 1)]
    found = texture([], *((*row, 1) for row in tenor), *figure, *bass)
    assert {found[on * 128 + midi] for on, _, midi in tenor} == {"tune"}
    assert {found[on * 128 + midi] for on, _, midi, _ in figure} == {"figuration"}


def test_a_tune_in_octaves_is_tune_and_tune_2():
    found = texture(MELODY, *((on, end, midi - 12, 0) for on, end, midi in MELODY), (0, 32, 48, 1))
    assert {found[on * 128 + midi] for on, _, midi in MELODY} == {"tune"}
    assert {found[on * 128 + midi - 12] for on, _, midi in MELODY} == {"tune 2"}


def test_a_grace_note_stays_with_its_main_note():
    sketch = sketch_of(2, [*((*row, 0) for row in MELODY), (8, 8, 74, 0, "1", 1), (8, 16, 50, 1), (0, 8, 48, 1)])
    (passage,) = strands_of(sketch, (Passage(0, 1, ()),))
    tune = passage.strand("tune")
    assert tune is not None
    assert [t.midi for t in tune.tones if t.onset == 8] == [74, 72]


def test_short_marked_chords_are_accents():
    stroke = (Mark("staccato"),)
    rows = [(on, on + 1, midi, 1, "1", 0, stroke) for on in (0, 16) for midi in (57, 60)]
    sketch = sketch_of(2, [*((*row, 0) for row in MELODY), *rows, *((k * 4, k * 4 + 4, 40 + k, 1) for k in range(8))])
    (passage,) = strands_of(sketch, (Passage(0, 1, ()),))
    assert {s.kind for s in passage.strands for t in s.tones if t.midi in (57, 60)} == {"accents"}


def test_the_composer_names_a_tune_in_a_voice():
    low = [(4 * k, 4 * k + 4, 50 + k % 3, 1, "2") for k in range(8)]
    sketch = sketch_of(2, [*((*row, 0) for row in MELODY), *low, (0, 32, 40, 1, "1")])
    (passage,) = strands_of(sketch, (Passage(0, 1, ()),), [Override("1-2", 2, "2", "tune")])
    tune = passage.strands[0]
    assert (tune.id, tune.confidence) == ("tune", 1.0)
    assert {t.midi for t in tune.tones} == {50, 51, 52}
    (passage,) = strands_of(sketch, (Passage(0, 1, ()),), [Override("2", 2, "2", "tune")])
    tunes = [s for s in passage.strands if s.kind == "tune"]
    assert [(t.onset, t.midi) for s in tunes for t in s.tones if t.onset >= 16] == [
        (16, 51),
        (20, 52),
        (24, 50),
        (28, 51),
    ]


@pytest.mark.parametrize(
    ("override", "message"),
    [
        (Override("5-9", 1, "", "tune"), "bars 5-9: not in the sketch, which has bars 1-2"),
        (Override("1", 3, "", "tune"), "no staff 3"),
        (Override("1", 1, "", "drone"), "no strand is called 'drone'"),
    ],
)
def test_a_word_that_cannot_be_followed_is_refused(override, message):
    sketch = sketch_of(2, [(*row, 0) for row in MELODY])
    with pytest.raises(StrandsError, match=message):
        strands_of(sketch, (Passage(0, 1, ()),), [override])


FIXED = ("haydn/opus1no1/movement2.mxl", "haydn/opus1no1/movement4.mxl", "mozart/k156/movement2.mxl",
         "mozart/k80/movement1.mxl", "mozart/k155/movement2.mxl")  # fmt: skip


@lru_cache(maxsize=1)
def quartets() -> list[Any]:
    return [figures.measure(figures.merged(figures.CORPUS / one, one, (0, 0, 1, 1))).figures for one in FIXED]


def test_on_quartets_without_parts_the_bass_is_nearer_to_the_cello_than_the_lowest_note():
    assert mean(row["bass"] for row in quartets()) > mean(row["- lowest"] for row in quartets())


def test_on_quartets_without_parts_the_tune_is_nearer_to_the_melodic_part_than_the_highest_note():
    assert mean(row["melodic part"] for row in quartets()) > mean(row["- highest"] for row in quartets())


def test_two_hundred_bars_take_less_than_a_second():
    sketch = read(figures.CORPUS / "beethoven/opus18no1/movement1.mxl")
    began = time.process_time()
    strands_of(sketch, phrases_of(sketch))
    assert (time.process_time() - began) * 200 / len(sketch.bars) < 1
