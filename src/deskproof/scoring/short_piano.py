"""A piano part out of a short score: thinned until the check of the hands finds nothing impossible."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from time import monotonic
from typing import NamedTuple

from deskproof import facts
from deskproof.findings import Finding
from deskproof.forces import Forces
from deskproof.pitch import midi as midi_of
from deskproof.score import Mark, Score
from deskproof.scoring import short_page
from deskproof.scoring.short_lines import Lines
from deskproof.scoring.short_merging import LONG_ORNAMENTS, OCTAVE, Kept
from deskproof.state import state_of
from deskproof.tempo import tempos

RIGHT, LEFT = 1, 2
_KEYBOARD = "keyboard"
_OUTER_ONLY = 3  # how far an onset is thinned: see Hands.taken
_BASS_RAISED, _BASS_OUT, _TUNE_OUT = 4, 5, 6


def piano_part(lines: Lines, kept: Sequence[Kept], forces: Forces | None = None) -> Score:
    """The piano part of a short score's notes.

    The check of the hands is asked again and again; each place it names is thinned by one more step, until nothing is
    impossible, or the rounds or the time are over (then a remark names the bars).
    """
    until = monotonic() + facts.get("short_score.piano_seconds").value
    hands = Hands(_held(lines, kept))
    thinned: dict[int, int] = {}
    score, left = lines.score, []
    for _ in range(facts.get("short_score.piano_rounds").value):
        taken = hands.taken(thinned)
        score, origin = short_page.with_origins(lines, taken, 2, piano=True)
        findings = _too_much(score, forces)
        left = [one for one in findings if one.level == "impossible"]
        if not _thin(findings, origin, hands, thinned) or monotonic() > until:
            break
    if left:
        bars = sorted({one.place.measure for one in left})
        numbers = ", ".join(score.parts[0].measures[bar].number for bar in bars)
        score = replace(score, remarks=(*score.remarks, f"Two hands cannot play all that is left in bars {numbers}."))
    return score


def _too_much(score: Score, forces: Forces | None) -> list[Finding]:
    """What the check of the hands calls impossible or hard."""
    atoms = state_of(score, forces).atoms[_KEYBOARD, 0]
    return [one for one in atoms if one.level in ("impossible", "hard")]


def _thin(
    findings: Sequence[Finding],
    origin: dict[tuple[int, int], Kept],
    hands: Hands,
    thinned: dict[int, int],
) -> bool:
    """Thin each onset that a finding names, and the one before it, by a step; whether any could be."""
    wanted: dict[int, int] = {}
    for one in findings:
        most = _TUNE_OUT if one.level == "impossible" else _OUTER_ONLY
        for ref in one.notes:
            onset = origin[ref.measure, ref.n].onset
            for at in (onset, hands.before(onset)):
                wanted[at] = max(wanted.get(at, 0), most if at == onset else min(most, _OUTER_ONLY))
    changed = False
    for at, most in wanted.items():
        if thinned.get(at, 0) < most:
            thinned[at] = thinned.get(at, 0) + 1
            changed = True
    return changed


# what sounds


class _Pace(NamedTuple):
    """How long a tick lasts in ms, by place."""

    places: list[tuple[int, int]]
    ms: list[float]

    def at(self, bar: int, start: int) -> float:
        return self.ms[max(0, bisect_right(self.places, (bar, start)) - 1)]


def _pace(score: Score) -> _Pace:
    rows = tempos(score)
    return _Pace([(row.measure, row.start) for row in rows], [60_000 / float(row.qpm) / score.grid for row in rows])


def _held(lines: Lines, kept: Sequence[Kept]) -> list[Kept]:
    """The notes as keys are struck: tremolos and quick repetitions held, a key that is struck again let go before."""
    fast = facts.get("short_score.piano_fast").value
    pace = _pace(lines.score)
    found: list[Kept] = []
    last: dict[int | float, tuple[Kept, int]] = {}  # pitch -> the note that sounds, and its last stroke
    for one in sorted(kept, key=lambda one: (one.onset, -one.grace, -one.end)):
        now = replace(one, marks=_on_keys(one), by=dict(one.by))
        if one.grace:
            found.append(now)
            continue
        before, stroke = last.get(one.midi, (None, 0))
        if before is not None and one.onset <= before.end:
            ms = pace.at(one.bar, one.onset - lines.onsets[one.bar])
            if one.onset == before.onset or (one.onset - stroke) * ms < fast:
                before.end = max(before.end, one.end)
                before.by.update(one.by)
                last[one.midi] = (before, one.onset)
                continue
            now.end = max(one.end, before.end)
            before.end = one.onset
        last[one.midi] = (now, one.onset)
        found.append(now)
    found.sort(key=lambda one: (one.onset, -one.grace, -one.midi))
    return found


def _on_keys(one: Kept) -> tuple[Mark, ...]:
    """The signs that a pianist keeps: no tremolo, and a trill on the tune only."""
    gone = ("tremolo",) if one.outer in ("tune", "both") else LONG_ORNAMENTS
    return tuple(mark for mark in one.marks if mark.kind not in gone)


# the hands


class Hands:
    """Chooses at each onset what the hands take."""

    def __init__(self, kept: Sequence[Kept]) -> None:
        self.onsets = sorted({one.onset for one in kept})
        self.rows: dict[int, list[Kept]] = {}
        self.held: dict[int, list[Kept]] = {}
        for one in kept:
            self.rows.setdefault(one.onset, []).append(one)
        self.full = Counter((one.bar, one.line) for one in kept)
        active: list[Kept] = []
        for onset in self.onsets:
            active = [one for one in active if one.end > onset]
            self.held[onset] = list(active)
            active += [one for one in self.rows[onset] if not one.grace]
        self.reach = facts.get("short_score.piano_reach").value
        self.most = facts.get("short_score.piano_notes").value

    def before(self, onset: int) -> int:
        """The onset before one; the first has none but itself."""
        return self.onsets[max(0, bisect_left(self.onsets, onset) - 1)]

    def taken(self, thinned: dict[int, int]) -> list[Kept]:
        """The notes that the hands take, each on the staff of its hand.

        ``thinned`` says by how many steps an onset is thinned: 1 and 2 one note a hand less each, 3 the outermost
        notes only, 4 the bass an octave higher, 5 no bass, 6 nothing.
        """
        found: list[Kept] = []
        staff: dict[object, int] = {}
        for onset in self.onsets:
            found += self._at(onset, thinned.get(onset, 0), staff)
        return self._whole(found)

    def _whole(self, taken: Sequence[Kept]) -> list[Kept]:
        """Without inner lines of which only shreds are left in a bar."""
        left = Counter((one.bar, one.line) for one in taken)
        share = facts.get("short_score.piano_whole").value
        return [
            one
            for one in taken
            if left[one.bar, one.line] >= share * self.full[one.bar, one.line] or self.is_outer(one)
        ]

    def is_outer(self, one: Kept) -> bool:
        """Whether a note is the highest or the lowest where it begins."""
        heights = [other.midi for other in (*self.held[one.onset], *self.rows[one.onset])]
        return one.midi in (max(heights), min(heights))

    def _at(self, onset: int, step: int, staff: dict[object, int]) -> list[Kept]:
        starting = [one for one in self.rows[onset] if not one.grace]
        sounding = [*self.held[onset], *starting]
        if step >= _TUNE_OUT or not sounding:
            return []
        top, low = max(one.midi for one in sounding), min(one.midi for one in sounding)
        tune = next((one for one in starting if one.midi == top), None)
        bass = next((one for one in starting if one.midi == low and one is not tune), None)
        if bass is not None and step >= _BASS_OUT:
            bass = None
        elif bass is not None and step >= _BASS_RAISED and bass.midi + OCTAVE < top:
            bass = _raised(bass)
            low = bass.midi
        hands: dict[int, list[Kept]] = {RIGHT: [], LEFT: []}
        if tune is not None:
            alone = top - low <= self.reach and bass is None and len(sounding) == 1
            hands[_side(tune, staff) if alone else RIGHT].append(tune)
        if bass is not None:
            hands[LEFT].append(bass)
        if step < _OUTER_ONLY:
            self._inner(starting, hands, (top, low), self.most - step, staff)
        for side, rows in hands.items():
            for one in rows:
                one.staff = side
                staff[one.line] = side
        chosen = [one for rows in hands.values() for one in rows]
        graces = [one for one in self.rows[onset] if one.grace and not step]
        for grace in graces:
            grace.staff = staff.get(grace.line, RIGHT)
        return [*[g for g in graces if any(one.line == g.line for one in chosen)], *chosen]

    def _inner(
        self,
        starting: Sequence[Kept],
        hands: dict[int, list[Kept]],
        ends: tuple[int | float, int | float],
        most: int,
        staff: dict[object, int],
    ) -> None:
        """Give the hands what they reach of the inner notes: notes of the chord first, doublings at the octave last."""
        top, low = ends
        have = {one.midi % OCTAVE for rows in hands.values() for one in rows}
        taken = {id(one) for rows in hands.values() for one in rows}
        rest = [one for one in starting if low < one.midi < top]
        rest.sort(key=lambda one: (-len(one.by), -one.midi))
        for doubling in (False, True):
            for one in rest:
                if (one.midi % OCTAVE in have) != doubling or id(one) in taken:
                    continue
                sides = [
                    side
                    for side, end in ((RIGHT, top), (LEFT, low))
                    if abs(end - one.midi) <= self.reach and len(hands[side]) < most
                ]
                if sides:
                    usual = staff.get(one.line)
                    near = min(sides, key=lambda side: abs((top if side == RIGHT else low) - one.midi))
                    hands[usual if usual in sides else near].append(one)
                    have.add(one.midi % OCTAVE)
                    taken.add(id(one))


def _side(one: Kept, staff: dict[object, int]) -> int:
    """The hand of a line that sounds alone: the one it has, else by its height."""
    return staff.get(one.line, RIGHT if one.midi >= midi_of("C4") else LEFT)


def _raised(bass: Kept) -> Kept:
    higher = bass.pitch._replace(octave=bass.pitch.octave + 1)
    by = {(player, octave - 1): None for player, octave in bass.by}
    return replace(bass, midi=bass.midi + OCTAVE, pitch=higher, by=by)
