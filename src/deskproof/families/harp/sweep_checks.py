"""What can be wrong with a written glissando: its end, its setting, its speed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from deskproof import facts
from deskproof.families.harp import rules
from deskproof.families.harp.model import LETTERS
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Reading, Sweep
from deskproof.families.harp.sweep import speed
from deskproof.findings import Finding, Place
from deskproof.score import NoteRef, Part

SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
SEVEN = len(LETTERS)


def sweep_findings(
    reading: Reading, pedals: PedalPlan, part: Part, fixed: Callable[[int], bool]
) -> Iterator[Finding]:
    """The findings about glissandi. ``fixed`` tells whether the tempo at a time is."""
    unset = {reading.onsets[left.onset].t_us for left in pedals.unplanned if left.note is None}
    for sweep in reading.sweeps:
        place, notes = _at(sweep, part, reading.part)
        if sweep.last is None:
            yield rules.GLISS_END.at(place, notes, what="begins and has no last note")
            continue
        yield from _end(sweep, place, notes)
        if sweep.from_us in unset and sweep.slide.setting is not None:
            yield rules.GLISS_SET.at(
                place, notes, level="impossible" if fixed(sweep.from_us) else "hard",
                setting=" ".join(f"{x}{SIGNS[sweep.slide.setting[x]]}" for x in LETTERS if x in sweep.slide.setting),
            )  # fmt: skip
        yield from _pace(sweep, place, notes)


def _at(sweep: Sweep, part: Part, index: int) -> tuple[Place, tuple[NoteRef, ...]]:
    first = sweep.first
    place = Place(index, first.note.staff, first.measure, first.note.start, first.pass_)
    ends = [e for e in (first, sweep.last) if e is not None]
    return place, tuple(NoteRef(part.id, e.measure, e.note.n) for e in ends)


def _end(sweep: Sweep, place: Place, notes: tuple[NoteRef, ...]) -> Iterator[Finding]:
    """Both ends lie on strings of the setting, by their names."""
    setting = sweep.slide.setting
    if setting is None:
        return
    for event, verb in ((sweep.first, "begins"), (sweep.last, "ends")):
        pitch = event.note.pitch if event is not None else None
        if pitch is None or pitch.step not in setting or pitch.alter == setting[pitch.step]:
            continue
        if any(_sounds(letter, at, float(pitch.midi)) for letter, at in setting.items()):
            continue  # another string has it
        yield rules.GLISS_END.at(
            place, notes, fold=("end", verb), near=0,
            what=f"{verb} on {pitch}, and its setting has {_listed(setting)}",
        )  # fmt: skip


_NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def _sounds(letter: str, position: int, midi: float) -> bool:
    return (_NATURAL[letter] + position - midi) % 12 == 0


def _listed(setting: Mapping[str, int]) -> str:
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
