"""Fingerings of one hand found by trying everything, a checker of any fingering, and fingerings as printed.

Nothing here runs the planner; only its tables of costs are imported, since the least cost is asked for under the same
charges. A passage is a list of onsets as the planner takes them: ``t_us``, ``keys``, ``until_us``, ``held``, ``fixed``.

What is tried
    For every onset all increasing choices of fingers, the thumb lowest (right hand) or highest (left), and those with
    the thumb on the two outermost keys where these are neighbouring white keys or neighbouring black ones. Those go on
    that keep the most of the fingers asked for, and of them those least beyond the practical spans of their pairs.
    Then all ways through the passage.

What is counted
    Each chord: its struck notes and its pairs with a struck note. Each two chords in a row, and each two with one
    between: the mean over all pairs of a key of the earlier that the later does not hold and a key struck in the later,
    times the share of what lies between (a gap, a free hand), cut to whole. Each held key that changes its finger.
"""

from __future__ import annotations

import zipfile
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations, product
from pathlib import Path
from typing import Any

from lxml import etree

import corpus
from deskproof import facts
from deskproof.families.keyboard import finger_costs as costs

BLACKS = (1, 3, 6, 8, 10)
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
WIDEST = 15  # semitones: what a hand is taken to go on holding in a printed score, pedal or no pedal
MOST = 5
FIGURES = tuple("12345")
SHARED = ("brahms-o-komme-op58-4.mxl", "jaell-petits-oiseaux.mxl")
CARRIED = tuple(f"schumann_clara/polonaise_op1n{i}.mxl" for i in (1, 2, 3, 4))


# ------------------------------------------------------------------ everything tried


def thumbed(low: int, high: int) -> bool:
    """Whether one thumb takes both keys."""
    if (low % 12 in BLACKS) != (high % 12 in BLACKS):
        return False
    if low % 12 in BLACKS:
        return high - low == 2
    return high - low == 2 or (high - low == 1)


def mirror(key: int, hand: str) -> int:
    """A key as the right hand would find it."""
    return key if hand == "right" else costs.mirrored(key)


def taken(onset: Any, hand: str, width: int) -> tuple[list[int], list[bool], list[tuple[int, ...]]]:
    """Keys of a chord in the right hand's order, which of them are struck, and the choices that are let through."""
    new = [mirror(key, hand) for key in onset.keys]
    held = [key for key in (mirror(key, hand) for key in onset.held) if key not in new]
    held.sort(key=lambda key: (min(abs(key - one) for one in new), key))
    while True:
        keys = sorted(new + held)
        choices = list(combinations(range(1, 6), len(keys)))
        if len(keys) > 1 and thumbed(keys[0], keys[1]):
            choices += [(1, 1, *rest) for rest in combinations(range(2, 6), len(keys) - 2)]
        if choices or not held:
            break
        held.pop()
    wanted = {mirror(key, hand): finger for key, finger in onset.fixed}

    def rank(choice: tuple[int, ...]) -> tuple[int, int]:
        missed = sum(wanted.get(key, finger) != finger for key, finger in zip(keys, choice, strict=True))
        return missed, too_wide(dict(zip(keys, choice, strict=True)), width)

    best = min(map(rank, choices), default=None)
    return keys, [key in new for key in keys], [choice for choice in choices if rank(choice) == best]


def too_wide(fingers: Mapping[int, int], width: int = 1000) -> int:
    """By how much the pairs of a chord lie beyond their practical spans, thousandths of a semitone, right hand."""
    found = 0
    for (low, f), (high, g) in combinations(sorted(fingers.items()), 2):
        if f == g:
            continue
        limits = facts.get(f"fingers.span_{min(f, g)}_{max(f, g)}").value
        apart = (high - low) * width if f < g else (low - high) * width
        found += max(0, apart - 1000 * limits[5]) + max(0, 1000 * limits[0] - apart)
    return found


def price(onsets: Sequence[Any], plan: Sequence[Sequence[int]], hand: str, settings: Any) -> int:
    """The cost of a fingering of all keys, struck and held, as `taken` lists them."""
    chords = [taken(onset, hand, settings.width) for onset in onsets]
    return sum(
        alone(chords[i], plan[i], settings)
        + (together(onsets, chords, plan, i - 1, i, settings) if i else 0)
        + (together(onsets, chords, plan, i - 2, i, settings) if i > 1 else 0)
        for i in range(len(plan))
    )


def alone(chord: tuple[list[int], list[bool], Any], fingers: Sequence[int], settings: Any) -> int:
    """The cost of one chord."""
    keys, struck, _ = chord
    cost = 0
    for key, new, finger in zip(keys, struck, fingers, strict=True):
        if new:
            cost += costs.note_cost(finger, key % 12 in BLACKS, settings.weights)
    for i, j in combinations(range(len(keys)), 2):
        if not struck[i] and not struck[j]:
            continue
        if fingers[i] == fingers[j]:
            cost += settings.weights.thumb_two * costs.TENTH
        else:
            cost += costs.stretch(fingers[i], fingers[j], keys[j] - keys[i], settings.width, settings.weights)
    return cost


def follows(before: Any, after: Any) -> int:
    """How one onset follows another."""
    gap = after.t_us - max(before.until_us)
    if after.held or gap <= 1000 * facts.get("fingers.joined").value:
        return costs.JOINED
    return costs.FREE if gap >= 1000 * facts.get("fingers.free").value else costs.APART


def together(
    onsets: Sequence[Any], chords: Sequence[Any], plan: Sequence[Sequence[int]], i: int, j: int, settings: Any
) -> int:
    """The cost between two chords, one right after the other or with one between."""
    (keys, _, _), (later, struck, _) = chords[i], chords[j]
    fast = onsets[j].t_us - onsets[i].t_us < 1000 * facts.get("fingers.fast").value
    share = costs.shares()[max(follows(onsets[n], onsets[n + 1]) for n in range(i, j))]
    kept = {key for key, new in zip(later, struck, strict=True) if not new}
    cost = pairs = swaps = 0
    for key, finger in zip(keys, plan[i], strict=True):
        for other, new, after in zip(later, struck, plan[j], strict=True):
            if key in kept:
                swaps += key == other and finger != after
            elif new:
                pairs += 1
                black, black_after = key % 12 in BLACKS, other % 12 in BLACKS
                width, charged = settings.width, settings.weights
                if j - i == 1:
                    cost += costs.step_cost(finger, after, other - key, black, black_after, fast, width, charged)
                else:
                    cost += costs.skip_cost(finger, after, other - key, width, charged)
    cost = cost * share // (100 * pairs) if pairs else 0
    return cost + (costs.SUBSTITUTION * swaps if j - i == 1 else 0)


def least(onsets: Sequence[Any], hand: str, settings: Any) -> int:
    """The least cost of all fingerings of a passage, each tried and priced whole."""
    ways = [taken(onset, hand, settings.width)[2] for onset in onsets]
    return min(price(onsets, plan, hand, settings) for plan in product(*ways))


# ------------------------------------------------------------------ a fingering checked


def faults(
    onsets: Sequence[Any], plan: Sequence[Sequence[tuple[int, int]]], hand: str, width: int = 1000
) -> Iterator[str]:
    """What no hand could do in a plan, or need not do; onset by onset, then the changes on held keys of the whole."""
    changes = 0
    before: dict[int, int] = {}
    for i, (onset, pairs) in enumerate(zip(onsets, plan, strict=True)):
        fingers = {mirror(key, hand): finger for key, finger in pairs}
        keys, struck, choices = taken(onset, hand, width)
        if not choices or not fingers:
            if choices or fingers:
                yield f"onset {i}: {len(keys)} keys, {len(fingers)} fingers"
            before = {}
            continue
        if sorted(fingers) != keys:
            yield f"onset {i}: fingers for {sorted(fingers)}, not {keys}"
        order = [fingers[key] for key in sorted(fingers)]
        if order != sorted(order) or not set(order) <= {1, 2, 3, 4, 5}:
            yield f"onset {i}: fingers cross: {order}"
        for finger in set(order):
            its = sorted(key for key in fingers if fingers[key] == finger)
            if len(its) > 1 and (finger != 1 or len(its) > 2 or not thumbed(*its)):
                yield f"onset {i}: finger {finger} on {its}"
        if too_wide(fingers, width) > min(too_wide(dict(zip(keys, one, strict=True)), width) for one in choices):
            yield f"onset {i}: {fingers} lies further beyond the spans than it must"
        held = [key for key, new in zip(keys, struck, strict=True) if not new and key in before]
        changes += sum(before[key] != fingers.get(key) for key in held)
        before = fingers
    if changes > (needed := fewest_changes(onsets, hand, width)):
        yield f"{changes} held keys change their finger, {needed} must"


def fewest_changes(onsets: Sequence[Any], hand: str, width: int = 1000) -> int:
    """How many held keys must change their finger, with every chord taken as `taken` lets it be."""
    reached: dict[tuple[tuple[int, int], ...], int] = {(): 0}
    for onset in onsets:
        keys, struck, choices = taken(onset, hand, width)
        held = {key for key, new in zip(keys, struck, strict=True) if not new}
        found: dict[tuple[tuple[int, int], ...], int] = {} if choices else {(): min(reached.values())}
        for choice in choices:
            now = dict(zip(keys, choice, strict=True))
            found[tuple(now.items())] = min(
                count + sum(key in held and now[key] != finger for key, finger in way) for way, count in reached.items()
            )
        reached = found
    return min(reached.values())


# ------------------------------------------------------------------ fingerings as printed


@dataclass
class Staff:
    """One staff of a keyboard part, taken as one hand: onsets from the first, and the figures printed there.

    ``printed`` gives for an onset and a key the fingers that stand there; more than one are alternatives.
    """

    name: str
    staff: int
    onsets: list[dict[str, Any]]
    printed: dict[tuple[int, int], tuple[int, ...]]
    left_out: list[str] = field(default_factory=list)

    @property
    def hand(self) -> str:
        """The hand by the staff."""
        return "right" if self.staff == 1 else "left"


def printed_staves(path: Path) -> list[Staff]:
    """The staves of a MusicXML file that hold fingerings, read without the package under test.

    Notes last as written, ties joined, repeats played once, grace notes and cue notes left out; the tempo is the first
    that the file gives to play at, 100 quarters a minute otherwise. Several figures on a note by itself are
    alternatives. Several on a note of a chord are those of its notes, if there are as many, the first for the note on
    the thumb's side; otherwise they are left out.
    """
    root = etree.fromstring(_score(path))
    tempo = next((float(sound.get("tempo")) for sound in root.iter("sound") if sound.get("tempo")), 100.0)
    found = []
    for part in root.iterfind("part"):
        if next(part.iter("fingering"), None) is None:
            continue
        notes = _notes(part)
        for staff in sorted({note["staff"] for note in notes}):
            its = [note for note in notes if note["staff"] == staff]
            read = _staff(path.name, staff, its, 60 / Fraction(tempo))
            if read.printed:
                found.append(read)
    return found


def _score(path: Path) -> bytes:
    if not zipfile.is_zipfile(path):
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        name = next(name for name in archive.namelist() if not name.startswith("META-INF") and name.endswith("xml"))
        return archive.read(name)


def _notes(part: Any) -> list[dict[str, Any]]:
    """The notes of a part in quarters from its start."""
    found = []
    divisions = 1
    start = Fraction(0)
    group = 0
    for measure in part.iterfind("measure"):
        at = last = furthest = Fraction(0)
        for element in measure:
            if element.tag == "attributes" and element.findtext("divisions"):
                divisions = int(element.findtext("divisions"))
            elif element.tag in ("backup", "forward"):
                move = Fraction(element.findtext("duration")) / divisions
                at += move if element.tag == "forward" else -move
            elif element.tag == "note":
                length = Fraction(element.findtext("duration") or 0) / divisions
                grace = element.find("grace") is not None
                if element.find("chord") is None:
                    group += 1
                    last = at
                    at += length
                step = element.find("pitch")
                if step is not None and element.find("cue") is None:
                    found.append(
                        {
                            "staff": int(element.findtext("staff") or 1),
                            "at": start + last,
                            "end": start + last + length,
                            "key": 12 * (int(step.findtext("octave")) + 1)
                            + STEPS[step.findtext("step")]
                            + round(float(step.findtext("alter") or 0)),
                            "ties": {tie.get("type") for tie in element.iterfind("tie")},
                            "fingers": tuple(int(f.text) for f in element.iter("fingering") if f.text in FIGURES),
                            "grace": grace,
                            "group": group,
                            "measure": measure.get("number"),
                        }
                    )
            furthest = max(furthest, at)
        start += furthest
    return found


def _staff(name: str, staff: int, notes: Sequence[Mapping[str, Any]], quarter_s: Fraction) -> Staff:
    left_out = [f"measure {n['measure']}: grace note {n['key']}" for n in notes if n["grace"] and n["fingers"]]
    columns: dict[Fraction, dict[int, Fraction]] = defaultdict(dict)
    figures: list[tuple[Fraction, int, tuple[int, ...]]] = []
    groups: dict[int, list[int]] = defaultdict(list)
    for note in notes:
        groups[note["group"]].append(note["key"])
    sounding: dict[int, tuple[Fraction, Fraction]] = {}  # key: when it ends, where it was struck
    for note in sorted((note for note in notes if not note["grace"]), key=lambda note: (note["at"], note["key"])):
        key, at, end = note["key"], note["at"], note["end"]
        if "stop" in note["ties"] and key in sounding and sounding[key][0] == at:
            struck = sounding[key][1]
        else:
            struck = at
        if struck == at or end > columns[struck].get(key, end - 1):
            columns[struck][key] = max(end, columns[struck].get(key, end))
        sounding[key] = (end, struck)
        chord = sorted(groups[note["group"]], reverse=staff > 1)
        if len(note["fingers"]) == 1 or (note["fingers"] and len(chord) == 1):
            figures.append((struck, key, note["fingers"]))
        elif len(note["fingers"]) == len(chord):
            figures += [(struck, one, (finger,)) for one, finger in zip(chord, note["fingers"], strict=True)]
        elif note["fingers"]:
            left_out.append(f"measure {note['measure']}: {note['fingers']} on {chord}")
    times = sorted(columns)
    onsets = []
    ends: dict[int, Fraction] = {}
    for at in times:
        keys = sorted(columns[at])
        ends = {key: end for key, end in ends.items() if end > at and key not in keys}
        held = sorted(ends)
        while held and (len(held) + len(keys) > MOST or max(*keys, *held) - min(*keys, *held) > WIDEST):
            held.remove(max(held, key=lambda key: max(abs(key - one) for one in keys)))
        ends = {key: ends[key] for key in held} | columns[at]
        onsets.append(
            {
                "t_us": round(at * quarter_s * 1_000_000),
                "keys": tuple(keys),
                "until_us": tuple(round(columns[at][key] * quarter_s * 1_000_000) for key in keys),
                "held": tuple(held),
            }
        )
    place = {at: i for i, at in enumerate(times)}
    printed = {(place[at], key): fingers for at, key, fingers in figures}
    return Staff(name, staff, onsets, printed, left_out)


def printed_scores() -> list[Staff]:
    """All staves with fingerings for keyboards: of the shared scores, if they are here, and of music21's corpus."""
    paths = [path for path in corpus.shared_scores() if path.name in SHARED]
    paths += [file.path for file in corpus.corpus_files() if file.name in CARRIED]
    return [staff for path in paths for staff in printed_staves(path)]
