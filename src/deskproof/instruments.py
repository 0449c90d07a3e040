"""Who plays this part: identity from the standard sound id, the MIDI program and the printed name.

The table is ``instruments.toml``: names in English, Italian, German and French, sound ids of
MusicXML's sounds list, General MIDI programs. Compass and transposition are facts and live in
``deskproof.facts`` under the instrument's id. Nothing is read at import.
"""

from __future__ import annotations

import difflib
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from deskproof.errors import DeskproofError

__all__ = [
    "Instrument",
    "UnknownInstrumentError",
    "all_in_name",
    "all_instruments",
    "by_id",
    "by_name",
    "identify",
    "key_in_name",
    "nearest",
    "with_crook",
]


class UnknownInstrumentError(DeskproofError):
    """No instrument has this id; the message names the nearest ones."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument, voice or section.

    Attributes
    ----------
    id : str
        Key of the tables and owner of its facts, "bass-clarinet".
    name : str
        English name, "bass clarinet in B flat".
    family : str
        woodwind, brass, strings, plucked, harp, keyboard, organ, continuo, timpani,
        pitched-percussion, percussion or voice.
    kind : str
        The same for variants that only the crook tells apart; else the id.
    crook : int or None
        Semitones from written to sounding where that tells the variant; None otherwise.
    sounds, programs : tuple
        Standard sound ids and General MIDI programs (0-based) that mean this instrument.
    group, head : bool
        Stands for a whole section ("strings", "voice"); is the plain member of its relatives.
    """

    id: str
    name: str
    family: str
    kind: str
    crook: int | None = None
    sounds: tuple[str, ...] = ()
    programs: tuple[int, ...] = ()
    group: bool = False
    head: bool = False


def identify(
    *,
    sound: str | None,
    program: int | None,
    name: str,
    abbreviation: str = "",
    transposition: int | None = None,
) -> Instrument | None:
    """The instrument of a part, or None where nothing tells.

    A sound id that names one instrument comes first, and the name only refines it among
    relatives ("Corno inglese" on an oboe sound). A sound that names a section or a voice, or the
    piano that exporters write when they know nothing better, gives way to a name that is
    understood. Without a sound the name comes before the program, which is often the nearest
    thing a synthesiser had (a voice on the oboe's program); the bare name "Piano" is an
    exporter's default too and gives way to another program.

    Parameters
    ----------
    sound : str or None
        Standard sound id such as "wind.flutes.flute"; an id not listed counts as its parent.
    program : int or None
        General MIDI program, 0-based.
    name, abbreviation : str
        As printed; the abbreviation is read where the name says nothing.
    transposition : int or None
        Semitones from written to sounding. It chooses between crooks where the name gives no
        key; 0 chooses nothing, because scores at concert pitch have it throughout.

    Examples
    --------
    >>> identify(sound=None, program=None, name="2 Flöten").id
    'flute'
    >>> identify(sound="wind.reed.oboe", program=68, name="Corno inglese").id
    'cor-anglais'
    >>> identify(sound=None, program=71, name="Clarinet", transposition=-3).id
    'clarinet-a'
    """
    return _identify(sound or "", program, name or "", abbreviation or "", transposition)


def by_id(instrument_id: str) -> Instrument:
    """The instrument with this id.

    Raises
    ------
    UnknownInstrumentError
        If there is none; the message names the nearest ones.
    """
    found = _tables().instruments.get(instrument_id)
    if found is None:
        near = nearest(instrument_id)
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        raise UnknownInstrumentError(f"no instrument is called {instrument_id!r}{hint}")
    return found


@lru_cache(maxsize=2048)
def by_name(text: str) -> Instrument | None:
    """The first instrument that a free text names ("to Celesta", "muta in Corno inglese").

    An id is understood too. Letters that are a name only as the whole name of a part ("S.", "Tr.")
    name nobody here.

    Examples
    --------
    >>> by_name("muta in Corno inglese").id
    'cor-anglais'
    """
    if text in _tables().instruments:
        return _tables().instruments[text]
    for hit in _read_name(text).hits:
        if hit.word not in _tables().alone:
            return _first_of(hit)
    return None


@lru_cache(maxsize=1024)
def all_in_name(name: str) -> tuple[Instrument, ...]:
    """Every instrument that a part's name mentions, in order, each once ("Flute/Piccolo")."""
    found: dict[Instrument, None] = {}
    for hit in _read_name(name).hits:
        first = next(iter(found), None)
        chosen = _chosen(hit, first)
        found.setdefault(chosen if hit.key is None else _variant(chosen, hit.key))
    return tuple(found)


def key_in_name(name: str) -> int | None:
    """The key an instrument is said to stand in, as a pitch class (0 = C), or None.

    "Clarinetti in B" is B flat (10), as German and Italian parts mean it; "in H" is B (11).

    Examples
    --------
    >>> key_in_name("Corni in Es"), key_in_name("Trumpet in B♭ 1"), key_in_name("Flauti")
    (3, 10, None)
    """
    return _read_name(name).key


def with_crook(instrument: Instrument, semitones: int) -> Instrument:
    """The variant of the same kind at this transposition, octaves aside; itself if there is none.

    0 semitones changes nothing: a part at concert pitch is no clarinet in C.
    """
    if instrument.crook is None or semitones == 0:
        return instrument
    return _variant(instrument, semitones)


def nearest(name: str) -> list[str]:
    """Up to three instrument names that look most like ``name``, best first."""
    words: dict[str, str] = {}
    for instrument in _tables().instruments.values():
        words.setdefault(instrument.id, instrument.name)
        words.setdefault(instrument.name.casefold(), instrument.name)
    for phrase, ids in _tables().phrases.items():
        words.setdefault(" ".join(phrase), _tables().instruments[ids[0]].name)
    close = difflib.get_close_matches(name.casefold().strip(), words, n=9, cutoff=0.6)
    return list(dict.fromkeys(words[word] for word in close))[:3]


def all_instruments() -> tuple[Instrument, ...]:
    """Every instrument in the order of the table."""
    return tuple(_tables().instruments.values())


# ------------------------------------------------------------------ evidence

# Families whose members stand in for one another in sound lists and programs.
_NEAR = {
    "percussion": "percussion",
    "pitched-percussion": "percussion",
    "timpani": "percussion",
    "keyboard": "keyboard",
    "organ": "keyboard",
    "continuo": "keyboard",
    "plucked": "plucked",
    "harp": "plucked",
}
_DEFAULT = "piano"  # what exporters write for sound, program 0 and name when they know nothing


@lru_cache(maxsize=2048)
def _identify(
    sound: str, program: int | None, name: str, abbreviation: str, transposition: int | None
) -> Instrument | None:
    tables = _tables()
    heard = _by_sound(sound)
    played = tables.programs.get(program) if program is not None else None
    read = _read_name(name)
    if not read.hits:
        read = _read_name(abbreviation)
    hit = read.hits[0] if read.hits else None
    if hit is None:
        found = _without_name(heard, played)
    elif heard is not None and not _weak(heard):
        found = _refined(heard, _chosen(hit, heard))
    else:
        found = _named(hit, heard, played)
    if found is None or found.crook is None:
        return found
    key = hit.key if hit is not None and hit.key is not None else read.key
    if key is not None:
        return _variant(found, key)
    if transposition is not None:
        return with_crook(found, transposition)
    return found


def _weak(instrument: Instrument) -> bool:
    """Whether this sound is only better than nothing."""
    return instrument.group or instrument.family == "voice" or instrument.id == _DEFAULT


def _near(one: Instrument, other: Instrument) -> bool:
    return _NEAR.get(one.family, one.family) == _NEAR.get(other.family, other.family)


def _without_name(heard: Instrument | None, played: Instrument | None) -> Instrument | None:
    if heard is None:
        return played
    if heard.group and heard.family != "voice" and played is not None and _near(heard, played):
        return played
    return heard


def _refined(heard: Instrument, named: Instrument) -> Instrument:
    """A sound that names one instrument, and a name beside it."""
    if not _near(heard, named) or named.group or (named.head and not heard.head):
        return heard
    return named


def _named(hit: _Hit, heard: Instrument | None, played: Instrument | None) -> Instrument:
    """A name that is understood, and at most a weak sound beside it."""
    told = played is not None and not played.group and played.id != _DEFAULT
    named = _chosen(hit, played if told else heard)
    if not told or played is None:
        return heard if heard is not None and named.group and _near(heard, named) else named
    if named.id == _DEFAULT and not _near(named, played) and (heard is None or heard.id != _DEFAULT):
        return played
    if named.group and _near(named, played):
        return played
    return named


def _chosen(hit: _Hit, beside: Instrument | None) -> Instrument:
    """The meaning of a word that fits the other evidence, else its usual meaning."""
    instruments = _tables().instruments
    if beside is not None:
        for instrument_id in hit.ids:
            if _near(instruments[instrument_id], beside):
                return instruments[instrument_id]
    return instruments[hit.ids[0]]


def _first_of(hit: _Hit) -> Instrument:
    instrument = _tables().instruments[hit.ids[0]]
    return instrument if hit.key is None else _variant(instrument, hit.key)


def _variant(instrument: Instrument, semitones: int) -> Instrument:
    if instrument.crook is None:
        return instrument
    for other in _tables().kinds[instrument.kind]:
        if other.crook is not None and (other.crook - semitones) % 12 == 0:
            return other
    return instrument


def _by_sound(sound: str) -> Instrument | None:
    sounds = _tables().sounds
    while sound:
        if sound in sounds:
            return sounds[sound]
        sound = sound.rpartition(".")[0]
    return None


# ------------------------------------------------------------------ names


class _Hit(NamedTuple):
    """An instrument found in a name: the word, what it may mean, and the key beside it."""

    word: str
    ids: tuple[str, ...]
    key: int | None


class _Reading(NamedTuple):
    hits: tuple[_Hit, ...]
    key: int | None


_ORDINAL = re.compile(r"\d+(?:st|nd|rd|th|er|re|eme|ere|me|mo|ma|da|do|za|ten|tes|te|ten|[aoe°º])?(?![a-z])")
_SIGNS = str.maketrans(
    {"♮": "", "œ": "oe", "Œ": "oe", "æ": "ae", "°": " ", "º": " ", "\u2019": " ", "'": " "}
)
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
_HIGH_OR_LOW = frozenset(
    [
        "basso",
        "bassa",
        "bassi",
        "alto",
        "alta",
        "alti",
        "tief",
        "hoch",
        "grave",
        "aigu",
        "acuto",
        "low",
        "high",
    ]
)
# Words that may stand beside a name of one or two letters without changing it.
_BESIDE = frozenset(
    [
        "i",
        "ii",
        "iii",
        "iv",
        "v",
        "vi",
        "vii",
        "viii",
        "ix",
        "x",
        "solo",
        "soli",
        "tutti",
        "div",
        "unis",
        "in",
        "en",
        "e",
        "et",
        "and",
        "und",
        "a",
        "st",
        "nd",
        "rd",
        "th",
        "do",
        "mo",
    ]
)


class _Token(NamedTuple):
    """A word of a name in small letters: whether it began with a capital, whether a new name begins."""

    word: str
    capital: bool
    fresh: bool


class _Key(NamedTuple):
    """A key in a name: its place among the tokens, whether "in" stands before it, its pitch class."""

    start: int
    end: int
    said: bool
    pitch_class: int


@lru_cache(maxsize=4096)
def _read_name(name: str) -> _Reading:
    """Find the instruments and the key in a printed name."""
    tables = _tables()
    tokens = _tokens(name)
    hits: list[_Hit] = []
    starts: list[int] = []
    keys: list[_Key] = []
    i = 0
    while i < len(tokens):
        length, ids = _longest(tables, tokens, i)
        if ids:
            hits.append(_Hit(" ".join(token.word for token in tokens[i : i + length]), ids, None))
            starts.append(i)
            i += length
            continue
        said = tokens[i].word in _IN
        pitch_class, used = _read_key(tokens, i + said, said=said)
        if pitch_class is None:
            i += 1
            continue
        end = i + said + used
        keys.append(_Key(i, end, said, pitch_class))
        i = end + (said and end < len(tokens) and tokens[end].word in _HIGH_OR_LOW)
    return _Reading(_with_keys(hits, starts, keys), keys[-1].pitch_class if keys else None)


def _with_keys(hits: list[_Hit], starts: list[int], keys: list[_Key]) -> tuple[_Hit, ...]:
    """Give each key to the instrument it stands beside.

    "in A" belongs to the instrument before it; a bare "A" to the one before it if that comes in
    several keys and has none yet, else to the one that follows at once.
    """
    placed = list(hits)
    for key in keys:
        before = max((n for n, start in enumerate(starts) if start < key.start), default=None)
        ahead = next((n for n, start in enumerate(starts) if start == key.end), None)
        if before is not None and ahead is not None and not key.said:
            several = _tables().instruments[placed[before].ids[0]].crook is not None
            target = before if several and placed[before].key is None else ahead
        elif before is not None and (key.said or ahead is None):
            target = before
        else:
            target = ahead if ahead is not None else 0
        if placed:
            placed[target] = placed[target]._replace(key=key.pitch_class)
    return tuple(placed)


def _longest(tables: _Tables, tokens: list[_Token], i: int) -> tuple[int, tuple[str, ...]]:
    """The longest phrase of the table that starts at token ``i``: its length and what it means."""
    words = [tokens[i].word]
    for token in tokens[i + 1 : i + tables.longest]:
        if token.fresh:
            break
        words.append(token.word)
    for length in range(len(words), 0, -1):
        phrase = tuple(words[:length])
        ids = tables.phrases.get(phrase)
        if ids is None and 1 < length <= 3 and _may_join(phrase):
            ids = tables.phrases.get(("".join(phrase),))
        if ids is None:
            continue
        if length == 1 and phrase[0] in tables.alone:
            others = [token.word for n, token in enumerate(tokens) if n != i]
            if any(
                word not in _BESIDE and word not in _LETTER and word not in _ACCIDENTAL for word in others
            ):
                continue
        return length, ids
    return 1, ()


def _may_join(phrase: tuple[str, ...]) -> bool:
    """Whether words may be one word taken apart ("Contra Bass", "C. B."), not a name and a number."""
    return all(len(word) >= 3 for word in phrase) or all(len(word) == 1 for word in phrase)


def _read_key(tokens: list[_Token], i: int, *, said: bool) -> tuple[int | None, int]:
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


def _tokens(text: str) -> list[_Token]:
    """The words of a name without accents, digits and ordinals."""
    text = _FLAT_SIGN.sub(r"\1b ", text)
    text = _SHARP_SIGN.sub(r"\1sharp ", text)
    text = text.translate(_SIGNS)
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    plain = plain.replace("ß", "ss").replace("ẞ", "SS")
    kept = _ORDINAL.sub(lambda match: " " * len(match[0]), plain.lower())
    found: list[_Token] = []
    end = 0
    for match in _WORD.finditer(kept):
        fresh = not _BREAK.isdisjoint(plain[end : match.start()])
        found.append(_Token(match[0], plain[match.start()].isupper(), fresh))
        end = match.end()
    return found


# ------------------------------------------------------------------ tables


class _Tables(NamedTuple):
    instruments: Mapping[str, Instrument]
    kinds: Mapping[str, tuple[Instrument, ...]]
    sounds: Mapping[str, Instrument]
    programs: Mapping[int, Instrument]
    phrases: Mapping[tuple[str, ...], tuple[str, ...]]
    alone: frozenset[str]
    longest: int


_LANGUAGES = ("en", "it", "de", "fr", "short")
_UMLAUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
# Short names that count only where nothing else stands in the name, as single letters do.
_ALONE = frozenset(
    ["tr", "ct", "ch", "gl", "vx", "dr", "br", "pn", "ss", "aa", "ms", "tp", "ca", "eh", "bs", "mz", "cas"]
)


@lru_cache(maxsize=1)
def _tables() -> _Tables:
    path = Path(__file__).with_name("instruments.toml")
    rows: dict[str, dict[str, Any]] = tomllib.loads(path.read_text(encoding="utf-8"))
    instruments: dict[str, Instrument] = {}
    kinds: dict[str, list[Instrument]] = {}
    sounds: dict[str, Instrument] = {}
    programs: dict[int, Instrument] = {}
    first: dict[tuple[str, ...], list[str]] = {}
    second: dict[tuple[str, ...], list[str]] = {}
    for key, row in rows.items():
        one = Instrument(
            id=key,
            name=row["name"],
            family=row["family"],
            kind=row.get("kind", key),
            crook=row.get("crook"),
            sounds=tuple(row.get("sounds", ())),
            programs=tuple(row.get("programs", ())),
            group=row.get("group", False),
            head=row.get("head", False),
        )
        instruments[key] = one
        kinds.setdefault(one.kind, []).append(one)
        for sound in one.sounds:
            sounds.setdefault(sound, one)
        for program in one.programs:
            programs.setdefault(program, one)
        words = [one.name] if one.crook is None else []
        for language in _LANGUAGES:
            words.extend(row.get(language, ()))
        _index(first, words, key)
        _index(second, row.get("also", ()), key)
    phrases = {
        phrase: tuple(dict.fromkeys(first.get(phrase, []) + second.get(phrase, [])))
        for phrase in {**first, **second}
    }
    alone = frozenset(
        phrase[0] for phrase in phrases if len(phrase) == 1 and (len(phrase[0]) == 1 or phrase[0] in _ALONE)
    )
    return _Tables(
        instruments,
        {kind: tuple(members) for kind, members in kinds.items()},
        sounds,
        programs,
        phrases,
        alone,
        max(len(phrase) for phrase in phrases),
    )


def _index(into: dict[tuple[str, ...], list[str]], words: Iterable[str], key: str) -> None:
    for word in words:
        for spelling in {word, word.translate(_UMLAUT)}:
            phrase = tuple(token.word for token in _tokens(spelling))
            ids = into.setdefault(phrase, [])
            if phrase and key not in ids:
                ids.append(key)
