"""Who plays what: the players of each group, the lines and stretches each takes, and the changes between."""

from deskproof.families.base import Family
from deskproof.families.players.as_record import describe
from deskproof.families.players.attacca import carry
from deskproof.families.players.checks import check
from deskproof.families.players.mends import mends
from deskproof.families.players.planning import plan, replan
from deskproof.families.players.rules import RULES

PLAYERS = Family(
    name="players",
    scope="score",
    plan=plan,
    check=check,
    mends=mends,
    rules=RULES,
    reach=None,
    replan=replan,
    describe=describe,
    carry=carry,
)
