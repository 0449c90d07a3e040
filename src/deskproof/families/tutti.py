"""Tutti: what holds for every player: the compass of the instrument, and accidentals that are not printed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from deskproof import facts, pitch
from deskproof.accidentals import SIGNS, missing
from deskproof.edits import AddAccidental, Edit, SetOctave, complete
from deskproof.families.base import Context, Family, Plan, sounds_as_harmonic
from deskproof.findings import Effect, Finding, Mend, Numbers, Place, Rule
from deskproof.forces import Forces
from deskproof.instruments import Instrument
from deskproof.page import UNPITCHED_CLEFS
from deskproof.score import TIE_STOP, UNCHECKED, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event


def _furthest(rows: Sequence[Numbers]) -> Numbers:
    """Of several notes beyond one end of a compass, the figures of the furthest."""
    return max(rows, key=lambda row: row["semitones"])


OUTSIDE = Rule(
    id="tutti-outside-compass",
    levels=("impossible",),
    title="a note that no instrument of the kind has",
    says="{worst_name} is {side} every {instrument}: {limit_name} is the {end} note there is{with_it}.",
    why="The note is not on the instrument, whoever plays it.",
    facts=("*.lowest", "*.highest", "*.lowest_extended", "*.highest_extended"),
    silent_when="the note is the end note itself, a harmonic, a cue, hidden or an ossia",
    merge=_furthest,
    reading=True,
    worse=("semitones", "count"),
)
EXTENSION = Rule(
    id="tutti-needs-extension",
    levels=("hard",),
    title="a note that only some instruments of the kind have",
    says="{worst_name} lies {side} {limit_name}, the {end} note of the usual {instrument}: it needs {needs}.",
    why="Not every player has the instrument, the key or the skill that this note needs; ask before the parts go out.",
    facts=("*.lowest", "*.highest", "*.lowest_extended", "*.highest_extended"),
    silent_when="Forces say that the instrument in the room has the note",
    merge=_furthest,
    reading=True,
    worse=("semitones", "count"),
)
ORDINARY = Rule(
    id="tutti-beyond-ordinary",
    levels=("hard",),
    title="a note outside the ordinary field",
    says="{worst_name} lies {side} {limit_name}, the end of the ordinary field of the {instrument}.",
    why="The instrument has the note, but players meet it seldom and it may speak badly.",
    facts=("*.ordinary_highest",),
    silent_when="Forces say that the instrument in the room has the note",
    merge=_furthest,
    reading=True,
    worse=("semitones", "count"),
)
ACCIDENTAL = Rule(
    id="tutti-accidental-missing",
    levels=("notation",),
    title="an accidental that the notes need and the page lacks",
    says="{note_name} has no accidental on the page and would be read as {read_as}.",
    why="The file's pitch and the printed sign disagree, so the player reads another note than the one meant.",
    facts=(),
    silent_when="the note is tied over, or has just been tied over, the bar line, or the sign stands above the note",
    spelling=True,
)


@dataclass(frozen=True, slots=True)
class _End:
    """One end of a compass: where silence stops, where the usual instrument stops, where every instrument stops."""

    ordinary: int
    common: int
    every: int
    needs: str


@lru_cache(maxsize=256)
def _ends(instrument: str) -> tuple[_End, _End] | None:
    """Lower and upper end of an instrument's sounding compass; None where the tables have none."""
    if facts.find(f"{instrument}.lowest") is None:
        return None
    low, high = (_end(instrument, "lowest"), _end(instrument, "highest"))
    return low, high


def _end(instrument: str, which: str) -> _End:
    common = facts.get(f"{instrument}.{which}")
    ordinary = facts.find(f"{instrument}.ordinary_{which}") or common
    every = facts.find(f"{instrument}.{which}_extended") or common
    return _End(
        pitch.midi(ordinary.value), pitch.midi(common.value), pitch.midi(every.value), every.needs or ""
    )


def _in_the_room(ends: tuple[_End, _End], instrument: Instrument, forces: Forces) -> tuple[_End, _End]:
    """The compass with what the forces have: a five-octave celesta, an extension, a stated lowest note."""
    low, high = ends
    lowest, highest = forces.lowest(instrument), forces.highest(instrument)
    if lowest is not None:
        low = _End(lowest, lowest, min(lowest, low.every), low.needs)
    if highest is not None:
        high = _End(highest, highest, max(highest, high.every), high.needs)
    return low, high


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """Compass and accidentals of one part, note by note."""
    for span in spans:
        if span.instrument is None:
            continue
        ends = _ends(span.instrument.id)
        if ends is not None:
            yield from _compass(span, span.instrument, _in_the_room(ends, span.instrument, context.forces), context)
    if spans and context.score.source == "musicxml" and context.score.prints_accidentals:
        yield from _accidentals(spans[0].part, context)


def _compass(span: Span, instrument: Instrument, ends: tuple[_End, _End], context: Context) -> Iterator[Finding]:
    low, high = ends
    bottom, top = low.ordinary, high.ordinary
    seen: set[tuple[int, int]] = set()
    for event in span.events:
        sounding = event.sounding
        if sounding is None or bottom <= sounding <= top or event.note.flags & UNCHECKED:
            continue
        place = (event.measure, event.note.n)
        if place in seen or (context.measures is not None and event.measure not in context.measures):
            continue
        seen.add(place)
        if sounding > top and sounds_as_harmonic(context.score.parts[span.part], event):
            continue
        clef = context.layouts[span.part].clef_at(event.measure, event.note.start, event.note.staff)
        if clef.sign in UNPITCHED_CLEFS:
            continue
        if clef.octave and span.transpose == (0, 0, clef.octave) and bottom <= sounding - 12 * clef.octave <= top:
            continue  # the file tells the octave twice, by the clef and by the transposition
        part = context.score.parts[span.part]
        yield _beyond(span, instrument, ends, event, part)


def _beyond(span: Span, instrument: Instrument, ends: tuple[_End, _End], event: Event, part: Part) -> Finding:
    sounding, note = event.sounding, event.note
    assert sounding is not None
    below = sounding < ends[0].ordinary
    end = ends[0] if below else ends[1]
    rule, limit = ORDINARY, end.ordinary
    if sounding < end.every if below else sounding > end.every:
        rule, limit = OUTSIDE, end.every
    elif sounding < end.common if below else sounding > end.common:
        rule, limit = EXTENSION, end.common
    return rule.at(
        Place(span.part, note.staff, event.measure, note.start, event.pass_),
        refs(part, event),
        fold=(span.role, below),
        near=2 if rule is OUTSIDE else None,
        sounding=sounding,
        worst_name=pitch.sounding_name(note.pitch, sounding),
        limit=limit,
        limit_name=pitch.name(limit),
        semitones=abs(sounding - limit),
        side="below" if below else "above",
        end="lowest" if below else "highest",
        instrument=instrument.name,
        needs=end.needs,
        with_it=f", with {end.needs}" if end.needs and end.every != end.common else "",
        field=[ends[0].ordinary, ends[1].ordinary],
    )


def refs(part: Part, event: Event) -> tuple[NoteRef, ...]:
    """The reference of an event's first note, and of the notes tied to it."""
    return (NoteRef(part.id, event.measure, event.note.n), *(NoteRef(part.id, m, n) for m, n in event.tied))


def _accidentals(index: int, context: Context) -> Iterator[Finding]:
    part = context.score.parts[index]
    for lack in missing(part, context.layouts[index], context.measures):
        note = lack.note
        assert note.pitch is not None
        yield ACCIDENTAL.at(
            Place(index, note.staff, lack.measure, note.start),
            (NoteRef(part.id, lack.measure, note.n),),
            fold=lack.measure,
            note_name=str(note.pitch),
            read_as=str(note.pitch._replace(alter=lack.read_as)),
            sign=SIGNS[note.pitch.alter],
            spelled=str(note.pitch),
        )


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """Ways out of a finding of this family; the caller verifies each before it is offered."""
    part = context.score.parts[finding.place.part]
    if finding.rule is ACCIDENTAL:
        edits = tuple(
            AddAccidental(ref, SIGNS[note.pitch.alter])
            for ref in finding.notes
            if (note := part.measures[ref.measure].notes[ref.n]).pitch is not None
        )
        said = "print the accidental" if len(edits) == 1 else f"print the {len(edits)} accidentals"
        yield Mend(said, Effect.KEEPS_SOUND, complete(context.score, context.layouts, edits))
    elif finding.rule in (OUTSIDE, EXTENSION, ORDINARY):
        yield from _octave_mends(finding, part, context)


def _octave_mends(finding: Finding, part: Part, context: Context) -> Iterator[Mend]:
    """Move the slurred figure in all its staves, or the notes alone, an octave or two towards the compass."""
    up = finding.numbers["side"] == "below"
    low, high = finding.numbers["field"]
    furthest = int(finding.numbers["sounding"])
    octaves = -(-(low - furthest) // 12) if up else -(-(furthest - high) // 12)
    words = {1: "an octave", 2: "two octaves"}.get(octaves, f"{octaves} octaves") + (" higher" if up else " lower")
    move = octaves if up else -octaves
    passages = _passages(finding.notes)
    for notes in passages if 1 < len(passages) <= MOST_PASSAGES else ():
        bar = part.measures[notes[0].measure].number
        yield from _moves(f"bar {bar}: write", notes, words, move, part, context)
    yield from _moves("write", finding.notes, words, move, part, context)


MOST_PASSAGES = 4  # of one finding; with more of them, only all notes together are offered


def _passages(notes: Sequence[NoteRef]) -> list[list[NoteRef]]:
    """Notes in runs with no bar left out between two of a run."""
    runs: list[list[NoteRef]] = []
    for ref in sorted(notes):
        if runs and ref.measure - runs[-1][-1].measure <= 1:
            runs[-1].append(ref)
        else:
            runs.append([ref])
    return runs


def _moves(
    verb: str, notes: Sequence[NoteRef], words: str, move: int, part: Part, context: Context
) -> Iterator[Mend]:
    figure = _figure(part, notes)
    many = len(notes) > 1
    said = "the notes" if many else "the note"
    if len(figure) > len(notes):
        yield Mend(f"{verb} the slurred figure {words}", Effect.CHANGES_SOUND, _moved(part, figure, move, context))
        said += " alone"
    yield Mend(f"{verb} {said} {words}", Effect.CHANGES_SOUND, _moved(part, notes, move, context))


def _moved(part: Part, notes: Iterable[NoteRef], octaves: int, context: Context) -> tuple[Edit, ...]:
    moves = []
    for ref in notes:
        written = part.measures[ref.measure].notes[ref.n].pitch
        assert written is not None
        moves.append(SetOctave(ref, written.octave + octaves))
    return complete(context.score, context.layouts, moves)


def _figure(part: Part, notes: Sequence[NoteRef]) -> list[NoteRef]:
    """All notes of the part, in all its staves, that lie under a slur together with one of ``notes``."""
    places = {(ref.measure, part.measures[ref.measure].notes[ref.n].start) for ref in notes}
    chosen = set(notes)
    bars = sorted(measure for measure, _ in places)
    for start, end in _slurs(part, bars[0] - LONGEST_FIGURE, bars[-1] + LONGEST_FIGURE):
        if any(start <= place <= end for place in places):
            chosen.update(
                NoteRef(part.id, m, note.n)
                for m in range(start[0], end[0] + 1)
                for note in part.measures[m].notes
                if note.pitch is not None and not note.flags & UNCHECKED and start <= (m, note.start) <= end
            )
    return _whole_chains(part, chosen)


def _whole_chains(part: Part, chosen: set[NoteRef]) -> list[NoteRef]:
    """Leave no tied chain torn: take the notes tied on from the last chosen ones."""
    found = set(chosen)
    for ref in sorted(chosen):
        note = part.measures[ref.measure].notes[ref.n]
        end = (ref.measure, note.start + note.length)
        for m in (ref.measure, ref.measure + 1):
            if m >= len(part.measures):
                break
            for other in part.measures[m].notes:
                at = (m, other.start)
                over = m > ref.measure and end[1] >= part.measures[ref.measure].length and other.start == 0
                if other.flags & TIE_STOP and other.pitch == note.pitch and (at == end or over):
                    found.add(NoteRef(part.id, m, other.n))
    return sorted(found)


LONGEST_FIGURE = 8  # bars; a longer slur is a phrase, not a figure


def _slurs(part: Part, first: int, last: int) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """The slurs inside some measures as (first place, last place), a place being (measure, tick)."""
    found = []
    open_at: dict[str, tuple[int, int]] = {}
    for measure in part.measures[max(first, 0) : last + 1]:
        for note in sorted(measure.notes, key=lambda n: n.start):
            for mark in note.marks:
                if mark.kind == "slur":
                    place = (measure.index, note.start)
                    if mark.value == "start":
                        open_at[mark.number] = place
                    elif mark.value == "stop" and mark.number in open_at:
                        found.append((open_at.pop(mark.number), place))
    return found


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Nothing to plan: compass and accidentals need no choice."""
    return Plan()


TUTTI = Family(
    name="tutti",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=(OUTSIDE, EXTENSION, ORDINARY, ACCIDENTAL),
)
