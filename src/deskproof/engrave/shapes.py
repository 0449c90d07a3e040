"""Where ink lies: boxes, affine maps, and the hull of a path.

All lengths are the engraver's own units, 180 to the space between two staff lines; y grows downwards.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple


class Box(NamedTuple):
    """A rectangle: left, top, right, bottom.

    >>> Box(0, 0, 2, 3).joined(Box(1, 1, 5, 2))
    Box(left=0, top=0, right=5, bottom=3)
    """

    left: float
    top: float
    right: float
    bottom: float

    def joined(self, other: Box) -> Box:
        """The smallest box around both."""
        return Box(
            min(self.left, other.left), min(self.top, other.top),
            max(self.right, other.right), max(self.bottom, other.bottom),
        )  # fmt: skip

    def grown(self, by: float) -> Box:
        """The box with a border on all sides."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def moved(self, right: float) -> Box:
        """The box further right."""
        return Box(self.left + right, self.top, self.right + right, self.bottom)

    def meets(self, other: Box) -> bool:
        """True if the two share more than an edge."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


def around(boxes: Iterable[Box]) -> Box | None:
    """The smallest box around all; None if there are none."""
    found: Box | None = None
    for box in boxes:
        found = box if found is None else found.joined(box)
    return found


class Affine(NamedTuple):
    """The map x' = ax + cy + e, y' = bx + dy + f, as SVG's ``matrix(a b c d e f)``."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def then(self, inner: Affine) -> Affine:
        """This map after ``inner``: a group's map and that of an element in it.

        >>> Affine(e=10).then(Affine(a=2, d=2)).point(3, 4)
        (16.0, 8.0)
        """
        return Affine(
            self.a * inner.a + self.c * inner.b, self.b * inner.a + self.d * inner.b,
            self.a * inner.c + self.c * inner.d, self.b * inner.c + self.d * inner.d,
            self.a * inner.e + self.c * inner.f + self.e, self.b * inner.e + self.d * inner.f + self.f,
        )  # fmt: skip

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Where a point goes."""
        return self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f

    def box(self, box: Box) -> Box:
        """The upright box around a mapped box."""
        corners = [self.point(x, y) for x in (box.left, box.right) for y in (box.top, box.bottom)]
        return Box(
            min(x for x, _ in corners), min(y for _, y in corners),
            max(x for x, _ in corners), max(y for _, y in corners),
        )  # fmt: skip


_CALL = re.compile(r"(\w+)\s*\(([^)]*)\)")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def affine(text: str | None) -> Affine:
    """Read a transform attribute.

    >>> affine("translate(100, 20) scale(2, 2)").point(1, 1)
    (102.0, 22.0)
    >>> affine("rotate(90 5,5)").point(6.0, 5.0)
    (5.0, 6.0)
    """
    found = Affine()
    for name, arguments in _CALL.findall(text or ""):
        numbers = [float(one) for one in _NUMBER.findall(arguments)]
        found = found.then(_step(name, numbers))
    return found


def _step(name: str, n: list[float]) -> Affine:
    if name == "translate":
        return Affine(e=n[0], f=n[1] if len(n) > 1 else 0.0)
    if name == "scale":
        return Affine(a=n[0], d=n[1] if len(n) > 1 else n[0])
    if name == "rotate":
        cos, sin = math.cos(math.radians(n[0])), math.sin(math.radians(n[0]))
        x, y = (n[1], n[2]) if len(n) > 2 else (0.0, 0.0)
        return Affine(cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)
    if name == "matrix" and len(n) == 6:
        return Affine(*n)
    return Affine()


_TOKEN = re.compile(rf"[MmLlHhVvCcSsQqTtAaZz]|{_NUMBER.pattern}")
_SIZE = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def path_box(d: str) -> Box | None:
    """The box around all points of a path, control points included: never too small, for curves a little large.

    >>> path_box("M10 10l5 0v-3z")
    Box(left=10.0, top=7.0, right=15.0, bottom=10.0)
    """
    points = list(_points(_TOKEN.findall(d)))
    if not points:
        return None
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def path_boxes(d: str, step: float) -> list[Box]:
    """Small boxes along a path of lines and cubic curves, so that the hollow of a slur counts as free.

    ``step`` is about the length of a piece. A path of other commands gives its one box.

    >>> path_boxes("M0 0L4 8", 5)
    [Box(left=0.0, top=0.0, right=2.0, bottom=4.0), Box(left=2.0, top=4.0, right=4.0, bottom=8.0)]
    """
    tokens = _TOKEN.findall(d)
    if set(filter(str.isalpha, tokens)) - set("MLC"):
        box = path_box(d)
        return [] if box is None else [box]
    found = []
    at = (0.0, 0.0)
    i, command = 0, "M"
    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
        n = [float(one) for one in tokens[i : i + _SIZE[command]]]
        i += _SIZE[command]
        end = (n[-2], n[-1])
        if command != "M":
            controls = [at, *((n[k], n[k + 1]) for k in range(0, len(n), 2))]
            pieces = max(1, round(max(abs(end[0] - at[0]), abs(end[1] - at[1])) / step))
            line = [_on_curve(controls, k / pieces) for k in range(pieces + 1)]
            for (x0, y0), (x1, y1) in pairwise(line):
                found.append(Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)))
        at = end
        command = "L" if command == "M" else command
    return found


def _on_curve(points: list[tuple[float, float]], t: float) -> tuple[float, float]:
    """The point at ``t`` (0 to 1) of a Bézier curve (de Casteljau)."""
    while len(points) > 1:
        points = [
            (x0 + t * (x1 - x0), y0 + t * (y1 - y0)) for (x0, y0), (x1, y1) in pairwise(points)
        ]
    return points[0]


def _points(tokens: list[str]) -> Iterator[tuple[float, float]]:
    x = y = begin_x = begin_y = 0.0
    command = "M"
    i = 0
    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
        kind, relative = command.upper(), command.islower()
        size = _SIZE[kind]
        if kind == "Z":
            x, y = begin_x, begin_y
            continue
        n = [float(one) for one in tokens[i : i + size]]
        i += size
        if len(n) < size:
            return
        if kind == "H":
            x = n[0] + (x if relative else 0.0)
            yield x, y
            continue
        if kind == "V":
            y = n[0] + (y if relative else 0.0)
            yield x, y
            continue
        if kind == "A":
            n = n[5:]
        at_x, at_y = (x, y) if relative else (0.0, 0.0)
        for k in range(0, len(n), 2):
            yield at_x + n[k], at_y + n[k + 1]
        x, y = at_x + n[-2], at_y + n[-1]
        if kind == "M":
            begin_x, begin_y = x, y
            command = "l" if relative else "L"
