"""From a plan of the pedals to findings and mends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from deskproof import facts, words
from deskproof.edits import Respell, SetOctave, complete
from deskproof.families.base import Context, Plan
from deskproof.families.harp import rules
from deskproof.families.harp.conflict import Known, clash
from deskproof.families.harp.effects import effect_findings
from deskproof.families.harp.hand_checks import hand_findings
from deskproof.families.harp.handing import Handed, hands_of
from deskproof.families.harp.model import LETTERS, Settings, choices, hands_take
from deskproof.families.harp.plan import Change, PedalPlan, PlannedNote, changes_as_spelled, plan_pedals
from deskproof.families.harp.printed import Printed, glissandi, printed
from deskproof.families.harp.reading import Plucked, Reading, read, refs
from deskproof.families.harp.record import record
from deskproof.families.harp.ringing import Buzz, Ringing, Times, buzzes, heard, rings
from deskproof.families.harp.sweep_checks import sweep_findings
from deskproof.families.harp.wording import NEAR, SIGNS, place_of, refs_of, written_name
from deskproof.findings import Effect, Finding, Mend, Place
from deskproof.pitch import Pitch, name
from deskproof.score import UNCHECKED, Note, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event


@dataclass(frozen=True, slots=True)
class HarpPlan(Plan):
    """The pedalling of one harp part, with what it was made from."""

    reading: Reading | None = None
    pedals: PedalPlan | None = None
    settings: Settings | None = None
    spans: tuple[Span, ...] = ()
    hands: Handed | None = None
    ringing: tuple[Buzz, ...] = ()
    why: dict[tuple[int, int], str] = field(default_factory=dict)  # unplanned note -> rule


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the pedals of the harp spans of one part; an empty plan where nothing is a harp's."""
    harp = tuple(span for span in spans if span.instrument is not None and span.instrument.kind == "harp")
    if not harp or not any(span.events for span in harp):
        return Plan()
    settings = settings_of(context, harp[0].part)
    reading = read(harp, context, LETTERS)
    if not reading.onsets and not reading.odd:
        return Plan()
    part = context.score.parts[reading.part]
    ringing = Ringing(reading, part, Times.from_facts())
    pedals = plan_pedals(
        reading.onsets, settings, reading.damps, reading.joints, reading.beats, ringing.until_us
    )
    hands = hands_of(reading, pedals, part.staves, words.how_many(part.name))
    buzz = tuple(buzzes(rings(ringing, pedals), pedals.changes)) if pedals.changes else ()
    return HarpPlan("harp", part.name or part.id, reading, pedals, settings, harp, hands, buzz)


def settings_of(context: Context, part: int) -> Settings:
    """What the forces say of the harpist, and the facts where they say nothing."""
    player = next((p for p in context.forces.players if "harp" in p.plays), None)
    harps = words.how_many(context.score.parts[part].name)
    comfortable = player.pedal_comfortable_s if player else None
    quickest = player.pedal_quickest_s if player else None
    fixed = dict(player.without_pedal) if player and player.without_pedal else {}
    for string in facts.get("harp.without_pedal").value:
        fixed.setdefault(string, 0)
    return Settings(
        round(1_000_000 * comfortable) if comfortable else 1000 * int(facts.get("harp.pedal_comfortable").value),
        round(1_000_000 * quickest) if quickest else 1000 * int(facts.get("harp.pedal_quickest").value),
        fixed,
        reach=int(facts.get("harp.reach").value),
        hand=int(facts.get("harp.fingers_a_hand").value),
        together=2 * int(facts.get("harp.fingers_a_hand").value) * harps,
    )


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of one harp part, one for each place."""
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or plan.settings is None:
        return
    checker = _Checker(plan, plan.reading, plan.pedals, plan.settings, context)
    found = checker.findings()
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
        self.signs = printed(self.part)
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
        refused = [*self._left_out(), *self._odd()]
        found = [*refused, *self._following([*self._quick(), *self._let_go(), *self._hands()], refused)]
        if self.plan.hands is not None:
            rest = self.plan.hands, self.part, self._fixed_tempo, self._goes
            found += effect_findings(self.reading, *rest)
        if self.context.score.source == "musicxml":
            found += sweep_findings(self.reading, self.pedals, self.part, self._fixed_tempo)
            found += self._ringing()
            found += [*self._spelling(), *self._settings()]
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
        clock = self.context.frame.clock
        return clock.tempo_at(clock.tick_at(max(t_us, 0))).fixed

    def _goes(self, t_us: int, factor: Fraction | float | None) -> str:
        """Up to which tempo it would go, in words; empty where no tempo helps."""
        if factor is None or factor <= 0:
            return ""
        tempo = self.context.frame.clock.tempo_at(self.context.frame.clock.tick_at(max(t_us, 0)))
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
        sure = (rule is rules.CLUSTER or self._fixed_tempo(t_us)) and self.harps == 1
        level = "impossible" if sure else "hard"
        if self.harps > 1:
            goes += f" The part is for {self.harps} harps: shared between them it may go."
        yield rule.at(
            self._place(group[0].events[0] if group else self._first(onset)),
            self._refs(group or [row[n] for n in notes]),
            level=level,
            fold=(tuple(sorted(one.pitch for one in group)), found.says),
            group=found.group,
            reason=found.reason,
            goes=goes,
            span_us=found.span_us,
            pitches=[one.pitch for one in group],
            factor=float(found.factor) if found.factor else None,
        )

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
                level="impossible" if self._fixed_tempo(self.times[onset]) and self.harps == 1 else "hard",
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

    # spelling

    def _spelling(self) -> Iterator[Finding]:
        clashing_names, no_strings = self._clashing_names(), self._no_strings()
        clashing = clashing_names | no_strings
        if not clashing and next(self._renamed(), None) is None:
            return
        planned = self.pedals["changes"].value
        spelled = changes_as_spelled(self.reading.onsets, self.settings, self.reading.damps, self.pedals)
        if not clashing and spelled is not None and spelled <= planned:
            return
        as_spelled = self._moves_as_spelled() if spelled is None else spelled
        said = []
        if clashing_names:
            said.append("as spelled, some chords ask one pedal for two positions")
        if no_strings:
            said.append("some names are those of no string")
        what = _price(said, spelled, as_spelled, planned)
        rows = list(self._renamed())
        written = [one.events[0].note.pitch for _, one, _ in rows]
        example = ""
        if rows:
            _, _, taken = rows[0]
            example = f"{taken.string.letter}{SIGNS[taken.position]} for {str(written[0]).rstrip('0123456789-')}"
        renamed: dict[NoteRef, list[Respell]] = {}
        for ref, edit in respelled(self.reading, self.pedals, self.part):
            renamed.setdefault(ref, []).append(edit)
        done: set[tuple[int, int]] = set()
        for onset, one, _ in rows:
            event = one.events[0]
            if (event.measure, event.note.n) in done:
                continue
            done.add((event.measure, event.note.n))
            yield rules.SPELLING.at(
                self._place(event),
                self._refs([one]),
                level="notation" if onset in clashing else "advice",
                fold="spelling",
                as_spelled=as_spelled,
                planned=planned,
                saved=max(as_spelled - planned, 0),
                what=what,
                example=example,
                strings=[[str(e.note), e.step, e.alter, e.octave] for e in renamed.get(self._refs([one])[0], ())],
                more=" and the like" if len(rows) > 1 else "",
            )

    def _moves_as_spelled(self) -> int:
        """Changes of position, letter by letter, if every note stood on the string that its name means."""
        stands: dict[str, int] = {}
        moves = 0
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                spelled = one.spelled or ((taken.string.letter, taken.position) if taken else None)
                if spelled is not None:
                    letter, position = spelled
                    moves += stands.get(letter, position) != position
                    stands[letter] = position
        return moves

    def _renamed(self) -> Iterator[tuple[int, Plucked, PlannedNote]]:
        """The notes whose string is not the one that the composer's name means."""
        for i, (row, planned) in enumerate(zip(self.reading.plucked, self.pedals.notes, strict=True)):
            for one, taken in zip(row, planned, strict=True):
                if taken is not None and one.how != "trill" and _renames(one, taken):
                    yield i, one, taken

    def _clashing_names(self) -> set[int]:
        """Onsets that, as spelled, ask one letter for two positions."""
        found = set()
        for i, row in enumerate(self.reading.plucked):
            asked: dict[str, int] = {}
            for one in row:
                if one.spelled and asked.setdefault(one.spelled[0], one.spelled[1]) != one.spelled[1]:
                    found.add(i)
        return found

    def _no_strings(self) -> set[int]:
        """Onsets with a name that no string has, as F double sharp."""
        return {
            i
            for i, row in enumerate(self.reading.plucked)
            if any(one.spelled is None and _name_of(one) is not None for one in row)
        }

    # what is printed

    def _settings(self) -> Iterator[Finding]:
        if not self.reading.onsets:
            return
        signs = self.signs
        sweeps = glissandi(self.part)
        setting = setting_text(self.pedals.initial)
        first = self._first(0)
        written = {
            (sweep.first.measure, sweep.first.note.start)
            for sweep in self.reading.sweeps
            if sweep.slide.source == "notes"
        }
        if not signs and not sweeps:
            yield rules.NO_SETTING.at(
                self._place(first), self._refs(self.reading.plucked[0][:1]), level="advice", where="",
                setting=f"the part begins with {setting}",
            )  # fmt: skip
        for measure, start, staff in sweeps:
            if any((sign.measure, sign.start) <= (measure, start) and sign.whole for sign in signs):
                continue
            if (measure, start) in written:
                continue
            near = self._note_at(measure, start, staff)
            stands = setting_text(self._standing(measure, start))
            yield rules.NO_SETTING.at(
                Place(self.reading.part, staff, measure, start), near, level="notation", fold="gliss",
                where=" before the glissando", setting=f"by the plan the pedals stand at {stands}",
            )  # fmt: skip
        for sign in signs:
            yield from self._contradiction(sign)
        yield from self._at_odds()

    def _standing(self, measure: int, start: int) -> dict[str, int]:
        """Where the pedals stand at a place of the page when it is first played."""
        frame = self.context.frame
        t_us = frame.clock.floor_us(frame.first_onset.get(measure, 0) + start)
        return self.pedals.standing(t_us + 1)

    def _note_at(self, measure: int, start: int, staff: int) -> tuple[NoteRef, ...]:
        notes = [n for n in self.part.measures[measure].notes if n.pitch is not None]
        here = [n for n in notes if n.start >= start and n.staff == staff] or notes
        return (NoteRef(self.part.id, measure, here[0].n),) if here else ()

    def _at_odds(self) -> Iterator[Finding]:
        """Signs at one place, on whichever staff, that ask one pedal for two positions."""
        said: dict[tuple[int, int, str], int] = {}
        for sign in self.signs:
            for letter, position in sign.positions:
                other = said.setdefault((sign.measure, sign.start, letter), position)
                if other != position:
                    yield rules.CONTRADICTS.at(
                        Place(self.reading.part, sign.staff, sign.measure, sign.start),
                        self._note_at(sign.measure, sign.start, sign.staff),
                        fold=("odds", sign.measure, sign.start),
                        what=f"say {letter}{SIGNS[other]} and {letter}{SIGNS[position]} at one place",
                    )

    def _bar_of(self, sign: Printed) -> tuple[int, int]:
        """Where the notes stand that a sign is for: its own bar from its place on, else the next with notes."""
        if any(n.pitch is not None and n.start >= sign.start for n in self.part.measures[sign.measure].notes):
            return sign.measure, sign.start
        with_notes = (m.index for m in self.part.measures[sign.measure + 1 :] if any(n.pitch for n in m.notes))
        return next(with_notes, sign.measure), 0

    def _contradiction(self, sign: Printed) -> Iterator[Finding]:
        place = Place(self.reading.part, sign.staff, sign.measure, sign.start)
        near = self._note_at(sign.measure, sign.start, sign.staff)
        if sign.trouble:
            yield rules.CONTRADICTS.at(place, near, what=sign.trouble)
            return
        measure, start = self._bar_of(sign)
        asked: dict[str, Note] = {}
        for note in sorted(self.part.measures[measure].notes, key=lambda n: n.start):
            if note.pitch is None or note.start < start or note.flags & UNCHECKED:
                continue
            if (measure, note.n) not in self.unplanned:
                asked.setdefault(note.pitch.step, note)
        later = [one for one in self.signs if (sign.measure, sign.start) < (one.measure, one.start)]
        for letter, position in sign.positions:
            found = asked.get(letter)
            if found is not None and any(
                letter in dict(one.positions) and (one.measure, one.start) <= (measure, found.start) for one in later
            ):
                continue
            if found is not None and found.pitch is not None and found.pitch.alter != position:
                yield rules.CONTRADICTS.at(
                    place,
                    (NoteRef(self.part.id, measure, found.n),),
                    fold=("printed", sign.measure, sign.start),
                    what=f"have {letter}{SIGNS[position]}, and the bar has {Pitch(*found.pitch)}",
                )


def setting_text(positions: dict[str, int] | Any) -> str:
    """A setting in foot order: ``D C B♭ | E♭ F G A``.

    >>> setting_text(dict(zip("DCBEFGA", (0, 0, -1, -1, 0, 0, 0))))
    'D♮ C♮ B♭ | E♭ F♮ G♮ A♮'
    """
    rows = [f"{letter}{SIGNS[positions[letter]]}" for letter in LETTERS]
    return f"{' '.join(rows[:3])} | {' '.join(rows[3:])}"


def _price(said: list[str], spelled: int | None, moves: int, planned: int) -> str:
    """What is wrong with the names and what they cost, in words; ``spelled`` is None where they do not go in time."""
    if moves > planned:
        hurry = "" if spelled is not None else ", not all in time"
        said.append(
            f"as spelled the pedals move {moves} time{'s' * (moves != 1)}{hurry}, by other names {planned or 'never'}"
        )
    elif spelled is None and not said:
        said.append("as spelled, not all pedals can be moved, or notes held, in time")
    return "; ".join(said)


def _name_of(one: Plucked) -> Pitch | None:
    """How the note is written, if it is written at the pitch of its string."""
    written = one.events[0].note.pitch
    return written if written is not None and written.midi == one.pitch else None


def _renames(one: Plucked, taken: PlannedNote) -> bool:
    """Whether the string has another name than the note."""
    if one.spelled is not None:
        return one.spelled != (taken.string.letter, taken.position)
    return _name_of(one) is not None


def _beats(us: int, quarter_us: float) -> str:
    """A length in words: quarters, to two figures."""
    text = f"{us / quarter_us:.2g}"
    return f"{text} quarter{'s' * (text != '1')}"


def _kept(hold_us: int, written_us: int, quarter_us: float) -> str:
    """How long a note can be held, in words."""
    if 20 * hold_us < written_us:
        return "as soon as it is plucked"
    return f"after {_beats(hold_us, quarter_us)}"


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """Ways out: respelling is written, the rest is for the composer to decide."""
    if finding.rule is rules.SPELLING:
        edits = [
            Respell(NoteRef.parse(ref), step, alter, octave)
            for atom in finding.atoms or (finding,)
            for ref, step, alter, octave in atom.numbers["strings"]
        ]
        if edits:
            said = "write the note as the string that is played" if len(edits) == 1 else (
                f"write {len(edits)} notes as the strings that are played"
            )  # fmt: skip
            yield Mend(said, Effect.KEEPS_SOUND, complete(context.score, context.layouts, edits))
    else:
        yield from _advice(finding, spans, context)


def _advice(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What the composer may do; an octave higher is written where a string has no pedal."""
    part = context.score.parts[finding.place.part]
    rule, numbers = finding.rule, finding.numbers
    if rule is rules.CLUSTER or rule is rules.TOO_FAST:
        if rule is rules.CLUSTER:
            quickest = int(facts.get("harp.pedal_quickest").value)
            yield Mend(
                f"break the chord in two, {quickest} ms or more apart, so that a foot can move between", Effect.ADVICE
            )
        doubled = _doubled(finding, part)
        if doubled:
            yield Mend(f"leave out {doubled}, which is doubled in another octave", Effect.ADVICE)
        yield Mend("leave out one of these notes, or give it to another player", Effect.ADVICE)
    elif rule is rules.NO_PEDAL:
        if numbers["string"]:
            edits = []
            for ref in finding.notes:
                note = part.measures[ref.measure].notes[ref.n]
                if note.pitch is not None:
                    edits.append(SetOctave(ref, note.pitch.octave + 1))
            yield Mend(
                f"write the note{'s' * (len(edits) > 1)} an octave higher", Effect.CHANGES_SOUND,
                complete(context.score, context.layouts, edits),
            )  # fmt: skip
        if numbers["string"]:
            yield Mend(f"let the {numbers['string']} string be tuned for it before the piece", Effect.ADVICE)
    elif rule is rules.LET_GO:
        yield Mend("write the notes as short as they can be, or a damping sign behind them", Effect.ADVICE)
    elif rule is rules.NO_SETTING:
        yield Mend("print it: deskproof mend --pedal-marks first", Effect.ADVICE)
    elif rule is rules.RINGS:
        yield Mend("damp the string before the pedal moves: print a damping sign", Effect.ADVICE)
    elif rule is rules.HANDS:
        yield Mend("leave out doubled notes, or share the chord with a second harp", Effect.ADVICE)


def _doubled(finding: Finding, part: Part) -> str:
    """A note of the clash that sounds in another octave of its chord too, by name; empty if there is none."""
    for ref in finding.notes:
        measure = part.measures[ref.measure]
        note = measure.notes[ref.n]
        others = [n for n in measure.notes if n.start == note.start and n.pitch is not None and n.n != note.n]
        if note.pitch is not None and any(
            (n.pitch.midi - note.pitch.midi) % 12 == 0 != n.pitch.midi - note.pitch.midi for n in others if n.pitch
        ):
            return str(note.pitch)
    return ""


def respelled(reading: Reading, pedals: PedalPlan, part: Part) -> list[tuple[NoteRef, Respell]]:
    """The names of strings for the notes that have other names, each with the first note of its tied chain."""
    found: dict[NoteRef, tuple[NoteRef, Respell]] = {}
    for row, planned in zip(reading.plucked, pedals.notes, strict=True):
        for one, taken in zip(row, planned, strict=True):
            if taken is None or not _renames(one, taken):
                continue
            for event in one.events:
                written = event.note.pitch
                if written is None or written.midi != one.pitch:
                    continue  # a harmonic, or the second string of a trill: no note is written there
                first = NoteRef(part.id, event.measure, event.note.n)
                for measure, n in ((event.measure, event.note.n), *event.tied):
                    ref = NoteRef(part.id, measure, n)
                    edit = Respell(ref, taken.string.letter, taken.position, taken.string.octave)
                    found[ref] = (first, edit)
    return list(found.values())


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The plan as the JSON of ``check`` has it."""
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or plan.settings is None:
        return None
    rest = plan.settings, context, plan.why, plan.hands, len(plan.ringing)
    return record(id_, plan.pedals, plan.reading, plan.spans, *rest)
