"""The crook in a part's name, and the one that the file transposes for."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from deskproof import instruments
from deskproof.families.base import Context
from deskproof.families.manners.groups import Group, place_of, refs, spot, usual_transpositions
from deskproof.families.manners.rules import CROOK
from deskproof.findings import Finding
from deskproof.instruments import Instrument
from deskproof.score import Part

_KEYS = ("C", "D♭", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def other_crook(group: Group, context: Context) -> Iterator[Finding]:
    """The part's name gives a key, and the file transposes for another."""
    part = context.score.parts[group.part]
    usual = usual_transpositions(group.instrument.id)
    semitones = group.semitones
    if not semitones or not any(v % 12 for v in usual):
        return
    wanted = _named_transposition(group, part, usual)
    if wanted is None:
        return
    yield CROOK.at(
        place_of(group.part, group.first),
        refs(part, [spot(group.first)]),
        name=part.name,
        instrument=group.instrument.name,
        file_key=f"{_KEYS[semitones % 12]}{_high_or_low(semitones, usual)}",
        file_semitones=semitones,
        wanted=wanted,
        semitones=abs(wanted - semitones),
    )


@lru_cache(maxsize=256)
def relatives(instrument: Instrument) -> tuple[Instrument, ...]:
    """The variants of the same kind, the instrument among them."""
    return tuple(other for other in instruments.all_instruments() if other.kind == instrument.kind)


def _high_or_low(semitones: int, usual: tuple[int, ...]) -> str:
    same = [v for v in usual if v % 12 == semitones % 12]
    if len(same) < 2 or semitones not in same:
        return ""
    return " alto" if semitones == max(same) else " basso"


def _named_transposition(group: Group, part: Part, usual: tuple[int, ...]) -> int | None:
    """The transposition that the part's name asks for, None if it is the file's or the name says nothing sure."""
    semitones = group.semitones
    wanted = None
    crooks = [other.crook for other in relatives(group.instrument) if other.crook is not None]
    every = (*usual, *(v for v in crooks if v not in usual))
    for crook in instruments.crooks_in_name(part.name):
        same = [v for v in every if v % 12 in crook.keys]
        if not crook.sure and not same:
            continue
        if crook.octave and len(same) > 1:
            same = [max(same) if crook.octave > 0 else min(same)]
        elif semitones % 12 in crook.keys:
            return None
        if semitones in same:
            return None
        if same and wanted is None:
            wanted = same[0]
    return wanted
