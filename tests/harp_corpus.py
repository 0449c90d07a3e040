"""Real scores as one harp: all parts but the last, which is the bass, on the staves of a single part.

The MusicXML is made from the file's own elements with lxml; nothing here comes from the package under test. Notes keep
their measure, voice, length and ties, and stand at their sounding pitch. Bar lines, endings, tempo, keys and other
signs are those of the first part.
"""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from math import lcm
from pathlib import Path
from typing import Any

from lxml import etree

import seeds

STEPS = "CDEFGAB"
KEPT = ("key", "time")  # of the attributes of the first part
AFTER_VOICE = (
    "type", "dot", "accidental", "time-modification", "stem", "notehead", "notehead-text", "staff", "beam",
    "notations", "lyric", "play", "listen",
)  # fmt: skip
AFTER_STAFF = AFTER_VOICE[AFTER_VOICE.index("beam") :]
DROPPED = ("instrument", "beam", "lyric", "play", "listen")


def merged(path: Path) -> bytes:
    """The file as a score of one harp."""
    root = seeds.tree(path)
    parts = _kept(root)
    unit = lcm(*(_divisions(row).denominator for row in root.iter("divisions")), 1)
    grid = lcm(*(int(_divisions(row) * unit) for row in root.iter("divisions")), 1)
    pens = []
    staff = 1
    for k, part in enumerate(parts):
        pens.append(_Pen(k, staff, grid))
        staff += max([1, *(int(row.text) for row in part.iter("staves"))])
    score = etree.Element("score-partwise", version="4.0")
    listed = etree.SubElement(etree.SubElement(score, "part-list"), "score-part", id="P1")
    etree.SubElement(listed, "part-name").text = "Harp"
    declared = etree.SubElement(listed, "score-instrument", id="P1-I1")
    etree.SubElement(declared, "instrument-name").text = "Harp"
    etree.SubElement(declared, "instrument-sound").text = "pluck.harp"
    made = etree.SubElement(score, "part", id="P1")
    columns = [part.findall("measure") for part in parts]
    for i, first in enumerate(columns[0]):
        measure = etree.SubElement(made, "measure", {k: v for k, v in first.attrib.items() if k != "width"})
        if not i:
            attributes = etree.SubElement(measure, "attributes")
            etree.SubElement(attributes, "divisions").text = str(grid)
            etree.SubElement(attributes, "staves").text = str(staff - 1)
        late: list[Any] = []
        for pen, column in zip(pens, columns, strict=True):
            if i < len(column):
                pen.copy(column[i], measure, late)
        measure.extend(late)
    return seeds.written(score)


def sounding(path: Path) -> Counter[tuple[int, int]]:
    """Ordinal of the measure and MIDI number of every note of the kept parts, in any order."""
    found: Counter[tuple[int, int]] = Counter()
    for part in _kept(seeds.tree(path)):
        shift: dict[str | None, int] = {}
        for i, measure in enumerate(part.findall("measure")):
            for child in measure:
                if child.tag == "attributes":
                    shift.update((row.get("number"), _shift(row)[1]) for row in child.iterfind("transpose"))
                elif child.tag == "note" and child.find("pitch") is not None:
                    here = shift.get(child.findtext("staff") or "1", shift.get(None, 0))
                    found[i, midi(child.find("pitch")) + here] += 1
    return found


def _kept(root: Any) -> list[Any]:
    """All parts but the last; the only one where there is no other."""
    parts: list[Any] = root.findall("part")
    return parts[:-1] or parts


def _divisions(row: Any) -> Fraction:
    return Fraction(row.text.strip())


def midi(pitch: Any) -> int:
    """MIDI number of a pitch element as written."""
    alter = Fraction(pitch.findtext("alter") or 0)
    return int(12 * (int(pitch.findtext("octave")) + 1) + seeds.CLASS[pitch.findtext("step").strip()] + alter)


def _shift(row: Any) -> tuple[int, int]:
    """Letters and semitones from written to sounding."""
    octaves = int(row.findtext("octave-change") or 0)
    chromatic = int(Fraction(row.findtext("chromatic") or 0))
    nearest = min(range(-7, 8), key=lambda d: abs(round(Fraction(12, 7) * d) - chromatic))
    return int(row.findtext("diatonic") or nearest) + 7 * octaves, chromatic + 12 * octaves


class _Pen:
    """Writes the measures of one part into those of the harp."""

    def __init__(self, ordinal: int, staff: int, grid: int) -> None:
        self.ordinal, self.staff, self.grid = ordinal, staff, grid
        self.scale = Fraction(1)
        self.shift: dict[str | None, tuple[int, int]] = {}

    def copy(self, measure: Any, into: Any, late: list[Any]) -> None:
        """One measure. Right bar lines are put aside, to stand last."""
        cursor = 0
        for child in measure:
            if not isinstance(child.tag, str):
                continue
            if child.tag == "attributes":
                self._attributes(child, into)
                continue
            if child.tag not in ("note", "backup", "forward"):
                if not self.ordinal:
                    made = copy.deepcopy(child)
                    (late if child.tag == "barline" and child.get("location") != "left" else into).append(made)
                continue
            made = copy.deepcopy(child)
            length = made.find("duration")
            if length is not None:
                scaled = Fraction(length.text.strip()) * self.scale
                assert scaled.denominator == 1, "the grid holds every length"
                length.text = str(int(scaled))
                sign = -1 if made.tag == "backup" else 0 if made.find("chord") is not None else 1
                cursor += sign * int(scaled)
            if made.tag == "note":
                if made.find("unpitched") is not None and made.find("chord") is not None:
                    continue
                self._note(made)
            elif made.tag == "forward":
                for old in [*made.findall("voice"), *made.findall("staff")]:
                    made.remove(old)
            into.append(made)
        if cursor > 0:
            etree.SubElement(etree.SubElement(into, "backup"), "duration").text = str(cursor)

    def _attributes(self, attributes: Any, into: Any) -> None:
        divisions = attributes.find("divisions")
        if divisions is not None:
            self.scale = Fraction(self.grid) / _divisions(divisions)
        for row in attributes.iterfind("transpose"):
            self.shift[row.get("number")] = _shift(row)
        kept = [] if self.ordinal else [row for row in attributes if row.tag in KEPT]
        if kept:
            etree.SubElement(into, "attributes").extend(copy.deepcopy(row) for row in kept)

    def _note(self, note: Any) -> None:
        for tag in DROPPED:
            for old in note.findall(tag):
                note.remove(old)
        own = note.findtext("staff") or "1"
        self._put(note, "voice", f"{self.ordinal}.{own}.{note.findtext('voice') or '1'}", AFTER_VOICE)
        self._put(note, "staff", str(self.staff + int(own) - 1), AFTER_STAFF)
        for old in note.findall("unpitched"):
            note.replace(old, etree.Element("rest"))
        letters, semitones = self.shift.get(own, self.shift.get(None, (0, 0)))
        pitch = note.find("pitch")
        if pitch is not None and (letters or semitones):
            number = midi(pitch) + semitones
            line = 7 * int(pitch.findtext("octave")) + STEPS.index(pitch.findtext("step").strip()) + letters
            step, octave = STEPS[line % 7], line // 7
            alter = number - 12 * (octave + 1) - seeds.CLASS[step]
            for child in list(pitch):
                pitch.remove(child)
            etree.SubElement(pitch, "step").text = step
            if alter:
                etree.SubElement(pitch, "alter").text = str(alter)
            etree.SubElement(pitch, "octave").text = str(octave)
            for old in note.findall("accidental"):
                note.remove(old)

    def _put(self, note: Any, tag: str, text: str, before: tuple[str, ...]) -> None:
        found = note.find(tag)
        if found is None:
            found = etree.Element(tag)
            at = next((i for i, child in enumerate(note) if child.tag in before), len(note))
            note.insert(at, found)
        found.text = text


def measures(data: bytes) -> Iterator[Any]:
    """The measures of a score made here."""
    return etree.fromstring(data).iterfind("part/measure")
