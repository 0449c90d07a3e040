"""Mends of timpani parts: each kind is offered, writes just what it says, and the written file has nothing against it.

The lines that are wanted are written by hand; the file that a mend makes must be the file of that line, to the last
element.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from lxml import etree

import seeds
from deskproof.check import Report, check
from deskproof.document import Document, from_bytes
from deskproof.edits import Edit, moved
from deskproof.findings import Effect, Finding, Mend
from deskproof.forces import Forces, parse
from schema import complaints

PREFIX = "timpani-"
ROLL = [[0, "tremolo 3"]]
FAR_APART = """
[players.timpanist]
plays = ["timpani"]
drums = [{ inch = 32, low = "C2", high = "G2" }, { inch = 20, low = "Bb3", high = "C4" }]
"""


def of(**case: Any) -> dict[str, Any]:
    return {"instrument": "timpani", "clef": "F4", "tempo": 60, **case}


def forces_of(case: Mapping[str, Any]) -> Forces | None:
    return parse(case["forces"]) if "forces" in case else None


def findings(document: Document, case: Mapping[str, Any]) -> list[Finding]:
    return [one for one in check(document.score, forces_of(case)).findings if one.rule.id.startswith(PREFIX)]


def canonical(raw: bytes) -> bytes:
    """All of a file but its printed accidentals: one that was needed before may be left standing."""
    root = etree.fromstring(raw)
    for sign in list(root.iter("accidental")):
        sign.getparent().remove(sign)
    return etree.tostring(root, method="c14n")


def only(document: Document, case: Mapping[str, Any]) -> Finding:
    (finding,) = findings(document, case)
    return finding


def named(finding: Finding, says: str) -> Mend:
    found = [mend for mend in finding.mends if mend.says == says]
    assert len(found) == 1, [mend.says for mend in finding.mends]
    return found[0]


IN_TIME = "so that the 32-inch drum can be tuned in time"

WRITTEN = [
    ("no-time", of(tempo=120, notes="E2/4 Eb2/4 E2/4 Eb2/4"), "write E♭2 an octave higher", "E2/4 Eb3/4 E2/4 Eb3/4"),
    ("no-time", of(tempo=120, notes="E2/4 Eb2/4 E2/4 Eb2/4"), "leave out E♭2", "E2/4 R/4 E2/4 R/4"),
    (
        "no-time", of(tempo=120, notes="E2/4 Eb2/4 E2/2 E2/4 D2/4 E2/2"),
        "write E♭2 and D2 an octave higher", "E2/4 Eb3/4 E2/2 E2/4 D3/4 E2/2",
    ),
    (  # the second bar is the first played again
        "no-time", of(tempo=120, notes="E2/4 Eb2/4 E2/4 Eb2/4", marks=[[0, "repeat"], [3, "repeat-end"]]),
        "leave out E♭2", "E2/4 R/4 E2/4 R/4",
    ),
    # four seconds, of which a semitone needs 2.2 and a tone 2.4: a quarter of one second stays
    ("no-time", of(notes="E2/1 D2/1", marks=ROLL), f"end the roll on E2 3.0 s sooner, {IN_TIME}", "E2/4 R/2. D2/1"),
    ("no-time", of(notes="E2/1 D2/1", marks=ROLL), "leave out D2", "E2/1 R/1"),
    (
        "no-time", of(notes="E2/1 E2/1 D2/1", marks=[*ROLL, [0, "tie"]]),
        f"end the roll on E2 3.0 s sooner, {IN_TIME}", "E2/1 E2/4 R/2. D2/1",
    ),
    (
        "no-time", of(notes="E2/1 E2/1 E2/1 D2/1", marks=[*ROLL, [0, "tie"], [1, "tie"]]),
        f"end the roll on E2 3.0 s sooner, {IN_TIME}", "E2/1 E2/1 E2/4 R/2. D2/1",
    ),
    (  # back to E in time as well
        "no-time", of(notes="E2/1 D2/1 E2/1", marks=ROLL),
        f"end the roll on E2 and D2 3.0 s sooner, {IN_TIME}", "E2/4 R/2. D2/4 R/2. E2/1",
    ),
    ("no-time", of(notes="E2/1 D2/1 D2/1 E2/1", marks=[[1, "tie"]]), "leave out D2", "E2/1 R/1 R/1 E2/1"),
    (
        "no-time", of(notes="E2/1 D2/1 D2/1 E2/1", marks=[[1, "tie"]]),
        "write D2 an octave higher", "E2/1 D3/1 D3/1 E2/1",
    ),
    (
        "no-time", of(tempo=120, notes="E2/4 C2/4 E2/4 C2/4", forces=FAR_APART),
        "write C2 two octaves higher", "E2/4 C4/4 E2/4 C4/4",
    ),
    (
        "no-time", of(tempo=120, notes="Bb3/4 C4/4 Bb3/4 C4/4", forces=FAR_APART),
        "write C4 two octaves lower", "Bb3/4 C2/4 Bb3/4 C2/4",
    ),
    # three seconds of a dotted half, of which 2.2 are needed, less the second of the A
    ("quick", of(notes="E2/2. A2/4 Eb2/1"), f"end E2 2.0 s sooner, {IN_TIME}", "E2/4 R/2 A2/4 Eb2/1"),
    ("quick", of(tempo=120, notes="E2/4 R/2 D2/4"), "write D2 an octave higher", "E2/4 R/2 D3/4"),
    ("quick", of(tempo=120, notes="E2/4 R/2 D2/4"), "leave out D2", "E2/4 R/2 R/4"),
    ("together", of(notes="D2+E2/1"), "write D2 an octave higher", "D3+E2/1"),
    ("together", of(notes="D2+E2/1"), "write E2 an octave higher", "D2+E3/1"),
    ("together", of(notes="D2+E2/1"), "leave out D2", "E2/1"),
    ("together", of(notes="D2+E2/1"), "leave out E2", "D2/1"),
    ("together", of(notes="D2+E2/1 D2+E2/1", marks=[[0, "tie"]]), "leave out D2", "E2/1 E2/1"),
    ("together", of(notes="D2+E2/1 D2+E2/1", marks=[[0, "tie"]]), "leave out E2", "D2/1 D2/1"),
    ("together", of(notes="F2+C3+F3/1"), "leave out F2", "C3+F3/1"),
    ("together", of(notes="F2+C3+F3/1"), "leave out C3", "F2+F3/1"),
    ("together", of(notes="F2+C3+F3/1 F2+C3+F3/1"), "leave out F3", "F2+C3/1 F2+C3/1"),
    (
        "fifth-drum", of(tempo=160, notes="E2/8 A2/8 D3/8 G3/8 B3/8 E2/8 A2/8 B3/8"),
        "leave out B3", "E2/8 A2/8 D3/8 G3/8 R/8 E2/8 A2/8 R/8",
    ),
    (
        "fifth-drum", of(tempo=160, notes="E2/8 C4/8 E2/8 C4/8 E2/2"),
        "write C4 an octave lower", "E2/8 C3/8 E2/8 C3/8 E2/2",
    ),
]  # fmt: skip


def test_the_table_has_every_kind():
    rules = Counter(rule for rule, *_ in WRITTEN)
    words = Counter(says.split()[0] for _, _, says, _ in WRITTEN)
    assert set(rules) == {"no-time", "together", "quick", "fifth-drum"} and min(rules.values()) >= 2
    assert set(words) == {"write", "leave", "end"} and min(words.values()) >= 4


@pytest.mark.parametrize(("rule", "case", "says", "wanted"), WRITTEN)
def test_a_mend_writes_what_it_says_and_no_more(rule: str, case: dict[str, Any], says: str, wanted: str):
    raw = seeds.score(case)
    document = from_bytes(raw)
    finding = only(document, case)
    assert finding.rule.id == PREFIX + rule
    mend = named(finding, says)
    assert mend.effect is Effect.CHANGES_SOUND
    after = document.with_edits(mend.edits)
    data = after.written()
    assert canonical(data) == canonical(lines(case, wanted))
    assert complaints(data) == complaints(raw)
    again = from_bytes(data)
    assert again.score == after.score
    assert check(again.score, forces_of(case)).findings == ()


def lines(case: Mapping[str, Any], text: str) -> bytes:
    """The case with other notes. Marks stay with the ordinals of the notes; a rest is neither tied nor rolled."""
    rests = {i for i, token in enumerate(seeds.tokens(text)) if not token.pitches}
    marks = [row for row in case.get("marks", ()) if row[0] not in rests or row[1].startswith("repeat")]
    return seeds.score({**case, "marks": marks}, text)


@pytest.mark.parametrize("case", [case for _, case, *_ in WRITTEN], ids=lambda case: case["notes"])
def test_few_are_offered_and_words_come_last(case: dict[str, Any]):
    finding = only(from_bytes(seeds.score(case)), case)
    *written, last = finding.mends
    assert 1 <= len(written) <= 4
    assert all(mend.edits for mend in written)
    assert (last.effect, last.edits) == (Effect.ADVICE, ())


# ---------------------------------------------------------------- what is not offered


def said(document: Document, case: Mapping[str, Any]) -> list[str]:
    return [mend.says for mend in only(document, case).mends if mend.edits]


def with_slur(case: Mapping[str, Any], first: int, last: int) -> Document:
    root = etree.fromstring(seeds.score(case))
    for at, kind in ((first, "start"), (last, "stop")):
        notations = etree.SubElement(root.findall(".//note")[at], "notations")
        etree.SubElement(notations, "slur", type=kind, number="1")
    return from_bytes(seeds.written(root))


def test_a_note_at_the_end_of_a_slur_is_not_left_out():
    case = of(tempo=120, notes="E2/4 Eb2/4 E2/2")
    assert said(from_bytes(seeds.score(case)), case) == ["write E♭2 an octave higher", "leave out E♭2"]
    assert said(with_slur(case, 1, 2), case) == ["write E♭2 an octave higher"]
    assert complaints(with_slur(case, 1, 2).written()) == []


def test_a_note_is_not_moved_onto_another_of_its_chord():
    """E2 and E3 beside each other: D2 cannot become D3, which is struck already."""
    case = of(tempo=120, notes="E2/4 D2+D3/4 E2/2")
    assert said(from_bytes(seeds.score(case)), case) == ["leave out D2"]


def test_more_notes_than_sticks_are_not_helped_by_another_octave():
    """E3 or F2 would have a drum; each of the three can still go."""
    case = of(notes="E2+A2+F3/1")
    offered = said(from_bytes(seeds.score(case)), case)
    assert sorted(offered) == ["leave out A2", "leave out E2", "leave out F3"]


def test_what_no_single_value_can_hold_is_not_shortened():
    """Of five quarters tied as a whole and a quarter the last is a quarter: too little to be ended sooner."""
    case = of(notes="E2/1 E2/4 Eb2/2.", marks=[[0, "tie"]])
    assert not [one for one in said(from_bytes(seeds.score(case)), case) if one.startswith("end")]


def test_what_may_be_beamed_is_not_shortened():
    """Two seconds where 2.2 are needed: a sixteenth less would do, but a dotted eighth is not called held."""
    case = of(tempo=30, notes="E2/8. A2/16 A2/8. Eb2/16 R/2 R/1")
    assert said(from_bytes(seeds.score(case)), case) == ["write E♭2 an octave higher", "leave out E♭2"]


def test_where_no_time_is_left_nothing_is_ended_sooner():
    case = of(tempo=120, notes="E2/2 Eb2/2")
    assert said(from_bytes(seeds.score(case)), case) == ["write E♭2 an octave higher", "leave out E♭2"]


def test_where_everything_goes_wrong_nothing_is_mended_note_by_note():
    """Only the 23-inch drum has these four notes, and each time it is tuned in 1.5 s."""
    line = ["F#3", "G3", "F#3", "G#3", "F#3", "A3", "F#3"]
    few, many = line, [*line, "G3", "G#3", "G3", "A3", "G3"]
    for row, written in ((few, True), (many, False)):
        case = of(tempo=120, notes=" ".join(f"{one}/4 R/2." for one in row))
        found = findings(from_bytes(seeds.score(case)), case)
        assert {one.rule.id for one in found} == {"timpani-quick"}
        assert any(mend.edits for one in found for mend in one.mends) == written
        assert all(one.mends[-1].effect is Effect.ADVICE for one in found)


# ---------------------------------------------------------------- parts drawn at random


def drawn(seed: int) -> dict[str, Any]:
    r = random.Random(seed)
    pitches = r.sample(["D2", "Eb2", "E2", "F2", "G2", "A2", "Bb2", "C3", "D3", "F3", "A3", "C4"], r.randrange(3, 6))
    notes = []
    for _ in range(r.randrange(3, 7)):
        for value in r.choice((("1",), ("2", "2"), ("2.", "4"), ("4", "4", "2"), ("4", "4", "4", "4"))):
            many = r.choice((1, 1, 1, 1, 1, 2))
            chord = sorted(r.sample(pitches, many), key=seeds.midi)
            notes.append(f"{'R' if r.random() < 0.15 else '+'.join(chord)}/{value}")
    return of(tempo=r.choice((60, 90, 120, 160)), notes=" ".join(notes))


Key = tuple[str, str, tuple[Any, ...]]


def told(report: Report, edits: Sequence[Edit] = ()) -> set[Key]:
    """What is found note by note: rule, level, and the notes as they are counted after the edits."""
    return {
        (one.rule.id, one.level, tuple(now for ref in one.notes if (now := moved(ref, edits)) is not None))
        for atoms in report.state.atoms.values()
        for one in atoms
    }


def test_every_mend_helps_in_the_written_file():
    kinds: Counter[tuple[str, str]] = Counter()
    for seed in range(100):
        case = drawn(seed)
        document = from_bytes(seeds.score(case))
        report = check(document.score)
        for finding in report.findings:
            for mend in finding.mends if finding.rule.id.startswith(PREFIX) else ():
                if not mend.edits:
                    continue
                kinds[finding.rule.id.removeprefix(PREFIX), mend.says.split()[0]] += 1
                after = document.with_edits(mend.edits)
                again = from_bytes(after.written())
                assert again.score == after.score
                assert told(check(again.score)) < told(report, mend.edits), (case["notes"], mend.says)
    assert sum(kinds.values()) > 100
    assert {word for _, word in kinds} == {"write", "leave", "end"}
    assert {rule for rule, _ in kinds} == {"no-time", "together", "quick", "fifth-drum"}
