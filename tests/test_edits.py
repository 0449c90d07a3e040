"""Musical edits of a Score, and the accidentals they make necessary in the rest of the bar."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import seeds
from deskproof import document
from deskproof.edits import (
    AddAccidental,
    Edit,
    EditError,
    Omit,
    Respell,
    SetClef,
    SetOctave,
    apply,
    complete,
    touched,
)
from deskproof.page import layout_of
from deskproof.pitch import Pitch
from deskproof.score import NoteRef, Score

SIGN = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
SHARPS, FLATS = "FCGDAEB", "BEADGCF"
Bar = list[tuple[str, int, int, str]]  # letter, alteration, octave, printed sign


def score_of(bars: list[Bar], fifths: int = 0, parts: int = 1) -> Score:
    def note(step: str, alter: int, octave: int, sign: str) -> str:
        return (
            f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch><duration>1</duration>"
            f"{f'<accidental>{sign}</accidental>' if sign else ''}</note>"
        )

    key = f"<attributes><divisions>1</divisions><key><fifths>{fifths}</fifths></key></attributes>"
    measures = "".join(
        f'<measure number="{i + 1}">{key if not i else ""}{"".join(note(*row) for row in bar)}</measure>'
        for i, bar in enumerate(bars)
    )
    names = "".join(f'<score-part id="P{k}"><part-name>Flute</part-name></score-part>' for k in range(1, parts + 1))
    music = "".join(f'<part id="P{k}">{measures}</part>' for k in range(1, parts + 1))
    return document.from_bytes(
        f'<score-partwise version="4.0"><part-list>{names}</part-list>{music}</score-partwise>'.encode()
    ).score


def row(score: Score, measure: int = 0, part: int = 0) -> list[tuple[str, str]]:
    return [(str(n.pitch), n.accidental) for n in score.parts[part].measures[measure].notes]


def ref(n: int, measure: int = 0, part: str = "P1") -> NoteRef:
    return NoteRef(part, measure, n)


PLAIN: Bar = [("F", 1, 4, "sharp"), ("F", 1, 4, ""), ("G", 0, 4, ""), ("A", -1, 4, "flat")]


@pytest.mark.parametrize(
    ("edits", "expected"),
    [
        ([], [("F♯4", "sharp"), ("F♯4", ""), ("G4", ""), ("A♭4", "flat")]),
        ([SetOctave(ref(0), 5)], [("F♯5", "sharp"), ("F♯4", ""), ("G4", ""), ("A♭4", "flat")]),
        ([Respell(ref(0), "G", -1, 4)], [("G♭4", "flat"), ("F♯4", ""), ("G4", ""), ("A♭4", "flat")]),
        ([Respell(ref(1), "G", -1, 4)], [("F♯4", "sharp"), ("G♭4", ""), ("G4", ""), ("A♭4", "flat")]),
        ([Respell(ref(3), "G", 1, 4)], [("F♯4", "sharp"), ("F♯4", ""), ("G4", ""), ("G♯4", "sharp")]),
        ([AddAccidental(ref(2), "natural")], [("F♯4", "sharp"), ("F♯4", ""), ("G4", "natural"), ("A♭4", "flat")]),
        (
            [SetOctave(ref(2), 3), AddAccidental(ref(2), "natural"), AddAccidental(ref(0), "natural")],
            [("F♯4", "natural"), ("F♯4", ""), ("G3", "natural"), ("A♭4", "flat")],
        ),
    ],
)
def test_edits_change_their_notes_and_no_other(edits: list[Edit], expected: list[tuple[str, str]]):
    score = score_of([PLAIN, PLAIN], parts=2)
    after = apply(score, edits)
    assert row(after) == expected
    assert after.parts[0].measures[1] is score.parts[0].measures[1]
    assert after.parts[1] is score.parts[1]
    assert [n._replace(pitch=None, accidental="") for n in after.parts[0].measures[0].notes] == [
        n._replace(pitch=None, accidental="") for n in score.parts[0].measures[0].notes
    ]


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (SetOctave(ref(0, part="P9"), 5), "no part P9"),
        (SetOctave(ref(0, measure=2), 5), "P1 has no measure number 2"),
        (SetOctave(ref(0, measure=-1), 5), "P1 has no measure number -1"),
        (SetOctave(ref(4), 5), "P1/m0/n4 is no pitched note"),
        (SetOctave(ref(-1), 5), "P1/m0/n-1 is no pitched note"),
        (Respell(ref(0), "F", 4, 4), "P1/m0/n0"),
    ],
)
def test_an_edit_that_does_not_fit_is_refused(edit: Edit, message: str):
    with pytest.raises(EditError, match=message):
        apply(score_of([PLAIN, PLAIN]), [edit])


def test_a_rest_and_an_unpitched_note_take_no_edit():
    body = (
        "<note><rest/><duration>1</duration></note>"
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        "<duration>1</duration></note>"
    )
    score = document.from_bytes(
        b'<score-partwise><part-list><score-part id="P1"><part-name>Drum</part-name></score-part></part-list>'
        b'<part id="P1"><measure number="1">' + body.encode() + b"</measure></part></score-partwise>"
    ).score
    for n in (0, 1):
        for edit in (SetOctave(ref(n), 5), AddAccidental(ref(n), "sharp"), Respell(ref(n), "C", 0, 4)):
            with pytest.raises(EditError, match=f"n{n} is no pitched note"):
                apply(score, [edit])


def test_two_edits_of_one_thing_are_refused_and_of_two_things_are_not():
    score = score_of([PLAIN])
    for pair in ([SetOctave(ref(0), 5), Respell(ref(0), "G", -1, 4)], [AddAccidental(ref(0), "flat")] * 2):
        with pytest.raises(EditError, match=r"two edits of its (pitch|accidental)"):
            apply(score, pair)
    assert row(apply(score, [SetOctave(ref(0), 5), AddAccidental(ref(0), "natural")]))[0] == ("F♯5", "natural")


def test_touched_gathers_measures_by_part():
    edits = [SetOctave(ref(0, 3), 5), AddAccidental(ref(1, 3), "flat"), SetOctave(ref(0, 1, "P2"), 5)]
    assert touched(edits) == {"P1": {3}, "P2": {1}}


# ---------------------------------------------------------------- the rest of the bar


def read_as(bar: Bar, fifths: int) -> list[int]:
    """What a player reads, note by note: the last sign on that line or space in the bar, else the key."""
    key = dict.fromkeys("CDEFGAB", 0)
    for step in (SHARPS[:fifths] if fifths >= 0 else FLATS[:-fifths]):
        key[step] = 1 if fifths > 0 else -1
    held: dict[tuple[str, int], int] = {}
    found = []
    for step, _, octave, sign in bar:
        if sign:
            held[step, octave] = SIGN[sign]
        found.append(held.get((step, octave), key[step]))
    return found


def bar_of(score: Score) -> Bar:
    found: Bar = []
    for note in score.parts[0].measures[0].notes:
        assert isinstance(note.pitch, Pitch)
        found.append((note.pitch.step, int(note.pitch.alter), note.pitch.octave, note.accidental))
    return found


notes = st.tuples(st.sampled_from("FGB"), st.integers(-1, 1), st.integers(4, 5), st.booleans())
changes = st.tuples(st.integers(0, 5), st.booleans(), st.sampled_from("FGB"), st.integers(-1, 1), st.integers(4, 5))
NAMES = {alter: sign for sign, alter in SIGN.items()}


def printed(rows: list[tuple[str, int, int, bool]], fifths: int) -> Bar:
    """A bar with the signs its notes need, and on some notes a reminder."""
    bar: Bar = []
    for step, alter, octave, reminder in rows:
        read = read_as([*bar, (step, alter, octave, "")], fifths)[-1]
        bar.append((step, alter, octave, NAMES[alter] if reminder or read != alter else ""))
    return bar


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(notes, min_size=1, max_size=6), st.integers(-3, 3), st.lists(changes, min_size=1, max_size=2))
def test_after_the_edits_every_note_reads_right(
    rows: list[tuple[str, int, int, bool]], fifths: int, chosen: list[tuple[int, bool, str, int, int]]
):
    bar = printed(rows, fifths)
    score = score_of([bar], fifths)
    edits: dict[int, Edit] = {}
    for n, octave_only, step, alter, octave in chosen:
        n %= len(bar)
        edits[n] = SetOctave(ref(n), octave) if octave_only else Respell(ref(n), step, alter, octave)
    layouts = [layout_of(part) for part in score.parts]
    full = complete(score, layouts, list(edits.values()))
    assert full[: len(edits)] == tuple(edits.values())
    assert all(isinstance(edit, AddAccidental) for edit in full[len(edits) :])
    after = bar_of(apply(score, full))
    assert [alter for _, alter, _, _ in after] == read_as(after, fifths), (bar, full)


def test_a_moved_note_takes_its_accidental_with_it():
    score = score_of([[("F", 1, 4, "sharp"), ("F", 1, 4, ""), ("F", 1, 5, "sharp"), ("F", 1, 5, "")]])
    layouts = [layout_of(score.parts[0])]
    assert complete(score, layouts, [SetOctave(ref(0), 3)]) == (SetOctave(ref(0), 3), AddAccidental(ref(1), "sharp"))
    assert complete(score, layouts, [SetOctave(ref(1), 5)]) == (SetOctave(ref(1), 5), AddAccidental(ref(1), "sharp"))
    assert complete(score, layouts, [SetOctave(ref(3), 4)]) == (SetOctave(ref(3), 4),)
    assert complete(score, layouts, [Respell(ref(1), "G", -1, 4)]) == (
        Respell(ref(1), "G", -1, 4), AddAccidental(ref(1), "flat"),
    )  # fmt: skip


def test_an_added_accidental_may_call_for_another():
    # F♯ before F: the sharp that the first needs would make the second F♯ as well.
    score = score_of([[("F", 0, 4, ""), ("F", 0, 4, "")]])
    layouts = [layout_of(score.parts[0])]
    assert complete(score, layouts, [Respell(ref(0), "F", 1, 4)]) == (
        Respell(ref(0), "F", 1, 4), AddAccidental(ref(0), "sharp"), AddAccidental(ref(1), "natural"),
    )  # fmt: skip


def test_a_place_is_exact():
    score = score_of([PLAIN])
    assert [Fraction(n.start, score.grid) for n in score.parts[0].measures[0].notes] == [0, 1, 2, 3]


def test_a_clef_before_a_later_note_stands_where_the_bytes_have_it_when_a_note_before_it_goes():
    case = {"instrument": "piano", "notes": "C4+E4/4 D4/4 E4/4 F4/4"}
    read = document.from_bytes(seeds.score(case))
    after = read.with_edits([Omit(ref(1)), SetClef(ref(3), "F", 4)])
    assert [(c.start, str(c.value)) for c in after.score.parts[0].measures[0].changes if c.kind == "clef"] == [
        (c.start, str(c.value))
        for c in document.from_bytes(after.written()).score.parts[0].measures[0].changes
        if c.kind == "clef"
    ]
