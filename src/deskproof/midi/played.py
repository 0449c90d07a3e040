"""Written or played? A file made from notation has its onsets on a grid of the beat; a player's fall anywhere."""

from __future__ import annotations

from fractions import Fraction

from deskproof import facts
from deskproof.midi.file import MidiFile


def share_on_grid(file: MidiFile) -> Fraction:
    """The share of the onsets that stand on a twelfth or a sixteenth of a quarter, rounded to the file's tick.

    Every tick at which something begins counts once. 1 if there are no notes.

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
    if not onsets:
        return Fraction(1)
    return Fraction(sum(onset % division in grid for onset in onsets), len(onsets))


def is_played(file: MidiFile) -> bool:
    """Whether the file's times are a player's. A file whose ticks are seconds has no other times."""
    return file.smpte or share_on_grid(file) < Fraction(str(facts.get("midi.onsets_on_grid").value))
