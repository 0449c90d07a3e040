"""Ways out of what is wrong with a harp part: respelling is written, the rest is for the composer to decide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from deskproof import facts, words
from deskproof.edits import Respell, SetOctave, complete
from deskproof.families.base import Context, Plan
from deskproof.families.harp import rules
from deskproof.families.harp.notation_mends import notation_mends
from deskproof.families.harp.setting_checks import proposal
from deskproof.families.harp.sharing import DIVISIBLE, QUICK, mend_words
from deskproof.families.harp.two_strings import taking_turns
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import NoteRef, Part
from deskproof.spans import Span


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """Ways out: respelling is written, the rest is for the composer to decide."""
    if finding.rule is rules.SPELLING:
        edits = [
            Respell(NoteRef.parse(ref), step, alter, octave)
            for atom in finding.atoms or (finding,)
            for ref, step, alter, octave in atom.numbers["strings"]
        ]
        if edits:
            said = "write the note as the string that is played" if len(edits) == 1 else (
                f"write {len(edits)} notes as the strings that are played"
            )  # fmt: skip
            yield Mend(said, Effect.KEEPS_SOUND, complete(context.score, context.layouts, edits))
        return
    if finding.rule is rules.AGAIN:
        turns = taking_turns(finding.atoms or (finding,), context.score.parts[finding.place.part])
        if turns:
            yield Mend(
                "let two strings take turns: write every second of the notes as the other string",
                Effect.KEEPS_SOUND, complete(context.score, context.layouts, turns),
            )  # fmt: skip
    for positions in finding.numbers.get("settings", ()):
        yield Mend(proposal(positions, finding.numbers.get("wanted", ())), Effect.ADVICE)
    yield from notation_mends(finding, spans, context)
    yield from _advice(finding, spans, context)
    part = context.score.parts[finding.place.part]
    hurried = finding.rule in QUICK and finding.level != "impossible"  # one harp can; nobody hires a second one for it
    if finding.rule in DIVISIBLE and finding.level != "advice" and not hurried and words.how_many(part.name) == 1:
        said = mend_words(finding, spans, context)
        if said:
            yield Mend(f"share it between harps: {said}", Effect.ADVICE)


def _advice(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What the composer may do; an octave higher is written where a string has no pedal."""
    part = context.score.parts[finding.place.part]
    rule, numbers = finding.rule, finding.numbers
    if rule is rules.CLUSTER or rule is rules.TOO_FAST:
        if rule is rules.CLUSTER:
            quickest = int(facts.get("harp.pedal_quickest").value)
            yield Mend(
                f"break the chord in two, {quickest} ms or more apart, so that a foot can move between", Effect.ADVICE
            )
        doubled = _doubled(finding, part)
        if doubled:
            yield Mend(f"leave out {doubled}, which is doubled in another octave", Effect.ADVICE)
        yield Mend("leave out one of these notes, or give it to another player", Effect.ADVICE)
    elif rule is rules.NO_PEDAL:
        if numbers["string"]:
            edits = []
            for ref in finding.notes:
                note = part.measures[ref.measure].notes[ref.n]
                if note.pitch is not None:
                    edits.append(SetOctave(ref, note.pitch.octave + 1))
            yield Mend(
                f"write the note{'s' * (len(edits) > 1)} an octave higher", Effect.CHANGES_SOUND,
                complete(context.score, context.layouts, edits),
            )  # fmt: skip
        if numbers["string"]:
            yield Mend(f"let the {numbers['string']} string be tuned for it before the piece", Effect.ADVICE)
    elif rule is rules.LET_GO:
        yield Mend("write the notes as short as they can be, or a damping sign behind them", Effect.ADVICE)
    elif rule is rules.NO_SETTING:
        yield Mend("print it: deskproof mend --pedal-marks first", Effect.ADVICE)
    elif rule is rules.RINGS:
        yield Mend("damp the string before the pedal moves: print a damping sign", Effect.ADVICE)
    elif rule is rules.HANDS:
        yield Mend("leave out doubled notes", Effect.ADVICE)


def _doubled(finding: Finding, part: Part) -> str:
    """A note of the clash that sounds in another octave of its chord too, by name; empty if there is none."""
    for ref in finding.notes:
        measure = part.measures[ref.measure]
        note = measure.notes[ref.n]
        others = [n for n in measure.notes if n.start == note.start and n.pitch is not None and n.n != note.n]
        if note.pitch is not None and any(
            (n.pitch.midi - note.pitch.midi) % 12 == 0 != n.pitch.midi - note.pitch.midi for n in others if n.pitch
        ):
            return str(note.pitch)
    return ""
