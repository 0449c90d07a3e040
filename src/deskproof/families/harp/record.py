"""A harp plan as the JSON of ``check`` has it (docs/json.md)."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from deskproof.families.base import Context, span_rows
from deskproof.families.harp.handing import Handed
from deskproof.families.harp.model import STEPS, Choice, Settings
from deskproof.families.harp.plan import Figure, PedalPlan, PlannedNote, Unplanned
from deskproof.families.harp.reading import OCTAVE, Plucked, Reading
from deskproof.score import Part
from deskproof.spans import Span
from deskproof.timeline import Event

OFF_THE_HARP = "tutti-outside-compass"  # the rule that speaks of notes that no string has

NO_STRING = "harp-string-without-pedal"
NO_HAND = "harp-chord-hands"


@dataclass(frozen=True, slots=True)
class Places:
    """Bar and beat of a time in microseconds, by the playing order."""

    onsets_us: tuple[int, ...]
    rows: tuple[tuple[int, int, int], ...]  # measure, pass, onset in ticks
    context: Context
    part: Part

    @classmethod
    def of(cls, context: Context, part: Part) -> Places:
        """Gather the plays of a score once."""
        frame = context.frame
        return cls(
            tuple(frame.clock.floor_us(play.onset) for play in frame.plays),
            tuple((play.measure, play.pass_, play.onset) for play in frame.plays),
            context,
            part,
        )

    def at(self, t_us: int) -> tuple[str, str, int]:
        """Bar as printed, beat as a fraction's text, and pass."""
        measure, pass_, onset = self.rows[max(0, bisect_right(self.onsets_us, t_us) - 1)]
        frame = self.context.frame
        tick = frame.clock.tick_at(t_us)
        _, unit, _, _ = frame.metres[measure]
        beat = 1 + Fraction((tick - onset) * unit, 4 * frame.grid).limit_denominator(96)
        number = self.part.measures[measure].number if measure < len(self.part.measures) else ""
        return number or str(measure + 1), str(max(beat, Fraction(1))), pass_


def record(
    id_: str, plan: PedalPlan, reading: Reading, spans: tuple[Span, ...], settings: Settings, context: Context,
    unplanned_rule: Mapping[tuple[int, int], str], hands: Handed | None = None,
    ringing: int = 0, pairs: Mapping[tuple[int, int], Choice] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """The whole record of one harp's plan."""
    part = context.score.parts[reading.part]
    places = Places.of(context, part)
    if hands is not None and hands.plan.left_out:
        plan, unplanned_rule = _without_hands(plan, unplanned_rule, hands)
    events = _events(plan, reading, places, part, hands, pairs or {})
    early = sum(event["ends"] == "early" for event in events)
    figures = _figures(plan, reading, early, ringing)
    return {
        "id": id_,
        "kind": "harp",
        "player": part.name or part.id,
        "spans": span_rows(spans, context),
        "model": {
            "comfortable_us": settings.comfortable_us,
            "quickest_us": settings.quickest_us,
            "reach_strings": settings.reach,
            "notes_a_hand": settings.hand,
            "notes_together": settings.together,
        },
        "objective": [{"name": f.name, "value": f.value, "at_least": f.at_least} for f in figures],
        "proven": plan.proven and early == plan["let_go_early"].value,
        "unplanned": _unplanned(plan, reading, part, unplanned_rule),
        "pedal_us": settings.comfortable_us,
        "pair_moves": settings.pair_moves,
        "fixed": [{"string": name, "alter": alter} for name, alter in settings.fixed.items()],
        "initial": {letter: plan.initial[letter] for letter in "DCBEFGA"},
        "changes": [_change(change, places) for change in plan.changes],
        "damps": [{"t_us": t_us, "letters": list(letters)} for t_us, letters in reading.damps],
        "events": events,
    }


def _unplanned(
    plan: PedalPlan, reading: Reading, part: Part, rules: Mapping[tuple[int, int], str]
) -> list[dict[str, Any]]:
    """The notes left out, each once whatever the passes, with the rule that says why."""
    found: dict[str, str] = {}
    for onset, note in _left_out(plan):
        one = reading.plucked[onset][note]
        for event in one.events:
            if not _is_second(one, event):
                found.setdefault(part.ref(event.measure, event.note.n), rules.get((onset, note), OFF_THE_HARP))
    for event in reading.odd:
        found.setdefault(part.ref(event.measure, event.note.n), NO_STRING)
    return [{"notes": [ref], "rule": rule} for ref, rule in found.items()]


def _change(change: Any, places: Places) -> dict[str, Any]:
    bar, beat, pass_ = places.at(change.t_us)
    return {
        "t_us": change.t_us,
        "dur_us": change.dur_us,
        "pass": pass_,
        "pedal": change.pedal,
        "from": change.before,
        "to": change.after,
        "foot": change.foot,
        "spare_us": change.spare_us,
        "bar": bar,
        "beat": beat,
    }


def _figures(plan: PedalPlan, reading: Reading, early: int, ringing: int) -> list[Figure]:
    """The objective as it counts in this record: events let go; no trill that lacks its other note only, no glissando
    whose setting cannot be had while its first note can."""
    halves = {
        (e.measure, e.note.n)
        for onset, note in _left_out(plan)
        for e in reading.plucked[onset][note].events
        if all(_is_second(reading.plucked[onset][note], other) for other in reading.plucked[onset][note].events)
    }
    unset = len({_place_of(reading, left.onset) for left in plan.unplanned if left.note is None})
    found = []
    for figure in plan.objective:
        if figure.name == "let_go_early":
            figure = figure._replace(value=early)
        elif figure.name == "buzzes":
            figure = Figure(figure.name, ringing, None if ringing else 0)
        elif figure.name == "impossible":
            least = figure.at_least
            less = len(halves) + unset
            value = max(0, figure.value - less)
            figure = Figure(figure.name, value, None if least is None else min(value, max(0, least - less)))
        found.append(figure)
    return found


def _sweeps(plan: PedalPlan, reading: Reading) -> dict[Event, dict[str, Any]]:
    """The glissandi whose setting is known and can be had, by their first event: ends and setting."""
    unset = {reading.onsets[left.onset].t_us for left in plan.unplanned if left.note is None}
    found: dict[Event, dict[str, Any]] = {}
    for sweep in reading.sweeps:
        if sweep.slide.setting is None or sweep.lines is None or sweep.from_us in unset:
            continue
        first, last = (f"{STEPS[line % 7]}{line // 7}" for line in sweep.lines)
        stands = plan.standing(sweep.from_us)
        setting = {letter: sweep.slide.setting.get(letter, stands[letter]) for letter in "DCBEFGA"}
        found[sweep.first] = {"first": first, "last": last, "set": setting}
    return found


def _place_of(reading: Reading, onset: int) -> tuple[int, int]:
    event = reading.plucked[onset][0].events[0]
    return event.measure, event.note.start


def _left_out(plan: PedalPlan) -> list[tuple[int, int]]:
    return [(left.onset, left.note) for left in plan.unplanned if left.note is not None]


def _is_second(one: Plucked, event: Event) -> bool:
    """Whether this is the string of a trill on which the written note does not lie."""
    return one.how == "trill" and one.pitch != event.sounding


def _without_hands(
    plan: PedalPlan, rules: Mapping[tuple[int, int], str], hands: Handed
) -> tuple[PedalPlan, dict[tuple[int, int], str]]:
    """The plan without the notes that no hand takes, which count as left out."""
    gone = {(onset, n) for onset, note in hands.plan.left_out for n in hands.notes(onset, (note,))}
    notes = tuple(
        tuple(None if (i, n) in gone else taken for n, taken in enumerate(row)) for i, row in enumerate(plan.notes)
    )
    objective = tuple(
        figure._replace(value=figure.value + len(gone)) if figure.name == "impossible" else figure
        for figure in plan.objective
    )
    unplanned = (*plan.unplanned, *(Unplanned(onset, note) for onset, note in sorted(gone)))
    changed = replace(plan, notes=notes, objective=objective, unplanned=unplanned, proven=False)
    return changed, {**rules, **dict.fromkeys(gone, NO_HAND)}


def _events(
    plan: PedalPlan,
    reading: Reading,
    places: Places,
    part: Part,
    hands: Handed | None,
    pairs: Mapping[tuple[int, int], Choice],
) -> list[dict[str, Any]]:
    """One event for all notes of an onset that are written and held equally long and played alike.

    A trill whose written note has no string is left out whole, one whose other note has none is an event with one. A
    note that is repeated on two strings, its second in ``pairs``, is a trill between them.
    """
    left = {
        (e.measure, e.note.n, e.pass_)
        for onset, note in _left_out(plan)
        for e in reading.plucked[onset][note].events
        if not _is_second(reading.plucked[onset][note], e)
    }
    sweeps = _sweeps(plan, reading)
    found = []
    for i, (onset, row, planned) in enumerate(zip(reading.onsets, reading.plucked, plan.notes, strict=True)):
        groups: dict[tuple[int, int, str, str], list[tuple[Plucked, PlannedNote, str | None]]] = {}
        shortest: dict[int, PlannedNote] = {}  # by written length, of trills: their two strings are one event
        for one, taken in zip(row, planned, strict=True):
            if taken is not None and one.how == "trill":
                other = shortest.setdefault(one.written_us, taken)
                shortest[one.written_us] = min(other, taken, key=lambda row: row.hold_us)
        for n, (one, taken) in enumerate(zip(row, planned, strict=True)):
            if taken is not None and any((e.measure, e.note.n, e.pass_) not in left for e in one.events):
                sweep = next((sweeps[e] for e in one.events if e in sweeps), None)
                how = one.how if sweep is None or one.how == "trill" else "gliss"
                how = "trill" if (i, n) in pairs else how
                if (shortest[one.written_us] if one.how == "trill" else taken).ends == "early" and how != "harmonic":
                    how = ""  # what is let go together is one event, however it is played
                hand = hands.of(i, n) if hands else None
                held = shortest[one.written_us] if one.how == "trill" else taken
                group = groups.setdefault((one.written_us, held.hold_us, held.ends, how), [])
                group.append((one, taken, hand))
                if (i, n) in pairs:
                    string, position, pedal = pairs[i, n]
                    second = taken._replace(string=string, position=position, pedal=pedal)
                    group.append((one, second, hand))
        bar, beat, _ = places.at(onset.t_us)
        named: set[tuple[int, int]] = set()
        for (written_us, hold_us, ends, how), taken_so in groups.items():
            how = how or next((one.how for one, _, _ in taken_so if one.how == "trill"), taken_so[0][0].how)
            up = OCTAVE if how == "harmonic" else 0
            notes = []
            for one, _, _ in taken_so:
                for e in one.events:
                    if (e.measure, e.note.n) not in named and (e.measure, e.note.n, e.pass_) not in left:
                        named.add((e.measure, e.note.n))
                        notes.append(part.ref(e.measure, e.note.n))
            found.append(
                {
                    "t_us": onset.t_us,
                    "end_us": onset.t_us + written_us,
                    "hold_us": hold_us,
                    "written_us": written_us,
                    "pass": taken_so[0][0].events[0].pass_,
                    "notes": notes,
                    "pitches": [one.pitch + up for one, _, _ in taken_so],
                    "strings": [str(taken.string) for _, taken, _ in taken_so],
                    "positions": [taken.position for _, taken, _ in taken_so],
                    "hands": [hand for _, _, hand in taken_so] if hands else None,
                    "how": how,
                    "gliss": next((sweeps[e] for one, _, _ in taken_so for e in one.events if e in sweeps), None)
                    if how == "gliss"
                    else None,
                    "ends": ends,
                    "bar": bar,
                    "beat": beat,
                }
            )
    return found
