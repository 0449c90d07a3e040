"""The settings of a glissando as a page: each drawn as a diagram, with its first octave engraved."""

from __future__ import annotations

import html
from collections.abc import Sequence

from deskproof.document import from_bytes
from deskproof.draw import pedals
from deskproof.engrave.marks import picture
from deskproof.engrave.slice import Bars, Desk
from deskproof.families.harp.sweep import Near
from deskproof.gliss import Asked
from deskproof.pitch import STEPS
from deskproof.report.proof import policy, style

SHOWN = 12  # settings; --json has them all
OCTAVE = 4
_SIGN = {-1: "flat", 0: "natural", 1: "sharp"}


def gliss_page(asked: Asked) -> str:
    """The whole page.

    Raises
    ------
    EngraverMissing
        If the engraver is not installed.
    """
    rows = asked.rows
    desk = Desk(from_bytes(first_octaves([near for near, _ in rows[:SHOWN]]), "gliss"))
    figures = []
    for k, (near, words) in enumerate(rows[:SHOWN]):
        positions = near.setting.positions
        setting, octave, *besides = words
        music = picture(desk.engraving(Bars((_part(k),), 0, 0)), (), _capital(octave), f"m{k}-")
        drawn = pedals.diagram(positions, f"d{k}-")
        said = "".join(f"{html.escape(_capital(text))}.<br>" for text in (octave, *besides)).removesuffix("<br>")
        figures.append(
            f'<article class="finding"><div class="sides"><figure>{drawn}'
            f"<figcaption>{html.escape(setting)}</figcaption></figure>"
            f'<figure><div class="strip">{music.svg}</div><figcaption>{said}</figcaption></figure></div></article>'
        )
    more = f"<p>And {len(rows) - SHOWN} more; --json has them all.</p>" if len(rows) > SHOWN else ""
    sheet = style()
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{html.escape(policy(sheet))}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{html.escape(asked.title)}</title><style>{sheet}</style></head><body><main>",
            f"<h1>{html.escape(asked.title)}</h1>",
            *(f"<p>{html.escape(text)}</p>" for text in asked.head),
            *figures,
            more,
            "</main></body></html>",
            "",
        ]
    )


def first_octaves(nears: Sequence[Near]) -> bytes:
    """A part of one bar for each setting: its seven notes upwards from C, every accidental printed; as MusicXML."""
    names, parts = [], []
    for k, near in enumerate(nears):
        positions = near.setting.positions
        notes = "".join(
            f"<note><pitch><step>{letter}</step><alter>{positions[letter]}</alter><octave>{OCTAVE}</octave></pitch>"
            f"<duration>1</duration><voice>1</voice><type>quarter</type>"
            f"<accidental>{_SIGN[positions[letter]]}</accidental><stem>none</stem></note>"
            for letter in STEPS
        )
        names.append(f'<score-part id="{_part(k)}"><part-name print-object="no">Harp</part-name></score-part>')
        parts.append(
            f'<part id="{_part(k)}"><measure number="1"><attributes><divisions>1</divisions>'
            f'<time print-object="no"><beats>{len(STEPS)}</beats><beat-type>4</beat-type></time>'
            f"<clef><sign>G</sign><line>2</line></clef></attributes>{notes}</measure></part>"
        )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        f"<part-list>{''.join(names)}</part-list>{''.join(parts)}</score-partwise>"
    ).encode()


def _part(k: int) -> str:
    return f"P{k + 1}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
