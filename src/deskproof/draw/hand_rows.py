"""Which hand of a harpist takes which string, written under the bars of a finding: a row for each hand.

The names are those of the strings as they are set, so that "F♭4" is the F string where the page may say E. Where names
would stand upon each other they are told together, from the first to the last.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import NamedTuple

from deskproof.draw.pedals import Rows, Scale
from deskproof.engrave.letters import text_width
from deskproof.engrave.marks import Below
from deskproof.engrave.render import SPACE, Engraving
from deskproof.engrave.shapes import Box, around
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.wording import SIGNS
from deskproof.score import Part
from deskproof.timeline import Frame, Play

SIZE = 1.5 * SPACE
PITCH = 2.2 * SPACE  # from row to row
BETWEEN = 0.5 * SPACE  # least white between two names
APART = 1.2 * SPACE  # between the hands and the pedals under them
HANDS = (("R", "right hand"), ("L", "left hand"))


class Name(NamedTuple):
    """A name at its place: where it begins, what it says, and how many onsets it stands for."""

    x: float
    text: str
    onsets: int = 1


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
        None if the bars cannot be found in the picture, or no hand plays in them.
    """
    scale = Scale.of(engraving, part, first, plays, frame)
    if scale is None:
        return under
    out, boxes, said = [], [], []
    y = 0.7 * SIZE
    for hand, title in HANDS:
        names = _told(_names(plan, scale, hand))
        if not names:
            continue
        out.append(_text(scale.bars[0].left, y, title, "hand", italic=True))
        boxes.append(_box(scale.bars[0].left, y, title))
        y += PITCH
        for name in names:
            out.append(_text(name.x, y, name.text, "string"))
            boxes.append(_box(name.x, y, name.text))
        said.append(f"{title}: {', '.join(name.text for name in names)}")
        y += PITCH
    box = around(boxes)
    if box is None:
        return under
    words = f"{'; '.join(said)}."
    drawn = f'<g class="hand-rows">{"".join(out)}</g>'
    if under is None:
        return Rows(Below(drawn, box), words)
    down = box.bottom + APART - under.below.box.top
    lower = under.below.box
    moved = Box(lower.left, lower.top + down, lower.right, lower.bottom + down)
    both = f'{drawn}<g transform="translate(0 {down:.0f})">{under.below.svg}</g>'
    return Rows(Below(both, box.joined(moved)), f"{words} {under.words}")


def _names(plan: HarpPlan, scale: Scale, hand: str) -> list[Name]:
    """The strings of a hand at their places, a chord from its lowest to its highest."""
    assert plan.reading is not None and plan.pedals is not None and plan.hands is not None
    found = []
    for i, onset in enumerate(plan.reading.onsets):
        if not scale.start_us <= onset.t_us < scale.end_us:
            continue
        mine = [
            taken
            for n, taken in enumerate(plan.pedals.notes[i])
            if taken is not None and plan.hands.of(i, n) == hand
        ]
        if mine:
            mine.sort(key=lambda taken: taken.string.line)
            names = [f"{t.string.letter}{SIGNS[t.position] if t.position else ''}{t.string.octave}" for t in mine]
            found.append(Name(scale.begins(onset.t_us), names[0] if len(names) == 1 else f"{names[0]}+{names[-1]}"))
    return found


def _told(names: Sequence[Name]) -> list[Name]:
    """The names with room for each; those without are told with the one before, as from its first to their last."""
    found: list[Name] = []
    for name in names:
        last = found[-1] if found else None
        if last is not None and name.x < last.x + text_width(last.text, SIZE) + BETWEEN:
            start, end = last.text.split("–")[0], name.text
            text = start if start == end else f"{start}–{end}"
            found[-1] = Name(last.x, text, last.onsets + name.onsets)
        else:
            found.append(name)
    return found


def _text(x: float, y: float, said: str, kind: str, italic: bool = False) -> str:
    style = ' font-style="italic"' if italic else ""
    return f'<text class="{kind}" x="{x:.0f}" y="{y:.0f}" font-size="{SIZE:.0f}"{style}>{html.escape(said)}</text>'


def _box(x: float, y: float, said: str) -> Box:
    return Box(x, y - 0.7 * SIZE, x + text_width(said, SIZE), y + 0.1 * SIZE)
