"""The search for the cheapest split of a keyboard part between two hands.

Each press is split between the lower keys for the left hand and the upper keys for the right; where the page gives
every key a staff, the split by staves is tried too, and where no such split reaches, every other one. A beam keeps
the cheapest ways so far that differ in where the two hands are; prices are those of ``hand_costs``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations, pairwise
from typing import NamedTuple

from deskproof.families.keyboard import hand_costs as costs
from deskproof.families.keyboard.geometry import Keyboard

LEFT, RIGHT, BOTH = 0, 1, 2
MOST_WAYS, MOST_PAIRS = 1 << 10, 200_000
MARKED = 16  # of so many presses one has its ways kept, to go on from there
ROLL = "roll"
OCTAVE = 12


class Press(NamedTuple):
    """The keys that go down together.

    Attributes
    ----------
    t_us : int
        When.
    keys : tuple of int
        MIDI numbers from low to high, no key twice.
    until_us : tuple of int
        The written or played end of each key.
    staves : tuple of int
        1 upper, 2 lower, 0 where nothing tells; empty if nothing tells of any key.
    how : tuple of str
        struck, roll, trill, tremolo or grace for each key; empty if all are struck.
    """

    t_us: int
    keys: tuple[int, ...]
    until_us: tuple[int, ...]
    staves: tuple[int, ...] = ()
    how: tuple[str, ...] = ()


class Limits(NamedTuple):
    """What one hand takes at once.

    Attributes
    ----------
    keys : Keyboard
        The keys under it.
    reach_um : int
        The widest distance from centre to centre.
    notes, notes_thumb : int
        The most keys; and the most where the thumb takes two.
    """

    keys: Keyboard
    reach_um: int
    notes: int
    notes_thumb: int

    def fits(self, keys: Sequence[int], hand: int) -> bool:
        """True if the hand has fingers for these keys, from low to high. Says nothing of their distance."""
        if len(keys) <= self.notes:
            return True
        if len(keys) > self.notes_thumb:
            return False
        low, high = (keys[-2], keys[-1]) if hand == LEFT else (keys[0], keys[1])
        return self.keys.one_thumb(low, high)

    def takes(self, keys: Sequence[int], hand: int) -> bool:
        """True if the hand has fingers for these keys and reaches them."""
        return not keys or (self.keys.extent_um(keys) <= self.reach_um and self.fits(keys, hand))


@lru_cache(maxsize=20_000)
def feasible(keys: tuple[int, ...], limits: Limits) -> tuple[tuple[int, ...], ...]:
    """Every way to split these keys that both hands reach, as the hand of each key; empty if there is none.

    The lower keys are the left hand's. Only where no such split reaches may the hands interlock, and then one way is
    given.
    """
    n = len(keys)
    found = tuple(
        (LEFT,) * k + (RIGHT,) * (n - k)
        for k in range(n + 1)
        if limits.takes(keys[:k], LEFT) and limits.takes(keys[k:], RIGHT)
    )
    if found or not limits.notes < n <= 2 * limits.notes_thumb:
        return found
    return _interlocked(keys, limits)


def _interlocked(keys: tuple[int, ...], limits: Limits) -> tuple[tuple[int, ...], ...]:
    n = len(keys)
    for size in range(max(0, n - limits.notes_thumb), min(n, limits.notes_thumb) + 1):
        for chosen in combinations(range(n), size):
            row = [RIGHT] * n
            for place in chosen:
                row[place] = LEFT
            if limits.takes([keys[p] for p in range(n) if row[p] == LEFT], LEFT) and limits.takes(
                [keys[p] for p in range(n) if row[p] == RIGHT], RIGHT
            ):
                return (tuple(row),)
    return ()


def least_stretch(keys: tuple[int, ...], limits: Limits) -> tuple[int, int, tuple[int, ...]]:
    """The split whose wider hand is least wide: its extent, the hand and its keys.

    If no split has few enough keys in each hand, those of an even split.
    """
    n = len(keys)
    splits = [k for k in range(n + 1) if limits.fits(keys[:k], LEFT) and limits.fits(keys[k:], RIGHT)]
    best: tuple[int, int, tuple[int, ...]] | None = None
    for k in splits or [n // 2]:
        left, right = limits.keys.extent_um(keys[:k]), limits.keys.extent_um(keys[k:])
        mine = (left, LEFT, keys[:k]) if left > right else (right, RIGHT, keys[k:])
        if best is None or mine[0] < best[0]:
            best = mine
    assert best is not None
    return best


def crowded(keys: tuple[int, ...], limits: Limits) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """The split whose hands reach all their keys and only lack fingers, for the fewest of them; None if none does."""
    best: tuple[int, int, int] | None = None
    for k in range(len(keys) + 1):
        sides = (keys[:k], keys[k:])
        if any(side and limits.keys.extent_um(side) > limits.reach_um for side in sides):
            continue
        over = sum(max(0, len(side) - limits.notes) for side in sides)
        row = (over, max(limits.keys.extent_um(side) for side in sides), k)
        best = row if best is None else min(best, row)
    return None if best is None else (keys[: best[2]], keys[best[2] :])


def _most(keys: tuple[int, ...], limits: Limits) -> tuple[int | None, ...]:
    """As many keys from both ends as two hands take, where no split takes all."""
    n = len(keys)
    k = max(k for k in range(n + 1) if limits.takes(keys[:k], LEFT))
    m = max(m for m in range(n - k + 1) if limits.takes(keys[n - m :], RIGHT))
    return (LEFT,) * k + (None,) * (n - k - m) + (RIGHT,) * m


class Leap(NamedTuple):
    """From which extent two events of one hand are a leap, and the least microseconds for each mm of it."""

    from_um: int
    least_us: int


class _Way(NamedTuple):
    """One split of a press: the hand of each key, the places of each hand, who plays, and its price by itself."""

    row: tuple[int | None, ...]
    places: tuple[tuple[int, ...], tuple[int, ...]]
    low: tuple[int, int]
    high: tuple[int, int]
    who: int
    price: int


class _Hand(NamedTuple):
    """Where a hand is: a number for this place, what it last struck and when, and what it holds."""

    tag: int
    low: int
    high: int
    t_us: int
    until_us: int  # the end of the longest key it last struck
    held: tuple[tuple[int, int], ...]  # (until_us, key)
    region: int  # where it has been of late: the middle of its keys, in sixteenths of a half semitone


class _Back(NamedTuple):
    before: _Back | None
    row: tuple[int | None, ...]


_State = tuple[int, _Hand, _Hand, int, _Back | None]  # price, hands, who played last, the way here
_Pair = tuple[int, Sequence[int], int]  # price of a move, prices by the rest before it, extent in semitones
_PAIRS: dict[int, _Pair] = {}  # by pace, hand and distances, of which the tables alone make them


class Trail(NamedTuple):
    """A search as it went, from which another over nearly the same presses goes on.

    ``kept`` holds the ways kept before every ``MARKED``-th press, the cheapest first; ``last`` is the end of the way
    found, ``split`` the hand of every key.
    """

    onsets: tuple[Press, ...]
    slack: int
    kept: tuple[list[_State], ...]
    last: _Back | None
    split: list[tuple[int | None, ...]]


def search(
    onsets: Sequence[Press],
    limits: Limits,
    hard_um: int,
    leap: Leap,
    beam: int = costs.BEAM,
    slack: int | None = None,
) -> list[tuple[int | None, ...]]:
    """Find the hand of every key.

    Parameters
    ----------
    onsets : sequence of Press
        In order of time.
    limits : Limits
        No hand is given more, unless no split reaches: then keys between the hands are given to none.
    hard_um : int
        A stretch above costs more than any comfort.
    leap : Leap
        A quicker leap costs as much.
    beam, slack : int
        How many ways are kept at each press, and how much dearer than the cheapest they may be;
        None is that of the prices.

    Returns
    -------
    list of tuple
        LEFT, RIGHT or None for each key of each press.
    """
    return searched(onsets, limits, hard_um, leap, beam, slack).split


def searched(
    onsets: Sequence[Press],
    limits: Limits,
    hard_um: int,
    leap: Leap,
    beam: int = costs.BEAM,
    slack: int | None = None,
) -> Trail:
    """The same as :func:`search`, with the way it went."""
    if not onsets:
        return Trail((), 0, (), None, [])
    slack = _slack_for(onsets) if slack is None else slack
    states: list[_State] = [(0, *_at_rest(onsets[0].t_us), BOTH, None)]
    kept = [states]
    steps = _onwards(states, onsets, 0, limits, hard_um, leap, beam, slack)
    for i, states in enumerate(steps, 1):
        if i % MARKED == 0:
            kept.append(states)
    last = states[0][4]
    return Trail(tuple(onsets), slack, tuple(kept), last, _way_to(last))


def search_again(
    known: Trail, onsets: Sequence[Press], limits: Limits, hard_um: int, leap: Leap
) -> list[tuple[int | None, ...]]:
    """What :func:`search` finds when some presses of a search with the same limits have changed.

    The ways are gone on from the last ones kept before the first change, until both searches keep the same ways.
    """
    slack = _slack_for(onsets)
    if not onsets or not known.onsets or slack != known.slack or onsets[0].t_us != known.onsets[0].t_us:
        return search(onsets, limits, hard_um, leap, slack=slack)
    first, last = _differing(known.onsets, onsets)
    start = first // MARKED * MARKED
    states = known.kept[start // MARKED]
    steps = _onwards(states, onsets, start, limits, hard_um, leap, costs.BEAM, slack)
    for i, states in enumerate(steps, start + 1):
        if i % MARKED == 0 and last + 1 < i < len(onsets) and onsets[i - 1].keys:
            before = known.kept[i // MARKED]
            if _same(states, before):
                passed = _passed(known, i)
                at = next(k for k, state in enumerate(before) if state[4] is passed)
                return _way_to(states[at][4]) + known.split[i:]
    return _way_to(states[0][4])


def _slack_for(onsets: Sequence[Press]) -> int:
    return costs.SLACK_STAVES if any(any(press.staves) for press in onsets) else costs.SLACK


def _onwards(
    states: list[_State],
    onsets: Sequence[Press],
    start: int,
    limits: Limits,
    hard_um: int,
    leap: Leap,
    beam: int,
    slack: int,
) -> Iterator[list[_State]]:
    """The ways kept after each press from ``start`` on, the cheapest first; ``states`` are those before it."""
    before_us = next((press.t_us for press in reversed(onsets[:start]) if press.keys), onsets[0].t_us)
    turned: dict[tuple[int, int], list[tuple[int, ...]]] = {}
    for i, press in enumerate(onsets[start:], start):
        if not press.keys:
            states = [(price, one, other, who, _Back(back, ())) for price, one, other, who, back in states]
            yield states
            continue
        ways = ways_of(press.keys, press.staves, press.how, limits, hard_um)
        rest_us = press.t_us - before_us
        before_us = press.t_us
        left = {hand.tag: hand for _, hand, _, _, _ in states}
        right = {hand.tag: hand for _, _, hand, _, _ in states}
        lefts = {tag: _prices(hand, LEFT, ways, press, limits, leap) for tag, hand in left.items()}
        rights = {tag: _prices(hand, RIGHT, ways, press, limits, leap) for tag, hand in right.items()}
        pause = (bisect_right(costs.PACE_US, rest_us), min(3, len(press.keys) - 1))
        fixed = turned.get(pause)
        if fixed is None:
            fixed = turned[pause] = [costs.turns(*pause, who) for who in (LEFT, RIGHT, BOTH)]
        best: dict[tuple[int, int], tuple[int, int, _State]] = {}
        first = i * MOST_WAYS
        for state in states:
            price, one, other, who, _ = state
            row, more, turn = lefts[one.tag], rights[other.tag], fixed[who]
            for w, way in enumerate(ways):
                total = price + row[w] + more[w] + turn[way.who] + way.price
                now = way.who
                place = (one.tag if now == RIGHT else first + w, other.tag if now == LEFT else first + w)
                old = best.get(place)
                if old is None or total < old[0]:
                    best[place] = (total, w, state)
        states = _entered(sorted(best.items(), key=_price_of)[:beam], ways, press, slack)
        yield states


def _way_to(last: _Back | None) -> list[tuple[int | None, ...]]:
    """The splits on the way to a state, from the first press on."""
    split = []
    while last is not None:
        split.append(last.row)
        last = last.before
    split.reverse()
    return split


def _passed(known: Trail, i: int) -> _Back | None:
    """Where the way found stood before press ``i``."""
    at = known.last
    for _ in range(len(known.onsets) - i):
        assert at is not None
        at = at.before
    return at


def _differing(one: Sequence[Press], other: Sequence[Press]) -> tuple[int, int]:
    """The first and the last press that differ; where their number differs, all from the first on."""
    differ = [i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b]
    most, least = max(len(one), len(other)), min(len(one), len(other))
    first = differ[0] if differ else least
    return first, most if most > least else differ[-1] if differ else first


def _same(states: list[_State], others: list[_State]) -> bool:
    """Whether two searches go on alike: the same hands in the same order, prices all apart by one sum."""
    more = states[0][0] - others[0][0]
    return len(states) == len(others) and all(
        one[0] - two[0] == more and one[1:4] == two[1:4] for one, two in zip(states, others, strict=True)
    )


def _price_of(item: tuple[tuple[int, int], tuple[int, int, _State]]) -> int:
    return item[1][0]


def _entered(
    kept: list[tuple[tuple[int, int], tuple[int, int, _State]]], ways: tuple[_Way, ...], press: Press, slack: int
) -> list[_State]:
    """The states the cheapest ways end in."""
    most = kept[0][1][0] + slack
    made: dict[int, _Hand] = {}
    states: list[_State] = []
    for (left, right), (total, w, (_, one, other, _, back)) in kept:
        if total > most:
            break
        way = ways[w]
        if way.who != RIGHT:
            found = made.get(left)
            if found is None:
                found = made[left] = _moved(one, way, LEFT, press, left)
            one = found
        if way.who != LEFT:
            found = made.get(-right - 1)
            if found is None:
                found = made[-right - 1] = _moved(other, way, RIGHT, press, right)
            other = found
        states.append((total, one, other, way.who, _Back(back, way.row)))
    return states


def _moved(hand: _Hand, way: _Way, side: int, press: Press, tag: int) -> _Hand:
    t_us = press.t_us
    keys, until = press.keys, press.until_us
    fresh = tuple([(until[p], keys[p]) for p in way.places[side]])
    held = tuple([old for old in hand.held if old[0] > t_us]) + fresh if hand.held else fresh
    low, high = way.low[side], way.high[side]
    region = (
        hand.region
        + (16 * (low + high) - hand.region) * costs.DRIFT[bisect_right(costs.PACE_US, t_us - hand.t_us)] // 16
    )
    return _Hand(tag, low, high, t_us, max(fresh)[0], held, region)


def _prices(
    hand: _Hand,
    side: int,
    ways: tuple[_Way, ...],
    press: Press,
    limits: Limits,
    leap: Leap,
) -> list[int]:
    """What each way costs this hand."""
    _, before_low, before_high, before_us, until_us, held, region = hand
    t_us = press.t_us
    us = t_us - before_us
    pace = bisect_right(costs.PACE_US, us)
    rest = bisect_right(costs.REST_US, t_us - until_us)
    start = ((pace * 2 + side) * 128 + before_high - before_low) * 256 - before_low + 128
    centres = limits.keys.centres_um
    late = t_us + costs.HELD_ON_US
    written = any(press.staves)
    holding = [key for end, key in held if end > late]
    prices = []
    for way in ways:
        if way.who == 1 - side:
            clear = way.low[RIGHT] - before_high if side == LEFT else before_low - way.high[LEFT]
            price = costs.ACROSS[pace][max(-24, min(36, clear)) + 24]
            if holding:
                price += _beside(holding, side, way, press)
        else:
            low, high = way.low[side], way.high[side]
            name = (start + low) * 128 + high - low
            pair = _PAIRS.get(name)
            if pair is None:
                if len(_PAIRS) > MOST_PAIRS:
                    _PAIRS.clear()
                pair = _PAIRS[name] = _pair(pace, side, before_high - before_low, low - before_low, high - before_low)
            off = (16 * (low + high) - region) // 32
            price = pair[0] + pair[1][rest] + costs.REGION[pace][max(-30, min(30, -off if side == LEFT else off)) + 30]
            if pair[2] > OCTAVE:
                um = centres[max(high, before_high)] - centres[min(low, before_low)]
                if um >= leap.from_um and us * 1000 < um * leap.least_us:
                    price += costs.NO_TIME
            for key in holding:
                top, bottom = key if key > high else high, key if key < low else low
                price += costs.HELD[top - bottom]
                if written and way.who == side and centres[top] - centres[bottom] > limits.reach_um:
                    price += costs.LET_GO
        prices.append(price)
    return prices


def _beside(holding: list[int], side: int, way: _Way, press: Press) -> int:
    """What the other hand's keys cost a hand that holds some and strikes none."""
    price = 0
    edge = way.low[RIGHT] if side == LEFT else way.high[LEFT]
    for key in holding:
        price += costs.BESIDE[max(-36, min(36, edge - key if side == LEFT else key - edge)) + 36]
        if key in press.keys:
            price += costs.TAKEN
    return price


def _pair(pace: int, side: int, before: int, low: int, high: int) -> _Pair:
    """A move of one hand from keys 0 to ``before`` to keys ``low`` to ``high``, in semitones."""
    extent = max(high, before) - min(low, 0)
    steps = (low + high - before) // 2
    if side == LEFT:
        steps = -steps
    price = costs.MOVE[pace][max(-30, min(30, steps)) + 30] + costs.TOGETHER[pace][min(48, extent)]
    apart = -1 if low == 0 and high == before else max(0, low - before, -high)
    return price, costs.LINE[low == high][bisect_right(costs.APART, apart)], extent


def _at_rest(t_us: int) -> tuple[_Hand, _Hand]:
    """Both hands an octave below and above middle C, long before the first press."""
    long_ago = t_us - costs.LONG_AGO_US
    low, high = costs.AT_REST
    return _Hand(-1, low, low, long_ago, long_ago, (), 32 * low), _Hand(
        -1, high, high, long_ago, long_ago, (), 32 * high
    )


@lru_cache(maxsize=20_000)
def ways_of(
    keys: tuple[int, ...], staves: tuple[int, ...], how: tuple[str, ...], limits: Limits, hard_um: int
) -> tuple[_Way, ...]:
    """The splits of a press that come into question, each with its price by itself."""
    n = len(keys)
    if ROLL in how:  # a hand that rolls all its keys need not reach them at once
        rows: list[tuple[int | None, ...]] = [(LEFT,) * k + (RIGHT,) * (n - k) for k in range(n + 1)]
        rows = [row for row in rows if _take(keys, how, row, limits)] or [_most(keys, limits)]
    else:
        rows = list(feasible(keys, limits)) or [_most(keys, limits)]
    if any(staves):
        by_staff = tuple(RIGHT if staff == 1 else LEFT if staff == 2 else None for staff in staves)
        if None not in by_staff and by_staff not in rows and _take(keys, how, by_staff, limits):
            rows.append(by_staff)
    return tuple(_way(keys, staves, how, row, limits.keys, hard_um) for row in rows)


def rolls(how: tuple[str, ...], places: Sequence[int]) -> bool:
    """True if all keys at these places are rolled."""
    return bool(how) and all(how[place] == ROLL for place in places)


def _take(keys: Sequence[int], how: tuple[str, ...], row: Sequence[int | None], limits: Limits) -> bool:
    for side in (LEFT, RIGHT):
        places = [place for place, taken in enumerate(row) if taken == side]
        if not rolls(how, places) and not limits.takes([keys[place] for place in places], side):
            return False
    return True


def _way(
    keys: tuple[int, ...],
    staves: tuple[int, ...],
    how: tuple[str, ...],
    row: tuple[int | None, ...],
    board: Keyboard,
    hard_um: int,
) -> _Way:
    n = len(keys)
    places = (
        tuple(p for p in range(n) if row[p] == LEFT),
        tuple(p for p in range(n) if row[p] == RIGHT),
    )
    who = BOTH if places[0] and places[1] else LEFT if places[0] else RIGHT
    price = costs.SHARE[min(7, n)][min(7, len(places[LEFT]))]
    low, high = [0, 0], [0, 0]
    for side in (LEFT, RIGHT):
        if not places[side]:
            continue
        mine = [keys[p] for p in places[side]]
        low[side], high[side] = mine[0], mine[-1]
        rolled = rolls(how, places[side])
        extent = min(mine[-1] - mine[0], OCTAVE) if rolled else mine[-1] - mine[0]
        price += costs.EXTENT[min(29, extent)] + costs.COUNT[min(11, len(mine))]
        price += costs.REGISTER[side][max(0, min(89, (mine[0] + mine[-1]) // 2 - 20))]
        if not rolled and board.centres_um[mine[-1]] - board.centres_um[mine[0]] > hard_um:
            price += costs.TOO_WIDE
    if who == BOTH:
        gap = low[RIGHT] - high[LEFT]
        widest = max(b - a for a, b in pairwise(keys))
        price += costs.BETWEEN[max(-15, min(44, gap)) + 15] + costs.SHORT_OF[max(0, min(39, widest - gap))]
    for taken, staff in zip(row, staves, strict=False):
        if (staff == 1 and taken == LEFT) or (staff == 2 and taken == RIGHT):
            price += costs.STAFF
    return _Way(row, places, (low[0], low[1]), (high[0], high[1]), who, price)
