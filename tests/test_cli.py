"""The command line: what it answers, with which exit status, and what it writes and does not write."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from corpus import SHARED, shared
from deskproof import __version__, document
from deskproof.cli import main
from deskproof.demo import SCORE as DEMO

LEVELS = ("impossible", "hard", "notation", "advice")


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def score(*bars: str, name: str = "Flute") -> bytes:
    """A part of one bar after the other; the octave of C is the bar: ``"5"``; ``"F5#"`` needs a sharp."""
    rows = []
    for i, bar in enumerate(bars):
        head = "<attributes><divisions>1</divisions></attributes>" if i == 0 else ""
        step, octave, sharp = (bar[0], bar[1], True) if bar.endswith("#") else ("C", bar, False)
        alter = "<alter>1</alter>" if sharp else ""
        rows.append(
            f'<measure number="{i + 1}">{head}<note><pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>'
            f"<duration>4</duration><type>whole</type></note></measure>"
        )
    return (
        f'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}</part-name></score-part>'
        f'</part-list><part id="P1">{"".join(rows)}</part></score-partwise>'
    ).encode()


@pytest.fixture
def tide(tmp_path: Path) -> Path:
    """Bar 2 is below every flute, bar 5 too, bar 8 lacks a sharp (a sharp is printed elsewhere)."""
    path = tmp_path / "tide.musicxml"
    data = score("5", "2", "5", "5", "2", "5", "5", "F5#", "5")
    last = b'<measure number="9">'
    sharp = (
        b"<note><pitch><step>G</step><alter>1</alter><octave>5</octave></pitch><duration>4</duration>"
        b"<accidental>sharp</accidental></note>"
    )
    path.write_bytes(data.replace(last, last + sharp))
    return path


@pytest.fixture
def clean(tmp_path: Path) -> Path:
    path = tmp_path / "clean.musicxml"
    path.write_bytes(score("5", "5"))
    return path


# ---------------------------------------------------------------- check


def test_exit_status_tells_nothing_found_found_and_unreadable(tide: Path, clean: Path, tmp_path: Path):
    assert run("check", clean).exit_code == 0
    assert run("check", tide).exit_code == 1
    assert run("check", tmp_path / "gone.xml").exit_code == 2
    assert run("check").exit_code == 2


def test_exit_at_counts_that_level_and_the_graver(tmp_path: Path):
    hard, notation = tmp_path / "hard.musicxml", tmp_path / "notation.musicxml"
    hard.write_bytes(score("1", name="Double Bass"))  # C1 written sounds lower than any E string
    notation.write_bytes(
        score("5", "F5#").replace(
            b"</measure></part>",
            b"<note><pitch><step>G</step><alter>1</alter><octave>5</octave></pitch><duration>4</duration>"
            b"<accidental>sharp</accidental></note></measure></part>",
        )
    )
    for path in (hard, notation):
        answer = json.loads(run("check", "--json", path).stdout)
        found = {f["level"] for f in answer["findings"]}
        assert found
        gravest = min(LEVELS.index(level) for level in found)
        for i, level in enumerate(LEVELS):
            assert run("check", "--exit-at", level, path).exit_code == (1 if i >= gravest else 0), (path, level)
    assert run("check", "--exit-at", "never", hard).exit_code == 2


def test_text_names_file_part_bar_and_beat(tide: Path):
    rows = run("check", tide).stdout.splitlines()
    assert rows[0].startswith(f"{tide}: 9 bars, ")
    heads = [row for row in rows if row.startswith(f"{tide}: Flute, bar ")]
    assert [row.split(": ")[1:3] for row in heads] == [
        ["Flute, bar 2, beat 1", "impossible"],
        ["Flute, bar 5, beat 1", "impossible"],
        ["Flute, bar 8, beat 1", "notation"],
    ]
    assert rows[-1].startswith("3 findings: 2 impossible, 1 notation. 1 can be mended without changing the sound.")


def test_quiet_is_one_line(tide: Path, clean: Path):
    assert run("check", "--quiet", tide).stdout.startswith(f"{tide}: 3 findings: 2 impossible, 1 notation.")
    assert run("check", "--quiet", tide).stdout.count("\n") == 1
    assert run("check", "--quiet", clean).stdout == f"{clean}: Nothing found.\n"


def test_json_of_one_file_and_of_several(tide: Path, clean: Path):
    one = json.loads(run("check", "--json", tide).stdout)
    assert [f["bar"] for f in one["findings"]] == ["2", "5", "8"]
    assert "notes" not in one
    lines = run("check", "--json", tide, clean).stdout.splitlines()
    assert [json.loads(line)["score"]["file"] for line in lines] == [str(tide), str(clean)]
    noted = json.loads(run("check", "--json", "--notes", tide).stdout)
    assert len(noted["notes"]) == 10
    assert noted["findings"] == one["findings"]


def test_bars_and_part_narrow_and_ids_stay(tide: Path):
    whole = json.loads(run("check", "--json", tide).stdout)["findings"]
    assert len({f["id"] for f in whole}) == 3
    for option, bars in (("5", ["5"]), ("3-8", ["5", "8"]), ("6-7", []), ("1-1", [])):
        found = json.loads(run("check", "--json", "--bars", option, tide).stdout)["findings"]
        assert [f["bar"] for f in found] == bars
        assert found == [f for f in whole if f["bar"] in bars]  # the same findings, under the same ids
    for name in ("flute", "P1", "p1"):
        assert json.loads(run("check", "--json", "--part", name, tide).stdout)["findings"] == whole
    for bad in ("x", "3-", "3-x", "-"):
        result = run("check", "--bars", bad, tide)
        assert result.exit_code == 2
        assert "12-40" in result.stderr


def test_findings_of_equal_music_keep_their_ids_under_bars(tmp_path: Path):
    path = tmp_path / "twice.musicxml"
    path.write_bytes(score("5", "2", "5", "5", "5", "5", "5", "2", "5"))
    whole = json.loads(run("check", "--json", path).stdout)["findings"]
    assert [f["bar"] for f in whole] == ["2", "8"]
    (late,) = json.loads(run("check", "--json", "--bars", "8", path).stdout)["findings"]
    assert late["id"] == whole[1]["id"]
    # ... so that a mend named from one list is not taken at the other place.
    early = whole[0]["mends"][0]["id"]
    result = run("mend", "--bars", "8", "--take", early, "--dry-run", path)
    assert "bar 2" in result.output or result.exit_code == 2


def test_bars_find_what_begins_before_and_reaches_into_them():
    whole = json.loads(run("check", "--json", DEMO).stdout)["findings"]
    (bass,) = [f for f in whole if f["bar"] == "19" and f["rule"] == "tutti-needs-extension"]
    assert {ref.split("/")[1] for ref in bass["notes"]} == {"m18", "m19", "m20"}  # bars 19, 20 and 21
    for bars in ("19", "20", "21", "20-30"):
        assert bass in json.loads(run("check", "--json", "--bars", bars, DEMO).stdout)["findings"]
    assert bass not in json.loads(run("check", "--json", "--bars", "22-30", DEMO).stdout)["findings"]


def test_an_unknown_part_names_the_parts(tide: Path):
    result = run("check", "--part", "Flite", tide)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"deskproof: {tide}: no part 'Flite'")
    assert "Flute" in result.stderr
    assert result.stdout == ""


def test_parts_of_a_large_score():
    result = run("check", "--part", "Harp", "--part", "Celesta", "--json", DEMO)
    answer = json.loads(result.stdout)
    names = {p["id"]: p["name"] for p in answer["score"]["parts"]}
    assert len(names) > 10
    assert answer["findings"]
    whole = json.loads(run("check", "--json", DEMO).stdout)["findings"]
    assert answer["findings"] == [f for f in whole if names[f["part"]] in ("Harp", "Celesta")]


def test_a_folder_is_searched(tide: Path, clean: Path, tmp_path: Path):
    below = tmp_path / "a" / "b"
    below.mkdir(parents=True)
    (below / "deep.XML").write_bytes(clean.read_bytes())
    (below / "notes.txt").write_text("no score")
    result = run("check", "--quiet", tmp_path)
    assert result.exit_code == 1
    named = [row.partition(": ")[0] for row in result.stdout.splitlines()]
    assert named == sorted([str(below / "deep.XML"), str(clean), str(tide)])
    empty = tmp_path / "empty"
    empty.mkdir()
    result = run("check", empty)
    assert result.exit_code == 2
    assert "a folder without scores" in result.stderr


def test_an_unreadable_file_does_not_stop_the_others(tide: Path, clean: Path, tmp_path: Path):
    broken = tmp_path / "broken.musicxml"
    broken.write_bytes(tide.read_bytes()[:200])
    result = run("check", "--quiet", broken, tide, tmp_path / "gone.mxl", clean)
    assert result.exit_code == 2
    assert [row.partition(": ")[0] for row in result.stdout.splitlines()] == [str(tide), str(clean)]
    problems = result.stderr.splitlines()
    assert problems[0].startswith(f"deskproof: {broken}: not well-formed XML (line ")
    assert problems[1].startswith(f"deskproof: {tmp_path / 'gone.mxl'}: no such file.")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "empty"),
        (b"PK\x03\x04rubbish", "damaged .mxl"),
        (b"<html/>", "outermost element is <html>"),
        (b"<score-timewise/>", "no measures"),
        (b"<score-partwise/>", "no measures"),
        (b"\x00\x01\x02", "not well-formed"),
    ],
)
def test_what_cannot_be_read_says_why(tmp_path: Path, data: bytes, message: str):
    path = tmp_path / "odd.musicxml"
    path.write_bytes(data)
    for command in ("check", "mend"):
        result = run(command, path)
        assert result.exit_code == 2
        assert message in result.stderr
        assert str(path) in result.stderr
        assert "Traceback" not in result.output
    assert list(tmp_path.iterdir()) == [path]


def test_sarif_goes_alone(tide: Path):
    for other in ("--json", "--notes"):
        assert run("check", "--sarif", other, tide).exit_code == 2


def test_forces_that_cannot_be_read(tide: Path, tmp_path: Path):
    forces = tmp_path / "forces.toml"
    forces.write_text("[player.harp]\n")
    result = run("check", "--forces", forces, tide)
    assert result.exit_code == 2
    assert "forces.toml" in result.stderr
    assert run("check", "--forces", tmp_path / "gone.toml", tide).exit_code == 2


def test_forces_change_what_is_found(tmp_path: Path):
    path, forces = tmp_path / "bass.musicxml", tmp_path / "forces.toml"
    path.write_bytes(score("1", name="Double Bass"))
    forces.write_text('[instruments."double bass"]\nextension = "C1"\n')
    assert json.loads(run("check", "--json", path).stdout)["findings"]
    assert json.loads(run("check", "--json", "--forces", forces, path).stdout)["findings"] == []


# ---------------------------------------------------------------- mend


def test_mend_writes_beside_the_score(tide: Path):
    before = tide.read_bytes()
    result = run("mend", tide)
    assert result.exit_code == 0, result.output
    target = tide.with_name("tide-mended.musicxml")
    assert f"Wrote {target}." in result.stdout
    assert "3 findings before, 2 after." in result.stdout
    assert tide.read_bytes() == before
    sharp = b"<step>F</step><alter>1</alter><octave>5</octave></pitch><duration>4</duration><type>whole</type>"
    assert before.count(sharp) == 1
    assert target.read_bytes() == before.replace(sharp, sharp + b"<accidental>sharp</accidental>")
    assert sorted(p.name for p in tide.parent.iterdir()) == ["tide-mended.musicxml", "tide.musicxml"]


def test_an_existing_output_needs_force_and_the_original_is_never_written(tide: Path):
    before = tide.read_bytes()
    target = tide.with_name("out.musicxml")
    target.write_text("mine")
    result = run("mend", tide, "-o", target)
    assert result.exit_code == 2
    assert "add --force" in result.stderr
    assert target.read_text() == "mine"
    assert run("mend", tide, "-o", target, "--force").exit_code == 0
    assert b"<accidental>" in target.read_bytes()
    link = tide.with_name("link.musicxml")
    link.symlink_to(tide)
    for same in (tide, tide.parent / "." / tide.name, link):
        for force in ((), ("--force",)):
            result = run("mend", tide, "-o", same, *force)
            assert result.exit_code == 2
            assert "original is never overwritten" in result.stderr
            assert tide.read_bytes() == before
    assert run("mend", link, "-o", tide, "--force").exit_code == 2
    assert tide.read_bytes() == before


def test_mend_refuses_a_folder_and_a_missing_folder(tide: Path):
    for target in (tide.parent, tide.parent / "gone" / "out.musicxml"):
        result = run("mend", tide, "-o", target, "--force")
        assert result.exit_code == 2
        assert str(target.parent) in result.stderr
    assert [p.name for p in tide.parent.iterdir()] == ["tide.musicxml"]


def test_dry_run_writes_nothing(tide: Path):
    result = run("mend", "--dry-run", tide)
    assert result.exit_code == 0
    assert "Flute, bar 8, beat 1: print the accidental" in result.stdout
    assert result.stdout.endswith("Nothing was written.\n")
    assert [p.name for p in tide.parent.iterdir()] == ["tide.musicxml"]


def test_take_takes_what_is_named_and_nothing_else(tide: Path):
    findings = json.loads(run("check", "--json", tide).stdout)["findings"]
    chosen = findings[1]["mends"][0]
    assert chosen["effect"] == "changes-sound"
    assert run("mend", tide, "--take", chosen["id"]).exit_code == 0
    target = tide.with_name("tide-mended.musicxml")
    old, new = document.read(tide).score, document.read(target).score
    changed = [
        m.index
        for m, n in zip(old.parts[0].measures, new.parts[0].measures, strict=True)
        if m.notes != n.notes
    ]
    assert changed == [4]
    assert run("mend", tide, "--take", chosen["id"], "--all-keeping-sound", "--force").exit_code == 0
    assert "1 after" not in run("check", target).stdout
    assert [f["bar"] for f in json.loads(run("check", "--json", target).stdout)["findings"]] == ["2"]


def test_take_of_an_unknown_mend_names_those_offered(tide: Path):
    result = run("mend", tide, "--take", "nothing-1")
    assert result.exit_code == 2
    findings = json.loads(run("check", "--json", tide).stdout)["findings"]
    for finding in findings:
        for mend in finding["mends"]:
            assert mend["id"] in result.stderr
    assert [p.name for p in tide.parent.iterdir()] == ["tide.musicxml"]


def test_nothing_to_mend_is_the_same_file(clean: Path):
    result = run("mend", clean)
    assert result.exit_code == 0
    assert clean.with_name("clean-mended.musicxml").read_bytes() == clean.read_bytes()


def test_compressed_in_and_out(tide: Path):
    packed, plain = tide.with_name("tide.mxl"), tide.with_name("again.musicxml")
    assert run("mend", tide, "-o", packed).exit_code == 0
    mended = document.read(packed)
    assert mended.container.entry
    assert mended.written() == run_plain(tide)
    # Bars 2 and 5 stay as they are unless asked for; nothing is left that keeps the sound.
    assert run("mend", packed).exit_code == 0
    assert tide.with_name("tide-mended.mxl").read_bytes() == packed.read_bytes()
    assert run("mend", packed, "-o", plain).exit_code == 0
    assert plain.read_bytes() == mended.written()


def run_plain(tide: Path) -> bytes:
    target = tide.with_name("plain.musicxml")
    assert run("mend", tide, "-o", target).exit_code == 0
    return target.read_bytes()


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared scores are not here")
def test_a_real_archive_is_mended(tmp_path: Path):
    source = shared("schubert-quartettsatz-d703.mxl")
    target = tmp_path / "out.mxl"
    result = run("mend", source, "-o", target)
    assert result.exit_code == 0
    assert run("check", target).exit_code in (0, 1)
    assert len(document.read(target).score.parts) == len(document.read(source).score.parts)


# ---------------------------------------------------------------- why, facts, demo


def test_why_explains_every_rule_and_names_the_nearest():
    result = run("why", "tutti-outside-compass")
    assert result.exit_code == 0
    assert result.stdout.startswith("tutti-outside-compass (impossible")
    result = run("why", "tutti-outside-compas")
    assert result.exit_code == 2
    assert "Did you mean tutti-outside-compass" in result.stderr


def test_facts_give_figures_and_name_the_nearest():
    result = run("facts", "Flute")
    assert result.exit_code == 0
    assert "lowest: C4" in result.stdout
    assert run("facts", "fltue").exit_code == 2
    assert "flute" in run("facts", "fltue").stderr


def test_demo_checks_mends_and_writes(tmp_path: Path):
    target = tmp_path / "mended.musicxml"
    original = DEMO.read_bytes()
    result = run("demo", "-o", target)
    assert result.exit_code == 0
    assert "ferry.musicxml: " in result.stdout
    assert f"Wrote {target}." in result.stdout
    assert DEMO.read_bytes() == original
    assert target.read_bytes() != original
    for name in ("lamps.plan.toml", "lamps-full.musicxml", "lamps-short.musicxml"):
        assert f"Wrote {tmp_path / name}" in result.stdout and (tmp_path / name).stat().st_size > 1000
    assert "Checked: nothing found." in result.stdout
    assert run("demo", "-o", target).exit_code == 2
    assert run("demo", "-o", target, "--force").exit_code == 0
    assert run("demo", "-o", DEMO, "--force").exit_code == 2


def test_version_and_help():
    assert run("--version").stdout == f"deskproof, version {__version__}\n"
    shown = run("-h").stdout
    for command in ("check", "mend", "why", "facts", "demo", "plan", "orchestrate", "short-score"):
        assert command in shown
        assert run(command, "--help").exit_code == 0
    assert run("chekc").exit_code == 2


# ---------------------------------------------------------------- as a program of its own


def program(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "deskproof.cli", *words], capture_output=True, text=True, timeout=120, check=False
    )


def test_help_answers_without_the_heavy_libraries():
    assert program("--help").returncode == 0
    code = (
        "import sys\n"
        "from deskproof.cli import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit as end:\n    assert end.code == 0\n"
        "print(sorted({'lxml', 'numpy', 'zipfile', 'music21'} & {name.partition('.')[0] for name in sys.modules}))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.splitlines()[-1] in ("[]", "['zipfile']")  # click itself may load zipfile


def test_checking_loads_no_numpy(tide: Path):
    code = (
        "import sys\n"
        "from deskproof.cli import main\n"
        f"try:\n    main(['check', '--quiet', {str(tide)!r}])\n"
        "except SystemExit:\n    pass\n"
        "print('numpy' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.splitlines()[-1] == "False"


def test_the_program_exits_as_told(tide: Path, clean: Path, tmp_path: Path):
    assert program("check", str(clean)).returncode == 0
    found = program("check", "--json", str(tide), str(clean))
    assert found.returncode == 1
    assert [json.loads(line)["score"]["bars"] for line in found.stdout.splitlines()] == [9, 2]
    gone = program("check", str(tmp_path / "gone.xml"))
    assert (gone.returncode, gone.stdout) == (2, "")
    assert gone.stderr.startswith("deskproof: ")
    assert found.stderr == ""  # no progress where there is no terminal
