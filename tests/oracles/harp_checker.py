"""Is this a harp plan? Tests the JSON of a plan against strings, feet and times, and against the notes of the score.

Nothing here imports the package under test. The checker solves nothing: it reads a plan of kind ``harp`` and says
what in it cannot be. Times are whole microseconds; where a plan's time is compared with the score's, a difference of
1 is let pass for rounding.

Readings chosen where the words leave room
    strings without a pedal
        A string named in ``fixed`` neither needs its letter's pedal nor holds it still.
    one event
        One onset, one written length: every note of an event is as long as ``written_us`` says, save grace notes,
        glissandi and trills. An onset may have many events; a string is struck once in it. ``notes``, ``pitches``,
        ``strings`` and ``positions`` run side by side; where notes of one pitch share a string there are more notes
        than pitches, and the longest of them counts.
    a harmonic
        May be written where it is played or where it sounds.
    unplanned
        A note is wrongly left out when the plan as it stands would let it be struck: a free string gives the pitch
        with the pedals as they are (or with a pedal that the plan never uses), that pedal is not moving at the onset,
        and two hands still take the onset (four strings and nine steps for each hand). How long it could be held is
        not asked: to be let go early comes after to be impossible. All that in every pass in which it is left out,
        as ``unplanned`` names no pass.
    joints
        Where a repeated stretch begins again, the letters it uses stand at its first onset as they stood there the
        first time, unless ``joints="printed"`` is asked for, which allows changes to make up the difference.
    proven
        The objective is compared left to right. Its first four entries have a bound each; ``proven`` says that all four
        are reached. What comes after ``changes`` has no bound: ``at_least`` is null or 0 there, and ``proven`` does not
        speak of it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

OBJECTIVE = [
    "impossible", "let_go_early", "quick_changes", "changes", "buzzes", "breaks_ten_percent_faster", "spare_time",
    "spelling", "sharps", "imbalance",
]  # fmt: skip
BOUNDED = OBJECTIVE[:4]
FEET = {"D": "left", "C": "left", "B": "left", "E": "right", "F": "right", "G": "right", "A": "right"}
NEIGHBOURS = [{"D", "C"}, {"C", "B"}, {"E", "F"}, {"F", "G"}, {"G", "A"}]
SCALE = "CDEFGAB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
NAMES = [SCALE[i % 7] + str(1 + i // 7) for i in range(47)]  # C1 to G7
STEP = {name: i for i, name in enumerate(NAMES)}
OPEN = {name: 12 + 12 * int(name[1:]) + SEMITONES[name[0]] for name in NAMES}  # as a natural

Plan = Mapping[str, Any]
Row = Mapping[str, Any]


def check(
    plan: Plan,
    source: Sequence[Row] | None = None,
    *,
    quickest_us: int | None = None,
    joints: str = "equal",
    initial_given: bool = False,
) -> list[str]:
    """All that is wrong with a harp plan; an empty list if nothing is.

    `source` are rows of ``notes`` (``ref``, ``pass``, ``onset_us``, ``end_us``, ``sounding`` and, if there,
    ``tied_to``, ``grace``, ``cue``, ``hidden``, ``ossia``); those outside the plan's spans are passed over. The
    quickest time is taken from ``model`` (``quickest_us`` or ``quickest_s``) if it is not given. `initial_given` says
    that the setting at the beginning was not the plan's to choose.
    """
    if plan.get("kind") != "harp":
        return [f"kind is {plan.get('kind')!r}"]
    if quickest_us is None:
        model = plan["model"]
        if "quickest_us" in model:
            quickest_us = model["quickest_us"]
        elif "quickest_s" in model:
            quickest_us = round(model["quickest_s"] * 1_000_000)
    wrong = [*_fixed(plan), *_changes(plan, quickest_us), *_feet(plan), *_events(plan), *_damps(plan)]
    if wrong and any(said.startswith("form:") for said in wrong):
        return wrong  # what follows relies on it
    wrong += [*_pedals(plan), *_onsets(plan), *_objective(plan, quickest_us), *_repeats(plan, source or (), joints)]
    if source is not None:
        wrong += _source(plan, source, initial_given)
    return wrong


def _fixed_strings(plan: Plan) -> dict[str, int]:
    return {row["string"]: row["alter"] for row in plan["fixed"]}


def _fixed(plan: Plan) -> list[str]:
    wrong = [f"form: no fixed string {row['string']}" for row in plan["fixed"] if row["string"] not in STEP]
    wrong += [f"form: fixed alter {row['alter']}" for row in plan["fixed"] if row["alter"] not in (-1, 0, 1)]
    if len(_fixed_strings(plan)) != len(plan["fixed"]):
        wrong.append("a fixed string is named twice")
    wrong += [f"{name} has no pedal, but is not fixed" for name in ("C1", "D1") if name not in _fixed_strings(plan)]
    wrong += [f"{name} is fixed, but has a pedal" for name in _fixed_strings(plan) if name not in ("C1", "D1", "G7")]
    if set(plan["initial"]) != set(FEET) or not all(v in (-1, 0, 1) for v in plan["initial"].values()):
        wrong.append(f"form: initial {plan['initial']}")
    return wrong


def _span(change: Row) -> tuple[int, int]:
    return change["t_us"], change["t_us"] + change["dur_us"]


def _changes(plan: Plan, quickest_us: int | None) -> list[str]:
    wrong = []
    stands = dict(plan["initial"])
    lengths = {plan["pedal_us"]} if quickest_us is None else {plan["pedal_us"], quickest_us}
    others: set[int] = set()
    previous = None
    for change in plan["changes"]:
        at = f"change of {change['pedal']} at {change['t_us']}"
        if change["pedal"] not in FEET or not {change["from"], change["to"]} <= {-1, 0, 1}:
            wrong.append(f"form: {at}: no such pedal or position")
            continue
        if not all(isinstance(change[key], int) for key in ("t_us", "dur_us")):
            wrong.append(f"form: {at}: times must be whole microseconds")
            continue
        if previous is not None and change["t_us"] < previous:
            wrong.append(f"{at}: not in order of time")
        previous = change["t_us"]
        if change["foot"] != FEET[change["pedal"]]:
            wrong.append(f"{at}: {change['foot']} foot")
        if change["from"] == change["to"]:
            wrong.append(f"{at}: moves nothing")
        if stands.get(change["pedal"]) != change["from"]:
            wrong.append(f"{at}: from {change['from']}, but the pedal stands at {stands.get(change['pedal'])}")
        stands[change["pedal"]] = change["to"]
        if change["dur_us"] not in lengths:
            others.add(change["dur_us"])
            if quickest_us is not None or change["dur_us"] > plan["pedal_us"] or len(others) > 1:
                wrong.append(f"{at}: takes {change['dur_us']}, neither comfortable nor quickest")
        if change["dur_us"] <= 0:
            wrong.append(f"{at}: takes no time")
    if quickest_us is not None and quickest_us > plan["pedal_us"]:
        wrong.append("the quickest time is longer than the comfortable")
    return wrong


def _feet(plan: Plan) -> list[str]:
    wrong = []
    for foot in ("left", "right"):
        # By the pedal, whatever the plan says; a pair is two neighbours that move alike at once.
        todo = sorted((c for c in plan["changes"] if FEET.get(c["pedal"]) == foot), key=_span)
        moves: list[tuple[tuple[int, int], str]] = []
        while todo:
            change = todo.pop(0)
            alike = [
                c
                for c in todo
                if plan["pair_moves"]
                and {c["pedal"], change["pedal"]} in NEIGHBOURS
                and (_span(c), c["from"], c["to"]) == (_span(change), change["from"], change["to"])
            ]
            name = change["pedal"]
            if alike:
                todo.remove(alike[0])
                name += alike[0]["pedal"]
            moves.append((_span(change), name))
        for (one, pedal), (two, other) in pairwise(moves):
            if one[1] > two[0]:
                wrong.append(f"{foot} foot: {pedal} until {one[1]} and {other} from {two[0]}")
    return wrong


def _events(plan: Plan) -> list[str]:
    wrong = []
    fixed = _fixed_strings(plan)
    previous = None
    for event in plan["events"]:
        at = f"event at {event['t_us']}"
        if not all(isinstance(event[key], int) for key in ("t_us", "end_us", "hold_us", "written_us")):
            wrong.append(f"form: {at}: times must be whole microseconds")
            continue
        if previous is not None and event["t_us"] < previous:
            wrong.append(f"{at}: not in order of time")
        previous = event["t_us"]
        count = len(event["pitches"])
        if len(event["strings"]) != count or len(event["positions"]) != count:
            wrong.append(f"form: {at}: pitches, strings and positions differ in number")
            continue
        if event["hands"] is not None and (len(event["hands"]) != count or not set(event["hands"]) <= {"L", "R"}):
            wrong.append(f"{at}: hands {event['hands']}")
        if not event["notes"]:
            wrong.append(f"{at}: no notes")
        if not count and event["how"] != "gliss":
            wrong.append(f"{at}: no strings")
        if event["how"] not in ("struck", "roll", "gliss", "trill", "harmonic"):
            wrong.append(f"{at}: how {event['how']}")
        for pitch, name, position in zip(event["pitches"], event["strings"], event["positions"], strict=True):
            if name not in STEP:
                wrong.append(f"form: {at}: no string {name}")
                continue
            if position not in (-1, 0, 1):
                wrong.append(f"form: {at}: position {position}")
            if OPEN[name] + position + (12 if event["how"] == "harmonic" else 0) != pitch:
                wrong.append(f"{at}: {name} at {position} does not sound {pitch}")
            if name in fixed and fixed[name] != position:
                wrong.append(f"{at}: {name} is fixed at {fixed[name]}, not {position}")
        gliss = event["gliss"]
        if (event["how"] == "gliss") != (gliss is not None):
            wrong.append(f"form: {at}: glissando or not")
        elif gliss is not None and not {gliss["first"], gliss["last"]} <= set(STEP):
            wrong.append(f"form: {at}: glissando from {gliss['first']} to {gliss['last']}")
        elif gliss is not None and set(gliss["set"]) != set(FEET):
            wrong.append(f"form: {at}: glissando on {gliss['set']}")
        if not 0 <= event["hold_us"] <= event["written_us"]:
            wrong.append(f"{at}: held {event['hold_us']} of {event['written_us']}")
        if not event["t_us"] + event["hold_us"] - 1 <= event["end_us"] <= event["t_us"] + event["written_us"] + 1:
            wrong.append(f"{at}: ends at {event['end_us']}")
    return wrong


def _letters(plan: Plan, event: Row) -> dict[str, set[int]]:
    """The pedals an event uses and where it wants them."""
    fixed = _fixed_strings(plan)
    wants: dict[str, set[int]] = defaultdict(set)
    for name, position in zip(event["strings"], event["positions"], strict=True):
        if name not in fixed:
            wants[name[0]].add(position)
    if event["gliss"] is not None:
        low, high = sorted((STEP[event["gliss"]["first"]], STEP[event["gliss"]["last"]]))
        for name in NAMES[low : high + 1]:
            if name not in fixed:
                wants[name[0]].add(event["gliss"]["set"][name[0]])
    return wants


def _stands(plan: Plan, letter: str, t_us: int) -> int:
    """Where a pedal stands: the beginning, and all changes that are over."""
    position: int = plan["initial"][letter]
    for change in plan["changes"]:
        if change["pedal"] == letter and change["t_us"] + change["dur_us"] <= t_us:
            position = change["to"]
    return position


def _in_motion(plan: Plan, letter: str, from_us: int, to_us: int) -> list[Row]:
    """Changes whose open interval meets the closed one from `from_us` to `to_us`."""
    return [
        c for c in plan["changes"] if c["pedal"] == letter and c["t_us"] < to_us and c["t_us"] + c["dur_us"] > from_us
    ]


def _pedals(plan: Plan) -> list[str]:
    wrong = []
    for event in plan["events"]:
        at = f"event at {event['t_us']}"
        for letter, wanted in sorted(_letters(plan, event).items()):
            stands = _stands(plan, letter, event["t_us"])
            if wanted != {stands}:
                wrong.append(f"{at}: {letter} stands at {stands}, wanted {sorted(wanted)}")
            for change in _in_motion(plan, letter, event["t_us"], event["t_us"] + event["hold_us"]):
                wrong.append(f"{at}: {letter} moves at {change['t_us']}, held until {event['t_us'] + event['hold_us']}")
    return wrong


def _onsets(plan: Plan) -> list[str]:
    struck: dict[int, Counter[str]] = defaultdict(Counter)
    for event in plan["events"]:
        struck[event["t_us"]].update(event["strings"])
    return [
        f"onset at {t}: {name} struck {times} times"
        for t, names in struck.items()
        for name, times in names.items()
        if times > 1
    ]


def _damps(plan: Plan) -> list[str]:
    wrong = []
    for event in plan["events"]:
        at = f"event at {event['t_us']}"
        used = {name[0] for name in event["strings"]} | set(_letters(plan, event))
        end = event["t_us"] + event["written_us"]
        signs = [d["t_us"] for d in plan["damps"] if used & set(d["letters"]) and event["t_us"] < d["t_us"] < end]
        whole = [d["t_us"] for d in plan["damps"] if used <= set(d["letters"])]
        allowed = min([end, *signs]) - event["t_us"]
        if event["hold_us"] > allowed + 1:
            wrong.append(f"{at}: held past the damping sign at {min(signs)}")
        if event["ends"] == "written" and event["hold_us"] != event["written_us"]:
            wrong.append(f"{at}: ends as written, but is held {event['hold_us']} of {event['written_us']}")
        elif event["ends"] == "early" and event["hold_us"] >= allowed:
            wrong.append(f"{at}: called early, but held as long as it may")
        elif event["ends"] == "damped" and not any(
            abs(event["t_us"] + event["hold_us"] - t) <= 1 and t < end for t in whole
        ):
            wrong.append(f"{at}: called damped, but no sign stands at its end")
        elif event["ends"] not in ("written", "early", "damped"):
            wrong.append(f"{at}: ends {event['ends']}")
    return wrong


def _objective(plan: Plan, quickest_us: int | None) -> list[str]:
    wrong = []
    names = [entry["name"] for entry in plan["objective"]]
    if names != OBJECTIVE:
        return [f"objective {names}"]
    value = {entry["name"]: entry["value"] for entry in plan["objective"]}
    counted = {
        "let_go_early": sum(e["ends"] == "early" for e in plan["events"]),
        "quick_changes": sum(c["dur_us"] < plan["pedal_us"] for c in plan["changes"]),
        "changes": len(plan["changes"]),
    }
    wrong += [f"{name} is {value[name]}, counted {count}" for name, count in counted.items() if value[name] != count]
    if not plan["unplanned"] and value["impossible"] != 0:
        wrong.append(f"impossible is {value['impossible']}, but all notes are planned")
    for entry in plan["objective"]:
        name, least = entry["name"], entry["at_least"]
        if name not in BOUNDED:
            if least not in (None, 0):
                wrong.append(f"{name}: at least {least}, but no bound of it is known")
        elif least is None:
            wrong.append(f"{name}: no bound")
        elif least > entry["value"]:
            wrong.append(f"{name}: at least {least}, but {entry['value']}")
        elif plan["proven"] and least != entry["value"]:
            wrong.append(f"proven, but {name} is {entry['value']}, at least {least}")
    return wrong


def _repeats(plan: Plan, source: Sequence[Row], joints: str) -> list[str]:
    wrong = []
    heard = {ref: r["sounding"] for r in source for ref in (r["ref"], *r.get("tied_to", ()))}
    places: dict[str, dict[int, set[tuple[str, ...]]]] = defaultdict(lambda: defaultdict(set))
    onsets: dict[int, dict[str, Any]] = {}
    for event in plan["events"]:
        onset = onsets.setdefault(event["t_us"], {"refs": set(), "pass": event["pass"], "letters": set()})
        onset["refs"] |= set(event["notes"])
        onset["letters"] |= set(_letters(plan, event))
        for ref in event["notes"]:
            if event["pitches"].count(heard.get(ref)) == 1:
                mine = (event["strings"][event["pitches"].index(heard[ref])],)
            elif len(event["notes"]) == len(event["strings"]):
                mine = (event["strings"][event["notes"].index(ref)],)
            else:
                mine = tuple(sorted(event["strings"]))
            places[ref][event["pass"]].add(mine)
    for ref, passes in places.items():
        if len(set().union(*passes.values())) > 1:
            taken = {k: sorted(v) for k, v in sorted(passes.items())}
            wrong.append(f"{ref} is on different strings in different passes: {taken}")
    if joints == "printed":
        return wrong
    times = sorted(onsets)
    first: dict[frozenset[str], int] = {}
    for i, t in enumerate(times):
        first.setdefault(frozenset(onsets[t]["refs"]), i)
    here = [first[frozenset(onsets[t]["refs"])] for t in times]
    for i, t in enumerate(times):
        if here[i] == i or (i and here[i - 1] != i - 1 and here[i] == here[i - 1] + 1):
            continue  # not repeated, or the repeat goes on
        letters: set[str] = set()
        for k in range(i, len(times)):
            if k > i and here[k] != here[k - 1] + 1:
                break
            letters |= onsets[times[k]]["letters"]
        then = times[here[i]]
        for letter in sorted(letters):
            now, before = _stands(plan, letter, t), _stands(plan, letter, then)
            if now != before:
                wrong.append(f"repeat at {t}: {letter} stands at {now}, the first time (at {then}) at {before}")
    return wrong


def two_hands(strings: Sequence[str], most: int = 4, steps: int = 9) -> bool:
    """Whether two hands take the strings at once, each a lower or an upper group.

    >>> two_hands(["C3", "G3", "E4", "G5"]), two_hands(["C2", "C4", "C6"])
    (True, False)
    """
    order = sorted(STEP[name] for name in strings)
    return any(
        all(len(hand) <= most and (not hand or hand[-1] - hand[0] <= steps) for hand in (order[:cut], order[cut:]))
        for cut in range(len(order) + 1)
    )


def _in_spans(plan: Plan, row: Row) -> bool:
    if not plan["spans"]:
        return True
    part = row["ref"].split("/")[0]
    return any(s["part"] == part and s["from_us"] <= row["onset_us"] < s["to_us"] for s in plan["spans"])


def _source(plan: Plan, source: Sequence[Row], initial_given: bool) -> list[str]:
    wrong = []
    sounds = [r for r in source if r["sounding"] is not None and _in_spans(plan, r)]
    needed = [r for r in sounds if not any(r.get(flag, False) for flag in ("cue", "hidden", "ossia"))]
    head = {ref: r["ref"] for r in source for ref in (r["ref"], *r.get("tied_to", ()))}
    rows = {(r["ref"], r["pass"]): r for r in source}
    unplanned = {head.get(ref, ref) for entry in plan["unplanned"] for ref in entry["notes"]}
    planned: Counter[tuple[str, int]] = Counter()
    for event in plan["events"]:
        at = f"event at {event['t_us']}"
        refs = {head.get(ref, ref) for ref in event["notes"]}
        planned.update((ref, event["pass"]) for ref in refs)
        mine = [rows[ref, event["pass"]] for ref in sorted(refs) if (ref, event["pass"]) in rows]
        if len(mine) < len(refs):
            wrong.append(f"{at}: notes that the score does not have: {sorted(refs)}, pass {event['pass']}")
        if event["how"] != "gliss":
            heard = {r["sounding"] for r in mine}
            has = set(event["pitches"])
            if event["how"] == "harmonic":
                bad = not heard <= has | {p - 12 for p in has}
            elif event["how"] == "trill":
                bad = not heard <= has
            else:
                bad = heard != has
            order = [rows.get((head.get(ref, ref), event["pass"]), {}).get("sounding") for ref in event["notes"]]
            if not bad and event["how"] in ("struck", "roll") and len(order) == len(has) and order != event["pitches"]:
                wrong.append(f"{at}: notes and pitches are not in the same order")
            if bad:
                wrong.append(f"{at}: plays {sorted(has)}, the score has {sorted(heard)}")
        for row in mine:
            if not row.get("grace", False) and abs(row["onset_us"] - event["t_us"]) > 1:
                wrong.append(f"{at}: {row['ref']} stands at {row['onset_us']}")
        if event["how"] in ("struck", "roll", "harmonic") and not any(r.get("grace", False) for r in mine):
            for pitch in sorted({r["sounding"] for r in mine}):
                length = max(r["end_us"] - r["onset_us"] for r in mine if r["sounding"] == pitch)
                if abs(length - event["written_us"]) > 1:
                    wrong.append(f"{at}: {pitch} is written {length} long, not {event['written_us']}")
    for row in needed:
        times = planned[row["ref"], row["pass"]]
        if times > 1:
            wrong.append(f"{row['ref']} (pass {row['pass']}) is in {times} events")
        if times == 0 and row["ref"] not in unplanned:
            wrong.append(f"{row['ref']} (pass {row['pass']}) is neither planned nor unplanned")
    for ref in sorted(unplanned):
        passes = [r["pass"] for r in sounds if r["ref"] == ref]
        if not passes:
            wrong.append(f"unplanned {ref}: the score does not have it")
        elif all(planned[ref, k] for k in passes):
            wrong.append(f"{ref} is both planned and unplanned")
    left: dict[str, list[str | None]] = defaultdict(list)
    for row in needed:
        if not planned[row["ref"], row["pass"]] and row["ref"] in unplanned:
            left[row["ref"]].append(_would_give(plan, row, initial_given))
    for ref, names in left.items():
        if None not in names:  # a note is left out in all passes if it must be in one
            wrong.append(f"{ref} is unplanned, but {names[0]} would give it")
    has = {OPEN[n] + a for n in NAMES for a in ([_fixed_strings(plan)[n]] if n in _fixed_strings(plan) else (-1, 0, 1))}
    if not plan["events"] and not initial_given and any(r["sounding"] in has for r in needed):
        wrong.append("an empty plan, but the score has notes that a harp has")
    return wrong


def _would_give(plan: Plan, row: Row, initial_given: bool) -> str | None:
    """A string on which the plan could strike a note that it leaves out."""
    fixed = _fixed_strings(plan)
    struck = [name for e in plan["events"] if e["t_us"] == row["onset_us"] for name in e["strings"]]
    moved = {c["pedal"] for c in plan["changes"]}
    used = moved.union(*(_letters(plan, e) for e in plan["events"]))
    for name in NAMES:
        letter = name[0]
        if name in fixed:
            positions = {fixed[name]}
        elif letter not in used and not initial_given:
            positions = {-1, 0, 1}
        elif _in_motion(plan, letter, row["onset_us"], row["onset_us"]):
            continue
        else:
            positions = {_stands(plan, letter, row["onset_us"])}
        if row["sounding"] - OPEN[name] in positions and name not in struck and two_hands([*struck, name]):
            return name
    return None
