"""The set-up list of a percussion part: instruments, their sticks, how many of each, and where each begins."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from deskproof import instruments
from deskproof.families.base import Context
from deskproof.families.percussion import damping
from deskproof.families.percussion.at_once import TWO, busy_until_us, hands, is_kit
from deskproof.families.percussion.naming import Named
from deskproof.families.percussion.strokes import Reading, Stroke
from deskproof.findings import Place
from deskproof.timeline import Event


class Item(NamedTuple):
    """One instrument of a set-up.

    Attributes
    ----------
    instrument : str
        Id of instruments.toml; empty for what nothing names.
    name : str
        Its English name; the line of the staff where nothing names it.
    sticks : tuple of str
        Kinds of sticks and hands that the part asks for, in its order.
    mallets : int
        The most mallets that it asks for or that a chord takes; 0 for what has no bars.
    lines : int
        On how many lines of the staff it stands: so many sizes of it.
    strokes : int
        How often it is struck, repeats played out; 0 for what a text names with another on one line.
    named : Named
        Who says what it is.
    begins : Place
        Its first stroke; ``measure`` is an ordinal, ``number`` the measure's number as printed.
    number : str
    ringing : InBars
        The bars in which it is left to ring, is damped, or rings past its written end.
    """

    instrument: str
    name: str
    sticks: tuple[str, ...]
    mallets: int
    lines: int
    strokes: int
    named: Named
    begins: Place
    number: str
    ringing: damping.InBars = damping.InBars()


class SetUp(NamedTuple):
    """The set-up of one part. ``players`` is None where the page does not say how many; ``least`` how many it takes.

    ``least`` counts hands only, at the moment that takes most of them: changes between instruments may take more.
    """

    part: str
    players: int | None
    least: int
    items: tuple[Item, ...]


def set_up(reading: Reading, context: Context) -> SetUp:
    """Make the list from the strokes of a part, in the order in which the instruments come."""
    part = context.score.parts[reading.part]
    rows: dict[str, list[Stroke]] = {}
    for onset in reading.onsets:
        for stroke in onset:
            rows.setdefault(stroke.instrument or f"? {stroke.line}", []).append(stroke)
    rings: dict[str, list[damping.Ring]] = {}
    for ring in damping.ringing(reading, context):
        rings.setdefault(ring.stroke.instrument, []).append(ring)
    items = tuple(
        _item(row, reading, context)._replace(ringing=damping.in_bars(rings.get(row[0].instrument, ()), part))
        for row in rows.values()
    )
    beside = tuple(_beside(items))
    return SetUp(part.name or part.id, reading.players, _least(reading), items + beside)


def in_words(item: Item) -> str:
    """A line of the list."""
    several = item.name if item.name.endswith("s") else f"{item.name}s"
    rows = [item.name if item.lines < TWO else f"{item.lines} {several}"]
    if item.sticks:
        rows.append(f"with {', '.join(item.sticks)}")
    if item.mallets > TWO:
        rows.append(f"{item.mallets} mallets")
    where = f"from bar {item.number}" if item.strokes else "named with another on one line"
    return ", ".join([*rows, where, *damping.in_words(item.ringing)])


def place_of(reading: Reading, event: Event) -> Place:
    """Where an event stands."""
    return Place(reading.part, event.note.staff, event.measure, event.note.start, event.pass_)


def name_of(instrument: str) -> str:
    """The English name of an instrument by its id."""
    return instruments.by_id(instrument).name


def _item(row: list[Stroke], reading: Reading, context: Context) -> Item:
    first = row[0]
    event = first.event
    chords: dict[int, int] = {}
    for stroke in row:
        chords[stroke.t_us] = chords.get(stroke.t_us, 0) + (stroke.key is not None)
    return Item(
        first.instrument,
        name_of(first.instrument) if first.instrument else first.line,
        tuple(dict.fromkeys(stroke.sticks for stroke in row if stroke.sticks)),
        max(max(stroke.mallets for stroke in row), *chords.values()),
        len({stroke.line for stroke in row if stroke.key is None}),
        len(row),
        first.named,
        place_of(reading, event),
        context.score.parts[reading.part].measures[event.measure].number,
    )


def _beside(items: tuple[Item, ...]) -> Iterator[Item]:
    """What is named together with another instrument of the list on one line, so that nobody can tell its strokes."""
    known = {item.instrument for item in items}
    for item in items:
        for other in item.named.others:
            if other not in known:
                known.add(other)
                yield item._replace(
                    instrument=other, name=name_of(other), sticks=(), mallets=0, strokes=0,
                    named=Named(other, item.named.by, (item.instrument,)), ringing=damping.InBars(),
                )  # fmt: skip


def _least(reading: Reading) -> int:
    """So many players that there are hands for every onset and what goes on meanwhile."""
    kit = is_kit(reading.instruments)
    most, going = 1, list[Stroke]()
    for row in reading.onsets:
        t_us = row[0].t_us
        going = [stroke for stroke in going if busy_until_us(stroke) > t_us]
        most = max(most, -(-hands([*going, *row], kit).least // TWO))
        going += [stroke for stroke in row if busy_until_us(stroke) > t_us]
    return most
