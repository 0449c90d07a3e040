"""Is a full score the sketch, given out, and nothing else? An outside checker: lxml, mido and the JSON only.

It shares no code with the package. Sketch and full score are read as XML: bars one after the other as printed, each as
long as its longest part; ties joined; pitches moved by ``transpose``. A MIDI sketch is read with mido. What
``orchestrate --json`` says of every note is then held against both.
"""

from __future__ import annotations

import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from typing import Any

import mido
from lxml import etree

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
OWN = ("same", "octave")
AS_PLAYED = Fraction(1, 8)
"""By so many quarters a note may stand elsewhere than in a MIDI file: those are rounded to a value that has a name."""


@dataclass
class Chain:
    """A note with those that are tied to it: its first reference, sounding pitch, quarters from the beginning."""

    ref: str
    part: str
    onset: Fraction
    end: Fraction
    midi: int
    grace: bool
    instrument: str = ""
    bar: int = 0
    voice: str = ""
    tied: list[str] = field(default_factory=list)


def bytes_of(path: Path) -> bytes:
    """The XML of a score file, unpacked if need be."""
    data = path.read_bytes()
    if not data.startswith(b"PK"):
        return data
    with zipfile.ZipFile(BytesIO(data)) as packed:
        box = etree.fromstring(packed.read("META-INF/container.xml"))
        place = next(one.get("full-path") for one in box.iter() if str(one.tag).endswith("rootfile"))
        return packed.read(str(place))


def root_of(data: bytes) -> Any:
    """The document's root."""
    return etree.fromstring(data, etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False))


def chains_of(data: bytes) -> list[Chain]:
    """The pitched notes of a MusicXML document, ties joined; cue and hidden notes left out."""
    root = root_of(data)
    lengths: list[Fraction] = []
    for part in root.findall("part"):
        for k, (_, reach) in enumerate(_walked(part)):
            lengths += [Fraction(0)] * (k + 1 - len(lengths))
            lengths[k] = max(lengths[k], reach)
    found: list[Chain] = []
    for part in root.findall("part"):
        waiting: dict[tuple[int, Fraction], list[Chain]] = {}
        at = Fraction(0)
        for k, (rows, _) in enumerate(_walked(part)):
            for n, note, start, length, shift in rows:
                if note.find("pitch") is None or note.find("cue") is not None or note.get("print-object") == "no":
                    continue
                ref, midi = f"{part.get('id')}/m{k}/n{n}", _midi(note) + shift
                ties = {tie.get("type") for tie in note.findall("tie")}
                own = note.find("instrument")
                before = waiting.get((midi, at + start), []) if "stop" in ties else []
                if before:
                    chain = next((one for one in before if one.voice == note.findtext("voice")), before[0])
                    before.remove(chain)
                    chain.tied.append(ref)
                    chain.end = at + start + length
                else:
                    chain = Chain(
                        ref, str(part.get("id")), at + start, at + start + length, midi,
                        note.find("grace") is not None, "" if own is None else str(own.get("id")), k,
                        note.findtext("voice") or "",
                    )  # fmt: skip
                    found.append(chain)
                if "start" in ties:
                    waiting.setdefault((midi, chain.end), []).append(chain)
            at += lengths[k]
    return found


def _midi(note: Any) -> int:
    alter = Fraction(note.findtext("pitch/alter") or 0)
    return int(12 * (int(note.findtext("pitch/octave")) + 1) + STEPS[note.findtext("pitch/step")] + alter)


def _walked(part: Any) -> Iterator[tuple[list[tuple[int, Any, Fraction, Fraction, int]], Fraction]]:
    """Bar by bar: (ordinal, note, start, length, shift in semitones) of each note, and how far the bar reaches."""
    divisions = Fraction(1)
    shifts: dict[str, int] = {}
    for measure in part.findall("measure"):
        at = reach = begun = Fraction(0)
        n = -1
        rows = []
        for item in measure:
            if item.tag == "attributes":
                divisions = Fraction(item.findtext("divisions") or divisions)
                for one in item.findall("transpose"):
                    octaves = int(one.findtext("octave-change") or 0)
                    shifts[one.get("number", "")] = int(one.findtext("chromatic")) + 12 * octaves
            elif item.tag == "backup":
                at -= Fraction(item.findtext("duration")) / divisions
            elif item.tag == "forward":
                at += Fraction(item.findtext("duration")) / divisions
            elif item.tag == "note":
                n += 1
                length = Fraction(item.findtext("duration") or 0) / divisions
                if item.find("chord") is None:
                    begun = at
                    at += length
                staff = item.findtext("staff") or "1"
                rows.append((n, item, begun, length, shifts.get(staff, shifts.get("", 0))))
            reach = max(reach, at)
        yield rows, reach


def chains_of_midi(path: Path) -> list[Chain]:
    """The notes of a Standard MIDI File, named by track and ordinal of the note in it."""
    file = mido.MidiFile(path)
    found = []
    for t, track in enumerate(file.tracks):
        tick = n = 0
        sounding: dict[tuple[int, int], list[Chain]] = {}
        for message in track:
            tick += message.time
            at = Fraction(tick, file.ticks_per_beat)
            if message.type == "note_on" and message.velocity:
                chain = Chain(f"t{t}/n{n}", str(t), at, at, message.note, False)
                n += 1
                found.append(chain)
                sounding.setdefault((message.channel, message.note), []).append(chain)
            elif message.type in ("note_on", "note_off"):
                for chain in sounding.get((message.channel, message.note), [])[:1]:
                    chain.end = at
                    sounding[message.channel, message.note].pop(0)
    return found


def sketch_of(path: Path) -> list[Chain]:
    """The notes of a sketch file of either kind."""
    return chains_of_midi(path) if path.suffix == ".mid" else chains_of(bytes_of(path))


def complaints(
    sketch: Iterable[Chain], full: Iterable[Chain], said: Mapping[str, Any], near: Fraction = Fraction(0)
) -> list[str]:
    """What is wrong with a full score; empty if it is the sketch, given out.

    Parameters
    ----------
    sketch, full : iterables of Chain
        What stands in the two files.
    said : mapping
        The output of ``orchestrate --json``.
    near : Fraction
        How far, in quarters, a note may stand from its sketch note.
    """
    there = {one.ref: one for one in sketch}
    written = {one.ref: one for one in full}
    wrong: list[str] = []
    rows: dict[str, list[Mapping[str, Any]]] = {}
    for row in said["notes"]:
        rows.setdefault(row["ref"], []).append(row)
    wrong += [f"{ref} stands in the full score and is not in the JSON" for ref in written if ref not in rows]
    covered: set[str] = set()
    for ref, own in rows.items():
        note = written.get(ref)
        if note is None:
            wrong.append(f"{ref} is in the JSON and begins no note of the full score")
            continue
        for row in own:
            refs = row.get("sketch_refs", [row["sketch_ref"]])
            if row["sketch_ref"] not in refs:
                wrong.append(f"{ref}: sketch_ref {row['sketch_ref']} is none of its sketch_refs")
            unknown = [one for one in refs if one not in there]
            if unknown:
                wrong.append(f"{ref}: {unknown} begin no note of the sketch")
                continue
            covered.update(refs)
            wrong += list(_unlike(note, row, [there[one] for one in refs], there[row["sketch_ref"]], near))
    out = Counter(row["sketch_ref"] for row in said["left_out"])
    wrong += [f"{ref} is left out {count} times" for ref, count in out.items() if count > 1]
    wrong += [f"{ref} is left out, but begins no note of the sketch" for ref in out if ref not in there]
    wrong += [f"{ref} is left out and played" for ref in out if ref in covered]
    wrong += [f"{row['sketch_ref']} is left out without a reason" for row in said["left_out"] if not row["why"].strip()]
    wrong += [f"{ref} is neither played nor left out" for ref in there if ref not in covered and ref not in out]
    return wrong


def _unlike(
    note: Chain, row: Mapping[str, Any], refs: list[Chain], own: Chain, near: Fraction
) -> Iterator[str]:
    """How a note differs from what the JSON says that it is."""
    place = f"{note.ref} ({row['line']}, {row['rule']})"
    away = note.midi - own.midi
    if row["rule"] in OWN:
        if len(refs) > 1:
            yield f"{place}: stands for {len(refs)} notes and says no rule"
        if row["rule"] == "same" and away:
            yield f"{place}: {away} semitones from {own.ref}"
        if row["rule"] == "octave" and (not away or away % 12):
            yield f"{place}: {away} semitones from {own.ref}, no octave"
        if abs(note.onset - own.onset) > near:
            yield f"{place}: begins at {note.onset}, {own.ref} at {own.onset}"
        if note.grace != own.grace and not near:
            yield f"{place}: a grace note on one side only"
        return
    if all((note.midi - one.midi) % 12 for one in refs):
        yield f"{place}: its pitch is in none of {[one.ref for one in refs]}"
    first, last = min(one.bar for one in refs) - 1, max(one.bar for one in refs)  # a harmony may have begun before
    if not near and not first <= note.bar <= last:
        yield f"{place}: stands in another bar than its sketch notes"
    if note.onset > max(one.end for one in refs) + near:
        yield f"{place}: begins at {note.onset}, when its sketch notes are over"


def doubled(full: Iterable[Chain]) -> list[str]:
    """Notes that one voice begins twice at a time on one pitch (grace notes apart)."""
    seen: dict[tuple[str, str, Fraction, int], str] = {}
    wrong = []
    for one in full:
        key = (one.part, one.voice, one.onset, one.midi)
        if not one.grace and seen.setdefault(key, one.ref) != one.ref:
            wrong.append(f"{one.ref} begins the pitch of {seen[key]} once more")
    return wrong


def untied(data: bytes) -> list[str]:
    """Ties that begin and find no note, or end and had none."""
    wrong = []
    for part in root_of(data).findall("part"):
        waiting: Counter[tuple[int, Fraction]] = Counter()
        at = Fraction(0)
        for k, (rows, reach) in enumerate(_walked(part)):
            for n, note, start, length, shift in rows:
                if note.find("pitch") is None:
                    continue
                ties = {tie.get("type") for tie in note.findall("tie")}
                midi = _midi(note) + shift
                if "stop" in ties:
                    if not waiting[midi, at + start]:
                        wrong.append(f"{part.get('id')}/m{k}/n{n}: a tie ends that did not begin")
                    waiting[midi, at + start] -= 1
                if "start" in ties:
                    waiting[midi, at + start + length] += 1
            at += reach
        dangling = [key for key, count in waiting.items() if count > 0]
        wrong += [f"{part.get('id')}: a tie of {midi} at {when} has no end" for midi, when in dangling]
    return wrong


def unbalanced(data: bytes) -> list[str]:
    """Slurs and hairpins that do not open and close one after the other in time, by part and number; and crossed slurs.

    Two slurs cross if, in one voice, one begins inside the other and ends behind it.
    """
    wrong = []
    for part in root_of(data).findall("part"):
        name = part.get("id")
        ends: list[tuple[int, Fraction, bool, int, str, str]] = []  # bar, when, opens, note, number, voice
        wedge: dict[str, bool] = {}
        for k, (rows, _) in enumerate(_walked(part)):
            for n, note, start, _, _ in rows:
                for one in note.findall("notations/slur"):
                    opens = one.get("type") == "start"
                    ends.append((k, start, opens, n, str(one.get("number", "1")), str(note.findtext("voice"))))
        is_open: dict[str, tuple[int, Fraction, str]] = {}
        spans: list[tuple[str, tuple[int, Fraction], tuple[int, Fraction]]] = []
        for k, start, opens, _, number, voice in sorted(ends):
            if opens and number in is_open:
                wrong.append(f"{name} bar {k}: slur {number} opens twice")
            if opens:
                is_open[number] = (k, start, voice)
            elif number in is_open:
                bar, when, own = is_open.pop(number)
                if own == voice:
                    spans.append((voice, (bar, when), (k, start)))
            else:
                wrong.append(f"{name} bar {k}: slur {number} closes and is not open")
        wrong += [f"{name}: slur {number} stays open" for number in is_open]
        for i, (voice, first, last) in enumerate(spans):
            for other, begin, stop in spans[:i]:
                if voice == other and (begin < first < stop < last or first < begin < last < stop):
                    wrong.append(f"{name} voice {voice}: slurs {first} to {last} and {begin} to {stop} cross")
        for k, measure in enumerate(part.findall("measure")):
            for one in measure.findall("direction/direction-type/wedge"):
                number = str(one.get("number", "1"))
                if (one.get("type") == "stop") != wedge.get(number, False):
                    wrong.append(f"{name} bar {k}: hairpin {one.get('type')}, open: {wedge.get(number, False)}")
                wedge[number] = one.get("type") != "stop"
        wrong += [f"{name}: a hairpin stays open" for number in wedge if wedge[number]]
    return wrong


def ledger_lines(data: bytes) -> list[tuple[str, str, int, int]]:
    """(part's name, reference, ledger lines, clef changes so far) of each pitched note, by the clef before it."""
    root = root_of(data)
    names = {one.get("id"): one.findtext("part-name") for one in root.iter("score-part")}
    anchors = {"G": 4 * 7 + 4, "F": 3 * 7 + 3, "C": 4 * 7}
    letters = "CDEFGAB"
    found = []
    for part in root.findall("part"):
        clefs: dict[str, int] = {}
        changes = 0
        for k, measure in enumerate(part.findall("measure")):
            n = -1
            for item in measure:
                for clef in item.findall("clef") if item.tag == "attributes" else ():
                    octave = int(clef.findtext("clef-octave-change") or 0)
                    bottom = anchors[clef.findtext("sign")] - 2 * (int(clef.findtext("line")) - 1) + 7 * octave
                    clefs[clef.get("number", "1")] = bottom
                    changes += 1
                if item.tag == "note":
                    n += 1
                    if item.find("pitch") is not None:
                        place = 7 * int(item.findtext("pitch/octave")) + letters.index(item.findtext("pitch/step"))
                        bottom = clefs[item.findtext("staff") or "1"]
                        many = max(0, (bottom - place) // 2, (place - bottom - 8) // 2)
                        found.append((str(names[part.get("id")]), f"{part.get('id')}/m{k}/n{n}", many, changes))
    return found
