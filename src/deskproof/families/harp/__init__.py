"""The harp: which strings, which pedals, when each foot moves, and what of it cannot be done."""

from deskproof.families.base import Family
from deskproof.families.harp.attacca import carry
from deskproof.families.harp.checks import check
from deskproof.families.harp.effects import EFFECT_RULES
from deskproof.families.harp.harmonics import HARMONIC_RULES
from deskproof.families.harp.help import printed_help
from deskproof.families.harp.mends import mends
from deskproof.families.harp.planning import describe, plan
from deskproof.families.harp.respelled import replan
from deskproof.families.harp.rules import RULES
from deskproof.families.harp.trill_signs import TRILL_RULES
from deskproof.families.harp.two_strings import TWO_STRING_RULES

HARP = Family(
    name="harp",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=(*RULES, *HARMONIC_RULES, *EFFECT_RULES, *TWO_STRING_RULES, *TRILL_RULES),
    reach=None,
    replan=replan,
    describe=describe,
    help=printed_help,
    carry=carry,
)
