"""Movements in order: what the players do between them, and that attacca is judged as one piece would be."""

from __future__ import annotations

import json
import random
import tomllib
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

import seeds
from deskproof.check import Report, check
from deskproof.cli import main
from deskproof.document import from_bytes
from deskproof.forces import parse
from deskproof.movements import in_order

SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "check.schema.json").read_text(encoding="utf-8"))
FOUR_DRUMS = parse('[players.timpanist]\nplays = ["timpani"]\ndrums = [32, 29, 26, 23]\n')
RESTS = ("", "", "R/16 ", "R/8 ", "R/4 ", "R/2 ")
LENGTH = {"": 0, "R/16 ": 1, "R/8 ": 2, "R/4 ": 4, "R/2 ": 8}
FILL = {15: "R/2 R/4 R/8 R/16", 14: "R/2 R/4 R/8", 12: "R/2 R/4", 8: "R/2", 4: "R/4", 11: "R/2 R/8 R/16", 10: "R/2 R/8",
        7: "R/4 R/8 R/16", 6: "R/4 R/8", 3: "R/8 R/16", 2: "R/8", 1: "R/16", 0: ""}  # fmt: skip


def checked(instrument: str, text: str, marks: list[tuple[int, str]], **more: object) -> Report:
    case = {"instrument": instrument, "tempo": 120, "notes": text, "marks": marks, **more}
    return check(from_bytes(seeds.score(case)).score, FOUR_DRUMS)


def harp_chord(draw: random.Random) -> str:
    names = [f"{letter}{draw.choice(('b', '', '#'))}4" for letter in "CDEFGAB"]
    return "+".join(sorted(draw.sample(names, 6), key=seeds.midi)) + "/4"


def drum_pair(draw: random.Random) -> str:
    low, high = draw.choice(("F2", "F#2", "G2", "Ab2", "A2")), draw.choice(("Bb2", "B2", "C3"))
    return f"{low}+{high}/4"


def first_bar(draw: random.Random, chord: str) -> str:
    rest = draw.choice(("", "", "R/4 "))
    return f"{FILL[12 - LENGTH[rest]]} {chord} {rest}".strip()


def second_bar(draw: random.Random, chord: str) -> str:
    rest = draw.choice(RESTS)
    return f"{rest}{chord} {FILL[12 - LENGTH[rest]]}".strip()


def lost(report: Report, family: str) -> int:
    (plan,) = [plan for (name, _), plan in report.state.plans.items() if name == family]
    pedals = plan.pedals if family == "harp" else plan.drums
    return len(pedals.unplanned)


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize(("instrument", "draw_chord"), [("harp", harp_chord), ("timpani", drum_pair)])
def test_two_movements_attacca_lose_what_one_piece_of_both_would_lose(instrument: str, draw_chord, seed: int):
    draw = random.Random(f"{instrument} {seed}")
    one = first_bar(draw, draw_chord(draw))
    two = second_bar(draw, draw_chord(draw))
    more = {"clef": "F4"} if instrument == "timpani" else {"tempo": 240}
    reports = [checked(instrument, one, [(0, "words attacca")], **more), checked(instrument, two, [], **more)]
    whole = checked(instrument, f"{one} | {two}", [], **more)
    after, _ = in_order(reports)[1]
    told = [one for one in after.findings if one.rule.id == f"{instrument}-attacca" and one.level == "impossible"]
    apart = sum(lost(report, instrument) for report in reports)
    assert bool(told) == (lost(whole, instrument) > apart)


@pytest.mark.parametrize(("instrument", "draw_chord"), [("harp", harp_chord), ("timpani", drum_pair)])
def test_some_of_these_pairs_go_and_some_do_not(instrument: str, draw_chord):
    draws = [random.Random(f"{instrument} {seed}") for seed in range(60)]
    pairs = [(first_bar(d, draw_chord(d)), second_bar(d, draw_chord(d))) for d in draws]
    more = {"clef": "F4"} if instrument == "timpani" else {"tempo": 240}
    lacks = sum(lost(checked(instrument, f"{a} | {b}", [], **more), instrument) > 0 for a, b in pairs)
    assert 3 <= lacks <= 57


@pytest.fixture
def movements(tmp_path: Path) -> list[str]:
    first = {
        "instrument": "flute", "part": "Flute 2", "tempo": 60, "notes": "C5/1 | D5/1", "marks": [(1, "words attacca")],
        "beside": [{"instrument": "harp", "notes": "R/1 | Ab3+Bb3+Db4+Eb4/1"}],
    }  # fmt: skip
    second = {
        "instrument": "piccolo", "part": "Flute 2", "tempo": 60, "notes": "R/2 C5/2 | D5/1",
        "beside": [{"instrument": "harp", "notes": "R/1 | A3+B3+D4+E4/1"}],
    }  # fmt: skip
    names = []
    for name, case in (("one", first), ("two", second)):
        path = tmp_path / f"{name}.musicxml"
        path.write_bytes(seeds.score(case))
        names.append(str(path))
    return names


def test_the_terminal_says_what_players_do_between(movements: list[str]):
    done = CliRunner().invoke(main, ["check", "--movements", *movements])
    said = done.output.split("two.musicxml:", 1)[1]
    assert "there is no pause (attacca)" in said
    assert "from the flute to the piccolo" in said
    assert "D♭ C♮ B♭ | E♭ F♮ G♮ A♭ to D♮ C♮ B♮ | E♮ F♮ G♮ A♮" in said
    assert "players-attacca" not in said and "2.0 s later" in said
    alone = CliRunner().invoke(main, ["check", *movements])
    assert "Before it" not in alone.output and "2.0 s later" not in alone.output


def test_the_json_says_it_too(movements: list[str]):
    done = CliRunner().invoke(main, ["check", "--movements", "--json", *movements])
    one, two = (json.loads(line) for line in done.output.splitlines())
    for row in (one, two):
        jsonschema.validate(row, SCHEMA)
    assert "before" not in one and two["before"]["attacca"] is True
    assert {row["part"] for row in two["before"]["changes"]} == {"P1", "P2"}
    assert "players-attacca" in [finding["rule"] for finding in two["findings"]]


def test_one_score_is_no_row_of_movements(movements: list[str]):
    done = CliRunner().invoke(main, ["check", "--movements", movements[0]])
    assert done.exit_code == 2 and "several scores" in done.output


def test_a_movement_that_cannot_be_read_parts_the_others(movements: list[str], tmp_path: Path):
    broken = tmp_path / "broken.musicxml"
    broken.write_text("<score-partwise>", encoding="utf-8")
    done = CliRunner().invoke(main, ["check", "--movements", movements[0], str(broken), movements[1]])
    assert done.exit_code == 2 and "broken.musicxml" in done.output
    assert "Before it" not in done.output and "two.musicxml" in done.output


def test_forces_are_drafted_for_all_movements(movements: list[str], tmp_path: Path):
    target = tmp_path / "forces.toml"
    done = CliRunner().invoke(main, ["forces", *movements, "-o", str(target)])
    assert done.exit_code == 0, done.output
    players = tomllib.loads(target.read_text(encoding="utf-8"))["players"]
    assert players == {"flute 2": {"plays": ["flute", "piccolo"]}, "harp": {"plays": ["harp"]}}
