"""What the pedals of a harp cannot give at all, told from the notes alone, before anybody plans a pedal.

Seven letters have one pitch class each at a time, and a foot moves one pedal at a time. So of notes that lie close
together no more pitch classes can be had than seven and one for each change that the feet have time for.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations_with_replacement

from deskproof.families.harp.model import LETTERS
from deskproof.pitch import Pitch

OCTAVE = 12
LEFT = "DCB"
FEET = (LEFT, "".join(letter for letter in LETTERS if letter not in LEFT))
_CHANGES = 2  # changes of one foot up to which a stretch is looked at; longer ones are left to the planner
_WITHOUT_PEDAL = 26  # D1: the strings up to here have no pedal, and stand as they are tuned


def beyond_the_pedals(notes: Sequence[tuple[int, int]], change_us: int) -> bool:
    """Whether some stretch of notes needs more pedal changes than there is time for.

    ``notes`` are onset in microseconds and sounding MIDI number, in order of time; ``change_us`` is the time of a
    change. False does not say that the notes can be played.

    >>> beyond_the_pedals([(0, 67), (100_000, 68), (200_000, 69)], 500_000)
    True
    >>> beyond_the_pedals([(0, 67), (600_000, 68), (1_200_000, 69)], 500_000)
    False
    """
    with_pedal = [(t_us, midi % OCTAVE) for t_us, midi in notes if midi > _WITHOUT_PEDAL]
    for i, (start, _) in enumerate(with_pedal):
        classes: set[int] = set()
        for t_us, class_ in with_pedal[i:]:
            changes = (t_us - start) // change_us
            if changes > _CHANGES:
                break
            if class_ not in classes:
                classes.add(class_)
                if not _can_be_had(frozenset(classes), changes):
                    return True
    return False


@cache
def _can_be_had(classes: frozenset[int], changes: int) -> bool:
    """Whether all pitch classes can be had where each foot has time for so many changes."""
    return any(
        _on_letters(sorted(classes), [*LETTERS, *left, *right])
        for left in combinations_with_replacement(FEET[0], changes)
        for right in combinations_with_replacement(FEET[1], changes)
    )


def _on_letters(classes: Sequence[int], letters: Sequence[str]) -> bool:
    """Whether each class can stand on a letter of its own (augmenting paths)."""
    taken: dict[int, int] = {}

    def placed(class_: int, tried: set[int]) -> bool:
        for k, letter in enumerate(letters):
            if k not in tried and _gives(letter, class_):
                tried.add(k)
                if k not in taken or placed(taken[k], tried):
                    taken[k] = class_
                    return True
        return False

    return all(placed(class_, set()) for class_ in classes)


@cache
def _gives(letter: str, class_: int) -> bool:
    """Whether a letter, flat, natural or sharp, is a pitch class."""
    return any(Pitch(letter, alter, 4).midi % OCTAVE == class_ for alter in (-1, 0, 1))
