"""Pitch arithmetic against the words of the standards and music21."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import key as m21_key
from music21 import pitch as m21_pitch

from deskproof import pitch
from deskproof.pitch import Pitch, PitchError

SIGNS = {-2: "--", -1: "-", 0: "", 1: "#", 2: "##"}


@pytest.mark.parametrize(
    ("name", "midi"),
    [
        # Scientific pitch: the octave is that of the letter; MIDI 60 is middle C, 69 the A of 440 Hz.
        ("C4", 60),
        ("A4", 69),
        ("B#3", 60),
        ("Cb5", 71),
        ("B##3", 61),
        ("Cbb4", 58),
        ("E#5", 77),
        ("Fb5", 76),
        ("C-1", 0),
        ("G9", 127),
        ("B♭2", 46),
        ("F𝄪5", 79),
    ],
)
def test_midi_number(name, midi):
    assert pitch.midi(name) == midi


@given(st.sampled_from("CDEFGAB"), st.sampled_from(sorted(SIGNS)), st.integers(0, 9))
def test_sounds_as_music21_says(step, alter, octave):
    theirs = m21_pitch.Pitch(f"{step}{SIGNS[alter]}{octave}")
    ours = Pitch(step, alter, octave)
    assert ours.midi == theirs.ps
    assert pitch.parse(str(ours)) == ours
    # Equal staff places are equal letters in equal octaves, whatever the sign (music21 counts from C0 = 1).
    assert ours.line == theirs.diatonicNoteNum - 1


@given(st.integers(0, 127), st.booleans())
def test_a_number_has_a_name_that_sounds_so(number, flats):
    said = pitch.name(number, flats=flats)
    assert pitch.midi(said) == number
    assert ("♯" if flats else "♭") not in said


def test_a_quarter_tone_keeps_its_half():
    assert Pitch("D", 0.5, 4).midi == 62.5
    assert str(Pitch("D", 0.5, 4)) == "D(+0.5)4"


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_key_signatures_alter_the_letters_of_music21(fifths):
    theirs = {p.step: int(p.alter) for p in m21_key.KeySignature(fifths).alteredPitches}
    assert {step: alter for step, alter in pitch.key_alters(fifths).items() if alter} == theirs


@pytest.mark.parametrize("name", ["", "H4", "C", "4", "C#", "C4x"])
def test_what_is_no_pitch_is_refused(name):
    with pytest.raises(PitchError, match="expected"):
        pitch.parse(name)
