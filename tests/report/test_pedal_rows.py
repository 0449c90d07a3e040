"""The proof of a harp part: its first setting drawn once, and the pedals under the bars of every harp finding."""

from __future__ import annotations

import re
from functools import cache

import pytest
from lxml import etree, html

from corpus import shared
from deskproof import document
from deskproof.check import Report, check
from deskproof.demo import SCORE
from deskproof.families.harp.planning import HarpPlan
from deskproof.report.proof import proof_html

SCORES = ["demo", "boulanger-matin-bars-1-100.mxl"]
NAMES = {-1: "flat", 0: "natural", 1: "sharp"}


@cache
def proved(name: str) -> tuple[html.HtmlElement, Report]:
    read = document.read(SCORE if name == "demo" else shared(name))
    report = check(read.score)
    return html.fromstring(proof_html(read, report)), report


def plans(report: Report) -> dict[int, HarpPlan]:
    return {part: plan for (_, part), plan in report.state.plans.items() if isinstance(plan, HarpPlan)}


@pytest.mark.parametrize("name", SCORES)
def test_every_harp_finding_has_its_rows_and_no_other_has(name: str) -> None:
    """Hands for each; pedals too, save where hands are meant and no pedal moves."""
    page, report = proved(name)
    articles = page.xpath("//article[@class='finding']")
    assert len(articles) == len(report.findings)
    counts = [len(article.xpath(".//*[@class='pedal-rows']")) for article in articles]
    hands = [len(article.xpath(".//*[@class='hand-rows']")) for article in articles]
    assert hands == [int(finding.rule.id.startswith("harp-")) for finding in report.findings]
    still = [finding.rule.id == "harp-chord-hands" for finding in report.findings]
    assert counts == [one * (not of_hands) for one, of_hands in zip(hands, still, strict=True)]
    assert 0 < sum(counts) < len(counts)
    assert len(page.xpath("//*[@class='pedal']")) == 7 * sum(counts)
    for article in articles:
        for group in article.xpath(".//*[@class='pedal-rows']"):
            title = group.xpath("string(ancestor::*[local-name()='svg']/*[local-name()='title'])")
            assert re.search(r"The pedals where these bars begin: left foot D \w+, .*; right foot E \w+, ", title)


@pytest.mark.parametrize("name", SCORES)
def test_the_section_of_a_harp_begins_with_its_setting_and_the_count_of_changes(name: str) -> None:
    page, report = proved(name)
    drawn = page.xpath("//*[local-name()='svg' and @class='pedals'][not(ancestor::section or ancestor::article)]")
    assert len(drawn) == len(plans(report)) == 1
    ((part, plan),) = plans(report).items()
    assert plan.pedals is not None and plan.pedals.changes and plan.pedals.proven
    head = page.xpath("//h2[not(ancestor::section)][following-sibling::*[1][self::figure]/*[@class='pedals']]")
    assert [h.text_content() for h in head] == [report.state.score.parts[part].name]
    said = drawn[0].xpath("string(*[local-name()='title'])")
    assert re.findall(r"\b([A-G]) (flat|natural|sharp)", said) == [
        (letter, NAMES[plan.pedals.initial[letter]]) for letter in "DCBEFGA"
    ]
    sentence = head[0].xpath("string(following-sibling::p[1])")
    assert sentence.startswith(f"Pedals: {len(plan.pedals.changes)} changes; no plan needs fewer changes. ")
    tempo = re.search(r"Played (\d+) % faster it still works", sentence)
    least = min(change.faster for change in plan.pedals.changes)
    assert (int(tempo[1]) if tempo else 0) == int(100 * (least - 1) + 1e-9)


def test_the_quick_change_that_a_finding_names_is_in_its_picture() -> None:
    """Also where the foot moves in the bar before the note: that bar is then shown too."""
    page, report = proved("boulanger-matin-bars-1-100.mxl")
    seen = 0
    for number, finding in enumerate(report.findings, 1):
        if finding.rule.id not in ("harp-pedal-quick", "harp-one-foot-twice"):
            continue
        said = page.xpath(f"//*[@id='finding-{number}']//*[@class='spare']/text()")
        assert f"quick, 0.{finding.numbers['have_us'] // 10_000:02d} s in all" in said
        seen += 1
    assert seen


def test_the_rows_have_no_colour_and_no_ground() -> None:
    page, _ = proved("demo")
    for group in page.xpath("//*[@class='pedal-rows' or @class='pedals']"):
        values = {value for key in ("fill", "stroke") for value in group.xpath(f".//@{key}")}
        assert values <= {"none", "#000", "#777"}
        assert not group.xpath(".//*[local-name()='rect' or local-name()='circle' or @style or @fill-opacity]")


@pytest.mark.parametrize("name", SCORES)
def test_the_pictures_are_well_formed(name: str) -> None:
    read = document.read(SCORE if name == "demo" else shared(name))
    text = proof_html(read, check(read.score))
    pictures = re.findall(r"<svg .*?</svg>", text, re.DOTALL)
    kinds = [etree.fromstring(one).get("class") for one in pictures]
    assert kinds.count("pedals") > 1 and kinds.count("music") > 1


def test_a_harp_without_findings_still_has_its_section() -> None:
    read = document.read(SCORE)
    report = check(read.score)
    others = [finding for finding in report.findings if not finding.rule.id.startswith("harp-")]
    for chosen in (others, others[:1], []):
        page = html.fromstring(proof_html(read, report, chosen))
        assert len(page.xpath("//*[local-name()='svg' and @class='pedals'][not(ancestor::section)]")) == 1
        assert not page.xpath("//*[@class='pedal-rows']")
        heads = [h.text_content() for h in page.xpath("//h2")]
        names = [part.name for part in report.state.score.parts if part.name in heads]
        assert [head for head in heads if head in names] == names and "Harp" in names


def test_a_score_without_a_harp_has_no_pedals() -> None:
    page, report = proved("beethoven-symphony-6-4.mxl")
    assert not plans(report)
    assert not page.xpath("//*[@class='pedals' or @class='pedal-rows']")
