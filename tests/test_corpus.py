"""The test scores are all there, and the independent reading is music21's own."""

from __future__ import annotations

import warnings
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from music21 import chord, converter, harmony, note

from corpus import CorpusFile, corpus_files, package_files, shared_scores, smallest
from oracles.music21_reading import Reading, Row, compare, read


def test_the_corpus_is_complete():
    # Counted in music21 10.5.1. The package's 808 are the corpus and 154 small files beside its readers.
    assert len(corpus_files()) == 654
    assert len(package_files()) == 808
    assert {f"corpus/{f.name}" for f in corpus_files()} <= {f.name for f in package_files()}


def test_the_sample_depends_on_names_alone():
    sample = smallest(150)
    assert len({f.name for f in sample}) == 150
    assert max(f.sha for f in sample) <= min(f.sha for f in set(corpus_files()) - set(sample))


def test_missing_scores_fail_only_in_ci(monkeypatch, tmp_path):
    monkeypatch.setattr("corpus.SHARED", tmp_path / "nowhere")
    monkeypatch.delenv("CI", raising=False)
    assert shared_scores() == []
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="shared scores are missing"):
        shared_scores()


@pytest.mark.parametrize("file", [f for f in smallest(40) if f.path.stat().st_size < 60_000], ids=lambda f: f.name)
def test_the_reading_is_what_music21_gives_when_asked_plainly(file: CorpusFile):
    # Ties apart, which plain music21 does not merge note by note: the same notes at the same times.
    ours = [Counter(row[:3] for row in part) for part in without_ties(read(file.path)).rows()]
    assert ours == plainly(file.path)


def without_ties(reading: Reading) -> Reading:
    return Reading(
        tuple(
            replace(p, measures=tuple(tuple(w._replace(tie="") for w in m) for m in p.measures)) for p in reading.parts
        )
    )


def plainly(path: Path) -> list[Counter[tuple[Fraction, Fraction, float]]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = converter.parse(path, forceSource=True).expandRepeats().toSoundingPitch()
    parts: dict[str, Counter[tuple[Fraction, Fraction, float]]] = {}
    for part in score.parts:
        notes = parts.setdefault(part.groups[0].split("-Staff")[0], Counter())
        for element in part.flatten().getElementsByClass(note.NotRest):
            if isinstance(element, harmony.Harmony) or element.duration.isGrace:
                continue
            onset = Fraction(element.offset)
            for one in element.notes if isinstance(element, chord.ChordBase) else (element,):
                if isinstance(one, note.Note):
                    notes[onset, onset + Fraction(element.quarterLength), one.pitch.ps] += 1
    return list(parts.values())


def test_compare_tells_each_side_apart_and_counts():
    a, b = Row(Fraction(0), Fraction(1), 60), Row(Fraction(1), Fraction(2), 62)
    assert compare([[a, b]], [[b, a]]) == []
    (found,) = compare([[a, a, b]], [[a, b, b]])
    assert (found.part, found.only_ours, found.only_theirs) == (0, [a], [b])
    with pytest.raises(ValueError, match="zip"):
        compare([[a]], [])
