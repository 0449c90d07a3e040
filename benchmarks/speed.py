"""Speed as ratios in one run: a whole check against a bare parse, time against length, memory against length.

``make bench`` prints them. The measure: bytes in memory to finished findings with verified mends, imports done,
garbage collection on, best of five, against ``lxml.etree.fromstring`` of the same bytes with the reader's parser.
"""

from __future__ import annotations

import copy
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

from lxml import etree

from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.musicxml import container, reader

SHARED = Path(__file__).parents[2] / "shared" / "scores"


def best(work: Callable[[], object], rounds: int = 5) -> float:
    """Seconds of the fastest of some rounds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def ratio(name: str, data: bytes) -> None:
    """Print how many times a bare parse a whole check takes."""
    check(reader.read_bytes(data))
    whole = best(lambda: check(reader.read_bytes(data)))
    parse = best(lambda: etree.fromstring(data, reader.parser()))
    score = reader.read_bytes(data)
    notes = sum(len(m.notes) for part in score.parts for m in part.measures)
    print(
        f"{name}: {len(data) / 1e6:.2f} MB, {notes} notes and rests: parse {parse * 1e3:.1f} ms, "
        f"check {whole * 1e3:.1f} ms, ratio {whole / parse:.2f}"
    )


def longer(data: bytes, times: int) -> bytes:
    """The score with its measures so many times one after the other."""
    root = etree.fromstring(data, reader.parser())
    for part in root.iterfind("part"):
        measures = part.findall("measure")
        for k in range(1, times):
            for measure in measures:
                twin = copy.deepcopy(measure)
                twin.set("number", f"{measure.get('number')}.{k}")
                for barline in twin.findall("barline"):
                    twin.remove(barline)
                part.append(twin)
    return etree.tostring(root)


def growth(data: bytes) -> None:
    """Print time and memory at 1, 4 and 16 times the length, each as a multiple of the first."""
    first = first_memory = 0.0
    for times in (1, 4, 16):
        long = longer(data, times)
        seconds = best(lambda long=long: check(reader.read_bytes(long)), 3)  # type: ignore[misc]
        tracemalloc.start()
        report = check(reader.read_bytes(long))
        memory = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        first, first_memory = first or seconds, first_memory or memory
        print(
            f"demo x{times}: {seconds * 1e3:.0f} ms ({seconds / first:.1f} times), "
            f"{memory / 1e6:.1f} MB ({memory / first_memory:.1f} times), {len(report.findings)} findings"
        )


def start_up() -> None:
    """Print how long ``--help`` takes, a new process each time."""
    command = [sys.executable, "-m", "deskproof.cli", "--help"]
    help_ = best(lambda: subprocess.run(command, capture_output=True, check=True))
    bare = best(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True))
    print(f"deskproof --help: {help_ * 1e3:.0f} ms; Python alone: {bare * 1e3:.0f} ms")


def main() -> None:
    """Print everything."""
    boulanger = SHARED / "boulanger-matin-bars-1-100.mxl"
    if boulanger.exists():
        ratio("41 parts", container.read(boulanger).score)
    ratio("demo", SCORE.read_bytes())
    growth(SCORE.read_bytes())
    start_up()


if __name__ == "__main__":
    main()
