"""The proofreader's pencil: a numbered ring in the margin of the system, a thin bracket under the notes.

One colour for all of it; the outline of the ring tells the level. The notes themselves stay as engraved.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from deskproof.engrave.render import SPACE, Engraving, sign_shapes
from deskproof.engrave.shapes import Box, around
from deskproof.score import NoteRef

PENCIL = "#4a6075"  # slate blue; 6.5 to 1 on white
PX = 0.044  # screen pixels to one unit of the engraver: a staff of 32 pixels

_RADIUS = 1.45 * SPACE
_LINE = 0.16 * SPACE
_HOOK = 0.45 * SPACE
_GAP = 0.4 * SPACE  # between what is drawn and the bracket
_EDGE = 0.5 * SPACE  # white round the whole picture


class Mark(NamedTuple):
    """What to mark: the number in the ring (empty: a bracket alone), the level, and the notes.

    With an ``id`` the ring and the brackets bear it as ``data-finding``, and each bracket its notes as ``data-notes``,
    so that a page can find them. ``ring`` is false where the mark goes on from another system: brackets alone.
    """

    number: str
    level: str
    notes: tuple[NoteRef, ...]
    id: str = ""
    ring: bool = True


class Below(NamedTuple):
    """A drawing to hang under the engraved bars: x as in them, y from 0 down; and the box of its ink."""

    svg: str
    box: Box


@dataclass(frozen=True, slots=True)
class Picture:
    """Engraved bars with marks on them. ``width`` and ``height`` are screen pixels at ordinary size."""

    svg: str
    width: float
    height: float
    rings: tuple[Box, ...]
    brackets: tuple[Box, ...]


def picture(
    engraving: Engraving,
    marks: Sequence[Mark] = (),
    title: str = "",
    prefix: str = "",
    signs: str | None = None,
    highest_px: float | None = None,
    scale: float = 1.0,
    below: Below | None = None,
) -> Picture:
    """Draw marks on engraved bars.

    Parameters
    ----------
    engraving : Engraving
    marks : sequence of Mark
        Notes that are not in these bars are left out; a mark without any gets its ring alone.
    title : str
        What the picture shows, read aloud in its place.
    prefix : str
        Put before every id, so that two pictures can stand on one page.
    signs : str, optional
        Prefix of outlines of music signs that stand elsewhere on the page; if None the picture brings its own.
    highest_px : float, optional
        The picture is made smaller if it would be higher than this.
    scale : float
        How large, beside the ordinary size.
    below : Below, optional
        Hung under the bars and the marks.
    """
    draft = _Draft(engraving)
    for mark in marks:
        draft.mark(mark, numbered=sum(bool(one.number) for one in marks) > 1)
    draft.rings_in_margin()
    box = around([engraving.box, *draft.rings, *draft.brackets])
    assert box is not None
    if below is not None:
        down = box.bottom + 1.2 * SPACE
        draft.out.append(f'<g transform="translate(0, {down:.0f})">{below.svg}</g>')
        box = box.joined(Box(below.box.left, box.top, below.box.right, down + below.box.bottom))
    box = box.grown(_EDGE)
    wide, high = box.right - box.left, box.bottom - box.top
    px = PX * scale if highest_px is None else min(PX * scale, highest_px / high)
    own = signs is None
    sign_prefix = f"{prefix}sign-" if signs is None else signs
    name = f"{prefix}title"
    label = f' aria-labelledby="{name}"' if title else ' aria-hidden="true"'
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img"{label} class="music" '
        f'viewBox="{box.left:.0f} {box.top:.0f} {wide:.0f} {high:.0f}" '
        f'width="{wide * px:.0f}" height="{high * px:.0f}" '
        'font-family="Times, \'Times New Roman\', \'Liberation Serif\', serif">',
        f'<title id="{name}">{html.escape(title)}</title>' if title else "",
        f"<defs>{sign_shapes(engraving.signs, sign_prefix)}</defs>" if own else "",
        engraving.placed(prefix, sign_prefix),
        *draft.out,
        "</svg>",
    ]
    return Picture("".join(pieces), wide * px, high * px, tuple(draft.rings), tuple(draft.brackets))


def ring(number: str, level: str, x: float = 0.0, y: float = 0.0) -> str:
    """A ring round a number as SVG, centre at (x, y): double, single, dashed or dotted by level."""
    outline = f'fill="none" stroke="{PENCIL}" stroke-width="{_LINE:.0f}"'
    r = _RADIUS - _LINE / 2
    at = f'cx="{x:.0f}" cy="{y:.0f}"'
    around_ = 2 * math.pi * r
    if level == "impossible":
        shapes = f'<circle {at} r="{r:.0f}" {outline}/><circle {at} r="{r - 2.1 * _LINE:.0f}" {outline}/>'
    elif level == "notation":
        dash = around_ / 9
        shapes = f'<circle {at} r="{r:.0f}" {outline} stroke-dasharray="{0.62 * dash:.1f} {0.38 * dash:.1f}"/>'
    elif level == "advice":
        dash = around_ / 18
        shapes = (
            f'<circle {at} r="{r:.0f}" fill="none" stroke="{PENCIL}" stroke-width="{1.35 * _LINE:.0f}" '
            f'stroke-linecap="round" stroke-dasharray="0.1 {dash - 0.1:.2f}"/>'
        )
    else:
        shapes = f'<circle {at} r="{r:.0f}" {outline}/>'
    size = {1: 1.75, 2: 1.45, 3: 1.05}.get(len(number), 0.85) * SPACE
    return (
        f'{shapes}<text x="{x:.0f}" y="{y + 0.34 * size:.0f}" text-anchor="middle" font-size="{size:.0f}" '
        f'stroke="none" fill="{PENCIL}">{html.escape(number)}</text>'
    )


def ring_alone(number: str, level: str) -> str:
    """A ring as a small picture of its own, for the key on a page."""
    half = _RADIUS + 10
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" aria-hidden="true" class="key" width="{2 * half * PX:.0f}" '
        f'height="{2 * half * PX:.0f}" viewBox="{-half:.0f} {-half:.0f} {2 * half:.0f} {2 * half:.0f}">'
        f"{ring(number, level)}</svg>"
    )


class _Draft:
    """Finds free places for rings and brackets."""

    def __init__(self, engraving: Engraving) -> None:
        self.engraving = engraving
        self.taken: list[Box] = list(engraving.ink)
        self.out: list[str] = []
        self.rings: list[Box] = []
        self.brackets: list[Box] = []
        self.waiting: list[tuple[float, Mark]] = []

    def mark(self, mark: Mark, numbered: bool) -> None:
        """Brackets under the notes of a mark, staff by staff; its ring waits for the margin."""
        by_staff: dict[int, dict[NoteRef, Box]] = {}
        for ref in dict.fromkeys(mark.notes):
            if ref in self.engraving.heads:
                by_staff.setdefault(self.engraving.owner.get(ref, 0), {})[ref] = self.engraving.heads[ref]
        for staff, boxes in sorted(by_staff.items()):
            for group in self._neighbours(staff, list(boxes.values())):
                inside = [ref for ref, box in boxes.items() if group.left <= box.left and box.right <= group.right]
                self._bracket(staff, group, mark, numbered, inside)
        if mark.number and mark.ring:
            staves = self.engraving.staves
            first = min(by_staff, default=0)
            box = staves[first].box if first < len(staves) else self.engraving.box
            self.waiting.append(((box.top + box.bottom) / 2, mark))

    def _neighbours(self, staff: int, boxes: list[Box]) -> list[Box]:
        """One box for each run of marked notes without another note of the staff between."""
        marked = sorted(set(boxes))
        others = [
            box
            for ref, box in self.engraving.heads.items()
            if self.engraving.owner.get(ref) == staff and box not in marked
        ]
        runs = [marked[0]]
        for box in marked[1:]:
            last = runs[-1]
            if any(last.right <= other.left and other.right <= box.left for other in others):
                runs.append(box)
            else:
                runs[-1] = last.joined(box)
        return runs

    def _bracket(self, staff: int, notes: Box, mark: Mark, numbered: bool, refs: Sequence[NoteRef]) -> None:
        left, right = notes.left - 0.15 * SPACE, notes.right + 0.15 * SPACE
        size = 1.2 * SPACE
        room = 0.62 * size * len(mark.number) + 0.2 * SPACE if numbered and mark.number else 0.0
        lines = self.engraving.staves[staff].box if staff < len(self.engraving.staves) else self.engraving.box
        top = max(notes.bottom, lines.bottom)
        below = [one.box.top for one in self.engraving.staves if one.box.top > lines.bottom]
        floor = min(below, default=float("inf")) - _HOOK - 3 * _LINE
        high = max(_HOOK, size if room else 0.0) + _LINE
        turned = False
        found = self._below(Box(left - room, top, right, top + high), floor)
        if found is None and self._others_below(staff, refs):
            above = [one.box.bottom for one in self.engraving.staves if one.box.bottom < lines.top]
            bottom = min(notes.top, lines.top)
            found = self._above(Box(left - room, bottom - high, right, bottom), max(above, default=float("-inf")))
            turned = found is not None
        y = found if found is not None else self._under(Box(left - room, top, right, top + high))
        path = f"M{left:.0f} {y + _HOOK:.0f}V{y:.0f}H{right:.0f}V{y + _HOOK:.0f}" if turned else (
            f"M{left:.0f} {y:.0f}V{y + _HOOK:.0f}H{right:.0f}V{y:.0f}"
        )
        self.out.append(
            f'<path class="bracket"{_data(mark, refs)} d="{path}" fill="none" '
            f'stroke="{PENCIL}" stroke-width="{_LINE:.0f}"/>'
        )
        if room:
            self.out.append(
                f'<text{_data(mark)} x="{left - 0.2 * SPACE:.0f}" y="{y + _HOOK + 0.3 * SPACE:.0f}" text-anchor="end" '
                f'font-size="{size:.0f}" stroke="none" fill="{PENCIL}">{html.escape(mark.number)}</text>'
            )
        box = Box(left - room, y, right, y + _HOOK + _LINE)
        self.brackets.append(box)
        self.taken.append(box)

    def _others_below(self, staff: int, refs: Sequence[NoteRef]) -> bool:
        """Whether another part stands below a staff: a bracket under the whole system would seem to be that part's."""
        own = {ref.part for ref in refs}
        return any(at > staff and ref.part not in own for ref, at in self.engraving.owner.items())

    def _below(self, wanted: Box, floor: float) -> float | None:
        """The top of the nearest free place below, closer to the ink if need be; None if it lies below ``floor``."""
        for gap in (_GAP, 0.15 * SPACE):
            y = self._down(wanted, wanted.top + gap, gap)
            if y <= floor:
                return y
        return None

    def _above(self, wanted: Box, ceiling: float) -> float | None:
        """The top of the nearest free place above the notes, not higher than the staff before has room for; or None."""
        high = wanted.bottom - wanted.top
        for gap in (_GAP, 0.15 * SPACE):
            y = wanted.top - gap
            for box in sorted(self.taken, key=lambda box: -box.bottom):
                beside = box.left < wanted.right and wanted.left < box.right
                if beside and box.top - gap < y + high and y < box.bottom + gap:
                    y = box.top - gap - high
            if y > ceiling + 3 * _LINE:
                return y
        return None

    def _under(self, wanted: Box) -> float:
        """The top of the nearest free place under the whole system."""
        return self._down(wanted, max(wanted.top, self.engraving.box.bottom) + _GAP, _GAP)

    def _down(self, wanted: Box, y: float, gap: float) -> float:
        for box in sorted(self.taken, key=lambda box: box.top):
            beside = box.left < wanted.right and wanted.left < box.right
            if beside and box.top - gap < y + wanted.bottom - wanted.top and y < box.bottom + gap:
                y = box.bottom + gap
        return y

    def rings_in_margin(self) -> None:
        """The rings, left of the system, each beside its staff, none upon another."""
        x = self.engraving.box.left - 0.5 * SPACE - _RADIUS
        last = float("-inf")
        for y, mark in sorted(self.waiting, key=lambda one: one[0]):
            y = max(y, last + 2.2 * _RADIUS)
            last = y
            shape = ring(mark.number, mark.level, x, y)
            self.out.append(f'<g class="ring"{_data(mark)}>{shape}</g>')
            self.rings.append(Box(x - _RADIUS, y - _RADIUS, x + _RADIUS, y + _RADIUS))


def _data(mark: Mark, refs: Sequence[NoteRef] = ()) -> str:
    """The attributes by which a page finds a mark."""
    if not mark.id:
        return ""
    notes = f' data-notes="{html.escape(" ".join(map(str, refs)))}"' if refs else ""
    return f' data-finding="{html.escape(mark.id)}"{notes}'
