"""Who has the tune and who the bass, measured on string quartets and songs: ``python benchmarks/strands.py``.

``--files`` lists each movement. A quartet is written on two staves (both violins; viola and cello), all in one voice,
so that nothing but the notes and slurs tells the parts. What is right is taken from the parts, which the code does
not see:

- bass: the notes of the cello. Weakness: the viola is the true bass where the cello rests, and a cello may sing.
- tune, first rule ("melodic part"): in each four bars, counted from the beginning, the part that does most: its
  different pitches plus twice its different note lengths, less its repeated notes; the higher part where two are equal.
  Weakness: a running accompaniment may win over a calm tune, and a tune that changes hands between is cut late.
- tune, second rule ("violin 1"): the first violin in each bar in which it has two different pitches or more; other
  bars are not counted. Weakness: it may accompany; the highest note is nearly always right by this rule.

Songs: the singer's staff is laid on top of the right hand's staff, in one voice. What is right is the singer's notes,
in the bars in which there is singing. Weakness: a piano that doubles the singer is counted as wrong.

Each tune is set against "the highest note" of each onset, each bass against "the lowest note". A note that another
part has as well (same onset, same pitch) is right whichever of the two is named. Rows: movements that the facts were
chosen on (odd SHA-256 of the name, and all songs), and the others, which are what counts. No figure for songs is of
songs that the facts were not chosen on. The figures of the others were looked at, though not fitted, on the way.
"""

from __future__ import annotations

import hashlib
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from pathlib import Path
from statistics import mean

import music21

from deskproof.scoring.phrases import phrases_of
from deskproof.scoring.records import BASS, TUNE, Passage, Sketch, SketchNote
from deskproof.scoring.sketch import read
from deskproof.scoring.strands import strands_of

CORPUS = Path(music21.__file__).parent / "corpus"
SHARED = Path(__file__).resolve().parents[2] / "shared" / "scores"
SONGS = (
    "abrams-crazy-jane",
    "brahms-o-komme-op58-4",
    "faure-en-sourdine",
    "jaell-petits-oiseaux",
    "viardot-belle-yoli",
)
QUARTETS = ("haydn/opus1no1", "haydn/opus74no1", "mozart/k155", "mozart/k156", "mozart/k458", "mozart/k80", "beethoven")

BLOCK = 4  # bars in which the first rule keeps to one part
Notes = set[int]  # ordinals in Sketch.notes


@dataclass(frozen=True)
class Merged:
    """A sketch made of parts: of each note of ``sketch`` the part that it is from, counted from the top."""

    name: str
    sketch: Sketch
    part: tuple[int, ...]

    @property
    def learned(self) -> bool:
        """Whether the facts were chosen on it."""
        return max(self.part) == 2 or hashlib.sha256(self.name.encode()).digest()[-1] % 2 == 1


def merged(path: Path, name: str, staves: Sequence[int]) -> Merged:
    """The sketch of a file with its staves laid on ``staves`` (by old number), all in voice "1"."""
    whole = read(path)
    notes = [
        (note._replace(staff=staves[note.staff], voice="1", ref=f"{k}", tied=()), note.staff)
        for k, note in enumerate(whole.notes)
    ]
    notes.sort(key=lambda row: (row[0].onset, -row[0].grace, row[0].staff, -row[0].midi))
    said = tuple(sign._replace(staff=staves[sign.staff]) for sign in whole.said)
    sketch = Sketch(whole.score, name, whole.grid, whole.bars, tuple(row[0] for row in notes), said, max(staves) + 1)
    return Merged(name, sketch, tuple(row[1] for row in notes))


def quartets() -> Iterator[Merged]:
    """All movements for four parts of these folders, and the shared one."""
    paths = [path for folder in QUARTETS for path in sorted((CORPUS / folder).rglob("*.mxl"))]
    shared = SHARED / "schubert-quartettsatz-d703.mxl"
    for path in [*paths, *([shared] if shared.exists() else [])]:
        try:
            if read(path).staves != 4:
                continue
        except Exception as error:
            print(f"left out: {path.name}: {error}", file=sys.stderr)
            continue
        yield merged(path, "/".join(path.parts[-3:]), (0, 0, 1, 1))


def songs() -> Iterator[Merged]:
    """The songs: the singer laid on the right hand."""
    paths = [*(SHARED / f"{name}.mxl" for name in SONGS), CORPUS / "schubert/Lindenbaum.xml"]
    for path in paths:
        if path.exists() and read(path).staves == 3:
            yield merged(path, path.stem, (0, 0, 1))


def melodic_part(piece: Merged) -> Notes:
    """First rule for the tune; see above."""
    blocks: dict[int, dict[int, list[int]]] = {}
    for (bar, part), ks in _by_part(piece).items():
        blocks.setdefault(bar // BLOCK, {}).setdefault(part, []).extend(ks)
    found: Notes = set()
    for parts in blocks.values():

        def does(part: int, parts: dict[int, list[int]] = parts) -> tuple[int, int]:
            notes = [piece.sketch.notes[k] for k in sorted(parts[part])]
            pitches = len({n.midi for n in notes})
            lengths = len({n.end - n.onset for n in notes})
            repeated = sum(one.midi == other.midi for one, other in pairwise(notes))
            return pitches + 2 * lengths - repeated, -part

        found.update(parts[max(parts, key=does)])
    return found


def first_violin(piece: Merged) -> tuple[Notes, Notes]:
    """Second rule: the first violin's notes where it moves, and all notes of these bars."""
    bars = _by_part(piece)
    moving = {
        bar for (bar, part), ks in bars.items() if part == 0 and len({piece.sketch.notes[k].midi for k in ks}) > 1
    }
    inside = {k for k, note in enumerate(piece.sketch.notes) if note.bar in moving}
    return {k for k in inside if piece.part[k] == 0}, inside


def singer(piece: Merged) -> tuple[Notes, Notes]:
    """The singer's notes, and all notes of the bars in which there is singing."""
    sung = {k for k, part in enumerate(piece.part) if part == 0}
    bars = {piece.sketch.notes[k].bar for k in sung}
    return sung, {k for k, note in enumerate(piece.sketch.notes) if note.bar in bars}


def cello(piece: Merged) -> Notes:
    """The notes of the lowest part."""
    lowest = max(piece.part)
    return {k for k, part in enumerate(piece.part) if part == lowest}


def _by_part(piece: Merged) -> dict[tuple[int, int], list[int]]:
    found: dict[tuple[int, int], list[int]] = {}
    for k, note in enumerate(piece.sketch.notes):
        found.setdefault((note.bar, piece.part[k]), []).append(k)
    return found


def outermost(sketch: Sketch, pick: Callable[..., int]) -> Notes:
    """Of the notes at each onset the highest or lowest (``pick``: max or min), if nothing that sounds lies beyond."""
    found: Notes = set()
    sounding: list[SketchNote] = []
    for onset, group in groupby(range(len(sketch.notes)), key=lambda k: sketch.notes[k].onset):
        chord = list(group)
        sounding = [n for n in sounding if n.end > onset] + [sketch.notes[k] for k in chord]
        edge = pick(n.midi for n in sounding)
        found |= {k for k in chord if sketch.notes[k].midi == edge}
    return found


def named(passages: Sequence[Passage], name: str) -> Notes:
    """The notes of the strands of this name; what doubles the tune or bass has another name."""
    return {
        ref for passage in passages for strand in passage.strands if strand.id == name for tone in strand.tones
        for ref in tone.refs
    }  # fmt: skip


def f1(found: Notes, true: Notes, sketch: Sketch, inside: Notes | None = None) -> float:
    """Harmonic mean of precision and recall, a unison counted as one note."""

    def plain(notes: Notes) -> set[tuple[int, int]]:
        kept = notes if inside is None else notes & inside
        return {(sketch.notes[k].onset, sketch.notes[k].midi) for k in kept}

    one, other = plain(found), plain(true)
    return 2 * len(one & other) / (len(one) + len(other)) if one or other else 1.0


@dataclass
class Row:
    """The figures of one movement, by name of the column."""

    piece: str
    learned: bool
    seconds: float
    bars: int
    figures: dict[str, float] = field(default_factory=dict)


def measure(piece: Merged) -> Row:
    """All figures of a quartet movement or song."""
    sketch = piece.sketch
    began = time.process_time()
    passages = strands_of(sketch, phrases_of(sketch))
    row = Row(piece.name, piece.learned, time.process_time() - began, len(sketch.bars))
    tune, top = named(passages, TUNE), outermost(sketch, max)
    if max(piece.part) == 2:
        true, inside = singer(piece)
        row.figures |= {"singer": f1(tune, true, sketch, inside), "- highest": f1(top, true, sketch, inside)}
        return row
    violin, moving = first_violin(piece)
    melodic = melodic_part(piece)
    row.figures |= {
        "melodic part": f1(tune, melodic, sketch), "- highest": f1(top, melodic, sketch),
        "violin 1": f1(tune, violin, sketch, moving), "- highest ": f1(top, violin, sketch, moving),
        "bass": f1(named(passages, BASS), cello(piece), sketch),
        "- lowest": f1(outermost(sketch, min), cello(piece), sketch),
    }  # fmt: skip
    return row


def table(rows: Sequence[Row], each: bool) -> str:
    """The mean figures of rows as a table in Markdown, with each movement if wanted."""
    columns = list(rows[0].figures)
    lines = [f"| movement | bars | {' | '.join(columns)} | s |", "|---" * (len(columns) + 3) + "|"]
    groups = [("chosen on", [r for r in rows if r.learned]), ("not chosen on", [r for r in rows if not r.learned])]
    for name, some in [*([(r.piece, [r]) for r in rows] if each else []), *groups, ("all", list(rows))]:
        if some:
            figures = " | ".join(f"{mean(r.figures[c] for r in some):.3f}" for c in columns)
            label = name if len(some) == 1 and each else f"{name}: mean of {len(some)}"
            lines.append(f"| {label} | {sum(r.bars for r in some)} | {figures} | {sum(r.seconds for r in some):.2f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    for title, pieces in (("string quartets", quartets()), ("songs", songs())):
        found = [measure(piece) for piece in pieces]
        if found:
            print(f"{title}\n{table(found, '--files' in sys.argv)}\n")
