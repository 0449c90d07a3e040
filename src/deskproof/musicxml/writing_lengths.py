"""Note values of lengths, and how a length that is no single value is cut into tied notes or rests.

Everything here counts in quarters as fractions inside, in ticks at the door. The bar is divided as its metre is
felt: halves, beats, halves of beats.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from math import ceil, lcm
from typing import NamedTuple

from deskproof.errors import DeskproofError
from deskproof.score import Time
from deskproof.values import VALUES

_NAMES = {
    Fraction(32): "maxima", Fraction(16): "long", **{length: name for name, length in VALUES.items()},
    Fraction(1, 32): "128th", Fraction(1, 64): "256th", Fraction(1, 128): "512th", Fraction(1, 256): "1024th",
}  # fmt: skip
TYPES = frozenset(_NAMES.values())
MOST_DOTS = 3
_FINEST = Fraction(1, 256)
MOST_IN_TUPLET = 63


class WriteError(DeskproofError):
    """A score that cannot be written as MusicXML or MIDI; the message says what, where, and what is expected."""


class Value(NamedTuple):
    """A printed value: MusicXML's type, dots, and in a tuplet how many (``actual``) go in the time of ``normal``."""

    type: str
    dots: int
    actual: int = 1
    normal: int = 1


class Span(NamedTuple):
    """A stretch of the bar, in quarters from its beginning, that is felt as one, and the stretches it divides into.

    ``kind`` is "bar" for one whose middle no note may hide, "beats" for beats side by side, "half" for two halves,
    "unit" for a beat (or an eighth of a dotted beat), inside which tuplets lie.
    """

    start: Fraction
    stop: Fraction
    kind: str
    inner: tuple[Span, ...] = ()

    @property
    def length(self) -> Fraction:
        """Its length in quarters."""
        return self.stop - self.start


Pieces = list[tuple[Fraction, Fraction]]
Cut = Callable[[Fraction, Fraction, Span], Pieces]


@lru_cache(maxsize=8192)
def plain(quarters: Fraction, most_dots: int = MOST_DOTS) -> Value | None:
    """The value that lasts so many quarters, without a tuplet; None if there is none.

    >>> plain(Fraction(3, 2)), plain(Fraction(1, 3))
    (Value(type='quarter', dots=1, actual=1, normal=1), None)
    """
    for dots in range(most_dots + 1):
        name = _NAMES.get(quarters / (2 - Fraction(1, 2**dots)))
        if name is not None:
            return Value(name, dots)
    return None


@lru_cache(maxsize=8192)
def in_tuplet(quarters: Fraction, actual: int, normal: int, most_dots: int = 1) -> Value | None:
    """The value that lasts so many quarters in a tuplet of ``actual`` in the time of ``normal``; None if none does.

    >>> in_tuplet(Fraction(2, 3), 3, 2)
    Value(type='quarter', dots=0, actual=3, normal=2)
    """
    found = plain(quarters * actual / normal, most_dots)
    return found._replace(actual=actual, normal=normal) if found is not None else None


def odd_part(number: int) -> int:
    """What is left of a number when all twos are divided out of it.

    >>> odd_part(12), odd_part(8)
    (3, 1)
    """
    while number % 2 == 0:
        number //= 2
    return number


def below(actual: int) -> int:
    """The plain number of notes in whose time a tuplet of so many goes: 3 in 2, 5 in 4, 7 in 4, 9 in 8.

    >>> below(3), below(7)
    (2, 4)
    """
    return int(2 ** (actual.bit_length() - 1))


@lru_cache(maxsize=512)
def spans_of(time: Time, grid: int) -> Span:
    """The bar of a metre, divided.

    Of beats that are neither halved nor in threes, a three comes first ("5" is 3+2) unless the metre says otherwise.
    Without a metre, a bar of four quarters.
    """
    length = Fraction(time.length, grid) or Fraction(4)
    unit = Fraction(4, time.beat_type or 4)
    groups = _groups(time)
    if sum(groups) * unit != length:
        return Span(Fraction(0), length, "beats", _beats(Fraction(0), length, min(length, Fraction(1))))
    inner = []
    at = Fraction(0)
    for count in groups:
        inner.append(_group(at, count, unit))
        at += count * unit
    if len(inner) == 1:
        return inner[0]
    while len(inner) > 2 and len(inner) % 2 == 0 and len(set(groups)) == 1:
        inner = [Span(a.start, b.stop, "bar", (a, b)) for a, b in zip(inner[::2], inner[1::2], strict=True)]
    return Span(Fraction(0), length, "bar", tuple(inner))


def _groups(time: Time) -> tuple[int, ...]:
    """How the beats of a bar go together, one number for each group."""
    said = [int(piece) for piece in time.beats.split("+") if piece.strip().isdecimal()]
    count = said[0] if said else 0
    if len(said) > 1:
        return tuple(said)
    if count == 2 and time.beat_type < 4:
        return (1, 1)
    if count < 4:
        return (count,)
    if count % 3 == 0:
        return (3,) * (count // 3)
    return (3, *(2,) * (count // 2 - 1)) if count % 2 else (2,) * (count // 2)


def _group(start: Fraction, count: int, unit: Fraction) -> Span:
    """So many beats together: one stands for itself, two are halves of what they make."""
    if count == 1:
        return _beat(start, unit)
    length = count * unit
    return Span(start, start + length, "half" if count == 2 else "beats", _beats(start, length, unit))


def _beats(start: Fraction, length: Fraction, unit: Fraction) -> tuple[Span, ...]:
    return tuple(_beat(start + i * unit, min(unit, length - i * unit)) for i in range(ceil(length / unit)))


def _beat(start: Fraction, length: Fraction) -> Span:
    """A beat; one longer than a quarter is halved, so that a tuplet is looked for in a quarter or less."""
    if length <= 1:
        return Span(start, start + length, "unit")
    half = length / 2
    return Span(start, start + length, "half", (_beat(start, half), _beat(start + half, half)))


def writable(start: int, length: int, time: Time, grid: int) -> list[tuple[int, int]]:
    """Cut a note at beats and at the middle of the bar, as an engraver does; the pieces are to be tied.

    Parameters
    ----------
    start, length : int
        Ticks from the beginning of the bar.
    time : Time
        The metre.
    grid : int
        Ticks a quarter.

    Returns
    -------
    list of (start, length)
        One after the other, together as long as the note; each a plain or dotted value, or one in a tuplet.

    Raises
    ------
    WriteError
        If a piece can have no value, because it ends on no beat and in no tuplet.

    >>> writable(0, 10, Time("4", 4, 16), 4), writable(4, 8, Time("4", 4, 16), 4), writable(2, 4, Time("4", 4, 16), 4)
    ([(0, 8), (8, 2)], [(4, 4), (8, 4)], [(2, 4)])
    """
    return _by_bars(start, start + length, time, grid, _cut)


def rests(start: int, end: int, time: Time, grid: int) -> list[tuple[int, int]]:
    """Cut silence into rests that show the beats: each fills a stretch of the bar; see :func:`writable`.

    A whole bar is one piece, to be written as a bar's rest, whatever its length.

    >>> rests(4, 16, Time("4", 4, 16), 4), rests(0, 12, Time("3", 4, 12), 4)
    ([(4, 4), (8, 8)], [(0, 12)])
    """
    if start == 0 and time.length and end == time.length:
        return [(0, end)]
    return _by_bars(start, end, time, grid, _silence)


def _by_bars(start: int, stop: int, time: Time, grid: int, cut: Cut) -> list[tuple[int, int]]:
    """Cut a stretch in ticks; what runs on behind the bar as if another bar followed."""
    bar = spans_of(time, grid)
    ticks = int(bar.length * grid)
    found = []
    while start < stop:
        offset = start // ticks * ticks
        end = min(stop, offset + ticks)
        pieces = cut(Fraction(start - offset, grid), Fraction(end - offset, grid), bar)
        found += [(offset + int(a * grid), int((b - a) * grid)) for a, b in pieces]
        start = end
    return found


def _cut(start: Fraction, stop: Fraction, span: Span) -> Pieces:
    """The pieces of a note inside a span."""
    if start >= stop:
        return []
    if _fits(start, stop, span):
        return [(start, stop)]
    if not span.inner and _odd(start, stop, span) > 1:
        return _in_tuplet(start, stop, span)
    inner = span.inner or _halves(start, stop, span)
    for part in reversed(inner):
        if start < part.stop < stop and _fits(start, part.stop, span):
            return [(start, part.stop), *_cut(part.stop, stop, span)]
    return [piece for part in inner for piece in _cut(max(start, part.start), min(stop, part.stop), part)]


def _silence(start: Fraction, stop: Fraction, span: Span) -> Pieces:
    """The rests inside a span: the whole of it, or two of three eighths at the beginning of a dotted beat."""
    if start >= stop:
        return []
    whole = start == span.start and stop == span.stop
    if (whole and plain(span.length, 1) is not None) or _in_thirds(start, stop, span):
        return [(start, stop)]
    if not span.inner and _odd(start, stop, span) > 1:
        return _in_tuplet(start, stop, span)
    if span.kind == "beats" and start == span.start and span.inner[0].length < 1 and span.inner[1].stop <= stop:
        two = span.inner[1].stop
        return [(start, two), *_silence(two, stop, span)]
    inner = span.inner or _halves(start, stop, span)
    return [piece for part in inner for piece in _silence(max(start, part.start), min(stop, part.stop), part)]


def _halves(start: Fraction, stop: Fraction, span: Span) -> tuple[Span, Span]:
    """The halves of a beat."""
    if span.length <= _FINEST:
        raise WriteError(f"{stop - start} quarters at quarter {start} of the bar are shorter than any note value.")
    middle = (span.start + span.stop) / 2
    return Span(span.start, middle, "unit"), Span(middle, span.stop, "unit")


def _fits(start: Fraction, stop: Fraction, span: Span) -> bool:
    """Whether a note may stand as one inside a span, over the divisions that it crosses."""
    if plain(stop - start, 1) is None:
        return _in_thirds(start, stop, span)
    at, length = start - span.start, stop - start
    if not span.inner:
        quarter = span.length / 4
        return at % quarter == 0 and length % quarter == 0
    crossed = [part.stop for part in span.inner if start < part.stop < stop]
    beats = {part.start for part in span.inner} | {span.stop}
    on_beats = start in beats and stop in beats
    if not crossed:
        return False
    if span.kind == "bar":  # its middle stays to be seen, unless the note begins with it
        last = span.inner[-1]
        halves = len(span.inner) == 2 and last.kind in ("half", "bar")
        return on_beats if len(span.inner) > 2 else at == 0 and (
            stop == span.stop or (halves and any(stop == part.start for part in last.inner))
        )
    half = span.inner[0].length / 2
    return on_beats or (len(crossed) == 1 and at % half == 0 and length % half == 0)


def _in_thirds(start: Fraction, stop: Fraction, span: Span) -> bool:
    """Whether a note is one of a large triplet, over two beats."""
    third = span.length / 3
    return span.kind == "half" and (start - span.start) % third == 0 and stop - start in (third, 2 * third)


def _odd(start: Fraction, stop: Fraction, span: Span) -> int:
    """Into how many parts a tuplet must divide a beat for a note in it, twos apart; 1: none is needed."""
    return odd_part(lcm(((start - span.start) / span.length).denominator, ((stop - start) / span.length).denominator))


def _in_tuplet(start: Fraction, stop: Fraction, span: Span) -> Pieces:
    """The pieces of a note inside the tuplet of one beat."""
    actual = _odd(start, stop, span)
    if in_tuplet(stop - start, actual, below(actual)) is not None:
        return [(start, stop)]
    part = span.length / actual
    to = start + part - (start - span.start) % part
    if actual <= MOST_IN_TUPLET and to < stop:
        return [*_in_tuplet(start, to, span), *_cut(to, stop, span)]
    raise WriteError(
        f"{stop - start} quarters at quarter {start} of the bar lie on no beat and in no tuplet; "
        "expected a length that can be written."
    )
