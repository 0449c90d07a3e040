"""Until when the strings of a piano sound, found by walking through time unit by unit.

Written from the inequalities of a piano's mechanism alone; nothing here comes from the package under test. Rows are
those of the JSON of a keyboard plan: notes have ``midi``, ``down_us`` and ``up_us``, pedals ``pedal``, ``down_us`` and
``up_us``. Meant for small whole times.

At one moment: keys and pedals rise, keys fall, the sostenuto pedal falls, the damper pedal falls, and last rise the
keys that were struck for no time at all. A damper lies on its string unless its key is down, the damper pedal is down,
or the sostenuto pedal is down and caught it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def sounds_until(notes: Sequence[Mapping[str, Any]], pedals: Sequence[Mapping[str, Any]]) -> list[tuple[int, str]]:
    """For every note the time at which its string falls silent or is struck again, and what held it at the last.

    What held it is "finger", "damper" or "sostenuto": of several the one that came first in this order is named, as
    far as it goes on longest.
    """
    horizon = max([*(n["up_us"] for n in notes), *(p["up_us"] for p in pedals), 0]) + 1
    end: dict[int, int] = {}
    by: dict[int, str] = {}
    sounding: dict[int, list[int]] = {}
    keys: set[int] = set()
    down: dict[str, bool] = {"damper": False, "sostenuto": False}
    caught: set[int] | None = set()  # None: all strings

    def holders(midi: int) -> set[str]:
        found = set()
        if any(notes[i]["midi"] == midi for i in keys):
            found.add("finger")
        if down["damper"]:
            found.add("damper")
        if down["sostenuto"] and (caught is None or midi in caught):
            found.add("sostenuto")
        return found

    last: dict[int, set[str]] = {}

    def settle(t: int) -> None:
        for midi, rows in list(sounding.items()):
            now = holders(midi)
            if now:
                continue
            for i in rows:
                end[i] = t
                by[i] = next(one for one in ("finger", "damper", "sostenuto") if one in last[midi])
            del sounding[midi]

    for t in range(horizon + 1):
        for midi in sounding:
            last[midi] = holders(midi) or last[midi]
        keys -= {i for i in keys if notes[i]["up_us"] == t}
        for row in pedals:
            if row["up_us"] == t and row["pedal"] in down:
                down[row["pedal"]] = False
        settle(t)
        struck = [i for i, n in enumerate(notes) if n["down_us"] == t]
        for midi in {notes[i]["midi"] for i in struck}:
            for i in sounding.pop(midi, ()):
                end[i] = t
                by[i] = next(one for one in ("finger", "damper", "sostenuto") if one in last[midi])
        for i in struck:
            keys.add(i)
            sounding.setdefault(notes[i]["midi"], []).append(i)
        for row in pedals:
            if row["down_us"] == t and row["pedal"] == "sostenuto":
                down["sostenuto"] = True
                caught = None if down["damper"] else {notes[i]["midi"] for i in keys}
        for row in pedals:
            if row["down_us"] == t and row["pedal"] == "damper":
                down["damper"] = True
        for midi in sounding:
            last[midi] = holders(midi)
        keys -= {i for i in keys if notes[i]["up_us"] <= t}
        settle(t)
    return [(end[i], by[i]) for i in range(len(notes))]


def record_complaints(plan: Mapping[str, Any], written_us: Mapping[tuple[str, int], int]) -> list[str]:
    """What is wrong with the notes and pedals of a keyboard plan's JSON.

    Parameters
    ----------
    plan : mapping
        With ``notes`` and ``pedals``, as the contract has them.
    written_us : mapping
        (ref, pass) -> written end.
    """
    found = []
    for note, (until, by) in zip(plan["notes"], sounds_until(plan["notes"], plan["pedals"]), strict=True):
        wanted = written_us[note["ref"], note["pass"]]
        again = [n["down_us"] for n in plan["notes"] if n["midi"] == note["midi"] and n["down_us"] > note["down_us"]]
        wanted = min([wanted, *again])
        if note["sounds_until_us"] != until:
            found.append(f"{note['ref']}: sounds until {until}, not {note['sounds_until_us']}")
        if note["kept_by"] != ("cut" if until < wanted else by):
            found.append(f"{note['ref']}: kept by {'cut' if until < wanted else by}, not {note['kept_by']}")
    return found
