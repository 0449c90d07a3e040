"""What the colour instruments can take: the harp by its pedals and hands, keyboards by their hands, timpani by drums.

Harp and keyboards are asked for as a part of their own: the tones are written as one, and the families that check such
parts look at it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import combinations, permutations

from deskproof import facts
from deskproof.families import Context
from deskproof.families.harp import HARP
from deskproof.families.harp.planning import settings_of
from deskproof.families.keyboard import KEYBOARD
from deskproof.families.timpani.model import Drum, drum, standard_drums
from deskproof.findings import LEVELS
from deskproof.forces import Forces
from deskproof.pitch import Pitch
from deskproof.score import GRACE, Change, Direction, Measure, Note, Part, Score, ScoreInstrument, Time
from deskproof.scoring.colours_harp import beyond_the_pedals
from deskproof.scoring.hall import Hall
from deskproof.scoring.records import Chair, Sketch, Tone
from deskproof.scoring.turning_pace import OCTAVE, in_octave, seconds
from deskproof.scoring.turning_rules import DRUM_STROKES
from deskproof.spans import lines_of
from deskproof.timeline import realise

BARRED = LEVELS[:2]
"""Findings of these levels keep an instrument from some tones: impossible, hard."""

DYING = ("harp", "keyboard", "timpani", "pitched-percussion", "percussion", "plucked")
"""Families whose tone dies away."""

ACCENTS = ("accent", "strong-accent")
FIFTH = 7
HALVED = ("4", "6", "12", "2+2")
_SPLIT = 60  # middle C: from here up a note is written on the upper staff
_REMEMBERED = 4096


def sustains(chair: Chair) -> bool:
    """Whether a chair's instrument can hold a note as loud as it began.

    >>> sustains(Chair("harp", "harp", "harp", "harp", 24, 103, 0))
    False
    """
    return chair.family not in DYING


# ---------------------------------------------------------------- harp and keyboards


def harp_can(tones: Sequence[Tone], sketch: Sketch, hall: Hall, seat: str) -> bool:
    """Whether the harpist of a seat can play some tones: compass, pedals, hands, strings, with nothing hard in it."""
    return _can(tones, sketch, hall, seat, "harp")


def keyboard_can(tones: Sequence[Tone], sketch: Sketch, hall: Hall, seat: str, instrument: str) -> bool:
    """Whether the player of a seat can play some tones on a piano or celesta; see :func:`harp_can`."""
    return _can(tones, sketch, hall, seat, instrument)


def _can(tones: Sequence[Tone], sketch: Sketch, hall: Hall, seat: str, instrument: str) -> bool:
    chair = next((one for one in hall.chairs if (one.seat, one.instrument) == (seat, instrument)), None)
    if chair is None or any(tone.tremolo or not chair.low <= tone.midi <= chair.high for tone in tones):
        return False
    if not tones:
        return True
    rows = sorted(tones, key=lambda tone: (tone.onset, tone.midi))
    first = sketch.bar_at(rows[0].onset).index
    last = sketch.bar_at(max(rows[-1].onset, max(tone.end for tone in rows) - 1)).index
    begin = sketch.bars[first].onset
    bars = tuple((bar.length, bar.seconds) for bar in sketch.bars[first : last + 1])
    notes = tuple((tone.onset - begin, tone.end - begin, tone.midi, tone.pitch) for tone in rows)
    player = tuple(one for one in hall.forces.players if one.name == seat)
    return _answer(_Asked(instrument, sketch.grid, bars, notes, hall.text, seat, replace(hall.forces, players=player)))


@dataclass(frozen=True)
class _Asked:
    """What is asked: the instrument, the length of each bar in ticks and seconds, the notes from the first bar on.

    A note is onset, end, sounding MIDI number and name. The forces are known by their text.
    """

    instrument: str
    grid: int
    bars: tuple[tuple[int, float], ...]
    notes: tuple[tuple[int, int, int, Pitch], ...]
    text: str
    seat: str
    forces: Forces = field(compare=False)


@lru_cache(maxsize=_REMEMBERED)
def _answer(asked: _Asked) -> bool:
    """Whether the family that checks the instrument finds nothing impossible or hard in the notes as a part."""
    family = HARP if asked.instrument == "harp" else KEYBOARD
    timeline = realise(_score(asked))
    spans = lines_of(timeline)[0].spans(timeline.parts[0])
    context = Context(timeline.score, timeline.frame, timeline.layouts, asked.forces)
    if family is HARP and spans:
        notes = [(timeline.frame.times_us(event)[0], int(event.sounding or 0)) for event in timeline.parts[0]]
        if beyond_the_pedals(sorted(notes), settings_of(context, 0).comfortable_us):
            return False
    return all(one.level not in BARRED for one in family.check(family.plan(spans, context), spans, context))


def _score(asked: _Asked) -> Score:
    """The notes as a score of one part on two staves, at sounding pitch, under metronome marks."""
    measures = []
    at = 0
    for index, (length, lasts) in enumerate(asked.bars):
        own = [note for note in asked.notes if at <= note[0] < at + length]
        changes = (Change(0, 0, "staves", 2), Change(0, 0, "time", Time("", 4, 0)))
        per_minute = 60 * length / (asked.grid * lasts) if lasts else 0
        tempo = (Direction(0, 0, 1, "metronome", f"quarter = {per_minute:.3f}"),) if per_minute else ()
        notes = tuple(_note(n, note, at) for n, note in enumerate(own))
        measures.append(Measure(index, str(index + 1), length, notes, tempo, () if index else changes))
        at += length
    known = ScoreInstrument("I1", asked.instrument)
    part = Part("P1", asked.instrument, "", {"I1": known}, tuple(measures))
    return Score("", asked.grid, (part,), source="sketch")


def _note(n: int, note: tuple[int, int, int, Pitch], bar: int) -> Note:
    onset, end, midi, pitch = note
    written = Pitch(pitch.step, pitch.alter, pitch.octave + (midi - int(pitch.midi)) // OCTAVE)
    staff = 1 if midi >= _SPLIT else 2
    flags = GRACE if end == onset else 0
    return Note(n, onset - bar, end - onset, written, "note", staff, str(staff), flags, "", "I1", ())


# ---------------------------------------------------------------- timpani


def drum_tones(tones: Sequence[Tone], sketch: Sketch, hall: Hall, seat: str) -> tuple[Tone, ...]:
    """What the timpani of a seat take of a bass or of accents: strokes on strong beats or under an accent.

    They stand on one pitch class or on several a fifth apart from one another in a row, as tonic and dominant do, each
    on a drum of its own that keeps its pitch. Empty where fewer strokes come of it than are worth bringing them in for.
    """
    drums = _drums(hall.forces, seat)
    strong = [tone for tone in tones if tone.end > tone.onset and _is_strong(tone, sketch)]
    tuning = _tuning(Counter(tone.midi % OCTAVE for tone in strong), drums)
    found: list[Tone] = []
    for tone in sorted(strong, key=lambda one: one.onset):
        midi = tuning.get(tone.midi % OCTAVE)
        if midi is not None and (not found or seconds(sketch, found[-1].onset, tone.onset) >= _step_s()):
            found.append(tone._replace(midi=midi, pitch=in_octave(tone, midi), rule=DRUM_STROKES.name))
    return tuple(found) if len(found) >= facts.get("turning.drum_least").value else ()


def _step_s() -> float:
    return float(facts.get("turning.drum_step").value) / 1000


def _drums(forces: Forces, seat: str) -> tuple[Drum, ...]:
    """The drums that stand at a seat, by the forces; the usual ones where they say nothing."""
    own = next((player for player in forces.players if player.name == seat), None)
    if own is None or not own.drums:
        return standard_drums()
    return tuple(
        Drum(f"{inch:g}", round(inch), low or drum(round(inch)).low, high or drum(round(inch)).high)
        for inch, low, high in own.drums
    )


def _is_strong(tone: Tone, sketch: Sketch) -> bool:
    """Whether a tone begins a bar, or the half of a bar of four beats, or carries an accent."""
    if any(mark.kind in ACCENTS for ref in tone.refs for mark in sketch.notes[ref].marks):
        return True
    bar = sketch.bar_at(tone.onset)
    at = tone.onset - bar.onset
    return at == 0 or (bar.time.beats in HALVED and 2 * at == bar.length)


def _tuning(strokes: Counter[int], drums: Sequence[Drum]) -> dict[int, int]:
    """From pitch class to the pitch of a drum, for the classes in a row of fifths that give the most strokes."""
    best: dict[int, int] = {}
    for count in range(1, len(drums) + 1):
        for classes in combinations(sorted(strokes), count):
            if not _in_fifths(classes) or _sum(strokes, classes) <= _sum(strokes, best):
                continue
            tuning = _on_drums(classes, drums)
            best = tuning or best
    return best


def _sum(strokes: Counter[int], classes: Iterable[int]) -> int:
    return sum(strokes[one] for one in classes)


def _in_fifths(classes: Sequence[int]) -> bool:
    """Whether pitch classes stand in one row of fifths, as C, G and D do."""
    return any({(one + FIFTH * k) % OCTAVE for k in range(len(classes))} == set(classes) for one in classes)


def _on_drums(classes: Sequence[int], drums: Sequence[Drum]) -> dict[int, int]:
    """A pitch for each class, each on a drum of its own and as high in it as can be; empty if there is no such way."""
    ways = []
    for chosen in permutations(drums, len(classes)):
        pairs = list(zip(classes, chosen, strict=True))
        pitches = [pitch for one, of in pairs if (pitch := _highest(one, of)) is not None]
        if len(pitches) == len(pairs):
            ways.append((sum(of.high for of in chosen) - sum(pitches), pitches))
    return dict(zip(classes, min(ways)[1], strict=True)) if ways else {}


def _highest(class_: int, of: Drum) -> int | None:
    """The highest pitch of a class on a drum; upper notes of a drum sound best."""
    pitch = of.high - (of.high - class_) % OCTAVE
    return pitch if pitch >= of.low else None
