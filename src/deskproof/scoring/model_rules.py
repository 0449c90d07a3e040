"""What no plan may break: one task for a player, time to change, breath, lip, and no deep bass without its octave.

Every rule is a row of whole numbers over the candidates: the chosen ones of a row may add up to its limit at most. No
solver is needed to read them, so that whoever checks a plan can add up the same rows or count anew.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.breath import Clock, blown_bars, sounding_bars
from deskproof.scoring.candidates import Candidate
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import ACCENT, BASS, FIGURE, HELD, INNER, Chair, Passage, Seat, Strand
from deskproof.scoring.strength import is_plucked, kind_of

PLAYER, DIVIDED, CHANGE, BREATH, STAMINA, DEEP = RULES = (
    "player", "divided", "change", "breath", "stamina", "deep bass",
)  # fmt: skip
DIVISIBLE = (INNER, HELD, FIGURE, ACCENT)
"""Kinds of strand of which a divided section takes several."""
_CHORDS = ("harp", "keyboard", "organ", "continuo")
_WINDS = ("woodwind", "brass")
_Bars = Callable[[Passage, Strand, Clock], frozenset[int]]


class Row(NamedTuple):
    """One rule: of the candidates (ordinals) times their numbers, the chosen ones add up to ``limit`` at most."""

    rule: str
    terms: tuple[tuple[int, int], ...]
    limit: int


class Ground:
    """What the rules look at: passages, room, candidates and the clock of the sketch.

    ``chair_of`` and ``strand_of`` are those of each candidate.
    """

    def __init__(
        self, passages: Sequence[Passage], hall: Hall, candidates: Sequence[Candidate], clock: Clock
    ) -> None:
        self.passages, self.hall, self.candidates, self.clock = passages, hall, candidates, clock
        chairs = {chair.name: chair for chair in hall.chairs}
        strands = {(at, strand.id): strand for at, passage in enumerate(passages) for strand in passage.strands}
        self.chair_of: list[Chair] = [chairs[one.chair] for one in candidates]
        self.strand_of: list[Strand] = [strands[one.passage, one.strand] for one in candidates]

        self._bars: dict[tuple[_Bars, int, str], frozenset[int]] = {}

    def bars(self, which: _Bars, at: int, strand: Strand) -> frozenset[int]:
        """The bars in which a strand of a passage is blown through, or sounds; counted once."""
        key = which, at, strand.id
        if key not in self._bars:
            self._bars[key] = which(self.passages[at], strand, self.clock)
        return self._bars[key]

    def by_seat(self) -> Mapping[str, dict[int, list[int]]]:
        """The candidates of each seat, passage by passage."""
        found: dict[str, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
        for i, one in enumerate(self.candidates):
            found[self.chair_of[i].seat][one.passage].append(i)
        return found


def many(chair: Chair) -> bool:
    """Whether a chair can take several strands: a bowed section divides, harp and keyboards play chords."""
    return chair.section or chair.family in _CHORDS


def rows_of(ground: Ground) -> list[Row]:
    """Every rule that no plan may break, each row once."""
    found: dict[Row, None] = {}
    by_seat = ground.by_seat()
    for seat in ground.hall.seats:
        of_seat = by_seat.get(seat.name, {})
        for indices in of_seat.values():
            found.update(dict.fromkeys(_tasks(ground, indices)))
        found.update(dict.fromkeys(_changes(ground, seat, of_seat)))
        found.update(dict.fromkeys(_breath(ground, of_seat)))
        found.update(dict.fromkeys(_stamina(ground, of_seat)))
    found.update(dict.fromkeys(_deep(ground)))
    return list(found)


def _tasks(ground: Ground, indices: Sequence[int]) -> Iterator[Row]:
    """A player has one task in a passage. A section has some, of a kind that it can divide for."""
    if not any(many(ground.chair_of[i]) for i in indices):
        yield Row(PLAYER, tuple((i, 1) for i in indices), 1)
        return
    if any(ground.chair_of[i].section for i in indices):
        yield Row(DIVIDED, tuple((i, 1) for i in indices), int(facts.get("scoring.divided_most").value))
    for i, j in combinations(indices, 2):
        if not together(ground, i, j):
            yield Row(PLAYER if ground.chair_of[i] != ground.chair_of[j] else DIVIDED, ((i, 1), (j, 1)), 1)


def together(ground: Ground, i: int, j: int) -> bool:
    """Whether one section or player of chords can take both of two tasks in a passage.

    A section divides among any kinds of strand that it can divide for; chords are of one kind.
    """
    chair, one, other = ground.chair_of[i], ground.strand_of[i], ground.strand_of[j]
    if chair != ground.chair_of[j] or one.id == other.id:
        return False
    if not chair.section:
        return one.kind == other.kind
    return one.kind in DIVISIBLE and other.kind in DIVISIBLE and not _in_octaves(ground, i, j)


def _in_octaves(ground: Ground, i: int, j: int) -> bool:
    """Whether two tasks are one line in octaves."""
    lines = [
        [(tone.onset, tone.midi + 12 * ground.candidates[k].octave) for tone in ground.strand_of[k].tones]
        for k in (i, j)
    ]
    if [onset for onset, _ in lines[0]] != [onset for onset, _ in lines[1]]:
        return False
    apart = {above - below for (_, above), (_, below) in zip(*lines, strict=True)}
    return len(apart) == 1 and not next(iter(apart)) % 12


def change_s(ground: Ground, before: Chair, after: Chair) -> float:
    """How long a player takes from one instrument to another at ease, in seconds."""
    own = ground.hall.forces.changes.get((before.instrument, after.instrument))
    if own is not None:
        return own[1]
    crook = kind_of(before) == kind_of(after)
    what = "crook" if crook else {"brass": "brass", "keyboard": "keyboard"}.get(after.family, "wind")
    return float(facts.get(f"players.change_{what}").value[1])


def _changes(ground: Ground, seat: Seat, of_seat: Mapping[int, Sequence[int]]) -> Iterator[Row]:
    """Between the last note on one instrument and the first on another there is time to change."""
    if len(seat.plays) < 2:
        return
    passages = sorted(of_seat)
    for at, first in enumerate(passages):
        for i in of_seat[first]:
            end = ground.strand_of[i].tones[-1].end
            for later in passages[at + 1 :]:
                late = [
                    j for j in of_seat[later]
                    if ground.chair_of[j] != ground.chair_of[i]
                    and ground.clock.between(end, ground.strand_of[j].tones[0].onset)
                    < change_s(ground, ground.chair_of[i], ground.chair_of[j])
                ]  # fmt: skip
                if not late:
                    break
                if any(many(ground.chair_of[j]) for j in late):
                    yield from (Row(CHANGE, ((i, 1), (j, 1)), 1) for j in late)
                else:
                    yield Row(CHANGE, ((i, 1), *((j, 1) for j in late)), 1)


def _breath(ground: Ground, of_seat: Mapping[int, Sequence[int]]) -> Iterator[Row]:
    """In one bar more than a wind player can go on for, there is a bar in which they breathe."""
    blown = _bars_of(ground, of_seat, blown_bars)
    if not blown:
        return
    limits = facts.get("scoring.breath_bars").value
    most = min(int(limits[ground.chair_of[i].family]) for i in blown)
    for window in _windows(ground, most + 1):
        terms: list[tuple[int, int]] = []
        parts = list(_parts(ground, window))
        for at, bars in parts:
            through = [(i, 1) for i in of_seat.get(at, ()) if i in blown and bars <= blown[i]]
            if not through:
                break
            terms += through
        else:
            yield Row(BREATH, tuple(terms), len(parts) - 1)


def _stamina(ground: Ground, of_seat: Mapping[int, Sequence[int]]) -> Iterator[Row]:
    """A brass player sounds in a part of any so many bars only. A shorter piece asks nothing."""
    sounding = _bars_of(ground, of_seat, sounding_bars)
    brass = {i: bars for i, bars in sounding.items() if ground.chair_of[i].family == "brass"}
    if not brass:
        return
    rule = facts.get("scoring.stamina").value
    most = int(rule["bars"]) * int(rule["percent"]) // 100
    for window in _windows(ground, int(rule["bars"])):
        parts = list(_parts(ground, window))
        if _is_between(ground, parts, of_seat, brass):
            continue
        terms = [
            (i, len(bars & brass[i]))
            for at, bars in parts
            for i in of_seat.get(at, ())
            if i in brass and bars & brass[i]
        ]
        fullest: dict[int, int] = {}
        for i, bars_in in terms:
            at = ground.candidates[i].passage
            fullest[at] = max(fullest.get(at, 0), bars_in)
        if sum(fullest.values()) > most:
            yield Row(STAMINA, tuple(terms), most)


def _is_between(
    ground: Ground,
    parts: Sequence[tuple[int, frozenset[int]]],
    of_seat: Mapping[int, Sequence[int]],
    brass: Mapping[int, frozenset[int]],
) -> bool:
    """Whether a stretch begins and ends inside passages in which the player sounds in every bar, if at all.

    Such a one lies between two stretches that end with a passage, and asks no more than both of them.
    """
    for at, bars in (parts[0], parts[-1]):
        whole = ground.passages[at].last + 1 - ground.passages[at].first
        if len(bars) == whole or any(len(brass[i]) < whole for i in of_seat.get(at, ()) if i in brass):
            return False
    return True


def _bars_of(ground: Ground, of_seat: Mapping[int, Sequence[int]], which: _Bars) -> dict[int, frozenset[int]]:
    """The bars of each candidate of a wind player, blown through or sounding."""
    return {
        i: ground.bars(which, at, ground.strand_of[i])
        for at, indices in of_seat.items()
        for i in indices
        if ground.chair_of[i].family in _WINDS
    }


def _windows(ground: Ground, length: int) -> Iterator[range]:
    """Every stretch of so many bars of the sketch."""
    last = max((passage.last for passage in ground.passages), default=-1)
    for start in range(last + 2 - length):
        yield range(start, start + length)


def _parts(ground: Ground, window: range) -> Iterator[tuple[int, frozenset[int]]]:
    """The passages that a stretch of bars runs through, each with its bars in it."""
    for at, passage in enumerate(ground.passages):
        bars = range(max(window.start, passage.first), min(window.stop, passage.last + 1))
        if bars:
            yield at, frozenset(bars)


def _deep(ground: Ground) -> Iterator[Row]:
    """A bass is played an octave down only where another instrument has it at its own octave."""
    deep = facts.get("scoring.sixteen_foot").value
    here: dict[tuple[int, str], list[int]] = defaultdict(list)
    below: list[int] = []
    for i, one in enumerate(ground.candidates):
        chair = ground.chair_of[i]
        if ground.strand_of[i].kind != BASS:
            continue
        if one.octave < 0 and kind_of(chair) in deep:
            below.append(i)
        elif not one.octave and kind_of(chair) not in deep and not is_plucked(chair) and chair.family != "timpani":
            here[one.passage, one.strand].append(i)
    for i in below:
        one = ground.candidates[i]
        yield Row(DEEP, ((i, 1), *((j, -1) for j in here[one.passage, one.strand])), 0)
