"""The whole of MusicXML: small files that each test one element, and the other root, where measures hold parts.

The conformance files are those that music21 carries beside its corpus; they are found by their ending. The schema of
MusicXML 4.0 says which elements there are.
"""

from __future__ import annotations

import copy
import random
import re
from collections import Counter
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import music21
import pytest
from click.testing import CliRunner
from lxml import etree

from corpus import package_files, shared_scores, smallest
from deskproof import document
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO
from deskproof.edits import AddAccidental, Edit, Respell, SetClef, SetOctave
from deskproof.errors import DeskproofError
from deskproof.musicxml import container, editor, reader
from deskproof.order import playing_order
from deskproof.score import NoteRef, Score
from deskproof.timeline import realise
from schema import complaints

PACKAGE = Path(music21.__file__).parent
CONFORMANCE = sorted(p for p in PACKAGE.glob("**/*.xml") if "corpus" not in p.relative_to(PACKAGE).parts)
SHARED = [p for p in shared_scores() if p.suffix != ".mid"]
BOTH_WAYS = [file.path for file in smallest(60)] + [DEMO, *SHARED]


def root_of(path: Path) -> etree._Element:
    return etree.fromstring(container.read(path).score, reader.parser())


# ---------------------------------------------------------------- one element at a time


def test_the_conformance_files_are_all_there():
    assert len(CONFORMANCE) == 152  # music21 10.5.1
    assert len({path.name for path in CONFORMANCE}) == 152
    assert Counter(root_of(path).tag for path in CONFORMANCE) == {"score-partwise": 152}


@pytest.mark.parametrize("path", CONFORMANCE, ids=lambda p: p.name)
def test_a_conformance_file_loads_whole(path: Path):
    score = document.read(path).score  # none is refused: each is a score, if a strange one
    root = root_of(path)
    assert [len(part.measures) for part in score.parts] == [len(p.findall("measure")) for p in root.findall("part")]
    for part, element in zip(score.parts, root.findall("part"), strict=True):
        for measure, content in zip(part.measures, element.findall("measure"), strict=True):
            assert len(measure.notes) == len(content.findall("note"))
            assert measure.number == content.get("number")
    timeline = realise(score)
    assert timeline.frame.length > 0
    assert set(timeline.frame.order.measures) == set(range(max(len(part.measures) for part in score.parts)))


@cache
def standard_elements() -> frozenset[str]:
    """The names of all elements of MusicXML 4.0, from its schema."""
    package = find_spec("musicxml")
    assert package is not None and package.origin is not None
    schema = etree.parse(Path(package.origin).parent / "generate_classes" / "musicxml_4_0.xsd")
    return frozenset(e.get("name", "") for e in schema.iter("{http://www.w3.org/2001/XMLSchema}element")) - {""}


def strangers(root: etree._Element) -> set[str]:
    """Elements inside measures that no MusicXML has."""
    inside = root.iterfind("part/measure" if root.tag == "score-partwise" else "measure/part")
    return {str(e.tag) for m in inside for e in m.iterdescendants() if isinstance(e.tag, str)} - standard_elements()


def without_pitch(root: etree._Element) -> set[str]:
    """Ids of the parts in which some note is neither pitched, unpitched nor a rest."""
    return {
        part.get("id", "")
        for part in root.iterfind("part")
        for note in part.iter("note")
        if not {"pitch", "unpitched", "rest"} & {child.tag for child in note}
    }


def bad_divisions(root: etree._Element) -> int:
    return sum(float(e.text or 0) <= 0 for e in root.iter("divisions"))


@pytest.mark.parametrize("start", range(0, 808, 101))
def test_what_is_not_understood_is_said_once_and_by_name(start: int):
    for file in package_files()[start : start + 101]:
        remarks = document.read(file.path).score.remarks
        root = root_of(file.path)
        assert len(remarks) == len(set(remarks))
        named = [m.group(1) for r in remarks if (m := re.search(r"<(.+)> is no element of MusicXML", r))]
        assert sorted(named) == sorted(strangers(root)), file.name
        found = [re.search(r": part (.+), measure \d+: a note whose pitch", remark) for remark in remarks]
        pitchless = [m.group(1) for m in found if m]
        assert sorted(pitchless) == sorted(without_pitch(root)), file.name
        assert len(remarks) == len(named) + len(pitchless) + bad_divisions(root), remarks


@pytest.mark.parametrize("path", CONFORMANCE, ids=lambda p: p.name)
def test_elements_of_another_world_are_named_once_and_change_nothing(path: Path):
    root = root_of(path)
    plain = document.from_bytes(etree.tostring(root)).score
    for measure in root.iter("measure"):  # between notes, inside one, and inside what is read as a tree
        measure.insert(0, etree.Element("quaver-cloud"))
        for tag in ("note", "attributes", "direction-type", "notations"):
            for element in measure.iter(tag):
                element.append(etree.Element(f"cloud-of-{tag}"))
    score = document.from_bytes(etree.tostring(root)).score
    assert {"quaver-cloud", "cloud-of-note"} <= strangers(root)
    for name in strangers(root):
        assert sum(f"<{name}>" in remark for remark in score.remarks) == 1
    assert played(score) == played(plain)


def played(score: Score) -> list[list[tuple[object, ...]]]:
    """When what sounds, without the marks on the notes."""
    timeline = realise(score)
    return [
        [(e.measure, e.note.n, e.pass_, e.onset, e.end, e.sounding, e.tied, e.grace) for e in events]
        for events in timeline.parts
    ]


@pytest.mark.parametrize("start", range(0, 808, 101))
def test_check_of_every_file_ends_in_an_answer(start: int):
    files = package_files()[start : start + 101]
    assert len(files) == 101
    result = CliRunner().invoke(main, ["check", "--json", *(str(file.path) for file in files)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1), result.output[-500:]
    assert len(result.output.splitlines()) == 101
    assert "Traceback" not in result.output


# ---------------------------------------------------------------- measures that hold parts


def timewise(partwise: etree._Element) -> etree._Element:
    """The published transformation from partwise to timewise.

    The head is copied. For every measure of the score there is a measure element with the attributes of the first
    part's measure; in it every part that has such a measure, with its attributes and the content of that measure.
    Measures are matched by their ordinal, because numbers may stand twice.
    """
    root = etree.Element("score-timewise", dict(partwise.attrib))
    parts = []
    for child in partwise:
        if child.tag == "part":
            parts.append((child, child.findall("measure")))
        else:
            root.append(copy.deepcopy(child))
    for i in range(max(len(measures) for _, measures in parts)):
        first = next(measures[i] for _, measures in parts if i < len(measures))
        measure = etree.SubElement(root, "measure", dict(first.attrib))
        for part, measures in parts:
            if i < len(measures):
                content = etree.SubElement(measure, "part", dict(part.attrib))
                content.extend(copy.deepcopy(list(measures[i])))
    return root


def as_bytes(root: etree._Element) -> bytes:
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


@cache
def turned(path: Path) -> bytes:
    return as_bytes(timewise(root_of(path)))


def test_the_transformation_gives_what_the_schema_calls_timewise():
    assert complaints(DEMO.read_bytes()) == complaints(turned(DEMO)) == []
    assert turned(DEMO).count(b"<measure ") * 17 == turned(DEMO).count(b"<part ") == root_measures(DEMO)


def root_measures(path: Path) -> int:
    return len(root_of(path).findall("part/measure"))


@pytest.mark.parametrize("path", BOTH_WAYS, ids=lambda p: p.name)
def test_a_timewise_file_gives_the_same_timeline(path: Path):
    data = turned(path)
    assert etree.fromstring(data, reader.parser()).tag == "score-timewise"
    one, two = realise(document.read(path).score), realise(document.from_bytes(data, str(path)).score)
    assert (two.score, two.layouts, two.parts) == (one.score, one.layouts, one.parts)
    for name in ("grid", "plays", "lengths", "metres", "order"):
        assert getattr(two.frame, name) == getattr(one.frame, name)
    assert (two.frame.clock.ticks, two.frame.clock.tempos) == (one.frame.clock.ticks, one.frame.clock.tempos)
    assert sum(len(part) for part in two.parts) > 0


@pytest.mark.parametrize("path", [*BOTH_WAYS[::6], DEMO], ids=lambda p: p.name)
def test_edits_of_a_timewise_file_are_read_again_as_meant(path: Path):
    before = document.from_bytes(turned(path), path.name)
    notes = {
        NoteRef(part.id, measure.index, note.n): note
        for part in before.score.parts
        for measure in part.measures
        for note in measure.notes
        if note.pitch is not None
    }
    draw = random.Random(path.name)
    edits: list[Edit] = []
    for k, ref in enumerate(draw.sample(sorted(notes), min(30, len(notes)))):
        edits.append(
            (
                SetOctave(ref, draw.randrange(10)),
                Respell(ref, draw.choice("ABCDEFG"), draw.randrange(-2, 3), draw.randrange(10)),
                AddAccidental(ref, draw.choice(("flat", "natural", "sharp"))),
            )[k % 3]
        )
    after = before.with_edits(edits)
    again = document.from_bytes(after.packed(), path.name)
    assert again.score == after.score != before.score
    # Nothing else is touched: the same edits of the partwise file, transformed, are the same document.
    partwise = document.read(path).with_edits(edits).written()
    assert parsed(after.written()) == parsed(as_bytes(timewise(etree.fromstring(partwise, reader.parser()))))


def parsed(data: bytes) -> bytes:
    """A document without the white space between its elements."""
    root = etree.fromstring(data, reader.parser())
    for element in root.iter():
        if element.tail is not None and not element.tail.strip():
            element.tail = None
        if len(element) and element.text is not None and not element.text.strip():
            element.text = None
    return etree.tostring(root, method="c14n")


def test_mends_of_a_timewise_file_mend():
    one, two = document.read(DEMO), document.from_bytes(turned(DEMO), str(DEMO))
    report, same = check(two.score), check(one.score)
    assert [finding.id for finding in report.findings] == [finding.id for finding in same.findings]
    taken = [(finding, mend) for finding in report.findings for mend in finding.mends if mend.edits]
    assert len(taken) >= 3
    for finding, mend in taken:
        after = two.with_edits(mend.edits)
        again = document.from_bytes(after.written(), two.name)
        assert again.score == after.score
        keys = {atom.notes for atom in check(again.score).findings if atom.rule == finding.rule}
        assert finding.notes not in keys


def test_a_clef_is_put_into_a_timewise_file_where_it_belongs():
    two = document.from_bytes(turned(DEMO), "ferry")
    part = two.score.parts[-1]
    measure = next(m for m in part.measures[5:] if any(n.pitch is not None for n in m.notes))
    note = next(n for n in measure.notes if n.pitch is not None)
    edit = SetClef(NoteRef(part.id, measure.index, note.n), "C", 4)
    after = two.with_edits([edit])
    assert document.from_bytes(after.written(), "ferry").score == after.score
    placed = etree.fromstring(after.written()).findall("measure")[measure.index]
    (there,) = [p for p in placed.findall("part") if p.get("id") == part.id]
    assert "C" in {sign.text for sign in there.iterfind("attributes/clef/sign")}


def test_lines_of_a_timewise_file_are_those_of_its_notes():
    data = turned(DEMO)
    pretty = etree.tostring(parsed_tree(data), pretty_print=True)
    score = document.from_bytes(pretty, "ferry").score
    part = score.parts[3]
    refs = {NoteRef(part.id, m.index, n.n) for m in part.measures for n in m.notes}
    lines = editor.lines(pretty, refs)
    assert lines.keys() == refs
    text = pretty.decode().splitlines()
    assert all(text[line - 1].strip().startswith("<note") for line in lines.values())
    root = etree.fromstring(pretty)
    for ref, line in lines.items():
        owner = [p for p in root.findall("measure")[ref.measure].findall("part") if p.get("id") == ref.part]
        assert owner[0].findall("note")[ref.n].sourceline == line


def parsed_tree(data: bytes) -> etree._Element:
    return etree.fromstring(parsed(data))


def test_a_part_that_a_timewise_measure_leaves_out_is_silent_there():
    root = timewise(root_of(DEMO))
    second = root.findall("measure")[1]
    gone = second.findall("part")[0]
    second.remove(gone)
    score = document.from_bytes(as_bytes(root), "ferry").score
    assert [len(part.measures) for part in score.parts] == [len(score.parts[-1].measures)] * len(score.parts)
    assert score.parts[0].measures[1].notes == ()
    assert score.parts[0].measures[2].notes == document.read(DEMO).score.parts[0].measures[2].notes


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"<score-timewise/>", "no measures"),
        (b'<score-timewise><part id="P1"/></score-timewise>', "no measures"),
        (b'<score-timewise><measure number="1"/></score-timewise>', "no measures"),
        (b"<opus/>", "expected <score-partwise> or <score-timewise>"),
    ],
)
def test_what_is_no_score_is_refused_in_words(data: bytes, said: str):
    with pytest.raises(DeskproofError, match=re.escape(said)):
        document.from_bytes(data, "nothing")


def test_repeats_of_a_timewise_file_are_played():
    path = next(file.path for file in package_files() if file.path.name == "maple_leaf_rag.mxl")
    partwise, other = document.read(path).score, document.from_bytes(turned(path)).score
    assert playing_order(other) == playing_order(partwise)
    assert len(playing_order(other).measures) > len(other.parts[0].measures)
