"""Reading an instrument's printed name: the instruments that it mentions and the keys they stand in.

The names that are known come from the caller (``instruments.toml``); the words for keys in English,
Italian, German and French are here. "B" is B flat, as German and Italian parts mean it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import NamedTuple


class Phrases(NamedTuple):
    """The names that are known, as words without accents, and the ids each may mean, the usual one first.

    ``alone`` holds the words that are a name only where nothing else stands beside them; the ids in
    ``in_several_keys`` take a key ("clarinet in A"); ``longest`` is the most words a name has.
    """

    ids: Mapping[tuple[str, ...], tuple[str, ...]]
    alone: frozenset[str]
    in_several_keys: frozenset[str]
    longest: int


class Hit(NamedTuple):
    """An instrument found in a name: the word, what it may mean, and the key beside it."""

    word: str
    ids: tuple[str, ...]
    key: int | None


class Key(NamedTuple):
    """A key in a name: its place among the tokens, whether "in" stands before it, its pitch class.

    ``octave`` is 1 for "alto", -1 for "basso", 0 where nothing is said. ``ahead``: it stands before every instrument
    ("F Horn"). ``signed``: with its flat or sharp, so that it is no mere letter; ``plain_b``: the letter B alone.
    """

    start: int
    end: int
    said: bool
    pitch_class: int
    octave: int = 0
    ahead: bool = False
    signed: bool = False
    plain_b: bool = False


class Reading(NamedTuple):
    """The instruments in a name, in order, the last key that stands in it, and all keys."""

    hits: tuple[Hit, ...]
    key: int | None
    keys: tuple[Key, ...] = ()


_ORDINAL = re.compile(r"\d+(?:st|nd|rd|th|er|re|eme|ere|me|mo|ma|da|do|za|ten|tes|te|ten|[aoe°º])?(?![a-z])")
_SIGNS = str.maketrans({"♮": "", "œ": "oe", "Œ": "oe", "æ": "ae", "°": " ", "º": " ", "\u2019": " ", "'": " "})
_FLAT_SIGN = re.compile(r"\b([A-Ga-g]|[Ss]i|[Mm]i|[Ll]a|[Rr][eé]|[Ss]ol|[Dd]o|[Uu]t|[Ff]a) ?♭")
_SHARP_SIGN = re.compile(r"\b([A-Ga-g]|[Ff]a|[Dd]o|[Uu]t|[Ss]ol) ?[♯#]")
_WORD = re.compile(r"[a-z]+")
_BREAK = frozenset("/+&;,(\n\r")  # a name does not run across these

_IN = frozenset({"in", "en"})
_FLAT = frozenset({"b", "flat", "bemol", "bemolle", "bem", "fl"})
_SHARP = frozenset({"sharp", "diese", "diesis"})
_LETTER = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 10, "h": 11}
_SYLLABLE = {"do": 0, "ut": 0, "re": 2, "mi": 4, "fa": 5, "sol": 7, "la": 9, "si": 11}
_ACCIDENTAL = {
    **{f"{letter}b": (_LETTER[letter] - 1) % 12 for letter in "cdega"},
    **{f"{letter}flat": (_LETTER[letter] - 1) % 12 for letter in "cdega"},
    **{f"{letter}sharp": (_LETTER[letter] + 1) % 12 for letter in "cdfga"},
    **{f"{syllable}b": (pitch - 1) % 12 for syllable, pitch in _SYLLABLE.items()},
    **{f"{syllable}sharp": (pitch + 1) % 12 for syllable, pitch in _SYLLABLE.items()},
    "bb": 10,
    "bflat": 10,
    "es": 3,
    "as": 8,
    "des": 1,
    "ges": 6,
    "fis": 6,
    "cis": 1,
}
# Words after a key that say which of two octaves: "Corni in B basso".
_HIGH_OR_LOW = {
    **dict.fromkeys(("basso", "bassa", "bassi", "tief", "grave", "low"), -1),
    **dict.fromkeys(("alto", "alta", "alti", "hoch", "aigu", "acuto", "high"), 1),
}
# Words that may stand beside a name of one or two letters without changing it.
_BESIDE = frozenset({
    "i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "solo", "soli", "tutti", "div",
    "unis", "in", "en", "e", "et", "and", "und", "a", "st", "nd", "rd", "th", "do", "mo",
})  # fmt: skip


class Token(NamedTuple):
    """A word of a name in small letters: whether it began with a capital, whether a new name begins."""

    word: str
    capital: bool
    fresh: bool


def read_name(name: str, phrases: Phrases) -> Reading:
    """Find the instruments and the key in a printed name."""
    tokens = tokens_of(name)
    hits: list[Hit] = []
    starts: list[int] = []
    keys: list[Key] = []
    i = 0
    while i < len(tokens):
        length, ids = _longest(phrases, tokens, i)
        if ids:
            hits.append(Hit(" ".join(token.word for token in tokens[i : i + length]), ids, None))
            starts.append(i)
            i += length
            continue
        said = tokens[i].word in _IN
        pitch_class, used = _read_key(tokens, i + said, said=said)
        if pitch_class is None:
            i += 1
            continue
        end = i + said + used
        octave = _HIGH_OR_LOW.get(tokens[end].word, 0) if said and end < len(tokens) else 0
        first = tokens[i + said].word
        signed = used > 1 or first in _ACCIDENTAL
        keys.append(Key(i, end, said, pitch_class, octave, not hits, signed, first == "b" and used == 1))
        i = end + abs(octave)
    placed = _with_keys(hits, starts, keys, phrases)
    return Reading(placed, keys[-1].pitch_class if keys else None, tuple(keys))


def _with_keys(hits: list[Hit], starts: list[int], keys: list[Key], phrases: Phrases) -> tuple[Hit, ...]:
    """Give each key to the instrument it stands beside.

    "in A" belongs to the instrument before it; a bare "A" to the one before it if that comes in
    several keys and has none yet, else to the one that follows at once.
    """
    placed = list(hits)
    for key in keys:
        before = max((n for n, start in enumerate(starts) if start < key.start), default=None)
        ahead = next((n for n, start in enumerate(starts) if start == key.end), None)
        if before is not None and ahead is not None and not key.said:
            several = placed[before].ids[0] in phrases.in_several_keys
            target = before if several and placed[before].key is None else ahead
        elif before is not None and (key.said or ahead is None):
            target = before
        else:
            target = ahead if ahead is not None else 0
        if placed:
            placed[target] = placed[target]._replace(key=key.pitch_class)
    return tuple(placed)


def _longest(phrases: Phrases, tokens: list[Token], i: int) -> tuple[int, tuple[str, ...]]:
    """The longest phrase of the table that starts at token ``i``: its length and what it means."""
    words = [tokens[i].word]
    for token in tokens[i + 1 : i + phrases.longest]:
        if token.fresh:
            break
        words.append(token.word)
    for length in range(len(words), 0, -1):
        phrase = tuple(words[:length])
        ids = phrases.ids.get(phrase)
        if ids is None and 1 < length <= 3 and _may_join(phrase):
            ids = phrases.ids.get(("".join(phrase),))
        if ids is None:
            continue
        if length == 1 and phrase[0] in phrases.alone:
            others = [token.word for n, token in enumerate(tokens) if n != i]
            if any(word not in _BESIDE and word not in _LETTER and word not in _ACCIDENTAL for word in others):
                continue
        return length, ids
    return 1, ()


def _may_join(phrase: tuple[str, ...]) -> bool:
    """Whether words may be one word taken apart ("Contra Bass", "C. B."), not a name and a number."""
    return all(len(word) >= 3 for word in phrase) or all(len(word) == 1 for word in phrase)


def _read_key(tokens: list[Token], i: int, *, said: bool) -> tuple[int | None, int]:
    """A key at token ``i`` and the number of tokens it takes; ``said`` if "in" stands before it."""
    if i >= len(tokens):
        return None, 0
    token, capital, _ = tokens[i]
    after = tokens[i + 1].word if i + 1 < len(tokens) else ""
    if token in _ACCIDENTAL and (said or capital or token not in ("as", "es", "des")):
        return _ACCIDENTAL[token], 1
    plain = _LETTER.get(token) if said or capital else None
    if plain is None and said:
        plain = _SYLLABLE.get(token)
    if plain is None:
        return None, 0
    if after in _SHARP:
        return (plain + 1) % 12, 2
    if after in _FLAT and not (after == "fl" and not said):
        return (10 if token in ("b", "h") else (plain - 1) % 12), 2
    return plain, 1


def tokens_of(text: str) -> list[Token]:
    """The words of a name without accents, digits and ordinals."""
    text = _FLAT_SIGN.sub(r"\1b ", text)
    text = _SHARP_SIGN.sub(r"\1sharp ", text)
    text = text.translate(_SIGNS)
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    plain = plain.replace("ß", "ss").replace("ẞ", "SS")
    kept = _ORDINAL.sub(lambda match: " " * len(match[0]), plain.lower())
    found: list[Token] = []
    end = 0
    for match in _WORD.finditer(kept):
        fresh = not _BREAK.isdisjoint(plain[end : match.start()])
        found.append(Token(match[0], plain[match.start()].isupper(), fresh))
        end = match.end()
    return found
