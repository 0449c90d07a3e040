"""What timpani cannot do in time, and what needs another drum."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.wording import first
from deskproof.findings import Numbers, Rule


def _shortest(rows: Sequence[Numbers]) -> Numbers:
    return max(rows, key=lambda row: row["lack_us"])


FIGURES = (
    "timpani_drums.tone_comfortable", "timpani_drums.semitone_comfortable", "timpani_drums.tone_quickest",
    "timpani_drums.semitone_quickest", "timpani_drums.feet",
)  # fmt: skip
NO_TIME = Rule(
    id="timpani-no-time",
    levels=("impossible", "hard"),
    title="a note that no drum can be tuned to in time",
    says="{notes_named}: no drum can have it here. {drums_named} {are} needed before and after it.",
    why="Every way of giving the notes to the drums and of retuning them in between was tried.",
    facts=FIGURES,
    silent_when="some drum is free long enough to be tuned, or the tempo is told nowhere",
    merge=first,
    worse=("count",),
)
TOGETHER = Rule(
    id="timpani-together",
    levels=("impossible",),
    title="more drums at once than there are sticks, or drums that have the notes",
    says="{notes_named} at once: {reason}.",
    why="A player has two sticks, and each pitch needs a drum that reaches it.",
    facts=("timpani_drums.sticks", "timpani_drums.standard", "timpani_drums.feet"),
    silent_when="two drums have the notes, or there are two players",
    merge=first,
    worse=("count",),
)
QUICK = Rule(
    id="timpani-quick",
    levels=("hard",),
    title="a drum that has to be retuned in a hurry",
    says="the {inch}-inch drum from {before} to {after} has {have} s; {need} s are comfortable.",
    why="By the gauge it can be quicker; to hear the new pitch takes the longer time.",
    facts=FIGURES,
    silent_when="there is the comfortable time, or another way of giving the notes to the drums has it",
    merge=_shortest,
    worse=("lack_us", "count"),
)
FIFTH = Rule(
    id="timpani-fifth-drum",
    levels=("hard",),
    title="notes for which four drums are not enough",
    says="{notes_named}: the usual four drums do not have it here; a fifth, of {inch} inches, does.",
    why="Planned with four drums something is left out, with the fifth it is not.",
    facts=("timpani_drums.standard", "timpani_drums.fifth"),
    silent_when="four drums are enough, or the forces say which drums there are",
    merge=first,
    worse=("count",),
)
ATTACCA = Rule(
    id="timpani-attacca",
    levels=("impossible", "hard"),
    title="a movement that follows at once, with the drums at other notes",
    says=(
        "the drums stand at {stands} after the movement before, whose last stroke is {have} s ago: no time to tune one "
        "to {notes_named} at ease."
    ),
    why="Between movements a timpanist tunes and listens at leisure; attacca leaves no time for it.",
    facts=FIGURES,
    silent_when="the movement before does not end attacca, or the drums can be retuned in time",
    merge=first,
    worse=("count",),
)
RULES = (NO_TIME, TOGETHER, QUICK, FIFTH, ATTACCA)
