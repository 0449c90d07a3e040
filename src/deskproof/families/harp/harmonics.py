"""The harmonics of a harp part: which string each one is, and whether a hand can take it.

A harmonic of the harp is touched at the middle of its string and sounds an octave above it. By the rule of today it is
written where it is played, with a small circle; some scores write the sound instead. Which of the two a part does is
read from the marks of the file (MusicXML base-pitch and sounding-pitch), from words of the part, or from notes that
only one of them makes playable.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.harp.handing import Handed
from deskproof.families.harp.harmonic_manner import (
    SOUNDING,
    UNCLEAR,
    Manner,
    above,
    below,
    ends_of,
    harmonic_manner,
    line_of,
    rows_of,
)
from deskproof.families.harp.reading import OCTAVE, Plucked, Reading, refs
from deskproof.families.harp.wording import (
    NEAR,
    SIDES,
    UpTo,
    as_sounding,
    is_written,
    number_of,
    place_of,
    soonest,
)
from deskproof.families.wording import first, listed
from deskproof.findings import Finding, Numbers, Place, Rule
from deskproof.pitch import Pitch, parse
from deskproof.score import NoteRef, Part
from deskproof.timeline import Event


def _all_strings(rows: Sequence[Numbers]) -> Numbers:
    """The figures of the string that lies furthest out, and all strings in words."""
    worst = max(rows, key=lambda row: row["beyond"])
    pairs = sorted(
        {pair for row in rows for pair in row["pairs"]}, key=lambda pair: (parse(pair[0]).line, parse(pair[1]).midi)
    )
    return {**worst, "pairs": pairs, "named": named_pairs(pairs)}

MANNER = Rule(
    id="harp-harmonic-manner",
    levels=("notation", "advice"),
    title="harmonics of which it is not told whether they stand where they are played or where they sound",
    says="{what}: write every harmonic where it is played, with a small circle.",
    why=(
        "Harpists look for the string that is written. Some older scores write the sound, an octave higher: where a "
        "part does not keep to one manner, a harmonic may come out an octave wrong."
    ),
    facts=("harp.harmonic_strings", "harp.harmonic_strings_left"),
    silent_when="all harmonics can be meant where they are played, or file or words tell what is written",
    merge=first,
    worse=("count",),
)

RANGE = Rule(
    id="harp-harmonic-range",
    levels=("hard", "impossible", "advice"),
    title="a harmonic on a string that does not give it well",
    says="as a harmonic {named}: {reason}.",
    why=(
        "On short strings the node cannot be met with certainty, and on long wire strings the harmonic is soft and "
        "unclear. The published ranges differ: what lies inside all of them is not mentioned."
    ),
    facts=(
        "harp.harmonic_strings", "harp.harmonic_strings_left", "harp.harmonic_strings_right", "harp.harmonic_field",
        "harp.harmonic_lowest",
    ),
    silent_when="the string lies inside both published ranges",
    merge=_all_strings,
    worse=("beyond", "count"),
)  # fmt: skip

BELLS = Rule(
    id="harp-harmonic-hands",
    levels=("hard",),
    title="more harmonics at once than a hand takes",
    says="the {hand} hand has {bells} harmonics at once, {note_name}: {reason}.",
    why=(
        "The right hand touches the node with a finger of its own and has one harmonic at a time; the left touches "
        "with the side of the hand and has two, or three close together."
    ),
    facts=("harp.right_harmonics", "harp.left_harmonics", "harp.left_harmonics_reach"),
    silent_when="some division between the hands leaves one to the right hand and three close ones to the left",
    merge=first,
    worse=("bells", "count"),
)

BELL_FAST = Rule(
    id="harp-harmonic-fast",
    levels=("hard",),
    title="a harmonic with fast notes after it in the same hand",
    says="the {hand} hand plays again {gap_ms} ms after the harmonic {note_name}; {need_ms} ms are wanted.{goes}",
    why="The node has to be found by eye, and the hand turns for a harmonic and back.",
    facts=("harp.harmonic_time",),
    silent_when="there is time, or the other hand is free and can take every other note",
    merge=soonest,
    worse=("count",),
)

HARMONIC_RULES = (MANNER, RANGE, BELLS, BELL_FAST)


def harmonic_findings(
    reading: Reading, handed: Handed, part: Part, tempo: UpTo, manner: str = ""
) -> Iterator[Finding]:
    """The findings about harmonics.

    Parameters
    ----------
    reading, handed, part
        The part as it is played, its hands, and its page.
    tempo : UpTo
        Says up to which tempo it would go, where the tempo is not fixed.
    manner : str, optional
        "string" or "sounding" where the user has said how the harmonics are written; read from the part otherwise.
    """
    if is_written(part) and not manner:
        yield from _manner(reading, part)
    bells = _Bells(reading, handed, part, manner or harmonic_manner(part))
    yield from bells.out_of_range()
    yield from bells.too_many()
    yield from bells.too_fast(tempo)


def _manner(reading: Reading, part: Part) -> Iterator[Finding]:
    """One finding a part where the manner is not kept, or where only the range tells that the sound is written."""
    found = Manner.of(part)
    if found.manner == UNCLEAR:
        one, two = found.strings[0], found.soundings[0]
        if found.by == "marks":
            what = (
                f"{one.pitch} is marked as the string that is played (it sounds {above(one.pitch)}), "
                f"{two.pitch} as the sound that is heard (of the {below(two.pitch)} string)"
            )
        else:
            what = (
                f"{one.pitch} can only be meant as a string (it sounds {above(one.pitch)}), "
                f"{two.pitch} only as a sound (of the {below(two.pitch)} string)"
            )
        level = "notation"
    elif found.manner == SOUNDING and found.by == "range":
        two = found.soundings[0]
        what = (
            f"the harmonics seem to stand where they sound: {two.pitch} as a string lies above the published ranges, "
            f"the {below(two.pitch)} string, which sounds {two.pitch}, does not"
        )
        level = "advice"
    else:
        return
    rows = sorted([*found.strings, *found.soundings], key=lambda row: (row.ref.measure, row.note.start, row.ref.n))
    note = rows[0].note
    place = Place(reading.part, note.staff, rows[0].ref.measure, note.start)
    yield MANNER.at(
        place, [row.ref for row in rows], level=level, fold="manner", what=what,
        strings=len(found.strings), soundings=len(found.soundings),
    )  # fmt: skip


def _text(key: str) -> str:
    low, high = facts.get(f"harp.{key}").value
    return f"{low} to {high}"


def named_pairs(pairs: Sequence[tuple[str, str]]) -> str:
    """Strings and sounds in words.

    >>> named_pairs([("G5", "G6"), ("A5", "A♯6")])
    'the G5 string sounds G6, and the A5 string A♯6'
    """
    said = [f"the {string} string {'sounds ' if not i else ''}{sound}" for i, (string, sound) in enumerate(pairs)]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])}, and {said[-1]}"


class _Bell(NamedTuple):
    """A harmonic as played: onset, its place there, the event, and the pitches of the strings it may be."""

    onset: int
    n: int
    one: Plucked
    event: Event
    strings: tuple[Pitch, ...]


class _Bells:
    """The harmonics of a part as they are played."""

    def __init__(self, reading: Reading, handed: Handed, part: Part, manner: str) -> None:
        self.reading, self.handed, self.part, self.manner = reading, handed, part, manner
        self.said = {row.ref: row.said for row in rows_of(part)}
        self.bells = [
            _Bell(i, n, one, event, self._strings(event))
            for i, row in enumerate(reading.plucked)
            for n, one in enumerate(row)
            if one.how == "harmonic" and (event := self._told(one)) is not None
        ]
        self.at = {(bell.onset, bell.n): bell for bell in self.bells}

    def _told(self, one: Plucked) -> Event | None:
        """The event that is the harmonic; None where the note only shows what another sounds like."""
        return next((e for e in one.events if NoteRef(self.part.id, e.measure, e.note.n) in self.said), None)

    def _strings(self, event: Event) -> tuple[Pitch, ...]:
        pitch = as_sounding(event)
        said = self.said[NoteRef(self.part.id, event.measure, event.note.n)]
        manner = said or self.manner
        if manner == UNCLEAR:
            return pitch, below(pitch)
        return (below(pitch),) if manner == SOUNDING else (pitch,)

    def out_of_range(self) -> Iterator[Finding]:
        for bell in self.bells:
            rows = [(pitch, self._judged(pitch, bell)) for pitch in bell.strings]
            if any(judged is None for _, judged in rows):
                continue  # one of the manners makes it playable
            pitch, judged = rows[0]
            assert judged is not None
            level, side, reason, beyond = judged
            pairs = [(f"{pitch.step}{pitch.octave}", str(pitch._replace(octave=pitch.octave + 1)))]
            yield RANGE.at(
                place_of(self.reading, bell.event), refs(self.part, bell.one), level=level, fold=("range", side),
                near=NEAR, pairs=pairs, named=named_pairs(pairs), string=pairs[0][0], sound=pairs[0][1],
                sounding=int(pitch.midi) + OCTAVE, reason=reason, beyond=beyond,
            )  # fmt: skip

    def _judged(self, pitch: Pitch, bell: _Bell) -> tuple[str, str, str, int] | None:
        """Level, end of the range, reason and string steps beyond it; None where nothing is to be said."""
        line = pitch.line
        ranges = {key: ends_of(key) for key in ("harmonic_strings", "harmonic_strings_left")}
        inside = [key for key, (low, high) in ranges.items() if low <= line <= high]
        both = f"{_text('harmonic_strings')} by one account, {_text('harmonic_strings_left')} by another"
        if len(inside) == len(ranges):
            return self._low_in_right(pitch, bell)
        lows, highs = zip(*ranges.values(), strict=True)
        side = "low" if line < max(lows) else "high"
        beyond = max(lows) - line if side == "low" else line - min(highs)
        if inside:
            return "hard", side, f"the published ranges of strings differ, {both}", beyond
        if line > ends_of("harmonic_field")[1]:
            return "impossible", side, f"so short a string gives none; the published ranges are {both}", beyond
        if line < line_of(str(facts.get("harp.harmonic_lowest").value)):
            return "impossible", side, "the harp has no such string", beyond
        sounds = "so long a string is soft and unclear" if side == "low" else "so short a string hardly speaks"
        return "hard", side, f"{sounds}; the published ranges of strings are {both}", beyond

    def _low_in_right(self, pitch: Pitch, bell: _Bell) -> tuple[str, str, str, int] | None:
        """A low harmonic in the right hand while the left plays too."""
        low, _ = ends_of("harmonic_strings_right")
        hands = [self.handed.of(bell.onset, n) for n in range(len(self.reading.plucked[bell.onset]))]
        if pitch.midi != bell.one.pitch or hands[bell.n] != "R" or "L" not in hands or pitch.line >= low:
            return None
        reason = f"the right hand has them well from {facts.get('harp.harmonic_strings_right').value[0]} up"
        return "advice", "right", f"{reason}, and the left is not free", low - pitch.line

    def too_many(self) -> Iterator[Finding]:
        if words.how_many(self.part.name) > 1:
            return  # shared between the harps it may go
        for hard in self.handed.plan.hard:
            if hard.kind != "harmonics":
                continue
            given = self.handed.notes(hard.onset, hard.notes)
            lines = dict(zip(self.handed.rows[hard.onset], self.handed.lines[hard.onset], strict=True))
            rows = [self.at[hard.onset, n] for n in given if (hard.onset, n) in self.at]
            reason = self._refused(hard.hand, sorted(lines[row.n] for row in rows))
            if not reason:
                continue
            names = [str(as_sounding(row.event)) for row in rows]
            yield BELLS.at(
                place_of(self.reading, rows[0].event), [ref for row in rows for ref in refs(self.part, row.one)],
                fold=("bells", tuple(row.one.pitch for row in rows)), hand=SIDES[hard.hand], bells=len(rows),
                note_name=listed(names), reason=reason,
            )  # fmt: skip

    def _refused(self, hand: str, lines: Sequence[int]) -> str:
        """Why a hand does not take these harmonics; empty where it does."""
        settings = self.handed.settings
        if hand == "R":
            most = settings.right_harmonics
            return f"it takes {most}, and the left cannot take the rest" if len(lines) > most else ""
        if len(lines) > settings.left_harmonics:
            return f"it takes {settings.left_harmonics} at most"
        if lines and lines[-1] - lines[0] > settings.left_harmonics_reach:
            return f"together they must lie within {settings.left_harmonics_reach + 1} strings"
        return ""

    def too_fast(self, tempo: UpTo) -> Iterator[Finding]:
        need_us = 1000 * number_of("harmonic_time")
        hands = _Hands(self.reading, self.handed)
        for bell in self.bells:
            hand = self.handed.of(bell.onset, bell.n)
            if hand is None or hands.graces[bell.onset]:
                continue
            gap_us, after = hands.until_next(hand, bell.onset)
            if gap_us is None or gap_us >= need_us:
                continue
            other = "L" if hand == "R" else "R"
            t_us = hands.times[bell.onset]
            if hands.idle(other, t_us - need_us, t_us + gap_us + need_us):
                gap_us, _ = hands.until_next(hand, after, since=t_us)  # the hands can take turns
                if gap_us is None or gap_us >= need_us:
                    continue
            yield BELL_FAST.at(
                place_of(self.reading, bell.event), refs(self.part, bell.one), fold="bell fast", near=NEAR,
                hand=SIDES[hand], note_name=str(as_sounding(bell.event)), gap_us=gap_us, gap_ms=gap_us // 1000,
                need_ms=need_us // 1000, goes=tempo.up_to(t_us, gap_us / need_us),
            )  # fmt: skip


class _Hands:
    """When each hand plays. Grace notes have no time of their own and are passed over as something that follows."""

    def __init__(self, reading: Reading, handed: Handed) -> None:
        self.times = [onset.t_us for onset in reading.onsets]
        self.graces = [all(e.grace for one in row for e in one.events) for row in reading.plucked]
        self.onsets: dict[str, list[int]] = {"L": [], "R": []}
        for i, row in enumerate(reading.plucked):
            for hand in sorted({h for n in range(len(row)) if (h := handed.of(i, n)) is not None}):
                self.onsets[hand].append(i)

    def until_next(self, hand: str, onset: int, since: int | None = None) -> tuple[int | None, int]:
        """Microseconds from an onset, or from ``since``, to the next of a hand, and which; None where none follows."""
        rows = self.onsets[hand]
        start = self.times[onset] if since is None else since
        for i in rows[bisect_left(rows, onset + 1) :]:
            if not self.graces[i]:
                return self.times[i] - start, i
        return None, onset

    def idle(self, hand: str, from_us: int, to_us: int) -> bool:
        """Whether a hand plays nothing between two times, ends left out."""
        rows = self.onsets[hand]
        k = bisect_left(rows, from_us + 1, key=lambda i: self.times[i])
        return k == len(rows) or self.times[rows[k]] >= to_us
