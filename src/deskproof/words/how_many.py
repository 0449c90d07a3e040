"""How many players of one instrument a part's name speaks of: "Harps 1 & 2", "2 Harfen", "Arpa I. II."."""

from __future__ import annotations

import re

_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6}
_WORDS = {
    "two": 2, "zwei": 2, "deux": 2, "due": 2, "three": 3, "drei": 3, "trois": 3, "tre": 3, "four": 4, "vier": 4,
    "quatre": 4, "quattro": 4,
}  # fmt: skip
_PIECE = re.compile(r"\d+|[^\W\d_]+|[-–]")
_MOST = 16


def how_many(name: str) -> int:
    """The number of players that a part's name tells; 1 where it tells none.

    >>> [how_many(n) for n in ("Harps 1 & 2", "2 Harfen", "Arpa I. II.", "Harp 2", "Corni 1-4", "Due arpe", "Harp")]
    [2, 2, 2, 1, 4, 2, 1]
    """
    pieces = _PIECE.findall(name.casefold())
    words = [i for i, piece in enumerate(pieces) if piece[0].isalpha() and piece not in _ROMAN]
    if not words:
        return 1
    first = words[0]
    if pieces[first] in _WORDS:
        return _WORDS[pieces[first]]
    if first > 0 and pieces[0].isdecimal():
        return min(max(int(pieces[0]), 1), _MOST)
    after = pieces[first + 1 :]
    numbers = [int(p) if p.isdecimal() else _ROMAN[p] for p in after if p.isdecimal() or p in _ROMAN]
    if len(numbers) == 2 and any(p in "-–" for p in after) and numbers[0] < numbers[1]:
        return min(numbers[1] - numbers[0] + 1, _MOST)
    return min(max(len(set(numbers)), 1), _MOST)
