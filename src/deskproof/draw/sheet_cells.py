"""What stands on the planning sheet, before it is drawn: a row for each chair that plays, a cell for each passage.

Names of strands are shortened by one rule: their first word and their number ("inner part 2": "inner 2"). Strands
of one chair that are taken alike share their words ("inner 2, 3").
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from deskproof.draw.sheet_words import Word, plain
from deskproof.instruments import by_id
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import Chair, Passage, PlannedPassage, ScoringPlan, Who
from deskproof.scoring.said import is_left_out, kind_of, listed, octave_words

LEFT_OUT = "left out"
DITTO = "″"


@dataclass(frozen=True)
class Entry:
    """What a chair plays: the kind of strand, its words, and whether the composer fixed it."""

    kind: str
    words: tuple[Word, ...]
    fixed: bool = False


@dataclass(frozen=True)
class Cell:
    """One chair in one passage. No entries: it is silent, ``why`` tells for what reason if one is given."""

    entries: tuple[Entry, ...] = ()
    why: tuple[Word, ...] = ()

    @property
    def words(self) -> str:
        """All words of the cell in their order, "–" for silence."""
        own = [word.text for entry in self.entries for word in entry.words]
        return " ".join(own or ["–", *(word.text for word in self.why)])


@dataclass(frozen=True)
class Row:
    """One line of the sheet: the chair's name, its family, a cell for each passage."""

    name: str
    family: str
    cells: tuple[Cell, ...]


def short(strand: str) -> str:
    """The name of a strand as the cells have it.

    >>> short("inner part 2"), short("counter-tune"), short("held harmony")
    ('inner 2', 'counter-tune', 'held')
    """
    first, *rest = strand.split()
    return " ".join([first, *rest[-1:]]) if rest and rest[-1].isdigit() else first


def rows_of(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall) -> list[Row]:
    """The rows in score order; a last one for the strands that nobody plays, if any.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    names = list(dict.fromkeys(one.chair for planned in plan.passages for line in planned.lines for one in line.who))
    places = {chair.name: k for k, chair in enumerate(hall.chairs)}
    names.sort(key=lambda name: places.get(name, len(places)))
    columns = [_column(planned, passage, names, hall) for planned, passage in zip(plan.passages, passages, strict=True)]
    rows = []
    for k, name in enumerate(names):
        chair = hall.chair(name)
        rows.append(Row(name, chair.family if chair else "", tuple(column[k] for column in columns)))
    left = tuple(_left(planned, passage) for planned, passage in zip(plan.passages, passages, strict=True))
    if any(cell.entries for cell in left):
        rows.append(Row(LEFT_OUT, LEFT_OUT, left))
    return rows


def _column(planned: PlannedPassage, passage: Passage, names: Sequence[str], hall: Hall) -> list[Cell]:
    """The cells of one passage from the top down. A reason that holds for several is written at the first of them."""
    silent: dict[str, int] = {}
    for k, tacet in enumerate(planned.tacet):
        for word in tacet.who:
            silent.update({chair.name: k for chair in hall.named(word) if tacet.why})
    cells = []
    before: int | None = None
    for name in names:
        entries = tuple(_entries(planned, passage, name))
        reason = None if entries else silent.get(name)
        why = () if reason is None else (Word(DITTO),) if reason == before else plain(planned.tacet[reason].why)
        cells.append(Cell(entries, why))
        before = reason
    return cells


def _entries(planned: PlannedPassage, passage: Passage, name: str) -> Iterator[Entry]:
    """What a chair plays in a passage, strands that it takes alike together."""
    alike: dict[tuple[str, Who, str, bool], list[str]] = {}
    for line in planned.lines:
        for one in line.who:
            if one.chair == name:
                key = (kind_of(line.strand, passage), one, line.dynamic, line.fixed)
                alike.setdefault(key, []).append(short(line.strand))
    for (kind, one, dynamic, fixed), strands in alike.items():
        words = [*_names(strands), *(Word(text) for text in (octave_words(one.octave), *one.how.split()) if text)]
        yield Entry(kind, (*words, *_dynamic(dynamic)), fixed)


def _dynamic(text: str) -> tuple[Word, ...]:
    return tuple(Word(one, strong=True) for one in text.split())


def _names(strands: Sequence[str]) -> list[Word]:
    """The short names of strands of one kind, three or more numbers in a row as the first and the last.

    >>> [word.text for word in _names(["figuration 1", "figuration 2", "figuration 3", "figuration 5"])]
    ['figuration 1–3,', '5']
    """
    first, _, number = strands[0].partition(" ")
    rows: list[list[str]] = []
    for one in [number, *(strand.rpartition(" ")[2] for strand in strands[1:])]:
        if rows and one.isdigit() and rows[-1][-1].isdigit() and int(one) == int(rows[-1][-1]) + 1:
            rows[-1].append(one)
        else:
            rows.append([one])
    said = [f"{row[0]}–{row[-1]}" if len(row) > 2 else ", ".join(row) for row in rows]
    said[0] = f"{first} {said[0]}".strip()
    return [Word(f"{one},") for one in said[:-1]] + [Word(said[-1])]


def _left(planned: PlannedPassage, passage: Passage) -> Cell:
    """The strands that nobody plays; those of one kind and one reason together."""
    alike: dict[tuple[str, str, bool], list[str]] = {}
    for line in planned.lines:
        if is_left_out(line):
            alike.setdefault((kind_of(line.strand, passage), line.why, line.fixed), []).append(short(line.strand))
    return Cell(tuple(_left_entry(kind, why, fixed, strands) for (kind, why, fixed), strands in alike.items()))


def _left_entry(kind: str, why: str, fixed: bool, strands: Sequence[str]) -> Entry:
    *names, last = _names(strands)
    if why:
        last = Word(f"{last.text}:")
    return Entry(kind, (*names, last, *plain(why)), fixed)


def silent_words(plan: ScoringPlan, hall: Hall) -> str:
    """Who is silent throughout, and which instruments of those who play are not taken up; empty where neither is."""
    playing = {one.chair.casefold() for planned in plan.passages for line in planned.lines for one in line.who}
    idle, untaken = [], []
    for seat in hall.seats:
        chairs = [chair for chair in hall.chairs if chair.seat == seat.name]
        free = [chair for chair in chairs if chair.name.casefold() not in playing]
        if len(free) == len(chairs):
            idle.append(seat.name)
        else:
            untaken += [_instrument(chair) for chair in free]
    rows = (("Silent throughout", idle), ("Not taken up", untaken))
    return " ".join(f"{said}: {listed(names)}." for said, names in rows if names)


def _instrument(chair: Chair) -> str:
    """An instrument as one of several of a player."""
    return f"{by_id(chair.instrument).name} of {chair.seat}" if chair.name == chair.seat else chair.name
