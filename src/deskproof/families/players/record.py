"""The records of a rota: stretches, players, changes, clashes, and what a plan is judged by."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from deskproof.errors import DeskproofError

Need = Callable[[str, str], tuple[int, int]]
"""Quickest and wished time (us) for a change from one instrument to another; asked of different instruments only."""


class RotaError(DeskproofError):
    """No rota can be made of what was given; the message names everything that is wrong."""


class Stretch(NamedTuple):
    """A time in which a printed line sounds on one instrument; whole microseconds, the end not included."""

    line: str
    instrument: str
    from_us: int
    to_us: int


class Player(NamedTuple):
    """A player by name: the instruments played, and the printed lines that are this player's by the page."""

    name: str
    plays: tuple[str, ...]
    lines: tuple[str, ...] = ()


class Change(NamedTuple):
    """One change of instrument: what there is between two stretches, what it needs at its quickest, what is wished."""

    before: Stretch
    after: Stretch
    free_us: int
    need_us: int
    wish_us: int


class Clash(NamedTuple):
    """What the players given cannot do.

    Two stretches of one player, the time short between them; or one stretch without players, whose instrument nobody
    plays: then all its time is short.
    """

    players: tuple[str, ...]
    stretches: tuple[Stretch, ...]
    short_us: int


class Objective(NamedTuple):
    """What a plan is judged by, compared left to right; less is better.

    ``split`` counts, for every printed line, its players beyond the first; ``away`` its players to whom it does not
    belong by the page, if it belongs to any; ``hurried`` the changes in less than the wished time, ``hurried_us`` the
    time that they lack to it; ``instruments`` the instruments of each player, added up; ``handed`` the stretches that
    do not stay with the line's owner, or, of a line without one, how often it passes to another player.
    """

    clashes: int = 0
    short_us: int = 0
    split: int = 0
    away: int = 0
    players: int = 0
    changes: int = 0
    hurried: int = 0
    hurried_us: int = 0
    instruments: int = 0
    handed: int = 0


class Duty(NamedTuple):
    """What one player does: stretches in order of time, and the changes of instrument between them."""

    player: str
    stretches: tuple[Stretch, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Rota:
    """Who plays what in one group.

    Attributes
    ----------
    duties : tuple of Duty
        The players who have something to play: named ones in the order given, others "1", "2", ... in the order of
        their first printed line.
    clashes : tuple of Clash
        In order of time; empty where the players suffice.
    objective : Objective
        What this plan costs.
    at_least : int
        Fewer players than this cannot play the stretches without a clash, even if lines are divided (least number of
        chains, Dilworth 1950; by matching, Fulkerson 1956).
    proven : bool
        No plan is better in clashes, shortfall, lines divided and number of players.
    finished : bool
        No plan is better in anything that the objective counts.
    """

    duties: tuple[Duty, ...]
    clashes: tuple[Clash, ...]
    objective: Objective
    at_least: int
    proven: bool
    finished: bool

    @property
    def players(self) -> int:
        """How many play."""
        return len(self.duties)

    @property
    def divided(self) -> tuple[str, ...]:
        """The printed lines that more than one player has, in alphabetical order."""
        seen: dict[str, set[str]] = {}
        for duty in self.duties:
            for stretch in duty.stretches:
                seen.setdefault(stretch.line, set()).add(duty.player)
        return tuple(sorted(line for line, players in seen.items() if len(players) > 1))


def stretches_of(
    onsets_ends: Iterable[tuple[int, int]], line: str, instrument: str, quickest_us: int
) -> tuple[Stretch, ...]:
    """The stretches of a line: its sounding times, cut at every rest longer than ``quickest_us``.

    Parameters
    ----------
    onsets_ends : iterable of (onset_us, end_us)
        The times in which something sounds, in any order; they may overlap.

    Raises
    ------
    RotaError
        If a time ends before it begins.

    Examples
    --------
    >>> [s[2:] for s in stretches_of([(0, 4), (9, 12), (5, 6), (13, 14)], "Flute 2", "piccolo", 2)]
    [(0, 6), (9, 14)]
    """
    found: list[tuple[int, int]] = []
    for onset_us, end_us in sorted(onsets_ends):
        if end_us < onset_us:
            raise RotaError(f"{line}: a note ends at {end_us} us, before it begins at {onset_us} us")
        if found and onset_us - found[-1][1] <= quickest_us:
            found[-1] = (found[-1][0], max(found[-1][1], end_us))
        else:
            found.append((onset_us, end_us))
    return tuple(Stretch(line, instrument, from_us, to_us) for from_us, to_us in found)
