"""How the reading of a score is held against music21's: the three questions and how their answers are counted.

How long is each bar, in which order are the bars played, which notes stand in each: one after the other, each with
the answers before it held equal. What the counts mean stands in ``docs/reading-against-music21.md``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from deskproof import document
from deskproof.score import CHORD, CUE, GRACE, Score
from deskproof.state import State, state_of
from oracles.music21_reading import PartDifference, Reading, Row, compare, read


@dataclass
class Pair:
    """One score in both readings."""

    state: State
    theirs: Reading

    @property
    def ours(self) -> list[list[Row]]:
        """The notes that Deskproof hears, in quarters; grace, cue and unpitched notes apart."""
        return heard(self.state)

    def bars(self) -> list[Fraction]:
        """Length in quarters that Deskproof gives each bar."""
        return [Fraction(length, self.state.score.grid) for length in self.state.timeline.frame.lengths]

    def in_our_bars(self) -> list[list[Row]]:
        """music21's notes with the bars as long, and played in the order, that Deskproof says."""
        bars = self.bars()
        parts = tuple(replace(p, contents=tuple(bars[: len(p.measures)])) for p in self.theirs.parts)
        return Reading(parts).rows(aligned=True, order=self.state.timeline.frame.order.measures)

    def plain(self) -> list[PartDifference]:
        """What differs when nothing is evened out."""
        return compare(self.ours, self.theirs.rows())


def heard(state: State) -> list[list[Row]]:
    """The notes that Deskproof hears, in quarters; grace, cue and unpitched notes apart."""
    grid = state.score.grid
    return [
        [
            Row(Fraction(e.onset, grid), Fraction(e.end, grid), e.sounding, f"{part.id}/m{e.measure}/n{e.note.n}")
            for e in events
            if e.sounding is not None and not e.grace and not e.note.flags & CUE
        ]
        for part, events in zip(state.score.parts, state.timeline.parts, strict=True)
    ]


def pair_of(path: Path) -> Pair:
    """Both readings of one file."""
    return Pair(state_of(document.read(path).score, parts=()), read(path))


@cache
def kept_pair_of(path: Path) -> Pair:
    """The same, remembered: for the files that more than one test looks at."""
    return pair_of(path)


def crude(found: list[PartDifference]) -> int:
    """Notes that stand elsewhere or are played another number of times, by the side that has more of them."""
    return max(sum(len(d.only_ours) for d in found), sum(len(d.only_theirs) for d in found))


def differing_notes(pair: Pair) -> dict[str, int]:
    """Notes of their own length or pitch: what remains when bars and order are the same on both sides."""
    found = compare(pair.ours, pair.in_our_bars())
    if not found:
        return {}
    return {"notes": sum(len(d.only_ours) for d in found), "theirs": sum(len(d.only_theirs) for d in found)}


def differing_bars(pair: Pair) -> dict[str, dict[str, int]]:
    """Bars that music21 makes shorter or longer in one part than Deskproof does in all, and the notes in them."""
    found: dict[str, Counter[str]] = defaultdict(Counter)
    bars = pair.bars()
    for part in pair.theirs.parts:
        for i, (notes, length) in enumerate(zip(part.measures, part.lengths, strict=True)):
            if length != bars[i]:
                kind = "short bar" if length < bars[i] else "overfull bar"
                found[kind] += Counter(bars=1, notes=len(notes))
    return {kind: {"bars": count["bars"], "notes": count["notes"]} for kind, count in found.items()}


def jumps(order: tuple[int, ...], count: int) -> Counter[str]:
    """Where the playing order leaves the printed order: ``m8>m1`` plays measure 1 after measure 8."""
    ends = (*order[1:], count)
    return Counter(f"m{a}>{'end' if b == count else f'm{b}'}" for a, b in zip(order, ends, strict=True) if b != a + 1)


def differing_turns(pair: Pair) -> dict[str, Any]:
    """Jumps that one side makes and the other does not, and the notes of the bars they land in.

    music21 may play its parts in different orders; a jump counts if any part lacks it.
    """
    ours = jumps(pair.state.timeline.frame.order.measures, len(pair.bars()))
    lacking: Counter[str] = Counter()
    beyond: Counter[str] = Counter()
    for order in {part.order for part in pair.theirs.parts}:
        theirs = jumps(order, len(pair.bars()))
        lacking |= ours - theirs
        beyond |= theirs - ours
    only = {"ours": sorted(lacking.elements()), "theirs": sorted(beyond.elements())}
    return {**only, "notes": notes_behind(pair, only)} if any(only.values()) else {}


def notes_behind(pair: Pair, only: dict[str, Any]) -> int:
    """Notes of all parts in the bars where the jumps land, once for each jump."""
    landed = [text.partition(">")[2] for side in ("ours", "theirs") for text in only[side]]
    return sum(notes_in(pair)[int(at[1:])] for at in landed if at != "end")


def notes_in(pair: Pair) -> list[int]:
    """Notes of all parts in each bar."""
    counts = [0] * len(pair.bars())
    for part in pair.theirs.parts:
        for i, notes in enumerate(part.measures):
            counts[i] += len(notes)
    return counts


def in_other_bars(pair: Pair) -> int:
    """Printed notes of the bars that the two sides play a different number of times."""
    ours = Counter(pair.state.timeline.frame.order.measures)
    found = 0
    for part in pair.theirs.parts:
        theirs = Counter(part.order)
        found += sum(len(notes) for i, notes in enumerate(part.measures) if theirs[i] != ours[i])
    return found


def listed(rows: Iterable[dict[str, Any]], kind: str) -> Iterator[tuple[dict[str, Any], str, dict[str, Any]]]:
    """The files of a reviewed list that stand under causes of one kind: row, name, counts."""
    for row in rows:
        if row["kind"] == kind:
            for name, found in row["files"].items():
                yield row, name, found


def merged_turns(rows: Iterable[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The reviewed jumps of each file together; one file may stand in several rows, with different jumps."""
    merged: dict[str, dict[str, Any]] = {}
    for _, name, turns in listed(rows, "turn"):
        whole = merged.setdefault(name, {"ours": [], "theirs": [], "notes": 0})
        for key in whole:
            whole[key] = whole[key] + turns[key]
    for whole in merged.values():
        whole["ours"].sort()
        whole["theirs"].sort()
    return merged


def shorter_than_chord(score: Score) -> set[tuple[str, int, int]]:
    """Places (part, measure, note) of chord notes shorter than the first of their chord."""
    found = set()
    for part in score.parts:
        for measure in part.measures:
            first = None
            for note in measure.notes:
                if not note.flags & CHORD:
                    first = note
                elif first is not None and note.length < first.length and not note.flags & GRACE:
                    found.add((part.id, measure.index, note.n))
    return found
