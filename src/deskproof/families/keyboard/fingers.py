"""The fingers of one hand on a keyboard, chosen for a whole passage at once.

Chords of one hand in, fingers out; nothing here knows of scores. A chord is taken by an increasing choice of fingers,
the thumb on the lowest key in the right hand and on the highest in the left; the thumb may take two neighbouring keys.
Of all choices for all chords together the cheapest is found (exact dynamic programming, Bellman 1957, Viterbi 1967);
finger_costs.py says what is charged. Equally cheap plans are told apart from the end backwards, chords without the
fourth finger first, then lower fingers: the same passage always gives the same plan.

What comes before all costs, chord by chord:

1. a finger that is asked for is kept, as many of them as can be;
2. no pair of fingers lies beyond its practical span, or as little beyond it as can be;

and from chord to chord a held key keeps its finger unless there is no other way.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations, pairwise, product
from typing import Any, Literal, NamedTuple

from deskproof import facts
from deskproof.families.keyboard import finger_costs as costs
from deskproof.families.keyboard.finger_costs import FINGERS, Weights
from deskproof.families.keyboard.geometry import KEYS, NORMAL, SEMITONES, is_black, keyboard

__all__ = ["FingerSettings", "Hand", "HandOnset", "configurations", "forget", "plan_fingers", "plan_keys", "with_held"]

NONE = 0  # in place of a finger: the hand cannot take all keys of this onset
KEPT = 1 << 15  # matrices kept for the passages to come; one has about a hundred entries
US = 1000  # in a millisecond
HUNDRED = 100
FOURTH = 4

Hand = Literal["right", "left"]
Array = Any  # of numpy, which is loaded only when something is planned
Fixed = tuple[tuple[int, int], ...]


class HandOnset(NamedTuple):
    """What one hand strikes at one time, and what it holds on from before.

    Attributes
    ----------
    t_us : int
        When the keys are struck.
    keys : tuple of int
        The keys struck, MIDI numbers, from the lowest, each once.
    until_us : tuple of int
        When the finger leaves each of them.
    held : tuple of int
        The keys struck before and still held by a finger.
    fixed : tuple of (int, int)
        Key and finger (1 is the thumb) where the finger is given, as by a printed figure; struck keys and held ones.
    """

    t_us: int
    keys: tuple[int, ...]
    until_us: tuple[int, ...]
    held: tuple[int, ...] = ()
    fixed: Fixed = ()


@dataclass(frozen=True, slots=True)
class FingerSettings:
    """What the plan rests on.

    Attributes
    ----------
    width : int
        Thousandths of the width of usual piano keys. On narrower keys the fingers reach more of them.
    weights : Weights
        What is charged; those of facts/fingers.toml if not given.
    """

    width: int = NORMAL
    weights: Weights = field(default_factory=costs.weights)


def plan_fingers(
    onsets: Sequence[HandOnset], hand: Hand, settings: FingerSettings | None = None
) -> tuple[tuple[int, ...], ...]:
    """Choose the fingers of one hand for a passage, at the least cost.

    Where a hand has too few fingers for all keys, held ones are let go, the one furthest from the struck keys first.
    Where it has too few for the struck keys alone, that onset gets no fingers (0 for each key) and the hand begins
    anew after it.

    Parameters
    ----------
    onsets : sequence of HandOnset
        In the order of their times.
    hand : "right" or "left"
    settings : FingerSettings, optional

    Returns
    -------
    tuple of tuple of int
        For each onset the finger of each struck key, 1 the thumb to 5, in the order of its keys.

    Raises
    ------
    ValueError
        If the onsets are not in order, an onset has no key, keys are not in order or no MIDI numbers, a time is
        missing, or a finger is not 1 to 5.

    Examples
    --------
    >>> scale = [HandOnset(250_000 * i, (key,), (250_000 * (i + 1),)) for i, key in enumerate((60, 62, 64, 65, 67))]
    >>> plan_fingers(scale, "right")
    ((1,), (2,), (3,), (4,), (5,))
    >>> plan_fingers([HandOnset(0, (48, 52, 55, 60), (1,) * 4)], "left")
    ((5, 3, 2, 1),)
    """
    return tuple(
        tuple([finger for key, finger in taken if key in keys]) if taken else (NONE,) * len(keys)
        for taken, (_, keys, *_) in zip(plan_keys(onsets, hand, settings), onsets, strict=True)
    )


def plan_keys(
    onsets: Sequence[HandOnset], hand: Hand, settings: FingerSettings | None = None
) -> tuple[tuple[tuple[int, int], ...], ...]:
    """The same plan with the held keys in it: for each onset key and finger of all keys under fingers.

    A held key whose finger is another than before has its finger changed while it is down; one that is missing was let
    go. An onset the hand cannot take is empty.

    >>> plan_keys([HandOnset(0, (60,), (9,)), HandOnset(5, (64,), (9,), held=(60,))], "right")
    (((60, 1),), ((60, 1), (64, 2)))
    """
    _refuse(onsets, hand)
    table = _table(settings or FingerSettings())
    left = hand == "left"
    chords = [table.chord(_in_mirror(onset) if left else onset) for onset in onsets]
    chosen: list[tuple[int, ...]] = []
    for start, end in _runs(chords):
        chosen += [()] * (start - len(chosen))
        chosen += _cheapest(table, onsets[start:end], chords[start:end])
    chosen += [()] * (len(onsets) - len(chosen))
    if left:
        mirrored = costs.mirrored
        found = []
        for chord, fingers in zip(chords, chosen, strict=True):
            found.append(tuple([(mirrored(key), f) for key, f in zip(chord.keys, fingers, strict=False)][::-1]))
        return tuple(found)
    return tuple([tuple(zip(chord.keys, fingers, strict=False)) for chord, fingers in zip(chords, chosen, strict=True)])


def with_held(onsets: Iterable[HandOnset]) -> list[HandOnset]:
    """The same onsets, each with the keys that earlier ones still hold by their times.

    A key that ends just after the next ones are struck is joined to them, not held.

    >>> rows = [HandOnset(0, (60, 67), (990_000, 510_000)), HandOnset(500_000, (64,), (990_000,))]
    >>> [onset.held for onset in with_held(rows)]
    [(), (60,)]
    """
    found = []
    joined_us = US * int(facts.get("keys.overlap").value)
    sounding: dict[int, int] = {}
    for onset in onsets:
        still = onset.t_us + joined_us
        sounding = {key: until for key, until in sounding.items() if until > still and key not in onset.keys}
        found.append(onset._replace(held=tuple(sorted(sounding))))
        sounding |= zip(onset.keys, onset.until_us, strict=True)
    return found


def configurations(keys: Sequence[int], width: int = NORMAL) -> list[tuple[int, ...]]:
    """Every increasing choice of fingers of the right hand for some keys from the lowest, the thumb on two at the end.

    >>> configurations([60, 64, 67, 69, 72])
    [(1, 2, 3, 4, 5)]
    >>> configurations([60, 62, 64, 67, 69, 72]), configurations([60, 61, 64, 67, 69, 72])
    ([(1, 1, 2, 3, 4, 5)], [])
    """
    found = list(combinations(FINGERS, len(keys)))
    if len(keys) > 1 and keyboard(width).one_thumb(keys[0] % SEMITONES, keys[1] - keys[0] + keys[0] % SEMITONES):
        found += [(1, 1, *rest) for rest in combinations(FINGERS[1:], len(keys) - 2)]
    return found


class _Shape:
    """Keys by their distances and colours, with the configurations left after what comes before all costs."""

    __slots__ = ("choices", "marks", "number", "own")

    def __init__(
        self,
        number: int,
        keys: Sequence[int],
        blacks: Sequence[bool],
        struck: Sequence[bool],
        choices: Sequence[tuple[int, ...]],
        wanted: Sequence[tuple[int, int]],
        settings: FingerSettings,
    ) -> None:
        width, charged = settings.width, settings.weights
        ranked = [(_missed(choice, wanted), _beyond(keys, choice, width), choice) for choice in choices]
        best = min((rank[:2] for rank in ranked), default=None)
        self.number = number
        self.choices = sorted(
            (choice for *rank, choice in ranked if tuple(rank) == best), key=lambda choice: (FOURTH in choice, choice)
        )
        self.own = [costs.chord_cost(keys, blacks, struck, choice, width, charged) for choice in self.choices]
        self.marks = _numpy().array(self.choices, dtype=_numpy().intp).reshape(len(self.choices), len(keys)).T


class _Chord:
    """Keys under the right hand, from the lowest: those struck and those held."""

    __slots__ = ("held", "keys", "low", "shape", "struck")

    def __init__(self, keys: list[int], held: frozenset[int], shape: _Shape) -> None:
        self.keys, self.held, self.shape = keys, held, shape
        self.low = keys[0]
        self.struck = [key not in held for key in keys]


class _Table:
    """Chords and matrices under one player's settings, as met so far."""

    def __init__(self, settings: FingerSettings) -> None:
        np = _numpy()
        self.settings = settings
        self.chords: dict[tuple[Any, ...], _Chord] = {}
        self.shapes: dict[tuple[Any, ...], _Shape] = {}
        self.matrices: dict[tuple[int, ...], Array] = {}
        width, charged = settings.width, settings.weights
        limits = [abs(limit) for pair in costs.spans().values() for limit in pair]
        self.furthest = max(limits) * NORMAL // width + 1  # from here on distance makes no difference
        reach = range(-self.furthest, self.furthest + 1)
        shape = (len(reach), 1 + len(FINGERS), 1 + len(FINGERS))
        self.steps = np.zeros((2, 4, *shape), dtype=np.int64)
        self.skips = np.zeros((4, *shape), dtype=np.int64)
        for place, apart in enumerate(reach):
            for f, g in product(FINGERS, FINGERS):
                self.skips[:, place, f, g] = costs.skip_cost(f, g, apart, width, charged)
                for fast, colours in product((0, 1), range(4)):
                    first, second = colours > 1, colours % 2 == 1
                    cost = costs.step_cost(f, g, apart, first, second, fast == 1, width, charged)
                    self.steps[fast, colours, place, f, g] = cost

    def chord(self, onset: HandOnset) -> _Chord:
        """The chord of an onset of the right hand; chords of the same distances and colours have the same number."""
        _, keys, _, held, fixed = onset
        name = (keys, held, fixed)
        found = self.chords.get(name)
        if found is None:
            if len(self.chords) > KEPT:
                self.chords.clear()
            found = self.chords[name] = self._chord(keys, held, fixed)
        return found

    def _chord(self, new: tuple[int, ...], held: tuple[int, ...], fixed: Fixed) -> _Chord:
        width = self.settings.width
        keys = list(new)
        holding = []
        choices = configurations(keys, width)
        if held:
            holding = sorted(set(held).difference(new), key=lambda key: (min(abs(key - one) for one in new), key))
            keys = sorted((*new, *holding))
            choices = configurations(keys, width)
            while not choices and holding:
                keys.remove(holding.pop())
                choices = configurations(keys, width)
        low = keys[0]
        away = tuple([key - low for key in keys])
        blacks = tuple([is_black(key) for key in keys])
        struck = tuple([key not in holding for key in keys])
        wanted = tuple([(keys.index(key), finger) for key, finger in fixed if key in keys])
        name = (away, blacks, struck, len(choices), wanted)
        shape = self.shapes.get(name)
        if shape is None:
            shape = _Shape(len(self.shapes), away, blacks, struck, choices, wanted, self.settings)
            self.shapes[name] = shape
        return _Chord(keys, frozenset(holding), shape)

    def step(self, before: _Chord, after: _Chord, kind: int, fast: int) -> Array:
        """What each way of taking a chord costs after each of the chord before it, its own cost in it."""
        name = (before.shape.number, after.shape.number, after.low - before.low, kind, fast)
        found = self.matrices.get(name)
        if found is None:
            np = _numpy()
            found = self._sum(before, after, self.steps[fast], kind)
            if after.held:
                for i, key in enumerate(before.keys):
                    if key in after.held:
                        changed = before.shape.marks[i][:, None] != after.shape.marks[after.keys.index(key)]
                        found = found + costs.SUBSTITUTION * changed
            found = self._keep(name, found + np.array(after.shape.own, dtype=np.int64))
        return found

    def skip(self, before: _Chord, after: _Chord, kind: int) -> Array:
        """The same with a chord between the two and without the later one's own cost; with an axis for that between."""
        name = (before.shape.number, after.shape.number, after.low - before.low, kind)
        found = self.matrices.get(name)
        if found is None:
            found = self._keep(name, self._sum(before, after, self.skips, kind)[:, None, :])
        return found

    def _sum(self, before: _Chord, after: _Chord, charged: Array, kind: int) -> Array:
        np = _numpy()
        one, two = before.shape.marks, after.shape.marks
        gone = [i for i, key in enumerate(before.keys) if key not in after.held] if after.held else range(len(one))
        if not gone:
            return np.zeros((one.shape[1], two.shape[1]), dtype=np.int64)
        new = [j for j, struck in enumerate(after.struck) if struck] if after.held else range(len(two))
        furthest = self.furthest
        whole = 0
        for i in gone:
            key, mine = before.keys[i], one[i][:, None]
            colour = 2 * is_black(key)
            for j in new:
                apart = after.keys[j] - key
                apart = furthest if apart > furthest else -furthest if apart < -furthest else apart
                whole = whole + charged[colour + is_black(after.keys[j]), apart + furthest, mine, two[j]]
        share = costs.shares()[kind]
        return whole * share // (HUNDRED * len(gone) * len(new))

    def _keep(self, name: tuple[int, ...], matrix: Array) -> Array:
        if len(self.matrices) > KEPT:
            self.matrices.clear()
        self.matrices[name] = matrix
        return matrix


def forget() -> None:
    """Let go of all chords and matrices kept from earlier passages. Plans are the same without them."""
    _table.cache_clear()


@lru_cache(maxsize=8)
def _table(settings: FingerSettings) -> _Table:
    return _Table(settings)


def _cheapest(table: _Table, onsets: Sequence[HandOnset], chords: Sequence[_Chord]) -> list[tuple[int, ...]]:
    """The cheapest configurations of a run of chords, each with at least one.

    The state is how two chords in a row are taken.
    """
    np = _numpy()
    add, least = np.add, np.minimum.reduce
    kinds, fast = _kinds(onsets)
    cost = np.array([chords[0].shape.own], dtype=np.int64)
    reached = [cost]
    skips = [np.zeros((1, 1, 1), dtype=np.int64)]
    before, nearer = chords[0], None
    for i in range(1, len(chords)):
        after = chords[i]
        if nearer is None:
            skip = np.zeros((1, 1, len(after.shape.choices)), dtype=np.int64)
        else:
            skip = table.skip(nearer, after, max(kinds[i - 2], kinds[i - 1]))
        cost = least(add(cost[:, :, None], skip), 0)
        cost += table.step(before, after, kinds[i - 1], fast[i - 1])
        reached.append(cost)
        skips.append(skip)
        before, nearer = after, before
    one, two = divmod(int(reached[-1].argmin()), reached[-1].shape[1])
    path = [chords[-1].shape.choices[two]]
    for i in range(len(chords) - 1, 0, -1):
        path.append(chords[i - 1].shape.choices[one])
        one, two = int((reached[i - 1][:, one] + skips[i][:, 0, two]).argmin()), one
    path.reverse()
    return path


def _kinds(onsets: Sequence[HandOnset]) -> tuple[list[int], list[int]]:
    """How each onset follows the one before it: joined, apart or from a free hand; and 1 where it follows fast."""
    joined, free, fast = (facts.get(f"fingers.{name}").value * US for name in ("joined", "free", "fast"))
    kinds, quick = [], []
    for before, after in pairwise(onsets):
        gap = after.t_us - max(before.until_us)
        kinds.append(costs.JOINED if gap <= joined or after.held else costs.APART if gap < free else costs.FREE)
        quick.append(int(after.t_us - before.t_us < fast))
    return kinds, quick


def _runs(chords: Sequence[_Chord]) -> list[tuple[int, int]]:
    """From where to where every chord has a configuration."""
    found = []
    start = 0
    for i, chord in enumerate(chords):
        if not chord.shape.choices:
            found.append((start, i))
            start = i + 1
    found.append((start, len(chords)))
    return [(start, end) for start, end in found if start < end]


def _in_mirror(onset: HandOnset) -> HandOnset:
    t_us, keys, until_us, held, fixed = onset
    mirrored = costs.mirrored
    return HandOnset(
        t_us,
        tuple([mirrored(key) for key in reversed(keys)]),
        until_us[::-1],
        tuple([mirrored(key) for key in reversed(held)]),
        tuple([(mirrored(key), finger) for key, finger in fixed]),
    )


def _missed(choice: Sequence[int], wanted: Sequence[tuple[int, int]]) -> int:
    return sum(choice[i] != finger for i, finger in wanted)


def _beyond(keys: Sequence[int], choice: Sequence[int], width: int) -> int:
    """How far all pairs of fingers together lie beyond their practical spans, in thousandths of a semitone."""
    return sum(
        costs.beyond(choice[i], choice[j], keys[i], keys[j], width)
        for j in range(len(keys))
        for i in range(j)
        if choice[i] != choice[j]
    )


def _numpy() -> Any:
    import numpy

    return numpy


def _refuse(onsets: Sequence[HandOnset], hand: str) -> None:
    if hand not in ("right", "left"):
        raise ValueError(f"the hand is 'right' or 'left'; found {hand!r}")
    before = None
    for i, (t_us, keys, until_us, _, fixed) in enumerate(onsets):
        if before is not None and t_us < before:
            raise ValueError(f"onset {i} comes before the one it follows; put them in the order of their times")
        before = t_us
        if not keys or len(keys) != len(until_us):
            raise ValueError(f"onset {i}: a key and a time for each are expected; found {keys} and {until_us}")
        if len(keys) > 1 and any(low >= high for low, high in pairwise(keys)):
            raise ValueError(f"onset {i}: keys from the lowest, each once, are expected; found {keys}")
        if keys[0] < 0 or keys[-1] >= KEYS:
            raise ValueError(f"onset {i}: MIDI numbers are expected; found {keys}")
        if fixed and any(finger not in FINGERS for _, finger in fixed):
            raise ValueError(f"onset {i}: fingers are 1 to 5; found {fixed}")
