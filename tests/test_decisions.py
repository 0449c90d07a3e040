"""A finding is known again in another export, and what was let stand stays so until it gets worse."""

import copy
from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree

from deskproof import decisions, document
from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.edits import Respell, apply, complete
from deskproof.musicxml.reader import parser, read_tree
from deskproof.score import NoteRef


def tree():
    return etree.fromstring(SCORE.read_bytes(), parser())


def ids(root):
    return [finding.id for finding in check(read_tree(root)).findings]


BEFORE = ids(tree())


def test_the_demo_has_findings_with_ids_of_their_own():
    assert len(BEFORE) >= 5
    assert len(set(BEFORE)) == len(BEFORE)


def test_bars_inserted_before():
    root = tree()
    for part in root.iterfind("part"):
        first = part.find("measure")
        length = first.find("attributes/divisions").text
        note = f"<note><rest/><duration>{int(length) * 4}</duration><voice>1</voice></note>"
        for k in range(3):
            rest = etree.fromstring(f'<measure number="X{k}">{note}</measure>')
            if k == 0:
                rest.insert(0, copy.deepcopy(first.find("attributes")))
            first.addprevious(rest)
    assert ids(root) == BEFORE


def test_parts_reordered():
    root = tree()
    parts = root.findall("part")
    for part in parts:
        root.remove(part)
    # the two flutes keep their order: which of two equals is the first can only be told by it
    for part in sorted(parts, key=lambda p: -parts.index(p) if p not in parts[:2] else parts.index(p) - 100):
        root.append(part)
    assert sorted(ids(root)) == sorted(BEFORE)


def test_parts_with_other_ids():
    data = SCORE.read_bytes().replace(b'id="P', b'id="Q')
    assert ids(etree.fromstring(data, parser())) == BEFORE


def test_another_tempo():
    """Slower, and still too fast for all that was too fast: at 83 a drum could be retuned in a hurry."""
    data = SCORE.read_bytes().replace(b"<per-minute>90<", b"<per-minute>85<").replace(b'tempo="90"', b'tempo="85"')
    assert data != SCORE.read_bytes()
    assert ids(etree.fromstring(data, parser())) == BEFORE


def test_a_neighbour_respelled():
    score = document.read(SCORE).score
    report = check(score)
    respelled = 0
    for finding in report.findings:
        part = score.parts[finding.place.part]
        events = report.state.timeline.parts[finding.place.part]
        places = [(e.measure, e.note.n) for e in events]
        at = places.index((finding.notes[0].measure, finding.notes[0].n))
        neighbour = next((e for e in reversed(events[:at]) if e.note.pitch and e.note.pitch.step == "D"), None)
        if neighbour is None or NoteRef(part.id, neighbour.measure, neighbour.note.n) in finding.notes:
            continue
        pitch = neighbour.note.pitch
        edit = Respell(NoteRef(part.id, neighbour.measure, neighbour.note.n), "C", int(pitch.alter) + 2, pitch.octave)
        after = check(apply(score, complete(score, report.state.timeline.layouts, [edit])))
        assert finding.id in {one.id for one in after.findings}
        respelled += 1
    assert respelled >= 3


OSTINATO = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>
</part-list><part id="P1">{measures}</part></score-partwise>"""
BAR = """<measure number="{n}">{attributes}<note><pitch><step>G</step><octave>{octave}</octave></pitch>
<duration>2</duration></note><note><pitch><step>E</step><octave>5</octave></pitch><duration>2</duration></note></measure>"""
ATTRIBUTES = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"


def ostinato(bars, before=0):
    rows = []
    for n in range(bars + before):
        octave = 5 if n < before or (n - before) % 4 else 2
        rows.append(BAR.format(n=n + 1, octave=octave, attributes=ATTRIBUTES if n == 0 else ""))
    return etree.fromstring(OSTINATO.format(measures="".join(rows)), parser())


def test_an_ostinato_of_forty_bars():
    """Ten equal findings stay ten different ones, each found again four bars later."""
    first = ids(ostinato(40))
    assert len(first) == 10
    assert len(set(first)) == 10
    moved = ids(ostinato(40, before=4))
    assert len(set(first) & set(moved)) >= 9  # the first has another neighbour now


def test_let_stand_and_asked_again_when_worse(tmp_path):
    report = check(document.read(SCORE).score)
    finding = report.findings[0]
    path = decisions.beside(tmp_path / "ferry.musicxml")
    path.write_text("# mine\n", "utf-8")
    figures = decisions.figures(finding)
    assert figures
    decisions.add(path, decisions.Decision(finding.id, finding.rule.id, "Flute 1, bar 8", "she has a B foot", figures))
    decisions.add(path, decisions.Decision("zzzzzzzz", "", "", "another “reason” with\nlines", {}))
    known = decisions.read(path)
    assert path.read_text("utf-8").startswith("# mine")
    assert known["zzzzzzzz"].reason == "another “reason” with\nlines"
    kept, quiet = decisions.silenced(report.findings, known)
    assert quiet == [(finding.id, "she has a B foot")]
    assert len(kept) == len(report.findings) - 1
    name = next(iter(figures))
    worse = replace(finding, numbers={**finding.numbers, name: figures[name] * 1.11})
    assert decisions.silenced([worse], known) == ([worse], [])
    hardly = replace(finding, numbers={**finding.numbers, name: figures[name] * 1.09})
    assert decisions.silenced([hardly], known)[0] == []


def test_a_decision_taken_again_replaces_the_old_one(tmp_path):
    path = tmp_path / "a.deskproof.toml"
    for reason in ("one", "two"):
        decisions.add(path, decisions.Decision("abcdefgh", "r", "w", reason, {"count": 2}))
    assert [d.reason for d in decisions.read(path).values()] == ["two"]
    assert [p.name for p in tmp_path.iterdir()] == ["a.deskproof.toml"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("let_stand = 3", "no list"),
        ("[[let_stand]]\nreason = 'x'", "finding is ''"),
        ("[[let_stand]]\nfinding = 'x'\nnumbers = 3", "numbers are 3"),
        ("[[let_stand", "cannot be read"),
        ("let_stand = ['x']", "finding is None"),
    ],
)
def test_a_broken_file_is_refused_and_left_as_it_is(tmp_path, text, says):
    path = tmp_path / "a.deskproof.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(decisions.DecisionsError, match=says):
        decisions.add(path, decisions.Decision("abcdefgh", "r", "w", "why", {}))
    assert path.read_text("utf-8") == text


def test_the_command_line_honours_the_file(tmp_path):
    from click.testing import CliRunner

    from deskproof.cli import main

    score = tmp_path / "ferry.musicxml"
    score.write_bytes(SCORE.read_bytes())
    report = check(document.read(score).score)
    for finding in report.findings:
        if finding.level == "impossible":
            decisions.add(decisions.beside(score), decisions.Decision(finding.id, "", "", "known", {}))
    done = CliRunner().invoke(main, ["check", str(score)])
    assert done.exit_code == 0
    known = sum(finding.level == "impossible" for finding in report.findings)
    assert known >= 2 and f"{known} let stand by ferry.deskproof.toml" in done.output
    assert "impossible:" not in done.output


def test_since_an_older_export(tmp_path):
    from click.testing import CliRunner

    from deskproof.cli import main

    old, new = tmp_path / "old.musicxml", tmp_path / "new.musicxml"
    old.write_bytes(SCORE.read_bytes())
    runner = CliRunner()
    assert runner.invoke(main, ["mend", str(old), "-o", str(new)]).exit_code == 0
    there = len(check(document.read(old).score).findings) - 2
    done = runner.invoke(main, ["check", str(new), "--since", str(old)])
    assert there >= 5 and f"0 new, 2 gone, {there} still there" in done.output
    done = runner.invoke(main, ["check", str(old), "--since", str(new)])
    assert f"2 new, 0 gone, {there} still there" in done.output
    assert done.output.count("new since the older export") == 2
    assert Path(new).exists()
