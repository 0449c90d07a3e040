"""Two hands at a keyboard, judged without the code under test: what can be reached at all, and whether a plan is true.

Nothing here imports the package. Keys are MIDI numbers, times microseconds, distances millimetres from centre to
centre. The black keys lie so that the tails of the white ones between them are equally wide, in C to E and in F to B;
a white key is 23.5 mm wide in front.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import product

REACH_MM = 236
HARD_MM = 212
NOTES, NOTES_THUMB = 5, 6
JOINED_US = 50_000  # a key that ends so soon after the next begins is joined to it, not held
LEFT, RIGHT = "L", "R"
WHITE = 23.5
BLACK_AT = {1: 21.15, 3: 49.35, 6: 90.64, 8: 117.5, 10: 144.36}
WHITE_AT = {0: 0, 2: 1, 4: 2, 5: 3, 7: 4, 9: 5, 11: 6}


def centre(key: int) -> float:
    """The centre of a key in mm from the left edge of key 0."""
    octave, step = divmod(key, 12)
    inside = BLACK_AT[step] if step in BLACK_AT else WHITE * (WHITE_AT[step] + 0.5)
    return octave * 7 * WHITE + inside


def extent(keys: Sequence[int]) -> float:
    """From the lowest key to the highest in mm."""
    return max(map(centre, keys)) - min(map(centre, keys)) if keys else 0.0


def fingers(keys: Sequence[int], hand: str) -> bool:
    """True if a hand has fingers for these keys: five, or six where its thumb lies on two neighbours of one colour."""
    if len(keys) <= NOTES:
        return True
    if len(keys) > NOTES_THUMB:
        return False
    row = sorted(keys)
    low, high = row[:2] if hand == RIGHT else row[-2:]
    same_colour = (low % 12 in BLACK_AT) == (high % 12 in BLACK_AT)
    between = list(range(low + 1, high))
    if low % 12 in BLACK_AT:
        return same_colour and len(between) == 1
    return same_colour and all(key % 12 in BLACK_AT for key in between)


def reached(keys: Sequence[int], hand: str) -> bool:
    """True if one hand strikes all these keys at once."""
    return extent(keys) <= REACH_MM + 1e-3 and fingers(keys, hand)


def splits(keys: Sequence[int]) -> Iterator[tuple[str, ...]]:
    """Every way whatever to give keys to hands, interlocked ones among them, that both hands reach."""
    for row in product((LEFT, RIGHT), repeat=len(keys)):
        if all(reached([k for k, h in zip(keys, row, strict=True) if h == hand], hand) for hand in (LEFT, RIGHT)):
            yield row


def playable(keys: Sequence[int]) -> bool:
    """True if two hands strike these keys at once in some way."""
    return next(splits(keys), None) is not None


def complaints(
    onsets: Iterable[tuple[int, Sequence[int], Sequence[int]]],
    hands: Sequence[Sequence[str | None]],
    up_us: Sequence[Sequence[int]],
    kept_by: Sequence[Sequence[str]],
) -> list[str]:
    """What is untrue of a plan for chords that are struck; ``onsets`` are (t_us, keys, until_us).

    Every key has one hand, unless no two hands reach the chord, and then as many as two hands can take from outside;
    no hand strikes more than it reaches, nor lies on more than it reaches between two presses; no finger stays
    longer than written; a key leaves early only with the damper.
    """
    found = []
    down: dict[str, list[tuple[int, int]]] = {LEFT: [], RIGHT: []}  # (up, key)
    for i, (t_us, keys, until) in enumerate(onsets):
        row = hands[i]
        if not len(row) == len(keys) == len(up_us[i]) == len(kept_by[i]):
            found.append(f"{i}: rows of unequal length")
            continue
        if None in row and playable(keys):
            found.append(f"{i}: {keys} can be played, the plan leaves out some")
        for hand in (LEFT, RIGHT):
            mine = [key for key, taken in zip(keys, row, strict=True) if taken == hand]
            if not mine:
                continue
            if not reached(mine, hand):
                found.append(f"{i}: {hand} does not reach {mine}")
            lying = sorted({key for up, key in down[hand] if up > t_us + JOINED_US} | set(mine))
            if not reached(lying, hand):
                found.append(f"{i}: {hand} lies on {lying}")
            down[hand] += [(up, key) for up, key, taken in zip(up_us[i], keys, row, strict=True) if taken == hand]
        for key, up, end, by in zip(keys, up_us[i], until, kept_by[i], strict=True):
            if up > end or up < min(t_us, end):
                found.append(f"{i}: key {key} is let go at {up}, struck at {t_us}, written until {end}")
            if by not in ("finger", "damper"):
                found.append(f"{i}: key {key} is kept by {by}")
            if by == "damper" and up >= end:
                found.append(f"{i}: key {key} needs no damper")
    return found
