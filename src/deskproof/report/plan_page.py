"""The plan of a sketch to read or print: one HTML page with the ruled sheet, the same in tables, what is known of it.

``as_text`` gives the same for the terminal. The page loads and runs nothing; whatever comes from the files is text.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from deskproof.draw.planning_sheet import sheet
from deskproof.draw.sheet_cells import silent_words
from deskproof.planning_notes import (
    CAUTIONS,
    Column,
    bullets,
    called,
    e,
    forces_words,
    loudness_table,
    passage_words,
    players_table,
    table_row,
    why_words,
    wide_table,
)
from deskproof.report.proof import policy, style
from deskproof.scoring.balance import balance_of, follows_dynamics, sounding_of
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import TUNE, Line, Passage, ScoringPlan, Sketch
from deskproof.scoring.said import (
    bars_words,
    is_left_out,
    kind_of,
    left_words,
    listed,
    next_words,
    octave_words,
    scoring_words,
    status_words,
    tacet_words,
    who_chose,
    who_words,
)

__all__ = ["CAUTIONS", "as_text", "called", "forces_words", "page", "paper_for", "passage_words"]

_SHEET = """
svg.sheet { display: block; width: 100%%; min-width: 62rem; height: auto; }
figure.system { margin: .5rem 0 2rem; }
table.plan { width: 100%%; }
table.plan tbody th[colspan] { padding-top: 1rem; font-weight: bold; border-bottom: 1px solid #000; }
table.plan td:last-child { min-width: 0; }
th.unbroken { white-space: nowrap; }
@media print {
  @page { size: %s landscape; margin: 12mm; }
  svg.sheet { min-width: 0; max-height: %smm; }
  figure.system { break-inside: avoid; margin: 0 0 5mm; }
  table.plan { font-size: 9pt; line-height: 1.25; }
  table.plan tbody th[colspan] { padding-top: .6rem; }
  table.plan th, table.plan td { padding-top: .05rem; padding-bottom: .05rem; }
  table.plan tbody.passage { break-inside: avoid; }
}
"""
_A4, _A3 = ("A4", 178), ("A3", 262)
"""Papers, and how high a system may be on each, in mm."""
_MM_WIDE = 273  # of A4 across, between the margins


def page(
    plan: ScoringPlan, passages: Sequence[Passage], hall: Hall, sketch: Sketch, cautions: Sequence[str] = (),
    file: str = "",
) -> str:  # fmt: skip
    """The whole page.

    Parameters
    ----------
    plan : ScoringPlan
    passages : sequence of Passage
        Those of the sketch, one for each of the plan's.
    hall : Hall
    sketch : Sketch
    cautions : sequence of str
        Further ones, of the reading of this sketch.
    file : str
        The name to print for a sketch that has no title; by default its own.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    head = called(sketch, file)
    systems = sheet(plan, passages, hall, sketch)
    css = style() + _SHEET % paper_for(systems)
    body = [
        f"<h1>{e(head)}</h1>",
        *(f"<p>{e(one)}</p>" for one in (forces_words(hall), status_words(plan))),
        "<h2>The sheet</h2>",
        *(f'<figure class="strip system" tabindex="0">{one}</figure>' for one in systems),
        '<p class="quiet">A strip of hatching says which kind of strand a player has; strips of neighbours on one kind '
        "meet. Octaves are counted from the sketch: 8va above, 8vb below; where none "
        "is named it is the sketch's own.</p>",
        "<h2>Who plays what, passage by passage</h2>",
        _lines_table(plan),
        "<h2>How strong each strand is</h2>",
        *loudness_table(plan, passages, hall),
        "<h2>Players and dynamics</h2>",
        *players_table(plan, passages, hall),
        *bullets("Left out", left_words(plan)),
        *bullets("The next best scorings", next_words(plan)),
        *bullets("Who is silent", _silent(plan, hall)),
        *bullets("To keep in mind", [*CAUTIONS, *cautions]),
    ]
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{e(policy(css))}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{e(head)}</title><style>{css}</style></head><body><main>",
            *body,
            "</main></body></html>",
            "",
        ]
    )


def paper_for(systems: Sequence[str]) -> tuple[str, int]:
    """The paper on which the highest system is not made smaller than its width asks, and how high it may be, in mm.

    >>> paper_for(['<svg viewBox="0 0 1050 400">']), paper_for(['<svg viewBox="0 0 1050 990">'])
    (('A4', 178), ('A3', 262))
    """
    boxes = [re.findall(r'viewBox="0 0 (\d+) (\d+)"', one)[0] for one in systems]
    high = max((int(height) / int(width) for width, height in boxes), default=0) * _MM_WIDE
    return _A4 if high <= _A4[1] else _A3


_LINES = tuple(map(Column, ("Strand", "Who", "Octave", "Dynamic", "Why", "Chosen by")))


def _lines_table(plan: ScoringPlan) -> str:
    bodies = []
    for planned in plan.passages:
        head = f'<tr><th scope="rowgroup" colspan="{len(_LINES)}">{e(passage_words(planned))}</th></tr>'
        rows = [table_row(_LINES, _line_cells(line)) for line in planned.lines]
        silent = [
            f'<tr><th scope="row">silent</th><td colspan="{len(_LINES) - 1}">{e(tacet_words(one))}</td></tr>'
            for one in planned.tacet
        ]
        bodies.append(f'<tbody class="passage">{head}{"".join([*rows, *silent])}</tbody>')
    return wide_table("Who plays what", _LINES, bodies)


def _line_cells(line: Line) -> tuple[str, ...]:
    who = ", ".join(" ".join(word for word in (one.chair, one.how) if word) for one in line.who) or "nobody"
    moved = [f"{one.chair} {octave_words(one.octave)}" for one in line.who if one.octave]
    return line.strand, who, listed(moved), line.dynamic, why_words(line), who_chose(line)


def _silent(plan: ScoringPlan, hall: Hall) -> list[str]:
    rows = [f"{bars_words(planned.bars)}: {tacet_words(one)}" for planned in plan.passages for one in planned.tacet]
    always = silent_words(plan, hall)
    return [*rows, *([always] if always else [])]


def as_text(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall, sketch: Sketch, width: int = 0) -> str:
    """The plan for the terminal: a few lines for each passage; ``width`` 0 leaves lines as long as they are.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    balance = balance_of(plan, passages, hall)
    rows = [called(sketch), forces_words(hall), status_words(plan), *left_words(plan)]
    for planned, passage in zip(plan.passages, passages, strict=True):
        tunes = [row.words for row in balance if row.bars == planned.bars and kind_of(row.strand, passage) == TUNE]
        others = [scoring_words(planned, cost, lines) for cost, lines in planned.scorings]
        rows += [
            "",
            passage_words(planned),
            *(f"  {_line_words(line)}" for line in planned.lines if line.who or is_left_out(line)),
            *(f"  {tacet_words(one)}" for one in planned.tacet),
            *(f"  {words}" for words in tunes[:1]),
            *(f"  or: {words}" for words in others),
        ]
    rows += ["", follows_dynamics(sounding_of(plan, passages, hall)), silent_words(plan, hall)]
    return "\n".join(_filled(row, width) for row in rows).rstrip() + "\n"


def _line_words(line: Line) -> str:
    """A line of a passage.

    >>> from deskproof.scoring.records import Who
    >>> _line_words(Line("bass", (Who("cello"), Who("double bass", -1)), "p", why="8 foot with the 16 foot"))
    'bass: cello, double bass 8vb, p (8 foot with the 16 foot)'
    """
    said = ", ".join(
        [*map(who_words, line.who), *([line.dynamic] if line.dynamic else [])] if line.who else ["left out"]
    )
    notes = [word for word in (why_words(line), who_chose(line) if line.fixed else "") if word]
    return f"{line.strand}: {said}" + (f" ({'; '.join(notes)})" if notes else "")


def _filled(row: str, width: int) -> str:
    if not width or len(row) <= width:
        return row
    return textwrap.fill(row, width, subsequent_indent="      ", break_long_words=False, break_on_hyphens=False)
