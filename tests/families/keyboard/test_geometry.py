"""The keyboard in millimetres, against a table of distances and against the octave."""

from __future__ import annotations

import itertools

import pytest

from deskproof.families.keyboard.geometry import is_black, keyboard

# semitones -> least and most mm, whole; from tables of key sizes (white key 23.5 mm, octave 164.5 mm)
TABLE = {
    12: (164.5, 164.5),
    13: (173, 188),
    14: (188, 197),
    15: (200, 212),
    16: (212, 226),
    17: (227, 235),
    18: (235, 259),
    19: (259, 267),
}


@pytest.mark.parametrize("semitones", TABLE)
def test_distances_are_those_of_the_table(semitones: int) -> None:
    least, most = (um / 1000 for um in keyboard().widest_um(semitones))
    assert (least, most) == pytest.approx(TABLE[semitones], abs=1.0)


def test_seven_white_keys_make_an_octave_wherever_it_begins() -> None:
    for key in range(21, 97):
        assert keyboard().extent_um([key, key + 12]) == 164_500


def test_neighbouring_white_keys_are_one_white_key_apart() -> None:
    whites = [key for key in range(21, 109) if not is_black(key)]
    assert len(whites) == 52
    for low, high in itertools.pairwise(whites):
        assert keyboard().extent_um([low, high]) == pytest.approx(23_500, abs=20)


def test_centres_rise_and_a_black_key_lies_between_its_neighbours() -> None:
    centres = keyboard().centres_um
    assert all(low < high for low, high in itertools.pairwise(centres))


def test_extent_needs_no_order_and_nothing_is_no_extent() -> None:
    assert keyboard().extent_um([72, 60, 64]) == keyboard().extent_um([60, 72])
    assert keyboard().extent_um([]) == keyboard().extent_um([60]) == 0


def test_narrower_keys_are_narrower_by_as_much() -> None:
    narrow = keyboard(940)
    assert narrow.extent_um([60, 72]) == pytest.approx(164_500 * 0.94, abs=2)
    assert narrow.one_thumb(60, 62)
    with pytest.raises(ValueError, match="above nought"):
        keyboard(0)


@pytest.mark.parametrize(
    ("low", "high", "one"),
    [
        (60, 62, True),  # C D
        (64, 65, True),  # E F
        (61, 63, True),  # C# D#
        (66, 68, True),  # F# G#
        (63, 66, False),  # D# F#: two white keys between
        (60, 61, False),  # a white and a black one
        (60, 64, False),
        (60, 60, False),
    ],
)
def test_a_thumb_takes_two_neighbouring_keys_of_one_colour(low: int, high: int, one: bool) -> None:
    assert keyboard().one_thumb(low, high) is keyboard().one_thumb(high, low) is one
