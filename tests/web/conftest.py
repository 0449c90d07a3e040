"""What the tests in a real browser share; nothing of it is loaded before a test asks for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """The browser; one at a time."""
    from web.browser import chromium

    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Any]]:
    """A folder for scores that tests change, and its server."""
    from web.browser import served

    folder = tmp_path_factory.mktemp("workshop")
    with served(folder) as one:
        yield folder, one
