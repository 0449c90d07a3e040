"""What one stretch of text between commas, brackets and dashes says: phrases, numbers of players, tempo."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from deskproof.words.company import AND_OR, EVERYDAY, LIKENESS, NEGATORS, SURE, is_filler
from deskproof.words.phrases import PHRASES
from deskproof.words.tempo_words import DANCES, by_and_by, relative_in, tempo_in
from deskproof.words.tokens import NUMBERS, ORDINAL, Hit, Token, folded

_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4}


class Read(NamedTuple):
    """What a stretch says, and whether every word of it is known."""

    hits: list[Hit]
    understood: bool


def read_stretch(tokens: list[Token]) -> Read:
    """All that one stretch of text between commas, brackets and dashes says."""
    hits: list[Hit] = []
    known = [False] * len(tokens)
    negated = False
    i = 0
    while i < len(tokens):
        hit = _phrase_at(tokens, i) or _number_at(tokens, i)
        if hit is None:
            word = tokens[i].word
            known[i] = is_filler(word) or word in LIKENESS
            negated = word in NEGATORS or (negated and word in AND_OR)
            i += 1
            continue
        before = tokens[i - 1].word if i else ""
        likeness = before in LIKENESS and hit.kind not in ("tempo", "unfixed")
        elided = before in ("d'", "l'") and hit.kind == "arco"
        stray = hit.value == "" and tokens[hit.start].word in ("dc", "ds") and hit.start > 0
        if not (negated or likeness or elided or stray or hit.kind == "_nothing"):
            hits.append(_gradual(hit, tokens))
        for k in range(hit.start, hit.end):
            known[k] = True
        i = hit.end
        negated = negated and i < len(tokens) and tokens[i].word in AND_OR
    if not any(hit.kind == "tempo" for hit in hits):
        lead = _before_other(tokens, hits)
        tempo = relative_in(lead) or tempo_in(lead, [t.word for t in tokens[len(lead) :]])
        if tempo:
            hits.insert(0, tempo)
            for k in range(tempo.start, tempo.end):
                known[k] = True
    understood = all(known)
    if not understood:
        hits = [hit for hit in hits if _stands_alone(hit, tokens)]
    return Read(_without_doubt(hits), understood)


def _phrase_at(tokens: list[Token], i: int) -> Hit | None:
    """The longest phrase of the table that begins at token ``i``."""
    table = _table()
    first = tokens[i].word
    for wanted, kind, value in (*table.get(first[0], ()), *(table.get("#", ()) if first in NUMBERS else ())):
        n = len(wanted)
        if i + n <= len(tokens) and all(_fits(w, t) for w, t in zip(wanted, tokens[i : i + n], strict=True)):
            figures = [float(NUMBERS[t.word]) for w, t in zip(wanted, tokens[i:], strict=False) if w == "#"]
            return Hit(kind, value, figures[0] if figures else None, i, i + n)
    return None


def _fits(want: str, token: Token) -> bool:
    """Whether a word of a phrase, written as in ``PHRASES``, is this token."""
    if want == "#":
        return token.word in NUMBERS
    if want[-1] == "*":
        return token.word.startswith(want[:-1])
    if want[-1] == ".":
        return token.dot and token.word == want[:-1]
    return token.word == want


@lru_cache(maxsize=1)
def _table() -> dict[str, list[tuple[tuple[str, ...], str, str]]]:
    """Phrases by the first letter of their first word, longest first."""
    rows: list[tuple[tuple[str, ...], str, str]] = []
    for (kind, value), phrases in PHRASES.items():
        rows += [(_phrase_tokens(phrase), kind, value) for phrase in phrases.split("|")]
    for value, phrases in DANCES.items():
        rows += [(_phrase_tokens(phrase), "tempo", value) for phrase in phrases.split("|")]
    rows.sort(key=lambda row: (-len(row[0]), -sum(map(len, row[0]))))
    table: dict[str, list[tuple[tuple[str, ...], str, str]]] = {}
    for row in rows:
        table.setdefault(row[0][0][0], []).append(row)
    return table


def _phrase_tokens(phrase: str) -> tuple[str, ...]:
    parts = []
    for part in phrase.split():
        mark = part[-1] if part[-1] in "*." and len(part) > 1 else ""
        parts.append(folded(part[: len(part) - len(mark)]) + mark)
    return tuple(parts)


def _number_at(tokens: list[Token], i: int) -> Hit | None:
    """One player of a stave ("1.", "II.", "1°"), or that many together ("a 2", "à 2", "zu 2")."""
    token = tokens[i]
    match = re.fullmatch(r"a([2-8])", token.word)
    if match:
        return Hit("a2", "", float(match[1]), i, i + 1)
    if token.word in ("a", "zu") and i + 1 < len(tokens) and tokens[i + 1].word in NUMBERS:
        return Hit("a2", "", float(NUMBERS[tokens[i + 1].word]), i, i + 2)
    match = ORDINAL.match(token.word)
    if match and (match[1] or token.raw[0] == "I") and (token.dot or match[2] or match[4]):
        return Hit("_player", "", float(match[1] or _ROMAN[match[3]]), i, i + 1)
    return None


def _gradual(hit: Hit, tokens: list[Token]) -> Hit:
    """A gradual change for "nach und nach schneller", a new tempo for "schneller"."""
    if hit.kind == "tempo-change" and hit.value in ("more", "less") and by_and_by(tokens[: hit.start]):
        return hit._replace(value="accel" if hit.value == "more" else "rit")
    return hit


def _before_other(tokens: list[Token], hits: list[Hit]) -> list[Token]:
    """The tokens before the first hit that is no part of a tempo heading ("Allegro | rit.")."""
    return tokens[: min((hit.start for hit in hits if hit.kind != "_player"), default=len(tokens))]


def _stands_alone(hit: Hit, tokens: list[Token]) -> bool:
    if hit.kind == "tempo":
        return hit.start == 0 and hit.value not in DANCES
    first = tokens[hit.start]
    if hit.kind == "tempo-change":  # "rit." and "accel." in any company; "eilen" and "string." only alone
        return first.dot and first.word != "string"
    everyday = hit.end - hit.start == 1 and first.word in EVERYDAY
    return hit.kind in SURE and not everyday


def _without_doubt(hits: list[Hit]) -> list[Hit]:
    """What is left to the player's choice ("8va ad lib.") says nothing for sure, and frees no tempo."""
    if len(hits) > 1 and any(hit.value == "ad-lib" for hit in hits):
        others = {hit.kind for hit in hits if hit.value != "ad-lib"}
        if not others <= {"tempo", "tempo-change", "unfixed", "solo", "a-tempo", "_player"}:
            unsure = ("octave", "tacet", "harmonic")
            return [hit for hit in hits if hit.value != "ad-lib" and hit.kind not in unsure]
    return hits
