"""The signs of a note -> its <notations>, in the order in which they stand in the record."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from deskproof.score import TIE_START, TIE_STOP, Mark

_GROUPS = {
    "articulations": (
        "accent", "strong-accent", "staccato", "tenuto", "detached-legato", "staccatissimo", "spiccato", "scoop",
        "plop", "doit", "falloff", "breath-mark", "caesura", "stress", "unstress", "soft-accent",
        "other-articulation",
    ),
    "technical": (
        "up-bow", "down-bow", "harmonic", "open-string", "thumb-position", "fingering", "pluck", "double-tongue",
        "triple-tongue", "stopped", "snap-pizzicato", "fret", "string", "hammer-on", "pull-off", "tap", "heel", "toe",
        "fingernails", "handbell", "brass-bend", "flip", "smear", "open", "half-muted", "golpe", "other-technical",
    ),
    "ornaments": (
        "trill-mark", "turn", "delayed-turn", "inverted-turn", "delayed-inverted-turn", "vertical-turn",
        "inverted-vertical-turn", "shake", "wavy-line", "mordent", "inverted-mordent", "schleifer", "tremolo",
        "haydn", "other-ornament",
    ),
}  # fmt: skip
GROUP_OF = {kind: group for group, kinds in _GROUPS.items() for kind in kinds}
_SPANS = ("slur", "glissando", "slide", "non-arpeggiate")
_TEXTS = ("fingering", "pluck", "fret", "string", "handbell", "breath-mark", "caesura", "tap", "other-technical",
          "other-articulation", "other-ornament")  # fmt: skip
_TURNED = ("upright", "inverted")


def notations(marks: Iterable[Mark], flags: int, tuplet: tuple[bool, bool]) -> list[str]:
    """The lines of <notations>; none where the note bears no sign.

    Ties are written by the flags and tuplets by what the writer found: marks ``tied`` (but for ``let-ring``) and
    ``tuplet`` are passed over, as are kinds whose content the record does not keep (dynamics on a note, bend, hole,
    arrow, harmon-mute).

    Parameters
    ----------
    marks : iterable of Mark
    flags : int
        The note's.
    tuplet : (bool, bool)
        Whether a tuplet begins and ends with the note.
    """
    rows: list[tuple[str, str]] = []
    if flags & TIE_STOP:
        rows.append(("", '<tied type="stop"/>'))
    if flags & TIE_START:
        rows.append(("", '<tied type="start"/>'))
    rows += [("", f'<tuplet type="{kind}" bracket="yes"/>') for kind, on in zip(("start", "stop"), tuplet, strict=True)
             if on]  # fmt: skip
    before = ""
    for mark in marks:
        group = GROUP_OF.get(mark.kind, "")
        if mark.kind == "accidental-mark":
            group = "ornaments" if before == "ornaments" else ""
        text = _in_group(mark) if group else _alone(mark)
        if text:
            rows.append((group, text))
            before = group
    if not rows:
        return []
    lines = ["<notations>"]
    for group, inside in groupby(rows, key=lambda row: row[0]):
        text = "".join(one for _, one in inside)
        lines.append(f"<{group}>{text}</{group}>" if group else text)
    return [*lines, "</notations>"]


def _alone(mark: Mark) -> str:
    """A sign that stands in the notations themselves."""
    kind, value = mark.kind, mark.value
    number = f" number={quoteattr(mark.number)}" if mark.number else ""
    if kind in _SPANS:
        return f"<{kind} type={quoteattr(value)}{number}/>" if value else ""
    if kind == "tied":
        return f'<tied type="let-ring"{number}/>' if value == "let-ring" else ""
    if kind == "fermata":
        return f'<fermata type="{value}"/>' if value in _TURNED else _filled(kind, "", value)
    if kind == "arpeggiate":
        return f"<arpeggiate{f' direction={quoteattr(value)}' if value else ''}{number}/>"
    if kind == "accidental-mark":
        return _filled(kind, "", value)
    if kind == "other-notation" and value in ("start", "stop", "single"):
        return f'<other-notation type="{value}"{number}/>'
    return ""


def _in_group(mark: Mark) -> str:
    """A sign that stands in articulations, technical or ornaments: a text, a type, or both."""
    kind, value, number = mark.kind, mark.value, mark.number
    if kind == "harmonic":
        return _filled(kind, "", value and "".join(f"<{one}/>" for one in value.split()), inner=True)
    if kind in ("tremolo", "hammer-on", "pull-off"):  # the type stands in the place of the number
        return _filled(kind, f" type={quoteattr(number)}" if number else "", value if value != number else "")
    if kind == "wavy-line":
        return f"<wavy-line type={quoteattr(value or 'start')}/>"
    if kind == "accidental-mark" or kind in _TEXTS:
        return _filled(kind, "", value)
    return f"<{kind}{f' type={quoteattr(value)}' if value and kind == 'strong-accent' else ''}/>"


def _filled(kind: str, attributes: str, text: str, *, inner: bool = False) -> str:
    if not text:
        return f"<{kind}{attributes}/>"
    return f"<{kind}{attributes}>{text if inner else escape(text)}</{kind}>"
