"""What each chair plays: the tones of its strands at its octaves, no two of one strand at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.colours import drum_tones
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import OCTAVE, SAME, Chair, Line, Passage, ScoringPlan, Sketch, Tone, Who

DRUMS = "timpani"
_ROLL = 3  # strokes through the stem


class Played(NamedTuple):
    """One tone as a chair plays it: ``tone`` at its sounding pitch, ``rule`` as in the contract.

    ``line`` names the plan's line ("1-8/tune"), ``passage`` its ordinal; ``layer`` counts the strands that the chair
    has in the passage from the top; ``staff`` is the sketch's staff whose signs it follows; ``how`` as in the plan.
    """

    tone: Tone
    rule: str
    chair: str
    line: str
    passage: int
    layer: int
    staff: int
    how: str
    dynamic: str


@dataclass(frozen=True)
class Cast:
    """Everything that is played, by chair in order of onset; ``left_out``: ordinals of sketch notes, and why."""

    by_chair: dict[str, tuple[Played, ...]]
    left_out: tuple[tuple[int, str], ...]


def cast(sketch: Sketch, passages: Sequence[Passage], plan: ScoringPlan, hall: Hall) -> Cast:
    """Give every chair the tones of its lines.

    A tone that a chair does not have is not given to it; a sketch note that nobody has is left out, with the reason
    that the plan gives for its strand.
    """
    found: dict[str, list[Played]] = {chair.name: [] for chair in hall.chairs}
    why: dict[int, str] = {}
    for k, (passage, planned) in enumerate(zip(passages, plan.passages, strict=True)):
        layers: Counter[str] = Counter()
        said = {line.strand: line.why for line in planned.lines if not line.who}
        for line in _from_the_top(passage, planned.lines):
            strand = passage.strand(line.strand)
            if strand is None:
                continue
            for who in line.who:
                chair = hall.chair(who.chair)
                if chair is None:
                    continue
                own: Iterable[Tone] = _given(strand.tones, chair, who)
                if chair.family == DRUMS:
                    drums = drum_tones([tone.higher(who.octave) for tone in strand.tones], sketch, hall, chair.seat)
                    own = (_rolled(tone, sketch.grid) for tone in drums)
                staff = _staff(strand.tones, sketch)
                name = f"{planned.bars}/{line.strand}"
                layer = layers[chair.name]
                found[chair.name] += [
                    Played(tone, _rule(tone, who), chair.name, name, k, layer, staff, who.how, line.dynamic)
                    for tone in own
                ]
                layers[chair.name] += 1
        for strand in passage.strands:
            reason = said.get(strand.id, "") or f"nobody in the plan has the {strand.id}"
            why.update({ref: reason for tone in strand.tones for ref in tone.refs})
    by_chair = {name: tuple(_in_order(rows)) for name, rows in found.items() if rows}
    covered = {ref for rows in by_chair.values() for row in rows for ref in row.tone.refs}
    missing = [
        (i, why.get(i, "it stands in no strand")) for i in range(len(sketch.notes)) if i not in covered
    ]
    return Cast(by_chair, tuple(missing))


def _from_the_top(passage: Passage, lines: Sequence[Line]) -> list[Line]:
    order = {strand.id: -(strand.low + strand.high) for strand in passage.strands if strand.tones}
    return sorted(lines, key=lambda line: order.get(line.strand, 0))


def _rule(tone: Tone, who: Who) -> str:
    if tone.rule != SAME:
        return tone.rule
    return OCTAVE if who.octave else SAME


def _given(tones: Iterable[Tone], chair: Chair, who: Who) -> Iterator[Tone]:
    """The tones at the chair's octave, those that it has."""
    moved = (tone.higher(who.octave) for tone in tones)
    return (tone for tone in moved if chair.low <= tone.midi <= chair.high)


def _rolled(tone: Tone, grid: int) -> Tone:
    """A drum holds a note by a roll."""
    is_long = tone.end - tone.onset >= facts.get("full_score.rolled_from").value * grid
    return tone._replace(tremolo=_ROLL) if is_long and not tone.tremolo else tone


def _staff(tones: Sequence[Tone], sketch: Sketch) -> int:
    counts = Counter(sketch.notes[tone.refs[0]].staff for tone in tones)
    return counts.most_common(1)[0][0] if counts else 0


def _in_order(rows: list[Played]) -> Iterator[Played]:
    """In order of onset; of one layer each note ends where the next begins."""
    rows.sort(key=lambda row: (row.tone.onset, row.tone.end > row.tone.onset, row.layer, -row.tone.midi))
    by_layer: dict[int, list[int]] = {}
    for i, row in enumerate(rows):
        by_layer.setdefault(row.layer, []).append(i)
    for own in by_layer.values():
        for i, j in pairwise(own):
            one, two = rows[i].tone, rows[j].tone
            if one.onset < two.onset < one.end:
                rows[i] = rows[i]._replace(tone=one._replace(end=two.onset))
    yield from rows
