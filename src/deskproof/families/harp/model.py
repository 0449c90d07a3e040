"""The pedal harp as a thing: strings, letters, pedals, feet, hands. Times are integer microseconds.

Letters stand in foot order, left foot D C B, right foot E F G A. A position is -1 (flat), 0 (natural) or 1 (sharp).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple, Protocol

from deskproof import facts
from deskproof.families.harp.work import MOST_STEPS, Work

LETTERS = "DCBEFGA"
LEFT, RIGHT = "DCB", "EFGA"
FEET = (LEFT, RIGHT)
POSITIONS = (-1, 0, 1)
STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)  # of the natural strings above C
LOWEST, HIGHEST = ("C", 1), ("G", 7)


class String(NamedTuple):
    """A string by the name it has with its pedal in the middle: letter and octave of the letter."""

    letter: str
    octave: int

    @property
    def line(self) -> int:
        """Strings above C0; two strings are as many steps apart as their lines.

        >>> String("B", 3).line + 1 == String("C", 4).line
        True
        """
        return len(STEPS) * self.octave + STEPS.index(self.letter)

    @property
    def natural(self) -> int:
        """The MIDI number of the string with its pedal in the middle.

        >>> String("C", 1).natural, String("G", 7).natural
        (24, 103)
        """
        return 12 * (self.octave + 1) + _SEMITONES[STEPS.index(self.letter)]

    def __str__(self) -> str:
        return f"{self.letter}{self.octave}"


@lru_cache(maxsize=1)
def strings() -> tuple[String, ...]:
    """All strings from low to high.

    >>> len(strings()), str(strings()[0]), str(strings()[-1])
    (47, 'C1', 'G7')
    """
    rows = (String(letter, octave) for octave in range(LOWEST[1], HIGHEST[1] + 1) for letter in STEPS)
    return tuple(row for row in rows if row.line <= String(*HIGHEST).line)


class Choice(NamedTuple):
    """One way to take a pitch: the string and the position; ``pedal`` is false for a string that has none."""

    string: String
    position: int
    pedal: bool


@dataclass(frozen=True, slots=True)
class Settings:
    """What the planner is told about player and harp.

    ``fixed`` names the strings without pedal and their tuning ("C1": 0). ``initial`` is a setting that stands before
    the first onset, by letter, or None where the player sets the pedals freely before the piece. ``reach`` is in
    string steps, ``hand`` and ``together`` count notes (one hand, both hands). ``spare_us`` is the spare time beyond
    which more is no better, ``margin`` the factor by which a plan should still go faster. The initial setting stands
    at ``start_us``; no change begins before. ``work`` limits the search.
    """

    comfortable_us: int
    quickest_us: int
    fixed: Mapping[str, int] = field(default_factory=lambda: dict.fromkeys(facts.get("harp.without_pedal").value, 0))
    initial: Mapping[str, int] | None = None
    pair_moves: bool = False
    reach: int = field(default_factory=lambda: int(facts.get("harp.reach").value))
    hand: int = field(default_factory=lambda: int(facts.get("harp.fingers_a_hand").value))
    together: int = field(default_factory=lambda: 2 * int(facts.get("harp.fingers_a_hand").value))
    spare_us: int = field(default_factory=lambda: 1000 * int(facts.get("harp.spare_time").value))
    margin: float = field(default_factory=lambda: float(facts.get("harp.faster").value))
    start_us: int = 0
    work: Work = MOST_STEPS


class HarpNote(NamedTuple):
    """A note to be plucked.

    ``pitch`` is the sounding pitch of the string (a harmonic's is an octave below what is heard), ``written_us`` the
    written length up to a damping sign, ``spelled`` the composer's letter and alteration. Notes with equal ``key``
    are the same printed note in other passes and take the same string. A ``named`` note stands on the string of its
    name or nowhere.
    """

    pitch: int
    written_us: int
    spelled: tuple[str, int] | None = None
    key: Hashable = None
    named: bool = False


class Onset(NamedTuple):
    """Notes that are plucked together.

    ``bracketed`` chords are struck at once and must lie in two hands; others are broken, by custom or by a sign, and
    have no reach. ``demands`` are letters with position and hold that the onset needs beside its notes, as a
    glissando does: (letter, position, hold in microseconds). ``group`` is the caller's own.
    """

    t_us: int
    notes: tuple[HarpNote, ...]
    group: Hashable = None
    bracketed: bool = False
    demands: tuple[tuple[str, int, int], ...] = ()


def choices(pitch: int, fixed: Mapping[str, int]) -> tuple[Choice, ...]:
    """The strings and positions that give a pitch, low string last.

    >>> [(str(c.string), c.position) for c in choices(60, {})]
    [('C4', 0), ('B3', 1)]
    >>> choices(25, {"C1": 0, "D1": 0})
    ()
    """
    return _choices(pitch, tuple(sorted(fixed.items())))


@lru_cache(maxsize=4096)
def _choices(pitch: int, fixed: tuple[tuple[str, int], ...]) -> tuple[Choice, ...]:
    tuned = dict(fixed)
    found = []
    for string in strings():
        position = pitch - string.natural
        if position not in POSITIONS:
            continue
        name = str(string)
        if name not in tuned:
            found.append(Choice(string, position, True))
        elif tuned[name] == position:
            found.append(Choice(string, position, False))
    return tuple(sorted(found, key=lambda c: -c.string.line))


class TwoHands(Protocol):
    """What chords depend on."""

    @property
    def reach(self) -> int: ...
    @property
    def hand(self) -> int: ...
    @property
    def together(self) -> int: ...


def hands_take(lines: Sequence[int], bracketed: bool, settings: TwoHands) -> bool:
    """Whether two hands can take these strings (as lines) together.

    A chord struck at once falls into a lower and an upper group, each of at most ``hand`` strings within ``reach``.
    A broken one only needs a finger for every note.
    """
    count = len(lines)
    if count > settings.together:
        return False
    if not bracketed or count <= 1:
        return True
    rows = sorted(lines)

    def one(part: list[int]) -> bool:
        return not part or (len(part) <= settings.hand and part[-1] - part[0] <= settings.reach)

    return any(one(rows[:cut]) and one(rows[cut:]) for cut in range(count + 1))
