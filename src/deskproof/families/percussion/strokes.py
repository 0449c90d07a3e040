"""A percussion part made ready for its planners: what is struck when, on what, with what, and how."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.percussion import naming
from deskproof.families.percussion.naming import GROUP, KIT, Named
from deskproof.families.tremolos import tremolos
from deskproof.families.trills import TRILLS, neighbour
from deskproof.score import UNCHECKED, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event

STRUCK, ROLL, COUNTED, TREMOLO, GRACE, BROKEN, GLISS = (
    "struck", "roll", "counted", "tremolo", "grace", "broken", "gliss"
)  # fmt: skip
US = 1000


class Stroke(NamedTuple):
    """One thing struck at one onset, with the events that ask for it.

    Attributes
    ----------
    t_us, until_us : int
        Onset and written end in microseconds.
    instrument : str
        Id of instruments.toml; empty where nothing tells.
    named : Named
        Who says what instrument it is.
    line : str
        Where it stands on the staff ("E4"), "keys" for all bars of a keyboard.
    key : int or None
        The sounding bar as a MIDI number, for instruments with bars or tubes; None for all others.
    how : str
        struck, roll, counted (a tremolo whose strokes are counted out), tremolo (between two bars or lines), grace,
        broken, gliss.
    sticks, mallets
        Kind of sticks asked for, and how many; empty and 0 where nothing is said.
    """

    t_us: int
    until_us: int
    instrument: str
    named: Named
    line: str
    key: int | None
    how: str
    sticks: str
    mallets: int
    events: tuple[Event, ...]

    @property
    def event(self) -> Event:
        """The event that asks for it, or the first of them."""
        return self.events[0]

    @property
    def rolls(self) -> bool:
        """Whether the hands go on after the onset."""
        return self.how in (ROLL, COUNTED, TREMOLO)


@dataclass(frozen=True, slots=True)
class Reading:
    """A percussion part by onset. ``players`` is how many the page says there are, None where it does not tell."""

    part: int
    onsets: tuple[tuple[Stroke, ...], ...]
    players: int | None

    @property
    def instruments(self) -> tuple[str, ...]:
        """The ids of what is struck, in the order in which it comes."""
        return tuple(dict.fromkeys(stroke.instrument for row in self.onsets for stroke in row if stroke.instrument))


def read(spans: Sequence[Span], context: Context) -> Reading | None:
    """Read the strokes of one part; None where nothing in it is percussion but timpani.

    Cues, hidden notes and ossias are left out. A file of played notes (MIDI) is read by its keys.

    Parameters
    ----------
    spans : sequence of Span
        All spans of the part.
    context : Context
    """
    if not spans or not _concerns(spans):
        return None
    part = context.score.parts[spans[0].part]
    named = naming.read(part)
    rows: dict[int, list[Stroke]] = {}
    halves = tremolos(part)
    for span in spans:
        for event in span.events:
            known = named.get((event.measure, event.note.n))
            if event.note.flags & UNCHECKED or known is None or not _percussion(span, known.named, event):
                continue
            t_us, until_us = context.frame.times_us(event)
            how = _how(event)
            half = halves.get((event.measure, event.note.n))
            if half is not None and how != GRACE:
                how, clock = TREMOLO, context.frame.clock
                t_us, until_us = clock.floor_us(event.onset - half.back), clock.ceil_us(event.end + half.more)
            where = known.named.instrument or (span.instrument.id if _sure(span) and span.instrument else "")
            keys = [int(event.sounding)] if event.sounding is not None and has_bars(where) else [None]
            if keys[0] is not None and how == ROLL and any(event.note.marked(kind) for kind in TRILLS):
                above = neighbour(event.note, context, span.part, event.measure).midi
                keys.append(keys[0] + int(above - event.note.pitch.midi) if event.note.pitch else keys[0])
            for key in dict.fromkeys(keys):
                stroke = Stroke(
                    t_us, until_us, where, known.named, known.line, key, how, known.sticks, known.mallets, (event,)
                )
                rows.setdefault(t_us, []).append(stroke)
    if not any(stroke.instrument != "timpani" for row in rows.values() for stroke in row):
        return None
    if context.score.source == "midi":
        rows = _together(rows, US * int(facts.get("keys.together").value))
    onsets = tuple(_joined(rows[t_us]) for t_us in sorted(rows))
    return Reading(spans[0].part, onsets, players_of(part, context, onsets))


def _concerns(spans: Sequence[Span]) -> bool:
    return any(
        span.instrument.family in naming.FAMILIES
        if span.instrument is not None
        else any(event.note.kind == "unpitched" for event in span.events)
        for span in spans
    )


def _sure(span: Span) -> bool:
    one = span.instrument
    return one is not None and one.family in naming.FAMILIES and not one.group


def _percussion(span: Span, named: Named, event: Event) -> bool:
    """Whether a note is a percussionist's: a piano or celesta in the same part is not, nor a knock on a violin."""
    if named.by == naming.WORDS:
        return True
    if span.instrument is None:
        return event.note.kind == "unpitched"
    return span.instrument.family in naming.FAMILIES


def has_bars(instrument: str) -> bool:
    """Whether the mallets go from bar to bar on an instrument, and its bars are known."""
    return facts.find(f"{instrument}.bar_low") is not None


def _how(event: Event) -> str:
    note = event.note
    if event.grace:
        return GRACE
    if note.marked("glissando") or note.marked("slide"):
        return GLISS
    if note.marked("arpeggiate") is not None:
        return BROKEN
    if any(note.marked(kind) for kind in TRILLS):
        return ROLL
    mark = note.marked("tremolo")
    if mark is None:
        return STRUCK
    least = int(facts.get("mallets.roll_strokes").value)
    return COUNTED if mark.value.isdecimal() and 0 < int(mark.value) < least else ROLL


def _together(rows: dict[int, list[Stroke]], within_us: int) -> dict[int, list[Stroke]]:
    """Played strokes as they are meant: what begins within a short time of the first is struck together."""
    found: dict[int, list[Stroke]] = {}
    start, taken = 0, set[tuple[str, str, int | None]]()
    for t_us in sorted(rows):
        fresh = {(one.instrument, one.line, one.key) for one in rows[t_us]}
        if not found or t_us - start > within_us or fresh & taken:
            start, taken = t_us, set()
            found[start] = []
        found[start] += [one._replace(t_us=start) for one in rows[t_us]]
        taken |= fresh
    return found


def _joined(row: list[Stroke]) -> tuple[Stroke, ...]:
    """The strokes of one onset: what two voices ask for at the same place is struck once."""
    found: dict[tuple[object, ...], Stroke] = {}
    for stroke in row:
        key = stroke.instrument, stroke.line if stroke.key is None else "", stroke.key
        other = found.get(key)
        if other is None:
            found[key] = stroke
            continue
        longest = max(stroke, other, key=lambda one: (one.rolls, one.until_us))
        found[key] = longest._replace(events=(*other.events, *stroke.events))
    return tuple(sorted(found.values(), key=lambda one: (one.key is not None, one.key or 0)))


def refs(part: Part, strokes: Sequence[Stroke]) -> tuple[NoteRef, ...]:
    """The notes that ask for these strokes, each once."""
    return tuple(dict.fromkeys(NoteRef(part.id, e.measure, e.note.n) for one in strokes for e in one.events))


# ------------------------------------------------------------------ how many players

_NUMBER = r"(?:\d+|I{1,3}|IV|VI{0,3}|V)"
_OF_SEVERAL = re.compile(rf"\b({_NUMBER})\s*(?:[-–,&+/]|and|und|et|e)\s*({_NUMBER})\b")
_ONE_OF = re.compile(rf"\b{_NUMBER}\b|\b(?:1st|2nd|3rd|\dth)\b", re.I)
_HOW_MANY = re.compile(r"^\s*([2-9])\s+\D")
_SAID = re.compile(
    r"\b(one|1|ein|un|una|une|two|2|zwei|due|deux|three|3|drei|tre|trois|four|4|vier|quattro|quatre)\s+(?:seule?s?\s+|"
    r"solo\s+|soli\s+|einziger\s+)?(?:players?|percussionists?|spieler|schlagzeuger|esecutor[ei]|percussionist[ai]|"
    r"exécutants?|executants?|percussionnistes?)\b", re.I,
)  # fmt: skip
_FIGURES = {word: n for n, row in enumerate((
    "one 1 ein un una une", "two 2 zwei due deux", "three 3 drei tre trois", "four 4 vier quattro quatre",
), 1) for word in row.split()}  # fmt: skip


def players_of(part: Part, context: Context, onsets: Sequence[Sequence[Stroke]]) -> int | None:
    """How many people play from a part; None where nothing tells.

    Said by words ("2 players"), by the name ("Percussion 1" is one, "Percussion 1-2" two; a part that is named by one
    instrument has one) or by the forces, if one player there has all its instruments. A staff called "Percussion" or
    "Becken u. Gr. Tr." may be the whole section's.
    """
    for measure in part.measures:
        for row in measure.directions:
            match = _SAID.search(row.value) if row.kind == "words" else None
            if match:
                return _FIGURES[match[1].casefold()]
    used = {stroke.instrument or GROUP for row in onsets for stroke in row}
    if any(used <= {*player.plays, "timpani"} or GROUP in player.plays for player in context.forces.players):
        return 1
    if any(stroke.named.others for row in onsets for stroke in row):
        return None
    several = _OF_SEVERAL.search(part.name)
    if several:
        return 2
    many = _HOW_MANY.match(part.name)
    if many:
        return int(many[1])
    names = naming.of_part(part)
    if len(names) == 1 or (not names and _ONE_OF.search(part.name)) or used == {KIT}:
        return 1
    return None


def by_instrument(row: Sequence[Stroke]) -> dict[str, list[Stroke]]:
    """The strokes of an onset by what they are struck on."""
    ordered = sorted(row, key=lambda one: one.instrument)
    return {name: list(strokes) for name, strokes in groupby(ordered, key=lambda one: one.instrument)}
