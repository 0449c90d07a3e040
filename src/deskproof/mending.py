"""Choosing mends and taking them together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from deskproof.check import Report
from deskproof.document import Document
from deskproof.edits import AddEdit, AddPedal, AddWords, Edit, EditError, Respell, SetMark
from deskproof.errors import DeskproofError
from deskproof.families import FAMILIES, SCORE_FAMILIES, Help
from deskproof.findings import Effect, Finding, Mend, folded
from deskproof.forces import Forces
from deskproof.recheck import recheck
from deskproof.state import WHOLE, State, state_of


class MendError(DeskproofError):
    """A mend that does not exist or writes nothing."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A document with mends taken, and the mends that could not be taken beside the others."""

    document: Document
    left: tuple[Mend, ...]


def chosen(
    findings: Sequence[Finding], keeping: bool, ids: Iterable[str]
) -> list[tuple[str, Finding, Mend]]:
    """The mends to take: those named by id, and with ``keeping`` the first of each finding that keeps the sound.

    Raises
    ------
    MendError
        For an id that is not offered, or a mend that is advice and writes nothing.
    """
    offered = {}
    found = []
    wanted = list(dict.fromkeys(ids))
    for finding in findings:
        own = [(f"{finding.id}-{k}", finding, mend) for k, mend in enumerate(finding.mends, 1)]
        offered.update({row[0]: row for row in own})
        named = [row for row in own if row[0] in wanted]
        found += named
        if keeping and not named:
            found += [row for row in own if row[2].effect is Effect.KEEPS_SOUND][:1]
    for id_ in wanted:
        if id_ not in offered:
            known = ", ".join(sorted(offered)) or "none"
            raise MendError(f"no mend {id_!r} is offered for this score. Offered: {known}.")
        if not offered[id_][2].edits:
            raise MendError(f"{id_} is advice: {offered[id_][2].says}. There is nothing to write.")
    return found


def take(document: Document, report: Report, mends: Sequence[Mend]) -> Taken:
    """Take mends together. Those that clash with one taken before, or would bring new findings with it, are left."""
    state = report.state
    kept = _once(edit for mend in mends for edit in mend.edits)
    left = []
    if not _goes(state, kept):
        kept = []
        for mend in mends:
            wider = _once([*kept, *mend.edits])
            if _goes(state, wider):
                kept = wider
            else:
                left.append(mend)
    return Taken(document.with_edits(kept), tuple(left))


def _goes(state: State, edits: Sequence[Edit]) -> bool:
    """Whether no two of the edits clash and none brings a new finding."""
    try:
        return not recheck(state, edits).new
    except EditError:
        return False


def _once(edits: Iterable[Edit]) -> list[Edit]:
    return list(dict.fromkeys(edits))


def helped(
    document: Document, forces: Forces, asked: Help, parts: Sequence[int] | None = None
) -> Document:
    """The document with what is printed to help the players, made from their plans: after the last mend."""
    if not asked:
        return document
    state = state_of(document.score, forces, parts)
    context = state.context()
    edits = [
        edit
        for family in FAMILIES
        if family.help is not None
        for i in ((WHOLE,) if family in SCORE_FAMILIES else state.spans)
        for edit in family.help(state.plans[family.name, i], context, asked)
    ]
    return document.with_edits(edits) if edits else document


def help_in_words(edits: Sequence[Edit], asked: Help) -> str:
    """What was printed for the players, counted."""
    said = []
    if asked.pedal_marks != "none":
        said.append(_harp_in_words(edits))
    if asked.fingering:
        fingers = sum(isinstance(edit, SetMark) for edit in edits)
        said.append(f"{fingers or 'no'} finger{'s' * (fingers != 1)} printed from the plan")
    if asked.damper != "none":
        words = sum(isinstance(edit, AddWords) and edit.text.startswith("con Ped") for edit in edits)
        signs = sum(isinstance(edit, AddPedal) for edit in edits) + words
        said.append(f"{signs or 'no'} damper pedal sign{'s' * (signs != 1)} printed where notes need it")
    if asked.tuning_marks:
        said.append("the timpani's tunings printed from the plan")
    return "; ".join(said)


def _harp_in_words(edits: Sequence[Edit]) -> str:
    dampers = [edit for edit in edits if isinstance(edit, AddPedal) or getattr(edit, "text", "").startswith("con Ped")]
    signs = sum(isinstance(edit, AddEdit) for edit in edits) - len(dampers)
    names = len({edit.note for edit in edits if isinstance(edit, Respell)})
    if not signs:
        return "no pedal signs to print"
    said = f"{signs} pedal sign{'s' * (signs != 1)} printed from the plan"
    if names:
        said += f", {names} note{'s' * (names != 1)} written as the string{'s' * (names != 1)} that the plan plays"
    return said


def summary(document: Document, forces: Forces, before: Report) -> str:
    """What the mends did, in words: how many findings are gone and how many are left."""
    after = state_of(document.score, forces, tuple(before.state.spans))
    left = sum(len(folded(atoms)) for atoms in after.atoms.values())
    had = len(before.findings)
    return f"{had} finding{'s' * (had != 1)} before, {left} after."


