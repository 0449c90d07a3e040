"""All files of the music21 package checked in one run: the time beside a bare parse and beside music21's own load.

One process, no pool; each file is read once by each side, in turn, so that a busy moment of the machine meets both.
music21 loads every tenth file only, and its time for all is scaled by the bytes of XML. ``--write`` puts the table
between the marks in docs/measured.md.
"""

from __future__ import annotations

import gc
import platform
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from textwrap import wrap
from typing import Any, TypeVar

from lxml import etree

from deskproof.check import Report, check
from deskproof.document import read
from deskproof.errors import DeskproofError
from deskproof.findings import LEVELS
from deskproof.musicxml import container, reader

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))  # the scores are those of the tests
scores: Any = import_module("corpus")

PAGE = ROOT / "docs" / "measured.md"
BEGIN, END = "<!-- corpus: begin -->", "<!-- corpus: end -->"
EVERY = 10  # music21 loads so many times fewer files
T = TypeVar("T")


@dataclass
class Run:
    """What one run found; times in seconds."""

    files: int = 0
    sampled: int = 0
    notes: int = 0
    size: int = 0  # bytes of XML, unpacked
    sampled_size: int = 0
    refused: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)  # files that ended in a traceback
    findings: Counter[str] = field(default_factory=Counter)
    parse: float = 0.0
    whole: float = 0.0
    sampled_parse: float = 0.0
    sampled_whole: float = 0.0
    load: float = 0.0  # music21, of the sampled files
    slowest: tuple[float, str] = (0.0, "")


def timed(work: Callable[[Path], T], path: Path) -> tuple[float, T]:
    """Seconds, and what the work gave."""
    start = time.perf_counter()
    found = work(path)
    return time.perf_counter() - start, found


def checked(path: Path) -> Report:
    """A file as the command checks it: unpacked, read, heard, checked, its mends verified."""
    return check(read(path).score)


def parsed(path: Path) -> int:
    """Unpack a file and do no more than parse it; bytes of XML."""
    data = container.read(path).score
    etree.fromstring(data, reader.parser())
    return len(data)


def loaded(path: Path) -> object:
    """What music21 makes of a file, not from its cache."""
    from music21 import converter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return converter.parse(path, forceSource=True)


def run(files: Sequence[Any]) -> Run:
    """Check all files, parse all, and let music21 load every tenth."""
    total = Run()
    for i, file in enumerate(files):
        name, path = file.name, file.path
        parse, size = timed(parsed, path)
        try:
            whole, report = timed(checked, path)
        except DeskproofError as error:
            total.refused.append(f"{path.name}: {error}")
            continue
        except Exception:
            traceback.print_exc()
            total.broken.append(name)
            continue
        total.files += 1
        total.size += size
        total.parse += parse
        total.whole += whole
        total.notes += sum(len(events) for events in report.state.timeline.parts)
        total.findings.update(finding.level for finding in report.findings)
        total.slowest = max(total.slowest, (whole, path.name))
        if i % EVERY == 0:
            del report
            gc.collect()
            total.load += timed(loaded, path)[0]
            total.sampled += 1
            total.sampled_size += size
            total.sampled_parse += parse
            total.sampled_whole += whole
    return total


def table(total: Run, count: int) -> list[str]:
    """The paragraph and the table as they stand in docs/measured.md."""
    scale = total.size / total.sampled_size
    said = ", ".join(f"{total.findings[level]} {level}" for level in LEVELS)
    refused = f"{len(total.refused)} refused" if total.refused else "none refused"
    every = f"{total.sampled} files, {total.sampled_size / 1e6:.1f} MB"
    return [
        *wrap(
            f"All {count} MusicXML files of the Python package music21 {version('music21')}, one process, each read "
            f"once: {total.files} checked, {refused}, {len(total.broken)} ended in a traceback. "
            f"{total.notes:,} notes as played, {total.size / 1e6:.1f} MB of XML. Findings: {said}.",
            120,
        ),
        "",
        f"| what is done | every {EVERY}th file ({every}) | all {total.files} files |",
        "|---|---|---|",
        f"| lxml parses the XML, no more | {total.sampled_parse:.2f} s | {total.parse:.2f} s |",
        f"| Deskproof reads, hears, checks, verifies mends | {total.sampled_whole:.2f} s | {total.whole:.2f} s |",
        f"| music21 loads the score, no more | {total.load:.1f} s | {total.load * scale:.0f} s, scaled by bytes |",
        "",
        *wrap(
            f"The check takes {total.whole / total.parse:.1f} times the bare parse; music21's load takes "
            f"{total.load / total.sampled_whole:.0f} times the check of the same files. The slowest file is "
            f"{total.slowest[1]} with {total.slowest[0]:.2f} s. Python {platform.python_version()}, wall time, on a "
            "machine that others use too.",
            120,
        ),
    ]


def main(arguments: Sequence[str]) -> None:
    """Print the table; see the module's words."""
    files = scores.package_files()
    for path in (file.path for file in files[:3]):  # imports and caches before the clock runs
        checked(path)
    loaded(files[0].path)
    total = run(files)
    rows = table(total, len(files))
    print("\n".join([*rows, *total.refused, *total.broken]))
    if "--write" in arguments:
        text = PAGE.read_text(encoding="utf-8")
        head, _, rest = text.partition(BEGIN)
        PAGE.write_text(f"{head}{BEGIN}\n\n" + "\n".join(rows) + f"\n{END}" + rest.partition(END)[2], "utf-8")
    if total.broken:
        sys.exit(1)


if __name__ == "__main__":
    main(sys.argv[1:])
