"""The three pedals of the piano, simulated on whole microseconds: which strings sound, until when, held by what.

At one instant things happen in this order: keys and pedals go up, keys go down, the sostenuto pedal goes down, the
damper pedal goes down. So a pedal that goes down where a note ends does not catch it, one that goes down where a note
begins does, and of two that go down together the sostenuto catches the keys and not all strings.

Strings do not fade here, and a repedalling damps at once.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Sequence
from heapq import heappop, heappush
from typing import NamedTuple

DAMPER, SOSTENUTO, UNA_CORDA = "damper", "sostenuto", "una-corda"
FINGER, CUT = "finger", "cut"
OCTAVE = 12


class Key(NamedTuple):
    """A key going down and up: the finger leaves it at ``up_us``, its note is written until ``written_us``."""

    midi: int
    down_us: int
    up_us: int
    written_us: int


class Sign(NamedTuple):
    """A move of a pedal, each time it is played.

    ``down`` is 1 (or True) for down, 0 for up, and between for a half pedal. ``written``: a player sees it; else it
    is playback data. ``free``: "con ped." and the like, that leave to the player where, or a mark that lifts the pedal
    if it is down and else means nothing. ``text`` is what stands there.
    """

    t_us: int
    measure: int
    start: int
    staff: int
    pedal: str
    down: float
    written: bool
    pass_: int = 1
    free: bool = False
    text: str = ""


class Press(NamedTuple):
    """A pedal down from ``down_us`` to ``up_us``.

    ``half``: it is not down all the way all the time. ``closed``: some sign lifts it; else the music ends.
    """

    pedal: str
    down_us: int
    up_us: int
    written: bool = True
    half: bool = False
    closed: bool = True
    sign: Sign | None = None


class Kept(NamedTuple):
    """How long a string sounds, and what keeps its damper up at the last.

    ``kept_by`` is finger, damper or sostenuto (of several the first of these), or cut where the sound ends before the
    written end (or before the next stroke on the same key). A string without a damper is never cut.
    """

    sounds_until_us: int
    kept_by: str


class Need(NamedTuple):
    """A stretch where the damper pedal must be down, or notes end before they are written to.

    ``from_us`` is the last moment for it to go down, ``to_us`` the first at which it may lift; ``keys`` are ordinals.
    """

    from_us: int
    to_us: int
    keys: tuple[int, ...]


class Blur(NamedTuple):
    """A string that only the pedal holds, past its written end, beside a note struck a step from it."""

    t_us: int
    held: int
    struck: int


def presses(signs: Sequence[Sign], end_us: int) -> tuple[Press, ...]:
    """Signs in order of time as stretches in which a pedal is down, by the moment it goes down.

    A pedal that goes down while it is down is lifted and pressed again at once; "una corda" said again only reminds.
    A free sign presses nothing. What is never lifted ends at ``end_us``.
    """
    found: list[Press] = []
    now: dict[str, Press] = {}
    level: dict[str, float] = {}
    for sign in signs:
        one = now.get(sign.pedal)
        if sign.down and sign.free:
            continue
        again = sign.down == 1 and sign.written and level.get(sign.pedal) == 1 and sign.pedal != UNA_CORDA
        if one is not None and (not sign.down or again):
            _add(found, one, sign.t_us, True)
            del now[sign.pedal]
            one = None
        if sign.down and one is None:
            now[sign.pedal] = Press(sign.pedal, sign.t_us, end_us, sign.written, sign.down < 1, sign=sign)
        elif sign.down and one is not None and sign.down < 1:
            now[sign.pedal] = one._replace(half=True)
        level[sign.pedal] = sign.down
    for one in now.values():
        _add(found, one, max(end_us, one.down_us), False)
    return tuple(sorted(found, key=lambda press: (press.down_us, press.pedal)))


def _add(found: list[Press], one: Press, up_us: int, closed: bool) -> None:
    if up_us > one.down_us:
        found.append(one._replace(up_us=up_us, closed=closed))


def simulate(keys: Sequence[Key], pressed: Sequence[Press], undamped_from: int | None = None) -> tuple[Kept, ...]:
    """What becomes of every note, in the order of ``keys``.

    Parameters
    ----------
    keys : sequence of Key
        In any order.
    pressed : sequence of Press
        Those of one pedal do not overlap. A half pedal counts as down.
    undamped_from : int, optional
        The lowest MIDI number whose string has no damper.
    """
    strings = _Strings(keys, pressed)
    return tuple(strings.kept(key, undamped_from) for key in keys)


class _Strings:
    """The keys and pedals of a part, ready to be asked."""

    def __init__(self, keys: Sequence[Key], pressed: Sequence[Press]) -> None:
        self.dampers = _Line([(p.down_us, p.up_us) for p in pressed if p.pedal == DAMPER])
        sostenuto = sorted((p.down_us, p.up_us) for p in pressed if p.pedal == SOSTENUTO)
        caught: dict[int, list[tuple[int, int]]] = {}
        everything: list[tuple[int, int]] = []
        held = held_at(keys, [down for down, _ in sostenuto])
        for (down, up), here in zip(sostenuto, held, strict=True):
            if self.dampers.over(down):
                everything.append((down, up))
                continue
            for midi in here:
                caught.setdefault(midi, []).append((down, up))
        self.everything = _Line(everything)
        self.caught = {midi: _Line(rows) for midi, rows in caught.items()}
        self.strokes: dict[int, list[int]] = {}
        self.up: dict[tuple[int, int], int] = {}  # MIDI number and stroke -> when the last finger leaves the key
        for key in keys:
            at = key.midi, key.down_us
            self.up[at] = max(key.up_us, self.up.get(at, key.up_us))
        for midi, down in sorted(self.up):
            row = self.strokes.setdefault(midi, [])
            if row and self.up[midi, row[-1]] > down:  # another finger still holds the key
                self.up[midi, down] = max(self.up[midi, down], self.up[midi, row[-1]])
            row.append(down)

    def wanted_us(self, key: Key) -> int:
        """Until when the note is to sound: its written end, or the next stroke of the key."""
        again = self.again_us(key)
        return key.written_us if again is None else min(key.written_us, again)

    def again_us(self, key: Key) -> int | None:
        """When the key is struck again."""
        row = self.strokes[key.midi]
        i = bisect_right(row, key.down_us)
        return row[i] if i < len(row) else None

    def kept(self, key: Key, undamped_from: int | None) -> Kept:
        """How long one note sounds."""
        finger = t = self.up[key.midi, key.down_us]
        again = self.again_us(key)
        lines = [self.dampers, self.everything, *([self.caught[key.midi]] if key.midi in self.caught else [])]
        while again is None or t < again:
            struck = t if key.down_us == t else None
            ends = [end for line in lines if (end := line.end_over(t, struck)) is not None]
            if not ends:
                break
            t = max(ends)
        until = t if again is None else min(t, again)
        by = FINGER if finger >= until else DAMPER if self.dampers.until(until) else SOSTENUTO
        wanted = self.wanted_us(key)
        if until >= wanted:
            return Kept(until, by)
        if undamped_from is not None and key.midi >= undamped_from:
            return Kept(wanted, by)
        return Kept(until, CUT)


class _Line:
    """Stretches of time that do not overlap, in order."""

    def __init__(self, rows: Sequence[tuple[int, int]]) -> None:
        self.rows = sorted(rows)
        self.starts = [start for start, _ in self.rows]

    def over(self, t_us: int) -> bool:
        """Whether a stretch that began before ``t_us`` goes on after it."""
        return self.end_over(t_us) is not None

    def until(self, t_us: int) -> bool:
        """Whether a stretch that began before ``t_us`` goes on to it at least."""
        i = bisect_left(self.starts, t_us) - 1
        return i >= 0 and self.rows[i][1] >= t_us

    def end_over(self, t_us: int, struck_us: int | None = None) -> int | None:
        """The end of the stretch that began before ``t_us`` and goes on after it; None if there is none.

        ``struck_us``: a key goes down and up at this moment, and a stretch that begins with it catches it too.
        """
        i = (bisect_left(self.starts, t_us) if struck_us is None else bisect_right(self.starts, t_us)) - 1
        if i < 0 or self.rows[i][1] <= t_us:
            return None
        return self.rows[i][1]


def held_at(keys: Sequence[Key], times: Sequence[int]) -> list[frozenset[int]]:
    """Which keys are down at each moment, of moments in order; a key that goes up just then is not."""
    rows = sorted((key.down_us, key.up_us, key.midi) for key in keys)
    found: list[frozenset[int]] = []
    down: list[tuple[int, int, int]] = []  # up, midi, down
    i = 0
    for t in times:
        while i < len(rows) and rows[i][0] <= t:
            heappush(down, (rows[i][1], rows[i][2], rows[i][0]))
            i += 1
        brief = set()
        while down and down[0][0] <= t:
            up, midi, struck = heappop(down)
            if up == struck == t:
                brief.add(midi)
        found.append(frozenset({midi for _, midi, _ in down} | brief))
    return found


def needs_damper(
    keys: Sequence[Key], pressed: Sequence[Press] = (), undamped_from: int | None = None
) -> tuple[Need, ...]:
    """Where fingers leave notes that are to sound on, and no other pedal holds them: the damper pedal must be down.

    Damper pedals among ``pressed`` are not looked at; the sostenuto pedals hold what they catch. Stretches that touch
    are one, as the pedal cannot lift between them.
    """
    others = [press for press in pressed if press.pedal == SOSTENUTO]
    strings = _Strings(keys, others)
    rows = []
    for n, key in enumerate(keys):
        if strings.kept(key, undamped_from).kept_by == CUT:
            from_us = strings.kept(key, undamped_from).sounds_until_us
            rows.append((from_us, strings.wanted_us(key), n))
    found: list[Need] = []
    for from_us, to_us, n in sorted(rows):
        last = found[-1] if found else None
        if last is not None and from_us <= last.to_us:
            found[-1] = Need(last.from_us, max(last.to_us, to_us), (*last.keys, n))
        else:
            found.append(Need(from_us, to_us, (n,)))
    return tuple(found)


def proposed_dampers(keys: Sequence[Key], needs: Sequence[Need]) -> tuple[Press, ...]:
    """Damper pedals that serve these needs: down after the first of their notes is struck, changed with the bass.

    A change stands where a new bass note comes, of another name than the one before, and cuts no note that is wanted.
    """
    strings = _Strings(keys, ())
    kept_on = _Line(_joined((key.up_us, strings.wanted_us(key)) for key in keys))
    basses = _basses(keys)
    found: list[Press] = []
    i = 0
    for need in needs:
        at = max(keys[n].down_us for n in need.keys if keys[n].up_us <= need.from_us)
        at = max(at, found[-1].up_us) if found else at
        while i < len(basses) and basses[i][0] <= need.from_us:
            i += 1
        while i < len(basses) and basses[i][0] < need.to_us:
            t = basses[i][0]
            if t > at and not kept_on.over(t):
                found.append(Press(DAMPER, at, t, written=False))
                at = t
            i += 1
        found.append(Press(DAMPER, at, need.to_us, written=False))
    return tuple(found)


def _joined(rows: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Stretches of time that overlap, made one; those that only touch stay apart."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(row for row in rows if row[0] < row[1]):
        if found and start < found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


def _basses(keys: Sequence[Key]) -> list[tuple[int, int]]:
    """Where the bass changes: (onset, MIDI number) of a lowest note, of another name than the bass before it."""
    found: list[tuple[int, int]] = []
    sounding: list[tuple[int, int]] = []  # midi, written end
    by_onset: dict[int, int] = {}
    for key in keys:
        by_onset[key.down_us] = min(key.midi, by_onset.get(key.down_us, key.midi))
    ends: dict[int, list[Key]] = {}
    for key in keys:
        ends.setdefault(key.down_us, []).append(key)
    for t in sorted(by_onset):
        sounding = [row for row in sounding if row[1] > t]
        low = by_onset[t]
        if all(low <= midi for midi, _ in sounding) and (not found or (low - found[-1][1]) % OCTAVE):
            found.append((t, low))
        sounding += [(key.midi, max(key.written_us, key.up_us)) for key in ends[t]]
    return found


def blurs(keys: Sequence[Key], pressed: Sequence[Press], steps: Collection[int]) -> tuple[Blur, ...]:
    """Where a damper pedal that the composer did not write lets strings sound into notes a step from them.

    ``steps`` are distances in semitones, octaves left out. Ordinals of ``keys`` are given.
    """
    ours = [press for press in pressed if press.pedal == DAMPER and not press.written]
    line = _Line([(press.down_us, press.up_us) for press in ours])
    kept = simulate(keys, pressed)
    wide = {*steps, *(OCTAVE - step for step in steps)}
    order = sorted(range(len(keys)), key=lambda n: keys[n].down_us)
    found = []
    sounding: list[int] = []
    for n in order:
        t = keys[n].down_us
        sounding = [m for m in sounding if kept[m].sounds_until_us > t]
        if line.over(t):
            for m in sounding:
                key = keys[m]
                if max(key.written_us, key.up_us) <= t and abs(key.midi - keys[n].midi) % OCTAVE in wide:
                    found.append(Blur(t, m, n))
        sounding.append(n)
    return tuple(found)


def sostenuto_instead(
    keys: Sequence[Key], need: Need, short: Collection[int], pressed: Sequence[Press] = ()
) -> Press | None:
    """A sostenuto pedal that holds the notes of a need while the others stay short; None where it cannot.

    ``short`` are ordinals of notes that are to be short (staccato). It must go down while all the notes are held, and
    not while the damper pedal is down; and the left foot must be free: no una corda at that time.
    """
    inside = [n for n, key in enumerate(keys) if need.from_us <= key.down_us < need.to_us and n not in need.keys]
    if not inside or not all(n in short for n in inside):
        return None
    down = max(keys[n].down_us for n in need.keys)
    up = min(keys[n].up_us for n in need.keys)
    if down >= up:
        return None
    for press in pressed:
        if press.pedal == DAMPER and press.down_us < down < press.up_us:
            return None
        if press.pedal != DAMPER and press.down_us < need.to_us and press.up_us > down:
            return None
    return Press(SOSTENUTO, down, need.to_us, written=False)
