"""Fit the prices of hand_costs.py on the recordings with an odd name: ``python benchmarks/fit_hands.py``.

A structured hinge loss, minimised by subgradients with one rate for each weight: search each stretch with the prices
so far, a note on the wrong hand made cheaper by a margin; what the true hands did becomes cheaper, what the search
did dearer. Weights are averaged over the last half of the rounds and neighbours smoothed towards each other. Times are
stretched and keys shifted at random (from a fixed seed), as no recording has every tempo and key. ``--folds`` says how
well it does on odd files left out; ``--write`` writes the tables. One process; about ten minutes.
"""

from __future__ import annotations

import random
import sys
import textwrap
import time
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from deskproof.families.keyboard import hand_costs as costs
from deskproof.families.keyboard import hand_search
from deskproof.families.keyboard.hand_search import BOTH, LEFT, RIGHT, Leap, Press, search
from deskproof.families.keyboard.hands import grouped, settings_of

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
two_hands: Any = import_module("two_hands")

PAGE = Path(costs.__file__)
MARK = "# Everything below is made by benchmarks/fit_hands.py.\n# fmt: off\n"
SHAPES: dict[str, tuple[int, ...]] = {
    "MOVE": (10, 61),
    "REGION": (10, 61),
    "TOGETHER": (10, 49),
    "LINE": (2, 8, 10),
    "TURN": (3, 3, 10, 4),
    "EXTENT": (30,),
    "COUNT": (12,),
    "SHARE": (8, 8),
    "BETWEEN": (60,),
    "SHORT_OF": (40,),
    "REGISTER": (2, 90),
    "HELD": (128,),
    "ACROSS": (10, 61),
    "BESIDE": (73,),
    "TAKEN": (1,),
}
SMOOTH = ("MOVE", "REGION", "TOGETHER", "EXTENT", "BETWEEN", "SHORT_OF", "REGISTER", "HELD", "ACROSS", "BESIDE")
SAYS = {
    "MOVE": "By pace, then by how far the middle of the hand goes outwards, from -30 to 30 semitones.",
    "REGION": "By pace, then by how far outwards of where the hand has been of late, from -30 to 30 semitones.",
    "TOGETHER": "By pace, then by the extent of both events together, to 48 semitones.",
    "LINE": "For more keys and for one; by APART; by rest.",
    "TURN": "By who played last, who plays now (left, right, both), the pace between, and the keys less one, to 3.",
    "EXTENT": "By the semitones one hand stretches, to 29.",
    "COUNT": "By the keys one hand takes, to 11.",
    "SHARE": "By the keys of both hands, to 7, then by those of the left.",
    "BETWEEN": "By the semitones from the left hand up to the right in one chord, from -15 to 44.",
    "SHORT_OF": "By how much that is less than the widest gap of the chord, to 39.",
    "REGISTER": "Left and right hand; by the MIDI number of the middle of its keys, from 20 to 109.",
    "HELD": "By the semitones from a key the hand holds to the far end of what it strikes.",
    "ACROSS": "By pace of a hand that rests, then by the semitones the other clears its last keys, from -24 to 36.",
    "BESIDE": "By the semitones by which the other hand clears a held key, from -36 to 36.",
    "TAKEN": "The other hand strikes a key this one holds.",
}
STARTS = dict(
    zip(SHAPES, np.cumsum([0, *(int(np.prod(shape)) for shape in SHAPES.values())])[:-1].tolist(), strict=True)
)
SIZE = sum(int(np.prod(shape)) for shape in SHAPES.values())
SETTINGS = settings_of()
LEAP = Leap(SETTINGS.leap_from_um, SETTINGS.leap_least_us)
Row = Sequence[int | None]


def place(table: str, *index: int) -> int:
    """Where an entry of a table stands among all weights."""
    found = 0
    for i, size in zip(index, SHAPES[table], strict=True):
        found = found * size + i
    return int(STARTS[table]) + found


def counted(onsets: Sequence[Press], split: Sequence[Row]) -> dict[int, int]:
    """How often a split uses each weight."""
    uses: dict[int, int] = defaultdict(int)
    hands: list[tuple[int, int, int, int, list[tuple[int, int]], int]] = [
        (low, low, onsets[0].t_us - costs.LONG_AGO_US, onsets[0].t_us - costs.LONG_AGO_US, [], 32 * low)
        for low in costs.AT_REST
    ]
    who, before_us = BOTH, onsets[0].t_us
    for press, row in zip(onsets, split, strict=True):
        t_us = press.t_us
        mine = [[p for p, taken in enumerate(row) if taken == side] for side in (LEFT, RIGHT)]
        now = BOTH if mine[0] and mine[1] else LEFT if mine[0] else RIGHT
        keys = [[press.keys[p] for p in places] for places in mine]
        uses[place("TURN", who, now, bisect_right(costs.PACE_US, t_us - before_us), min(3, len(press.keys) - 1))] += 1
        uses[place("SHARE", min(7, len(press.keys)), min(7, len(mine[0])))] += 1
        if now == BOTH:
            gap = keys[1][0] - keys[0][-1]
            widest = max(b - a for a, b in zip(press.keys, press.keys[1:], strict=False))
            uses[place("BETWEEN", max(-15, min(44, gap)) + 15)] += 1
            uses[place("SHORT_OF", max(0, min(39, widest - gap)))] += 1
        for side in (LEFT, RIGHT):
            low0, high0, last_us, until_us, held, region = hands[side]
            holding = [key for end, key in held if end > t_us + costs.HELD_ON_US]
            if not mine[side]:
                edge = keys[RIGHT][0] if side == LEFT else keys[LEFT][-1]
                pace = bisect_right(costs.PACE_US, t_us - last_us)
                clear = edge - high0 if side == LEFT else low0 - edge
                uses[place("ACROSS", pace, max(-24, min(36, clear)) + 24)] += 1
                for key in holding:
                    clear = edge - key if side == LEFT else key - edge
                    uses[place("BESIDE", max(-36, min(36, clear)) + 36)] += 1
                    if key in press.keys:
                        uses[place("TAKEN", 0)] += 1
                continue
            low, high = keys[side][0], keys[side][-1]
            pace = bisect_right(costs.PACE_US, t_us - last_us)
            steps = (low + high - low0 - high0) // 2 * (1 if side == RIGHT else -1)
            uses[place("MOVE", pace, max(-30, min(30, steps)) + 30)] += 1
            off = (16 * (low + high) - region) // 32
            uses[place("REGION", pace, max(-30, min(30, -off if side == LEFT else off)) + 30)] += 1
            region += (16 * (low + high) - region) * costs.DRIFT[pace] // 16
            uses[place("TOGETHER", pace, min(48, max(high, high0) - min(low, low0)))] += 1
            apart = -1 if (low, high) == (low0, high0) else max(0, low - high0, low0 - high)
            rest = bisect_right(costs.REST_US, t_us - until_us)
            uses[place("LINE", int(low == high), bisect_right(costs.APART, apart), rest)] += 1
            uses[place("EXTENT", min(29, high - low))] += 1
            uses[place("COUNT", min(11, len(keys[side])))] += 1
            uses[place("REGISTER", side, max(0, min(89, (low + high) // 2 - 20)))] += 1
            for key in holding:
                uses[place("HELD", max(high, key) - min(low, key))] += 1
            fresh = [(press.until_us[p], press.keys[p]) for p in mine[side]]
            hands[side] = (low, high, t_us, max(fresh)[0], [old for old in held if old[0] > t_us] + fresh, region)
        who, before_us = now, t_us
    return uses


def use(weights: np.ndarray) -> None:
    """Let the search count with these weights."""
    whole = np.rint(weights).astype(int)
    for name, shape in SHAPES.items():
        table = whole[STARTS[name] : STARTS[name] + int(np.prod(shape))].reshape(shape).tolist()
        setattr(costs, name, table[0] if name == "TAKEN" else table)
    hand_search.ways_of.cache_clear()


def smoothed(weights: np.ndarray, share: float) -> np.ndarray:
    """Each weight a little nearer to its neighbours."""
    out = weights.copy()
    for name in SMOOTH:
        shape = SHAPES[name]
        part = out[STARTS[name] : STARTS[name] + int(np.prod(shape))].reshape(shape)
        beside = np.concatenate([part[..., :1], part, part[..., -1:]], axis=-1)
        part += share * ((beside[..., :-2] + beside[..., 2:]) / 2 - part)
    return out


def stretches(recordings: Sequence[Any], length: int) -> list[tuple[list[Press], list[Row]]]:
    """The recordings in pieces of so many presses, with the true hands; the true hands also stand as staves."""
    out = []
    for recording in recordings:
        truth = {(t, key, until): hand for (t, key, until), hand in zip(recording.notes, recording.hands, strict=True)}
        rows = [
            [(t, key, until) for t, key, until in sorted(row, key=lambda note: note[1])]
            for row in chords(recording.notes)
        ]
        presses: list[Press] = []
        hands: list[Row] = []
        for row in rows:
            of = tuple(RIGHT if truth[note] == "R" else LEFT for note in row)
            presses.append(
                Press(
                    row[0][0] if len(row) == 1 else min(note[0] for note in row),
                    tuple(note[1] for note in row),
                    tuple(note[2] for note in row),
                    tuple(1 if hand == RIGHT else 2 for hand in of),
                )
            )
            hands.append(of)
        out += [(presses[a : a + length], hands[a : a + length]) for a in range(0, len(presses), length)]
    return out


def chords(notes: Sequence[tuple[int, int, int]]) -> list[list[tuple[int, int, int]]]:
    """The notes of each press, in the order of ``grouped``."""
    rest = iter(sorted(notes))
    return [[next(rest) for _ in press.keys] for press in grouped(notes)]


def varied(onsets: Sequence[Press], chance: random.Random) -> list[Press]:
    """The same music in another tempo and key."""
    speed, shift = chance.randint(80, 125), chance.randint(-3, 3)
    if any(not 21 <= key + shift <= 108 for press in onsets for key in (press.keys[0], press.keys[-1])):
        shift = 0
    return [
        Press(
            p.t_us * speed // 100,
            tuple(key + shift for key in p.keys),
            tuple(until * speed // 100 for until in p.until_us),
            p.staves,
        )
        for p in onsets
    ]


def fit(
    recordings: Sequence[Any], rounds: int, margin: int, rate: float, share: float, length: int, most: int
) -> np.ndarray:
    """The weights."""
    chance = random.Random(1)
    whole = [stretches([recording], length) for recording in recordings]
    weights = np.zeros(SIZE)
    total, n = np.zeros(SIZE), 0
    costs.STAFF = -margin
    for turn in range(rounds):
        pieces = [piece for one in whole for piece in chance.sample(one, min(most, len(one)))]
        chance.shuffle(pieces)
        for plain, truth in pieces:
            onsets = varied(plain, chance)
            use(weights)
            found = search(onsets, SETTINGS.limits, SETTINGS.hard_um, LEAP)
            slope = np.zeros(SIZE)
            for where, times in counted(onsets, truth).items():
                slope[where] += times
            for where, times in counted(onsets, found).items():
                slope[where] -= times
            weights = smoothed(weights - rate / (1 + turn / 2) * slope, share)
            if turn >= rounds // 2:
                total += weights
                n += 1
    return total / n


def measured(recordings: Sequence[Any], weights: np.ndarray) -> tuple[float, float]:
    """Share of notes on the right hand, and its mean over files."""
    costs.STAFF = 0
    use(weights)
    right = notes = 0
    files = []
    for recording in recordings:
        [(onsets, truth)] = stretches([recording], 10**9)
        bare = [press._replace(staves=()) for press in onsets]
        found = search(bare, SETTINGS.limits, SETTINGS.hard_um, LEAP)
        same = sum(a == b for one, other in zip(found, truth, strict=True) for a, b in zip(one, other, strict=True))
        right, notes = right + same, notes + len(recording.notes)
        files.append(same / len(recording.notes))
    return right / notes, sum(files) / len(files)


def written(weights: np.ndarray) -> str:
    """The tables as Python."""
    lines = []
    for name, shape in SHAPES.items():
        part = np.rint(weights[STARTS[name] : STARTS[name] + int(np.prod(shape))]).astype(int).reshape(shape).tolist()
        lines.append(f"# {SAYS[name]}")
        if name == "TAKEN":
            lines.append(f"TAKEN = {part[0]}\n")
            continue
        kind = "int"
        for _depth in range(len(shape)):
            kind = f"tuple[{kind}, ...]"
        lines.append(f"{name}: {kind} = {_tuple(part, 0)}\n")
    return "\n".join(lines)


def _tuple(value: Any, depth: int) -> str:
    if isinstance(value[0], int):
        inner = "    " * (depth + 1)
        text = textwrap.fill(
            ", ".join(map(str, value)) + ",",
            width=118,
            initial_indent=inner,
            subsequent_indent=inner,
            break_on_hyphens=False,
        )
        return f"(\n{text}\n{'    ' * depth})"
    rows = "".join(f"{'    ' * (depth + 1)}{_tuple(row, depth + 1)},\n" for row in value)
    return f"(\n{rows}{'    ' * depth})"


def main(arguments: Sequence[str]) -> None:
    """Fit, and say or write what came of it."""
    odd = [recording for recording in two_hands.recordings() if recording.odd]
    options: dict[str, Any] = {"rounds": 4, "margin": 400, "rate": 10.0, "share": 0.01, "length": 100, "most": 1000}
    for argument in arguments:
        name, _, value = argument.removeprefix("--").partition("=")
        if name in options:
            options[name] = type(options[name])(value)
    began = time.perf_counter()
    if "--folds" in arguments:
        for fold in range(3):
            seen = [recording for i, recording in enumerate(odd) if i % 3 != fold]
            unseen = [recording for i, recording in enumerate(odd) if i % 3 == fold]
            weights = fit(seen, **options)
            print(fold, *(f"{share:.4f}" for share in measured(unseen, weights)), flush=True)
    else:
        weights = fit(odd, **options)
        print("seen", *(f"{share:.4f}" for share in measured(odd, weights)))
        if "--write" in arguments:
            head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
            PAGE.write_text(f"{head}{MARK}\n{written(weights)}", encoding="utf-8")
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(sys.argv[1:])
