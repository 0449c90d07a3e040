"""The plan of a whole score's players: a rota for each group, with the forces in the room or without."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from deskproof.families.base import Context, Plan
from deskproof.families.players.reading import KEYBOARDS, PERCUSSION, Group, group_of, groups_of, need_us
from deskproof.families.players.record import Player, Rota
from deskproof.families.players.rota import rota
from deskproof.instruments import by_id
from deskproof.spans import Span


@dataclass(frozen=True, slots=True)
class Cast:
    """One group and who plays it.

    ``rota`` is that of the players whom the forces name; where they name none, of the players as printed, one a line
    (at the keyboards one for all of them). ``least`` is the fewest players that could do it with every instrument of
    the group and time for every change, and ``proven`` whether no fewer can. ``named``: the forces name the players.
    """

    group: Group
    rota: Rota
    least: int
    proven: bool
    named: bool


@dataclass(frozen=True, slots=True)
class PlayersPlan(Plan):
    """Who plays what in a score."""

    casts: tuple[Cast, ...] = ()
    spans: tuple[Span, ...] = ()


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the players of a whole score; an empty plan where no group sounds."""
    casts = tuple(_cast(group, context) for group in groups_of(spans, context))
    return PlayersPlan("players", "", casts, tuple(spans)) if casts else Plan()


def _cast(group: Group, context: Context) -> Cast:
    need = partial(need_us, group=group.name, context=context)
    together = {name: set(group.instruments) for name in group.instruments}
    least = rota(group.stretches, need, doublings=together)
    players = players_in_room(group, context)
    if not players:
        printed = rota(group.stretches, need, players=as_printed(group))
        return Cast(group, printed, least.players, least.proven, False)
    named = rota(group.stretches, need, players=players)
    return Cast(group, named, least.players, least.proven, True)


def players_in_room(group: Group, context: Context) -> list[Player]:
    """The players of the forces who play something of a group, with the lines that bear their names."""
    found = []
    parts = context.score.parts
    for one in context.forces.players:
        if not any(group_of(by_id(name)) == group.name for name in one.plays):
            continue
        plays = tuple(name for name in group.instruments if _plays(one.plays, name))
        lines = tuple(line for line, i in group.parts.items() if parts[i].name.casefold() == one.name.casefold())
        found.append(Player(one.name, plays, lines))
    return found


def as_printed(group: Group) -> list[Player]:
    """A player for each printed line; at the keyboards as many as have parts for one and the same instrument."""
    if group.name != KEYBOARDS:
        return [Player(line, group.instruments, (line,)) for line in group.parts]
    kinds: dict[str, set[str]] = {}
    for stretch in group.stretches:
        kinds.setdefault(by_id(stretch.instrument).kind, set()).add(stretch.line)
    count = max(len(lines) for lines in kinds.values())
    return [Player(f"keyboard {k + 1}" if count > 1 else "keyboard", group.instruments) for k in range(count)]


def _plays(plays: Sequence[str], instrument: str) -> bool:
    """Whether who plays these plays an instrument: the same one at another pitch is everybody's."""
    whole = PERCUSSION in plays and group_of(by_id(instrument)) == PERCUSSION
    return whole or any(instrument == name or by_id(instrument).kind == by_id(name).kind for name in plays)
