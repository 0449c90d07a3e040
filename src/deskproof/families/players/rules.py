"""What can be wrong with who plays what."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.wording import first
from deskproof.findings import Numbers, Rule


def _shortest(rows: Sequence[Numbers]) -> Numbers:
    return max(rows, key=lambda row: row["lack_us"])


CHANGES = (
    "players.change_wind", "players.change_brass", "players.change_crook", "players.change_keyboard",
    "players.change_never",
)  # fmt: skip
CHANGE = Rule(
    id="players-change",
    levels=("impossible", "hard"),
    title="too little time to take another instrument",
    says="from {before} to {after} there {are} {have} s; {need} s are risky already, {easy} s are comfortable.",
    why="One instrument is put down, the other taken up, and warmed if there is time.",
    facts=CHANGES,
    silent_when="there is the quickest time or more, or another line has the other instrument",
    merge=_shortest,
    worse=("lack_us", "count"),
)
CLASH = Rule(
    id="players-clash",
    levels=("impossible", "hard"),
    title="a player who is wanted at two instruments",
    says="{who} is wanted in {before} and in {after}: {short}.{otherwise}",
    why="Every way of giving the lines, and the stretches between rests, to the players was tried or bounded.",
    facts=CHANGES,
    silent_when="some way of giving the stretches to the players has the time for every change",
    merge=_shortest,
    worse=("lack_us", "count"),
)
SECOND = Rule(
    id="players-second-keyboard",
    levels=("hard",),
    title="keyboards that need a second player",
    says="{before} and {after}: {short}; a second player is needed at the keyboards, which not every orchestra has.",
    why="An orchestra seldom has a player for the celesta alone: the pianist takes it, if there is time.",
    facts=("players.keyboards", "players.change_keyboard", "players.change_never"),
    silent_when="one player has the time to go from one to the other, or the forces name the players",
    merge=_shortest,
    worse=("lack_us", "count"),
)
NOBODY = Rule(
    id="players-nobody",
    levels=("hard",),
    title="an instrument that nobody in the room plays",
    says="nobody in the forces plays the {instrument}.",
    why="The forces name players for this group, and none of them has the instrument.",
    facts=(),
    silent_when="the forces name no player of the group at all",
    merge=first,
    worse=("count",),
)
UNSAID = Rule(
    id="players-change-unsaid",
    levels=("notation",),
    title="a change of instrument that the page does not say",
    says="the part goes over to the {after} here, and no words on the page say so.",
    why="The file's playback data change the instrument; the player has only the page.",
    facts=("players.words_before",),
    silent_when="words name the new instrument near its entry, or at the last note before",
    merge=first,
    worse=("count",),
)
UNANNOUNCED = Rule(
    id="players-change-late",
    levels=("advice",),
    title="a change of instrument that is said only at its first note",
    says=(
        "“{text}” stands at the entry itself; “to {after}” at the last note before, {have} s earlier, is read in time."
    ),
    why="In the rest between, the player has to know which instrument to take up.",
    facts=(),
    silent_when="words before the entry name the new instrument",
    merge=first,
    worse=("count",),
)
TOO_FEW = Rule(
    id="players-too-few-instruments",
    levels=("hard",),
    title="more of an instrument at once than the room has",
    says="{wanted} of the {instrument} sound at once, in {lines}; the room has {have}.",
    why="The forces say how many of it there are.",
    facts=(),
    silent_when="the forces do not count the instrument, or it is never in more hands at once",
    merge=first,
    worse=("wanted", "count"),
)
DIVISI = Rule(
    id="players-divided-desks",
    levels=("hard",),
    title="a section divided into more parts than it has players",
    says="“{text}” asks for {wanted} parts, and the section has {have} players.",
    why="The forces say how many desks or players the section has.",
    facts=(),
    silent_when="the forces do not count the section, or everybody has at most one of the parts",
    merge=first,
    worse=("wanted", "count"),
)
ATTACCA = Rule(
    id="players-attacca",
    levels=("impossible", "hard"),
    title="a movement that follows at once, on another instrument",
    says=(
        "the movement before ends on the {before}, and this begins on the {after} {have} s later; {need} s are risky "
        "already, {easy} s are comfortable."
    ),
    why="Attacca leaves no pause in which one instrument is put down and the other taken up.",
    facts=CHANGES,
    silent_when="the movement before does not end attacca, or there is the time",
    merge=_shortest,
    worse=("lack_us", "count"),
)
RULES = (CHANGE, CLASH, SECOND, NOBODY, UNSAID, UNANNOUNCED, TOO_FEW, DIVISI, ATTACCA)
