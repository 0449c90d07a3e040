"""Trills whose upper note the page leaves open, and trills whose names are not those of two strings.

Common practice: a trill C-C♯ is written from C to D♭, with the D strings set to flat before it begins.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from deskproof.accidentals import SIGNS as ACCIDENTALS
from deskproof.edits import Respell
from deskproof.families.harp.plan import PedalPlan
from deskproof.families.harp.reading import Reading
from deskproof.families.harp.spelling import respelled
from deskproof.families.harp.trill_pairs import Name, Trill, is_trill, next_letter, written_trills
from deskproof.families.harp.wording import NEAR, SIGNS, place_of
from deskproof.families.wording import first, listed
from deskproof.findings import Finding, Rule
from deskproof.pitch import STEPS, Pitch
from deskproof.score import GRACE, UNCHECKED, Note, NoteRef, Part

TRILL_SIGN = Rule(
    id="harp-trill-sign",
    levels=("notation",),
    title="a trill of which the upper note is left open",
    says=(
        "the trill on {note_name} has no sign for its upper note: {before} stands before it in the bar, the key has "
        "{by_key}."
    ),
    why="A harpist sets a pedal for the upper note beforehand and cannot try which of the two is meant.",
    facts=(),
    silent_when="the trill has a sign, or nothing in the bar says otherwise than the key",
    merge=first,
    worse=("count",),
)

TRILL_STRINGS = Rule(
    id="harp-trill-strings",
    levels=("notation",),
    title="a trill that is not written as the two strings it is played on",
    says="the trill {written} is played on {played}: {reason}.",
    why=(
        "A trill takes two strings, which stand as their pedals are set before it begins: C to C sharp is the C string "
        "and the D string at flat. A harpist who reads other names looks for a pedal that cannot be."
    ),
    facts=(),
    silent_when="both names are those of strings, and their pedals can be set so in time beside the other notes",
    merge=first,
    worse=("count",),
)

TRILL_RULES = (TRILL_SIGN, TRILL_STRINGS)


def trill_findings(reading: Reading, pedals: PedalPlan, part: Part) -> Iterator[Finding]:
    """The trills that can be read in two ways, and those that are not named by their strings; each once."""
    yield from _open(reading, part)
    yield from _misnamed(reading, pedals, part)


# -- the upper note is left open -------------------------------------------------------------------------------------


def _open(reading: Reading, part: Part) -> Iterator[Finding]:
    for row in reading.plucked:
        for one in row:
            for event in one.events:
                note = event.note
                if one.how != "trill" or event.pass_ > 1 or one.pitch == event.sounding or one.spelled is None:
                    continue
                if not is_trill(note) or note.marked("accidental-mark") is not None:
                    continue
                letter, alter = one.spelled
                before = _altered(part, event.measure, note, letter)
                if before is None or before.alter == alter or before.alter not in SIGNS:
                    continue
                yield TRILL_SIGN.at(
                    place_of(reading, event), (NoteRef(part.id, event.measure, note.n),), fold="trill", near=NEAR,
                    note_name=str(note.pitch), before=f"{letter}{SIGNS[int(before.alter)]}",
                    by_key=f"{letter}{SIGNS[alter]}", sign=ACCIDENTALS[alter],
                    sign_before=ACCIDENTALS[int(before.alter)],
                )  # fmt: skip


def _altered(part: Part, measure: int, trill: Note, letter: str) -> Pitch | None:
    """The last note before a trill in its bar, on the place of its upper note, that prints an accidental."""
    assert trill.pitch is not None
    octave = trill.pitch.octave + (letter == STEPS[0])
    rows = [
        note
        for note in part.measures[measure].notes
        if note.pitch is not None
        and note.accidental
        and (note.staff, note.pitch.step, note.pitch.octave) == (trill.staff, letter, octave)
        and (note.start < trill.start or _leads_to(note, trill))
        and not note.flags & UNCHECKED
    ]
    last = max(rows, key=lambda note: (note.start, note.n), default=None)
    return last.pitch if last is not None else None


def _leads_to(note: Note, trill: Note) -> bool:
    """Whether a note is a grace note before the trill."""
    return note.start == trill.start and note.n < trill.n and bool(note.flags & GRACE) and not trill.flags & GRACE


# -- the names are not those of two strings --------------------------------------------------------------------------


def _misnamed(reading: Reading, pedals: PedalPlan, part: Part) -> Iterator[Finding]:
    edits: Mapping[NoteRef, Sequence[Respell]] | None = None
    for row, planned in zip(reading.plucked, pedals.notes, strict=True):
        for trill in written_trills(row, planned):
            page = trill.page
            if trill.event.pass_ > 1 or page == trill.played:
                continue
            others = [(row[n], planned[n]) for n in range(len(row)) if n not in (trill.main, trill.upper)]
            none = [name for name in page if name[1] not in SIGNS]
            asked = {o.spelled for o, _ in others if o.spelled is not None}
            clash = sorted({a for a in asked for name in page if a[0] == name[0] and a[1] != name[1]})
            if trill.neighbours and not (none or clash):
                continue
            if edits is None:
                edits = _respelled(reading, pedals, part)
            better = _better(trill, {(t.string.letter, t.position) for _, t in others if t is not None and t.pedal})
            own = NoteRef(part.id, trill.event.measure, trill.event.note.n)
            names = []
            if better is not None:
                chain = ((own.measure, own.n), *trill.event.tied)
                step, alter, octave = better[0]
                names = [Respell(NoteRef(part.id, *place), step, int(alter), octave) for place in chain]
                for other, _ in others:
                    for event in other.events:
                        names += edits.get(NoteRef(part.id, event.measure, event.note.n), ())
            if none:
                reason = f"no string is {listed([_text(name) for name in none])}"
            elif clash:
                reason = f"the chord has {listed([_text(name) for name in clash])} as well"
            else:
                reason = "as it is named, its pedals cannot be set in time"
            yield TRILL_STRINGS.at(
                place_of(reading, trill.event), (own,), fold=("trill strings", page), near=NEAR,
                written="–".join(_text(name) for name in page), played=listed([_text(n) for n in trill.played]),
                reason=reason, better=_pair(better) if better is not None else "",
                names=[[str(e.note), e.step, e.alter, e.octave] for e in names],
                sign=ACCIDENTALS[int(better[1].alter)] if better is not None else "",
            )  # fmt: skip


def _better(trill: Trill, wanted: set[Name]) -> tuple[Pitch, Pitch] | None:
    """Names of neighbouring strings for the two notes beside those that the chord has: the plan's, or the plainest."""
    pitch = trill.event.note.pitch
    assert pitch is not None
    found = []
    for octave in (pitch.octave - 1, pitch.octave, pitch.octave + 1):
        for step in STEPS:
            low = Pitch(step, 0, octave)
            high = next_letter(low)
            one = low._replace(alter=int(pitch.midi - low.midi))
            two = high._replace(alter=int(pitch.midi + trill.interval - high.midi))
            names = ((one.step, int(one.alter)), (two.step, int(two.alter)))
            free = not any(a[0] == b[0] and a[1] != b[1] for a in wanted for b in names)
            if one.alter in SIGNS and two.alter in SIGNS and free and names != trill.page:
                found.append((names != trill.played, abs(one.alter) + abs(two.alter), one, two))
    best = min(found, default=None)
    return best[2:] if best is not None else None


def _respelled(reading: Reading, pedals: PedalPlan, part: Part) -> Mapping[NoteRef, Sequence[Respell]]:
    """The names of strings, by the first note that gets another."""
    found: dict[NoteRef, list[Respell]] = {}
    for ref, edit in respelled(reading, pedals, part):
        if isinstance(edit, Respell):
            found.setdefault(ref, []).append(edit)
    return found


def _text(name: Name) -> str:
    return str(Pitch(name[0], name[1], 0)).rstrip("0") if name[1] else f"{name[0]}♮"


def _pair(names: tuple[Pitch, Pitch]) -> str:
    return "–".join(_text((one.step, int(one.alter))) for one in names)
