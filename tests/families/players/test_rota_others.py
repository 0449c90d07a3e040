"""Who else could take a stretch: against a look at the whole duty with it, and by hand."""

import random

import pytest

from deskproof.families.players.others import takers
from deskproof.families.players.record import Duty, Objective, Player, Rota, Stretch
from deskproof.families.players.rota import rota
from oracles import rota_brute

INSTRUMENTS = ("alto flute", "flute", "piccolo")


class Room:
    """Four players, some of whom do not play everything, with stretches dealt out at random: many of them clash."""

    def __init__(self, number):
        dice = random.Random(f"others {number}")
        self.quick = {(a, b): dice.randint(0, 6) for a in INSTRUMENTS for b in INSTRUMENTS if a != b}
        self.players = [Player(f"player {n}", tuple(i for i in INSTRUMENTS if dice.random() < 0.75)) for n in range(4)]
        stretches, now = [], 0
        for n in range(14):
            now += dice.choice((0, 0, 1, 3, 6))
            stretches.append(Stretch(str(n), dice.choice(INSTRUMENTS), now, now + dice.choice((1, 2, 4, 9))))
        stretches.sort(key=lambda one: (one.from_us, one.to_us))
        dealt = [dice.randrange(4) for _ in stretches]
        self.duties = {
            player.name: tuple(one for one, p in zip(stretches, dealt, strict=True) if p == n)
            for n, player in enumerate(self.players)
        }
        duties = tuple(Duty(name, own, ()) for name, own in self.duties.items() if own)
        self.rota = Rota(duties, (), Objective(), 0, False, False)

    def stretches(self):
        return [one for duty in self.rota.duties for one in duty.stretches]

    def need(self, a, b):
        return self.quick[a, b], self.quick[a, b] + 3

    def with_it(self, player, stretch):
        """What stands beside the stretch in a duty that has it too: free time, and what is needed."""
        own = sorted([*self.duties.get(player, ()), stretch], key=lambda one: (one.from_us, one.to_us, one is stretch))
        meets = [(a, b) for a, b in rota_brute.meetings([tuple(one) for one in own]) if tuple(stretch) in (a, b)]
        return [(b[2] - a[3], 0 if a[1] == b[1] else self.quick[a[1], b[1]]) for a, b in meets]


@pytest.fixture(scope="module")
def rooms():
    return [Room(number) for number in range(150)]


def test_whoever_has_no_clash_with_it_in_the_whole_duty_can_take_it(rooms):
    could = could_not = 0
    for room in rooms:
        for stretch in room.stretches():
            wanted = {}
            for player in room.players:
                if stretch.instrument not in player.plays or stretch in room.duties.get(player.name, ()):
                    continue
                beside = room.with_it(player.name, stretch)
                if all(free >= quickest for free, quickest in beside):
                    wanted[player.name] = min((free - quickest for free, quickest in beside), default=None)
                    could += 1
                else:
                    could_not += 1
            found = takers(room.rota, room.players, stretch, room.need)
            assert {one.player: one.spare_us for one in found} == wanted
    assert could > 200 and could_not > 200


def test_most_time_to_spare_comes_first(rooms):
    lengths = []
    for room in rooms:
        for stretch in room.stretches():
            found = [one.spare_us for one in takers(room.rota, room.players, stretch, room.need)]
            idle = found.count(None)
            assert found[:idle] == [None] * idle
            assert found[idle:] == sorted(found[idle:], reverse=True)
            lengths.append(len(found))
    assert max(lengths) >= 3


# -- by hand -----------------------------------------------------------------------------------------------------------


def need(a, b):
    return {("piano", "celesta"): (5, 9), ("celesta", "piano"): (3, 9)}[a, b]


def played(*stretches, by):
    """A rota in which each stretch stays with its player."""
    names = [Player(name, ("piano", "celesta", "organ"), (name,)) for name in by]
    return rota(stretches, lambda a, b: (0, 0), players=names)


def test_the_times_before_and_after_are_those_of_the_one_who_would_take_it():
    late = Stretch("Clara", "celesta", 16, 20)
    found = played(Stretch("Robert", "piano", 0, 10), late, Stretch("Robert", "piano", 24, 30), by=["Clara", "Robert"])
    keyboard = ("piano", "celesta")
    assert takers(found, [Player("Clara", keyboard), Player("Robert", keyboard)], late, need) == [
        ("Robert", 6, 4, 1)
    ]  # fmt: skip


@pytest.mark.parametrize(("start", "end", "can"), [(15, 21, True), (14, 21, False), (15, 22, False)])
def test_the_quickest_change_just_fits_or_just_does_not(start, end, can):
    late = Stretch("Clara", "celesta", start, end)
    found = played(Stretch("Robert", "piano", 0, 10), late, Stretch("Robert", "piano", 24, 30), by=["Clara", "Robert"])
    assert bool(takers(found, [Player("Robert", ("piano", "celesta"))], late, need)) is can


def test_one_and_the_same_instrument_needs_no_time():
    late = Stretch("Clara", "piano", 10, 24)
    found = played(Stretch("Robert", "piano", 0, 10), late, Stretch("Robert", "piano", 24, 30), by=["Clara", "Robert"])
    assert takers(found, [Player("Robert", ("piano",))], late, need) == [("Robert", 0, 0, 0)]
    assert takers(found, [Player("Robert", ("celesta",))], late, need) == []


def test_a_long_note_from_before_is_in_the_way_though_another_came_since():
    late = Stretch("Clara", "piano", 30, 40)
    found = played(Stretch("Robert", "piano", 0, 100), Stretch("Robert", "piano", 5, 6), late, by=["Clara", "Robert"])
    assert takers(found, [Player("Robert", ("piano",))], late, need) == []


def test_who_has_nothing_else_comes_before_all_others():
    late = Stretch("Clara", "piano", 30, 40)
    found = played(Stretch("Robert", "piano", 0, 10), late, by=["Clara", "Robert"])
    players = [Player(name, ("piano",)) for name in ("Clara", "Robert", "Johannes")]
    assert takers(found, players, late, need) == [("Johannes", None, None, None), ("Robert", 20, None, 20)]


def test_what_nobody_plays_nobody_can_take():
    late = Stretch("Clara", "ocarina", 30, 40)
    found = rota([late], need, players=[Player("Clara", ("piano",))])
    assert isinstance(found, Rota) and found.clashes
    assert takers(found, [Player("Clara", ("piano",)), Player("Robert", ("piano",))], late, need) == []


def test_whoever_has_it_is_not_among_the_others_though_it_takes_no_time():
    stroke = Stretch("Clara", "piano", 30, 30)
    found = played(stroke, by=["Clara", "Robert"])
    assert [
        one.player for one in takers(found, [Player("Clara", ("piano",)), Player("Robert", ("piano",))], stroke, need)
    ] == ["Robert"]
