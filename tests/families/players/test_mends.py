"""Mends for players: what they write takes the finding away, in the file read again, and nothing else changes."""

from __future__ import annotations

from typing import Any

import pytest
from lxml import etree

import seeds
import seeds_players as faults
from deskproof.check import check
from deskproof.document import Document, from_bytes
from deskproof.findings import Effect, Finding
from deskproof.forces import Forces, parse

KEYBOARDS = {
    "instrument": "piano", "part": "Piano", "tempo": 60, 
    "notes": "C4/4 D4/4 E4/2 | R/2 R/4 R/4 | R/1 | R/1 | R/1 | R/1",
    "beside": [
        {"instrument": "celesta", "part": "Celesta", "tempo": 60,
         "notes": "R/1 | R/2 R/4 C5/4 | D5/4 E5/4 F5/2 | R/1 | R/1 | R/1"},
    ],
}  # fmt: skip


def tokens(raw: bytes, part: int = 0) -> list[str]:
    """The notes of a part as "C4/2", rests as "R/4"."""
    names = {"whole": "1", "half": "2", "quarter": "4", "eighth": "8"}
    rows = []
    for note in etree.fromstring(raw).findall("part")[part].iter("note"):
        pitch = note.find("pitch")
        name = "R" if pitch is None else f"{pitch.findtext('step')}{pitch.findtext('octave')}"
        rows.append(f"{name}/{names[note.findtext('type')]}{'.' * len(note.findall('dot'))}")
    return rows


def findings(document: Document, forces: Forces | None = None) -> list[Finding]:
    return [one for one in check(document.score, forces).findings if one.rule.id.startswith("players-")]


def written(document: Document, finding: Finding, says: str) -> Document:
    (mend,) = [mend for mend in finding.mends if says in mend.says]
    assert mend.effect is Effect.CHANGES_SOUND
    return document.with_edits(mend.edits)


def test_a_held_note_ends_sooner():
    """Half note to beat 4, celesta 3 s later: 5 s are wanted, so the note loses 2 s... and cannot; a whole one can."""
    case = {**KEYBOARDS, "notes": "C4/1 | R/1 | R/1 | R/1 | R/1 | R/1"}
    document = from_bytes(seeds.score(case))
    (finding,) = findings(document)
    assert finding.numbers["lack_us"] == 2_000_000
    after = written(document, finding, "end what is held before it in Piano 2.0 s sooner")
    assert tokens(after.written())[:3] == ["C4/2", "R/2", "R/1"]
    assert tokens(after.written(), 1) == tokens(document.written(), 1)
    assert not check(after.score).findings


def test_the_last_note_before_is_left_out():
    document = from_bytes(seeds.score(KEYBOARDS))
    (finding,) = findings(document)
    after = written(document, finding, "leave out the last note before it in Piano")
    assert tokens(after.written())[:3] == ["C4/4", "D4/4", "R/2"]
    assert not check(after.score).findings


def test_the_first_notes_of_the_entry_are_left_out():
    document = from_bytes(seeds.score(KEYBOARDS))
    (finding,) = findings(document)
    after = written(document, finding, "leave out the first 2 notes of the entry")
    assert tokens(after.written(), 1)[3:8] == ["R/4", "R/4", "E5/4", "F5/2", "R/1"]
    assert not check(after.score).findings


def test_within_one_part():
    case = {
        "instrument": "flute", "part": "Flute 2", "tempo": 60, "notes": "C5/1 | R/4 R/2 C5/4 | D5/1",
        "marks": [(0, "words to Piccolo"), (3, "words Piccolo"), (3, "transpose 12")],
    }  # fmt: skip
    document = from_bytes(seeds.score(case))
    (finding,) = findings(document)
    assert (finding.rule.id, finding.level, finding.numbers["lack_us"]) == ("players-change", "hard", 2_000_000)
    after = written(document, finding, "end what is held before it 2.0 s sooner")
    assert tokens(after.written())[:3] == ["C5/2", "R/2", "R/4"]
    assert not check(after.score).findings


def test_a_player_who_is_free_is_named():
    change = {
        "instrument": "flute", "part": "Flute 2", "tempo": 60, "notes": "C5/1 | R/2 C5/2 | D5/1",
        "marks": [(0, "words to Piccolo"), (2, "words Piccolo"), (2, "transpose 12")],
    }  # fmt: skip
    first = {"instrument": "flute", "part": "Flute 1", "tempo": 60, "notes": "C5/1 | R/1 | R/1"}
    third = {"instrument": "flute", "part": "Flute 3", "tempo": 60, "notes": "R/1 | R/1 | R/1 | R/1 | R/1 | C5/1"}
    busy = {**third, "notes": "R/1 | R/2 C5/2 | R/1"}
    for others, free in (([change, third], ["Flute 3"]), ([change, busy], [])):
        document = from_bytes(seeds.score({**first, "beside": others}))
        (finding,) = findings(document)
        assert finding.rule.id == "players-change" and finding.numbers["takers"] == free
        assert any("Flute 3" in mend.says for mend in finding.mends) == bool(free)


@pytest.mark.parametrize("kind", faults.KINDS)
def test_every_mend_offered_for_a_seeded_fault_mends_it_and_brings_nothing(kind: str):
    offered = 0
    for seed in range(40):
        case: dict[str, Any] = faults.made(kind, seed).case
        forces = parse(case["forces"]) if "forces" in case else None
        document = from_bytes(seeds.score(case))
        before = {one.id for one in check(document.score, forces).findings}
        for finding in findings(document, forces):
            for mend in finding.mends:
                if not mend.edits:
                    continue
                offered += 1
                after = check(from_bytes(document.with_edits(mend.edits).written()).score, forces)
                rules = [one.rule.id for one in after.findings]
                assert finding.rule.id not in rules or len(after.findings) < len(before), (seed, mend.says)
    assert offered > 0, kind
