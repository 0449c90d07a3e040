"""Is this a timpani plan? Tests the JSON of a plan against drums, their compass and times, and against the part.

Nothing here imports the package under test. The checker solves nothing: it reads a plan and says what in it cannot be.
The part is a list of ``{"t_us", "hold_us", "pitches", "to"}`` (``to`` empty where nothing slides), the room as
`timpani_brute` has it. The plan is ``{"drums", "initial", "retunes", "events", "objective", "proven", "unplanned"}``;
``unplanned`` lists (ordinal of the event, ordinals of its pitches, reason). All times are whole microseconds.

Readings chosen where the words leave room
    a retuning
        Takes the comfortable or the quickest time for its distance, nothing between, and has a purpose: the drum is
        struck at the new pitch before it is tuned again. It may touch a hold, a stroke or another retuning.
    a slide
        Takes a foot for the whole hold of its event.
    left out
        A pitch is wrongly left out when the plan as it stands would let it be struck: a stick is left, and a drum that
        the event does not use stands still at the pitch until the end of the hold; or has no tuning at all and could
        have stood there. Slides that are left out are not judged so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

OBJECTIVE = ["unplanned", "quick_retunings", "retunings", "semitones", "off_best", "spare_time"]
BOUNDED = 5  # so many of them have a bound when the plan is proven
REASONS = {"no drum", "too many at once", "no time to retune"}


def check(plan: dict[str, Any], part: Sequence[dict[str, Any]], room: dict[str, Any]) -> list[str]:
    """Everything that is wrong with a plan; empty if it can be played as it says."""
    return _Check(plan, part, room).said


class _Check:
    def __init__(self, plan: dict[str, Any], part: Sequence[dict[str, Any]], room: dict[str, Any]) -> None:
        self.plan = plan
        self.part = part
        self.room = room
        self.said: list[str] = []
        self.compass = {d["id"]: (d["low"], d["high"]) for d in plan["drums"]}
        self.need(sorted(self.compass.values()) == sorted(map(tuple, room["drums"])), "other drums than in the room")
        self.at = {e["t_us"]: e for e in part}
        self.retunes = {name: [r for r in plan["retunes"] if r["drum"] == name] for name in self.compass}
        self.need(sum(map(len, self.retunes.values())) == len(plan["retunes"]), "a retuning of an unknown drum")
        for name in self.compass:
            self.drum(name)
        self.feet()
        self.hands()
        for event in plan["events"]:
            self.event(event)
        self.left_out()
        self.objective()

    def need(self, what: bool, else_said: str) -> None:
        if not what:
            self.said.append(else_said)

    def drum(self, name: str) -> None:
        """One drum through the part: where it stands, when it is held, when it is tuned."""
        low, high = self.compass[name]
        stands = self.plan["initial"].get(name)
        given = dict(zip((d["id"] for d in self.plan["drums"]), self.room["initial"], strict=True))[name]
        self.need(given is None or stands == given, f"{name}: does not begin at the given tuning")
        self.need(stands is None or low <= stands <= high, f"{name}: begins outside its compass")
        strokes = [
            (e["t_us"], e["t_us"] + e["hold_us"], e["pitches"][k], e.get("to", e["pitches"])[k])
            for e in self.plan["events"]
            for k, d in enumerate(e["drums"])
            if d == name
        ]
        things: list[tuple[int, int, str, int, int]] = [(t, end, "stroke", a, b) for t, end, a, b in strokes]
        for row in self.retunes[name]:
            end = row["t_us"] + row["dur_us"]
            things.append((row["t_us"], end, "retune", row["from"], row["to"]))
            self.need(row["from"] != row["to"], f"{name}: tuned nowhere at {row['t_us']}")
            self.need(low <= row["to"] <= high, f"{name}: tuned outside its compass at {row['t_us']}")
            self.need(row["t_us"] >= self.room["start_us"], f"{name}: tuned before the beginning")
            self.need(
                row["dur_us"] in self.lengths(row), f"{name}: the retuning at {row['t_us']} takes {row['dur_us']}"
            )
            for t, until, _, _ in strokes:
                clear = end <= t or row["t_us"] >= until
                self.need(clear, f"{name}: tuned at {row['t_us']} while struck or held from {t} to {until}")
        slides_until = held_until = self.room["start_us"]
        things.sort(key=lambda row: (row[0], row[2] == "retune"))
        for t, until, kind, a, b in things:
            self.need(stands == a, f"{name}: stands at {stands} at {t}, where {kind} needs {a}")
            self.need(slides_until <= t, f"{name}: moves at {t}")
            if a != b:
                self.need(held_until <= t, f"{name}: leaves its pitch at {t} while held")
                self.need(low <= min(a, b) and max(a, b) <= high, f"{name}: moves outside its compass at {t}")
                slides_until = until
            if kind == "stroke":
                held_until = max(held_until, until)
            stands = b
        for one, other in pairwise([row for row in things if row[2] == "retune" or row[3] != row[4]]):
            self.need(one[1] <= other[0], f"{name}: moves twice at {other[0]}")
        kinds = [row[2] for row in things]
        self.need(("retune", "retune") not in pairwise(kinds), f"{name}: tuned twice without a stroke between")
        self.need(kinds[-1:] != ["retune"], f"{name}: tuned for nothing at the end")

    def lengths(self, row: dict[str, Any]) -> tuple[int, int]:
        """The comfortable and the quickest time for a retuning."""
        more = abs(row["from"] - row["to"]) - 2
        room = self.room
        long = room["tone_us"] + more * room["semitone_us"]
        return long, room["quick_tone_us"] + more * room["quick_semitone_us"]

    def feet(self) -> None:
        """No more drums move at a time than there are feet."""
        moves = [(r["t_us"], r["t_us"] + r["dur_us"]) for r in self.plan["retunes"]]
        for e in self.plan["events"]:
            slides = sum(a != b for a, b in zip(e["pitches"], e.get("to", e["pitches"]), strict=True))
            moves += [(e["t_us"], e["t_us"] + e["hold_us"])] * slides
        turns = sorted([(t, 1) for t, _ in moves] + [(t, -1) for _, t in moves])
        moving = 0
        for t, step in turns:
            moving += step
            self.need(moving <= self.room["feet"], f"{moving} drums move at {t}")

    def hands(self) -> None:
        """Where the hands are not free, nothing is tuned while anything that could be struck is."""
        if self.room["hands_free"]:
            return
        for row in self.plan["retunes"]:
            for e in self.part:
                over = row["t_us"] < e["t_us"] + e["hold_us"] and e["t_us"] < row["t_us"] + row["dur_us"]
                if over and any(self.takers(e, k) for k in range(len(e["pitches"]))):
                    self.need(False, f"{row['drum']}: tuned at {row['t_us']} in the event at {e['t_us']}")

    def takers(self, event: dict[str, Any], k: int) -> list[str]:
        """The drums in whose compass a pitch and its slide lie."""
        start = event["pitches"][k]
        end = event["to"][k] if event["to"] else start
        if start != end and not (self.room["pedals"] and event["hold_us"] > 0):
            return []
        return [n for n, (low, high) in self.compass.items() if low <= min(start, end) <= max(start, end) <= high]

    def event(self, event: dict[str, Any]) -> None:
        """An event of the plan is one of the part, and two sticks do it."""
        t = event["t_us"]
        real = self.at.get(t)
        if real is None:
            self.need(False, f"an event at {t} that the part does not have")
            return
        self.need(real["hold_us"] == event["hold_us"], f"the hold at {t} is another")
        self.need(
            len(set(event["drums"])) == len(event["drums"]) == len(event["pitches"]), f"drums of {t} do not match"
        )
        self.need(len(event["drums"]) <= self.room["sticks"], f"more drums than sticks at {t}")
        self.need(set(event["drums"]) <= set(self.compass), f"an unknown drum at {t}")

    def left_out(self) -> None:
        """Every pitch is planned or named, and none named that could be struck."""
        played = {e["t_us"]: e for e in self.plan["events"]}
        self.need(len(played) == len(self.plan["events"]), "one event stands twice")
        named: dict[int, list[int]] = {}
        for i, ks, reason in self.plan["unplanned"]:
            self.need(reason in REASONS, f"event {i}: the reason {reason!r}")
            named.setdefault(i, []).extend(ks)
            for k in ks:
                self.need((reason == "no drum") == (not self.takers(self.part[i], k)), f"event {i}: {reason} is not so")
        for i, e in enumerate(self.part):
            out = named.get(i, [])
            self.need(len(set(out)) == len(out), f"event {i}: a pitch is left out twice")
            pairs = [(p, e["to"][k] if e["to"] else p) for k, p in enumerate(e["pitches"])]
            mine = played.get(e["t_us"], {"pitches": [], "drums": []})
            struck = list(zip(mine["pitches"], mine.get("to", mine["pitches"]), strict=True))
            missing = Counter(pairs) - Counter(struck)
            self.need(not Counter(struck) - Counter(pairs), f"event {i}: struck what is not written")
            self.need(missing == Counter(pairs[k] for k in out), f"event {i}: neither planned nor named")
            if len(struck) < self.room["sticks"]:
                for k in out:
                    if pairs[k][0] == pairs[k][1]:
                        self.could(i, e, pairs[k][0], mine["drums"])

    def could(self, i: int, event: dict[str, Any], pitch: int, used: Sequence[str]) -> None:
        """Says so if a drum stands ready for a pitch that is left out."""
        begin, end = event["t_us"], event["t_us"] + event["hold_us"]
        for name, (low, high) in self.compass.items():
            if name in used or not low <= pitch <= high:
                continue
            moves = [(r["t_us"], r["t_us"] + r["dur_us"], r["to"]) for r in self.retunes[name]]
            for e in self.plan["events"]:
                for d, a, b in zip(e["drums"], e["pitches"], e.get("to", e["pitches"]), strict=True):
                    if d == name and a != b:
                        moves.append((e["t_us"], e["t_us"] + e["hold_us"], b))
            if any((t < end and begin < until) or begin <= t < end for t, until, _ in moves):
                continue
            before = [to for _, until, to in sorted(moves) if until <= begin]
            stands = before[-1] if before else self.plan["initial"].get(name)
            self.need(
                stands is not None and stands != pitch, f"event {i}: {pitch} left out, though drum {name} is ready"
            )

    def objective(self) -> None:
        """The figures are what the plan shows, and what is called proven is."""
        rows = self.plan["objective"]
        self.need([row["name"] for row in rows] == OBJECTIVE, "the objective has other names")
        values = [row["value"] for row in rows]
        quick = sum(r["dur_us"] < self.lengths(r)[0] for r in self.plan["retunes"])
        seen = [
            sum(len(ks) for _, ks, _ in self.plan["unplanned"]),
            quick,
            len(self.plan["retunes"]),
            sum(abs(r["from"] - r["to"]) for r in self.plan["retunes"]),
        ]
        self.need(values[: len(seen)] == seen, f"the objective says {values[: len(seen)]}, the plan shows {seen}")
        self.need(all(row["at_least"] is None or row["at_least"] <= row["value"] for row in rows), "below its bound")
        reached = all(row["at_least"] == row["value"] for row in rows[:BOUNDED])
        self.need(self.plan["proven"] == reached, "proven does not follow from the bounds")
