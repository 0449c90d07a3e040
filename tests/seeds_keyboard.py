"""Faults of writing for two hands, put into passages of real piano parts; nothing here knows a rule or the package.

A passage is eight bars of a part on two staves, cut out as a score of its own with its tempo printed. The marks that
a cut leaves without their other end are taken out, and so are pedals, repeats and beams. At a place drawn in one of its
bars some music is put in: written so that no two hands play it (the fault), and almost the same so that they do. Of
what was there the notes that begin within four tenths of a second around it are taken out. What makes a fault of each
is said at its function; distances are those of a keyboard whose octave has 164.5 mm.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import ceil, lcm
from pathlib import Path
from random import Random
from statistics import median
from typing import Any, NamedTuple

from lxml import etree

from corpus import corpus_files
from seeds import TYPES, flat_name, metronome, spelling, tree, written

BARS = 8
USUAL_TEMPO = 100
GAP_S = Fraction(2, 5)  # 400 ms: a hand goes the whole keyboard in little more
OCTAVE_MM = 164.5
WHITE_MM = OCTAVE_MM / 7
PLACES = (0, 0.5, 1, 1.5, 2, 3, 3.5, 4, 4.5, 5, 5.5, 6)  # of a key in its octave, in white keys, roughly
REACH_MM = 236  # the reach of a 240 mm hand
BEYOND = 18  # semitones that are wider than it everywhere
MIRROR = 124  # the keyboard looks the same from D4 both ways
LEFT_OUT = ("demos/", "theoryExercises/", "schumann_robert/opus48no2")  # the last is another file's music
LEAST_NOTES = 80
GRID = 120  # of a quarter, for the music put in
FRACTIONS = tuple(Fraction(1, n) for n in (12, 8, 6, 5, 4, 3, 2, 1))
DANGLING = ("slur", "tuplet", "glissando", "slide", "wavy-line")


class Stroke(NamedTuple):
    """Keys struck together on a staff; times in quarters from the beginning of what is put in."""

    staff: int
    voice: str
    at: Fraction
    length: Fraction
    keys: tuple[int, ...]
    seeded: tuple[int, ...] = ()
    of: int = 0  # of the tuplet: so many in a quarter; 0 without one


class Music(NamedTuple):
    """What is put in, with the fault and without; ``length`` in quarters holds both."""

    fault: tuple[Stroke, ...]
    fair: tuple[Stroke, ...]
    length: Fraction


class Passage(NamedTuple):
    """Bars ``first`` and on of a piano part; the fault is to stand in bar ``at`` of the file."""

    path: Path
    part: str
    first: int
    at: int
    notes: int  # that begin in that bar
    tempo: Fraction


class Seed(NamedTuple):
    """A fault in a passage.

    ``clean`` has the same music put in without the fault; ``before`` is the passage as it was cut. ``refs`` name the
    seeded notes (``P1/m3/n5``) in ``seeded``, ``also`` all that was put in.
    """

    kind: str
    seeded: bytes
    clean: bytes
    before: bytes
    refs: tuple[str, ...]
    also: tuple[str, ...]
    passage: Passage


# ---------------------------------------------------------------- real parts


@dataclass(frozen=True)
class _Source:
    path: Path
    part: str
    measures: tuple[Any, ...]
    notes: tuple[int, ...]  # by bar
    tempo: Fraction


@cache
def sources() -> tuple[_Source, ...]:
    """The parts on two staves in music21's corpus that are a piano's and long enough."""
    found = []
    for file in corpus_files():
        if file.name.startswith(LEFT_OUT):
            continue
        root = tree(file.path)
        for part in root.iterfind("part"):
            measures = tuple(part.iterfind("measure"))
            if len(measures) < BARS or "2" not in {one.text for one in part.iter("staves")}:
                continue
            notes = tuple(
                len([n for n in one.iterfind("note") if n.find("pitch") is not None and n.find("grace") is None])
                for one in measures
            )
            if sum(notes) >= LEAST_NOTES:
                found.append(_Source(file.path, part.get("id"), measures, notes, tempo_of(root)))
    return tuple(found)


def tempo_of(root: Any) -> Fraction:
    """Quarters a minute as a file begins, in whole ones; 100 where it does not say."""
    for one in root.iter("sound"):
        if one.get("tempo"):
            return Fraction(round(float(one.get("tempo"))))
    for mark in root.iter("metronome"):
        count = re.match(r"\d+", mark.findtext("per-minute", ""))
        unit = {"half": 2, "quarter": 1, "eighth": Fraction(1, 2)}.get(mark.findtext("beat-unit", ""))
        if count and unit:
            dots = Fraction(3, 2) if mark.find("beat-unit-dot") is not None else 1
            return Fraction(round(int(count[0]) * unit * dots))
    return Fraction(USUAL_TEMPO)


@cache
def bars() -> tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]:
    """All bars with notes (source, bar): those with more notes than the median, and the rest."""
    rows = [(i, m, n) for i, one in enumerate(sources()) for m, n in enumerate(one.notes) if n]
    middle = median([n for _, _, n in rows])
    return tuple((i, m) for i, m, n in rows if n > middle), tuple((i, m) for i, m, n in rows if n <= middle)


def drawn(draw: Random, dense: bool) -> tuple[Passage, _Source]:
    """A passage around a bar that is drawn, above the median or not."""
    i, at = draw.choice(bars()[0 if dense else 1])
    source = sources()[i]
    first = min(max(at - draw.randrange(2, BARS - 2), 0), len(source.measures) - BARS)
    return Passage(source.path, source.part, first, at, source.notes[at], source.tempo), source


# ---------------------------------------------------------------- a passage, cut out


class _Cut:
    """A passage as a score; times in ticks from its beginning, ``grid`` ticks a quarter."""

    def __init__(self, passage: Passage, source: _Source, grid: int) -> None:
        before = source.measures[: passage.first]
        measures = [deepcopy(one) for one in source.measures[passage.first : passage.first + BARS]]
        carried = _carried(before)
        divisions = int(float(carried["divisions"].text)) if "divisions" in carried else 1
        every = [int(float(d.text)) for one in measures for d in one.iter("divisions")]
        self.grid = lcm(grid, divisions, *every)
        self.root = etree.Element("score-partwise", version="4.0")
        listed = etree.SubElement(etree.SubElement(self.root, "part-list"), "score-part", id="P1")
        etree.SubElement(listed, "part-name").text = "Piano"
        declared = etree.SubElement(listed, "score-instrument", id="P1-I1")
        etree.SubElement(declared, "instrument-name").text = "Piano"
        etree.SubElement(declared, "instrument-sound").text = "keyboard.piano"
        self.part = etree.SubElement(self.root, "part", id="P1")
        for measure in measures:
            divisions = self._measure(measure, divisions)
            self.part.append(measure)
        self._begin(measures[0], carried, passage.tempo)
        self.measures = measures
        self.starts, t = [], 0
        for measure in measures:
            self.starts.append(t)
            t += max([place for place, _ in _walk(measure)], default=0)
        self.starts.append(t)

    def _measure(self, measure: Any, divisions: int) -> int:
        """Clean one bar and put it on the grid; the divisions that hold after it."""
        measure.attrib.pop("width", None)
        for child in list(measure):
            if child.tag == "attributes":
                found = child.find("divisions")
                if found is not None:
                    divisions = int(float(found.text))
                    child.remove(found)
                if not len(child):
                    measure.remove(child)
            elif child.tag in ("note", "backup", "forward"):
                length = child.find("duration")
                if length is not None:
                    length.text = str(int(Fraction(length.text) * self.grid / divisions))
                self._note(child)
            elif child.tag != "barline":
                measure.remove(child)
            else:
                for end in [*child.findall("repeat"), *child.findall("ending")]:
                    child.remove(end)
        return divisions

    @staticmethod
    def _note(note: Any) -> None:
        for one in [*note.findall("beam"), *note.findall("instrument"), *note.findall("lyric")]:
            note.remove(one)
        for notations in note.findall("notations"):
            for one in [one for one in notations if one.tag in DANGLING]:
                notations.remove(one)
            ornaments = notations.find("ornaments")
            for one in list(ornaments if ornaments is not None else ()):
                if one.tag in DANGLING:
                    ornaments.remove(one)
            if ornaments is not None and not len(ornaments):
                notations.remove(ornaments)
            if not len(notations):
                note.remove(notations)

    def _begin(self, measure: Any, carried: dict[str, Any], tempo: Fraction) -> None:
        """What held before the first bar, and the tempo, at its beginning."""
        attributes = etree.Element("attributes")
        etree.SubElement(attributes, "divisions").text = str(self.grid)
        for name, one in sorted(carried.items(), key=lambda row: _order(row[0])):
            if name != "divisions":
                attributes.append(deepcopy(one))
        held = etree.Element("measure")
        metronome(held, str(tempo))
        mark = held[0]
        mark.set("placement", "above")
        etree.SubElement(mark, "staff").text = "1"
        etree.SubElement(mark, "sound", tempo=str(tempo))
        measure.insert(0, attributes)
        own = measure[1] if len(measure) > 1 and measure[1].tag == "attributes" else attributes
        own.addnext(mark)

    # changes

    def clear(self, first: int, last: int) -> None:
        """Take out the notes that begin from ``first`` to before ``last``; those that go on into it end there."""
        for start, measure in zip(self.starts, self.measures, strict=False):
            here = [(start + place, note) for place, note in _notes(measure)]
            for t, note in here:
                length = _length(note)
                if first <= t < last or (note.find("grace") is not None and first < t < last):
                    if length and note.find("chord") is None:
                        note.addprevious(_forward(length, note))
                    measure.remove(note)
                elif t < first < t + length:
                    note.find("duration").text = str(first - t)
                    for one in [*note.findall("type"), *note.findall("dot"), *note.findall("time-modification")]:
                        note.remove(one)
                    if note.find("chord") is None:
                        self._after_chord(note).addnext(_forward(t + length - first, note))

    @staticmethod
    def _after_chord(note: Any) -> Any:
        while (after := note.getnext()) is not None and after.tag == "note" and after.find("chord") is not None:
            note = after
        return note

    def put(self, bar: int, at: int, strokes: Sequence[Stroke]) -> list[tuple[Any, bool]]:
        """Write strokes into a bar, ``at`` ticks after its beginning; the notes, and which are seeded."""
        measure = self.measures[bar]
        last = measure[-1] if len(measure) and measure[-1].tag == "barline" else None
        cursor = _cursor(measure)
        made = []
        new: list[Any] = []
        for staff, voice in dict.fromkeys((one.staff, one.voice) for one in strokes):
            for one in [one for one in strokes if (one.staff, one.voice) == (staff, voice)]:
                place = at + self._ticks(one.at)
                if place != cursor:
                    new.append(_step(place - cursor))
                for n, key in enumerate(sorted(one.keys)):
                    note = self._stroke(one, key, n > 0)
                    new.append(note)
                    made.append((note, key in one.seeded))
                cursor = place + self._ticks(one.length)
        end = self.starts[bar + 1] - self.starts[bar]
        if cursor != end:
            new.append(_step(end - cursor))
        for element in new:
            if last is None:
                measure.append(element)
            else:
                last.addprevious(element)
        return made

    def _ticks(self, quarters: Fraction) -> int:
        ticks = quarters * self.grid
        if ticks.denominator != 1:
            raise ValueError(f"{quarters} quarters are no whole number of ticks at {self.grid} a quarter")
        return int(ticks)

    def _stroke(self, one: Stroke, key: int, chord: bool) -> Any:
        note = etree.Element("note")
        if chord:
            etree.SubElement(note, "chord")
        step, alter, octave = spelling(flat_name(key))
        pitch = etree.SubElement(note, "pitch")
        etree.SubElement(pitch, "step").text = step
        if alter:
            etree.SubElement(pitch, "alter").text = str(alter)
        etree.SubElement(pitch, "octave").text = str(octave)
        etree.SubElement(note, "duration").text = str(self._ticks(one.length))
        etree.SubElement(note, "voice").text = one.voice
        normal = 1 << (one.of.bit_length() - 1) if one.of else 1
        shown = 4 / (one.length * one.of / normal if one.of else one.length)  # 4 is a quarter note's
        if shown.denominator == 1 and int(shown) in TYPES:
            etree.SubElement(note, "type").text = TYPES[int(shown)]
            if one.of and one.of != normal:
                change = etree.SubElement(note, "time-modification")
                etree.SubElement(change, "actual-notes").text = str(one.of)
                etree.SubElement(change, "normal-notes").text = str(normal)
        etree.SubElement(note, "staff").text = str(one.staff)
        return note

    def bytes(self) -> bytes:
        """The score; ties without their other end are taken out first."""
        rows = [
            (start + place, note, _pitch(note))
            for start, measure in zip(self.starts, self.measures, strict=False)
            for place, note in _notes(measure)
            if note.find("pitch") is not None
        ]
        begins = {(t + _length(n), key) for t, n, key in rows if _tied(n, "start")}
        ends = {(t, key) for t, n, key in rows if _tied(n, "stop")}
        for t, note, key in rows:
            if _tied(note, "start") and (t + _length(note), key) not in ends:
                _untie(note, "start")
            if _tied(note, "stop") and (t, key) not in begins:
                _untie(note, "stop")
        return written(self.root)

    def ref(self, note: Any) -> str:
        """Where a note stands: ``P1/m3/n5``, both counted from 0."""
        measure = note.getparent()
        return f"P1/m{self.measures.index(measure)}/n{measure.findall('note').index(note)}"


ORDER = ("divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "transpose")


def _order(name: str) -> tuple[int, str]:
    return ORDER.index(name.split()[0]), name


def _carried(measures: Sequence[Any]) -> dict[str, Any]:
    """The attributes that hold after some bars."""
    found: dict[str, Any] = {}
    for one in (one for measure in measures for attributes in measure.iterfind("attributes") for one in attributes):
        if one.tag in ("key", "time"):
            for old in [name for name in found if name.startswith(one.tag) and not one.get("number")]:
                del found[old]
        if one.tag in ORDER:
            found[f"{one.tag} {one.get('number', '')}".strip()] = one
    return found


def _walk(measure: Any) -> Iterator[tuple[int, Any]]:
    """Each element that takes time, and where the cursor stands after it, in ticks."""
    t = 0
    for one in measure:
        length = _length(one)
        if one.tag == "backup":
            t -= length
        elif one.tag == "forward" or (one.tag == "note" and one.find("chord") is None):
            t += length
        if one.tag in ("note", "backup", "forward"):
            yield t, one


def _notes(measure: Any) -> Iterator[tuple[int, Any]]:
    """Each note and where it begins, in ticks from the bar's beginning."""
    begun = 0
    for after, one in _walk(measure):
        if one.tag == "note":
            if one.find("chord") is None:
                begun = after - _length(one)
            yield begun, one


def _cursor(measure: Any) -> int:
    t = 0
    for t, _ in _walk(measure):  # noqa: B007  # the last is asked for
        pass
    return t


def _length(one: Any) -> int:
    return 0 if one.find("grace") is not None else int(one.findtext("duration") or 0)


def _forward(ticks: int, note: Any) -> Any:
    forward = etree.Element("forward")
    etree.SubElement(forward, "duration").text = str(ticks)
    for tag in ("voice", "staff"):
        if note.findtext(tag):
            etree.SubElement(forward, tag).text = note.findtext(tag)
    return forward


def _step(ticks: int) -> Any:
    step = etree.Element("forward" if ticks > 0 else "backup")
    etree.SubElement(step, "duration").text = str(abs(ticks))
    return step


def _pitch(note: Any) -> tuple[str, str, str]:
    return tuple(note.findtext(f"pitch/{tag}") or "0" for tag in ("step", "alter", "octave"))  # type: ignore[return-value]


def _tied(note: Any, end: str) -> bool:
    return any(one.get("type") == end for one in note.findall("tie"))


def _untie(note: Any, end: str) -> None:
    for one in [*note.findall("tie"), *note.findall("notations/tied")]:
        if one.get("type") == end:
            above = one.getparent()
            above.remove(one)
            if above.tag == "notations" and not len(above):
                note.remove(above)


# ---------------------------------------------------------------- the faults


def mm(low: int, high: int) -> float:
    """From key to key, roughly: a black key stands halfway between its neighbours."""
    places = [key // 12 * 7 + PLACES[key % 12] for key in (low, high)]
    return (places[1] - places[0]) * WHITE_MM


def no_two_hands(keys: Sequence[int]) -> bool:
    """Whether some key lies beyond the reach of a hand on the lowest and of one on the highest."""
    low, high = min(keys), max(keys)
    return any(mm(low, key) > REACH_MM + 6 and mm(key, high) > REACH_MM + 6 for key in keys)


FULL = ((0, 4, 7, 9, 12), (0, 3, 7, 10, 12), (0, 5, 7, 9, 12), (0, 4, 7, 10, 12))
SEVEN = ((0, 2, 4, 5, 7, 9, 12), (0, 2, 3, 5, 7, 10, 12), (0, 1, 4, 5, 7, 8, 12))
TURNS = ((0, 4, 9), (2, 5, 11))  # two chords within an octave that share no key


def _mirrored(music: Music) -> Music:
    """The same for the other hand."""

    def over(row: tuple[Stroke, ...]) -> tuple[Stroke, ...]:
        return tuple(
            one._replace(
                staff=3 - one.staff,
                keys=tuple(MIRROR - key for key in one.keys),
                seeded=tuple(MIRROR - key for key in one.seeded),
            )
            for one in row
        )

    return music._replace(fault=over(music.fault), fair=over(music.fair))


def _either(draw: Random, music: Music) -> Music:
    return _mirrored(music) if draw.random() < 0.5 else music


def _left(at: Fraction | int, length: Fraction, keys: Sequence[int], seeded: Sequence[int] = (), of: int = 0) -> Stroke:
    return Stroke(2, "92", Fraction(at), length, tuple(keys), tuple(seeded), of)


def _right(at: Fraction | int, length: Fraction, keys: Sequence[int], of: int = 0) -> Stroke:
    return Stroke(1, "91", Fraction(at), length, tuple(keys), (), of)


def _elsewhere(draw: Random, key: int) -> int:
    """The lowest key of an octave whose upper part no hand reaches from ``key``, and whose lowest key is above it."""
    return key + BEYOND + draw.randrange(0, 5)


def inner_note_up(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """Nine or ten notes, each hand within an octave; the left hand's fifth an octave up, too far from both ends."""
    low = draw.randrange(28, 45)
    five = draw.choice(FULL)
    left = [low + n for n in five]
    if draw.random() < 0.5:
        left.remove(low + draw.choice([n for n in five[1:-1] if n != 7]))
    moved = low + 19
    base = moved + draw.randrange(7, 11)
    right = [base + n for n in draw.choice(FULL)]
    length = min(Fraction(1), bar)
    bad = [moved if key == low + 7 else key for key in left]
    assert no_two_hands(bad + right)
    return Music(
        (_left(0, length, bad, [moved]), _right(0, length, right)),
        (_left(0, length, left), _right(0, length, right)),
        length,
    )


def seven_in_a_hand(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """Seven keys within an octave, four or five for the other hand so far off that it reaches none of them."""
    low = draw.randrange(28, 45)
    left = [low + n for n in draw.choice(SEVEN)]
    base = _elsewhere(draw, left[-1])
    right = [base + n for n in draw.choice(FULL)]
    if draw.random() < 0.5:
        right.remove(right[draw.randrange(1, 4)])
    length = min(Fraction(1), bar)
    fair = [low + n for n in draw.choice(FULL)]
    return Music(
        (_left(0, length, left, left), _right(0, length, right)),
        (_left(0, length, fair), _right(0, length, right)),
        length,
    )


def leap(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """Two keys of one hand two octaves or more apart in less than 0.38 ms a mm, fair at half the tempo; the other
    hand has a chord at both, and no key of the two is within its reach."""
    fits = [
        (part, octaves)
        for part in FRACTIONS
        for octaves in (2, 3, 4)
        if part * 60_000 / tempo < 0.38 * octaves * OCTAVE_MM
        and 2 * part * 60_000 / tempo > 30 + 0.52 * octaves * OCTAVE_MM
    ]
    part, octaves = draw.choice(fits)
    low = draw.randrange(24, 34 if octaves < 4 else 27)
    high = low + 12 * octaves
    base = high + BEYOND - 11 + draw.randrange(1, 3)  # the chords' upper keys are out of its reach
    chords = [[base + n for n in row] for row in TURNS]
    chords[0][-1] = base + 10
    up = draw.random() < 0.5
    first, then = (low, high) if up else (high, low)
    rows = [
        tuple(
            stroke
            for n, key in enumerate((first, then))
            for stroke in (_left(n * one, one, [key], [key], _of(one)), _right(n * one, one, chords[n], _of(one)))
        )
        for one in (part, 2 * part)
    ]
    return _either(draw, Music(rows[0], rows[1], 4 * part))


def _of(part: Fraction) -> int:
    """The tuplet of a fraction of a quarter that no plain note value is; 0 where one is."""
    return 0 if part.numerator == 1 and part.denominator & (part.denominator - 1) == 0 else part.denominator


def repeats_of(tempo: Fraction) -> int:
    """So many in a quarter are 14 a second or just above."""
    return ceil(14 * 60 / tempo)


def repeats(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """A quarter's length of one key 14 times a second; the other hand, two octaves off, has chords at every second."""
    n = repeats_of(tempo)
    one = Fraction(1, n)
    key = draw.randrange(28, 55)
    base = key + 24 + draw.randrange(0, 5)
    right = tuple(
        _right(i * one, min(2 * one, 1 - i * one), [base + k for k in TURNS[i // 2 % 2]], n) for i in range(0, n, 2)
    )
    bad = tuple(_left(i * one, one, [key], [key], n) for i in range(n))
    fair = tuple(_left(i * one, min(2 * one, 1 - i * one), [key], [], n) for i in range(0, n, 2))
    return _either(draw, Music((*bad, *right), (*fair, *right), Fraction(1)))


def restruck(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """The top key of the left hand's chord, written on, is struck by the right, which is far off at first; the left
    holds the whole chord meanwhile and strikes with its fifth finger."""
    half = min(Fraction(1), bar / 2)
    key = draw.randrange(48, 61)
    chord = [key - 12, key - 8, key - 5]
    base = key + BEYOND - 11 + draw.randrange(1, 4)
    right = [_right(0, half, [base + n for n in (0, 3, 7, 12)]), _right(half, half, [key + n for n in (0, 4, 7, 12)])]
    right[1] = right[1]._replace(seeded=(key,))
    others = [_left(0, 2 * half, chord), _left(half, half, [key - 3])._replace(voice="94")]
    held = _left(0, 2 * half, [key], [key])._replace(voice="93")
    return _either(
        draw, Music((*others, held, *right), (*others, held._replace(length=half), *right), 2 * half)
    )  # fmt: skip


def twelfths(draw: Random, tempo: Fraction, bar: Fraction) -> Music:
    """A twelfth three times, each within 170 ms: half of what two ways of 258 mm take at the least; the other hand
    has a chord at each, out of reach. Fair are octaves."""
    part = max(one for one in FRACTIONS if one * 60_000 / tempo <= 170)
    low = draw.randrange(26, 42)
    base = _elsewhere(draw, low + 19) - 8
    rows = []
    for top in (low + 19, low + 12):
        left = [_left(i * part, part, [low, top], [low, top], _of(part)) for i in range(3)]
        chords = [[base + n for n in (*TURNS[i % 2], *((12,) if i % 2 == 0 else ()))] for i in range(3)]
        rows.append((*left, *(_right(i * part, part, chord, _of(part)) for i, chord in enumerate(chords))))
    return _either(draw, Music(rows[0], rows[1], 3 * part))


KINDS: dict[str, Callable[[Random, Fraction, Fraction], Music]] = {
    "an inner note up an octave": inner_note_up,
    "seven notes in a hand": seven_in_a_hand,
    "a leap at double tempo": leap,
    "14 repeats a second": repeats,
    "a key held and struck": restruck,
    "a twelfth with no time to roll": twelfths,
}


def made(kind: str, seed: int) -> Seed:
    """The fault of a kind with a number; of even numbers in a bar above the median."""
    draw = Random(f"{kind} {seed}")
    passage, source = drawn(draw, seed % 2 == 0)
    tempo = passage.tempo
    grid = lcm(GRID, repeats_of(tempo))
    cut = _Cut(passage, source, grid)
    bar = passage.at - passage.first
    length = cut.starts[bar + 1] - cut.starts[bar]
    music = KINDS[kind](draw, tempo, Fraction(length, cut.grid))
    taken = int(music.length * cut.grid)
    places = {place for place, note in _notes(cut.measures[bar]) if note.find("grace") is None}
    at = draw.choice(sorted({place for place in places if place + taken <= length} | {0}))
    gap = ceil(GAP_S * tempo / 60 * cut.grid)
    before = deepcopy_of(cut)
    found = []
    for strokes in (music.fault, music.fair):
        one = deepcopy_of(cut)
        start = one.starts[bar] + at
        one.clear(start - gap, start + taken + gap)
        notes = one.put(bar, at, strokes)
        data = one.bytes()
        found.append((data, tuple(one.ref(n) for n, its in notes if its), tuple(one.ref(n) for n, _ in notes)))
    return Seed(kind, found[0][0], found[1][0], before.bytes(), found[0][1], found[0][2], passage)


def deepcopy_of(cut: _Cut) -> _Cut:
    """A cut of its own to write in."""
    other = object.__new__(_Cut)
    other.grid, other.starts = cut.grid, list(cut.starts)
    other.root = deepcopy(cut.root)
    other.part = other.root.find("part")
    other.measures = list(other.part.iterfind("measure"))
    return other
