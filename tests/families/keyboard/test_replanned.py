"""A keyboard part some bars of which have changed is planned from its old plan: the answer is that of planning it anew.

The search for the hands goes on from what it kept; that it does, and does not begin again, is seen too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest

from corpus import corpus_files
from deskproof.document import read
from deskproof.edits import Edit, EditError, Omit, SetOctave, SetStaff, Silence, apply, touched
from deskproof.families.keyboard import hand_search
from deskproof.families.keyboard.hand_search import Leap, Press, search, search_again, searched
from deskproof.families.keyboard.hands import settings_of
from deskproof.families.keyboard.planning import KeyboardPlan, plan
from deskproof.families.keyboard.replanned import replan
from deskproof.recheck import Change, closed, recheck
from deskproof.score import NoteRef
from deskproof.state import State, state_of
from deskproof.timeline import realise_part

FILES = (
    "mozart/k545/movement1_exposition.mxl", "joplin/maple_leaf_rag.mxl", "schumann_clara/polonaise_op1n1.mxl",
    "schoenberg/opus19/movement6.mxl", "schoenberg/opus19/movement2.mxl", "bach/bwv846.mxl",
    "schubert/Lindenbaum.xml",
)  # fmt: skip


@cache
def state(name: str) -> State:
    return state_of(read(next(f.path for f in corpus_files() if f.name == name)).score)


def players(state: State) -> list[int]:
    return [i for (name, i), one in state.plans.items() if name == "keyboard" and isinstance(one, KeyboardPlan)]


def edits_of(state: State, draw: Random) -> Iterator[Edit]:
    """One to three notes in another octave, on the other staff, or left out; sometimes all in one bar."""
    part = state.score.parts[draw.choice(players(state))]
    notes = [(m.index, n) for m in part.measures for n in m.notes if n.pitch is not None]
    bar = draw.choice(notes)[0]
    if draw.random() < 0.5:
        notes = [one for one in notes if one[0] == bar]
    for measure, note in draw.sample(notes, min(len(notes), draw.choice((1, 1, 2, 3)))):
        ref = NoteRef(part.id, measure, note.n)
        yield draw.choice(
            (SetOctave(ref, note.pitch.octave + draw.choice((-3, -2, -1, 2, 3))), SetStaff(ref, 3 - note.staff),
             Omit(ref), Silence(ref))
        )  # fmt: skip


def both_plans(state: State, edits: list[Edit]) -> tuple[Any, Any]:
    """The plan made from the one before and the window, and the plan of the whole edited part."""
    after = apply(state.score, edits)
    ((part_id, measures),) = touched(edits).items()
    i = next(k for k, part in enumerate(after.parts) if part.id == part_id)
    part, line, layout, frame = after.parts[i], state.lines[i], state.timeline.layouts[i], state.timeline.frame
    window = closed(part, {m + d for m in measures for d in (-1, 0, 1)}, frame)
    spans = line.spans(realise_part(part, layout, frame, window))
    context = replace(state.context(after), measures=window)
    whole = plan(line.spans(realise_part(part, layout, frame)), state.context(after))
    return replan(state.plans["keyboard", i], spans, context), whole


def keys(change: Change) -> tuple[Counter[Any], ...]:
    return tuple(Counter(one.key for one in rows) for rows in (change.gone, change.new))


@pytest.mark.parametrize("name", FILES)
def test_the_plan_from_the_old_one_is_the_plan_of_the_whole(name: str) -> None:
    draw = Random(f"replanned {name}")
    done = 0
    for _ in range(25):
        edits = list(edits_of(state(name), draw))
        try:
            again, whole = both_plans(state(name), edits)
        except EditError:
            continue
        assert again is not None
        assert again == whole, edits
        done += 1
    assert done >= 10


def test_the_window_finds_what_the_whole_finds() -> None:
    draw = Random("window")
    done = changed = 0
    while done < 30:
        one = state(draw.choice(FILES))
        edits = list(edits_of(one, draw))
        try:
            window = recheck(one, edits)
        except EditError:
            continue
        assert keys(window) == keys(recheck(one, edits, whole=True)), edits
        done += 1
        changed += any(found.rule.id.startswith("keyboard") for found in (*window.gone, *window.new))
    assert changed >= 5, changed


def passage(draw: Random, length: int) -> list[Press]:
    """Chords with overlaps, at times without any key, on two staves or none."""
    t_us, found = 0, []
    staves = draw.random() < 0.5
    for _ in range(length):
        low = draw.randint(40, 70)
        row = tuple(sorted(draw.sample(range(low, low + 30), draw.choice((0, 1, 1, 2, 3, 4, 6)))))
        until = tuple(t_us + draw.choice((60_000, 200_000, 900_000)) for _ in row)
        found.append(Press(t_us, row, until, tuple(2 if key < 60 else 1 for key in row) if staves else ()))
        t_us += draw.choice((70_000, 125_000, 250_000, 500_000))
    return found


@pytest.mark.parametrize("seed", range(60))
def test_the_search_goes_on_to_the_split_of_a_new_search(seed: int) -> None:
    draw = Random(f"search again {seed}")
    settings = settings_of()
    terms = settings.limits, settings.hard_um, Leap(settings.leap_from_um, settings.leap_least_us)
    onsets = passage(draw, draw.choice((1, 15, 16, 17, 90)))
    known = searched(onsets, *terms)
    for _ in range(8):
        new = list(onsets)
        where = draw.randrange(len(new))
        if draw.random() < 0.2:
            new[where:where] = [new[where]._replace(t_us=new[where].t_us - 1)]
        elif draw.random() < 0.2:
            del new[where:]
        else:
            new[where] = passage(draw, 1)[0]._replace(t_us=new[where].t_us)
        assert search_again(known, new, *terms) == search(new, *terms)


def test_a_search_that_goes_on_looks_at_few_presses(monkeypatch: pytest.MonkeyPatch) -> None:
    settings = settings_of()
    terms = settings.limits, settings.hard_um, Leap(settings.leap_from_um, settings.leap_least_us)
    row = state("joplin/maple_leaf_rag.mxl")
    known = row.plans["keyboard", players(row)[0]].hands.trail  # type: ignore[attr-defined]
    onsets = list(known.onsets)
    middle = onsets[len(onsets) // 2]
    onsets[len(onsets) // 2] = middle._replace(keys=(middle.keys[0] - 1, *middle.keys[1:]))
    looked = []
    onwards = hand_search._onwards

    def counted(*terms: Any) -> Iterator[Any]:
        for states in onwards(*terms):
            looked.append(states)
            yield states

    monkeypatch.setattr(hand_search, "_onwards", counted)
    found = search_again(known, onsets, *terms)
    assert len(looked) < len(onsets) // 8
    monkeypatch.undo()
    assert found == search(onsets, *terms)
