"""What the forces count: instruments that sound at once, and sections that are divided."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof import words
from deskproof.families.base import Context
from deskproof.families.players import rules
from deskproof.families.players.places import Places
from deskproof.families.players.planning import PlayersPlan
from deskproof.families.players.record import Stretch
from deskproof.families.wording import listed
from deskproof.findings import Finding, Place
from deskproof.instruments import by_id
from deskproof.score import UNCHECKED, Direction, Measure, NoteRef, Part


def too_few(plan: PlayersPlan, context: Context, places: Places) -> Iterator[Finding]:
    """Stretches that want one more of an instrument than the room has."""
    for cast in plan.casts:
        kinds: dict[str, list[Stretch]] = {}
        for one in cast.group.stretches:
            kinds.setdefault(by_id(one.instrument).id, []).append(one)
        for kind, rows in kinds.items():
            have = context.forces.how_many(by_id(kind))
            if have is None:
                continue
            for one in rows:
                together = [r for r in rows if r.from_us <= one.from_us < r.to_us or r is one]
                lines = dict.fromkeys(r.line for r in sorted(together, key=lambda r: r.line))
                if len(lines) <= have or one is not max(together, key=lambda r: (r.from_us, r.line)):
                    continue
                place, notes = places.at(cast, one)
                names = [context.score.parts[cast.group.parts[line]].name or line for line in lines]
                yield rules.TOO_FEW.at(
                    place, notes, fold=("too few", kind), near=None, instrument=by_id(kind).name, wanted=len(lines),
                    have=have, lines=listed(list(dict.fromkeys(names))),
                )  # fmt: skip


def divided(context: Context) -> Iterator[Finding]:
    """Sections divided into more parts than they have players."""
    for index, part in enumerate(context.score.parts):
        have = context.forces.sections.get(part.name.casefold())
        if have is None:
            continue
        for measure in part.measures:
            for row in measure.directions:
                wanted = _parts_of(row)
                at = _first_from(part, measure, row.start) if wanted > have else None
                if at is None:
                    continue
                there, n = at
                note = there.notes[n]
                yield rules.DIVISI.at(
                    Place(index, note.staff, there.index, note.start), (NoteRef(part.id, there.index, n),),
                    fold=("divided", wanted), near=None, text=row.value, wanted=wanted, have=have,
                )  # fmt: skip


def _parts_of(row: Direction) -> int:
    """Into how many parts words divide a section; 0 where they do not, 2 where they do not say."""
    if row.kind != "words" or row.hidden:
        return 0
    counts = [int(m.figure or 2) for m in words.meanings(row.value) if m.kind == "div"]
    return max(counts, default=0)


def _first_from(part: Part, measure: Measure, start: int) -> tuple[Measure, int] | None:
    """The first note at or after a place."""
    for there in part.measures[measure.index :]:
        for note in there.notes:
            if note.kind == "note" and not note.flags & UNCHECKED and (there is not measure or note.start >= start):
                return there, note.n
    return None
