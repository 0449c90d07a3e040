"""The same piece as MIDI and as MusicXML gives the same sounding notes."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

from corpus import shared
from deskproof import document
from deskproof.midi import read_bytes
from deskproof.score import CUE, Part, Score
from deskproof.timeline import Event, realise

Row = tuple[Fraction, Fraction, int]  # onset and end in quarters, sounding MIDI number


def heard(score: Score) -> list[tuple[Part, Event]]:
    """What sounds: no cue notes, no grace notes (the MIDI twins give them no time), no unpitched notes."""
    timeline = realise(score)
    return [
        (part, event)
        for part, events in zip(score.parts, timeline.parts, strict=True)
        for event in events
        if event.sounding is not None and not event.note.flags & CUE and event.end > event.onset
    ]


def row(score: Score, event: Event) -> Row:
    assert event.sounding is not None
    return Fraction(event.onset, score.grid), Fraction(event.end, score.grid), int(event.sounding)


def pieces(score: Score, part: Part, event: Event) -> list[Row]:
    """The printed notes of a tied chain, one by one."""
    found, at = [], event.onset
    for measure, n in ((event.measure, event.note.n), *event.tied):
        length = part.measures[measure].notes[n].length
        found.append((Fraction(at, score.grid), Fraction(at + length, score.grid), row(score, event)[2]))
        at += length
    return found


def compared(stem: str) -> tuple[int, list[tuple[str, Row]], list[Row]]:
    """How many notes the printed score has, and what each side has alone.

    The writer of the twins joins the ties of a chord only if all its notes are tied: a chain may stand there note
    by note.
    """
    printed = document.read(shared(f"{stem}.mxl")).score
    midi = read_bytes(shared(f"{stem}.mid").read_bytes(), stem)
    left = Counter(row(midi, event) for _, event in heard(midi))
    events = heard(printed)
    apart = []
    for part, event in events:
        if left[row(printed, event)]:
            left[row(printed, event)] -= 1
        else:
            apart.append((part, event))
    missing = []
    for part, event in apart:
        chain = Counter(pieces(printed, part, event))
        if len(chain) > 1 and chain <= left:
            left -= chain
        else:
            missing.append((part.name, row(printed, event)))
    return len(events), missing, sorted(left.elements())


def test_the_song_sounds_the_same():
    count, missing, more = compared("viardot-belle-yoli")
    assert count == 1210
    assert missing == []
    # The writer of the twin knows no cue notes: it plays the small F sharp of bar 29.
    assert more == [(Fraction(84), Fraction(85), 66)]


def test_the_song_has_the_same_bars_and_parts():
    printed = document.read(shared("viardot-belle-yoli.mxl")).score
    midi = read_bytes(shared("viardot-belle-yoli.mid").read_bytes())
    assert [p.staves for p in midi.parts] == [p.staves for p in printed.parts] == [1, 2]
    assert realise(midi).frame.lengths[:-1] == tuple(
        length * midi.grid // printed.grid for length in realise(printed).frame.lengths[:-1]
    )


def test_the_orchestral_piece_sounds_the_same_but_for_ties_and_unisons_of_the_writer():
    count, missing, more = compared("boulanger-matin-bars-1-100")
    assert count > 4_700
    # What the twin's writer loses: chords tied in part, and two voices of one part on one key at once.
    assert {name for name, _ in missing} == {"Trombone 2", "Trombone 3", "Harp", "Viola", "Contrabass"}
    assert len(missing) <= 30
    assert len(more) <= 34


def test_the_orchestral_piece_has_harp_and_celesta_on_two_staves():
    midi = read_bytes(shared("boulanger-matin-bars-1-100.mid").read_bytes())
    assert {p.name: p.staves for p in midi.parts if p.staves > 1} == {"Celesta": 2, "Harp": 2}
    assert midi.extra == {"played": "no", "bars": "metre"}
    assert len(midi.parts[0].measures) == 100
