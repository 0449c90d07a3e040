"""Ways out at the timpani; all are the composer's to decide.

What is written is checked again before anybody sees it, so that a way out that does not help is not offered. How it
is written comes from ``rewriting``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, islice

from deskproof.edits import Edit
from deskproof.families import rewriting
from deskproof.families.base import Context, Plan
from deskproof.families.timpani import rules
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.families.timpani.sooner import ended_sooner
from deskproof.families.timpani.trouble import Spot, Trouble
from deskproof.families.wording import listed
from deskproof.findings import Effect, Finding, Mend
from deskproof.pitch import midi
from deskproof.spans import Span

WAYS = {
    rules.NO_TIME.id: "leave out the note, write one that a drum has, or give the player a rest before it",
    rules.TOGETHER.id: "leave out a note, or ask for a second player",
    rules.QUICK.id: "give the drum more time before the new pitch",
    rules.FIFTH.id: "ask for a fifth drum, or leave the drums more time",
}
MOST = 4  # of what is written, for one finding: each is checked by planning the part again
MOST_WRONG = 8  # in one part: where more goes wrong, the part is thought out anew and not mended note by note
MOST_ALIKE = 2  # notes in other octaves, for one finding
OCTAVE = 12
OCTAVES = {1: "an octave higher", -1: "an octave lower", 2: "two octaves higher", -2: "two octaves lower"}


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done, the least change first; what writes nothing comes last."""
    if finding.rule.id not in WAYS:
        return
    if isinstance(plan, DrumsPlan) and plan.reading and plan.drums and plan.settings and _troubles(plan) <= MOST_WRONG:
        trouble = Trouble(finding, plan.reading, plan.settings, plan.drums, plan.fifth, context)
        yield from islice(_written(trouble), MOST)
    yield Mend(WAYS[finding.rule.id], Effect.ADVICE)


def _troubles(plan: DrumsPlan) -> int:
    """How many things go wrong in a part, those that come again counted once."""
    assert plan.reading is not None and plan.drums is not None
    left_out = {tuple(plan.reading.events[gap.event].pitches[k] for k in gap.pitches) for gap in plan.drums.unplanned}
    return len(left_out) + len({(one.drum, one.before, one.after) for one in plan.drums.retunings if one.quick})


def _written(trouble: Trouble) -> Iterator[Mend]:
    finding = trouble.finding
    spots = trouble.spots(finding)
    if finding.rule is rules.TOGETHER:
        yield from islice(chain.from_iterable(_nearby(trouble, one) for one in _choices(trouble, spots)), MOST_ALIKE)
        for one in _choices(trouble, spots):
            yield from _without(trouble, one)
        return
    if finding.rule is rules.QUICK:
        spots = list(dict.fromkeys(spot for one in finding.atoms for spot in _reached(trouble, one)))
    yield from ended_sooner(trouble, spots)
    yield from islice(_nearby(trouble, spots), MOST_ALIKE)
    yield from _without(trouble, spots)


def _reached(trouble: Trouble, finding: Finding) -> list[Spot]:
    """Of the notes at which a hurried retuning ends, those at its new pitch."""
    after = midi(finding.numbers["after"])
    return [spot for spot in trouble.spots(finding) if trouble.pitch(spot) == after]


def _choices(trouble: Trouble, spots: Sequence[Spot]) -> list[list[Spot]]:
    """Which notes of a chord could go or move: those that the plan leaves out, or as well another of its pitches."""
    events = sorted({spot.event for spot in spots})
    found = [list(spots)]
    if len(spots) == len(events):
        pitches = trouble.reading.events[events[0]].pitches  # one finding is of one chord
        found += [[Spot(i, k) for i in events] for k in range(len(pitches))]
    return [one for n, one in enumerate(found) if one not in found[:n]]


# -- another octave ------------------------------------------------------------------------------------------------


def _nearby(trouble: Trouble, spots: Sequence[Spot]) -> Iterator[Mend]:
    """The notes in the octaves in which a drum has them: all alike, or else each pitch in its own nearest."""
    pitches = sorted({trouble.pitch(spot) for spot in spots})
    events = [trouble.event(spot) for spot in spots]
    if not spots or any(one.to or len(one.pitches) > trouble.settings.sticks for one in events):
        return
    fits = {pitch: [up for up in OCTAVES if _has(trouble, spots, pitch, up)] for pitch in pitches}
    alike = [up for up in OCTAVES if all(up in ups for ups in fits.values())]
    for up in alike:
        yield _moved(trouble, spots, dict.fromkeys(pitches, up))
    if not alike and all(fits.values()):
        yield _moved(trouble, spots, {pitch: ups[0] for pitch, ups in fits.items()})


def _has(trouble: Trouble, spots: Sequence[Spot], pitch: int, up: int) -> bool:
    """Whether a drum has a pitch so many octaves higher, and no other note of its chords is there already."""
    there = pitch + OCTAVE * up
    return any(one.has(there) for one in trouble.drums) and not any(
        there in trouble.event(spot).pitches for spot in spots if trouble.pitch(spot) == pitch
    )


def _moved(trouble: Trouble, spots: Sequence[Spot], ups: Mapping[int, int]) -> Mend:
    edits: dict[Edit, None] = {}
    names: dict[int, list[str]] = {}
    for spot in spots:
        up = ups[trouble.pitch(spot)]
        edits.update(dict.fromkeys(rewriting.in_octave(trouble.part, trouble.refs([spot]), up)))
        names.setdefault(up, []).append(trouble.named(spot))
    said = listed([f"{listed(list(dict.fromkeys(own)))} {OCTAVES[up]}" for up, own in names.items()])
    return trouble.mend(f"write {said}", list(edits))


# -- left out ------------------------------------------------------------------------------------------------------


def _without(trouble: Trouble, spots: Sequence[Spot]) -> Iterator[Mend]:
    """The notes left out."""
    edits = rewriting.left_out(trouble.part, trouble.refs(spots))
    if edits:
        names = list(dict.fromkeys(trouble.named(spot) for spot in spots))
        yield trouble.mend(f"leave out {listed(names)}", edits)
