"""After a change in some parts the players' plan is made from the one before: it is the plan of the whole score."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from corpus import shared
from deskproof.document import read
from deskproof.edits import Edit, EditError, SetTranspose, Silence, apply
from deskproof.families.players.planning import PlayersPlan, plan, replan
from deskproof.score import NoteRef
from deskproof.state import WHOLE, State, state_of
from deskproof.timeline import realise_part

FILES = ("boulanger-matin-bars-1-100.mxl", "beethoven-symphony-6-4.mxl")


def some_edits(state: State, draw: Random) -> list[Edit]:
    """A part with some of its first notes silenced, or transposed otherwise from some bar on."""
    part = draw.choice(state.score.parts)
    notes = [NoteRef(part.id, m.index, n.n) for m in part.measures for n in m.notes if n.pitch is not None]
    if not notes:
        return []
    if draw.random() < 0.3:
        return [SetTranspose(draw.choice(notes), 0, 0, draw.choice((-1, 1)))]
    return [Silence(ref) for ref in notes[: draw.choice((1, 3, 10))]]


def casts(plan: Any) -> list[Any]:
    assert isinstance(plan, PlayersPlan)
    return [(cast.group, cast.rota, cast.named) for cast in plan.casts]


@pytest.mark.parametrize("name", FILES)
def test_the_plan_from_the_old_one_is_the_plan_of_the_whole(name: str) -> None:
    state, draw = state_of(read(shared(name)).score), Random(f"players {name}")
    before = state.plans["players", WHOLE]
    done = changed = kept = 0
    while done < 60:
        edits = some_edits(state, draw)
        try:
            after = apply(state.score, edits)
        except EditError:
            continue
        if not edits:
            continue
        i = next(k for k, part in enumerate(after.parts) if part.id == edits[0].note.part)
        fresh = state.lines[i].spans(realise_part(after.parts[i], state.timeline.layouts[i], state.timeline.frame))
        spans = [span for k, rows in state.spans.items() for span in (fresh if k == i else rows)]
        context = state.context(after)
        again = replan(before, spans, context)
        assert casts(again) == casts(plan(spans, context)), edits
        assert isinstance(before, PlayersPlan) and isinstance(again, PlayersPlan)
        done += 1
        changed += casts(again) != casts(before)
        kept += any(one is other for one in again.casts for other in before.casts)
    assert changed and kept
