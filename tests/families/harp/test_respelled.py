"""A harp part of which names change is checked again from its old plan: the answer is that of planning it anew."""

from __future__ import annotations

from collections import Counter
from random import Random
from typing import Any

import pytest

import seeds
from corpus import shared
from deskproof.check import check
from deskproof.document import from_bytes, read
from deskproof.edits import Edit, Respell, SetOctave, complete
from deskproof.families.harp import planning
from deskproof.recheck import Change, recheck
from deskproof.score import NoteRef
from deskproof.state import State, state_of

SYNONYMS = {"C#": "Db", "D#": "Eb", "F#": "Gb", "G#": "Ab", "A#": "Bb", "E": "Fb", "F": "E#", "B": "Cb"}
SYNONYMS |= {b: a for a, b in SYNONYMS.items()}
SEEDS = 150


def line(draw: Random) -> str:
    names = [*SYNONYMS, "D", "G", "A", "C"]
    return " | ".join(
        " ".join(f"{draw.choice(names)}{draw.choice((3, 4, 5))}/8" for _ in range(8)) for _ in range(4)
    )


def keys(change: Change) -> tuple[Counter[Any], ...]:
    return tuple(Counter(one.key for one in rows) for rows in (change.gone, change.new, change.same))


def renamings(state: State, draw: Random) -> list[Edit]:
    """Some notes by their other names, now and then a note in another octave."""
    notes = [(m.index, n) for m in state.score.parts[0].measures for n in m.notes if n.pitch is not None]
    edits: list[Edit] = []
    for measure, note in draw.sample(notes, draw.choice((1, 2, 5))):
        ref = NoteRef(state.score.parts[0].id, measure, note.n)
        name = note.pitch.step + {-1: "b", 0: "", 1: "#"}[int(note.pitch.alter)]
        if draw.random() < 0.1:
            edits.append(SetOctave(ref, note.pitch.octave + 1))
        elif name in SYNONYMS:
            other = SYNONYMS[name]
            octave = next(
                o for o in range(9) if seeds.midi(f"{other}{o}") == int(note.pitch.midi)
            )  # fmt: skip
            edits.append(Respell(ref, other[0], other.count("#") - other.count("b"), octave))
    return list(complete(state.score, state.timeline.layouts, edits))


@pytest.mark.parametrize("seed", range(SEEDS))
def test_names_changed_at_random(seed: int):
    draw = Random(f"respelled {seed}")
    state = state_of(from_bytes(seeds.score({"instrument": "harp", "tempo": 60, "notes": line(draw)})).score)
    edits = renamings(state, draw) or [SetOctave(NoteRef("P1", 0, 0), 6)]
    assert keys(recheck(state, edits)) == keys(recheck(state, edits, whole=True))


def test_the_old_plan_is_used_and_not_always(monkeypatch: pytest.MonkeyPatch):
    """The mend of the spelling needs no new plan, another octave does."""
    planned: list[int] = []
    original = planning.plan_pedals
    monkeypatch.setattr(planning, "plan_pedals", lambda *rest: planned.append(1) or original(*rest))
    document = from_bytes(seeds.score({"instrument": "harp", "tempo": 60, "notes": "F3+A3+C4+F#5/1"}))
    (finding,) = [one for one in check(document.score).findings if one.rule.id == "harp-spelling"]
    state = state_of(document.score)
    planned.clear()
    assert recheck(state, finding.mends[0].edits).gone and not planned
    recheck(state, [SetOctave(NoteRef("P1", 0, 0), 4)])
    assert planned


def test_the_mend_of_a_real_part():
    document = read(shared("boulanger-matin-bars-1-100.mxl"))
    index = next(i for i, part in enumerate(document.score.parts) if part.name == "Harp")
    state = state_of(document.score, parts=[index])
    (finding,) = [
        one for one in check(document.score, parts=[index]).findings
        if one.rule.id == "harp-spelling"
    ]  # fmt: skip
    edits = finding.mends[0].edits
    assert keys(recheck(state, edits)) == keys(recheck(state, edits, whole=True))
