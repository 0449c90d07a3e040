"""The JSON of a plan has the keys of the contract, and every note of the sketch is on a line that names it."""

import json
from collections import Counter
from pathlib import Path

import pytest

from deskproof.scoring import sketch as sketch_
from deskproof.scoring.phrases import phrases_of
from deskproof.scoring.plan_json import as_json, sketch_notes
from deskproof.scoring.records import Line, PlannedPassage, ScoringPlan, Who
from deskproof.scoring.replanning import bars_of
from deskproof.scoring.strands import strands_of

SHARED = Path(__file__).resolve().parents[3] / "shared"


@pytest.fixture(scope="module", params=["scores/viardot-belle-yoli.mxl", "two-hands/BachJS-FrzSuite2_Air.mid"])
def planned(request):
    path = SHARED / request.param
    if not path.exists():
        pytest.skip("the shared scores are not here")
    sketch = sketch_.read(path)
    passages = strands_of(sketch, phrases_of(sketch))
    who = (Who("oboe 1"), Who("violin 1", 1, "pizz"))
    rows = tuple(
        PlannedPassage(
            bars_of(sketch, one.first, one.last), "ab", lines=tuple(Line(strand.id, who) for strand in one.strands)
        )
        for one in passages
    )
    return sketch, passages, as_json(ScoringPlan("", "rimsky", rows, status="proven", gap=0), passages, sketch)


def test_the_keys_of_the_contract(planned):
    _, _, found = planned
    assert json.loads(json.dumps(found)) == found
    assert (found["status"], found["gap"], found["scale"]) == ("proven", 0, "rimsky")
    for passage in found["passages"]:
        assert {"bars", "digest", "lines"} <= set(passage)
        for line in passage["lines"]:
            assert {"id", "strand", "sketch_notes", "who", "by", "why"} <= set(line)
            assert line["id"] == f"{passage['bars']}/{line['strand']}"
            assert line["who"][1]["instrument"] == "violin 1" and line["who"][1]["octave"] == 1


def test_ids_are_each_their_own(planned):
    _, _, found = planned
    ids = [line["id"] for passage in found["passages"] for line in passage["lines"]]
    assert len(ids) > 10
    assert len(set(ids)) == len(ids)


def test_every_note_of_the_sketch_is_on_a_line_under_its_printed_name(planned):
    sketch, _, found = planned
    named = Counter(
        ref for passage in found["passages"] for line in passage["lines"] for ref in set(line["sketch_notes"])
    )
    printed = {
        part.ref(measure.index, note.n)
        for part in sketch.score.parts
        for measure in part.measures
        for note in measure.notes
        if note.pitch is not None
    }
    assert set(named) <= printed
    assert set(named) == {note.ref for note in sketch.notes}


def test_a_strand_that_is_not_there_has_no_notes(planned):
    sketch, passages, _ = planned
    assert sketch_notes(passages[0], "no such strand", sketch) == []
