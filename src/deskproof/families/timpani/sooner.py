"""Held notes and rolls ended sooner, so that a drum can be tuned in time for what follows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, pairwise

from deskproof.edits import Shorten
from deskproof.families import rewriting
from deskproof.families.timpani import rules
from deskproof.families.timpani.model import Drum
from deskproof.families.timpani.trouble import Spot, Trouble
from deskproof.families.wording import listed
from deskproof.findings import Mend
from deskproof.score import NoteRef

MOST_NAMED = 3  # notes that a mend names one by one
US = 1_000_000


def ended_sooner(trouble: Trouble, spots: Sequence[Spot]) -> Iterator[Mend]:
    """The notes before some pitches ended sooner, as little as gives one of the drums its time; at most one mend."""
    found = [
        (sum(edit.was - edit.length for edit in edits), drum.inch, edits)
        for drum in trouble.drums
        if (edits := _freed(trouble, drum, spots))
    ]
    if found:
        _, inch, edits = min(found, key=lambda row: row[0])
        yield trouble.mend(f"end {_said(trouble, edits)}, so that the {inch}-inch drum can be tuned in time", edits)


def _freed(trouble: Trouble, drum: Drum, spots: Sequence[Spot]) -> list[Shorten] | None:
    """What is shortened so that the drum can have some notes besides its own; None where that is not enough."""
    hurried = trouble.finding.rule is rules.QUICK
    mine = [Spot(i, row.index(drum.id)) for i, row in enumerate(trouble.played.drums) if drum.id in row]
    wanted = [spot for spot in spots if (spot in mine if hurried else trouble.homeless(spot))]
    row = sorted({*mine, *wanted})
    if not wanted or len({spot.event for spot in row}) < len(row):
        return None
    if not all(drum.has(trouble.pitch(spot)) for spot in wanted):
        return None
    edits: dict[NoteRef, Shorten] = {}
    for one, two in pairwise(row):
        if two not in wanted and (hurried or one not in wanted):
            continue
        own = _before(trouble, one, two)
        if own is None:
            return None
        for edit in own:
            other = edits.get(edit.note)
            if other is None or edit.length < other.length:
                edits[edit.note] = edit
    return list(edits.values())


def _before(trouble: Trouble, one: Spot, two: Spot) -> list[Shorten] | None:
    """What is shortened at ``one`` so that its drum can be tuned for ``two``; None where it cannot be."""
    clock = trouble.context.frame.clock
    event = trouble.event(one)
    far = abs(event.arrives(one.k) - trouble.pitch(two))
    by_us = trouble.event(two).t_us - (trouble.settings.comfortable_us(far) if far else 0)
    if not far or event.end_us <= by_us:
        return []
    if by_us <= event.t_us:
        return None
    tick = clock.tick_at(by_us)
    tick -= clock.ceil_us(tick) > by_us
    strokes = chain.from_iterable(trouble.reading.strokes[one.event])
    return rewriting.ended_by(trouble.part, strokes, tick, trouble.context.score.grid)


def _said(trouble: Trouble, edits: Sequence[Shorten]) -> str:
    """Which notes end sooner, and by how many seconds."""
    last = {}
    for i, rows in enumerate(trouble.reading.strokes):
        for k, strokes in enumerate(rows):
            for one in strokes:
                last[NoteRef(trouble.part.id, *(one.tied[-1] if one.tied else (one.measure, one.note.n)))] = i, k, one
    clock = trouble.context.frame.clock
    names: dict[str, dict[str, None]] = {}
    longest = 0
    for edit in edits:
        i, k, one = last[edit.note]
        us = clock.ceil_us(one.end) - clock.ceil_us(one.end - (edit.was - edit.length))
        what = f"{'the roll on ' if trouble.reading.events[i].roll else ''}{trouble.named(Spot(i, k))}"
        names.setdefault(f"{us / US:.1f} s sooner", {})[what] = None
        longest = max(longest, us)
    if sum(map(len, names.values())) > MOST_NAMED:
        return f"the notes before up to {longest / US:.1f} s sooner"
    return listed([f"{listed(list(row))} {time}" for time, row in names.items()])
