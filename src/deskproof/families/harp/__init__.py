"""The harp: which strings, which pedals, when each foot moves, and what of it cannot be done."""

from deskproof.families.base import Family
from deskproof.families.harp.checks import check, describe, mends, plan
from deskproof.families.harp.effects import EFFECT_RULES
from deskproof.families.harp.help import printed_help
from deskproof.families.harp.respelled import replan
from deskproof.families.harp.rules import RULES

HARP = Family(
    name="harp",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=(*RULES, *EFFECT_RULES),
    reach=None,
    replan=replan,
    describe=describe,
    help=printed_help,
)
