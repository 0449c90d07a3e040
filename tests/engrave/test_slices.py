"""Cut bars against the file itself, the schema, and music21's reading of the whole score."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import music21
import pytest
from lxml import etree

from corpus import shared, smallest
from deskproof import document
from deskproof.demo import SCORE
from deskproof.edits import AddAccidental, ChangeRef, Respell, SetClef, SetOctave
from deskproof.engrave.slice import Bars, Desk, bars_of
from deskproof.errors import DeskproofError
from deskproof.musicxml.slices import Source
from deskproof.score import NoteRef
from schema import complaints


def source(path: Path) -> Source:
    return Source.of(document.read(path).container.score)


def part(body: str, staves: int = 1) -> Source:
    """A score of one part from the content of its measures, separated by bars; quarter = 2 divisions."""
    lower = "<clef number='2'><sign>F</sign><line>4</line></clef>" if staves > 1 else ""
    first = (
        "<attributes><divisions>2</divisions><key><fifths>-3</fifths></key><time><beats>2</beats>"
        f"<beat-type>4</beat-type></time><staves>{staves}</staves><clef number='1'><sign>G</sign><line>2</line></clef>"
        f"{lower}<transpose><chromatic>-2</chromatic></transpose></attributes>"
    )
    measures = "".join(
        f"<measure number='{i}'>{first if i == 1 else ''}{one}</measure>" for i, one in enumerate(body.split("|"), 1)
    )
    return Source.of(
        "<score-partwise><part-list><score-part id='P1'><part-name>X</part-name></score-part></part-list>"
        f"<part id='P1'>{measures}</part></score-partwise>".encode()
    )


def note(step: str = "C", octave: int = 4, extra: str = "", staff: int = 1, voice: int = 1) -> str:
    return (
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>2</duration><voice>{voice}</voice>"
        f"<type>quarter</type><staff>{staff}</staff>{f'<notations>{extra}</notations>' if extra else ''}</note>"
    )


def direction(sign: str, staff: int = 1) -> str:
    return f"<direction><direction-type>{sign}</direction-type><staff>{staff}</staff></direction>"


def cut(one: Source, first: int, last: int) -> etree._Element:
    return etree.fromstring(one.cut(["P1"], first, last).xml)


def test_a_cut_begins_with_what_is_in_force_there() -> None:
    body = "|".join([
        note() * 2,
        "<attributes><divisions>4</divisions><clef number='1'><sign>C</sign><line>3</line></clef></attributes>",
        "<attributes><key><fifths>2</fifths></key></attributes>" + note() * 2,
    ])  # fmt: skip
    attributes = cut(part(body), 2, 2).find("part/measure/attributes")
    assert attributes is not None
    assert [one.tag for one in attributes] == ["divisions", "key", "time", "staves", "clef"]
    assert [attributes.findtext(p) for p in ("divisions", "key/fifths", "clef/sign")] == ["4", "2", "C"]


def test_a_transposition_is_left_out_since_it_prints_nothing() -> None:
    assert cut(part(note() * 2), 0, 0).find(".//transpose") is None


def test_an_open_octave_sign_is_carried_in_and_ended() -> None:
    body = direction("<octave-shift type='down' size='8'/>") + note() * 2 + "|" + note() * 2 + "|" + note() * 2
    kinds = [one.get("type") for one in cut(part(body), 1, 1).iter("octave-shift")]
    assert kinds == ["down", "stop"]


def test_an_octave_sign_named_for_the_wrong_staff_is_written_out() -> None:
    """Notes of a voice at home below have crossed to the upper staff; the sign stands over them."""
    home = "<note><rest/><duration>4</duration><voice>1</voice><staff>1</staff></note>"
    home += "<backup><duration>4</duration></backup>"
    body = home + direction("<octave-shift type='down' size='8'/>", 2) + note("E", 6, voice=5) + note("G", 6, voice=5)
    end = note("C", 6, voice=5) + direction("<octave-shift type='stop' size='8'/>", 2) + note("A", 5, voice=5)
    root = cut(part(f"{body}|{end}", 2), 1, 1)
    assert root.find(".//octave-shift") is None
    assert [w.text for w in root.iter("words")] == ["8va"]
    assert [o.text for o in root.iter("octave")] == ["5", "5"]  # C6 an octave down, A5 as it was


@pytest.mark.parametrize(
    ("sign", "kept"),
    [
        ("<wedge type='crescendo'/>", ["crescendo", "stop"]),
        ("<pedal type='start' line='yes'/>", ["start", "stop"]),
        ("<pedal type='start' line='no'/>", ["start"]),
        ("<dashes type='start' number='1'/>", ["start", "stop"]),
    ],
)
def test_what_begins_in_the_cut_and_runs_on_ends_with_it(sign: str, kept: list[str]) -> None:
    tag = sign[1:].split()[0]
    root = cut(part(direction(sign) + note() * 2 + "|" + note() * 2), 0, 0)
    assert [one.get("type") for one in root.iter(tag)] == kept


@pytest.mark.parametrize("sign", ["<wedge type='stop'/>", "<pedal type='stop' line='yes'/>", "<bracket type='stop'/>"])
def test_what_began_before_the_cut_is_dropped_whole(sign: str) -> None:
    tag = sign[1:].split()[0]
    root = cut(part(note() * 2 + "|" + direction(sign) + note() * 2), 1, 1)
    assert list(root.iter(tag, "direction")) == []


def test_a_pedal_change_becomes_stop_and_start() -> None:
    start, change = (direction(f"<pedal type='{kind}' line='yes'/>") for kind in ("start", "change"))
    body = start + note() + change + note()
    assert [one.get("type") for one in cut(part(body), 0, 0).iter("pedal")] == ["start", "stop", "start", "stop"]


def test_arpeggios_without_a_number_get_that_of_their_staff() -> None:
    body = note(extra="<arpeggiate/>") + "<backup><duration>2</duration></backup>" + note("C", 3, "<arpeggiate/>", 2, 5)
    assert [one.get("number") for one in cut(part(body, 2), 0, 0).iter("arpeggiate")] == ["1", "2"]


def test_slurs_of_two_voices_with_one_number_stay_whole() -> None:
    upper = note(extra="<slur type='start'/>") + note(extra="<slur type='stop'/>")
    lower = note("C", 3, "<slur type='start'/>", 2, 5) + note("C", 3, "<slur type='stop'/>", 2, 5)
    root = cut(part(upper + "<backup><duration>4</duration></backup>" + lower, 2), 0, 0)
    assert [one.get("type") for one in root.iter("slur")] == ["start", "stop", "start", "stop"]


def test_torn_slurs_go_and_a_torn_tie_stays_open() -> None:
    begin = note(extra="<slur type='start'/>") + note("D", extra="<tied type='start'/>")
    end = note("D", extra="<tied type='stop'/>") + note(extra="<slur type='stop'/>")
    one = part(begin + "|" + end)
    assert [s.get("type") for s in cut(one, 0, 0).iter("slur", "tied")] == ["let-ring"]
    assert list(cut(one, 1, 1).iter("slur", "tied", "notations")) == []
    assert len(list(cut(one, 0, 1).iter("slur", "tied"))) == 4


def test_a_bar_is_shown_before_one_into_which_ties_come() -> None:
    tie = "<tie type='{0}'/>"
    first = note("F").replace("<voice>", tie.format("start") + "<voice>", 1)
    last = note("F").replace("<voice>", tie.format("stop") + "<voice>", 1)
    one = part(note() + first + "|" + last + note() + "|" + note() * 2)
    score = document.from_bytes(etree.tostring(one.root)).score
    shown = [bars_of(score, [NoteRef("P1", m, 0)]) for m in (1, 2)]
    assert [(b.first, b.last) for b in shown if b] == [(0, 1), (2, 2)]


def test_no_more_bars_are_shown_than_asked_for() -> None:
    score = document.read(SCORE).score
    shown = bars_of(score, [NoteRef(score.parts[0].id, m, 0) for m in (4, 5, 6, 7, 9)])
    assert shown is not None and (shown.first, shown.last) == (4, 6)
    assert bars_of(score, []) is None


def test_a_part_or_bar_that_is_not_there_is_said() -> None:
    one = part(note() * 2)
    with pytest.raises(DeskproofError, match="no part P9"):
        one.cut(["P9"], 0, 0)
    with pytest.raises(DeskproofError, match="no measures 0 to 3"):
        one.cut(["P1"], 0, 3)


def test_the_demo_cut_anywhere_is_valid_and_has_every_note() -> None:
    one = source(SCORE)
    for part_id, measures in one.measures.items():
        for first in range(0, len(measures) - 2, 5):
            made = one.cut([part_id], first, first + 2)
            assert complaints(made.xml) == []
            there = sum(len(content.findall("note")) for content, _ in measures[first : first + 3])
            assert len(made.ids) == there
            assert sorted(made.ids) == sorted(n.get("id") or "" for n in etree.fromstring(made.xml).iter("note"))


def test_edits_in_a_cut_give_what_cutting_the_edited_score_gives() -> None:
    read = document.read(SCORE)
    ref = next(
        NoteRef(p.id, m.index, n.n)
        for p in read.score.parts
        for m in p.measures[5:]
        for n in m.notes
        if n.pitch and not n.accidental and not n.flags
    )
    edits = [SetOctave(ref, 6), AddAccidental(ref, "sharp")]
    other = [Respell(ref, "G", -1, 5)]
    for chosen in (edits, other):
        here = Source.of(read.container.score).cut([ref.part], ref.measure, ref.measure + 1, chosen)
        there = Source.of(read.with_edits(chosen).written()).cut([ref.part], ref.measure, ref.measure + 1)
        assert etree.tostring(etree.fromstring(here.xml), method="c14n") == etree.tostring(
            etree.fromstring(there.xml), method="c14n"
        )
        assert here.xml != Source.of(read.container.score).cut([ref.part], ref.measure, ref.measure + 1).xml


def heard(stream: music21.stream.Stream) -> list[tuple[str, Fraction]]:
    """Pitches as the page gives them, and lengths, in order."""
    return sorted(
        (pitch.nameWithOctave, Fraction(one.quarterLength).limit_denominator(960))
        for one in stream.recurse().notes
        for pitch in one.pitches
        if not one.duration.isGrace
    )


# Harp, flute and double bass; all but the first cut begin under an octave sign that stands open.
@pytest.mark.parametrize(("chosen", "first"), [("P27", 42), ("P27", 13), ("P3", 23), ("P40", 57)])
def test_music21_reads_the_same_notes_in_a_cut_as_in_the_whole(chosen: str, first: int) -> None:
    path = shared("boulanger-matin-bars-1-100.mxl")
    one = source(path)
    whole = etree.fromstring(document.read(path).container.score)
    for other in whole.findall("part") + whole.findall("part-list/score-part"):
        if other.get("id") != chosen:
            other.getparent().remove(other)  # type: ignore[union-attr]
    for shift in whole.findall(".//transpose"):
        shift.getparent().remove(shift)  # type: ignore[union-attr]
    full = music21.converter.parseData(etree.tostring(whole), format="musicxml")
    small = music21.converter.parseData(one.cut([chosen], first, first + 3).xml, format="musicxml")
    expected = []
    for staff in full.parts:
        for measure in list(staff.getElementsByClass(music21.stream.Measure))[first : first + 4]:
            expected += heard(measure)
    assert sorted(expected) == heard(small)
    assert expected


@pytest.mark.parametrize("file", smallest(8), ids=lambda f: f.name)
def test_corpus_files_are_cut_without_new_complaints(file: object) -> None:
    data = document.read(file.path).container.score  # type: ignore[attr-defined]
    one = Source.of(data)
    part_id = next(iter(one.measures))
    count = len(one.measures[part_id])
    known = {line.partition(": ")[2] for line in complaints(data)}
    for first in sorted({0, count // 2, max(0, count - 2)}):
        made = one.cut([part_id], first, min(first + 1, count - 1))
        assert {line.partition(": ")[2] for line in complaints(made.xml)} <= known


def test_a_clef_changed_by_an_edit_is_in_force_in_later_bars() -> None:
    read = document.read(SCORE)
    part_id = read.score.parts[0].id
    desk = Desk(read)
    plain = desk.engraving(Bars((part_id,), 7, 7))
    edit = SetClef(ChangeRef(part_id, 0, 0, "clef"), "C", 3)
    edited = desk.engraving(Bars((part_id,), 7, 7, (edit,)))
    assert "E050" in plain.signs and "E05C" not in plain.signs  # SMuFL: gClef, cClef
    assert "E05C" in edited.signs and "E050" not in edited.signs
