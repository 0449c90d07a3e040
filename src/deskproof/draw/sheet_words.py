"""How wide words are, and where they turn into the next line, so that none meets a rule of the sheet.

The widths are not of one typeface: they are as wide as the widest serif that a reader's machine is likely to have.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

_WIDTHS = (
    ("'j ,.il-/:;|", 0.35), ("f()[]!IJtr*–s\"", 0.51), ("zcvxy?ekao", 0.62), ("0123456789bdghnpqu{}LYPT″", 0.69),
    ("FSZXAVBEK", 0.76), ("RCDGOQU+=<>", 0.84), ("wHN&", 0.89), ("mM%½—@…W", 1.04),
)  # fmt: skip
_WIDTH = {char: width for chars, width in _WIDTHS for char in chars}
_UNKNOWN = 1.0
_BOLD = 1.13  # times as wide


class Word(NamedTuple):
    """What is never parted: a word, or a name with its number. ``strong`` as a dynamic is printed."""

    text: str
    strong: bool = False


def text_width(text: str, size: float, bold: bool = False) -> float:
    """How wide a text is at the most, in the unit of ``size``.

    >>> text_width("tune", 10) < text_width("tune", 10, bold=True) < text_width("counter-tune", 10)
    True
    """
    return size * (_BOLD if bold else 1.0) * sum(_WIDTH.get(char, _UNKNOWN) for char in text)


def line_width(words: Sequence[Word], size: float) -> float:
    """How wide words are in one line, with the blanks between them."""
    return sum(text_width(one.text, size, one.strong) for one in words) + text_width(" ", size) * (len(words) - 1)


def wrapped(words: Sequence[Word], width: float, size: float) -> list[tuple[Word, ...]]:
    """Words in lines no wider than ``width``; a single word that is wider has a line of its own.

    >>> [" ".join(word.text for word in line) for line in wrapped([Word("kept"), Word("for"), Word("C")], 40, 10)]
    ['kept', 'for C']
    """
    lines: list[tuple[Word, ...]] = []
    for word in words:
        if lines and line_width((*lines[-1], word), size) <= width:
            lines[-1] = (*lines[-1], word)
        else:
            lines.append((word,))
    return lines


def narrowest(words: Sequence[Word], lines: int, size: float) -> float:
    """The least width in which words fill no more than ``lines`` lines, 0 for no words."""
    return next((width for width in _widths(words, size) if len(wrapped(words, width, size)) <= lines), 0.0)


def _widths(words: Sequence[Word], size: float) -> Iterator[float]:
    """All widths that matter: those of every stretch of words that is as wide as the widest word."""
    least = max((line_width([one], size) for one in words), default=0.0)
    runs = {line_width(words[i:j], size) for i in range(len(words)) for j in range(i + 1, len(words) + 1)}
    yield from sorted(run for run in runs if run >= least)


def plain(text: str) -> tuple[Word, ...]:
    """A sentence, word by word."""
    return tuple(Word(one) for one in text.split())
