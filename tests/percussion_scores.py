"""Small percussion parts as MusicXML, written from a line of tokens, for the tests of that family.

A bar is tokens with blanks between. A token is WHAT/LENGTH(marks): WHAT is ``R`` for a rest, ``G5`` for a pitch,
``xE4`` for an unpitched note at that place of the staff, ``xE4@I2`` with the id of its instrument, or several of them
joined by +; LENGTH is a note value (4 a quarter, 8 an eighth). Words stand before a note in quotation marks.
Marks are tremolo counts (``t3``), ``trill``, ``arp`` and ``grace``; a bar that begins with ``|:`` ends with a repeat.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from deskproof.document import from_bytes
from deskproof.families.base import Context
from deskproof.families.percussion.checks import check
from deskproof.families.percussion.planning import PercussionPlan, plan
from deskproof.findings import Finding, folded
from deskproof.forces import Forces
from deskproof.score import Score
from deskproof.spans import spans_of
from deskproof.timeline import realise

DIVISIONS = 48
_TOKEN = re.compile(r'"([^"]*)"|(\S+?)/(\d+)(\.?)(?:\(([^)]*)\))?(?=\s|$)')
_TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}


def part_xml(
    bars: Sequence[str],
    name: str,
    tempo: int | None = 60,
    instruments: Mapping[str, tuple[str, str, int | None]] | None = None,
    clef: str = "percussion",
) -> bytes:
    """A score of one part in 4/4.

    ``instruments`` maps an id to its name, sound id and number of MIDI percussion (from 1, as MusicXML counts).
    """
    rows = instruments or {}
    declared = "".join(
        f'<score-instrument id="{key}"><instrument-name>{label}</instrument-name>'
        + (f"<instrument-sound>{sound}</instrument-sound>" if sound else "")
        + "</score-instrument>"
        for key, (label, sound, _) in rows.items()
    ) + "".join(
        f'<midi-instrument id="{key}"><midi-channel>10</midi-channel><midi-unpitched>{number}</midi-unpitched>'
        "</midi-instrument>"
        for key, (_, _, number) in rows.items()
        if number is not None
    )
    sign = "<sign>percussion</sign>" if clef == "percussion" else "<sign>G</sign><line>2</line>"
    first = (
        f"<attributes><divisions>{DIVISIONS}</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        f"<clef>{sign}</clef></attributes>"
    )
    if tempo is not None:
        first += (
            "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
            f"<per-minute>{tempo}</per-minute></metronome></direction-type></direction>"
        )
    measures = "".join(
        f'<measure number="{n}">{first if n == 1 else ""}{_bar(bar)}</measure>' for n, bar in enumerate(bars, 1)
    )
    return (
        f'<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}'
        f'</part-name>{declared}</score-part></part-list><part id="P1">{measures}</part></score-partwise>'
    ).encode()


def _bar(text: str) -> str:
    found = []
    for match in _TOKEN.finditer(text):
        said, what, value, dot, marks = match.groups()
        if said is not None:
            found.append(f"<direction><direction-type><words>{said}</words></direction-type></direction>")
            continue
        for n, one in enumerate(what.split("+")):
            found.append(_note(one, int(value), bool(dot), (marks or "").split(), chord=n > 0))
    if text.startswith("|:"):
        found.append('<barline location="right"><repeat direction="backward"/></barline>')
    return "".join(found)


def _note(what: str, value: int, dot: bool, marks: Sequence[str], chord: bool) -> str:
    duration = DIVISIONS * 4 // value * (3 if dot else 2) // 2
    grace = "grace" in marks
    text = ("<grace/>" if grace else "") + ("<chord/>" if chord else "")
    what, _, instrument = what.partition("@")
    if what == "R":
        text += "<rest/>"
    elif what[0] == "x":
        place = f"<display-step>{what[1]}</display-step><display-octave>{what[2:]}</display-octave>"
        text += f"<unpitched>{place}</unpitched>"
    else:
        alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(what[1:-1], "")
        text += f"<pitch><step>{what[0]}</step>{alter}<octave>{what[-1]}</octave></pitch>"
    text += "" if grace else f"<duration>{duration}</duration>"
    text += f'<instrument id="{instrument}"/>' if instrument else ""
    text += f"<voice>1</voice><type>{_TYPES[value]}</type>" + ("<dot/>" if dot else "")
    tremolo = next((mark[1:] for mark in marks if re.fullmatch(r"t\d", mark)), "")
    ornaments = f'<tremolo type="single">{tremolo}</tremolo>' if tremolo else ""
    ornaments += "<trill-mark/>" if "trill" in marks else ""
    notations = f"<ornaments>{ornaments}</ornaments>" if ornaments else ""
    notations += "<arpeggiate/>" if "arp" in marks else ""
    return f"<note>{text}" + (f"<notations>{notations}</notations>" if notations else "") + "</note>"


def planned(score: Score, forces: Forces | None = None) -> tuple[PercussionPlan, Context, list[Finding]]:
    """The plan of the first part with percussion in a score, and its findings, folded."""
    timeline = realise(score)
    context = Context(score, timeline.frame, timeline.layouts, forces or Forces())
    for spans in spans_of(timeline):
        found = plan(spans, context)
        if isinstance(found, PercussionPlan):
            return found, context, folded(check(found, spans, context))
    raise AssertionError("no part of the score is percussion")


def played(bars: Sequence[str], name: str, **how: object) -> tuple[PercussionPlan, Context, list[Finding]]:
    """The plan and findings of a part written as tokens; ``forces`` apart, ``how`` goes to :func:`part_xml`."""
    forces = how.pop("forces", None)
    assert forces is None or isinstance(forces, Forces)
    return planned(from_bytes(part_xml(bars, name, **how)).score, forces)  # type: ignore[arg-type]
