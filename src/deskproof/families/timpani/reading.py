"""A timpani part made ready for its planner: what is struck when, and how long each drum must keep its pitch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from deskproof import words
from deskproof.families.base import Context
from deskproof.families.timpani.model import Drum, Event, Settings, drum, standard_drums
from deskproof.families.trills import TRILLS
from deskproof.score import UNCHECKED, NoteRef
from deskproof.spans import Span
from deskproof.timeline import Event as Stroke

KIND = "timpani"
SLIDES = ("glissando", "slide")


@dataclass(frozen=True, slots=True)
class Reading:
    """Events in order of time, and beside each, for each of its pitches, the strokes that ask for it.

    ``odd`` are strokes whose pitch is no whole semitone.
    """

    part: int
    events: tuple[Event, ...]
    strokes: tuple[tuple[tuple[Stroke, ...], ...], ...]
    odd: tuple[Stroke, ...]
    players: int

    def refs(self, id_: str, event: int, pitches: Sequence[int] | None = None) -> tuple[NoteRef, ...]:
        """The notes of an event, or of some ordinals of its pitches, each once."""
        rows = self.strokes[event] if pitches is None else [self.strokes[event][k] for k in pitches]
        return tuple(dict.fromkeys(NoteRef(id_, one.measure, one.note.n) for row in rows for one in row))


def read(spans: Sequence[Span], context: Context) -> Reading | None:
    """Read the timpani spans of one part; None where nothing sounds. Cues, hidden notes and ossias are left out."""
    rows: dict[int, dict[int, list[Stroke]]] = {}
    odd = []
    for span in spans:
        if span.instrument is None or span.instrument.kind != KIND:
            continue
        for one in span.events:
            if one.sounding is None or one.note.flags & UNCHECKED:
                continue
            if one.sounding != int(one.sounding):
                odd.append(one)
                continue
            t_us, _ = context.frame.times_us(one)
            rows.setdefault(t_us, {}).setdefault(int(one.sounding), []).append(one)
    if not rows:
        return None
    index = next(span.part for span in spans)
    events, strokes = [], []
    times = sorted(rows)
    for i, t_us in enumerate(times):
        pitches = tuple(sorted(rows[t_us]))
        own = [one for row in rows[t_us].values() for one in row]
        hold_us = max(context.frame.times_us(one)[1] for one in own) - t_us
        roll = any(_rolls(one) for one in own)
        after = tuple(sorted(rows[times[i + 1]])) if i + 1 < len(times) else ()
        to = after if len(pitches) == len(after) == 1 and _slides(own) else ()
        events.append(Event(t_us, max(hold_us, 0), pitches, roll, to))
        strokes.append(tuple(tuple(rows[t_us][pitch]) for pitch in pitches))
    count = words.how_many(context.score.parts[index].name)
    return Reading(index, tuple(events), tuple(strokes), tuple(odd), count)


def _rolls(one: Stroke) -> bool:
    return one.note.marked("tremolo") is not None or any(one.note.marked(kind) for kind in TRILLS)


def _slides(strokes: Sequence[Stroke]) -> bool:
    marks = [mark for one in strokes for mark in one.note.marks if mark.kind in SLIDES]
    return any(mark.value == "start" for mark in marks)


def drums_of(context: Context, players: int, fifth: bool = False) -> tuple[Drum, ...]:
    """The drums in the room: those of the forces, or the standard ones; for each player a set."""
    player = context.forces.playing(KIND)
    if player is not None and player.drums:
        return tuple(
            Drum(f"{inch:g}", round(inch), low or drum(round(inch)).low, high or drum(round(inch)).high)
            for inch, low, high in player.drums
        )
    one_set = standard_drums(fifth)
    return tuple(
        one if k == 0 else one._replace(id=f"{one.id} of player {k + 1}") for k in range(players) for one in one_set
    )


def settings_of(context: Context, players: int, fifth: bool = False) -> Settings:
    """What the planner is told; several players have a stick and a foot for each hand and foot of theirs."""
    plain = Settings()
    return Settings(drums=drums_of(context, players, fifth), feet=plain.feet * players, sticks=plain.sticks * players)
