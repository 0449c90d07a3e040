"""What can be wrong with a harp part's pedals."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.harp.wording import soonest
from deskproof.families.wording import first
from deskproof.findings import Numbers, Rule


def _worst(rows: Sequence[Numbers]) -> Numbers:
    """Of several changes the one with the least time."""
    return min(rows, key=lambda row: row["have_us"])


def _longest(rows: Sequence[Numbers]) -> Numbers:
    return max(rows, key=lambda row: row["lack_us"])


CLUSTER = Rule(
    id="harp-cluster",
    levels=("impossible", "hard", "advice"),
    title="notes together that no setting of the pedals gives",
    says="{group} together: {reason}.{goes}",
    why="One letter has one position at a time, in all octaves.",
    facts=(),
    silent_when="some spelling puts every note on a string of its own",
    merge=first,
)
TOO_FAST = Rule(
    id="harp-pedal-too-fast",
    levels=("impossible", "hard", "advice"),
    title="pedals that have to move too fast",
    says="{group}: {reason}.{goes}",
    why="A foot moves one pedal at a time, and a pedal may not move while its string has to sound.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="another spelling, or letting a note go sooner, makes the time",
    merge=first,
)
QUICK = Rule(
    id="harp-pedal-quick",
    levels=("hard",),
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
    levels=("hard",),
    title="two pedals of one foot in one breath",
    says=(
        "the {foot} foot moves {pedals} between two notes and has {have_ms} ms for all of it; "
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
    says="{note_name}, written for {written_beats}, must be let go {kept}: the {pedal} pedal has to move.",
    why="A pedal that moves under a sounding string is heard as a slide or a buzz.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="some plan keeps every written length",
    merge=first,
    worse=("short_us", "count"),
)
NO_PEDAL = Rule(
    id="harp-string-without-pedal",
    levels=("impossible", "hard"),
    title="a note that no string gives",
    says="{note_name} cannot be had: {reason}.",
    why="The lowest C and D (and on some harps the top G) are tuned by hand before the piece.",
    facts=("harp.without_pedal",),
    silent_when="Forces tune the string to the note",
    merge=first,
)
HANDS = Rule(
    id="harp-chord-hands",
    levels=("impossible", "hard", "advice"),
    title="a chord that no two hands take",
    says="{count_words} together: {reason}.{goes}",
    why="A harpist plucks with four fingers of each hand; the little finger is not used.",
    facts=("harp.fingers_a_hand", "harp.reach"),
    silent_when="the chord is broken and has no more than eight notes",
    merge=first,
)
ZONE = Rule(
    id="harp-hand-zone",
    levels=("hard", "advice"),
    title="a hand where it reaches badly",
    says="the {hand} hand has {note_name}, {where}, and the other is not free for it.",
    why=(
        "The harp leans on the right shoulder: the right hand does not get to the lowest strings, and the left reaches "
        "the highest less easily."
    ),
    facts=("harp.right_hand_lowest", "harp.right_hand_comfortable", "harp.left_hand_comfortable"),
    silent_when="the other hand can take the note",
    merge=first,
    worse=("beyond", "count"),
)
LEAP = Rule(
    id="harp-hand-leap",
    levels=("hard",),
    title="a hand that has to leap faster than in comfort",
    says="the {hand} hand lacks {lack_ms} ms for its way from {from_name} to {to_name}.{goes}",
    why="A hand is placed on the strings before it plucks, and both hands were tried.",
    facts=("harp.hand_leap", "harp.reach"),
    silent_when="some division between the hands makes the way short enough",
    merge=_longest,
    worse=("lack_us", "count"),
)
AGAIN = Rule(
    id="harp-string-again",
    levels=("hard",),
    title="the same string again too soon",
    says="{note_name} is plucked again after {gap_ms} ms by the same hand: the finger set anew cuts it off.{goes}",
    why="A string that still sounds is stopped by the finger placed on it; two strings of one pitch help.",
    facts=("harp.string_again",),
    silent_when="the hands can alternate, or there is time",
    merge=soonest,
    worse=("count",),
)
BUSY = Rule(
    id="harp-hand-busy",
    levels=("hard",),
    title="a hand that is wanted while it plays a trill",
    says="the {hand} hand has {note_name} to play while its {what} still runs for {left_ms} ms.",
    why="A trill or glissando binds a hand until it ends.",
    facts=(),
    silent_when="the other hand is free for one of the two",
    merge=first,
    worse=("left_us", "count"),
)
RINGS = Rule(
    id="harp-ringing",
    levels=("advice",),
    title="a pedal that moves under a ringing string",
    says=(
        "the {pedal} pedal moves from {before} to {after} {after_ms} ms after {note_name}, {loudness}: "
        "the {string} string still rings and will buzz or slide."
    ),
    why="Strings ring beyond their written length, low ones longest, and a pedal moves its letter in all octaves.",
    facts=("harp.ring", "harp.damp_time", "harp.heard_below", "harp.heard_share", "harp.exposed_parts"),
    silent_when="the string is damped, high, long plucked, or covered by others",
    merge=first,
    worse=("count",),
)
GLISS_END = Rule(
    id="harp-gliss-end",
    levels=("notation",),
    title="a glissando whose end does not fit",
    says="the glissando {what}.",
    why="All strings between its ends sound as the pedals are set, its last note too.",
    facts=(),
    silent_when="the setting has the last note",
    merge=first,
    worse=(),
)
GLISS_SET = Rule(
    id="harp-gliss-setting",
    levels=("impossible", "hard"),
    title="a glissando whose setting cannot be had in time",
    says="the pedals cannot be set to {setting} for the glissando in time.",
    why="A glissando needs all its letters set before it begins, and a foot moves one pedal at a time.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="the pedals can be set before it",
    merge=first,
    worse=(),
)
GLISS_SPEED = Rule(
    id="harp-gliss-speed",
    levels=("hard", "advice"),
    title="a glissando at the end of what sounds as one",
    says="the glissando has {strings} strings in {seconds} s, {rate} a second: {judged}.",
    why="Too fast, the finger strikes a noise; too slow, the notes fall apart.",
    facts=("harp.sweep_fastest", "harp.sweep_slowest"),
    silent_when="the speed lies between the two figures",
    merge=first,
    worse=("far",),
)
SPELLING = Rule(
    id="harp-spelling",
    levels=("notation", "advice"),
    title="names of notes that are not the strings best played",
    says="{what}: write {example}{more}.",
    why="Harpists read what they play: a name is a string. Two names for one sound are two strings.",
    facts=(),
    silent_when="the spelling costs nothing: no change of a pedal, no hurry, no note let go",
    merge=first,
    spelling=True,
    worse=("saved", "count"),
)
NO_SETTING = Rule(
    id="harp-no-setting",
    levels=("notation", "advice"),
    title="no setting of the pedals is printed",
    says="no pedal setting is printed{where}; {setting}.",
    why="A harpist sets seven pedals before the first note, and before a glissando nobody can guess them.",
    facts=(),
    silent_when="a pedal diagram or pedal words stand in the part",
    merge=first,
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
    merge=first,
    worse=(),
)
ATTACCA = Rule(
    id="harp-attacca",
    levels=("impossible", "hard"),
    title="a movement that follows at once, with the pedals elsewhere",
    says=(
        "the movement before ends with other pedals{moves}. From its last note to here there are {have} s{feet}; "
        "{each} s for each pedal are comfortable."
    ),
    why="Between movements a harpist sets all seven pedals at leisure; attacca leaves no time for it.",
    facts=("harp.pedal_comfortable", "harp.pedal_quickest"),
    silent_when="the movement before does not end attacca, or the feet have the time",
    merge=first,
    worse=("count",),
)
RULES = (
    CLUSTER, TOO_FAST, QUICK, ONE_FOOT, LET_GO, NO_PEDAL, HANDS, ZONE, LEAP, AGAIN, BUSY, RINGS,
    GLISS_END, GLISS_SET, GLISS_SPEED, SPELLING, NO_SETTING, CONTRADICTS, ATTACCA,
)  # fmt: skip
