"""From a plan of the pedals to findings and mends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from deskproof import facts
from deskproof.edits import Respell, complete
from deskproof.families.base import Context, Plan
from deskproof.families.harp import rules
from deskproof.families.harp.conflict import Clash, clash
from deskproof.families.harp.model import LETTERS, Settings, choices, hands_take
from deskproof.families.harp.plan import Change, PedalPlan, PlannedNote, plan_pedals
from deskproof.families.harp.printed import Printed, glissandi, printed
from deskproof.families.harp.reading import Plucked, Reading, read, refs
from deskproof.families.harp.record import record
from deskproof.findings import Effect, Finding, Mend, Place
from deskproof.pitch import Pitch, name
from deskproof.score import Note, NoteRef, Part
from deskproof.spans import Span
from deskproof.timeline import Event

SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
NEAR = 2  # measures; findings of one kind that stand closer belong to one passage


@dataclass(frozen=True, slots=True)
class HarpPlan(Plan):
    """The pedalling of one harp part, with what it was made from."""

    reading: Reading | None = None
    pedals: PedalPlan | None = None
    settings: Settings | None = None
    spans: tuple[Span, ...] = ()
    why: dict[tuple[int, int], str] = field(default_factory=dict)  # unplanned note -> rule


def plan(spans: Sequence[Span], context: Context) -> Plan:
    """Plan the pedals of the harp spans of one part; an empty plan where nothing is a harp's."""
    harp = tuple(span for span in spans if span.instrument is not None and span.instrument.kind == "harp")
    if not harp or not any(span.events for span in harp):
        return Plan()
    settings = settings_of(context, harp[0].part)
    reading = read(harp, context, LETTERS)
    if not reading.onsets:
        return Plan()
    pedals = plan_pedals(reading.onsets, settings, reading.damps, reading.joints, reading.beats)
    part = context.score.parts[reading.part]
    return HarpPlan("harp", part.name or part.id, reading, pedals, settings, harp)


def settings_of(context: Context, part: int) -> Settings:
    """What the forces say of the harpist, and the facts where they say nothing."""
    player = next((p for p in context.forces.players if "harp" in p.plays), None)
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
        together=2 * int(facts.get("harp.fingers_a_hand").value),
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

    def findings(self) -> list[Finding]:
        """All findings in order of kind."""
        found = [*self._left_out(), *self._quick(), *self._let_go()]
        if self.context.score.source == "musicxml":
            found += [*self._spelling(), *self._settings()]
        return found

    # places and words

    def _place(self, event: Event) -> Place:
        return Place(self.reading.part, event.note.staff, event.measure, event.note.start, event.pass_)

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
            if rest:
                yield self._clash(onset, rest)

    def _without_pedal(self, onset: int, n: int, one: Plucked) -> Finding | None:
        if choices(one.pitch, self.settings.fixed):
            return None
        strings = [c for c in choices(one.pitch, {}) if str(c.string) in self.settings.fixed]
        if not strings:
            return None  # not on a harp at all: the compass says so
        string = strings[0].string
        self.plan.why[onset, n] = rules.NO_PEDAL.id
        return rules.NO_PEDAL.at(
            self._place(one.events[0]),
            self._refs([one]),
            fold=("string", str(string), one.pitch),
            note_name=name(one.pitch),
            string=str(string),
            tuned=f"{string.letter}{SIGNS[self.settings.fixed[str(string)]]}",
            sounding=one.pitch,
        )

    def _refs(self, rows: Sequence[Plucked]) -> tuple[NoteRef, ...]:
        return tuple(dict.fromkeys(ref for one in rows for ref in refs(self.part, one)))

    def _clash(self, onset: int, notes: list[int]) -> Finding:
        row = self.reading.plucked[onset]
        lines = [choices(one.pitch, self.settings.fixed)[0].string.line for one in row]
        if len(row) > self.settings.together or not hands_take(
            lines, self.reading.onsets[onset].bracketed, self.settings
        ):
            return self._chord(onset, notes)
        found: Clash = clash(self.reading.onsets, onset, self.settings, self.reading.damps)
        group = [self.reading.plucked[o][n] for o, n in found.notes]
        rule = rules.CLUSTER if len({o for o, _ in found.notes}) == 1 else rules.TOO_FAST
        for n in notes:
            self.plan.why[onset, n] = rule.id
        t_us = self.times[onset]
        goes = self._goes(t_us, found.factor)
        level = "impossible" if rule is rules.CLUSTER or self._fixed_tempo(t_us) else "hard"
        return rule.at(
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
        have = change.dur_us + change.spare_us
        fixed = self._fixed_tempo(change.t_us)
        need = self.settings.comfortable_us
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
                    hold_beats=_beats(taken.hold_us, quarter),
                    written_beats=_beats(one.written_us, quarter),
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
        clashing = self._clashing_names()
        as_spelled = self._moves_as_spelled()
        planned = len(self.pedals.changes)
        saved = as_spelled - planned
        if saved <= 0 and not clashing:
            return
        example = ""
        done: set[tuple[int, int]] = set()
        for onset, one, taken in self._renamed():
            event = one.events[0]
            if (event.measure, event.note.n) in done:
                continue
            done.add((event.measure, event.note.n))
            pitch = event.note.pitch
            assert pitch is not None
            if not example:
                example = f"{taken.string.letter}{SIGNS[taken.position]} for {pitch.step}{SIGNS[int(pitch.alter)]}"
            yield rules.SPELLING.at(
                self._place(event),
                self._refs([one]),
                level="notation" if onset in clashing else "advice",
                fold="spelling",
                as_spelled=as_spelled,
                planned=planned,
                saved=max(saved, 0),
                example=example,
                clashes=" and some chords ask one pedal for two positions" if clashing else "",
            )

    def _renamed(self) -> Iterator[tuple[int, Plucked, PlannedNote]]:
        """The notes whose string is not the one that the composer's name means."""
        for i, (row, planned) in enumerate(zip(self.reading.plucked, self.pedals.notes, strict=True)):
            for one, taken in zip(row, planned, strict=True):
                if taken is None or one.spelled is None or one.how == "trill":
                    continue
                if one.spelled != (taken.string.letter, taken.position):
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

    def _moves_as_spelled(self) -> int:
        """Changes of position, letter by letter, if every note stood on the string that its name means."""
        stands: dict[str, int] = {}
        moves = 0
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                spelled = one.spelled or ((taken.string.letter, taken.position) if taken else None)
                if spelled is None:
                    continue
                letter, position = spelled
                moves += stands.get(letter, position) != position
                stands[letter] = position
        return moves

    # what is printed

    def _settings(self) -> Iterator[Finding]:
        signs = printed(self.part)
        sweeps = glissandi(self.part)
        setting = setting_text(self.pedals.initial)
        first = self._first(0)
        if not signs and not sweeps:
            yield rules.NO_SETTING.at(
                self._place(first), self._refs(self.reading.plucked[0][:1]), level="advice", before="",
                setting=setting,
            )  # fmt: skip
        for measure, start, staff in sweeps:
            if any((sign.measure, sign.start) <= (measure, start) and sign.whole for sign in signs):
                continue
            near = self._note_at(measure, start, staff)
            yield rules.NO_SETTING.at(
                Place(self.reading.part, staff, measure, start), near, level="notation", fold="gliss",
                before=" before the glissando", setting=setting,
            )  # fmt: skip
        for sign in signs:
            yield from self._contradiction(sign)

    def _note_at(self, measure: int, start: int, staff: int) -> tuple[NoteRef, ...]:
        notes = [n for n in self.part.measures[measure].notes if n.pitch is not None]
        here = [n for n in notes if n.start >= start and n.staff == staff] or notes
        return (NoteRef(self.part.id, measure, here[0].n),) if here else ()

    def _contradiction(self, sign: Printed) -> Iterator[Finding]:
        place = Place(self.reading.part, sign.staff, sign.measure, sign.start)
        near = self._note_at(sign.measure, sign.start, sign.staff)
        if sign.trouble:
            yield rules.CONTRADICTS.at(place, near, what=sign.trouble)
            return
        asked: dict[str, Note] = {}
        for note in sorted(self.part.measures[sign.measure].notes, key=lambda n: n.start):
            if note.pitch is not None and note.start >= sign.start:
                asked.setdefault(note.pitch.step, note)
        for letter, position in sign.positions:
            found = asked.get(letter)
            if found is not None and found.pitch is not None and found.pitch.alter != position:
                yield rules.CONTRADICTS.at(
                    place,
                    (NoteRef(self.part.id, sign.measure, found.n),),
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


def _beats(us: int, quarter_us: float) -> str:
    return f"{us / quarter_us:.2g}"


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """Ways out: respelling is written, the rest is for the composer to decide."""
    part = context.score.parts[finding.place.part]
    if finding.rule is rules.SPELLING:
        made = plan(spans, context)
        if isinstance(made, HarpPlan) and made.reading and made.pedals:
            edits = _respelled(made.reading, made.pedals, part, set(finding.notes))
            said = "write the note as the string that is played" if len(edits) == 1 else (
                f"write {len(edits)} notes as the strings that are played"
            )  # fmt: skip
            yield Mend(said, Effect.KEEPS_SOUND, complete(context.score, context.layouts, edits))
    elif finding.rule in (rules.CLUSTER, rules.TOO_FAST):
        if finding.rule is rules.TOO_FAST:
            yield Mend("let the note before be damped, or leave a rest for the foot", Effect.ADVICE)
        else:
            yield Mend("roll the chord, so that a pedal can move inside it", Effect.ADVICE)
        yield Mend("leave out one of these notes, best one that is doubled", Effect.ADVICE)
    elif finding.rule is rules.HANDS:
        yield Mend("roll the chord, or leave out doubled notes", Effect.ADVICE)


def _respelled(reading: Reading, pedals: PedalPlan, part: Part, wanted: set[NoteRef]) -> list[Respell]:
    edits: dict[NoteRef, Respell] = {}
    for row, planned in zip(reading.plucked, pedals.notes, strict=True):
        for one, taken in zip(row, planned, strict=True):
            if taken is None or one.spelled in (None, (taken.string.letter, taken.position)):
                continue
            up = one.pitch - int(one.events[0].note.pitch.midi) if one.events[0].note.pitch else 0
            for event in one.events:
                for measure, n in ((event.measure, event.note.n), *event.tied):
                    ref = NoteRef(part.id, measure, n)
                    if NoteRef(part.id, event.measure, event.note.n) in wanted and up == 0:
                        edits[ref] = Respell(ref, taken.string.letter, taken.position, taken.string.octave)
    return list(edits.values())


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The plan as the JSON of ``check`` has it."""
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or plan.settings is None:
        return None
    return record(id_, plan.pedals, plan.reading, plan.spans, plan.settings, context, plan.why)
