"""A keyboard part made ready for its planners: which key goes down when, how long it is written, and on which staff."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.base import Context
from deskproof.families.keyboard.geometry import KEYS
from deskproof.families.tremolos import Half, tremolos
from deskproof.families.trills import TRILLS, neighbour
from deskproof.score import UNCHECKED, Measure, Note, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event

UPPER, LOWER, EITHER = 1, 2, 0


class Key(NamedTuple):
    """One key at one onset, with the events that want it (a key that two staves ask for is one key).

    ``how`` is struck, roll, trill, tremolo or grace; ``until_us`` the written end of the longest event; ``staff`` is 1
    for the upper, 2 for the lower, 0 where the page does not tell. A trill has its neighbour's key beside its own.
    """

    key: int
    t_us: int
    until_us: int
    staff: int
    how: str
    events: tuple[Event, ...]
    beam: tuple[int, str, int] = (0, "", 0)  # what is beamed together stays together: staff, voice, beam group

    @property
    def event(self) -> Event:
        """The event of the upper staff, or the only one."""
        return self.events[0]


@dataclass(frozen=True, slots=True)
class Reading:
    """A keyboard part by onset, from low to high; ``feet`` are the keys of a pedalboard, ``odd`` what no key gives."""

    part: int
    onsets: tuple[tuple[Key, ...], ...]
    feet: tuple[tuple[Key, ...], ...] = ()
    odd: tuple[Event, ...] = ()
    unbroken: frozenset[int] = frozenset()  # onsets (by time) with a sign against breaking the chord

    @property
    def times_us(self) -> list[int]:
        """The time of each onset: of played keys that of the first."""
        return [min([key.t_us for key in row]) for row in self.onsets]


def read(spans: Sequence[Span], context: Context, pedalboard: bool = False, only_feet: bool = False) -> Reading:
    """Read the keyboard spans of one part. Cues, hidden notes and ossias are left out.

    Parameters
    ----------
    spans, context
        The spans of one part on instruments with keys.
    pedalboard : bool
        Whether the last of three staves, or more, is for the feet.
    only_feet : bool
        Whether all staves are.
    """
    index = spans[0].part
    part, frame = context.score.parts[index], context.frame
    pairs = tremolos(part)
    staves = _Staves(part)
    rows: dict[int, list[Key]] = {}
    feet: dict[int, list[Key]] = {}
    odd: list[Event] = []
    unbroken = set()
    for span in spans:
        for event in span.events:
            if event.sounding is None or event.note.flags & UNCHECKED:
                continue
            if event.sounding != int(event.sounding) or not 0 <= event.sounding < KEYS:
                odd.append(event)
                continue
            on_feet = only_feet or (pedalboard and staves.count > 2 and event.note.staff == staves.count)
            for key in _keys(event, part, context, index, pairs, staves):
                (feet if on_feet else rows).setdefault(key.t_us, []).append(key)
            if event.note.marked("non-arpeggiate") is not None:
                unbroken.add(frame.times_us(event)[0])
    if context.score.source == "midi":
        rows = _together(rows, 1000 * int(facts.get("keys.together").value))
    onsets = tuple(_joined(rows[t_us]) for t_us in sorted(rows))
    below = tuple(_joined(feet[t_us]) for t_us in sorted(feet))
    return Reading(index, onsets, below, tuple(odd), frozenset(unbroken))


def _keys(
    event: Event, part: Part, context: Context, index: int, pairs: Mapping[tuple[int, int], Half], staves: _Staves
) -> Iterator[Key]:
    note, frame = event.note, context.frame
    t_us, until_us = frame.times_us(event)
    how = "struck"
    pair = pairs.get((event.measure, note.n))
    if event.grace:
        how = "grace"
    elif pair is not None:
        how, t_us = "tremolo", frame.clock.floor_us(event.onset - pair.back)
        until_us = frame.clock.ceil_us(event.end + pair.more)
    elif any(note.marked(kind) for kind in TRILLS):
        how = "trill"
    elif note.marked("arpeggiate") is not None:
        how = "roll"
    midi = int(event.sounding or 0)
    beam = (note.staff, note.voice, event.measure)
    staff = staves.of(note, event.measure)
    yield Key(midi, t_us, until_us, staff, how, (event,), beam)
    if how == "trill" and note.pitch is not None:
        above = min(midi + int(neighbour(note, context, index, event.measure).midi - note.pitch.midi), KEYS - 1)
        yield Key(above, t_us, until_us, staff, how, (event,), beam)


class _Staves:
    """What the page tells of the hand of each note: by its staff, by words, or nothing."""

    def __init__(self, part: Part) -> None:
        self.part, self.count = part, part.staves
        self.known: dict[int, tuple[tuple[tuple[int, int, int, str, int], ...], frozenset[tuple[int, str]]]] = {}

    def of(self, note: Note, measure: int) -> int:
        """Upper or lower of two staves; of three, the middle one tells nothing."""
        if self.count < LOWER:
            return EITHER
        if measure not in self.known:
            bar = self.part.measures[measure]
            self.known[measure] = hand_words(bar), inner_voices(bar)
        said, inner = self.known[measure]
        hand = _as_said(note, said) if said else 0
        if hand:
            return hand
        if (note.staff, note.voice) in inner:
            return EITHER
        if note.staff <= 1:
            return UPPER
        return LOWER if note.staff == self.count else EITHER


def inner_voices(measure: Measure) -> frozenset[tuple[int, str]]:
    """Staves and voices that may be the other hand's: of several voices on one staff the one towards the other staff,
    in a bar where that other staff is silent; and a voice that stands on both staves.
    """
    pitches: dict[tuple[int, str], list[float]] = {}
    for note in measure.notes:
        if note.pitch is not None and not note.flags & UNCHECKED:
            pitches.setdefault((note.staff, note.voice), []).append(note.pitch.midi)
    staves = {staff for staff, _ in pitches}
    voices = [voice for _, voice in pitches]
    both = frozenset(one for one in pitches if voices.count(one[1]) > 1)
    if both:
        return both
    if len(staves) != 1 or len(pitches) < LOWER:
        return frozenset()
    highest_first = sorted(pitches, key=lambda one: -sum(pitches[one]) / len(pitches[one]))
    return frozenset(highest_first[1:] if staves == {UPPER} else highest_first[:-1])


def hand_words(measure: Measure) -> tuple[tuple[int, int, int, str, int], ...]:
    """Where words name a hand: from and to which tick, staff, voice, and the staff that is the hand's own.

    They hold for the voice that begins there, up to its next rest, other words, or the end of the bar.
    """
    found = []
    for sign in measure.directions:
        if sign.kind != "words" or sign.hidden:
            continue
        kinds = {meaning.kind for meaning in words.meanings(sign.value)}
        hand = UPPER if "right-hand" in kinds else LOWER if "left-hand" in kinds else 0
        begin = [
            (n.pitch.midi, n.voice)
            for n in measure.notes
            if (n.start, n.staff) == (sign.start, sign.staff) and n.pitch is not None
        ]
        if hand and begin:  # of two voices the lower one is meant by the left hand
            voice = (max(begin) if hand == UPPER else min(begin))[1]
            rests = [n.start for n in measure.notes if n.kind == "rest" and n.voice == voice and n.start > sign.start]
            found.append((sign.start, min(rests, default=measure.length), sign.staff, voice, hand))
    return tuple(sorted(found))


def _as_said(note: Note, said: Sequence[tuple[int, int, int, str, int]]) -> int:
    """The hand that words name for a note: the last before it in its voice; 0 where none do."""
    hand = 0
    for start, end, staff, voice, its in said:
        if start <= note.start < end and (staff, voice) == (note.staff, note.voice):
            hand = its
    return hand


def _together(rows: dict[int, list[Key]], within_us: int) -> dict[int, list[Key]]:
    """Played keys as chords: what begins within a short time of the first; a key that comes again begins a new one."""
    found: dict[int, list[Key]] = {}
    start, taken = 0, set[int]()
    for t_us in sorted(rows):
        fresh = {key.key for key in rows[t_us]}
        if not found or t_us - start > within_us or fresh & taken:
            start, taken = t_us, set()
            found[start] = []
        found[start] += rows[t_us]
        taken |= fresh
    return found


def _joined(row: list[Key]) -> tuple[Key, ...]:
    """The keys of one onset from low to high, each once: the longest counts."""
    found: dict[int, Key] = {}
    for key in row:
        other = found.get(key.key)
        if other is None:
            found[key.key] = key
            continue
        longest = max(key, other, key=lambda one: one.until_us)
        events = (*other.events, *(event for event in key.events if event not in other.events))
        staff = key.staff if key.staff == other.staff else EITHER
        found[key.key] = longest._replace(events=events, staff=staff)
    return tuple(sorted(found.values(), key=lambda one: one.key))


def refs(part: Part, keys: Sequence[Key]) -> tuple[NoteRef, ...]:
    """The first notes of the events that want these keys, each once."""
    return tuple(dict.fromkeys(NoteRef(part.id, e.measure, e.note.n) for key in keys for e in key.events))
