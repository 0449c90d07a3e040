"""What a foot can have done by now: states of one foot, interned and with remembered transitions.

A state, taken right after an onset, knows for every letter until when its notes hold it, and which sets of moves the
foot can have completed by now beside those already needed: for a set S, whether some schedule has made one move of
every letter of S, the new position being settled only when the letter is next used. ``under`` are sets that will be
complete when the move under way ends. Where quick moves are allowed there is one such table for every number of
them. Times are relative to the onset.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from deskproof.families.harp.passage import Use

_MANY = 400_000  # remembered transitions; beyond, they are forgotten and found again

Under = tuple[tuple[int, int, int], ...]  # (set, letter that moves last, end of that move)


Over = tuple[int, int, int]  # the state after an onset (-1: it does not go), where the letters stand, how many changed
_NONE: tuple[Under, ...] = ((),)
_NEW = tuple.__new__  # a named tuple's own constructor takes twice the time


class FootState(NamedTuple):
    """One foot right after an onset, or right before one: see the module."""

    holds: tuple[int, ...]  # by letter, until when it is held
    done: tuple[int, ...]  # by number of quick moves: bit S is set where the moves of S can be complete by now
    under: tuple[Under, ...]  # by number of quick moves


_LOW = 0b01010101  # the low bit of every letter
_LETTERS = tuple(sum(1 << i for i in range(4) if row >> 2 * i & 1) for row in range(256))  # bits 0 2 4 6 as 0 1 2 3


def taking(code: int, use: Use) -> tuple[int, int]:
    """The letters of a foot that must have moved for this use, and where the letters stand after it.

    >>> taking(0b11_01_00, Use(0b101, 0b10_00_10, (0, 0)))  # the third is free, the first moves
    (1, 38)
    """
    apart = (code ^ use.code) & use.place
    return _LETTERS[(apart | apart >> 1) & _LOW & ~(code & code >> 1)], code & ~use.place | use.code


@lru_cache(maxsize=4)
def _holding(letters: int) -> tuple[tuple[int, ...], ...]:
    """By letters used and letters changed among them: the sets that hold just the changed ones of the used."""
    sets = range(1 << letters)
    return tuple(
        tuple(sum(1 << s for s in sets if s & used == changed) if not changed & ~used else 0 for changed in sets)
        for used in sets
    )


@lru_cache(maxsize=1 << 16)
def _sets_of(row: int) -> tuple[int, ...]:
    """The sets whose bits are set."""
    return tuple(s for s in range(row.bit_length()) if row >> s & 1)


class Foot:
    """The states of one foot with given times, as small numbers.

    ``advance`` leads from the state after an onset to the one before the next, ``use`` over an onset, ``ahead`` does
    both; -1 says that it does not go.
    """

    def __init__(self, letters: int, comfortable_us: int, quickest_us: int) -> None:
        self.letters = letters
        self.sets = 1 << letters
        self.times = ((comfortable_us, 0), (quickest_us, 1))
        self.states: list[FootState] = []
        self.able: list[int] = []  # by state: the sets that can be complete, with all quick moves that are allowed
        self.room: list[int] = []  # by state: a rough figure of how free the foot is; more is freer
        self.quick: list[int] = []  # by state: the fewest quick moves with which it is reached
        self._numbers: dict[FootState, int] = {}
        self._advanced: dict[tuple[int, int], FootState] = {}
        self._ahead: dict[tuple[int, int, int, tuple[Use, ...]], tuple[Over, ...]] = {}
        self._better: dict[tuple[int, int, int], bool] = {}
        self.full = (1 << self.sets) - 1  # all sets done
        self._holding = _holding(letters)
        self.idle = self.keep(FootState((0,) * letters, (1,), ((),)))

    def keep(self, state: FootState) -> int:
        """The number of a state."""
        found = self._numbers.get(state)
        if found is None:
            holds, done, _ = state
            found = self._numbers[state] = len(self.states)
            self.states.append(state)
            self.able.append(done[-1])
            self.quick.append(0 if len(done) == 1 else _fewest(state))
            free = done[0].bit_count() if len(done) == 1 else sum([row.bit_count() for row in done])
            self.room.append(free + holds.count(0))
        return found

    def advance(self, state: int, gap_us: int) -> int:
        """The state right before the next onset, so much later."""
        return self.keep(self._before(state, gap_us))

    def _before(self, state: int, gap_us: int) -> FootState:
        key = (state, gap_us)
        found = self._advanced.get(key)
        if found is None:
            if len(self._advanced) > _MANY:
                self._advanced.clear()
            found = self._advanced[key] = self._advance(self.states[state], gap_us)
        return found

    def _advance(self, state: FootState, gap: int) -> FootState:
        holds = state.holds
        after = tuple([h - gap if h > gap else 0 for h in holds])
        if state.done[0] and (
            state.done[0] == self.full or max(holds) + self.letters * self.times[0][0] <= gap
        ):  # with time for all moves one after the other; more quick moves only help
            cells = len(state.done)
            return FootState(after, (self.full,) * cells, ((),) * cells)
        if len(state.done) > 1:
            return self._advance_cells(state, gap, after)
        done = now = state.done[0]
        length = self.times[0][0]
        moves = [(1 << b, b, held) for b, held in enumerate(holds) if held < gap]
        late: dict[tuple[int, int], int] = {}
        if length >= gap:  # whatever begins now ends no sooner than the gap
            begin = [(s, 0) for s in _sets_of(done)]
            for s, b, end in state.under[0]:
                if end > gap:
                    late[s, b] = end
                else:
                    now |= 1 << s
                    begin.append((s, end))
            for s, free in begin:
                for bit, b, held in moves:
                    if s & bit or done >> (s | bit) & 1:
                        continue
                    end = (free if free > held else held) + length
                    key = (s | bit, b)
                    if end == gap:
                        now |= 1 << key[0]
                    elif free < gap and (key not in late or end < late[key]):
                        late[key] = end
        else:
            never = gap + 1
            values = [0 if done >> s & 1 else never for s in range(self.sets)]
            for s, b, end in state.under[0]:
                if end > gap:
                    late[s, b] = end
                elif end < values[s]:
                    values[s] = end
                    now |= 1 << s
            for s, free in enumerate(values):
                if free >= gap:
                    continue
                for bit, b, held in moves:
                    joined = s | bit
                    if s & bit or done >> joined & 1:
                        continue
                    end = (free if free > held else held) + length
                    if end > gap:
                        if end < late.get((joined, b), end + 1):
                            late[joined, b] = end
                    elif end < values[joined]:
                        values[joined] = end
                        now |= 1 << joined
        under = sorted([(s, b, end - gap) for (s, b), end in late.items() if not now >> s & 1]) if late else ()
        return _NEW(FootState, (after, (now,), (tuple(under),)))

    def _advance_cells(self, state: FootState, gap: int, after: tuple[int, ...]) -> FootState:
        """As ``_advance``, where quick moves are allowed."""
        cells = len(state.done)
        never = gap + 1
        values, under = [], []
        for done, moving in zip(state.done, state.under, strict=True):
            row = [0 if done >> s & 1 else never for s in range(self.sets)]
            late: dict[tuple[int, int], int] = {}
            for s, b, end in moving:
                if end > gap:
                    late[s, b] = end
                elif end < row[s]:
                    row[s] = end
            values.append(row)
            under.append(late)
        times = self.times
        moves = [(1 << b, b, held) for b, held in enumerate(state.holds) if held < gap]
        for s in range(self.sets):
            for q in range(cells):
                free = values[q][s]
                if free >= gap:
                    continue
                for bit, b, held in moves:
                    joined = s | bit
                    if s & bit or not values[q][joined]:
                        continue
                    start = free if free > held else held
                    for length, more in times:
                        if q + more >= cells:
                            continue
                        end = start + length
                        if end > gap:
                            if end < under[q + more].get((joined, b), end + 1):
                                under[q + more][joined, b] = end
                        else:
                            for cell in range(q + more, cells):  # what goes with fewer quick moves goes with more
                                if end < values[cell][joined]:
                                    values[cell][joined] = end
        done_now = tuple([sum([1 << s for s, value in enumerate(row) if value <= gap]) for row in values])
        rows: list[Under] = []
        for q in range(cells):
            if q:
                for key, end in under[q - 1].items():
                    if end < under[q].get(key, end + 1):
                        under[q][key] = end
            rows.append(
                tuple(sorted([(s, b, end - gap) for (s, b), end in under[q].items() if not done_now[q] >> s & 1]))
            )
        return FootState(after, done_now, tuple(rows))

    def ahead(self, state: int, code: int, gap_us: int, uses: tuple[Use, ...]) -> tuple[Over, ...]:
        """From after one onset, letters standing as ``code``, over the next, for every use that it can be taken with.

        Without a gap the state is the one right before the onset.
        """
        key = (state, code, gap_us, uses)
        found = self._ahead.get(key)
        if found is None:
            if len(self._ahead) > _MANY:
                self._ahead.clear()
            before = self._before(state, gap_us) if gap_us else self.states[state]
            rows = []
            for use in uses:
                changed, after = taking(code, use)
                rows.append((self._use(before, changed, use), after, changed.bit_count()))
            found = self._ahead[key] = tuple(rows)
        return found

    def use(self, state: int, changed: int, use: Use) -> int:
        """The state after an onset that uses letters, of which ``changed`` must have moved; -1 if they cannot."""
        return self._use(self.states[state], changed, use)

    def _use(self, state: FootState, changed: int, use: Use) -> int:
        holds, rows, moving = state
        used = use.used
        mask = self._holding[used][changed]
        # a set that holds the changed letters and no other used one, without them: its number less theirs
        if len(rows) == 1:
            now = (rows[0] & mask) >> changed
            done: tuple[int, ...] = (now,)
            under: tuple[Under, ...] = _NONE
            if moving[0]:
                under = (
                    tuple(
                        [
                            (s - changed, b, end)
                            for s, b, end in moving[0]
                            if mask >> s & 1 and not used >> b & 1 and not now >> s - changed & 1
                        ]
                    ),
                )
            if not now and not under[0]:
                return -1
        else:
            done = tuple([(row & mask) >> changed for row in rows])
            under = tuple(
                [
                    tuple(
                        [
                            (s - changed, b, end)
                            for s, b, end in row
                            if mask >> s & 1 and not used >> b & 1 and not now >> s - changed & 1
                        ]
                    )
                    for row, now in zip(moving, done, strict=True)
                ]
            )
            if not any(done) and not any(under):
                return -1
        if used:
            after = [*holds]
            for i, mine in use.each:
                if changed >> i & 1 or mine > after[i]:
                    after[i] = mine
            holds = tuple(after)
        return self.keep(_NEW(FootState, (holds, done, under)))

    def open(self, state: int, quick: int) -> int:
        """The same state, with so many quick moves allowed from now on."""
        old = self.states[state]
        return self.keep(FootState(old.holds, old.done[:1] * (quick + 1), old.under[:1] * (quick + 1)))

    def close(self, state: int, quick: int) -> int:
        """The state when so many quick moves were made and no more are allowed; -1 if it does not go."""
        old = self.states[state]
        if not old.done[quick] and not old.under[quick]:
            return -1
        return self.keep(FootState(old.holds, old.done[quick : quick + 1], old.under[quick : quick + 1]))

    def as_good(self, a: int, b: int, moved: int) -> bool:
        """Whether all that goes from state ``b`` goes from ``a`` once the letters ``moved`` are changed."""
        if a == b and not moved:
            return True
        key = (a, b, moved)
        found = self._better.get(key)
        if found is None:
            if len(self._better) > _MANY:
                self._better.clear()
            found = self._better[key] = _as_good(self.states[a], self.states[b], moved, self.letters)
        return found


def _fewest(state: FootState) -> int:
    return next((q for q, (done, under) in enumerate(zip(state.done, state.under, strict=True)) if done or under), 0)


def _as_good(a: FootState, b: FootState, moved: int, letters: int) -> bool:
    for x, y in zip(a.holds, b.holds, strict=True):
        if x > y:
            return False
    for done_a, under_a, done_b, under_b in zip(a.done, a.under, b.done, b.under, strict=True):
        if moved:  # the sets of b, with the moved letters joined
            for i in range(letters):
                if moved >> i & 1:
                    without = _WITHOUT[i]
                    done_b = done_b & ~without | (done_b & without) << (1 << i)
        if done_b & ~done_a:
            return False
        if under_b:
            ends = {(s, letter): end for s, letter, end in under_a}
            for s, letter, end in under_b:
                joined = s | moved
                if not done_a >> joined & 1 and ends.get((joined, letter), end + 1) > end:
                    return False
    return True


_WITHOUT = tuple(sum(1 << s for s in range(16) if not s >> i & 1) for i in range(4))  # by letter: sets without it
