"""The scores of the cases: unpitched notes and the instruments of a kit, as music21 reads them."""

from __future__ import annotations

import music21
from lxml import etree

import seeds

CASE = {
    "instrument": "percussion", "part": "Percussion 1", "clef": "percussion", "kit": ["triangle", "xylophone"],
    "notes": "xE4@1/4 R/4 xE4@1+xC5@1/2 | F#5@2/4 xE4@1/4 R/2",
}  # fmt: skip


def test_unpitched_notes_stand_where_the_case_says():
    part = music21.converter.parseData(seeds.score(CASE), format="musicxml").parts[0]
    rows = []
    for element in part.flatten().notes:
        one = element.notes if isinstance(element, music21.percussion.PercussionChord) else (element,)
        places = [
            note.pitch.nameWithOctave if isinstance(note, music21.note.Note) else f"x{note.displayName}" for note in one
        ]
        rows.append((float(element.offset), float(element.quarterLength), sorted(places)))
    assert rows == [(0, 1, ["xE4"]), (2, 2, ["xC5", "xE4"]), (4, 1, ["F#5"]), (5, 1, ["xE4"])]


def test_the_kit_is_declared_and_its_notes_say_which_they_are():
    root = etree.fromstring(seeds.score(CASE))
    names = {one.get("id"): one.findtext("instrument-name") for one in root.iter("score-instrument")}
    assert list(names.values()) == ["triangle", "xylophone"]
    assert [names[one.get("id")] for one in root.iter("instrument")] == ["triangle"] * 3 + ["xylophone", "triangle"]
    assert root.find("part/measure/attributes/clef/sign").text == "percussion"


def test_only_pitched_notes_of_a_case_sound():
    assert seeds.sounding({**CASE, "transpose": 12}, CASE["notes"]) == [(4, 5, 90)]
