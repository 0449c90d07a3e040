"""Several scores as the movements of one piece, in order: what stands when the next begins.

A harpist sets the pedals between two movements, a timpanist tunes, a flutist takes the piccolo. Where a movement ends
attacca there may be no time for it: then that is a finding of the movement that follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from deskproof import words
from deskproof.check import Report
from deskproof.families import FAMILIES, PART_FAMILIES, Carried, Seam
from deskproof.findings import Effect, Mend, in_score_order
from deskproof.fingerprint import fingerprints
from deskproof.state import WHOLE, State

LAST = 2  # measures at the end of a movement in which "attacca" may stand
ATTACCA = "attacca"
PAUSE = Mend("let the movement begin after a pause, or this part enter later", Effect.ADVICE)


@dataclass(frozen=True, slots=True)
class Before:
    """What players have to do before a movement begins; ``attacca``: it follows at once."""

    attacca: bool
    carried: tuple[Carried, ...]


def in_order(reports: Sequence[Report]) -> list[tuple[Report, Before | None]]:
    """The reports of the movements of a piece, with what players do before each (None for the first).

    Findings where there is no time for it are added to the movement that follows.
    """
    found: list[tuple[Report, Before | None]] = []
    for i, report in enumerate(reports):
        if not i:
            found.append((report, None))
            continue
        before = between(reports[i - 1].state, report.state)
        found.append((_with(report, before), before))
    return found


def between(before: State, after: State) -> Before:
    """What players have to do between two movements."""
    parts = _same_parts(before, after)
    seam = Seam(before.context(), after.context(), parts, ends_attacca(before))
    carried: list[Carried] = []
    for family in FAMILIES:
        if family.carry is None:
            continue
        pairs = parts.items() if family in PART_FAMILIES else ((WHOLE, WHOLE),)
        for index, earlier in pairs:
            plans = before.plans.get((family.name, earlier)), after.plans.get((family.name, index))
            if plans[0] is not None and plans[1] is not None:
                carried += family.carry(plans[0], plans[1], seam)
    return Before(seam.attacca, tuple(sorted(carried, key=lambda one: one.part)))


def ends_attacca(state: State) -> bool:
    """Whether the words at the end of a movement lead straight into the next."""
    return any(
        row.kind == "words" and not row.hidden and _leads_on(row.value)
        for part in state.score.parts
        for measure in part.measures[-LAST:]
        for row in measure.directions
    )


def _leads_on(text: str) -> bool:
    """Whether words mean that no pause follows ("attacca", "attacca il Finale", "enchaînez").

    >>> _leads_on("Attacca il Finale"), _leads_on("non attacca")
    (True, False)
    """
    named = words.bare_name(text).casefold().startswith(f"{ATTACCA} ")
    return named or any(meaning.kind == ATTACCA for meaning in words.meanings(text))


def _same_parts(before: State, after: State) -> dict[int, int]:
    """For each part of the second movement the same player's part of the first: by its name, else by its role."""
    names: dict[str, list[int]] = {}
    for i, part in enumerate(before.score.parts):
        names.setdefault(part.name.casefold(), []).append(i)
    roles = {line.role: line.index for line in before.lines}
    found: dict[int, int] = {}
    for i, part in enumerate(after.score.parts):
        same = names.get(part.name.casefold(), [])
        if part.name and len(same) == 1:
            found[i] = same[0]
        elif (role := roles.get(after.lines[i].role)) is not None:
            found[i] = role
    return found


def _with(report: Report, before: Before) -> Report:
    more = [one.finding for one in before.carried if one.finding is not None]
    if not more:
        return report
    fresh = [replace(one.with_mends([PAUSE]), numbers={**one.numbers, "count": len(one.notes)}) for one in more]
    findings = sorted([*report.findings, *fresh], key=in_score_order)
    ids = fingerprints(report.state, findings)
    return Report(report.state, tuple(replace(one, id=id_) for one, id_ in zip(findings, ids, strict=True)))
