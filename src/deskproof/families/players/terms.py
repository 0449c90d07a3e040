"""A group's stretches as numbers: their order in time, change times, who may play what, and the price of a plan.

Prices are kept as one whole number each, with a field for every entry of the objective, the first one highest: to add
and to compare them is then one step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from itertools import pairwise

from deskproof.families.players.record import Need, Objective, Player, RotaError, Stretch

_BITS = 64
_FIELDS = len(Objective._fields)


def packed(objective: Objective) -> int:
    """An objective as one number; greater exactly where the objective is worse."""
    value = 0
    for entry in objective:
        value = (value << _BITS) + entry
    return value


def unpacked(value: int) -> Objective:
    """The objective that a number stands for."""
    mask = (1 << _BITS) - 1
    return Objective(*((value >> _BITS * (_FIELDS - 1 - i)) & mask for i in range(_FIELDS)))


CLASH = packed(Objective(clashes=1))
SHORT = packed(Objective(short_us=1))
SPLIT = packed(Objective(split=1))
AWAY = packed(Objective(away=1))
PLAYER = packed(Objective(players=1))
CHANGE = packed(Objective(changes=1))
HURRIED = packed(Objective(hurried=1))
HURRIED_US = packed(Objective(hurried_us=1))
INSTRUMENT = packed(Objective(instruments=1))
HANDED = packed(Objective(handed=1))

Table = tuple[tuple[int, ...], ...]
Plan = tuple[int, ...]
"""The player of every stretch, by ordinal, stretches in order of time."""


def _closed(table: Table) -> Table:
    """The least time by way of any other instruments (Floyd 1962, Warshall 1962)."""
    best = [list(row) for row in table]
    every = range(len(best))
    for k in every:
        for i in every:
            for j in every:
                best[i][j] = min(best[i][j], best[i][k] + best[k][j])
    return tuple(map(tuple, best))


class Terms:
    """What is to be planned.

    Stretches are numbered by start, then end, then line, then instrument; lines in the order given, instruments in
    alphabetical order. With ``players`` None there are as many players as are wanted, all alike; ``friends`` then says
    which instruments one player may combine. Of ``alike`` players (the same number) it does not matter who is who.

    A player is always compared at the next stretch with the one before that ends last; where nothing overlaps that is
    simply the one before.
    """

    def __init__(
        self,
        stretches: Sequence[Stretch],
        need: Need,
        players: Sequence[Player] | None,
        doublings: Mapping[str, Set[str]] | None,
    ) -> None:
        self.line_names = tuple(dict.fromkeys(s.line for s in stretches))
        self.instrument_names = tuple(sorted({s.instrument for s in stretches}))
        line_of = {name: i for i, name in enumerate(self.line_names)}
        number = {name: i for i, name in enumerate(self.instrument_names)}
        order = sorted(stretches, key=lambda s: (s.from_us, s.to_us, line_of[s.line], s.instrument))
        self.stretches: tuple[Stretch, ...] = tuple(order)
        self.count = len(order)
        self.starts = tuple(s.from_us for s in order)
        self.ends = tuple(s.to_us for s in order)
        self.line = tuple(line_of[s.line] for s in order)
        self.instrument = tuple(number[s.instrument] for s in order)
        rows: list[list[int]] = [[] for _ in self.line_names]
        for i, k in enumerate(self.line):
            rows[k].append(i)
        self.lines = tuple(map(tuple, rows))
        self.quick, self.wish = self._times(need)
        self.closed_quick, self.closed_wish = _closed(self.quick), _closed(self.wish)
        self.metric = self.quick == self.closed_quick and self.wish == self.closed_wish
        self.horizon = max((max(row) for table in (self.quick, self.wish) for row in table), default=0)
        self.players = None if players is None else tuple(players)
        self.plays: tuple[int, ...] = ()
        self.owns: tuple[int, ...] = ()
        self.owners = [0] * len(self.lines)  # masks of players, by line
        self.alike: tuple[int, ...] = ()
        self.friends = self._friends(doublings)
        if players is not None:
            self.plays = tuple(sum(1 << number[name] for name in set(p.plays) if name in number) for p in players)
            self.owns = tuple(sum(1 << line_of[name] for name in set(p.lines) if name in line_of) for p in players)
            for p, owned in enumerate(self.owns):
                for k in range(len(self.lines)):
                    self.owners[k] |= (owned >> k & 1) << p
            kinds: dict[tuple[int, int], int] = {}
            self.alike = tuple(
                kinds.setdefault((self.plays[p], p + 1 if self.owns[p] else 0), p) for p in range(len(players))
            )

    def part(self, own: Sequence[int]) -> Terms:
        """The same with some of the stretches only, without names of players."""
        names = self.instrument_names
        table = {(a, b): (self.quick[i][j], self.wish[i][j]) for i, a in enumerate(names) for j, b in enumerate(names)}
        friends = {a: frozenset(names[j] for j in bits(self.friends[i])) for i, a in enumerate(names)}
        return Terms([self.stretches[i] for i in own], lambda a, b: table[a, b], None, friends)

    def _times(self, need: Need) -> tuple[Table, Table]:
        quick, wish, wrong = [], [], []
        for a in self.instrument_names:
            row = []
            for b in self.instrument_names:
                pair = (0, 0) if a == b else need(a, b)
                if min(pair) < 0:
                    wrong.append(f"the change from {a} to {b} takes {pair[0]} us and wishes for {pair[1]} us")
                row.append(pair)
            quick.append(tuple(q for q, _ in row))
            wish.append(tuple(w for _, w in row))
        if wrong:
            raise RotaError("; ".join(wrong) + ". Expected: times of 0 us or more.")
        return tuple(quick), tuple(wish)

    def _friends(self, doublings: Mapping[str, Set[str]] | None) -> tuple[int, ...]:
        names = self.instrument_names
        if doublings is None or self.players is not None:
            return ((1 << len(names)) - 1,) * len(names)
        return tuple(
            sum(
                1 << j
                for j, b in enumerate(names)
                if a == b or b in doublings.get(a, frozenset()) or a in doublings.get(b, frozenset())
            )
            for a in names
        )

    def may(self, player: int, had: int, instrument: int) -> bool:
        """Whether a player who has played the instruments ``had`` (a mask) may play this one too."""
        if self.players is None:
            return not had & ~self.friends[instrument]
        return bool(self.plays[player] >> instrument & 1)

    def may_all(self, player: int, mask: int) -> bool:
        """Whether a player may play all these instruments."""
        if self.players is None:
            return all(not mask & ~self.friends[i] for i in bits(mask))
        return not mask & ~self.plays[player]

    def step(self, before: int, end_us: int, after: int, start_us: int) -> int:
        """The price of going from an instrument held until a time to another (or the same) at a time."""
        free = start_us - end_us
        if before == after:
            return 0 if free >= 0 else CLASH - free * SHORT
        value = CHANGE
        short = self.quick[before][after] - free
        if short > 0:
            value += CLASH + short * SHORT
        hurry = self.wish[before][after] - free
        if hurry > 0:
            value += HURRIED + hurry * HURRIED_US
        return value

    def pairs(self, own: Sequence[int]) -> list[tuple[int, int]]:
        """The stretches of one player, each with the one before it that ends last."""
        found = []
        held = own[0] if own else 0
        for i in own[1:]:
            found.append((held, i))
            if self.ends[i] >= self.ends[held]:
                held = i
        return found

    def duty(self, own: Sequence[int]) -> int:
        """What one player's stretches cost: the player, the instruments and every step from one to the next."""
        if not own:
            return 0
        starts, ends, instruments = self.starts, self.ends, self.instrument
        clashes = short_us = changes = hurried = hurried_us = 0
        held = instruments[own[0]]
        until = ends[own[0]]
        quick, wish = self.quick[held], self.wish[held]
        had = {held}
        for i in own[1:]:
            instrument = instruments[i]
            free = starts[i] - until
            if instrument != held:
                changes += 1
                had.add(instrument)
                if free < wish[instrument]:
                    hurried += 1
                    hurried_us += wish[instrument] - free
            if free < quick[instrument]:
                clashes += 1
                short_us += quick[instrument] - free
            if ends[i] >= until:
                until = ends[i]
                if instrument != held:
                    held = instrument
                    quick, wish = self.quick[held], self.wish[held]
        value = PLAYER + INSTRUMENT * len(had) + CHANGE * changes + HURRIED * hurried + HURRIED_US * hurried_us
        return value + CLASH * clashes + SHORT * short_us if clashes else value

    def of_player(self, plan: Plan) -> dict[int, list[int]]:
        """The stretches of every player who plays."""
        found: dict[int, list[int]] = {p: [] for p in dict.fromkeys(plan)}
        for i, p in enumerate(plan):
            found[p].append(i)
        return found

    def price(self, plan: Plan) -> int:
        """What a whole plan costs."""
        value = 0
        for own in self.of_player(plan).values():
            value += self.duty(own)
        for k, row in enumerate(self.lines):
            players = [plan[i] for i in row]
            value += self.of_line(self.owners[k], players) - SPLIT
        return value

    def of_line(self, owners: int, players: Sequence[int]) -> int:
        """What the players of a line's stretches, in order of time, cost; one division for each player."""
        its = set(players)
        if not owners and len(its) == 1:
            return SPLIT
        value = SPLIT * len(its)
        if owners:
            others = [p for p in its if not owners >> p & 1]
            return value + AWAY * len(others) + HANDED * sum(map(players.count, others))
        return value + HANDED * sum(p != q for p, q in pairwise(players))

    def canonical(self, plan: Plan) -> Plan:
        """The same plan with players who are alike numbered as they come in."""
        if self.players is None:
            seen: dict[int, int] = {}
            return tuple(seen.setdefault(p, len(seen)) for p in plan)
        members: dict[int, list[int]] = {}
        for p, kind in enumerate(self.alike):
            members.setdefault(kind, []).append(p)
        queues = {kind: iter(row) for kind, row in members.items()}
        names: dict[int, int] = {}
        for p in plan:
            if p not in names:
                names[p] = next(queues[self.alike[p]])
        return tuple(names[p] for p in plan)


def bits(mask: int) -> list[int]:
    """The numbers in a mask, upwards."""
    return [i for i in range(mask.bit_length()) if mask >> i & 1]
