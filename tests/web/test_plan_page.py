"""The page of a plan: what it shows, what is typed in it, and that nobody's text is lost, typed or on the disk."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
import urllib.error
import urllib.request
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from deskproof import cli, demo, document
from deskproof import forces as forces_
from deskproof.errors import DeskproofError
from deskproof.scoring import hall as hall_
from deskproof.scoring import plan_text, said
from deskproof.scoring import sketch as sketch_
from deskproof.scoring.records import Line, Who
from deskproof.web.folder import Folder, FolderError
from deskproof.web.plan_desk import Plans, StalePlan
from deskproof.web.plan_pages import command
from deskproof.web.plan_typed import TypedError, players, typed_who
from web.browser import NARROW, WIDE, Server, watched
from web.browser import said as told

pytest.importorskip("ortools")
LAMPS = Path(demo.__file__).with_name("lamps.musicxml")
AXE = Path(__file__).resolve().parents[2] / ".venv" / "axe" / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
BARS, SECONDS, PROVEN_S = 16, 5.0, 60.0
Workshop, Own = tuple[Path, Server], tuple[Path, str]
FORCES = """
[players."oboe 1"]
plays = ["oboe"]
[sections]
"violin 1" = { desks = 1 }
"violin 2" = { desks = 1 }
viola = { desks = 1 }
cello = { desks = 1 }
"""
MINE, BESIDE = "# the lamps are lit here; keep it soft", "# not the viola again"


@cache
def hall() -> hall_.Hall:
    return hall_.hall_of(forces_.parse(FORCES, "forces.toml"), FORCES)


@cache
def sketch() -> bytes:
    """The first bars of the demo sketch: so many that the best plan is soon proven."""
    root = etree.fromstring(LAMPS.read_bytes())
    for part in root.iter("part"):
        for measure in part.findall("measure")[BARS:]:
            part.remove(measure)
    return etree.tostring(root)


@cache
def text() -> str:
    """The plan as the planner writes it, with comments of a composer."""
    from deskproof.scoring import planning

    score = document.from_bytes(sketch(), "lamps.musicxml").score
    done = planning.scored(sketch_.sketch_of(score), hall(), seconds=PROVEN_S)
    assert done.plan.status == "proven"  # so it is the same on every machine
    assert "oboe 1" not in [one.chair for one in done.plan.passages[0].lines[0].who]  # else no test asks for a change
    plain = plan_text.write(done.plan)
    first, second = [found.start() for found in re.finditer(r"^\[\[passage\]\]", plain, re.M)][:2]
    commented = re.sub(r'^(who = .*)$', rf"\1  {BESIDE}", plain[first:second], count=1, flags=re.M)
    return f"{plain[:first]}{MINE}\n{commented}{plain[second:]}"


def put(folder: Path, number: list[int] = [0]) -> Path:  # noqa: B006  counts over all tests
    """A sketch of its own with its plan; the path of the plan."""
    number[0] += 1
    (folder / f"lamps{number[0]}.musicxml").write_bytes(sketch())
    place = folder / f"lamps{number[0]}.plan.toml"
    place.write_text(text(), encoding="utf-8")
    return place


def passages(plain: str) -> list[str]:
    """The text of each passage; the composer's comment over one belongs to it."""
    return re.split(r"^(?:# the lamps.*\n)?\[\[passage\]\]$", plain, flags=re.M)[1:]


def table(place: Path) -> list[dict[str, Any]]:
    return list(tomllib.loads(place.read_text("utf-8"))["passage"])


def line(place: Path, at: int, strand: str) -> dict[str, Any]:
    (found,) = [one for one in table(place)[at]["line"] if one["strand"] == strand]
    return dict(found)


# ---------------------------------------------------------------- no browser


@pytest.fixture
def plans(tmp_path: Path) -> Plans:
    return Plans(Folder(tmp_path), Lock(), SECONDS)


def typed(at: int, row: str, value: object, key: str = "who") -> dict[str, object]:
    return {"passage": at, "row": row, "key": key, "value": value}


def again(plans: Plans, place: Path, *fields: dict[str, object], **more: object) -> dict[str, Any]:
    revision = plans.pieces(place.name)["revision"]
    return plans.again(place.name, {"revision": revision, "fields": list(fields), **more})


def test_only_the_edited_passage_changes_and_comments_stay(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    before = passages(place.read_text("utf-8"))
    again(plans, place, typed(0, "tune", "ob 1"))
    now = place.read_text("utf-8")
    assert (line(place, 0, "tune")["who"], line(place, 0, "tune")["by"]) == (["oboe 1"], "composer")
    assert MINE in now and BESIDE in now
    assert passages(now)[1:] == before[1:]
    assert passages(now)[0] != before[0]


def test_nothing_typed_changes_nothing_but_how_good_it_is_known_to_be(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    again(plans, place)
    assert passages(place.read_text("utf-8")) == passages(text())


def test_a_dynamic_a_weight_and_who_is_silent(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    fields = (("tune", "mf cantabile", "dynamic"), ("", "thin", "weight"), ("new", "Viola", "silent"))
    again(plans, place, *(typed(2, *one) for one in fields))
    passage = table(place)[2]
    assert line(place, 2, "tune")["dynamic"] == "mf cantabile"
    assert (passage["weight"], passage["tacet"]) == ("thin", [{"who": "viola"}])
    assert not any("viola" in one["who"] for one in passage["line"])
    again(plans, place, typed(2, "0", "", "silent"))
    assert "tacet" not in table(place)[2]


def test_the_second_scoring_is_taken_whole_and_the_first_can_be_taken_again(
    plans: Plans, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where the planner gives nothing on wishes."""
    monkeypatch.setattr("deskproof.scoring.wishes._Reader._asked", lambda *given: None)
    place = put(tmp_path)
    before = table(place)
    wanted = dict(one.split(": ", 1) for one in before[1]["other"][0]["lines"])
    again(plans, place, take=[1, 0])
    now = table(place)
    for one in now[1]["line"]:
        has = "nobody"
        if one["who"] != has:
            has = ", ".join(map(" ".join, zip(one["who"], one["at"], strict=True))).replace(" unis", "")
        assert wanted.get(one["strand"], "nobody") == has
        assert "fixed" not in one
    assert [one for k, one in enumerate(now) if k != 1] == [one for k, one in enumerate(before) if k != 1]
    first = next(k for k, one in enumerate(now[1]["other"]) if one["cost"] == before[1]["cost"])
    again(plans, place, take=[1, first])
    assert [one["who"] for one in table(place)[1]["line"]] == [one["who"] for one in before[1]["line"]]


def test_an_empty_line_is_the_planners_again_and_nobody_leaves_out(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    again(plans, place, typed(0, "tune", "oboe 1"), typed(0, "accents 2", "nobody"))
    assert line(place, 0, "accents 2")["who"] == "nobody"
    again(plans, place, typed(0, "tune", ""))
    assert line(place, 0, "tune")["by"] == "planner"


def test_a_wish_that_is_not_met_is_said_with_the_words_that_were_typed(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    shown = again(plans, place, typed(0, "tune", "cello 22mb"))
    assert "You asked for cello 3 octaves below in the tune; the planner has" in shown["html"]


def test_a_clash_has_the_words_of_the_command_line_and_nothing_is_written(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    fields = [(typed(0, name, "oboe 1"), typed(0, name, True, "fixed")) for name in ("tune", "accents 1")]
    with pytest.raises(TypedError) as refused:
        again(plans, place, *fields[0], *fields[1])
    assert place.read_text("utf-8") == text()
    by_hand = text()
    for name in ("tune", "accents 1"):
        by_hand = re.sub(rf'(strand = "{name}"\n)who = .*\n', r'\1who = ["oboe 1"]\nfixed = true\n', by_hand, count=1)
    place.write_text(by_hand, encoding="utf-8")
    ran = CliRunner().invoke(cli.main, ["plan", str(place.with_name(place.name.replace(".plan.toml", ".musicxml"))),
                                        "-o", str(place), "--seconds", "5"])  # fmt: skip
    assert ran.exit_code == 2 and "oboe 1" in ran.output
    said = re.sub(r" \(line \d+\)", "", ran.output).strip().replace(f"{place}: ", "")
    assert f"deskproof: {refused.value}" == said
    assert [one.passage for one in refused.value.wrong] == [0]


@pytest.mark.parametrize("many", [0, 2])
def test_the_sketch_of_a_plan_is_the_one_beside_it(plans: Plans, tmp_path: Path, many: int) -> None:
    place = put(tmp_path)
    sketch = place.with_name(place.name.replace(".plan.toml", ".musicxml"))
    if many:
        shutil.copy(sketch, sketch.with_suffix(".xml"))
    else:
        sketch.rename(tmp_path / "another.musicxml")
    with pytest.raises(FolderError, match="Keep one of them" if many else "no sketch stands beside it"):
        plans.pieces(place.name)


def test_one_score_opened_has_its_own_plan_and_no_other(tmp_path: Path) -> None:
    one, other = put(tmp_path), put(tmp_path)
    opened = Folder(one.with_name(one.name.replace(".plan.toml", ".musicxml")))
    assert opened.plans() == (one.name,)
    for name in (other.name, "../x.plan.toml", "", ".plan.toml"):
        with pytest.raises(FolderError):
            opened.plan(name)
    (tmp_path / "link.plan.toml").symlink_to(one)
    assert set(Folder(tmp_path).plans()) == {one.name, other.name}


@pytest.mark.parametrize("what", ["plan", "sketch"])
def test_what_changed_on_the_disk_meanwhile_is_not_written_over(plans: Plans, tmp_path: Path, what: str) -> None:
    place = put(tmp_path)
    revision = plans.pieces(place.name)["revision"]
    changed = place if what == "plan" else place.with_name(place.name.replace(".plan.toml", ".musicxml"))
    changed.write_bytes(changed.read_bytes() + (b"# edited\n" if what == "plan" else b"\n"))
    now = place.read_bytes()
    with pytest.raises(StalePlan):
        plans.again(place.name, {"revision": revision, "fields": [typed(0, "tune", "oboe 1")]})
    assert place.read_bytes() == now


def test_an_edit_while_it_is_planned_is_not_written_over(
    plans: Plans, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from deskproof.scoring import planning

    place, inner = put(tmp_path), planning.scored

    def slow(*given: Any, **more: Any) -> Any:
        done = inner(*given, **more)
        place.write_text(text() + "# edited\n", encoding="utf-8")
        return done

    monkeypatch.setattr(planning, "scored", slow)
    with pytest.raises(StalePlan):
        again(plans, place, typed(0, "tune", "oboe 1"))
    assert place.read_text("utf-8") == text() + "# edited\n"


def test_a_plan_without_lines_is_shown_and_planned(plans: Plans, tmp_path: Path) -> None:
    place = put(tmp_path)
    place.write_text(f"[forces]\ntext = '''{FORCES}'''\n\n[[passage]]\nbars = \"1-4\"\n", encoding="utf-8")
    shown = plans.pieces(place.name)["html"]
    assert "Not planned yet as the sketch and the lines stand now: bars 1–4" in shown
    again(plans, place, typed(0, "tune", "oboe 1"))
    assert line(place, 0, "tune")["who"] == ["oboe 1"]


WRONG: list[object] = [
    None, {}, "x", [1], [{"passage": 0}], [typed(99, "tune", "x")], [typed(-1, "tune", "x")],
    [typed(0, "no strand", "oboe 1")], [typed(0, "tune", 5)],
    [typed(0, "tune", "x", "by")], [typed(0, "", "heavy", "weight")], [typed(0, "tune", "x" * 5000)],
    [typed(0, "tune", "\ud800")], [typed(0, "tune", "oboe 1, oboe 1")], [typed(0, "tune", True)],
]  # fmt: skip


@pytest.mark.parametrize("fields", WRONG, ids=range(len(WRONG)))
def test_what_a_page_must_not_send(plans: Plans, tmp_path: Path, fields: object) -> None:
    place = put(tmp_path)
    revision = plans.pieces(place.name)["revision"]
    with pytest.raises(DeskproofError):
        plans.again(place.name, {"revision": revision, "fields": fields})
    for take in ([9, 0], [0, 9], [0], "x", [0, "0"]):
        with pytest.raises(DeskproofError):
            plans.again(place.name, {"revision": revision, "fields": [], "take": take})
    assert place.read_text("utf-8") == text()


ROOM = """
[players."flute 1, first desk"]
plays = ["flute", "piccolo"]
[players.harp]
plays = ["harp"]
[sections]
"violin 1" = { desks = 6 }
"double bass" = { desks = 2 }
"""


@given(st.data())
def test_what_a_field_shows_is_read_back_as_it_was(data: st.DataObject) -> None:
    room = hall_.hall_of(forces_.parse(ROOM, "room"), ROOM)
    chairs = data.draw(st.lists(st.sampled_from([one.name for one in room.chairs]), min_size=1, unique=True))
    how = st.sampled_from(["", "pizz.", "pizz", "arco", "con sord.", "harmonics", "div."])
    who = tuple(Who(one, data.draw(st.integers(-3, 3)), data.draw(how)) for one in chairs)
    assert players(typed_who(Line("tune", who)), room) == who


def test_players_as_they_are_typed() -> None:
    assert players("vn 1,cello pizz., viola 8vb div.", hall()) == (
        Who("violin 1"), Who("cello", 0, "pizz."), Who("viola", -1, "div."),
    )  # fmt: skip
    assert [one.chair for one in players("violins", hall())] == ["violin 1", "violin 2"]
    for wrong in ("violin 1 8av", "oboe 1 and viola", "cello somehow"):
        with pytest.raises(DeskproofError, match="nobody here is called"):
            players(wrong, hall())


def test_the_command_can_be_typed_as_it_stands() -> None:
    assert command("a/it's so.mxl", "a/it's so.plan.toml").startswith("""deskproof orchestrate 'it'"'"'s so.mxl' """)
    assert command("-x.mid", "-x.plan.toml") == "deskproof orchestrate ./-x.mid ./-x.plan.toml -o ./-x-full.musicxml"


# ---------------------------------------------------------------- in the browser


@pytest.fixture
def own(workshop: Workshop) -> Own:
    """A plan that a test changes: its place and the address of its page."""
    folder, server = workshop
    place = put(folder)
    return place, f"{server.address}plan?name={place.name}"


def test_it_is_listed_and_reads_without_a_script(browser: Any, workshop: Workshop, own: Own) -> None:
    place, _ = own
    with watched(browser, workshop[1], java_script_enabled=False) as page:
        page.goto(workshop[1].address)
        page.click(f"text='plan of {place.name.removesuffix('.plan.toml')}'")
        assert page.inner_text("h1") == "Scoring of “Lamps on the Quay”"
        plan = plan_text.read(place)
        assert said.status_words(plan) in page.inner_text("main")
        assert page.locator("svg.sheet").count() >= 1
        sections = page.locator("section.passage")
        assert sections.count() == len(table(place)) == 3
        for k, passage in enumerate(table(place)):
            section = sections.nth(k)
            assert passage["bars"].replace("-", "–") in section.locator("h3").inner_text()
            assert [one.strip() for one in section.locator(".line .strand").all_inner_texts()] == [
                one["strand"] for one in passage["line"]
            ]
            shown = [one.get_attribute("value") for one in section.locator("[data-key=who]").all()]
            for words, one in zip(shown, passage["line"], strict=True):
                assert re.sub(" (8v[ab]|15m[ab])", "", words) == ", ".join(
                    [one["who"]] if isinstance(one["who"], str) else one["who"]
                )
            whys = section.locator(".line .why").all_inner_texts()
            assert all("Chosen by the planner." in one for one in whys)
        for words in ("How strong each strand is", "Players and dynamics", f"{place.name} -o"):
            assert words in page.inner_text("main")


def test_a_line_is_edited_and_the_rest_stays(browser: Any, workshop: Workshop, own: Own) -> None:
    place, address = own
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.fill("#who-0-0", "oboe 1")
        page.click("#again-0")
        told(page, "Planned anew: bars 1–4; 2 passages left as before.")
        assert "Chosen by the composer." in page.inner_text(".line >> nth=0")
        assert page.evaluate("document.activeElement.id") == "again-0"
    now = place.read_text("utf-8")
    assert (line(place, 0, "tune")["who"], line(place, 0, "tune")["by"]) == (["oboe 1"], "composer")
    assert MINE in now and BESIDE in now and passages(now)[1:] == passages(text())[1:]


def test_an_unknown_player_is_named_and_what_was_typed_stays(
    browser: Any, workshop: Workshop, own: Own
) -> None:
    place, address = own
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.fill("#who-1-0", "obo 1")
        page.fill("#loud-2-1", "mf dolce")
        page.check("#keep-0-0")
        page.click("#again-1")
        page.wait_for_selector("#wrong-1:not([hidden])")
        assert page.inner_text("#wrong-1") == "Tune: nobody here is called 'obo 1'; did you mean 'oboe 1'?"
        assert page.evaluate("document.activeElement.id") == "who-1-0"
        assert page.get_attribute("#who-1-0", "aria-describedby") == "wrong-1"
        assert (page.input_value("#who-1-0"), page.input_value("#loud-2-1")) == ("obo 1", "mf dolce")
        assert page.is_checked("#keep-0-0")
        assert place.read_text("utf-8") == text()
        page.seen.wrong = [one for one in page.seen.wrong if "400" not in one]  # the browser's own note of the refusal
        page.fill("#who-1-0", "oboe 1")
        page.keyboard.press("Enter")
        told(page, "Planned anew: bars 5–8 and bars 9–16")
        assert page.locator(".error:visible").count() == 0
    assert line(place, 0, "tune")["fixed"] is True
    assert line(place, 2, table(place)[2]["line"][1]["strand"])["dynamic"] == "mf dolce"


def test_keep_as_it_is_adds_one_line_to_the_file(browser: Any, workshop: Workshop, own: Own) -> None:
    place, address = own
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.check("#keep-0-0")
        page.click("#again-top")
        told(page, "Nothing had to be planned anew")
        assert page.is_checked("#keep-0-0")
    fixed, plain = passages(place.read_text("utf-8")), passages(text())
    assert fixed[1:] == plain[1:]
    added = [one for one in fixed[0].splitlines() if one not in plain[0].splitlines()]
    assert added == ["fixed = true"] and len(fixed[0].splitlines()) == len(plain[0].splitlines()) + 1


def test_the_second_scoring_is_taken_and_what_else_was_typed_stays(
    browser: Any, workshop: Workshop, own: Own
) -> None:
    place, address = own
    before = table(place)
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.fill("#who-2-0", "oboe 1")
        page.click("#take-0-0")
        told(page, "Planned anew: bars 1–4;")
        assert page.input_value("#who-2-0") == "oboe 1"
        assert page.evaluate("document.activeElement.id") == "passage-0"
    wanted = dict(one.split(": ", 1) for one in before[0]["other"][0]["lines"])
    assert {one["strand"]: one["who"] for one in table(place)[0]["line"] if one["strand"].startswith("accents")} == {
        name: [who] for name, who in wanted.items() if name.startswith("accents")
    }
    assert table(place)[2] == before[2]


def test_by_keyboard_alone(browser: Any, workshop: Workshop, own: Own) -> None:
    place, address = own
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        for _ in range(20):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.id") == "who-0-0":
                break
        outline = page.evaluate("getComputedStyle(document.activeElement).outline")
        assert "rgb(0, 0, 0)" in outline and "solid 3px" in outline
        page.keyboard.press("Control+a")
        page.keyboard.type("oboe 1")
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Enter")
        told(page, "Planned anew: bars 1–4;")
        assert page.evaluate("document.activeElement.id") == "loud-0-0"
    one = line(place, 0, "tune")
    assert (one["who"], one["fixed"], one["by"]) == (["oboe 1"], True, "composer")


def test_changed_in_an_editor_meanwhile_both_ways_out(browser: Any, workshop: Workshop, own: Own) -> None:
    place, address = own
    edited = text().replace('mark = "A"', 'mark = "Z"')
    assert edited != text()
    tune = str(line(place, 0, "tune")["who"][0])
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.fill("#who-0-0", "oboe 1")
        place.write_text(edited, encoding="utf-8")
        page.click("#again-0")
        page.wait_for_selector("#changed:not([hidden])")
        told(page, "nothing was written")
        assert place.read_text("utf-8") == edited
        assert page.input_value("#who-0-0") == "oboe 1"
        page.seen.wrong = [one for one in page.seen.wrong if "409" not in one]
        page.click("#put-in")
        told(page, "with what you typed")
        assert "Letter Z: bars 9–16" in page.inner_text("main")
        assert page.input_value("#who-0-0") == "oboe 1" and page.is_hidden("#changed")
        page.click("#again-0")
        told(page, "Planned anew: bars 1–4;")
        assert table(place)[2]["mark"] == "Z" and line(place, 0, "tune")["who"] == ["oboe 1"]
        page.fill("#who-0-0", "viola")
        place.write_text(edited, encoding="utf-8")
        page.click("#again-top")
        page.click("#as-it-is")
        told(page, "The plan as it is now.")
        assert page.input_value("#who-0-0") == tune
        page.seen.wrong = [one for one in page.seen.wrong if "409" not in one]
    assert place.read_text("utf-8") == edited


def test_what_is_typed_while_it_is_planned_is_kept(browser: Any, workshop: Workshop, own: Own) -> None:
    _, address = own
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        page.fill("#who-0-0", "oboe 1")
        page.evaluate(
            "() => { document.getElementById('again-0').click(); "
            "document.getElementById('who-2-0').value = 'viola 8va'; }"
        )
        told(page, "Planned anew: bars 1–4;")
        assert page.input_value("#who-2-0") == "viola 8va"


def test_text_from_the_plan_is_text(browser: Any, workshop: Workshop, own: Own) -> None:
    place, address = own
    rude = "\\\"><b id=bold>p</b><script>alert(1)</script>"
    place.write_text(text().replace('strand = "tune"\n', f'strand = "tune"\ndynamic = "{rude}"\n', 1), encoding="utf-8")
    with watched(browser, workshop[1]) as page:
        page.goto(address)
        assert page.input_value("#loud-0-0") == rude.replace("\\", "")
        assert page.locator("#bold").count() == 0


@pytest.mark.parametrize("size", [NARROW, (640, 450), WIDE])
def test_nothing_stands_beyond_the_edge(
    browser: Any, workshop: Workshop, own: Own, size: tuple[int, int]
) -> None:
    with watched(browser, workshop[1], size) as page:
        page.goto(own[1])
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        boxes = page.eval_on_selector_all(
            ".passage input, .passage button, .passage select",
            "rows => rows.map(one => { const b = one.getBoundingClientRect(); return [b.left, b.right, b.height]; })",
        )
        assert boxes and all(left >= 0 and right <= size[0] and height > 10 for left, right, height in boxes)
        who = page.locator("#who-0-0").bounding_box()
        assert who["width"] >= 200


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not here")
@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_no_rule_of_wcag_is_broken(
    browser: Any, workshop: Workshop, own: Own, size: tuple[int, int]
) -> None:
    with watched(browser, workshop[1], size) as page:
        page.goto(own[1])
        page.fill("#who-1-0", "obo 1")
        page.click("#again-1")
        page.wait_for_selector("#wrong-1:not([hidden])")
        page.seen.wrong = [one for one in page.seen.wrong if "400" not in one]
        page.evaluate(AXE.read_text(encoding="utf-8"))
        result = page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
        assert len(result["passes"]) > 5
        assert [(one["id"], node["html"][:150]) for one in result["violations"] for node in one["nodes"]] == []


def test_no_colour_and_no_unsaid_words(browser: Any, workshop: Workshop, own: Own) -> None:
    with watched(browser, workshop[1]) as page:
        page.goto(own[1])
        words = page.inner_text("body").casefold()
        for one in ("slack", "bound", "optimal", "casting", "fingerprint", "timeline", "event", "undefined", "null"):
            assert not re.search(rf"\b{one}\b", words), one
        page.hover("#again-0")
        page.focus("#who-0-0")
        colours = page.evaluate(
            "[...new Set([...document.querySelectorAll('body *')].flatMap(one => { const s = getComputedStyle(one); "
            "return [s.color, s.borderTopColor, s.borderBottomColor, s.outlineColor, s.backgroundColor]; }))]"
        )
    greys = [tuple(map(float, re.findall(r"[\d.]+", one)[:3])) for one in colours]
    assert all(len(set(one)) == 1 for one in greys)


@pytest.mark.parametrize("left", ["token", "origin", "kind"])
def test_a_change_sent_from_elsewhere_is_refused(workshop: Workshop, own: Own, left: str) -> None:
    place, _ = own
    address = workshop[1].address
    home = "/".join(address.split("/")[:3])
    with urllib.request.urlopen(f"{address}plan-pieces?name={place.name}") as answer:
        revision = json.loads(answer.read())["revision"]
    body = json.dumps({"name": place.name, "revision": revision, "fields": [typed(0, "tune", "oboe 1")]}).encode()
    headers = {"Origin": home, "Content-Type": "application/json"}
    headers.pop({"origin": "Origin", "kind": "Content-Type"}.get(left, ""), None)
    where = f"{home}/plan-again" if left == "token" else f"{address}plan-again"
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(urllib.request.Request(where, body, headers, method="POST"))
    assert refused.value.code == (404 if left == "token" else 403)
    refused.value.close()
    assert place.read_text("utf-8") == text()
