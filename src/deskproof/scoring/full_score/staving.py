"""The printed parts of a full score: which chairs share one, what it is called, its clefs, keys and brackets."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

from deskproof import facts, instruments
from deskproof.instruments import Instrument
from deskproof.pitch import STEPS, Pitch, spelled
from deskproof.pitch import name as pitch_name
from deskproof.score import Clef, Key, Transpose
from deskproof.scoring.hall import Hall, named_for, plain_name
from deskproof.scoring.records import Chair, Seat

PAIRED = ("woodwind", "brass")
GRAND = ("keyboard", "harp")
NO_KEY = ("timpani", "percussion")
_FIFTH_STEPS, _FIFTH_LETTERS = 7, 12
_MOST = 6  # signs of a key
_MIDDLE_C = 60


class Manner(NamedTuple):
    """How an instrument is written: what is added to the written pitch to get the sounding one, and its clefs."""

    transpose: Transpose
    clefs: tuple[Clef, ...]


@dataclass(frozen=True)
class PrintedPart:
    """One printed part: its seats, one after the other from the top, and the chairs they use in this score."""

    id: str
    name: str
    abbreviation: str
    family: str
    seats: tuple[Seat, ...]
    chairs: tuple[Chair, ...]

    @property
    def grand(self) -> bool:
        """Whether it stands on two staves."""
        return self.family in GRAND

    @property
    def instruments(self) -> tuple[str, ...]:
        """The ids of its instruments, the first one first."""
        return tuple(dict.fromkeys(chair.instrument for chair in self.chairs))


def printed_parts(hall: Hall, playing: Collection[str]) -> tuple[PrintedPart, ...]:
    """The parts of the chairs that play, in score order.

    Two neighbouring players of one wind instrument share a staff, unless one of them changes instrument.
    """
    found: list[PrintedPart] = []
    used = [(seat, tuple(c for c in hall.chairs if c.seat == seat.name and c.name in playing)) for seat in hall.seats]
    present = [(seat, chairs) for seat, chairs in used if chairs]
    for seats in _grouped(present):
        chairs = tuple(chair for seat in seats for chair in dict(present)[seat])
        name, short = _name(seats, chairs)
        found.append(PrintedPart(f"P{len(found) + 1}", name, short, chairs[0].family, seats, chairs))
    return tuple(found)


def _grouped(present: Sequence[tuple[Seat, tuple[Chair, ...]]]) -> Iterator[tuple[Seat, ...]]:
    """Seats in pairs where they play one and the same instrument of the winds."""

    def kind(row: tuple[Seat, tuple[Chair, ...]]) -> tuple[str, str]:
        seat, chairs = row
        alone = len(chairs) > 1 or seat.section or chairs[0].family not in PAIRED
        return chairs[0].instrument, seat.name if alone else ""

    for (_, alone), rows in groupby(present, key=kind):
        seats = [seat for seat, _ in rows]
        size = 1 if alone else 2
        for i in range(0, len(seats), size):
            yield tuple(seats[i : i + size])


def _name(seats: Sequence[Seat], chairs: Sequence[Chair]) -> tuple[str, str]:
    """The printed name and its short form: "Flutes 1, 2", "Flute 2 (Piccolo)", "Clarinets 1, 2 in B♭"."""
    kinds = [instruments.by_id(id_) for id_ in dict.fromkeys(chair.instrument for chair in chairs)]
    first = kinds[0]
    own = [seat for seat in seats if named_for(seat.name, first)]
    numbers = ", ".join(number[0] for seat in own if (number := re.search(r"\d+", seat.name)))
    short = f"{_short(first)} {numbers}".strip()
    if first.family in GRAND:
        return ", ".join(map(titled, kinds)), ", ".join(map(_short, kinds))
    title = f"{titled(first)}s" if len(seats) > 1 else titled(first)
    also = f" ({', '.join(map(titled, kinds[1:]))})" if len(kinds) > 1 else ""
    return f"{title} {numbers}".strip() + _key_said(first) + also, short


def _key_said(instrument: Instrument) -> str:
    """The key of an instrument that is built in several, as it stands behind its name: " in B♭"."""
    fact = facts.find(f"{instrument.kind}.transposition")
    several = instrument.crook is not None or (fact is not None and isinstance(fact.value, tuple))
    semitones = manner_of(instrument.id).transpose.semitones
    return f" in {pitch_name(_MIDDLE_C + int(semitones))[:-1]}" if several and semitones else ""


def titled(instrument: Instrument) -> str:
    """Its plain name with capitals.

    >>> titled(instruments.by_id("bass-clarinet"))
    'Bass Clarinet'
    """
    return " ".join(word[:1].upper() + word[1:] for word in plain_name(instrument).split())


def _short(instrument: Instrument) -> str:
    fact = facts.find(f"short_names.{instrument.kind}")
    return str(fact.value) if fact is not None else titled(instrument)


def manner_of(instrument_id: str) -> Manner:
    """How an instrument is written, from its facts: the most usual transposition, its clefs."""
    one = instruments.by_id(instrument_id)
    semitones = 0 if one.crook is None else one.crook
    fact = facts.find(f"{one.id}.transposition") or facts.find(f"{one.kind}.transposition")
    if one.crook is None and fact is not None:
        semitones = fact.value[0] if isinstance(fact.value, tuple) else fact.value
    clefs = facts.find(f"{one.id}.clefs") or facts.find(f"{one.kind}.clefs")
    names = clefs.value if clefs is not None else ("G2",)
    return Manner(transposition(semitones), tuple(Clef(name[0], int(name[1])) for name in names))


def transposition(semitones: int, fifths: int = 0) -> Transpose:
    """Semitones from written to sounding as an interval, so that the written key has at most six signs.

    >>> transposition(-2), transposition(-7, 5)
    (Transpose(chromatic=-2, diatonic=-1, octave=0), Transpose(chromatic=-7, diatonic=-4, octave=0))
    >>> transposition(-2, 5), transposition(12)
    (Transpose(chromatic=-2, diatonic=-2, octave=0), Transpose(chromatic=0, diatonic=0, octave=1))
    """
    octave, chromatic = divmod(abs(semitones), _FIFTH_LETTERS)
    sign = -1 if semitones < 0 else 1
    usual = _LETTERS[chromatic]
    near = min((0, -1, 1), key=lambda d: max(0, abs(fifths + _fifths(-sign * chromatic, -sign * (usual + d))) - _MOST))
    return Transpose(sign * chromatic, sign * (usual + near), sign * octave)


_LETTERS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)  # letters of an interval of so many semitones


def _fifths(chromatic: int, letters: int) -> int:
    """By how many fifths a key moves with this interval."""
    return _FIFTH_STEPS * chromatic - _FIFTH_LETTERS * letters


def written_key(key: Key, transpose: Transpose) -> Key:
    """The key signature of a transposing part.

    >>> written_key(Key(0), Transpose(-2, -1)), written_key(Key(-3), Transpose(-7, -4))
    (Key(fifths=2, alters=()), Key(fifths=-2, alters=()))
    """
    return Key(key.fifths + _fifths(-int(transpose.chromatic), -transpose.diatonic))


def written_pitch(sounding: Pitch, transpose: Transpose) -> Pitch:
    """The written name of a sounding pitch; respelled where it would need more than one sign.

    >>> str(written_pitch(Pitch("B", -1, 3), Transpose(-2, -1)))
    'C4'
    """
    target = sounding.midi - transpose.semitones
    line = sounding.line - transpose.diatonic - len(STEPS) * transpose.octave
    best = None
    for near in (0, -1, 1):
        octave, letter = divmod(line + near, len(STEPS))
        plain = Pitch(STEPS[letter], 0, octave)
        alter = target - plain.midi
        if abs(alter) <= 1:
            return spelled(STEPS[letter], alter, octave)
        if best is None:
            best = spelled(STEPS[letter], alter, octave)
    assert best is not None
    return best


class Bracket(NamedTuple):
    """A sign that joins parts at the left: first and last ordinal, ``bracket`` or ``brace``."""

    first: int
    last: int
    symbol: str


def brackets(parts: Sequence[PrintedPart]) -> list[Bracket]:
    """A bracket for each family of two parts or more; the two violins have a brace inside theirs."""
    found: list[Bracket] = []
    rows = [(part.family, i) for i, part in enumerate(parts)]
    for family, own in groupby(rows, key=lambda row: row[0]):
        ordinals = [i for _, i in own]
        if len(ordinals) > 1 and family not in GRAND:
            found.append(Bracket(ordinals[0], ordinals[-1], "bracket"))
        violins = [i for i in ordinals if parts[i].instruments[0] == "violin"]
        if len(violins) > 1:
            found.append(Bracket(violins[0], violins[-1], "brace"))
    return found
