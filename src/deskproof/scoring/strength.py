"""How strong a chair sounds beside others, in whole numbers.

Two scales, called by name: ``rimsky`` is heard strength as Rimsky-Korsakov sets the groups beside each other,
``sound-power`` is what leaves the instrument, after Meyer. They answer different questions and are not to be mixed.
Both count in quarters of one woodwind player, so that halves (mezzo forte, a divided section) stay whole numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import log10
from typing import Any

from deskproof import facts, instruments
from deskproof.errors import DeskproofError
from deskproof.scoring.records import ACCENT, FIGURE, Chair

UNIT = 4
"""One woodwind player, on either scale."""
RIMSKY, POWER = SCALES = ("rimsky", "sound-power")
ATTACKS = (ACCENT, FIGURE)
"""Kinds of strand in which the beginning of a note tells, and not how it is held."""
P, MF, F, FF = LEVELS = ("p", "mf", "f", "ff")


class StrengthError(DeskproofError):
    """A scale of strength that is not known; the message names those that are."""


def level_of(dynamic: str) -> str:
    """Which of the four levels a dynamic is: p, mf, f or ff. Words behind it are passed over; "mf" if none is known.

    >>> level_of("pp"), level_of("p espr."), level_of("mp"), level_of("sfz"), level_of("")
    ('p', 'p', 'mf', 'f', 'mf')
    """
    levels = facts.get("scoring.levels").value
    return next((str(levels[word]) for word in dynamic.split() if word in levels), MF)


def kind_of(chair: Chair) -> str:
    """The kind of instrument of a chair, by which the tables call it: "clarinet" for all clarinets."""
    return instruments.by_id(chair.instrument).kind


def of_kind(table: Mapping[str, Any], chair: Chair) -> Any:
    """The row of a table that holds for a chair: its kind's, else its family's, else None."""
    return table.get(kind_of(chair), table.get(chair.family))


def is_plucked(chair: Chair) -> bool:
    """Whether the tone of a chair dies away: harp, keyboards, plucked strings, bars and bells."""
    return chair.family in facts.get("scoring.plucked_families").value


def strength_of(chair: Chair, dynamic: str, scale: str, kind: str) -> int:
    """How strong a chair is on a strand of a kind, undivided, in quarters of a woodwind player.

    What dies away counts for accents and figuration only (``roles.towards_attack``), and else not at all
    (``roles.towards_held_balance``). At mezzo piano and mezzo forte the figure lies half way between piano and forte.

    Raises
    ------
    StrengthError
        If there is no such scale.
    """
    if scale not in SCALES:
        raise StrengthError(f"no scale of strength is called {scale!r}; write one of {', '.join(SCALES)}.")
    if is_plucked(chair):
        return UNIT * int(facts.get(f"roles.towards_{'attack' if kind in ATTACKS else 'held_balance'}").value)
    level = level_of(dynamic)
    return _rimsky(chair, level) if scale == RIMSKY else _power(chair, level)


def attack_of(chair: Chair, dynamic: str, scale: str) -> int:
    """How strong a chair is at the beginning of a note, in quarters of a woodwind player."""
    return strength_of(chair, dynamic, scale, ACCENT)


def _rimsky(chair: Chair, level: str) -> int:
    soft, loud = _rimsky_at(chair, P), _rimsky_at(chair, F)
    if level == MF:
        part, whole = facts.get("scoring.between").value
        return UNIT * soft + UNIT * (loud - soft) * int(part) // int(whole)
    return UNIT * (soft if level == P else loud)


def _rimsky_at(chair: Chair, level: str) -> int:
    if chair.family == "timpani":
        return int(facts.get("scoring.rimsky_timpani").value[level])
    table = facts.get(f"scoring.rimsky_{'piano' if level == P else 'forte'}").value
    if chair.section:
        return int(table["section"])
    return int(of_kind(table, chair) or table["woodwind"])


def _power(chair: Chair, level: str) -> int:
    above = _decibels(chair, level) - _woodwind_decibels(level)
    return max(1, round(UNIT * 10 ** (above / 10)))


def _decibels(chair: Chair, level: str) -> float:
    """Sound power level of a chair; a section is as many equal players as sit in it as a rule."""
    tables = [facts.get(f"scoring.power_{end}").value for end in ("softest", "forte")]
    lowest, loud = (float(of_kind(table, chair) or table["woodwind"]) for table in tables)
    players = int(of_kind(facts.get("scoring.usual_section").value, chair)) if chair.section else 1
    return _at_level(lowest, loud, level) + 10 * log10(players)


@lru_cache(maxsize=len(LEVELS))
def _woodwind_decibels(level: str) -> float:
    kinds = facts.get("scoring.power_woodwind").value
    lowest, loud = (facts.get(f"scoring.power_{end}").value for end in ("softest", "forte"))
    return sum(_at_level(float(lowest[kind]), float(loud[kind]), level) for kind in kinds) / len(kinds)


def _at_level(lowest: float, loud: float, level: str) -> float:
    part, whole = facts.get("scoring.power_piano").value
    soft = lowest + (loud - lowest) * float(part) / float(whole)
    half, full = facts.get("scoring.between").value
    return {P: soft, MF: soft + (loud - soft) * float(half) / float(full)}.get(level, loud)
