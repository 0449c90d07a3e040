"""A harp plan as the JSON of ``check`` has it (docs/json.md)."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from deskproof.families.base import Context
from deskproof.families.harp.model import Settings
from deskproof.families.harp.plan import PedalPlan, PlannedNote
from deskproof.families.harp.reading import OCTAVE, Plucked, Reading
from deskproof.score import Part
from deskproof.spans import Span


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
    unplanned_rule: Mapping[tuple[int, int], str],
) -> dict[str, Any]:  # fmt: skip
    """The whole record of one harp's plan."""
    part = context.score.parts[reading.part]
    places = Places.of(context, part)
    frame = context.frame
    return {
        "id": id_,
        "kind": "harp",
        "player": part.name or part.id,
        "spans": [
            {
                "part": part.id,
                "instrument": span.instrument.id if span.instrument else None,
                "from_us": frame.clock.floor_us(span.from_tick),
                "to_us": frame.clock.ceil_us(span.to_tick),
            }
            for span in spans
        ],
        "model": {
            "comfortable_us": settings.comfortable_us,
            "quickest_us": settings.quickest_us,
            "reach_strings": settings.reach,
            "notes_a_hand": settings.hand,
            "notes_together": settings.together,
        },
        "objective": [{"name": f.name, "value": f.value, "at_least": f.at_least} for f in plan.objective],
        "proven": plan.proven,
        "unplanned": [
            {
                "notes": [part.ref(e.measure, e.note.n) for e in reading.plucked[u.onset][u.note].events],
                "rule": unplanned_rule.get((u.onset, u.note), ""),
            }
            for u in plan.unplanned
            if u.note is not None
        ],
        "pedal_us": settings.comfortable_us,
        "pair_moves": settings.pair_moves,
        "fixed": [{"string": name, "alter": alter} for name, alter in settings.fixed.items()],
        "initial": {letter: plan.initial[letter] for letter in "DCBEFGA"},
        "changes": [_change(change, places) for change in plan.changes],
        "damps": [{"t_us": t_us, "letters": letters} for t_us, letters in reading.damps],
        "events": _events(plan, reading, places, part),
    }


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


def _events(plan: PedalPlan, reading: Reading, places: Places, part: Part) -> list[dict[str, Any]]:
    """One event for all notes of an onset that are written and held equally long and played alike."""
    found = []
    for onset, row, planned in zip(reading.onsets, reading.plucked, plan.notes, strict=True):
        groups: dict[tuple[int, int, str, str], list[tuple[Plucked, PlannedNote]]] = {}
        for one, taken in zip(row, planned, strict=True):
            if taken is not None:
                key = one.written_us, taken.hold_us, taken.ends, one.how
                groups.setdefault(key, []).append((one, taken))
        bar, beat, _ = places.at(onset.t_us)
        for (written_us, hold_us, ends, how), pairs in groups.items():
            up = OCTAVE if how == "harmonic" else 0
            found.append(
                {
                    "t_us": onset.t_us,
                    "end_us": onset.t_us + written_us,
                    "hold_us": hold_us,
                    "written_us": written_us,
                    "pass": pairs[0][0].events[0].pass_,
                    "notes": [
                        part.ref(e.measure, e.note.n) for one, _ in pairs for e in one.events[: _own(one, pairs)]
                    ],
                    "pitches": [one.pitch + up for one, _ in pairs],
                    "strings": [str(taken.string) for _, taken in pairs],
                    "positions": [taken.position for _, taken in pairs],
                    "hands": None,
                    "how": how,
                    "gliss": None,
                    "ends": ends,
                    "bar": bar,
                    "beat": beat,
                }
            )
    return found


def _own(one: Plucked, pairs: list[tuple[Plucked, PlannedNote]]) -> int | None:
    """A trill's second string belongs to the note of the first: it names no note again."""
    first = next(other for other, _ in pairs if other.events[0] is one.events[0])
    return None if first is one else 0
