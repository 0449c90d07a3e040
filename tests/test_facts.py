"""The facts obey their rules, the loader refuses what breaks them, and the compass is what is published."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from music21 import instrument as m21
from music21.pitch import Pitch

from deskproof import facts, instruments
from deskproof.errors import DeskproofError
from deskproof.facts import Fact, FactsError, UnknownFactError

PITCH = re.compile(r"[A-G](#|b)?-?\d")
CLEF = re.compile(r"([GFC][1-5]|percussion)(-8|\+8)?")
EDGES = ("lowest_extended", "lowest", "highest", "highest_extended")
# Known by name and sound only: nothing is said about their compass.
WITHOUT_COMPASS = {"brass", "winds", "panpipes", "ocarina", "harmonica", "bagpipes"}


def midi(name: str) -> int:
    """MIDI number of a scientific pitch name, by music21."""
    return round(Pitch(name.replace("b", "-")).ps)


def every_fact() -> list[Fact]:
    return [one for fact in facts.all_facts() for one in (fact, *fact.others)]


def pitched() -> list[instruments.Instrument]:
    return [
        one
        for one in instruments.all_instruments()
        if one.family != "percussion" and one.id not in WITHOUT_COMPASS and facts.find(f"{one.kind}.lowest")
    ]


# ------------------------------------------------------------------ what the tables hold


def test_there_are_facts_and_each_is_found_by_its_id():
    assert len(facts.all_facts()) > 500
    for fact in facts.all_facts():
        assert facts.get(fact.id) is fact
        assert facts.find(fact.id) is fact
        assert fact in facts.of(fact.owner)
        assert fact.id == f"{fact.owner}.{fact.key}"


def test_every_fact_names_its_basis_and_published_figures_their_source():
    for fact in every_fact():
        assert fact.basis in facts.BASES, fact.id
        assert bool(fact.source) == (fact.basis in ("published", "measured")), fact.id
        if fact.source:
            assert fact.source.partition(",")[0] in facts.sources(), fact.id


def test_every_source_is_used():
    used = {fact.source.partition(",")[0] for fact in every_fact() if fact.source}
    assert set(facts.sources()) == used


def test_figures_that_disagree_say_why_one_is_in_use():
    several = [fact for fact in facts.all_facts() if fact.others]
    assert several
    for fact in several:
        assert fact.why, fact.id
        assert all(other.value != fact.value for other in fact.others), fact.id


def test_every_pitched_instrument_has_a_compass_and_no_other_has():
    for one in instruments.all_instruments():
        has = facts.find(f"{one.id}.lowest") is not None
        assert has == (one.family != "percussion" and one.id not in WITHOUT_COMPASS), one.id


@pytest.mark.parametrize("one", pitched(), ids=lambda one: one.id)
def test_compass_is_in_order_and_the_extended_notes_say_what_they_need(one):
    found = {key: facts.find(f"{one.id}.{key}") for key in EDGES}
    pitches = [midi(fact.value) for fact in found.values() if fact is not None]
    assert pitches == sorted(set(pitches))
    for key, fact in found.items():
        if fact is None:
            continue
        assert PITCH.fullmatch(fact.value) and fact.unit == "pitch"
        assert bool(fact.needs) == key.endswith("_extended")


@pytest.mark.parametrize("one", pitched(), ids=lambda one: one.id)
def test_transpositions_and_clefs_can_be_read(one):
    value = facts.get(f"{one.id}.transposition").value
    semitones = value if isinstance(value, tuple) else (value,)
    assert all(isinstance(n, int) and -26 <= n <= 24 for n in semitones)
    assert len(set(semitones)) == len(semitones)
    if one.crook is not None:
        assert semitones == (one.crook,)
    clefs = facts.get(f"{one.id}.clefs").value
    assert clefs and all(CLEF.fullmatch(clef) for clef in clefs)


# ------------------------------------------------------------------ against what is published


@pytest.mark.parametrize(
    ("fact_id", "value"),
    [
        # Published tables, sounding; see the source of each fact.
        ("piccolo.lowest", "D5"),
        ("piccolo.highest", "C8"),
        ("flute.lowest", "C4"),
        ("flute.lowest_extended", "B3"),
        ("cor-anglais.lowest", "E3"),
        ("clarinet.lowest", "D3"),
        ("clarinet-a.lowest", "C#3"),
        ("basset-horn.lowest", "F2"),
        ("bass-clarinet.lowest", "Db2"),
        ("bass-clarinet.lowest_extended", "Bb1"),
        ("bass-clarinet-a.lowest", "C2"),
        ("bass-clarinet-a.lowest_extended", "A1"),
        ("bassoon.lowest", "Bb1"),
        ("bassoon.lowest_extended", "A1"),
        ("double-bass.lowest", "E1"),
        ("celesta.lowest", "C4"),
        ("celesta.lowest_extended", "C3"),
        ("celesta.highest", "C8"),
        ("harp.lowest", "C1"),
        ("harp.lowest_extended", "Cb1"),
        ("harp.highest", "G7"),
        ("piano.lowest", "A0"),
        ("piano.lowest_extended", "C0"),
        ("piano.highest", "C8"),
        ("timpani.lowest", "C2"),
        ("timpani.highest", "C4"),
        ("timpani.highest_extended", "F#4"),
        ("horn.bass_clef_manner", 12),
        ("bass-clarinet.bass_clef_manner", 12),
    ],
)
def test_known_figures(fact_id, value):
    assert facts.get(fact_id).value == value


def test_nothing_lies_above_the_top_key_of_a_piano_or_celesta():
    assert facts.find("piano.highest_extended") is None
    assert facts.find("celesta.highest_extended") is None


CLASSES = {
    "bassoon": m21.Bassoon,
    "bass-trombone": m21.BassTrombone,
    "cello": m21.Violoncello,
    "clarinet": m21.Clarinet,
    "bass-clarinet": m21.BassClarinet,
    "cor-anglais": m21.EnglishHorn,
    "flute": m21.Flute,
    "harp": m21.Harp,
    "oboe": m21.Oboe,
    "piano": m21.Piano,
    "tuba": m21.Tuba,
    "tenor-trombone": m21.Trombone,
    "trumpet": m21.Trumpet,
    "viola": m21.Viola,
    "violin": m21.Violin,
}


@pytest.mark.parametrize("owner", CLASSES)
def test_lowest_note_agrees_with_music21(owner):
    theirs = CLASSES[owner]()
    sounding = theirs.lowestNote
    if theirs.transposition is not None:
        sounding = sounding.transpose(theirs.transposition)
    ours = facts.get(f"{owner}.lowest")
    lowest = facts.find(f"{owner}.lowest_extended") or ours
    assert sounding.ps in (midi(ours.value), midi(lowest.value))


@pytest.mark.parametrize(
    ("owner", "cls"),
    [
        ("violin", m21.Violin),
        ("viola", m21.Viola),
        ("cello", m21.Violoncello),
        ("double-bass", m21.Contrabass),
    ],
)
def test_open_strings_agree_with_music21(owner, cls):
    strings = facts.get(f"{owner}.open_strings").value
    assert strings == tuple(p.nameWithOctave for p in cls().stringPitches)
    assert facts.get(f"{owner}.lowest").value == strings[0]


@pytest.mark.parametrize(
    ("owner", "cls"),
    [
        ("clarinet", m21.Clarinet),
        ("bass-clarinet", m21.BassClarinet),
        ("cor-anglais", m21.EnglishHorn),
        ("double-bass", m21.Contrabass),
        ("horn", m21.Horn),
        ("piccolo", m21.Piccolo),
        ("saxophone-soprano", m21.SopranoSaxophone),
        ("saxophone-alto", m21.AltoSaxophone),
        ("saxophone-tenor", m21.TenorSaxophone),
        ("saxophone-baritone", m21.BaritoneSaxophone),
        ("trumpet", m21.Trumpet),
    ],
)
def test_transposition_agrees_with_music21(owner, cls):
    value = facts.get(f"{owner}.transposition").value
    first = value[0] if isinstance(value, tuple) else value
    assert first == cls().transposition.semitones


# ------------------------------------------------------------------ asking


def test_an_unknown_fact_is_refused_and_the_nearest_named():
    with pytest.raises(UnknownFactError, match=r"'flute.lowst'; the nearest is 'flute.lowest'"):
        facts.get("flute.lowst")
    assert facts.find("flute.lowst") is None
    assert facts.of("no such instrument") == ()
    assert issubclass(UnknownFactError, DeskproofError)
    assert issubclass(FactsError, DeskproofError)


def test_lists_are_tuples_and_facts_cannot_be_changed():
    fact = facts.get("violin.open_strings")
    assert isinstance(fact.value, tuple)
    with pytest.raises(AttributeError):
        fact.value = ()  # type: ignore[misc]


# ------------------------------------------------------------------ what the loader refuses

SOURCES = """
[bell-1931]
title = "A Treatise"
author = "A. Bell"
year = 1931
where = "London"
"""
GOOD = """
[pedal_move]
value = 250
unit = "ms"
basis = "published"
source = "bell-1931, p. 12"
why = "the newer of two"
player = "professional"

[[pedal_move.others]]
value = 300
basis = "from-memory"
"""


def tables(folder: Path, text: str, *, sources: str | None = SOURCES) -> Path:
    if sources is not None:
        (folder / "sources.toml").write_text(sources, encoding="utf-8")
    (folder / "harp.toml").write_text(text, encoding="utf-8")
    return folder


def test_a_good_table_is_read(tmp_path):
    owned = '[flute.lowest]\nvalue = "C4"\nunit = "pitch"\nbasis = "common-practice"\nneeds = "nothing"\n'
    found = facts.load(tables(tmp_path, GOOD + owned))
    assert list(found) == ["harp.pedal_move", "flute.lowest"]
    fact = found["harp.pedal_move"]
    assert (fact.value, fact.unit, fact.basis, fact.source) == (250, "ms", "published", "bell-1931, p. 12")
    assert fact.player == "professional"
    (other,) = fact.others
    assert (other.id, other.value, other.unit, other.basis) == ("harp.pedal_move", 300, "ms", "from-memory")
    assert found["flute.lowest"].needs == "nothing"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[a]\nvalue = 1\nbasis = "hearsay"\n', r"harp.toml, \[a\]: basis 'hearsay' is not known; add basis"),
        ("[a]\nvalue = 1\n", r"harp.toml, \[a\]: basis is missing; add basis"),
        ('[a]\nvalue = 1\nbasis = "published"\n', r"\[a\]: published figures need a source; add source"),
        ('[a]\nvalue = 1\nbasis = "measured"\nsource = ""\n', r"\[a\]: measured figures need a source"),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\nsource = "bell-1931"\n',
            r"\[a\]: from-memory figures name no source; take it out",
        ),
        (
            '[a]\nvalue = 1\nbasis = "common-practice"\nsource = "bell-1931"\n',
            r"\[a\]: common-practice figures name no source",
        ),
        (
            '[a]\nvalue = 1\nbasis = "published"\nsource = "hill-1900, p. 3"\n',
            r"\[a\]: the source 'hill-1900' is not listed; add \[hill-1900\] to sources.toml",
        ),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\nnotes = ""\n',
            r"\[a\]: the key 'notes' is not known; write 'note'",
        ),
        ('[a]\nvalue = 1\nbasis = "from-memory"\nneeds = 3\n', r"\[a\]: needs must be text"),
        ('[flute.lowest]\nbasis = "from-memory"\n', r"\[flute\]: 'lowest' is neither a fact nor known"),
        ("[flute]\nlowest = 3\n", r"\[flute\]: 'lowest' is neither a fact nor known"),
        ("a = 3\n", r"\[a\]: a table is expected"),
        ("[a\n", r"harp.toml: not a TOML table"),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\n[[a.others]]\nvalue = 2\nbasis = "from-memory"\n',
            r"\[a\]: figures disagree; add why",
        ),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\nwhy = "x"\n[[a.others]]\nbasis = "from-memory"\n',
            r"\[a\], others: value is missing",
        ),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\nwhy = "x"\n[[a.others]]\nvalue = 2\nbasis = "measured"\n',
            r"\[a\], others: measured figures need a source",
        ),
        (
            '[a]\nvalue = 1\nbasis = "from-memory"\n[harp.a]\nvalue = 2\nbasis = "from-memory"\n',
            r"\[harp.a\]: the fact 'harp.a' stands twice",
        ),
    ],
)
def test_the_loader_refuses(tmp_path, text, message):
    with pytest.raises(FactsError, match=message):
        facts.load(tables(tmp_path, text))


@pytest.mark.parametrize("missing", ["title", "author", "year", "where"])
def test_a_source_says_what_it_is(tmp_path, missing):
    lines = [line for line in SOURCES.splitlines() if not line.startswith(missing)]
    with pytest.raises(FactsError, match=rf"sources.toml, \[bell-1931\]: {missing} is missing; add it"):
        facts.load(tables(tmp_path, GOOD, sources="\n".join(lines)))


def test_the_list_of_sources_must_be_there(tmp_path):
    with pytest.raises(FactsError, match=r"sources.toml: missing; add it"):
        facts.load(tables(tmp_path, GOOD, sources=None))
