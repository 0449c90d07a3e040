"""Whether the printed settings of the pedals are there, whole, and agree with the notes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from typing import Any

from deskproof.families.base import Context
from deskproof.families.harp import rules
from deskproof.families.harp.model import LETTERS, STEPS
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.printed import Printed, glissandi, printed
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.sweep import string_class
from deskproof.families.harp.sweep_checks import proposed
from deskproof.families.harp.wording import SIGNS, place_of, refs_of
from deskproof.families.trills import key_at
from deskproof.families.wording import listed
from deskproof.findings import Finding, Place
from deskproof.page import alters_of
from deskproof.pitch import Pitch, name
from deskproof.score import UNCHECKED, Note, NoteRef, Part


def setting_findings(
    reading: Reading, pedals: PedalPlan, part: Part, context: Context, unplanned: Set[tuple[int, int]]
) -> Iterator[Finding]:
    """What is missing or wrong among the printed settings.

    ``unplanned`` are the notes (measure, ordinal) that the plan leaves out: no setting can agree with them.
    """
    if reading.onsets:
        yield from _Settings(reading, pedals, part, context, unplanned).findings()


class _Settings:
    def __init__(
        self, reading: Reading, pedals: PedalPlan, part: Part, context: Context, unplanned: Set[tuple[int, int]]
    ) -> None:
        self.reading, self.pedals, self.part, self.unplanned = reading, pedals, part, unplanned
        self.context, self.frame = context, context.frame
        self.signs = printed(part)

    def findings(self) -> Iterator[Finding]:
        signs = self.signs
        sweeps = glissandi(self.part)
        setting = setting_text(self.pedals.initial)
        first = self.reading.plucked[0][0].events[0]
        written = {
            (sweep.first.measure, sweep.first.note.start)
            for sweep in self.reading.sweeps
            if sweep.slide.source == "notes"
        }
        if not signs and not sweeps:
            yield rules.NO_SETTING.at(
                place_of(self.reading, first), refs_of(self.part, self.reading.plucked[0][:1]), level="advice",
                where="", setting=f"the part begins with {setting}",
            )  # fmt: skip
        for measure, start, staff in sweeps:
            if any((sign.measure, sign.start) <= (measure, start) and sign.whole for sign in signs):
                continue
            if (measure, start) in written:
                continue
            near = self._note_at(measure, start, staff)
            stands = setting_text(self._standing(measure, start))
            settings, wanted = self._proposed(measure, start)
            yield rules.NO_SETTING.at(
                Place(self.reading.part, staff, measure, start), near, level="notation", fold="gliss",
                where=" before the glissando", setting=f"by the plan the pedals stand at {stands}",
                settings=settings, wanted=wanted,
            )  # fmt: skip
        for sign in signs:
            yield from self._contradiction(sign)
        yield from self._at_odds()

    def _proposed(self, measure: int, start: int) -> tuple[list[dict[str, int]], list[int]]:
        """Settings for a glissando that is written without one, and the pitch classes that are wanted."""
        here = [s for s in self.reading.sweeps if (s.first.measure, s.first.note.start) == (measure, start)]
        if not here:
            return [], []
        alters = alters_of(key_at(here[0].first.note, self.context, self.reading.part, measure))
        if any(alter not in SIGNS for alter in alters.values()):
            return [], []
        stands = self.pedals.standing(here[0].from_us)
        return proposed(here[0], self.part, {letter: int(alter) for letter, alter in alters.items()}, stands)

    def _standing(self, measure: int, start: int) -> dict[str, int]:
        """Where the pedals stand at a place of the page when it is first played."""
        frame = self.frame
        t_us = frame.clock.floor_us(frame.first_onset.get(measure, 0) + start)
        return self.pedals.standing(t_us + 1)

    def _note_at(self, measure: int, start: int, staff: int) -> tuple[NoteRef, ...]:
        notes = [n for n in self.part.measures[measure].notes if n.pitch is not None]
        here = [n for n in notes if n.start >= start and n.staff == staff] or notes
        return (NoteRef(self.part.id, measure, here[0].n),) if here else ()

    def _at_odds(self) -> Iterator[Finding]:
        """Signs at one place, on whichever staff, that ask one pedal for two positions."""
        said: dict[tuple[int, int, str], int] = {}
        for sign in self.signs:
            for letter, position in sign.positions:
                other = said.setdefault((sign.measure, sign.start, letter), position)
                if other != position:
                    yield rules.CONTRADICTS.at(
                        Place(self.reading.part, sign.staff, sign.measure, sign.start),
                        self._note_at(sign.measure, sign.start, sign.staff),
                        fold=("odds", sign.measure, sign.start),
                        what=f"say {letter}{SIGNS[other]} and {letter}{SIGNS[position]} at one place",
                    )

    def _bar_of(self, sign: Printed) -> tuple[int, int]:
        """Where the notes stand that a sign is for: its own bar from its place on, else the next with notes."""
        if any(n.pitch is not None and n.start >= sign.start for n in self.part.measures[sign.measure].notes):
            return sign.measure, sign.start
        with_notes = (m.index for m in self.part.measures[sign.measure + 1 :] if any(n.pitch for n in m.notes))
        return next(with_notes, sign.measure), 0

    def _contradiction(self, sign: Printed) -> Iterator[Finding]:
        place = Place(self.reading.part, sign.staff, sign.measure, sign.start)
        near = self._note_at(sign.measure, sign.start, sign.staff)
        if sign.trouble:
            yield rules.CONTRADICTS.at(place, near, what=sign.trouble)
            return
        measure, start = self._bar_of(sign)
        asked: dict[str, Note] = {}
        for note in sorted(self.part.measures[measure].notes, key=lambda n: n.start):
            if note.pitch is None or note.start < start or note.flags & UNCHECKED:
                continue
            if (measure, note.n) not in self.unplanned:
                asked.setdefault(note.pitch.step, note)
        later = [one for one in self.signs if (sign.measure, sign.start) < (one.measure, one.start)]
        for letter, position in sign.positions:
            found = asked.get(letter)
            if found is not None and any(
                letter in dict(one.positions) and (one.measure, one.start) <= (measure, found.start) for one in later
            ):
                continue
            if found is not None and found.pitch is not None and found.pitch.alter != position:
                yield rules.CONTRADICTS.at(
                    place,
                    (NoteRef(self.part.id, measure, found.n),),
                    fold=("printed", sign.measure, sign.start),
                    what=f"have {letter}{SIGNS[position]}, and the bar has {Pitch(*found.pitch)}",
                )


def setting_text(positions: dict[str, int] | Any) -> str:
    """A setting in foot order: ``D C B♭ | E♭ F G A``.

    >>> setting_text(dict(zip("DCBEFGA", (0, 0, -1, -1, 0, 0, 0))))
    'D♮ C♮ B♭ | E♭ F♮ G♮ A♮'
    """
    rows = [f"{letter}{SIGNS[positions[letter]]}" for letter in LETTERS]
    return f"{' '.join(rows[:3])} | {' '.join(rows[3:])}"


def proposal(positions: Mapping[str, int], wanted: Sequence[int]) -> str:
    """A setting as a way out in words, with what it sounds beside the ``wanted`` pitch classes and what it lacks.

    >>> natural = dict.fromkeys("DCBEFGA", 0)
    >>> proposal(natural, (0, 2, 4, 5, 7, 9))
    'set the pedals to D♮ C♮ B♮ | E♮ F♮ G♮ A♮; B♮ sounds too'
    >>> proposal(natural, (0, 2, 4, 5, 7, 9, 10))
    'set the pedals to D♮ C♮ B♮ | E♮ F♮ G♮ A♮; B♮ sounds and B♭ does not'
    """
    said = f"set the pedals to {setting_text(positions)}"
    if not wanted:
        return said
    sounds = {letter: string_class(letter, positions[letter]) for letter in STEPS}
    foreign = [f"{letter}{SIGNS[positions[letter]]}" for letter in STEPS if sounds[letter] not in wanted]
    lacking = [name(60 + k)[:-1] for k in wanted if k not in sounds.values()]
    clauses = []
    if foreign:
        clauses.append(f"{listed(foreign)} sound{'s' * (len(foreign) == 1)}{'' if lacking else ' too'}")
    if lacking:
        clauses.append(f"{listed(lacking)} do{'es' * (len(lacking) == 1)} not{'' if foreign else ' sound'}")
    return f"{said}; {' and '.join(clauses)}" if clauses else said
