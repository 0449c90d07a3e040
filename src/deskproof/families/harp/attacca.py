"""From one movement to the next: how the pedals stand at the end, and what has to move before the next notes."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof.families.base import Carried, Plan, Seam
from deskproof.families.harp.model import LEFT, LETTERS, Onset
from deskproof.families.harp.plan import Joint, PedalPlan, plan_pedals
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.rules import ATTACCA
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.wording import SIGNS, place_of, refs_of
from deskproof.families.wording import listed
from deskproof.findings import Finding

US = 1_000_000


def carry(before: Plan, after: Plan, seam: Seam) -> Iterator[Carried]:
    """The pedals that move between two movements of one harp part; where there is no time for it, a finding."""
    if not isinstance(before, HarpPlan) or not isinstance(after, HarpPlan):
        return
    if before.pedals is None or after.pedals is None or before.reading is None or after.reading is None:
        return
    if not before.reading.onsets or not after.reading.onsets:
        return
    first, then = before.pedals, after.pedals
    stands = first.standing(before.reading.onsets[-1].t_us + 1)
    both = [letter for letter in LETTERS if letter in _used(first) and letter in _used(then)]
    moves = [letter for letter in both if stands[letter] != then.initial[letter]]
    finding = _finding(stands, moves, before, after, seam) if seam.attacca else None
    if moves or finding is not None:
        free = {letter: then.initial[letter] for letter in LETTERS if letter not in _used(first)}
        says = f"the harp goes from {setting_text({**stands, **free})} to {setting_text(then.initial)}"
        yield Carried(after.reading.part, says, finding)


def _used(plan: PedalPlan) -> set[str]:
    """The letters that are played, or moved; all others may stand anywhere."""
    played = {note.string.letter for row in plan.notes for note in row if note is not None and note.pedal}
    return played | {change.pedal for change in plan.changes}


def _finding(
    stands: dict[str, int], moves: list[str], before: HarpPlan, after: HarpPlan, seam: Seam
) -> Finding | None:
    """Both movements planned as one: what then no longer goes, or only in a hurry."""
    assert before.pedals is not None and before.reading is not None
    assert after.pedals is not None and after.settings is not None and after.reading is not None
    count, reading, settings = len(before.reading.onsets), after.reading, after.settings
    onsets, damps, joints, beats = _as_one(before.reading, reading, seam.offset_us)
    whole = plan_pedals(onsets, settings, damps, joints, beats)

    def more(name: str) -> bool:
        assert before.pedals is not None and after.pedals is not None
        return whole[name].value > before.pedals[name].value + after.pedals[name].value

    if more("impossible"):
        known = {gap.onset + count for gap in after.pedals.unplanned}
        lost = [gap.onset - count for gap in whole.unplanned if gap.onset >= count and gap.onset not in known]
        i = min(lost, default=0)
        level = "impossible" if seam.after.frame.clock.tempo_at_us(reading.onsets[i].t_us).fixed else "hard"
    elif more("quick_changes"):
        i, level = 0, "hard"
    else:
        return None
    then = after.pedals.initial
    said = [f"{letter}{SIGNS[stands[letter]]} to {letter}{SIGNS[then[letter]]}" for letter in moves]
    have_us = seam.offset_us + reading.onsets[i].t_us - before.reading.onsets[-1].t_us
    left = sum(letter in LEFT for letter in moves)
    part, plucked = seam.after.score.parts[reading.part], reading.plucked[i]
    return ATTACCA.at(
        place_of(reading, plucked[0].events[0]), refs_of(part, plucked), level,
        moves=f": {listed(said)}" if said else "", have=f"{have_us / US:.1f}", have_us=have_us,
        feet=f", for {left} by the left foot and {len(moves) - left} by the right" if said else "",
        each=f"{settings.comfortable_us / US:g}",
    )  # fmt: skip


def _as_one(
    one: Reading, two: Reading, offset_us: int
) -> tuple[list[Onset], list[tuple[int, str]], list[Joint], list[int]]:
    """Onsets, damping signs, joints and beats of two movements, the second so much later."""
    onsets = list(one.onsets)
    for onset in two.onsets:
        notes = tuple(note._replace(key=("second", note.key)) for note in onset.notes)
        onsets.append(onset._replace(t_us=onset.t_us + offset_us, notes=notes, group=len(onsets)))
    damps = [*one.damps, *((t_us + offset_us, letters) for t_us, letters in two.damps)]
    joints = [*one.joints, *(Joint(*(t_us + offset_us for t_us in row)) for row in two.joints)]
    return onsets, damps, joints, [*one.beats, *(t_us + offset_us for t_us in two.beats)]
