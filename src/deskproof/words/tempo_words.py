"""Tempo headings ("Allegro ma non troppo") and changes measured by them ("poco a poco più mosso")."""

from __future__ import annotations

import re

from deskproof.words.company import NEGATORS, is_filler
from deskproof.words.tokens import Hit, Token, numbered, word_set

# word -> (language, the facts table's name, +1 quick or -1 slow, how much company it bears)
# "any": a heading whatever follows; "known": only with known company; "heading": the same, and written
# with a capital, for words that in small letters are as often a manner of playing.
_SPEED: dict[str, tuple[str, str, int, str]] = {}
for _language, _company, _sign, _names in (
    ("it", "any", -1, "larghissimo grave:known largo larghetto lento adagio adagietto andante andantino"),
    ("it", "any", 1, "moderato allegretto allegro vivo:known vivace vivacissimo presto prestissimo"),
    ("it", "heading", 1, "mosso maestoso animato"),
    ("fr", "known", -1, "lent lentement=lent modere moderement=modere"),
    ("fr", "known", 1, "anime:heading vif vivement=vif vite rapide rapidement=rapide mouvemente"),
    ("fr", "heading", -1, "large largement=large calme allant"),
    ("de", "known", -1, "langsam massig maessig=massig gemassigt=massig gemachlich"),
    ("de", "heading", -1, "getragen breit ruhig"),
    ("de", "known", 1, "bewegt lebhaft schnell geschwind rasch munter:heading frisch:heading"),
    ("de", "heading", -1, "gehend fliessend"),
    ("en", "known", -1, "slow slowly=slow moderate moderately=moderate"),
    ("en", "known", 1, "fast lively quick quickly=quick brisk briskly=brisk"),
    ("en", "heading", -1, "broad broadly=broad flowing"),
):  # fmt: skip
    for _item in _names.split():
        _word, _, _own = _item.partition(":")
        _word, _, _name = _word.partition("=")
        _SPEED[_word] = (_language, _name or _word, _sign, _own or _company)
_SPEED["lentamente"] = ("it", "lento", -1, "any")
_SPEED["allo"] = _SPEED["all°"] = _SPEED["allegro"]
_SPEED["andte"] = _SPEED["andante"]

_COMPOUNDS = word_set(
    """molto-lento molto-adagio molto-allegro molto-vivace adagio-non-troppo allegro-non-troppo
    presto-non-troppo andante-moderato andante-con-moto allegro-moderato allegro-con-brio
    allegro-vivace tres-lent tres-modere tres-anime tres-vif tres-vite assez-lent assez-anime
    assez-vif assez-vite pas-trop-lent pas-trop-vite sehr-langsam sehr-bewegt sehr-lebhaft
    sehr-rasch sehr-schnell ziemlich-langsam ziemlich-schnell nicht-zu-langsam nicht-zu-schnell
    nicht-schnell massig-langsam massig-bewegt massig-schnell very-slow very-quick very-fast
    not-too-slow not-too-fast moderately-slow moderately-fast"""
)
DANCES = {
    "tempo-di-marcia": """
        alla marcia | tempo di marcia | in tempo di marcia | tempo alla marcia | a la marcia |
        Marschtempo | im Marschtempo | marschmäßig | Marschmäßig | mouv* de marche | tempo de marche |
        march tempo | in march time""",
    "tempo-di-minuetto": """
        tempo di minuetto | tempo di menuetto | in tempo di menuetto | tempo minuetto | tempo di minuet |
        mouv* de menuet | Menuett Tempo | minuetto | menuetto | menuet | minuet | menuett""",
    "tempo-di-valse": """
        tempo di valse | tempo di valzer | tempo di walzer | tempo de valse | mouv* de valse |
        Walzertempo | im Walzertempo | waltz tempo | in waltz time | tempo di waltz""",
    "tempo-di-gavotta": "tempo di gavotta | tempo di gavotte | mouv* de gavotte",
    "tempo-di-polacca": "alla polacca | tempo di polacca | tempo di polonaise | tempo di polonese",
    "tempo-di-mazurka": "tempo di mazurka | tempo di mazurca | mouv* de mazurka",
    "alla-siciliana": "alla siciliana | alla siciliano",
}
TEMPO_WORDS = frozenset({"con-moto", *_COMPOUNDS, *DANCES, *(name for _, name, _, _ in _SPEED.values())})
"""Every value that a meaning of kind ``tempo`` can have; each has its figure in facts/tempo.toml."""


_VERY = word_set("molto assai tres sehr very")
_RATHER = word_set("assez ziemlich")
_LEAD = word_set(
    """molto assai poco un in di quasi ma non troppo tanto tres assez peu trop pas bien sehr ziemlich
    etwas nicht zu recht ganz very rather fairly not too a little finale trio rondo introduzione
    introduction introduktion scherzo intermezzo il massig massige moderately e und et and kraftig
    sturmisch leicht zart innig feierlich heiter ein wenig"""
)
_MORE, _LESS = word_set("piu plus more"), word_set("meno moins less weniger")
_RELATIVE = {word: sign for word, (_, _, sign, _) in _SPEED.items()}
for _word in word_set("grave moderato moderate moderately modere moderement maestoso"):
    del _RELATIVE[_word]
_RELATIVE |= {"moto": 1, "stretto": 1, "animated": 1, "tranquillo": -1, "retenu": -1}
_BY_AND_BY = [
    tuple(words.split())
    for words in (
        "poco a poco", "peu a peu", "nach und nach", "de plus en", "de moins en", "little by little",
        "immer", "allmahlich", "gradually", "sempre", "toujours",
    )
]  # fmt: skip
_CONNECTORS = word_set("und et e ed and con mit avec with ma mais aber but")
_TECHNIQUE = re.compile(
    r"vib|trem|gliss|bow|strok|trill|roll|arp|bend|slide|release|attack|decay|dim|cresc|breath|motion|time|"
    r"pulse|hand"
)


def tempo_in(tokens: list[Token], after: list[str]) -> Hit | None:
    """The tempo heading that a stretch of text begins with; "slow gliss." and "fast vibrato" are none."""
    words = [t.word for t in tokens]
    if words in (["con", "moto"], ["molto", "con", "moto"]) and tokens[0].raw[0].isupper():
        return Hit("tempo", "con-moto", None, 0, len(words))
    i = 0
    while i < len(words) and words[i] not in _SPEED and (words[i] in _LEAD or numbered(tokens[i])):
        i += 1
    pair = "-".join(words[i : i + 2])
    if pair in _COMPOUNDS and words[i] in ("massig", "moderately") and not _unknown(words[i + 2 :]):
        return Hit("tempo", pair, None, 0, len(words))
    if i == len(words) or words[i] not in _SPEED:
        return None
    language, name, _, company = _SPEED[words[i]]
    lead, rest = words[:i], words[i + 1 :]
    if company == "heading" and not tokens[0].raw[0].isupper():
        return None
    if _TECHNIQUE.search(" ".join(rest + after)) or len(rest) > 8 or (company != "any" and _unknown(rest)):
        return None
    if company == "any" and (tokens[i].raw.islower() and _unknown(rest) and _unknown(rest[:1])):
        return None  # a tempo word in the middle of someone's sentence
    return Hit("tempo", _compound(language, name, lead, rest), None, 0, len(words))


def _unknown(rest: list[str]) -> bool:
    """Whether the words after a tempo word are more than known company, or "und ..." with up to three."""
    for k, word in enumerate(rest):
        if word in _CONNECTORS and 0 < len(rest) - k - 1 <= 3:
            return False
        if word not in _LEAD and word not in _SPEED and not is_filler(word):
            return True
    return False


def _compound(language: str, name: str, lead: list[str], rest: list[str]) -> str:
    """The compound that the facts have a figure for ("molto-allegro"), else the plain word."""
    said = lead + rest[:3]
    negated = {"non", "pas", "nicht", "not"} & set(said)
    tries = []
    if negated and {"troppo", "tanto", "trop", "zu", "too", "molto"} & set(said):
        tries = [f"{name}-non-troppo", f"pas-trop-{name}", f"nicht-zu-{name}", f"not-too-{name}"]
    elif "nicht" in lead:
        tries = [f"nicht-{name}"]
    elif rest[:2] in (["con", "moto"], ["con", "brio"]):
        tries = [f"{name}-con-{rest[1]}"]
    elif rest[:3] == ["molto", "con", "brio"]:
        tries = [f"{name}-con-brio"]
    elif rest[:1] and f"{name}-{rest[0]}" in _COMPOUNDS:
        tries = [f"{name}-{rest[0]}"]
    elif _VERY & set(lead) or _VERY & set(rest[:1]) or rest[:2] == ["di", "molto"]:
        tries = [f"{very}-{name}" for very in ("molto", "tres", "sehr", "very")]
    elif _RATHER & set(lead):
        tries = [f"{rather}-{name}" for rather in _RATHER]
    return next((word for word in tries if word in _COMPOUNDS), name)


def relative_in(tokens: list[Token]) -> Hit | None:
    """The change that "più mosso", "un peu plus vite", "poco a poco meno allegro" ask for."""
    words = [t.word for t in tokens]
    known = {"by", "en", "ancora", *_LEAD, *_RELATIVE, *_SPEED}
    sign = 0
    for k, word in enumerate(words):
        if word in _MORE | _LESS and k + 1 < len(words) and words[k + 1] in _RELATIVE and not sign:
            sign = _RELATIVE[words[k + 1]] * (1 if word in _MORE else -1)
        elif word not in known and not is_filler(word):
            return None
    if not sign or (set(words) & NEGATORS and not {"troppo", "trop"} & set(words)):
        return None
    gradual, sudden = ("accel", "more") if sign > 0 else ("rit", "less")
    return Hit("tempo-change", gradual if by_and_by(tokens) else sudden, None, 0, len(words))


def by_and_by(tokens: list[Token]) -> bool:
    words = tuple(t.word for t in tokens)
    return any(words[k : k + len(row)] == row for row in _BY_AND_BY for k in range(len(words)))
