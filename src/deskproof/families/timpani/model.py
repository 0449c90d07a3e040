"""The timpani as things: drums, what is struck on them, how long a new tuning takes. Times are integer microseconds.

Pitches are sounding MIDI numbers; distances are semitones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from deskproof import facts
from deskproof.pitch import midi

__all__ = ["Drum", "Event", "Settings", "drum", "hand_screws", "pedal_drums", "standard_drums"]


class Drum(NamedTuple):
    """One drum: its name, its size in inches, its lowest and highest pitch."""

    id: str
    inch: int
    low: int
    high: int

    def has(self, pitch: int) -> bool:
        """Whether the drum can be tuned to the pitch."""
        return self.low <= pitch <= self.high


class Event(NamedTuple):
    """What is struck at one time.

    Until ``hold_us`` after ``t_us`` the drums struck keep their pitch: a roll lasts, a single stroke rings as long as
    it is written. ``to`` holds for each pitch the one it arrives at in that time, by the pedal, where the event is a
    glissando; it is empty where nothing slides. Two equal pitches ask for two drums.
    """

    t_us: int
    hold_us: int
    pitches: tuple[int, ...]
    roll: bool = False
    to: tuple[int, ...] = ()

    @property
    def end_us(self) -> int:
        """When the drums are free again."""
        return self.t_us + self.hold_us

    def arrives(self, k: int) -> int:
        """The pitch that the drum of the ``k``-th pitch stands at afterwards."""
        return self.to[k] if self.to else self.pitches[k]


def drum(inch: int) -> Drum:
    """The drum of this size, by the facts.

    Raises
    ------
    UnknownFactError
        If the facts know no drum of this size.

    Examples
    --------
    >>> drum(29)
    Drum(id='29', inch=29, low=41, high=48)
    """
    owner = f"timpani_{inch}"
    return Drum(str(inch), inch, midi(facts.get(f"{owner}.low").value), midi(facts.get(f"{owner}.high").value))


def standard_drums(fifth: bool = False) -> tuple[Drum, ...]:
    """The four drums of an orchestra, largest first, and the fifth where it is there.

    >>> [d.inch for d in standard_drums(fifth=True)]
    [32, 29, 26, 23, 20]
    """
    sizes = [*facts.get("timpani_drums.standard").value, *([facts.get("timpani_drums.fifth").value] if fifth else [])]
    return tuple(drum(inch) for inch in sizes)


def _us(name: str) -> int:
    return 1000 * int(facts.get(f"timpani_drums.{name}").value)


def _count(name: str) -> int:
    return int(facts.get(f"timpani_drums.{name}").value)


@dataclass(frozen=True, slots=True)
class Settings:
    """What the planner is told about player and drums.

    A retuning takes ``tone_us`` for a tone and ``semitone_us`` more for each further semitone, less for one semitone;
    the quickest times are given alike. ``feet`` is how many drums are tuned, or slide, at the same time, ``sticks``
    how many are struck together. Where the hands are not free (``hands_free`` false) no retuning overlaps an event
    that any of the drums could play. ``pedals`` says whether a drum can slide. ``initial`` gives the tuning, by drum,
    that stands at ``start_us``; drums not named there are tuned freely before the piece. Beyond ``spare_us`` more
    spare time is no better. A note is at a disadvantage below the share ``best_from`` of its drum's compass and less
    than ``best_below_top`` semitones from its top.

    Raises
    ------
    ValueError
        If two drums have one id, a compass is upside down, a time is not above 0, the quickest is not quicker, or an
        initial tuning lies outside its drum.
    """

    drums: tuple[Drum, ...] = field(default_factory=standard_drums)
    tone_us: int = field(default_factory=lambda: _us("tone_comfortable"))
    semitone_us: int = field(default_factory=lambda: _us("semitone_comfortable"))
    quick_tone_us: int = field(default_factory=lambda: _us("tone_quickest"))
    quick_semitone_us: int = field(default_factory=lambda: _us("semitone_quickest"))
    feet: int = field(default_factory=lambda: _count("feet"))
    sticks: int = field(default_factory=lambda: _count("sticks"))
    hands_free: bool = True
    pedals: bool = True
    initial: Mapping[str, int] = field(default_factory=dict)
    start_us: int = 0
    spare_us: int = field(default_factory=lambda: _us("spare_time"))
    best_from: float = field(default_factory=lambda: float(facts.get("timpani_drums.best_from").value))
    best_below_top: int = field(default_factory=lambda: _count("best_below_top"))

    def __post_init__(self) -> None:
        ids = [one.id for one in self.drums]
        if len(set(ids)) < len(ids):
            raise ValueError(f"two drums have one id: {', '.join(ids)}")
        for one in self.drums:
            if one.low > one.high:
                raise ValueError(f"drum {one.id}: the lowest pitch {one.low} is above the highest {one.high}")
        if self.feet < 1 or self.sticks < 1:
            raise ValueError("at least one drum is tuned at a time, and at least one struck")
        widest = max([1, *(one.high - one.low for one in self.drums)])
        for distance in (1, widest):
            if not 0 < self.quickest_us(distance) <= self.comfortable_us(distance):
                raise ValueError(
                    f"a retuning by {distance} semitones: the quickest time must lie between 0 and the other"
                )
        if self.semitone_us < 0 or self.quick_semitone_us < 0:
            raise ValueError("a longer way must not take less time")
        for name, pitch in self.initial.items():
            if name not in ids:
                raise ValueError(f"an initial tuning is given for drum {name!r}; the drums are {', '.join(ids)}")
            if not self.drums[ids.index(name)].has(pitch):
                raise ValueError(f"drum {name}: the initial pitch {pitch} lies outside its compass")

    def comfortable_us(self, semitones: int) -> int:
        """How long a retuning over this distance takes.

        >>> Settings().comfortable_us(2)
        2400000
        """
        return self.tone_us + (semitones - 2) * self.semitone_us

    def quickest_us(self, semitones: int) -> int:
        """How long it takes at the quickest."""
        return self.quick_tone_us + (semitones - 2) * self.quick_semitone_us

    def off_best(self, one: Drum, pitch: int) -> int:
        """By how many semitones a pitch lies outside the best part of a drum.

        >>> [Settings().off_best(drum(29), pitch) for pitch in (41, 44, 45, 47, 48)]
        [4, 1, 0, 0, 1]
        """
        from_low = one.low - int(-(one.high - one.low) * self.best_from // 1)
        return max(0, from_low - pitch, pitch - (one.high - self.best_below_top))


def pedal_drums(drums: Sequence[Drum] | None = None, initial: Mapping[str, int] | None = None) -> Settings:
    """The usual settings: drums with pedals, retuned by the feet while the hands may play."""
    return Settings(drums=tuple(drums) if drums is not None else standard_drums(), initial=dict(initial or {}))


def hand_screws(drums: Sequence[Drum] | None = None, initial: Mapping[str, int] | None = None) -> Settings:
    """Drums with hand screws: one at a time, both hands busy, no glissando, and much longer."""
    return Settings(
        drums=tuple(drums) if drums is not None else standard_drums(),
        tone_us=_us("screws_tone_comfortable"),
        semitone_us=_us("screws_semitone_comfortable"),
        quick_tone_us=_us("screws_tone_quickest"),
        quick_semitone_us=_us("screws_semitone_quickest"),
        feet=_count("screws_together"),
        hands_free=False,
        pedals=False,
        initial=dict(initial or {}),
    )
