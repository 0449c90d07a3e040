"""The strands of each passage: every note of the sketch in one of them, each with a name out of the kinds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import mean

from deskproof.errors import DeskproofError
from deskproof.scoring.phrases import notes_in
from deskproof.scoring.records import BASS, COUNTER, INNER, KINDS, TUNE, Override, Passage, Sketch, Strand, Tone
from deskproof.scoring.strand_kinds import Judged, kinds_of
from deskproof.scoring.strand_traits import traits_of
from deskproof.scoring.strand_tune import with_tune_in_one
from deskproof.scoring.strand_voices import lines_of


class StrandsError(DeskproofError):
    """Notes are counted to a strand that there cannot be; the message says what was found and what is needed."""


@dataclass(frozen=True)
class _Line:
    """One line: the ordinals of its notes in the sketch, and what it is."""

    notes: tuple[int, ...]
    judged: Judged
    forced: bool = False


def strands_of(sketch: Sketch, passages: Sequence[Passage], overrides: Sequence[Override] = ()) -> tuple[Passage, ...]:
    """The passages with their strands: the tune first, then from the top down.

    Each note whose onset lies in a passage is one tone of one strand. ``overrides`` name the kind of some notes
    ("tune", or a strand's name such as "inner part 2", of which the kind counts).

    Raises
    ------
    StrandsError
        If an override names bars or a staff that are not in the sketch, or a kind that there is not.
    """
    forced = _forced(sketch, overrides)
    solo = solo_staves(sketch)
    return tuple(
        replace(passage, strands=_strands(sketch, range(*notes_in(sketch, passage.first, passage.last)), forced, solo))
        for passage in passages
    )


def solo_staves(sketch: Sketch) -> frozenset[int]:
    """The staves of one singer or player beside a keyboard: parts of a single staff on which no chords stand."""
    chords = {
        one.staff for one, other in pairwise(sketch.notes) if (one.onset, one.staff) == (other.onset, other.staff)
        and one.end > one.onset and other.end > other.onset
    }  # fmt: skip
    found: set[int] = set()
    staff = 0
    counts = [
        part.staves for part in sketch.score.parts if any(n.kind == "note" for m in part.measures for n in m.notes)
    ]
    if sum(counts) != sketch.staves or max(counts, default=1) == 1:
        return frozenset()
    for count in counts:
        if count == 1 and staff not in chords:
            found.add(staff)
        staff += count
    return frozenset(found)


def kind_of(strand: str) -> str | None:
    """The kind that a strand's name means.

    >>> kind_of("inner part 2"), kind_of("Tune"), kind_of("drone")
    ('inner part', 'tune', None)
    """
    plain = strand.strip().casefold().rstrip("0123456789").strip()
    return plain if plain in KINDS else None


def _forced(sketch: Sketch, overrides: Sequence[Override]) -> dict[int, str]:
    """By ordinal of the note the kind that the composer names; of two overrides the later one counts."""
    found: dict[int, str] = {}
    for override in overrides:
        kind = kind_of(override.strand)
        if kind is None:
            raise StrandsError(f"no strand is called {override.strand!r}; expected one of: {', '.join(KINDS)}")
        if not 1 <= override.staff <= sketch.staves:
            raise StrandsError(
                f"bars {override.bars}: the sketch has no staff {override.staff}; it has {sketch.staves}, from the top"
            )
        first, last = _bars(sketch, override.bars)
        for k in range(*notes_in(sketch, first, last)):
            note = sketch.notes[k]
            if note.staff == override.staff - 1 and override.voice in ("", note.voice):
                found[k] = kind
    return found


def _bars(sketch: Sketch, text: str) -> tuple[int, int]:
    """The ordinals of the first and last bar of printed numbers such as "5-8" or "5"."""
    numbers = [bar.number for bar in sketch.bars]
    plain = text.strip().replace("–", "-")
    one, _, other = (plain, "", plain) if plain in numbers else plain.partition("-")
    one, other = one.strip(), other.strip() or one.strip()
    if one in numbers:
        first = numbers.index(one)
        if other in numbers[first:]:
            return first, numbers.index(other, first)
    raise StrandsError(f"bars {text}: not in the sketch, which has bars {numbers[0]}-{numbers[-1]}")


def _strands(
    sketch: Sketch, ordinals: Iterable[int], forced: dict[int, str], solo: frozenset[int]
) -> tuple[Strand, ...]:
    """The strands of some notes, named and in order."""
    everything = list(ordinals)
    named = [
        _Line(line, Judged(kind, 1.0), True)
        for kind in KINDS
        for line in _lines(sketch, [k for k in everything if forced.get(k) == kind])
    ]
    free = _lines(sketch, [k for k in everything if k not in forced])
    free = [tuple(line) for line in with_tune_in_one(free, sketch.notes, sketch.grid, solo)]
    of_whole = [line.notes for line in named] + free
    traits = traits_of([[sketch.notes[k] for k in line] for line in of_whole], sketch.grid, solo)[len(named) :]
    kinds = kinds_of([[sketch.notes[k] for k in line] for line in free], traits)
    found = [_Line(line, judged) for line, judged in zip(free, kinds, strict=True)]
    return _named(sketch, _joined(sketch, [*named, *_yielding(sketch, found, named)]))


def _lines(sketch: Sketch, ordinals: Sequence[int]) -> list[tuple[int, ...]]:
    lines = lines_of([sketch.notes[k] for k in ordinals], sketch.grid)
    return [tuple(ordinals[k] for k in line) for line in lines]


def _yielding(sketch: Sketch, found: Sequence[_Line], named: Sequence[_Line]) -> list[_Line]:
    """The found lines, their tune and bass given up in those bars where the composer names another."""
    rows: list[_Line] = []
    for line in found:
        kind = line.judged.kind
        bars = {sketch.notes[k].bar for other in named if other.judged.kind == kind for k in other.notes}
        inside = tuple(k for k in line.notes if sketch.notes[k].bar in bars)
        if kind not in (TUNE, BASS) or not inside:
            rows.append(line)
            continue
        rows.append(_Line(inside, Judged(COUNTER if kind == TUNE else INNER, line.judged.confidence)))
        outside = tuple(k for k in line.notes if sketch.notes[k].bar not in bars)
        if outside:
            rows.append(_Line(outside, line.judged))
    return rows


def _joined(sketch: Sketch, lines: Sequence[_Line]) -> list[_Line]:
    """The lines, those of one kind joined with a forced one where they do not sound together."""
    rows = list(lines)
    for forced in [line for line in lines if line.forced]:
        at = rows.index(forced) if forced in rows else -1
        for other in list(rows):
            if at < 0 or other is rows[at] or other.judged.kind != forced.judged.kind:
                continue
            if _apart(sketch, rows[at], other):
                notes = tuple(sorted((*rows[at].notes, *other.notes), key=lambda k: (sketch.notes[k].onset, k)))
                sure = min(forced.judged.confidence, other.judged.confidence)
                joined = _Line(notes, Judged(forced.judged.kind, sure), True)
                rows[at] = joined
                rows.remove(other)
                at = rows.index(joined)
    return rows


def _apart(sketch: Sketch, one: _Line, other: _Line) -> bool:
    """Whether no note of one line sounds with a note of the other."""
    spans = sorted(
        (sketch.notes[k].onset, max(sketch.notes[k].end, sketch.notes[k].onset + 1), line)
        for line, notes in enumerate((one.notes, other.notes)) for k in notes
    )  # fmt: skip
    return all(a[1] <= b[0] or a[2] == b[2] for a, b in pairwise(spans))


def _named(sketch: Sketch, lines: Sequence[_Line]) -> tuple[Strand, ...]:
    """The strands: tune first, then from the top down, numbered where there are several of a kind."""

    def height(line: _Line) -> tuple[bool, bool, float, int]:
        tune = line.judged.kind == TUNE
        return not tune, tune and line.judged.doubles, -mean(sketch.notes[k].midi for k in line.notes), line.notes[0]

    ordered = sorted(lines, key=height)
    names: dict[int, str] = {}
    for kind in KINDS:
        own = [k for k, line in enumerate(ordered) if line.judged.kind == kind]
        if kind in (TUNE, BASS):  # the tune or bass itself has no number, what doubles it counts from 2
            own.sort(key=lambda k: ordered[k].judged.doubles)
        for count, k in enumerate(own, 1):
            plain = len(own) == 1 or (kind in (TUNE, BASS) and count == 1)
            names[k] = kind if plain else f"{kind} {count}"
    return tuple(
        Strand(names[k], line.judged.kind, tuple(_tone(sketch, n) for n in line.notes), line.judged.confidence)
        for k, line in enumerate(ordered)
    )


def _tone(sketch: Sketch, ordinal: int) -> Tone:
    note = sketch.notes[ordinal]
    return Tone(note.onset, note.end, note.midi, note.pitch, (ordinal,))
