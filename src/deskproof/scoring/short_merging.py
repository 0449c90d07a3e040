"""Many players' lines to few: one note for a unison, and octaves that only double left out but remembered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from deskproof import facts
from deskproof.pitch import Pitch
from deskproof.score import Mark
from deskproof.scoring.short_lines import Lines, Played, Strand

OCTAVE = 12
LONG_ORNAMENTS = ("tremolo", "trill-mark", "wavy-line")


@dataclass
class Kept:
    """A note of the short score. ``by`` are (player, octaves that he plays above) in score order."""

    onset: int
    end: int
    grace: int
    midi: int | float
    pitch: Pitch
    bar: int
    marks: tuple[Mark, ...]
    strands: tuple[Strand, ...]
    giver: int
    by: dict[tuple[int, int], None] = field(default_factory=dict)
    slurred: tuple[int, ...] = ()
    line: Strand = (0, 0, "", 0)
    staff: int = 0
    outer: str = ""  # "tune" where it is the highest, "bass" where it is the lowest that sounds; "both"


def merged(lines: Lines, unisons: bool = True, octaves: bool = True) -> list[Kept]:
    """The notes of the short score in order of onset, graces first; ``False`` leaves a rule out."""
    notes = list(lines.notes)
    doubled: list[tuple[Played, Played]] = []
    if octaves:
        notes, doubled = _without_octaves(notes)
    kept, home = _without_unisons(notes) if unisons else _each(notes)
    for left_out, for_it in doubled:
        home[id(for_it)].by.setdefault((left_out.player, round((left_out.midi - for_it.midi) / OCTAVE)))
    _name_lines(kept)
    _mark_outer(kept)
    return kept


# unisons


def _key(note: Played) -> tuple[object, ...]:
    tremolo = next((m.number for m in note.marks if m.kind == "tremolo" and m.number in ("start", "stop")), "")
    return note.onset, note.end, note.grace, note.midi, tremolo


def _without_unisons(notes: Sequence[Played]) -> tuple[list[Kept], dict[int, Kept]]:
    """One note for those of equal pitch, onset and end, and for shorter ones whose players rest until the end."""
    groups: dict[tuple[object, ...], list[Played]] = {}
    for note in notes:
        groups.setdefault(_key(note), []).append(note)
    longest: dict[tuple[int, int | float], tuple[object, ...]] = {}
    for key, rows in groups.items():
        first = rows[0]
        if not first.grace and key[4] == "":
            place = (first.onset, first.midi)
            if place not in longest or first.end > groups[longest[place]][0].end:
                longest[place] = key
    for key in list(groups):
        first = groups[key][0]
        long = longest.get((first.onset, first.midi))
        if first.grace or key[4] != "" or long is None or long == key:
            continue
        until = groups[long][0].end
        resting = [note for note in groups[key] if note.free >= until]
        if len(resting) == len(groups[key]):
            groups[long] += groups.pop(key)
    return _kept(groups.values())


def _each(notes: Sequence[Played]) -> tuple[list[Kept], dict[int, Kept]]:
    return _kept([[note] for note in notes])


def _kept(groups: Iterable[list[Played]]) -> tuple[list[Kept], dict[int, Kept]]:
    found, home = [], {}
    for rows in groups:
        end = max(note.end for note in rows)
        rows = sorted(rows, key=lambda note: (note.end != end, note.strand))
        first = rows[0]
        present = {mark.kind for mark in first.marks}
        more = tuple(
            mark for note in rows[1:] for mark in note.marks if mark.kind in LONG_ORNAMENTS and mark.kind not in present
        )
        spelling = Counter(note.pitch for note in rows).most_common(1)[0][0]
        one = Kept(
            first.onset, end, first.grace, first.midi, spelling, first.bar, (*first.marks, *dict.fromkeys(more)),
            tuple(note.strand for note in rows), first.player,
            dict.fromkeys((note.player, 0) for note in sorted(rows, key=lambda note: note.player)),
            tuple(slur for note in rows for slur in note.slurred),
        )  # fmt: skip
        found.append(one)
        home.update({id(note): one for note in rows})
    found.sort(key=lambda one: (one.onset, -one.grace, -one.midi))
    return found, home


# octaves

_Shape = tuple[tuple[int, int, int, int | float], ...]

def _without_octaves(notes: Sequence[Played]) -> tuple[list[Played], list[tuple[Played, Played]]]:
    """The notes without lines that double another at the octave, and pairs (left out, kept for it)."""
    least = facts.get("short_score.line_notes").value
    full = facts.get("short_score.chord_notes").value
    outer = _outer(notes)
    gone: set[int] = set()
    pairs: list[tuple[Played, Played]] = []
    bars: dict[int, dict[Strand, list[Played]]] = {}
    for note in notes:
        bars.setdefault(note.bar, {}).setdefault(note.strand, []).append(note)
    for strands in bars.values():
        classes: dict[tuple[int | float, _Shape], dict[int | float, list[list[Played]]]] = {}
        for rows in strands.values():
            base = rows[0].midi
            shape = tuple((note.onset, note.end, note.grace, note.midi - base) for note in rows)
            classes.setdefault((base % OCTAVE, shape), {}).setdefault(base, []).append(rows)
        pitches = {note.midi for rows in strands.values() for note in rows}
        for (_, shape), levels in classes.items():
            moves = len({row[3] for row in shape}) >= least
            if len(levels) < 2 or not (moves or len(pitches) > full):
                continue
            staying = _staying(levels, outer)
            for base, lines in levels.items():
                if base in staying:
                    continue
                near = min(staying, key=lambda one: (abs(one - base), -one))
                for rows in lines:
                    gone.update(id(note) for note in rows)
                    pairs += zip(rows, levels[near][0], strict=True)
    return [note for note in notes if id(note) not in gone], pairs


def _staying(levels: dict[int | float, list[list[Played]]], outer: dict[int, str]) -> set[int | float]:
    """The octaves of a line that are written: the outermost with the octave inside it, else that of most players."""
    staying: set[int | float] = set()
    for base, lines in levels.items():
        roles = {outer.get(id(note), "") for rows in lines for note in rows}
        if roles & {"tune", "both"}:
            staying |= {base, base - OCTAVE} & set(levels)
        if roles & {"bass", "both"}:
            staying |= {base, base + OCTAVE} & set(levels)
    return staying or {max(levels, key=lambda base: (len(levels[base]), base))}



def _outer(notes: Sequence[Played] | Sequence[Kept]) -> dict[int, str]:
    """id of a note -> "tune", "bass" or "both", where it is outermost at any onset while it sounds."""
    found: dict[int, set[str]] = {}
    active: list[Played | Kept] = []
    ordered = sorted((note for note in notes if not note.grace), key=lambda note: note.onset)
    i = 0
    while i < len(ordered):
        at = ordered[i].onset
        active = [note for note in active if note.end > at]
        while i < len(ordered) and ordered[i].onset == at:
            active.append(ordered[i])
            i += 1
        top, bottom = max(note.midi for note in active), min(note.midi for note in active)
        for note in active:
            if note.midi == top:
                found.setdefault(id(note), set()).add("tune")
            if note.midi == bottom:
                found.setdefault(id(note), set()).add("bass")
    return {key: "both" if len(roles) > 1 else next(iter(roles)) for key, roles in found.items()}


# lines


def _mark_outer(kept: list[Kept]) -> None:
    outer = _outer(kept)
    for one in kept:
        one.outer = outer.get(id(one), "")


def _name_lines(kept: list[Kept]) -> None:
    """Give every note the line it belongs to: in each bar the fullest line takes its notes first."""
    bars: dict[int, list[Kept]] = {}
    for one in kept:
        bars.setdefault(one.bar, []).append(one)
    for rows in bars.values():
        count = Counter(strand for one in rows for strand in one.strands)
        for one in rows:
            one.line = min(one.strands, key=lambda strand: (-count[strand], strand))
