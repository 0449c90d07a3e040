"""Repeats: printed notes keep their strings at every pass, and the setting agrees where a repeat comes back.

The passage is planned as it is played, first without minding repeats; where a printed note then has two strings, or a
joint is open, each possibility is planned, the most promising first, until one that minds everything is no worse than
all that are left.
"""

from __future__ import annotations

import heapq
from bisect import bisect_left
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import count
from math import lcm
from typing import NamedTuple

from deskproof.families.harp.labels import fewest_changes
from deskproof.families.harp.model import LETTERS, POSITIONS, Choice, Onset, Settings, String, choices
from deskproof.families.harp.passage import CHANGE, NoPlanError, Passage, Way
from deskproof.families.harp.tight import Feet, Need, Stretch, Tight, TooManyError, least_of, spread

MOST_TRIES = 2_000  # plans of a passage with repeats; beyond, the best so far with an honest bound
MOST_WORK = 400_000  # labels looked at for them altogether
MOST_ROUNDS = 6  # of settling only what differs, before all is settled


class Joint(NamedTuple):
    """Two moments that are one printed place: the setting is the same at both.

    ``from_us`` is the first, ``to_us`` the second; all letters used between them stand still and equal there.
    """

    from_us: int
    to_us: int


class Terms(NamedTuple):
    """What is settled of a passage with repeats.

    ``forced`` are strings by key (None: left out at every pass), ``kept`` the keys that must not be left out,
    ``standing`` the position by joint and letter, or None where the letter is not used between the two moments.
    """

    forced: Mapping[Hashable, String | None]
    kept: frozenset[Hashable]
    standing: Mapping[tuple[int, str], int | None]


class Solved(NamedTuple):
    """A plan under some terms: what it costs, what it costs at least, the way of every onset."""

    cost: tuple[int, int, int, int]  # left out (in shares), let go, quick, changes with deviations and sharps
    least: tuple[int, int, int, int]
    terms: Terms
    ways: tuple[Way, ...]  # of the real onsets
    rows: tuple[tuple[Onset, Way, bool], ...]  # of all, with those that only hold the setting; whether real
    stretches: tuple[Stretch, ...]
    proven: bool


class Task:
    """A passage to be planned, repeats played out; ``damps`` are the damping signs by letter."""

    def __init__(
        self,
        onsets: tuple[Onset, ...],
        settings: Settings,
        damps: Mapping[str, Sequence[int]],
        joints: tuple[Joint, ...],
    ) -> None:
        self.onsets, self.settings, self.damps, self.joints = onsets, settings, damps, joints
        passes: dict[Hashable, int] = {}
        for onset in onsets:
            for note in onset.notes:
                if note.key is not None:
                    passes[note.key] = passes.get(note.key, 0) + 1
        self.tied = {
            note.key: note for onset in onsets for note in onset.notes if note.key is not None and passes[note.key] > 1
        }
        shares = [max((passes.get(note.key, 1) for note in onset.notes), default=1) for onset in onsets]
        self.unit = lcm(*shares) if shares else 1
        self.weights = [self.unit // share for share in shares]
        self.times = [onset.t_us for onset in onsets]
        self.tries = self.work = self.steps = 0
        self.best: Solved | None = None
        self.known: dict[float, dict[Hashable, bool]] = {}
        self.feet: dict[tuple[int, int], tuple[Feet, Feet]] = {}

    def _feet(self, settings: Settings) -> tuple[Feet, Feet]:
        """Both feet at the usual times, and with every change at the quickest; they remember what they have tried."""
        key = (settings.comfortable_us, settings.quickest_us)
        if key not in self.feet:
            self.feet[key] = (Feet.at(*key), Feet.at(key[1], key[1]))
        return self.feet[key]

    def close(self) -> None:
        """Leave the feet, with what they have found out, to the next passage with the same times."""
        for pair in self.feet.values():
            for feet in pair:
                feet.leave()

    # -- one plan --------------------------------------------------------------------------------------------------

    def plan(self, terms: Terms, limit: Solved | None = None, factor: float = 1.0) -> Solved | None:
        """The best plan under some terms; None if there is none, or if it takes more than ``limit``.

        ``factor`` makes every change take longer.
        """
        self.tries += 1
        if self._at_odds(terms):
            return None
        rows, passage = self._passage(terms, factor)
        tight = None
        try:
            gone = sum(passage.least(i) * passage.weights[i] for i in range(len(passage)))
            most = None if limit is None else Need(limit.cost[0] - gone, *limit.cost[1:3])
            tight = Tight(passage, self._feet(passage.settings), most, self.known.setdefault(factor, {}))
            stretches = tight.find()
        except NoPlanError:
            return None
        finally:
            if tight is not None:
                self.work += tight.total
                self.steps += tight.steps
        found = fewest_changes(passage, stretches, tight.feet, tight.plan())
        self.work += found.work
        self.steps += found.steps
        need, least = spread(stretches), least_of(stretches)
        ways = found.ways
        proven = passage.complete and need == least and found.proven
        if not passage.complete or self.settings.pair_moves:  # what was not looked at might need less
            least, found = Need(), found._replace(at_least=0)
        return Solved(
            (need.dropped + gone, need.early, need.quick, found.cost),
            (least.dropped + gone, least.early, least.quick, found.at_least * CHANGE),
            terms,
            tuple(way for way, (_, k, _) in zip(ways, rows, strict=True) if k >= 0),
            tuple((onset, way, k >= 0) for way, (onset, k, _) in zip(ways, rows, strict=True)),
            _by_onset(stretches, [k for _, k, _ in rows]),
            proven,
        )

    def _passage(self, terms: Terms, factor: float) -> tuple[list[tuple[Onset, int, bool]], Passage]:
        """The rows of ``_rows``, and the passage that they make."""
        rows, unused = self._rows(terms)
        settings = self.settings
        if factor != 1.0:
            settings = replace(
                settings,
                comfortable_us=round(settings.comfortable_us * factor),
                quickest_us=round(settings.quickest_us * factor),
            )
        return rows, Passage(
            [onset for onset, _, _ in rows],
            settings,
            self.damps,
            terms.forced,
            {i: unused[k] for i, (_, k, _) in enumerate(rows) if k >= 0 and k in unused},
            [self.weights[k] if k >= 0 else 1 for _, k, _ in rows],
            frozenset(i for i, (_, k, _) in enumerate(rows) if k < 0),
            terms.kept,
        )

    def with_notes(self, solved: Solved, notes: Sequence[tuple[int, int]], choice: Choice) -> Solved:
        """The plan with a note that it leaves out put back on a string, at all its places (onset, note)."""
        standing = dict(solved.terms.standing)
        if choice.pedal:
            for k, _ in notes:
                for joint in self.open_joints(solved, k, choice.string.letter):
                    standing[joint, choice.string.letter] = choice.position
        terms = solved.terms._replace(standing=standing)
        rows, passage = self._passage(terms, 1.0)
        at = {k: i for i, (_, k, _) in enumerate(rows) if k >= 0}
        ways, cost = list(solved.ways), list(solved.cost)
        for k, n in notes:
            before = ways[k]
            after = ways[k] = passage.with_note(at[k], before, n, choice)
            cost[0] -= self.weights[k]
            cost[3] += after.cost - before.cost
        all_ways = [ways[k] if k >= 0 else passage.ways(i)[0] for i, (_, k, _) in enumerate(rows)]
        return solved._replace(
            cost=(cost[0], cost[1], cost[2], cost[3]),
            terms=terms,
            ways=tuple(ways),
            rows=tuple((onset, way, k >= 0) for way, (onset, k, _) in zip(all_ways, rows, strict=True)),
        )

    def goes(self) -> bool | None:
        """Whether nothing need be left out, with every change at its quickest and nothing held.

        None if that is not found out within the limits. Repeats are minded where it matters.
        """
        _, passage = self._passage(Terms({}, frozenset(), {}), 1.0)
        try:
            if any(passage.least(i) for i in range(len(passage))):
                return False
            found = Tight(passage, self._feet(self.settings)).goes()
        except NoPlanError:
            return False
        except TooManyError:
            return None
        return found if not found or not (self.tied or self.joints) else None

    def _rows(self, terms: Terms) -> tuple[list[tuple[Onset, int, bool]], dict[int, frozenset[str]]]:
        """The onsets with those that only hold the setting put in: (onset, its ordinal or -1, whether real)."""
        extra: dict[int, list[tuple[str, int, int]]] = {}
        unused: dict[int, set[str]] = {}
        for (joint, letter), position in terms.standing.items():
            one = self.joints[joint]
            if position is None:
                for k in self._between(one):
                    unused.setdefault(k, set()).add(letter)
            else:
                for t_us in (one.from_us, one.to_us):
                    extra.setdefault(t_us, []).append((letter, position, 0))
        rows = [(onset, k, True) for k, onset in enumerate(self.onsets)]
        rows.extend((Onset(t_us, (), None, False, tuple(demands)), -1, False) for t_us, demands in extra.items())
        initial = self.settings.initial
        if initial is not None:
            start = min([self.settings.start_us, *self.times[:1]])
            demands = tuple((letter, initial[letter], 0) for letter in LETTERS if letter in initial)
            rows.append((Onset(start, (), None, False, demands), -2, False))
        rows.sort(key=lambda row: (row[0].t_us, row[1]))
        return rows, {k: frozenset(letters) for k, letters in unused.items()}

    def _at_odds(self, terms: Terms) -> bool:
        """Whether a letter is to stand in two positions where several joints begin, or end, at once."""
        said: dict[tuple[int, str], int] = {}
        for (joint, letter), position in terms.standing.items():
            if position is not None:
                one = self.joints[joint]
                for t_us in (one.from_us, one.to_us):
                    if said.setdefault((t_us, letter), position) != position:
                        return True
        return False

    def _between(self, joint: Joint) -> range:
        return range(bisect_left(self.times, joint.from_us), bisect_left(self.times, joint.to_us))

    # -- repeats ---------------------------------------------------------------------------------------------------

    def solve(self) -> Solved:
        """The best plan, kept for ``steadier``."""
        self.best = self._solve()
        return self.best

    def _solve(self) -> Solved:
        """The best plan in which printed notes keep their strings and joints agree: branch and bound, best first."""
        root = self.plan(Terms({}, frozenset(), {}))
        if root is None:
            raise ValueError("the initial setting contradicts itself")
        order = count()
        heap = [(known_part(root.cost), 0, next(order), root)]
        best: Solved | None = None
        self.tries = self.work = self.steps = 0
        while heap:
            known, _, _, node = heapq.heappop(heap)
            if best is not None and known >= known_part(best.cost):
                heap = []
                break
            loose = self._loose(node)
            if not loose:
                best = node
                heap = []
                break
            for found in self._dives(node, best):
                if best is None or found.cost < best.cost:
                    best = found
                if known_part(best.cost) <= known:
                    break
            assert best is not None
            if known_part(best.cost) <= known:
                heap = []
                break
            if self.tries > MOST_TRIES or self._tired:
                heapq.heappush(heap, (known, 0, next(order), node))
                break
            for terms in self._children(node, loose[0]):
                child = self.plan(terms, best)
                if child is not None and known_part(child.cost) < known_part(best.cost):
                    lower = max(known_part(child.cost), known)
                    heapq.heappush(heap, (lower, len(self._loose(child)), next(order), child))
        assert best is not None
        least = min([known_part(best.cost), *(row[0] for row in heap)])
        exact = best.proven and root.proven
        if exact and least == known_part(best.cost):
            return best._replace(least=(*least[:3], least[3] * CHANGE))
        return best._replace(least=(*least[:3], least[3] * CHANGE) if exact else root.least, proven=False)

    @property
    def _tired(self) -> bool:
        """Whether the repeats have taken all their work."""
        return self.work > MOST_WORK or self.steps > self.settings.work.repeats

    def steadier(self) -> Solved | None:
        """A plan no worse than the solved one that goes with every change taking longer by the margin, if there is."""
        assert self.best is not None
        found = self.plan(self.best.terms, self.best, self.settings.margin)
        if found is None or known_part(found.cost) != known_part(self.best.cost) or self._loose(found):
            return None
        return found._replace(least=self.best.least, proven=self.best.proven)

    def _loose(self, node: Solved) -> list[tuple[str, Hashable]]:
        """What is not settled yet: printed notes with different strings, letters whose joint is open."""
        soon: list[tuple[str, Hashable]] = []
        late: list[tuple[str, Hashable]] = []
        for k, joint in enumerate(self.joints):
            for letter, positions in self._used(node, joint).items():
                if (k, letter) not in node.terms.standing:
                    (soon if positions[0] != positions[-1] else late).append(("joint", (k, letter)))
        rows = self._strings(node).items()
        keys = [("key", key) for key, strings in rows if any(string != strings[0] for string in strings)]
        return [*soon, *keys, *late]

    def open_joints(self, node: Solved, k: int, letter: str) -> list[int]:
        """The joints around an onset between whose moments the plan does not use a letter: it may differ at them."""
        return [
            j
            for j, one in enumerate(self.joints)
            if one.from_us <= self.times[k] < one.to_us and letter not in self._used(node, one)
        ]

    def _strings(self, node: Solved) -> dict[Hashable, list[String | None]]:
        """The strings that each repeated note has, pass by pass, None where it is left out."""
        found: dict[Hashable, list[String | None]] = {}
        for onset, way in zip(self.onsets, node.ways, strict=True):
            for note, choice in zip(onset.notes, way.picks, strict=True):
                if note.key in self.tied:
                    found.setdefault(note.key, []).append(choice.string if choice is not None else None)
        return found

    def _used(self, node: Solved, joint: Joint) -> dict[str, list[int]]:
        """The letters used between the two moments, with their positions in order."""
        found: dict[str, list[int]] = {}
        for k in self._between(joint):
            for choice in node.ways[k].picks:
                if choice is not None and choice.pedal:
                    found.setdefault(choice.string.letter, []).append(choice.position)
            for letter, position, _ in self.onsets[k].demands:
                found.setdefault(letter, []).append(position)
        return found

    def _dives(self, node: Solved, best: Solved | None) -> Iterable[Solved]:
        """Plans with everything settled much as the plan has it, to compare with."""
        manners = [("first", 0, 0), ("first", MOST_ROUNDS, 0)]
        if best is None:
            manners += [("first", 0, -1), ("first", MOST_ROUNDS, -1)]
            if self.joints:
                manners += [("last", 0, 0), ("last", 0, -1), ("one", MOST_ROUNDS, 0)]
        for end, patience, which in manners:
            if best is not None and self._tired:
                return
            now: Solved | None = node
            strings: dict[Hashable, String | None] = dict(node.terms.forced)
            stands = dict(node.terms.standing)
            rounds = 0
            while now is not None and self._loose(now):
                for key, found in self._strings(now).items():
                    if key in strings:
                        strings[key] = None if None in found else strings[key]
                    elif rounds >= patience or any(string != found[0] for string in found):
                        kept = [string for string in found if string is not None]
                        strings[key] = kept[which] if kept else None
                for k, joint in enumerate(self.joints):
                    for letter, positions in self._used(now, joint).items():
                        if (k, letter) not in stands:
                            said = self._said(stands, joint, letter)
                            stands[k, letter] = self._stand(letter, positions, end) if said is None else said
                now = self.plan(Terms(dict(strings), node.terms.kept, dict(stands)), best)
                rounds += 1
            if now is not None:
                yield now
                best = now if best is None or now.cost < best.cost else best

    def _said(self, stands: Mapping[tuple[int, str], int | None], joint: Joint, letter: str) -> int | None:
        """Where a letter already has to stand at one of the joint's moments; None if nowhere."""
        moments = {joint.from_us, joint.to_us}
        for (k, other), position in stands.items():
            if other == letter and position is not None and moments & {self.joints[k].from_us, self.joints[k].to_us}:
                return position
        return None

    def _stand(self, letter: str, positions: Sequence[int], end: str) -> int:
        """A position for a letter at a joint: of its first or last use, or one for the whole passage."""
        if end != "one":
            return positions[0 if end == "first" else -1]
        return (self.settings.initial or {}).get(letter, 0)

    def _children(self, node: Solved, loose: tuple[str, Hashable]) -> Iterable[Terms]:
        forced, kept, standing = node.terms
        kind, what = loose
        if kind == "key":
            for choice in choices(self.tied[what].pitch, self.settings.fixed):
                yield Terms({**forced, what: choice.string}, kept | {what}, standing)
            yield Terms({**forced, what: None}, kept, standing)
        else:
            assert isinstance(what, tuple)
            for position in (*POSITIONS, None):
                yield Terms(forced, kept, {**standing, what: position})


def known_part(cost: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    """The part of a cost that is proven: the changes without deviations and sharps."""
    return (*cost[:3], cost[3] // CHANGE)


def _by_onset(stretches: Sequence[Stretch], ordinals: Sequence[int]) -> tuple[Stretch, ...]:
    """The stretches with their ends as ordinals of the real onsets."""
    found = []
    for one in stretches:
        inside = [k for k in ordinals[one.first : one.last + 1] if k >= 0]
        if inside:
            found.append(replace(one, first=inside[0], last=inside[-1]))
    return tuple(found)
