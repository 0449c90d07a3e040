"""Who plays what as the JSON of ``check`` has it (docs/json.md)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from deskproof.families.base import Context, Plan
from deskproof.families.players.places import Places
from deskproof.families.players.planning import Cast, PlayersPlan
from deskproof.families.players.record import Stretch
from deskproof.families.players.rules import NOBODY


def describe(plan: Plan, id_: str, context: Context) -> dict[str, Any] | None:
    """The record of a score's players."""
    if not isinstance(plan, PlayersPlan):
        return None
    parts, frame = context.score.parts, context.frame

    def span(cast: Cast, one: Stretch) -> dict[str, Any]:
        part = parts[cast.group.parts[one.line]].id
        return {"part": part, "instrument": one.instrument, "from_us": one.from_us, "to_us": one.to_us}

    def spot(us: int) -> dict[str, Any]:
        tick = frame.clock.tick_at(us)
        play = frame.play_at(tick)
        unit = frame.metres[play.measure][1]
        beat = 1 + Fraction((tick - play.onset) * unit, 4 * frame.grid)
        return {"bar": parts[0].measures[play.measure].number, "beat": str(beat)}

    places = Places(plan, context)
    players: list[dict[str, Any]] = []
    clashes: list[dict[str, Any]] = []
    nobody: list[str] = []
    for cast in plan.casts:
        for duty in cast.rota.duties:
            players.append(
                {
                    "id": f"{cast.group.name} {duty.player}",
                    "spans": [span(cast, one) for one in duty.stretches],
                    "changes": [
                        {
                            "from": one.before.instrument, "to": one.after.instrument, "free_us": one.free_us,
                            "need_us": one.need_us, **spot(one.after.from_us),
                        }
                        for one in duty.changes
                    ],
                }
            )  # fmt: skip
        for one in cast.rota.clashes:
            refs = [str(ref) for ref in places.at(cast, *one.stretches)[1]]
            if one.players:
                clashes.append({"players": list(one.players), "notes": refs, "short_us": one.short_us})
            else:
                events = places.events(cast, one.stretches[0])
                index = cast.group.parts[one.stretches[0].line]
                nobody += [parts[index].ref(e.measure, e.note.n) for e in events]
    rotas = [cast.rota for cast in plan.casts]
    return {
        "id": id_,
        "kind": "players",
        "player": "",
        "spans": [
            {
                "part": parts[one.part].id,
                "instrument": one.instrument.id if one.instrument else None,
                "from_us": frame.clock.floor_us(one.from_tick),
                "to_us": frame.clock.ceil_us(one.to_tick),
            }
            for one in plan.spans
            if one.events
        ],
        "model": {},
        "objective": [
            {"name": "clashes", "value": sum(len(one.clashes) for one in rotas), "at_least": None},
            {
                "name": "players",
                "value": sum(one.players for one in rotas),
                "at_least": sum(cast.fewest.at_least for cast in plan.casts),
            },
        ],
        "proven": all(cast.proven for cast in plan.casts) and all(one.finished for one in rotas),
        "unplanned": [{"notes": list(dict.fromkeys(nobody)), "rule": NOBODY.id}] if nobody else [],
        "groups": [{"name": c.group.name, "least": c.least, "proven": c.proven} for c in plan.casts],
        "players": players,
        "clashes": clashes,
    }
