"""What was let stand, and why: ``NAME.deskproof.toml`` beside the score.

A decision is found again by the finding's fingerprint, so it holds in the next export; it keeps the figures it was
taken on, and a finding that has become worse by more than a tenth is asked again. Format::

    [[let_stand]]
    finding = "abcd2345"            # the finding's id
    rule = "tutti-needs-extension"
    where = "Celesta, bar 76, beat 1"
    reason = "the hall has a five-octave celesta"
    numbers = { semitones = 12, count = 6 }
"""

from __future__ import annotations

import os
import tempfile
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from deskproof.errors import DeskproofError
from deskproof.findings import Finding

WORSE = 1.1  # asked again when a figure has grown by more than this factor


class DecisionsError(DeskproofError):
    """The decisions file cannot be used; the message says where and what to do. Nothing in it is lost."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One finding that was let stand. ``numbers`` are the figures of which more is worse."""

    finding: str
    rule: str
    where: str
    reason: str
    numbers: Mapping[str, float]

    def covers(self, finding: Finding) -> bool:
        """Whether the decision still holds for this finding: no figure is worse by more than a tenth."""
        return all(
            abs(finding.numbers.get(name, 0)) <= WORSE * abs(before) for name, before in self.numbers.items()
        )


def beside(score: Path) -> Path:
    """The decisions file that belongs to a score.

    >>> beside(Path("scores/tide.musicxml")).name
    'tide.deskproof.toml'
    """
    return score.with_name(f"{score.stem}.deskproof.toml")


def read(path: Path) -> dict[str, Decision]:
    """Finding id -> decision; empty if there is no such file.

    Raises
    ------
    DecisionsError
        If the file is there and cannot be read as decisions.
    """
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DecisionsError(f"{path}: cannot be read as decisions ({error}). Mend it or move it away.") from None
    rows = table.get("let_stand", [])
    if not isinstance(rows, list):
        raise DecisionsError(f"{path}: let_stand is no list; write [[let_stand]] before each decision.")
    found = {}
    for k, row in enumerate(rows, 1):
        decision = _decision(path, k, row)
        found[decision.finding] = decision
    return found


def _decision(path: Path, k: int, row: Any) -> Decision:
    texts = {}
    for key in ("finding", "rule", "where", "reason"):
        value = row.get(key, "") if isinstance(row, dict) else None
        if not isinstance(value, str) or (key == "finding" and not value):
            raise DecisionsError(f'{path}: decision {k}: {key} is {value!r}; expected a text, such as {key} = "...".')
        texts[key] = value
    numbers = row.get("numbers", {})
    if not isinstance(numbers, dict) or not all(isinstance(v, int | float) for v in numbers.values()):
        raise DecisionsError(f"{path}: decision {k}: numbers are {numbers!r}; expected figures by name.")
    return Decision(**texts, numbers=numbers)


def figures(finding: Finding) -> dict[str, float]:
    """The figures of a finding of which more is worse."""
    return {name: finding.numbers[name] for name in finding.rule.worse if name in finding.numbers}


def silenced(
    findings: Iterable[Finding], decisions: Mapping[str, Decision]
) -> tuple[list[Finding], list[tuple[str, str]]]:
    """The findings still to be asked, and (id, reason) of those let stand."""
    kept, quiet = [], []
    for finding in findings:
        decision = decisions.get(finding.id)
        if decision is not None and decision.covers(finding):
            quiet.append((finding.id, decision.reason))
        else:
            kept.append(finding)
    return kept, quiet


def add(path: Path, decision: Decision) -> None:
    """Write one decision into the file, whole or not at all; comments and the other decisions stay.

    A decision on the same finding is replaced.

    Raises
    ------
    DecisionsError
        If the file that is there cannot be read, or it cannot be written.
    """
    import tomlkit

    read(path)  # refuses a file that it would not understand, before anything is written
    document = tomlkit.parse(path.read_text("utf-8")) if path.exists() else tomlkit.document()
    if not path.exists():
        document.add(tomlkit.comment("What was let stand in this score, and why."))
    rows = document.get("let_stand")
    if rows is None:
        rows = tomlkit.aot()
        document.append("let_stand", rows)
    row = tomlkit.table()
    for key in ("finding", "rule", "where", "reason"):
        row.append(key, getattr(decision, key))
    numbers = tomlkit.inline_table()
    numbers.update(dict(decision.numbers))
    row.append("numbers", numbers)
    at = next((k for k, other in enumerate(rows) if other.get("finding") == decision.finding), None)
    if at is None:
        rows.append(row)
    else:
        rows[at] = row
    _write(path, tomlkit.dumps(document))


def _write(path: Path, text: str) -> None:
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        Path(name).replace(path)
    except OSError as error:
        raise DecisionsError(f"{path}: cannot be written ({error.strerror}).") from None
