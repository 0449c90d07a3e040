"""What is printed for a player at a keyboard when asked: fingers, and the damper pedal where notes need it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from deskproof.edits import AddPedal, AddWords, Edit, SetMark
from deskproof.families.base import Context, Help, Plan
from deskproof.families.keyboard.fingering import fingers_of
from deskproof.families.keyboard.pedal_proposals import proposal
from deskproof.families.keyboard.planning import KeyboardPlan
from deskproof.families.keyboard.reading import refs
from deskproof.score import Part
from deskproof.timeline import Frame

WORDS = "con Ped."


def printed_help(plan: Plan, context: Context, asked: Help) -> Sequence[Edit]:
    """The edits that print fingers and damper pedals.

    Parameters
    ----------
    plan : Plan
    context : Context
    asked : Help
        Of it ``fingering``, and ``damper``: lines, words or none.
    """
    if not isinstance(plan, KeyboardPlan) or plan.reading is None:
        return ()
    part = context.score.parts[plan.reading.part]
    edits: list[Edit] = []
    if asked.fingering:
        edits += _fingers(plan, part)
    if asked.damper == "lines":
        edits += _lines(plan, part, context)
    elif asked.damper == "words":
        edits += _words(plan, part, context)
    return edits


def _fingers(plan: KeyboardPlan, part: Part) -> Iterator[Edit]:
    """The finger of each note that has no figure yet, as it is first played."""
    assert plan.reading is not None
    done = set()
    for row, fingers in zip(plan.reading.onsets, fingers_of(plan), strict=True):
        for key, own in zip(row, fingers, strict=True):
            event = key.event
            ref = refs(part, [key])[0]
            plain = event.sounding == key.key and event.note.marked("fingering") is None
            if own and plain and ref not in done:
                done.add(ref)
                yield SetMark(ref, "fingering", str(own[0]))


def _words(plan: KeyboardPlan, part: Part, context: Context) -> Iterator[Edit]:
    """The words at the first note that needs the pedal."""
    one = proposal(plan, context)
    needs = [need for need in one.needs if need not in one.instead]
    if needs:
        event = one.of[min(needs[0].keys)].event
        yield AddWords(part.id, event.measure, event.note.start, part.staves, WORDS, "below")


def _lines(plan: KeyboardPlan, part: Part, context: Context) -> Iterator[Edit]:
    """A line for each time the pedal is down; where it is lifted and pressed again, a change."""
    one = proposal(plan, context)
    signs: dict[tuple[int, int], str] = {}
    ups = {press.up_us for press in one.dampers}
    for press in one.dampers:
        down, up = _place(press.down_us, context.frame), _place(press.up_us, context.frame)
        if down is None or up is None or down == up:
            continue
        signs[down] = "change" if press.down_us in ups and signs.get(down) == "stop" else "start"
        signs[up] = "stop"
    for (measure, start), kind in sorted(signs.items()):
        yield AddPedal(part.id, measure, start, part.staves, kind, line=True)


def _place(us: int, frame: Frame) -> tuple[int, int] | None:
    """Measure and tick of a time in the first playing of a measure; None in a later one."""
    tick = frame.clock.tick_at(us)
    if frame.clock.floor_us(tick) < us:
        tick += 1
    k = bisect_right([play.onset for play in frame.plays], tick) - 1
    if k < 0:
        return None
    play = frame.plays[k]
    if tick == play.onset and k and frame.plays[k - 1].measure + 1 != play.measure:
        return None
    return (play.measure, min(tick - play.onset, play.length)) if play.pass_ == 1 else None
