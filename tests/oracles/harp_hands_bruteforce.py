"""The least that the hands of a harp passage cost, found by trying everything. For short passages.

Nothing here imports the package under test. A passage is a list of onsets ``{"t_us", "lines", "staves", "hold_us",
"bracketed", "how"}``, the lists of one onset side by side, lines counted in strings from low to high. The terms are a
mapping of whole numbers by the names that `TERMS` lists.

What is tried
    At every onset all sets of notes, largest first, until one can be taken; of equally many notes those are taken that
    keep most of what is dear, compared one by one from the dearest: the lowest and the highest string, then strings
    whose letter no string nearer to the edge has (at the same distance, the higher one counts as nearer), then the
    rest, each from the edge inwards, the higher first at the same distance. Of the notes taken, all splits between
    two hands, crossed ones too. A branch of the search is cut only when it costs no less than the best found with
    the least added that its later onsets cost each by itself.

What is counted
    The entries of `COST`, compared left to right. A hand stands at a window, its lowest string in reach; where it could
    stand is a stretch of windows, kept here in exact fractions of a string step, which widens at the speed of the hand
    (one string in the time ``ceil(1000000 / leap)`` microseconds). If no such window serves, the time for the rest of
    the way is lacking, and the hand then stands at the nearest that does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations, product
from typing import Any, NamedTuple

TERMS = (
    "hand", "together", "reach", "right_lowest", "right_comfortable", "left_highest_comfortable", "again_us", "leap",
    "group_us", "meet", "overlap", "right_harmonics", "left_harmonics", "left_harmonics_reach",
)  # fmt: skip
COST = (
    "left_out", "crossed", "harmonics", "leaps", "late_us", "busy", "again", "zone", "staff", "spread", "changes",
    "over", "register",
)  # fmt: skip
NOTHING = (0,) * len(COST)

Onset = Mapping[str, Any]
Terms = Mapping[str, int]
Split = tuple[str | None, ...]
Stretch = tuple[Fraction, Fraction] | None  # None is anywhere


def possible(onset: Onset, split: Split, terms: Terms) -> bool:
    """Whether two hands can pluck so; None is not plucked."""
    for hand in "LR":
        lines = [line for line, its in zip(onset["lines"], split, strict=True) if its == hand]
        if len(lines) > terms["hand"]:
            return False
        if onset["bracketed"] and lines and max(lines) - min(lines) > terms["reach"]:
            return False
        if hand == "R" and lines and min(lines) < terms["right_lowest"]:
            return False
    return sum(its is not None for its in split) <= terms["together"]


def splits(onset: Onset, terms: Terms) -> list[Split]:
    """All splits of the notes that are taken."""
    lines: Sequence[int] = onset["lines"]
    order = dear(lines)
    for count in range(len(lines), -1, -1):
        best: tuple[tuple[bool, ...], list[Split]] | None = None
        for taken in combinations(range(len(lines)), count):
            ways = []
            for hands in product("LR", repeat=count):
                split: list[str | None] = [None] * len(lines)
                for n, hand in zip(taken, hands, strict=True):
                    split[n] = hand
                if possible(onset, tuple(split), terms):
                    ways.append(tuple(split))
            rank = tuple(n in taken for n in order)
            if ways and (best is None or rank > best[0]):
                best = rank, ways
        if best is not None:
            return best[1]
    raise AssertionError("nothing at all can always be taken")


def dear(lines: Sequence[int]) -> list[int]:
    """The ordinals of the strings, the dearest first."""
    height = sorted(lines)
    edge = {line: min(height.index(line), len(height) - 1 - height.index(line)) for line in lines}

    def nearer(a: int, b: int) -> bool:
        return edge[a] < edge[b] or (edge[a] == edge[b] and a > b)

    def rank(n: int) -> tuple[bool, int, int]:
        line = lines[n]
        doubled = any((other - line) % 7 == 0 and nearer(other, line) for other in lines)
        return edge[line] > 0 and doubled, edge[line], -line

    return sorted(range(len(lines)), key=rank)


class State(NamedTuple):
    """What is remembered of the onsets before."""

    t_us: int
    hands: frozenset[str]  # that plucked at the last onset
    places: tuple[tuple[str, int, Stretch], ...]  # hand, time, windows at that time
    plucked: tuple[tuple[int, int, str], ...]  # string, time, hand
    bound: tuple[tuple[str, int], ...]  # hand, until when


START = State(0, frozenset(), (("L", 0, None), ("R", 0, None)), (), ())


def step(state: State, onset: Onset, split: Split, terms: Terms) -> tuple[tuple[int, ...], State]:
    """What an onset costs after others, and what to remember."""
    cost = dict.fromkeys(COST, 0)
    t_us = onset["t_us"]
    took = [
        (line, hand, staff, how, hold)
        for line, hand, staff, how, hold in zip(
            onset["lines"], split, onset["staves"], onset["how"], onset["hold_us"], strict=True
        )
        if hand is not None
    ]
    cost["left_out"] = len(split) - len(took)
    cost["crossed"] = sum(a[0] < b[0] and (a[1], b[1]) == ("R", "L") for a in took for b in took)
    places = []
    for hand, at, stretch in state.places:
        mine = [row for row in took if row[1] == hand]
        if not mine:
            places.append((hand, at, stretch))
            continue
        late, stretch = move(stretch, t_us - at, mine, terms)
        cost["leaps"] += late > 0
        cost["late_us"] += late
        cost["busy"] += any(its == hand and until > t_us for its, until in state.bound)
        cost["spread"] += max(0, max(row[0] for row in mine) - min(row[0] for row in mine) - terms["reach"])
        bells = [row[0] for row in mine if row[3] == "harmonic"]
        if hand == "R":
            cost["harmonics"] += max(0, len(bells) - terms["right_harmonics"])
        else:
            most = max(
                len(some)
                for count in range(min(len(bells), terms["left_harmonics"]) + 1)
                for some in combinations(sorted(bells), count)
                if not some or some[-1] - some[0] <= terms["left_harmonics_reach"]
            )
            cost["harmonics"] += len(bells) - most
        places.append((hand, t_us, stretch))
    last = {line: (at, hand) for line, at, hand in state.plucked}
    for line, hand, staff, _, _ in took:
        at, before = last.get(line, (0, ""))
        cost["again"] += before == hand and t_us - at < terms["again_us"]
        if hand == "L":
            cost["zone"] += line > terms["left_highest_comfortable"]
            beyond = max(0, line - terms["meet"])
        else:
            cost["zone"] += line < terms["right_comfortable"]
            beyond = max(0, terms["meet"] - line)
        cost["staff"] += (staff, hand) in ((1, "L"), (2, "R"))
        cost["over"] += beyond > terms["overlap"]
        cost["register"] += beyond
        last[line] = t_us, hand
    hands = frozenset(row[1] for row in took)
    cost["changes"] = int(
        t_us - state.t_us < terms["group_us"] and len(hands) == 1 == len(state.hands) and hands != state.hands
    )
    bound = [(hand, until) for hand, until in state.bound if until > t_us]
    bound += [(row[1], t_us + row[4]) for row in took if row[3] in ("trill", "gliss")]
    plucked = tuple((line, at, hand) for line, (at, hand) in last.items())
    return tuple(cost.values()), State(t_us, hands, tuple(places), plucked, tuple(bound))


def move(stretch: Stretch, passed_us: int, rows: Sequence[tuple[Any, ...]], terms: Terms) -> tuple[int, Stretch]:
    """A hand goes to its strings: the time lacking, and where it can stand after them."""
    step_us = -(-1_000_000 // terms["leap"])
    lowest, highest = min(row[0] for row in rows), max(row[0] for row in rows)
    wide = highest - lowest > terms["reach"]
    serve = (Fraction(lowest if wide else highest - terms["reach"]), Fraction(lowest))
    late = 0
    if stretch is None:
        stretch = serve
    else:
        could = stretch[0] - Fraction(passed_us, step_us), stretch[1] + Fraction(passed_us, step_us)
        both = max(could[0], serve[0]), min(could[1], serve[1])
        if both[0] > both[1]:
            missing = (both[0] - both[1]) * step_us
            assert missing.denominator == 1
            late = int(missing)
            both = (serve[0], serve[0]) if could[1] < serve[0] else (serve[1], serve[1])
        stretch = both
    if any(row[3] == "gliss" for row in rows):
        return late, None
    if wide:
        leaves = Fraction(highest - terms["reach"])
        return late, (leaves, leaves)
    return late, stretch


def price(onsets: Sequence[Onset], hands: Sequence[Split], terms: Terms) -> tuple[int, ...]:
    """What a given plan costs."""
    state, total = START, NOTHING
    for onset, split in zip(onsets, hands, strict=True):
        cost, state = step(state, onset, split, terms)
        total = plus(total, cost)
    return total


def least(onsets: Sequence[Onset], terms: Terms) -> tuple[int, ...]:
    """The least cost of all plans."""
    assert set(terms) == set(TERMS)
    ways = [_cheapest_first(onset, terms) for onset in onsets]
    rest = [NOTHING]  # at least, of the onsets from each to the end
    for onset, some in zip(reversed(onsets), reversed(ways), strict=True):
        rest.append(plus(rest[-1], alone(onset, some[0], terms)))
    rest.reverse()
    best: list[tuple[int, ...]] = []

    def go(i: int, state: State, total: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if i == len(onsets):
            yield total
            return
        for split in ways[i]:
            cost, new = step(state, onsets[i], split, terms)
            now = plus(total, cost)
            if not best or plus(now, rest[i + 1]) < best[-1]:
                yield from go(i + 1, new, now)

    for total in go(0, START, NOTHING):
        if not best or total < best[-1]:
            best.append(total)
    return best[-1]


def _cheapest_first(onset: Onset, terms: Terms) -> list[Split]:
    return sorted(splits(onset, terms), key=lambda split: alone(onset, split, terms))


def alone(onset: Onset, split: Split, terms: Terms) -> tuple[int, ...]:
    """What an onset costs with nothing before it."""
    return step(START, onset, split, terms)[0]


def plus(a: tuple[int, ...], b: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(x + y for x, y in zip(a, b, strict=True))
