"""Written or played? A file made from notation has its onsets on a grid of the beat; a player's fall anywhere."""

from __future__ import annotations

from fractions import Fraction

from deskproof import facts
from deskproof.midi.file import MidiFile


def share_on_grid(file: MidiFile) -> Fraction:
    """The share of onsets on a twelfth or a sixteenth of a quarter (rounded to a tick), less what chance would give.

    Every tick at which something begins counts once. Chance puts as many on the grid as it has of the ticks: with
    480 ticks a quarter a twentieth, with 24 all of them. 0 is chance, 1 means that all stand on the grid; also 1 if
    there are no onsets, or no ticks beside the grid.

    Raises
    ------
    ValueError
        If the ticks are seconds: such a file has no quarters.
    """
    if file.smpte:
        raise ValueError("a file in seconds has no quarters")
    division = file.division
    grid = {round(Fraction(i * division, parts)) % division for parts in (12, 16) for i in range(parts)}
    onsets = {note.onset for track in file.tracks for note in track.notes}
    if not onsets or len(grid) == division:
        return Fraction(1)
    share = Fraction(sum(onset % division in grid for onset in onsets), len(onsets))
    chance = Fraction(len(grid), division)
    return (share - chance) / (1 - chance)


def is_played(file: MidiFile) -> bool:
    """Whether the file's times are a player's. A file whose ticks are seconds has no other times."""
    return file.smpte or share_on_grid(file) < Fraction(str(facts.get("midi.onsets_on_grid").value))
