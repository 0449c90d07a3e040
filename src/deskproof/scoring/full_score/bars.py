"""Lines of played tones -> the notes, rests, ties and voices of the bars of one part."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import NamedTuple

from deskproof.musicxml.writing_lengths import rests, writable
from deskproof.pitch import Pitch
from deskproof.score import CHORD, GRACE, TIE_START, TIE_STOP, Mark, Note
from deskproof.scoring.full_score.played import Played
from deskproof.scoring.records import Bar, Sketch

ONCE = frozenset((
    "staccato", "accent", "tenuto", "strong-accent", "staccatissimo", "spiccato", "detached-legato", "trill-mark",
    "mordent", "inverted-mordent", "turn", "inverted-turn", "arpeggiate", "up-bow", "down-bow",
))  # fmt: skip
"""Signs of the sketch that go over to whoever plays the note, at its beginning."""
MEASURE_REST = Mark("measure-rest")
FERMATA = "fermata"


class Piece(NamedTuple):
    """What stands of a played tone in one bar: ticks in the bar, whether it begins and ends here, and its slurs."""

    played: Played
    start: int
    end: int
    begins: bool
    ends: bool
    slurs: tuple[Mark, ...]


class Chord(NamedTuple):
    """Pieces that begin and end together in one voice, the highest first."""

    start: int
    end: int
    pieces: tuple[Piece, ...]


@dataclass
class Page:
    """The bar of a part in the making: its notes in the order of the file, and which tone each begins."""

    notes: list[Note] = field(default_factory=list)
    begun: list[tuple[int, Played]] = field(default_factory=list)  # ordinal of the note, what it plays

    def add(self, note: Note, begun: Iterable[Played] = ()) -> None:
        """Put a note behind the others; ``begun`` is what it begins."""
        self.begun += [(len(self.notes), played) for played in begun]
        self.notes.append(note._replace(n=len(self.notes)))


def pieces_of(rows: Sequence[Played], sketch: Sketch, slurs: Sequence[tuple[Mark, ...]]) -> dict[int, list[Piece]]:
    """Cut what is played at the barlines: bar ordinal -> pieces in order of onset."""
    found: dict[int, list[Piece]] = {}
    for row, marks in zip(rows, slurs, strict=True):
        bar = sketch.bar_at(row.tone.onset)
        start, end = row.tone.onset, row.tone.end
        while True:
            to = min(end, bar.onset + bar.length)
            begins, ends = start == row.tone.onset, to == end or bar.index == sketch.bars[-1].index
            kept = tuple(m for m in marks if (begins if m.value == "start" else ends))
            found.setdefault(bar.index, []).append(
                Piece(row, start - bar.onset, to - bar.onset, begins, ends, kept)
            )
            if ends:
                break
            start, bar = to, sketch.bars[bar.index + 1]
    return found


def chords_of(pieces: Iterable[Piece]) -> list[Chord]:
    """Pieces that begin and end together, as chords in order; grace notes are chords of their own before the beat."""
    groups: dict[tuple[int, int, int], list[Piece]] = {}
    for i, piece in enumerate(pieces):
        grace = i if piece.start == piece.end else 1 << 30
        groups.setdefault((piece.start, grace, piece.end), []).append(piece)
    return [
        Chord(start, end, tuple(sorted(own, key=lambda p: -p.played.tone.midi)))
        for (start, _, end), own in sorted(groups.items())
    ]


def in_voices(chords: Sequence[Chord], most: int, cut: set[Played] | None = None) -> list[list[Chord]]:
    """Sort chords into as few voices as they need, at most ``most``; what is still too long ends where the next begins.

    The voice that has been free longest takes the next chord. ``cut`` takes up what would have gone on behind the bar.
    """
    voices: list[list[Chord]] = []
    for chord in chords:
        free = [voice for voice in voices if voice[-1].end <= chord.start]
        if free:
            max(free, key=lambda voice: voice[-1].end).append(chord)
        elif len(voices) < most:
            voices.append([chord])
        else:
            voice = min((v for v in voices), key=lambda v: (v[-1].end, v[-1].start))
            last = voice[-1]
            if last.start < chord.start:
                if cut is not None:
                    cut.update(p.played for p in last.pieces if not p.ends)
                voice[-1] = Chord(
                    last.start, chord.start, tuple(p._replace(end=chord.start, ends=True) for p in last.pieces)
                )
                voice.append(chord)
            else:
                end = max(last.end, chord.end)
                both = [p._replace(end=end) for p in (*last.pieces, *chord.pieces)]
                voice[-1] = Chord(last.start, end, tuple(sorted(both, key=lambda p: -p.played.tone.midi)))
    return voices


class VoiceWriter:
    """Writes voices into the page of a bar."""

    def __init__(
        self,
        page: Page,
        bar: Bar,
        grid: int,
        written: Callable[[Played], Pitch],
        instrument: Callable[[Played], str],
        marks: Callable[[Played], tuple[Mark, ...]],
    ) -> None:
        self.page, self.bar, self.grid = page, bar, grid
        self.written, self.instrument, self.marks = written, instrument, marks

    def empty(self, staff: int, voice: str, fermata: bool = False) -> None:
        """A bar's rest."""
        marks = (MEASURE_REST, Mark(FERMATA)) if fermata else (MEASURE_REST,)
        self.page.add(Note(0, 0, self.bar.length, None, "rest", staff, voice, 0, "", "", marks))

    def voice(self, chords: Sequence[Chord], staff: int, voice: str) -> None:
        """One voice, its rests filled."""
        at = 0
        for chord in chords:
            self._rest(at, chord.start, staff, voice)
            self._chord(chord, staff, voice)
            at = max(at, chord.end)
        self._rest(at, self.bar.length, staff, voice)

    def _rest(self, start: int, end: int, staff: int, voice: str) -> None:
        for at, length in rests(start, end, self.bar.time, self.grid):
            self.page.add(Note(0, at, length, None, "rest", staff, voice, 0, "", "", ()))

    def _chord(self, chord: Chord, staff: int, voice: str) -> None:
        if chord.start == chord.end:
            cuts = [(chord.start, 0)]
        else:
            cuts = writable(chord.start, chord.end - chord.start, self.bar.time, self.grid)
        keys = [list(own) for _, own in groupby(chord.pieces, key=lambda piece: piece.played.tone.midi)]
        for i, (at, length) in enumerate(cuts):
            first, last = i == 0, i == len(cuts) - 1
            for k, same in enumerate(keys):  # one note for strands that meet on one pitch
                piece = same[0]
                flags = (CHORD if k else 0) | (GRACE if not length else 0)
                if not first or not any(one.begins for one in same):
                    flags |= TIE_STOP
                if not last or not all(one.ends for one in same):
                    flags |= TIE_START
                note = Note(
                    0, at, length, self.written(piece.played), "note", staff, voice, flags, "",
                    self.instrument(piece.played), self._signs(piece, chord, k, first, last),
                )  # fmt: skip
                self.page.add(note, [one.played for one in same if first and one.begins])

    def _signs(self, piece: Piece, chord: Chord, k: int, first: bool, last: bool) -> tuple[Mark, ...]:
        """The signs of a chord, which stand on its first note: fermata and slurs are those of all its pieces."""
        if k:
            return ()
        found = [mark for mark in self.marks(piece.played) if mark.kind in ONCE and first and piece.begins]
        for one in chord.pieces:
            if last and one.ends:
                found += [mark for mark in self.marks(one.played) if mark.kind == FERMATA]
            found += [m for m in one.slurs if (m.value == "start" and first) or (m.value == "stop" and last)]
        if piece.played.tone.tremolo:
            found.append(Mark("tremolo", str(piece.played.tone.tremolo), "single"))
        return tuple(dict.fromkeys(found))
