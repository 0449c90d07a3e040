"""Reads the text of a plan, with every problem named at once and the line it stands on."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from deskproof import forces
from deskproof.errors import DeskproofError
from deskproof.scoring import hall as hall_
from deskproof.scoring.hall import Hall
from deskproof.scoring.plan_form import (
    CHILDREN,
    DEFAULTS,
    FORCES,
    KEYS,
    LINE,
    NOBODY,
    OCTAVES,
    OTHER,
    PASSAGE,
    STRAND,
    TACET,
    TOP,
    WEIGHTS,
    WRITTEN,
    Block,
    PlanTextError,
    blocks_of,
    digest_of_line,
    digest_of_passage,
)
from deskproof.scoring.plan_words import Meant, all_meant, players_meant
from deskproof.scoring.records import COMPOSER, PLANNER, Line, Override, PlannedPassage, ScoringPlan, Tacet, Who
from deskproof.scoring.strength import SCALES

_BARS = re.compile(r"\s*(?P<first>\S(?:.*?\S)??)(?:\s*[-–]\s*(?P<last>\S(?:.*\S)?))?\s*", re.DOTALL)
_OTHERWISE = {
    PASSAGE: "write [[passage]] over each passage",
    **{path: f"write [[{path}]] over each of them" for path in CHILDREN},
    DEFAULTS: "write [defaults] once",
    FORCES: "write [forces] once",
    WRITTEN: "write [written] once",
}


@dataclass(frozen=True)
class Reading:
    """A plan as read. ``new``: (bars, strand) of lines that the composer wrote or changed since the plan was written.

    (bars, "") stands for a passage whose weight, dynamic, silent players or moved notes were changed.
    """

    plan: ScoringPlan
    new: frozenset[tuple[str, str]] = frozenset()


def reading_of(text: str, name: str = "plan", hall: Hall | None = None) -> Reading:
    """Read the text of a plan. Players are looked for in ``hall``, by default the one of the plan's own forces.

    Raises
    ------
    PlanTextError
        With one line a problem: "NAME, line N: what was found; what to write".
    """
    text = text.replace("\r\n", "\n")
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said, _, place = str(error).partition(" (at ")
        at = re.match(r"line \d+", place)
        raise PlanTextError(f"{name}{f', {at[0]}' if at else ''}: not TOML: {said}.") from None
    return _Reader(name, hall).reading(blocks_of(text if text.endswith("\n") else f"{text}\n"))


def ends_of(bars: str) -> tuple[str, str]:
    """First and last printed number of bars as a plan writes them.

    >>> ends_of("9-16"), ends_of("12"), ends_of("9 – 16")
    (('9', '16'), ('12', '12'), ('9', '16'))
    """
    found = _BARS.fullmatch(bars)
    return (found["first"], found["last"] or found["first"]) if found else (bars, bars)


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word that looks most like another, as the end of a message."""
    words = list(known)
    near = difflib.get_close_matches(word.casefold(), words, 1, 0.4)
    return f"; did you mean {near[0]!r}? Known: {', '.join(words)}." if near else f". Known: {', '.join(words)}."


class _Reader:
    """Turns blocks into records and collects the problems."""

    def __init__(self, name: str, hall: Hall | None) -> None:
        self.name, self.hall = name, hall
        self.problems: list[tuple[int, str]] = []
        self.new: set[tuple[str, str]] = set()

    def reading(self, blocks: list[Block]) -> Reading:
        blocks = [block for block in blocks if self._is_known(block)]
        single = {block.path: block for block in blocks if block.path not in (PASSAGE, *CHILDREN)}
        top, defaults, room, written = (single.get(p, Block(p, False, 0)) for p in (TOP, DEFAULTS, FORCES, WRITTEN))
        text, orchestra = self._text(room, "text"), self._text(room, "orchestra")
        self._make_hall(room, text)
        passages = tuple(self._passages(blocks))
        self._in_order(passages)
        plan = ScoringPlan(
            text,
            self._word(defaults, "strength_scale", SCALES) or SCALES[0],
            passages,
            {key: self._text(written, key) for key in written.pairs()},
            self._text(top, "status"),
            self._whole(top, "gap") or 0,
            orchestra,
        )
        if self.problems:
            lines = [f"{self.name}{f', line {line}' if line else ''}: {said}" for line, said in sorted(self.problems)]
            raise PlanTextError("\n".join(dict.fromkeys(lines)))
        return Reading(plan, frozenset(self.new))

    # ------------------------------------------------------------------ tables

    def _is_known(self, block: Block) -> bool:
        if block.path not in (*KEYS, WRITTEN):
            wide = sorted({path for path in (*KEYS, WRITTEN) if path})
            self._say(block.line, f"no table is called [{block.path}]{nearest(block.path, wide)}")
            return False
        if block.array != (block.path in (PASSAGE, *CHILDREN)):
            self._say(block.line, f"[{block.path}] is written otherwise; {_OTHERWISE[block.path]}.")
            return False
        known = KEYS.get(block.path, tuple(block.pairs()))
        for key, pair in block.pairs().items():
            if key in known:
                continue
            path = f"{block.path}.{key}".strip(".")
            if path in _OTHERWISE:
                self._say(pair.line, f"{key!r} is written as one value; {_OTHERWISE[path]}.")
            else:
                place = f"[[{block.path}]]" if block.array else f"[{block.path}]"
                tables = () if block.path else (DEFAULTS, FORCES, PASSAGE, WRITTEN)
                said = f"{place if block.path else 'the beginning'} has no key {key!r}{nearest(key, (*known, *tables))}"
                self._say(pair.line, said)
        return True

    def _make_hall(self, room: Block, text: str) -> None:
        if self.hall is not None:
            return
        if not text:
            self.hall = hall_.standard()
            return
        pair = room.pairs()["text"]
        down = pair.line if pair.text.split("=", 1)[1].lstrip()[3:4] == "\n" else pair.line - 1
        try:
            self.hall = hall_.hall_of(forces.parse("\n" * down + text, self.name), text, self.name)
        except DeskproofError as error:
            raise PlanTextError(str(error)) from None

    def _passages(self, blocks: list[Block]) -> Iterable[PlannedPassage]:
        groups: list[list[Block]] = []
        for block in blocks:
            if block.path == PASSAGE:
                groups.append([block])
            elif block.path in CHILDREN and groups:
                groups[-1].append(block)
            elif block.path in CHILDREN:
                self._say(block.line, f"[[{block.path}]] stands before any passage; write [[passage]] over it.")
        return [self._passage(head, inner) for head, *inner in groups]

    def _passage(self, head: Block, inner: list[Block]) -> PlannedPassage:
        bars = self._bars(head)
        digest = self._text(head, "digest")
        lines = [(block, self._line(block)) for block in inner if block.path == LINE]
        for k, (block, line) in enumerate(lines):
            before = next((one for _, one in lines[:k] if one.strand == line.strand and line.strand), None)
            if before is not None:
                said = f"strand {line.strand!r} has a line in bars {bars} already, line {before.where}; keep one."
                self._say(block.line, said)
        passage = PlannedPassage(
            bars,
            digest,
            self._text(head, "mark"),
            self._word(head, "weight", WEIGHTS),
            self._text(head, "dynamic"),
            tuple(self._chosen(block, line, bars, digest) for block, line in lines),
            tuple(self._tacet(block) for block in inner if block.path == TACET),
            tuple(self._override(block) for block in inner if block.path == STRAND),
            self._whole(head, "cost"),
            tuple(self._scoring(block) for block in inner if block.path == OTHER),
            head.line,
        )
        if self._text(head, "sum") != digest_of_passage(passage):
            self.new.add((bars, ""))
        return passage

    def _line(self, block: Block) -> Line:
        pairs = block.pairs()
        strand = self._needed(block, "strand", 'write the strand it is for, such as strand = "tune"')
        written = pairs["who"].value if "who" in pairs else PLANNER
        free, nobody = written == PLANNER, written == NOBODY
        why = "" if free else self._text(block, "why")
        if nobody and not why:
            self._say(pairs["who"].line, 'a strand that nobody plays needs a reason; write why = "...".')
        return Line(
            strand,
            () if free or nobody else self._who(block),
            self._text(block, "dynamic"),
            self._yes(block, "fixed"),
            self._words(block, "prefer"),
            self._words(block, "avoid"),
            self._word(block, "by", (PLANNER, COMPOSER)) or COMPOSER,
            why,
            self._text(block, "rule"),
            block.line,
        )

    def _chosen(self, block: Block, line: Line, bars: str, passage: str) -> Line:
        """The line, the composer's where its sum does not fit it any more."""
        if self._text(block, "sum") == digest_of_line(line, passage):
            return line
        self.new.add((bars, line.strand))
        return replace(line, by=COMPOSER)

    def _who(self, block: Block) -> tuple[Who, ...]:
        line = block.pairs()["who"].line
        words = self._texts(block, "who")
        if words == [] == block.pairs()["who"].value:
            self._say(line, f'who names nobody; write players, "{PLANNER}" or "{NOBODY}" (with why = "...").')
        octaves = self._beside(block, "at", len(words), "unis")
        hows = self._beside(block, "how", len(words), "")
        found: list[Who] = []
        for word, octave, how in zip(words, octaves, hows, strict=True):
            if octave not in OCTAVES:
                self._say(block.pairs()["at"].line, f"at has {octave!r}, no octave{nearest(octave, OCTAVES)}")
            for chair in self._meant(line, players_meant, word):
                if chair in [one.chair for one in found]:
                    self._say(line, f"who names {chair} twice; one player takes a strand once.")
                found.append(Who(chair, OCTAVES.get(octave, 0), how))
        return tuple(found)

    def _beside(self, block: Block, key: str, count: int, plain: str) -> Sequence[str]:
        """A list with one entry for each entry of ``who``."""
        if key not in block.pairs():
            return [plain] * count
        found = self._texts(block, key)
        if len(found) == count:
            return found
        said = f"{key} has {len(found)} entries and who has {count}; write one {key} for each player in who."
        self._say(block.pairs()[key].line, said)
        return [plain] * count

    def _words(self, block: Block, key: str) -> tuple[str, ...]:
        """Players, instruments or families that a key lists, in words that the hall knows."""
        if key not in block.pairs():
            return ()
        found: list[str] = []
        for word in self._texts(block, key):
            chairs = self._meant(block.pairs()[key].line, all_meant, word)
            assert self.hall is not None
            known = [one.name for one in self.hall.named(word)] == chairs != []
            found += [word] if known and self.hall.chair(word) is None else chairs
        return tuple(found)

    def _meant(self, line: int, meant: Callable[[str, Hall], Meant], word: str) -> list[str]:
        assert self.hall is not None
        found = meant(word, self.hall)
        if found.wrong:
            self._say(line, found.wrong)
        return [one.name for one in found.chairs]

    def _tacet(self, block: Block) -> Tacet:
        if "who" not in block.pairs():
            self._say(block.line, 'a tacet for nobody; write who = "brass", or who = ["horn 1"].')
        return Tacet(self._words(block, "who"), self._text(block, "why"), block.line)

    def _override(self, block: Block) -> Override:
        staff, voice = self._whole(block, "staff"), block.pairs().get("voice")
        if staff is None or staff < 1:
            self._say(block.line, "a moved voice needs its staff; write staff = 1 for the highest.")
        strand = self._needed(block, "strand", 'write the strand that the notes go to, such as strand = "tune"')
        said = str(voice.value) if voice and isinstance(voice.value, int) else self._text(block, "voice")
        return Override(self._bars(block), staff or 1, said, strand)

    def _scoring(self, block: Block) -> tuple[int, tuple[Line, ...]]:
        lines = tuple(self._short_line(block, one) for one in self._texts(block, "lines"))
        return self._whole(block, "cost") or 0, lines

    def _short_line(self, block: Block, text: str) -> Line:
        """One strand of a second scoring: "tune: oboe 1, violin 1 8va"."""
        for cut in re.finditer(": ", text):
            strand, players = text[: cut.start()], text[cut.end() :]
            if players == NOBODY:
                return Line(strand)
            who = self._short_who(players.split(", "))
            if who is not None:
                return Line(strand, who)
        said = f'{text!r} cannot be read; write "tune: oboe 1, violin 1 8va", players by their full names.'
        self._say(block.pairs()["lines"].line, said)
        return Line(text)

    def _short_who(self, pieces: list[str]) -> tuple[Who, ...] | None:
        """The players in pieces that stood between commas; a player's own name may have commas too."""
        assert self.hall is not None
        if not pieces:
            return ()
        for end in range(len(pieces), 0, -1):
            words = ", ".join(pieces[:end]).split(" ")
            at = next((k for k, word in enumerate(words) if k and word in OCTAVES), len(words))
            chair = self.hall.chair(" ".join(words[:at]))
            after = len(" ".join(pieces[end - 1 : end]).split(" "))
            if chair is None or (at < len(words) and at <= len(words) - after):
                continue
            rest = self._short_who(pieces[end:])
            if rest is not None:
                octave = OCTAVES[words[at]] if at < len(words) else 0
                return (Who(chair.name, octave, " ".join(words[at + 1 :])), *rest)
        return None

    def _in_order(self, passages: Sequence[PlannedPassage]) -> None:
        """Whether bars follow each other; a number that is printed more than once is left to the sketch."""
        for before, after in pairwise(passages):
            ends = [*ends_of(before.bars), *ends_of(after.bars)]
            if not all(one.isdecimal() for one in ends):
                continue
            last, first = int(ends[1]), int(ends[2])
            if first <= last:
                trouble = "come before" if int(ends[3]) < int(ends[0]) else "share bars with"
                said = f"bars {after.bars} {trouble} bars {before.bars} (line {before.where}); write passages in order."
                self._say(after.where, said)

    # ------------------------------------------------------------------ values

    def _say(self, line: int, text: str) -> None:
        self.problems.append((line, text))

    def _needed(self, block: Block, key: str, advice: str) -> str:
        found = self._text(block, key)
        if not found and (key not in block.pairs() or block.pairs()[key].value == ""):
            self._say(block.line, f"{key} is missing; {advice}.")
        return found

    def _bars(self, block: Block) -> str:
        pair = block.pairs().get("bars")
        bars = str(pair.value) if pair and isinstance(pair.value, int) else self._text(block, "bars")
        if not bars.strip():
            self._say(pair.line if pair else block.line, 'bars are missing; write bars = "1-8".')
            return bars
        first, last = ends_of(bars)
        if first.isdecimal() and last.isdecimal() and int(last) < int(first):
            self._say(pair.line if pair else block.line, f'bars {bars} run backwards; write bars = "{last}-{first}".')
        return bars

    def _text(self, block: Block, key: str) -> str:
        return str(self._value(block, key, str, 'a text in quotes, such as "..."') or "")

    def _word(self, block: Block, key: str, known: Iterable[str]) -> str:
        found = self._text(block, key)
        if found and found not in known:
            self._say(block.pairs()[key].line, f"{key} is {found!r}{nearest(found, known)}")
        return found

    def _whole(self, block: Block, key: str) -> int | None:
        found = self._value(block, key, int, "a whole number")
        return None if found is None else int(found)

    def _yes(self, block: Block, key: str) -> bool:
        return bool(self._value(block, key, bool, "true or false"))

    def _texts(self, block: Block, key: str) -> list[str]:
        """A list of texts; a single text is a list of one."""
        pair = block.pairs().get(key)
        if pair is None:
            return []
        rows = [pair.value] if isinstance(pair.value, str) else pair.value
        if not isinstance(rows, list) or not all(isinstance(row, str) for row in rows):
            self._say(pair.line, f'{key} is {pair.value!r}; expected a list of texts, such as ["oboe 1", "violin 1"].')
            return []
        return rows

    def _value(self, block: Block, key: str, kind: type, expected: str) -> Any:
        pair = block.pairs().get(key)
        if pair is None:
            return None
        if type(pair.value) is not kind:
            self._say(pair.line, f"{key} is {pair.value!r}; expected {expected}.")
            return None
        return pair.value
