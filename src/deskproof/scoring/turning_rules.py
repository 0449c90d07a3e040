"""The rules by which piano writing is turned into orchestra writing: their names, what they say, when they hold."""

from __future__ import annotations

from dataclasses import dataclass

from deskproof.errors import DeskproofError


class TurningError(DeskproofError):
    """No rule has this name; the message lists those that there are."""


@dataclass(frozen=True)
class Turning:
    """One rule: its name as it stands in a plan, what it does, and when it is used; ``facts`` are its figures."""

    name: str
    says: str
    when: str
    facts: tuple[str, ...] = ()


HELD_BY_PEDAL = Turning(
    "held by the pedal",
    "A note that the damper pedal holds is written as long as it sounds: up to the next note of its strand, up to "
    "where the harmony leaves it, or up to where the pedal lets go.",
    "Notes of the bass, of an inner part or of a held harmony whose key is let go before the pedal.",
    ("turning.pedal_least",),
)
BROKEN_CHORD = Turning(
    "broken chord with a held harmony",
    "The figure stays as it is. Beside it the notes of its chord are held for as long as the harmony lasts, in up to "
    "four voices that move to the nearest notes. The held notes may be left away.",
    "A figuration that goes through the notes of one chord, up to four of them, mostly in leaps.",
    (
        "turning.figure_step", "turning.figure_least", "turning.figure_leap", "turning.figure_leaps", "turning.voices",
        "turning.harmony_least", "turning.harmony_longest", "turning.harmony_gone", "turning.harmony_bass",
        "turning.harmony_none",
    ),
)  # fmt: skip
OCTAVE_TREMOLO = Turning(
    "octave tremolo",
    "Each of the two notes, or of the two chords, becomes a tremolo of its own on one note, and they sound together.",
    "Two notes a minor third or more apart, or two chords, that alternate quickly or are written as a tremolo.",
    (
        "turning.tremolo_step", "turning.tremolo_least", "turning.tremolo_pair", "turning.tremolo_interval",
        "turning.tremolo_unmeasured", "turning.unmeasured_strokes",
    ),
)  # fmt: skip
STRUCK_AGAIN = Turning(
    "repeated chords struck again",
    "The repeated notes stay as they are, for strings. Beside them they are held, once for all of them, for winds. The "
    "held notes may be left away.",
    "One note repeated faster than a wind player's single tongue goes on for long.",
    ("turning.winds_tongue", "turning.again_least"),
)
ROLLED_CHORD = Turning(
    "rolled chord",
    "The notes of the chord begin together, with the first of them.",
    "Notes upwards one after the other, all of them held, in a played sketch or under a sign that rolls them.",
    ("turning.roll_step", "turning.roll_least"),
)
DRUM_STROKES = Turning(
    "drum strokes on the bass",
    "The timpani strike with the bass, in the octave that a drum has, on one note or on notes a fifth apart.",
    "Notes of the bass or of accents on strong beats or under an accent, where time is left between the strokes.",
    ("turning.drum_least", "turning.drum_step"),
)
RULES: tuple[Turning, ...] = (
    HELD_BY_PEDAL, BROKEN_CHORD, OCTAVE_TREMOLO, STRUCK_AGAIN, ROLLED_CHORD, DRUM_STROKES,
)  # fmt: skip
"""Every rule that makes or changes a tone."""


def rule_named(name: str) -> Turning:
    """The rule of this name.

    >>> rule_named("octave tremolo").facts[0]
    'turning.tremolo_step'

    Raises
    ------
    TurningError
        If there is none.
    """
    found = next((rule for rule in RULES if rule.name == name), None)
    if found is None:
        raise TurningError(f"{name!r} is no rule; there are: {', '.join(rule.name for rule in RULES)}.")
    return found
