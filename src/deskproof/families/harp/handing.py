"""From strings to hands: what the hands planner is given of a harp part, and where its hands end up."""

from __future__ import annotations

from dataclasses import dataclass, replace

from deskproof.families.harp.hands import HandPlan, HandSettings, Struck, plan_hands
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Plucked, Reading

KNOWN_STAVES = (1, 2)


@dataclass(frozen=True, slots=True)
class Handed:
    """The hands of a part.

    ``rows[i]`` are the ordinals of the notes of onset i that the planner was given, ``lines[i]`` their strings.
    """

    plan: HandPlan
    rows: tuple[tuple[int, ...], ...]
    lines: tuple[tuple[int, ...], ...]
    settings: HandSettings

    def of(self, onset: int, note: int) -> str | None:
        """The hand of a note: L, R, or None where it has none."""
        row = self.rows[onset]
        return self.plan.hands[onset][row.index(note)] if note in row else None

    def notes(self, onset: int, given: tuple[int, ...]) -> tuple[int, ...]:
        """Ordinals of notes as the reading counts them."""
        return tuple(self.rows[onset][n] for n in given)


def hands_of(reading: Reading, pedals: PedalPlan, staves: int, harps: int = 1) -> Handed:
    """Plan the hands of a part on so many staves; several harps on one part have as many hands more."""
    settings = HandSettings.from_facts()
    if harps > 1:
        settings = replace(settings, hand=harps * settings.hand, together=harps * settings.together)
    onsets, rows = [], []
    for onset, row, planned in zip(reading.onsets, reading.plucked, pedals.notes, strict=True):
        kept = tuple(n for n, taken in enumerate(planned) if taken is not None)
        rows.append(kept)
        strings = [taken.string.line for taken in planned if taken is not None]
        onsets.append(
            Struck(
                onset.t_us,
                tuple(strings),
                tuple(staff_of(row[n]) if staves > 1 else 0 for n in kept),
                tuple(row[n].written_us for n in kept),
                onset.bracketed,
                tuple(row[n].how for n in kept),
            )
        )
    onsets = _sorted(onsets, rows)
    return Handed(plan_hands(onsets, settings), tuple(rows), tuple(onset.lines for onset in onsets), settings)


def _sorted(onsets: list[Struck], rows: list[tuple[int, ...]]) -> list[Struck]:
    """Strings from low to high; the rows follow. A string name can run against the pitches (E♯ and F♭)."""
    found = []
    for i, onset in enumerate(onsets):
        order = sorted(range(len(onset.lines)), key=lambda k: onset.lines[k])
        rows[i] = tuple(rows[i][k] for k in order)
        found.append(
            onset._replace(
                lines=tuple(onset.lines[k] for k in order),
                staves=tuple(onset.staves[k] for k in order),
                hold_us=tuple(onset.hold_us[k] for k in order),
                how=tuple(onset.how[k] for k in order),
            )
        )
    return found


def staff_of(one: Plucked) -> int:
    """The staff a string is written on, 0 where it is written on both or on none of the two."""
    staves = {event.note.staff for event in one.events}
    staff = staves.pop()
    return staff if not staves and staff in KNOWN_STAVES else 0
