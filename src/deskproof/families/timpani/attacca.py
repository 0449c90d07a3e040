"""From one movement to the next: how the drums stand at the end, and what is retuned before the next notes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from deskproof.families.base import Carried, Plan, Seam
from deskproof.families.timpani.plan import TimpaniPlan, plan_timpani
from deskproof.families.timpani.planning import DrumsPlan
from deskproof.families.timpani.rules import ATTACCA
from deskproof.families.wording import listed
from deskproof.findings import Finding, Place
from deskproof.pitch import name

US = 1_000_000


def carry(before: Plan, after: Plan, seam: Seam) -> Iterator[Carried]:
    """The drums retuned between two movements of one timpani part; where there is no time for it, a finding."""
    if not isinstance(before, DrumsPlan) or not isinstance(after, DrumsPlan):
        return
    if before.drums is None or after.drums is None or before.reading is None or after.reading is None:
        return
    stands = _at_the_end(before.drums)
    wanted = after.drums.initial
    moves = [drum for drum in _struck(before.drums) & _struck(after.drums) if stands[drum] != wanted[drum]]
    finding = _finding(stands, before, after, seam) if seam.attacca else None
    if moves or finding is not None:
        yield Carried(after.reading.part, f"the drums go from {_tuning(stands)} to {_tuning(wanted)}", finding)


def _at_the_end(plan: TimpaniPlan) -> dict[str, int]:
    stands = {**plan.initial, **{one.drum: one.after for one in plan.retunings}}
    return {drum: pitch for drum, pitch in stands.items() if drum in _struck(plan)}


def _struck(plan: TimpaniPlan) -> set[str]:
    """The drums that are struck; all others may be tuned at any time."""
    return {drum for row in plan.drums for drum in row if drum is not None}


def _tuning(stands: Mapping[str, int]) -> str:
    return ", ".join(name(pitch) for pitch in sorted(stands.values()))


def _finding(stands: Mapping[str, int], before: DrumsPlan, after: DrumsPlan, seam: Seam) -> Finding | None:
    """Both movements planned as one: what then no longer goes, or only in a hurry."""
    assert before.reading is not None and before.drums is not None
    assert after.reading is not None and after.drums is not None and after.settings is not None
    reading, events, count = after.reading, after.reading.events, len(before.reading.events)
    if before.settings is None or before.settings.drums != after.settings.drums:
        return None  # other drums: they stand ready beside the first
    offset_us = seam.offset_us
    later = [event._replace(t_us=event.t_us + offset_us) for event in events]
    whole = plan_timpani([*before.reading.events, *later], after.settings)

    def more(figure: str) -> bool:
        assert before.drums is not None and after.drums is not None
        return whole[figure].value > before.drums[figure].value + after.drums[figure].value

    if more("unplanned"):
        known = {gap.event + count for gap in after.drums.unplanned}
        lost = [gap.event - count for gap in whole.unplanned if gap.event >= count and gap.event not in known]
        i = min(lost, default=0)
        level = "impossible" if seam.after.frame.clock.tempo_at_us(events[i].t_us).fixed else "hard"
    elif more("quick_retunings"):
        i, level = 0, "hard"
    else:
        return None
    part = seam.after.score.parts[reading.part]
    event = reading.strokes[i][0][0]
    have_us = max(0, offset_us + events[i].t_us - before.reading.events[-1].end_us)
    return ATTACCA.at(
        Place(reading.part, event.note.staff, event.measure, event.note.start, event.pass_), reading.refs(part.id, i),
        level, stands=_tuning(stands), notes_named=listed([name(pitch) for pitch in events[i].pitches]),
        have=f"{have_us / US:.1f}", have_us=have_us,
    )  # fmt: skip
