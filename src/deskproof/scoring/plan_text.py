"""The text of a scoring plan, which the orchestrator owns: read with every problem named, written with no word lost.

The form is described in ``docs/plan-text.md``. ``plan_form`` holds its keys, ``plan_reading`` and ``plan_writing`` the
two directions.
"""

from __future__ import annotations

from pathlib import Path

from deskproof.scoring.hall import Hall
from deskproof.scoring.plan_form import PlanTextError
from deskproof.scoring.plan_reading import Reading, reading_of
from deskproof.scoring.plan_writing import write
from deskproof.scoring.records import ScoringPlan

__all__ = ["PlanTextError", "Reading", "parse", "read", "reading_of", "write"]


def read(path: Path) -> ScoringPlan:
    """Read a plan.

    Raises
    ------
    PlanTextError
        If it cannot be read; all problems are named at once.
    """
    try:
        text = path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise PlanTextError(f"{path}: cannot be read ({error}); expected the text of a plan.") from None
    return parse(text, str(path))


def parse(text: str, name: str = "plan", hall: Hall | None = None) -> ScoringPlan:
    """Read the text of a plan; see :func:`reading_of`, which also tells what the composer has changed in it."""
    return reading_of(text, name, hall).plan
