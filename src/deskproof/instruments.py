"""Who plays this part: identity from the standard sound id, the MIDI program and the printed name.

The table is ``instruments.toml``: names in English, Italian, German and French, sound ids of
MusicXML's sounds list, General MIDI programs. Compass and transposition are facts and live in
``deskproof.facts`` under the instrument's id. Nothing is read at import.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from deskproof.errors import DeskproofError
from deskproof.instrument_names import Hit, Phrases, Reading, read_name, tokens_of

__all__ = [
    "Instrument",
    "UnknownInstrumentError",
    "all_in_name",
    "all_instruments",
    "by_id",
    "by_name",
    "crooks_in_name",
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
        if hit.word not in _tables().phrases.alone:
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


class Crook(NamedTuple):
    """The key that a name gives its instrument.

    ``keys`` are the pitch classes it may mean (B alone: B flat, or in English B), ``octave`` 1 for "alto", -1 for
    "basso", 0 unsaid. ``sure`` is False for a letter before the instrument, which may be short for something else.
    """

    keys: frozenset[int]
    octave: int
    sure: bool


@lru_cache(maxsize=1024)
def crooks_in_name(name: str) -> tuple[Crook, ...]:
    """The keys that a name gives its instrument; a letter behind it ("Horn A", the first of two) is none.

    Examples
    --------
    >>> [sorted(crook.keys) for crook in crooks_in_name("Cor en fa♯")]
    [[6]]
    >>> crooks_in_name("Corni in Si♭ basso")[0].octave, crooks_in_name("Trumpet B")
    (-1, ())
    """
    return tuple(
        Crook(frozenset({10, 11} if key.plain_b else {key.pitch_class}), key.octave, key.said or key.signed)
        for key in _read_name(name).keys
        if key.said or key.signed or key.ahead
    )


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
    for phrase, ids in _tables().phrases.ids.items():
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


def _named(hit: Hit, heard: Instrument | None, played: Instrument | None) -> Instrument:
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


def _chosen(hit: Hit, beside: Instrument | None) -> Instrument:
    """The meaning of a word that fits the other evidence, else its usual meaning."""
    instruments = _tables().instruments
    if beside is not None:
        for instrument_id in hit.ids:
            if _near(instruments[instrument_id], beside):
                return instruments[instrument_id]
    return instruments[hit.ids[0]]


def _first_of(hit: Hit) -> Instrument:
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


# ------------------------------------------------------------------ tables


class _Tables(NamedTuple):
    instruments: Mapping[str, Instrument]
    kinds: Mapping[str, tuple[Instrument, ...]]
    sounds: Mapping[str, Instrument]
    programs: Mapping[int, Instrument]
    phrases: Phrases


_LANGUAGES = ("en", "it", "de", "fr", "short")
_UMLAUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
# Short names that count only where nothing else stands in the name, as single letters do.
_ALONE = frozenset(
    ["tr", "ct", "ch", "gl", "vx", "dr", "br", "pn", "ss", "aa", "ms", "tp", "ca", "eh", "bs", "mz", "cas"]
)


@lru_cache(maxsize=4096)
def _read_name(name: str) -> Reading:
    return read_name(name, _tables().phrases)


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
    ids = {
        phrase: tuple(dict.fromkeys(first.get(phrase, []) + second.get(phrase, []))) for phrase in {**first, **second}
    }
    alone = frozenset(phrase[0] for phrase in ids if len(phrase) == 1 and (len(phrase[0]) == 1 or phrase[0] in _ALONE))
    in_several_keys = frozenset(one.id for one in instruments.values() if one.crook is not None)
    return _Tables(
        instruments,
        {kind: tuple(members) for kind, members in kinds.items()},
        sounds,
        programs,
        Phrases(ids, alone, in_several_keys, max(map(len, ids))),
    )


def _index(into: dict[tuple[str, ...], list[str]], words: Iterable[str], key: str) -> None:
    for word in words:
        for spelling in {word, word.translate(_UMLAUT)}:
            phrase = tuple(token.word for token in tokens_of(spelling))
            ids = into.setdefault(phrase, [])
            if phrase and key not in ids:
                ids.append(key)
