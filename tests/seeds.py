"""Scores made for the tests: small ones from a line of notes, and faults put into parts of real files.

Nothing here comes from the package under test: MusicXML is read and written with lxml, the tables with tomllib.
"""

from __future__ import annotations

import random
import re
import tomllib
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

TABLES = Path(__file__).resolve().parents[1] / "src" / "deskproof"
DIVISIONS = 48
CLASS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGN = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th"}
_PITCH = re.compile(r"([A-G])(bb|b|##|#|)(-?\d)$")
_TOKEN = re.compile(r"(?P<pitches>R|[A-Gx#b0-9@+-]+)/(?P<value>\d+)(?P<dot>\.?)$")


# ---------------------------------------------------------------- the tables, read by themselves


@cache
def facts() -> Mapping[str, Mapping[str, Any]]:
    """Owner -> its figures, from the TOML files: ``facts()["flute"]["lowest"]`` is "C4"."""
    owners: dict[str, dict[str, Any]] = {}
    for path in sorted((TABLES / "facts").glob("*.toml")):
        for name, table in tomllib.loads(path.read_text(encoding="utf-8")).items():
            if "value" in table:
                owners.setdefault(path.stem, {})[name] = table["value"]
                continue
            for key, row in table.items():
                if isinstance(row, dict) and "value" in row:
                    owners.setdefault(name, {})[key] = row["value"]
    return owners


@cache
def instruments() -> Mapping[str, Mapping[str, Any]]:
    """Instrument id -> its row of names and standard sound ids."""
    return tomllib.loads((TABLES / "instruments.toml").read_text(encoding="utf-8"))


def usual_transposition(instrument: str) -> int:
    """Semitones from written to sounding, the first that the tables give; 0 without one."""
    value = facts().get(instrument, {}).get("transposition", 0)
    return int(value[0] if isinstance(value, list) else value)


def midi(name: str) -> int:
    """MIDI number of a scientific pitch name (C4 is 60).

    >>> midi("A4"), midi("Bb1"), midi("B#3")
    (69, 34, 60)
    """
    step, alter, octave = spelling(name)
    return 12 * (octave + 1) + CLASS[step] + alter


def spelling(name: str) -> tuple[str, int, int]:
    """Letter, alteration and octave of a scientific pitch name."""
    found = _PITCH.match(name)
    if found is None:
        raise ValueError(f"{name!r} is no pitch name such as Bb3")
    return found[1], found[2].count("#") - found[2].count("b"), int(found[3])


def flat_name(number: int) -> str:
    """A pitch name for a MIDI number, black keys as flats.

    >>> flat_name(61)
    'Db4'
    """
    return ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")[number % 12] + str(number // 12 - 1)


def of_key(fifths: int) -> dict[str, int]:
    """Letter -> alteration under a key signature of so many sharps (flats if negative)."""
    order = "FCGDAEB" if fifths > 0 else "BEADGCF"
    return {step: (1 if fifths > 0 else -1) * (step in order[: abs(fifths)]) for step in CLASS}


# ---------------------------------------------------------------- small scores


@dataclass(frozen=True)
class Token:
    """A note, chord or rest of a case: its written pitches, and its length in quarters.

    A pitch is a scientific name; "xE4" is an unpitched note at the place of E4 in a treble clef. "@2" after either is
    the second of the case's kit.
    """

    pitches: tuple[str, ...]
    value: int
    dotted: bool

    @property
    def quarters(self) -> Fraction:
        """Length in quarters."""
        return Fraction(4, self.value) * (Fraction(3, 2) if self.dotted else 1)


def tokens(text: str) -> list[Token]:
    """The notes of a case; bar lines ("|") left out.

    >>> [t.pitches for t in tokens("C4+E4/4. R/8 | D#5/2")]
    [('C4', 'E4'), (), ('D#5',)]
    >>> [t.pitches for t in tokens("xE4@1+xC5@2/4 xF4/8")]
    [('xE4@1', 'xC5@2'), ('xF4',)]
    """
    found = []
    for word in text.split():
        if word == "|":
            continue
        match = _TOKEN.match(word)
        if match is None:
            raise ValueError(f"{word!r} is no note such as D#4/16, C4+E4/4., xE4@1/4 or R/2")
        pitches = () if match["pitches"] == "R" else tuple(match["pitches"].split("+"))
        found.append(Token(pitches, int(match["value"]), bool(match["dot"])))
    return found


def sounding(case: Mapping[str, Any], text: str) -> list[tuple[Fraction, Fraction, int]]:
    """Onset and end in quarters, and MIDI number, of every pitched note of a case; ties not joined."""
    shift = case.get("transpose", usual_transposition(case["instrument"]))
    rows, onset = [], Fraction(0)
    for token in tokens(text):
        pitched = [name.partition("@")[0] for name in token.pitches if not name.startswith("x")]
        rows += [(onset, onset + token.quarters, midi(name) + shift) for name in pitched]
        onset += token.quarters
    return sorted(rows)


def score(case: Mapping[str, Any], text: str | None = None) -> bytes:
    """A case as a MusicXML document of one part, or of several if it has parts beside it.

    Parameters
    ----------
    case : mapping
        ``instrument`` (an id of the tables), ``notes`` (written), and as wanted ``tempo`` (quarters a minute),
        ``key`` (fifths), ``clef`` ("G2", "G2-1", "percussion"),
        ``transpose`` (semitones; the instrument's usual one if absent),
        ``time`` (quarters a bar, 4), ``part`` (the part's name), ``signs = false`` (print no accidental at all),
        ``carries_accidentals = false`` (the file says that it has none) and ``marks``: pairs of a token's ordinal
        and a mark, one of no-sign, sign, empty-sign, sign-above, tie, tie-without-stop, grace, cue, hidden, harmonic,
        diamond K (of the chord's note K), clef X, key N, transpose N, 8va, 8vb, 8va-end, words TEXT. For the harp
        also: tie K (of the chord's note K), roll, bracket (a chord struck at once), trill K or trill K flat (the sign
        of its upper note), gliss, gliss-end, damp, damp-all, tempo N, repeat
        (before the bar), repeat-end (after it), pedals LETTERS (a diagram: "pedals D C Bb Eb F# G A"),
        harmonic K (of the chord's note K), harmonic CHILD (base-pitch, sounding-pitch), harmonic K CHILD, staccato,
        tremolo N (strokes), tremolo start N and tremolo stop N (between two), dashes start, dashes stop, dynamic NAME.
        ``kit`` lists the instruments (ids of the tables) that the file declares for the part in place of its own;
        a note says with @1, @2 ... which of them it is: "xE4@1" an unpitched one, "C5@2" a pitched one.
        ``below`` are notes of a second staff of the part, ``marks_below`` theirs.
        ``before`` is the case of the movement before this one (not written here).
        ``beside`` lists further parts, each with an ``instrument``, ``notes`` and whatever of this it needs.
    text : str, optional
        Notes to use instead of the case's own.
    """
    root = etree.Element("score-partwise", version="4.0")
    if case.get("carries_accidentals") is False:
        encoding = etree.SubElement(etree.SubElement(root, "identification"), "encoding")
        etree.SubElement(encoding, "supports", element="accidental", type="no")
    parts = etree.SubElement(root, "part-list")
    for k, one in enumerate([{**case, "notes": text or case["notes"]}, *case.get("beside", ())], 1):
        marks: dict[int, list[str]] = {}
        for at, mark in one.get("marks", ()):
            marks.setdefault(at, []).append(mark)
        row = instruments()[one["instrument"]]
        listed = etree.SubElement(parts, "score-part", id=f"P{k}")
        etree.SubElement(listed, "part-name").text = one.get("part", row["name"])
        for i, played in enumerate(one.get("kit", (one["instrument"],)), 1):
            row = instruments()[played]
            declared = etree.SubElement(listed, "score-instrument", id=f"P{k}-I{i}")
            etree.SubElement(declared, "instrument-name").text = row["name"]
            if row.get("sounds"):
                etree.SubElement(declared, "instrument-sound").text = row["sounds"][0]
        part = etree.SubElement(root, "part", id=f"P{k}")
        _Writer(one, marks, part).write(one["notes"])
        if "below" in one:
            add_below(part, one)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


def add_below(part: Any, case: Mapping[str, Any]) -> None:
    """Write the notes of ``below`` on a second staff, bar by bar."""
    under = etree.Element("part", id=part.get("id"))
    marks: dict[int, list[str]] = {}
    for at, mark in case.get("marks_below", ()):
        marks.setdefault(at, []).append(mark)
    own = {k: v for k, v in case.items() if k not in ("below", "clef", "marks")}
    _Writer({"clef": "F4", **own}, marks, under).write(case["below"])
    for measure, lower in zip(part, under, strict=True):
        long = sum(int(n.findtext("duration") or 0) for n in measure.iterfind("note") if n.find("chord") is None)
        for note in measure.iterfind("note"):
            on_staff(note, "1")
        attributes = measure.find("attributes")
        if attributes is not None:
            staves = etree.Element("staves")
            staves.text = "2"
            attributes.find("time").addnext(staves)
            attributes.find("clef").set("number", "1")
            attributes.find("clef").addnext(clef("F4"))
            attributes.findall("clef")[1].set("number", "2")
        back = etree.SubElement(measure, "backup")
        etree.SubElement(back, "duration").text = str(long)
        for note in list(lower.iterfind("note")):
            note.find("voice").text = "2"
            on_staff(note, "2")
            measure.append(note)


def on_staff(note: Any, staff: str) -> None:
    """Say on which staff a note stands, at its place among the children (MusicXML 4.0, complexType note)."""
    element = etree.Element("staff")
    element.text = staff
    before = [one for one in note if one.tag not in ("beam", "notations", "lyric")]
    before[-1].addnext(element)


class _Writer:
    """Writes the bars of a case; knows which signs a player needs and prints them unless told not to."""

    def __init__(self, case: Mapping[str, Any], marks: Mapping[int, list[str]], part: Any) -> None:
        self.case, self.marks, self.part = case, marks, part
        self.key = of_key(case.get("key", 0))
        self.bar = Fraction(case.get("time", 4))
        self.force: dict[tuple[str, int], int] = {}
        self.ties: set[str] = set()
        self.shift = 0

    def write(self, text: str) -> None:
        room, measure = Fraction(0), None
        for at, token in enumerate(tokens(text)):
            length = Fraction(0) if "grace" in self.marks.get(at, ()) else token.quarters
            if measure is None or (room <= 0 and length):
                measure = etree.SubElement(self.part, "measure", number=str(len(self.part) + 1))
                room = self.bar
                self.force = {}
                if len(self.part) == 1:
                    self._attributes(measure)
            if length > room:
                raise ValueError(f"note {at} of {text!r} runs over the bar line; tie two notes")
            self._token(measure, at, token)
            room -= length

    def _attributes(self, measure: Any) -> None:
        attributes = etree.SubElement(measure, "attributes")
        etree.SubElement(attributes, "divisions").text = str(DIVISIONS)
        etree.SubElement(etree.SubElement(attributes, "key"), "fifths").text = str(self.case.get("key", 0))
        time = etree.SubElement(attributes, "time")
        etree.SubElement(time, "beats").text = str(self.bar)
        etree.SubElement(time, "beat-type").text = "4"
        attributes.append(clef(self.case.get("clef", "G2")))
        shift = self.case.get("transpose", usual_transposition(self.case["instrument"]))
        if shift:
            attributes.append(transposed(shift))
        if "tempo" in self.case:
            metronome(measure, str(self.case["tempo"]))

    def _token(self, measure: Any, at: int, token: Token) -> None:
        marks = self.marks.get(at, [])
        for mark in marks:
            self._before(measure, mark)
        names = token.pitches or (None,)
        for i, called in enumerate(names):
            name, _, of_kit = called.partition("@") if called is not None else (None, "", "")
            note = etree.SubElement(measure, "note")
            if "hidden" in marks:
                note.set("print-object", "no")
            for wanted in ("grace", "cue"):
                if wanted in marks:
                    etree.SubElement(note, wanted)
            if i:
                etree.SubElement(note, "chord")
            if name is None:
                etree.SubElement(note, "rest")
            elif name.startswith("x"):
                unpitched(note, name[1:])
            else:
                self._pitch(note, name)
            if "grace" not in marks:
                etree.SubElement(note, "duration").text = str(int(token.quarters * DIVISIONS))
            starts = bool({"tie", "tie-without-stop", f"tie {i}"} & set(marks)) and name is not None
            stops = called in self.ties
            for end, there in (("stop", stops), ("start", starts)):
                if there:
                    etree.SubElement(note, "tie", type=end)
            if of_kit:
                etree.SubElement(note, "instrument", id=f"{self.part.get('id')}-I{of_kit}")
            etree.SubElement(note, "voice").text = "1"
            etree.SubElement(note, "type").text = TYPES[token.value]
            if token.dotted:
                etree.SubElement(note, "dot")
            if name is not None and not name.startswith("x"):
                self._sign(note, name, marks, stops)
            if f"diamond {i}" in marks:
                etree.SubElement(note, "notehead").text = "diamond"
            notations = etree.Element("notations")
            for end, there in (("stop", stops), ("start", starts)):
                if there:
                    etree.SubElement(notations, "tied", type=end)
            if "harmonic" in marks:
                etree.SubElement(etree.SubElement(notations, "technical"), "harmonic")
            if "sign-above" in marks:
                etree.SubElement(notations, "accidental-mark").text = SIGN[spelling(name or "C4")[1]]
            plucked(notations, marks, i, len(names))
            if len(notations):
                note.append(notations)
        self.ties = {name for i, name in enumerate(token.pitches) if {"tie", f"tie {i}"} & set(marks)}
        if "repeat-end" in marks:
            repeat_sign(measure, "right", "backward")

    def _before(self, measure: Any, mark: str) -> None:
        kind, _, text = mark.partition(" ")
        if kind == "clef":
            etree.SubElement(measure, "attributes").append(clef(text))
        elif kind == "transpose":
            etree.SubElement(measure, "attributes").append(transposed(int(text)))
        elif kind == "key":
            self.key = of_key(int(text))
            attributes = etree.SubElement(measure, "attributes")
            etree.SubElement(etree.SubElement(attributes, "key"), "fifths").text = text
        elif kind in ("words", "8va", "8vb", "8va-end"):
            direction = etree.SubElement(etree.SubElement(measure, "direction"), "direction-type")
            if kind == "words":
                etree.SubElement(direction, "words").text = text
            else:
                self.shift = {"8va": -1, "8vb": 1, "8va-end": 0}[kind]
                type_ = {"8va": "down", "8vb": "up", "8va-end": "stop"}[kind]
                etree.SubElement(direction, "octave-shift", type=type_, size="8")
        elif kind in ("damp", "damp-all"):
            etree.SubElement(etree.SubElement(etree.SubElement(measure, "direction"), "direction-type"), kind)
        elif kind == "pedals":
            pedal_diagram(measure, text)
        elif kind == "tempo":
            metronome(measure, text)
        elif kind == "dynamic":
            said = etree.SubElement(etree.SubElement(measure, "direction"), "direction-type")
            etree.SubElement(etree.SubElement(said, "dynamics"), text)
        elif kind == "dashes":
            etree.SubElement(
                etree.SubElement(etree.SubElement(measure, "direction"), "direction-type"), "dashes", type=text
            )
        elif mark == "repeat":
            repeat_sign(measure, "left", "forward")

    def _pitch(self, note: Any, name: str) -> None:
        step, alter, octave = spelling(name)
        pitch = etree.SubElement(note, "pitch")
        etree.SubElement(pitch, "step").text = step
        if alter:
            etree.SubElement(pitch, "alter").text = str(alter)
        etree.SubElement(pitch, "octave").text = str(octave)

    def _sign(self, note: Any, name: str, marks: Sequence[str], stops: bool) -> None:
        step, alter, octave = spelling(name)
        place = step, octave + self.shift
        needed = alter != self.force.get(place, self.key[step]) and not stops
        if self.case.get("signs", True) and "no-sign" not in marks and (needed or "sign" in marks):
            sign = etree.SubElement(note, "accidental")
            if "empty-sign" not in marks:
                sign.text = SIGN[alter]
            self.force[place] = alter


def unpitched(note: Any, place: str) -> None:
    """Append what has no pitch and stands at a place of the staff: "E4" is the lowest line of a treble clef."""
    step, _, octave = spelling(place)
    element = etree.SubElement(note, "unpitched")
    etree.SubElement(element, "display-step").text = step
    etree.SubElement(element, "display-octave").text = str(octave)


def metronome(measure: Any, quarters: str) -> None:
    """Append a metronome mark: so many quarters a minute."""
    direction = etree.SubElement(etree.SubElement(measure, "direction"), "direction-type")
    mark = etree.SubElement(direction, "metronome")
    etree.SubElement(mark, "beat-unit").text = "quarter"
    etree.SubElement(mark, "per-minute").text = quarters


def pedal_diagram(measure: Any, letters: str) -> None:
    """Append a pedal diagram; its letters as given, right or not: "D C# Bb Eb F G A", "B##"."""
    direction = etree.SubElement(etree.SubElement(measure, "direction"), "direction-type")
    pedals = etree.SubElement(direction, "harp-pedals")
    for piece in letters.split():
        tuning = etree.SubElement(pedals, "pedal-tuning")
        etree.SubElement(tuning, "pedal-step").text = piece[0]
        etree.SubElement(tuning, "pedal-alter").text = str(piece.count("#") - piece.count("b"))


def repeat_sign(measure: Any, location: str, direction: str) -> None:
    """Append a bar line with a repeat sign."""
    line = etree.SubElement(measure, "barline", location=location)
    etree.SubElement(line, "repeat", direction=direction)


def plucked(notations: Any, marks: Sequence[str], i: int, count: int) -> None:
    """Add to the notations of note ``i`` of ``count`` what marks say of how a harp plays it."""
    for mark in marks:
        kind, _, text = mark.partition(" ")
        if kind == "harmonic" and text and all(not w.isdecimal() or int(w) == i for w in text.split()):
            harmonic = etree.SubElement(etree.SubElement(notations, "technical"), "harmonic")
            for child in text.split():
                if not child.isdecimal():
                    etree.SubElement(harmonic, child)
        elif kind == "staccato":
            etree.SubElement(etree.SubElement(notations, "articulations"), "staccato")
        elif kind == "tremolo" and not i:
            *end, strokes = text.split()
            ornaments = etree.SubElement(notations, "ornaments")
            etree.SubElement(ornaments, "tremolo", type=end[0] if end else "single").text = strokes
    for mark, type_ in (("gliss-end", "stop"), ("gliss", "start")):
        if mark in marks and not i:
            etree.SubElement(notations, "glissando", type=type_, number="1")
    for mark in marks:
        if mark.split()[:2] == ["trill", str(i)]:
            ornaments = etree.SubElement(notations, "ornaments")
            etree.SubElement(ornaments, "trill-mark")
            for sign in mark.split()[2:]:
                etree.SubElement(ornaments, "accidental-mark").text = sign
    if "roll" in marks:
        etree.SubElement(notations, "arpeggiate")
    if "bracket" in marks and i in (0, count - 1):
        etree.SubElement(notations, "non-arpeggiate", type="bottom" if not i else "top")


def clef(text: str) -> Any:
    """A clef element: "G2", "F4", "G2-1" (an octave lower), "percussion"."""
    element = etree.Element("clef")
    if text == "percussion":
        etree.SubElement(element, "sign").text = text
        return element
    etree.SubElement(element, "sign").text = text[0]
    etree.SubElement(element, "line").text = text[1]
    if text[2:]:
        etree.SubElement(element, "clef-octave-change").text = str(int(text[2:]))
    return element


def transposed(semitones: int) -> Any:
    """A transpose element for so many semitones from written to sounding."""
    element = etree.Element("transpose")
    octaves, chromatic = divmod(abs(semitones), 12)
    sign = 1 if semitones > 0 else -1
    etree.SubElement(element, "chromatic").text = str(sign * chromatic)
    if octaves:
        etree.SubElement(element, "octave-change").text = str(sign * octaves)
    return element


# ---------------------------------------------------------------- real parts


def tree(path: Path) -> Any:
    """The root element of a score file, compressed or plain."""
    raw = path.read_bytes()
    if raw.startswith(b"PK"):
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if n.endswith((".xml", ".musicxml")) and not n.startswith("META")]
            raw = archive.read(names[0])
    return etree.fromstring(raw, etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False))


def written(root: Any) -> bytes:
    """The bytes of a tree."""
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


@dataclass(frozen=True)
class Seeded:
    """A fault in a part: the tree with it, the note's place ("P1/m4/n2"), the file."""

    root: Any
    note: str
    path: Path

    def as_it_was(self) -> Any:
        """The tree of the file without the fault."""
        return tree(self.path)


def real_part(path: Path, instrument: str, staff_clef: str, filler: int, sounding_midi: int) -> Seeded:
    """A part of a real file as one of ``instrument``: one note sounds as said, all others as ``filler``.

    The file keeps its bars, rhythms, lyrics and directions; other parts are taken out.
    """
    root = tree(path)
    row = instruments()[instrument]
    listed, part = root.find("part-list/score-part"), root.find("part")
    for other in [*root.iterfind("part-list/score-part"), *root.iterfind("part-list/part-group")]:
        if other is not listed:
            other.getparent().remove(other)
    for other in list(root.iterfind("part")):
        if other is not part:
            root.remove(other)
    for child in list(listed):
        listed.remove(child)
    etree.SubElement(listed, "part-name").text = row["name"]
    declared = etree.SubElement(listed, "score-instrument", id="X1")
    etree.SubElement(declared, "instrument-name").text = row["name"]
    if row.get("sounds"):
        etree.SubElement(declared, "instrument-sound").text = row["sounds"][0]
    for old in [*part.iter("instrument"), *part.iter("transpose"), *part.iter("key"), *part.iter("accidental")]:
        old.getparent().remove(old)
    first = part.find("measure/attributes")
    for old in list(first.iterfind("clef")):
        first.remove(old)
    first.append(clef(staff_clef))
    shift = usual_transposition(instrument)
    if shift:
        first.append(transposed(shift))
    free = [
        (m, n, note)
        for m, measure in enumerate(part.iterfind("measure"))
        for n, note in enumerate(measure.iterfind("note"))
        if note.find("pitch") is not None
    ]
    for _, _, note in free:
        _set_pitch(note, filler - shift)
    m, n, note = next(row for row in free if row[0] == 2 and row[2].find("tie") is None)
    _set_pitch(note, sounding_midi - shift)
    return Seeded(root, f"{part.get('id')}/m{m}/n{n}", path)


def _set_pitch(note: Any, number: int) -> None:
    """Give a note a written pitch, with its sign if it is a black key."""
    step, alter, octave = spelling(flat_name(number))
    pitch = note.find("pitch")
    for child in list(pitch):
        pitch.remove(child)
    etree.SubElement(pitch, "step").text = step
    if alter:
        etree.SubElement(pitch, "alter").text = str(alter)
    etree.SubElement(pitch, "octave").text = str(octave)
    old = note.find("accidental")
    if old is not None:
        note.remove(old)
    sign = etree.Element("accidental")
    sign.text = SIGN[alter]
    before = note.findall("dot") or note.findall("type") or note.findall("voice") or note.findall("tie")
    before = before or note.findall("duration") or [pitch]
    before[-1].addnext(sign)


# Part names that can mean one instrument only, for drawing parts to put faults in.
PLAIN_NAMES = {
    "flute": "flute", "oboe": "oboe", "bassoon": "bassoon", "violin": "violin", "violin i": "violin",
    "violin ii": "violin", "violin 1": "violin", "violin 2": "violin", "1st violin": "violin",
    "2nd violin": "violin", "viola": "viola", "cello": "cello", "violoncello": "cello", "soprano": "soprano",
    "alto": "alto", "tenor": "tenor", "bass": "bass",
}  # fmt: skip


def plain_parts(paths: Sequence[Path]) -> dict[str, list[tuple[Path, int]]]:
    """Instrument id -> the parts (file, ordinal) of some files whose name can mean only that instrument."""
    found: dict[str, list[tuple[Path, int]]] = {}
    for path in paths:
        root = tree(path)
        for i, listed in enumerate(root.iterfind("part-list/score-part")):
            name = " ".join((listed.findtext("part-name") or "").casefold().split())
            if name in PLAIN_NAMES and i < len(root.findall("part")):
                found.setdefault(PLAIN_NAMES[name], []).append((path, i))
    return found


def beyond_compass(pool: Mapping[str, list[tuple[Path, int]]], seed: int, level: str) -> Seeded:
    """A note of a real part moved beyond the compass: by 1 to 12 semitones beyond the last note that anybody has
    (``impossible``), or to a note that only some have (``hard``)."""
    draw = random.Random(f"beyond {level} {seed}")
    while True:
        instrument = draw.choice(sorted(pool))
        path, i = draw.choice(pool[instrument])
        upper = draw.random() < 0.5
        goal = _beyond(facts()[instrument], upper, level, draw)
        root = tree(path)
        part = root.findall("part")[i]
        shift = _one_transposition(part)
        free = [row for row in _free_notes(part) if upper == (row.clef == "F") or row.clef == "C"]
        if goal is None or shift is None or not free:
            continue
        row = draw.choice(free)
        _set_pitch(row.note, goal - shift)
        return Seeded(root, f"{part.get('id')}/m{row.measure}/n{row.n}", path)


def _beyond(table: Mapping[str, Any], upper: bool, level: str, draw: random.Random) -> int | None:
    end, sign = ("highest", 1) if upper else ("lowest", -1)
    common = midi(table[end])
    last = midi(table.get(f"{end}_extended", table[end]))
    if level == "impossible":
        return last + sign * draw.randint(1, 12)
    usual = midi(table.get(f"ordinary_{end}", table[end]))
    return None if usual == last == common else usual + sign * draw.randint(1, abs(last - usual))


@dataclass(frozen=True)
class _Free:
    """A note that can be moved without touching another: no chord, tie, grace, cue, sign or mark of a harmonic."""

    note: Any
    measure: int
    n: int
    clef: str


def _free_notes(part: Any) -> Iterator[_Free]:
    sign = "G"
    if len({c.get("number") for c in part.iter("clef")}) > 1 or part.find(".//octave-shift") is not None:
        return
    for m, measure in enumerate(part.iterfind("measure")):
        notes = measure.findall("note")
        for child in measure:
            if child.tag == "attributes":
                sign = child.findtext("clef/sign") or sign
            if child.tag != "note" or child.find("pitch") is None or child.get("print-object") == "no":
                continue
            n = notes.index(child)
            in_chord = any(after.find("chord") is not None for after in notes[n + 1 : n + 2])
            odd = any(child.find(path) is not None for path in ("chord", "tie", "grace", "cue", "notehead"))
            lends = child.find("accidental") is not None  # a sign that later notes of the bar may need
            if in_chord or odd or lends or child.find(".//harmonic") is not None:
                continue
            yield _Free(child, m, n, sign)


def _one_transposition(part: Any) -> int | None:
    """Semitones from written to sounding if the whole part has one transposition, else None."""
    found = list(part.iter("transpose"))
    if not found:
        return 0
    if len(found) > 1:
        return None
    return int(found[0].findtext("chromatic") or 0) + 12 * int(found[0].findtext("octave-change") or 0)


def without_accidental(paths: Sequence[Path], seed: int) -> Seeded:
    """A real part with one printed accidental taken off a note that needs it.

    A note needs its sign if the key says something else for its letter, and no note of its staff place with a sign,
    and no tie into its staff place, stands before it in the bar or at the same time.
    """
    draw = random.Random(f"accidental {seed}")
    while True:
        path = draw.choice(paths)
        root = tree(path)
        if any(s.get("element") == "accidental" and s.get("type") == "no" for s in root.iter("supports")):
            continue
        i = draw.randrange(len(root.findall("part")))
        part = root.findall("part")[i]
        needy = list(_needy(part))
        if not needy:
            continue
        note, m, n = draw.choice(needy)
        note.remove(note.find("accidental"))
        if root.find(".//accidental") is not None:
            return Seeded(root, f"{part.get('id')}/m{m}/n{n}", path)


def _needy(part: Any) -> Iterator[tuple[Any, int, int]]:
    """The notes of a part that need the sign they have, with measure and ordinal."""
    keys = part.findall(".//key")
    if part.find(".//octave-shift") is not None or any(k.get("number") or k.find("fifths") is None for k in keys):
        return
    if not {c.findtext("sign") for c in part.iter("clef")} <= {"G", "F", "C"}:
        return
    key = of_key(0)
    for m, measure in enumerate(part.iterfind("measure")):
        changes = measure.findall("attributes/key")
        if changes:
            key = of_key(int(changes[-1].findtext("fifths")))
        if any(not _first(measure, change.getparent()) for change in changes):
            continue
        rows = _rows(measure)
        for row in rows:
            before = [o for o in rows if o is not row and o.place == row.place and o.start <= row.start]
            signed = bool((row.note.findtext("accidental") or "").strip())
            if signed and row.alter != key[row.place[1]] and row.plain and not any(map(_leaves_a_mark, before)):
                yield row.note, m, row.n


def _leaves_a_mark(row: _Row) -> bool:
    """Whether a note may say how later ones of its staff place are read, or be disputed itself."""
    return any(row.note.find(tag) is not None for tag in ("accidental", "tie", "grace"))


def _first(measure: Any, attributes: Any) -> bool:
    """Whether no note stands before an attributes element."""
    return not any(child.tag == "note" for child in measure[: measure.index(attributes)])


@dataclass(frozen=True)
class _Row:
    """A pitched note of a bar: its ordinal, start in divisions, (staff, letter, octave), alteration."""

    note: Any
    n: int
    start: Fraction
    place: tuple[str, str, str]
    alter: Fraction

    @property
    def plain(self) -> bool:
        """No grace, cue, hidden or tied note, no sign above it, no quarter tone."""
        note = self.note
        tied = any(t.get("type") == "stop" for t in note.iterfind("tie"))
        odd = any(note.find(path) is not None for path in ("grace", "cue", ".//accidental-mark"))
        return not (tied or odd or note.get("print-object") == "no" or self.alter != int(self.alter))


def _rows(measure: Any) -> list[_Row]:
    rows, cursor, previous, n = [], Fraction(0), Fraction(0), 0
    for child in measure:
        length = Fraction(0)
        if child.tag in ("note", "backup", "forward"):
            length = Fraction(child.findtext("duration") or 0)
        if child.tag == "backup":
            cursor -= length
        elif child.tag == "forward":
            cursor += length
        elif child.tag == "note":
            start = previous if child.find("chord") is not None else cursor
            pitch = child.find("pitch")
            if pitch is not None:
                place = child.findtext("staff") or "1", pitch.findtext("step"), pitch.findtext("octave")
                rows.append(_Row(child, n, start, place, Fraction(pitch.findtext("alter") or 0)))
            if child.find("chord") is None:
                previous = cursor
                cursor += length
            n += 1
    return rows
