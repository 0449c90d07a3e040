"""Score -> MusicXML: valid by the schema, the same when read again, the same notes to music21; lengths that add up."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from functools import cache

import music21
import pytest
from lxml import etree

from corpus import corpus_files, package_files, shared_scores, smallest
from deskproof.accidentals import missing
from deskproof.musicxml import container, reader, writer
from deskproof.musicxml.writing_accidentals import with_accidentals
from deskproof.musicxml.writing_lengths import plain, rests, writable
from deskproof.page import layout_of
from deskproof.pitch import parse
from deskproof.score import (
    CHORD,
    TIE_START,
    TIE_STOP,
    UNCHECKED,
    Change,
    Clef,
    Direction,
    Ending,
    Key,
    Mark,
    Measure,
    Note,
    Part,
    Repeat,
    Score,
    ScoreInstrument,
    Time,
    Transpose,
)
from schema import complaints

OF_ONE_ELEMENT = [f for f in package_files() if "testPrimitive" in f.name or "lilypondTestSuite" in f.name]
SAMPLE = [*smallest(62), *OF_ONE_ELEMENT[:14]]
WITHOUT_A_VALUE = 12
"""At most so many of the sample may be refused: lengths that are played and not written, or more than a value."""

NAMED = ("sharp", "flat", "natural", "double-sharp", "sharp-sharp", "flat-flat", "natural-sharp", "natural-flat",
         "quarter-flat", "quarter-sharp", "three-quarters-flat", "three-quarters-sharp")  # fmt: skip
MADE_ANEW = ("tied", "tuplet")
NOT_WRITTEN = ("dynamics", "bend", "hole", "arrow", "harmon-mute", "other-notation", "technical", "staff-divide")
DIRECTIONS = (
    "words", "rehearsal", "dynamics", "wedge", "pedal", "octave-shift", "harp-pedals", "dashes", "bracket", "segno",
    "coda", "other-direction", "sound:instrument-change", "sound:tempo", "sound:dacapo", "sound:dalsegno",
    "sound:fine", "sound:tocoda", "sound:segno", "sound:coda", "barline:fermata", "barline:segno", "barline:coda",
)  # fmt: skip


@cache
def read_again(name: str) -> Score:
    """The score read from the document that was written of a file."""
    return reader.read_bytes(next(data for own, _, data in pairs() if own == name))


@cache
def pairs() -> list[tuple[str, Score, bytes]]:
    """Name, score as read, and the document written of it, for all that have one value for each length."""
    files = [(f.name, f.path) for f in SAMPLE] + [(p.name, p) for p in shared_scores() if p.suffix != ".mid"]
    found = []
    for name, path in files:
        try:
            score = reader.read_bytes(container.read(path).score)
        except reader.ReadError:
            continue
        try:
            found.append((name, score, writer.write(score)))
        except writer.WriteError as error:
            assert "measure" in str(error)
    assert len(found) >= len(files) - WITHOUT_A_VALUE
    return found


def kept(note: Note) -> Note:
    """A note as far as the writer promises to bring it back."""
    accidental = note.accidental if note.accidental in ("", *NAMED) else "any"
    marks = tuple(mark for mark in note.marks if mark.kind not in (*MADE_ANEW, *NOT_WRITTEN))
    return note._replace(marks=marks, accidental=accidental)


def said(measure: Measure) -> Counter[Direction]:
    """The directions of a measure, whatever their order; a metronome mark in one of the two forms that are kept."""
    rows = (row._replace(k=0) for row in measure.directions)
    return Counter(
        row._replace(hidden=False) for row in rows if row.kind in DIRECTIONS or (row.kind == "metronome" and row.value)
    )


def test_the_schema_has_nothing_against_what_is_written():
    found = {name: complaints(data)[:3] for name, _, data in pairs()}
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_notes_are_the_same_when_read_again():
    for name, score, _ in pairs():
        again = read_again(name)
        assert len(again.parts) == len(score.parts)
        for one, two in zip(score.parts, again.parts, strict=True):
            assert len(one.measures) == len(two.measures)
            for a, b in zip(one.measures, two.measures, strict=True):
                wanted = [kept(n) for n in a.notes]
                found = [kept(n)._replace(accidental="any" if w.accidental == "any" else n.accidental)
                         for n, w in zip(b.notes, wanted, strict=True)]  # fmt: skip
                assert found == wanted, (name, one.id, a.index)


def test_measures_and_their_changes_are_the_same_when_read_again():
    for name, score, _ in pairs():
        again = read_again(name)
        for one, two in zip(score.parts, again.parts, strict=True):
            for a, b in zip(one.measures, two.measures, strict=True):
                where = (name, one.id, a.index)
                assert (a.number, a.length, a.implicit) == (b.number, b.length, b.implicit), where
                assert (a.repeats, a.endings) == (b.repeats, b.endings), where
                assert Counter(map(repr, a.changes)) == Counter(map(repr, b.changes)), where


def test_directions_are_the_same_when_read_again():
    counts: Counter[str] = Counter()
    for name, score, _ in pairs():
        again = read_again(name)
        for one, two in zip(score.parts, again.parts, strict=True):
            for a, b in zip(one.measures, two.measures, strict=True):
                assert said(a) == said(b), (name, one.id, a.index)
                counts.update(row.kind for row in said(a).elements())
    assert {"words", "dynamics", "wedge", "metronome", "sound:tempo"} <= set(counts)


def test_the_head_is_the_same_when_read_again():
    for name, score, _ in pairs():
        again = read_again(name)
        assert (again.title, again.grid, again.extra) == (score.title, score.grid, score.extra), name
        assert again.prints_accidentals == score.prints_accidentals, name
        for one, two in zip(score.parts, again.parts, strict=True):
            assert (one.id, one.name, one.abbreviation) == (two.id, two.name, two.abbreviation), name
            assert one.instruments == two.instruments, name


def test_what_was_written_once_is_written_the_same_again():
    for name, _, data in pairs()[:40]:
        assert writer.write(read_again(name)) == data, name


# ------------------------------------------------------------------ music21


def heard_by_music21(data: bytes) -> list[Counter[tuple[Fraction, Fraction, float]]]:
    """Onset, length and pitch of every note of each part that music21 finds."""
    score = music21.converter.parseData(data, format="musicxml")
    rows = []
    for part in score.parts:
        found: Counter[tuple[Fraction, Fraction, float]] = Counter()
        for note in part.flatten().notes:
            for pitch in note.pitches:
                found[Fraction(note.offset), Fraction(note.duration.quarterLength), pitch.ps] += 1
        rows.append(found)
    return rows


M21 = [
    "bach/bwv127.5.mxl", "mozart/k155/movement2.mxl", "corelli/opus3no1/1grave.xml",
    "schoenberg/opus19/movement2.mxl", "haydn/opus1no1/movement2.mxl",
]  # fmt: skip


@pytest.mark.parametrize("name", M21)
def test_music21_finds_the_same_notes(name):
    path = next((f.path for f in corpus_files() if f.name == name), None)
    if path is None:
        pytest.skip(f"this music21 has no {name}")
    original = container.read(path).score
    written = writer.write(reader.read_bytes(original))
    assert heard_by_music21(written) == heard_by_music21(original)


# ------------------------------------------------------------------ small scores


def part_of(*measures: Measure, name: str = "Flute", instruments: dict[str, ScoreInstrument] | None = None) -> Part:
    return Part("P1", name, "", instruments or {}, measures)


def bar(
    *notes: Note, index: int = 0, changes: tuple[Change, ...] = (), directions: tuple[Direction, ...] = ()
) -> Measure:
    length = max((n.start + n.length for n in notes), default=0)
    numbered = tuple(n._replace(n=i) for i, n in enumerate(notes))
    return Measure(index, str(index + 1), length, numbered, directions, changes)


def note(start: int, length: int, pitch: str = "C5", **more: object) -> Note:
    made = Note(0, start, length, parse(pitch), "note", 1, "1", 0, "", "", ())
    return made._replace(**more)


def rest(start: int, length: int) -> Note:
    return note(start, length)._replace(pitch=None, kind="rest")


def root_of(*measures: Measure, grid: int = 12) -> etree._Element:
    data = writer.write(Score("", grid, (part_of(*measures),)))
    assert complaints(data) == []
    return etree.fromstring(data)


IN_4_4 = (Change(0, 0, "time", Time("4", 4, 48)),)
IN_6_8 = (Change(0, 0, "time", Time("6", 8, 36)),)


def shapes(root: etree._Element) -> list[str]:
    """Type, dots, tuplet and bracket of each note, as one text."""
    rows = []
    for one in root.iter("note"):
        ratio = one.find("time-modification")
        text = (one.findtext("type") or "-") + "." * len(one.findall("dot"))
        if ratio is not None:
            text += f" {ratio.findtext('actual-notes')}:{ratio.findtext('normal-notes')}"
        text += "".join({"start": "[", "stop": "]"}[t.get("type") or ""] for t in one.iter("tuplet"))
        rows.append(text)
    return rows


@pytest.mark.parametrize(
    ("lengths", "wanted"),
    [
        ([12, 18, 6, 12], ["quarter", "quarter.", "eighth", "quarter"]),
        ([4, 4, 4, 36], ["eighth 3:2[", "eighth 3:2", "eighth 3:2]", "half."]),
        ([8, 4, 36], ["quarter 3:2[", "eighth 3:2]", "half."]),
        ([8, 8, 8, 24], ["quarter 3:2[", "quarter 3:2", "quarter 3:2]", "half"]),
        ([6, 2, 4, 36], ["eighth. 3:2[", "16th 3:2", "eighth 3:2]", "half."]),
        ([6, 2, 2, 2, 36], ["eighth", "16th 3:2[", "16th 3:2", "16th 3:2]", "half."]),
        ([2, 2, 2, 3, 3, 36], ["16th 3:2[", "16th 3:2", "16th 3:2]", "16th", "16th", "half."]),
    ],
)
def test_values_and_tuplets_come_from_the_lengths(lengths, wanted):
    starts = [sum(lengths[:i]) for i in range(len(lengths))]
    notes = [note(start, length) for start, length in zip(starts, lengths, strict=True)]
    assert shapes(root_of(bar(*notes, changes=IN_4_4))) == wanted


def test_five_in_four_and_five_in_three():
    four = [note(i * 12, 12) for i in range(5)] + [note(60, 180)]
    assert shapes(root_of(bar(*four), grid=60))[:5] == ["16th 5:4[", *["16th 5:4"] * 3, "16th 5:4]"]
    three = [note(i * 18, 18) for i in range(5)] + [note(90, 90)]
    in_six = (Change(0, 0, "time", Time("6", 8, 180)),)
    found = shapes(root_of(bar(*three, changes=in_six), grid=60))
    assert found[:5] == ["eighth 5:3[", *["eighth 5:3"] * 3, "eighth 5:3]"]


def beams_of(root: etree._Element) -> list[str]:
    return [" ".join(b.text or "" for b in one.iter("beam")) for one in root.iter("note")]


def test_eighths_are_beamed_by_half_bars_sixteenths_by_beats():
    eighths = [note(i * 6, 6) for i in range(8)]
    assert beams_of(root_of(bar(*eighths, changes=IN_4_4))) == ["begin", "continue", "continue", "end"] * 2
    mixed = [note(0, 9), note(9, 3), note(12, 6), note(18, 6), note(24, 24)]
    assert beams_of(root_of(bar(*mixed, changes=IN_4_4))) == ["begin", "end backward hook", "begin", "end", ""]
    in_six = [note(i * 6, 6) for i in range(6)]
    assert beams_of(root_of(bar(*in_six, changes=IN_6_8))) == ["begin", "continue", "end"] * 2


def test_a_rest_breaks_a_beam():
    notes = [note(0, 6), rest(6, 6), note(12, 6), note(18, 6), note(24, 24)]
    assert beams_of(root_of(bar(*notes, changes=IN_4_4))) == ["", "", "begin", "end", ""]


def test_stems_only_where_two_voices_share_a_staff():
    alone = root_of(bar(note(0, 48), changes=IN_4_4))
    assert alone.find(".//stem") is None
    two = root_of(bar(note(0, 48), note(0, 24, "E4", voice="2"), note(24, 24, "E4", voice="2"), changes=IN_4_4))
    assert [one.findtext("stem") for one in two.iter("note")] == ["up", "down", "down"]


def test_a_length_of_no_value_is_refused_with_its_place():
    five = Score("", 12, (part_of(bar(note(0, 30), note(30, 18), changes=IN_4_4)),))
    with pytest.raises(writer.WriteError, match=r"Flute, measure 1: .*5/2 quarters"):
        writer.write(five)


def test_who_plays_a_note_is_read_back():
    mark = Mark("other-play", "flute 1 & 2", "player")
    score = Score("", 12, (part_of(bar(note(0, 48, marks=(Mark("staccato"), mark)), changes=IN_4_4)),))
    data = writer.write(score)
    assert complaints(data) == []
    assert reader.read_bytes(data).parts[0].measures[0].notes[0].marks == (Mark("staccato"), mark)


def test_every_sign_of_a_note_is_read_back():
    signs = (
        Mark("grace", "", "yes"), Mark("notehead", "diamond", "yes"),
    )  # fmt: skip
    marks = (
        Mark("slur", "start", "1"), Mark("slur", "stop", "2"), Mark("accent"), Mark("strong-accent", "up", "up"),
        Mark("tenuto"), Mark("staccatissimo"), Mark("detached-legato"), Mark("breath-mark", "comma"),
        Mark("trill-mark"), Mark("accidental-mark", "sharp"), Mark("wavy-line", "start", "start"),
        Mark("tremolo", "3", "single"), Mark("fermata", "upright"), Mark("arpeggiate", "up", "2"),
        Mark("harmonic", "natural sounding-pitch"), Mark("fingering", "3"), Mark("up-bow"), Mark("stopped"),
        Mark("glissando", "start", "1"), Mark("other-technical", "sul tasto"),
        Mark("other-play", "harp", "player"),
    )  # fmt: skip
    first = note(0, 0, flags=2, marks=signs)
    score = Score("", 12, (part_of(bar(first, note(0, 48, marks=marks), changes=IN_4_4)),))
    data = writer.write(score)
    assert complaints(data) == []
    found = reader.read_bytes(data).parts[0].measures[0].notes
    assert found[0].marks == signs
    assert found[1].marks == marks


def test_every_direction_is_read_back():
    rows = (
        ("dynamics", "ff", ""), ("wedge", "crescendo", "1"), ("wedge", "stop", "1"), ("words", "a 2 <&>", ""),
        ("rehearsal", "A", ""), ("metronome", "quarter. = 60", ""), ("metronome", "quarter = eighth.", ""),
        ("pedal", "start", ""), ("pedal", "stop", ""), ("octave-shift", "down 8", "1"), ("octave-shift", "stop 8", "1"),
        ("harp-pedals", "D0 C-1 B-1 E0 F1 G0 A0", ""), ("dashes", "start", "1"), ("dashes", "stop", "1"),
        ("sound:tempo", "96", ""), ("sound:instrument-change", "wind.flutes.piccolo", "P1-I2"), ("segno", "", ""),
    )  # fmt: skip
    directions = tuple(
        Direction(k, 7 * k % 48, 1, kind, value, number) for k, (kind, value, number) in enumerate(rows)
    )
    both = {key: ScoreInstrument(key, name, sound, program) for key, name, sound, program in (
        ("P1-I1", "Flute", "wind.flutes.flute", 73), ("P1-I2", "Piccolo", "wind.flutes.piccolo", 72))}  # fmt: skip
    notes = [note(0, 24), note(24, 24)]
    score = Score("", 12, (part_of(bar(*notes, changes=IN_4_4, directions=directions), instruments=both),))
    data = writer.write(score)
    assert complaints(data) == []
    found = reader.read_bytes(data).parts[0].measures[0].directions
    assert {row[1:] for row in found} == {row[1:] for row in directions}
    placed = {d.findtext("direction-type/words"): d.get("placement") for d in etree.fromstring(data).iter("direction")}
    assert placed["a 2 <&>"] == "above"


def test_two_staves_changes_repeats_and_endings_are_read_back():
    changes = (
        Change(0, 0, "key", Key(-3)), Change(0, 0, "time", Time("3+2", 8, 30)), Change(0, 0, "staves", 2),
        Change(0, 1, "clef", Clef("G", 2)), Change(0, 2, "clef", Clef("F", 4, -1)),
        Change(0, 0, "transpose", Transpose(-2, -1, 0)), Change(18, 2, "clef", Clef("C", 4)),
    )  # fmt: skip
    notes = (
        note(0, 18), note(18, 12), note(18, 12, "E5", flags=CHORD), note(0, 18, "C3", staff=2, voice="5"),
        note(18, 12, "C3", staff=2, voice="5"),
    )  # fmt: skip
    first = bar(*notes, changes=changes)._replace(repeats=(Repeat(True, False),))
    second = bar(note(0, 18), rest(18, 12), index=1)._replace(
        repeats=(Repeat(False, True, 3),), endings=(Ending("start", (1, 2)), Ending("stop", (1, 2)))
    )
    score = Score("Title & more", 12, (part_of(first, second),))
    data = writer.write(score)
    assert complaints(data) == []
    found = reader.read_bytes(data)
    assert found.title == "Title & more"
    assert Counter(found.parts[0].measures[0].changes) == Counter(changes)
    for a, b in zip(score.parts[0].measures, found.parts[0].measures, strict=True):
        assert (a.notes, a.repeats, a.endings) == (b.notes, b.repeats, b.endings)


def test_brackets_braces_and_instruments_stand_in_the_list_of_parts():
    parts = tuple(
        Part(key, name, name[:2], {f"{key}-I1": ScoreInstrument(f"{key}-I1", name, sound, program)},
             (bar(note(0, 48), changes=IN_4_4),))
        for key, name, sound, program in (
            ("P1", "Flute", "wind.flutes.flute", 73), ("P2", "Violin 1", "strings.violin", 40),
            ("P3", "Violin 2", "strings.violin", 40), ("P4", "Viola", "strings.viola", 41),
        )
    )  # fmt: skip
    groups = (writer.Group(1, 3, name="Strings"), writer.Group(1, 2, "brace", barline=False))
    data = writer.write(Score("", 12, parts), writer.Staffing(groups, "A. N. Other"))
    assert complaints(data) == []
    listed = [(e.tag, e.get("type") or e.get("id"), e.get("number")) for e in etree.fromstring(data).find("part-list")]
    assert listed == [
        ("score-part", "P1", None), ("part-group", "start", "1"), ("part-group", "start", "2"),
        ("score-part", "P2", None), ("score-part", "P3", None), ("part-group", "stop", "2"),
        ("score-part", "P4", None), ("part-group", "stop", "1"),
    ]  # fmt: skip
    assert b"A. N. Other" in data and b"<software>Deskproof " in data
    assert reader.read_bytes(data).parts[3].instruments == parts[3].instruments


# ------------------------------------------------------------------ accidentals


def test_the_accidentals_that_are_computed_leave_none_missing_and_none_over():
    """In chorales and quartets the printed signs and the computed ones hardly differ, and none is missing."""
    differing = notes = 0
    for name, score, _ in pairs():
        if not name.startswith(("bach/", "haydn/", "mozart/", "beethoven/")):
            continue
        for part in score.parts:
            layout = layout_of(part)
            made = with_accidentals(part, layout)
            assert list(missing(made, layout)) == [], name
            for a, b in zip(part.measures, made.measures, strict=True):
                for one, two in zip(a.notes, b.notes, strict=True):
                    assert one._replace(accidental="") == two._replace(accidental="")
                    if one.pitch is not None and not one.flags & UNCHECKED:
                        notes += 1
                        differing += bool(one.accidental) != bool(two.accidental)
            bare = [(m.index, n) for m in made.measures for n in m.notes if n.accidental]
            for index, one in bare[:5]:  # without any one of them the note would be read as another, or follows a tie
                without = tuple(n._replace(accidental="") if n.n == one.n else n for n in made.measures[index].notes)
                changed = list(made.measures)
                changed[index] = made.measures[index]._replace(notes=without)
                lacking = [lack.note.n for lack in missing(replace(made, measures=tuple(changed)), layout, [index])]
                assert one.n in lacking or any(n.flags & TIE_STOP for n in without), (name, index, one)
    assert notes > 5000
    assert differing < notes / 100


def test_after_a_tie_over_the_barline_the_sign_stands_again():
    sharp = note(0, 48, "F#5", flags=TIE_START)
    first = bar(sharp, changes=IN_4_4)
    second = bar(note(0, 12, "F#5", flags=TIE_STOP), note(12, 12, "F#5"), note(24, 24, "F#5"), index=1)
    part = part_of(first, second)
    made = with_accidentals(part, layout_of(part))
    assert [n.accidental for m in made.measures for n in m.notes] == ["sharp", "", "sharp", ""]


# ------------------------------------------------------------------ cutting lengths

METRES = [("4", 4), ("3", 4), ("6", 8), ("2", 2), ("9", 8), ("5", 4), ("2", 4), ("12", 8), ("7", 8), ("3", 8)]
# All plain and dotted lengths in sixteenths, told without the code.
IN_SIXTEENTHS = {1, 2, 4, 8, 16, 32, 3, 6, 12, 24, 48}


@pytest.mark.parametrize(("beats", "unit"), METRES)
def test_pieces_add_up_and_each_is_a_value(beats, unit):
    metre = Time(beats, unit, 16 * int(beats) // unit)
    for start in range(metre.length):
        for length in range(1, metre.length - start + 1):
            for cut in (writable(start, length, metre, 4), rests(start, start + length, metre, 4)):
                at = start
                for begin, long in cut:
                    assert begin == at and long > 0
                    at += long
                assert at == start + length
                if (start, length) != (0, metre.length):
                    assert all(long in IN_SIXTEENTHS for _, long in cut), (start, length, cut)


@pytest.mark.parametrize("bars", [2])
def test_four_four_shows_its_middle(bars):
    """No note hides the middle of 4/4 unless it begins the bar; no rest hides a beat it does not begin or fill."""
    metre = Time("4", 4, 16)
    for start in range(16):
        for length in range(1, 16 - start + 1):
            for begin, long in writable(start, length, metre, 4):
                assert not begin < 8 < begin + long or begin == 0
            if (start, length) != (0, 16):
                for begin, long in rests(start, start + length, metre, 4):
                    assert begin % long == 0 and long in (1, 2, 4, 8)


def test_six_eight_shows_its_two_beats():
    metre = Time("6", 8, 12)
    for start in range(12):
        for length in range(1, 12 - start + 1):
            if (start, length) == (0, 12):
                continue
            for begin, long in (*writable(start, length, metre, 4), *rests(start, start + length, metre, 4)):
                assert not begin < 6 < begin + long


@pytest.mark.parametrize(
    ("beats", "unit", "start", "length", "wanted"),
    [
        ("4", 4, 0, 12, [12]), ("4", 4, 8, 6, [6]), ("4", 4, 4, 12, [4, 8]), ("4", 4, 2, 4, [4]),
        ("4", 4, 6, 4, [2, 2]), ("4", 4, 1, 2, [2]), ("4", 4, 0, 10, [8, 2]), ("3", 4, 0, 8, [8]),
        ("3", 4, 4, 8, [8]), ("3", 4, 0, 10, [8, 2]), ("6", 8, 0, 8, [6, 2]), ("6", 8, 0, 12, [12]),
        ("6", 8, 2, 4, [4]), ("9", 8, 0, 18, [12, 6]), ("5", 4, 0, 20, [12, 8]), ("2", 2, 8, 8, [8]),
        ("2", 2, 0, 14, [8, 6]), ("12", 8, 0, 24, [24]),
    ],
)  # fmt: skip
def test_well_known_cuts(beats, unit, start, length, wanted):
    metre = Time(beats, unit, 16 * int(beats) // unit)
    assert [long for _, long in writable(start, length, metre, 4)] == wanted


def test_triplets_are_cut_at_beats_into_values():
    """Every stretch between triplet eighths of 4/4: plain, dotted, or so after three in the time of two."""
    metre = Time("4", 4, 48)
    for start in range(0, 48, 2):
        for length in range(2, 48 - start + 1, 2):
            for cut in (writable(start, length, metre, 12), rests(start, start + length, metre, 12)):
                assert sum(long for _, long in cut) == length
                for begin, long in cut:
                    assert plain(Fraction(long, 12), 1) or plain(Fraction(long, 8), 1), (start, length, cut)
                    assert begin % 12 + long <= 12 or (begin % 8 == 0 and long in (8, 16)) or begin % 6 == 0


def test_what_is_cut_can_be_written():
    """Notes and rests of all cuts of 4/4 in triplet sixteenths, written and read back: the sounding lengths stay."""
    metre = Time("4", 4, 48)
    measures = []
    for start in range(0, 46, 2):
        for end in (start + 2, (start + 48) // 4 * 2, 46):
            if start >= end:
                continue
            cut = writable(start, end - start, metre, 12)
            silent = [*(rests(0, start, metre, 12) if start else ()), *rests(end, 48, metre, 12)]
            notes = [note(at, long, flags=(TIE_START if k + 1 < len(cut) else 0) | (TIE_STOP if k else 0))
                     for k, (at, long) in enumerate(cut)]  # fmt: skip
            notes += [rest(at, long) for at, long in silent]
            row = sorted(notes, key=lambda n: n.start)
            measures.append(bar(*row, index=len(measures), changes=IN_4_4 if not measures else ()))
    data = writer.write(Score("", 12, (part_of(*measures),)))
    assert complaints(data) == []
    again = reader.read_bytes(data).parts[0].measures
    assert [[kept(n) for n in m.notes] for m in again] == [[kept(n) for n in m.notes] for m in measures]


# ------------------------------------------------------------------ speed


def test_a_large_score_is_written_in_three_seconds():
    def measure(index: int) -> Measure:
        notes = [note(i * 3, 3, "G4") for i in range(8)] + [note(24, 4), note(28, 4), note(32, 4), note(36, 12)]
        words = (Direction(0, 0, 1, "dynamics", "p"), Direction(1, 24, 1, "words", "dolce"))
        return bar(*notes, index=index, changes=IN_4_4 if index == 0 else (), directions=words)

    measures = tuple(measure(i) for i in range(200))
    score = Score("", 12, tuple(Part(f"P{i}", f"Part {i}", "", {}, measures) for i in range(30)))
    begin = time.process_time()
    writer.write(score)
    assert time.process_time() - begin < 3
