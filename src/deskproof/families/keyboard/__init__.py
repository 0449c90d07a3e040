"""Keyboards: which hand takes what, whether it reaches and gets there, which fingers, what the pedals hold."""

from deskproof.families.base import Family
from deskproof.families.keyboard.checks import check
from deskproof.families.keyboard.help import printed_help
from deskproof.families.keyboard.mends import mends
from deskproof.families.keyboard.pedal_rules import PEDAL_RULES
from deskproof.families.keyboard.planning import plan
from deskproof.families.keyboard.record import describe
from deskproof.families.keyboard.replanned import replan
from deskproof.families.keyboard.rules import RULES

KEYBOARD = Family(
    name="keyboard",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=(*RULES, *PEDAL_RULES),
    reach=None,
    replan=replan,
    describe=describe,
    help=printed_help,
)
