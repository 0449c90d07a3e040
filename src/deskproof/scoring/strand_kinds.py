"""Which line is the tune, which the bass, and what the others are."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import exp
from typing import NamedTuple

from deskproof import facts
from deskproof.scoring.records import ACCENT, BASS, COUNTER, FIGURE, HELD, INNER, TUNE, SketchNote
from deskproof.scoring.strand_traits import Traits
from deskproof.scoring.strand_tune import tune_score


class Judged(NamedTuple):
    """What a line is, how clearly from 0 to 1, and whether it doubles the tune or bass in the octave."""

    kind: str
    confidence: float
    doubles: bool = False


@lru_cache(maxsize=1)
def _limits() -> dict[str, float]:
    return {fact.key: float(fact.value) for fact in facts.of("strand_kind")}


def kinds_of(
    lines: Sequence[Sequence[SketchNote]], traits: Sequence[Traits], has_tune: bool = False, has_bass: bool = False
) -> list[Judged]:
    """What each line of a passage is; ``has_tune`` and ``has_bass`` say that the composer named these elsewhere."""
    found: dict[int, Judged] = {}
    scores = [tune_score(one) for one in traits]
    if not has_tune:
        found |= _tune(lines, traits, scores)
    if not has_bass:
        found |= _bass(lines, traits, found)
    tune = next((traits[k] for k, one in found.items() if one.kind == TUNE and not one.doubles), None)
    best = max((scores[k] for k, one in found.items() if one.kind == TUNE), default=max(scores, default=0.0))
    for k, one in enumerate(traits):
        if k not in found:
            found[k] = _other(one, tune, scores[k] - best)
    _keep_one_counter(found, scores)
    return [found[k] for k in range(len(lines))]


def _tune(
    lines: Sequence[Sequence[SketchNote]], traits: Sequence[Traits], scores: Sequence[float]
) -> dict[int, Judged]:
    """The line that is most like a tune and those that double it; none where even this one is broken chords."""
    if not lines:
        return {}
    best = max(range(len(lines)), key=lambda k: (scores[k], -k))
    if len(lines) > 1 and _broken_chords(traits[best]):
        return {}
    doubles = _doubles(lines, best)
    rivals = [scores[k] for k in range(len(lines)) if k != best and k not in doubles]
    sure = round(1 / (1 + exp(max(rivals) - scores[best])), 2) if rivals else 1.0
    return {best: Judged(TUNE, sure)} | {k: Judged(TUNE, sure, True) for k in doubles}


def _bass(
    lines: Sequence[Sequence[SketchNote]], traits: Sequence[Traits], taken: dict[int, Judged]
) -> dict[int, Judged]:
    """The line that is lowest at most onsets and those that double it; none where this one is broken chords."""
    rest = [k for k in range(len(lines)) if k not in taken]
    if not rest:
        return {}

    def lowest(k: int) -> tuple[float, float]:
        return traits[k].low * traits[k].notes, -traits[k].height

    bass = max(rest, key=lowest)
    if traits[bass].low < _limits()["bass_low"] or _broken_chords(traits[bass]):
        return {}
    doubles = [k for k in _doubles(lines, bass) if k not in taken]
    sure = round(traits[bass].low, 2)
    return {bass: Judged(BASS, sure)} | {k: Judged(BASS, sure, True) for k in doubles}


def _broken_chords(one: Traits) -> bool:
    """Quick even notes that leap in one pattern, or hardly ever go by step."""
    limit = _limits()
    if one.length > limit["broken_length"] or one.notes < limit["figure_notes"]:
        return False
    patterned = (
        one.pattern >= limit["broken_pattern"]
        and one.leaps >= limit["broken_leaps"]
        and one.variety <= limit["broken_variety"]
    )
    return patterned or (
        one.variety <= limit["arpeggio_variety"]
        and one.scale + one.still <= limit["arpeggio_steps"]
        and one.notes >= 2 * limit["figure_notes"]
    )


def _doubles(lines: Sequence[Sequence[SketchNote]], main: int) -> list[int]:
    """The lines that go with another one in octaves or in unison nearly throughout."""
    limit = _limits()
    own: dict[int, int] = {note.onset: note.midi for note in lines[main] if not note.grace}
    found = []
    for k, line in enumerate(lines):
        notes = [note for note in line if not note.grace]
        same = sum(note.onset in own and (note.midi - own[note.onset]) % 12 == 0 for note in notes)
        if k != main and same >= limit["double_same"] * len(notes) and same >= limit["double_much"] * len(own):
            found.append(k)
    return found


def _other(one: Traits, tune: Traits | None, behind: float) -> Judged:
    """What a line is that is neither tune nor bass; ``behind`` is its score less that of the tune."""
    limit = _limits()
    tune_length = tune.length if tune is not None else limit["plain_length"]
    rings = one.rings if one.chord >= 1 / 2 else one.length
    held = rings / max(limit["held_from"], limit["held_against_tune"] * tune_length)
    if held >= 1:
        return Judged(HELD, _sure(held - 1))
    struck = min(one.short, one.chord)
    if struck >= limit["accent_marked"] and one.present <= limit["accent_marked_present"]:
        return Judged(ACCENT, _sure(struck - limit["accent_marked"]))
    if one.present <= limit["accent_present"] and one.length <= limit["accent_length"]:
        marked = max(one.short, one.chord)
        if marked >= limit["accent_marked"]:
            return Judged(ACCENT, _sure(marked - limit["accent_marked"]))
    if one.notes >= limit["figure_notes"] and one.length <= limit["figure_length"]:
        over = one.pattern - limit["figure_pattern"]
        if over >= 0 or _broken_chords(one):
            return Judged(FIGURE, _sure(over))
    near = behind + limit["counter_behind"]
    apart = limit["counter_chord"] - one.chord
    if tune is not None and near >= 0 and apart >= 0 and one.present >= limit["counter_present"]:
        return Judged(COUNTER, _sure(min(near, apart)))
    return Judged(INNER, _sure(min(abs(near), 1 - held)))


def _keep_one_counter(found: dict[int, Judged], scores: Sequence[float]) -> None:
    """Of several lines near the tune only the nearest is called a counter-tune."""
    counters = sorted((k for k, one in found.items() if one.kind == COUNTER), key=lambda k: -scores[k])
    for k in counters[1:]:
        found[k] = Judged(INNER, _sure(0))


def _sure(margin: float) -> float:
    """How clear a judgement is that holds by so much: from one half up to 1."""
    return round((1 + min(1.0, max(0.0, margin))) / 2, 2)
