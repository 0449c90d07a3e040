"""Can two hands play the plan of a harp as the JSON of ``check`` gives it? Reads that record and nothing else.

Nothing here imports the package under test. ``plan`` is one entry of ``plans`` of kind harp. The terms are facts of the
trade: four fingers a hand, the right hand not below the G1 string, and for a chord that must not be broken a tenth.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

FINGERS = 4
TENTH = 9  # steps from string to string
LETTERS = "CDEFGAB"
RIGHT_LOWEST = "G1"

Taken = tuple[int, str | None]


def line(string: str) -> int:
    """A string by its letter and octave, in steps."""
    return LETTERS.index(string[0]) + 7 * int(string[1:])


def check(plan: Mapping[str, Any], unbroken: Collection[int] = ()) -> list[str]:
    """All that is wrong with the hands of a plan; ``unbroken`` are times at which a chord must not be broken."""
    named = {ref for row in plan["unplanned"] for ref in row["notes"]}
    onsets: dict[int, list[Taken]] = defaultdict(list)
    said = []
    for event in plan["events"]:
        if event["hands"] is None or len(event["hands"]) != len(event["strings"]):
            said.append(f"{event['t_us']}: {event['hands']} for {event['strings']}")
            continue
        onsets[event["t_us"]] += zip(map(line, event["strings"]), event["hands"], strict=True)
        if None in event["hands"] and not named.intersection(event["notes"]):
            said.append(f"{event['t_us']}: a note without a hand is not named as unplanned")
    for t_us, row in sorted(onsets.items()):
        said += [f"{t_us}: {problem}" for problem in _onset(row, t_us in unbroken)]
    return said


def _onset(row: Sequence[Taken], unbroken: bool) -> Iterator[str]:
    lines = [at for at, _ in row]
    if len(set(lines)) < len(lines):
        yield "one string twice"
    for hand in ("L", "R"):
        mine = [at for at, its in row if its == hand]
        problem = _refused(mine, hand, unbroken)
        if problem:
            yield f"{hand}: {problem}"
    for spare in [at for at, its in row if its is None]:
        if _some_split([*(at for at, its in row if its), spare], unbroken):
            yield f"string {spare} has no hand and could have one"


def _refused(mine: Sequence[int], hand: str, unbroken: bool) -> str:
    if len(mine) > FINGERS:
        return f"{len(mine)} notes"
    if hand == "R" and mine and min(mine) < line(RIGHT_LOWEST):
        return "below its lowest string"
    if unbroken and mine and max(mine) - min(mine) > TENTH:
        return "wider than a tenth at once"
    return ""


def _some_split(lines: Sequence[int], unbroken: bool) -> bool:
    """Whether any split of these strings between the hands goes, of all there are."""
    return any(
        not any(
            _refused([at for k, at in enumerate(lines) if bool(choice >> k & 1) == right], "LR"[right], unbroken)
            for right in (False, True)
        )
        for choice in range(1 << len(lines))
    )
