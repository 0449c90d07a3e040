"""Parts of real scores written in another manner: what a composer's file does when an exporter, or a copyist, slips.

Each builder draws a real part, writes it as one of the instrument that the manner needs, clean at first, then puts
the manner in. Nothing here comes from the package under test: trees are lxml's, figures come from the tables as
``seeds`` reads them, and what a part sounds is worked out here.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lxml import etree

import seeds

STEPS = "CDEFGAB"
ODD = 0.15  # of a part's notes, so that nobody doubts that the range is odd
FEWEST = 16
# Letters and semitones of the interval from written to sounding.
LETTERS = {-21: -12, -14: -8, -9: -5, -7: -4, -5: -3, -3: -2, -2: -1, 0: 0, 12: 7, -12: -7, 24: 14, 3: 2, 5: 3, -15: -9}


@dataclass(frozen=True)
class Manner:
    """A score with one part in another manner, and the same score without it; ``sound`` is what is meant."""

    root: Any
    clean: Any
    part: int
    sound: tuple[int, ...] | None
    path: Path


def parts_of(root: Any) -> list[Any]:
    """The part elements in order."""
    return list(root.iterfind("part"))


def sound_of(root: Any, part: int) -> tuple[int, ...]:
    """MIDI numbers that a part sounds, note by note in document order; transpositions followed through the bars."""
    found, shift = [], 0
    for child in parts_of(root)[part].iterfind("measure/*"):
        if child.tag == "attributes":
            for row in child.iterfind("transpose"):
                shift = int(row.findtext("chromatic") or 0) + 12 * int(row.findtext("octave-change") or 0)
        elif child.tag == "note" and child.find("pitch") is not None:
            found.append(written_midi(child) + shift)
    return tuple(found)


def written_midi(note: Any) -> int:
    """MIDI number of a note as written."""
    pitch = note.find("pitch")
    alter = int(float(pitch.findtext("alter") or 0))
    return 12 * (int(pitch.findtext("octave")) + 1) + seeds.CLASS[pitch.findtext("step")] + alter


def move(part: Any, letters: int, semitones: int) -> None:
    """Write every note of a part so much higher, key signatures with it; printed signs follow the new alteration."""
    fifths = (7 * semitones) % 12
    for key in part.iter("key"):
        new = int(key.findtext("fifths")) + (fifths if fifths < 7 else fifths - 12)
        key.find("fifths").text = str(new if -7 <= new <= 7 else new - 12 if new > 7 else new + 12)
        for old in key.findall("cancel"):
            key.remove(old)
    for note in part.iter("note"):
        if note.find("pitch") is not None:
            respell(note, letters, semitones)


def respell(note: Any, letters: int, semitones: int) -> None:
    """Write one note so many letters and semitones higher; its printed sign follows."""
    number = written_midi(note) + semitones
    pitch = note.find("pitch")
    line = 7 * int(pitch.findtext("octave")) + STEPS.index(pitch.findtext("step")) + letters
    step, octave = STEPS[line % 7], line // 7
    alter = number - 12 * (octave + 1) - seeds.CLASS[step]
    for child in list(pitch):
        pitch.remove(child)
    etree.SubElement(pitch, "step").text = step
    if alter:
        etree.SubElement(pitch, "alter").text = str(alter)
    etree.SubElement(pitch, "octave").text = str(octave)
    sign = note.find("accidental")
    if sign is not None and alter in seeds.SIGN:
        sign.text = seeds.SIGN[alter]


def plain(part: Any) -> bool:
    """One staff, plain keys, no transposition, no octave line, no microtone, enough notes."""
    notes = [note for note in part.iter("note") if note.find("pitch") is not None]
    odd = [*part.iter("transpose"), *part.iter("octave-shift"), *part.iter("staves"), *part.iter("cue")]
    keys = list(part.iter("key"))
    return (
        len(notes) >= FEWEST
        and not odd
        and bool(keys)
        and all(key.get("number") is None and abs(int(key.findtext("fifths") or 9)) < 6 for key in keys)
        and all(float(a.text) == int(float(a.text)) for a in part.iter("alter"))
    )


def rename(root: Any, index: int, instrument: str, name: str = "") -> None:
    """Let a part be one of ``instrument``, by its name and its sound."""
    row = seeds.instruments()[instrument]
    part = parts_of(root)[index]
    listed = next(one for one in root.iterfind("part-list/score-part") if one.get("id") == part.get("id"))
    for child in list(listed):
        listed.remove(child)
    etree.SubElement(listed, "part-name").text = name or row["name"]
    declared = etree.SubElement(listed, "score-instrument", id=f"{part.get('id')}-X")
    etree.SubElement(declared, "instrument-name").text = row["name"]
    if row.get("sounds"):
        etree.SubElement(declared, "instrument-sound").text = row["sounds"][0]
    for old in list(part.iter("instrument")):
        old.getparent().remove(old)


def set_clef(part: Any, name: str) -> None:
    """One clef for the whole part."""
    for old in list(part.iter("clef")):
        old.getparent().remove(old)
    attributes(part).append(seeds.clef(name))
    sort(attributes(part))


def attributes(part: Any) -> Any:
    """The attributes at the beginning of a part."""
    return part.find("measure/attributes")


def set_transpose(part: Any, semitones: int) -> None:
    """One transposition for the whole part; none for 0."""
    for old in list(part.iter("transpose")):
        old.getparent().remove(old)
    if semitones:
        attributes(part).append(seeds.transposed(semitones))
        sort(attributes(part))


ORDER = ("divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details", "transpose")


def sort(element: Any) -> None:
    """The children of attributes in the order of the standard."""
    element[:] = sorted(element, key=lambda e: ORDER.index(e.tag) if e.tag in ORDER else len(ORDER))


def ends(instrument: str) -> tuple[int, int]:
    """The lowest and highest note of the usual instrument."""
    table = seeds.facts()[instrument]
    return seeds.midi(table["lowest"]), seeds.midi(table["highest"])


def share_outside(numbers: Sequence[int], instrument: str, shift: int = 0) -> float:
    """The share of notes outside the usual compass when read so much higher."""
    low, high = ends(instrument)
    return sum(not low <= number + shift <= high for number in numbers) / len(numbers)


def fitted(numbers: Sequence[int], instrument: str, draw: random.Random) -> int | None:
    """Octaves, in semitones, by which the notes can move so that all lie in the compass; one of several by lot."""
    fits = [12 * k for k in range(-4, 5) if share_outside(numbers, instrument, 12 * k) == 0]
    return draw.choice(fits) if fits else None


def draw_part(
    paths: Sequence[Path], draw: random.Random, accept: Callable[[Any], bool] = plain
) -> tuple[Path, Any, int]:
    """A real score and the ordinal of a part of it that will do."""
    while True:
        path = draw.choice(paths)
        root = seeds.tree(path)
        if root.tag != "score-partwise":
            continue
        usable = [i for i, part in enumerate(parts_of(root)) if accept(part)]
        if usable:
            return path, root, draw.choice(usable)


def as_instrument(root: Any, index: int, instrument: str, octaves: int, written_for: bool) -> None:
    """Make a part one of an instrument that sounds it so many semitones (whole octaves) away from where it was.

    With ``written_for`` it is written and transposed as that instrument's parts are, key signature and all; else the
    notes stand at sounding pitch and nothing is transposed.
    """
    part = parts_of(root)[index]
    rename(root, index, instrument)
    move(part, octaves // 12 * 7, octaves)
    set_clef(part, seeds.facts()[instrument]["clefs"][0][:2])
    if written_for:
        shift = seeds.usual_transposition(instrument)
        move(part, -LETTERS[shift], -shift)
        set_transpose(part, shift)


KEYED = ("saxophone-alto", "cor-anglais", "basset-horn", "alto-flute", "saxophone-tenor", "oboe-damore")
OCTAVES = ("piccolo", "celesta", "glockenspiel", "xylophone", "double-bass", "contrabassoon", "recorder-sopranino")


def _keys(part: Any) -> set[int]:
    return {int(key.findtext("fifths")) for key in part.iter("key")}


def _same_keys(root: Any, index: int) -> bool:
    """Whether every part of the score has the key signatures of this one, and none is transposed."""
    rows = [
        [(m, key.findtext("fifths")) for m, bar in enumerate(part.iterfind("measure")) for key in bar.iter("key")]
        for part in parts_of(root)
    ]
    return len(rows) > 1 and all(row == rows[index] for row in rows) and root.find(".//transpose") is None


def transposition_missing(paths: Sequence[Path], seed: int) -> Manner:
    """A part written for a transposing instrument, its transposition left out; other parts tell by their keys."""
    draw = random.Random(f"missing {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice(KEYED)
        octaves = fitted(sound_of(root, i), instrument, draw)
        shift = seeds.usual_transposition(instrument)
        written = {(fifths + 7 * -shift) % 12 for fifths in _keys(parts_of(root)[i])}
        if octaves is None or not _same_keys(root, i) or written == {0}:
            continue
        as_instrument(root, i, instrument, octaves, written_for=True)
        clean = copy.deepcopy(root)
        set_transpose(parts_of(root)[i], 0)
        return Manner(root, clean, i, sound_of(clean, i), path)


def transposition_left_out(paths: Sequence[Path], seed: int) -> Manner:
    """A transposed part of a real orchestral score without its transposition, beside others that keep theirs."""
    draw = random.Random(f"left out {seed}")
    path, root, i = draw_part(paths, draw, _transposed)
    clean = copy.deepcopy(root)
    set_transpose(parts_of(root)[i], 0)
    return Manner(root, clean, i, sound_of(clean, i), path)


def _transposed(part: Any) -> bool:
    """Whether a part has notes, and one transposition that is no octave."""
    notes = sum(note.find("pitch") is not None for note in part.iter("note"))
    return notes >= FEWEST and len({_shift(t) % 12 for t in part.iter("transpose")} - {0}) == 1


def _shift(transpose: Any) -> int:
    return int(transpose.findtext("chromatic") or 0) + 12 * int(transpose.findtext("octave-change") or 0)


def transposition_twice(paths: Sequence[Path], seed: int) -> Manner:
    """Notes and key at sounding pitch, and the transposition besides; the key has accidentals or the range is odd."""
    draw = random.Random(f"twice {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice((*KEYED, "bass-clarinet"))
        octaves = fitted(sound_of(root, i), instrument, draw)
        if octaves is None or not _same_keys(root, i):
            continue
        as_instrument(root, i, instrument, octaves, written_for=False)
        shift = seeds.usual_transposition(instrument)
        sound = sound_of(root, i)
        if _keys(parts_of(root)[i]) <= {0} and share_outside(sound, instrument, shift) < ODD:
            continue
        if share_outside(sound, instrument, shift) == 0 and share_outside(sound, instrument) > 0:
            continue
        clean = copy.deepcopy(root)
        as_instrument(clean, i, instrument, 0, written_for=True)
        set_transpose(parts_of(root)[i], shift)
        return Manner(root, clean, i, sound, path)


def sounding_pitch(paths: Sequence[Path], seed: int) -> Manner:
    """A part at sounding pitch and not transposed, while another part of the score is written as it should be."""
    draw = random.Random(f"sounding {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        others = [k for k, part in enumerate(parts_of(root)) if k != i and plain(part)]
        instrument = draw.choice(KEYED)
        octaves = fitted(sound_of(root, i), instrument, draw)
        if octaves is None or len(parts_of(root)) < 3 or not others or not _same_keys(root, i):
            continue
        if _keys(parts_of(root)[i]) <= {0}:
            continue
        k = draw.choice(others)
        other = fitted(sound_of(root, k), "clarinet", draw)
        if other is None or all((fifths + 2) % 12 == 0 for fifths in _keys(parts_of(root)[k])):
            continue
        as_instrument(root, k, "clarinet", other, written_for=True)
        clean = copy.deepcopy(root)
        as_instrument(clean, i, instrument, octaves, written_for=True)
        as_instrument(root, i, instrument, octaves, written_for=False)
        return Manner(root, clean, i, None, path)


def octave(paths: Sequence[Path], seed: int) -> Manner:
    """An instrument that sounds an octave or two from where it is written, and a file that leaves that out."""
    draw = random.Random(f"octave {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice(OCTAVES)
        octaves = fitted(sound_of(root, i), instrument, draw)
        shift = seeds.usual_transposition(instrument)
        if octaves is None or share_outside(sound_of(root, i), instrument, octaves - shift) < ODD:
            continue
        as_instrument(root, i, instrument, octaves, written_for=True)
        clean = copy.deepcopy(root)
        set_transpose(parts_of(root)[i], 0)
        return Manner(root, clean, i, sound_of(clean, i), path)


def older_bass_clef(paths: Sequence[Path], seed: int) -> Manner:
    """A horn or bass clarinet in the bass clef, written an octave lower than players read it today."""
    draw = random.Random(f"bass clef {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice(("horn", "bass-clarinet"))
        octaves = fitted(sound_of(root, i), instrument, draw)
        if octaves is None or share_outside(sound_of(root, i), instrument, octaves - 12) == 0:
            continue
        as_instrument(root, i, instrument, octaves, written_for=True)
        part = parts_of(root)[i]
        set_clef(part, "F4")
        clean = copy.deepcopy(root)
        move(part, -7, -12)
        return Manner(root, clean, i, sound_of(clean, i), path)


def older_treble_clef(paths: Sequence[Path], seed: int) -> Manner:
    """Some bars of a cello part in the treble clef, written an octave above their sound."""
    draw = random.Random(f"treble clef {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        octaves = fitted(sound_of(root, i), "cello", draw)
        part = parts_of(root)[i]
        bars = list(part.iterfind("measure"))
        if octaves is None or len(bars) < 6:
            continue
        as_instrument(root, i, "cello", octaves, written_for=True)
        first = draw.randrange(1, len(bars) - 2)
        last = min(len(bars) - 2, first + draw.randrange(1, 4))
        passage = [n for bar in bars[first : last + 1] for n in bar.iterfind("note") if n.find("pitch") is not None]
        tied = any(n.find("tie") is not None for n in passage)
        if not passage or tied or any(bar.find("attributes") is not None for bar in bars[first : last + 2]):
            continue
        up = next((12 * k for k in range(5) if max(map(written_midi, passage)) + 12 * k + 12 > ends("cello")[1]), 0)
        for note in passage:
            respell(note, up // 12 * 7, up)
        for at, name in ((first, "G2"), (last + 1, "F4")):
            element = etree.Element("attributes")
            element.append(seeds.clef(name))
            bars[at].insert(0, element)
        clean = copy.deepcopy(root)
        if share_outside(sound_of(clean, i), "cello"):
            continue
        for note in passage:
            respell(note, 7, 12)
        return Manner(root, clean, i, sound_of(clean, i), path)


def _alters(part: Any) -> set[int]:
    return {int(float(alter.text)) for alter in part.iter("alter")}


READERS = ("violin", "viola", "cello", "flute", "oboe", "bassoon", "trumpet", "trombone", "piano")
SIGNS = {"G": (1, 2), "F": (3, 4), "C": (1, 2, 3, 4)}


def unread_clef(paths: Sequence[Path], seed: int) -> Manner:
    """The clef of a part, or of some bars of it, that its players do not read."""
    draw = random.Random(f"clef {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice(READERS)
        octaves = fitted(sound_of(root, i), instrument, draw)
        if octaves is None:
            continue
        as_instrument(root, i, instrument, octaves, written_for=False)
        part = parts_of(root)[i]
        clean = copy.deepcopy(root)
        read = {name[:2] for name in seeds.facts()[instrument]["clefs"]}
        strange = [f"{s}{line}" for s, lines in SIGNS.items() for line in lines if f"{s}{line}" not in read]
        bars = list(part.iterfind("measure"))
        at = draw.choice((0, draw.randrange(len(bars))))
        if not any(n.find("pitch") is not None for n in bars[at].iterfind("note")):
            continue
        if at == 0:
            set_clef(part, draw.choice(strange))
        else:
            element = etree.Element("attributes")
            element.append(seeds.clef(draw.choice(strange)))
            bars[at].insert(0, element)
        return Manner(root, clean, i, sound_of(clean, i), path)


def key_of_seven(paths: Sequence[Path], seed: int) -> Manner:
    """A part without accidentals in its key, written in C sharp or in C flat."""
    draw = random.Random(f"seven {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        part = parts_of(root)[i]
        if 0 not in _keys(part):
            continue
        clean = copy.deepcopy(root)
        up = draw.choice((1, -1))
        for note in [note for note in part.iter("note") if note.find("pitch") is not None]:
            respell(note, 0, up)
        fifths = [key.find("fifths") for key in part.iter("key")]
        if any(abs(int(one.text) + 7 * up) > 7 for one in fifths) or _alters(part) - {-2, -1, 0, 1, 2}:
            continue
        for one in fifths:
            one.text = str(int(one.text) + 7 * up)
        return Manner(root, clean, i, sound_of(root, i), path)


NAMES = {
    "horn": {
        -7: ("Horn in F", "Corno in Fa", "Cor en fa", "F-Horn"),
        -9: ("Horns in E♭", "Corni in Mi♭", "Hörner in Es", "Cors en mi bémol", "Eb Horn 1"),
        -10: ("Horn in D", "Corni in Re", "Cor en ré"),
        -8: ("Horn in E", "Corni in Mi", "Hörner in E"),
        -5: ("Horn in G", "Corno in Sol", "Cor en sol"),
        -13: ("Horn in H", "Corno in Si basso"),
        -14: ("Horn in B♭ basso", "Hörner in B tief", "Cor en si♭ grave"),
    },
    "trumpet": {
        -2: ("Trumpet in B♭", "Tromba in Si♭", "Trompete in B", "Trompette en si bémol", "Bb Trumpet 2"),
        0: ("Trumpet in C", "Trompette en ut", "Tromba in Do"),
        2: ("Trumpet in D", "Trompeten in D", "Trombe in Re"),
        5: ("Trompeten in F", "Tromba in Fa", "Trumpet in F"),
    },
    "clarinet": {
        -2: ("Clarinet in B♭", "Clarinetti in B", "Klarinette in B", "Clarinette en si♭"),
        -3: ("Clarinet in A", "Clarinetto in La", "Klarinette in A", "Clarinette en la"),
    },
}  # fmt: skip


def crook(paths: Sequence[Path], seed: int) -> Manner:
    """A part with one crook in its name and another in its transposition."""
    draw = random.Random(f"crook {seed}")
    while True:
        path, root, i = draw_part(paths, draw)
        instrument = draw.choice(sorted(NAMES))
        named, used = draw.sample(sorted(NAMES[instrument]), 2)
        if used == 0:
            continue
        rename(root, i, instrument, draw.choice(NAMES[instrument][named]))
        part = parts_of(root)[i]
        for key in part.iter("key"):
            key.find("fifths").text = "0"
        set_transpose(part, used)
        clean = copy.deepcopy(root)
        set_transpose(parts_of(clean)[i], named)
        low, high = ends(instrument)
        numbers = [*sound_of(root, i), *sound_of(clean, i)]
        if min(numbers) < low or max(numbers) > high:
            continue
        return Manner(root, clean, i, sound_of(clean, i), path)


def every() -> Iterator[tuple[str, Callable[[Sequence[Path], int], Manner]]]:
    """Each rule with a builder of its fault."""
    yield "manners-transposition-missing", transposition_missing
    yield "manners-transposition-twice", transposition_twice
    yield "manners-sounding-pitch", sounding_pitch
    yield "manners-octave", octave
    yield "manners-older-clef", older_bass_clef
    yield "manners-older-clef", older_treble_clef
    yield "manners-clef-unread", unread_clef
    yield "manners-key-of-seven", key_of_seven
    yield "manners-crook", crook
