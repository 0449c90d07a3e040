"""The pedal signs of a keyboard part: pedal marks, words and playback data, each time they are played."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from deskproof import words
from deskproof.families.keyboard.pedals import DAMPER, SOSTENUTO, UNA_CORDA, Sign
from deskproof.score import Direction, Part
from deskproof.spans import Span
from deskproof.timeline import Frame

HALF = 0.5
_FULL = 100  # per cent, as playback data give a pedal
_PLAYBACK = {"sound:damper-pedal": DAMPER, "sound:sostenuto-pedal": SOSTENUTO, "sound:soft-pedal": UNA_CORDA}
# SMuFL and Unicode signs, and the stars of older prints, as (pedal, down); no pedal: the one that is down.
_GLYPHS: dict[str, tuple[str, float]] = {
    "\U0001d1ae": (DAMPER, 1), "\ue650": (DAMPER, 1), "\ue651": (DAMPER, 1), "keyboardPedalPed": (DAMPER, 1),
    "\U0001d1b0": (DAMPER, HALF), "\ue656": (DAMPER, HALF), "keyboardPedalHalf": (DAMPER, HALF),
    "\ue659": (SOSTENUTO, 1), "keyboardPedalSost": (SOSTENUTO, 1),
    "\ue65a": (SOSTENUTO, 1), "keyboardPedalS": (SOSTENUTO, 1),
    "\U0001d1af": ("", 0), "\ue655": ("", 0), "keyboardPedalUp": ("", 0),
    "*": ("", 0), "✱": ("", 0), "✲": ("", 0), "❋": ("", 0), "❊": ("", 0), "✻": ("", 0), "∗": ("", 0),
}  # fmt: skip
_TEXTS = ("words", "other-direction", "symbol")
_LINES = ("dashes", "bracket")
_BY_AND_BY = (
    "poco a poco",
    "poi a poi",
    "nach und nach",
    "peu à peu",
    "peu a peu",
    "gradually",
    "allmählich",
    "by degrees",
)


class _Row(NamedTuple):
    """A move of a pedal as it stands on the page; without a pedal it lifts the one that is down."""

    measure: int
    start: int
    staff: int
    pedal: str
    down: float
    written: bool
    free: bool
    text: str
    number: str = ""


def signs_of(part: Part, frame: Frame) -> tuple[Sign, ...]:
    """All pedal signs of a part in order of time; all moves are rounded up to the microsecond.

    Where the page asks for a pedal, playback data of the same pedal are left out.
    """
    rows = _settled(sorted(_rows(part), key=lambda row: (row.measure, row.start, row.down > 0)))
    asked = {row.pedal for row in rows if row.written and row.down and not row.free}
    by_measure: dict[int, list[_Row]] = {}
    for row in rows:
        if row.written or row.pedal not in asked:
            by_measure.setdefault(row.measure, []).append(row)
    found = []
    for play in frame.plays:
        for row in by_measure.get(play.measure, ()):
            t_us = frame.clock.ceil_us(play.onset + min(row.start, play.length))
            found.append(
                Sign(t_us, row.measure, row.start, row.staff, row.pedal, row.down, row.written, play.pass_, row.free,
                     row.text)
            )  # fmt: skip
    return tuple(sorted(found, key=lambda sign: (sign.t_us, sign.down > 0)))


def on_the_page(signs: Sequence[Sign]) -> list[Sign]:
    """The written signs, each once, in the order of the page."""
    found: dict[tuple[int, int, int, str, float], Sign] = {}
    for sign in signs:
        if sign.written:
            found.setdefault((sign.measure, sign.start, sign.staff, sign.pedal, sign.down), sign)
    return sorted(found.values(), key=lambda sign: (sign.measure, sign.start, sign.down > 0))


def kinds_of(spans: Sequence[Span], frame: Frame) -> Callable[[Sign], str]:
    """Of which kind of instrument a sign speaks: a pedal that goes down, of that of the next note; else of the last."""
    rows = [span for span in spans if span.events]
    starts = [frame.clock.floor_us(span.from_tick) for span in rows]
    ends = [frame.clock.ceil_us(span.to_tick) for span in rows]

    def kind(sign: Sign) -> str:
        if not rows:
            return ""
        i = max(0, bisect_right(starts, sign.t_us) - 1)
        if sign.down and sign.t_us >= ends[i] and i + 1 < len(rows):
            i += 1
        instrument = rows[i].instrument
        return instrument.kind if instrument is not None else ""

    return kind


def _rows(part: Part) -> Iterator[_Row]:
    for measure in part.measures:
        lines: dict[tuple[int, int, str], str] = {}  # start and staff of a line, its kind with number
        sostenuto = {
            (sign.start, sign.staff)
            for sign in measure.directions
            if sign.kind in _TEXTS and any(pedal == SOSTENUTO and down for pedal, down, _ in said(sign.value))
        }
        for sign in measure.directions:
            if sign.kind in _LINES and sign.value == "start":
                lines[sign.start, sign.staff, f"{sign.kind} {sign.number}"] = sign.kind
        for sign in measure.directions:
            at = (measure.index, sign.start, sign.staff)
            if sign.kind in _PLAYBACK:
                level = _level(sign.value)
                if level is not None:
                    yield _Row(*at, _PLAYBACK[sign.kind], level, False, False, "")
            elif sign.kind == "pedal":
                for pedal, down, free in _marked(sign, (sign.start, sign.staff) in sostenuto):
                    yield _Row(*at, pedal, down, not sign.hidden, free, "", f"pedal {sign.number}")
            elif sign.kind in _TEXTS and not sign.hidden:
                beside = [key[2] for key in lines if key[:2] == (sign.start, sign.staff)]
                for pedal, down, free in said(sign.value):
                    number = beside[0] if beside and down and not free and pedal != DAMPER else ""
                    yield _Row(*at, pedal, down, True, free, " ".join(sign.value.split()), number)
            elif sign.kind in _LINES and sign.value == "stop":
                yield _Row(*at, "", 0, True, True, "", f"{sign.kind} {sign.number}")


def _level(text: str) -> float | None:
    """The level of playback data: yes, no, or per cent."""
    if text in ("yes", "no"):
        return float(text == "yes")
    try:
        return min(1.0, max(0.0, float(text) / _FULL))
    except ValueError:
        return None


def _marked(sign: Direction, sostenuto: bool) -> tuple[tuple[str, float, bool], ...]:
    """The moves of a pedal mark: (pedal, down, free). A line that breaks off leaves the rest to the player."""
    if sign.value == "start":
        return ((SOSTENUTO if sostenuto else DAMPER, 1, False),)
    if sign.value == "resume":
        return ((DAMPER, 1, False),)
    if sign.value == "sostenuto":
        return ((SOSTENUTO, 1, False),)
    if sign.value == "stop":
        return (("", 0, False),)
    if sign.value == "discontinue":
        return (("", 0, True),)
    if sign.value == "change":
        return ((DAMPER, 0, False), (DAMPER, 1, False))
    return ()


def said(text: str) -> tuple[tuple[str, float, bool], ...]:
    """The moves that words or signs ask for: (pedal, down, free); see :class:`Sign`.

    >>> said("una corda"), said("* Ped."), said("con Ped.")
    ((('una-corda', 1, False),), (('', 0, False), ('damper', 1, False)), (('damper', 1, True),))
    """
    plain = text.strip().replace("1/2", "½")
    bare = plain.strip("()[] .")
    if bare in _GLYPHS or plain in _GLYPHS:
        pedal, down = _GLYPHS.get(bare) or _GLYPHS[plain]
        return ((pedal, down, False),)
    found: list[tuple[str, float, bool]] = []
    if plain and plain[0] in _GLYPHS and not _GLYPHS[plain[0]][1]:
        found.append(("", 0, False))
        rest = plain[1:].strip("() .")
        if rest in _GLYPHS:
            return (*found, (*_GLYPHS[rest], False))
    meant = words.meanings(plain)
    kinds = {meaning.kind for meaning in meant}
    french = "sourd" in plain.casefold()
    for meaning in meant:
        kind, value = meaning.kind, meaning.value
        if kind == "una-corda":
            found.append((UNA_CORDA, HALF if value == "half" else 1, False))
        elif kind == "tre-corde":
            gradual = any(phrase in " ".join(plain.casefold().split()) for phrase in _BY_AND_BY)
            found.append((UNA_CORDA, HALF, True) if gradual else (UNA_CORDA, 0, False))
        elif kind == "pedal":
            free = value == "free" or "una-corda" in kinds
            found.append((DAMPER, HALF if value == "half" else 1, free))
        elif kind == "no-pedal":
            found.append((DAMPER, 0, True))
        elif kind == "sostenuto-pedal":
            found.append((SOSTENUTO, 0 if value == "off" else 1, False))
        elif kind in ("con-sord", "senza-sord") and french:  # "sourdine" is the left pedal, "sordini" the dampers
            found.append((UNA_CORDA, float(kind == "con-sord"), kind == "senza-sord"))
        elif kind == "senza-sord":
            found.append((DAMPER, 1, True))
        elif kind == "ordinary":
            found.append((UNA_CORDA, 0, True))
    return tuple(dict.fromkeys(found))


def _settled(rows: Sequence[_Row]) -> list[_Row]:
    """The rows with their pedals: a lifting mark lifts what its number, or else whatever last, pressed.

    A star lifts the damper pedal before any other.

    A sign that stands twice at one place, on both staves or as word and mark, counts once.
    """
    found: list[_Row] = []
    down: list[tuple[str, str]] = []  # pedal, number; the last pressed is the last
    seen: set[tuple[int, int, str, bool]] = set()
    lifted: dict[tuple[int, int, str], int] = {}  # place and number of a lifting mark -> its staff
    for row in rows:
        if not row.pedal:
            if lifted.setdefault((row.measure, row.start, row.number), row.staff) != row.staff:
                continue
            of = [one for one in down if one[1] == row.number] if row.number else []
            if not of and not row.number.startswith(_LINES):
                of = [one for one in down if one[0] != UNA_CORDA]
            if not of:
                continue
            stars = not row.number and any(pedal == DAMPER for pedal, _ in of)
            row = row._replace(pedal=DAMPER if stars else of[-1][0])
        place = (row.measure, row.start, row.pedal, row.down > 0)
        if place in seen and row.written:
            continue
        if row.written:
            seen.add(place)
            down = [one for one in down if one[0] != row.pedal]
            if row.down and not row.free:
                down.append((row.pedal, row.number))
        found.append(row)
    return found
