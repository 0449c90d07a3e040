"""Where a part goes over to another instrument: the transposition and the key signature that come along, or do not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from deskproof.edits import Edit, EditError, SetKey, complete
from deskproof.families.base import Context
from deskproof.families.manners.around import Around, key_at
from deskproof.families.manners.groups import place_of, refs, spot, usual_transpositions
from deskproof.families.manners.rules import CHANGE_KEY, CHANGE_TRANSPOSITION
from deskproof.families.manners.transposing import retransposed, transpose_by
from deskproof.families.manners.words import interval
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import NoteRef, Part
from deskproof.spans import Span

_CIRCLE = 12  # keys in the circle of fifths
_FIFTHS = -7  # fifths by which the key signature moves with each semitone from written to sounding
_MOST = 6


@dataclass(frozen=True, slots=True)
class Entry:
    """The first note of another instrument in a part.

    ``wanted`` is its usual transposition in semitones where the page still has that of the instrument before;
    ``fifths`` the key signature that belongs to its transposition where the page still has the one before.
    """

    span: Span
    until: Span | None
    before: str
    name: str
    wanted: int | None
    fifths: int | None
    had: int

    def finding(self, context: Context) -> Finding:
        """As a finding at the first note; a wrong transposition explains what its notes seem to be."""
        span = self.span
        part, first = context.score.parts[span.part], span.events[0]
        place, notes = place_of(span.part, first), refs(part, [spot(first)])
        if self.wanted is None:
            assert self.fifths is not None
            return CHANGE_KEY.at(
                place, notes, fold=("key", place.measure), near=0, before=self.before, after=self.name,
                had=_signature(self.had), signature=_signature(self.fifths), fifths=self.fifths,
            )  # fmt: skip
        shift = self.wanted - int(span.transpose.semitones)
        found = CHANGE_TRANSPOSITION.at(
            place, notes, fold=("transposition", place.measure), near=0, before=self.before, after=self.name,
            interval=interval(shift), way="lower" if shift < 0 else "higher", wanted=self.wanted,
            semitones=abs(shift),
        )  # fmt: skip
        return found if context.measures is not None else replace(found, explains=frozenset(self._notes(part)))

    def _notes(self, part: Part) -> tuple[NoteRef, ...]:
        return refs(part, [at for event in self.span.events for at in (spot(event), *event.tied)])

    def mend(self, context: Context) -> Iterator[Mend]:
        """Print what is missing from the entry on, and what was there where the part goes back."""
        index = self.span.part
        part, layout = context.score.parts[index], context.layouts[index]
        edits: list[Edit] = []
        if self.wanted is not None:
            spots = {at for event in self.span.events for at in (spot(event), *event.tied)}
            edits += retransposed(part, layout, spots, transpose_by(self.wanted))
        if self.fifths is not None:
            keys = self._keys(part, layout.signatures)
            if keys is None:
                return
            edits += keys
            try:
                edits = list(complete(context.score, context.layouts, edits))
            except EditError:
                return
        if self.wanted is None:
            yield Mend(f"print {_signature(self.fifths or 0)} as key signature", Effect.KEEPS_SOUND, tuple(edits))
            return
        shift = self.wanted
        said = "do not transpose it" if not shift else (
            f"let it sound {interval(shift)} {'lower' if shift < 0 else 'higher'} than written"
        )
        key = f", with {_signature(self.fifths)} as key signature" if self.fifths is not None else ""
        yield Mend(f"{said} from here on{key}", Effect.CHANGES_SOUND, tuple(edits))

    def _keys(self, part: Part, rows: Sequence[tuple[int, int]]) -> list[Edit] | None:
        """The key at the beginning of the bar of the entry, and the old one where the other instrument comes back."""
        assert self.fifths is not None
        start = self.span.events[0]
        here = part.measures[start.measure]
        if any(note.kind != "rest" and note.start < start.note.start for note in here.notes):
            return None  # in the middle of a bar in which the other instrument still plays
        edits: list[Edit] = [SetKey(NoteRef(part.id, start.measure, 0), self.fifths)]
        if self.until is not None:
            back = self.until.events[0]
            if any(n.kind != "rest" and n.start < back.note.start for n in part.measures[back.measure].notes):
                return None
            if key_at(rows, back.measure) == self.had and not any(
                start.measure < m <= back.measure for m, _ in rows
            ):
                edits.append(SetKey(NoteRef(part.id, back.measure, 0), self.had))
        return edits


def entries(spans: Sequence[Span], around: Around, context: Context) -> tuple[Entry, ...]:
    """Every place where a part goes over to another instrument with a transposition or a key that is not its own."""
    if len(spans) < 2:
        return ()
    rows = [span for span in spans if span.events and span.instrument is not None]
    found = []
    for i in range(1, len(rows)):
        before, after = rows[i - 1], rows[i]
        wanted = _wanted(before, after)
        if before.instrument is None or after.instrument is None:
            continue
        if wanted is None and before.instrument == after.instrument:
            continue
        then = rows[i + 1] if i + 1 < len(rows) else None
        named = after.said.instrument if wanted is not None and after.said is not None else after.instrument
        had = key_at(context.layouts[after.part].signatures, before.events[-1].measure)
        semitones = int(after.transpose.semitones) if wanted is None else wanted
        fifths = _key(before, after, semitones, around, context)
        if wanted is not None or fifths is not None:
            found.append(Entry(after, then, before.instrument.name, named.name, wanted, fifths, had))
    return tuple(found)


def _wanted(before: Span, after: Span) -> int | None:
    """The transposition of the instrument taken up, if the page still has that of the one before."""
    said, semitones = after.said, int(after.transpose.semitones)
    if said is None or before.transpose != after.transpose or not semitones % _CIRCLE or before.said == said:
        return None
    usual = usual_transpositions(said.instrument.id)
    if said.keys:
        usual = tuple(v for v in (*usual, said.instrument.crook) if v is not None and v % _CIRCLE in said.keys)
    elif said.instrument.crook is not None:
        return None  # which of its kind is left open
    if not usual or any((semitones - v) % _CIRCLE == 0 for v in usual):
        return None
    return usual[0]


def _key(before: Span, after: Span, semitones: int, around: Around, context: Context) -> int | None:
    """The key signature that goes with a transposition, if the page still has that of the one before."""
    was = int(before.transpose.semitones)
    if (was - semitones) % _CIRCLE == 0:
        return None
    rows = context.layouts[after.part].signatures
    last, first = before.events[-1].measure, after.events[0].measure
    had = key_at(rows, last)
    if key_at(rows, first) != had or any(last < m <= first for m, _ in rows):
        return None
    concert = had - _FIFTHS * was
    told = [around.sounding_key(m) for m in (last, first)]
    if any(key is not None and (key - concert) % _CIRCLE for key in told):
        return None
    if not any(fifths for _, fifths in rows) and not around.shifted_keys():
        return None
    fifths = (concert + _FIFTHS * semitones + _MOST - 1) % _CIRCLE - _MOST + 1
    return None if fifths == had else fifths


def _signature(fifths: int) -> str:
    """A key signature in words.

    >>> _signature(2), _signature(-1), _signature(0)
    ('2 sharps', '1 flat', 'no accidentals')
    """
    if not fifths:
        return "no accidentals"
    return f"{abs(fifths)} {'sharp' if fifths > 0 else 'flat'}{'s' * (abs(fifths) != 1)}"
