"""A new tuning of drums: "G in A", "muta Sol in Fa", "H nach C umstimmen"."""

from __future__ import annotations

import re

from deskproof.words.meaning import Meaning
from deskproof.words.tokens import folded, one_of, tokens_of, word_set

_SIGN = r"(?:♭|♯|♮|\#|b\b|flat\b|sharp\b|b[eé]m(?:ol(?:le)?)?\b\.?|di[eèé]sis\b|di[eè]se\b)"
_KEY = r"(?:[A-H](?:es|is|s)?|[Dd]o|[Uu]t|[Rr][eé]|[Mm]i|[Ff]a|[Ss]ol|[Ll]a|[Ss]i)" + rf"(?:\s?{_SIGN})?"
_LETTER = re.compile(r"([A-H])(es|is|s)?(?:[\s-]?(♭|♯|♮|#|b|flat|sharp))?$")
_SOLFEGE = re.compile(r"(do|ut|re|mi|fa|sol|la|si)(?:\s?(♭|♯|♮|#|b|flat|sharp|bem\w*\.?|dies\w*))?$")
LATIN = {"do": "C", "ut": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_PAIR = re.compile(
    rf"(?<![^\W_])({_KEY})\s*(\bin\b|\bto\b|\binto\b|\ben\b|\bnach\b|\bzu\b|\bauf\b|→|->)\s*({_KEY})"
    r"(?![^\W_]|[♭♯#])"
)
_TUNING_VERB = """
    muta mutano mutare change changez changer retune tune tuning stimm* umst* accordez accorder
    accorda accordare cambia cambiare lower raise baissez baisser montez monter mettez"""
_TUNING_COMPANY = word_set(
    """timp timpani timpano timpane pauken pauke timbale timbales drum harp arpa harfe harpe e et und and poi
    il le the das um"""
)
_NEW_TUNING = re.compile(
    r"\s*(?:muta|mutano|mutare|change|changez)\s+(?:in|to|en)\s+"
    rf"({_KEY}(?:(?:\s*(?:,|-|\u2014|/|\be\b|\bet\b|\band\b|\bund\b)\s*|\s+){_KEY})+)\s*\.?\s*$"
)


def retuned(stretch: str) -> list[Meaning]:
    """One meaning a drum for "G in A", "muta Sol in Fa", "H nach C umstimmen"; none beside other words."""
    pairs = list(_PAIR.finditer(stretch))
    if not pairs:
        return []
    beside = [t.word for t in tokens_of(_PAIR.sub(" ", stretch))]
    if not all(one_of(_TUNING_VERB, word) or word in _TUNING_COMPANY for word in beside):
        return []
    spoken = any(one_of(_TUNING_VERB, word) for word in beside)
    found = []
    for pair in pairs:
        before, by, after = pair.groups()
        if not spoken and not (before[0].isupper() and after[0].isupper()):
            return []
        german = _is_german(stretch, by)
        names = _note(before, german), _note(after, german)
        found.append(Meaning("retune", ">".join(n for n in names if n) if all(names) else ""))
    return found


def new_tuning(text: str) -> tuple[Meaning, ...]:
    """The drums' new notes where the old ones are not told: "muta in Sol e Re" is ">G", ">D"."""
    match = _NEW_TUNING.match(text)
    if not match:
        return ()
    german = _is_german(text, "in")
    names = [_note(name[0], german) for name in re.finditer(_KEY, match[1])]
    return tuple(Meaning("retune", f">{name}" if name else "") for name in names)


def _is_german(stretch: str, by: str) -> bool | None:
    if by in ("nach", "zu", "auf") or re.search(r"\bH\b|\b[A-H](?:es|is)\b|\b[EA]s\b|stimm", stretch):
        return True
    return False if by in ("to", "into", "→", "->") else None


def _note(text: str, german: bool | None) -> str | None:
    """A note's English name ("Bb", "F#", "G"), or None where a bare B or the language leaves it open.

    ``german`` None: not known whether B is B flat.
    """
    match = _LETTER.match(text)
    if match:
        letter, ending, sign = match.groups()
        if ending and sign:
            return None
        if letter == "H":
            return "B" if not ending and not sign else {"is": "B#", "es": "Bb"}.get(ending or "")
        if ending == "s" and letter not in "EA":
            return None
        if letter == "B" and not sign:
            return None if german is None or ending else ("Bb" if german else "B")
        return letter + ({"is": "#"}.get(ending, "b") if ending else _accidental(sign))
    match = _SOLFEGE.match(folded(text))
    return LATIN[match[1]] + _accidental(match[2]) if match else None


def _accidental(sign: str | None) -> str:
    if not sign or sign == "♮":
        return ""
    return "#" if sign[0] in "♯#sd" else "b"
