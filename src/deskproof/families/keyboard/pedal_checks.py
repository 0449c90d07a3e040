"""From the pedal signs of a keyboard part to findings."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from deskproof import facts, words
from deskproof.families.keyboard import pedal_rules as rules
from deskproof.families.keyboard.pedal_signs import on_the_page
from deskproof.families.keyboard.pedals import (
    CUT,
    DAMPER,
    SOSTENUTO,
    UNA_CORDA,
    Kept,
    Key,
    Press,
    Sign,
    held_at,
    presses,
    simulate,
)
from deskproof.findings import Finding, Place
from deskproof.instruments import by_id
from deskproof.pitch import midi, name
from deskproof.score import UNCHECKED, Note, NoteRef, Part
from deskproof.timeline import Frame

_Spot = tuple[int, int]
"""A place of a part: measure ordinal and tick."""

_NAMES = {DAMPER: "damper", SOSTENUTO: "sostenuto", UNA_CORDA: "una corda"}
_STILL = ("sempre", "sim", "simile", "toujours", "immer", "stets", "still")


class Played(NamedTuple):
    """A note as it is played: where it stands, and its key."""

    ref: NoteRef
    pass_: int
    measure: int
    start: int
    staff: int
    key: Key


def undamped_from(kind: str) -> int | None:
    """The lowest MIDI number of an instrument whose string has no damper; None where all have one."""
    fact = facts.find(f"{kind}.undamped_from")
    return midi(fact.value) if fact is not None else None


def pedal_findings(
    signs: Sequence[Sign],
    notes: Sequence[Played],
    index: int,
    part: Part,
    frame: Frame,
    kind: str | Callable[[Sign], str],
) -> Iterator[Finding]:
    """The findings about the pedals of one part, one for each place.

    Parameters
    ----------
    signs : sequence of Sign
        All signs of the part, in order of time.
    notes : sequence of Played
        Its notes; ``key.up_us`` is when the hands let go.
    index, part, frame
        Its ordinal in the score, its page, and the time axis.
    kind : str, or callable(Sign) -> str
        The kind of instrument ("piano"), or that of which a sign speaks.
    """
    checker = _Checker(signs, notes, index, part, frame, kind)
    yield from checker.without_such_pedal()
    yield from checker.una_corda()
    yield from checker.sostenuto()
    yield from checker.left_foot()


class _Checker:
    def __init__(
        self,
        signs: Sequence[Sign],
        notes: Sequence[Played],
        index: int,
        part: Part,
        frame: Frame,
        kind: str | Callable[[Sign], str],
    ) -> None:
        self.index, self.part, self.frame = index, part, frame
        self.kind: Callable[[Sign], str] = kind if callable(kind) else lambda sign: kind
        self.signs = signs
        self.notes = sorted(notes, key=lambda one: (one.key.down_us, one.key.midi))
        self.onsets = [one.key.down_us for one in self.notes]
        self.spots = sorted({(m.index, n.start) for m in part.measures for n in m.notes if _is_checked(n)})
        mine = [sign for sign in signs if sign.pedal in _pedals(self.kind(sign))]
        self.page = on_the_page(mine)
        self.presses = presses(mine, frame.clock.ceil_us(frame.length))

    # places

    def _bar(self, spot: _Spot) -> str:
        return self.part.measures[spot[0]].number

    def _place(self, sign: Sign) -> Place:
        return Place(self.index, sign.staff, sign.measure, sign.start, sign.pass_)

    def _at(self, spot: _Spot) -> tuple[NoteRef, ...]:
        """The notes that come first at a place or after it; where none does, the last of all."""
        if not self.spots:
            return ()
        m, start = self.spots[min(bisect_left(self.spots, spot), len(self.spots) - 1)]
        rows = self.part.measures[m].notes
        return tuple(NoteRef(self.part.id, m, note.n) for note in rows if _is_checked(note) and note.start == start)

    def _between(self, one: _Spot, other: _Spot) -> int:
        """How many onsets lie from one place to before another."""
        return bisect_left(self.spots, other) - bisect_left(self.spots, one)

    # pedals that are not there

    def without_such_pedal(self) -> Iterator[Finding]:
        """Signs for pedals that the instrument lacks."""
        for sign in on_the_page(self.signs):
            kind = self.kind(sign)
            fact = facts.find(f"{kind}.pedals")
            instrument = by_id(kind) if fact is not None else None
            if fact is None or instrument is None or sign.pedal in fact.value or not sign.down:
                continue
            if sign.pedal == DAMPER and (sign.free or facts.find(f"{kind}.pedalboard") is not None):
                continue
            more = facts.find(f"{kind}.pedals_extended")
            level, reason = "notation", f"it has no {_NAMES[sign.pedal]} pedal"
            if more is not None and sign.pedal in more.value:
                level, reason = "hard", f"that needs {more.needs}"
            elif fact.value:
                reason = f"it has a {' and a '.join(_NAMES[one] for one in fact.value)} pedal only"
            yield rules.NO_PEDAL.at(
                self._place(sign), self._at((sign.measure, sign.start)), level=level, fold=(kind, sign.pedal),
                words=_words(sign), instrument=instrument.name, pedal=sign.pedal, reason=reason,
            )  # fmt: skip

    # una corda

    def una_corda(self) -> Iterator[Finding]:
        """Una corda that is left open, asked for again or closed without being opened, in the order of the page.

        A new movement needs no end before it; one that comes later counts.
        """
        rows = [sign for sign in self.page if sign.pedal == UNA_CORDA]
        if not rows:
            return
        wanted = int(facts.get("pedals.said_again").value)
        begins = self._movements()
        opened: Sign | None = None
        level: float = 0
        for sign in rows:
            here = (sign.measure, sign.start)
            begin, _ = _movement(begins, here)
            if sign.down == 1 and opened is not None and level == 1:
                before = (opened.measure, opened.start)
                if before < begin:
                    yield from self._left_open(opened, begins)
                elif _reminds(sign.text) or before == here:
                    continue
                elif self._between(before, here) >= wanted:
                    yield rules.UNA_CORDA_AGAIN.at(
                        self._place(sign), self._at(here), fold="again", words=_words(sign), bar=self._bar(here),
                        since=self._bar(before),
                    )  # fmt: skip
                opened = sign
                continue
            if not sign.down and opened is None and not self._may_close(sign, begin):
                yield rules.TRE_CORDE_ALONE.at(
                    self._place(sign), self._at(here), fold="alone", words=_words(sign), bar=self._bar(here)
                )
            if not sign.down:
                opened = None
            elif sign.down == 1 or opened is None:
                opened = sign
            level = sign.down
        if opened is not None and level == 1:
            yield from self._left_open(opened, begins)

    def _may_close(self, sign: Sign, begin: _Spot) -> bool:
        """Whether an end of una corda may stand alone: a precaution, or an end of what only playback data say."""
        hidden = any(
            one.pedal == UNA_CORDA and one.down and not one.written and one.t_us < sign.t_us for one in self.signs
        )
        at_once = (sign.measure, sign.start) <= self._first(begin) or sign.measure == begin[0]
        return sign.free or hidden or at_once or _reminds(sign.text)

    def _first(self, begin: _Spot) -> _Spot:
        """Where the first note at a place or after it stands."""
        i = bisect_left(self.spots, begin)
        return self.spots[i] if i < len(self.spots) else begin

    def _left_open(self, sign: Sign, begins: Sequence[_Spot]) -> Iterator[Finding]:
        here = (sign.measure, sign.start)
        begin, end = _movement(begins, here)
        end = end or (len(self.part.measures), 0)
        bars = end[0] - sign.measure
        loud = self._loud_after(here, end)
        after = self._between(here, end)
        if not after:
            return
        if loud is not None:
            reason = f"bar {self._bar(loud[0])} is marked {loud[1]}"
        elif bars > int(facts.get("pedals.closing_bars").value) and here > self._first(begin):
            reason = f"{bars} bars are left from there"
        else:
            return
        yield rules.UNA_CORDA_OPEN.at(
            self._place(sign), self._at(here), words=_words(sign), bar=self._bar(here), reason=reason, bars=bars,
            loud=loud[1] if loud is not None else None,
        )  # fmt: skip

    def _loud_after(self, here: _Spot, end: _Spot) -> tuple[_Spot, str] | None:
        """The first loud dynamic after a place."""
        loud = facts.get("pedals.loud").value
        for m in range(here[0], min(end[0] + 1, len(self.part.measures))):
            for sign in sorted(self.part.measures[m].directions, key=lambda row: row.start):
                spot = (m, sign.start)
                said = sign.value.strip() if sign.kind in ("dynamics", "words") and not sign.hidden else ""
                if said in loud and here < spot < end:
                    return spot, said
        return None

    def _movements(self) -> list[_Spot]:
        """Where a new movement or section begins: a tempo heading of any part, or bars counted from 1 again."""
        found = {
            (tempo.measure, tempo.start)
            for tempo in self.frame.clock.tempos
            if tempo.text and any(meaning.kind == "tempo" for meaning in words.meanings(tempo.text))
        }
        for measure in self.part.measures:
            if measure.number == "1":
                found.add((measure.index, 0))
            for sign in measure.directions:
                if sign.kind == "words" and any(meaning.kind == "tempo" for meaning in words.meanings(sign.value)):
                    found.add((measure.index, sign.start))
        return sorted(spot for spot in found if spot > (0, 0))

    # sostenuto

    def sostenuto(self) -> Iterator[Finding]:
        """Sostenuto pedals that catch too much, nothing, or not what is written under them."""
        mine = [press for press in self.presses if press.pedal == SOSTENUTO and _is_judged(press)]
        if not mine:
            return
        kind = self.kind(mine[0].sign) if mine[0].sign is not None else ""
        kept = simulate([one.key for one in self.notes], self.presses, undamped_from(kind))
        dampers = [press for press in self.presses if press.pedal == DAMPER]
        long = [one.key._replace(up_us=max(one.key.up_us, one.key.written_us)) for one in self.notes]
        for press, held in zip(mine, held_at(long, [press.down_us for press in mine]), strict=True):
            sign = press.sign
            assert sign is not None
            over = next((one for one in dampers if one.down_us < press.down_us < one.up_us), None)
            cause = ""
            if over is not None:
                if _is_judged(over) and over.closed and over.sign is not None:
                    yield self._all(press, over, held)
            elif not held and not self._free_damper(press.down_us) and not self._silent_keys(sign):
                cause = rules.SOSTENUTO_NOTHING.id
                yield self._nothing(press)
            if over is None:
                for found in self._after(press, kept):
                    yield replace(found, because=cause) if cause else found

    def _all(self, press: Press, over: Press, held: frozenset[int]) -> Finding:
        sign, since = press.sign, over.sign
        assert sign is not None and since is not None
        here = (sign.measure, sign.start)
        before = self.notes[: bisect_right(self.onsets, press.down_us)]
        refs = [one.ref for one in before if _end_us(one) > press.down_us]
        names = ", ".join(name(midi) for midi in sorted(held))
        return rules.SOSTENUTO_ALL.at(
            self._place(sign), dict.fromkeys(refs) or self._at(here), fold=("all", here), bar=self._bar(here),
            since=self._bar((since.measure, since.start)), rather=f", not only those held ({names})" if names else "",
            held=sorted(held),
        )  # fmt: skip

    def _nothing(self, press: Press) -> Finding:
        sign = press.sign
        assert sign is not None
        here = (sign.measure, sign.start)
        after = bisect_right(self.onsets, press.down_us)
        ended = self.notes[:after]
        last = max((_end_us(one) for one in ended), default=None)
        late = press.down_us - last if last is not None else None
        early = self.onsets[after] - press.down_us if after < len(self.onsets) else None
        refs = self._at(here)
        if early is not None and (late is None or early <= late):
            first = [one for one in self.notes[after:] if one.key.down_us == self.onsets[after]]
            reason = f"It stands {early // 1000} ms before the next note: a player presses it after the key."
            refs = tuple(dict.fromkeys(one.ref for one in first))
        elif late is not None:
            ends = [one for one in ended if _end_us(one) == last]
            reason = f"It stands {late // 1000} ms after the last note has ended."
            refs = tuple(dict.fromkeys(one.ref for one in ends))
        else:
            reason = ""
        return rules.SOSTENUTO_NOTHING.at(
            self._place(sign), refs, fold=("nothing", here), bar=self._bar(here), reason=reason, early_us=early,
            late_us=late,
        )  # fmt: skip

    def _free_damper(self, t_us: int) -> bool:
        """Whether "con ped." leaves the damper pedal to the player at this time."""
        before = [sign for sign in self.signs if sign.pedal == DAMPER and sign.t_us <= t_us]
        return bool(before) and before[-1].free and before[-1].down > 0

    def _silent_keys(self, sign: Sign) -> bool:
        """Whether notes that are no part of the music stand at a sign: keys that are pressed silently."""
        for note in self.part.measures[sign.measure].notes:
            odd = note.flags & UNCHECKED or note.marked("notehead") is not None
            if odd and note.kind != "rest" and note.start <= sign.start <= note.start + note.length:
                return True
        return False

    def _after(self, press: Press, kept: Sequence[Kept]) -> Iterator[Finding]:
        """Notes struck under the pedal that end before their time, as it does not hold them."""
        sign = press.sign
        assert sign is not None
        first = bisect_right(self.onsets, press.down_us)
        for one, what in zip(self.notes[first:], kept[first:], strict=True):
            if one.key.down_us >= (press.up_us if press.closed else self.onsets[first] + 1):
                break
            if what.kept_by != CUT or what.sounds_until_us >= press.up_us:
                continue
            short = one.key.written_us - what.sounds_until_us
            yield rules.SOSTENUTO_AFTER.at(
                Place(self.index, one.staff, one.measure, one.start, one.pass_), (one.ref,),
                fold=("after", sign.measure, sign.start), note_name=name(one.key.midi),
                bar=self._bar((sign.measure, sign.start)), short_us=short, short_ms=short // 1000,
            )  # fmt: skip

    # feet

    def left_foot(self) -> Iterator[Finding]:
        """Where one pedal of the left foot moves while the other is down and the right foot has the damper pedal."""
        left = facts.get("pedals.left_foot").value
        judged = [press for press in self.presses if _is_judged(press)]
        dampers = [press for press in judged if press.pedal == DAMPER and press.closed]
        mine = [press for press in judged if press.pedal in left]
        for one in mine:
            for other in mine:
                if one.pedal == other.pedal or not other.closed:
                    continue
                for t_us, way in ((one.down_us, "goes down"), (one.up_us, "lifts")):
                    sign = one.sign if way == "goes down" else self._lift(one)
                    busy = any(press.down_us <= t_us <= press.up_us for press in dampers)
                    if sign is None or not busy or not other.down_us < t_us < other.up_us:
                        continue
                    here = (sign.measure, sign.start)
                    yield rules.LEFT_FOOT.at(
                        self._place(sign), self._at(here), fold="left foot", moving=_NAMES[one.pedal],
                        held=_NAMES[other.pedal], way=way, bar=self._bar(here),
                    )  # fmt: skip

    def _lift(self, press: Press) -> Sign | None:
        """The sign that lifts a pedal, if one does."""
        if not press.closed:
            return None
        return next((s for s in self.signs if s.pedal == press.pedal and s.t_us == press.up_us), None)


def _movement(begins: Sequence[_Spot], spot: _Spot) -> tuple[_Spot, _Spot | None]:
    """Where the movement of a place begins, and where the next one does."""
    i = bisect_right(begins, spot)
    return begins[i - 1] if i else (0, 0), begins[i] if i < len(begins) else None


def _pedals(kind: str) -> tuple[str, ...]:
    """The pedals that some instrument of a kind has."""
    found: tuple[str, ...] = ()
    for key in ("pedals", "pedals_extended"):
        fact = facts.find(f"{kind}.{key}")
        found += tuple(fact.value) if fact is not None else ()
    return found


def _is_judged(press: Press) -> bool:
    """Whether a player sees the sign and takes the pedal all the way down."""
    return press.written and not press.half


def _end_us(one: Played) -> int:
    """How long a key may be down: as written, or as the hand holds it."""
    return max(one.key.up_us, one.key.written_us)


def _is_checked(note: Note) -> bool:
    return note.pitch is not None and not note.flags & UNCHECKED


def _words(sign: Sign) -> str:
    """What stands on the page."""
    return f"“{sign.text}”" if sign.text else f"the {_NAMES[sign.pedal]} pedal"


def _reminds(text: str) -> bool:
    """Whether words only say that a pedal is still down or up."""
    plain = text.strip().casefold()
    return plain[:1] in ("(", "[") or any(word.strip(".,()") in _STILL for word in plain.split())
