"""How the harmonics of a harp part are written: at the pitch of the string that is played, or as they sound."""

from __future__ import annotations

import unicodedata
from typing import NamedTuple

from deskproof import facts
from deskproof.families.harp.model import String
from deskproof.pitch import Pitch
from deskproof.score import UNCHECKED, Note, NoteRef, Part

STRING, SOUNDING, UNCLEAR = "string", "sounding", "unclear"
OCTAVE = 12


def harmonic_manner(part: Part) -> str:
    """How the harmonics of a part are written: at the pitch of their "string", at "sounding" pitch, or "unclear".

    What the file or words of the part say counts first; then notes that lie on a usable string in one manner only; by
    the rule of today they stand where they are played. "unclear": both are said, or some notes fit only as the one and
    some only as the other.
    """
    return Manner.of(part).manner


def string_of(note: Note, sounding: int, manner: str) -> int:
    """The pitch of the string of a harmonic, from its own mark, else from how the part writes them."""
    mark = note.marked("harmonic")
    said = _said(mark.value) if mark is not None else ""
    return sounding - OCTAVE if (said or manner) == SOUNDING else sounding


class Row(NamedTuple):
    """A harmonic of the page; ``said`` is what its own mark tells: "string", "sounding" or nothing."""

    ref: NoteRef
    note: Note
    pitch: Pitch
    said: str


class Manner(NamedTuple):
    """How the harmonics of a part are written, and the rows that tell; ``by`` is "marks", "words", "range" or ""."""

    manner: str
    by: str
    strings: tuple[Row, ...] = ()
    soundings: tuple[Row, ...] = ()

    @classmethod
    def of(cls, part: Part) -> Manner:
        """Read it from a part."""
        rows = rows_of(part)
        strings = tuple(row for row in rows if row.said == STRING)
        soundings = tuple(row for row in rows if row.said == SOUNDING)
        if strings or soundings:
            return cls(_either(bool(strings), bool(soundings)), "marks", strings, soundings)
        told = _told_in_words(part)
        if told:
            return cls(told, "words")
        strings = tuple(row for row in rows if usable(row.pitch.line) and not usable(below(row.pitch).line))
        soundings = tuple(row for row in rows if usable(below(row.pitch).line) and not usable(row.pitch.line))
        return cls(_either(bool(strings), bool(soundings)), "range" if strings or soundings else "", strings, soundings)


def _either(strings: bool, soundings: bool) -> str:
    return UNCLEAR if strings and soundings else SOUNDING if soundings else STRING


def rows_of(part: Part) -> list[Row]:
    """The harmonics of the page, those left out that only show the sound beside the string."""
    found = []
    for measure in part.measures:
        rows = []
        for note in measure.notes:
            mark = note.marked("harmonic")
            if mark is not None and note.pitch is not None and not note.flags & UNCHECKED:
                rows.append(Row(NoteRef(part.id, measure.index, note.n), note, note.pitch, _said(mark.value)))
        found += [row for row in rows if not any(_shows(row, other) for other in rows)]
    return found


def _said(children: str) -> str:
    """What the children of a MusicXML harmonic tell; a touched pitch tells nothing where half the string is touched."""
    pieces = children.split()
    return STRING if "base-pitch" in pieces else SOUNDING if "sounding-pitch" in pieces else ""


def _shows(row: Row, other: Row) -> bool:
    """Whether a note is there only to show what the other, its string, sounds like."""
    return (
        row.said == SOUNDING
        and other.said == STRING
        and row.note.start == other.note.start
        and row.pitch.midi - other.pitch.midi == OCTAVE
    )


_TOLD = {
    SOUNDING: (
        "sounding pitch", "sound as written", "sounds as written", "sounding as written", "actual sound", "real sound",
        "sons reels", "son reel", "hauteur reelle", "suoni reali", "suono reale", "klingend notiert",
        "wirklicher klang",
    ),
    STRING: (
        "sound an octave higher", "sounds an octave higher", "sounding an octave higher", "sound 8va", "sounding 8va",
        "sounds 8va", "sound one octave higher", "sounding one octave higher", "where played", "where they are played",
        "sonnent a l'octave", "sonne a l'octave", "suonano all'ottava", "suona all'ottava", "eine oktave hoher",
    ),
}  # fmt: skip


def _told_in_words(part: Part) -> str:
    """What words of the part say of how its harmonics are written; empty where they say nothing, or both."""
    found = set()
    for measure in part.measures:
        for sign in measure.directions:
            if sign.kind == "words" and not sign.hidden:
                text = unaccented(sign.value)
                found |= {told for told, phrases in _TOLD.items() if any(phrase in text for phrase in phrases)}
    return found.pop() if len(found) == 1 else ""


def unaccented(text: str) -> str:
    """Lower case, without accents, with single spaces and straight apostrophes."""
    parts = unicodedata.normalize("NFD", text.casefold().replace("’", "'"))
    return " ".join("".join(c for c in parts if not unicodedata.combining(c)).split())


def line_of(text: str) -> int:
    """A string by name, in steps."""
    return String(text[0], int(text[1:])).line


def ends_of(key: str) -> tuple[int, int]:
    """The strings of a range among the facts of the harp."""
    low, high = facts.get(f"harp.{key}").value
    return line_of(low), line_of(high)


def usable(line: int) -> bool:
    """Whether any published range has this string."""
    ranges = (ends_of("harmonic_strings"), ends_of("harmonic_strings_left"))
    return any(low <= line <= high for low, high in ranges)


def below(pitch: Pitch) -> Pitch:
    """The pitch an octave lower."""
    return pitch._replace(octave=pitch.octave - 1)


def above(pitch: Pitch) -> Pitch:
    """The pitch an octave higher."""
    return pitch._replace(octave=pitch.octave + 1)
