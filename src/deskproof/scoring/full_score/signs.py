"""Dynamics, words and tempo marks of the sketch, given to those who play there."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from deskproof import facts, words
from deskproof.scoring.full_score.played import Played
from deskproof.scoring.records import COUNTER, TUNE, Said, Sketch

TEMPO = ("tempo", "a-tempo", "tempo-change", "unfixed", "da-capo", "dal-segno", "fine", "coda", "segno", "to-coda")
FOR_PIANO = frozenset((
    "una-corda", "tre-corde", "pedal", "no-pedal", "sostenuto-pedal", "left-hand", "right-hand", "octave", "div",
    "let-ring", "arpeggiato", "non-arpeggiato", "instrument", "players", "one", "a2", "unis",
))  # fmt: skip
LOUDER = ("cresc", "dim")


class Signs:
    """The signs of a sketch, ready to be handed out."""

    def __init__(self, sketch: Sketch, rehearsal: dict[int, str]) -> None:
        self.sketch = sketch
        self.rehearsal = rehearsal
        self.groups = _groups(sketch)
        self.wedges = list(_wedges(sketch))
        self.marked = [self._dynamics_for(staff) for staff in range(sketch.staves)]
        self.tempi = {sign.onset for sign in sketch.said if sign.kind in ("metronome", "sound:tempo")}

    def on_top(self) -> Iterator[Said]:
        """What stands once, above the score: rehearsal marks, tempo, jumps."""
        seen: set[tuple[int, str, str]] = set()
        for bar, mark in sorted(self.rehearsal.items()):
            yield Said(self.sketch.bars[bar].onset, bar, 0, "rehearsal", mark)
        for sign in self.sketch.said:
            tempo = sign.kind in ("metronome", "segno", "coda") or sign.kind.startswith("sound:")
            tempo = tempo or (sign.kind == "words" and self._is_tempo(sign))
            key = (sign.onset, sign.kind, sign.value)
            if tempo and key not in seen:
                seen.add(key)
                yield sign

    def dynamics(self, rows: Sequence[Played]) -> Iterator[Said]:
        """The dynamics of what one chair plays, in order; none is said twice without need."""
        if not rows:
            return
        again = int(facts.get("full_score.dynamic_again").value)
        now = ""
        entries = _entries(rows)
        for k, entry in enumerate(entries):
            start = entry[0].tone.onset
            marked = self.marked[_staff_of(entry)]
            places = [sign.onset for sign in marked]
            before = bisect_right(places, start) - 1
            own = entry[0].dynamic or (marked[before].value if before >= 0 else self.sketch.dynamic_at(start))
            rested = k == 0 or self._bars_between(entries[k - 1], entry) >= again
            if own != now or rested:
                yield Said(start, self.sketch.bar_at(start).index, 0, "dynamics", own)
            now = own
            if entry[0].dynamic:
                continue
            for sign in self._on_notes(marked[before + 1 :], entry):
                if sign.value != now:
                    yield sign
                    now = sign.value

    def hairpins(self, rows: Sequence[Played]) -> Iterator[tuple[Said, Said]]:
        """The hairpins over what one chair plays, each with its end; over rests before and behind there is none."""
        for begin, stop in self.wedges:
            under = [row for row in rows if row.tone.onset < stop.onset and begin.onset < row.tone.end]
            if not under or under[0].dynamic or not self._is_for(begin, stop, _staff_of(under)):
                continue
            first = max(begin.onset, under[0].tone.onset)
            last = min(stop.onset, max(row.tone.end for row in under))
            if first < last:
                yield self._moved(begin, first), self._moved(stop, last)

    def _moved(self, sign: Said, onset: int) -> Said:
        """The sign at another place."""
        return sign if onset == sign.onset else sign._replace(onset=onset, bar=self.sketch.bar_at(onset).index)

    def words(self, rows: Sequence[Played]) -> Iterator[Said]:
        """Words of expression for who has the tune there, "cresc." and "dim." for all who play."""
        for sign in self.sketch.said:
            if sign.kind != "words" or not sign.value.strip():
                continue
            kinds = _kinds(sign)
            if kinds & FOR_PIANO or self._is_tempo(sign):
                continue
            here = [row for row in rows if row.tone.onset <= sign.onset < row.tone.end]
            if any(_for_all(kinds) or (_leads(row) and row.staff == sign.staff) for row in here):
                yield sign

    def _is_tempo(self, sign: Said) -> bool:
        """Whether words say a tempo, or stand with a metronome mark over the top staff."""
        return bool(_kinds(sign) & set(TEMPO)) or (sign.onset in self.tempi and sign.staff == 0)

    def _dynamics_for(self, staff: int) -> list[Said]:
        """The dynamics that hold for a staff of the sketch: its own, and where it has none those of its part's others.

        A part without any takes all there are.
        """
        signs = [sign for sign in self.sketch.said if sign.kind == "dynamics"]
        near = [sign for sign in signs if self.groups[sign.staff] == self.groups[staff]] or signs
        found: dict[int, Said] = {}
        for sign in near:
            if sign.onset not in found or sign.staff == staff:
                found[sign.onset] = sign
        return [found[onset] for onset in sorted(found)]

    def _is_for(self, begin: Said, stop: Said, staff: int) -> bool:
        """Whether a hairpin holds for a staff: its own, or one of another that finds it without one at that time."""
        if begin.staff == staff:
            return True
        own = [(one, end) for one, end in self.wedges if one.staff == staff or self._comes_first(one, begin)]
        if any(one.onset < stop.onset and begin.onset < end.onset for one, end in own):
            return False
        marked = (sign for sign in self.sketch.said if sign.kind == "dynamics" and sign.staff == staff)
        return not any(begin.onset < sign.onset < stop.onset for sign in marked)

    def _comes_first(self, one: Said, other: Said) -> bool:
        return one.staff < other.staff and one is not other

    def _on_notes(self, signs: Sequence[Said], rows: Sequence[Played]) -> list[Said]:
        """The signs that some notes are played under; where one stands over a rest, it waits for the next note."""
        found: list[Said] = []
        for sign in signs:
            under = any(row.tone.onset <= sign.onset < row.tone.end for row in rows)
            after = sign.onset if under else next((r.tone.onset for r in rows if r.tone.onset > sign.onset), None)
            if after is None:
                continue
            if found and found[-1].onset >= after:
                found.pop()
            found.append(self._moved(sign, after))
        return found

    def _bars_between(self, one: Sequence[Played], two: Sequence[Played]) -> int:
        end = max(row.tone.end for row in one)
        return self.sketch.bar_at(two[0].tone.onset).index - self.sketch.bar_at(max(0, end - 1)).index - 1


def _groups(sketch: Sketch) -> list[int]:
    """For each staff of the sketch the ordinal of its part."""
    parts = [part for part in sketch.score.parts if any(n.kind == "note" for m in part.measures for n in m.notes)]
    found = [k for k, part in enumerate(parts) for _ in range(part.staves)]
    return found if len(found) >= sketch.staves else list(range(sketch.staves))


def _staff_of(rows: Sequence[Played]) -> int:
    """The staff whose signs some notes follow: that of the tune, if it is among them."""
    return next((row.staff for row in rows if _leads(row)), rows[0].staff)


def _leads(row: Played) -> bool:
    strand = row.line.partition("/")[2]
    return strand.startswith((TUNE, COUNTER))


def _for_all(kinds: set[str]) -> bool:
    return bool(kinds & set(LOUDER))


def _kinds(sign: Said) -> set[str]:
    return {meaning.kind for meaning in words.meanings(sign.value)}


def _entries(rows: Sequence[Played]) -> list[list[Played]]:
    """What is played in one passage of the plan, its notes together."""
    found: list[list[Played]] = []
    for row in rows:
        if found and found[-1][-1].passage == row.passage:
            found[-1].append(row)
        else:
            found.append([row])
    return found


def _wedges(sketch: Sketch) -> Iterator[tuple[Said, Said]]:
    """Hairpins, each with its end."""
    waiting: dict[tuple[int, str], Said] = {}
    for sign in sketch.said:
        if sign.kind != "wedge":
            continue
        key = (sign.staff, sign.number)
        if sign.value == "stop":
            begin = waiting.pop(key, None)
            if begin is not None and begin.onset < sign.onset:
                yield begin, sign
        else:
            waiting[key] = sign

