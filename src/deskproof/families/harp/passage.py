"""Onsets and holds made ready for planning: every way of taking every onset, foot by foot.

A foot's letters are bits 0 to 2 (D C B) or 0 to 3 (E F G A); the position of a letter is two bits at twice its
ordinal: position + 1, or 3 while it is free. ``taken`` lists the ways of an onset; a way that asks for more of the
pedals than another, and is no cheaper, is left away.

An event is all notes of one onset that have the same written length. An event that is let go early is held for no
longer than the plan needs.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from deskproof.families.harp.model import (
    FEET,
    LEFT,
    RIGHT,
    Choice,
    HarpNote,
    Onset,
    Settings,
    String,
    choices,
    hands_take,
)

# Costs are packed into one number, so that they compare left to right: a change of pedal, a name that is not the
# composer's, a sharp; a name that the composer did not choose and a natural would give counts 1.
CHANGE, DEVIATION, SHARP = 1 << 60, 1 << 40, 1 << 20
FREE = 3
_NOTHING: frozenset[int] = frozenset()
MOST_WAYS = 3000  # of one chord; beyond, the search goes on with these and proves nothing
_NATURALS = {("F", -1), ("C", -1), ("E", 1), ("B", 1)}  # names of pitches that a natural string has too
PLACE = {letter: (foot, i) for foot, letters in enumerate(FEET) for i, letter in enumerate(letters)}
_RIGHT_CODE = 2 * len(LEFT)
ALL_FREE = (0b111111, 0b11111111)

Picks = tuple[Choice | None, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Use:
    """What one foot's letters must do in an onset: which are used, where they stand, how long each is held.

    Equal uses are one record; see ``use_of``. ``place`` covers both bits of every used letter in the code; ``stands``
    has three bits a letter, one of them set: the position; ``each`` is the ordinal of each with its hold.
    """

    used: int
    code: int
    holds: tuple[int, ...]
    place: int = field(init=False)
    stands: int = field(init=False)
    each: tuple[tuple[int, int], ...] = field(init=False)

    def __post_init__(self) -> None:
        letters = [i for i in range(len(RIGHT)) if self.used >> i & 1]
        object.__setattr__(self, "place", sum(FREE << 2 * i for i in letters))
        object.__setattr__(self, "stands", sum(1 << 3 * i + (self.code >> 2 * i & FREE) for i in letters))
        object.__setattr__(self, "each", tuple(zip(letters, self.holds, strict=True)))


@lru_cache(maxsize=1 << 18)
def use_of(used: int, code: int, holds: tuple[int, ...]) -> Use:
    """The one record of this use."""
    return Use(used, code, holds)


class Way(NamedTuple):
    """One way of taking an onset.

    ``cost`` counts deviations and sharps, ``dropped`` notes left out beyond those that no way takes, ``early`` the
    events let go; ``let_go`` are their written lengths. ``unset``: what the onset demands beside its notes is left out.
    """

    left: Use
    right: Use
    cost: int
    dropped: int
    early: int
    let_go: frozenset[int]
    picks: Picks
    unset: bool = False


class Ways(NamedTuple):
    """The ways of an onset with the uses of each foot told apart: ``rows`` are the ordinals of both uses by way."""

    ways: tuple[Way, ...]
    left: tuple[Use, ...]
    right: tuple[Use, ...]
    rows: tuple[tuple[int, int, int, int, int], ...]  # left use, right use, dropped, early, cost

    @classmethod
    def of(cls, ways: Sequence[Way]) -> Ways:
        left: dict[Use, int] = {}
        right: dict[Use, int] = {}
        rows = [
            (left.setdefault(w.left, len(left)), right.setdefault(w.right, len(right)), w.dropped, w.early, w.cost)
            for w in ways
        ]
        return cls(tuple(ways), tuple(left), tuple(right), tuple(rows))


class NoPlanError(Exception):
    """What an onset demands beside its notes does not go, whatever is left out."""


Damps = Mapping[str, Sequence[int]]


def hold_us(onset: Onset, note: HarpNote, letter: str, damps: Damps) -> int:
    """How long a note holds its letter: the written length, or up to the next damping of the letter."""
    signs = damps.get(letter)
    if not signs:
        return note.written_us
    at = bisect_right(signs, onset.t_us)
    return min(note.written_us, signs[at] - onset.t_us) if at < len(signs) else note.written_us


class Passage:
    """A passage with its terms; lists the ways of each onset as they are asked for.

    ``forced`` are the strings of printed notes by key, None for a note left out; ``unused`` are letters that an onset
    must not use, by onset. ``weights`` say what a note left out counts, by onset; without them each counts 1. What an
    onset demands beside its notes may be left out as if it were one note, but for the onsets that are ``firm``. Notes
    whose key is in ``kept`` must not be left out.
    """

    def __init__(
        self,
        onsets: Sequence[Onset],
        settings: Settings,
        damps: Damps,
        forced: Mapping[Hashable, String | None],
        unused: Mapping[int, frozenset[str]],
        weights: Sequence[int] | None = None,
        firm: frozenset[int] = frozenset(),
        kept: frozenset[Hashable] = frozenset(),
    ) -> None:
        self.onsets, self.settings, self.damps = tuple(onsets), settings, damps
        self.forced, self.unused = forced, unused
        self.times = tuple(onset.t_us for onset in onsets)
        self.weights = tuple(weights) if weights is not None else (1,) * len(self.onsets)
        self.firm, self.kept = firm, kept
        self.complete = True  # no chord had more ways than are looked at
        self.limits = Limits(settings.reach, settings.hand, settings.together)
        self.fixed = tuple(sorted(settings.fixed.items()))
        self._ways: dict[tuple[int, int, bool, bool], Ways] = {}
        self._bare: dict[int, Ways] = {}
        self._rows: dict[tuple[int, int], tuple[tuple[Picks, bool], ...]] = {}
        self._least: dict[int, int] = {}
        self._signatures: dict[int, Hashable] = {}

    def __len__(self) -> int:
        return len(self.onsets)

    def least(self, i: int) -> int:
        """How many notes of an onset no way can take."""
        found = self._least.get(i)
        if found is None:
            found = 0
            while not self._taken(i, found):
                found += 1
                if found > len(self.onsets[i].notes) + 1:
                    raise NoPlanError
            self._least[i] = found
        return found

    def signature(self, i: int) -> Hashable:
        """All that the ways of an onset depend on; equal ones have equal ways, wherever they stand."""
        found = self._signatures.get(i)
        if found is None:
            onset = self.onsets[i]
            found = self._signatures[i] = (
                tuple((n.pitch, n.written_us, n.key in self.kept, n.key in self.forced) for n in onset.notes),
                tuple(self._options(i, note) for note in onset.notes) if self.forced or i in self.unused else (),
                onset.demands,
                onset.bracketed,
                self.weights[i],
                i in self.firm,
                onset.t_us if self.damps else 0,
            )
        return found

    def ways(self, i: int, dropped: int = 0, early: bool = False, loose: bool = False) -> tuple[Way, ...]:
        """As ``parted``, the ways alone."""
        return self.parted(i, dropped, early, loose).ways

    def parted(self, i: int, dropped: int = 0, early: bool = False, loose: bool = False) -> Ways:
        """The ways of an onset, with notes left out that count up to ``dropped`` beside those that need be.

        ``early``: also those that let events go; ``loose``: nothing is held at all.
        """
        weight, least = self.weights[i], self.least(i)
        count = min(dropped // weight, len(self.onsets[i].notes) + 1 - least)
        key = (i, count, early, loose)
        found = self._ways.get(key)
        if found is None:
            rows: list[Way] = []
            for picks, unset in self._taken(i, least + count):
                rows.extend(self._made(i, picks, count * weight, early, loose, unset))
            fewer = self.parted(i, (count - 1) * weight, early, loose).ways if count else ()
            found = self._ways[key] = Ways.of(undominated(rows, fewer))
        return found

    def bare(self, i: int) -> Ways:
        """The ways of an onset that leave out all that can be left out."""
        found = self._bare.get(i)
        if found is None:
            least, count = self.least(i), len(self.onsets[i].notes) + 1
            while not self._taken(i, count):
                count -= 1
            rows: list[Way] = []
            for picks, unset in self._taken(i, count):
                rows.extend(self._made(i, picks, (count - least) * self.weights[i], False, False, unset))
            found = self._bare[i] = Ways.of(undominated(rows))
        return found

    def _taken(self, i: int, dropped: int) -> Sequence[tuple[Picks, bool]]:
        rows = self._rows.get((i, dropped))
        if rows is None:
            onset = self.onsets[i]
            demands = tuple([(letter, position) for letter, position, _ in onset.demands])
            rows = self._structures(i, dropped, demands, False)
            if demands and dropped and i not in self.firm:
                rows = (*rows, *self._structures(i, dropped - 1, (), True))
            self._rows[i, dropped] = rows
        return rows

    def _structures(
        self, i: int, dropped: int, demands: tuple[tuple[str, int], ...], unset: bool
    ) -> tuple[tuple[Picks, bool], ...]:
        onset = self.onsets[i]
        kept = tuple([note.key in self.kept for note in onset.notes]) if self.kept else ()
        if self.forced or i in self.unused or any(note.named for note in onset.notes):
            options = tuple([self._options(i, note) for note in onset.notes])
            found, complete = _structures(options, onset.bracketed, dropped, demands, self.limits, kept)
        else:
            pitches = tuple([note.pitch for note in onset.notes])
            found, complete = _by_pitch(pitches, self.fixed, onset.bracketed, dropped, demands, self.limits, kept)
        self.complete = self.complete and complete
        return tuple([(picks, unset) for picks in found])

    def _options(self, i: int, note: HarpNote) -> tuple[Choice, ...]:
        found = choices(note.pitch, self.settings.fixed)
        if note.key is not None and note.key in self.forced:
            found = tuple(c for c in found if c.string == self.forced[note.key])
        if note.named:
            found = tuple(c for c in found if (c.string.letter, c.position) == note.spelled)
        if i in self.unused:
            found = tuple(c for c in found if not c.pedal or c.string.letter not in self.unused[i])
        return found

    def _made(self, i: int, picks: Picks, dropped: int, early: bool, loose: bool, unset: bool) -> Iterator[Way]:
        onset = self.onsets[i]
        yield self._way(onset, picks, dropped, _NOTHING, loose, unset)
        if not early:
            return
        lengths = {n.written_us for n, c in zip(onset.notes, picks, strict=True) if c is not None and n.written_us > 0}
        for count in range(1, len(lengths) + 1):
            for let_go in combinations(sorted(lengths), count):
                yield self._way(onset, picks, dropped, frozenset(let_go), loose, unset)

    def with_note(self, i: int, way: Way, n: int, choice: Choice) -> Way:
        """A way with a note of it put back on a string; what is as long as that note is let go."""
        onset = self.onsets[i]
        picks = (*way.picks[:n], choice, *way.picks[n + 1 :])
        let_go = way.let_go | {onset.notes[n].written_us} if onset.notes[n].written_us > 0 else way.let_go
        return self._way(onset, picks, way.dropped - self.weights[i], let_go, False, way.unset)

    def _way(self, onset: Onset, picks: Picks, dropped: int, let_go: frozenset[int], loose: bool, unset: bool) -> Way:
        held: dict[str, int] = {}  # by letter
        used, code = [0, 0], [0, 0]
        cost = 0
        damps = self.damps
        for note, choice in zip(onset.notes, picks, strict=True):
            if choice is None:
                continue
            (letter, _), position, pedal = choice
            _, written, spelled, _, _ = note
            if spelled is None:
                cost += position != 0 and (letter, position) in _NATURALS
            elif spelled != (letter, position):
                cost += DEVIATION
            if position > 0:
                cost += SHARP
            if pedal:
                if loose or written in let_go:
                    hold = 0
                else:
                    hold = hold_us(onset, note, letter, damps) if damps else written
                if letter in held:
                    held[letter] = max(hold, held[letter])
                else:
                    held[letter] = hold
                    foot, bit = PLACE[letter]
                    used[foot] |= 1 << bit
                    code[foot] |= (position + 1) << 2 * bit
        for letter, position, hold in () if unset else onset.demands:
            foot, bit = PLACE[letter]
            used[foot] |= 1 << bit
            code[foot] |= (position + 1) << 2 * bit if letter not in held else 0
            held[letter] = max(hold, held.get(letter, 0))
        left = use_of(used[0], code[0], tuple([held[letter] for letter in LEFT if letter in held]))
        right = use_of(used[1], code[1], tuple([held[letter] for letter in RIGHT if letter in held]))
        return Way(left, right, cost, dropped, len(let_go), let_go, picks, unset)


class Limits(NamedTuple):
    """The part of the settings that chords depend on."""

    reach: int
    hand: int
    together: int


@lru_cache(maxsize=20_000)
def _by_pitch(
    pitches: tuple[int, ...],
    fixed: tuple[tuple[str, int], ...],
    bracketed: bool,
    dropped: int,
    demands: tuple[tuple[str, int], ...],
    limits: Limits,
    kept: tuple[bool, ...],
) -> tuple[tuple[Picks, ...], bool]:
    """As ``_structures``, on all strings that give the pitches."""
    options = tuple(choices(pitch, dict(fixed)) for pitch in pitches)
    return _structures(options, bracketed, dropped, demands, limits, kept)


@lru_cache(maxsize=20_000)
def _structures(
    options: tuple[tuple[Choice, ...], ...],
    bracketed: bool,
    dropped: int,
    demands: tuple[tuple[str, int], ...],
    limits: Limits,
    kept: tuple[bool, ...],
) -> tuple[tuple[Picks, ...], bool]:
    """All assignments of strings to the notes of a chord with exactly ``dropped`` left out; whether all were found."""
    count = len(options)
    if count - dropped > limits.together:
        return (), True
    found: list[Picks] = []
    positions = dict(demands)
    lines: list[int] = []
    picks: list[Choice | None] = []
    rows = [[(choice, choice.string.line, choice.string.letter) for choice in some] for some in options]

    def go(i: int, left: int) -> Iterator[Picks]:
        if left > count - i:
            return
        if i == count:
            if hands_take(lines, bracketed, limits):
                yield tuple(picks)
            return
        for choice, line, letter in rows[i]:
            if line in lines or (choice.pedal and positions.get(letter, choice.position) != choice.position):
                continue
            new = choice.pedal and letter not in positions
            if new:
                positions[letter] = choice.position
            lines.append(line)
            picks.append(choice)
            yield from go(i + 1, left)
            picks.pop()
            lines.pop()
            if new:
                del positions[letter]
        if left and not (kept and kept[i]):
            picks.append(None)
            yield from go(i + 1, left - 1)
            picks.pop()

    for row in go(0, dropped):
        found.append(row)
        if len(found) >= MOST_WAYS:
            return tuple(found), False
    return tuple(found), True


def undominated(rows: Sequence[Way], fewer: Sequence[Way] = ()) -> list[Way]:
    """Leave away the ways that ask for everything another asks for, hold it as long, and are no cheaper.

    ``fewer`` are such ways already, with fewer notes left out than the others; they come first.
    """
    if len(rows) < 2 and not fewer:
        return list(rows)
    ordered = sorted(
        rows, key=lambda w: (w.dropped, w.early, w.left.used.bit_count() + w.right.used.bit_count(), w.cost)
    )
    kept = [*map(_asked, fewer)]
    for one in map(_asked, ordered):
        _, used, code, row = one
        unused = ~used
        for place, other_used, other_code, k in kept:
            if other_used & unused or (other_code ^ code) & place:
                continue  # it asks for a letter that the row leaves alone, or has otherwise
            cheaper = k.dropped <= row.dropped and k.early <= row.early and k.cost <= row.cost
            if cheaper and _less(k.left, row.left) and _less(k.right, row.right):
                break
        else:
            kept.append(one)
    return [row for _, _, _, row in kept]


def _asked(way: Way) -> tuple[int, int, int, Way]:
    """What a way asks of the pedals, both feet in one: the bits of its letters, which they are, where they stand."""
    left, right = way.left, way.right
    return (
        left.place | right.place << _RIGHT_CODE,
        left.used | right.used << len(LEFT),
        left.code | right.code << _RIGHT_CODE,
        way,
    )


def _less(a: Use, b: Use) -> bool:
    """Whether a asks for no more than b."""
    if a is b:
        return True
    if a.used & ~b.used:
        return False
    at_a = at_b = 0
    for i in range(len(FEET[1])):
        if a.used >> i & 1:
            if (a.code ^ b.code) >> 2 * i & FREE or a.holds[at_a] > b.holds[at_b]:
                return False
            at_a += 1
        at_b += b.used >> i & 1
    return True
