"""Fingers of a hand beside printed ones, and how long they take: ``python benchmarks/fingerings.py``.

The printed fingerings are those of tests/oracles/keyboard_fingers.py: files for which int(sha256 of the name) is odd
served for fitting three weights, even ones are reported. The interval is Wilson's at 95 %, which takes the notes as
independent; beside it stands one by drawing whole pieces anew, of which there are few. The speed is that of the fingers
alone, on recorded hands (chords as struck within a fact's time, held keys as held), once with nothing met before and
once with the chords known; then on the same music one, four and sixteen times over, each time moved by another step.
"""

from __future__ import annotations

import gc
import hashlib
import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from math import sqrt
from pathlib import Path
from typing import Any

import mido

from deskproof import facts
from deskproof.families.keyboard import finger_costs as costs
from deskproof.families.keyboard import fingers as planner
from deskproof.families.keyboard.fingers import FingerSettings, Hand, HandOnset, plan_fingers, with_held

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))  # the scores and their reading are those of the tests
oracle: Any = import_module("oracles.keyboard_fingers")

RECORDED = ROOT.parent / "shared" / "two-hands"
TRACKS: dict[str, Hand] = {"Rechts": "right", "Links": "left"}  # a number may follow
Z = 1.96
DRAWS, SEED = 10_000, 1
SIZES = (1, 4, 16)
ROUNDS = 5
WIDEST = 15  # semitones: keys further from those struck are taken to be let go


def wilson(hits: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a rate (Wilson 1927)."""
    if not of:
        return 0.0, 1.0
    rate = hits / of
    middle = (rate + Z * Z / (2 * of)) / (1 + Z * Z / of)
    half = Z * sqrt(rate * (1 - rate) / of + Z * Z / (4 * of * of)) / (1 + Z * Z / of)
    return middle - half, middle + half


def redrawn(pieces: Sequence[tuple[int, int]]) -> tuple[float, float]:
    """The 95 % interval of a rate by drawing whole pieces anew (hits and notes of each)."""
    chance = random.Random(SEED)
    rates = []
    for _ in range(DRAWS):
        drawn = chance.choices(pieces, k=len(pieces))
        rates.append(sum(hits for hits, _ in drawn) / sum(of for _, of in drawn))
    rates.sort()
    return rates[DRAWS // 40], rates[-1 - DRAWS // 40]


def is_odd(name: str) -> bool:
    """True for a file that served for fitting."""
    return int(hashlib.sha256(name.encode("utf-8")).hexdigest(), 16) % 2 == 1


def ours(staff: Any, settings: FingerSettings) -> Callable[[int, int], int]:
    """The finger of an onset and a key in our plan of a staff."""
    onsets = [HandOnset(**onset) for onset in staff.onsets]
    plan = plan_fingers(onsets, staff.hand, settings)
    return lambda i, key: plan[i][onsets[i].keys.index(key)]


def matches(staves: Sequence[Any], finger: Callable[[Any], Callable[[int, int], int]]) -> dict[str, tuple[int, int]]:
    """By piece, how many printed figures the fingers match, and of how many."""
    found: dict[str, tuple[int, int]] = {}
    for staff in staves:
        chosen = finger(staff)
        hits, of = found.get(staff.name, (0, 0))
        hits += sum(chosen(i, key) in fingers for (i, key), fingers in staff.printed.items())
        found[staff.name] = hits, of + len(staff.printed)
    return found


def print_matches() -> None:
    """The rates for three ways of choosing."""
    staves = oracle.printed_scores()
    ways: dict[str, Callable[[Any], Callable[[int, int], int]]] = {
        "as planned": lambda staff: ours(staff, FingerSettings()),
        "all weights equal": lambda staff: ours(staff, FingerSettings(weights=costs.equal_weights())),
        "always the thumb": lambda staff: lambda i, key: 1,
    }
    for way, finger in ways.items():
        pieces = matches(staves, finger)
        for title, chosen in (
            ("reported (even)", [name for name in pieces if not is_odd(name)]),
            ("fitted on (odd)", [name for name in pieces if is_odd(name)]),
            ("all", list(pieces)),
        ):
            rows = [pieces[name] for name in chosen]
            hits, of = sum(row[0] for row in rows), sum(row[1] for row in rows)
            low, high = wilson(hits, of)
            few, many = redrawn(rows)
            print(
                f"{way:18} {title:16} {hits:4} of {of:4} {hits / of:6.1%}  by notes {low:.1%} to {high:.1%}"
                f"  by {len(rows)} pieces {few:.1%} to {many:.1%}"
            )
        print("   ", ", ".join(f"{name} {hits}/{of}" for name, (hits, of) in sorted(pieces.items())))


def recorded() -> Iterator[tuple[str, Hand, list[HandOnset]]]:
    """The hands of the recordings, each as onsets."""
    for path in sorted(RECORDED.glob("*.mid")):
        file = mido.MidiFile(path)
        tempi = [message.tempo for track in file.tracks for message in track if message.type == "set_tempo"]
        tempo = tempi[0] if tempi else 500_000
        for track in file.tracks:
            hand = TRACKS.get(track.name.partition(" ")[0])
            if hand is not None:
                yield path.name, hand, gathered(track, tempo / file.ticks_per_beat)


def gathered(track: Any, tick_us: float) -> list[HandOnset]:
    """The keys of a track as chords: those struck within the time of the fact after the first."""
    together_us = facts.get("keys.together").value * 1000
    at = 0
    on: dict[int, int] = {}
    notes = []
    for message in track:
        at += message.time
        if message.type in ("note_on", "note_off"):
            if message.note in on:
                notes.append((round(on.pop(message.note) * tick_us), message.note, round(at * tick_us)))
            if message.type == "note_on" and message.velocity:
                on[message.note] = at
    groups: list[tuple[int, dict[int, int]]] = []
    for t_us, key, until_us in sorted(notes):
        if not groups or t_us - groups[-1][0] > together_us:
            groups.append((t_us, {}))
        groups[-1][1][key] = until_us
    onsets = [HandOnset(t, tuple(sorted(keys)), tuple(keys[key] for key in sorted(keys))) for t, keys in groups]
    return [
        onset._replace(held=tuple(k for k in onset.held if max(k, *onset.keys) - min(k, *onset.keys) <= WIDEST))
        for onset in with_held(onsets)
    ]


def moved(onsets: Sequence[HandOnset], times: int) -> list[HandOnset]:
    """The same music so many times one after the other, each time a semitone higher or lower."""
    found: list[HandOnset] = []
    for turn in range(times):
        step = (turn + 1) // 2 * (1 if turn % 2 else -1)
        start = max(found[-1].until_us) if found else 0
        found += [
            HandOnset(
                onset.t_us + start,
                tuple(key + step for key in onset.keys),
                tuple(until + start for until in onset.until_us),
                tuple(key + step for key in onset.held),
            )
            for onset in onsets
        ]
    return found


def print_speed() -> None:
    """Microseconds a note, cold and warm, and at three lengths."""
    hands = list(recorded())
    if not hands:
        print("the recorded hands are not here")
        return
    notes = sum(len(onset.keys) for _, _, onsets in hands for onset in onsets)
    unplanned = sum(not all(fingers) for _, hand, onsets in hands for fingers in plan_fingers(onsets, hand))
    count = sum(len(onsets) for _, _, onsets in hands)
    print(f"{len(hands)} hands, {count} onsets, {notes} notes; onsets without fingers: {unplanned}")
    cold = warm = 0.0
    for _, hand, onsets in hands:
        planner.forget()
        plan_fingers(onsets[:1], hand)
        gc.collect()
        start = time.process_time()
        plan_fingers(onsets, hand)
        middle = time.process_time()
        plan_fingers(onsets, hand)
        cold += middle - start
        warm += time.process_time() - middle
    planner.forget()
    start = time.process_time()
    for _, hand, onsets in hands:
        plan_fingers(onsets, hand)
    whole = time.process_time() - start
    for title, seconds in (("each hand alone", cold), ("again", warm), ("all hands, nothing met before", whole)):
        print(f"{title:30} {seconds / notes * 1e6:6.2f} us a note, {notes / seconds:9,.0f} notes a second")
    name, hand, onsets = max(hands, key=lambda row: len(row[2]))
    for size in SIZES:
        music = moved(onsets, size)
        count = sum(len(onset.keys) for onset in music)
        best = min(_cold(music, hand) for _ in range(ROUNDS))
        print(f"{name} x{size:<3} {count:7} notes {best:7.3f} s {best / count * 1e6:6.2f} us a note")


def _cold(onsets: Sequence[HandOnset], hand: Hand) -> float:
    planner.forget()
    plan_fingers(onsets[:1], hand)
    gc.collect()
    start = time.process_time()
    plan_fingers(onsets, hand)
    return time.process_time() - start


if __name__ == "__main__":
    print_matches()
    print_speed()
