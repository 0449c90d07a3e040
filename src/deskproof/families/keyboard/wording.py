"""What the findings of keyboards share: where they stand, and how rows of keys are said."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.keyboard.reading import Key, Reading
from deskproof.findings import Numbers, Place
from deskproof.pitch import name
from deskproof.timeline import Event

NEAR = 2  # measures; findings of one kind that stand closer belong to one passage
SIDES = {"L": "left", "R": "right"}


def widest(rows: Sequence[Numbers]) -> Numbers:
    """Of several stretches the figures of the widest."""
    return max(rows, key=lambda row: row["um"])


def shortest(rows: Sequence[Numbers]) -> Numbers:
    """Of several findings about time the figures of the one with the least of what it needs."""
    return min(rows, key=lambda row: row["factor"])


def all_held(rows: Sequence[Numbers]) -> Numbers:
    """Notes that need the pedal, counted, from the first bar to the last."""
    held = sum(row["held"] for row in rows)
    bars = in_bars(rows[0]["since"], rows[-1]["until"])
    return {**rows[0], "held": held, "held_words": notes_in_words(held), "bars": bars}


def in_bars(first: str, last: str) -> str:
    """From bar to bar, in words.

    >>> in_bars("3", "3"), in_bars("3", "5")
    ('in bar 3', 'in bars 3 to 5')
    """
    return f"in bar {first}" if first == last else f"in bars {first} to {last}"


def notes_in_words(count: int) -> str:
    """How many notes are to do something.

    >>> notes_in_words(1), notes_in_words(3)
    ('a note is', '3 notes are')
    """
    return "a note is" if count == 1 else f"{count} notes are"


def all_blurred(rows: Sequence[Numbers]) -> Numbers:
    """Of several blurs the first, with the number of the others."""
    more = sum(row["blurred"] for row in rows) - 1
    times = f", and {more} more so" if more else ""
    return {**rows[0], "blurred": more + 1, "times": times}


def place_of(reading: Reading, event: Event) -> Place:
    """Where an event stands."""
    return Place(reading.part, event.note.staff, event.measure, event.note.start, event.pass_)


def name_of(key: Key) -> str:
    """The written name of a key, where the page gives one at its sounding pitch; that of its pitch otherwise."""
    written = key.event.note.pitch
    return str(written) if written is not None and written.midi == key.key else name(key.key)
