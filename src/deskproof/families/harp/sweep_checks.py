"""What can be wrong with a written glissando: its end, its setting, its speed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import product

from deskproof import facts
from deskproof.chords import GlissError, Wanted, parse
from deskproof.families.harp import rules
from deskproof.families.harp.model import FEET, LETTERS, String
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Reading, Sweep
from deskproof.families.harp.sweep import SEMITONES, Setting, answer, moves, sounding, speed, string_class
from deskproof.families.harp.wording import SIGNS, number_of, place_of
from deskproof.findings import Finding, Place
from deskproof.pitch import Pitch
from deskproof.score import CHORD, NoteRef, Part

MOST_PROPOSED = 3
_GLISS = re.compile(r"(?i)\bgliss(?:ando|andi)?\b\.?")
_NAMES = re.compile(r"(?i)\b(?:major|minor|scale|chord|pentatonic|whole[ -]?tone)\b")
_KEY = re.compile(r"(?i)\b(?:major|minor)$")
_SMALL = re.compile(r"(?i)^(?:(?:in|on|over|of|all|the|with|notes)\b[ .]*)+")


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
                settings=_sooner(sweep.slide.setting, pedals.standing(sweep.from_us), _room_us(sweep, reading)),
                wanted=_classes(sweep.slide.setting),
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
            settings=_with_ends(setting, sweep),
        )  # fmt: skip


def _with_ends(setting: Mapping[str, int], sweep: Sweep) -> list[dict[str, int]]:
    """The setting with the letters of both ends as they are written; none where no pedals give that."""
    return with_names(setting, _ends(sweep)) if len(setting) == len(LETTERS) else []


def _ends(sweep: Sweep) -> list[Pitch]:
    return [e.note.pitch for e in (sweep.first, sweep.last) if e is not None and e.note.pitch is not None]


def _room_us(sweep: Sweep, reading: Reading) -> int:
    """The time from the last note before a glissando to its first."""
    before = [onset.t_us for onset in reading.onsets if onset.t_us < sweep.from_us]
    return sweep.from_us - before[-1] if before else 0


def _classes(setting: Mapping[str, int]) -> list[int]:
    return sorted({string_class(letter, at) for letter, at in setting.items()})


def _sooner(setting: Mapping[str, int], stands: Mapping[str, int], room_us: int) -> list[dict[str, int]]:
    """Settings near a wanted one that the feet have time for, a pedal at a time each: three at most.

    Those that sound the same notes come first; then those that leave some pedals where they stand, the most of the
    wanted notes and the fewest others first.
    """
    if len(setting) < len(LETTERS):
        return []
    wanted, before = Setting.of(setting), Setting.of(stands)
    most = max(room_us, 0) // (1000 * number_of("pedal_quickest"))
    same = [row for row in answer(sounding(wanted), before).exact if row != wanted]
    ways = product(*({a, b} for a, b in zip(before, wanted, strict=True)))
    partly = [row for row in map(Setting._make, ways) if not row.crossed]
    partly.sort(key=lambda row: (len(sounding(row) ^ sounding(wanted)), moves(row, wanted), -row.flats, row))
    rows = [row for row in dict.fromkeys([*same, *partly]) if row != wanted and _busiest(before, row) <= most]
    return [dict(row.positions) for row in rows[:MOST_PROPOSED]]


def _busiest(before: Setting, after: Setting) -> int:
    """How many pedals the foot moves that moves more of them."""
    one, two = before.positions, after.positions
    return max(sum(one[letter] != two[letter] for letter in foot) for foot in FEET)


def with_names(alters: Mapping[str, int], names: Sequence[Pitch]) -> list[dict[str, int]]:
    """The setting of ``alters``, by letter, with some letters as notes are written; none if these clash.

    >>> natural = dict.fromkeys("DCBEFGA", 0)
    >>> [_set_to(one) for one in with_names(natural, [Pitch("C", 1, 4), Pitch("C", 1, 6), Pitch("F", 1, 4)])]
    ['D♮ C♯ B♮ E♮ F♯ G♮ A♮']
    >>> with_names(natural, [Pitch("C", 1, 4), Pitch("C", 0, 6)])
    []
    """
    named: dict[str, int] = {}
    for pitch in names:
        if pitch.alter not in SIGNS or named.setdefault(pitch.step, int(pitch.alter)) != pitch.alter:
            return []
    return [{letter: named.get(letter, alters[letter]) for letter in LETTERS}]


def proposed(
    sweep: Sweep, part: Part, alters: Mapping[str, int], stands: Mapping[str, int]
) -> tuple[list[dict[str, int]], list[int]]:
    """Settings for a glissando that is written without one, three at most, and the pitch classes that are wanted.

    Wanted is the chord or scale that words beside its beginning name; without any, the key with the letters of the
    notes that lead up to it and of its ends as they are written. The first setting is spelled so; the others sound
    the same, and move fewer pedals.

    Parameters
    ----------
    sweep : Sweep
    part : Part
        The harp's.
    alters : mapping
        Letter -> alteration under the key in force.
    stands : mapping
        Letter -> position where the pedals stand before.
    """
    wanted = named(sweep, part)
    if wanted is not None:
        found = answer(wanted.classes, Setting.of(stands))
        rows = [dict(s.positions) for s in found.exact] or [dict(near.setting.positions) for near in found.nearest]
        rows.sort(key=lambda row: row != dict(wanted.notes))
        return rows[:MOST_PROPOSED], sorted(wanted.classes)
    rows = with_names(alters, [*leading(sweep, part), *_ends(sweep)])
    if not rows:
        return [], []
    spelled, before = Setting.of(rows[0]), Setting.of(stands)
    same = answer(sounding(spelled), before).exact
    rows += [dict(s.positions) for s in same if moves(before, s) < moves(before, spelled)]
    return rows[:MOST_PROPOSED], _classes(rows[0])


def named(sweep: Sweep, part: Part) -> Wanted | None:
    """The chord or scale that words in the bar of a glissando name: "gliss. in C♭ major"; None without such words.

    Words that do not say "gliss." count where they say what they name: a scale, a chord, major, minor. Of several
    the last up to its first note are meant, or else the first behind it.
    """
    start = sweep.first.note.start
    signs = [sign for sign in part.measures[sweep.first.measure].directions if sign.kind == "words"]
    for sign in sorted(signs, key=lambda sign: (sign.start > start, abs(sign.start - start))):
        said = _GLISS.sub(" ", sign.value)
        if said == sign.value and not _NAMES.search(said):
            continue
        said = _SMALL.sub("", said.strip(" .:,()")).strip(" .:,()")
        if _KEY.search(said):
            said += " scale"  # "in D major" is no triad here
        try:
            return parse(said)
        except GlissError:
            continue
    return None


def leading(sweep: Sweep, part: Part) -> list[Pitch]:
    """The notes that lead string by string up or down to a glissando, in its direction and bar, itself included."""
    start = sweep.first.note
    row = [
        note
        for note in part.measures[sweep.first.measure].notes
        if (note.voice, note.staff) == (start.voice, start.staff)
        and not note.flags & CHORD
        and (note.start, note.n) <= (start.start, start.n)
    ]
    found: list[Pitch] = []
    for note in sorted(row, key=lambda note: (note.start, note.n), reverse=True):
        if note.pitch is None or sweep.lines is None:
            break
        line = String(note.pitch.step, note.pitch.octave).line
        if found:
            step = String(found[-1].step, found[-1].octave).line - line
            if step != (1 if sweep.lines[1] > sweep.lines[0] else -1):
                break
        found.append(note.pitch)
    return found if len(found) > 1 else []


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
