"""Drafted forces are valid, ask for nobody too many, and leave a file that is there as it is."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from corpus import corpus_files, shared_scores
from deskproof import drafting, forces
from deskproof.cli import main
from deskproof.demo import SCORE
from deskproof.document import read
from deskproof.state import state_of

FILES = [f.path for f in corpus_files()[::60]] + [p for p in shared_scores() if p.suffix == ".mxl"] + [SCORE]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_the_drafted_players_can_play_what_the_printed_ones_can(path: Path):
    state = state_of(read(path).score)
    text, added = drafting.draft([state], path.name)
    room = forces.parse(text)
    assert len(room.players) == added
    before = [one for (name, _), atoms in state.atoms.items() if name == "players" for one in atoms]
    after = state_of(state.score, room)
    now = [one for (name, _), atoms in after.atoms.items() if name == "players" for one in atoms]
    known = {one.notes for one in before}
    assert [one.says for one in now if one.notes not in known] == []


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_second_draft_adds_nobody_and_changes_no_byte(path: Path):
    state = state_of(read(path).score)
    text, _ = drafting.draft([state], path.name)
    assert drafting.draft([state], path.name, text) == (text, 0)


def test_the_demo_s_players_are_those_of_its_pages():
    room = forces.parse(drafting.draft([state_of(read(SCORE).score)], "the demo")[0])
    plays = {player.name: set(player.plays) for player in room.players}
    assert plays["flute 2"] == {"flute", "piccolo"}
    assert plays["keyboard"] == {"celesta", "piano"}
    assert {"timpani"} in plays.values() and {"harp"} in plays.values()
    assert sum("clarinet" in own for own in plays.values()) == 2


def test_comments_and_settings_survive(tmp_path: Path):
    path = tmp_path / "forces.toml"
    own = '# our hall\n[players."flute 1"]\nplays = ["flute"] # Anna\n\n[instruments.celesta]\noctaves = 5\n'
    path.write_text(own, encoding="utf-8")
    done = CliRunner().invoke(main, ["forces", str(SCORE), "-o", str(path)])
    assert done.exit_code == 0 and "the rest stays" in done.output
    text = path.read_text(encoding="utf-8")
    assert text.startswith(own.rstrip("\n").split("[instruments")[0].rstrip())
    assert "# Anna" in text and "octaves = 5" in text
    table = tomllib.loads(text)
    assert len(table["players"]) > 5 and table["players"]["flute 1"] == {"plays": ["flute"]}


BAD = ("[players.x]\nplays = ['flutte']\n", "[players.x\n", "[plyers.x]\nplays = ['flute']\n")


@pytest.mark.parametrize("bad", BAD)
def test_a_file_that_is_no_forces_file_stays_as_it_is(tmp_path: Path, bad: str):
    path = tmp_path / "forces.toml"
    path.write_text(bad, encoding="utf-8")
    done = CliRunner().invoke(main, ["forces", str(SCORE), "-o", str(path)])
    assert done.exit_code == 2
    assert path.read_text(encoding="utf-8") == bad


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[players.x]\nplays = []\n", "has no instruments"),
        ("[changes]\n'flute > piccolo' = [-1, 3]\n", "expected"),
        ("[players.x]\nplays = ['timpani']\ndrums = [17]\n", "no drum of 17 inches"),
        ("[players.x]\nplays = ['timpani']\ndrums = 4\n", "expected a list"),
        ("[players.x]\nplays = ['piano']\nright_angels = true\n", "did you mean 'right_angles'"),
        ("[players.x]\nplays = ['piano']\nright_angles = 1\n", "expected true or false"),
    ],
)
def test_bad_forces_are_told_with_their_line(text: str, says: str):
    with pytest.raises(forces.ForcesError, match=r"line [123]") as told:
        forces.parse(text)
    assert says in str(told.value)
