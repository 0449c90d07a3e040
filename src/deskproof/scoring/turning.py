"""Piano writing turned into orchestra writing, by rules that each have a name.

Some rules change a strand: its tones are replaced, and every note of the sketch stays in exactly one of them. Others
make strands beside it, which name it in ``of``: they may be left away, since the strand itself is still there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from deskproof.scoring.records import FIGURE, HELD, Passage, Sketch, Strand, Tone
from deskproof.scoring.turning_chords import Harmony, harmonies, held_voices
from deskproof.scoring.turning_pace import free_name
from deskproof.scoring.turning_pedal import held_by_pedal
from deskproof.scoring.turning_repeats import held_repeats
from deskproof.scoring.turning_rolls import rolled_together
from deskproof.scoring.turning_rules import BROKEN_CHORD, RULES, STRUCK_AGAIN, Turning, TurningError, rule_named
from deskproof.scoring.turning_tremolo import in_tremolo

__all__ = ["RULES", "Turning", "TurningError", "rule_named", "turned"]


def turned(sketch: Sketch, passage: Passage) -> Passage:
    """A passage whose strands hold the sketch's own notes, with these turned into what an orchestra would play.

    The strands that a rule makes stand right after the one that they are taken from.
    """
    strands = rolled_together(sketch, passage.strands)
    strands = in_tremolo(sketch, strands)
    strands = held_by_pedal(sketch, passage, strands)
    return replace(passage, strands=tuple(_with_made(sketch, replace(passage, strands=strands))))


def _with_made(sketch: Sketch, passage: Passage) -> Iterator[Strand]:
    """The strands, each followed by those that are made of it."""
    names = {strand.id for strand in passage.strands}
    known: list[Harmony] = []
    for strand in passage.strands:
        yield strand
        if strand.of:
            continue
        if strand.kind == FIGURE:
            new = [one for one in harmonies(sketch, passage, strand) if not _is_known(one, known)]
            known += new
            yield from _made(held_voices(new), strand, BROKEN_CHORD.name, names)
        yield from _made([held_repeats(sketch, strand)], strand, STRUCK_AGAIN.name, names)


def _is_known(harmony: Harmony, known: Sequence[Harmony]) -> bool:
    """Whether another figure has given the same notes for most of that time."""
    shared = sum(
        max(0, min(one.end, harmony.end) - max(one.start, harmony.start))
        for one in known
        if harmony.classes <= one.classes
    )
    return 2 * shared > harmony.end - harmony.start


def _made(voices: Sequence[Sequence[Tone]], strand: Strand, rule: str, names: set[str]) -> Iterator[Strand]:
    """Strands of held harmony for some voices, none for an empty one."""
    for tones in voices:
        if tones:
            name = free_name(HELD, names)
            names.add(name)
            yield Strand(name, HELD, tuple(tones), strand.confidence, strand.id, rule)
