"""From one movement to the next: what each player has in hand at the end, and what the next begins with."""

from __future__ import annotations

from collections.abc import Iterator

from deskproof import facts
from deskproof.families.base import Carried, Plan, Seam
from deskproof.families.players.places import Places
from deskproof.families.players.planning import Cast, PlayersPlan
from deskproof.families.players.reading import PERCUSSION, US, need_us
from deskproof.families.players.record import Duty
from deskproof.families.players.rules import ATTACCA
from deskproof.findings import Finding
from deskproof.instruments import by_id


def carry(before: Plan, after: Plan, seam: Seam) -> Iterator[Carried]:
    """The changes of instrument between two movements; where there is no time for one, a finding."""
    if not isinstance(before, PlayersPlan) or not isinstance(after, PlayersPlan):
        return
    places = Places(after, seam.after)
    casts = {cast.group.name: cast for cast in before.casts}
    for cast in after.casts:
        earlier = casts.get(cast.group.name)
        if earlier is None or cast.group.name == PERCUSSION:
            continue
        for duty in cast.rota.duties:
            same = _same(duty, cast, earlier, seam)
            if same is None:
                continue
            last = max(same.stretches, key=lambda one: one.to_us)
            first = min(duty.stretches, key=lambda one: one.from_us)
            if last.instrument == first.instrument:
                continue
            had, takes = by_id(last.instrument).name, by_id(first.instrument).name
            part = cast.group.parts[first.line]
            finding = _finding(cast, duty, last.instrument, last.to_us, places, seam) if seam.attacca else None
            yield Carried(part, f"from the {had} to the {takes}", finding)


def _same(duty: Duty, cast: Cast, earlier: Cast, seam: Seam) -> Duty | None:
    """What the same player had in the movement before: by name, or by the part played from."""
    if cast.named and earlier.named:
        return next((one for one in earlier.rota.duties if one.player == duty.player), None)
    for stretch in duty.stretches:
        part = seam.parts.get(cast.group.parts[stretch.line])
        wanted = part, _ordinal(stretch.line)
        for one in earlier.rota.duties:
            if any((earlier.group.parts[s.line], _ordinal(s.line)) == wanted for s in one.stretches):
                return one
    return None


def _ordinal(line: str) -> str:
    """Which of the players of one part, where it has several."""
    return line.partition("/")[2]


def _finding(
    cast: Cast, duty: Duty, had: str, ends_us: int, places: Places, seam: Seam
) -> Finding | None:
    first = min(duty.stretches, key=lambda one: one.from_us)
    free_us = seam.offset_us - ends_us + first.from_us
    need, easy = need_us(had, first.instrument, cast.group.name, seam.after)
    tempo = seam.after.frame.clock.tempo_at_us(first.from_us)
    if free_us >= need or not tempo.told:
        return None
    never = free_us < US * int(facts.get("players.change_never").value) and tempo.fixed
    place, notes = places.at(cast, first)
    return ATTACCA.at(
        place, notes, "impossible" if never else "hard", before=by_id(had).name, after=by_id(first.instrument).name,
        have=f"{max(free_us, 0) / US:.1f}", need=f"{need / US:g}", easy=f"{easy / US:g}", lack_us=need - free_us,
    )  # fmt: skip
