"""Mends do what they say: those that keep the sound keep it, those that change it change it."""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path

import pytest

from corpus import shared_scores, smallest
from deskproof import document, mending
from deskproof.check import Report, check
from deskproof.demo import SCORE as DEMO
from deskproof.edits import AddAccidental, SetMark, SetOctave
from deskproof.findings import Effect, Finding, Mend
from deskproof.forces import Forces
from deskproof.mending import MendError
from deskproof.recheck import recheck
from deskproof.score import NoteRef, Score
from deskproof.state import state_of
from oracles.music21_reading import compare, reading

SCORES = [f.path for f in smallest(60)] + [p for p in shared_scores() if p.suffix != ".mid"] + [DEMO]
MOST = 6  # mends of one kind tried one by one in one score; all together are tried besides


def sound(score: Score) -> Counter[tuple[str, int, int, int | float | None]]:
    """Every sounding note: who, from when, until when, which pitch."""
    state = state_of(score)
    return Counter(
        (line.role, event.onset, event.end, event.sounding)
        for line, events in zip(state.lines, state.timeline.parts, strict=True)
        for event in events
    )


def offered(report: Report, effect: Effect) -> list[tuple[Finding, Mend]]:
    return [(f, mend) for f in report.findings for mend in f.mends if mend.effect is effect]


def reread(read: document.Document, mends: list[Mend]) -> Score:
    edits = list(dict.fromkeys(edit for mend in mends for edit in mend.edits))
    after = read.with_edits(edits)
    again = document.from_bytes(after.packed(), read.name)
    assert again.score == after.score
    return again.score


def spoiled(read: document.Document) -> document.Document:
    """The score with every third of its printed accidentals taken out, so that there is much to mend."""
    count = 0

    def every_third(found: re.Match[bytes]) -> bytes:
        nonlocal count
        count += 1
        return b"" if count % 3 == 0 else found.group()

    data = re.sub(rb"<accidental>[a-z-]+</accidental>", every_third, read.written())
    return document.from_bytes(data, read.name)


def assert_effects_are_true(read: document.Document) -> Counter[Effect]:
    report = check(read.score)
    before = sound(read.score)
    keeping = offered(report, Effect.KEEPS_SOUND)
    changing = offered(report, Effect.CHANGES_SOUND)
    rng = random.Random(read.name)
    for finding, mend in rng.sample(keeping, min(MOST, len(keeping))):
        assert mend.edits, finding.says
        assert sound(reread(read, [mend])) == before, (finding.says, mend.says)
    if keeping:
        chosen = mending.chosen(report.findings, True, ())
        taken = mending.take(read, report, [mend for _, _, mend in chosen])
        assert not taken.left
        assert taken.document.edits
        assert sound(document.from_bytes(taken.document.packed(), read.name).score) == before
    for finding, mend in rng.sample(changing, min(MOST, len(changing))):
        if all(isinstance(edit, SetMark) and edit.kind == "arpeggiate" for edit in mend.edits):
            continue  # a broken chord has the same written notes
        assert sound(reread(read, [mend])) != before, (finding.says, mend.says)
    return Counter(mend.effect for _, mend in keeping + changing)


def test_keeps_sound_keeps_it_and_changes_sound_changes_it():
    tried: Counter[Effect] = Counter()
    for path in SCORES:
        tried += assert_effects_are_true(document.read(path))
    assert tried[Effect.CHANGES_SOUND] >= 10
    assert tried[Effect.KEEPS_SOUND] >= 2


def test_keeps_sound_keeps_it_where_many_accidentals_are_missing():
    tried: Counter[Effect] = Counter()
    for path in SCORES[::4]:
        tried += assert_effects_are_true(spoiled(document.read(path)))
    assert tried[Effect.KEEPS_SOUND] >= 50


def test_music21_hears_the_same_after_the_mends_that_keep_the_sound(tmp_path):
    read = document.read(DEMO)
    report = check(read.score)
    chosen = mending.chosen(report.findings, True, ())
    assert chosen
    taken = mending.take(read, report, [mend for _, _, mend in chosen])
    mended = tmp_path / "mended.musicxml"
    mended.write_bytes(taken.document.packed())
    assert mended.read_bytes() != DEMO.read_bytes()
    assert compare(reading(DEMO), reading(mended)) == []


@pytest.mark.parametrize("path", [*SCORES[:60:3], *SCORES[60:]], ids=lambda p: p.name)
def test_every_mend_offered_takes_findings_away_and_brings_none(path: Path):
    report = check(document.read(path).score)
    for finding in report.findings:
        for mend in finding.mends:
            if mend.effect is Effect.ADVICE:
                assert not mend.edits
                continue
            change = recheck(report.state, mend.edits, whole=True)
            assert change.gone and not change.new, (finding.says, mend.says)
            gone = {one.key for one in change.gone}
            assert gone & {atom.key for atom in finding.atoms}, "it takes away something of its own finding"


# ---------------------------------------------------------------- choosing and taking together


def flute(*octaves: int) -> document.Document:
    notes = "".join(
        f"<note><pitch><step>C</step><octave>{octave}</octave></pitch><duration>4</duration><type>whole</type></note>"
        f'</measure><measure number="{i + 2}">'
        for i, octave in enumerate(octaves)
    )
    return document.from_bytes(
        b'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        b'</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        + notes.encode() + b"</measure></part></score-partwise>"
    )  # fmt: skip


def ref(measure: int) -> NoteRef:
    return NoteRef("P1", measure, 0)


def move(measure: int, octave: int) -> Mend:
    return Mend("move", Effect.CHANGES_SOUND, (SetOctave(ref(measure), octave),))


def test_ids_choose_mends_and_the_unknown_is_named():
    report = check(flute(2, 5, 5, 5, 5, 2).score)
    ids = [finding.id for finding in report.findings]
    assert len(set(ids)) == 2
    (row,) = mending.chosen(report.findings, False, [f"{ids[1]}-1"])
    assert row[0] == f"{ids[1]}-1"
    assert row[1] is report.findings[1]
    assert mending.chosen(report.findings, False, [f"{ids[1]}-1"] * 2) == [row]
    assert mending.chosen(report.findings, True, []) == []  # nothing here keeps the sound
    with pytest.raises(MendError, match=rf"no mend 'zz'.*{ids[0]}-1"):
        mending.chosen(report.findings, False, ["zz"])


def test_advice_cannot_be_taken():
    report = check(flute(2, 5).score)
    advised = [report.findings[0].with_mends([Mend("ask the player", Effect.ADVICE)])]
    with pytest.raises(MendError, match="is advice: ask the player"):
        mending.chosen(advised, False, [f"{advised[0].id}-1"])
    assert mending.chosen(advised, True, ()) == []


def test_a_mend_that_clashes_with_one_before_is_left():
    read = flute(2, 5, 5, 2)
    report = check(read.score)
    one, two, other = move(0, 4), move(0, 5), move(3, 5)
    taken = mending.take(read, report, [one, two, other])
    assert taken.left == (two,)
    assert [m.notes[0].pitch.octave for m in taken.document.score.parts[0].measures[:4]] == [4, 5, 5, 5]
    assert document.from_bytes(taken.document.written()).score == taken.document.score


def test_a_mend_that_would_bring_a_finding_is_left():
    read = flute(2, 5, 5, 2)
    report = check(read.score)
    bad, good = move(1, 9), move(3, 5)
    taken = mending.take(read, report, [bad, good])
    assert taken.left == (bad,)
    assert [m.notes[0].pitch.octave for m in taken.document.score.parts[0].measures[:4]] == [2, 5, 5, 5]


def test_the_same_edit_in_two_mends_is_taken_once():
    read = flute(2, 5, 5, 2)
    taken = mending.take(read, check(read.score), [move(0, 5), move(0, 5)])
    assert taken.left == ()
    assert taken.document.edits == (SetOctave(ref(0), 5),)


def test_no_mend_is_the_same_document():
    read = flute(2, 5)
    taken = mending.take(read, check(read.score), [])
    assert taken.document.packed() == read.packed()


def test_the_summary_counts_what_is_left():
    read = flute(2, 5, 5, 5, 5, 2)
    report = check(read.score)
    taken = mending.take(read, report, [move(0, 5)])
    assert mending.summary(taken.document, Forces(), report) == "2 findings before, 1 after."
    none = mending.take(read, report, [move(0, 5), move(5, 5)])
    assert mending.summary(none.document, Forces(), report) == "2 findings before, 0 after."


def test_a_sign_for_a_note_that_another_mend_moves_is_taken_beside_it():
    read = flute(2, 5)
    mends = [move(0, 5), Mend("print it", Effect.KEEPS_SOUND, (AddAccidental(ref(0), "natural"),))]
    taken = mending.take(read, check(read.score), mends)
    assert taken.left == ()
    note = document.from_bytes(taken.document.written()).score.parts[0].measures[0].notes[0]
    assert (str(note.pitch), note.accidental) == ("C5", "natural")
