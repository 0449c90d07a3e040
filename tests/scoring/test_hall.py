"""Who is in the room: seats in score order, their chairs, and what a word of a plan means."""

from __future__ import annotations

from pathlib import Path

import pytest

from deskproof import pitch
from deskproof.errors import DeskproofError
from deskproof.scoring import hall as hall_
from deskproof.scoring.hall import HallError
from scoring import small_sketches as small

MUST_HAVE = {  # sounding compasses that any book on instruments has within a third
    "flute 1": ("C4", "C7"), "oboe 1": ("B3", "F6"), "bassoon 1": ("Bb1", "C5"), "violin 1": ("G3", "E7"),
    "viola": ("C3", "E6"), "cello": ("C2", "A5"), "tuba": ("D1", "F4"), "horn 1": ("B1", "F5"),
}  # fmt: skip


def test_the_standard_orchestra_in_score_order():
    hall = hall_.standard()
    assert hall.standard
    names = [seat.name for seat in hall.seats]
    order = [
        "flute 1", "flute 2", "oboe 1", "clarinet 1", "bassoon 2", "horn 1", "horn 4", "trumpet 1", "trombone 1",
        "tuba", "timpani", "harp", "keyboard", "violin 1", "violin 2", "viola", "cello", "double bass",
    ]  # fmt: skip
    places = [names.index(name) for name in order]
    assert places == sorted(places)
    assert len(set(names)) == len(names)
    assert [one.order for one in hall.chairs] == list(range(len(hall.chairs)))
    assert {one.seat for one in hall.chairs} == set(names)


def test_sections_have_players_and_players_have_one_chair_an_instrument():
    hall = small.room("flute 1: flute, piccolo", "keyboard: piano, celesta", sections={"violin 1": 6})
    assert [(one.name, one.seat, one.instrument) for one in hall.chairs] == [
        ("flute 1", "flute 1", "flute"), ("piccolo", "flute 1", "piccolo"), ("piano", "keyboard", "piano"),
        ("celesta", "keyboard", "celesta"), ("violin 1", "violin 1", "violin"),
    ]  # fmt: skip
    violins = hall.seat("violin 1")
    assert violins is not None
    assert (violins.section, violins.players) == (True, 12)
    assert hall.chairs[-1].section and not hall.chairs[0].section


def test_two_piccolos_are_told_apart():
    hall = small.room("flute 1: flute, piccolo", "flute 2: flute, piccolo", "piccolo 1: piccolo")
    names = [one.name for one in hall.chairs]
    assert names.count("piccolo") <= 1
    assert len(set(names)) == len(names) == 5
    assert "piccolo of flute 1" in names and "piccolo of flute 2" in names


@pytest.mark.parametrize("name", MUST_HAVE)
def test_compasses_are_sounding(name: str):
    low, high = MUST_HAVE[name]
    chair = hall_.standard().chair(name)
    assert chair is not None
    assert abs(chair.low - pitch.midi(low)) <= 3
    assert abs(chair.high - pitch.midi(high)) <= 5


def test_an_instrument_in_the_room_has_its_own_compass():
    text = '[players]\n"bassoon 1" = { plays = ["bassoon"] }\n[instruments.bassoon]\nlowest = "A1"\n'
    from deskproof import forces

    hall = hall_.hall_of(forces.parse(text), text)
    chair = hall.chair("bassoon 1")
    assert chair is not None
    assert chair.low == pitch.midi("A1")


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("Oboe 1", {"oboe 1"}), ("keyboard", {"piano", "celesta"}), ("strings", {"violin 1", "cello"}),
        ("woodwind", {"oboe 1", "oboe 2", "cor anglais"}), ("violin", {"violin 1"}), ("celesta", {"celesta"}),
        ("bagpipes", set()), ("tuba", set()),
    ],
)  # fmt: skip
def test_what_a_word_means(word: str, expected: set[str]):
    hall = small.room(
        "oboe 1", "oboe 2: oboe, cor anglais", "keyboard: piano, celesta", sections={"violin 1": 3, "cello": 2}
    )
    assert {one.name for one in hall.named(word)} == expected


def test_a_room_with_nobody_is_refused():
    with pytest.raises(HallError, match=r"room\.toml: names nobody who plays; write \[players"):
        small.room()


def test_forces_are_read_with_their_own_text(tmp_path: Path):
    path = tmp_path / "band.toml"
    path.write_text('# mine\n[players]\n"oboe 1" = { plays = ["oboe"] }\n', "utf-8")
    hall = hall_.read(path)
    assert hall.text.startswith("# mine")
    assert not hall.standard
    with pytest.raises(DeskproofError, match="gone"):
        hall_.read(tmp_path / "gone.toml")
