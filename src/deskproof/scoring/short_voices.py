"""The voices of a staff of a short score in one bar: which notes stand together, and which beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from deskproof.scoring.short_merging import Kept
from deskproof.scoring.short_staves import fits

_A_STAFF = 2  # voices


class Piece(NamedTuple):
    """The part of a note that stands in one bar; ticks from the bar's onset."""

    one: Kept
    start: int
    end: int
    before: bool  # tied to the bar before
    behind: bool  # tied to the bar behind


@dataclass
class Voice:
    """One voice of a staff in a bar: chords by (start, end), and the graces before them by start."""

    chords: dict[tuple[int, int], list[Piece]] = field(default_factory=dict)
    graces: dict[int, list[Piece]] = field(default_factory=dict)


def voices_in(pieces: Sequence[Piece]) -> list[Voice]:
    """The voices of a staff in a bar, from the top.

    Whole lines share a voice where their rhythms fit together. From the third voice on a line is divided: each of its
    notes goes to a voice where it fits, and only what fits nowhere makes a voice of its own.
    """
    lines: dict[object, list[Piece]] = {}
    for piece in pieces:
        lines.setdefault(piece.one.line, []).append(piece)
    ordered = sorted(lines.values(), key=lambda rows: -sum(p.one.midi for p in rows) / len(rows))
    voices: list[Voice] = []
    for rows in ordered:
        shape = {(p.start, p.end) for p in rows if not p.one.grace}
        home = None
        if shape and fits(shape, shape):  # else a player who holds and moves at once
            home = next((voice for voice in voices if fits(shape, set(voice.chords))), None)
            if home is None and len(voices) < _A_STAFF:
                home = Voice()
                voices.append(home)
        for piece in rows:
            if not piece.one.grace:
                _put(piece, home or _fitting(piece, voices))
    graces = [piece for rows in ordered for piece in rows if piece.one.grace]
    if graces and not voices:
        voices.append(Voice())
    for piece in graces:
        _put_grace(piece, voices)
    return voices


def _fitting(piece: Piece, voices: list[Voice]) -> Voice:
    for voice in voices:
        if fits({(piece.start, piece.end)}, set(voice.chords)):
            return voice
    voices.append(Voice())
    return voices[-1]


def _put(piece: Piece, voice: Voice) -> None:
    voice.chords.setdefault((piece.start, piece.end), []).append(piece)


def _put_grace(piece: Piece, voices: Sequence[Voice]) -> None:
    """A grace note stands in the voice of its own line's main note, or in one where some note begins with it."""
    def nearness(voice: Voice) -> int:
        begin = [p for (start, _), chord in voice.chords.items() if start == piece.start for p in chord]
        return 2 * any(p.one.line == piece.one.line for p in begin) + bool(begin)

    home = max(voices, key=nearness)
    home.graces.setdefault(piece.start, []).append(piece)
