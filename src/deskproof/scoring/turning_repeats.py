"""Notes struck again and again on the piano: held once for winds, which cannot tongue them so quickly for long."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof import facts
from deskproof.scoring.records import SAME, Sketch, Strand, Tone
from deskproof.scoring.turning_pace import seconds
from deskproof.scoring.turning_rules import STRUCK_AGAIN


def held_repeats(sketch: Sketch, strand: Strand) -> tuple[Tone, ...]:
    """One held tone for each run of a repeated note that is too quick for a single tongue."""
    least = int(facts.get("turning.again_least").value)
    runs = [run for run in _runs(sketch, strand.tones) if len(run) >= least]
    return tuple(_held(run) for run in runs)


def _runs(sketch: Sketch, tones: Sequence[Tone]) -> Iterator[list[Tone]]:
    """The tones parted wherever the pitch changes or the repetition is slow enough."""
    limit = facts.get("turning.winds_tongue").value / 1000
    run: list[Tone] = []
    for tone in tones:
        if tone.rule != SAME or tone.end == tone.onset:
            continue
        if run and (tone.midi != run[-1].midi or seconds(sketch, run[-1].onset, tone.onset) >= limit):
            yield run
            run = []
        run.append(tone)
    if run:
        yield run


def _held(run: Sequence[Tone]) -> Tone:
    refs = tuple(dict.fromkeys(ref for tone in run for ref in tone.refs))
    return run[0]._replace(end=max(tone.end for tone in run), refs=refs, rule=STRUCK_AGAIN.name)
