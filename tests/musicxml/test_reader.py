"""MusicXML read element by element; what is quoted are the words of MusicXML 4.0."""

from __future__ import annotations

import pytest

from deskproof.musicxml.reader import ReadError, read_bytes
from deskproof.score import CUE, GRACE, HIDDEN, OSSIA, SMALL, UNCHECKED, Clef, Key, Note, Part, Score, Time, Transpose


def document(measures: str, parts: str = '<score-part id="P1"><part-name>Horn</part-name></score-part>') -> str:
    return (
        f'<score-partwise version="4.0"><part-list>{parts}</part-list><part id="P1">{measures}</part></score-partwise>'
    )


def read(*measures: str) -> Score:
    """A score of one part; each text is what stands in one measure."""
    body = "".join(f'<measure number="{i}">{text}</measure>' for i, text in enumerate(measures, 1))
    return read_bytes(document(body).encode())


def attributes(body: str) -> str:
    return f"<attributes>{body}</attributes>"


def divisions(n: str | int) -> str:
    return attributes(f"<divisions>{n}</divisions>")


def note(name: str, duration: str | int | None, before: str = "", after: str = "", more: str = "") -> str:
    """One note; ``before`` stands before the pitch, ``after`` behind the duration, ``more`` are attributes."""
    pitch = "<rest/>" if name == "rest" else f"<pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch>"
    length = "" if duration is None else f"<duration>{duration}</duration>"
    return f"<note {more}>{before}{pitch}{length}{after}</note>"


def places(score: Score, measure: int = 0) -> list[tuple[str, float, float]]:
    """Name, start and length in quarters of the notes of a measure."""
    return [
        (str(n.pitch) if n.pitch else n.kind, n.start / score.grid, n.length / score.grid)
        for n in score.parts[0].measures[measure].notes
    ]


def first(score: Score) -> Note:
    return score.parts[0].measures[0].notes[0]


def test_backup_and_forward_move_the_position():
    # "The backup and forward elements are required to coordinate multiple voices in one part."
    score = read(
        divisions(2)
        + note("C5", 4)
        + note("D5", 4)
        + "<backup><duration>8</duration></backup>"
        + note("E3", 2, after="<voice>2</voice>")
        + "<forward><duration>4</duration></forward>"
        + note("F3", 2, after="<voice>2</voice>")
    )
    assert places(score) == [("C5", 0, 2), ("D5", 2, 2), ("E3", 0, 1), ("F3", 3, 1)]
    assert [n.voice for n in score.parts[0].measures[0].notes] == ["1", "1", "2", "2"]
    assert score.parts[0].measures[0].length == 4 * score.grid


def test_a_forward_at_the_end_lengthens_the_measure_and_a_backup_stops_at_its_beginning():
    score = read(
        divisions(1) + note("C5", 1) + "<forward><duration>2</duration></forward>",
        note("C5", 1) + "<backup><duration>9</duration></backup>" + note("D5", 1),
    )
    assert score.parts[0].measures[0].length == 3 * score.grid
    assert places(score, 1) == [("C5", 0, 1), ("D5", 0, 1)]


def test_a_chord_note_may_be_shorter_but_not_longer_than_the_first():
    # "the duration of a chord note cannot be longer than the preceding note. ... However it can be shorter"
    # "The duration of a chord note does not move the musical position within a measure."
    score = read(divisions(1) + note("C4", 2) + note("E4", 1, "<chord/>") + note("G4", 3, "<chord/>") + note("A4", 1))
    assert places(score) == [("C4", 0, 2), ("E4", 0, 1), ("G4", 0, 2), ("A4", 2, 1)]


def test_grace_notes_take_no_duration_of_the_measure():
    score = read(divisions(1) + note("D5", None, "<grace/>") + note("C5", 1) + note("E5", 1))
    assert places(score) == [("D5", 0, 0), ("C5", 0, 1), ("E5", 1, 1)]
    assert [bool(n.flags & GRACE) for n in score.parts[0].measures[0].notes] == [True, False, False]


def test_tuplets_sound_as_long_as_their_duration_says():
    # "Duration and divisions are used directly for generating sound output, so they must be chosen to take tuplets
    # into account."
    triplet = (
        "<type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        "</time-modification>"
    )
    score = read(divisions(3) + "".join(note(p, 1, after=triplet) for p in ("C4", "D4", "E4")) + note("F4", 3))
    third = score.grid // 3
    assert score.grid % 3 == 0
    assert [(n.start, n.length) for n in score.parts[0].measures[0].notes] == [
        (0, third),
        (third, third),
        (2 * third, third),
        (score.grid, score.grid),
    ]


def test_divisions_may_change_in_the_middle_of_a_measure():
    # "The divisions element indicates how many divisions per quarter note are used to indicate a note's duration."
    score = read(divisions(2) + note("C4", 2) + divisions(3) + note("D4", 1) + note("E4", 2), note("F4", 3))
    assert [(n, s * 3, d * 3) for n, s, d in places(score)] == [("C4", 0, 3), ("D4", 3, 1), ("E4", 4, 2)]
    assert places(score, 1) == [("F4", 0, 1)]


def test_decimal_durations_make_a_finer_grid():
    # "It is preferred that these be integer values" (type divisions): they need not be.
    score = read(divisions(1) + note("C4", "0.75") + note("D4", "0.25") + note("E4", "1.125"))
    assert score.grid % 8 == 0
    assert places(score) == [("C4", 0, 0.75), ("D4", 0.75, 0.25), ("E4", 1, 1.125)]


def test_decimal_divisions():
    # A quarter is two and a half divisions, so one division is two fifths of a quarter.
    score = read(divisions("2.5") + note("C4", 1) + note("D4", 5))
    assert score.grid % 5 == 0
    assert [(s * 5, d * 5) for _, s, d in places(score)] == [(0, 2), (2, 10)]


@pytest.mark.parametrize("bad", ["0", "-4"])
def test_divisions_that_cannot_be_are_remarked_on(bad):
    score = read(divisions(2) + note("C4", 2), divisions(bad) + note("D4", 2))
    assert places(score, 1) == [("D4", 0, 1)]
    (remark,) = score.remarks
    assert "P1" in remark and "measure 2" in remark and bad in remark


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8", "iso-8859-1"])
def test_encodings(encoding):
    body = f'<measure number="1">{divisions(1)}{note("C4", 1)}</measure>'
    part = '<score-part id="P1"><part-name>Flöte</part-name></score-part>'
    declared = "utf-16" if encoding.startswith("utf-16") else encoding
    text = f'<?xml version="1.0" encoding="{declared}"?>' + document(body, part)
    mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}.get(encoding, b"")
    score = read_bytes(mark + text.encode(encoding))
    assert score.parts[0].name == "Flöte"
    assert places(score) == [("C4", 0, 1)]


def test_flags():
    cue_staff = attributes('<divisions>1</divisions><staves>2</staves><staff-details number="2"><staff-type>ossia'
                           "</staff-type></staff-details>")  # fmt: skip
    # "a cue note is a silent note with no playback. Normal notes that play can be specified as cue size using the
    # type element." "print-object: whether or not to print an object"
    score = read(
        cue_staff
        + note("C4", 1, "<cue/>")
        + note("D4", 1, more='print-object="no"')
        + note("E4", 1, after='<type size="cue">quarter</type>')
        + note("F4", 1, after="<staff>2</staff>")
        + note("G4", 1, after="<staff>1</staff>")
    )
    flags = [n.flags for n in score.parts[0].measures[0].notes]
    assert flags == [CUE, HIDDEN, SMALL, OSSIA, 0]
    assert [bool(f & UNCHECKED) for f in flags] == [True, True, False, True, False]


@pytest.mark.parametrize("kind", ["ossia", "editorial", "cue", "alternate"])
def test_staves_beside_the_regular_one_are_not_checked(kind):
    # "An ossia staff represents music that can be played instead of what appears on the regular staff. An editorial
    # staff also represents musical alternatives ... A cue staff represents music from another part. An alternate staff
    # shares the same music as the prior staff, but displayed differently ... It is not included in playback."
    details = f'<staves>2</staves><staff-details number="2"><staff-type>{kind}</staff-type></staff-details>'
    score = read(
        attributes("<divisions>1</divisions>" + details) + note("C4", 1) + note("C4", 1, after="<staff>2</staff>")
    )
    assert [bool(n.flags & UNCHECKED) for n in score.parts[0].measures[0].notes] == [False, True]


def test_a_regular_staff_is_an_ossia_no_longer():
    details = "<staff-details><staff-type>{}</staff-type></staff-details>"
    score = read(
        attributes("<divisions>1</divisions>" + details.format("ossia")) + note("C4", 1),
        attributes(details.format("regular")) + note("C4", 1),
    )
    assert [m.notes[0].flags for m in score.parts[0].measures] == [OSSIA, 0]


def test_unpitched_notes_have_a_place_but_no_pitch():
    unpitched = "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    score = read(divisions(1) + unpitched + "<duration>1</duration></note>" + note("rest", 1))
    stroke, rest = score.parts[0].measures[0].notes
    assert (stroke.kind, stroke.pitch, rest.kind) == ("unpitched", None, "rest")
    mark = stroke.marked("display")
    assert mark is not None and (mark.value, mark.number) == ("E", "4")


def test_pitch_is_what_alter_says_whatever_the_printed_sign():
    # "The accidental type represents actual notated accidentals"; the semitones of <alter> are "used for chromatic
    # alteration. ... Decimal values like 0.5 (quarter tone sharp) are used for microtones."
    sharp = "<note><pitch><step>F</step><alter>1</alter><octave>4</octave></pitch><duration>1</duration>{}</note>"
    quarter = "<note><pitch><step>F</step><alter>0.5</alter><octave>4</octave></pitch><duration>1</duration></note>"
    score = read(
        divisions(1)
        + sharp.format("")
        + sharp.format("<accidental>sharp</accidental>")
        + note("F4", 1, after="<accidental>sharp</accidental>")
        + quarter
    )
    notes = score.parts[0].measures[0].notes
    assert [n.pitch.midi for n in notes if n.pitch] == [66, 66, 65, 65.5]
    assert [n.accidental for n in notes] == ["", "sharp", "sharp", ""]


def test_notes_are_counted_in_document_order_rests_and_graces_too():
    score = read(divisions(1) + note("rest", 1) + note("D5", None, "<grace/>") + note("C5", 1), note("C5", 1))
    assert [[n.n for n in m.notes] for m in score.parts[0].measures] == [[0, 1, 2], [0]]


def test_attributes_stand_where_they_stand():
    score = read(
        attributes(
            "<divisions>2</divisions><key><fifths>-3</fifths></key><time><beats>3+2</beats><beat-type>8</beat-type>"
            "</time><clef><sign>F</sign><line>4</line></clef><transpose><diatonic>-4</diatonic><chromatic>-7</chromatic>"
            "</transpose>"
        )
        + note("C4", 4)
        + attributes('<clef number="1"><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>')
        + note("C4", 1)
    )
    part: Part = score.parts[0]
    assert [(c.start / score.grid, c.value) for c in part.measures[0].changes] == [
        (0, Key(-3)),
        (0, Time("3+2", 8, 5 * score.grid // 2)),
        (0, Clef("F", 4)),
        (0, Transpose(-7, -4)),
        (2, Clef("G", 2, -1)),
    ]


def test_a_key_may_be_spelled_out():
    body = "<key><key-step>F</key-step><key-alter>1</key-alter><key-step>B</key-step><key-alter>-1</key-alter></key>"
    score = read(attributes("<divisions>1</divisions>" + body) + note("C4", 1))
    assert score.parts[0].measures[0].changes[0].value == Key(0, (("F", 1), ("B", -1)))


def test_measure_numbers_are_text_and_implicit_ones_are_known():
    # "While the number attribute is often numeric, it does not have to be." "For a pickup measure, the number attribute
    # is typically set to "0" and the implicit attribute is typically set to "yes"."
    body = (
        f'<measure number="0" implicit="yes">{divisions(1)}{note("C4", 1)}</measure>'
        f'<measure number="12a">{note("C4", 4)}</measure>'
    )
    measures = read_bytes(document(body).encode()).parts[0].measures
    assert [(m.number, m.implicit, m.index) for m in measures] == [("0", True, 0), ("12a", False, 1)]


def test_instruments_of_a_part_are_declared_with_program_from_0():
    part = (
        '<score-part id="P1"><part-name>Reeds\n 1</part-name><score-instrument id="I1"><instrument-name>Oboe'
        "</instrument-name><instrument-sound>wind.reed.oboe</instrument-sound></score-instrument>"
        '<midi-instrument id="I1"><midi-program>69</midi-program></midi-instrument></score-part>'
    )  # "The midi-program element specifies a MIDI 1.0 program number ranging from 1 to 128."
    score = read_bytes(document(f"<measure number='1'>{divisions(1)}{note('C4', 1)}</measure>", part).encode())
    one = score.parts[0].instruments["I1"]
    assert (score.parts[0].name, one.name, one.sound, one.program) == ("Reeds 1", "Oboe", "wind.reed.oboe", 68)


def test_offsets_move_what_is_printed_and_what_sounds_only_if_they_say_so():
    # "If the sound attribute is "yes", then the offset affects playback ... The sound attribute is "no" by default".
    def words(offset: str) -> str:
        return f'<direction><direction-type><words>solo</words></direction-type>{offset}<sound tempo="60"/></direction>'

    def starts(offset: str) -> dict[str, float]:
        score = read(divisions(2) + note("C4", 4) + words(offset) + note("C4", 4))
        return {d.kind: d.start / score.grid for d in score.parts[0].measures[0].directions}

    assert starts("") == {"words": 2, "sound:tempo": 2}
    assert starts("<offset>-2</offset>") == {"words": 1, "sound:tempo": 2}
    assert starts('<offset sound="yes">-2</offset>') == {"words": 1, "sound:tempo": 1}


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"<score-partwise><part>", r"line 1"),
        (b"<html/>", r"<html>, expected <score-partwise>"),
        (b"<score-partwise/>", r"no measures"),
        (document("").encode(), r"no measures"),
    ],
)
def test_what_cannot_be_read_is_refused_with_what_to_do(data, match):
    with pytest.raises(ReadError, match=match) as refused:
        read_bytes(data, "trio.musicxml")
    assert str(refused.value).startswith("trio.musicxml") and "xport" in str(refused.value)


def test_figures_that_are_none_are_passed_over():
    # Real files break the schema; what cannot be a number is read as if it were not there.
    score = read(
        attributes("<divisions>1</divisions><time><beats>²</beats><beat-type>4</beat-type></time>")
        + note("C4", 1, after="<staff>²</staff>")
        + note("D4", "long", after="<staff>two</staff>")
        + '<barline location="right"><ending number="²" type="stop"/></barline>'
    )
    assert places(score) == [("C4", 0, 1), ("D4", 1, 0)]
    assert [n.staff for n in score.parts[0].measures[0].notes] == [1, 1]


def test_no_entity_is_expanded(tmp_path):
    # A file must not be able to pull another file, or a billion letters, into the score.
    secret = tmp_path / "secret.txt"
    secret.write_text("C sharp minor")
    head = f'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "{secret.as_uri()}">]>'
    body = f"<measure number='1'>{divisions(1)}{note('C4', 1)}</measure>"
    part = '<score-part id="P1"><part-name>a&x;b</part-name></score-part>'
    score = read_bytes((head + document(body, part)).encode())
    assert "sharp" not in score.parts[0].name
