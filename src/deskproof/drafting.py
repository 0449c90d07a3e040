"""A first draft of the forces from a score: who is needed to play it as printed, with comments to change it by.

An existing file is not written over: players whom it lacks are added, and everything in it stays, comments too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import tomlkit

from deskproof import facts, forces, words
from deskproof.families.players.planning import PlayersPlan
from deskproof.families.players.reading import KEYBOARDS, group_of
from deskproof.instruments import by_id
from deskproof.state import WHOLE, State

SECTION = "strings"
HARP, TIMPANI = "harp", "timpani"
NOTES = {
    "flutes": "second players usually take the piccolo, first players do not change",
    "oboes": "the last player usually takes the cor anglais",
    "clarinets": "clarinets in A and B flat are every player's",
    "bassoons": "the last player usually takes the contrabassoon",
    KEYBOARDS: "one player for all keyboards, unless you write another",
}


class Wanted(NamedTuple):
    """A player of the draft: the name, the instruments, and what is said beside."""

    name: str
    plays: tuple[str, ...]
    note: str = ""


def wanted(state: State) -> list[Wanted]:
    """The players that a score needs as printed, in score order of their groups; strings are sections, not players."""
    found = list(_of_groups(state))
    for i, spans in state.spans.items():
        kinds = dict.fromkeys(
            span.instrument.kind for span in spans if span.instrument is not None and span.events
        )
        part = state.score.parts[i]
        for kind in kinds:
            one = by_id(kind)
            if group_of(one) or one.family in (SECTION, "voice") or one.group:
                continue
            count = words.how_many(part.name)
            for k in range(count):
                name = (part.name or kind).casefold() if count == 1 else f"{(part.name or kind).casefold()}, {k + 1}"
                found.append(Wanted(name, (kind,)))
    return _named_apart(found)


def _of_groups(state: State) -> Iterator[Wanted]:
    plan = state.plans.get(("players", WHOLE))
    for cast in plan.casts if isinstance(plan, PlayersPlan) else ():
        for k, duty in enumerate(cast.rota.duties):
            kinds = dict.fromkeys(by_id(one.instrument).kind for one in duty.stretches)
            parts = dict.fromkeys(cast.group.parts[one.line] for one in duty.stretches)
            part = state.score.parts[next(iter(parts))]
            name = duty.player if cast.group.name == KEYBOARDS or len(parts) > 1 else (part.name or duty.player)
            yield Wanted(name.casefold(), tuple(kinds), "" if k else NOTES.get(cast.group.name, ""))


def _named_apart(rows: Sequence[Wanted]) -> list[Wanted]:
    found: list[Wanted] = []
    for row in rows:
        same = sum(other.name == row.name or other.name.startswith(f"{row.name}, ") for other in found)
        found.append(row._replace(name=f"{row.name}, {same + 1}") if same else row)
    return found


def wanted_for_all(states: Sequence[State]) -> list[Wanted]:
    """The players of several movements: who has one name in them is one player, with all instruments of the name."""
    found: dict[str, Wanted] = {}
    for state in states:
        for row in wanted(state):
            known = found.setdefault(row.name, row)
            plays = tuple(dict.fromkeys((*known.plays, *row.plays)))
            found[row.name] = known._replace(plays=plays, note=known.note or row.note)
    return list(found.values())


def draft(states: Sequence[State], title: str, existing: str | None = None) -> tuple[str, int]:
    """The text of a forces file, and how many players were added.

    Parameters
    ----------
    states : sequence of State
        A checked score, or several as the movements of one piece.
    title : str
        What the file is for.
    existing : str, optional
        The text of the file that is there: it keeps everything it has.

    Raises
    ------
    ForcesError
        If what is there is no forces file.
    """
    rows = wanted_for_all(states)
    if existing is None:
        document = tomlkit.document()
        for line in _head(title):
            document.add(tomlkit.comment(line))
        known: set[str] = set()
        played: set[str] = set()
    else:
        there = forces.parse(existing)
        document = tomlkit.parse(existing)
        known = {player.name.casefold() for player in there.players}
        played = {by_id(name).kind for player in there.players for name in player.plays}
    added = 0
    table = document.get("players") or tomlkit.table(is_super_table=True)
    for row in rows:
        if row.name in known or (existing is not None and set(row.plays) <= played):
            continue
        player = tomlkit.table()
        player.add("plays", [by_id(name).name if " " not in by_id(name).name else name for name in row.plays])
        if row.note:
            player["plays"].comment(row.note)
        if row.plays == (TIMPANI,):
            player.add("drums", [int(inch) for inch in facts.get("timpani_drums.standard").value])
        table.add(row.name, player)
        added += 1
    if added and "players" not in document:
        document.add("players", table)
    text = tomlkit.dumps(document)
    if existing is None:
        text = text.rstrip("\n") + "\n\n" + "\n".join(_tail()) + "\n"
    forces.parse(text)  # what is written is valid input, or an error says what is not
    return text, added


def _head(title: str) -> Iterator[str]:
    yield f"The players for {title}, as its parts are printed. Strike, add and change what your hall has."
    yield "A player's part is found by its name; everything that is left out has the usual figures."


def _tail() -> Iterator[str]:
    wind = facts.get("players.change_wind").value
    keyboard = facts.get("players.change_keyboard").value
    yield "# Seconds for a change of instrument, quickest and comfortable; without the # they overrule the usual ones."
    yield "# [changes]"
    yield f'# "flute > piccolo" = [{wind[0]}, {wind[1]}]'
    yield f'# "piano > celesta" = [{keyboard[0]}, {keyboard[1]}]'
    yield "# What is known of an instrument in the room:"
    yield "# [instruments.celesta]"
    yield "# octaves = 5"
    yield "# how_many = 1"
    yield '# [instruments."double bass"]'
    yield '# extension = "C1"'
    yield "# Desks of the strings, two players each (or players = 11):"
    yield "# [sections]"
    yield '# "violin 1" = { desks = 6 }'

