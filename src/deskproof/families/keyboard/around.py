"""The other parts around a keyboard: which of them sound loud where it plays."""

from __future__ import annotations

from typing import NamedTuple

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.loudness import Loudness
from deskproof.score import UNCHECKED, Part
from deskproof.spans import Line

SUSTAINED = {"woodwind": "woodwind", "brass": "brass", "strings": "strings"}


class _Sounding(NamedTuple):
    """Where another part sounds in a bar, in ticks from and to, and how loud it is marked."""

    group: str
    notes: list[tuple[int, int]]
    loudness: Loudness


class Around:
    """The parts that can hold a note beside part ``own``. What has been asked is remembered."""

    def __init__(self, context: Context, own: int) -> None:
        self._context, self._own = context, own
        self._parts: list[tuple[Part, str]] | None = None
        self._loudness: dict[str, Loudness] = {}
        self._bars: dict[int, list[_Sounding]] = {}
        self._loud: dict[tuple[int, int], dict[str, int]] = {}

    def holds(self, context: Context) -> bool:
        """Whether the other parts of a score are those that were looked at."""
        before = self._context
        rows = zip(before.score.parts, context.score.parts, before.layouts, context.layouts, strict=True)
        return all(
            i == self._own or (part is now and layout is later) for i, (part, now, layout, later) in enumerate(rows)
        )

    def loud(self, measure: int, start: int) -> dict[str, int]:
        """How many parts of each group sound loud at a tick of a measure; no group that none is of."""
        found = self._loud.get((measure, start))
        if found is None:
            signs = facts.get("keyboards.loud").value
            found = self._loud[measure, start] = {}
            for group, notes, loudness in self._bar(measure):
                if loudness.at(measure, start) in signs and any(a <= start < b for a, b in notes):
                    found[group] = found.get(group, 0) + 1
        return found

    def _bar(self, measure: int) -> list[_Sounding]:
        if measure not in self._bars:
            self._bars[measure] = rows = []
            for part, group in self._others():
                if measure < len(part.measures):
                    notes = [
                        (n.start, n.start + n.length)
                        for n in part.measures[measure].notes
                        if n.pitch is not None and not n.flags & UNCHECKED
                    ]
                    if notes:
                        rows.append(_Sounding(group, notes, self._loudness_of(part)))
        return self._bars[measure]

    def _others(self) -> list[tuple[Part, str]]:
        if self._parts is None:
            layouts = self._context.layouts
            self._parts = [
                (part, SUSTAINED[line.first.family])
                for i, part in enumerate(self._context.score.parts)
                if i != self._own
                and (line := Line(i, part, layouts[i])).first is not None
                and line.first.family in SUSTAINED
            ]
        return self._parts

    def _loudness_of(self, part: Part) -> Loudness:
        if part.id not in self._loudness:
            self._loudness[part.id] = Loudness(part)
        return self._loudness[part.id]
