"""A plan by hand: a sketch of 64 bars on two staves, ten passages, fifteen chairs in the room."""

from __future__ import annotations

from functools import cache

from deskproof import document
from deskproof import forces as forces_
from deskproof.pitch import parse
from deskproof.scoring.hall import Hall, hall_of
from deskproof.scoring.records import (
    COMPOSER,
    Line,
    Passage,
    PlannedPassage,
    ScoringPlan,
    Sketch,
    Strand,
    Tacet,
    Tone,
    Who,
)
from deskproof.scoring.sketch import sketch_of

FORCES = """
[players."flute 1"]
plays = ["flute"]
[players."flute 2"]
plays = ["flute", "piccolo"]
[players."oboe 1"]
plays = ["oboe"]
[players."clarinet 1"]
plays = ["clarinet"]
[players."bassoon 1"]
plays = ["bassoon"]
[players."horn 1"]
plays = ["horn"]
[players."horn 2"]
plays = ["horn"]
[players."trumpet 1"]
plays = ["trumpet"]
[players.harp]
plays = ["harp"]
[sections]
"violin 1" = { desks = 6 }
"violin 2" = { desks = 5 }
viola = { desks = 4 }
cello = { desks = 4 }
"double bass" = { desks = 3 }
"""

KEPT = "kept for letter C, where they come in with the tune"


@cache
def hall() -> Hall:
    return hall_of(forces_.parse(FORCES, "forces.toml"), FORCES)


@cache
def sketch(bars: int = 64) -> Sketch:
    """Whole notes, two staves."""
    note = (
        "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>4</duration><voice>{}</voice>"
        "<type>whole</type><staff>{}</staff></note>"
    )
    first = (
        "<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4"
        "</beat-type></time><staves>2</staves></attributes>"
    )
    rows = [
        f'<measure number="{k}">{first if k == 1 else ""}{note.format("G", 4, 1, 1)}<backup><duration>4</duration>'
        f"</backup>{note.format('C', 3, 2, 2)}</measure>"
        for k in range(1, bars + 1)
    ]
    text = (
        '<score-partwise version="4.0"><work><work-title>The Ferry &amp; the Tide</work-title></work><part-list>'
        '<score-part id="P1"><part-name>Piano</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(rows)}</part></score-partwise>'
    )
    return sketch_of(document.from_bytes(text.encode(), "ferry.musicxml").score, "ferry.musicxml")


def strand(name: str, midi: int) -> Strand:
    return Strand(name, name.rstrip("0123456789 "), (Tone(0, 4, midi, parse("G4"), (0,)),))


def who(*names: str) -> tuple[Who, ...]:
    """ "cello", "double bass -1", "viola pizz.": chairs with octave and manner."""
    found = []
    for name in names:
        chair, octave, how = name, 0, ""
        for tail in ("pizz.", "arco", "div.", "con sord."):
            if chair.endswith(f" {tail}"):
                chair, how = chair.removesuffix(f" {tail}"), tail
        for shift in (-2, -1, 1, 2):
            if chair.endswith(f" {shift:+d}"):
                chair, octave = chair.removesuffix(f" {shift:+d}"), shift
        found.append(Who(chair, octave, how))
    return tuple(found)


def line(name: str, *chairs: str, dynamic: str = "", why: str = "", by: str = "planner", fixed: bool = False) -> Line:
    return Line(name, who(*chairs), dynamic, fixed=fixed, by=by, why=why)


PLANNED = (
    PlannedPassage("1-8", mark="A", weight="thin", dynamic="p", cost=21, lines=(
        line("tune", "oboe 1", dynamic="p espr.", fixed=True, by=COMPOSER),
        line("inner part 1", "violin 2", dynamic="p"), line("inner part 2", "viola", dynamic="p"),
        line("bass", "cello pizz.", "double bass -1 pizz.", dynamic="p", why="8 foot with the 16 foot"),
    ), tacet=(Tacet(("brass",), KEPT),), scorings=(
        (24, (line("tune", "clarinet 1"), line("inner part 1", "violin 2"), line("inner part 2", "viola"),
              line("bass", "cello pizz.", "double bass -1 pizz."))),
        (27, (line("tune", "oboe 1"), line("inner part 1", "violin 2"), line("inner part 2", "clarinet 1"),
              line("bass", "cello pizz."))),
    )),
    PlannedPassage("9-16", weight="thin", dynamic="mp", cost=30, lines=(
        line("tune", "violin 1", "flute 1 +1", dynamic="mp"), line("counter-tune", "clarinet 1", dynamic="p"),
        line("figuration", "harp", dynamic="p"), line("inner part 1", "violin 2 div."),
        line("inner part 2", "violin 2 div."), line("bass", "cello", dynamic="p"),
    ), tacet=(Tacet(("brass",), KEPT), Tacet(("double bass",), "lighter"))),
    PlannedPassage("17-20", dynamic="mf", weight="ordinary", cost=28, lines=(
        line("tune", "violin 1", "violin 2 -1"), line("held harmony 1", "horn 1", dynamic="mp"),
        line("held harmony 2", "horn 2", dynamic="mp"), line("held harmony 3", "bassoon 1", dynamic="mp"),
        line("bass", "cello", "double bass -1"), line("accents", "harp"),
    )),
    PlannedPassage("21-24", dynamic="f", weight="full", mark="B", cost=33, lines=(
        line("tune", "violin 1", "violin 2 -1", "oboe 1", dynamic="f"), line("tune 2", "flute 1 +1", "piccolo +1"),
        line("inner part 1", "viola div."), line("inner part 2", "viola div."), line("inner part 3"),
        line("bass", "cello", "double bass -1", "bassoon 1"), line("accents", "trumpet 1", dynamic="sfz"),
    )),
    PlannedPassage("25-25", dynamic="pp", weight="thin", cost=9, lines=(
        line("held harmony 1", "violin 1 con sord.", dynamic="pp"), line("bass", "cello", dynamic="pp"),
    )),
    PlannedPassage("26-33", dynamic="p", weight="thin", mark="C", cost=20, lines=(
        line("tune", "horn 1", dynamic="p dolce"), line("figuration", "harp", "clarinet 1"),
        line("bass", "double bass pizz."),
    )),
    PlannedPassage("34-41", dynamic="mf", weight="ordinary", cost=31, lines=(
        line("tune", "cello", "bassoon 1", dynamic="mf cantabile"), line("counter-tune", "flute 1", "oboe 1 -1"),
        line("inner part 1", "violin 1"), line("inner part 2", "violin 2"), line("inner part 3", "viola"),
        line("bass", "double bass"),
    )),
    PlannedPassage("42-49", dynamic="ff", weight="all", mark="D", cost=52, lines=(
        line("tune", "violin 1", "violin 2", "flute 1 +1", "piccolo +1", "trumpet 1", dynamic="ff", fixed=True,
             by=COMPOSER),
        line("figuration 1", "oboe 1"), line("figuration 2", "clarinet 1"), line("held harmony 1", "horn 1"),
        line("held harmony 2", "horn 2"), line("inner part 1", "viola"), line("accents", "harp"),
        line("bass", "cello", "double bass -1", "bassoon 1"),
    )),
    PlannedPassage("50-57", dynamic="mp", weight="ordinary", cost=25, lines=(
        line("tune", "clarinet 1"), line("inner part 1", "violin 2"), line("inner part 2", "viola"),
        line("bass", "bassoon 1"),
    ), tacet=(Tacet(("trumpet 1",), "rests the lip"),)),
    PlannedPassage("58-64", dynamic="pp", weight="thin", cost=14, lines=(
        line("tune", "oboe 1", dynamic="pp"), line("held harmony 1", "viola con sord."), line("bass", "cello -1"),
        line("inner part 1", why="nobody in the room has these notes so softly"),
    )),
)  # fmt: skip

PLAN = ScoringPlan(FORCES, passages=PLANNED, status="proven")


def passages() -> tuple[Passage, ...]:
    """The passages of the sketch that the plan is for."""
    found = []
    for planned in PLANNED:
        first, _, last = planned.bars.partition("-")
        names = dict.fromkeys(one.strand for one in planned.lines)
        found.append(
            Passage(
                int(first) - 1, int(last) - 1, tuple(strand(name, 80 - 3 * k) for k, name in enumerate(names)),
                planned.dynamic, planned.mark, planned.weight, climax=planned.weight == "all",
            )
        )  # fmt: skip
    return tuple(found)
