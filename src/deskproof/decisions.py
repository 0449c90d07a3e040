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

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from deskproof.errors import DeskproofError
from deskproof.files import locked, write_whole
from deskproof.findings import Finding

if TYPE_CHECKING:
    from tomlkit import TOMLDocument
    from tomlkit.items import Item, Key, Table

KEYS = ("finding", "rule", "where", "reason")  # the texts of a decision
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
    return _decisions(path, _text(path))


def _text(path: Path) -> str:
    """What stands in the file, with its own line ends; "" if there is none."""
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise DecisionsError(f"{path}: cannot be read as decisions ({error}). Mend it or move it away.") from None


def _decisions(path: Path, text: str) -> dict[str, Decision]:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
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
    for key in KEYS:
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
    """Write one decision into the file, whole or not at all; comments, unknown keys and the other decisions stay.

    A decision on the same finding is replaced. The file is read afresh under a lock, so that nothing is lost of what
    another page or another Deskproof writes meanwhile.

    Raises
    ------
    DecisionsError
        If the file that is there cannot be read, or it cannot be written.
    """
    _change(path, decision.finding, decision)


def remove(path: Path, finding_id: str) -> bool:
    """Take the decision on a finding out of the file, as carefully as ``add`` puts it in; False if there was none.

    Raises
    ------
    DecisionsError
        If the file that is there cannot be read, or it cannot be written.
    """
    return _change(path, finding_id, None)


def _change(path: Path, finding_id: str, decision: Decision | None) -> bool:
    """Replace, add or (None) take out the decision on one finding; False and nothing written if there is none."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        with locked(path):
            before = _text(path)
            known = _decisions(path, before)  # refuses a file that it would not understand, before anything is written
            if decision is None and finding_id not in known:
                return False
            document = tomlkit.parse(before if before.endswith("\n") or not before else f"{before}\n")
            if not path.exists():
                document.add(tomlkit.comment("What was let stand in this score, and why."))
            if decision is None:
                _take_out(document, finding_id)
            else:
                _put(document, decision)
            after = tomlkit.dumps(document)
            if not _only_changed(before, after, finding_id, decision):
                raise DecisionsError(f"{path}: cannot be changed without disturbing the rest. Change it by hand.")
            write_whole(path, after.encode("utf-8"))
            return True
    except DecisionsError:
        raise
    except TOMLKitError as error:
        raise DecisionsError(f"{path}: cannot be changed ({error}). Change it by hand.") from None
    except DeskproofError as error:
        raise DecisionsError(str(error)) from None


def _put(document: TOMLDocument, decision: Decision) -> None:
    """Set the last row on the finding, which is the one that ``read`` heeds, or add one."""
    import tomlkit
    from tomlkit.items import AoT

    rows = document.get("let_stand")
    if rows is None:
        rows = tomlkit.aot()
        document.append("let_stand", rows)
    row = next((row for row in reversed(list(rows)) if row["finding"] == decision.finding), None)
    new = row is None
    if row is None:
        row = tomlkit.table() if isinstance(rows, AoT) else tomlkit.inline_table()
    for key in KEYS:
        row[key] = getattr(decision, key)
    if "numbers" not in row:
        row["numbers"] = tomlkit.inline_table()
    row["numbers"].clear()
    row["numbers"].update(dict(decision.numbers))
    if new:
        rows.append(row)


def _take_out(document: TOMLDocument, finding_id: str) -> None:
    """Take out every row on the finding. What is noted below it, before the next row, belongs to that and stays."""
    from tomlkit.items import AoT

    rows = document["let_stand"]
    for k in reversed(range(len(rows))):
        if rows[k]["finding"] != finding_id:
            continue
        if isinstance(rows, AoT):
            notes = _notes_below(rows[k])
            if k:
                _last_part(rows[k - 1]).extend(notes)
            else:
                at = next(i for i, (key, _) in enumerate(document.body) if key is not None and key.key == "let_stand")
                document.body[at:at] = notes
        del rows[k]
    if not rows:
        document.body[:] = [(key, item) for key, item in document.body if item is not rows]


def _last_part(row: Table) -> list[tuple[Key | None, Item]]:
    """What is printed last of a row: its own lines, or those of a table in it such as [let_stand.numbers]."""
    from tomlkit.items import Table

    body = row.value.body
    while body and isinstance(body[-1][1], Table):
        body = body[-1][1].value.body
    return body


def _notes_below(row: Table) -> list[tuple[Key | None, Item]]:
    """The comments below the last line of a row, with their blank lines; empty if there are only blank lines."""
    from tomlkit.items import Comment, Whitespace

    body = _last_part(row)
    at = len(body)
    while at and isinstance(body[at - 1][1], Comment | Whitespace):
        at -= 1
    return body[at:] if any(isinstance(item, Comment) for _, item in body[at:]) else []


def _only_changed(before: str, after: str, finding_id: str, decision: Decision | None) -> bool:
    """Whether the new text says of the finding what it should, and the same as before of all else."""
    try:
        old, new = tomllib.loads(before), tomllib.loads(after)
    except tomllib.TOMLDecodeError:
        return False
    was, now = old.pop("let_stand", []), new.pop("let_stand", [])
    mine = [row for row in now if row["finding"] == finding_id]
    if [row for row in was if row["finding"] != finding_id] != [row for row in now if row["finding"] != finding_id]:
        return False
    if decision is None:
        return old == new and not mine
    wanted = {key: getattr(decision, key) for key in KEYS} | {"numbers": dict(decision.numbers)}
    return old == new and bool(mine) and mine[-1] == mine[-1] | wanted
