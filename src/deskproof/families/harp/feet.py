"""What a foot can have done by now: states of one foot, interned and with remembered transitions.

A state, taken right after an onset, knows for every letter until when its notes hold it, and which sets of moves the
foot can have completed by now beside those already needed: for a set S, whether some schedule has made one move of
every letter of S, the new position being settled only when the letter is next used. ``under`` are sets that will be
complete when the move under way ends. Where quick moves are allowed there is one such table for every number of
them. Times are relative to the onset.
"""

from __future__ import annotations

from typing import NamedTuple

from deskproof.families.harp.passage import FREE, Use

_MANY = 400_000  # remembered transitions; beyond, they are forgotten and found again

Under = tuple[tuple[int, int, int], ...]  # (set, letter that moves last, end of that move)


class FootState(NamedTuple):
    """One foot right after an onset, or right before one: see the module."""

    holds: tuple[int, ...]  # by letter, until when it is held
    done: tuple[int, ...]  # by number of quick moves: bit S is set where the moves of S can be complete by now
    under: tuple[Under, ...]  # by number of quick moves


def taking(code: int, use: Use, letters: int) -> tuple[int, int]:
    """The letters of a foot that must have moved for this use, and where the letters stand after it."""
    changed, after = 0, code
    for i in range(letters):
        if use.used >> i & 1:
            before, now = code >> 2 * i & FREE, use.code >> 2 * i & FREE
            if before not in (now, FREE):
                changed |= 1 << i
            after = after & ~(FREE << 2 * i) | now << 2 * i
    return changed, after


class Foot:
    """The states of one foot with given times, as small numbers.

    ``advance`` leads from the state after an onset to the one before the next, ``use`` over an onset; -1 says that it
    does not go.
    """

    def __init__(self, letters: int, comfortable_us: int, quickest_us: int) -> None:
        self.letters = letters
        self.sets = 1 << letters
        self.times = ((comfortable_us, 0), (quickest_us, 1))
        self.states: list[FootState] = []
        self._numbers: dict[FootState, int] = {}
        self._advanced: dict[tuple[int, int], int] = {}
        self._used: dict[tuple[int, int, Use], int] = {}
        self._over: dict[tuple[int, int, Use], tuple[int, int, int]] = {}
        self._room: dict[int, int] = {}
        self._better: dict[tuple[int, int, int], bool] = {}
        self._pairs = [(s, s | 1 << b, b) for s in range(self.sets) for b in range(letters) if not s >> b & 1]
        self.idle = self.keep(FootState((0,) * letters, (1,), ((),)))

    def keep(self, state: FootState) -> int:
        """The number of a state."""
        found = self._numbers.get(state)
        if found is None:
            found = self._numbers[state] = len(self.states)
            self.states.append(state)
        return found

    def advance(self, state: int, gap_us: int) -> int:
        """The state right before the next onset, so much later."""
        key = (state, gap_us)
        found = self._advanced.get(key)
        if found is None:
            if len(self._advanced) > _MANY:
                self._advanced.clear()
            found = self._advanced[key] = self.keep(self._advance(self.states[state], gap_us))
        return found

    def _advance(self, state: FootState, gap: int) -> FootState:
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
        times = self.times[: 2 if cells > 1 else 1]
        holds = state.holds
        for s, joined, b in self._pairs:
            held = holds[b]
            if held >= gap:
                continue
            for q in range(cells):
                free = values[q][s]
                if free >= gap:
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
        done_now = tuple(sum(1 << s for s in range(self.sets) if row[s] <= gap) for row in values)
        rows: list[Under] = []
        for q in range(cells):
            if q:
                for key, end in under[q - 1].items():
                    if end < under[q].get(key, end + 1):
                        under[q][key] = end
            rows.append(
                tuple(sorted((s, b, end - gap) for (s, b), end in under[q].items() if not done_now[q] >> s & 1))
            )
        return FootState(tuple(h - gap if h > gap else 0 for h in holds), done_now, tuple(rows))

    def over(self, state: int, code: int, use: Use) -> tuple[int, int, int]:
        """Over an onset from letters that stand as ``code``: the state (-1: it does not go), where they stand then,
        and how many have changed."""
        key = (state, code, use)
        found = self._over.get(key)
        if found is None:
            if len(self._over) > _MANY:
                self._over.clear()
            changed, after = taking(code, use, self.letters)
            found = self._over[key] = (self.use(state, changed, use), after, changed.bit_count())
        return found

    def use(self, state: int, changed: int, use: Use) -> int:
        """The state after an onset that uses letters, of which ``changed`` must have moved; -1 if they cannot."""
        key = (state, changed, use)
        found = self._used.get(key)
        if found is None:
            if len(self._used) > _MANY:
                self._used.clear()
            after = self._use(self.states[state], changed, use)
            found = self._used[key] = -1 if after is None else self.keep(after)
        return found

    def _use(self, state: FootState, changed: int, use: Use) -> FootState | None:
        used = use.used
        done = tuple(
            sum({1 << (s & ~used) for s in range(self.sets) if row >> s & 1 and s & used == changed})
            for row in state.done
        )
        under: list[Under] = []
        for row, now in zip(state.under, done, strict=True):
            under.append(
                tuple(
                    sorted(
                        (s & ~used, b, end)
                        for s, b, end in row
                        if not used >> b & 1 and s & used == changed and not now >> (s & ~used) & 1
                    )
                )
            )
        if not any(done) and not any(under):
            return None
        holds = list(state.holds)
        notes = iter(use.holds)
        for i in range(self.letters):
            if used >> i & 1:
                mine = next(notes)
                holds[i] = mine if changed >> i & 1 or mine > holds[i] else holds[i]
        return FootState(tuple(holds), done, tuple(under))

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

    def fewest(self, state: int) -> int:
        """The fewest quick moves with which the state is reached."""
        old = self.states[state]
        return next(q for q, (a, b) in enumerate(zip(old.done, old.under, strict=True)) if a or b)

    def room(self, state: int) -> int:
        """A rough figure of how free the foot is; more is freer."""
        found = self._room.get(state)
        if found is None:
            row = self.states[state]
            found = self._room[state] = sum(done.bit_count() for done in row.done) - sum(h > 0 for h in row.holds)
        return found

    def as_good(self, a: int, b: int, moved: int) -> bool:
        """Whether all that goes from state ``b`` goes from ``a`` once the letters ``moved`` are changed."""
        if a == b and not moved:
            return True
        key = (a, b, moved)
        found = self._better.get(key)
        if found is None:
            if len(self._better) > _MANY:
                self._better.clear()
            found = self._better[key] = _as_good(self.states[a], self.states[b], moved, self.sets)
        return found


def _as_good(a: FootState, b: FootState, moved: int, sets: int) -> bool:
    for x, y in zip(a.holds, b.holds, strict=True):
        if x > y:
            return False
    for done_a, under_a, done_b, under_b in zip(a.done, a.under, b.done, b.under, strict=True):
        for s in range(sets):
            if done_b >> s & 1 and not done_a >> (s | moved) & 1:
                return False
        if under_b:
            ends = {(s, letter): end for s, letter, end in under_a}
            for s, letter, end in under_b:
                joined = s | moved
                if not done_a >> joined & 1 and ends.get((joined, letter), end + 1) > end:
                    return False
    return True
