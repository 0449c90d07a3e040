"""From a plan of the hands at a keyboard to findings."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from deskproof import facts
from deskproof.families.base import Context, Plan
from deskproof.families.keyboard import pedals, rules
from deskproof.families.keyboard.balance import covered
from deskproof.families.keyboard.feet import feet_findings
from deskproof.families.keyboard.hands import IMPOSSIBLE, Hard
from deskproof.families.keyboard.pedal_checks import Played, pedal_findings
from deskproof.families.keyboard.pedal_proposals import proposal_findings
from deskproof.families.keyboard.pedal_signs import kinds_of
from deskproof.families.keyboard.planning import KeyboardPlan, keys_of
from deskproof.families.keyboard.reading import Key, Reading, refs
from deskproof.families.keyboard.share import in_words
from deskproof.families.keyboard.speed_checks import goes_up_to, slides, speed_findings, told
from deskproof.families.keyboard.wording import NEAR, SIDES, name_of, place_of
from deskproof.families.wording import listed
from deskproof.findings import Finding, Place
from deskproof.score import NoteRef, Part
from deskproof.spans import Span

US = 1000
UM = 1000
HARD = "hard"


def check(plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Finding]:
    """The findings of one keyboard part, one for each place."""
    if not isinstance(plan, KeyboardPlan) or plan.reading is None or plan.hands is None or plan.settings is None:
        return
    checker = _Checker(plan, plan.reading, context)
    for one in checker.findings():
        if context.measures is None or one.place.measure in context.measures:
            yield one


class _Checker:
    def __init__(self, plan: KeyboardPlan, reading: Reading, context: Context) -> None:
        assert plan.hands is not None and plan.settings is not None
        self.plan, self.reading, self.context = plan, reading, context
        self.hands, self.settings = plan.hands, plan.settings
        self.part: Part = context.score.parts[reading.part]
        self.times = reading.times_us
        self.wide = {(one.onset, one.hand): min(one.keys) for one in self.hands.hard if one.kind == "stretch"}
        self.pressed = pedals.presses(plan.signs, context.frame.clock.ceil_us(context.frame.length))

    def findings(self) -> list[Finding]:
        """All findings."""
        found = []
        for hard in self.hands.hard:
            one = self._one(hard)
            if one is not None:
                found.append(one)
        found += speed_findings(self.plan, self.context)
        if self.context.score.source == "musicxml":
            found += self._clusters()
        found += self._pedals()
        found += covered(self.plan, self.context)
        found += feet_findings(self.reading, self.context)
        found += proposal_findings(self.plan, self.context)
        return found

    # tempo

    def _fixed(self, t_us: int) -> bool:
        return self.context.frame.clock.tempo_at_us(t_us).fixed

    # the hands

    def _rows(self, onset: int, keys: Sequence[int]) -> list[Key]:
        return [key for key in self.reading.onsets[onset] if key.key in keys]

    def _one(self, hard: Hard) -> Finding | None:
        rows = self._rows(hard.since if hard.kind == "let-go" else hard.onset, hard.keys)
        if not rows:
            return None
        kinds = {
            "stretch": self._stretch,
            "too-many": self._too_many,
            "leap": self._leap,
            "repeat": self._repeat,
            "restruck": self._restruck,
            "let-go": self._let_go,
        }
        found = kinds[hard.kind](hard, rows)
        if found is not None and hard.kind in ("stretch", "too-many"):
            for n, hand in enumerate(self.hands.hands[hard.onset]):
                if hand is None:
                    self.plan.why[hard.onset, n] = found.rule.id
        return found

    def _at(self, rows: Sequence[Key]) -> tuple[Place, tuple[NoteRef, ...]]:
        return place_of(self.reading, rows[0].event), refs(self.part, rows)

    def _stretch(self, hard: Hard, rows: list[Key]) -> Finding:
        place, notes = self._at(rows)
        breaks, level, otherwise, goes = self._broken(hard, rows, hard.level == IMPOSSIBLE)
        return rules.STRETCH.at(
            place, notes, level=level, fold=("stretch", hard.hand), near=NEAR, hand=SIDES[hard.hand],
            keys=listed([name_of(key) for key in rows]), um=hard.um, mm=round(hard.um / UM), share=in_words(hard.um),
            otherwise=otherwise, goes=goes, breaks=breaks,
        )  # fmt: skip

    def _broken(self, hard: Hard, rows: list[Key], beyond: bool) -> tuple[bool, str, str, str]:
        """Whether a chord can be broken, and the level, the words for it and for the tempo that follow.

        ``beyond``: it cannot be struck at once.
        """
        t_us = self.times[hard.onset]
        if t_us in self.reading.unbroken:
            return False, IMPOSSIBLE if beyond else HARD, "it is marked not to be broken", ""
        if not self.settings.damper:
            return False, IMPOSSIBLE if beyond else HARD, "no pedal would hold it if it were broken", ""
        need_us, have_us = self._to_break(rows, hard), self._until_next(hard)
        if have_us >= need_us:
            return True, HARD, "it can be broken", ""
        otherwise = f"there is no time to break it ({have_us // US} ms, {need_us // US} ms are wanted)"
        if not beyond:
            return False, HARD, otherwise, ""
        fixed = self._fixed(t_us)
        goes = "" if fixed else goes_up_to(self.context, t_us, have_us / need_us)
        return False, IMPOSSIBLE if fixed else HARD, otherwise, goes

    def _to_break(self, rows: Sequence[Key], hard: Hard) -> int:
        """How long a hand needs to break a chord, for its notes or its way, and to be at its next keys."""
        each_us = float(facts.get("keys.leap_least").value)
        roll_us = (len(rows) - 1) * US * int(facts.get("pianists.roll_note").value)
        centres = self.settings.limits.keys.centres_um
        after = self._next(hard)
        back_um = 0
        if after is not None and hard.hand:
            hands = zip(self.reading.onsets[after], self.hands.hands[after], strict=True)
            lowest = self.wide.get((after, hard.hand)) or next(key.key for key, hand in hands if hand == hard.hand)
            back_um = abs(centres[lowest] - centres[rows[-1].key])
        return max(roll_us, round(hard.um * each_us)) + round(back_um * each_us)

    def _next(self, hard: Hard) -> int | None:
        """The next onset of the same hand."""
        later = range(hard.onset + 1, len(self.times))
        return next((i for i in later if not hard.hand or hard.hand in self.hands.hands[i]), None)

    def _until_next(self, hard: Hard) -> int:
        """The time from an onset to the next of the same hand; to the end of the longest note where none follows."""
        after = self._next(hard)
        if after is not None:
            return self.times[after] - self.times[hard.onset]
        return max(key.until_us for key in self.reading.onsets[hard.onset]) - self.times[hard.onset]

    def _too_many(self, hard: Hard, rows: list[Key]) -> Finding:
        place, notes = self._at(rows)
        limits = self.settings.limits
        where = f" for the {SIDES[hard.hand]} hand" if hard.hand else ""
        most = limits.notes if hard.hand else 2 * limits.notes
        reason = (
            f"a hand takes {limits.notes} keys, {limits.notes_thumb} where the thumb lies on two"
            if hard.hand
            else f"two hands take {2 * limits.notes} keys, or a few more where the thumbs lie on two"
        )
        breaks, level, otherwise, goes = self._broken(hard, rows, True)
        return rules.NOTES.at(
            place, notes, level=level, fold=("notes", hard.hand, tuple(hard.keys)), count_words=f"{len(rows)} notes",
            where=where, reason=reason, over=len(rows) - most, hand=SIDES.get(hard.hand, ""), otherwise=otherwise,
            goes=goes, breaks=breaks,
        )  # fmt: skip

    def _leap(self, hard: Hard, rows: list[Key]) -> Finding | None:
        before = [
            key
            for key, hand in zip(self.reading.onsets[hard.since], self.hands.hands[hard.since], strict=True)
            if hand == hard.hand
        ]
        if slides([*rows, *before]):
            return None
        if self._other_takes(hard.onset, hard) or self._other_takes(hard.since, hard):
            return None
        start_us, each_us = facts.get("keys.leap_hard").value
        need_us = round(start_us * US + each_us * hard.um)
        if hard.um <= self.settings.limits.reach_um:
            hard = hard._replace(level=HARD)  # a large hand lies over both
        return self._timed(
            rules.LEAP, hard, rows, need_us, before, fold=("leap", hard.hand),
            before=listed([name_of(k) for k in before]), mm=round(hard.um / UM), um=hard.um,
        )  # fmt: skip

    def _repeat(self, hard: Hard, rows: list[Key]) -> Finding | None:
        if self._other_takes(hard.onset, hard):
            return None
        need_us = self.settings.repeat_hard_us
        floor_us = US * int(facts.get("pianists.repeat_floor").value)
        level = IMPOSSIBLE if hard.us < floor_us else HARD
        before = self._rows(hard.since, hard.keys)
        return self._timed(rules.REPEAT, hard._replace(level=level), rows, need_us, before, fold=("repeat", hard.hand))

    def _other_takes(self, onset: int, hard: Hard) -> bool:
        """Whether the other hand could take what this one has at an onset, and be there and away in time."""
        other = "L" if hard.hand == "R" else "R"
        keys = self._keys_of(onset, hard.hand)
        limits = self.settings.limits
        own = self._keys_of(onset, other)
        both = sorted({*keys, *own})
        if not keys or limits.keys.extent_um(both) > self.settings.hard_um or not limits.fits(both, other == "R"):
            return False
        start_us, each_us = facts.get("keys.leap_hard").value
        for way in (-1, 1):
            i = onset + way
            while 0 <= i < len(self.times) and not self._keys_of(i, other):
                i += way
            if not 0 <= i < len(self.times):
                continue
            um = limits.keys.extent_um([*both, *self._keys_of(i, other)])
            gap_us = abs(self.times[i] - self.times[onset])
            if um >= self.settings.leap_from_um and gap_us < start_us * US + each_us * um:
                return False
            again = set(keys) & set(self._keys_of(i, other))
            if again and gap_us < self.settings.repeat_hard_us:
                return False
        return True

    def _keys_of(self, onset: int, hand: str) -> list[int]:
        row = zip(self.reading.onsets[onset], self.hands.hands[onset], strict=True)
        return [key.key for key, its in row if its == hand]

    def _timed(
        self, rule: Any, hard: Hard, rows: list[Key], need_us: int, since: Sequence[Key], fold: Any, **numbers: Any
    ) -> Finding | None:
        """A finding about time, from keys to keys: impossible only at a tempo that is fixed."""
        t_us = self.times[hard.onset]
        if not told(self.context, t_us):
            return None
        place, _ = self._at(rows)
        notes = refs(self.part, [*rows, *since])
        fixed = self._fixed(t_us)
        level = IMPOSSIBLE if hard.level == IMPOSSIBLE and fixed else HARD
        factor = hard.us / need_us
        found: Finding = rule.at(
            place, notes, level=level, fold=fold, near=NEAR, hand=SIDES[hard.hand],
            keys=listed([name_of(key) for key in rows]), have_us=hard.us, have_ms=hard.us // US,
            need_ms=-(-need_us // US), lack_us=need_us - hard.us, factor=factor,
            goes=goes_up_to(self.context, t_us, factor), **numbers,
        )  # fmt: skip
        return found

    def _restruck(self, hard: Hard, rows: list[Key]) -> Finding | None:
        played = self.context.score.source == "midi"  # what was played tells nothing of written lengths
        if played or rows[0].how == "grace" or self._damper_down(self.times[hard.onset]):
            return None  # the pedal holds what the finger leaves
        place, _ = self._at(rows)
        held = self._rows(hard.since, hard.keys)
        staves = [{event.note.staff for key in some for event in key.events} for some in (held, rows)]
        if self.part.staves > 1 and staves[0] & staves[1]:
            return None  # two voices of one staff: its hand strikes again
        return rules.RESTRUCK.at(
            place, refs(self.part, [*rows, *held]), fold="restruck", near=NEAR, hand=SIDES[hard.hand],
            keys=listed([name_of(key) for key in rows]), left_us=hard.us, left_ms=hard.us // US,
            kept_q=self._kept_q(held, hard.onset),
        )  # fmt: skip

    def _damper_down(self, t_us: int) -> bool:
        """Whether a damper pedal is written to be down, or is left to the player."""
        if any(sign.free and sign.pedal == pedals.DAMPER for sign in self.plan.signs):
            return True
        return any(one.pedal == pedals.DAMPER and one.down_us <= t_us < one.up_us for one in self.pressed)

    def _let_go(self, hard: Hard, rows: list[Key]) -> Finding | None:
        if self.context.score.source == "midi":
            return None
        place, notes = self._at(rows)
        return rules.LET_GO.at(
            place, notes, fold="let go", near=NEAR, hand=SIDES[hard.hand],
            keys=listed([name_of(key) for key in rows]), left_us=hard.us, left_ms=hard.us // US,
            kept_q=self._kept_q(rows, hard.onset),
        )  # fmt: skip

    def _kept_q(self, held: Sequence[Key], onset: int) -> str:
        """How many quarters held keys have lasted when an onset comes, as a fraction."""
        ticks = self.reading.onsets[onset][0].event.onset - held[0].event.onset
        return str(Fraction(ticks, self.context.score.grid))

    # words

    def _clusters(self) -> Iterator[Finding]:
        for measure in self.part.measures:
            for sign in measure.directions:
                what = _cluster(sign.value) if sign.kind == "words" and not sign.hidden else ""
                if not what:
                    continue
                near = [n for n in measure.notes if n.pitch is not None and n.start >= sign.start][:1]
                yield rules.CLUSTER.at(
                    Place(self.reading.part, sign.staff, measure.index, sign.start),
                    [NoteRef(self.part.id, measure.index, n.n) for n in near], fold=("cluster", what), what=what,
                )  # fmt: skip

    def _pedals(self) -> Iterator[Finding]:
        keys, places = keys_of(self.plan)
        played = []
        for key, (i, n) in zip(keys, places, strict=True):
            event = self.reading.onsets[i][n].event
            ref = NoteRef(self.part.id, event.measure, event.note.n)
            played.append(Played(ref, event.pass_, event.measure, event.note.start, event.note.staff, key))
        kind = kinds_of(self.plan.spans, self.context.frame)
        for one in pedal_findings(self.plan.signs, played, self.reading.part, self.part, self.context.frame, kind):
            staff = one.place.staff
            if one.notes:
                first = one.notes[0]
                staff = self.part.measures[first.measure].notes[first.n].staff
            yield replace(one, place=replace(one.place, staff=staff))


_CLUSTERS = (
    (r"forearm|avant-bras|unterarm|avambraccio", "a cluster with the forearm"),
    (r"\b(fists?|poings?|faust|fäuste|pugno|pugni)\b", "a stroke with the fist"),
    (r"\b(palms?|paumes?|handfläche|palmo)\b", "a cluster with the palm"),
    (r"cluster", "a cluster"),
    (r"inside the piano|dans le piano|im klavier|nel pianoforte|on the strings", "playing on the strings"),
)


def _cluster(text: str) -> str:
    """What words ask for that fingers on keys do not do; empty if nothing."""
    return next((what for pattern, what in _CLUSTERS if re.search(pattern, text, re.IGNORECASE)), "")
