"""The plan of a whole score's players: a rota for each group, with the forces in the room or without."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

from deskproof.families.base import Context, Plan
from deskproof.families.players.reading import (
    KEYBOARDS,
    PERCUSSION,
    Group,
    by_group,
    group_of,
    groups_of,
    need_us,
    read_group,
)
from deskproof.families.players.record import Duty, Need, Objective, Player, Rota
from deskproof.families.players.rota import ALTERNATIVES, ranked, rota
from deskproof.instruments import by_id
from deskproof.spans import Span


@dataclass(frozen=True)
class Cast:
    """One group and who plays it.

    ``rota`` is that of the players whom the forces name; where they name none, of the players as printed, one a line
    (at the keyboards one for all of them). ``named``: the forces name the players. ``players``
    are those that were planned; none where everybody keeps to one line and one instrument.
    """

    group: Group
    rota: Rota
    named: bool
    need: Need
    players: tuple[Player, ...] = ()

    @cached_property
    def fewest(self) -> Rota:
        """A rota with the fewest players that have time for every change, each with all instruments of the group."""
        together = {name: set(self.group.instruments) for name in self.group.instruments}
        return rota(self.group.stretches, self.need, doublings=together)

    @cached_property
    def others(self) -> tuple[Rota, ...]:
        """The next best rotas of the players whom the forces name, best first."""
        if not self.named:
            return ()
        found = ranked(self.group.stretches, self.need, players=self.players)
        return tuple(one for one in found if one.duties != self.rota.duties)[: ALTERNATIVES - 1]

    @property
    def least(self) -> int:
        """How many players that are."""
        return self.fewest.players

    @property
    def proven(self) -> bool:
        """Whether no fewer can do it."""
        return self.fewest.proven


@dataclass(frozen=True, slots=True)
class PlayersPlan(Plan):
    """Who plays what in a score."""

    casts: tuple[Cast, ...] = ()
    spans: tuple[Span, ...] = ()


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the players of a whole score; an empty plan where no group sounds."""
    casts = tuple(_cast(group, context) for group in groups_of(spans, context))
    return PlayersPlan("players", "", casts, tuple(spans)) if casts else Plan()


def replan(before: Plan, spans: Sequence[Span], context: Context) -> Plan | None:
    """The plan of a score some spans of which have changed: a group whose spans are the same ones keeps its rota."""
    if not isinstance(before, PlayersPlan):
        return None
    known = {cast.group.name: cast for cast in before.casts}
    was = by_group(before.spans)
    casts = []
    for name, rows in by_group(spans).items():
        if len(rows) == len(was[name]) and all(one is other for one, other in zip(rows, was[name], strict=True)):
            if name in known:
                casts.append(known[name])
        elif (group := read_group(name, rows, context)) is not None:
            casts.append(_cast(group, context))
    return PlayersPlan("players", "", tuple(casts), tuple(spans)) if casts else Plan()


def _cast(group: Group, context: Context) -> Cast:
    need = partial(need_us, group=group.name, context=context)
    players = players_in_room(group, context)
    if players:
        return Cast(group, rota(group.stretches, need, players=players), True, need, tuple(players))
    players = as_printed(group)
    if group.name != KEYBOARDS and all(len(_instruments(group, line)) == 1 for line in group.parts):
        return Cast(group, each_its_own(group), False, need)
    return Cast(group, rota(group.stretches, need, players=players), False, need, tuple(players))


def _instruments(group: Group, line: str) -> set[str]:
    return {stretch.instrument for stretch in group.stretches if stretch.line == line}


def each_its_own(group: Group) -> Rota:
    """Everybody plays one printed line, whatever it asks for."""
    duties = tuple(
        Duty(line, tuple(stretch for stretch in group.stretches if stretch.line == line), ()) for line in group.parts
    )
    return Rota(duties, (), Objective(players=len(duties), instruments=len(duties)), 0, False, True)


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
