"""The forces file: the format of the design, every problem named with its line and the nearest word."""

import pytest
from click.testing import CliRunner

from deskproof import document, forces, instruments
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE

GOOD = """
[players.keyboard]                  # one person
plays = ["piano", "celesta"]
hand_span_mm = 216
[players."flute 2"]
plays = ["flute", "piccolo"]
[players.harp]
plays = ["harp"]
pedal_s = { comfortable = 0.5, quickest = 0.25 }
without_pedal = { C1 = "natural", D1 = "flat" }
[instruments.celesta]
octaves = 5
[instruments."double bass"]
extension = "C1"
[sections]
"violin 1" = { desks = 6 }
[changes]
"piano > celesta" = [5, 10]
"""


def test_the_format_of_the_design():
    room = forces.parse(GOOD)
    keyboard, flute, harp = room.players
    assert keyboard.plays == ("piano", "celesta")
    assert keyboard.hand_span_mm == 216
    assert flute.plays == ("flute", "piccolo")
    assert (harp.pedal_comfortable_s, harp.pedal_quickest_s) == (0.5, 0.25)
    assert harp.without_pedal == {"C1": 0, "D1": -1}
    assert room.lowest(instruments.by_id("celesta")) == 48
    assert room.lowest(instruments.by_id("double-bass")) == 24
    assert room.highest(instruments.by_id("celesta")) is None
    assert room.sections == {"violin 1": 12}
    assert room.changes == {("piano", "celesta"): (5.0, 10.0)}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[playerz.harp]\nplays = ['harp']", r"line 1: the file has no key 'playerz'; did you mean 'players'"),
        ("[players.harp]\nplay = ['harp']", "did you mean 'plays'"),
        ("[players.harp]\nplays = ['harb']", "no instrument 'harb'; did you mean .*harp"),
        ("[players.harp]\nplays = []", "has no instruments"),
        ("[players.harp]\nplays = 'harp'", "has no instruments"),
        (
            "[players.p]\nplays = ['piano']\nhand_span_mm = -3",
            r"line 3: .*hand_span_mm is -3; expected a number above 0",
        ),
        ("[players.p]\nplays = ['piano']\nhand_span_mm = true", "expected a number above 0"),
        ("[players.h]\nplays = ['harp']\npedal_s = { quick = 1 }", "did you mean 'quickest'"),
        ("[players.h]\nplays = ['harp']\npedal_s = 3", "pedal_s is 3"),
        (
            "[players.h]\nplays = ['harp']\npedal_s = { comfortable = 0.2, quickest = 0.5 }",
            "longer than the comfortable",
        ),
        ("[players.h]\nplays = ['harp']\nwithout_pedal = { C1 = 'loud' }", "expected flat, natural or sharp"),
        ("[players.h]\nplays = ['harp']\nwithout_pedal = { 'C#1' = 'flat' }", "expected flat, natural or sharp"),
        ("[instruments.celesta]\noctave = 4", "did you mean 'octaves'"),
        ("[instruments.celesta]\noctaves = 'four'", "expected a number above 0"),
        ("[instruments.triangle]\noctaves = 4", "not counted in octaves"),
        ("[instruments.'double bass']\nextension = 'long'", "expected a sounding pitch"),
        ("[changes]\n'piano > celesta' = [10, 5]", "expected"),
        ("[changes]\n'piano' = [5, 10]", "expected"),
        ("[changes]\n'piano > celesta' = [-1, 10]", "expected"),
        ("[players]\nharp = 3", "expected a table"),
        ("players = 3", "expected a table"),
        ("[players.ann]\nplays = ['harp', 'harp']", "line 1: player 'ann' plays the harp twice; .* Name two players"),
        ("[instruments.celesta]\nhow_many = 1.5", "line 2: .*expected a whole number"),
        ("[instruments.celesta]\nhow_many = 0", "expected a number above 0"),
        ("[sections]\n'violin 1' = { desk = 6 }", "did you mean 'desks'"),
        ("[sections]\n'violin 1' = {}", "line 2: section 'violin 1' is empty"),
        ("players = [", "not TOML"),
    ],
)
def test_what_is_wrong_is_said(text, says):
    with pytest.raises(forces.ForcesError, match=says):
        forces.parse(text)


def test_all_problems_at_once():
    with pytest.raises(forces.ForcesError) as caught:
        forces.parse("[players.a]\nplays = ['harb']\n[instruments.celesta]\noctave = 4\n")
    assert len(str(caught.value).splitlines()) == 2


def test_a_missing_file(tmp_path):
    done = CliRunner().invoke(main, ["check", str(SCORE), "--forces", str(tmp_path / "none.toml")])
    assert done.exit_code == 2
    assert "none.toml: cannot be read" in done.stderr


def test_forces_change_what_is_found(tmp_path):
    """With a five-octave celesta in the room only the note below C3 is left; without one both are."""
    score = document.read(SCORE).score
    def of_compass(forces_: forces.Forces | None) -> list[str]:
        found = [f for f in check(score, forces_).findings if score.parts[f.place.part].name == "Celesta"]
        return [f.rule.id for f in found if f.rule.id.startswith("tutti")]

    usual = of_compass(None)
    five = forces.parse("[instruments.celesta]\noctaves = 5\n")
    there = of_compass(five)
    assert sorted(usual) == ["tutti-needs-extension", "tutti-outside-compass"]
    assert there == ["tutti-outside-compass"]
    bass = forces.parse("[instruments.'double bass']\nextension = 'C1'\n")
    assert not [f for f in check(score, bass).findings if score.parts[f.place.part].name == "Double Bass"]
    none = forces.parse("[instruments.'double bass']\nextension = 'none'\n")
    assert [f for f in check(score, none).findings if score.parts[f.place.part].name == "Double Bass"]


@pytest.mark.parametrize("command", ["check", "mend", "report"])
def test_a_section_that_the_score_has_not_is_refused_with_its_line(command, tmp_path):
    path = tmp_path / "hall.toml"
    path.write_text('[sections]\n"viola" = { desks = 4 }\n"violine 1" = { desks = 6 }\n', encoding="utf-8")
    done = CliRunner().invoke(main, [command, str(SCORE), "--forces", str(path)])
    assert done.exit_code == 2
    assert "hall.toml, line 3: the score has no part 'violine 1'; did you mean 'Violin 1'?" in done.stderr


def test_a_player_with_nothing_to_play_is_named(tmp_path):
    path = tmp_path / "hall.toml"
    path.write_text("[players.ann]\nplays = ['harp']\n[players.tom]\nplays = ['tuba']\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["check", str(SCORE), "--forces", str(path)])
    assert f"Nothing to play in this score: tom ({path}, line 3)." in done.output
