"""Ways out of what is too much for a hand at a keyboard.

What is written is checked again before anybody sees it, so that a way out that does not help is not offered. What
changes the notes of a chord, or how long they last, comes from ``rewriting``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from deskproof.edits import Edit, SetMark, SetStaff, complete
from deskproof.families.base import Context, Plan
from deskproof.families.keyboard import pedal_rules, rewriting, rules
from deskproof.families.keyboard.planning import KINDS, settings_for
from deskproof.families.rewriting import in_octave, note_of
from deskproof.families.wording import listed
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import NoteRef, Part
from deskproof.spans import Span

STAVES = 2
MOST_OCTAVES = 3  # by which a note is moved to shorten a leap
COUNTS = ("no", "one", "two", "three")
MOST_STROKES = 2  # of a tremolo that is counted out

CHANGES, KEEPS, ADVICE = Effect.CHANGES_SOUND, Effect.KEEPS_SOUND, Effect.ADVICE


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done, the least change first; what writes nothing is for the composer to decide."""
    part = context.score.parts[finding.place.part]
    rule = finding.rule
    kind = next((s.instrument.kind for s in spans if s.instrument is not None and s.instrument.kind in KINDS), "piano")
    if rule in (rules.STRETCH, rules.NOTES):
        yield from _broken(finding)
        yield from _nearer(finding, part, context)
        yield from _fewer(finding, part, context, kind)
        yield Mend("leave out a note, or give it to another player", ADVICE)
    elif rule is rules.LEAP:
        yield from _over(finding, part)
        yield from _octave(finding, part, context, kind)
        yield Mend("give the hand more time, or the notes to the other hand", ADVICE)
    elif rule is rules.REPEAT:
        yield from _in_turn(finding, part)
        yield from _strokes(finding, part)
        yield from _every_second(finding, part)
        yield Mend("let the hands strike the key in turn, or repeat more slowly", ADVICE)
    elif rule is rules.RESTRUCK:
        yield from _let_go(finding, part, context, pedal=False)
        yield from _let_go(finding, part, context, pedal=True)
        yield Mend("let the held note end where the key is struck again, and hold it with the pedal", ADVICE)
    elif rule is rules.LET_GO:
        yield from _over(finding, part)
        yield from _let_go(finding, part, context, pedal=False)
        yield Mend("write the note as long as it can be held, or share it with the other hand", ADVICE)
    elif rule in (rules.FAST, rules.OCTAVES, rules.TREMOLO):
        yield from _strokes(finding, part)
        yield from _over(finding, part)
        if rule is rules.OCTAVES:
            yield from _single(finding, part)
        yield Mend("share the notes between the hands, or leave some out", ADVICE)
    elif rule is rules.COVERED:
        yield Mend("mark the others softer, or double the notes on a stronger instrument", ADVICE)
    elif rule is rules.FEET:
        yield Mend("leave out a key, give it to the left hand, or write it slower", ADVICE)
    elif rule is pedal_rules.UNA_CORDA_OPEN:
        yield Mend("print “tre corde” where the pedal is to come up", ADVICE)


def _atoms(finding: Finding) -> tuple[Finding, ...]:
    return finding.atoms or (finding,)


def _broken(finding: Finding) -> Iterator[Mend]:
    """Signs to break the chord, where there is time for it."""
    if all(one.numbers.get("breaks") for one in _atoms(finding)):
        yield Mend("let the chord be broken", CHANGES, tuple(SetMark(ref, "arpeggiate") for ref in finding.notes))


def _nearer(finding: Finding, part: Part, context: Context) -> Iterator[Mend]:
    """The inner end of each chord an octave nearer: of the left hand its highest note, of the right its lowest."""
    if finding.rule is not rules.STRETCH:
        return
    edits: list[Edit] = []
    names = []
    left = finding.numbers["hand"] == "left"
    for one in _atoms(finding):
        rows = [(note.pitch.midi, ref) for ref in one.notes if (note := note_of(part, ref)).pitch is not None]
        if len(rows) < STAVES:
            return
        _, ref = max(rows) if left else min(rows)
        if rewriting.taken(part, ref, -1 if left else 1):
            return
        edits += in_octave(part, [ref], -1 if left else 1)
        names.append(str(note_of(part, ref).pitch))
    said = listed(list(dict.fromkeys(names)))
    yield Mend(
        f"write {said} an octave {'lower' if left else 'higher'}", CHANGES,
        complete(context.score, context.layouts, edits),
    )  # fmt: skip


def _fewer(finding: Finding, part: Part, context: Context, kind: str) -> Iterator[Mend]:
    """Without inner notes that another octave has too, as few as will do; never the bass or the top."""
    limits = settings_for(kind, context).limits
    found = [rewriting.thinned(part, one.notes, limits) for one in _atoms(finding)]
    if any(one is None for one in found):
        return
    edits: list[Edit] = []
    names: list[str] = []
    for pitches, own in [one for one in found if one is not None]:
        edits += own
        names += pitches
    if edits:
        said = listed(list(dict.fromkeys(names)))
        yield Mend(
            f"leave out {said}, doubled in another octave", CHANGES, complete(context.score, context.layouts, edits)
        )


def _over(finding: Finding, part: Part) -> Iterator[Mend]:
    """The notes on the other staff, for the other hand."""
    if part.staves != STAVES:
        return
    edits = [SetStaff(ref, STAVES + 1 - note_of(part, ref).staff) for ref in _arrival(finding, part)]
    if edits:
        yield Mend("write the notes for the other hand, on its staff", KEEPS, tuple(edits))


def _arrival(finding: Finding, part: Part) -> tuple[NoteRef, ...]:
    """The notes at the places that a finding names; not those before them that it is measured from."""
    found = []
    for one in _atoms(finding):
        here = (one.place.measure, one.place.start)
        found += [ref for ref in one.notes if (ref.measure, note_of(part, ref).start) == here]
    return tuple(dict.fromkeys(found)) or finding.notes


def _octave(finding: Finding, part: Part, context: Context, kind: str) -> Iterator[Mend]:
    """The notes that are leapt to, or those that are left, as few octaves nearer as give the hand its time."""
    settings = settings_for(kind, context)
    arrival = _arrival(finding, part)
    if len(_atoms(finding)) > 1:  # to and fro: the upper notes, or the lower ones
        heights = [_midi(part, ref) for ref in finding.notes]
        ends = (min(heights), max(heights))
        arrival = tuple(ref for ref, key in zip(finding.notes, heights, strict=True) if 2 * key > sum(ends))
    start = tuple(ref for ref in finding.notes if ref not in arrival)
    for refs, others in ((arrival, start), (start, arrival)):
        up = 1 if _middle(part, refs) < _middle(part, others) else -1
        for octaves in range(1, MOST_OCTAVES + 1):
            keys = rewriting.keys_after(part, refs, others, up * octaves)
            um = settings.limits.keys.extent_um(keys) if keys else 0
            need_us = settings.leap_hard_us + settings.leap_hard_more_us * um // 1000
            if not keys or (um >= settings.leap_from_um and need_us > finding.numbers["have_us"]):
                continue
            if any(rewriting.taken(part, ref, up * octaves) for ref in refs):
                continue
            edits = in_octave(part, refs, up * octaves)
            said = listed(list(dict.fromkeys(str(note_of(part, ref).pitch) for ref in refs)))
            far = "an octave" if octaves == 1 else f"{COUNTS[octaves]} octaves"
            yield Mend(
                f"write {said} {far} {'higher' if up > 0 else 'lower'}", CHANGES,
                complete(context.score, context.layouts, edits),
            )  # fmt: skip
            break


def _middle(part: Part, refs: Sequence[NoteRef]) -> float:
    rows = [_midi(part, ref) for ref in refs]
    return sum(rows) / len(rows) if rows else 0.0


def _in_turn(finding: Finding, part: Part) -> Iterator[Mend]:
    """Every second of some repeated notes on the other staff, for the other hand."""
    if part.staves != STAVES:
        return
    edits = [SetStaff(ref, STAVES + 1 - note_of(part, ref).staff) for ref in _second(finding, part)]
    if edits:
        yield Mend("write every second of the notes for the other hand", KEEPS, tuple(edits))


def _every_second(finding: Finding, part: Part) -> Iterator[Mend]:
    """Every second of some repeated notes left out."""
    edits: list[Edit] = []
    for ref in _second(finding, part):
        own = rewriting.left_out(part, ref)
        if own is None:
            return
        edits += own
    if edits:
        yield Mend("leave out every second of the notes", CHANGES, tuple(edits))


def _second(finding: Finding, part: Part) -> list[NoteRef]:
    refs = sorted(finding.notes, key=lambda ref: (ref.measure, note_of(part, ref).start, ref.n))
    return refs[1::2]


def _strokes(finding: Finding, part: Part) -> Iterator[Mend]:
    """A tremolo with one stroke less, where it is counted out."""
    edits = []
    for ref in finding.notes:
        mark = note_of(part, ref).marked("tremolo")
        strokes = int(mark.value) if mark is not None and mark.value.isdecimal() else 0
        if not 1 < strokes <= MOST_STROKES:
            return
        edits.append(SetMark(ref, "tremolo", str(strokes - 1)))
    if edits:
        yield Mend("write the tremolo with a stroke less", CHANGES, tuple(edits))


def _single(finding: Finding, part: Part) -> Iterator[Mend]:
    """Octaves as single notes: without the inner note of each, where it can go."""
    edits: list[Edit] = []
    left = finding.numbers["hand"] == "left"
    for one in _atoms(finding):
        rows = sorted(one.notes, key=lambda ref: _midi(part, ref))
        inner = rewriting.left_out(part, rows[-1] if left else rows[0])
        if inner is None:
            return
        edits += inner
    if edits:
        yield Mend("write single notes instead of octaves", CHANGES, tuple(edits))


def _midi(part: Part, ref: NoteRef) -> float:
    pitch = note_of(part, ref).pitch
    return pitch.midi if pitch is not None else 0


def _held(finding: Finding, part: Part) -> tuple[NoteRef, ...]:
    """The notes that are held while others are struck."""
    if finding.rule is rules.LET_GO:
        return finding.notes
    struck = _arrival(finding, part)
    return tuple(ref for ref in finding.notes if ref not in struck)


def _let_go(finding: Finding, part: Part, context: Context, pedal: bool) -> Iterator[Mend]:
    """The held notes as long as they can be held; with the pedal for the rest."""
    edits: list[Edit] = []
    for one in _atoms(finding):
        held = _held(one, part)
        own = rewriting.let_go(part, held, Fraction(one.numbers["kept_q"]), context.score.grid, pedal)
        if own is None:
            return
        edits += own
    if edits:
        edits = list(dict.fromkeys(edits))
        said = "let the held note end there, with the pedal to hold it" if pedal else "let the held note end there"
        yield Mend(said, CHANGES, tuple(edits))

