"""Widths of printed text and outlines of music signs, from the data that comes with the engraver.

Text is set in a Times-like serif; its advance widths are the engraver's own, so what we place beside text
stands where the engraver meant it.
"""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import NamedTuple

from lxml import etree

from deskproof.engrave.shapes import Box, path_box

MUSIC = "Leipzig"


class Glyph(NamedTuple):
    """A music sign: its outline in thousandths of the font size (y grows upwards), and its box."""

    path: str
    box: Box


def _folder() -> Path:
    import verovio

    return Path(verovio.__file__).parent / "data"


@cache
def _advances(bold: bool, italic: bool) -> dict[str, float]:
    """Character -> advance width as a part of the font size."""
    name = "Times" + "-bold" * bold + "-italic" * italic
    root = etree.parse(_folder() / "text" / f"{name}.xml").getroot()
    em = float(root.get("units-per-em", "2048"))
    found = {}
    for one in root.iter("g"):
        width = float(one.get("h-a-x") or 0) or float(one.get("x", "0")) + float(one.get("w", "0"))
        found[chr(int(one.get("c", "20"), 16))] = width / em
    return found


def text_width(text: str, size: float, bold: bool = False, italic: bool = False) -> float:
    """How wide a text is, in the unit of ``size``; characters unknown to the tables count as an m."""
    table = _advances(bold, italic)
    wide = table.get("m", 0.78)
    return size * sum(table.get(char, wide) for char in text)


@cache
def _music_advances() -> dict[str, float]:
    root = etree.parse(_folder() / f"{MUSIC}.xml").getroot()
    return {one.get("c", ""): float(one.get("h-a-x", "0")) for one in root.iter("g")}


def music_width(char: str, size: float) -> float:
    """How far a character of the music font moves on, in the unit of ``size``; 0 for one that it lacks."""
    return _music_advances().get(f"{ord(char):04X}", 0.0) * size / 1000


@lru_cache(maxsize=1024)
def glyph(char: str) -> Glyph | None:
    """The outline of a music sign; None if the music font has none."""
    code = f"{ord(char):04X}"
    try:
        root = etree.parse(_folder() / MUSIC / f"{code}.xml").getroot()
    except OSError:
        return None
    path = root.find(".//path")
    d = path.get("d", "") if path is not None else ""
    box = path_box(d)
    if not d or box is None:
        return None
    return Glyph(d, box)
