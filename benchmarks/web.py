"""The served page in the browser: how long until the first bars stand there, and until a mend that was taken shows.

Times are taken on the page itself: from the beginning of the navigation to the first frame in which a notehead has a
box inside the window; from the click on a mend to the frame in which its finding is gone, and to the one in which the
bars are engraved anew. Beside them the load of a page with nothing but words, from the same server in the same
browser, and where the time of the server goes.

    python benchmarks/web.py            # needs playwright and a chromium
"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, Page, sync_playwright

from deskproof import document
from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.forces import Forces

CHROMIUM = "/usr/bin/chromium"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync"]  # fmt: skip
SHARED = Path(__file__).parents[2] / "shared" / "scores" / "boulanger-matin-bars-1-100.mxl"
ROUNDS = 5
WATCH = """() => {
  const look = () => {
    for (const head of document.querySelectorAll('.engraved .notehead')) {
      const box = head.getBoundingClientRect();
      if (box.width && box.height && box.top >= 0 && box.bottom <= innerHeight && box.left >= 0) {
        window.firstMs = performance.now();
        return;
      }
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""
TAKE = """async () => {
  const button = document.querySelector('[data-take]');
  const id = button.dataset.take, begun = performance.now();
  const system = button.closest('.system').dataset.bars;
  const until = fits => new Promise(done => {
    const look = () => (fits() ? done(performance.now() - begun) : requestAnimationFrame(look));
    look();
  });
  button.click();
  const gone = await until(() => !document.getElementById(`finding-${id}`));
  const drawn = await until(() => {
    const place = document.querySelector(`.system[data-bars='${system}'] .engraved`);
    return !place || place.dataset.done === 'yes';
  });
  const checked = await until(() => document.getElementById('said').textContent.includes('checked again'));
  return [gone, drawn, checked];
}"""


@contextmanager
def server(place: Path) -> Iterator[str]:
    """The address of a server of its own, and the seconds until it said it on standard output."""
    begun = time.perf_counter()
    words = [sys.executable, "-m", "deskproof.cli", "serve", str(place), "--no-browser"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        print(f"  from the command to the address: {time.perf_counter() - begun:.2f} s")
        try:
            yield address
        finally:
            process.send_signal(signal.SIGINT)


def first_ms(browser: Browser, address: str) -> float:
    """Milliseconds from the beginning of a navigation to the first notehead in the window."""
    page = fresh(browser)
    page.add_init_script(f"({WATCH})()")
    page.goto(address)
    page.wait_for_function("() => window.firstMs", timeout=120_000)
    found = float(page.evaluate("window.firstMs"))
    page.context.close()
    return found


def bare_ms(browser: Browser, address: str) -> float:
    """Milliseconds of the load of the list of scores: words and two style sheets."""
    page = fresh(browser)
    page.goto(address)
    found = float(page.evaluate("performance.getEntriesByType('navigation')[0].loadEventStart"))
    page.context.close()
    return found


def fresh(browser: Browser) -> Page:
    """An empty page of a context of its own."""
    return browser.new_context(viewport={"width": 1280, "height": 900}).new_page()


def taken_ms(browser: Browser, address: str) -> list[float]:
    """Milliseconds from taking a mend until its finding is gone, its bars are engraved anew, all is checked again."""
    page = fresh(browser)
    page.goto(address)
    page.wait_for_selector(".engraved[data-done]", timeout=120_000)
    for summary in page.query_selector_all("#music summary"):
        summary.click()
        page.wait_for_selector("details[open] form[data-stand]")
        if page.query_selector("[data-take]"):
            break
        summary.click()
    page.wait_for_function("() => !document.querySelector('.engraved:not([data-done])')", timeout=120_000)
    found = [float(one) for one in page.evaluate(TAKE)]
    page.context.close()
    return found


def seconds(name: str, work: Callable[[], object]) -> None:
    """Print how long something takes, the first time and the median of those after it."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    print(f"  {name}: {times[0]:.3f} s the first time, {median(times[1:]):.3f} s then")


def in_the_server(path: Path) -> None:
    """Print where the time of the server goes, without a browser."""
    from deskproof.engrave.slice import Bars, Desk
    from deskproof.report import as_text
    from deskproof.web import pages
    from deskproof.web.session import Session
    from deskproof.web.systems import systems

    seconds("reading", lambda: document.read(path))
    score = document.read(path).score
    seconds("checking", lambda: check(score, Forces()))
    session = Session(path, Forces())
    view = session.view()
    state = view.report.state
    rows = systems(state, view.asked, "involved", False)
    seconds("cutting into systems", lambda: systems(state, view.asked, "involved", False))
    seconds("the words of the page", lambda: pages.music(state, rows, [""] * len(rows)))
    seconds("the lines at the head", lambda: as_text.header(state, path.name))
    one = next(row for row in rows if row.parts)
    bars = Bars(tuple(state.score.parts[i].id for i in one.parts), one.first, one.last, names=True)
    begun = time.perf_counter()
    Desk(view.document).engraving(bars)
    print(f"  engraving the first system, the engraver loaded with it: {time.perf_counter() - begun:.3f} s")
    other = next(row for row in rows if row.parts and row.first > one.first)
    bars = Bars(tuple(state.score.parts[i].id for i in other.parts), other.first, other.last, names=True)
    begun = time.perf_counter()
    Desk(view.document).engraving(bars)
    print(f"  engraving another: {time.perf_counter() - begun:.3f} s")
    session.close()


def main() -> None:
    """Print the figures of the demo piece and of the score of 41 parts."""
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        for source in (SCORE, SHARED):
            if not source.is_file():
                print(f"{source.name} is not here")
                continue
            print(source.name)
            shelf = Path(folder) / source.stem
            shelf.mkdir()
            names = [f"{k}{source.suffix}" for k in range(ROUNDS)]
            for name in names:
                shutil.copy(source, shelf / name)
            with server(shelf) as address:
                bare = median(bare_ms(browser, address) for _ in range(ROUNDS))
                print(f"  a page of words: {bare:.0f} ms")
                first = [first_ms(browser, f"{address}score?name={name}") for name in names]
                print(
                    f"  first bars, the engraver not yet loaded: {first[0]:.0f} ms; a score just opened: "
                    f"{median(first[1:]):.0f} ms, {median(first[1:]) / bare:.0f} times the page of words"
                )
                again = [first_ms(browser, f"{address}score?name={names[0]}") for _ in range(ROUNDS)]
                print(f"  first bars of a score that is open: {median(again):.0f} ms, {median(again) / bare:.0f} times")
                rows = list(zip(*(taken_ms(browser, f"{address}score?name={name}") for name in names), strict=True))
                gone, drawn, checked = (median(row) for row in rows)
                print(
                    f"  a mend taken: its finding gone after {gone:.0f} ms, {gone / bare:.0f} times; "
                    f"its bars engraved anew after {drawn:.0f} ms; all checked again after {checked:.0f} ms"
                )
            in_the_server(Path(shelf / names[0]))
        browser.close()


if __name__ == "__main__":
    main()
