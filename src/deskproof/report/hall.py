"""What the score asks for that not every hall has: one list, with bars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from deskproof import words
from deskproof.families.players.planning import Cast, PlayersPlan
from deskproof.families.players.record import Rota, Stretch
from deskproof.findings import Finding
from deskproof.instruments import by_id
from deskproof.places import bar_number
from deskproof.state import WHOLE, State

EXTENSION, SECOND, FIFTH = "tutti-needs-extension", "players-second-keyboard", "timpani-fifth-drum"
HARP = "harp"


class Wanted(NamedTuple):
    """Something that not every hall has: what, for which parts, in which bars (empty: throughout)."""

    what: str
    parts: tuple[str, ...]
    bars: str

    @property
    def words(self) -> str:
        """As a line of a list."""
        where = f", {self.bars}" if self.bars else ""
        return f"{self.what} ({', '.join(self.parts)}{where})"


def not_everywhere(state: State, findings: Sequence[Finding]) -> list[Wanted]:
    """The list, in score order: extensions and larger instruments, a second keyboard player, a fifth
    drum, more than one harp."""
    rows: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.rule.id == EXTENSION:
            rows.setdefault(str(finding.numbers["needs"]), []).append(finding)
        elif finding.rule.id == SECOND:
            rows.setdefault("a second player at the keyboards", []).append(finding)
        elif finding.rule.id == FIFTH:
            rows.setdefault(f"a fifth drum, of {finding.numbers['inch']} inches", []).append(finding)
    found = [Wanted(what, _parts(state, own), _bars(state, own)) for what, own in rows.items()]
    harps = [i for i in state.spans if any(s.instrument and s.instrument.family == HARP for s in state.spans[i])]
    count = sum(words.how_many(state.score.parts[i].name) for i in harps)
    if count > 1:
        names = tuple(state.score.parts[i].name or state.score.parts[i].id for i in harps)
        found.append(Wanted(f"{count} harps", names, ""))
    return found


def _parts(state: State, findings: Sequence[Finding]) -> tuple[str, ...]:
    parts = dict.fromkeys(finding.place.part for finding in findings)
    return tuple(state.score.parts[i].name or state.score.parts[i].id for i in parts)


def _bars(state: State, findings: Sequence[Finding]) -> str:
    measures = sorted({ref.measure for finding in findings for ref in finding.notes})
    part = findings[0].place.part
    first, last = bar_number(state, part, measures[0]), bar_number(state, part, measures[-1])
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def worth_a_look(cast: Cast) -> bool:
    """Whether the rota of a group says more than its parts do: somebody changes, is wanted twice, or is named."""
    rota = cast.rota
    return cast.named or bool(rota.clashes) or any(duty.changes for duty in rota.duties) or cast.least != rota.players


def how_many_players(cast: Cast) -> str:
    """How many play in a group, and how many are needed, as a sentence."""
    here = f"{cast.rota.players} player{'s' * (cast.rota.players != 1)}{'' if cast.named else ' as printed'}"
    if cast.least > cast.rota.players:
        return f"{here}; {cast.least} are needed if every change is to have its time."
    if cast.least < cast.rota.players:
        return f"{here}; {cast.least} could do it."
    return f"{here}{'; no fewer can do it' if cast.proven else ''}."


def other_ways(cast: Cast, state: State) -> list[str]:
    """The next best ways of giving the stretches to the players whom the forces name: how each differs, and its price.

    Empty where the forces name none.
    """
    return list(dict.fromkeys(_differs(cast, one, state) for one in cast.others))


def _differs(cast: Cast, other: Rota, state: State) -> str:
    now = {stretch: duty.player for duty in cast.rota.duties for stretch in duty.stretches}
    moved: dict[tuple[str, str, str], list[Stretch]] = {}
    for duty in other.duties:
        for stretch in duty.stretches:
            if now.get(stretch) != duty.player:
                moved.setdefault((duty.player, now.get(stretch, ""), stretch.instrument), []).append(stretch)
    said = []
    for (player, had, instrument), rows in moved.items():
        where = _played(cast, rows, state)
        said.append(f"{player} has the {by_id(instrument).name}{where}" + (f" instead of {had}" if had else ""))
    return f"{'; '.join(said)}: {_price(other)}"


def _played(cast: Cast, rows: Sequence[Stretch], state: State) -> str:
    """Where some stretches are, in bars as printed; nothing where they are many."""
    frame = state.timeline.frame
    times = [us for one in rows for us in (one.from_us, max(one.from_us, one.to_us - 1))]
    measures = [frame.play_at(frame.clock.tick_at(us)).measure for us in times]
    part = cast.group.parts[rows[0].line]
    first, last = bar_number(state, part, min(measures)), bar_number(state, part, max(measures))
    return f" in bar {first}" if first == last else f" in bars {first} to {last}"


def _price(rota: Rota) -> str:
    counts = rota.objective
    rows = [
        (counts.clashes, "clash", "clashes"), (counts.changes, "change", "changes"),
        (counts.split, "line divided", "lines divided"), (counts.hurried, "hurried change", "hurried changes"),
    ]  # fmt: skip
    said = [f"{n} {one if n == 1 else many}" for n, one, many in rows if n]
    return ", ".join(said) or "no change of instrument"


def players_of(state: State) -> PlayersPlan | None:
    """The plan of the players of a whole score; None where no group sounds."""
    plan = state.plans.get(("players", WHOLE))
    return plan if isinstance(plan, PlayersPlan) else None
