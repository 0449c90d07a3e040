"""What can be wrong with a written glissando: its end, its setting, its speed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from deskproof import facts
from deskproof.families.harp import rules
from deskproof.families.harp.model import LETTERS
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Reading, Sweep
from deskproof.families.harp.sweep import SEMITONES, Setting, answer, moves, sounding, speed, string_class
from deskproof.families.harp.wording import SIGNS, place_of
from deskproof.findings import Finding, Place
from deskproof.pitch import Pitch
from deskproof.score import NoteRef, Part

MOST_PROPOSED = 3


def sweep_findings(
    reading: Reading, pedals: PedalPlan, part: Part, fixed: Callable[[int], bool]
) -> Iterator[Finding]:
    """The findings about glissandi, each with the settings that would do. ``fixed``: whether the tempo at a time is."""
    unset = {reading.onsets[left.onset].t_us for left in pedals.unplanned if left.note is None}
    for sweep in reading.sweeps:
        place, notes = _at(sweep, part, reading)
        if sweep.last is None:
            yield rules.GLISS_END.at(place, notes, what="begins and has no last note")
            continue
        yield from _end(sweep, place, notes)
        if sweep.from_us in unset and sweep.slide.setting is not None:
            yield rules.GLISS_SET.at(
                place, notes, level="impossible" if fixed(sweep.from_us) else "hard",
                setting=_set_to(sweep.slide.setting),
                settings=_sooner(sweep.slide.setting, pedals.standing(sweep.from_us)),
            )  # fmt: skip
        yield from _pace(sweep, place, notes)


def _at(sweep: Sweep, part: Part, reading: Reading) -> tuple[Place, tuple[NoteRef, ...]]:
    ends = [e for e in (sweep.first, sweep.last) if e is not None]
    return place_of(reading, sweep.first), tuple(NoteRef(part.id, e.measure, e.note.n) for e in ends)


def _end(sweep: Sweep, place: Place, notes: tuple[NoteRef, ...]) -> Iterator[Finding]:
    """Both ends lie on strings of the setting, by their names."""
    setting = sweep.slide.setting
    if setting is None:
        return
    for event, verb in ((sweep.first, "begins"), (sweep.last, "ends")):
        pitch = event.note.pitch if event is not None else None
        if pitch is None or pitch.step not in setting or pitch.alter == setting[pitch.step]:
            continue
        if any(string_class(letter, at) == pitch.midi % SEMITONES for letter, at in setting.items()):
            continue  # another string has it
        yield rules.GLISS_END.at(
            place, notes, fold=("end", verb), near=0,
            what=f"{verb} on {pitch}, and its setting has {_set_to(setting)}",
            settings=_with_end(setting, pitch),
        )  # fmt: skip


def _with_end(setting: Mapping[str, int], pitch: Pitch) -> list[dict[str, int]]:
    """The setting with the letter of the end as the end is written; none where no pedal gives that."""
    if pitch.alter not in SIGNS or len(setting) < len(LETTERS):
        return []
    return [{**setting, pitch.step: int(pitch.alter)}]


def _sooner(setting: Mapping[str, int], stands: Mapping[str, int]) -> list[dict[str, int]]:
    """Other settings that sound the same notes, or the fewest others, with fewer pedals to move: three at most."""
    if len(setting) < len(LETTERS):
        return []
    wanted, before = Setting.of(setting), Setting.of(stands)
    found = answer(sounding(wanted), before)
    rows = [*found.exact, *(near.setting for near in found.nearest)]
    return [dict(row.positions) for row in rows if moves(before, row) < moves(before, wanted)][:MOST_PROPOSED]


def of_the_key(alters: Mapping[str, int], ends: Sequence[Pitch]) -> list[dict[str, int]]:
    """The setting of the key, with the letters of a glissando's ends as they are written; none if these clash."""
    named: dict[str, int] = {}
    for pitch in ends:
        if pitch.alter not in SIGNS or named.setdefault(pitch.step, int(pitch.alter)) != pitch.alter:
            return []
    return [{letter: named.get(letter, alters[letter]) for letter in LETTERS}]


def _set_to(setting: Mapping[str, int]) -> str:
    return " ".join(f"{letter}{SIGNS[setting[letter]]}" for letter in LETTERS if letter in setting)


def _pace(sweep: Sweep, place: Place, notes: tuple[NoteRef, ...]) -> Iterator[Finding]:
    if sweep.lines is None or sweep.lines[0] == sweep.lines[1] or sweep.to_us <= sweep.from_us:
        return
    rate = float(speed(*sweep.lines, sweep.to_us - sweep.from_us))
    fastest, slowest = (float(facts.get(f"harp.sweep_{name}").value) for name in ("fastest", "slowest"))
    if slowest <= rate <= fastest:
        return
    fast = rate > fastest
    yield rules.GLISS_SPEED.at(
        place, notes, level="hard" if fast else "advice", strings=abs(sweep.lines[0] - sweep.lines[1]) + 1,
        seconds=f"{(sweep.to_us - sweep.from_us) / 1e6:.2g}", rate=f"{rate:.2g}", far=rate if fast else -rate,
        judged=f"more than {fastest:.0f} are a noise" if fast else f"fewer than {slowest:.0f} are heard as a scale",
    )  # fmt: skip
