"""One mend taken back among many: the others keep to their notes, or go and are named.

The notes of the score carry XML ids, which no edit touches. By them a simulation that knows nothing of ordinals follows
what each mend was about.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import pytest
from lxml import etree

from deskproof import document
from deskproof.document import Document
from deskproof.edits import (
    AddAccidental,
    ChangeRef,
    Edit,
    Omit,
    Respell,
    SetClef,
    SetKey,
    SetOctave,
    Shorten,
    Silence,
)
from deskproof.findings import Effect
from deskproof.score import CHORD, Note, NoteRef
from deskproof.web.taken import Round, TakenMend, edits_of, replayed, without

BARS, BEATS, HIGH = 3, 4, 3  # every bar: four quarters; every other one is a chord of three notes


def score() -> bytes:
    bars = []
    count = 0
    for bar in range(BARS):
        rows = ["<attributes><divisions>2</divisions><clef><sign>G</sign><line>2</line></clef></attributes>"]
        for beat in range(BEATS):
            for k in range(HIGH if beat % 2 else 1):
                chord = "<chord/>" if k else ""
                rows.append(
                    f'<note id="n{count}">{chord}<pitch><step>{"CEG"[k]}</step><octave>{4 + bar % 2}</octave></pitch>'
                    "<duration>2</duration><type>quarter</type></note>"
                )
                count += 1
        bars.append(f'<measure number="{bar + 1}">{"".join(rows)}</measure>')
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part>'
        f'</part-list><part id="P1">{"".join(bars)}</part></score-partwise>'
    ).encode()


def chords() -> dict[str, list[str]]:
    """For each note the ids of all that sound with it."""
    found: dict[str, list[str]] = {}
    for note in etree.fromstring(score()).iterfind("part/measure/note"):
        if note.find("chord") is None:
            together: list[str] = []
        together.append(note.get("id", ""))
        found[note.get("id", "")] = together
    return found


CHORDS = chords()


def mend(number: int, *edits: Edit) -> TakenMend:
    return TakenMend(number, f"f{number}", "trouble", f"mend {number}", Effect.CHANGES_SOUND, edits, "Piano, bar 1")


def ids_in(data: bytes) -> dict[NoteRef, str]:
    """Where the notes with an id stand, read with no help from the code."""
    root = etree.fromstring(data)
    return {
        NoteRef("P1", m, n): note.get("id", "")
        for m, bar in enumerate(root.iterfind("part/measure"))
        for n, note in enumerate(bar.iterfind("note"))
        if note.get("id")
    }


def look(data: bytes) -> dict[str, tuple[str | None, str | None, str, str, bool]]:
    """Step, alteration, octave, duration and whether an accidental stands, of each note that has an id."""
    return {
        note.get("id", ""): (
            note.findtext("pitch/step"),
            note.findtext("pitch/alter"),
            note.findtext("pitch/octave", ""),
            note.findtext("duration", ""),
            note.find("accidental") is not None,
        )
        for note in etree.fromstring(data).iterfind("part/measure/note")
        if note.get("id")
    }


@dataclass
class Simulated:
    """What was taken, by ids: for each edit its note, how that stood then, and what becomes of it."""

    number: int
    rows: list[tuple[str, tuple[object, ...] | None, list[str] | None, Edit]]  # id, how it stood, its chord, what then


def state(seen: tuple[str | None, str | None, str, str, bool]) -> tuple[object, ...]:
    return seen[:4]


def changed(now: dict[str, tuple[str | None, str | None, str, str, bool]], id_: str, edit: Edit) -> None:
    step, alter, octave, duration, sign = now[id_]
    if isinstance(edit, Omit):
        del now[id_]
    elif isinstance(edit, Silence):
        now[id_] = (None, None, "", duration, False)
    elif isinstance(edit, Shorten):
        now[id_] = (step, alter, octave, "1", sign)
    elif isinstance(edit, SetOctave):
        now[id_] = (step, alter, str(edit.octave), duration, sign)
    elif isinstance(edit, Respell):
        now[id_] = (edit.step, str(edit.alter) if edit.alter else None, str(edit.octave), duration, sign)
    elif isinstance(edit, AddAccidental):
        now[id_] = (step, alter, octave, duration, True)


def an_edit(rng: random.Random, ref: NoteRef, note: Note, after: Note | None) -> Edit:
    """An edit that this note allows."""
    assert note.pitch is not None
    alone = not note.flags & CHORD and not (after is not None and after.flags & CHORD)
    choices: list[Edit] = [
        SetOctave(ref, rng.randrange(2, 7)),
        Respell(ref, rng.choice("ABD"), rng.choice((-1, 1)), 4),
    ]
    if not note.accidental:
        choices.append(AddAccidental(ref, "natural"))
    if note.flags & CHORD:
        choices += [Omit(ref)] * 4
    elif alone:
        choices.append(Silence(ref))
        choices.append(SetClef(ref, "F", 4))
        if note.length > 1:
            choices += [Shorten(ref, note.length // 2, note.length, ("eighth", 0), ("eighth", 0))] * 3
    return rng.choice(choices)


def told_by_id(
    ids: dict[NoteRef, str], seen: dict[str, tuple[str | None, str | None, str, str, bool]], edit: Edit
) -> tuple[str, tuple[object, ...] | None, list[str] | None, Edit]:
    assert isinstance(edit.note, NoteRef)
    id_ = ids[edit.note]
    stood = None if isinstance(edit, SetClef) else state(seen[id_])
    chord = [other for other in CHORDS[id_] if other in seen] if isinstance(edit, Silence | Shorten) else None
    return id_, stood, chord, edit


def random_rounds(rng: random.Random, first: Document) -> tuple[tuple[Round, ...], list[list[Simulated]]]:
    rounds: list[Round] = []
    told: list[list[Simulated]] = []
    doc, number = first, 0
    for _ in range(rng.randrange(2, 5)):
        ids, seen = ids_in(doc.written()), look(doc.written())
        bars = doc.score.parts[0].measures
        free = [ref for ref in ids if bars[ref.measure].notes[ref.n].pitch is not None]
        rng.shuffle(free)
        mends: list[TakenMend] = []
        rows: list[Simulated] = []
        kinds: dict[int, bool] = {}
        for _ in range(rng.randrange(1, 4)):
            number += 1
            edits: list[Edit] = []
            for ref in [free.pop() for _ in range(min(len(free), rng.randrange(1, 4)))]:
                notes = bars[ref.measure].notes
                after = notes[ref.n + 1] if ref.n + 1 < len(notes) else None
                edit = an_edit(rng, ref, notes[ref.n], after)
                kind = isinstance(edit, SetClef)
                if kinds.setdefault(ref.measure, kind) is kind:  # in one round of one bar either clefs or notes
                    edits.append(edit)
            if not edits:
                continue
            mends.append(mend(number, *edits))
            rows.append(Simulated(number, [told_by_id(ids, seen, edit) for edit in edits]))
        if mends:
            rounds.append(tuple(mends))
            told.append(rows)
            doc = doc.with_edits(edits_of(mends))
    return tuple(rounds), told


def simulated(first: bytes, told: list[list[Simulated]], number: int) -> tuple[dict[str, tuple[object, ...]], set[int]]:
    """What each note is at last, and which later mends went with the one taken back."""
    now = look(first)
    dropped: set[int] = set()
    for rows in told:
        start = dict(now)
        for row in rows:
            if row.number == number:
                continue
            if all(
                id_ in start
                and before in (None, state(start[id_]))
                and (chord is None or chord == [other for other in CHORDS[id_] if other in start])
                for id_, before, chord, _ in row.rows
            ):
                for id_, _, _, edit in row.rows:
                    changed(now, id_, edit)
            else:
                dropped.add(row.number)
    return dict(now), dropped


@pytest.mark.parametrize("seed", range(150))
def test_the_others_keep_to_their_notes(seed: int) -> None:
    rng = random.Random(seed)
    raw = score()
    first = document.from_bytes(raw)
    rounds, told = random_rounds(rng, first)
    numbers = [one.number for mends in rounds for one in mends]
    number = rng.choice(numbers)
    kept, dropped = without(first, rounds, number)
    expected, gone = simulated(raw, told, number)
    assert {one.number for one in dropped} == gone
    assert [one.number for mends in kept for one in mends] == [n for n in numbers if n != number and n not in gone]
    written = replayed(first, kept).written()
    assert look(written) == expected
    assert document.from_bytes(written).score.parts == replayed(first, kept).score.parts


def test_the_seeds_drop_some_and_move_some() -> None:
    """The cases above hold both ways of going on."""
    dropped = moved = 0
    for seed in range(150):
        rng = random.Random(seed)
        first = document.from_bytes(score())
        rounds, _ = random_rounds(rng, first)
        number = rng.choice([one.number for mends in rounds for one in mends])
        kept, gone = without(first, rounds, number)
        dropped += len(gone)
        before = {one.number: one for mends in rounds for one in mends}
        moved += sum(before[one.number].edits != one.edits for mends in kept for one in mends)
    assert dropped >= 10
    assert moved >= 10


def test_all_taken_back_one_by_one_leaves_the_bytes_as_read() -> None:
    rng = random.Random(3)
    first = document.from_bytes(score())
    rounds, _ = random_rounds(rng, first)
    while rounds:
        rounds, _ = without(first, rounds, rng.choice([one.number for mends in rounds for one in mends]))
    assert replayed(first, rounds).written() == score()


def test_a_clef_that_a_mend_printed_takes_along_the_mend_of_that_clef() -> None:
    first = document.from_bytes(score())
    rounds = (
        (mend(1, SetClef(NoteRef("P1", 0, 4), "C", 3)),),
        (mend(2, SetClef(ChangeRef("P1", 0, 1, "clef"), "C", 4)), mend(3, SetKey(NoteRef("P1", 1, 0), 2))),
    )
    assert b"<line>4</line>" in replayed(first, rounds).written()
    kept, dropped = without(first, rounds, 1)
    assert [one.number for one in dropped] == [2]
    assert [one.number for mends in kept for one in mends] == [3]


def test_a_clef_behind_one_that_was_taken_back_is_still_the_same_clef() -> None:
    first = document.from_bytes(
        score().replace(
            b'<note id="n5">', b'<attributes><clef><sign>F</sign><line>4</line></clef></attributes><note id="n5">'
        )
    )
    rounds = (
        (mend(1, SetClef(NoteRef("P1", 0, 1), "C", 3)),),
        (mend(2, SetClef(ChangeRef("P1", 0, 2, "clef"), "F", 3)),),
    )
    kept, dropped = without(first, rounds, 1)
    assert not dropped
    assert kept[0][0].edits == (SetClef(ChangeRef("P1", 0, 1, "clef"), "F", 3),)
    assert b"<clef><sign>F</sign><line>3</line></clef>" in replayed(first, kept).written()


def test_an_edit_that_two_mends_share_stays_with_the_one_that_stays() -> None:
    first = document.from_bytes(score())
    both = AddAccidental(NoteRef("P1", 0, 0), "natural")
    rounds = ((mend(1, both, SetOctave(NoteRef("P1", 0, 1), 5)), mend(2, both)),)
    kept, dropped = without(first, rounds, 1)
    assert not dropped
    assert replayed(first, kept).written() == first.with_edits([both]).written()
