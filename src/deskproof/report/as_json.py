"""The JSON of ``check`` (contract: docs/json.md)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from deskproof import __version__
from deskproof.families import FAMILIES
from deskproof.findings import Finding
from deskproof.movements import Before
from deskproof.places import bar_number, spot_of
from deskproof.score import CUE, HIDDEN, OSSIA, SMALL, UNCHECKED
from deskproof.state import WHOLE, State
from deskproof.timeline import Event

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Since:
    """What is new, gone and still there since an older export: ids, and of those gone the finding's record."""

    file: str
    new: list[str]
    gone: list[dict[str, Any]]
    still: list[str]


TOOL = {"name": "deskproof", "version": __version__}


def report(
    state: State,
    findings: Iterable[Finding],
    file: str,
    notes: bool = False,
    silenced: Iterable[tuple[str, str]] = (),
    since: Since | None = None,
    before: Before | None = None,
) -> dict[str, Any]:
    """The whole answer for one score, ready for a JSON encoder. Numbers are ints, floats and texts only.

    ``silenced`` are (id, reason) of the findings that were let stand; ``since`` compares with an older export;
    ``before`` is what players do between the movement before and this one.
    """
    rows = list(findings)
    document: dict[str, Any] = {
        "format": FORMAT,
        "tool": TOOL,
        "score": score(state, file),
        "findings": [one(state, finding) for finding in rows],
        "silenced": [{"id": id_, "reason": reason} for id_, reason in silenced],
    }
    if notes:
        document["notes"] = note_rows(state)
    document["plans"] = plans(state)
    if since is not None:
        document["since"] = {"file": since.file, "new": since.new, "gone": since.gone, "still": since.still}
    if before is not None:
        parts = state.score.parts
        document["before"] = {
            "attacca": before.attacca,
            "changes": [{"part": parts[one.part].id, "says": one.says} for one in before.carried],
        }
    return document


def plans(state: State) -> list[dict[str, Any]]:
    """The plans of all families that plan, in order of family and part."""
    describe = {family.name: family.describe for family in FAMILIES if family.describe}
    context = state.context()
    found = []
    for (name, index), plan in state.plans.items():
        if name in describe:
            id_ = name if index == WHOLE else f"{name}-{state.score.parts[index].id}"
            record = describe[name](plan, id_, context)
            if record is not None:
                found.append(record)
    return found


def score(state: State, file: str) -> dict[str, Any]:
    """Who is in the score, and how long it is."""
    frame = state.timeline.frame
    parts = []
    for part, line in zip(state.score.parts, state.lines, strict=True):
        first = line.first
        count = sum(
            1 for m in part.measures for n in m.notes if n.kind != "rest" and not n.flags & UNCHECKED
        )
        parts.append(
            {
                "id": part.id,
                "name": part.name,
                "sound": first.sounds[0] if first and first.sounds else None,
                "family": first.family if first else None,
                "notes": count,
            }
        )
    return {
        "file": file,
        "title": state.score.title,
        "bars": len(frame.lengths),
        "seconds": round(frame.clock.ceil_us(frame.length) / 1e6, 6),
        "tempo": "marked" if frame.tempo_marked else "guessed",
        "parts": parts,
    }


def one(state: State, finding: Finding) -> dict[str, Any]:
    """One finding."""
    place = spot_of(state, finding)
    parts = {part.id: part for part in state.score.parts}
    return {
        "id": finding.id,
        "rule": finding.rule.id,
        "level": finding.level,
        "part": state.score.parts[finding.place.part].id,
        "staff": finding.place.staff,
        "bar": place.bar,
        "beat": str(place.beat),
        "onset_us": place.onset_us,
        "notes": [parts[ref.part].ref(ref.measure, ref.n) for ref in finding.notes],
        "numbers": {key: _plain(value) for key, value in finding.numbers.items()},
        "says": finding.says,
        "because": None,
        "mends": [
            {"id": f"{finding.id}-{k}", "says": mend.says, "effect": mend.effect.value}
            for k, mend in enumerate(finding.mends, 1)
        ],
    }


def _plain(value: object) -> object:
    return str(value) if isinstance(value, Fraction) else value


def note_rows(state: State) -> list[dict[str, Any]]:
    """Every sounding note of the score, part by part in order of onset; a tied chain is one row."""
    rows = []
    for index, events in enumerate(state.timeline.parts):
        for event in events:
            rows.append(_note_row(state, index, event))
    return rows


def _note_row(state: State, index: int, event: Event) -> dict[str, Any]:
    part = state.score.parts[index]
    note = event.note
    onset, end = state.timeline.frame.times_us(event)
    pitch = note.pitch
    return {
        "ref": part.ref(event.measure, note.n),
        "pass": event.pass_,
        "bar": bar_number(state, index, event.measure),
        "onset_us": onset,
        "end_us": end,
        "staff": note.staff,
        "voice": note.voice,
        "grace": bool(event.grace),
        "cue": bool(note.flags & CUE),
        "hidden": bool(note.flags & HIDDEN),
        "small": bool(note.flags & SMALL),
        "ossia": bool(note.flags & OSSIA),
        "written": [pitch.step, pitch.alter, pitch.octave] if pitch else None,
        "sounding": event.sounding,
        "tied_to": [part.ref(m, n) for m, n in event.tied],
    }
