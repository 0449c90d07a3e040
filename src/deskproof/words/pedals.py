"""The pedal settings of a harp, in letters, syllables, German names or as a drawn diagram."""

from __future__ import annotations

import re

from deskproof.words.meaning import Meaning
from deskproof.words.tokens import folded
from deskproof.words.tunings import LATIN

_PEDAL_ORDER = "DCBEFGA"
_PEDAL = re.compile(
    r"""(?P<name>(?:do|ut|r[eé]|mi|fa|sol|la|si)(?:(?![^\W_])|(?=b(?![^\W_])))|(?-i:[A-G]))
    (?:\s?(?P<sign>[♭♯♮\#]|(?-i:b)(?![^\W_])|flat\b|sharp\b|natural\b|nat\b\.?|b[eé]m(?:ol(?:le)?)?\b\.?|
    di[eèé]s(?:e|is)?\b\.?|b[eé]c(?:arre)?\b\.?))?
    (?P<gap>[\s,;/|·.]*)""",
    re.IGNORECASE | re.VERBOSE,
)
_DIAGRAM = re.compile("[\ue680-\ue682\ue683\\s]+")
_GERMAN_FLATS = {"ces": "C-", "des": "D-", "es": "E-", "fes": "F-", "ges": "G-", "as": "A-", "b": "B-"}
_GERMAN_SHARPS = {f"{letter.lower()}is": f"{letter}+" for letter in "CDEFGA"} | {"his": "B+", "h": "B="}


def pedal_letters(text: str) -> Meaning | None:
    """A harp's pedal letters, if the whole text is nothing else: - flat, = natural, + sharp, in pedal order.

    A bare letter counts as natural only where all seven stand.
    """
    glyphs = [char for char in text if "\ue680" <= char <= "\ue682"]
    if len(glyphs) == 7 and _DIAGRAM.fullmatch(text):
        signs = ["-=+"[ord(glyph) - 0xE680] for glyph in glyphs]
        return Meaning("pedals", " ".join(map("".join, zip(_PEDAL_ORDER, signs, strict=True))))
    body = text.strip(" \n()[].,:")
    found: list[str] = []
    end = 0
    while end < len(body):
        match = _PEDAL.match(body, end)
        if not match:
            return _german_pedals(body)
        if not match["gap"] and match.end() < len(body) and (match["sign"] or "none") not in "♭♯♮#":
            return _german_pedals(body)
        name = folded(match["name"])
        if len(name) == 1 and not match["name"].isupper():
            return None
        sign = _accidental_sign(match["sign"])
        found.append((LATIN[name] if len(name) > 1 else name.upper()) + sign)
        end = match.end()
    letters = [row[0] for row in found]
    if not found or len(set(letters)) < len(letters):
        return None
    if any(len(row) == 1 for row in found):
        if len(found) < 7:
            return _german_pedals(body)
        found = [row if len(row) == 2 else f"{row}=" for row in found]
    if len(found) == 1:
        return Meaning("pedal-letter", found[0])
    return Meaning("pedals", " ".join(sorted(found, key=lambda row: _PEDAL_ORDER.index(row[0]))))


def _accidental_sign(sign: str | None) -> str:
    if not sign:
        return ""
    sign = folded(sign)
    if sign[0] in "♮n" or sign.startswith("bec"):
        return "="
    return "+" if sign[0] in "♯#sd" else "-"


def _german_pedals(body: str) -> Meaning | None:
    """Harp pedals by German names ("Es As Des"): two or more, capitals, one of them unmistakable."""
    words = re.split(r"[\s,;/|·]+", body)
    if len(words) < 2 or not all(word and word == word.capitalize() for word in words):
        return None
    named = [(_GERMAN_FLATS | _GERMAN_SHARPS).get(word.lower()) for word in words]
    if not all(named) or not any(len(word) >= 3 for word in words):
        return None
    found = [name for name in named if name]
    if len({name[0] for name in found}) < len(found):
        return None
    return Meaning("pedals", " ".join(sorted(found, key=lambda row: _PEDAL_ORDER.index(row[0]))))
