"""Harp passages made by rule from a number: the same number gives the same passage, on every machine.

A passage is a list of onsets ``{"t_us": int, "notes": [{"pitch", "written_us", "spelled": (step, alter, octave)}]}``.
Times are whole microseconds from the start; no pitch stands twice in one onset; the notes of one onset lie within two
octaves, so that two hands take any four of them.
"""

from __future__ import annotations

from itertools import permutations
from random import Random
from typing import Any, NamedTuple

Onsets = list[dict[str, Any]]
Spelled = tuple[str, int, int]

LETTERS = "CDEFGAB"
NATURAL = dict(zip(LETTERS, (0, 2, 4, 5, 7, 9, 11), strict=True))
FIFTHS = "FCGDAEB"
SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")


class Passage(NamedTuple):
    """A short passage with its terms; the fields after `onsets` are named as `harp_bruteforce.least` names them."""

    seed: int
    onsets: Onsets
    initial: dict[str, int] | None
    fixed: dict[str, int]
    repeat: dict[str, int] | None

    @property
    def terms(self) -> dict[str, Any]:
        return {"initial": self.initial, "fixed": self.fixed, "repeat": self.repeat}


def key_alters(fifths: int) -> dict[str, int]:
    """The alteration of each letter in a key.

    >>> [letter for letter, alter in key_alters(-2).items() if alter]
    ['E', 'B']
    """
    sharps, flats = FIFTHS[: max(fifths, 0)], FIFTHS[::-1][: max(-fifths, 0)]
    return {letter: (letter in sharps) - (letter in flats) for letter in LETTERS}


def sounding(spelled: Spelled) -> int:
    """The MIDI number of a spelled pitch: its natural, raised or lowered (B#3 is C4)."""
    step, alter, octave = spelled
    return 12 * (octave + 1) + NATURAL[step] + alter


def name_of(pitch: int, flats: bool) -> Spelled:
    """The usual name of a pitch with flats or with sharps."""
    name = (FLAT_NAMES if flats else SHARP_NAMES)[pitch % 12]
    return name[0], name.count("#") - name.count("b"), pitch // 12 - 1


def _note(spelled: Spelled, written_us: int) -> dict[str, Any]:
    return {"pitch": sounding(spelled), "written_us": written_us, "spelled": spelled}


def _onset(t_us: int, names: list[Spelled], lengths: list[int]) -> dict[str, Any]:
    notes: dict[int, dict[str, Any]] = {}
    for spelled, length in zip(names, lengths, strict=True):
        notes.setdefault(sounding(spelled), _note(spelled, length))
    return {"t_us": t_us, "notes": [notes[pitch] for pitch in sorted(notes)]}


def _degree(key: dict[str, int], step: int) -> Spelled:
    letter = LETTERS[step % 7]
    return letter, key[letter], step // 7


def _has_setting(names: list[Spelled]) -> bool:
    """Whether seven pedals can give all pitch classes at once (G, G sharp and A, for one, they cannot)."""
    wanted = sorted({sounding(name) % 12 for name in names})
    return any(
        all((pitch - NATURAL[letter] + 1) % 12 <= 2 for pitch, letter in zip(wanted, letters, strict=True))
        for letters in permutations(LETTERS, len(wanted))
    )


def _altered(spelled: Spelled, random: Random) -> Spelled:
    step, alter, octave = spelled
    up = random.random() < 0.5
    return step, alter + (1 if (up and alter < 1) or alter < 0 else -1), octave


def tonal(onsets: int, seed: int, *, step_us: int = 600_000, chromatic: float = 0.06, turn: float = 0.045) -> Onsets:
    """The long benchmark: a tonal texture in a wandering key, 1 to 4 notes an onset, each held half a step.

    Each onset takes 1, 2, 3 or 4 different degrees of the key within two octaves, each as likely; with the chance
    `chromatic` one of them is altered by a semitone. After an onset the key goes a fifth up or down with the chance
    `turn`, and stays within six signs. Every onset has a setting; a few neighbours (one in some hundred onsets) leave
    too little time for a change even at 0.3 s.
    """
    random = Random(f"tonal {seed}")
    fifths, centre, found = random.randint(-3, 3), 7 * 4, []
    for i in range(onsets):
        key = key_alters(fifths)
        degrees = random.sample(range(centre - 7, centre + 8), random.randint(1, 4))
        names = [_degree(key, d) for d in degrees]
        if random.random() < chromatic:
            altered = [_altered(names[0], random), *names[1:]]
            if _has_setting(altered):
                names = altered
        found.append(_onset(i * step_us, names, [step_us // 2] * len(names)))
        centre = min(max(centre + random.randint(-2, 2), 7 * 3), 7 * 5 + 3)
        if random.random() < turn:
            fifths = min(max(fifths + random.choice((-1, 1)), -6), 6)
    return found


def random_notes(onsets: int, seed: int, *, notes: int = 1, step_us: int | None = None) -> Onsets:
    """Material without a key: `notes` different pitches an onset, any within two octaves, each held half a step.

    The usual steps are 0.45 s for single notes, 1.5 s for two and 3 s for three.
    """
    random = Random(f"random {seed} {notes}")
    step = step_us if step_us is not None else {1: 450_000, 2: 1_500_000, 3: 3_000_000}.get(notes, 4_000_000)
    found = []
    for i in range(onsets):
        low = random.randint(36, 72)
        pitches = random.sample(range(low, low + 25), notes)
        flats = random.random() < 0.5
        found.append(_onset(i * step, [name_of(p, flats) for p in pitches], [step // 2] * notes))
    return found


def short(seed: int) -> Passage:
    """A random short passage: 3 to 8 onsets of 1 to 4 notes, with holds, pauses, fixed starts, repeats and clusters."""
    random = Random(f"short {seed}")
    count, most = random.randint(3, 8), random.choice((1, 2, 2, 3, 4))
    step = random.choice((150_000, 250_000, 300_000, 500_000, 600_000, 800_000, 1_000_000, 1_500_000))
    colour = random.choice(("tonal", "tonal", "tonal", "chromatic", "cluster", "random"))
    held = random.choice((0, 25, 50, 50, 100, 100, 130))  # per cent of a step
    uneven = random.random() < 0.25
    fifths, centre = random.randint(-5, 5), random.choice((7 * 1, 7 * 3, 7 * 4, 7 * 4, 7 * 5))
    flats = fifths < 0
    t, found = random.choice((0, 0, step, 1_000_000)), []
    for _ in range(count):
        key, size = key_alters(fifths), random.randint(1, most)
        if colour == "random":
            low = 12 * (centre // 7) + 12
            names = [name_of(p, flats) for p in random.sample(range(low, low + 24), size)]
        elif colour == "cluster" and random.random() < 0.4:
            low = 12 * (centre // 7) + 12 + random.randrange(12)
            names = [name_of(low + k, flats) for k in range(random.randint(2, max(2, most)))]
        else:
            names = [_degree(key, d) for d in random.sample(range(centre - 7, centre + 8), size)]
            if colour != "tonal" and random.random() < 0.5:
                names[0] = _altered(names[0], random)
        names = [n for n in names if 24 <= sounding(n) <= 103] or [("E", 0, 4)]
        lengths = [step * held // 100] * len(names)
        if uneven:
            lengths = [length * random.choice((1, 2)) for length in lengths]
        found.append(_onset(t, names, lengths))
        t += step * random.choice((1, 1, 1, 1, 2)) + (random.choice((0, 2_000_000)) if random.random() < 0.1 else 0)
        if random.random() < 0.15:
            fifths = min(max(fifths + random.choice((-3, -1, 1, 4)), -6), 6)
    initial = {letter: random.choice((-1, 0, 0, 1)) for letter in "DCBEFGA"} if random.random() < 0.3 else None
    if initial is not None and random.random() < 0.6:
        initial = {letter: key_alters(fifths)[letter] for letter in "DCBEFGA"}
    fixed = {"C1": 0, "D1": 0}
    if random.random() < 0.2:
        fixed = {"C1": random.choice((-1, 0, 1)), "D1": random.choice((-1, 0, 1)), "G7": 0}
    repeat = None
    if random.random() < 0.25:
        first = random.choice((0, 0, random.randrange(count)))
        last = random.choice((count - 1, random.randrange(first, count)))
        while sum(len(onset["notes"]) for onset in found[first : last + 1]) > 10:
            first += 1  # trying everything takes too long where much is played twice
        end = found[last + 1]["t_us"] if last + 1 < count else t
        repeat = {"first": first, "last": last, "from_us": found[first]["t_us"], "to_us": end}
    return Passage(seed, found, initial, fixed, repeat)
