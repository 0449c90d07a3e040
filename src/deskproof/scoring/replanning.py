"""A plan goes on when its sketch or its text has been changed: what stays as it is, and what is planned anew.

Old passages are found again by their music, bar by bar, so bars that were put in or taken out move the others along
and change nothing in them. Bars that the composer cut otherwise by hand hold as they are written.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from deskproof.errors import DeskproofError
from deskproof.score import Score, Time
from deskproof.scoring import phrases
from deskproof.scoring.plan_reading import ends_of
from deskproof.scoring.records import COMPOSER, Line, Passage, PlannedPassage, ScoringPlan, Sketch
from deskproof.scoring.same_bars import common

BarDigest = Callable[[Sketch, int], str]
Before = Sequence[PlannedPassage | None]

_SIGNS = 6  # of each bar's sum


class OtherBarsError(DeskproofError):
    """The plan is for other bars than the sketch; the message names each line."""


# ------------------------------------------------------------------ names and sums of bars


def bar_names(numbers: Sequence[str]) -> list[str]:
    """Names of bars by their printed numbers, each its own: the second bar of one number is "16 (2)".

    >>> bar_names(["15", "16", "16", "17"])
    ['15', '16', '16 (2)', '17']
    """
    seen: dict[str, int] = {}
    found = []
    for number in numbers:
        seen[number] = seen.get(number, 0) + 1
        found.append(number if seen[number] == 1 else f"{number} ({seen[number]})")
    return found


def bars_of(sketch: Sketch, first: int, last: int) -> str:
    """Bars as a plan writes them, from ordinals, both inside: "9-16", or "12" for one."""
    names = bar_names([bar.number for bar in sketch.bars])
    return names[first] if first == last else f"{names[first]}-{names[last]}"


def digest_of(sketch: Sketch, first: int, last: int, bar_digest: BarDigest = phrases.bar_digest) -> str:
    """What ``PlannedPassage.digest`` holds: one short sum a bar, of its notes and its dynamics; not of its number.

    Bar by bar, so that a bar put in later is seen as such.
    """
    marked: dict[int, list[str]] = {}
    for sign in sketch.said:
        if sign.kind == "dynamics" and first <= sign.bar <= last:
            marked.setdefault(sign.bar, []).append(sign.value)
    words = []
    for bar in range(first, last + 1):
        loud = [sketch.dynamic_at(sketch.bars[bar].onset), *marked.get(bar, ())]
        words.append(_sum((bar_digest(sketch, bar), loud)))
    return " ".join(words)


def _sum(rows: Any) -> str:
    return hashlib.blake2s(repr(rows).encode()).hexdigest()[:_SIGNS]


# ------------------------------------------------------------------ old passages in the sketch of today


def cuts_of(plan: ScoringPlan, sketch: Sketch, bar_digest: BarDigest = phrases.bar_digest) -> tuple[int, ...]:
    """The ordinals of the bars where passages begin, bar 0 among them; bars that the plan has not are passages too.

    Raises
    ------
    OtherBarsError
        If the plan names bars that the sketch has not, and its music is not found there either.
    """
    spans = [span for span in _spans(plan, sketch, bar_digest) if span is not None]
    cuts = {0, *(span.start for span in spans), *(span.stop for span in spans)}
    return tuple(sorted(cut for cut in cuts if cut < len(sketch.bars)))


def matched(
    plan: ScoringPlan, passages: Sequence[Passage], sketch: Sketch, bar_digest: BarDigest = phrases.bar_digest
) -> tuple[PlannedPassage | None, ...]:
    """For each passage of the sketch the planned one that it goes on from, with the bars that it has today.

    It is the one that has most bars in common with it; None where there is none.

    Raises
    ------
    OtherBarsError
        See :func:`cuts_of`.
    """
    spans = _spans(plan, sketch, bar_digest)
    found: list[PlannedPassage | None] = []
    for passage in passages:
        shared = [_shared(span, passage) for span in spans]
        best = max(range(len(shared)), key=lambda k: shared[k], default=0)
        if not any(shared):
            found.append(None)
        else:
            found.append(replace(plan.passages[best], bars=bars_of(sketch, passage.first, passage.last)))
    return tuple(found)


def _shared(span: range | None, passage: Passage) -> int:
    return 0 if span is None else max(0, min(span.stop, passage.last + 1) - max(span.start, passage.first))


def _spans(plan: ScoringPlan, sketch: Sketch, bar_digest: BarDigest) -> list[range | None]:
    """The bars of each planned passage in the sketch as it is; None for one whose music has gone."""
    today = digest_of(sketch, 0, len(sketch.bars) - 1, bar_digest).split() if sketch.bars else []
    old = [passage.digest.split() for passage in plan.passages]
    flat = [word for words in old for word in words]
    pairs = common(flat, today)
    if flat != today and pairs and all(old) and not any(_cut_by_hand(passage) for passage in plan.passages):
        return _moved(old, _partners(pairs, len(flat), len(today)))
    return _as_written(plan, sketch)


def _cut_by_hand(passage: PlannedPassage) -> bool:
    """Whether a passage names another count of bars than it was planned for."""
    first, last = ends_of(passage.bars)
    counted = first.isdecimal() and last.isdecimal()
    return counted and int(last) - int(first) + 1 != len(passage.digest.split())


def _partners(pairs: Sequence[tuple[int, int]], old: int, new: int) -> dict[int, int]:
    """Old bar -> bar of today: the equal ones, and between them those that were changed in their places."""
    found: dict[int, int] = {}
    i = j = 0
    for a, b in (*pairs, (old, new)):
        found.update((i + k, j + k) for k in range(min(a - i, b - j)))
        if a < old:
            found[a] = b
        i, j = a + 1, b + 1
    return found


def _moved(old: Sequence[Sequence[str]], partner: Mapping[int, int]) -> list[range | None]:
    found: list[range | None] = []
    at = 0
    for words in old:
        places = [partner[k] for k in range(at, at + len(words)) if k in partner]
        found.append(range(places[0], places[-1] + 1) if places else None)
        at += len(words)
    return found


def _as_written(plan: ScoringPlan, sketch: Sketch) -> list[range | None]:
    """The bars of each passage by their printed numbers."""
    places = {name: k for k, name in enumerate(bar_names([bar.number for bar in sketch.bars]))}
    found: list[range | None] = []
    problems: list[str] = []
    free = 0
    for passage in plan.passages:
        first, last = _ends(passage.bars, places)
        place = f"line {passage.where}: " if passage.where else ""
        if first is None or last is None:
            problems.append(f"{place}bars {passage.bars} are not in the sketch, which has {_all_bars(sketch)}")
        elif last < first or first < free:
            problems.append(f"{place}bars {passage.bars} do not come after the passage before")
        else:
            found.append(range(first, last + 1))
            free = last + 1
    if problems:
        raise OtherBarsError(
            "plan for other bars than the sketch:\n" + "\n".join(problems) + "\nWrite the bars as the sketch has them."
        )
    return found


def _ends(bars: str, places: Mapping[str, int]) -> tuple[int | None, int | None]:
    """First and last bar; a printed number may itself have a dash."""
    plain = bars.strip()
    if plain in places:
        return places[plain], places[plain]
    for k, sign in enumerate(plain):
        first, last = plain[:k].strip(), plain[k + 1 :].strip()
        if sign in "-–" and first in places and last in places:
            return places[first], places[last]
    return None, None


def _all_bars(sketch: Sketch) -> str:
    return f"bars {bars_of(sketch, 0, len(sketch.bars) - 1)}" if sketch.bars else "no bars"


# ------------------------------------------------------------------ what is planned anew


def edited(
    before: Before,
    passages: Sequence[Passage],
    sketch: Sketch,
    new: Collection[tuple[str, str]] = (),
    bar_digest: BarDigest = phrases.bar_digest,
) -> frozenset[int]:
    """The ordinals of the passages that must be planned anew.

    Those that have no plan; whose music is another; where the composer has changed a line, the weight, who is silent or
    whose notes a strand has (``new``, as ``Reading.new`` gives it); where a strand has no line or is left to the
    planner; where a line is for a strand that is no more.

    Parameters
    ----------
    before : sequence of PlannedPassage or None
        As :func:`matched` gives them, one for each passage.
    new : collection of (bars, strand)
        By the bars of ``before``; see :func:`renamed` where bars have moved.
    """
    changed = {bars for bars, _ in new}
    return frozenset(
        k
        for k, (old, passage) in enumerate(zip(before, passages, strict=True))
        if old is None
        or old.bars in changed
        or old.digest != digest_of(sketch, passage.first, passage.last, bar_digest)
        or {line.strand for line in old.lines if line.who or line.why} != {strand.id for strand in passage.strands}
    )


def renamed(new: Collection[tuple[str, str]], plan: ScoringPlan, before: Before) -> frozenset[tuple[str, str]]:
    """What is new in a plan, by the bars that its passages have today."""
    today = {old.where: old.bars for old in before if old is not None}
    bars = {passage.bars: today.get(passage.where, passage.bars) for passage in plan.passages}
    return frozenset((bars.get(old, old), strand) for old, strand in new)


def frozen(before: Before, passages: Sequence[Passage], edited: Collection[int]) -> tuple[PlannedPassage | None, ...]:
    """What the planner is asked for in each passage.

    A passage that needs no new plan has all its lines fixed. In one that does, fixed lines stay fixed, the composer's
    other lines are wishes (strands that are left out stay so), and of the planner's lines only what was preferred and
    avoided is left. None: nothing asked.
    """
    return tuple(
        None if old is None else replace(old, lines=tuple(_asked(old, passage) if k in edited else _all_fixed(old)))
        for k, (old, passage) in enumerate(zip(before, passages, strict=True))
    )


def kept(passages: Sequence[Passage], edited: Collection[int]) -> frozenset[int]:
    """The ordinals of the passages that keep their lines."""
    return frozenset(range(len(passages))) - frozenset(edited)


def _all_fixed(old: PlannedPassage) -> list[Line]:
    return [replace(line, fixed=True) for line in old.lines]


def _asked(old: PlannedPassage, passage: Passage) -> list[Line]:
    found = []
    for line in old.lines:
        if line.fixed or line.by == COMPOSER:
            left_out = bool(line.why and not line.who)
            found.append(replace(line, fixed=line.fixed or left_out))
        elif (line.prefer or line.avoid) and passage.strand(line.strand) is not None:
            found.append(replace(line, who=(), why="", rule=""))
    return found


def agrees(before: Before, passages: Sequence[Passage], name: str = "plan") -> list[str]:
    """What is wrong with lines for strands that their passages have not: one line of text each.

    Only fixed lines and the composer's; the planner's own are planned anew.
    """
    problems = []
    for old, passage in zip(before, passages, strict=True):
        names = [strand.id for strand in passage.strands]
        for line in old.lines if old is not None else ():
            if old is None or line.strand in names or not (line.fixed or line.by == COMPOSER):
                continue
            place = f"{name}, line {line.where}" if line.where else name
            near = difflib.get_close_matches(line.strand, names, 1, 0.5)
            hint = f"did you mean {near[0]!r}? " if near else ""
            there = f"It has {', '.join(names)}." if names else "It has none."
            problems.append(f"{place}: bars {old.bars} have no strand {line.strand!r}; {hint}{there}")
    return problems


# ------------------------------------------------------------------ the full score that was written last


def bar_digests(score: Score) -> dict[str, str]:
    """Name of each bar of a full score (:func:`bar_names`) -> a short sum of all that is printed in it.

    Notes with their pitches, lengths, ties and marks; dynamics, words and other directions; changes of key, clef and
    time. Not the rests, nor the numbers of voices, nor how finely a file divides its quarters.
    """
    longest = max((part.measures for part in score.parts), key=len, default=())
    rows: list[list[Any]] = [[] for _ in longest]
    for k, part in enumerate(score.parts):
        for measure, into in zip(part.measures, rows, strict=False):
            for note in measure.notes:
                if note.kind != "rest":
                    marks = sorted((mark.kind, mark.value) for mark in note.marks if mark.kind != "midi")
                    length, pitch = _quarters(note.length, score), str(note.pitch)
                    into.append((k, _quarters(note.start, score), length, pitch, note.staff, note.flags, marks))
            for said in measure.directions:
                if not said.hidden and not said.kind.startswith("sound:"):
                    into.append((k, _quarters(said.start, score), said.kind, said.value))
            for change in measure.changes:
                value = change.value[:2] if isinstance(change.value, Time) else change.value
                into.append((k, _quarters(change.start, score), change.kind, str(value)))
    names = bar_names([measure.number for measure in longest])
    return {name: _sum(sorted(map(repr, row))) for name, row in zip(names, rows, strict=True)}


def _quarters(ticks: int, score: Score) -> str:
    return str(Fraction(ticks, score.grid))


def differing(written: Mapping[str, str], score: Score) -> list[str]:
    """The names of the bars of a full score that are not as they were written, bars put in or taken out included."""
    today = bar_digests(score)
    gone = [name for name in written if name not in today]
    return [name for name in today if written.get(name) != today[name]] + gone
