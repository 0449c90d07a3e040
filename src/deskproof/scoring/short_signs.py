"""What a short score takes over beside the notes: key, metre, repeats, tempo, dynamics, slurs, clefs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from deskproof import facts, pitch, words
from deskproof.page import layout_of
from deskproof.score import Change, Clef, Direction, Ending, Key, Mark, Part, Repeat, Time
from deskproof.scoring.short_lines import Lines
from deskproof.scoring.short_merging import Kept

TREBLE, BASS = Clef("G", 2), Clef("F", 4)
_FOR_ALL = ("metronome", "rehearsal", "segno", "coda", "barline:segno", "barline:coda", "barline:fermata")
_NO_SOUND_FOR_ALL = ("sound:instrument-change", "sound:damper-pedal", "sound:soft-pedal", "sound:sostenuto-pedal")
_TEMPO_WORDS = (
    "tempo", "tempo-change", "a-tempo", "unfixed", "da-capo", "dal-segno", "fine", "to-coda", "coda", "segno",
)  # fmt: skip
_LOUDER = ("pppppp", "ppppp", "pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "fffff", "ffffff")
_STRESSED = {"sf": "f", "sfz": "f", "sffz": "ff", "fz": "f", "rf": "f", "rfz": "f", "fp": "f", "sfp": "f", "sfpp": "f",
             "pf": "f", "n": "pppppp", "sfzp": "f"}  # fmt: skip
OF_A_CHORD = (
    "accent", "strong-accent", "staccato", "tenuto", "detached-legato", "staccatissimo", "spiccato", "stress",
    "fermata", "trill-mark", "wavy-line", "tremolo",
)  # fmt: skip
KEPT_MARKS = (
    *OF_A_CHORD, "mordent", "inverted-mordent", "turn", "inverted-turn", "delayed-turn", "shake", "schleifer",
    "accidental-mark", "arpeggiate", "grace",
)  # fmt: skip
_MOST_SLURS = 16  # numbers that MusicXML knows


def changes(lines: Lines) -> dict[int, list[Change]]:
    """Keys and metres by bar: the metres of the longest part, the keys of most parts that sound as written."""
    longest = max(lines.score.parts, key=lambda part: len(part.measures))
    found: dict[int, list[Change]] = {}
    for measure in longest.measures:
        for change in measure.changes:
            if isinstance(change.value, Time) and change.staff < 2:
                found.setdefault(measure.index, []).append(change._replace(staff=0))
    for bar, change in _keys(lines.score.parts):
        found.setdefault(bar, []).append(change)
    return found


def _keys(parts: Sequence[Part]) -> Iterable[tuple[int, Change]]:
    ways: Counter[tuple[tuple[int, Change], ...]] = Counter()
    for part in parts:
        only = layout_of(part).transpose_only
        if only is None or only.semitones % 12:
            continue
        rows = tuple(
            (measure.index, change._replace(staff=0))
            for measure in part.measures
            for change in measure.changes
            if isinstance(change.value, Key) and change.staff < 2
        )
        ways[rows] += 1
    if not ways:
        return ((0, Change(0, 0, "key", Key(0))),)
    return max(ways, key=lambda rows: (ways[rows], len(rows)))


def repeats(lines: Lines) -> dict[int, tuple[tuple[Repeat, ...], tuple[Ending, ...]]]:
    """Repeat signs and endings by bar, of the first part that has them there."""
    found: dict[int, tuple[tuple[Repeat, ...], tuple[Ending, ...]]] = {}
    for part in lines.score.parts:
        for measure in part.measures:
            signs, brackets = found.get(measure.index, ((), ()))
            if measure.repeats or measure.endings:
                found[measure.index] = (signs or measure.repeats, brackets or measure.endings)
    return found


def for_all(lines: Lines) -> Iterator[tuple[int, Direction]]:
    """What is said to all players: tempo, letters, jumps; once each, at the top staff."""
    seen: set[tuple[int, int, str, str]] = set()
    for part in lines.score.parts:
        for measure in part.measures:
            for row in measure.directions:
                if not _to_all(row):
                    continue
                key = (measure.index, row.start, row.kind, row.value)
                if key not in seen:
                    seen.add(key)
                    yield measure.index, row._replace(staff=1)


def _to_all(row: Direction) -> bool:
    if row.kind == "words":
        return any(meaning.kind in _TEMPO_WORDS for meaning in words.meanings(row.value))
    return row.kind in _FOR_ALL or (row.kind.startswith("sound:") and row.kind not in _NO_SOUND_FOR_ALL)


def loudness(dynamic: str) -> int:
    """How loud a dynamic is among all: a row from the softest up.

    >>> loudness("ff") > loudness("sfz") > loudness("mp")
    True
    """
    last = dynamic.split()[-1] if dynamic.split() else ""
    plain = _STRESSED.get(last, last)
    return _LOUDER.index(plain) if plain in _LOUDER else -1


def dynamics(lines: Lines, kept: Sequence[Kept]) -> Iterator[tuple[int, Direction]]:
    """One dynamic a staff and place: the loudest of those who begin a note there; and the hairpins of one player.

    The same dynamic is not said twice in a bar.
    """
    begins: dict[tuple[int, int], set[int]] = {}
    sounding: dict[tuple[int, int], set[int]] = {}
    for one in kept:
        for player, _ in one.by:
            begins.setdefault((player, one.onset), set()).add(one.staff)
            sounding.setdefault((player, one.bar), set()).add(one.staff)
    rows: dict[tuple[int, int], dict[int, Direction]] = {}
    hairpins: list[tuple[int, int, Direction, set[int]]] = []
    for player, part in enumerate(lines.score.parts):
        for measure in part.measures:
            for row in measure.directions:
                if row.hidden or row.kind not in ("dynamics", "wedge"):
                    continue
                at = lines.onsets[measure.index] + row.start
                staves = begins.get((player, at)) or sounding.get((player, measure.index), set())
                if row.kind == "wedge":
                    hairpins.append((at, player, row, staves))
                    continue
                for staff in staves:
                    here = rows.setdefault((at, staff), {})
                    here[player] = row._replace(staff=staff)
    last: dict[int, tuple[int, str]] = {}
    for (at, staff), said in sorted(rows.items()):
        bar = lines.bar_at(at)
        loudest = max(said, key=lambda player: (loudness(said[player].value), -player))
        if last.get(staff) != (bar, said[loudest].value):
            yield bar, said[loudest]._replace(start=at - lines.onsets[bar])
        last[staff] = (bar, said[loudest].value)
    yield from _hairpins(lines, hairpins)


def _hairpins(
    lines: Lines, rows: list[tuple[int, int, Direction, set[int]]]
) -> Iterator[tuple[int, Direction]]:
    """Hairpins, one at a time on a staff; each is begun and ended by the same player."""
    opened: dict[int, tuple[int, str]] = {}  # staff -> player, number
    for at, player, row, staves in sorted(rows, key=lambda r: (r[0], r[2].value != "stop", r[1])):
        bar = min(lines.bar_at(at), len(lines.onsets) - 1)
        if row.value == "stop":
            bar = lines.bar_at(at - 1) if at in lines.onsets and at else bar
            for staff in [s for s, owner in opened.items() if owner == (player, row.number)]:
                del opened[staff]
                yield bar, row._replace(start=at - lines.onsets[bar], staff=staff, number=str(staff))
        else:
            for staff in sorted(staves):
                if staff not in opened:
                    opened[staff] = (player, row.number)
                    yield bar, row._replace(start=at - lines.onsets[bar], staff=staff, number=str(staff))


def slurs(kept: Sequence[Kept]) -> dict[int, list[Mark]]:
    """id of a note -> its slur marks. A slur goes from a note of a line to a later one of it on the same staff.

    Lines that move together have one slur, that of the highest. A number is taken again only in a later bar or by the
    same line, because a bar is written voice after voice.
    """
    found: dict[int, list[Mark]] = {}
    busy: dict[int, tuple[Kept, Kept]] = {}
    for first, last in sorted(_slurred(kept), key=lambda pair: (pair[0].onset, -pair[0].grace, -pair[1].onset)):
        free = next((k for k in range(1, _MOST_SLURS + 1) if k not in busy or _is_over(busy[k], first)), 0)
        if not free:
            continue
        busy[free] = (first, last)
        found.setdefault(id(first), []).append(Mark("slur", "start", str(free)))
        found.setdefault(id(last), []).append(Mark("slur", "stop", str(free)))
    return found


def _slurred(kept: Sequence[Kept]) -> Iterable[tuple[Kept, Kept]]:
    """The two ends of each slur that stays."""
    ends: dict[int, list[Kept]] = {}
    for one in kept:
        for slur in one.slurred:
            ends.setdefault(abs(slur), []).append(one)
    spans: dict[tuple[int, ...], tuple[Kept, Kept]] = {}
    for pair in ends.values():
        if len(pair) != 2:
            continue
        first, last = sorted(pair, key=lambda one: (one.onset, -one.grace))
        goes_on = first.line in last.strands or last.line in first.strands
        stretch = (first.staff, first.onset, first.grace, last.onset, last.grace)
        if first.staff != last.staff or not goes_on:
            continue
        if stretch not in spans or first.midi > spans[stretch][0].midi:
            spans[stretch] = (first, last)
    return spans.values()


def _is_over(slur: tuple[Kept, Kept], one: Kept) -> bool:
    """Whether a slur ends well before a note."""
    last = slur[1]
    if last.bar < one.bar and last.end <= one.onset:
        return True
    return last.line == one.line and (last.onset, -last.grace) < (one.onset, -one.grace)


def clefs(kept: Sequence[Kept], staves: int, bars: int) -> dict[int, list[Change]]:
    """Clefs by bar: treble or bass by the middle of what stands on a staff, changed only where it goes well beyond."""
    down = pitch.midi(facts.get("short_score.treble_to_bass").value)
    up = pitch.midi(facts.get("short_score.bass_to_treble").value)
    heights: dict[tuple[int, int], list[float]] = {}
    for one in kept:
        heights.setdefault((one.bar, one.staff), []).append(float(one.midi))
    homes = [pitch.midi(name) for name in facts.get(f"short_score.homes_{staves}").value]
    now = {staff: TREBLE if homes[staff - 1] >= pitch.midi("C4") else BASS for staff in range(1, staves + 1)}
    found: dict[int, list[Change]] = {0: [Change(0, staff, "clef", clef) for staff, clef in now.items()]}
    for bar in range(bars):
        for staff, clef in now.items():
            rows = heights.get((bar, staff))
            if not rows:
                continue
            middle = (max(rows) + min(rows)) / 2
            wanted = BASS if clef == TREBLE and middle < down else TREBLE if clef == BASS and middle > up else clef
            if wanted != clef:
                now[staff] = wanted
                here = found.setdefault(bar, [])
                here[:] = [change for change in here if change.staff != staff]
                here.append(Change(0, staff, "clef", wanted))
    return found
