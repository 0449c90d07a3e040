"""What can be wrong with a harp part's pedals."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.findings import Numbers, Rule


def _first(rows: Sequence[Numbers]) -> Numbers:
    return rows[0]


def _worst(rows: Sequence[Numbers]) -> Numbers:
    """Of several changes the one with the least time."""
    return min(rows, key=lambda row: row["have_us"])


CLUSTER = Rule(
    id="harp-cluster",
    levels=("impossible",),
    title="notes together that no setting of the pedals gives",
    says="{group} together: {reason}.",
    why="One letter has one position at a time, in all octaves.",
    facts=(),
    silent_when="some spelling puts every note on a string of its own",
    merge=_first,
)
TOO_FAST = Rule(
    id="harp-pedal-too-fast",
    levels=("impossible", "hard"),
    title="pedals that have to move too fast",
    says="{group}: {reason}.{goes}",
    why="A foot moves one pedal at a time, and a pedal may not move while its string has to sound.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="another spelling, or letting a note go sooner, makes the time",
    merge=_first,
)
QUICK = Rule(
    id="harp-pedal-quick",
    levels=("hard", "advice"),
    title="a pedal that has less than the comfortable time",
    says="the {pedal} pedal from {before} to {after} has {have_ms} ms; {need_ms} ms are comfortable.{goes}",
    why="It can be done, but it has to be practised, and it may be heard.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="the comfortable time is there",
    merge=_worst,
    worse=("short_us", "count"),
)
ONE_FOOT = Rule(
    id="harp-one-foot-twice",
    levels=("hard", "advice"),
    title="two pedals of one foot in one breath",
    says=(
        "the {foot} foot moves {pedals} between two notes and has {have_ms} ms for them; "
        "{need_ms} ms are comfortable.{goes}"
    ),
    why="One foot moves one pedal at a time.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="the comfortable time is there, or the two pedals belong to different feet",
    merge=_worst,
    worse=("short_us", "count"),
)
LET_GO = Rule(
    id="harp-let-go-early",
    levels=("hard", "advice"),
    title="a note that has to be let go before its written end",
    says="{note_name} must be let go after {hold_beats} of its {written_beats} quarters, for the {pedal} pedal.",
    why="A pedal that moves under a sounding string is heard as a slide or a buzz.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="some plan keeps every written length",
    merge=_first,
    worse=("short_us", "count"),
)
NO_PEDAL = Rule(
    id="harp-string-without-pedal",
    levels=("impossible",),
    title="a note that only a string without pedal could give",
    says="{note_name} cannot be had: the {string} string has no pedal and is tuned to {tuned}.",
    why="The lowest C and D (and on some harps the top G) are tuned by hand before the piece.",
    facts=("harp.without_pedal",),
    silent_when="Forces tune the string to the note",
    merge=_first,
)
HANDS = Rule(
    id="harp-chord-hands",
    levels=("impossible",),
    title="a chord that no two hands take",
    says="{count_words} together: {reason}.",
    why="A harpist plucks with four fingers of each hand; the little finger is not used.",
    facts=("harp.fingers_a_hand", "harp.reach"),
    silent_when="the chord is broken and has no more than eight notes",
    merge=_first,
)
SPELLING = Rule(
    id="harp-spelling",
    levels=("notation", "advice"),
    title="names of notes that are not the strings best played",
    says=(
        "as spelled the pedals move {as_spelled} times{clashes}; with {example} and the like they move {planned} times."
    ),
    why="Harpists read what they play: a name is a string. Two names for one sound are two strings.",
    facts=(),
    silent_when="the spelling costs no change of pedal",
    merge=_first,
    spelling=True,
    worse=("saved", "count"),
)
NO_SETTING = Rule(
    id="harp-no-setting",
    levels=("notation", "advice"),
    title="no setting of the pedals is printed",
    says="no pedal setting is printed{before}; the part begins with {setting}.",
    why="A harpist sets seven pedals before the first note, and before a glissando nobody can guess them.",
    facts=(),
    silent_when="a pedal diagram or pedal words stand in the part",
    merge=_first,
    worse=(),
)
CONTRADICTS = Rule(
    id="harp-printed-setting",
    levels=("notation",),
    title="a printed setting that contradicts itself or the notes",
    says="the printed pedals {what}.",
    why="The harpist sets what is printed and then plays a wrong note.",
    facts=(),
    silent_when="the first notes after the setting agree with it",
    merge=_first,
    worse=(),
)
RULES = (
    CLUSTER, TOO_FAST, QUICK, ONE_FOOT, LET_GO, NO_PEDAL, HANDS, SPELLING, NO_SETTING, CONTRADICTS,
)  # fmt: skip
