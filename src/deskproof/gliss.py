"""The command ``gliss``: a wanted chord or scale in words, and the pedal settings that sweep it.

Nothing of the harp is imported before something is asked, so that the lists of names can stand in ``--help``.
"""

from __future__ import annotations

import json as json_format
import re
import textwrap
from collections.abc import Iterator, Sequence
from itertools import pairwise, zip_longest
from typing import TYPE_CHECKING, NamedTuple

from deskproof.errors import DeskproofError
from deskproof.pitch import STEPS, Pitch, name

if TYPE_CHECKING:
    from deskproof.families.harp.sweep import Answer, Near, Setting

MOST_SHOWN = 12  # settings
CHEAPER_SHOWN = 3  # of them, at most, with foreign notes beside exact ones
OCTAVE = 4  # any: only pitch classes count
_SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
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
_NOTE = re.compile(r"([A-Ga-g])([b#]*)")
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
    plain = _plain(text)
    pieces = plain.replace("-", " ").split()
    if not pieces:
        raise GlissError('no notes: expected note names such as "Bb D F Ab C", or a chord or scale such as "Bb9".')
    notes = [_NOTE.fullmatch(piece) for piece in pieces]
    _double(pieces)
    if len(pieces) > 1 and all(notes):
        _loose_flat(pieces)
        return Wanted(_once((m[1].upper(), _alter(m[2])) for m in notes if m))
    found = _named(" ".join(pieces))
    if found is None:
        _nearly_notes(text, pieces)
        raise GlissError(
            f'"{text.strip()}" is neither note names ("Bb D F Ab C", with spaces between) nor a name known here. '
            f"{known_names()}"
        )
    return found


def _plain(text: str) -> str:
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


def _alter(signs: str) -> int:
    return signs.count("#") - signs.count("b")


def _class(letter: str, alter: int) -> int:
    return int(Pitch(letter, alter, OCTAVE).midi) % 12


def _once(notes: Iterator[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    """Each pitch class once, under the first of its names."""
    found: dict[int, tuple[str, int]] = {}
    for letter, alter in notes:
        found.setdefault(_class(letter, alter), (letter, alter))
    return tuple(found.values())


def _double(pieces: Sequence[str]) -> None:
    for piece in pieces:
        sign = re.fullmatch(r"([A-Ga-g])(bb+|##+|x|b#|#b)(.*)", piece)
        if sign:
            alter = {"x": 2}.get(sign[2], _alter(sign[2]))
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
    good = sum(_NOTE.fullmatch(piece) is not None for piece in pieces)
    bad = [piece for piece in pieces if not _NOTE.fullmatch(piece)]
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
    letter, alter = root[0].upper(), _alter(root[1:])

    def note(degree: str) -> tuple[str, int]:
        number = int(degree.lstrip("b#")) - 1
        major = Pitch(STEPS[number % 7], 0, OCTAVE).midi - Pitch("C", 0, OCTAVE).midi
        step = STEPS[(STEPS.index(letter) + number) % 7]
        target = _class(letter, alter) + int(major) + _alter(degree)
        off = (target - _class(step, 0) + 6) % 12 - 6
        if abs(off) <= 1:
            return step, off
        plain = name(target % 12)
        return plain[0], -1 if "♭" in plain else 0

    notes = _once(note(degree) for degree in kind.degrees.split())
    return Wanted(notes, f"{letter}{_HEADINGS[alter]} {kind.title}")


def parse_setting(text: str) -> Setting:
    """Read a setting: seven letters with their signs, such as ``D C Bb | Eb F G A``.

    >>> parse_setting("D C Bb | Eb F# G A")
    Setting(D=0, C=0, B=-1, E=-1, F=1, G=0, A=0)

    Raises
    ------
    GlissError
        If it does not name each of the seven pedals once.
    """
    from deskproof.families.harp.sweep import Setting

    pieces = _plain(text).replace("-", " ").split()
    _double(pieces)
    notes = [_NOTE.fullmatch(piece) for piece in pieces]
    example = 'expected the seven pedals, such as "D C Bb | Eb F G A"'
    bad = [piece for piece, note in zip(pieces, notes, strict=True) if not note]
    if bad:
        raise GlissError(f"{', '.join(bad)}: no pedal; {example}.")
    found = [(note[1].upper(), _alter(note[2])) for note in notes if note]
    letters = [letter for letter, _ in found]
    twice = [letter for letter in Setting._fields if letters.count(letter) > 1]
    missing = [letter for letter in Setting._fields if letter not in letters]
    if twice or missing:
        said = [f"{' and '.join(twice)} twice"] if twice else []
        said += [f"no {', '.join(missing)}"] if missing else []
        raise GlissError(f'"{text.strip()}" has {" and ".join(said)}; {example}.')
    return Setting.of(dict(found))


# -- the answer ------------------------------------------------------------------------------------------------------


def run(wanted: str, json: bool, width: int, before: str | None = None) -> str:
    """What the command prints, as JSON or for a terminal of so many columns (0: not a terminal).

    ``before`` is the setting that stands before, as text.

    Raises
    ------
    GlissError
        If the wanted notes or the setting before cannot be read.
    """
    from deskproof.families.harp import sweep

    asked = parse(wanted)
    stands = parse_setting(before) if before and before.strip() else None
    found = sweep.answer(asked.classes, stands)
    if json:
        return json_format.dumps(_record(asked, found), ensure_ascii=False, indent=1)
    return _text(asked, found, stands, width or 80)


class Asked(NamedTuple):
    """What a page of settings shows: a title, sentences, and the settings with what is said of each."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Near, tuple[str, ...]], ...]


def asked_for(wanted: str, before: str | None = None) -> Asked:
    """The settings for wanted notes, as :func:`run` has them, for a page.

    Raises
    ------
    GlissError
        If the wanted notes or the setting before cannot be read.
    """
    from deskproof.families.harp import sweep
    from deskproof.families.harp.sweep import Near

    asked = parse(wanted)
    stands = parse_setting(before) if before and before.strip() else None
    found = sweep.answer(asked.classes, stands)
    nears = [Near(setting, frozenset()) for setting in found.exact] or list(found.nearest)
    notes = " ".join(asked.names)
    title = f"Glissando: {asked.title}, {notes}" if asked.title else f"Glissando: {notes}"
    head = tuple(text for text in (asked.remark, _summary(asked, found)) if text)
    return Asked(title, head, tuple((near, tuple(_said(near, stands))) for near in nears))


def _record(asked: Wanted, found: Answer) -> dict[str, object]:
    return {
        "wanted": asked.names,
        "exact": [setting.positions for setting in found.exact],
        "nearest": [{"setting": near.setting.positions, "foreign": _foreign(near)} for near in found.nearest],
    }


def _foreign(near: Near) -> list[str]:
    """The foreign notes, upwards from C, by the strings that sound them."""
    from deskproof.families.harp.sweep import sounded_by

    positions = near.setting.positions
    letters = (sounded_by(near.setting, pitch_class)[0] for pitch_class in sorted(near.foreign))
    return [f"{letter}{_HEADINGS[positions[letter]]}" for letter in letters]


def _text(asked: Wanted, found: Answer, stands: Setting | None, width: int) -> str:
    from deskproof.families.harp.setting_checks import setting_text
    from deskproof.families.harp.sweep import Near

    notes = " ".join(asked.names)
    what = f"{asked.title}: {notes}" if asked.title else notes
    exact, nearest = [Near(setting, frozenset()) for setting in found.exact], found.nearest
    rows = [_wrapped(f"{what}. {asked.remark}" if asked.remark else f"{what}.", width)]
    if stands:
        rows.append(_wrapped(f"Before it stands {setting_text(stands.positions)}.", width))
    rows.append(_wrapped(_summary(asked, found), width))
    cheaper = _cheaper(found, stands)
    for title, nears, most in (
        ("", exact or list(nearest), MOST_SHOWN - min(len(cheaper), CHEAPER_SHOWN)),
        (_cheaper_title(cheaper), cheaper, CHEAPER_SHOWN),
    ):
        if nears and title:
            rows.append(_wrapped(title, width))
        rows += [_shown(near, stands, width) for near in nears[:most]]
        if len(nears) > most:
            rows.append(f"And {len(nears) - most} more; --json has them all.")
    return "\n\n".join(rows)


def _summary(asked: Wanted, found: Answer) -> str:
    from deskproof.families.harp.sweep import strings_without

    count = len(found.exact)
    if count:
        return f"{_settings(count)} sound{'s' * (count == 1)} these notes and no others."
    if found.nearest:
        n, near = len(found.nearest[0].foreign), len(found.nearest)
        idle = strings_without(asked.classes)
        why = f"no position of {' or '.join(idle)} gives one of them" if idle else "no seven positions have all of them"
        nearest = f"The nearest, {_settings(near)}, {_have(near)} all of them and {_foreign_notes(n)}."
        return f"No setting sounds these notes alone: {why}. {nearest}"
    total = len(asked.notes)
    if total > 7:
        said = f"{total} different notes, and an octave of the harp has seven strings: no setting has them all."
    else:
        said = "No setting has all these notes, not even with foreign ones."
    left = len(found.left_out[0])
    sets = [" and ".join(n for n, k in zip(asked.names, asked.classes, strict=True) if k in s) for s in found.left_out]
    if len(sets) > MOST_SHOWN:
        return f"{said} At least {left} have to be left out."
    return f"{said} The rest can be had without {', or without '.join(sets)}."


def _settings(count: int) -> str:
    return f"{count} setting{'s' * (count != 1)}"


def _have(count: int) -> str:
    return "has" if count == 1 else "have"


def _foreign_notes(count: int) -> str:
    return f"{count} foreign note{'s' * (count != 1)}"


def _cheaper(found: Answer, stands: Setting | None) -> list[Near]:
    """Settings with foreign notes that move fewer pedals than any exact one."""
    from deskproof.families.harp.sweep import moves

    if stands is None or not found.exact:
        return []
    least = moves(stands, found.exact[0])
    return [near for near in found.nearest if moves(stands, near.setting) < least]


def _cheaper_title(cheaper: Sequence[Near]) -> str:
    return f"With {_foreign_notes(len(cheaper[0].foreign))}, fewer pedals move:" if cheaper else ""


def _wrapped(text: str, width: int) -> str:
    return textwrap.fill(text, width, break_long_words=False, break_on_hyphens=False)


# -- a setting in characters -----------------------------------------------------------------------------------------

_STROKES = {-1: " │ ,─┴─,   ", 0: " ╷ ,─┼─, ╵ ", 1: "   ,─┬─, │ "}
_BETWEEN = "║,╫,║, "
_MARGIN = 2


def diagram(setting: Setting) -> list[str]:
    """A setting as four rows: a stroke for each pedal, above the line flat, across it natural, below it sharp; letters.

    >>> from deskproof.families.harp.sweep import Setting
    >>> print("|".join(diagram(Setting(-1, 0, 1, 0, 0, 0, 0))[:1]))
     │  ╷    ║ ╷  ╷  ╷  ╷
    """
    columns = [f"{_STROKES[position]}, {letter} ".split(",") for letter, position in setting.positions.items()]
    columns.insert(3, _BETWEEN.split(","))
    return ["".join(row).rstrip() for row in zip(*columns, strict=True)]


def _shown(near: Near, stands: Setting | None, width: int) -> str:
    """The diagram of a setting with its words beside it, or below it where the page is narrow."""
    drawn = [" " * _MARGIN + row for row in diagram(near.setting)]
    words = _said(near, stands)
    left = max(len(row) for row in drawn) + 3
    beside = width - left >= 30
    room = width - left if beside else max(width - _MARGIN, 20)
    lines = [line for said in words for line in textwrap.wrap(said, room, subsequent_indent="  ")]
    if not beside:
        return "\n".join([*drawn, *(" " * _MARGIN + line for line in lines)])
    return "\n".join(f"{a:<{left}}{b}".rstrip() for a, b in zip_longest(drawn, lines, fillvalue=""))


def _said(near: Near, stands: Setting | None) -> list[str]:
    """What is said of a setting: its letters, its first octave as it is written, and what it sounds."""
    from deskproof.families.harp.setting_checks import setting_text

    positions = near.setting.positions
    first = " ".join(f"{letter}{_HEADINGS[positions[letter]]}" for letter in STEPS)
    words = [setting_text(positions), f"first octave {first}", f"sounds {_sounds(near.setting)}"]
    if near.foreign:
        words.append(f"{_foreign_notes(len(near.foreign))}: {', '.join(_foreign(near))}")
    if stands:
        words.append(_moved(stands, near.setting))
    return words


def _sounds(setting: Setting) -> str:
    """The strings upwards from C, two of one sound joined by an equals sign.

    >>> from deskproof.families.harp.sweep import Setting
    >>> _sounds(Setting(0, 0, 1, 0, -1, 0, 0))
    'B♯=C D E=F♭ G A'
    """
    from deskproof.families.harp.sweep import string_class

    positions = setting.positions
    letters = list(STEPS)
    if string_class("B", setting.B) == string_class("C", setting.C):
        letters = [letters[-1], *letters[:-1]]
    said = ""
    before = None
    for letter in letters:
        here = string_class(letter, positions[letter])
        said += ("" if not said else "=" if here == before else " ") + letter + _HEADINGS[positions[letter]]
        before = here
    return said


def _moved(stands: Setting, setting: Setting) -> str:
    changed = [
        f"{letter}{_SIGNS[after]}"
        for letter, after, before in zip(setting._fields, setting, stands, strict=True)
        if after != before
    ]
    if not changed:
        return "no pedal moves"
    return f"{len(changed)} pedal{'s move' if len(changed) > 1 else ' moves'}: {', '.join(changed)}"
