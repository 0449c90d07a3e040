"""Strength of strands, players against dynamics, and the sentences of a plan: against figures reckoned by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import plan_example as example
from deskproof.scoring.balance import balance_of, follows_dynamics, sounding_of, spearman, winds
from deskproof.scoring.records import Line, ScoringPlan, Who
from deskproof.scoring.said import left_out, left_words, next_words, said_of, status_words
from deskproof.scoring.strength import UNIT


def rows(bars: str) -> dict[str, tuple[float, tuple[str, ...], str]]:
    found = balance_of(example.PLAN, example.passages(), example.hall())
    return {one.strand: (one.units / UNIT, one.who, one.words) for one in found if one.bars == bars}


def test_in_a_piano_every_wind_and_every_section_is_one() -> None:
    """Rimsky-Korsakov, ch. I: all winds about equal in piano, a section of strings like one of them."""
    own = rows("1-8")
    assert {strand: units for strand, (units, _, _) in own.items()} == {
        "tune": 1, "inner part 1": 1, "inner part 2": 1, "bass": 2,
    }  # fmt: skip
    assert own["bass"][1] == ("cello", "double bass")
    assert own["tune"][2] == "the tune has 1, the strongest other strand 2 (bass)"
    assert own["bass"][2] == "2, the tune 1"


def test_in_a_forte_brass_outweighs_woodwind() -> None:
    """The same place: a trumpet is two horns or four woodwind, a section two woodwind."""
    own = rows("42-49")
    assert own["tune"][0] == 2 + 2 + 1 + 1 + 4
    assert own["held harmony 1"][0] == 2
    assert own["bass"][0] == 2 + 2 + 1
    assert own["accents"][0] == 1  # the harp counts for an accent
    assert own["tune"][2] == "the tune has 10, the strongest other strand 5 (bass)"


def test_a_divided_section_shares_its_strength() -> None:
    own = rows("21-24")
    assert own["inner part 1"][0] + own["inner part 2"][0] == 2
    assert own["tune"][2] == own["tune 2"][2] == "the tune has 7, the strongest other strand 5 (bass)"


def test_a_passage_without_a_tune_says_so() -> None:
    assert rows("25-25")["bass"][2] == "1, no tune beside it"


def test_a_line_that_nobody_plays_has_no_row() -> None:
    assert "inner part 3" not in rows("21-24")
    assert [(one.bars, line.strand) for one, line in left_out(example.PLAN)] == [
        ("21-24", "inner part 3"), ("58-64", "inner part 1"),
    ]  # fmt: skip


def test_as_many_passages_as_the_plan_has() -> None:
    with pytest.raises(ValueError):
        balance_of(example.PLAN, example.passages()[1:], example.hall())


def test_players_are_counted_by_seat() -> None:
    found = sounding_of(example.PLAN, example.passages(), example.hall())
    assert [(one.dynamic, one.players) for one in found] == [
        ("p", 5), ("mp", 6), ("mf", 8), ("f", 10), ("pp", 2), ("p", 4), ("mf", 8), ("ff", 14), ("mp", 4), ("pp", 3),
    ]  # fmt: skip
    assert {one.of for one in found} == {14}


def test_more_play_where_it_is_louder() -> None:
    words = follows_dynamics(sounding_of(example.PLAN, example.passages(), example.hall()))
    assert words.startswith("Rank correlation of dynamics and players: 0.96 ")
    one = replace(example.PLAN, passages=example.PLANNED[:1])
    assert "nothing to compare" in follows_dynamics(sounding_of(one, example.passages()[:1], example.hall()))


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_spearman_without_ties_is_the_textbook_formula(order: tuple[int, ...]) -> None:
    n = len(order)
    apart = sum((a - b) ** 2 for a, b in enumerate(order))
    assert spearman(list(range(n)), list(order)) == pytest.approx(1 - 6 * apart / (n * (n * n - 1)))


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=2, max_size=12))
def test_spearman_depends_on_the_order_alone(pairs: list[tuple[int, int]]) -> None:
    one, other = [float(a) for a, _ in pairs], [float(b) for _, b in pairs]
    found = spearman(one, other)
    assert found == spearman([a**3 for a in one], [2 * b + 1 for b in other])
    if found is None:
        assert len(set(one)) == 1 or len(set(other)) == 1
    else:
        assert -1.000001 <= found <= 1.000001
        assert spearman(one, [-b for b in other]) == pytest.approx(-found)


def test_spearman_with_ties_as_published() -> None:
    """Ranks 1, 2.5, 2.5, 4 against 1, 2, 3, 4: Pearson of the ranks is 4.5 / sqrt(4.5 * 5)."""
    assert spearman([10, 20, 20, 30], [1, 2, 3, 4]) == pytest.approx(4.5 / (4.5 * 5) ** 0.5)


def test_strengths_in_words_are_whole_winds_and_quarters() -> None:
    assert [winds(k) for k in (0, 1, 2, 3, 4, 6, 40)] == ["0", "¼", "½", "¾", "1", "1½", "10"]


def test_nothing_is_called_best_that_was_not_proven() -> None:
    assert status_words(example.PLAN) == "No plan is better, as the cost is reckoned. This one costs 263."
    stopped = replace(example.PLAN, status="stopped", gap=7)
    assert status_words(stopped) == "A better plan may exist, by at most 7 in cost. This one costs 263."
    for status in ("stopped", ""):
        assert "No plan is better" not in status_words(replace(example.PLAN, status=status))


def test_the_next_scorings_say_how_they_differ_and_what_they_cost_more() -> None:
    assert next_words(example.PLAN) == [
        "Bars 1–8, second: the tune to clarinet 1 instead of oboe 1; costs 3 more.",
        "Bars 1–8, third: the inner part 2 to clarinet 1 instead of viola; double bass not in the bass; costs 6 more.",
    ]


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ((Line("tune", (Who("oboe 1"), Who("viola"))),), "viola also in the tune"),
        ((Line("tune", (Who("oboe 1", 1),)),), "the tune on oboe 1 8va instead of as in the sketch"),
        ((Line("tune", (Who("oboe 1", 0, "solo"),)),), "the tune on oboe 1 solo instead of as in the sketch"),
        ((Line("tune"),), "nobody in the tune"),
        ((Line("tune", (Who("oboe 1"),)), Line("bass", (Who("cello"),))), "the bass to cello"),
        ((Line("tune", (Who("oboe 1"),)),), "the same players"),
    ],
)
def test_every_way_to_differ_has_its_words(other: tuple[Line, ...], said: str) -> None:
    planned = replace(example.PLANNED[0], lines=(Line("tune", (Who("oboe 1"),)),), scorings=((21, other),))
    (row,) = next_words(ScoringPlan(passages=(planned,)))
    assert row == f"Bars 1–8, second: {said}; costs the same."


def test_the_sentences_of_a_plan_come_in_order() -> None:
    said = said_of(example.PLAN)
    assert said[0] == status_words(example.PLAN) and said[-2:] == next_words(example.PLAN)
    assert "Bars 21–24: left out: inner part 3." in said
    assert not [word for word in ("slack", "bound", "optimal", "timeline") if word in " ".join(said)]


def test_what_is_not_needed_is_not_left_out() -> None:
    planned = replace(example.PLANNED[0], lines=(Line("held harmony 1", why="not needed"), Line("bass", why="too low")))
    assert [line.strand for _, line in left_out(ScoringPlan(passages=(planned,)))] == ["bass"]


def test_strands_left_out_for_one_reason_are_said_together() -> None:
    lines = (Line("bass", why="too low"), Line("accents 1", why="too low"), Line("inner part"))
    planned = replace(example.PLANNED[0], lines=lines)
    assert left_words(ScoringPlan(passages=(planned,))) == [
        "Bars 1–8: left out: bass and accents 1 (too low).",
        "Bars 1–8: left out: inner part.",
    ]
