"""Who plays what, as a ruled rota: a line for each player, bar numbers across, a thin rule while an instrument sounds.

Instruments are named in words at the beginning of each stretch; in a gap in which the player takes another instrument
stand the seconds there are for it.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from deskproof.families.base import Context
from deskproof.families.players.planning import Cast, PlayersPlan
from deskproof.families.players.reading import KEYBOARDS
from deskproof.families.players.record import Duty, Stretch
from deskproof.instruments import by_id

US = 1_000_000
WIDTH = 1000.0
LEFT = 130.0  # for the players' names
ROW = 46.0
HEAD = 26.0
TEXT = 13
RULE, STRONG = 0.6, 1.6
APART = 44.0  # between two bar numbers
FONT = "Georgia, 'Times New Roman', serif"
LETTER = 6.4  # the width of a letter, roughly


class Line(NamedTuple):
    """A player's line: the name, and what is played from when to when."""

    name: str
    duty: Duty


def lines_of(cast: Cast, names: Sequence[str]) -> list[Line]:
    """The players of a group; one whose part has a printed name bears it. ``names`` are those of the score's parts."""
    found = []
    for duty in cast.rota.duties:
        own = list(dict.fromkeys(names[cast.group.parts[one.line]] for one in duty.stretches))
        called = duty.player if cast.named or cast.group.name == KEYBOARDS else " and ".join(own)
        found.append(Line(called or duty.player, duty))
    return found


def rota_words(cast: Cast, names: Sequence[str]) -> str:
    """The same in words, for those who do not see the picture."""
    rows = []
    for line in lines_of(cast, names):
        played = list(dict.fromkeys(by_id(one.instrument).name for one in line.duty.stretches))
        changes = len(line.duty.changes)
        more = f", {changes} change{'s' * (changes != 1)}" if changes else ""
        rows.append(f"{line.name}: {', '.join(played)}{more}")
    return "; ".join(rows)


def rota(plan: PlayersPlan, cast: Cast, context: Context) -> str:
    """The rota of one group as SVG.

    Parameters
    ----------
    plan : PlayersPlan
    cast : Cast
        One of its groups.
    context : Context

    Returns
    -------
    str
        One ``svg`` element, as wide as the page lets it be, with its words as title.
    """
    names = [part.name or part.id for part in context.score.parts]
    lines = lines_of(cast, names)
    end_us = context.frame.clock.ceil_us(context.frame.length) or 1
    height = HEAD + ROW * len(lines) + 8

    def x(us: int) -> float:
        return LEFT + (WIDTH - LEFT) * min(us, end_us) / end_us

    rows = [f"<title>{html.escape(rota_words(cast, names))}</title>", *_bars(context, x, height)]
    for k, line in enumerate(lines):
        rows += _row(line, HEAD + ROW * (k + 0.6), x)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rota" role="img" viewBox="0 0 {WIDTH:.0f} {height:.0f}" '
        f'font-family="{FONT}" font-size="{TEXT}">{"".join(rows)}</svg>'
    )


def _bars(context: Context, x: object, height: float) -> Iterator[str]:
    """Bar numbers across, as many as have room, each with a hairline."""
    assert callable(x)
    last = -APART
    part = context.score.parts[0]
    for play in context.frame.plays:
        at = x(context.frame.clock.floor_us(play.onset))
        if at - last < APART:
            continue
        last = at
        number = html.escape(part.measures[play.measure].number)
        yield f'<text x="{at:.1f}" y="{TEXT}">{number}</text>'
        yield f'<path d="M{at:.1f} {HEAD - 6:.0f}V{height:.0f}" stroke="currentColor" stroke-width="{RULE / 3:.2f}"/>'


def _row(line: Line, y: float, x: object) -> Iterator[str]:
    assert callable(x)
    yield f'<text x="0" y="{y:.1f}">{html.escape(_short(line.name))}</text>'
    changes = {(change.before, change.after): change for change in line.duty.changes}
    before: Stretch | None = None
    free = LEFT
    for one in line.duty.stretches:
        start, stop = x(one.from_us), max(x(one.to_us), x(one.from_us) + 1.5)
        yield f'<path d="M{start:.1f} {y:.1f}H{stop:.1f}" stroke="currentColor" stroke-width="{STRONG}"/>'
        called = by_id(one.instrument).name
        if (before is None or before.instrument != one.instrument) and start >= free:
            yield f'<text x="{start:.1f}" y="{y - 8:.1f}" font-size="{TEXT - 1}">{html.escape(called)}</text>'
            free = start + LETTER * len(called) + 6
        change = changes.get((before, one)) if before is not None else None
        if change is not None and before is not None:
            free_us = change.free_us
            words = f"{free_us / US:.0f} s" if free_us >= 0 else f"{-free_us / US:.0f} s together"
            middle = (x(before.to_us) + start) / 2
            yield (
                f'<text x="{middle:.1f}" y="{y + TEXT + 3:.1f}" text-anchor="middle" font-size="{TEXT - 1}" '
                f'font-style="italic">{words}</text>'
            )
        before = one


def _short(name: str) -> str:
    most = int(LEFT / LETTER) - 1
    return name if len(name) <= most else f"{name[: most - 1]}…"
