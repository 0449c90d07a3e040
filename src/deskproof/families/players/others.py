"""Who else could take a stretch: the players who have the instrument, and the time for it in their own duties.

A help in a clash. Nothing else of the rota is moved, so that what is said here can be done as it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from deskproof.families.players.record import Duty, Need, Player, Rota, Stretch


class Taker(NamedTuple):
    """A player who could take a stretch.

    ``before_us`` is the time from the end of what this player has before it, ``after_us`` that to what comes next; None
    where there is nothing. ``spare_us`` is what is left of the tighter of the two when the quickest change is made;
    None where the player has nothing before it and nothing after.
    """

    player: str
    before_us: int | None
    after_us: int | None
    spare_us: int | None


def takers(rota: Rota, players: Sequence[Player], stretch: Stretch, need: Need) -> list[Taker]:
    """The other players who could take one stretch and leave their own duties as they are.

    Each plays the instrument and has the quickest time of change before the stretch and after it. As everywhere in a
    rota, what comes before is the one that ends last; of stretches with the same times this one counts as the last.

    Parameters
    ----------
    rota : Rota
        Who plays what.
    players : sequence of Player
        The players with names, those too who have nothing to play in the rota.
    stretch : Stretch
        What is to be taken. Whoever has it in the rota is not among the others.
    need : callable(str, str) -> (int, int)
        Quickest and wished time (us) for a change from one instrument to another; only the first counts here.

    Returns
    -------
    list of Taker
        Most time to spare first, before all who has nothing else; of equals, in the order of the players given.

    Examples
    --------
    >>> from deskproof.families.players.record import Objective
    >>> late = Stretch("Celesta", "celesta", 12, 20)
    >>> duties = (Duty("Clara", (Stretch("Piano", "piano", 0, 10), late), ()), Duty("Robert", (), ()))
    >>> robert = Player("Robert", ("piano", "celesta"))
    >>> takers(Rota(duties, (), Objective(), 2, True, True), [robert], late, lambda a, b: (5, 10))
    [Taker(player='Robert', before_us=None, after_us=None, spare_us=None)]
    """
    duties = {duty.player: duty for duty in rota.duties}
    found = []
    for player in players:
        own = duties.get(player.name, Duty(player.name, (), ()))
        if stretch.instrument in player.plays and stretch not in own.stretches:
            taker = _taker(own, stretch, need)
            if taker.spare_us is None or taker.spare_us >= 0:
                found.append(taker)
    return sorted(found, key=lambda one: (one.spare_us is not None, -(one.spare_us or 0)))


def _taker(duty: Duty, stretch: Stretch, need: Need) -> Taker:
    """A player with the times that there are; what is to spare is negative where they are too short."""
    earlier = [one for one in duty.stretches if one[2:] <= stretch[2:]]
    later = [one for one in duty.stretches if one[2:] > stretch[2:]]
    before_us = after_us = None
    spare = []
    if earlier:
        last = max(reversed(earlier), key=lambda one: one.to_us)
        before_us = stretch.from_us - last.to_us
        spare.append(before_us - _quickest(last, stretch, need))
    if later:
        after_us = later[0].from_us - stretch.to_us
        spare.append(after_us - _quickest(stretch, later[0], need))
    return Taker(duty.player, before_us, after_us, min(spare, default=None))


def _quickest(a: Stretch, b: Stretch, need: Need) -> int:
    return 0 if a.instrument == b.instrument else need(a.instrument, b.instrument)[0]
