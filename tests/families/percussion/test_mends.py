"""Ways out that are written: the finding is gone, no other comes, and nothing else in the file changes."""

from __future__ import annotations

import re

import pytest

from deskproof.check import check
from deskproof.document import Document, from_bytes
from deskproof.edits import AddWords, EditError, Omit, SetOctave, Shorten, Silence
from deskproof.findings import Effect, Finding
from deskproof.forces import parse
from deskproof.musicxml import reader
from deskproof.score import NoteRef
from percussion_scores import part_xml
from schema import complaints

MARIMBA = {"clef": "treble"}
KIT = {"S": ("Snare Drum", "", 39), "K": ("Bass Drum", "", 37)}
PIATTI = ['"Piatti" xB4/8 R/8 "Xylophone" C5/8 R/8 R/2', "R/1"]
DRUMS = ['"Snare drum" xC5/4 "Tambourine" xE5/4 "Bass drum" xF4/4 R/4', "xC5+xE5+xF4/4 R/4 R/2"]
FAR = ["F4+F5/16 F6+F7/16 F4+F5/16 F6+F7/16 R/4 R/2"]

# rule | bars, name, how they are written | what is offered, in order
OFFERED = [
    ("mallets", ["C5+E5+G5/4 R/4 R/2"], "Xylophone", MARIMBA,
     ["let the chord be broken", "leave out E5 from within the chord"]),
    ("mallets", ["C3+E3+G3+C4+E4/4 R/4 R/2"], "Marimba", MARIMBA,
     ["let the chord be broken", "leave out E3, doubled in another octave"]),
    ("mallets", ["C3+D3+E3+G3+E4/4 R/4 R/2"], "Marimba", MARIMBA,
     ["let the chord be broken", "leave out E3, doubled in another octave", "leave out D3 from within the chord"]),
    ("mallets", ["C5+F5+A5/4(t3) R/4 R/2"], "Xylophone", MARIMBA, ["leave out F5 from within the chord"]),
    ("reach", ["C2+A3+C4+D4/4 R/4 R/2"], "Marimba", MARIMBA,
     ["let the chord be broken", "write A3 an octave lower", "write C2 an octave higher"]),
    ("leap", FAR, "Xylophone", {"clef": "treble", "tempo": 60},
     ["write F6 and F7 an octave lower", "write F4 and F5 an octave higher"]),
    ("leap", FAR, "Xylophone", {"clef": "treble", "tempo": 132},
     ["write F6 and F7 two octaves lower", "write F4 and F5 two octaves higher"]),
    ("leap", FAR, "Xylophone", {"clef": "treble", "tempo": 200}, []),
    ("hands", DRUMS, "Percussion 1", {},
     ["leave out the stroke on the tambourine", "leave out the stroke on the bass drum"]),
    ("change", PIATTI, "Percussion 1", MARIMBA,
     ["leave out the stroke on the xylophone", "leave out the stroke on the cymbals"]),
    ("change", ['"S.D." xC5/4(t3) "Triangle" xE5/4 R/2'], "Percussion 1", {},
     ["leave out the stroke on the triangle", "leave out the roll on the snare drum"]),
    ("unnamed", ["xC5@S/4 R/4 R/2"], "Percussion", {"instruments": KIT}, ["print “Snare drum” where the line begins"]),
    ("roll", ["xE4/2(t3) R/2"], "Whip", {}, []),
    ("sticks", ['"S.D." "with brushes" xC5/8 xC5/8 xC5/8 xC5/8 "wooden sticks" xC5/8 xC5/8 R/4'], "Percussion 1",
     {"tempo": 120}, []),
]  # fmt: skip
IDS = [f"{row[0]}: {row[1][-1]}" for row in OFFERED]


def opened(bars, name, how) -> tuple[Document, list[Finding]]:
    document = from_bytes(part_xml(bars, name, **how))
    return document, list(check(document.score).findings)


@pytest.mark.parametrize(("rule", "bars", "name", "how", "wanted"), OFFERED, ids=IDS)
def test_what_is_offered(rule, bars, name, how, wanted):
    _, findings = opened(bars, name, how)
    (finding,) = [one for one in findings if one.rule.id == f"percussion-{rule}"]
    *written, last = finding.mends
    said = [one.says for one in written]
    assert said == wanted
    assert last.effect is Effect.ADVICE and not last.edits
    assert {one.effect for one in written} <= {Effect.KEEPS_SOUND if rule == "unnamed" else Effect.CHANGES_SOUND}
    assert len(finding.mends) <= 4


@pytest.mark.parametrize(("rule", "bars", "name", "how", "wanted"), [row for row in OFFERED if row[4]])
def test_a_mend_written_and_read_again(rule, bars, name, how, wanted):
    document, findings = opened(bars, name, how)
    (finding,) = [one for one in findings if one.rule.id == f"percussion-{rule}"]
    had = {one.rule.id for one in findings}
    for mend in finding.mends[:-1]:
        made = document.with_edits(mend.edits)
        raw = made.written()
        assert reader.read_bytes(raw).parts == made.score.parts
        assert complaints(raw) == complaints(document.written()) == []
        again = check(from_bytes(raw).score).findings
        assert [one.says for one in again if one.rule is finding.rule] == []
        assert {one.rule.id for one in again} <= had - {finding.rule.id}


@pytest.mark.parametrize(("rule", "bars", "name", "how", "wanted"), [row for row in OFFERED if row[4]])
def test_nothing_but_the_notes_of_a_mend_changes(rule, bars, name, how, wanted):
    document, findings = opened(bars, name, how)
    (finding,) = [one for one in findings if one.rule.id == f"percussion-{rule}"]
    before = document.written()
    ordinals = {}
    for part in document.score.parts:
        for measure in part.measures:
            for note in measure.notes:
                ordinals[NoteRef(part.id, measure.index, note.n)] = len(ordinals)
    old = re.findall(rb"<note>.*?</note>", before, re.S)
    for mend in finding.mends[:-1]:
        after = document.with_edits(mend.edits).written()
        if isinstance(mend.edits[0], AddWords):
            begins = next(i for i, byte in enumerate(before) if byte != after[i])
            assert after.endswith(before[begins:])
            continue
        touched = {ordinals[edit.note] for edit in mend.edits}
        gone = {ordinals[edit.note] for edit in mend.edits if isinstance(edit, Omit)}
        new = re.findall(rb"<note>.*?</note>", after, re.S)
        kept = [i for i in range(len(old)) if i not in gone]
        assert len(new) == len(kept)
        assert {i for i, one in zip(kept, new, strict=True) if one != old[i]} == touched - gone
        assert re.sub(rb"<note>.*?</note>", b"", after, flags=re.S) == re.sub(
            rb"<note>.*?</note>", b"", before, flags=re.S
        )


def test_a_printed_name_keeps_the_sound_and_its_line_is_named():
    document, findings = opened(["xC5@S/4 xF4@K/4 xC5@S/4 R/4", "xF4@K/4 R/4 R/2"], "Percussion", {"instruments": KIT})
    mends = [one.mends[0] for one in findings]
    assert [one.says for one in mends] == [
        "print “Snare drum” where the line begins", "print “Bass drum” where the line begins",
    ]  # fmt: skip
    after = from_bytes(document.with_edits([edit for one in mends for edit in one.edits]).written())
    assert check(after.score).findings == ()
    assert [m.notes for m in after.score.parts[0].measures] == [m.notes for m in document.score.parts[0].measures]


def test_a_name_is_not_made_up():
    _, findings = opened(["xC5/4 R/4 R/2"], "Percussion", {})
    assert [one.effect for one in findings[0].mends] == [Effect.ADVICE]


def test_the_advice_says_how_much_later_an_entry_can_come():
    _, findings = opened(PIATTI, "Percussion 1", MARIMBA)
    assert findings[0].mends[-1].says.endswith("or let the xylophone enter 1000 ms later")
    forces = parse('[changes]\n"cymbals > xylophone" = [2, 5.5]\n')
    (finding,) = check(from_bytes(part_xml(PIATTI, "Percussion 1", clef="treble")).score, forces).findings
    assert finding.mends[-1].says.endswith("or let the xylophone enter 4500 ms later")


def test_several_chords_are_thinned_together():
    _, findings = opened(["C5+E5+G5/4 D5+F5+A5/4 R/2"], "Xylophone", MARIMBA)
    (finding,) = findings
    assert [one.says for one in finding.mends[:2]] == [
        "let the chord be broken", "leave out E5 and F5 from within the chord",
    ]  # fmt: skip
    assert len(finding.mends[1].edits) == 2


# ------------------------------------------------------------------ a note without a pitch that goes


def ref(n: int) -> NoteRef:
    return NoteRef("P1", 0, n)


DRUM = (
    b'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Drum</part-name></score-part></part-list>'
    b'<part id="P1"><measure number="1"><attributes><divisions>2</divisions></attributes>\n'
    b"  <note>\n    <unpitched/>\n    <duration>1</duration>\n    <voice>1</voice>\n    <type>eighth</type>\n"
    b'    <stem>up</stem>\n    <notehead>x</notehead>\n    <beam number="1">begin</beam>\n'
    b"    <notations><articulations><accent/></articulations></notations>\n  </note>\n"
    b"  <note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    b'<duration>1</duration><voice>1</voice><type>eighth</type><beam number="1">end</beam></note>\n'
    b"  <note><chord/><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched>"
    b"<duration>1</duration><voice>1</voice><type>eighth</type></note>\n"
    b"</measure></part></score-partwise>"
)  # fmt: skip


def test_a_stroke_without_a_pitch_becomes_a_rest():
    document = from_bytes(DRUM).with_edits([Silence(ref(0))])
    wanted = DRUM.replace(b"<unpitched/>", b"<rest/>")
    for piece in (b"<stem>up</stem>", b"<notehead>x</notehead>",
                  b"<notations><articulations><accent/></articulations></notations>"):  # fmt: skip
        wanted = wanted.replace(b"\n    " + piece, b"")
    assert document.written() == wanted
    assert reader.read_bytes(wanted).parts == document.score.parts
    assert document.moved(ref(1)) == ref(1)


def test_a_stroke_without_a_pitch_is_taken_out_of_its_chord():
    document = from_bytes(DRUM).with_edits([Omit(ref(2))])
    at = DRUM.index(b"\n  <note><chord/>")
    assert document.written() == DRUM[:at] + DRUM[DRUM.index(b"</note>", at) + len(b"</note>") :]
    assert reader.read_bytes(document.written()).parts == document.score.parts
    assert document.moved(ref(2)) is None and document.moved(ref(1)) == ref(1)


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (Omit(ref(1)), "first note of its chord"),
        (Silence(ref(1)), "one of a chord"),
        (SetOctave(ref(0), 5), "no pitched note"),
        (Shorten(ref(0), 1, 2, ("16th", 0), None), "no pitched note"),
    ],
)
def test_what_a_stroke_without_a_pitch_does_not_take(edit, message):
    with pytest.raises(EditError, match=message):
        from_bytes(DRUM).with_edits([edit])
