"""The hands under the bars say what the plan's record says: every string once, under its note, by its hand."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from corpus import shared
from deskproof import document
from deskproof.demo import SCORE
from deskproof.draw import hand_rows as rows
from deskproof.draw import pedals
from deskproof.engrave.letters import text_width
from deskproof.engrave.render import Engraving
from deskproof.engrave.shapes import Box
from deskproof.engrave.slice import Bars, Desk
from deskproof.families.harp.model import String
from deskproof.families.harp.planning import HarpPlan
from deskproof.report.as_json import plans
from deskproof.score import GRACE, NoteRef
from deskproof.state import State, state_of

SCORES = ["demo", "boulanger-matin-bars-1-100.mxl"]
SIGN = {-1: "♭", 0: "", 1: "♯"}
NEAR = 1.25 * rows.SPACE  # of two notes a second apart one stands on the other side of the stem
HANDS = {"right hand": "R", "left hand": "L"}


@cache
def harp(name: str) -> tuple[State, Desk, HarpPlan, dict[str, Any]]:
    read = document.read(SCORE if name == "demo" else shared(name))
    state = state_of(read.score)
    (plan,) = (plan for plan in state.plans.values() if isinstance(plan, HarpPlan))
    (record,) = (one for one in plans(state) if one["kind"] == "harp")
    return state, Desk(read), plan, record


class Printed:
    """A printed name: its hand, its line's middle, its words, whether bold, and its box."""

    def __init__(self, text: etree._Element, hand: str) -> None:
        self.hand = hand
        self.names = [(one.text or "") + "".join(inner.text or "" for inner in one) for one in text]
        self.bold = [one.get("font-weight") == "bold" for one in text]
        size, x, y = (float(text.get(key) or 0) for key in ("font-size", "x", "y"))
        wide = 0.0
        for one, bold in zip(text, self.bold, strict=True):
            wide += text_width(one.text or "", size, bold)
            wide += sum(text_width(inner.text or "", float(inner.get("font-size") or 0), bold) for inner in one)
        wide += text_width("–", size) * (len(self.names) - 1)
        self.box = Box(x, y - 0.66 * size, x + wide, y)

    @property
    def middle(self) -> float:
        return (self.box.left + self.box.right) / 2


def read_back(svg: str) -> list[Printed]:
    found, hand = [], ""
    for text in etree.fromstring(svg).iter("text"):
        if text.get("class") == "hand":
            hand = HANDS[text.text or ""]
        elif text.get("class") == "string":
            found.append(Printed(text, hand))
    return found


@cache
def all_drawn(name: str) -> list[tuple[Engraving, rows.Rows, dict[tuple[int, int], int]]]:
    """Two bars at a time, the first time that they are played, with the measures shown and their times."""
    state, desk, plan, _ = harp(name)
    assert plan.reading is not None
    frame, part = state.timeline.frame, state.score.parts[plan.reading.part]
    found = []
    for first in range(0, len(frame.lengths) - 1, 2):
        engraving = desk.engraving(Bars((part.id,), first, first + 1))
        plays = pedals.once_through(frame, first, first + 1, first, 1)
        made = rows.hand_rows(engraving, plan, part, frame, first, plays)
        if made is not None:
            found.append((engraving, made, {(play.measure, play.pass_): play.onset for play in plays}))
    return found


def expected(name: str, engraving: Engraving, played: dict[tuple[int, int], int]) -> list[tuple[str, str, float, bool]]:
    """Hand, string, place of the notehead, and whether the page names the note otherwise: from record and page."""
    state, _, plan, record = harp(name)
    assert plan.reading is not None
    part = state.score.parts[plan.reading.part]
    found = []
    for event in record["events"]:
        for ref, string, position, hand in zip(
            event["notes"], event["strings"], event["positions"], event["hands"] or [], strict=False
        ):
            at = NoteRef.parse(ref)
            note = part.measures[at.measure].notes[at.n]
            if hand is None or (at.measure, event["pass"]) not in played or note.flags & GRACE or note.pitch is None:
                continue
            head = engraving.heads[at]
            other = (note.pitch.step, note.pitch.alter) != (string[0], position)
            said = f"{string[0]}{SIGN[position]}{string[1:]}"
            found.append((hand, said, (head.left + head.right) / 2, other))
    return found


@pytest.mark.parametrize("name", SCORES)
def test_every_string_stands_by_its_hand_under_its_note(name: str) -> None:
    whole = 0
    for engraving, made, played in all_drawn(name):
        printed = read_back(made.below.svg)
        wanted = expected(name, engraving, played)
        hands = Counter(hand for hand, *_ in wanted)
        assert set(hands) == {one.hand for one in printed}
        if any(len(one.names) > 1 for one in printed):
            continue
        assert Counter((one.hand, one.names[0]) for one in printed) >= Counter(
            dict.fromkeys(((hand, said) for hand, said, *_ in wanted), 1)
        )
        for hand, said, x, other in wanted:
            near = [one for one in printed if (one.hand, one.names[0]) == (hand, said) and abs(one.middle - x) < NEAR]
            assert near, (hand, said, x)
            assert near[0].bold == [other]
        whole += len(wanted)
    assert whole > 100


@pytest.mark.parametrize("name", SCORES)
def test_no_name_stands_on_another(name: str) -> None:
    bold = 0
    for _, made, _ in all_drawn(name):
        printed = read_back(made.below.svg)
        assert printed and not any(a.box.meets(b.box) for a, b in combinations(printed, 2))
        for one in printed:
            assert one.box.left >= made.below.box.left and one.box.right <= made.below.box.right + 1
            assert one.box.bottom <= made.below.box.bottom and one.box.top >= -1
            bold += any(one.bold)
    assert bold > 20 or name == "demo"


@pytest.mark.parametrize("name", SCORES)
def test_the_words_name_every_string_whether_it_is_printed_or_not(name: str) -> None:
    for engraving, made, played in all_drawn(name):
        for title, hand in HANDS.items():
            part = re.search(rf"{title}: ([^;]*?)[;.]( |$)", made.words)
            said = re.split(r", | with ", part.group(1)) if part else []
            of_page = Counter(one for by, one, *_ in expected(name, engraving, played) if by == hand)
            assert set(of_page) <= set(said)


def test_pedals_hang_under_the_hands() -> None:
    state, desk, plan, _ = harp("demo")
    assert plan.reading is not None and plan.pedals is not None
    frame, part = state.timeline.frame, state.score.parts[plan.reading.part]
    engraving = desk.engraving(Bars((part.id,), 27, 28))
    plays = pedals.once_through(frame, 27, 28, 27, 1)
    below = pedals.rows(engraving, plan.pedals, 500_000, part, frame, 27, plays)
    hands = rows.hand_rows(engraving, plan, part, frame, 27, plays)
    both = rows.hand_rows(engraving, plan, part, frame, 27, plays, below)
    assert below is not None and hands is not None and both is not None
    height = hands.below.box.bottom + rows.OVER_PEDALS + below.below.box.bottom - below.below.box.top
    assert both.below.box.bottom == pytest.approx(height)
    assert both.words == f"{hands.words} {below.words}"
    root = etree.fromstring(f"<g>{both.below.svg}</g>")
    assert [one.get("class") for one in root.iter("g") if one.get("class") in ("hand-rows", "pedal-rows")] == [
        "hand-rows", "pedal-rows"
    ]  # fmt: skip


def names(lines: list[int]) -> tuple[rows.Name, ...]:
    strings = (String("CDEFGAB"[line % 7], line // 7) for line in sorted(set(lines), reverse=True))
    return tuple(rows.Name(string, 1 - string.line % 3) for string in strings)


@given(
    st.lists(
        st.tuples(st.integers(20, 900), st.lists(st.integers(7, 50), min_size=1, max_size=4)), min_size=1, max_size=25
    )
)
def test_what_has_no_room_is_told_by_its_ends(steps: list[tuple[int, list[int]]]) -> None:
    x, columns = 0.0, []
    for gap, lines in steps:
        x += gap
        columns.append(rows.Column(x, names(lines)))
    told = rows.fitted(columns)
    for line in {one.line for one in told}:
        row = [one for one in told if one.line == line]
        assert all(a.left + a.width < b.left for a, b in pairwise(row))
    every = Counter(name for column in columns for name in column.names)
    alone = Counter(one.names[0] for one in told if len(one.names) == 1)
    assert set(alone) <= set(every)
    if all(len(one.names) == 1 for one in told) and sum(alone.values()) == sum(every.values()):
        assert alone == every
    strings = [name.string.line for name in every]
    ends = [name.string.line for one in told for name in one.names]
    assert min(strings) in ends or max(strings) in ends
    assert max(one.line for one in told) < max(rows.TURNS, max(len(column.names) for column in columns))


def test_a_run_is_told_upwards_or_downwards_and_a_figure_from_low_to_high() -> None:
    def close(*lines: int) -> list[str]:
        return [str(one) for one in rows.fitted([rows.Column(30.0 * k, names([line])) for k, line in enumerate(lines)])]

    up, down, round_ = close(*range(28, 40)), close(*range(40, 28, -1)), close(28, 35, 30, 36, 31, 29)
    # the first two names take turns on two lines, and the rest of the run is told with the second
    assert [len(one) for one in (up, down, round_)] == [2, 2, 2]
    assert up[1].split("–") == [str(names([29])[0]), str(names([39])[0])]
    assert down[1].split("–") == [str(names([39])[0]), str(names([29])[0])]
    assert round_[1].split("–") == [str(names([29])[0]), str(names([36])[0])]
