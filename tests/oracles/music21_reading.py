"""What music21 hears in a MusicXML file: an independent reading to hold ours against.

Nothing here imports the package under test. music21's own importer builds the notes, its own
``Expander`` says in which order the measures are played, its own ``toSoundingPitch`` transposes.
Added to that are only what music21 leaves to its caller: laying the played measures end to end, merging
tied notes, and leaving out what makes no sound of its own.

What counts as a row
    One sounding pitch of one note or chord, ties merged. Left out: grace notes (the file gives them no
    time), unpitched notes, chord symbols, and cue notes ("In MusicXML, a cue note is a silent note with no
    playback", version 4.0). Kept: notes with ``print-object="no"`` ("whether or not to print an object").
    music21 itself knows neither ``<cue>`` nor the place of a note in the file, so each ``<note>`` is given
    its place as a colour before music21 sees it; colour has no bearing on time or pitch.

Ties
    music21's ``stripTies`` joins a chord only when all its notes are tied, so it is not used. Here a note
    marked start or continue is joined to the note of the same sounding pitch, marked stop or continue,
    that begins exactly where it ends, in the same part: the same voice before another voice. A mark that
    finds no partner is kept as a note of its own. "The tie element indicates sound; the tied
    element indicates notation", so only ``<tie>`` is read, as music21 does.

Staves
    music21 splits a part of several staves into ``PartStaff`` streams after reading it. The split sorts the
    same objects by staff and copies those that name no staff into each; it is left out, so that one list
    comes back for each ``<part>``.

Where music21 departs from the words of the standard (each counts when readings are compared)
    measure length
        A measure is as long as its own content in its own part (``highestTime``: notes, rests, and also
        words, dynamics or a segno that an ``<offset>`` puts after the last note), not as its time signature.
        Only an empty measure takes the time signature's length, and an overfull one is cut to it when the
        excess is at most half a quarter and no multiple of 1/16 or 1/12. ``<forward>`` only moves, unless
        Finale wrote the file: then it is a hidden rest, save one that ends the last measure of a part.
        So one part with a short measure runs ahead of the others ever after, where by the standard measures
        of one number "in different parts ... share the same left barline".
        ``aligned=True`` starts each measure together in all parts, as long as the longest of them.
    whole-measure rests
        A single rest alone in its measure, marked ``measure="yes"`` or of type whole or breve, lasts as long
        as the time signature says, whatever its ``<duration>``.
    empty forward
        A ``<forward>`` of duration 0 becomes a rest of a quarter (``Rest(quarterLength=0)`` is read as no
        length given). It moves nothing by any reading, so it is taken out before music21 sees the file.
    backup
        A position before the measure's start is moved to the start.
    chords
        All notes of a chord last as long as its first, and a chord note that does not follow at once (a
        direction stands between) is read as the next note. The standard lets a chord note be shorter than the
        first, never longer.
    transpose
        Holds from the start of the measure it stands in, for all staves (``number`` is not read), ``double``
        is ignored. If a part has any ``<transpose>``, what comes before it is transposed by whatever the
        instrument's name suggests.
    repeats
        Read from barlines, endings, ``<segno>``, ``<coda>`` and words such as "D.C. al Fine"; the attributes
        of ``<sound>`` (dacapo, tocoda ...) are not read. A repeat without a beginning goes back to the start
        of the part, also where an earlier repeat has closed. Each part is expanded by its own marks.
        A part whose marks do not pair off is left unexpanded: ``Reading.expanded`` is then False for it.
        The inner repeats are not played again after a jump.
    accidentals
        An ``<accidental>`` without an ``<alter>`` alters the pitch. By the standard ``<pitch>`` alone says
        what sounds and ``<accidental>`` "represents actual notated accidentals".
    time-only
        Not read: a note that belongs to one pass is heard in all.
"""

from __future__ import annotations

import copy
import warnings
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from music21 import bar, chord, converter, harmony, note, repeat, spanner, stream
from music21.common.numberTools import opFrac
from music21.musicxml.xmlToM21 import MusicXMLImporter, PartParser

STARTS = ("start", "continue")
STOPS = ("stop", "continue")


class Row(NamedTuple):
    """One sounding note: where it begins and ends, in quarters from the start, and its MIDI number.

    ``ref`` (part id / ordinal of the measure / ordinal of the note in it, from 0) and ``played`` (ordinal of
    the measure in performance, from 0) say where it came from and take no part in a comparison.
    """

    onset: Fraction
    end: Fraction
    midi: float
    ref: str = ""
    played: int = 0


class Written(NamedTuple):
    """One note of one measure as music21 holds it: times in quarters from the start of the measure."""

    offset: Fraction
    length: Fraction
    midi: float
    tie: str
    voice: str
    ref: str


@dataclass(frozen=True)
class PartReading:
    """One ``<part>``: its measures as written and the order they are played in."""

    id: str
    measures: tuple[tuple[Written, ...], ...]
    starts: tuple[Fraction, ...]  # music21's own offset of each written measure
    lengths: tuple[Fraction, ...]  # quarters from that measure to the next, as music21 appends measures
    contents: tuple[Fraction, ...]  # the same, from its notes and rests alone
    order: tuple[int, ...]  # measures in performance, as ordinals in ``measures``
    expanded: bool | None  # None: nothing to repeat; False: music21 could not, order is as written


@dataclass(frozen=True)
class Reading:
    """All parts in document order."""

    parts: tuple[PartReading, ...]

    def rows(self, *, aligned: bool = False, order: Sequence[int] | None = None) -> list[list[Row]]:
        """Lay the played measures end to end and merge ties; one sorted list for each part.

        Parameters
        ----------
        aligned : bool
            False: each part by its own measure lengths and its own order, as music21 does.
            True: every measure starts together in all parts and is as long as the notes and rests of the
            longest of them, and all parts follow the order of the first part that music21 expanded.
        order : sequence of int, optional
            Play the measures in this order instead, in all parts.
        """
        given = order
        if aligned and given is None:
            given = next((p.order for p in self.parts if p.expanded), None)
        longest = [
            max(p.contents[i] for p in self.parts if i < len(p.contents))
            for i in range(max((len(p.contents) for p in self.parts), default=0))
        ]
        lengths = longest if aligned else None
        return [_play(p, p.order if given is None else given, lengths) for p in self.parts]


class PartDifference(NamedTuple):
    """Rows of one part that only one side has."""

    part: int
    only_ours: list[Row]
    only_theirs: list[Row]


def reading(path: Path, *, aligned: bool = False) -> list[list[Row]]:
    """Sounding notes of each part of the file, in document order, as music21 understands them."""
    return read(path).rows(aligned=aligned)


def read(path: Path) -> Reading:
    """Read a ``.xml``, ``.musicxml`` or ``.mxl`` file with music21.

    Raises
    ------
    music21.exceptions21.Music21Exception, xml.etree.ElementTree.ParseError
        Whatever music21 raises for a file it cannot read.
    ValueError
        If music21 returns another number of parts than the file has.
    """
    root = _root(path)
    silent = _mark_places(root)
    importer: Any = _WholePartImporter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        importer.xmlRoot = root
        importer.xmlRootToScore(root, importer.stream)
        importer.stream.toSoundingPitch(inPlace=True)
        parts = tuple(_part(part_id, part, silent) for part_id, part in importer.whole_parts)
    if len(parts) != len(root.findall("part")):
        raise ValueError(f"{path.name}: music21 read {len(parts)} of {len(root.findall('part'))} parts")
    return Reading(parts)


def compare(ours: Sequence[Iterable[Row]], theirs: Sequence[Iterable[Row]]) -> list[PartDifference]:
    """Multiset difference of (onset, end, midi) part by part; parts that agree are left out.

    Raises
    ------
    ValueError
        If the two sides have different numbers of parts.
    """
    found = []
    for i, (a, b) in enumerate(zip(ours, theirs, strict=True)):
        left, right = _by_key(a), _by_key(b)
        only_ours = _surplus(left, right)
        only_theirs = _surplus(right, left)
        if only_ours or only_theirs:
            found.append(PartDifference(i, only_ours, only_theirs))
    return found


def _by_key(rows: Iterable[Row]) -> dict[tuple[Fraction, Fraction, float], list[Row]]:
    out: dict[tuple[Fraction, Fraction, float], list[Row]] = defaultdict(list)
    for row in rows:
        out[row.onset, row.end, row.midi].append(row)
    return out


def _surplus(left: dict[Any, list[Row]], right: dict[Any, list[Row]]) -> list[Row]:
    count = Counter({key: len(rows) for key, rows in left.items()})
    count.subtract({key: len(rows) for key, rows in right.items()})
    return sorted(row for key, n in count.items() if n > 0 for row in left[key][-n:])


# ---- reading -------------------------------------------------------------------------------------------


def _root(path: Path) -> ET.Element:
    """The root element, from the archive member that music21 chooses."""
    archive = converter.ArchiveManager(path)
    if archive.isArchive():
        text: str = archive.getData()
        return ET.fromstring(text.lstrip("\ufeff"))
    return ET.parse(path).getroot()


def _mark_places(root: ET.Element) -> frozenset[str]:
    """Write each note's place into its colour, drop empty forwards; return the places of cue notes."""
    silent = set()
    for part in root.findall("part"):
        for m, measure in enumerate(part.findall("measure")):
            for element in measure.findall("forward"):
                if float(element.findtext("duration") or 0) == 0:
                    measure.remove(element)
            for n, element in enumerate(measure.findall("note")):
                ref = f"{part.get('id')}/m{m}/n{n}"
                element.set("color", ref)
                if element.find("cue") is not None:
                    silent.add(ref)
    return frozenset(silent)


class _WholePart(PartParser):
    """music21's part reader, without the last step that sorts the notes of a part by staff."""

    def separateOutPartStaves(self) -> list[stream.PartStaff]:
        return []


class _WholePartImporter(MusicXMLImporter):
    """music21's importer, keeping each part in one piece and remembering document order."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.whole_parts: list[tuple[str, stream.Part]] = []

    def xmlPartToPart(self, mxPart: ET.Element, mxScorePart: ET.Element) -> stream.Part:
        parser = _WholePart(mxPart, mxScorePart=mxScorePart, parent=self)
        parser.parse()
        self.whole_parts.append((str(mxPart.get("id")), parser.stream))
        return parser.stream


def _part(part_id: str, part: stream.Part, silent: frozenset[str]) -> PartReading:
    measures = list(part.getElementsByClass(stream.Measure))
    order, expanded = _order(part, measures)
    return PartReading(
        id=part_id,
        measures=tuple(tuple(_notes(m, silent)) for m in measures),
        starts=tuple(_exact(part.elementOffset(m)) for m in measures),
        lengths=tuple(_length(m, expanded) for m in measures),
        contents=tuple(_content(m) for m in measures),
        order=order,
        expanded=expanded,
    )


def _notes(measure: stream.Measure, silent: frozenset[str]) -> Iterable[Written]:
    for container in (measure, *measure.voices):
        base = 0 if container is measure else measure.elementOffset(container)
        voice = "" if container is measure else str(container.id)
        for element in container.getElementsByClass(note.NotRest):
            if isinstance(element, harmony.Harmony) or element.duration.isGrace:
                continue
            offset = _exact(opFrac(base + container.elementOffset(element)))
            length = _exact(element.duration.quarterLength)
            for one in element.notes if isinstance(element, chord.ChordBase) else (element,):
                if not isinstance(one, note.Note):
                    continue
                ref = str(one.style.color)
                if ref in silent:
                    continue
                ps = one.pitch.ps
                midi = int(ps) if ps == int(ps) else ps
                yield Written(offset, length, midi, one.tie.type if one.tie else "", voice, ref)


def _length(measure: stream.Measure, expanded: bool | None) -> Fraction:
    """Where the next measure is appended. The Expander takes repeat words out before it appends."""
    if not expanded or not measure.getElementsByClass(repeat.RepeatExpression):
        return _exact(measure.duration.quarterLength)
    return max(
        (
            _exact(measure.elementOffset(e) + e.duration.quarterLength)
            for e in measure
            if not isinstance(e, (repeat.RepeatExpression, bar.Barline))
        ),
        default=Fraction(0),
    )


def _content(measure: stream.Measure) -> Fraction:
    """Where the last note or rest of a measure ends; its own length if it has neither."""
    ends = [
        _exact(measure.elementOffset(c) + c.elementOffset(e) + e.duration.quarterLength)
        if c is not measure
        else _exact(c.elementOffset(e) + e.duration.quarterLength)
        for c in (measure, *measure.voices)
        for e in c.getElementsByClass(note.GeneralNote)
        if not isinstance(e, harmony.Harmony)
    ]
    return max(ends, default=_exact(measure.duration.quarterLength))


def _exact(quarters: float | Fraction) -> Fraction:
    return Fraction(opFrac(quarters))


def _order(part: stream.Part, measures: Sequence[stream.Measure]) -> tuple[tuple[int, ...], bool | None]:
    """The order music21's Expander plays the measures in.

    The Expander copies every note for every pass. It is given the same measures with nothing in them but
    barlines and repeat words, which is all that it looks at.
    """
    written = tuple(range(len(measures)))
    if not measures:
        return written, None
    bare: Any = stream.Part()  # type: ignore[no-untyped-call]
    twin = {}
    for i, m in enumerate(measures):
        empty = stream.Measure(number=m.number)
        empty.numberSuffix = m.numberSuffix
        empty.groups.append(f"measure {i}")
        for sign in m.recurse().getElementsByClass(repeat.RepeatExpression):
            empty.insert(0, copy.deepcopy(sign))
        for side in ("leftBarline", "rightBarline"):
            line: bar.Barline | None = getattr(m, side)
            if line is not None:
                setattr(empty, side, copy.deepcopy(line))
        empty.insert(0, note.Rest(quarterLength=1))
        bare.append(empty)
        twin[id(m)] = empty
    bracket: Any
    for bracket in part.getElementsByClass(spanner.RepeatBracket):
        spanned = [twin[id(m)] for m in bracket.getSpannedElements() if id(m) in twin]
        copied = spanner.RepeatBracket(*spanned)
        copied.number = bracket.number
        bare.insert(0, copied)
    expander = repeat.Expander(bare)
    try:
        if expander.isExpandable() is None:
            return written, None
        played = expander.process()
    except (repeat.ExpanderException, spanner.SpannerException, IndexError, TypeError, ValueError):
        return written, False
    return tuple(
        int(next(g for g in m.groups if g.startswith("measure ")).split()[1])
        for m in played.getElementsByClass(stream.Measure)
    ), True


# ---- performance ---------------------------------------------------------------------------------------


def _play(part: PartReading, order: Sequence[int], longest: Sequence[Fraction] | None) -> list[Row]:
    lengths = part.lengths if longest is None else longest
    as_imported = longest is None and tuple(order) == tuple(range(len(part.measures)))
    sounding: list[tuple[Row, Written]] = []
    at = Fraction(0)
    for played, i in enumerate(order):
        if i >= len(part.measures):
            at += lengths[i]
            continue
        start = part.starts[i] if as_imported else at
        for w in part.measures[i]:
            onset = start + w.offset
            sounding.append((Row(onset, onset + w.length, w.midi, w.ref, played), w))
        at += lengths[i]
    return _merge_ties(sounding)


def _merge_ties(sounding: list[tuple[Row, Written]]) -> list[Row]:
    """Join notes of one pitch, each ending where the next begins, along their tie marks."""
    sounding = sorted(sounding, key=lambda pair: pair[0][:3])
    waiting: dict[tuple[Fraction, float], list[int]] = defaultdict(list)
    chains: list[list[tuple[Row, Written]]] = []
    for row, w in sounding:
        home = None
        if w.tie in STOPS:
            open_here = waiting[row.onset, row.midi]
            home = next((c for c in open_here if chains[c][-1][1].voice == w.voice), None)
            if home is None and open_here:
                home = open_here[0]
            if home is not None:
                open_here.remove(home)
        if home is None:
            chains.append([])
            home = len(chains) - 1
        chains[home].append((row, w))
        if w.tie in STARTS:
            waiting[row.end, row.midi].append(home)
    return sorted(chain[0][0]._replace(end=chain[-1][0].end) for chain in chains)
