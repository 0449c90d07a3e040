"""Which tracks and channels are which part: names, programs, percussion, and the two hands of a keyboard."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from deskproof import instruments, words
from deskproof.midi.file import MidiFile, Pedal, Struck, Track

PERCUSSION = 9  # channel 10 of General MIDI, counted from 0
_PIANO = 0  # the first program of General MIDI
_TWO_STAVES = ("keyboard", "harp", "organ")  # families of instruments that are written for two hands
_HANDS = {"right-hand": "right", "left-hand": "left"}
_PLAIN_HANDS = {"right": "right", "left": "left"}
_WORD = re.compile(r"[^\W\d_]+\.?(?:[^\W\d_]+\.?)*")
_PHRASE = re.compile(rf"{_WORD.pattern}(?:\s+{_WORD.pattern})*")
_LONGEST_HAND = 4  # words: "mit der rechten Hand"


@dataclass(frozen=True, slots=True)
class Line:
    """The notes of one track on one channel; ``hand`` is right, left or empty, ``name`` without its hand."""

    track: int
    channel: int
    id: str
    name: str
    hand: str
    notes: tuple[Struck, ...]
    pedals: tuple[Pedal, ...]

    @property
    def programs(self) -> tuple[int | None, ...]:
        """The programs its notes sound on, each once, in order; None where the file had sent none yet."""
        return tuple(dict.fromkeys(note.program for note in self.notes))

    @property
    def percussion(self) -> bool:
        """Whether its keys are instruments instead of pitches."""
        return self.channel == PERCUSSION

    @property
    def mean_key(self) -> float:
        """The mean MIDI number."""
        return sum(note.key for note in self.notes) / len(self.notes)


def lines_of(file: MidiFile) -> list[Line]:
    """The lines of a file in the order of its tracks and channels."""
    return [line for track in file.tracks for line in _lines(track, file.format)]


def _lines(track: Track, format_: int) -> Iterator[Line]:
    channels = sorted({note.channel for note in track.notes})
    # The name of a format 0 track is the name of the piece (Standard MIDI Files 1.0, meta event 03).
    name = track.instrument if format_ == 0 else track.name or track.instrument
    bare, hand = without_hand(name)
    for channel in channels:
        yield Line(
            track.index,
            channel,
            f"t{track.index}" if len(channels) == 1 else f"t{track.index}c{channel}",
            bare,
            hand,
            tuple(note for note in track.notes if note.channel == channel),
            tuple(pedal for pedal in track.pedals if pedal.channel == channel),
        )


def without_hand(name: str) -> tuple[str, str]:
    """A track's name without the hand it names, and that hand.

    >>> without_hand("Piano RH"), without_hand("Links 16"), without_hand("Harp")
    (('Piano', 'right'), ('16', 'left'), ('Harp', ''))
    """
    found = list(_WORD.finditer(name))
    for size in range(_LONGEST_HAND, 0, -1):
        for i in range(len(found) - size + 1):
            start, end = found[i].start(), found[i + size - 1].end()
            hand = _hand(name[start:end]) if _PHRASE.fullmatch(name, start, end) else ""
            if hand:
                rest = name[:start] + " " + name[end:]
                return " ".join(rest.replace("()", " ").split()).strip(" ,;:-/()"), hand
    return name, ""


def _hand(text: str) -> str:
    if text.casefold() in _PLAIN_HANDS:
        return _PLAIN_HANDS[text.casefold()]
    return next((_HANDS[meaning.kind] for meaning in words.meanings(text) if meaning.kind in _HANDS), "")


def together(lines: Sequence[Line], merge_hands: bool) -> list[tuple[Line, ...]]:
    """The lines of each part: one, or the right and the left hand of one player, in this order.

    Two lines are two hands if their names say so and are otherwise the same; if they follow one another with the
    same name and program on an instrument of two staves; or if the file holds nothing else and names nobody.
    """
    if not merge_hands:
        return [(line,) for line in lines]
    groups: list[tuple[Line, ...]] = []
    taken: set[int] = set()
    for i, line in enumerate(lines):
        if i in taken:
            continue
        other = _other_hand(lines, i, taken)
        if other is None:
            groups.append((line,))
            continue
        taken.add(other)
        groups.append(_in_order(line, lines[other]))
    return groups


def _other_hand(lines: Sequence[Line], i: int, taken: set[int]) -> int | None:
    line = lines[i]
    if line.percussion:
        return None
    for j in range(i + 1, len(lines)):
        other = lines[j]
        if j in taken or other.percussion or other.name.casefold() != line.name.casefold():
            continue
        if line.hand or other.hand:
            if {line.hand, other.hand} == {"right", "left"}:
                return j
            continue
        if j == i + 1 and other.programs == line.programs and other.track != line.track:
            alone = len(lines) == 2 and not line.name and line.programs == (None,)
            if alone or _written_on_two_staves(line):
                return j
    return None


def _written_on_two_staves(line: Line) -> bool:
    known = instruments.identify(sound=None, program=program_of(line), name=line.name)
    return known is not None and known.family in _TWO_STAVES


def _in_order(one: Line, other: Line) -> tuple[Line, Line]:
    if one.hand:
        return (one, other) if one.hand == "right" else (other, one)
    return (one, other) if one.mean_key >= other.mean_key else (other, one)


def program_of(line: Line) -> int | None:
    """The program of a line's first note; the piano where the file sends none, None for percussion."""
    if line.percussion:
        return None
    first = line.programs[0]
    return _PIANO if first is None else first


def name_of(group: Sequence[Line]) -> str:
    """The name of a part: the track's, else its instrument's by program."""
    first = group[0]
    if is_named(group):
        return first.name
    if first.percussion:
        return "Percussion"
    name = program_name(program_of(first)) or f"Track {first.track}"
    return name if first.hand else f"{name} {first.name}".strip()


def is_named(group: Sequence[Line]) -> bool:
    """Whether the part's name is the file's own."""
    return any(char.isalpha() for char in group[0].name)


def program_name(program: int | None) -> str:
    """The name of a General MIDI program's instrument; empty where there is no such instrument."""
    known = instruments.identify(sound=None, program=program, name="")
    return known.name[:1].upper() + known.name[1:] if known else ""
