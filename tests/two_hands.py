"""The shared recordings of two hands: what was played, in one stream, and the hand that truly played each note.

Each file has one track a hand. They are merged into one list, sorted by time and then key, so that nothing of the
tracks, the channels or the file name is left. Files whose name (with suffix, UTF-8) has an odd SHA-256 are for fitting,
even ones for reporting.
"""

from __future__ import annotations

import hashlib
import os
from collections import defaultdict, deque
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido
import pytest

from corpus import SHARED

FOLDER = SHARED.parent / "two-hands"
HANDS = {"Rechts": "R", "Links": "L"}
CLASSICS = ("Bach", "Haydn", "Mozart", "Beethoven")


@dataclass(frozen=True)
class Recording:
    """One file: the notes as (t_us, key, until_us), and the hand of each."""

    name: str
    notes: tuple[tuple[int, int, int], ...]
    hands: tuple[str, ...]

    @property
    def odd(self) -> bool:
        """True for the files that the prices are fitted on."""
        return int(hashlib.sha256(self.name.encode("utf-8")).hexdigest(), 16) % 2 == 1

    @property
    def classic(self) -> bool:
        """True for the composers in whose files nothing may be called out of reach."""
        return self.name.startswith(CLASSICS)


@cache
def recordings() -> tuple[Recording, ...]:
    """All recordings, by name. Skips the test when they are not there; under ``CI=true`` it fails instead."""
    paths = sorted(FOLDER.glob("*.mid")) if FOLDER.is_dir() else []
    if not paths:
        if os.environ.get("CI") == "true":
            pytest.fail("the recordings are missing: expected shared/two-hands beside the repository")
        pytest.skip("the recordings of two hands are not here")
    return tuple(_recording(path) for path in paths)


def _recording(path: Path) -> Recording:
    midi = mido.MidiFile(path)
    messages = []
    for track in midi.tracks:
        hand = HANDS.get(track.name.split()[0] if track.name.split() else "", "")
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "set_tempo":
                messages.append((tick, 0, message.tempo, 0, ""))
            elif message.type in ("note_on", "note_off"):
                down = message.type == "note_on" and message.velocity > 0
                messages.append((tick, 1, int(down), message.note, hand if down else ""))
    messages.sort()  # at one tick: tempo, ends, beginnings
    us = last = 0
    tempo = 500_000
    notes: list[tuple[int, int, int, str]] = []
    sounding: dict[int, deque[int]] = defaultdict(deque)
    for tick, kind, value, key, hand in messages:
        us += (tick - last) * tempo // midi.ticks_per_beat
        last = tick
        if kind == 0:
            tempo = value
        elif value:
            sounding[key].append(len(notes))
            notes.append((us, key, us, hand))
        elif sounding[key]:
            i = sounding[key].popleft()
            notes[i] = (notes[i][0], key, us, notes[i][3])
    assert all(hand for _, _, _, hand in notes), f"{path.name}: a track is no hand"
    notes.sort()
    return Recording(path.name, tuple(note[:3] for note in notes), tuple(note[3] for note in notes))
