"""What is heard and when; what is quoted are the words of MusicXML 4.0."""

from __future__ import annotations

from fractions import Fraction

import pytest

from deskproof import facts
from deskproof.musicxml.reader import read_bytes
from deskproof.timeline import Timeline, heard, realise, realise_part

BACKUP = "<backup><duration>{}</duration></backup>"


def hear(*parts: list[str], implicit: tuple[int, ...] = ()) -> Timeline:
    """The Timeline of parts of measures, one division a quarter, in 4/4."""
    names = "".join(f'<score-part id="P{i}"><part-name>Horn</part-name></score-part>' for i in range(len(parts)))
    head = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    bodies = ""
    for i, measures in enumerate(parts):
        body = "".join(
            f'<measure number="{k}"{" implicit=" + chr(34) + "yes" + chr(34) if k in implicit else ""}>'
            f"{head if k == 0 else ''}{text}</measure>"
            for k, text in enumerate(measures)
        )
        bodies += f'<part id="P{i}">{body}</part>'
    return realise(read_bytes(f"<score-partwise><part-list>{names}</part-list>{bodies}</score-partwise>".encode()))


def note(name: str, duration: int | str = 1, *marks: str, voice: str = "1", staff: int = 1) -> str:
    """``Bb4`` and ``F#5`` are altered; marks: chord, cue, grace, start and stop (of a tie)."""
    alter = name.count("#") - name[1:].count("b")
    pitch = f"<pitch><step>{name[0]}</step><alter>{alter}</alter><octave>{name[-1]}</octave></pitch>"
    before = "".join(f"<{m}/>" for m in ("grace", "cue", "chord") if m in marks)
    length = "" if "grace" in marks else f"<duration>{duration}</duration>"
    ties = "".join(f'<tie type="{m}"/>' for m in ("stop", "start") if m in marks)
    return f"<note>{before}{pitch}{length}{ties}<voice>{voice}</voice><staff>{staff}</staff></note>"


def rest(duration: int = 1) -> str:
    return f"<note><rest/><duration>{duration}</duration></note>"


def transpose(chromatic: int, octave: int = 0, staff: int = 0) -> str:
    number = f' number="{staff}"' if staff else ""
    octaves = f"<octave-change>{octave}</octave-change>" if octave else ""
    return f"<attributes><transpose{number}><chromatic>{chromatic}</chromatic>{octaves}</transpose></attributes>"


def rows(timeline: Timeline, part: int = 0) -> list[tuple[Fraction | int, Fraction | int, float | None]]:
    """Onset and end in quarters, and what sounds."""
    grid = timeline.frame.grid
    return [(Fraction(e.onset, grid), Fraction(e.end, grid), e.sounding) for e in timeline.parts[part]]


# ---- ties ------------------------------------------------------------------------------------------------


def test_a_tie_over_the_bar_line_is_one_event():
    # "The tie element indicates that a tie begins or ends with this note. ... The tie element indicates sound".
    timeline = hear([note("C4", 2) + note("D4", 2, "start"), note("D4", 4, "stop", "start"), note("D4", 1, "stop")])
    assert rows(timeline) == [(0, 2, 60), (2, 9, 62)]
    assert timeline.parts[0][1].tied == ((1, 0), (2, 0))


def test_the_sign_of_a_tie_without_its_sound_ties_nothing():
    # "the tied element indicates notation"
    tied = '<notations><tied type="{}"/></notations></note>'
    first, second = (note("C4", 4).replace("</note>", tied.format(t)) for t in ("start", "stop"))
    assert rows(hear([first, second])) == [(0, 4, 60), (4, 8, 60)]


def test_ties_in_a_chord_join_each_note_with_its_own():
    timeline = hear(
        [
            note("C4", 4, "start") + note("E4", 4, "chord") + note("G4", 4, "chord", "start"),
            note("G4", 2, "stop") + note("C4", 2, "chord", "stop") + note("E4", 2, "chord"),
        ]
    )
    assert sorted(rows(timeline), key=lambda r: (r[2], r[0])) == [(0, 6, 60), (0, 4, 64), (4, 6, 64), (0, 6, 67)]


def test_a_tie_may_go_on_in_another_voice():
    first = note("C4", 2, "start") + note("D4", 2) + BACKUP.format(4) + rest(2)
    timeline = hear([first + note("C4", 2, "stop", voice="2")])
    assert rows(timeline) == [(0, 4, 60), (2, 4, 62)]


def test_a_tie_keeps_to_its_own_voice_if_both_wait():
    both = [
        note("C4", 4, "start", voice="1") + BACKUP.format(4) + note("C4", 4, "start", voice="2"),
        note("C4", 1, "stop", voice="2") + BACKUP.format(1) + note("C4", 3, "stop", voice="1"),
    ]
    timeline = hear(both)
    assert [(e.note.voice, e.end // timeline.frame.grid) for e in timeline.parts[0]] == [("1", 7), ("2", 5)]


def test_ties_that_meet_nothing_join_nothing():
    unclosed = [note("C4", 2, "start") + note("D4", 2), note("C4", 4, "stop")]
    assert rows(hear(unclosed)) == [(0, 2, 60), (2, 4, 62), (4, 8, 60)]
    # Another pitch is another note, also where it sounds alike on paper only: tied notes have one pitch.
    assert rows(hear([note("C4", 4, "start"), note("D4", 4, "stop")])) == [(0, 4, 60), (4, 8, 62)]


def test_a_tie_into_a_repeat_joins_what_is_played_next():
    closes = '<barline location="right"><repeat direction="backward"/></barline>'
    timeline = hear([note("C4", 4, "stop"), note("C4", 4, "start") + closes, note("D4", 4)])
    # At the first beginning nothing waits; the second time the note of bar 2 is still sounding.
    assert rows(timeline) == [(0, 4, 60), (4, 12, 60), (12, 16, 60), (16, 20, 62)]


# ---- pitch ------------------------------------------------------------------------------------------------


def test_the_octave_belongs_to_the_letter():
    assert [row[2] for row in rows(hear([note("B#3") + note("Cb5") + note("C4") + note("B4")]))] == [60, 71, 60, 71]


def test_transposition_is_added_to_what_is_written():
    # "what must be added to a written pitch to get a correct sounding pitch"
    assert rows(hear([transpose(-2) + note("C5", 4)])) == [(0, 4, 70)]
    # "This value does not include octave-change values; the values for both elements need to be added"
    assert rows(hear([transpose(-2, -1) + note("C5", 4)])) == [(0, 4, 58)]


def test_transposition_may_change_within_a_part_and_within_a_measure():
    timeline = hear(
        [
            transpose(-2) + note("C5", 4),
            note("C5", 2) + transpose(-3) + note("C5", 2),
            note("C5", 4),
            transpose(0) + note("C5", 4),
        ]
    )
    assert [row[2] for row in rows(timeline)] == [70, 70, 69, 69, 72]


def test_transposition_of_one_staff():
    # "The optional number attribute refers to staff numbers ... If absent, the transposition applies to all staves".
    two = note("C5", 4) + BACKUP.format(4) + note("C3", 4, voice="2", staff=2)
    timeline = hear(
        ["<attributes><staves>2</staves></attributes>" + transpose(-12, staff=2) + two, transpose(-2) + two]
    )
    assert [row[2] for row in rows(timeline)] == [72, 36, 70, 46]


def test_an_octave_sign_does_not_move_the_sound():
    # "notes are shifted up or down from their true pitched values because of printing difficulty. Thus a treble clef
    # line noted with 8va will be indicated with an octave-shift down from the pitch data indicated in the notes."
    sign = '<direction><direction-type><octave-shift type="{}" size="8"/></direction-type></direction>'
    timeline = hear([sign.format("down") + note("C7", 2) + sign.format("stop") + note("C5", 2)])
    assert rows(timeline) == [(0, 2, 96), (2, 4, 72)]


def test_a_clef_that_shows_octaves_does_not_move_the_sound():
    # The pitch element is the written pitch; clef-octave-change only says where it stands on the staff.
    clef = (
        "<attributes><clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef></attributes>"
    )
    assert rows(hear([clef + note("C4", 4)])) == [(0, 4, 60)]


# ---- what is no ordinary note ---------------------------------------------------------------------------


def test_grace_notes_take_a_small_time_before_the_beat():
    small = int(facts.get("time.grace_note").value * 1000)
    timeline = hear([note("C4") + note("D5", 1, "grace") + note("E5", 1, "grace") + note("F5", 3)])
    times = [(e.note.pitch.step, *timeline.frame.times_us(e)) for e in timeline.parts[0] if e.note.pitch]
    beat = 500_000  # a quarter at 120
    assert times == [
        ("C", 0, beat),
        ("D", beat - 2 * small, beat - small),
        ("E", beat - small, beat),
        ("F", beat, 4 * beat),
    ]
    assert [e.grace for e in timeline.parts[0]] == [0, 2, 1, 0]


def test_a_grace_chord_sounds_together_and_other_voices_are_not_counted():
    timeline = hear(
        [
            note("D5", 1, "grace") + note("F5", 1, "grace", "chord") + note("E5", 1, "grace") + note("C5", 4)
            + BACKUP.format(4) + note("D3", 1, "grace", voice="2") + note("C3", 4, voice="2")
        ]
    )  # fmt: skip
    assert {str(e.note.pitch): e.grace for e in timeline.parts[0]} == {
        "D5": 2, "F5": 2, "E5": 1, "C5": 0, "D3": 1, "C3": 0,
    }  # fmt: skip


def test_grace_notes_at_the_very_beginning_start_at_0():
    timeline = hear([note("D5", 1, "grace") + note("C5", 4)])
    assert [timeline.frame.times_us(e)[0] for e in timeline.parts[0]] == [0, 0]


def test_cue_notes_are_events_but_not_heard():
    # "In MusicXML, a cue note is a silent note with no playback."
    timeline = hear([note("C4", 2, "cue") + note("D4", 2)])
    assert [row[2] for row in rows(timeline)] == [60, 62]
    assert [e.sounding for e in heard(timeline.parts[0])] == [62]


def test_unpitched_strokes_are_events_without_a_pitch_and_rests_are_none():
    # "musical elements that are notated on the staff but lack definite pitch"
    stroke = "<note><unpitched/><duration>1</duration></note>"
    assert rows(hear([rest(1) + stroke + rest(2)])) == [(1, 2, None)]


# ---- bars --------------------------------------------------------------------------------------------------


def test_measures_of_one_number_begin_together():
    # "the number attribute should be the same for measures in different parts that share the same left barline"
    timeline = hear([note("C4", 3), note("D4", 4)], [note("C3", 4), note("D3", 4)])
    assert rows(timeline, 0) == [(0, 3, 60), (4, 8, 62)]
    assert rows(timeline, 1) == [(0, 4, 48), (4, 8, 50)]


def test_an_upbeat_is_as_long_as_what_stands_in_it():
    assert rows(hear([note("C4", 1), note("D4", 4)], implicit=(0,))) == [(0, 1, 60), (1, 5, 62)]


def test_a_bar_may_be_longer_than_its_metre():
    assert rows(hear([note("C4", 7), note("D4", 4)], [rest(4), note("D3", 4)])) == [(0, 7, 60), (7, 11, 62)]


def test_a_measure_without_anything_is_as_long_as_its_metre():
    assert rows(hear(["", note("C4", 4)])) == [(4, 8, 60)]


def test_rests_that_overfill_an_empty_bar_do_not_lengthen_it():
    # Two whole rests in a bar of 4/4, as in the older parts of music21's Monteverdi; the other part keeps the bar.
    timeline = hear([note("C4", 4), note("D4", 4)], [rest(4) + rest(4), note("D3", 4)])
    assert rows(timeline, 0) == [(0, 4, 60), (4, 8, 62)]
    assert rows(timeline, 1) == [(4, 8, 50)]
    # One part alone says nothing against it: it is read as written.
    assert rows(hear([rest(4) + rest(4), note("D3", 4)])) == [(8, 12, 50)]


def test_a_whole_rest_does_not_lengthen_an_upbeat_or_a_divided_bar():
    # The upbeat of Mozart's K. 80, fourth movement: three parts have a half note, the silent one a whole rest.
    timeline = hear([note("C4", 2), note("D4", 4)], [rest(4), note("D3", 4)], implicit=(0,))
    assert rows(timeline, 0) == [(0, 2, 60), (2, 6, 62)]
    assert rows(timeline, 1) == [(2, 6, 50)]


# ---- bar repeats, windows -------------------------------------------------------------------------------


def bar_repeat(kind: str, bars: str = "") -> str:
    style = f'<measure-style><measure-repeat type="{kind}">{bars}</measure-repeat></measure-style>'
    return f"<attributes>{style}</attributes>"


def test_a_bar_repeat_sign_over_an_empty_bar_plays_the_bar_before():
    # "The actual music being repeated needs to be repeated within each measure of the MusicXML file": where a file
    # leaves it out, the sign still says what is played.
    timeline = hear([note("C4", 4), bar_repeat("start", "1") + rest(4), rest(4), bar_repeat("stop") + rest(4)])
    assert rows(timeline) == [(0, 4, 60), (4, 8, 60), (8, 12, 60)]
    assert [(e.measure, e.pass_) for e in timeline.parts[0]] == [(0, 1), (0, 2), (0, 3)]


def test_a_sign_for_two_bars():
    timeline = hear([note("C4", 4), note("D4", 4), bar_repeat("start", "2") + rest(4), rest(4)])
    assert [row[2] for row in rows(timeline)] == [60, 62, 60, 62]


def test_a_bar_repeat_sign_over_written_notes_changes_nothing():
    timeline = hear([note("C4", 4), bar_repeat("start", "1") + note("C4", 4), bar_repeat("stop") + note("D4", 4)])
    assert rows(timeline) == [(0, 4, 60), (4, 8, 60), (8, 12, 62)]
    assert [e.measure for e in timeline.parts[0]] == [0, 1, 2]


@pytest.mark.parametrize("measures", [{0}, {1}, {0, 2}])
def test_some_measures_are_heard_as_in_the_whole(measures):
    closes = '<barline location="right"><repeat direction="backward"/></barline>'
    timeline = hear([transpose(-2) + note("C4", 4), note("D4", 4) + closes, transpose(0) + note("E4", 4)])
    score = timeline.score
    some = realise_part(score.parts[0], timeline.layouts[0], timeline.frame, measures)
    assert some == tuple(e for e in timeline.parts[0] if e.measure in measures)
    assert len(some) > 0
