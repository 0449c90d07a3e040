"""What a piano's pedals would do for a part: told and printed only when it is asked for.

Nothing is proposed where the composer has written the damper pedal, or has left it to the player.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from deskproof import facts
from deskproof.families.base import Context
from deskproof.families.keyboard import pedals, rules
from deskproof.families.keyboard.pedal_checks import undamped_from
from deskproof.families.keyboard.planning import WITH_DAMPER, KeyboardPlan, keys_of
from deskproof.families.keyboard.reading import Key, refs
from deskproof.families.keyboard.wording import NEAR, in_bars, name_of, notes_in_words, place_of
from deskproof.families.wording import listed
from deskproof.findings import Finding
from deskproof.timeline import Event

SHORT = ("staccato", "staccatissimo", "spiccato")


@dataclass(frozen=True, slots=True)
class Proposal:
    """Where the damper pedal is needed, what would serve, and what comes of it.

    ``keys`` are all keys of the part as the pedals meet them, ``of`` beside them the keys as read; the rest names keys
    by their ordinals. ``instead`` are needs that the sostenuto pedal would serve.
    """

    keys: tuple[pedals.Key, ...] = ()
    of: tuple[Key, ...] = ()
    needs: tuple[pedals.Need, ...] = ()
    dampers: tuple[pedals.Press, ...] = ()
    blurs: tuple[pedals.Blur, ...] = ()
    instead: tuple[pedals.Need, ...] = ()


def proposal(plan: KeyboardPlan, context: Context) -> Proposal:
    """The pedals that a part needs beside those that are written; empty for an instrument without a damper pedal."""
    if plan.reading is None or plan.instrument not in WITH_DAMPER:
        return Proposal()
    keys, places = keys_of(plan)
    of = [plan.reading.onsets[i][n] for i, n in places]
    end_us = context.frame.clock.ceil_us(context.frame.length)
    pressed = pedals.presses(plan.signs, end_us)
    undamped = undamped_from(plan.instrument)
    written = [press for press in pressed if press.pedal == pedals.DAMPER]
    free_us = min([s.t_us for s in plan.signs if s.free and s.pedal == pedals.DAMPER], default=end_us + 1)
    needs = [
        need
        for need in pedals.needs_damper(keys, pressed, undamped)
        if need.from_us < free_us
        and not any(press.down_us < need.to_us and need.from_us < press.up_us for press in written)
    ]
    short = {n for n, key in enumerate(of) if any(key.event.note.marked(kind) for kind in SHORT)}
    instead = [
        need
        for need in needs
        if "sostenuto" in facts.get(f"{plan.instrument}.pedals").value
        and pedals.sostenuto_instead(keys, need, short, pressed) is not None
    ]
    served = [need for need in needs if need not in instead]
    dampers = pedals.proposed_dampers(keys, served)
    steps = frozenset(facts.get("pedals.blur_steps").value)
    blurs = [
        blur
        for blur in pedals.blurs(keys, [*pressed, *dampers], steps)
        if abs(keys[blur.held].midi - keys[blur.struck].midi) in steps  # a ninth away from a bass is nothing
    ]
    return Proposal(tuple(keys), tuple(of), tuple(needs), dampers, tuple(blurs), tuple(instead))


def proposal_findings(plan: KeyboardPlan, context: Context) -> Iterator[Finding]:
    """The same as advice, if the forces ask for it."""
    player = context.forces.playing(plan.instrument)
    if not context.forces.pedals and not (player is not None and player.pedals):
        return
    one = proposal(plan, context)
    assert plan.reading is not None
    part = context.score.parts[plan.reading.part]

    def bar(event: Event) -> str:
        return part.measures[event.measure].number

    for need in one.needs:
        rows = [one.of[n] for n in need.keys]
        first, last = rows[0], max(rows, key=lambda key: key.until_us)
        if need in one.instead:
            yield rules.SOSTENUTO_HELPS.at(
                place_of(plan.reading, first.event), refs(part, rows), fold="sostenuto", near=NEAR,
                keys=_few(rows), until=bar(last.event),
            )  # fmt: skip
            continue
        yield rules.NEEDS_DAMPER.at(
            place_of(plan.reading, first.event), refs(part, rows), fold="needs", near=NEAR,
            held=len(rows), held_words=notes_in_words(len(rows)), since=bar(first.event), until=bar(last.event),
            bars=in_bars(bar(first.event), bar(last.event)),
        )  # fmt: skip
    first_held = {blur.struck: blur for blur in reversed(one.blurs)}
    for blur in sorted(first_held.values(), key=lambda blur: (blur.t_us, blur.struck)):
        held, struck = one.of[blur.held], one.of[blur.struck]
        yield rules.BLUR.at(
            place_of(plan.reading, struck.event), refs(part, [struck, held]), fold="blur", near=NEAR,
            held=name_of(held), struck=name_of(struck), blurred=1, times="",
        )  # fmt: skip


def _few(rows: Sequence[Key]) -> str:
    return listed(list(dict.fromkeys(name_of(key) for key in rows)))
