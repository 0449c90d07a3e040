"""Whom a word of a plan means: chairs of the hall by their names, and by the short forms of the trade."""

from __future__ import annotations

import difflib
import re
from typing import NamedTuple

from deskproof import instruments
from deskproof.instrument_names import tokens_of
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import Chair

_NUMBERED = re.compile(
    r"(?P<name>\D*?[^\d\s.,])(?:[\s.]*(?P<numbers>\d+(?:\s*(?:,|\+|&|/|and)\s*\d+)*)|[\s.]+(?P<roman>[IV]+))\.?"
)
_ROMAN = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5, "VI": 6}

_MOST_NAMES = 8  # more are not listed in a message


class Meant(NamedTuple):
    """The chairs that a word means, or none and what is wrong with the word."""

    chairs: tuple[Chair, ...]
    wrong: str = ""


def players_meant(word: str, hall: Hall) -> Meant:
    """Who plays, one chair a player: "oboe 1", "ob 1", "Vn. II", "horns" (all of them), "brass" (all of it).

    A player who changes instruments must be called by one of them; a family's players keep their usual one.
    """
    own = hall.chair(word)
    if own is not None:
        return Meant((own,))
    usual: dict[str, Chair] = {}
    for chair in _by_family(word, hall):
        usual.setdefault(chair.seat, chair)
    return _by_seat(word, hall) or _first_that_is(Meant(tuple(usual.values())), word, hall)


def all_meant(word: str, hall: Hall) -> Meant:
    """All chairs that a word covers, every instrument of a player and of a family included."""
    own = hall.chair(word)
    if own is not None:
        return Meant((own,))
    plain = word.strip().casefold()
    seat = tuple(one for one in hall.chairs if one.seat.casefold() == plain)
    return _first_that_is(Meant(seat or _by_family(word, hall)), word, hall)


def _first_that_is(found: Meant, word: str, hall: Hall) -> Meant:
    """What was found, if anything; else the instrument that the word names; else what is wrong with it."""
    if found.chairs:
        return found
    return _by_instrument(word, hall) or Meant((), f"nobody here is called {word!r}{_did_you_mean(word, hall)}")


def _by_seat(word: str, hall: Hall) -> Meant | None:
    plain = word.strip().casefold()
    chairs = tuple(one for one in hall.chairs if one.seat.casefold() == plain)
    if len(chairs) > 1:
        names = ", ".join(one.name for one in chairs)
        return Meant((), f"{word!r} changes instruments; write which one: {names}.")
    return Meant(chairs) if chairs else None


def _by_family(word: str, hall: Hall) -> tuple[Chair, ...]:
    plain = word.strip().casefold()
    return tuple(one for one in hall.chairs if plain in (one.family, f"{one.family}s"))


def _by_instrument(word: str, hall: Hall) -> Meant | None:
    """The chairs of the instrument that a word names with nothing but a number beside it; None if it names none."""
    numbered = _NUMBERED.fullmatch(word.strip())
    ids = _named(numbered["name"] if numbered else word)
    if not ids:
        return None
    chairs = next((found for id_ in ids if (found := _on(id_, hall))), ())
    if not chairs:
        return Meant((), f"there is no {instruments.by_id(ids[0]).name} among these forces{_did_you_mean(word, hall)}")
    if not numbered:
        return Meant(chairs)
    roman = numbered["roman"]
    numbers = [_ROMAN.get(roman, 0)] if roman else [int(one) for one in re.findall(r"\d+", numbered["numbers"])]
    found = tuple(one for number in numbers for one in [_numbered(chairs, number)] if one is not None)
    if len(found) < len(numbers):
        names = ", ".join(one.name for one in chairs)
        return Meant((), f"no {word!r} among these forces; they have {names}.")
    return Meant(found)


def _named(name: str) -> tuple[str, ...]:
    """The ids that a name may mean, the usual one first; none where another word or a number stands beside it."""
    reading = instruments._read_name(name)
    if len(reading.hits) != 1 or re.search(r"\d", name):
        return ()
    in_keys = sum(key.end - key.start for key in reading.keys)
    if len(tokens_of(name)) != len(reading.hits[0].word.split()) + in_keys:
        return ()
    return reading.hits[0].ids


def _on(instrument: str, hall: Hall) -> tuple[Chair, ...]:
    kind = instruments.by_id(instrument).kind
    return tuple(one for one in hall.chairs if instruments.by_id(one.instrument).kind == kind)


def _numbered(chairs: tuple[Chair, ...], number: int) -> Chair | None:
    """The chair with this number in its name; where none has numbers, the chair at this place."""
    if any(re.search(r"\d", one.name) for one in chairs):
        return next((one for one in chairs if str(number) in re.findall(r"\d+", one.name)), None)
    return chairs[number - 1] if 0 < number <= len(chairs) else None


def _did_you_mean(word: str, hall: Hall) -> str:
    """The end of a message: the names that look most like the word, else a few that are known."""
    names = [one.name for one in hall.chairs]
    families = sorted({one.family for one in hall.chairs})
    near = difflib.get_close_matches(word.strip().casefold(), [*names, *families], 2, 0.5)
    if near:
        return f"; did you mean {' or '.join(repr(one) for one in near)}?"
    known = names if len(names) <= _MOST_NAMES else [*names[: _MOST_NAMES - 1], "...", names[-1]]
    return f"; the forces have {', '.join(known)}."
