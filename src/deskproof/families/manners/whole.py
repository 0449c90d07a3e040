"""A whole part read otherwise: its transposition is missing, stands twice, or is an octave or two off."""

from __future__ import annotations

from dataclasses import dataclass, replace

from deskproof import facts, instruments
from deskproof.families.base import Context
from deskproof.families.manners.around import Around
from deskproof.families.manners.crooks import relatives
from deskproof.families.manners.groups import Group, place_of, refs, spot, usual_transpositions
from deskproof.families.manners.rules import MISSING, OCTAVE, SOUNDING, TWICE
from deskproof.families.manners.words import interval
from deskproof.findings import Finding, Rule


@dataclass(frozen=True, slots=True)
class Reading:
    """A group that is meant ``shift`` semitones higher than the file reads, as if transposed by ``wanted``."""

    rule: Rule
    group: Group
    wanted: int
    evidence: str

    def finding(self, context: Context) -> Finding:
        """As a finding at the notes beyond the compass, or at the first note."""
        group = self.group
        shift = self.wanted - group.semitones
        part = context.score.parts[group.part]
        outside = group.outside
        events = outside or [group.first]
        found = self.rule.at(
            place_of(group.part, events[0]),
            refs(part, map(spot, events)),
            outside=len(outside),
            of=group.count,
            instrument=group.instrument.name,
            semitones=abs(shift),
            interval=interval(shift),
            way="lower" if shift < 0 else "higher",
            evidence=self.evidence,
            file_semitones=group.semitones,
            wanted=self.wanted,
        )
        if self.rule is SOUNDING or context.measures is not None:
            return found
        return replace(found, explains=frozenset(refs(part, group.spots())))


def reading_of(group: Group, around: Around, context: Context) -> Reading | None:
    """How the group is meant, if not as the file says."""
    usual = usual_transpositions(group.instrument.id)
    if not usual:
        return None
    semitones = group.semitones
    if semitones == 0 and any(v % 12 for v in usual) and not context.score.at_sounding_pitch:
        found = _missing(group, usual, _named_keys(group, context), around)
        if found is not None or not around.transposed:
            return found
    elif semitones % 12:
        same_key = around.same_key() and group.outside_if(-semitones) <= len(group.outside)
        if same_key or _is_odd(group, -semitones):
            evidence = _outside(group) if group.strays else "its key signature is that of the parts at sounding pitch"
            return Reading(TWICE, group, 0, evidence)
    return _octave(group, usual, context)


def _named_keys(group: Group, context: Context) -> frozenset[int]:
    """The keys that the part's name may give this instrument, as pitch classes; none where it says nothing sure."""
    usual = {v % 12 for v in usual_transpositions(group.instrument.id)}
    found: set[int] = set()
    for crook in instruments.crooks_in_name(context.score.parts[group.part].name):
        if crook.sure or crook.keys & usual:
            found |= crook.keys
    return frozenset(found)


def _outside(group: Group) -> str:
    return f"{len(group.outside)} of its {group.count} notes lie outside the compass"


def _is_odd(group: Group, shift: int) -> bool:
    """Whether many notes lie outside the compass as the file reads, and hardly any when read so much higher."""
    if not group.strays or group.count < facts.get("manners.fewest_notes").value:
        return False
    if len(group.outside) < facts.get("manners.odd_share").value * group.count:
        return False
    return bool(group.outside_if(shift) <= facts.get("manners.fitting_share").value * group.count)


def _missing(group: Group, usual: tuple[int, ...], named: frozenset[int], around: Around) -> Reading | None:
    """A transposing instrument that the file does not transpose."""
    ways = [v for v in usual if v % 12 and (not named or v % 12 in named)]
    if not ways:
        return None
    odd = [v for v in ways if _is_odd(group, v)]
    if odd and (around.transposed or around.alone or around.key_of(odd[0])):
        return Reading(MISSING, group, min(odd, key=group.outside_if), _outside(group))
    for v in ways:
        if around.key_of(v):
            return Reading(MISSING, group, v, "its key signature is that of a transposed part")
    also_in_c = 0 in usual or any(other.crook == 0 for other in relatives(group.instrument))
    if 0 in named or (also_in_c and not named) or not around.transposed:
        return None
    v = ways[0]
    if group.outside_if(v) > len(group.outside) or (around.same_key() and around.shifted_keys()):
        return Reading(SOUNDING, group, v, "")
    if around.same_key():
        return None
    return Reading(MISSING, group, v, "its name says its key" if named else "other parts are transposed")


def _octave(group: Group, usual: tuple[int, ...], context: Context) -> Reading | None:
    """A part that the file reads an octave or two off."""
    if not group.strays:
        return None
    semitones = group.semitones
    if semitones and semitones % 12 == 0 and _clef_says(group, semitones // 12, context):
        if group.outside_if(-semitones) == 0:
            return Reading(OCTAVE, group, 0, f"{_outside(group)}, and the octave stands in the clef and besides")
        return None
    if group.instrument.family == "voice":
        return None
    ways = [v for v in (*usual, 0) if v != semitones and (v - semitones) % 12 == 0 and _is_odd(group, v - semitones)]
    if not ways:
        return None
    return Reading(OCTAVE, group, min(ways, key=lambda v: group.outside_if(v - semitones)), _outside(group))


def _clef_says(group: Group, octaves: int, context: Context) -> bool:
    """Whether every note outside the compass stands under a clef with these octaves."""
    layout = context.layouts[group.part]
    return all(layout.clef_at(e.measure, e.note.start, e.note.staff).octave == octaves for e in group.outside)
