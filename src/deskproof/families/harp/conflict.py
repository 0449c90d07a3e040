"""Why a note has no place in the plan: the smallest group that does not go, and the tempo at which it would."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from deskproof.families.harp.model import Onset, Settings
from deskproof.families.harp.plan import Change, goes_whole, plan_pedals
from deskproof.families.harp.wording import SIGNS
from deskproof.families.wording import listed
from deskproof.pitch import name

OCTAVE = 12
_WINDOWS = (1, 2, 3, 5, 8, 13, 21)  # onsets looked at around the one that failed
_SLOWEST = Fraction(1, 32)
_STEPS = 10  # halvings when the tempo is sought

Notes = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Clash:
    """A group of notes, as (onset, note) ordinals, that does not go while it goes without any one of them.

    ``factor`` is the fraction of the tempo at which it goes, None if it goes at none; ``group`` and ``reason`` say it
    in words; ``span_us`` is the time from its first to its last onset.
    """

    notes: Notes
    factor: Fraction | None
    group: str
    reason: str
    span_us: int

    @property
    def says(self) -> str:
        """The whole sentence."""
        return f"{self.group}: {self.reason}"


Known = dict[Hashable, tuple[Notes, Fraction | None, str] | None]  # what a window of onsets comes to; None: it goes


def clash(
    onsets: Sequence[Onset],
    at: int,
    settings: Settings,
    damps: Iterable[tuple[int, str]] = (),
    known: Known | None = None,
) -> Clash | None:
    """The smallest clashing group that holds notes of onset ``at``.

    Smallest means: leave out any one of its notes, and the rest goes. The search looks at a window of onsets that
    grows until it does not go by itself, then leaves out what it can. ``known`` keeps what equal windows came to.
    None where the notes by themselves go: then it is a setting that they clash with.
    """
    signs = tuple(damps)
    known = {} if known is None else known
    for size in _WINDOWS:
        first, last = max(0, at - size + 1), min(len(onsets), at + size)
        key = _alike(onsets, first, last, at, signs)
        if key not in known:
            known[key] = _settled(onsets, first, last, at, settings, signs)
        found = known[key]
        if found is not None:
            notes, factor, moves = found
            return _in_words(onsets, tuple((first + o, n) for o, n in notes), factor, moves)
    return None


def _alike(onsets: Sequence[Onset], first: int, last: int, at: int, signs: tuple[tuple[int, str], ...]) -> Hashable:
    """What makes two windows the same: notes, lengths and times from its first onset on."""
    start, end = onsets[first].t_us, onsets[last - 1].t_us
    rows = tuple(
        (o.t_us - start, o.bracketed, tuple((note.pitch, note.written_us) for note in o.notes))
        for o in onsets[first:last]
    )
    return at - first, rows, tuple((t - start, letters) for t, letters in signs if start < t <= end)


def _settled(
    onsets: Sequence[Onset], first: int, last: int, at: int, settings: Settings, signs: tuple[tuple[int, str], ...]
) -> tuple[Notes, Fraction | None, str] | None:  # fmt: skip
    """The smallest group of a window, by onsets counted from its first; None if the window goes."""
    window = tuple((o, n) for o in range(first, last) for n in range(len(onsets[o].notes)))
    if _goes(onsets, window, settings, signs):
        return None
    kept = window
    # what stands furthest from the failing onset is left out first, whole onsets before single notes
    order = sorted(range(first, last), key=lambda o: (-abs(o - at), -o))
    for o in order:
        rest = tuple(row for row in kept if row[0] != o)
        if rest and not _goes(onsets, rest, settings, signs):
            kept = rest
    for o in order:
        for note in [row for row in kept if row[0] == o]:
            rest = tuple(row for row in kept if row != note)
            if rest and not _goes(onsets, rest, settings, signs):
                kept = rest
    rows, moved = _alone(onsets, kept, signs)
    if not plan_pedals(rows, settings, moved)["impossible"].value:  # the plan has the last word
        return None
    notes = kept
    factor = _tempo(onsets, notes, settings, signs)
    moves = _moves(onsets, notes, settings, signs, factor) if factor else ""
    return tuple((o - first, n) for o, n in notes), factor, moves


def _goes(
    onsets: Sequence[Onset], notes: Notes, settings: Settings, damps: tuple[tuple[int, str], ...], slower: int = 1,
    slow: int = 1,
) -> bool:  # fmt: skip
    """Whether these notes alone can all be played, at ``slow``/``slower`` of the tempo."""
    rows, moved = _alone(onsets, notes, damps, slower, slow)
    return goes_whole(rows, settings, moved)


def _alone(
    onsets: Sequence[Onset], notes: Notes, damps: tuple[tuple[int, str], ...], slower: int = 1, slow: int = 1
) -> tuple[list[Onset], tuple[tuple[int, str], ...]]:
    """The onsets with these notes alone, and the damping signs, at ``slow``/``slower`` of the tempo."""
    rows = []
    for o in sorted({o for o, _ in notes}):
        onset = onsets[o]
        chosen = tuple(
            note._replace(written_us=note.written_us * slower // slow)
            for n, note in enumerate(onset.notes)
            if (o, n) in notes
        )
        rows.append(onset._replace(t_us=onset.t_us * slower // slow, notes=chosen, demands=()))
    return rows, tuple((t_us * slower // slow, letters) for t_us, letters in damps)


def _moves(
    onsets: Sequence[Onset], notes: Notes, settings: Settings, damps: tuple[tuple[int, str], ...], factor: Fraction
) -> str:
    """What the feet would have to do, in words: the changes of a plan at the tempo at which it goes."""
    rows, moved = _alone(onsets, notes, damps, factor.denominator, factor.numerator)
    changes = plan_pedals(rows, settings, moved).changes
    if not changes:
        return ""
    if len(changes) == 1:
        return f"the {changes[0].pedal} pedal has to move from {_position(changes[0])} in that time"
    feet = []
    for foot in dict.fromkeys(change.foot for change in changes):
        own = [_position(change) for change in changes if change.foot == foot]
        feet.append(f"the {foot} foot has to move {listed(own)}")
    return f"{' and '.join(feet)} in that time"


def _position(change: Change) -> str:
    return f"{change.pedal}{SIGNS[change.before]} to {change.pedal}{SIGNS[change.after]}"


def _tempo(
    onsets: Sequence[Onset], notes: Notes, settings: Settings, damps: tuple[tuple[int, str], ...]
) -> Fraction | None:
    """The fastest fraction of the tempo at which the notes go, to a hundredth or so; None if none is slow enough."""
    if len({o for o, _ in notes}) < 2:
        return None
    low, high = _SLOWEST, Fraction(1)
    if not _goes(onsets, notes, settings, damps, low.denominator, low.numerator):
        return None
    for _ in range(_STEPS):
        middle = (low + high) / 2
        if _goes(onsets, notes, settings, damps, middle.denominator, middle.numerator):
            low = middle
        else:
            high = middle
    return low


def _in_words(onsets: Sequence[Onset], notes: Notes, factor: Fraction | None, moves: str) -> Clash:
    pitches = sorted({onsets[o].notes[n].pitch for o, n in notes})
    classes = {pitch % OCTAVE for pitch in pitches}
    names = [_name(pitch, classes) for pitch in pitches]
    group = listed(names)
    times = [onsets[o].t_us for o, _ in notes]
    span = max(times) - min(times)
    if {7, 8, 9} <= classes and not span:
        reason = "no pedal gives G♯ between G and A"
    elif not span:
        reason = "no setting of the seven pedals has them all"
    else:
        group = f"{group} within {span / 1e6:.2g} s"
        reason = moves or "the pedals cannot be moved in that time"
        if classes == {7, 8, 9}:
            reason = f"no pedal gives G♯ between G and A, and {reason}"
    return Clash(notes, factor, group, reason, span)


def _name(pitch: int, classes: set[int]) -> str:
    """A short name; a black key is a sharp where its lower neighbour sounds too."""
    return name(pitch, flats=(pitch - 1) % OCTAVE not in classes)
