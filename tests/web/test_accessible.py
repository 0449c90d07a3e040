"""The served page for everybody: by keyboard alone, narrow, at 200 %, on paper, and by the rules of WCAG 2 A and AA."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from deskproof.demo import SCORE as DEMO
from web.browser import (
    NARROW,
    WIDE,
    Server,
    draw_all,
    ids_shown,
    open_score,
    said,
    served,
    watched,
    where_focus_is,
)

ROOT = Path(__file__).resolve().parents[2]
AXE = Path(os.environ.get("DESKPROOF_AXE") or ROOT / ".venv" / "axe" / "node_modules" / "axe-core" / "axe.min.js")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PAPER = (673, 1002)  # CSS pixels of A4 within margins of 16 mm, at 96 to the inch

REACHABLE = """() => [...document.querySelectorAll('a[href], button, select, input, textarea, summary, [tabindex="0"]')]
  .filter(one => !one.disabled && one.checkVisibility({visibilityProperty: true}))"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Two scores that no test changes, so that there is a listing too."""
    folder = tmp_path_factory.mktemp("shelf")
    shutil.copy(DEMO, folder / "ferry.musicxml")
    shutil.copy(DEMO, folder / "older.musicxml")
    with served(folder) as one:
        yield one


@pytest.fixture
def own(workshop: tuple[Path, Server]) -> str:
    """The address of the demo piece, for a test that changes something."""
    folder, server = workshop
    path = Path(shutil.copy(DEMO, folder / f"ferry-{len(list(folder.iterdir()))}.musicxml"))
    return server.score(path.name)


def tab_to(page: Any, selector: str, most: int = 120) -> None:
    """Press Tab until what has the keyboard fits the selector."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"{selector} is not reached with {most} presses of Tab; it stands at {where_focus_is(page)}")


def open_by_keyboard(page: Any, with_mend: bool) -> str:
    """Go on to the next finding (with a mend to take) and open it; its id. No mouse."""
    tab_to(page, "#next")
    for _ in ids_shown(page):
        page.keyboard.press("Enter")
        id_: str = page.evaluate("document.activeElement.dataset.id")
        page.keyboard.press("Tab")
        assert page.evaluate("id => document.activeElement.matches(`[data-finding='${id}'] > summary`)", id_)
        if not with_mend or re.search(r"\d mend", page.evaluate("document.activeElement.textContent")):
            page.keyboard.press("Enter")
            page.wait_for_selector(f"#finding-{id_} form[data-stand]")
            return id_
        page.focus("#next")  # a person goes back with Shift and Tab
    raise AssertionError("no finding has a mend")


def near(page: Any) -> bool:
    """Whether the keyboard is somewhere, and in the window."""
    return bool(
        page.evaluate(
            """() => { const one = document.activeElement; const box = one.getBoundingClientRect();
            return one !== document.body && one !== document.documentElement && one.isConnected
              && box.bottom > 0 && box.top < innerHeight && box.width > 0; }"""
        )
    )


# ---------------------------------------------------------------- by keyboard


def test_tab_reaches_everything_in_the_order_of_the_page(browser: Any, server: Server) -> None:
    with watched(browser, server) as page:
        open_score(page, server.score("ferry.musicxml"))
        draw_all(page)
        page.click("#next")
        page.click("#music .finding summary >> nth=0")
        page.wait_for_selector("#music form[data-stand]")
        page.evaluate("() => { scrollTo(0, 0); document.activeElement.blur(); }")
        wanted = page.evaluate(f"""() => {{ window.wanted = ({REACHABLE})(); window.focus();
          return window.wanted.map((one, i) => i); }}""")
        assert len(wanted) > 50
        page.evaluate("() => { const one = document.getElementById('title'); one.tabIndex = -1; one.focus(); }")
        page.keyboard.press("Shift+Tab")  # back to the first, which stands before the title
        went, hidden = [], []
        for _ in wanted:
            i, seen, name = page.evaluate(
                """() => { const one = document.activeElement, box = one.getBoundingClientRect();
                const under = ['choices', 'said'].some(id => {
                  const bar = document.getElementById(id), over = bar.getBoundingClientRect();
                  return !bar.contains(one) && box.top >= over.top - 1 && box.bottom <= over.bottom + 1;
                });
                return [window.wanted.indexOf(one), !under && box.bottom > 2 && box.top < innerHeight - 2,
                        one.id || one.getAttribute('aria-label') || one.textContent]; }"""
            )
            went.append(i)
            if not seen:
                hidden.append(name)
            page.keyboard.press("Tab")
        assert went == wanted
        assert hidden == []


def test_a_mend_is_taken_and_taken_back_by_keyboard_and_focus_is_never_lost(
    browser: Any, workshop: tuple[Path, Server], own: str
) -> None:
    with watched(browser, workshop[1]) as page:
        open_score(page, own)
        id_ = open_by_keyboard(page, with_mend=True)
        tab_to(page, f"[data-take='{id_}']", 20)
        page.keyboard.press("Enter")
        said(page, "mend taken.")
        assert near(page), f"after the mend was taken the keyboard is at {where_focus_is(page)}"
        said(page, "Everything has been checked again")
        assert near(page), f"after the check the keyboard is at {where_focus_is(page)}"
        page.focus("[data-strike]")
        page.keyboard.press("Space")
        said(page, "taken back.")
        assert near(page), f"after the mend was taken back the keyboard is at {where_focus_is(page)}"
        assert id_ in ids_shown(page)


def test_a_finding_is_let_stand_and_asked_again_by_keyboard_and_focus_is_never_lost(
    browser: Any, workshop: tuple[Path, Server], own: str
) -> None:
    with watched(browser, workshop[1]) as page:
        open_score(page, own)
        id_ = open_by_keyboard(page, with_mend=False)
        tab_to(page, f"#finding-{id_} input[name=reason]", 40)
        page.keyboard.type("as in the first edition")
        page.keyboard.press("Enter")
        said(page, "Let stand.")
        assert near(page), f"after it was let stand the keyboard is at {where_focus_is(page)}"
        page.focus("[data-again]")
        page.keyboard.press("Enter")
        said(page, "Asked again.")
        assert near(page), f"after it was asked again the keyboard is at {where_focus_is(page)}"


def test_all_that_keep_the_sound_are_taken_by_keyboard_and_focus_is_never_lost(
    browser: Any, workshop: tuple[Path, Server], own: str
) -> None:
    with watched(browser, workshop[1]) as page:
        open_score(page, own)
        tab_to(page, "#keep")
        page.keyboard.press("Enter")
        said(page, "mends taken.", "Everything has been checked again")
        assert near(page), f"the keyboard is at {where_focus_is(page)}"


def test_saving_leaves_the_keyboard_where_it_is(browser: Any, workshop: tuple[Path, Server], own: str) -> None:
    with watched(browser, workshop[1]) as page:
        open_score(page, own)
        page.focus("[data-save=mended]")
        page.keyboard.press("Enter")
        said(page, "Wrote")
        page.wait_for_function("() => !document.querySelector('[data-save=mended]').disabled")
        assert page.evaluate("document.activeElement.matches('[data-save=mended]')"), where_focus_is(page)


def test_the_keyboard_stays_where_it_is_while_the_check_goes_on(
    browser: Any, workshop: tuple[Path, Server], own: str
) -> None:
    """A person goes on to another finding before everything has been checked again."""
    with watched(browser, workshop[1]) as page:
        open_score(page, own)
        id_ = open_by_keyboard(page, with_mend=True)
        others = [one for one in ids_shown(page) if one != id_]
        page.evaluate(
            """async ([id, other]) => {
              document.querySelector(`[data-take='${id}']`).click();
              while (document.getElementById(`finding-${id}`)) await new Promise(done => setTimeout(done, 10));
              document.querySelector(`#finding-${other} summary`).focus();
            }""",
            [id_, others[-1]],
        )
        said(page, "Everything has been checked again")
        assert page.evaluate("other => document.activeElement.matches(`#finding-${other} summary`)", others[-1]), (
            f"the keyboard is at {where_focus_is(page)}"
        )


# ---------------------------------------------------------------- narrow, and at 200 %

TOO_WIDE = """() => [...document.querySelectorAll('body *')].filter(one => {
    const box = one.getBoundingClientRect();
    const outside = box.right > innerWidth + 1 || box.left < -1;
    return box.width > 0 && outside && !one.closest('.strip, .aside, .skip, svg.signs');
  }).map(one => `${one.tagName} ${one.className.baseVal ?? one.className} ${one.textContent.slice(0, 40)}`)"""


def open_all(page: Any) -> None:
    """Open every finding of the page."""
    page.evaluate("() => document.querySelectorAll('#music details').forEach(one => { one.open = true; })")
    page.wait_for_function(
        "() => [...document.querySelectorAll('#music details')].every(one => one.querySelector('form'))"
    )


@pytest.mark.parametrize(("size", "dense"), [(WIDE, 1), (NARROW, 1), ((640, 450), 2), ((320, 640), 1)])
def test_nothing_is_wider_than_the_window_but_what_scrolls_by_itself(
    browser: Any, server: Server, size: tuple[int, int], dense: float
) -> None:
    with watched(browser, server, size, device_scale_factor=dense) as page:
        open_score(page, server.score("ferry.musicxml"))
        page.select_option("#older", "older.musicxml")
        open_all(page)
        draw_all(page)
        assert page.evaluate(TOO_WIDE) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        page.goto(server.address)
        assert page.evaluate(TOO_WIDE) == []


def test_a_narrow_page_has_fewer_bars_to_a_system(browser: Any, server: Server) -> None:
    most, systems = {}, {}
    with watched(browser, server, WIDE) as page:
        open_score(page, server.score("ferry.musicxml"))
        for size in (WIDE, NARROW):
            page.set_viewport_size({"width": size[0], "height": size[1]})
            page.wait_for_function("before => document.querySelectorAll('.engraved').length > before",
                                   arg=systems.get(WIDE, 0))  # fmt: skip
            rows = page.eval_on_selector_all(
                ".system:has(.engraved)", "rows => rows.map(one => one.dataset.bars.split('-').map(Number))"
            )
            systems[size] = len(rows)
            most[size] = max(last - first + 1 for first, last in rows)
    assert most[NARROW] < most[WIDE]


# ---------------------------------------------------------------- on paper


def test_on_paper_there_are_no_controls_and_no_finding_is_cut(browser: Any, server: Server) -> None:
    with watched(browser, server, PAPER) as page:
        open_score(page, server.score("ferry.musicxml"))
        open_all(page)
        draw_all(page)
        page.emulate_media(media="print")
        controls = "button, select, input, form, fieldset, nav, .skip"
        assert page.eval_on_selector_all(controls, "rows => rows.filter(one => one.checkVisibility()).length") == 0
        assert page.locator("#music .finding:visible").count() == len(ids_shown(page)) == 20
        breaks = "rows => rows.map(one => getComputedStyle(one).breakInside)"
        for selector in (".finding", ".engraved", ".finding figure"):
            assert set(page.eval_on_selector_all(f"#music {selector}", breaks)) == {"avoid"}, selector
        wide = page.eval_on_selector_all(
            "#music *", "rows => rows.filter(one => one.getBoundingClientRect().right > innerWidth + 1).length"
        )
        assert wide == 0
        high = page.eval_on_selector_all("#music figure, #music .engraved", "rows => rows.map(one => one.offsetHeight)")
        assert max(high) < PAPER[1]


def test_on_paper_a_finding_that_was_not_opened_says_nothing_of_opening(browser: Any, server: Server) -> None:
    with watched(browser, server, PAPER) as page:
        open_score(page, server.score("ferry.musicxml"))
        page.emulate_media(media="print")
        assert page.locator("#music summary").count() == 20
        assert page.locator("#music summary:visible").count() == 0


def test_on_paper_all_bars_are_engraved_though_nobody_has_scrolled(browser: Any, server: Server) -> None:
    with watched(browser, server, PAPER) as page:
        open_score(page, server.score("ferry.musicxml"))
        page.wait_for_function("() => !document.querySelector('#music .engraved:not([data-done])')", timeout=15_000)


# ---------------------------------------------------------------- the rules


def broken(page: Any) -> list[str]:
    """The rules of WCAG 2 that the page breaks, each with the elements."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    result = page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
    assert len(result["passes"]) > 5
    rows = [(one["id"], one["help"], node["html"][:200]) for one in result["violations"] for node in one["nodes"]]
    return [": ".join(row) for row in rows]


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not here; DESKPROOF_AXE names its axe.min.js")
@pytest.mark.parametrize("size", [WIDE, NARROW])
@pytest.mark.parametrize("what", ["listing", "score", "decided"])
def test_no_rule_of_wcag_is_broken(
    browser: Any, server: Server, workshop: tuple[Path, Server], own: str, what: str, size: tuple[int, int]
) -> None:
    with watched(browser, workshop[1] if what == "decided" else server, size) as page:
        if what == "listing":
            page.goto(server.address)
        elif what == "score":
            open_score(page, server.score("ferry.musicxml"))
            if size == NARROW:
                open_all(page)
            else:
                page.click("#music .finding summary >> nth=1")
                page.wait_for_selector("#music .sides")
            draw_all(page)
        else:
            open_score(page, own)
            page.click("#keep")
            said(page, "Everything has been checked again")
            id_ = ids_shown(page)[0]
            page.click(f"#finding-{id_} summary")
            page.fill(f"#finding-{id_} input[name=reason]", "as in the first edition")
            page.click(f"#finding-{id_} form button")
            said(page, "Let stand.")
        assert broken(page) == []
