"""``plan``, ``orchestrate`` and ``short-score``: exit status, files, and what each bad input is told."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from deskproof.cli import main
from deskproof.sketch.orchestrating import Orchestrated
from oracles import full_score_checker as checker
from schema import complaints
from scoring import small_sketches as small

TUNE = ["!p C5:1( D5:1 E5:1 F5:1)", "G5:2 E5:2", "F5:1 E5:1 D5:1 C5:1", "C5:4"]
BASS = ["C3:2 G3:2", "C3:2 E3:2", "F3:2 G3:2", "C3:4"]
FORCES = """[players]
"flute 1" = { plays = ["flute"] }
"bassoon 1" = { plays = ["bassoon"] }
[sections]
"violin 1" = { desks = 3 }
cello = { desks = 2 }
"""
BAD = 2


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def refused(*words: object) -> str:
    """The message of a command that refuses."""
    result = run(*words)
    assert result.exit_code == BAD, result.output
    return result.stderr


class Desk:
    """A folder with a sketch, forces, and a plan once :meth:`planned`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sketch = self.put("tide.musicxml", small.xml(TUNE * 2, BASS * 2))
        self.forces = self.put("room.toml", FORCES.encode())
        self.plan = folder / "tide.plan.toml"
        self.full = folder / "full.musicxml"

    def put(self, name: str, data: bytes) -> Path:
        path = self.folder / name
        path.write_bytes(data)
        return path

    def planned(self, *more: object) -> Result:
        return run("plan", self.sketch, "-o", self.plan, "--seconds", 2, *more)

    def orchestrated(self, *more: object) -> Result:
        return run("orchestrate", self.sketch, self.plan, "-o", self.full, *more)

    def edit(self, old: str, new: str) -> None:
        text = self.plan.read_text("utf-8")
        assert old in text
        self.plan.write_text(text.replace(old, new, 1), "utf-8")


@pytest.fixture(scope="module")
def first_plan(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The text of the plan of an untouched desk; planned once."""
    desk = Desk(tmp_path_factory.mktemp("first"))
    result = desk.planned("--forces", desk.forces)
    assert result.exit_code == 0, result.output
    return desk.plan.read_text("utf-8")


@pytest.fixture
def desk(tmp_path: Path, first_plan: str) -> Desk:
    """A desk with its plan."""
    found = Desk(tmp_path)
    found.plan.write_text(first_plan, "utf-8")
    return found


# ---------------------------------------------------------------- plan


def test_a_plan_is_shown_kept_and_given_as_json(tmp_path: Path):
    desk = Desk(tmp_path)
    shown = run("plan", desk.sketch, "--forces", desk.forces, "--seconds", 2)
    assert shown.exit_code == 0
    assert "bars 1–4" in shown.output and "tune:" in shown.output
    assert not desk.plan.exists()
    quiet = run("plan", desk.sketch, "--forces", desk.forces, "--seconds", 2, "--quiet")
    assert len(quiet.output.splitlines()) == 1
    said = json.loads(desk.planned("--forces", desk.forces, "--json").output)
    assert set(said) >= {"status", "gap", "scale", "passages"}
    assert said["scale"] == "rimsky"
    assert [row["bars"] for row in said["passages"]] == ["1-4", "5-8"]
    refs = {one.ref for one in checker.chains_of(desk.sketch.read_bytes())}
    for passage in said["passages"]:
        assert len(passage["digest"].split()) == 4
        for line in passage["lines"]:
            assert line["id"] == f"{passage['bars']}/{line['strand']}"
            assert set(line["sketch_notes"]) <= refs and line["sketch_notes"]
            assert line["by"] == "planner"
            assert all(set(who) >= {"instrument", "octave"} for who in line["who"])
    named = {ref for passage in said["passages"] for line in passage["lines"] for ref in line["sketch_notes"]}
    assert named == refs
    assert desk.plan.is_file()


def test_the_sheet_is_written_and_harms_nothing(desk: Desk):
    sheet = desk.folder / "sheet.html"
    assert desk.planned("--sheet", sheet).exit_code == 0
    assert sheet.read_text("utf-8").lstrip().startswith("<!")
    before = desk.plan.read_bytes()
    for place in (desk.plan, desk.sketch):
        assert "name another file" in refused("plan", desk.sketch, "-o", desk.plan, "--sheet", place)
    assert desk.plan.read_bytes() == before


def test_a_plan_is_gone_on_from(desk: Desk, first_plan: str):
    """Comments stay, what was not touched stays byte for byte, the touched passage goes by what is asked."""
    head, one, two = re.split(r"(?=^\[\[passage\]\]$)", first_plan, flags=re.MULTILINE)
    two = two.replace('who = ["violin 1"]', 'who = ["flute 1"]  # cooler\nfixed = true', 1)
    text = f"# For Ada\n{head}# the beginning\n{one}{two}"
    desk.plan.write_text(text, "utf-8")
    result = desk.planned()
    assert result.exit_code == 0
    assert "1 of 2 passages left as they were" in result.output
    after = desk.plan.read_text("utf-8")
    assert one in after
    for comment in ("# For Ada\n", "# the beginning\n", "# cooler\n"):
        assert comment in after
    line = after[after.index("# cooler") - 60 :]
    assert 'who = ["flute 1"]' in line and 'by = "composer"' in line
    assert desk.planned().exit_code == 0
    assert desk.plan.read_text("utf-8") == after  # nothing was touched since


def test_a_plan_that_nobody_touched_stays_byte_for_byte(desk: Desk, first_plan: str):
    result = desk.planned("--forces", desk.forces)
    assert "2 of 2 passages left as they were" in result.output
    assert desk.plan.read_text("utf-8") == first_plan


def test_forces_that_do_not_agree_with_the_plan_are_named(desk: Desk, first_plan: str):
    other = desk.put("other.toml", FORCES.replace('"flute 1"', '"oboe 1"').replace('"flute"', '"oboe"').encode())
    said = refused("plan", desk.sketch, "-o", desk.plan, "--forces", other)
    assert str(other) in said and "flute 1, oboe 1" in said and "another file" in said
    assert desk.plan.read_text("utf-8") == first_plan


# ---------------------------------------------------------------- orchestrate


def test_the_full_score_is_valid_clean_and_all_there(desk: Desk):
    result = desk.orchestrated("--json", "--midi", desk.folder / "full.mid")
    assert result.exit_code == 0
    data = desk.full.read_bytes()
    assert complaints(data) == []
    said = json.loads(result.output)
    assert set(said) == {"notes", "left_out"}
    assert all(set(row) >= {"ref", "sketch_ref", "line", "rule"} for row in said["notes"])
    sketch, full = checker.chains_of(desk.sketch.read_bytes()), checker.chains_of(data)
    assert checker.complaints(sketch, full, said) == []
    midi = checker.chains_of_midi(desk.folder / "full.mid")
    assert sorted((one.midi, one.onset) for one in midi) == sorted((one.midi, one.onset) for one in full)
    assert run("check", desk.full).exit_code == 0


def test_a_packed_score_is_the_same_score(desk: Desk):
    assert desk.orchestrated().exit_code == 0
    packed = desk.folder / "full.mxl"
    assert run("orchestrate", desk.sketch, desk.plan, "-o", packed).exit_code == 0
    assert checker.bytes_of(packed) == desk.full.read_bytes()


def test_what_the_plan_wrote_is_replaced_and_what_was_edited_is_not(desk: Desk):
    midi = desk.folder / "full.mid"
    assert desk.orchestrated("--midi", midi).exit_code == 0
    assert desk.orchestrated("--midi", midi).exit_code == 0  # its own files
    data = desk.full.read_bytes()
    edited = data.replace(b"<octave>5</octave>", b"<octave>6</octave>", 1)
    edited = re.sub(rb'(<measure number="7">.*?)<step>D</step>', rb"\1<step>E</step>", edited, count=1, flags=re.DOTALL)
    desk.full.write_bytes(edited)
    plan = desk.plan.read_bytes()
    said = refused("orchestrate", desk.sketch, desk.plan, "-o", desk.full)
    assert "bars 1, 7 were edited" in said and "--force" in said
    assert (desk.full.read_bytes(), desk.plan.read_bytes()) == (edited, plan)
    assert desk.orchestrated("--force").exit_code == 0
    assert desk.full.read_bytes() == data


def test_another_file_is_not_written_over_without_force(desk: Desk):
    desk.full.write_text("mine", "utf-8")
    assert "exists already" in refused("orchestrate", desk.sketch, desk.plan, "-o", desk.full)
    assert desk.full.read_text("utf-8") == "mine"
    midi = desk.put("mine.mid", b"mine")
    other = desk.folder / "other.musicxml"
    assert "exists already" in refused("orchestrate", desk.sketch, desk.plan, "-o", other, "--midi", midi)
    assert not other.exists()
    assert desk.orchestrated("--force", "--midi", midi).exit_code == 0


def test_nothing_is_written_into_what_is_read(desk: Desk):
    before = (desk.sketch.read_bytes(), desk.plan.read_bytes(), desk.forces.read_bytes())
    words = ("orchestrate", desk.sketch, desk.plan, "--force", "-o")
    for place in (desk.sketch, desk.plan):
        assert "name another file" in refused(*words, place)
        assert "name another file" in refused(*words, desk.full, "--midi", place)
    assert "name another file" in refused(*words, desk.full, "--midi", desk.full)
    assert "name another file" in refused("plan", desk.sketch, "-o", desk.sketch)
    assert "name another file" in refused("plan", desk.sketch, "--forces", desk.forces, "-o", desk.forces)
    assert (desk.sketch.read_bytes(), desk.plan.read_bytes(), desk.forces.read_bytes()) == before
    assert not desk.full.exists()


def test_it_exits_with_one_where_something_is_impossible(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    """The score is written all the same."""
    monkeypatch.setattr(Orchestrated, "impossible", 1)
    result = desk.orchestrated()
    assert result.exit_code == 1
    assert desk.full.is_file() and "Wrote" in result.output


# ---------------------------------------------------------------- bad input


def test_a_sketch_with_no_notes(tmp_path: Path):
    desk = Desk(tmp_path)
    empty = desk.put("empty.musicxml", small.xml(["r:4", "r:4"]))
    assert f"{empty}: a sketch with no notes; expected" in refused("plan", empty)


def test_forces_with_no_bass(tmp_path: Path):
    desk = Desk(tmp_path)
    room = desk.put("flutes.toml", b'[players]\n"flute 1" = { plays = ["flute"] }\n"flute 2" = { plays = ["flute"] }\n')
    deep = desk.put("deep.musicxml", small.xml(TUNE, ["C2:2 G2:2", "C2:4", "F2:2 G2:2", "C2:4"]))
    said = refused("plan", deep, "--forces", room)
    assert "forces with no bass" in said and "C2" in said and "flute 1, flute 2" in said and "add one" in said


def test_an_unknown_instrument_is_named_with_its_line(tmp_path: Path):
    desk = Desk(tmp_path)
    room = desk.put("odd.toml", FORCES.replace('["bassoon"]', '["basoon"]').encode())
    said = refused("plan", desk.sketch, "--forces", room)
    assert f"{room}, line 3" in said and "'basoon'" in said and "did you mean" in said


def test_a_full_score_is_no_sketch(desk: Desk):
    staves = {f"P{k}": "C5:4" for k in range(5)}
    parts = "".join(
        f'<part id="{name}"><measure number="1"><note><pitch><step>C</step><octave>5</octave></pitch>'
        "<duration>4</duration></note></measure></part>" for name in staves
    )  # fmt: skip
    head = "".join(f'<score-part id="{name}"><part-name>{name}</part-name></score-part>' for name in staves)
    full = desk.put(
        "five.musicxml", f'<score-partwise version="4.0"><part-list>{head}</part-list>{parts}</score-partwise>'.encode()
    )
    said = refused("plan", full)
    assert "5 staves" in said and "one to 4" in said and "deskproof short-score" in said


def test_a_plan_for_other_bars(desk: Desk):
    short = desk.put("short.musicxml", small.xml(["A5:4", "G5:4"], ["A2:4", "B2:4"]))
    said = refused("orchestrate", short, desk.plan, "-o", desk.full)
    assert f"{desk.plan}, line 20: bars 1-4 are not in the sketch, which has bars 1-2" in said
    desk.edit('bars = "5-8"', 'bars = "5-99"')
    said = refused("orchestrate", desk.sketch, desk.plan, "-o", desk.full)
    assert re.search(rf"{re.escape(str(desk.plan))}, line \d+: bars 5-99 are not in the sketch.*bars 1-8", said)
    assert not desk.full.exists()


def test_a_sketch_that_was_changed_since_is_planned_again_first(desk: Desk):
    desk.sketch.write_bytes(small.xml([*TUNE, "C6:4", *TUNE[1:]], BASS * 2))
    said = refused("orchestrate", desk.sketch, desk.plan, "-o", desk.full)
    assert "bars 5-8" in said and "bars 1-4" not in said and "deskproof plan" in said
    assert "1 of 2 passages left as they were" in desk.planned().output
    assert desk.orchestrated().exit_code == 0


def test_an_unknown_player_or_strand_in_the_plan_is_named_with_its_line(desk: Desk, first_plan: str):
    desk.edit('who = ["violin 1"]', 'who = ["theremin"]')
    line = first_plan.splitlines().index('who = ["violin 1"]') + 1
    for words in (("plan", desk.sketch, "-o", desk.plan), ("orchestrate", desk.sketch, desk.plan, "-o", desk.full)):
        said = refused(*words)
        assert f"{desk.plan}, line {line}: nobody here is called 'theremin'" in said
    desk.plan.write_text(first_plan.replace('strand = "tune"', 'strand = "tuen"', 1), "utf-8")
    for words in (("plan", desk.sketch, "-o", desk.plan), ("orchestrate", desk.sketch, desk.plan, "-o", desk.full)):
        said = refused(*words)
        assert f"{desk.plan}, line 28: bars 1-4 have no strand 'tuen'; did you mean 'tune'?" in said
        assert len(said.strip().splitlines()) == 1


def test_one_player_with_two_fixed_lines(desk: Desk):
    desk.edit('who = ["violin 1"]\nat = ["unis"]', 'who = ["bassoon 1"]\nat = ["8vb"]\nfixed = true')
    desk.edit('who = ["cello"]', 'who = ["bassoon 1"]\nfixed = true')
    before = desk.plan.read_bytes()
    said = refused("plan", desk.sketch, "-o", desk.plan, "--seconds", 2)
    assert f"{desk.plan}: bars 1-4: " in said and "bassoon 1" in said and "line 28" in said and "line 37" in said
    assert desk.plan.read_bytes() == before


def test_a_line_left_to_the_planner_is_planned_first(desk: Desk):
    desk.edit('who = ["violin 1"]\nat = ["unis"]', 'who = "planner"')
    said = refused("orchestrate", desk.sketch, desk.plan, "-o", desk.full)
    assert "line" in said and "tune" in said and "planner" in said and "deskproof plan" in said


@pytest.mark.parametrize(
    ("data", "expected"),
    [(b"bars = \n", "line 1: not TOML"), (b"\xff\xfe", "cannot be read"), (FORCES.encode(), "no table is called"),
     (b"<score-partwise/>", "not TOML")],
)  # fmt: skip
def test_what_is_no_plan(tmp_path: Path, data: bytes, expected: str):
    desk = Desk(tmp_path)
    desk.plan.write_bytes(data)
    for words in (("plan", desk.sketch, "-o", desk.plan), ("orchestrate", desk.sketch, desk.plan, "-o", desk.full)):
        said = refused(*words)
        assert str(desk.plan) in said and expected in said
    assert desk.plan.read_bytes() == data


def test_files_that_are_not_there(tmp_path: Path):
    desk = Desk(tmp_path)
    gone = tmp_path / "gone"
    assert "no such file" in refused("plan", gone)
    assert "gone" in refused("plan", desk.sketch, "--forces", gone)
    said = refused("orchestrate", desk.sketch, gone, "-o", desk.full)
    assert "no such plan" in said and "deskproof plan" in said
    assert "no such folder" in refused("plan", desk.sketch, "-o", gone / "a.plan.toml")
    assert "a folder" in refused("plan", desk.sketch, "-o", tmp_path)
    assert "no such file" in refused("short-score", gone, "-o", desk.full)


# ---------------------------------------------------------------- short-score


def test_a_short_score_of_the_full_score_has_the_sketchs_notes(desk: Desk):
    assert desk.orchestrated().exit_code == 0
    short = desk.folder / "short.musicxml"
    result = run("short-score", desk.full, "-o", short, "--staves", 2)
    assert result.exit_code == 0
    assert "2 staves" in result.output
    assert complaints(short.read_bytes()) == []
    there = {(one.onset, one.midi) for one in checker.chains_of(desk.sketch.read_bytes())}
    assert {(one.onset, one.midi) for one in checker.chains_of(short.read_bytes())} == there
    assert "exists already" in refused("short-score", desk.full, "-o", short)
    assert run("short-score", desk.full, "-o", short, "--for-piano", "--fingering", "--force").exit_code == 0
    assert short.read_bytes().count(b"<fingering") > len(there) // 2
    assert "--for-piano" in refused("short-score", desk.full, "-o", desk.folder / "b.musicxml", "--fingering")
    assert "name another file" in refused("short-score", desk.full, "-o", desk.full, "--force")


def test_a_short_score_can_be_planned_again(desk: Desk):
    assert desk.orchestrated().exit_code == 0
    short = desk.folder / "short.musicxml"
    assert run("short-score", desk.full, "-o", short).exit_code == 0
    again = desk.folder / "again.plan.toml"
    assert run("plan", short, "--forces", desk.forces, "-o", again, "--seconds", 2).exit_code == 0
