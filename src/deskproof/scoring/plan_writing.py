"""Writes a plan as text, or changes the text that stands: only the values that differ, and no comment is lost."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from deskproof.scoring.hall import STANDARD, Hall
from deskproof.scoring.plan_form import (
    CHILDREN,
    DEFAULTS,
    FORCES,
    KEYS,
    LINE,
    NOBODY,
    OCTAVE_WORDS,
    PASSAGE,
    STRAND,
    TACET,
    TOP,
    WRITTEN,
    Block,
    Pair,
    blocks_of,
    comments_in,
    digest_of_line,
    digest_of_passage,
    written_who,
)
from deskproof.scoring.plan_reading import reading_of
from deskproof.scoring.records import PLANNER, Line, PlannedPassage, ScoringPlan
from deskproof.scoring.same_bars import common

_WIDE = 110  # a longer list stands with one entry a line
_PLAYERS = ("who", "at", "how")  # entry for entry beside each other: written together
_OF_PLAYERS = (*_PLAYERS, "why")  # what goes with the players
_OWN_COMMENTS = re.compile(r"# (Scoring plan:|Passages:|For the (?=standard orchestra,|forces below))")

_IN_PASSAGES = (PASSAGE, *CHILDREN)

Rows = dict[str, Any]


def write(
    plan: ScoringPlan, before: str | None = None, new: Collection[tuple[str, str]] = (), hall: Hall | None = None
) -> str:
    """The text of a plan.

    Parameters
    ----------
    plan : ScoringPlan
        Of the lines of ``scorings`` the strand and the players are kept, of the others everything.
    before : str, optional
        The text as it stands: its comments, blank lines, order of keys and ways of writing a name stay. A comment whose
        table goes stands in the passage from then on, or in the one before if the passage goes.
    new : collection of (bars, strand)
        Lines that the planner has not heeded yet, as ``Reading.new`` gives them: they stay the composer's newest.
    hall : Hall, optional
        Where the players in ``before`` are looked for; by default the forces that it keeps.

    Raises
    ------
    PlanTextError
        If ``before`` is no plan.
    """
    if before is None:
        return _Writer([Block(TOP, False, 1)], ScoringPlan(scale=""), plan, new).text()
    old = reading_of(before, "the plan as it stands", hall)
    plain = before.replace("\r\n", "\n")
    whole = plain if plain.endswith("\n") or not plain else f"{plain}\n"
    text = _Writer(blocks_of(whole), old.plan, plan, new).text()
    if text == whole:
        return before
    return text.replace("\n", "\r\n") if "\r\n" in before else text


class _Writer:
    """Changes the blocks of one plan into those of another."""

    def __init__(
        self, blocks: list[Block], old: ScoringPlan, plan: ScoringPlan, new: Collection[tuple[str, str]]
    ) -> None:
        self.blocks, self.old, self.plan, self.new = blocks, old, plan, new

    def text(self) -> str:
        old, plan = self.old, self.plan
        first = next((k for k, block in enumerate(self.blocks) if block.path == PASSAGE), len(self.blocks))
        singles = [(k, block) for k, block in enumerate(self.blocks) if block.path not in _IN_PASSAGES]
        ahead = [block for k, block in singles if k < first]
        behind = [block for k, block in singles if k > first]
        if old != plan:
            _top_comments(self.blocks[0], plan)
        self._single(ahead, behind, TOP, _top(old), _top(plan))
        self._single(ahead, behind, DEFAULTS, {"strength_scale": old.scale}, {"strength_scale": plan.scale})
        self._single(ahead, behind, FORCES, _forces(old), _forces(plan))
        passages = self._passages(ahead[-1])
        self._single(behind, ahead, WRITTEN, dict(old.written), dict(plan.written))
        return "".join(block.text() for block in (*ahead, *passages, *behind))

    def _single(self, here: list[Block], there: list[Block], path: str, old: Rows, new: Rows) -> None:
        """Change a table that stands once; a missing one is put at the end of ``here`` if it is needed."""
        block = next((one for one in (*here, *there) if one.path == path), None)
        if block is None:
            if old == new:
                return
            block = _fresh(path)
            here.append(block)
        _change(block, old, new)

    # ------------------------------------------------------------------ passages

    def _passages(self, ahead: Block) -> list[Block]:
        """The blocks of all passages, in order; ``ahead`` takes the comments of passages that go before the first."""
        groups: list[list[Block]] = []
        for block in self.blocks:
            if block.path == PASSAGE:
                groups.append([block])
            elif block.path in CHILDREN:
                groups[-1].append(block)
        goes_on = _goes_on(self.old.passages, self.plan.passages)
        found: list[Block] = []
        at = 0
        for k, passage in enumerate(self.plan.passages):
            before = goes_on.get(k)
            if before is None:
                found += self._passage([_fresh(PASSAGE)], PlannedPassage(""), passage)
                continue
            for lost in groups[at:before]:
                _keep_comments(lost, found[-1] if found else ahead)
            found += self._passage(groups[before], self.old.passages[before], passage)
            at = before + 1
        for lost in groups[at:]:
            _keep_comments(lost, found[-1] if found else ahead)
        return found

    def _passage(self, group: list[Block], old: PlannedPassage, new: PlannedPassage) -> list[Block]:
        head, *inner = group
        seen = head.pairs()
        was, rows = _of_passage(old), _of_passage(new)
        _seal(seen, was, rows, digest_of_passage(new), (new.bars, "") in self.new)
        _change(head, was, rows)
        for path in CHILDREN:
            blocks = [block for block in inner if block.path == path]
            inner = self._children(head, inner, path, blocks, old, new)
        return [head, *inner]

    def _children(
        self, head: Block, inner: list[Block], path: str, blocks: list[Block], old: PlannedPassage, new: PlannedPassage
    ) -> list[Block]:
        """``inner`` with its blocks of one kind changed into what the new passage has of that kind."""
        was, rows = _rows(path, old), _rows(path, new)
        stays = _stays(path, was, rows)
        made: list[Block] = []
        for k, row in enumerate(rows):
            before = stays.get(k)
            block, then = (_fresh(path), {}) if before is None else (blocks[before], was[before])
            if path == LINE:
                line = new.lines[k]
                _seal(block.pairs(), then, row, digest_of_line(line, new.digest), (new.bars, line.strand) in self.new)
            _change(block, then, row)
            made.append(block)
        kept = [block for block in blocks if block in made]
        _keep_comments([block for block in blocks if block not in kept], head)
        return _placed(inner, path, kept, made)


def _placed(inner: list[Block], path: str, kept: list[Block], made: list[Block]) -> list[Block]:
    """The blocks of a passage: those of one kind in the order of ``made``, the others where they are."""
    order = iter([block for block in made if block in kept])
    stay = [block for block in inner if block.path != path or block in kept]
    found = [next(order) if block in kept else block for block in stay]
    kinds = list(KEYS)
    for k, block in enumerate(made):
        if block in kept:
            continue
        if k:
            at = found.index(made[k - 1]) + 1
        else:
            same = [i for i, one in enumerate(found) if one.path == path]
            ahead = [i + 1 for i, one in enumerate(found) if kinds.index(one.path) < kinds.index(path)]
            at = same[0] if same else max(ahead, default=0)
        found.insert(at, block)
    return found


def _goes_on(old: Sequence[PlannedPassage], new: Sequence[PlannedPassage]) -> dict[int, int]:
    """New passage -> old passage whose text it takes over, both in order: same bars of music, else same numbers."""
    found = {j: i for i, j in common([p.digest or p.bars for p in old], [p.digest or p.bars for p in new])}
    edges = [(-1, -1), *sorted(found.items()), (len(new), len(old))]
    for (j, i), (after, until) in pairwise(edges):
        numbers = [p.bars for p in old[i + 1 : until]], [p.bars for p in new[j + 1 : after]]
        pairs = common(*numbers)
        if not pairs and len(numbers[0]) == len(numbers[1]):
            pairs = [(k, k) for k in range(len(numbers[0]))]
        found.update((j + 1 + b, i + 1 + a) for a, b in pairs)
    return found


def _stays(path: str, old: Sequence[Rows], new: Sequence[Rows]) -> dict[int, int]:
    """New row -> old row whose block it takes over: lines by strand, others the same or at the same place."""
    if path == LINE:
        names = {row["strand"]: k for k, row in enumerate(old)}
        return {k: names[row["strand"]] for k, row in enumerate(new) if row["strand"] in names}
    found: dict[int, int] = {}
    for k, row in enumerate(new):
        same = next((i for i, one in enumerate(old) if one == row and i not in found.values()), None)
        if same is not None:
            found[k] = same
    for k in range(min(len(old), len(new))):
        if k not in found and k not in found.values():
            found[k] = k
    return found


# ---------------------------------------------------------------------- rows


def _top(plan: ScoringPlan) -> Rows:
    return {"status": plan.status, "gap": plan.gap} if plan.status or plan.gap else {}


def _forces(plan: ScoringPlan) -> Rows:
    rows = {"orchestra": plan.orchestra, "text": plan.forces}
    return {key: value for key, value in rows.items() if value}


def _of_passage(passage: PlannedPassage) -> Rows:
    rows: Rows = {"bars": passage.bars}
    for key in ("mark", "weight", "dynamic", "digest"):
        if value := getattr(passage, key):
            rows[key] = value
    if passage.cost is not None:
        rows["cost"] = passage.cost
    return rows


def _rows(path: str, passage: PlannedPassage) -> list[Rows]:
    """The tables of one kind in a passage."""
    if path == LINE:
        return [_of_line(line) for line in passage.lines]
    if path == TACET:
        return [
            {"who": row.who[0] if len(row.who) == 1 else list(row.who), **({"why": row.why} if row.why else {})}
            for row in passage.tacet
        ]
    if path == STRAND:
        return [{key: value for key, value in row._asdict().items() if value != ""} for row in passage.overrides]
    return [{"cost": cost, "lines": [_short(line) for line in lines]} for cost, lines in passage.scorings]


def _of_line(line: Line) -> Rows:
    rows: Rows = {"strand": line.strand}
    if line.who:
        rows["who"] = [one.chair for one in line.who]
        rows["at"] = [OCTAVE_WORDS[one.octave] for one in line.who]
        if any(one.how for one in line.who):
            rows["how"] = [one.how for one in line.who]
    else:
        rows["who"] = NOBODY if line.why else PLANNER
    for key in ("dynamic", "fixed", "prefer", "avoid", "by", "why", "rule"):
        if value := getattr(line, key):
            rows[key] = list(value) if isinstance(value, tuple) else value
    return rows


def _short(line: Line) -> str:
    return f"{line.strand}: {', '.join(written_who(one) for one in line.who) or NOBODY}"


def _seal(seen: Mapping[str, Pair], was: Rows, rows: Rows, sum_: str, is_new: bool) -> None:
    """Set what the text says of who chose a line, and its sum: as they stand while the line is new, else afresh."""
    for key in ("by", "sum"):
        was.pop(key, None)
        if key in seen:
            was[key] = seen[key].value
    if not is_new:
        rows["sum"] = sum_
        return
    if seen:
        rows.pop("by", None)
        rows.update({key: was[key] for key in ("by", "sum") if key in was})


# ---------------------------------------------------------------------- blocks


def _fresh(path: str) -> Block:
    """An empty table."""
    array = path in _IN_PASSAGES
    return Block(path, array, 0, ["\n"], f"[[{path}]]\n" if array else f"[{path}]\n")


def _change(block: Block, old: Rows, new: Rows) -> None:
    """Make the pairs of a block say ``new``; a pair that says the same in other words is left alone."""
    others = any(key in old and old[key] != new.get(key) for key in _PLAYERS)
    if others:
        old = {key: value for key, value in old.items() if key not in _PLAYERS}
    for key, pair in block.pairs().items():
        if key in new:
            if old.get(key) != new[key]:
                block.body[block.body.index(pair)] = Pair(key, new[key], _statement(key, new[key], pair.text), 0)
        elif key in old or (others and key in _OF_PLAYERS):
            at = block.body.index(pair)
            block.body[at : at + 1] = [f"{comment}\n" for comment in comments_in(pair.text)]
    for key in _in_order(block.path, new):
        if key not in block.pairs() and old.get(key) != new[key]:
            block.body.insert(_place(block, key, new), Pair(key, new[key], _statement(key, new[key]), 0))


def _in_order(path: str, new: Rows) -> list[str]:
    return [key for key in KEYS.get(path, tuple(new)) if key in new]


def _place(block: Block, key: str, new: Rows) -> int:
    """Where a new pair stands: behind the last one that is usually ahead of it."""
    order = KEYS.get(block.path, tuple(new))
    ahead = order[: order.index(key)]
    places = [k + 1 for k, one in enumerate(block.body) if isinstance(one, Pair) and one.key in ahead]
    if places:
        return places[-1]
    if block.path == TOP:  # behind the comments that open the text
        return next((k for k, one in enumerate(block.body) if isinstance(one, Pair)), len(block.body))
    return 0


def _statement(key: str, value: Any, before: str = "") -> str:
    """A pair as text, with the comments of the pair that stood there."""
    name = key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else _quoted(key)
    plain = f"{name} = {_value(value, is_long=key == 'text')}"
    comments = comments_in(before)
    if not comments:
        return f"{plain}\n"
    *above, last = comments
    return "".join(f"{comment}\n" for comment in above) + f"{plain}  {last}\n"


def _value(value: Any, is_long: bool = False) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return _long(value) if is_long else _quoted(value)
    rows = [_quoted(one) for one in value]
    short = f"[{', '.join(rows)}]"
    return short if len(short) <= _WIDE else "".join(("[\n", *(f"    {row},\n" for row in rows), "]"))


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _long(text: str) -> str:
    """A text of many lines as it is, between its own lines; with escapes only where it cannot stand so."""
    plain = all(one.isprintable() or one in "\n\t" for one in text) and "'''" not in text and not text.endswith("'")
    return f"'''\n{text}'''" if plain else _quoted(text)


def _keep_comments(lost: Sequence[Block], in_place: Block) -> None:
    """Put the composer's comments of blocks that go at the end of a block that stays."""
    comments = [one for block in lost for one in comments_in(block.text())]
    in_place.body += [f"{comment}\n" for comment in comments]


def _top_comments(block: Block, plan: ScoringPlan) -> None:
    """Bring the opening comments up to date; a text that has none of them gets them all."""
    wanted = {comment.split()[1]: comment for comment in _opening(plan)}
    own = [k for k, one in enumerate(block.body) if isinstance(one, str) and _OWN_COMMENTS.match(one)]
    for k in own:
        block.body[k] = wanted[str(block.body[k]).split()[1]]
    if not own:
        block.body[:0] = list(wanted.values())


def _opening(plan: ScoringPlan) -> Iterator[str]:
    yield "# Scoring plan: who plays what, passage by passage. It is yours to edit; docs/plan-text.md tells the form.\n"
    if not plan.status:
        state = "Not planned yet."
    elif plan.gap:
        state = f"A better plan may exist, by at most {plan.gap} in cost."
    else:
        state = "No plan is better, as the cost is reckoned."
    yield f"# Passages: {len(plan.passages)}. {state}\n"
    standard = plan.orchestra or not plan.forces
    yield f"# For {f'the standard orchestra, no forces being given: {STANDARD}' if standard else 'the forces below'}.\n"
