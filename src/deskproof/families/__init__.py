"""The families of checks. A new family is one module here and one line in ``FAMILIES``."""

from __future__ import annotations

from deskproof.families.base import Carried, Context, Family, Help, Plan, Seam
from deskproof.families.harp import HARP
from deskproof.families.keyboard import KEYBOARD
from deskproof.families.manners import MANNERS
from deskproof.families.percussion import PERCUSSION
from deskproof.families.players import PLAYERS
from deskproof.families.timpani import TIMPANI
from deskproof.families.tutti import TUTTI
from deskproof.findings import Rule

FAMILIES: tuple[Family, ...] = (TUTTI, MANNERS, HARP, KEYBOARD, TIMPANI, PERCUSSION, PLAYERS)
PART_FAMILIES = tuple(family for family in FAMILIES if family.scope == "player")
SCORE_FAMILIES = tuple(family for family in FAMILIES if family.scope == "score")


def rules() -> tuple[Rule, ...]:
    """Every rule of every family."""
    return tuple(rule for family in FAMILIES for rule in family.rules)


__all__ = [
    "FAMILIES",
    "PART_FAMILIES",
    "SCORE_FAMILIES",
    "Carried",
    "Context",
    "Family",
    "Help",
    "Plan",
    "Seam",
    "rules",
]  # fmt: skip
