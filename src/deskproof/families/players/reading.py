"""The groups of a score: which printed lines belong together, what they play, and when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from deskproof import facts, words
from deskproof.families.base import Context
from deskproof.families.percussion import at_once, strokes
from deskproof.families.players.record import Stretch, stretches_of
from deskproof.instruments import Instrument, by_id
from deskproof.score import UNCHECKED
from deskproof.spans import Span

US = 1_000_000
WINDS = ("flutes", "oboes", "clarinets", "bassoons", "saxophones")
GROUPS = (*WINDS, "trumpets", "keyboards", "percussion")
PERCUSSION, KEYBOARDS = "percussion", "keyboards"


@dataclass(frozen=True, slots=True)
class Group:
    """The printed lines of one group.

    ``parts`` gives for each line the ordinal of its part; a part for two players is two lines. ``stretches`` are those
    of all lines, in order of time.
    """

    name: str
    parts: Mapping[str, int]
    stretches: tuple[Stretch, ...]

    @property
    def instruments(self) -> tuple[str, ...]:
        """All instruments that sound in it, in order of their first note."""
        return tuple(dict.fromkeys(stretch.instrument for stretch in self.stretches))


@lru_cache(maxsize=1024)
def group_of(instrument: Instrument) -> str:
    """The group of an instrument; empty for one whose players take no other."""
    if instrument.family in facts.get("players.percussion").value:
        return PERCUSSION
    for name in GROUPS:
        if name != PERCUSSION and {instrument.kind, instrument.id} & set(facts.get(f"players.{name}").value):
            return name
    return ""


def groups_of(spans: Sequence[Span], context: Context) -> Iterator[Group]:
    """The groups of a score, in the order of the facts; those without a sounding note are left out."""
    for name, rows in by_group(spans).items():
        group = read_group(name, rows, context)
        if group is not None:
            yield group


def by_group(spans: Sequence[Span]) -> dict[str, list[Span]]:
    """Group -> its spans that have events, in the order of the facts."""
    found: dict[str, list[Span]] = {name: [] for name in GROUPS}
    for span in spans:
        if span.instrument is not None and span.events:
            name = group_of(span.instrument)
            if name:
                found[name].append(span)
    return found


def read_group(name: str, rows: Sequence[Span], context: Context) -> Group | None:
    """One group, read from its spans; None if no note of it sounds."""
    parts: dict[str, int] = {}
    stretches: list[Stretch] = []
    if name == PERCUSSION:
        for index in dict.fromkeys(span.part for span in rows):
            struck = _struck([span for span in rows if span.part == index], context)
            parts.update({stretch.line: index for stretch in struck})
            stretches += struck
        rows = ()
    for span in rows:
        assert span.instrument is not None
        part = context.score.parts[span.part]
        count = words.how_many(part.name)
        times = [context.frame.times_us(e) for e in span.events if not e.note.flags & UNCHECKED]
        for k in range(count):
            line = part.id if count == 1 else f"{part.id}/{k + 1}"
            found = stretches_of(times, line, span.instrument.id, US * _gap(name))
            if found:
                parts[line] = span.part
                stretches += found
    if not stretches:
        return None
    return Group(name, parts, tuple(sorted(stretches, key=lambda s: (s.from_us, s.to_us, s.line))))


def _struck(spans: Sequence[Span], context: Context) -> list[Stretch]:
    """The stretches of a percussion part, instrument by instrument."""
    reading = strokes.read(spans, context)
    times: dict[str, list[tuple[int, int]]] = {}
    for stroke in (one for row in reading.onsets for one in row) if reading is not None else ():
        if stroke.instrument:
            end_us = at_once.busy_until_us(stroke)
            times.setdefault(stroke.instrument, []).append((stroke.t_us, max(end_us, stroke.t_us)))
    line = context.score.parts[spans[0].part].id
    gap_us = US * _gap(PERCUSSION)
    return [one for name, rows in times.items() for one in stretches_of(rows, line, name, gap_us)]


def _gap(group: str) -> int:
    """The quickest change in a group, in seconds: shorter rests are no place to hand over."""
    return int(times_of(group)[0])


def times_of(group: str) -> tuple[float, float]:
    """Quickest and comfortable change between two kinds of instrument of a group, in seconds."""
    name = "keyboard" if group == "keyboards" else "brass" if group == "trumpets" else "wind"
    quickest, comfortable = facts.get(f"players.change_{name}").value
    return float(quickest), float(comfortable)


def need_us(before: str, after: str, group: str, context: Context) -> tuple[int, int]:
    """Quickest and comfortable time for a change of instrument, in microseconds; the forces go before the facts."""
    said = context.forces.changes.get((before, after))
    if said is None and group == PERCUSSION:
        change = at_once.change((before,), (after,), context.forces)
        return (0, 0) if change is None else (change.quick_us, change.easy_us)
    if said is None and by_id(before).kind == by_id(after).kind:
        quickest, comfortable = facts.get("players.change_crook").value
        return round(US * quickest), round(US * comfortable)
    quickest, comfortable = said or times_of(group)
    return round(US * quickest), round(US * comfortable)
