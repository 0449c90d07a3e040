"""Chords and scales by name: what notes a musician means by "B flat ninth", "whole tone" or "C E G"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from deskproof.errors import DeskproofError
from deskproof.pitch import STEPS, Pitch, name

OCTAVE = 4  # any: only pitch classes count
_HEADINGS = {-1: "♭", 0: "", 1: "♯"}


class GlissError(DeskproofError):
    """A chord, a scale or a setting that cannot be read."""


class Wanted(NamedTuple):
    """What was asked for: each note once (letter, alteration), and its name if a name was given."""

    notes: tuple[tuple[str, int], ...]
    title: str = ""
    remark: str = ""

    @property
    def classes(self) -> tuple[int, ...]:
        """The pitch classes, in the order of the notes."""
        return tuple(_class(*note) for note in self.notes)

    @property
    def names(self) -> list[str]:
        """The notes as printed.

        >>> Wanted((("B", -1), ("D", 0))).names
        ['B♭', 'D']
        """
        return [f"{letter}{_HEADINGS[alter]}" for letter, alter in self.notes]


# -- the names -------------------------------------------------------------------------------------------------------


class _Kind(NamedTuple):
    title: str
    degrees: str  # of the major scale on the root, with signs
    signs: str = ""  # as written after the root
    words: str = ""  # other ways to say it, parted by |


_CHORDS = (
    _Kind("major triad", "1 3 5", "maj M", "major"),
    _Kind("minor triad", "1 b3 5", "m min", "minor"),
    _Kind("diminished triad", "1 b3 b5", "dim °", "diminished"),
    _Kind("augmented triad", "1 3 #5", "+ aug", "augmented"),
    _Kind("added sixth", "1 3 5 6", "6", "sixth | major sixth"),
    _Kind("minor sixth", "1 b3 5 6", "m6"),
    _Kind("dominant seventh", "1 3 5 b7", "7", "seventh"),
    _Kind("major seventh", "1 3 5 7", "maj7 M7"),
    _Kind("minor seventh", "1 b3 5 b7", "m7 min7"),
    _Kind("half diminished", "1 b3 b5 b7", "ø ø7 m7b5", "half diminished seventh"),
    _Kind("diminished seventh", "1 b3 b5 bb7", "dim7 °7"),
    _Kind("augmented seventh", "1 3 #5 b7", "+7 aug7 7#5"),
    _Kind("dominant ninth", "1 3 5 b7 9", "9", "ninth"),
    _Kind("dominant minor ninth", "1 3 5 b7 b9", "7b9", "dominant flat ninth | seventh flat ninth"),
    _Kind("major ninth", "1 3 5 7 9", "maj9 M9"),
    _Kind("minor ninth", "1 b3 5 b7 9", "m9 min9"),
)
_SCALES = (
    _Kind("major scale", "1 2 3 4 5 6 7", words="ionian"),
    _Kind("minor scale", "1 2 b3 4 5 b6 b7", words="natural minor | aeolian"),
    _Kind("harmonic minor", "1 2 b3 4 5 b6 7"),
    _Kind("melodic minor", "1 2 b3 4 5 6 7"),
    _Kind("dorian", "1 2 b3 4 5 6 b7"),
    _Kind("phrygian", "1 b2 b3 4 5 b6 b7"),
    _Kind("lydian", "1 2 3 #4 5 6 7"),
    _Kind("mixolydian", "1 2 3 4 5 6 b7"),
    _Kind("locrian", "1 b2 b3 4 b5 b6 b7"),
    _Kind("pentatonic", "1 2 3 5 6", words="major pentatonic"),
    _Kind("minor pentatonic", "1 b3 4 5 b7"),
    _Kind("whole tone", "1 2 3 #4 #5 b7", words="wholetone"),
)
WHOLE_TONE = "whole tone"
_SAME_WORD = {
    "maj": "major", "min": "minor", "dim": "diminished", "aug": "augmented", "dom": "dominant",
    "6": "sixth", "6th": "sixth", "7": "seventh", "7th": "seventh", "9": "ninth", "9th": "ninth",
}  # fmt: skip
_SMALL_WORDS = ("scale", "mode", "chord")
NOTE = re.compile(r"([A-Ga-g])([b#]*)")
_ROOT = re.compile(r"([A-Ga-g][b#]?)(?![b#])\s*(.*)", re.DOTALL)
_ON = re.compile(r"(.+?)\s+on\s+([A-Ga-g][b#]*)", re.DOTALL)


def known_names() -> str:
    """The chords and scales that may be asked for by name, as a paragraph for help and messages."""

    def chord(kind: _Kind) -> str:
        first = kind.signs.split()[0]
        return f"{'C' if kind is _CHORDS[0] else 'C' + first} ({kind.title})"

    chords = ", ".join(chord(kind) for kind in _CHORDS)
    scales = ", ".join(kind.title for kind in _SCALES)
    return (
        f"Chords on any note, by sign or in words: {chords}. Scales on any note: {scales} "
        "(also ionian, aeolian). On which note is said before or after: D flat pentatonic, pentatonic on D flat. "
        "Only the whole tone scale may stand without a note."
    )


def parse(text: str) -> Wanted:
    """Read note names, or the name of a chord or scale.

    >>> parse("Bb D F Ab C").names == parse("B flat ninth").names
    True
    >>> parse("pentatonic on D flat").names
    ['D♭', 'E♭', 'F', 'A♭', 'B♭']

    Raises
    ------
    GlissError
        If the text is neither.
    """
    plain = plainly(text)
    pieces = plain.replace("-", " ").split()
    if not pieces:
        raise GlissError('no notes: expected note names such as "Bb D F Ab C", or a chord or scale such as "Bb9".')
    notes = [NOTE.fullmatch(piece) for piece in pieces]
    no_doubles(pieces)
    if len(pieces) > 1 and all(notes):
        _loose_flat(pieces)
        return Wanted(_once((m[1].upper(), alter_of(m[2])) for m in notes if m))
    found = _named(" ".join(pieces))
    if found is None:
        _nearly_notes(text, pieces)
        raise GlissError(
            f'"{text.strip()}" is neither note names ("Bb D F Ab C", with spaces between) nor a name known here. '
            f"{known_names()}"
        )
    return found


def plainly(text: str) -> str:
    """Signs as b and #, words for signs too, and all else that parts notes as spaces."""
    for sign, letters in {"♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##", "♮": "", "º": "°", "Ø": "ø"}.items():
        text = text.replace(sign, letters)
    text = re.sub(r"[,;/|–—\s]+", " ", text.strip())
    text = re.sub(r"(?i)\b([a-g])[ -]?double[ -]?(flat|sharp)\b", lambda m: m[1] + 2 * _letter_of(m[2]), text)
    text = re.sub(r"(?i)\b([a-g])[ -]?(flat|sharp)\b", lambda m: m[1] + _letter_of(m[2]), text)
    text = re.sub(r"(?i)\b([a-g])[ -]?natural\b(?! minor)", r"\1", text)
    return re.sub(r"\b([A-G][b#]?)-(?=\d|$)", r"\1m", text)  # C-7, as some write a minor seventh


def _letter_of(word: str) -> str:
    return "b" if word.casefold() == "flat" else "#"


def alter_of(signs: str) -> int:
    """How many semitones such signs raise a letter."""
    return signs.count("#") - signs.count("b")


def _class(letter: str, alter: int) -> int:
    return int(Pitch(letter, alter, OCTAVE).midi) % 12


def _once(notes: Iterator[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    """Each pitch class once, under the first of its names."""
    found: dict[int, tuple[str, int]] = {}
    for letter, alter in notes:
        found.setdefault(_class(letter, alter), (letter, alter))
    return tuple(found.values())


def no_doubles(pieces: Sequence[str]) -> None:
    """Raise GlissError at a double accidental, which no pedal has."""
    for piece in pieces:
        sign = re.fullmatch(r"([A-Ga-g])(bb+|##+|x|b#|#b)(.*)", piece)
        if sign:
            alter = {"x": 2}.get(sign[2], alter_of(sign[2]))
            same = name(Pitch(sign[1].upper(), alter, OCTAVE).midi)[:-1]
            raise GlissError(
                f"{piece}: a pedal has flat, natural and sharp, and no double accidental; write {same}{sign[3]}."
            )


def _loose_flat(pieces: Sequence[str]) -> None:
    if any(a[0].isupper() and b == "b" for a, b in pairwise(pieces)):
        raise GlissError('a "b" by itself: write "Db" for D flat, without a space, or "B" for the note B.')


def _nearly_notes(text: str, pieces: Sequence[str]) -> None:
    """A clearer message where note names were meant."""
    if len(pieces) < 2:
        return
    if all(re.fullmatch(r"[A-Ga-g][b#]?\d", piece) for piece in pieces):
        raise GlissError(f'"{text.strip()}": write note names without octaves, such as "C E G".')
    good = sum(NOTE.fullmatch(piece) is not None for piece in pieces)
    bad = [piece for piece in pieces if not NOTE.fullmatch(piece)]
    if good >= 2 and good > len(bad):
        raise GlissError(f"{', '.join(bad)}: no note name; expected a letter A to G, with b or # for flat or sharp.")


def _named(text: str) -> Wanted | None:
    on = _ON.fullmatch(text)
    if on:
        root, rest = on[2], on[1]
    elif kind := _in_words(text):
        if kind.title != WHOLE_TONE:
            raise GlissError(f'{text}: on which note? Write "{kind.title} on D", for one.')
        return _built("C", kind)._replace(remark='On C; the other whole tone scale is "whole tone on D flat".')
    else:
        split = _ROOT.fullmatch(text)
        if not split:
            return None
        root, rest = split[1], split[2]
    found = _by_sign(rest) or _in_words(rest)
    return _built(root, found) if found else None


def _by_sign(rest: str) -> _Kind | None:
    sign = rest.replace(" ", "").replace("(", "").replace(")", "")
    if not sign:
        return _CHORDS[0]
    return next((kind for kind in _CHORDS if sign in kind.signs.split()), None)


def _in_words(rest: str) -> _Kind | None:
    words = re.sub(r"(?<=[a-z])(?=\d)", " ", rest.casefold().replace("b9", "flat 9")).split()
    said = [_SAME_WORD.get(word, word) for word in words if word != "the"]
    kinds: tuple[_Kind, ...] = (*_CHORDS, *_SCALES)
    if said and said[-1] in _SMALL_WORDS:
        kinds = _CHORDS if said.pop() == "chord" else _SCALES
    phrase = " ".join(said)
    for kind in kinds:
        ways = {kind.title, kind.title.removesuffix(" scale"), *(w.strip() for w in kind.words.split("|"))}
        if phrase and phrase in ways:
            return kind
    return None


def _built(root: str, kind: _Kind) -> Wanted:
    """The notes of a chord or scale on a root, spelled by its degrees; plainly where that takes a double accidental."""
    letter, alter = root[0].upper(), alter_of(root[1:])

    def note(degree: str) -> tuple[str, int]:
        number = int(degree.lstrip("b#")) - 1
        major = Pitch(STEPS[number % 7], 0, OCTAVE).midi - Pitch("C", 0, OCTAVE).midi
        step = STEPS[(STEPS.index(letter) + number) % 7]
        target = _class(letter, alter) + int(major) + alter_of(degree)
        off = (target - _class(step, 0) + 6) % 12 - 6
        if abs(off) <= 1:
            return step, off
        plain = name(target % 12)
        return plain[0], -1 if "♭" in plain else 0

    notes = _once(note(degree) for degree in kind.degrees.split())
    return Wanted(notes, f"{letter}{_HEADINGS[alter]} {kind.title}")
