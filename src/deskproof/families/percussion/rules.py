"""What can be too much for a percussionist, and what the page must say."""

from __future__ import annotations

from collections.abc import Sequence

from deskproof.families.wording import first
from deskproof.findings import Numbers, Rule


def _most(rows: Sequence[Numbers]) -> Numbers:
    """The figures of the one that is most beyond what goes."""
    return max(rows, key=lambda row: row["over"])


MALLETS = Rule(
    id="percussion-mallets",
    levels=("impossible", "hard"),
    title="more bars at once than there are mallets",
    says="{count_bars} bars at once on the {instrument}: {reason}.",
    why="A hand holds one mallet, or two; three are held by a few players of the marimba and the vibraphone.",
    facts=("mallets.a_hand", "mallets.a_hand_most", "mallets.four_usual"),
    silent_when=(
        "the chord is broken, there are two players, four mallets are asked for, or players of the instrument take "
        "four anyway"
    ),
    merge=_most,
    worse=("over", "count"),
)
REACH = Rule(
    id="percussion-reach",
    levels=("impossible", "hard"),
    title="bars too far apart for the mallets of one hand, or for two arms",
    says="{bars} on the {instrument}: {what}, {mm} mm from bar to bar; {easy_mm} mm {is_easy}.",
    why="Every way of sharing the bars between the hands was tried, and this is the least of the stretches.",
    facts=("mallets.reach", "mallets.apart", "*.bar_low", "*.bar_high", "*.rows"),
    silent_when="some sharing between the hands is within reach, or the chord is broken",
    merge=_most,
    worse=("over", "count"),
)
LEAP = Rule(
    id="percussion-leap",
    levels=("impossible", "hard"),
    title="a mallet that has to leap faster than hands do",
    says=(
        "the {hand} hand goes from {before} to {bars} on the {instrument}, {mm} mm, in {have_ms} ms; {need_ms} ms are "
        "wanted.{goes}"
    ),
    why="Both hands were tried for every note, and this is the plan with the least haste.",
    facts=("mallets.again", "mallets.leap", "mallets.roll_leaves", "*.bar_low", "*.bar_high", "*.rows"),
    silent_when="there is time, the other hand can take the note, or the notes are grace notes or a glissando",
    merge=_most,
    worse=("over", "count"),
)
HANDS = Rule(
    id="percussion-hands",
    levels=("impossible", "hard"),
    title="more instruments at once than one player has hands for",
    says="{what} at once for one player: {hands} hands are wanted{otherwise}.",
    why="One player has two hands, and at a drum kit two feet.",
    facts=("mallets.both_hands", "mallets.may_hang", "mallets.by_foot", "mallets.limbs", "mallets.kept_sounding"),
    silent_when="nothing says that the part is one player's, or one hand is enough for each",
    merge=_most,
    worse=("over", "count"),
)
CHANGE = Rule(
    id="percussion-change",
    levels=("impossible", "hard"),
    title="too little time to go from one instrument to the next",
    says="from {before} to {after} in {have_ms} ms; {need_ms} ms are wanted.",
    why="What both hands held has to be put down without a noise before the next is taken up.",
    facts=("mallets.change_held", "mallets.change_both", "mallets.change_place", "mallets.both_hands", "mallets.held",
           "mallets.keyboards"),
    silent_when="one hand is free for each, both stand ready, or nothing says that the part is one player's",
    merge=_most,
    worse=("over", "count"),
)  # fmt: skip
STICKS = Rule(
    id="percussion-sticks",
    levels=("hard",),
    title="too little time to take other sticks",
    says="{before} to {after} on the {instrument} in {have_ms} ms; {need_ms} ms are wanted.",
    why="Two sticks are put down and two taken up; a player who knows beforehand has one pair in reach.",
    facts=("mallets.change_sticks",),
    silent_when="one stick of each kind is enough, or the part does not name both kinds",
    merge=_most,
    worse=("over", "count"),
)
ROLL = Rule(
    id="percussion-roll",
    levels=("impossible", "hard"),
    title="a roll on what is struck once",
    says="a roll on the {instrument}, which {reason}.",
    why="A roll is quick strokes in turn; this instrument gives one at a time.",
    facts=("mallets.never_rolled", "mallets.hardly_rolled", "mallets.roll_strokes"),
    silent_when="the strokes of the tremolo are counted out and slow",
    merge=first,
    worse=("count",),
)
DAMP = Rule(
    id="percussion-damp",
    levels=("hard",),
    title="a note that is to be damped, and no hand to damp it",
    says="a hand has {have_ms} ms to damp the {instrument}, {need_ms} ms are wanted: {reason}.{goes}",
    why="A cymbal, a gong or a triangle rings on until a hand is laid on it; the hand leaves what it strikes for that.",
    facts=("mallets.damp_hand", "mallets.damp_kept", "mallets.without_hand", "*.rings", "mallets.again",
           "mallets.both_hands", "mallets.change_both", "mallets.change_place", "mallets.keyboards"),
    silent_when=(
        "nothing says that it is to be damped, a hand is free before or after, a foot or the knee damps it, it is "
        "struck again, or nothing says that the part is one player's"
    ),
    merge=_most,
    worse=("over", "count"),
)  # fmt: skip
UNNAMED = Rule(
    id="percussion-unnamed",
    levels=("notation",),
    title="a line of the staff that nothing names",
    says="no words and no name say what is struck on {line}{behind}.",
    why="The player reads the part's name and the words over the staff; what the file calls its sounds is not printed.",
    facts=("mallets.in_sizes",),
    silent_when="the part is named by its instrument or kit, or any words stand where the line begins",
    merge=first,
    worse=("count",),
)
RULES = (MALLETS, REACH, LEAP, HANDS, CHANGE, STICKS, DAMP, ROLL, UNNAMED)
