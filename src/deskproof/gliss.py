"""The command ``gliss``: the pedal settings that sweep a wanted chord, scale or row of notes.

Nothing of the harp is imported before something is asked, so that the lists of names can stand in ``--help``.
"""

from __future__ import annotations

import json as json_format
import textwrap
from collections.abc import Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING, NamedTuple

from deskproof.chords import NOTE, GlissError, Wanted, alter_of, known_names, no_doubles, parse, plainly
from deskproof.pitch import STEPS

if TYPE_CHECKING:
    from deskproof.families.harp.sweep import Answer, Near, Setting

__all__ = ["Asked", "GlissError", "Wanted", "asked_for", "diagram", "known_names", "parse", "parse_setting", "run"]

MOST_SHOWN = 12  # settings
CHEAPER_SHOWN = 3  # of them, at most, with foreign notes beside exact ones
_SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
_HEADINGS = {-1: "♭", 0: "", 1: "♯"}


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

    pieces = plainly(text).replace("-", " ").split()
    no_doubles(pieces)
    notes = [NOTE.fullmatch(piece) for piece in pieces]
    example = 'expected the seven pedals, such as "D C Bb | Eb F G A"'
    bad = [piece for piece, note in zip(pieces, notes, strict=True) if not note]
    if bad:
        raise GlissError(f"{', '.join(bad)}: no pedal; {example}.")
    found = [(note[1].upper(), alter_of(note[2])) for note in notes if note]
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
