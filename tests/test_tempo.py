"""The tempo at each place and the clock; what is quoted are the words of MusicXML 4.0."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import duration
from music21 import tempo as m21_tempo

from deskproof import facts
from deskproof.musicxml.reader import read_bytes
from deskproof.score import Score
from deskproof.tempo import Clock, Tempo, beat_unit, tempos
from deskproof.timeline import realise

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>"


def read(*measures: str, time: tuple[int, int] = (4, 4)) -> Score:
    """A part in which each text stands before the whole note of a measure."""
    head = (
        f"<attributes><divisions>1</divisions><time><beats>{time[0]}</beats><beat-type>{time[1]}</beat-type></time>"
        "</attributes>"
    )
    body = "".join(
        f'<measure number="{i}">{head if i == 1 else ""}{text}{NOTE}</measure>' for i, text in enumerate(measures, 1)
    )
    return read_bytes(
        '<score-partwise><part-list><score-part id="P1"><part-name>Horn</part-name></score-part></part-list>'
        f'<part id="P1">{body}</part></score-partwise>'.encode()
    )


def direction(*types: str, sound: str = "") -> str:
    return f"<direction>{''.join(f'<direction-type>{t}</direction-type>' for t in types)}{sound}</direction>"


def metronome(unit: str, per_minute: str, hidden: bool = False) -> str:
    """``quarter.`` is a dotted quarter."""
    dots = "<beat-unit-dot/>" * unit.count(".")
    attribute = ' print-object="no"' if hidden else ""
    return (
        f"<metronome{attribute}><beat-unit>{unit.rstrip('.')}</beat-unit>{dots}"
        f"<per-minute>{per_minute}</per-minute></metronome>"
    )


def equal(left: str, right: str) -> str:
    sides = "".join(f"<beat-unit>{u.rstrip('.')}</beat-unit>{'<beat-unit-dot/>' * u.count('.')}" for u in (left, right))
    return f"<metronome>{sides}</metronome>"


def sound(tempo: str) -> str:
    return f'<sound tempo="{tempo}"/>'


def words(text: str) -> str:
    return f"<words>{text}</words>"


def rows(score: Score) -> list[tuple[int, Fraction, str, bool]]:
    """Measure, quarters a minute, basis and whether the tempo is fixed in print."""
    return [(t.measure, t.qpm, t.basis, t.fixed) for t in tempos(score)]


def test_nothing_said_is_the_usual_default_and_never_fixed():
    # 120 is the tempo of a Standard MIDI File that sets none.
    assert rows(read("", "")) == [(0, 120, "default", False)]


@pytest.mark.parametrize(
    ("unit", "figure", "qpm"),
    [("quarter", "96", 96), ("quarter.", "60", 90), ("half", "48", 96), ("eighth", "120", 60), ("half.", "40", 120),
     ("quarter", "72.5", Fraction(145, 2)), ("quarter", "ca. 88", 88), ("quarter", "100-110", 105)],
)  # fmt: skip
def test_a_metronome_mark_counts_its_beat(unit, figure, qpm):
    assert rows(read(direction(metronome(unit, figure)))) == [(0, qpm, "marked", True)]


@given(st.sampled_from(["whole", "half", "quarter", "eighth", "16th", "32nd"]), st.integers(0, 2))
def test_beat_units_are_as_long_as_music21_says(unit, dots):
    theirs = m21_tempo.MetronomeMark(number=60, referent=1)
    theirs.referent = _duration(unit + "." * dots)
    assert beat_unit(unit + "." * dots) == Fraction(theirs.getQuarterBPM()) / 60


def _duration(unit: str) -> duration.Duration:
    return duration.Duration(type=unit.rstrip("."), dots=unit.count("."))


def test_a_printed_mark_beats_hidden_playback_at_the_same_place():
    # "Tempo is expressed in quarter notes per minute" and is the playback's; the mark is what the player reads.
    both = direction(metronome("quarter.", "60"), sound=sound("144"))
    assert rows(read(both)) == [(0, 90, "marked", True)]
    # In another part and before the mark in the file, it is the same place.
    assert rows(read(sound("144") + direction(metronome("quarter.", "60")))) == [(0, 90, "marked", True)]


def test_playback_alone_counts_but_is_not_fixed():
    assert rows(read(sound("84"), sound("63.5"))) == [(0, 84, "hidden", False), (1, Fraction(127, 2), "hidden", False)]


def test_a_mark_that_is_not_printed_fixes_nothing():
    # "The print-object attribute is set to no in cases where the metronome element represents a relationship or range
    # that is not displayed in the music notation."
    assert rows(read(direction(metronome("quarter", "96", hidden=True)))) == [(0, 96, "hidden", False)]


@pytest.mark.parametrize("figure", ["0", "0.0", "fast", ""])
def test_a_tempo_of_nothing_is_ignored(figure):
    # "If 0, the sound-generating program should prompt the user": it is no tempo.
    assert rows(read(sound(figure))) == [(0, 120, "default", False)]
    assert rows(read(direction(metronome("quarter", "80")), sound(figure)))[-1][1:] == (80, "marked", True)


@pytest.mark.parametrize("figure", ["1.2.3", "60²", "60..", "MM. 60."])
def test_an_odd_figure_stops_nothing(figure):
    assert len(rows(read(direction(metronome("quarter", figure))))) == 1


@pytest.mark.parametrize(
    ("left", "right", "qpm"),
    [
        # From 6/8 to 2/4, the dotted quarter of before becoming the quarter: sixty a minute both.
        ("quarter.", "quarter", 60),
        # And back again: the quarter of before becomes the dotted quarter.
        ("quarter", "quarter.", 135),
        # A quarter of before is a dotted eighth: three sixteenths in the time of four.
        ("quarter", "eighth.", Fraction(135, 2)),
        ("eighth", "eighth", 90),
    ],
)
def test_an_equation_takes_the_left_note_from_before_and_the_right_one_from_after(left, right, qpm):
    # "where two eighths are equated to a quarter note / eighth note triplet" is all that the standard says; the custom
    # of print, and music21's default, is that the old value stands on the left.
    score = read(direction(metronome("quarter.", "60")), direction(equal(left, right)))
    assert rows(score) == [(0, 90, "marked", True), (1, qpm, "marked", True)]
    theirs = m21_tempo.MetricModulation()
    theirs.oldMetronome = m21_tempo.MetronomeMark(number=90 / float(beat_unit(left) or 0), referent=_duration(left))
    theirs.setOtherByReferent(side="right", referent=_duration(right))
    assert theirs.newMetronome.getQuarterBPM() == qpm


def test_words_are_a_guess_in_the_beat_of_the_metre():
    allegro = Fraction(facts.get("tempo.allegro").value)
    assert rows(read(direction(words("Allegro")))) == [(0, allegro, "words", False)]
    # Six eighths go in dotted quarters.
    assert rows(read(direction(words("Allegro")), time=(6, 8))) == [(0, allegro * Fraction(3, 2), "words", False)]


def test_words_yield_to_figures():
    assert rows(read(direction(words("Allegro"), metronome("quarter", "100")))) == [(0, 100, "marked", True)]
    assert rows(read(direction(words("Allegro"), sound=sound("100")))) == [(0, 100, "hidden", False)]


def test_a_ritardando_is_free_until_a_tempo():
    score = read(direction(metronome("quarter", "100")), direction(words("rit.")), "", direction(words("a tempo")))
    assert rows(score) == [(0, 100, "marked", True), (1, 100, "marked", False), (3, 100, "marked", True)]


def test_playback_of_a_ritardando_does_not_stay_after_it():
    score = read(
        direction(metronome("quarter", "100")),
        direction(words("rit."), sound=sound("90")),
        sound("70"),
        direction(words("a tempo")),
    )
    assert rows(score) == [
        (0, 100, "marked", True),
        (1, 90, "marked", False),
        (2, 70, "marked", False),
        (3, 100, "marked", True),
    ]


def test_a_new_mark_ends_the_freedom():
    score = read(
        direction(metronome("quarter", "100")), direction(words("ad lib.")), direction(metronome("half", "60"))
    )
    assert [row[3] for row in rows(score)] == [True, False, True]
    assert rows(score)[-1][1] == 120


def test_the_tempo_goes_with_the_page_when_measures_are_repeated():
    closes = '<barline location="right"><repeat direction="backward"/></barline>'
    score = read(direction(metronome("quarter", "60")), direction(metronome("quarter", "120")))
    again = read_bytes(_with(score_text(), closes))
    assert [(e.measure, realise(score).frame.times_us(e)) for e in realise(score).parts[0]] == [
        (0, (0, 4_000_000)),
        (1, (4_000_000, 6_000_000)),
    ]
    timeline = realise(again)
    assert [timeline.frame.times_us(e) for e in timeline.parts[0]] == [
        (0, 4_000_000),
        (4_000_000, 6_000_000),
        (6_000_000, 10_000_000),
        (10_000_000, 12_000_000),
    ]


def score_text() -> str:
    marks = [direction(metronome("quarter", "60")), direction(metronome("quarter", "120"))]
    body = "".join(
        f"<measure number='{i}'><attributes><divisions>1</divisions></attributes>{mark}{NOTE}{{{i}}}</measure>"
        for i, mark in enumerate(marks)
    )
    return (
        '<score-partwise><part-list><score-part id="P1"><part-name>Horn</part-name></score-part></part-list>'
        f'<part id="P1">{body}</part></score-partwise>'
    )


def _with(text: str, behind_last: str) -> bytes:
    return text.replace("{0}", "").replace("{1}", behind_last).encode()


@given(
    st.lists(st.tuples(st.integers(0, 40), st.fractions(min_value=1, max_value=500)), min_size=1, max_size=6),
    st.integers(1, 960),
    st.integers(0, 60),
)
def test_the_clock_rounds_the_exact_time_once(changes, grid, tick):
    stretches = [(0, Fraction(77)), *sorted(changes)]
    clock = Clock([(t, Tempo(0, 0, qpm, "marked", False)) for t, qpm in stretches], grid)
    # Tick by tick, each as long as the last tempo that began at or before it says.
    exact = sum(
        (Fraction(60_000_000) / ([q for t, q in stretches if t <= k][-1] * grid) for k in range(tick)), Fraction(0)
    )
    assert clock.floor_us(tick) == math.floor(exact)
    assert clock.ceil_us(tick) == math.ceil(exact)
    assert clock.tempo_at(tick).qpm == [q for t, q in stretches if t <= tick][-1]
