"""Why nothing was done to a plan, and where on its page that is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from deskproof.errors import DeskproofError


class StalePlan(DeskproofError):
    """The plan or its sketch has been changed on the disk since the page was shown; nothing was done."""


@dataclass(frozen=True)
class Wrong:
    """What is told of a passage (ordinal), in words; ``row`` and ``key`` name the field, if it is one."""

    passage: int
    words: str
    row: str = ""
    key: str = ""


class TypedError(DeskproofError):
    """What was typed cannot be read or kept, and nothing was changed; ``wrong`` tells for each passage why."""

    def __init__(self, wrong: Sequence[Wrong]) -> None:
        super().__init__("\n".join(one.words for one in wrong))
        self.wrong = tuple(wrong)
