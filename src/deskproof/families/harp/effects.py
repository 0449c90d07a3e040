"""Harmonics and special sounds of a harp part: which string a harmonic is, who can take it, and what is left open.

A harmonic of the harp is touched at the middle of its string and sounds an octave above it. By the rule of today it is
written where it is played, with a small circle; some scores write the sound instead. Which of the two a part does is
read from the marks of the file (MusicXML base-pitch and sounding-pitch), from words of the part, or from notes that
only one of them makes playable.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.harp.handing import Handed
from deskproof.families.harp.harmonic_manner import (
    SOUNDING,
    UNCLEAR,
    Manner,
    below,
    ends_of,
    harmonic_manner,
    line_of,
    rows_of,
    unaccented,
)
from deskproof.families.harp.model import choices
from deskproof.families.harp.reading import OCTAVE, Plucked, Reading, refs
from deskproof.families.harp.wording import NEAR, SIDES, first, listed, place_of, soonest
from deskproof.findings import Finding, Numbers, Place, Rule
from deskproof.pitch import Pitch, name, parse
from deskproof.score import UNCHECKED, Direction, Measure, Note, NoteRef, Part
from deskproof.timeline import Event

__all__ = ["EFFECT_RULES", "effect_findings", "harmonic_manner"]


_Spot = tuple[int, int]
"""A place of a part: measure ordinal and tick."""


def _all_strings(rows: Sequence[Numbers]) -> Numbers:
    """The figures of the string that lies furthest out, and all strings in words."""
    worst = max(rows, key=lambda row: row["beyond"])
    pairs = sorted(
        {pair for row in rows for pair in row["pairs"]}, key=lambda pair: (parse(pair[0]).line, parse(pair[1]).midi)
    )
    return {**worst, "pairs": pairs, "named": _named(pairs)}


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
OPEN = Rule(
    id="harp-effect-open",
    levels=("notation",),
    title="a manner of playing that is asked for twice and never ended",
    says=(
        "{words} is asked for again in bar {bar}, and nothing has ended it since bar {since}: {end} is missing "
        "between, or the words are said twice."
    ),
    why="The player stays with the manner until something ends it.",
    facts=("harp.effect_said_again",),
    silent_when="something ends the manner, the words are in brackets, or only a few notes lie between",
    merge=first,
    worse=("count",),
)
MUFFLED_FAST = Rule(
    id="harp-etouffe-fast",
    levels=("hard",),
    title="damped notes that follow one another fast",
    says="damped notes of the {hand} hand follow after {gap_ms} ms, here {note_name}; {need_ms} ms are wanted.{goes}",
    why="Each note is stopped by the hand before the next: a slow manner, for single notes of the left hand.",
    facts=("harp.etouffe_time",),
    silent_when="the notes are slow enough, alternate between the hands, or are no longer under the words",
    merge=soonest,
    worse=("count",),
)
ONE_STRING = Rule(
    id="harp-tremolo-one-string",
    levels=("hard",),
    title="a tremolo on a note that has one string only",
    says="{note_name} has no second string for a {what}: one string plucked again and again stops itself.",
    why=(
        "A harp tremolo goes to and fro between two strings of one pitch, as C♯ and D♭, or between the notes of a "
        "chord. D, G and A natural have one string each."
    ),
    facts=(),
    silent_when="the pitch has two strings, or two notes or more go to and fro",
    merge=first,
    worse=("count",),
)
EFFECT_RULES = (MANNER, RANGE, BELLS, BELL_FAST, OPEN, MUFFLED_FAST, ONE_STRING)


def effect_findings(
    reading: Reading,
    handed: Handed,
    part: Part,
    fixed: Callable[[int], bool],
    goes: Callable[[int, float], str],
    manner: str = "",
) -> Iterator[Finding]:
    """The findings about harmonics and special sounds.

    Parameters
    ----------
    reading, handed, part
        The part as it is played, its hands, and its page.
    fixed : callable
        Whether the tempo at a time (microseconds) is fixed.
    goes : callable
        Up to which tempo it would go, in words, from a time and the factor by which the tempo would have to fall.
    manner : str, optional
        "string" or "sounding" where the user has said how the harmonics are written; read from the part otherwise.
    """
    tempo = _Tempo(fixed, goes)
    if _is_written(part):
        if not manner:
            yield from _manner(reading, part)
        yield from _left_open(reading, part)
    bells = _Bells(reading, handed, part, manner or harmonic_manner(part))
    yield from bells.out_of_range()
    yield from bells.too_many()
    yield from bells.too_fast(tempo)
    yield from _muffled_fast(reading, handed, part, tempo)
    yield from _on_one_string(reading, part)


class _Tempo(NamedTuple):
    fixed: Callable[[int], bool]
    goes: Callable[[int, float], str]

    def up_to(self, t_us: int, ratio: float) -> str:
        return "" if self.fixed(t_us) else self.goes(t_us, ratio)


# -- which manner --------------------------------------------------------------------------------------------------


def _manner(reading: Reading, part: Part) -> Iterator[Finding]:
    """One finding a part where the manner is not kept, or where only the range tells that the sound is written."""
    found = Manner.of(part)
    if found.manner == UNCLEAR:
        one, two = found.strings[0], found.soundings[0]
        if found.by == "marks":
            what = f"{one.pitch} is marked as the string that is played, {two.pitch} as the sound that is heard"
        else:
            what = f"{one.pitch} can only be meant as a string, {two.pitch} only as a sound"
        level = "notation"
    elif found.manner == SOUNDING and found.by == "range":
        two = found.soundings[0]
        what = (
            f"the harmonics seem to stand where they sound: {two.pitch} as a string lies above the published ranges, "
            f"{below(two.pitch)} does not"
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


# -- harmonics -----------------------------------------------------------------------------------------------------


def _text(key: str) -> str:
    low, high = facts.get(f"harp.{key}").value
    return f"{low} to {high}"


def _number(key: str) -> int:
    return int(facts.get(f"harp.{key}").value)


def _named(pairs: Sequence[tuple[str, str]]) -> str:
    """Strings and sounds in words.

    >>> _named([("G5", "G6"), ("A5", "A♯6")])
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
        pitch = _as_sounding(event)
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
                near=NEAR, pairs=pairs, named=_named(pairs), string=pairs[0][0], sound=pairs[0][1],
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
            names = [str(_as_sounding(row.event)) for row in rows]
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

    def too_fast(self, tempo: _Tempo) -> Iterator[Finding]:
        need_us = 1000 * _number("harmonic_time")
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
                hand=SIDES[hand], note_name=str(_as_sounding(bell.event)), gap_us=gap_us, gap_ms=gap_us // 1000,
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


def _as_sounding(event: Event) -> Pitch:
    """The written pitch, by the name that the part gives it where it does not transpose."""
    written = event.note.pitch
    if written is not None and written.midi == event.sounding:
        return written
    return parse(name(event.sounding or 0))


def _is_written(part: Part) -> bool:
    """Whether there is a page: the notes of a MIDI file have none."""
    first = next((note for measure in part.measures for note in measure.notes if note.kind == "note"), None)
    return first is not None and first.marked("midi") is None


# -- words ---------------------------------------------------------------------------------------------------------

_MANNERS = ("pres-de-la-table", "etouffe", "nail")
_ENDS = frozenset({"ordinary", "let-ring", "tempo", "harmonic", "bisbigliando", "pizz"})
_LINES = ("dashes", "bracket")
_STILL = ("sempre", "sim", "simile", "toujours", "immer", "stets", "still")


def _said_of(sign: Direction) -> tuple[set[str], bool]:
    """The manners of playing that a direction asks for, and whether it ends one that was asked for before."""
    if sign.hidden:
        return set(), False
    if sign.kind in _LINES:
        return set(), sign.value == "stop"
    if sign.kind != "words":
        return set(), False
    kinds = {meaning.kind for meaning in words.meanings(sign.value)}
    return kinds & set(_MANNERS), bool(kinds & _ENDS)


def _lasts(kind: str, text: str) -> bool:
    """Whether the words ask for a manner from here on: "sons étouffés" does, "étouffé" is for one note."""
    if kind != "etouffe":
        return True
    plain = unaccented(text)
    return "sons" in plain or "etouffes" in plain or "etouffees" in plain or any(s in plain.split() for s in _STILL)


def _reminds(text: str) -> bool:
    """Whether words only say that a manner goes on."""
    plain = unaccented(text)
    return plain[:1] in ("(", "[") or any(word.strip(".,()") in _STILL for word in plain.split())


def _signs(measure: Measure) -> list[Direction]:
    return sorted(measure.directions, key=lambda sign: (sign.start, sign.k))


def _left_open(reading: Reading, part: Part) -> Iterator[Finding]:
    """A manner that is asked for again on the same staff while the first asking still holds."""
    wanted = _number("effect_said_again")
    several = part.staves > 1
    opened: dict[tuple[str, int], _Spot] = {}
    for measure in part.measures:
        for sign in _signs(measure):
            kinds, ends = _said_of(sign)
            if ends:
                opened.clear()
            here, staff = (measure.index, sign.start), sign.staff if several else 0
            for kind in sorted(kinds):
                if not _lasts(kind, sign.value):
                    continue
                before = opened.get((kind, staff))
                if before is not None and (before == here or _reminds(sign.value)):
                    continue
                if before is not None and len(_struck(part, staff, before, here)) >= wanted:
                    notes = _next_notes(part, staff, here)
                    yield OPEN.at(
                        Place(reading.part, sign.staff, *here), notes, fold=("open", kind),
                        words=f"“{' '.join(sign.value.split())}”", bar=part.measures[here[0]].number,
                        since=part.measures[before[0]].number,
                        end="“laissez vibrer”" if kind == "etouffe" else "“ordinario”",
                    )  # fmt: skip
                opened = {key: spot for key, spot in opened.items() if key[0] == kind}
                opened[kind, staff] = here


def _on_staff(part: Part, measure: int, staff: int) -> Iterator[Note]:
    """The checked notes of a staff in a measure; of all staves for 0."""
    for note in part.measures[measure].notes:
        if note.pitch is not None and not note.flags & UNCHECKED and staff in (0, note.staff):
            yield note


def _struck(part: Part, staff: int, first: _Spot, end: _Spot) -> set[_Spot]:
    """The places from ``first`` to before ``end`` at which a staff has notes."""
    spots = {(m, note.start) for m in range(first[0], end[0] + 1) for note in _on_staff(part, m, staff)}
    return {spot for spot in spots if first <= spot < end}


def _next_notes(part: Part, staff: int, here: _Spot) -> tuple[NoteRef, ...]:
    """The notes of a staff that come first at a place or after it."""
    for m in range(here[0], len(part.measures)):
        rows = [note for note in _on_staff(part, m, staff) if (m, note.start) >= here]
        if rows:
            start = min(note.start for note in rows)
            return tuple(NoteRef(part.id, m, note.n) for note in rows if note.start == start)
    return ()


# -- damped notes, and tremolos ------------------------------------------------------------------------------------


def _muffled(part: Part) -> set[tuple[int, int]]:
    """The notes (measure, ordinal) that are damped one by one.

    "Sons étouffés" holds on its staff until something ends it, at most to the next bar without a note there; "étouffé"
    holds for the notes at its place, and for those after it as long as they have staccato dots.
    """
    found: set[tuple[int, int]] = set()
    under: dict[int, bool] = {}  # staff -> whether every note is meant, or only those with dots
    several = part.staves > 1
    for measure in part.measures:
        m = measure.index
        if not under and not any("etouffe" in _said_of(sign)[0] for sign in measure.directions):
            continue
        events: list[tuple[int, int, Direction | Note]] = [(sign.start, 0, sign) for sign in _signs(measure)]
        events += [(note.start, 1, note) for note in measure.notes]
        fresh: dict[int, int] = {}  # staff -> tick at which words for one note stand
        under = {staff: every for staff, every in under.items() if any(_on_staff(part, m, staff))}
        for start, _, row in sorted(events, key=lambda event: event[:2]):
            if isinstance(row, Direction):
                kinds, ends = _said_of(row)
                staff = row.staff if several else 0
                if ends or kinds - {"etouffe"}:
                    under.clear()
                if "etouffe" in kinds:
                    under[staff] = _lasts("etouffe", row.value)
                    fresh[staff] = start
                continue
            staff = row.staff if several else 0
            if staff not in under or row.pitch is None or row.flags & UNCHECKED:
                continue
            if under[staff] or row.marked("staccato") is not None or fresh.get(staff) == start:
                found.add((m, row.n))
            else:
                del under[staff]
    return found


def _muffled_fast(reading: Reading, handed: Handed, part: Part, tempo: _Tempo) -> Iterator[Finding]:
    damped = _muffled(part)
    if not damped:
        return
    need_us = 1000 * _number("etouffe_time")
    rows: list[tuple[int, dict[str, Plucked]]] = []
    for i, row in enumerate(reading.plucked):
        mine: dict[str, Plucked] = {}
        for n, one in enumerate(row):
            hand = handed.of(i, n)
            if hand and any((e.measure, e.note.n) in damped and not e.grace for e in one.events):
                mine.setdefault(hand, one)
        if mine:
            rows.append((i, mine))
    for (i, now), (k, then) in pairwise(rows):
        gap_us = reading.onsets[k].t_us - reading.onsets[i].t_us
        for hand in sorted(now.keys() & then.keys()):
            if gap_us >= need_us:
                continue
            one, t_us = then[hand], reading.onsets[k].t_us
            yield MUFFLED_FAST.at(
                place_of(reading, one.events[0]), refs(part, one), fold="muffled fast", near=NEAR, hand=SIDES[hand],
                note_name=str(_as_sounding(one.events[0])), gap_us=gap_us, gap_ms=gap_us // 1000,
                need_ms=need_us // 1000, goes=tempo.up_to(t_us, gap_us / need_us),
            )  # fmt: skip


UNMEASURED = 3  # strokes of a tremolo that counts no notes


def _on_one_string(reading: Reading, part: Part) -> Iterator[Finding]:
    """Tremolos and bisbigliandi of one note whose pitch a single string has."""
    if words.how_many(part.name) > 1:
        return
    whispered = {
        (measure.index, sign.start)
        for measure in part.measures
        for sign in measure.directions
        if sign.kind == "words"
        and not sign.hidden
        and any(meaning.kind == "bisbigliando" for meaning in words.meanings(sign.value))
    }
    for row in reading.plucked:
        for one in row:
            what = _repeated(one, whispered)
            if not what or len(choices(one.pitch, {})) != 1 or one.how not in ("struck", "roll"):
                continue
            if any(other is not one and (what == "bisbigliando" or _one_chord(one, other)) for other in row):
                continue  # it goes to and fro between the two
            yield ONE_STRING.at(
                place_of(reading, one.events[0]), refs(part, one), fold=("one string", one.pitch), near=NEAR,
                note_name=str(_as_sounding(one.events[0])), what=what,
            )  # fmt: skip


def _one_chord(one: Plucked, other: Plucked) -> bool:
    return any((e.note.staff, e.note.voice) == (f.note.staff, f.note.voice) for e in one.events for f in other.events)


def _repeated(one: Plucked, whispered: set[_Spot]) -> str:
    """What makes a note repeat itself fast; empty if nothing does."""
    for event in one.events:
        mark = event.note.marked("tremolo")
        if mark is None:
            if (event.measure, event.note.start) in whispered:
                return "bisbigliando"
        elif mark.number in ("", "single") and mark.value.isdecimal() and int(mark.value) >= UNMEASURED:
            return "tremolo"
    return ""
