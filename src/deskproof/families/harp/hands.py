"""Which hand plucks which string of a harp part: an exact plan for strings already chosen. Times are microseconds.

A hand lies on the strings like a window of ``reach`` string steps. It plucks what lies in the window without moving,
and moves the window at most at the comfortable speed. Where a hand could stand is therefore an interval of windows:
it widens while time passes and is cut to the windows from which the next strings are reached. Where nothing remains
of it the hand comes too late, by the time the rest of the way takes, and stands at the nearest window that serves.
Windows are measured in microseconds of travel, so that all sums are of whole numbers.

One onset
    A hand takes at most ``hand`` strings, both together at most ``together``. In a chord struck at once (bracketed)
    the strings of a hand lie within ``reach``; a broken chord, which by custom is every other, has no reach: the hand
    is there for the lowest string first and leaves from the highest. The right hand takes nothing below
    ``right_lowest``. What two hands cannot take so is left out: as few notes as can be, and of these sets the one that
    keeps most of what is dear, in this order: the two outer strings, then strings whose letter no string further out
    has, then the doublings, each from outside inwards and the higher first.

The price of a plan is a vector of whole numbers, compared left to right (`HandCost` says what each counts). A split
in which the left hand takes the lower strings and the right hand the upper ones loses nothing: of any two sets of
strings that the hands can take, the same number of lowest strings (or, where the hands lie crossed, as many as the
lower hand had) and the rest can be taken too, and crossing costs before all that a hand's way decides. So an onset of
n strings has at most n + 1 ways.

The plan is found by dynamic programming (Bellman 1957) over what later prices depend on: both intervals, the hand
that was alone at the last onset, how long trills bind a hand, and the hands of strings that are plucked again too
soon. An interval is widened as far as no later onset can tell the difference. A state is dropped when another one
costs no more, even after paying for a change of hand, and has wider intervals and freer hands: whatever follows the
first can follow the second. Nothing else is dropped unless there are more than ``MOST_STATES``; then ``proven`` is
false.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from deskproof import facts
from deskproof.families.harp.model import STEPS, String

__all__ = ["MOST_STATES", "HandCost", "HandPlan", "HandSettings", "Hard", "Struck", "plan_hands"]

MOST_STATES = 1_000
UPPER, LOWER = 1, 2  # staves
BINDING = ("trill", "gliss")
_FAR = 1 << 60
_LEFT, _RIGHT = 1, 2


class Struck(NamedTuple):
    """Strings plucked at one onset; the tuples run side by side.

    ``lines`` are strings as `String.line`, each once. ``staves`` are 1 for the upper staff, 2 for the lower, 0 where
    nothing is known. ``hold_us`` are written lengths; strings ring by themselves, so they bind a hand only in a trill
    or a glissando. ``bracketed`` chords are struck at once. ``how`` is struck, roll, gliss, trill or harmonic.
    """

    t_us: int
    lines: tuple[int, ...]
    staves: tuple[int, ...]
    hold_us: tuple[int, ...]
    bracketed: bool
    how: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HandSettings:
    """What is assumed of a harpist's hands. Strings are `String.line`, distances string steps.

    ``hand`` and ``together`` count the notes of one hand and of both. The right hand does not get below
    ``right_lowest`` and is awkward below ``right_comfortable``, the left above ``left_highest_comfortable``. The same
    string again by the same hand sooner than ``again_us`` is awkward. ``leap`` is the comfortable speed of a hand in
    steps a second. Onsets nearer than ``group_us`` are one group. Left to themselves the hands part at ``meet``; more
    than ``overlap`` beyond it a hand is in the other's half. A hand takes ``right_harmonics`` or ``left_harmonics``
    at once, the latter within ``left_harmonics_reach``.
    """

    hand: int
    together: int
    reach: int
    right_lowest: int
    right_comfortable: int
    left_highest_comfortable: int
    again_us: int
    leap: int
    group_us: int
    meet: int
    overlap: int
    right_harmonics: int
    left_harmonics: int
    left_harmonics_reach: int

    @classmethod
    def from_facts(cls) -> HandSettings:
        """The figures of the facts tables."""
        hand = _number("fingers_a_hand")
        return cls(
            hand=hand,
            together=2 * hand,
            reach=_number("reach"),
            right_lowest=_line("right_hand_lowest"),
            right_comfortable=_line("right_hand_comfortable"),
            left_highest_comfortable=_line("left_hand_comfortable"),
            again_us=1000 * _number("string_again"),
            leap=_number("hand_leap"),
            group_us=1000 * _number("hand_group"),
            meet=_line("hands_meet"),
            overlap=_number("hands_overlap"),
            right_harmonics=_number("right_harmonics"),
            left_harmonics=_number("left_harmonics"),
            left_harmonics_reach=_number("left_harmonics_reach"),
        )

    @property
    def step_us(self) -> int:
        """The time a hand takes for one string step, rounded up."""
        return -(-1_000_000 // self.leap)


class HandCost(NamedTuple):
    """The price of a plan, compared left to right; every entry is a sum over the passage."""

    left_out: int = 0
    """Notes without a hand."""
    crossed: int = 0
    """Pairs of strings of one onset whose lower is the right hand's; 0 in every plan made here."""
    harmonics: int = 0
    """Harmonics beyond those that a hand can take at once."""
    leaps: int = 0
    """Moves of a hand for which the time at a comfortable speed is too short."""
    late_us: int = 0
    """The time lacking in these."""
    busy: int = 0
    """Onsets at which a hand plucks while it has a trill or glissando to play."""
    again: int = 0
    """Strings plucked again too soon by the same hand."""
    zone: int = 0
    """Notes where a hand is awkward: low in the right, high in the left."""
    staff: int = 0
    """Notes of the upper staff in the left hand, of the lower in the right."""
    spread: int = 0
    """String steps beyond the reach of a hand, in broken chords."""
    changes: int = 0
    """Neighbouring onsets of a group, one by one hand alone and the next by the other alone."""
    over: int = 0
    """Notes far in the other hand's half."""
    register: int = 0
    """String steps of all notes beyond the place where the hands meet."""


class Hard(NamedTuple):
    """Something awkward in a plan: the ordinal of the onset, those of the notes, the hand ("L" or "R"), and a number.

    ``before`` is the ordinal of the onset it follows from, -1 if none. By kind: "leap": the hand's move from the onset
    before, microseconds lacking; "again": the string plucked again, microseconds since; "busy": a trill or glissando
    of the onset before not ended, microseconds of it left; "low" (right hand) and "high" (left hand): string steps
    beyond the comfortable; "harmonics": how many the hand has.
    """

    kind: str
    onset: int
    notes: tuple[int, ...]
    number: int
    hand: str
    before: int


@dataclass(frozen=True, slots=True)
class HandPlan:
    """A hand for every string: "L", "R" or None for what is left out, by onset and note as given.

    ``left_out`` names these as (onset, note). ``proven``: no plan costs less under the stated model.
    """

    hands: tuple[tuple[str | None, ...], ...]
    left_out: tuple[tuple[int, int], ...]
    hard: tuple[Hard, ...]
    cost: HandCost
    proven: bool


def plan_hands(onsets: Sequence[Struck], settings: HandSettings, *, most_states: int = MOST_STATES) -> HandPlan:
    """Give every string a hand so that the whole passage costs least. Of equal plans always the same one is found.

    Parameters
    ----------
    onsets : sequence of Struck
        In order of time, each time once.
    settings : HandSettings
        Figures of the player.
    most_states : int, optional
        States to keep at one onset; with more, the dearest are dropped and nothing is proven.

    Raises
    ------
    ValueError
        If the onsets are not in order, a string stands twice in one, or its tuples differ in length.

    Examples
    --------
    >>> low, high = String("C", 3).line, String("E", 5).line
    >>> onset = Struck(0, (high, low), (1, 2), (0, 0), False, ("struck", "struck"))
    >>> plan_hands([onset], HandSettings.from_facts()).hands
    (('R', 'L'),)
    """
    _refuse(onsets)
    chords = _chords(onsets, settings)
    cuts, price, proven = _search(onsets, chords, settings, most_states)
    hands: list[tuple[str | None, ...]] = []
    left_out: list[tuple[int, int]] = []
    for i, (onset, chord, cut) in enumerate(zip(onsets, chords, cuts, strict=True)):
        row: list[str | None] = [None] * len(onset.lines)
        for k, n in enumerate(chord.notes):
            row[n] = "L" if k < cut else "R"
        hands.append(tuple(row))
        left_out.extend((i, n) for n, hand in enumerate(row) if hand is None)
    cost = _unpacked(price)._replace(left_out=len(left_out))
    return HandPlan(tuple(hands), tuple(left_out), _told(onsets, chords, cuts, settings), cost, proven)


def _number(key: str) -> int:
    return int(facts.get(f"harp.{key}").value)


def _line(key: str) -> int:
    name = str(facts.get(f"harp.{key}").value)
    return String(name[0], int(name[1:])).line


def _refuse(onsets: Sequence[Struck]) -> None:
    for i, onset in enumerate(onsets):
        if not len(onset.lines) == len(onset.staves) == len(onset.hold_us) == len(onset.how):
            raise ValueError(f"onset {i}: lines, staves, hold_us and how must be of one length")
        if len(set(onset.lines)) < len(onset.lines):
            raise ValueError(f"onset {i}: a string stands twice; a string is plucked once at an onset")
    if any(a.t_us >= b.t_us for a, b in pairwise(onsets)):
        raise ValueError("the onsets must be in order of time, each time once")


# -- one onset -----------------------------------------------------------------------------------------------------


class _Part(NamedTuple):
    """What one hand does at an onset: the windows it must be in, and those it leaves from if they are others."""

    low: int
    high: int
    leaves: tuple[int, int] | None


class _Way(NamedTuple):
    """A split of an onset: the number of strings for the left hand, its price, and the parts of the hands."""

    cut: int
    price: int
    used: int
    left: _Part | None
    right: _Part | None


class _Chord(NamedTuple):
    """The strings taken at an onset from low to high, with their ordinals there, and the ways to split them."""

    lines: tuple[int, ...]
    notes: tuple[int, ...]
    ways: tuple[_Way, ...]


_BITS = 64
_PLACE = {name: _BITS * k for k, name in enumerate(reversed(HandCost._fields))}
_HARMONICS, _LEAPS, _LATE, _BUSY, _AGAIN, _ZONE, _STAFF, _SPREAD, _CHANGES, _OVER, _REGISTER = (
    1 << _PLACE[name] for name in HandCost._fields[2:]
)


def _unpacked(price: int) -> HandCost:
    return HandCost(**{name: price >> place & (1 << _BITS) - 1 for name, place in _PLACE.items()})


def _chords(onsets: Sequence[Struck], settings: HandSettings) -> list[_Chord]:
    """Every onset with its ways; equal onsets are worked out once."""
    known: dict[tuple[object, ...], _Chord] = {}
    found = []
    for onset in onsets:
        key = (onset.lines, onset.staves, onset.how, onset.bracketed)
        chord = known.get(key)
        if chord is None:
            chord = known[key] = _chord(onset, settings)
        found.append(chord)
    return found


def _chord(onset: Struck, settings: HandSettings) -> _Chord:
    lines = onset.lines
    notes = tuple(sorted(range(len(lines)), key=lines.__getitem__))
    rows = tuple(lines[n] for n in notes)
    cuts = _cuts(rows, onset.bracketed, settings)
    if not cuts:
        kept = _kept(rows, onset.bracketed, settings)
        notes = tuple(n for n in notes if lines[n] in kept)
        rows = tuple(lines[n] for n in notes)
        cuts = _cuts(rows, onset.bracketed, settings)
    left, right = [0], [0]  # prices of the lowest k strings in the left, in the right hand
    for n in notes:
        line, staff = lines[n], onset.staves[n]
        above = max(0, line - settings.meet)
        below = max(0, settings.meet - line)
        left.append(
            left[-1]
            + (_ZONE if line > settings.left_highest_comfortable else 0)
            + (_STAFF if staff == UPPER else 0)
            + (_OVER if above > settings.overlap else 0)
            + above * _REGISTER
        )
        right.append(
            right[-1]
            + (_ZONE if line < settings.right_comfortable else 0)
            + (_STAFF if staff == LOWER else 0)
            + (_OVER if below > settings.overlap else 0)
            + below * _REGISTER
        )
    harmonics = [onset.how[n] == "harmonic" for n in notes]
    slides = [onset.how[n] == "gliss" for n in notes]
    ways = []
    for cut in cuts:
        price = left[cut] + right[-1] - right[cut]
        for row in (rows[:cut], rows[cut:]):
            if row:
                price += max(0, row[-1] - row[0] - settings.reach) * _SPREAD
        if any(harmonics):
            low = [line for line, is_one in zip(rows[:cut], harmonics[:cut], strict=True) if is_one]
            price += (len(low) - _within(low, settings.left_harmonics, settings.left_harmonics_reach)) * _HARMONICS
            price += max(0, sum(harmonics[cut:]) - settings.right_harmonics) * _HARMONICS
        ways.append(
            _Way(
                cut,
                price,
                (_LEFT if cut else 0) | (_RIGHT if cut < len(rows) else 0),
                _part(rows[:cut], any(slides[:cut]), settings),
                _part(rows[cut:], any(slides[cut:]), settings),
            )
        )
    return _Chord(rows, notes, tuple(ways))


def _part(rows: tuple[int, ...], slides: bool, settings: HandSettings) -> _Part | None:
    if not rows:
        return None
    step = settings.step_us
    first, last = rows[0] * step, (rows[-1] - settings.reach) * step
    wide = last > first
    leaves = (-_FAR, _FAR) if slides else (last, last) if wide else None
    return _Part(min(first, last), first, leaves)


def _cuts(rows: tuple[int, ...], bracketed: bool, settings: HandSettings) -> list[int]:
    """How many of the strings, low to high, the left hand may have."""
    count = len(rows)
    if count > settings.together:
        return []
    found = []
    for cut in range(max(0, count - settings.hand), min(count, settings.hand) + 1):
        if cut < count and rows[cut] < settings.right_lowest:
            continue
        if bracketed:
            if cut and rows[cut - 1] - rows[0] > settings.reach:
                continue
            if cut < count and rows[-1] - rows[cut] > settings.reach:
                continue
        found.append(cut)
    return found


def _within(rows: Sequence[int], most: int, reach: int) -> int:
    """The most strings, of those given from low to high, that are within reach of one another."""
    return max((min(most, sum(first <= line <= first + reach for line in rows)) for first in rows), default=0)


def _kept(rows: tuple[int, ...], bracketed: bool, settings: HandSettings) -> set[int]:
    """The strings that the hands take where they cannot take all: as many as can be, and the dearest of them."""
    depth = {line: min(k, len(rows) - 1 - k) for k, line in enumerate(rows)}
    first: dict[int, int] = {}  # by letter, the string furthest out
    for line in sorted(rows, key=lambda line: (depth[line], -line)):
        first.setdefault(line % len(STEPS), line)

    def dear(line: int) -> tuple[bool, int, int]:
        doubled = depth[line] > 0 and first[line % len(STEPS)] != line
        return doubled, depth[line], -line

    most = _most(rows, set(), bracketed, settings)
    stay: set[int] = set()
    left = rows
    for line in sorted(rows, key=dear):
        if _most(left, {*stay, line}, bracketed, settings) == most:
            stay.add(line)
        else:
            left = tuple(other for other in left if other != line)
    return stay


def _most(rows: tuple[int, ...], stay: set[int], bracketed: bool, settings: HandSettings) -> int:
    """The most strings that two hands take if they take those of ``stay``; -1 if they cannot."""
    if len(stay) > settings.together:
        return -1
    best = -1
    for cut in range(len(rows) + 1):
        low = _one(rows[:cut], stay, bracketed, settings)
        high = _one(tuple(line for line in rows[cut:] if line >= settings.right_lowest), stay, bracketed, settings)
        if low < 0 or high < 0 or any(line < settings.right_lowest for line in rows[cut:] if line in stay):
            continue
        best = max(best, min(low + high, settings.together))
    return best


def _one(rows: tuple[int, ...], stay: set[int], bracketed: bool, settings: HandSettings) -> int:
    """The most strings that one hand takes if it takes those of ``stay`` among them; -1 if it cannot."""
    fixed = [line for line in rows if line in stay]
    if len(fixed) > settings.hand:
        return -1
    if not bracketed:
        return min(settings.hand, len(rows))
    best = -1 if fixed else 0
    for first in rows:
        inside = [line for line in rows if first <= line <= first + settings.reach]
        if not fixed or (first <= fixed[0] and fixed[-1] <= first + settings.reach):
            best = max(best, min(settings.hand, len(inside)))
    return best


# -- the whole passage ---------------------------------------------------------------------------------------------


class _Links(NamedTuple):
    """Strings of an onset that are plucked too soon after another or before another.

    States hold the hands of strings to come again as bits, 1 for the right hand. ``stay`` maps old bits to new ones,
    ``back`` are (old bit, ordinal from low to high) of strings plucked again here, ``on`` are (ordinal, new bit).
    """

    stay: tuple[tuple[int, int], ...]
    back: tuple[tuple[int, int], ...]
    on: tuple[tuple[int, int], ...]


_NO_LINKS = _Links((), (), ())
_State = tuple[int, int, int, int, int, int, int, int]
"""Hand that was alone, bits of `_Links`, ends of binding left and right, windows of the left and of the right hand."""


def _links(onsets: Sequence[Struck], chords: Sequence[_Chord], settings: HandSettings) -> list[_Links]:
    again: list[list[bool]] = []  # whether the string comes again too soon
    last: dict[int, tuple[int, int]] = {}
    for i, chord in enumerate(chords):
        again.append([False] * len(chord.lines))
        for k, line in enumerate(chord.lines):
            if line in last and onsets[i].t_us - onsets[last[line][0]].t_us < settings.again_us:
                again[last[line][0]][last[line][1]] = True
            last[line] = i, k
    found = []
    alive: list[int] = []
    for i, chord in enumerate(chords):
        if not alive and True not in again[i]:
            found.append(_NO_LINKS)
            continue
        stay = [line for line in alive if line not in chord.lines]
        new = [line for k, line in enumerate(chord.lines) if again[i][k]]
        places = {line: 1 << bit for bit, line in enumerate([*stay, *new])}
        old = {line: 1 << bit for bit, line in enumerate(alive)}
        found.append(
            _Links(
                tuple((old[line], places[line]) for line in stay),
                tuple((old[line], chord.lines.index(line)) for line in alive if line in chord.lines),
                tuple((chord.lines.index(line), places[line]) for line in new),
            )
        )
        alive = [*stay, *new]
    return found


def _needs(onsets: Sequence[Struck], chords: Sequence[_Chord], settings: HandSettings) -> list[tuple[int, int]]:
    """After each onset: a hand that can be as low as the first and as high as the second can be anywhere in time."""
    step, reach = settings.step_us, settings.reach
    low, high = _FAR, -_FAR
    found = [(low, high)] * len(chords)
    for i in range(len(chords) - 1, 0, -1):
        passed = onsets[i].t_us - onsets[i - 1].t_us
        lines = chords[i].lines
        if lines:
            low = min(low, (lines[0] - reach) * step)
            high = max(high, lines[-1] * step)
        low, high = low + passed, high - passed
        found[i - 1] = low, high
    return found


def _binding(onset: Struck, chord: _Chord) -> list[tuple[int, int]]:
    """Trills and glissandi of an onset: ordinal from low to high, and end."""
    return [(k, onset.t_us + onset.hold_us[n]) for k, n in enumerate(chord.notes) if onset.how[n] in BINDING]


def _moved(low: int, high: int, part: _Part) -> tuple[int, int, int]:
    """A hand that can be in the windows from low to high takes its part: time lacking, windows it leaves from."""
    if low > part.high:
        late, low, high = low - part.high, part.high, part.high
    elif high < part.low:
        late, low, high = part.low - high, part.low, part.low
    else:
        late, low, high = 0, max(low, part.low), min(high, part.high)
    if part.leaves is not None:
        low, high = part.leaves
    return late, low, high


def _search(
    onsets: Sequence[Struck], chords: Sequence[_Chord], settings: HandSettings, most_states: int
) -> tuple[list[int], int, bool]:
    """The cut of each onset in a plan of least price, this price, and whether it is proven."""
    links = _links(onsets, chords, settings)
    needs = _needs(onsets, chords, settings)
    proven = True
    states: list[tuple[_State, int]] = [((0, 0, 0, 0, -_FAR, _FAR, -_FAR, _FAR), 0)]
    backs: list[list[tuple[int, int]]] = []  # for each state: the state before and the cut
    count = len(chords)
    now = onsets[0].t_us if onsets else 0
    for i, chord in enumerate(chords):
        passed, now = onsets[i].t_us - now, onsets[i].t_us
        after = onsets[i + 1].t_us if i + 1 < count else _FAR
        grouped = after - now < settings.group_us
        link = links[i]
        least, most = needs[i]
        binding = _binding(onsets[i], chord) if any(h in BINDING for h in onsets[i].how) else None
        found: dict[_State, tuple[int, int, int]] = {}
        for index, (state, price) in enumerate(states):
            alone, bits, left_end, right_end, left_low, left_high, right_low, right_high = state
            left_low -= passed
            left_high += passed
            right_low -= passed
            right_high += passed
            kept = 0
            for old, new in link.stay:
                if bits & old:
                    kept |= new
            for cut, cost, used, left, right in chord.ways:
                cost += price
                low1, high1, low2, high2 = left_low, left_high, right_low, right_high
                if left is not None:
                    late, low1, high1 = _moved(low1, high1, left)
                    if late:
                        cost += _LEAPS + late * _LATE
                    if left_end > now:
                        cost += _BUSY
                if right is not None:
                    late, low2, high2 = _moved(low2, high2, right)
                    if late:
                        cost += _LEAPS + late * _LATE
                    if right_end > now:
                        cost += _BUSY
                if alone and used == _LEFT + _RIGHT - alone:
                    cost += _CHANGES
                new_bits = kept
                if link is not _NO_LINKS:
                    for old, k in link.back:
                        if (bits & old != 0) == (k >= cut):
                            cost += _AGAIN
                    for k, new in link.on:
                        if k >= cut:
                            new_bits |= new
                end1, end2 = left_end, right_end
                if binding is not None:
                    for k, end in binding:
                        if k < cut:
                            end1 = max(end1, end)
                        else:
                            end2 = max(end2, end)
                new_state = (
                    used if grouped and used != _LEFT + _RIGHT else 0,
                    new_bits,
                    end1 if end1 > after else 0,
                    end2 if end2 > after else 0,
                    low1 if low1 > least else least,
                    high1 if high1 < most else most,
                    low2 if low2 > least else least,
                    high2 if high2 < most else most,
                )
                known = found.get(new_state)
                if known is None or cost < known[0]:
                    found[new_state] = cost, index, cut
        rows = _undominated(found, most_states + 1) if len(found) > 1 else list(found.items())
        if len(rows) > most_states:
            proven = False
            rows.pop()
        states = [(state, row[0]) for state, row in rows]
        backs.append([(row[1], row[2]) for _, row in rows])
    best = min(range(len(states)), key=lambda k: states[k][1])
    price = states[best][1]
    cuts = []
    for back in reversed(backs):
        best, cut = back[best]
        cuts.append(cut)
    return cuts[::-1], price, proven


def _undominated(found: dict[_State, tuple[int, int, int]], most: int) -> list[tuple[_State, tuple[int, int, int]]]:
    """The states that no other replaces, cheapest first, so many at most."""
    rows = sorted(found.items(), key=lambda row: row[1][0])
    kept: list[tuple[_State, tuple[int, int, int]]] = []
    for row in rows:
        (alone, bits, end1, end2, low1, high1, low2, high2), (price, _, _) = row
        dearer = price - _CHANGES
        for other, (least, _, _) in kept:
            if (
                other[4] <= low1
                and other[5] >= high1
                and other[6] <= low2
                and other[7] >= high2
                and other[2] <= end1
                and other[3] <= end2
                and other[1] == bits
                and (other[0] == alone or not other[0] or least <= dearer)
            ):
                break
        else:
            kept.append(row)
            if len(kept) == most:
                break
    return kept


# -- what is awkward -----------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Hand:
    """A hand on its way through a plan: the windows it can be in, its last onset, what binds it until when."""

    low: int = -_FAR
    high: int = _FAR
    onset: int = -1
    bound_us: int = -1
    bound_by: int = -1


def _told(
    onsets: Sequence[Struck], chords: Sequence[_Chord], cuts: Sequence[int], settings: HandSettings
) -> tuple[Hard, ...]:
    """Walk through a plan and name what is awkward in it."""
    found: list[Hard] = []
    both = {"L": _Hand(), "R": _Hand()}
    last: dict[int, tuple[int, str]] = {}  # by string: onset and hand
    now = onsets[0].t_us if onsets else 0
    for i, (onset, chord, cut) in enumerate(zip(onsets, chords, cuts, strict=True)):
        passed, now = onset.t_us - now, onset.t_us
        way = next(way for way in chord.ways if way.cut == cut)
        for name, hand in both.items():
            hand.low -= passed
            hand.high += passed
            part, ordinals = (way.left, range(cut)) if name == "L" else (way.right, range(cut, len(chord.lines)))
            if part is None:
                continue
            notes = tuple(sorted(chord.notes[k] for k in ordinals))
            late, hand.low, hand.high = _moved(hand.low, hand.high, part)
            if late:
                found.append(Hard("leap", i, notes, late, name, hand.onset))
            if hand.bound_us > now:
                found.append(Hard("busy", i, notes, hand.bound_us - now, name, hand.bound_by))
            hand.onset = i
            found.extend(_in_one_hand(onset, i, notes, name, settings))
            for n in notes:
                line = onset.lines[n]
                before, its = last.get(line, (-1, ""))
                if its == name and now - onsets[before].t_us < settings.again_us:
                    found.append(Hard("again", i, (n,), now - onsets[before].t_us, name, before))
                last[line] = i, name
                end = now + onset.hold_us[n]
                if onset.how[n] in BINDING and end > hand.bound_us:
                    hand.bound_us, hand.bound_by = end, i
    return tuple(found)


def _in_one_hand(onset: Struck, i: int, notes: tuple[int, ...], name: str, settings: HandSettings) -> list[Hard]:
    """What is awkward in the strings of one hand at one onset."""
    found = []
    harmonics = tuple(n for n in notes if onset.how[n] == "harmonic")
    if name == "L":
        beyond = {n: onset.lines[n] - settings.left_highest_comfortable for n in notes}
        bells = sorted(onset.lines[n] for n in harmonics)
        most = _within(bells, settings.left_harmonics, settings.left_harmonics_reach)
    else:
        beyond = {n: settings.right_comfortable - onset.lines[n] for n in notes}
        most = min(len(harmonics), settings.right_harmonics)
    far = tuple(n for n in notes if beyond[n] > 0)
    if far:
        found.append(Hard("high" if name == "L" else "low", i, far, max(beyond[n] for n in far), name, -1))
    if len(harmonics) > most:
        found.append(Hard("harmonics", i, harmonics, len(harmonics), name, -1))
    return found
