"""The rules of written manners."""

from __future__ import annotations

from deskproof.findings import Rule

MISSING = Rule(
    id="manners-transposition-missing",
    levels=("notation",),
    title="a part of a transposing instrument without its transposition",
    says="the file does not transpose this part of the {instrument}, but {evidence}: it is meant {interval} {way}.",
    why=(
        "The written notes are the player's, but the file gives them out as sounding: everybody who hears or checks "
        "the file gets another pitch than the one meant."
    ),
    facts=("*.transposition", "*.lowest", "*.highest", "manners.odd_share", "manners.fitting_share"),
    silent_when="all parts of the score stand at sounding pitch, or the part lies in its compass as the file reads",
    worse=("outside",),
)
SOUNDING = Rule(
    id="manners-sounding-pitch",
    levels=("notation",),
    title="a part of a transposing instrument at sounding pitch among transposed parts",
    says=(
        "this part stands at sounding pitch, though other parts are written as their players read them: "
        "the player of the {instrument} would sound {interval} {way} than meant."
    ),
    why="A player reads the part as written for the instrument in hand, and so at another pitch.",
    facts=("*.transposition",),
    silent_when="all parts of the score stand at sounding pitch, or the instrument is also built in C",
    worse=("outside",),
)
TWICE = Rule(
    id="manners-transposition-twice",
    levels=("notation",),
    title="notes at sounding pitch that the file transposes once more",
    says="the file transposes this part of the {instrument}, but {evidence}: it is meant {interval} {way}.",
    why="The notes were exported at sounding pitch and the transposition was left in, so that it counts twice.",
    facts=("*.lowest", "*.highest", "manners.odd_share", "manners.fitting_share"),
    silent_when="the part lies in its compass as the file reads and its key signature is transposed",
    worse=("outside",),
)
OCTAVE = Rule(
    id="manners-octave",
    levels=("notation",),
    title="a part an octave or two off",
    says="as the file reads this part of the {instrument}, {evidence}: it is meant {interval} {way}.",
    why=(
        "Piccolo, celesta, glockenspiel, double bass and others sound an octave or two from where they are written; a "
        "file that leaves the octave out, or counts it in the clef and in the transposition, gives another pitch."
    ),
    facts=("*.transposition", "*.lowest", "*.highest", "manners.odd_share", "manners.fitting_share"),
    silent_when="the part lies in its compass as the file reads",
    worse=("outside",),
)
CLEF_MANNER = Rule(
    id="manners-older-clef",
    levels=("notation",),
    title="a clef in an older manner, or out of compass",
    says=(
        "read as the file says, {worst_name} lies {side} the {instrument}; an octave {other_way} it fits. "
        "Written in an older manner of the {clef} clef, or out of compass?"
    ),
    why=(
        "Horns and bass clarinets were long written in the bass clef an octave lower than today, and cellos in the "
        "treble clef an octave higher."
    ),
    facts=("*.bass_clef_manner", "*.treble_clef_manner", "*.lowest", "*.highest"),
    silent_when="the passage lies in the compass as the file reads",
    worse=("semitones", "count"),
)
UNREAD = Rule(
    id="manners-clef-unread",
    levels=("notation",),
    title="a clef that players of the instrument do not read",
    says="the {clef} clef stands in a part of the {instrument}; its players read {read}.",
    why="A clef that the player has not learned must be written out again before the first rehearsal.",
    facts=("*.clefs",),
    silent_when="the part is a voice, or the clef differs only by an octave",
    worse=("notes_under_it",),
)
SIGNATURE = Rule(
    id="manners-key-of-seven",
    levels=("notation",),
    title="a key signature of seven accidentals",
    says="{count_word} {accidentals} as key signature: {simpler} would say the same.",
    why="Seven accidentals are read more slowly than the five of the same key under its other name.",
    facts=("manners.signature_limit",),
    silent_when="the part is the harp's, whose strings are flat by nature",
    spelling=True,
    worse=("bars",),
)
CROOK = Rule(
    id="manners-crook",
    levels=("notation",),
    title="a crook in the name that is not the one in the file",
    says="the part is named “{name}”, but the file transposes it as for an instrument in {file_key}.",
    why="The player takes the instrument that the name says, and sounds another pitch than the file.",
    facts=("*.transposition",),
    silent_when="the name gives several keys and one of them is the file's, or the part is not transposed at all",
    worse=("semitones",),
)
CHANGE_TRANSPOSITION = Rule(
    id="manners-change-transposition",
    levels=("notation",),
    title="another instrument with the transposition of the one before",
    says="from here on it is the {after}, but the file transposes as for the {before}: it is meant {interval} {way}.",
    why=(
        "Where a player takes another instrument, its transposition has to change with it: the file still gives out "
        "the pitches of the one before."
    ),
    facts=("*.transposition",),
    silent_when="the transposition changes too, or the words leave open which instrument of its kind is meant",
    worse=("semitones",),
)
CHANGE_KEY = Rule(
    id="manners-change-key",
    levels=("notation",),
    title="another instrument with the key signature of the one before",
    says=(
        "from the {before} to the {after} the transposition changes and the key signature stays at {had}; it would be "
        "{signature}."
    ),
    why="The same key is written with other accidentals for an instrument at another pitch.",
    facts=("*.transposition",),
    silent_when="the part is written without key signatures, or the key changes at the same place",
    worse=("fifths",),
)
