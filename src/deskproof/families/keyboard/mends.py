"""Ways out of what is too much for a hand at a keyboard.

What is written is checked again before anybody sees it, so that a way out that does not help is not offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof.edits import Edit, SetMark, SetOctave, SetStaff, complete
from deskproof.families.base import Context
from deskproof.families.keyboard import pedal_rules, rules
from deskproof.families.keyboard.wording import listed
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import Note, NoteRef, Part
from deskproof.spans import Span

OCTAVE = 12
STAVES = 2


def mends(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done, the least change first; what writes nothing is for the composer to decide."""
    part = context.score.parts[finding.place.part]
    rule = finding.rule
    if rule is rules.STRETCH:
        if finding.numbers["breaks"]:
            edits = tuple(SetMark(ref, "arpeggiate") for ref in finding.notes)
            yield Mend("let the chord be broken", Effect.CHANGES_SOUND, edits)
        yield from _nearer(finding, part, context)
        yield Mend("leave out a note, or give it to another player", Effect.ADVICE)
    elif rule is rules.NOTES:
        doubled = _doubled(finding, part)
        said = f"leave out {listed(doubled)}, doubled in another octave" if doubled else "leave out inner notes"
        yield Mend(said, Effect.ADVICE)
    elif rule is rules.LEAP:
        yield from _octave(finding, part, context)
        yield Mend("give the hand more time, or the notes to the other hand", Effect.ADVICE)
    elif rule is rules.REPEAT:
        yield from _in_turn(finding, part)
        yield Mend("let the hands strike the key in turn, or repeat more slowly", Effect.ADVICE)
    elif rule is rules.RESTRUCK:
        yield Mend("let the held note end where the key is struck again, and hold it with the pedal", Effect.ADVICE)
    elif rule is rules.LET_GO:
        yield Mend("write the note as long as it can be held, or share it with the other hand", Effect.ADVICE)
    elif rule is rules.FAST:
        yield Mend("share the notes between the hands, or leave some out", Effect.ADVICE)
    elif rule is pedal_rules.UNA_CORDA_OPEN:
        yield Mend("print “tre corde” where the pedal is to come up", Effect.ADVICE)


def _note(part: Part, ref: NoteRef) -> Note:
    return part.measures[ref.measure].notes[ref.n]


def _moved(part: Part, refs: Sequence[NoteRef], up: int) -> list[Edit]:
    found: list[Edit] = []
    for ref in refs:
        pitch = _note(part, ref).pitch
        if pitch is not None:
            found.append(SetOctave(ref, pitch.octave + up))
    return found


def _nearer(finding: Finding, part: Part, context: Context) -> Iterator[Mend]:
    """The inner end of a chord an octave nearer: of the left hand its highest note, of the right its lowest."""
    first = (finding.atoms or (finding,))[0]
    rows = [(note.pitch.midi, ref) for ref in first.notes if (note := _note(part, ref)).pitch is not None]
    if len(rows) < STAVES or len(finding.atoms) > 1:
        return
    left = finding.numbers["hand"] == "left"
    _, ref = max(rows) if left else min(rows)
    edits = _moved(part, [ref], -1 if left else 1)
    pitch = _note(part, ref).pitch
    yield Mend(
        f"write {pitch} an octave {'lower' if left else 'higher'}", Effect.CHANGES_SOUND,
        complete(context.score, context.layouts, edits),
    )  # fmt: skip


def _octave(finding: Finding, part: Part, context: Context) -> Iterator[Mend]:
    """The notes that are leapt to, an octave nearer."""
    if len(finding.atoms) > 1:
        return
    for up, word in ((1, "higher"), (-1, "lower")):
        edits = _moved(part, finding.notes, up)
        if edits:
            names = "notes" if len(edits) > 1 else "note"
            yield Mend(
                f"write the {names} an octave {word}", Effect.CHANGES_SOUND,
                complete(context.score, context.layouts, edits),
            )  # fmt: skip


def _in_turn(finding: Finding, part: Part) -> Iterator[Mend]:
    """Every second of some repeated notes on the other staff, for the other hand."""
    if part.staves != STAVES:
        return
    refs = sorted(finding.notes, key=lambda ref: (ref.measure, _note(part, ref).start, ref.n))
    edits = [SetStaff(ref, STAVES + 1 - _note(part, ref).staff) for ref in refs[::2]]
    if edits:
        yield Mend("write every second of the notes for the other hand", Effect.KEEPS_SOUND, tuple(edits))


def _doubled(finding: Finding, part: Part) -> list[str]:
    """The inner notes of a chord that another octave has too; never its bass or its top."""
    pitches = sorted(
        (pitch for ref in finding.notes if (pitch := _note(part, ref).pitch) is not None), key=lambda pitch: pitch.midi
    )
    inner = pitches[1:-1]
    return [
        str(pitch)
        for pitch in inner
        if any(other is not pitch and (other.midi - pitch.midi) % OCTAVE == 0 for other in pitches)
    ]
