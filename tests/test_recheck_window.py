"""The window that recheck looks at finds what a check of the whole edited score finds: 500 random mends."""

import random

from corpus import smallest
from deskproof import document
from deskproof.demo import SCORE
from deskproof.edits import AddAccidental, EditError, Respell, SetOctave, SetTranspose, touched
from deskproof.recheck import helps, recheck
from deskproof.score import NoteRef
from deskproof.state import state_of

WANTED, OUTSIDE = 500, 100


def states():
    paths = [SCORE, *(f.path for f in smallest(150) if f.path.stat().st_size < 40_000)]
    for path in paths:
        state = state_of(document.read(path).score)
        if sum(len(m.notes) for part in state.score.parts for m in part.measures) < 2500:
            yield state


def some_edits(state, rng):
    """A mend of one to three notes, or of a transposition from some bar on."""
    part = rng.choice(state.score.parts)
    notes = [(m.index, n) for m in part.measures for n in m.notes if n.pitch is not None]
    if not notes:
        return []
    measure, note = rng.choice(notes)
    ref = NoteRef(part.id, measure, note.n)
    if rng.random() < 0.35:
        return [SetTranspose(ref, 0, 0, rng.choice((-3, -2, 2, 3)))]
    kind = rng.randrange(3)
    if kind == 0:
        return [SetOctave(ref, note.pitch.octave + rng.choice((-3, -2, 2, 3)))]
    if kind == 1:
        return [Respell(ref, note.pitch.step, rng.choice((-1, 0, 1)), note.pitch.octave)]
    return [AddAccidental(ref, rng.choice(("sharp", "flat", "natural")))]


def test_the_window_finds_what_the_whole_finds():
    rng = random.Random(7)
    pool = list(states())
    assert len(pool) > 20
    done = outside = helped = 0
    for _ in range(20 * WANTED):
        if done >= WANTED and outside >= OUTSIDE:
            break
        state = rng.choice(pool)
        edits = some_edits(state, rng)
        if not edits:
            continue
        try:
            window = recheck(state, edits)
        except EditError:
            continue
        whole = recheck(state, edits, whole=True)
        assert {f.key for f in window.gone} == {f.key for f in whole.gone}, edits
        assert {f.key for f in window.new} == {f.key for f in whole.new}, edits
        assert helps(state, edits) == (bool(whole.gone) and not whole.new), edits
        helped += bool(whole.gone) and not whole.new
        own = {(part, m) for part, measures in touched(edits).items() for m in measures}
        ids = [part.id for part in state.score.parts]
        changed = {(ids[f.place.part], f.place.measure) for f in (*window.gone, *window.new)}
        done += 1
        outside += bool(changed - own)
    assert done >= WANTED
    assert outside >= OUTSIDE
    assert 0 < helped < done
