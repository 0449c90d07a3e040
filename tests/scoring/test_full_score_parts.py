"""What stands in the parts of a full score: who plays a shared staff, signs, keys, clefs, barlines; plans by hand."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import music21
import pytest

from deskproof.scoring.hall import Hall
from oracles import full_score_checker as checker
from schema import complaints
from scoring import small_sketches as small

STRINGS = {"violin 1": 4, "violin 2": 3, "viola": 2, "cello": 2, "double bass": 1}
LOW = ["C3:4"] * 8


class Page:
    """A full score as its XML says it, with the checks that hold for every one."""

    def __init__(self, sketch: bytes, hall: Hall, *passages: small.Asked, **more: Any) -> None:
        self.done = small.set_for(small.sketch(sketch), hall, *passages, **more)
        self.data = self.done.document.written()
        self.root = checker.root_of(self.data)
        self.names = {one.findtext("part-name"): one.get("id") for one in self.root.iter("score-part")}
        full = checker.chains_of(self.data)
        assert complaints(self.data) == []
        assert checker.complaints(checker.chains_of(sketch), full, self.done.as_json()) == []
        assert checker.doubled(full) == checker.untied(self.data) == checker.unbalanced(self.data) == []
        assert [one.says for one in self.done.report.findings if one.level == "impossible"] == []

    def part(self, name: str) -> Any:
        return next(one for one in self.root.findall("part") if one.get("id") == self.names[name])

    def bar(self, name: str, k: int) -> Any:
        return self.part(name).findall("measure")[k]

    def words(self, name: str) -> list[tuple[int, str]]:
        """(ordinal of the bar, words)."""
        return self.said(name, "words")

    def said(self, name: str, kind: str) -> list[tuple[int, str]]:
        found = []
        for k, measure in enumerate(self.part(name).findall("measure")):
            for one in measure.findall(f"direction/direction-type/{kind}"):
                inner = one[0].tag if len(one) and kind == "dynamics" else one.text or one.get("type") or ""
                found.append((k, inner))
        return found

    def notes(self, name: str, k: int) -> list[str]:
        """The notes of a bar as written: "C5:1" with ``*`` for a chord note, rests apart, voice 2 behind ``/``."""
        found, divisions = [], int(self.root.findtext(".//divisions"))
        for note in self.bar(name, k).findall("note"):
            if note.find("pitch") is None:
                continue
            sign = {"1": "#", "-1": "b", None: ""}[note.findtext("pitch/alter")]
            length = Fraction(int(note.findtext("duration") or 0), divisions)
            pitch = f"{note.findtext('pitch/step')}{sign}{note.findtext('pitch/octave')}"
            chord = "*" if note.find("chord") is not None else ""
            found.append(f"{chord}{pitch}:{length}" + f"/{note.findtext('voice')}" * (note.findtext("voice") != "1"))
        return found


# ---------------------------------------------------------------- two on a staff


def test_two_flutes_in_unison_alternating_in_thirds_and_apart():
    sketch = small.xml(
        ["C5:2 D5:2", "E5:4", "F5:4", "E5+C5:2 F5+D5:2", "G5:4 & E5:1 D5:1 C5:2", "G5:4"], LOW[:6]
    )
    hall = small.room("flute 1", "flute 2", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 0, {"1.1": ["flute 1", "flute 2"], "2.1": ["cello"]}),
        (1, 1, {"1.1": ["flute 2"], "2.1": ["cello"]}),
        (2, 2, {"1.1": ["flute 1"], "2.1": ["cello"]}),
        (3, 3, {"1.1": ["flute 1"], "1.1 2": ["flute 2"], "2.1": ["cello"]}),
        (4, 4, {"1.1": ["flute 1"], "1.2": ["flute 2"], "2.1": ["cello"]}),
        (5, 5, {"1.1": ["flute 1", "flute 2"], "2.1": ["cello"]}),
    )  # fmt: skip
    assert page.words("Flutes 1, 2") == [(0, "a2"), (1, "2."), (2, "1."), (5, "a2")]
    assert page.notes("Flutes 1, 2", 0) == ["C5:2", "D5:2"]
    assert page.notes("Flutes 1, 2", 3) == ["E5:2", "*C5:2", "F5:2", "*D5:2"]
    assert page.notes("Flutes 1, 2", 4) == ["G5:4", "E5:1/2", "D5:1/2", "C5:2/2"]
    rows = [row for row in page.done.as_json()["notes"] if row["ref"] == "P1/m0/n0"]
    assert len(rows) == 2  # one printed note, two who play it


def test_a_section_divides_and_comes_together():
    sketch = small.xml(["E5+C5:4", "E5:4", "E5+C5:4"], ["C3:4"] * 3)
    both = {"1.1": ["violin 1"], "1.1 2": ["violin 1"], "2.1": ["cello"]}
    one = {"1.1": ["violin 1"], "2.1": ["cello"]}
    page = Page(sketch, small.room(sections=STRINGS), (0, 0, both), (1, 1, one), (2, 2, both))
    assert page.words("Violin 1") == [(0, "div."), (1, "unis."), (2, "div.")]
    assert page.words("Cello") == []


def test_two_players_with_other_slurs_stand_in_two_voices():
    """Crossed slurs on one chord would be neither's."""
    sketch = small.xml(["E5:1( F5:1 G5:1 A5:1) & C5:1 D5:1( E5:1) F5:1", "E5:4 & C5:4"], LOW[:2])
    hall = small.room("flute 1", "flute 2", sections=STRINGS)
    page = Page(sketch, hall, (0, 1, {"1.1": ["flute 1"], "1.2": ["flute 2"], "2.1": ["cello"]}))
    assert page.notes("Flutes 1, 2", 0)[:1] == ["E5:1"]
    assert page.notes("Flutes 1, 2", 0)[-1] == "F5:1/2"
    assert page.notes("Flutes 1, 2", 1) == ["E5:4", "*C5:4"]


def test_a_slur_over_players_that_cross_opens_and_closes():
    """The lower player is the upper one in the end; each has a slur, the page has one for both."""
    sketch = small.xml(["E5:1( F5:1 G5:1 A5:1) & A5:1( G5:1 F5:1 E5:1)"], LOW[:1])
    hall = small.room("flute 1", "flute 2", sections=STRINGS)
    page = Page(sketch, hall, (0, 0, {"1.1": ["flute 1"], "1.2": ["flute 2"], "2.1": ["cello"]}))
    slurs = [(one.get("type"), one.get("number")) for one in page.part("Flutes 1, 2").iter("slur")]
    assert slurs == [("start", "1"), ("stop", "1")]


# ---------------------------------------------------------------- change of instrument and manner


def test_celesta_and_piccolo_are_announced_and_transpose():
    sketch = small.xml(["C6:4", "D6:4", "E6:4~", "E6:2_ F6:2", "G5:4", "A5:4"], LOW[:6])
    hall = small.room("flute 1: flute, piccolo", "keyboard: piano, celesta", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 2, {"1.1": ["piano", "flute 1"], "2.1": ["cello"]}),
        (3, 3, {"1.1": ["celesta", "piccolo"], "2.1": ["cello"]}),
        (4, 5, {"1.1": ["piccolo", "celesta"], "2.1": ["cello"]}),
    )  # fmt: skip
    keyboard, flute = "Piano, Celesta", "Flute 1 (Piccolo)"
    assert [word for _, word in page.words(keyboard)] == ["to Celesta", "Celesta"]
    assert [word for _, word in page.words(flute)] == ["to Piccolo", "Piccolo"]
    # the tied note is let go at the barline: there the hands are at the other instrument
    assert page.notes(flute, 2) == ["E6:4"]
    assert page.notes(flute, 3) == ["F5:2"]  # sounds an octave higher
    assert page.notes(keyboard, 3) == ["F5:2"]
    shifts = [[k, one.findtext("octave-change")] for k, m in enumerate(page.part(keyboard).findall("measure"))
              for one in m.findall("attributes/transpose")]  # fmt: skip
    assert shifts == [[3, "1"]]


def test_pizz_and_arco_where_the_plan_has_them():
    sketch = small.xml(["C5:4"] * 4, ["C3:2 D3:2"] * 4)
    hall = small.room(sections=STRINGS)
    rows = [(k, k, {"1.1": ["violin 1"], "2.1": [f"cello{' pizz' * (k in (1, 2))}"]}) for k in range(4)]
    page = Page(sketch, hall, *rows)
    assert page.words("Cello") == [(1, "pizz."), (3, "arco")]
    assert page.words("Violin 1") == []


# ---------------------------------------------------------------- keys, clefs, brackets, transposition


def test_transposed_parts_have_their_key_and_sound_right():
    sketch = small.xml(["C5:1 D5:1 Eb5:1 F#4:1", "G4:4"], ["C3:4", "Bb2:4"], key=-3)
    hall = small.room("clarinet 1", "horn 1", "cor anglais", "trumpet 1", "bass clarinet", sections=STRINGS)
    low = ["bass clarinet", "double bass", "cello"]
    page = Page(
        sketch, hall, (0, 1, {"1.1": ["clarinet 1", "horn 1", "cor anglais", "trumpet 1", "violin 1"], "2.1": low})
    )
    score = music21.converter.parseData(page.data.decode(), format="musicxml")
    keys = {str(part.partName): part.recurse().getElementsByClass("KeySignature")[0].sharps for part in score.parts}
    assert keys["Violin 1"] == keys["Double Bass"] == -3
    assert keys["Clarinet 1 in B♭"] == keys["Bass Clarinet in B♭"] == -1
    assert keys["Horn 1 in F"] == keys["Cor Anglais"] == -2
    top = [72, 74, 75, 66, 67]
    sounding = score.toSoundingPitch()
    for part in sounding.parts:
        pitches = [note.pitch.midi for note in part.recurse().notes]
        expected = [48, 46] if part.partName in ("Bass Clarinet in B♭", "Cello") else top
        if part.partName != "Double Bass":
            assert pitches == expected, part.partName
    written = [note.pitch.nameWithOctave for note in score.parts[-1].recurse().notes]
    assert written == ["C4", "B-3"]  # the double bass an octave above what sounds


def test_key_change_in_the_middle_goes_to_all_and_is_transposed():
    change = "<attributes><key><fifths>2</fifths></key></attributes>"
    sketch = small.xml(["C5:4", "C5:4", "D5:4", "F#5:4"], LOW[:4], before={2: change})
    hall = small.room("clarinet 1", "timpani", "horn 1", sections=STRINGS)
    page = Page(sketch, hall, (0, 3, {"1.1": ["clarinet 1", "violin 1", "horn 1"], "2.1": ["cello", "timpani"]}))
    assert len(page.names) == 5
    for name, keys in (("Clarinet 1 in B♭", ["2", "4"]), ("Violin 1", ["0", "2"]), ("Horn 1 in F", ["1", "3"])):
        assert [one.text for one in page.part(name).iter("fifths")] == keys
    assert [one.text for one in page.part("Timpani").iter("fifths")] == ["0"]


@pytest.mark.parametrize(
    ("chair", "bars"),
    [
        ("viola", ["C4:4", "C5:4", "G5:4", "A5:4", "C6:4", "C6:4", "D4:4", "C4:4"]),
        ("cello", ["C3:4", "C2:4", "G4:4", "A4:4", "E5:4", "E5:4", "D3:4", "C2:4"]),
        ("bassoon 1", ["C3:4", "Bb1:4", "G4:4", "A4:4", "B4:4", "C5:4", "D3:4", "C2:4"]),
        ("violin 1", ["G3:4", "C5:4", "G6:4", "A6:4", "B6:4", "C7:4", "D4:4", "A3:4"]),
    ],
)
def test_nobody_counts_more_than_five_ledger_lines(chair: str, bars: list[str]):
    sketch = small.xml(bars, LOW)
    hall = small.room("bassoon 1", sections=STRINGS)
    page = Page(sketch, hall, (0, 7, {"1.1": [chair], "2.1": ["double bass +1"]}))
    own = [row for row in checker.ledger_lines(page.data) if row[0] != "Double Bass"]
    assert len(own) == 8
    assert max(lines for _, _, lines, _ in own) <= 5
    assert own[-1][3] <= 4  # clefs: the first and at most three changes


def test_brackets_join_families_and_the_violins_have_a_brace():
    sketch = small.xml(["C5:4"], ["C3:4"])
    hall = small.room("flute 1", "oboe 1", "bassoon 1", "horn 1", "trumpet 1", "harp", sections=STRINGS)
    top = ["flute 1", "oboe 1", "horn 1", "trumpet 1", "harp", "violin 1", "violin 2", "viola"]
    page = Page(sketch, hall, (0, 0, {"1.1": top, "2.1": ["bassoon 1", "cello", "double bass"]}))
    rows: list[tuple[str, list[str]]] = []
    open_: dict[str, tuple[str, list[str]]] = {}
    for one in page.root.find("part-list"):
        if one.tag == "score-part":
            for _, names in open_.values():
                names.append(one.findtext("part-name"))
        elif one.get("type") == "start":
            open_[one.get("number")] = (one.findtext("group-symbol"), [])
        else:
            rows.append(open_.pop(one.get("number")))
    assert not open_
    assert ("bracket", ["Flute 1", "Oboe 1", "Bassoon 1"]) in rows
    assert ("bracket", ["Horn 1 in F", "Trumpet 1 in B♭"]) in rows or ("bracket", ["Horn 1 in F", "Trumpet 1"]) in rows
    assert ("brace", ["Violin 1", "Violin 2"]) in rows
    assert ("bracket", ["Violin 1", "Violin 2", "Viola", "Cello", "Double Bass"]) in rows
    assert not any("Harp" in names for _, names in rows)


# ---------------------------------------------------------------- what is said


def test_rehearsal_marks_and_tempo_stand_on_the_top_part_alone():
    sketch = small.xml(['!m=96 !"Allegro" C5:4', "C5:4", '!"rit." C5:4', '!"a_tempo" C5:4'], LOW[:4])
    hall = small.room("flute 1", sections=STRINGS)
    lines = {"1.1": ["flute 1", "violin 1"], "2.1": ["cello"]}
    page = Page(sketch, hall, (0, 1, lines), (2, 3, lines), marks=["A", "B"])
    assert page.said("Flute 1", "rehearsal") == [(0, "A"), (2, "B")]
    assert page.words("Flute 1") == [(0, "Allegro"), (2, "rit."), (3, "a tempo")]
    assert len(list(page.root.iter("metronome"))) == 1
    assert [one.get("tempo") for one in page.root.iter("sound") if one.get("tempo")] == ["96"]
    for name in ("Violin 1", "Cello"):
        assert page.words(name) == page.said(name, "rehearsal") == []


def test_repeats_and_endings_go_to_all_parts():
    before = {
        0: '<barline location="left"><repeat direction="forward"/></barline>',
        2: '<barline location="left"><ending number="1" type="start"/></barline>',
        3: '<barline location="left"><ending number="2" type="start"/></barline>',
    }
    after = {
        2: '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>',
        3: '<barline location="right"><ending number="2" type="stop"/></barline>',
    }
    sketch = small.xml(["C5:4"] * 4, LOW[:4], before=before, after=after)
    hall = small.room("flute 1", "harp", sections=STRINGS)
    page = Page(sketch, hall, (0, 3, {"1.1": ["flute 1", "harp"], "2.1": ["cello"]}))
    for part in page.root.findall("part"):
        assert [one.get("direction") for one in part.iter("repeat")] == ["forward", "backward"]
        signs = [(one.get("number"), one.get("type")) for one in part.iter("ending")]
        assert signs == [("1", "start"), ("1", "stop"), ("2", "start"), ("2", "stop")]


def test_dynamics_stand_at_each_entry_and_under_no_rest():
    sketch = small.xml(["!p C5:4", "C5:4", "!f C5:4", "C5:4", "C5:4", "C5:4"], ["!p C3:4"] + ["C3:4"] * 5)
    hall = small.room("flute 1", "oboe 1", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 0, {"1.1": ["flute 1"], "2.1": ["cello"]}),
        (1, 4, {"1.1": ["oboe 1"], "2.1": ["cello"]}),
        (5, 5, {"1.1": ["flute 1", "oboe 1"], "2.1": ["cello"]}),
    )  # fmt: skip
    assert page.said("Flute 1", "dynamics") == [(0, "p"), (5, "f")]
    assert page.said("Oboe 1", "dynamics") == [(1, "p"), (2, "f")]  # no rest since: not said again
    assert page.said("Cello", "dynamics") == [(0, "p"), (2, "f")]  # one sign for both staves of the piano


def test_a_dynamic_over_a_rest_waits_for_the_next_note():
    sketch = small.xml(["!p C5:4", "!f r:4", "C5:4", "r:4"], LOW[:4])
    hall = small.room("flute 1", sections=STRINGS)
    page = Page(sketch, hall, (0, 3, {"1.1": ["flute 1"], "2.1": ["cello"]}))
    assert page.said("Flute 1", "dynamics") == [(0, "p"), (2, "f")]


def test_hairpins_of_two_staves_do_not_cross_on_a_shared_one():
    """Flute 1 follows the upper staff, flute 2 the lower; each staff has its own hairpin."""
    sketch = small.xml(
        ["!p !< C5:2 D5:2", "E5:4 !| !f", "!> G5:4 !|"], ["!p A4:2 !> A4:2", "A4:4", "A4:4 !|"]
    )
    hall = small.room("flute 1", "flute 2", sections=STRINGS)
    page = Page(sketch, hall, (0, 2, {"1.1": ["flute 1", "violin 1"], "2.1": ["flute 2", "viola"]}))
    assert [value for _, value in page.said("Violin 1", "wedge")] == ["crescendo", "stop", "diminuendo", "stop"]
    assert [value for _, value in page.said("Viola", "wedge")] == ["diminuendo", "stop"]
    assert [value for _, value in page.said("Flutes 1, 2", "wedge")] == ["crescendo", "stop", "diminuendo", "stop"]


def test_a_hairpin_begins_where_its_player_does():
    sketch = small.xml(["!p !< C5:4", "C5:4", "C5:4 !| !f", "C5:4"], LOW[:4])
    hall = small.room("flute 1", "oboe 1", sections=STRINGS)
    page = Page(
        sketch, hall, (0, 1, {"1.1": ["flute 1"], "2.1": ["cello"]}), (2, 3, {"1.1": ["oboe 1"], "2.1": ["cello"]})
    )
    assert page.said("Flute 1", "wedge")[0] == (0, "crescendo")
    assert page.said("Oboe 1", "wedge")[0] == (2, "crescendo")


def test_words_of_the_line_and_of_the_sketch():
    """Who leads has the expression, all have "cresc."; the plan's own dynamic comes before the sketch's."""
    sketch = small.xml(['!p !"dolce" C5:4', '!"cresc." C5:4', "!f C5:4"], ["C3:4"] * 3)
    hall = small.room("flute 1", "clarinet 1", sections=STRINGS)
    own = small.Strand("tune", "tune", small.strands_of(small.sketch(sketch), 0, 2)[0].tones)
    page = Page(
        sketch, hall, (0, 2, {"tune": ["flute 1"], "1.1": ["clarinet 1"], "2.1": ["cello"]}), made={"tune": own},
        dynamics={"1.1": "pp"},
    )  # fmt: skip
    assert page.words("Flute 1") == [(0, "dolce"), (1, "cresc.")]
    assert page.words("Cello") == [(1, "cresc.")]
    assert page.said("Clarinet 1 in B♭", "dynamics") == [(0, "pp")]


def test_a_fermata_stands_over_who_plays_and_over_who_rests():
    sketch = small.xml(["C5:4", "C5:4^", "C5:4"], ["C3:4", "C3:4^", "C3:4"])
    hall = small.room("flute 1", "oboe 1", "harp", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 1, {"1.1": ["flute 1"], "2.1": ["cello"]}),
        (2, 2, {"1.1": ["oboe 1", "flute 1"], "2.1": ["cello", "harp"]}),
    )  # fmt: skip
    for name in ("Flute 1", "Oboe 1", "Harp", "Cello"):
        bars = [k for k, m in enumerate(page.part(name).findall("measure")) if list(m.iter("fermata"))]
        assert bars == [1], name


# ---------------------------------------------------------------- rhythm


def test_graces_ties_tuplets_pickup_and_seven_eight():
    seven = "<attributes><time><beats>7</beats><beat-type>8</beat-type></time></attributes>"
    sketch = small.xml(
        ["G4:1", "A5:1/2g C5:1/3( D5:1/3 E5:1/3) F5:1 G5:2~", "G5:2_ A5:2.", "C5:1/2 D5:1/2 E5:1/2 F5:1 G5:1"],
        ["C3:1", "C3:4~", "C3:4_", "C3:7/2"],
        before={3: seven}, numbers=("0", "1", "2", "3"), implicit=(0,),
    )  # fmt: skip
    hall = small.room("flute 1", "clarinet 1", sections=STRINGS)
    page = Page(sketch, hall, (0, 3, {"1.1": ["flute 1", "clarinet 1"], "2.1": ["cello"]}))
    for part in page.root.findall("part"):
        bars = part.findall("measure")
        assert [bar.get("number") for bar in bars] == ["0", "1", "2", "3"]
        assert bars[0].get("implicit") == "yes"
        assert [one.text for one in part.iter("beats")] == ["4", "7"]
    flute = page.bar("Flute 1", 1)
    assert flute.find("note/grace") is not None
    assert len(flute.findall("note/time-modification")) == 3
    assert [one.get("type") for one in flute.iter("tuplet")] == ["start", "stop"]
    assert page.notes("Flute 1", 3) == ["C5:1/2", "D5:1/2", "E5:1/2", "F5:1", "G5:1"]
    assert [one.get("type") for one in page.part("Cello").iter("tied")][:2] == ["start", "stop"]
    assert page.bar("Flute 1", 2).find(".//staccato") is not None


def test_a_player_lets_a_long_note_go_where_the_next_line_begins():
    """The tune is tied over into a passage in which its player has another line."""
    sketch = small.xml(["C5:4~", "C5:2_ D5:2"], ["C4:4", "E4:1 F4:1 G4:2"])
    hall = small.room("flute 1", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 0, {"1.1": ["flute 1"], "2.1": ["viola"]}), (1, 1, {"1.1": ["violin 1"], "2.1": ["flute 1"]}),
    )  # fmt: skip
    assert page.notes("Flute 1", 0) == ["C5:4"]
    assert page.notes("Flute 1", 1) == ["E4:1", "F4:1", "G4:2"]


def test_the_harp_has_its_diagram_where_it_first_plays_and_one_key_for_two_lines():
    sketch = small.xml(["r:4", "C5:4 & C5:2 E5:2"], ["C3:4", "G3:4"], key=-3)
    hall = small.room("flute 1", "harp", sections=STRINGS)
    page = Page(
        sketch, hall,
        (0, 0, {"2.1": ["cello"]}),
        (1, 1, {"1.1": ["harp", "flute 1"], "1.2": ["harp"], "2.1": ["harp", "cello"]}),
    )  # fmt: skip
    assert len(list(page.part("Harp").iter("harp-pedals"))) == 1
    rows = page.part("Harp").iter("pedal-tuning")
    tunings = {one.findtext("pedal-step"): one.findtext("pedal-alter") for one in rows}
    assert len(tunings) == 7
    assert tunings["C"] == tunings["G"] == "0"
    assert not list(page.part("Flute 1").iter("harp-pedals"))


def test_two_strands_on_one_key_are_one_note_of_the_harp():
    sketch = small.xml(["C5:4 & C5:4"], ["C3:4"])
    hall = small.room("harp", sections=STRINGS)
    page = Page(sketch, hall, (0, 0, {"1.1": ["harp"], "1.2": ["harp"], "2.1": ["cello"]}))
    assert page.notes("Harp", 0) == ["C5:4"]
    assert len([row for row in page.done.as_json()["notes"] if row["ref"].startswith("P1/m0/")]) == 2


def test_more_lines_than_two_voices_of_a_harp_staff_leave_no_tie_open():
    """The long note is let go where the third line needs its voice; it does not go on in the next bar."""
    lower = ["C3:4~ & E3:2 F3:2~ & r:1 G3:1 A3:1 B3:1", "C3:4_ & F3:4_ & G3:4"]
    sketch = small.xml(["C5:4", "C5:4"], lower)
    hall = small.room("harp", sections=STRINGS)
    lines = {"1.1": ["violin 1"], "2.1": ["harp", "cello"], "2.2": ["harp"], "2.3": ["harp"]}
    page = Page(sketch, hall, (0, 1, lines))
    voices = {note.findtext("voice") for note in page.part("Harp").iter("note") if note.findtext("staff") == "2"}
    assert voices == {"5", "6"}
    assert page.notes("Cello", 1) == ["F3:4"]  # for the section nothing is cut


@pytest.mark.parametrize("key", [5, 6, -6])
def test_no_part_has_more_than_six_signs_in_its_key(key: int):
    """A clarinet in B flat would have seven or eight."""
    sketch = small.xml(["B4:2 F#4:2", "D#5:4"], ["B2:4", "F#3:4"], key=key)
    hall = small.room("clarinet 1", "horn 1", "cor anglais", sections=STRINGS)
    page = Page(sketch, hall, (0, 1, {"1.1": ["clarinet 1", "horn 1", "cor anglais", "violin 1"], "2.1": ["cello"]}))
    assert all(abs(int(one.text)) <= 6 for one in page.root.iter("fifths"))
    assert all(abs(int(one.text)) <= 1 for one in page.root.iter("alter"))
