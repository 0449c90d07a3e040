"""Candidates: nothing outside a compass, the octaves that are asked for, prices against sums done by hand."""

import pytest

from deskproof.scoring.candidates import candidates_of
from deskproof.scoring.records import Passage, Strand
from scoring.synthetic import BAR, HALL, hall_of, passages_of, sketch_of, tone

ROOM = hall_of(HALL)


def line(kind, *pitches, length=8, name=None, start=0):
    """A strand of notes of one length, one after the other."""
    return Strand(name or kind, kind, tuple(
        tone(start + k * length, start + (k + 1) * length, midi) for k, midi in enumerate(pitches)
    ))  # fmt: skip


def found(strand, dynamic="f", bars=8, seconds=2.4, **asked):
    passage = Passage(0, bars - 1, (strand,), dynamic)
    return {(c.chair, c.octave): c for c in candidates_of(sketch_of(bars, seconds), [passage], ROOM, "rimsky", **asked)}


@pytest.mark.parametrize("seed", range(3))
def test_every_note_lies_in_the_compass_and_the_order_is_fixed(seed):
    passages = passages_of(seed, 6)
    made = candidates_of(sketch_of(48), passages, ROOM, "rimsky")
    assert made == candidates_of(sketch_of(48), passages, ROOM, "rimsky")
    assert len({(c.passage, c.strand, c.chair, c.octave) for c in made}) == len(made) > 300
    for c in made:
        chair, strand = ROOM.chair(c.chair), passages[c.passage].strand(c.strand)
        assert all(chair.low <= one.midi + 12 * c.octave <= chair.high for one in strand.tones)
        assert c.cost >= 0 and c.why


def test_one_note_below_the_violins_leaves_them_out():
    assert ("violin 1", 0) in found(line("tune", 55, 60, 64))
    assert ("violin 1", 0) not in found(line("tune", 54, 60, 64))
    assert ("violin 1", 1) in found(line("tune", 54, 60, 64))


def test_a_bass_goes_an_octave_down_for_sixteen_feet_only():
    bass = found(line("bass", 43, 48, 50))
    assert {chair for chair, octave in bass if octave == -1} == {"double bass", "contrabassoon", "piano"}
    assert {octave for _, octave in found(line("inner part", 60, 62))} == {0}


def test_another_octave_where_nobody_has_the_notes():
    text = '[sections]\n"violin 1" = { desks = 6 }\n'
    low = Passage(0, 0, (line("inner part", 45, 47),), "mf")
    made = candidates_of(sketch_of(1), [low], hall_of(text), "rimsky")
    assert [(c.chair, c.octave) for c in made] == [("violin 1", 1)]


def test_harp_and_keyboards_never_hold():
    held = found(line("held harmony", 60, 62, length=16))
    assert not {"harp", "piano", "celesta"} & {chair for chair, _ in held}
    short, long = (found(line("inner part", 60, 62, length=n)) for n in (2, 16))
    assert ("harp", 0) in short and ("harp", 0) not in long


def test_timpani_only_loud_and_with_few_notes():
    assert ("timpani", 0) in found(line("bass", 45, 50, 45))
    assert ("timpani", 0) not in found(line("bass", 45, 50, 45), "p")
    assert ("timpani", 0) not in found(line("bass", 45, 46, 47, 48, 50))
    assert ("timpani", 0) not in found(line("tune", 45, 50))


def test_celesta_an_octave_above_a_soft_tune():
    assert {octave for chair, octave in found(line("tune", 72, 74), "p") if chair == "celesta"} == {1}
    assert not [1 for chair, _ in found(line("tune", 72, 74), "f") if chair == "celesta"]


def test_the_questions_get_the_moved_tones():
    heard = []
    found(line("figuration", 72, 74), harp_can=lambda strand, tones: heard.append([t.midi for t in tones]) or False)
    assert heard == [[72, 74]]
    assert ("harp", 0) not in found(line("figuration", 72, 74), harp_can=lambda strand, tones: False)


def test_price_by_hand():
    # At home from 64 to 74; clarinet on a tune 5. Notes 60 and 70 of equal length: 4 semitones on half the time, mean
    # 2, two for each semitone: 4. The second clarinet is as good. They fill the bar, so nothing is taken off.
    tune = found(line("tune", 60, 70), bars=1)
    assert tune["clarinet 1", 0].cost == 5 + 4
    assert tune["clarinet 2", 0].cost == 5 + 4
    # An octave higher 72 and 82: 8 semitones on half the time, mean 4, so 8; and 5 for the octave.
    assert tune["clarinet 1", 1].cost == 5 + 8 + 5
    assert "octave above" in tune["clarinet 1", 1].why


def test_runs_cost_brass_and_basses():
    slow, fast = (found(line("figuration", *[60, 62] * 8, length=1), seconds=s) for s in (8.0, 1.0))
    # 16 notes a second against the 8 of a trumpet: eight for each of 8 too fast
    assert fast["trumpet 1", 0].cost - slow["trumpet 1", 0].cost == 64
    assert fast["violin 1", 0].cost - slow["violin 1", 0].cost == 16
    assert "fast for the trumpet" in fast["trumpet 1", 0].why


def test_a_note_of_three_breaths_costs_a_flute_and_not_a_violin():
    # 9 bars of 2.4 s = 21.6 s; a flute holds 8 s at mf: two breaths more
    short, long = (found(line("held harmony", 79, length=n * BAR), "mf", 9) for n in (1, 9))
    assert long["flute 1", 0].cost - short["flute 1", 0].cost == 12  # at home, whether long or short
    assert "longer than one breath" in long["flute 1", 0].why and "breath" not in long["violin 1", 0].why
