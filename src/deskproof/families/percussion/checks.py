"""From a plan of a percussion part to findings."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from deskproof import facts, pitch
from deskproof.families.base import Context, Plan
from deskproof.families.percussion import rules
from deskproof.families.percussion.at_once import (
    TWO,
    Change,
    busy_until_us,
    change,
    hands,
    is_kit,
    named_in,
    other_sticks,
    taken,
    takes_both,
)
from deskproof.families.percussion.damping import DAMPED, Ring, ringing
from deskproof.families.percussion.free_hand import Free, busy, free
from deskproof.families.percussion.mallets import APART, LEAP, Trouble
from deskproof.families.percussion.planning import OnBars, PercussionPlan, a_hand
from deskproof.families.percussion.setup import name_of, place_of
from deskproof.families.percussion.strokes import GRACE, ROLL, Reading, Stroke, refs
from deskproof.families.wording import listed
from deskproof.findings import Finding
from deskproof.score import Part
from deskproof.spans import Span

US = 1000
NEAR = 2  # measures; findings of one kind that stand closer belong to one passage
IMPOSSIBLE, HARD = "impossible", "hard"
_SIDES = {"L": "left", "R": "right"}


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of one percussion part, one for each place."""
    if not isinstance(plan, PercussionPlan) or plan.reading is None:
        return
    checker = _Checker(plan, plan.reading, context)
    for one in checker.findings():
        if context.measures is None or one.place.measure in context.measures:
            yield one


class _Checker:
    def __init__(self, plan: PercussionPlan, reading: Reading, context: Context) -> None:
        self.plan, self.reading, self.context = plan, reading, context
        self.part: Part = context.score.parts[reading.part]
        self.late: list[int] = []  # when another instrument is entered too soon
        self.onsets = [row for onset in reading.onsets if (row := _without_graces(onset))]

    def findings(self) -> Iterator[Finding]:
        """All findings."""
        yield from self._rolls()
        if self.context.score.source != "midi":
            yield from self._unnamed()
        for keyboard in self.plan.keyboards:
            yield from self._too_many(keyboard)
            for trouble in keyboard.mallets.troubles:
                yield from self._leap(keyboard, trouble) if trouble.kind == LEAP else self._reach(keyboard, trouble)
        if self.reading.players == 1:
            yield from self._at_once()
            yield from self._changes()
            yield from self._damped()

    # tempo

    def _told(self, t_us: int) -> bool:
        """Whether anything tells the tempo; where nothing does, nothing is too fast."""
        return self.context.frame.clock.tempo_at_us(t_us).told

    def _fixed(self, t_us: int) -> bool:
        return self.context.frame.clock.tempo_at_us(t_us).fixed

    def _goes(self, t_us: int, factor: float) -> str:
        qpm = float(self.context.frame.clock.tempo_at_us(t_us).qpm) * factor
        return f" It goes up to ♩ = {qpm:.0f}." if factor > 0 else ""

    # mallet keyboards

    def _too_many(self, keyboard: OnBars) -> Iterator[Finding]:
        three = int(facts.get("mallets.a_hand_most").value)
        two = int(facts.get("mallets.a_hand").value)
        for row in keyboard.onsets:
            each, count = a_hand(keyboard.instrument, row), len({stroke.key for stroke in row})
            if count <= TWO * each:
                continue
            most = three if keyboard.instrument in named_in("mallets.four_usual") else two
            if count > TWO * most:
                level, reason = IMPOSSIBLE, f"two hands hold {TWO * most} mallets there at most"
            elif count > TWO * two:
                level, reason = HARD, "three mallets in a hand are wanted, which few players do"
            elif any(stroke.mallets for stroke in row):
                level, reason = HARD, f"the part asks for {TWO * each} mallets"
            else:
                level, reason = HARD, "players take two mallets to it unless four are asked for"
            yield rules.MALLETS.at(
                place_of(self.reading, row[0].event), refs(self.part, row), level,
                fold=("mallets", keyboard.instrument, reason), instrument=name_of(keyboard.instrument),
                count_bars=count, have=TWO * each, over=count - TWO * each, reason=reason,
            )  # fmt: skip

    def _reach(self, keyboard: OnBars, trouble: Trouble) -> Iterator[Finding]:
        row = _of(keyboard.onsets[trouble.onset], trouble.keys)
        what = "the two hands" if trouble.kind == APART else f"the {_SIDES[trouble.hand]} hand"
        yield rules.REACH.at(
            place_of(self.reading, row[0].event), refs(self.part, row), IMPOSSIBLE if trouble.impossible else HARD,
            fold=("reach", trouble.kind, keyboard.instrument), near=NEAR, instrument=name_of(keyboard.instrument),
            bars=_bars(row), what=what, mm=trouble.have, easy_mm=trouble.easy, over=trouble.have - trouble.easy,
            is_easy="is as far as two arms go" if trouble.kind == APART else "is reached easily",
        )  # fmt: skip

    def _leap(self, keyboard: OnBars, trouble: Trouble) -> Iterator[Finding]:
        row = _of(keyboard.onsets[trouble.onset], trouble.keys)
        t_us = row[0].t_us
        if not self._told(t_us):
            return
        if trouble.mm == 0 and len(keyboard.onsets[trouble.onset]) == 1:
            return  # the same bar again: that is a roll, and both hands do it
        impossible = trouble.impossible and self._fixed(t_us)
        before = " and ".join(pitch.name(key) for key in trouble.before)
        yield rules.LEAP.at(
            place_of(self.reading, row[0].event), refs(self.part, row), IMPOSSIBLE if impossible else HARD,
            fold=("leap", keyboard.instrument), near=NEAR, instrument=name_of(keyboard.instrument),
            hand=_SIDES[trouble.hand], before=before, bars=_bars(row), mm=trouble.mm, have_us=trouble.have,
            have_ms=trouble.have // US, need_ms=-(-trouble.easy // US), over=trouble.easy - trouble.have,
            from_midi=trouble.before, to_midi=trouble.keys,
            factor=trouble.have / trouble.easy, goes=self._goes(t_us, trouble.have / trouble.easy),
        )  # fmt: skip

    # rolls and names

    def _rolls(self) -> Iterator[Finding]:
        for row in self.onsets:
            for stroke in row:
                if stroke.how != ROLL:
                    continue
                if stroke.instrument in named_in("mallets.never_rolled"):
                    level, reason = IMPOSSIBLE, "gives one blow and then has to be raised again"
                elif stroke.instrument in named_in("mallets.hardly_rolled"):
                    level, reason = HARD, "is struck one blow at a time"
                else:
                    continue
                yield rules.ROLL.at(
                    place_of(self.reading, stroke.event), refs(self.part, [stroke]), level,
                    fold=("roll", stroke.instrument), instrument=name_of(stroke.instrument), reason=reason,
                )  # fmt: skip

    def _unnamed(self) -> Iterator[Finding]:
        for row in self.reading.onsets:
            for stroke in row:
                if stroke.named.on_page or (stroke.event.note.kind != "unpitched" and not stroke.instrument):
                    continue
                behind = f"; the file calls it {name_of(stroke.instrument)}" if stroke.instrument else ""
                line = "it" if stroke.line in ("", "keys") else f"the line or space of {stroke.line}"
                yield rules.UNNAMED.at(
                    place_of(self.reading, stroke.event), refs(self.part, [stroke]),
                    fold=("unnamed", stroke.line, stroke.instrument), line=line, behind=behind,
                    instrument=stroke.instrument,
                )  # fmt: skip

    # one player

    def _at_once(self) -> Iterator[Finding]:
        kit = is_kit(self.reading.instruments)
        going: list[Stroke] = []
        for row in self.onsets:
            t_us = row[0].t_us
            going = [one for one in going if busy_until_us(one) > t_us and not _again(one, row)]
            together = [*going, *row]
            wanted = hands(together, kit)
            going += [one for one in row if busy_until_us(one) > t_us]
            names = list(dict.fromkeys(one.instrument for one in together))
            if wanted.easy <= TWO or (len(names) == 1 and together[0].key is not None):
                continue
            impossible = wanted.least > TWO
            yield rules.HANDS.at(
                place_of(self.reading, row[0].event), refs(self.part, together), IMPOSSIBLE if impossible else HARD,
                fold=("hands", *sorted(names)), what=listed([_said(name, together) for name in names]),
                hands=wanted.least if impossible else wanted.easy, over=wanted.easy - TWO,
                otherwise="" if impossible else ", or a roll of one hand, a hung cymbal or two sticks in one hand",
            )  # fmt: skip

    def _changes(self) -> Iterator[Finding]:
        for i in range(1, len(self.onsets)):
            before, after = self.onsets[i - 1], self.onsets[i]
            free_us, t_us = max(busy_until_us(one) for one in before), after[0].t_us
            have_us = max(0, t_us - free_us)
            if not self._told(t_us):
                continue
            yield from self._to_another(before, after, have_us)
            yield from self._to_other_sticks(i, have_us)

    def _to_another(
        self, before: Sequence[Stroke], after: Sequence[Stroke], have_us: int
    ) -> Iterator[Finding]:
        if not (takes_both(before) or takes_both(after)):
            return  # a hand for each
        kit = is_kit(self.reading.instruments) or self._stand_together([*before, *after])
        had = {one.instrument for one in before}
        old, new = _taken(before), _taken([one for one in after if one.instrument not in had])
        slowest = None if kit else change(old, new, self.context.forces)
        if slowest is None or have_us >= slowest.easy_us:
            return
        quick = have_us < slowest.quick_us and takes_both(before) and takes_both(after)
        level = IMPOSSIBLE if quick and self._fixed(after[0].t_us) else HARD
        self.late.append(after[0].t_us)
        entry = [one for one in after if taken(one) == slowest.after]
        yield rules.CHANGE.at(
            place_of(self.reading, entry[0].event), refs(self.part, entry), level,
            fold=("change", slowest.before, slowest.after), before=name_of(slowest.before),
            after=name_of(slowest.after), have_us=have_us, have_ms=have_us // US, need_ms=slowest.easy_us // US,
            quickest_ms=slowest.quick_us // US, over=slowest.easy_us - have_us,
        )  # fmt: skip

    def _stand_together(self, strokes: Sequence[Stroke]) -> bool:
        """Whether the part has these instruments struck at once somewhere: then they stand side by side."""
        wanted = {one.instrument for one in strokes}
        return any(wanted <= {one.instrument for one in row} for row in self.onsets)

    def _damped(self) -> Iterator[Finding]:
        """What is to be damped and is not; where going to another instrument is late anyway, only that is said."""
        rings = ringing(self.reading, self.context)
        kit = is_kit(self.reading.instruments)
        for name in dict.fromkeys(one.stroke.instrument for one in rings if one.how == DAMPED):
            if name in named_in("mallets.without_hand"):
                continue
            own = [row[0].t_us for row in self.onsets if any(one.instrument == name for one in row)]
            beside = {one.instrument for row in self.onsets for one in row if any(o.instrument == name for o in row)}
            at_work = busy(self.onsets, name, kit)
            apart = [there for row in self.onsets if (there := [one for one in row if one.instrument not in beside])]
            for ring in rings:
                if ring.how != DAMPED or ring.stroke.instrument != name:
                    continue
                t_us = ring.stroke.t_us
                if bisect_right(own, ring.until_us) > bisect_right(own, t_us):
                    continue  # it is struck again
                found = free(ring.stroke, ring.until_us, at_work, () if kit else apart, self._step)
                if found is None or found.have_us >= found.need_us or (found.have_us and not self._told(t_us)):
                    continue
                if found.elsewhere and any(t_us <= one <= ring.until_us + found.need_us for one in self.late):
                    continue
                yield self._undamped(ring, found)

    def _step(self, before: str, after: str) -> Change | None:
        return change((before,), (after,), self.context.forces)

    def _undamped(self, ring: Ring, found: Free) -> Finding:
        stroke, factor = ring.stroke, found.have_us / found.need_us
        reason = (
            f"the player has to be at the {name_of(found.elsewhere)}"
            if found.elsewhere
            else "both hands are at work elsewhere"
        )
        return rules.DAMP.at(
            place_of(self.reading, stroke.event), refs(self.part, [stroke]),
            fold=("damp", stroke.instrument), instrument=name_of(stroke.instrument), reason=reason,
            have_us=found.have_us, have_ms=found.have_us // US, need_ms=-(-found.need_us // US),
            over=found.need_us - found.have_us, goes=self._goes(stroke.t_us, factor),
        )  # fmt: skip

    def _to_other_sticks(self, i: int, have_us: int) -> Iterator[Finding]:
        need_us = US * int(facts.get("mallets.change_sticks").value)
        if have_us >= need_us:
            return
        for stroke in self.onsets[i]:
            last = next((one for one in self.onsets[i - 1] if other_sticks(one.sticks, stroke.sticks)), None)
            if last is None or not (self._both(i - 1, -1, need_us) or self._both(i, 1, need_us)):
                continue
            yield rules.STICKS.at(
                place_of(self.reading, stroke.event), refs(self.part, [stroke]),
                fold=("sticks", last.sticks, stroke.sticks), before=last.sticks, after=stroke.sticks,
                instrument=name_of(stroke.instrument) if stroke.instrument else "line", have_us=have_us,
                have_ms=have_us // US, need_ms=need_us // US, over=need_us - have_us,
            )  # fmt: skip
            return

    def _both(self, i: int, way: int, within_us: int) -> bool:
        """Whether both hands have the sticks of an onset: they roll, strike together, or strike again soon."""
        row, other = self.onsets[i], i + way
        if hands(row).easy >= TWO:
            return True
        if not 0 <= other < len(self.onsets):
            return False
        near = self.onsets[other]
        same = any(one.sticks == two.sticks for one in row for two in near)
        return same and abs(near[0].t_us - row[0].t_us) < within_us


def _without_graces(row: Sequence[Stroke]) -> tuple[Stroke, ...]:
    return tuple(stroke for stroke in row if stroke.how != GRACE)


def _taken(row: Sequence[Stroke]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(taken(one) for one in row if one.instrument))


def _again(going: Stroke, row: Sequence[Stroke]) -> bool:
    """Whether what is still going on is struck anew: the roll ends there."""
    return any((one.instrument, one.line, one.key) == (going.instrument, going.line, going.key) for one in row)


def _of(row: Sequence[Stroke], keys: Sequence[int]) -> list[Stroke]:
    return [stroke for stroke in row if stroke.key in keys]


def _bars(row: Sequence[Stroke]) -> str:
    return listed([pitch.name(stroke.key) for stroke in row if stroke.key is not None])


def _said(instrument: str, row: Sequence[Stroke]) -> str:
    """An instrument with how often it is struck at once, and whether it is rolled."""
    own = [one for one in row if one.instrument == instrument]
    times = f"{len(own)} strokes on " if len(own) > 1 else "a roll on " if own[0].rolls else ""
    return times + (name_of(instrument) if instrument else "what nothing names")
