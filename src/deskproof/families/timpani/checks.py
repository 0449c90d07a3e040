"""From a plan of the drums to findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof import facts
from deskproof.families.base import Context, Plan
from deskproof.families.timpani import rules
from deskproof.families.timpani.plan import NO_DRUM, TOO_MANY
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.families.timpani.reading import Reading
from deskproof.families.wording import listed
from deskproof.findings import Finding, Place
from deskproof.pitch import name
from deskproof.spans import Span
from deskproof.tempo import DEFAULT

US = 1_000_000
NEAR = 2


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of one timpani part."""
    if not isinstance(plan, DrumsPlan) or plan.reading is None or plan.drums is None or plan.settings is None:
        return
    for one in _findings(plan, plan.reading, context):
        if context.measures is None or one.place.measure in context.measures:
            yield one


def _findings(plan: DrumsPlan, reading: Reading, context: Context) -> Iterator[Finding]:
    assert plan.drums is not None and plan.settings is not None
    clock = context.frame.clock
    part = context.score.parts[reading.part]
    every = list(plan.settings.drums)
    for gap in plan.drums.unplanned:
        event = reading.events[gap.event]
        pitches = [event.pitches[k] for k in gap.pitches]
        if gap.reason == NO_DRUM and not any(one.has(pitch) for one in every for pitch in pitches):
            continue  # the compass tells it
        tempo = clock.tempo_at_us(event.t_us)
        place, notes = _place(reading, gap.event), reading.refs(part.id, gap.event, gap.pitches)
        said = listed([name(pitch) for pitch in pitches])
        if gap.reason in (TOO_MANY, NO_DRUM):
            whole = listed([name(pitch) for pitch in event.pitches])
            reason = (
                f"{len(event.pitches)} drums are wanted, and there are {plan.settings.sticks} sticks"
                if len(event.pitches) > plan.settings.sticks
                else f"no two drums have {'them' if len(event.pitches) > 1 else 'the slide'}"
            )
            yield rules.TOGETHER.at(place, notes, fold=("together", event.pitches), notes_named=whole, reason=reason)
        elif tempo.told:
            having = [f"the {one.inch}-inch drum" for one in every if any(one.has(pitch) for pitch in pitches)]
            yield rules.NO_TIME.at(
                place, notes, level="impossible" if tempo.fixed else "hard", fold="no time", near=NEAR,
                notes_named=said, drums_named=listed(having)[:1].upper() + listed(having)[1:],
                are="are" if len(having) > 1 else "is",
            )  # fmt: skip
    inches = {one.id: one.inch for one in every}
    for change in plan.drums.retunings:
        need_us = plan.settings.comfortable_us(abs(change.after - change.before))
        tempo = clock.tempo_at_us(change.t_us)
        if not change.quick or tempo.basis == DEFAULT:
            continue
        i = _first_after(reading, plan, change.drum, change.t_us)
        have_us = change.dur_us + max(0, change.spare_us)
        yield rules.QUICK.at(
            _place(reading, i), reading.refs(part.id, i, _on(plan, i, change.drum)), fold=("quick", change.drum),
            near=NEAR,
            inch=inches[change.drum], before=name(change.before), after=name(change.after),
            have=f"{have_us / US:.1f}", need=f"{need_us / US:.1f}", lack_us=max(0, need_us - have_us),
        )  # fmt: skip
    if plan.fifth:
        inch = int(facts.get("timpani_drums.fifth").value)
        for i, drums in enumerate(plan.drums.drums):
            mine = [k for k, one in enumerate(drums) if one is not None and inches[one] == inch]
            if mine:
                yield rules.FIFTH.at(
                    _place(reading, i), reading.refs(part.id, i, mine), fold="fifth", near=None,
                    notes_named=listed([name(reading.events[i].pitches[k]) for k in mine]), inch=inch,
                )  # fmt: skip


def _first_after(reading: Reading, plan: DrumsPlan, drum: str, t_us: int) -> int:
    """The first event of a drum after a time."""
    assert plan.drums is not None
    return next(
        i for i, row in enumerate(plan.drums.drums) if drum in row and reading.events[i].t_us >= t_us
    )  # fmt: skip


def _on(plan: DrumsPlan, event: int, drum: str) -> list[int]:
    """Which pitches of an event a drum has, by their ordinals."""
    assert plan.drums is not None
    return [k for k, one in enumerate(plan.drums.drums[event]) if one == drum]


def _place(reading: Reading, event: int) -> Place:
    one = reading.strokes[event][0][0]
    return Place(reading.part, one.note.staff, one.measure, one.note.start, one.pass_)
