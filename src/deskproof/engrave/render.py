"""A slice -> clean SVG and the places of its notes.

The engraver is loaded when the first slice is engraved. What it draws is written anew: only shapes and text, all
black, no styles, no scripts, no fonts; music signs in text become outlines, so that no reader shows a box for them.
"""

from __future__ import annotations

import html
import threading
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

from lxml import etree

from deskproof.engrave import letters
from deskproof.engrave.shapes import Affine, Box, affine, around, path_box, path_boxes
from deskproof.errors import DeskproofError
from deskproof.musicxml.slices import Slice
from deskproof.score import NoteRef

SPACE = 180.0  # units between two staff lines
_PAGE = 60000  # the engraver's largest page, a tenth of whose units are ours

_OPTIONS: Mapping[str, Any] = {
    "breaks": "none",  # with breaks of its own the engraver may leave out whole-bar rests
    "condense": "none",
    "header": "none",
    "footer": "none",
    "adjustPageHeight": True,
    "adjustPageWidth": True,
    "pageHeight": _PAGE,
    "pageWidth": _PAGE,
    "scale": 100,
    "svgViewBox": True,
    "svgRemoveXlink": True,
    "svgFormatRaw": True,
    "bottomMarginOctave": 1.5,
}


class EngraveError(DeskproofError):
    """The bars cannot be engraved."""


class EngraverMissing(EngraveError):
    """The engraver is not installed."""


class Staff(NamedTuple):
    """The lines of one staff of the system, from the top; ``box`` reaches from the first line to the last."""

    box: Box


@dataclass(frozen=True, slots=True)
class Engraving:
    """Engraved bars, in one system.

    ``body`` is SVG in which two characters stand for prefixes of ids: :data:`OWN` and :data:`SIGN`.
    ``heads`` are the boxes of noteheads (of a rest: its ink), ``owner`` the staff each note stands on; ``ink`` holds
    boxes of everything drawn but staff lines and barlines; ``signs`` are the outlines that the body uses; ``bars``
    the left and right end of every bar's staff lines, from left to right.
    """

    body: str
    box: Box
    staves: tuple[Staff, ...]
    heads: Mapping[NoteRef, Box]
    owner: Mapping[NoteRef, int]
    ink: tuple[Box, ...]
    signs: Mapping[str, str] = field(repr=False)
    bars: tuple[tuple[float, float], ...]

    def placed(self, prefix: str, sign_prefix: str) -> str:
        """The body with its ids in place."""
        return self.body.replace(OWN, prefix).replace(SIGN, sign_prefix)


OWN = "\x01"
SIGN = "\x02"


def sign_shapes(signs: Mapping[str, str], prefix: str) -> str:
    """The outlines of music signs as SVG, to stand once on a page."""
    return "".join(
        f'<path id="{prefix}{name}" transform="scale(1,-1)" d="{html.escape(d)}"/>' for name, d in sorted(signs.items())
    )


class _Press:
    """The one engraver of this program, loaded when first needed; used by one thread at a time."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.toolkit: Any = None

    def svg(self, xml: bytes) -> str:
        with self.lock:
            if self.toolkit is None:
                self.toolkit = _toolkit()
            self.toolkit.setOptions({**_OPTIONS, "xmlIdSeed": zlib.crc32(xml) & 0x7FFFFFFF})
            if not self.toolkit.loadData(xml.decode("utf-8")):
                raise EngraveError("these bars cannot be engraved; the file may be damaged there.")
            if self.toolkit.getPageCount() != 1:
                raise EngraveError("too much music for one system; engrave fewer bars or parts.")
            return str(self.toolkit.renderToSVG(1))


def _toolkit() -> Any:
    try:
        import verovio
    except ImportError:
        raise EngraverMissing("engraving needs the package verovio: pip install verovio") from None
    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


_PRESS = _Press()


@lru_cache(maxsize=512)
def _engraved(xml: bytes) -> str:
    return _PRESS.svg(xml)


def engrave(slice_: Slice) -> Engraving:
    """Engrave a slice. Equal slices are engraved once.

    Raises
    ------
    EngraveError
        If the engraver is not there, or cannot read the slice.
    """
    root = etree.fromstring(_engraved(slice_.xml).encode("utf-8"), etree.XMLParser(huge_tree=True))
    cleaner = _Cleaner(slice_.ids)
    cleaner.read_signs(root)
    page = root.find(".//{*}g[@class='page-margin']")
    if page is None:
        raise EngraveError("these bars give no picture; the file may be damaged there.")
    cleaner.element(page, _State(), _Where())
    cleaner.part_pedal_signs()
    cleaner.part_words()
    box = around([*cleaner.ink, *cleaner.bars, *(staff.box for staff in cleaner.staves)])
    if box is None:
        raise EngraveError("these bars give no picture; the file may be damaged there.")
    return Engraving(
        "".join(cleaner.out),
        box,
        tuple(sorted(cleaner.staves, key=lambda staff: staff.box.top)),
        cleaner.heads,
        cleaner.owners(),
        tuple(cleaner.ink),
        cleaner.used,
        tuple(sorted(cleaner.extents)),
    )


class _State(NamedTuple):
    """What an element inherits: its map and its type face."""

    map: Affine = Affine()
    bold: bool = False
    italic: bool = False


class _Where(NamedTuple):
    """In which note and staff an element stands."""

    ref: NoteRef | None = None
    staff: int | None = None
    head: bool = False
    barline: bool = False


_BOLD = {"ending", "fing", "reh", "tempo"}
_ITALIC = {"dir", "dynam", "mNum"}
_SHAPES = {"path", "polygon", "polyline", "rect", "ellipse", "circle", "line"}
_KEPT = (
    "d", "points", "x", "y", "x1", "y1", "x2", "y2", "width", "height", "cx", "cy", "r", "rx", "ry",
    "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "fill-opacity", "stroke-opacity",
)  # fmt: skip
_NOTHING = {"none", "transparent", "white", "#fff", "#ffffff"}
_PEDAL, _STAR = "E650", "E655"  # SMuFL: keyboardPedalPed, keyboardPedalUp
_CLASSES = {"note", "notehead", "rest", "mRest"}


class _Run(NamedTuple):
    """A piece of a line of text."""

    text: str
    music: bool
    size: float
    bold: bool
    italic: bool
    spacing: float


class _Laid(NamedTuple):
    """Words or a dynamic as written: from and to which piece of the output and of the ink."""

    out: tuple[int, int]
    ink: tuple[int, int]


class _Cleaner:
    """Writes the engraver's drawing anew and notes where everything lies."""

    def __init__(self, ids: Mapping[str, NoteRef]) -> None:
        self.ids = ids
        self.out: list[str] = []
        self.ink: list[Box] = []
        self.bars: list[Box] = []
        self.extents: set[tuple[float, float]] = set()
        self.staves: list[Staff] = []
        self.heads: dict[NoteRef, Box] = {}
        self.loose: dict[NoteRef, Box] = {}
        self.on: dict[NoteRef, int] = {}
        self.drawn: dict[str, tuple[str, Box]] = {}
        self.used: dict[str, str] = {}
        self.words: list[_Laid] = []
        self.pedals: list[Box] = []
        self.stars: list[tuple[int, int, Box]] = []

    def read_signs(self, root: etree._Element) -> None:
        """The outlines that the drawing brings with it, by their names without the drawing's own ending."""
        for group in root.iterfind(".//{*}defs/{*}g"):
            path = group.find("{*}path")
            d = path.get("d") if path is not None else None
            box = path_box(d) if d else None
            if d and box is not None:
                self.drawn[group.get("id", "")] = (d, box)

    def owners(self) -> dict[NoteRef, int]:
        """The staff of each note, counted from the top of the system."""
        order = sorted(range(len(self.staves)), key=lambda i: self.staves[i].box.top)
        place = {old: new for new, old in enumerate(order)}
        for ref, box in self.loose.items():
            self.heads.setdefault(ref, box)
        return {ref: place[i] for ref, i in self.on.items()}

    def element(self, element: etree._Element, state: _State, where: _Where) -> None:
        """Write one element and all in it."""
        if not isinstance(element.tag, str):
            return
        tag = etree.QName(element).localname
        if element.get("visibility") == "hidden":
            return
        if tag == "g":
            self._group(element, state, where)
        elif tag == "svg":
            for child in element:
                self.element(child, state, where)
        elif tag == "use":
            self._use(element, state, where)
        elif tag in _SHAPES:
            self._shape(tag, element, state, where)
        elif tag == "text":
            self._text(element, state)

    def part_words(self) -> None:
        """Move words to the right of dynamics, and of other words, that the engraver has put them upon."""
        placed: list[Box] = []
        for laid in sorted(self.words, key=lambda laid: any("<text" in one for one in self.out[slice(*laid.out)])):
            box = around(self.ink[slice(*laid.ink)])
            if box is None:
                continue
            shift = max((one.right + 0.4 * SPACE - box.left for one in placed if one.meets(box)), default=0.0)
            if shift:
                first, last = laid.out[0], laid.out[1] - 1
                self.out[first] = f'<g transform="translate({shift:.0f}, 0)">{self.out[first]}'
                self.out[last] += "</g>"
                for i in range(*laid.ink):
                    self.ink[i] = self.ink[i].moved(shift)
                box = box.moved(shift)
            placed.append(box)

    def _open_tie(self, element: etree._Element, state: _State) -> bool:
        """Draw the short tie of a note that is held on behind the last bar, where the engraver has no room for it."""
        path = element.find("{*}path")
        box = path_box(path.get("d") or "") if path is not None else None
        if path is None or box is None or box.right - box.left > SPACE:
            return False
        y = [float(one) for one in (path.get("d") or "").replace(",", " ").replace("M", " ").split()[:2]][1]
        bow = 0.5 * SPACE if (box.top + box.bottom) / 2 >= y else -0.5 * SPACE
        x = (box.left + box.right) / 2 + 0.85 * SPACE
        end = x + 1.5 * SPACE
        self.out.append(
            f'<path d="M{x:.0f} {y:.0f}C{x + 40:.0f} {y + bow:.0f} {end - 40:.0f} {y + bow:.0f} {end:.0f} {y:.0f}'
            f'C{end - 50:.0f} {y + 0.75 * bow:.0f} {x + 50:.0f} {y + 0.75 * bow:.0f} {x:.0f} {y:.0f}Z" '
            'stroke="#000" stroke-width="9"/>'
        )
        self.ink.append(state.map.box(Box(x, min(y, y + bow), end, max(y, y + bow))))
        return True

    def _group(self, element: etree._Element, state: _State, where: _Where) -> None:
        classes = set((element.get("class") or "").split())
        if "placeholder" in classes or len(element) == 0:
            return
        transform = element.get("transform")
        if "bracketSpan" in classes:  # drawn almost upon the highest line of the staff
            transform = f"translate(0, {-0.7 * SPACE:g}) {transform or ''}"
        state = _State(
            state.map.then(affine(transform)),
            state.bold or bool(classes & _BOLD),
            state.italic or bool(classes & _ITALIC),
        )
        ref = self.ids.get(element.get("id") or "")
        if "staff" in classes:
            where = where._replace(staff=self._staff(element, state, where))
        if ref is not None:
            where = where._replace(ref=ref)
            if where.staff is not None:
                self.on[ref] = where.staff
        if "barLine" in classes:
            where = where._replace(barline=True)
        if "notehead" in classes:
            where = where._replace(head=True)
        if "lv" in classes and self._open_tie(element, state):
            return
        begin = len(self.out), len(self.ink)
        named = " ".join(sorted(classes & _CLASSES))
        attributes = f' id="{OWN}{html.escape(element.get("id") or "")}"' if ref is not None else ""
        attributes += f' class="{named}"' if named else ""
        attributes += f' transform="{html.escape(transform)}"' if transform else ""
        if attributes:
            self.out.append(f"<g{attributes}>")
        lines_done = "staff" not in classes
        for child in element:
            if not lines_done and etree.QName(child).localname == "path":
                self._shape("path", child, state, where, ink=False)
            else:
                lines_done = True
                self.element(child, state, where)
        if attributes:
            self.out.append("</g>")
        if classes & {"dynam", "dir"} and len(self.out) > begin[0]:
            self.words.append(_Laid((begin[0], len(self.out)), (begin[1], len(self.ink))))

    def _staff(self, element: etree._Element, state: _State, where: _Where) -> int | None:
        """Which staff this is; the same lines of a later bar are the same staff."""
        lines = []
        for child in element:
            box = path_box(child.get("d") or "") if etree.QName(child).localname == "path" else None
            if box is None:
                break
            lines.append(state.map.box(box))
        box = around(lines)
        if box is None:
            return where.staff
        self.extents.add((round(box.left), round(box.right)))
        for i, known in enumerate(self.staves):
            if (known.box.top, known.box.bottom) == (box.top, box.bottom):
                self.staves[i] = Staff(known.box.joined(box))
                return i
        self.staves.append(Staff(box))
        return len(self.staves) - 1

    def _inked(self, box: Box, where: _Where) -> None:
        (self.bars if where.barline else self.ink).append(box)
        if where.ref is None:
            return
        into = self.heads if where.head else self.loose
        into[where.ref] = into[where.ref].joined(box) if where.ref in into else box

    def _use(self, element: etree._Element, state: _State, where: _Where) -> None:
        name = (element.get("href") or element.get("{http://www.w3.org/1999/xlink}href") or "").lstrip("#")
        found = self.drawn.get(name)
        if found is None:
            return
        transform = element.get("transform") or ""
        self._sign(name.partition("-")[0], *found, transform, state, where)

    def _sign(self, code: str, d: str, box: Box, transform: str, state: _State, where: _Where) -> None:
        self.used[code] = d
        self.out.append(f'<use href="#{SIGN}{html.escape(code)}" transform="{html.escape(transform)}"/>')
        upright = state.map.then(affine(transform)).box(Box(box.left, -box.bottom, box.right, -box.top))
        if code == _PEDAL:
            self.pedals.append(upright)
        elif code == _STAR:
            self.stars.append((len(self.out) - 1, len(self.ink), upright))
        self._inked(upright, where)

    def part_pedal_signs(self) -> None:
        """Move the sign for the release of a pedal to the left of the next pedal sign, where the two overlap."""
        for at, ink, star in self.stars:
            over = [star.right + 0.1 * SPACE - pedal.left for pedal in self.pedals if pedal.meets(star)]
            if over:
                self.out[at] = f'<g transform="translate({-max(over):.0f}, 0)">{self.out[at]}</g>'
                self.ink[ink] = star.moved(-max(over))

    def _shape(self, tag: str, element: etree._Element, state: _State, where: _Where, ink: bool = True) -> None:
        pieces = [f'{name}="{html.escape(value)}"' for name in _KEPT if (value := element.get(name)) is not None]
        clear = (element.get("fill") or "").lower() in _NOTHING
        unstroked = (element.get("stroke") or "").lower() in _NOTHING
        if clear:
            pieces.append('fill="none"')
        pieces.append('stroke="none"' if unstroked else 'stroke="#000"')
        transform = element.get("transform")
        if transform:
            pieces.append(f'transform="{html.escape(transform)}"')
        self.out.append(f"<{tag} {' '.join(pieces)}/>")
        if ink:
            half = _float(element.get("stroke-width"), 1.0) / 2
            mapped = state.map.then(affine(transform))
            for box in _shape_boxes(tag, element):
                self._inked(mapped.box(box.grown(half)), where)

    def _text(self, element: etree._Element, state: _State) -> None:
        """Each line of a text: words as text, music signs as outlines."""
        x, y = _float(element.get("x")), _float(element.get("y"))
        anchor = element.get("text-anchor") or "start"
        for at_x, at_y, line_anchor, runs in _lines(element, state, x, y, anchor):
            widths = [_width(run) for run in runs]
            left = at_x - {"middle": 0.5, "end": 1.0}.get(line_anchor, 0.0) * sum(widths)
            mixed = any(run.music for run in runs)
            if not mixed:
                self._words(runs, at_x, at_y, line_anchor, state, 0.0)
                self._lettered(runs, left, at_y, sum(widths), state)
                continue
            for run, width in zip(runs, widths, strict=True):
                if run.music:
                    self._signs_of(run, left, at_y, state)
                elif run.text.strip():
                    self._words([run], left, at_y, "start", state, width)
                    self._lettered([run], left, at_y, width, state)
                left += width

    def _lettered(self, runs: list[_Run], left: float, y: float, width: float, state: _State) -> None:
        size = max(run.size for run in runs)
        self.ink.append(state.map.box(Box(left, y - 0.72 * size, left + width, y + 0.24 * size)))

    def _words(self, runs: list[_Run], x: float, y: float, anchor: str, state: _State, width: float) -> None:
        pieces = [f'<text x="{x:g}" y="{y:g}" stroke="none"']
        if anchor != "start":
            pieces.append(f' text-anchor="{anchor}"')
        if width:
            pieces.append(f' textLength="{width:.0f}" lengthAdjust="spacingAndGlyphs"')
        pieces.append(' xml:space="preserve">')
        for run in runs:
            style = f' font-size="{run.size:g}"'
            style += ' font-weight="bold"' if run.bold else ""
            style += ' font-style="italic"' if run.italic else ""
            pieces.append(f"<tspan{style}>{html.escape(run.text)}</tspan>")
        self.out.append("".join(pieces) + "</text>")

    def _signs_of(self, run: _Run, left: float, y: float, state: _State) -> None:
        for char in run.text:
            sign = letters.glyph(char)
            if sign is not None:
                scale = run.size / 1000
                transform = f"translate({left:g}, {y:g}) scale({scale:g}, {scale:g})"
                self._sign(f"{ord(char):04X}", sign.path, sign.box, transform, state, _Where())
            left += letters.music_width(char, run.size) + run.spacing


def _lines(
    element: etree._Element, state: _State, x: float, y: float, anchor: str
) -> Iterable[tuple[float, float, str, list[_Run]]]:
    """The lines of a text element: where each stands, how it is anchored, and its runs."""
    rows: list[tuple[float, float, str, list[_Run]]] = [(x, y, anchor, [])]

    def walk(one: etree._Element, run: _Run) -> None:
        music = (one.get("font-family") or "").strip("'\"") == letters.MUSIC if one.get("font-family") else run.music
        weight, style = one.get("font-weight"), one.get("font-style")
        run = _Run(
            "",
            music,
            _float((one.get("font-size") or "").removesuffix("px"), run.size),
            weight == "bold" if weight else run.bold,
            style in ("italic", "oblique") if style else run.italic,
            _float((one.get("letter-spacing") or "").removesuffix("px"), run.spacing),
        )
        if one is not element and (one.get("x") is not None or one.get("y") is not None or one.get("dy") is not None):
            last = rows[-1]
            down = _float((one.get("dy") or "").removesuffix("px"))
            place = (_float(one.get("x"), last[0]), _float(one.get("y"), last[1]) + down)
            rows.append((*place, one.get("text-anchor") or last[2], []))
        _add(rows[-1][3], run, one.text)
        for child in one:
            if isinstance(child.tag, str):
                walk(child, run)
            _add(rows[-1][3], run, child.tail)

    walk(element, _Run("", False, 0.0, state.bold, state.italic, 0.0))
    return [row for row in rows if any(run.text.strip() for run in row[3])]


def _add(runs: list[_Run], run: _Run, text: str | None) -> None:
    """Put text behind the runs; accidentals in words are music signs too, a little larger than the letters."""
    if not text or not run.size:
        return
    if run.music:
        runs.append(run._replace(text=text))
        return
    piece = ""
    for char in text:
        if char in "♭♮♯":
            if piece:
                runs.append(run._replace(text=piece))
                piece = ""
            runs.append(run._replace(text=char, music=True, size=1.4 * run.size))
        else:
            piece += char
    if piece:
        runs.append(run._replace(text=piece))


def _width(run: _Run) -> float:
    if run.music:
        return sum(letters.music_width(char, run.size) + run.spacing for char in run.text)
    return letters.text_width(run.text, run.size, run.bold, run.italic) + run.spacing * len(run.text)


def _shape_boxes(tag: str, element: etree._Element) -> list[Box]:
    if tag == "path":
        return path_boxes(element.get("d") or "", 4 * SPACE)
    box = _shape_box(tag, element)
    return [] if box is None else [box]


def _shape_box(tag: str, element: etree._Element) -> Box | None:
    if tag in ("polygon", "polyline"):
        return path_box("M" + (element.get("points") or ""))
    if tag == "rect":
        x, y = _float(element.get("x")), _float(element.get("y"))
        return Box(x, y, x + _float(element.get("width")), y + _float(element.get("height")))
    if tag == "line":
        xs = sorted((_float(element.get("x1")), _float(element.get("x2"))))
        ys = sorted((_float(element.get("y1")), _float(element.get("y2"))))
        return Box(xs[0], ys[0], xs[1], ys[1])
    x, y = _float(element.get("cx")), _float(element.get("cy"))
    rx = _float(element.get("rx") or element.get("r"))
    ry = _float(element.get("ry") or element.get("r"))
    return Box(x - rx, y - ry, x + rx, y + ry)


def _float(text: str | None, default: float = 0.0) -> float:
    try:
        return float(text) if text else default
    except ValueError:
        return default
