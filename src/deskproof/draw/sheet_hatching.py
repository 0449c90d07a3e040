"""Pencil hatching: one pattern for each kind of strand, as plain strokes cut to their box.

The strokes of boxes one above the other lie on the same ruling, so those of neighbours meet.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from deskproof.scoring.records import ACCENT, BASS, COUNTER, FIGURE, HELD, INNER, TUNE

STEP = 4.0  # between two strokes, in the unit of the picture
WEIGHT, DOT = 0.8, 1.5
RISING, FALLING, CROSSED, LEVEL, UPRIGHT, DOTTED, SQUARED = (
    "rising", "falling", "crossed", "level", "upright", "dotted", "squared",
)  # fmt: skip
PATTERNS = {
    TUNE: RISING, COUNTER: FALLING, BASS: UPRIGHT, INNER: DOTTED, FIGURE: CROSSED, HELD: LEVEL, ACCENT: SQUARED,
}  # fmt: skip
"""Kind of strand -> its pattern."""


def hatching(kind: str, x: float, y: float, width: float, height: float) -> str:
    """The hatching of a box as one SVG ``path``; empty for a kind that has no pattern.

    Parameters
    ----------
    kind : str
        A kind of strand.
    x, y, width, height : float
        The box; no stroke leaves it.
    """
    pattern = PATTERNS.get(kind)
    if pattern is None:
        return ""
    d = "".join(_strokes(pattern, 0, y, width, y + height))
    weight, cap = (DOT, ' stroke-linecap="round"') if pattern == DOTTED else (WEIGHT, "")
    return (
        f'<path class="{pattern}" transform="translate({x:.1f} 0)" d="{d}" fill="none" stroke="currentColor" '
        f'stroke-width="{weight}"{cap}/>'
    )


def _strokes(pattern: str, x0: float, y0: float, x1: float, y1: float) -> Iterator[str]:
    if pattern in (RISING, CROSSED):
        yield from _rising(x0, y0, x1, y1)
    if pattern in (FALLING, CROSSED):
        yield from _falling(x0, y0, x1, y1)
    apart = 1.5 * STEP if pattern == SQUARED else STEP
    if pattern in (LEVEL, SQUARED):
        yield from (f"M{x0:g} {y:g}H{x1:g}" for y in _ruling(y0, y1, apart))
    if pattern in (UPRIGHT, SQUARED):
        yield from (f"M{x:g} {y0:g}V{y1:g}" for x in _ruling(x0, x1, apart))
    if pattern == DOTTED:
        yield from (f"M{x:g} {y:g}h0" for y in _ruling(y0, y1) for x in _ruling(x0, x1))


def _ruling(low: float, high: float, step: float = STEP) -> Iterator[float]:
    """The lines of the ruling between two places.

    >>> list(_ruling(3, 13))
    [6.0, 10.0]
    """
    k = ceil((low - step / 2) / step)
    while (k + 0.5) * step < high:
        yield (k + 0.5) * step
        k += 1


def _rising(x0: float, y0: float, x1: float, y1: float) -> Iterator[str]:
    """Strokes like "/": x + y is the same all along each."""
    for total in _ruling(x0 + y0, x1 + y1, 1.25 * STEP):
        left, right = max(x0, total - y1), min(x1, total - y0)
        yield f"M{left:g} {total - left:g}L{right:g} {total - right:g}"


def _falling(x0: float, y0: float, x1: float, y1: float) -> Iterator[str]:
    """Strokes like "\\\\": x - y is the same all along each."""
    for total in _ruling(x0 - y1, x1 - y0, 1.25 * STEP):
        left, right = max(x0, total + y0), min(x1, total + y1)
        yield f"M{left:g} {left - total:g}L{right:g} {right - total:g}"
