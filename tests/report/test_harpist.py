"""The page for the harpist says what the plan says, prints on both sizes of paper, and takes names as text."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import etree
from lxml import html as lxml_html

import seeds
from corpus import shared
from deskproof import document
from deskproof.check import check
from deskproof.cli import main
from deskproof.demo import SCORE
from deskproof.families.harp.planning import HarpPlan
from deskproof.gliss import asked_for
from deskproof.report.as_json import plans
from deskproof.report.gliss_page import SHOWN, first_octaves, gliss_page
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


@pytest.mark.parametrize("name", ["demo", "Boulanger"])
def test_the_places_of_the_changes_are_those_of_the_record(name: str):
    """Bar, beat where it is a simple one, and which time where bars are repeated."""
    path = SCORE if name == "demo" else shared("boulanger-matin-bars-1-100.mxl")
    read = document.read(path)
    report = check(read.score)
    (section,) = lxml_html.fromstring(proof_html(read, report, [])).xpath("//section[@class='stand']")
    (record,) = (one for one in plans(report.state) if one["kind"] == "harp")
    said = [one.text for one in section.xpath(".//tbody/tr/th")]
    assert len(said) == len(record["changes"]) > 10
    for words, change in zip(said, record["changes"], strict=True):
        assert re.match(rf"bar {change['bar']}, (after )?beat ", words)
        assert ("time" in words) == (change["pass"] > 1)
        assert change["pass"] != 2 or words.endswith(", 2nd time")
        beat = Fraction(change["beat"])
        if beat.denominator <= 4:
            part = {Fraction(0): "", Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}.get(beat % 1)
            assert part is None or f", beat {int(beat)}{part}" in words
        else:
            assert f", after beat {int(beat)}" in words
    assert any("2nd time" in words for words in said) == (name == "demo")


def test_the_columns_are_named_once_for_the_eye():
    section, _ = page(SCORE.read_bytes())
    heads = section.xpath(".//thead")
    assert len(heads) > 1
    assert [one.get("class") for one in heads] == [None, *["aside"] * (len(heads) - 1)]


def test_each_setting_of_a_glissando_is_drawn_once():
    marks = [[0, "gliss"], [1, "gliss-end"], [2, "gliss"], [3, "gliss-end"], [4, "gliss"], [5, "gliss-end"]]
    printed = [[0, "pedals D C B E F G A"], [4, "pedals D C B E F# G A"]]
    section, _ = page(harp("C4/2 C6/2 C4/2 A5/2 D4/2 D6/2", marks=[*marks, *printed]))
    (figures,) = section.xpath(".//h3[text()='Glissandi']/following-sibling::*[1]")
    assert settings(figures) == [dict(zip("DCBEFGA", row, strict=True)) for row in ([0] * 7, [0, 0, 0, 0, 1, 0, 0])]
    said = [one.text_content() for one in figures.xpath(".//figcaption")]
    assert "Bar 1, beat 1 from C4 to C6; bar 2, beat 1 from C4 to A5:" in said[0]
    assert "Bar 3, beat 1 from D4 to D6:" in said[1]
    section, _ = page(harp("C4/2 C6/2", marks=[[0, "gliss"], [1, "gliss-end"]]))
    assert "without a printed setting" in section.text_content()


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
    """Each beside the mend that says it, and no other mend has one."""
    raw = harp("C4/2 C6/2", part="Harp <i>", marks=[[0, "gliss"], [1, "gliss-end"], [0, "words gliss. in C♭ major"]])
    for read in (document.from_bytes(SCORE.read_bytes()), document.from_bytes(raw)):
        report = check(read.score)
        (finding,) = [one for one in report.findings if one.rule.id == "harp-no-setting" and one.level == "notation"]
        tree = lxml_html.fromstring(proof_html(read, report, [finding]))
        (article,) = tree.xpath("//article")
        assert settings(article) == [dict(one) for one in finding.numbers["settings"]] != []
        assert not tree.xpath("//i")
        for section in article.xpath(".//section[@class='mend']"):
            said = section.xpath("string(h4)")
            assert len(settings(section)) == ("set the pedals" in said)
            for setting in settings(section):
                words = [f"{letter}{'♮♯♭'[at]}" for letter, at in setting.items()]
                assert f"{' '.join(words[:3])} | {' '.join(words[3:])}" in said


def test_a_mend_without_a_picture_does_not_hold_the_next_finding_on_its_page():
    style = proof_html(document.from_bytes(harp("C4/1")), check(document.from_bytes(harp("C4/1")).score), [])
    printed = style[style.index("@media print") :]
    assert printed.index("h4 { break-after: avoid; }") < printed.index("h4:last-child { break-after: auto; }")


def test_gliss_writes_a_page_with_the_first_octaves(tmp_path: Any):
    target = tmp_path / "gliss.html"
    run = CliRunner()
    assert run.invoke(main, ["gliss", "C D E G A", "-o", str(target)]).exit_code == 0
    tree = lxml_html.fromstring(target.read_text(encoding="utf-8"))
    assert settings(tree) == [dict(zip("DCBEFGA", (0, 0, 1, 0, -1, 0, 0), strict=True))]
    assert tree.xpath("//*[contains(@class, 'music')]")
    again = run.invoke(main, ["gliss", "C D E G A", "-o", str(target)])
    assert again.exit_code == 2 and "exists already" in again.output


@pytest.mark.parametrize("wanted", ["C E G", "Bb9", "whole tone"])
def test_the_octave_of_each_setting_is_engraved(wanted: str):
    """Seven notes upwards from C under each setting, as its pedals stand; no bar is numbered."""
    asked = asked_for(wanted)
    nears = [near for near, _ in asked.rows[:SHOWN]]
    tree = lxml_html.fromstring(gliss_page(asked))
    assert settings(tree) == [near.setting.positions for near in nears]
    pictures = tree.xpath("//*[local-name()='svg'][contains(@class, 'music')]")
    assert len(pictures) == len(nears) == len(tree.xpath("//article"))
    score = etree.fromstring(first_octaves(nears))
    for near, part in zip(nears, score.iter("part"), strict=True):
        steps = [one.text for one in part.iter("step")]
        alters = [int(one.text or "") for one in part.iter("alter")]
        assert steps == list("CDEFGAB") and len(set(part.xpath(".//octave/text()"))) == 1
        assert dict(zip(steps, alters, strict=True)) == near.setting.positions
        signs = [one.text for one in part.iter("accidental")]
        assert signs == [{-1: "flat", 0: "natural", 1: "sharp"}[at] for at in alters]
    for picture, near in zip(pictures, nears, strict=True):
        words = picture.xpath("string(*[local-name()='title'])")
        assert words.split()[2:] == [
            f"{letter}{'♭' if at < 0 else '♯' if at else ''}"
            for letter, at in ((letter, near.setting.positions[letter]) for letter in "CDEFGAB")
        ]
        assert not picture.xpath(".//*[local-name()='text']")


def test_the_words_of_a_chord_are_text_on_the_page(tmp_path: Any):
    done = CliRunner().invoke(main, ["gliss", "<b>C</b>", "-o", str(tmp_path / "x.html")])
    assert done.exit_code == 2 and not (tmp_path / "x.html").exists()
