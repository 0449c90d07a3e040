"""The proof's page as blocks of words and pictures, read from the page itself.

What a proof says, and in which order, is decided in one place, the page; the printed proof lays the same out on paper.
Every block is a dictionary with its ``kind``; words are runs, each with its text and how it is set.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from copy import deepcopy
from itertools import pairwise
from typing import Any

from lxml import etree

from deskproof.report.typeset import line_of, run_of, shortened

Block = dict[str, Any]
Run = dict[str, Any]

_SVG = "{http://www.w3.org/2000/svg}"
_UNFIT = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # characters that XML has not
_ROTA_PX = 806.0  # a picture that says no width is as wide as the line
_LARGER = {"keys": 1.15}  # pictures with small letters, by their class
_SMALL = 3  # the level of a heading that is kept together with all that it heads
_HEADS = {f"h{level}": level for level in range(1, 7)}
_FACE = "Libertinus Serif"
_SIGN_FACE = "New Computer Modern Math"  # whose accidentals are as high as its letters
_ACCIDENTALS = re.compile("([♭♮♯]+)")


def blocks_of(page: str) -> list[Block]:
    """The blocks of a page, from top to bottom.

    Parameters
    ----------
    page : str
        As :func:`deskproof.report.proof.proof_html` gives it: what stands in its ``main`` is well-formed XML.

    Returns
    -------
    list of dict
        ``kind`` is one of heading, words, numbered, list, table, levels, figure, sides, beside, group, note, stand.
    """
    rows = list(_grouped(_Reader(page).rows()))
    for before, row in pairwise(rows):
        if row["kind"] == "group":
            row["apart"] = before["kind"] != "heading"
    return rows


def _grouped(rows: Iterable[Block]) -> Iterator[Block]:
    """What stands under a small heading is kept together with it."""
    open_: list[Block] = []
    for row in rows:
        small = row["kind"] == "heading" and row["level"] == _SMALL
        ends = row["kind"] in ("group", "note", "stand") or (row["kind"] == "heading" and not small)
        if open_ and (small or ends):
            yield {"kind": "group", "blocks": open_}
            open_ = []
        if small or open_:
            open_.append(row)
        else:
            yield row
    if open_:
        yield {"kind": "group", "blocks": open_}


class _Reader:
    """Goes through the page once, from top to bottom."""

    def __init__(self, page: str) -> None:
        self.main = _parsed(_between(page, "<main>", "</main>"))
        signs = _parsed(_between(page, '<svg xmlns="http://www.w3.org/2000/svg" class="signs"', "</svg>"))
        self.signs = {path.get("id", ""): path for path in signs.iter(f"{_SVG}path")}

    def rows(self) -> Iterator[Block]:
        return self.inside(self.main)

    def inside(self, parent: etree._Element) -> Iterator[Block]:
        for child in parent:
            yield from self.block(child)

    def block(self, element: etree._Element) -> Iterator[Block]:
        """The blocks that an element makes; what only holds others is passed through."""
        tag, named = element.tag, (element.get("class") or "").split()
        if "aside" in named:
            return
        if tag in _HEADS:
            runs = _runs(element)
            yield {"kind": "heading", "level": _HEADS[tag], "runs": runs, "short": shortened(_said(runs))}
        elif tag == "p":
            yield _paragraph(element)
        elif tag in ("ul", "ol"):
            items = [_runs(item) for item in element]
            yield {"kind": "list", "counted": tag == "ol", "quiet": "facts" in named, "items": items}
        elif tag == "table":
            yield _table(element)
        elif tag == "dl":
            yield {"kind": "levels", "rows": list(self.levels(element))}
        elif tag == "figure":
            yield self.figure(element)
        elif tag == "article":
            yield from self.finding(element)
        elif "sides" in named:
            yield {"kind": "sides", "figures": [self.figure(one) for one in element]}
        elif "setting" in named:
            drawn, *tables = element
            yield {"kind": "beside", "figure": self.figure(drawn), "tables": [_table(one) for one in tables]}
        elif "mend" in named:
            yield {"kind": "group", "blocks": list(self.inside(element))}
        elif "stand" in named:
            yield {"kind": "stand", "blocks": list(self.inside(element))}
        else:
            yield from self.inside(element)

    def finding(self, article: etree._Element) -> Iterator[Block]:
        """A finding: its head, picture and what is wrong stand together, and so does a mend with its pictures."""
        first: list[Block] = []
        rest: list[list[Block]] = []
        for child in article:
            if child.get("class") == "footnote":
                said = list(self.inside(child))
                stop = _beside_the_picture(said)
                first.append({"kind": "note", "blocks": said[:stop]})
                rest = list(_pieces(said[stop:]))
            else:
                first += self.block(child)
        name = article.get("id")
        if name and first and first[0]["kind"] == "heading":
            first[0]["label"] = name
        yield {"kind": "group", "blocks": first}
        for one in rest:
            yield {"kind": "note", "blocks": one}

    def levels(self, element: etree._Element) -> Iterator[Block]:
        for name, said in zip(*[iter(element)] * 2, strict=True):
            picture = next(self.pictures(name))
            yield {"picture": picture, "level": _runs(name), "runs": _runs(said)}

    def figure(self, element: etree._Element) -> Block:
        """Pictures, and under them words; also words in the place of a picture that cannot be drawn."""
        said = [_runs(one) for one in element.iter("p", "figcaption")]
        return {"kind": "figure", "pictures": list(self.pictures(element)), "said": said}

    def pictures(self, element: etree._Element) -> Iterator[Block]:
        for svg in element.iter(f"{_SVG}svg"):
            yield _picture(svg, self.signs)


def _beside_the_picture(said: list[Block]) -> int:
    """How many blocks are told before the figures and the mends."""
    for i, one in enumerate(said):
        if one["kind"] == "group":
            return i
        if one["kind"] == "list":
            return i - 1
    return len(said)


def _pieces(said: list[Block]) -> Iterator[list[Block]]:
    """What goes to a page together: a mend with its pictures and the words behind it; words alone may be parted."""
    piece: list[Block] = []
    for i, one in enumerate(said):
        if i + 1 < len(said) and said[i + 1]["kind"] == "list":
            one["leads"] = True
        drawn = one["kind"] == "group" and len(one["blocks"]) > 1
        if piece and (drawn or "leads" in one):
            yield piece
            piece = []
        if drawn:
            piece = [one]
        elif len(piece) == 1 and piece[0]["kind"] == "group" and one["kind"] == "words":
            piece[0]["blocks"].append(one)
        else:
            piece += one["blocks"] if one["kind"] == "group" else [one]
    if piece:
        yield piece


def _between(page: str, start: str, end: str) -> str:
    begin = page.index(start)
    return page[begin : page.index(end, begin) + len(end)]


def _parsed(markup: str) -> etree._Element:
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=True)
    return etree.fromstring(_UNFIT.sub("\ufffd", markup), parser)


# -- words -----------------------------------------------------------------------------------------------------------


def _paragraph(element: etree._Element) -> Block:
    runs = _runs(element)
    first = element[0] if len(element) else None
    if first is not None and first.get("class") == "number":
        return {"kind": "numbered", "number": runs[0]["text"], "runs": _stripped(runs[1:])}
    return {"kind": "words", "quiet": element.get("class") == "quiet", "runs": runs}


def _runs(element: etree._Element) -> list[Run]:
    """The words of an element, white space as a reader sees it."""
    found: list[Run] = []

    def walk(one: etree._Element, how: Mapping[str, Any]) -> None:
        named = one.get("class")
        if named == "aside" or not isinstance(one.tag, str) or one.tag.startswith(_SVG):
            return
        how = {
            **how,
            **({"bold": True} if named == "level" else {}),
            **({"whole": True} if named == "unbroken" else {}),
            **({"to": one.get("href", "").removeprefix("#")} if one.tag == "a" else {}),
        }
        found.extend(run_of(one.text or "", how))
        for child in one:
            walk(child, how)
            found.extend(run_of(child.tail or "", how))

    walk(element, {})
    return _stripped(found)


def _said(runs: Iterable[Run]) -> str:
    return "".join(run["text"] for run in runs)


def _stripped(runs: list[Run]) -> list[Run]:
    """Without white space at either end, and none twice."""
    kept: list[Run] = []
    for run in runs:
        text = run["text"]
        if not kept or kept[-1]["text"].endswith(" "):
            text = text.lstrip(" ")
        if text:
            kept.append({**run, "text": text})
    while kept and not kept[-1]["text"].strip(" "):
        kept.pop()
    if kept:
        kept[-1] = {**kept[-1], "text": kept[-1]["text"].rstrip(" ")}
    return kept


def _table(element: etree._Element) -> Block:
    rows = [list(row) for row in element.iter("tr")]
    head = [cells for cells in rows if _in_head(cells)]
    body = [cells for cells in rows if not _in_head(cells)]
    right = sorted({x for cells in body for x, cell in enumerate(cells) if cell.get("class") == "count"})
    shown = [] if any(e.get("class") == "aside" for e in element.iter("thead")) else head[:1]
    return {
        "kind": "table",
        "columns": max((len(cells) for cells in rows), default=1),
        "right": right,
        "head": [_runs(cell) for cells in shown for cell in cells],
        "rows": [[{"runs": _runs(cell)} for cell in cells] for cells in body],
    }


def _in_head(cells: list[etree._Element]) -> bool:
    return any(True for cell in cells for _ in cell.iterancestors("thead"))


# -- pictures --------------------------------------------------------------------------------------------------------


def _picture(svg: etree._Element, signs: Mapping[str, etree._Element]) -> Block:
    """A picture by itself, with the outlines it uses; its size in pixels, and what it shows in words."""
    own = deepcopy(svg)
    own.tail = None
    title = own.find(f"{_SVG}title")
    said = line_of(title.text or "") if title is not None else ""
    if title is not None:
        own.remove(title)
    used = {use.get("href", "").removeprefix("#") for use in own.iter(f"{_SVG}use")}
    if used:
        defs = etree.Element(f"{_SVG}defs")
        defs.extend(deepcopy(signs[name]) for name in sorted(used & signs.keys()))
        own.insert(0, defs)
    _set_faces(own)
    _, _, wide, high = (float(one) for one in own.get("viewBox", "0 0 1 1").split())
    width = float(own.get("width") or _ROTA_PX)
    height = float(own.get("height") or width * high / wide)
    larger = _LARGER.get(own.get("class", ""), 1.0)
    width, height = larger * width, larger * height
    own.set("width", f"{width:g}")
    own.set("height", f"{height:g}")
    return {"svg": etree.tostring(own, encoding="unicode"), "width": width, "height": height, "said": said}


def _set_faces(svg: etree._Element) -> None:
    """All words in the page's own type; accidentals in a face that has them as high as letters."""
    svg.set("font-family", _FACE)
    for element in list(svg.iter(f"{_SVG}text", f"{_SVG}tspan")):
        if "font-family" in element.attrib:
            del element.attrib["font-family"]
    for element in list(svg.iter(f"{_SVG}text", f"{_SVG}tspan")):
        pieces = _ACCIDENTALS.split(_plain(element.text))
        element.text = pieces[0]
        _insert(element, 0, pieces)
        if element.tag == f"{_SVG}tspan":
            parent = element.getparent()
            assert parent is not None
            pieces = _ACCIDENTALS.split(_plain(element.tail))
            element.tail = pieces[0]
            _insert(parent, parent.index(element) + 1, pieces)


def _insert(parent: etree._Element, at: int, pieces: list[str]) -> None:
    """Put accidentals (every second piece) as spans of their own between the words."""
    for k in range(1, len(pieces), 2):
        span = etree.Element(f"{_SVG}tspan", {"font-family": _SIGN_FACE})
        span.text, span.tail = pieces[k], pieces[k + 1]
        parent.insert(at, span)
        at += 1


def _plain(text: str | None) -> str:
    """Letters alone, since no outline can stand among the words of a picture."""
    return _said(run_of(text or "", {}, signs=False))


def signs_in(rows: Iterable[object]) -> set[str]:
    """The names of all music signs that stand among the words of blocks."""
    found: set[str] = set()
    todo = list(rows)
    while todo:
        one = todo.pop()
        if isinstance(one, Mapping):
            if isinstance(one.get("sign"), str):
                found.add(one["sign"])
            todo.extend(one.values())
        elif isinstance(one, list):
            todo.extend(one)
    return found
