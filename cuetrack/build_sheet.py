"""Plan file → its cue sheet; no sound is made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack import build
from cuetrack.build_papers import PAPER_ENDINGS, missing_letters, refuse_missing, sheet_bytes
from cuetrack.errors import Diagnostic, UsageError
from cuetrack.plan.series import Day
from cuetrack.writers.atomic import atomic_files

if TYPE_CHECKING:
    from cuetrack.writers.sheet import Paper


def write_sheet(
    plan: Path,
    target: Path,
    *,
    paper: Paper = "a4",
    level: str | None = None,
    day: Day | None = None,
    allow_outside: bool = False,
    home: Path | None = None,
) -> tuple[Diagnostic, ...]:
    """Writes the cue sheet of a plan; the ending of `target` picks PDF, HTML or CSV. No voice is needed.

    Unless `allow_outside`, links in `home`, the plan's folder if None, lead it nowhere else.

    Returns:
        What the coach may want to know.

    Raises:
        PlanError: with every mistake in the plan.
        UsageError: another ending, or `target` is the plan itself.
        MediaMissingError: a PDF needs what is not on this machine.
        WriteError: the file cannot be written, or is such a link.
    """
    ending = f".sheet{target.suffix.lower()}"
    if ending not in PAPER_ENDINGS["sheet"]:
        raise UsageError(f"a sheet is a .pdf, .html or .csv file, and {target.name} is none of these")
    refuse_missing(ending)
    build.refuse_own_plan(plan, target)
    known = build.compile_plan(plan, level=level, day=day, allow_outside=allow_outside)
    arrangement = build.likely_arrangement(known, build.DEFAULT_RATE_HZ)
    with atomic_files(target, strange=None if allow_outside else home or plan.parent) as (path,):
        path.write_bytes(sheet_bytes(arrangement, ending, paper))
    missing = missing_letters(arrangement) if ending == ".sheet.pdf" else ()
    return (*known.warnings, *missing)
