"""Plan file → review: the plan is compiled and read as an experienced colleague would read it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cuetrack.build import compile_plan
from cuetrack.errors import Diagnostic
from cuetrack.plan.series import Day
from cuetrack.review.energy import USUAL_WEIGHT_KG
from cuetrack.review.review import Review, reviewed


@dataclass(frozen=True, slots=True)
class Reviewed:
    """The review of a plan, and what else its coach may want to know."""

    review: Review
    warnings: tuple[Diagnostic, ...]


def review(
    plan: Path,
    *,
    level: str | None = None,
    weight_kg: float = USUAL_WEIGHT_KG,
    day: Day | None = None,
    allow_outside: bool = False,
) -> Reviewed:
    """What the plan file, as a `day` of a series if one is given, comes to and what a colleague would ask.

    No sound is made.

    Raises:
        PlanError: with every mistake in the plan.
    """
    known = compile_plan(plan, level=level, day=day, allow_outside=allow_outside)
    found = reviewed(known.timeline, weight_kg)
    return Reviewed(found, (*known.warnings, *found.warnings))
