"""The conductor: hears the score, lets the families look, folds what has one cause, verifies every mend.

It decides nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from deskproof.families import FAMILIES
from deskproof.findings import Effect, Finding, Mend, folded, in_score_order
from deskproof.fingerprint import fingerprints
from deskproof.forces import Forces
from deskproof.recheck import helps
from deskproof.score import Score
from deskproof.state import State, state_of


@dataclass(frozen=True, slots=True)
class Report:
    """A checked score: its state, and its folded findings with verified mends in score order."""

    state: State
    findings: tuple[Finding, ...]


def check(score: Score, forces: Forces | None = None, parts: Sequence[int] | None = None) -> Report:
    """Check a score with all families.

    Parameters
    ----------
    score : Score
    forces : Forces, optional
        The players in the room; the defaults if absent.
    parts : sequence of int, optional
        Ordinals of the parts to check; all if absent.
    """
    state = state_of(score, forces, parts)
    context = state.context()
    findings = [
        finding.with_mends(_verified(state, family.mends(finding, *state.looked_at(family, i), context)))
        for family in FAMILIES
        for i in state.spans
        for finding in folded(state.atoms[family.name, i])
    ]
    findings.sort(key=in_score_order)
    ids = fingerprints(state, findings)
    return Report(state, tuple(replace(one, id=id_) for one, id_ in zip(findings, ids, strict=True)))


def _verified(state: State, mends: Iterable[Mend]) -> list[Mend]:
    """The mends that remove findings and add none; advice that writes nothing passes.

    Nothing can be written into a MIDI file: there a mend is advice.
    """
    good = [m for m in mends if m.effect is Effect.ADVICE or helps(state, m.edits)]
    if state.score.source == "musicxml":
        return good
    return [Mend(m.says, Effect.ADVICE) for m in good]
