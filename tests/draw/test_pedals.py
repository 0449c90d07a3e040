"""The drawn pedals say what the plan says: at every note, at every step, in every figure; and stand under its bars."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from corpus import shared
from deskproof import document
from deskproof.demo import SCORE
from deskproof.draw import pedals
from deskproof.engrave import render
from deskproof.engrave.letters import text_width
from deskproof.engrave.shapes import Box, affine
from deskproof.engrave.slice import Bars, Desk
from deskproof.families.harp.plan import Change
from deskproof.families.harp.planning import HarpPlan
from deskproof.musicxml.slices import Source
from deskproof.score import GRACE, NoteRef
from deskproof.state import State, state_of
from deskproof.timeline import Play

ORDER = "DCBEFGA"
PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "harp.toml").read_text(encoding="utf-8"))
SCORES = ["demo", "boulanger-matin-bars-1-100.mxl"]
NAMES = {-1: "flat", 0: "natural", 1: "sharp"}


def numbers(text: str) -> list[float]:
    return [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", text)]


def of_class(root: etree._Element, name: str) -> list[etree._Element]:
    return [e for e in root.iter() if e.get("class") == name]


# -- the seven strokes


@pytest.mark.parametrize("row", PUBLISHED["setting"], ids=lambda row: row["id"])
def test_the_strokes_stand_as_the_published_setting_says(row: dict[str, Any]) -> None:
    root = etree.fromstring(pedals.diagram(row["setting"], "a-"))
    (line,) = of_class(root, "reference")
    (divider,) = of_class(root, "divider")
    _, y, _ = numbers(line.get("d"))
    strokes = [numbers(e.get("d")) for e in of_class(root, "stroke")]
    assert len(strokes) == len(row["setting"]) == 7
    for letter, (_, top, bottom) in zip(ORDER, strokes, strict=True):
        assert top < bottom
        side = -1 if bottom < y else 1 if top > y else 0
        assert side == row["setting"][letter], letter
        if not side:
            assert top + bottom == 2 * y
    xs = [x for x, _, _ in strokes]
    gaps = [b - a for a, b in pairwise(xs)]
    assert min(gaps) > 0 and max(gaps) == gaps[2] > 1.5 * gaps[0]
    assert xs[2] < numbers(divider.get("d"))[0] < xs[3]
    letters = of_class(root, "letter")
    assert [e.findtext("{*}text") for e in letters] == list(ORDER)
    assert [e.find("{*}path").get("class") for e in letters] == [NAMES[row["setting"][one]] for one in ORDER]
    said = root.findtext("{*}title")
    assert root.get("role") == "img" and root.get("aria-labelledby") == "a-title"
    assert re.findall(r"\b([A-G]) (flat|natural|sharp)", said) == [(one, NAMES[row["setting"][one]]) for one in ORDER]


def test_the_three_signs_lie_in_their_box_and_differ() -> None:
    drawn = [pedals.sign(position, 50, 50, 100) for position in (-1, 0, 1)]
    assert len({re.sub(r'class="\w+"', "", one) for one in drawn}) == 3
    for one in drawn:
        d = etree.fromstring(one).get("d")
        points = numbers(d)
        assert min(points) >= 0 and max(points) <= 100


# -- words


@given(st.integers(0, 10**8))
def test_seconds_are_never_more_than_there_are(us: int) -> None:
    value = pedals.seconds(us).removesuffix(" s")
    hundredths = round(100 * float(value))
    step = 1 if us < 10**6 else 10 if us < 10**7 else 100
    assert 0 <= us - 10_000 * hundredths < 10_000 * step
    assert len(value) <= 4


def test_a_plan_says_what_is_proven_of_its_changes() -> None:
    plan = harp("demo")[2].pedals
    assert plan is not None and plan.proven and plan.changes
    count = len(plan.changes)
    assert pedals.plan_words(plan) == f"{count} changes; no plan needs fewer changes"
    figures = tuple(f._replace(at_least=f.value - 1) if f.name == "changes" else f for f in plan.objective)
    open_ = replace(plan, proven=False, objective=figures)
    assert pedals.plan_words(open_) == f"{count} changes; at least {count - 1} are needed"
    assert pedals.plan_words(replace(plan, changes=())) == "no pedal moves"


# -- the rows


@cache
def harp(name: str) -> tuple[State, Desk, HarpPlan]:
    read = document.read(SCORE if name == "demo" else shared(name))
    state = state_of(read.score)
    (plan,) = (plan for (family, _), plan in state.plans.items() if family == "harp" and isinstance(plan, HarpPlan))
    return state, Desk(read), plan


class Drawn:
    """The rows of some bars, read back from their SVG."""

    def __init__(self, name: str, first: int, last: int, measure: int, pass_: int) -> None:
        self.state, desk, self.plan = harp(name)
        assert self.plan.reading is not None and self.plan.pedals is not None and self.plan.settings is not None
        part = self.state.score.parts[self.plan.reading.part]
        frame = self.state.timeline.frame
        self.bars = Bars((part.id,), first, last)
        self.engraving = desk.engraving(self.bars)
        self.plays = pedals.once_through(frame, first, last, measure, pass_)
        made = pedals.rows(
            self.engraving, self.plan.pedals, self.plan.settings.comfortable_us, part, frame, first, self.plays
        )
        assert made is not None
        self.words = made.words
        self.box = made.below.box
        self.root = etree.fromstring(made.below.svg)
        self.groups = of_class(self.root, "pedal")
        self.begin = frame.clock.floor_us(self.plays[0].onset)
        self.end = frame.clock.floor_us(self.plays[-1].onset + self.plays[-1].length)
        self.changes = [
            c for c in self.plan.pedals.changes if c.t_us < self.end and c.t_us + c.dur_us > self.begin
        ]

    def level(self, group: etree._Element) -> float:
        """The middle of the letter, which is the height of a pedal in the middle."""
        text = of_class(group, "letter")[0]
        return float(text.get("y")) - float(text.get("font-size")) / 3

    def stands(self, letter: str, x: float) -> int | None:
        """Where the line of a letter stands at a place: -1 up, 0 level, 1 down; None where it slopes."""
        group = self.groups[ORDER.index(letter)]
        n = numbers(of_class(group, "line")[0].get("d"))
        points = list(zip(n[::2], n[1::2], strict=True))
        level = self.level(group)
        (_, y0), (_, y1) = next((a, b) for a, b in pairwise(points) if a[0] <= x <= b[0] and a[0] < b[0])
        if y0 != y1:
            return None
        return -1 if y0 < level - 50 else 1 if y0 > level + 50 else 0


@cache
def all_drawn(name: str) -> list[Drawn]:
    """Two bars at a time, every time that they are played."""
    frame = harp(name)[0].timeline.frame
    found: dict[tuple[Play, ...], Drawn] = {}
    for play in frame.plays:
        first = play.measure // 2 * 2
        last = min(first + 1, len(frame.lengths) - 1)
        plays = pedals.once_through(frame, first, last, play.measure, play.pass_)
        if plays not in found:
            found[plays] = Drawn(name, first, last, play.measure, play.pass_)
    return list(found.values())


@pytest.mark.parametrize("name", SCORES)
def test_under_every_note_the_line_of_its_string_stands_where_the_note_needs_it(name: str) -> None:
    """The place of a note is that of its engraved head; what it needs is its sounding pitch above the open string."""
    seen = flat = sharp = 0
    for drawn in all_drawn(name):
        reading, plan = drawn.plan.reading, drawn.plan.pedals
        assert reading is not None and plan is not None
        part = drawn.state.score.parts[reading.part]
        played = {(play.measure, play.pass_) for play in drawn.plays}
        for row, planned in zip(reading.plucked, plan.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                event = one.events[0]
                head = drawn.engraving.heads.get(NoteRef(part.id, event.measure, event.note.n))
                if (event.measure, event.pass_) not in played or taken is None or not taken.pedal or head is None:
                    continue
                if event.note.flags & GRACE:
                    continue
                needs = one.pitch - taken.string.natural
                x = (head.left + head.right) / 2
                stands = [drawn.stands(taken.string.letter, x + by) for by in (-1, 1)]
                assert needs in stands, (drawn.bars, event)  # a pedal may come to it or leave it at that very place
                seen += 1
                flat += needs < 0
                sharp += needs > 0
    assert seen > 100 and flat > 10 and sharp > 2


@pytest.mark.parametrize("name", SCORES)
def test_every_change_is_one_step_with_its_sign_and_its_time(name: str) -> None:
    seen = quick = 0
    for drawn in all_drawn(name):
        assert drawn.plan.settings is not None
        comfortable = drawn.plan.settings.comfortable_us
        for letter, group in zip(ORDER, drawn.groups, strict=True):
            assert of_class(group, "letter")[0].text == letter
            expected = [c for c in drawn.changes if c.pedal == letter]
            assert len(of_class(group, "move")) == len(expected)
            assert [e[0].get("class") for e in of_class(group, "step")] == [NAMES[c.after] for c in expected]
            texts = [e.text for e in of_class(group, "spare")]
            assert len(texts) == len(expected)
            for said, change in zip(texts, expected, strict=True):
                have = change.spare_us + (change.dur_us if change.dur_us < comfortable else 0)
                assert said.startswith("quick, ") == (change.dur_us < comfortable)
                if said.startswith("no time"):
                    assert have < 10_000
                else:
                    (figure,) = numbers(said)
                    assert 0 <= have / 1e6 - figure < (0.01 if have < 10**6 else 0.1 if have < 10**7 else 1)
                seen += 1
                quick += said.startswith("quick")
    plan = harp(name)[2].pedals
    assert plan is not None
    assert seen >= len(plan.changes) > 10 and quick


@pytest.mark.parametrize("name", SCORES)
def test_the_head_of_each_line_says_where_it_begins(name: str) -> None:
    for drawn in all_drawn(name):
        for letter, group in zip(ORDER, drawn.groups, strict=True):
            heads = [e for e in group if e.tag == "path"]
            left = numbers(of_class(group, "line")[0].get("d"))[0]
            assert [e.get("class") for e in heads] == [NAMES[drawn.stands(letter, left + 1) or 0]]
            for change in [c for c in drawn.changes if c.pedal == letter][:1]:
                assert heads[0].get("class") == NAMES[change.before]
            before = f"{letter} {heads[0].get('class')}"
            assert before in drawn.words.partition(".")[0]
        assert len(re.findall(r" from (?:flat|natural|sharp) to ", drawn.words)) == len(drawn.changes)


@pytest.mark.parametrize("name", SCORES)
def test_the_barlines_are_those_of_the_engraved_bars(name: str) -> None:
    """As the engraver itself draws them, and as many as there are bars."""
    score_of = document.read(SCORE if name == "demo" else shared(name))
    source = Source.of(score_of.written())
    for drawn in all_drawn(name)[:12]:
        cut = source.cut(drawn.bars.parts, drawn.bars.first, drawn.bars.last)
        root = etree.fromstring(render._engraved(cut.xml).encode(), etree.XMLParser(huge_tree=True))
        page = root.find(".//{*}g[@class='page-margin']")
        across, _ = affine(page.get("transform")).point(0, 0)
        lines = [numbers(path.get("d"))[0] + across for e in of_class(root, "barLine") for path in e.iter("{*}path")]
        mine = sorted({numbers(e.get("d"))[0] for e in of_class(drawn.root, "barline")})
        assert len(mine) == 1 + len(drawn.plays)
        assert mine[0] < mine[1]
        for x in mine[1:]:
            assert min(abs(x - one) for one in lines) < 60  # a third of a staff space: the thick line of a repeat


@pytest.mark.parametrize("name", SCORES)
def test_no_words_stand_on_other_words_or_on_a_line(name: str) -> None:
    for drawn in all_drawn(name):
        boxes = words_of(drawn.root)
        assert len(boxes) == 7 + 2 + len(drawn.changes)
        assert not any(a.meets(b) for a, b in combinations(boxes, 2))
        for line in of_class(drawn.root, "line"):
            n = numbers(line.get("d"))
            for (x0, y0), (x1, y1) in pairwise(zip(n[::2], n[1::2], strict=True)):
                if y0 == y1:
                    assert not any(box.meets(Box(x0, y0 - 1, x1, y0 + 1)) for box in boxes)
        assert all(box.top >= -1 and box.right <= drawn.box.right + 1 for box in boxes)
        assert all(box.bottom <= drawn.box.bottom for box in boxes)


def words_of(root: etree._Element) -> list[Box]:
    boxes = []
    for e in root.iter("text"):
        size, x, y = (float(e.get(key)) for key in ("font-size", "x", "y"))
        wide = text_width(e.text, size)
        left = x - wide if e.get("text-anchor") == "end" else x
        boxes.append(Box(left, y - 0.66 * size, left + wide, y))
    return boxes


def test_a_pedal_that_never_rests_still_has_its_words_apart() -> None:
    state, desk, plan = harp("boulanger-matin-bars-1-100.mxl")
    assert plan.pedals is not None and plan.reading is not None
    frame, part = state.timeline.frame, state.score.parts[plan.reading.part]
    begin = frame.clock.floor_us(frame.first_onset[82])
    for gap in (600_000, 900_000, 1_500_000):
        changes = tuple(
            Change(begin + gap * k, 500_000, "E", (k % 2) - 1, -(k % 2), "right", gap - 500_000, 1.1) for k in range(20)
        )
        busy = replace(plan.pedals, changes=changes, initial={**plan.pedals.initial, "E": -1})
        plays = pedals.once_through(frame, 82, 84, 82, 1)
        made = pedals.rows(desk.engraving(Bars((part.id,), 82, 84)), busy, 500_000, part, frame, 82, plays)
        assert made is not None
        root = etree.fromstring(made.below.svg)
        boxes = words_of(root)
        assert len(of_class(root, "spare")) > 2
        assert not any(a.meets(b) for a, b in combinations(boxes, 2))


def test_a_barline_is_a_moment_before_the_note_behind_it() -> None:
    """What ends on the beat ends at the barline; what begins there begins at the first note."""
    for drawn in all_drawn("demo"):
        reading = drawn.plan.reading
        assert reading is not None
        state = drawn.state
        part = state.score.parts[reading.part]
        scale = pedals.Scale.of(
            drawn.engraving, part, drawn.bars.first, drawn.plays, state.timeline.frame
        )
        assert scale is not None
        for play, follows in pairwise(drawn.plays):
            at = state.timeline.frame.clock.floor_us(follows.onset)
            edge = drawn.engraving.bars[play.measure - drawn.bars.first][1]
            assert scale.ends(at) == edge < scale.begins(at)
            heads = [
                (head.left, head.right)
                for ref, head in drawn.engraving.heads.items()
                if ref.measure == follows.measure and (note := part.measures[ref.measure].notes[ref.n]).start == 0
                and note.kind != "rest"
            ]
            assert not heads or any(left < scale.begins(at) < right for left, right in heads)


def test_the_bar_before_is_shown_if_a_foot_moves_there_for_a_note_of_this_one() -> None:
    state, _, plan = harp("demo")
    assert plan.pedals is not None
    frame = state.timeline.frame
    begin, middle, end = (frame.clock.floor_us(frame.first_onset[m]) for m in (3, 4, 5))

    def back(t_us: int, spare_us: int) -> bool:
        moved = replace(plan.pedals, changes=(Change(t_us, 500_000, "F", 0, 1, "right", spare_us, 2.0),))
        return pedals.reaches_back(moved, frame, 4, 4, 1)

    assert back(middle - 500_000, 0)
    assert back(begin, middle - begin - 500_000)
    assert not back(middle - 600_000, 0)
    assert not back(begin - 1, end - begin)
    assert not back(middle, 100_000)


def test_the_feet_are_set_apart() -> None:
    drawn = all_drawn("demo")[0]
    levels = [drawn.level(group) for group in drawn.groups]
    gaps = [b - a for a, b in pairwise(levels)]
    assert max(gaps) == gaps[2] > 1.5 * gaps[0] > 0
    assert [e.text for e in of_class(drawn.root, "foot")] == ["left foot", "right foot"]


# -- repeats


def test_bars_are_drawn_once_through_as_they_are_played() -> None:
    frame = harp("demo")[0].timeline.frame
    order = [(0, 1), (1, 1), (2, 1), (0, 2), (1, 2), (3, 1), (4, 1)]  # bar 2 is the first ending, bar 3 the second
    plays = tuple(Play(m, pass_, 100 * i, 100) for i, (m, pass_) in enumerate(order))
    frame = replace(frame, plays=plays)

    def played(*where: int) -> list[tuple[int, int]]:
        return [(play.measure, play.pass_) for play in pedals.once_through(frame, *where)]

    assert played(0, 2, 1, 1) == [(0, 1), (1, 1), (2, 1)]
    assert played(0, 2, 1, 2) == [(0, 2), (1, 2)]
    assert played(1, 3, 3, 1) == [(3, 1)]
    assert played(3, 4, 4, 1) == [(3, 1), (4, 1)]
    assert played(1, 2, 1, 9) == [(1, 1), (2, 1)]
    assert played(7, 8, 7, 1) == []
