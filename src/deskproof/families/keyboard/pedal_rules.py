"""What can be wrong with the pedal signs of a keyboard part."""

from __future__ import annotations

from deskproof.families.wording import first
from deskproof.findings import Rule

UNA_CORDA_OPEN = Rule(
    id="keyboard-una-corda-open",
    levels=("notation",),
    title="“una corda” without an end",
    says="{words} stands in bar {bar} and nothing ends it: {reason}. “tre corde” is missing.",
    why="The left pedal stays down until something is written against it.",
    facts=("pedals.closing_bars", "pedals.loud"),
    silent_when=(
        "“tre corde”, “tutte le corde”, “ohne Verschiebung” or the like follows, or the movement ends softly under "
        "the pedal: it begins in the last bars, or holds for the whole movement"
    ),
    merge=first,
    worse=("bars",),
)
UNA_CORDA_AGAIN = Rule(
    id="keyboard-una-corda-again",
    levels=("notation",),
    title="“una corda” that is asked for while it holds",
    says=(
        "{words} is asked for in bar {bar}, and nothing has ended it since bar {since}: “tre corde” is missing "
        "between, or the words are said twice."
    ),
    why="The left pedal stays down until something is written against it.",
    facts=("pedals.said_again",),
    silent_when="something ends it between, the words only remind (in brackets, sempre), or a new movement begins",
    merge=first,
)
TRE_CORDE_ALONE = Rule(
    id="keyboard-tre-corde-alone",
    levels=("advice",),
    title="an end of “una corda” without its beginning",
    says="{words} stands in bar {bar}, and no “una corda” is open: the beginning is missing, or these words are.",
    why="The player looks for the place where the left pedal should have gone down.",
    facts=("*.pedals",),
    silent_when="the words stand in brackets or at the beginning of a movement, or the pedal was half down",
    merge=first,
)
SOSTENUTO_ALL = Rule(
    id="keyboard-sostenuto-all",
    levels=("notation",),
    title="a sostenuto pedal that goes down while the damper pedal is down",
    says=(
        "the sostenuto pedal goes down in bar {bar} while the damper pedal is down since bar {since}: it catches all "
        "strings{rather}."
    ),
    why="It holds every damper that is up at that moment, and the damper pedal holds them all up.",
    facts=("pedals.sostenuto_catches",),
    silent_when="the damper pedal lifts before, goes down only then, or is only half down",
    merge=first,
)
SOSTENUTO_NOTHING = Rule(
    id="keyboard-sostenuto-nothing",
    levels=("notation",),
    title="a sostenuto pedal that goes down while no key is held",
    says="the sostenuto pedal goes down in bar {bar}, and no key is held then: it catches nothing. {reason}",
    why="It holds only the dampers that are up as it goes down.",
    facts=("pedals.sostenuto_catches",),
    silent_when="a key is held then, if only silently, or the damper pedal is down",
    merge=first,
)
SOSTENUTO_AFTER = Rule(
    id="keyboard-sostenuto-after",
    levels=("notation",),
    title="notes that the sostenuto pedal is to hold but does not catch",
    says=(
        "{note_name} is written on beyond what the hand can hold, under a sostenuto pedal that goes down before it "
        "is struck, in bar {bar}: it is not caught and ends {short_ms} ms early."
    ),
    why="A key struck after the sostenuto pedal has gone down is damped when it is let go.",
    facts=("pedals.sostenuto_catches",),
    silent_when="the note is held when the pedal goes down, the damper pedal keeps it, or the fingers do",
    merge=first,
    worse=("short_us", "count"),
)
LEFT_FOOT = Rule(
    id="keyboard-left-foot",
    levels=("advice",),
    title="two pedals for the left foot while the right one is busy",
    says=(
        "the {moving} pedal {way} in bar {bar} while the {held} pedal is down, and the right foot has the damper "
        "pedal: the left foot has to take both."
    ),
    why="Una corda and sostenuto lie side by side under the left foot; it can press both, but moves one less surely.",
    facts=("pedals.left_foot",),
    silent_when="the right foot is free, or the other pedal is up at that moment",
    merge=first,
)
NO_PEDAL = Rule(
    id="keyboard-no-such-pedal",
    levels=("hard", "notation"),
    title="a pedal that the instrument does not have",
    says="{words} is asked for in a part of the {instrument}: {reason}.",
    why="The player looks for a pedal that is not there, and the notes end with the keys.",
    facts=("*.pedals",),
    silent_when="the instrument has the pedal, the sign is playback data, or it means the organ's pedalboard",
    merge=first,
)

PEDAL_RULES = (
    UNA_CORDA_OPEN, UNA_CORDA_AGAIN, TRE_CORDE_ALONE, SOSTENUTO_ALL, SOSTENUTO_NOTHING, SOSTENUTO_AFTER, LEFT_FOOT,
    NO_PEDAL,
)  # fmt: skip
