"""What is printed for the harpist: settings as diagrams, changes where the foot moves, all in keeping with the notes.

The plan is of what is played; a page is printed once and played as often as the repeats say. So the signs are made
from the first playing, then the page is read through in playing order, and where a later pass would find a pedal
elsewhere a sign is added.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from deskproof import facts
from deskproof.edits import AddHarpPedals, AddWords, Edit, complete
from deskproof.families.base import Context, Help, Plan
from deskproof.families.harp.either import for_either
from deskproof.families.harp.model import FEET, LETTERS
from deskproof.families.harp.plan import Change, PedalPlan
from deskproof.families.harp.planning import HarpPlan
from deskproof.families.harp.printed import glissandi, printed
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.spelling import respelled
from deskproof.families.harp.wording import SIGNS
from deskproof.score import GRACE, Part
from deskproof.timeline import Frame

_PRESETS = 3  # changes in one long rest that are printed as a setting, by common practice


@dataclass(frozen=True, slots=True)
class Sign:
    """A setting (``whole``) or changes at a place of the page; ``there`` already stands in the score."""

    measure: int
    start: int
    positions: Mapping[str, int]
    whole: bool
    there: bool = False


@dataclass(frozen=True, slots=True)
class Use:
    """One string plucked: where it is in the playing order, and what its pedal must be."""

    play: int
    measure: int
    start: int
    tick: int
    until: int  # the tick by which the pedal may move again
    letter: str
    position: int


def printed_help(plan: Plan, context: Context, asked: Help) -> Sequence[Edit]:
    """The edits that print a harp's pedals, and the names of the strings that are played.

    Parameters
    ----------
    plan : Plan
    context : Context
    asked : Help
        Of it ``pedal_marks`` (``all``: settings and every change; ``first``: settings only) and ``in_words`` (settings
        as D C B | E F G A with their signs instead of diagrams).
    """
    if not isinstance(plan, HarpPlan) or plan.reading is None or plan.pedals is None or asked.pedal_marks == "none":
        return ()
    part = context.score.parts[plan.reading.part]
    if for_either(part.name):
        return ()  # a pianist reads it too
    signs = _Page(part, plan.reading, plan.pedals, context.frame).signs(asked.pedal_marks == "all")
    renamed = [edit for _, edit in respelled(plan.reading, plan.pedals, part)]
    edits: list[Edit] = list(complete(context.score, context.layouts, renamed))
    staff = part.staves
    for sign in signs:
        place = part.id, sign.measure, sign.start, staff
        if sign.whole and not asked.in_words:
            edits.append(AddHarpPedals(*place, tuple(sign.positions[letter] for letter in LETTERS)))
        elif sign.whole:
            edits.append(AddWords(*place, setting_text(sign.positions), "below"))
        else:
            edits.append(AddWords(*place, change_text(sign.positions), "below"))
    return edits


def change_text(positions: Mapping[str, int]) -> str:
    """Changes as harpists read them: the right foot above the left.

    >>> change_text({"B": -1, "F": 1})
    'F♯\\nB♭'
    """
    left, right = (
        " ".join(f"{letter}{SIGNS[positions[letter]]}" for letter in foot if letter in positions) for foot in FEET
    )
    return "\n".join(line for line in (right, left) if line)


@dataclass(slots=True)
class _Page:
    """The printed page of one harp part, and what the plan asks of it."""

    part: Part
    reading: Reading
    pedals: PedalPlan
    frame: Frame
    uses: list[Use] = field(init=False)
    play_ticks: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.play_ticks = [play.onset for play in self.frame.plays]
        plays = {(play.measure, play.pass_): i for i, play in enumerate(self.frame.plays)}
        found = []
        for row, planned in zip(self.reading.plucked, self.pedals.notes, strict=True):
            for one, taken in zip(row, planned, strict=True):
                if taken is None or not taken.pedal:
                    continue
                event = one.events[0]
                play = plays[event.measure, event.pass_]
                start = event.note.start
                tick = self.play_ticks[play] + start
                onset_us, _ = self.frame.times_us(event)
                until = self._tick_after(onset_us + taken.hold_us)
                found.append(Use(play, event.measure, start, tick, until, taken.string.letter, taken.position))
        self.uses = sorted(found, key=lambda use: (use.play, use.start))

    def signs(self, every_change: bool) -> list[Sign]:
        """What has to be printed, in page order."""
        there = [
            Sign(one.measure, one.start, dict(one.positions), one.whole, there=True)
            for one in printed(self.part)
            if not one.trouble
        ]
        settings = self._settings(there)
        if not every_change:
            return settings
        signs = self._agreeing([*there, *_joined(settings, self._changes())])
        return [sign for sign in _in_order(self._without_needless(signs)) if not sign.there]

    # settings

    def _settings(self, there: Sequence[Sign]) -> list[Sign]:
        whole = {(sign.measure, sign.start) for sign in there if sign.whole}
        first = min(((use.measure, use.start) for use in self.uses), default=(0, 0))
        found: dict[tuple[int, int], Sign] = {}
        for measure, start in sorted(set(self._places())):
            tick = self.frame.first_onset.get(measure, None)
            if tick is None or (measure, start) in whole:
                continue
            if (measure, start) == (0, 0):
                if not any(place <= first for place in whole):
                    found[0, 0] = Sign(0, 0, dict(self.pedals.initial), whole=True)
                continue
            found[measure, start] = Sign(measure, start, self._standing(tick + start), whole=True)
        return self._worth_it(found, there)

    def _places(self) -> Iterator[tuple[int, int]]:
        """Where a setting belongs: the beginning, movements, sections, long rests, glissandi, repeats."""
        yield 0, 0
        last = max((use.measure for use in self.uses), default=0)
        numbers = [measure.number for measure in self.part.measures]
        for m in range(1, min(last + 1, len(numbers))):
            if numbers[m] == "1" and numbers[m - 1] not in ("0", "", "1"):
                yield m, 0
        for m in self._sections():
            if 0 < m <= last:
                yield m, 0
        for joint in self._joints():
            if joint > 0:
                yield joint, 0
        for measure, start, _ in glissandi(self.part):
            yield measure, start
        yield from self._presets()

    def _sections(self) -> list[int]:
        return [
            m.index for m in self.part.measures if any(sign.kind == "rehearsal" for sign in m.directions)
        ]  # fmt: skip

    def _joints(self) -> list[int]:
        """Measures at which a stretch is begun again."""
        seen: set[int] = set()
        found = []
        before = None
        for play in self.frame.plays:
            if play.measure in seen and before != play.measure - 1:
                found.append(play.measure)
            seen.add(play.measure)
            before = play.measure
        return found

    def _presets(self) -> Iterator[tuple[int, int]]:
        """Long rests in which three pedals or more are set: the place of the first of them."""
        long_us = 1000 * int(facts.get("harp.long_rest").value)
        onsets = [onset.t_us for onset in self.reading.onsets]
        ends = [onset.t_us + max((note.written_us for note in onset.notes), default=0) for onset in self.reading.onsets]
        end = 0
        for i, onset in enumerate(onsets):
            if i and onset - end >= long_us:
                moved = [c for c in self.pedals.changes if end <= c.t_us < onset]
                if len(moved) >= _PRESETS:
                    play, start = self._place_of(self.frame.clock.tick_at(moved[0].t_us))
                    if self.frame.plays[play].pass_ == 1:
                        yield self.frame.plays[play].measure, self._grid_before(play, start)
            end = max(end, ends[i])

    def _grid_before(self, play: int, start: int) -> int:
        return max((at for at in self._grid(self.frame.plays[play].measure) if at <= start), default=0)

    def _worth_it(self, found: Mapping[tuple[int, int], Sign], there: Sequence[Sign]) -> list[Sign]:
        """Settings but those that only say again what the one before them says; a glissando has its own in its bar."""
        kept: list[Sign] = []
        sweeps = {(measure, start) for measure, start, _ in glissandi(self.part)}
        for place in sorted(found):
            sign = found[place]
            said = [one for one in (*there, *kept) if one.whole and (one.measure, one.start) <= place]
            before = max(said, key=lambda one: (one.measure, one.start), default=None)
            same = before is not None and dict(before.positions) == dict(sign.positions)
            if before is None or not same or (place in sweeps and before.measure != sign.measure):
                kept.append(sign)
        return kept

    def _standing(self, tick: int) -> dict[str, int]:
        """Where the pedals stand at a tick of the performance, with what moves in the same rest already moved."""
        stands = dict(self.pedals.initial)
        changes = self.pedals.changes
        rest_end = next((use.tick for use in self.uses if use.tick >= tick), self.frame.length)
        rest_begin = max((use.until for use in self.uses if use.tick < tick), default=0)
        for change in changes:
            at = self.frame.clock.tick_at(change.t_us)
            if at < tick or (rest_begin <= tick and at < rest_end):
                stands[change.pedal] = change.after
        return stands

    # changes

    def _changes(self) -> list[Sign]:
        """A sign for each change of the first playing of its bar."""
        found: dict[tuple[int, int], dict[str, int]] = {}
        for change in self.pedals.changes:
            tick = self.frame.clock.tick_at(change.t_us)
            play, start = self._place_of(tick)
            bar = self.frame.plays[play]
            if bar.pass_ > 1:
                continue
            start = self._foot_place(change, play, start)
            found.setdefault((bar.measure, start), {})[change.pedal] = change.after
        return [Sign(measure, start, positions, whole=False) for (measure, start), positions in found.items()]

    def _foot_place(self, change: Change, play: int, start: int) -> int:
        """The beat or note nearest to where the foot moves, behind the last use of the letter, before the next."""
        bar = self.frame.plays[play]
        own = [use for use in self.uses if use.letter == change.pedal]
        tick = bar.onset + start
        low = max((max(use.until, use.tick + 1) for use in own if use.tick <= tick), default=0)
        high = min((use.tick for use in own if use.tick > tick), default=bar.onset + bar.length)
        low, high = low - bar.onset, min(high - bar.onset, bar.length - 1)
        good = [at for at in self._grid(bar.measure) if low <= at <= high]
        if good and good != [high]:
            return min(good, key=lambda at: (abs(at - start), at))
        return max(0, min((low + high) // 2, high))

    def _grid(self, measure: int) -> list[int]:
        """Where signs like to stand in a bar: at notes, rests and beats."""
        if measure >= len(self.part.measures):
            return [0]
        row = self.part.measures[measure]
        _, unit, _, _ = self.frame.metres[measure]
        beat = max(1, 4 * self.frame.grid // max(unit, 1))
        notes = {note.start for note in row.notes if not note.flags & GRACE}
        return sorted(notes | set(range(0, max(row.length, 1), beat)))

    def _place_of(self, tick: int) -> tuple[int, int]:
        play = max(0, bisect_right(self.play_ticks, tick) - 1)
        return play, tick - self.play_ticks[play]

    def _tick_after(self, us: int) -> int:
        """The first tick that is not before a time."""
        tick = self.frame.clock.tick_at(us)
        return tick if self.frame.clock.floor_us(tick) >= us else tick + 1

    # reading the page through

    def _read(self, signs: Sequence[Sign]) -> Iterator[tuple[str, int, Use | Sign]]:
        """Signs and uses in playing order; a sign comes before the notes at its place."""
        by_measure: dict[int, list[Sign]] = {}
        for sign in _in_order(signs):
            by_measure.setdefault(sign.measure, []).append(sign)
        by_play: dict[int, list[Use]] = {}
        for use in self.uses:
            by_play.setdefault(use.play, []).append(use)
        for i, play in enumerate(self.frame.plays):
            rows: list[tuple[int, int, int, str, Use | Sign]] = [
                (sign.start, 0, k, "sign", sign) for k, sign in enumerate(by_measure.get(play.measure, ()))
            ]
            rows += [(use.start, 1, k, "use", use) for k, use in enumerate(by_play.get(i, ()))]
            for _, _, _, kind, what in sorted(rows, key=lambda row: row[:3]):
                yield kind, i, what

    def _without_needless(self, signs: Sequence[Sign]) -> list[Sign]:
        """The signs but the letters of our own changes that move nothing in any pass."""
        moves: set[tuple[int, int, str]] = set()
        stands = dict(self.pedals.initial)
        for _, _, what in self._read(signs):
            if isinstance(what, Sign):
                for letter, position in what.positions.items():
                    if stands[letter] != position:
                        moves.add((id(what), 0, letter))
                        stands[letter] = position
        kept = []
        for sign in signs:
            if sign.whole or sign.there:
                kept.append(sign)
                continue
            left = {letter: at for letter, at in sign.positions.items() if (id(sign), 0, letter) in moves}
            if left:
                kept.append(Sign(sign.measure, sign.start, left, whole=False))
        return kept

    def _agreeing(self, signs: list[Sign]) -> list[Sign]:
        """The signs, and what has to be added so that every note of every pass finds its pedal."""
        for _ in range(len(self.uses) + 1):
            wrong = self._first_wrong(signs)
            if wrong is None:
                break
            signs = self._with(signs, wrong)
        return signs

    def _first_wrong(self, signs: Sequence[Sign]) -> Use | None:
        stands = dict(self.pedals.initial)
        for _, _, what in self._read(signs):
            if isinstance(what, Sign):
                stands.update(what.positions)
            elif stands[what.letter] != what.position:
                return what
        return None

    def _with(self, signs: list[Sign], use: Use) -> list[Sign]:
        """The signs with one more before a use, behind the last use of its letter in the bar."""
        bar = [one for one in self.uses if one.play == use.play and one.letter == use.letter]
        onset = self.play_ticks[use.play]
        free = max((max(one.until - onset, one.start + 1) for one in bar if one.start < use.start), default=0)
        free = max([free, *(s.start for s in signs if s.measure == use.measure and s.start <= use.start
                            and use.letter in s.positions)])  # fmt: skip
        start = min((at for at in self._grid(use.measure) if free <= at <= use.start), default=use.start)
        for i, sign in enumerate(signs):
            if (sign.measure, sign.start) == (use.measure, start) and not sign.there:
                changed = Sign(sign.measure, start, {**sign.positions, use.letter: use.position}, sign.whole)
                return [*signs[:i], changed, *signs[i + 1 :]]
        return [*signs, Sign(use.measure, start, {use.letter: use.position}, whole=False)]


def _joined(settings: Sequence[Sign], changes: Sequence[Sign]) -> list[Sign]:
    """Settings and changes; a change at the place of a setting is part of it."""
    whole = {(sign.measure, sign.start): sign for sign in settings}
    left = []
    for sign in changes:
        place = sign.measure, sign.start
        if place in whole:
            whole[place] = Sign(*place, {**whole[place].positions, **sign.positions}, whole=True)
        else:
            left.append(sign)
    return [*whole.values(), *left]


def _in_order(signs: Sequence[Sign]) -> list[Sign]:
    """Page order; at one place what stands there first, then settings, then changes."""
    return sorted(signs, key=lambda sign: (sign.measure, sign.start, not sign.there, not sign.whole))
