"""The order in which the measures are played: repeats, endings, D.C., D.S., Fine, Coda.

MusicXML puts these signs in any part; here they are gathered from all parts, measure by measure.
After a jump repeats are not taken again and the last ending is played, unless the file says otherwise
(attribute after-jump), as is the custom. A repeat without a beginning goes back to the end of the one before it,
but never over a Fine.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from deskproof import words
from deskproof.score import Direction, Measure, Score

MAX_PLAYED = 50_000


@dataclass(slots=True)
class _Marks:
    forward: bool = False
    backward: int = 0  # how often the section that ends here is played; 0: no repeat ends here
    after_jump: bool = False
    jump: str = ""  # "da-capo" or "dal-segno"
    in_words: bool = False  # the jump is only said in words
    fine: bool = False
    to_coda: bool = False
    segno: bool = False
    coda: bool = False


@dataclass(slots=True)
class _Bracket:
    """An ending: first and last measure, the passes on which it is played, and the brackets it stands beside."""

    first: int
    last: int
    numbers: tuple[int, ...]
    total: int = 0  # passes of the section that the group of endings closes
    closes: bool = False  # the last of its group


@dataclass(frozen=True, slots=True)
class Order:
    """Measure ordinals in playing order; ``remark`` is empty unless the signs could not be followed."""

    measures: tuple[int, ...]
    remark: str = ""


def playing_order(score: Score) -> Order:
    """Follow the repeats and jumps of a score.

    If following them would play more than ``MAX_PLAYED`` measures, or leave one out for good, the measures are
    played once each and ``remark`` says so.
    """
    marks = _gather(score)
    if not any(m.backward or m.jump for m in marks):
        return Order(tuple(range(len(marks))))
    once = tuple(range(len(marks)))
    try:
        order = tuple(_Walk(marks, _brackets(score, marks)).played())
    except OverflowError:
        return Order(once, f"repeats and jumps lead to more than {MAX_PLAYED} measures; each measure is read once.")
    unplayed = set(once).difference(order)
    if unplayed:
        said = f"followed as printed, the repeat signs never reach measure {min(unplayed) + 1}"
        return Order(once, f"{said}; each measure is read once.")
    return Order(order)


def _gather(score: Score) -> list[_Marks]:
    marks = [_Marks() for _ in range(max(len(part.measures) for part in score.parts))]
    glyphs: set[int] = set()
    for part in score.parts:
        for measure in part.measures:
            if measure.repeats:
                _repeats(marks, measure)
            for sign in measure.directions:
                if sign.kind in _JUMP_KINDS:
                    _jump(marks[measure.index], sign, measure.index, glyphs)
    _place_coda_glyphs(marks, sorted(glyphs))
    _late_jumps(marks)
    return marks


def _repeats(marks: list[_Marks], measure: Measure) -> None:
    """A forward sign at a right barline begins with the next measure, a backward one at a left ends the one before."""
    for sign in measure.repeats:
        if sign.forward:
            at = measure.index + sign.right
            if at < len(marks):
                marks[at].forward = True
        else:
            here = marks[max(0, measure.index - (not sign.right))]
            here.backward = max(here.backward, sign.times)
            here.after_jump |= sign.after_jump


_SOUND_JUMPS = {"sound:dacapo": "da-capo", "sound:dalsegno": "dal-segno"}
_JUMP_KINDS = {
    *_SOUND_JUMPS, "sound:fine", "sound:tocoda", "sound:coda", "sound:segno", "sound:forward-repeat", "segno",
    "barline:segno", "coda", "barline:coda", "words",
}  # fmt: skip


def _jump(here: _Marks, sign: Direction, index: int, glyphs: set[int]) -> None:
    kind = sign.kind
    if kind in _SOUND_JUMPS:
        if sign.value != "no":
            here.jump, here.in_words = here.jump or _SOUND_JUMPS[kind], False
    elif kind == "sound:fine":
        here.fine = True
    elif kind == "sound:tocoda":
        here.to_coda = True
    elif kind == "sound:coda":
        here.coda = True
    elif kind == "sound:forward-repeat":
        here.forward |= sign.value == "yes"
    elif kind in ("sound:segno", "segno", "barline:segno"):
        here.segno = True
    elif kind in ("coda", "barline:coda"):
        glyphs.add(index)
    else:
        for meaning in words.meanings(sign.value):
            if meaning.kind in ("da-capo", "dal-segno"):
                here.in_words |= not here.jump
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
    leaves, begins = any(m.to_coda for m in marks), any(m.coda for m in marks)
    if len(glyphs) >= 2:
        if not leaves:
            marks[glyphs[0]].to_coda = True
        if not begins:
            marks[glyphs[-1]].coda = True
    elif len(glyphs) == 1:
        marks[glyphs[0]].coda |= leaves and not begins
        marks[glyphs[0]].to_coda |= begins and not leaves


def _late_jumps(marks: list[_Marks]) -> None:
    """Words such as "Da capo" often begin a bar before the double bar they belong to: wait for the repeat there."""
    for i in range(len(marks) - 1, 0, -1):
        before, here = marks[i - 1], marks[i]
        if before.jump and before.in_words and here.backward and not before.backward and not here.forward:
            here.jump = here.jump or before.jump
            before.jump = ""


def _brackets(score: Score, marks: list[_Marks]) -> dict[int, _Bracket]:
    """Measure -> the ending it belongs to, with groups settled."""
    spans: dict[int, _Bracket] = {}
    for part in score.parts:
        for bracket in _of_part(part.measures):
            spans.setdefault(bracket.first, bracket)
    brackets = [spans[first] for first in sorted(spans)]
    for one, following in pairwise(brackets):
        _reach_the_repeat(one, following, marks)
    found: dict[int, _Bracket] = {}
    group: list[_Bracket] = []
    for i, one in enumerate(brackets):
        group.append(one)
        if i + 1 == len(brackets) or brackets[i + 1].first != one.last + 1:
            _settle(group, marks)
            group = []
        for m in range(one.first, one.last + 1):
            found.setdefault(m, one)
    return found


def _of_part(measures: tuple[Measure, ...]) -> list[_Bracket]:
    found: list[_Bracket] = []
    open_: _Bracket | None = None
    for measure in measures:
        for ending in measure.endings:
            if ending.kind == "start":
                open_ = _Bracket(measure.index, measure.index, ending.numbers or (1,))
                found.append(open_)
            elif open_ is not None:
                open_.last = measure.index
                open_ = None
            else:  # closed but never opened: it is the one measure that closes it
                after_one = bool(found) and found[-1].last == measure.index - 1
                found.append(_Bracket(measure.index, measure.index, ending.numbers or ((2,) if after_one else (1,))))
        if open_ is not None:
            open_.last = measure.index
    if open_ is not None:  # opened but never closed: it is the one measure that opens it
        open_.last = open_.first
    return found


def _reach_the_repeat(one: _Bracket, following: _Bracket, marks: list[_Marks]) -> None:
    """A first ending whose bracket is drawn too short still reaches to the repeat before the second ending."""
    if marks[one.last].backward or not following.first > one.last + 1:
        return
    if marks[following.first - 1].backward and not any(m.forward for m in marks[one.last + 1 : following.first]):
        one.last = following.first - 1


def _settle(group: list[_Bracket], marks: list[_Marks]) -> None:
    for k, (one, following) in enumerate(pairwise(group), 1):
        if one.numbers == following.numbers and marks[one.last].backward:
            one.numbers = (k,)  # two endings of one number: the first is the one that leads back
    repeats = any(marks[one.last].backward for one in group)
    total = max(n for one in group for n in one.numbers)
    if repeats and len(group) == 1 and total == 1:
        total = 2
    for one in group:
        one.total = total
    group[-1].closes = True


class _Walk:
    """Plays through the measures once, as a player reads them."""

    def __init__(self, marks: list[_Marks], brackets: dict[int, _Bracket]) -> None:
        self.marks, self.brackets = marks, brackets
        self.start, self.this_pass = 0, 1
        self.jumped = False
        self.done: set[int] = set()
        self.inside: _Bracket | None = None
        self.opened = marks[0].forward  # the section has a sign at its beginning

    def played(self) -> list[int]:
        """Measure ordinals; OverflowError past ``MAX_PLAYED``."""
        order: list[int] = []
        i = 0
        while i < len(self.marks):
            bracket = self.brackets.get(i)
            if bracket is not None and bracket is not self.inside:
                if not self._takes(bracket):
                    i = bracket.last + 1
                    continue
                self.inside = bracket
            if self.marks[i].forward and i != self.start:
                self._section(i)
            order.append(i)
            if len(order) > MAX_PLAYED:
                raise OverflowError
            i = self._after(i)
        return order

    def _section(self, start: int) -> None:
        self.start, self.this_pass = start, 1
        self.opened = start < len(self.marks) and self.marks[start].forward

    def _takes(self, bracket: _Bracket) -> bool:
        wanted = bracket.total if self.jumped else self.this_pass
        return wanted in bracket.numbers or (bracket.closes and wanted < bracket.total and bracket.first == 0)

    def _after(self, i: int) -> int:
        """The measure to play after measure ``i``."""
        here = self.marks[i]
        bracket = self.inside
        ends = bracket is not None and bracket.last == i
        if ends:
            self.inside = None
        if here.backward and (not self.jumped or here.after_jump):
            total = max(here.backward, bracket.total) if bracket is not None else here.backward
            if bracket is not None and bracket.total > 1:
                total = bracket.total
            if self.this_pass < total:
                self.this_pass += 1
                self.inside = None
                return self.start
            self._section(i + 1)
        elif ends and bracket is not None and bracket.closes:
            self._section(i + 1)
        return self._jumps(i, here)

    def _jumps(self, i: int, here: _Marks) -> int:
        if here.fine and not self.jumped and not self.opened:
            self._section(i + 1)
        if self.jumped and here.fine:
            self.jumped = False
            return self._go(max(self.done) + 1)
        if self.jumped and here.to_coda:
            coda = next((j for j, m in enumerate(self.marks) if m.coda and j > i), None)
            if coda is not None:
                self.jumped = False
                return self._go(coda)
        if here.jump and i not in self.done:
            self.done.add(i)
            self.jumped = True
            segno = max((j for j, m in enumerate(self.marks[: i + 1]) if m.segno), default=0)
            return self._go(segno if here.jump == "dal-segno" else 0)
        if i in self.done:
            self.jumped = False
        return i + 1

    def _go(self, to: int) -> int:
        self.inside = None
        self._section(to)
        return to
