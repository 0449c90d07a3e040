"""MusicXML bytes -> Score. Parses with lxml under safe settings and reads each measure once.

Nothing is fetched, no external entity is opened, and a file that breaks the schema is read as far as it goes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from fractions import Fraction

from lxml import etree

from deskproof.errors import DeskproofError
from deskproof.musicxml import notes
from deskproof.musicxml.measures import PartReader
from deskproof.score import Part, Score, ScoreInstrument

MAX_GRID_BITS = 256
Pieces = dict[str, list[tuple[etree._Element, etree._Element]]]


class ReadError(DeskproofError):
    """The bytes are not a score that can be read; the message says where and what to do."""


def parser() -> etree.XMLParser:
    """The parser used everywhere: no entities expanded, no network, no DTD, libxml2's size limits kept."""
    return etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)


def read_bytes(data: bytes, name: str = "score") -> Score:
    """Read the bytes of a partwise MusicXML document.

    Parameters
    ----------
    data : bytes
        The document in any encoding that its declaration or byte order mark names.
    name : str
        Used in messages.

    Raises
    ------
    ReadError
        If the bytes are no well-formed XML or no MusicXML score.
    """
    _same_encoding(data, name)
    try:
        root = etree.fromstring(data, parser())
    except etree.XMLSyntaxError as error:
        raise ReadError(
            f"{name}: not well-formed XML (line {error.lineno}: {error.msg}). "
            "Export the score again as MusicXML; if it was edited by hand, mend that line."
        ) from None
    return read_tree(root, name)


_UTF_16 = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be", b"<\x00": "utf-16-le", b"\x00<": "utf-16-be"}


def _same_encoding(data: bytes, name: str) -> None:
    """Refuse UTF-16 that declares itself as something else: the standard calls that a fatal error."""
    codec = _UTF_16.get(data[:2])
    if codec is None:
        return
    declared = re.search(r"encoding\s*=\s*[\"']([^\"']+)", data[:400].decode(codec, "ignore"))
    if declared and not declared.group(1).upper().startswith(("UTF-16", "UCS-2", "ISO-10646-UCS-2")):
        raise ReadError(
            f"{name}: line 1: its bytes are UTF-16, its declaration says {declared.group(1)}. "
            "Save it as what it says, or export the score again."
        )


def read_tree(root: etree._Element, name: str = "score") -> Score:
    """Read a parsed document; see :func:`read_bytes`."""
    if root.tag not in ("score-partwise", "score-timewise"):
        raise ReadError(
            f"{name}: the outermost element is <{root.tag}>, expected <score-partwise> or <score-timewise>. "
            "This is not a MusicXML score; export it as MusicXML (.musicxml or .mxl)."
        )
    parts = pieces(root)
    grid = _grid(parts)
    while grid.bit_length() <= MAX_GRID_BITS:
        try:
            return _read(root, parts, grid, name)
        except notes.FinerGrid as finer:
            grid *= finer.factor
    raise ReadError(
        f"{name}: its divisions and note lengths have no common grid below {MAX_GRID_BITS} bits; export it again."
    )


def _grid(parts: Pieces) -> int:
    """Ticks a quarter to begin with: the least common multiple of the divisions of every first measure."""
    grid = 1
    for rows in parts.values():
        divisions = notes.number(rows[0][0].findtext("attributes/divisions")) if rows else None
        if divisions is not None and divisions > 0:
            grid = math.lcm(grid, Fraction(divisions).numerator)
    return grid


def _read(root: etree._Element, content: Pieces, grid: int, name: str) -> Score:
    remarks: dict[str, None] = {}
    declared = dict(_declared_parts(root))
    parts: list[Part] = []
    for part_id, rows in content.items():
        part_name, abbreviation, instruments = declared.get(part_id, (part_id, "", {}))
        reader = PartReader(grid, f"{name}: part {part_id}", remarks)
        measures = tuple(reader.measure(own, i, owner) for i, (own, owner) in enumerate(rows))
        parts.append(Part(part_id, part_name, abbreviation, instruments, measures))
    if not parts or not any(part.measures for part in parts):
        raise ReadError(f"{name}: the score has no measures. Nothing was exported; export it again.")
    return Score(
        title=_title(root),
        grid=grid,
        parts=tuple(parts),
        remarks=tuple(remarks),
        prints_accidentals=not any(
            one.get("element") == "accidental" and one.get("type") == "no"
            for one in root.iterfind("identification/encoding/supports")
        ),
        extra=_extra(root),
    )


def _extra(root: etree._Element) -> dict[str, str]:
    """``concert``: whether the file stands at sounding pitch; ``composer``, if it names one."""
    composer = root.findtext("identification/creator[@type='composer']")
    extra = {"composer": " ".join(composer.split())} if composer and composer.strip() else {}
    return {**extra, "concert": "yes"} if root.find("defaults/concert-score") is not None else extra


_NOTHING = etree.Element("measure")


def pieces(root: etree._Element) -> Pieces:
    """Part id -> for each measure the element that holds its content and the one that holds its number.

    In a partwise score the two are one; in a timewise one the content stands in <part> inside <measure>. A part
    that a timewise measure leaves out is empty there. Of two parts with one id the second gets a number behind it.
    """
    found: Pieces = {}
    if root.tag == "score-partwise":
        for element in root.iterfind("part"):
            part_id = element.get("id") or f"P{len(found) + 1}"
            if part_id in found:
                part_id = f"{part_id}+{len(found) + 1}"
            found[part_id] = [(measure, measure) for measure in element.iterfind("measure")]
        return found
    for i, measure in enumerate(root.iterfind("measure")):
        for k, element in enumerate(measure.iterfind("part")):
            rows = found.setdefault(element.get("id") or f"P{k + 1}", [])
            rows += [(_NOTHING, measure)] * (i - len(rows))
            rows.append((element, measure))
    return found


def _title(root: etree._Element) -> str:
    for path in ("work/work-title", "movement-title"):
        text = (root.findtext(path) or "").strip()
        if text:
            return " ".join(text.split())
    return ""


def _declared_parts(
    root: etree._Element,
) -> Iterator[tuple[str, tuple[str, str, dict[str, ScoreInstrument]]]]:
    for element in root.iterfind("part-list/score-part"):
        programs: dict[str, tuple[int | None, int | None]] = {}
        for midi in element.iterfind("midi-instrument"):
            program = notes.number(midi.findtext("midi-program"))
            unpitched = notes.number(midi.findtext("midi-unpitched"))
            programs[midi.get("id") or ""] = (
                int(program) - 1 if program is not None and 1 <= program <= 128 else None,
                int(unpitched) - 1 if unpitched is not None else None,
            )
        instruments = {}
        for one in element.iterfind("score-instrument"):
            key = one.get("id") or ""
            program_of = programs.get(key, (None, None))
            instruments[key] = ScoreInstrument(
                key,
                _line(one.findtext("instrument-name")),
                (one.findtext("instrument-sound") or "").strip(),
                *program_of,
            )
        part_name = _line(element.findtext("part-name"))
        if not part_name or part_name == "MusicXML Part":
            part_name = next((i.name for i in instruments.values() if i.name), part_name)
        yield (
            element.get("id") or "",
            (part_name, _line(element.findtext("part-abbreviation")), instruments),
        )


def _line(text: str | None) -> str:
    return " ".join((text or "").split())
