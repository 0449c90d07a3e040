"""Small sketches out of a short hand, and plans by hand: who has which staff, or which voice of it.

A bar is words: ``C5:1`` is a quarter, ``F#4:3/2`` a dotted one, ``r:2`` a rest, ``C4+E4+G4:1`` a chord. Behind the
length stand signs: ``(`` and ``)`` a slur's ends, ``~`` a tie on, ``_`` a tie from, ``^`` a fermata, ``.`` staccato,
``>`` an accent, ``g`` a grace note, ``c`` a cue note. ``!p`` is a dynamic, ``!<`` ``!>`` ``!|`` a hairpin and its end,
``!"dolce"`` words (``_`` for a space), ``!m=96`` a metronome mark, ``&`` goes back to the beginning of the bar in the
next voice. Words with a leading ``<`` are XML as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from deskproof import document, forces
from deskproof.scoring import phrases, replanning
from deskproof.scoring.hall import Hall, hall_of
from deskproof.scoring.plan_reading import Reading
from deskproof.scoring.records import Line, Passage, PlannedPassage, ScoringPlan, Sketch, Strand, Tone, Who
from deskproof.scoring.sketch import sketch_of
from deskproof.sketch import orchestrating

DIVISIONS = 24
TYPES = {"4": "whole", "2": "half", "1": "quarter", "1/2": "eighth", "1/4": "16th", "3": "half", "3/2": "quarter",
         "3/4": "eighth", "1/3": "eighth", "2/3": "quarter", "1/6": "16th"}  # fmt: skip
Asked = tuple[int, int, Mapping[str, Sequence[str]]]
"""A passage by hand: first and last bar (ordinals), and who has each strand."""
SIGNS = {
    "(": ("notations", '<slur type="start" number="1"/>'), ")": ("notations", '<slur type="stop" number="1"/>'),
    "^": ("notations", "<fermata/>"), ".": ("notations", "<articulations><staccato/></articulations>"),
    ">": ("notations", "<articulations><accent/></articulations>"),
}  # fmt: skip


def xml(
    *staves: Sequence[str], time: str = "4/4", key: int = 0, title: str = "Low Water",
    numbers: Sequence[str] = (), implicit: Sequence[int] = (), before: Mapping[int, str] | None = None,
    after: Mapping[int, str] | None = None,
) -> bytes:
    """A piano part of so many staves as MusicXML; each staff is a list of bars.

    ``before`` and ``after`` are XML put at the beginning and the end of bars (ordinals): attributes, barlines.
    """
    rows = []
    beats, unit = time.split("/")
    for k, bars in enumerate(zip(*staves, strict=True)):
        number = numbers[k] if numbers else str(k + 1)
        inside = [(before or {}).get(k, "")]
        if k == 0:
            clefs = "".join(
                f'<clef number="{s}"><sign>{"GF"[s == len(staves) > 1]}</sign><line>{4 if s == len(staves) > 1 else 2}'
                "</line></clef>"
                for s in range(1, len(staves) + 1)
            )
            inside.insert(
                0,
                f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{key}</fifths></key><time><beats>{beats}"
                f"</beats><beat-type>{unit}</beat-type></time><staves>{len(staves)}</staves>{clefs}</attributes>",
            )
        gone = 0
        for staff, bar in enumerate(bars, 1):
            for voice, words in enumerate(bar.split("&"), 1):
                if gone:
                    inside.append(f"<backup><duration>{gone}</duration></backup>")
                made, gone = _voice(words.split(), staff, 4 * (staff - 1) + voice)
                inside.append(made)
        inside.append((after or {}).get(k, ""))
        said = ' implicit="yes"' if k in implicit else ""
        rows.append(f'<measure number="{number}"{said}>{"".join(inside)}</measure>')
    return (
        f'<score-partwise version="4.0"><work><work-title>{title}</work-title></work><identification>'
        '<creator type="composer">Nobody</creator></identification><part-list><score-part id="P1"><part-name>Piano'
        f'</part-name></score-part></part-list><part id="P1">{"".join(rows)}</part></score-partwise>'
    ).encode()


def _voice(words: Sequence[str], staff: int, voice: int) -> tuple[str, int]:
    """The XML of a voice, and how many divisions it lasts."""
    found, gone = [], 0
    for word in words:
        if word.startswith("<"):
            found.append(word)
        elif word.startswith("!"):
            found.append(_said(word[1:], staff))
        else:
            head, _, tail = word.partition(":")
            plain = tail.rstrip("()~_^.>gc")
            signs = tail[len(plain) :]
            length = Fraction(plain or 0)
            ticks = 0 if "g" in signs else int(length * DIVISIONS)
            gone += ticks
            found += [_note(pitch, k, length, ticks, signs, staff, voice) for k, pitch in enumerate(head.split("+"))]
    return "".join(found), gone


def _note(pitch: str, k: int, length: Fraction, ticks: int, signs: str, staff: int, voice: int) -> str:
    alter = pitch.count("#") - pitch.count("b")
    what = "<rest/>" if pitch == "r" else (
        f"<pitch><step>{pitch[0]}</step>" + (f"<alter>{alter}</alter>" if alter else "")
        + f"<octave>{pitch[-1]}</octave></pitch>"
    )  # fmt: skip
    kind = TYPES.get(str(length), "")
    dots = "<dot/>" * (length.numerator == 3)
    three = length.denominator % 3 == 0
    change = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    ties = f'{"<tie type=`stop`/>" * ("_" in signs)}{"<tie type=`start`/>" * ("~" in signs)}'.replace("`", '"')
    notations = "".join(SIGNS[sign][1] for sign in signs if sign in SIGNS) if not k else ""
    return (
        "<note>" + "<grace/>" * ("g" in signs) + "<cue/>" * ("c" in signs) + "<chord/>" * bool(k) + what
        + (f"<duration>{ticks}</duration>" if "g" not in signs else "") + ties + f"<voice>{voice}</voice>"
        + (f"<type>{kind}</type>" if kind else "") + dots + change * three + f"<staff>{staff}</staff>"
        + (f"<notations>{notations}</notations>" if notations else "") + "</note>"
    )  # fmt: skip


def _said(word: str, staff: int) -> str:
    if word in "<>|":
        kind = {"<": "crescendo", ">": "diminuendo", "|": "stop"}[word]
        inner = f'<wedge type="{kind}"/>'
    elif word.startswith('"'):
        inner = f"<words>{word.strip(chr(34)).replace('_', ' ')}</words>"
    elif word.startswith("m="):
        inner = f"<metronome><beat-unit>quarter</beat-unit><per-minute>{word[2:]}</per-minute></metronome>"
    else:
        inner = f"<dynamics><{word}/></dynamics>"
    sound = f'<sound tempo="{word[2:]}"/>' if word.startswith("m=") else ""
    return f"<direction><direction-type>{inner}</direction-type><staff>{staff}</staff>{sound}</direction>"


def sketch(data: bytes) -> Sketch:
    """The sketch that a document is."""
    return sketch_of(document.from_bytes(data, "low-water.musicxml").score, "low-water.musicxml")


def room(*players: str, sections: Mapping[str, int] | None = None) -> Hall:
    """A hall: "flute 1", "keyboard: piano, celesta"; sections with their desks."""
    rows = ["[players]"]
    for one in players:
        name, _, plays = one.partition(": ")
        kinds = plays.split(", ") if plays else [name.rstrip("0123456789 ")]
        rows.append(f'"{name}" = {{ plays = [{", ".join(f"{chr(34)}{kind}{chr(34)}" for kind in kinds)}] }}')
    rows.append("[sections]")
    rows += [f'"{name}" = {{ desks = {desks} }}' for name, desks in (sections or {}).items()]
    text = "\n".join(rows) + "\n"
    return hall_of(forces.parse(text, "room.toml"), text, "room.toml")


def strands_of(read: Sketch, first: int, last: int) -> tuple[Strand, ...]:
    """Each voice of each staff as a strand named "staff.voice", voices counted as they begin, the higher first.

    Chords are parted: the second note of one in "1.1" is in "1.1 2".
    """
    rows: dict[str, list[Tone]] = {}
    seen: dict[tuple[str, int, int], int] = {}
    voices: dict[int, list[str]] = {}
    for i, note in enumerate(read.notes):
        own = voices.setdefault(note.staff, [])
        if note.voice not in own:
            own.append(note.voice)
        if not first <= note.bar <= last:
            continue
        name = f"{note.staff + 1}.{own.index(note.voice) + 1}"
        place = (name, note.onset, note.grace)
        seen[place] = seen.get(place, 0) + 1
        key = name if seen[place] == 1 else f"{name} {seen[place]}"
        rows.setdefault(key, []).append(Tone(note.onset, note.end, note.midi, note.pitch, (i,)))
    kinds = {"1": "tune"}
    return tuple(
        Strand(name, kinds.get(name[0], "bass"), tuple(tones)) for name, tones in sorted(rows.items()) if tones
    )


def who(*words: str) -> tuple[Who, ...]:
    """"viola", "flute 1 +1", "cello -1 pizz": chairs with octave and manner."""
    found = []
    for word in words:
        how = "pizz" if word.endswith(" pizz") else ""
        plain = word.removesuffix(" pizz")
        octave = 0
        for text, shift in ((" +1", 1), (" -1", -1), (" +2", 2), (" -2", -2)):
            if plain.endswith(text):
                plain, octave = plain.removesuffix(text), shift
        found.append(Who(plain, octave, how))
    return tuple(found)


def given(
    read: Sketch, hall: Hall, *passages: Asked, marks: Sequence[str] = (),
    dynamics: Mapping[str, str] | None = None, made: Mapping[str, Strand] | None = None,
) -> tuple[tuple[Passage, ...], ScoringPlan, Reading]:
    """Passages and plan: (first, last, {strand: players}), bars as ordinals, both inside."""
    own, rows = [], []
    for k, (first, last, lines) in enumerate(passages):
        strands = (*strands_of(read, first, last), *(made or {}).values())
        own.append(Passage(first, last, strands))
        rows.append(
            PlannedPassage(
                replanning.bars_of(read, first, last),
                replanning.digest_of(read, first, last, phrases.bar_digest),
                marks[k] if marks else "",
                lines=tuple(
                    Line(
                        strand.id, who(*lines.get(strand.id, ())), (dynamics or {}).get(strand.id, ""),
                        why="" if strand.id in lines else "left out on purpose",
                    )
                    for strand in strands
                ),
            )
        )  # fmt: skip
    plan = ScoringPlan(hall.text, passages=tuple(rows))
    return tuple(own), plan, Reading(plan)


def set_for(
    read: Sketch, hall: Hall, *passages: Asked, marks: Sequence[str] = (),
    dynamics: Mapping[str, str] | None = None, made: Mapping[str, Strand] | None = None,
) -> orchestrating.Orchestrated:
    """The full score of a plan by hand; see :func:`given`."""
    from deskproof.scoring.full_score import full_score

    own, plan, _ = given(read, hall, *passages, marks=marks, dynamics=dynamics, made=made)
    return orchestrating.written(full_score(read, own, plan, hall), hall.forces, read.score.extra.get("composer", ""))
