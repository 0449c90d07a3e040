"""The settings of a glissando as a page: each drawn as a diagram, with its first octave engraved."""

from __future__ import annotations

import html
from collections.abc import Sequence

from deskproof.document import from_bytes
from deskproof.draw import pedals
from deskproof.engrave.marks import picture
from deskproof.engrave.slice import Bars, Desk
from deskproof.families.harp.setting_checks import setting_text
from deskproof.families.harp.sweep import Near
from deskproof.gliss import Asked
from deskproof.pitch import STEPS
from deskproof.report.proof import policy, style

SHOWN = 24  # settings; --json has them all
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
        music = picture(desk.engraving(Bars(("P1",), k, k)), (), f"{setting_text(near.setting.positions)}", f"m{k}-")
        said = "".join(f"<p>{html.escape(text)}</p>" for text in words)
        drawn = pedals.diagram(near.setting.positions, f"d{k}-")
        figures.append(
            f'<article class="finding"><div class="sides"><figure>{drawn}</figure>'
            f'<figure><div class="strip">{music.svg}</div></figure></div>{said}</article>'
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
    """A bar of seven notes for each setting, upwards from C, every accidental printed, as MusicXML."""
    bars = []
    for k, near in enumerate(nears):
        positions = near.setting.positions
        notes = "".join(
            f"<note><pitch><step>{letter}</step><alter>{positions[letter]}</alter><octave>{OCTAVE}</octave></pitch>"
            f"<duration>1</duration><voice>1</voice><type>quarter</type>"
            f"<accidental>{_SIGN[positions[letter]]}</accidental></note>"
            for letter in STEPS
        )
        opening = (
            '<attributes><divisions>1</divisions><time print-object="no"><beats>7</beats>'
            "<beat-type>4</beat-type></time>"
            "<clef><sign>G</sign><line>2</line></clef></attributes>"
        )
        bars.append(f'<measure number="{k + 1}">{opening if not k else ""}{notes}</measure>')
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name print-object="no">Harp</part-name></score-part></part-list><part id="P1">{"".join(bars)}</part>'
        "</score-partwise>"
    ).encode()
