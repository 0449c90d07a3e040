"""A text cut into words that can be compared, and what is found at them."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

_TOKEN = re.compile(r"([^\W_]+°?)(['\u02bc`\u00b4]?)(\.?)")
SIGNS = str.maketrans(
    {
        "\U0001d10b": " segno ", "\ue047": " segno ", "\U0001d10c": " coda ", "\ue048": " coda ",
        "\U0001d109": " D.S. ", "\ue045": " D.S. ", "\U0001d10a": " D.C. ", "\ue046": " D.C. ",
        "\ue260": "♭", "\ue261": "♮", "\ue262": "♯", "\u2019": "'",
        "\u00a0": " ", "\u202f": " ", "\u2007": " ", "\u2009": " ", "\r": "\n", "\u2028": "\n",
        "\u2011": "-", "\u2013": "\u2014", "\u00ad": "", "\u200b": "", "\ufeff": "",
    }
)  # fmt: skip
NUMBERS = {
    word: number
    for number, words in {
        2: "2 due deux zwei zweit zweifach 2fach two",
        3: "3 tre trois drei dritt dreifach 3fach three",
        4: "4 quattro quatre vier viert vierfach 4fach four",
        5: "5 five",
        6: "6 six",
        8: "8",
    }.items()
    for word in words.split()
}
ORDINAL = re.compile(r"(?:([1-8])(°|o|er|re|st|nd|rd|th|mo|ma|a)?|(iv|i{1,3})(°)?)$")


class Token(NamedTuple):
    """A word of the text: folded for comparing, with its dot, and where it stands in the text."""

    word: str
    dot: bool
    start: int
    end: int
    raw: str


class Hit(NamedTuple):
    """A meaning found at some tokens of a stretch; ``end`` is the first token after it."""

    kind: str
    value: str
    figure: float | None
    start: int  # token ordinals
    end: int


def folded(word: str) -> str:
    """A word without case and accents: "Mäßig" -> "massig", "Ô" -> "o"."""
    plain = unicodedata.normalize("NFKD", word.casefold().replace("œ", "oe").replace("æ", "ae"))
    return "".join(char for char in plain if not unicodedata.combining(char))


def tokens_of(text: str) -> list[Token]:
    """The words of a text, folded; signs and marks between them are left out."""
    found = []
    for match in _TOKEN.finditer(text):
        word = match[1].replace("º", "°")
        if word.casefold() == "récit":  # the swell manual of a French organ, not a recitative
            continue
        apostrophe = "'" if match[2] else ""
        found.append(Token(folded(word) + apostrophe, bool(match[3]), match.start(), match.end(), word))
    return found


def numbered(token: Token) -> bool:
    """Whether a token is an ordinal number with its dot ("1.", "II.")."""
    return token.dot and ORDINAL.match(token.word) is not None


def word_set(words: str) -> frozenset[str]:
    """The words of a list as a set."""
    return frozenset(words.split())


def one_of(words: str, word: str) -> bool:
    """Whether a folded word is one of a list's; there abc* stands for any ending, the rest is a pattern."""
    return _pattern(words).match(word) is not None


@lru_cache(maxsize=8)  # built at the first use, to keep the import quick
def _pattern(words: str) -> re.Pattern[str]:
    return re.compile("(?:" + "|".join(word.replace("*", "\\w*") for word in words.split()) + ")$")
