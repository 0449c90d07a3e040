"""Why a note has no place in the plan: the smallest group that does not go, and the tempo at which it would."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from deskproof.families.harp.model import Onset, Settings
from deskproof.families.harp.plan import plan_pedals
from deskproof.pitch import name

OCTAVE = 12
_NO_SYNONYM = {2: "D", 7: "G", 9: "A"}  # pitch classes with one string only
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


def clash(onsets: Sequence[Onset], at: int, settings: Settings, damps: Iterable[tuple[int, str]] = ()) -> Clash:
    """The smallest clashing group that holds notes of onset ``at``.

    Smallest means: leave out any one of its notes, and the rest goes. The search looks at a window of onsets that
    grows until it does not go by itself, then leaves out what it can.
    """
    signs = tuple(damps)
    window: Notes = ()
    for size in _WINDOWS:
        first, last = max(0, at - size + 1), min(len(onsets), at + size)
        window = tuple((o, n) for o in range(first, last) for n in range(len(onsets[o].notes)))
        if not _goes(onsets, window, settings, signs):
            break
    kept = list(window)
    # what stands furthest from the failing onset is left out first
    for note in sorted(window, key=lambda row: (-abs(row[0] - at), -row[0], row[1])):
        rest = tuple(row for row in kept if row != note)
        if rest and not _goes(onsets, rest, settings, signs):
            kept.remove(note)
    notes = tuple(kept)
    factor = _tempo(onsets, notes, settings, signs)
    return _in_words(onsets, notes, factor)


def _goes(
    onsets: Sequence[Onset], notes: Notes, settings: Settings, damps: tuple[tuple[int, str], ...], slower: int = 1,
    slow: int = 1,
) -> bool:  # fmt: skip
    """Whether these notes alone can all be played, at ``slow``/``slower`` of the tempo."""
    rows = []
    for o in sorted({o for o, _ in notes}):
        onset = onsets[o]
        chosen = tuple(
            note._replace(written_us=note.written_us * slower // slow)
            for n, note in enumerate(onset.notes)
            if (o, n) in notes
        )
        rows.append(onset._replace(t_us=onset.t_us * slower // slow, notes=chosen, demands=()))
    moved = tuple((t_us * slower // slow, letters) for t_us, letters in damps)
    return plan_pedals(rows, settings, moved)["impossible"].value == 0


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


def _in_words(onsets: Sequence[Onset], notes: Notes, factor: Fraction | None) -> Clash:
    pitches = sorted({onsets[o].notes[n].pitch for o, n in notes})
    classes = {pitch % OCTAVE for pitch in pitches}
    names = [_name(pitch, classes) for pitch in pitches]
    listed = " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else names[0]
    times = [onsets[o].t_us for o, _ in notes]
    span = max(times) - min(times)
    if {7, 8, 9} <= classes and not span:
        reason = "no pedal gives G♯ between G and A"
    elif not span:
        reason = "no setting of the seven pedals has them all"
    else:
        listed = f"{listed} within {span / 1e6:.2g} s"
        reason = (
            "no pedal gives G♯ between G and A, and the time to move one is short"
            if {7, 8, 9} <= classes
            else "the pedals cannot be moved in that time"
        )
    return Clash(notes, factor, listed, reason, span)


def _name(pitch: int, classes: set[int]) -> str:
    """A short name; a black key is a sharp where its lower neighbour sounds too."""
    return name(pitch, flats=(pitch - 1) % OCTAVE not in classes)
