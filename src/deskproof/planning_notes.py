"""What a printed and a served page of a plan share: its name, its forces, and its tables as pieces of HTML.

Whatever comes from the files is text, never markup.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from deskproof.instruments import by_id
from deskproof.scoring.balance import balance_of, follows_dynamics, sounding_of, winds
from deskproof.scoring.hall import STANDARD, Hall
from deskproof.scoring.records import Line, Passage, PlannedPassage, ScoringPlan, Seat, Sketch
from deskproof.scoring.said import bars_words, listed

CAUTIONS = (
    "A plan is a proposal: it says who could play what, and the composer decides.",
    "Strengths are a rule of thumb for an orchestra of medium size: they say nothing of the hall, the mutes or the "
    "players.",
)
"""What is said on every plan, whatever the sketch."""


def called(sketch: Sketch, file: str = "") -> str:
    """The name of a plan: after the title of its sketch, else after the file."""
    title = sketch.score.title
    return f"Scoring of “{title}”" if title else f"Scoring of {file or Path(sketch.name).name}"


def forces_words(hall: Hall) -> str:
    """Who is in the room, as a sentence."""
    if hall.standard:
        return f"No forces were given: for {STANDARD}."
    return f"For {listed([_seat_words(seat) for seat in hall.seats])}."


def _seat_words(seat: Seat) -> str:
    if seat.section:
        return f"{seat.name} ({seat.players} players)"
    also = [by_id(name).name for name in seat.plays[1:]]
    return f"{seat.name} (also {listed(also)})" if also else seat.name


def e(text: object) -> str:
    """A text as HTML."""
    return html.escape(str(text))


def bullets(title: str, rows: Sequence[str]) -> Iterator[str]:
    """A heading with a list under it; nothing where there are no rows."""
    if rows:
        yield f"<h2>{e(title)}</h2><ul>{''.join(f'<li>{e(row)}</li>' for row in rows)}</ul>"


class Column(NamedTuple):
    """A column of a table: its head, and whether it holds figures."""

    head: str
    counts: bool = False


def _head(columns: Sequence[Column]) -> str:
    cells = [f'<th scope="col"{_count(one)}>{e(one.head)}</th>' for one in columns]
    return f"<thead><tr>{''.join(cells)}</tr></thead>"


def wide_table(name: str, columns: Sequence[Column], bodies: Sequence[str]) -> str:
    """A table that scrolls by itself where the window is narrower."""
    table = f'<table class="plan">{_head(columns)}{"".join(bodies)}</table>'
    return f'<div class="strip" role="region" aria-label="{name}" tabindex="0">{table}</div>'


def table_row(columns: Sequence[Column], cells: Sequence[object]) -> str:
    """A row of a table; its first cell is its head."""
    first, *rest = cells
    others = [f"<td{_count(column)}>{e(cell)}</td>" for column, cell in zip(columns[1:], rest, strict=True)]
    return f'<tr><th scope="row" class="unbroken">{e(first)}</th>{"".join(others)}</tr>'


def _count(column: Column) -> str:
    return ' class="count"' if column.counts else ""


def why_words(line: Line) -> str:
    """The reason of a line; the name of a chair that is alone in it is not said again."""
    return line.why.removeprefix(f"{line.who[0].chair}: ") if len(line.who) == 1 else line.why


def passage_words(planned: PlannedPassage) -> str:
    """The head of a passage.

    >>> passage_words(PlannedPassage("1-8", mark="A", dynamic="p", weight="thin"))
    'A: bars 1–8, p, thin'
    """
    said = ", ".join(word for word in (bars_words(planned.bars), planned.dynamic, planned.weight) if word)
    return f"{planned.mark}: {said}" if planned.mark else said


_STRENGTHS = (Column("Strand"), Column("Who"), Column("Strength", True), Column("Beside the others"))


def loudness_table(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall) -> Iterator[str]:
    """How strong each strand is beside the others, passage by passage.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    yield (
        '<p class="quiet">In woodwind players: 1 is as strong as one of them at the same dynamic, on the scale '
        f"“{e(plan.scale)}”.</p>"
    )
    balance = balance_of(plan, passages, hall)
    bodies = []
    for planned in plan.passages:
        own = [row for row in balance if row.bars == planned.bars]
        head = f'<tr><th scope="rowgroup" colspan="{len(_STRENGTHS)}">{e(passage_words(planned))}</th></tr>'
        rows = [table_row(_STRENGTHS, (one.strand, ", ".join(one.who), winds(one.units), one.words)) for one in own]
        bodies.append(f'<tbody class="passage">{head}{"".join(rows)}</tbody>')
    yield wide_table("How strong each strand is", _STRENGTHS, bodies)


_SOUNDING = (Column("Bars"), Column("Dynamic"), Column("Playing", True), Column("Of", True))


def players_table(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall) -> Iterator[str]:
    """How many play in each passage, beside its dynamic; and whether more do where it is louder."""
    sounding = sounding_of(plan, passages, hall)
    yield f"<p>{e(follows_dynamics(sounding))} A section of strings counts as one.</p>"
    rows = [table_row(_SOUNDING, (bars_words(one.bars), one.dynamic, one.players, one.of)) for one in sounding]
    yield f"<table>{_head(_SOUNDING)}<tbody>{''.join(rows)}</tbody></table>"
