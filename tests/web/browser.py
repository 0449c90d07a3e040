"""The served page in a real browser: the server as a process of its own, and a page that reports what goes wrong on it.

Nothing leaves the machine: a request to anywhere but the server fails the test, as does an error on the console.
"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

sync_api = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")

CHROMIUM = "/usr/bin/chromium"
QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync")  # fmt: skip
WIDE = (1280, 900)
NARROW = (390, 844)
LONG_MS = 60_000  # for what should be done in a moment; no test passes by waiting
LONG_S = LONG_MS / 1000


@dataclass(frozen=True)
class Server:
    """A running server: its address with the secret, ending in "/"."""

    address: str

    def score(self, name: str) -> str:
        """The address of one score's page."""
        return f"{self.address}score?name={quote(name, safe='')}"


@contextmanager
def served(place: Path) -> Iterator[Server]:
    """`deskproof serve` on a score or folder; ended as a person ends it."""
    words = [sys.executable, "-m", "deskproof.cli", "serve", str(place), "--no-browser"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        late = threading.Timer(LONG_S, process.kill)
        late.start()
        try:
            assert process.stdout is not None
            address = process.stdout.readline().strip()
            assert address.startswith("http://127.0.0.1:"), f"the server said {address!r}"
            late.cancel()
            yield Server(address)
        finally:
            late.cancel()
            process.send_signal(signal.SIGINT)
            try:
                status = process.wait(LONG_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
    assert status == 0, f"the server ended with {status}"


@contextmanager
def chromium() -> Iterator[Any]:
    """The browser; one at a time."""
    if not shutil.which(CHROMIUM):
        pytest.skip(f"{CHROMIUM} is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Watched:
    """What was noticed on a page: errors, dialogs, and all addresses asked for."""

    wrong: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


@contextmanager
def watched(browser: Any, server: Server, size: tuple[int, int] = WIDE, **options: Any) -> Iterator[Any]:
    """An empty page of a size in CSS pixels. At the end: no error, no dialog, nothing asked of anybody else.

    ``page.seen`` is its :class:`Watched`.
    """
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
    context.set_default_timeout(LONG_MS)
    seen = Watched()

    def console(message: Any) -> None:
        if message.type in ("error", "warning"):
            seen.wrong.append(f"console: {message.text}")

    def dialog(one: Any) -> None:
        seen.wrong.append(f"dialog: {one.message}")
        one.dismiss()

    page = context.new_page()
    page.seen = seen
    page.on("console", console)
    page.on("pageerror", lambda error: seen.wrong.append(f"error: {error}"))
    page.on("dialog", dialog)
    page.on("request", lambda request: seen.asked.append(request.url))
    try:
        yield page
        elsewhere = [url for url in seen.asked if not url.startswith((server.address, "data:", "blob:"))]
        assert seen.wrong == []
        assert elsewhere == []
    finally:
        context.close()


def open_score(page: Any, address: str, first: bool = True) -> Any:
    """Go to the page of a score and wait until it is read, and with ``first`` until the first bars are engraved."""
    page.goto(address)
    page.wait_for_selector("#choices:not([hidden])")
    if first:
        page.wait_for_selector(".engraved .notehead use, .engraved .rest use")
    return page


def said(page: Any, *words: str) -> None:
    """Wait until the line that tells what happened holds all of these words."""
    page.wait_for_function(
        "words => words.every(one => document.getElementById('said').textContent.includes(one))", arg=list(words)
    )


def draw_all(page: Any) -> None:
    """Scroll through the page until every picture that is shown is engraved."""
    while True:
        left = page.query_selector(".system:not([hidden]) .engraved:not([data-done])")
        if left is None:
            return
        left.scroll_into_view_if_needed()
        page.wait_for_function("one => !one.isConnected || one.dataset.done || one.textContent", arg=left)
        assert page.evaluate("one => !one.isConnected || one.dataset.done === 'yes'", left), left.text_content()


def ids_shown(page: Any) -> list[str]:
    """The ids of the findings that are shown, from top to bottom."""
    found: list[str] = page.eval_on_selector_all(
        "#music .finding", "rows => rows.filter(one => one.getClientRects().length).map(one => one.dataset.id)"
    )
    return found


def where_focus_is(page: Any) -> str:
    """What has the keyboard, in a few words; "body" if nothing has."""
    said: str = page.evaluate(
        """() => { const one = document.activeElement;
        if (!one || one === document.body) return 'body';
        const words = one.id || one.getAttribute('aria-label') || one.textContent.slice(0, 60);
        return `${one.tagName.toLowerCase()} ${words}`; }"""
    )
    return said
