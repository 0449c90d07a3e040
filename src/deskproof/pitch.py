"""Spelled pitch, and the arithmetic between a written name and a sounding MIDI number."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from deskproof.errors import DeskproofError

STEPS = "CDEFGAB"
_CLASS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGN = {-3: "♭𝄫", -2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪", 3: "♯𝄪"}
_SHARP_ORDER = "FCGDAEB"


class PitchError(DeskproofError):
    """A pitch name that cannot be read."""


class Pitch(NamedTuple):
    """A spelled pitch: letter, alteration in semitones, octave of the letter (middle C is C4).

    The octave belongs to the letter: B♯3 sounds as C4, C♭5 as B4.
    ``alter`` is a whole number except for microtones.
    """

    step: str
    alter: int | float
    octave: int

    @property
    def midi(self) -> int | float:
        """The MIDI number of the pitch as spelled (A4 = 69).

        >>> Pitch("B", 1, 3).midi, Pitch("C", -1, 5).midi
        (60, 71)
        """
        return 12 * (self.octave + 1) + _CLASS[self.step] + self.alter

    @property
    def line(self) -> int:
        """Steps above C0: the staff place of the letter, whatever its alteration."""
        return 7 * self.octave + STEPS.index(self.step)

    def __str__(self) -> str:
        """As a musician writes it.

        >>> str(Pitch("B", -1, 2)), str(Pitch("F", 2, 5))
        ('B♭2', 'F𝄪5')
        """
        sign = _SIGN.get(int(self.alter)) if self.alter == int(self.alter) else None
        return f"{self.step}{f'({self.alter:+g})' if sign is None else sign}{self.octave}"


@lru_cache(maxsize=4096)
def spelled(step: str, alter: int | float, octave: int) -> Pitch:
    """The one record of this pitch (equal pitches share a record)."""
    return Pitch(step, alter, octave)


@lru_cache(maxsize=1024)
def parse(name: str) -> Pitch:
    """Read a scientific pitch name with ASCII or printed accidentals.

    >>> parse("Bb2"), parse("F##5")
    (Pitch(step='B', alter=-1, octave=2), Pitch(step='F', alter=2, octave=5))

    Raises
    ------
    PitchError
        If the text is no pitch name.
    """
    text = name.strip().replace("♭", "b").replace("♯", "#").replace("𝄫", "bb").replace("𝄪", "##")
    if not text or text[0].upper() not in _CLASS:
        raise PitchError(f"{name!r} is no pitch name: expected a letter A to G, such as 'Bb2'")
    body = text[1:].lstrip("b#")
    signs = text[1 : len(text) - len(body)]
    try:
        octave = int(body)
    except ValueError:
        raise PitchError(f"{name!r} is no pitch name: expected an octave number, such as 'Bb2'") from None
    return Pitch(text[0].upper(), signs.count("#") - signs.count("b"), octave)


def midi(name: str) -> int:
    """The MIDI number of a pitch name.

    >>> midi("C4"), midi("Bb2")
    (60, 46)
    """
    return int(parse(name).midi)


def name(number: int | float, flats: bool = True) -> str:
    """A plain name for a sounding MIDI number, black keys as flats unless told otherwise.

    >>> name(46), name(61, flats=False)
    ('B♭2', 'C♯4')
    """
    whole = int(number)
    octave, pitch_class = divmod(whole, 12)
    for step in STEPS:
        if _CLASS[step] == pitch_class:
            return f"{step}{octave - 1}"
    step = next(s for s in STEPS if _CLASS[s] == (pitch_class + (1 if flats else -1)) % 12)
    return f"{step}{'♭' if flats else '♯'}{octave - 1}"


def sounding_name(written: Pitch | None, sounding: int | float) -> str:
    """A name for a sounding pitch that keeps the side of the written one: C♭ stays a flat, F♯ a sharp.

    >>> sounding_name(Pitch("C", -1, 3), 47), sounding_name(Pitch("F", 1, 4), 63)
    ('C♭3', 'D♯4')
    """
    if written is not None and written.midi == sounding:
        return str(written)
    return name(sounding, flats=written is None or written.alter <= 0)


@lru_cache(maxsize=64)
def key_alters(fifths: int) -> dict[str, int]:
    """The alteration of each letter under a key signature of so many fifths (negative: flats).

    >>> key_alters(2)["F"], key_alters(-1)["B"], key_alters(0)["C"]
    (1, -1, 0)
    """
    alters = dict.fromkeys(STEPS, 0)
    order = _SHARP_ORDER if fifths > 0 else _SHARP_ORDER[::-1]
    for i in range(abs(fifths)):
        alters[order[i % 7]] += 1 if fifths > 0 else -1
    return alters
