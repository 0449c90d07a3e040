"""Glissandi: what a setting of the seven pedals sounds, and which settings sound what is wanted.

A glissando plucks every string between its ends, so within an octave it sounds all seven letters. Each of the seven
pedals has three positions: 3**7 settings, few enough to look at all of them each time. Pitch classes are 0 (C) to 11.

Crossed neighbours (E sharp with F flat, B sharp with C flat) make a string sound above its upper neighbour, so a run
upwards would turn back on itself. They are never proposed, and nothing is lost: E and F natural, or B and C natural,
sound the same two notes in order.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, product
from typing import NamedTuple

from deskproof.families.harp.model import LETTERS, POSITIONS, STEPS, String

SEMITONES = 12  # in an octave
_NATURALS = {letter: String(letter, 0).natural % SEMITONES for letter in LETTERS}


class Setting(NamedTuple):
    """Where the seven pedals stand, in foot order: -1 flat, 0 natural, 1 sharp."""

    D: int
    C: int
    B: int
    E: int
    F: int
    G: int
    A: int

    @classmethod
    def of(cls, positions: Mapping[str, int]) -> Setting:
        """The setting with these positions by letter; KeyError if a letter is missing.

        >>> Setting.of(dict.fromkeys("ABCDEFG", -1)).flats
        7
        """
        return cls(*(positions[letter] for letter in LETTERS))

    @property
    def positions(self) -> dict[str, int]:
        """Position by letter, in foot order."""
        return dict(zip(LETTERS, self, strict=True))

    @property
    def flats(self) -> int:
        """How many strings of the octave are open, and so ring longest."""
        return self.count(-1)

    @property
    def crossed(self) -> tuple[str, ...]:
        """The neighbours, a semitone apart as naturals, of which the lower string sounds above the upper.

        >>> Setting(0, 0, 0, 1, -1, 0, 0).crossed, Setting(0, 0, 0, 1, 0, 0, 0).crossed
        (('EF',), ())
        """
        here = self.positions
        return tuple(pair for pair in ("EF", "BC") if (here[pair[0]], here[pair[1]]) == (1, -1))


class Near(NamedTuple):
    """A setting that has all wanted notes, and the pitch classes it sounds besides."""

    setting: Setting
    foreign: frozenset[int]


class Answer(NamedTuple):
    """The settings for a wanted set, the best first.

    ``exact`` sound the wanted notes and no others. ``nearest`` sound all of them with the fewest others, at least one.
    ``left_out`` is empty if some setting has all wanted notes; else it holds the smallest sets of wanted notes without
    which the rest can be had.
    """

    exact: tuple[Setting, ...]
    nearest: tuple[Near, ...]
    left_out: tuple[frozenset[int], ...]


class Begun(NamedTuple):
    """A setting that the written beginning of a glissando asks for.

    ``last_on`` is the letter of the string that sounds the written last note: its own letter where it is written as
    the string is set, another where only the sound agrees, None where no string has it or no last note was given.
    """

    setting: Setting
    last_on: str | None


# -- what a setting sounds -------------------------------------------------------------------------------------------


def sounding(setting: Setting) -> frozenset[int]:
    """The pitch classes that a setting sounds.

    >>> sorted(sounding(Setting(0, 0, 1, 0, -1, 0, 0)))
    [0, 2, 4, 7, 9]
    """
    return frozenset(string_class(letter, position) for letter, position in zip(LETTERS, setting, strict=True))


def string_class(letter: str, position: int) -> int:
    """The pitch class of a string with its pedal in this position.

    >>> string_class("C", -1), string_class("B", 1)
    (11, 0)
    """
    return (_NATURALS[letter] + position) % SEMITONES


def sounded_by(setting: Setting, pitch_class: int) -> tuple[str, ...]:
    """The letters, one or two, whose strings sound a pitch class: natural first, then flat; none if it is not there.

    >>> sounded_by(Setting(1, 0, 0, -1, 0, 0, 0), 3)
    ('E', 'D')
    """
    found = [letter for letter, position in setting.positions.items() if string_class(letter, position) == pitch_class]
    return tuple(sorted(found, key=lambda letter: (abs(getattr(setting, letter)), getattr(setting, letter))))


def moves(before: Setting, after: Setting) -> int:
    """How many pedals move from one setting to another; a pedal that skips a notch moves once."""
    return sum(a != b for a, b in zip(before, after, strict=True))


@lru_cache(maxsize=1)
def settings() -> tuple[Setting, ...]:
    """All settings, crossed neighbours among them.

    >>> len(settings())
    2187
    """
    return tuple(Setting(*positions) for positions in product(POSITIONS, repeat=len(LETTERS)))


@lru_cache(maxsize=1)
def plain_settings() -> tuple[Setting, ...]:
    """All settings without crossed neighbours: most flats first, then in foot order from flat to sharp.

    >>> len(plain_settings())
    1728
    """
    return ranked(setting for setting in settings() if not setting.crossed)


@lru_cache(maxsize=1)
def _masks() -> tuple[int, ...]:
    """The sounding pitch classes of the plain settings, one bit each."""
    return tuple(_mask(sounding(setting)) for setting in plain_settings())


def _mask(classes: Iterable[int]) -> int:
    mask = 0
    for pitch_class in classes:
        mask |= 1 << pitch_class % SEMITONES
    return mask


def _classes(mask: int) -> frozenset[int]:
    return frozenset(k for k in range(SEMITONES) if mask >> k & 1)


# -- which settings sound it -----------------------------------------------------------------------------------------


def ranked(found: Iterable[Setting], before: Setting | None = None) -> tuple[Setting, ...]:
    """Settings in order: fewest pedals to move from ``before`` if given, most flats, then foot order, flat to sharp."""
    return tuple(sorted(found, key=lambda s: (moves(before, s) if before else 0, -s.flats, s)))


def fitting(wanted: Iterable[int], foreign: int = 0) -> tuple[Setting, ...]:
    """The settings, without crossed neighbours, that sound all wanted pitch classes and just ``foreign`` others.

    >>> fitting((0, 2, 4, 7, 9))
    (Setting(D=0, C=0, B=1, E=0, F=-1, G=0, A=0),)
    >>> [len(fitting((0, 4, 7), foreign)) for foreign in (0, 1, 2)]
    [0, 0, 19]
    """
    return _fitting(_mask(wanted), foreign)


@lru_cache(maxsize=4096)
def _fitting(wanted: int, foreign: int) -> tuple[Setting, ...]:
    count = wanted.bit_count() + foreign
    return tuple(
        setting
        for setting, mask in zip(plain_settings(), _masks(), strict=True)
        if mask & wanted == wanted and mask.bit_count() == count
    )


def answer(wanted: Iterable[int], before: Setting | None = None) -> Answer:
    """The settings for the wanted pitch classes; ``before`` is where the pedals stand, and may be left out."""
    mask = _mask(wanted)
    near: tuple[Setting, ...] = ()
    for foreign in range(1, len(LETTERS) + 1):
        near = _fitting(mask, foreign)
        if near:
            break
    exact = _fitting(mask, 0)
    here = _classes(mask)
    return Answer(
        ranked(exact, before),
        tuple(Near(setting, sounding(setting) - here) for setting in ranked(near, before)),
        () if exact or near else _left_out(mask),
    )


@lru_cache(maxsize=4096)
def _left_out(wanted: int) -> tuple[frozenset[int], ...]:
    missing = {wanted & ~mask for mask in _masks()}
    least = min(mask.bit_count() for mask in missing)
    return tuple(_classes(mask) for mask in sorted(missing) if mask.bit_count() == least)


def strings_without(wanted: Iterable[int]) -> tuple[str, ...]:
    """The letters, in foot order, whose strings sound a foreign note in every position.

    >>> strings_without((0, 4, 7))
    ('D', 'A')
    """
    here = {pitch_class % SEMITONES for pitch_class in wanted}
    return tuple(letter for letter in LETTERS if not any(string_class(letter, p) in here for p in POSITIONS))


# -- a glissando as it is written ------------------------------------------------------------------------------------


def of_first_notes(notes: Sequence[tuple[str, int]], last: tuple[str, int] | None = None) -> tuple[Begun, ...]:
    """The settings that a written glissando asks for: its first notes, most often seven, and the note its line ends on.

    ``notes`` are letter and alteration of neighbouring strings, all going up or all going down. Pedals that they do
    not name may stand anywhere, most flats first, but crossed neighbours are left out unless they are written.
    Nothing is found if the notes skip or repeat a string, turn back, ask one pedal for two positions or have a double
    accidental.

    >>> written = [("C", 0), ("D", 0), ("E", 1), ("F", 0), ("G", 1), ("A", -1), ("B", -1)]
    >>> [(begun.setting.flats, begun.last_on) for begun in of_first_notes(written, ("G", 1))]
    [(2, 'G')]
    >>> of_first_notes([("C", 0), ("D", 0), ("F", 0)])
    ()
    """
    if any(letter not in LETTERS for letter, _ in notes) or not _neighbours([letter for letter, _ in notes]):
        return ()
    asked: dict[str, int] = {}
    for letter, alter in notes:
        if alter not in POSITIONS or asked.setdefault(letter, alter) != alter:
            return ()
    written = Setting.of({**dict.fromkeys(LETTERS, 0), **asked}).crossed
    found = (
        setting
        for setting in settings()
        if asked.items() <= setting.positions.items() and set(setting.crossed) <= set(written)
    )
    return tuple(Begun(setting, string_of(setting, *last) if last else None) for setting in ranked(found))


def _neighbours(letters: Sequence[str]) -> bool:
    places = [STEPS.index(letter) for letter in letters]
    steps = {(b - a) % len(STEPS) for a, b in pairwise(places)}
    return steps <= {1} or steps <= {len(STEPS) - 1}


def string_of(setting: Setting, letter: str, alter: int) -> str | None:
    """The letter of the string that sounds a written note: its own if that is set so, else another, else None.

    >>> at = Setting(0, 0, 1, 0, -1, 0, 0)
    >>> string_of(at, "C", 0), string_of(at, "F", 0), string_of(at, "D", -2)
    ('C', None, 'C')
    """
    if getattr(setting, letter) == alter:
        return letter
    return next(iter(sounded_by(setting, string_class(letter, alter))), None)


def speed(first_line: int, last_line: int, duration_us: int) -> Fraction:
    """Notes a second, from the pluck of the first string to the pluck of the last; lines as in ``String.line``.

    >>> speed(String("C", 3).line, String("C", 5).line, 1_000_000)
    Fraction(14, 1)

    Raises
    ------
    ValueError
        If the duration is not above zero.
    """
    if duration_us <= 0:
        raise ValueError(f"a glissando of {duration_us} µs; a duration above zero was expected")
    return Fraction(abs(last_line - first_line) * 1_000_000, duration_us)
