"""Signs on the page: clefs that the player does not read, and key signatures of seven accidentals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from deskproof import facts
from deskproof.edits import ChangeRef, Edit, EditError, Respell, SetClef, SetKey, complete
from deskproof.families.base import Context
from deskproof.families.manners.groups import Group, refs
from deskproof.families.manners.rules import SIGNATURE, UNREAD
from deskproof.families.manners.words import clef_name, listed
from deskproof.findings import Effect, Finding, Mend, Place, Rule
from deskproof.instruments import Instrument
from deskproof.page import alters_of
from deskproof.pitch import STEPS, Pitch
from deskproof.score import TIE_START, TIE_STOP, UNCHECKED, Change, Clef, Key, Note, NoteRef, Part

_NAMES = {5: "B major or G♯ minor", -5: "D♭ major or B♭ minor"}
_COUNTS = {7: "seven"}
_LINE_OF = {"G": Pitch("G", 0, 4).line, "F": Pitch("F", 0, 3).line, "C": Pitch("C", 0, 4).line}
_MIDDLE_LINE = 3
_HALF_STAFF = 4  # steps from the middle line to the outer lines of the staff
_SYNONYM = 12  # fifths from a key to its synonym
_MOST_ALTER = 2


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a clef or key signature governs: where it stands, and the notes under it."""

    ref: ChangeRef
    change: Change
    notes: tuple[tuple[int, Note], ...]


def _stretches(part: Part, kind: str) -> list[Stretch]:
    """Every clef or key of a part with the pitched notes it governs, in order of place."""
    rows: list[tuple[tuple[int, int], ChangeRef, Change]] = []
    for measure in part.measures:
        n = 0
        for change in measure.changes:
            if change.kind == kind:
                rows.append(((measure.index, change.start), ChangeRef(part.id, measure.index, n, kind), change))
                n += 1
    rows.sort(key=lambda row: row[0])
    found = []
    for i, (place, ref, change) in enumerate(rows):
        end = next(
            (p for p, _, c in rows[i + 1 :] if not c.staff or not change.staff or c.staff == change.staff),
            (len(part.measures), 0),
        )
        notes = tuple(
            (measure.index, note)
            for measure in part.measures[place[0] : end[0] + 1]
            for note in measure.notes
            if note.pitch is not None
            and place <= (measure.index, note.start) < end
            and change.staff in (0, note.staff)
        )
        found.append(Stretch(ref, change, notes))
    return found


@dataclass(frozen=True, slots=True)
class Strange:
    """Stretches of a part under clefs or keys of one kind that give one finding."""

    rule: Rule
    part: int
    instrument: Instrument
    stretches: tuple[Stretch, ...]

    def finding(self, context: Context) -> Finding:
        part = context.score.parts[self.part]
        firsts = [judged(stretch)[0] for stretch in self.stretches]
        measure, note = firsts[0]
        value = self.stretches[0].change.value
        numbers: dict[str, Any] = {"instrument": self.instrument.name}
        if isinstance(value, Clef):
            read = [clef_name(clef_of(name)) for name in facts.get(f"{self.instrument.id}.clefs").value]
            under = sum(len(judged(stretch)) for stretch in self.stretches)
            numbers |= {"clef": clef_name(value), "read": listed(read), "notes_under_it": under}
        elif isinstance(value, Key):
            count = abs(value.fifths)
            simpler = value.fifths - (_SYNONYM if value.fifths > 0 else -_SYNONYM)
            numbers |= {
                "fifths": value.fifths,
                "count_word": _COUNTS.get(count, str(count)),
                "accidentals": "sharps" if value.fifths > 0 else "flats",
                "simpler": _NAMES.get(simpler, f"{abs(simpler)} {'sharps' if simpler > 0 else 'flats'}"),
                "bars": len({m for stretch in self.stretches for m, _ in stretch.notes}),
            }
        return self.rule.at(
            Place(self.part, note.staff, measure, note.start), refs(part, ((m, n.n) for m, n in firsts)), **numbers
        )


def judged(stretch: Stretch) -> list[tuple[int, Note]]:
    return [(m, note) for m, note in stretch.notes if not note.flags & UNCHECKED]


def clef_of(name: str) -> Clef:
    """A clef as the tables write it: "G2-8" is a treble clef an octave lower."""
    return Clef(name[0], int(name[1]), {"-8": -1, "+8": 1}.get(name[2:], 0))


def unread_clefs(groups: Sequence[Group], context: Context) -> Iterator[Strange]:
    """Clefs that nobody reads who plays one of the part's instruments; one row for each such clef."""
    if not groups or any(g.instrument.family == "voice" or g.instrument.group for g in groups):
        return
    known = [facts.find(f"{group.instrument.id}.clefs") for group in groups]
    read = {name[:2] for fact in known if fact is not None for name in fact.value}
    if not read or None in known:
        return
    index = groups[0].part
    layout = context.layouts[index]
    signs = {
        f"{clef.sign}{clef.line}"
        for _, clefs in layout.clefs.values()
        for clef in clefs
        if clef.sign in _LINE_OF and f"{clef.sign}{clef.line}" not in read
    }
    if not signs:
        return
    stretches = _stretches(context.score.parts[index], "clef")
    for name in sorted(signs):
        own = tuple(
            stretch
            for stretch in stretches
            if isinstance(stretch.change.value, Clef)
            and f"{stretch.change.value.sign}{stretch.change.value.line}" == name
            and judged(stretch)
        )
        if own:
            yield Strange(UNREAD, index, groups[0].instrument, own)


def signatures_of_seven(groups: Sequence[Group], context: Context) -> Iterator[Strange]:
    """Key signatures of seven sharps, and of seven flats."""
    if not groups or any("harp" in group.instrument.id.split("-") for group in groups):
        return
    index = groups[0].part
    limit = facts.get("manners.signature_limit").value
    part = context.score.parts[index]
    if not any(abs(fifths) == limit for fifths in _signed(part)):
        return
    stretches = _stretches(part, "key")
    for sign in (1, -1):
        own = tuple(
            stretch
            for stretch in stretches
            if isinstance(stretch.change.value, Key)
            and sign * stretch.change.value.fifths == limit
            and judged(stretch)
        )
        if own:
            yield Strange(SIGNATURE, index, groups[0].instrument, own)


def _signed(part: Part) -> Iterator[int]:
    """The fifths of every key signature of a part."""
    for measure in part.measures:
        for change in measure.changes:
            if isinstance(change.value, Key):
                yield change.value.fifths


def other_clefs(strange: Strange) -> Iterator[Mend]:
    """The clef among those the player reads that needs the fewest ledger lines."""
    lines = [note.pitch.line for s in strange.stretches for _, note in judged(s) if note.pitch is not None]
    best = min(
        (clef_of(name) for name in facts.get(f"{strange.instrument.id}.clefs").value),
        key=lambda clef: sum(max(0, abs(line - _middle(clef)) - _HALF_STAFF) for line in lines),
    )
    edits = tuple(
        SetClef(stretch.ref, best.sign, best.line, best.octave, stretch.change.staff) for stretch in strange.stretches
    )
    yield Mend(f"write it in the {clef_name(best)} clef", Effect.KEEPS_SOUND, edits)


def _middle(clef: Clef) -> int:
    """Steps above C0 of the middle line under a clef."""
    return _LINE_OF[clef.sign] + 7 * clef.octave + 2 * (_MIDDLE_LINE - clef.line)


def other_key(strange: Strange, context: Context) -> Iterator[Mend]:
    """The key under its simpler name, every note under it respelled; nothing where a note would be read otherwise."""
    part = context.score.parts[strange.part]
    edits: list[Edit] = []
    for stretch in strange.stretches:
        key = stretch.change.value
        assert isinstance(key, Key)
        up = key.fifths > 0
        fifths = key.fifths - (_SYNONYM if up else -_SYNONYM)
        edits.append(SetKey(stretch.ref, fifths, stretch.change.staff))
        wanted = alters_of(Key(fifths))
        places = {(m, note.n) for m, note in stretch.notes}
        if _tied_out(part, stretch, places):
            return
        for measure, note in stretch.notes:
            assert note.pitch is not None
            other = _synonym(note.pitch, 1 if up else -1, wanted)
            if other is None:
                return
            if other != note.pitch:
                ref = NoteRef(part.id, measure, note.n)
                edits.append(Respell(ref, other.step, int(other.alter), other.octave))
    name = strange.finding(context).numbers["simpler"]
    try:
        full = complete(context.score, context.layouts, edits)
    except EditError:
        return
    yield Mend(f"write it in {name}", Effect.KEEPS_SOUND, full)


def _synonym(written: Pitch, steps: int, key: dict[str, int | float]) -> Pitch | None:
    """The same sound on the next letter; as the key has it, or plain, where that would take a double sign."""
    if written.alter != int(written.alter):
        return None
    line = written.line + steps
    moved = Pitch(STEPS[line % 7], 0, line // 7)
    moved = moved._replace(alter=int(written.midi - moved.midi))
    if abs(moved.alter) < _MOST_ALTER or moved.alter == key[moved.step]:
        return moved
    if abs(written.alter) < _MOST_ALTER:
        return written
    return moved if abs(moved.alter) == _MOST_ALTER else None


def _tied_out(part: Part, stretch: Stretch, places: set[tuple[int, int]]) -> bool:
    """Whether a tie leads into or out of the stretch, so that its two ends would be spelled differently."""
    inside = [(m, note) for m, note in stretch.notes if note.flags & (TIE_START | TIE_STOP)]
    if not inside:
        return False
    first, last = min(m for m, _ in stretch.notes), max(m for m, _ in stretch.notes)
    outside = {
        (m, note.pitch)
        for m in range(max(0, first - 1), min(len(part.measures), last + 2))
        for note in part.measures[m].notes
        if (m, note.n) not in places and note.flags & (TIE_START | TIE_STOP)
    }
    return any((m + d, note.pitch) in outside for m, note in inside for d in (-1, 0, 1))
