"""What is heard and when: the Timeline. Repeats are played out, ties are one event, pitches sound.

``realise`` makes the whole Timeline of a score; ``realise_part`` one part, or some measures of it, in the same
frame, so that a change in a few bars is heard again without hearing everything.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from deskproof import facts
from deskproof.order import Order, playing_order
from deskproof.page import Layout, layout_of
from deskproof.pitch import Pitch
from deskproof.score import (
    CHORD,
    CUE,
    GRACE,
    TIE_START,
    TIE_STOP,
    Measure,
    Note,
    Part,
    Score,
    Time,
)
from deskproof.tempo import MARKED, Clock, tempos


class Play(NamedTuple):
    """One playing of a measure: its ordinal, the how-manieth time (from 1), its onset in ticks, its length."""

    measure: int
    pass_: int
    onset: int
    length: int


class Event(NamedTuple):
    """One sounding note (or an unpitched stroke) of one part.

    Ticks count from the beginning of the playing order. A tied chain is one event: ``note`` is its first note,
    ``tied`` the (measure, n) of the others, ``end`` the end of the last. ``sounding`` is a MIDI number, None
    for unpitched. A grace note has ``end`` = ``onset`` and ``grace`` counts how many graces stand between it
    and its main note, itself included.
    """

    measure: int
    note: Note
    pass_: int
    onset: int
    end: int
    sounding: int | float | None
    tied: tuple[tuple[int, int], ...]
    grace: int


@dataclass(frozen=True)
class Frame:
    """What all parts share: the playing order with its onsets, and the clock."""

    grid: int
    plays: tuple[Play, ...]
    lengths: tuple[int, ...]
    metres: tuple[tuple[int, int, int, int], ...]  # by measure: nominal length, beat type, is implicit, number of beats
    clock: Clock
    order: Order

    @cached_property
    def length(self) -> int:
        """Ticks of the whole performance."""
        return self.plays[-1].onset + self.plays[-1].length if self.plays else 0

    @cached_property
    def _onsets(self) -> list[int]:
        return [play.onset for play in self.plays]

    def play_at(self, tick: int) -> Play:
        """The playing of a measure in which a tick of the performance falls; before the first, the first."""
        return self.plays[max(0, bisect_right(self._onsets, tick) - 1)]

    @cached_property
    def first_onset(self) -> dict[int, int]:
        """Measure ordinal -> tick at which it is first played."""
        found: dict[int, int] = {}
        for play in self.plays:
            found.setdefault(play.measure, play.onset)
        return found

    @cached_property
    def played_before(self) -> dict[int, set[int]]:
        """Measure ordinal -> the measures that are played right before it."""
        found: dict[int, set[int]] = {}
        for one, two in pairwise(self.plays):
            found.setdefault(two.measure, set()).add(one.measure)
        return found

    @cached_property
    def played_after(self) -> dict[int, set[int]]:
        """Measure ordinal -> the measures that are played right after it."""
        found: dict[int, set[int]] = {}
        for one, two in pairwise(self.plays):
            found.setdefault(one.measure, set()).add(two.measure)
        return found

    @cached_property
    def _plays_by_measure(self) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        for i, play in enumerate(self.plays):
            found.setdefault(play.measure, []).append(i)
        return found

    def plays_of(self, measures: Collection[int]) -> list[Play]:
        """The playings of some measures, in playing order."""
        by_measure = self._plays_by_measure
        return [self.plays[i] for i in sorted(i for m in measures for i in by_measure.get(m, ()))]

    @property
    def tempo_marked(self) -> bool:
        """Whether most of the music stands under a printed metronome mark."""
        clock = self.clock
        ends = [*clock.ticks[1:], self.length]
        stretches = zip(clock.ticks, ends, clock.tempos, strict=True)
        marked = sum(max(0, end - start) for start, end, tempo in stretches if tempo.basis == MARKED)
        return 2 * marked >= self.length > 0

    @cached_property
    def grace_us(self) -> int:
        """The small time of a grace note in microseconds."""
        return int(facts.get("time.grace_note").value * 1000)

    def times_us(self, event: Event) -> tuple[int, int]:
        """Onset (rounded down) and end (rounded up) of an event in microseconds.

        Grace notes take their small time before the beat; at the very beginning they start at 0.
        """
        onset = self.clock.floor_us(event.onset)
        if not event.grace:
            return onset, self.clock.ceil_us(event.end)
        start = max(0, onset - event.grace * self.grace_us)
        return start, start + self.grace_us


@dataclass(frozen=True)
class Timeline:
    """The events of every part, each in order of onset; ``parts`` runs beside ``score.parts``."""

    score: Score
    frame: Frame
    layouts: tuple[Layout, ...]
    parts: tuple[tuple[Event, ...], ...]


def frame_of(score: Score) -> Frame:
    """Lay the measures on the time axis.

    A measure lasts as long as the fullest part in it, rests that overfill it apart; an empty one as long as its metre
    says.
    """
    count = max(len(part.measures) for part in score.parts)
    lengths = [0] * count
    uneven: set[int] = set()
    metres: list[tuple[int, int, int, int]] = [(4 * score.grid, 4, 0, 4)] * count
    for k, part in enumerate(score.parts):
        nominal, beat_type, beats = 4 * score.grid, 4, 4
        for i, measure in enumerate(part.measures):
            for change in measure.changes:
                if isinstance(change.value, Time):
                    nominal, beat_type = change.value.length, change.value.beat_type
                    beats = nominal * beat_type // (4 * score.grid)
            if measure.length != lengths[i]:
                if lengths[i]:
                    uneven.add(i)
                lengths[i] = max(lengths[i], measure.length)
            if k == 0:
                metres[i] = (nominal, beat_type, int(measure.implicit), beats)
    for i in uneven:
        lengths[i] = _agreed([part.measures[i] for part in score.parts if i < len(part.measures)], metres[i][0])
    for i in range(count):
        if lengths[i] == 0:
            lengths[i] = metres[i][0]
    order = playing_order(score)
    plays = []
    times = [0] * count
    onset = 0
    for index in order.measures:
        times[index] += 1
        plays.append(Play(index, times[index], onset, lengths[index]))
        onset += lengths[index]
    return Frame(score.grid, tuple(plays), tuple(lengths), tuple(metres), _clock(score, plays), order)


def _agreed(measures: Sequence[Measure], nominal: int) -> int:
    """The length of a measure that is not equally full in all parts.

    Rests alone lengthen no measure that another part keeps: none beyond its metre (an empty bar filled twice over),
    and an implicit one (an upbeat, half of a divided bar) not beyond the parts that sound in it.
    """
    longest = max(measure.length for measure in measures)
    sounding = [m for m in measures if any(note.kind != "rest" for note in m.notes)]
    if sounding and measures[0].implicit:
        longest = max(measure.length for measure in sounding)
    if longest > nominal and any(measure.length == nominal for measure in measures):
        last = max((n.start + n.length for m in sounding for n in m.notes if n.kind != "rest"), default=0)
        if last <= nominal:
            return nominal
    return longest


def _clock(score: Score, plays: list[Play]) -> Clock:
    """Play the page's tempo marks out along the playing order: each place has the tempo the page gives it."""
    rows = tempos(score)
    keys = [(row.measure, row.start) for row in rows]
    stretches = []
    current = None
    for play in plays:
        i = bisect_right(keys, (play.measure, 0)) - 1
        row = rows[max(i, 0)]
        if row is not current:
            stretches.append((play.onset, row))
            current = row
        i += 1
        while i < len(rows) and rows[i].measure == play.measure:
            current = rows[i]
            stretches.append((play.onset + min(current.start, play.length), current))
            i += 1
    if not stretches:
        stretches = [(0, rows[0])]
    return Clock(stretches, score.grid)


def realise(score: Score) -> Timeline:
    """Make the Timeline of a score."""
    frame = frame_of(score)
    layouts = tuple(layout_of(part) for part in score.parts)
    parts = zip(score.parts, layouts, strict=True)
    return Timeline(score, frame, layouts, tuple(realise_part(part, layout, frame) for part, layout in parts))


def realise_part(
    part: Part, layout: Layout, frame: Frame, measures: Collection[int] | None = None
) -> tuple[Event, ...]:
    """The events of one part in order of onset, of all its measures or only of those named.

    Ties are joined only inside the measures named. Cue notes are left in (flagged); rests are not events.
    """
    count = len(part.measures)
    repeats = layout.repeats
    only = layout.transpose_only
    shift = only.semitones if only is not None else 0
    events: list[Event] = []
    order: list[int] = []  # by event: twice its onset, a grace note one less
    last, ordered = -1, True
    ties = _OpenTies()
    new = tuple.__new__  # a named tuple's own constructor takes twice the time
    midi: dict[Pitch, int | float] = {}
    times_played = [0] * count if repeats else None
    plays = frame.plays if measures is None or repeats else frame.plays_of(measures)
    for play in plays:
        m = play.measure
        if m >= count:
            continue
        pass_ = play.pass_
        if times_played is not None:
            m = repeats.get(m, m)
            times_played[m] += 1
            pass_ = times_played[m]
            if measures is not None and m not in measures:
                continue
        measure = part.measures[m]
        if not measure.notes:
            continue
        onset0 = play.onset
        graces: dict[int, int] | None = None
        for note in measure.notes:
            n, start, length, pitch, kind, staff, _, flags, _, _, _ = note
            if kind == "rest":
                continue
            onset = onset0 + start
            end = onset + length
            sounding: int | float | None = None
            if pitch is not None:
                if only is None:
                    shift = layout.transpose_at(m, start, staff).semitones
                sounding = midi.get(pitch)
                if sounding is None:
                    sounding = midi[pitch] = pitch.midi
                sounding += shift
            if flags & TIE_STOP:
                at = ties.take(note, onset)
                if at is not None:
                    first = events[at]
                    events[at] = first._replace(end=end, tied=(*first.tied, (m, n)))
                    if flags & TIE_START:
                        ties.leave(note, at, end)
                    continue
            if flags & TIE_START:
                ties.leave(note, len(events), end)
            grace = 0
            if flags & GRACE:
                graces = graces or _graces(measure.notes)
                grace = graces.get(n, 1)
            place = 2 * onset - 1 if grace else 2 * onset
            if place < last:
                ordered = False
            last = place
            order.append(place)
            events.append(new(Event, (m, note, pass_, onset, end, sounding, (), grace)))
    if ordered:
        return tuple(events)
    return tuple([events[i] for i in sorted(range(len(events)), key=order.__getitem__)])


class _OpenTies:
    """Tied notes that wait for the next of their chain: same pitch, beginning where they end.

    Of several the one in the same voice and staff is taken; a chain may also go on in another voice.
    """

    def __init__(self) -> None:
        self._open: dict[tuple[object, str], list[tuple[int, int, str, int]]] = {}

    def leave(self, note: Note, at: int, end: int) -> None:
        """Event number ``at`` ends at tick ``end`` with a tie."""
        self._open.setdefault((note.pitch, note.kind), []).append((at, end, note.voice, note.staff))

    def take(self, note: Note, onset: int) -> int | None:
        """The event that ``note``, beginning at tick ``onset``, goes on; None if there is none."""
        waiting = self._open.get((note.pitch, note.kind))
        if not waiting:
            return None
        best = None
        for row in waiting:
            if row[1] == onset and (best is None or (row[2], row[3]) == (note.voice, note.staff)):
                best = row
        if best is None:
            return None
        waiting.remove(best)
        return best[0]


def _graces(notes: Iterable[Note]) -> dict[int, int]:
    """Note ordinal -> how many graces it stands before its main note (1 for the last)."""
    runs: dict[tuple[int, str], list[list[int]]] = {}
    found: dict[int, int] = {}
    for note in notes:
        if not note.flags & GRACE:
            if runs:
                _settle(runs.pop((note.staff, note.voice), []), found)
            continue
        run = runs.setdefault((note.staff, note.voice), [])
        if note.flags & CHORD and run:
            run[-1].append(note.n)
        else:
            run.append([note.n])
    for run in runs.values():
        _settle(run, found)
    return found


def _settle(run: list[list[int]], found: dict[int, int]) -> None:
    for i, group in enumerate(run):
        for n in group:
            found[n] = len(run) - i


def heard(events: Iterable[Event]) -> list[Event]:
    """The events that are played: cue notes are not."""
    return [event for event in events if not event.note.flags & CUE]


def measure_of(part: Part, index: int) -> Measure:
    """The measure of a part by ordinal."""
    return part.measures[index]
