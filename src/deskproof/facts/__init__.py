"""Figures about instruments and players, each with its basis and source.

The tables are TOML files in this folder. In ``harp.toml`` a top-level table with a
``value`` is the fact ``harp.<table>``; a top-level table of tables is an owner, so
``flute`` in ``woodwind.toml`` holding ``lowest`` is the fact ``flute.lowest``::

    [pedal_move]                     # in harp.toml: harp.pedal_move
    value = 250
    unit = "ms"
    basis = "published"              # published | common-practice | measured | from-memory
    source = "bell-1931, p. 12"      # a key of sources.toml, then page or clause

Sources that disagree stand side by side: ``[[pedal_move.others]]`` holds the figures
not in use, and ``why`` says why the one in use was chosen. Nothing is read at import.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from deskproof.errors import DeskproofError

__all__ = [
    "BASES",
    "Fact",
    "FactsError",
    "Source",
    "UnknownFactError",
    "all_facts",
    "find",
    "get",
    "load",
    "of",
    "sources",
]

BASES = ("published", "common-practice", "measured", "from-memory")
"""What a figure may rest on; the first and third name their source."""

_SOURCED = ("published", "measured")
_SOURCES_FILE = "sources.toml"
_FACT_KEYS = frozenset({"value", "unit", "basis", "source", "note", "needs", "why", "others", "player"})
_OTHER_KEYS = _FACT_KEYS - {"why", "others"}
_SOURCE_KEYS = ("title", "author", "year", "where")


class FactsError(DeskproofError):
    """A facts table breaks a rule; the message names file and table and says what to add."""


class UnknownFactError(DeskproofError):
    """No fact has this id; the message names the nearest one."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One figure.

    Attributes
    ----------
    id : str
        Owner and key, "flute.lowest".
    value : int, float, str, bool, tuple or dict
        The figure; lists of the table are tuples here. Pitches are sounding, in
        scientific names ("Bb1", "F#3", middle C is C4) unless the unit says otherwise.
    unit : str
        "pitch", "semitones", "ms" ...; empty where the value needs none.
    basis : str
        One of BASES.
    source : str
        Key of ``sources()`` and then page or clause; empty unless published or measured.
    note, needs, why, player : str
        A remark; what the figure asks for that not everyone has ("a B foot"); why this
        figure is the one in use; whose figure it is ("professional"). Empty if not said.
    others : tuple of Fact
        Figures that disagree, not in use.
    """

    id: str
    value: Any
    unit: str
    basis: str
    source: str = ""
    note: str = ""
    needs: str = ""
    why: str = ""
    others: tuple[Fact, ...] = ()
    player: str = ""

    @property
    def owner(self) -> str:
        """The part of the id before its last dot: "flute" of "flute.lowest"."""
        return self.id.rpartition(".")[0]

    @property
    def key(self) -> str:
        """The part of the id after its last dot: "lowest" of "flute.lowest"."""
        return self.id.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a published or measured figure was read."""

    key: str
    title: str
    author: str
    year: str
    where: str


def get(fact_id: str) -> Fact:
    """The fact of this id.

    Raises
    ------
    UnknownFactError
        If there is none; the message names the nearest id.
    """
    fact = _table().get(fact_id)
    if fact is None:
        near = difflib.get_close_matches(fact_id, _table(), n=1, cutoff=0.5)
        hint = f"; the nearest is {near[0]!r}" if near else ""
        raise UnknownFactError(f"no fact is called {fact_id!r}{hint}")
    return fact


def find(fact_id: str) -> Fact | None:
    """The fact of this id, or None where there is none."""
    return _table().get(fact_id)


def of(owner: str) -> tuple[Fact, ...]:
    """All facts of one owner ("flute", "harp"), in the order of the tables; empty if none."""
    return _by_owner().get(owner, ())


def all_facts() -> tuple[Fact, ...]:
    """Every fact, file by file in alphabetical order, within a file as written."""
    return tuple(_table().values())


@lru_cache(maxsize=1)
def sources() -> Mapping[str, Source]:
    """The sources by key, as sources.toml lists them."""
    return _load_sources(_folder())


def load(folder: Path) -> dict[str, Fact]:
    """Read every facts table of a folder and hold it to the rules.

    Parameters
    ----------
    folder : Path
        A folder with ``sources.toml`` and any number of other ``*.toml`` files.

    Raises
    ------
    FactsError
        For the first table that breaks a rule.
    """
    known = _load_sources(folder)
    facts: dict[str, Fact] = {}
    for path in sorted(folder.glob("*.toml")):
        if path.name == _SOURCES_FILE:
            continue
        for place, fact in _facts_in(path.stem, path.name, _parse(path), known):
            if fact.id in facts:
                raise FactsError(f"{place}: the fact {fact.id!r} stands twice; keep one of them")
            facts[fact.id] = fact
    return facts


def _folder() -> Path:
    return Path(__file__).parent


@lru_cache(maxsize=1)
def _table() -> dict[str, Fact]:
    return load(_folder())


@lru_cache(maxsize=1)
def _by_owner() -> dict[str, tuple[Fact, ...]]:
    owners: dict[str, list[Fact]] = {}
    for fact in _table().values():
        owners.setdefault(fact.owner, []).append(fact)
    return {owner: tuple(facts) for owner, facts in owners.items()}


def _parse(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FactsError(f"{path.name}: not a TOML table that can be read: {error}") from error


def _load_sources(folder: Path) -> dict[str, Source]:
    path = folder / _SOURCES_FILE
    if not path.exists():
        raise FactsError(f"{_SOURCES_FILE}: missing; add it beside the other tables")
    found: dict[str, Source] = {}
    for key, table in _parse(path).items():
        place = f"{_SOURCES_FILE}, [{key}]"
        if not isinstance(table, dict):
            raise FactsError(f"{place}: a table is expected; add title, author, year and where")
        for wanted in _SOURCE_KEYS:
            if not isinstance(table.get(wanted), str | int) or table[wanted] == "":
                raise FactsError(f"{place}: {wanted} is missing; add it")
        _refuse_unknown_keys(place, table, frozenset(_SOURCE_KEYS))
        found[key] = Source(key, *(str(table[name]) for name in _SOURCE_KEYS))
    return found


def _facts_in(
    stem: str, filename: str, tables: dict[str, Any], known: Mapping[str, Source]
) -> Iterator[tuple[str, Fact]]:
    for name, table in tables.items():
        place = f"{filename}, [{name}]"
        if not isinstance(table, dict):
            raise FactsError(f"{place}: a table is expected; write [{name}] with value, unit and basis")
        if "value" in table:
            yield place, _fact(f"{stem}.{name}", place, table, known)
            continue
        for key, inner in table.items():
            if not isinstance(inner, dict) or "value" not in inner:
                raise FactsError(
                    f"{place}: {key!r} is neither a fact nor known here; "
                    f"add a value to [{name}] or make [{name}.{key}] a table with value, unit and basis"
                )
            inner_place = f"{filename}, [{name}.{key}]"
            yield inner_place, _fact(f"{name}.{key}", inner_place, inner, known)


def _fact(fact_id: str, place: str, table: dict[str, Any], known: Mapping[str, Source]) -> Fact:
    _refuse_unknown_keys(place, table, _FACT_KEYS)
    basis, source = _basis_and_source(place, table, known)
    rivals = table.get("others", [])
    if not isinstance(rivals, list) or not all(isinstance(rival, dict) for rival in rivals):
        raise FactsError(f"{place}: others must be tables; write [[{fact_id}.others]]")
    why = _text(place, table, "why")
    if rivals and not why:
        raise FactsError(f"{place}: figures disagree; add why = ... to say why this one is in use")
    return Fact(
        id=fact_id,
        value=_frozen(table["value"]),
        unit=_text(place, table, "unit"),
        basis=basis,
        source=source,
        note=_text(place, table, "note"),
        needs=_text(place, table, "needs"),
        why=why,
        others=tuple(_other(fact_id, place, table, rival, known) for rival in rivals),
        player=_text(place, table, "player"),
    )


def _other(
    fact_id: str, place: str, table: dict[str, Any], rival: dict[str, Any], known: Mapping[str, Source]
) -> Fact:
    place = f"{place}, others"
    _refuse_unknown_keys(place, rival, _OTHER_KEYS)
    if "value" not in rival:
        raise FactsError(f"{place}: value is missing; add it")
    basis, source = _basis_and_source(place, rival, known)
    return Fact(
        id=fact_id,
        value=_frozen(rival["value"]),
        unit=_text(place, rival if "unit" in rival else table, "unit"),
        basis=basis,
        source=source,
        note=_text(place, rival, "note"),
        needs=_text(place, rival, "needs"),
        player=_text(place, rival, "player"),
    )


def _basis_and_source(place: str, table: dict[str, Any], known: Mapping[str, Source]) -> tuple[str, str]:
    basis = _text(place, table, "basis")
    if basis not in BASES:
        found = f"basis {basis!r} is not known" if basis else "basis is missing"
        raise FactsError(f"{place}: {found}; add basis = one of {', '.join(BASES)}")
    source = _text(place, table, "source")
    if basis in _SOURCED:
        if not source:
            raise FactsError(
                f"{place}: {basis} figures need a source; add source = a key of {_SOURCES_FILE} and the page"
            )
        key = source.partition(",")[0].strip()
        if key not in known:
            raise FactsError(f"{place}: the source {key!r} is not listed; add [{key}] to {_SOURCES_FILE}")
    elif source:
        raise FactsError(
            f"{place}: {basis} figures name no source; take it out, or make the basis published or measured"
        )
    return basis, source


def _text(place: str, table: dict[str, Any], key: str) -> str:
    found = table.get(key, "")
    if not isinstance(found, str):
        raise FactsError(f"{place}: {key} must be text, not {found!r}; put it in quotation marks")
    return found


def _refuse_unknown_keys(place: str, table: dict[str, Any], known: frozenset[str]) -> None:
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"write {near[0]!r}" if near else f"use only {', '.join(sorted(known))}"
            raise FactsError(f"{place}: the key {key!r} is not known; {hint}")


def _frozen(value: Any) -> Any:
    """Lists as tuples all the way down; tables stay dicts and are not to be changed."""
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    return value
