"""Timpani: which drum sounds which note, when each is retuned, and what there is no time for."""

from deskproof.families.base import Family
from deskproof.families.timpani.as_record import describe
from deskproof.families.timpani.attacca import carry
from deskproof.families.timpani.checks import check
from deskproof.families.timpani.help import printed_help
from deskproof.families.timpani.mends import mends
from deskproof.families.timpani.planning import plan
from deskproof.families.timpani.rules import RULES

TIMPANI = Family(
    name="timpani",
    scope="player",
    plan=plan,
    check=check,
    mends=mends,
    rules=RULES,
    reach=None,
    describe=describe,
    help=printed_help,
    carry=carry,
)
