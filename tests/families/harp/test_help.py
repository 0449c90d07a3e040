"""What is printed of the pedals agrees with the notes, in every pass, read from the written file with lxml alone."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from random import Random
from typing import Any, NamedTuple

import pytest
from lxml import etree

from corpus import shared
from deskproof.demo import SCORE
from deskproof.document import Document, from_bytes, read
from deskproof.families import Help
from deskproof.forces import Forces
from deskproof.mending import help_in_words, helped
from deskproof.musicxml import container
from deskproof.state import state_of
from harp_passages import tonal
from schema import complaints

LETTERS = "DCBEFGA"
SIGN = {"♭": -1, "♮": 0, "♯": 1}
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
BEATS = 4
SEEDS = 120


class Piece(NamedTuple):
    """A harp part of one note or chord a beat, its repeated bars, and the bars of its glissandi."""

    raw: bytes
    repeat: tuple[int, int] | None
    sweeps: tuple[int, ...]


def piece(seed: int, bars: int = 12, bpm: int = 50) -> Piece:
    """Invented: a wandering key, rests, perhaps a repeat, a glissando sign, a section and settings already printed."""
    draw = Random(f"help {seed}")
    onsets = iter(tonal(bars * BEATS, seed))
    repeat = None
    if draw.random() < 0.5:
        first = draw.randrange(1, bars - 3)
        repeat = (first, draw.randrange(first + 1, min(first + 4, bars)))
    silent = set(range(*draw.choice(((0, 0), (4, 6), (0, 2)))))
    sweeps = tuple(sorted(draw.sample(range(2, bars), draw.choice((0, 0, 1, 2)))))
    root = etree.fromstring(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Harp</part-name>'
        '<score-instrument id="P1-I1"><instrument-name>Harp</instrument-name></score-instrument></score-part>'
        '</part-list><part id="P1"/></score-partwise>'
    )
    for bar in range(bars):
        measure = etree.SubElement(root[1], "measure", number=str(bar + 1))
        if bar == 0:
            measure.append(etree.fromstring(
                "<attributes><divisions>2</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
                "<beat-type>4</beat-type></time><staves>2</staves><clef number='1'><sign>G</sign><line>2</line></clef>"
                "<clef number='2'><sign>F</sign><line>4</line></clef></attributes>"
            ))  # fmt: skip
            measure.append(etree.fromstring(
                "<direction placement='above'><direction-type><metronome><beat-unit>quarter</beat-unit>"
                f"<per-minute>{bpm}</per-minute></metronome></direction-type></direction>"
            ))  # fmt: skip
        if draw.random() < 0.15:
            measure.append(etree.fromstring(
                "<direction placement='above'><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
            ))  # fmt: skip
        if repeat and bar == repeat[0]:
            measure.append(etree.fromstring("<barline location='left'><repeat direction='forward'/></barline>"))
        columns = [[] if bar in silent else next(onsets)["notes"] for _ in range(BEATS)]
        for staff in (1, 2):
            for beat, column in enumerate(columns):
                names = [n["spelled"] for n in column if (midi(n["spelled"]) >= 60) == (staff == 1)]
                length = draw.choice((1, 2))
                for k, name in enumerate(names):
                    measure.append(note(name, 2, staff, chord=k > 0))
                    if bar in sweeps and k == 0 and beat == 0:
                        measure[-1].append(etree.fromstring(
                            "<notations><glissando type='start' line-type='wavy'/></notations>"
                        ))  # fmt: skip
                if not names:
                    for _ in range(2 // length):
                        measure.append(note(None, length, staff, chord=False))
            if staff == 1:
                measure.append(etree.fromstring("<backup><duration>8</duration></backup>"))
        if repeat and bar == repeat[1]:
            measure.append(etree.fromstring("<barline location='right'><repeat direction='backward'/></barline>"))
    return Piece(etree.tostring(root, xml_declaration=True, encoding="UTF-8"), repeat, sweeps)


def note(name: tuple[str, int, int] | None, length: int, staff: int, chord: bool) -> Any:
    element = etree.Element("note")
    if chord:
        etree.SubElement(element, "chord")
    if name is None:
        etree.SubElement(element, "rest")
    else:
        pitch = etree.SubElement(element, "pitch")
        etree.SubElement(pitch, "step").text = name[0]
        if name[1]:
            etree.SubElement(pitch, "alter").text = str(name[1])
        etree.SubElement(pitch, "octave").text = str(name[2])
    etree.SubElement(element, "duration").text = str(length)
    etree.SubElement(element, "voice").text = str(staff)
    etree.SubElement(element, "type").text = {1: "eighth", 2: "quarter"}[length]
    etree.SubElement(element, "staff").text = str(staff)
    return element


def midi(name: tuple[str, int, int]) -> int:
    return 12 * (name[2] + 1) + SEMITONES[name[0]] + name[1]


# ---- the written file, read by itself ------------------------------------------------------------------------


class Row(NamedTuple):
    """A sign (``positions``) or a note at a place of one measure, in quarters."""

    at: Fraction
    kind: int  # 0 a sign, 1 a note
    positions: dict[str, int]
    whole: bool
    octave: int = 0
    length: Fraction = Fraction(0)


def measures_of(raw: bytes, part: str = "P1") -> list[list[Row]]:
    root = etree.fromstring(raw)
    divisions, found = Fraction(1), []
    element = next(p for p in root.iterfind("part") if p.get("id") == part)
    for measure in element.iterfind("measure"):
        cursor = last = Fraction(0)
        rows = []
        for child in measure:
            if child.tag == "attributes" and child.find("divisions") is not None:
                divisions = Fraction(child.findtext("divisions"))
            elif child.tag in ("backup", "forward"):
                cursor += Fraction(child.findtext("duration")) / divisions * (1 if child.tag == "forward" else -1)
            elif child.tag == "note":
                length = Fraction(child.findtext("duration") or 0) / divisions
                if child.find("chord") is None:
                    last = cursor
                    cursor += length
                pitch = child.find("pitch")
                if pitch is not None:
                    alter = int(pitch.findtext("alter") or 0)
                    step, octave = pitch.findtext("step"), int(pitch.findtext("octave"))
                    rows.append(Row(last, 1, {step: alter}, False, octave, length))
            elif child.tag == "direction":
                at = cursor + Fraction(child.findtext("offset") or 0) / divisions
                rows += [Row(at, 0, positions, whole) for positions, whole in signs_of(child)]
        found.append(sorted(rows, key=lambda row: (row.at, row.kind)))
    return found


def signs_of(direction: Any) -> list[tuple[dict[str, int], bool]]:
    found = []
    for pedals in direction.iter("harp-pedals"):
        rows = [(t.findtext("pedal-step"), int(t.findtext("pedal-alter"))) for t in pedals.iter("pedal-tuning")]
        assert "".join(letter for letter, _ in rows) == LETTERS
        found.append((dict(rows), True))
    for words in direction.iter("words"):
        pieces = (words.text or "").replace("|", " ").split()
        if pieces and all(piece[:1] in LETTERS and piece[1:] in SIGN for piece in pieces):
            found.append(({piece[0]: SIGN[piece[1]] for piece in pieces}, len(pieces) == 7))
            lines = [line.split() for line in (words.text or "").split("\n")]
            if len(lines) == 2:  # the right foot over the left
                assert {piece[0] for piece in lines[0]} <= set("EFGA") and {p[0] for p in lines[1]} <= set("DCB")
    return found


def played(measures: list[Any], repeat: tuple[int, int] | None) -> list[Any]:
    if repeat is None:
        return measures
    first, last = repeat
    return measures[: last + 1] + measures[first:]


def disagreements(measures: list[list[Row]], given: dict[str, int] | None = None) -> tuple[list[str], int]:
    """Notes that find another pedal than their name asks for, and the number of notes that were asked."""
    stands: dict[str, int] = dict(given or {})
    wrong, asked = [], 0
    for m, rows in enumerate(measures):
        for row in rows:
            if row.kind == 0:
                stands.update(row.positions)
                continue
            ((letter, alter),) = row.positions.items()
            if f"{letter}{row.octave}" in ("C1", "D1"):
                continue
            asked += 1
            if stands.get(letter) != alter:
                wrong.append(f"bar {m + 1}, {row.at}: {letter}{alter:+d}, pedal {stands.get(letter)}")
    return wrong, asked


def unplanned(document: Document) -> int:
    plans = [p for p in state_of(document.score).plans.values() if getattr(p, "pedals", None)]
    return sum(len(p.pedals.unplanned) for p in plans)


def sounding(raw: bytes) -> list[int]:
    return [
        midi((p.findtext("step"), int(p.findtext("alter") or 0), int(p.findtext("octave"))))
        for p in etree.fromstring(raw).iter("pitch")
    ]


@cache
def good() -> tuple[int, ...]:
    """The pieces of which every note has its pedal: of no other can the help agree with all notes."""
    return tuple(seed for seed in range(SEEDS) if not unplanned(from_bytes(piece(seed).raw)))


def test_nearly_all_pieces_are_good():
    assert len(good()) >= 9 * SEEDS // 10


@pytest.mark.parametrize("in_words", [False, True], ids=["diagrams", "words"])
@pytest.mark.parametrize("k", range(9 * SEEDS // 10))
def test_settings_and_changes_agree_with_every_note(k: int, in_words: bool):
    made = piece(good()[k])
    before = from_bytes(made.raw)
    after = helped(before, Forces(), Help("all", in_words))
    raw = after.written()
    measures = measures_of(raw)
    wrong, asked = disagreements(played(measures, made.repeat))
    assert asked > 20 and wrong == []
    assert from_bytes(raw).score.parts == after.score.parts
    assert sounding(raw) == sounding(made.raw)
    assert Counter(complaints(raw)) == Counter(complaints(made.raw))
    wholes = [m for m, rows in enumerate(measures) if any(row.kind == 0 and row.whole for row in rows)]
    assert wholes[0] == 0
    if not in_words:
        assert len(list(etree.fromstring(raw).iter("harp-pedals"))) == sum(
            row.kind == 0 and row.whole for rows in measures for row in rows
        )


def test_a_change_stands_behind_the_last_note_of_its_letter():
    pieces = moved = 0
    for seed in good():
        made = piece(seed)
        before = from_bytes(made.raw)
        plan = next(p for p in state_of(before.score).plans.values() if getattr(p, "pedals", None))
        if made.repeat or plan.pedals["let_go_early"].value:
            continue  # only where each note is played once and held as written
        pieces += 1
        held: dict[str, Fraction] = {}
        for m, rows in enumerate(measures_of(helped(before, Forces(), Help("all")).written())):
            for row in rows:
                at = BEATS * m + row.at
                for letter in row.positions:
                    if row.kind == 1:
                        held[letter] = max(held.get(letter, Fraction(0)), at + row.length)
                    elif not row.whole:
                        moved += 1
                        assert at >= held.get(letter, Fraction(0)), f"{seed}, bar {m + 1}: {letter} under a note"
    assert pieces >= 10 and moved >= 30


@pytest.mark.parametrize("seed", range(0, SEEDS, 4))
def test_settings_alone(seed: int):
    """``first``: no single change; a setting at the beginning, at each glissando, and where a repeat is begun again."""
    made = piece(seed)
    raw = helped(from_bytes(made.raw), Forces(), Help("first")).written()
    measures = measures_of(raw)
    signs = [(m, row) for m, rows in enumerate(measures) for row in rows if row.kind == 0]
    assert signs and all(row.whole for _, row in signs)
    assert signs[0][0] == 0 and signs[0][1].at == 0
    every = measures_of(helped(from_bytes(made.raw), Forces(), Help("all")).written())
    moves = [m for m, rows in enumerate(every) if any(row.kind == 0 and not row.whole for row in rows)]
    for bar in made.sweeps:
        told = [m for m, _ in signs if m <= bar]
        sweeping = etree.fromstring(made.raw).findall("part/measure")[bar].find(".//glissando") is not None
        if sweeping:
            assert not any(told[-1] < m < bar for m in moves), f"the setting of the glissando in bar {bar + 1} is old"


def test_nothing_is_printed_unless_asked():
    document = from_bytes(piece(3).raw)
    assert helped(document, Forces(), Help("none")).written() == piece(3).raw
    assert help_in_words((), Help("all")) == "no pedal signs to print"


@pytest.mark.parametrize("seed", range(1, SEEDS, 5))
def test_a_second_helping_adds_nothing(seed: int):
    once = helped(from_bytes(piece(seed).raw), Forces(), Help("all")).written()
    assert helped(from_bytes(once), Forces(), Help("all")).written() == once


def test_what_is_printed_already_is_kept_and_completed():
    root = etree.fromstring(piece(8).raw)
    wrong = etree.fromstring(
        "<direction><direction-type><words>D♯</words></direction-type><staff>2</staff></direction>"
    )
    root.findall("part/measure")[5].insert(0, wrong)
    raw = helped(from_bytes(etree.tostring(root)), Forces(), Help("all")).written()
    wrongs, asked = disagreements(played(measures_of(raw), piece(8).repeat))
    assert asked and wrongs == []
    assert "D♯" in etree.fromstring(raw).xpath("//words/text()")


def test_the_demo_and_the_rules_that_read_it_again():
    document = read(SCORE)
    after = helped(document, Forces(), Help("all"))
    rules = lambda doc: Counter(  # noqa: E731
        one.rule.id for atoms in state_of(doc.score).atoms.values() for one in atoms
    )
    before, now = rules(document), rules(from_bytes(after.written()))
    assert before["harp-no-setting"] and not now["harp-no-setting"] and not now["harp-printed-setting"]
    assert now - before == Counter()


def test_a_real_harp_part():
    path = shared("boulanger-matin-bars-1-100.mxl")
    raw = container.read(path).score
    part = next(p for p in etree.fromstring(raw).iter("score-part") if p.findtext("part-name") == "Harp").get("id")
    after = helped(read(path), Forces(), Help("all")).written()
    wrong, asked = disagreements(measures_of(after, part))
    assert asked > 200 and wrong == []
    assert sounding(after) == sounding(raw)
