"""What a harp part prints of its pedals: diagrams, letters in words, glissandi that need a setting."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from deskproof import words
from deskproof.families.harp.model import LETTERS
from deskproof.score import Part

_SIGN = {"-": -1, "=": 0, "+": 1}
GLISSANDI = ("glissando", "slide")


@dataclass(frozen=True, slots=True)
class Printed:
    """A diagram or pedal words at a place: letter -> position; ``trouble`` says what is wrong with the sign itself."""

    measure: int
    start: int
    staff: int
    positions: tuple[tuple[str, int], ...]
    whole: bool  # a setting of all seven, not a single change
    trouble: str = ""


def printed(part: Part) -> tuple[Printed, ...]:
    """All printed pedal settings and changes of a part, in page order."""
    found = []
    for measure in part.measures:
        for sign in measure.directions:
            if sign.kind == "harp-pedals":
                found.append(_diagram(measure.index, sign.start, sign.staff, sign.value))
            elif sign.kind == "words":
                for meaning in words.meanings(sign.value):
                    if meaning.kind in ("pedals", "pedal-letter"):
                        positions = tuple(_letters(meaning.value))
                        whole = len(positions) == len(LETTERS)
                        found.append(Printed(measure.index, sign.start, sign.staff, positions, whole))
    return tuple(found)


def _diagram(measure: int, start: int, staff: int, value: str) -> Printed:
    positions: list[tuple[str, int]] = []
    bad = []
    for piece in value.split():
        letter, alter = piece[:1], piece[1:]
        if letter not in LETTERS or alter not in ("-1", "0", "1"):
            bad.append(piece)
        else:
            positions.append((letter, int(alter)))
    names = [letter for letter, _ in positions]
    missing = [letter for letter in LETTERS if letter not in names]
    twice = sorted({letter for letter in names if names.count(letter) > 1})
    trouble = ""
    if bad:
        trouble = f"hold {', '.join(bad)}, which is no pedal"
    elif twice:
        trouble = f"show {' and '.join(twice)} twice"
    elif missing:
        trouble = f"show {len(names)} letters; {', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing"
    return Printed(measure, start, staff, tuple(dict(positions).items()), not missing, trouble)


def _letters(value: str) -> Iterator[tuple[str, int]]:
    for piece in value.split():
        if piece[:1] in LETTERS and piece[1:] in _SIGN:
            yield piece[0], _SIGN[piece[1:]]


def glissandi(part: Part) -> list[tuple[int, int, int]]:
    """Places (measure, tick, staff) where a glissando begins."""
    found = [
        (measure.index, note.start, note.staff)
        for measure in part.measures
        for note in measure.notes
        for mark in note.marks
        if mark.kind in GLISSANDI and mark.value == "start"
    ]
    found += [
        (measure.index, sign.start, sign.staff)
        for measure in part.measures
        for sign in measure.directions
        if sign.kind == "words" and any(meaning.kind == "gliss" for meaning in words.meanings(sign.value))
    ]
    return sorted(set(found))
