"""Which instrument each stretch of a part is: the spans that the families get.

An instrument comes from the note's own score-instrument, from an instrument change in the file, or from words
("muta in piccolo", "to Celesta"): words at the last note before hold from the next entry after a rest.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts, instruments, pitch, words
from deskproof.instruments import Instrument
from deskproof.page import Layout
from deskproof.score import CUE, Part, ScoreInstrument, Transpose
from deskproof.timeline import Event, Timeline


class Said(NamedTuple):
    """An instrument as it is named: ``keys`` are the pitch classes (C: 0) of its crook, empty where that is open."""

    instrument: Instrument
    keys: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a part on one instrument at one transposition.

    ``from_tick`` and ``to_tick`` are the onset of its first and the end of its last event in the playing order;
    ``role`` is the instrument with its ordinal among equals ("wind.flutes.flute 2"), which does not change when
    parts are renumbered. ``instrument`` is None where nobody could tell. ``said`` is the instrument as the page or the
    file names it, None where nobody could tell.
    """

    part: int
    instrument: Instrument | None
    role: str
    from_tick: int
    to_tick: int
    transpose: Transpose
    events: tuple[Event, ...]
    said: Said | None = None


def spans_of(timeline: Timeline) -> tuple[tuple[Span, ...], ...]:
    """The spans of every part, in order of time; a part that never sounds has one empty span."""
    lines = lines_of(timeline)
    return tuple(line.spans(events) for line, events in zip(lines, timeline.parts, strict=True))


def lines_of(timeline: Timeline) -> list[Line]:
    """One ``Line`` for every part, with its role."""
    parts = zip(timeline.score.parts, timeline.layouts, strict=True)
    lines = [Line(i, part, layout) for i, (part, layout) in enumerate(parts)]
    counts: dict[str, int] = {}
    for line in lines:
        line.follow_changes({other.first.kind for other in lines if other is not line and other.first})
        line.judge_voice(timeline.parts[line.index])
        first = line.first
        name = (first.sounds[0] if first.sounds else first.id) if first else f"? {line.part.name.casefold()}"
        counts[name] = counts.get(name, 0) + 1
        line.role = f"{name} {counts[name]}"
    return lines


@lru_cache(maxsize=512)
def _declared(
    sound: str, program: int | None, name: str, part_name: str, abbreviation: str, alone: bool, semitones: int
) -> Instrument | None:
    said = part_name if alone else (name or part_name)
    found = instruments.identify(
        sound=sound or None, program=program, name=said, abbreviation=abbreviation, transposition=semitones
    )
    if found is None and name and alone:
        found = instruments.identify(sound=None, program=None, name=name, transposition=semitones)
    return found


class _Change(NamedTuple):
    """From ``place`` on (measure, tick) the part is an instrument's."""

    place: tuple[int, int]
    said: Said


def _keys_said(text: str) -> frozenset[int]:
    """The keys that words may give an instrument ("muta in La": A), as pitch classes."""
    return frozenset(key for crook in instruments.crooks_in_name(text) if crook.sure for key in crook.keys)


class Line:
    """Which instrument a part is at each place; edits of notes leave it as it is."""

    def __init__(self, index: int, part: Part, layout: Layout) -> None:
        self.index, self.part, self.layout = index, part, layout
        self.role = ""
        self.opening = layout.transpose_at(0, 0, 1) if part.measures else Transpose()
        declared = list(part.instruments.values())
        self._several = len({(i.sound, i.program, i.name) for i in declared}) > 1
        first = declared[0] if declared else None
        if self._several:
            first = part.instruments.get(self._first_named(), first)
        self.first = self._identify(first, self.opening)
        self._changes: list[_Change] = []
        self._places: list[tuple[int, int]] = []

    @property
    def steady(self) -> bool:
        """Whether the part keeps one instrument at one transposition throughout."""
        return not self._several and not self._changes and self.layout.transpose_only is not None

    def follow_changes(self, elsewhere: set[str]) -> None:
        """Find the changes of instrument. ``elsewhere`` are the kinds of instrument that other parts have.

        "To Celesta" in a piano part sends the player to the celesta's own part, if there is one: this line then
        stays what it is, unless it changes its transposition as the other instrument would.
        """
        self._changes = self._changes_of(self.opening, elsewhere)
        self._places = [change.place for change in self._changes]

    def _first_named(self) -> str:
        return next((n.instrument for m in self.part.measures for n in m.notes if n.instrument), "")

    def spans(self, events: Sequence[Event]) -> tuple[Span, ...]:
        """Cut events of the part, in order of onset, where the instrument or the transposition changes."""
        if self.steady or not events:
            end = max((event.end for event in events), default=0)
            start = events[0].onset if events else 0
            return (Span(self.index, self.first, self.role, start, end, self.opening, tuple(events)),)
        found: list[Span] = []
        run: list[Event] = []
        state = None
        for event in events:
            transpose = self.layout.transpose_at(event.measure, event.note.start, event.note.staff)
            instrument = self.at(event, transpose)
            here = instrument, transpose, self._said(event, instrument)
            if here != state and run and state is not None:
                found.append(self._span(state, run))
                run = []
            state = here
            run.append(event)
        if state is not None:
            found.append(self._span(state, run))
        return tuple(found)

    def _span(self, state: tuple[Instrument | None, Transpose, Said | None], run: list[Event]) -> Span:
        end = max(event.end for event in run)
        return Span(self.index, state[0], self.role, run[0].onset, end, state[1], tuple(run), state[2])

    def _said(self, event: Event, found: Instrument | None) -> Said | None:
        i = bisect_right(self._places, (event.measure, event.note.start)) - 1
        if i >= 0:
            return self._changes[i].said
        return None if found is None else Said(found)

    def _identify(self, one: ScoreInstrument | None, transpose: Transpose) -> Instrument | None:
        return _declared(
            one.sound if one else "",
            one.program if one and one.unpitched is None else None,
            one.name if one else "",
            self.part.name,
            self.part.abbreviation,
            not self._several,
            int(transpose.semitones),
        )

    def at(self, event: Event, transpose: Transpose) -> Instrument | None:
        """The instrument of an event that sounds at this transposition."""
        i = bisect_right(self._places, (event.measure, event.note.start)) - 1
        if i >= 0:
            return self._variant(self._changes[i].said.instrument, transpose)
        if event.note.instrument and self._several:
            return self._identify(self.part.instruments.get(event.note.instrument), transpose)
        return self._variant(self.first, transpose)

    def _variant(self, instrument: Instrument | None, transpose: Transpose) -> Instrument | None:
        """The same kind of instrument at another crook, where the table has it."""
        if instrument is None or instrument.crook is None or instrument.crook == transpose.semitones:
            return instrument
        return instruments.with_crook(instrument, int(transpose.semitones))

    def _changes_of(self, transpose: Transpose, elsewhere: set[str]) -> list[_Change]:
        found: list[_Change] = []
        current = self.first
        for measure in self.part.measures:
            for row in measure.directions:
                if row.kind == "sound:instrument-change":
                    changed = instruments.identify(
                        sound=row.value, program=None, name="", transposition=int(transpose.semitones)
                    )
                    if changed is not None:
                        found.append(_Change((measure.index, row.start), Said(changed)))
                        current = changed
                elif row.kind == "words" and current is not None:
                    announced, changed = self._in_words(row.value, current, measure.index, row.start)
                    keys = _keys_said(row.value) if announced else frozenset()
                    if changed is None or (changed == current and not keys):
                        continue
                    place = (measure.index, row.start)
                    if announced:
                        place = self._next_entry(place)
                    if changed.kind not in elsewhere or self._transposes_like(changed, place):
                        found.append(_Change(place, Said(changed, keys)))
                        current = changed
        return sorted(found, key=lambda row: row.place)

    def _in_words(
        self, text: str, current: Instrument, measure: int, start: int
    ) -> tuple[bool, Instrument | None]:
        for meaning in words.meanings(text):
            if meaning.kind == "instrument":
                found = instruments.by_name(meaning.value) or instruments.by_name(f"{current.name} in {meaning.value}")
                return True, found
        if len(text) > 40 or "\n" in text or words.names_company(text):
            return False, None
        if current.family == "voice":
            return False, None  # syllables and "ten." (tenuto) stand over the notes
        found = instruments.by_name(words.bare_name(text))
        if found is None or found.family != current.family or found.kind == current.kind:
            return False, None
        # A name over cue notes says who is heard there, not what the player takes up.
        near = [n for n in self.part.measures[measure].notes if n.start >= start and n.kind != "rest"]
        if any(note.flags & CUE for note in near[:1]):
            return False, None
        return False, found

    def judge_voice(self, events: Sequence[Event]) -> None:
        """Take a voice part that lies largely elsewhere than its name says for a voice of any kind.

        A "Tenor" of the fourteenth century is a line, not a singer, and a plain treble clef may be meant an octave
        lower.
        """
        if self.first is None or self.first.family != "voice":
            return
        low, high = facts.find(f"{self.first.id}.lowest"), facts.find(f"{self.first.id}.highest")
        share = facts.get("voices.strayed_share").value
        if low is None or high is None:
            return
        bottom, top = pitch.midi(low.value), pitch.midi(high.value)
        heard = [event.sounding for event in events if event.sounding is not None]
        strayed = sum(not bottom <= sounding <= top for sounding in heard)
        if strayed > share * len(heard):
            self.first = instruments.by_id("voice")

    def _transposes_like(self, instrument: Instrument, place: tuple[int, int]) -> bool:
        """Whether the page transposes from ``place`` on as this instrument does, and did not so before."""
        fact = facts.find(f"{instrument.id}.transposition")
        measure, start = place
        if fact is None or measure >= len(self.part.measures):
            return False
        usual = fact.value if isinstance(fact.value, tuple) else (fact.value,)
        return (
            self.layout.transpose_at(measure, start, 1).semitones in usual
            and self.opening.semitones not in usual
        )

    def _next_entry(self, place: tuple[int, int]) -> tuple[int, int]:
        """The first note after ``place`` that follows a silence."""
        sounding_to = place
        for measure in self.part.measures[place[0] :]:
            i = measure.index
            for note in sorted((n for n in measure.notes if n.kind != "rest"), key=lambda n: n.start):
                at, end = (i, note.start), (i, note.start + note.length)
                if at <= place:
                    sounding_to = max(sounding_to, end)
                elif at > sounding_to:
                    return at
                else:
                    sounding_to = max(sounding_to, end)
            if sounding_to[0] == i and sounding_to[1] >= measure.length:
                sounding_to = (i + 1, 0)
        return (len(self.part.measures), 0)
