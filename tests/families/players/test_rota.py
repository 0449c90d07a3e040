"""Who plays what: against every way of giving stretches to players, and by hand."""

import os
import random
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from deskproof.families.players.entries import stretch_by_stretch
from deskproof.families.players.least import at_least
from deskproof.families.players.lines import Work, whole_lines
from deskproof.families.players.record import Player, RotaError, Stretch, stretches_of
from deskproof.families.players.rota import ranked, rota
from deskproof.families.players.terms import CLASH, Terms, unpacked
from oracles import rota_brute

INSTRUMENTS = ("alto flute", "bass flute", "flute", "piccolo")
SCHEDULES = 500


class Schedule:
    """Six to ten entries, three or four instruments, unequal change times."""

    def __init__(self, number):
        dice = random.Random(f"rota {number}")
        self.instruments = INSTRUMENTS[: dice.choice((3, 3, 4))]
        count = dice.randint(6, 10)
        self.named = number % 2 == 1
        names = [f"Flute {n + 1}" for n in range(dice.randint(2, 4))]
        times = dict.fromkeys(names, 0)
        self.stretches = []
        for n in range(count):
            line = names[n % len(names)] if n < len(names) else dice.choice(names)
            start = times[line] + dice.choice((0, 1, 2, 4, 7, 12, 20))
            if dice.random() < 0.08:
                start = max(0, start - 9)
            end = start + dice.randint(1, 8)
            times[line] = max(times[line], end)
            favourite = self.instruments[names.index(line) % len(self.instruments)]
            instrument = favourite if dice.random() < 0.55 else dice.choice(self.instruments)
            self.stretches.append(Stretch(line, instrument, start, end))
        dice.shuffle(self.stretches)
        # some with the plain rule that no change is quicker by way of another instrument
        low, high = dice.choice(((1, 8), (3, 6)))
        self.quick = {(a, b): dice.randint(low, high) for a in self.instruments for b in self.instruments if a != b}
        self.wish = {pair: time + dice.randint(0, 6) for pair, time in self.quick.items()}
        self.doublings = None
        if not self.named and dice.random() < 0.4:
            self.doublings = {
                a: frozenset(b for b in self.instruments if dice.random() < 0.4) for a in self.instruments
            }
        self.players = None
        if self.named:
            many = dice.randint(2, 3 if count < 9 else 2)
            plays = [tuple(i for i in self.instruments if dice.random() < 0.85) for _ in range(many)]
            plays[0] = tuple(self.instruments)
            if dice.random() < 0.3:
                plays[-1] = plays[0]
            owned = dice.random() < 0.6
            self.players = [
                Player(f"player {n}", its, (names[n],) if owned and n < len(names) else ())
                for n, its in enumerate(plays)
            ]

    def need(self, a, b):
        return self.quick[a, b], self.wish[a, b]

    def asked(self):
        return {"players": self.players, "doublings": self.doublings}

    def best(self):
        players = None if self.players is None else [(frozenset(p.plays), frozenset(p.lines)) for p in self.players]
        return rota_brute.best([tuple(s) for s in self.stretches], self.quick, self.wish, players, self.doublings)


@pytest.fixture(scope="module")
def schedules():
    """The schedules, with the prices of all plans and the fewest players, found by trying everything."""
    made = [Schedule(number) for number in range(SCHEDULES)]
    return [(one, *one.best()) for one in made]


def test_the_schedules_are_what_they_should_be(schedules):
    best = [dict(zip(rota_brute.COUNTED, prices[0], strict=True)) for _, prices, _ in schedules]
    assert len(best) == SCHEDULES
    assert sum(price["changes"] > 0 for price in best) >= SCHEDULES // 2
    assert all(6 <= len(one.stretches) <= 10 and len(one.instruments) >= 3 for one, *_ in schedules)
    assert all(len(set(one.quick.values())) > 1 for one, *_ in schedules)
    for size in range(6, 11):
        assert sum(len(one.stretches) == size for one, *_ in schedules) > 20
    for wanted in ("clashes", "split", "away", "hurried"):
        assert sum(price[wanted] > 0 for price in best) >= 20, wanted
        assert sum(price[wanted] == 0 for price in best) >= 20, wanted


def test_the_plan_costs_what_the_best_of_all_plans_costs(schedules):
    for n, (one, prices, _) in enumerate(schedules):
        found = rota(one.stretches, one.need, **one.asked())
        assert tuple(found.objective) == prices[0], n
        assert found.proven and found.finished, n


def test_stretch_by_stretch_finds_by_itself_what_whole_lines_find(schedules):
    for n, (one, prices, _) in enumerate(schedules):
        terms = Terms(one.stretches, one.need, one.players, one.doublings)
        found = stretch_by_stretch(terms, 1, Work(10_000_000))
        assert found.finished and tuple(unpacked(found.plans[0][0])) == prices[0], n
        assert terms.price(found.plans[0][1]) == found.plans[0][0], n


@pytest.mark.parametrize("number", range(60))
def test_many_entries_of_few_lines_divided_among_two(number):
    """What was had and held earlier counts to the end, however much lies between."""
    dice = random.Random(f"few {number}")
    stretches = []
    for n in range(12):
        start = 6 * n + dice.randint(0, 3)
        stretches.append(Stretch(dice.choice("ab"), dice.choice(INSTRUMENTS[1:]), start, start + dice.randint(3, 7)))
    quick = {(a, b): dice.randint(1, 4) for a in INSTRUMENTS[1:] for b in INSTRUMENTS[1:] if a != b}
    wish = {pair: time + dice.randint(0, 30) for pair, time in quick.items()}
    players = [Player(name, INSTRUMENTS) for name in ("Anna", "Bert")]
    found = ranked(stretches, lambda a, b: (quick[a, b], wish[a, b]), players=players)
    their = [(frozenset(p.plays), frozenset(p.lines)) for p in players]
    prices, _ = rota_brute.best([tuple(x) for x in stretches], quick, wish, their)
    assert [tuple(r.objective) for r in found] == prices[:3]


@pytest.mark.parametrize("number", range(150))
def test_a_divided_line_is_handed_on_as_seldom_as_can_be(number):
    """One instrument and two players: nothing is to be chosen but who goes on with which line."""
    dice = random.Random(f"handed {number}")
    stretches, now = [], 0
    while len(stretches) < 11:
        for line in dice.sample("abc", dice.choice((1, 2, 2))):
            start = now + dice.choice((0, 0, 1))
            stretches.append(Stretch(line, "flute", start, start + dice.choice((3, 4, 5, 8))))
        now += dice.choice((4, 5, 6))
    players = [Player("Anna", ("flute",)), Player("Bert", ("flute",))]
    found = ranked(stretches, lambda a, b: (0, 0), players=players)
    their = [(frozenset(p.plays), frozenset(p.lines)) for p in players]
    prices, _ = rota_brute.best([tuple(x) for x in stretches], {}, {}, their)
    alone = stretch_by_stretch(Terms(stretches, lambda a, b: (0, 0), players, None), 1, Work(10_000_000))
    assert tuple(unpacked(alone.plans[0][0])) == prices[0]
    assert [tuple(r.objective) for r in found] == prices[:3]


@pytest.mark.parametrize("work", [1, 60, 300, 1500])
def test_with_little_work_no_more_is_claimed_than_is_so(schedules, work):
    claims = []
    for n, (one, prices, _) in enumerate(schedules):
        for found in ranked(one.stretches, one.need, **one.asked(), work=work)[:1]:
            price = tuple(found.objective)
            assert price >= prices[0], n
            assert not found.proven or price[:5] == prices[0][:5], n
            assert not found.finished or price == prices[0], n
            claims.append((found.proven, found.finished))
    assert len(set(claims)) > 1


@pytest.mark.parametrize("patience", [0, 3])
def test_where_the_search_has_no_patience_lines_are_joined_and_nothing_is_claimed(schedules, patience, monkeypatch):
    monkeypatch.setattr("deskproof.families.players.lines.PATIENCE", patience)
    joined = 0
    for n, (one, prices, _) in enumerate(schedules):
        if one.named:
            continue
        terms = Terms(one.stretches, one.need, None, one.doublings)
        if any(terms.duty(row) >= CLASH for row in terms.lines) or not all(
            terms.may_all(0, sum(1 << i for i in {terms.instrument[i] for i in row})) for row in terms.lines
        ):
            continue
        found = whole_lines(terms, terms.lines, 1, 1, Work(150_000))
        ((price, plan),) = found.plans
        assert terms.price(plan) == price and tuple(unpacked(price)) >= prices[0], n
        assert not unpacked(price).clashes and not unpacked(price).split, n
        assert not found.finished or tuple(unpacked(price)) == prices[0], n
        joined += len(set(plan)) < len(terms.lines)
    assert joined > 20


def test_alternatives_are_the_next_best_plans(schedules):
    for n, (one, prices, _) in enumerate(schedules):
        found = ranked(one.stretches, one.need, **one.asked())
        assert [tuple(r.objective) for r in found] == prices[:3], n
        who = [frozenset(frozenset(enumerate(d.stretches)) for d in r.duties) for r in found]
        named = [tuple((d.player, d.stretches) for d in r.duties) for r in found]
        assert len(set(who)) == len(found) or len(set(named)) == len(found), n


def test_every_rota_says_what_it_costs(schedules):
    for n, (one, *_) in enumerate(schedules):
        found = rota(one.stretches, one.need, **one.asked())
        given = sorted(s for d in found.duties for s in d.stretches)
        assert given == sorted(one.stretches), n
        assert len(found.clashes) == found.objective.clashes
        assert sum(c.short_us for c in found.clashes) == found.objective.short_us
        changes = [c for d in found.duties for c in d.changes]
        assert len(changes) == found.objective.changes
        assert all(c.free_us == c.after.from_us - c.before.to_us for c in changes)
        assert all((c.need_us, c.wish_us) == one.need(c.before.instrument, c.after.instrument) for c in changes)
        assert sum(max(0, c.wish_us - c.free_us) for c in changes) == found.objective.hurried_us
        assert len(found.duties) == found.objective.players
        for duty in found.duties:
            assert list(duty.stretches) == sorted(duty.stretches, key=lambda s: (s.from_us, s.to_us)), n


def test_the_lower_bound_holds_and_is_exact_where_all_may_play_all(schedules):
    exact = 0
    for n, (one, _, fewest) in enumerate(schedules):
        found = rota(one.stretches, one.need, **one.asked())
        if fewest:
            assert found.at_least <= fewest, n
        if one.players is None and one.doublings is None:
            assert found.at_least == fewest, n
            exact += 1
    assert exact > 100


def long_piece(number, lines, entries):
    dice = random.Random(f"long {number}")
    made = []
    for line in range(lines):
        now = 0
        for _ in range(entries):
            now += dice.choice((3, 10, 40))
            end = now + dice.randint(1, 30)
            made.append(Stretch(f"{line:02}", dice.choice(INSTRUMENTS), now, end))
            now = end
    return made


@pytest.mark.parametrize("number", range(5))
def test_windows_of_a_long_piece_give_the_bound_of_the_whole(number, monkeypatch):
    stretches = long_piece(number, 8, 40)
    times = {(a, b): 4 + (len(a) + 2 * len(b)) % 4 for a in INSTRUMENTS for b in INSTRUMENTS}
    terms = Terms(stretches, lambda a, b: (times[a, b], 10), None, None)
    assert terms.metric
    by_windows = at_least(terms)
    monkeypatch.setattr("deskproof.families.players.least.WHOLE", len(stretches))
    assert by_windows == at_least(terms)


# -- by hand -----------------------------------------------------------------------------------------------------------

FIVE_TEN = (5_000_000, 10_000_000)


def need(a, b):
    return FIVE_TEN


def s(line, instrument, start, end):
    """A stretch in whole seconds."""
    return Stretch(line, instrument, start * 1_000_000, end * 1_000_000)


def who(found):
    return {stretch: duty.player for duty in found.duties for stretch in duty.stretches}


def test_the_pianist_takes_the_celesta():
    found = rota([s("Piano", "piano", 0, 10), s("Celesta", "celesta", 16, 20), s("Piano", "piano", 31, 40)], need)
    assert [d.player for d in found.duties] == ["1"]
    assert found.at_least == 1 and found.proven and found.finished
    assert [(c.free_us, c.need_us, c.wish_us) for c in found.duties[0].changes] == [
        (6_000_000, *FIVE_TEN),
        (11_000_000, *FIVE_TEN),
    ]
    assert (found.objective.hurried, found.objective.hurried_us) == (1, 4_000_000)


def test_a_gap_just_long_enough_is_no_clash_and_one_microsecond_less_is():
    player = [Player("Clara", ("piano", "celesta"))]
    part = [Stretch("Piano", "piano", 0, 10), Stretch("Celesta", "celesta", 15, 20)]
    assert not rota(part, lambda a, b: (5, 5), players=player).clashes
    clash = rota(part, lambda a, b: (6, 6), players=player).clashes
    assert [(c.players, c.stretches, c.short_us) for c in clash] == [(("Clara",), tuple(part), 1)]


def test_at_once_on_one_instrument_clashes_by_the_time_they_sound_together():
    part = [Stretch("1", "flute", 0, 10), Stretch("2", "flute", 7, 20)]
    assert rota(part, need).players == 2
    found = rota(part, need, players=[Player("Anna", ("flute",))])
    assert [c.short_us for c in found.clashes] == [3] and found.proven
    touching = [part[0], part[1]._replace(from_us=10)]
    assert rota(touching, need).players == 1


def test_a_long_note_is_held_against_all_that_comes_meanwhile():
    part = [Stretch("1", "flute", 0, 100), Stretch("2", "flute", 10, 20), Stretch("2", "flute", 30, 40)]
    found = rota(part, need, players=[Player("Anna", ("flute",))])
    assert [c.short_us for c in found.clashes] == [90, 70]
    assert all(c.stretches[0] == part[0] for c in found.clashes)


def test_a_change_may_be_quicker_by_way_of_a_third_instrument():
    times = {("flute", "piccolo"): 10, ("flute", "alto flute"): 1, ("alto flute", "piccolo"): 1}
    part = [Stretch("1", "flute", 0, 2), Stretch("2", "alto flute", 3, 5), Stretch("3", "piccolo", 6, 8)]
    found = rota(part, lambda a, b: (times.get((a, b), 20),) * 2)
    assert (found.players, found.at_least, found.clashes) == (1, 1, ())
    assert rota(part[::2], lambda a, b: (times.get((a, b), 20),) * 2).players == 2


def test_one_player_who_cannot():
    part = [s("Flute 1", "flute", 0, 10), s("Flute 2", "flute", 0, 10), s("Flute 2", "piccolo", 12, 20)]
    able = Player("Bert", ("flute", "piccolo"), ("Flute 2",))
    found = rota(part, need, players=[Player("Anna", ("flute",), ("Flute 1",)), able])
    assert [(c.players, c.short_us) for c in found.clashes] == [(("Bert",), 3_000_000)]
    assert found.at_least == 3
    better = rota(part, need, players=[Player("Anna", ("flute",), ("Flute 1",)), able, Player("Cleo", ("piccolo",))])
    assert not better.clashes and better.divided == ("Flute 2",)
    assert who(better)[part[2]] == "Cleo"


def test_an_instrument_that_nobody_plays_stands_among_the_clashes():
    part = [s("Flute 1", "flute", 0, 10), s("Flute 1", "ocarina", 20, 24)]
    found = rota(part, need, players=[Player("Anna", ("flute",))])
    assert [(c.players, c.stretches, c.short_us) for c in found.clashes] == [((), (part[1],), 4_000_000)]
    assert (found.objective.clashes, found.objective.short_us) == (1, 4_000_000)
    nothing = rota(part, need, players=[])
    assert nothing.players == 0 and len(nothing.clashes) == 2


def test_a_line_is_divided_only_when_it_must_be():
    # one flute too many for two whole lines a player, but an entry could go to the other player
    part = [
        s("1", "flute", 0, 10),
        s("2", "flute", 5, 20),
        s("3", "flute", 11, 18),
        s("3", "flute", 21, 30),
        s("1", "flute", 22, 30),
    ]
    whole = rota(part, need)
    assert whole.players == 3 and whole.divided == () and whole.at_least == 2 and whole.proven
    two = rota(part, need, players=[Player("Anna", ("flute",)), Player("Bert", ("flute",))])
    assert not two.clashes and two.players == 2
    assert two.objective.split == 1
    three = rota(part, need, players=[Player(name, ("flute",)) for name in ("Anna", "Bert", "Cleo")])
    assert three.divided == () and three.players == 3


def test_a_line_that_one_player_cannot_have_is_divided_without_named_players_too():
    part = [s("Percussion", "cymbal", 0, 4), s("Percussion", "triangle", 2, 3), s("Percussion", "cymbal", 6, 7)]
    found = rota(part, need)
    assert found.players == 2 and found.divided == ("Percussion",) and found.finished
    assert found.objective.changes == 0 and not found.clashes


def test_a_line_stays_with_its_owner_even_if_fewer_players_would_do():
    part = [s("Piano", "piano", 0, 10), s("Celesta", "celesta", 30, 40)]
    clara = Player("Clara", ("piano", "celesta"), ("Piano",))
    robert = Player("Robert", ("piano", "celesta"), ("Celesta",))
    assert rota(part, need, players=[clara, robert]).players == 2
    assert rota(part, need, players=[clara, robert._replace(lines=())]).players == 1


def test_doublings_say_what_one_player_may_combine():
    part = [s("1", "flute", 0, 1), s("2", "piccolo", 20, 21), s("3", "tuba", 40, 41)]
    assert rota(part, need).players == 1
    found = rota(part, need, doublings={"piccolo": {"flute"}})
    assert found.players == 2 == found.at_least
    assert {d.player: [x.instrument for x in d.stretches] for d in found.duties} == {
        "1": ["flute", "piccolo"],
        "2": ["tuba"],
    }


def test_of_equally_few_players_the_plan_with_fewest_changes_is_taken():
    part = [
        s("1", "flute", 0, 10), s("2", "piccolo", 0, 10), s("3", "piccolo", 30, 40), s("4", "flute", 30, 40),
    ]  # fmt: skip
    found = rota(part, need)
    assert (found.players, found.objective.changes) == (2, 0)
    second = ranked(part, need)[1]
    assert (second.players, second.objective.changes) == (2, 2)


def test_when_the_work_is_spent_the_best_so_far_is_given_as_not_finished():
    stretches = long_piece(9, 12, 30)
    found = rota(stretches, lambda a, b: (5, 10), players=[Player(f"{n}", INSTRUMENTS) for n in range(3)], work=50)
    assert not found.finished and not found.proven
    assert sorted(x for d in found.duties for x in d.stretches) == sorted(stretches)
    assert len(found.clashes) == found.objective.clashes > 0
    free = rota(stretches, lambda a, b: (3, 10), work=50)
    assert not free.clashes and free.divided == () and free.at_least <= free.players


def test_nothing_to_play():
    found = rota([], need)
    assert (found.duties, found.clashes, found.at_least, found.finished) == ((), (), 0, True)


def test_all_that_is_wrong_is_said_at_once():
    twice = [Player("Anna", ("flute",)), Player("Anna", ("flute",))]
    with pytest.raises(RotaError, match=r"Flute 1.*ends at 3.*two players.*Anna.*doublings"):
        rota([Stretch("Flute 1", "flute", 5, 3)], need, players=twice, doublings={})
    part = [Stretch("1", "flute", 0, 1), Stretch("1", "piccolo", 2, 3)]
    with pytest.raises(RotaError, match=r"flute to piccolo takes -1 us.*piccolo to flute takes -1 us"):
        rota(part, lambda a, b: (-1, 4))
    with pytest.raises(RotaError, match="work is 0"):
        rota(part, need, work=0)


SCRIPT = """
from test_rota import Schedule
from deskproof.families.players.rota import ranked
for number in range(40):
    one = Schedule(number)
    print([(r.duties, r.clashes, r.objective) for r in ranked(one.stretches, one.need, **one.asked())])
"""


def test_the_same_input_gives_the_same_rota_whatever_the_hashes():
    said = set()
    for seed in ("0", "1", "4711"):
        here = Path(__file__).parent
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join((str(here), str(here.parents[1])))}
        ran = subprocess.run([sys.executable, "-c", SCRIPT], env=env, capture_output=True, text=True, check=True)
        said.add(ran.stdout)
    assert len(said) == 1 and len(said.pop()) > 1000


def test_a_rest_is_cut_only_if_it_is_longer_than_the_quickest_change():
    found = stretches_of([(20, 25), (0, 10), (3, 5), (15, 18)], "Flute 2", "piccolo", 5)
    assert found == (Stretch("Flute 2", "piccolo", 0, 25),)
    found = stretches_of([(20, 25), (0, 10), (3, 5), (16, 18)], "Flute 2", "piccolo", 5)
    assert [(x.from_us, x.to_us) for x in found] == [(0, 10), (16, 25)]
    assert all(b.from_us - a.to_us > 5 for a, b in pairwise(found))
    with pytest.raises(RotaError, match="Flute 2"):
        stretches_of([(3, 2)], "Flute 2", "piccolo", 5)
