"""Which hand of a harpist takes which string, written under the bars of a finding: a row for each hand.

Every name stands under its note, the names of a chord one above the other as its notes do. They are the strings as
they are set: "F♭4" is the F string, and is printed bold where the page has another name for the note. Where names would
stand upon each other they take turns on two lines, and where that is not enough a run is told by its ends.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from deskproof.draw.pedals import Rows, Scale
from deskproof.engrave.letters import text_width
from deskproof.engrave.marks import Below
from deskproof.engrave.render import SPACE, Engraving
from deskproof.engrave.shapes import Box, around
from deskproof.families.harp.model import String
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.reading import Plucked
from deskproof.families.harp.wording import SIGNS
from deskproof.score import Part
from deskproof.timeline import Frame, Play

SIZE = 1.5 * SPACE
SMALL = 0.8  # of it: the number of the octave
LINE = 1.5 * SPACE  # from line to line of one hand
BETWEEN = 0.45 * SPACE  # least white between two names
APART = 0.9 * SPACE  # between the hands
OVER_PEDALS = 1.4 * SPACE  # between them and the pedals under them
TURNS = 2  # lines on which names take turns
HANDS = (("R", "right hand"), ("L", "left hand"))


class Name(NamedTuple):
    """A string as it is set; ``other``: the page has another name for its note."""

    string: String
    position: int
    other: bool = False

    def __str__(self) -> str:
        return f"{self.letter}{self.string.octave}"

    @property
    def letter(self) -> str:
        """The letter with its sign, without the octave; a natural has none."""
        return f"{self.string.letter}{SIGNS[self.position] if self.position else ''}"

    @property
    def width(self) -> float:
        return text_width(self.letter, SIZE, self.other) + text_width(str(self.string.octave), SMALL * SIZE, self.other)


class Column(NamedTuple):
    """The names of one onset, the highest first, round the place ``x``."""

    x: float
    names: tuple[Name, ...]


class Told(NamedTuple):
    """What is printed on one line: a name, or the first and the last of a run. ``left`` is where it begins."""

    left: float
    line: int
    names: tuple[Name, ...]

    @property
    def width(self) -> float:
        dash = text_width("–", SIZE) * (len(self.names) - 1)
        return sum(name.width for name in self.names) + dash

    def __str__(self) -> str:
        return "–".join(str(name) for name in self.names)


def hand_rows(
    engraving: Engraving, plan: HarpPlan, part: Part, frame: Frame, first: int, plays: Sequence[Play],
    under: Rows | None = None,
) -> Rows | None:  # fmt: skip
    """The hands of some bars, and under them the pedals if given.

    Parameters
    ----------
    engraving : Engraving
        The bars; the first of them is measure ``first`` of ``part``.
    plan : HarpPlan
    part : Part
        The harp's.
    frame : Frame
    first : int
        Ordinal of the first measure engraved.
    plays : sequence of Play
        What is drawn: measures that are played one after the other.
    under : Rows, optional
        Pedal rows of the same bars.

    Returns
    -------
    Rows or None
        ``under`` if the bars cannot be found in the picture, or no hand plays in them.
    """
    scale = Scale.of(engraving, part, first, plays, frame)
    if scale is None:
        return under
    left = scale.bars[0].left
    out, boxes, said = [], [], []
    top = 0.0
    for hand, title in HANDS:
        columns = list(_columns(plan, scale, hand))
        if not columns:
            continue
        told = fitted(columns)
        y = top + 0.7 * SIZE
        out.append(
            f'<text class="hand" x="{left:.0f}" y="{y:.0f}" font-size="{SIZE:.0f}" font-style="italic">{title}</text>'
        )
        boxes.append(_box(left, y, text_width(title, SIZE, italic=True)))
        if told[0].left < boxes[-1].right + BETWEEN:
            y += LINE
        for one in told:
            at = y + one.line * LINE
            out.append(_text(one, at))
            boxes.append(_box(one.left, at, one.width))
        top = y + max(one.line for one in told) * LINE + APART
        said.append(f"{title}: {', '.join(' with '.join(str(n) for n in column.names) for column in columns)}")
    box = around(boxes)
    if box is None:
        return under
    words = f"The strings of the {'; of the '.join(said)}."
    drawn = f'<g class="hand-rows">{"".join(out)}</g>'
    if under is None:
        return Rows(Below(drawn, box), words)
    lower = under.below.box
    down = box.bottom + OVER_PEDALS - lower.top
    moved = Box(lower.left, lower.top + down, lower.right, lower.bottom + down)
    both = f'{drawn}<g transform="translate(0 {down:.0f})">{under.below.svg}</g>'
    return Rows(Below(both, box.joined(moved)), f"{words} {under.words}")


def _columns(plan: HarpPlan, scale: Scale, hand: str) -> Iterator[Column]:
    """The strings of a hand at their places."""
    assert plan.reading is not None and plan.pedals is not None and plan.hands is not None
    for i, onset in enumerate(plan.reading.onsets):
        if not scale.start_us <= onset.t_us < scale.end_us:
            continue
        names = [
            Name(taken.string, taken.position, _other(plan.reading.plucked[i][n], taken.string.letter, taken.position))
            for n, taken in enumerate(plan.pedals.notes[i])
            if taken is not None and plan.hands.of(i, n) == hand
        ]
        if names:
            names.sort(key=lambda name: -name.string.line)
            yield Column(scale.begins(onset.t_us), tuple(names))


def _other(one: Plucked, letter: str, position: int) -> bool:
    """Whether the page has another name for the note of a string; one that is not printed has none."""
    written = one.events[0].note.pitch
    if written is None or one.how == "trill":
        return False
    return (written.step, written.alter) != (letter, position)


def fitted(columns: Sequence[Column]) -> list[Told]:
    """The names with room for each, on as few lines as that takes; at least one column is needed.

    A column that finds no room is told with the one before it: of a run its first and its last name, of what goes up
    and down the lowest and the highest.
    """
    chord = max(len(column.names) for column in columns)
    groups = _placed(columns, chord)
    if any(len(group.columns) > 1 for group in groups):
        groups = _placed(columns, max(chord, TURNS))
    return [one for group in groups for one in group.told]


class _Group(NamedTuple):
    """Columns told together, and where each line was free from before."""

    columns: tuple[Column, ...]
    told: tuple[Told, ...]
    free: tuple[float, ...]

    def after(self) -> tuple[float, ...]:
        """Where each line is free from behind it."""
        free = list(self.free)
        for one in self.told:
            free[one.line] = one.left + one.width + BETWEEN
        return tuple(free)


def _placed(columns: Sequence[Column], lines: int) -> list[_Group]:
    """The columns on so many lines; those that find no room stand in one group with the column before them."""
    groups: list[_Group] = []
    free = (float("-inf"),) * lines
    for column in columns:
        told = _first_place(column, free)
        if told is not None:
            groups.append(_Group((column,), told, free))
        else:
            last = groups[-1]
            together = (*last.columns, column)
            groups[-1] = _Group(together, (_as_run(together, last.told[0]),), last.free)
        free = groups[-1].after()
    return groups


def _first_place(column: Column, free: Sequence[float]) -> tuple[Told, ...] | None:
    for line in range(len(free) - len(column.names) + 1):
        told = tuple(Told(column.x - name.width / 2, line + k, (name,)) for k, name in enumerate(column.names))
        if all(free[one.line] <= one.left for one in told):
            return told
    return None


def _as_run(group: Sequence[Column], at: Told) -> Told:
    """Several columns in one, where the first of them stood."""
    rows = [name for column in group for name in reversed(column.names)]
    steps = [b.string.line - a.string.line for a, b in pairwise(rows)]
    if all(step >= 0 for step in steps) or all(step <= 0 for step in steps):
        ends = rows[0], rows[-1]
    else:
        ends = min(rows, key=lambda name: name.string.line), max(rows, key=lambda name: name.string.line)
    return Told(at.left, at.line, ends if ends[0].string != ends[1].string else ends[:1])


def _text(one: Told, y: float) -> str:
    weights = {False: "", True: ' font-weight="bold"'}
    names = "–".join(
        f"<tspan{weights[name.other]}>{html.escape(name.letter)}"
        f'<tspan font-size="{SMALL * SIZE:.0f}">{name.string.octave}</tspan></tspan>'
        for name in one.names
    )
    return f'<text class="string" x="{one.left:.0f}" y="{y:.0f}" font-size="{SIZE:.0f}">{names}</text>'


def _box(x: float, y: float, width: float) -> Box:
    return Box(x, y - 0.7 * SIZE, x + width, y + 0.1 * SIZE)
