"""The events of a harp part made ready for the planner: what is plucked when, on which pitch of string, how long."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from typing import NamedTuple

from deskproof import words
from deskproof.families.base import Context
from deskproof.families.harp.harmonic_manner import harmonic_manner, string_of
from deskproof.families.harp.model import LETTERS, HarpNote, Onset, String
from deskproof.families.harp.plan import Joint
from deskproof.families.harp.printed import printed
from deskproof.families.harp.slides import Slide, slides
from deskproof.families.tremolos import Half, tremolos
from deskproof.families.trills import TRILLS, neighbour
from deskproof.pitch import STEPS, Pitch
from deskproof.score import UNCHECKED, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event, Frame

OCTAVE = 12


@dataclass(frozen=True, slots=True)
class Plucked:
    """One pitch of string at one onset, with the events that want it (unisons share it).

    ``how`` is struck, roll, gliss, trill or harmonic; ``end_us`` the written end of the longest event.
    """

    events: tuple[Event, ...]
    pitch: int
    end_us: int
    written_us: int
    how: str
    spelled: tuple[str, int] | None


class Sweep(NamedTuple):
    """A glissando as played: its first and last event (None: it has no end), and what the page says of it."""

    slide: Slide
    first: Event
    last: Event | None
    from_us: int
    to_us: int

    @property
    def lines(self) -> tuple[int, int] | None:
        """The strings of its ends as they are written, in steps; None where one is no string."""
        if self.last is None or self.first.note.pitch is None or self.last.note.pitch is None:
            return None
        one, two = (String(e.note.pitch.step, e.note.pitch.octave).line for e in (self.first, self.last))  # type: ignore[union-attr]
        return one, two

    @property
    def letters(self) -> str:
        """The letters whose strings it sounds."""
        if self.lines is None:
            return ""
        low, high = sorted(self.lines)
        return "".join(letter for letter in LETTERS if any(STEPS[k % 7] == letter for k in range(low, high + 1)))


@dataclass(frozen=True, slots=True)
class Reading:
    """A harp part as the planner gets it; ``plucked`` runs beside ``onsets`` and their notes.

    ``odd`` are the notes that no planner gets: quarter tones and the like. ``sweeps`` are the glissandi.
    """

    part: int
    onsets: tuple[Onset, ...]
    plucked: tuple[tuple[Plucked, ...], ...]
    damps: tuple[tuple[int, str], ...]
    joints: tuple[Joint, ...]
    beats: tuple[int, ...]
    odd: tuple[Event, ...] = ()
    sweeps: tuple[Sweep, ...] = ()


def read(spans: Sequence[Span], context: Context, letters: str, harmonics: str = "") -> Reading:
    """Read the harp spans of one part. Cues, hidden notes and ossias are left out.

    ``letters`` are all seven; ``harmonics`` is how harmonics are written ("string" or "sounding"), if the user says so.
    """
    index = spans[0].part
    part, frame = context.score.parts[index], context.frame
    rows: dict[int, list[Plucked]] = {}
    manner = cache(lambda: harmonics or harmonic_manner(part))
    pairs = tremolos(part)
    odd: list[Event] = []
    played: dict[tuple[int, int], list[tuple[int, Event]]] = {}
    begins: dict[tuple[int, int], int] = {}  # of the bars that begin with grace notes
    for span in spans:
        for event in span.events:
            if event.sounding is None or event.note.flags & UNCHECKED:
                continue
            if event.sounding != int(event.sounding):
                odd.append(event)
                continue
            onset, end = frame.times_us(event)
            played.setdefault((event.measure, event.note.n), []).append((onset, event))
            if event.grace and event.note.start == 0:
                bar = event.measure, event.pass_
                begins[bar] = min(onset, begins.get(bar, onset))
            for one in _plucked(event, end, end - onset, context, index, manner, pairs):
                rows.setdefault(onset, []).append(one)
    sweeps = _sweeps(part, played)
    wanted = {sweep.from_us: _demands(sweep) for sweep in sweeps}
    onsets: list[Onset] = []
    plucked: list[tuple[Plucked, ...]] = []
    for t_us in sorted(rows):
        here = _joined(rows[t_us])
        notes = tuple(HarpNote(one.pitch, one.written_us, one.spelled, _key(one)) for one in here)
        bracketed = any(e.note.marked("non-arpeggiate") for one in here for e in one.events)
        onsets.append(Onset(t_us, notes, len(onsets), bracketed, wanted.get(t_us, ())))
        plucked.append(tuple(here))
    joints = _joints(frame, begins, [onset.t_us for onset in onsets])
    damps = _damps(part, frame, letters)
    return Reading(index, tuple(onsets), tuple(plucked), damps, joints, _beats(frame), tuple(odd), sweeps)


def _sweeps(part: Part, played: Mapping[tuple[int, int], Sequence[tuple[int, Event]]]) -> tuple[Sweep, ...]:
    """The glissandi of the page, every time they are played."""
    found = []
    for slide in slides(part, printed(part)):
        for from_us, first in played.get(slide.start, ()):
            ends = [row for row in played.get(slide.end, ()) if row[0] > from_us] if slide.end is not None else []
            to_us, last = min(ends, key=lambda row: row[0]) if ends else (from_us, None)
            found.append(Sweep(slide, first, last, from_us, to_us))
    return tuple(sorted(found, key=lambda row: row.from_us))


def _demands(sweep: Sweep) -> tuple[tuple[str, int, int], ...]:
    """What a glissando asks of the pedals from its beginning to its end, where its setting is known."""
    if sweep.slide.setting is None:
        return ()
    length = sweep.to_us - sweep.from_us
    return tuple(
        (letter, sweep.slide.setting[letter], length) for letter in sweep.letters if letter in sweep.slide.setting
    )


def refs(part: Part, one: Plucked) -> tuple[NoteRef, ...]:
    """The first notes of the events that want a string."""
    return tuple(NoteRef(part.id, event.measure, event.note.n) for event in one.events)


def _key(one: Plucked) -> tuple[int, int, str, int]:
    first = one.events[0]
    return first.measure, first.note.n, one.how, one.pitch - int(first.sounding or 0)


def _plucked(
    event: Event,
    end_us: int,
    written_us: int,
    context: Context,
    index: int,
    manner: Callable[[], str],
    pairs: Mapping[tuple[int, int], Half],
) -> list[Plucked]:
    """What an event plucks: its string, for a trill the neighbour's too, in a tremolo those of the other chord."""
    note = event.note
    sounding = int(event.sounding or 0)
    spelled = name_on_string(note.pitch, sounding)
    if note.marked("harmonic") is not None:
        pitch = string_of(note, sounding, manner())
        return [Plucked((event,), pitch, end_us, written_us, "harmonic", spelled)]
    if any(note.marked(kind) for kind in TRILLS) and note.pitch is not None:
        above = neighbour(note, context, index, event.measure)
        pitch = sounding + int(above.midi - note.pitch.midi)
        return [
            Plucked((event,), sounding, end_us, written_us, "trill", spelled),
            Plucked((event,), pitch, end_us, written_us, "trill", (above.step, int(above.alter))),
        ]
    half = pairs.get((event.measure, note.n))
    if half is not None and note.pitch is not None and not event.grace:
        up = sounding - note.pitch.midi
        others = [one.pitch for one in half.other if one.pitch is not None and not one.flags & UNCHECKED]
        return [Plucked((event,), sounding, end_us, written_us, "trill", spelled)] + [
            Plucked((event,), pitch, end_us, written_us, "trill", name_on_string(other, pitch))
            for other in others
            if (pitch := int(other.midi + up)) == other.midi + up
        ]
    how = "roll" if note.marked("arpeggiate") is not None else "struck"
    return [Plucked((event,), sounding, end_us, written_us, how, spelled)]


def name_on_string(pitch: Pitch | None, sounding: int) -> tuple[str, int] | None:
    """The composer's letter and alteration, if they can stand on a string."""
    if pitch is None or pitch.midi % OCTAVE != sounding % OCTAVE or pitch.alter not in (-1, 0, 1):
        return None
    return pitch.step, int(pitch.alter)


def _joined(rows: list[Plucked]) -> list[Plucked]:
    """Unisons of one onset share their string: the longest counts. The two strings of a trill are equally long."""
    found: dict[tuple[int, str], Plucked] = {}
    for one in rows:
        how = "harmonic" if one.how == "harmonic" else ""
        other = found.get((one.pitch, how))
        if other is None:
            found[one.pitch, how] = one
            continue
        longest = max(one, other, key=lambda row: row.written_us)
        events = (*longest.events, *(other if longest is one else one).events)
        how_of = "trill" if "trill" in (one.how, other.how) else longest.how
        found[one.pitch, how] = replace(longest, events=events, how=how_of)
    trills = [row for row in found.values() if row.how == "trill"]
    if len(rows) > len(found) and trills:
        longest = max(trills, key=lambda row: row.written_us)
        found = {
            key: replace(row, end_us=longest.end_us, written_us=longest.written_us) if row.how == "trill" else row
            for key, row in found.items()
        }
    return sorted(found.values(), key=lambda row: row.pitch)


def _damps(part: Part, frame: Frame, letters: str) -> tuple[tuple[int, str], ...]:
    """Damping signs and words, as (time, letters); a sign damps all strings."""
    found = set()
    for play in frame.plays:
        if play.measure >= len(part.measures):
            continue
        for sign in part.measures[play.measure].directions:
            damped = sign.kind in ("damp", "damp-all") or (
                sign.kind == "words" and any(m.kind == "damp" for m in words.meanings(sign.value))
            )
            if damped:
                found.add(frame.clock.floor_us(play.onset + sign.start))
    return tuple((t_us, letters) for t_us in sorted(found))


def _joints(frame: Frame, begins: Mapping[tuple[int, int], int], times: Sequence[int]) -> tuple[Joint, ...]:
    """Where a stretch of measures is played again: the time of the first note then, and of the same note later.

    A stretch begins where a jump ever leads to, also when it is reached without one: after a da capo the repeats are
    left out, and the second strain follows the first straight on. ``begins`` are bars whose grace notes come before.
    """
    jumped_to = {play.measure for before, play in pairwise(frame.plays) if before.measure + 1 != play.measure}
    first: dict[int, int] = {}
    found = []
    for play in frame.plays:
        start = begins.get((play.measure, play.pass_), frame.clock.floor_us(play.onset))
        first_note = bisect_left(times, start)
        start = times[first_note] if first_note < len(times) else start
        if play.measure in first and play.measure in jumped_to:
            found.append(Joint(first[play.measure], start))
        first.setdefault(play.measure, start)
    return tuple(found)


def _beats(frame: Frame) -> tuple[int, ...]:
    """The times of all beats, in units of each metre's denominator."""
    found = []
    for play in frame.plays:
        _, unit, _, _ = frame.metres[play.measure]
        step = max(1, 4 * frame.grid // max(unit, 1))
        found += [frame.clock.floor_us(play.onset + at) for at in range(0, max(play.length, 1), step)]
    return tuple(sorted(set(found)))
