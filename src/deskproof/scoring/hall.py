"""Who is in the room: the seats of the forces, and every instrument that each of them can take up."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from deskproof import facts, instruments, pitch
from deskproof import forces as forces_
from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.instruments import Instrument
from deskproof.scoring.records import Chair, Seat

STANDARD = "an orchestra with two of each woodwind, its brass, timpani, harp, one keyboard player and strings"
_FAMILIES = ("woodwind", "brass", "timpani", "pitched-percussion", "percussion", "harp", "keyboard", "voice", "strings")
"""Families in score order; any other family stands before the strings."""


class HallError(DeskproofError):
    """The forces cannot be scored for; the message says what is missing."""


@dataclass(frozen=True)
class Hall:
    """The seats in score order, and their chairs: every instrument that a seat can take up, compass included.

    ``text`` is the forces file's own text, which a plan keeps; ``standard`` where no forces were given.
    """

    forces: Forces
    text: str
    seats: tuple[Seat, ...]
    chairs: tuple[Chair, ...]
    standard: bool = False

    def chair(self, name: str) -> Chair | None:
        """The chair of this name, whatever its case; None if there is none."""
        return next((one for one in self.chairs if one.name.casefold() == name.strip().casefold()), None)

    def seat(self, name: str) -> Seat | None:
        """The seat of this name."""
        return next((one for one in self.seats if one.name == name), None)

    def named(self, word: str) -> tuple[Chair, ...]:
        """The chairs that a word of a plan means: a chair, a seat, an instrument, or a family such as "brass"."""
        plain = word.strip().casefold()
        own = self.chair(plain)
        if own is not None:
            return (own,)
        seat = tuple(one for one in self.chairs if one.seat.casefold() == plain)
        if seat:
            return seat
        family = tuple(one for one in self.chairs if plain in (one.family, f"{one.family}s"))
        if family:
            return family
        found = instruments.by_name(plain)
        return tuple(one for one in self.chairs if found is not None and one.instrument == found.id)


def standard_text() -> str:
    """The forces file of the orchestra that is meant where none is given."""
    return Path(__file__).with_name("orchestra.toml").read_text(encoding="utf-8")


def standard() -> Hall:
    """The hall where no forces are given."""
    text = standard_text()
    return hall_of(forces_.parse(text, "orchestra.toml"), text, is_standard=True)


def read(path: Path) -> Hall:
    """The hall of a forces file.

    Raises
    ------
    DeskproofError
        If it cannot be read, or names nobody who plays.
    """
    forces = forces_.read(path)
    return hall_of(forces, path.read_text(encoding="utf-8"), str(path))


def hall_of(forces: Forces, text: str, name: str = "forces", is_standard: bool = False) -> Hall:
    """The hall of some forces.

    Raises
    ------
    HallError
        If nobody is named who plays.
    """
    seats = _seats(forces)
    if not seats:
        raise HallError(
            f'{name}: names nobody who plays; write [players."flute 1"] with plays = ["flute"], or [sections] with '
            '"violin 1" = { desks = 6 }.'
        )
    ordered = sorted(seats, key=lambda seat: _place(instruments.by_id(seat.plays[0]), seat.name))
    return Hall(forces, text, tuple(ordered), tuple(_chairs(ordered, forces)), is_standard)


def _seats(forces: Forces) -> list[Seat]:
    found = [Seat(player.name, player.plays) for player in forces.players if player.plays]
    for name, players in forces.sections.items():
        one = instruments.by_name(name)
        if one is not None:
            found.append(Seat(name, (one.id,), True, players))
    sat = {id_ for seat in found for id_ in seat.plays}
    for id_, known in forces.instruments.items():
        if known.how_many and id_ not in sat:
            count, plain = known.how_many, instruments.by_id(id_).name
            found += [Seat(f"{plain} {i}" if count > 1 else plain, (id_,)) for i in range(1, count + 1)]
    return found


def _place(instrument: Instrument, name: str) -> tuple[int, int, int, str]:
    """Where a seat stands in the score."""
    table = [one.id for one in instruments.all_instruments()]
    rank = _FAMILIES.index(instrument.family) if instrument.family in _FAMILIES else len(_FAMILIES) - 2
    number = re.search(r"\d+", name)
    return rank, table.index(instrument.id), int(number[0]) if number else 0, name


def _chairs(seats: list[Seat], forces: Forces) -> list[Chair]:
    found: list[Chair] = []
    takers: dict[str, int] = {}
    for seat in seats:
        for id_ in seat.plays[1:]:
            takers[id_] = takers.get(id_, 0) + 1
    own = {seat.name.casefold() for seat in seats}
    for seat in seats:
        for k, id_ in enumerate(seat.plays):
            one = instruments.by_id(id_)
            name = seat.name
            if len(seat.plays) > 1 and (k or not named_for(seat.name, one)):
                alone = takers.get(id_, 0) + (not k) == 1 and one.name.casefold() not in own
                name = plain_name(one) if alone else f"{plain_name(one)} of {seat.name}"
            low, high = _compass(one, forces)
            found.append(Chair(name, seat.name, id_, one.family, low, high, len(found), seat.section))
    return found


def named_for(seat: str, instrument: Instrument) -> bool:
    """Whether a seat bears the name of an instrument: "flute 2" that of the flute, not of the piccolo."""
    found = instruments.by_name(seat)
    return found is not None and found.kind == instrument.kind


def plain_name(instrument: Instrument) -> str:
    """An instrument's plain name, without its key.

    >>> plain_name(instruments.by_id("bass-clarinet"))
    'bass clarinet'
    """
    return instrument.name.partition(" in ")[0]


def _compass(instrument: Instrument, forces: Forces) -> tuple[int, int]:
    """Lowest and highest sounding note: of the instrument in the room, else what an ordinary one has."""
    bounds = []
    for own, key in ((forces.lowest(instrument), "lowest"), (forces.highest(instrument), "highest")):
        fact = facts.find(f"{instrument.id}.{key}") or facts.find(f"{instrument.kind}.{key}")
        bounds.append(own if own is not None else pitch.midi(fact.value) if fact else (0, 127)[key == "highest"])
    return bounds[0], bounds[1]
