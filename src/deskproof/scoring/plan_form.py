"""The form of a plan's text: its tables and keys, its few fixed words, and where each line of it stands.

A text is taken apart into blocks, one a table, each with the comments that stand over it; put together again the blocks
are the text, byte for byte. So the writer can change one value and leave the rest as the composer has it.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from deskproof.errors import DeskproofError
from deskproof.scoring.records import Line, PlannedPassage, Who

TOP, DEFAULTS, FORCES, PASSAGE, WRITTEN = "", "defaults", "forces", "passage", "written"
LINE, TACET, STRAND, OTHER = CHILDREN = ("passage.line", "passage.tacet", "passage.strand", "passage.other")
KEYS = {
    TOP: ("status", "gap"),
    DEFAULTS: ("strength_scale",),
    FORCES: ("orchestra", "text"),
    PASSAGE: ("bars", "mark", "weight", "dynamic", "digest", "cost", "sum"),
    LINE: ("strand", "who", "at", "how", "dynamic", "fixed", "prefer", "avoid", "by", "why", "rule", "sum"),
    TACET: ("who", "why"),
    STRAND: ("bars", "staff", "voice", "strand"),
    OTHER: ("cost", "lines"),
}
"""The keys of each table, in the order in which they are written."""

OCTAVES = {"unis": 0, "8va": 1, "8vb": -1, "15ma": 2, "15mb": -2, "22ma": 3, "22mb": -3}
OCTAVE_WORDS = {octave: word for word, octave in OCTAVES.items()}
WEIGHTS = ("thin", "ordinary", "full", "all")
NOBODY = "nobody"
"""In place of players: the strand is left out, and the line says why."""

_SUM_BYTES = 3  # six signs beside a line: enough to see that it was touched
_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[{]|[\]}]|\n|[^"\'#\[\]{}\n]+',
    re.DOTALL,
)


class PlanTextError(DeskproofError):
    """The text of a plan cannot be used; one line a problem: place, what was found, what to write."""


@dataclass(eq=False)
class Pair:
    """One ``key = value`` with everything on its lines; ``line`` counts from 1."""

    key: str
    value: Any
    text: str
    line: int


@dataclass(eq=False)
class Block:
    """One table: its path ("passage.line", "" before the first), blank lines and comments over it, its head, its body.

    ``above`` and the texts in ``body`` are single lines with their ends; ``array`` is True for ``[[...]]``.
    """

    path: str
    array: bool
    line: int
    above: list[str] = field(default_factory=list)
    head: str = ""
    body: list[Pair | str] = field(default_factory=list)

    def pairs(self) -> dict[str, Pair]:
        """Its pairs by key."""
        return {one.key: one for one in self.body if isinstance(one, Pair)}

    def text(self) -> str:
        """The block as it stands in the text."""
        body = (one.text if isinstance(one, Pair) else one for one in self.body)
        return "".join((*self.above, self.head, *body))


def blocks_of(text: str) -> list[Block]:
    """The blocks of a text that is TOML and ends its last line; the first holds what stands before any table."""
    found = [Block(TOP, False, 1)]
    at, line = 0, 1
    while at < len(text):
        end = _statement_end(text, at)
        piece = text[at:end]
        plain = piece.strip()
        if plain.startswith("["):
            above = _taken_over(found[-1])
            found.append(Block(_path(piece), plain.startswith("[["), line, above, piece))
        elif not plain or plain.startswith("#"):
            found[-1].body.append(piece)
        else:
            ((key, value),) = tomllib.loads(piece).items()
            found[-1].body.append(Pair(key, value, piece, line))
        at, line = end, line + piece.count("\n")
    return found


def comments_in(piece: str) -> list[str]:
    """The comments in a statement or line, strings passed over.

    >>> comments_in('who = ["oboe # 1", # first choice')
    ['# first choice']
    """
    return [token for token in _TOKEN.findall(piece) if token.startswith("#")]


def digest_of_line(line: Line, passage: str) -> str:
    """The short sum beside a line: what it asks for, who chose it, and the digest of the passage it was written for."""
    who = [(one.chair, one.octave, one.how) for one in line.who]
    rows = (line.strand, who, line.dynamic, line.prefer, line.avoid, line.by, line.rule, passage)
    return _sum(rows)


def digest_of_passage(passage: PlannedPassage) -> str:
    """The short sum of what a passage asks for besides its lines: weight, dynamic, who is silent, notes moved."""
    silent = [row.who for row in passage.tacet]
    return _sum((passage.weight, passage.dynamic, silent, [tuple(row) for row in passage.overrides], passage.digest))


def written_who(one: Who) -> str:
    """A player in the short form of a second scoring: "violin 1 8va pizz".

    >>> written_who(Who("cello", 0, "pizz")), written_who(Who("piccolo", 1)), written_who(Who("oboe 1"))
    ('cello unis pizz', 'piccolo 8va', 'oboe 1')
    """
    octave = OCTAVE_WORDS[one.octave] if one.octave or one.how else ""
    return " ".join(word for word in (one.chair, octave, one.how) if word)


def _sum(rows: Any) -> str:
    plain = json.dumps(rows, ensure_ascii=True)
    return hashlib.blake2s(plain.encode(), digest_size=_SUM_BYTES).hexdigest()


def _statement_end(text: str, at: int) -> int:
    """Where the statement that begins at ``at`` ends, its line's end included."""
    depth = 0
    for token in _tokens(text, at):
        word = token[0]
        if word in "[{":
            depth += 1
        elif word in "]}":
            depth -= 1
        elif word == "\n" and depth <= 0:
            return token.end()
    return len(text)


def _tokens(text: str, at: int) -> Iterator[re.Match[str]]:
    while at < len(text) and (found := _TOKEN.match(text, at)) is not None:
        yield found
        at = found.end()


def _taken_over(block: Block) -> list[str]:
    """The blank lines and comments at the end of a block that belong to the next one: from its first blank line on."""
    tail = len(block.body)
    while tail and isinstance(block.body[tail - 1], str):
        tail -= 1
    while tail < len(block.body) and str(block.body[tail]).strip():
        tail += 1
    taken = [str(one) for one in block.body[tail:]]
    del block.body[tail:]
    return taken


def _path(head: str) -> str:
    """The name of a table, dots between: ``[[passage.line]]`` is "passage.line"."""
    names: list[str] = []
    table: Any = tomllib.loads(head)
    while table:
        if isinstance(table, list):
            table = table[0]
            continue
        ((name, table),) = table.items()
        names.append(name)
    return ".".join(names)
