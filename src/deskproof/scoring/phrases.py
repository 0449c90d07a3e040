"""Where a phrase begins: the passages of a sketch, cut at its bar lines.

Every bar line has a strength (:func:`strengths`): what stands there, what stops before it, what is new after it. The
cuts are those bar lines that are strong together and leave passages of a usual length.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.records import Bar, Passage, Sketch, SketchNote

DIGEST = 12
"""How many hex signs of a sum are kept."""

_LOUD = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
_AS_LOUD = {"fp": "f", "sf": "f", "sfz": "f", "fz": "f", "rf": "f", "rfz": "f", "sfp": "f", "sffz": "ff", "sfpp": "f"}
_REASONS = (
    "rehearsal", "repeat", "key", "time", "tempo", "silence", "fermata", "cadence", "long_note", "breath",
    "dynamic", "texture", "rhythm",
)  # fmt: skip
"""What can speak for a bar line; each is a fact ``phrase_sign.NAME``."""


class Strength(NamedTuple):
    """What speaks for a new passage at one bar line: the sum, and its reasons in words, the strongest first."""

    total: float
    reasons: tuple[str, ...]


def phrases_of(sketch: Sketch, cuts: Sequence[int] = ()) -> tuple[Passage, ...]:
    """The passages of a sketch in order, without strands; together they cover all bars.

    ``cuts`` are ordinals of the bars where the composer lets a passage begin: where given, they and bar 0 are all.

    Raises
    ------
    ValueError
        If a cut is no bar of the sketch.
    """
    count = len(sketch.bars)
    wrong = [cut for cut in cuts if not 0 <= cut < count]
    if wrong:
        raise ValueError(f"a passage cannot begin in bar ordinal {wrong[0]}: the sketch has {count} bars from 0")
    found = strengths(sketch)
    begins = sorted({0, *cuts}) if cuts else _best_cuts(found, sketch.bars[0].implicit)
    ranges = [(first, after - 1) for first, after in pairwise([*begins, count])]
    chosen = set(cuts)
    climax = _climax(sketch, ranges)
    return tuple(
        Passage(
            first, last, (),
            dynamic=_loudest(sketch, first, last),
            mark=_letter(sketch, first, last),
            digest=passage_digest(sketch, first, last),
            why=_why(first, found[first], first in chosen),
            climax=k == climax,
        )
        for k, (first, last) in enumerate(ranges)
    )  # fmt: skip


def bar_digest(sketch: Sketch, bar: int) -> str:
    """A short sum over what begins in a bar: place, length, pitch and staff of each note; not the bar's number."""
    onset = sketch.bars[bar].onset
    rows = sorted(
        (Fraction(note.onset - onset, sketch.grid), Fraction(note.end - note.onset, sketch.grid), note.midi, note.staff)
        for note in _in_bars(sketch, bar, bar)
    )
    return _sum(";".join(f"{at} {length} {midi} {staff}" for at, length, midi, staff in rows))


def passage_digest(sketch: Sketch, first: int, last: int) -> str:
    """A short sum over the bars from ``first`` to ``last``, both inside."""
    return _sum(" ".join(bar_digest(sketch, bar) for bar in range(first, last + 1)))


def strengths(sketch: Sketch) -> tuple[Strength, ...]:
    """How strongly each bar asks to begin a passage, by bar ordinal."""
    signs = _Signs(sketch)
    price = _prices()
    rows = []
    for bar in sketch.bars:
        found = signs.at(bar.index) if bar.index else {}
        parts = sorted(((price[name] * much, name, words) for name, (much, words) in found.items()), reverse=True)
        total = sum(part[0] for part in parts) - (price["held_over"] * signs.held_over(bar) if bar.index else 0.0)
        rows.append(Strength(total, tuple(part[2] for part in parts)))
    return tuple(rows)


@lru_cache(maxsize=1)
def _prices() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("phrase_sign")}


@lru_cache(maxsize=1)
def _lengths() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("phrase_length")}


def _best_cuts(found: Sequence[Strength], upbeat: bool) -> list[int]:
    """The bars where passages begin: the choice with the greatest sum of strengths less what odd lengths cost.

    An upbeat (bar 0 shorter than a bar) is not counted.
    """
    count = len(found)
    rule = _lengths()
    most = int(rule["most"])
    best: list[tuple[float, int]] = [(0.0, -1)]
    for after in range(1, count + 1):
        gain = found[after].total if after < count else 0.0
        best.append(
            max(
                (best[first][0] + gain - _length_cost(after - max(first, int(upbeat)), rule), first)
                for first in range(max(0, after - most), after)
            )
        )
    begins = []
    at = count
    while at > 0:
        at = best[at][1]
        begins.append(at)
    return begins[::-1]


def _length_cost(bars: int, rule: dict[str, float]) -> float:
    """What a passage of so many bars costs beyond what a usual one does."""
    cost = rule["each"]
    if bars < rule["least"]:
        cost += rule["forced"]
    if bars < rule["usual_from"]:
        cost += (rule["usual_from"] - bars) * rule["short"]
    elif bars > rule["usual_to"]:
        cost += (bars - rule["usual_to"]) * rule["long"]
    if bars % int(rule["group"]):
        cost += rule["odd"]
    return cost


class _Signs:
    """What speaks for a new passage at the bar lines of a sketch."""

    def __init__(self, sketch: Sketch) -> None:
        self.sketch = sketch
        self.rule = {fact.key: float(fact.value) for fact in facts.of("phrase_rule")}
        self.inside = [_in_bars(sketch, bar.index, bar.index) for bar in sketch.bars]
        self.repeats = _repeats(sketch)
        self.loud = _loudness(sketch)
        self.ends = sorted(note.end for note in sketch.notes)
        self.usual = _usual_length(sketch.notes)
        self.patterns = [_pattern(notes, bar, sketch.grid) for notes, bar in zip(self.inside, sketch.bars, strict=True)]
        self.slur_over = self._slurs_over()

    def at(self, bar: int) -> dict[str, tuple[float, str]]:
        """By name of the reason: how much (1: fully) and in words, what speaks for a beginning at this bar."""
        found: dict[str, tuple[float, str]] = {}
        for name in _REASONS:
            sign: Callable[[Bar, Bar], tuple[float, str] | None] = getattr(self, f"_{name}")
            said = sign(self.sketch.bars[bar - 1], self.sketch.bars[bar])
            if said is not None:
                found[name] = said
        return found

    def held_over(self, bar: Bar) -> float:
        """How much goes on over the bar line: the share of held notes there, and any slur."""
        here = [n for n in self.inside[bar.index - 1] if n.end >= bar.onset]
        over = sum(n.end > bar.onset for n in here)
        return (over / len(here) if here else 0.0) + (1.0 if bar.index in self.slur_over else 0.0)

    def _rehearsal(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        for sign in self.sketch.said:
            if sign.bar == bar.index and sign.kind == "rehearsal":
                return 1.0, f"rehearsal mark {sign.value}"
        return None

    def _repeat(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        return (1.0, "a repeat or ending stands there") if bar.index in self.repeats else None

    def _key(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        return (1.0, "the key changes") if bar.key != before.key else None

    def _time(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        return (1.0, "the time signature changes") if bar.time[:2] != before.time[:2] else None

    def _tempo(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        for sign in self.sketch.said:
            if sign.bar == bar.index and sign.onset == bar.onset and sign.kind == "metronome":
                return 1.0, "the tempo changes"
        return None

    def _silence(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """All rest before the bar line: the longer against a beat, the more."""
        if not self.inside[before.index]:
            return (1.0, "all rest before it") if self.inside[bar.index] else None
        gap = bar.onset - max(n.end for n in self.inside[before.index])
        if gap <= 0 or any(n.onset < bar.onset < n.end for n in self.inside[max(0, before.index - 1)]):
            return None
        return min(1.0, gap / self.sketch.grid), "all rest before it"

    def _fermata(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        held = any(m.kind == "fermata" for n in self.inside[before.index] for m in n.marks)
        return (1.0, "a fermata stands before it") if held else None

    def _cadence(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """The lowest line falls a fifth (rises a fourth) onto a note that is long for this sketch."""
        notes = self._line(before.index, lowest=True)
        for one, other in pairwise(notes[-int(self.rule["cadence_notes"]) :]):
            if other.bar != before.index or (one.midi - other.midi) % 12 != 7:
                continue
            longer = other.end - other.onset >= max(one.end - one.onset, self.usual * self.rule["long_note"])
            if longer and other.end >= bar.onset - self.sketch.grid:
                return 1.0, "the bass falls a fifth onto a long note"
        return None

    def _long_note(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """The top line comes to rest on a longer note, and goes on in or just before the new bar."""
        notes = self._line(before.index, lowest=False)
        usual = _usual_length([*notes, *self._line(bar.index, lowest=False)])
        own = [n for n in notes if n.bar == before.index]
        if not own or not usual:
            return None
        last = max(own, key=lambda n: (n.end - n.onset, n.onset))
        length = (last.end - last.onset) / usual
        pickup = [n for n in own if n.onset > last.onset]
        if length < self.rule["long_note"] or len(pickup) > self.rule["pickup"]:
            return None
        return min(1.0, length / self.rule["very_long_note"]), "the top line comes to rest on a long note"

    def _breath(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """A rest in the top staff, or the end of a slur that no other slur follows over the line."""
        notes = [n for n in self.inside[before.index] if n.staff == 0]
        if not notes:
            return None
        if max(n.end for n in notes) < bar.onset:
            return 1.0, "the top staff takes breath"
        if bar.index not in self.slur_over and max(notes, key=lambda n: (n.onset, n.midi)).slurs:
            return 1 / 2, "a slur ends there"
        return None

    def _dynamic(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """A dynamic at the beginning of the bar far from the one in force."""
        was, now = self.loud[before.index], self.loud[bar.index]
        new = any(s.kind == "dynamics" and s.bar == bar.index and s.onset == bar.onset for s in self.sketch.said)
        if not new or was == now:
            return None
        return min(1.0, abs(now - was) / self.rule["sharp_dynamic"]), "the dynamic changes"

    def _texture(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """How many notes, how thick, and which staves: the two bars before against the two from here on."""
        old, new = self._fabric(before.index - 1), self._fabric(bar.index)
        if old is None or new is None:
            return None
        much = sum(abs(a - b) / max(a, b, 1.0) for a, b in zip(old, new, strict=True)) / len(old)
        return (much, "the texture changes") if much > self.rule["new_texture"] else None

    def _rhythm(self, before: Bar, bar: Bar) -> tuple[float, str] | None:
        """The bars before it end a group that begins again here: same top rhythm as some bars ago."""
        own = self.patterns[bar.index]
        if len(own) < 2 or own == self.patterns[before.index]:
            return None
        groups = (int(self.rule["group"]), int(self.rule["group"]) * 2)
        again = any(bar.index >= g and self.patterns[bar.index - g] == own for g in groups)
        return (1.0, "the rhythm of an earlier bar begins again") if again else None

    def _fabric(self, first: int) -> tuple[float, ...] | None:
        """Notes, notes a chord, and staves in use of two bars; None if one of them is empty or is not there."""
        if first < 0 or first + 1 >= len(self.inside) or not self.inside[first] or not self.inside[first + 1]:
            return None
        notes = [*self.inside[first], *self.inside[first + 1]]
        onsets = {n.onset for n in notes}
        return float(len(onsets)), len(notes) / len(onsets), float(len({n.staff for n in notes}))

    def _line(self, bar: int, lowest: bool) -> list[SketchNote]:
        """The outermost note of each onset, of a bar and the one before it."""
        notes = [n for k in (bar - 1, bar) if k >= 0 for n in self.inside[k] if not n.grace]
        staff = max((n.staff for n in notes), default=0) if lowest else min((n.staff for n in notes), default=0)
        at: dict[int, SketchNote] = {}
        for n in notes:
            best = at.get(n.onset)
            if n.staff == staff and (best is None or (n.midi < best.midi if lowest else n.midi > best.midi)):
                at[n.onset] = n
        return [at[onset] for onset in sorted(at)]

    def _slurs_over(self) -> set[int]:
        """Bars at whose beginning a slur of the top staff goes on."""
        bars: dict[int, set[int]] = {}
        for note in self.sketch.notes:
            for slur in note.slurs if note.staff == 0 else ():
                bars.setdefault(slur, set()).add(note.bar)
        return {bar for seen in bars.values() for bar in range(min(seen) + 1, max(seen) + 1)}


def _repeats(sketch: Sketch) -> set[int]:
    """Bars before which a repeat sign, an ending, a segno or a coda stands."""
    found = {sign.bar for sign in sketch.said if sign.kind in ("segno", "coda")}
    for part in sketch.score.parts:
        for measure in part.measures:
            found |= {measure.index + repeat.right for repeat in measure.repeats}
            found |= {measure.index for ending in measure.endings if ending.kind == "start"}
            found |= {measure.index + 1 for ending in measure.endings if ending.kind != "start"}
    return found


def _pattern(notes: Sequence[SketchNote], bar: Bar, grid: int) -> tuple[Fraction, ...]:
    """The rhythm of a bar's top staff: its onsets in quarters."""
    return tuple(sorted({Fraction(n.onset - bar.onset, grid) for n in notes if n.staff == 0 and not n.grace}))


def _usual_length(notes: Sequence[SketchNote]) -> float:
    return float(median([n.end - n.onset for n in notes if not n.grace] or [0]))


def _level(value: str) -> int:
    word = value.split()[-1] if value else "mf"
    return _LOUD.index(_AS_LOUD.get(word, word)) if _AS_LOUD.get(word, word) in _LOUD else _LOUD.index("mf")


def _loudness(sketch: Sketch) -> list[int]:
    """The dynamic in force at the beginning of each bar, as a rung from the softest; accents do not last."""
    now, k = _LOUD.index("mf"), 0
    signs = [sign for sign in sketch.said if sign.kind == "dynamics" and sign.value.split()[-1:] != []]
    rows = []
    for bar in sketch.bars:
        while k < len(signs) and signs[k].onset <= bar.onset:
            now = _level(signs[k].value) if signs[k].value.split()[-1] in _LOUD else now
            k += 1
        rows.append(now)
    return rows


def _loudest(sketch: Sketch, first: int, last: int) -> str:
    """The loudest dynamic in force in some bars."""
    start, end = sketch.bars[first].onset, sketch.bars[last].onset + sketch.bars[last].length
    marked = [_level(s.value) for s in sketch.said if s.kind == "dynamics" and start <= s.onset < end]
    return _LOUD[max([_level(sketch.dynamic_at(start)), *marked])]


def _letter(sketch: Sketch, first: int, last: int) -> str:
    return next((s.value for s in sketch.said if s.kind == "rehearsal" and first <= s.bar <= last), "")


def _climax(sketch: Sketch, ranges: Sequence[tuple[int, int]]) -> int:
    """Which passage is the loudest; among these the one that is highest and fullest."""

    def height(k: int) -> tuple[float, float]:
        first, last = ranges[k]
        notes = _in_bars(sketch, first, last)
        if not notes:
            return -1.0, 0.0
        full = max(Counter(n.onset for n in notes).values())
        return float(_LOUD.index(_loudest(sketch, first, last))), max(n.midi for n in notes) + full

    return max(range(len(ranges)), key=height, default=0)


def _why(first: int, strength: Strength, chosen: bool) -> str:
    """Why a passage begins in this bar, in words."""
    if first == 0:
        return "the beginning"
    if chosen:
        return "the composer begins a passage here"
    return "; ".join(strength.reasons[:3]) or "a passage of usual length ends before it"


def notes_in(sketch: Sketch, first: int, last: int) -> tuple[int, int]:
    """The ordinals of the notes that begin in some bars, both inside: the first, and the one after the last."""
    notes = sketch.notes
    start = bisect_left(notes, sketch.bars[first].onset, key=lambda n: n.onset) if first else 0
    if last == len(sketch.bars) - 1:
        return start, len(notes)
    return start, bisect_left(notes, sketch.bars[last + 1].onset, key=lambda n: n.onset)


def _in_bars(sketch: Sketch, first: int, last: int) -> tuple[SketchNote, ...]:
    start, to = notes_in(sketch, first, last)
    return sketch.notes[start:to]


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST]
