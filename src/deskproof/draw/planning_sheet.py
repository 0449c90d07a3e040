"""The plan of a sketch on a ruled sheet, as an orchestrator pencils it: passages across, instruments down, words in
the cells, and beside the words a strip of hatching for the kind of strand.

The strips run down the sheet, so those of neighbours on one strand meet: one sees who goes together in a passage.
Black on white; nothing is filled. A column is as wide as its bars are many, and never narrower than its words.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from deskproof.draw.sheet_cells import LEFT_OUT, Cell, Entry, Row, rows_of, silent_words
from deskproof.draw.sheet_columns import LEFT, PAD, STRIP, WIDTH, WORDS_FROM, Column, systems_of
from deskproof.draw.sheet_hatching import hatching
from deskproof.draw.sheet_words import Word, line_width, narrowest, plain, text_width, wrapped
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import KINDS, Passage, PlannedPassage, ScoringPlan, Sketch
from deskproof.scoring.said import bars_words, is_left_out, who_words

TEXT, LINE = 10.5, 12.5
HEAD, TICK = 50.0, 4.0
LEAST = 56.0  # of a column
HAIR, RULE, STRONG, THICK = 0.35, 0.6, 1.2, 2.0
FONT = "Georgia, 'Times New Roman', serif"
MOST_LINES = 2  # of one entry, where its column may still be widened
REASON_LINES = 3


def sheet(plan: ScoringPlan, passages: Sequence[Passage], hall: Hall, sketch: Sketch) -> list[str]:
    """The plan as ``svg`` elements, one a system, each with all instruments that ever play.

    Parameters
    ----------
    plan : ScoringPlan
    passages : sequence of Passage
        Those of the sketch, one for each of the plan's.
    hall : Hall
    sketch : Sketch
        Gives the title.

    Raises
    ------
    ValueError
        If there are not as many passages as the plan has.
    """
    rows = rows_of(plan, passages, hall)
    systems = systems_of([_least(plan, passages, rows, k) for k in range(len(passages))], passages)
    silent = silent_words(plan, hall)
    return [
        _System(plan, passages, columns, rows, silent, sketch.score.title, k).svg() for k, columns in enumerate(systems)
    ]


def _least(plan: ScoringPlan, passages: Sequence[Passage], rows: Sequence[Row], k: int) -> float:
    """How wide the words of a passage want its column."""
    planned = plan.passages[k]
    head = [line_width(words, TEXT) for words in _head(planned, passages[k])]
    cells = [_widest(row.cells[k]) for row in rows]
    return max(LEAST, *(PAD * 2 + width for width in head), *(WORDS_FROM + PAD + width for width in cells))


def _widest(cell: Cell) -> float:
    if cell.entries:
        return max(narrowest(entry.words, MOST_LINES, TEXT) for entry in cell.entries)
    return narrowest((Word("–"), *cell.why), REASON_LINES, TEXT)


def _head(planned: PlannedPassage, passage: Passage) -> tuple[tuple[Word, ...], tuple[Word, ...]]:
    """The two lines of words over a passage: its bars; its dynamic and weight."""
    bars = bars_words(planned.bars).partition(" ")[2]
    weight = planned.weight or passage.weight
    dynamic = planned.dynamic or passage.dynamic
    return (Word(bars),), (*(Word(one, True) for one in dynamic.split()), *plain(weight))


@dataclass(frozen=True)
class _System:
    """One system: some columns, all rows, and under them who is silent and what the hatching says."""

    plan: ScoringPlan
    passages: Sequence[Passage]
    columns: Sequence[Column]
    rows: Sequence[Row]
    silent: str
    title: str
    number: int

    @property
    def right(self) -> float:
        return self.columns[-1].x + self.columns[-1].width

    def svg(self) -> str:
        """The whole picture."""
        body: list[str] = []
        y = HEAD
        for k, row in enumerate(self.rows):
            family = not k or self.rows[k - 1].family != row.family
            body.append(_rule(0, y, self.right, STRONG if family else HAIR))
            height = self.height(row)
            body += self.row(row, y, height)
            y += height
        body.append(_rule(0, y, self.right, STRONG))
        body += [f'<path d="M{column.x:.1f} {HEAD - 16:g}V{y:.1f}" {_stroke(RULE)}/>' for column in self.columns]
        body.append(f'<path d="M{self.right:.1f} {HEAD - 16:g}V{y:.1f}" {_stroke(STRONG)}/>')
        for column in self.columns:
            body += self.head(column)
        y = self.foot(body, y)
        name = f"sheet-{self.number + 1}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="sheet" role="img" viewBox="0 0 {WIDTH:.0f} {y:.0f}" '
            f'aria-labelledby="{name}-title {name}-words" font-family="{FONT}" font-size="{TEXT}">'
            f'<title id="{name}-title">{html.escape(self.called())}</title>'
            f'<desc id="{name}-words">{html.escape(self.in_words())}</desc>{"".join(body)}</svg>'
        )

    def called(self) -> str:
        """The name of the picture."""
        first = self.plan.passages[self.columns[0].place].bars.partition("-")[0]
        last = self.plan.passages[self.columns[-1].place].bars.rpartition("-")[2]
        of = f" of “{self.title}”" if self.title else ""
        return f"Planning sheet{of}, {bars_words(f'{first}-{last}')}"

    def in_words(self) -> str:
        """What the picture says, for those who do not see it."""
        said = []
        for column in self.columns:
            planned = self.plan.passages[column.place]
            lines = [
                f"{line.strand}: {', '.join(map(who_words, line.who)) or 'nobody'}"
                for line in planned.lines
                if line.who or is_left_out(line)
            ]
            said.append(f"{bars_words(planned.bars).capitalize()}: {'; '.join(lines)}.")
        return " ".join(said)

    def head(self, column: Column) -> Iterator[str]:
        """Over a passage: rehearsal letter, bars, dynamic and weight; a tick for each bar on the upper rule."""
        planned = self.plan.passages[column.place]
        x = column.x + PAD
        bars, loud = _head(planned, self.passages[column.place])
        if planned.mark:
            wide = text_width(planned.mark, TEXT + 1, True) + 2 * PAD
            yield f'<rect x="{column.x:.1f}" y="1" width="{wide:.1f}" height="15" fill="none" {_stroke(RULE)}/>'
            yield (
                f'<text class="mark" x="{x:.1f}" y="12.5" font-size="{TEXT + 1}" font-weight="bold">'
                f"{html.escape(planned.mark)}</text>"
            )
        yield _line(bars, x, 29, "bars")
        yield _line(loud, x, 42, "loud")
        ticks = (column.x + column.width * k / column.bars for k in range(1, column.bars))
        d = "".join(f"M{at:.1f} {HEAD:g}v-{TICK:g}" for at in ticks)
        if d:
            yield f'<path d="{d}" fill="none" {_stroke(RULE)}/>'

    def height(self, row: Row) -> float:
        """As high as its fullest cell in this system."""
        cells = [sum(h for _, h in _lines(row.cells[c.place], c.for_words)) for c in self.columns]
        return max(_high(len(wrapped(plain(row.name), LEFT - PAD, TEXT))), *cells)

    def row(self, row: Row, y: float, height: float) -> Iterator[str]:
        """The name of a chair and its cells."""
        yield '<g class="name">'
        for k, words in enumerate(wrapped(plain(row.name), LEFT - PAD, TEXT)):
            yield _line(words, 0, y + (k + 1) * LINE, "")
        yield "</g>"
        for column in self.columns:
            chair = html.escape(row.name, quote=True)
            yield f'<g class="cell" data-passage="{column.place}" data-chair="{chair}">'
            if row.name != LEFT_OUT or row.cells[column.place].entries:
                yield from self.cell(row.cells[column.place], column, y, height)
            yield "</g>"

    def cell(self, cell: Cell, column: Column, y: float, height: float) -> Iterator[str]:
        """The words of a cell; beside those of each entry its strip, the last down to the rule below."""
        x = column.x + WORDS_FROM
        if not cell.entries:
            yield f'<path class="dash" d="M{column.x + PAD:.1f} {y + LINE - 3:.1f}h{STRIP - 2:g}" {_stroke(RULE)}/>'
            for k, words in enumerate(wrapped(cell.why, column.for_words, TEXT)):
                yield _line(words, x, y + (k + 1) * LINE, "why")
            return
        own = _lines(cell, column.for_words)
        bottom = y + height
        for k, (entry, (lines, high)) in enumerate(zip(cell.entries, own, strict=True)):
            deep = bottom - y if k == len(own) - 1 else high - 1
            yield hatching(entry.kind, column.x + 1.5, y + 1, STRIP, deep - 1)
            for j, words in enumerate(lines):
                yield _line(words, x, y + (j + 1) * LINE, "")
            if entry.fixed:
                under = y + len(lines) * LINE + PAD / 2 + 1
                yield _rule(x, under, x + min(line_width(lines[-1], TEXT), column.for_words), THICK, "fixed")
            y += high

    def foot(self, body: list[str], y: float) -> float:
        """Under the rows: who is silent throughout, and the key to the hatching. Where the picture ends is returned."""
        if self.silent:
            for words in wrapped(plain(self.silent), WIDTH - PAD, TEXT):
                y += LINE + 1
                body.append(_line(words, 0, y, "silent"))
        y += 2 * PAD
        return self.key(body, y)

    def key(self, body: list[str], y: float) -> float:
        """The patterns that occur, with the whole names of the strands; what a thick rule means."""
        entries = [entry for row in self.rows for cell in row.cells for entry in cell.entries]
        x = 0.0
        for kind in KINDS:
            if not any(entry.kind == kind for entry in entries):
                continue
            wide = 2 * STRIP + PAD + text_width(kind, TEXT)
            if x + wide > WIDTH:
                x, y = 0.0, y + LINE + PAD
            body.append(f'<g class="key" data-kind="{kind}">{hatching(kind, x, y, 2 * STRIP, LINE)}</g>')
            body.append(f'<text x="{x + 2 * STRIP + PAD:.1f}" y="{y + TEXT - 1:.1f}">{kind}</text>')
            x += wide + 3 * PAD
        if any(entry.fixed for entry in entries):
            said = "fixed by the composer"
            wide = 2 * STRIP + PAD + text_width(said, TEXT)
            if x + wide > WIDTH:
                x, y = 0.0, y + LINE + PAD
            body.append(_rule(x, y + LINE - 2, x + 2 * STRIP, THICK, "fixed"))
            body.append(f'<text x="{x + 2 * STRIP + PAD:.1f}" y="{y + TEXT - 1:.1f}">{said}</text>')
        return y + LINE + PAD


def _lines(cell: Cell, width: float) -> list[tuple[list[tuple[Word, ...]], float]]:
    """The lines of each entry of a cell, or of the reason of its silence, and the height that they take."""
    if not cell.entries:
        lines = wrapped(cell.why, width, TEXT)
        return [(lines, _high(len(lines)))]
    return [_entry_lines(entry, width) for entry in cell.entries]


def _entry_lines(entry: Entry, width: float) -> tuple[list[tuple[Word, ...]], float]:
    lines = wrapped(entry.words, width, TEXT)
    return lines, _high(len(lines)) + entry.fixed * THICK


def _high(lines: int) -> float:
    return max(lines, 1) * LINE + PAD + 1


def _stroke(weight: float) -> str:
    return f'stroke="currentColor" stroke-width="{weight}"'


def _rule(x0: float, y: float, x1: float, weight: float, class_: str = "") -> str:
    named = f'class="{class_}" ' if class_ else ""
    return f'<path {named}d="M{x0:.1f} {y:.1f}H{x1:.1f}" {_stroke(weight)}/>'


def _line(words: Sequence[Word], x: float, y: float, class_: str) -> str:
    """One line of words; a dynamic in bold and slanting."""
    if not words:
        return ""
    runs = [
        f'<tspan font-weight="bold" font-style="italic">{html.escape(one.text)}</tspan>'
        if one.strong
        else html.escape(one.text)
        for one in words
    ]
    named = f' class="{class_}"' if class_ else ""
    return f'<text{named} x="{x:.1f}" y="{y:.1f}">{" ".join(runs)}</text>'
