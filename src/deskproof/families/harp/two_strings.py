"""What needs two strings for one pitch: a tremolo or bisbigliando on a single note, and notes repeated fast.

Every pitch has two strings but D, G and A natural. The pair is set beforehand, as two letters that must stand while
the note lasts; where that does not go the note keeps one string, and a finding says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from deskproof import facts, words
from deskproof.edits import Respell
from deskproof.families.harp.model import Choice, Onset, Settings, choices
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.families.harp.wording import NEAR, SIGNS, as_sounding, place_of
from deskproof.families.wording import first
from deskproof.findings import Finding, Rule
from deskproof.score import Part

ONE_STRING = Rule(
    id="harp-tremolo-one-string",
    levels=("hard",),
    title="a tremolo on a note for which one string is left",
    says="{note_name} {what}: one string plucked again and again stops itself.",
    why=(
        "A harp tremolo goes to and fro between two strings of one pitch, as C♯ and D♭, or between the notes of a "
        "chord. D, G and A natural have one string each."
    ),
    facts=(),
    silent_when="both strings of the pitch can be set, or two notes or more go to and fro",
    merge=first,
    worse=("count",),
)
TWO_STRING_RULES = (ONE_STRING,)
UNMEASURED = 3  # strokes of a tremolo that counts no notes
TREMOLO, WHISPER = "tremolo", "bisbigliando"
KEPT = ("impossible", "let_go_early", "quick_changes")  # what a pair must not make worse

_Spot = tuple[int, int]
"""A place of a part: measure ordinal and tick."""
_Note = tuple[int, int]
"""A string of a reading: onset and ordinal."""
Planner = Callable[[Sequence[Onset]], PedalPlan]


# -- which notes want two ------------------------------------------------------------------------------------------


def repeated(reading: Reading, part: Part) -> dict[_Note, str]:
    """The single notes under a tremolo or bisbigliando, and which of the two it is."""
    whispered = {
        (measure.index, sign.start)
        for measure in part.measures
        for sign in measure.directions
        if sign.kind == "words"
        and not sign.hidden
        and any(meaning.kind == WHISPER for meaning in words.meanings(sign.value))
    }
    found = {}
    for i, row in enumerate(reading.plucked):
        for n, one in enumerate(row):
            what = _repeated(one, whispered)
            if not what or one.how not in ("struck", "roll"):
                continue
            if any(other is not one and (what == WHISPER or _one_chord(one, other)) for other in row):
                continue  # it goes to and fro between the two
            found[i, n] = what
    return found


def _one_chord(one: Plucked, other: Plucked) -> bool:
    return any((e.note.staff, e.note.voice) == (f.note.staff, f.note.voice) for e in one.events for f in other.events)


def _repeated(one: Plucked, whispered: set[_Spot]) -> str:
    """What makes a note repeat itself fast; empty if nothing does."""
    for event in one.events:
        mark = event.note.marked(TREMOLO)
        if mark is None:
            if (event.measure, event.note.start) in whispered:
                return WHISPER
        elif mark.number in ("", "single") and mark.value.isdecimal() and int(mark.value) >= UNMEASURED:
            return TREMOLO
    return ""


# -- choosing the pair ---------------------------------------------------------------------------------------------


def with_pairs(
    reading: Reading, pedals: PedalPlan, wanted: Sequence[_Note], settings: Settings, planner: Planner
) -> tuple[PedalPlan, dict[_Note, Choice]]:
    """The plan with both strings set for as many of these notes as go, and the second string of each of them.

    Parameters
    ----------
    reading, pedals, settings
        The part and its plan with one string for each note.
    wanted : sequence of (onset, note)
        The notes that want two strings.
    planner : callable
        Plans some onsets, of which only the demands have changed.

    Returns
    -------
    PedalPlan, dict
        A pair never costs a note, a written length or a quick change: where it would, it is left.
    """
    pairs = {(i, n): both for i, n in wanted if len(both := _both(reading, i, n, settings)) > 1}
    while pairs:
        onsets = list(reading.onsets)
        for (i, n), both in pairs.items():
            hold = reading.onsets[i].notes[n].written_us
            asked = tuple((c.string.letter, c.position, hold) for c in both if c.pedal)
            onsets[i] = onsets[i]._replace(demands=(*onsets[i].demands, *asked))
        found = planner(onsets)
        unset = {left.onset for left in found.unplanned if left.note is None}
        unset -= {left.onset for left in pedals.unplanned if left.note is None}
        if not unset and all(found[name].value <= pedals[name].value for name in KEPT):
            return found, {(i, n): _other(found, i, n, both) for (i, n), both in pairs.items()}
        refused = {at for at in pairs if at[0] in unset} or {next(reversed(pairs))}
        pairs = {at: both for at, both in pairs.items() if at not in refused}
    return pedals, {}


def _both(reading: Reading, i: int, n: int, settings: Settings) -> tuple[Choice, ...]:
    return choices(reading.onsets[i].notes[n].pitch, settings.fixed)


def _other(plan: PedalPlan, i: int, n: int, both: Sequence[Choice]) -> Choice:
    taken = plan.notes[i][n]
    return next(c for c in both if taken is None or c.string != taken.string)


def two_string_findings(
    reading: Reading, part: Part, pairs: Mapping[_Note, Choice], settings: Settings
) -> Iterator[Finding]:
    """Tremolos and bisbigliandi on one note for which a second string is not to be had."""
    if words.how_many(part.name) > 1:
        return
    for (i, n), kind in repeated(reading, part).items():
        if (i, n) in pairs:
            continue
        one = reading.plucked[i][n]
        both = choices(one.pitch, settings.fixed)
        if not both:
            continue  # no string at all: another finding
        names = [f"{c.string.letter}{SIGNS[c.position]}" for c in both]
        if len(both) == 1:
            what = f"has no second string for a {kind}"
        else:
            what = f"is to have a {kind}, and {names[0]} and {names[1]} cannot both be set for it in time"
        yield ONE_STRING.at(
            place_of(reading, one.events[0]), refs(part, one), fold=("one string", one.pitch), near=NEAR,
            note_name=str(as_sounding(one.events[0])), what=what,
        )  # fmt: skip


# -- notes repeated fast -------------------------------------------------------------------------------------------


def named_apart(onsets: Sequence[Onset]) -> tuple[Onset, ...]:
    """The onsets, with notes of one pitch that follow each other fast under two names bound to the strings so named.

    So a composer writes that two strings take turns; other names are wishes only.
    """
    soon_us = 1000 * int(facts.get("harp.string_again").value)
    bound: set[_Note] = set()
    last: dict[int, tuple[int, int]] = {}  # pitch -> onset and ordinal
    for i, onset in enumerate(onsets):
        for n, note in enumerate(onset.notes):
            before = last.get(note.pitch)
            if before is not None and note.spelled is not None:
                k, m = before
                other = onsets[k].notes[m]
                apart = other.spelled is not None and other.spelled != note.spelled
                if apart and onset.t_us - onsets[k].t_us < soon_us:
                    bound |= {before, (i, n)}
            last[note.pitch] = (i, n)
    if not bound:
        return tuple(onsets)
    return tuple(
        onset._replace(
            notes=tuple(
                note._replace(named=True) if (i, n) in bound else note for n, note in enumerate(onset.notes)
            )
        )
        for i, onset in enumerate(onsets)
    )


def kept_apart(reading: Reading, pedals: PedalPlan, planner: Planner) -> tuple[Reading, PedalPlan]:
    """The reading with such notes bound, and its plan, unless that costs a note, a written length or a quick change."""
    onsets = named_apart(reading.onsets)
    if onsets == reading.onsets:
        return reading, pedals
    found = planner(onsets)
    left = [(row.onset, row.note) for row in found.unplanned if row.note is not None]
    worse = any(found[name].value > pedals[name].value for name in KEPT)
    if worse or any(onsets[i].notes[n].named for i, n in left):
        return reading, pedals
    return replace(reading, onsets=onsets), found


def taking_turns(atoms: Sequence[Finding], part: Part) -> list[Respell]:
    """Every second of some repeated notes written as its other string; empty where one has no other.

    ``atoms`` are findings of strings plucked again too soon, each with one note and its time.
    """
    edits: list[Respell] = []
    rows = sorted(atoms, key=lambda one: one.numbers["at_us"])
    turned: set[int] = set()
    for one in rows:
        at_us, gap_us = one.numbers["at_us"], one.numbers["gap_us"]
        if at_us - gap_us in turned:
            continue
        turned.add(at_us)
        for ref in one.notes:
            note = part.measures[ref.measure].notes[ref.n]
            if note.pitch is None:
                return []
            own = note.pitch.step, note.pitch.alter
            other = [c for c in choices(int(note.pitch.midi), {}) if (c.string.letter, c.position) != own]
            if len(other) != 1:
                return []
            edits.append(Respell(ref, other[0].string.letter, other[0].position, other[0].string.octave))
    return edits

