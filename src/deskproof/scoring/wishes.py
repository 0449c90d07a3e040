"""What the composer wants of a plan: who is fixed, forbidden, silent, asked for or preferred.

Fixed lines, "avoid" and tacet are rules; a name without ``fixed`` and "prefer" are asked for, at a price where they
are not met. A wish keeps the line of the plan's text it stands on, so that a clash can name it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from deskproof import facts, pitch
from deskproof.errors import DeskproofError
from deskproof.scoring.candidates import Candidate, Pricing, reaches
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import COMPOSER, Chair, Line, Passage, PlannedPassage, Sketch, Strand

FIXED, AVOID, TACET = "fixed", "avoid", "tacet"


class ScoringClash(DeskproofError):
    """The composer's own rules cannot all be kept; the message names the bars and the lines at odds."""


class Wish(NamedTuple):
    """One rule of the composer in a passage: candidates (ordinals) that play, and others that do not."""

    passage: int
    what: str
    where: int
    strand: str
    on: tuple[int, ...] = ()
    off: tuple[int, ...] = ()


class Ask(NamedTuple):
    """One request: some one of these candidates plays, or the plan pays."""

    passage: int
    any_of: tuple[int, ...]
    cost: int


class Wishes(NamedTuple):
    """All wishes, with the candidates they are about.

    ``candidates`` are those given, the preferred ones cheaper, and behind them what only a fixed or asked-for name
    brings in. ``omitted`` are strands that the composer leaves out: (passage, strand).
    """

    candidates: tuple[Candidate, ...]
    rules: tuple[Wish, ...]
    asks: tuple[Ask, ...]
    omitted: frozenset[tuple[int, str]]


def wishes_of(
    sketch: Sketch,
    passages: Sequence[Passage],
    hall: Hall,
    candidates: Sequence[Candidate],
    wanted: Sequence[PlannedPassage | None],
    scale: str,
) -> Wishes:
    """The wishes of a plan; ``wanted`` stands in the order of the passages, None where there is none.

    Raises
    ------
    ScoringClash
        If a name is nobody's in the room, or a fixed chair has not the notes.
    """
    reader = _Reader(sketch, passages, hall, candidates, scale)
    for at, one in enumerate(wanted):
        if one is not None:
            reader.read(at, one)
    return Wishes(tuple(reader.candidates), tuple(reader.rules), tuple(reader.asks), frozenset(reader.omitted))


def bars_of(sketch: Sketch, passages: Sequence[Passage], places: Sequence[int]) -> str:
    """Printed bar numbers of passages, first to last: "bars 33-40"."""
    first = sketch.bars[passages[min(places)].first].number
    last = sketch.bars[passages[max(places)].last].number
    return f"bar {first}" if first == last else f"bars {first}-{last}"


class _Reader:
    """Reads the wishes passage by passage and adds the candidates that they bring in."""

    def __init__(
        self, sketch: Sketch, passages: Sequence[Passage], hall: Hall, candidates: Sequence[Candidate], scale: str
    ) -> None:
        self.sketch, self.passages, self.hall = sketch, passages, hall
        self.pricing = Pricing(sketch, hall, scale)
        self.candidates = list(candidates)
        self.places = {(c.passage, c.strand, c.chair, c.octave): i for i, c in enumerate(candidates)}
        self.of_passage: dict[int, list[int]] = {}
        for i, one in enumerate(candidates):
            self.of_passage.setdefault(one.passage, []).append(i)
        self.rules: list[Wish] = []
        self.asks: list[Ask] = []
        self.omitted: set[tuple[int, str]] = set()

    def read(self, at: int, wanted: PlannedPassage) -> None:
        """The wishes of one passage."""
        for line in wanted.lines:
            strand = self.passages[at].strand(line.strand)
            if strand is None or not strand.tones:
                continue
            if line.fixed:
                self._fixed(at, strand, line)
            elif line.by == COMPOSER:
                self._asked(at, strand, line)
            self._avoided(at, strand, line)
            self._preferred(at, strand, line)
        for silent in wanted.tacet:
            seats = {one.seat for word in silent.who for one in self._named(at, word, silent.where)
                     if self.hall.seat(word) is not None}  # fmt: skip
            chairs = {one.name for word in silent.who for one in self._named(at, word, silent.where)}
            off = tuple(i for i in self._here(at)
                        if self.candidates[i].chair in chairs or self._chair_of(i).seat in seats)  # fmt: skip
            self.rules.append(Wish(at, TACET, silent.where, "", off=off))

    def _fixed(self, at: int, strand: Strand, line: Line) -> None:
        on = tuple(self._asked_place(at, strand, line, who.chair, who.octave, True) for who in line.who)
        off = tuple(i for i in self._here(at, strand) if i not in on)
        self.rules.append(Wish(at, FIXED, line.where, strand.id, tuple(i for i in on if i is not None), off))
        if not line.who:
            self.omitted.add((at, strand.id))

    def _asked(self, at: int, strand: Strand, line: Line) -> None:
        price = int(facts.get("scoring.asked_for").value)
        for who in line.who:
            place = self._asked_place(at, strand, line, who.chair, who.octave, False)
            if place is not None:
                self.asks.append(Ask(at, (place,), price))

    def _avoided(self, at: int, strand: Strand, line: Line) -> None:
        for word in line.avoid:
            names = {one.name for one in self._named(at, word, line.where)}
            off = tuple(i for i in self._here(at, strand) if self.candidates[i].chair in names)
            self.rules.append(Wish(at, AVOID, line.where, strand.id, off=off))

    def _preferred(self, at: int, strand: Strand, line: Line) -> None:
        less = int(facts.get("scoring.preferred").value)
        for word in line.prefer:
            names = {one.name for one in self._named(at, word, line.where)}
            chosen = tuple(i for i in self._here(at, strand) if self.candidates[i].chair in names)
            for i in chosen:
                one = self.candidates[i]
                self.candidates[i] = one._replace(cost=max(0, one.cost - less), why=f"{one.why}; preferred")
            if chosen:
                self.asks.append(Ask(at, chosen, less))

    def _here(self, at: int, strand: Strand | None = None) -> Iterator[int]:
        """The candidates of a passage, or of one strand in it."""
        for i in self.of_passage.get(at, []):
            if strand is None or self.candidates[i].strand == strand.id:
                yield i

    def _asked_place(self, at: int, strand: Strand, line: Line, name: str, octave: int, must: bool) -> int | None:
        """The candidate that a name and an octave mean, made where nobody thought of it; None without the notes."""
        chair = self._one(at, name, line.where)
        key = (at, strand.id, chair.name, octave)
        if key not in self.places:
            if not reaches(chair, strand, octave):
                if must:
                    raise ScoringClash(self._out_of_reach(at, strand, line, chair, octave))
                return None
            made = self.pricing.candidate(at, self.passages[at], strand, chair, octave)
            self.places[key] = len(self.candidates)
            self.of_passage.setdefault(at, []).append(len(self.candidates))
            self.candidates.append(made)
        return self.places[key]

    def _out_of_reach(self, at: int, strand: Strand, line: Line, chair: Chair, octave: int) -> str:
        low, high = strand.low + 12 * octave, strand.high + 12 * octave
        goes = f"down to {pitch.name(low)}" if low < chair.low else f"up to {pitch.name(high)}"
        moved = f", octaves {'up' if octave > 0 else 'down'}: {abs(octave)}" if octave else ""
        return (
            f"{bars_of(self.sketch, self.passages, [at])}: {chair.name}{said(line.where)} cannot play the "
            f"{strand.id}{moved}; it goes {goes}, and the compass is "
            f"{pitch.name(chair.low)} to {pitch.name(chair.high)}."
        )

    def _one(self, at: int, name: str, where: int) -> Chair:
        found = self.hall.chair(name)
        return found if found is not None else self._named(at, name, where)[0]

    def _named(self, at: int, word: str, where: int) -> tuple[Chair, ...]:
        found = self.hall.named(word)
        if not found:
            raise ScoringClash(
                f"{bars_of(self.sketch, self.passages, [at])}: nobody in the room is called {word!r}{said(where)}; "
                f"there are {', '.join(chair.name for chair in self.hall.chairs)}."
            )
        return found

    def _chair_of(self, i: int) -> Chair:
        return self._one(self.candidates[i].passage, self.candidates[i].chair, 0)


def said(where: int) -> str:
    """Where in the plan's text a wish stands, in brackets; empty if nowhere."""
    return f" (line {where})" if where else ""
