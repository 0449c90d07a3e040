"""Two notes, or two chords, that alternate: on the piano one after the other, in the orchestra together in tremolo."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import log2
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.records import COUNTER, SAME, TUNE, Sketch, Strand, Tone
from deskproof.scoring.turning_pace import free_name, seconds
from deskproof.scoring.turning_rules import OCTAVE_TREMOLO


class _Run(NamedTuple):
    """Where two pitches alternate: ordinals of the first tone and of the one after the last."""

    first: int
    after: int


class _Change(NamedTuple):
    """What becomes of a strand: ordinals of the tones that go, and the tones that come for them."""

    gone: set[int]
    come: list[Tone]


def in_tremolo(sketch: Sketch, strands: Sequence[Strand]) -> tuple[Strand, ...]:
    """The strands with tremolo tones where two pitches or chords alternate; every replaced note is in one of them.

    A strand keeps the higher of its two pitches; the lower one goes to a strand of the same kind that is made for it.
    """
    changes = [_Change(set(), []) for _ in strands]
    _by_mark(sketch, strands, changes)
    for s, strand in enumerate(strands):
        for run in _runs(sketch, strand.tones):
            _by_run(sketch, strands, changes, s, run)
    found: list[Strand] = []
    names = {strand.id for strand in strands}
    for strand, change in zip(strands, changes, strict=True):
        for row in _placed(strand, change):
            name = strand.id if row[0] else free_name(strand.kind, names)
            names.add(name)
            found.append(replace(strand, tones=row[1], id=name) if change.come else strand)
    return tuple(found)


def _placed(strand: Strand, change: _Change) -> Iterator[tuple[bool, tuple[Tone, ...]]]:
    """The tones of a strand after a change, and of the strands for what begins together in it; True for its own."""
    kept = [tone for k, tone in enumerate(strand.tones) if k not in change.gone]
    rows: list[list[Tone]] = [kept]
    for tone in sorted(change.come, key=lambda one: (one.onset, -one.midi)):
        row = next((row for row in rows if all(other.onset != tone.onset or _is_grace(other) for other in row)), None)
        if row is None:
            rows.append(row := [])
        row.append(tone)
    for k, row in enumerate(rows):
        yield k == 0, tuple(sorted(row, key=lambda one: one.onset))


def _is_grace(tone: Tone) -> bool:
    return tone.end == tone.onset


def _by_run(sketch: Sketch, strands: Sequence[Strand], changes: list[_Change], s: int, run: _Run) -> None:
    """Replace a run of two alternating pitches, and what other strands repeat in the same rhythm: chords alternate."""
    if changes[s].gone & set(range(*run)):
        return
    tones = strands[s].tones[run.first : run.after]
    start, end = tones[0].onset, _end(sketch, strands[s].tones, run)
    strokes = _strokes(sketch, tones)
    _replace(changes[s], range(*run), tones, start, end, strokes)
    for other, strand in enumerate(strands):
        if other != s and strand.kind not in (TUNE, COUNTER):
            places = [k for k, tone in enumerate(strand.tones) if start <= tone.onset < end]
            same = [strand.tones[k] for k in places]
            if not changes[other].gone & set(places) and _goes_with(same, tones):
                _replace(changes[other], places, same, start, end, strokes)


def _replace(change: _Change, places: Sequence[int], tones: Sequence[Tone], start: int, end: int, strokes: int) -> None:
    change.gone.update(places)
    for midi in sorted({tone.midi for tone in tones}, reverse=True):
        own = [tone for tone in tones if tone.midi == midi]
        refs = tuple(dict.fromkeys(ref for tone in own for ref in tone.refs))
        change.come.append(Tone(start, end, midi, own[0].pitch, refs, OCTAVE_TREMOLO.name, strokes))


def _goes_with(same: Sequence[Tone], tones: Sequence[Tone]) -> bool:
    """Whether tones repeat one pitch with every other of some alternating tones."""
    if len(same) < 2 or any(one.midi != same[0].midi or one.rule != SAME for one in same):
        return False
    onsets = [one.onset for one in same]
    return onsets in ([one.onset for one in tones[::2]], [one.onset for one in tones[1::2]])


def _runs(sketch: Sketch, tones: Sequence[Tone]) -> list[_Run]:
    """Where two pitches of a strand alternate quickly enough; runs that follow at once count together."""
    pair = int(facts.get("turning.tremolo_pair").value)
    least = int(facts.get("turning.tremolo_least").value)
    chains: list[list[_Run]] = []
    k = 0
    while k + 1 < len(tones):
        after = _alternating(sketch, tones, k)
        if after - k < pair:
            k += 1
            continue
        run = _Run(k, after)
        together = chains and chains[-1][-1].after == k and _quick(sketch, tones[k - 1], tones[k])
        if together:
            chains[-1].append(run)
        else:
            chains.append([run])
        k = after
    return [run for chain in chains if chain[-1].after - chain[0].first >= least for run in chain]


def _alternating(sketch: Sketch, tones: Sequence[Tone], first: int) -> int:
    """The ordinal after the last tone of the alternation that begins with a tone and the next one."""
    distance = abs(tones[first + 1].midi - tones[first].midi)
    if distance < facts.get("turning.tremolo_interval").value:
        return first
    k = first
    while k < len(tones) and tones[k].rule == SAME and tones[k].end > tones[k].onset:
        if k > first and not _quick(sketch, tones[k - 1], tones[k]):
            break
        if k > first + 1 and tones[k].midi != tones[k - 2].midi:
            break
        k += 1
    return k


def _quick(sketch: Sketch, one: Tone, two: Tone) -> bool:
    return bool(seconds(sketch, one.onset, two.onset) <= facts.get("turning.tremolo_step").value / 1000)


def _end(sketch: Sketch, tones: Sequence[Tone], run: _Run) -> int:
    """Where the alternation ends: with its last tones, at the latest where the next one begins."""
    end = max(tone.end for tone in tones[run.first : run.after])
    return min(end, tones[run.after].onset) if run.after < len(tones) else end


def _strokes(sketch: Sketch, tones: Sequence[Tone]) -> int:
    """Strokes through the stem for a tremolo that moves like the alternation; those of an unmeasured one if quick.

    An eighth is one stroke, a sixteenth two.
    """
    step = (tones[-1].onset - tones[0].onset) / (len(tones) - 1)
    unmeasured = int(facts.get("turning.unmeasured_strokes").value)
    if seconds(sketch, tones[0].onset, tones[-1].onset) / (len(tones) - 1) < _unmeasured_s():
        return unmeasured
    return min(max(1, round(log2(sketch.grid / step))), unmeasured)


def _unmeasured_s() -> float:
    return float(facts.get("turning.tremolo_unmeasured").value) / 1000


# ---------------------------------------------------------------- tremolos that are written with a sign


def _by_mark(sketch: Sketch, strands: Sequence[Strand], changes: list[_Change]) -> None:
    """Replace the two halves of each written tremolo by tones as long as both."""
    where = _halves(sketch)
    for s, strand in enumerate(strands):
        for k, tone in enumerate(strand.tones):
            span = where.get(tone.refs[0])
            if span is not None and tone.rule == SAME:
                start, end, strokes = span
                changes[s].gone.add(k)
                made = tone._replace(onset=start, end=end, rule=OCTAVE_TREMOLO.name, tremolo=strokes)
                changes[s].come.append(made)


def _halves(sketch: Sketch) -> dict[int, tuple[int, int, int]]:
    """From note to start, end and strokes of the written tremolo that it is half of; one sign counts for a chord."""
    found: dict[int, tuple[int, int, int]] = {}
    begun: dict[tuple[int, str], list[int]] = {}
    for voice, chord in _chords(sketch):
        notes = [sketch.notes[ref] for ref in chord]
        signs = {mark.number: mark.value for note in notes for mark in note.marks if mark.kind == "tremolo"}
        if "stop" in signs and voice in begun:
            both = [*begun.pop(voice), *chord]
            strokes = int(signs["stop"]) if signs["stop"].isdecimal() else _unmeasured()
            found.update(dict.fromkeys(both, (sketch.notes[both[0]].onset, notes[0].end, strokes)))
        if "start" in signs:
            begun[voice] = chord
    return found


def _chords(sketch: Sketch) -> Iterator[tuple[tuple[int, str], list[int]]]:
    """The chords of each staff and voice in order of onset, grace notes left out."""
    found: dict[tuple[int, int, str], list[int]] = {}
    for ref, note in enumerate(sketch.notes):
        if not note.grace:
            found.setdefault((note.onset, note.staff, note.voice), []).append(ref)
    for (_, staff, voice), chord in sorted(found.items()):
        yield (staff, voice), chord


def _unmeasured() -> int:
    return int(facts.get("turning.unmeasured_strokes").value)
