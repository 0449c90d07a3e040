"""Which hand takes what on a keyboard: one plan for both hands over a whole part, and what in it is hard.

Nothing here knows scores: times are whole microseconds, keys are MIDI numbers, distances whole micrometres between the
centres of keys. The split of every onset comes from ``hand_search``; here it is played through once more, and what
the hands must let go, stretch, leap and strike again is written down with its figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from deskproof import facts
from deskproof.families.keyboard.geometry import NORMAL, keyboard
from deskproof.families.keyboard.hand_search import (
    LEFT,
    RIGHT,
    Leap,
    Limits,
    Press,
    Trail,
    crowded,
    least_stretch,
    rolls,
    search_again,
    searched,
)

FINGER, DAMPER = "finger", "damper"
HARD, IMPOSSIBLE = "hard", "impossible"
STRETCH, TOO_MANY, LEAP, RESTRUCK, REPEAT, LET_GO = "stretch", "too-many", "leap", "restruck", "repeat", "let-go"
GRACE = "grace"
HANDS = ("L", "R")

__all__ = ["HandPlan", "Hard", "Press", "Settings", "grouped", "plan_hands", "settings_of"]


@dataclass(frozen=True, slots=True)
class Settings:
    """The hands that play and the keys they play on; ``settings_of`` fills it from the facts.

    Attributes
    ----------
    limits : Limits
        What one hand takes at once: see there.
    hard_um : int
        Stretches above are hard; ``limits.reach_um`` is the widest of all.
    damper : bool
        True if a pedal holds what the fingers let go.
    overlap_us : int
        A key let go so little after the next one is struck is not held on purpose.
    leap_from_um, leap_least_us, leap_hard_us, leap_hard_more_us : int
        Two events of one hand are a leap from this extent; the least time for each mm of it, and the line below which
        it is hard: so much and so much more for each mm.
    repeat_least_us, repeat_hard_us : int
        From a key to the same key in one hand.
    """

    limits: Limits
    hard_um: int
    damper: bool
    overlap_us: int
    leap_from_um: int
    leap_least_us: int
    leap_hard_us: int
    leap_hard_more_us: int
    repeat_least_us: int
    repeat_hard_us: int


class Hard(NamedTuple):
    """Something in the plan that is hard, or that no hand can do.

    Attributes
    ----------
    kind : str
        stretch, too-many, leap, restruck (one hand strikes a key the other holds), repeat (the same hand, the same
        key), let-go (a key still written that a hand must leave where no pedal holds it).
    level : str
        hard or impossible.
    onset : int
        Which press, counted from 0.
    hand : str
        L or R; empty where it is both.
    keys : tuple of int
        The keys at this onset that it is about.
    um, us : int
        Its extent in micrometres and its time in microseconds; 0 where it has none. For restruck and let-go the time
        that the key is written to go on.
    since : int
        The press that it is measured from; -1 where there is none.
    """

    kind: str
    level: str
    onset: int
    hand: str
    keys: tuple[int, ...]
    um: int = 0
    us: int = 0
    since: int = -1


@dataclass(frozen=True, slots=True)
class HandPlan:
    """Who plays what. The first three have a row for each press and in it an entry for each key.

    Attributes
    ----------
    hands : tuple
        L, R, or None for a key that no hand is left for.
    kept_by : tuple
        finger, or damper where the hand must leave before the written end.
    up_us : tuple
        When the finger leaves the key; the written end where it stays.
    hard : tuple of Hard
        In order of onsets.
    trail : Trail or None
        The search it comes from; None where it went on from another.
    """

    hands: tuple[tuple[str | None, ...], ...]
    kept_by: tuple[tuple[str, ...], ...]
    up_us: tuple[tuple[int, ...], ...]
    hard: tuple[Hard, ...] = field(default=())
    trail: Trail | None = field(default=None, compare=False, repr=False)


@lru_cache(maxsize=64)
def settings_of(
    hand_mm: int | None = None, width: int = NORMAL, damper: bool = True, repeat_ms: int | None = None
) -> Settings:
    """The settings of the facts, for a hand and an instrument.

    Parameters
    ----------
    hand_mm : int or None
        Span of the hand from thumb to little finger; None is the usual one. A hand larger than the large one of the
        facts moves the widest reach of all too.
    width : int
        Width of the keys in thousandths of the usual one.
    damper : bool
        False on an organ or a harpsichord.
    repeat_ms : int or None
        The time below which one key again is hard; None is a piano's.
    """
    hand = _figure("hand") if hand_mm is None else hand_mm
    over = _figure("hand_over")
    least = _figure("leap_least")
    hard_us, hard_more = facts.get("keys.leap_hard").value
    return Settings(
        limits=Limits(
            keys=keyboard(width),
            reach_um=round((max(hand, _figure("hand_large")) - over) * 1000),
            notes=facts.get("keys.notes_a_hand").value,
            notes_thumb=facts.get("keys.notes_a_hand_thumb").value,
        ),
        hard_um=round((hand - over) * 1000),
        damper=damper,
        overlap_us=round(_figure("overlap") * 1000),
        leap_from_um=round(_figure("leap_from") * 1000),
        leap_least_us=round(least * 1000),
        leap_hard_us=round(hard_us * 1000),
        leap_hard_more_us=round(hard_more * 1000),
        repeat_least_us=round(_figure("repeat_least") * 1000),
        repeat_hard_us=1000 * repeat_ms if repeat_ms is not None else round(_figure("repeat_hard") * 1000),
    )


def _figure(name: str) -> float:
    value = facts.get(f"keys.{name}").value
    return float(value)


def grouped(notes: Iterable[tuple[int, int, int]], within_us: int | None = None) -> list[Press]:
    """Recorded notes as presses: a chord is what begins within a short time of its first note.

    Parameters
    ----------
    notes : iterable of (t_us, key, until_us)
        In any order. A key that comes twice within the time begins a new press.
    within_us : int or None
        The time; None is that of the facts.
    """
    within = round(_figure("together") * 1000) if within_us is None else within_us
    rows: list[list[tuple[int, int, int]]] = []
    struck: set[int] = set()
    for note in sorted(notes):
        if not rows or note[0] - rows[-1][0][0] > within or note[1] in struck:
            rows.append([])
            struck = set()
        rows[-1].append(note)
        struck.add(note[1])
    presses = []
    for row in rows:
        by_key = sorted(row, key=lambda note: note[1])
        presses.append(Press(row[0][0], tuple(n[1] for n in by_key), tuple(n[2] for n in by_key)))
    return presses


def plan_hands(
    onsets: Sequence[Press], settings: Settings | None = None, before: HandPlan | None = None
) -> HandPlan:
    """Split a part between two hands, and say what is hard in it.

    Parameters
    ----------
    onsets : sequence of Press
        In order of time, no time twice, the keys of each from low to high and no key twice.
    settings : Settings or None
        None is the usual hand at a piano.
    before : HandPlan or None
        A plan with these settings of which only some presses have changed; the plan is the same without it.

    Notes
    -----
    The search looks at the whole part before it decides. Of equal splits the one with fewer keys in the left hand
    wins, so the same part always gives the same plan. An empty part gives an empty plan.
    """
    settings = settings or settings_of()
    leap = Leap(settings.leap_from_um, settings.leap_least_us)
    trail = None
    if before is not None and before.trail is not None:
        split = search_again(before.trail, onsets, settings.limits, settings.hard_um, leap)
    else:
        trail = searched(onsets, settings.limits, settings.hard_um, leap)
        split = trail.split
    play = _Playing(onsets, settings, split)
    for i in range(len(onsets)):
        play.press(i)
    return HandPlan(
        tuple(tuple(None if hand is None else HANDS[hand] for hand in row) for row in split),
        tuple(map(tuple, play.kept_by)),
        tuple(map(tuple, play.up_us)),
        tuple(play.hard),
        trail,
    )


class _Held(NamedTuple):
    """A key under a finger: its written end, and where its press is."""

    key: int
    until_us: int
    onset: int
    place: int


class _Last(NamedTuple):
    """Where a hand was: the keys it ended on, when, which press; ``sure`` is False for a grace note's time."""

    low: int
    high: int
    t_us: int
    onset: int
    sure: bool


class _Playing:
    """A finished split played through from the front: what the fingers keep, and what is hard."""

    def __init__(self, onsets: Sequence[Press], settings: Settings, split: Sequence[Sequence[int | None]]) -> None:
        self.onsets, self.settings, self.split = onsets, settings, split
        self.kept_by = [[FINGER] * len(press.keys) for press in onsets]
        self.up_us = [list(press.until_us) for press in onsets]
        self.hard: list[Hard] = []
        self.held: list[list[_Held]] = [[], []]
        self.last: list[_Last | None] = [None, None]
        self.struck: list[dict[int, int]] = [{}, {}]  # of each hand: key -> the press that struck it last

    def press(self, i: int) -> None:
        """Play one press with both hands."""
        press, row = self.onsets[i], self.split[i]
        if None in row:
            self._too_wide(i)
        for hand in (LEFT, RIGHT):
            places = [place for place, taken in enumerate(row) if taken == hand]
            if places:
                self._strike(i, hand, press, places)

    def _strike(self, i: int, hand: int, press: Press, places: list[int]) -> None:
        keys = [press.keys[place] for place in places]
        centres = self.settings.limits.keys.centres_um
        rolled = rolls(press.how, places)
        sure = not press.how or any(press.how[place] != GRACE for place in places)
        um = centres[keys[-1]] - centres[keys[0]]
        if um > self.settings.hard_um and not rolled:
            level = IMPOSSIBLE if um > self.settings.limits.reach_um else HARD
            self.hard.append(Hard(STRETCH, level, i, HANDS[hand], tuple(keys), um))
        self._leap(i, hand, press.t_us, keys[0], keys[0] if rolled else keys[-1], sure)
        self.last[hand] = _Last(keys[-1] if rolled else keys[0], keys[-1], press.t_us, i, sure)
        self._again(i, hand, press, places, sure)
        self._keep(i, hand, press, places)

    def _leap(self, i: int, hand: int, t_us: int, low: int, high: int, sure: bool) -> None:
        last = self.last[hand]
        if last is None or not (sure and last.sure):
            return
        settings = self.settings
        centres = settings.limits.keys.centres_um
        um = centres[max(high, last.high)] - centres[min(low, last.low)]
        if um < settings.leap_from_um:
            return
        us = t_us - last.t_us
        if us * 1000 < um * settings.leap_least_us:
            level = IMPOSSIBLE
        elif (us - settings.leap_hard_us) * 1000 < um * settings.leap_hard_more_us:
            level = HARD
        else:
            return
        self.hard.append(Hard(LEAP, level, i, HANDS[hand], self._keys_of(i, hand), um, us, last.onset))

    def _again(self, i: int, hand: int, press: Press, places: list[int], sure: bool) -> None:
        """One key struck twice: by this hand too soon, or while the other holds it."""
        settings, struck = self.settings, self.struck[hand]
        for place in places:
            key = press.keys[place]
            before = struck.get(key)
            if not sure:
                struck.pop(key, None)
                continue
            struck[key] = i
            if before is None:
                continue
            us = press.t_us - self.onsets[before].t_us
            if us < settings.repeat_hard_us and self.struck[1 - hand].get(key, -1) < before:
                level = IMPOSSIBLE if us < settings.repeat_least_us else HARD
                self.hard.append(Hard(REPEAT, level, i, HANDS[hand], (key,), 0, us, before))
        other = self.held[1 - hand]
        for held in [held for held in other if held.key in [press.keys[place] for place in places]]:
            us = held.until_us - press.t_us
            if us > settings.overlap_us:
                self.hard.append(Hard(RESTRUCK, HARD, i, HANDS[hand], (held.key,), 0, us, held.onset))
            self.up_us[held.onset][held.place] = min(press.t_us, held.until_us)
            other.remove(held)

    def _keep(self, i: int, hand: int, press: Press, places: list[int]) -> None:
        """Let go what the hand cannot hold beside its new keys, the farthest first."""
        settings = self.settings
        now = [press.keys[place] for place in places]
        held = []
        for old in self.held[hand]:
            if old.key in now:
                self.up_us[old.onset][old.place] = min(press.t_us, old.until_us)
            elif old.until_us > press.t_us + settings.overlap_us:
                held.append(old)
        rolled = rolls(press.how, places)
        fresh = [_Held(press.keys[p], press.until_us[p], i, p) for p in places]
        pinned = [] if rolled else fresh
        if rolled:  # the hand goes up the chord: what it ends on stays, the rest if it can
            held, pinned = held + fresh[:-1], fresh[-1:]
        reach_um = settings.hard_um if settings.damper else settings.limits.reach_um
        centres = settings.limits.keys.centres_um
        middle = centres[pinned[0].key] + centres[pinned[-1].key]
        while held:
            keys = sorted({*(old.key for old in held), *(new.key for new in pinned)})
            if centres[keys[-1]] - centres[keys[0]] <= reach_um and settings.limits.fits(keys, hand):
                break
            worst = max(held, key=lambda old: (abs(2 * centres[old.key] - middle), -old.onset))
            held.remove(worst)
            self._leave(worst, i, hand, press.t_us)
        self.held[hand] = held + pinned

    def _leave(self, old: _Held, i: int, hand: int, t_us: int) -> None:
        self.up_us[old.onset][old.place] = min(t_us, old.until_us)
        if self.settings.damper:
            self.kept_by[old.onset][old.place] = DAMPER
        elif old.onset != i:
            self.hard.append(Hard(LET_GO, HARD, i, HANDS[hand], (old.key,), 0, old.until_us - t_us, old.onset))

    def _too_wide(self, i: int) -> None:
        """No split reaches: the stretch that is least, or the number of notes."""
        press, limits = self.onsets[i], self.settings.limits
        um, hand, keys = least_stretch(press.keys, limits)
        if len(press.keys) > 2 * limits.notes_thumb:
            self.hard.append(Hard(TOO_MANY, IMPOSSIBLE, i, "", press.keys))
            return
        both = crowded(press.keys, limits)
        if both is not None:
            over = [side for side in (LEFT, RIGHT) if not limits.fits(both[side], side)]
            full = over[0] if len(over) == 1 else None
            taken = press.keys if full is None else both[full]
            self.hard.append(Hard(TOO_MANY, IMPOSSIBLE, i, "" if full is None else HANDS[full], taken))
        else:
            self.hard.append(Hard(STRETCH, IMPOSSIBLE, i, HANDS[hand], keys, um))

    def _keys_of(self, i: int, hand: int) -> tuple[int, ...]:
        return tuple(key for key, taken in zip(self.onsets[i].keys, self.split[i], strict=True) if taken == hand)
