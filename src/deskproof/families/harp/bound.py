"""How many changes the rest of a passage needs at least, from any setting.

With no time to mind, every letter is changed just when it is used, so the count follows from the settings alone: one
table of 3**7 settings for each onset, from the last to the first. Time is minded only between neighbouring onsets. It
never says too much, and mostly says just what is needed. numpy is loaded only when a table is made.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from deskproof.families.harp.model import LEFT, LETTERS, RIGHT
from deskproof.families.harp.passage import FREE, Use, Ways

SETTINGS = 3 ** len(LETTERS)
NEVER = 200
OFTEN = 8  # onsets after which the figures of a table are counted from its least again
LEFT_BITS = 2 * len(LEFT)
_PLACES = tuple(3 ** (len(LETTERS) - 1 - i) for i in range(len(LETTERS)))


def _np() -> Any:
    import numpy

    return numpy


@lru_cache(maxsize=1 << 15)
def setting_number(code: int) -> int:
    """The number of a full setting; -1 if a letter is free."""
    number = 0
    for i, place in enumerate(_PLACES):
        digit = code >> 2 * i & FREE
        if digit == FREE:
            return -1
        number += place * digit
    return number


@lru_cache(maxsize=4096)
def _move(used: int, code: int) -> tuple[Any, Any]:
    """For every setting, the number of the setting that a use leads to, and how many letters it changes."""
    np = _np()
    digits = _digits()
    to = np.zeros(SETTINGS, dtype=np.intp)
    changed = np.zeros(SETTINGS, dtype=np.uint8)
    for i, place in enumerate(_PLACES):
        if used >> i & 1:
            wanted = code >> 2 * i & FREE
            to += place * wanted
            changed += digits[i] != wanted
        else:
            to += place * digits[i]
    return to, changed


@lru_cache(maxsize=1)
def _digits() -> Any:
    np = _np()
    numbers = np.arange(SETTINGS)
    return [(numbers // place % 3).astype(np.intp) for place in _PLACES]


class Bound:
    """Changes still needed from each onset on, by setting and by the way the onset before was taken.

    Changes between two neighbouring onsets that a foot cannot make in the time between them are not counted on;
    apart from that, changes take no time.
    """

    def __init__(self, parted: Sequence[Ways], times: Sequence[int], change_us: Sequence[int]) -> None:
        """``change_us`` is the time of one change after each onset."""
        np = _np()
        count = len(parted)
        self._tables: list[tuple[tuple[bytes, int], ...]] = [()] * (count + 1)
        self._which: list[tuple[int, ...]] = [()] * (count + 1)
        self._free: list[dict[tuple[int, int], int]] = [{} for _ in range(count + 1)]
        nothing = np.zeros(SETTINGS, dtype=np.uint8)
        rest: list[Any] = [nothing]  # by table, what is needed from the next onset on
        self._tables[count] = ((nothing.tobytes(), 0),)
        self._which[count] = (0,) * (len(parted[-1].ways) if count else 1)
        base = 0
        for i in range(count - 1, -1, -1):
            which = self._which[i + 1]
            here = parted[i]
            found: list[Any] = []
            seen: dict[tuple[int, int, int], int] = {}
            at: list[int] = []  # by way, its array
            for w, (one, two, _, _, _) in enumerate(here.rows):
                left, right = here.left[one], here.right[two]
                used, code = left.used | right.used << len(LEFT), left.code | right.code << LEFT_BITS
                key = (used, code, which[w])
                k = seen.get(key)
                if k is None:
                    to, changed = _move(used, code)
                    array = rest[which[w]].take(to)
                    array += changed
                    np.minimum(array, NEVER, out=array)
                    k = seen[key] = len(found)
                    found.append(array)
                at.append(k)
            if i % OFTEN == 0:  # figures stay small
                low = min([int(array.min()) for array in found])
                if 0 < low < NEVER:
                    base += low
                    for array in found:
                        array[array < NEVER] -= np.uint8(low)
            groups: dict[frozenset[int], int] = {}
            chosen: list[int] = []
            if i:
                gap, change = times[i] - times[i - 1], change_us[i - 1]
                before = parted[i - 1]
                lefts = [[_goes(a, b, gap, change) for b in here.left] for a in before.left]
                rights = [[_goes(a, b, gap, change) for b in here.right] for a in before.right]
                known: dict[tuple[int, int], int] = {}
                for one, two, _, _, _ in before.rows:
                    number = known.get((one, two))
                    if number is None:
                        goes, also = lefts[one], rights[two]
                        mine = frozenset(
                            [k for k, row in zip(at, here.rows, strict=True) if goes[row[0]] and also[row[1]]]
                        )
                        number = known[one, two] = groups.setdefault(mine, len(groups))
                    chosen.append(number)
            else:
                groups[frozenset(at)] = 0
            rest = []
            for mine in groups:
                arrays = [found[k] for k in mine]
                best = arrays[0] if arrays else np.full(SETTINGS, NEVER, dtype=np.uint8)
                for array in arrays[1:]:
                    best = np.minimum(best, array)
                rest.append(best)
            self._which[i] = tuple(chosen)
            self._tables[i] = tuple([(best.tobytes(), base) for best in rest])

    @property
    def least(self) -> int:
        """Changes that the whole passage needs at least, whatever setting it begins with."""
        table, base = self._tables[0][0]
        return base + min(table)

    def rest(self, onset: int, way: int) -> tuple[bytes, int]:
        """By number of setting, changes from this onset on beyond the second figure, after this way of the one before.

        NEVER where it does not go at all.
        """
        return self._tables[onset][self._which[onset][way]]

    def free(self, onset: int, way: int, code: int) -> int:
        """As ``rest``, for a setting with free letters: whatever they are set to."""
        known = self._free[onset]
        which = self._which[onset][way]
        found = known.get((which, code))
        if found is None:
            np = _np()
            table = np.frombuffer(self._tables[onset][which][0], dtype=np.uint8).reshape((3,) * len(LETTERS))
            digits = (code >> 2 * i & FREE for i in range(len(LETTERS)))
            found = int(table[tuple(slice(None) if d == FREE else d for d in digits)].min())
            known[which, code] = found
        return found


@lru_cache(maxsize=1 << 17)
def _goes(before: Use, after: Use, gap_us: int, change_us: int) -> bool:
    """Whether one foot can change, between two neighbouring onsets, what both use in different positions."""
    both = before.used & after.used
    if not both:
        return True
    releases = []
    at = 0
    for i in range(len(RIGHT)):
        if before.used >> i & 1:
            if both >> i & 1 and (before.code ^ after.code) >> 2 * i & FREE:
                releases.append(before.holds[at])
            at += 1
    free = 0
    for release in sorted(releases):
        free = max(free, release) + change_us
    return free <= gap_us or not releases
