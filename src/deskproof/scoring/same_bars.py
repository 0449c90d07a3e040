"""The longest row of equal things that two rows have in common, in order (Wagner and Fischer 1974)."""

from __future__ import annotations

from collections.abc import Sequence


def common(one: Sequence[str], other: Sequence[str]) -> list[tuple[int, int]]:
    """Places of equal things in two rows, in order and as many as possible; of equal choices the earliest.

    What both rows begin and end with is taken first, so that rows with few differences take little time.

    >>> common("A B C D".split(), "A X C D D".split())
    [(0, 0), (2, 2), (3, 4)]
    """
    head = 0
    while head < min(len(one), len(other)) and one[head] == other[head]:
        head += 1
    tail = 0
    while tail < min(len(one), len(other)) - head and one[-1 - tail] == other[-1 - tail]:
        tail += 1
    middle = _middle(one[head : len(one) - tail], other[head : len(other) - tail])
    return [
        *((k, k) for k in range(head)),
        *((head + i, head + j) for i, j in middle),
        *((len(one) - k, len(other) - k) for k in range(tail, 0, -1)),
    ]


def _middle(one: Sequence[str], other: Sequence[str]) -> list[tuple[int, int]]:
    most = [[0] * (len(other) + 1) for _ in range(len(one) + 1)]
    for i in range(len(one) - 1, -1, -1):
        for j in range(len(other) - 1, -1, -1):
            best = most[i + 1][j + 1] + 1 if one[i] == other[j] else max(most[i + 1][j], most[i][j + 1])
            most[i][j] = best
    found = []
    i = j = 0
    while i < len(one) and j < len(other):
        if one[i] == other[j]:
            found.append((i, j))
            i, j = i + 1, j + 1
        elif most[i + 1][j] >= most[i][j + 1]:
            i += 1
        else:
            j += 1
    return found
