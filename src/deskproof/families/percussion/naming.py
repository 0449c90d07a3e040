"""What each note of a percussion part is struck on, and with which sticks, as the page says it.

The player reads the name of the part and the words over the staff; the names in the file behind them are heard, not
read. So words come first, then the name of a part that names one instrument, then what the file calls the note. A word
holds for the line of the staff at which it stands, until another word stands there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts, instruments, words
from deskproof.families.percussion.sticks import Sticks, sticks_in, without_sticks
from deskproof.instruments import Instrument
from deskproof.score import CUE, Clef, Direction, Measure, Note, Part
from deskproof.words.tokens import folded

WORDS, NAME, FILE, KEY, TEXT = "words", "name", "file", "key", "text"
FAMILIES = ("percussion", "pitched-percussion", "timpani")
GROUP = "percussion"  # the id that stands for any of them
KIT = "drum-kit"
_LONGEST = 60  # letters; a longer text is a sentence
_PIECES = re.compile(r"[,;:()\[\]/\n\r]|\s[-–—]\s|\b(?:mit|with|w/|con|colla|col|avec|ohne|senza|without|sans)\b", re.I)
_AND = re.compile(r"\b(?:et|e|ed|und|u|and)\b|[&+]", re.I)
_BEFORE = re.compile(
    r"\d+|petite?|gran|grande?|kleine?|grosse?|piccolo|piccola|small|large|little|high|low|medium|one|an?|un|une|ein|eine|"
    r"crash|clash|pair|of|to|take|muta|in|nimmt|change|prend|prenez|solo|the|la|le|il|gli|die|der|das"
)
# Parts of an instrument that are named over its staff.
_PLACES = frozenset({"bell", "dome", "edge", "rim", "head", "center", "centre", "rand", "kuppe", "cupola"})

# General MIDI, percussion key map: the instrument of each key, counted as MIDI notes are.
_KEYS = {
    "bass-drum": (35, 36), "snare-drum": (37, 38, 40), "tom-tom": (41, 43, 45, 47, 48, 50), "hi-hat": (42, 44, 46),
    "cymbals": (49, 57), "suspended-cymbal": (51, 52, 53, 55, 59), "tambourine": (54,), "cowbell": (56,),
    "vibraslap": (58,), "bongos": (60, 61), "congas": (62, 63, 64), "timbales": (65, 66), "agogo": (67, 68),
    "maracas": (69, 70), "whistle": (71, 72), "guiro": (73, 74), "claves": (75,), "wood-block": (76, 77),
    "triangle": (80, 81),
}  # fmt: skip
_BY_KEY = {key: name for name, keys in _KEYS.items() for key in keys}


class Named(NamedTuple):
    """What a note is struck on: id of the instrument ("" where nothing tells), who says so, and how.

    ``by`` is words, name (of the part), file (a name or sound in it), key (of General MIDI), text (words that nobody
    here understands) or empty; ``others`` are the instruments that the same text names for the same line.
    """

    instrument: str = ""
    by: str = ""
    others: tuple[str, ...] = ()

    @property
    def on_page(self) -> bool:
        """Whether the player can read it."""
        return self.by in (WORDS, NAME, TEXT)


class Reading(NamedTuple):
    """What one note of a part is struck on and with what; ``line`` is where it stands.

    ``mallets`` is how many are asked for, 0 where nothing is said.
    """

    named: Named
    line: str
    sticks: str
    mallets: int


@lru_cache(maxsize=1024)
def names_in(text: str) -> tuple[Instrument, ...]:
    """The percussion instruments that a text over the staff names, in its order; empty for anything else.

    Examples
    --------
    >>> [one.id for one in names_in("Kl. Tr.")], [one.id for one in names_in("petit tambourine et castagnettes")]
    (['snare-drum'], ['tambourine', 'castanets'])
    >>> names_in("like a drum"), names_in("avec baguettes de timbales"), names_in("cresc.")
    ((), (), ())
    """
    if len(text) > _LONGEST or words.names_company(text):
        return ()
    found: dict[str, Instrument] = {}
    for piece in _PIECES.split(without_sticks(text) if "\n" not in text else text):
        for name in _AND.split(piece):
            one = _first(without_sticks(name))
            if one is not None:
                found.setdefault(one.id, one)
    return tuple(found.values())


def _first(text: str) -> Instrument | None:
    """The instrument that a text begins with; words of size and number may stand before it."""
    row = re.sub(r"\bsus\b", "susp", words.bare_name(text), flags=re.I).split()
    while row and _BEFORE.fullmatch(folded(row[0])) and not _named_by(row[:2]):
        row = row[1:]
    if not row or (len(row) == 1 and folded(row[0]) in _PLACES):
        return None
    for length in range(1, len(row) + 1):
        first = instruments.by_name(" ".join(row[:length]))
        if first is not None:
            if length > 1 and instruments.by_name(" ".join(row[1:length])) is first:
                return None  # the name begins later
            found = instruments.by_name(" ".join(row))
            return found if found is not None and found.family in FAMILIES and not found.group else None
    return None


def _named_by(row: list[str]) -> bool:
    """Whether the first of these words belongs to the name ("gran cassa", but not "small triangle")."""
    found = instruments.by_name(" ".join(row))
    return found is not None and instruments.by_name(row[-1]) is not found and found.family in FAMILIES


def of_part(part: Part) -> tuple[Instrument, ...]:
    """The percussion instruments in the name of a part, those that stand for a group left out.

    Where the name says nothing, the abbreviation is read.
    """
    for text in (part.name, part.abbreviation):
        found = tuple(one for one in instruments.all_in_name(text) if one.family in FAMILIES)
        if found:
            return tuple(one for one in found if not one.group)
    return ()


def in_file(part: Part, note: Note) -> Named:
    """What the file calls the instrument of a note: by its sound or name, or by its key of General MIDI."""
    one = part.instruments.get(note.instrument)
    if one is None and len(part.instruments) == 1:
        one = next(iter(part.instruments.values()))
    if one is None:
        return Named()
    found = instruments.identify(sound=one.sound or None, program=None, name=one.name)
    if found is not None and found.family in FAMILIES and not found.group:
        return Named(found.id, FILE)
    key = _BY_KEY.get(one.unpitched) if one.unpitched is not None else None
    return Named(key, KEY) if key else Named()


def read(part: Part) -> dict[tuple[int, int], Reading]:
    """What every note of a part is struck on, by measure and ordinal, in the order of the page.

    Cue notes are left out; so is a name that stands over cue notes.
    """
    return dict(_Reader(part).rows())


class _Reader:
    def __init__(self, part: Part) -> None:
        self.part = part
        self.names = of_part(part)
        self.sizes = frozenset(facts.get("mallets.in_sizes").value)
        self.ordered = _lines(part)
        self.lines: dict[tuple[int, str, str], Named] = {}
        self.last: dict[int, Named] = {}
        self.sticks: dict[int, Sticks] = {}
        self.wanted: dict[int, list[tuple[int, tuple[Instrument, ...], bool]]] = {}  # staff -> start, names, text
        self.struck: dict[int, str] = {}  # staff -> the instrument that the sticks were for
        self.drums: set[int] = set()  # staves with a percussion clef
        groups = any(one.id == GROUP for one in instruments.all_in_name(part.name))
        self.strange = bool(part.name.strip()) and not groups  # a name nobody here knows

    def rows(self) -> Iterator[tuple[tuple[int, int], Reading]]:
        for measure in self.part.measures:
            for change in measure.changes:
                if isinstance(change.value, Clef):
                    (self.drums.add if change.value.sign == "percussion" else self.drums.discard)(change.staff or 1)
            said = sorted((row for row in measure.directions if row.kind == "words"), key=lambda row: row.start)
            for staff, start, notes in _chords(measure):
                while said and said[0].start <= start:
                    self._hear(said.pop(0))
                yield from self._chord(measure.index, staff, notes)
            for row in said:
                self._hear(row)
            self.wanted = {
                staff: [(0, names, text) for _, names, text in rows if names] for staff, rows in self.wanted.items()
            }

    def _hear(self, row: Direction) -> None:
        sticks = None
        for piece in _PIECES.split(row.value):
            sticks = sticks_in(piece) or sticks
        if sticks is not None:
            self.sticks[row.staff] = sticks
            self.struck.pop(row.staff, None)
        names = names_in(row.value)
        strange = not names and sticks is None and not words.meanings(row.value) and bool(words.bare_name(row.value))
        if names or strange:
            self.wanted.setdefault(row.staff, []).append((row.start, names, strange))

    def _chord(
        self, measure: int, staff: int, notes: list[Note]
    ) -> Iterator[tuple[tuple[int, int], Reading]]:
        wanted = self.wanted.pop(staff, None) or (self.wanted.pop(1, []) if self.part.staves == 1 else [])
        if any(note.flags & CUE for note in notes):
            return
        lines = list(dict.fromkeys((staff, self._line(note), note.instrument) for note in notes))
        names = [one for _, row, _ in wanted for one in row]
        if names:
            self._bind(lines, names, {line: note for note in notes for line in lines if line[1] == self._line(note)})
        for note in notes:
            line = (staff, self._line(note), note.instrument)
            named = self._named(line, note)
            if not named.on_page and any(strange for _, _, strange in wanted):
                named = self.lines[line] = Named(named.instrument, TEXT)
            sticks = self._sticks(staff, named.instrument)
            yield (measure, note.n), Reading(named, line[1], sticks.kind, sticks.mallets)

    def _bind(
        self, lines: list[tuple[int, str, str]], names: list[Instrument], notes: dict[tuple[int, str, str], Note]
    ) -> None:
        """Give the names that stand over a chord to its lines: one by one from the top where there are as many."""
        ids = list(dict.fromkeys(one.id for one in names))
        if len(ids) == len(lines) and len(ids) > 1:
            pairs = [(line, Named(name, WORDS)) for line, name in zip(lines, ids, strict=True)]
        elif len(ids) == 1:
            own = [line for line in lines if in_file(self.part, notes[line]).instrument == ids[0]]
            free = [line for line in lines if line not in self.lines]
            pairs = [(line, Named(ids[0], WORDS)) for line in own or free or lines]
        else:
            pairs = [(line, Named(ids[0], WORDS, tuple(ids[1:]))) for line in lines]
        self.lines.update(pairs)
        self.last[lines[0][0]] = pairs[-1][1]

    def _named(self, line: tuple[int, str, str], note: Note) -> Named:
        if line in self.lines:
            return self.lines[line]
        behind = in_file(self.part, note)
        last = self.last.get(line[0])
        if last is not None:
            sizes = last.instrument in self.sizes and behind.by != FILE
            same = not behind.instrument or behind.instrument == last.instrument or sizes
            beside = any(other[:2] == line[:2] for other in self.lines)
            if same or (beside and behind.by == KEY):
                return last
            if not any(one.id == behind.instrument for one in self.names):
                return behind
        if len(self.names) == 1:
            return Named(self.names[0].id, NAME)
        if self.names:
            ids = [one.id for one in self.names]
            if behind.instrument in ids:
                return Named(behind.instrument, NAME)
            if line[:2] in self.ordered and len(self.ordered) == len(ids):
                return Named(ids[self.ordered.index(line[:2])], NAME)
            return Named(ids[0], NAME, tuple(ids[1:]))
        return Named(behind.instrument, TEXT) if self.strange else behind

    def _line(self, note: Note) -> str:
        """Where a note stands; all bars of a keyboard are one line."""
        mark = note.marked("display")
        if mark is not None:
            return f"{mark.value}{mark.number}"
        if note.pitch is not None and note.staff in self.drums:
            return f"{note.pitch.step}{note.pitch.octave}"
        return "keys" if note.pitch is not None else ""

    def _sticks(self, staff: int, instrument: str) -> Sticks:
        """The sticks asked for; another instrument is taken with its own until the part says more."""
        found = self.sticks.get(staff)
        if found is None:
            return Sticks()
        if self.struck.setdefault(staff, instrument) != instrument or found.ordinary:
            return Sticks(mallets=found.mallets)
        return found


def _lines(part: Part) -> list[tuple[int, str]]:
    """The lines on which unpitched notes of a part stand, from high to low."""
    found: dict[tuple[int, str], tuple[int, int]] = {}
    for measure in part.measures:
        for note in measure.notes:
            mark = note.marked("display") if note.kind == "unpitched" else None
            if mark is not None:
                found.setdefault((note.staff, f"{mark.value}{mark.number}"), (note.staff, _height(note)[0]))
    return sorted(found, key=lambda line: found[line])


def _chords(measure: Measure) -> Iterator[tuple[int, int, list[Note]]]:
    """The notes of a measure as they stand together on a staff: staff, start, and the notes from high to low."""
    found: dict[tuple[int, int], list[Note]] = {}
    for note in measure.notes:
        if note.kind != "rest":
            found.setdefault((note.start, note.staff), []).append(note)
    for (start, staff), notes in sorted(found.items()):
        yield staff, start, sorted(notes, key=_height)


def _height(note: Note) -> tuple[int, int]:
    mark = note.marked("display")
    if mark is not None and mark.number.lstrip("-").isdecimal():
        return -(int(mark.number) * len("CDEFGAB") + "CDEFGAB".find(mark.value)), note.n
    if note.pitch is not None:
        return -(note.pitch.octave * len("CDEFGAB") + "CDEFGAB".index(note.pitch.step)), note.n
    return 0, note.n
