"""Every figure of docs/measured.md, from raw data, each with its denominator: ``make figures``.

How often Deskproof speaks on published music, how many parts it can name, and how many faults that were put in
by a seed it finds. ``--write`` puts the tables between the marks in docs/measured.md; ``--list`` prints the findings
that docs/findings-read.md passes verdict on.
"""

from __future__ import annotations

import hashlib
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from deskproof.document import from_bytes, read
from deskproof.errors import DeskproofError
from deskproof.findings import LEVELS, Finding, folded
from deskproof.score import UNCHECKED, NoteRef, Score
from deskproof.state import State, state_of

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))  # the scores and the faults are those of the tests
seeds: Any = import_module("seeds")
corpus: Any = import_module("corpus")

PAGE = ROOT / "docs" / "measured.md"
SAMPLE = 200  # files of the corpus, by smallest sha
SEEDS = 100  # of each kind of fault
READ_AT_MOST = 50  # findings of a level that somebody reads
BEGIN, END = "<!-- figures: begin -->", "<!-- figures: end -->"


@dataclass(frozen=True)
class Heard:
    """A file with its findings, folded as the report shows them."""

    name: str
    score: Score
    state: State
    findings: tuple[Finding, ...]

    @property
    def notes(self) -> int:
        """Notes that are checked: no rests, cues, hidden notes or ossias."""
        return sum(
            note.kind != "rest" and not note.flags & UNCHECKED
            for part in self.score.parts
            for measure in part.measures
            for note in measure.notes
        )

    @property
    def parts(self) -> tuple[int, int]:
        """Parts with notes: those whose instrument is known throughout, and all."""
        sounding = [spans for spans in self.state.spans.values() if any(span.events for span in spans)]
        return sum(all(span.instrument is not None for span in spans) for spans in sounding), len(sounding)


def heard(name: str, path: Path) -> Heard | None:
    """Check a file; None if it cannot be read."""
    try:
        score = read(path).score
    except DeskproofError as error:
        print(f"not read: {error}", file=sys.stderr)
        return None
    return of_score(name, score)


def of_score(name: str, score: Score) -> Heard:
    """Check a score, without verifying mends."""
    state = state_of(score)
    findings = [one for atoms in state.atoms.values() for one in folded(atoms)]
    return Heard(name, score, state, tuple(findings))


def shared_files() -> list[tuple[str, Path]]:
    """The shared scores in MusicXML."""
    return [(f"shared/{path.name}", path) for path in corpus.shared_scores() if path.suffix != ".mid"]


def sample_files() -> list[tuple[str, Path]]:
    """The sample of the corpus."""
    return [(f"corpus/{one.name}", one.path) for one in corpus.smallest(SAMPLE)]


def alarms(title: str, files: Sequence[tuple[str, Path]]) -> list[str]:
    """Findings of each level per 1,000 notes, and parts named, of some files."""
    notes = files_read = silent = known = parts = 0
    count: Counter[str] = Counter()
    for name, path in files:
        one = heard(name, path)
        if one is None:
            continue
        files_read += 1
        notes += one.notes
        known, parts = known + one.parts[0], parts + one.parts[1]
        count.update(finding.level for finding in one.findings)
        silent += not one.findings
    rows = [f"**{title}**: {files_read} of {len(files)} files read, {notes:,} notes", ""]
    rows += ["| level | findings | per 1,000 notes |", "|---|---|---|"]
    rows += [f"| {level} | {count[level]} | {1000 * count[level] / max(notes, 1):.3f} |" for level in LEVELS]
    rows += ["", f"Files without a finding: {silent} of {files_read}."]
    return [*rows, f"Parts whose instrument is known: {known} of {parts}.", ""]


def recall() -> list[str]:
    """Faults found of those put in, and what else was found because of them."""
    paths = [path for _, path in sample_files()]
    pool = seeds.plain_parts(paths)
    kinds: list[tuple[str, str, Callable[[int], Any]]] = [
        ("note beyond every instrument", "impossible", lambda seed: seeds.beyond_compass(pool, seed, "impossible")),
        ("note beyond the usual instrument", "hard", lambda seed: seeds.beyond_compass(pool, seed, "hard")),
        ("accidental taken away", "notation", lambda seed: seeds.without_accidental(paths, seed)),
    ]
    rows = ["| fault put in | found at its level | of | other new findings |", "|---|---|---|---|"]
    for title, level, make in kinds:
        found = others = 0
        for seed in range(SEEDS):
            seeded = make(seed)
            now = atoms(seeded.root)
            known = {one.key for one in atoms(seeded.as_it_was())}
            about = [one for one in now if seeded.note in map(str, one.notes)]
            found += level in {one.level for one in about}
            others += sum(one.key not in known and one not in about for one in now)
        rows.append(f"| {title} | {found} | {SEEDS} | {others} |")
    return [*rows, ""]


def atoms(root: object) -> list[Finding]:
    """Findings note by note of a tree."""
    state = state_of(from_bytes(seeds.written(root)).score)
    return [one for some in state.atoms.values() for one in some]


def to_be_read() -> Iterable[tuple[Heard, Finding]]:
    """Every ``impossible``, and of each other level as many as somebody reads, drawn by lot."""
    by_level: dict[str, list[tuple[Heard, Finding]]] = {level: [] for level in LEVELS}
    for name, path in [*shared_files(), *((one.name, one.path) for one in corpus.package_files())]:
        one = heard(name, path)
        if one is not None:
            for finding in one.findings:
                by_level[finding.level].append((one, finding))
    for level, rows in by_level.items():
        chosen = rows
        if level != "impossible":
            chosen = sorted(sorted(rows, key=lambda row: _lot(*row))[:READ_AT_MOST], key=rows.index)
        print(f"{level}: {len(chosen)} drawn of {len(rows)}", file=sys.stderr)
        yield from chosen


def _lot(one: Heard, finding: Finding) -> str:
    """What the draw goes by: it depends on the finding alone, so the others may come and go."""
    return hashlib.sha256(f"{one.name} {finding.rule.id} {finding.notes[0]}".encode()).hexdigest()


def line_of(one: Heard, finding: Finding) -> str:
    """A finding as docs/findings-read.md names it."""
    part = one.score.parts[finding.place.part]
    measure = part.measures[finding.place.measure]
    first: NoteRef = finding.notes[0]
    many = f" ({len(finding.notes)} notes)" if len(finding.notes) > 1 else ""
    return f"| {finding.level} | {one.name} | {first} {part.name}, bar {measure.number} | {finding.says}{many} |"


def main(arguments: Sequence[str]) -> None:
    """Print the figures; see the module's words."""
    if "--list" in arguments:
        for one, finding in to_be_read():
            print(line_of(one, finding))
        return
    rows = [*alarms("Shared scores", shared_files()), *alarms(f"Corpus, {SAMPLE} files", sample_files()), *recall()]
    print("\n".join(rows))
    if "--write" in arguments:
        text = PAGE.read_text(encoding="utf-8")
        head, _, rest = text.partition(BEGIN)
        PAGE.write_text(f"{head}{BEGIN}\n\n" + "\n".join(rows) + END + rest.partition(END)[2], encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
