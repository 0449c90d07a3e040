"""A short score on two to four staves out of a full one: what a conductor or a pianist reads of an orchestra.

Every note remembers who plays it. The rules are in ``RULES``, in the words of ``docs/short-score.md``.
"""

from __future__ import annotations

import re
from dataclasses import replace

from deskproof.errors import DeskproofError
from deskproof.forces import Forces
from deskproof.score import Note, Score
from deskproof.scoring import short_merging, short_page, short_piano, short_staves
from deskproof.scoring.short_lines import lines_of, names_of
from deskproof.scoring.short_rules import PIANO_RULES, RULES

__all__ = [
    "PIANO_RULES", "RULES", "ShortScoreError", "names_of", "players_by_note", "remembered", "shortened",
    "without_memory",
]  # fmt: skip

_OCTAVES = {short_page.octave_word(octave): octave for octave in (-3, -2, -1, 1, 2, 3)}
_WITH_OCTAVE = re.compile(rf"(.*) ({'|'.join(_OCTAVES)})")


class ShortScoreError(DeskproofError):
    """No short score can be made; the message says why."""


def shortened(
    score: Score, staves: int | None = None, for_piano: bool = False, forces: Forces | None = None
) -> Score:
    """A short score of a full one.

    Parameters
    ----------
    score : Score
        A full score as read.
    staves : int, optional
        Two to four; as many as its lines need if absent. A piano part has two.
    for_piano : bool
        Whether to make a part that two hands can play.
    forces : Forces, optional
        Whose hands play the piano part; the usual ones if absent.

    Returns
    -------
    Score
        One part, "Short score" or "Piano", at sounding pitch and on the grid of the score.

    Raises
    ------
    ShortScoreError
        If the score has no pitched note, or the number of staves is none of two to four.
    """
    if staves is not None and not short_staves.FEWEST <= staves <= short_staves.MOST:
        raise ShortScoreError(
            f"a short score on {staves} staves; it has {short_staves.FEWEST} to {short_staves.MOST}."
        )
    if for_piano and staves not in (None, short_staves.FEWEST):
        raise ShortScoreError(f"a piano part on {staves} staves; it has {short_staves.FEWEST}.")
    lines = lines_of(score)
    kept = short_merging.merged(lines)
    if not kept:
        raise ShortScoreError("a score with no pitched note; there is nothing to shorten.")
    if for_piano:
        return short_piano.piano_part(lines, kept, forces)
    count = staves or short_staves.how_many(kept)
    short_staves.place(kept, count)
    return short_page.written(lines, kept, count)


def remembered(note: Note) -> list[tuple[str, int]]:
    """Who plays a note of a short score, and how many octaves above it.

    >>> from deskproof.score import Mark
    >>> note = Note(0, 0, 4, None, "note", 1, "1", 0, "", "", (Mark("other-play", "Flute 1 8va", "player"),))
    >>> remembered(note)
    [('Flute 1', 1)]
    """
    found = []
    for mark in note.marks:
        if mark.kind == short_page.PLAYED_BY and mark.number == short_page.PLAYER:
            higher = _WITH_OCTAVE.fullmatch(mark.value)
            found.append((higher[1], _OCTAVES[higher[2]]) if higher else (mark.value, 0))
    return found


def players_by_note(short: Score) -> dict[str, list[tuple[str, int]]]:
    """The reference of every note of a short score (``P1/m12/n3``) -> who plays it, and how many octaves above it."""
    return {
        part.ref(measure.index, note.n): remembered(note)
        for part in short.parts
        for measure in part.measures
        for note in measure.notes
        if note.kind == "note"
    }


def without_memory(score: Score) -> Score:
    """The same score, but nobody knows who played it."""

    def plain(note: Note) -> Note:
        return note._replace(marks=tuple(mark for mark in note.marks if mark.kind != short_page.PLAYED_BY))

    parts = tuple(
        replace(part, measures=tuple(m._replace(notes=tuple(map(plain, m.notes))) for m in part.measures))
        for part in score.parts
    )
    return replace(score, parts=parts)
