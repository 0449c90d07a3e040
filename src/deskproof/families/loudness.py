"""How loud a part is marked at each of its places."""

from __future__ import annotations

from bisect import bisect_right

from deskproof.score import Part


class Loudness:
    """The dynamic in force at each place of a part, by its own signs and by hairpins not at all."""

    def __init__(self, part: Part) -> None:
        self.places: list[tuple[int, int]] = []
        self.signs: list[str] = []
        for measure in part.measures:
            if not measure.directions:
                continue
            dynamics = [sign for sign in measure.directions if sign.kind == "dynamics" and sign.value]
            for sign in sorted(dynamics, key=lambda d: d.start):
                self.places.append((measure.index, sign.start))
                self.signs.append(sign.value.split()[-1])

    def at(self, measure: int, start: int) -> str:
        """The last dynamic sign before or at a place, empty where none is."""
        k = bisect_right(self.places, (measure, start))
        return self.signs[k - 1] if k else ""
