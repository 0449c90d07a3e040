"""The accidentals that the notes of a part need, printed on them; the rule is that of :mod:`deskproof.accidentals`."""

from __future__ import annotations

from dataclasses import replace

from deskproof.accidentals import SIGNS, missing
from deskproof.page import Layout, alters_of
from deskproof.pitch import Pitch
from deskproof.score import CUE, OSSIA, TIE_STOP, Key, Measure, Note, Part


def with_accidentals(part: Part, layout: Layout) -> Part:
    """The part with the accidentals that its notes need, and no others; those it had are taken off.

    Cue notes get theirs too. Where a tie has carried an accidental over the barline, the next note on that line bears
    its sign anew. Microtones of other sizes than quarters, and triple accidentals, have no sign.

    Parameters
    ----------
    part : Part
        Its notes' ``accidental`` says nothing here.
    layout : Layout
        The part's, as ``layout_of`` gathers it.
    """
    measures = [measure._replace(notes=tuple(map(_bare, measure.notes))) for measure in part.measures]
    flags = {(m.index, n.n): n.flags for m in part.measures for n in m.notes}
    for index, measure in enumerate(measures):
        if any(note.pitch is not None for note in measure.notes):
            measures[index] = _signed(replace(part, measures=tuple(measures)), layout, index)
    return replace(
        part,
        measures=tuple(
            m._replace(notes=tuple(n._replace(flags=flags[m.index, n.n]) for n in m.notes)) for m in measures
        ),
    )


def _bare(note: Note) -> Note:
    """A note without its accidental, and counted like any other."""
    return note._replace(accidental="", flags=note.flags & ~(CUE | OSSIA))


def _signed(part: Part, layout: Layout, index: int) -> Measure:
    """One measure with its accidentals: of those that lack one, the first on each line is signed, and again."""
    measure = _after_ties(part, layout, index)
    while True:
        now = replace(part, measures=(*part.measures[:index], measure, *part.measures[index + 1 :]))
        first: dict[tuple[int, int], tuple[int, Pitch]] = {}
        for lack in missing(now, layout, [index]):
            pitch = lack.note.pitch
            if pitch is not None and pitch.alter in SIGNS:
                line = (lack.note.staff, pitch.line)
                start, _ = first.setdefault(line, (lack.note.start, pitch))
                if start == lack.note.start:
                    measure = _with_sign(measure, lack.note)
        if not first:
            return measure


def _with_sign(measure: Measure, note: Note) -> Measure:
    assert note.pitch is not None
    signed = note._replace(accidental=SIGNS[note.pitch.alter])
    return measure._replace(notes=tuple(signed if one.n == note.n else one for one in measure.notes))


def _after_ties(part: Part, layout: Layout, index: int) -> Measure:
    """The measure with a sign on each first note that follows a tied one on its line, in another alteration than usual.

    Only ties over the barline count: inside the bar the first note bears the sign.
    """
    measure = part.measures[index]
    carried: dict[tuple[int, int], Pitch] = {}
    for note in sorted(measure.notes, key=lambda n: (n.start, n.n)):
        pitch = note.pitch
        if pitch is None:
            continue
        keys = layout.keys[index]
        usual = alters_of(keys.get(note.staff, keys.get(0, Key(0))))[pitch.step]
        line = (note.staff, pitch.line)
        if note.start == 0 and note.flags & TIE_STOP:
            if pitch.alter != usual:
                carried[line] = pitch
        elif line in carried and not (note.flags & TIE_STOP and pitch == carried[line]):
            del carried[line]
            if pitch.alter in SIGNS:
                measure = _with_sign(measure, note)
    return measure
