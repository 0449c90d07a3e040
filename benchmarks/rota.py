"""How long it takes to say who plays what: ``python benchmarks/rota.py``.

An orchestra of 60 lines over 2,000 bars of four at 120, made from a seed: woodwind, brass, keyboards and percussion
change instruments, strings do not. Every group is asked for its least number of players and then planned with named
players. Best of three rounds, stretches given, imports done. Times of change are made up for the occasion. The work is
what the search counts, a step for each stretch given to a player: the same on every machine.
"""

from __future__ import annotations

import random
import time
from typing import NamedTuple
from unittest import mock

from deskproof.families.players.lines import Work
from deskproof.families.players.record import Player, Rota, Stretch
from deskproof.families.players.rota import WORK, ranked

SEED = 1
BARS = 2_000
BAR_US = 2_000_000
GOAL_S = 1.0
ROUNDS = 3


class Group(NamedTuple):
    """Lines of one group: their instruments, how many bars a stretch and a rest last, how many players are given."""

    name: str
    instruments: tuple[str, ...]
    lines: int
    sounds: tuple[int, int]
    rests: tuple[int, int]
    players: int


GROUPS = (
    Group("flutes", ("flute", "piccolo", "alto flute"), 4, (2, 16), (1, 24), 4),
    Group("oboes", ("oboe", "english horn"), 4, (2, 16), (1, 24), 4),
    Group("clarinets", ("clarinet", "bass clarinet", "clarinet in E flat"), 4, (2, 16), (1, 24), 4),
    Group("bassoons", ("bassoon", "contrabassoon"), 4, (2, 16), (1, 24), 4),
    Group("horns", ("horn",), 6, (2, 16), (1, 24), 6),
    Group("trumpets", ("trumpet", "flugelhorn"), 4, (2, 12), (4, 40), 4),
    Group("trombones", ("trombone",), 4, (2, 12), (4, 40), 4),
    Group("keyboards", ("piano", "celesta", "organ"), 4, (2, 16), (16, 80), 2),
    Group("percussion", ("cymbals", "bass drum", "triangle", "tam-tam", "glockenspiel"), 20, (1, 4), (40, 160), 5),
    Group("strings", ("violin",), 6, (8, 60), (1, 4), 6),
)


def stretches(group: Group) -> list[Stretch]:
    """Two thousand bars of a group; each percussion line has its instrument, other lines change now and then."""
    dice = random.Random(f"{SEED} {group.name}")
    made = []
    for n in range(group.lines):
        line = f"{group.name} {n + 1}"
        instrument = group.instruments[n % len(group.instruments)]
        bar = dice.randint(*group.rests) - 1
        while bar < BARS:
            end = min(BARS, bar + dice.randint(*group.sounds))
            made.append(Stretch(line, instrument, bar * BAR_US, end * BAR_US))
            rest = dice.randint(*group.rests)
            bar = end + rest
            if group.name != "percussion" and rest * BAR_US > 10_000_000 and dice.random() < 0.2:
                instrument = dice.choice(group.instruments)
    return made


def need(before: str, after: str) -> tuple[int, int]:
    """Made up: five and ten seconds."""
    return 5_000_000, 10_000_000


def said(rota: Rota) -> str:
    """One rota in a few words."""
    o = rota.objective
    proof = "finished" if rota.finished else "proven" if rota.proven else "not proven"
    counts = f"{o.clashes} clashes, {o.split} split, {o.changes} changes"
    return f"{o.players} players (at least {rota.at_least}), {counts}, {proof}"


def steps(part: list[Stretch], players: list[Player] | None) -> int:
    """The work that one question takes; what lines that must be divided take comes on top and is not counted."""
    made: list[Work] = []

    def keep(left: int) -> Work:
        made.append(Work(left))
        return made[-1]

    with mock.patch("deskproof.families.players.rota.Work", keep):
        ranked(part, need, players=players, most=1)
    return WORK - made[0].left


def main() -> None:
    """All groups, one line each, and the sum."""
    total = 0.0
    lines = 0
    for group in GROUPS:
        part = stretches(group)
        lines += group.lines
        players = [
            Player(f"{group.name} {n + 1}", group.instruments, (f"{group.name} {n + 1}",)) for n in range(group.players)
        ]
        if group.name == "percussion":
            players = [player._replace(lines=()) for player in players]
        for name, given in (("free", None), ("named", players)):
            best = float("inf")
            for _ in range(ROUNDS):
                start = time.perf_counter()
                found = ranked(part, need, players=given, most=1)
                best = min(best, time.perf_counter() - start)
            total += best if name == "named" else 0
            what = f"{group.name}, {len(part)} stretches, {name}"
            print(f"{what}: {best:.3f} s; {steps(part, given)} steps; {said(found[0])}", flush=True)
            if name == "free":
                free = best
        total += free
    print(f"{lines} lines of {BARS} bars, both questions: {total:.3f} s (goal {GOAL_S:g} s)")


if __name__ == "__main__":
    main()
