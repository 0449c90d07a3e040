"""A passage that one harp cannot play, divided between two or more: who takes what, with the fewest hand-overs.

An onset that one harp can have goes to one harp whole; a hand-over is where another harp goes on. Only an onset that no
single harp has is split, note by note. Every harp has its pedals free before its first onset and moves them while the
others play.

Leaving notes out never makes a harp's share harder: the plan of the whole, without them, still goes. So of two places
for the last hand-over the later one is at least as good, and the stretches that go each by itself, taken as long as
they can be one after the other, are the fewest there can be. The first makes the search short, the second cuts it off:
hand-overs are granted one by one, and all places are tried for all but the last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from deskproof.families.harp.model import Onset, Settings, choices
from deskproof.families.harp.repeats import Solved, Task, Terms

MOST_OVERS = 6  # hand-overs; a passage tossed to and fro more often is no help to anybody
MOST_WORK = 60_000  # labels that the planner looks at before the search gives up
MOST_SPLITS = 24  # ways of splitting one chord that are tried
ALL_SPLITS = 8  # notes of a chord of which every split in two is among them
_MANY = 1 << 60

Share = tuple[tuple[int, tuple[int, ...]], ...]
"""What one harp takes: ordinals of onsets and of their notes."""
Shares = tuple[Share, ...]


def _any(share: Share) -> bool:
    return True


@dataclass(frozen=True, slots=True)
class Passage:
    """A passage to be divided.

    ``settings`` are those of one harp. With ``comfortable`` nothing may be hurried or let go early either. Before the
    onsets in ``barred`` the music does not change hands; ``liked`` says how good an onset is for it, more is better,
    by ordinal. ``carriers`` are the notes that an onset's demands go with, by ordinal of the onset; the first note
    where it has none. ``fits`` tells whether two hands take a share.
    """

    onsets: tuple[Onset, ...]
    settings: Settings
    damps: tuple[tuple[int, str], ...] = ()
    comfortable: bool = False
    barred: frozenset[int] = frozenset()
    liked: tuple[int, ...] = ()
    carriers: dict[int, tuple[int, ...]] | None = None
    fits: Callable[[Share], bool] = _any

    def of(self, share: Share) -> tuple[Onset, ...]:
        """The onsets of one harp."""
        found = []
        for i, notes in share:
            onset = self.onsets[i]
            row = tuple(onset.notes[n]._replace(key=None) for n in notes)
            carried = (self.carriers or {}).get(i, (0,))
            demands = onset.demands if not notes or any(n in notes for n in carried) else ()
            found.append(onset._replace(notes=row, demands=demands))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Division:
    """Who takes what: one share for each harp that plays, and how often another harp goes on."""

    shares: Shares
    overs: int

    def players(self, onset: int) -> tuple[int, ...]:
        """The harps that play an onset, from 0."""
        return tuple(h for h, share in enumerate(self.shares) if any(i == onset for i, _ in share))


def divided(passage: Passage, harps: int = 2) -> Division | None:
    """The division with the fewest hand-overs.

    None where no harp takes its share, more than ``MOST_OVERS`` hand-overs are needed, the search grows too long, or
    one harp can play it all.
    """
    search = _Search(passage, harps)
    try:
        return search.run()
    except _TooLongError:
        return None


class _TooLongError(Exception):
    pass


class _Search:
    def __init__(self, passage: Passage, harps: int) -> None:
        self.passage, self.harps, self.count = passage, harps, len(passage.onsets)
        self.signs: dict[str, list[int]] = {}
        for t_us, letters in sorted(passage.damps):
            for letter in letters:
                self.signs.setdefault(letter, []).append(t_us)
        self.work = 0
        self.known: dict[Share, bool] = {}
        self.least: dict[int, int] = {}
        self.splits_of: dict[int, tuple[Shares, ...]] = {}
        self.parted = [not self.alone(i, self.all(i)) for i in range(self.count)]

    # -- what goes -------------------------------------------------------------------------------------------------

    def all(self, onset: int) -> tuple[int, ...]:
        return tuple(range(len(self.passage.onsets[onset].notes)))

    def alone(self, onset: int, notes: tuple[int, ...]) -> bool:
        share = ((onset, notes),)
        return self.goes(share) and self.passage.fits(share)

    def goes(self, share: Share) -> bool:
        """Whether one harp's pedals can have a share."""
        if share not in self.known:
            if self.work > MOST_WORK:
                raise _TooLongError
            self.known[share] = self._planned(share)
        return self.known[share]

    def _planned(self, share: Share) -> bool:
        onsets = self.passage.of(share)
        settings = self.passage.settings
        if any(not choices(note.pitch, settings.fixed) for onset in onsets for note in onset.notes):
            return False
        task = Task(onsets, settings, self.signs, ())
        most = 0 if self.passage.comfortable else _MANY
        nothing = Terms({}, frozenset(), {})
        found = task.plan(nothing, Solved((0, most, most, _MANY), (0, 0, 0, 0), nothing, (), (), (), False))
        self.work += task.work
        task.close()
        return found is not None and found.cost[0] == 0 and max(found.cost[1:3]) <= most

    def longest(self, share: Share, first: int, last: int) -> int:
        """Up to which onset, at most ``last``, a harp can go on from ``first`` after what it has already."""

        def to(end: int) -> bool:
            return self.goes((*share, *((i, self.all(i)) for i in range(first, end))))

        good, step = first, 1
        while good < last and to(min(good + step, last)):
            good = min(good + step, last)
            step *= 2
        bad = min(good + step, last + 1)
        while bad - good > 1:
            middle = (good + bad) // 2
            if to(middle):
                good = middle
            else:
                bad = middle
        return good

    def needed(self, first: int) -> int:
        """The fewest stretches from an onset on, each by itself, if no onset from there on is split."""
        if first == self.count:
            return 0
        if first not in self.least:
            end = self.longest((), first, self.count)
            self.least[first] = _MANY if end == first else 1 + self.needed(end)
        return self.least[first]

    def splits(self, onset: int) -> tuple[Shares, ...]:
        """The ways of splitting a chord, the best first: each harp's notes side by side, as even as they can be."""
        if onset not in self.splits_of:
            found: list[Shares] = []
            for rows in _splits(len(self.passage.onsets[onset].notes), self.harps):
                if len(found) >= MOST_SPLITS:
                    break
                if all(self.alone(onset, notes) for notes in rows if notes):
                    found.append(tuple(((onset, notes),) if notes else () for notes in rows))
            self.splits_of[onset] = tuple(found)
        return self.splits_of[onset]

    # -- the search ------------------------------------------------------------------------------------------------

    def run(self) -> Division | None:
        if any(parted and not self.splits(i) for i, parted in enumerate(self.parted)):
            return None
        for overs in range(MOST_OVERS + 1):
            found = self._from(0, 0, ((),) * self.harps, overs)
            if found is not None:
                found = self._at_liked_places(found)
                return Division(found, overs) if sum(map(bool, found)) > 1 else None
        return None

    def _from(self, first: int, harp: int, shares: Shares, left: int) -> Shares | None:
        """Shares that go on from an onset with a harp and at most so many hand-overs; None if there are none."""
        if first == self.count:
            return shares if all(self.passage.fits(share) for share in shares if share) else None
        if self.parted[first]:
            return self._over_chord(first, harp, shares, left)
        stop = next((i for i in range(first, self.count) if self.parted[i]), self.count)
        last_chance = left == 1 and stop == self.count
        least = first if first and self.parted[first - 1] else first + 1
        for end in range(self.longest(shares[harp], first, stop), least - 1, -1):
            taken = _with(shares, harp, tuple((i, self.all(i)) for i in range(first, end)))
            if end == stop:
                found = self._from(stop, harp, taken, left)
                if found is not None:
                    return found
                continue
            if not left:
                break
            if end in self.passage.barred or (stop == self.count and self.needed(end) > left):
                continue
            for other in self._others(harp, taken):
                found = self._from(end, other, taken, left - 1)
                if found is not None:
                    return found
            if last_chance:
                break
        return None

    def _over_chord(self, onset: int, harp: int, shares: Shares, left: int) -> Shares | None:
        for rows in self.splits(onset):
            taken = tuple(share + row for share, row in zip(shares, rows, strict=True))
            if all(self.goes(share) for share, row in zip(taken, rows, strict=True) if row):
                found = self._from(onset + 1, harp, taken, left)
                if found is not None:
                    return found
        return None

    def _others(self, harp: int, shares: Shares) -> Iterator[int]:
        """The harps that may go on, those that have rested longest first; of fresh ones only one."""
        fresh = [h for h in range(self.harps) if h != harp and not shares[h]]
        rested = sorted((h for h in range(self.harps) if h != harp and shares[h]), key=lambda h: shares[h][-1][0])
        yield from fresh[:1]
        yield from rested

    # -- better places ---------------------------------------------------------------------------------------------

    def _at_liked_places(self, shares: Shares) -> Shares:
        """The shares with hand-overs moved back to a better place near by, where that goes."""
        liked = self.passage.liked
        if not liked:
            return shares
        for at in range(self.count - 1, 0, -1):
            before, after = (self._alone_at(shares, i) for i in (at - 1, at))
            if before is None or after is None or before == after:
                continue
            first = at - 1
            while first > 0 and self._alone_at(shares, first - 1) == before:
                first -= 1
            places = [k for k in range(first + 1, at) if liked[k] > liked[at] and k not in self.passage.barred]
            for k in sorted(places, key=lambda k: (-liked[k], -k)):
                moved = self._moved(shares, k, at, before, after)
                if all(self.goes(moved[h]) and self.passage.fits(moved[h]) for h in (before, after)):
                    shares = moved
                    break
        return shares

    def _alone_at(self, shares: Shares, onset: int) -> int | None:
        who = [h for h, share in enumerate(shares) if any(i == onset for i, _ in share)]
        return who[0] if len(who) == 1 and not self.parted[onset] else None

    def _moved(self, shares: Shares, first: int, end: int, giver: int, taker: int) -> Shares:
        rows = [list(share) for share in shares]
        passed = [row for row in rows[giver] if first <= row[0] < end]
        rows[giver] = [row for row in rows[giver] if not first <= row[0] < end]
        rows[taker] = sorted([*rows[taker], *passed])
        return tuple(map(tuple, rows))


def _with(shares: Shares, harp: int, more: Share) -> Shares:
    return tuple(share + more if h == harp else share for h, share in enumerate(shares))


def _splits(count: int, harps: int) -> Iterator[tuple[tuple[int, ...], ...]]:
    """Ways of giving notes 0 to count - 1, from low to high, to so many harps: each harp's lie side by side, or any.

    >>> list(_splits(3, 2))[:4]
    [((0,), (1, 2)), ((0, 1), (2,)), ((1, 2), (0,)), ((2,), (0, 1))]
    """
    cuts = sorted(combinations(range(1, count), harps - 1), key=lambda row: _spread((0, *row, count)))
    if harps == 2:
        sides = [(tuple(range(cut)), tuple(range(cut, count))) for (cut,) in cuts]
        yield from sides
        yield from ((two, one) for one, two in sides)
        if count <= ALL_SPLITS:
            for size in range(1, count):
                for some in combinations(range(count), size):
                    rest = tuple(n for n in range(count) if n not in some)
                    if (rest, some) not in sides and (some, rest) not in sides:
                        yield rest, some
        return
    for row in cuts:
        ends = (0, *row, count)
        yield tuple(tuple(range(a, b)) for a, b in pairwise(ends))


def _spread(ends: Sequence[int]) -> int:
    sizes = [b - a for a, b in pairwise(ends)]
    return max(sizes) - min(sizes)
