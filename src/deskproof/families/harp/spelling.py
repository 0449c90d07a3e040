"""Names of notes that are not those of the strings that the plan plays."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof.accidentals import SIGNS as ACCIDENTALS
from deskproof.edits import Respell, SetMark
from deskproof.families.harp import rules
from deskproof.families.harp.model import Settings
from deskproof.families.harp.plan import PedalPlan, PlannedNote, changes_as_spelled
from deskproof.families.harp.reading import Plucked, Reading
from deskproof.families.harp.wording import SIGNS, place_of, refs_of
from deskproof.findings import Finding
from deskproof.pitch import STEPS, Pitch
from deskproof.score import NoteRef, Part


def spelling_findings(reading: Reading, pedals: PedalPlan, settings: Settings, part: Part) -> Iterator[Finding]:
    """One finding a note whose name is not its string's, where other names spare changes or make them possible."""
    clashing_names, no_strings = _clashing_names(reading), _no_strings(reading)
    clashing = clashing_names | no_strings
    if not clashing and next(_renamed(reading, pedals), None) is None:
        return
    planned = pedals["changes"].value
    spelled = changes_as_spelled(reading.onsets, settings, reading.damps, pedals)
    if not clashing and spelled is not None and spelled <= planned:
        return
    as_spelled = _moves_as_spelled(reading, pedals) if spelled is None else spelled
    said = []
    if clashing_names:
        said.append("as spelled, some chords ask one pedal for two positions")
    if no_strings:
        said.append("some names are those of no string")
    what = _price(said, spelled, as_spelled, planned)
    rows = list(_renamed(reading, pedals))
    written = [one.events[0].note.pitch for _, one, _ in rows]
    example = ""
    if rows:
        _, _, taken = rows[0]
        example = f"{taken.string.letter}{SIGNS[taken.position]} for {str(written[0]).rstrip('0123456789-')}"
    renamed: dict[NoteRef, list[Respell]] = {}
    for ref, edit in respelled(reading, pedals, part):
        if isinstance(edit, Respell):
            renamed.setdefault(ref, []).append(edit)
    done: set[tuple[int, int]] = set()
    for onset, one, _ in rows:
        event = one.events[0]
        if (event.measure, event.note.n) in done:
            continue
        done.add((event.measure, event.note.n))
        yield rules.SPELLING.at(
            place_of(reading, event),
            refs_of(part, [one]),
            level="notation" if onset in clashing else "advice",
            fold="spelling",
            as_spelled=as_spelled,
            planned=planned,
            saved=max(as_spelled - planned, 0),
            what=what,
            example=example,
            strings=[[str(e.note), e.step, e.alter, e.octave] for e in renamed.get(refs_of(part, [one])[0], ())],
            more=" and the like" if len(rows) > 1 else "",
        )


def _moves_as_spelled(reading: Reading, pedals: PedalPlan) -> int:
    """Changes of position, letter by letter, if every note stood on the string that its name means."""
    stands: dict[str, int] = {}
    moves = 0
    for row, planned in zip(reading.plucked, pedals.notes, strict=True):
        for one, taken in zip(row, planned, strict=True):
            spelled = one.spelled or ((taken.string.letter, taken.position) if taken else None)
            if spelled is not None:
                letter, position = spelled
                moves += stands.get(letter, position) != position
                stands[letter] = position
    return moves


def _renamed(reading: Reading, pedals: PedalPlan) -> Iterator[tuple[int, Plucked, PlannedNote]]:
    """The notes whose string is not the one that the composer's name means."""
    for i, (row, planned) in enumerate(zip(reading.plucked, pedals.notes, strict=True)):
        for one, taken in zip(row, planned, strict=True):
            if taken is not None and not _is_trill(one) and _renames(one, taken):
                yield i, one, taken


def _is_trill(one: Plucked) -> bool:
    """Whether the name of a string hangs on that of another: a trill is written by its lower note."""
    own = one.pitch == one.events[0].sounding
    return one.how == "trill" and not (own and one.events[0].note.marked("tremolo") is not None)


def _clashing_names(reading: Reading) -> set[int]:
    """Onsets that, as spelled, ask one letter for two positions."""
    found = set()
    for i, row in enumerate(reading.plucked):
        asked: dict[str, int] = {}
        for one in row:
            if one.spelled and asked.setdefault(one.spelled[0], one.spelled[1]) != one.spelled[1]:
                found.add(i)
    return found


def _no_strings(reading: Reading) -> set[int]:
    """Onsets with a name that no string has, as F double sharp."""
    return {
        i
        for i, row in enumerate(reading.plucked)
        if any(one.spelled is None and _name_of(one) is not None for one in row)
    }


def respelled(reading: Reading, pedals: PedalPlan, part: Part) -> list[tuple[NoteRef, Respell | SetMark]]:
    """The names of strings for the notes that have other names, each with the first note of its tied chain.

    A trill is written by its lower string and the sign of its upper one; where these are no neighbours by name, or one
    has no string, it stays as it is.
    """
    found: dict[NoteRef, tuple[NoteRef, Respell]] = {}
    signs: dict[NoteRef, tuple[NoteRef, SetMark]] = {}
    for row, planned in zip(reading.plucked, pedals.notes, strict=True):
        above = {
            (e.measure, e.note.n): (one, taken)
            for one, taken in zip(row, planned, strict=True)
            if _is_trill(one)
            for e in one.events
            if one.pitch != e.sounding
        }
        for one, taken in zip(row, planned, strict=True):
            if taken is None:
                continue
            for event in one.events:
                written = event.note.pitch
                if written is None or written.midi != one.pitch:
                    continue  # a harmonic, or the second string of a trill: no note is written there
                first = NoteRef(part.id, event.measure, event.note.n)
                renames = _renames(one, taken)
                upper = above.get((event.measure, event.note.n))
                if upper is not None:
                    other, place = upper
                    if place is None or STEPS.index(place.string.letter) != _next(taken.string.letter):
                        continue
                    if not renames and other.spelled == (place.string.letter, place.position):
                        continue
                    signs[first] = first, SetMark(first, "accidental-mark", ACCIDENTALS[place.position])
                if not renames:
                    continue
                for measure, n in ((event.measure, event.note.n), *event.tied):
                    ref = NoteRef(part.id, measure, n)
                    edit = Respell(ref, taken.string.letter, taken.position, taken.string.octave)
                    found[ref] = (first, edit)
    return [*found.values(), *signs.values()]


def _next(letter: str) -> int:
    return (STEPS.index(letter) + 1) % len(STEPS)


def _price(said: list[str], spelled: int | None, moves: int, planned: int) -> str:
    """What is wrong with the names and what they cost, in words; ``spelled`` is None where they do not go in time."""
    if moves > planned:
        hurry = "" if spelled is not None else ", not all in time"
        said.append(
            f"as spelled the pedals move {moves} time{'s' * (moves != 1)}{hurry}, by other names {planned or 'never'}"
        )
    elif spelled is None and not said:
        said.append("as spelled, not all pedals can be moved, or notes held, in time")
    return "; ".join(said)


def _name_of(one: Plucked) -> Pitch | None:
    """How the note is written, if it is written at the pitch of its string."""
    written = one.events[0].note.pitch
    return written if written is not None and written.midi == one.pitch else None


def _renames(one: Plucked, taken: PlannedNote) -> bool:
    """Whether the string has another name than the note."""
    if one.spelled is not None:
        return one.spelled != (taken.string.letter, taken.position)
    return _name_of(one) is not None
