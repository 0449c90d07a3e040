"""The order in which the measures are played: repeats, endings, D.C., D.S., Fine, Coda.

MusicXML puts these signs in any part; here they are gathered from all parts, measure by measure.
After a jump repeats are not taken again and the last ending is played, unless the file says otherwise
(attribute after-jump), as is the custom.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from deskproof import words
from deskproof.score import Score

MAX_PLAYED = 50_000


@dataclass(slots=True)
class _Marks:
    forward: bool = False
    backward: int = 0
    after_jump: bool = False
    numbers: tuple[int, ...] = ()  # the ending this measure stands in
    jump: str = ""  # "da-capo" or "dal-segno"
    fine: bool = False
    to_coda: bool = False
    segno: bool = False
    coda: bool = False


@dataclass(frozen=True, slots=True)
class Order:
    """Measure ordinals in playing order; ``remark`` is empty unless the signs could not be followed."""

    measures: tuple[int, ...]
    remark: str = ""
    jumps: frozenset[int] = field(default_factory=frozenset)


def playing_order(score: Score) -> Order:
    """Follow the repeats and jumps of a score.

    If following them would play more than ``MAX_PLAYED`` measures, or go round for ever, the measures are
    played once each and ``remark`` says so.
    """
    marks = _gather(score)
    if not any(m.backward or m.jump for m in marks):
        return Order(tuple(range(len(marks))))
    try:
        return Order(tuple(_walk(marks)))
    except OverflowError:
        return Order(
            tuple(range(len(marks))),
            f"repeats and jumps lead to more than {MAX_PLAYED} measures; each measure is read once.",
        )


def _gather(score: Score) -> list[_Marks]:
    marks = [_Marks() for _ in range(max(len(part.measures) for part in score.parts))]
    glyphs: set[int] = set()
    for part in score.parts:
        numbers: tuple[int, ...] = ()
        for measure in part.measures:
            here = marks[measure.index]
            here.forward |= measure.forward
            here.backward = max(here.backward, measure.backward)
            here.after_jump |= measure.after_jump
            for ending in measure.endings:
                if ending.kind == "start":
                    numbers = ending.numbers or (1,)
            if numbers:
                here.numbers = numbers
            for ending in measure.endings:
                if ending.kind != "start":
                    numbers = ()
            for sign in measure.directions:
                _jump(here, sign.kind, sign.value, measure.index, glyphs)
    _place_coda_glyphs(marks, sorted(glyphs))
    return marks


_SOUND_JUMPS = {"sound:dacapo": "da-capo", "sound:dalsegno": "dal-segno"}


def _jump(here: _Marks, kind: str, value: str, index: int, glyphs: set[int]) -> None:
    if kind in _SOUND_JUMPS:
        if value != "no":
            here.jump = here.jump or _SOUND_JUMPS[kind]
    elif kind == "sound:fine":
        here.fine = True
    elif kind == "sound:tocoda":
        here.to_coda = True
    elif kind == "sound:coda":
        here.coda = True
    elif kind in ("sound:segno", "segno", "barline:segno"):
        here.segno = True
    elif kind in ("coda", "barline:coda"):
        glyphs.add(index)
    elif kind == "words":
        for meaning in words.meanings(value):
            if meaning.kind in ("da-capo", "dal-segno"):
                here.jump = here.jump or meaning.kind
            elif meaning.kind == "fine":
                here.fine = True
            elif meaning.kind == "to-coda":
                here.to_coda = True
            elif meaning.kind == "coda":
                here.coda = True
            elif meaning.kind == "segno":
                here.segno = True


def _place_coda_glyphs(marks: list[_Marks], glyphs: list[int]) -> None:
    """A bare coda sign stands twice: where one leaves, and where the coda begins."""
    said = any(m.to_coda for m in marks), any(m.coda for m in marks)
    if len(glyphs) >= 2:
        if not said[0]:
            marks[glyphs[0]].to_coda = True
        if not said[1]:
            marks[glyphs[-1]].coda = True
    elif len(glyphs) == 1:
        if said[0] and not said[1]:
            marks[glyphs[0]].coda = True
        elif said[1] and not said[0]:
            marks[glyphs[0]].to_coda = True


def _walk(marks: list[_Marks]) -> list[int]:
    played: list[int] = []
    i = start = 0
    this_pass = 1
    jumped = False
    done: set[int] = set()
    while i < len(marks):
        here = marks[i]
        if here.forward and i != start:
            start, this_pass = i, 1
        total = _passes(marks, start, i)
        wanted = total if jumped else this_pass
        if here.numbers and wanted not in here.numbers and _has_ending(marks, i, wanted):
            i = _after_ending(marks, i)
            continue
        played.append(i)
        if len(played) > MAX_PLAYED:
            raise OverflowError
        if here.backward and (not jumped or here.after_jump):
            if this_pass < max(here.backward, total if here.numbers else 0):
                this_pass += 1
                i = start
                continue
            if not here.numbers or not _ending_follows(marks, i):
                start, this_pass = i + 1, 1
        elif here.numbers and not _ending_follows(marks, i) and _ends_group(marks, i):
            start, this_pass = i + 1, 1
        if jumped and here.fine:
            break
        if jumped and here.to_coda:
            target = next((j for j, m in enumerate(marks) if m.coda and j > i), None)
            if target is not None:
                i = start = target
                this_pass = 1
                continue
        if here.jump and i not in done:
            done.add(i)
            jumped = True
            i = start = next((j for j, m in enumerate(marks) if m.segno), 0) if here.jump == "dal-segno" else 0
            this_pass = 1
            continue
        i += 1
    return played


def _group(marks: list[_Marks], i: int) -> tuple[int, int]:
    """First and last measure of the run of endings that measure ``i`` stands in."""
    first = last = i
    while first > 0 and marks[first - 1].numbers:
        first -= 1
    while last + 1 < len(marks) and marks[last + 1].numbers:
        last += 1
    return first, last


def _passes(marks: list[_Marks], start: int, i: int) -> int:
    """How often the section from ``start`` is played, by the numbers of the endings that close it."""
    j = i
    while j < len(marks) and not marks[j].numbers:
        if marks[j].backward or (j > i and marks[j].forward):
            return max(marks[j].backward, 1)
        j += 1
    if j == len(marks):
        return 1
    first, last = _group(marks, j)
    numbers = {n for m in marks[first : last + 1] for n in m.numbers}
    times = max((m.backward for m in marks[first : last + 1]), default=0)
    return max(max(numbers), 2 if times else 1)


def _has_ending(marks: list[_Marks], i: int, wanted: int) -> bool:
    """Whether the music goes on elsewhere on this pass: another ending of the group, or past a repeat."""
    first, last = _group(marks, i)
    if any(wanted in m.numbers for m in marks[first : last + 1]):
        return True
    return any(m.backward for m in marks[first : last + 1])


def _after_ending(marks: list[_Marks], i: int) -> int:
    numbers = marks[i].numbers
    while i < len(marks) and marks[i].numbers == numbers:
        i += 1
    return i


def _ending_follows(marks: list[_Marks], i: int) -> bool:
    return i + 1 < len(marks) and bool(marks[i + 1].numbers)


def _ends_group(marks: list[_Marks], i: int) -> bool:
    return i + 1 >= len(marks) or not marks[i + 1].numbers
