"""Standard MIDI File -> Score: the same records as from MusicXML, as far as such a file knows them.

A MIDI note is one Note, in the measure where it begins, however many barlines it sounds over; there are no rests,
ties, voices or printed accidentals. Its mark ``midi`` holds its reference, ``t2/n57`` (track and ordinal of the note
in it, both from 0), and its MIDI number. Pitches sound as written; letters are chosen by :mod:`.spelling`.
"""

from __future__ import annotations

from deskproof.midi import bars, played, spelling
from deskproof.midi.file import MidiError, MidiFile, Struck, read
from deskproof.midi.parts import Line, is_named, lines_of, name_of, program_name, program_of, together
from deskproof.pitch import Pitch
from deskproof.score import CHORD, Change, Clef, Direction, Mark, Measure, Note, Part, Score, ScoreInstrument

__all__ = ["MidiError", "read_bytes"]

MAX_CELLS = 2_000_000
"""Bars times parts; more would be a damaged file."""

_TREBLE, _BASS = Clef("G", 2), Clef("F", 4)
_MIDDLE_LINES = (71, 50)  # B4 of the treble clef, D3 of the bass clef


def read_bytes(data: bytes, name: str = "score", *, merge_hands: bool = True) -> Score:
    """Read the bytes of a Standard MIDI File.

    ``Score.extra["played"]`` is "yes" where the times are a player's, and "no" where they stand on a grid;
    ``extra["bars"]`` is "metre" where the file tells its metre and "assumed" where bars are merely counted in 4/4.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        Used in messages.
    merge_hands : bool
        Whether two tracks that are the hands of one keyboard player become one part on two staves.

    Raises
    ------
    MidiError
        If the bytes cannot be read as one score.
    """
    file = read(data, name)
    with_notes = [track for track in file.tracks if track.notes]
    if not with_notes:
        raise MidiError(f"{name}: no notes in {len(file.tracks)} tracks. Nothing was exported; export it again.")
    if file.format == 2 and len(with_notes) > 1:
        raise MidiError(
            f"{name}: format 2, {len(with_notes)} independent pieces in one file. "
            "Save each as a file of its own, or all as format 1 if they sound together."
        )
    grid = bars.lay(file, name)
    lines = lines_of(file)
    groups = together(lines, merge_hands)
    if len(groups) * len(grid.bars) > MAX_CELLS:
        raise MidiError(
            f"{name}: {len(groups)} parts of {len(grid.bars)} bars. A time in the file is wrong; export it again."
        )
    is_played = played.is_played(file)
    pitches = _pitches(file, lines)
    tempos = bars.tempo_rows(file, grid)
    parts = tuple(_Builder(grid, group, pitches, tempos if i == 0 else {}).part() for i, group in enumerate(groups))
    return Score(
        title=_title(file),
        grid=grid.quarter,
        parts=parts,
        remarks=tuple(_remarks(file, name, lines, is_played)),
        prints_accidentals=False,
        source="midi",
        extra={
            "played": "yes" if is_played else "no",
            "bars": "metre" if file.metres and not file.smpte else "assumed",
        },
    )


def _title(file: MidiFile) -> str:
    """The name of the first track, where that is the name of the piece: in format 0, or if no notes are in it."""
    first = file.tracks[0]
    return first.name if file.format == 0 or not first.notes else ""


def _remarks(file: MidiFile, name: str, lines: list[Line], is_played: bool) -> list[str]:
    remarks = list(file.remarks)
    if is_played:
        remarks.append(
            f"{name}: the times are played, not written: lengths of notes say nothing about the notation, "
            "and the times count as fixed."
        )
    if file.smpte:
        remarks.append(f"{name}: times are in seconds; tempo and metre events are not read.")
    if file.smpte or not file.metres:
        remarks.append(f"{name}: no metre; bars are counted in 4/4 and need not be those of the music.")
    without = [line for line in lines if not line.percussion and None in line.programs]
    if without:
        tracks = ", ".join(str(i) for i in sorted({line.track for line in without}))
        remarks.append(f"{name}: no program is set in track {tracks}; a piano is assumed where the name tells nothing.")
    if not file.keys:
        remarks.append(f"{name}: no key signature; sharps and flats are chosen by the sound alone.")
    return remarks


def _pitches(file: MidiFile, lines: list[Line]) -> dict[tuple[int, int], Pitch]:
    """(track, n) -> pitch of every pitched note."""
    rows = sorted(
        (note.onset, note.key, i, line.track, note.n)
        for i, line in enumerate(lines)
        if not line.percussion
        for note in line.notes
    )
    heard = [spelling.Heard(onset, key, i) for onset, key, i, _, _ in rows]
    spelt = spelling.spell(heard, file.division, bars.key_rows(file))
    return {(track, n): pitch for (_, _, _, track, n), pitch in zip(rows, spelt, strict=True)}


class _Builder:
    """Lays the lines of one part into the bars."""

    def __init__(
        self,
        grid: bars.Grid,
        group: tuple[Line, ...],
        pitches: dict[tuple[int, int], Pitch],
        tempos: dict[int, list[Direction]],
    ) -> None:
        self.grid, self.group, self.pitches = grid, group, pitches
        self.directions = {measure: list(rows) for measure, rows in tempos.items()}
        self.instruments: dict[str, ScoreInstrument] = {}
        self.name, self.named = name_of(group), is_named(group)
        self.first_program = {line.id: program_of(line) for line in group}

    def part(self) -> Part:
        """The part."""
        rows: dict[int, list[Note]] = {}
        for staff, line in enumerate(self.group, 1):
            for note in line.notes:
                measure, start = self.grid.place(note.onset * self.grid.factor)
                rows.setdefault(measure, []).append(self._note(line, note, start, staff))
            for pedal in line.pedals:
                self._pedal(pedal.tick * self.grid.factor, f"sound:{pedal.kind}", "yes" if pedal.down else "no", staff)
        measures = tuple(
            Measure(
                i,
                str(i + 1),
                bar.length,
                _numbered(rows.get(i, ())),
                tuple(self.directions.get(i, ())),
                (*self._staves(), *bar.changes) if i == 0 else bar.changes,
            )
            for i, bar in enumerate(self.grid.bars)
        )
        return Part("+".join(line.id for line in self.group), self.name, "", self.instruments, measures)

    def _note(self, line: Line, note: Struck, start: int, staff: int) -> Note:
        mark = Mark("midi", f"t{line.track}/n{note.n}", str(note.key))
        length = (note.end - note.onset) * self.grid.factor
        kind = "unpitched" if line.percussion else "note"
        pitch = None if line.percussion else self.pitches[line.track, note.n]
        return Note(0, start, length, pitch, kind, staff, str(staff), 0, "", self._instrument(line, note), (mark,))

    def _instrument(self, line: Line, note: Struck) -> str:
        """The id of the note's instrument: of the part and program, or of the percussion key."""
        first = self.group[0]
        if line.percussion:
            key, program, unpitched = f"{first.id}-k{note.key}", None, note.key
        else:
            program = self.first_program[line.id] if note.program is None else note.program
            key, unpitched = f"{first.id}-p{program}", None
        if key not in self.instruments:
            name = self.name
            if self.instruments:  # a track's own name speaks for all its programs, as pizzicato and tremolo are
                name = "" if self.named else program_name(program)
            self.instruments[key] = ScoreInstrument(key, name, "", program, unpitched)
        return key

    def _pedal(self, tick: int, kind: str, value: str, staff: int) -> None:
        if tick >= self.grid.starts[-1] + self.grid.bars[-1].length:
            return
        measure, start = self.grid.place(tick)
        rows = self.directions.setdefault(measure, [])
        if not any(row.start == start and row.kind == kind and row.value == value for row in rows):
            rows.append(Direction(len(rows), start, staff, kind, value, hidden=True))

    def _staves(self) -> tuple[Change, ...]:
        """How many staves, and the clef of each: the one whose middle line is nearer to the mean note."""
        if self.group[0].percussion:
            return (Change(0, 1, "clef", Clef("percussion", 0)),)
        if len(self.group) == 2:
            return (Change(0, 0, "staves", 2), Change(0, 1, "clef", _TREBLE), Change(0, 2, "clef", _BASS))
        mean = self.group[0].mean_key
        treble, bass = (abs(mean - line) for line in _MIDDLE_LINES)
        return (Change(0, 1, "clef", _TREBLE if treble <= bass else _BASS),)


def _numbered(rows: list[Note] | tuple[Note, ...]) -> tuple[Note, ...]:
    """The notes of a measure by onset, then staff, then pitch; those of one chord marked so."""
    ordered = sorted(rows, key=lambda note: (note.start, note.staff, int(note.marks[0].number)))
    found: list[Note] = []
    for n, note in enumerate(ordered):
        before = found[-1] if found else None
        same = before is not None and before[1:3] == note[1:3] and before.staff == note.staff
        found.append(note._replace(n=n, flags=CHORD if same else 0))
    return tuple(found)
