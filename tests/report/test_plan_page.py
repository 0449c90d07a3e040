"""The page of a plan: the sheet, all of it again in tables, safe, in order; and the same as text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import pytest
from lxml import html

import plan_example as example
from deskproof.report.plan_page import CAUTIONS, as_text, forces_words, page
from deskproof.scoring.hall import standard
from deskproof.scoring.records import Line, Passage, PlannedPassage, ScoringPlan, Who
from deskproof.scoring.said import said_of

UNSAID = ("slack", "bound", "optimal", "casting", "fingerprint", "timeline", "event")


@cache
def text() -> str:
    return page(example.PLAN, example.passages(), example.hall(), example.sketch(), ("The pedal was read as printed.",))


def root() -> Any:
    return html.fromstring(text())


def said(element: Any) -> str:
    return " ".join(element.text_content().split())


def test_the_page_loads_nothing_and_runs_nothing() -> None:
    assert not root().xpath("//script|//link|//img|//iframe|//object|//form|//*[@style]|//*[@src]")
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|url\(|@import|@font-face", text())
    assert "default-src 'none'" in root().xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]


def test_ids_are_unique_and_headings_go_down_one_step_at_a_time() -> None:
    ids = root().xpath("//@id")
    assert len(ids) == len(set(ids)) > 0
    levels = [int(h.tag[1]) for h in root().xpath("//h1|//h2|//h3|//h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for table in root().xpath("//table"):
        assert all(cell.get("scope") for cell in table.xpath(".//th"))


def test_every_line_of_the_plan_stands_in_the_table_once() -> None:
    bodies = root().xpath("//h2[contains(., 'passage by passage')]/following-sibling::div[1]/table/tbody")
    assert len(bodies) == len(example.PLANNED)
    for body, planned in zip(bodies, example.PLANNED, strict=True):
        first, *rows = body.xpath("tr")
        assert planned.bars.split("-")[0] in said(first)
        assert len(rows) == len(planned.lines) + len(planned.tacet)
        for row, line in zip(rows, planned.lines, strict=False):
            strand, who, octave, dynamic, why, chosen = [said(cell) for cell in row]
            assert (strand, dynamic, why) == (line.strand, line.dynamic, line.why)
            assert who == (", ".join(f"{one.chair} {one.how}".strip() for one in line.who) or "nobody")
            for one in line.who:
                assert (one.chair in octave) == bool(one.octave)
            assert chosen == ("composer, fixed" if line.fixed else "planner")
        for row, tacet in zip(rows[len(planned.lines) :], planned.tacet, strict=True):
            assert all(word in said(row) for word in (*tacet.who, tacet.why))


def test_the_sentences_of_the_plan_and_the_cautions_stand_on_the_page() -> None:
    whole = said(root())
    for sentence in (*said_of(example.PLAN), *CAUTIONS, "The pedal was read as printed.", forces_words(example.hall())):
        assert sentence in whole
    assert "Rank correlation of dynamics and players: 0.96" in whole
    assert not [word for word in UNSAID if re.search(rf"\b{word}s?\b", whole, re.IGNORECASE)]


def test_what_comes_from_the_files_is_text() -> None:
    rude = "<b>&amp;</b>\"'"
    planned = PlannedPassage(
        "1-8", mark="<A>", dynamic="p", weight=rude, lines=(Line(f"tune{rude}", (Who(rude),), rude, why=rude),)
    )
    sketch = replace(example.sketch(), score=replace(example.sketch().score, title=rude))
    made = page(ScoringPlan(passages=(planned,)), [Passage(0, 7, ())], example.hall(), sketch)
    assert not html.fromstring(made).xpath("//b")
    assert rude in said(html.fromstring(made).xpath("//h1")[0])


def test_the_forces_are_told_in_words() -> None:
    assert forces_words(example.hall()).startswith("For flute 1, flute 2 (also piccolo), oboe 1, ")
    assert forces_words(example.hall()).endswith("cello (8 players) and double bass (6 players).")
    assert forces_words(standard()).startswith("No forces were given: for an orchestra with two of each woodwind")


def test_a_sketch_without_a_title_is_called_by_its_file() -> None:
    sketch = replace(example.sketch(), score=replace(example.sketch().score, title=""), name="folder/tide.musicxml")
    made = as_text(example.PLAN, example.passages(), example.hall(), sketch)
    assert made.startswith("Scoring of tide.musicxml\n")


def test_as_many_passages_as_the_plan_has() -> None:
    for write in (page, as_text):
        with pytest.raises(ValueError):
            write(example.PLAN, example.passages()[1:], example.hall(), example.sketch())


def test_the_text_reads_as_a_composer_would_say_it() -> None:
    made = as_text(example.PLAN, example.passages(), example.hall(), example.sketch())
    blocks = made.split("\n\n")
    assert blocks[1].splitlines() == [
        "A: bars 1–8, p, thin",
        "  tune: oboe 1, p espr. (composer, fixed)",
        "  inner part 1: violin 2, p",
        "  inner part 2: viola, p",
        "  bass: cello pizz., double bass 8vb pizz., p (8 foot with the 16 foot)",
        f"  brass silent: {example.KEPT}",
        "  the tune has 1, the strongest other strand 2 (bass)",
        "  or: the tune to clarinet 1 instead of oboe 1; costs 3 more",
        "  or: the inner part 2 to clarinet 1 instead of viola; double bass not in the bass; costs 6 more",
    ]
    assert len(blocks) == len(example.PLANNED) + 2
    assert "  inner part 3: left out\n" in made
    assert "bar 25, pp, thin\n" in made


@pytest.mark.parametrize("width", [60, 80])
def test_the_text_keeps_to_a_width_and_loses_no_word(width: int) -> None:
    wide = as_text(example.PLAN, example.passages(), example.hall(), example.sketch())
    made = as_text(example.PLAN, example.passages(), example.hall(), example.sketch(), width)
    assert made.split() == wide.split()
    assert max(map(len, made.splitlines())) <= width < max(map(len, wide.splitlines()))


def test_a_plan_of_the_planner_fits_the_page_as_it_is() -> None:
    planning = pytest.importorskip("deskproof.scoring.planning")
    done = planning.scored(example.sketch(8), example.hall(), seconds=2.0, alternatives=1)
    made = html.fromstring(page(done.plan, done.passages, done.hall, done.sketch))
    cells = {(one.get("data-passage"), one.get("data-chair")) for one in made.xpath("//*[@class='cell']")}
    for k, planned in enumerate(done.plan.passages):
        for line in planned.lines:
            assert {(str(k), one.chair) for one in line.who} <= cells
    assert [row for row in done.plan.passages if row.bars in said(made).replace("–", "-")]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from web.browser import chromium

    with chromium() as one:
        yield one


@pytest.mark.parametrize("width", [1280, 640, 390])
def test_only_the_sheet_and_tables_scroll_sideways(browser: Any, width: int) -> None:
    """640 pixels are a page of 1280 at 200 %."""
    shown = browser.new_page(viewport={"width": width, "height": 800})
    shown.set_content(text())
    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    sheet = shown.evaluate("document.querySelector('svg.sheet').getBoundingClientRect().width")
    assert sheet >= 900  # never so small that its letters cannot be read
    shown.close()


def test_in_print_no_system_is_parted_and_all_is_as_wide_as_the_paper(browser: Any) -> None:
    shown = browser.new_page(viewport={"width": 1032, "height": 700})
    shown.set_content(text())
    shown.emulate_media(media="print")
    boxes = shown.evaluate(
        "[...document.querySelectorAll('svg.sheet')].map(one => { const b = one.getBoundingClientRect(); "
        "return [b.width, b.height, getComputedStyle(one.parentNode).breakInside]; })"
    )
    printed = shown.pdf(prefer_css_page_size=True)
    assert len(boxes) == 2
    for wide, high, inside in boxes:
        assert wide <= 1032 and high <= 178 / 25.4 * 96 + 1 and inside == "avoid"
    assert printed.startswith(b"%PDF") and len(re.findall(rb"/MediaBox \[0 0 84[12]", printed)) >= 2
    shown.close()
