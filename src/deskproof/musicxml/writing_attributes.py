"""Changes of key, time, clef, transposition and staves -> one <attributes> element."""

from __future__ import annotations

from collections.abc import Iterable

from deskproof.musicxml.writing_lengths import WriteError
from deskproof.score import Change, Clef, Key, Time, Transpose

_ORDER = ("key", "time", "staves", "clef", "staff-type", "staff-lines", "transpose", "measure-repeat")
_SIGNS = ("G", "F", "C", "percussion", "TAB", "jianpu", "none")


def attributes(changes: Iterable[Change], divisions: int | None, staves: int) -> list[str]:
    """The lines of the element, its children in the order of the standard; none where there is nothing to say.

    Of a key only the signature is written, of a metre what the record keeps: ``beats`` over one ``beat_type``.

    Parameters
    ----------
    changes : iterable of Change
        All of one tick.
    divisions : int or None
        Ticks a quarter, in the first measure; None elsewhere.
    staves : int
        How many staves the part has; with one, clefs bear no number.

    Raises
    ------
    WriteError
        If the value of a change does not go with its kind.
    """
    rows = [] if divisions is None else [f"<divisions>{divisions}</divisions>"]
    known = sorted((c for c in changes if c.kind in _ORDER), key=lambda c: (_ORDER.index(c.kind), c.staff))
    for change in known:
        rows.append(_written(change, staves))
    return ["<attributes>", *rows, "</attributes>"] if rows else []


def _written(change: Change, staves: int) -> str:
    value = change.value
    of = f' number="{change.staff}"' if change.staff else ""
    if isinstance(value, Key):
        inner = f"<fifths>{value.fifths}</fifths>"
        if value.alters:
            inner = "".join(
                f"<key-step>{step}</key-step><key-alter>{alter:g}</key-alter>" for step, alter in value.alters
            )
        return f"<key{of}>{inner}</key>"
    if isinstance(value, Time):
        inner = "<senza-misura/>"
        if value.beats:
            inner = f"<beats>{value.beats}</beats><beat-type>{value.beat_type}</beat-type>"
        return f"<time{of}>{inner}</time>"
    if isinstance(value, Clef):
        line = f"<line>{value.line}</line>" if value.line else ""
        octave = f"<clef-octave-change>{value.octave}</clef-octave-change>" if value.octave else ""
        sign = value.sign if value.sign in _SIGNS else "none"
        return f"<clef{of if staves > 1 or change.staff > 1 else ''}><sign>{sign}</sign>{line}{octave}</clef>"
    if isinstance(value, Transpose):
        octave = f"<octave-change>{value.octave}</octave-change>" if value.octave else ""
        return (
            f"<transpose{of}><diatonic>{value.diatonic}</diatonic><chromatic>{value.chromatic:g}</chromatic>"
            f"{octave}</transpose>"
        )
    if change.kind == "staves" and isinstance(value, int):
        return f"<staves>{value}</staves>"
    if change.kind == "measure-repeat" and isinstance(value, int):
        repeat = f'<measure-repeat type="start">{value}' if value else '<measure-repeat type="stop">'
        return f"<measure-style{of}>{repeat}</measure-repeat></measure-style>"
    if change.kind in ("staff-type", "staff-lines"):
        return f"<staff-details{of}><{change.kind}>{value}</{change.kind}></staff-details>"
    raise WriteError(f"a change of {change.kind} with the value {value!r}; expected the record of that kind.")
