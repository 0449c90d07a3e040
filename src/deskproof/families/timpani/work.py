"""How much work is done on one part, counted in steps, so that every machine makes the same plan of it."""

from __future__ import annotations

__all__ = ["Work"]


class Work:
    """An allowance of steps that several searches draw on; to compare two tunings takes two of them.

    Examples
    --------
    >>> work = Work(10)
    >>> work.spend(4), work.over
    (True, False)
    >>> work.spend(7), work.over, work.done
    (False, True, 11)
    """

    __slots__ = ("allowed", "done")

    def __init__(self, allowed: int) -> None:
        self.allowed = allowed
        self.done = 0

    @property
    def over(self) -> bool:
        """Whether all that is allowed, and more, has been done."""
        return self.done > self.allowed

    def spend(self, steps: int) -> bool:
        """Count some steps; whether that was still allowed."""
        self.done += steps
        return self.done <= self.allowed
