"""The rules of a short score, each with its name and a line of words, in the order in which they are applied."""

from __future__ import annotations

from typing import NamedTuple


class Stated(NamedTuple):
    """A rule as it is told to a reader."""

    name: str
    says: str


RULES = (
    Stated(
        "sounding pitch",
        "All notes stand where they sound; no instrument is transposed.",
    ),
    Stated(
        "page order",
        "Bars follow one another as printed; repeats are carried over, not played out.",
    ),
    Stated(
        "one note for a unison",
        "What several players begin together on one pitch and hold equally long is one note. A shorter one is left out "
        "if its player rests until the longer one ends.",
    ),
    Stated(
        "octaves left out",
        "A line that doubles another at the octave for a whole bar is left out; the note that stands for it remembers "
        "its player with 8va or 8vb.",
    ),
    Stated(
        "outermost octaves kept",
        "The highest and the lowest line always stay, each with the octave inside it where that is played: tune and "
        "bass in octaves stay octaves.",
    ),
    Stated(
        "full chords",
        "A single pitch, held or repeated through a bar, is left out for its octave only in a full bar.",
    ),
    Stated(
        "lines stay on their staff",
        "Lines are divided among the staves from the top down by their height; a line leaves its staff only where it "
        "lies much nearer to another, or where its staff is too full.",
    ),
    Stated(
        "two voices a staff",
        "A staff takes two voices where possible; lines with rhythms that fit together share one, and equal rhythms "
        "stand as chords.",
    ),
    Stated(
        "held notes tied",
        "A note that lasts over a barline, or longer than one value, is tied.",
    ),
    Stated(
        "tremolo and trill",
        "Tremolos, trills and other ornaments stay signs.",
    ),
    Stated(
        "drums without pitch",
        "Instruments without pitch are left out, and a remark names them.",
    ),
    Stated(
        "one dynamic",
        "A staff has one dynamic at a place: the loudest of those who begin a note there; and one hairpin at a time. "
        "The same dynamic is not said twice in a bar.",
    ),
    Stated(
        "slurs",
        "A slur stays where its line goes on at both ends and on one staff; lines that move together have one.",
    ),
    Stated(
        "articulations",
        "Accents, dots and the like are those of the first player in score order; those of a chord stand once, at its "
        "lowest note.",
    ),
    Stated(
        "for all",
        "Tempo, rehearsal letters, jumps, repeats, key and metre are carried over once.",
    ),
    Stated(
        "clefs",
        "Treble or bass, changed at a bar where the notes lie well beyond.",
    ),
    Stated(
        "memory",
        "Every note remembers who plays it, and in which octave.",
    ),
)
"""The rules of every short score."""

PIANO_RULES = (
    Stated(
        "keys, not bows",
        "A tremolo, and a note struck again too quickly, is held; a key that is struck again is let go before; only "
        "the tune keeps its trills.",
    ),
    Stated(
        "tune and bass first",
        "The highest note is the right hand's, the lowest the left hand's; they stay to the last.",
    ),
    Stated(
        "then the chord",
        "A hand takes the inner notes that it reaches: first those that more players have, and other notes of the "
        "chord before octaves.",
    ),
    Stated(
        "no shreds",
        "An inner line of which the hands take less than half in a bar is left out of that bar.",
    ),
    Stated(
        "thinned where the hands say so",
        "Where the check of the hands finds something impossible or hard, that place is thinned by one step and the "
        "check asked again: no grace notes and one inner note a hand less, two less, tune and bass only.",
    ),
    Stated(
        "the last steps",
        "Only for what is impossible even then: the bass an octave higher, no bass, nothing at that place.",
    ),
)
"""What is added to them for a piano part."""
