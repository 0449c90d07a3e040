"""Notes that the damper pedal holds: an orchestra has no pedal, so they are written as long as they sound."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace

from deskproof import facts
from deskproof.scoring.records import BASS, HELD, INNER, SAME, Passage, Sketch, Strand, Tone
from deskproof.scoring.turning_pace import OCTAVE, seconds
from deskproof.scoring.turning_rules import HELD_BY_PEDAL


def held_by_pedal(sketch: Sketch, passage: Passage, strands: Sequence[Strand]) -> tuple[Strand, ...]:
    """The strands with the notes that the pedal holds as long as they sound, within the passage."""
    last = sketch.bars[passage.last]
    harmony = _Harmony(strands)
    return tuple(
        _lengthened(sketch, strand, harmony, last.onset + last.length) if strand.kind in (HELD, BASS, INNER) else strand
        for strand in strands
    )


def _lengthened(sketch: Sketch, strand: Strand, harmony: _Harmony, limit: int) -> Strand:
    least = facts.get("turning.pedal_least").value / 1000
    tones = []
    for k, tone in enumerate(strand.tones):
        following = strand.tones[k + 1].onset if k + 1 < len(strand.tones) else limit
        until = min(_rings(sketch, tone), following, limit)
        until = harmony.leaves(tone, until)
        if tone.rule == SAME and tone.end > tone.onset and seconds(sketch, tone.end, until) >= least:
            tone = tone._replace(end=until, rule=HELD_BY_PEDAL.name)
        tones.append(tone)
    return replace(strand, tones=tuple(tones)) if tuple(tones) != strand.tones else strand


def _rings(sketch: Sketch, tone: Tone) -> int:
    """Where a tone stops to sound under the pedal."""
    return max(sketch.notes[ref].rings for ref in tone.refs)


class _Harmony:
    """Where the bass takes another note, and what is struck between: there a held note may be left by its harmony."""

    def __init__(self, strands: Sequence[Strand]) -> None:
        tones = sorted((t.onset, t.midi % OCTAVE) for strand in strands if strand.kind == BASS for t in strand.tones)
        self.changes: list[int] = []
        before = None
        for onset, class_ in tones:
            if class_ != before:
                self.changes.append(onset)
            before = class_
        struck = sorted((t.onset, t.midi % OCTAVE) for strand in strands for t in strand.tones if t.end > t.onset)
        self.onsets = [onset for onset, _ in struck]
        self.classes = [class_ for _, class_ in struck]

    def leaves(self, tone: Tone, until: int) -> int:
        """Where the harmony leaves a tone before a tick; that tick if it does not.

        It does where the bass takes another note and the tone's own is not struck again over it in any octave.
        """
        for k in range(bisect_right(self.changes, tone.onset), len(self.changes)):
            start = self.changes[k]
            if start >= until:
                break
            end = self.changes[k + 1] if k + 1 < len(self.changes) else until
            low, high = bisect_right(self.onsets, start - 1), bisect_right(self.onsets, min(end, until) - 1)
            if start >= tone.end and tone.midi % OCTAVE not in self.classes[low:high]:
                return start
        return until
