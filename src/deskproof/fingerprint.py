"""How a finding is known again in another export: by the music around it, not by bar numbers.

A fingerprint is made of the rule, the role of the part, the sounding pitches, relative onsets and durations of the
finding's notes and of one onset on either side, and an ordinal among equals. Spelling counts in spelling rules only.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from fractions import Fraction

from deskproof.findings import Finding
from deskproof.state import State
from deskproof.timeline import Event


def fingerprints(state: State, findings: Iterable[Finding]) -> list[str]:
    """The fingerprints of findings given in score order: 8 letters and digits each, no two equal."""
    places: dict[int, dict[tuple[int, int], int]] = {}
    counts: dict[str, int] = {}
    found = []
    for finding in findings:
        part = finding.place.part
        if part not in places:
            places[part] = _places(state.timeline.parts[part])
        text = json.dumps(_music(state, finding, places[part]), ensure_ascii=False)
        ordinal = counts.get(text, 0)
        counts[text] = ordinal + 1
        digest = hashlib.sha256(f"{text} {ordinal}".encode()).digest()
        found.append(base64.b32encode(digest)[:8].decode().lower())
    return found


def _places(events: tuple[Event, ...]) -> dict[tuple[int, int], int]:
    found: dict[tuple[int, int], int] = {}
    for i, event in enumerate(events):
        found.setdefault((event.measure, event.note.n), i)
    return found


def _music(state: State, finding: Finding, places: dict[tuple[int, int], int]) -> list[object]:
    events = state.timeline.parts[finding.place.part]
    grid = state.score.grid
    part = state.score.parts[finding.place.part].id
    mine = [ref for ref in finding.notes if ref.part == part]
    own = sorted({i for ref in mine if (i := places.get((ref.measure, ref.n))) is not None})
    rows: list[object] = [finding.rule.id, state.lines[finding.place.part].role]
    if not own:
        return rows
    zero = events[own[0]].onset
    before = _at_onset(events, own[0], -1)
    after = _at_onset(events, own[-1], 1)
    for group in (before, own, after):
        rows.append(
            sorted(
                [
                    event.sounding if event.sounding is not None else -1,
                    str(Fraction(event.onset - zero, grid)),
                    str(Fraction(event.end - event.onset, grid)),
                ]
                for event in (events[i] for i in group)
            )
        )
    if finding.rule.spelling:
        rows.append([str(events[i].note.pitch) for i in own])
    return rows


def _at_onset(events: tuple[Event, ...], i: int, step: int) -> list[int]:
    """The events at the nearest other onset before (``step`` -1) or after event ``i``."""
    j = i + step
    while 0 <= j < len(events) and events[j].onset == events[i].onset:
        j += step
    if not 0 <= j < len(events):
        return []
    onset = events[j].onset
    found = []
    while 0 <= j < len(events) and events[j].onset == onset:
        found.append(j)
        j += step
    return found
