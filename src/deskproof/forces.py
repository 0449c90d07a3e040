"""The players in the room: what each plays and what each can do. Read from TOML; every default is a fact.

Format (design of the file)::

    [players."flute 2"]
    plays = ["flute", "piccolo"]
    [players.keyboard]
    plays = ["piano", "celesta"]
    hand_span_mm = 216
    right_angles = true              # the two stand so that one hand can be at each
    [players.timpanist]
    plays = ["timpani"]
    drums = [32, 29, 26, { inch = 23, low = "D3", high = "Bb3" }]
    [players.harp]
    plays = ["harp"]
    pedal_s = { comfortable = 0.5, quickest = 0.25 }
    without_pedal = { C1 = "natural", D1 = "natural" }
    harmonics = "string"             # as its part writes them: "string", where they are played, or "sounding"
    [players.pianist]
    plays = ["piano"]
    pedals = true                    # say too where the damper pedal is needed
    [instruments.celesta]
    octaves = 4
    how_many = 1                     # so many of them stand in the room
    [instruments."double bass"]
    extension = "C1"                 # "none", or the lowest note it reaches
    [sections]
    "violin 1" = { desks = 6 }       # two players each; or players = 11
    [changes]                        # seconds: quickest, comfortable
    "piano > celesta" = [5, 10]
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from deskproof import facts, instruments, pitch
from deskproof.errors import DeskproofError
from deskproof.instruments import Instrument

_TOP = ("players", "instruments", "sections", "changes")
_PLAYER = ("plays", "hand_span_mm", "pedal_s", "without_pedal", "harmonics", "pedals", "right_angles", "drums")
HARMONICS = ("string", "sounding")
_INSTRUMENT = ("octaves", "extension", "lowest", "highest", "how_many")
_SECTION = ("desks", "players")
_DRUM = ("inch", "low", "high")
_PEDAL = ("comfortable", "quickest")
_ALTERS = {"flat": -1, "natural": 0, "sharp": 1}


class ForcesError(DeskproofError):
    """The forces file cannot be used; the message gives file, line, what was found and what to write."""


@dataclass(frozen=True, slots=True)
class Player:
    """One person: instruments by id; figures are None where the default fact holds."""

    name: str
    plays: tuple[str, ...]
    hand_span_mm: float | None = None
    pedal_comfortable_s: float | None = None
    pedal_quickest_s: float | None = None
    without_pedal: Mapping[str, int] = field(default_factory=dict)
    harmonics: str = ""
    pedals: bool = False
    right_angles: bool = False
    drums: tuple[tuple[float, int | None, int | None], ...] = ()  # inches, lowest and highest pitch
    where: str = ""  # file and line


@dataclass(frozen=True, slots=True)
class InTheRoom:
    """What is known of an instrument in the room; MIDI numbers, None where the default fact holds."""

    lowest: int | None = None
    highest: int | None = None
    octaves: int | None = None
    how_many: int | None = None


@dataclass(frozen=True, slots=True)
class Forces:
    """The players in the room. An empty one means: the defaults.

    ``sections`` gives how many string players a section has, by the name of its part in small letters; ``where`` the
    file and line of each section.

    ``harmonics`` says for all harps how their harmonics are written, whatever a player says; ``pedals`` that of all
    pianos is wanted where they need their pedals.
    """

    players: tuple[Player, ...] = ()
    instruments: Mapping[str, InTheRoom] = field(default_factory=dict)
    sections: Mapping[str, int] = field(default_factory=dict)
    changes: Mapping[tuple[str, str], tuple[float, float]] = field(default_factory=dict)
    harmonics: str = ""
    pedals: bool = False
    where: Mapping[str, str] = field(default_factory=dict)

    def no_such_part(self, names: Iterable[str]) -> list[str]:
        """What is wrong with sections that no part of a score bears the name of: one line each."""
        known = {name.casefold(): name for name in names if name}
        wrong = []
        for section in self.sections:
            if section not in known:
                near = difflib.get_close_matches(section, known, 1, 0.0)
                hint = f"; did you mean {known[near[0]]!r}?" if near else "."
                wrong.append(f"{self.where.get(section, 'forces')}: the score has no part {section!r}{hint}")
        return wrong

    def playing(self, instrument: str) -> Player | None:
        """The first player who plays an instrument, by id."""
        return next((player for player in self.players if instrument in player.plays), None)

    def lowest(self, instrument: Instrument) -> int | None:
        """The lowest sounding note that the instrument in the room has, if the forces say so."""
        known = self._known(instrument)
        return known.lowest if known else None

    def highest(self, instrument: Instrument) -> int | None:
        """The highest sounding note that the instrument in the room has, if the forces say so."""
        known = self._known(instrument)
        return known.highest if known else None

    def how_many(self, instrument: Instrument) -> int | None:
        """How many of an instrument are in the room, if the forces say so."""
        known = self._known(instrument)
        return known.how_many if known else None

    def _known(self, instrument: Instrument) -> InTheRoom | None:
        return self.instruments.get(instrument.id) or self.instruments.get(instrument.kind)


def read(path: Path) -> Forces:
    """Read a forces file.

    Raises
    ------
    ForcesError
        For a file that cannot be read, an unknown key (with the nearest word), or a value out of its kind.
        All problems are named at once.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ForcesError(f"{path}: cannot be read ({error}); expected a TOML file.") from None
    return parse(text, str(path))


def parse(text: str, name: str = "forces") -> Forces:
    """Read the text of a forces file; see :func:`read`."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ForcesError(f"{name}: not TOML: {error}") from None
    return _Reader(text, name).forces(table)


class _Reader:
    """Turns the tables into records and collects every problem with the line it stands on."""

    def __init__(self, text: str, name: str) -> None:
        self.lines = text.splitlines()
        self.name = name
        self.problems: list[str] = []

    def forces(self, table: Mapping[str, Any]) -> Forces:
        self._known("the file", table, _TOP)
        players = tuple(
            player
            for key, row in self._tables(table, "players")
            if (player := self._player(key, row)) is not None
        )
        rooms = dict(
            pair for key, row in self._tables(table, "instruments") if (pair := self._room(key, row)) is not None
        )
        counts = (self._section(key, row) for key, row in self._tables(table, "sections"))
        sections = dict(count for count in counts if count is not None)
        changes: dict[tuple[str, str], tuple[float, float]] = {}
        for key, value in self._table(table, "changes").items():
            change = self._change(key, value)
            if change is not None:
                changes[change[0]] = change[1]
        if self.problems:
            raise ForcesError("\n".join(self.problems))
        where = {key.casefold(): self._where(key) for key in self._table(table, "sections")}
        return Forces(players, rooms, sections, changes, where=where)

    def _section(self, name: str, row: Mapping[str, Any]) -> tuple[str, int] | None:
        where = f"section {name!r}"
        self._known(where, row, _SECTION)
        desks, players = (self._whole(row, key, where) for key in _SECTION)
        if desks is None and players is None:
            self._say(name, f"{where} is empty; write desks = 6, or players = 11.")
            return None
        return name.casefold(), players or 2 * (desks or 0)

    def _whole(self, row: Mapping[str, Any], key: str, where: str) -> int | None:
        value = self._figure(row, key, where)
        if value is not None and value != int(value):
            self._say(key, f"{where}: {key} is {value:g}; expected a whole number.")
            return None
        return None if value is None else int(value)

    def _say(self, key: str, text: str) -> None:
        self.problems.append(f"{self._where(key)}: {text}")

    def _where(self, key: str) -> str:
        """File and line of a key."""
        pattern = re.compile(rf"(^|[\s\[.{{,\"']){re.escape(key)}($|[\s\]\"'=.])")
        line = next((i for i, row in enumerate(self.lines, 1) if pattern.search(row)), None)
        return f"{self.name}{f', line {line}' if line else ''}"

    def _known(self, where: str, row: Mapping[str, Any], allowed: Iterable[str]) -> None:
        words = list(allowed)
        for key in row:
            if key not in words:
                near = difflib.get_close_matches(key, words, 1, 0.0)
                self._say(key, f"{where} has no key {key!r}; did you mean {near[0]!r}? Known: {', '.join(words)}.")

    def _table(self, table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        value = table.get(key, {})
        if not isinstance(value, dict):
            self._say(key, f"{key} is {value!r}; expected a table [{key}].")
            return {}
        return value

    def _tables(self, table: Mapping[str, Any], key: str) -> Iterable[tuple[str, Mapping[str, Any]]]:
        for name, row in self._table(table, key).items():
            if isinstance(row, dict):
                yield name, row
            else:
                self._say(name, f"{key}.{name} is {row!r}; expected a table.")

    def _figure(self, row: Mapping[str, Any], key: str, where: str) -> float | None:
        value = row.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
            self._say(key, f"{where}: {key} is {value!r}; expected a number above 0.")
            return None
        return float(value)

    def _instrument(self, name: Any, where: str) -> Instrument | None:
        found = instruments.by_name(name) if isinstance(name, str) else None
        if found is None:
            near = instruments.nearest(str(name))[:3]
            self._say(str(name), f"{where}: no instrument {name!r}; did you mean {', '.join(near)}?")
        return found

    def _player(self, name: str, row: Mapping[str, Any]) -> Player | None:
        where = f"player {name!r}"
        self._known(where, row, _PLAYER)
        plays = row.get("plays")
        if not isinstance(plays, list) or not plays:
            self._say(name, f"{where} has no instruments; write plays = [\"flute\", \"piccolo\"].")
            return None
        found = [self._instrument(one, where) for one in plays]
        for i, one in enumerate(found):
            if one is not None and one in found[:i]:
                again = f"{where} plays the {one.name} twice; one player has one of each. Name two players."
                self._say(name, again)
                break
        pedal = row.get("pedal_s", {})
        if not isinstance(pedal, dict):
            self._say("pedal_s", f"{where}: pedal_s is {pedal!r}; expected {{ comfortable = 0.5, quickest = 0.25 }}.")
            pedal = {}
        self._known(f"{where}, pedal_s", pedal, _PEDAL)
        comfortable, quickest = (self._figure(pedal, key, where) for key in _PEDAL)
        if comfortable and quickest and quickest > comfortable:
            self._say("pedal_s", f"{where}: the quickest pedal time is longer than the comfortable one.")
        return Player(
            name,
            tuple(one.id for one in found if one is not None),
            self._figure(row, "hand_span_mm", where),
            comfortable,
            quickest,
            self._strings(row.get("without_pedal", {}), where),
            self._harmonics(row.get("harmonics", ""), where),
            self._yes("pedals", row, where),
            self._yes("right_angles", row, where),
            tuple(self._drums(row.get("drums", []), where)),
            self._where(name),
        )

    def _drums(self, rows: Any, where: str) -> Iterator[tuple[float, int | None, int | None]]:
        """Drums by their inches, or as tables with inch, low and high."""
        if not isinstance(rows, list):
            self._say("drums", f"{where}: drums is {rows!r}; expected a list such as [32, 29, 26, 23].")
            return
        for one in rows:
            table = one if isinstance(one, dict) else {"inch": one}
            self._known(f"{where}, drums", table, _DRUM)
            inch = self._figure(table, "inch", where)
            if inch is None:
                continue
            low, high = (self._pitch(table.get(key), key, where) for key in ("low", "high"))
            known = facts.find(f"timpani_{inch:g}.low") is not None
            if not known and (low is None or high is None):
                self._say("drums", f"{where}: no drum of {inch:g} inches is known; write its low and high pitch too.")
                continue
            yield inch, low, high

    def _yes(self, key: str, row: Mapping[str, Any], where: str) -> bool:
        value = row.get(key, False)
        if not isinstance(value, bool):
            self._say(key, f"{where}: {key} is {value!r}; expected true or false.")
            return False
        return value

    def _harmonics(self, value: Any, where: str) -> str:
        if value == "" or value in HARMONICS:
            return str(value)
        near, known = difflib.get_close_matches(str(value), HARMONICS, 1, 0.0)[0], ", ".join(HARMONICS)
        self._say("harmonics", f"{where}: harmonics is {value!r}; did you mean {near!r}? Known: {known}.")
        return ""

    def _strings(self, row: Any, where: str) -> dict[str, int]:
        found: dict[str, int] = {}
        if not isinstance(row, dict):
            self._say("without_pedal", f"{where}: without_pedal is {row!r}; expected {{ C1 = \"natural\" }}.")
            return found
        for key, value in row.items():
            try:
                string = pitch.parse(key)
            except pitch.PitchError:
                string = None
            if string is None or string.alter or value not in _ALTERS:
                self._say(key, f"{where}: {key} = {value!r}; expected flat, natural or sharp (C1 = \"natural\").")
            else:
                found[f"{string.step}{string.octave}"] = _ALTERS[value]
        return found

    def _room(self, name: str, row: Mapping[str, Any]) -> tuple[str, InTheRoom] | None:
        where = f"instrument {name!r}"
        self._known(where, row, _INSTRUMENT)
        found = self._instrument(name, "instruments")
        if found is None:
            return None
        lowest, highest = (self._pitch(row.get(key), key, where) for key in ("lowest", "highest"))
        extension = row.get("extension")
        if extension is not None and extension != "none":
            lowest = self._pitch(extension, "extension", where)
        octaves = self._figure(row, "octaves", where)
        if octaves is not None:
            top = facts.find(f"{found.id}.highest")
            if top is None:
                self._say("octaves", f"{where}: its compass is not counted in octaves; write lowest and highest.")
            else:
                lowest = pitch.midi(top.value) - 12 * int(octaves)
        return found.id, InTheRoom(
            lowest, highest, int(octaves) if octaves else None, self._whole(row, "how_many", where)
        )

    def _pitch(self, value: Any, key: str, where: str) -> int | None:
        if value is None:
            return None
        try:
            return pitch.midi(str(value))
        except pitch.PitchError:
            self._say(key, f"{where}: {key} is {value!r}; expected a sounding pitch such as \"C1\".")
            return None

    def _change(self, key: str, value: Any) -> tuple[tuple[str, str], tuple[float, float]] | None:
        before, arrow, after = (piece.strip() for piece in key.partition(">"))
        good = isinstance(value, list) and len(value) == 2 and all(
            isinstance(v, int | float) and not isinstance(v, bool) and v >= 0 for v in value
        )
        if not arrow or not good or value[0] > value[1]:
            self._say(key, f"change {key!r} = {value!r}; expected \"piano > celesta\" = [quickest, comfortable] (s).")
            return None
        left, right = self._instrument(before, f"change {key!r}"), self._instrument(after, f"change {key!r}")
        if left is None or right is None:
            return None
        return (left.id, right.id), (float(value[0]), float(value[1]))
