"""The printed proof: whole, safe, in order, and with as many pictures and rings as there are findings."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from itertools import pairwise

import pytest
from lxml import etree, html

from corpus import shared
from deskproof import document
from deskproof.check import Report, check
from deskproof.demo import SCORE
from deskproof.edits import SetTranspose
from deskproof.findings import Effect, Mend
from deskproof.report.proof import proof_html
from deskproof.score import NoteRef


@cache
def proved(name: str) -> tuple[str, Report]:
    read = document.read(SCORE if name == "demo" else shared(name))
    report = check(read.score)
    return proof_html(read, report), report


SCORES = ["demo", "boulanger-matin-bars-1-100.mxl", "beethoven-symphony-6-4.mxl"]


@pytest.mark.parametrize("name", SCORES)
def test_every_finding_has_one_ring_and_every_mend_two_pictures(name: str) -> None:
    text, report = proved(name)
    page = html.fromstring(text)
    articles = page.xpath("//article[@class='finding']")
    assert len(articles) == len(report.findings) > 0
    for number, (article, finding) in enumerate(zip(articles, report.findings, strict=True), 1):
        rings = article.xpath(".//*[@class='ring']")
        assert [ring.xpath("string(.//text)") for ring in rings] == [str(number)]
        written = sum(bool(mend.edits) for mend in finding.mends)
        assert len(article.xpath(".//*[local-name()='svg' and @class='music']")) == 1 + 2 * written
        assert article.xpath(".//*[@class='bracket']")
        said = " ".join(article.text_content().split())
        assert f"{number}. {finding.level}: {finding.says}" in said
        for mend in finding.mends:
            assert mend.says in said
    assert len(page.xpath("//*[@class='ring']")) == len(report.findings)


@pytest.mark.parametrize("name", SCORES)
def test_the_page_loads_nothing_and_runs_nothing(name: str) -> None:
    text, _ = proved(name)
    page = html.fromstring(text)
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    style = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    assert len(style) == 1
    digest = base64.b64encode(hashlib.sha256(style[0].encode()).digest()).decode()
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert not page.xpath("//script|//link|//img|//iframe|//object|//form|//*[@style]|//*[@src]")
    links = {*page.xpath("//@href"), *page.xpath("//@*[name()='xlink:href']")}
    assert links and all(link.startswith("#") for link in links)
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|url\(|@import|@font-face", text)


@pytest.mark.parametrize("name", SCORES)
def test_ids_are_unique_and_every_link_has_its_aim(name: str) -> None:
    page = html.fromstring(proved(name)[0])
    ids = page.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert {link[1:] for link in page.xpath("//@href")} <= set(ids)
    assert {i for one in page.xpath("//@aria-labelledby") for i in one.split()} <= set(ids)


@pytest.mark.parametrize("name", SCORES)
def test_headings_go_down_one_step_at_a_time(name: str) -> None:
    page = html.fromstring(proved(name)[0])
    levels = [int(h.tag[1]) for h in page.xpath("//h1|//h2|//h3|//h4|//h5|//h6")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert page.get("lang") == "en"
    for picture in page.xpath("//*[local-name()='svg' and @class='music']"):
        assert picture.get("role") == "img" and picture.xpath("string(*[local-name()='title'])")


def test_every_part_is_listed_with_its_notes() -> None:
    """Counted in the file itself: sounding notes that are printed at full right."""
    page = html.fromstring(proved("demo")[0])
    root = etree.fromstring(SCORE.read_bytes())
    names = {p.get("id"): p.findtext("part-name") for p in root.iter("score-part")}
    expected = [
        [names[part.get("id")], str(sum(n.find("rest") is None and n.find("cue") is None for n in part.iter("note")))]
        for part in root.iter("part")
    ]
    rows = page.xpath("//tbody/tr[not(ancestor::section)]")
    assert [[r.xpath("string(th)"), r.xpath("string(td[@class='count'])")] for r in rows] == expected


NASTY = "<script>alert(1)</script>\"'&<b onclick=x>"


def test_names_in_the_score_are_text_and_never_markup() -> None:
    escaped = NASTY.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    data = SCORE.read_bytes()
    data = re.sub(rb"<part-name>Celesta</part-name>", f"<part-name>{escaped}</part-name>".encode(), data)
    data = re.sub(rb"<work-title>[^<]*</work-title>", f"<work-title>{escaped}</work-title>".encode(), data)
    data = re.sub(rb"(<words[^>]*>)[^<]*</words>", rb"\1" + f"{escaped}</words>".encode(), data)
    data = re.sub(rb'<measure number="27"', f'<measure number="{escaped}"'.encode(), data)
    read = document.from_bytes(data)
    report = check(read.score)
    text = proof_html(read, report, file=NASTY)
    page = html.fromstring(text)
    assert "<script" not in text and "<b onclick" not in text
    assert not page.xpath("//script|//b|//*[@onclick]")
    assert NASTY in page.xpath("string(//title)")
    assert any(NASTY in h for h in page.xpath("//h2/text()"))
    assert len(page.xpath("//*[@class='ring']")) == len(report.findings)


def test_some_findings_may_be_printed_alone_and_none_at_all() -> None:
    read = document.read(SCORE)
    report = check(read.score)
    page = html.fromstring(proof_html(read, report, report.findings[2:4]))
    assert page.xpath("//*[@class='ring']//text/text()") == ["1", "2"]
    empty = html.fromstring(proof_html(read, report, []))
    assert "Nothing found." in empty.text_content() and not empty.xpath("//article")


def test_facts_stand_with_their_source_in_words() -> None:
    """The flute's lowest note and its source as facts/woodwind.toml and sources.toml have them."""
    page = html.fromstring(proved("demo")[0])
    said = page.xpath("string(//article[1]//ul[@class='facts']/li[1])")
    assert said == "flute, lowest: C4 (published: Reference table of instrument ranges)"


def test_the_same_score_gives_the_same_page() -> None:
    read = document.read(SCORE)
    assert proof_html(read, check(read.score), file=SCORE.name) == proved("demo")[0]


def test_a_mend_that_nobody_would_see_says_so() -> None:
    read = document.read(SCORE)
    report = check(read.score)
    part = next(p for p in read.score.parts if p.name == "2 Horns in F")
    unseen = Mend("call it a horn in E flat", Effect.CHANGES_SOUND, (SetTranspose(NoteRef(part.id, 0, 0), -9, -5, 0),))
    horns = next(f for f in report.findings if f.notes[0].part == part.id)
    page = html.fromstring(proof_html(read, report, [horns.with_mends([*horns.mends, unseen])]))
    sections = page.xpath("//section[@class='mend']")
    assert ["look the same" in section.text_content() for section in sections] == [False] * len(horns.mends) + [True]
    assert horns.mends
