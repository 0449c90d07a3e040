"""From a plan of the players to findings: changes without time, players wanted twice, what the page does not say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from deskproof import facts, instruments, words
from deskproof.families.base import Context, Plan
from deskproof.families.players import rules
from deskproof.families.players.counted import divided, too_few
from deskproof.families.players.others import takers
from deskproof.families.players.places import Places
from deskproof.families.players.planning import Cast, PlayersPlan, each_its_own
from deskproof.families.players.reading import KEYBOARDS, PERCUSSION, US, group_of, need_us
from deskproof.families.players.record import Clash, Stretch
from deskproof.findings import Finding
from deskproof.instruments import Instrument, by_id
from deskproof.spans import Span

OCTAVE = 12
IMPOSSIBLE, HARD = "impossible", "hard"


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of a score's players."""
    if context.forces.sections:
        yield from divided(context)
    if not isinstance(plan, PlayersPlan):
        return
    checker = _Checker(plan, context)
    for cast in plan.casts:
        yield from checker.of_cast(cast)
    yield from checker.within_parts()
    yield from too_few(plan, context, checker.places)


class _Checker:
    def __init__(self, plan: PlayersPlan, context: Context) -> None:
        self.plan, self.context = plan, context
        self.places = Places(plan, context)

    # groups

    def of_cast(self, cast: Cast) -> Iterator[Finding]:
        """What the players of a group cannot do."""
        if cast.named:
            for clash in cast.rota.clashes:
                if len({one.line for one in clash.stretches}) < len(clash.stretches):
                    continue  # a part that changes its own instrument is told by itself
                yield self._nobody(cast, clash) if len(clash.stretches) < 2 else self._clash(cast, clash)
        elif cast.group.name == KEYBOARDS:
            yield from self._second_keyboard(cast)

    def _second_keyboard(self, cast: Cast) -> Iterator[Finding]:
        """Where the keyboards need more players than there are parts for one and the same instrument."""
        for clash in cast.rota.clashes:
            before, after = clash.stretches
            if by_id(before.instrument).kind == by_id(after.instrument).kind:
                continue
            place, notes = self.places.at(cast, after)
            yield rules.SECOND.at(
                place, notes, fold=("second", before.line, after.line), near=None, before=self._called(cast, before),
                after=self._called(cast, after), short=self._apart(before, after), lack_us=clash.short_us,
                **_where(cast, before, after),
            )  # fmt: skip

    def _clash(self, cast: Cast, clash: Clash) -> Finding:
        before, after = clash.stretches
        right = cast.group.name == KEYBOARDS and self._one_hand_each(cast, clash)
        free_us = after.from_us - before.to_us
        never = free_us < US * int(facts.get("players.change_never").value)
        fixed = free_us < 0 or self._fixed(after.from_us)
        level = IMPOSSIBLE if never and fixed and not right else HARD
        otherwise = " The two stand at right angles, and each needs one hand." if right else ""
        place, notes = self.places.at(cast, after)
        return rules.CLASH.at(
            place, notes, level=level, fold=("clash", clash.players, before.line, after.line), near=None,
            who=clash.players[0], before=self._called(cast, before), after=self._called(cast, after),
            short=self._apart(before, after), lack_us=clash.short_us, otherwise=otherwise,
            **_where(cast, before, after), takers=self._takers(cast, after),
        )  # fmt: skip

    def _takers(self, cast: Cast, stretch: Stretch) -> list[str]:
        """Who else could take a stretch as it stands: by their names, or without them by their parts.

        Where the forces name nobody, the first player of a group is left out: first players keep to their instrument.
        """
        rota = cast.rota if cast.named else each_its_own(cast.group)
        found = [one.player for one in takers(rota, cast.players, stretch, cast.need)]
        if cast.named:
            return found
        first = next(iter(cast.group.parts))
        parts = self.context.score.parts
        names = [parts[cast.group.parts[line]].name for line in found if line != first and line in cast.group.parts]
        return [name for name in dict.fromkeys(names) if name]

    def _called(self, cast: Cast, stretch: Stretch) -> str:
        """A stretch by the name of its part, and its instrument where the part has several."""
        name = self.context.score.parts[cast.group.parts[stretch.line]].name or stretch.line
        others = {one.instrument for one in cast.group.stretches if one.line == stretch.line}
        return f"{name} ({by_id(stretch.instrument).name})" if len(others) > 1 else name

    def _nobody(self, cast: Cast, clash: Clash) -> Finding:
        one = clash.stretches[0]
        place, notes = self.places.at(cast, one)
        name = by_id(one.instrument).name
        return rules.NOBODY.at(place, notes, fold=("nobody", one.instrument), near=None, instrument=name)

    def _one_hand_each(self, cast: Cast, clash: Clash) -> bool:
        """Whether two keyboards stand at right angles for their player, and each asks for one hand at a time."""
        player = next((p for p in self.context.forces.players if p.name == clash.players[0]), None)
        if player is None or not player.right_angles:
            return False
        from_us, to_us = clash.stretches[1].from_us, min(one.to_us for one in clash.stretches)
        most = int(facts.get("keys.notes_a_hand").value)
        for one in clash.stretches:
            chords: dict[int, list[float]] = {}
            for event in self.places.events(cast, one):
                t_us, end_us = self.context.frame.times_us(event)
                if end_us > from_us and t_us < to_us and event.sounding is not None:
                    chords.setdefault(t_us, []).append(event.sounding)
            if any(len(keys) > most or max(keys) - min(keys) > OCTAVE for keys in chords.values()):
                return False
        return True

    def _apart(self, before: Stretch, after: Stretch) -> str:
        """How two stretches lie to each other, in words."""
        free_us = after.from_us - before.to_us
        if free_us < 0:
            return f"they sound together for {-free_us / US:.1f} s"
        need, _ = need_us(before.instrument, after.instrument, self._group(before), self.context)
        return f"{free_us / US:.1f} s lie between, {need / US:g} are wanted at the least"

    @staticmethod
    def _group(stretch: Stretch) -> str:
        return group_of(by_id(stretch.instrument))

    # parts that change their instrument

    def within_parts(self) -> Iterator[Finding]:
        """Changes of instrument within one printed part."""
        for rows in self.places.by_part.values():
            for before, after in pairwise(rows):
                one, other = before.instrument, after.instrument
                if one is None or other is None or one.id == other.id:
                    continue
                group = group_of(other)
                if group == PERCUSSION or group != group_of(one) or not group:
                    continue
                yield from self._change(before, after, one, other, group)
                if one.kind != other.kind:
                    yield from self._words(before, after, other)

    def _words(self, before: Span, after: Span, other: Instrument) -> Iterator[Finding]:
        """What the page lacks of words where a part goes over to another instrument."""
        signs = self._naming(before, after, other)
        place, notes = self.places.first_notes(after)
        if not signs:
            yield rules.UNSAID.at(place, notes, fold=("unsaid", other.id), near=None, after=other.name)
        elif all(at >= (place.measure, place.start) for at, _ in signs):
            start_us = min(self.context.frame.times_us(event)[0] for event in after.events)
            free_us = start_us - self._ends(before)
            if free_us > 0:
                yield rules.UNANNOUNCED.at(
                    place, notes, fold=("late", other.id), near=None, after=other.name, text=signs[0][1],
                    have=f"{free_us / US:.1f}",
                )  # fmt: skip

    def _change(
        self, before: Span, after: Span, one: Instrument, other: Instrument, group: str
    ) -> Iterator[Finding]:
        frame = self.context.frame
        end_us = max(frame.times_us(event)[1] for event in before.events)
        start_us = min(frame.times_us(event)[0] for event in after.events)
        free_us = start_us - end_us
        need, easy = need_us(one.id, other.id, group, self.context)
        if free_us >= need or not self._told(start_us):
            return
        never = free_us < US * int(facts.get("players.change_never").value)
        level = IMPOSSIBLE if never and (free_us < 0 or self._fixed(start_us)) else HARD
        place, notes = self.places.first_notes(after)
        last = max(before.events, key=lambda event: event.end)
        free_us = max(free_us, 0)
        line = self.context.score.parts[after.part].id
        who = [
            taker
            for cast in self.plan.casts
            for stretch in cast.group.stretches
            if stretch.line == line and stretch.instrument == other.id and stretch.from_us <= start_us <= stretch.to_us
            for taker in self._takers(cast, stretch)
        ]
        yield rules.CHANGE.at(
            place, (*notes, *self.places.refs([last], before.part)), level=level,
            fold=("change", one.id, other.id, place.measure), near=0,
            before=one.name, after=other.name, have=f"{free_us / US:.1f}", need=f"{need / US:g}", easy=f"{easy / US:g}",
            are="is" if free_us == US else "are", lack_us=need - free_us, need_us=need,
            lines=[line] * 2, instruments=[one.id, other.id],
            before_us=[frame.times_us(before.events[0])[0], end_us], after_us=[start_us, self._ends(after)],
            takers=list(dict.fromkeys(who)),
        )  # fmt: skip

    def _ends(self, span: Span) -> int:
        return max(self.context.frame.times_us(event)[1] for event in span.events)

    def _naming(self, before: Span, after: Span, other: Instrument) -> list[tuple[tuple[int, int], str]]:
        """The words on the page that name the new instrument, from the last note before it to its entry."""
        part = self.context.score.parts[after.part]
        first = min(after.events, key=lambda event: event.onset)
        last = max(before.events, key=lambda event: event.onset)
        bars = int(facts.get("players.words_before").value)
        low = min(last.measure, first.measure - bars)
        return [
            ((measure.index, sign.start), sign.value)
            for measure in part.measures[max(0, low) : first.measure + 1]
            for sign in measure.directions
            if sign.kind in ("words", "rehearsal") and not sign.hidden and _names(sign.value, other)
        ]

    def _fixed(self, t_us: int) -> bool:
        return self.context.frame.clock.tempo_at_us(t_us).fixed

    def _told(self, t_us: int) -> bool:
        return self.context.frame.clock.tempo_at_us(t_us).told


def _where(cast: Cast, before: Stretch, after: Stretch) -> dict[str, Any]:
    """Two stretches as the figures of a finding."""
    return {
        "need_us": cast.need(before.instrument, after.instrument)[0] if before.instrument != after.instrument else 0,
        "lines": [before.line, after.line],
        "instruments": [before.instrument, after.instrument],
        "before_us": [before.from_us, before.to_us],
        "after_us": [after.from_us, after.to_us],
    }


def _names(text: str, instrument: Instrument) -> bool:
    """Whether words name an instrument, in any of the languages that the tables know."""
    for meaning in words.meanings(text):
        if meaning.kind == "instrument":
            found = instruments.by_name(meaning.value)
            return found is None or found.kind == instrument.kind
    return any(one.kind == instrument.kind for one in instruments.all_in_name(text))
