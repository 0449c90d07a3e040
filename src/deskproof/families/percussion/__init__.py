"""Percussion: which instruments and sticks a part asks for, and what hands and mallets do not do."""

from deskproof.families.base import Family
from deskproof.families.percussion.checks import check
from deskproof.families.percussion.mends import mends
from deskproof.families.percussion.planning import plan
from deskproof.families.percussion.rules import RULES

PERCUSSION = Family(
    name="percussion", scope="player", plan=plan, check=check, mends=mends, rules=RULES, reach=None
)
