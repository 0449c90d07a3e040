"""Two feet on the keys of an organ's pedalboard: which foot takes what, and what two feet do not do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.keyboard import rules
from deskproof.families.keyboard.reading import Key, Reading, refs
from deskproof.families.keyboard.speed_checks import goes_up_to, told
from deskproof.families.keyboard.wording import NEAR, name_of, place_of
from deskproof.families.wording import listed
from deskproof.findings import Finding

US = 1000
LEFT, RIGHT = "left", "right"
_CROSSED, _AGAIN, _SAME = 2, 10, 1  # prices: feet crossed, a foot too soon again, a foot again


class _State(NamedTuple):
    """Price so far; of each foot its last key and when; the feet of each onset so far."""

    price: int
    last: tuple[tuple[int, int] | None, tuple[int, int] | None]
    feet: tuple[tuple[str, ...], ...]


def feet_of(rows: Sequence[Sequence[Key]]) -> list[tuple[str | None, ...]]:
    """The foot of each key of each onset, left or right; None where no foot is free for it.

    The cheapest way over the whole part: feet in turn, uncrossed; toe and heel of one foot take two neighbours.
    """
    span = int(facts.get("keyboards.organ_foot_span").value)
    again_us = US * int(facts.get("keyboards.organ_foot_again").value)
    states = [_State(0, (None, None), ())]
    for row in rows:
        ways = _ways([key.key for key in row], span) or [tuple(RIGHT for _ in row)]
        best: dict[tuple[object, ...], _State] = {}
        for state in states:
            for way in ways:
                new = _after(state, row, way, again_us)
                old = best.get(new.last)
                if old is None or new.price < old.price:
                    best[new.last] = new
        states = sorted(best.values(), key=lambda s: (s.price, s.feet[-1]))[:16]
    chosen = states[0].feet
    return [
        feet if _ways([key.key for key in row], span) else tuple(None for _ in row)
        for row, feet in zip(rows, chosen, strict=True)
    ]


def _ways(keys: Sequence[int], span: int) -> list[tuple[str, ...]]:
    """The ways to share keys that go down together: two a foot at most, no farther apart than toe and heel."""
    found = []
    for way in product((LEFT, RIGHT), repeat=len(keys)) if len(keys) <= 4 else ():
        sides = [[key for key, foot in zip(keys, way, strict=True) if foot == side] for side in (LEFT, RIGHT)]
        if all(len(side) <= 2 and (not side or side[-1] - side[0] <= span) for side in sides):
            found.append(way)
    return found


def _after(state: _State, row: Sequence[Key], way: tuple[str, ...], again_us: int) -> _State:
    price, last = state.price, list(state.last)
    t_us = row[0].t_us
    for n, side in enumerate((LEFT, RIGHT)):
        mine = [key.key for key, foot in zip(row, way, strict=True) if foot == side]
        if not mine:
            continue
        before, other = state.last[n], state.last[1 - n]
        if before is not None:
            price += _AGAIN if t_us - before[1] < again_us else _SAME
        if other is not None and ((side == LEFT and mine[0] > other[0]) or (side == RIGHT and mine[-1] < other[0])):
            price += _CROSSED
        last[n] = (mine[-1], t_us)
    return _State(price, (last[0], last[1]), (*state.feet, way))


def feet_findings(reading: Reading, context: Context) -> Iterator[Finding]:
    """What two feet do not do on a pedalboard."""
    span = int(facts.get("keyboards.organ_foot_span").value)
    most = int(facts.get("keyboards.organ_feet").value)
    again_us = US * int(facts.get("keyboards.organ_foot_again").value)
    part = context.score.parts[reading.part]
    rows = reading.feet
    for i, row in enumerate(rows):
        held = {key.key: key for n in range(max(0, i - 8), i) for key in rows[n] if key.until_us > row[0].t_us}
        keys = sorted({**held, **{key.key: key for key in row}}.values(), key=lambda key: key.key)
        place, notes = place_of(reading, row[0].event), refs(part, row)
        names = listed([name_of(key) for key in keys])
        if len(keys) > most:
            fits = bool(_ways([key.key for key in keys], span))
            reason = "two feet take them with toe and heel only" if fits else "two feet do not take them at once"
            yield rules.FEET.at(
                place, notes, level="hard" if fits else "impossible", fold=("feet", fits), near=NEAR, keys=names,
                reason=reason, goes="", over=len(keys) - most, lack_us=0,
            )  # fmt: skip
            continue
        if i < 2 or not told(context, row[0].t_us):
            continue
        have_us = row[0].t_us - rows[i - 2][0].t_us
        if have_us < again_us:
            yield rules.FEET.at(
                place, notes, level="hard", fold="feet in turn", near=NEAR, keys=names,
                reason=f"feet in turn would each have {have_us // US} ms, {again_us // US} are wanted",
                goes=goes_up_to(context, row[0].t_us, have_us / again_us), over=0, lack_us=again_us - have_us,
            )  # fmt: skip
