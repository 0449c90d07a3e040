"""Can two hands play so? Tests a hand for every string of a harp passage against fingers, reach and places.

Nothing here imports the package under test. The onsets are as in `harp_hands_bruteforce`; ``hands`` are "L", "R" or
None by onset and note, ``left_out`` are pairs of onset and note, ``hard`` are rows of kind, onset, notes, number, hand
and the onset before. The checker solves nothing; it says what in a plan cannot be, which notes are left out that
could be added (with the others of the onset given to the hands anew), and what is awkward but not said so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

KINDS = ("leap", "again", "busy", "low", "high", "harmonics")


def check(
    onsets: Sequence[Mapping[str, Any]],
    hands: Sequence[Sequence[str | None]],
    left_out: Sequence[tuple[int, int]],
    hard: Sequence[Sequence[Any]],
    terms: Mapping[str, int],
) -> list[str]:
    """All that is wrong with a plan; an empty list if nothing is."""
    if len(hands) != len(onsets):
        return [f"{len(hands)} rows of hands for {len(onsets)} onsets"]
    said = []
    missing = []
    for i, (onset, row) in enumerate(zip(onsets, hands, strict=True)):
        if len(row) != len(onset["lines"]):
            said.append(f"onset {i}: {len(row)} hands for {len(onset['lines'])} notes")
            continue
        missing += [(i, n) for n, hand in enumerate(row) if hand is None]
        said += [f"onset {i}: {problem}" for problem in _onset(onset, row, terms)]
    if said:
        return said
    if list(left_out) != missing:
        said.append(f"left out {list(left_out)}, without a hand {missing}")
    named = Counter((row[0], row[1], tuple(row[2]), row[3], row[4], row[5]) for row in hard)
    found = Counter(_awkward(onsets, hands, terms))
    seen = {row[0] for row in named} - set(KINDS)
    if seen:
        said.append(f"kinds not known: {sorted(seen)}")
    compared = Counter({row: n for row, n in named.items() if row[0] != "leap"})
    said += [f"not said: {row}" for row in sorted((found - compared).elements())]
    said += [f"said without cause: {row}" for row in sorted((compared - found).elements())]
    said += [problem for row in named if row[0] == "leap" for problem in _leap(row, onsets, hands, terms)]
    return said


def _onset(onset: Mapping[str, Any], row: Sequence[str | None], terms: Mapping[str, int]) -> Iterator[str]:
    lines = onset["lines"]
    taken = [line for line, hand in zip(lines, row, strict=True) if hand is not None]
    if set(row) - {"L", "R", None}:
        yield f"hands {set(row)}"
    if len(set(taken)) < len(taken):
        yield "one string twice"
    if len(taken) > terms["together"]:
        yield f"{len(taken)} notes together"
    for hand in "LR":
        mine = sorted(line for line, its in zip(lines, row, strict=True) if its == hand)
        yield from (f"{hand}: {problem}" for problem in _hand(mine, hand, onset["bracketed"], terms))
    for line in sorted(set(lines) - set(taken)):
        if _two_hands(sorted([*taken, line]), onset["bracketed"], terms):
            yield f"string {line} is left out and could be taken"


def _hand(mine: Sequence[int], hand: str, bracketed: bool, terms: Mapping[str, int]) -> Iterator[str]:
    if len(mine) > terms["hand"]:
        yield f"{len(mine)} notes"
    if bracketed and mine and mine[-1] - mine[0] > terms["reach"]:
        yield f"{mine[-1] - mine[0]} steps at once"
    if hand == "R" and mine and mine[0] < terms["right_lowest"]:
        yield f"string {mine[0]}"


def _two_hands(lines: Sequence[int], bracketed: bool, terms: Mapping[str, int]) -> bool:
    """Whether some split of these strings, of all there are, can be played."""
    if len(lines) > terms["together"]:
        return False
    for choice in range(1 << len(lines)):
        parts: dict[str, list[int]] = {"L": [], "R": []}
        for k, line in enumerate(lines):
            parts["R" if choice >> k & 1 else "L"].append(line)
        if not any(problem for hand, mine in parts.items() for problem in _hand(mine, hand, bracketed, terms)):
            return True
    return False


def _awkward(
    onsets: Sequence[Mapping[str, Any]], hands: Sequence[Sequence[str | None]], terms: Mapping[str, int]
) -> Iterator[tuple[str, int, tuple[int, ...], int, str, int]]:
    """Everything awkward but the leaps, looked for anew at each onset in all onsets before it."""
    for i, (onset, row) in enumerate(zip(onsets, hands, strict=True)):
        now = onset["t_us"]
        for n, (line, hand) in enumerate(zip(onset["lines"], row, strict=True)):
            for j in range(i - 1, -1, -1):
                if hand is None or now - onsets[j]["t_us"] >= terms["again_us"]:
                    break
                before = dict(zip(onsets[j]["lines"], hands[j], strict=True)).get(line)
                if before is not None:
                    if before == hand:
                        yield "again", i, (n,), now - onsets[j]["t_us"], hand, j
                    break
        for hand in "LR":
            notes = tuple(n for n, its in enumerate(row) if its == hand)
            if not notes:
                continue
            ends = [
                (onsets[j]["t_us"] + onsets[j]["hold_us"][m], -j)
                for j in range(i)
                for m, its in enumerate(hands[j])
                if its == hand and onsets[j]["how"][m] in ("trill", "gliss")
            ]
            end, at = max(ends, default=(now, 0))
            if end > now:
                yield "busy", i, notes, end - now, hand, -at
            if hand == "R":
                beyond = {n: terms["right_comfortable"] - onset["lines"][n] for n in notes}
            else:
                beyond = {n: onset["lines"][n] - terms["left_highest_comfortable"] for n in notes}
            far = tuple(n for n in notes if beyond[n] > 0)
            if far:
                yield "low" if hand == "R" else "high", i, far, max(beyond[n] for n in far), hand, -1
            bells = tuple(n for n in notes if onset["how"][n] == "harmonic")
            places = [onset["lines"][n] for n in bells]
            if hand == "R":
                good = len(bells) <= terms["right_harmonics"]
            else:
                good = len(bells) <= terms["left_harmonics"] and (
                    not bells or max(places) - min(places) <= terms["left_harmonics_reach"]
                )
            if not good:
                yield "harmonics", i, bells, len(bells), hand, -1


def _leap(
    row: tuple[Any, ...],
    onsets: Sequence[Mapping[str, Any]],
    hands: Sequence[Sequence[str | None]],
    terms: Mapping[str, int],
) -> Iterator[str]:
    """A leap goes from the hand's onset before to this one, and never lacks more time than its whole way takes."""
    _, i, notes, number, hand, j = row
    before = [k for k in range(i) if hand in hands[k]]
    if not before or before[-1] != j:
        yield f"onset {i}: the leap of {hand} does not follow from onset {j}"
        return
    if notes != tuple(n for n, its in enumerate(hands[i]) if its == hand):
        yield f"onset {i}: the leap of {hand} has notes {notes}"
    lines = [
        line for k in (i, j) for line, its in zip(onsets[k]["lines"], hands[k], strict=True) if its == hand
    ]  # fmt: skip
    steps = max(lines) - min(lines)
    most = steps * -(-1_000_000 // terms["leap"]) - (onsets[i]["t_us"] - onsets[j]["t_us"])
    if not 0 < number <= most:
        yield f"onset {i}: the leap of {hand} lacks {number} us; {most} at most"
