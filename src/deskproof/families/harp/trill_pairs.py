"""The two strings of a written trill: as the page names them, as the plan plays them, neighbours where it can be."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from deskproof.families.harp.model import Onset
from deskproof.families.harp.plan import PedalPlan, PlannedNote
from deskproof.families.harp.reading import Plucked, Reading
from deskproof.families.trills import TRILLS
from deskproof.pitch import STEPS, Pitch
from deskproof.score import Note
from deskproof.timeline import Event

Name = tuple[str, int]
"""Letter and alteration."""
_KEPT = ("impossible", "let_go_early", "quick_changes")  # what a trill on neighbouring strings must not make worse


class Trill(NamedTuple):
    """A trill as written and as played: main note and upper one, by ordinal in their onset, and their strings."""

    event: Event
    main: int
    upper: int
    interval: int
    strings: tuple[PlannedNote, PlannedNote]

    @property
    def page(self) -> tuple[Name, Name]:
        """The names that the page gives the two."""
        pitch = self.event.note.pitch
        assert pitch is not None
        over = next_letter(pitch)
        return (pitch.step, int(pitch.alter)), (over.step, int(pitch.midi + self.interval - over.midi))

    @property
    def played(self) -> tuple[Name, Name]:
        """The names of the strings."""
        one, two = self.strings
        return (one.string.letter, one.position), (two.string.letter, two.position)

    @property
    def neighbours(self) -> bool:
        """Whether its two strings stand side by side."""
        one, two = self.strings
        return two.string.line - one.string.line == 1


def is_trill(note: Note) -> bool:
    """Whether a note bears the sign of a trill."""
    return note.pitch is not None and any(note.marked(kind) is not None for kind in TRILLS)


def next_letter(pitch: Pitch) -> Pitch:
    """The next letter up, unaltered."""
    i = STEPS.index(pitch.step) + 1
    return Pitch(STEPS[i % len(STEPS)], 0, pitch.octave + i // len(STEPS))


def written_trills(row: Sequence[Plucked], planned: Sequence[PlannedNote | None]) -> Iterator[Trill]:
    """The written trills of an onset for which the plan has two strings."""
    for m, main in enumerate(row):
        for event in main.events:
            if main.how != "trill" or main.pitch != event.sounding or not is_trill(event.note):
                continue
            for u, upper in enumerate(row):
                low, high = planned[m], planned[u]
                if upper.pitch > main.pitch and upper.how == "trill" and event in upper.events and low and high:
                    yield Trill(event, m, u, upper.pitch - main.pitch, (low, high))


def with_neighbours(
    reading: Reading, pedals: PedalPlan, planner: Callable[[Sequence[Onset]], PedalPlan]
) -> tuple[Reading, PedalPlan]:
    """The plan with trills on the neighbouring strings that the page names, as far as it costs nothing but pedals.

    A trill E-F♯ could be had on E and G♭ without a change; but there the F string lies between, and no page says it.

    Parameters
    ----------
    reading, pedals
        The part and its plan.
    planner : callable
        Plans some onsets, of which only the binding of notes to their names has changed.

    Returns
    -------
    Reading, PedalPlan
        With notes bound to the strings of their names; never at the cost of a note, a written length or a quick change.
    """
    wanted: dict[tuple[Hashable, Hashable], int] = {}
    for i, (row, planned) in enumerate(zip(reading.plucked, pedals.notes, strict=True)):
        for trill in written_trills(row, planned):
            main, upper = (reading.onsets[i].notes[n] for n in (trill.main, trill.upper))
            named = (main.spelled, upper.spelled) == trill.page and _are_strings(trill.page)
            if named and not trill.neighbours:
                wanted.setdefault((main.key, upper.key), i)
    while wanted:
        onsets = _bound(reading.onsets, {key for pair in wanted for key in pair})
        found = planner(onsets)
        if all(found[name].value <= pedals[name].value for name in _KEPT):
            return replace(reading, onsets=onsets), found
        left_out = {left.onset for left in found.unplanned} - {left.onset for left in pedals.unplanned}
        refused = {pair for pair, i in wanted.items() if i in left_out} or {next(reversed(wanted))}
        wanted = {pair: i for pair, i in wanted.items() if pair not in refused}
    return reading, pedals


def _are_strings(names: Sequence[Name]) -> bool:
    return all(alter in (-1, 0, 1) for _, alter in names)


def _bound(onsets: Sequence[Onset], keys: set[Hashable]) -> tuple[Onset, ...]:
    """The onsets with the notes of these keys on the strings of their names or nowhere."""
    return tuple(
        onset._replace(notes=tuple(n._replace(named=True) if n.key in keys else n for n in onset.notes))
        if any(n.key in keys for n in onset.notes)
        else onset
        for onset in onsets
    )
