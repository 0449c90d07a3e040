"""The page for the harpist says what the plan says, prints on both sizes of paper, and takes names as text."""

from __future__ import annotations

import re
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import html as lxml_html

import seeds
from corpus import shared
from deskproof import document
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE
from deskproof.families.harp.planning import HarpPlan
from deskproof.report.proof import proof_html

SIGN = {"♭": -1, "♮": 0, "♯": 1}


def page(raw: bytes) -> tuple[Any, HarpPlan]:
    """The page of the harpist as a tree, and the plan it was made from."""
    read = document.from_bytes(raw)
    report = check(read.score)
    tree = lxml_html.fromstring(proof_html(read, report, []))
    (section,) = tree.xpath("//section[@class='stand']")
    plan = next(p for p in report.state.plans.values() if isinstance(p, HarpPlan))
    return section, plan


def harp(notes: str, **more: Any) -> bytes:
    return seeds.score({"instrument": "harp", "tempo": 60, "notes": notes, **more})


def settings(section: Any) -> list[dict[str, int]]:
    """The settings that the diagrams of the page say, by their own strokes: above the line flat, below it sharp."""
    found = []
    for figure in section.xpath(".//*[local-name()='svg'][@class='pedals']"):
        strokes = figure.xpath(".//*[@class='stroke']")
        line = float(figure.xpath(".//*[@class='reference']")[0].get("d").split()[1].split("H")[0])
        at = []
        for stroke in strokes:
            top, bottom = (float(one) for one in re.match(r"M\S+ (\S+)V(\S+)", stroke.get("d")).groups())  # type: ignore[union-attr]
            at.append(-1 if bottom < line else 1 if top > line else 0)
        found.append(dict(zip("DCBEFGA", at, strict=True)))
    return found


def changes(section: Any) -> list[tuple[str, int, int, str]]:
    rows = []
    for row in section.xpath(".//tbody/tr"):
        pedal, foot = row.xpath("./td[1]")[0].text, row.xpath("./td[2]")[0].text
        before, after = pedal.split(" to ")
        rows.append((before[0], SIGN[before[1]], SIGN[after[1]], foot.split()[0]))
    return rows


def planned(plan: HarpPlan) -> list[tuple[str, int, int, str]]:
    assert plan.pedals is not None
    return [(c.pedal, c.before, c.after, c.foot) for c in plan.pedals.changes]


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param(lambda: SCORE.read_bytes(), id="demo"),
        pytest.param(lambda: shared("boulanger-matin-bars-1-100.mxl").read_bytes(), id="Boulanger"),
        pytest.param(lambda: harp("C4+E4/1 C#4+E4/1 C4+Eb4/1 F#4+Bb4/1 C#4+G#4/1 C4+G4/1"), id="invented"),
    ],
)
def test_all_changes_stand_in_order_and_the_diagrams_follow_from_them(raw: Any):
    section, plan = page(raw())
    assert plan.pedals is not None
    assert changes(section) == planned(plan)
    drawn = settings(section)
    stands = dict(plan.pedals.initial)
    assert drawn[0] == stands
    ways = [dict(stands)]
    for change in plan.pedals.changes:
        stands[change.pedal] = change.after
        ways.append(dict(stands))
    assert all(one in ways for one in drawn)


def test_only_what_the_part_needs_is_said():
    section, _ = page(harp("C4/4 E4/4 G4/4 C5/4"))
    assert [one.text for one in section.xpath(".//h3")] == []
    assert "No pedal moves." in section.text_content()
    section, _ = page(harp("C1/4 E4/4 F4+F#4/2 C5/1", marks=[[3, "harmonic"]]))
    text = section.text_content()
    assert "C1 string: natural" in text
    assert "F♯ as G♭: bar 1" in text
    assert "C5 string, sounds C6: bar 2" in text


def test_the_part_name_is_text():
    section, _ = page(harp("C4/1", part="Harp <script>1</script>"))
    assert not section.xpath(".//script") and "<script>" in section.text_content()


def test_no_paper_is_asked_for():
    """A4 and Letter both: the style names margins, and no size."""
    read = document.from_bytes(harp("C4/1"))
    style = re.search(r"<style>(.*?)</style>", proof_html(read, check(read.score), []), re.S)
    assert style is not None
    assert "@page" in style.group(1) and not re.search(r"@page[^}]*size", style.group(1))
    assert re.search(r"\.stand \{ break-before: page; \}", style.group(1))


def test_rows_of_pedals_stand_where_pedals_move_and_hands_where_hands_are_meant():
    """Five notes for one hand: the hands are told, and no pedal line is drawn where none moves."""
    read = document.from_bytes(SCORE.read_bytes())
    report = check(read.score)
    (hands,) = [one for one in report.findings if one.rule.id == "harp-chord-hands"]
    tree = lxml_html.fromstring(proof_html(read, report, [hands]))
    assert tree.xpath("//*[@class='hand-rows']") and not tree.xpath("//*[@class='pedal-rows']")
    quick = [one for one in report.findings if one.rule.id == "harp-ringing"]
    tree = lxml_html.fromstring(proof_html(read, report, quick))
    assert tree.xpath("//*[@class='hand-rows']") and tree.xpath("//*[@class='pedal-rows']")


def test_the_settings_of_a_glissando_are_drawn_inside_its_finding():
    read = document.from_bytes(SCORE.read_bytes())
    report = check(read.score)
    (finding,) = [one for one in report.findings if one.rule.id == "harp-no-setting" and one.level == "notation"]
    tree = lxml_html.fromstring(proof_html(read, report, [finding]))
    (article,) = tree.xpath("//article")
    assert settings(article) == [dict(one) for one in finding.numbers["settings"]]


def test_gliss_writes_a_page_with_the_first_octaves(tmp_path: Any):
    target = tmp_path / "gliss.html"
    run = CliRunner()
    assert run.invoke(main, ["gliss", "C D E G A", "-o", str(target)]).exit_code == 0
    tree = lxml_html.fromstring(target.read_text(encoding="utf-8"))
    assert settings(tree) == [dict(zip("DCBEFGA", (0, 0, 1, 0, -1, 0, 0), strict=True))]
    assert tree.xpath("//*[contains(@class, 'music')]")
    again = run.invoke(main, ["gliss", "C D E G A", "-o", str(target)])
    assert again.exit_code == 2 and "exists already" in again.output
