"""The whole of a text: cut into stretches, each read by itself, and put together again."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache

from deskproof.words.changes import INSTRUMENT, new_instrument
from deskproof.words.meaning import Meaning
from deskproof.words.pedals import pedal_letters
from deskproof.words.reader import read_stretch
from deskproof.words.tokens import SIGNS, Hit, Token, folded, one_of, tokens_of, word_set
from deskproof.words.tunings import new_tuning, retuned

_BREAK = re.compile(r"[,;:()\[\]{}<>/|*!?…\u2014\t\u2022]|\s[-_]+|[-_]{2,}|-\s|_|-$")
_METRONOME = re.compile(
    r"(?:[\u2669-\u266f\ue1d0-\ue1ef\U0001d15d-\U0001d164]|\b[whqe]|M\.?\ ?M\.?)[.\s]*="
    r"\s*(?:c(?:a|irca)?\.?\s*)?\d+(?:\s*[-\u2013]\s*\d+)?\.?"
)
_JUMPS = frozenset({"da-capo", "dal-segno", "fine", "coda", "segno", "to-coda"})
_WITH_ONE_PLAYER = word_set(
    """solo con-sord senza-sord stopped open flutter cuivre pizz arco cresc dim unfixed a-tempo
    tempo-change"""
)


def bare_name(text: str) -> str:
    """The text as a name to be looked up: no brackets, dots, quotation marks, line breaks or spare spaces.

    >>> bare_name("(Fl. picc.)")
    'Fl picc'
    """
    plain = unicodedata.normalize("NFC", text).translate(SIGNS)
    return " ".join(re.sub(r"[()\[\]{}.,:;\"“”„«»*]", " ", plain).split())


_COMPANY = word_set("with like as and con col colla coi come mit wie avec comme")


def names_company(text: str) -> bool:
    """Whether a text says with whom, or like whom, it is to be played ("with the oboe", "like a trumpet").

    >>> names_company("like a trumpet"), names_company("Piccolo")
    (True, False)
    """
    return bool(set(bare_name(text).casefold().split()[:1]) & _COMPANY)


@lru_cache(maxsize=4096)
def meanings(text: str) -> tuple[Meaning, ...]:
    """What a text in the score says, in the order in which it says it; empty where nothing is sure.

    Parameters
    ----------
    text : str
        The words as they stand, line breaks included.

    Examples
    --------
    >>> [(m.kind, m.value) for m in meanings("Allegro (con sord.), a2")]
    [('tempo', 'allegro'), ('con-sord', ''), ('a2', '')]
    >>> meanings("fine and soft")
    ()
    """
    plain = unicodedata.normalize("NFC", text).translate(SIGNS)
    if plain.strip(" ()[].\n") == "+":
        return (Meaning("stopped"),)
    setting = pedal_letters(plain)
    if setting:
        return (setting,)
    tuning = new_tuning(plain)
    if tuning:
        return tuning
    plain = _METRONOME.sub(" , ", plain)
    found: list[Meaning] = []
    hits: list[tuple[Hit, list[Token]]] = []
    understood = True
    for stretch in _stretches(plain):
        tokens = tokens_of(stretch)
        if not tokens:
            continue
        drums = retuned(stretch)
        if drums:
            found += drums
            continue
        read = read_stretch(tokens)
        if not any(hit.kind != "_player" for hit in read.hits):
            change = new_instrument(stretch, tokens)
            if change:
                found.append(change)
                continue
        understood &= read.understood
        hits += [(hit, tokens) for hit in read.hits]
    return (*found, *_settled(hits, understood and not found))


def _stretches(text: str) -> Iterator[str]:
    """Cut at commas, brackets, dashes and full stops; at a line break only where the whole makes no sense."""
    for piece in _BREAK.split(text):
        for sentence in _sentences(piece):
            if "\n" in sentence.strip() and not read_stretch(tokens_of(sentence)).understood:
                yield from sentence.split("\n")
            else:
                yield sentence


def _sentences(piece: str) -> Iterator[str]:
    """Cut at a dot after a word too long for an abbreviation, before a capital ("Animez. Plus vite")."""
    start = 0
    for match in re.finditer(r"([^\W\d_]{5,})\.\s+(?=[^\W\d_])", piece):
        if piece[match.end()].isupper() and not one_of(INSTRUMENT, folded(match[1])):
            yield piece[start : match.end()]
            start = match.end()
    yield piece[start:]


def _settled(hits: list[tuple[Hit, list[Token]]], understood: bool) -> Iterator[Meaning]:
    """Put together what belongs together (D.C. and al Fine), and drop what the rest of the text rules out."""
    kinds = [hit.kind for hit, _ in hits]
    jump = next((kind for kind in kinds if kind in ("da-capo", "dal-segno")), None)
    where = ""
    if jump:
        if "_and-coda" in kinds or "to-coda" in kinds or "coda" in kinds:
            where = "al-coda"
        elif "_al-segno" in kinds:
            jump = "_none"  # until the sign: an old use that leaves open where to go from there
        elif "_al-fine" in kinds or "fine" in kinds:
            where = "al-fine"
    players = [int(hit.figure or 0) for hit, _ in hits if hit.kind == "_player"]
    others = {kind for kind in kinds if kind not in ("_player", "_nothing")}
    if players and (not understood or not others <= _WITH_ONE_PLAYER):
        players = []
    tempo_said = jump is not None
    for hit, tokens in hits:
        kind = hit.kind
        if kind in ("da-capo", "dal-segno"):
            if kind == jump:
                yield Meaning(kind, where)
                jump = "_none"
        elif kind in _JUMPS:
            alone = hit.end - hit.start == len(tokens)  # "Fine", but not "the fine"
            if alone and understood and jump is None:
                yield Meaning(kind)
        elif kind == "tempo":
            if not tempo_said:
                yield Meaning(kind, hit.value)
            tempo_said = True
        elif kind == "_player":
            if len(players) == 1:
                yield Meaning("one", "", float(players[0]))
            elif players:
                yield Meaning("players", " ".join(map(str, players)))
            players = []
        elif kind == "_both-pedals":
            yield Meaning("una-corda")
            yield Meaning("pedal")
        elif kind == "_sp":
            if tokens[hit.start].raw.isupper():
                yield Meaning("sostenuto-pedal")
            yield Meaning("sul-pont")
        elif kind == "tacet":
            if understood:
                yield Meaning(kind)
        elif not kind.startswith("_"):
            yield Meaning(kind, hit.value, hit.figure)
