"""The harp's pedals drawn: one setting as seven strokes, and the pedals of some bars as seven lines under them.

In both, up is flat, level natural, down sharp, as the pedals of the instrument stand; the signs are printed beside
every stroke, at the head of every line and at every step. The feet are set apart: D C B | E F G A.
"""

from __future__ import annotations

import html
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median_low
from typing import NamedTuple

from deskproof.engrave.letters import text_width
from deskproof.engrave.marks import Below
from deskproof.engrave.render import SPACE, Engraving
from deskproof.engrave.shapes import Box, around
from deskproof.families.harp.model import FEET, LETTERS
from deskproof.families.harp.plan import Change, PedalPlan
from deskproof.score import GRACE, NoteRef, Part
from deskproof.timeline import Frame, Play

NAMES = {-1: "flat", 0: "natural", 1: "sharp"}
FOOT_NAMES = ("left foot", "right foot")


# -- words -----------------------------------------------------------------------------------------------------------


def setting_words(positions: Mapping[str, int]) -> str:
    """A setting in words, foot by foot.

    >>> setting_words(dict(zip("DCBEFGA", (0, 0, -1, -1, 0, 0, 1))))
    'left foot D natural, C natural, B flat; right foot E flat, F natural, G natural, A sharp'
    """
    rows = (
        f"{name} {', '.join(f'{letter} {NAMES[positions[letter]]}' for letter in foot)}"
        for name, foot in zip(FOOT_NAMES, FEET, strict=True)
    )
    return "; ".join(rows)


def plan_words(plan: PedalPlan) -> str:
    """How many changes a plan has, and how few any plan could have."""
    count = len(plan.changes)
    if not count:
        return "no pedal moves"
    said = f"{count} change{'s' * (count != 1)}"
    if plan.proven:
        return f"{said}; no plan needs fewer changes"
    least = plan["changes"].at_least
    return f"{said}; at least {least} {'is' if least == 1 else 'are'} needed" if least else said


def faster_words(plan: PedalPlan) -> str:
    """By how much the music could go faster with these changes, rounded down; empty where no pedal moves."""
    if plan.faster is None:
        return ""
    more = int(100 * (plan.faster - 1) + 1e-9)
    return f"Played {more} % faster it still works." if more else "It would not work any faster."


def seconds(us: int) -> str:
    """A time in seconds, rounded down: to a hundredth under 1 s, to a tenth under 10 s.

    >>> [seconds(us) for us in (333_333, 499_999, 2_166_666, 14_526_355)]
    ['0.33 s', '0.49 s', '2.1 s', '14 s']
    """
    hundredths = max(us, 0) // 10_000
    if hundredths < 100:
        return f"0.{hundredths:02d} s"
    if hundredths < 1000:
        return f"{hundredths // 100}.{hundredths // 10 % 10} s"
    return f"{hundredths // 100} s"


def spare_words(change: Change, comfortable_us: int) -> str:
    """What stands beside a step: the foot's spare time, or how short the whole time is that it has."""
    if change.dur_us < comfortable_us:
        return f"quick, {seconds(change.dur_us + change.spare_us)} in all"
    return f"{seconds(change.spare_us)} to spare" if change.spare_us >= 10_000 else "no time to spare"


# -- the three signs -------------------------------------------------------------------------------------------------

# In a box of height 1 round their middle, y downwards; drawn here so that no font has to have them.
_NATURAL = (
    ((-0.2, -0.5), (-0.13, -0.5), (-0.13, 0.26), (-0.2, 0.28)),
    ((0.13, -0.26), (0.2, -0.28), (0.2, 0.5), (0.13, 0.5)),
    ((-0.2, -0.12), (0.2, -0.24), (0.2, -0.1), (-0.2, 0.02)),
    ((-0.2, 0.14), (0.2, 0.02), (0.2, 0.16), (-0.2, 0.28)),
)
_SHARP = (
    ((-0.16, -0.42), (-0.09, -0.42), (-0.09, 0.5), (-0.16, 0.5)),
    ((0.09, -0.5), (0.16, -0.5), (0.16, 0.42), (0.09, 0.42)),
    ((-0.28, -0.12), (0.28, -0.25), (0.28, -0.11), (-0.28, 0.02)),
    ((-0.28, 0.13), (0.28, 0.0), (0.28, 0.14), (-0.28, 0.27)),
)
_STEM = (((-0.22, -0.5), (-0.15, -0.5), (-0.15, 0.5), (-0.22, 0.5)),)
_BOWL = (  # of the flat: from the stem round the outside, and back round the hollow
    (-0.18, 0.04), (-0.08, -0.12), (0.26, -0.14), (0.26, 0.07), (0.26, 0.25), (0.0, 0.38), (-0.18, 0.5),
    (-0.15, 0.36), (-0.02, 0.28), (0.1, 0.19), (0.1, 0.07), (0.1, -0.05), (-0.08, -0.03), (-0.15, 0.1),
)  # fmt: skip
_OUTLINES = {-1: _STEM, 0: _NATURAL, 1: _SHARP}
_SIGN_WIDTH = 0.56  # of its height


def sign(position: int, x: float, y: float, height: float) -> str:
    """The sign of a position (-1 flat, 0 natural, 1 sharp) as SVG, its middle at (x, y)."""

    def at(point: tuple[float, float]) -> str:
        return f"{x + height * point[0]:.1f} {y + height * point[1]:.1f}"

    d = "".join(f"M{'L'.join(at(point) for point in ring)}Z" for ring in _OUTLINES[position])
    if position < 0:
        p = [at(point) for point in _BOWL]
        d += f"M{p[0]}C{' '.join(p[1:4])}C{' '.join(p[4:7])}L{p[7]}C{' '.join(p[8:11])}C{' '.join(p[11:14])}Z"
    return f'<path class="{NAMES[position]}" d="{d}"/>'


# -- one setting -----------------------------------------------------------------------------------------------------

_STEP_PX, _APART_PX = 27.0, 19.0  # from stroke to stroke, and what is added between the feet
_REFERENCE_PX = 21.0
_STROKES = {-1: (-17.0, -3.0), 0: (-7.0, 7.0), 1: (3.0, 17.0)}  # from the line of reference


def diagram(positions: Mapping[str, int], prefix: str = "") -> str:
    """One setting as an SVG picture: seven strokes against one line, a taller one between the feet.

    A stroke above the line is flat, one across it natural, one below it sharp. ``prefix`` goes before its id.
    """
    y = _REFERENCE_PX
    x = _STEP_PX / 2
    strokes, letters = [], []
    divider = 0.0
    for letter in LETTERS:
        if letter == FEET[1][0]:
            divider = x + (_APART_PX - _STEP_PX) / 2
            x += _APART_PX
        top, bottom = _STROKES[positions[letter]]
        strokes.append(f'<path class="stroke" d="M{x:.1f} {y + top:.1f}V{y + bottom:.1f}"/>')
        letters.append(
            f'<g class="letter"><text x="{x + 1:.1f}" y="{y + 37:.1f}" text-anchor="end">{letter}</text>'
            f"{sign(positions[letter], x + 6.5, y + 32.5, 13)}</g>"
        )
        x += _STEP_PX
    width, height = x - _STEP_PX / 2, y + 42
    name = f"{prefix}title"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="{name}" class="pedals" '
        f'width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}" '
        "font-family=\"Times, 'Times New Roman', 'Liberation Serif', serif\" font-size=\"14\">"
        f'<title id="{name}">Pedals: {setting_words(positions)}</title>'
        f'<g fill="none" stroke="#000"><path class="reference" d="M0 {y:.1f}H{width:.1f}"/>'
        f'<path class="divider" d="M{divider:.1f} {y - 19:.1f}V{y + 19:.1f}"/>'
        f'<g stroke-width="2.6">{"".join(strokes)}</g></g>{"".join(letters)}</svg>'
    )


# -- where the bars stand --------------------------------------------------------------------------------------------


class _Bar(NamedTuple):
    """A bar of the picture: its edges, and the times (microseconds, ascending) and places of what stands in it.

    The first time is the bar's beginning, which stands at its first note and not at the barline; the last its end.
    """

    left: float
    right: float
    times: tuple[int, ...]
    places: tuple[float, ...]

    def at(self, t_us: float) -> float:
        """Where a time of this bar stands."""
        i = min(max(bisect_right(self.times, t_us), 1), len(self.times) - 1)
        begin, end = self.times[i - 1], self.times[i]
        part = (t_us - begin) / (end - begin) if end > begin else 1.0
        return self.places[i - 1] + min(max(part, 0.0), 1.0) * (self.places[i] - self.places[i - 1])


@dataclass(frozen=True, slots=True)
class Scale:
    """Where each time of some bars, played once through, stands in their picture."""

    bars: tuple[_Bar, ...]

    @classmethod
    def of(cls, engraving: Engraving, part: Part, first: int, plays: Sequence[Play], frame: Frame) -> Scale | None:
        """Read off the engraved bars, the first of which is measure ``first``; None if they are not all there."""
        found = []
        for play in plays:
            if not 0 <= play.measure - first < len(engraving.bars) or play.measure >= len(part.measures):
                return None
            found.append(_bar(engraving, part, play, frame, *engraving.bars[play.measure - first]))
        return cls(tuple(found)) if found else None

    @property
    def start_us(self) -> int:
        """The time of the first barline."""
        return self.bars[0].times[0]

    @property
    def end_us(self) -> int:
        """The time of the last barline."""
        return self.bars[-1].times[-1]

    def begins(self, t_us: float) -> float:
        """Where something that begins at a time stands: on a barline's time, at the note behind it."""
        return next((bar for bar in self.bars if t_us < bar.times[-1]), self.bars[-1]).at(t_us)

    def ends(self, t_us: float) -> float:
        """Where something that ends at a time stands: on a barline's time, at the barline."""
        if t_us <= self.start_us:
            return self.bars[0].left
        return next((bar for bar in self.bars if t_us <= bar.times[-1]), self.bars[-1]).at(t_us)


def _bar(engraving: Engraving, part: Part, play: Play, frame: Frame, left: float, right: float) -> _Bar:
    rows: dict[int, list[float]] = {}
    begin = None
    measure = part.measures[play.measure]
    sounding = {note.start for note in measure.notes if note.kind != "rest"}
    for note in measure.notes:
        head = engraving.heads.get(NoteRef(part.id, play.measure, note.n))
        if head is None or note.flags & GRACE or not 0 <= note.start < play.length:
            continue
        middle = (head.left + head.right) / 2
        if note.kind != "rest" or (note.start not in sounding and note.length < play.length):
            rows.setdefault(note.start, []).append(middle)
        elif note.start == 0 and note.length >= play.length:
            begin = 2 * middle - right  # a rest of a whole bar stands in its middle
    places = {start: median_low(xs) for start, xs in rows.items()}
    near = left + SPACE
    if 0 not in places:
        first = min(places.values(), default=right)
        places[0] = begin if begin is not None and near < begin < first else min(near, (left + first) / 2)
    found = [(frame.clock.floor_us(play.onset + start), places[start]) for start in sorted(places)]
    kept = found[:1]
    for t_us, x in found[1:]:
        if t_us > kept[-1][0] and kept[-1][1] < x < right:
            kept.append((t_us, x))
    kept.append((max(frame.clock.floor_us(play.onset + play.length), kept[-1][0] + 1), right))
    return _Bar(left, right, tuple(t for t, _ in kept), tuple(x for _, x in kept))


def once_through(frame: Frame, first: int, last: int, measure: int, pass_: int) -> tuple[Play, ...]:
    """The shown measures that are played one after the other round one playing of ``measure``."""
    plays = frame.plays
    shown = [i for i, play in enumerate(plays) if play.measure == measure]
    at = next((i for i in shown if plays[i].pass_ == pass_), shown[0] if shown else None)
    if at is None:
        return ()
    begin = end = at
    while begin > 0 and plays[begin - 1].measure == plays[begin].measure - 1 >= first:
        begin -= 1
    while end + 1 < len(plays) and plays[end].measure + 1 == plays[end + 1].measure <= last:
        end += 1
    return plays[begin : end + 1]


def reaches_back(plan: PedalPlan, frame: Frame, first: int, measure: int, pass_: int) -> bool:
    """Whether a pedal moves in the bar before measure ``first`` and has its time up to a note in ``first`` or later."""
    plays = once_through(frame, first - 1, measure, measure, pass_)
    if len(plays) < 2 or plays[0].measure != first - 1:
        return False
    begin, end = (frame.clock.floor_us(play.onset) for play in plays[:2])
    return any(begin <= c.t_us < end <= c.t_us + c.dur_us + c.spare_us for c in plan.changes)


# -- the rows --------------------------------------------------------------------------------------------------------

_LEVEL = 0.75 * SPACE  # from level to high and to low
_PITCH = 3.1 * SPACE  # from row to row
_FOOT = 0.6 * SPACE  # added above the first row of each foot, for its name
_SIGN = 1.3 * SPACE
_SIZE = 1.5 * SPACE  # of the words
_CLEAR = 0.2 * SPACE
_LEAST = 0.5 * SPACE  # the least width of a step
_THIN, _THICK = 18, 40  # a pedal that stands, and one that moves
_GREY = "#777"


@dataclass(frozen=True, slots=True)
class Rows:
    """Pedal rows to hang under engraved bars, and what they say in words."""

    below: Below
    words: str


def rows(
    engraving: Engraving,
    plan: PedalPlan,
    comfortable_us: int,
    part: Part,
    frame: Frame,
    first: int,
    plays: Sequence[Play],
) -> Rows | None:
    """The pedals of some bars, seven lines with the picture's barlines for a scale.

    Parameters
    ----------
    engraving : Engraving
        The bars; the first of them is measure ``first`` of ``part``.
    plan : PedalPlan
    comfortable_us : int
        A movement that takes less is called quick.
    part : Part
        The harp's.
    frame : Frame
    first : int
        Ordinal of the first measure engraved.
    plays : sequence of Play
        What is drawn: measures that are played one after the other, as :func:`once_through` gives them.

    Returns
    -------
    Rows or None
        None if the bars cannot be found in the picture.
    """
    scale = Scale.of(engraving, part, first, plays, frame)
    if scale is None:
        return None
    draft = _Draft(scale, plan, comfortable_us)
    box = around([*draft.taken, *draft.edges])
    assert box is not None
    return Rows(Below(f'<g class="pedal-rows">{"".join(draft.out)}</g>', box), draft.words())


def moves_in(plan: PedalPlan, plays: Sequence[Play], frame: Frame) -> bool:
    """Whether a pedal moves while these bars are played."""
    if not plays:
        return False
    start = frame.clock.floor_us(plays[0].onset)
    end = frame.clock.ceil_us(plays[-1].onset + plays[-1].length)
    return any(change.t_us < end and change.t_us + change.dur_us > start for change in plan.changes)


class _Draft:
    """Draws the rows from the top of 0 downwards, and keeps words off the lines and off each other."""

    def __init__(self, scale: Scale, plan: PedalPlan, comfortable_us: int) -> None:
        self.scale, self.comfortable_us = scale, comfortable_us
        self.left, self.right = scale.bars[0].left, scale.bars[-1].right
        self.shown = [
            change
            for change in plan.changes
            if change.t_us < scale.end_us and change.t_us + change.dur_us > scale.start_us
        ]
        self.before = dict(plan.initial)
        for change in plan.changes:
            if change.t_us + change.dur_us <= scale.start_us:
                self.before[change.pedal] = change.after
        self.spans = self._spans()
        self.taken: list[Box] = []  # lines, signs and words
        self.printed: list[Box] = []  # of these the signs of steps, and words
        self.edges: list[Box] = []
        self.out: list[str] = []
        self._draw()

    def words(self) -> str:
        """The same in words."""
        said = [f"The pedals where these bars begin: {setting_words(self.before)}."]
        for c in self.shown:
            spare = spare_words(c, self.comfortable_us)
            said.append(f"{c.pedal} from {NAMES[c.before]} to {NAMES[c.after]}, {c.foot} foot, {spare}.")
        if not self.shown:
            said.append("No pedal moves.")
        return " ".join(said)

    def _draw(self) -> None:
        y = 0.0
        levels: dict[str, float] = {}
        for name, foot in zip(FOOT_NAMES, FEET, strict=True):
            self.out.append(self._text(self.left, y + 0.7 * _SIZE, name, italic=True))
            y += _FOOT
            for letter in foot:
                y += _PITCH
                levels[letter] = y
            y += _LEVEL + _PITCH / 2
        lines = {letter: self._line(letter, levels[letter]) for letter in LETTERS}
        heads = {letter: self._head(letter, levels[letter]) for letter in LETTERS}
        steps = [(c, *self._step_sign(c, levels[c.pedal])) for c in self.shown]
        said: dict[str, list[str]] = {letter: [] for letter in LETTERS}
        for change, mark, x in steps:
            said[change.pedal] += [mark, self._spare(change, levels[change.pedal], x)]
        for letter in LETTERS:
            self.out.append(f'<g class="pedal">{heads[letter]}{lines[letter]}{"".join(said[letter])}</g>')
        for foot in FEET:
            self._barlines(levels[foot[0]] - 1.5 * _LEVEL, levels[foot[-1]] + 1.5 * _LEVEL)

    def _barlines(self, top: float, bottom: float) -> None:
        """The barlines of one foot's rows, broken where words stand."""
        half = 0.075 * SPACE  # of the thickness of an engraved barline
        for x in (self.left + half, *(bar.right - half for bar in self.scale.bars)):
            across = sorted((box.top, box.bottom) for box in self.printed if box.left - 40 < x < box.right + 40)
            y, d = top, ""
            for begin, end in (*((a - 20, b + 30) for a, b in across), (bottom, bottom)):
                if y < min(begin, bottom):
                    d += f"M{x:.0f} {y:.0f}V{min(begin, bottom):.0f}"
                y = max(y, end)
            self.out.append(f'<path class="barline" d="{d}" fill="none" stroke="{_GREY}" stroke-width="13"/>')
            self.edges.append(Box(x, top, x, bottom))

    @staticmethod
    def _height(level: float, position: float) -> float:
        return level + _LEVEL * position

    def _spans(self) -> dict[Change, tuple[float, float]]:
        """From where to where each step goes; one that reaches over an end of the picture is drawn whole inside it."""
        found: dict[Change, tuple[float, float]] = {}
        free = dict.fromkeys(LETTERS, self.left)
        for change in self.shown:
            begin = self.scale.begins(max(change.t_us, self.scale.start_us))
            end = self.scale.ends(min(change.t_us + change.dur_us, self.scale.end_us))
            begin = max(min(begin, self.right - _LEAST), free[change.pedal])
            free[change.pedal] = end = max(end, begin + _LEAST)
            found[change] = begin, end
        return found

    def _line(self, letter: str, level: float) -> str:
        """The line of one pedal, with a slope for each movement as long as it lasts."""
        x, y = self.left, self._height(level, self.before[letter])
        d, moves = f"M{x:.1f} {y:.1f}", ""
        for change in self.shown:
            if change.pedal != letter:
                continue
            begin, end = self.spans[change]
            after = self._height(level, change.after)
            slope = f"{begin:.1f} {y:.1f}L{end:.1f} {after:.1f}"
            d += f"L{slope}"
            moves += f'<path class="move" d="M{slope}" stroke-width="{_THICK}"/>'
            self.taken += [Box(x, y - _THIN, begin, y + _THIN), Box(begin, min(y, after), end, max(y, after))]
            x, y = end, after
        self.taken.append(Box(x, y - _THIN, self.right, y + _THIN))
        d += f"L{self.right:.1f} {y:.1f}"
        return (
            f'<g fill="none" stroke="#000" stroke-linejoin="round"><path class="line" d="{d}" '
            f'stroke-width="{_THIN}"/>{moves}</g>'
        )

    def _head(self, letter: str, level: float) -> str:
        """The letter, and its sign at the height of the line."""
        height = self._height(level, self.before[letter])
        x = self.left - _CLEAR - _SIGN_WIDTH * _SIGN / 2
        self.taken.append(_sign_box(x, height))
        drawn = sign(self.before[letter], x, height, _SIGN)
        size = 1.7 * SPACE
        right = self.left - 2 * _CLEAR - _SIGN_WIDTH * _SIGN
        self.taken.append(Box(right - text_width(letter, size), level - 0.33 * size, right, level + 0.33 * size))
        return (
            f'<text class="letter" x="{right:.0f}" y="{level + 0.33 * size:.0f}" text-anchor="end" '
            f'font-size="{size:.0f}">{letter}</text>{drawn}'
        )

    def _step_sign(self, change: Change, level: float) -> tuple[str, float]:
        """The new sign on the line behind a step, and where it ends."""
        x = self.spans[change][1] + _CLEAR + _SIGN_WIDTH * _SIGN / 2
        y = self._height(level, change.after) - _CLEAR - _SIGN / 2
        self.taken.append(_sign_box(x, y))
        self.printed.append(_sign_box(x, y))
        return f'<g class="step">{sign(change.after, x, y, _SIGN)}</g>', x + _SIGN_WIDTH * _SIGN / 2

    def _spare(self, change: Change, level: float, x: float) -> str:
        """The spare time: over the line behind the sign if that is free, shorter or under the line or before the step
        if not, and where nothing is free wherever the words cover least."""
        long = spare_words(change, self.comfortable_us)
        short = long.removesuffix(" to spare").removesuffix(" in all")
        behind, before = self._height(level, change.after), self._height(level, change.before)
        over, under = -1.5 * _CLEAR, _CLEAR + 0.7 * _SIZE
        right = x + 1.3 * _CLEAR
        places = [(right, behind + y, said) for y in (over, under) for said in (long, short)]
        for y in (over, under):
            left = self.spans[change][0] - _CLEAR - text_width(short, _SIZE)
            if left > self.left:
                places.append((left, before + y, short))
        return self._text(*min(places, key=lambda place: self._covered(_words_box(*place))))

    def _covered(self, box: Box) -> float:
        """How much of what is drawn a box of words would cover, the space beside them included."""
        wide = Box(box.left - 1.2 * _CLEAR, box.top, box.right + 2 * _CLEAR, box.bottom)
        return sum(
            (min(wide.right, other.right) - max(wide.left, other.left))
            * (min(wide.bottom, other.bottom) - max(wide.top, other.top))
            for other in self.taken
            if wide.meets(other)
        )

    def _text(self, x: float, y: float, said: str, italic: bool = False) -> str:
        box = _words_box(x, y, said)
        self.taken.append(box)
        self.printed.append(box)
        kind = 'foot" font-style="italic' if italic else "spare"
        return f'<text class="{kind}" x="{x:.0f}" y="{y:.0f}" font-size="{_SIZE:.0f}">{html.escape(said)}</text>'


def _sign_box(x: float, y: float) -> Box:
    return Box(x - _SIGN_WIDTH * _SIGN / 2, y - _SIGN / 2, x + _SIGN_WIDTH * _SIGN / 2, y + _SIGN / 2)


def _words_box(x: float, y: float, said: str) -> Box:
    return Box(x, y - 0.68 * _SIZE, x + text_width(said, _SIZE), y + 0.05 * _SIZE)
