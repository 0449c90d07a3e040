"""A full score made short, its players forgotten, and a plan asked for the same players: who plays what, again.

The whole comparison, with its figures, is benchmarks/round_trip.py; here it is held on movements that are quick.
"""

import importlib.util
import sys
from pathlib import Path
from statistics import mean

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def trip():
    spec = importlib.util.spec_from_file_location("round_trip", ROOT / "benchmarks" / "round_trip.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_overlap_of_two_sets(trip):
    assert trip.jaccard(frozenset("ab"), frozenset("bc")) == 1 / 3
    assert trip.jaccard(frozenset(), frozenset("a")) == 0 and trip.jaccard(frozenset(), frozenset()) == 1


def test_baselines_answer_as_they_say(trip):
    players = {"v1": "violin", "v2": "violin", "va": "viola", "vc": "cello", "cb": "double bass"}
    text = "".join(f'[players."{name}"]\nplays = ["{one}"]\n' for name, one in players.items())
    from deskproof.forces import parse
    from deskproof.pitch import parse as pitch
    from deskproof.scoring.hall import hall_of
    from deskproof.scoring.records import Strand, Tone

    room = hall_of(parse(text), text)
    strands = [
        Strand(name, "inner part", (Tone(0, 4, pitch(p).midi, pitch(p), (0,)),))
        for name, p in (("a", "C6"), ("b", "C5"), ("c", "C4"), ("d", "C2"))
    ]
    found = trip.by_strings(strands, room)
    assert [sorted(found[name]) for name in "abcd"] == [["v1"], ["v2"], ["va"], ["cb", "vc"]]
    near = trip.by_register(strands, room)
    assert near["d"] == {"cb"} and "v1" in near["b"]


@pytest.mark.parametrize("name", ["bwv248.64-6.mxl"])
def test_the_plan_is_nearer_to_the_score_than_chance_and_register(trip, name):
    cases, _ = trip.cases_of(trip.CORPUS / "bach" / name, 5)
    assert len(cases) >= 5
    value = {way: mean(trip.value(case, way) for case in cases) for way in ("plan", "register", "random")}
    assert value["plan"] > value["register"] and value["plan"] > value["random"]
