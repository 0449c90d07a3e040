"""A sketch in page order: its notes with their ends under the pedal, its bars, and what is said over them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from deskproof import document
from deskproof.errors import DeskproofError
from deskproof.page import Layout, layout_of
from deskproof.pitch import Pitch, parse
from deskproof.pitch import name as pitch_name
from deskproof.score import CHORD, GRACE, TIE_START, TIE_STOP, UNCHECKED, Key, Mark, Note, Part, Score, Time
from deskproof.scoring.note_values import in_values
from deskproof.scoring.records import Bar, Said, Sketch, SketchNote
from deskproof.tempo import tempos
from deskproof.timeline import frame_of

MOST_STAVES = 4
_BEHIND_GRACES = 1 << 30
_SAID = ("dynamics", "wedge", "words", "metronome", "rehearsal", "sound:tempo", "dashes", "segno", "coda")


_SlurKey = tuple[str, int, str]  # number, staff, voice


class SketchError(DeskproofError):
    """The sketch cannot be scored; the message says what was found and what is needed."""


def read(path: Path) -> Sketch:
    """Read a sketch: MusicXML or MIDI, one to four staves. The times of MIDI are brought to note values.

    Raises
    ------
    DeskproofError
        If the file cannot be read, holds no note, or has more staves than a short score.
    """
    return sketch_of(document.read(path).score, str(path))


def sketch_of(score: Score, name: str = "sketch") -> Sketch:
    """The sketch that a score is; see :func:`read`."""
    sounding = [part for part in score.parts if any(_counted(note) for m in part.measures for note in m.notes)]
    if not sounding:
        raise SketchError(f"{name}: a sketch with no notes; expected at least one staff with pitched notes.")
    staves = sum(part.staves for part in sounding)
    if staves > MOST_STAVES:
        raise SketchError(
            f"{name}: {staves} staves with notes in {len(sounding)} parts; a sketch has one to {MOST_STAVES}. "
            "Make one with: deskproof short-score FULL -o SHORT.musicxml"
        )
    bars = tuple(_bars(score))
    notes: list[SketchNote] = []
    said: list[Said] = []
    staff = slurs = 0
    for part in sounding:
        reader = _PartReader(part, bars, staff, slurs)
        notes += reader.notes()
        said += reader.said()
        staff, slurs = staff + part.staves, reader.slurs
    if score.source == "midi":
        notes = in_values(notes, bars, score.grid, score.extra.get("played") == "yes")
    notes.sort(key=lambda n: (n.onset, -n.grace, n.staff, -n.midi))
    said.sort(key=lambda row: row.onset)
    return Sketch(score, name, score.grid, bars, tuple(notes), tuple(dict.fromkeys(said)), staff)


def _chords(notes: Sequence[Note]) -> Iterator[list[Note]]:
    """The counted notes of a measure, those of one chord together, in order of onset."""
    groups: dict[tuple[int, int, str, int], list[Note]] = {}
    first = 0
    for note in notes:
        if _counted(note):
            if not note.flags & CHORD:
                first = note.n
            place = first if note.flags & GRACE else _BEHIND_GRACES
            groups.setdefault((note.start, note.staff, note.voice, place), []).append(note)
    for _, chord in sorted(groups.items(), key=lambda item: (item[0][0], item[0][3], item[1][0].n)):
        yield chord


def _counted(note: Note) -> bool:
    return note.kind == "note" and note.pitch is not None and not note.flags & UNCHECKED


def _bars(score: Score) -> Iterator[Bar]:
    """The bars of the first part, as long as the timeline finds them, in seconds by the tempo in force."""
    frame = frame_of(score)
    rows = tempos(score)
    places = [(row.measure, row.start) for row in rows]
    time, key = Time("4", 4, 4 * score.grid), Key(0)
    onset = 0
    longest = max(score.parts, key=lambda part: len(part.measures))
    for measure, length in zip(longest.measures, frame.lengths, strict=True):
        for change in measure.changes:
            if isinstance(change.value, Time):
                time = change.value
            elif isinstance(change.value, Key) and change.staff < 2:
                key = change.value
        seconds = Fraction(0)
        at = 0
        k = max(0, bisect_right(places, (measure.index, 0)) - 1)
        while at < length:
            following = rows[k + 1] if k + 1 < len(rows) and rows[k + 1].measure == measure.index else None
            to = min(length, following.start) if following else length
            seconds += Fraction(to - at, score.grid) * 60 / rows[k].qpm
            at, k = max(at, to), k + 1
            if following is None:
                break
        yield Bar(measure.index, measure.number, onset, length, time, key, float(seconds), measure.implicit)
        onset += length


class _PartReader:
    """The notes and signs of one part, its staves counted on from ``staff``, its slurs from ``slurs``."""

    def __init__(self, part: Part, bars: tuple[Bar, ...], staff: int, slurs: int) -> None:
        self.part, self.bars, self.staff, self.slurs = part, bars, staff, slurs
        self.layout: Layout = layout_of(part)
        self.pedals = self._pedals()

    def notes(self) -> list[SketchNote]:
        """Its notes; ties joined, slurs numbered, signs on a chord given to each of its notes."""
        found: list[SketchNote] = []
        open_ties: dict[tuple[Pitch, int], list[int]] = {}
        open_slurs: dict[_SlurKey, int] = {}
        for measure, bar in zip(self.part.measures, self.bars, strict=False):
            graces = 0
            for chord in _chords(measure.notes):
                marks = tuple(dict.fromkeys(mark for note in chord for mark in note.marks))
                slurs = self._slurs(marks, self.staff + chord[0].staff - 1, chord[0].voice, open_slurs)
                graces = graces + 1 if chord[0].flags & GRACE else 0
                for note in chord:
                    self._add(found, note, bar, graces, marks, slurs, open_ties)
        return [note._replace(rings=self._rings(note)) for note in found]

    def _add(
        self, found: list[SketchNote], note: Note, bar: Bar, grace: int, marks: tuple[Mark, ...],
        slurs: tuple[int, ...], open_ties: dict[tuple[Pitch, int], list[int]],
    ) -> None:
        pitch = self._sounding(note, bar.index)
        onset = bar.onset + note.start
        end = onset + note.length
        ref = self.part.ref(bar.index, note.n)
        waiting = open_ties.get((pitch, onset), []) if note.flags & TIE_STOP else []
        if waiting:
            at = next((k for k in waiting if found[k].voice == note.voice), waiting[0])
            waiting.remove(at)
            first = found[at]
            over = tuple(dict.fromkeys((*first.slurs, *slurs)))
            found[at] = first._replace(end=end, tied=(*first.tied, ref), slurs=over)
        else:
            at = len(found)
            staff = self.staff + note.staff - 1
            found.append(
                SketchNote(
                    ref, (), bar.index, onset, end, end, int(pitch.midi), pitch, staff, note.voice, grace, marks, slurs
                )
            )
        if note.flags & TIE_START:
            open_ties.setdefault((pitch, end), []).append(at)

    def said(self) -> Iterator[Said]:
        """Its signs, once a bar; hidden ones are left out unless they are a tempo."""
        for measure, bar in zip(self.part.measures, self.bars, strict=False):
            for row in measure.directions:
                if row.kind in _SAID and (not row.hidden or row.kind == "sound:tempo"):
                    staff = self.staff + max(row.staff, 1) - 1
                    yield Said(bar.onset + row.start, bar.index, staff, row.kind, row.value, row.number)

    def _sounding(self, note: Note, measure: int) -> Pitch:
        assert note.pitch is not None
        shift = self.layout.transpose_at(measure, note.start, note.staff).semitones
        return note.pitch if not shift else parse(pitch_name(int(note.pitch.midi + shift)))

    def _slurs(
        self, marks: tuple[Mark, ...], staff: int, voice: str, waiting: dict[_SlurKey, int]
    ) -> tuple[int, ...]:
        """The slurs over a chord with these signs, its own voice's first; those that begin here are open from now on.

        Two voices of a staff may each have a slur of one number; a slur that ends in another voice is ended there.
        """
        ending = set()
        for mark in marks:
            key = (mark.number or "1", staff, voice)
            if mark.kind == "slur" and mark.value == "start":
                waiting[key] = self.slurs
                self.slurs += 1
            elif mark.kind == "slur" and mark.value == "stop":
                ending.add(key if key in waiting else next((one for one in waiting if one[:2] == key[:2]), key))
        over = [key for key in waiting if key[1] == staff]
        found = tuple(waiting[key] for key in sorted(over, key=lambda key: key[2] != voice))
        for key in ending:
            waiting.pop(key, None)
        return found

    def _pedals(self) -> list[tuple[int, int]]:
        """From where to where the damper pedal is down, in ticks."""
        found: list[tuple[int, int]] = []
        down: int | None = None
        for measure, bar in zip(self.part.measures, self.bars, strict=False):
            for row in measure.directions:
                if row.kind != "pedal":
                    continue
                at = bar.onset + row.start
                what = row.value.split()[0] if row.value else ""
                if what in ("stop", "discontinue", "change") and down is not None:
                    found.append((down, at))
                    down = None
                if what in ("start", "resume", "change"):
                    down = at
        if down is not None and self.bars:
            found.append((down, self.bars[-1].onset + self.bars[-1].length))
        return found

    def _rings(self, note: SketchNote) -> int:
        """Where a note ends under the pedal: a pedal that is down at its end holds it."""
        return max([note.end, *(up for down, up in self.pedals if down < note.end < up)])
