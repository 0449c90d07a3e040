"""Ways out of what hands and mallets do not do.

What is written is checked again before anybody sees it, so that a way out that does not help is not offered. The last
is always advice, for the composer to decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice

from deskproof import instruments, pitch
from deskproof.edits import AddWords, Edit, complete
from deskproof.families.base import Context, Plan
from deskproof.families.percussion import rewriting, rules
from deskproof.families.percussion.at_once import taken
from deskproof.families.percussion.mallets import bars_of, usual
from deskproof.families.percussion.setup import name_of
from deskproof.families.percussion.strokes import Reading, Stroke, read, refs
from deskproof.families.wording import listed
from deskproof.findings import Effect, Finding, Mend
from deskproof.score import NoteRef, Part
from deskproof.spans import Span

MOST_WRITTEN = 3  # ways out of one finding that write something
OCTAVES = (1, 2)  # by which a note is brought nearer
US = 1000

CHANGES, KEEPS, ADVICE = Effect.CHANGES_SOUND, Effect.KEEPS_SOUND, Effect.ADVICE

WAYS = {
    rules.MALLETS.id: "leave out a note, break the chord, or ask for four mallets in words",
    rules.REACH.id: "write a note an octave nearer, or let the chord be broken",
    rules.LEAP.id: "write the note an octave nearer, or give the hands more time",
    rules.HANDS.id: "give one of the instruments to another player",
    rules.CHANGE.id: "give one of the instruments to another player, or let the {after} enter {later_ms} ms later",
    rules.STICKS.id: "keep the sticks, or give the change more time",
    rules.DAMP.id: "let it ring, damp it where a hand is free, or let another player damp it",
    rules.ROLL.id: "write single strokes, or another instrument",
    rules.UNNAMED.id: "print the instrument's name where the line begins",
}


def mends(finding: Finding, plan: Plan, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """What can be done, the least change first, then advice."""
    yield from islice(_written(finding, spans, context), MOST_WRITTEN)
    numbers = finding.numbers
    yield Mend(WAYS[finding.rule.id].format(**{**numbers, "later_ms": -(-numbers.get("over", 0) // US)}), ADVICE)


def _written(finding: Finding, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    part = context.score.parts[finding.place.part]
    rule = finding.rule
    if rule is rules.MALLETS:
        yield from _broken(finding, part)
        yield from _fewer(finding, part, context)
    elif rule is rules.REACH:
        yield from _broken(finding, part)
        yield from _nearer(finding, part, spans, context)
    elif rule is rules.LEAP:
        yield from _leapt(finding, part, spans, context)
    elif rule in (rules.HANDS, rules.CHANGE):
        reading = read(spans, context)
        if reading is not None:
            yield from _without(finding, part, reading)
    elif rule is rules.UNNAMED:
        yield from _named(finding, part)


def _atoms(finding: Finding) -> tuple[Finding, ...]:
    return finding.atoms or (finding,)


# ------------------------------------------------------------------ bars of a keyboard


def _broken(finding: Finding, part: Part) -> Iterator[Mend]:
    edits = rewriting.broken(part, finding.notes)
    if edits:
        yield Mend("let the chord be broken", CHANGES, tuple(edits))


def _fewer(finding: Finding, part: Part, context: Context) -> Iterator[Mend]:
    """Each chord without as many inner notes as are too many: first such as another octave has too."""
    known: list[Edit] = []
    for doubled, where in ((True, ", doubled in another octave"), (False, " from within the chord")):
        found = [rewriting.thinned(part, one.notes, one.numbers["over"], doubled) for one in _atoms(finding)]
        rows = [one for one in found if one is not None]
        edits = [edit for _, own in rows for edit in own]
        if len(rows) == len(found) and edits != known:
            said = listed(list(dict.fromkeys(name for names, _ in rows for name in names)))
            yield _mend(f"leave out {said}{where}", edits, context)
            known = edits


def _nearer(finding: Finding, part: Part, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """The highest of the bars an octave lower, or the lowest an octave higher."""
    for end, up in ((-1, -1), (0, 1)):
        own: list[NoteRef] = []
        for one in _atoms(finding):
            rows = list(rewriting.keys_of(part, one.notes).values())
            own += rows[end] if len(rows) > 1 else []
        yield from _in_octave(own, up, part, spans, context)


def _leapt(finding: Finding, part: Part, spans: Sequence[Span], context: Context) -> Iterator[Mend]:
    """The upper ends of the leaps as few octaves lower as will do, or the lower ends higher."""
    reading = read(spans, context)
    ends: tuple[list[NoteRef], list[NoteRef]] = ([], [])  # upper, lower
    for one in _atoms(finding):
        before, after = one.numbers["from_midi"], one.numbers["to_midi"]
        rises = sum(after) * len(before) > sum(before) * len(after)
        ends[not rises].extend(one.notes)
        ends[rises].extend(_left(one, part, reading) if reading is not None else ())
    octaves = next((n for n in OCTAVES if all(_near(one, n) for one in _atoms(finding))), 0)
    for own, way in zip(ends, (-1, 1), strict=True):
        yield from _in_octave(own if octaves else (), way * octaves, part, spans, context)


def _near(atom: Finding, octaves: int) -> bool:
    """Whether there is time for a leap that is so many octaves shorter."""
    instrument = instruments.by_name(atom.numbers["instrument"])
    bars = bars_of(instrument.id) if instrument is not None else None
    low, high = sorted((atom.numbers["from_midi"][0], atom.numbers["to_midi"][0]))
    if bars is None:
        return False
    mm = bars.between_mm(low, high - rewriting.OCTAVE * octaves)
    return usual().need_us(mm)[0] <= int(atom.numbers["have_us"])


def _left(atom: Finding, part: Part, reading: Reading) -> tuple[NoteRef, ...]:
    """The notes that a leap comes from: the last before it on these bars."""
    name, keys = atom.numbers["instrument"], atom.numbers["from_midi"]
    struck: list[Stroke] = []
    for row in reading.onsets:
        if set(atom.notes) & set(refs(part, row)) and row[0].event.pass_ == atom.place.pass_:
            break
        own = [one for one in row if one.key in keys and name_of(one.instrument) == name]
        struck = own or struck
    return refs(part, struck)


def _in_octave(
    own: Sequence[NoteRef], up: int, part: Part, spans: Sequence[Span], context: Context
) -> Iterator[Mend]:
    """Notes so many octaves higher, named as they sound: so does the finding."""
    own = tuple(dict.fromkeys(own))
    edits = rewriting.in_octave(part, own, up)
    if edits:
        heard = {(e.measure, e.note.n): e.sounding for span in spans for e in span.events if e.sounding is not None}
        said = listed(list(dict.fromkeys(pitch.name(heard[ref.measure, ref.n]) for ref in own)))
        far = "an octave" if abs(up) == 1 else "two octaves"
        yield _mend(f"write {said} {far} {'higher' if up > 0 else 'lower'}", edits, context)


def _mend(says: str, edits: Sequence[Edit], context: Context) -> Mend:
    return Mend(says, CHANGES, complete(context.score, context.layouts, edits))


# ------------------------------------------------------------------ one player's instruments


def _without(finding: Finding, part: Part, reading: Reading) -> Iterator[Mend]:
    """Without the strokes of one of the instruments, where they are too much; those with fewest notes first."""
    own: dict[str, list[Stroke]] = {}
    if finding.rule is rules.HANDS:
        notes = set(finding.notes)
        for row in reading.onsets:
            for stroke in row:
                if stroke.instrument and notes & set(refs(part, [stroke])):
                    own.setdefault(stroke.instrument, []).append(stroke)
    else:
        for one in _atoms(finding):
            for before, after in zip(reading.onsets, reading.onsets[1:], strict=False):
                entry = [stroke for stroke in after if set(one.notes) & set(refs(part, [stroke]))]
                for stroke in entry:
                    own.setdefault(stroke.instrument, []).append(stroke)
                for stroke in before if entry else ():
                    if name_of(taken(stroke)) == one.numbers["before"]:
                        own.setdefault(stroke.instrument, []).append(stroke)
    for name in sorted(own, key=lambda key: (len(refs(part, own[key])), any(one.rolls for one in own[key]))):
        struck = refs(part, own[name])
        edits = rewriting.left_out(part, struck)
        if edits:
            what = "roll" if all(one.rolls for one in own[name]) else "stroke"
            many = f"the {what}" if len(struck) == 1 else f"{len(struck)} {what}s"
            yield Mend(f"leave out {many} on the {name_of(name)}", CHANGES, tuple(edits))


def _named(finding: Finding, part: Part) -> Iterator[Mend]:
    """The name that the file has for its player, printed where the line begins."""
    if not finding.numbers["instrument"]:
        return
    name = name_of(finding.numbers["instrument"])
    place = finding.place
    edit = AddWords(part.id, place.measure, place.start, place.staff, name[:1].upper() + name[1:], "above")
    yield Mend(f"print “{edit.text}” where the line begins", KEEPS, (edit,))
