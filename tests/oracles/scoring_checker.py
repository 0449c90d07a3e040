"""Counts anew what no plan of a scoring may break, and what a plan costs; shares no code with the planner.

It looks at sketch, passages, room, candidates (for their prices and strengths) and who plays; the figures are facts.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations, pairwise

from deskproof import facts, instruments

FACT = {}


def fact(name):
    if name not in FACT:
        FACT[name] = facts.get(name).value
    return FACT[name]


class Piece:
    """What there is to play and who is there. A plan is a set of candidates' ordinals."""

    def __init__(self, sketch, passages, hall, candidates):
        self.sketch, self.passages, self.hall, self.candidates = sketch, passages, hall, candidates
        self.chairs = {chair.name: chair for chair in hall.chairs}
        self.strands = {(k, s.id): s for k, p in enumerate(passages) for s in p.strands}

    def kind(self, chair):
        return instruments.by_id(self.chairs[chair].instrument).kind

    def second(self, tick):
        total = 0.0
        for bar in self.sketch.bars:
            if tick < bar.onset + bar.length:
                return total + bar.seconds * (tick - bar.onset) / bar.length
            total += bar.seconds
        return total

    def tasks(self, plan):
        """passage -> chair -> [(strand, octave, candidate)]"""
        found = defaultdict(lambda: defaultdict(list))
        for i in plan:
            c = self.candidates[i]
            found[c.passage][c.chair].append((self.strands[c.passage, c.strand], c.octave, c))
        return found

    # Hard rules.

    def wrong(self, plan):
        """Every broken rule, in words."""
        tasks = self.tasks(plan)
        return [
            *self.compass(plan), *self.one_task(tasks), *self.changes(tasks), *self.breath(tasks),
            *self.stamina(tasks), *self.deep(plan),
        ]  # fmt: skip

    def compass(self, plan):
        for i in plan:
            c = self.candidates[i]
            chair = self.chairs[c.chair]
            for tone in self.strands[c.passage, c.strand].tones:
                if not chair.low <= tone.midi + 12 * c.octave <= chair.high:
                    yield f"{c.passage}: {c.chair} has not {tone.midi + 12 * c.octave}"

    def one_task(self, tasks):
        for at, chairs in tasks.items():
            for seat in self.hall.seats:
                sat = [name for name in chairs if self.chairs[name].seat == seat.name]
                if len(sat) > 1:
                    yield f"{at}: {seat.name} in {sat}"
            for name, parts in chairs.items():
                chair = self.chairs[name]
                if len(parts) < 2:
                    continue
                kinds = {strand.kind for strand, _, _ in parts}
                if len({strand.id for strand, _, _ in parts}) < len(parts) or (len(kinds) > 1 and not chair.section):
                    yield f"{at}: {name} with {parts}"
                elif chair.family in ("harp", "keyboard", "organ", "continuo"):
                    continue
                elif not chair.section or len(parts) > fact("scoring.divided_most"):
                    yield f"{at}: {name} has {len(parts)} tasks"
                elif not kinds <= {"inner part", "figuration", "held harmony", "accents"}:
                    yield f"{at}: {name} divides for {kinds}"
                else:
                    lines = [[(t.onset, t.midi + 12 * octave) for t in strand.tones] for strand, octave, _ in parts]
                    for a, b in combinations(lines, 2):
                        if [x[0] for x in a] == [x[0] for x in b]:
                            apart = {x[1] - y[1] for x, y in zip(a, b, strict=True)}
                            if len(apart) == 1 and apart.pop() % 12 == 0:
                                yield f"{at}: {name} in octaves with itself"

    def changes(self, tasks):
        for seat in self.hall.seats:
            held = []
            for at in sorted(tasks):
                for name, parts in tasks[at].items():
                    if self.chairs[name].seat == seat.name:
                        starts = [s.tones[0].onset for s, _, _ in parts]
                        ends = [s.tones[-1].end for s, _, _ in parts]
                        held.append((min(starts), max(ends), self.chairs[name]))
            for (_, end, one), (start, _, other) in pairwise(held):
                if one.instrument == other.instrument:
                    continue
                family = {"brass": "brass", "keyboard": "keyboard"}.get(other.family, "wind")
                need = self.hall.forces.changes.get((one.instrument, other.instrument))
                need = need or fact(f"players.change_{family}")
                if self.second(start) - self.second(end) < need[1]:
                    yield f"{seat.name} has no time from {one.name} to {other.name}"

    def breath(self, tasks):
        rest = fact("scoring.breath_rest")
        for seat in self.hall.seats:
            sound = []
            family = ""
            for at in sorted(tasks):
                for name, parts in tasks[at].items():
                    if self.chairs[name].seat == seat.name and self.chairs[name].family in ("woodwind", "brass"):
                        family = self.chairs[name].family
                        sound += [(t.onset, max(t.end, t.onset + 1)) for s, _, _ in parts for t in s.tones]
            full = []
            for bar in self.sketch.bars:
                edge, free = bar.onset, 0.0
                for onset, end in sorted(sound):
                    if end <= bar.onset or onset >= bar.onset + bar.length:
                        continue
                    if onset > edge:
                        free = max(free, self.second(onset) - self.second(edge))
                    edge = max(edge, min(end, bar.onset + bar.length))
                free = max(free, self.second(bar.onset + bar.length) - self.second(edge))
                full.append(free < rest)
            most = fact("scoring.breath_bars").get(family, 0)
            run = 0
            for bar, is_full in enumerate(full):
                run = run + 1 if is_full else 0
                if family and run > most:
                    yield f"{seat.name} without a breath up to bar {bar + 1}"

    def stamina(self, tasks):
        rule = fact("scoring.stamina")
        count = len(self.sketch.bars)
        for seat in self.hall.seats:
            bars = set()
            for at, chairs in tasks.items():
                for name, parts in chairs.items():
                    if self.chairs[name].seat == seat.name and self.chairs[name].family == "brass":
                        for strand, _, _ in parts:
                            for bar in self.sketch.bars:
                                inside = self.passages[at].first <= bar.index <= self.passages[at].last
                                if inside and any(t.onset < bar.onset + bar.length and t.end > bar.onset
                                                  for t in strand.tones):  # fmt: skip
                                    bars.add(bar.index)
            for start in range(count - rule["bars"] + 1):
                if 100 * len(bars & set(range(start, start + rule["bars"]))) > rule["percent"] * rule["bars"]:
                    yield f"{seat.name} blows too much from bar {start + 1}"

    def deep(self, plan):
        sixteen = fact("scoring.sixteen_foot")
        chosen = [self.candidates[i] for i in plan]
        for c in chosen:
            is_deep = self.strands[c.passage, c.strand].kind == "bass" and c.octave < 0
            if not is_deep or self.kind(c.chair) not in sixteen:
                continue
            if not any(
                (o.passage, o.strand, o.octave) == (c.passage, c.strand, 0)
                and self.kind(o.chair) not in sixteen
                and self.chairs[o.chair].family not in ("timpani", "harp", "keyboard", "plucked", "pitched-percussion")
                for o in chosen
            ):
                yield f"{c.passage}: {c.chair} an octave down alone"

    # What a plan costs.

    def price(self, plan):
        tasks = self.tasks(plan)
        total = sum(self.passage_price(at, plan, tasks) for at in range(len(self.passages)))
        total += self.change_price(tasks) + self.shape_price(tasks)
        return total

    def level(self, at):
        return fact("scoring.levels")[self.passages[at].dynamic]

    def passage_price(self, at, plan, tasks):
        passage, level = self.passages[at], self.level(at)
        here = [self.candidates[i] for i in plan if self.candidates[i].passage == at]
        total = sum(c.cost for c in here)
        for parts in tasks[at].values():
            total += fact("scoring.divided_cost") * (len(parts) - 1)
        heard = {}
        for strand in passage.strands:
            attack = strand.kind in ("accents", "figuration")
            everyone = [c for c in self.candidates if (c.passage, c.strand) == (at, strand.id)]
            mine = [c for c in here if c.strand == strand.id]

            def worth(c, attack=attack):
                full = c.attack if attack else c.strength
                divided = self.chairs[c.chair].section and len(tasks[at][c.chair]) > 1
                return full // 2 if divided else full

            def counted(c, attack=attack):
                return c.attack if attack else c.strength

            heard[strand.id] = sum(worth(c) for c in mine)
            whole = [c for c in everyone if self.chairs[c.chair].family != "timpani"]
            carriers = [c for c in whole if counted(c) and not c.octave]
            carriers = carriers or [c for c in whole if counted(c)] or whole
            left = not any(c in mine for c in carriers)
            if left:
                total += fact("scoring.left_out_made" if strand.of else "scoring.left_out")
            if not everyone:
                continue
            times, by = fact("scoring.weight")[passage.weight]
            low, high = fact("scoring.window")[strand.kind][level]
            usual = fact("scoring.usual_strands")
            count = max(usual, sum(1 for s in passage.strands if not s.of))
            low, high = 4 * low * times * usual // (by * count), 4 * high * times // by
            short = max(0, low - heard[strand.id])
            total += fact("scoring.strength_cost") // 4 * (short + max(0, heard[strand.id] - high))
            cap = max(1, fact("scoring.colours")[level] + fact("scoring.colours_by_weight")[passage.weight])
            cap += fact("scoring.bass_colours") if strand.kind == "bass" else 0
            total += fact("scoring.colour_cost") * max(0, len({self.kind(c.chair) for c in mine}) - cap)
        tunes = [s.id for s in passage.strands if s.kind == "tune"]
        if any(c.passage == at and c.strand in tunes for c in self.candidates):
            tune = sum(heard[name] for name in tunes)
            for strand in passage.strands:
                if strand.kind != "tune":
                    total += fact("scoring.margin_cost") // 4 * max(0, heard[strand.id] - tune)
        return total

    def change_price(self, tasks):
        total = 0
        for before, after in pairwise(range(len(self.passages))):
            for name in self.chairs:
                one, other = ({s.kind for s, _, _ in tasks[at].get(name, ())} for at in (before, after))
                total += fact("scoring.change_of_task") * (one != other)
        return total

    def shape_price(self, tasks):
        total = 0
        played = [len(tasks[at]) for at in range(len(self.passages))]
        climax = next((at for at, p in enumerate(self.passages) if p.climax), None)
        for at, passage in enumerate(self.passages):
            seats = {self.chairs[c.chair].seat for c in self.candidates if c.passage == at}
            if passage.weight == "all" or (self.level(at) == "ff" and passage.weight != "thin"):
                want = len(seats) * fact("scoring.tutti") // 100
                total += fact("scoring.tutti_cost") * max(0, want - played[at])
            if climax is not None and at != climax:
                total += fact("scoring.climax_cost") * max(0, played[at] - played[climax])
            if climax is not None and at == climax - 1:
                families = fact("scoring.fresh_families")
                total += fact("scoring.fresh_cost") * sum(self.chairs[n].family in families for n in tasks[at])
        return total
