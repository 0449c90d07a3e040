"""What stands before the music: title, who wrote the file, the list of parts with their brackets and instruments."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

import deskproof
from deskproof.score import Part, Score

_NAME = re.compile(r"[^\W\d][\w.-]*")
_CHANNELS = 16
_PERCUSSION = 10


@dataclass(frozen=True, slots=True)
class Group:
    """Parts under one bracket: ordinals of the first and the last, both inside.

    ``symbol`` is bracket, brace, line, square or none; ``barline`` says whether barlines run through the group.
    """

    first: int
    last: int
    symbol: str = "bracket"
    name: str = ""
    abbreviation: str = ""
    barline: bool = True


@dataclass(frozen=True, slots=True)
class Staffing:
    """How the parts of a score stand together, and whose music it is (empty: as the score says).

    Groups may lie inside each other; of those that begin together the outer one stands first.
    """

    groups: tuple[Group, ...] = ()
    composer: str = ""


class Ids:
    """The ids of parts and instruments as XML allows them: each once, a name that begins with a letter."""

    def __init__(self, score: Score) -> None:
        self.taken: set[str] = set()
        self.parts = [self._fresh(part.id, f"P{i}") for i, part in enumerate(score.parts, 1)]
        self.instruments = [
            {key: self._fresh(key, f"{own}-I{k}") for k, key in enumerate(part.instruments, 1)}
            for own, part in zip(self.parts, score.parts, strict=True)
        ]

    def _fresh(self, wanted: str, instead: str) -> str:
        name = wanted if _NAME.fullmatch(wanted) else instead
        while name in self.taken:
            name += "_"
        self.taken.add(name)
        return name


def head(score: Score, staffing: Staffing, ids: Ids) -> list[str]:
    """The lines from the title to the end of the list of parts."""
    lines = ["<work>", f"<work-title>{escape(score.title)}</work-title>", "</work>"] if score.title else []
    lines.append("<identification>")
    composer = staffing.composer or score.extra.get("composer", "")
    if composer:
        lines.append(f'<creator type="composer">{escape(composer)}</creator>')
    printed = "yes" if score.prints_accidentals else "no"
    lines += [
        "<encoding>",
        f"<software>Deskproof {deskproof.__version__}</software>",
        f'<supports element="accidental" type="{printed}"/>',
        '<supports element="beam" type="yes"/>',
        "</encoding>",
        "</identification>",
    ]
    if score.at_sounding_pitch:
        lines += ["<defaults>", "<concert-score/>", "</defaults>"]
    lines.append("<part-list>")
    channels = _channels()
    for i, part in enumerate(score.parts):
        for number, group in enumerate(staffing.groups, 1):
            if group.first == i:
                lines += _group_start(group, number)
        lines += _score_part(part, ids.parts[i], ids.instruments[i], channels)
        # Of groups that end together the one that began last is closed first.
        for number, group in reversed(list(enumerate(staffing.groups, 1))):
            if group.last == i:
                lines.append(f'<part-group type="stop" number="{number}"/>')
    return [*lines, "</part-list>"]


def _channels() -> Iterator[int]:
    """MIDI channels from 1, over and over, without that of percussion."""
    while True:
        yield from (channel for channel in range(1, _CHANNELS + 1) if channel != _PERCUSSION)


def _group_start(group: Group, number: int) -> list[str]:
    lines = [f'<part-group type="start" number="{number}">']
    if group.name:
        lines.append(f"<group-name>{escape(group.name)}</group-name>")
    if group.abbreviation:
        lines.append(f"<group-abbreviation>{escape(group.abbreviation)}</group-abbreviation>")
    return [
        *lines,
        f"<group-symbol>{group.symbol}</group-symbol>",
        f"<group-barline>{'yes' if group.barline else 'no'}</group-barline>",
        "</part-group>",
    ]


def _score_part(part: Part, own: str, ids: dict[str, str], channels: Iterator[int]) -> list[str]:
    lines = [f"<score-part id={quoteattr(own)}>", f"<part-name>{escape(part.name)}</part-name>"]
    if part.abbreviation:
        lines.append(f"<part-abbreviation>{escape(part.abbreviation)}</part-abbreviation>")
    for key, one in part.instruments.items():
        lines += [f"<score-instrument id={quoteattr(ids[key])}>",
                  f"<instrument-name>{escape(one.name)}</instrument-name>"]  # fmt: skip
        if one.sound:
            lines.append(f"<instrument-sound>{escape(one.sound)}</instrument-sound>")
        lines.append("</score-instrument>")
    for key, one in part.instruments.items():
        if one.program is None and one.unpitched is None:
            continue
        channel = next(channels) if one.unpitched is None else _PERCUSSION
        lines += [f"<midi-instrument id={quoteattr(ids[key])}>", f"<midi-channel>{channel}</midi-channel>"]
        if one.program is not None:
            lines.append(f"<midi-program>{one.program + 1}</midi-program>")
        if one.unpitched is not None:
            lines.append(f"<midi-unpitched>{one.unpitched + 1}</midi-unpitched>")
        lines.append("</midi-instrument>")
    return [*lines, "</score-part>"]
