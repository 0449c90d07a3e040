"""Tones of bars: the pitches and times that music21 gives the same bars, and what a mend changes of them."""

from __future__ import annotations

import music21
import pytest

from corpus import corpus_files
from deskproof.check import check
from deskproof.demo import SCORE
from deskproof.document import read
from deskproof.findings import Effect
from deskproof.state import state_of
from deskproof.tones import length_s, tones

PLAIN = ("bach/bwv66.6.mxl", "bach/bwv269.mxl", "bach/bwv281.mxl", "bach/bwv102.7.mxl")


@pytest.mark.parametrize("name", PLAIN)
def test_the_tones_of_four_bars_are_those_of_music21(name: str):
    path = next(one.path for one in corpus_files() if str(one.path).endswith(name))
    state = state_of(read(path).score)
    score = music21.converter.parse(path).toSoundingPitch()
    quarter_s = 60 / float(state.timeline.frame.clock.tempo_at(0).qpm)
    for index, part in enumerate(score.parts):
        bars = part.getElementsByClass("Measure")[2:6]
        start = bars[0].offset
        wanted = []
        for bar in bars:
            for note in bar.recurse().notes:
                if note.tie is None or note.tie.type == "start":
                    wanted.append((float(bar.offset - start + note.offset) * quarter_s, note.pitch.midi))
        found = [(tone.at_s, tone.midi) for tone in tones(state, [index], 2, 5) if tone.at_s >= 0]
        assert [pitch for _, pitch in found] == [pitch for _, pitch in wanted]
        assert [at for at, _ in found] == pytest.approx([at for at, _ in wanted], abs=1e-5)


def test_a_mend_that_keeps_the_sound_keeps_the_tones_and_others_do_not():
    report = check(read(SCORE).score)
    counts = {Effect.KEEPS_SOUND: 0, Effect.CHANGES_SOUND: 0}
    for finding in report.findings:
        for mend in finding.mends:
            if not mend.edits:
                continue
            measures = [edit.note.measure for edit in mend.edits]
            parts = [i for i, p in enumerate(report.state.score.parts) if p.id in {e.note.part for e in mend.edits}]
            before = tones(report.state, parts, min(measures), max(measures))
            after = tones(report.state, parts, min(measures), max(measures), mend.edits)
            same = [tone[:4] for tone in before] == [tone[:4] for tone in after]
            assert same == (mend.effect is Effect.KEEPS_SOUND), mend.says
            counts[mend.effect] += 1
    assert all(counts.values())


def test_nothing_outside_the_bars_is_heard():
    state = state_of(read(SCORE).score)
    everybody = range(len(state.score.parts))
    for first, last in ((0, 0), (5, 7), (31, 31)):
        heard = tones(state, everybody, first, last)
        assert heard and all(0 <= tone.at_s < length_s(state, first, last) for tone in heard)
