"""Which instrument each stretch of a part is; what is quoted are the words of MusicXML 4.0."""

from __future__ import annotations

import pytest

from deskproof.musicxml.reader import read_bytes
from deskproof.spans import Span, spans_of
from deskproof.timeline import realise

REST = "<note><rest/><duration>4</duration></note>"


def note(name: str = "C5", instrument: str = "", cue: bool = False) -> str:
    pitch = f"<pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch>"
    one = f'<instrument id="{instrument}"/>' if instrument else ""
    return f"<note>{'<cue/>' if cue else ''}{pitch}<duration>4</duration>{one}</note>"


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def transpose(chromatic: int) -> str:
    return f"<attributes><transpose><chromatic>{chromatic}</chromatic></transpose></attributes>"


def declare(number: int, name: str, *instruments: tuple[str, str, str]) -> str:
    """One part of the part list; an instrument is (id, name, sound)."""
    rows = "".join(
        f'<score-instrument id="{i}"><instrument-name>{n}</instrument-name>'
        f"{f'<instrument-sound>{s}</instrument-sound>' if s else ''}</score-instrument>"
        for i, n, s in instruments
    )
    return f'<score-part id="P{number}"><part-name>{name}</part-name>{rows}</score-part>'


def spans(part_list: list[str], *parts: list[str]) -> list[tuple[Span, ...]]:
    bodies = ""
    for i, measures in enumerate(parts):
        body = "".join(
            f'<measure number="{k}"><attributes><divisions>1</divisions></attributes>{text}</measure>'
            for k, text in enumerate(measures)
        )
        bodies += f'<part id="P{i}">{body}</part>'
    text = f"<score-partwise><part-list>{''.join(part_list)}</part-list>{bodies}</score-partwise>"
    return list(spans_of(realise(read_bytes(text.encode()))))


def told(found: tuple[Span, ...]) -> list[tuple[str | None, list[int]]]:
    """Instrument and the measures of its events, span by span."""
    return [(s.instrument.id if s.instrument else None, [e.measure for e in s.events]) for s in found]


def alone(name: str, *measures: str) -> list[tuple[str | None, list[int]]]:
    return told(spans([declare(0, name)], list(measures))[0])


def test_a_part_that_never_changes_is_one_span():
    ((span,),) = spans([declare(0, "Oboe")], [note(), REST, note()])
    assert told((span,)) == [("oboe", [0, 2])]
    assert (span.from_tick, span.to_tick) == (0, 12)


def test_a_part_that_never_sounds_is_one_empty_span():
    assert alone("Oboe", REST, REST) == [("oboe", [])]


@pytest.mark.parametrize("said", ["to Piccolo", "muta in Piccolo", "nimmt Piccolo", "prenez la petite flûte"])
def test_an_announced_change_holds_from_the_next_entry_after_a_rest(said):
    # The words stand over the last notes before the rest in which the player changes.
    assert alone("Flute", note(), words(said) + note(), note(), REST, note()) == [
        ("flute", [0, 1, 2]),
        ("piccolo", [4]),
    ]


def test_an_announced_change_in_a_rest():
    assert alone("Flute", note(), words("to Piccolo") + REST, note()) == [("flute", [0]), ("piccolo", [2])]


def test_there_and_back():
    assert alone("Flute", note(), words("to Piccolo") + REST, note(), words("to Flute") + REST, note()) == [
        ("flute", [0]),
        ("piccolo", [2]),
        ("flute", [4]),
    ]


def test_a_bare_name_of_the_family_holds_where_it_stands():
    assert alone("Flute", note(), words("Piccolo") + note(), note()) == [("flute", [0]), ("piccolo", [1, 2])]


def test_a_name_over_cue_notes_says_who_is_heard():
    assert alone("Flute", note(), words("Oboe") + note(cue=True), note()) == [("flute", [0, 1, 2])]


@pytest.mark.parametrize("said", ["sweetly", "Solo", "cresc.", "to the front"])
def test_other_words_change_nothing(said):
    assert alone("Flute", note(), words(said) + REST, note()) == [("flute", [0, 2])]


@pytest.mark.parametrize(
    ("name", "said"),
    [("Flute", "with the piccolo"), ("Horn in F", "like a trumpet"), ("Trumpet in C", "wie eine Posaune")],
)
def test_a_comparison_or_company_is_no_change(name, said):
    (span,) = spans([declare(0, name)], [note(), words(said) + REST, note()])[0]
    assert [e.measure for e in span.events] == [0, 2]


def test_a_new_crook_is_a_new_span():
    # "Clarinet in A" sounds a minor third lower than written, "in B flat" a major second.
    found = spans(
        [declare(0, "Clarinet in Bb")],
        [transpose(-2) + note(), words("muta in A") + REST, transpose(-3) + note()],
    )[0]
    assert told(found) == [("clarinet", [0]), ("clarinet-a", [2])]
    assert [(s.transpose.semitones, s.events[0].sounding) for s in found] == [(-2, 70), (-3, 69)]


def test_a_transposition_that_changes_cuts_the_span_without_words():
    found = spans([declare(0, "Clarinet in Bb")], [transpose(-2) + note(), transpose(-3) + note()])[0]
    assert told(found) == [("clarinet", [0]), ("clarinet-a", [1])]


def test_an_instrument_change_in_the_file():
    # "a change to the virtual instrument sound for a given score-instrument"
    change = (
        '<sound><instrument-change id="I1"><instrument-sound>wind.flutes.flute.piccolo</instrument-sound>'
        "</instrument-change></sound>"
    )
    one = declare(0, "Flute", ("I1", "Flute", "wind.flutes.flute"))
    assert told(spans([one], [note(), change + note(), note()])[0]) == [("flute", [0]), ("piccolo", [1, 2])]


def test_several_instruments_in_one_part():
    # "If multiple score-instruments are specified in a score-part, there should be an instrument element for each note"
    part = declare(0, "Wind", ("I1", "Oboe", "wind.reed.oboe"), ("I2", "Cor anglais", "wind.reed.english-horn"))
    measures = [note(instrument="I2"), note(instrument="I1"), note(instrument="I1"), note(instrument="I2")]
    assert told(spans([part], measures)[0]) == [("cor-anglais", [0]), ("oboe", [1, 2]), ("cor-anglais", [3])]


def test_to_another_players_part_leaves_the_line_what_it_is():
    # The pianist goes over to the celesta's own staves: the piano's staves stay a piano's.
    piano = [note(), words("to Celesta") + REST, note()]
    celesta = [REST, REST, note()]
    both = spans([declare(0, "Piano"), declare(1, "Celesta")], piano, celesta)
    assert [told(found) for found in both] == [[("piano", [0, 2])], [("celesta", [2])]]
    # With no such part the same words change the instrument.
    assert told(spans([declare(0, "Piano")], piano)[0]) == [("piano", [0]), ("celesta", [2])]


def test_roles_count_equals_and_do_not_follow_part_ids():
    found = spans([declare(0, "Flute 1"), declare(1, "Oboe"), declare(2, "Flute 2")], [note()], [note()], [note()])
    assert [s.role for (s,) in found] == ["wind.flutes.flute 1", "wind.reed.oboe 1", "wind.flutes.flute 2"]


def test_nobody_can_tell():
    ((span,),) = spans([declare(0, "Zyx")], [note()])
    assert span.instrument is None and span.role == "? zyx 1"


def test_spans_hold_every_event_once_in_order():
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    score = [note(), words("to Piccolo") + REST, note() + repeat]
    found = spans([declare(0, "Flute")], score)[0]
    # The page says piccolo in bar 2 and flute in bar 0, each time they are played.
    assert told(found) == [("flute", [0]), ("piccolo", [2]), ("flute", [0]), ("piccolo", [2])]
    events = [e for s in found for e in s.events]
    assert [e.onset for e in events] == [0, 8, 12, 20]
