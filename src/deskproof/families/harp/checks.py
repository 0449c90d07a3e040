"""From a plan of the pedals to findings and mends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from deskproof import words
from deskproof.families.base import Context, Plan
from deskproof.families.harp import rules
from deskproof.families.harp.conflict import Known, clash
from deskproof.families.harp.effects import effect_findings
from deskproof.families.harp.either import HARP, as_alternative, for_either
from deskproof.families.harp.hand_checks import hand_findings
from deskproof.families.harp.harmonics import harmonic_findings
from deskproof.families.harp.model import LETTERS, Settings, choices, hands_take
from deskproof.families.harp.plan import Change, PedalPlan
from deskproof.families.harp.planning import HarpPlan, harmonics_of
from deskproof.families.harp.reading import Plucked, Reading, refs
from deskproof.families.harp.ringing import Times, heard
from deskproof.families.harp.setting_checks import setting_findings
from deskproof.families.harp.sharing import DIVISIBLE, Places, in_words
from deskproof.families.harp.spelling import spelling_findings
from deskproof.families.harp.sweep_checks import sweep_findings
from deskproof.families.harp.trill_signs import trill_findings
from deskproof.families.harp.two_strings import two_string_findings
from deskproof.families.harp.wording import NEAR, SIGNS, UpTo, place_of, refs_of, written_name
from deskproof.findings import Finding, Place
from deskproof.pitch import name
from deskproof.score import NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of one harp part, one for each place."""
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or plan.settings is None:
        return
    checker = _Checker(plan, plan.reading, plan.pedals, plan.settings, context)
    found = checker.findings()
    if for_either(checker.part.name):
        declared = any(s.instrument is not None and s.instrument.kind == HARP for s in plan.spans)
        found = list(as_alternative(found, declared))
    for one in found:
        if context.measures is None or one.place.measure in context.measures:
            yield one


class _Checker:
    def __init__(
        self, plan: HarpPlan, reading: Reading, pedals: PedalPlan, settings: Settings, context: Context
    ) -> None:
        self.plan, self.reading, self.pedals, self.settings, self.context = plan, reading, pedals, settings, context
        self.part: Part = context.score.parts[reading.part]
        self.times = [onset.t_us for onset in reading.onsets]
        self.harps = words.how_many(self.part.name)
        self.known: Known = {}
        self.unplanned = {
            (event.measure, event.note.n)
            for left in pedals.unplanned
            if left.note is not None
            for event in reading.plucked[left.onset][left.note].events
        }
        self.time_of = {
            ref: onset.t_us
            for onset, row in zip(reversed(reading.onsets), reversed(reading.plucked), strict=True)
            for one in row
            for ref in refs(self.part, one)
        }

    def findings(self) -> list[Finding]:
        """All findings in order of kind."""
        refused = self._among_harps([*self._left_out(), *self._odd()])
        found = [*refused, *self._following([*self._quick(), *self._let_go(), *self._hands()], refused)]
        if self.plan.hands is not None:
            tempo = UpTo(self._fixed_tempo, self._goes)
            found += harmonic_findings(
                self.reading, self.plan.hands, self.part, tempo, harmonics_of(self.context)
            )  # fmt: skip
            found += effect_findings(self.reading, self.plan.hands, self.part, tempo)
            found += two_string_findings(self.reading, self.part, self.plan.pairs, self.settings)
        if self.context.score.source == "musicxml":
            found += sweep_findings(self.reading, self.pedals, self.part, self._fixed_tempo)
            found += self._ringing()
            found += trill_findings(self.reading, self.pedals, self.part)
            found += spelling_findings(self.reading, self.pedals, self.settings, self.part)
            found += setting_findings(self.reading, self.pedals, self.part, self.context, self.unplanned)
        return found

    def _following(self, found: Sequence[Finding], refused: Sequence[Finding]) -> Iterator[Finding]:
        """The findings, with those between the notes of a clash marked as following from it."""
        spans = [
            (min(times), max(times), one.rule.id)
            for one in refused
            if (times := [self.time_of[ref] for ref in one.notes if ref in self.time_of])
        ]
        for one in found:
            times = [self.time_of[ref] for ref in one.notes if ref in self.time_of]
            cause = next((id_ for low, high, id_ in spans if times and low <= min(times) <= high), "")
            yield replace(one, because=cause) if cause else one

    def _hands(self) -> Iterator[Finding]:
        if self.plan.hands is not None:
            yield from hand_findings(self.plan.hands, self.reading, self.part, self._fixed_tempo, self._goes)

    def _ringing(self) -> Iterator[Finding]:
        others = [part for part in self.context.score.parts if part is not self.part]
        for (change, ring), loudness in heard(self.plan.ringing, self.reading, self.part, others, Times.from_facts()):
            one = self.reading.plucked[ring.onset][ring.note]
            after_us = change.t_us - ring.t_us
            yield rules.RINGS.at(
                self._place(one.events[0]), self._refs([one]), fold="rings", near=2 * NEAR, pedal=change.pedal,
                before=f"{change.pedal}{SIGNS[change.before]}", after=f"{change.pedal}{SIGNS[change.after]}",
                after_ms=after_us // 1000, after_us=after_us, note_name=written_name(one), loudness=loudness,
                string=str(ring.string),
            )  # fmt: skip

    # places and words

    def _place(self, event: Event) -> Place:
        return place_of(self.reading, event)

    def _first(self, onset: int) -> Event:
        return self.reading.plucked[onset][0].events[0]

    def _fixed_tempo(self, t_us: int) -> bool:
        return self.context.frame.clock.tempo_at_us(t_us).fixed

    def _goes(self, t_us: int, factor: Fraction | float | None) -> str:
        """Up to which tempo it would go, in words; empty where no tempo helps."""
        if factor is None or factor <= 0:
            return ""
        tempo = self.context.frame.clock.tempo_at_us(t_us)
        return f" It goes up to ♩ = {float(tempo.qpm) * float(factor):.0f}."

    # what has no place in the plan

    def _left_out(self) -> Iterator[Finding]:
        by_onset: dict[int, list[int]] = {}
        for unplanned in self.pedals.unplanned:
            if unplanned.note is not None:
                by_onset.setdefault(unplanned.onset, []).append(unplanned.note)
        for onset, notes in sorted(by_onset.items()):
            rest = []
            for n in notes:
                one = self.reading.plucked[onset][n]
                finding = self._without_pedal(onset, n, one)
                if finding is not None:
                    yield finding
                elif choices(one.pitch, self.settings.fixed):
                    rest.append(n)
            if rest and not self._begins_with_graces(onset):
                yield from self._clash(onset, rest)

    def _begins_with_graces(self, onset: int) -> bool:
        """Whether grace notes stand before the first beat of all: no time before it is left to part them."""
        row = self.reading.plucked[onset]
        return self.times[onset] == 0 and any(event.grace for one in row for event in one.events)

    def _without_pedal(self, onset: int, n: int, one: Plucked) -> Finding | None:
        if choices(one.pitch, self.settings.fixed):
            return None
        strings = [c for c in choices(one.pitch, {}) if str(c.string) in self.settings.fixed]
        event = one.events[0]
        if not strings and (one.how != "trill" or one.pitch == event.sounding):
            return None  # not on a harp at all: the compass says so
        self.plan.why[onset, n] = rules.NO_PEDAL.id
        reason, string = "no string gives it, and the trill needs one", ""
        if strings:
            string = str(strings[0].string)
            tuned = f"{strings[0].string.letter}{SIGNS[self.settings.fixed[string]]}"
            reason = f"the {string} string has no pedal and is tuned to {tuned}"
        refs_of = self._refs([one])
        found = rules.NO_PEDAL.at(
            self._place(event), refs_of, fold=("string", string, one.pitch), note_name=name(one.pitch), reason=reason,
            string=string, sounding=one.pitch,
        )  # fmt: skip
        return replace(found, explains=frozenset(refs_of))

    def _odd(self) -> Iterator[Finding]:
        """Quarter tones and the like."""
        for event in self.reading.odd:
            yield rules.NO_PEDAL.at(
                self._place(event), (NoteRef(self.part.id, event.measure, event.note.n),), level="hard", fold="odd",
                note_name=str(event.note.pitch), string="", sounding=event.sounding,
                reason="pedals move by semitones, so that a string would have to be tuned to it beforehand",
            )  # fmt: skip

    def _refs(self, rows: Sequence[Plucked]) -> tuple[NoteRef, ...]:
        return refs_of(self.part, rows)

    def _clash(self, onset: int, notes: list[int]) -> Iterator[Finding]:
        row = self.reading.plucked[onset]
        lines = [choices(one.pitch, self.settings.fixed)[0].string.line for one in row]
        if len(row) > self.settings.together or not hands_take(
            lines, self.reading.onsets[onset].bracketed, self.settings
        ):
            yield self._chord(onset, notes)
            return
        found = clash(self.reading.onsets, onset, self.settings, self.reading.damps, self.known)
        if found is None:
            yield from self._after_setting(onset, notes)
            return
        group = [self.reading.plucked[o][n] for o, n in found.notes]
        rule = rules.CLUSTER if len({o for o, _ in found.notes}) == 1 else rules.TOO_FAST
        for n in notes:
            self.plan.why[onset, n] = rule.id
        t_us = self.times[onset]
        goes = self._goes(t_us, found.factor)
        sure = rule is rules.CLUSTER or self._fixed_tempo(t_us)
        yield rule.at(
            self._place(group[0].events[0] if group else self._first(onset)),
            self._refs(group or [row[n] for n in notes]),
            level="impossible" if sure else "hard",
            fold=(tuple(sorted(one.pitch for one in group)), found.says),
            group=found.group,
            reason=found.reason,
            goes=goes,
            span_us=found.span_us,
            pitches=[one.pitch for one in group],
            factor=float(found.factor) if found.factor else None,
        )

    def _among_harps(self, found: list[Finding]) -> list[Finding]:
        """What one harp cannot play in a part for several, divided among them, passage by passage.

        What is divided is advice to print it so; what two harps cannot divide is beyond them too.
        """
        if self.harps == 1:
            return found
        places = Places(self.reading)
        done: list[Finding] = []
        for group in _passages([one for one in found if one.rule in DIVISIBLE]):
            said = in_words(group, places, self.context, self.settings, self.harps)
            for one in group:
                level, goes = one.level, f" The part is for {self.harps} harps"
                if said:
                    level, goes = "advice", f"{goes}: {said}."
                elif self.harps > 2:
                    level, goes = "hard", f"{goes}: shared between them it may go."
                else:
                    goes = f"{goes}, and no division between them was found."
                numbers = {**one.numbers, "goes": one.numbers.get("goes", "") + goes}
                done.append(replace(one, level=level, numbers=numbers, fold=(one.fold, said)))
        return [one for one in found if one.rule not in DIVISIBLE] + done

    def _after_setting(self, onset: int, notes: list[int]) -> Iterator[Finding]:
        """Notes that clash with nothing but the setting of a glissando, or a joint."""
        row = [self.reading.plucked[onset][n] for n in notes]
        ends = {sweep.last for sweep in self.reading.sweeps}
        rest = [one for one in row if not any(event in ends for event in one.events)]
        for n in notes:
            self.plan.why[onset, n] = rules.GLISS_END.id if self.reading.plucked[onset][n] not in rest else (
                rules.TOO_FAST.id
            )  # fmt: skip
        if rest:
            group = " and ".join(written_name(one) for one in rest)
            yield rules.TOO_FAST.at(
                self._place(rest[0].events[0]), self._refs(rest),
                level="impossible" if self._fixed_tempo(self.times[onset]) else "hard",
                fold=("setting", group), group=group, goes="", span_us=0, pitches=[one.pitch for one in rest],
                reason="the pedals stand otherwise, for a glissando or a repeat, and cannot be moved in time",
                factor=None,
            )  # fmt: skip

    def _chord(self, onset: int, notes: list[int]) -> Finding:
        row = self.reading.plucked[onset]
        for n in notes:
            self.plan.why[onset, n] = rules.HANDS.id
        most = self.settings.together
        if len(row) > most:
            reason = f"a harpist has {most} fingers to pluck with"
        else:
            reason = f"struck at once, they do not lie in two hands of {self.settings.hand} fingers within a tenth each"
        return rules.HANDS.at(
            self._place(row[0].events[0]),
            self._refs(row),
            fold=("hands", tuple(one.pitch for one in row)),
            count_words=f"{len(row)} notes",
            reason=reason,
            most=most,
            goes="",
        )

    # what goes, but not in comfort

    def _quick(self) -> Iterator[Finding]:
        quick = [change for change in self.pedals.changes if change.dur_us < self.settings.comfortable_us]
        for change in quick:
            after = next((i for i, t in enumerate(self.times) if t > change.t_us), len(self.times) - 1)
            start = self.times[after - 1] if after else 0
            beside = [
                other
                for other in self.pedals.changes
                if other.foot == change.foot and start <= other.t_us < self.times[after] and other is not change
            ]
            yield self._hurried(change, after, beside)

    def _hurried(self, change: Change, after: int, beside: list[Change]) -> Finding:
        event = self._first(after)
        group = [change, *beside]
        have = sum(one.dur_us for one in group) + min(one.spare_us for one in group)
        fixed = self._fixed_tempo(change.t_us)
        need = len(group) * self.settings.comfortable_us
        numbers: dict[str, Any] = {
            "have_us": have,
            "have_ms": have // 1000,
            "need_ms": need // 1000,
            "short_us": need - have,
            "goes": self._goes(change.t_us, Fraction(have, need)) if not fixed else "",
            "foot": change.foot,
        }
        if beside:
            letters = sorted({change.pedal, *(other.pedal for other in beside)}, key=LETTERS.index)
            return rules.ONE_FOOT.at(
                self._place(event), self._notes_on(after, letters), fold="one foot", near=NEAR,
                pedals=" and ".join(letters), **numbers,
            )  # fmt: skip
        return rules.QUICK.at(
            self._place(event), self._notes_on(after, [change.pedal]), fold="quick", near=NEAR, pedal=change.pedal,
            before=f"{change.pedal}{SIGNS[change.before]}", after=f"{change.pedal}{SIGNS[change.after]}", **numbers,
        )  # fmt: skip

    def _notes_on(self, onset: int, letters: Sequence[str]) -> tuple[NoteRef, ...]:
        """The notes of an onset that stand on these letters; all of it where none does."""
        rows = [
            one
            for one, taken in zip(self.reading.plucked[onset], self.pedals.notes[onset], strict=True)
            if taken is not None and taken.string.letter in letters
        ]
        return self._refs(rows or self.reading.plucked[onset])

    def _let_go(self) -> Iterator[Finding]:
        grid_us = self._quarter_us
        for i, (row, planned) in enumerate(zip(self.reading.plucked, self.pedals.notes, strict=True)):
            for one, taken in zip(row, planned, strict=True):
                if taken is None or taken.ends != "early":
                    continue
                half = 2 * taken.hold_us >= one.written_us
                quarter = grid_us(self.times[i])
                yield rules.LET_GO.at(
                    self._place(one.events[0]),
                    self._refs([one]),
                    level="advice" if half else "hard",
                    fold="early",
                    near=NEAR,
                    note_name=name(one.pitch, flats=taken.position <= 0),
                    written_beats=_beats(one.written_us, quarter),
                    kept=_kept(taken.hold_us, one.written_us, quarter),
                    pedal=taken.string.letter,
                    short_us=one.written_us - taken.hold_us,
                    hold_us=taken.hold_us,
                    written_us=one.written_us,
                )

    def _quarter_us(self, t_us: int) -> float:
        clock = self.context.frame.clock
        return 60_000_000 / float(clock.tempo_at(clock.tick_at(t_us)).qpm)



def _beats(us: int, quarter_us: float) -> str:
    """A length in words: quarters, to two figures."""
    text = f"{us / quarter_us:.2g}"
    return f"{text} quarter{'s' * (text != '1')}"


def _kept(hold_us: int, written_us: int, quarter_us: float) -> str:
    """How long a note can be held, in words."""
    if 20 * hold_us < written_us:
        return "as soon as it is plucked"
    return f"after {_beats(hold_us, quarter_us)}"


def _passages(found: Sequence[Finding]) -> Iterator[list[Finding]]:
    """Findings that stand close together, in order of place."""
    group: list[Finding] = []
    for one in sorted(found, key=lambda f: (f.place.pass_, f.place.measure, f.place.start)):
        last = group[-1].place if group else one.place
        if one.place.pass_ != last.pass_ or one.place.measure - last.measure > NEAR:
            yield group
            group = []
        group.append(one)
    if group:
        yield group
