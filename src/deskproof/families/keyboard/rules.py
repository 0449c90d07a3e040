"""What can be too much for the hands at a keyboard."""

from __future__ import annotations

from deskproof.families.keyboard.wording import all_blurred, all_held, shortest, widest
from deskproof.families.wording import first
from deskproof.findings import Rule

STRETCH = Rule(
    id="keyboard-stretch",
    levels=("impossible", "hard"),
    title="a chord wider than a hand reaches",
    says="{keys} in the {hand} hand: {mm} mm from key to key, and {share}; {otherwise}.{goes}",
    why="Every way of sharing the notes between the hands was tried, and this is the least of the stretches.",
    facts=("keys.hand", "keys.hand_large", "keys.hand_over", "pianists.spans", "pianists.roll_note"),
    silent_when="the hand reaches it, the other hand can take a note, or the chord is marked to be broken",
    merge=widest,
    worse=("um", "count"),
)
NOTES = Rule(
    id="keyboard-notes",
    levels=("impossible", "hard"),
    title="more keys at once than the hands have fingers for",
    says="{count_words} at once{where}: {reason}; {otherwise}.{goes}",
    why="A hand takes five keys, six where the thumb lies on two neighbouring ones.",
    facts=("keys.notes_a_hand", "keys.notes_a_hand_thumb", "pianists.roll_note", "keys.leap_least"),
    silent_when="some sharing between the hands leaves no more than five keys, or six, to each",
    merge=first,
    worse=("over", "count"),
)
LEAP = Rule(
    id="keyboard-leap",
    levels=("impossible", "hard"),
    title="a hand that has to leap faster than hands do",
    says=(
        "the {hand} hand goes from {before} to {keys}, {mm} mm in all, in {have_ms} ms; {need_ms} ms are wanted.{goes}"
    ),
    why="Measured on recorded hands: one leap in a hundred is quicker than the line, and next to none than the floor.",
    facts=("keys.leap_from", "keys.leap_least", "keys.leap_hard"),
    silent_when="there is time, or the other hand can take the notes",
    merge=shortest,
    worse=("lack_us", "count"),
)
REPEAT = Rule(
    id="keyboard-repeat",
    levels=("impossible", "hard"),
    title="one key struck again faster than a hand repeats",
    says="{keys} again after {have_ms} ms by the {hand} hand; {need_ms} ms are wanted.{goes}",
    why="Measured on recorded hands: one repetition in a hundred is quicker than this.",
    facts=("keys.repeat_hard", "pianists.repeat_floor"),
    silent_when="there is time, or the hands strike it in turn",
    merge=shortest,
    worse=("lack_us", "count"),
)
RESTRUCK = Rule(
    id="keyboard-restruck",
    levels=("advice",),
    title="a key that one hand strikes while the other is to hold it",
    says="the {hand} hand strikes {keys} while the other is to hold it for {left_ms} ms more.",
    why="A key that is down cannot be struck: it has to come up first, and the held note ends there.",
    facts=(),
    silent_when="both staves strike it together, or one hand does both",
    merge=first,
    worse=("left_us", "count"),
)
LET_GO = Rule(
    id="keyboard-let-go",
    levels=("hard",),
    title="a written note that no finger can hold, on an instrument without a damper pedal",
    says="{keys}, written for {left_ms} ms more, must be let go: the {hand} hand has other keys to take.",
    why="On organ and harpsichord a note ends when the finger leaves its key.",
    facts=("keys.hand", "keys.hand_over"),
    silent_when="a finger can stay, the other hand takes over, or the instrument has a damper pedal",
    merge=first,
    worse=("left_us", "count"),
)
FAST = Rule(
    id="keyboard-fast",
    levels=("hard",),
    title="more notes a second than one hand plays",
    says="the {hand} hand plays {rate} times a second here; {most} are the most that recorded hands do.{goes}",
    why="Measured over eight strokes of one hand; one passage in a thousand is quicker than this.",
    facts=("keys.events_hard", "pianists.rate_events"),
    silent_when="the hands share the notes, or the line is a glissando",
    merge=shortest,
    worse=("rate", "count"),
)
OCTAVES = Rule(
    id="keyboard-octaves",
    levels=("hard",),
    title="octaves in a row faster than one hand plays them",
    says="the {hand} hand has octaves every {have_ms} ms; {need_ms} ms are wanted.{goes}",
    why="Measured on recorded hands over five octaves on other keys each time; one in a thousand is quicker.",
    facts=("keys.octaves_hard", "pianists.octaves"),
    silent_when="there is time, or the octaves stay on their keys",
    merge=shortest,
    worse=("lack_us", "count"),
)
TREMOLO = Rule(
    id="keyboard-tremolo",
    levels=("hard",),
    title="a tremolo of counted strokes faster than a hand makes it",
    says="the strokes on {keys} come every {have_ms} ms in the {hand} hand; {need_ms} ms are wanted.{goes}",
    why="One or two strokes are counted out; with three a tremolo is as quick as it comes.",
    facts=("keys.tremolo_hard", "keys.repeat_hard"),
    silent_when="there is time, the other hand is free to take turns, or the tremolo has three strokes",
    merge=shortest,
    worse=("lack_us", "count"),
)
COVERED = Rule(
    id="keyboard-covered",
    levels=("advice",),
    title="a celesta under loud held notes of a group",
    says="the {instrument} plays under {groups} held at f or louder; it will hardly be heard.",
    why="Any sustained group covers a celesta easily.",
    facts=("keyboards.loud", "keyboards.covering_parts"),
    silent_when="the others are softer, rest, or are fewer than two of a group",
    merge=first,
    worse=("over", "count"),
)
FEET = Rule(
    id="keyboard-feet",
    levels=("impossible", "hard"),
    title="more than two feet do on a pedalboard",
    says="{keys} in the pedals: {reason}.{goes}",
    why="Two feet take one key each, or two neighbours with toe and heel.",
    facts=("keyboards.organ_feet", "keyboards.organ_foot_span", "keyboards.organ_foot_again"),
    silent_when="two feet take the keys and have time",
    merge=first,
    worse=("over", "lack_us", "count"),
)
NEEDS_DAMPER = Rule(
    id="keyboard-needs-damper",
    levels=("advice",),
    title="notes that only the damper pedal holds",
    says="{held_words} to sound on {bars} after the fingers have left: the damper pedal holds them.",
    why="Told only when it is asked for: a composer need not write the pedal.",
    facts=("keys.hand", "keys.hand_over"),
    silent_when="it is not asked for, the pedal is written there, or fingers hold the notes",
    merge=all_held,
    worse=("held", "count"),
)
BLUR = Rule(
    id="keyboard-blur",
    levels=("advice",),
    title="a pedal that notes need and that blurs others",
    says="under the pedal that notes here need, {held} sounds on into {struck}, a step from it{times}.",
    why="Told only when it is asked for, and never where the composer has written the pedal.",
    facts=("pedals.blur_steps",),
    silent_when="it is not asked for, the pedal is written there, or it can change between the notes",
    merge=all_blurred,
    worse=("blurred", "count"),
)
SOSTENUTO_HELPS = Rule(
    id="keyboard-sostenuto-helps",
    levels=("advice",),
    title="held notes under staccato ones, which the sostenuto pedal keeps apart",
    says="{keys} held to bar {until} under staccato notes: the sostenuto pedal, taken while they are down, holds them.",
    why="The damper pedal would hold the staccato notes too. Told only when it is asked for.",
    facts=("pedals.sostenuto_catches", "pedals.left_foot"),
    silent_when="it is not asked for, the notes between are not all short, or the left foot has the una corda",
    merge=first,
    worse=("count",),
)
CLUSTER = Rule(
    id="keyboard-cluster",
    levels=("hard",),
    title="keys struck with palm, fist or forearm, or notes inside the instrument",
    says="{what} is asked for: it needs an instrument and a player that allow it.",
    why="It can be done and is called what it is; halls and owners do not all allow it.",
    facts=(),
    silent_when="nothing of the kind is written",
    merge=first,
    worse=(),
)
RULES = (
    STRETCH, NOTES, LEAP, REPEAT, RESTRUCK, LET_GO, FAST, OCTAVES, TREMOLO, COVERED, FEET, NEEDS_DAMPER, BLUR,
    SOSTENUTO_HELPS, CLUSTER,
)  # fmt: skip
