"""The mends where a part goes over to another instrument: what is written, and that it comes back."""

from __future__ import annotations

import music21

from deskproof import document
from deskproof.check import check
from seeds import score

OBOE = {
    "instrument": "oboe",
    "transpose": 0,
    "key": -1,
    "notes": "G4/1 | R/1 | C5/1 | R/1 | D5/1 | R/1 | C5/1",
    "marks": [
        (0, "words to cor anglais"), (2, "transpose -7"), (2, "key 0"), (2, "words Cor anglais"), (2, "words to Oboe"),
        (4, "words Oboe"), (4, "words to cor anglais"), (6, "words Cor anglais"),
    ],
}  # fmt: skip


def sounding(data: bytes) -> list[int]:
    """Pitches as music21 hears them."""
    stream = music21.converter.parseData(data.decode(), format="musicxml").toSoundingPitch()
    return [note.pitch.midi for note in stream.recurse().notes]


def test_the_oboe_sounds_as_written_again_and_the_cor_anglais_after_it_stays(tmp_path):
    path = tmp_path / "oboe.musicxml"
    path.write_bytes(score(OBOE))
    read = document.read(path)
    (found,) = [one for one in check(read.score).findings if one.rule.id == "manners-change-transposition"]
    assert found.place.measure == 4
    mended = read.with_edits(found.mends[0].edits)
    assert sounding(read.written()) == [67, 65, 67, 65]
    assert sounding(mended.written()) == [67, 65, 74, 65]
    keys = [(m.index, c.value.fifths) for m in mended.score.parts[0].measures for c in m.changes if c.kind == "key"]
    assert keys == [(0, -1), (2, 0), (4, -1), (6, 0)]
    assert not check(mended.score).findings


def test_a_key_signature_is_written_and_the_notes_keep_their_pitch(tmp_path):
    case = {
        "instrument": "clarinet", "key": 2, "notes": "D5/1 | R/1 | F#5/4 B5/4 Bb5/2",
        "marks": [(0, "words muta in La"), (2, "transpose -3")],
    }  # fmt: skip
    path = tmp_path / "clarinet.musicxml"
    path.write_bytes(score(case))
    read = document.read(path)
    (found,) = check(read.score).findings
    assert (found.rule.id, found.numbers["fifths"]) == ("manners-change-key", -3)
    mended = read.with_edits(found.mends[0].edits)
    assert sounding(mended.written()) == sounding(read.written())
    assert [note.accidental for note in mended.score.parts[0].measures[2].notes] == ["sharp", "natural", "flat"]
    assert not check(mended.score).findings
