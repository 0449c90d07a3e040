"""Chords that are rolled on the piano: for sections they begin together."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace

from deskproof import facts
from deskproof.scoring.records import FIGURE, SAME, Sketch, Strand, Tone
from deskproof.scoring.turning_pace import is_played, seconds
from deskproof.scoring.turning_rules import ROLLED_CHORD

Spot = tuple[int, int]
"""A tone: ordinal of its strand, ordinal in the strand."""


def rolled_together(sketch: Sketch, strands: Sequence[Strand]) -> tuple[Strand, ...]:
    """The strands with the notes of each rolled chord at its first onset; grace notes and figuration stay."""
    spots = [
        (tone, (s, t))
        for s, strand in enumerate(strands)
        if strand.kind != FIGURE
        for t, tone in enumerate(strand.tones)
        if _may_be_rolled(sketch, tone)
    ]
    spots.sort(key=lambda row: (row[0].onset, row[0].midi))
    onsets = sorted({tone.onset for strand in strands for tone in strand.tones})
    moved: dict[Spot, int] = {}
    for chord in _chords(sketch, spots):
        first, last = chord[0][0].onset, chord[-1][0].onset
        together = min(tone.end for tone, _ in chord) - last
        alone = _stands_alone(sketch, onsets, first, last)
        if 0 < last - first <= together and alone and all(_free(strands[s], t, first) for _, (s, t) in chord):
            moved.update((spot, first) for _, spot in chord)
    return tuple(_with(strand, s, moved) for s, strand in enumerate(strands))


def _may_be_rolled(sketch: Sketch, tone: Tone) -> bool:
    if tone.rule != SAME or tone.end == tone.onset:
        return False
    return is_played(sketch) or any(mark.kind == "arpeggiate" for mark in sketch.notes[tone.refs[0]].marks)


def _chords(sketch: Sketch, spots: Sequence[tuple[Tone, Spot]]) -> Iterator[list[tuple[Tone, Spot]]]:
    """Runs upwards of tones in different strands, each of them still held when the last begins."""
    step = _step_s()
    least = int(facts.get("turning.roll_least").value)
    run: list[tuple[Tone, Spot]] = []
    for row in [*spots, None]:
        if row is not None and run:
            tone, (strand, _) = row
            follows = (
                tone.midi > run[-1][0].midi
                and seconds(sketch, run[-1][0].onset, tone.onset) <= step
                and all(before.end > tone.onset and strand != s for before, (s, _) in run)
            )
            if follows:
                run.append(row)
                continue
        if len(run) >= least:
            yield run
        run = [row] if row is not None else []


def _step_s() -> float:
    return float(facts.get("turning.roll_step").value) / 1000


def _stands_alone(sketch: Sketch, onsets: Sequence[int], first: int, last: int) -> bool:
    """Whether nothing else begins close before the first note of a chord or close after its last: no figure runs on."""
    before, after = bisect_left(onsets, first) - 1, bisect_right(onsets, last)
    return (before < 0 or seconds(sketch, onsets[before], first) > _step_s()) and (
        after == len(onsets) or seconds(sketch, last, onsets[after]) > _step_s()
    )


def _free(strand: Strand, at: int, onset: int) -> bool:
    """Whether a tone can begin so much sooner without meeting the one before it."""
    return at == 0 or strand.tones[at - 1].onset < onset


def _with(strand: Strand, number: int, moved: dict[Spot, int]) -> Strand:
    if not any(s == number for s, _ in moved):
        return strand
    tones = tuple(
        tone._replace(onset=moved[number, t], rule=ROLLED_CHORD.name)
        if moved.get((number, t), tone.onset) != tone.onset
        else tone
        for t, tone in enumerate(strand.tones)
    )
    return replace(strand, tones=tones)
