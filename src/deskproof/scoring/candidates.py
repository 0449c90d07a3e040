"""Who in the room could take which strand, at which octave and at what price.

There is a candidate only where every note lies in the compass of the chair, so that no plan can leave it. The price
is how well the kind of instrument does the kind of strand, how far from home it plays, the octave, runs too fast for
it, and notes longer than a breath. All figures are facts of ``scoring.toml``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.breath import Clock, breaths, longest_s, notes_a_second
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import (
    ACCENT,
    BASS,
    COUNTER,
    FIGURE,
    HELD,
    INNER,
    TUNE,
    Chair,
    Passage,
    Sketch,
    Strand,
    Tone,
)  # fmt: skip
from deskproof.scoring.strength import FF, MF, F, P, attack_of, is_plucked, kind_of, level_of, of_kind, strength_of

_UNPITCHED = ("percussion", "voice")
"""Families that no strand of a sketch is given to."""

HarpCan = Callable[[Strand, tuple[Tone, ...]], bool]
ChairCan = Callable[[Chair, tuple[Tone, ...]], bool]


class Candidate(NamedTuple):
    """One chair that could play a strand of a passage (ordinal) at an octave.

    ``cost`` is its price, ``strength`` and ``attack`` how much it counts for in a held sound and at the beginning of a
    note (quarters of a woodwind player), ``why`` says what speaks for it.
    """

    passage: int
    strand: str
    chair: str
    octave: int
    cost: int
    strength: int
    attack: int
    why: str


def any_tones(_: object, tones: tuple[Tone, ...]) -> bool:
    """What harp and keyboards can play where nothing asks more closely: everything."""
    return bool(tones)


def few_pitches(_: object, tones: tuple[Tone, ...]) -> bool:
    """What drums can play where nothing asks more closely: as many pitches as there are drums."""
    return len({tone.midi for tone in tones}) <= int(facts.get("scoring.timpani_pitches").value)


def candidates_of(
    sketch: Sketch,
    passages: Sequence[Passage],
    hall: Hall,
    scale: str,
    harp_can: HarpCan = any_tones,
    keyboard_can: ChairCan = any_tones,
    drum_can: ChairCan = few_pitches,
) -> tuple[Candidate, ...]:
    """All candidates, passage by passage, strand by strand, in score order, the octave of the sketch first.

    The three questions get the tones at the octave in which they would be played.
    """
    pricing = Pricing(sketch, hall, scale)
    found: list[Candidate] = []
    for at, passage in enumerate(passages):
        for strand in passage.strands:
            alone = sum(other.kind == strand.kind for other in passage.strands) == 1
            for chair, octave in _places(hall, strand, level_of(passage.dynamic), pricing.clock, alone):
                tones = moved(strand.tones, octave)
                can = (
                    harp_can(strand, tones) if chair.family == "harp"
                    else keyboard_can(chair, tones) if chair.family == "keyboard"
                    else drum_can(chair, tones) if chair.family == "timpani"
                    else True
                )  # fmt: skip
                if can:
                    found.append(pricing.candidate(at, passage, strand, chair, octave))
    return tuple(found)


def moved(tones: tuple[Tone, ...], octave: int) -> tuple[Tone, ...]:
    """Tones so many octaves higher."""
    return tuple(tone.higher(octave) for tone in tones)


def reaches(chair: Chair, strand: Strand, octave: int) -> bool:
    """Whether a chair has every note of a strand at an octave."""
    return chair.low <= strand.low + 12 * octave and strand.high + 12 * octave <= chair.high


def _places(hall: Hall, strand: Strand, level: str, clock: Clock, alone: bool) -> Iterator[tuple[Chair, int]]:
    """Chairs and octaves that a strand can lie in. An octave change for want of anything else comes last.

    ``alone``: the passage has no other strand of its kind, such as the tune in another octave.
    """
    if not strand.tones:
        return
    chairs = [chair for chair in hall.chairs if _takes(chair, strand, level, clock)]
    here = [
        (chair, octave) for chair in chairs for octave in _octaves(chair, strand, level, alone)
        if reaches(chair, strand, octave)
    ]  # fmt: skip
    if not any(not octave and not is_plucked(chair) for chair, octave in here):
        more = [
            (chair, octave) for chair in chairs for octave in (1, -1)
            if reaches(chair, strand, octave) and (chair, octave) not in here and chair.family != "timpani"
        ]  # fmt: skip
        here = sorted((*here, *more), key=lambda place: place[0].order)
    yield from here


def _octaves(chair: Chair, strand: Strand, level: str, alone: bool) -> tuple[int, ...]:
    """The octaves in which a chair is asked for a strand, the sketch's own first.

    A tune that the sketch has in several octaves is not doubled in yet another.
    """
    if kind_of(chair) == "celesta":
        return (1,) if strand.kind == TUNE else (0, 1)
    if kind_of(chair) == "piccolo" and strand.kind == TUNE:
        return (1, 0) if reaches(chair, strand, 1) else (0,)
    if strand.kind == TUNE:
        return (0, 1, -1) if alone else (0,)
    if strand.kind == BASS and kind_of(chair) in facts.get("scoring.sixteen_foot").value:
        return (0, -1)
    if strand.kind == BASS and strand.low < chair.low and not is_plucked(chair):
        return (0, 1)
    if strand.kind == BASS and kind_of(chair) == "piano" and level in (F, FF):
        return (0, -1)
    return (0,)


def _takes(chair: Chair, strand: Strand, level: str, clock: Clock) -> bool:
    """Whether a chair is asked for a kind of strand at all."""
    fits = of_kind(facts.get("scoring.fit").value, chair)
    if chair.family in _UNPITCHED or fits is None or strand.kind not in fits:
        return False
    if chair.family == "timpani":
        return strand.kind in (BASS, ACCENT) and level in (F, FF)
    if strand.kind == INNER and is_plucked(chair) and not _is_short(strand, clock):
        return False
    if chair.family == "harp" and _repeats(strand):
        return False
    return kind_of(chair) != "celesta" or level in facts.get("scoring.soft_levels").value


def _repeats(strand: Strand) -> bool:
    """Whether a strand mostly strikes one note again and again."""
    again = sum(one.midi == other.midi for one, other in pairwise(strand.tones))
    return 2 * again > len(strand.tones)


def _is_short(strand: Strand, clock: Clock) -> bool:
    """Whether a strand is all short chords, which what dies away can join."""
    longest = float(facts.get("scoring.short_chord").value)
    return all(clock.between(tone.onset, tone.end) <= longest for tone in strand.tones)


class Pricing:
    """What a task costs in one sketch and one room, on one scale of strength."""

    def __init__(self, sketch: Sketch, hall: Hall, scale: str) -> None:
        self.clock = Clock(sketch.bars)
        self.scale = scale
        self._known: dict[tuple[int, str], tuple[float, float]] = {}
        self.ranks = {chair.name: _rank(chair, hall) for chair in hall.chairs}
        self.lowest = {chair.instrument: 0 for chair in hall.chairs}
        for chair in hall.chairs:
            self.lowest[chair.instrument] = max(self.lowest[chair.instrument], self.ranks[chair.name])

    def candidate(self, at: int, passage: Passage, strand: Strand, chair: Chair, octave: int) -> Candidate:
        """The candidate of a chair on a strand, price and all, whether or not anyone would think of it."""
        cost, why = self._price(passage, strand, chair, octave)
        return Candidate(
            at, strand.id, chair.name, octave, cost,
            strength_of(chair, passage.dynamic, self.scale, strand.kind),
            attack_of(chair, passage.dynamic, self.scale), "; ".join(why),
        )  # fmt: skip

    def _price(self, passage: Passage, strand: Strand, chair: Chair, octave: int) -> tuple[int, list[str]]:
        level = level_of(passage.dynamic)
        fits = of_kind(facts.get("scoring.fit").value, chair) or {}
        cost = int(fits.get(strand.kind, max(fits.values(), default=0)))
        cost += self._place_among(passage, strand, chair) + _kept_back(chair, level)
        cost += abs(octave) * int(facts.get("scoring.octave_shift").value)
        register, why = _register(chair, moved(strand.tones, octave), self.clock.ticks(passage))
        fastest, longest = self._speeds(passage, strand)
        late, hurry = self._agility(chair, fastest)
        long, held = self._breath(chair, longest, level)
        why += hurry + held
        if octave:
            why.append(f"an octave {'above' if octave > 0 else 'below'}")
        why.append(_speaks_for(chair, strand, level))
        return cost + register + late + long, [word for word in why if word]

    def _place_among(self, passage: Passage, strand: Strand, chair: Chair) -> int:
        """The price of asking the second before the first, or of having the second above the first."""
        rank = self.ranks[chair.name]
        if not self.lowest[chair.instrument]:
            return 0
        higher = sum(one.low + one.high > strand.low + strand.high for one in passage.strands)
        depth = higher / max(1, len(passage.strands) - 1)
        border = float(facts.get("scoring.second_from").value)
        off = max(0.0, border - depth if rank else depth - border)
        asked = rank * int(facts.get("scoring.second_player").value)
        return asked + round(off * int(facts.get("scoring.second_above").value))

    def _speeds(self, passage: Passage, strand: Strand) -> tuple[float, float]:
        """Notes a second of the fastest run, and seconds of the longest note; counted once."""
        key = passage.first, strand.id
        if key not in self._known:
            self._known[key] = notes_a_second(strand.tones, self.clock), longest_s(strand.tones, self.clock)
        return self._known[key]

    def _agility(self, chair: Chair, fastest: float) -> tuple[int, list[str]]:
        limit = of_kind(facts.get("scoring.agility").value, chair)
        over = fastest - float(limit) if limit is not None else 0.0
        if over <= 0:
            return 0, []
        return round(over * int(facts.get("scoring.agility_cost").value)), [f"fast for the {_plain(chair)}"]

    def _breath(self, chair: Chair, longest: float, level: str) -> tuple[int, list[str]]:
        if chair.family not in ("woodwind", "brass"):
            return 0, []
        one = float(of_kind(facts.get("scoring.breath").value, chair))
        more = breaths(longest, one * float(facts.get("scoring.breath_at").value[level]))
        return more * int(facts.get("scoring.breath_cost").value), ["holds longer than one breath"] if more else []


def _rank(chair: Chair, hall: Hall) -> int:
    """How many come before a chair: other sections of its instrument, and players who take fewer instruments.

    Players who are alike have one rank: who of them is asked is settled by :mod:`deskproof.scoring.alike`.
    """
    own = hall.seat(chair.seat)
    before = {
        (other.plays, other.name if other.section else "")
        for one in hall.chairs[: chair.order]
        if one.instrument == chair.instrument and (other := hall.seat(one.seat)) is not None
    }
    return len(before - {(own.plays, own.name if own.section else "")}) if own is not None else 0


def _kept_back(chair: Chair, level: str) -> int:
    """What a loud kind of instrument costs where it is soft."""
    price = of_kind(facts.get("scoring.loud_kinds").value, chair)
    if price is None or level in (F, FF):
        return 0
    return int(price) if level == P else int(price) // 2


def register_of(chair: Chair) -> tuple[int, int, int, int]:
    """Ordinary field and home of a chair, as sounding MIDI: field from, home from, home to, field to."""
    for table in ("scoring.registers", "scoring.registers_else"):
        row = facts.get(table).value.get(kind_of(chair))
        if row is not None:
            return int(row[0]), int(row[1]), int(row[2]), int(row[3])
    quarter = (chair.high - chair.low) // 4
    return chair.low, chair.low + quarter, chair.high - quarter, chair.high


def _register(chair: Chair, tones: tuple[Tone, ...], length: int) -> tuple[int, list[str]]:
    """The price of leaving home, and where the strand lies in words.

    A strand that sounds in less than half of the passage, which lasts ``length`` ticks, costs so much less.
    """
    field_low, low, high, field_high = register_of(chair)
    total = below = above = farthest = 0
    for tone in tones:
        time = max(1, tone.end - tone.onset)
        total += time
        below += time * max(0, low - tone.midi)
        above += time * max(0, tone.midi - high)
        farthest = max(farthest, field_low - tone.midi, tone.midi - field_high)
    away = int(facts.get("scoring.outside_home").value) * (below + above)
    cost = (2 * away + total) // (2 * total) + int(facts.get("scoring.outside_field").value) * farthest
    cost = cost * min(length, 2 * total) // max(1, length)
    if 2 * (below + above) < total:
        return cost, [f"home register of the {_plain(chair)}"]
    where = "low" if below > above else "high"
    return cost, [f"{'very ' if farthest else ''}{where} for the {_plain(chair)}"]


def _speaks_for(chair: Chair, strand: Strand, level: str) -> str:
    """What a chair is there for, in words."""
    said = {P: "p", MF: "mf", F: "f", FF: "ff"}[level]
    if is_plucked(chair):
        return "plucks the beginnings" if strand.kind in (TUNE, COUNTER, BASS, INNER, HELD) else "its kind of figure"
    if chair.family == "timpani":
        return f"point for the {strand.kind}"
    return {
        TUNE: f"carries the tune at {said}", BASS: f"bears the bass at {said}",
        FIGURE: "moves easily", ACCENT: f"has the edge for {said}",
    }.get(strand.kind, f"balances the others at {said}")  # fmt: skip


def _plain(chair: Chair) -> str:
    return kind_of(chair).replace("-", " ")
