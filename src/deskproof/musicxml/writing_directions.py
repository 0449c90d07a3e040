"""Directions, sounds and barlines -> elements, each a list of lines."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain, groupby
from xml.sax.saxutils import escape, quoteattr

from deskproof import words
from deskproof.musicxml.writing_lengths import TYPES
from deskproof.score import Direction, Ending, Repeat

_DYNAMICS = frozenset((
    "p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp", "mf", "sf", "sfp",
    "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp",
))  # fmt: skip
_TEXTS = ("words", "rehearsal", "other-direction", "symbol")
_SPANS = ("wedge", "dashes", "bracket", "pedal")
_PLAIN = ("segno", "coda", "damp", "damp-all", "eyeglasses")
_BELOW = ("dynamics", "wedge", "dashes", "pedal", "harp-pedals")
_SWELLS = ("cresc", "dim")
_ON_BARLINES = ("barline:segno", "barline:coda", "barline:fermata")


def is_on_barline(row: Direction) -> bool:
    """Whether a sign stands on a barline and not between the notes."""
    return row.kind in _ON_BARLINES


def is_sound(row: Direction) -> bool:
    """Whether a row is something to be heard that is not printed."""
    return row.kind.startswith("sound:")


def direction(rows: Sequence[Direction], offset: int, several: bool, sung: bool) -> list[str]:
    """One <direction> of printed signs at one place and the sounds with them; nothing if none can be written.

    Not written: a metronome mark of another form than ``quarter = 60`` and ``quarter = eighth``, and the kinds
    scordatura, image, percussion, principal-voice, accordion-registration, string-mute and staff-divide, of which the
    record does not keep what the standard asks for.

    Parameters
    ----------
    rows : sequence of Direction
        One direction's, all at one place of one staff; the placement of the first holds.
    offset : int
        Ticks from where the element stands to where the signs do.
    several : bool
        Whether the part has several staves.
    sung : bool
        Whether a voice sings the part, so that dynamics stand above its text.
    """
    types = [f"<direction-type>{sign}</direction-type>" for row in rows if (sign := _sign(row))]
    if not types:
        return []
    first = rows[0]
    lines = [f'<direction placement="{placement(first, sung)}">', *types]
    if offset:
        lines.append(f'<offset sound="yes">{offset}</offset>')
    if several or first.staff > 1:
        lines.append(f"<staff>{max(first.staff, 1)}</staff>")
    sounds = [row for row in rows if is_sound(row)]
    return [*lines, *(sound(sounds) if sounds else ()), "</direction>"]


def placement(row: Direction, sung: bool) -> str:
    """Above or below the staff: dynamics, pedals and what belongs to them below, but above a voice's text."""
    if row.kind in _BELOW or (row.kind == "words" and _is_swell(row.value)):
        return "above" if sung and row.kind not in ("pedal", "harp-pedals") else "below"
    return "below" if row.kind == "octave-shift" and row.value.startswith("up") else "above"


def _is_swell(text: str) -> bool:
    return any(meaning.kind in _SWELLS for meaning in words.meanings(text))


def _sign(row: Direction) -> str:
    """The element of one printed sign, empty where it cannot be written."""
    kind, value = row.kind, row.value
    number = f' number="{row.number}"' if row.number else ""
    hidden = ' print-object="no"' if row.hidden else ""
    if kind in _TEXTS:
        shown = hidden if kind == "other-direction" else ""
        style = ' font-weight="bold"' if kind == "words" and _is_tempo(value) else ""
        return f"<{kind}{style}{shown}>{escape(value)}</{kind}>"
    if kind == "dynamics":
        return f"<dynamics>{_dynamics(value)}</dynamics>"
    if kind in _SPANS and value:
        end = ' line-end="none"' if kind == "bracket" else ""
        return f"<{kind} type={quoteattr(value)}{number}{end}/>"
    if kind == "octave-shift":
        type_, _, size = value.partition(" ")
        return f'<octave-shift type="{type_}" size="{size or 8}"{number}/>' if type_ else ""
    if kind == "metronome":
        return _metronome(value, hidden)
    if kind == "harp-pedals":
        tunings = "".join(
            f"<pedal-tuning><pedal-step>{one[0]}</pedal-step><pedal-alter>{one[1:]}</pedal-alter></pedal-tuning>"
            for one in value.split()
            if len(one) > 1 and "?" not in one
        )
        return f"<harp-pedals>{tunings}</harp-pedals>" if tunings else ""
    return f"<{kind}/>" if kind in _PLAIN else ""


def _dynamics(text: str) -> str:
    """Each sign of the standard an element, what stands between them as one of another kind."""
    rows = [
        [f"<{one}/>" for one in group] if known else [f"<other-dynamics>{escape(' '.join(group))}</other-dynamics>"]
        for known, group in groupby(text.split(" "), key=_DYNAMICS.__contains__)
    ]
    return "".join(chain.from_iterable(rows))


def _is_tempo(text: str) -> bool:
    return any(meaning.kind == "tempo" for meaning in words.meanings(text))


def _metronome(value: str, hidden: str) -> str:
    left, equals, right = value.partition(" = ")
    if not equals or not left or not right:
        return ""
    second = _unit(right) if right.rstrip(".") in TYPES else ""
    return f"<metronome{hidden}>{_unit(left)}{second or f'<per-minute>{escape(right)}</per-minute>'}</metronome>"


def _unit(text: str) -> str:
    name = text.rstrip(".")
    return f"<beat-unit>{escape(name)}</beat-unit>" + "<beat-unit-dot/>" * (len(text) - len(name))


def sound(rows: Sequence[Direction]) -> list[str]:
    """One <sound> of rows ``sound:NAME``: attributes, and changes of instrument with their ids as numbers."""
    said = {row.kind.partition(":")[2]: row for row in rows if row.kind != "sound:instrument-change"}
    own = "".join(f" {name}={quoteattr(_decimal(row.value) if name == 'tempo' else row.value)}"
                  for name, row in said.items())  # fmt: skip
    inner = [
        f"<instrument-change id={quoteattr(row.number)}><instrument-sound>{escape(row.value)}</instrument-sound>"
        "</instrument-change>"
        for row in rows
        if row.kind == "sound:instrument-change"
    ]
    return [f"<sound{own}>", *inner, "</sound>"] if inner else [f"<sound{own}/>"]


def _decimal(text: str) -> str:
    """A tempo as a decimal number; the MIDI reader gives fractions, such as 60000000/461538."""
    top, slash, low = text.partition("/")
    return f"{int(top) / int(low):.6f}".rstrip("0").rstrip(".") if slash and int(low) else text


def barline(
    location: str, style: str, signs: Sequence[Direction], endings: Sequence[Ending], repeats: Sequence[Repeat]
) -> list[str]:
    """The barlines at one place: one element, more where it has more signs than one may bear."""
    lines = []
    for i in range(max(len(endings), len(repeats), 1 if signs or style else 0)):
        inner = [f"<bar-style>{style}</bar-style>"] if style and i == 0 else []
        if i == 0:
            for kind in ("segno", "coda", "fermata"):
                of_kind = [row for row in signs if row.kind == f"barline:{kind}"]
                inner += [f"<{kind}>{escape(row.value)}</{kind}>" if row.value else f"<{kind}/>" for row in of_kind]
        for ending in endings[i : i + 1]:
            inner.append(f'<ending number="{", ".join(map(str, ending.numbers))}" type="{ending.kind}"/>')
        for repeat in repeats[i : i + 1]:
            times = f' times="{repeat.times}"' if repeat.times > 2 else ""  # 2 is what a repeat sign means
            again = ' after-jump="yes"' if repeat.after_jump else ""
            inner.append(f'<repeat direction="{"forward" if repeat.forward else "backward"}"{times}{again}/>')
        lines += [f'<barline location="{location}">', *inner, "</barline>"]
    return lines
