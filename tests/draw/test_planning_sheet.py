"""The planning sheet: every cell once with its words, black alone, nothing across a rule; measured in a browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

import plan_example as example
from deskproof.draw.planning_sheet import sheet
from deskproof.draw.sheet_columns import LEFT, WIDTH, systems_of
from deskproof.draw.sheet_hatching import PATTERNS, hatching
from deskproof.draw.sheet_words import Word, narrowest, text_width, wrapped
from deskproof.scoring.hall import standard
from deskproof.scoring.records import KINDS, Line, Passage, PlannedPassage, ScoringPlan, Tacet, Who

SVG = "{http://www.w3.org/2000/svg}"
SMALLEST = 9.0


@cache
def pictures() -> tuple[str, ...]:
    return tuple(sheet(example.PLAN, example.passages(), example.hall(), example.sketch()))


def everybody() -> ScoringPlan:
    """All 31 chairs of the standard orchestra, with long words in every cell."""
    long = "double bass of the contrabassoon player's neighbour, extraordinarily"
    found = []
    for k in range(12):
        chairs = standard().chairs
        lines = tuple(
            Line(f"{KINDS[(i + k) % len(KINDS)]} {i + 1}", (Who(one.name, (i % 5) - 2, "con sord."),),
                 "mf marcatissimo" if i % 3 else "", fixed=not i % 4)
            for i, one in enumerate(chairs) if (i + k) % 5
        )  # fmt: skip
        who = tuple(one.name for i, one in enumerate(chairs) if not (i + k) % 5)
        bars = f"{1 + 40 * k}-{4 + 40 * k}"
        found.append(PlannedPassage(bars, lines=lines, tacet=(Tacet(who, long),), dynamic="mf", weight="ordinary"))
    return ScoringPlan(passages=tuple(found))


@cache
def crowded() -> tuple[str, ...]:
    plan = everybody()
    passages = [Passage(4 * k, 4 * k + 3, ()) for k in range(len(plan.passages))]
    return tuple(sheet(plan, passages, standard(), example.sketch()))


def roots() -> list[Any]:
    return [etree.fromstring(one) for one in pictures()]


def cells() -> dict[tuple[int, str], list[Any]]:
    found: dict[tuple[int, str], list[Any]] = {}
    for root in roots():
        for one in root.iter(f"{SVG}g"):
            if one.get("class") == "cell":
                found.setdefault((int(one.get("data-passage")), one.get("data-chair")), []).append(one)
    return found


def words(cell: Any) -> str:
    return " ".join(" ".join(text.itertext()) for text in cell.iter(f"{SVG}text"))


OCTAVES = {0: "", 1: "8va", -1: "8vb"}


def test_every_cell_of_the_plan_stands_once_with_its_words() -> None:
    found = cells()
    assert all(len(own) == 1 for own in found.values())
    playing = {one.chair for planned in example.PLANNED for line in planned.lines for one in line.who}
    assert {(k, name) for k, name in found if name != "left out"} == set(product(range(10), playing))
    for k, planned in enumerate(example.PLANNED):
        for name in playing:
            (cell,) = found[k, name]
            said = " ".join(words(cell).split())
            own = [(line, one) for line in planned.lines for one in line.who if one.chair == name]
            assert bool(cell.xpath("*[@class='dash']")) == (not own)
            for line, one in own:
                first, number = line.strand.split()[0], re.sub(r"\D", "", line.strand)
                for word in (first, number, OCTAVES[one.octave], one.how, *line.dynamic.split()):
                    assert word in said.replace(",", "").split() or not word or word in said
            assert bool(cell.xpath("*[@class='fixed']")) == any(line.fixed for line, _ in own)


def test_cells_say_what_an_orchestrator_would_write() -> None:
    found = {key: " ".join(words(cell).split()) for key, (cell,) in cells().items()}
    assert found[0, "oboe 1"] == "tune p espr."
    assert found[0, "double bass"] == "bass 8vb pizz. p"
    assert found[1, "violin 2"] == "inner 1, 2 div."
    assert found[3, "piccolo"] == "tune 2 8va"
    assert found[0, "horn 1"] == example.KEPT
    assert found[0, "horn 2"] == found[0, "trumpet 1"] == "″"
    assert found[1, "double bass"] == "lighter"
    assert found[2, "flute 1"] == ""
    assert found[3, "left out"] == "inner 3" and found[0, "left out"] == ""


def test_strands_that_are_left_out_for_one_reason_share_their_words() -> None:
    lines = [Line(f"accents {k}", why="nobody is free for it") for k in (1, 2, 3, 4, 7)]
    lines += [Line("bass", why="too low"), Line("held harmony", why="not needed"), Line("tune", (Who("oboe 1"),))]
    planned = replace(example.PLANNED[0], lines=tuple(lines))
    (one,) = sheet(ScoringPlan(passages=(planned,)), example.passages()[:1], example.hall(), example.sketch())
    cell = etree.fromstring(one).xpath("//*[@data-chair='left out']")[0]
    assert " ".join(words(cell).split()) == "accents 1–4, 7: nobody is free for it bass: too low"


def test_each_strand_has_the_strip_of_its_kind() -> None:
    found = cells()
    for (k, name), (cell,) in found.items():
        own = {line.strand for line in example.PLANNED[k].lines if name in [one.chair for one in line.who]}
        own |= {line.strand for line in example.PLANNED[k].lines if not line.who and name == "left out"}
        kinds = {strand.rstrip("0123456789 ") for strand in own}
        drawn = {path.get("class") for path in cell.iter(f"{SVG}path")} - {"dash", "fixed"}
        assert drawn == {PATTERNS[kind] for kind in kinds}


def test_rows_stand_in_score_order_and_name_only_who_plays() -> None:
    order = [chair.name for chair in example.hall().chairs]
    for root in roots():
        names = [words(one) for one in root.iter(f"{SVG}g") if one.get("class") == "name"]
        assert names[-1] == "left out"
        assert names[:-1] == [name for name in order if name != "flute 2"]
        assert "Not taken up: flute of flute 2." in words(root)


def test_who_is_silent_throughout_is_named_once_a_system() -> None:
    plan = replace(example.PLAN, passages=(example.PLANNED[0],))
    (one,) = sheet(plan, example.passages()[:1], example.hall(), example.sketch())
    said = " ".join(words(etree.fromstring(one)).split())
    assert "Silent throughout: flute 1, flute 2, clarinet 1, bassoon 1, horn 1, horn 2, trumpet 1, harp and" in said


def test_seven_kinds_have_seven_patterns_and_the_key_names_them() -> None:
    assert set(PATTERNS) == set(KINDS) and len(set(PATTERNS.values())) == len(KINDS)
    shapes = {hatching(kind, 0, 0, 22, 24).partition(" d=")[2] for kind in KINDS}
    assert len(shapes) == len(KINDS)
    assert hatching("something else", 0, 0, 22, 24) == ""
    for root in roots():
        keys = [one.get("data-kind") for one in root.iter(f"{SVG}g") if one.get("class") == "key"]
        used = {path.get("class") for g in root.iter(f"{SVG}g") if g.get("class") == "cell" for path in g}
        assert {PATTERNS[kind] for kind in keys} == used & set(PATTERNS.values())
        assert set(keys) <= {" ".join(text.itertext()) for text in root.iter(f"{SVG}text")}


def ends(d: str) -> Iterator[tuple[float, float]]:
    """All points of a path of straight strokes."""
    x = y = 0.0
    for sign, figures in re.findall(r"([MLHVh])([^MLHVh]*)", d):
        numbers = [float(one) for one in figures.split()]
        if sign in "ML":
            x, y = numbers
        elif sign == "H":
            (x,) = numbers
        elif sign == "V":
            (y,) = numbers
        else:
            x += numbers[0]
        yield x, y


@given(
    st.sampled_from(KINDS), st.floats(0, 900), st.floats(0, 900), st.floats(8, 40), st.floats(8, 80),
)  # fmt: skip
def test_no_stroke_of_the_hatching_leaves_its_box(kind: str, x: float, y: float, width: float, height: float) -> None:
    drawn = hatching(kind, x, y, width, height)
    shift = float(re.findall(r"translate\(([\d.]+) 0\)", drawn)[0])
    points = list(ends(re.findall(r' d="([^"]*)"', drawn)[0]))
    assert points
    assert abs(shift - x) <= 0.06
    for px, py in points:
        assert -0.01 <= px <= width + 0.01
        assert y - 0.01 <= py <= y + height + 0.01


def test_black_on_white_and_nothing_filled() -> None:
    for root in roots():
        for one in root.iter():
            assert one.get("fill") in (None, "none")
            assert one.get("stroke") in (None, "currentColor")
            assert not {"style", "color", "opacity", "filter"} & set(one.keys())
            if one.tag in (f"{SVG}rect", f"{SVG}path") and len(re.findall("[MLHV]", one.get("d", ""))) > 2:
                assert one.get("fill") == "none"
            assert one.tag.removeprefix(SVG) in ("svg", "title", "desc", "g", "path", "rect", "text", "tspan")
            assert float(one.get("font-size", SMALLEST)) >= SMALLEST


def test_the_picture_has_a_name_and_says_all_in_words() -> None:
    first, second = roots()
    assert first.get("role") == "img"
    ids = [one.get("id") for root in (first, second) for one in root.iter() if one.get("id")]
    assert len(ids) == len(set(ids)) == 4
    for root in (first, second):
        assert set(root.get("aria-labelledby").split()) <= set(ids)
    assert first.findtext(f"{SVG}title") == "Planning sheet of “The Ferry & the Tide”, bars 1–25"
    assert "Bars 1–8: tune: oboe 1; inner part 1: violin 2;" in first.findtext(f"{SVG}desc")


def fewest(least: list[float], room: float) -> int:
    """The fewest systems, by trying every set of breaks."""
    best = len(least)
    for cuts in product((False, True), repeat=len(least) - 1):
        groups = [[least[0]]]
        for width, cut in zip(least[1:], cuts, strict=True):
            groups.append([width]) if cut else groups[-1].append(width)
        if all(sum(group) <= room for group in groups):
            best = min(best, len(groups))
    return best


@given(st.lists(st.tuples(st.floats(20, 500), st.integers(1, 12)), min_size=1, max_size=9))
def test_systems_are_as_few_as_can_be_and_every_column_has_its_width(rows: list[tuple[float, int]]) -> None:
    passages = [Passage(0, bars - 1, ()) for _, bars in rows]
    systems = systems_of([width for width, _ in rows], passages)
    assert [column.place for one in systems for column in one] == list(range(len(rows)))
    room = WIDTH - LEFT - 1
    assert len(systems) == fewest([max(width, 8.0 * bars) for width, bars in rows], room)
    for one in systems:
        assert one[0].x == LEFT
        assert one[-1].x + one[-1].width <= WIDTH
        for before, after in pairwise(one):
            assert after.x == pytest.approx(before.x + before.width)
        for column in one:
            assert column.width >= rows[column.place][0] - 1e-9


def test_of_two_passages_of_equal_words_the_longer_is_wider() -> None:
    (one,) = systems_of([60, 60], [Passage(0, 3, ()), Passage(4, 27, ())])
    assert one[1].width > one[0].width


@given(st.lists(st.text("abcmW .", min_size=1, max_size=9), min_size=1, max_size=8), st.floats(10, 200))
def test_wrapping_keeps_all_words_and_the_width(texts: list[str], width: float) -> None:
    given_ = [Word(text) for text in texts]
    lines = wrapped(given_, width, 10)
    assert [word for line in lines for word in line] == given_
    for line in lines:
        wide = text_width(" ".join(word.text for word in line), 10)
        assert wide <= width + 1e-9 or len(line) == 1


@given(st.lists(st.text("abmW.", min_size=1, max_size=9), min_size=1, max_size=6), st.integers(1, 3))
def test_the_narrowest_width_is_the_least_that_does(texts: list[str], lines: int) -> None:
    given_ = [Word(text) for text in texts]
    width = narrowest(given_, lines, 10)
    assert len(wrapped(given_, width, 10)) <= lines
    widest = max(text_width(text, 10) for text in texts)
    assert width >= widest
    if width > widest + 0.01:
        assert len(wrapped(given_, width - 0.01, 10)) > lines


@pytest.fixture(scope="module")
def page() -> Iterator[Any]:
    from web.browser import chromium

    with chromium() as browser:
        context = browser.new_context(viewport={"width": 1100, "height": 900})
        yield context.new_page()
        context.close()


MEASURED = """() => [...document.querySelectorAll('svg')].map(svg => ({
  wide: svg.viewBox.baseVal.width, high: svg.viewBox.baseVal.height,
  rules: [...svg.querySelectorAll(':scope > path:not(.fixed)')].map(one => { const b = one.getBBox();
    return [b.x, b.y, b.x + b.width, b.y + b.height]; }),
  texts: [...svg.querySelectorAll('text')].map(one => { const b = one.getBBox(); const cell = one.closest('.cell');
    return {said: one.textContent, cell: cell ? cell.dataset.passage + ' ' + cell.dataset.chair : '',
      box: [b.x, b.y, b.x + b.width, b.y + b.height], base: +one.getAttribute('y')}; }),
  strips: [...svg.querySelectorAll('.cell path')].map(one => { const b = one.getBBox();
    const m = one.transform.baseVal.numberOfItems ? one.transform.baseVal.getItem(0).matrix.e : 0;
    return [b.x + m, b.y, b.x + m + b.width, b.y + b.height, one.getAttribute('class')]; }),
}))"""


@pytest.mark.parametrize("which", [pictures, crowded], ids=["ten passages", "crowded"])
def test_no_word_meets_a_rule_a_strip_or_another_word(page: Any, which: Any) -> None:
    page.set_content('<body style="margin:0;width:1050px">' + "".join(which()) + "</body>")
    systems = page.evaluate(MEASURED)
    assert len(systems) == len(which())
    for one in systems:
        upright = [(x0, y0, y1) for x0, y0, x1, y1 in one["rules"] if x1 - x0 < 0.01]
        level = [(y0, x0, x1) for x0, y0, x1, y1 in one["rules"] if y1 - y0 < 0.01 and x1 - x0 > 200]
        assert len(upright) >= 2 and len(level) > 5
        assert len(one["texts"]) > 30
        for text in one["texts"]:
            x0, y0, x1, _ = text["box"]
            base, said = text["base"], (text["said"], text["box"])
            assert x0 >= -1.5 and x1 <= one["wide"] + 0.5 and y0 >= -2, said  # a box is a pixel wider than its ink
            top = base - 8.5  # ink, not the line's whole height
            assert all(x1 < x or x0 > x or base + 2.5 < y or top > yy for x, y, yy in upright), said
            assert all(base + 2.5 < y or top > y or x1 < a or x0 > b for y, a, b in level), said
            for a, b, c, d, kind in one["strips"]:
                if kind != "fixed":
                    assert x1 < a or x0 > c or base < b or top > d, (said, kind)
        boxes = [(*text["box"][::2], text["base"]) for text in one["texts"] if text["said"].strip()]
        for k, (x0, x1, y) in enumerate(boxes):
            assert not [b for b in boxes[k + 1 :] if abs(b[2] - y) < 9 and x0 < b[1] and b[0] < x1]


def test_the_assumed_widths_hold_in_the_browser(page: Any) -> None:
    """Every text of the sheet is at most as wide as it was taken to be."""
    texts = ["tune", "counter-tune p", "inner 2 div.", "bass 8vb pizz.", "figuration 12", "double bass of bassoon 2"]
    measured = page.evaluate(
        """texts => { const pen = document.createElement('canvas').getContext('2d');
        pen.font = "100px Georgia, 'Times New Roman', serif"; return texts.map(one => pen.measureText(one).width); }""",
        texts,
    )
    for text, width in zip(texts, measured, strict=True):
        assert width <= text_width(text, 100) + 0.5
