"""Faults of pedalling put into harp passages that have none: what clashes is known from how it was made.

A passage is diatonic material of `harp_passages.tonal`, written for one harp on two staves at a printed tempo. Its key
moves by one fifth, so by one pedal, between two onsets that leave time for it. The fault is an onset, or some close
together, at a drawn place; ``group`` are its notes that clash. What clashes follows from seven letters with three
positions each (`ways`) and from the times of a change; nothing here comes from the package under test.

Beside the group there may be bystanders in the same onsets. They are such that the onsets go once any one note of the
group is left out, so every clash there is holds the whole group.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations, product
from random import Random
from typing import Any, NamedTuple

from lxml import etree

import harp_passages
import seeds
from harp_passages import NATURAL, Spelled, sounding

GRID = 24  # ticks a quarter
BAR = 4 * GRID
TEMPOS = (48, 54, 60, 66, 72, 80, 88, 96, 104, 112, 120, 132, 144)
VALUES = (3, 4, 6, 8, 12, 16, 18, 24, 30, 36, 42, 48)  # ticks from a 32nd to a half
COMFORTABLE = 1000 * int(seeds.facts()["harp"]["pedal_comfortable"])  # microseconds
QUICKEST = 1000 * int(seeds.facts()["harp"]["pedal_quickest"])
LEFT, RIGHT = "DCB", "EFGA"
APART_US = 4_000_000  # a rest in which all pedals can be moved, four on one foot, one after the other
LOW, HIGH = 45, 81

Way = dict[str, int]  # letter -> position


class Row(NamedTuple):
    """Notes struck together: tick from the beginning, length in ticks."""

    at: int
    length: int
    names: tuple[Spelled, ...]


@dataclass(frozen=True)
class Page:
    """A harp part to be written: quarters a minute, and its onsets in order of time."""

    qpm: int
    rows: tuple[Row, ...]

    @property
    def tick_us(self) -> float:
        """Microseconds a tick."""
        return 60_000_000 / (self.qpm * GRID)

    def without(self, row: int, n: int) -> Page:
        """The page less one note."""
        old = self.rows[row]
        names = old.names[:n] + old.names[n + 1 :]
        return replace(self, rows=(*self.rows[:row], old._replace(names=names), *self.rows[row + 1 :]))

    def onsets(self, notes: Iterable[tuple[int, int]]) -> list[dict[str, Any]]:
        """Some of the notes, as (row, note), as the brute force reads them."""
        chosen = sorted(set(notes))
        found = []
        for row in sorted({row for row, _ in chosen}):
            at, length, names = self.rows[row]
            found.append(
                {
                    "t_us": int(at * self.tick_us),
                    "notes": [
                        {"pitch": sounding(names[n]), "written_us": round(length * self.tick_us)}
                        for r, n in chosen
                        if r == row
                    ],
                }
            )
        return found


@dataclass(frozen=True)
class Seeded:
    """A page with a fault.

    ``group`` are the notes that clash, as (row, note); ``rows`` are the rows of the fault; ``level`` is what has to be
    said of it. ``apart`` says that a long rest stands on either side of the fault. ``clean`` is the page without it.
    """

    page: Page
    group: tuple[tuple[int, int], ...]
    rows: tuple[int, ...]
    level: str
    sort: str
    apart: bool
    clean: Page


# ---------------------------------------------------------------- the mechanism


@cache
def ways(classes: frozenset[int]) -> tuple[Way, ...]:
    """All ways to have these pitch classes at once, one letter each.

    >>> ways(frozenset({7, 9}))[0] == {"G": 0, "A": 0}, ways(frozenset({7, 8, 9}))
    (True, ())
    """
    if not classes:
        return ({},)
    first = min(classes)
    found = []
    for way in ways(classes - {first}):
        for letter, natural in NATURAL.items():
            position = (first - natural + 1) % 12 - 1
            if position in (-1, 0, 1) and letter not in way:
                found.append({**way, letter: position})
    return tuple(found)


@cache
def busiest(first: frozenset[int], second: frozenset[int]) -> int | None:
    """Changes of the busier foot between two onsets, in the way that needs fewest; None if one of them cannot be."""
    found = None
    for before, after in product(ways(first), ways(second)):
        moved = [letter for letter in before if after.get(letter, before[letter]) != before[letter]]
        left = sum(letter in LEFT for letter in moved)
        most = max(left, len(moved) - left)
        if found is None or most < found:
            found = most
    return found


@cache
def clashing_sets() -> tuple[frozenset[int], ...]:
    """The pitch classes of which no setting has all, though it has them all but any one; up to six of them."""
    found: list[frozenset[int]] = []
    for size in range(1, 7):
        for row in combinations(range(12), size):
            classes = frozenset(row)
            if not any(known <= classes for known in found) and not ways(classes):
                found.append(classes)
    return tuple(found)


def leaving_out_one(group: Sequence[frozenset[int]], beside: Sequence[frozenset[int]]) -> list[int | None]:
    """`busiest` of two onsets, group and bystanders, with each note of the group left out in turn."""
    found = []
    for k, classes in enumerate(group):
        for left in sorted(classes):
            rows = [one | more for one, more in zip(group, beside, strict=True)]
            rows[k] = (classes - {left}) | beside[k]
            found.append(busiest(rows[0], rows[1]))
    return found


def needs(group: Sequence[frozenset[int]], beside: Sequence[frozenset[int]], changes: int) -> bool:
    """Whether one foot has so many changes to make, and fewer as soon as any one note of the group is missing."""
    if busiest(group[0] | beside[0], group[1] | beside[1]) != changes or busiest(*group) != changes:
        return False
    return all(rest is not None and rest < changes for rest in leaving_out_one(group, beside))


# ---------------------------------------------------------------- passages


def clean(random: Random) -> Page:
    """A passage that can be played as it is spelled: at most one change between two onsets, with time for it."""
    qpm = random.choice(TEMPOS)
    quarter_us = 60_000_000 / qpm
    step = random.choice([n * GRID for n in (1, 2, 3, 4) if 750_000 <= n * quarter_us <= 2_000_000])
    tonal = harp_passages.tonal(random.randint(6, 12), random.randrange(10**6), step_us=2, chromatic=0, turn=0.1)
    rows = []
    for i, onset in enumerate(tonal):
        at = i * step
        length = min(step // 2, BAR - at % BAR)
        rows.append(Row(at, length, tuple(note["spelled"] for note in onset["notes"])))
    return Page(qpm, tuple(rows))


def placed(random: Random, page: Page, fault: Sequence[Row], apart: bool) -> tuple[Page, tuple[int, ...]]:
    """The page with the rows of a fault (counted from their first) put in at a drawn place, and where they stand."""
    step = page.rows[1].at - page.rows[0].at
    index = random.randrange(len(page.rows) + 1)
    room = step
    while apart and room * page.tick_us < APART_US:
        room += step
    before, after = page.rows[:index], page.rows[index:]
    start = before[-1].at + room if before else 0
    rows = []
    for row in fault:
        at = start + row.at
        rows.append(row._replace(at=at, length=min(row.length, BAR - at % BAR)))
    last = rows[-1].at
    later = -(-(last + room) // GRID) * GRID - (after[0].at if after else 0)
    moved = [row._replace(at=row.at + later, length=min(row.length, BAR - (row.at + later) % BAR)) for row in after]
    return replace(page, rows=(*before, *rows, *moved)), tuple(range(index, index + len(rows)))


def named(random: Random, pitch_class: int) -> Spelled:
    """A note of a pitch class in the middle of the harp, black keys with either name."""
    pitch = random.choice([p for p in range(LOW, HIGH) if p % 12 == pitch_class])
    return harp_passages.name_of(pitch, random.random() < 0.5)


def _gap(random: Random, page: Page, least_us: float, below_us: float) -> int | None:
    """A printed value between two times; None if the tempo has none."""
    fitting = [v for v in VALUES if least_us <= v * page.tick_us < below_us]
    return random.choice(fitting) if fitting else None


def _bystanders(random: Random, page: Page, group: Sequence[frozenset[int]], changes: int) -> list[frozenset[int]]:
    """Up to two more pitch classes for each onset, from the passage, that leave the clash where it is."""
    beside: list[frozenset[int]] = [frozenset() for _ in group]
    known = {sounding(name) % 12 for row in page.rows for name in row.names}
    for k in range(len(group)):
        for _ in range(random.choice((0, 0, 1, 2))):
            one = random.choice(sorted(known))
            trial = list(beside)
            trial[k] = beside[k] | {one}
            if one not in group[k] and needs(group, trial, changes):
                beside = trial
    return beside


def _seeded(
    random: Random, page: Page, rows: Sequence[tuple[int, int, frozenset[int], frozenset[int]]], level: str, sort: str,
    apart: bool,
) -> Seeded:  # fmt: skip
    """The page with these onsets: tick, length, classes of the group, of bystanders."""
    fault, wanted = [], []
    for k, (at, length, group, beside) in enumerate(rows):
        names = [(named(random, one), one in group) for one in sorted(group | beside)]
        names.sort(key=lambda row: sounding(row[0]))
        fault.append(Row(at, length, tuple(name for name, _ in names)))
        wanted += [(k, n) for n, (_, own) in enumerate(names) if own]
    made, where = placed(random, page, fault, apart)
    group_at = tuple((where[k], n) for k, n in wanted)
    kept = tuple(row for i, row in enumerate(made.rows) if i not in where)
    return Seeded(made, group_at, where, level, sort, apart, replace(made, rows=kept))


# ---------------------------------------------------------------- the faults


def changes_too_fast(seed: int, changes: int) -> Seeded:
    """One foot has to make so many changes (one or two) between two onsets.

    Three of five have less than the quickest time, but time enough for one change less: impossible. The others have
    the quickest time and less than the comfortable one: hard. There the first onset is short, so that it is over in
    time, or, half of those with one change, held to the second, so that it has to be let go.
    """
    random = Random(f"{changes} changes {seed}")
    impossible = seed % 5 < 3
    while True:
        page = clean(random)
        groups = _groups(changes)
        size = random.choice(sorted(groups))
        group = random.choice(groups[size])
        if impossible:
            gap = _gap(random, page, (changes - 1) * QUICKEST + 2, changes * QUICKEST - 2)
        else:
            gap = _gap(random, page, changes * QUICKEST + 2 * page.tick_us, changes * COMFORTABLE - 2)
        if gap is None:
            continue
        apart = not impossible or random.random() < 0.5
        length = random.choice((max(1, gap // 2), gap))
        sort = "between rests" if apart else "in the flow"
        if not impossible:
            held = changes == 1 and seed % 5 == 3
            most = int((gap * page.tick_us - changes * QUICKEST) / page.tick_us) - 1
            length = gap if held else random.randint(1, max(1, most))
            sort = "let go" if held else "quick"
        beside = _bystanders(random, page, group, changes)
        rows = [(0, length, group[0], beside[0]), (gap, max(1, gap // 2), group[1], beside[1])]
        seeded = _seeded(random, page, rows, "impossible" if impossible else "hard", sort, apart)
        first, second = seeded.rows
        if not impossible and seeded.page.rows[first].length < length:
            continue  # cut by the bar line
        assert seeded.page.rows[second].at - seeded.page.rows[first].at == gap
        return seeded


@cache
def _groups(changes: int) -> dict[int, list[tuple[frozenset[int], frozenset[int]]]]:
    """Pairs of onsets between which one foot has so many changes to make and no note is too many, by their size.

    For one change they are the clashing sets, divided in two; for two, pairs found among all of up to four and three.
    """
    found: dict[int, list[tuple[frozenset[int], frozenset[int]]]] = {}
    none = (frozenset[int](), frozenset[int]())
    if changes == 1:
        pairs = [
            (frozenset(first), classes - frozenset(first))
            for classes in clashing_sets()
            for size in range(1, len(classes))
            for first in combinations(sorted(classes), size)
        ]
    else:
        draw = Random("pairs")
        pairs = []
        for _ in range(60_000):
            row = draw.sample(range(12), draw.randint(5, 7))
            cut = draw.randint(2, len(row) - 2)
            pairs.append((frozenset(row[:cut]), frozenset(row[cut:])))
        pairs = sorted(set(pairs), key=lambda pair: (sorted(pair[0]), sorted(pair[1])))
    for pair in pairs:
        if busiest(*pair) == changes and needs(pair, none, changes):
            found.setdefault(len(pair[0]) + len(pair[1]), []).append(pair)
    return found


def g_g_sharp_a(seed: int) -> Seeded:
    """G, G sharp and A, every other time struck together, else one after the other in any order.

    G and A are had on their own letters only, G sharp on either; so one of them moves between its natural and the
    G sharp. Neither has the quickest time for it.
    """
    random = Random(f"g g sharp a {seed}")
    three = frozenset((7, 8, 9))
    while True:
        page = clean(random)
        apart = random.random() < 0.5
        if seed % 2 == 0:
            known = sorted({sounding(name) % 12 for row in page.rows for name in row.names} - three)
            beside = frozenset(random.sample(known, random.choice((0, 0, 1, 2))))
            if not all(ways((three - {one}) | beside) for one in three):
                continue
            rows = [(0, GRID // 2, three, beside)]
            return _seeded(random, page, rows, "impossible", "together", apart)
        order = random.sample((7, 8, 9), 3)
        further = max(abs(order.index(8) - order.index(one)) for one in (7, 9))
        gap = _gap(random, page, 1, (QUICKEST - 2) / further)
        if gap is None:
            continue
        rows = [(k * gap, gap, frozenset({one}), frozenset[int]()) for k, one in enumerate(order)]
        return _seeded(random, page, rows, "impossible", "in succession", apart)


NO_STRING = (("C", 1, 1), ("D", -1, 1), ("C", 1, 1), ("D", -1, 1), ("C", -1, 1), ("B", 0, 0))
"""Names of what C1 and D1, tuned natural and without pedal, and E1, with one, do not give: 25, and 23 below them."""
A_STRING = (("C", 0, 1), ("D", 0, 1), ("D", 1, 1), ("E", -1, 1), ("E", 0, 1), ("F", -1, 1))
"""What they give: 24, 26, 27 (E flat) and 28."""


def low_note(seed: int, names: Sequence[Spelled] = NO_STRING) -> Seeded:
    """A low note in an onset of the passage, with its other notes: a bass that only a string without pedal has."""
    random = Random(f"low note {seed}")
    page = clean(random)
    index = random.randrange(len(page.rows))
    row = page.rows[index]
    low = names[seed % len(names)]
    if names is A_STRING:  # by itself, so that nothing else can be in its way
        made, where = placed(random, page, [Row(0, GRID // 2, (low,))], apart=True)
        kept = tuple(one for i, one in enumerate(made.rows) if i not in where)
        return Seeded(made, ((where[0], 0),), where, "", "had", True, replace(made, rows=kept))
    rows = (*page.rows[:index], row._replace(names=(low, *row.names)), *page.rows[index + 1 :])
    return Seeded(replace(page, rows=rows), ((index, 0),), (index,), "impossible", str(sounding(low)), False, page)


# ---------------------------------------------------------------- writing


@dataclass(frozen=True)
class Written:
    """A page as MusicXML, and the place of every note in it: (row, note) -> "P1/m4/n2"."""

    data: bytes
    refs: dict[tuple[int, int], str]


def written(page: Page) -> Written:
    """One harp on two staves, middle C and above on the upper; every sign printed, and the tempo as a mark."""
    root = etree.Element("score-partwise", version="4.0")
    listed = etree.SubElement(etree.SubElement(root, "part-list"), "score-part", id="P1")
    etree.SubElement(listed, "part-name").text = "Harp"
    declared = etree.SubElement(listed, "score-instrument", id="P1-I1")
    etree.SubElement(declared, "instrument-name").text = "Harp"
    etree.SubElement(declared, "instrument-sound").text = "pluck.harp"
    part = etree.SubElement(root, "part", id="P1")
    refs: dict[tuple[int, int], str] = {}
    bars = 1 + max((row.at for row in page.rows), default=0) // BAR
    for bar in range(bars):
        measure = etree.SubElement(part, "measure", number=str(bar + 1))
        if not bar:
            _opening(measure, page.qpm)
        n = 0
        for staff in (1, 2):
            at = bar * BAR
            for i, row in enumerate(page.rows):
                here = [k for k, name in enumerate(row.names) if (sounding(name) >= 60) == (staff == 1)]
                if row.at // BAR != bar or not here:
                    continue
                if row.at > at:
                    _note(measure, row.at - at, staff)
                    n += 1
                for k in here:
                    _note(measure, row.length, staff, row.names[k], chord=k != here[0])
                    refs[i, k] = f"P1/m{bar}/n{n}"
                    n += 1
                at = row.at + row.length
            if at < (bar + 1) * BAR:
                _note(measure, (bar + 1) * BAR - at, staff)
                n += 1
            if staff == 1:
                etree.SubElement(etree.SubElement(measure, "backup"), "duration").text = str(BAR)
    return Written(seeds.written(root), refs)


def _opening(measure: Any, qpm: int) -> None:
    attributes = etree.SubElement(measure, "attributes")
    etree.SubElement(attributes, "divisions").text = str(GRID)
    etree.SubElement(etree.SubElement(attributes, "key"), "fifths").text = "0"
    time = etree.SubElement(attributes, "time")
    etree.SubElement(time, "beats").text = "4"
    etree.SubElement(time, "beat-type").text = "4"
    etree.SubElement(attributes, "staves").text = "2"
    for number, name in enumerate(("G2", "F4"), 1):
        sign = seeds.clef(name)
        sign.set("number", str(number))
        attributes.append(sign)
    seeds.metronome(measure, str(qpm))


def _note(measure: Any, length: int, staff: int, name: Spelled | None = None, chord: bool = False) -> None:
    """A note, or a rest without a name."""
    note = etree.SubElement(measure, "note")
    if chord:
        etree.SubElement(note, "chord")
    if name is None:
        etree.SubElement(note, "rest")
    else:
        pitch = etree.SubElement(note, "pitch")
        etree.SubElement(pitch, "step").text = name[0]
        if name[1]:
            etree.SubElement(pitch, "alter").text = str(name[1])
        etree.SubElement(pitch, "octave").text = str(name[2])
    etree.SubElement(note, "duration").text = str(length)
    etree.SubElement(note, "voice").text = str(4 * staff - 3)
    if name is not None:
        etree.SubElement(note, "accidental").text = seeds.SIGN[name[1]]
    etree.SubElement(note, "staff").text = str(staff)
